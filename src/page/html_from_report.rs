//! The page: sections in the order of reading, around the figures. `maud` escapes whatever stands in it.

use super::content::{PageContent, PageSettings, PlayingTest, Room, playing};
use super::list_from_report::{ListLine, list_lines};
use super::policy::{SCRIPT, STYLE, policy};
use super::sound_from_samples::{Sound, sound_from_samples};
use super::staff::{NoteWords, note_words, staves};
use super::svg::Figure;
use super::{explained, strings_from_report, tape_from_report, timing_from_report, trace_from_contour};
use crate::findings::{Outcome, Report};
use crate::formats::is_unseen;
use crate::report::{
    AND_NOW, About, ChildSection, NOTHING_TO_FIX, TeacherTable, child_sections, counts_by_bar, how_to_read,
    nothing_to_fix, teacher_summary, teacher_tables, what_changed, words,
};
use crate::units::Seconds;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// Seconds of the take before the first and after the last note that go into the page.
const AROUND: f64 = 0.4;
/// Takes side by side in the table of progress: the newest.
const SIDE_BY_SIDE: usize = 5;

/// The page as one HTML file that needs nothing else: no network, no other file. Cannot fail; the same content gives the
/// same bytes.
pub fn html(content: &PageContent<'_>, settings: &PageSettings) -> String {
    let report = content.report;
    let sections = child_sections(report, &settings.text());
    let judged = report.outcome == Outcome::Judged;
    let sound = if settings.sound && judged { sound_of(content) } else { None };
    let title = content.title();
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy());
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="referrer" content="no-referrer";
                title {
                    @if let Some(test) = content.playing_test { (words::harmless(&test.who)) ": " }
                    (title) " (" (report.melody.instrument) ")"
                }
                style { (PreEscaped(&*STYLE)) }
            }
            body {
                header {
                    h1 { (title) }
                    @if let Some(test) = content.playing_test { p { (words::harmless(&test.who)) } }
                    p class="facts" { (content.facts()) }
                    @if let Some(test) = content.playing_test {
                        p class="mark" { (words::harmless(&test.mark)) }
                        @for note in &test.notes { p { (words::harmless(note)) } }
                    }
                }
                main {
                    @if judged { (judged_page(content, settings, &sections, sound.as_ref())) }
                    @else { (refused_page(&sections)) }
                    @if let Some(test) = content.playing_test { (behind_the_mark(test)) }
                    @if settings.detail { (detail(report, settings)) }
                }
                footer {
                    p { (explained::MADE_BY) " This file holds "
                        @if sound.is_some() { "the recording itself: share it as carefully as a recording." }
                        @else { "no recording." }
                    }
                }
                @if let Some(sound) = &sound {
                    script type="text/plain" id="take-sound" data-gain=(format!("{:.4}", sound.gain)) { (PreEscaped(&sound.flac_base64)) }
                }
                script { (PreEscaped(SCRIPT)) }
            }
        }
    };
    let mut page = page.into_string();
    // HTML has no place for them, or they turn what is read; and titles and names come from files.
    page.retain(|letter| letter == '\n' || !(letter.is_control() || is_unseen(letter)));
    page
}

fn sound_of(content: &PageContent<'_>) -> Option<Sound> {
    let (first, last) = playing(content.report)?;
    sound_from_samples(content.samples?, Seconds(first - AROUND), Seconds(last + AROUND))
}

fn refused_page(sections: &[ChildSection]) -> Markup {
    html! {
        @for section in sections {
            section class=(if section.about == About::NotJudged { "first" } else { "more" }) {
                h2 { (section.about.heading()) }
                @for line in &section.lines { p { (line) } }
            }
        }
        p { (explained::REFUSED) }
    }
}

fn lines_about(sections: &[ChildSection], about: About) -> &[String] {
    sections.iter().find(|section| section.about == about).map_or(&[], |section| section.lines.as_slice())
}

