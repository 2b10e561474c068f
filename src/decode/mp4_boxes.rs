//! The boxes of an MP4, M4A, MOV or 3GP file become its tracks and the part of each that is meant to
//! be heard. The demuxer reads the sound and leaves edit lists to us.
//!
//! Boxes and edit lists: ISO/IEC 14496-12 (8.6.6); `iTunSMPB`: the gapless note that Apple's encoders
//! leave (common practice, no standard).

use super::source::Source;
use std::io;

/// What the boxes say.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Mp4 {
    /// Every track, in order.
    pub tracks: Vec<Mp4Track>,
    /// The table of contents was found.
    pub has_contents: bool,
    /// Ticks a second of the edit durations.
    movie_timescale: u32,
    /// Priming, padding and count of samples from `iTunSMPB`.
    gapless_note: Option<(u64, u64, u64)>,
}

/// One track.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub(super) struct Mp4Track {
    /// Its number in the file.
    pub id: u32,
    /// `soun`, `vide` or another handler.
    pub handler: [u8; 4],
    /// The codec's four letters.
    pub codec: [u8; 4],
    /// Ticks a second of the media times.
    timescale: u32,
    edits: Vec<Edit>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
struct Edit {
    /// In movie ticks; 0 means up to the end.
    duration: u64,
    /// In media ticks; below 0 is a pause before the track begins.
    media_time: i64,
}

/// A table of contents longer than this (bytes) belongs to no take.
const LONGEST_CONTENTS: u64 = 64 << 20;

/// Boxes looked at on one level.
const MOST_BOXES: usize = 20_000;

/// Edits kept of one track.
const MOST_EDITS: usize = 1000;

impl Mp4 {
    /// Reads the top-level boxes and the table of contents.
    pub fn read(source: &mut Source) -> io::Result<Self> {
        let mut mp4 = Self::default();
        let (mut at, file_length) = (0u64, source.length());
        for _ in 0..MOST_BOXES {
            let header = source.bytes_at(at, 16)?;
            let Some((kind, header_length, length)) = box_header(&header, file_length - at) else { break };
            let Some(end) = at.checked_add(length) else { break };
            if &kind == b"moov" && !mp4.has_contents && length <= LONGEST_CONTENTS {
                let body = source.bytes_at(at + header_length, (length - header_length) as usize)?;
                mp4.has_contents = true;
                mp4.read_contents(&body);
            }
            at = end;
            if at >= file_length {
                break;
            }
        }
        Ok(mp4)
    }

    fn read_contents(&mut self, moov: &[u8]) {
        for (kind, body) in boxes(moov) {
            match &kind {
                b"mvhd" => self.movie_timescale = timescale(body).unwrap_or(0),
                b"trak" => self.tracks.push(Mp4Track::read(body)),
                b"udta" => self.gapless_note = gapless_note(body),
                _ => {}
            }
        }
    }

    /// The track with this number.
    pub fn track(&self, id: u32) -> Option<&Mp4Track> {
        self.tracks.iter().find(|track| track.id == id)
    }

    /// Which of `total` decoded samples at `rate` are meant to be heard, as starts and ends in order.
    /// Where nothing is said, all of them.
    pub fn heard(&self, track: &Mp4Track, rate: u32, total: usize) -> Vec<(usize, usize)> {
        let samples = |ticks: u64, timescale: u32| -> usize {
            let timescale = u128::from(timescale.max(1));
            let samples = (u128::from(ticks) * u128::from(rate) + timescale / 2) / timescale;
            usize::try_from(samples).unwrap_or(usize::MAX)
        };
        let parts: Vec<_> = track
            .edits
            .iter()
            .filter_map(|edit| {
                let start = samples(u64::try_from(edit.media_time).ok()?, track.timescale).min(total);
                let length = match edit.duration {
                    0 => usize::MAX,
                    ticks => samples(ticks, self.movie_timescale),
                };
                Some((start, start.saturating_add(length).min(total)))
            })
            .filter(|(start, end)| start < end)
            .collect();
        match (parts.is_empty(), self.gapless_note) {
            (false, _) => parts,
            (true, Some((priming, _, count))) => {
                let start = samples(priming, track.timescale);
                let end = start.saturating_add(samples(count, track.timescale)).min(total);
                if start < end { vec![(start, end)] } else { vec![(0, total)] }
            }
            (true, None) => vec![(0, total)],
        }
    }
}

