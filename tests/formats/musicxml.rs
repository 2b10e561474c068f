//! MusicXML 4.0: parts, pitches, tempo, ties, repeats, and what is refused.

use super::{read, refused, remarks_on, words};
use fingertape::formats::{FormatErrorKind, read_melody_bytes_for, write_mxl};
use fingertape::notation::{Instrument, Length};

fn score(part_name: &str, measures: &str) -> String {
    format!(
        "<?xml version=\"1.0\"?>\n<score-partwise version=\"4.0\"><part-list><score-part id=\"P1\">\
         <part-name>{part_name}</part-name></score-part></part-list><part id=\"P1\">\n{measures}\n</part></score-partwise>"
    )
}

fn attributes(clef: &str, extra: &str) -> String {
    let (sign, line) = clef.split_at(1);
    format!(
        "<attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time>\
         <clef><sign>{sign}</sign><line>{line}</line></clef>{extra}</attributes>"
    )
}

fn note(pitch: &str, duration: u32) -> String {
    tied_note(pitch, duration, "")
}

fn tied_note(pitch: &str, duration: u32, after: &str) -> String {
    let (step, octave) = pitch.split_at(pitch.len() - 1);
    let (step, alter) = step.split_at(1);
    let alter = match alter {
        "#" => "<alter>1</alter>",
        "b" => "<alter>-1</alter>",
        _ => "",
    };
    let pitch = format!("<pitch><step>{step}</step>{alter}<octave>{octave}</octave></pitch>");
    format!("<note>{pitch}<duration>{duration}</duration>{after}</note>\n")
}

fn measure(number: &str, content: &str) -> String {
    format!("<measure number=\"{number}\">{content}</measure>\n")
}

const OCTAVE_DOWN: &str =
    "<transpose><diatonic>0</diatonic><chromatic>0</chromatic><octave-change>-1</octave-change></transpose>";

#[test]
fn a_bass_with_transposition_sounds_an_octave_lower() {
    let text = score("Double Bass", &measure("1", &(attributes("F4", OCTAVE_DOWN) + &note("E2", 8))));
    let read = read("bass.musicxml", &text);
    assert_eq!(words(&read), ["E2=28 1"]);
    assert_eq!(read.melody.instrument, Some(Instrument::Bass));
    assert!(read.remarks.is_empty(), "{:?}", read.remarks);
}

#[test]
fn a_bass_without_transposition_is_read_as_written_and_says_so() {
    let read =
        read("bass.xml", &score("Contrabass", &measure("1", &(attributes("F4", "") + &note("D3", 8)))));
    assert_eq!(words(&read), ["D3=38 1"]);
    assert!(remarks_on(&read, "bass-written-pitch", "octave"));
}

/// A trumpet in B flat reads G major where F major sounds.
#[test]
fn a_transposing_part_is_read_with_the_key_that_sounds() {
    let trumpet = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>";
    let key = "<key><fifths>1</fifths></key><time>";
    let bar = attributes("G2", trumpet).replace("<time>", key);
    let bar = bar + &note("F#5", 2) + &note("G5", 2) + &note("C5", 2) + &note("B4", 2);
    let read = read("trumpet.xml", &score("Violin", &measure("1", &bar)));
    assert_eq!(words(&read), ["E5=76 1/4", "F5=77 1/4", "Bb4=70 1/4", "A4=69 1/4"]);
    assert_eq!(read.melody.sheet.key().to_string(), "F");
}

#[test]
fn a_bass_that_would_go_below_its_e_string_is_read_as_sounding_and_says_so() {
    let bar = attributes("F4", "") + &note("E1", 4) + &note("A1", 4);
    let read = read("bass.xml", &score("Bass", &measure("1", &bar)));
    assert_eq!(words(&read), ["E2=28 1/2", "A2=33 1/2"]);
    assert!(remarks_on(&read, "bass-sounding-pitch", "lowest string"));
}

