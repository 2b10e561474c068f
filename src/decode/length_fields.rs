//! Length fields that promise more than the file holds become lengths up to its end, so that what is
//! left of a recording that was cut off can still be read.
//!
//! AIFF: Apple, Audio Interchange File Format 1.3; CAF: Apple Core Audio Format 1.0; Matroska:
//! RFC 9559 and RFC 8794 (EBML); MP4: ISO/IEC 14496-12, 4.2.

use super::kind_from_bytes::Container;
use super::source::Source;
use std::io;

/// Chunks that are looked at.
const MOST_CHUNKS: usize = 1000;

/// The longest beginning of a file that is kept in memory to show it with other lengths.
const LONGEST_BEGINNING: u64 = 64 << 20;

/// New bytes at an offset.
type Change = (u64, Vec<u8>);

/// Whether the container's own lengths say how long the sound is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lengths {
    /// They fit the file, or the container has none.
    Fit,
    /// They were left open, as live recorders do: the sound ends where the file ends.
    Open,
    /// They promised more; `source` now shows what is there.
    CutShort,
}

/// Checks the length fields, and shows `source` with lengths that fit where they do not.
pub(super) fn fit_lengths(source: &mut Source, container: Container) -> io::Result<Lengths> {
    let (lengths, changes) = match container {
        Container::Aiff => aiff(source)?,
        Container::Caf => caf(source)?,
        Container::Matroska => matroska(source)?,
        Container::Mp4 => mp4(source)?,
        _ => return Ok(Lengths::Fit),
    };
    let end = changes.iter().map(|(at, bytes)| at + bytes.len() as u64).max().unwrap_or(0);
    if lengths == Lengths::CutShort && end <= LONGEST_BEGINNING {
        let mut beginning = source.bytes_at(0, end as usize)?;
        for (at, bytes) in changes {
            let at = at as usize;
            if let Some(place) = beginning.get_mut(at..at + bytes.len()) {
                place.copy_from_slice(&bytes);
            }
        }
        let length = source.length();
        source.narrow(beginning, end, length.saturating_sub(end));
        // The index of a Matroska file lies behind the cut; a reader that may seek looks for it there.
        source.forbid_seeking(container == Container::Matroska);
    }
    Ok(lengths)
}

fn aiff(source: &mut Source) -> io::Result<(Lengths, Vec<Change>)> {
    let (file, mut at, mut frames_at) = (source.length(), 12, None);
    let mut frame_bytes = 0;
    for _ in 0..MOST_CHUNKS {
        let head = source.bytes_at(at, 8)?;
        let Some(length) = be_u32(&head, 4) else { break };
        let (id, body) = (&head[..4], at + 8);
        if id == b"COMM" {
            let comm = source.bytes_at(body, 8)?;
            if let (Some(channels), Some(bits)) = (be_u16(&comm, 0), be_u16(&comm, 6)) {
                frame_bytes = u64::from(channels) * u64::from(bits.div_ceil(8));
                frames_at = Some(body + 2);
            }
        }
        if id == b"SSND" && body + u64::from(length) > file {
            let there = (file.saturating_sub(body)) as u32;
            let mut changes = vec![
                (4, (file.saturating_sub(8) as u32).to_be_bytes().to_vec()),
                (at + 4, there.to_be_bytes().to_vec()),
            ];
            if let (Some(frames_at), Some(frames)) =
                (frames_at, u64::from(there.saturating_sub(8)).checked_div(frame_bytes))
            {
                changes.push((frames_at, (frames as u32).to_be_bytes().to_vec()));
            }
            return Ok((Lengths::CutShort, changes));
        }
        at = body + u64::from(length) + u64::from(length & 1);
    }
    Ok((Lengths::Fit, Vec::new()))
}

fn caf(source: &mut Source) -> io::Result<(Lengths, Vec<Change>)> {
    let (file, mut at) = (source.length(), 8u64);
    for _ in 0..MOST_CHUNKS {
        let head = source.bytes_at(at, 12)?;
        let Some(length) = be_u64(&head, 4) else { break };
        let end = (at + 12).checked_add(length);
        if &head[..4] == b"data" {
            // −1: up to the end of the file.
            return Ok(match end {
                _ if length == u64::MAX => (Lengths::Open, Vec::new()),
                Some(end) if end <= file => (Lengths::Fit, Vec::new()),
                _ => {
                    let there = file.saturating_sub(at + 12);
                    (Lengths::CutShort, vec![(at + 4, there.to_be_bytes().to_vec())])
                }
            });
        }
        let Some(end) = end else { break };
        at = end;
    }
    Ok((Lengths::Fit, Vec::new()))
}

