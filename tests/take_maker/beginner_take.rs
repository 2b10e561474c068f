//! Played notes become sound, as a beginner bows: soft or scratchy attacks, scoops, a wandering pitch
//! and level, bow changes that turn the wave round, open strings that ring on.

use super::filters::{Between, Section, levels, white};
use super::performance::{Join, Performance, PlayedNote};
use super::random::Random;
use super::sources::{Half, SourceNote, Sources};
use super::voice::Voice;
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
    /// How much of the recorded player's own movement of pitch is left, 0 to 1 (more makes it wider): studio players
    /// vibrate, most beginners do not.
    pub own_movement: f64,
    pub uneven_bow: f64,
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
            own_movement: *random.pick(&[0.1, 0.1, 0.4, 1.0]),
            uneven_bow: random.between(0.0, 0.2),
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
    (sources, voice, half): (&Sources, &Voice, Half),
    style: &Style,
    tail: f64,
    random: &mut Random,
) -> Rendered {
    let mut mix = vec![0.0f32; ((performance.ends + tail) * RATE) as usize];
    let between = Between::new();
    let mut measured = Vec::new();
    let mut polarity = 1.0;
    for (index, note) in performance.notes.iter().enumerate() {
        // The bow's turn turns the Helmholtz wave round; but which way the recorded bow went nobody knows, and
        // a bow that was lifted may go the same way again.
        if !matches!(note.join, Join::Slur { .. }) && random.chance(0.5) {
            polarity = -polarity;
        }
        let wanted = f64::from(note.midi) + voice.above;
        let near = sources.near(voice.instrument, voice.player, half, wanted);
        let nearest = (near[0].midi() - wanted).abs();
        let fitting: Vec<_> =
            near.iter().filter(|s| (s.midi() - wanted).abs() < nearest + 2.2).copied().collect();
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

        let mut wander = Wander::new(style, random);
        // A bow that lets go a little within one note, without turning: not a new note.
        if length > 0.6 && random.chance(style.uneven_bow) {
            let width = random.between(0.08, 0.25);
            wander.sag =
                Some((note.start + random.between(0.3, 0.7) * length, width, random.between(2.0, 6.5)));
        }
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
            let own = source.cents_at(position);
            let scooped = scoop * (-since.max(0.0) / scoop_constant).exp();
            let moved = cents + scooped - (1.0 - style.own_movement) * own;
            if i % 220 == 0 {
                track.push((time, moved + own));
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
        // The mean of the middle half: as robust as a median, and steadier where there is vibrato.
        let middle = &steady[steady.len() / 4..steady.len() - steady.len() / 4];
        let moved = middle.iter().sum::<f64>() / middle.len().max(1) as f64;
        Measured { onset, offset, midi: f64::from(note.midi) + (note.cents + moved) / 100.0 }
    }
}

/// Slow movement of pitch and level, and vibrato.
struct Wander {
    pitch: [(f64, f64, f64); 3],
    level: [(f64, f64, f64); 2],
    /// Centre and width in seconds, depth in dB, of one sag of the level.
    sag: Option<(f64, f64, f64)>,
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
            sag: None,
        }
    }

    fn at(&self, time: f64) -> (f64, f64) {
        let sum = |waves: &[(f64, f64, f64)]| {
            waves
                .iter()
                .map(|(rate, phase, depth)| depth * (std::f64::consts::TAU * rate * time + phase).sin())
                .sum()
        };
        let sagging =
            self.sag.map_or(0.0, |(at, width, depth)| depth * (-((time - at) / width).powi(2)).exp());
        (sum(&self.pitch), sum(&self.level) - sagging)
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::take_maker::performance::Role;
    use crate::take_maker::source_pitch::fitted_pitch;

    fn calm() -> Style {
        Style {
            slow_attacks: 0.0,
            scoops: 0.0,
            scratch: 0.0,
            pitch_wobble: 0.0,
            level_wobble_db: 0.0,
            vibrato_cents: 0.0,
            own_movement: 1.0,
            uneven_bow: 0.0,
            rings: 0.0,
            sympathetic: false,
        }
    }

    /// A sawtooth of eight harmonics instead of a recording.
    fn source(hertz: f64) -> SourceNote {
        let samples: Vec<f32> = (0..(8.0 * RATE) as usize)
            .map(|i| {
                let phase = std::f64::consts::TAU * hertz * i as f64 / RATE;
                (1..=8).map(|l| (phase * f64::from(l)).sin() / f64::from(l)).sum::<f64>() as f32 * 0.2
            })
            .collect();
        SourceNote {
            name: "saw".into(),
            instrument: Instrument::Violin,
            player: "saw",
            half: Half::Tune,
            rate: RATE,
            level: crate::take_maker::filters::rms(&samples),
            samples,
            body_start: 0,
            hertz,
            track: vec![0.0; 400],
        }
    }

    fn played(midi: i32, cents: f64, start: f64, stop: f64, join: Join) -> PlayedNote {
        let role = Role::Written(0);
        PlayedNote { role, midi, cents, start, stop, join, string: 1, open: false, planted: None }
    }

    fn rendered(notes: Vec<PlayedNote>, style: &Style) -> Rendered {
        let ends = notes.last().unwrap().stop;
        let performance =
            Performance { notes, pauses: vec![], restarts: vec![], rests: vec![], beat_seconds: 0.8, ends };
        let sources = Sources::of(vec![source(290.0)]);
        let voice = Voice { instrument: Instrument::Violin, player: "saw", above: 0.0, body: vec![] };
        render(
            &performance,
            Instrument::Violin,
            (&sources, &voice, Half::Tune),
            style,
            0.5,
            &mut Random::new(2, 2),
        )
    }

    #[test]
    fn the_sound_has_the_pitch_that_the_truth_says() {
        for cents in [-37.5, 0.0, 22.25] {
            let take = rendered(vec![played(62, cents, 0.5, 1.5, Join::Apart)], &calm());
            assert!((take.notes[0].midi - 62.0 - cents / 100.0).abs() < 1e-6);
            let hertz = fitted_pitch(&take.mix[35000..50000], RATE, 293.66, 90.0);
            let heard = 6900.0 + 1200.0 * (hertz / 440.0).log2() - 6200.0;
            assert!((heard - cents).abs() < 0.1, "{heard} {cents}");
        }
    }

    #[test]
    fn onset_and_offset_lie_where_the_bow_starts_and_stops() {
        let take = rendered(vec![played(62, 0.0, 0.5, 1.5, Join::Apart)], &calm());
        assert!((take.notes[0].onset - 0.5).abs() < 0.03, "{:?}", take.notes[0]);
        assert!((take.notes[0].offset - 1.5).abs() < 0.06, "{:?}", take.notes[0]);
    }

    #[test]
    fn a_bow_change_dips_by_about_what_was_asked() {
        for dip_db in [6.0, 18.0] {
            let join = Join::BowChange { dip_db, seconds: 0.16 };
            let take = rendered(
                vec![played(62, 0.0, 0.3, 1.2, Join::Apart), played(62, 0.0, 1.2, 2.1, join)],
                &calm(),
            );
            let level = levels(&take.mix, 400, 40);
            let at = |time: f64| 20.0 * level[(time * RATE / 40.0) as usize].log10();
            let lowest = (-30..=30).map(|i| at(1.2 + f64::from(i) / 1000.0)).fold(f64::MAX, f64::min);
            let dip = 0.5 * (at(0.9) + at(1.6)) - lowest;
            // The two waves meet in any phase, so the dip may be a little shallower or deeper.
            assert!((dip - dip_db).abs() < 7.0, "{dip} dB for {dip_db}");
        }
    }

    #[test]
    fn one_seed_gives_one_sound() {
        let notes = || {
            vec![
                played(62, 0.0, 0.3, 1.0, Join::Apart),
                played(64, 5.0, 1.0, 1.6, Join::Slur { seconds: 0.04 }),
            ]
        };
        let style = Style::any(&mut Random::new(4, 4));
        assert_eq!(rendered(notes(), &style).mix, rendered(notes(), &style).mix);
    }
}
