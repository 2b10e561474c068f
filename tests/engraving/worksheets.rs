//! Sheets to write on, and books.

use crate::{collision, count, melody, names, over_the_edge};
use fingertape::engrave::{
    Choice, Engraved, Given, Shape, SheetSettings, Song, What, Worksheet, WorksheetBar, pages_from_songs,
    pages_from_worksheet,
};
use fingertape::notation::{Instrument, Key, Length, Metre, Spelling};

fn sheet(instrument: Instrument, notes: &[&str]) -> Worksheet {
    let shift = instrument.sounding_shift();
    let choices = notes.iter().map(|name| {
        let written: Spelling = name.parse().expect("a note");
        Choice { written, fingering: instrument.fingerings(written.midi() + shift).first().copied() }
    });
    let given = |start, length, pitch: Option<&str>| Given {
        start: Length::new(start, 4),
        length: Length::new(length, 4),
        pitch: pitch.map(|name| name.parse().expect("a note")),
    };
    let mut bars = vec![WorksheetBar::default(); 8];
    bars[0].given = vec![given(0, 1, Some(notes[0]))];
    bars[3].given = vec![given(3, 1, None)];
    bars[7].given = vec![given(0, 2, Some(notes[2])), given(2, 2, Some(notes[0]))];
    Worksheet {
        title: Some("My first melody".to_owned()),
        tier: None,
        instrument,
        key: Key::new(2).expect("a key"),
        metre: Metre::default(),
        bpm: Some(80.0),
        instructions: vec![
            "Fill all eight bars with quarter notes and half notes.".to_owned(),
            "Use every note of the row at least once, and two to four rests.".to_owned(),
        ],
        choices: choices.collect(),
        practice_bars: Some(0),
        bars,
    }
}

fn class_set() -> Vec<Worksheet> {
    vec![
        sheet(Instrument::Violin, &["D4", "E4", "F#4", "G4", "A4", "B4", "C#5", "D5"]),
        sheet(Instrument::Viola, &["D4", "E4", "F#4", "G4", "A4"]),
        sheet(
            Instrument::Cello,
            &[
                "D3", "E3", "F#3", "G3", "A3", "B3", "C#4", "D4", "C2", "D2", "E2", "F2", "G2", "A2", "B2",
                "C3", "F3",
            ],
        ),
        sheet(Instrument::Bass, &["D3", "E3", "F#3", "G3", "A3"]),
    ]
}

#[test]
fn a_worksheet_has_its_choices_its_empty_bars_and_what_is_given() {
    for sheet in class_set() {
        let engraved = pages_from_worksheet(&sheet, &SheetSettings::default());
        assert_eq!(engraved.remarks, []);
        let choices = sheet.choices.len();
        assert_eq!(count(&engraved, What::NoteHead), choices + 3, "{}", sheet.instrument);
        assert_eq!((count(&engraved, What::Name), count(&engraved, What::Rest)), (choices, 1));
        assert_eq!(count(&engraved, What::WritingLine), 1);
        assert_eq!(count(&engraved, What::Beat), 8 * 4);
        // Four lines of two bars, the last with a double line, and one line after each row of choices.
        let rows = count(&engraved, What::Clef) - 4;
        assert_eq!(count(&engraved, What::BarLine), 9 + rows);
        assert_eq!(collision(&engraved), None, "{}", sheet.instrument);
        assert_eq!(over_the_edge(&engraved), None, "{}", sheet.instrument);
    }
}

/// A given note stands over the number of its beat.
#[test]
fn given_notes_stand_on_their_beats() {
    let engraved = pages_from_worksheet(&class_set()[1], &SheetSettings::default());
    let marks = &engraved.pages[0].marks;
    let centre = |bounds: [f64; 4]| (bounds[0] + bounds[2]) / 2.0;
    let rest = marks.iter().find(|mark| mark.what == What::Rest).expect("the given rest").bounds();
    let beat = marks
        .iter()
        .filter(
            |mark| matches!(&mark.shape, Shape::Words { text, .. } if mark.what == What::Beat && text == "4"),
        )
        .map(|mark| centre(mark.bounds()))
        .map(|x| (x - centre(rest)).abs())
        .fold(f64::INFINITY, f64::min);
    assert!(beat < 0.3, "{beat}");
}

#[test]
fn a_given_note_that_does_not_fit_its_bar_is_told_and_not_drawn() {
    let mut sheet = sheet(Instrument::Violin, &["D4", "E4", "F#4"]);
    sheet.bars[1].given = vec![Given { start: Length::new(3, 4), length: Length::new(1, 2), pitch: None }];
    let engraved = pages_from_worksheet(&sheet, &SheetSettings::default());
    assert_eq!(engraved.remarks.len(), 1);
    assert!(engraved.remarks[0].text.starts_with("Bar 2:"), "{:?}", engraved.remarks);
    assert_eq!(count(&engraved, What::Rest), 1);
}

#[test]
fn a_worksheet_of_nothing_is_a_page_with_a_name_line() {
    let mut empty = sheet(Instrument::Violin, &["D4", "E4", "F#4"]);
    empty.bars.clear();
    empty.choices.clear();
    let engraved = pages_from_worksheet(&empty, &SheetSettings::default());
    assert_eq!((engraved.pages.len(), count(&engraved, What::WritingLine)), (1, 1));
}

