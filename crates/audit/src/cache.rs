//! What files gave, and what was written of athletes, kept on disk from one audit to the next.
//!
//! # What an entry depends on
//!
//! What a file gave is found by the program's own bytes, the settings that decide it ([`Measuring`]), the path of the file
//! and its bytes. Whose a recording is, plans, journals and rules come after it, and are worked out anew each time. What was
//! written of an athlete is found by all that is known of them then.
//!
//! A file is taken for unchanged without being opened where all that the file system tells of it is as it was: which file it
//! is, its size, when it was written, and when anything about it was changed. That last time cannot be set by hand; but two
//! changes within one tick of the file system's clock show as one. So a file that was changed shortly before it was read, or
//! lies on another device than the cache, whose clock may be another, is read again the next time, and known by its bytes.
//! Whatever is in doubt counts as unknown: an index or an entry whose digest is wrong, another program, a system that tells
//! less.
//!
//! # What lies in the folder
//!
//! `index` names each entry and its place in a `pack-…`, and ends with its own digest; it is replaced whole. A run that has
//! something new writes it into one new pack, and takes over what still counts of packs that are mostly out of date or at
//! most twice as large as what is written anyway: so each pack is more than twice as large as the next one, there are few,
//! and each entry is copied a few times in its life. `lock` is held while the folder is in use. Packs that the index does not name were left by a run that was ended, and go.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::fs::{self, File, TryLockError};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use boutwise_report::{
    AthleteBytes, AthletePart, AthleteText, AthleteTexts, Error as ReportError, ResultWriter, digest_of,
    lies_inside,
};
use boutwise_season::Corrections;
use serde::{Deserialize, Serialize};
use twox_hash::XxHash3_128;

use crate::inputs::Input;
use crate::measuring::{MeasuredFile, Measuring};
use crate::spill::read_at;
use crate::{Error, Inputs};

/// The mark of a folder that holds nothing that could not be made again ("Cache Directory Tagging Specification" 0.6).
const TAG: &str = "CACHEDIR.TAG";
const TAG_TEXT: &str = "Signature: 8a477f597d28d172789f06886806bc55\n\
    # This folder holds what boutwise measured of recordings, to take it up again. It can be deleted at any time.\n\
    # It tells of people what their recordings tell: keep it as carefully as those.\n";
/// What the lock holds.
const LOCK_TEXT: &[u8] = b"boutwise";
/// Largest entry that is kept, in bytes (own choice: an archive of a thousand sessions).
const ENTRY_MOST_BYTES: usize = 64 << 20;
/// Bytes that are gathered for a digest at a time (own choice: they stay in the processor's nearest memory).
const DIGESTED_AT_ONCE: usize = 8 << 10;
/// Coarsest clock of a file system that is thought of, in nanoseconds: two seconds, as FAT has it.
const TICK_NS: i128 = 2_000_000_000;

/// A folder in which is kept what files gave, for audits that come later. Never changes a result. Clones share it.
#[derive(Clone, Debug)]
pub struct Cache(Arc<Inner>);

/// How far a cache helped.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
#[non_exhaustive]
pub struct CacheUse {
    /// Files that were known.
    pub known: usize,
    /// Files that had to be read, of those that can be kept.
    pub read: usize,
    /// Why nothing more is kept for the next time, if so.
    pub fault: Option<String>,
}

#[derive(Debug)]
struct Inner {
    folder: PathBuf,
    /// Held as long as this value lives; `None` where another run has it.
    lock: Option<File>,
    /// When it was opened.
    begun: Moment,
    program: Digest,
    program_told: Option<Told>,
    store: Mutex<Store>,
}

type Digest = u128;

/// A time by the clock of a file system, in nanoseconds since 1970.
#[derive(Clone, Copy, Debug, Default)]
struct Moment {
    device: u64,
    ns: i128,
}

#[derive(Debug, Default)]
struct Store {
    lines: HashMap<Digest, Line>,
    /// Whether the index on the disk has the lines' program as the file system tells of it.
    is_program_told: bool,
    packs: BTreeMap<u32, File>,
    /// Lines of this round, old ones and new ones.
    met: HashMap<Digest, Line>,
    /// The pack that is being written.
    new: Option<NewPack>,
    told: CacheUse,
}

#[derive(Debug)]
struct NewPack {
    number: u32,
    file: BufWriter<File>,
    length: u64,
}

/// One entry of the index.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Line {
    /// The audit that it is of: program, settings and folder.
    scope: Digest,
    /// What the file system told of the file, if it can be believed.
    told: Option<Told>,
    /// The file's bytes.
    content: (Digest, u64),
    pack: u32,
    start: u64,
    length: u32,
    digest: Digest,
}