impl Mp4Track {
    fn read(trak: &[u8]) -> Self {
        let mut track = Self::default();
        for (kind, body) in boxes(trak) {
            match &kind {
                b"tkhd" => {
                    let at = if body.first() == Some(&1) { 20 } else { 12 };
                    track.id = u32_at(body, at).unwrap_or(0);
                }
                b"edts" => {
                    let list = boxes(body).find(|(kind, _)| kind == b"elst");
                    track.edits = list.map(|(_, list)| edits(list)).unwrap_or_default();
                }
                b"mdia" => track.read_media(body),
                _ => {}
            }
        }
        track
    }

    fn read_media(&mut self, mdia: &[u8]) {
        for (kind, body) in boxes(mdia) {
            match &kind {
                b"mdhd" => self.timescale = timescale(body).unwrap_or(0),
                b"hdlr" => self.handler = letters_at(body, 8).unwrap_or_default(),
                b"minf" => {
                    let description = boxes(body)
                        .find(|(kind, _)| kind == b"stbl")
                        .and_then(|(_, stbl)| boxes(stbl).find(|(kind, _)| kind == b"stsd"));
                    self.codec = description.and_then(|(_, stsd)| letters_at(stsd, 12)).unwrap_or_default();
                }
                _ => {}
            }
        }
    }

    /// The codec's name for people.
    pub fn codec_name(&self) -> String {
        match &self.codec {
            b"samr" => "AMR narrow-band, a telephone codec".to_owned(),
            b"sawb" => "AMR wide-band, a telephone codec".to_owned(),
            b"sawp" => "AMR-WB+".to_owned(),
            b"ac-3" => "Dolby Digital (AC-3)".to_owned(),
            b"ec-3" => "Dolby Digital Plus (E-AC-3)".to_owned(),
            b"apac" => "Apple spatial audio (APAC)".to_owned(),
            b"drms" | b"enca" => "encrypted sound".to_owned(),
            b"QDM2" | b"QDMC" => "QDesign Music".to_owned(),
            b"mp4a" => "an unusual kind of AAC".to_owned(),
            letters if letters.iter().all(|byte| byte.is_ascii_graphic() || *byte == b' ') => {
                format!("\"{}\"", String::from_utf8_lossy(letters).trim())
            }
            _ => "an unknown codec".to_owned(),
        }
    }
}

/// A box's type, the length of its header and its whole length; `left` bytes are left for it.
fn box_header(bytes: &[u8], left: u64) -> Option<([u8; 4], u64, u64)> {
    let kind = letters_at(bytes, 4)?;
    let (header, length) = match u32_at(bytes, 0)? {
        0 => (8, left),
        1 => (16, u64_at(bytes, 8)?),
        length => (8, u64::from(length)),
    };
    (length >= header).then_some((kind, header, length))
}

/// The boxes in a body, each with its own body, as far as they fit.
fn boxes(mut body: &[u8]) -> impl Iterator<Item = ([u8; 4], &[u8])> {
    std::iter::from_fn(move || {
        let (kind, header, length) = box_header(body, body.len() as u64)?;
        let length = usize::try_from(length).ok().filter(|&length| length <= body.len())?;
        let (this, rest) = body.split_at(length);
        body = rest;
        Some((kind, &this[header as usize..]))
    })
    .take(MOST_BOXES)
}

/// Ticks a second from `mvhd` or `mdhd`.
fn timescale(body: &[u8]) -> Option<u32> {
    u32_at(body, if body.first() == Some(&1) { 20 } else { 12 })
}

