//! The squad file: who is in the squad, which plan each follows and what is known of each.

use chrono::NaiveDate;

use crate::Error;
use crate::error::{ErrorKind, suggestion};
use crate::sheet::Sheet;
use crate::zone::Zone;

const COLUMNS: [&str; 10] = [
    "athlete",
    "folder",
    "plan",
    "start",
    "birth_year",
    "resting_hr_bpm",
    "max_hr_bpm",
    "time_zone",
    "screened",
    "pulse_medicine",
];
/// Years of birth that are believed (own choice).
const BIRTH_YEARS: (f64, f64) = (1900.0, 2100.0);
/// Resting heart rates that are believed, in beats per minute (own choice).
const RESTING_HR_BPM: (f64, f64) = (25.0, 120.0);
/// Largest heart rates that are believed, in beats per minute (own choice).
const MAX_HR_BPM: (f64, f64) = (100.0, 240.0);

/// A plan that an athlete follows from a day on.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Assignment {
    /// Path of the plan file, as seen from the squad file.
    pub plan: Option<String>,
    /// Day of the plan's first session.
    pub start: Option<NaiveDate>,
}

/// One athlete of the squad file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Athlete {
    /// The name in every table.
    pub name: String,
    /// Folder of the recordings below the audited folder, with `/`; the name where none is given.
    pub folder: String,
    /// The plans, in order of their starts: one, or more where the plan was switched.
    pub assignments: Vec<Assignment>,
    /// Year of birth.
    pub birth_year: Option<i32>,
    /// Heart rate at rest in beats per minute.
    pub resting_hr_bpm: Option<f64>,
    /// Largest heart rate in beats per minute.
    pub max_hr_bpm: Option<f64>,
    /// Time zone of the runs.
    pub time_zone: Option<Zone>,
    /// Whether a health screening was noted.
    pub screened: Option<bool>,
    /// Whether a medicine that lowers the pulse was noted.
    pub pulse_medicine: Option<bool>,
}

/// A squad file.
///
/// An athlete who switched plans has one row for each plan, the later ones with their `start`.
///
/// ```
/// use boutwise_season::Squad;
/// let squad = Squad::read("Athlete; plan; start\nMira; spring.toml; 2026-03-02\n".as_bytes(), "squad.csv").unwrap();
/// assert_eq!(squad.athletes[0].folder, "Mira");
/// assert_eq!(squad.athlete_of("mira/2026-03-02.gpx").unwrap().name, "Mira");
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Squad {
    /// The athletes, in the order of the file.
    pub athletes: Vec<Athlete>,
    /// What was odd in the file, in sentences.
    pub notes: Vec<String>,
}

impl Squad {
    /// Reads a squad file: any usual separator and encoding, headers in any case and order.
    ///
    /// # Errors
    ///
    /// The first cell that can't be read, with line, caret and how to mend it: a wrong number, an ambiguous date,
    /// an unknown time zone, two rows for one athlete that contradict each other.
    pub fn read(bytes: &[u8], name: &str) -> Result<Self, Error> {
        let mut sheet = Sheet::read(ErrorKind::Squad, name, bytes, &COLUMNS, 1)?;
        sheet.find_date_order("start")?;
        let mut squad = Self { athletes: Vec::new(), notes: std::mem::take(&mut sheet.notes) };
        let mut lines: Vec<usize> = Vec::new();
        for row in sheet.rows() {
            let athlete = read_athlete(&sheet, row)?;
            match squad.athletes.iter().position(|earlier| same_name(&earlier.name, &athlete.name)) {
                None => {
                    if let Some(twin) = squad.athletes.iter().position(|other| other.folder == athlete.folder)
                    {
                        let problem = format!("the folder of the athlete in line {}", lines[twin]);
                        let mend = "give each athlete a folder of their own";
                        return Err(sheet.cell_error(row, "folder", problem, "a folder of its own", mend));
                    }
                    lines.push(sheet.line(row));
                    squad.athletes.push(athlete);
                }
                Some(at) => {
                    if join(&mut squad.athletes[at], &athlete) {
                        let line = sheet.line(row);
                        squad
                            .notes
                            .push(format!("{name}, line {line}: the same as line {}, read once", lines[at]));
                    } else if !is_switch(&squad.athletes[at], &athlete) {
                        return Err(sheet.cell_error(
                            row,
                            "athlete",
                            format!("\"{}\" stands in line {} already, with other values", athlete.name, lines[at]),
                            "one row for each athlete, or for a switched plan another plan with its later start",
                            "take one of the rows out, or fill in plan and start of the later plan",
                        ));
                    } else {
                        squad.athletes[at].assignments.extend(athlete.assignments);
                    }
                }
            }
        }
        Ok(squad)
    }

