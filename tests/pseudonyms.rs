//! With `--pseudonyms` no output tells a name, with `--shift-dates` no day: every byte of every file, of their names, and of what is printed is searched.
//! BOUTWISE_SQUADS says how many squads, or which (`634..1000`); a few unless given.

use std::collections::BTreeSet;
use std::fs;
use std::ops::Range;
use std::path::{Path, PathBuf};

use boutwise_audit::Pseudonyms;
use boutwise_truth::Random;
use boutwise_truth::files::FileFormat;
use boutwise_truth::squad::{Gear, Outing, Squad, SquadSettings};
use chrono::{DateTime, NaiveDate};

use crate::command::{Ran, audit, boutwise, parquet_text, table, testdata};

const SQUADS: u64 = 2;
const KEY: &str = "a key of the tests, 32 bytes long";

/// Names that are words of the outputs, or parts of them.
const COMMON: [&str; 12] =
    ["run", "Walk", "Week", "May", "Will", "Plan", "person", "Monday", "session", "True", "none", "of"];
/// Names that nothing else is called.
const RARE: [&str; 6] = ["Qvistina", "Żółtmir", "Wüxeborg O'Nym", "Jyqx, the second", "<Zbrk>", "مقكز"];

/// A squad on the disk: two people with the given names, everything about them written by name.
struct Written {
    place: tempfile::TempDir,
    /// Whatever must not be found: names of people, folders, files.
    names: BTreeSet<String>,
    /// The days of the recordings and of what was written.
    days: BTreeSet<NaiveDate>,
    /// Moments at which recordings begin, in seconds since 1970.
    starts_s: BTreeSet<i64>,
}

impl Written {
    fn new(seed: u64, names: [&str; 2]) -> Self {
        let gear = vec![Gear::watch(FileFormat::Gpx, false), Gear::phone()];
        let settings = SquadSettings { athletes: 2, weeks: 2, gear, ..SquadSettings::default() };
        let squad = Squad::draw(seed, &settings);
        let place = tempfile::Builder::new().prefix("Hjemqvist").tempdir().unwrap();
        let folder = place.path().join("Grzegorzowo");
        let mut known: BTreeSet<String> = ["Hjemqvist", "Grzegorzowo"].map(str::to_owned).into();
        let mut first_file = String::new();
        for recorded in squad.recorded().unwrap() {
            for file in &recorded.files {
                let name = names[recorded.athlete];
                let last = format!("Qx{}", file.path.split('/').next_back().unwrap());
                let path = folder.join(format!("{name} Vrblz")).join(&last);
                fs::create_dir_all(path.parent().unwrap()).unwrap();
                fs::write(path, &file.bytes).unwrap();
                known.insert(last.clone());
                first_file = format!("{name} Vrblz/{last}");
            }
        }
        // Copies, cut files, an archive, a second way: each has a note.
        let other = folder.join(format!("{} Vrblz", names[0]));
        // Who recorded nothing in these weeks has no folder yet.
        fs::create_dir_all(&other).unwrap();
        fs::copy(testdata("inputs/A1-one-track.gpx"), other.join("Qxone.gpx")).unwrap();
        fs::copy(testdata("inputs/A1-one-track.gpx"), other.join("Qxtwo.gpx")).unwrap();
        fs::copy(testdata("inputs/A1-one-track.gpx"), folder.join("Qxnobody.gpx")).unwrap();
        fs::write(other.join("Qxcut.gpx"), "<gpx><trk>").unwrap();
        #[cfg(unix)]
        std::os::unix::fs::symlink(&other, folder.join("Qxway")).unwrap();
        known.extend(["Qxone", "Qxtwo", "Qxnobody", "Qxcut", "Qxway", "Vrblz", "Grpvist"].map(str::to_owned));
        let quoted = |name: &str| format!("\"{}\"", name.replace('"', "\"\""));
        let [one, two] = names.map(quoted);
        let start = squad.start;
        let write = |name: &str, text: String| fs::write(place.path().join(name), text).unwrap();
        write(
            "Qxplan.toml",
            format!("title = \"Way of Vrblz\"\n{}", squad.plan.toml().replace("title =", "# title =")),
        );
        write(
            "Qxsquad.csv",
            format!(
                "athlete,also,group,folder,plan,start,away,colour\n{one},Vrblzina,Grpvist,\"{} Vrbl*\",Qxplan.toml,{start},{start}..{start} Vrblz ill,x\n\
                 {two},,GRPVIST,\"{} Vrblz\",Qxplan.toml,{start},,\nVrblz Absent,,Vrblz grp,,,,,\n",
                names[0].replace('"', "\"\""),
                names[1].replace('"', "\"\"")
            ),
        );
        write(
            "Qxjournal.csv",
            format!(
                "athlete,group,date,pain_0_10,warning_sign,note\nvrblzina,,{start},7,,Vrblz said so\n{two},,{start},,odd Vrblz words,\n\
                 {two},,{start},,odd Vrblz words,\n,grpVist,{start},,,Vrblz rests\n"
            ),
        );
        write(
            "Qxcorrections.csv",
            format!(
                "file,use,athlete,plan_block,plan_session,note\n{},yes,,,,Vrblz\nVrblz/gone.gpx,no,,,,\n,,{one},A,1,\n,,Vrblz Nobody,A,1,\n\
                 {},,{two},,,Vrblz\n",
                quoted(&first_file),
                quoted(&format!("{} Vrblz/Qxtwo.gpx", names[0])),
            ),
        );
        write(
            "Qxowners.csv",
            format!("athlete,file,sure,why\n{one},Qxnobody.gpx,no,Vrblz has it\n,Vrblz/absent.gpx,yes,\n"),
        );
        write("Qxkey", KEY.to_owned());
        write("Qxkey2", KEY.replace("32", "33"));
        let outings = || squad.athletes.iter().flat_map(|athlete| &athlete.outings);
        let utc = |outing: &Outing| DateTime::from_timestamp(outing.start_s, 0).unwrap();
        let days = outings().flat_map(|outing| {
            let local = utc(outing).with_timezone(&squad.time_zone).date_naive();
            [utc(outing).date_naive(), local]
        });
        Self {
            place,
            names: known,
            days: days.chain([start]).collect(),
            starts_s: outings().map(|outing| outing.start_s).collect(),
        }
    }

