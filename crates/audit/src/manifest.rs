//! How a result was made: version, settings, day, and the digests of everything that went in and came out.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use boutwise_report::MANIFEST_FILE;
use serde_json::{Map, Value, json};

use crate::{Audit, Configuration, Error, Inputs, SeasonFiles};

/// Number of the manifest's form; it rises when a reader of an earlier one would misunderstand it.
const SCHEMA: u64 = 1;

/// The one kind of digest: of the unpacked bytes of an input, of the bytes as they lie of everything else.
const DIGEST: &str = "XXH3-128";

/// A digest as it is written.
fn digest_text(digest: u128) -> String {
    format!("{digest:032x}")
}

/// The manifest of a result as JSON. The same input gives the same bytes: no clock time, no path of this machine.
///
/// `outputs` are the digests of the files written, by name.
pub fn manifest_json(
    found: &Audit,
    files: &SeasonFiles,
    configuration: &Configuration,
    outputs: &BTreeMap<String, u128>,
) -> String {
    let mut settings = Map::new();
    for (section, group) in configuration.settings.sections() {
        let values = group.all().iter().map(|setting| {
            let value = group.get(setting.name).unwrap_or(setting.value);
            let value = if setting.is_whole { json!(value as i64) } else { json!(value) };
            (setting.name.to_owned(), value)
        });
        settings.insert(section.to_owned(), Value::Object(values.collect()));
    }
    let time_zone = configuration.time_zone.or(configuration.settings.time_zone);
    let input =
        |(file, digest): &(String, Option<u128>)| json!({ "file": file, "digest": digest.map(digest_text) });
    let season_file = |(role, name, digest): &(&'static str, String, u128)| json!({ "role": role, "name": name, "digest": digest_text(*digest) });
    let output = |(name, digest): (&String, &u128)| json!({ "file": name, "digest": digest_text(*digest) });
    let manifest = json!({
        "schema": SCHEMA,
        "program": "boutwise",
        "version": env!("CARGO_PKG_VERSION"),
        "time_zone_data": boutwise_season::TIME_ZONE_DATA,
        "digest": DIGEST,
        "as_of": found.as_of.map(|day| day.to_string()),
        "as_of_named": configuration.as_of.is_some(),
        "time_zone": time_zone.map(|zone| zone.to_string()),
        "settings": settings,
        "signs": configuration.settings.signs.entries(),
        "season_files": files.digests.iter().map(season_file).collect::<Vec<_>>(),
        "inputs": found.inputs.iter().map(input).collect::<Vec<_>>(),
        "outputs": outputs.iter().map(output).collect::<Vec<_>>(),
    });
    format!("{manifest:#}\n")
}

/// One difference between a result and its manifest, or between its inputs and the manifest.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub struct Difference {
    /// Whether it is about a file of the result; else about an input.
    pub is_output: bool,
    /// The file.
    pub file: String,
    /// What is different about it.
    pub what: Deviation,
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
}

impl Deviation {
    /// In a few words.
    pub fn text(self) -> &'static str {
        match self {
            Self::Missing => "is not there",
            Self::Unknown => "is not in the manifest",
            Self::Changed => "has other bytes",
        }
    }
}

/// Holds a result against its manifest, and the recordings against it where they are given.
///
/// # Errors
/// The manifest cannot be opened or is none; the recordings cannot be looked at.
pub fn verify(
    result: &Path,
    inputs: Option<&Inputs>,
    configuration: &Configuration,
) -> Result<Vec<Difference>, Error> {
    let path = result.join(MANIFEST_FILE);
    let text = std::fs::read_to_string(&path).map_err(|error| Error::unopenable("manifest", &path, error))?;
    let (stated_inputs, stated_outputs) = stated(&text).ok_or_else(|| Error::no_manifest(&path))?;
    let mut outputs = BTreeMap::new();
    files_below(result, "", &mut outputs)?;
    outputs.remove(MANIFEST_FILE);
    let mut differences = compare(&stated_outputs, &outputs, true);
    if let Some(inputs) = inputs {
        let read = crate::batch::digests(inputs, configuration)?;
        differences.extend(compare(&stated_inputs, &read.into_iter().collect(), false));
    }
    Ok(differences)
}

/// Files with their digests.
type Digests = BTreeMap<String, Option<u128>>;

/// The inputs and outputs that a manifest names.
fn stated(text: &str) -> Option<(Digests, Digests)> {
    let manifest: Value = serde_json::from_str(text).ok()?;
    let list = |name: &str| {
        let entry = |entry: &Value| {
            let digest = match &entry["digest"] {
                Value::String(digest) => Some(u128::from_str_radix(digest, 16).ok()?),
                _ => None,
            };
            Some((entry["file"].as_str()?.to_owned(), digest))
        };
        manifest.get(name)?.as_array()?.iter().map(entry).collect::<Option<Digests>>()
    };
    Some((list("inputs")?, list("outputs")?))
}

fn files_below(folder: &Path, name: &str, found: &mut Digests) -> Result<(), Error> {
    let failed = |error| Error::unopenable("result", folder, error);
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let entry = entry.map_err(failed)?;
        let last = entry.file_name().to_string_lossy().into_owned();
        let name = if name.is_empty() { last } else { format!("{name}/{last}") };
        if entry.path().is_dir() {
            files_below(&entry.path(), &name, found)?;
        } else {
            found.insert(name, Some(boutwise_report::digest_of(&entry.path()).map_err(failed)?));
        }
    }
    Ok(())
}

fn compare(stated: &Digests, found: &Digests, is_output: bool) -> Vec<Difference> {
    let names: BTreeSet<&String> = stated.keys().chain(found.keys()).collect();
    let differs = |file: &String| {
        let what = match (stated.get(file), found.get(file)) {
            (Some(_), None) => Deviation::Missing,
            (None, _) => Deviation::Unknown,
            (Some(stated), Some(found)) if stated != found => Deviation::Changed,
            (Some(_), Some(_)) => return None,
        };
        Some(Difference { is_output, file: file.clone(), what })
    };
    names.into_iter().filter_map(differs).collect()
}