#[derive(Serialize, Deserialize)]
struct Index {
    program: Digest,
    /// What the file system told of the program's file, if it can be believed.
    program_told: Option<Told>,
    lines: Vec<(Digest, Line)>,
}

/// What a file system tells of a file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Told {
    device: u64,
    inode: u64,
    size: u64,
    written_ns: i128,
    changed_ns: i128,
}

impl Told {
    #[cfg(unix)]
    fn of(path: &Path) -> Option<Self> {
        use std::os::unix::fs::MetadataExt;
        let metadata = fs::metadata(path).ok()?;
        let ns =
            |seconds: i64, nanoseconds: i64| i128::from(seconds) * 1_000_000_000 + i128::from(nanoseconds);
        Some(Self {
            device: metadata.dev(),
            inode: metadata.ino(),
            size: metadata.len(),
            written_ns: ns(metadata.mtime(), metadata.mtime_nsec()),
            changed_ns: ns(metadata.ctime(), metadata.ctime_nsec()),
        })
    }

    /// Elsewhere nothing is told that no program could set back.
    #[cfg(not(unix))]
    fn of(_: &Path) -> Option<Self> {
        None
    }

    /// The same, if nothing of it is newer than a tick before a time, by the clock of one device: later changes are sure to
    /// show then.
    fn settled(self, before: Moment) -> Option<Self> {
        let newest_ns = self.written_ns.max(self.changed_ns);
        (self.device == before.device && newest_ns + TICK_NS < before.ns).then_some(self)
    }
}

impl Cache {
    /// Refuses a place for a cache that is or lies inside another folder, which `what` names.
    ///
    /// # Errors
    /// [`ErrorKind::Cache`](crate::ErrorKind) where it does; [`ErrorKind::Output`](crate::ErrorKind) where that cannot be told.
    pub fn refuse_inside(folder: &Path, other: &Path, what: &str) -> Result<(), Error> {
        if other.exists() && lies_inside(other, folder)? {
            return Err(Error::cache(
                folder,
                format!("it lies inside {what}: name a place beside it with --cache"),
            ));
        }
        Ok(())
    }

