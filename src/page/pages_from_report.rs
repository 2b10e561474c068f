//! The report on paper: the same sections and the same figures as the page for a browser, as pages for a PDF.

use super::content::{PageContent, PageSettings, Room};
use super::figure_on_paper::two_abreast;
use super::html_from_report::one_a_line;
use super::legend_from_systems::legend;
use super::staff::systems_on_paper;
use super::svg::Figure;
use super::{
    explained, strings_from_report, table_figure, tape_from_report, timing_from_report, trace_from_contour,
};
use crate::engrave::{Block, Engraved, Paper, pages_from_blocks};
use crate::findings::Outcome;
use crate::report::{
    AND_NOW, About, ChildSection, NOTHING_TO_FIX, child_sections, how_to_read, nothing_to_fix,
    teacher_summary, teacher_tables, what_changed,
};

/// The report as pages of `paper`, to be made a PDF. The same content gives the same pages.
pub fn pages_from_report(content: &PageContent<'_>, settings: &PageSettings, paper: Paper) -> Engraved {
    let report = content.report;
    let sections = child_sections(report, &settings.text());
    let mut sheet = Sheet { blocks: Vec::new(), width_mm: Block::width_mm(paper) };
    let title = content.title();
    sheet.blocks.push(Block::Title(title.clone()));
    sheet.paragraph(&content.facts());
    if report.outcome == Outcome::Judged {
        judged(&mut sheet, content, settings, &sections);
    } else {
        for section in &sections {
            sheet.section(section.about.heading(), &section.lines);
        }
        sheet.paragraph(explained::REFUSED);
    }
    if settings.detail {
        detail(&mut sheet, content, settings);
    }
    sheet.paragraph(explained::MADE_BY);
    pages_from_blocks(&title, &sheet.blocks, paper)
}

/// Figures are a little narrower than the lines, so that a report of eight bars stays on two pages.
const OF_THE_WIDTH: f64 = 0.75;

struct Sheet {
    blocks: Vec<Block>,
    width_mm: f64,
}

impl Sheet {
    fn heading(&mut self, text: &str) {
        self.blocks.push(Block::Heading(text.to_owned()));
    }

    fn paragraph(&mut self, text: &str) {
        self.blocks.push(Block::Paragraph(text.to_owned()));
    }

    fn section(&mut self, heading: &str, lines: &[String]) {
        if lines.is_empty() {
            return;
        }
        self.heading(heading);
        match lines {
            [one] => self.paragraph(one),
            _ => lines.iter().for_each(|line| self.paragraph(&format!("– {line}"))),
        }
    }

    fn figure(&mut self, figure: &Figure) {
        let (svg, size_mm) = figure.on_paper(self.width_mm * OF_THE_WIDTH);
        self.blocks.push(Block::Figure { svg, size_mm });
    }
}

fn judged(sheet: &mut Sheet, content: &PageContent<'_>, settings: &PageSettings, sections: &[ChildSection]) {
    let report = content.report;
    let about = |about: About| sections.iter().find(|section| section.about == about);
    let good = about(About::WentWell).map_or(&[][..], |section| &section.lines);
    sheet.section(About::WentWell.heading(), good);
    if let Some(first) = about(About::FixFirst) {
        sheet.section(About::FixFirst.heading(), &first.lines);
    } else if nothing_to_fix(sections) {
        sheet.section(AND_NOW, &[NOTHING_TO_FIX.to_owned()]);
    }
    sheet.heading(explained::STAFF_HEADING);
    let width_mm = sheet.width_mm;
    let systems = systems_on_paper(report, content.melody, &settings.text(), width_mm);
    sheet.paragraph(&legend(&systems));
    sheet.blocks.extend(systems.into_iter().map(Block::System));
    for section in sections
        .iter()
        .filter(|section| !matches!(section.about, About::WentWell | About::FixFirst | About::NotJudged))
    {
        sheet.section(section.about.heading(), &section.lines);
    }
    let tapes = tape_from_report::tapes(report, settings);
    if !tapes.is_empty() {
        sheet.heading(explained::TAPES_HEADING);
        sheet
            .paragraph(&explained::tapes(settings.text().string_length_of(report.melody.instrument), &tapes));
        let reach = tape_from_report::reach(&tapes);
        let strips: Vec<(String, Figure)> = tapes
            .iter()
            .map(|tape| {
                let heading = format!("The {} string", tape.letter);
                (heading, tape_from_report::strip(tape, reach, Room::Narrow))
            })
            .collect();
        two_abreast(&strips).iter().for_each(|pair| sheet.figure(pair));
    }
    let trace = content.f0.and_then(|f0| Some((f0, trace_from_contour::trace(report, f0, Room::Wide)?)));
    if let Some((f0, trace)) = trace {
        let without = trace_from_contour::has_note_without_line(report, f0);
        sheet.heading(explained::TRACE_HEADING);
        sheet.paragraph(&[explained::TRACE, if without { explained::TRACE_WITHOUT } else { "" }].concat());
        sheet.figure(&trace);
    }
    if let Some(timing) = timing_from_report::timing(report, content.melody, Room::Wide) {
        sheet.heading(explained::TIMING_HEADING);
        sheet.paragraph(explained::TIMING);
        sheet.figure(&timing);
    }
    if let Some(strings) = strings_from_report::strings(report, Room::Wide) {
        sheet.heading(explained::STRINGS_HEADING);
        sheet.figure(&strings);
        sheet.paragraph(explained::STRINGS);
    }
    let earlier = content.earlier.iter().rev().find(|take| take.1.outcome == Outcome::Judged);
    if let Some((number, before)) = earlier {
        sheet.heading(explained::PROGRESS_HEADING);
        sheet.paragraph(what_changed(before, *number, report).trim_end());
    }
}

fn detail(sheet: &mut Sheet, content: &PageContent<'_>, settings: &PageSettings) {
    sheet.heading(explained::DETAIL_HEADING);
    for line in teacher_summary(content.report).lines() {
        sheet.paragraph(line);
    }
    for table in teacher_tables(content.report, &settings.text()) {
        sheet.heading(table.heading);
        for part in table_figure::figures(&table) {
            sheet.figure(&part);
        }
    }
    let read = how_to_read(content.report, &settings.text());
    sheet.section(explained::HOW_TO_READ, &one_a_line(&read));
}
