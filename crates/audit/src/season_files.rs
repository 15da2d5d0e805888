//! Plans, squad, journal and settings: the files about a season, read before any recording is.

use std::collections::{BTreeMap, HashMap};
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use boutwise_report::{CarriedCells, CarriedColumns};
use boutwise_season::{
    Athlete, Corrections, Journal, MAX_TABLE_BYTES, Owners, Plan, PlanInUse, Settings, Squad, decode,
    too_large,
};
use boutwise_track::plain_name;
use chrono::NaiveDate;
use twox_hash::XxHash3_128;

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
    /// What the coach says by hand of recordings and sessions (CSV).
    pub corrections: Option<PathBuf>,
    /// Whose each recording is (CSV).
    pub owners: Option<PathBuf>,
    /// The columns of the squad file that are carried into tables.
    pub carry: CarriedColumns,
}

/// A plan with its pauses moved, and the moved day of its first session.
pub(crate) type MovedPlan = (Arc<Plan>, Option<NaiveDate>);

/// What people wrote about a season.
#[derive(Clone, Debug, Default)]
#[non_exhaustive]
pub struct SeasonFiles {
    /// The athletes.
    pub squad: Option<Squad>,
    /// What athletes and coach noted.
    pub journal: Journal,
    /// What the coach says by hand.
    pub corrections: Corrections,
    /// Whose each recording is, where a file says so.
    pub owners: Option<Owners>,
    /// The plan of those whom the squad file gives none.
    pub plan: Option<Plan>,
    /// The plans that the squad file names, by the path written there.
    pub squad_plans: BTreeMap<String, Plan>,
    /// The columns of the squad file that are carried into tables.
    pub carried: CarriedColumns,
    /// The plans of each athlete with their starts, where days are moved.
    pub(crate) moved_plans: HashMap<String, Vec<MovedPlan>>,
    /// Of each file that was read: what it is, its name, and the digest (XXH3, 128 bits) of its bytes.
    pub digests: Vec<(&'static str, String, u128)>,
}

impl SeasonFiles {
    /// Reads the files. `settings` have the words for warning signs.
    ///
    /// # Errors
    /// The first that cannot be opened, or says what cannot be understood.
    pub fn read(paths: &SeasonPaths, settings: &Settings) -> Result<Self, Error> {
        let mut digests = Vec::new();
        let mut open = |what: &'static str, path: &Path| {
            let bytes = bytes(path, what)?;
            let name = plain_name(path.file_name().unwrap_or_default().as_encoded_bytes()).into_owned();
            digests.push((what, name, XxHash3_128::oneshot(&bytes)));
            Ok((bytes, path.display().to_string()))
        };
        let squad = paths.squad.as_deref().map(|path| {
            let (bytes, name) = open("squad file", path)?;
            Squad::read_carrying(&bytes, &name, paths.carry.names())
                .map_err(|error| Error::season_file(path, error))
        });
        let squad = squad.transpose()?;
        let journal = paths.journal.as_deref().map(|path| {
            let (bytes, name) = open("journal", path)?;
            Journal::read(&bytes, &name, &settings.signs).map_err(|error| Error::season_file(path, error))
        });
        let journal = journal.transpose()?.unwrap_or_default();
        let corrections = paths.corrections.as_deref().map(|path| {
            let (bytes, name) = open("file of corrections", path)?;
            Corrections::read(&bytes, &name).map_err(|error| Error::season_file(path, error))
        });
        let corrections = corrections.transpose()?.unwrap_or_default();
        let owners = paths.owners.as_deref().map(|path| {
            let (bytes, name) = open("owners file", path)?;
            Owners::read(&bytes, &name).map_err(|error| Error::season_file(path, error))
        });
        let owners = owners.transpose()?;
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
                    let plan = regular(&path)
                        .and_then(|()| open("plan", &path))
                        .and_then(|(bytes, name)| plan_of(&bytes, &path, &name))
                        .map_err(
                            |error| if is_below(&path, squad_path) { error } else { error.without_text() },
                        )
                        .map_err(|error| error.named_by_squad(name))?;
                    squad_plans.insert(name.clone(), plan);
                }
            }
        }
        let plan = paths.plan.as_deref().map(|path| {
            let (bytes, name) = open("plan", path)?;
            plan_of(&bytes, path, &name)
        });
        let plan = plan.transpose()?;
        let carried = paths.carry.clone();
        Ok(Self {
            squad,
            journal,
            corrections,
            owners,
            plan,
            squad_plans,
            carried,
            moved_plans: HashMap::new(),
            digests,
        })
    }

    /// The row of an athlete in the squad file.
    pub(crate) fn athlete(&self, name: &str) -> Option<&Athlete> {
        self.squad.as_ref().and_then(|squad| squad.athlete(name))
    }

    /// The athlete of the squad file whom a place names: whose folder holds the path, else who bears the name of its first folder.
    pub(crate) fn athlete_at(&self, path: &str, first_folder: &str) -> Option<&Athlete> {
        let squad = self.squad.as_ref()?;
        squad.athlete_of(path).or_else(|| squad.athlete(first_folder))
    }

    /// What the squad file has of an athlete in the columns that are carried.
    pub(crate) fn carried_of(&self, name: &str) -> CarriedCells {
        let of_squad = self.athlete(name).map(|athlete| athlete.carried.as_slice().into());
        of_squad.unwrap_or_else(|| self.carried.nothing())
    }

    /// Every name that an athlete goes by.
    pub(crate) fn names_of<'a>(&'a self, name: &'a str) -> Vec<&'a str> {
        self.athlete(name).map_or_else(|| vec![name], |row| row.names().collect())
    }

    /// The plans that an athlete follows, in order of their starts. A plan of the squad file outranks the others.
    pub(crate) fn plans_of(&self, name: &str) -> Vec<PlanInUse<'_>> {
        if let Some(moved) = self.moved_plans.get(name) {
            return moved.iter().map(|(plan, start)| PlanInUse { plan, start: *start }).collect();
        }
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