fn judged_page(
    content: &PageContent<'_>,
    settings: &PageSettings,
    sections: &[ChildSection],
    sound: Option<&Sound>,
) -> Markup {
    let report = content.report;
    let good = lines_about(sections, About::WentWell);
    let first = lines_about(sections, About::FixFirst);
    let tapes = tape_from_report::tapes(report, settings);
    let traces = |room| content.f0.and_then(|f0| trace_from_contour::trace(report, f0, room));
    html! {
        section class="first" {
            h2 { (About::WentWell.heading()) }
            p { (good.first().map_or("", String::as_str)) }
            @if !first.is_empty() {
                h2 { (About::FixFirst.heading()) }
                p class="fix" { @for line in first { (line) } }
            } @else if nothing_to_fix(sections) {
                h2 { (AND_NOW) }
                p class="fix" { (NOTHING_TO_FIX) }
            }
        }
        (notes(content, settings, &note_words(content, sound), sound.is_some()))
        @if sections.iter().any(|section| more(section).is_some()) {
            section class="more" {
                h2 { "More to know" }
                @for (heading, lines) in sections.iter().filter_map(more) {
                    h3 { (heading) }
                    ul { @for line in lines { li { (line) } } }
                }
            }
        }
        @if !tapes.is_empty() {
            section {
                h2 { (explained::TAPES_HEADING) }
                p { (explained::tapes(settings.text().string_length_of(report.melody.instrument), &tapes)) }
                div class="tapes" {
                    @for tape in &tapes {
                        div class="keep" {
                            h3 { "The " (tape.letter) " string" }
                            (both(|room| tape_from_report::strip(tape, tape_from_report::reach(&tapes), room)))
                            ul { @for line in tape_from_report::sentences(report, tape) { li { (line) } } }
                        }
                    }
                }
            }
        }
        @if let (Some(wide), Some(narrow)) = (traces(Room::Wide), traces(Room::Narrow)) {
            section {
                h2 { (explained::TRACE_HEADING) }
                p {
                    (explained::TRACE)
                    @if content.f0.is_some_and(|f0| trace_from_contour::has_note_without_line(report, f0)) { (explained::TRACE_WITHOUT) }
                }
                (pair(&wide, &narrow))
            }
        }
        @if let (Some(wide), Some(narrow)) = (
            timing_from_report::timing(report, content.melody, Room::Wide),
            timing_from_report::timing(report, content.melody, Room::Narrow),
        ) {
            section {
                h2 { (explained::TIMING_HEADING) }
                p { (explained::TIMING) }
                (pair(&wide, &narrow))
            }
        }
        @if let (Some(wide), Some(narrow)) =
            (strings_from_report::strings(report, Room::Wide), strings_from_report::strings(report, Room::Narrow))
        {
            section class="keep" {
                h2 { (explained::STRINGS_HEADING) }
                (pair(&wide, &narrow))
                p { (explained::STRINGS) }
            }
        }
        (progress(content))
    }
}

/// What the first section does not say already.
fn more(section: &ChildSection) -> Option<(&'static str, &[String])> {
    let heading = section.about.heading();
    match section.about {
        About::FixFirst | About::NotJudged => None,
        About::WentWell => section
            .lines
            .get(1..)
            .filter(|lines| !lines.is_empty())
            .map(|lines| ("More that went well", lines)),
        _ => Some((heading, &section.lines)),
    }
}

fn both(figure: impl Fn(Room) -> Figure) -> Markup {
    pair(&figure(Room::Wide), &figure(Room::Narrow))
}

/// A figure for wide windows and paper and the same for phones; the style sheet shows one of them.
fn pair(wide: &Figure, narrow: &Figure) -> Markup {
    html! {
        div class="figure" {
            (PreEscaped(wide.svg(Room::Wide.class())))
            (PreEscaped(narrow.svg(Room::Narrow.class())))
        }
    }
}

/// The double staff, and the same as a list; each note is a button.
fn notes(content: &PageContent<'_>, settings: &PageSettings, notes: &[NoteWords], sound: bool) -> Markup {
    let lines = list_lines(content.report, content.melody, notes);
    let staves = staves(content.report, content.melody, notes, &settings.text());
    html! {
        section {
            h2 { (explained::STAFF_HEADING) }
            p id="help" class="screen" {
                "Choose a note (click, or Enter): "
                @if sound { "you hear that moment of your take, then the right pitch." }
                @else { "you read what was heard, and hear the right pitch." }
                " Turn headphones low first."
            }
            p id="now" class="screen now" role="status" aria-live="polite" { "No note is chosen yet." }
            (PreEscaped(&staves.outlines))
            div class="wide staves" { (PreEscaped(&staves.wide)) }
            div class="narrow staves" { (PreEscaped(&staves.narrow)) }
            p class="facts" { (staves.legend) }
            @for remark in &staves.remarks { p class="facts" { (words::harmless(remark)) } }
            details class="screen" {
                summary { (explained::LIST_HEADING) }
                ol class="bars" {
                    @for bar in lines.chunk_by(|a, b| a.bar == b.bar) {
                        li {
                            h3 { (words::sentence(&words::bar(bar[0].bar))) }
                            @for line in bar { (list_line(line)) }
                        }
                    }
                }
            }
        }
    }
}