    /// Opens the folder, or makes it. `program` is the file of the program that runs: what another one measured is not
    /// taken up.
    ///
    /// Where another run has the folder in use, or there is no room for it, nothing is taken from it and nothing kept;
    /// [`told`](Self::told) says so.
    ///
    /// # Errors
    /// [`ErrorKind::Cache`](crate::ErrorKind) where the folder cannot be used, or holds something else.
    ///
    /// ```
    /// use boutwise_audit::{Cache, Configuration, Inputs, SeasonFiles, audit, unwatched};
    ///
    /// let folders = tempfile::tempdir()?;
    /// let recordings = folders.path().join("squad");
    /// std::fs::create_dir(&recordings)?;
    /// std::fs::write(recordings.join("a.gpx"), "bananas")?;
    /// let mut known = Vec::new();
    /// for _ in 0..2 {
    ///     let cache = Cache::open(&folders.path().join("cache"), &std::env::current_exe()?)?;
    ///     let configuration = Configuration { cache: Some(cache.clone()), ..Configuration::default() };
    ///     audit(&Inputs::below(&recordings)?, &SeasonFiles::default(), &configuration, &unwatched)?;
    ///     known.push(cache.told().known);
    /// }
    /// assert_eq!(known, [0, 1]);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn open(folder: &Path, program: &Path) -> Result<Self, Error> {
        match Self::opened(folder, program) {
            Ok(cache) => Ok(cache),
            Err(Unopened { why, is_without_room: true }) => Ok(Self::unused(folder, why)),
            Err(Unopened { why, .. }) => Err(Error::cache(folder, why)),
        }
    }

    /// One that gives nothing and keeps nothing.
    fn unused(folder: &Path, why: String) -> Self {
        let mut store = Store::default();
        store.told.fault = Some(why);
        Self(Arc::new(Inner {
            folder: folder.to_owned(),
            lock: None,
            begun: Moment::default(),
            program: 0,
            program_told: None,
            store: Mutex::new(store),
        }))
    }

    fn opened(folder: &Path, program: &Path) -> Result<Self, Unopened> {
        let failed = Unopened::of;
        make(folder).map_err(|error| failed("it cannot be made", error))?;
        if !is_ours(folder).map_err(|error| failed("it cannot be read", error))? {
            let why = "it holds something else; expected a new or an empty folder, or one that an earlier run kept: name \
                       another one";
            return Err(Unopened { why: why.to_owned(), is_without_room: false });
        }
        let unwritten = |error| failed("it cannot be written", error);
        if !fs::read(folder.join(TAG)).is_ok_and(|tag| tag == TAG_TEXT.as_bytes()) {
            for_its_owner_alone(folder).map_err(unwritten)?;
            write_whole(folder, TAG, TAG_TEXT.as_bytes()).map_err(unwritten)?;
        }
        let lock = File::options().create(true).truncate(false).write(true).open(folder.join("lock"));
        let mut lock = lock.map_err(unwritten)?;
        let is_free = match lock.try_lock() {
            Ok(()) => true,
            Err(TryLockError::WouldBlock) => false,
            Err(TryLockError::Error(error)) => return Err(failed("it cannot be locked", error)),
        };
        if !is_free {
            return Ok(Self::unused(folder, "another run has it in use".to_owned()));
        }
        let mut store = Store::default();
        // What is written now has the time of the file system, which no other clock stands in for.
        lock.write_all(LOCK_TEXT).map_err(unwritten)?;
        let begun = Told::of(&folder.join("lock"))
            .map_or(Moment::default(), |told| Moment { device: told.device, ns: told.written_ns });
        let index = read_index(folder);
        let program_told = Told::of(program).and_then(|told| told.settled(begun));
        let same =
            index.as_ref().filter(|index| program_told.is_some() && index.program_told == program_told);
        let program = match same {
            Some(index) => index.program,
            None => program_digest(program).map_err(|error| failed("the program cannot be read", error))?,
        };
        if let Some(index) = index.filter(|index| index.program == program) {
            store.is_program_told = index.program_told == program_told;
            store.lines = index.lines.into_iter().collect();
        }
        let named: HashSet<u32> = store.lines.values().map(|line| line.pack).collect();
        for (number, path) in packs(folder).map_err(unwritten)? {
            match named.contains(&number) {
                true => store.packs.extend(File::open(path).ok().map(|file| (number, file))),
                false => fs::remove_file(path).map_err(unwritten)?,
            }
        }
        let (folder, store) = (folder.to_owned(), Mutex::new(store));
        let inner = Inner { folder, lock: Some(lock), begun, program, program_told, store };
        Ok(Self(Arc::new(inner)))
    }

    /// How far it helped so far.
    pub fn told(&self) -> CacheUse {
        self.0.store().told.clone()
    }
}

/// Why a cache was not opened.
struct Unopened {
    why: String,
    /// Whether nothing but room is missing: then the audit goes on without a cache.
    is_without_room: bool,
}

impl Unopened {
    fn of(what: &str, error: io::Error) -> Self {
        use io::ErrorKind::{FileTooLarge, QuotaExceeded, StorageFull};
        let is_without_room = matches!(error.kind(), StorageFull | QuotaExceeded | FileTooLarge);
        Self { why: format!("{what} ({error})"), is_without_room }
    }
}

/// Those that share a folder are equal.
impl PartialEq for Cache {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
}

impl Inner {
    fn store(&self) -> MutexGuard<'_, Store> {
        // A thread that panicked left at most an entry that is not named.
        self.store.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn is_in_use(&self) -> bool {
        self.lock.is_some()
    }

    /// What was made of some content, if that is kept and can be read.
    fn known<T>(
        &self,
        place: Digest,
        content: (Digest, u64),
        read: impl Fn(Vec<u8>) -> Option<T>,
    ) -> Option<T> {
        let mut store = self.store();
        let line = store.lines.get(&place).filter(|line| line.content == content)?.clone();
        let bytes = store.get(&line)?;
        drop(store);
        let made = read(bytes)?;
        self.store().met.insert(place, line);
        Some(made)
    }

    /// Keeps bytes as what was made of some content.
    fn keep(&self, place: Digest, scope: Digest, told: Option<Told>, content: (Digest, u64), bytes: &[u8]) {
        let Ok(length) = u32::try_from(bytes.len()) else { return };
        if bytes.len() > ENTRY_MOST_BYTES {
            return;
        }
        let digest = XxHash3_128::oneshot(bytes);
        let mut store = self.store();
        match store.put(bytes, self) {
            Ok((pack, start)) => {
                store.met.insert(place, Line { scope, told, content, pack, start, length, digest });
            }
            Err(error) => {
                store.told.fault.get_or_insert(format!("it cannot be written ({error})"));
            }
        }
    }
}

