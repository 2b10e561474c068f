//! A planned take becomes notes in time: when each bow stroke starts and stops, on which string, how
//! far off the finger is, and how each note follows the one before.

use super::melody::WrittenMelody;
use super::mistakes::{Mistake, Plan};
use super::random::Random;
use super::truth::{RestTruth, RestartTruth};
use fingertape::notation::Instrument;

/// How a note follows the one before.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Join {
    /// After silence.
    Apart,
    /// The bow turns: the level dips by so many dB.
    BowChange { dip_db: f64, seconds: f64 },
    /// A finger moves under the same bow.
    Slur { seconds: f64 },
}

/// What a played note is to the sheet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Role {
    Written(usize),
    Abandoned(usize),
    Extra { after: Option<usize> },
}

/// One bow stroke's note.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayedNote {
    pub role: Role,
    pub midi: i32,
    /// Above equal temperament at A = 440 Hz: the instrument, the string and the finger together.
    pub cents: f64,
    /// When the bow starts and stops, in seconds.
    pub start: f64,
    pub stop: f64,
    pub join: Join,
    pub string: usize,
    pub open: bool,
    pub planted: Option<&'static str>,
}

/// A take before it sounds.
#[derive(Debug, Clone, PartialEq)]
pub struct Performance {
    pub notes: Vec<PlayedNote>,
    /// Start and length of pauses in which somebody may talk.
    pub pauses: Vec<(f64, f64)>,
    pub restarts: Vec<RestartTruth>,
    pub rests: Vec<RestTruth>,
    pub beat_seconds: f64,
    pub ends: f64,
}

/// Which string a beginner plays a pitch on, and whether it is open (common practice: first position).
fn fingering(instrument: Instrument, midi: i32, random: &mut Random) -> (usize, bool) {
    let open = instrument.open_strings();
    let string = (0..4).rev().find(|s| open[*s] <= midi).unwrap_or(0);
    let fourth_finger = matches!(instrument, Instrument::Violin | Instrument::Viola)
        && string > 0
        && open[string] == midi
        && random.chance(0.15);
    if fourth_finger { (string - 1, false) } else { (string, open[string] == midi) }
}

/// Plays the melody with its planned mistakes.
pub fn perform(melody: &WrittenMelody, plan: &Plan, lead_in: f64, random: &mut Random) -> Performance {
    Player::new(melody, plan, lead_in, random).play()
}

struct Player<'a> {
    melody: &'a WrittenMelody,
    plan: &'a Plan,
    random: &'a mut Random,
    /// A child's F sharp is flat every time: each pitch has its own bias.
    habit: Vec<f64>,
    now: f64,
    notes: Vec<PlayedNote>,
    /// For each event: start of the note, and the attempt.
    started: Vec<Option<(f64, usize)>>,
    pauses: Vec<(f64, f64)>,
    restarts: Vec<RestartTruth>,
}

impl<'a> Player<'a> {
    fn new(melody: &'a WrittenMelody, plan: &'a Plan, lead_in: f64, random: &'a mut Random) -> Self {
        let habit = (0..128).map(|_| random.normal(0.0, 0.7 * plan.fingers.0)).collect();
        Self {
            melody,
            plan,
            random,
            habit,
            now: lead_in,
            notes: Vec::new(),
            started: vec![None; melody.events.len()],
            pauses: Vec::new(),
            restarts: Vec::new(),
        }
    }

    /// Seconds a beat at a position of the melody.
    fn beat(&self, position: f64) -> f64 {
        let total = self.melody.events.last().map_or(1.0, |e| e.start + e.beats);
        60.0 / (self.melody.bpm * self.plan.tempo_factor * (1.0 + self.plan.drift * (position / total - 0.5)))
    }

