//! No output quotes a recording: values are planted in every field, whole files and damaged ones, and every byte of every
//! output is searched for them. What people wrote about a season is quoted by the cell, and 40 characters of it.

use std::fs;
use std::path::Path;

use crate::command::{Ran, audit, boutwise, parquet_text};

/// What every planted text holds.
const TEXT: &str = "Zq7xk";
/// Digits of planted numbers: of positions, a device, values out of their range; and positions to about a hundred metres.
const DIGITS: [&str; 8] =
    ["7391846", "8264913", "3918274", "918273645", "52.739", "4.826", "52,739", "4,826"];

fn planted_gpx() -> String {
    let point = |second: u32, inner: &str| {
        format!(
            "<trkpt lat=\"52.7391846{second:02}\" lon=\"4.8264913{second:02}\"><ele>11.39182745</ele>\
             <time>2024-03-04T18:00:{second:02}Z</time>{inner}<name>{TEXT}point</name><cmt>{TEXT}</cmt><desc>{TEXT}</desc>\
             <src>{TEXT}</src><link href=\"{TEXT}\"><text>{TEXT}</text></link><sym>{TEXT}</sym><type>{TEXT}</type>\
             <extensions><x:hr>1{second:02}</x:hr><x:{TEXT}>918273645</x:{TEXT}></extensions></trkpt>"
        )
    };
    let mut points: String = (0..50).map(|second| point(second, "")).collect();
    // Values that cannot be: each is noted, and none is quoted.
    for odd in [
        format!("<trkpt lat=\"{TEXT}\" lon=\"4.8264913\"><time>2024-03-04T18:01:00Z</time></trkpt>"),
        "<trkpt lat=\"918273645\" lon=\"4.8264913\"><time>2024-03-04T18:01:01Z</time></trkpt>".to_owned(),
        "<trkpt lat=\"52,7391846\" lon=\"4,8264913\"><time>2024-03-04T18:01:02Z</time></trkpt>".to_owned(),
        format!("<trkpt lat=\"52.7391846\" lon=\"4.8264913\"><time>{TEXT}time</time></trkpt>"),
        "<trkpt lat=\"52.7391846\" lon=\"4.8264913\"><time>9182-73-64T5</time></trkpt>".to_owned(),
        "<trkpt lat=\"52.7391846\" lon=\"4.8264913\"><ele>918273645</ele><time>2024-03-04T18:01:05Z</time></trkpt>".to_owned(),
        format!("<trkpt lat=\"52.7391846\" lon=\"4.8264913\"><ele>{TEXT}</ele><time>2024-03-04T18:01:06Z</time><extensions><x:hr>{TEXT}</x:hr><x:cad>918273645</x:cad></extensions></trkpt>"),
    ] {
        points += &odd;
    }
    format!(
        "<?xml version=\"1.0\"?><?{TEXT} {TEXT}?><!-- {TEXT} --><gpx version=\"1.1\" creator=\"{TEXT}creator 918273645\" \
         xmlns=\"http://www.topografix.com/GPX/1/1\" xmlns:x=\"{TEXT}\"><metadata><name>{TEXT}name</name><desc>{TEXT}</desc>\
         <author><name>{TEXT}author</name><email id=\"{TEXT}\" domain=\"{TEXT}.example\"/></author><copyright author=\"{TEXT}\"/>\
         <keywords>{TEXT}</keywords></metadata><wpt lat=\"52.7391846\" lon=\"4.8264913\"><name>{TEXT}home</name></wpt>\
         <trk><name>{TEXT}title</name><cmt><![CDATA[{TEXT}]]></cmt><src>{TEXT}device</src><number>918273645</number>\
         <type>{TEXT}</type><trkseg>{points}</trkseg></trk></gpx>"
    )
}

fn planted_tcx() -> String {
    let point = |second: u32| {
        format!(
            "<Trackpoint><Time>2024-03-05T18:00:{second:02}Z</Time><Position><LatitudeDegrees>52.7391846{second:02}</LatitudeDegrees>\
             <LongitudeDegrees>4.8264913{second:02}</LongitudeDegrees></Position><AltitudeMeters>11.39182745</AltitudeMeters>\
             <HeartRateBpm><Value>1{second:02}</Value></HeartRateBpm><SensorState>{TEXT}</SensorState>\
             <Extensions><TPX><RunCadence>918273645</RunCadence><{TEXT}>{TEXT}</{TEXT}></TPX></Extensions></Trackpoint>"
        )
    };
    let points: String = (0..50).map(point).collect();
    format!(
        "<TrainingCenterDatabase><Folders><{TEXT}/></Folders><Activities><Activity Sport=\"{TEXT}\"><Id>{TEXT}id</Id>\
         <Lap StartTime=\"{TEXT}\"><TotalTimeSeconds>{TEXT}</TotalTimeSeconds><DistanceMeters>918273645</DistanceMeters>\
         <Notes>{TEXT}lap</Notes><Track>{points}<Trackpoint><Time>{TEXT}</Time><HeartRateBpm><Value>{TEXT}</Value></HeartRateBpm>\
         </Trackpoint></Track></Lap><Notes>{TEXT}notes</Notes><Training><Plan><Name>{TEXT}plan</Name></Plan></Training>\
         <Creator><Name>{TEXT}watch</Name><UnitId>918273645</UnitId><ProductID>3918274</ProductID></Creator></Activity></Activities>\
         <Author><Name>{TEXT}app</Name><PartNumber>{TEXT}</PartNumber></Author></TrainingCenterDatabase>"
    )
}

