//! How a result was made: version, settings, day, and the digests of everything that went in and came out.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, BufWriter, Write};
use std::path::Path;

use boutwise_report::{MANIFEST_FILE, PROGRAM, manifest_bytes};
use boutwise_track::{SettingGroup, plain_name};
use serde::{Serialize, Serializer};
use serde_json::{Map, Value, json};
use twox_hash::XxHash3_128;

use crate::{Configuration, Error, Inputs, Overview, Pseudonyms, SeasonFiles};

/// Number of the manifest's form; it rises when a reader of an earlier one would misunderstand it.
const SCHEMA: u64 = 1;

/// The one kind of digest: of the unpacked bytes of an input, of the bytes as they lie of everything else.
const DIGEST: &str = "XXH3-128";

/// By what a result can be known: digests (XXH3, 128 bits) as 32 hexadecimal digits.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct ManifestDigests {
    /// Of version, settings, day and the bytes of all inputs and season files, as the manifest and every Parquet file say it.
    pub made_from: String,
    /// Of the bytes of `manifest.json`, which holds the digests of all other files of the result.
    pub manifest: String,
}

/// A digest as it is written.
pub(crate) fn digest_text(digest: u128) -> String {
    format!("{digest:032x}")
}

/// The manifest as it is written, in the order of the names.
#[derive(Serialize)]
pub(crate) struct Manifest<'a> {
    as_of: Option<String>,
    as_of_named: bool,
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    carried: &'a [String],
    csv: Value,
    digest: &'a str,
    inputs: Listed<'a>,
    made_from: String,
    outputs: Vec<File<'a>>,
    pace: &'a str,
    program: &'a str,
    schema: u64,
    season_files: Vec<SeasonFile<'a>>,
    settings: Map<String, Value>,
    #[serde(skip_serializing_if = "Option::is_none")]
    shared: Option<Shared>,
    signs: Value,
    time_zone: Option<String>,
    time_zone_data: &'a str,
    version: &'a str,
}

/// What was made coarse or hidden before anything was said.
#[derive(Serialize)]
struct Shared {
    dates: &'static str,
    digests_of_inputs: &'static str,
    names: &'static str,
    times: &'static str,
}

impl Shared {
    fn of(configuration: &Configuration) -> Option<Self> {
        let has_codes = configuration.pseudonyms.is_some();
        let either = |is_so: bool, so: &'static str, else_: &'static str| if is_so { so } else { else_ };
        let is_shifted = configuration.shift().is_some();
        (has_codes || configuration.coarse_times).then(|| Self {
            dates: either(
                is_shifted,
                "moved by whole weeks, for each athlete by another number",
                "as they are",
            ),
            digests_of_inputs: either(
                has_codes,
                "HMAC-SHA-256 of the digest, its first 128 bits",
                "as they are",
            ),
            names: either(has_codes, "codes", "as they are"),
            times: either(configuration.coarse_times, "cut to the hour", "as they are"),
        })
    }
}

#[derive(Serialize)]
struct File<'a> {
    digest: Option<String>,
    file: &'a str,
}

#[derive(Serialize)]
struct SeasonFile<'a> {
    digest: String,
    name: Cow<'a, str>,
    role: &'a str,
}

/// The inputs, written one by one: of a hundred thousand no second list is made.
struct Listed<'a>(&'a [(String, Option<u128>)], Option<&'a Pseudonyms>);

impl Serialize for Listed<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let files = self.0.iter();
        let told = |digest| digest_text(keyed(digest, self.1));
        serializer.collect_seq(files.map(|(file, digest)| File { digest: digest.map(told), file }))
    }
}

/// A digest of what went in, as it is told.
fn keyed(digest: u128, codes: Option<&Pseudonyms>) -> u128 {
    codes.map_or(digest, |codes| codes.digest(digest))
}

