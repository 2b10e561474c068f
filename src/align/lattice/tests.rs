//! The prices of edges, worked out by hand.

use super::*;
use crate::align::content::TALK_FRAME;
use crate::segment::Features;
use crate::units::Seconds;

const BEAT: f64 = 0.5;

fn notes(midi: &[i32]) -> Vec<WrittenNote> {
    let note = |(n, midi): (usize, &i32)| WrittenNote {
        event: n,
        midi: *midi,
        start: n as f64,
        length: 1.0,
        opens_bar: n == 2,
        bar: 1,
    };
    midi.iter().enumerate().map(note).collect()
}

fn boundaries(places: &[(f64, f64)]) -> Vec<Boundary> {
    let boundary = |&(time, llr): &(f64, f64)| Boundary {
        time: Seconds(time),
        llr,
        leads: true,
        features: Features::default(),
    };
    places.iter().map(boundary).collect()
}

/// Sums over three seconds: so much a frame before a frame, so much from it on.
fn sums(before: f32, frame: usize, after: f32) -> Vec<f32> {
    (0..=300_usize).map(|f| before * f.min(frame) as f32 + after * f.saturating_sub(frame) as f32).collect()
}

/// Three seconds that fit semitone 60 perfectly, and nothing else at all.
fn of_one_pitch() -> Evidence {
    let sums = |value: f32| sums(value, 300, value);
    Evidence {
        hop: Seconds(0.01),
        lowest: 60,
        pitch: vec![sums(0.0), sums(-1.0), sums(-1.0)],
        other: sums(-0.8),
        pause: sums(-1.0),
        inside: sums(0.0),
    }
}

/// What is done with the lattice of some notes and boundaries over one pitch.
fn with<T>(midi: &[i32], places: &[(f64, f64)], ask: impl FnOnce(&Lattice<'_>) -> T) -> T {
    let (notes, boundaries, evidence) = (notes(midi), boundaries(places), of_one_pitch());
    let (tempo, costs) = (LocalTempo::steady(BEAT, notes.len()), Costs::default());
    ask(&Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs))
}

/// The price of going on from written note 0 at boundary 0 to a state at boundary 1, heard rightly.
fn first_step(lattice: &Lattice<'_>, state: usize) -> f64 {
    let mut found = NEVER;
    lattice.edges_from(0, &[0], &mut |edge: Edge| {
        if edge.target == Target::State(1, state) && edge.right {
            found = edge.price;
        }
    });
    found
}

/// The same over one pitch, for these notes and this second boundary.
fn price(midi: &[i32], second: (f64, f64), state: usize) -> f64 {
    with(midi, &[(0.0, 6.0), second], |lattice| first_step(lattice, state))
}

#[test]
fn a_second_note_of_one_pitch_left_out_is_one_long_bow_and_any_other_is_missing() {
    with(&[60, 60, 62], &[], |lattice| {
        let costs = Costs::default();
        let left_out = [0, 1, 2].map(|m| lattice.leaving_out(m));
        assert_eq!(left_out, [costs.missing, costs.merged, costs.missing]);
    });
}

#[test]
fn an_interval_as_written_is_free_and_another_costs_by_its_ratio_either_way() {
    with(&[60, 62, 64], &[], |lattice| {
        let scale = Costs::default().timing_scale;
        assert_eq!(lattice.timing(0, 1, BEAT.ln()), 0.0);
        for ratio in [scale, -scale] {
            // Student's t with three degrees of freedom at one unit of scale.
            let wanted = -2.0 * (4.0_f64 / 3.0).ln();
            assert!((lattice.timing(0, 1, BEAT.ln() + ratio) - wanted).abs() < 0.02);
        }
        // With the note between left out: in its time, or for one nat more without it.
        assert_eq!(lattice.timing(0, 2, (2.0 * BEAT).ln()), 0.0);
        assert_eq!(lattice.timing(0, 2, BEAT.ln()), -1.0);
        // However long it takes, no more than the table's last.
        assert_eq!(lattice.timing(0, 1, 50.0), lattice.timing(0, 1, 60.0));
    });
}

