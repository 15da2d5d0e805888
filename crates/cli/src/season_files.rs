//! Plans, squad, journal and settings: the files about a season, read before any recording is.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use boutwise_season::{Athlete, Journal, MAX_TABLE_BYTES, Plan, PlanInUse, Settings, Squad, Zone, decode};

use crate::args::Recordings;

/// Everything that is known before a recording is read.
pub(crate) struct SeasonFiles {
    pub(crate) settings: Settings,
    /// The zone of the command line, else of the settings.
    pub(crate) zone: Option<Zone>,
    pub(crate) squad: Option<Squad>,
    pub(crate) journal: Journal,
    /// The plan of those whom the squad file gives none.
    plan: Option<Plan>,
    /// The plans that the squad file names, by the path written there.
    squad_plans: BTreeMap<String, Plan>,
}

impl SeasonFiles {
    /// Reads the files that the arguments name.
    pub(crate) fn read(recordings: &Recordings, plan: Option<&Path>, journal: Option<&Path>) -> Result<Self> {
        let settings = match &recordings.settings {
            Some(path) => Settings::parse(&text(path, "settings file")?, &path.display().to_string())?,
            None => Settings::default(),
        };
        let squad = recordings
            .squad
            .as_deref()
            .map(|path| anyhow::Ok(Squad::read(&bytes(path, "squad file")?, &path.display().to_string())?))
            .transpose()?;
        let journal = journal
            .map(|path| {
                let bytes = bytes(path, "journal")?;
                anyhow::Ok(Journal::read(&bytes, &path.display().to_string(), &settings.signs)?)
            })
            .transpose()?
            .unwrap_or_default();
        let mut squad_plans = BTreeMap::new();
        if let (Some(squad), Some(squad_path)) = (&squad, &recordings.squad) {
            let named = squad
                .athletes
                .iter()
                .flat_map(|athlete| &athlete.assignments)
                .filter_map(|a| a.plan.as_ref());
            for name in named {
                if !squad_plans.contains_key(name) {
                    let path =
                        squad_path.parent().map_or_else(|| PathBuf::from(name), |folder| folder.join(name));
                    let plan = plan_file(&path)
                        .with_context(|| format!("the squad file names the plan \"{name}\""))?;
                    squad_plans.insert(name.clone(), plan);
                }
            }
        }
        Ok(Self {
            zone: recordings.time_zone.or(settings.time_zone),
            settings,
            squad,
            journal,
            plan: plan.map(plan_file).transpose()?,
            squad_plans,
        })
    }

    /// The row of an athlete in the squad file.
    pub(crate) fn athlete(&self, name: &str) -> Option<&Athlete> {
        self.squad.as_ref().and_then(|squad| squad.athlete(name))
    }

    /// The plans that an athlete follows, in order of their starts. A plan of the squad file outranks the others.
    pub(crate) fn plans_of(&self, name: &str) -> Vec<PlanInUse<'_>> {
        let Some(athlete) = self.athlete(name) else {
            return self.plan.iter().map(|plan| PlanInUse { plan, start: None }).collect();
        };
        athlete
            .assignments
            .iter()
            .filter_map(|assignment| {
                let named = assignment.plan.as_ref().and_then(|name| self.squad_plans.get(name));
                Some(PlanInUse { plan: named.or(self.plan.as_ref())?, start: assignment.start })
            })
            .collect()
    }
}

/// Reads a plan file.
pub(crate) fn plan_file(path: &Path) -> Result<Plan> {
    Ok(Plan::parse(&text(path, "plan")?, &path.display().to_string())?)
}

fn text(path: &Path, what: &str) -> Result<String> {
    Ok(decode(&bytes(path, what)?).into_owned())
}

fn bytes(path: &Path, what: &str) -> Result<Vec<u8>> {
    let length = fs::metadata(path).map_or(0, |data| data.len());
    if length > MAX_TABLE_BYTES {
        bail!(
            "the {what} {} has {} MiB, and is read up to {} MiB only; keep the rows of this squad and season",
            path.display(),
            length >> 20,
            MAX_TABLE_BYTES >> 20
        );
    }
    fs::read(path).with_context(|| format!("the {what} {} cannot be read{}", path.display(), others(path)))
}

/// What lies where a file was looked for, with the same ending; empty where the file is there or nothing is like it.
fn others(path: &Path) -> String {
    if path.exists() {
        return String::new();
    }
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let Ok(entries) = fs::read_dir(folder) else {
        return format!("; there is no folder {}", folder.display());
    };
    let mut names: Vec<String> = entries
        .filter_map(|entry| Some(entry.ok()?.path()).filter(|other| other.extension() == path.extension()))
        .filter_map(|other| Some(other.file_name()?.to_string_lossy().into_owned()))
        .collect();
    names.sort();
    names.truncate(OTHERS_NAMED);
    match names.is_empty() {
        true => "; is its name right?".to_owned(),
        false => format!("; is its name right? Beside it are {}", names.join(", ")),
    }
}

/// Files that a message names where one is missing (own choice).
const OTHERS_NAMED: usize = 5;
