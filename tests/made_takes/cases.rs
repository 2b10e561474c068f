//! The cases: a melody, a tempo and the mistakes planted in the take. All melodies are our own.

use super::Planted;

/// A case.
#[derive(Debug, Clone)]
pub struct Case {
    /// The name of its folder (`demo` is `demo-data/`).
    pub name: &'static str,
    /// What it is there for.
    pub about: &'static str,
    /// The written melody, in our own TOML.
    pub melody: &'static str,
    /// What is played instead, where it is not the melody at all.
    pub played: Option<&'static str>,
    /// The tempo that is played, in beats a minute.
    pub bpm: f64,
    /// The mistakes.
    pub planted: Vec<Planted>,
    /// The outcome that the report must have.
    pub outcome: &'static str,
    /// The seed of everything random in the take.
    pub seed: u64,
}

/// All of them.
pub fn cases() -> Vec<Case> {
    let judged = |name, about, melody, bpm, planted, seed| Case {
        name,
        about,
        melody,
        played: None,
        bpm,
        planted,
        outcome: "judged",
        seed,
    };
    vec![
        judged(
            "demo",
            "viola-2 plays the melody that viola-2 wrote, with four mistakes planted: F natural for F sharp in\n\
             bar 2, the rest in bar 4 cut short, the E in bar 6 a finger too low (32 cents), and a C string that\n\
             is slack (22 cents) in every low C.",
            DEMO,
            88.0,
            vec![
                Planted::Wrong { index: 6, midi: 65 },
                Planted::RestLasts { index: 13, beats: 0.35 },
                Planted::Cents { index: 18, cents: -32.0 },
                Planted::OpenString { midi: 48, cents: -22.0 },
            ],
            2024,
        ),
        judged("all-right", "Nothing is wrong: nothing may be said to be.", VIOLIN, 100.0, vec![], 11),
        judged(
            "wrong-notes",
            "Two wrong notes on a cello: F natural for F sharp, and an open A for B.",
            CELLO,
            92.0,
            vec![Planted::Wrong { index: 2, midi: 53 }, Planted::Wrong { index: 8, midi: 57 }],
            12,
        ),
        judged(
            "missing-note",
            "One note is left out; its time is kept.",
            VIOLA,
            90.0,
            vec![Planted::Missing { index: 5 }],
            13,
        ),
        judged(
            "one-long-bow",
            "Two written A's are played as one long bow.",
            VIOLIN,
            100.0,
            vec![Planted::Merged { index: 5 }],
            14,
        ),
        judged(
            "extra-note",
            "A note that is not on the sheet slips in, on a bass, which sounds an octave below the sheet.",
            BASS,
            88.0,
            vec![Planted::Extra { after: 6, midi: 33, beats: 0.5 }],
            15,
        ),
        judged(
            "restart",
            "The player stops in bar 3 and begins again from bar 2.",
            CELLO,
            92.0,
            vec![Planted::Restart { left_at: 9, resumed_at: 4 }],
            16,
        ),
        judged(
            "rests",
            "Of four rests one is kept, one rushed, one stretched, and one filled by the note before it.",
            RESTS,
            96.0,
            vec![
                Planted::RestLasts { index: 7, beats: 0.3 },
                Planted::RestLasts { index: 11, beats: 2.2 },
                Planted::RestFilled { index: 15 },
            ],
            17,
        ),
        judged(
            "tuned-low",
            "The whole viola is tuned 35 cents low; every finger is where it belongs.",
            VIOLA,
            90.0,
            vec![Planted::Tuned(-35.0)],
            18,
        ),
        judged(
            "octave-away",
            "A cello reads the violin's sheet and plays every note an octave lower.",
            VIOLIN,
            100.0,
            vec![Planted::Octaves(-1)],
            19,
        ),
        Case {
            played: Some(ANOTHER),
            outcome: "not-this-melody",
            ..judged("not-this-melody", "The take is of another melody.", VIOLIN, 100.0, vec![], 20)
        },
        Case {
            outcome: "silence",
            ..judged(
                "silence",
                "Three seconds of digital silence.",
                VIOLIN,
                100.0,
                vec![Planted::Silence],
                21,
            )
        },
    ]
}

const DEMO: &str = r#"title = "Lanterns on the Canal"
composer = "viola-2"
instrument = "viola"
metre = "4/4"
key = "G"
bpm = 88
bars = """
C3 q   G3     D4     E4
F#4 q  G4     F#4    rest
E4 q   D4     B3 h
C3 h   G3 q   rest q
A3 q   B3     C4     D4
E4 q   F#4    G4 h
A4 e   G4     F#4    E4     D4 q   rest q
C3 q   G3     C3 h
"""
"#;

const VIOLIN: &str = r#"title = "Swing Gate"
composer = "violin-1"
instrument = "violin"
metre = "4/4"
key = "D"
bpm = 100
bars = """
D4 q   E4     F#4    G4
A4 q   A4     B4     rest
A4 q   G4     F#4    E4
D4 h   rest h
"""
"#;

const CELLO: &str = r#"title = "The Long Staircase"
composer = "cello-3"
instrument = "cello"
metre = "4/4"
key = "D"
bpm = 92
bars = """
D3 q   E3     F#3    G3
A3 q   G3     F#3    E3
B3 q   A3     G3     F#3
E3 q   G2     D3 h
"""
"#;

const VIOLA: &str = r#"title = "Paper Boats"
composer = "viola-1"
instrument = "viola"
metre = "3/4"
key = "G"
bpm = 90
bars = """
G3 q   A3     B3
C4 h   D4 q
E4 q   D4     B3
A3 h.
G3 h   rest q
"""
"#;

const BASS: &str = r#"title = "Under the Stairs"
composer = "bass-1"
instrument = "bass"
metre = "4/4"
key = "D"
bpm = 88
bars = """
D3 q   E3     F#3    E3
G3 q   F#3    E3     D3
A2 q   B2     D3 h
"""
"#;

const RESTS: &str = r#"title = "Stepping Stones"
composer = "violin-2"
instrument = "violin"
metre = "4/4"
key = "D"
bpm = 96
bars = """
D4 q   E4     F#4    rest
G4 q   F#4    E4     rest
A4 q   B4     A4     rest
F#4 q  G4     E4     rest
D4 q   F#4    D4 h
"""
"#;

const ANOTHER: &str = r#"title = "Something Else"
instrument = "violin"
metre = "3/4"
bpm = 120
bars = """
B5 e   G#5    B5     G#5    F5     C#5
D#5 q. C#5 e  G#4 q
A#4 e  C#5    F5     G#5    C#5    A#4
G#3 q  C#4    D#5
F5 h.
"""
"#;
