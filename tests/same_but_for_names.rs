//! The audit with codes in place of names is the audit without: every cell of every table, once the codes are read back.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use boutwise_audit::Pseudonyms;
use boutwise_truth::files::FileFormat;
use boutwise_truth::squad::{Gear, Squad, SquadSettings};
use chrono::{DateTime, Datelike, Days, NaiveDate, NaiveDateTime, TimeDelta, Utc, Weekday};

use crate::command::{Row, audit, table};

/// Keys: what a code decides, another key decides otherwise.
const KEYS: [&str; 3] =
    ["the first key of this test", "the second key of this test", "a third key of this test"];
/// Folders of the four; of the first two no row of the squad file says whose they are.
const FOLDERS: [&str; 4] = ["Mira", "mira", "Zoé", "Ost"];
const TABLES: [&str; 9] =
    ["athletes", "bouts", "events", "files", "intervals", "notes", "planned", "sessions", "weeks"];

/// A recording without its last third, a few metres to the north: another device of the same moment.
fn beside(gpx: &str) -> String {
    let points: Vec<&str> = gpx.split_inclusive("</trkpt>").collect();
    let kept = points.len() * 2 / 3;
    let mut text = String::new();
    for part in &points[..kept] {
        let (head, rest) = part.split_once("lat=\"").unwrap();
        let (latitude, rest) = rest.split_once('"').unwrap();
        let north = latitude.parse::<f64>().unwrap() + 4.5e-5;
        text += &format!("{head}lat=\"{north:.7}\"{rest}");
    }
    text + "</trkseg></trk></gpx>"
}

/// A squad with everything that the order or the spelling of names could decide.
struct Written(tempfile::TempDir);

impl Written {
    fn new(seed: u64) -> Self {
        let gear = vec![Gear::saving_watch(FileFormat::Gpx, false)];
        let settings = SquadSettings { athletes: 4, weeks: 3, gear, ..SquadSettings::default() };
        let squad = Squad::draw(seed, &settings);
        let place = tempfile::tempdir().unwrap();
        let folder = place.path().join("squad");
        let put = |name: &str, bytes: &[u8]| {
            let path = folder.join(name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, bytes).unwrap();
        };
        let mut first: BTreeMap<usize, Vec<u8>> = BTreeMap::new();
        let mut first_file = String::new();
        for recorded in squad.recorded().unwrap() {
            for file in &recorded.files {
                let name = format!("{}/{}", FOLDERS[recorded.athlete], file.path.rsplit('/').next().unwrap());
                put(&name, &file.bytes);
                if recorded.athlete == 3 && first_file.is_empty() {
                    first_file = name;
                }
                first.entry(recorded.athlete).or_insert_with(|| file.bytes.clone());
            }
        }
        // Three times the same bytes, two devices of one moment, the bytes of another person, members out of order.
        for name in ["Mira/B.gpx", "Mira/a.gpx", "mira/zz.gpx", "Ost/of mira.gpx"] {
            put(name, &first[&usize::from(name.starts_with('m') || name.contains("of"))]);
        }
        let text = String::from_utf8(first[&2].clone()).unwrap();
        put("Zoé/other.gpx", beside(&text).as_bytes());
        let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
        for member in ["z.gpx", "b/x.gpx", "a.gpx"] {
            archive.start_file(member, zip::write::SimpleFileOptions::default()).unwrap();
            archive.write_all(beside(&text).as_bytes()).unwrap();
        }
        put("Zoé/more.zip", &archive.finish().unwrap().into_inner());
        put("loose one.gpx", &first[&1]);
        put("loose two.gpx", &first[&2]);
        put("Ost/cut.gpx", &first[&3][..first[&3].len() / 2]);
        put("Ost/nothing.gpx", b"<gpx><trk>");
        let (start, day) = (squad.start, |days| squad.start + chrono::Days::new(days));
        let write = |name: &str, text: String| fs::write(place.path().join(name), text).unwrap();
        write("plan.toml", squad.plan.toml());
        write(
            "squad.csv",
            format!(
                "athlete,also,group,start,goal_m\nZoé,Zoe the second,East,{start},3000\nOst,,east,{start},\n"
            ),
        );
        write(
            "journal.csv",
            format!(
                "athlete,group,date,effort_0_10,pain_0_10,warning_sign,excused,coach_decision\nMIRA,,{},,,chest,,\n\
                 mira,,{start},3,6,,,\n,EAST,{},,,,yes,\nzoe THE second,,{},8,2,,,hold\n",
                day(5),
                day(2),
                day(9)
            ),
        );
        write(
            "corrections.csv",
            format!(
                "file,session,use,athlete,plan_block,plan_session\n,,,miRA,A,2\n,,,Zoe the second,A,1\n,,,Zoé,B,1\n\
                 {first_file},1,,,none,\ngone.gpx,,no,,,\n,,,Nobody here,A,1\n"
            ),
        );
        write(
            "owners.csv",
            "athlete,file,sure,why\nmira,loose one.gpx,no,near\n,loose two.gpx,yes,\nOst,absent.gpx,yes,\n"
                .to_owned(),
        );
        for (at, key) in KEYS.iter().enumerate() {
            write(&format!("key{at}"), (*key).to_owned());
        }
        Self(place)
    }

    fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// Runs an audit; what it says as JSON.
    fn audit(&self, out: &str, further: &[&str]) -> String {
        let mut options: Vec<String> = vec!["--json".to_owned()];
        for name in ["plan.toml", "squad.csv", "journal.csv", "corrections.csv", "owners.csv"] {
            let (option, _) = name.split_once('.').unwrap();
            options.extend([format!("--{option}"), self.at(name).to_str().unwrap().to_owned()]);
        }
        options.extend(further.iter().map(|option| (*option).to_owned()));
        let options: Vec<&str> = options.iter().map(String::as_str).collect();
        let ran = audit(&self.at("squad"), &self.at(out), &options);
        assert_eq!(ran.status, 1, "{}", ran.stderr);
        ran.stdout
    }
}

/// A text with names in place of codes.
fn read_back(text: &str, names: &[(String, String)]) -> String {
    let mut text = names.iter().fold(text.to_owned(), |text, (code, name)| text.replace(code, name));
    // Plans and groups have one title and one name, of which no code is known to the outside.
    for (word, name) in [("Plan ", "PLAN"), ("Group ", "GROUP")] {
        let mut from = 0;
        while let Some(at) = text[from..].find(word).map(|at| from + at) {
            let number = at + word.len()..at + word.len() + 18;
            let is_code =
                text.get(number.clone()).is_some_and(|number| number.bytes().all(|d| d.is_ascii_digit()));
            if is_code {
                text.replace_range(at..number.end, name);
            }
            from = at + 1;
        }
    }
    text
}

/// The rows of a table, in an order that no name decides.
fn rows(out: &Path, name: &str, read: impl Fn(&str) -> String) -> Vec<Row> {
    let read_row = |row: Row| row.into_iter().map(|(column, cell)| (column, read(&cell))).collect();
    let mut rows: Vec<Row> = table(out, name).into_iter().map(read_row).collect();
    rows.sort();
    rows
}

/// How many sentences a summary has beside its athletes.
fn notes(json: &str) -> usize {
    let json: serde_json::Value = serde_json::from_str(json).unwrap();
    json["notes"].as_array().unwrap().len()
}

#[test]
fn the_audit_with_codes_is_the_audit_without() {
    for seed in [73_000, 73_001] {
        let squad = Written::new(seed);
        let title = fs::read_to_string(squad.at("plan.toml")).unwrap();
        let title = crate::command::between(&title, "title = \"", "\"").to_owned();
        let named = squad.audit("named", &[]);
        let people = table(&squad.at("named"), "athletes");
        let proposals: Vec<&str> = people.iter().map(|row| row["proposal"].as_str()).collect();
        assert_eq!(people.len(), 4);
        // The sign reaches both whom only a capital tells apart.
        let of = |name: &str| people.iter().find(|row| row["athlete"] == name).unwrap()["proposal"].clone();
        assert_eq!((of("Mira"), of("mira")), ("stop".to_owned(), "stop".to_owned()), "{proposals:?}");
        let files = table(&squad.at("named"), "files");
        assert!(files.iter().filter(|row| row["status"] == "duplicate").count() >= 6, "{files:?}");
        let overlaps = table(&squad.at("named"), "sessions");
        assert!(overlaps.iter().any(|row| !row["overlaps_file"].is_empty()));
        for (at, key) in KEYS.iter().enumerate() {
            let codes = Pseudonyms::of_key(key.as_bytes()).unwrap();
            let mut names: Vec<(String, String)> =
                people.iter().map(|row| (codes.person(&row["athlete"]), row["athlete"].clone())).collect();
            names.extend(files.iter().map(|row| (codes.file(&row["file"]), row["file"].clone())));
            let out = format!("coded{at}");
            let coded = squad.audit(&out, &["--pseudonyms", squad.at(&format!("key{at}")).to_str().unwrap()]);
            assert!(!coded.contains("Zoé"));
            for name in TABLES {
                let plain = rows(&squad.at("named"), name, |cell| cell.replace(&title, "PLAN"));
                let back = rows(&squad.at(&out), name, |cell| read_back(cell, &names));
                assert_eq!(plain.len(), back.len(), "{name}");
                for (plain, back) in plain.iter().zip(&back) {
                    assert_eq!(plain, back, "seed {seed}, key {at}, {name}");
                }
            }
            assert_eq!(notes(&named), notes(&coded), "{named}\n{coded}");
        }
    }
}

