//! The formats that a melody can be written in, and what each of them cannot hold.

use super::midi_from_melody::bar_lines_part;
use super::{write_abc, write_midi, write_musicxml, write_mxl, write_toml};
use crate::notation::{Instrument, Item, Melody, Metre, WrittenValue};
use crate::remark::Remark;
use std::path::Path;

/// A format that a melody can be written in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum WrittenFormat {
    /// Our own TOML.
    Toml,
    /// ABC 2.1.
    Abc,
    /// MusicXML 4.0, plain.
    MusicXml,
    /// MusicXML 4.0, compressed.
    Mxl,
    /// A standard MIDI file; it is never read.
    Midi,
}

impl WrittenFormat {
    /// All of them.
    pub const ALL: [WrittenFormat; 5] = [Self::Toml, Self::Abc, Self::MusicXml, Self::Mxl, Self::Midi];

    /// By the ending of a file's name: `.toml`, `.abc`, `.musicxml`, `.xml`, `.mxl`, `.mid`, `.midi`.
    pub fn from_path(path: &Path) -> Option<Self> {
        match path.extension()?.to_str()?.to_lowercase().as_str() {
            "toml" => Some(Self::Toml),
            "abc" => Some(Self::Abc),
            "musicxml" | "xml" => Some(Self::MusicXml),
            "mxl" => Some(Self::Mxl),
            "mid" | "midi" => Some(Self::Midi),
            _ => None,
        }
    }

    /// The melody as bytes of this format. Repeats are written out.
    pub fn write(self, melody: &Melody) -> Vec<u8> {
        match self {
            Self::Toml => write_toml(melody).into_bytes(),
            Self::Abc => write_abc(melody).into_bytes(),
            Self::MusicXml => write_musicxml(melody).into_bytes(),
            Self::Mxl => write_mxl(melody),
            Self::Midi => write_midi(melody),
        }
    }

    /// What of this melody the format cannot hold, one sentence each; nothing for what it does not have.
    pub fn cannot_hold(self, melody: &Melody) -> Vec<Remark> {
        let mut lost = Vec::new();
        let mut say = |code: &str, text: &str| lost.push(Remark::new(code, text));
        let own_clef = melody.instrument.map(Instrument::clef);
        match self {
            Self::Toml if melody.sheet.clef.is_some() && melody.sheet.clef != own_clef => {
                say("clef", "TOML does not hold the clef; the instrument decides it.");
            }
            Self::MusicXml | Self::Mxl => {
                let sign = |item: &Item| WrittenValue::of(item.length).is_some();
                if !melody.bars().iter().flat_map(|bar| &bar.items).all(sign) {
                    say("tied", "A note whose length no single sign has is written as tied notes.");
                }
            }
            Self::Toml => {}
            Self::Abc => {
                if melody.title.is_none() {
                    say("title", "An ABC tune must have a title; it is called Melody.");
                } else if melody.title.as_deref().is_some_and(|title| title.contains(['\\', '&'])) {
                    say("title", "ABC reads \\ and & in its own way; look at the title again.");
                }
            }
            Self::Midi => {
                say("spelling", "MIDI holds how the notes sound, not how they are spelled.");
                say(
                    "written-only",
                    "MIDI holds no clef, fingers, ties or rests as signs; fingertape does not read it back.",
                );
                if melody.sheet.composer.is_some() {
                    say("composer", "MIDI does not hold the composer.");
                }
                if melody.bpm.is_none() {
                    say(
                        "tempo",
                        "The melody says no tempo; MIDI must have one and has 60 quarter notes a minute.",
                    );
                }
                if melody.a4.is_some() {
                    say("a4", "MIDI does not hold the pitch of A4.");
                }
                let first: Option<(Metre, i8)> =
                    melody.sheet.bars.first().map(|bar| (bar.metre, bar.key.fifths));
                if melody.sheet.bars.iter().any(|bar| Some((bar.metre, bar.key.fifths)) != first) {
                    say("changes", "MIDI gets the first metre and key only.");
                }
                if let Some(bar) = bar_lines_part(melody) {
                    let text = format!(
                        "MIDI counts on from bar to bar: from bar {bar} on its bar lines are not those of the sheet."
                    );
                    say("bar-lines", &text);
                }
            }
        }
        lost
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ending_of_the_name_decides() {
        let of = |name: &str| WrittenFormat::from_path(Path::new(name));
        assert_eq!(of("a.MusicXML"), Some(WrittenFormat::MusicXml));
        assert_eq!((of("a.b.mid"), of("a.xml")), (Some(WrittenFormat::Midi), Some(WrittenFormat::MusicXml)));
        assert_eq!((of("toml"), of("a.pdf"), of("")), (None, None, None));
    }
}
