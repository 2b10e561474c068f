//! The four instruments of a school string orchestra.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// One of the four instruments.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[allow(missing_docs)]
pub enum Instrument {
    Violin,
    Viola,
    Cello,
    Bass,
}

/// A clef: which line of the staff is which note.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[allow(missing_docs)]
pub enum Clef {
    /// G4 on the second line from below.
    Treble,
    /// C4 on the middle line.
    Alto,
    /// C4 on the fourth line from below.
    Tenor,
    /// F3 on the fourth line from below.
    Bass,
}

impl Instrument {
    /// All four, high to low.
    pub const ALL: [Instrument; 4] = [Self::Violin, Self::Viola, Self::Cello, Self::Bass];

    /// Semitones from written to sounding pitch: the bass sounds an octave below what is written
    /// (common practice).
    pub fn sounding_shift(self) -> i32 {
        match self {
            Self::Bass => -12,
            _ => 0,
        }
    }

    /// Sounding MIDI numbers of the open strings, low to high (common practice).
    pub fn open_strings(self) -> [i32; 4] {
        match self {
            Self::Violin => [55, 62, 69, 76],
            Self::Viola => [48, 55, 62, 69],
            Self::Cello => [36, 43, 50, 57],
            Self::Bass => [28, 33, 38, 43],
        }
    }

    /// The letters by which players call the strings, low to high (common practice).
    pub fn string_names(self) -> [&'static str; 4] {
        match self {
            Self::Violin => ["G", "D", "A", "E"],
            Self::Viola | Self::Cello => ["C", "G", "D", "A"],
            Self::Bass => ["E", "A", "D", "G"],
        }
    }

    /// The clef that beginners read (common practice).
    pub fn clef(self) -> Clef {
        match self {
            Self::Violin => Clef::Treble,
            Self::Viola => Clef::Alto,
            Self::Cello | Self::Bass => Clef::Bass,
        }
    }

    /// Lowest and highest sounding MIDI number that the instrument plays on a stopped string, two
    /// octaves and a sixth to three octaves above the highest open string at most (common practice,
    /// generous: it sets expectations, not limits).
    pub fn range(self) -> (i32, i32) {
        let [lowest, .., highest] = self.open_strings();
        let above = match self {
            Self::Violin => 27,
            Self::Viola => 24,
            Self::Cello => 27,
            Self::Bass => 24,
        };
        (lowest, highest + above)
    }

    /// Highest sounding MIDI number in first position: the fourth finger on the highest string.
    pub fn highest_in_first_position(self) -> i32 {
        let reach = match self {
            Self::Violin | Self::Viola => 7,
            Self::Cello => 5,
            Self::Bass => 4,
        };
        self.open_strings()[3] + reach
    }

    /// Whether neighbouring strings are a fourth apart, not a fifth.
    pub fn tuned_in_fourths(self) -> bool {
        let [lowest, next, ..] = self.open_strings();
        next - lowest == 5
    }

    /// Whether the strings are tuned by geared machines alone, too heavy for a child, and not by pegs and fine
    /// tuners (common practice).
    pub fn has_tuning_machines(self) -> bool {
        match self {
            Self::Violin | Self::Viola | Self::Cello => false,
            Self::Bass => true,
        }
    }

