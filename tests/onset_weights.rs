//! The trained onset model reads as many cues as there are.

use fingertape::segment::Features;
use std::fs;
use std::path::Path;

#[test]
fn the_onset_model_was_trained_on_the_cues_that_there_are() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/segment/onset_weights.rs");
    let text = fs::read_to_string(file).expect("the weights can be read");
    let (_, rest) = text.split_once("pub const CUES: usize = ").expect("the weights say how many cues");
    let (count, _) = rest.split_once(';').expect("a statement ends");
    assert_eq!(count.parse(), Ok(Features::NAMES.len()), "train again: tests/onset_cues/train.py");
}
