//! A draft becomes a melody: bars get their numbers, repeats are played out, ties joined.

use super::draft::{Draft, DraftBar, DraftItem, Tempo, shortened};
use super::error::{Fault, FormatErrorKind};
use super::playing_order::playing_order;
use crate::notation::{
    Bar, Event, EventKind, Instrument, Item, LONGEST, Length, Melody, Metre, Sheet, beats_text,
    below_lowest_string, moved, moved_key,
};
use crate::remark::Remark;

/// A melody and what a reader should know about how it was read.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadMelody {
    /// The melody.
    pub melody: Melody,
    /// What was left out, filled in or decided on the way; most name bar and beat.
    pub remarks: Vec<Remark>,
}

/// The whole melody is at most this many whole notes long.
const LONGEST_MELODY: i64 = 100 * LONGEST;

pub(crate) fn melody_from_draft(mut draft: Draft) -> Result<ReadMelody, Fault> {
    let Some(first) = draft.bars.first() else { return Err(no_notes()) };
    let metre = first.metre;
    let places = number_bars(&mut draft);
    let order = playing_order(&draft.bars)?;
    if order.len() > draft.bars.len() {
        let text = format!(
            "The repeats are written out: {} on the sheet {} {} to play.",
            bars(draft.bars.len()),
            if draft.bars.len() == 1 { "is" } else { "are" },
            bars(order.len())
        );
        draft.remarks.push(Remark::new("repeats-expanded", text));
    }
    let tempo = draft.tempo.and_then(|tempo| playable(tempo, metre, &mut draft.remarks));
    let bpm = tempo.map(|tempo| beats_a_minute(tempo, metre));
    let (events, bars) = play(&mut draft, &places, &order)?;
    if !events.iter().any(|event| matches!(event.kind, EventKind::Note { .. })) {
        return Err(no_notes());
    }
    let sheet =
        Sheet { composer: draft.composer, clef: draft.clef, says_sounding: draft.says_sounding, bars };
    let melody =
        Melody { title: draft.title, instrument: draft.instrument, bpm, a4: draft.a4, metre, events, sheet };
    let mut remarks = draft.remarks;
    remarks.extend(below_lowest_string(&melody));
    Ok(ReadMelody { melody, remarks: shortened(remarks) })
}

fn no_notes() -> Fault {
    Fault::new(FormatErrorKind::NoNotes, "there is not a single note in it", "Write at least one note.")
}

fn bars(count: usize) -> String {
    format!("{count} bar{}", if count == 1 { "" } else { "s" })
}

/// Beats of the metre a minute.
fn beats_a_minute(tempo: Tempo, metre: Metre) -> f64 {
    let beats = tempo.unit / metre.beat();
    tempo.per_minute * (*beats.numer() as f64) / (*beats.denom() as f64)
}

/// The tempo, if somebody can play to it; else a remark that it is left out.
pub(crate) fn playable(tempo: Tempo, metre: Metre, remarks: &mut Vec<Remark>) -> Option<Tempo> {
    let bpm = beats_a_minute(tempo, metre);
    if metre.playable_bpm().contains(&bpm) {
        return Some(tempo);
    }
    let beats = if bpm == 1.0 { "beat" } else { "beats" };
    let text = format!("A tempo of {bpm} {beats} a minute cannot be played; I left it out.");
    remarks.push(Remark::new("tempo-unplayable", text));
    None
}