#[test]
fn what_was_heard_is_a_note_only_at_its_own_pitch() {
    with(&[60, 62], &[], |lattice| {
        let heard = |heard: u32| Content { score: 0.0, until: 10, heard };
        assert!(lattice.heard_is(heard(2), 62) && !lattice.heard_is(heard(2), 61));
        assert!(lattice.heard_is(heard(0), 60) && !lattice.heard_is(heard(0), 0));
        assert!(!lattice.heard_is(heard(NO_PITCH), 60) && !lattice.heard_is(NO_CONTENT, 60));
    });
}

#[test]
fn a_note_that_goes_on_as_two_pays_where_no_onset_was_heard() {
    let costs = Costs::default();
    // Only the evidence of the onset and the extra price differ.
    let onset = |llr: f64| -costs.onset * softplus(-llr);
    let (above, below) = (costs.split + 0.1, costs.split - 0.1);
    let two = |llr: f64| price(&[60, 60], (0.5, llr), 1) - onset(llr);
    assert!((two(above) - two(below) - costs.unheard_split).abs() < 1e-9);
    // A note of another pitch has a beginning to be heard, and pays nothing.
    let other = |llr: f64| price(&[60, 62], (0.5, llr), 1) - onset(llr);
    assert!((other(above) - other(below)).abs() < 1e-9);
}

#[test]
fn an_extra_note_is_cheapest_when_the_note_before_has_had_its_time() {
    let costs = Costs::default();
    let after_first = 2 + 1;
    let extra = |time: f64| price(&[60, 62], (time, 0.0), after_first);
    let onset = -costs.onset * softplus(0.0);
    assert!((extra(BEAT) - (onset - costs.extra)).abs() < 1e-6, "{}", extra(BEAT));
    assert!((extra(1.5 * BEAT) - extra(BEAT)) < -1.0);
    assert!((extra(4.0 * BEAT) - (onset - costs.extra - costs.before_extra)).abs() < 1e-6);
    // After the last note its written length tells when.
    let last = |time: f64| price(&[60], (time, 0.0), 2);
    assert!((last(BEAT) - (onset - costs.extra)).abs() < 1e-6, "{}", last(BEAT));
    assert!((last(4.0 * BEAT) - (onset - costs.extra - costs.before_extra)).abs() < 1e-6);
}

#[test]
fn a_second_extra_note_in_a_row_costs_more_than_the_first() {
    let evidence = of_one_pitch();
    let (notes, boundaries) = (notes(&[60, 62]), boundaries(&[(0.0, 6.0), (BEAT, 0.0)]));
    let (tempo, costs) = (LocalTempo::steady(BEAT, notes.len()), Costs::default());
    let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
    let after_first = 2 + 1;
    let step = |from: usize, to: usize| {
        let mut found = NEVER;
        lattice.edges_from(0, &[from], &mut |edge: Edge| {
            if edge.target == Target::State(1, to) {
                found = f64::max(found, edge.price);
            }
        });
        found
    };
    let (one, two) = (step(0, after_first), step(after_first, after_first));
    assert!((one - two - costs.extra_again).abs() < 1e-6, "{one} {two}");
}

#[test]
fn a_note_that_sounds_for_less_than_a_quarter_of_its_length_is_brushed_and_pays() {
    // Two seconds to the next note, of which so many frames sound; a note of half a second.
    let sounding = |frames: usize| {
        let (notes, boundaries) = (notes(&[60, 62]), boundaries(&[(0.5, 6.0), (2.5, 6.0)]));
        let sums = |before: f32, after: f32| sums(before, 50 + frames, after);
        let evidence = Evidence {
            pitch: vec![sums(0.0, -1.0), sums(-1.0, -1.0)],
            other: sums(-0.8, -1.0),
            pause: sums(-1.0, 0.0),
            ..of_one_pitch()
        };
        let (tempo, costs) = (LocalTempo::steady(BEAT, notes.len()), Costs::default());
        first_step(&Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs), 1)
    };
    // An eighth of a second: twelve frames are enough.
    assert!((sounding(12) - sounding(11) - Costs::default().brush).abs() < 1e-6);
    assert!((sounding(12) - sounding(50)).abs() < 1e-6);
}