    fn play(mut self) -> Performance {
        let last = self.plan.stops_after.unwrap_or(self.melody.events.len() - 1);
        let mut attempts = Vec::new();
        let mut from = 0;
        for restart in &self.plan.restarts {
            attempts.push((from, restart.left_at));
            from = restart.resumed_at;
        }
        attempts.push((from, last));
        for number in 0..attempts.len() {
            let (from, to) = attempts[number];
            for index in from..=to {
                let again = attempts[number + 1..].iter().any(|(f, t)| (*f..=*t).contains(&index));
                let mistake = match (again, self.plan.restarts.get(number)) {
                    (false, _) => self.plan.at[index],
                    (true, Some(restart)) if restart.stumbled && index == to => self.stumble(index),
                    _ => None,
                };
                self.event(index, mistake, again, number);
            }
            if let Some(restart) = self.plan.restarts.get(number) {
                let pause = self.random.log_between(0.25, 2.5);
                self.pauses.push((self.now, pause));
                self.now += pause;
                self.restarts.push(RestartTruth {
                    time_s: self.now,
                    left_at_index: restart.left_at,
                    resumed_at_index: restart.resumed_at,
                });
            }
        }
        let rests = self.rests(last);
        self.join();
        let total: f64 = self.melody.events.iter().map(|e| e.beats * self.beat(e.start)).sum();
        let beats: f64 = self.melody.events.iter().map(|e| e.beats).sum();
        Performance {
            ends: self.notes.last().map_or(self.now, |n| n.stop),
            notes: self.notes,
            pauses: self.pauses,
            restarts: self.restarts,
            rests,
            beat_seconds: total / beats,
        }
    }

    fn stumble(&mut self, index: usize) -> Option<Mistake> {
        let midi = self.melody.events[index].midi?;
        let semitones = *self.random.pick(&[-2, -1, 1, 2]);
        let low = self.melody.instrument.open_strings()[0];
        (midi + semitones >= low).then_some(Mistake::Wrong { semitones, how: "stumble" })
    }

    fn event(&mut self, index: usize, mistake: Option<Mistake>, abandoned: bool, attempt: usize) {
        let event = &self.melody.events[index];
        let plain = event.beats * self.beat(event.start);
        let Some(midi) = event.midi else {
            let share = match mistake {
                Some(Mistake::RestTimes(share)) => share,
                _ => 1.0,
            };
            let step = plain * share * (1.0 + self.random.clipped_normal(0.0, self.plan.jitter, 0.1));
            self.now += step;
            if mistake == Some(Mistake::RestFilled) {
                let now = self.now;
                if let Some(note) = self.notes.last_mut() {
                    note.stop = now;
                }
            }
            return;
        };
        let before_rest = self.melody.events.get(index + 1).is_some_and(|e| e.midi.is_none());
        let jitter = if before_rest { 0.4 * self.plan.jitter } else { self.plan.jitter };
        let step = plain * (1.0 + self.random.clipped_normal(0.0, jitter, 0.15));
        let role = if abandoned { Role::Abandoned(index) } else { Role::Written(index) };
        let mut pitch = midi;
        match mistake {
            Some(Mistake::MissingClosed) => return,
            Some(Mistake::MissingGap) => {
                self.now += step;
                return;
            }
            Some(Mistake::Merged) => {
                self.now += step;
                let now = self.now;
                if let Some(note) = self.notes.last_mut() {
                    note.stop = now;
                }
                return;
            }
            Some(Mistake::Hesitation { seconds }) => {
                self.pauses.push((self.now, seconds));
                self.now += seconds;
            }
            Some(Mistake::ExtraBefore { midi, seconds, inserted }) => {
                let after = index.checked_sub(1);
                if !inserted {
                    self.now -= seconds;
                    let now = self.now;
                    if let Some(note) = self.notes.last_mut() {
                        note.stop = now;
                    }
                }
                let (start, stop) = (self.now, self.now + seconds);
                self.push(Role::Extra { after }, midi, start, stop, Some("extra"));
                self.now = stop;
            }
            Some(Mistake::Wrong { semitones, .. }) => pitch += semitones,
            _ => {}
        }
        let (start, stop) = (self.now, self.now + step);
        self.started[index] = Some((start, attempt));
        self.push(role, pitch, start, stop, mistake.map(Mistake::name));
        self.now = stop;
    }

