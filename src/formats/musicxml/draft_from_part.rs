//! One part, bar by bar, becomes a draft: what holds from bar to bar is kept here.

use super::super::draft::{Draft, DraftBar, DraftItem};
use super::super::error::{Fault, FormatErrorKind};
use super::bar_numbers::{BarNumbers, is_implicit};
use super::draft_from_score::opening;
use super::measure::{ReadMeasure, Timed, read_measure};
use super::parts::Part;
use crate::notation::{Clef, Key, Length, Metre};

/// What one bar hands to the next.
#[derive(Default, Clone)]
pub(super) struct Running {
    /// Divisions of a quarter note, as a fraction.
    pub divisions: Option<(i64, i64)>,
    pub metre: Metre,
    /// Whether bars have to be as long as the metre says.
    pub measured: bool,
    pub key: Key,
    pub clef: Option<(Clef, i32)>,
    /// Semitones of the part's transposition.
    pub transpose: Option<i32>,
    /// Endings under whose bracket the bars stand.
    pub endings: Vec<u32>,
    /// The bar's printed number.
    pub number: u32,
    pub seen_note: bool,
    /// Bars in which a bar-repeat sign stands for the music.
    pub bar_repeat: bool,
}

pub(super) fn draft_from_part(part: &Part) -> Result<Draft, Fault> {
    let mut draft = Draft::default();
    let mut running = Running { measured: true, ..Running::default() };
    let mut numbers = BarNumbers::default();
    for (at, measure) in part.measures.iter().enumerate() {
        let empty = |number| DraftBar {
            number: Some(number),
            offset: None,
            metre: Metre::default(),
            measured: true,
            key: Key::default(),
            items: Vec::new(),
            marks: Default::default(),
            span: opening(measure.head),
        };
        let is_full = || {
            let (mut ahead, mut bar) = (running.clone(), empty(0));
            let read = read_measure(&mut Draft::default(), &mut ahead, &mut bar, measure.body);
            read.is_ok_and(|read| bar.measured && read.reached >= bar.metre.bar())
        };
        let before = numbers;
        let (number, remark) = numbers.next(measure.head, at, is_full);
        draft.remarks.extend(remark);
        running.number = number;
        let offset = offset_said(measure.body);
        let mut bar = empty(number);
        let read = read_measure(&mut draft, &mut running, &mut bar, measure.body)
            .map_err(|fault| fault.at(opening(measure.head)).in_bar(number, 1.into()))?;
        bar.offset = offset.map(|beat| (beat - Length::from_integer(1)) * bar.metre.beat());
        let only_cues = !read.cues.is_empty();
        bar.items = one_voice(&mut draft, &bar, read)?;
        if bar.items.is_empty() {
            if is_implicit(measure.head) || part.measures.len() == 1 {
                numbers = before;
                continue;
            }
            let length = bar.metre.bar();
            let text = match only_cues {
                true => "only cue notes are written in this bar; I read a bar of rest.",
                false => "nothing is written in this bar; I read a bar of rest.",
            };
            draft.remark("empty-bar", number, 1.into(), text);
            bar.items.push(rest(length, &bar));
        }
        draft.bars.push(bar);
    }
    if let Some((clef, octaves)) = running.clef {
        draft.clef = Some(clef);
        draft.says_octave_clef = octaves != 0;
    }
    draft.says_sounding = running.transpose.is_some() || draft.says_octave_clef;
    draft.to_sounding = running.transpose.unwrap_or(0);
    Ok(draft)
}

/// The beat that our own writer notes where it would not be worked out from the bars around.
fn offset_said(body: roxmltree::Node) -> Option<Length> {
    let said = body.children().find_map(|child| child.pi().filter(|pi| pi.target == "fingertape"))?;
    let beat = said.value?.trim().strip_prefix("beat=")?;
    let (numerator, denominator) = beat.split_once('/').unwrap_or((beat, "1"));
    let (numerator, denominator): (i64, i64) = (numerator.parse().ok()?, denominator.parse().ok()?);
    crate::notation::checked_length(numerator, denominator).filter(|beat| *beat >= Length::from_integer(1))
}

fn rest(length: Length, bar: &DraftBar) -> DraftItem {
    DraftItem { length, pitch: None, tie_start: false, finger: None, span: bar.span.clone() }
}

/// The notes of all voices as one line; where two sound at once there is no such line.
fn one_voice(draft: &mut Draft, bar: &DraftBar, read: ReadMeasure) -> Result<Vec<DraftItem>, Fault> {
    let ReadMeasure { mut timed, reached, cues } = read;
    let number = bar.number.unwrap_or(0);
    let beat = |start: Length| start / bar.metre.beat() + Length::from_integer(1);
    timed.sort_by_key(|timed| timed.start);
    let (notes, mut rests): (Vec<Timed>, Vec<Timed>) =
        timed.into_iter().partition(|timed| timed.item.pitch.is_some());
    for pair in notes.windows(2) {
        if pair[0].start + pair[0].item.length > pair[1].start {
            let voices = (&pair[0].voice, &pair[1].voice);
            let message = if voices.0 == voices.1 {
                format!("two notes of voice {} sound at once", voices.0)
            } else {
                format!("a second voice begins: voices {} and {} sound at once", voices.0, voices.1)
            };
            let help = "A melody has one note at a time. Take out the other voice and export again.";
            return Err(Fault::new(FormatErrorKind::SecondVoice, message, help)
                .at(pair[1].item.span.clone())
                .in_bar(number, beat(pair[1].start)));
        }
    }
    let main = notes.first().or(rests.first()).map(|timed| timed.voice.clone());
    rests.sort_by_key(|rest| (Some(&rest.voice) != main.as_ref(), rest.start));
    let mut line = notes;
    for rest in rests {
        let (from, to) = (rest.start, rest.start + rest.item.length);
        let free = line.iter().all(|other| other.start + other.item.length <= from || other.start >= to);
        if free {
            line.push(rest);
        }
    }
    line.sort_by_key(|timed| timed.start);
    let mut items = Vec::with_capacity(line.len());
    let mut now = Length::from_integer(0);
    let any = !line.is_empty();
    let mut gap = |from: Length, to: Length| {
        let text = match cues.iter().any(|cue| cue.start < to && cue.end > from) {
            true => "only a cue note is written here; I read a rest.",
            false => "nothing is written here; I read a rest.",
        };
        draft.remark("gap", number, beat(from), text);
        self::rest(to - from, bar)
    };
    for timed in line {
        if timed.start > now {
            items.push(gap(now, timed.start));
        }
        now = timed.start + timed.item.length;
        items.push(timed.item);
    }
    if any && reached > now {
        items.push(gap(now, reached));
    }
    Ok(items)
}