#[test]
fn a_player_goes_back_after_a_halt_and_sooner_after_a_stumble() {
    // The price of stopping after written note 0, which sounds for a second at its pitch or at another one, then
    // a silence of so many frames.
    let stopping = |silence: usize, right: bool| {
        let (notes, end) = (notes(&[60, 62]), 100 + silence);
        let boundaries = boundaries(&[(0.0, 6.0), (end as f64 * 0.01, 6.0)]);
        let sums = |before: f32, after: f32| sums(before, 100, after);
        let (own, other) = if right { (0.0, -0.5) } else { (-0.5, 0.0) };
        let evidence = Evidence {
            pitch: vec![sums(own, -1.0), sums(other, -1.0)],
            other: sums(-0.8, -1.0),
            pause: sums(-1.0, 0.0),
            ..of_one_pitch()
        };
        let (tempo, costs) = (LocalTempo::steady(BEAT, notes.len()), Costs::default());
        let mut found = NEVER;
        Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs).edges_from(0, &[0], &mut |edge| {
            if edge.target == Target::Hub(1, 0) && edge.right == right {
                found = edge.price;
            }
        });
        found
    };
    let costs = Costs::default();
    assert!((stopping(21, true) - stopping(20, true) - costs.no_halt).abs() < 1e-6);
    assert_eq!(stopping(20, true), stopping(0, true));
    assert_eq!(stopping(21, true), stopping(150, true));
    assert!((stopping(50, false) - stopping(50, true) - (costs.stumbled - costs.wrong)).abs() < 1e-6);
}

/// All edges that leave a state at a boundary.
fn edges(lattice: &Lattice<'_>, boundary: usize, state: usize) -> Vec<Edge> {
    let mut found = Vec::new();
    lattice.edges_from(boundary, &[state], &mut |edge: Edge| found.push(edge));
    found
}

/// The best price of going from a state at a boundary to a target.
fn best(lattice: &Lattice<'_>, boundary: usize, state: usize, target: Target) -> f64 {
    let to = edges(lattice, boundary, state).into_iter().filter(|edge| edge.target == target);
    to.map(|edge| edge.price).fold(NEVER, f64::max)
}

#[test]
fn stopping_before_the_end_of_the_sheet_costs_five_and_eight_tenths_for_each_note_left() {
    with(&[60; 20], &[(0.0, 6.0)], |lattice| {
        let stop = |state: usize| best(lattice, 0, state, Target::End);
        let after = |position: usize| 20 + 1 + position;
        assert!((stop(19) - stop(18) - 5.8).abs() < 1e-9);
        assert!((stop(18) - stop(16) - 1.6).abs() < 1e-9);
        // Fifteen notes left or more are all the same, before the first note as well.
        assert_eq!((stop(4), stop(3)), (stop(19) - 5.0 - 12.0, stop(4)));
        assert_eq!((stop(after(19)), stop(20)), (stop(19), stop(4)));
    });
}

#[test]
fn notes_left_out_between_are_each_paid_for_and_going_on_after_an_extra_note_has_a_price_of_its_own() {
    let costs = Costs::default();
    with(&[60, 62, 62, 64], &[(0.0, 6.0), (BEAT, 6.0)], |lattice| {
        let onset = lattice.onset(1);
        // After an extra note (state 4 + 1 + 0 comes after note 0) time says nothing.
        let on = |to: usize| best(lattice, 0, 5, Target::State(1, to)) - onset;
        let all = [1, 2, 3].map(on);
        let wanted = [0.0, costs.missing, costs.missing + costs.merged];
        for (price, left_out) in all.iter().zip(wanted) {
            assert!((price + costs.after_extra + left_out).abs() < 1e-6, "{all:?}");
        }
    });
}

#[test]
fn two_notes_of_one_pitch_with_a_pause_between_pay_nothing_for_an_onset_unheard() {
    // Half a second that sounds up to four or five frames before its end.
    let price = |silent: usize, llr: f64| {
        let (notes, boundaries) = (notes(&[60, 60]), boundaries(&[(0.0, 6.0), (BEAT, llr)]));
        let sums = |before: f32, after: f32| sums(before, 50 - silent, after);
        let evidence = Evidence { pitch: vec![sums(0.0, -1.0)], pause: sums(-1.0, 0.0), ..of_one_pitch() };
        let (tempo, costs) = (LocalTempo::steady(BEAT, notes.len()), Costs::default());
        let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
        first_step(&lattice, 1) - lattice.onset(1)
    };
    let costs = Costs::default();
    let (above, below) = (costs.split + 0.1, costs.split - 0.1);
    assert!((price(3, above) - price(3, below) - costs.unheard_split).abs() < 1e-9);
    assert_eq!(price(4, above), price(4, below));
}