/// What one audit uses a cache for, or none.
pub(crate) struct Round<'a> {
    inner: Option<&'a Inner>,
    scope: Digest,
    /// Whether these are all files of their folder.
    is_whole: bool,
    /// All that is known of athletes, as a digest and a length, for pages that are made again.
    wholes: Mutex<HashMap<String, (Digest, u64)>>,
}

impl<'a> Round<'a> {
    /// With what files give, as `measuring` has it.
    pub(crate) fn of_files(cache: Option<&'a Cache>, measuring: &Measuring, inputs: &Inputs) -> Self {
        Self::new(cache, &measuring.words(), inputs)
    }

    /// With what is written of athletes.
    pub(crate) fn of_texts(cache: Option<&'a Cache>, inputs: &Inputs) -> Self {
        Self::new(cache, "texts", inputs)
    }

    /// With what an audit wrote and said as a whole.
    pub(crate) fn of_result(cache: Option<&'a Cache>, inputs: &Inputs) -> Self {
        Self::new(cache, "result", inputs)
    }

    /// What the last audit as a whole gave, by a digest of all that decides it; nothing where the index is to be written all the
    /// same, as the next run would otherwise read the whole program again.
    pub(crate) fn whole_known<T>(&self, decided: Digest, read: impl Fn(Vec<u8>) -> Option<T>) -> Option<T> {
        let inner = self.inner.filter(|inner| inner.store().is_program_told)?;
        inner.known(self.place(""), (decided, 0), read)
    }

    /// Keeps what an audit as a whole gave, in place of what one gave before.
    pub(crate) fn keep_whole(&self, decided: Digest, bytes: &[u8]) {
        let Some(inner) = self.inner else { return };
        if inner.known(self.place(""), (decided, 0), |known| (known == bytes).then_some(())).is_none() {
            inner.keep(self.place(""), self.scope, None, (decided, 0), bytes);
        }
        self.end(true);
    }

    fn new(cache: Option<&'a Cache>, what: &str, inputs: &Inputs) -> Self {
        let inner = cache.map(|cache| &*cache.0).filter(|inner| inner.is_in_use());
        let scope = inner.map_or(0, |inner| {
            let root = std::path::absolute(inputs.root()).unwrap_or_else(|_| inputs.root().to_owned());
            digest(&[&inner.program.to_le_bytes(), what.as_bytes(), root.as_os_str().as_encoded_bytes()])
        });
        Self { inner, scope, is_whole: !inputs.is_part(), wholes: Mutex::default() }
    }

    fn place(&self, name: &str) -> Digest {
        digest(&[&self.scope.to_le_bytes(), name.as_bytes()])
    }

    /// What `result` writes of an athlete: as it was written the last time, where everything that is known of them is the same.
    pub(crate) fn texts(
        &self,
        result: &ResultWriter<'_>,
        part: AthletePart,
    ) -> Result<AthleteBytes, ReportError> {
        let Some((inner, whole)) = self.whole(&part) else { return result.make(part) };
        let place = self.place(&part.extras.athlete);
        let content = of_words(&result.words(), whole);
        self.wholes().insert(part.extras.athlete.clone(), whole);
        if let Some(texts) = inner.known(place, content, AthleteTexts::read) {
            return result.make_of_texts(part, texts);
        }
        let made = result.make(part)?;
        inner.keep(place, self.scope, None, content, &made.texts());
        Ok(made)
    }

    /// The page of an athlete that is made again, as it was made again the last time.
    pub(crate) fn page(
        &self,
        result: &ResultWriter<'_>,
        part: AthletePart,
    ) -> Result<Option<AthleteText>, ReportError> {
        let known = self.wholes().get(&part.extras.athlete).copied();
        let whole = self.inner.zip(known).or_else(|| self.whole(&part));
        let Some((inner, whole)) = whole else { return result.make_page(part) };
        let place = digest(&[&self.scope.to_le_bytes(), part.extras.athlete.as_bytes(), b"made again"]);
        let content = of_words(&result.words(), whole);
        if let Some(text) = inner.known(place, content, |bytes| String::from_utf8(bytes).ok()) {
            return result.make_page_of_text(part, text);
        }
        let made = result.make_page(part)?;
        if let Some(made) = &made {
            inner.keep(place, self.scope, None, content, made.text().as_bytes());
        }
        Ok(made)
    }

    /// Where texts are kept, and a digest and the length of all that is known of an athlete.
    fn whole(&self, part: &AthletePart) -> Option<(&'a Inner, (Digest, u64))> {
        let inner = self.inner?;
        let digesting = BufWriter::with_capacity(DIGESTED_AT_ONCE, Digesting::default());
        let Digesting { digest, length } =
            postcard::to_io(&part.whole(), digesting).ok()?.into_inner().ok()?;
        Some((inner, (digest.finish_128(), length)))
    }

