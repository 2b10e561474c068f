//! `fingertape jot` at the microphone: the sound is gathered until the player stops, then heard as a file is.

use super::line::{LiveLine, Style};
use super::samples::{Live, LiveSamples};
use crate::cli::jot::JotArguments;
use crate::cli::shared::{failure, print};
use fingertape::capture::{CaptureError, TakeOnDisk};
use fingertape::notation::{Instrument, Key, Spelling};
use fingertape::open_string::{Sound, StringEar};
use fingertape::remark::Remark;
use fingertape::samples::Samples;
use fingertape::takes::repair_wav;
use fingertape::units::A4_ISO16;

/// Longer than this is no melody of a beginner, in seconds.
const LONGEST: f64 = 600.0;
/// How long the player may take to begin, in seconds, at least.
const BEGIN_WITHIN: f64 = 30.0;

/// Listens until nothing has sounded for a while after the first note, or somebody presses Enter.
pub fn listen(arguments: &JotArguments, instrument: Instrument) -> miette::Result<Samples> {
    let microphone = LiveSamples::open(arguments.input.as_deref())?;
    let rate = microphone.rate();
    let mut kept = match &arguments.keep {
        Some(file) => Some(TakeOnDisk::create(file, rate).map_err(failure::unusable_place)?),
        None => None,
    };
    // Where the draft goes to the screen, nothing else may.
    let mut line = LiveLine::new(Style::choose(arguments.plain, false));
    let stop = if microphone.can_be_stopped() { ", or press Enter" } else { "" };
    eprintln!(
        "Listening with {}. Play; when you have finished, wait {:.0} seconds{stop}.",
        microphone.name(),
        arguments.stop_after
    );
    let mut ear = StringEar::new(rate, instrument);
    let mut samples = Vec::new();
    let (mut last_sound, mut now, mut sounding) = (None, 0.0, Sound::Nothing);
    while !microphone.enter() && now < LONGEST {
        match microphone.next() {
            Live::Samples(heard) => {
                ear.push(&heard, &mut |moment| {
                    (now, sounding) = (moment.time.0, moment.sound);
                    if matches!(moment.sound, Sound::Tone(_)) {
                        last_sound = Some(now);
                    }
                });
                if let Some(Err(error)) = kept.as_mut().map(|take| take.push(&heard)) {
                    kept = None;
                    not_all_kept(&error);
                }
                samples.extend(heard);
                if matches!(line.style(), Style::Redrawn) {
                    line.show(&shown(now, sounding, instrument), None);
                }
            }
            Live::Trouble(error) => {
                eprintln!("Remark: {error}");
                if !error.listening_continues() {
                    break;
                }
            }
            Live::Wait => {}
        }
        let patience = match last_sound {
            Some(last) => last + arguments.stop_after,
            None => BEGIN_WITHIN.max(arguments.stop_after),
        };
        if now > patience {
            break;
        }
    }
    line.close();
    let lost = microphone.stop().lost.0;
    if lost > 0.0 {
        eprintln!("Remark: {:.0} ms of the sound were lost because the computer was busy.", 1000.0 * lost);
    }
    if let Some(Err(error)) = kept.map(TakeOnDisk::finish) {
        not_all_kept(&error);
    }
    Ok(Samples { mono: samples, rate })
}

/// The disk takes no more of the recording; the draft is still worth having.
fn not_all_kept(error: &CaptureError) {
    let text = format!("{error} The draft is made all the same.");
    print::remarks(&[Remark::new("disk-full", text)]);
    // Its lengths are of the last save; eight bytes in place bring them up to what is there.
    if let CaptureError::Disk { path, .. } = error {
        // That the disk fails was said.
        let _ = repair_wav(path);
    }
}

/// `12 s   F#4`.
fn shown(now: f64, sound: Sound, instrument: Instrument) -> String {
    let note = match sound {
        Sound::Tone(tone) => {
            let written = tone.pitch.midi(A4_ISO16).0.round() as i32 - instrument.sounding_shift();
            Spelling::from_midi(written.clamp(0, 127), Key::new(1).unwrap_or_default()).to_string()
        }
        _ => String::new(),
    };
    format!("{now:3.0} s   {note}")
}
