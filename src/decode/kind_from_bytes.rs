//! The first bytes of a file become what it is: a container of sound, sound that cannot be read
//! here, or something else altogether. Content decides; the name of the file does not.
//!
//! A demuxer that searches for its marker anywhere would hear MP3 frames in a photograph, so only a
//! file whose own beginning says "sound" is handed to one.

/// What a file is, from its first bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Kind {
    /// A container that can be read here.
    Sound(Container),
    /// Sound in a container or codec that cannot be read here, by name.
    UnreadableSound(&'static str),
    /// Something else, with its article: "a PDF document".
    SomethingElse(&'static str),
}

/// The containers that can be read here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Container {
    Wav,
    Aiff,
    Caf,
    Flac,
    Ogg,
    Mp4,
    Matroska,
    Mpeg,
    Adts,
}

impl Container {
    /// The name that people know it by.
    pub fn name(self) -> &'static str {
        match self {
            Self::Wav => "WAV",
            Self::Aiff => "AIFF",
            Self::Caf => "CAF",
            Self::Flac => "FLAC",
            Self::Ogg => "Ogg",
            Self::Mp4 => "MP4",
            Self::Matroska => "WebM/Matroska",
            Self::Mpeg => "MP3",
            Self::Adts => "AAC (ADTS)",
        }
    }
}

/// How many bytes from the start are enough to tell.
pub(super) const ENOUGH: usize = 64 * 1024;

/// Beginnings that say outright what a file is: offset, bytes, kind. Registered signatures of the
/// formats' own specifications.
const SIGNATURES: &[(usize, &[u8], Kind)] = &[
    (0, b"fLaC", Kind::Sound(Container::Flac)),
    (0, b"OggS", Kind::Sound(Container::Ogg)),
    (0, b"caff", Kind::Sound(Container::Caf)),
    (0, b"\x1a\x45\xdf\xa3", Kind::Sound(Container::Matroska)),
    (0, b"#!AMR", Kind::UnreadableSound("AMR, a telephone codec")),
    (0, b"\x30\x26\xb2\x75\x8e\x66\xcf\x11", Kind::UnreadableSound("Windows Media (WMA)")),
    (0, b".snd", Kind::UnreadableSound("Sun audio (AU)")),
    (0, b"wvpk", Kind::UnreadableSound("WavPack")),
    (0, b"MAC ", Kind::UnreadableSound("Monkey's Audio (APE)")),
    (0, b"TTA1", Kind::UnreadableSound("True Audio (TTA)")),
    (0, b"DSD ", Kind::UnreadableSound("DSD (DSF)")),
    (0, b"FRM8", Kind::UnreadableSound("DSD (DSDIFF)")),
    (0, b"MPCK", Kind::UnreadableSound("Musepack")),
    (0, b"MP+", Kind::UnreadableSound("Musepack")),
    (0, b".RMF", Kind::UnreadableSound("RealMedia")),
    (0, b".ra\xfd", Kind::UnreadableSound("RealAudio")),
    (0, b"FLV\x01", Kind::UnreadableSound("Flash video (FLV)")),
    (0, b"riff\x2e\x91\xcf\x11", Kind::UnreadableSound("Sony Wave64")),
    (0, b"\x00\x00\x01\xba", Kind::UnreadableSound("an MPEG programme stream")),
    (0, b"\x0b\x77", Kind::UnreadableSound("Dolby Digital (AC-3)")),
    (0, b"\x7f\xfe\x80\x01", Kind::UnreadableSound("DTS")),
    (0, b"%PDF", Kind::SomethingElse("a PDF document")),
    (0, b"\x89PNG", Kind::SomethingElse("a picture (PNG)")),
    (0, b"\xff\xd8\xff", Kind::SomethingElse("a picture (JPEG)")),
    (0, b"GIF8", Kind::SomethingElse("a picture (GIF)")),
    (0, b"II*\0", Kind::SomethingElse("a picture (TIFF)")),
    (0, b"MM\0*", Kind::SomethingElse("a picture (TIFF)")),
    (4, b"ftyphei", Kind::SomethingElse("a picture (HEIC)")),
    (4, b"ftypmif1", Kind::SomethingElse("a picture (HEIF)")),
    (4, b"ftypavif", Kind::SomethingElse("a picture (AVIF)")),
    (0, b"PK\x03\x04", Kind::SomethingElse("a ZIP archive, or a document or score stored as one")),
    (0, b"PK\x05\x06", Kind::SomethingElse("an empty ZIP archive")),
    (0, b"\x1f\x8b", Kind::SomethingElse("a gzip archive")),
    (0, b"7z\xbc\xaf\x27\x1c", Kind::SomethingElse("a 7-Zip archive")),
    (0, b"Rar!", Kind::SomethingElse("a RAR archive")),
    (0, b"\xd0\xcf\x11\xe0", Kind::SomethingElse("an old Office document")),
    (0, b"MThd", Kind::SomethingElse("a MIDI file, which holds notes and no sound")),
    (0, b"\x7fELF", Kind::SomethingElse("a program")),
    (0, b"SQLite format 3", Kind::SomethingElse("a database")),
    (0, b"\xff\xfe\0\0", Kind::SomethingElse("a text file")),
    (0, b"{\\rtf", Kind::SomethingElse("a text document (RTF)")),
];

