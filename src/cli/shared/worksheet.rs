//! What one instrument reads of a rule sheet, as a sheet to write on.

use fingertape::engrave::{Choice, Given, Worksheet, WorksheetBar};
use fingertape::notation::Length;
use fingertape::rules::{GivenNote, InstrumentSheet};

/// Bars on a sheet whose rule file does not say how many.
const BARS: u32 = 8;

/// The sheet to write on, with `practice_bars` bars to try things out in (if nothing is asked for, a
/// line of them where the paper has room).
pub fn worksheet(sheet: &InstrumentSheet, practice_bars: Option<u32>) -> Worksheet {
    let given_in = |bar: u32| sheet.given.iter().filter(move |given| given.bar == bar);
    let count = sheet.bars.unwrap_or_else(|| sheet.given.iter().fold(BARS, |most, one| most.max(one.bar)));
    Worksheet {
        title: sheet.title.clone(),
        tier: sheet.tier.clone(),
        instrument: sheet.instrument,
        key: sheet.key,
        metre: sheet.metre,
        bpm: sheet.bpm,
        instructions: sheet.to_print.clone(),
        choices: sheet
            .choices
            .iter()
            .map(|choice| Choice { written: choice.written, fingering: Some(choice.fingering) })
            .collect(),
        practice_bars,
        bars: (1..=count)
            .map(|bar| WorksheetBar { given: given_in(bar).map(|given| placed(given, sheet)).collect() })
            .collect(),
    }
}

fn placed(given: &GivenNote, sheet: &InstrumentSheet) -> Given {
    Given {
        start: (given.beat - Length::from_integer(1)) * sheet.metre.beat(),
        length: given.length,
        pitch: given.note.as_ref().map(|note| note.written),
    }
}