impl<'a> Manifest<'a> {
    /// The manifest of a result before its outputs are known.
    pub(crate) fn begin(
        found: &'a Overview,
        files: &'a SeasonFiles,
        configuration: &'a Configuration,
    ) -> Self {
        let mut manifest = without_outputs(found, files, configuration);
        let mut digest = XxHash3_128::new();
        // A digest takes all bytes, and nothing here is no JSON.
        let _ = manifest.write(BufWriter::new(Digesting(&mut digest)));
        manifest.made_from = digest_text(digest.finish_128());
        manifest
    }

    /// The digest of the manifest with `made_from` empty and no outputs. Results of the same version, settings, day and bytes
    /// of inputs and season files have the same. A Parquet file carries it, since it can't hold the digest of a manifest that
    /// holds its own.
    pub(crate) fn made_from(&self) -> &str {
        &self.made_from
    }

    /// The same with the digests of the files written, by name.
    pub(crate) fn with_outputs(self, outputs: &'a BTreeMap<String, u128>) -> Self {
        let told = |(file, digest): (&'a String, &u128)| File { digest: Some(digest_text(*digest)), file };
        Self { outputs: outputs.iter().map(told).collect(), ..self }
    }

    /// Writes it as JSON.
    pub(crate) fn write(&self, mut out: impl Write) -> io::Result<()> {
        serde_json::to_writer_pretty(&mut out, self)?;
        writeln!(out)
    }
}

struct Digesting<'a>(&'a mut XxHash3_128);

impl Write for Digesting<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.write(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Writes the manifest of a result as JSON. The same input gives the same bytes: no clock time, no path of this machine.
///
/// `outputs` are the digests of the files written, by name.
///
/// # Errors
/// Where `out` refuses to take the bytes.
pub fn write_manifest(
    found: &Overview,
    files: &SeasonFiles,
    configuration: &Configuration,
    outputs: &BTreeMap<String, u128>,
    out: impl Write,
) -> io::Result<()> {
    Manifest::begin(found, files, configuration).with_outputs(outputs).write(out)
}

/// The manifest with `made_from` empty and no outputs.
fn without_outputs<'a>(
    found: &'a Overview,
    files: &'a SeasonFiles,
    configuration: &'a Configuration,
) -> Manifest<'a> {
    let codes = configuration.pseudonyms.as_ref();
    let time_zone = configuration.time_zone.or(configuration.settings.time_zone);
    Manifest {
        as_of: found.as_of.map(|day| day.to_string()),
        as_of_named: configuration.as_of.is_some(),
        carried: files.carried.names(),
        csv: csv(configuration),
        digest: DIGEST,
        inputs: Listed(&found.inputs, codes),
        made_from: String::new(),
        outputs: Vec::new(),
        pace: configuration.pace.word(),
        program: PROGRAM,
        schema: SCHEMA,
        season_files: (files.digests.iter())
            .map(|(role, name, digest)| SeasonFile {
                digest: digest_text(keyed(*digest, codes)),
                name: told(name, configuration),
                role,
            })
            .collect(),
        settings: settings(configuration),
        shared: Shared::of(configuration),
        signs: json!(configuration.settings.signs.entries()),
        time_zone: time_zone.map(|zone| zone.to_string()),
        time_zone_data: boutwise_season::TIME_ZONE_DATA,
        version: env!("CARGO_PKG_VERSION"),
    }
}

/// The form of CSV as a manifest has it.
fn csv(configuration: &Configuration) -> Value {
    json!({
        "byte_order_mark": configuration.csv.byte_order_mark,
        "decimal_sign": configuration.csv.decimal_sign,
        "separator": char::from(configuration.csv.separator),
    })
}

/// Every setting as a manifest has it, by section.
fn settings(configuration: &Configuration) -> Map<String, Value> {
    let of_section = |(section, group): (&str, &dyn SettingGroup)| {
        let values = group.all().iter().map(|setting| {
            let value = group.get(setting.name).unwrap_or(setting.value);
            let value = if setting.is_whole { json!(value as i64) } else { json!(value) };
            (setting.name.to_owned(), value)
        });
        (section.to_owned(), Value::Object(values.collect()))
    };
    configuration.settings.sections().into_iter().map(of_section).collect()
}