    fn wholes(&self) -> MutexGuard<'_, HashMap<String, (Digest, u64)>> {
        // Whoever panicked had put in a whole entry or none.
        self.wholes.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What is kept of an input. A part of which the coach alone says how far it counts is read each time.
    pub(crate) fn entry(&self, input: &Input, corrections: &Corrections) -> Entry<'a> {
        let Some((inner, path)) = self.inner.zip(input.path()) else { return Entry(None) };
        if corrections.has_part_of(input.name()) {
            return Entry(None);
        }
        let (place, told) = (self.place(input.name()), Told::of(path));
        Entry(Some(Kept {
            inner,
            path: path.to_owned(),
            scope: self.scope,
            place,
            told,
            content: None,
            given: Vec::new(),
        }))
    }

    /// Keeps what this round met, and of others what may still be asked for; `is_complete` where every file was met.
    pub(crate) fn end(&self, is_complete: bool) {
        let Some(inner) = self.inner else { return };
        let mut store = inner.store();
        let met = std::mem::take(&mut store.met);
        let is_old = |(place, line): (Digest, Line)| {
            let is_gone = is_complete && self.is_whole && line.scope == self.scope;
            (!is_gone && !met.contains_key(&place)).then_some((place, line))
        };
        let mut lines: HashMap<Digest, Line> = store.lines.clone().into_iter().filter_map(is_old).collect();
        lines.extend(met);
        if (lines == store.lines && store.is_program_told) || store.told.fault.is_some() {
            return;
        }
        if let Err(error) = store.write(lines, inner) {
            store.told.fault = Some(format!("it cannot be written ({error})"));
        }
    }
}

/// What is kept of one input, if anything is to be.
pub(crate) struct Entry<'a>(Option<Kept<'a>>);

struct Kept<'a> {
    inner: &'a Inner,
    path: PathBuf,
    scope: Digest,
    place: Digest,
    told: Option<Told>,
    content: Option<(Digest, u64)>,
    /// What the input gave so far.
    given: Vec<u8>,
}

impl Entry<'_> {
    /// What the input gave the last time, where its file has not been touched since.
    pub(crate) fn unchanged(&self) -> Option<Vec<MeasuredFile>> {
        let kept = self.0.as_ref()?;
        kept.take_up(kept.unchanged_line()?)
    }

    /// Which bytes the input's file held the last time, where it has not been touched since.
    pub(crate) fn unchanged_content(&self) -> Option<(Digest, u64)> {
        Some(self.0.as_ref()?.unchanged_line()?.content)
    }

    /// What the input gave the last time, where its file held these bytes.
    pub(crate) fn with_content(&mut self, bytes: &[u8]) -> Option<Vec<MeasuredFile>> {
        let kept = self.0.as_mut()?;
        let content = (XxHash3_128::oneshot(bytes), bytes.len() as u64);
        kept.content = Some(content);
        let line = kept.inner.store().lines.get(&kept.place)?.clone();
        let told = kept.told.clone().and_then(|told| told.settled(kept.inner.begun));
        (line.content == content).then(|| kept.take_up(Line { told, ..line }))?
    }

    /// One more file that the input gave.
    pub(crate) fn give(&mut self, file: &MeasuredFile) {
        let Some(kept) = &mut self.0 else { return };
        let written = file.append_to(&mut kept.given);
        // What cannot be told apart from chance, or is too much, is not kept.
        if written.is_err() || file.is_own_fault || kept.given.len() > ENTRY_MOST_BYTES {
            self.0 = None;
        }
    }

    /// The input gave all it had.
    pub(crate) fn keep(self) {
        let Some(kept) = self.0 else { return };
        kept.inner.store().told.read += 1;
        let Some(content) = kept.content.filter(|_| Told::of(&kept.path) == kept.told) else { return };
        let told = kept.told.and_then(|told| told.settled(kept.inner.begun));
        kept.inner.keep(kept.place, kept.scope, told, content, &kept.given);
    }
}

impl Kept<'_> {
    fn unchanged_line(&self) -> Option<Line> {
        let store = self.inner.store();
        let line = store.lines.get(&self.place)?;
        (self.told.is_some() && line.told == self.told).then(|| line.clone())
    }

    fn take_up(&self, line: Line) -> Option<Vec<MeasuredFile>> {
        let mut store = self.inner.store();
        let bytes = store.get(&line)?;
        drop(store);
        let files = MeasuredFile::all(&bytes)?;
        store = self.inner.store();
        store.told.known += 1;
        store.met.insert(self.place, line);
        Some(files)
    }
}