    /// The name that is typed and that stands in the report: `violin`, `viola`, `cello`, `bass`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Violin => "violin",
            Self::Viola => "viola",
            Self::Cello => "cello",
            Self::Bass => "bass",
        }
    }

    /// Every name, for the help of an error: `violin, viola, cello or bass`.
    pub fn names() -> String {
        let [before @ .., last] = Self::ALL.map(Self::name);
        format!("{} or {last}", before.join(", "))
    }

    /// The usual English name of the part in a score.
    pub fn part_name(self) -> &'static str {
        match self {
            Self::Violin => "Violin",
            Self::Viola => "Viola",
            Self::Cello => "Violoncello",
            Self::Bass => "Double Bass",
        }
    }

    /// The instrument that a part name of a score means, such as `Violin I`, `Vc.` or `Solo Cello`,
    /// if it clearly means one of the four.
    pub fn from_part_name(name: &str) -> Option<Self> {
        let cleaned: String =
            name.chars().map(|c| if c.is_alphabetic() { c.to_ascii_lowercase() } else { ' ' }).collect();
        let filler = |word: &&str| {
            !matches!(
                *word,
                "i" | "ii"
                    | "iii"
                    | "iv"
                    | "v"
                    | "solo"
                    | "part"
                    | "in"
                    | "c"
                    | "the"
                    | "student"
                    | "section"
            )
        };
        let words: Vec<&str> = cleaned.split_whitespace().filter(filler).collect();
        if let Ok(instrument) = words.join(" ").parse() {
            return Some(instrument);
        }
        // A name with other words in it, such as “somebody's violin”: the one instrument named in full,
        // unless another word makes it something else.
        const OTHERS: [&str; 18] = [
            "clarinet",
            "guitar",
            "drum",
            "drums",
            "trombone",
            "flute",
            "recorder",
            "saxophone",
            "sax",
            "tuba",
            "electric",
            "gamba",
            "horn",
            "oboe",
            "voice",
            "choir",
            "piano",
            "clef",
        ];
        if words.iter().any(|word| OTHERS.contains(word)) {
            return None;
        }
        let mut named = words.iter().filter(|word| word.len() >= 4).filter_map(|word| word.parse().ok());
        let first = named.next()?;
        named.all(|other: Self| other == first).then_some(first)
    }
}

