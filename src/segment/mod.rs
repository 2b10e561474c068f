//! Room: segment.