    /// The days and hours of the input, in the ways in which people and programs write them.
    fn dates(&self) -> BTreeSet<String> {
        let forms = [
            "%Y-%m-%d",
            "%Y%m%d",
            "%d.%m.%Y",
            "%d/%m/%Y",
            "%m/%d/%Y",
            "%-d %B %Y",
            "%-d %b %Y",
            "%B %-d, %Y",
            "%b %-d, %Y",
            "%G-W%V",
            "%A, %-d %B %Y",
        ];
        let days = self.days.iter().flat_map(|day| forms.map(|form| day.format(form).to_string()));
        days.chain(self.starts_s.iter().map(i64::to_string)).collect()
    }

    fn at(&self, name: &str) -> PathBuf {
        self.place.path().join(name)
    }

    fn audit(&self, out: &str, key: Option<&str>, further: &[&str]) -> Ran {
        let path = |name: &str| self.at(name).to_str().unwrap().to_owned();
        let mut options: Vec<String> = Vec::new();
        for (option, name) in [
            ("--squad", "Qxsquad.csv"),
            ("--journal", "Qxjournal.csv"),
            ("--corrections", "Qxcorrections.csv"),
            ("--owners", "Qxowners.csv"),
        ] {
            options.extend([option.to_owned(), path(name)]);
        }
        options.extend(key.into_iter().flat_map(|key| ["--pseudonyms".to_owned(), path(key)]));
        options.extend(further.iter().map(|option| (*option).to_owned()));
        let options: Vec<&str> = options.iter().map(String::as_str).collect();
        audit(&self.at("Grzegorzowo"), &self.at(out), &options)
    }
}

