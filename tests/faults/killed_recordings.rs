//! A recording killed at any moment: what was heard is kept, to a fraction of a second, bit for bit.

use crate::false_microphone::{FalseMicrophone, RATE};
use crate::support::{after_count_in, book, case, record, sound_of, takes};
use fingertape::takes::Book;
use std::time::{Duration, Instant};

/// What may be on its way to the disk when the power goes: a buffer of the device, the queue, and what the recorder
/// holds until it writes, with room for a machine that is busy with other tests.
const ON_ITS_WAY: Duration = Duration::from_millis(1_500);

#[test]
fn a_recording_killed_at_any_moment_keeps_what_was_heard_before() {
    let seed = crate::seed_of_moments();
    let mut random = fingertape::sound::Noise::new(seed);
    let moments: Vec<f64> = (0..6).map(|_| 3.5 + 3.5 * random.uniform()).collect();
    let melody = case("demo").join("melody.toml");
    let sound = sound_of("demo");
    let heard = after_count_in(&sound, &melody);
    let written: Vec<i32> = sound.iter().map(|sample| (sample * 8_388_608.0).round() as i32).collect();
    let kept: Vec<usize> = std::thread::scope(|scope| {
        let runs: Vec<_> = moments
            .iter()
            .map(|moment| {
                let (melody, heard, written) = (&melody, &heard, &written);
                scope.spawn(move || {
                    let microphone = FalseMicrophone::hearing(heard);
                    killed_after(&microphone, melody, written, *moment, seed)
                })
            })
            .collect();
        runs.into_iter().map(|run| run.join().expect("a run")).collect()
    });
    println!("killed after {moments:.2?} s, samples kept {kept:?}");
}

/// Records for so long, kills, recovers, and holds what is there against what was heard. How many samples were kept.
fn killed_after(
    microphone: &FalseMicrophone,
    melody: &std::path::Path,
    written: &[i32],
    moment: f64,
    seed: u64,
) -> usize {
    let mut child = record(microphone, melody, &[])
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::null())
        .spawn()
        .expect("it starts");
    let wav = book(microphone).join("melody/take-001.wav");
    let began = Instant::now();
    let mut since = None;
    while began.elapsed().as_secs_f64() < moment {
        if since.is_none() && std::fs::metadata(&wav).is_ok_and(|file| file.len() > 100) {
            since = Some(Instant::now());
        }
        std::thread::sleep(Duration::from_millis(5));
    }
    child.kill().expect("a signal");
    child.wait().expect("it ends");
    let played = since.map_or(Duration::ZERO, |since| since.elapsed());

    let (code, text, errors) = takes(microphone, &["--recover"]);
    assert_eq!((code, errors.as_str()), (0, ""), "seed {seed}, {moment} s: {text}");
    let melodies = Book::at(&book(microphone)).melodies().expect("a book");
    let Some(take) =
        melodies.first().and_then(|folder| folder.take(1).ok()).filter(|take| take.wav().exists())
    else {
        assert!(played.is_zero(), "seed {seed}, {moment} s: {played:?} of sound are gone: {text}");
        return 0;
    };
    let mut reader = hound::WavReader::open(take.wav()).expect("a WAV file whose header is right");
    let kept: Vec<i32> = reader.samples().map(|sample| sample.expect("a sample")).collect();
    let seconds = kept.len() as f64 / f64::from(RATE);
    assert!(
        seconds + ON_ITS_WAY.as_secs_f64() >= played.as_secs_f64(),
        "seed {seed}, {moment} s: {seconds} s of {played:?}"
    );
    // The take begins on a sample of the sound, but for the rounding of half a beat.
    let same = |kept: &[i32], heard: &[i32]| kept.iter().zip(heard).all(|(kept, heard)| kept == heard);
    let starts_late = kept.len() > 1 && same(&kept[1..], written);
    assert!(
        same(&kept, written) || same(&kept, &written[1..]) || starts_late,
        "seed {seed}, {moment} s: {} samples, not those that were heard",
        kept.len()
    );
    kept.len()
}
