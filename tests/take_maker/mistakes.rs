//! What goes wrong in a take: mistakes planted in a written melody, with where and how.

use super::melody::WrittenMelody;
use super::random::Random;

/// What happens at one written event.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Mistake {
    /// This many semitones away from the written pitch.
    Wrong { semitones: i32, how: &'static str },
    /// Left out, its time kept as silence.
    MissingGap,
    /// Left out, the next note comes at its time.
    MissingClosed,
    /// The note before, of the same pitch, is held through it in one bow.
    Merged,
    /// A note that is not written comes before it.
    ExtraBefore { midi: i32, seconds: f64, inserted: bool },
    /// Silence before it.
    Hesitation { seconds: f64 },
    /// A rest given this share of its length.
    RestTimes(f64),
    /// The note before is held through this rest.
    RestFilled,
}

impl Mistake {
    /// A short name for tables.
    pub fn name(self) -> &'static str {
        match self {
            Mistake::Wrong { how, .. } => how,
            Mistake::MissingGap => "missing-gap",
            Mistake::MissingClosed => "missing-closed",
            Mistake::Merged => "merged",
            Mistake::ExtraBefore { .. } => "extra",
            Mistake::Hesitation { .. } => "hesitation",
            Mistake::RestTimes(share) if share < 1.0 => "rest-rushed",
            Mistake::RestTimes(_) => "rest-stretched",
            Mistake::RestFilled => "rest-filled",
        }
    }
}

/// An attempt abandoned after one event and begun again at an earlier one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlannedRestart {
    pub left_at: usize,
    pub resumed_at: usize,
    /// Whether the last note of the abandoned attempt was wrong.
    pub stumbled: bool,
}

/// Everything that is not as written.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    pub at: Vec<Option<Mistake>>,
    pub restarts: Vec<PlannedRestart>,
    /// The last event played, if the take stops early.
    pub stops_after: Option<usize>,
    pub tempo_factor: f64,
    /// Relative change of tempo from start to end.
    pub drift: f64,
    /// Coefficient of variation of the time from onset to onset.
    pub jitter: f64,
    /// The whole instrument, in cents.
    pub tuning_offset: f64,
    /// Each string against the whole instrument, in cents.
    pub strings: [f64; 4],
    /// Standard deviation and limit of the fingers, in cents.
    pub fingers: (f64, f64),
}

impl Plan {
    /// Names of what was planted, for the table by stratum.
    pub fn names(&self) -> Vec<String> {
        let mut names: Vec<String> = self.at.iter().flatten().map(|m| m.name().to_string()).collect();
        names.extend(self.restarts.iter().map(|_| "restart".to_string()));
        names.extend(self.stops_after.map(|_| "stops-early".to_string()));
        if self.drift.abs() > 0.04 {
            names.push("drift".into());
        }
        if (self.tempo_factor - 1.0).abs() > 0.07 {
            names.push("other-tempo".into());
        }
        if self.tuning_offset.abs() > 24.0 {
            names.push("tuned-away".into());
        }
        if self.strings.iter().any(|s| *s < -12.0) {
            names.push("slack-string".into());
        }
        names.sort();
        names.dedup();
        names
    }
}

/// How a take is to be spoiled. `keeps_tempo` is for takes with a metronome.
pub fn plan(melody: &WrittenMelody, control: bool, keeps_tempo: bool, random: &mut Random) -> Plan {
    let tuned_away = random.chance(0.15);
    let tuning_offset = if tuned_away {
        random.between(25.0, 45.0) * if random.chance(0.7) { -1.0 } else { 1.0 }
    } else {
        random.clipped_normal(0.0, 7.0, 18.0)
    };
    let mut strings: [f64; 4] = std::array::from_fn(|_| random.clipped_normal(0.0, 2.5, 6.0));
    if random.chance(0.12) {
        strings[random.below(4)] = -random.between(14.0, 34.0);
    }
    let mut plan = Plan {
        at: vec![None; melody.events.len()],
        restarts: Vec::new(),
        stops_after: None,
        tempo_factor: match (keeps_tempo, random.chance(0.4)) {
            (true, _) => random.between(0.985, 1.015),
            (false, true) => random.between(0.8, 1.2),
            (false, false) => random.between(0.95, 1.05),
        },
        drift: if !keeps_tempo && random.chance(0.35) {
            random.between(-0.12, 0.12)
        } else {
            random.between(-0.02, 0.02)
        },
        jitter: random.between(0.03, 0.06),
        tuning_offset,
        strings,
        fingers: (random.between(12.0, 20.0), if tuned_away { 30.0 } else { 40.0 }),
    };
    if !control {
        plant(&mut plan, melody, random);
    }
    plan
}