/// As in the report: [`Instrument::name`].
impl fmt::Display for Instrument {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// Why an instrument could not be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("“{0}” is not an instrument that is known here; write {names}", names = Instrument::names())]
pub struct InstrumentError(pub String);

/// The names and short names that players and scores use, in English, Italian, German and French.
impl FromStr for Instrument {
    type Err = InstrumentError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let name = text.trim().trim_end_matches('.').to_lowercase().replace(['-', '_'], " ");
        match name.as_str() {
            "violin" | "violins" | "violino" | "violini" | "violine" | "violinen" | "violon" | "violons"
            | "vn" | "vln" | "vl" | "vlns" | "vni" | "fiddle" | "geige" => Ok(Self::Violin),
            "viola" | "violas" | "viole" | "violen" | "va" | "vla" | "vlas" | "vle" | "bratsche"
            | "bratschen" | "alto viola" => Ok(Self::Viola),
            "cello" | "cellos" | "celli" | "violoncello" | "violoncellos" | "violoncelli" | "violoncelle"
            | "violoncelles" | "vc" | "vcl" | "vlc" | "vcs" | "vcello" => Ok(Self::Cello),
            "bass" | "basses" | "double bass" | "double basses" | "doublebass" | "contrabass"
            | "contrabasses" | "contrabasso" | "contrabassi" | "contrebasse" | "contrebasses"
            | "kontrabass" | "kontrabässe" | "string bass" | "string basses" | "upright bass"
            | "acoustic bass" | "db" | "cb" | "kb" | "d b" | "dbl bass" | "bassi" => Ok(Self::Bass),
            _ => Err(InstrumentError(text.to_owned())),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::Spelling;

    fn midi(text: &str) -> i32 {
        text.parse::<Spelling>().unwrap().midi()
    }

    #[test]
    fn the_range_goes_from_the_lowest_open_string_to_two_octaves_or_more_above_the_highest() {
        let ranges = [Instrument::Violin, Instrument::Viola, Instrument::Cello, Instrument::Bass]
            .map(Instrument::range);
        let named = |low: &str, high: &str| (midi(low), midi(high));
        assert_eq!(ranges, [named("G3", "G7"), named("C3", "A6"), named("C2", "C6"), named("E1", "G4")]);
    }

    /// Common practice, no single source.
    #[test]
    fn open_strings_are_those_of_common_practice() {
        let strings = |names: [&str; 4]| names.map(midi);
        assert_eq!(Instrument::Violin.open_strings(), strings(["G3", "D4", "A4", "E5"]));
        assert_eq!(Instrument::Viola.open_strings(), strings(["C3", "G3", "D4", "A4"]));
        assert_eq!(Instrument::Cello.open_strings(), strings(["C2", "G2", "D3", "A3"]));
        assert_eq!(Instrument::Bass.open_strings(), strings(["E1", "A1", "D2", "G2"]));
        for instrument in Instrument::ALL {
            for (name, open) in instrument.string_names().into_iter().zip(instrument.open_strings()) {
                assert_eq!((open - midi(&format!("{name}0"))) % 12, 0, "{instrument} {name}");
            }
        }
    }

    #[test]
    fn each_instrument_reads_its_clef_and_only_the_bass_sounds_an_octave_lower() {
        let clefs = Instrument::ALL.map(Instrument::clef);
        assert_eq!(clefs, [Clef::Treble, Clef::Alto, Clef::Bass, Clef::Bass]);
        assert_eq!(Instrument::ALL.map(Instrument::sounding_shift), [0, 0, 0, -12]);
    }

    #[test]
    fn only_the_bass_is_tuned_in_fourths_and_by_machines() {
        assert_eq!(Instrument::ALL.map(Instrument::tuned_in_fourths), [false, false, false, true]);
        assert_eq!(Instrument::ALL.map(Instrument::has_tuning_machines), [false, false, false, true]);
        for instrument in Instrument::ALL {
            let apart = if instrument.tuned_in_fourths() { 5 } else { 7 };
            let open = instrument.open_strings();
            assert!(open.windows(2).all(|pair| pair[1] - pair[0] == apart), "{instrument}");
        }
    }

    #[test]
    fn an_error_lists_every_name() {
        let names = Instrument::names();
        assert!(names.starts_with("violin, viola, ") && names.ends_with(" or bass"), "{names}");
        assert!(Instrument::ALL.iter().all(|instrument| names.contains(instrument.name())), "{names}");
        let error = "kazoo".parse::<Instrument>().unwrap_err().to_string();
        assert_eq!(error, format!("“kazoo” is not an instrument that is known here; write {names}"));
    }

    #[test]
    fn names_are_read_as_players_write_them() {
        for (name, instrument) in [
            ("violin", Instrument::Violin),
            ("Vn.", Instrument::Violin),
            ("Viola", Instrument::Viola),
            ("violoncello", Instrument::Cello),
            ("double-bass", Instrument::Bass),
            ("Double Bass", Instrument::Bass),
            ("cb", Instrument::Bass),
        ] {
            assert_eq!(name.parse(), Ok(instrument), "{name}");
        }
        for instrument in Instrument::ALL {
            assert_eq!(instrument.to_string().parse(), Ok(instrument));
            assert_eq!(Instrument::from_part_name(instrument.part_name()), Some(instrument));
        }
        assert_eq!(Instrument::from_part_name("Violin II"), Some(Instrument::Violin));
        assert_eq!(Instrument::from_part_name("Solo Cello (1)"), Some(Instrument::Cello));
        assert_eq!(Instrument::from_part_name("Somebody's violin"), Some(Instrument::Violin));
        assert_eq!(Instrument::from_part_name("Contrabass (student A)"), Some(Instrument::Bass));
    }

    #[test]
    fn other_instruments_are_not_taken_for_one_of_the_four() {
        for name in [
            "Bass Clarinet",
            "Bass Guitar",
            "Electric Bass",
            "Piano",
            "",
            "Viola da gamba",
            "Bassoon",
            "Violin and Cello",
        ] {
            assert_eq!(Instrument::from_part_name(name), None, "{name}");
        }
    }
}
