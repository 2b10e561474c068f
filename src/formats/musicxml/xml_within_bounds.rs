//! What XML may hold without being small and meaning to be large, looked at before a tree is made of it: no
//! entities of its own (each use of one is a copy of it), no tag longer than any score needs (attributes of
//! one tag are compared with each other), few namespaces (each element inherits all of them).

use super::super::error::{Fault, FormatErrorKind};

/// No tag of a score is longer than this many bytes.
const LONGEST_TAG: usize = 16 << 10;
/// No score declares more namespaces than this.
const MOST_NAMESPACES: usize = 64;

/// Refuses what would need far more memory or time than the text is long.
pub(super) fn within_bounds(text: &str) -> Result<(), Fault> {
    let refused = |at: usize, what: &str| {
        let help = "Export the melody again from a notation program.";
        let span = at..text.len().min(at + 1);
        Err(Fault::new(FormatErrorKind::Syntax, format!("this is no score: {what}"), help).at(span))
    };
    let (mut at, mut namespaces) = (0, 0);
    while let Some(next) = text[at..].find('<') {
        at += next;
        let rest = &text[at..];
        if rest.starts_with("<!ENTITY") {
            return refused(at, "it declares entities of its own, and no score has any");
        }
        let skipped = [("<!--", "-->"), ("<![CDATA[", "]]>"), ("<?", "?>")]
            .into_iter()
            .find(|(begin, _)| rest.starts_with(begin));
        if let Some((begin, end)) = skipped {
            let Some(length) = rest[begin.len()..].find(end) else { return Ok(()) };
            at += begin.len() + length + end.len();
            continue;
        }
        if rest.starts_with("<!") {
            // Declarations of document types hold others.
            at += 2;
            continue;
        }
        let mut quote = None;
        let end = rest.bytes().position(|byte| {
            match (quote, byte) {
                (None, b'"' | b'\'') => quote = Some(byte),
                (Some(open), _) if open == byte => quote = None,
                _ => {}
            }
            quote.is_none() && byte == b'>'
        });
        let length = end.unwrap_or(rest.len());
        if length > LONGEST_TAG {
            return refused(at, "one of its tags is longer than any that a score needs");
        }
        namespaces += rest[..length].matches("xmlns").count();
        if namespaces > MOST_NAMESPACES {
            return refused(at, "it declares more namespaces than any score needs");
        }
        at += length;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(text: &str) -> Option<String> {
        within_bounds(text).err().map(|fault| fault.message)
    }

    #[test]
    fn what_scores_have_is_within_bounds() {
        for text in [
            "<?xml version='1.0'?><!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD\" \"partwise.dtd\"><a b='>'/>",
            "<!-- <!ENTITY it's a comment --><a/>",
            "<a><![CDATA[<!ENTITY <b c=']]></a>",
            "no tag at all",
            "<a",
            "<!-- never closed",
            "",
        ] {
            assert_eq!(refused(text), None, "{text}");
        }
        assert_eq!(refused(&format!("<!-- <a {} -->", "'".repeat(LONGEST_TAG * 2 + 1))), None);
    }

    #[test]
    fn entities_long_tags_and_many_namespaces_are_refused_where_they_stand() {
        let entity = "<!DOCTYPE a [\n<!ENTITY b 'c'>]><a>&b;</a>";
        let fault = within_bounds(entity).unwrap_err();
        assert_eq!(fault.span, Some(14..15));
        assert!(fault.message.contains("entities"));
        assert!(refused(&format!("<a b='{}'/>", "x".repeat(LONGEST_TAG))).unwrap().contains("tags"));
        assert!(refused(&"<a xmlns:b='c'>".repeat(MOST_NAMESPACES + 1)).unwrap().contains("namespaces"));
    }
}