#[test]
fn an_extra_note_comes_when_the_next_written_one_is_due_rests_counted() {
    // A note of one beat, a rest of two, the last note.
    let mut notes = notes(&[60, 62]);
    notes[1].start = 3.0;
    let boundaries = boundaries(&[(0.0, 6.0), (3.0 * BEAT, 0.0)]);
    let (tempo, costs) = (LocalTempo::steady(BEAT, 2), Costs::default());
    let evidence = of_one_pitch();
    let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
    let extra = best(&lattice, 0, 0, Target::State(1, 3));
    assert!((extra - (lattice.onset(1) - costs.extra)).abs() < 1e-6, "{extra}");
}

#[test]
fn two_boundaries_of_one_onset_count_it_once_and_the_end_of_the_take_is_none() {
    let costs = Costs::default();
    // The price of the step between boundaries 1 and 2, so many frames apart, 100 frames before the end.
    let price = |frames: usize, llr: (f64, f64)| {
        let second = 2.0 + frames as f64 * 0.01;
        with(&[60, 62], &[(0.0, 6.0), (2.0, llr.0), (second, llr.1)], |lattice| {
            let to = edges(lattice, 1, 0).into_iter().find(|e| e.target == Target::State(2, 1) && e.right);
            to.unwrap().price - lattice.onset(2)
        })
    };
    let apart = price(8, (-1.0, 4.0));
    assert!((apart - price(8, (3.0, 4.0)) - 3.0 * costs.onset).abs() < 1e-9, "the weaker one of two");
    assert!((apart - price(8, (5.0, 2.0)) - 2.0 * costs.onset).abs() < 1e-9);
    assert_eq!(price(9, (-1.0, 4.0)), price(9, (3.0, 4.0)));
    // The end of the take, seven frames after a boundary.
    let stop = |llr: f64| with(&[60], &[(0.0, 6.0), (2.93, llr)], |lattice| best(lattice, 1, 0, Target::End));
    assert!(stop(5.0) > NEVER);
    assert_eq!(stop(5.0), stop(-5.0));
}

#[test]
fn what_came_before_a_step_is_not_in_its_price() {
    // Half of the take sounds at another pitch, which costs the written one fifty nats until then.
    let evidence = Evidence { pitch: vec![sums(-0.5, 100, 0.0), sums(0.0, 100, -0.5)], ..of_one_pitch() };
    let (notes, boundaries) = (notes(&[60, 62]), boundaries(&[(0.0, 6.0), (1.0, 6.0), (1.5, 6.0)]));
    let (tempo, costs) = (LocalTempo::steady(BEAT, 2), Costs::default());
    let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
    let step = edges(&lattice, 1, 0).into_iter().find(|e| e.target == Target::State(2, 1) && e.right);
    assert!((step.unwrap().price - lattice.onset(2)).abs() < 1e-6);
}

#[test]
fn talk_in_a_pause_has_a_price_once_and_then_so_much_for_a_frame() {
    // A second of note, then a second in which the bow seems to drive something: no pause.
    let price = |driven: f32| {
        let sums = |before: f32, after: f32| sums(before, 100, after);
        let evidence = Evidence {
            pitch: vec![sums(0.0, -9.0)],
            other: sums(-9.0, -9.0),
            pause: sums(-9.0, driven),
            ..of_one_pitch()
        };
        let (notes, boundaries) = (notes(&[60, 62]), boundaries(&[(0.0, 6.0), (2.0, 6.0)]));
        let (tempo, costs) = (LocalTempo::steady(2.0, 2), Costs::default());
        let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
        first_step(&lattice, 1) - lattice.onset(1)
    };
    let talk = -Costs::default().talk + 100.0 * f64::from(TALK_FRAME);
    assert!((price(-0.2) + 20.0).abs() < 1e-3, "{}", price(-0.2));
    assert!((price(-0.5) + 50.0).abs() < 1e-3, "{}", price(-0.5));
    assert!((price(-2.0) - talk).abs() < 1e-3, "{}", price(-2.0));
}