impl Store {
    /// The bytes of an entry, if they are what was kept.
    fn get(&mut self, line: &Line) -> Option<Vec<u8>> {
        let file = self.packs.get_mut(&line.pack)?;
        if line.length as usize > ENTRY_MOST_BYTES {
            return None;
        }
        let bytes = read_at(file, line.start, line.length).ok()?;
        (XxHash3_128::oneshot(&bytes) == line.digest).then_some(bytes)
    }

    /// Writes an entry into the new pack; hands over which and where.
    fn put(&mut self, bytes: &[u8], inner: &Inner) -> io::Result<(u32, u64)> {
        if self.told.fault.is_some() {
            return Err(io::Error::other("it is not written any more"));
        }
        let number = self.packs.last_key_value().map_or(0, |(number, _)| number.saturating_add(1));
        let new = match &mut self.new {
            Some(new) => new,
            none => {
                let file =
                    File::options().create_new(true).write(true).open(pack_path(&inner.folder, number))?;
                none.insert(NewPack { number, file: BufWriter::with_capacity(1 << 20, file), length: 0 })
            }
        };
        let start = new.length;
        new.file.write_all(bytes)?;
        new.length += bytes.len() as u64;
        Ok((new.number, start))
    }

    /// Writes the index of these lines, and takes over what counts of packs that are to go.
    fn write(&mut self, mut lines: HashMap<Digest, Line>, inner: &Inner) -> io::Result<()> {
        // Of what is written, with what was taken over so far.
        let mut written = self.new.as_ref().map_or(0, |new| new.length);
        let mut counting: BTreeMap<u32, u64> = BTreeMap::new();
        for line in lines.values() {
            *counting.entry(line.pack).or_default() += u64::from(line.length);
        }
        let mut going = Vec::new();
        for (number, file) in self.packs.iter().rev() {
            let (counts, length) = (counting.get(number).copied().unwrap_or(0), file.metadata()?.len());
            if counts == 0 || 2 * counts < length || (written > 0 && counts <= 2 * written) {
                written += counts;
                going.push(*number);
            }
        }
        let moving = lines.values_mut().filter(|line| going.contains(&line.pack));
        let mut moving: Vec<&mut Line> = moving.collect();
        moving.sort_by_key(|line| (line.pack, line.start));
        let mut lost = HashSet::new();
        for line in moving {
            match self.get(line) {
                Some(bytes) => (line.pack, line.start) = self.put(&bytes, inner)?,
                None => {
                    lost.insert(line.digest);
                }
            }
        }
        lines.retain(|_, line| !lost.contains(&line.digest));
        if let Some(mut new) = self.new.take() {
            new.file.flush()?;
            self.packs.insert(new.number, File::open(pack_path(&inner.folder, new.number))?);
        }
        let mut listed: Vec<(Digest, Line)> =
            lines.iter().map(|(place, line)| (*place, line.clone())).collect();
        listed.sort_by_key(|(place, _)| *place);
        let program_told = inner.program_told.clone();
        write_index(&inner.folder, &Index { program: inner.program, program_told, lines: listed })?;
        (self.lines, self.is_program_told) = (lines, true);
        for number in going {
            self.packs.remove(&number);
            // One that stays goes when the folder is opened the next time.
            fs::remove_file(pack_path(&inner.folder, number)).ok();
        }
        Ok(())
    }
}

/// What decides a text: what is known of an athlete, and in which words the rest is decided.
fn of_words(words: &str, (whole, length): (Digest, u64)) -> (Digest, u64) {
    (digest(&[words.as_bytes(), &whole.to_le_bytes()]), length)
}

/// A digest of parts, each told apart from the next.
fn digest(parts: &[&[u8]]) -> Digest {
    let mut digest = XxHash3_128::new();
    for part in parts {
        digest.write(&(part.len() as u64).to_le_bytes());
        digest.write(part);
    }
    digest.finish_128()
}

/// A digest of what is written into it, and its length: nothing of it is held.
#[derive(Default)]
struct Digesting {
    digest: XxHash3_128,
    length: u64,
}