/// Every byte of a result: the names of its files, and what they hold.
fn everything(out: &Path) -> Vec<(String, String)> {
    let mut all = Vec::new();
    for entry in fs::read_dir(out).unwrap().map(|entry| entry.unwrap()) {
        let name = entry.file_name().into_string().unwrap();
        if entry.path().is_dir() {
            all.extend(
                everything(&entry.path()).into_iter().map(|(inner, text)| (format!("{name}/{inner}"), text)),
            );
        } else {
            let text = match name.ends_with(".parquet") {
                true => parquet_text(&entry.path()),
                false => fs::read_to_string(entry.path()).unwrap(),
            };
            all.push((name, text));
        }
    }
    all.sort();
    all
}

/// The numbers of the squads: as many as BOUTWISE_SQUADS says, or from one to another where it says `634..1000`.
fn squads() -> Range<u64> {
    let Ok(asked) = std::env::var("BOUTWISE_SQUADS") else { return 0..SQUADS };
    let (from, to) = asked.split_once("..").unwrap_or(("0", asked.as_str()));
    let squads = from.parse().unwrap()..to.parse().unwrap();
    assert!(!squads.is_empty(), "BOUTWISE_SQUADS names no squad: {asked}");
    squads
}

#[test]
fn no_output_tells_a_name_and_no_figure_changes() {
    for seed in squads() {
        let mut random = Random::new(seed);
        let names = loop {
            let names = [*random.pick(&RARE), *random.pick(&RARE)];
            if names[0] != names[1] {
                break names;
            }
        };
        let mut squad = Written::new(70_000 + seed, names);
        squad.names.extend(names.map(str::to_owned));
        let plain = squad.audit("named", None, &[]);
        assert_eq!(plain.status, 1, "{}", plain.stderr);
        let formats = ["--pages", "athlete", "--format", "csv,parquet"];
        let coded = squad.audit("coded", Some("Qxkey"), &formats);
        assert_eq!(coded.status, 1, "{}", coded.stderr);
        let json = squad.audit("coded-json", Some("Qxkey"), &["--json"]);
        let again = squad.audit("coded-again", Some("Qxkey"), &[&formats[..], &["--threads", "1"]].concat());
        let other = squad.audit("coded-other", Some("Qxkey2"), &["--pages", "athlete"]);
        let folder = squad.at("Grzegorzowo");
        let longest = |key: &[&str]| {
            let squad_file = squad.at("Qxsquad.csv");
            let fixed = ["longest".as_ref(), folder.as_os_str(), "--squad".as_ref(), squad_file.as_os_str()];
            boutwise(fixed.into_iter().chain(key.iter().map(AsRef::as_ref)))
        };
        let key = squad.at("Qxkey");
        let longest = longest(&["--pseudonyms", key.to_str().unwrap()]);
        assert!(longest.stdout.contains("Person "), "{}", longest.stdout);
        let share = ["--shift-dates", "--coarse-times", "--pages", "athlete", "--format", "csv,parquet"];
        let shared = squad.audit("shared", Some("Qxkey"), &share);
        assert_eq!(shared.status, 1, "{}", shared.stderr);
        let shared_json =
            squad.audit("shared-json", Some("Qxkey"), &[&share[..3], &["one", "--json"]].concat());
        let dates = squad.dates();
        for out in ["shared", "shared-json"] {
            for (file, text) in everything(&squad.at(out)) {
                dateless(&squad, &dates, seed, &file, &text);
            }
        }
        for ran in [&shared, &shared_json] {
            dateless(&squad, &dates, seed, "printed", &format!("{}{}", ran.stdout, ran.stderr));
        }
        let printed = [&coded, &json, &again, &longest, &shared, &shared_json]
            .map(|ran| format!("{}{}", ran.stdout, ran.stderr));
        let mut outputs = everything(&squad.at("coded"));
        outputs.extend(
            ["coded-json", "shared", "shared-json"].iter().flat_map(|out| everything(&squad.at(out))),
        );
        outputs.extend(printed.map(|text| ("printed".to_owned(), text)));
        for (file, text) in &outputs {
            let (file, text) = (file.to_lowercase(), text.to_lowercase());
            for name in
                squad.names.iter().map(String::as_str).chain([KEY, squad.place.path().to_str().unwrap()])
            {
                let name = name.to_lowercase();
                let escaped = name.replace('<', "&lt;").replace('>', "&gt;").replace('\'', "&#39;");
                for name in [&name, &escaped] {
                    let at = text.find(name);
                    let around =
                        at.map(|at| text[..at + name.len()].chars().rev().take(120).collect::<Vec<_>>());
                    let around = around.map(|around| around.into_iter().rev().collect::<String>());
                    assert_eq!(around, None, "squad {seed}: {name} in {file}");
                    assert!(!file.contains(name), "{name}: {file}");
                }
            }
        }
        // The same codes with one key, others with another.
        assert_eq!(everything(&squad.at("coded")), everything(&squad.at("coded-again")));
        assert_eq!(other.status, 1);
        let codes = |out: &str, of: &str, column: &str| -> BTreeSet<String> {
            table(&squad.at(out), of).into_iter().map(|row| row[column].clone()).collect()
        };
        for (of, column) in [("athletes", "athlete"), ("files", "file")] {
            let one = codes("coded", of, column);
            assert_eq!(one.len(), codes("named", of, column).len());
            assert!(one.is_disjoint(&codes("coded-other", of, column)), "{one:?}");
        }
        let by_api = Pseudonyms::of_key(KEY.as_bytes()).unwrap();
        assert!(
            codes("coded", "athletes", "athlete").contains(&by_api.person(names[0])),
            "the name of the squad file"
        );
        // Every figure is the one with names.
        let figures = |out: &str| {
            let mut rows: Vec<_> = table(&squad.at(out), "sessions")
                .into_iter()
                .map(|mut row| {
                    for column in ["athlete", "file", "plan", "notes", "overlaps_file"] {
                        row.remove(column);
                    }
                    row
                })
                .collect();
            rows.sort();
            rows
        };
        assert_eq!(figures("coded"), figures("named"));
        assert!(figures("coded").len() > 3);
        let proposals = |out: &str| {
            let mut rows: Vec<_> = table(&squad.at(out), "athletes")
                .into_iter()
                .map(|row| (row["proposal"].clone(), row["sessions_due"].clone()))
                .collect();
            rows.sort();
            rows
        };
        assert_eq!(proposals("coded"), proposals("named"));
        let verified = |out: &str, key: &[&str]| {
            let (out, squad_file) = (squad.at(out), squad.at("Qxsquad.csv"));
            let fixed = [
                "verify".as_ref(),
                out.as_os_str(),
                folder.as_os_str(),
                "--squad".as_ref(),
                squad_file.as_os_str(),
            ];
            boutwise(fixed.into_iter().chain(key.iter().map(AsRef::as_ref)))
        };
        let key = ["--pseudonyms", key.to_str().unwrap()];
        let with_key = verified("coded", &key);
        assert_eq!(with_key.status, 0, "{}{}", with_key.stdout, with_key.stderr);
        assert_eq!(verified("coded", &[]).status, 1);
        // What differs is told by its code, whatever the manifest and the folder call it.
        let page = everything(&squad.at("coded")).into_iter().find(|(name, _)| name.starts_with("athletes/"));
        let page = page.unwrap().0;
        for (out, foreign) in [("coded", "Vrblz mine.txt"), ("named", "athletes-Vrblz.html")] {
            fs::write(squad.at(out).join(foreign), "mine").unwrap();
            fs::write(squad.at(out).join("sessions.csv"), "mine").unwrap();
        }
        fs::write(squad.at("coded").join(&page), "mine").unwrap();
        fs::remove_file(folder.join("Qxnobody.gpx")).unwrap();
        fs::write(squad.at("Qxsquad.csv"), "athlete\nVrblz\n").unwrap();
        for (out, json) in [("coded", false), ("coded", true), ("named", false), ("named", true)] {
            let further = if json { [&key[..], &["--json"]].concat() } else { key.to_vec() };
            let ran = verified(out, &further);
            assert!(ran.status == 1 && ran.stdout.contains("sessions.csv"), "{}{}", ran.stdout, ran.stderr);
            for part in ["recordings", "result", "season files"] {
                assert!(ran.stdout.contains(part), "{out}, {part}: {}", ran.stdout);
            }
            let said = format!("{}{}", ran.stdout, ran.stderr).to_lowercase();
            for name in squad.names.iter().map(String::as_str).chain(["mine", "squad.csv"]) {
                assert!(!said.contains(&name.to_lowercase()), "{out}: {name}: {said}");
            }
            assert_eq!(out == "coded", ran.stdout.contains(&page), "{}", ran.stdout);
        }
    }
}

