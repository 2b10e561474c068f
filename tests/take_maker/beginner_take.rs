//! Played notes become sound, as a beginner bows: soft or scratchy attacks, scoops, a wandering pitch
//! and level, bow changes that turn the wave round, open strings that ring on.

use super::filters::{Between, Section, levels, white};
use super::performance::{Join, Performance, PlayedNote};
use super::random::Random;
use super::sources::{Half, SourceNote, Sources};
use fingertape::notation::Instrument;

/// The rate of every take.
pub const RATE: f64 = 44100.0;

/// How this child bows.
#[derive(Debug, Clone, PartialEq)]
pub struct Style {
    pub slow_attacks: f64,
    pub scoops: f64,
    pub scratch: f64,
    pub pitch_wobble: f64,
    pub level_wobble_db: f64,
    pub vibrato_cents: f64,
    pub rings: f64,
    pub sympathetic: bool,
}

impl Style {
    pub fn any(random: &mut Random) -> Self {
        Self {
            slow_attacks: random.between(0.1, 0.6),
            scoops: random.between(0.0, 0.35),
            scratch: random.between(0.1, 0.7),
            pitch_wobble: random.between(0.5, 6.0),
            level_wobble_db: random.between(0.3, 2.0),
            vibrato_cents: if random.chance(0.12) { random.between(8.0, 25.0) } else { 0.0 },
            rings: random.between(0.4, 1.0),
            sympathetic: random.chance(0.5),
        }
    }
}

/// What a rendered note really was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    pub onset: f64,
    pub offset: f64,
    /// Median over the steady part, above equal temperament.
    pub midi: f64,
}

/// The dry sound of a take and the measured truth of each of its notes.
pub struct Rendered {
    pub mix: Vec<f32>,
    pub notes: Vec<Measured>,
}

/// RMS of a note's body at level 0 dB.
pub const BODY: f64 = 0.08;

/// Renders all notes into one dry channel.
pub fn render(
    performance: &Performance,
    instrument: Instrument,
    (sources, player, half): (&Sources, &str, Half),
    style: &Style,
    tail: f64,
    random: &mut Random,
) -> Rendered {
    let mut mix = vec![0.0f32; ((performance.ends + tail) * RATE) as usize];
    let between = Between::new();
    let mut measured = Vec::new();
    let mut polarity = 1.0;
    for (index, note) in performance.notes.iter().enumerate() {
        if note.join != (Join::Slur { seconds: 0.0 }) && !matches!(note.join, Join::Slur { .. }) {
            // The bow's turn turns the Helmholtz wave round.
            polarity = -polarity;
        }
        let near = sources.near(instrument, player, half, f64::from(note.midi));
        let nearest = (near[0].midi() - f64::from(note.midi)).abs();
        let fitting: Vec<_> = near
            .iter()
            .filter(|s| (s.midi() - f64::from(note.midi)).abs() < nearest + 2.2)
            .copied()
            .collect();
        let source = *random.pick(&fitting);
        let next = performance.notes.get(index + 1);
        let damped = performance.notes[index + 1..].iter().find(|n| n.string == note.string).map(|n| n.start);
        let stroke = Stroke { note, next, source, damped, polarity, style };
        measured.push(stroke.render(&mut mix, &between, random));
    }
    if style.sympathetic {
        ring_in_sympathy(&mut mix, instrument, random.between(-32.0, -22.0), random.between(0.6, 1.4));
    }
    Rendered { mix, notes: measured }
}

struct Stroke<'a> {
    note: &'a PlayedNote,
    next: Option<&'a PlayedNote>,
    source: &'a SourceNote,
    /// When the next note stops this string from ringing.
    damped: Option<f64>,
    polarity: f64,
    style: &'a Style,
}

/// A ramp from 0 to 1 around a moment.
struct Ramp {
    from: f64,
    to: f64,
    power: f64,
}

impl Ramp {
    fn at(&self, time: f64) -> f64 {
        ((time - self.from) / (self.to - self.from)).clamp(0.0, 1.0).powf(self.power)
    }

    /// The ramp into a note, or (mirrored in time) out of the one before it.
    fn of(join: Join, at: f64) -> Option<(f64, f64, f64)> {
        match join {
            Join::Apart => None,
            // At the middle both notes are −dip/2 power-summed: together the level falls by `dip`.
            Join::BowChange { dip_db, seconds } => {
                let gain: f64 = 10f64.powf(-dip_db / 20.0) / std::f64::consts::SQRT_2;
                Some((at - seconds / 2.0, at + seconds / 2.0, gain.ln() / 0.5f64.ln()))
            }
            Join::Slur { seconds } => Some((at - seconds / 2.0, at + seconds / 2.0, 0.5)),
        }
    }
}