/// Bar number and offset of each bar of the file.
fn number_bars(draft: &mut Draft) -> Vec<(u32, Length)> {
    let zero = Length::from_integer(0);
    let mut places: Vec<(u32, Length)> = Vec::with_capacity(draft.bars.len());
    for at in 0..draft.bars.len() {
        let bar = &draft.bars[at];
        let (full, filled) = (bar.metre.bar(), bar.filled());
        let short = bar.measured && filled < full;
        let before = at.checked_sub(1).map(|before| &draft.bars[before]);
        let reached = before.map(|before| places[at - 1].1 + before.filled());
        let same_number = at > 0 && bar.number == Some(places[at - 1].0);
        // The second half of a bar that a repeat sign or a line break cuts in two.
        let continues = short
            && before.is_some_and(|before| before.measured && before.metre == bar.metre)
            && reached.is_some_and(|reached| {
                reached < full
                    && (reached + filled == full || (same_number && reached + filled < full))
                    && (bar.number.is_none() || same_number)
            });
        let opens = before.is_none_or(|before| before.marks.repeat_end.is_some() || before.marks.section_end)
            || bar.marks.repeat_start;
        let next_is_full = draft.bars.get(at + 1).is_some_and(|next| next.filled() == next.metre.bar());
        let natural = if continues {
            reached.unwrap_or(zero)
        } else if short
            && opens
            && draft.bars.len() > 1
            && (at == 0 || (next_is_full && bar.marks.endings.is_empty()))
        {
            full - filled
        } else {
            zero
        };
        // A bar begins as late as it says where it fits in then.
        let offset = bar.offset.filter(|&offset| offset < full && offset + filled <= full).unwrap_or(natural);
        let number = bar.number.unwrap_or(match places.last() {
            None if short && draft.bars.len() > 1 => 0,
            None => 1,
            Some((number, _)) if continues => *number,
            Some((number, _)) => number.saturating_add(1),
        });
        places.push((number, offset));
    }
    // A pickup that carries the number of the first full bar is bar 0; a short bar that is written twice is not.
    if let [first, second, ..] = &mut places[..]
        && (first.0, second.0) == (1, 1)
        && first.1 > zero
        && second.1 == zero
    {
        first.0 = 0;
    }
    remark_on_odd_bars(draft, &places);
    places
}

fn remark_on_odd_bars(draft: &mut Draft, places: &[(u32, Length)]) {
    let zero = Length::from_integer(0);
    let mut remarks = Vec::new();
    for (at, bar) in draft.bars.iter().enumerate() {
        let (full, filled) = (bar.metre.bar(), bar.filled());
        let edge = at == 0 || at + 1 == draft.bars.len();
        let signs = bar.marks.repeat_end.is_some() || bar.marks.repeat_start || bar.marks.section_end;
        let cut = places[at].1 > zero || places.get(at + 1).is_some_and(|next| next.1 > zero);
        let odd = filled > full || (filled < full && !edge && !signs && !cut);
        if bar.measured && odd && bar.offset.is_none() {
            let text = format!(
                "Bar {} holds {} where {} has {}; I took it as it stands.",
                places[at].0,
                beats_text(filled / bar.metre.beat()),
                bar.metre,
                bar.metre.beats
            );
            remarks.push(Remark::new("odd-bar", text));
        }
    }
    draft.remarks.extend(remarks);
}