#[test]
fn a_bass_at_concert_pitch_or_under_an_octave_clef_sounds_as_its_file_says() {
    let zero = "<transpose><chromatic>0</chromatic></transpose>";
    let concert =
        read("bass.xml", &score("Double Bass", &measure("1", &(attributes("F4", zero) + &note("G2", 8)))));
    assert_eq!(words(&concert), ["G3=43 1"]);
    let clef = attributes("F4", "").replace("</line>", "</line><clef-octave-change>-1</clef-octave-change>");
    let octave_clef = read("bass.xml", &score("Double Bass", &measure("1", &(clef + &note("G2", 8)))));
    assert_eq!(words(&octave_clef), ["G3=43 1"]);
}

#[test]
fn another_instrument_named_by_the_player_changes_how_the_sheet_sounds() {
    let sheet = score("Music", &measure("1", &(attributes("F4", "") + &note("D3", 8))));
    let cello = read("m.xml", &sheet);
    assert_eq!(
        (words(&cello), cello.melody.instrument),
        (vec!["D3=50 1".to_owned()], Some(Instrument::Cello))
    );
    let bass = read_melody_bytes_for("m.xml", sheet.as_bytes(), Some(Instrument::Bass)).unwrap();
    assert_eq!(words(&bass), ["D3=38 1"]);
    assert!(remarks_on(&bass, "octave-choice", "bass"));
    // D2 read as a bass reads it would be below E1: the file gives sounding pitches.
    let low = score("Music", &measure("1", &(attributes("F4", "") + &note("D2", 8))));
    let bass = read_melody_bytes_for("m.xml", low.as_bytes(), Some(Instrument::Bass)).unwrap();
    assert_eq!(words(&bass), ["D3=38 1"]);
    // Where the file says how it sounds, that stays.
    let said = score("Double Bass", &measure("1", &(attributes("F4", OCTAVE_DOWN) + &note("C4", 8))));
    let cello = read_melody_bytes_for("m.xml", said.as_bytes(), Some(Instrument::Cello)).unwrap();
    assert_eq!(words(&cello), ["C3=48 1"]);
}

#[test]
fn clefs_tell_the_instrument_where_the_part_does_not() {
    for (clef, pitch, instrument) in [
        ("G2", "D4", Instrument::Violin),
        ("C3", "D4", Instrument::Viola),
        ("F4", "D3", Instrument::Cello),
        ("G2", "D3", Instrument::Viola),
    ] {
        let read = read("m.xml", &score("Part 1", &measure("1", &(attributes(clef, "") + &note(pitch, 8)))));
        assert_eq!(read.melody.instrument, Some(instrument), "{clef} {pitch}");
        assert!(remarks_on(&read, "instrument-guessed", "Part 1"));
    }
}

#[test]
fn sound_tempo_counts_quarters_and_the_melody_counts_beats() {
    let six_eight =
        attributes("G2", "").replace("<beats>4</beats><beat-type>4<", "<beats>6</beats><beat-type>8<");
    let bar = six_eight + "<sound tempo=\"60\"/>" + &note("D4", 6);
    assert_eq!(read("m.xml", &score("Violin", &measure("1", &bar))).melody.bpm, Some(120.0));
    // A dotted quarter at 40 is 120 eighths a minute.
    let mark = "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><beat-unit-dot/>\
                <per-minute>ca. 40</per-minute></metronome></direction-type></direction>";
    let six_eight =
        attributes("G2", "").replace("<beats>4</beats><beat-type>4<", "<beats>6</beats><beat-type>8<");
    let read_mark = read("m.xml", &score("Violin", &measure("1", &(six_eight + mark + &note("D4", 6)))));
    assert_eq!(read_mark.melody.bpm, Some(120.0));
    let absurd = attributes("G2", "") + "<sound tempo=\"1e308\"/>" + &note("D4", 8);
    let absurd = read("m.xml", &score("Violin", &measure("1", &absurd)));
    assert_eq!(absurd.melody.bpm, None);
    assert!(remarks_on(&absurd, "tempo-unplayable", "cannot be played"));
}

#[test]
fn ties_join_across_the_bar_line_by_tie_or_by_tied() {
    for tie in ["<tie type=\"start\"/>", "<notations><tied type=\"start\"/></notations>"] {
        let one = measure("1", &(attributes("G2", "") + &tied_note("F#4", 8, tie)));
        let read =
            read("m.xml", &score("Violin", &(one + &measure("2", &(note("F#4", 2) + &note("G4", 6))))));
        assert_eq!(words(&read), ["F#4=66 5/4", "G4=67 3/4"]);
        assert_eq!(read.melody.events[1].beat, Length::from_integer(2));
    }
}

