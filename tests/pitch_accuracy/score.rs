//! Shares of frames within so many cents, and how far whole notes are off.

use std::fmt;

use fingertape::units::Hertz;

/// The frames of many notes.
#[derive(Default)]
pub struct Score {
    frames: usize,
    unvoiced: usize,
    gross: usize,
    octave: usize,
    cents: Vec<f64>,
    notes: Vec<f64>,
    lost: usize,
}

/// The frames of one note.
pub struct Note {
    frames: usize,
    unvoiced: usize,
    gross: usize,
    over_5: usize,
    cents: Option<f64>,
}

impl Score {
    /// Adds a note: for each sounding frame what was heard and what is true.
    pub fn note(&mut self, frames: &[(Option<Hertz>, Hertz)]) -> Note {
        let cents: Vec<f64> =
            frames.iter().filter_map(|(heard, truth)| heard.map(|one| one.cents_above(*truth).0)).collect();
        let mut sorted = cents.clone();
        sorted.sort_by(f64::total_cmp);
        let middle = sorted.get(sorted.len() / 2).copied();
        let gross = cents.iter().filter(|one| one.abs() > 50.0).count();
        self.frames += frames.len();
        self.unvoiced += frames.len() - cents.len();
        self.gross += gross;
        self.octave += cents.iter().filter(|one| one.abs() > 600.0).count();
        let note = Note {
            frames: frames.len(),
            unvoiced: frames.len() - cents.len(),
            gross,
            over_5: cents.iter().filter(|one| one.abs() > 5.0).count(),
            cents: middle,
        };
        self.cents.extend(cents);
        self.notes.extend(middle.map(f64::abs));
        self.lost += usize::from(middle.is_none_or(|one| one.abs() > 50.0));
        note
    }

    /// Share of frames within so many cents, in percent; an unvoiced frame is a miss.
    pub fn within(&self, cents: f64) -> f64 {
        100.0 * self.cents.iter().filter(|one| one.abs() <= cents).count() as f64 / self.frames.max(1) as f64
    }

    /// Voiced frames more than 50 cents off, in percent of the sounding frames.
    pub fn gross(&self) -> f64 {
        100.0 * self.gross as f64 / self.frames.max(1) as f64
    }

    /// Voiced frames more than half an octave off, in percent of the sounding frames.
    pub fn octave(&self) -> f64 {
        100.0 * self.octave as f64 / self.frames.max(1) as f64
    }

    /// Sounding frames called unvoiced, in percent.
    pub fn unvoiced(&self) -> f64 {
        100.0 * self.unvoiced as f64 / self.frames.max(1) as f64
    }

    /// Notes silent or more than 50 cents wrong.
    pub fn lost(&self) -> usize {
        self.lost
    }

    /// The table row of the exact tones.
    pub fn row(&self) -> String {
        let frames: Vec<f64> = self.cents.iter().map(|one| one.abs()).collect();
        format!(
            "{:>7.2} {:>7.2} {:>7.2} {:>7.2} {:>9.2} {:>9.3} {:>9.3}",
            self.within(50.0),
            self.within(10.0),
            self.within(5.0),
            self.within(2.0),
            self.unvoiced(),
            p95(&self.notes),
            p95(&frames)
        )
    }
}

/// The 95th percentile.
fn p95(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() * 95 / 100).copied().unwrap_or(f64::NAN)
}

impl Note {
    /// Anything more than 5 cents off, or unvoiced.
    pub fn worth_showing(&self) -> bool {
        self.unvoiced > 0 || self.gross > 0
    }
}

impl fmt::Display for Note {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            out,
            "{} frames, {} unvoiced, {} gross, {} over 5 c, median {:+.3} c",
            self.frames,
            self.unvoiced,
            self.gross,
            self.over_5,
            self.cents.unwrap_or(f64::NAN)
        )
    }
}