#[test]
fn coming_late_costs_only_so_much_and_coming_early_costs_what_it_is() {
    with(&[60, 62], &[], |lattice| {
        let late = Costs::default().late;
        let interval = |beats: f64| lattice.timing(0, 1, (beats * BEAT).ln());
        let table = TimingTable::new(Costs::default().timing_scale);
        assert_eq!([interval(3.0), interval(30.0)], [-late; 2]);
        assert!(table.at(3.0_f64.ln()) < -late && table.at(1.5_f64.ln()) > -late);
        // A little too late, and much too early.
        assert!((interval(1.5) - table.at(1.5_f64.ln())).abs() < 0.03);
        assert!((interval(0.25) - table.at(0.25_f64.ln())).abs() < 0.03 && interval(0.25) < -late);
    });
}

#[test]
fn leaving_many_notes_out_costs_little_more_for_each() {
    let costs = Costs::default();
    with(&[60; 30], &[(0.0, 2.0)], |lattice| {
        let leap = |from: usize, to: usize| lattice.leaping(0, from, to) - lattice.onset(0);
        assert!((leap(0, 6) + costs.leap + 6.0 * costs.leap_note).abs() < 1e-9);
        assert!((leap(3, 20) - leap(3, 21) - costs.leap_note).abs() < 1e-9);
        // About as dear as the same notes one by one where those end.
        let one_by_one = (LONGEST_STEP_ON - 1) as f64 * costs.missing;
        assert!((-leap(0, LONGEST_STEP_ON + 1) - one_by_one - costs.missing).abs() < costs.missing);
        // To begin late is no dearer, and any note can be the first.
        let starts: Vec<(usize, f64)> = lattice.starts(0).collect();
        let late = |note: usize| starts[0].1 - starts[note].1;
        assert!((late(2) - 2.0 - 2.0 * costs.missing).abs() < 1e-6);
        assert!((late(29) - costs.leap - 30.0 * costs.leap_note).abs() < 1e-6);
        assert_eq!(starts.len(), 31);
    });
}

#[test]
fn a_step_that_fits_a_hundred_nats_worse_than_its_frames_is_given_up() {
    // Two semitones in turn, each for so many frames, a nat a frame apart; a boundary every quarter of a second.
    let reached = |turn: usize| {
        let sums = |which: usize| {
            let value = |f: usize| if f / turn % 2 == which { 0.0 } else { -1.0 };
            (0..=300).map(|f| (0..f).map(value).sum()).collect::<Vec<f32>>()
        };
        let places: Vec<(f64, f64)> = (0..12).map(|k| (0.25 * f64::from(k), 0.0)).collect();
        let (notes, boundaries) = (notes(&[60, 61]), boundaries(&places));
        let worst: Vec<f32> = (0..=300).map(|f| -2.0 * f as f32).collect();
        let evidence =
            Evidence { pitch: vec![sums(0), sums(1)], other: worst.clone(), pause: worst, ..of_one_pitch() };
        let (tempo, costs) = (LocalTempo::steady(BEAT, 2), Costs::default());
        let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
        let ends = edges(&lattice, 0, 0).into_iter().filter_map(|edge| match edge.target {
            Target::State(k, _) => Some(k),
            _ => None,
        });
        ends.max()
    };
    assert_eq!(reached(300), Some(11), "one pitch all the time");
    // As one note half of the frames are a nat off, as talk all are 0.45: a hundred nats after 2.25 s or so.
    assert!(reached(25).is_some_and(|k| (8..=9).contains(&k)), "{:?}", reached(25));
}

#[test]
fn a_note_lasts_sixty_milliseconds_at_least() {
    assert_eq!(price(&[60, 62], (0.05, 0.0), 1), NEVER);
    assert!(price(&[60, 62], (0.06, 0.0), 1) > NEVER);
}

#[test]
fn going_back_is_easier_to_the_beginning_and_to_the_start_of_a_bar() {
    with(&[60, 62, 64, 65], &[(0.0, 3.0)], |lattice| {
        let to = [0, 1, 2, 3].map(|m| lattice.going_back(0, m));
        assert!((to[0] - to[1] - 3.0).abs() < 1e-9 && (to[2] - to[1] - 2.0).abs() < 1e-9);
        assert_eq!(to[1], to[3]);
        assert!((to[1] - (-Costs::default().onset * softplus(-3.0) - Costs::default().restart)).abs() < 1e-9);
    });
}