fn matroska(source: &mut Source) -> io::Result<(Lengths, Vec<Change>)> {
    let head = source.bytes_at(0, 4096)?;
    let header_end =
        head.get(4..).and_then(vint).map(|(size, bytes)| (4 + bytes as u64).saturating_add(size));
    let segment = header_end.and_then(|end| Some((end, head.get(usize::try_from(end).ok()?..)?)));
    let Some((at, [0x18, 0x53, 0x80, 0x67, rest @ ..])) = segment else {
        return Ok((Lengths::Fit, Vec::new()));
    };
    let Some((size, bytes)) = vint(rest) else { return Ok((Lengths::Fit, Vec::new())) };
    let unknown = (1u64 << (7 * bytes)) - 1;
    let body = at + 4 + bytes as u64;
    Ok(if size == unknown {
        (Lengths::Open, Vec::new())
    } else if body.saturating_add(size) <= source.length() {
        (Lengths::Fit, Vec::new())
    } else {
        let open = ((1u64 << (7 * bytes)) | unknown).to_be_bytes();
        (Lengths::CutShort, vec![(at + 4, open[8 - bytes..].to_vec())])
    })
}

fn mp4(source: &mut Source) -> io::Result<(Lengths, Vec<Change>)> {
    let (file, mut at) = (source.length(), 0u64);
    for _ in 0..MOST_CHUNKS {
        let head = source.bytes_at(at, 16)?;
        let (length, field) = match be_u32(&head, 0) {
            None | Some(0) => break,
            Some(1) => (be_u64(&head, 8).unwrap_or(0), (at + 8, 8)),
            Some(length) => (u64::from(length), (at, 4)),
        };
        if length < 8 {
            break;
        }
        match at.checked_add(length) {
            Some(end) if end <= file => at = end,
            _ => {
                let there = (file - at).to_be_bytes();
                return Ok((Lengths::CutShort, vec![(field.0, there[8 - field.1..].to_vec())]));
            }
        }
    }
    Ok((Lengths::Fit, Vec::new()))
}

/// A variable-length integer of EBML and how many bytes it takes.
fn vint(bytes: &[u8]) -> Option<(u64, usize)> {
    let count = bytes.first()?.leading_zeros() as usize + 1;
    let value = bytes.get(..count).filter(|_| count <= 8)?;
    let value = value.iter().fold(0u64, |value, byte| value << 8 | u64::from(*byte));
    Some((value & ((1 << (7 * count)) - 1), count))
}

fn be_u16(bytes: &[u8], at: usize) -> Option<u16> {
    bytes.get(at..)?.first_chunk().copied().map(u16::from_be_bytes)
}

fn be_u32(bytes: &[u8], at: usize) -> Option<u32> {
    bytes.get(at..)?.first_chunk().copied().map(u32::from_be_bytes)
}

fn be_u64(bytes: &[u8], at: usize) -> Option<u64> {
    bytes.get(at..)?.first_chunk().copied().map(u64::from_be_bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    #[test]
    fn ebml_integers_state_their_own_length() {
        assert_eq!(vint(&[0x81]), Some((1, 1)));
        assert_eq!(vint(&[0x40, 0x02, 0xff]), Some((2, 2)));
        assert_eq!(vint(&[0x01, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff]), Some(((1 << 56) - 1, 8)));
        assert_eq!(vint(&[0x00, 1, 2]), None);
        assert_eq!(vint(&[0x40]), None);
    }

    #[test]
    fn a_box_that_was_cut_is_shown_as_long_as_it_is() {
        let file = b"\0\0\0\x08free\0\0\x01\0mdatsound".to_vec();
        let mut source = Source::new(Box::new(Cursor::new(file))).unwrap();
        assert_eq!(fit_lengths(&mut source, Container::Mp4).unwrap(), Lengths::CutShort);
        assert_eq!(source.bytes_at(0, 99).unwrap(), b"\0\0\0\x08free\0\0\0\x0dmdatsound");
    }

    #[test]
    fn lengths_that_fit_are_left_alone() {
        let file = b"\0\0\0\x08free\0\0\0\x0dmdatsound".to_vec();
        let mut source = Source::new(Box::new(Cursor::new(file))).unwrap();
        assert_eq!(fit_lengths(&mut source, Container::Mp4).unwrap(), Lengths::Fit);
    }
}
