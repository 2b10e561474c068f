//! The microphone, the session, the disk and the view together: from an open microphone to a take in the book.
//!
//! Only the hand-over runs in the audio callback. The listening thread passes on what it hears over a queue
//! without a limit, so a slow disk or terminal delays the view and loses nothing.

use super::view::LiveView;
use fingertape::capture::{self, CaptureError, Heard, Listening, TakeOnDisk, Wish};
use fingertape::live::{Ended, Level, LevelWord, Session, Step};
use fingertape::loudspeaker::Playing;
use fingertape::remark::Remark;
use fingertape::takes::{Take, repair_wav};
use fingertape::units::SampleRate;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError};
use std::time::Duration;

/// What the listening thread passes on.
pub enum Message {
    /// Samples.
    Samples(Vec<f32>),
    /// Something went wrong.
    Trouble(CaptureError),
}

/// An open microphone.
pub struct Microphone {
    /// The microphone; it is closed when this is dropped.
    listening: Listening,
    messages: Receiver<Message>,
}

impl Microphone {
    /// Opens a microphone.
    ///
    /// # Errors
    /// Those of [`capture::listen`].
    pub fn open(wish: &Wish) -> Result<Self, CaptureError> {
        let (send, messages) = mpsc::channel();
        let listening = capture::listen(wish, move |heard| {
            let message = match heard {
                Heard::Samples(samples) => Message::Samples(samples.to_vec()),
                Heard::Trouble(error) => Message::Trouble(error),
            };
            // At the very end nobody may be there to receive.
            let _ = send.send(message);
        })?;
        Ok(Self { listening, messages })
    }

    /// Its name.
    pub fn name(&self) -> &str {
        &self.listening.name
    }

    /// Samples a second.
    pub fn rate(&self) -> SampleRate {
        self.listening.rate
    }

    /// The next message, if one comes within a time; `None` for not yet.
    pub fn next(&self, within: Duration) -> Option<Message> {
        match self.messages.recv_timeout(within) {
            Ok(message) => Some(message),
            Err(RecvTimeoutError::Timeout) => None,
            Err(RecvTimeoutError::Disconnected) => Some(Message::Trouble(CaptureError::Stopped {
                why: "the recording part of the program failed".to_owned(),
            })),
        }
    }
}

/// Why a recording ended.
#[derive(Debug)]
pub enum Why {
    /// As the session says.
    Ended(Ended),
    /// The player asked for it.
    Asked,
    /// The microphone or the disk.
    Trouble(CaptureError),
}

/// What was recorded.
#[derive(Debug)]
pub struct Recorded {
    /// Why it ended.
    pub why: Why,
    /// Milliseconds of silence in the place of what could not be heard.
    pub lost_ms: f64,
    /// What the report should say about the recording.
    pub remarks: Vec<Remark>,
    /// Whether anything is on the disk.
    pub kept: bool,
}

/// How long the loop waits before it looks whether it should stop.
const WAIT: Duration = Duration::from_millis(50);

/// Listens, counts in, and records into the take's WAV file until the take ends.
pub fn record(
    microphone: Microphone,
    mut session: Session,
    take: &Take,
    view: &mut LiveView,
    mut clicks: Option<Playing>,
    stop: &AtomicBool,
) -> Recorded {
    let mut desk = Desk::new(microphone.rate(), microphone.name(), take, view, session.bar_beats());
    while desk.why.is_none() {
        if stop.load(Ordering::Relaxed) {
            desk.why = Some(Why::Asked);
            break;
        }
        if let Some(message) = microphone.next(WAIT) {
            desk.heard(message, &mut session, &mut clicks);
        }
    }
    // What is on its way still belongs to the take, unless the take is over or the disk is full.
    let Microphone { listening, messages } = microphone;
    listening.stop();
    if !matches!(desk.why, Some(Why::Ended(_) | Why::Trouble(CaptureError::Disk { .. }))) {
        for message in messages.try_iter() {
            if matches!(message, Message::Samples(_) | Message::Trouble(CaptureError::LostTime { .. })) {
                desk.heard(message, &mut session, &mut clicks);
            }
        }
    }
    desk.close()
}

/// The recording while it goes on.
struct Desk<'a> {
    rate: SampleRate,
    name: String,
    take: &'a Take,
    view: &'a mut LiveView,
    disk: Option<TakeOnDisk>,
    why: Option<Why>,
    lost_ms: f64,
    /// Gaps whose length nobody knows.
    gaps: u32,
    bar_beats: u32,
}

impl<'a> Desk<'a> {
    fn new(rate: SampleRate, name: &str, take: &'a Take, view: &'a mut LiveView, bar_beats: u32) -> Self {
        let name = name.to_owned();
        Self { rate, name, take, view, disk: None, why: None, lost_ms: 0.0, gaps: 0, bar_beats }
    }

