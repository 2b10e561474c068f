//! The take maker: takes with known truth, made from real recordings of single notes (or from real
//! phrases whose *score* is edited), so that the whole program can be measured. A melody is written
//! ([`melody`]), mistakes are planted ([`mistakes`]), the notes are rendered as a beginner would bow
//! them ([`beginner_take`]), a room, a phone or a click is added ([`room_and_phone`]), and what was
//! really played is written beside the sound ([`truth`]). Everything follows from one seed.

pub mod beginner_take;
pub mod files;
pub mod filters;
pub mod melody;
pub mod mistakes;
pub mod musicxml;
pub mod performance;
pub mod phrases;
pub mod random;
pub mod room_and_phone;
pub mod score;
pub mod score_table;
pub mod soundfont;
pub mod source_pitch;
pub mod sources;
pub mod talk;
pub mod truth;
pub mod voice;
