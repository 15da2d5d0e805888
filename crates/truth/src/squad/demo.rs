//! The squad that is shown: ten stories over eight weeks in a harbour town, every one invented.

use std::io;
use std::path::Path;

use chrono::{Days, NaiveDate, NaiveTime};
use chrono_tz::Tz;

use super::story::Story;
use super::tables::{
    journal_csv, squad_csv, truth_athletes_csv, truth_bouts_csv, truth_events_csv, truth_missed_csv,
    truth_participants_csv, truth_sessions_csv,
};
use super::{Athlete, BeginnersPlan, CoachWords, FileState, Gear, JournalEntry, Role, Squad, SquadFile};
use crate::files::FileFormat;
use crate::{Deviation, Person, PersonSettings, Random, plans};

/// Sessions that fell due in eight weeks.
const DUE: usize = 24;
/// Days from the first session to the last one that fell due.
const LAST_DAY: u64 = 54;

/// What makes an athlete of the demo.
struct Cast {
    name: &'static str,
    run_speed_m_per_s: f64,
    walk_speed_m_per_s: f64,
    birth_year: Option<i32>,
    usual: (u32, u32),
    proposal: Option<&'static str>,
    story: &'static str,
}

const ALMA: Cast = Cast {
    name: "Alma",
    run_speed_m_per_s: 2.45,
    walk_speed_m_per_s: 1.45,
    birth_year: Some(1984),
    usual: (6, 45),
    proposal: Some("advance"),
    story: "Did every session as asked, one of them a day late, walked on some days between, and let the watch run on the drive home: ready for the next block.",
};
const BODIL: Cast = Cast {
    name: "Bodil",
    run_speed_m_per_s: 2.6,
    walk_speed_m_per_s: 1.4,
    birth_year: None,
    usual: (18, 30),
    proposal: Some("hold"),
    story: "Missed three sessions, moved three, stopped early three times and again in the last one: repeat it.",
};
const CATO: Cast = Cast {
    name: "Cato",
    run_speed_m_per_s: 2.8,
    walk_speed_m_per_s: 1.5,
    birth_year: Some(1991),
    usual: (17, 30),
    proposal: Some("hold"),
    story: "Runs through the walks, adds runs and goes out on rest days: more than asked is not progress.",
};
const DAGNY: Cast = Cast {
    name: "Dagny",
    run_speed_m_per_s: 2.3,
    walk_speed_m_per_s: 1.4,
    birth_year: Some(1969),
    usual: (9, 0),
    proposal: Some("advance"),
    story: "Was away for two weeks, repeated the block before and went on from there: late, but in order.",
};
const EINO: Cast = Cast {
    name: "Eino",
    run_speed_m_per_s: 1.72,
    walk_speed_m_per_s: 1.6,
    birth_year: Some(1958),
    usual: (10, 15),
    proposal: None,
    story: "Jogs hardly faster than he walks and records with a poor phone: nobody can tell what was run; ask him.",
};
const FRIDA: Cast = Cast {
    name: "Frida",
    run_speed_m_per_s: 2.2,
    walk_speed_m_per_s: 1.45,
    birth_year: Some(1977),
    usual: (20, 0),
    proposal: Some("ease"),
    story: "Walked four sessions, cut runs short in others, found the last ones very hard, and pain stayed overnight.",
};
const HAUKE: Cast = Cast {
    name: "Hauke",
    run_speed_m_per_s: 2.4,
    walk_speed_m_per_s: 1.5,
    birth_year: Some(1963),
    usual: (7, 15),
    proposal: Some("stop"),
    story: "Followed the plan, three times on a treadmill, but noted dizziness after the last session: ring him today.",
};
const ILKA: Cast = Cast {
    name: "Ilka",
    run_speed_m_per_s: 2.5,
    walk_speed_m_per_s: 1.4,
    birth_year: None,
    usual: (12, 30),
    proposal: Some("hold"),
    story: "Followed the plan, with a little pain that was gone next morning; some files are double, cut off or no recordings.",
};

