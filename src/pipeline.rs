//! The whole chain, from samples and a melody to a report; the same for a file and a microphone.

use crate::align::{
    Costs, LocalTempo, Reading, Support, WrittenNote, decode, decode_with_support, weighted_median,
    written_notes,
};
use crate::findings::{
    Heard, Judgement, MelodySummary, Outcome, Report, TakeSummary, TempoFinding, TimedBy, TuningFinding,
    findings_from_reading,
};
use crate::notation::{Fifths, Instrument, Melody};
use crate::pitch::{Contour, TrackerSettings, contour_without, with_second_strings, without_ringing};
use crate::recording_quality::{self, Unjudgeable, without_dropouts, without_metronome};
use crate::remark::Remark;
use crate::samples::Samples;
use crate::segment::{Boundary, Continuity, Envelope, Evidence, WaveShape, boundaries_from_sound};
use crate::units::{A4_ISO16, Hertz, MidiPitch};

/// What the judge is told besides the take and the melody.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgeSettings {
    /// The instrument that plays.
    pub instrument: Instrument,
    /// The pitch of A4.
    pub a4: Hertz,
    /// How the open strings follow from A.
    pub fifths: Fifths,
    /// The set tempo in beats per minute, if one was set.
    pub bpm: Option<f64>,
    /// The melody's title for the report.
    pub title: String,
    /// What is already known about the recording.
    pub remarks: Vec<Remark>,
}

impl JudgeSettings {
    /// Settings from the melody itself: its tempo, its A (440 Hz where it says none), its title.
    pub fn for_melody(melody: &Melody, instrument: Instrument) -> Self {
        Self {
            instrument,
            a4: melody.a4.unwrap_or(A4_ISO16),
            fifths: Fifths::default(),
            bpm: melody.bpm,
            title: melody.title.clone().unwrap_or_default(),
            remarks: Vec::new(),
        }
    }
}

/// What the ear made of a take, before any melody is looked at.
#[derive(Debug, Clone)]
pub struct Listening {
    /// The contour.
    pub contour: Contour,
    /// The level.
    pub envelope: Envelope,
    /// Every moment that was looked at.
    pub candidates: Vec<Boundary>,
    /// Those at which a note may begin.
    pub boundaries: Vec<Boundary>,
    /// Beats a minute of the metronome that was taken out of the sound before.
    pub metronome: Option<f64>,
}

/// Candidates less likely than this (log odds) are not onsets: of those said 0.7 % or less, one in a few hundred is,
const LEAST_LIKELY: f64 = -5.0;
/// unless the pitch changes by more than this, in semitones. A soft slurred note sounds like a string that rings on, of
/// which the takes that the model learnt from have more than real playing has; the melody can tell.
const ANOTHER_PITCH: f64 = 0.9;

/// Listens to a take without looking at any melody.
pub fn listen(samples: &Samples, instrument: Option<Instrument>) -> Listening {
    let settings = TrackerSettings::for_instrument(samples.rate, instrument);
    let (without, metronome) = without_metronome(samples).unzip();
    let samples = &*without_dropouts(without.as_ref().unwrap_or(samples));
    // The constant of a poor recorder would be a step at either end, and would make any two moments alike: all of these
    // leave it out.
    let strings = instrument.map(Instrument::open_strings).into_iter().flatten();
    let open: Vec<Hertz> = strings.map(|string| MidiPitch(f64::from(string)).hertz(A4_ISO16)).collect();
    let lowest = open.first().copied().unwrap_or(Hertz(41.2));
    let envelope = Envelope::from_samples(samples, lowest);
    // Which note sounds is heard best without what rings of the notes before; how high it is, in the sound as it is.
    let offset = samples.offset();
    let bowed = without_ringing(samples, offset, &settings);
    let contour =
        contour_without(&bowed, 0.0, settings).with_pitches_of(&contour_without(samples, offset, settings));
    let contour = with_second_strings(contour, &bowed, settings, &open);
    let envelope = envelope.with_bowed(bowed, lowest);
    let continuity = Continuity::new(samples, &contour);
    let candidates =
        boundaries_from_sound(&contour, &envelope, continuity, &WaveShape::new(samples, &contour));
    let boundaries = candidates.iter().filter(|b| may_be_onset(b)).cloned().collect();
    Listening { contour, envelope, candidates, boundaries, metronome }
}

/// Whether a note may begin at a candidate.
fn may_be_onset(candidate: &Boundary) -> bool {
    candidate.llr > LEAST_LIKELY || candidate.features.pitch_change() > ANOTHER_PITCH
}

/// The tempo where none is set, in beats a minute.
const USUAL_BPM: f64 = 90.0;
/// The first reading is made at so many times the set tempo; the best one counts. The next one is made at its own tempo, so
/// a child who plays half as fast or twice as fast is heard as well.
const OTHER_TEMPI: [f64; 3] = [1.0, 0.5, 2.0];

