//! Series to shots and plays; pairing of cameras.
