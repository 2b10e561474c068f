//! The key that fits the notes best.

use crate::notation::Key;

/// How well each scale degree fits a key: listeners' ratings of probe tones (Krumhansl and Kessler, "Tracing the
/// dynamic changes in perceived tonal organization", Psychological Review 89, 1982; values from memory).
const MAJOR: [f64; 12] = [6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88];
const MINOR: [f64; 12] = [6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17];
/// A melody most often ends on its key note, and often begins on it (common practice).
const LAST: f64 = 0.25;
const FIRST: f64 = 0.08;
/// Each sharp or flat of the signature makes a key a little less likely in a first melody (common practice).
const SIGNS: f64 = 0.02;
/// Keys of beginners' melodies have at most so many sharps or flats.
const MOST_SIGNS: i8 = 4;

/// The likeliest key of notes given as (sounding MIDI number, length), in order; C major for none.
pub fn key_from_notes(notes: &[(i32, f64)]) -> Key {
    let mut lengths = [0.0; 12];
    for (midi, length) in notes {
        lengths[midi.rem_euclid(12) as usize] += length;
    }
    let (Some((first, _)), Some((last, _))) = (notes.first(), notes.last()) else { return Key::default() };
    let mut best = (f64::NEG_INFINITY, Key::default());
    for fifths in (0..=MOST_SIGNS).flat_map(|n| [n, -n]) {
        for minor in [false, true] {
            let major_tonic = i32::from(fifths) * 7;
            let tonic = (if minor { major_tonic + 9 } else { major_tonic }).rem_euclid(12);
            let profile = if minor { MINOR } else { MAJOR };
            let rotated: Vec<f64> = (0..12).map(|p| profile[(p - tonic).rem_euclid(12) as usize]).collect();
            let score = correlation(&lengths, &rotated)
                + if last.rem_euclid(12) == tonic { LAST } else { 0.0 }
                + if first.rem_euclid(12) == tonic { FIRST } else { 0.0 }
                - SIGNS * f64::from(fifths.abs())
                - if minor { 0.05 } else { 0.0 };
            if score > best.0 + 1e-9 {
                best = (score, Key { fifths, minor });
            }
        }
    }
    best.1
}

fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let (ma, mb) = (mean(a), mean(b));
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        ab += (x - ma) * (y - mb);
        aa += (x - ma) * (x - ma);
        bb += (y - mb) * (y - mb);
    }
    if aa > 0.0 && bb > 0.0 { ab / (aa * bb).sqrt() } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(notes: &[i32]) -> String {
        key_from_notes(&notes.iter().map(|midi| (*midi, 1.0)).collect::<Vec<_>>()).to_string()
    }

    #[test]
    fn scales_are_known_by_their_notes_and_their_end() {
        assert_eq!(key(&[62, 64, 66, 67, 69, 71, 73, 74]), "D");
        assert_eq!(key(&[55, 57, 59, 60, 62, 64, 66, 67]), "G");
        assert_eq!(key(&[60, 62, 64, 65, 67, 65, 64, 62, 60]), "C");
        assert_eq!(key(&[65, 67, 69, 70, 72, 70, 69, 67, 65]), "F");
        assert_eq!(key(&[69, 71, 72, 74, 76, 74, 72, 71, 69]), "Am");
    }

    #[test]
    fn five_notes_from_d_with_f_sharp_are_d_major() {
        assert_eq!(key(&[62, 64, 66, 67, 69, 69, 71, 69, 67, 66, 64, 62]), "D");
        assert_eq!(key(&[62, 64, 66, 67, 66, 64, 62]), "D");
    }

    #[test]
    fn no_notes_have_no_signature() {
        assert_eq!(key_from_notes(&[]), Key::default());
    }
}
