//! A whole result that need not be made again: nothing that decides it has changed since, and it stands where it is to stand.
//!
//! Here it is only known what an audit wrote and said. Whether that stands where it is to stand, byte by byte, whoever wrote it
//! finds out ([`NewFolder::stands`](boutwise_report::NewFolder::stands)).

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use twox_hash::XxHash3_128;

use crate::cache::{Cache, Round};
use crate::measuring::Measuring;
use crate::{Configuration, Inputs, SeasonFiles};

/// All that decides what an audit writes and says: recordings, the files about a season as they were read, the configuration, and
/// in `words` what else its caller decides. Of the program the cache knows.
#[derive(Clone, Copy, Debug)]
pub struct Decided<'a> {
    /// The recordings.
    pub inputs: &'a Inputs,
    /// The files about the season: they count by the digests that [`SeasonFiles::read`] took of them.
    pub files: &'a SeasonFiles,
    /// The configuration. What never changes a result is left out of account.
    pub configuration: &'a Configuration,
    /// Whatever else decides something.
    pub words: &'a str,
}

/// What an audit wrote and said.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Written {
    /// The digest (XXH3, 128 bits) of every file, by its name.
    pub digests: BTreeMap<String, u128>,
    /// What it said.
    pub said: String,
    /// Whether nothing happened that it was to fail for.
    pub is_content: bool,
}

impl Cache {
    /// What the last audit of these recordings wrote and said, if all that decides it is as it was, and no recording would be
    /// opened.
    pub fn written(&self, decided: &Decided<'_>) -> Option<Written> {
        let key = decided.key(self)?;
        decided.round(self).whole_known(key, |bytes| postcard::from_bytes(&bytes).ok())
    }

    /// Keeps what an audit wrote and said, where no recording would be opened the next time.
    pub fn keep_written(&self, decided: &Decided<'_>, written: &Written) {
        if let (Some(key), Ok(bytes)) = (decided.key(self), postcard::to_stdvec(written)) {
            decided.round(self).keep_whole(key, &bytes);
        }
    }
}

impl<'a> Decided<'a> {
    fn round(&self, cache: &'a Cache) -> Round<'a> {
        Round::of_result(Some(cache), self.inputs)
    }

    /// A digest of all of it; `None` where a recording would be opened.
    fn key(&self, cache: &Cache) -> Option<u128> {
        let Self { inputs, files, configuration, words } = self;
        let round = Round::of_files(Some(cache), &Measuring::new(configuration), inputs);
        let mut digest = XxHash3_128::new();
        // Each behind its length: what two of them say together cannot be said by two others.
        let mut add = |bytes: &[u8]| {
            digest.write(&(bytes.len() as u64).to_le_bytes());
            digest.write(bytes);
        };
        for input in inputs.list() {
            let (content, length) = round.entry(input, &files.corrections).unchanged_content()?;
            add(input.name().as_bytes());
            add(&content.to_le_bytes());
            add(&length.to_le_bytes());
        }
        // What is added to a configuration later counts, too.
        let deciding = Configuration {
            scratch: None,
            cache: None,
            pseudonyms: None,
            threads: None,
            timings: None,
            ..(*configuration).clone()
        };
        let codes = configuration.pseudonyms.as_ref().map(|codes| (codes.digest(0), codes.shifts_dates()));
        let others = (inputs.name(), deciding, codes, &files.carried, &files.digests);
        add(format!("{others:?}").as_bytes());
        add(words.as_bytes());
        Some(digest.finish_128())
    }
}
