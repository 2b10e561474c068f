//! Repeat signs, endings and jumps become the order in which the bars are played.
//!
//! As musicians read them (common practice; MusicXML 4.0, elements `repeat`, `ending` and `sound`;
//! ABC 2.1, 4.8 to 4.9): a section between repeat signs is played twice, or as often as the sign says;
//! of the bars under numbered brackets each time takes its own; after a da capo or dal segno repeats
//! are not taken again and the last ending is played.

use super::draft::{DraftBar, Jump};
use super::error::{Fault, FormatErrorKind};

/// No melody has more played bars than this.
const MOST_BARS: usize = 20_000;

/// Indices into `bars` in playing order.
pub(crate) fn playing_order(bars: &[DraftBar]) -> Result<Vec<usize>, Fault> {
    let mut order = Vec::with_capacity(bars.len());
    let (mut section, mut pass, mut at) = (0, 1, 0);
    let mut jumped = false;
    while at < bars.len() {
        let marks = &bars[at].marks;
        if marks.repeat_start && section != at {
            (section, pass) = (at, 1);
        }
        let in_ending = !marks.endings.is_empty();
        if in_ending {
            let last = last_ending(bars, at);
            let wanted = if jumped { last } else { pass };
            if !marks.endings.contains(&wanted) {
                at += 1;
                continue;
            }
        }
        order.push(at);
        if order.len() > MOST_BARS {
            let message = format!("with its repeats this is longer than {MOST_BARS} bars");
            return Err(
                Fault::new(FormatErrorKind::TooBig, message, "Take out repeats.").at(bars[at].span.clone())
            );
        }
        if jumped && marks.fine {
            return Ok(order);
        }
        if jumped && marks.to_coda {
            match bars.iter().position(|bar| bar.marks.coda) {
                Some(coda) if coda > at => {
                    at = coda;
                    continue;
                }
                _ => return Err(contradiction(bars, at, "“to coda” has no coda after it")),
            }
        }
        if let (Some(times), false) = (marks.repeat_end, jumped) {
            // Under brackets the highest number counts, elsewhere the sign's own.
            let last = if in_ending { last_ending(bars, at) } else { 1 };
            let again = pass < if last > 1 { last } else { times };
            if again {
                pass += 1;
                at = section;
                continue;
            }
            (section, pass) = (at + 1, 1);
        } else if in_ending && bars.get(at + 1).is_none_or(|next| next.marks.endings.is_empty()) {
            (section, pass) = (at + 1, 1);
        }
        if let (Some(jump), false) = (marks.jump, jumped) {
            jumped = true;
            pass = 1;
            at = match jump {
                Jump::DaCapo => 0,
                Jump::DalSegno => match bars.iter().position(|bar| bar.marks.segno) {
                    Some(segno) if segno <= at => segno,
                    _ => return Err(contradiction(bars, at, "“dal segno” has no sign before it")),
                },
            };
            section = at;
            continue;
        }
        at += 1;
    }
    let mut played = vec![false; bars.len()];
    order.iter().for_each(|&bar| played[bar] = true);
    match played.iter().position(|&played| !played) {
        Some(missed) => Err(contradiction(bars, missed, "this bar would never be played")),
        None => Ok(order),
    }
}

/// The highest number in the run of ending brackets around a bar.
fn last_ending(bars: &[DraftBar], at: usize) -> u32 {
    let has = |bar: &&DraftBar| !bar.marks.endings.is_empty();
    let before = bars[..at].iter().rev().take_while(has);
    let after = bars[at..].iter().take_while(has);
    before.chain(after).flat_map(|bar| bar.marks.endings.iter().copied()).max().unwrap_or(1)
}

fn contradiction(bars: &[DraftBar], at: usize, what: &str) -> Fault {
    let message = format!("the repeat signs contradict each other: {what}");
    let help = "Write the bars out as they are played, without repeat signs.";
    let fault = Fault::new(FormatErrorKind::Repeats, message, help).at(bars[at].span.clone());
    match bars[at].number {
        Some(number) => fault.in_bar(number, 1.into()),
        None => fault,
    }
}

#[cfg(test)]
mod tests {
    use super::super::draft::Marks;
    use super::*;
    use crate::notation::{Key, Metre};

    fn bars(marks: Vec<Marks>) -> Vec<DraftBar> {
        let bar = |(at, marks): (usize, Marks)| DraftBar {
            number: Some(at as u32 + 1),
            offset: None,
            metre: Metre::default(),
            measured: true,
            key: Key::default(),
            items: Vec::new(),
            marks,
            span: 0..0,
        };
        marks.into_iter().enumerate().map(bar).collect()
    }

    fn plain() -> Marks {
        Marks::default()
    }

    fn ending(numbers: &[u32], repeat_end: Option<u32>) -> Marks {
        Marks { endings: numbers.to_vec(), repeat_end, ..plain() }
    }

    fn start() -> Marks {
        Marks { repeat_start: true, ..plain() }
    }

    fn end(times: u32) -> Marks {
        Marks { repeat_end: Some(times), ..plain() }
    }

    #[test]
    fn a_repeated_section_is_played_twice_and_what_follows_once() {
        assert_eq!(playing_order(&bars(vec![plain(), end(2), plain()])).unwrap(), [0, 1, 0, 1, 2]);
        assert_eq!(playing_order(&bars(vec![plain(), start(), end(3)])).unwrap(), [0, 1, 2, 1, 2, 1, 2]);
    }

    #[test]
    fn each_time_takes_its_own_ending() {
        let marks = vec![plain(), ending(&[1], Some(2)), ending(&[2], None), plain()];
        assert_eq!(playing_order(&bars(marks)).unwrap(), [0, 1, 0, 2, 3]);
        let marks = vec![start(), ending(&[1, 2], Some(2)), ending(&[3], Some(2)), plain(), end(2)];
        assert_eq!(playing_order(&bars(marks)).unwrap(), [0, 1, 0, 1, 0, 2, 3, 4, 3, 4]);
    }

    #[test]
    fn da_capo_al_fine_ends_at_fine_without_repeats() {
        let fine = Marks { fine: true, repeat_end: Some(2), ..plain() };
        let back = Marks { jump: Some(Jump::DaCapo), ..plain() };
        assert_eq!(playing_order(&bars(vec![plain(), fine, back])).unwrap(), [0, 1, 0, 1, 2, 0, 1]);
    }

    #[test]
    fn dal_segno_al_coda_leaps_to_the_coda() {
        let segno = Marks { segno: true, ..plain() };
        let to_coda = Marks { to_coda: true, ..plain() };
        let back = Marks { jump: Some(Jump::DalSegno), ..plain() };
        let coda = Marks { coda: true, ..plain() };
        let order = playing_order(&bars(vec![plain(), segno, to_coda, back, coda])).unwrap();
        assert_eq!(order, [0, 1, 2, 3, 1, 2, 4]);
    }

    #[test]
    fn bars_that_would_never_be_played_are_a_contradiction() {
        let fault = playing_order(&bars(vec![plain(), ending(&[2], None)])).unwrap_err();
        assert_eq!(fault.kind, FormatErrorKind::Repeats);
        let endless = playing_order(&bars(vec![end(u32::MAX)])).unwrap_err();
        assert_eq!(endless.kind, FormatErrorKind::TooBig);
    }
}