impl Write for Digesting {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.digest.write(bytes);
        self.length += bytes.len() as u64;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Makes the folder if it is not there.
fn make(folder: &Path) -> io::Result<()> {
    match fs::create_dir(folder) {
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists && folder.is_dir() => Ok(()),
        made => made,
    }
}

/// Lets nobody else look into a folder.
#[cfg(unix)]
fn for_its_owner_alone(folder: &Path) -> io::Result<()> {
    fs::set_permissions(folder, std::os::unix::fs::PermissionsExt::from_mode(0o700))
}

/// Elsewhere who may look into it is as for the folder that it lies in.
#[cfg(not(unix))]
fn for_its_owner_alone(_: &Path) -> io::Result<()> {
    Ok(())
}

/// Whether a folder is empty, or one that an earlier run kept: it holds nothing that a cache does not write, and of its marks one
/// at least, whatever became of the other.
fn is_ours(folder: &Path) -> io::Result<bool> {
    let entries = fs::read_dir(folder)?.collect::<io::Result<Vec<_>>>()?;
    let is_own = |name: &str| {
        let name = name.strip_suffix(NEW).unwrap_or(name);
        [TAG, "index", "lock"].contains(&name) || pack_number(name).is_some()
    };
    let mut is_marked = entries.is_empty();
    for entry in entries {
        let name = entry.file_name();
        let name = name.to_str().unwrap_or_default();
        if !is_own(name) || !entry.file_type()?.is_file() {
            return Ok(false);
        }
        is_marked |= name == TAG || name == "lock" && fs::read(entry.path())? == LOCK_TEXT;
    }
    Ok(is_marked)
}

fn pack_path(folder: &Path, number: u32) -> PathBuf {
    folder.join(format!("pack-{number}"))
}

fn pack_number(name: &str) -> Option<u32> {
    name.strip_prefix("pack-")?.parse().ok()
}

/// The packs that lie in a folder.
fn packs(folder: &Path) -> io::Result<Vec<(u32, PathBuf)>> {
    let mut packs = Vec::new();
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
        packs.extend(pack_number(name).map(|number| (number, path)));
    }
    Ok(packs)
}

/// The index, if it is whole.
fn read_index(folder: &Path) -> Option<Index> {
    let bytes = fs::read(folder.join("index")).ok()?;
    let (body, digest) = bytes.split_last_chunk()?;
    (XxHash3_128::oneshot(body) == Digest::from_le_bytes(*digest)).then(|| postcard::from_bytes(body).ok())?
}

fn write_index(folder: &Path, index: &Index) -> io::Result<()> {
    let mut bytes = postcard::to_stdvec(index).map_err(io::Error::other)?;
    bytes.extend(XxHash3_128::oneshot(&bytes).to_le_bytes());
    write_whole(folder, "index", &bytes)
}

/// What the name of a file ends with that is not yet whole.
const NEW: &str = "-new";

/// Writes a file of the folder whole or not at all.
fn write_whole(folder: &Path, name: &str, bytes: &[u8]) -> io::Result<()> {
    let beside = folder.join(format!("{name}{NEW}"));
    let written = fs::write(&beside, bytes).and_then(|()| fs::rename(&beside, folder.join(name)));
    written.inspect_err(|_| _ = fs::remove_file(&beside))
}

/// A digest of all that works out results: the program's bytes, and what the system's mathematical functions give, which
/// may differ in the last digit from one machine or release to the next.
fn program_digest(program: &Path) -> io::Result<Digest> {
    let bytes = digest_of(program)?;
    let functions: [fn(f64) -> f64; 8] =
        [f64::sin, f64::cos, f64::tan, f64::atan, f64::exp, f64::ln, f64::tanh, f64::cbrt];
    let given = (1..=64).flat_map(|step| functions.map(|function| function(f64::from(step) / 17.0)));
    let given: Vec<u8> = given.flat_map(f64::to_le_bytes).collect();
    Ok(digest(&[&bytes.to_le_bytes(), &given]))
}

