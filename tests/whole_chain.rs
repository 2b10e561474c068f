//! What the whole chain promises, from samples to verdicts, on takes with mistakes of every kind: a verdict is about
//! the playing and never about gain, rate, key, silence or tempo. `tests/same_take/` has the takes and their shapes.

#[path = "made_takes/mod.rs"]
#[allow(dead_code, reason = "only what takes are made of is needed")]
mod made_takes;
mod same_take;

use fingertape::findings::{Report, RestVerdict};
use fingertape::notation::Instrument;
use fingertape::pipeline::listen;
use fingertape::pitch::{PitchTracker, TrackerSettings, contour};
use fingertape::samples::Samples;
use fingertape::sound::Noise;
use fingertape::units::SampleRate;
use same_take::{
    Take, at_another_rate, fixtures, louder, made, mixed, performed_at_another_tempo, performed_higher,
    resampled, said, shifted, with_silence,
};

/// The rate of the committed takes.
const RATE: SampleRate = made_takes::RATE;

/// The demo, every fixture and some takes more.
fn takes() -> Vec<Take> {
    let takes = made(5, RATE);
    assert!(takes.len() >= 15, "{}", takes.len());
    takes
}

/// What a shape of a take must not change, given how much higher it sounds and by how many cents it may differ.
fn same(
    take: &Take,
    shape: &str,
    plain: &Report,
    other: &Report,
    semitones: i32,
    within: f64,
) -> Vec<String> {
    let mut found = said(plain, 0).differences(&said(other, semitones));
    for (note, again) in plain.notes.iter().zip(&other.notes) {
        match (note.cents, again.cents) {
            (Some(one), Some(two)) if (one - two).abs() < within => {}
            (None, None) => {}
            (one, two) => found.push(format!("note {}: {one:?} cents, then {two:?}", note.index)),
        }
    }
    found.into_iter().map(|line| format!("{}, {shape}: {line}", take.name)).collect()
}