/// Judges a take of a melody. Never fails: a take that cannot be judged is reported as such.
pub fn judge(samples: &Samples, melody: &Melody, settings: &JudgeSettings) -> Report {
    let listening = listen(samples, Some(settings.instrument));
    judge_listening(samples, &listening, melody, settings)
}

/// Judges what was heard.
pub fn judge_listening(
    samples: &Samples,
    listening: &Listening,
    melody: &Melody,
    settings: &JudgeSettings,
) -> Report {
    judge_at(samples, listening, melody, settings, &Costs::default(), TimedBy::Sound)
}

/// Judges what was heard at other prices than the usual ones, or with notes timed in another way: for measuring
/// what they do.
pub fn judge_at(
    samples: &Samples,
    listening: &Listening,
    melody: &Melody,
    settings: &JudgeSettings,
    costs: &Costs,
    timed_by: TimedBy,
) -> Report {
    let mut report = empty_report(samples, melody, settings);
    let quality = recording_quality::inspect(samples);
    report.take.remarks.extend(quality.remarks);
    if let Some(why) = quality.unjudgeable {
        report.outcome = match why {
            Unjudgeable::Silence => Outcome::Silence,
            Unjudgeable::TooQuiet => Outcome::TooQuiet,
            Unjudgeable::TooNoisy => Outcome::TooNoisy,
        };
        return report;
    }
    if let Some(beats) = listening.metronome {
        report.take.remarks.push(metronome_remark(beats));
    }
    let notes = written_notes(melody, 0);
    let judged = |listening: &Listening, best: &Best| {
        let heard = Heard {
            contour: &listening.contour,
            envelope: &listening.envelope,
            boundaries: &listening.boundaries,
            timed_by,
            reading: &best.reading,
            support: &best.support,
            tuning: best.tuning,
        };
        findings_from_reading(melody, &notes, settings.instrument, settings.a4, heard)
    };
    let beat = set_beat(melody, settings);
    let best = read(listening, &notes, beat, settings, costs);
    let mut judgement = judged(listening, &best);
    if !judgement.is_this_melody() {
        // Perhaps the whole take is an octave away: then it is this melody, and every note is wrong by an octave.
        // That may be outside the instrument's range, so the ear is opened wide.
        let wide = listen(samples, None);
        let octaves = octaves_away(&wide.contour, &notes, settings.a4);
        let found =
            (octaves.abs() == 1).then(|| read(&wide, &written_notes(melody, octaves), beat, settings, costs));
        let found = found.and_then(|other| {
            let judgement = judged(&wide, &other);
            judgement.is_away_by(octaves, other.tuning).then_some((octaves, judgement))
        });
        match found {
            Some((octaves, other)) => {
                judgement = other;
                report.take.remarks.push(octave_remark(octaves));
            }
            None => {
                report.outcome = Outcome::NotThisMelody;
                return report;
            }
        }
    }
    let Judgement { notes: found, rests, extra, restarts, own_beat: own, tuning, .. } = judgement;
    report.tempo.played_bpm = own.whole().map(|s| 60.0 / s);
    report.tempo.drift_percent = own.cut_at_breaks(melody.metre.beats_felt_as_one()).drift_percent();
    report.notes = found;
    report.rests = rests;
    report.extra = extra;
    report.restarts = restarts;
    report.tuning = tuning;
    report
}

/// By how many octaves the middle of what sounds is away from the middle of what is written.
fn octaves_away(contour: &Contour, notes: &[WrittenNote], a4: Hertz) -> i32 {
    let mut heard: Vec<(f64, f64)> =
        contour.frames.iter().filter_map(|frame| frame.pitch.map(|pitch| (pitch.midi(a4).0, 1.0))).collect();
    let mut written: Vec<(f64, f64)> = notes.iter().map(|n| (f64::from(n.midi), n.length)).collect();
    match (weighted_median(&mut heard), weighted_median(&mut written)) {
        (Some(heard), Some(written)) => ((heard - written) / 12.0).round() as i32,
        _ => 0,
    }
}

fn metronome_remark(beats: f64) -> Remark {
    Remark::new(
        "metronome",
        format!(
            "A metronome sounds in the recording, about {beats:.0} times a minute. I listened past it. Put it further away \
             from the microphone than your instrument, or turn it down: then I hear you better."
        ),
    )
}

fn octave_remark(octaves: i32) -> Remark {
    let side = if octaves > 0 { "higher" } else { "lower" };
    Remark::new("octave-away", format!("The whole take sounds an octave {side} than the melody is written."))
}

/// A reading together with the tuning that it was made at.
struct Best {
    reading: Reading,
    support: Vec<Support>,
    tuning: f64,
}

