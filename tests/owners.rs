//! Whose is it: recordings of several people that lie together, the owners file, and the table that is proposed.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use crate::command::{Ran, Row, audit, boutwise, table};

/// Twenty minutes on a day of March 2024: walk, three runs with walks between, walk; so far to the east.
fn recording(day: u32, minute: u32, east_m: f64, head: &str) -> String {
    let mut north_m = 0.0;
    let mut points = String::new();
    for second in 0..1200_u32 {
        let running = (300..1020).contains(&second) && (second - 300) % 240 < 150;
        north_m += if running { 2.5 } else { 1.4 };
        points += &format!(
            "<trkpt lat=\"{:.6}\" lon=\"{:.6}\"><time>2024-03-{day:02}T{:02}:{:02}:{:02}Z</time></trkpt>\n",
            52.0 + north_m / 111_195.0,
            4.0 + east_m / 68_500.0,
            18 + (minute + second / 60) / 60,
            (minute + second / 60) % 60,
            second % 60
        );
    }
    format!("{head}<trk><trkseg>\n{points}</trkseg></trk>")
}

fn gpx(creator: &str, tracks: &str) -> Vec<u8> {
    format!("<gpx version=\"1.1\" creator=\"{creator}\">{tracks}</gpx>\n").into_bytes()
}

fn put(folder: &Path, name: &str, bytes: &[u8]) {
    let path = folder.join(name);
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, bytes).unwrap();
}

fn zip(files: &[(&str, Vec<u8>)]) -> Vec<u8> {
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, bytes) in files {
        archive
            .start_file(
                *name,
                zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored),
            )
            .unwrap();
        archive.write_all(bytes).unwrap();
    }
    archive.finish().unwrap().into_inner()
}

const PEOPLE: [&str; 3] = ["Ada", "Bo", "Cleo"];
const PLAN: &str =
    "[[block]]\nsessions = 6\nevery_days = 2\nsession = \"5:00 walk, 3 x (2:30 run, 1:30 walk)\"\n";

/// Three people who train together on four days, each a little beside the others.
fn sessions() -> Vec<(usize, String, Vec<u8>)> {
    let mut sessions = Vec::new();
    for day in [4, 6, 8, 10] {
        for (person, name) in PEOPLE.iter().enumerate() {
            let tracks = recording(day, person as u32, 30.0 * person as f64, "");
            sessions.push((person, format!("{name}-{day}.gpx"), gpx(&format!("logger {person}"), &tracks)));
        }
    }
    sessions
}

fn is_not_judged(ran: &Ran, out: &Path, count: usize) {
    let first = ran.stdout.lines().next().unwrap_or_default();
    assert!(first.contains("overlap"), "{}", ran.stdout);
    let athletes = table(out, "athletes");
    assert_eq!(athletes.len(), count);
    assert!(
        athletes.iter().any(|row| row["proposal"].is_empty() && row["reasons"].starts_with("overlap")),
        "{athletes:?}"
    );
    assert!(ran.stdout.contains("to mend"), "{}", ran.stdout);
}

#[test]
fn people_who_lie_together_are_not_judged_as_one() {
    let scratch = tempfile::tempdir().unwrap();
    let (folder, out, plan) =
        (scratch.path().join("all"), scratch.path().join("out"), scratch.path().join("plan.toml"));
    fs::write(&plan, PLAN).unwrap();
    let further = ["--plan", plan.to_str().unwrap()];
    // All in one folder.
    for (_, name, bytes) in sessions() {
        put(&folder, &format!("group/{name}"), &bytes);
    }
    is_not_judged(&audit(&folder, &out, &further), &out, 1);
    // A zip for each.
    fs::remove_dir_all(&folder).unwrap();
    for (person, name) in PEOPLE.iter().enumerate() {
        let own: Vec<(String, Vec<u8>)> = sessions()
            .into_iter()
            .filter(|held| held.0 == person)
            .map(|(_, name, bytes)| (name, bytes))
            .collect();
        let own: Vec<(&str, Vec<u8>)> =
            own.iter().map(|(name, bytes)| (name.as_str(), bytes.clone())).collect();
        put(&folder, &format!("{name}.zip"), &zip(&own));
    }
    is_not_judged(&audit(&folder, &out, &further), &out, 1);
    // Mended by the squad file, which names the archives.
    let squad = scratch.path().join("squad.csv");
    fs::write(&squad, "athlete,folder\nAda,ada.zip\nBo,BO.zip\nCleo,cleo*\n").unwrap();
    let ran = audit(&folder, &out, &["--plan", plan.to_str().unwrap(), "--squad", squad.to_str().unwrap()]);
    assert!(!ran.stdout.contains("overlap"), "{}", ran.stdout);
    assert_eq!(table(&out, "athletes").len(), 3);
    assert!(table(&out, "athletes").iter().all(|row| row["sessions_attempted"] == "4"), "{}", ran.stdout);
}

