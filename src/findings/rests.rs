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
}
