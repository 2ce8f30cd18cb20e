//! End-to-end and cross-room tests.
