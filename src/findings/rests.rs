//! Whether each rest was kept: from onsets at the local tempo, and from what sounded in it.

use super::played::PlayedNote;
use super::report::{ExtraFinding, RestFinding, RestVerdict};
use super::timing::OwnBeat;
use crate::align::WrittenNote;
use crate::notation::{EventKind, Melody, as_f64};

/// What is known about the span over one written rest (or several in a row).
#[derive(Debug, Clone, Copy, PartialEq)]
struct RestSpan {
    /// Written length of the rest in beats.
    written: f64,
    /// From the onset of the note before to the onset of the note after, as written, in beats.
    span: f64,
    /// The same as played at the local tempo, in beats.
    played_span: f64,
    /// Silence (nothing bowed that is written) before the note after, in beats at the local tempo.
    silence: f64,
    /// Where extra notes sound in it: the longest silence that they leave.
    beside_extra: Option<f64>,
}

/// A rest given less than this share of its length is rushed.
const RUSHED_BELOW: f64 = 0.67;
/// A rest given more than this share of its length is stretched.
const STRETCHED_ABOVE: f64 = 1.4;
/// A rest with less silence than this share of its length is filled.
const FILLED_BELOW: f64 = 0.25;

/// A rest that is kept but for its silence is not called kept with less silence than this share of its length: the note
/// before may have been held through most of it.
const NOT_FILLED_ABOVE: f64 = 0.4;
/// A rest that is rushed but for its silence is not called kept with less silence than this share of its length.
const SILENT_ENOUGH: f64 = 0.8;
/// The beat of the notes of one length is another one where it is so many times as long or as short.
const ANOTHER_BEAT: f64 = 1.4;

/// What a rest is judged by.
pub(super) struct Around<'a> {
    /// The written notes.
    pub notes: &'a [WrittenNote],
    /// What was played, in order of time.
    pub played: &'a [PlayedNote],
    /// For each written note the last place in `played` that is it.
    pub last: &'a [Option<usize>],
    /// What was played beside the melody.
    pub extra: &'a [ExtraFinding],
    /// The player's own beat.
    pub own: &'a OwnBeat,
}

/// Each written rest of a melody with its verdict.
pub(super) fn rest_findings(melody: &Melody, around: &Around<'_>) -> Vec<RestFinding> {
    let events = melody.events.iter().enumerate().filter(|(_, e)| matches!(e.kind, EventKind::Rest));
    events
        .map(|(index, event)| {
            let written_beats = as_f64(event.length / melody.metre.beat());
            let (verdict, share, confidence) =
                around.verdict_on(index).unwrap_or((RestVerdict::Unsure, None, 0.5));
            RestFinding {
                index,
                bar: event.bar,
                beat: as_f64(event.beat),
                written_beats,
                played_beats: share.map(|share| share * written_beats),
                verdict,
                confidence,
            }
        })
        .collect()
}

