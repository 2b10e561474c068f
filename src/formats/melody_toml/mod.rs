#![doc = include_str!("melody_toml.md")]
//!
//! The reader is `draft_from_toml`, the writer [`write_toml`].

mod bar_line;
mod draft_from_toml;
mod toml_from_melody;

pub use bar_line::length_from_word;
pub(crate) use draft_from_toml::draft_from_toml;
pub use toml_from_melody::write_toml;
