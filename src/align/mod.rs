//! Room: align.
