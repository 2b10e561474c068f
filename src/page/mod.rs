//! One take as one HTML file: what went well, what to fix first, the notes as written and as heard, a tape for each
//! string, the pitch inside each note, the beat, the strings, and the sound of each note. The file needs no network and no other
//! file; its policy forbids it to ask for one. Pure: the same report, melody, fundamental and sound give the same bytes, and
//! nothing in here can fail. A figure is a drawing with a size (`Figure`), made for a wide window or for a phone.

mod content;
mod explained;
mod figure_on_paper;
mod html_from_report;
mod legend_from_systems;
mod list_from_report;
mod pages_from_report;
mod policy;
mod resampled;
mod sound_from_samples;
mod staff;
mod strings_from_report;
mod svg;
mod table_figure;
mod tape_from_report;
#[cfg(test)]
mod tests_of_pages;
mod timing_from_report;
mod trace_from_contour;

pub use content::{MarkedFor, PageContent, PageSettings, PlayingTest, Room};
pub use html_from_report::html;
pub use pages_from_report::pages_from_report;
pub use sound_from_samples::{Sound, sound_from_samples};
pub use strings_from_report::strings as strings_figure;
pub use svg::Figure;
pub use tape_from_report::{StringTape, reach, strip, tapes};
pub use timing_from_report::timing as timing_figure;
pub use trace_from_contour::trace as trace_figure;