fn list_line(line: &ListLine<'_>) -> Markup {
    match line.note {
        Some(note) => note_button(note),
        None => html! { p { (words::harmless(&line.said)) } },
    }
}

fn note_button(note: &NoteWords) -> Markup {
    let span = note.span.map(|(from, to)| (format!("{from:.3}"), format!("{to:.3}")));
    let (from, to) = span.unzip();
    html! {
        button type="button" class="note" data-note=(note.event) data-from=[from] data-to=[to]
            data-hertz=(format!("{:.3}", note.hertz)) aria-label=(note.label) {
            (note.said)
        }
    }
}

/// Right notes and rests of each bar of the newest takes, and what changed since the last.
fn progress(content: &PageContent<'_>) -> Markup {
    let judged: Vec<_> = content.earlier.iter().filter(|take| take.1.outcome == Outcome::Judged).collect();
    let Some((number, before)) = judged.last().map(|take| (take.0, &take.1)) else { return html! {} };
    let mut takes: Vec<(String, &Report)> = judged[judged.len().saturating_sub(SIDE_BY_SIDE)..]
        .iter()
        .map(|take| (format!("take {}", take.0), &take.1))
        .collect();
    takes.push(("this take".to_owned(), content.report));
    let counts: Vec<_> = takes.iter().map(|take| counts_by_bar(take.1)).collect();
    let mut bars: Vec<u32> = counts.iter().flatten().map(|counted| counted.0).collect();
    bars.sort_unstable();
    bars.dedup();
    html! {
        section class="keep" {
            h2 { (explained::PROGRESS_HEADING) }
            p { (what_changed(before, number, content.report).trim_end()) }
            table {
                caption { "Right notes and rests of those that could be judged, in each bar" }
                thead { tr { th scope="col" { "bar" } @for take in &takes { th scope="col" { (take.0) } } } }
                tbody {
                    @for bar in bars {
                        tr {
                            th scope="row" { (bar) }
                            @for counted in &counts {
                                td { @match counted.iter().find(|one| one.0 == bar) {
                                    Some((_, right, all)) => { (right) " of " (all) }
                                    None => { "–" }
                                } }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// What a mark was given for, each with the notes that were not good; and where a teacher has to listen.
fn behind_the_mark(test: &PlayingTest) -> Markup {
    html! {
        @if !test.criteria.is_empty() {
            section {
                h2 { @if test.alone.is_some() { (explained::HEARD_HEADING) } @else { (explained::MARK_HEADING) } }
                @if let Some(alone) = &test.alone { p { (words::harmless(alone)) } }
                table {
                    caption { "What was good, of what could be judged" }
                    thead { tr { th scope="col" { "marked for" } th scope="col" { "good" } th scope="col" { "weight" } } }
                    tbody {
                        @for one in &test.criteria {
                            tr {
                                th scope="row" { (one.name) }
                                td { @if one.counted > 0 { (one.good) " of " (one.counted) } @else { "–" } }
                                td { (one.weight) }
                            }
                        }
                    }
                }
                @if let Some(how) = &test.how { p { (words::harmless(how)) } }
                @for one in &test.criteria {
                    h3 { (words::sentence(one.name)) }
                    ul { @for line in &one.sentences { li { (words::harmless(line)) } } }
                }
                p class="facts" { (explained::MARK) }
            }
        }
        @if !test.listen.is_empty() {
            section {
                h2 { (explained::LISTEN_HEADING) }
                ul { @for place in &test.listen { li { (words::harmless(place)) } } }
            }
        }
    }
}

fn detail(report: &Report, settings: &PageSettings) -> Markup {
    html! {
        section class="detail" {
            h2 { (explained::DETAIL_HEADING) }
            ul { @for line in teacher_summary(report).lines() { li { (line) } } }
            @for table in teacher_tables(report, &settings.text()) { (teacher_table(&table)) }
            @let read = how_to_read(report, &settings.text());
            @if !read.is_empty() {
                h3 { (explained::HOW_TO_READ) }
                ul { @for line in one_a_line(&read) { li { (line) } } }
            }
            @if !report.take.remarks.is_empty() {
                h3 { "Remarks" }
                ul { @for remark in &report.take.remarks { li { (words::harmless(&remark.code)) ": " (words::harmless(&remark.text)) } } }
            }
        }
    }
}

/// Lines that go on where the next one begins with blanks, each whole.
pub(super) fn one_a_line(text: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for line in text.lines() {
        match lines.last_mut() {
            Some(before) if line.starts_with(' ') => *before = format!("{before} {}", line.trim()),
            _ => lines.push(line.trim().to_owned()),
        }
    }
    lines
}

/// A table that can be selected and copied. On a phone each row becomes a few lines, with the headings in them.
fn teacher_table(table: &TeacherTable) -> Markup {
    html! {
        table class="numbers" {
            caption { (table.heading) }
            thead { tr { @for header in table.headers { th scope="col" { (header) } } } }
            tbody {
                @for row in &table.rows {
                    tr {
                        @for (k, (cell, header)) in row.iter().zip(table.headers).enumerate() {
                            td class=(if k < table.words { "word" } else { "number" }) data-of=(header) { (cell) }
                        }
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::content::MarkedFor;
    use super::*;
    use crate::findings::ExtraFinding;
    use crate::formats::read_melody_bytes;
    use crate::notation::Instrument;
    use crate::report::sample_report::{report, wrong};

    fn page(edit: impl Fn(&mut Report), playing_test: Option<&PlayingTest>) -> String {
        let mut report = report(Instrument::Violin, &["D4", "E4", "F#4", "-"]);
        edit(&mut report);
        let text = "instrument = 'violin'\nmetre = '4/4'\nbars = ['D4 q E4 F#4 rest']";
        let melody = read_melody_bytes("m.toml", text.as_bytes()).expect("a melody").melody;
        let (f0, samples, number) = (None, None, None);
        let content =
            PageContent { report: &report, melody: &melody, f0, samples, number, earlier: &[], playing_test };
        html(&content, &PageSettings::default())
    }

    #[test]
    fn where_nothing_is_to_be_fixed_the_heading_asks_for_nothing() {
        let good = page(|_| {}, None);
        assert!(good.contains("<h2>And now</h2>") && !good.contains("Fix this first"));
        let other = page(|report| wrong(report, 1, -1.0), None);
        assert!(other.contains("<h2>Fix this first</h2>") && !other.contains("And now"));
    }

    /// A semitone below E is its first finger too low: E flat in the words, on the staff and in the figure of notes.
    #[test]
    fn what_was_heard_has_one_name_on_the_whole_page() {
        let flat = page(|report| wrong(report, 1, -1.0), None);
        assert!(flat.contains("you played E flat") && flat.contains("E♭"), "{flat}");
        assert!(!flat.contains("D sharp") && !flat.contains("D♯"), "{flat}");
    }

    #[test]
    fn above_things_to_do_it_is_not_said_that_nothing_is_to_be_fixed() {
        let low = page(
            |report| {
                report.tuning.offset_cents = Some(-40.0);
                report.notes.iter_mut().for_each(|note| note.cents = Some(-40.0));
            },
            None,
        );
        assert!(low.contains("Before you play again"), "{low}");
        let extra = page(
            |report| {
                report.extra = vec![ExtraFinding {
                    after_index: Some(1),
                    onset_s: 1.2,
                    offset_s: 1.5,
                    played_midi: 69.0,
                }];
            },
            None,
        );
        assert!(extra.contains("Listen here"), "{extra}");
        for page in [low, extra] {
            assert!(!page.contains(NOTHING_TO_FIX) && !page.contains(AND_NOW), "{page}");
        }
    }

    #[test]
    fn under_a_teachers_own_mark_the_program_says_what_it_heard_and_claims_no_mark() {
        let criterion =
            MarkedFor { name: "pitch", weight: 40.0, good: 3, counted: 4, sentences: vec!["3 of 4.".into()] };
        let how = Some("Reckoned.".into());
        let mut test = PlayingTest { criteria: vec![criterion], how, ..PlayingTest::default() };
        let programs = page(|_| {}, Some(&test));
        assert!(programs.contains("<p>Reckoned.</p>"));
        assert!(programs.contains("How the mark was made") && !programs.contains("The program alone"));
        test.alone = Some("The program alone would have said 93.".into());
        let own = page(|_| {}, Some(&test));
        assert!(
            own.contains("What the program heard") && own.contains("The program alone would have said 93.")
        );
        assert!(!own.contains("How the mark was made"));
    }

    #[test]
    fn a_line_that_goes_on_is_one_line() {
        assert_eq!(one_a_line("a: b\n  c d.\ne: f.\n"), ["a: b c d.", "e: f."]);
        assert!(one_a_line("").is_empty());
    }
}
