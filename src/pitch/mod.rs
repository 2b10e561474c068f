//! A contour (frequency and strength, 10 ms by 10 ms) from samples.
//!
//! Samples become windows (`tracker`), a window becomes a few period candidates with evidence for
//! each, candidates become a path through the take, the path becomes the [`Contour`].

mod candidates;
mod contour;
mod path;
mod periodicity;
mod refine;
mod rumble;
mod second_string;
mod settings;
mod tracker;
mod without_ringing;

pub use contour::{Candidate, Contour, F0, Frame, MOST_CANDIDATES};
pub use second_string::with_second_strings;
pub use settings::TrackerSettings;
pub use tracker::{PitchTracker, contour, contour_without};
pub use without_ringing::without_ringing;