const JORID: Cast = Cast {
    name: "Jorid",
    run_speed_m_per_s: 2.35,
    walk_speed_m_per_s: 1.45,
    birth_year: Some(1980),
    usual: (17, 45),
    proposal: Some("hold"),
    story: "Joined two weeks ago; stopped early on the last Tuesday, ran through a walk on the Thursday, walked a rep on the Sunday: the same once more.",
};
const KLAAS: Cast = Cast {
    name: "Klaas",
    run_speed_m_per_s: 2.55,
    walk_speed_m_per_s: 1.5,
    birth_year: Some(1973),
    usual: (19, 15),
    proposal: Some("ease"),
    story: "Followed the plan for seven weeks, then hurt his calf and is excused for two: back to the block before, when he comes again.",
};

/// Day of the plan's first session for those who join late, after the squad's, and the sessions due since.
const JOINS_AFTER_DAYS: u64 = 42;
const DUE_SINCE_JOINING: usize = 6;
/// Sessions before an injury, and how long nothing falls due after it, in days.
const DUE_BEFORE_INJURY: usize = 21;
const INJURED_DAYS: u64 = 13;

/// Seeds of an athlete's outings are this far apart from the next athlete's.
const SEEDS_APART: u64 = 1000;
/// First seed of the demo. Any other would do.
const FIRST_SEED: u64 = 410_000;