/// Fails with everything that differed.
fn nothing(found: Vec<String>) {
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn the_takes_have_mistakes_of_every_kind() {
    let said: String = takes().iter().map(|take| format!("{:?} ", said(&take.judged(), 0))).collect();
    for word in
        ["Right", "Wrong", "Missing", "Kept", "Rushed", "Stretched", "Filled", "Silence", "NotThisMelody"]
    {
        assert!(said.contains(word), "{word}");
    }
    assert!(said.contains("extra: [(") && said.contains("restarts: [("));
}

#[test]
fn any_chunking_of_any_take_gives_the_same_contour() {
    let mut random = Noise::new(5);
    for take in takes() {
        let settings = TrackerSettings::for_instrument(take.samples.rate, Some(take.settings.instrument));
        let whole = contour(&take.samples, settings);
        // As devices hand it over, and as nobody does.
        for most in [1, 64, 480, 20_000] {
            let mut tracker = PitchTracker::new(settings);
            let mut rest = take.samples.mono.as_slice();
            while !rest.is_empty() {
                let length = 1 + (random.bits() % most) as usize;
                let (now, later) = rest.split_at(length.min(rest.len()));
                tracker.push(now);
                rest = later;
            }
            assert!(tracker.finish() == whole, "{}, at most {most}", take.name);
        }
    }
}

#[test]
fn a_tracker_that_was_reset_anywhere_in_a_take_is_as_good_as_new() {
    let mut random = Noise::new(6);
    for instrument in Instrument::ALL {
        let settings = TrackerSettings::for_instrument(RATE, Some(instrument));
        let mut worn = PitchTracker::new(settings);
        for take in takes().iter().filter(|take| take.settings.instrument == instrument) {
            let mono = &take.samples.mono;
            worn.push(&mono[..(random.bits() % mono.len() as u64) as usize]);
            worn.reset();
            worn.push(mono);
            assert!(worn.finish() == contour(&take.samples, settings), "{}", take.name);
        }
    }
}

#[test]
fn gain_from_minus_40_to_0_db_changes_no_verdict() {
    let mut found = Vec::new();
    for take in takes() {
        let peak = take.samples.mono.iter().fold(1e-9_f32, |top, one| top.max(one.abs()));
        let full = louder(&take.samples, -20.0 * f64::from(peak).log10());
        let plain = take.judged();
        for db in [0.0, -23.0, -40.0] {
            let other = take.judged_as(&louder(&full, db));
            found.extend(same(&take, &format!("{db} dB"), &plain, &other, 0, 0.05));
        }
    }
    nothing(found);
}

#[test]
fn a_constant_offset_changes_no_verdict() {
    let mut found = Vec::new();
    for take in takes() {
        let plain = take.judged();
        for offset in [0.02, -0.2] {
            let other = take.judged_as(&shifted(&take.samples, offset));
            found.extend(same(&take, &format!("offset {offset}"), &plain, &other, 0, 0.05));
        }
    }
    nothing(found);
}

#[test]
fn a_rate_from_22_05_to_96_khz_changes_no_verdict_and_moves_cents_by_less_than_1() {
    let mut found = Vec::new();
    for take in fixtures(SampleRate(48_000)) {
        let plain = take.judged();
        for rate in [22_050, 44_100, 96_000] {
            let other = take.judged_as(&resampled(&take.samples, rate));
            found.extend(same(&take, &format!("{rate} Hz"), &plain, &other, 0, 1.0));
        }
    }
    nothing(found);
}

/// Closer to the sound than a verdict: on takes of our own making a verdict bears more than this.
#[test]
fn a_constant_offset_moves_no_evidence_for_an_onset() {
    for take in fixtures(RATE) {
        let listened = |samples: &Samples| {
            let heard = listen(samples, Some(take.settings.instrument));
            heard.candidates.iter().map(|one| (one.time.0, one.llr)).collect::<Vec<_>>()
        };
        let (plain, other) = (listened(&take.samples), listened(&shifted(&take.samples, -0.2)));
        assert_eq!(plain.len(), other.len(), "{}", take.name);
        for (one, two) in plain.iter().zip(&other) {
            assert!(one.0 == two.0 && (one.1 - two.1).abs() < 0.05, "{}: {one:?}, then {two:?}", take.name);
        }
    }
}

/// Without a sample changed, and so faster by the interval.
#[test]
fn transposing_melody_and_sound_together_changes_no_verdict() {
    let mut found = Vec::new();
    let mut counted = 0;
    for take in takes() {
        let plain = take.judged();
        for semitones in [-3, -2, 1, 4] {
            if let Some(other) = at_another_rate(&take, semitones) {
                found.extend(same(&take, &format!("{semitones:+}"), &plain, &other.judged(), semitones, 1.0));
                counted += 1;
            }
        }
    }
    assert!(counted >= 40, "{counted}");
    nothing(found);
}

/// Played anew at the tempo, with the same hand and the same mistakes, on other strings.
#[test]
fn playing_melody_and_mistakes_in_another_key_changes_no_verdict() {
    let mut found = Vec::new();
    let mut counted = 0;
    for take in takes() {
        let plain = take.judged();
        for semitones in [-2, 3] {
            if let Some(other) = performed_higher(&take, semitones) {
                found.extend(same(
                    &take,
                    &format!("played {semitones:+}"),
                    &plain,
                    &other.judged(),
                    semitones,
                    1.0,
                ));
                counted += 1;
            }
        }
    }
    assert!(counted >= 20, "{counted}");
    nothing(found);
}

/// The reading puts the note after the rest a little late here, so that the search for the end of the ringing note
/// once began inside it.
#[test]
fn a_string_that_rings_through_a_rest_does_not_fill_it() {
    let takes = mixed(8, 1, SampleRate(48_000));
    let stopped = takes.last().expect("eight takes");
    let open = performed_higher(stopped, -2).expect("an open A before the rest");
    for take in [stopped, &open] {
        let rests = take.judged().rests;
        assert!(rests.iter().all(|rest| rest.verdict == RestVerdict::Kept), "{rests:?}");
    }
}

#[test]
fn silence_before_or_after_changes_nothing() {
    let mut found = Vec::new();
    // The room of the takes, and none at all.
    for (before, after, room) in [(2.0, 0.0, 3e-4), (0.0, 2.0, 0.0), (1.0, 20.0, 3e-4), (5.0, 5.0, 0.0)] {
        for take in takes() {
            let plain = take.judged();
            let other = take.judged_as(&with_silence(&take.samples, before, after, room));
            found.extend(same(&take, &format!("silence {before}, {after}"), &plain, &other, 0, 0.01));
            found.extend(
                moved_figures(&plain, &other, before)
                    .into_iter()
                    .map(|line| format!("{}: {line}", take.name)),
            );
        }
    }
    nothing(found);
}

/// Moments at which a note may begin lie on a grid of 10 ms, and where two are as good as each other the last digit of a sum
/// decides; each has its own correction. Silence also moves the windows in which ringing is taken out against the sound.
const ONSET_TOLERANCE: f64 = 0.012;

/// Figures that silence of so many seconds before a take has changed, moments moved along.
fn moved_figures(plain: &Report, other: &Report, before: f64) -> Vec<String> {
    let mut found = Vec::new();
    let mut near = |what: String, one: Option<f64>, two: Option<f64>, within: f64| {
        let differs = match (one, two) {
            (Some(one), Some(two)) => (one - two).abs() > within,
            (one, two) => one.is_some() != two.is_some(),
        };
        if differs {
            found.push(format!("{what}: {one:?}, then {two:?}"));
        }
    };
    for (note, again) in plain.notes.iter().zip(&other.notes) {
        let at = note.index;
        near(format!("onset {at}"), note.onset_s, again.onset_s.map(|time| time - before), ONSET_TOLERANCE);
        near(format!("offset {at}"), note.offset_s, again.offset_s.map(|time| time - before), 0.01);
        near(format!("confidence {at}"), Some(note.confidence), Some(again.confidence), 0.02);
    }
    near("tempo".to_owned(), plain.tempo.played_bpm, other.tempo.played_bpm, 0.5);
    near("tuning".to_owned(), plain.tuning.offset_cents, other.tuning.offset_cents, 0.01);
    found
}

#[test]
fn five_percent_faster_or_slower_changes_only_the_tempo_figures() {
    let mut found = Vec::new();
    for take in takes() {
        let plain = take.judged();
        for faster in [0.95, 1.05] {
            let other = performed_at_another_tempo(&take, faster).expect("we made it").judged();
            found.extend(same(&take, &format!("tempo times {faster}"), &plain, &other, 0, 0.1));
            if let (Some(one), Some(two)) = (plain.tempo.played_bpm, other.tempo.played_bpm) {
                // The tempo is read from onsets that lie on steps of 5 and 10 ms.
                if (two / one / faster - 1.0).abs() > 0.015 {
                    found.push(format!("{}, tempo times {faster}: {one}, then {two} a minute", take.name));
                }
            }
            for (rest, again) in plain.rests.iter().zip(&other.rests) {
                let (one, two) = (rest.played_beats.unwrap_or(-1.0), again.played_beats.unwrap_or(-1.0));
                if (one - two).abs() > 0.05 {
                    found.push(format!(
                        "{}, tempo times {faster}: rest of {one} beats, then {two}",
                        take.name
                    ));
                }
            }
        }
    }
    nothing(found);
}

#[test]
fn the_same_take_gives_the_same_bytes_on_one_thread_or_many() {
    let takes = takes();
    let json = |take: &Take| serde_json::to_string_pretty(&take.judged()).expect("JSON");
    let alone: Vec<String> = takes.iter().map(json).collect();
    let together: Vec<String> = std::thread::scope(|scope| {
        let running: Vec<_> = takes.iter().map(|take| scope.spawn(|| json(take))).collect();
        running.into_iter().map(|one| one.join().expect("a report")).collect()
    });
    assert!(alone == together, "some report depends on what else runs");
}
