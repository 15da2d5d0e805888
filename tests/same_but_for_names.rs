//! The audit with codes in place of names is the audit without: every cell of every table, once the codes are read back.

use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use boutwise_audit::Pseudonyms;
use boutwise_truth::files::FileFormat;
use boutwise_truth::squad::{Gear, Squad, SquadSettings};

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
