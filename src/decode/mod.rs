//! Room: decode.