/// Four-letter box types that an MP4 or QuickTime file begins with (ISO/IEC 14496-12, QuickTime
/// File Format).
const MP4_FIRST_BOXES: &[&[u8]] = &[b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot"];

/// What a file is, from up to [`ENOUGH`] bytes of its beginning; `from_byte` reads more when an ID3
/// tag with a cover picture is longer than that.
pub(super) fn kind_from_bytes(head: &[u8]) -> Kind {
    if head.len() >= 12
        && (head.starts_with(b"RIFF") || head.starts_with(b"RF64") || head.starts_with(b"BW64"))
    {
        return match &head[8..12] {
            b"WAVE" => Kind::Sound(Container::Wav),
            b"AVI " => Kind::UnreadableSound("AVI video"),
            b"WEBP" => Kind::SomethingElse("a picture (WebP)"),
            b"RMID" => Kind::SomethingElse("a MIDI file, which holds notes and no sound"),
            _ => Kind::SomethingElse("RIFF data that is not sound"),
        };
    }
    if head.len() >= 12 && head.starts_with(b"FORM") {
        return match &head[8..12] {
            b"AIFF" | b"AIFC" => Kind::Sound(Container::Aiff),
            b"8SVX" => Kind::UnreadableSound("Amiga 8SVX"),
            _ => Kind::SomethingElse("IFF data that is not sound"),
        };
    }
    if head.starts_with(b"OggS") && head.get(28..).is_some_and(|packet| packet.starts_with(b"Speex   ")) {
        return Kind::UnreadableSound("Speex, a telephone codec");
    }
    for (offset, bytes, kind) in SIGNATURES {
        if head.get(*offset..).is_some_and(|rest| rest.starts_with(bytes)) {
            return kind.clone();
        }
    }
    if head.get(4..8).is_some_and(|box_type| MP4_FIRST_BOXES.contains(&box_type)) {
        return Kind::Sound(Container::Mp4);
    }
    if let Some(container) = mpeg_frames(head) {
        return Kind::Sound(container);
    }
    if head.starts_with(b"ID3") {
        return Kind::Sound(Container::Mpeg);
    }
    if (0..3).all(|k| head.get(k * 188) == Some(&0x47)) {
        return Kind::UnreadableSound("an MPEG transport stream");
    }
    Kind::SomethingElse(match text_or_data(head) {
        UNKNOWN if head.starts_with(b"BM") => "a picture (BMP)",
        UNKNOWN if head.starts_with(b"MZ") => "a Windows program",
        other => other,
    })
}

/// The word for data that nothing is known about.
const UNKNOWN: &str = "data of an unknown kind";

/// The length of an ID3v2 tag at the start, header and footer included (ID3v2.4, section 3.1).
pub(super) fn id3_length(head: &[u8]) -> Option<u64> {
    let header = head.get(..10).filter(|header| header.starts_with(b"ID3"))?;
    let size = header[6..10].iter().fold(0u64, |size, byte| size << 7 | u64::from(byte & 0x7f));
    let footer = if header[5] & 0x10 == 0 { 0 } else { 10 };
    Some(10 + size + footer)
}

/// ADTS or MPEG audio, where three frame headers follow each other at the distance that they state
/// (two, where the file ends after them), within the first kilobytes.
fn mpeg_frames(head: &[u8]) -> Option<Container> {
    (0..head.len().min(16 * 1024)).find_map(|start| {
        [(Container::Adts, adts_length as fn(&[u8]) -> Option<usize>), (Container::Mpeg, mpeg_length)]
            .into_iter()
            .find(|(_, length)| {
                let mut at = start;
                for frame in 0..3 {
                    match head.get(at..).and_then(length) {
                        Some(bytes) => at += bytes,
                        None => return frame > 0 && at >= head.len() && start == 0,
                    }
                }
                true
            })
            .map(|(container, _)| container)
    })
}

/// The length of the ADTS frame that begins here (ISO/IEC 13818-7, 6.2).
fn adts_length(bytes: &[u8]) -> Option<usize> {
    let header = bytes.get(..7)?;
    let sync = header[0] == 0xff && header[1] & 0xf6 == 0xf0;
    let length = usize::from(header[3] & 3) << 11 | usize::from(header[4]) << 3 | usize::from(header[5]) >> 5;
    (sync && (header[2] >> 2) & 15 < 13 && length > 7).then_some(length)
}

/// The length of the MPEG audio frame that begins here (ISO/IEC 11172-3, 2.4.2.3; 13818-3 for the
/// lower sampling rates, and the common extension MPEG 2.5).
fn mpeg_length(bytes: &[u8]) -> Option<usize> {
    const LAYER_3: [usize; 15] = [0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320];
    const LAYER_2: [usize; 15] = [0, 32, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320, 384];
    const LAYER_1: [usize; 15] = [0, 32, 64, 96, 128, 160, 192, 224, 256, 288, 320, 352, 384, 416, 448];
    const LOW_1: [usize; 15] = [0, 32, 48, 56, 64, 80, 96, 112, 128, 144, 160, 176, 192, 224, 256];
    const LOW_2_3: [usize; 15] = [0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160];
    let header = bytes.get(..4)?;
    if header[0] != 0xff || header[1] & 0xe0 != 0xe0 {
        return None;
    }
    let version = (header[1] >> 3) & 3; // 3: MPEG 1, 2: MPEG 2, 0: MPEG 2.5
    let layer = 4 - ((header[1] >> 1) & 3);
    let (index, rate_index) = (usize::from(header[2] >> 4), usize::from((header[2] >> 2) & 3));
    if version == 1 || layer == 4 || index == 0 || index == 15 || rate_index == 3 {
        return None;
    }
    let rate = [44100, 48000, 32000][rate_index]
        >> match version {
            3 => 0,
            2 => 1,
            _ => 2,
        };
    let kilobits = match (version == 3, layer) {
        (true, 1) => LAYER_1[index],
        (true, 2) => LAYER_2[index],
        (true, _) => LAYER_3[index],
        (false, 1) => LOW_1[index],
        (false, _) => LOW_2_3[index],
    };
    let padding = usize::from((header[2] >> 1) & 1);
    Some(match layer {
        1 => (12_000 * kilobits / rate + padding) * 4,
        3 if version != 3 => 72_000 * kilobits / rate + padding,
        _ => 144_000 * kilobits / rate + padding,
    })
}

/// A word for data without a signature.
fn text_or_data(head: &[u8]) -> &'static str {
    if head.iter().all(|&byte| byte == 0) {
        return "nothing but zero bytes";
    }
    let text = match std::str::from_utf8(head) {
        Ok(text) => text,
        // A character cut in two by the end of `head` is still text.
        Err(error) if error.error_len().is_none() => {
            std::str::from_utf8(&head[..error.valid_up_to()]).unwrap_or("")
        }
        Err(_) => return UNKNOWN,
    };
    if text.is_empty() || text.chars().any(|c| c.is_control() && !"\t\r\n\u{c}".contains(c)) {
        return UNKNOWN;
    }
    let start = text.trim_start_matches('\u{feff}').trim_start();
    let lower = start.get(..start.len().min(400)).unwrap_or(start).to_ascii_lowercase();
    if lower.contains("<score-partwise") || lower.contains("<score-timewise") {
        "a score (MusicXML); it belongs after --melody"
    } else if lower.starts_with("<!doctype html") || lower.starts_with("<html") {
        "a web page"
    } else if start.starts_with("X:") || start.starts_with("%abc") {
        "a tune (ABC); it belongs after --melody"
    } else if lower.starts_with("<?xml") || start.starts_with('<') {
        "an XML file"
    } else if start.starts_with('{') || start.starts_with("[{") {
        "a JSON file"
    } else {
        "a text file"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn things_that_are_not_recordings_are_named() {
        for (head, word) in [
            (&b"%PDF-1.7\n"[..], "PDF"),
            (b"\xff\xd8\xff\xe0\0\x10JFIF", "JPEG"),
            (b"PK\x03\x04rest", "ZIP"),
            (b"MThd\0\0\0\x06", "MIDI"),
            (b"<?xml version=\"1.0\"?><score-partwise>", "MusicXML"),
            (b"X:1\nT:Tune\n", "ABC"),
            (b"title = \"Lightly row\"\n", "text"),
            (b"RIFF\0\0\0\0WEBPVP8 ", "WebP"),
            (&[0; 100], "zero bytes"),
        ] {
            match kind_from_bytes(head) {
                Kind::SomethingElse(what) => assert!(what.contains(word), "{what} should name {word}"),
                other => panic!("{head:?} became {other:?}"),
            }
        }
    }

    #[test]
    fn sound_that_cannot_be_read_is_named() {
        assert!(matches!(kind_from_bytes(b"#!AMR\n"), Kind::UnreadableSound(name) if name.contains("AMR")));
        assert!(
            matches!(kind_from_bytes(b"RIFF\0\0\0\0AVI LIST"), Kind::UnreadableSound(name) if name.contains("AVI"))
        );
    }

    #[test]
    fn frame_lengths_follow_the_standard() {
        // 128 kbit/s at 44.1 kHz, layer III: 144 · 128000 / 44100 = 417 bytes, 418 with padding.
        assert_eq!(mpeg_length(&[0xff, 0xfb, 0x90, 0x00]), Some(417));
        assert_eq!(mpeg_length(&[0xff, 0xfb, 0x92, 0x00]), Some(418));
        assert_eq!(mpeg_length(&[0xff, 0xfb, 0xf0, 0x00]), None);
        // A frame of 0x173 = 371 bytes.
        assert_eq!(adts_length(&[0xff, 0xf1, 0x50, 0x80, 0x2e, 0x7f, 0xfc]), Some(371));
    }

    #[test]
    fn an_id3_size_has_seven_bits_to_the_byte() {
        assert_eq!(id3_length(b"ID3\x04\0\0\0\0\x02\x01rest"), Some(10 + 257));
        assert_eq!(id3_length(b"RIFF567890"), None);
    }
}
