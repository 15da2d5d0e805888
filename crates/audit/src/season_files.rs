//! Plans, squad, journal and settings: the files about a season, read before any recording is.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use boutwise_season::{
    Athlete, Journal, MAX_TABLE_BYTES, Owners, Plan, PlanInUse, Settings, Squad, decode, too_large,
};

use crate::Error;

/// Where the files about a season lie. All are optional.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SeasonPaths {
    /// The plan of those whom the squad file gives none (TOML).
    pub plan: Option<PathBuf>,
    /// The athletes (CSV).
    pub squad: Option<PathBuf>,
    /// What athletes and coach noted (CSV).
    pub journal: Option<PathBuf>,
    /// Whose each recording is (CSV).
    pub owners: Option<PathBuf>,
}

/// What people wrote about a season.
#[derive(Clone, Debug, Default)]
#[non_exhaustive]
pub struct SeasonFiles {
    /// The athletes.
    pub squad: Option<Squad>,
    /// What athletes and coach noted.
    pub journal: Journal,
    /// Whose each recording is, where a file says so.
    pub owners: Option<Owners>,
    /// The plan of those whom the squad file gives none.
    pub plan: Option<Plan>,
    /// The plans that the squad file names, by the path written there.
    pub squad_plans: BTreeMap<String, Plan>,
}

impl SeasonFiles {
    /// Reads the files. `settings` have the words for warning signs.
    ///
    /// # Errors
    /// The first that cannot be opened, or says what cannot be understood.
    pub fn read(paths: &SeasonPaths, settings: &Settings) -> Result<Self, Error> {
        let squad = paths.squad.as_deref().map(|path| {
            Squad::read(&bytes(path, "squad file")?, &path.display().to_string())
                .map_err(|error| Error::season_file(path, error))
        });
        let squad = squad.transpose()?;
        let journal = paths.journal.as_deref().map(|path| {
            Journal::read(&bytes(path, "journal")?, &path.display().to_string(), &settings.signs)
                .map_err(|error| Error::season_file(path, error))
        });
        let journal = journal.transpose()?.unwrap_or_default();
        let owners = paths.owners.as_deref().map(read_owners).transpose()?;
        let mut squad_plans = BTreeMap::new();
        if let (Some(squad), Some(squad_path)) = (&squad, &paths.squad) {
            let named = squad
                .athletes
                .iter()
                .flat_map(|athlete| &athlete.assignments)
                .filter_map(|a| a.plan.as_ref());
            for name in named {
                if !squad_plans.contains_key(name) {
                    let path =
                        squad_path.parent().map_or_else(|| PathBuf::from(name), |folder| folder.join(name));
                    let plan = read_plan(&path).map_err(|error| error.named_by_squad(name))?;
                    squad_plans.insert(name.clone(), plan);
                }
            }
        }
        let plan = paths.plan.as_deref().map(read_plan).transpose()?;
        Ok(Self { squad, journal, owners, plan, squad_plans })
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
///
/// # Errors
/// It cannot be opened, or says what cannot be understood.
pub fn read_plan(path: &Path) -> Result<Plan, Error> {
    Plan::parse(&text(path, "plan")?, &path.display().to_string())
        .map_err(|error| Error::season_file(path, error))
}

/// Reads an owners file.
///
/// # Errors
/// It cannot be opened, or says what cannot be understood.
pub fn read_owners(path: &Path) -> Result<Owners, Error> {
    Owners::read(&bytes(path, "owners file")?, &path.display().to_string())
        .map_err(|error| Error::season_file(path, error))
}

/// Reads a settings file.
///
/// # Errors
/// It cannot be opened, or says what cannot be understood.
pub fn read_settings(path: &Path) -> Result<Settings, Error> {
    Settings::parse(&text(path, "settings file")?, &path.display().to_string())
        .map_err(|error| Error::season_file(path, error))
}

fn text(path: &Path, what: &'static str) -> Result<String, Error> {
    Ok(decode(&bytes(path, what)?).into_owned())
}

fn bytes(path: &Path, what: &'static str) -> Result<Vec<u8>, Error> {
    let length = fs::metadata(path).map_or(0, |data| data.len());
    if length > MAX_TABLE_BYTES {
        return Err(Error::season_file(path, too_large(&path.display().to_string(), length)));
    }
    fs::read(path).map_err(|error| Error::unopenable(what, path, error))
}
