//! downbox.