    fn heard(&mut self, message: Message, session: &mut Session, clicks: &mut Option<Playing>) {
        match message {
            Message::Samples(samples) => session.push(&samples, |step| self.step(step, clicks)),
            Message::Trouble(CaptureError::LostTime { milliseconds }) => {
                // Before the take nothing is lost by it.
                if session.take().is_some() {
                    self.lost_ms += milliseconds;
                    self.gaps += u32::from(milliseconds == 0.0);
                }
            }
            Message::Trouble(error @ CaptureError::Notice { .. }) => self.view.say(&format!("Note: {error}")),
            // A microphone that is silent for seconds has gone; a gap of unknown length must not be closed up.
            Message::Trouble(error) => self.end(Why::Trouble(error)),
        }
    }

    fn step(&mut self, step: Step<'_>, clicks: &mut Option<Playing>) {
        match step {
            Step::Level(level) => {
                let advice = advice(&level, &self.name);
                self.view.say(&advice);
            }
            Step::CountIn { beats } => {
                self.view.say(&format!("Get ready: I count {beats} beats, then you play."));
                if let Some(Err(error)) = clicks.as_ref().map(Playing::start) {
                    self.view.say(&format!("Note: {error}. Count along here instead."));
                    *clicks = None;
                }
            }
            Step::Beat(beat) => self.view.beat(beat, self.bar_beats),
            // Silence from here on.
            Step::Begin => *clicks = None,
            Step::Keep(samples) => self.keep(samples),
            Step::Now(now) => self.view.now(&now),
            Step::End(ended) => self.end(Why::Ended(ended)),
        }
    }

    fn keep(&mut self, samples: &[f32]) {
        if matches!(self.why, Some(Why::Trouble(CaptureError::Disk { .. }))) {
            return;
        }
        let written = match &mut self.disk {
            Some(disk) => disk.push(samples),
            None => TakeOnDisk::create(&self.take.wav(), self.rate).and_then(|mut disk| {
                disk.push(samples)?;
                self.disk = Some(disk);
                Ok(())
            }),
        };
        if let Err(error) = written {
            self.end(Why::Trouble(error));
        }
    }

    /// The first reason is the one that counts; trouble is said at once.
    fn end(&mut self, why: Why) {
        if let Why::Trouble(error) = &why {
            self.view.say(&format!("Stopped: {error}"));
        }
        self.why.get_or_insert(why);
    }

    fn close(mut self) -> Recorded {
        self.view.wipe();
        let kept = self.disk.is_some();
        let mut remarks = Vec::new();
        let finished = self.disk.take().map_or(Ok(()), |disk| disk.finish().map(|_| ()));
        if let Err(error) = finished
            && !matches!(self.why, Some(Why::Trouble(CaptureError::Disk { .. })))
        {
            // The take is over already; that its end could not be written is what counts now.
            self.why = None;
            self.end(Why::Trouble(error));
        }
        if let Some(Why::Trouble(error)) = &self.why {
            let (code, what) = match error {
                CaptureError::Disk { .. } => ("disk-full", "The disk could take no more"),
                _ => ("microphone-stopped", "The microphone stopped"),
            };
            let text = format!("{what} in the middle of this take: what was played after that is not in it.");
            remarks.push(Remark::new(code, text));
            // Its lengths are of the last save; eight bytes in place bring them up to what is there.
            if kept && let Err(error) = repair_wav(&self.take.wav()) {
                self.view.say(&format!("Note: {error}."));
            }
        }
        if self.lost_ms > 0.0 || self.gaps > 0 {
            remarks.push(lost_time(self.lost_ms, self.gaps));
        }
        Recorded { why: self.why.unwrap_or(Why::Asked), lost_ms: self.lost_ms, remarks, kept }
    }
}

/// The remark about time that was not heard.
fn lost_time(lost_ms: f64, gaps: u32) -> Remark {
    let mut text = "The computer was too slow for this take".to_owned();
    if lost_ms > 0.0 {
        text.push_str(&format!(": {lost_ms:.0} ms of it are silence"));
    }
    if gaps > 0 {
        let times = if gaps == 1 { "once".to_owned() } else { format!("{gaps} times") };
        text.push_str(&format!(
            "{} {times} the sound system lost a moment, and it does not say how long",
            if lost_ms > 0.0 { ", and" } else { ":" }
        ));
    }
    text.push_str(
        ". What seems missing or early there may be that and not the player. Close other programs.",
    );
    Remark::new("lost-time", text)
}

