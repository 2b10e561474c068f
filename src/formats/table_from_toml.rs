//! A TOML text taken apart, with the place of what breaks the rules of TOML.

use super::error::{Fault, FormatErrorKind};
use toml::Spanned;
use toml::de::DeTable;

/// The table of a whole text.
pub(super) fn table_from_toml(text: &str) -> Result<Spanned<DeTable<'_>>, Fault> {
    DeTable::parse(text).map_err(|error| {
        let span = error.span().unwrap_or(0..0);
        let help =
            "Check quotes and brackets around here: texts stand between quotes, lists between [ and ].";
        Fault::new(FormatErrorKind::Syntax, error.message().to_owned(), help).at(span)
    })
}
