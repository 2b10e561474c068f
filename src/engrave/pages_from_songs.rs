//! Many melodies become one book: a contents page, then each melody from a new page on.

use super::drawing::{Anchor, Mark, What};
use super::heading::{Heading, WORDS_MM, draw_heading};
use super::letters;
use super::page::{Engraved, Frame, Page, SheetSettings};
use super::pages_from_melody::{pages_from_melody, words};
use crate::notation::{Instrument, Melody};
use crate::remark::Remark;

/// One melody of a book.
#[derive(Debug, Clone, PartialEq)]
pub struct Song {
    /// What it is called where it has no title: the name of its file.
    pub name: String,
    /// The melody.
    pub melody: Melody,
}

/// The pages of a book, in the order of `songs`: first the contents with page numbers, then every melody. Remarks begin
/// with the melody's title. Where two have one title, the contents name their instruments.
pub fn pages_from_songs(songs: &[Song], title: &str, settings: &SheetSettings) -> Engraved {
    let mut remarks = Vec::new();
    let title = words(Some(title), "title", &mut remarks).unwrap_or_else(|| "Songbook".to_owned());
    let mut parts: Vec<(String, &'static str, String, Vec<Page>)> = Vec::new();
    for song in songs {
        let mut melody = song.melody.clone();
        if melody.title.as_deref().is_none_or(|title| title.trim().is_empty()) {
            melody.title = Some(song.name.clone());
        }
        let named = words(melody.title.as_deref(), "title", &mut Vec::new()).unwrap_or_default();
        let composer =
            words(melody.sheet.composer.as_deref(), "composer", &mut Vec::new()).unwrap_or_default();
        let engraved = pages_from_melody(&melody, settings);
        remarks.extend(
            engraved.remarks.into_iter().map(|one| Remark::new(&one.code, format!("{named}: {}", one.text))),
        );
        let player = melody.instrument.map_or("", Instrument::name);
        parts.push((named, player, composer, engraved.pages));
    }
    let frame = Frame::new(settings.paper, settings.staff_mm);
    let on_a_page = entries_on_a_page(frame);
    let contents = parts.len().div_ceil(on_a_page).max(1);
    let mut first = contents + 1;
    let mut entries = Vec::new();
    for (named, player, composer, pages) in &parts {
        let again = parts.iter().filter(|other| other.0 == *named).count() > 1;
        let player = if again && !player.is_empty() { format!(" ({player})") } else { String::new() };
        entries.push(Entry { named, player, composer, page: first });
        first += pages.len();
    }
    let mut pages: Vec<Page> = if entries.is_empty() {
        vec![contents_page(&title, &[], true, frame)]
    } else {
        entries
            .chunks(on_a_page)
            .enumerate()
            .map(|(place, entries)| contents_page(&title, entries, place == 0, frame))
            .collect()
    };
    pages.extend(parts.into_iter().flat_map(|(.., pages)| pages));
    for (place, page) in pages.iter_mut().enumerate() {
        number(page, place + 1);
    }
    Engraved { pages, remarks }
}

const ENTRY_MM: f64 = 8.5;
const HEAD_MM: f64 = 32.0;

fn entries_on_a_page(frame: Frame) -> usize {
    let room = frame.bottom() - frame.top() - frame.spaces(HEAD_MM);
    (room / frame.spaces(ENTRY_MM)).floor().max(1.0) as usize
}

/// A line of the contents.
struct Entry<'a> {
    named: &'a str,
    /// Who plays it, with its brackets; empty where the name tells melodies apart.
    player: String,
    composer: &'a str,
    page: usize,
}

fn contents_page(title: &str, entries: &[Entry<'_>], first: bool, frame: Frame) -> Page {
    let mut marks = Vec::new();
    if first {
        draw_heading(
            &Heading { title: Some(title), part: None, composer: None },
            frame,
            frame.top(),
            &mut marks,
        );
    }
    let em = frame.spaces(WORDS_MM);
    let mut y = frame.top() + frame.spaces(HEAD_MM);
    for Entry { named, player, composer, page } in entries {
        let number = page.to_string();
        let room = frame.width() / em - 3.0;
        let by = if composer.is_empty() { String::new() } else { shortened(composer, room * 0.35) };
        let shown = shortened(named, room - letters::width(&by) - letters::width(player) - 1.5) + player;
        let from = frame.left() + letters::width(&shown) * em + em * 0.6;
        marks.push(Mark::words(What::Words, shown, (frame.left(), y), em, Anchor::Start));
        let mut to = frame.right() - em * 2.2;
        if !by.is_empty() {
            marks.push(Mark::words(What::Composer, by.clone(), (to, y), em, Anchor::End));
            to -= letters::width(&by) * em + em * 0.6;
        }
        // A row of points leads the eye from the title to the page; the points of all entries stand in columns.
        let column = em * 0.7;
        let mut at = frame.right() - ((frame.right() - to) / column).ceil() * column - column;
        while at > from {
            marks.push(Mark::words(What::Words, ".", (at, y), em, Anchor::Start));
            at -= column;
        }
        marks.push(Mark::words(What::PageNumber, number, (frame.right(), y), em, Anchor::End));
        y += frame.spaces(ENTRY_MM);
    }
    frame.page(title, marks)
}

fn shortened(text: &str, room: f64) -> String {
    if letters::width(text) <= room {
        return text.to_owned();
    }
    let mut out = text.to_owned();
    while !out.is_empty() && letters::width(&out) + letters::width("…") > room {
        out.pop();
    }
    out.push('…');
    out
}

/// The page of the book in the middle of the foot; a melody's own count of its pages gives way to it.
fn number(page: &mut Page, number: usize) {
    let frame = Frame { paper: page.paper, space_mm: page.space_mm };
    let foot = frame.foot();
    page.marks.retain(|mark| {
        !(mark.what == What::PageNumber && (mark.bounds()[3] > foot && mark.bounds()[1] < foot))
    });
    let em = frame.spaces(WORDS_MM * 0.85);
    page.marks.push(Mark::words(
        What::PageNumber,
        number.to_string(),
        (frame.right(), foot),
        em,
        Anchor::End,
    ));
}