/// Fails where a text holds a day or moment of the input in any usual form, or its year at all.
fn dateless(squad: &Written, dates: &BTreeSet<String>, seed: u64, file: &str, text: &str) {
    for date in dates {
        let at =
            text.find(date).map(|at| text[at.saturating_sub(80)..].chars().take(200).collect::<String>());
        assert_eq!(at, None, "squad {seed}: {date} in {file}");
    }
    let year = squad.days.first().unwrap().format("%Y").to_string();
    for (at, _) in text.match_indices(&year) {
        if is_of_a_drawing(&text[..at]) || is_a_cell(file, &text[..at], &text[at + year.len()..]) {
            continue;
        }
        let before = text[..at].chars().next_back();
        let after = text[at + year.len()..].chars().next();
        let is_part = |c: Option<char>| c.is_some_and(|c| c.is_ascii_alphanumeric() || c == '.');
        let around: String = text[at.saturating_sub(80)..].chars().take(200).collect();
        assert!(is_part(before) || is_part(after), "squad {seed}: {year} in {file}: {around}");
    }
}

/// What places the parts of a page's drawings: seconds of a session and the like, of which one may be the number of a year.
const PLACES: &[&str] = &[
    "cx",
    "cy",
    "d",
    "data-from",
    "data-to",
    "height",
    "points",
    "r",
    "viewBox",
    "width",
    "x",
    "x1",
    "x2",
    "y",
    "y1",
    "y2",
];

