//! Samples from a SoundFont 2.01 file (E-mu Systems, SoundFont Technical Specification 2.01: RIFF,
//! chunk `smpl` holds 16-bit samples, chunk `shdr` 46-byte headers).

use std::path::Path;

/// One sample of the font.
pub struct FontSample {
    pub name: String,
    pub rate: u32,
    pub mono: Vec<f32>,
    /// Start and end of the loop, in samples.
    pub looped: (usize, usize),
}

/// The samples whose name passes; right channels of stereo pairs are left out.
pub fn font_samples(path: &Path, wanted: impl Fn(&str) -> bool) -> std::io::Result<Vec<FontSample>> {
    let bytes = std::fs::read(path)?;
    let broken = || std::io::Error::other("not a SoundFont 2 file");
    let (smpl, shdr) = match (chunk(&bytes, b"smpl"), chunk(&bytes, b"shdr")) {
        (Some(smpl), Some(shdr)) => (smpl, shdr),
        _ => return Err(broken()),
    };
    let word = |record: &[u8], at: usize| {
        u32::from_le_bytes(record[at..at + 4].try_into().expect("4 bytes")) as usize
    };
    let mut found = Vec::new();
    for record in shdr.chunks_exact(46) {
        let name: String = record[..20].iter().take_while(|b| **b != 0).map(|b| *b as char).collect();
        let kind = u16::from_le_bytes([record[44], record[45]]);
        if kind == 2 || !wanted(&name) {
            continue;
        }
        let (start, end) = (word(record, 20), word(record, 24));
        let data = smpl.get(2 * start..2 * end).ok_or_else(broken)?;
        let mono =
            data.chunks_exact(2).map(|b| f32::from(i16::from_le_bytes([b[0], b[1]])) / 32768.0).collect();
        let looped = (word(record, 28).saturating_sub(start), word(record, 32).saturating_sub(start));
        found.push(FontSample { name, rate: word(record, 36) as u32, mono, looped });
    }
    Ok(found)
}

/// The body of the named chunk, wherever in the nested lists it is.
fn chunk<'a>(bytes: &'a [u8], name: &[u8; 4]) -> Option<&'a [u8]> {
    let mut at = 12;
    while at + 8 <= bytes.len() {
        let size = u32::from_le_bytes(bytes[at + 4..at + 8].try_into().ok()?) as usize;
        if &bytes[at..at + 4] == b"LIST" {
            at += 12;
            continue;
        }
        if &bytes[at..at + 4] == name {
            return bytes.get(at + 8..at + 8 + size);
        }
        at += 8 + size + size % 2;
    }
    None
}
