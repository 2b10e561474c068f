//! One part, bar by bar, becomes a draft: what holds from bar to bar is kept here.

use super::super::draft::{Draft, DraftBar, DraftItem};
use super::super::error::{Fault, FormatErrorKind};
use super::draft_from_score::opening;
use super::measure::{Timed, read_measure};
use super::parts::Part;
use crate::notation::{Clef, Key, Length, Metre};

/// What one bar hands to the next.
#[derive(Default)]
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
    let mut natural = 0;
    for (at, measure) in part.measures.iter().enumerate() {
        let (number, implicit) = printed_number(measure.head, at, natural);
        running.number = number;
        natural = number;
        let offset = offset_said(measure.body);
        let mut bar = DraftBar {
            number: Some(number),
            offset: None,
            metre: running.metre,
            measured: true,
            key: running.key,
            items: Vec::new(),
            marks: Default::default(),
            span: opening(measure.head),
        };
        let (timed, reached) = read_measure(&mut draft, &mut running, &mut bar, measure.body)
            .map_err(|fault| fault.at(opening(measure.head)).in_bar(number, 1.into()))?;
        bar.metre = running.metre;
        bar.measured = running.measured;
        bar.key = running.key;
        bar.offset = offset.map(|beat| (beat - Length::from_integer(1)) * bar.metre.beat());
        bar.items = one_voice(&mut draft, &bar, timed, reached)?;
        if bar.items.is_empty() {
            if implicit || part.measures.len() == 1 {
                continue;
            }
            let length = bar.metre.bar();
            draft.remark(
                "empty-bar",
                number,
                1.into(),
                "nothing is written in this bar; I read a bar of rest.",
            );
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

/// The bar's number as printed: the file's own, or, where that is not a number (`X1`), that of the bar
/// before.
fn printed_number(head: roxmltree::Node, at: usize, before: u32) -> (u32, bool) {
    let implicit = head.attribute("implicit") == Some("yes");
    let said = head
        .attribute("number")
        .and_then(|number| number.trim().parse().ok())
        .filter(|&n: &u32| n < 1_000_000);
    let number = said.unwrap_or(match (at, implicit) {
        (0, true) => 0,
        (0, false) => 1,
        (_, true) => before,
        (_, false) => before.saturating_add(1),
    });
    (number, implicit)
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
fn one_voice(
    draft: &mut Draft,
    bar: &DraftBar,
    mut timed: Vec<Timed>,
    reached: Length,
) -> Result<Vec<DraftItem>, Fault> {
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
    for timed in line {
        if timed.start > now {
            draft.remark("gap", number, beat(now), "nothing is written here; I read a rest.");
            items.push(self::rest(timed.start - now, bar));
        }
        now = timed.start + timed.item.length;
        items.push(timed.item);
    }
    if any && reached > now {
        draft.remark("gap", number, beat(now), "nothing is written here; I read a rest.");
        items.push(self::rest(reached - now, bar));
    }
    Ok(items)
}