/// Whether what follows `before` is a number in an attribute that places a part of a drawing.
fn is_of_a_drawing(before: &str) -> bool {
    let Some((tag, numbers)) = before.rsplit_once("=\"") else { return false };
    let is_number = |c: char| c.is_ascii_digit() || " ,.-MLHVZ".contains(c);
    numbers.chars().all(is_number) && PLACES.iter().any(|place| tag.ends_with(&format!(" {place}")))
}

/// Whether what lies between is a cell of a table, or a value of its JSON, that is a number: a count, for a day has its month.
fn is_a_cell(file: &str, before: &str, after: &str) -> bool {
    let begins = match file.rsplit_once('.') {
        Some((_, "csv")) => before.ends_with([',', '\n']),
        // As rows are printed: `points_kept: 2026, `.
        Some((_, "parquet")) => before.ends_with(": "),
        _ => before.ends_with("\": ") || before.ends_with("\":"),
    };
    begins && after.starts_with([',', '\n', '\r', '}'])
}

#[test]
fn a_year_is_no_place_in_a_drawing_but_there() {
    for places in
        ["<rect class=\"run\" x=\"", "<svg viewBox=\"0 0 ", "<figure data-to=\"", "<path d=\"M0,1 L5,"]
    {
        assert!(is_of_a_drawing(places), "{places}");
    }
    for says in
        ["<time datetime=\"", "<td data-year=\"", "<text x=\"12\">", "<a title=\"in ", "in ", "\"day\": "]
    {
        assert!(!is_of_a_drawing(says), "{says}");
    }
    assert!(is_a_cell("files.csv", "File 1,read,", ",0,x"));
    assert!(
        is_a_cell("files.parquet", "points_kept: ", ", x") && is_a_cell("files.json", "\"points\": ", ", x")
    );
    assert!(!is_a_cell("files.csv", "read,", "-05-02,") && !is_a_cell("report.html", "in: ", ","));
    assert!(!is_a_cell("files.json", "\"day\": \"", "\",") && !is_a_cell("files.parquet", "in ", ","));
}

