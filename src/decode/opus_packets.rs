//! Opus packets become channels at 48 kHz (RFC 6716), with the header's gain (RFC 7845, 5.1).

use ropus::OpusMSDecoder;

/// Opus always decodes to this rate here, whatever rate the recorder had.
pub(super) const OPUS_RATE: u32 = 48_000;

/// 120 ms at 48 kHz, the longest packet (RFC 6716, 3.2).
const LONGEST_PACKET: usize = 5760;

/// A decoder with its header.
pub(super) struct OpusTrack {
    decoder: OpusMSDecoder,
    channels: usize,
    gain: f32,
    /// Samples to leave out at the start.
    pub pre_skip: usize,
    interleaved: Vec<i16>,
}

impl OpusTrack {
    /// From the identification header (`OpusHead`), or an error in words.
    pub fn new(head: &[u8]) -> Result<Self, String> {
        let body = head.strip_prefix(b"OpusHead").ok_or("its Opus header is missing")?;
        let [_version, channels, skip_low, skip_high, _, _, _, _, gain_low, gain_high, family, rest @ ..] =
            body
        else {
            return Err("its Opus header is cut short".to_owned());
        };
        let channels = usize::from(*channels);
        let (streams, coupled, mapping): (i32, i32, Vec<u8>) = match (family, rest) {
            (0, _) if channels == 1 => (1, 0, vec![0]),
            (0, _) if channels == 2 => (1, 1, vec![0, 1]),
            (1..=255, [streams, coupled, mapping @ ..]) if mapping.len() >= channels => {
                (i32::from(*streams), i32::from(*coupled), mapping[..channels].to_vec())
            }
            _ => return Err("its Opus header names no usable channels".to_owned()),
        };
        let decoder = OpusMSDecoder::new(OPUS_RATE as i32, channels as i32, streams, coupled, &mapping)
            .map_err(|code| format!("its Opus header makes no sense (code {code})"))?;
        let decibels = f32::from(i16::from_le_bytes([*gain_low, *gain_high])) / 256.0;
        Ok(Self {
            decoder,
            channels,
            gain: 10f32.powf(decibels / 20.0) / 32_768.0,
            pre_skip: usize::from(u16::from_le_bytes([*skip_low, *skip_high])),
            interleaved: vec![0; LONGEST_PACKET * channels],
        })
    }

    /// How many channels come out.
    pub fn channels(&self) -> usize {
        self.channels
    }

    /// Decodes one packet into `planes`, one vector per channel, replacing what they hold.
    pub fn decode(&mut self, packet: &[u8], planes: &mut Vec<Vec<f32>>) -> Result<(), String> {
        planes.resize_with(self.channels, Vec::new);
        planes.iter_mut().for_each(Vec::clear);
        let frames = self
            .decoder
            .decode(Some(packet), packet.len() as i32, &mut self.interleaved, LONGEST_PACKET as i32, false)
            .map_err(|code| format!("code {code}"))?;
        for frame in self.interleaved.chunks_exact(self.channels).take(usize::try_from(frames).unwrap_or(0)) {
            for (plane, sample) in planes.iter_mut().zip(frame) {
                plane.push(f32::from(*sample) * self.gain);
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn head(channels: u8, gain: i16, family: u8) -> Vec<u8> {
        let mut head = b"OpusHead\x01".to_vec();
        head.push(channels);
        head.extend(312u16.to_le_bytes());
        head.extend(48_000u32.to_le_bytes());
        head.extend(gain.to_le_bytes());
        head.push(family);
        head
    }

    #[test]
    fn a_header_gives_pre_skip_and_gain() {
        // Q7.8 decibels: 1541 / 256 = 6.02 dB, a factor of 2.
        let track = OpusTrack::new(&head(1, 1541, 0)).unwrap();
        assert_eq!((track.pre_skip, track.channels()), (312, 1));
        assert!((track.gain * 32_768.0 - 2.0).abs() < 0.001);
    }

    #[test]
    fn broken_headers_are_refused_in_words() {
        assert!(OpusTrack::new(b"OpusHea").is_err());
        assert!(OpusTrack::new(&head(3, 0, 0)).is_err());
        assert!(OpusTrack::new(&head(0, 0, 1)).is_err());
        assert!(OpusTrack::new(&head(2, 0, 1)).is_err());
    }
}