/// Refuses what one file names and is no regular file: a pipe never ends, a device holds no plan.
fn regular(path: &Path) -> Result<(), Error> {
    match fs::metadata(path) {
        Ok(data) if !data.is_file() => {
            let error = io::Error::new(io::ErrorKind::InvalidInput, "it is no regular file");
            Err(Error::unopenable("plan", path, error))
        }
        _ => Ok(()),
    }
}

/// Whether a file lies in the folder of another that names it, or below: of others nothing is shown.
fn is_below(path: &Path, naming: &Path) -> bool {
    let whole = |path: &Path| path.canonicalize().ok().or_else(|| std::path::absolute(path).ok());
    let folder = whole(naming).and_then(|naming| naming.parent().map(Path::to_owned));
    let looks_up = path.components().any(|part| part == std::path::Component::ParentDir);
    match (path.canonicalize(), folder) {
        (Ok(path), Some(folder)) => path.starts_with(folder),
        // It is not there: then it lies below by its words alone.
        (Err(_), Some(_)) => !looks_up && naming.parent().is_some_and(|folder| path.starts_with(folder)),
        _ => false,
    }
}

/// Reads a plan file.
///
/// # Errors
/// It cannot be opened, or says what cannot be understood.
pub fn read_plan(path: &Path) -> Result<Plan, Error> {
    plan_of(&bytes(path, "plan")?, path, &path.display().to_string())
}

fn plan_of(bytes: &[u8], path: &Path, name: &str) -> Result<Plan, Error> {
    Plan::parse(&decode(bytes), name).map_err(|error| Error::season_file(path, error))
}

/// Reads a settings file.
///
/// # Errors
/// It cannot be opened, or says what cannot be understood.
pub fn read_settings(path: &Path) -> Result<Settings, Error> {
    Settings::parse(&decode(&bytes(path, "settings file")?), &path.display().to_string())
        .map_err(|error| Error::season_file(path, error))
}

/// Whether a path is that of a pipe itself: opening it waits for a writer. What a shell hands over, such as `/dev/fd/63`, has one.
#[cfg(unix)]
fn is_named_pipe(path: &Path) -> bool {
    use std::os::unix::fs::FileTypeExt;
    let is_pipe = |data: fs::Metadata| data.file_type().is_fifo();
    !path.starts_with("/dev") && fs::symlink_metadata(path).is_ok_and(is_pipe)
}

#[cfg(not(unix))]
fn is_named_pipe(_: &Path) -> bool {
    false
}

fn bytes(path: &Path, what: &'static str) -> Result<Vec<u8>, Error> {
    let too_large = |length| Error::season_file(path, too_large(&path.display().to_string(), length));
    if is_named_pipe(path) {
        let error =
            io::Error::new(io::ErrorKind::InvalidInput, "it is a pipe, to which nobody may ever write");
        return Err(Error::unopenable(what, path, error));
    }
    let file = File::open(path).map_err(|error| Error::unopenable(what, path, error))?;
    let stated = file.metadata().map_or(0, |data| data.len());
    if stated > MAX_TABLE_BYTES {
        return Err(too_large(stated));
    }
    // A device or a pipe states no length.
    let mut bytes = Vec::with_capacity(usize::try_from(stated).unwrap_or(0));
    let read = file.take(MAX_TABLE_BYTES + 1).read_to_end(&mut bytes);
    match read.map_err(|error| Error::unopenable(what, path, error))? as u64 {
        length if length > MAX_TABLE_BYTES => Err(too_large(length)),
        _ => Ok(bytes),
    }
}