impl Around<'_> {
    /// The verdict on the rest at an event, the share of its length that was played, where that can be told, and the
    /// confidence; nothing where no two onsets measure it.
    fn verdict_on(&self, event: usize) -> Option<(RestVerdict, Option<f64>, f64)> {
        let notes = self.notes;
        let before = notes.iter().rposition(|n| n.event < event);
        let after = notes.iter().position(|n| n.event > event);
        let (Some(before), Some(after)) = (before, after) else {
            // At either end of the melody a rest has no second onset to measure it by.
            return Some((RestVerdict::Kept, None, 0.6));
        };
        // One long bow for two notes before the rest: the first of them tells when it began.
        let long_bow =
            self.last[before].is_none() && before > 0 && notes[before - 1].midi == notes[before].midi;
        let begun = if long_bow { before - 1 } else { before };
        let (b, a) = (self.last[begun]?, self.last[after]?);
        if a <= b || self.played[b + 1..=a].iter().any(PlayedNote::returns) {
            return None;
        }
        let local = self.own.local(0.5 * (notes[begun].start + notes[after].start), &[after])?;
        let (onset, from, to) =
            (self.played[b].onset.0, self.played[b].bow_until.0, self.played[a].bow_from.0);
        let inside = self.extra.iter().filter(|x| x.onset_s > from - 0.05 && x.onset_s < to - 0.05);
        let beside_extra = longest_silence(from, inside, to);
        let at_beat = |beat: f64| RestSpan {
            written: notes[after].start - notes[before].start - notes[before].length,
            span: notes[after].start - notes[begun].start,
            played_span: (to - onset) / beat,
            silence: (to - from) / beat,
            beside_extra: beside_extra.map(|seconds| seconds / beat),
        };
        let span = at_beat(local);
        // Instead of a long bow the second note may have been left out together with its time, or it was the first that
        // was left out: then there is more silence than rest.
        if long_bow && (span.left() < RUSHED_BELOW * span.written || span.silence > span.left()) {
            return None;
        }
        let judged_at = |beat: f64| judge_rest(at_beat(beat).beside_what_is_too_much());
        let span = span.beside_what_is_too_much();
        let (verdict, played, confidence) = judge_rest(span);
        // A child who plays halves as long as quarters has a beat for each, and the rest may have been measured by either.
        let of_time = matches!(verdict, RestVerdict::Rushed | RestVerdict::Stretched);
        let another = |beat: &f64| !(1.0 / ANOTHER_BEAT..ANOTHER_BEAT).contains(&(beat / local));
        let mut others = self.own.of_each_length().filter(another);
        // One who speeds up and slows down has one beat around it and another for the whole take.
        let at_whole = || self.own.whole().map(|beat| judged_at(beat).0);
        let only_here = verdict == RestVerdict::Stretched && at_whole().is_some_and(|whole| whole != verdict);
        let contradicted = of_time && others.any(|beat| judged_at(beat).0 != verdict) || only_here;
        if contradicted || span.is_half_rushed() || (verdict == RestVerdict::Kept && span.is_half_filled()) {
            return None;
        }
        Some((verdict, Some(played / span.written), confidence))
    }
}

/// The longest silence (seconds) that sounds between two moments leave; nothing where there is no sound.
fn longest_silence<'a>(from: f64, sounds: impl Iterator<Item = &'a ExtraFinding>, to: f64) -> Option<f64> {
    let (mut until, mut longest) = (from, None);
    for sound in sounds {
        longest = Some((sound.onset_s - until).max(longest.unwrap_or(0.0)));
        until = until.max(sound.offset_s);
    }
    longest.map(|before: f64| before.max(to - until))
}

impl RestSpan {
    /// The same, measured by the silence beside extra notes where that is long enough: a note begun twice, or bowed twice,
    /// does not sound in the rest.
    fn beside_what_is_too_much(self) -> Self {
        match self.beside_extra {
            Some(silence) if silence >= RUSHED_BELOW * self.written => {
                Self { silence, beside_extra: None, ..self }
            }
            _ => self,
        }
    }

    /// What of the time between the onsets is left for it when the note before had its written length, in beats.
    fn left(&self) -> f64 {
        (self.written + self.played_span - self.span).max(0.0)
    }

    /// Whether it is rushed by the onsets and not quite by its silence.
    fn is_half_rushed(&self) -> bool {
        self.left() < RUSHED_BELOW * self.written
            && (RUSHED_BELOW..SILENT_ENOUGH).contains(&(self.silence / self.written))
    }

    /// Whether there is hardly more silence in it than in one that is filled.
    fn is_half_filled(&self) -> bool {
        self.silence < NOT_FILLED_ABOVE * self.written
    }

    /// How long it was, in beats: as long as is left for it, or as the silence, if that is nearer to what is written. A note
    /// that was cut short or held on is no mistake in the rest after it.
    fn played(&self) -> f64 {
        let (left, written) = (self.left(), self.written);
        if left < written { left.max(self.silence.min(written)) } else { left.min(self.silence.max(written)) }
    }
}