#[test]
fn a_tie_to_another_note_is_two_notes_and_a_remark() {
    let bar = attributes("G2", "") + &tied_note("F#4", 4, "<tie type=\"start\"/>") + &note("G4", 4);
    let read = read("m.xml", &score("Violin", &measure("7", &bar)));
    assert_eq!(read.melody.events.len(), 2);
    assert!(remarks_on(&read, "loose-tie", "Bar 7, beat 3"));
}

#[test]
fn divisions_may_change_in_the_middle_of_a_bar() {
    let bar = attributes("G2", "")
        + &note("D4", 4)
        + "<attributes><divisions>6</divisions></attributes>"
        + &note("E4", 4)
        + &note("E4", 4)
        + &note("E4", 4);
    let read = read("m.xml", &score("Violin", &measure("1", &bar)));
    assert_eq!(words(&read), ["D4=62 1/2", "E4=64 1/6", "E4=64 1/6", "E4=64 1/6"]);
}

#[test]
fn a_whole_bar_of_rest_is_one_rest_as_long_as_the_bar() {
    let rest = "<note><rest measure=\"yes\"/><duration>8</duration></note>";
    let three = attributes("G2", "").replace("<beats>4<", "<beats>3<");
    let bars = measure("1", &(three + &note("D4", 6))) + &measure("2", rest);
    let read = read("m.xml", &score("Violin", &bars));
    assert_eq!(words(&read), ["D4=62 3/4", "rest 3/4"]);
    assert!(remarks_on(&read, "bar-rest", "Bar 2"));
}

#[test]
fn a_pickup_is_bar_0_and_leads_to_the_downbeat() {
    let bars = "<measure number=\"0\" implicit=\"yes\">".to_owned()
        + &attributes("G2", "")
        + &note("A4", 2)
        + "</measure>"
        + &measure("1", &note("D5", 8));
    let read = read("m.xml", &score("Violin", &bars));
    let places: Vec<_> =
        read.melody.events.iter().map(|event| (event.bar, event.beat, event.start)).collect();
    let whole = Length::from_integer;
    assert_eq!(places, [(0, whole(4), whole(0)), (1, whole(1), Length::new(1, 4))]);
}

#[test]
fn repeats_and_endings_are_played_out_with_a_remark() {
    let barline =
        |content: &str, location: &str| format!("<barline location=\"{location}\">{content}</barline>");
    let ending = |number, kind| format!("<ending number=\"{number}\" type=\"{kind}\"/>");
    let bars = measure("1", &(attributes("G2", "") + &note("D4", 8)))
        + &measure(
            "2",
            &(barline(&ending(1, "start"), "left")
                + &note("E4", 8)
                + &barline(&(ending(1, "stop") + "<repeat direction=\"backward\"/>"), "right")),
        )
        + &measure("3", &(barline(&ending(2, "start"), "left") + &note("F4", 8)));
    let read = read("m.xml", &score("Violin", &bars));
    assert_eq!(read.melody.soundings().collect::<Vec<_>>(), [62, 64, 62, 65]);
    assert_eq!(read.melody.events.iter().map(|event| event.bar).collect::<Vec<_>>(), [1, 2, 1, 3]);
    assert!(remarks_on(&read, "repeats-expanded", "3 bars on the sheet are 4"));
}

#[test]
fn da_capo_al_fine_is_followed() {
    let bars = measure("1", &(attributes("G2", "") + &note("D4", 8) + "<sound fine=\"yes\"/>"))
        + &measure(
            "2",
            &(note("E4", 8)
                + "<direction><direction-type><words>D.C. al Fine</words></direction-type>\
           <sound dacapo=\"yes\"/></direction>"),
        );
    let read = read("m.xml", &score("Violin", &bars));
    assert_eq!(read.melody.soundings().collect::<Vec<_>>(), [62, 64, 62]);
}

