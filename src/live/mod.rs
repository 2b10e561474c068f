//! While somebody plays: what sounds now, where in the melody that is, whether the microphone hears
//! well, and when a take begins and ends.
//!
//! Everything here is pushed samples and tells what follows from them; time is counted in samples. So it
//! needs neither a device nor a clock, and a recording pushed in chunks of any size tells the same story.

mod follower;
mod level;
mod level_check;
mod reader;
mod session;
mod string_strip;
#[cfg(test)]
mod tests_along_takes;

pub use follower::{Follower, Place};
pub use level::{Level, LevelMeter, LevelWord};
pub use reader::{LiveReader, Now, Sounding};
pub use session::{Ended, Session, SessionSettings, Step};
pub use string_strip::StringStrip;
