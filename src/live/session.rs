//! A whole session at the microphone, counted in samples: the level check, the count-in, the take, its end.

use super::level::Level;
use super::level_check::LevelCheck;
use super::reader::{LiveReader, Now};
use crate::notation::{EventKind, Instrument, Length, Melody, as_f64};
use crate::units::{Hertz, SampleRate, Seconds};

/// How a session goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SessionSettings {
    /// The microphone's samples a second.
    pub rate: SampleRate,
    /// The instrument that plays.
    pub instrument: Instrument,
    /// Beats per minute, above 0.
    pub bpm: f64,
    /// The pitch of A4.
    pub a4: Hertz,
    /// How long the level is checked once the player has begun to play, for which the check waits a few seconds; 0 for
    /// no check.
    pub level_check: Seconds,
}

/// What happens, in the order in which it does.
#[derive(Debug)]
pub enum Step<'a> {
    /// The level check is over.
    Level(Level),
    /// The count-in begins with the next sample: `beats` of 60 / bpm seconds each.
    CountIn {
        /// How many.
        beats: u32,
    },
    /// A beat of the count-in begins: its number, as counted aloud (the beat of its bar).
    Beat(u32),
    /// The first beat of the melody is now; the take has begun half a beat before.
    Begin,
    /// Samples that belong to the take.
    Keep(&'a [f32]),
    /// What sounds.
    Now(Now),
    /// The take has ended; nothing more comes.
    End(Ended),
}

/// Why a take ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    /// The melody was played to its end and its time is over.
    Finished,
    /// The player stopped before the end and it stayed silent.
    LongSilence,
    /// Nothing was played at all.
    NothingPlayed,
    /// A take may be no longer.
    Longest,
}

/// Silence after the end that ends a take, in seconds.
const GRACE: f64 = 1.5;
/// Silence after the time of the whole melody that ends a take, wherever the player seems to be.
const GRACE_AFTER_TIME: f64 = 3.0;
/// Silence inside the melody that ends a take, beyond twice the longest rest, however many bars it lasts.
const LONG_SILENCE: f64 = 8.0;
/// So long it may take until the first note, beyond the rest that the melody begins with.
const NOTHING: f64 = 20.0;
/// A take longer than this ends by itself: `check` reads no longer ones.
const LONGEST: f64 = 595.0;
/// A frame softer than the loudest so far by this is silence, whatever its pitch, in dB: a string rings on.
const SOFTER: f32 = 30.0;
/// A frame without a pitch is sound where it is louder than the softest so far by this, in dB: another instrument than
/// the melody's has pitches that are not looked for.
const LOUDER: f32 = 25.0;
/// No room is softer than this, in dB: digital silence is no measure.
const SOFTEST: f32 = -75.0;

enum Phase {
    Checking(LevelCheck),
    Counting { counted: u32, at: u64 },
    Playing,
    Over,
}

/// A session. Any chunking gives the same steps, apart from how [`Step::Keep`] is cut.
pub struct Session {
    settings: SessionSettings,
    reader: LiveReader,
    phase: Phase,
    /// The last samples of the count-in, which begin the take.
    lead: Vec<f32>,
    lead_in: u64,
    bar_beats: u32,
    count_beats: u32,
    melody_seconds: f64,
    /// The longest time without a written note, in seconds.
    longest_rest: f64,
    /// The time before the first written note, in seconds.
    opening_rest: f64,
    /// Samples of the take so far.
    kept: u64,
    loudest_db: f32,
    softest_db: f32,
    /// When a note last sounded in the take.
    sounded: Option<f64>,
}

impl Session {
    /// A session before its first sample.
    pub fn new(melody: &Melody, settings: SessionSettings) -> Self {
        let beat = 60.0 / settings.bpm;
        let rate = settings.rate.hertz();
        let lead_in = (0.5 * beat * rate) as u64;
        let beats = |length: Length| as_f64(length / melody.metre.beat());
        // A pickup of one beat in 4/4 is counted 1 2 3 4 1 2 3.
        let before =
            melody.events.first().map_or(0.0, |event| as_f64(event.beat) - 1.0).max(0.0).floor() as u32;
        let bar_beats = u32::from(melody.metre.beats);
        let (opening_rest, longest_rest) = rests(melody);
        let lead_in_seconds = Seconds(lead_in as f64 / rate);
        Self {
            reader: LiveReader::new(
                melody,
                settings.instrument,
                settings.bpm,
                settings.a4,
                settings.rate,
                lead_in_seconds,
            ),
            phase: Phase::Checking(LevelCheck::new(settings.rate, settings.level_check)),
            lead: Vec::with_capacity(lead_in as usize),
            lead_in,
            bar_beats,
            count_beats: bar_beats + before,
            melody_seconds: beats(melody.length()) * beat + lead_in_seconds.0,
            longest_rest: beats(longest_rest) * beat,
            opening_rest: beats(opening_rest) * beat,
            kept: 0,
            loudest_db: -120.0,
            softest_db: 0.0,
            sounded: None,
            settings,
        }
    }

    /// Beats of the count-in: one bar, and what stands before a pickup.
    pub fn count_beats(&self) -> u32 {
        self.count_beats
    }