/// A text with every day and week in it moved.
fn moved(text: &str, by: TimeDelta) -> String {
    let day = |text: &str| {
        let is_written = text.bytes().enumerate().all(|(at, byte)| match at {
            4 | 7 => byte == b'-',
            _ => byte.is_ascii_digit(),
        });
        is_written.then(|| text.parse::<NaiveDate>().ok()).flatten()
    };
    let week = |text: &str| {
        let (year, week) = text.split_once("-W")?;
        let monday = NaiveDate::from_isoywd_opt(year.parse().ok()?, week.parse().ok()?, Weekday::Mon)?;
        text.as_bytes()[0].is_ascii_digit().then_some(monday)
    };
    let (mut moved, mut rest) = (String::new(), text);
    while let Some(first) = rest.chars().next() {
        if let Some(found) = rest.get(..10).and_then(day) {
            moved += &(found + by).to_string();
            rest = &rest[10..];
        } else if let Some(monday) = rest.get(..8).and_then(week) {
            let week = (monday + by).iso_week();
            moved += &format!("{:04}-W{:02}", week.year(), week.week());
            rest = &rest[8..];
        } else {
            moved.push(first);
            rest = &rest[first.len_utf8()..];
        }
    }
    moved
}

/// By how much each athlete's days were moved, of the sessions of two results with the same codes.
fn moved_by(plain: &Path, shifted: &Path) -> BTreeMap<String, TimeDelta> {
    let starts = |out: &Path| -> BTreeMap<String, (String, NaiveDateTime)> {
        let dated = table(out, "sessions").into_iter().filter(|row| !row["start_local"].is_empty());
        let start = |row: &Row| row["start_local"].parse().unwrap();
        dated
            .map(|row| (format!("{}#{}", row["file"], row["session"]), (row["athlete"].clone(), start(&row))))
            .collect()
    };
    let (plain, shifted) = (starts(plain), starts(shifted));
    let mut by: BTreeMap<String, TimeDelta> = BTreeMap::new();
    for (session, (athlete, start)) in &plain {
        let this = shifted[session].1 - *start;
        assert_eq!(this.num_seconds() % (7 * 86_400), 0, "whole weeks: {session}");
        assert_ne!(this, TimeDelta::zero());
        assert_eq!(*by.entry(athlete.clone()).or_insert(this), this, "{session}");
    }
    by
}