fn plant(plan: &mut Plan, melody: &WrittenMelody, random: &mut Random) {
    let events = &melody.events;
    if random.chance(0.22) {
        plant_restarts(plan, melody, random);
    }
    if random.chance(0.06) && plan.restarts.is_empty() {
        let last = events.len() * 6 / 10 + random.below(events.len() * 3 / 10);
        if events[last].midi.is_some() {
            plan.stops_after = Some(last);
        }
    }
    let wanted = 2 + random.below(4);
    let mut planted = 0;
    for _ in 0..60 {
        if planted == wanted {
            break;
        }
        // Rests are few, and how they are kept is half of what a teacher asks.
        let rests: Vec<usize> = (1..events.len() - 1).filter(|i| events[*i].midi.is_none()).collect();
        let index = if !rests.is_empty() && random.chance(0.3) {
            *random.pick(&rests)
        } else {
            random.below(events.len())
        };
        // Mistakes keep one event apart, so that the truth of each is one thing.
        let crowded =
            (index.saturating_sub(1)..=(index + 1).min(events.len() - 1)).any(|i| plan.at[i].is_some());
        let near_restart = plan
            .restarts
            .iter()
            .any(|r| [r.left_at, r.left_at + 1, r.resumed_at].iter().any(|edge| edge.abs_diff(index) <= 1));
        let unplayed = plan.stops_after.is_some_and(|last| index + 1 >= last);
        if crowded || near_restart || unplayed {
            continue;
        }
        if let Some(mistake) = mistake_at(index, melody, random) {
            plan.at[index] = Some(mistake);
            planted += 1;
        }
    }
}

fn plant_restarts(plan: &mut Plan, melody: &WrittenMelody, random: &mut Random) {
    let events = &melody.events;
    let count = if random.chance(0.15) { 2 } else { 1 };
    let mut from = 3;
    for _ in 0..count {
        if from + 3 >= events.len() {
            break;
        }
        let left_at = from + random.below(events.len() - from - 2);
        if events[left_at].midi.is_none() {
            continue;
        }
        let resumed_at = match random.below(3) {
            0 => 0,
            1 => (0..=left_at).rev().find(|i| events[*i].beat == 1.0 && *i < left_at).unwrap_or(0),
            _ => left_at.saturating_sub(random.below(6)),
        };
        let lands_on_note = events[resumed_at].midi.is_some();
        // Starting again from the note just played would be a repeated note, not a restart.
        if lands_on_note && resumed_at + 1 < left_at {
            plan.restarts.push(PlannedRestart { left_at, resumed_at, stumbled: random.chance(0.5) });
            from = left_at + 2;
        }
    }
}

/// A mistake that makes sense at this event, or none.
fn mistake_at(index: usize, melody: &WrittenMelody, random: &mut Random) -> Option<Mistake> {
    let events = &melody.events;
    let before = index.checked_sub(1).and_then(|i| events[i].midi);
    let after = events.get(index + 1).and_then(|e| e.midi);
    let Some(midi) = events[index].midi else {
        return match random.weighted(&[1.5, 0.9, 0.9]) {
            0 => Some(Mistake::RestTimes(random.between(0.25, 0.5))),
            1 => Some(Mistake::RestTimes(random.between(1.6, 2.4))),
            _ => Some(Mistake::RestFilled),
        };
    };
    let inner = index > 0 && index + 1 < events.len();
    if before == Some(midi) && random.chance(0.45) {
        return Some(Mistake::Merged);
    }
    match random.weighted(&[3.0, 1.0, 1.0, 2.0, 0.8]) {
        0 => wrong_note(midi, melody, random),
        // A gap before a note of the same pitch might as well be a hesitation.
        1 if inner && after != Some(midi) => Some(Mistake::MissingGap),
        // With a neighbour of the same pitch nobody could say which of the two is missing.
        2 if inner && before != Some(midi) && after != Some(midi) && before.is_some() => {
            Some(Mistake::MissingClosed)
        }
        3 => {
            let pitch = match random.below(5) {
                0 => midi,
                1 => before.unwrap_or(midi),
                2 => midi + *random.pick(&[-2, -1, 1, 2]),
                _ => *random.pick(&allowed(melody)),
            };
            let seconds = random.between(0.08, 0.4);
            let inserted =
                index == 0 || before.is_none() || events[index - 1].beats < 1.0 || random.chance(0.5);
            let pitch = within_reach(pitch, melody)?;
            Some(Mistake::ExtraBefore { midi: pitch, seconds, inserted })
        }
        4 if inner && before.is_some() => Some(Mistake::Hesitation { seconds: random.log_between(0.3, 3.0) }),
        _ => None,
    }
}

fn wrong_note(midi: i32, melody: &WrittenMelody, random: &mut Random) -> Option<Mistake> {
    let open = melody.instrument.open_strings();
    let (target, how) = match random.weighted(&[3.0, 2.0, 2.0, 1.2, 0.7]) {
        0 => (midi + *random.pick(&[-1, 1]), "wrong-semitone"),
        1 => (midi + *random.pick(&[-2, 2]), "wrong-tone"),
        2 => {
            let allowed = allowed(melody);
            let place = allowed.iter().position(|a| *a == midi)?;
            let next = if random.chance(0.5) { place.checked_sub(1)? } else { place + 1 };
            (*allowed.get(next)?, "wrong-finger")
        }
        3 => {
            let near: Vec<_> = open.iter().filter(|o| (*o - midi).abs() <= 9 && **o != midi).collect();
            (**near.get(random.below(near.len()))?, "wrong-open")
        }
        _ => (midi + *random.pick(&[-12, 12]), "wrong-octave"),
    };
    let target = within_reach(target, melody)?;
    (target != midi).then_some(Mistake::Wrong { semitones: target - midi, how })
}

fn within_reach(midi: i32, melody: &WrittenMelody) -> Option<i32> {
    let open = melody.instrument.open_strings();
    (midi >= open[0] && midi <= open[3] + 7).then_some(midi)
}

fn allowed(melody: &WrittenMelody) -> Vec<i32> {
    let mut notes: Vec<i32> = melody.events.iter().filter_map(|e| e.midi).collect();
    notes.sort_unstable();
    notes.dedup();
    notes
}
