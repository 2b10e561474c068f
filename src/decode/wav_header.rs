//! A WAV header as found becomes the plain header that every reader understands, in front of the
//! bytes that really are sound.
//!
//! Recorders leave length fields at 0 or at 0xFFFFFFFF when they write to a pipe or are cut off; files
//! beyond 4 GiB keep their lengths elsewhere (RF64: EBU Tech 3306; BW64: ITU-R BS.2088); editors
//! write every field of WAVEFORMATEXTENSIBLE in their own way. Chunks: Microsoft and IBM, Multimedia
//! Programming Interface and Data Specifications 1.0.

use super::source::Source;
use std::io;

/// The sound in a WAV file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Wav {
    /// Format tag, with WAVE_FORMAT_EXTENSIBLE resolved to the tag inside.
    pub format: u16,
    /// Channels as stated.
    pub channels: u16,
    /// Samples a second as stated.
    pub rate: u32,
    /// The `fmt ` chunk in its plain form.
    fmt: Vec<u8>,
    /// Where the sound begins in the file.
    data_start: u64,
    /// How many bytes of sound are there.
    data_length: u64,
    /// The header states more bytes of sound than there are.
    pub cut_short: bool,
    /// The header states no length although there is sound: it was never finished.
    pub unfinished: bool,
}

/// What is wrong with a WAV file that has no usable sound.
#[derive(Debug)]
pub(super) enum NoWav {
    /// Reading failed.
    Io(io::Error),
    /// The header makes no sense, at this byte.
    Damaged(String, u64),
    /// The header is fine and no sound follows.
    NoSound,
}

/// No sample is longer than this many bytes.
const MOST_BYTES: u16 = 8;

const PCM: u16 = 1;
const MS_ADPCM: u16 = 2;
const IEEE_FLOAT: u16 = 3;
const A_LAW: u16 = 6;
const MU_LAW: u16 = 7;
const IMA_ADPCM: u16 = 0x11;
const EXTENSIBLE: u16 = 0xfffe;

/// Chunks before the sound that are looked at before a file counts as damaged.
const MOST_CHUNKS: usize = 1000;

impl Wav {
    /// Reads the chunks up to the sound.
    pub fn read(source: &mut Source) -> Result<Self, NoWav> {
        let damaged = |what: &str, at: u64| Err(NoWav::Damaged(what.to_owned(), at));
        let (mut fmt, mut long_length, mut at) = (None, None, 12);
        for _ in 0..MOST_CHUNKS {
            let header = source.bytes_at(at, 8).map_err(NoWav::Io)?;
            let Some((id, length)) = header.split_first_chunk::<4>() else { break };
            let Ok(length) = <[u8; 4]>::try_from(length) else { break };
            let length = u32::from_le_bytes(length);
            let body = at + 8;
            match id {
                b"fmt " => {
                    let bytes = source.bytes_at(body, (length as usize).min(256)).map_err(NoWav::Io)?;
                    if bytes.len() < 16 {
                        return damaged("its format description is cut short", body);
                    }
                    fmt = Some((bytes, body));
                }
                b"ds64" => {
                    let bytes = source.bytes_at(body + 8, 8).map_err(NoWav::Io)?;
                    long_length = <[u8; 8]>::try_from(bytes).ok().map(u64::from_le_bytes);
                }
                b"data" => {
                    let Some((fmt, fmt_at)) = fmt else {
                        return damaged("its sound comes before any description of it", at);
                    };
                    let long_length = long_length.filter(|_| length == u32::MAX);
                    if length == 0 && chunks_follow(source, body).map_err(NoWav::Io)? {
                        return Err(NoWav::NoSound);
                    }
                    return Self::from_chunks(&fmt, fmt_at, length, long_length, body, source.length());
                }
                _ => {}
            }
            at = body + u64::from(length) + u64::from(length & 1);
        }
        if fmt.is_none() {
            damaged("its header breaks off", at.min(source.length()))
        } else {
            Err(NoWav::NoSound)
        }
    }

