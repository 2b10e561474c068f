//! Whether each rest was kept: from onsets at the local tempo, and from what sounded in it.

use super::report::RestVerdict;

/// What is known about the span over one written rest (or several in a row).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RestSpan {
    /// Written length of the rest in beats.
    pub written: f64,
    /// From the onset of the note before to the onset of the note after, as written, in beats.
    pub span: f64,
    /// The same as played at the local tempo, in beats.
    pub played_span: f64,
    /// Silence (nothing bowed) before the note after, in beats at the local tempo.
    pub silence: f64,
    /// Whether an extra note sounds in it.
    pub extra_inside: bool,
}

/// A rest given less than this share of its length is rushed.
pub const RUSHED_BELOW: f64 = 0.67;
/// A rest given more than this share of its length is stretched.
pub const STRETCHED_ABOVE: f64 = 1.4;
/// A rest with less silence than this share of its length is filled.
pub const FILLED_BELOW: f64 = 0.25;

/// The verdict on one rest, its played length in beats and the confidence.
pub fn judge_rest(rest: RestSpan) -> (RestVerdict, f64, f64) {
    let played = (rest.written + rest.played_span - rest.span).max(0.0);
    let share = played / rest.written;
    let silent = rest.silence / rest.written;
    if rest.extra_inside && share >= RUSHED_BELOW {
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

    fn span(played_span: f64, silence: f64) -> RestSpan {
        RestSpan { written: 1.0, span: 2.0, played_span, silence, extra_inside: false }
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
        for (limit, below, above) in [
            (RUSHED_BELOW, RestVerdict::Rushed, RestVerdict::Kept),
            (STRETCHED_ABOVE, RestVerdict::Kept, RestVerdict::Stretched),
        ] {
            assert_eq!((verdict(limit - 0.01, 0.6), verdict(limit + 0.01, 0.6)), (below, above));
            for beside in [-1e-6, 1e-6] {
                let confidence = judge_rest(span(1.0 + limit + beside, 0.6)).2;
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
            (RUSHED_BELOW - 0.08, 0.6),
            (RUSHED_BELOW + 0.08, 0.6),
            (STRETCHED_ABOVE - 0.08, 0.6),
            (STRETCHED_ABOVE + 0.08, 0.6),
            (1.0, FILLED_BELOW - 0.04),
            (1.0, FILLED_BELOW + 0.04),
        ] {
            let confidence = judge_rest(span(1.0 + played, silence)).2;
            assert!((confidence - (1.0 - one_in_2e)).abs() < 1e-6, "{played} {silence}: {confidence}");
        }
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
                extra_inside: false,
            })
        };
        assert_eq!((two(1.0, 0.9).0, two(1.0, 0.9).1), (RestVerdict::Rushed, 1.0));
        assert_eq!((two(2.0, 0.4).0, two(2.0, 0.6).0), (RestVerdict::Filled, RestVerdict::Kept));
        assert_eq!(two(2.7, 1.5).0, RestVerdict::Kept);
        assert_eq!(two(2.9, 1.5).0, RestVerdict::Stretched);
        assert_eq!(two(-5.0, 0.0).1, 0.0);
    }

    #[test]
    fn an_extra_note_fills_a_rest_that_was_given_its_time_and_leaves_a_rushed_one_rushed() {
        let with_extra = |played: f64| judge_rest(RestSpan { extra_inside: true, ..span(1.0 + played, 0.6) });
        assert_eq!(with_extra(1.0), (RestVerdict::Filled, 1.0, 0.8));
        assert_eq!(with_extra(2.0).0, RestVerdict::Filled);
        assert_eq!(with_extra(0.4).0, RestVerdict::Rushed);
    }
}
