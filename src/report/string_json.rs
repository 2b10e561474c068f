//! Open strings as JSON.

use super::string_text::{one_string_lines, what_to_do};
use crate::open_string::{FourStrings, Place, Verdict, in_tune, pairs, which_to_fix_first};
use serde_json::{Value, json};

/// What was heard of the strings, as one JSON object that ends with a line feed; `asked` is the string (0 to 3) that
/// was asked for, or `None` for all four. Hertz are rounded to 0.001, cents and beats to 0.01, seconds to 0.01; what
/// is not known is `null`.
///
/// - `asked`: its letter, or `null`; `outcome`: `steady`, `unsteady`, `other-string`, `harmonic`, `octave-below`,
///   `slack`, `stopped-note`, `other-note`, `swinging`, `wandering`, `nothing`; for all four `steady` or `incomplete`.
/// - `strings`, low to high: `string`, `should_be_hz`, `heard_hz`, `cents` (above positive), `moves_cents` (half the
///   range), `steady`, `from_s`, `to_s`, `verdict` (`in-tune`, `low`, `high`, `not-heard`).
/// - `pairs`: `low`, `high`, `cents_wide` (of the pure interval), `beats_per_second`.
/// - `fix_first`: letters in the order in which to tune.
/// - `says`: the sentences of the text.
pub fn string_json(heard: &FourStrings, asked: Option<usize>) -> String {
    let strings = heard.strings();
    let names = strings.instrument.string_names();
    let readings = heard.readings();
    let rows: Vec<Value> = (0..4)
        .map(|string| {
            let reading = readings[string];
            json!({
                "string": names[string],
                "should_be_hz": rounded(strings.should_be(string).0, 3),
                "heard_hz": reading.map(|r| rounded(r.pitch.0, 3)),
                "cents": reading.map(|r| rounded(r.cents.0, 2)),
                "moves_cents": reading.map(|r| rounded(r.moves.0, 2)),
                "steady": reading.map(|r| r.steady),
                "from_s": reading.map(|r| rounded(r.from.0, 2)),
                "to_s": reading.map(|r| rounded(r.to.0, 2)),
                "verdict": match reading.map(|r| r.cents) {
                    None => "not-heard",
                    Some(cents) if in_tune(cents) => "in-tune",
                    Some(cents) if cents.0 < 0.0 => "low",
                    Some(_) => "high",
                },
            })
        })
        .collect();
    let between: Vec<Value> = pairs(strings.instrument, &readings)
        .into_iter()
        .map(|pair| {
            json!({
                "low": names[pair.low],
                "high": names[pair.low + 1],
                "cents_wide": rounded(pair.cents_wide.0, 2),
                "beats_per_second": rounded(pair.beats, 2),
            })
        })
        .collect();
    let first: Vec<&str> =
        which_to_fix_first(strings.instrument, &readings).into_iter().map(|string| names[string]).collect();
    let outcome = match asked {
        Some(asked) => outcome(heard.verdict(asked)),
        None if readings.iter().all(|reading| reading.is_some_and(|r| r.steady)) => "steady",
        None => "incomplete",
    };
    let value = json!({
        "string_report_version": 1,
        "instrument": strings.instrument.to_string(),
        "a4_hz": rounded(strings.a4.0, 3),
        "fifths": strings.fifths,
        "asked": asked.map(|asked| names[asked]),
        "outcome": outcome,
        "strings": rows,
        "pairs": between,
        "fix_first": first,
        "says": asked.map_or_else(|| what_to_do(heard), |asked| one_string_lines(heard, asked)),
    });
    format!("{value:#}\n")
}

fn outcome(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Read(reading) if reading.steady => "steady",
        Verdict::Read(_) => "unsteady",
        Verdict::Swinging => "swinging",
        Verdict::Wandering => "wandering",
        Verdict::Nothing => "nothing",
        Verdict::Elsewhere(place, _) => match place {
            Place::Asked { .. } => "steady",
            Place::Slack { .. } => "slack",
            Place::Above { .. } => "stopped-note",
            Place::Other { .. } => "other-string",
            Place::Harmonic { .. } => "harmonic",
            Place::OctaveBelow { .. } => "octave-below",
            Place::Note { .. } => "other-note",
        },
    }
}

fn rounded(value: f64, decimals: i32) -> f64 {
    let scale = 10_f64.powi(decimals);
    // Minus nothing is nothing.
    (value * scale).round() / scale + 0.0
}