#[test]
fn a_take_may_begin_with_talk_and_with_a_later_note_at_a_price() {
    let (notes, boundaries) = (notes(&[60, 62, 64]), boundaries(&[(0.5, 3.0)]));
    let mut evidence = of_one_pitch();
    evidence.inside = (0..=300).map(|frame| -0.02 * frame as f32).collect();
    let (tempo, costs) = (LocalTempo::steady(BEAT, notes.len()), Costs::default());
    let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
    let prices: Vec<(usize, f64)> = lattice.starts(0).collect();
    // Half a second of talk (cheaper here than a pause), six tenths of the onsets passed over, and the onset itself.
    let begun = 50.0 * f64::from(TALK_FRAME) - 0.6 * costs.onset * 50.0 * 0.02 - costs.onset * softplus(-3.0);
    let wanted = [begun, begun - 2.0 - costs.missing, begun - 2.0 - 2.0 * costs.missing, begun - costs.extra];
    assert_eq!(prices.iter().map(|(state, _)| *state).collect::<Vec<_>>(), [0, 1, 2, 3]);
    for ((_, price), wanted) in prices.iter().zip(wanted) {
        assert!((price - wanted).abs() < 1e-3, "{prices:?} {wanted}");
    }
}

/// What it costs that a step of two seconds, which sounds for so many frames, passes over an onset at a frame.
fn passed_over(at: usize, sounding: usize) -> f64 {
    let price = |weight: f32| {
        let (notes, boundaries) = (notes(&[60, 62]), boundaries(&[(0.0, 6.0), (2.0, 6.0)]));
        let sums =
            |value: &dyn Fn(usize) -> f32| (0..=300).map(|f| (0..f).map(value).sum()).collect::<Vec<f32>>();
        let evidence = Evidence {
            pitch: vec![sums(&|f| if f < sounding { 0.0 } else { -1.0 }), sums(&|_| -1.0), sums(&|_| -1.0)],
            pause: sums(&|f| if f < sounding { -1.0 } else { 0.0 }),
            inside: sums(&|f| if f == at { -weight } else { 0.0 }),
            ..of_one_pitch()
        };
        let (tempo, costs) = (LocalTempo::steady(BEAT, notes.len()), Costs::default());
        let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
        first_step(&lattice, 1)
    };
    price(0.5) - price(0.0)
}

#[test]
fn an_onset_passed_over_costs_less_in_a_pause_and_nothing_within_80_ms_of_either_end() {
    let costs = Costs::default();
    let (in_note, in_pause) = (-0.5 * costs.onset, -0.5 * costs.onset * costs.onset_in_pause);
    for (at, sounding, wanted) in [
        (100, 200, in_note),
        (9, 200, in_note),
        (191, 200, in_note),
        (100, 50, in_pause),
        (191, 50, in_pause),
        (30, 50, in_note),
        (8, 200, 0.0),
        (2, 200, 0.0),
        (4, 7, 0.0),
        (4, 12, 0.0),
        (195, 50, 0.0),
        (250, 200, 0.0),
    ] {
        let found = passed_over(at, sounding);
        assert!((found - wanted).abs() < 1e-5, "{at} {sounding}: {found} {wanted}");
    }
}

#[test]
fn a_step_reaches_thirty_seconds_the_next_boundary_and_the_end_of_the_take() {
    let notes = notes(&[60, 62]);
    let boundaries = boundaries(&[(0.0, 3.0), (1.0, 3.0), (29.9, 3.0), (30.1, 3.0), (60.3, 3.0)]);
    let sums = |value: f32| (0..=6200).map(|frame| value * frame as f32).collect::<Vec<f32>>();
    let evidence = Evidence {
        pitch: vec![sums(0.0)],
        other: sums(-0.8),
        pause: sums(0.0),
        inside: sums(0.0),
        ..of_one_pitch()
    };
    let (tempo, costs) = (LocalTempo::steady(BEAT, notes.len()), Costs::default());
    let lattice = Lattice::new(&notes, &boundaries, &evidence, &tempo, &costs);
    let reached = |from: usize| {
        let mut found = std::collections::BTreeSet::new();
        lattice.edges_from(from, &[0], &mut |edge: Edge| {
            found.insert(match edge.target {
                Target::State(k, _) | Target::Hub(k, _) => k,
                Target::End => 99,
            });
        });
        found.into_iter().collect::<Vec<_>>()
    };
    assert_eq!(reached(0), [1, 2, 99]);
    assert_eq!(reached(1), [2, 3, 99]);
    assert_eq!(reached(3), [4, 99], "the next one, however far");
}