/// The name of a file as a manifest has it.
fn told<'n>(name: &'n str, configuration: &Configuration) -> Cow<'n, str> {
    match &configuration.pseudonyms {
        Some(codes) => codes.file(name).into(),
        None => name.into(),
    }
}

/// One difference between a result and its manifest, between its inputs and the manifest, or inside the manifest.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub struct Difference {
    /// What kind of file it is about.
    pub of: Source,
    /// The file; of the manifest the entry.
    pub file: String,
    /// What is different about it.
    pub what: Deviation,
}

/// The kinds of files that a manifest names.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Source {
    /// A recording.
    Input,
    /// A file of the result.
    Output,
    /// A file about the season.
    SeasonFile,
    /// The manifest itself.
    Manifest,
}

impl Source {
    /// What they are together.
    pub fn word(self) -> &'static str {
        match self {
            Self::Input => "recordings",
            Self::Output => "result",
            Self::SeasonFile => "season files",
            Self::Manifest => "manifest",
        }
    }
}

/// What is different about a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Deviation {
    /// The manifest names it, and it is not there.
    Missing,
    /// It is there, and the manifest does not name it.
    Unknown,
    /// Its bytes are others.
    Changed,
    /// Something other than a file is in its place, or it cannot be read.
    Unread,
    /// An entry of the manifest: with another value the manifest would have the digest that it states.
    Altered,
    /// The digest that the manifest states of itself is not that of its entries, and no single one of those that can be guessed
    /// explains it.
    Disagrees,
    /// The manifest is of a form that this version of the program does not know.
    UnknownForm,
}

impl Deviation {
    /// In a few words.
    pub fn text(self) -> &'static str {
        match self {
            Self::Missing => "is not there",
            Self::Unknown => "is not in the manifest",
            Self::Changed => "has other bytes",
            Self::Unread => "cannot be read",
            Self::Altered => "is not what the result was made with",
            Self::Disagrees => "is not the digest of the other entries: it was changed, or one of them was",
            Self::UnknownForm => "is unknown to this version of the program",
        }
    }
}

/// Holds a result against its manifest, and the recordings and the files about the season against it where they are
/// given; of the latter only kinds that are given are compared. With codes in place of names it tells no name, whatever the
/// manifest and the folder hold.
///
/// # Errors
/// The manifest cannot be opened or is none; the recordings cannot be looked at.
pub fn verify(
    result: &Path,
    inputs: Option<&Inputs>,
    files: &SeasonFiles,
    configuration: &Configuration,
) -> Result<Vec<Difference>, Error> {
    let path = result.join(MANIFEST_FILE);
    let text = manifest_bytes(&path).map_err(|error| Error::unopenable("manifest", &path, error))?;
    let manifest = text.and_then(|text| serde_json::from_slice::<Value>(&text).ok());
    let (stated, manifest) = (manifest.and_then(|manifest| Some((Stated::of(&manifest)?, manifest))))
        .ok_or_else(|| Error::no_manifest(&path))?;
    let mut outputs = BTreeMap::new();
    files_below(result, "", &mut outputs)?;
    outputs.remove(MANIFEST_FILE);
    let codes = configuration.pseudonyms.as_ref();
    let coded = |files: Digests, code: fn(&Pseudonyms, &str) -> String| match codes {
        Some(codes) => files.into_iter().map(|(name, digest)| (code(codes, &name), digest)).collect(),
        None => files,
    };
    let [written, outputs] = [stated.outputs, outputs].map(|files| coded(files, Pseudonyms::output));
    let mut differences = own_differences(manifest);
    differences.extend(compare(&written, &outputs, Source::Output));
    if let Some(inputs) = inputs {
        let read = crate::batch::digests(inputs, configuration)?;
        let read = read.into_iter().map(|(name, digest)| {
            (told(&name, configuration).into_owned(), digest.map(|digest| keyed(digest, codes)))
        });
        let inputs = coded(stated.inputs, Pseudonyms::stated_file);
        differences.extend(compare(&inputs, &read.collect(), Source::Input));
    }
    let given = (files.digests.iter()).map(|(role, name, digest)| {
        (season_file_name(role, &told(name, configuration)), Some(keyed(*digest, codes)))
    });
    let is_given = |role: &str| files.digests.iter().any(|(given, ..)| *given == role);
    let of_given = stated.season_files.into_iter().filter(|(role, ..)| is_given(role));
    let stated_files = named_apart(of_given.map(|(role, name, digest)| {
        let name = codes.map_or_else(|| name.clone(), |codes| codes.stated_file(&name));
        (season_file_name(&role, &name), digest)
    }));
    differences.extend(compare(&stated_files, &named_apart(given), Source::SeasonFile));
    Ok(differences)
}