/// A name that is a word of the outputs can't be searched for; but where people have other names, the word must stand there
/// as often.
#[test]
fn names_that_are_common_words_stand_as_often_as_without_those_people() {
    for seed in squads() {
        let at = 2 * (seed as usize) % COMMON.len();
        let names = [COMMON[at], COMMON[at + 1]];
        let text_of = |names: [&str; 2], share: &[&str]| {
            let squad = Written::new(71_000 + seed, names);
            let ran = squad.audit("coded", Some("Qxkey"), share);
            let mut text = format!("{}{}", ran.stdout, ran.stderr);
            everything(&squad.at("coded")).into_iter().for_each(|(name, of)| text += &(name + &of));
            text.to_lowercase()
        };
        for share in [&[][..], &["--shift-dates", "--coarse-times"]] {
            let (with, without) = (text_of(names, share), text_of(["Qvistina", "Kwjorz"], share));
            // Days that are moved by another number may lie in another month.
            let is_sure = |name: &String| share.is_empty() || name != "may";
            for name in names.map(str::to_lowercase).into_iter().filter(is_sure) {
                assert_eq!(with.matches(&name).count(), without.matches(&name).count(), "{name}, {share:?}");
            }
        }
    }
}

#[test]
fn what_ends_a_run_tells_no_name_either() {
    let squad = Written::new(72_000, ["Qvistina", "Kwjorz"]);
    let hides = |ran: Ran, says: &str| {
        assert_eq!(ran.status, 2, "{}{}", ran.stdout, ran.stderr);
        assert!(ran.stderr.starts_with("error: ") && ran.stderr.contains(says), "{}", ran.stderr);
        for name in
            ["Qvistina", "Kwjorz", "Vrblz", "Qxjournal", "Qxsquad", "Grzegorzowo", "Hjemqvist", "Qxplan"]
        {
            assert!(!ran.stderr.contains(name), "{name}: {}", ran.stderr);
        }
    };
    fs::write(squad.at("Qxjournal.csv"), "athlete,date,pain_0_10\nKwjorzz,2026-03-02,1\n").unwrap();
    hides(squad.audit("out", Some("Qxkey"), &[]), "the journal, line 2");
    fs::write(squad.at("Qxjournal.csv"), "athlete,date,pain_0_10\nKwjorz,2090-03-02,1\n").unwrap();
    hides(squad.audit("out", Some("Qxkey"), &[]), "the journal, line 2");
    fs::write(squad.at("Qxjournal.csv"), "athlete,date,pain_0_10\nKwjorz,2026-03-02,Vrblz\n").unwrap();
    hides(squad.audit("out", Some("Qxkey"), &[]), "the journal, line 2");
    fs::remove_file(squad.at("Qxjournal.csv")).unwrap();
    hides(squad.audit("out", Some("Qxkey"), &[]), "cannot be opened");
    fs::write(squad.at("Qxjournal.csv"), "athlete,date\n").unwrap();
    fs::create_dir(squad.at("Vrblz-out")).unwrap();
    fs::write(squad.at("Vrblz-out/Kwjorz.txt"), "mine").unwrap();
    hides(squad.audit("Vrblz-out", Some("Qxkey"), &[]), "the output folder");
    hides(squad.audit("Grzegorzowo/out", Some("Qxkey"), &[]), "the output folder");
    hides(squad.audit("Qxplan.toml/Vrblz", Some("Qxkey"), &[]), "the output folder");
    let within = squad.at("Grzegorzowo/Vrblz");
    let cache = ["--cache", within.to_str().unwrap()];
    hides(squad.audit("out", Some("Qxkey"), &cache), "the cache: it lies inside the folder of recordings");
    let key = squad.at("Qxkey");
    let nowhere = ["audit".as_ref(), within.as_os_str(), "--pseudonyms".as_ref(), key.as_os_str()];
    hides(boutwise(nowhere), "the folder of recordings: it cannot be looked at");
    // What is wrong with the key is said, so that it can be mended.
    fs::write(squad.at("Qxkey"), "short").unwrap();
    let ran = squad.audit("out", Some("Qxkey"), &[]);
    assert!(
        ran.status == 2 && ran.stderr.contains("5 bytes") && ran.stderr.contains("Qxkey"),
        "{}",
        ran.stderr
    );
}