    /// Beats in a bar of the count-in.
    pub fn bar_beats(&self) -> u32 {
        self.bar_beats
    }

    /// Whether the take has begun, and how long it is.
    pub fn take(&self) -> Option<Seconds> {
        (self.kept > 0).then(|| Seconds(self.kept as f64 / self.settings.rate.hertz()))
    }

    /// The next samples of the microphone.
    pub fn push(&mut self, samples: &[f32], mut on: impl FnMut(Step<'_>)) {
        let mut samples = samples;
        if matches!(self.phase, Phase::Checking(_)) && self.settings.level_check.0 == 0.0 {
            self.begin_count(&mut on);
        }
        while !samples.is_empty() {
            let count = match &mut self.phase {
                Phase::Checking(check) => {
                    let (count, level) = check.push(samples);
                    if let Some(level) = level {
                        on(Step::Level(level));
                        self.begin_count(&mut on);
                    }
                    count
                }
                Phase::Counting { .. } => self.count(samples, &mut on),
                Phase::Playing => {
                    // Up to the end of a hop: there it is decided whether the take is over.
                    let count = self.piece().min(samples.len());
                    self.play(&samples[..count], &mut on);
                    count
                }
                Phase::Over => return,
            };
            samples = &samples[count..];
        }
    }

    fn begin_count(&mut self, on: &mut impl FnMut(Step<'_>)) {
        on(Step::CountIn { beats: self.count_beats });
        self.phase = Phase::Counting { counted: 0, at: 0 };
    }

    fn beat_at(&self, number: u32) -> u64 {
        (f64::from(number) * 60.0 / self.settings.bpm * self.settings.rate.hertz()).round() as u64
    }

    fn count(&mut self, samples: &[f32], on: &mut impl FnMut(Step<'_>)) -> usize {
        let Phase::Counting { counted, at } = self.phase else { return 0 };
        if at == self.beat_at(counted) {
            if counted == self.count_beats {
                on(Step::Begin);
                self.phase = Phase::Playing;
                let lead = std::mem::take(&mut self.lead);
                self.play(&lead, on);
                return 0;
            }
            on(Step::Beat(counted % self.bar_beats + 1));
            self.phase = Phase::Counting { counted: counted + 1, at };
            return 0;
        }
        // Never past the next beat.
        let until = self.beat_at(counted) - at;
        let count = usize::try_from(until).unwrap_or(usize::MAX).min(samples.len());
        let lead_from = self.beat_at(self.count_beats).saturating_sub(self.lead_in);
        let skipped = (lead_from.saturating_sub(at) as usize).min(count);
        self.lead.extend_from_slice(&samples[skipped..count]);
        self.phase = Phase::Counting { counted, at: at + count as u64 };
        count
    }

    fn hop(&self) -> usize {
        (self.settings.rate.0 / 100).max(1) as usize
    }

    /// Samples up to the end of the hop.
    fn piece(&self) -> usize {
        self.hop() - (self.kept % self.hop() as u64) as usize
    }

    fn play(&mut self, samples: &[f32], on: &mut impl FnMut(Step<'_>)) {
        if samples.is_empty() {
            return;
        }
        on(Step::Keep(samples));
        self.kept += samples.len() as u64;
        let (loudest, softest, sounded) = (&mut self.loudest_db, &mut self.softest_db, &mut self.sounded);
        self.reader.push(samples, |now| {
            *loudest = loudest.max(now.level_db);
            *softest = softest.min(now.level_db).max(SOFTEST);
            let plays = now.sounding.is_some() && now.level_db > *loudest - SOFTER;
            if plays || now.level_db > *softest + LOUDER {
                *sounded = Some(now.time.0);
            }
            on(Step::Now(*now));
        });
        // Only at the end of a hop, so that the end does not depend on the chunks.
        if self.piece() < self.hop() {
            return;
        }
        if let Some(end) = self.end() {
            on(Step::End(end));
            self.phase = Phase::Over;
        }
    }

    fn end(&self) -> Option<Ended> {
        let time = self.kept as f64 / self.settings.rate.hertz();
        let place = self.reader.last()?.place;
        if time > LONGEST {
            return Some(Ended::Longest);
        }
        let Some(sounded) = self.sounded else {
            return (time > NOTHING + self.opening_rest).then_some(Ended::NothingPlayed);
        };
        let silent = time - sounded;
        if (place.at_end && silent > GRACE)
            || (time > self.melody_seconds && silent > GRACE_AFTER_TIME + self.longest_rest)
        {
            return Some(Ended::Finished);
        }
        (silent > LONG_SILENCE + 2.0 * self.longest_rest).then_some(Ended::LongSilence)
    }
}

/// The rest before the first note, and the longest rest anywhere. Every bar of a long rest is an event of its own:
/// neighbours count as one rest.
fn rests(melody: &Melody) -> (Length, Length) {
    let none = Length::from_integer(0);
    let (mut opening, mut longest, mut now) = (None, none, none);
    for event in &melody.events {
        if event.kind == EventKind::Rest {
            now += event.length;
            longest = longest.max(now);
        } else {
            opening = opening.or(Some(now));
            now = none;
        }
    }
    (opening.unwrap_or(none), longest)
}
