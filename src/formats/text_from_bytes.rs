//! The bytes of a file become text: byte-order marks, UTF-8, UTF-16 and, for XML, the declared
//! encoding (XML 1.0, appendix F).

use super::error::{Fault, FormatErrorKind};

/// No text is larger than this many bytes: 16 MiB, a score of many parts.
pub(crate) const LARGEST_TEXT: usize = 16 << 20;

/// Text from bytes: UTF-8 or UTF-16 with or without a byte-order mark, else the encoding declared in
/// an XML declaration (ISO-8859-1, Windows-1252, US-ASCII). A carriage return that ends a line alone, as on old
/// Macintoshes, becomes a line feed, and every byte keeps its place.
pub(crate) fn text_from_bytes(bytes: &[u8]) -> Result<String, Fault> {
    decoded(bytes).map(with_line_feeds)
}

fn with_line_feeds(text: String) -> String {
    if !text.contains('\r') {
        return text;
    }
    let mut after = text.chars().skip(1);
    text.chars()
        .map(|c| match (c, after.next()) {
            ('\r', next) if next != Some('\n') => '\n',
            _ => c,
        })
        .collect()
}

fn decoded(bytes: &[u8]) -> Result<String, Fault> {
    if bytes.len() > LARGEST_TEXT {
        let message = "the file is larger than a melody can be";
        return Err(Fault::new(FormatErrorKind::TooBig, message, "Is this the right file?"));
    }
    match bytes {
        [0xEF, 0xBB, 0xBF, rest @ ..] => from_utf8(rest),
        [0xFF, 0xFE, rest @ ..] => from_utf16(rest, u16::from_le_bytes),
        [0xFE, 0xFF, rest @ ..] => from_utf16(rest, u16::from_be_bytes),
        [b'<', 0, ..] => from_utf16(bytes, u16::from_le_bytes),
        [0, b'<', ..] => from_utf16(bytes, u16::from_be_bytes),
        _ => match declared_encoding(bytes).as_deref() {
            Some("iso-8859-1" | "latin1" | "latin-1" | "iso8859-1" | "iso_8859-1") => {
                Ok(bytes.iter().map(|&byte| char::from(byte)).collect())
            }
            Some("windows-1252" | "cp1252") => Ok(bytes.iter().map(|&byte| windows_1252(byte)).collect()),
            // A file may say UTF-16 and be UTF-8 by the time it is read; what decodes is taken.
            None | Some("utf-8" | "utf8" | "us-ascii" | "ascii" | "utf-16") => from_utf8(bytes),
            Some(other) => {
                let message = format!("the file says that its text is encoded as “{other}”");
                Err(Fault::new(FormatErrorKind::Encoding, message, "Save it as UTF-8."))
            }
        },
    }
}

fn from_utf8(bytes: &[u8]) -> Result<String, Fault> {
    String::from_utf8(bytes.to_vec()).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        let message = format!("this is no text, and no melody that I can read (from byte {at} on)");
        let help = "Is this the right file? If it is a text, save it as UTF-8.";
        Fault::new(FormatErrorKind::Encoding, message, help)
    })
}

fn from_utf16(bytes: &[u8], read: fn([u8; 2]) -> u16) -> Result<String, Fault> {
    let units = bytes.chunks_exact(2).map(|pair| read([pair[0], pair[1]]));
    char::decode_utf16(units).collect::<Result<String, _>>().map_err(|_| {
        Fault::new(FormatErrorKind::Encoding, "this is not valid UTF-16 text", "Save it as UTF-8.")
    })
}

fn declared_encoding(bytes: &[u8]) -> Option<String> {
    let head: String = bytes.iter().take(200).map(|&byte| char::from(byte)).collect();
    let declaration = head.strip_prefix("<?xml")?.split("?>").next()?;
    let after = declaration.split("encoding").nth(1)?.trim_start().strip_prefix('=')?.trim_start();
    let quote = after.chars().next().filter(|c| *c == '"' || *c == '\'')?;
    after[1..].split(quote).next().map(str::to_lowercase)
}

/// Windows-1252 differs from Latin-1 in 0x80 to 0x9F; unassigned bytes stay as they are.
pub(crate) fn windows_1252(byte: u8) -> char {
    const TABLE: [char; 32] = [
        '€', '\u{81}', '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', '\u{8d}', 'Ž', '\u{8f}',
        '\u{90}', '‘', '’', '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', '\u{9d}', 'ž', 'Ÿ',
    ];
    match byte {
        0x80..=0x9F => TABLE[usize::from(byte) - 0x80],
        _ => char::from(byte),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_usual_encoding_of_the_same_text_reads_the_same() {
        let text = "<?xml version=\"1.0\"?><a>Größe ♪</a>";
        let utf16 = |bytes: fn(u16) -> [u8; 2], mark: &[u8]| {
            mark.iter().copied().chain(text.encode_utf16().flat_map(bytes)).collect::<Vec<u8>>()
        };
        assert_eq!(text_from_bytes(text.as_bytes()).unwrap(), text);
        assert_eq!(text_from_bytes(&[b"\xEF\xBB\xBF", text.as_bytes()].concat()).unwrap(), text);
        assert_eq!(text_from_bytes(&utf16(u16::to_le_bytes, &[0xFF, 0xFE])).unwrap(), text);
        assert_eq!(text_from_bytes(&utf16(u16::to_be_bytes, &[0xFE, 0xFF])).unwrap(), text);
        assert_eq!(text_from_bytes(&utf16(u16::to_le_bytes, &[])).unwrap(), text);
        assert_eq!(text_from_bytes(&utf16(u16::to_be_bytes, &[])).unwrap(), text);
    }

    #[test]
    fn a_carriage_return_alone_ends_a_line_too() {
        for (typed, read) in
            [("a\rb\r\rc\r", "a\nb\n\nc\n"), ("a\r\nb\n", "a\r\nb\n"), ("ä\r\r\n", "ä\n\r\n")]
        {
            assert_eq!(text_from_bytes(typed.as_bytes()).unwrap(), read);
        }
    }

    #[test]
    fn declared_latin_1_is_honoured_and_other_encodings_are_named() {
        let latin = b"<?xml version='1.0' encoding='ISO-8859-1'?><a>Gr\xF6\xDFe</a>";
        assert!(text_from_bytes(latin).unwrap().contains("Größe"));
        let western = b"<?xml version=\"1.0\" encoding=\"windows-1252\"?><a>\x93</a>";
        assert!(text_from_bytes(western).unwrap().contains('“'));
        let other = text_from_bytes(b"<?xml version='1.0' encoding='shift_jis'?><a/>").unwrap_err();
        assert!(other.message.contains("shift_jis"));
        assert_eq!(text_from_bytes(b"\xFF\x00\x81").unwrap_err().kind, FormatErrorKind::Encoding);
    }
}
