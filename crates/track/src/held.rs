//! Bytes of a file, in whatever memory they lie.

use std::io;
use std::ops::{Deref, DerefMut};

use memmap2::MmapMut;

/// Bytes that are lent, or given away with the memory in which they lie.
#[derive(Debug)]
pub(crate) enum Held<'a> {
    Lent(&'a [u8]),
    Owned(Vec<u8>),
    Large(Large),
}

impl Deref for Held<'_> {
    type Target = [u8];

    fn deref(&self) -> &[u8] {
        match self {
            Self::Lent(bytes) => bytes,
            Self::Owned(bytes) => bytes,
            Self::Large(bytes) => bytes,
        }
    }
}

impl From<Vec<u8>> for Held<'_> {
    fn from(bytes: Vec<u8>) -> Self {
        Self::Owned(bytes)
    }
}

impl<'a> From<&'a [u8]> for Held<'a> {
    fn from(bytes: &'a [u8]) -> Self {
        Self::Lent(bytes)
    }
}

/// Memory of its own for one large file. What a page costs the system at its first use is more than to fill it from a
/// file, so that large pages are asked for, which not every system has.
#[derive(Debug)]
pub(crate) struct Large {
    pages: MmapMut,
    length: usize,
}

impl Large {
    /// So many bytes, all zero.
    pub(crate) fn new(length: usize) -> io::Result<Self> {
        let pages = MmapMut::map_anon(length)?;
        // Where they are refused, small ones serve.
        #[cfg(target_os = "linux")]
        let _ = pages.advise(memmap2::Advice::HugePage);
        Ok(Self { pages, length })
    }

    /// Keeps only the first so many bytes.
    pub(crate) fn truncate(&mut self, length: usize) {
        self.length = self.length.min(length);
    }
}

impl Deref for Large {
    type Target = [u8];

    fn deref(&self) -> &[u8] {
        &self.pages[..self.length]
    }
}

impl DerefMut for Large {
    fn deref_mut(&mut self) -> &mut [u8] {
        &mut self.pages[..self.length]
    }
}
