//! What was done and what is left to do, on standard output.

use super::marks_folder::TEACHERS_MARKS;
use super::results::{Class, Results};
use crate::cli::shared::exit_codes::Ending;
use crate::cli::shared::print;
use crate::cli::shared::shown::Shown as _;
use std::path::Path;

/// Says it; the exit code says whether anything is left to do.
pub fn summary(
    class: &Class<'_>,
    results: &Results,
    output: &Path,
    reports: usize,
    roster: &str,
) -> miette::Result<Ending> {
    let Results { students: results, lines_of_nobody, .. } = results;
    let marked = results.iter().filter(|result| result.final_mark().is_some()).count();
    let open = results.iter().filter(|result| result.open()).count();
    let count =
        |number: usize, one: &str, many: &str| format!("{number} {}", if number == 1 { one } else { many });
    let takes: usize = results.iter().map(|result| result.takes.len()).sum();
    let mut out = format!(
        "{}, {}: {marked} with a mark, {open} to listen to or to look at.\n",
        count(results.len(), "student", "students"),
        count(takes, "take", "takes"),
    );
    for problem in &class.roster.problems {
        out.push_str(&format!("{}\n", problem.sentence(roster)));
    }
    let matched = class.matched;
    let lists: [(usize, &str, &str); 4] = [
        (matched.nobodys.len(), "file fits no student", "files fit no student"),
        (
            matched.ambiguous.len(),
            "file could belong to several students",
            "files could belong to several students",
        ),
        (
            matched.handed_in_twice.len(),
            "recording was handed in for several students",
            "recordings were handed in for several students",
        ),
        (matched.refused.len(), "file was not looked at", "files were not looked at"),
    ];
    let lists: Vec<String> = lists
        .iter()
        .filter(|(number, ..)| *number > 0)
        .map(|(number, one, many)| count(*number, one, many))
        .collect();
    if !lists.is_empty() {
        let place = if class.arguments.anonymous { "--dry-run names them" } else { "files.txt names them" };
        out.push_str(&format!("{}; {place}.\n", lists.join(", ")));
    }
    out.push_str(&format!(
        "In {}: overview.pdf, overview.html, gradebook.xlsx, gradebook.csv, listen-to-these.txt, and students/ with {}.\n",
        output.shown(),
        count(reports, "report", "reports")
    ));
    if open > 0 {
        out.push_str(&format!(
            "Look first at listen-to-these.txt; then write your own mark as a line into {TEACHERS_MARKS} (student,mark,note) and run this again.\n"
        ));
    }
    print::plain(&out)?;
    let done = open == 0 && matched.open() == 0 && class.roster.problems.is_empty() && *lines_of_nobody == 0;
    Ok(if done { Ending::Done } else { Ending::Refused })
}