fn read(
    listening: &Listening,
    notes: &[WrittenNote],
    beat: f64,
    settings: &JudgeSettings,
    costs: &Costs,
) -> Best {
    let lowest = notes.iter().map(|n| n.midi).min().unwrap_or(60) - 14;
    let highest = notes.iter().map(|n| n.midi).max().unwrap_or(60) + 14;
    let evidence = |tuning: f64| {
        Evidence::new(
            &listening.contour,
            &listening.envelope,
            &listening.boundaries,
            settings.a4,
            tuning,
            (lowest, highest),
        )
    };
    let guess = tuning_guess(&listening.contour, settings.a4);
    let mut tunings = vec![guess];
    if guess.abs() > 0.3 {
        tunings.push(guess - guess.signum());
    }
    let mut best: Option<(f64, Evidence, f64, Reading)> = None;
    for tuning in tunings {
        let evidence = evidence(tuning);
        let penalty = if tuning.abs() > 0.5 { 6.0 } else { 0.0 };
        let reading = OTHER_TEMPI
            .map(|times| LocalTempo::steady(beat / times, notes.len()))
            .map(|tempo| decode(notes, &listening.boundaries, &evidence, &tempo, costs))
            .into_iter()
            .reduce(|best, other| if other.score > best.score { other } else { best })
            .unwrap_or_default();
        let score = reading.score - penalty;
        if best.as_ref().is_none_or(|(most, ..)| score > *most) {
            best = Some((score, evidence, tuning, reading));
        }
    }
    let Some((_, evidence, tuning, first)) = best else {
        return Best { reading: Reading::default(), support: Vec::new(), tuning: 0.0 };
    };
    let tempo = |reading: &Reading| LocalTempo::from_reading(reading, notes, listening.contour.hop.0, beat);
    let second = decode(notes, &listening.boundaries, &evidence, &tempo(&first), costs);
    let (reading, support) =
        decode_with_support(notes, &listening.boundaries, &evidence, &tempo(&second), costs);
    Best { reading, support, tuning }
}

/// Seconds that a beat of the metre lasts as set or, where nothing is set, in a moderate tempo; that is one of dotted
/// beats in compound time.
fn set_beat(melody: &Melody, settings: &JudgeSettings) -> f64 {
    let beats = if melody.metre.is_compound() { 3.0 } else { 1.0 };
    60.0 / settings.bpm.unwrap_or(USUAL_BPM * beats)
}

/// The instrument's tuning offset in semitones, −0.5 to 0.5: circular mean of the distance of clear,
/// steady frames from the nearest semitone.
pub(crate) fn tuning_guess(contour: &Contour, a4: Hertz) -> f64 {
    let (mut x, mut y) = (0.0, 0.0);
    for pair in contour.frames.windows(3) {
        if let (Some(a), Some(b), Some(c)) = (pair[0].pitch, pair[1].pitch, pair[2].pitch)
            && pair[1].clarity > 0.9
            && a.cents_above(c).0.abs() < 8.0
        {
            let turn = std::f64::consts::TAU * b.midi(a4).0;
            let weight = f64::from(pair[1].clarity);
            x += weight * turn.cos();
            y += weight * turn.sin();
        }
    }
    if x == 0.0 && y == 0.0 { 0.0 } else { y.atan2(x) / std::f64::consts::TAU }
}

fn empty_report(samples: &Samples, melody: &Melody, settings: &JudgeSettings) -> Report {
    Report {
        report_version: 1,
        outcome: Outcome::Judged,
        melody: MelodySummary {
            title: settings.title.clone(),
            instrument: settings.instrument,
            bpm: settings.bpm,
            a4_hz: settings.a4.0,
            fifths: settings.fifths,
            beats_felt_as_one: melody.metre.beats_felt_as_one(),
            key_fifths: melody.sheet.key().fifths,
        },
        take: TakeSummary {
            duration_s: samples.duration().0,
            sample_rate_hz: samples.rate.0,
            remarks: settings.remarks.clone(),
        },
        notes: Vec::new(),
        rests: Vec::new(),
        extra: Vec::new(),
        restarts: Vec::new(),
        tempo: TempoFinding { set_bpm: settings.bpm, played_bpm: None, drift_percent: None },
        tuning: TuningFinding { offset_cents: None, strings: Vec::new() },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::segment::Features;
    use crate::units::Seconds;

    #[test]
    fn a_moment_that_nothing_speaks_for_is_no_onset_unless_the_pitch_changes() {
        let may = |llr, semitones| {
            let mut features = Features::default();
            features.values[0] = semitones;
            may_be_onset(&Boundary { time: Seconds(1.0), llr, leads: true, features })
        };
        assert_eq!((may(-4.9, 0.0), may(-5.1, 0.0)), (true, false));
        assert_eq!((may(-6.0, 0.95), may(-6.0, 0.85)), (true, false));
        assert_eq!(Features::NAMES[0], "pitch_change");
    }
}
