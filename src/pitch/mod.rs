//! A contour (frequency and strength, 10 ms by 10 ms) from samples.

mod contour;

pub use contour::{Contour, Frame};