    /// The athlete whose folder holds a path below the audited folder; the deepest folder wins. Case is free.
    pub fn athlete_of(&self, path: &str) -> Option<&Athlete> {
        let path = path.to_lowercase();
        self.athletes
            .iter()
            .filter(|athlete| {
                let folder = athlete.folder.to_lowercase();
                path.strip_prefix(&folder).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
            })
            .max_by_key(|athlete| athlete.folder.len())
    }

    /// The athlete of a name, whatever its case.
    pub fn athlete(&self, name: &str) -> Option<&Athlete> {
        self.athletes.iter().find(|athlete| same_name(&athlete.name, name))
    }

    /// A sentence for each athlete of the squad file of whom there is no recording, and for each folder that the
    /// squad file does not know. `recorded` are the athletes that the folders name.
    pub fn compare<'a>(&self, recorded: impl IntoIterator<Item = &'a str>) -> Vec<String> {
        let recorded: Vec<&str> = recorded.into_iter().collect();
        let silent = self
            .athletes
            .iter()
            .filter(|athlete| !recorded.iter().any(|name| same_name(name, &athlete.name)))
            .map(|athlete| {
                format!(
                    "{}: in the squad file, but no recording was found in \"{}\"",
                    athlete.name, athlete.folder
                )
            });
        let strangers = recorded.iter().filter(|name| self.athlete(name).is_none()).map(|name| {
            let meant = suggestion(name, self.athletes.iter().map(|athlete| athlete.name.as_str()))
                .map_or(String::new(), |meant| format!("; did you mean {meant}?"));
            format!("{name}: recordings, but no row in the squad file{meant}")
        });
        silent.chain(strangers).collect()
    }
}

/// Whether two names are the same but for case and spaces around them.
pub(crate) fn same_name(a: &str, b: &str) -> bool {
    a.trim().to_lowercase() == b.trim().to_lowercase()
}

fn read_athlete(sheet: &Sheet<'_>, row: usize) -> Result<Athlete, Error> {
    let Some(name) = sheet.cell(row, "athlete") else {
        let mend = "fill in the name, or take the row out";
        return Err(sheet.cell_error(row, "athlete", "a row without athlete".into(), "a name", mend));
    };
    let folder = match sheet.cell(row, "folder") {
        None => name.to_owned(),
        Some(folder) => {
            let folder = folder.replace('\\', "/");
            let folder = folder.trim_start_matches("./").trim_matches('/').to_owned();
            if folder.split('/').any(|part| part == "..") {
                let mend = "name the folder as seen from the audited folder";
                let problem = "a folder outside the audited folder".into();
                return Err(sheet.cell_error(row, "folder", problem, "a folder below it", mend));
            }
            folder
        }
    };
    let max_hr_bpm = sheet.number(row, "max_hr_bpm", MAX_HR_BPM)?;
    let resting_hr_bpm = sheet.number(row, "resting_hr_bpm", RESTING_HR_BPM)?;
    if let (Some(rest), Some(max)) = (resting_hr_bpm, max_hr_bpm)
        && rest >= max
    {
        let problem = format!("a resting heart rate of {rest} and a largest of {max}");
        let mend = "check the two columns: they may be swapped";
        return Err(sheet.cell_error(row, "resting_hr_bpm", problem, "resting below largest", mend));
    }
    let time_zone =
        match sheet.cell(row, "time_zone") {
            None => None,
            Some(cell) => Some(Zone::find(cell).map_err(|flaw| {
                sheet.cell_error(row, "time_zone", flaw.problem, &flaw.expected, &flaw.mend)
            })?),
        };
    Ok(Athlete {
        name: name.to_owned(),
        folder,
        assignments: vec![Assignment {
            plan: sheet.cell(row, "plan").map(str::to_owned),
            start: sheet.date(row, "start")?,
        }],
        birth_year: sheet.number(row, "birth_year", BIRTH_YEARS)?.map(|year| year as i32),
        resting_hr_bpm,
        max_hr_bpm,
        time_zone,
        screened: sheet.flag(row, "screened")?,
        pulse_medicine: sheet.flag(row, "pulse_medicine")?,
    })
}

