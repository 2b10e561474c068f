//! Results become the rows of a gradebook, as text that no spreadsheet takes for a formula.

use super::student_result::{ClassTake, StudentResult, TakeResult};
use super::students_from_table::shown;

/// A cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// A number of our own making.
    Number(f64),
    /// Text; control characters are spelled out.
    Text(String),
}

/// The longest text of a cell; a spreadsheet takes 32,767 characters.
const LONGEST: usize = 1000;

/// The names of the columns.
pub const GRADEBOOK_COLUMNS: [&str; 15] = [
    "student",
    "instrument",
    "group",
    "melody",
    "takes",
    "counted",
    "mark",
    "band",
    "pitch %",
    "rhythm %",
    "rests %",
    "intonation %",
    "places to listen to",
    "mark before",
    "note",
];

/// A row for each student, in the order of the class list.
pub fn gradebook(results: &[StudentResult]) -> Vec<Vec<Cell>> {
    results.iter().map(row).collect()
}

fn text(value: &str) -> Cell {
    Cell::Text(shown(value).chars().take(LONGEST).collect())
}

fn number(value: Option<f64>) -> Cell {
    value.map_or(Cell::Text(String::new()), Cell::Number)
}

fn row(result: &StudentResult) -> Vec<Cell> {
    let counted = result.counted.and_then(|at| result.takes.get(at));
    let several = result.in_the_mark.len() > 1;
    // Of several takes that all count, the mean, as of their marks.
    // Without a mark there are no parts of one: what could be judged is in the student's own file.
    let told: Vec<&ClassTake> = match several {
        _ if result.mark.is_none() => Vec::new(),
        true => result.in_the_mark.iter().map(|at| &result.takes[*at]).collect(),
        false => result.drawn().into_iter().collect(),
    };
    let share = |at: usize| {
        let of = |take: &&ClassTake| take.mark()?.criteria.get(at)?.share();
        let shares: Vec<f64> = told.iter().filter_map(of).collect();
        let mean = shares.iter().sum::<f64>() / shares.len() as f64;
        number((!shares.is_empty()).then(|| (mean * 100.0).round()))
    };
    let counted = match several {
        true => format!("{} takes: the mean", result.in_the_mark.len()),
        // Without a mark nothing was counted.
        false => counted.filter(|_| result.mark.is_some()).map_or(String::new(), |take| take.name.clone()),
    };
    let listen: usize =
        result.takes.iter().filter_map(|take| take.mark()).map(|mark| mark.listen.len()).sum();
    let (mark, band) = match (&result.teachers, result.mark) {
        (Some(own), _) => (own.mark.parse().map_or_else(|_| text(&own.mark), Cell::Number), None),
        (None, Some(mark)) => (Cell::Number(mark), result.band.as_deref()),
        (None, None) => (text(""), None),
    };
    // Infinity and what is no number are words.
    let mark = match mark {
        Cell::Number(number) if !number.is_finite() => text(&number.to_string()),
        other => other,
    };
    let mut cells = vec![
        text(&result.shown),
        text(&result.student.instrument.map_or(String::new(), |instrument| instrument.to_string())),
        text(&result.student.group),
        text(&result.melody),
        Cell::Number(result.takes.len() as f64),
        text(&counted),
        mark,
        text(band.unwrap_or("")),
    ];
    cells.extend((0..4).map(share));
    cells.push(Cell::Number(listen as f64));
    // A number is one of as many points as the mark beside it.
    cells.push(match result.before {
        Some(before) if before.of_another.is_some() => text(&before.to_string()),
        before => number(before.map(|before| before.mark)),
    });
    cells.push(text(&note(result)));
    cells
}

fn note(result: &StudentResult) -> String {
    if let Some(own) = &result.teachers {
        let without = result.mark.map_or("none".to_owned(), |mark| mark.to_string());
        let why = if own.note.is_empty() { String::new() } else { format!(": {}", own.note) };
        return format!("the teacher's own mark{why} (the program's: {without})");
    }
    if let Some(why) = &result.why_none {
        return format!("no mark: {why}");
    }
    let failed = result.takes.iter().find_map(|take| match &take.result {
        TakeResult::Failed(why) => Some(format!("{}: {why}", take.name)),
        TakeResult::Heard { .. } => None,
    });
    let counted = result.counted.and_then(|at| result.takes.get(at));
    let late = counted.and_then(|take| take.late).map(|day| format!("late: {day}"));
    late.into_iter().chain(failed).collect::<Vec<_>>().join("; ")
}

/// The cell as it stands in a CSV file. Text that a spreadsheet would take for a formula (`=`, `+`, `-`, `@`, also in
/// their wide forms, after a blank, a tab or a carriage return) gets an apostrophe before it (OWASP, "CSV Injection").
pub fn csv_cell(cell: &Cell) -> String {
    match cell {
        Cell::Number(number) => number.to_string(),
        Cell::Text(text) => {
            let first = text.trim_start().chars().next();
            let formula =
                matches!(first, Some('=' | '+' | '-' | '@' | '＝' | '＋' | '－' | '＠' | '\t' | '\r'));
            if formula { format!("'{text}") } else { text.clone() }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_a_spreadsheet_would_reckon_gets_an_apostrophe() {
        let cell = |value: &str| csv_cell(&text(value));
        assert_eq!(
            ["=1+1", "+", "-", "@SUM(A1)", " =1", "＝1"].map(cell),
            ["'=1+1", "'+", "'-", "'@SUM(A1)", "' =1", "'＝1"]
        );
        assert_eq!(cell("violin-1"), "violin-1");
        assert_eq!(cell("\t=1\r\n"), "\\t=1\\r\\n");
        assert_eq!(csv_cell(&Cell::Number(-3.5)), "-3.5");
    }

    proptest! {
        #[test]
        fn no_text_begins_like_a_formula_or_holds_a_control_character(value in any::<String>()) {
            let cell = csv_cell(&text(&value));
            prop_assert!(!cell.starts_with(['=', '+', '-', '@', '\t', '\r']));
            prop_assert!(!cell.chars().any(char::is_control));
        }
    }
}
