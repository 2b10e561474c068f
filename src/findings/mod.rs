//! Findings: what the report says, as data, and what a finger can do about it. The JSON report is this,
//! serialised.

mod finger_shift;
mod report;

pub use finger_shift::{finger_place, finger_shift};
pub use report::*;