impl Stroke<'_> {
    fn render(&self, mix: &mut [f32], between: &Between, random: &mut Random) -> Measured {
        let (note, source, style) = (self.note, self.source, self.style);
        let length = note.stop - note.start;
        let slow = random.chance(style.slow_attacks);
        let attack_seconds =
            if slow { random.between(0.05, 0.2) } else { random.between(0.008, 0.05) }.min(0.4 * length);
        let rise = match Ramp::of(note.join, note.start) {
            Some((from, to, power)) => Ramp { from, to, power },
            None => {
                Ramp { from: note.start, to: note.start + attack_seconds, power: random.between(0.8, 1.6) }
            }
        };
        // The release mirrors the next note's rise when they are joined.
        let joined = self.next.filter(|n| n.join != Join::Apart).and_then(|n| Ramp::of(n.join, note.stop));
        let release = random.between(0.02, 0.09).min(0.25 * length);
        let (fall_from, fall_to, fall_power) = joined.unwrap_or((note.stop - release, note.stop, 1.0));
        let fall = |time: f64| ((fall_to - time) / (fall_to - fall_from)).clamp(0.0, 1.0).powf(fall_power);

        let ring_gain = if random.chance(style.rings) || note.open {
            10f64.powf(random.between(-25.0, -6.0) / 20.0)
        } else {
            0.0
        };
        let t60 = if note.open { random.log_between(0.3, 2.0) } else { random.log_between(0.06, 0.22) };
        let ring_end = self.damped.map_or(f64::MAX, |d| d.max(fall_to)).min(fall_to + 1.2 * t60);

        let semitones = f64::from(note.midi) + note.cents / 100.0 - source.midi();
        let step = (semitones / 12.0).exp2() * source.rate / RATE;
        let begin = rise.from.max(0.0);
        let seconds_needed =
            (ring_end.min(mix.len() as f64 / RATE) - begin).max(length) * step * RATE / source.rate;
        let mut position = self.first_position(seconds_needed, length, random);

        let wander = Wander::new(style, random);
        let scoop = if !note.open && !matches!(note.join, Join::Slur { .. }) && random.chance(style.scoops) {
            random.between(15.0, 80.0) * if random.chance(0.8) { -1.0 } else { 1.0 }
        } else {
            0.0
        };
        // After 80 to 150 ms the finger has found its place: three time constants.
        let scoop_constant = random.between(0.027, 0.05);
        let rough = if random.chance(style.scratch) && !matches!(note.join, Join::Slur { .. }) {
            (random.between(0.02, 0.14) * source.rate / source.hertz, random.between(0.02, 0.05))
        } else {
            (0.0, 1.0)
        };
        let level = 10f64.powf(random.clipped_normal(0.0, 1.6, 4.0) / 20.0);
        let gain = self.polarity * BODY * level / source.level.max(1e-6);
        let swell_db = random.between(-4.0, 2.0);

        let start = (begin * RATE) as usize;
        let end = ((ring_end.max(fall_to) * RATE) as usize + 1).min(mix.len());
        let mut clean = vec![0.0f32; end.saturating_sub(start)];
        let mut track = Vec::new();
        let mut slip = 0.0;
        let mut dull = 0.0f64;
        for (i, out) in clean.iter_mut().enumerate() {
            let time = (start + i) as f64 / RATE;
            let since = time - note.start;
            let (cents, level_db) = wander.at(time);
            let moved =
                cents + scoop * (-since.max(0.0) / scoop_constant).exp() * f64::from(u8::from(scoop != 0.0));
            if i % 220 == 0 {
                track.push((time, moved + source.cents_at(position)));
            }
            if rough.0 > 0.0 && since < 4.0 * rough.1 {
                slip = 0.995 * slip + 0.1 * white(random);
            }
            let shake = rough.0 * slip * (-since.max(0.0) / rough.1).exp();
            let sample = f64::from(between.read(&source.samples, position + shake)) * gain;
            position += step * (moved / 1200.0).exp2();
            let inside = (since / length).clamp(0.0, 1.0);
            let drive = rise.at(time) * fall(time);
            let moving = 10f64.powf((level_db + swell_db * inside) / 20.0);
            *out = (sample * drive * moving) as f32;
            if time > fall_from && ring_gain > 0.0 {
                let decay = 10f64.powf(-3.0 * (time - fall_from) / t60);
                let damp = self.damped.map_or(1.0, |d| 1.0 - ((time - d) / 0.03).clamp(0.0, 1.0));
                let ringing = sample * moving * ring_gain * decay * damp * (1.0 - fall(time)).sqrt();
                // High harmonics die first.
                let follow = (0.15 + 0.85 * decay.sqrt()).min(1.0);
                dull += follow * (ringing - dull);
                mix[start + i] += dull as f32;
            }
        }
        for (i, sample) in clean.iter().enumerate() {
            mix[start + i] += sample;
        }
        self.scratch(mix, random);
        self.measure(&clean, start, &track)
    }

    /// Where in the recording the note begins: at its own attack, or anywhere in its body.
    fn first_position(&self, seconds: f64, length: f64, random: &mut Random) -> f64 {
        let source = self.source;
        let body = source.body_start as f64;
        let own_attack = matches!(self.note.join, Join::Apart) && random.chance(0.55);
        if own_attack {
            // A recorded attack longer than a third of the note is entered late.
            return (body - 0.33 * length * source.rate).max(0.0);
        }
        let from = body + 0.05 * source.rate;
        let last = source.samples.len() as f64 - (seconds + 0.2) * source.rate;
        random.between(from, last.max(from + 1.0))
    }

    /// Broadband noise of the bow at the attack or the turn.
    fn scratch(&self, mix: &mut [f32], random: &mut Random) {
        let note = self.note;
        let (chance, loudest) = match note.join {
            Join::Apart => (self.style.scratch, -11.0),
            Join::BowChange { .. } => (0.4 + 0.6 * self.style.scratch, -15.0),
            Join::Slur { .. } => (0.0, -30.0),
        };
        if !random.chance(chance) {
            return;
        }
        let gain = BODY * 10f64.powf(random.between(-30.0, loudest) / 20.0);
        let seconds = random.between(0.03, 0.12);
        let mut band = Section::band_pass(random.log_between(900.0, 5000.0), 0.6, RATE);
        let start = ((note.start - 0.3 * seconds).max(0.0) * RATE) as usize;
        for i in 0..(seconds * RATE) as usize {
            let shape = (std::f64::consts::PI * i as f64 / (seconds * RATE)).sin();
            if let Some(sample) = mix.get_mut(start + i) {
                *sample += (band.push(white(random)) * 2.0 * shape * gain) as f32;
            }
        }
    }

    fn measure(&self, clean: &[f32], start: usize, track: &[(f64, f64)]) -> Measured {
        let note = self.note;
        let window = (0.01f64.max(1.2 / self.source.hertz) * RATE) as usize;
        let hop = 44;
        let level = levels(clean, window, hop);
        let time = |i: usize| (start + i * hop) as f64 / RATE;
        let length = note.stop - note.start;
        let (from, to) = (note.start + 0.25 * length, note.stop - 0.2 * length);
        let mut body: Vec<f64> = level
            .iter()
            .enumerate()
            .filter(|(i, _)| (from..to).contains(&time(*i)))
            .map(|(_, l)| *l)
            .collect();
        body.sort_by(f64::total_cmp);
        let threshold = body.get(body.len() / 2).copied().unwrap_or(0.0) * 10f64.powf(-12.0 / 20.0);
        let onset = level.iter().position(|l| *l >= threshold).map_or(note.start, time);
        let offset = level.iter().rposition(|l| *l >= threshold).map_or(note.stop, time);
        let held = offset - onset;
        let (a, b) = (onset + (0.15 * held).max(0.06), offset - 0.15 * held);
        let mut steady: Vec<f64> =
            track.iter().filter(|(t, _)| (a..b).contains(t)).map(|(_, c)| *c).collect();
        steady.sort_by(f64::total_cmp);
        let median = if steady.is_empty() { 0.0 } else { steady[steady.len() / 2] };
        Measured { onset, offset, midi: f64::from(note.midi) + (note.cents + median) / 100.0 }
    }
}

