//! What the page may do, as a Content-Security-Policy (W3C, level 3): its own style and its own script, known by their
//! hashes, letters from inside that style, and nothing else. No address is ever fetched: the sound is decoded from the page's own text.

use crate::engrave::letters_font_face;
use base64::{Engine, prelude::BASE64_STANDARD};
use sha2::{Digest, Sha256};
use std::sync::LazyLock;

/// The page's style sheet, with the letters of the figures in it.
pub static STYLE: LazyLock<String> =
    LazyLock::new(|| format!("{}{}\n", include_str!("style.css"), letters_font_face()));
/// The page's script.
pub const SCRIPT: &str = include_str!("script.js");

/// The policy.
pub fn policy() -> String {
    format!(
        "default-src 'none'; style-src {}; script-src {}; font-src data:; base-uri 'none'; form-action 'none'",
        source(&STYLE),
        source(SCRIPT)
    )
}

fn source(text: &str) -> String {
    format!("'sha256-{}'", BASE64_STANDARD.encode(Sha256::digest(text)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4's example: the message “abc”.
    #[test]
    fn the_hash_is_that_of_the_standard() {
        assert_eq!(source("abc"), "'sha256-ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0='");
    }

    #[test]
    fn neither_file_can_end_its_element_early_or_name_an_address() {
        for text in [&**STYLE, SCRIPT] {
            assert!(!text.contains("</") && !text.contains("<!--") && !text.contains("://"));
            assert_eq!(text.matches("url(").count(), text.matches("url(data:font").count());
        }
        assert!(!SCRIPT.contains("eval") && !SCRIPT.contains("innerHTML"));
    }
}
