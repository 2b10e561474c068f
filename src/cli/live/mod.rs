//! The part of a command that runs while somebody plays or listens: microphone, loudspeaker, and what is
//! drawn meanwhile.

pub mod jot;
mod line;
pub mod play;
pub mod recording;
mod samples;
pub mod stop;
pub mod string;
pub mod view;