/// The verdict on one rest, its played length in beats and the confidence.
fn judge_rest(rest: RestSpan) -> (RestVerdict, f64, f64) {
    let played = rest.played();
    let share = played / rest.written;
    let silent = rest.silence / rest.written;
    if rest.beside_extra.is_some() && share >= RUSHED_BELOW {
        return (RestVerdict::Filled, played, 0.8);
    }
    let (verdict, distance) = if share < RUSHED_BELOW {
        (RestVerdict::Rushed, RUSHED_BELOW - share)
    } else if silent < FILLED_BELOW {
        (RestVerdict::Filled, (FILLED_BELOW - silent) * 2.0)
    } else if share > STRETCHED_ABOVE {
        (RestVerdict::Stretched, share - STRETCHED_ABOVE)
    } else {
        (
            RestVerdict::Kept,
            (share - RUSHED_BELOW).min(STRETCHED_ABOVE - share).min((silent - FILLED_BELOW) * 2.0),
        )
    };
    let confidence = 1.0 - 0.5 * (-distance / 0.08).exp();
    (verdict, played, confidence)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::align::{StepKind, written_notes};
    use crate::findings::timing::Beat;
    use crate::notation::{Event, Length};

    /// A written note of one beat.
    fn note(event: usize, midi: i32) -> WrittenNote {
        WrittenNote { event, midi, start: event as f64, length: 1.0, opens_bar: false, bar: 1 }
    }

    /// A written note as it was played.
    fn step(note: usize, onset: f64, offset: f64, restart: bool) -> PlayedNote {
        PlayedNote::sounding(StepKind::Written { note, restart }, onset, offset)
    }

    /// A player whose beat lasts so many seconds.
    fn steady(beat: f64) -> OwnBeat {
        let beats = (0..8).map(|n| {
            let at = 10.0 + f64::from(n);
            Beat { note: 10 + n as usize, at, until: at + 1.0, onset: beat * at, attempt: 1 }
        });
        OwnBeat::new(beats.collect())
    }

    /// The verdict on the rest in two notes of one pitch, a rest and another note, a beat of one second each: each
    /// written note that was played with its onset and offset, and extra notes that begin at some times.
    fn verdict_beside(
        extra: &[f64],
        played: &[(usize, f64, f64)],
    ) -> Option<(RestVerdict, Option<f64>, f64)> {
        let extra_note = |&onset_s: &f64| ExtraFinding {
            onset_s,
            offset_s: onset_s + 0.2,
            played_midi: 60.0,
            after_index: Some(1),
        };
        let notes = [note(0, 57), note(1, 57), note(3, 59)];
        let mut last = [None; 3];
        for (k, (note, ..)) in played.iter().enumerate() {
            last[*note] = Some(k);
        }
        let played: Vec<PlayedNote> =
            played.iter().map(|&(note, onset, offset)| step(note, onset, offset, false)).collect();
        let extra: Vec<ExtraFinding> = extra.iter().map(extra_note).collect();
        let own = steady(1.0);
        Around { notes: &notes, played: &played, last: &last, extra: &extra, own: &own }.verdict_on(2)
    }

    fn verdict(played: &[(usize, f64, f64)]) -> Option<(RestVerdict, Option<f64>, f64)> {
        verdict_beside(&[], played)
    }

    #[test]
    fn after_one_long_bow_the_first_of_its_notes_tells_when_it_began() {
        let (kept, share, confidence) = verdict(&[(0, 0.0, 0.9), (1, 1.0, 1.9), (2, 3.0, 3.9)]).unwrap();
        assert_eq!((kept, share), (RestVerdict::Kept, Some(1.0)));
        let long_bow = verdict(&[(0, 0.0, 2.1), (2, 3.0, 3.9)]).unwrap();
        assert_eq!((long_bow.0, long_bow.1), (RestVerdict::Kept, Some(1.0)));
        assert!(confidence > 0.9);
        assert_eq!(verdict(&[(0, 0.0, 2.9), (2, 3.0, 3.9)]).unwrap().0, RestVerdict::Filled);
        assert_eq!(verdict(&[(0, 0.0, 2.1), (2, 4.0, 4.9)]).unwrap().0, RestVerdict::Stretched);
    }

    #[test]
    fn a_note_left_out_before_a_rest_says_nothing_of_it_where_its_time_may_be_left_out_too() {
        // Two beats instead of three: a rest cut to nothing, or the second note left out with its time.
        assert_eq!(verdict(&[(0, 0.0, 0.9), (2, 2.0, 2.9)]), None);
        // More silence than rest: it is the first note that was left out.
        assert_eq!(verdict(&[(0, 0.0, 0.9), (2, 3.0, 3.9)]), None);
        assert_eq!(verdict(&[(1, 1.0, 1.9), (2, 1.6, 2.9)]).unwrap().0, RestVerdict::Rushed);
        assert_eq!(verdict(&[(0, 0.0, 0.9), (1, 1.0, 1.9)]), None);
    }

    #[test]
    fn an_extra_note_is_in_a_rest_from_the_end_of_the_note_before_to_the_next_ones_beginning() {
        let kept = [(0, 0.0, 0.9), (1, 1.0, 1.9), (2, 3.0, 3.9)];
        for (onset, wanted) in [
            (1.3, RestVerdict::Kept),
            (2.25, RestVerdict::Filled),
            (2.45, RestVerdict::Filled),
            (3.3, RestVerdict::Kept),
        ] {
            assert_eq!(verdict_beside(&[onset], &kept).unwrap().0, wanted, "{onset}");
        }
        assert_eq!(verdict_beside(&[0.5, 2.4, 3.5], &kept).unwrap().0, RestVerdict::Filled);
    }

    #[test]
    fn a_rest_beside_a_note_that_was_begun_or_bowed_twice_is_kept() {
        let verdict = |extra: &[f64], next: f64| {
            let (verdict, share, _) =
                verdict_beside(extra, &[(0, 0.0, 0.9), (1, 1.0, 1.9), (2, next, next + 0.9)]).unwrap();
            (verdict, (100.0 * share.unwrap()).round())
        };
        // The extra note lasts 0.2 s. It is begun once, and again half a second later,
        assert_eq!(verdict(&[2.9], 3.4), (RestVerdict::Kept, 100.0));
        // three times,
        assert_eq!(verdict(&[2.9, 3.3], 3.7), (RestVerdict::Kept, 100.0));
        // or the note before is bowed once more.
        assert_eq!(verdict(&[1.9], 3.0), (RestVerdict::Kept, 100.0));
        // Rushed by the onsets, with more silence than that and less beside the extra note: nobody can say.
        assert_eq!(verdict_beside(&[1.9], &[(0, 0.0, 0.9), (1, 1.4, 1.9), (2, 2.85, 3.4)]), None);
        // In the middle of the rest it fills it, and a rest too long is too long all the same.
        assert_eq!(verdict(&[2.4], 3.0).0, RestVerdict::Filled);
        assert_eq!(verdict(&[3.9], 4.3), (RestVerdict::Stretched, 200.0));
    }

    /// The verdict on a rest of two beats after a note of one, at half a second a beat.
    fn two_beats(returns: (bool, bool), ends: f64, goes_on: f64) -> Option<(RestVerdict, Option<f64>, f64)> {
        let (notes, own) = ([note(0, 57), note(3, 59)], steady(0.5));
        let played = [step(0, 0.0, ends, returns.0), step(1, goes_on, goes_on + 0.4, returns.1)];
        let last = [Some(0), Some(1)];
        Around { notes: &notes, played: &played, last: &last, extra: &[], own: &own }.verdict_on(1)
    }

    #[test]
    fn a_rest_is_measured_in_beats_as_a_share_of_its_length() {
        let judged = |ends: f64, goes_on: f64| {
            let (verdict, share, _) = two_beats((false, false), ends, goes_on).unwrap();
            (verdict, share.unwrap())
        };
        assert_eq!(judged(0.5, 1.5), (RestVerdict::Kept, 1.0));
        assert_eq!(judged(0.5, 1.0), (RestVerdict::Rushed, 0.5));
        assert_eq!(judged(0.5, 2.0), (RestVerdict::Stretched, 1.5));
        // Nine tenths of a beat of silence are nearly half of the rest, two fifths are a fifth, and in between nobody can say.
        assert_eq!((judged(1.05, 1.5).0, judged(1.3, 1.5).0), (RestVerdict::Kept, RestVerdict::Filled));
        assert_eq!(two_beats((false, false), 1.2, 1.5), None);
    }

    #[test]
    fn a_rest_after_which_the_player_went_back_is_not_judged_and_one_after_a_return_is() {
        assert_eq!(two_beats((false, true), 0.5, 1.5), None);
        assert_eq!(two_beats((true, false), 0.5, 1.5).unwrap().0, RestVerdict::Kept);
    }

    #[test]
    fn a_rest_in_the_only_interval_there_is_cannot_be_told() {
        // D4, a rest, A4: nothing else says how long a beat is.
        let notes = [note(0, 62), note(2, 69)];
        for gap in [0.7, 1.3, 3.0, 10.0] {
            let played = [step(0, 0.0, 0.6, false), step(1, gap, gap + 1.2, false)];
            let beats = notes.iter().zip([0.0, gap]).enumerate();
            let beats = beats.map(|(note, (n, onset))| Beat {
                note,
                at: n.start,
                until: n.start + n.length,
                onset,
                attempt: 0,
            });
            let own = OwnBeat::new(beats.collect());
            let last = [Some(0), Some(1)];
            let around = Around { notes: &notes, played: &played, last: &last, extra: &[], own: &own };
            assert_eq!(around.verdict_on(1), None, "{gap}");
        }
    }

    #[test]
    fn a_rest_is_measured_by_the_beat_around_it() {
        // A second a beat up to beat 8, then long nothing, then two fifths of a second from beat 20.
        let beat = |at: f64, onset: f64, attempt: usize| Beat {
            note: at as usize,
            at,
            until: at + 1.0,
            onset,
            attempt,
        };
        let slow = (0..9).map(|n| beat(f64::from(n), f64::from(n), 0));
        let fast = (20..29).map(|n| beat(f64::from(n), 100.0 + 0.4 * f64::from(n), 1));
        let own = OwnBeat::new(slow.chain(fast).collect());
        let notes = [note(23, 57), note(25, 59)];
        let played = [step(0, 0.0, 0.3, false), step(1, 0.8, 1.0, false)];
        let last = [Some(0), Some(1)];
        let around = Around { notes: &notes, played: &played, last: &last, extra: &[], own: &own };
        let (verdict, share, _) = around.verdict_on(24).unwrap();
        assert_eq!(verdict, RestVerdict::Kept);
        assert!((share.unwrap() - 1.0).abs() < 1e-6);
    }

    #[test]
    fn a_note_after_another_pitch_that_was_left_out_before_a_rest_leaves_the_rest_open() {
        let notes = [note(0, 55), note(1, 57), note(3, 59)];
        let played = [step(0, 0.0, 2.1, false), step(2, 3.0, 3.9, false)];
        let (last, own) = ([Some(0), None, Some(1)], steady(1.0));
        let around = Around { notes: &notes, played: &played, last: &last, extra: &[], own: &own };
        assert_eq!(around.verdict_on(2), None);
    }

    #[test]
    fn played_beats_are_the_share_of_the_written_ones() {
        let quarters = |n: i64| Length::from_integer(n) / 4;
        let sounding = |midi: i32| EventKind::Note { written: "A3".parse().unwrap(), sounding: midi };
        let event = |start: i64, length: i64, kind: EventKind| Event {
            bar: 2,
            beat: Length::from_integer(start + 1),
            start: quarters(start),
            length: quarters(length),
            kind,
        };
        let melody = Melody::of(vec![
            event(0, 1, sounding(57)),
            event(1, 2, EventKind::Rest),
            event(3, 1, sounding(59)),
            event(4, 1, EventKind::Rest),
        ]);
        let notes = written_notes(&melody, 0);
        let played = [step(0, 0.0, 0.5, false), step(1, 1.0, 1.4, false)];
        let (last, own) = ([Some(0), Some(1)], steady(0.5));
        let around = Around { notes: &notes, played: &played, last: &last, extra: &[], own: &own };
        let found = rest_findings(&melody, &around);
        let told: Vec<_> = found
            .iter()
            .map(|r| (r.index, r.bar, r.beat, r.written_beats, r.played_beats, r.verdict))
            .collect();
        assert_eq!(
            told,
            [(1, 2, 2.0, 2.0, Some(1.0), RestVerdict::Rushed), (3, 2, 5.0, 1.0, None, RestVerdict::Kept)]
        );
    }

    fn span(played_span: f64, silence: f64) -> RestSpan {
        RestSpan { written: 1.0, span: 2.0, played_span, silence, beside_extra: None }
    }

    #[test]
    fn a_rest_of_a_beat_given_a_third_is_rushed_and_given_a_beat_is_kept() {
        assert_eq!(judge_rest(span(1.33, 0.3)).0, RestVerdict::Rushed);
        assert_eq!(judge_rest(span(2.0, 0.9)).0, RestVerdict::Kept);
        assert_eq!(judge_rest(span(2.8, 1.7)).0, RestVerdict::Stretched);
        assert_eq!(judge_rest(span(2.0, 0.05)).0, RestVerdict::Filled);
    }

    #[test]
    fn each_verdict_begins_at_its_limit_where_it_is_as_likely_as_not() {
        let verdict = |played: f64, silence: f64| judge_rest(span(1.0 + played, silence)).0;
        for (limit, below, above, silence) in [
            (RUSHED_BELOW, RestVerdict::Rushed, RestVerdict::Kept, 0.6),
            (STRETCHED_ABOVE, RestVerdict::Kept, RestVerdict::Stretched, 1.5),
        ] {
            assert_eq!((verdict(limit - 0.01, silence), verdict(limit + 0.01, silence)), (below, above));
            for beside in [-1e-6, 1e-6] {
                let confidence = judge_rest(span(1.0 + limit + beside, silence)).2;
                assert!((confidence - 0.5).abs() < 1e-4, "{limit}: {confidence}");
            }
        }
        let quiet = |silence: f64| judge_rest(span(2.0, silence));
        assert_eq!(
            (quiet(FILLED_BELOW - 0.01).0, quiet(FILLED_BELOW + 0.01).0),
            (RestVerdict::Filled, RestVerdict::Kept)
        );
        assert!((quiet(FILLED_BELOW + 1e-6).2 - 0.5).abs() < 1e-4);
    }

    #[test]
    fn eight_hundredths_of_a_rest_from_a_limit_the_other_verdict_has_a_chance_of_one_in_2e() {
        let one_in_2e = 0.5 / std::f64::consts::E;
        for (played, silence) in [
            (RUSHED_BELOW - 0.08, 0.5),
            (RUSHED_BELOW + 0.08, 0.5),
            (STRETCHED_ABOVE - 0.08, 1.5),
            (STRETCHED_ABOVE + 0.08, 1.5),
            (1.0, FILLED_BELOW - 0.04),
            (1.0, FILLED_BELOW + 0.04),
        ] {
            let confidence = judge_rest(span(1.0 + played, silence)).2;
            assert!((confidence - (1.0 - one_in_2e)).abs() < 1e-6, "{played} {silence}: {confidence}");
        }
    }

    #[test]
    fn a_note_cut_short_or_held_on_is_no_mistake_in_the_rest_after_it() {
        let told = |played: f64, silence: f64| {
            let (verdict, played, _) = judge_rest(span(1.0 + played, silence));
            (verdict, played)
        };
        // Half a beat is left for the rest, but the note before it took only half a beat.
        assert_eq!(told(0.5, 0.95), (RestVerdict::Kept, 0.95));
        assert_eq!(told(0.5, 1.3), (RestVerdict::Kept, 1.0));
        // One and a half are left, and the note before it took one of its own length more.
        assert_eq!(told(1.5, 1.1), (RestVerdict::Kept, 1.1));
        assert_eq!(told(2.0, 0.9), (RestVerdict::Kept, 1.0));
        assert_eq!(told(2.0, 0.1).0, RestVerdict::Filled);
        assert_eq!(told(0.2, 0.4), (RestVerdict::Rushed, 0.4));
        assert_eq!(told(2.2, 1.6), (RestVerdict::Stretched, 1.6));
    }

    #[test]
    fn a_rest_is_too_short_or_too_long_only_where_the_beat_of_each_length_says_so() {
        // Halves played as long as quarters, half a second each: six of the one and four of the other.
        let lengths = [1.0, 2.0, 1.0, 2.0, 1.0, 2.0, 1.0, 2.0, 1.0, 1.0];
        let mut at = 0.0;
        let beats = lengths.iter().enumerate().map(|(note, &length)| {
            let beat = Beat { note, at, until: at + length, onset: 0.5 * note as f64, attempt: 0 };
            at += length;
            beat
        });
        let own = OwnBeat::new(beats.collect());
        let judged = |own: &OwnBeat, silence: f64| {
            let notes = [note(40, 57), note(42, 59)];
            let played = [step(0, 0.0, 0.2, false), step(1, 0.2 + silence, 3.0, false)];
            let around =
                Around { notes: &notes, played: &played, last: &[Some(0), Some(1)], extra: &[], own };
            around.verdict_on(41).map(|(verdict, ..)| verdict)
        };
        // Half rushed: by the onsets, and not quite by the silence.
        let half =
            |silence: f64| two_beats((false, false), 0.25, 0.25 + silence).map(|(verdict, ..)| verdict);
        assert_eq!(
            [0.6, 0.7, 0.78, 0.82].map(half),
            [Some(RestVerdict::Rushed), None, None, Some(RestVerdict::Kept)]
        );
        // By the quarters a beat lasts half a second, by the halves a quarter of one.
        assert_eq!(
            [0.1, 0.25, 0.5, 1.6].map(|silence| judged(&own, silence)),
            [Some(RestVerdict::Rushed), Some(RestVerdict::Kept), None, Some(RestVerdict::Stretched),]
        );
        assert_eq!(judged(&steady(0.25), 0.5), Some(RestVerdict::Stretched));
    }

    #[test]
    fn a_rest_is_stretched_where_it_is_by_the_beat_of_the_whole_take_as_well() {
        // Half a second a beat around the rest, and so many seconds in another attempt.
        let judged = |elsewhere: f64| {
            let beat = |at: usize, onset: f64, attempt| Beat {
                note: at,
                at: at as f64,
                until: at as f64 + 1.0,
                onset,
                attempt,
            };
            let here = (0..9).map(|n| beat(n, 0.5 * n as f64, 0));
            let there = (20..60).map(|n| beat(n, 100.0 + elsewhere * n as f64, 1));
            let own = OwnBeat::new(here.chain(there).collect());
            let notes = [note(3, 57), note(5, 59)];
            let played = [step(0, 0.0, 0.5, false), step(1, 1.25, 1.7, false)];
            let last = [Some(0), Some(1)];
            let around = Around { notes: &notes, played: &played, last: &last, extra: &[], own: &own };
            around.verdict_on(4).map(|(verdict, ..)| verdict)
        };
        assert_eq!(judged(0.5), Some(RestVerdict::Stretched));
        assert_eq!(judged(0.65), None);
    }

    #[test]
    fn shares_are_of_the_written_length() {
        // Two written beats: one given is half, 0.4 beats of silence a fifth.
        let two = |played: f64, silence: f64| {
            judge_rest(RestSpan {
                written: 2.0,
                span: 3.0,
                played_span: 1.0 + played,
                silence,
                beside_extra: None,
            })
        };
        assert_eq!((two(1.0, 0.9).0, two(1.0, 0.9).1), (RestVerdict::Rushed, 1.0));
        assert_eq!((two(2.0, 0.4).0, two(2.0, 0.6).0), (RestVerdict::Filled, RestVerdict::Kept));
        assert_eq!(two(2.7, 2.9).0, RestVerdict::Kept);
        assert_eq!(two(2.9, 2.9).0, RestVerdict::Stretched);
        assert_eq!(two(-5.0, 0.0).1, 0.0);
    }

    #[test]
    fn an_extra_note_fills_a_rest_that_was_given_its_time_and_leaves_a_rushed_one_rushed() {
        let with_extra =
            |played: f64| judge_rest(RestSpan { beside_extra: Some(0.5), ..span(1.0 + played, 0.6) });
        assert_eq!(with_extra(1.0), (RestVerdict::Filled, 1.0, 0.8));
        assert_eq!(with_extra(2.0).0, RestVerdict::Filled);
        assert_eq!(with_extra(0.4).0, RestVerdict::Rushed);
    }
}