/// Slow movement of pitch and level, and vibrato.
struct Wander {
    pitch: [(f64, f64, f64); 3],
    level: [(f64, f64, f64); 2],
}

impl Wander {
    fn new(style: &Style, random: &mut Random) -> Self {
        let wave = |low: f64, high: f64, depth: f64, random: &mut Random| {
            (
                random.between(low, high),
                random.between(0.0, std::f64::consts::TAU),
                depth * random.between(0.4, 1.0),
            )
        };
        Self {
            pitch: [
                wave(0.3, 1.2, style.pitch_wobble, random),
                wave(1.2, 3.0, 0.5 * style.pitch_wobble, random),
                wave(4.0, 6.5, style.vibrato_cents, random),
            ],
            level: [
                wave(0.5, 1.5, style.level_wobble_db, random),
                wave(2.0, 4.0, 0.6 * style.level_wobble_db, random),
            ],
        }
    }

    fn at(&self, time: f64) -> (f64, f64) {
        let sum = |waves: &[(f64, f64, f64)]| {
            waves
                .iter()
                .map(|(rate, phase, depth)| depth * (std::f64::consts::TAU * rate * time + phase).sin())
                .sum()
        };
        (sum(&self.pitch), sum(&self.level))
    }
}

/// Open strings answer what is near their harmonics: one comb a string.
fn ring_in_sympathy(mix: &mut [f32], instrument: Instrument, gain_db: f64, t60: f64) {
    let dry: Vec<f32> = mix.to_vec();
    for open in instrument.open_strings() {
        let period = RATE / (440.0 * ((f64::from(open) - 69.0) / 12.0).exp2());
        let (whole, part) = (period as usize, period.fract());
        let feedback = 10f64.powf(-3.0 * (period / RATE) / t60);
        let gain = 10f64.powf(gain_db / 20.0) * (1.0 - feedback);
        let mut ring = vec![0.0f64; dry.len()];
        for i in whole + 1..dry.len() {
            let back = ring[i - whole] * (1.0 - part) + ring[i - whole - 1] * part;
            ring[i] = f64::from(dry[i]) * gain + feedback * back;
            mix[i] += ring[i] as f32;
        }
    }
}
