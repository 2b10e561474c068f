//! The headers of the rule files are read and tried out: what stands in them is what the rules do.

use super::examples::{said, sheet};
use super::{RULE_FILES, RULES};

/// What a rule file says about itself.
struct Header {
    toml: String,
    bars: Vec<String>,
    says: Vec<String>,
    labels: Vec<String>,
}

fn header(text: &str) -> Header {
    let mut header = Header { toml: String::new(), bars: Vec::new(), says: Vec::new(), labels: Vec::new() };
    let mut block = "";
    for line in text.lines().map_while(|line| line.strip_prefix("//!")).map(str::trim) {
        match line.strip_prefix("```") {
            Some(language) => block = language,
            None if block == "toml" => header.toml += &format!("{line}\n"),
            None if block == "text" => header.bars.push(line.to_owned()),
            None if line.starts_with("> ") => header.says.push(line[2..].to_owned()),
            None => {
                if let Some((label, after)) = line.split_once(": ").filter(|(label, _)| !label.contains(' '))
                    && after.len() > 8
                {
                    header.labels.push(label.to_owned());
                }
            }
        }
    }
    header
}

#[test]
fn every_rule_says_exactly_what_its_header_says_about_its_three_bars() {
    for (name, text) in RULE_FILES {
        let header = header(text);
        assert_eq!(header.labels, ["What", "Why", "Example", "Source"], "{name}");
        assert_eq!(header.bars.len(), 3, "{name}: three bars");
        assert!(!header.says.is_empty(), "{name}: what is said stands after >");
        assert_eq!(said(&header.toml, &header.bars.join("\n")), header.says, "{name}");
    }
}

#[test]
fn every_rule_puts_its_word_its_header_and_a_sentence_for_the_sheet_together() {
    assert_eq!(RULE_FILES.len(), RULES.len());
    for ((name, text), kind) in RULE_FILES.iter().zip(RULES) {
        assert_eq!(*name, format!("rule_{}", kind.word), "a file is named after its word");
        let header = header(text);
        assert!(header.toml.contains(kind.word), "{name}: the example sets the rule");
        assert!(kind.typed.contains(kind.word), "{name}");
        let sentences = sheet(&header.toml).1.sentences;
        assert!(!sentences.is_empty(), "{name}");
        for sentence in sentences {
            assert!(sentence.ends_with('.') && sentence.starts_with(char::is_uppercase), "{sentence}");
        }
    }
}
