//! Room: capture.