/// The squad of the demo with its stories.
pub fn demo_squad() -> Squad {
    let plan = BeginnersPlan::harbour();
    let start = NaiveDate::from_ymd_opt(2026, 3, 3).unwrap_or_default();
    let zone = Tz::Europe__Copenhagen;
    let mut athletes = Vec::new();
    let keys = plan.sessions();
    let mut add_with =
        |cast: &Cast, story: Story<'_>, due: usize, words: CoachWords, journal: Vec<JournalEntry>| {
            let first_seed = FIRST_SEED + SEEDS_APART * athletes.len() as u64;
            let usual = NaiveTime::from_hms_opt(cast.usual.0, cast.usual.1, 0).unwrap_or_default();
            athletes.push(Athlete {
                name: cast.name.to_owned(),
                person: person(cast, first_seed),
                birth_year: cast.birth_year,
                screened: cast.birth_year.is_some(),
                outings: story.outings(usual, zone, first_seed),
                words: CoachWords { not_due: keys[due..DUE].to_vec(), ..words },
                missed: story.missing(due),
                journal,
                proposal: cast.proposal,
                story: cast.story,
                participant: None,
            });
        };
    let mut add = |cast: &Cast, story: Story<'_>, journal: Vec<JournalEntry>| {
        add_with(cast, story, DUE, CoachWords::default(), journal);
    };
    let told = |gear: Gear| Story::new(&plan, start, DUE, gear);
    let walk = || vec![plans::walk(2100.0)];
    let easy_run = || plans::session(120.0, &[720.0], 0.0, 60.0);

    let story =
        [1, 3, 8, 15, 22].into_iter().fold(told(Gear::watch(FileFormat::Gpx, false)), |story, day| {
            story.aside(Role::BetweenWalk, day, walk())
        });
    add(
        &ALMA,
        story.moved(7, 1).driven_home([22]),
        efforts(start, &[(0, 3), (7, 4), (21, 3), (35, 4), (49, 4), (51, 4)]),
    );

    let story = told(Gear::phone())
        .missed([4, 9, 16])
        .moved(2, 1)
        .moved(12, -1)
        .moved(19, 1)
        .deviating(Deviation::StoppedEarly, [7, 13, 17, 23]);
    add(&BODIL, story, Vec::new());

    let story = [4, 18, 32]
        .into_iter()
        .fold(told(Gear::saving_watch(FileFormat::Tcx, true)), |story, day| {
            story.aside(Role::ExtraRun, day, easy_run())
        })
        .deviating(Deviation::MergedTwo, [3, 5, 8])
        .deviating(Deviation::ExtraReps, [6, 12, 19])
        .deviating(Deviation::RanItAll, [10, 14, 18, 20, 22, 23]);
    add(&CATO, story, Vec::new());

    let story = told(Gear::heart_watch())
        .missed(15..DUE)
        .repeated(9, 42)
        .repeated(10, 44)
        .repeated(11, 47)
        .moved(12, 21)
        .moved(13, 21)
        .moved(14, 21);
    add(&DAGNY, story, efforts(start, &[(21, 4), (42, 4), (44, 3), (49, 4), (51, 3), (54, 3)]));

    let story = told(Gear::poor_phone()).missed([8, 20]).deviating(Deviation::StoppedEarly, [15]);
    add(&EINO, story, Vec::new());

    let story = told(Gear::watch(FileFormat::Tcx, true))
        .deviating(Deviation::WalkedItAll, [2, 6, 11, 15])
        .deviating(Deviation::ShortReps, [8, 13, 17, 21])
        .deviating(Deviation::SkippedRun, [9, 19])
        .deviating(Deviation::WalkedInARun, [22, 23]);
    add(&FRIDA, story, hard_days(start));

    let mut watch = Gear::watch(FileFormat::Tcx, false);
    watch.file.split_every = Some(700);
    watch.file.sensor_missing_share = 0.05;
    let story = [3, 10, 24]
        .into_iter()
        .fold(told(watch.clone()), |story, day| story.aside(Role::BetweenWalk, day, walk()))
        .with_gear(&watch.indoors(), [5, 11, 17])
        .deviating(Deviation::LongWalks, [12]);
    add(&HAUKE, story, warning(start));

    let story = told(Gear::saving_watch(FileFormat::Gpx, true))
        .with_state(3, FileState::TwoFormats)
        .with_state(14, FileState::TwoFormats)
        .with_state(10, FileState::CutAfterPercent(60))
        .deviating(Deviation::ExtraReps, [7])
        .moved(16, -1);
    add(&ILKA, story, little_pain(start));

    let joins = start + Days::new(JOINS_AFTER_DAYS);
    let story = Story::new(&plan, joins, DUE_SINCE_JOINING, Gear::watch(FileFormat::Gpx, true))
        .deviating(Deviation::StoppedEarly, [3])
        .deviating(Deviation::MergedTwo, [4])
        .deviating(Deviation::SkippedRun, [5]);
    let words = CoachWords { start: Some(joins), ..CoachWords::default() };
    add_with(&JORID, story, DUE_SINCE_JOINING, words, efforts(joins, &[(0, 4), (7, 5), (12, 4)]));

    let hurt = plan.date(start, DUE_BEFORE_INJURY - 1);
    let story = Story::new(&plan, start, DUE_BEFORE_INJURY, Gear::watch(FileFormat::Tcx, false));
    let away = vec![(hurt + Days::new(1), hurt + Days::new(INJURED_DAYS), false)];
    let words = CoachWords { away, ..CoachWords::default() };
    add_with(&KLAAS, story, DUE_BEFORE_INJURY, words, calf(start, hurt));

    Squad { plan, start, sessions_due: DUE, time_zone: zone, athletes }
}

fn person(cast: &Cast, seed: u64) -> Person {
    let settings = PersonSettings {
        run_speed_m_per_s: (cast.run_speed_m_per_s, cast.run_speed_m_per_s),
        walk_speed_m_per_s: (cast.walk_speed_m_per_s, cast.walk_speed_m_per_s),
        ..Default::default()
    };
    Person::draw(&settings, &mut Random::new(seed))
}

fn efforts(start: NaiveDate, days: &[(u64, u8)]) -> Vec<JournalEntry> {
    let entry = |&(day, effort): &(u64, u8)| JournalEntry {
        date: start + Days::new(day),
        effort_0_10: Some(effort),
        talkable: Some(true),
        ..Default::default()
    };
    days.iter().map(entry).collect()
}

