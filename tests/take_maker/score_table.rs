//! The table that the score prints, with intervals drawn over recordings.

use super::random::Random;
use super::score::Tally;
use super::truth::Truth;
use std::fmt::Write;

type Metric = (&'static str, fn(&Tally) -> f64);

/// Absolute value below which the share `part` lies.
fn quantile(values: &[f64], part: f64) -> f64 {
    let mut sizes: Vec<f64> = values.iter().map(|v| v.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    if sizes.is_empty() { f64::NAN } else { sizes[((sizes.len() - 1) as f64 * part).round() as usize] }
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    if sorted.is_empty() { f64::NAN } else { sorted[sorted.len() / 2] }
}

const METRICS: [Metric; 32] = [
    ("right notes called wrong or missing, per 1000", |t| {
        1000.0 * (t.accused_wrong + t.accused_missing) / t.right
    }),
    ("  called wrong, per 1000", |t| 1000.0 * t.accused_wrong / t.right),
    ("  called missing, per 1000", |t| 1000.0 * t.accused_missing / t.right),
    ("unsure, % of written notes", |t| 100.0 * t.unsure / t.written),
    ("mistakes called right, % of them", |t| {
        100.0 * t.mistakes_praised / (t.wrong.hit + t.wrong.overlooked + t.missing.hit + t.missing.overlooked)
    }),
    ("wrong notes F1", |t| t.wrong.f1()),
    ("  named rightly, %", |t| 100.0 * t.named_rightly / t.wrong.hit),
    ("missing notes F1", |t| t.missing.f1()),
    ("  precision", |t| t.missing.precision()),
    ("  recall", |t| t.missing.recall()),
    ("extra notes F1", |t| t.extra.f1()),
    ("  precision", |t| t.extra.precision()),
    ("  recall", |t| t.extra.recall()),
    ("rushed rests F1", |t| t.rushed.f1()),
    ("kept rests called bad, %", |t| 100.0 * t.kept_called_bad / t.kept_rests),
    ("filled rests found, %", |t| 100.0 * t.filled.recall()),
    ("stretched rests found, %", |t| 100.0 * t.stretched.recall()),
    ("rests unsure, %", |t| 100.0 * t.rests_unsure / t.rests),
    ("restarts found, %", |t| 100.0 * t.restarts.recall()),
    ("  landing note right, %", |t| 100.0 * t.restarts_landed / t.restarts.hit),
    ("  invented", |t| t.restarts.invented),
    ("takes refused wrongly", |t| t.refused_wrongly),
    ("cents error, median", |t| quantile(&t.cents, 0.5)),
    ("cents error, 95 %", |t| quantile(&t.cents, 0.95)),
    ("cents not given, % of agreed notes", |t| {
        100.0 * t.cents_absent / (t.cents_absent + t.cents.len() as f64)
    }),
    ("onset error, median ms", |t| quantile(&t.onset, 0.5)),
    ("onset error, 95 % ms", |t| quantile(&t.onset, 0.95)),
    ("onset bias (late +), median ms", |t| median(&t.onset)),
    ("offset error, median ms", |t| quantile(&t.offset, 0.5)),
    ("offset error, 95 % ms", |t| quantile(&t.offset, 0.95)),
    ("offset bias (late +), median ms", |t| median(&t.offset)),
    ("tuning error, 95 % cents", |t| quantile(&t.tuning, 0.95)),
];

fn sum<'a>(tallies: impl Iterator<Item = &'a Tally>) -> Tally {
    let mut total = Tally::default();
    tallies.for_each(|t| total.add(t));
    total
}

fn figure(value: f64) -> String {
    if value.is_nan() {
        "–".into()
    } else if value.abs() >= 100.0 {
        format!("{value:.0}")
    } else if value.abs() >= 10.0 {
        format!("{value:.1}")
    } else {
        format!("{value:.3}")
    }
}

/// 95 % interval of each metric, drawing whole recordings with replacement (Efron 1979).
fn intervals(tallies: &[&Tally], draws: usize) -> Vec<(f64, f64)> {
    let mut random = Random::new(20, 26);
    let mut values: Vec<Vec<f64>> = vec![Vec::new(); METRICS.len()];
    for _ in 0..draws {
        let drawn = sum((0..tallies.len()).map(|_| tallies[random.below(tallies.len())]));
        for (values, (_, metric)) in values.iter_mut().zip(&METRICS) {
            let value = metric(&drawn);
            if value.is_finite() {
                values.push(value);
            }
        }
    }
    values
        .into_iter()
        .map(|mut v| {
            v.sort_by(f64::total_cmp);
            let at =
                |part: f64| v.get(((v.len().max(1) - 1) as f64 * part) as usize).copied().unwrap_or(f64::NAN);
            (at(0.025), at(0.975))
        })
        .collect()
}

/// The groups of takes, all of them first.
fn groups(scored: &[(Truth, Tally)]) -> Vec<(String, Tally)> {
    let mut groups: Vec<(String, Tally)> = vec![("all".into(), sum(scored.iter().map(|(_, t)| t)))];
    let mut group = |name: &str, wanted: &dyn Fn(&Truth) -> bool| {
        let tally = sum(scored.iter().filter(|(truth, _)| wanted(truth)).map(|(_, t)| t));
        if tally.takes > 0.0 {
            groups.push((name.into(), tally));
        }
    };
    for instrument in fingertape::notation::Instrument::ALL {
        group(&format!("{instrument:?}").to_lowercase(), &|t| t.instrument == instrument);
    }
    for condition in ["dry", "room", "phone", "click"] {
        group(condition, &|t| t.condition == condition);
    }
    group("control", &|t| t.control);
    groups
}

/// What the takes hold, in a line or two.
fn contents(total: &Tally) -> String {
    let mut out = format!(
        "{} takes, {} written notes, {} right, {} wrong, {} missing, {} extra, {} scored rests, {} restarts\n",
        total.takes,
        total.written,
        total.right,
        total.wrong.hit + total.wrong.overlooked,
        total.missing.hit + total.missing.overlooked,
        total.extra.hit + total.extra.overlooked,
        total.rests,
        total.restarts.hit + total.restarts.overlooked
    );
    if total.foreign > 0.0 {
        let _ = writeln!(
            out,
            "{} takes of another melody, {} refused; {} of {} notes called right in the others",
            total.foreign, total.foreign_refused, total.foreign_praised, total.foreign_notes
        );
    }
    out
}

/// The short table, in Markdown: every metric that the takes have a case of, for all and for each instrument.
pub fn short_table(scored: &[(Truth, Tally)], draws: usize) -> String {
    let all: Vec<&Tally> = scored.iter().map(|(_, t)| t).collect();
    let mut groups = groups(scored);
    groups.retain(|(name, _)| ["all", "violin", "viola", "cello", "bass"].contains(&name.as_str()));
    let heads: Vec<&str> = groups[1..].iter().map(|(name, _)| name.as_str()).collect();
    let mut out = format!("{}\n| | all | 95 % interval | {} |\n", contents(&groups[0].1), heads.join(" | "));
    let _ = writeln!(out, "|---|---|---|{}", "---|".repeat(heads.len()));
    for ((name, metric), (low, high)) in METRICS.iter().zip(intervals(&all, draws)) {
        if metric(&groups[0].1).is_nan() {
            continue;
        }
        let name = name.strip_prefix("  ").map_or(name.to_string(), |part| format!("– {part}"));
        let _ = write!(
            out,
            "| {name} | {} | {} to {} |",
            figure(metric(&groups[0].1)),
            figure(low),
            figure(high)
        );
        for (_, tally) in &groups[1..] {
            let _ = write!(out, " {} |", figure(metric(tally)));
        }
        out.push('\n');
    }
    let _ = writeln!(
        out,
        "\n| confidence of a note | verdicts | mean confidence | share right |\n|---|---|---|---|"
    );
    for (low, high, count, said, right) in bands(&groups[0].1.confidence) {
        let _ = writeln!(out, "| {low:.2} to {high:.2} | {count} | {said:.3} | {right:.3} |");
    }
    out
}

/// All tables.
pub fn tables(scored: &[(Truth, Tally)], draws: usize) -> String {
    let all: Vec<&Tally> = scored.iter().map(|(_, t)| t).collect();
    let groups = groups(scored);
    let total = &groups[0].1;
    let mut out = contents(total);
    let _ = write!(out, "\n{:46}", "");
    for (name, _) in &groups {
        let _ = write!(out, "{name:>9}");
        if name == "all" {
            let _ = write!(out, "{:>18}", "95 % interval");
        }
    }
    out.push('\n');
    let intervals = intervals(&all, draws);
    for ((name, metric), (low, high)) in METRICS.iter().zip(intervals) {
        let _ = write!(out, "{name:46}");
        for (group, tally) in &groups {
            let _ = write!(out, "{:>9}", figure(metric(tally)));
            if group == "all" {
                let _ = write!(out, "{:>18}", format!("{} … {}", figure(low), figure(high)));
            }
        }
        out.push('\n');
    }
    reliability(&mut out, "notes", &total.confidence);
    reliability(&mut out, "rests", &total.rest_confidence);
    let _ = writeln!(out, "\nplanted                    count   judged rightly");
    for (name, (count, good)) in &total.planted {
        let _ = writeln!(out, "{name:24} {count:>7} {:>15.1} %", 100.0 * good / count);
    }
    let _ = writeln!(out, "\nright notes by join                        count   accused   unsure");
    for (name, (count, accused, unsure)) in &total.joins {
        let _ = writeln!(out, "{name:40} {count:>7} {accused:>9} {unsure:>8}");
    }
    out
}

/// Verdicts by their confidence: from, to, how many, the mean confidence and the share that is right.
fn bands(verdicts: &[(f64, bool)]) -> Vec<(f64, f64, usize, f64, f64)> {
    let edges = [(0.0, 0.5), (0.5, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 0.99), (0.99, 1.01)];
    let band = |&(low, high): &(f64, f64)| {
        let here: Vec<_> = verdicts.iter().filter(|(c, _)| (low..high).contains(c)).collect();
        let count = here.len() as f64;
        let said = here.iter().map(|(c, _)| c).sum::<f64>() / count;
        let right = here.iter().filter(|(_, right)| *right).count() as f64 / count;
        (!here.is_empty()).then_some((low, high.min(1.0), here.len(), said, right))
    };
    edges.iter().filter_map(band).collect()
}

fn reliability(out: &mut String, what: &str, verdicts: &[(f64, bool)]) {
    let _ = writeln!(out, "\nconfidence of {what}    verdicts   said   right");
    for (low, high, count, said, right) in bands(verdicts) {
        let _ = writeln!(out, "{low:.2} – {high:.2} {count:>17} {said:>8.3} {right:>7.3}");
    }
}