#[test]
fn the_audit_with_days_moved_is_the_audit_without_moved_cell_by_cell() {
    for seed in [73_000, 73_001, 73_002] {
        let squad = Written::new(seed);
        let plan = fs::read_to_string(squad.at("plan.toml")).unwrap();
        // A week in which the plan waits, and one that is away: both move with each person.
        let pause = "\n[[pause]]\nfrom = 2026-03-16\nto = 2026-03-18\n";
        fs::write(squad.at("plan.toml"), plan + pause).unwrap();
        let squad_file = fs::read_to_string(squad.at("squad.csv")).unwrap();
        let squad_file = squad_file.replace("goal_m\n", "goal_m,away,birth_year\n");
        let squad_file = squad_file.replace(",3000\n", ",3000,2026-03-10..2026-03-11 ill,1970\n");
        fs::write(
            squad.at("squad.csv"),
            squad_file.replace("Ost,,east,2026-03-03,\n", "Ost,,east,2026-03-03,,,1991\n"),
        )
        .unwrap();
        for further in [&["--as-of", "2026-03-12"][..], &["--as-of", "2026-12-29"], &[]] {
            let key = squad.at("key0");
            let coded = [&["--pseudonyms", key.to_str().unwrap()], further].concat();
            squad.audit("coded", &coded);
            let said = squad.audit("moved", &[&coded[..], &["--shift-dates"]].concat());
            let (plain, shifted) = (squad.at("coded"), squad.at("moved"));
            let by = moved_by(&plain, &shifted);
            assert_eq!(by.len(), 4);
            assert_eq!(by.values().collect::<BTreeSet<_>>().len(), 4, "each by another number");
            let owners: BTreeMap<String, String> = table(&plain, "sessions")
                .into_iter()
                .map(|row| (row["file"].clone(), row["athlete"].clone()))
                .collect();
            for name in TABLES {
                let told = table(&shifted, name);
                let plain = table(&plain, name);
                assert_eq!(plain.len(), told.len(), "{name}");
                for (plain, told) in plain.iter().zip(&told) {
                    let athlete = plain.get("athlete").or_else(|| owners.get(plain.get("file")?));
                    let by = athlete.and_then(|athlete| by.get(athlete)).copied().unwrap_or_default();
                    for (column, cell) in plain {
                        assert_eq!(
                            &moved(cell, by),
                            &told[column],
                            "seed {seed}, {further:?}, {name}.{column}"
                        );
                    }
                }
            }
            let manifest = fs::read_to_string(shifted.join("manifest.json")).unwrap();
            assert!(
                manifest.contains("\"as_of\": null") && manifest.contains("moved by whole weeks"),
                "{manifest}"
            );
            assert!(said.contains("moved by whole weeks") && !said.contains("2026-"), "{said}");
            assert!(!shifted.join("group.html").exists());
            let page = fs::read_to_string(shifted.join("report.html")).unwrap();
            assert!(
                !page.contains("id=\"group\"") && !page.contains("group.html") && !page.contains("2026-")
            );
        }
    }
}

/// A page of somebody whose days are moved is the page that recordings and files of those days give.
#[test]
fn a_page_with_days_moved_is_the_page_of_recordings_of_those_days() {
    let place = tempfile::tempdir().unwrap();
    let at = |name: &str| place.path().join(name);
    let gear = vec![Gear::saving_watch(FileFormat::Gpx, false)];
    let squad =
        Squad::draw(74_001, &SquadSettings { athletes: 1, weeks: 4, gear, ..SquadSettings::default() });
    let recordings: Vec<(String, String)> = (squad.recorded().unwrap().into_iter())
        .flat_map(|recorded| recorded.files)
        .map(|file| (file.path, String::from_utf8(file.bytes).unwrap()))
        .collect();
    let day = |days| squad.start + Days::new(days);
    let files = [
        ("plan.toml", format!("{}\n[[pause]]\nfrom = {}\nto = {}\n", squad.plan.toml(), day(14), day(15))),
        (
            "squad.csv",
            format!("athlete,start,away,group\nrunner-001,{},{}..{},tue\n", squad.start, day(9), day(10)),
        ),
        (
            "journal.csv",
            format!(
                "athlete,group,date,effort_0_10,pain_0_10,excused\nrunner-001,,{},4,,\nrunner-001,,{},,2,\n,tue,{},,,yes\n",
                day(2),
                day(26),
                day(7)
            ),
        ),
    ];
    fs::write(at("key"), KEYS[0]).unwrap();
    let audit_of = |by: TimeDelta, out: &str, further: &[&str]| {
        let folder = at(&format!("days-{}", by.num_days())).join("Pier");
        for (name, text) in &recordings {
            let path = folder.join(name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, moved(text, by)).unwrap();
        }
        let path = |name: &str| folder.parent().unwrap().join(name).to_str().unwrap().to_owned();
        for (name, text) in &files {
            fs::write(path(name), moved(text, by)).unwrap();
        }
        let options = [
            ("--plan", path("plan.toml")),
            ("--squad", path("squad.csv")),
            ("--journal", path("journal.csv")),
        ];
        let options = options.iter().flat_map(|(option, path)| [*option, path.as_str()]);
        let key = at("key");
        let options: Vec<&str> = options
            .chain(["--pseudonyms", key.to_str().unwrap(), "--pages", "athlete", "--time-zone", "UTC"])
            .chain(further.iter().copied())
            .collect();
        let ran = audit(&folder, &at(out), &options);
        assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
        let pages = fs::read_dir(at(out).join("athletes")).unwrap();
        let [page] = &pages.map(|page| page.unwrap().path()).collect::<Vec<_>>()[..] else { panic!() };
        fs::read_to_string(page).unwrap()
    };
    let plain = audit_of(TimeDelta::zero(), "plain", &[]);
    let shifted = audit_of(TimeDelta::zero(), "shifted", &["--shift-dates"]);
    let by = *moved_by(&at("plain"), &at("shifted")).values().next().unwrap();
    let of_those_days = audit_of(by, "of-those-days", &[]);
    assert_ne!(plain, shifted);
    if shifted != of_those_days {
        let lines = shifted.lines().zip(of_those_days.lines());
        let differing: Vec<_> = lines.filter(|(one, other)| one != other).take(5).collect();
        panic!("{differing:#?}");
    }
}

