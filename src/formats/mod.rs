//! Melody files, read and written: our own TOML, ABC 2.1, MusicXML 4.0 and (written only) MIDI.
//! Rule files and class lists are taken apart here too. [`read_melody`] chooses the format by content and extension; what a reader cannot keep is an error
//! or a remark that names bar and beat, never a silently different melody.

mod abc;
mod bytes_from_file;
mod draft;
mod error;
mod excerpt;
mod melody_from_draft;
mod melody_from_file;
pub mod melody_toml;
mod midi_from_melody;
mod musicxml;
mod playing_order;
mod rule_file;
mod table_from_file;
mod table_from_toml;
mod table_from_xlsx;
mod text_from_bytes;
mod written_format;

pub use abc::write_abc;
pub use error::{FormatError, FormatErrorKind};
pub use excerpt::is_unseen;
pub use melody_from_draft::ReadMelody;
pub use melody_from_file::{
    LARGEST_FILE, is_melody_ending, melody_bytes, melody_endings, read_melody, read_melody_bytes,
    read_melody_bytes_for, read_melody_for,
};
pub use melody_toml::{length_from_word, write_toml};
pub use midi_from_melody::write_midi;
pub use musicxml::{write_musicxml, write_mxl};
pub use rule_file::{Entry, RuleFile, Setting, SettingKind, Tier, read_rule_bytes, read_rule_file};
pub use table_from_file::{Table, TableRow, read_table, read_table_bytes};
pub use written_format::WrittenFormat;