fn edits(elst: &[u8]) -> Vec<Edit> {
    let long = elst.first() == Some(&1);
    let count = u32_at(elst, 4).unwrap_or(0) as usize;
    let entry = if long { 20 } else { 12 };
    (0..count.min(MOST_EDITS))
        .map_while(|k| {
            let at = 8 + k * entry;
            Some(if long {
                Edit { duration: u64_at(elst, at)?, media_time: u64_at(elst, at + 8)?.cast_signed() }
            } else {
                let media_time = i64::from(u32_at(elst, at + 4)?.cast_signed());
                Edit { duration: u64::from(u32_at(elst, at)?), media_time }
            })
        })
        .collect()
}

/// `iTunSMPB` out of `udta`: hexadecimal words, of which the second to fourth are priming, padding
/// and the count of samples.
fn gapless_note(udta: &[u8]) -> Option<(u64, u64, u64)> {
    let (_, meta) = boxes(udta).find(|(kind, _)| kind == b"meta")?;
    let (_, list) = boxes(meta.get(4..)?).find(|(kind, _)| kind == b"ilst")?;
    boxes(list).filter(|(kind, _)| kind == b"----").find_map(|(_, note)| {
        let named = boxes(note).any(|(kind, body)| &kind == b"name" && body.ends_with(b"iTunSMPB"));
        let (_, data) = boxes(note).find(|(kind, _)| named && kind == b"data")?;
        let text = std::str::from_utf8(data.get(8..)?).ok()?;
        let words: Vec<u64> =
            text.split_whitespace().map_while(|word| u64::from_str_radix(word, 16).ok()).collect();
        match words[..] {
            [_, priming, padding, count, ..] if count > 0 => Some((priming, padding, count)),
            _ => None,
        }
    })
}

fn letters_at(bytes: &[u8], at: usize) -> Option<[u8; 4]> {
    bytes.get(at..)?.first_chunk().copied()
}

fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    letters_at(bytes, at).map(u32::from_be_bytes)
}

fn u64_at(bytes: &[u8], at: usize) -> Option<u64> {
    bytes.get(at..)?.first_chunk().copied().map(u64::from_be_bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn track(edits: &[(u64, i64)]) -> Mp4Track {
        let edits = edits.iter().map(|&(duration, media_time)| Edit { duration, media_time }).collect();
        Mp4Track { timescale: 44100, edits, ..Mp4Track::default() }
    }

    fn movie(note: Option<(u64, u64, u64)>) -> Mp4 {
        Mp4 { movie_timescale: 1000, gapless_note: note, ..Mp4::default() }
    }

    #[test]
    fn an_edit_skips_the_priming_and_the_padding() {
        // 2 s at 44.1 kHz behind 1024 samples of priming.
        let heard = movie(None).heard(&track(&[(2000, 1024)]), 44100, 90_000);
        assert_eq!(heard, vec![(1024, 89_224)]);
    }

    #[test]
    fn a_pause_before_the_track_is_no_sound_and_a_cut_in_the_middle_is_left_out() {
        let heard = movie(None).heard(&track(&[(500, -1), (1000, 0), (1000, 88_200)]), 44100, 1_000_000);
        assert_eq!(heard, vec![(0, 44_100), (88_200, 132_300)]);
    }

    #[test]
    fn a_core_at_half_rate_is_cut_at_half_the_samples() {
        let heard = movie(None).heard(&track(&[(1000, 2048)]), 22050, 90_000);
        assert_eq!(heard, vec![(1024, 23_074)]);
    }

    #[test]
    fn the_gapless_note_counts_where_there_is_no_edit() {
        let heard = movie(Some((2112, 100, 50_000))).heard(&track(&[]), 44100, 60_000);
        assert_eq!(heard, vec![(2112, 52_112)]);
        assert_eq!(movie(None).heard(&track(&[]), 44100, 60_000), vec![(0, 60_000)]);
    }

    #[test]
    fn a_box_that_is_longer_than_its_parent_ends_the_walk() {
        assert_eq!(boxes(b"\0\0\0\x08free\0\0\0\x7ffree").count(), 1);
        assert_eq!(boxes(b"\0\0\0\x03free").count(), 0);
    }
}
