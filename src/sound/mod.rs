//! Room: sound.