#[test]
fn a_chord_is_refused_with_bar_and_beat_and_place_in_the_text() {
    let chord = note("A4", 4).replace("<note>", "<note><chord/>");
    let bars = measure("1", &(attributes("G2", "") + &note("D4", 8)))
        + &measure("2", &(note("D4", 4) + &note("F4", 4) + &chord));
    let error = refused("m.musicxml", &score("Violin", &bars));
    assert_eq!(error.kind(), FormatErrorKind::Chord);
    assert_eq!((error.bar(), error.beat()), (Some(2), Some(Length::from_integer(3))));
    assert!(error.to_string().starts_with("m.musicxml:7:1: bar 2, beat 3: "), "{error}");
    assert!(error.advice().contains("one note"));
}

#[test]
fn a_second_voice_is_refused_but_its_rests_are_not() {
    let first = attributes("G2", "")
        + &tied_note("D4", 8, "<voice>1</voice>")
        + "<backup><duration>8</duration></backup>";
    let rest = "<note><rest/><duration>8</duration><voice>2</voice></note>";
    assert_eq!(words(&read("m.xml", &score("Violin", &measure("1", &(first.clone() + rest))))), ["D4=62 1"]);
    let late =
        "<forward><duration>2</duration></forward>".to_owned() + &tied_note("F4", 2, "<voice>2</voice>");
    let error = refused("m.xml", &score("Violin", &measure("1", &(first + &late))));
    assert_eq!((error.kind(), error.bar()), (FormatErrorKind::SecondVoice, Some(1)));
    assert_eq!(error.beat(), Some(Length::from_integer(2)));
}

#[test]
fn grace_and_cue_notes_are_left_out_with_a_remark() {
    let grace = "<note><grace/><pitch><step>C</step><octave>5</octave></pitch></note>";
    let cue = note("C5", 2).replace("<note>", "<note><cue/>");
    let bar = attributes("G2", "") + &note("D4", 4) + grace + &note("E4", 2) + &cue;
    let read = read("m.xml", &score("Violin", &measure("1", &bar)));
    assert_eq!(words(&read), ["D4=62 1/2", "E4=64 1/4", "rest 1/4"]);
    assert!(remarks_on(&read, "grace-note", "Bar 1, beat 3"));
    assert!(remarks_on(&read, "cue-note", "Bar 1, beat 4"));
}

#[test]
fn quarter_tones_percussion_and_odd_metres_are_refused() {
    let quarter_tone = note("D4", 8).replace("</step>", "</step><alter>0.5</alter>");
    let error = refused("m.xml", &score("Violin", &measure("1", &(attributes("G2", "") + &quarter_tone))));
    assert_eq!((error.kind(), error.bar()), (FormatErrorKind::Pitch, Some(1)));
    let drum = "<note><unpitched/><duration>8</duration></note>";
    let error = refused("m.xml", &score("Violin", &measure("1", &(attributes("G2", "") + drum))));
    assert_eq!(error.kind(), FormatErrorKind::Unpitched);
    let metre = attributes("G2", "").replace("<beat-type>4<", "<beat-type>0<");
    let error = refused("m.xml", &score("Violin", &measure("1", &(metre + &note("D4", 8)))));
    assert_eq!(error.kind(), FormatErrorKind::Metre);
    assert!(error.message().contains("4/0"));
}

fn two_parts() -> String {
    let part = |id: &str, pitch: &str| {
        format!("<part id=\"{id}\">{}</part>", measure("1", &(attributes("G2", "") + &note(pitch, 8))))
    };
    let listed =
        |id: &str, name: &str| format!("<score-part id=\"{id}\"><part-name>{name}</part-name></score-part>");
    format!(
        "<score-partwise><part-list>{}{}</part-list>{}{}</score-partwise>",
        listed("P1", "Violin"),
        listed("P2", "Viola"),
        part("P1", "D5"),
        part("P2", "D4")
    )
}

#[test]
fn of_several_parts_the_asked_one_is_read_and_without_asking_none() {
    let error = refused("duo.xml", &two_parts());
    assert_eq!(error.kind(), FormatErrorKind::SeveralParts);
    assert!(error.message().contains("“Violin”, “Viola”"), "{error}");
    let viola = read_melody_bytes_for("duo.xml", two_parts().as_bytes(), Some(Instrument::Viola)).unwrap();
    assert_eq!(words(&viola), ["D4=62 1"]);
    assert!(remarks_on(&viola, "part-chosen", "Viola"));
    assert!(read_melody_bytes_for("duo.xml", two_parts().as_bytes(), Some(Instrument::Cello)).is_err());
}

