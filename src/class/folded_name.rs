//! Names as file drops leave them: without case, accents, spaces and separators, but with the places where a word
//! begins or ends, so that `violin-1` is not found in `violin-12`.

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

/// A name folded to letters and digits.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FoldedName {
    letters: Vec<char>,
    /// For each place between letters (and both ends), whether a word begins or ends there.
    edges: Vec<bool>,
}

/// Stands between two numbers, so that `violin-1 (2)` does not hold `violin-12`.
const BETWEEN_NUMBERS: char = '·';

/// What a run of characters is.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Letter,
    Digit,
    Other,
}

impl FoldedName {
    /// Folds a name. A word ends at anything that is neither letter nor digit, between letters and digits, and where a
    /// capital follows a small letter; zeros before a number are left out.
    pub fn new(name: &str) -> Self {
        let mut folded = Self { letters: Vec::new(), edges: vec![true] };
        let mut before = (Kind::Other, false);
        let mut parted = false;
        let decomposed: Vec<char> = name.nfkd().filter(|letter| !is_combining_mark(*letter)).collect();
        for (at, &letter) in decomposed.iter().enumerate() {
            let kind = match letter {
                _ if letter.is_numeric() => Kind::Digit,
                _ if letter.is_alphabetic() => Kind::Letter,
                _ => Kind::Other,
            };
            let edge = kind != before.0 || (letter.is_uppercase() && before.1);
            before = (kind, letter.is_lowercase());
            if edge && let Some(last) = folded.edges.last_mut() {
                *last = true;
            }
            let number_goes_on = decomposed.get(at + 1).is_some_and(|next| next.is_numeric());
            let leading_zero =
                kind == Kind::Digit && letter == '0' && number_goes_on && folded.edges.last() == Some(&true);
            if kind == Kind::Other || leading_zero {
                parted |= kind == Kind::Other;
                continue;
            }
            if parted && kind == Kind::Digit && folded.letters.last().is_some_and(|last| last.is_numeric()) {
                folded.letters.push(BETWEEN_NUMBERS);
                folded.edges.push(true);
            }
            parted = false;
            for plain in letter.to_lowercase().flat_map(unaccented) {
                folded.letters.push(plain);
                folded.edges.push(false);
            }
        }
        if let Some(last) = folded.edges.last_mut() {
            *last = true;
        }
        folded
    }

    /// Nothing is left of the name.
    pub fn is_empty(&self) -> bool {
        self.letters.is_empty()
    }

    /// The letters without their edges.
    pub fn text(&self) -> String {
        self.letters.iter().collect()
    }

    /// Where `part` stands in this name as whole words: from and to, in letters.
    pub fn places_of(&self, part: &Self) -> Vec<(usize, usize)> {
        if part.is_empty() || part.letters.len() > self.letters.len() {
            return Vec::new();
        }
        (0..=self.letters.len() - part.letters.len())
            .map(|from| (from, from + part.letters.len()))
            .filter(|&(from, to)| {
                self.edges[from] && self.edges[to] && self.letters[from..to] == part.letters
            })
            .collect()
    }

    /// The place of the next letter from a place on: what stands between two numbers is passed over.
    pub fn next_letter(&self, from: usize) -> usize {
        from + usize::from(self.letters.get(from) == Some(&BETWEEN_NUMBERS))
    }

    /// The length in letters.
    pub fn len(&self) -> usize {
        self.letters.len()
    }
}

/// Letters that Unicode does not take apart, as they are typed without their accents (common practice).
fn unaccented(letter: char) -> Vec<char> {
    match letter {
        'ß' => vec!['s', 's'],
        'æ' => vec!['a', 'e'],
        'œ' => vec!['o', 'e'],
        'ø' => vec!['o'],
        'ł' => vec!['l'],
        'đ' | 'ð' => vec!['d'],
        'þ' => vec!['t', 'h'],
        'ħ' => vec!['h'],
        'ı' => vec!['i'],
        // The dot that the lower case of İ leaves behind.
        '\u{307}' => Vec::new(),
        other => vec![other],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn found(part: &str, name: &str) -> bool {
        !FoldedName::new(name).places_of(&FoldedName::new(part)).is_empty()
    }

    #[test]
    fn case_accents_spaces_and_separators_do_not_matter() {
        for name in ["violin-1", "VIOLIN_1.m4a", "4B violin 1 take 2", "Violin1", "takeViolin01", "violin.1"]
        {
            assert!(found("violin-1", name), "{name}");
        }
        assert!(found("Čełło-ěś", "cello_es_final.m4a"));
        // The same letters composed and decomposed, as one system and another write them.
        assert!(found("Bratsche-é", "Bratsche-e\u{301} 2.wav"));
        assert!(found("Bratsche-e\u{301}", "Bratsche-é 2.wav"));
        assert!(found("Baß-1", "bass-1.mp3"));
    }

    #[test]
    fn a_name_is_found_as_whole_words_only() {
        assert!(!found("violin-1", "violin-12.m4a"));
        assert!(!found("violin-1", "violin-11"));
        for copy in ["violin-1 (2).wav", "violin-1 2", "violin 1_2", "violin-1-2026-11-20"] {
            assert!(found("violin-1", copy) && !found("violin-12", copy), "{copy}");
        }
        assert!(!found("violin-1", "violin-2.1") || found("violin-2", "violin-2.1"));
        assert!(!found("ann", "hannah.wav"));
        assert!(!found("ann", "annabel.wav"));
        assert!(!found("", "violin-1") && !found("--", "violin-1"));
    }

    proptest! {
        #[test]
        fn every_name_is_found_in_itself(name in any::<String>()) {
            let folded = FoldedName::new(&name);
            prop_assert!(folded.is_empty() || !folded.places_of(&folded).is_empty());
            prop_assert_eq!(folded.edges.len(), folded.letters.len() + 1);
        }
    }
}