fn hard_days(start: NaiveDate) -> Vec<JournalEntry> {
    let mut entries = efforts(start, &[(0, 4), (14, 4)]);
    entries.extend([(35, 7, 2), (51, 7, 3), (LAST_DAY, 8, 4)].map(|(day, effort, pain)| JournalEntry {
        date: start + Days::new(day),
        effort_0_10: Some(effort),
        talkable: Some(false),
        pain_0_10: Some(pain),
        pain_next_morning: Some(day == LAST_DAY),
        note: "shin",
        ..Default::default()
    }));
    entries
}

fn warning(start: NaiveDate) -> Vec<JournalEntry> {
    let mut entries = efforts(start, &[(14, 3), (28, 4), (51, 4)]);
    entries.push(JournalEntry {
        date: start + Days::new(LAST_DAY),
        effort_0_10: Some(4),
        warning_sign: Some("dizzy"),
        note: "had to sit down at the quay",
        ..Default::default()
    });
    entries
}

fn little_pain(start: NaiveDate) -> Vec<JournalEntry> {
    let mut entries = efforts(start, &[(7, 3), (28, 4), (51, 4)]);
    entries.push(JournalEntry {
        date: start + Days::new(LAST_DAY),
        effort_0_10: Some(4),
        talkable: Some(true),
        pain_0_10: Some(2),
        pain_next_morning: Some(false),
        note: "knee, gone in the evening",
        ..Default::default()
    });
    entries
}

fn calf(start: NaiveDate, hurt: NaiveDate) -> Vec<JournalEntry> {
    let mut entries = efforts(start, &[(7, 3), (30, 4)]);
    entries.push(JournalEntry {
        date: hurt,
        effort_0_10: Some(6),
        talkable: Some(true),
        pain_0_10: Some(5),
        pain_next_morning: Some(true),
        note: "calf, on the last run",
        ..Default::default()
    });
    entries
}

/// A drawn way home: GPX, but no recording.
const WAY_HOME: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
    <gpx version=\"1.1\" creator=\"invented recording\" xmlns=\"http://www.topografix.com/GPX/1/1\">\n\
    <rte><name>Way home along the quay</name>\n\
    <rtept lat=\"55.060\" lon=\"10.420\"/><rtept lat=\"55.062\" lon=\"10.424\"/><rtept lat=\"55.065\" lon=\"10.431\"/>\n\
    </rte>\n</gpx>\n";
/// Words, and no recording either.
const SHOPPING: &str = "bananas\nplasters\nnew laces\n";

impl Squad {
    /// Everything that a coach of this squad has, and the truth beside it, as paths below some folder.
    ///
    /// # Errors
    /// Where a table or a recording cannot be written to memory, which never happens with drawn squads.
    pub fn files(&self) -> io::Result<Vec<SquadFile>> {
        let recorded = self.recorded()?;
        let file = |path: &str, bytes: Vec<u8>| SquadFile { path: path.to_owned(), bytes };
        let mut files = vec![
            file("plan.toml", self.plan.toml().into_bytes()),
            file("squad.csv", squad_csv(self)?),
            file("journal.csv", journal_csv(self)?),
            file("truth/athletes.csv", truth_athletes_csv(self, &recorded)?),
            file("truth/sessions.csv", truth_sessions_csv(self, &recorded)?),
            file("truth/bouts.csv", truth_bouts_csv(self, &recorded)?),
            file("truth/events.csv", truth_events_csv(self, &recorded)?),
            file("truth/missed.csv", truth_missed_csv(self)?),
        ];
        if self.is_trial() {
            files.push(file("truth/participants.csv", truth_participants_csv(self)?));
        }
        let recordings = recorded.into_iter().flat_map(|outing| outing.files);
        files.extend(recordings.map(|held| SquadFile { path: format!("recordings/{}", held.path), ..held }));
        Ok(files)
    }
}

