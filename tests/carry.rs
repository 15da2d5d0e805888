//! Columns of the squad file, carried as text into the tables with a row for each athlete, session or planned session.

use std::fs;
use std::path::{Path, PathBuf};

use crate::command::{Row, audit, boutwise, parquet_text, table, testdata};

const CARRYING: [&str; 3] = ["sessions", "athletes", "planned"];

/// Two people of one recording each, one of whom the squad file has with cells that programs like to change.
struct Written(tempfile::TempDir);

impl Written {
    fn new() -> Self {
        let place = tempfile::tempdir().unwrap();
        for name in ["Ada", "Tom", "Stranger"] {
            let folder = place.path().join("pier").join(name);
            fs::create_dir_all(&folder).unwrap();
            let sample = if name == "Ada" { "inputs/A1-one-track.gpx" } else { "inputs/A2-segments.gpx" };
            fs::copy(testdata(sample), folder.join("run.gpx")).unwrap();
        }
        let plan = "[[block]]\nsessions = 3\nevery_days = 2\nsession = \"6:00 walk, 9 x (0:40 run, 1:20 walk), 4:00 walk\"\n";
        fs::write(place.path().join("plan.toml"), plan).unwrap();
        let squad = "athlete,Arm,site,plan,note of ours\nAda,007,\"=1+1, \"\"north\"\"\",plan.toml,x\nTom,NA,,plan.toml,\n";
        fs::write(place.path().join("squad.csv"), squad).unwrap();
        Self(place)
    }

    fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn audit(&self, out: &str, further: &[&str]) -> crate::command::Ran {
        let squad = self.at("squad.csv");
        let options = [&["--squad", squad.to_str().unwrap()], further].concat();
        audit(&self.at("pier"), &self.at(out), &options)
    }
}

fn of<'r>(rows: &'r [Row], athlete: &str) -> &'r Row {
    rows.iter().find(|row| row["athlete"] == athlete).unwrap_or_else(|| panic!("{athlete}: {rows:?}"))
}

fn json(path: &Path) -> serde_json::Value {
    serde_json::from_slice(&fs::read(path).unwrap()).unwrap()
}

#[test]
fn carried_columns_stand_behind_the_own_ones_of_three_tables_and_change_nothing_else() {
    let squad = Written::new();
    // Without the breaks of lines on the terminal.
    let said = |ran: &crate::command::Ran| ran.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    let plain = squad.audit("plain", &[]);
    assert!(said(&plain).contains("\"Arm\" is not known and was left out"), "{}", plain.stdout);
    let ran = squad.audit("carried", &["--carry", "arm, site", "--format", "csv,parquet"]);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    assert!(
        !said(&ran).contains("\"Arm\" is not known") && said(&ran).contains("\"note of ours\" is not known"),
        "{}",
        ran.stdout
    );
    for entry in fs::read_dir(squad.at("plain")).unwrap().map(|entry| entry.unwrap()) {
        let name = entry.file_name().into_string().unwrap();
        let Some(name) = name.strip_suffix(".csv") else { continue };
        let (plain, mut carried) = (table(&squad.at("plain"), name), table(&squad.at("carried"), name));
        for row in &mut carried {
            let cells = (row.remove("arm"), row.remove("site"));
            assert_eq!(cells.0.is_some() && cells.1.is_some(), CARRYING.contains(&name), "{name}");
        }
        assert_eq!(plain, carried, "{name}");
    }
    for name in CARRYING {
        let text = fs::read_to_string(squad.at("carried").join(format!("{name}.csv"))).unwrap();
        assert!(text.lines().next().unwrap().ends_with(",arm,site"), "{name}");
        let rows = table(&squad.at("carried"), name);
        // Marked like every text that a spreadsheet would run; Parquet has it as it is.
        assert_eq!((&*of(&rows, "Ada")["arm"], &*of(&rows, "Ada")["site"]), ("007", "'=1+1, \"north\""));
        assert_eq!((&*of(&rows, "Tom")["arm"], &*of(&rows, "Tom")["site"]), ("NA", ""));
        if name != "planned" {
            assert_eq!((&*of(&rows, "Stranger")["arm"], &*of(&rows, "Stranger")["site"]), ("", ""));
        }
        let parquet = parquet_text(&squad.at("carried").join(format!("{name}.parquet")));
        assert!(parquet.contains("arm: \"007\"") && parquet.contains("site: null"), "{parquet}");
        assert!(parquet.contains("site: \"=1+1, \"north\"\""), "{parquet}");
    }
    let codebook = json(&squad.at("carried/codebook.json"));
    let carried = codebook.as_array().unwrap().iter().filter(|entry| entry["column"] == "arm");
    let carried: Vec<_> = carried.collect();
    assert_eq!(carried.len(), 3);
    assert!(
        carried
            .iter()
            .all(|entry| entry["type"] == "string" && entry["nullable"] == true && entry["unit"].is_null())
    );
    assert_eq!(json(&squad.at("carried/manifest.json"))["carried"], serde_json::json!(["arm", "site"]));
    let verified =
        boutwise(["verify".as_ref(), squad.at("carried").as_os_str(), squad.at("pier").as_os_str()]);
    assert_eq!(verified.status, 0, "{}", verified.stdout);
}

#[test]
fn carried_cells_stay_beside_codes() {
    let squad = Written::new();
    fs::write(squad.at("key"), "a key of the tests, 32 bytes long").unwrap();
    let key = squad.at("key");
    let options =
        ["--carry", "arm", "--pseudonyms", key.to_str().unwrap(), "--shift-dates", "--coarse-times"];
    let ran = squad.audit("coded", &options);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    let mut arms: Vec<String> =
        table(&squad.at("coded"), "athletes").into_iter().map(|row| row["arm"].clone()).collect();
    arms.sort();
    assert_eq!(arms, ["", "007", "NA"]);
}

#[test]
fn columns_lists_carried_columns_where_they_are_asked_for() {
    for (format, name) in [("text", " arm "), ("json", "\"arm\""), ("frictionless", "\"arm\"")] {
        let plain = boutwise(["columns", "--format", format]);
        let carried = boutwise(["columns", "--format", format, "--carry", "arm"]);
        assert_eq!((plain.status, carried.status), (0, 0));
        let count = |text: &str| text.matches(name).count();
        assert_eq!((count(&plain.stdout), count(&carried.stdout)), (0, 3), "{format}");
    }
}

#[test]
fn what_cannot_be_carried_is_named() {
    let squad = Written::new();
    for (carry, said) in [
        ("arm,plan", "\"plan\" is a column of the table sessions already"),
        ("Goal_M", "\"Goal_M\" is a column of the table athletes already"),
        ("arm,ARM", "\"ARM\" stands twice"),
        ("arm,,site", "a name is empty"),
        ("group", "\"group\" cannot be carried"),
        ("arms", "no column \"arms\""),
        ("colour", "no column \"colour\""),
    ] {
        let ran = squad.audit("out", &["--carry", carry]);
        assert_eq!(ran.status, 2, "{carry}");
        assert!(ran.stderr.starts_with("error: ") && ran.stderr.contains(said), "{carry}: {}", ran.stderr);
        assert!(!squad.at("out").exists());
    }
    let ran = audit(&squad.at("pier"), &squad.at("out"), &["--carry", "arm"]);
    assert!(ran.status == 2 && ran.stderr.contains("--squad"), "{}", ran.stderr);
    let ran = squad.audit("out", &["--shift-dates"]);
    assert!(ran.status == 2 && ran.stderr.contains("--pseudonyms"), "{}", ran.stderr);
}