fn planted_files(folder: &Path) {
    fs::create_dir_all(folder.join("Ada")).unwrap();
    let write = |name: &str, bytes: &[u8]| fs::write(folder.join("Ada").join(name), bytes).unwrap();
    let (gpx, tcx) = (planted_gpx(), planted_tcx());
    write("whole.gpx", gpx.as_bytes());
    write("whole.tcx", tcx.as_bytes());
    for (kind, text) in [("gpx", &gpx), ("tcx", &tcx)] {
        for part in 1..12 {
            write(&format!("cut{part}.{kind}"), &text.as_bytes()[..text.len() * part / 12]);
        }
        let unclosed = text.replace("</time>", "").replace("</Time>", "");
        write(&format!("unclosed.{kind}"), unclosed.as_bytes());
        write(&format!("commas.{kind}"), text.replace('.', ",").as_bytes());
        write(&format!("nested.{kind}"), text.replace("</trkpt>", "").as_bytes());
        write(
            &format!("latin.{kind}"),
            &text.bytes().map(|c| if c == b'k' { 0xe9 } else { c }).collect::<Vec<u8>>(),
        );
        let entities = text.replacen("<gpx", &format!("<!DOCTYPE gpx [<!ENTITY a \"{TEXT}\">]><gpx"), 1);
        write(&format!("entity.{kind}"), entities.replace("<name>", "<name>&a;&Zq7xk;").as_bytes());
    }
    write("table.csv", format!("lat,lon,name\n52.7391846,4.8264913,{TEXT}\n").as_bytes());
    write("other.json", format!("{{\"lat\": 52.7391846, \"who\": \"{TEXT}\"}}").as_bytes());
    write("page.html", format!("<html><title>{TEXT}</title></html>").as_bytes());
    write("words.gpx", format!("{TEXT} 52.7391846").as_bytes());
    write("root.gpx", format!("<{TEXT} lat=\"52.7391846\"/>").as_bytes());
    write(
        "route.gpx",
        format!("<gpx><rte><name>{TEXT}</name><rtept lat=\"52.7391846\" lon=\"4.8264913\"/></rte></gpx>")
            .as_bytes(),
    );
    write(
        "broken.gz",
        &[&[0x1f, 0x8b, 8, 8, 0, 0, 0, 0, 0, 3], TEXT.as_bytes(), &[0], TEXT.as_bytes()].concat(),
    );
}

fn refuse_planted(what: &str, text: &str) {
    for planted in DIGITS.iter().copied().chain([TEXT]) {
        let at = text.find(planted);
        let around = at.map(|at| text[..at + planted.len()].chars().rev().take(120).collect::<Vec<_>>());
        let around = around.map(|around| around.into_iter().rev().collect::<String>());
        assert_eq!(around, None, "{planted} in {what}");
    }
}

#[test]
fn no_output_quotes_a_recording() {
    let scratch = tempfile::tempdir().unwrap();
    let (folder, out) = (scratch.path().join("squad"), scratch.path().join("out"));
    planted_files(&folder);
    let runs: Vec<(&str, Ran)> = vec![
        ("audit", audit(&folder, &out, &["--format", "csv,parquet"])),
        ("audit --json", audit(&folder, &scratch.path().join("out2"), &["--json", "--pages", "athlete"])),
        ("longest", boutwise(["longest".as_ref(), folder.as_os_str()])),
        ("assign", boutwise(["assign".as_ref(), folder.as_os_str()])),
        (
            "bouts",
            boutwise([
                "bouts".as_ref(),
                folder.join("Ada/whole.gpx").as_os_str(),
                folder.join("Ada/cut5.tcx").as_os_str(),
            ]),
        ),
        (
            "bouts --csv",
            boutwise(["bouts".as_ref(), "--csv".as_ref(), folder.join("Ada/whole.tcx").as_os_str()]),
        ),
        (
            "bouts --json",
            boutwise(["bouts".as_ref(), "--json".as_ref(), folder.join("Ada/commas.gpx").as_os_str()]),
        ),
    ];
    for (what, ran) in &runs {
        refuse_planted(what, &ran.stdout);
        refuse_planted(what, &ran.stderr);
    }
    assert!(runs[0].1.stdout.contains("session"), "{}", runs[0].1.stdout);
    let mut files = 0;
    let mut folders = vec![out, scratch.path().join("out2")];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
            if entry.is_dir() {
                folders.push(entry);
                continue;
            }
            files += 1;
            let text = match entry.extension().is_some_and(|ending| ending == "parquet") {
                true => parquet_text(&entry),
                false => fs::read_to_string(&entry).unwrap(),
            };
            refuse_planted(&entry.display().to_string(), &text);
        }
    }
    refuse_planted("owners.csv", &fs::read_to_string(scratch.path().join("owners.csv")).unwrap());
    assert!(files > 30, "{files}");
    let notes = crate::command::table(&scratch.path().join("out"), "notes");
    let whole: Vec<&str> = notes
        .iter()
        .filter(|row| row["file"] == "Ada/whole.gpx")
        .map(|row| row["quantity"].as_str())
        .filter(|quantity| !quantity.is_empty())
        .collect();
    for quantity in ["latitude", "elevation", "heart rate", "time"] {
        assert!(whole.iter().any(|said| said.contains(quantity)), "{quantity}: {whole:?}");
    }
}

