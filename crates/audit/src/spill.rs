//! What was measured, put by until its athlete's turn comes: in memory as long as it is little, then on disk.

use std::io::{self, Read, Seek, SeekFrom, Write};
use std::ops::Range;
use std::path::Path;
use std::sync::{Mutex, PoisonError};

use serde::Serialize;
use serde::de::DeserializeOwned;
use tempfile::SpooledTempFile;

use crate::Error;

/// Bytes that are held in memory before a file is begun (own choice: a squad's season).
const IN_MEMORY_BYTES: usize = 8 << 20;

/// Values put by. The file has no name and is gone with the process, however that ends.
pub(crate) struct Spill {
    store: Mutex<Store>,
}

struct Store {
    file: SpooledTempFile,
    end: u64,
}

/// Where a value was put.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Kept {
    start: u64,
    length: u32,
}

impl Kept {
    /// A part of what was put by at once.
    pub(crate) fn part(self, part: &Range<usize>) -> Self {
        let length = part.len().min(self.length as usize) as u32;
        Self { start: self.start + part.start as u64, length }
    }
}

impl Spill {
    /// Nothing yet; in `folder`, or where the system keeps such files.
    pub(crate) fn new(folder: Option<&Path>) -> Self {
        let file = match folder {
            Some(folder) => SpooledTempFile::new_in(IN_MEMORY_BYTES, folder),
            None => SpooledTempFile::new(IN_MEMORY_BYTES),
        };
        Self { store: Mutex::new(Store { file, end: 0 }) }
    }

    /// Puts a value by.
    pub(crate) fn put(&self, value: &impl Serialize) -> Result<Kept, Error> {
        let bytes = postcard::to_stdvec(value).map_err(|error| Error::spill(io::Error::other(error)))?;
        self.put_bytes(&bytes)
    }

    /// Puts by what is written as bytes already.
    pub(crate) fn put_bytes(&self, bytes: &[u8]) -> Result<Kept, Error> {
        let length = u32::try_from(bytes.len()).map_err(|error| Error::spill(io::Error::other(error)))?;
        // A thread that panicked left nothing half done that a later one reads: the end moves last.
        let mut store = self.store.lock().unwrap_or_else(PoisonError::into_inner);
        let start = store.end;
        store.file.seek(SeekFrom::Start(start)).map_err(Error::spill)?;
        store.file.write_all(bytes).map_err(Error::spill)?;
        store.end = start + u64::from(length);
        Ok(Kept { start, length })
    }

    /// Takes a value up again.
    pub(crate) fn get<T: DeserializeOwned>(&self, kept: Kept) -> Result<T, Error> {
        let mut store = self.store.lock().unwrap_or_else(PoisonError::into_inner);
        let bytes = read_at(&mut store.file, kept.start, kept.length).map_err(Error::spill)?;
        drop(store);
        postcard::from_bytes(&bytes).map_err(|error| Error::spill(io::Error::other(error)))
    }
}

/// So many bytes of a file from a place, into room that is not filled with zeros first.
pub(crate) fn read_at(file: &mut (impl Read + Seek), start: u64, length: u32) -> io::Result<Vec<u8>> {
    file.seek(SeekFrom::Start(start))?;
    let mut bytes = Vec::with_capacity(length as usize);
    file.take(length.into()).read_to_end(&mut bytes)?;
    if bytes.len() == length as usize { Ok(bytes) } else { Err(io::ErrorKind::UnexpectedEof.into()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_come_back_as_they_were_also_from_the_disk() {
        let place = tempfile::tempdir().unwrap();
        let spill = Spill::new(Some(place.path()));
        let values: Vec<Vec<f64>> =
            (0..40).map(|value| vec![f64::from(value) / 3.0; 50_000 + value as usize]).collect();
        let kept: Vec<Kept> = values.iter().map(|value| spill.put(value).unwrap()).collect();
        assert!(spill.store.lock().unwrap().file.is_rolled());
        for (value, kept) in values.iter().zip(kept).rev() {
            assert_eq!(&spill.get::<Vec<f64>>(kept).unwrap(), value);
        }
        let odd = spill.put(&(f32::NAN, -0.0_f64, None::<String>)).unwrap();
        let (missing, zero, none): (f32, f64, Option<String>) = spill.get(odd).unwrap();
        assert!(missing.is_nan() && zero.is_sign_negative() && none.is_none());
        // Nothing of it has a name.
        assert_eq!(std::fs::read_dir(place.path()).unwrap().count(), 0);
    }

    #[test]
    fn what_is_cut_off_is_no_value() {
        let mut file = io::Cursor::new([1, 2, 3]);
        assert_eq!(read_at(&mut file, 1, 2).unwrap(), [2, 3]);
        assert_eq!(read_at(&mut file, 2, 2).unwrap_err().kind(), io::ErrorKind::UnexpectedEof);
    }

    #[test]
    fn a_place_that_takes_nothing_is_an_error_and_no_loss() {
        let place = tempfile::tempdir().unwrap();
        let spill = Spill::new(Some(&place.path().join("nowhere")));
        let error = spill.put(&vec![0_u8; IN_MEMORY_BYTES + 1]).unwrap_err();
        assert_eq!(error.kind(), crate::ErrorKind::Spill);
    }
}
