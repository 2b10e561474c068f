//! Takes with mistakes of every kind in them.

use crate::made_takes::{self, Case, Planted, performance, samples_from_performance};
use fingertape::findings::Report;
use fingertape::notation::{EventKind, Instrument, Melody};
use fingertape::pipeline::{JudgeSettings, judge};
use fingertape::samples::Samples;
use fingertape::sound::Noise;
use fingertape::units::SampleRate;
use std::path::{Path, PathBuf};

/// A take with its melody.
#[derive(Debug, Clone)]
pub struct Take {
    /// What it is called where something is wrong with it.
    pub name: String,
    /// The sound.
    pub samples: Samples,
    /// The sheet.
    pub melody: Melody,
    /// What was played, mistakes aside: the melody, or another one.
    pub played: Melody,
    /// What the judge is told.
    pub settings: JudgeSettings,
    /// How the take was made, where we made it.
    pub case: Option<Case>,
}

impl Take {
    /// The report.
    pub fn judged(&self) -> Report {
        judge(&self.samples, &self.melody, &self.settings)
    }

    /// The report of another shape of the sound.
    pub fn judged_as(&self, samples: &Samples) -> Report {
        judge(samples, &self.melody, &self.settings)
    }

    fn from_case(name: String, case: Case, rate: SampleRate) -> Self {
        let melody = made_takes::melody(&case, case.melody);
        let played = case.played.map_or_else(|| melody.clone(), |played| made_takes::melody(&case, played));
        let samples = samples_from_performance(&performance(&case, &played), &played, rate);
        let settings = JudgeSettings::for_melody(&melody, melody.instrument.expect("the cases name it"));
        Self { name, samples, melody, played, settings, case: Some(case) }
    }
}

/// The demo and the audio fixtures, as they are made and not as they are committed: at any rate, without rounding.
pub fn fixtures(rate: SampleRate) -> Vec<Take> {
    made_takes::cases().into_iter().map(|case| Take::from_case(case.name.to_owned(), case, rate)).collect()
}

/// `count` takes of the melodies of the cases, each with a few mistakes of any kind at places that the seed chooses.
pub fn mixed(count: u64, seed: u64, rate: SampleRate) -> Vec<Take> {
    let sheets: Vec<Case> = made_takes::cases()
        .into_iter()
        .filter(|case| {
            ["demo", "all-right", "wrong-notes", "missing-note", "extra-note", "rests"].contains(&case.name)
        })
        .collect();
    (0..count)
        .map(|number| {
            let mut random = Dice(Noise::new(seed.wrapping_mul(1_000).wrapping_add(number)));
            let sheet = &sheets[(number as usize) % sheets.len()];
            let melody = made_takes::melody(sheet, sheet.melody);
            let planted = random.mistakes(&melody);
            let case = Case {
                planted,
                bpm: sheet.bpm * (1.0 + 0.08 * random.0.uniform()),
                seed: seed + number,
                ..sheet.clone()
            };
            Take::from_case(format!("mixed {seed}/{number} {:?}", case.planted), case, rate)
        })
        .collect()
}

/// Fixtures and mixed takes together.
pub fn made(count: u64, rate: SampleRate) -> Vec<Take> {
    let mut takes = fixtures(rate);
    takes.extend(mixed(count, 1, rate));
    takes
}

struct Dice(Noise);

impl Dice {
    fn below(&mut self, count: usize) -> usize {
        (self.0.bits() % count as u64) as usize
    }

    /// One to three mistakes in different notes or rests, a return to an earlier place now and then, and an instrument
    /// that is not quite in tune.
    fn mistakes(&mut self, melody: &Melody) -> Vec<Planted> {
        let mut free: Vec<usize> = (1..melody.events.len() - 1).collect();
        let mut planted = vec![Planted::Tuned(20.0 * self.0.uniform())];
        for _ in 0..1 + self.below(3) {
            let index = free.remove(self.below(free.len()));
            planted.push(self.mistake(melody, index));
        }
        if self.below(4) == 0 {
            let resumed_at = 1 + self.below(melody.events.len() / 2);
            planted.push(Planted::Restart { left_at: resumed_at + 2 + self.below(3), resumed_at });
        }
        planted
    }

    fn mistake(&mut self, melody: &Melody, index: usize) -> Planted {
        let EventKind::Note { sounding, .. } = melody.events[index].kind else {
            return match self.below(3) {
                0 => Planted::RestFilled { index },
                1 => Planted::RestLasts { index, beats: 0.3 },
                _ => Planted::RestLasts { index, beats: 2.2 },
            };
        };
        let away = [-3, -2, -1, 1, 2, 3][self.below(6)];
        match self.below(5) {
            0 => Planted::Missing { index },
            1 => Planted::Extra { after: index, midi: sounding + away, beats: 0.6 },
            2 => Planted::Cents { index, cents: 40.0 * self.0.uniform() },
            _ => Planted::Wrong { index, midi: sounding + away },
        }
    }
}

/// The takes in a folder of the take maker.
pub fn real(folder: &Path) -> Vec<Take> {
    let mut truths: Vec<PathBuf> = std::fs::read_dir(folder)
        .expect("the folder of takes")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.to_string_lossy().ends_with(".truth.json"))
        .collect();
    truths.sort();
    truths.iter().map(|truth| real_take(folder, truth)).collect()
}

fn real_take(folder: &Path, truth: &Path) -> Take {
    let text = std::fs::read_to_string(truth).expect("the truth");
    let truth: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let name = |key: &str| truth[key].as_str().expect("a name").to_owned();
    let instrument: Instrument = serde_json::from_value(truth["instrument"].clone()).expect("an instrument");
    let melody = fingertape::formats::read_melody(&folder.join(name("score"))).expect("a melody").melody;
    let (melody, _) = melody.for_instrument(instrument);
    let take = fingertape::decode::read_take(&folder.join(name("audio"))).expect("a take");
    Take {
        name: format!("{} {} {}", name("take"), name("instrument"), name("condition")),
        samples: take.samples,
        settings: JudgeSettings::for_melody(&melody, instrument),
        played: melody.clone(),
        melody,
        case: None,
    }
}
