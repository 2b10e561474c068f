//! `fingertape string` at the microphone: the same ear as for a file, and one line about what sounds now.

use super::line::{LiveLine, Style};
use super::samples::{Live, LiveSamples};
use crate::cli::string::StringArguments;
use fingertape::open_string::{
    FourStrings, Moment, OpenStrings, Session, Sound, Steadiness, Step, StringEar, Tone,
};
use fingertape::report;
use fingertape::units::{Cents, Seconds};

/// Nobody tunes for longer at a stretch, in seconds.
const LONGEST: f64 = 900.0;

/// Listens until the strings were heard, nothing has sounded for a while, or somebody presses Enter.
pub fn listen(
    arguments: &StringArguments,
    strings: OpenStrings,
    asked: Option<usize>,
    quiet: bool,
) -> miette::Result<FourStrings> {
    let microphone = LiveSamples::open(arguments.input.as_deref())?;
    let mut view = View {
        heard: FourStrings::new(strings),
        session: Session::new(strings, asked, Seconds(arguments.stop_after)),
        line: LiveLine::new(Style::choose(arguments.plain, quiet)),
        last: [None; 4],
    };
    let stop = if microphone.can_be_stopped() { " Press Enter to stop." } else { "" };
    view.line.note(&format!("Listening with {}.{stop}", microphone.name()));
    view.line.note(if strings.instrument.has_tuning_machines() {
        "Face away from the strings; the tuning machines are for your teacher or another grown-up."
    } else {
        "Face away from the strings; turn only fine tuners by yourself, a little at a time."
    });
    view.ask();
    let mut ear = StringEar::new(microphone.rate(), strings.instrument);
    let mut samples_heard = 0_u64;
    while view.session.asked().is_some() && !microphone.enter() {
        match microphone.next() {
            Live::Samples(samples) => {
                samples_heard += samples.len() as u64;
                ear.push(&samples, &mut |moment| view.moment(&moment));
            }
            Live::Trouble(error) => {
                eprintln!("Remark: {error}");
                if !error.listening_continues() {
                    break;
                }
            }
            Live::Wait => {}
        }
        if samples_heard as f64 > LONGEST * microphone.rate().hertz() {
            break;
        }
    }
    let lost = microphone.stop().lost.0;
    if lost > 0.0 {
        eprintln!("Remark: {:.0} ms of the sound were lost because the computer was busy.", 1000.0 * lost);
    }
    let View { mut heard, mut line, .. } = view;
    ear.finish(&mut |moment| heard.hear(&moment));
    line.close();
    Ok(heard)
}

struct View {
    heard: FourStrings,
    session: Session,
    line: LiveLine,
    /// The last steady reading of each string.
    last: [Option<Cents>; 4],
}

impl View {
    fn moment(&mut self, moment: &Moment) {
        self.heard.hear(moment);
        if self.session.asked().is_none() {
            return;
        }
        let strings = *self.heard.strings();
        if let Sound::Tone(Tone { pitch, steadiness: Steadiness::Steady, .. }) = moment.sound
            && let Some((string, cents)) = strings.nearest(pitch)
        {
            self.last[string] = Some(cents);
        }
        if let Some(string) = self.session.beside(moment.sound) {
            self.line.show(
                &report::string_line(&strings, string, moment.sound, self.last[string]),
                report::said_aloud(&strings, string, moment.sound),
            );
        }
        let name = |string: usize| strings.instrument.string_names()[string];
        match self.session.next(moment) {
            Step::On => return,
            Step::Heard(string) => self.line.note(&format!("{} string: heard.", name(string))),
            Step::PassedOver(string) => {
                self.line.note(&format!(
                    "Nothing sounded for a while: that is all of the {} string.",
                    name(string)
                ));
            }
        }
        self.ask();
    }

    fn ask(&mut self) {
        if let Some(asked) = self.session.asked() {
            let name = self.heard.strings().instrument.string_names()[asked];
            self.line.note(&format!("Bow the open {name} string, slowly, no finger down."));
        }
    }
}