    fn from_chunks(
        fmt: &[u8],
        fmt_at: u64,
        stated: u32,
        long_length: Option<u64>,
        data_start: u64,
        file_length: u64,
    ) -> Result<Self, NoWav> {
        let u16_at = |at: usize| fmt.get(at..at + 2).map(|b| u16::from_le_bytes([b[0], b[1]]));
        let u32_at = |at: usize| fmt.get(at..at + 4).map(|b| u32::from_le_bytes([b[0], b[1], b[2], b[3]]));
        let (Some(tag), Some(channels), Some(rate), Some(block), Some(bits)) =
            (u16_at(0), u16_at(2), u32_at(4), u16_at(12), u16_at(14))
        else {
            return Err(NoWav::Damaged("its format description is cut short".to_owned(), fmt_at));
        };
        let format = if tag == EXTENSIBLE { u16_at(24).unwrap_or(tag) } else { tag };
        // Containers of whole bytes hold samples left-justified, so 20 bits in 3 bytes read as 24.
        let stated_bytes = bits.div_ceil(8);
        let bytes = match block.checked_div(channels) {
            Some(bytes) if bytes >= stated_bytes && bytes <= MOST_BYTES && block % channels == 0 => bytes,
            _ => stated_bytes,
        };
        let fmt = match format {
            PCM | IEEE_FLOAT | A_LAW | MU_LAW if bytes > MOST_BYTES => {
                let what = format!("its header says that each sample has {bits} bits");
                return Err(NoWav::Damaged(what, fmt_at + 14));
            }
            PCM | IEEE_FLOAT | A_LAW | MU_LAW => {
                let block = channels.wrapping_mul(bytes);
                let mut plain = Vec::with_capacity(18);
                plain.extend(format.to_le_bytes());
                plain.extend(channels.to_le_bytes());
                plain.extend(rate.to_le_bytes());
                plain.extend(rate.wrapping_mul(u32::from(block)).to_le_bytes());
                plain.extend(block.to_le_bytes());
                plain.extend((bytes * 8).to_le_bytes());
                plain.extend([0, 0]);
                plain
            }
            _ => fmt.to_vec(),
        };
        let present = file_length.saturating_sub(data_start);
        let stated_length = long_length.unwrap_or(u64::from(stated));
        // Programs that write to a pipe state 0xFFFFFFFF, 0x7FFFFFFF or the like.
        let open_ended = long_length.is_none() && stated >= 0x7fff_0000;
        let unfinished = stated_length == 0 && present > 0;
        let cut_short = !open_ended && stated_length > present;
        let data_length = if open_ended || unfinished || cut_short { present } else { stated_length };
        if data_length == 0 {
            return Err(NoWav::NoSound);
        }
        Ok(Self { format, channels, rate, fmt, data_start, data_length, cut_short, unfinished })
    }

    /// Shows `source` as a plain WAV file of just this sound.
    pub fn narrow(&self, source: &mut Source) {
        let mut header = Vec::with_capacity(64);
        header.extend(b"RIFF");
        header.extend(u32::MAX.to_le_bytes());
        header.extend(b"WAVEfmt ");
        header.extend((self.fmt.len() as u32).to_le_bytes());
        header.extend(&self.fmt);
        if self.fmt.len() % 2 == 1 {
            header.push(0);
        }
        header.extend(b"data");
        header.extend(u32::try_from(self.data_length).unwrap_or(u32::MAX).to_le_bytes());
        source.narrow(header, self.data_start, self.data_length);
    }