/// Files with their digests.
type Digests = BTreeMap<String, Option<u128>>;

/// What a manifest names.
struct Stated {
    inputs: Digests,
    outputs: Digests,
    /// Kind, name and digest of each.
    season_files: Vec<(String, String, Option<u128>)>,
}

impl Stated {
    /// `None` where it is no manifest.
    fn of(manifest: &Value) -> Option<Self> {
        let digest = |entry: &Value| match &entry["digest"] {
            Value::String(digest) => u128::from_str_radix(digest, 16).ok().map(Some),
            _ => Some(None),
        };
        let files = |name: &str| {
            let entry = |entry: &Value| Some((entry["file"].as_str()?.to_owned(), digest(entry)?));
            manifest.get(name)?.as_array()?.iter().map(entry).collect::<Option<Digests>>()
        };
        let season_file = |entry: &Value| {
            Some((entry["role"].as_str()?.to_owned(), entry["name"].as_str()?.to_owned(), digest(entry)?))
        };
        Some(Self {
            inputs: files("inputs")?,
            outputs: files("outputs")?,
            season_files: (manifest.get("season_files")?.as_array()?.iter())
                .map(season_file)
                .collect::<Option<_>>()?,
        })
    }
}

/// Whether a manifest is as it was written, by the digest of its entries that it holds, and where it is not, which entry is
/// another: one whose usual value, that of this version or of a run without options, would give the digest.
fn own_differences(mut manifest: Value) -> Vec<Difference> {
    let differs = |entry: &str, what| Difference { of: Source::Manifest, file: entry.to_owned(), what };
    let stated = manifest["made_from"].take();
    manifest["made_from"] = json!("");
    manifest["outputs"] = json!([]);
    let mut found = Vec::new();
    if manifest["schema"] != json!(SCHEMA) {
        found.push(differs("schema", Deviation::UnknownForm));
    }
    let agrees = |manifest: &Value| {
        let mut digest = XxHash3_128::new();
        // A digest takes all bytes, and a value is JSON.
        let _ = serde_json::to_writer_pretty(BufWriter::new(Digesting(&mut digest)), manifest);
        digest.write(b"\n");
        stated.as_str() == Some(&digest_text(digest.finish_128()))
    };
    if agrees(&manifest) {
        return found;
    }
    let usual = usual_entries(&manifest).into_iter().find(|(path, value)| {
        let Some(place) = place(&mut manifest, path) else { return false };
        let key = path[path.len() - 1].as_str();
        let is_another = place.get(key) != Some(value);
        let before = place.insert(key.to_owned(), value.clone());
        let explains = is_another && agrees(&manifest);
        if let Some(place) = self::place(&mut manifest, path) {
            match before {
                Some(before) => place.insert(key.to_owned(), before),
                None => place.remove(key),
            };
        }
        explains
    });
    found.push(match usual {
        Some((path, _)) => differs(&path.join("."), Deviation::Altered),
        None => differs("made_from", Deviation::Disagrees),
    });
    found
}