#[cfg(test)]
#[cfg(unix)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::{Configuration, SeasonFiles, audit, unwatched};

    const RECORDING: &[u8] =
        b"<gpx><trk><trkseg><trkpt lat='48' lon='15.5'><time>2026-03-02T06:00:00Z</time></trkpt>\
        <trkpt lat='48.001' lon='15.5'><time>2026-03-02T06:00:40Z</time></trkpt></trkseg></trk></gpx>";

    /// A cache that was opened so long after a time.
    fn opened(folder: &Path, after_ns: i128) -> Cache {
        let mut cache = Cache::open(folder, &std::env::current_exe().unwrap()).unwrap();
        Arc::get_mut(&mut cache.0).unwrap().begun.ns = after_ns;
        cache
    }

    fn ran(squad: &Path, cache: &Cache) -> CacheUse {
        let configuration = Configuration { cache: Some(cache.clone()), ..Configuration::default() };
        let inputs = Inputs::below(squad).unwrap();
        audit(&inputs, &SeasonFiles::default(), &configuration, &unwatched).unwrap();
        cache.told()
    }

    #[test]
    fn where_only_room_is_missing_an_audit_goes_on_without_a_cache() {
        use io::ErrorKind::{FileTooLarge, PermissionDenied, QuotaExceeded, ReadOnlyFilesystem, StorageFull};
        let is_without_room =
            |kind: io::ErrorKind| Unopened::of("it cannot be written", kind.into()).is_without_room;
        assert!([StorageFull, QuotaExceeded, FileTooLarge].into_iter().all(is_without_room));
        assert!(![PermissionDenied, ReadOnlyFilesystem].into_iter().any(is_without_room));
        let folders = tempfile::tempdir().unwrap();
        let squad = folders.path().join("squad");
        fs::create_dir(&squad).unwrap();
        fs::write(squad.join("a.gpx"), RECORDING).unwrap();
        let unused = ran(&squad, &Cache::unused(&folders.path().join("cache"), "no room".to_owned()));
        assert_eq!((unused.known, unused.read, unused.fault.as_deref()), (0, 0, Some("no room")));
    }

    /// Whether the first file would be taken up without being opened.
    fn is_unopened(squad: &Path, cache: &Cache) -> bool {
        let configuration = Configuration::default();
        let inputs = Inputs::below(squad).unwrap();
        let round = Round::of_files(Some(cache), &Measuring::new(&configuration), &inputs);
        round.entry(&inputs.list()[0], &Corrections::default()).unchanged().is_some()
    }

    #[test]
    fn a_file_is_not_opened_again_unless_something_of_it_was_changed() {
        let scratch = tempfile::tempdir().unwrap();
        let (squad, folder) = (scratch.path().join("squad"), scratch.path().join("cache"));
        fs::create_dir(&squad).unwrap();
        let file = squad.join("a.gpx");
        fs::write(&file, RECORDING).unwrap();
        let changed_ns = Told::of(&file).unwrap().changed_ns;
        // Read within a tick of its change, it may be changed again unseen.
        let cache = opened(&folder, changed_ns + TICK_NS);
        assert_eq!((ran(&squad, &cache).read, is_unopened(&squad, &cache)), (1, false));
        drop(cache);
        let cache = opened(&folder, changed_ns + TICK_NS + 1);
        assert_eq!((ran(&squad, &cache).known, is_unopened(&squad, &cache)), (1, true));
        drop(cache);
        // Nothing is new, and nothing is written.
        let index = fs::metadata(folder.join("index")).unwrap().modified().unwrap();
        let cache = opened(&folder, changed_ns + TICK_NS + 1);
        assert_eq!(ran(&squad, &cache), CacheUse { known: 1, read: 0, fault: None });
        assert_eq!(fs::metadata(folder.join("index")).unwrap().modified().unwrap(), index);
        assert!(is_unopened(&squad, &cache));
        // As many other bytes, with the same time of writing.
        let written = fs::metadata(&file).unwrap().modified().unwrap();
        std::thread::sleep(Duration::from_millis(20));
        fs::write(&file, RECORDING.to_ascii_uppercase()).unwrap();
        File::options().write(true).open(&file).unwrap().set_modified(written).unwrap();
        assert!(!is_unopened(&squad, &cache));
        assert_eq!(ran(&squad, &cache).read, 1);
    }

    #[test]
    fn what_is_gone_is_forgotten_and_packs_stay_few() {
        let scratch = tempfile::tempdir().unwrap();
        let (squad, folder) = (scratch.path().join("squad"), scratch.path().join("cache"));
        fs::create_dir(&squad).unwrap();
        for week in 0..40 {
            let recording =
                String::from_utf8_lossy(RECORDING).replace("lat='48'", &format!("lat='48.0{week:04}'"));
            fs::write(squad.join(format!("{week}.gpx")), recording).unwrap();
            let cache = opened(&folder, i128::MAX);
            assert_eq!(ran(&squad, &cache).known, week);
            let packs = cache.0.store().packs.len();
            assert!(packs <= 8, "{packs} packs after {week} weeks");
        }
        let size = |folder: &Path| -> u64 {
            fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().metadata().unwrap().len()).sum()
        };
        let full = size(&folder);
        for week in 1..40 {
            fs::remove_file(squad.join(format!("{week}.gpx"))).unwrap();
        }
        let cache = opened(&folder, i128::MAX);
        assert_eq!(ran(&squad, &cache).known, 1);
        let store = cache.0.store();
        assert_eq!((store.lines.len(), store.packs.len()), (1, 1));
        assert!(size(&folder) < full / 10, "{} of {full}", size(&folder));
    }
}