#[test]
fn an_error_quotes_the_cell_and_forty_characters_of_it() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("squad");
    fs::create_dir_all(folder.join("Ada")).unwrap();
    let long = "w".repeat(300);
    for (option, name, text, says) in [
        (
            "--journal",
            "journal.csv",
            format!("athlete,date,pain_0_10,note\nAda,2024-03-04,{long},{TEXT}\n"),
            "line 2",
        ),
        (
            "--journal",
            "journal.csv",
            format!("athlete,date,note\n{},2024-03-04,{TEXT}\n", &long[..200]),
            "nobody is called",
        ),
        (
            "--journal",
            "journal.csv",
            format!("athlete,date,note\n{long},2024-03-04,{TEXT}\n"),
            "a name of 300 letters",
        ),
        ("--squad", "squad.csv", format!("athlete,time_zone,also\nAda,{long},{TEXT}\n"), "line 2"),
        ("--squad", "squad.csv", format!("athlete,away,also\nAda,{long},{TEXT}\n"), "between two days"),
        ("--squad", "squad.csv", format!("athlete,goal_m,also\nAda,{long},{TEXT}\n"), "goal_m"),
        ("--corrections", "corrections.csv", format!("file,use,note\n{long},perhaps,{TEXT}\n"), "use"),
        ("--owners", "owners.csv", format!("file,athlete,sure,why\nx,Ada,{long},{TEXT}\n"), "sure"),
        (
            "--plan",
            "plan.toml",
            format!("title = \"{TEXT}\"\n[[block]]\nsession = \"5:00 walk, {long}\"\n"),
            "line 3",
        ),
        (
            "--plan",
            "plan.toml",
            format!("title = \"{TEXT}\"\n[[block]]\n{long} = 4\nsession = \"5:00 walk\"\n"),
            "line 3",
        ),
        ("--settings", "settings.toml", format!("# {TEXT}\n[rules]\n{long} = 4\n"), "line 3"),
    ] {
        let path = scratch.path().join(name);
        fs::write(&path, text).unwrap();
        let ran = audit(&folder, &scratch.path().join("out"), &[option, path.to_str().unwrap()]);
        assert!(ran.status == 2 && ran.stderr.contains(says), "{option}: {}", ran.stderr);
        refuse_planted(option, &ran.stderr);
        assert!(!ran.stderr.contains(&"w".repeat(41)), "{option}: {}", ran.stderr);
    }
}

#[cfg(unix)]
#[test]
fn what_a_squad_file_names_elsewhere_is_not_quoted_and_opened_only_if_it_is_a_file() {
    let scratch = tempfile::tempdir().unwrap();
    let (folder, own) = (scratch.path().join("squad"), scratch.path().join("own"));
    fs::create_dir_all(folder.join("Ada")).unwrap();
    fs::create_dir_all(own.join("plans")).unwrap();
    fs::write(scratch.path().join("elsewhere.toml"), format!("{TEXT} = 1\n")).unwrap();
    fs::write(own.join("plans/mine.toml"), "[[block]]\nsession = \"5:00 wlak\"\n").unwrap();
    std::os::unix::fs::symlink(scratch.path().join("elsewhere.toml"), own.join("linked.toml")).unwrap();
    let squad = own.join("squad.csv");
    let run = |plan: &str| {
        fs::write(&squad, format!("athlete,plan\nAda,{plan}\n")).unwrap();
        let ran = audit(&folder, &scratch.path().join("out"), &["--squad", squad.to_str().unwrap()]);
        assert_eq!(ran.status, 2, "{plan}: {}", ran.stderr);
        refuse_planted(plan, &ran.stderr);
        ran.stderr
    };
    let absolute = scratch.path().join("elsewhere.toml");
    for plan in ["../elsewhere.toml", "linked.toml", absolute.to_str().unwrap()] {
        assert!(run(plan).contains("not shown"), "{plan}");
    }
    assert!(!run("../absent.toml").contains("elsewhere"));
    assert!(run("plans/mine.toml").contains("wlak"), "what lies below is quoted");
    for device in ["/dev/zero", "/dev/stdin", "plans"] {
        assert!(run(device).contains("regular file"), "{device}");
    }
    assert!(std::process::Command::new("mkfifo").arg(own.join("pipe")).status().unwrap().success());
    assert!(run("pipe").contains("regular file"));
}