/// Bars in playing order, and their events.
fn play(
    draft: &mut Draft,
    places: &[(u32, Length)],
    order: &[usize],
) -> Result<(Vec<Event>, Vec<Bar>), Fault> {
    let mut events: Vec<Event> = Vec::new();
    let mut bars: Vec<Bar> = Vec::with_capacity(order.len());
    let mut now = Length::from_integer(0);
    let mut tie: Option<(usize, usize)> = None;
    let mut remarks = Vec::new();
    for &at in order {
        let bar = &draft.bars[at];
        let (number, offset) = places[at];
        let mut items = Vec::with_capacity(bar.items.len());
        let mut within = offset;
        for item in &bar.items {
            let beat = within / bar.metre.beat() + Length::from_integer(1);
            let kind = event_kind(draft, bar, item)
                .map_err(|fault| fault.at(item.span.clone()).in_bar(number, beat))?;
            let joined = match (tie.take(), kind, events.last_mut()) {
                (None, ..) => false,
                (Some(_), EventKind::Note { sounding, .. }, Some(last)) if sounds(last) == Some(sounding) => {
                    last.length += item.length;
                    true
                }
                (Some((bar_before, item_before)), ..) => {
                    untie(&mut bars, &mut items, bar_before, item_before);
                    let text = format!(
                        "Bar {number}, beat {}: the tie before it does not lead to the same note; I read it as two notes.",
                        crate::notation::beat_text(beat)
                    );
                    remarks.push(Remark::new("loose-tie", text));
                    false
                }
            };
            if !joined {
                events.push(Event { bar: number, beat, start: now, length: item.length, kind });
            }
            if item.tie_start && item.pitch.is_some() {
                tie = Some((bars.len(), items.len()));
            }
            let pitch = match kind {
                EventKind::Note { written, .. } => Some(written),
                EventKind::Rest => None,
            };
            items.push(Item {
                length: item.length,
                pitch,
                tied: item.tie_start && pitch.is_some(),
                // A finger over a rest plays nothing.
                finger: item.finger.filter(|_| item.pitch.is_some()),
            });
            now += item.length;
            within += item.length;
            if now > Length::from_integer(LONGEST_MELODY) {
                let message = format!("it is longer than {LONGEST_MELODY} whole notes");
                return Err(Fault::new(FormatErrorKind::TooBig, message, "Write a shorter melody.")
                    .at(item.span.clone())
                    .in_bar(number, beat));
            }
        }
        let key = moved_key(bar.key, draft.to_written);
        bars.push(Bar { number, offset, metre: bar.metre, key, items });
    }
    if let Some((bar, item)) = tie {
        untie(&mut bars, &mut [], bar, item);
        remarks.push(Remark::new("loose-tie", "The tie at the very end leads nowhere; I left it out."));
    }
    draft.remarks.extend(remarks);
    Ok((events, bars))
}

fn sounds(event: &Event) -> Option<i32> {
    match event.kind {
        EventKind::Note { sounding, .. } => Some(sounding),
        EventKind::Rest => None,
    }
}

fn untie(bars: &mut [Bar], current: &mut [Item], bar: usize, item: usize) {
    let items = bars.get_mut(bar).map(|bar| &mut bar.items[..]).unwrap_or(current);
    if let Some(item) = items.get_mut(item) {
        item.tied = false;
    }
}

fn event_kind(draft: &Draft, bar: &DraftBar, item: &DraftItem) -> Result<EventKind, Fault> {
    let Some(pitch) = item.pitch else { return Ok(EventKind::Rest) };
    let sounding = pitch.midi() + draft.to_sounding;
    let written = moved(pitch, draft.to_written, bar.key);
    if !(0..=127).contains(&sounding) || !(0..=139).contains(&written.midi()) {
        let message = format!("{pitch} is outside everything that can be heard or played");
        return Err(Fault::new(FormatErrorKind::Pitch, message, "Check the octave number: middle C is C4."));
    }
    Ok(EventKind::Note { written, sounding })
}

/// How the file's pitches are written and sound, for a file that says nothing about it: the bass is
/// taken as written, or as sounding where the octave below would go under its lowest string.
pub(crate) fn settle_by_habit(draft: &mut Draft) {
    let Some(instrument) = draft.instrument else { return };
    let shift = instrument.sounding_shift();
    (draft.to_written, draft.to_sounding) = (0, shift);
    if instrument != Instrument::Bass {
        return;
    }
    let lowest =
        draft.bars.iter().flat_map(|bar| &bar.items).filter_map(|item| item.pitch).map(|p| p.midi()).min();
    let bottom = instrument.open_strings()[0];
    if lowest.is_some_and(|lowest| lowest + shift < bottom && lowest >= bottom) {
        (draft.to_written, draft.to_sounding) = (-shift, 0);
        draft.says_sounding = true;
        let text = "An octave below what is written would be under the bass's lowest string, so I took the \
                    notes of the file as they sound.";
        draft.remarks.push(Remark::new("bass-sounding-pitch", text));
    } else {
        let text = "The file does not say how the bass sounds, so I took its notes as written: they sound an \
                    octave lower.";
        draft.remarks.push(Remark::new("bass-written-pitch", text));
    }
}