#[test]
fn a_timewise_score_reads_like_a_partwise_one() {
    let text = "<score-timewise><part-list><score-part id=\"P1\"><part-name>Violin</part-name></score-part></part-list>"
        .to_owned()
        + &format!("<measure number=\"1\"><part id=\"P1\">{}{}</part></measure>", attributes("G2", ""), note("D4", 8))
        + &format!("<measure number=\"2\"><part id=\"P1\">{}</part></measure></score-timewise>", note("E4", 8));
    let read = read("m.xml", &text);
    assert_eq!(words(&read), ["D4=62 1", "E4=64 1"]);
    assert_eq!(read.melody.events[1].bar, 2);
}

#[test]
fn compressed_and_utf_16_scores_read_like_plain_ones() {
    let text = score("Viola", &measure("1", &(attributes("C3", "") + &note("C3", 4) + &note("Bb3", 4))));
    let plain = read("m.xml", &text);
    let packed = fingertape::formats::read_melody_bytes("m.mxl", &write_mxl(&plain.melody)).unwrap();
    assert_eq!(packed.melody.events, plain.melody.events);
    let wide: Vec<u8> =
        [0xFF, 0xFE].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect();
    assert_eq!(fingertape::formats::read_melody_bytes("m.xml", &wide).unwrap().melody, plain.melody);
}

#[test]
fn broken_xml_points_to_its_place() {
    let error = refused("m.xml", "<score-partwise>\n  <part>\n</score-partwise>");
    assert_eq!(error.kind(), FormatErrorKind::Syntax);
    assert_eq!(error.line_column().map(|(line, _)| line), Some(3));
    let error = refused("page.xml", "<html><body/></html>");
    assert_eq!(error.kind(), FormatErrorKind::UnknownFormat);
}

#[test]
fn names_sounds_and_midi_programs_tell_the_instrument() {
    let bar = measure("1", &(attributes("F4", "") + &note("E3", 8)));
    for said in [
        "<score-instrument id=\"I\"><instrument-name>Contrabass</instrument-name></score-instrument>",
        "<score-instrument id=\"I\"><instrument-name>X</instrument-name>\
         <instrument-sound>strings.contrabass</instrument-sound></score-instrument>",
        "<midi-instrument id=\"I\"><midi-program>44</midi-program></midi-instrument>",
    ] {
        let text = score("Melody", &bar).replace("</part-name>", &format!("</part-name>{said}"));
        assert_eq!(words(&read("m.xml", &text)), ["E3=40 1"], "{said}");
    }
}

#[test]
fn what_would_leave_the_midi_numbers_on_another_instrument_keeps_its_sound() {
    let text = include_bytes!("broken/lowest_pitch.musicxml");
    let bass = read_melody_bytes_for("m.musicxml", text, Some(Instrument::Bass)).unwrap().melody;
    assert_eq!(bass.soundings().collect::<Vec<_>>(), [11]);
}

#[test]
fn a_change_at_the_end_of_a_bar_or_within_it_is_for_the_next_one() {
    let change = "<attributes><key><fifths>2</fifths></key><time><beats>3</beats><beat-type>4</beat-type></time></attributes>";
    let four = |middle: &str, end: &str| {
        measure(
            "1",
            &(attributes("G2", "")
                + &note("D4", 2)
                + &note("E4", 2)
                + middle
                + &note("F4", 2)
                + &note("G4", 2)
                + end),
        ) + &measure("2", &(note("D4", 2) + &note("E4", 2) + &note("F#4", 2)))
    };
    for bars in [four("", change), four(change, "")] {
        let read = read("m.xml", &score("Violin", &bars));
        let found: Vec<String> =
            read.melody.sheet.bars.iter().map(|bar| format!("{} {}", bar.metre, bar.key)).collect();
        assert_eq!(found, ["4/4 C", "3/4 D"]);
        assert_eq!(read.melody.metre.to_string(), "4/4");
        assert!(read.remarks.is_empty(), "{:?}", read.remarks);
    }
    // Before the first note it is for this one.
    let bars = measure("1", &(attributes("G2", "") + change + &note("D4", 6)));
    assert_eq!(read("m.xml", &score("Violin", &bars)).melody.metre.to_string(), "3/4");
}

