//! The description of an HE-AAC stream becomes that of the AAC-LC stream inside it, at half the rate:
//! up to 11 kHz of real sound, which is more than a tune needs; the treble of such files is made up
//! from side information anyway.
//!
//! AudioSpecificConfig: ISO/IEC 14496-3, 1.6.2.1; the delay of the replicated band: 4.6.18.

/// Sampling rates by index (ISO/IEC 14496-3, table 1.18).
const RATES: [u32; 13] =
    [96_000, 88_200, 64_000, 48_000, 44_100, 32_000, 24_000, 22_050, 16_000, 12_000, 11_025, 8_000, 7_350];

/// How much later, in samples of the core, a full HE-AAC decoder puts the sound out than its core
/// alone: 962 samples at twice the rate. Edit lists count on the full decoder.
pub(super) const CORE_LEAD: usize = 481;

/// The AAC-LC description and core rate inside an HE-AAC description; `None` where the stream is not
/// HE-AAC or its core is not AAC-LC.
pub(super) fn aac_core(config: &[u8]) -> Option<(Vec<u8>, u32)> {
    let mut bits = Bits { bytes: config, at: 0 };
    let outer = bits.object_type()?;
    let (rate_index, rate) = bits.rate()?;
    let channels = bits.take(4)?;
    let explicit = matches!(outer, 5 | 29);
    let core = if explicit {
        bits.rate()?;
        bits.object_type()?
    } else {
        outer
    };
    let replicated = explicit || replication_announced(config, bits.at);
    if !replicated || core != 2 {
        return None;
    }
    // Object type 2, the rate, the channels, and three zero bits: 1024 samples to the frame, no
    // core coder, no extension.
    let mut plain = Writer::default();
    plain.put(2, 5);
    plain.put(rate_index, 4);
    if rate_index == 15 {
        plain.put(rate, 24);
    }
    plain.put(channels, 4);
    plain.put(0, 3);
    Some((plain.bytes, rate))
}

/// Whether the backward compatible sync word 0x2b7 with the replication flag follows.
fn replication_announced(config: &[u8], from: usize) -> bool {
    (from..(config.len() * 8).saturating_sub(16)).any(|at| {
        let mut bits = Bits { bytes: config, at };
        bits.take(11) == Some(0x2b7) && bits.take(5) == Some(5) && bits.take(1) == Some(1)
    })
}

/// Whether an AAC packet ends with a fill element of band replication data, which is how HE-AAC
/// travels where the description says plain AAC (ISO/IEC 14496-3, 4.4.2.7 and 4.5.2.8). Read from the
/// packet's end, since its middle is Huffman code; by chance, one packet in about 60 looks like this.
pub(super) fn carries_replication(packet: &[u8]) -> bool {
    const END: u32 = 7;
    const FILL: u32 = 6;
    let Some(last) = packet.iter().rposition(|&byte| byte != 0) else { return false };
    let end = (last + 1) * 8 - packet[last].trailing_zeros() as usize;
    let read = |at: usize, count| Bits { bytes: packet, at }.take(count);
    let Some(end) = end.checked_sub(3).filter(|&at| read(at, 3) == Some(END)) else { return false };
    // Bytes of payload after the count; from 15 on, the count is in a second field.
    let is_replication = |at: usize| matches!(read(at, 4), Some(13 | 14));
    let short = (1..15usize).any(|count| {
        let body = end.checked_sub(count * 8);
        body.and_then(|body| Some((body, body.checked_sub(7)?))).is_some_and(|(body, start)| {
            read(start, 3) == Some(FILL) && read(start + 3, 4) == Some(count as u32) && is_replication(body)
        })
    });
    short
        || (15..=269usize).any(|count| {
            let body = end.checked_sub(count * 8);
            body.and_then(|body| Some((body, body.checked_sub(15)?))).is_some_and(|(body, start)| {
                read(start, 3) == Some(FILL)
                    && read(start + 3, 4) == Some(15)
                    && read(start + 7, 8) == Some(count as u32 - 14)
                    && is_replication(body)
            })
        })
}

struct Bits<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl Bits<'_> {
    fn take(&mut self, count: usize) -> Option<u32> {
        let mut value = 0;
        for _ in 0..count {
            let byte = *self.bytes.get(self.at / 8)?;
            value = value << 1 | u32::from(byte >> (7 - self.at % 8) & 1);
            self.at += 1;
        }
        Some(value)
    }

    fn object_type(&mut self) -> Option<u32> {
        match self.take(5)? {
            31 => Some(32 + self.take(6)?),
            kind => Some(kind),
        }
    }

    fn rate(&mut self) -> Option<(u32, u32)> {
        match self.take(4)? {
            15 => Some((15, self.take(24)?)),
            index => Some((index, *RATES.get(index as usize)?)),
        }
    }
}

#[derive(Default)]
struct Writer {
    bytes: Vec<u8>,
    bits: usize,
}

impl Writer {
    fn put(&mut self, value: u32, count: usize) {
        for k in (0..count).rev() {
            if self.bits.is_multiple_of(8) {
                self.bytes.push(0);
            }
            if let Some(last) = self.bytes.last_mut() {
                *last |= ((value >> k & 1) as u8) << (7 - self.bits % 8);
            }
            self.bits += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_aac_has_no_core() {
        // AAC-LC, 44.1 kHz, mono.
        assert_eq!(aac_core(&[0x12, 0x08]), None);
        assert_eq!(aac_core(&[]), None);
    }

    #[test]
    fn the_core_of_he_aac_is_aac_lc_at_half_the_rate() {
        // Object type 5, rate index 7 (22.05 kHz), 1 channel, extension index 4 (44.1 kHz), object type 2.
        let config = [0b0010_1011, 0b1000_1010, 0b0000_1000, 0];
        assert_eq!(aac_core(&config), Some((vec![0b0001_0011, 0b1000_1000], 22_050)));
    }

    #[test]
    fn band_replication_at_the_end_of_a_packet_is_seen() {
        // Some bits, then FILL, 2 bytes: type 13 and the rest; END; alignment.
        let mut packet = Writer::default();
        for (value, count) in [(0x15, 6), (6, 3), (2, 4), (13, 4), (0xabc, 12), (7, 3)] {
            packet.put(value, count);
        }
        assert!(carries_replication(&packet.bytes));
        let mut plain = Writer::default();
        for (value, count) in [(0x15, 6), (6, 3), (2, 4), (0, 4), (0xabc, 12), (7, 3)] {
            plain.put(value, count);
        }
        assert!(!carries_replication(&plain.bytes));
        assert!(!carries_replication(&[]) && !carries_replication(&[0, 0]) && !carries_replication(&[7]));
    }

    #[test]
    fn the_backward_compatible_announcement_is_seen() {
        // AAC-LC, 22.05 kHz, mono, then 0x2b7, object type 5, flag 1, rate index 4.
        let config = [0x13, 0x88, 0x56, 0xe5, 0xa0];
        assert_eq!(aac_core(&config), Some((vec![0x13, 0x88], 22_050)));
    }
}