    /// The codec by name, where it cannot be read here.
    pub fn unreadable_codec(&self) -> Option<String> {
        Some(match self.format {
            PCM | MS_ADPCM | IEEE_FLOAT | A_LAW | MU_LAW | IMA_ADPCM => return None,
            0x31 => "GSM 6.10".to_owned(),
            0x45 => "G.726 ADPCM".to_owned(),
            0x50 => "MPEG layer I or II".to_owned(),
            0x55 => "MP3 wrapped in WAV".to_owned(),
            0xff | 0x1610 => "AAC wrapped in WAV".to_owned(),
            0x160..=0x163 => "Windows Media Audio".to_owned(),
            0x2000 => "Dolby Digital (AC-3)".to_owned(),
            0x2001 => "DTS".to_owned(),
            other => format!("format tag 0x{other:04X}"),
        })
    }

    /// The codec by name.
    pub fn codec(&self) -> String {
        let bits = self.fmt.get(14).map_or(0, |&low| u16::from(low));
        match self.format {
            PCM => format!("{bits}-bit PCM"),
            IEEE_FLOAT => format!("{bits}-bit floating point"),
            A_LAW => "A-law".to_owned(),
            MU_LAW => "µ-law".to_owned(),
            IMA_ADPCM => "IMA ADPCM".to_owned(),
            MS_ADPCM => "Microsoft ADPCM".to_owned(),
            other => format!("format tag 0x{other:04X}"),
        }
    }
}

/// Whether what follows an empty sound chunk is another chunk rather than sound: its name is letters
/// and its length fits the file to the byte.
fn chunks_follow(source: &mut Source, at: u64) -> io::Result<bool> {
    let header = source.bytes_at(at, 8)?;
    let Some((id, length)) = header.split_first_chunk::<4>() else { return Ok(true) };
    let Ok(length) = <[u8; 4]>::try_from(length) else { return Ok(false) };
    let end = at + 8 + u64::from(u32::from_le_bytes(length));
    let letters = id.iter().all(|byte| byte.is_ascii_alphanumeric() || *byte == b' ');
    Ok(letters && end <= source.length() + 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    fn wav(fmt: &[u8], data_length: u32, data: &[u8]) -> Result<Wav, NoWav> {
        let mut file = b"RIFF\0\0\0\0WAVEfmt ".to_vec();
        file.extend((fmt.len() as u32).to_le_bytes());
        file.extend(fmt);
        file.extend(b"data");
        file.extend(data_length.to_le_bytes());
        file.extend(data);
        Wav::read(&mut Source::new(Box::new(Cursor::new(file))).unwrap())
    }

    const PCM_16_MONO_8000: [u8; 16] = [1, 0, 1, 0, 0x40, 0x1f, 0, 0, 0x80, 0x3e, 0, 0, 2, 0, 16, 0];

    #[test]
    fn a_length_that_was_never_filled_in_means_up_to_the_end() {
        let open = wav(&PCM_16_MONO_8000, u32::MAX, &[0; 20]).unwrap();
        assert_eq!((open.data_length, open.cut_short, open.unfinished), (20, false, false));
        let zero = wav(&PCM_16_MONO_8000, 0, &[0; 20]).unwrap();
        assert_eq!((zero.data_length, zero.cut_short, zero.unfinished), (20, false, true));
        let cut = wav(&PCM_16_MONO_8000, 400, &[0; 20]).unwrap();
        assert_eq!((cut.data_length, cut.cut_short, cut.unfinished), (20, true, false));
    }

    #[test]
    fn a_header_without_sound_is_told_from_a_broken_header() {
        assert!(matches!(wav(&PCM_16_MONO_8000, 0, &[]), Err(NoWav::NoSound)));
        assert!(matches!(wav(&PCM_16_MONO_8000[..8], 4, &[0; 4]), Err(NoWav::Damaged(_, 20))));
    }

    #[test]
    fn twenty_bits_in_three_bytes_read_as_twenty_four() {
        let mut fmt = PCM_16_MONO_8000;
        (fmt[12], fmt[14]) = (3, 20);
        assert_eq!(wav(&fmt, 6, &[0; 6]).unwrap().codec(), "24-bit PCM");
    }
}
