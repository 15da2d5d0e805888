//! What was measured, put by until its athlete's turn comes: in memory as long as it is little, then on disk.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::Error;

/// Bytes that are held in memory before a file is begun (own choice: a squad's season).
const IN_MEMORY_BYTES: usize = 8 << 20;

/// Values put by. The file has no name and is gone with the process, however that ends.
pub(crate) struct Spill {
    folder: Option<PathBuf>,
    store: Mutex<Store>,
}

struct Store {
    place: Place,
    end: u64,
}

/// Where all values are that were put by.
enum Place {
    /// Each as it was handed over, with its start, so that nothing is copied and no room grows.
    Memory(Vec<(u64, Arc<Vec<u8>>)>),
    Disk(File),
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
        let store = Store { place: Place::Memory(Vec::new()), end: 0 };
        Self { folder: folder.map(Path::to_owned), store: Mutex::new(store) }
    }

    /// Puts a value by.
    pub(crate) fn put(&self, value: &impl Serialize) -> Result<Kept, Error> {
        let bytes = postcard::to_stdvec(value).map_err(|error| Error::spill(io::Error::other(error)))?;
        self.put_bytes(bytes)
    }

    /// Puts by what is written as bytes already.
    pub(crate) fn put_bytes(&self, mut bytes: Vec<u8>) -> Result<Kept, Error> {
        let length = u32::try_from(bytes.len()).map_err(|error| Error::spill(io::Error::other(error)))?;
        bytes.shrink_to_fit();
        // A thread that panicked left nothing half done that a later one reads: the end moves last.
        let mut store = self.store.lock().unwrap_or_else(PoisonError::into_inner);
        let start = store.end;
        self.put_at(start, bytes, &mut store.place).map_err(Error::spill)?;
        store.end = start + u64::from(length);
        Ok(Kept { start, length })
    }

    fn put_at(&self, start: u64, bytes: Vec<u8>, place: &mut Place) -> io::Result<()> {
        if let Place::Memory(values) = place {
            if start as usize + bytes.len() <= IN_MEMORY_BYTES {
                values.push((start, Arc::new(bytes)));
                return Ok(());
            }
            let mut file = match &self.folder {
                Some(folder) => tempfile::tempfile_in(folder)?,
                None => tempfile::tempfile()?,
            };
            values.iter().try_for_each(|(_, value)| file.write_all(value))?;
            *place = Place::Disk(file);
        }
        let Place::Disk(file) = place else { return Ok(()) };
        file.seek(SeekFrom::Start(start))?;
        file.write_all(&bytes)
    }

    /// Takes a value up again.
    pub(crate) fn get<T: DeserializeOwned>(&self, kept: Kept) -> Result<T, Error> {
        let mut store = self.store.lock().unwrap_or_else(PoisonError::into_inner);
        let (bytes, from) = match &mut store.place {
            Place::Memory(values) => {
                let next = values.partition_point(|(start, _)| *start <= kept.start);
                let (start, value) = values[..next].last().ok_or_else(nothing_there)?;
                (value.clone(), (kept.start - start) as usize)
            }
            Place::Disk(file) => (Arc::new(read_at(file, kept.start, kept.length).map_err(Error::spill)?), 0),
        };
        drop(store);
        let value = bytes.get(from..from + kept.length as usize).ok_or_else(nothing_there)?;
        postcard::from_bytes(value).map_err(|error| Error::spill(io::Error::other(error)))
    }
}

fn nothing_there() -> Error {
    Error::spill(io::ErrorKind::UnexpectedEof.into())
}

/// So many bytes of a file from a place.
pub(crate) fn read_at(file: &mut (impl Read + Seek), start: u64, length: u32) -> io::Result<Vec<u8>> {
    file.seek(SeekFrom::Start(start))?;
    let mut bytes = vec![0; length as usize];
    file.read_exact(&mut bytes)?;
    Ok(bytes)
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
        assert!(matches!(spill.store.lock().unwrap().place, Place::Disk(_)));
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