/// Bars to try things out in must not cost the class a second page.
#[test]
fn practice_bars_are_there_where_the_page_has_room() {
    let staves = |bars: usize, practice: Option<u32>| {
        let mut sheet = sheet(Instrument::Viola, &["D4", "E4", "F#4"]);
        sheet.bars = vec![WorksheetBar::default(); bars];
        sheet.practice_bars = practice;
        let engraved = pages_from_worksheet(&sheet, &SheetSettings::default());
        (engraved.pages.len(), count(&engraved, What::Clef))
    };
    assert_eq!(staves(4, Some(0)), (1, 3));
    assert_eq!(staves(4, None), (1, 4));
    let full = (4..40).step_by(2).find(|&bars| staves(bars, Some(2)).0 > staves(bars, Some(0)).0);
    let full = full.expect("some number of bars fills the page");
    // Where they nearly fit the staves are a little smaller, and where they do not, the sheet says so.
    let sheet = |bars: usize| {
        let mut sheet = sheet(Instrument::Viola, &["D4", "E4", "F#4"]);
        sheet.bars = vec![WorksheetBar::default(); bars];
        sheet.practice_bars = None;
        pages_from_worksheet(&sheet, &SheetSettings::default())
    };
    let spaces: Vec<f64> = (4..=full + 8).step_by(2).map(|bars| sheet(bars).pages[0].space_mm).collect();
    assert!(spaces.iter().all(|space| *space > 2.3 * 0.87 && *space <= 2.3), "{spaces:?}");
    for bars in (4..=full + 8).step_by(2) {
        let engraved = sheet(bars);
        assert_eq!(engraved.pages.len(), staves(bars, Some(0)).0, "{bars} bars");
        let tried = texts(&engraved, 0, What::Words).contains(&"Bars to try things out in".to_owned());
        assert_eq!(engraved.remarks.len(), usize::from(!tried), "{bars} bars: {:?}", engraved.remarks);
        assert_eq!(collision(&engraved), None, "{bars} bars");
    }
}

fn texts(engraved: &Engraved, page: usize, what: What) -> Vec<String> {
    let shown = engraved.pages[page].marks.iter().filter_map(|mark| match &mark.shape {
        Shape::Words { text, .. } if mark.what == what => Some(text.clone()),
        _ => None,
    });
    shown.collect()
}

#[test]
fn the_contents_name_the_page_on_which_each_melody_begins() {
    let songs: Vec<Song> = names().into_iter().map(|name| Song { melody: melody(&name), name }).collect();
    let book = pages_from_songs(&songs, "Tunes", &SheetSettings::default());
    assert_eq!(collision(&book), None);
    assert_eq!(over_the_edge(&book), None);
    let mut numbers = texts(&book, 0, What::PageNumber);
    assert_eq!(numbers.pop().as_deref(), Some("1"), "the contents are page 1");
    assert_eq!(numbers.len(), songs.len());
    for (number, song) in numbers.iter().zip(&songs) {
        let page: usize = number.parse().expect("a page number");
        let title = song.melody.title.clone().unwrap_or(song.name.clone());
        let shown = texts(&book, page - 1, What::Title).join(" ");
        assert_eq!(shown, title);
        assert_eq!(texts(&book, page - 1, What::PageNumber), std::slice::from_ref(number));
    }
}

#[test]
fn the_contents_name_the_instrument_where_two_melodies_have_one_title() {
    let song = |title: &str, instrument| {
        let mut melody = melody("10-one-bar");
        melody.title = Some(title.to_owned());
        melody.instrument = Some(instrument);
        Song { name: "x".to_owned(), melody }
    };
    let long = "A very long title ".repeat(12);
    let songs = [
        song("Swing Gate", Instrument::Violin),
        song("Swing Gate", Instrument::Cello),
        song("Rain", Instrument::Cello),
        song(&long, Instrument::Violin),
        song(&long, Instrument::Bass),
    ];
    let book = pages_from_songs(&songs, "Tunes", &SheetSettings::default());
    let words = texts(&book, 0, What::Words);
    for line in ["Swing Gate (violin)", "Swing Gate (cello)", "Rain"] {
        assert!(words.iter().any(|one| one == line), "{line}: {words:?}");
    }
    assert!(words.iter().any(|one| one.ends_with("… (bass)")), "{words:?}");
    assert_eq!(collision(&book), None);
    assert_eq!(over_the_edge(&book), None);
}

#[test]
fn a_long_book_has_contents_on_several_pages() {
    let one = melody("10-one-bar");
    let songs: Vec<Song> =
        (1..=70).map(|n| Song { name: format!("tune {n}"), melody: one.clone() }).collect();
    let book = pages_from_songs(&songs, "Tunes", &SheetSettings::default());
    let contents = book.pages.len() - 70;
    assert!(contents >= 3, "{contents}");
    assert_eq!(texts(&book, 0, What::PageNumber)[0], (contents + 1).to_string());
    assert_eq!(collision(&book), None);
}
