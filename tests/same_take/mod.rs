//! One take in many shapes: louder, at another rate, with silence around it, transposed, faster. The truth about the
//! playing is the same in all of them, so the report must say the same. `tests/whole_chain.rs` holds the program to
//! that on takes of our own making; `cargo run --profile quick --example same_take -- TAKES` counts on takes that the
//! take maker has put together from real notes.
#![allow(dead_code, unused_imports, reason = "the tests and the measuring example use different parts")]

mod said;
mod shapes;
mod takes;

pub use said::{Said, said};
pub use shapes::{
    at_another_pitch, at_another_rate, louder, performed_at_another_tempo, performed_higher, resampled,
    shifted, with_silence,
};
pub use takes::{Take, fixtures, made, mixed, real};
