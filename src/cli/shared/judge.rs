//! A recording and a written melody become a judged take.

use super::settle_instrument::settle_instrument;
use super::{failure, progress};
use fingertape::decode;
use fingertape::findings::Report;
use fingertape::formats::{self, ReadMelody};
use fingertape::notation::{Fifths, Instrument, Melody};
use fingertape::page::PageContent;
use fingertape::pipeline::{self, JudgeSettings};
use fingertape::pitch::F0;
use fingertape::samples::Samples;
use fingertape::units::{A4_ISO16, Hertz};
use std::path::{Path, PathBuf};

/// Two files and what is to be assumed about them.
pub struct JudgeRequest {
    /// The recording.
    pub take: PathBuf,
    /// The written melody.
    pub melody: PathBuf,
    /// The instrument, where asked for.
    pub instrument: Option<Instrument>,
    /// The pitch of A4, where asked for.
    pub a4: Option<Hertz>,
    /// How the open strings follow from A.
    pub fifths: Fifths,
    /// Beats per minute, where asked for.
    pub bpm: Option<f64>,
}

/// A judged take with what it was judged from.
pub struct Judged {
    /// The report.
    pub report: Report,
    /// The melody, its instrument settled.
    pub melody: Melody,
    /// The sound.
    pub samples: Samples,
    /// The fundamental over time.
    pub f0: F0,
}

impl Judged {
    /// What a page is made of: this take, its number in the take book where it has one, and earlier takes of the same
    /// melody with theirs, oldest first.
    pub fn content<'a>(&'a self, number: Option<u32>, earlier: &'a [(u32, Report)]) -> PageContent<'a> {
        PageContent {
            report: &self.report,
            melody: &self.melody,
            f0: Some(&self.f0),
            samples: Some(&self.samples),
            number,
            earlier,
            playing_test: None,
        }
    }
}

/// Reads both files, settles what neither says, and judges.
pub fn judge(asked: &JudgeRequest) -> miette::Result<Judged> {
    failure::is_there(&asked.take, "the recording")?;
    failure::is_there(&asked.melody, "the melody")?;
    let read = formats::read_melody_for(&asked.melody, asked.instrument);
    let ReadMelody { melody, mut remarks } = read.map_err(|error| {
        failure::unusable_melody(
            error,
            &asked.melody,
            "the recording comes first, then the written melody: fingertape check TAKE --melody MELODY",
        )
    })?;
    let settled = settle_instrument(melody)?;
    let melody = settled.melody;
    remarks.extend(settled.remarks);
    let take = progress::while_working("Reading the recording", || decode::read_take(&asked.take));
    let take = take.map_err(failure::unusable_take)?;
    remarks.extend(take.remarks);
    let settings = JudgeSettings {
        instrument: settled.instrument,
        a4: asked.a4.or(melody.a4).unwrap_or(A4_ISO16),
        fifths: asked.fifths,
        bpm: asked.bpm.or(melody.bpm),
        title: melody.title.clone().unwrap_or_else(|| file_stem(&asked.melody)),
        remarks,
    };
    let samples = take.samples;
    let (report, f0) = progress::while_working("Listening to the take", || {
        let listening = pipeline::listen(&samples, Some(settings.instrument));
        (pipeline::judge_listening(&samples, &listening, &melody, &settings), listening.contour.f0())
    });
    Ok(Judged { report, melody, samples, f0 })
}

fn file_stem(path: &Path) -> String {
    path.file_stem().unwrap_or_default().to_string_lossy().into_owned()
}