#[test]
fn two_devices_of_one_person_are_judged_as_one() {
    let scratch = tempfile::tempdir().unwrap();
    let (folder, out) = (scratch.path().join("all"), scratch.path().join("out"));
    for day in [4, 6, 8, 10] {
        put(&folder, &format!("Ada/watch-{day}.gpx"), &gpx("w", &recording(day, 0, 0.0, "")));
        put(&folder, &format!("Ada/phone-{day}.gpx"), &gpx("p", &recording(day, 0, 15.0, "")));
    }
    let ran = audit(&folder, &out, &[]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    assert!(!ran.stdout.contains("overlap:"), "{}", ran.stdout);
    assert_eq!(table(&out, "athletes").len(), 1);
    let counted = table(&out, "sessions").iter().filter(|row| row["counted"] == "true").count();
    assert_eq!(counted, 4, "one of two devices counts");
    let page = fs::read_to_string(out.join("report.html")).unwrap();
    assert!(
        page.contains("1 athlete, 8 recorded sessions (4 of them counted), 8 files"),
        "page and terminal agree"
    );
    assert!(ran.stdout.contains("8 sessions (4 of them counted)"), "{}", ran.stdout);
    assert!(page.contains("; and 4 second recordings") && page.contains("over 4 sessions"));
    assert_eq!(page.matches("second recording of the same session").count(), 4);
    let longest = boutwise(["longest", folder.to_str().unwrap(), "--json"]);
    let found: serde_json::Value = serde_json::from_str(&longest.stdout).unwrap();
    assert_eq!(found[0]["runs"].as_array().unwrap().len(), 4, "each outing once");
    // Numbers are as the tables have them.
    let (athlete, of_run) = (&table(&out, "athletes")[0], &found[0]["runs"][0]);
    for (column, told) in [
        ("longest_run_s", &of_run["longest_run_s"]),
        ("longest_run_m", &of_run["longest_run_m"]),
        ("longest_run_trend_s_per_week", &found[0]["longest_run_trend_s_per_week"]),
    ] {
        assert_eq!(told.as_f64(), athlete[column].parse().ok(), "{column}");
    }
}

#[test]
fn a_mixed_folder_is_assigned_and_then_judged() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("inbox");
    for (at, (_, name, bytes)) in sessions().into_iter().enumerate() {
        // The last day bears no names; the device tells.
        let name = if name.contains("-10") { format!("activity {at}.gpx") } else { name };
        put(&folder, &name, &bytes);
    }
    // Two people in one file, a track each.
    let both = recording(20, 0, 0.0, "") + &recording(20, 1, 400.0, "");
    put(&folder, "both.gpx", &gpx("logger 9", &both));
    let squad = scratch.path().join("squad.csv");
    fs::write(&squad, "athlete\nAda\nBo\nCleo\n").unwrap();
    let ran = boutwise(["assign", folder.to_str().unwrap(), "--squad", squad.to_str().unwrap()]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let owners = scratch.path().join("owners.csv");
    let text = fs::read_to_string(&owners).unwrap();
    let rows = crate::command::rows(text.as_bytes());
    for (person, name) in PEOPLE.iter().enumerate() {
        let own = rows.iter().filter(|row| row["athlete"] == *name && row["sure"] == "yes");
        assert_eq!(own.count(), 4, "{person} {text}");
    }
    assert!(!text.contains("logger") && text.contains("device as in sure recordings"), "{text}");
    // The coach says whose the two tracks are; rows that stand stay as they are.
    let kept: String =
        text.lines().filter(|row| !row.contains("both.gpx")).map(|row| format!("{row}\n")).collect();
    let said = format!("{kept}Ada,both.gpx,yes,seen\nBo,both.gpx,yes,seen\n");
    fs::write(&owners, &said).unwrap();
    put(&folder, "cleo 22.gpx", &gpx("new", &recording(22, 0, 0.0, "")));
    assert_eq!(boutwise(["assign", folder.to_str().unwrap(), "--squad", squad.to_str().unwrap()]).status, 0);
    let again = fs::read_to_string(&owners).unwrap();
    assert!(
        again.contains("Ada,both.gpx,yes,seen\nBo,both.gpx,yes,seen\n") && again.contains("cleo 22.gpx"),
        "{again}"
    );
    let out = scratch.path().join("out");
    let further = ["--squad", squad.to_str().unwrap(), "--owners", owners.to_str().unwrap()];
    let ran = audit(&folder, &out, &further);
    assert!(!ran.stdout.contains("overlap:"), "{}", ran.stdout);
    let sessions = table(&out, "sessions");
    let of = |name: &str| sessions.iter().filter(|row| row["athlete"] == name).count();
    assert_eq!((of("Ada"), of("Bo"), of("Cleo")), (5, 5, 5));
}

#[test]
fn names_are_found_however_they_are_written() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("inbox");
    let (zoe, jogi, tomas) = ("Zo\u{e9} Laurent", "J\u{fc}rgen Brandt", "Tom\u{e1}s Ibarra");
    let at = |day: u32, device: &str| gpx(device, &recording(day, 0, 0.0, ""));
    // Accents decomposed, left out, in an archive; family name first; the nickname; initials; the author inside.
    put(&folder, "Zoe\u{301} L 04.gpx", &at(4, "z"));
    put(&folder, "LAURENT_zoe_06.gpx", &at(6, "z"));
    put(
        &folder,
        "uploads.zip",
        &zip(&[("jogi-07.gpx", at(7, "j")), ("x/juergen brandt 08.gpx", at(8, "j"))]),
    );
    put(&folder, "tomas.ibarra.09.gpx", &at(9, "t"));
    put(&folder, "sent/TomasI 10.gpx", &at(10, "t"));
    let by_author = String::from_utf8(at(11, "t2"))
        .unwrap()
        .replace("<trk>", "<metadata><author><name>Ibarra, Tom\u{e1}s</name></author></metadata><trk>");
    put(&folder, "activity_11.gpx", by_author.as_bytes());
    // No name, but the device of named ones; neither; somebody else's.
    put(&folder, "activity_12.gpx", &at(12, "z"));
    put(&folder, "activity_13.gpx", &at(13, "unheard of"));
    put(&folder, "otto 14.gpx", &at(14, "o"));
    let squad = scratch.path().join("squad.csv");
    fs::write(&squad, format!("athlete,also\n{zoe},\n{jogi},Jogi|Juergen Brandt\n{tomas},\n")).unwrap();
    let ran = boutwise(["assign", folder.to_str().unwrap(), "--squad", squad.to_str().unwrap()]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let text = fs::read_to_string(scratch.path().join("owners.csv")).unwrap();
    let rows = crate::command::rows(text.as_bytes());
    let found = |file: &str| {
        let row =
            rows.iter().find(|row| row["file"].ends_with(file)).unwrap_or_else(|| panic!("{file} {text}"));
        (row["athlete"].as_str(), row["sure"].as_str())
    };
    for (file, name) in [
        ("L 04.gpx", zoe),
        ("LAURENT_zoe_06.gpx", zoe),
        ("uploads.zip/jogi-07.gpx", jogi),
        ("uploads.zip/x/juergen brandt 08.gpx", jogi),
        ("tomas.ibarra.09.gpx", tomas),
        ("sent/TomasI 10.gpx", tomas),
        ("activity_11.gpx", tomas),
        ("activity_12.gpx", zoe),
    ] {
        assert_eq!(found(file), (name, "yes"), "{file}\n{text}");
    }
    assert_eq!(found("activity_13.gpx").1, "no", "{text}");
    assert_eq!(found("otto 14.gpx"), ("", "no"), "{text}");
    // The table is followed as it stands, accents composed or not.
    let out = scratch.path().join("out");
    let owners = scratch.path().join("owners.csv");
    let further = ["--squad", squad.to_str().unwrap(), "--owners", owners.to_str().unwrap()];
    audit(&folder, &out, &further);
    let sessions = table(&out, "sessions");
    let of = |name: &str| sessions.iter().filter(|row| row["athlete"] == name).count();
    assert!(of(zoe) >= 3 && of(jogi) == 2 && of(tomas) >= 3, "{sessions:?}");
    assert_eq!(table(&out, "files").len(), 11, "each file, and each in the archive");
}

#[test]
fn a_plan_tells_whose_a_recording_without_any_name_is() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("inbox");
    // Ada's plan asks for what was run, Bo's for a long run.
    fs::write(scratch.path().join("short.toml"), PLAN).unwrap();
    fs::write(
        scratch.path().join("long.toml"),
        "[[block]]\nsessions = 6\nevery_days = 2\nsession = \"5:00 walk, 14:00 run\"\n",
    )
    .unwrap();
    let squad = scratch.path().join("squad.csv");
    fs::write(&squad, "athlete,plan\nAda,short.toml\nBo,long.toml\n").unwrap();
    put(&folder, "run.gpx", &gpx("unheard of", &recording(4, 0, 0.0, "")));
    let ran = boutwise(["assign", folder.to_str().unwrap(), "--squad", squad.to_str().unwrap()]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let text = fs::read_to_string(scratch.path().join("owners.csv")).unwrap();
    assert!(text.contains("Ada,run.gpx,") && text.contains("Ada: plan"), "{text}");
}

#[test]
fn whom_a_recording_fits_alike_is_named() {
    let scratch = tempfile::tempdir().unwrap();
    let (folder, squad) = (scratch.path().join("inbox"), scratch.path().join("squad.csv"));
    fs::write(&squad, "athlete\nAnna Berg\nAnna Lund\nBo Dahl\n").unwrap();
    for day in [4, 6] {
        put(&folder, &format!("anna_{day}.gpx"), &gpx("w", &recording(day, 0, 0.0, "")));
    }
    let ran = boutwise(["assign", folder.to_str().unwrap(), "--squad", squad.to_str().unwrap()]);
    let said =
        "0 sure, 0 not sure, 2 that fit several alike (Anna Berg, Anna Lund): write the name; 0 of nobody";
    assert!(ran.stdout.contains(said), "{}", ran.stdout);
    let text = fs::read_to_string(scratch.path().join("owners.csv")).unwrap();
    assert_eq!(text.matches("several fit alike: Anna Berg, Anna Lund").count(), 2, "{text}");
}

#[test]
fn a_recording_of_nobody_has_its_row_and_counts_for_nobody() {
    let scratch = tempfile::tempdir().unwrap();
    let (folder, out, owners) =
        (scratch.path().join("all"), scratch.path().join("out"), scratch.path().join("o.csv"));
    put(&folder, "Ada/a.gpx", &gpx("w", &recording(4, 0, 0.0, "")));
    put(&folder, "Ada/b.gpx", &gpx("w", &recording(6, 0, 0.0, "")));
    fs::write(&owners, "athlete,file\n,Ada/b.gpx\nAda,Ada/gone.gpx\n").unwrap();
    let ran = audit(&folder, &out, &["--owners", owners.to_str().unwrap()]);
    assert_eq!((table(&out, "files").len(), table(&out, "sessions").len()), (2, 1));
    let files = table(&out, "files");
    assert!(files[1]["notes"].contains("nobody"));
    // It was read all the same.
    let read = |row: &Row| (row["status"].clone(), row["sessions"].clone(), row["points_kept"].clone());
    assert_eq!(read(&files[1]), read(&files[0]));
    assert_eq!(files[1]["sessions"], "1");
    assert!(ran.stdout.contains("not among the recordings: Ada/gone.gpx"), "{}", ran.stdout);
    // What is not sure counts for whom the file names, if it names anybody.
    for (rows, said) in [
        (
            "Ada,Ada/a.gpx,no\n,Ada/b.gpx,yes\n,Ada/gone.gpx,no\n",
            [
                "1 file whose owner is not sure counts for whom the owners file names: look at it",
                "1 file holds recordings that are nobody's by the owners file and count for nobody",
            ],
        ),
        (
            "Ada,Ada/a.gpx,yes\n,Ada/b.gpx,no\n",
            [
                "",
                "1 file holds recordings that are nobody's by the owners file and count for nobody; not sure of 1 file: look there",
            ],
        ),
    ] {
        fs::write(&owners, format!("athlete,file,sure\n{rows}")).unwrap();
        let ran = audit(&folder, &out, &["--owners", owners.to_str().unwrap()]);
        let text = ran.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(said.iter().all(|said| text.contains(said)), "{text}");
        assert_eq!(text.contains("counts for whom"), !said[0].is_empty(), "{text}");
        assert_eq!(text.contains("look there"), said[0].is_empty(), "{text}");
    }
}

#[test]
fn a_name_in_the_journal_that_nobody_has_ends_the_run_with_the_nearest() {
    let scratch = tempfile::tempdir().unwrap();
    let (folder, out, journal) =
        (scratch.path().join("all"), scratch.path().join("out"), scratch.path().join("j.csv"));
    put(&folder, "Ada/a.gpx", &gpx("w", &recording(4, 0, 0.0, "")));
    fs::write(&journal, "athlete,date,warning_sign\nAdda,2024-03-04,chest\n").unwrap();
    let ran = audit(&folder, &out, &["--journal", journal.to_str().unwrap()]);
    assert_eq!(ran.status, 2);
    for part in ["j.csv, line 2", "nobody is called \"Adda\"", "^^^^", "\"Ada\""] {
        assert!(ran.stderr.contains(part), "{}", ran.stderr);
    }
    assert!(!out.exists());
}

#[test]
fn options_that_cannot_be_read_say_what_to_write() {
    let ran = boutwise(["audit", "x", "--as-of", "12/04/2026"]);
    assert_eq!(ran.status, 2);
    assert!(ran.stderr.contains("write 2026-04-12 or 2026-12-04"), "{}", ran.stderr);
    let scratch = tempfile::tempdir().unwrap();
    fs::write(scratch.path().join("spring.toml"), PLAN).unwrap();
    let ran = boutwise(["plan".as_ref(), scratch.path().join("sprin.toml").as_os_str()]);
    assert_eq!(ran.status, 2);
    assert!(ran.stderr.contains("Beside it are spring.toml"), "{}", ran.stderr);
    let utf16: Vec<u8> =
        std::iter::once(0xFEFF).chain(PLAN.encode_utf16()).flat_map(u16::to_le_bytes).collect();
    fs::write(scratch.path().join("wide.toml"), utf16).unwrap();
    assert_eq!(boutwise(["plan".as_ref(), scratch.path().join("wide.toml").as_os_str()]).status, 0);
}

/// The sessions of all, each person's in a folder of their own.
fn in_folders(scratch: &Path) -> PathBuf {
    let folder = scratch.join("squad");
    for (person, name, bytes) in sessions() {
        put(&folder, &format!("{}/{name}", PEOPLE[person]), &bytes);
    }
    folder
}

#[test]
fn without_a_squad_file_the_evidence_is_the_folder_and_no_table_is_written_among_recordings() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = in_folders(scratch.path());
    let out = scratch.path().join("tables");
    let arguments = |out: &Path| ["assign".into(), folder.clone(), "--out".into(), out.to_owned()];
    assert_eq!(boutwise(arguments(&out)).status, 0);
    let rows = fs::read_to_string(out.join("owners.csv")).unwrap();
    assert!(rows.contains("the folder that it lies in") && !rows.contains("squad file"), "{rows}");
    for inside in [folder.clone(), folder.join("new/tables")] {
        let ran = boutwise(arguments(&inside));
        assert!(ran.status == 2 && ran.stderr.contains("inside the folder of recordings"), "{}", ran.stderr);
        assert!(!inside.join("owners.csv").exists() && !folder.join("new").exists());
    }
}