/// Whether a later row only repeats what is known.
fn join(known: &mut Athlete, row: &Athlete) -> bool {
    let alike = Athlete { name: known.name.clone(), assignments: row.assignments.clone(), ..known.clone() };
    let row_named = Athlete { name: known.name.clone(), ..row.clone() };
    alike == row_named && row.assignments.iter().all(|assignment| known.assignments.contains(assignment))
}

/// Whether a later row names another plan with a later start.
fn is_switch(known: &Athlete, row: &Athlete) -> bool {
    let (Some(last), Some(next)) = (known.assignments.last(), row.assignments.first()) else { return false };
    next.plan.is_some() && next.plan != last.plan && next.start.is_some() && next.start > last.start
}

#[cfg(test)]
mod tests {
    use super::*;

    fn squad(text: &str) -> Result<Squad, Error> {
        Squad::read(text.as_bytes(), "squad.csv")
    }

    #[test]
    fn a_full_row_is_read_whatever_the_case_and_order_of_its_columns() {
        let text = "\u{feff}Time zone;Athlete;Resting HR (bpm);MAX_HR_BPM;folder;Birth-Year;screened;pulse medicine\r\n\
                    europe/berlin;Mira;58,5;190;.\\group 1\\mira\\;1985;yes;No\r\n";
        let athlete = &squad(text).unwrap().athletes[0];
        assert_eq!((athlete.name.as_str(), athlete.folder.as_str()), ("Mira", "group 1/mira"));
        assert_eq!(
            (athlete.resting_hr_bpm, athlete.max_hr_bpm, athlete.birth_year),
            (Some(58.5), Some(190.0), Some(1985))
        );
        assert_eq!((athlete.screened, athlete.pulse_medicine), (Some(true), Some(false)));
        assert_eq!(athlete.time_zone.as_ref().map(ToString::to_string), Some("Europe/Berlin".into()));
    }

    #[test]
    fn the_deepest_folder_names_the_athlete() {
        let squad = squad("athlete,folder\nCoach,group\nMira,group/mira\nMi,\n").unwrap();
        let name = |path: &str| squad.athlete_of(path).map(|athlete| athlete.name.as_str());
        assert_eq!(name("group/mira/a.gpx"), Some("Mira"));
        assert_eq!(name("group/other/a.gpx"), Some("Coach"));
        assert_eq!((name("MI/a.gpx"), name("mirabelle/a.gpx")), (Some("Mi"), None));
    }

    #[test]
    fn a_second_row_is_a_switched_plan_a_repeat_or_an_error() {
        let switched = squad("athlete,plan,start\nMira,a.toml,2026-03-02\nmira,b.toml,2026-04-13\n").unwrap();
        assert_eq!(switched.athletes[0].assignments.len(), 2);
        let repeated = squad("athlete,plan\nMira,a.toml\nMira,a.toml\n").unwrap();
        assert_eq!(repeated.athletes.len(), 1);
        assert!(repeated.notes[0].contains("line 3: the same as line 2"));
        let error = squad("athlete,plan\nMira,a.toml\nMira,b.toml\n").unwrap_err();
        assert!(error.problem().contains("line 2 already") && error.line() == 3);
    }

    #[test]
    fn wrong_cells_are_refused() {
        let cases = [
            ("athlete,start\nMira,03/04/2026\n", "day first or month first"),
            ("athlete,max_hr_bpm\nMira,19\n", "max_hr_bpm is \"19\""),
            ("athlete,resting_hr_bpm,max_hr_bpm\nMira,119,110\n", "a resting heart rate of 119"),
            ("athlete,time_zone\nMira,Europe/Berln\n", "no time zone"),
            ("athlete,screened\nMira,perhaps\n", "screened is \"perhaps\""),
            ("athlete,plan\n,a.toml\n", "a row without athlete"),
            ("athlete,folder\nMira,../x\n", "outside"),
            ("athlete,folder\nMira,x\nTom,x\n", "the folder of the athlete in line 2"),
        ];
        for (text, problem) in cases {
            let error = squad(text).unwrap_err();
            assert!(error.problem().contains(problem), "{error}");
        }
    }

    #[test]
    fn unknown_athletes_are_named_on_both_sides() {
        let notes = squad("athlete\nMira\nTom\n").unwrap().compare(["MIRA", "Tomm"]);
        assert_eq!(notes.len(), 2);
        assert!(notes[0].starts_with("Tom: in the squad file") && notes[1].ends_with("did you mean Tom?"));
    }
}
