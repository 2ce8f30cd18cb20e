//! Reads the tree for what must not exist.