    fn push(&mut self, role: Role, midi: i32, start: f64, stop: f64, planted: Option<&'static str>) {
        let (string, open) = fingering(self.melody.instrument, midi, self.random);
        let of_string = self.plan.strings[string];
        let written =
            matches!(role, Role::Written(i) | Role::Abandoned(i) if self.melody.events[i].midi == Some(midi));
        let (deviation, limit) = self.plan.fingers;
        // A wrong note must be nearer to its own name than to the written one.
        let limit = if written { limit } else { 22.0 };
        let finger = self.habit[midi as usize] + self.random.normal(0.0, 0.7 * deviation);
        let off = if open { of_string } else { (of_string + finger).clamp(-limit, limit) };
        let cents = self.plan.tuning_offset + off;
        self.notes.push(PlayedNote {
            role,
            midi,
            cents,
            start,
            stop,
            join: Join::Apart,
            string,
            open,
            planted,
        });
    }

    /// The truth about rests, from onsets at the local tempo.
    fn rests(&self, last: usize) -> Vec<RestTruth> {
        let events = &self.melody.events;
        let mut rests = Vec::new();
        for (index, event) in events.iter().enumerate() {
            if event.midi.is_some() {
                continue;
            }
            let before = index.checked_sub(1).and_then(|i| self.started[i]);
            let after = events.get(index + 1).and(self.started.get(index + 1).copied().flatten());
            let clean = |i: usize| {
                !matches!(
                    self.plan.at[i],
                    Some(Mistake::ExtraBefore { .. } | Mistake::Hesitation { .. } | Mistake::Merged)
                )
            };
            let judged = match (before, after) {
                (Some((start, a)), Some((end, b)))
                    if a == b && index < last && clean(index + 1) && clean(index - 1) =>
                {
                    let beat = self.beat(event.start);
                    Some((end - start) / beat - events[index - 1].beats)
                }
                _ => None,
            };
            let share = judged.map_or(1.0, |played| played / event.beats);
            let verdict = match self.plan.at[index] {
                Some(Mistake::RestFilled) => "filled",
                Some(Mistake::RestTimes(s)) if s < 1.0 => "rushed",
                Some(Mistake::RestTimes(_)) => "stretched",
                _ => "kept",
            };
            // A kept rest that jitter made doubtful is nobody's to judge.
            let clear = verdict != "kept" || (0.8..1.25).contains(&share);
            rests.push(RestTruth {
                index,
                bar: event.bar,
                beat: event.beat,
                written_beats: event.beats,
                played_beats: judged,
                verdict: verdict.into(),
                scored: judged.is_some() && clear,
            });
        }
        rests
    }

    /// Decides how each note follows the one before, and shortens what must be shortened.
    fn join(&mut self) {
        let slurring = self.random.between(0.05, 0.4);
        let detached = self.random.between(0.1, 0.5);
        for index in 1..self.notes.len() {
            let gap = self.notes[index].start - self.notes[index - 1].stop;
            let same = self.notes[index].midi == self.notes[index - 1].midi;
            let shorter = (self.notes[index].stop - self.notes[index].start)
                .min(self.notes[index - 1].stop - self.notes[index - 1].start);
            if gap > 0.02 {
                // Before a rest or a pause the bow seldom stops just in time.
                let length = self.notes[index - 1].stop - self.notes[index - 1].start;
                self.notes[index - 1].stop += self.random.between(-0.15, 0.08) * length.min(gap);
                continue;
            }
            let choice = if same { [0.0, 0.75, 0.25] } else { [slurring, 1.0 - slurring, detached] };
            self.notes[index].join = match self.random.weighted(&choice) {
                0 => Join::Slur { seconds: self.random.between(0.02, 0.06) },
                1 => Join::BowChange {
                    dip_db: self.random.between(3.0, 25.0),
                    seconds: self.random.between(0.06, 0.16).min(0.5 * shorter),
                },
                _ => {
                    let gap = self.random.between(0.03, 0.15).min(0.3 * shorter);
                    self.notes[index - 1].stop -= gap;
                    Join::Apart
                }
            };
        }
    }
}
