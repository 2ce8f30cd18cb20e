//! End-to-end and cross-room tests.

mod strip;