/// What to do about a level.
pub fn advice(level: &Level, microphone: &str) -> String {
    let decibels = level.loudest_db;
    match level.word() {
        LevelWord::Silent => format!(
            "I hear nothing ({decibels:.0} dB). Is \"{microphone}\" the right microphone, and is it on? \
             'fingertape inputs --levels' shows which of them hear something. I count in all the same."
        ),
        LevelWord::Quiet => format!(
            "You are very soft here ({decibels:.0} dB): come nearer to the microphone, to about an arm's length."
        ),
        LevelWord::Good => format!("The level is good ({decibels:.0} dB)."),
        LevelWord::TooLoud => format!(
            "That is too loud for the microphone (peak {:.0} dB): go further away, or turn its level down.",
            level.peak_db
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::super::view::Look;
    use super::*;
    use fingertape::formats::read_melody_bytes;
    use fingertape::live::SessionSettings;
    use fingertape::notation::{Fifths, Instrument};
    use fingertape::takes::{About, Book};
    use fingertape::units::{A4_ISO16, Seconds};

    const RATE: SampleRate = SampleRate(8000);

    /// What is recorded of messages: seconds of a tone, and troubles.
    fn recorded(messages: Vec<Message>) -> (Recorded, f64) {
        let folder = tempfile::tempdir().unwrap();
        let about = About {
            recorded: String::new(),
            microphone: String::new(),
            melody: "m".to_owned(),
            instrument: None,
            a4_hz: None,
            fifths: Fifths::Equal,
            string_length_mm: None,
            bpm: 240.0,
            finished: false,
            lost_ms: 0.0,
            remarks: Vec::new(),
        };
        let take = Book::at(folder.path()).begin(&about, None, b"").unwrap();
        let melody = read_melody_bytes("m.toml", b"instrument = 'violin'\nbars = ['A4 w']").unwrap().melody;
        let settings = SessionSettings {
            rate: RATE,
            instrument: Instrument::Violin,
            bpm: 240.0,
            a4: A4_ISO16,
            level_check: Seconds(0.0),
        };
        let mut session = Session::new(&melody, settings);
        let mut view = LiveView::new(&melody, Instrument::Violin, Look::LinesAside);
        let mut desk = Desk::new(RATE, "none", &take, &mut view, 4);
        for message in messages {
            if desk.why.is_none() {
                desk.heard(message, &mut session, &mut None);
            }
        }
        let recorded = desk.close();
        let seconds = hound::WavReader::open(take.wav()).map_or(0.0, |wav| f64::from(wav.len()) / 8000.0);
        (recorded, seconds)
    }

    fn tone(seconds: usize) -> Message {
        Message::Samples((0..seconds * 8000).map(|n| 0.1 * (n as f32 * 0.3456).sin()).collect())
    }

    fn lost(milliseconds: f64) -> Message {
        Message::Trouble(CaptureError::LostTime { milliseconds })
    }

    #[test]
    fn time_that_is_lost_in_the_take_is_told_and_the_take_goes_on() {
        // The count-in takes the first second; the take begins an eighth of a second before its end.
        let messages = vec![lost(500.0), tone(2), lost(30.0), tone(1), lost(12.0), lost(0.0), tone(1)];
        let (recorded, seconds) = recorded(messages);
        assert_eq!((recorded.lost_ms, seconds), (42.0, 3.125));
        assert_eq!(recorded.remarks.len(), 1);
        assert_eq!(recorded.remarks[0].code, "lost-time");
        assert!(
            recorded.remarks[0].text.contains("42 ms of it are silence, and once"),
            "{:?}",
            recorded.remarks
        );
        assert!(matches!(recorded.why, Why::Asked));
    }

    #[test]
    fn a_microphone_that_stalls_ends_the_take_and_a_notice_does_not() {
        let notice =
            || Message::Trouble(CaptureError::Notice { what: "another device took over".to_owned() });
        let stalled = Message::Trouble(CaptureError::Stalled { seconds: 2.0 });
        let (recorded, seconds) = recorded(vec![tone(2), notice(), tone(1), stalled, tone(5)]);
        assert_eq!(seconds, 2.125);
        assert_eq!(recorded.remarks[0].code, "microphone-stopped");
        assert!(matches!(recorded.why, Why::Trouble(CaptureError::Stalled { .. })));
        assert!(recorded.kept);
    }

    #[test]
    fn a_count_in_that_is_cut_off_keeps_nothing() {
        let stopped = Message::Trouble(CaptureError::Stopped { why: "unplugged".to_owned() });
        let (recorded, seconds) = recorded(vec![lost(10.0), stopped]);
        assert_eq!((recorded.kept, seconds), (false, 0.0));
        assert_eq!(recorded.lost_ms, 0.0);
    }

    #[test]
    fn lost_time_is_told_as_far_as_it_is_known() {
        let text = |lost_ms, gaps| lost_time(lost_ms, gaps).text;
        assert!(
            text(120.0, 0).contains("too slow for this take: 120 ms of it are silence."),
            "{}",
            text(120.0, 0)
        );
        assert!(text(0.0, 1).contains(": once the sound system lost a moment, and"), "{}", text(0.0, 1));
        let both = text(20.0, 3);
        assert!(
            both.contains("20 ms of it are silence, and 3 times the sound system lost a moment"),
            "{both}"
        );
        assert_eq!(lost_time(1.0, 0).code, "lost-time");
    }
}