/// The table of a manifest in which an entry stands.
fn place<'m>(manifest: &'m mut Value, path: &[String]) -> Option<&'m mut Map<String, Value>> {
    let tables = &path[..path.len() - 1];
    tables.iter().try_fold(manifest, |table, key| table.get_mut(key))?.as_object_mut()
}

/// The entries of a manifest that a run without options of this version has, each with its place.
fn usual_entries(manifest: &Value) -> Vec<(Vec<String>, Value)> {
    let usual = Configuration::default();
    let sections = settings(&usual);
    let mut entries = Vec::new();
    // The nearest of what explains a change is told: a setting before its section, and that before all of them.
    for (section, values) in &sections {
        let of_section = vec!["settings".to_owned(), section.clone()];
        for (name, value) in values.as_object().into_iter().flatten() {
            entries.push(([&of_section[..], std::slice::from_ref(name)].concat(), value.clone()));
        }
        entries.push((of_section, values.clone()));
    }
    let others = [
        ("settings", json!(sections)),
        ("version", json!(env!("CARGO_PKG_VERSION"))),
        ("schema", json!(SCHEMA)),
        ("program", json!(PROGRAM)),
        ("digest", json!(DIGEST)),
        ("time_zone_data", json!(boutwise_season::TIME_ZONE_DATA)),
        ("time_zone", Value::Null),
        ("as_of_named", json!(manifest["as_of_named"] != json!(true))),
        ("pace", json!(usual.pace.word())),
        ("csv", csv(&usual)),
        ("signs", json!(usual.settings.signs.entries())),
    ];
    entries.extend(others.map(|(key, value)| (vec![key.to_owned()], value)));
    entries
}

/// What a file about the season is called: its kind and its name.
fn season_file_name(role: &str, name: &str) -> String {
    format!("{role} {name}")
}

/// Files by name. Plans of several folders may have one name: the second is `plan.toml (2)`, in the order of reading.
fn named_apart(files: impl Iterator<Item = (String, Option<u128>)>) -> Digests {
    let mut named = Digests::new();
    for (name, digest) in files {
        let numbered = (2..).map(|number| format!("{name} ({number})"));
        let free = std::iter::once(name.clone()).chain(numbered).find(|name| !named.contains_key(name));
        named.insert(free.unwrap_or(name), digest);
    }
    named
}

fn files_below(folder: &Path, name: &str, found: &mut Digests) -> Result<(), Error> {
    let failed = |error| Error::unopenable("result", folder, error);
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let entry = entry.map_err(failed)?;
        let last = plain_name(entry.file_name().as_encoded_bytes()).into_owned();
        let name = if name.is_empty() { last } else { format!("{name}/{last}") };
        let kind = entry.file_type().map_err(failed)?;
        if kind.is_dir() {
            files_below(&entry.path(), &name, found)?;
        } else {
            // Nothing but a file is opened: a pipe would be waited for, a device has no end. A result holds no links.
            let digest = kind.is_file().then(|| boutwise_report::digest_of(&entry.path())).transpose();
            found.insert(name, digest.map_err(failed)?);
        }
    }
    Ok(())
}

fn compare(stated: &Digests, found: &Digests, of: Source) -> Vec<Difference> {
    let names: BTreeSet<&String> = stated.keys().chain(found.keys()).collect();
    let differs = |file: &String| {
        let what = match (stated.get(file), found.get(file)) {
            (Some(_), None) => Deviation::Missing,
            (None, _) => Deviation::Unknown,
            (Some(Some(_)), Some(None)) => Deviation::Unread,
            (Some(stated), Some(found)) if stated != found => Deviation::Changed,
            (Some(_), Some(_)) => return None,
        };
        Some(Difference { of, file: file.clone(), what })
    };
    names.into_iter().filter_map(differs).collect()
}
