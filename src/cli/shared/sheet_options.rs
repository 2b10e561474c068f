//! How sheets look: for every command that prints them.

use super::choices::PaperName;
use super::ranges;
use clap::Args;
use fingertape::engrave::{STAFF_FOR_ADULTS_MM, STAFF_FOR_CHILDREN_MM, SheetSettings};

/// How sheets look.
#[derive(Args)]
pub struct SheetOptions {
    /// Print the names of the notes under them
    #[arg(long)]
    names: bool,
    /// Print the fingers of first position under the notes (L low, H high, x stretched)
    #[arg(long)]
    fingers: bool,
    /// Print the strings under the notes
    #[arg(long)]
    strings: bool,
    /// The paper
    #[arg(long, value_enum, ignore_case = true, default_value = "letter")]
    paper: PaperName,
    /// The height of the staff: child (9.2 mm), adult (7 mm), or millimetres
    #[arg(long, value_name = "SIZE", default_value = "child", allow_negative_numbers = true, value_parser = staff_size)]
    staff_size: f64,
}

fn staff_size(text: &str) -> Result<f64, String> {
    match text.to_ascii_lowercase().as_str() {
        "child" => Ok(STAFF_FOR_CHILDREN_MM),
        "adult" => Ok(STAFF_FOR_ADULTS_MM),
        other => ranges::staff_mm(other.trim_end_matches("mm").trim_end()),
    }
}

impl SheetOptions {
    /// Whether something is asked for that is another on each instrument.
    pub fn needs_instrument(&self) -> bool {
        self.fingers || self.strings
    }

    /// What the engraver is told.
    pub fn settings(&self) -> SheetSettings {
        SheetSettings {
            paper: self.paper.into(),
            staff_mm: self.staff_size,
            names: self.names,
            fingers: self.fingers,
            strings: self.strings,
        }
    }
}