#[test]
fn the_audit_with_coarse_times_is_the_audit_with_times_cut_to_the_hour() {
    let squad = Written::new(73_003);
    squad.audit("fine", &[]);
    let said = squad.audit("coarse", &["--coarse-times"]);
    let (fine, coarse) = (squad.at("fine"), squad.at("coarse"));
    let hour = |cell: &str| cell.get(..14).map_or_else(String::new, |hour| format!("{hour}00:00"));
    let mut starts = BTreeMap::new();
    for name in TABLES {
        let (plain, told) = (rows(&fine, name, str::to_owned), rows(&coarse, name, str::to_owned));
        let key = |row: &Row| {
            [
                "file",
                "session",
                "bout",
                "interval",
                "event",
                "number",
                "athlete",
                "week",
                "plan_block",
                "plan_session",
                "round",
                "kind",
                "quantity",
                "line",
                "at_s",
                "text",
            ]
            .map(|column| row.get(column).cloned())
        };
        let by_key =
            |rows: Vec<Row>| rows.into_iter().map(|row| (key(&row), row)).collect::<BTreeMap<_, _>>();
        let (plain, told) = (by_key(plain), by_key(told));
        assert_eq!(plain.keys().collect::<Vec<_>>(), told.keys().collect::<Vec<_>>(), "{name}");
        for (key, plain) in &plain {
            for (column, cell) in plain {
                let told = &told[key][column];
                match (name, column.as_str()) {
                    ("sessions", "start_local" | "start_utc") if !cell.is_empty() => {
                        assert_eq!(told.trim_end_matches('Z'), hour(cell), "{name}.{column}");
                        starts.insert(
                            (plain["file"].clone(), plain["session"].clone(), column.clone()),
                            told.clone(),
                        );
                    }
                    ("bouts", "start_utc") => assert!(told.is_empty() || told.ends_with(":00:00Z"), "{told}"),
                    ("athletes", "usual_start") if !cell.is_empty() => {
                        assert_eq!(told, &format!("{}:00", &cell[..2]))
                    }
                    _ => assert_eq!(told, cell, "{name}.{column}"),
                }
            }
        }
    }
    // The bout at which the hour changes tells no minute: it follows from the hour and the seconds that are told.
    for bout in table(&coarse, "bouts") {
        let session = (bout["file"].clone(), bout["session"].clone(), "start_utc".to_owned());
        let Some(start) = starts.get(&session) else { continue };
        let start: DateTime<Utc> = start.parse().unwrap();
        let told: DateTime<Utc> = bout["start_utc"].parse().unwrap();
        let hours = (bout["start_s"].parse::<f64>().unwrap() / 3600.0).floor();
        assert_eq!((told - start).num_seconds() as f64, 3600.0 * hours);
    }
    assert!(said.contains("cut to the hour"));
    let page = fs::read_to_string(coarse.join("report.html")).unwrap();
    let times = page.split("datetime=\"").skip(1).filter_map(|rest| rest.split('"').next()?.split_once('T'));
    let times: Vec<&str> = times.map(|(_, time)| time).collect();
    assert!(times.iter().all(|time| time.contains(":00")), "{times:?}");
}
