//! The bytes of a take as the demuxers read them: a file or a buffer, with how far it was read, and
//! where needed with another header put before a part of it.

use std::io::{self, Read, Seek, SeekFrom};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use symphonia::core::io::MediaSource;

/// What a take can be read from.
pub(super) trait Bytes: Read + Seek + Send + Sync {}
impl<T: Read + Seek + Send + Sync> Bytes for T {}

/// A file or a buffer, seen through a window: `header`, then the bytes from `start`, `length` bytes
/// in all.
pub(super) struct Source {
    inner: Box<dyn Bytes>,
    header: Vec<u8>,
    start: u64,
    length: u64,
    position: u64,
    reached: Arc<AtomicU64>,
    may_seek: bool,
}

impl Source {
    /// The whole of a reader. Its length is found by seeking to the end.
    pub fn new(mut inner: Box<dyn Bytes>) -> io::Result<Self> {
        let length = inner.seek(SeekFrom::End(0))?;
        Ok(Self {
            inner,
            header: Vec::new(),
            start: 0,
            length,
            position: 0,
            reached: Arc::default(),
            may_seek: true,
        })
    }

    /// Length in bytes, as seen.
    pub fn length(&self) -> u64 {
        self.length
    }

    /// Narrows the view to `count` bytes from `start`, with `header` before them.
    pub fn narrow(&mut self, header: Vec<u8>, start: u64, count: u64) {
        self.length = header.len() as u64 + count;
        (self.header, self.start, self.position) = (header, start, 0);
    }

    /// Tells demuxers whether they may jump about in the file.
    pub fn forbid_seeking(&mut self, forbidden: bool) {
        self.may_seek = !forbidden;
    }

    /// The furthest byte of the file that was read so far, shared with this source.
    pub fn reached(&self) -> Arc<AtomicU64> {
        Arc::clone(&self.reached)
    }

    /// Up to `count` bytes from `at`; fewer at the end.
    pub fn bytes_at(&mut self, at: u64, count: usize) -> io::Result<Vec<u8>> {
        self.seek(SeekFrom::Start(at))?;
        let mut bytes = Vec::new();
        self.take(count as u64).read_to_end(&mut bytes)?;
        Ok(bytes)
    }
}

impl Read for Source {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let header_left = (self.header.len() as u64).saturating_sub(self.position);
        let count = if header_left > 0 {
            (&self.header[self.position as usize..]).read(buffer)?
        } else {
            let left = self.length.saturating_sub(self.position);
            if left == 0 {
                // A demuxer may ask for a place further away than any operating system goes.
                return Ok(0);
            }
            let wanted = buffer.len().min(usize::try_from(left).unwrap_or(usize::MAX));
            let at = self.start + (self.position - self.header.len() as u64);
            self.inner.seek(SeekFrom::Start(at))?;
            let count = self.inner.read(&mut buffer[..wanted])?;
            if count > 0 {
                self.reached.fetch_max(at + count as u64, Ordering::Relaxed);
            }
            count
        };
        self.position += count as u64;
        Ok(count)
    }
}

impl Seek for Source {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let wanted = match to {
            SeekFrom::Start(at) => Some(at),
            SeekFrom::End(by) => self.length.checked_add_signed(by),
            SeekFrom::Current(by) => self.position.checked_add_signed(by),
        };
        self.position =
            wanted.ok_or_else(|| io::Error::new(io::ErrorKind::InvalidInput, "seek before the start"))?;
        Ok(self.position)
    }
}

impl MediaSource for Source {
    fn is_seekable(&self) -> bool {
        self.may_seek
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.length)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    #[test]
    fn a_window_is_the_new_header_and_a_part_of_the_file() {
        let mut source = Source::new(Box::new(Cursor::new(b"old header, sound, tail".to_vec()))).unwrap();
        assert_eq!(source.bytes_at(4, 6).unwrap(), b"header");
        source.narrow(b"NEW ".to_vec(), 12, 5);
        assert_eq!(source.length(), 9);
        assert_eq!(source.bytes_at(0, 99).unwrap(), b"NEW sound");
        assert_eq!(source.bytes_at(2, 4).unwrap(), b"W so");
        assert_eq!(source.bytes_at(50, 4).unwrap(), b"");
        assert_eq!(source.reached().load(Ordering::Relaxed), 17);
    }
}