#[test]
fn of_folders_that_several_people_claim_alike_it_is_said_whose_the_recordings_are() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = in_folders(scratch.path());
    let squad = scratch.path().join("squad.csv");
    fs::write(&squad, "athlete,folder\nAda,B*\nBo,?O\nCleo,\n").unwrap();
    let ran = audit(&folder, &scratch.path().join("out"), &["--squad", squad.to_str().unwrap()]);
    let said = ran.stdout.replace("\n  ", " ");
    let contested = "Ada and Bo: their folders in the squad file name 4 files equally well, counted for Ada, whose row comes \
                     first: name them more exactly";
    assert!(said.contains(contested), "{said}");
    assert!(said.contains("Bo: in the squad file, but no recording was found in \"?O\""), "{said}");
}

#[test]
fn a_loose_file_of_which_nothing_was_read_makes_nobody_a_person() {
    let scratch = tempfile::tempdir().unwrap();
    let (folder, out) = (in_folders(scratch.path()), scratch.path().join("out"));
    let squad = scratch.path().join("squad.csv");
    fs::write(&squad, "athlete\nAda\nBo\nCleo\n").unwrap();
    put(&folder, "download.gpx", b"");
    for further in [&[][..], &["--squad", squad.to_str().unwrap()]] {
        let ran = audit(&folder, &out, further);
        assert_eq!(ran.status, 1, "{}", ran.stderr);
        let names: Vec<String> = table(&out, "athletes").iter().map(|row| row["athlete"].clone()).collect();
        assert_eq!(names, PEOPLE);
        // It is told all the same.
        let file = table(&out, "files").into_iter().find(|row| row["file"] == "download.gpx").unwrap();
        assert_eq!(file["status"], "failed");
        assert!(ran.stdout.contains("download.gpx"), "{}", ran.stdout);
    }
    // In a folder of its own it is somebody's of whom nothing could be read.
    put(&folder, "Dora/download.gpx", b"");
    audit(&folder, &out, &[]);
    assert_eq!(table(&out, "athletes").len(), 4);
}

#[test]
fn a_copy_that_is_nobodys_is_called_a_copy_of_which_file() {
    let scratch = tempfile::tempdir().unwrap();
    let (folder, squad) = (scratch.path().join("all"), scratch.path().join("squad.csv"));
    fs::write(&squad, "athlete\nAda\nBo\nCleo\n").unwrap();
    for (_, name, bytes) in sessions() {
        put(&folder, &name, &bytes);
    }
    let copied = fs::read(folder.join("Ada-4.gpx")).unwrap();
    put(&folder, "export 17.gpx", &copied);
    let out = scratch.path().join("tables");
    let squad = ["--squad".as_ref(), squad.as_os_str(), "--out".as_ref(), out.as_os_str()];
    let ran = boutwise(["assign".as_ref(), folder.as_os_str()].into_iter().chain(squad));
    assert!(ran.status < 2, "{}", ran.stderr);
    let rows = fs::read_to_string(out.join("owners.csv")).unwrap();
    let row = rows.lines().find(|row| row.contains("export 17.gpx")).unwrap();
    assert_eq!(row, ",export 17.gpx,no,\"a copy of Ada-4.gpx, byte for byte\"");
}