/// Everything that the demo writes, as paths below its folder.
///
/// # Errors
/// Those of [`Squad::files`].
pub fn demo_files() -> io::Result<Vec<SquadFile>> {
    let mut files = demo_squad().files()?;
    let file = |path: &str, bytes: &str| SquadFile { path: path.to_owned(), bytes: bytes.into() };
    files.extend([
        file("recordings/Ilka/way-home.gpx", WAY_HOME),
        file("recordings/Ilka/shopping.txt", SHOPPING),
    ]);
    Ok(files)
}

/// Writes the demo below a folder, which is made where it is missing; files of the same name are replaced.
///
/// # Errors
/// Where a folder or a file cannot be written.
pub fn write_demo(folder: &Path) -> io::Result<()> {
    write_files(demo_files()?, folder)
}

/// Writes files below a folder, which is made where it is missing; files of the same name are replaced.
///
/// # Errors
/// Where a folder or a file cannot be written.
pub fn write_files(files: Vec<SquadFile>, folder: &Path) -> io::Result<()> {
    for file in files {
        let path = folder.join(&file.path);
        if let Some(parent) = path.parent() {
            std::fs::create_dir_all(parent)?;
        }
        std::fs::write(path, file.bytes)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::squad::RecordedOuting;

    fn rows(files: &[SquadFile], path: &str) -> Vec<Vec<String>> {
        let file = files.iter().find(|file| file.path == path).unwrap();
        let mut reader = csv::Reader::from_reader(file.bytes.as_slice());
        reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect()
    }

    #[test]
    fn the_demo_is_small_complete_and_the_same_every_time() {
        let files = demo_files().unwrap();
        let size: usize = files.iter().map(|file| file.bytes.len()).sum();
        assert!(size < 25_000_000, "{size}");
        let paths: BTreeSet<&str> = files.iter().map(|file| file.path.as_str()).collect();
        assert_eq!(paths.len(), files.len(), "no path twice");
        let plans: Vec<&&str> = paths.iter().filter(|path| path.ends_with(".toml")).collect();
        assert_eq!(plans, [&"plan.toml"]);
        for ending in [".gpx", ".gpx.gz", ".tcx", ".tcx.gz"] {
            assert!(paths.iter().any(|path| path.ends_with(ending)), "{ending}");
        }
        assert!(demo_files().unwrap() == files);
    }

    #[test]
    fn every_file_named_in_the_truth_is_there() {
        let files = demo_files().unwrap();
        let paths: BTreeSet<&str> = files.iter().map(|file| file.path.as_str()).collect();
        let sessions = rows(&files, "truth/sessions.csv");
        assert!(sessions.iter().all(|row| paths.contains(format!("recordings/{}", row[1]).as_str())));
        assert_eq!(rows(&files, "truth/athletes.csv").len(), 10);
    }

    #[test]
    fn the_stories_are_true() {
        let squad = demo_squad();
        let recorded = squad.recorded().unwrap();
        let of = |name: &str| -> Vec<&RecordedOuting> {
            let athlete = squad.athletes.iter().position(|athlete| athlete.name == name).unwrap();
            recorded.iter().filter(|held| held.athlete == athlete).collect()
        };
        let last = |name: &str| of(name).last().map(|held| held.longest_run_s()).unwrap();
        assert!(last("Alma") > 1220.0);
        assert!((0.3 * 1260.0..0.85 * 1260.0).contains(&last("Bodil")));
        assert!(last("Cato") > 1.15 * 1260.0);
        assert!(of("Frida").iter().filter(|held| held.runs() == 0).count() == 4);
        let starts: Vec<i64> = squad.athletes[3].outings.iter().map(|outing| outing.start_s).collect();
        assert!(starts.windows(2).any(|pair| pair[1] - pair[0] > 14 * 86_400), "Dagny was away");
        let newest = squad.athletes.iter().flat_map(|a| &a.outings).map(|o| o.start_s).max().unwrap();
        let newest = chrono::DateTime::from_timestamp(newest, 0).unwrap().date_naive();
        assert_eq!(newest, squad.plan.date(squad.start, DUE - 1), "nothing beyond the last due session");
    }
}