#[test]
fn a_full_bar_without_a_number_gets_one_of_its_own_and_half_a_bar_shares_one() {
    let numbers = |bars: &[(&str, u32)]| {
        let bar = |(at, (number, quarters)): (usize, &(&str, u32))| {
            let implicit = if number.parse::<u32>().is_err() { " implicit=\"yes\"" } else { "" };
            let start = if at == 0 { attributes("G2", "") } else { String::new() };
            let notes = note("D4", 2).repeat(*quarters as usize);
            format!("<measure number=\"{number}\"{implicit}>{start}{notes}</measure>\n")
        };
        let text: String = bars.iter().enumerate().map(bar).collect();
        let read = read("m.xml", &score("Violin", &text));
        let numbers: Vec<u32> = read.melody.sheet.bars.iter().map(|bar| bar.number).collect();
        let told = read.remarks.into_iter().filter(|one| one.code == "bar-without-number");
        (numbers, told.map(|one| one.text).collect::<Vec<_>>())
    };
    let (found, told) = numbers(&[("1", 4), ("X1", 4), ("2", 4), ("3", 4)]);
    assert_eq!(found, [1, 2, 3, 4]);
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].starts_with("Bar 2 of the file is bar 3 here"), "{told:?}");
    assert_eq!(numbers(&[("1", 4), ("X1", 4), ("X2", 4), ("2", 4)]).0, [1, 2, 3, 4]);
    assert_eq!(numbers(&[("1", 4), ("X1", 4), ("3", 4)]), (vec![1, 2, 3], vec![]));
    // Two halves of one bar, and a pickup.
    assert_eq!(numbers(&[("1", 4), ("2", 3), ("X1", 1), ("3", 4)]), (vec![1, 2, 2, 3], vec![]));
    assert_eq!(numbers(&[("1", 4), ("X1", 1), ("2", 4)]), (vec![1, 1, 2], vec![]));
    assert_eq!(numbers(&[("X0", 1), ("1", 4), ("2", 3)]), (vec![0, 1, 2], vec![]));
    assert_eq!(numbers(&[("0", 1), ("X1", 4), ("2", 4)]), (vec![0, 1, 2], vec![]));
}

#[test]
fn a_tempo_that_nobody_can_play_does_not_hide_the_next_one() {
    for (nobody, told) in [("0", "A tempo of 0 beats a minute"), ("1", "A tempo of 1 beat a minute")] {
        let tempo = |number: &str| format!("<sound tempo=\"{number}\"/>");
        let bars = measure("1", &(attributes("G2", "") + &tempo(nobody) + &note("D4", 8)))
            + &measure("2", &(tempo("96") + &note("E4", 8)));
        let read = read("m.xml", &score("Violin", &bars));
        assert_eq!(read.melody.bpm, Some(96.0));
        assert!(remarks_on(&read, "tempo-unplayable", told), "{:?}", read.remarks);
        assert!(remarks_on(&read, "tempo", "The first tempo stands in bar 2"), "{:?}", read.remarks);
        assert!(!remarks_on(&read, "tempo-change", ""), "{:?}", read.remarks);
    }
}

#[test]
fn where_a_cue_note_stood_nobody_says_that_nothing_is_written() {
    let cue = |quarters: u32| note("A5", 2 * quarters).replace("<note>", "<note><cue/>");
    let bars = measure("1", &(attributes("G2", "") + &cue(4)))
        + &measure("2", &(note("D4", 4) + &cue(1) + &note("E4", 2)))
        + &measure("3", "<forward><duration>8</duration></forward>");
    let read = read("m.xml", &score("Violin", &bars));
    assert_eq!(words(&read), ["rest 1", "D4=62 1/2", "rest 1/4", "E4=64 1/4", "rest 1"]);
    assert!(remarks_on(&read, "empty-bar", "Bar 1, beat 1: only cue notes are written in this bar"));
    assert!(remarks_on(&read, "gap", "Bar 2, beat 3: only a cue note is written here"));
    assert!(remarks_on(&read, "empty-bar", "Bar 3, beat 1: nothing is written"), "{:?}", read.remarks);
}
