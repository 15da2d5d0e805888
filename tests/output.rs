//! What the command writes and prints: tables that belong together, JSON beside text, quiet when asked.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use crate::command::{audit, boutwise, number, table, testdata};

/// An audited demo: the folder that keeps it alive, and the output.
fn audited_demo() -> (tempfile::TempDir, PathBuf) {
    let scratch = tempfile::tempdir().unwrap();
    let demo = scratch.path().join("demo");
    assert_eq!(boutwise(["demo".as_ref(), demo.as_os_str()]).status, 0);
    let out = scratch.path().join("out");
    let (squad, journal) = (demo.join("squad.csv"), demo.join("journal.csv"));
    audit(
        &demo.join("recordings"),
        &out,
        &["--squad", squad.to_str().unwrap(), "--journal", journal.to_str().unwrap()],
    );
    (scratch, out)
}

#[test]
fn the_tables_add_up() {
    let (_scratch, out) = audited_demo();
    let (sessions, bouts, intervals) =
        (table(&out, "sessions"), table(&out, "bouts"), table(&out, "intervals"));
    for session in &sessions {
        let own = |row: &&crate::command::Row| {
            row["file"] == session["file"] && row["session"] == session["session"]
        };
        let of_session: Vec<_> = bouts.iter().filter(own).collect();
        let total_s: f64 = of_session.iter().map(|bout| number(bout, "duration_s")).sum();
        assert!((total_s - number(session, "duration_s")).abs() < 0.06 * of_session.len() as f64);
        for (kind, column) in [("run", "run_s"), ("walk", "walk_s"), ("stand", "stand_s"), ("gap", "gap_s")] {
            let of_kind = of_session.iter().filter(|bout| bout["kind"] == kind);
            let sum_s: f64 = of_kind.map(|bout| number(bout, "duration_s")).sum();
            assert!(
                (sum_s - number(session, column)).abs() < 0.06 * of_session.len().max(1) as f64,
                "{column}"
            );
        }
        for pair in of_session.windows(2) {
            assert_eq!(pair[0]["end_s"], pair[1]["start_s"], "bouts touch each other");
            assert_ne!(pair[0]["kind"], pair[1]["kind"], "bouts are maximal");
        }
        if !session["reps_planned"].is_empty() {
            let sum: f64 = ["reps_done", "reps_short", "reps_missed", "reps_not_recorded"]
                .iter()
                .map(|c| number(session, c))
                .sum();
            assert_eq!(sum, number(session, "reps_planned"));
            let reps =
                intervals.iter().filter(own).filter(|row| row["kind"] == "run" && row["status"] != "extra");
            assert_eq!(reps.count() as f64, number(session, "reps_planned"));
        }
        if session["resolvable"] == "false" {
            let empty =
                ["adherence_pct", "dose_pct", "reps_planned", "reps_done", "longest_run_s", "pace_drift_pct"];
            assert!(empty.iter().all(|column| session[*column].is_empty()));
            assert_eq!(intervals.iter().filter(own).count(), 0);
            assert!(!session["notes"].is_empty());
        }
    }
}

#[test]
fn no_coordinates_are_written() {
    let (_scratch, out) = audited_demo();
    for entry in fs::read_dir(&out).unwrap() {
        let text = fs::read_to_string(entry.unwrap().path()).unwrap();
        // The demo's recordings lie at 55.06 degrees north.
        assert!(!text.contains("55.06"));
    }
}

#[test]
fn the_default_output_lies_beside_the_folder() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("harbour");
    fs::create_dir(&folder).unwrap();
    fs::copy(testdata("inputs/A1-one-track.gpx"), folder.join("run.gpx")).unwrap();
    let ran = boutwise(["audit".as_ref(), folder.as_os_str()]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let names: BTreeSet<_> = (fs::read_dir(scratch.path().join("harbour-audit")).unwrap())
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    let expected = [
        "athletes.csv",
        "bouts.csv",
        "codebook.json",
        "events.csv",
        "files.csv",
        "group.html",
        "intervals.csv",
        "manifest.json",
        "notes.csv",
        "planned.csv",
        "report.html",
        "sessions.csv",
        "weeks.csv",
    ];
    assert_eq!(names, expected.map(str::to_owned).into());
    assert_eq!(table(&scratch.path().join("harbour-audit"), "athletes")[0]["athlete"], "harbour");
}

fn parsed(text: &str) -> serde_json::Value {
    serde_json::from_str(text).unwrap_or_else(|error| panic!("{error} in\n{text}"))
}

#[test]
fn every_command_speaks_json() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("harbour");
    fs::create_dir(&folder).unwrap();
    let recording = folder.join("run.gpx");
    fs::copy(testdata("inputs/A1-one-track.gpx"), &recording).unwrap();
    let run = |arguments: &[&Path]| {
        let ran = boutwise(arguments.iter().map(|a| a.as_os_str()).chain(["--json".as_ref()]));
        assert_eq!(ran.status, 0, "{}", ran.stderr);
        parsed(&ran.stdout)
    };
    let audited = run(&["audit".as_ref(), &folder]);
    assert_eq!((&audited["sessions"], &audited["files"]["read"]), (&1.into(), &1.into()));
    let manifest = fs::read(Path::new(audited["out"].as_str().unwrap()).join("manifest.json")).unwrap();
    let digest = twox_hash::XxHash3_128::oneshot(&manifest);
    assert_eq!(audited["manifest_digest"], format!("{digest:032x}"));
    assert_eq!(audited["made_from"], parsed(std::str::from_utf8(&manifest).unwrap())["made_from"]);
    assert!(run(&["bouts".as_ref(), &recording]).as_array().is_some());
    assert_eq!(run(&["longest".as_ref(), &folder])[0]["athlete"], "harbour");
    assert!(run(&["plan".as_ref(), &testdata("plans/ladder.toml")])["days"].as_array().is_some());
    assert!(run(&["columns".as_ref()])[0]["column"].is_string());
    assert!(run(&["demo".as_ref(), &scratch.path().join("demo")])["audit"].is_string());
}

/// A folder of two athletes' recordings, one of them copied under a second device's name.
fn two_athletes(scratch: &Path) -> PathBuf {
    let folder = scratch.join("harbour");
    for name in ["mira/run.gpx", "ben/run.gpx"] {
        fs::create_dir_all(folder.join(name).parent().unwrap()).unwrap();
        fs::copy(testdata("inputs/A1-one-track.gpx"), folder.join(name)).unwrap();
    }
    folder
}

#[test]
fn a_result_says_how_it_was_made_and_whether_it_still_is_that() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = two_athletes(scratch.path());
    let (out, settings) = (scratch.path().join("out"), scratch.path().join("coach.toml"));
    fs::write(&settings, "[rules]\noverdone_good_pct = 500\n[segmentation]\nstand_min_s = 9\n").unwrap();
    assert_eq!(audit(&folder, &out, &["--settings", settings.to_str().unwrap()]).status, 0);
    let text = fs::read_to_string(out.join("manifest.json")).unwrap();
    let manifest = parsed(&text);
    assert_eq!(manifest["settings"]["rules"]["overdone_good_pct"], 500.0);
    assert_eq!(manifest["settings"]["segmentation"]["stand_min_s"], 9);
    assert_eq!(manifest["inputs"].as_array().unwrap().len(), 2);
    assert!(!text.contains(scratch.path().to_str().unwrap()), "{text}");

    let verify = |arguments: &[&Path]| {
        boutwise(std::iter::once(Path::new("verify")).chain(arguments.iter().copied()).map(Path::as_os_str))
    };
    let ran = verify(&[&out, &folder]);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);

    // The same recordings under other settings give another manifest, elsewhere the same one.
    let again = scratch.path().join("elsewhere");
    audit(&folder, &again, &["--settings", settings.to_str().unwrap()]);
    assert_eq!(fs::read_to_string(again.join("manifest.json")).unwrap(), text);
    audit(&folder, &again, &[]);
    assert_ne!(fs::read_to_string(again.join("manifest.json")).unwrap(), text);

    fs::write(out.join("weeks.csv"), "athlete\n").unwrap();
    fs::write(out.join("thesis.txt"), "mine").unwrap();
    fs::remove_file(out.join("bouts.csv")).unwrap();
    fs::remove_file(folder.join("mira/run.gpx")).unwrap();
    let ran = verify(&[&out, &folder]);
    assert_eq!(ran.status, 1);
    for line in [
        "result: weeks.csv has other bytes",
        "result: thesis.txt is not in the manifest",
        "result: bouts.csv is not there",
        "recordings: mira/run.gpx is not there",
    ] {
        assert!(ran.stdout.contains(line), "{line} is not in\n{}", ran.stdout);
    }
    assert_eq!(ran.stdout.lines().count(), 4, "{}", ran.stdout);
    assert_eq!(verify(&[&folder]).status, 2);
}

#[test]
fn the_files_about_a_season_are_held_against_the_manifest_too() {
    let scratch = tempfile::tempdir().unwrap();
    let (folder, out) = (two_athletes(scratch.path()), scratch.path().join("out"));
    let written = |name: &str, text: &str| {
        let path = scratch.path().join(name);
        fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_owned()
    };
    // Two plans of one name: each is held against its own.
    for folder in ["spring", "autumn"] {
        fs::create_dir(scratch.path().join(folder)).unwrap();
        written(&format!("{folder}/plan.toml"), "[[block]]\nsession = \"9:00 run\"\n");
    }
    let squad = "athlete,plan\nmira,spring/plan.toml\ntove,autumn/plan.toml\n";
    let squad = written("squad.csv", squad);
    let corrections = written("corrections.csv", "file,use\nmira/run.gpx,no\n");
    let owners = written("owners.csv", "athlete,file\nMira,mira/run.gpx\n");
    let given =
        ["--corrections", corrections.as_str(), "--owners", owners.as_str(), "--squad", squad.as_str()];
    audit(&folder, &out, &given);
    let verify = || {
        let out = out.to_str().unwrap();
        boutwise(["verify", out].into_iter().chain(given))
    };
    let ran = verify();
    assert_eq!((ran.status, ran.stdout.as_str()), (0, "Nothing differs.\n"), "{}", ran.stderr);
    written("corrections.csv", "file,use\nmira/run.gpx,yes\n");
    written("owners.csv", "athlete,file\nTove,mira/run.gpx\n");
    written("spring/plan.toml", "[[block]]\nsession = \"8:00 run\"\n");
    let ran = verify();
    assert_eq!(
        (ran.status, ran.stdout.as_str()),
        (
            1,
            "season files: file of corrections corrections.csv has other bytes\n\
             season files: owners file owners.csv has other bytes\n\
             season files: plan plan.toml has other bytes\n"
        ),
        "{}",
        ran.stderr
    );
}

#[test]
fn tables_alone_are_written_where_no_report_is_wanted() {
    let scratch = tempfile::tempdir().unwrap();
    let (folder, out) = (two_athletes(scratch.path()), scratch.path().join("out"));
    assert_eq!(audit(&folder, &out, &["--no-report"]).status, 0);
    assert!(!out.join("report.html").exists());
    assert_eq!(table(&out, "sessions").len(), 2);
    // A result without a report is an earlier result all the same.
    assert_eq!(audit(&folder, &out, &[]).status, 0);
    assert!(out.join("report.html").exists());
}

#[test]
fn what_makes_an_audit_fail_can_be_chosen() {
    let scratch = tempfile::tempdir().unwrap();
    let (folder, out) = (two_athletes(scratch.path()), scratch.path().join("out"));
    let whole = fs::read(folder.join("mira/run.gpx")).unwrap();
    let status = |fail_on: &str| audit(&folder, &out, &["--fail-on", fail_on]).status;
    fs::write(folder.join("mira/run.gpx"), &whole[..whole.len() / 2]).unwrap();
    assert_eq!([status("never"), status("failed"), status("partial")], [0, 0, 1]);
    fs::write(folder.join("mira/run.gpx"), "").unwrap();
    assert_eq!([status("never"), status("failed"), status("partial")], [0, 1, 1]);
}

#[test]
fn sums_over_the_rows_that_count_are_those_of_the_weeks() {
    let (_scratch, out) = audited_demo();
    let sum = |name: &str, column: &str, counts: fn(&crate::command::Row) -> bool| -> f64 {
        let rows = table(&out, name);
        rows.iter().filter(|row| counts(row) && !row[column].is_empty()).map(|row| number(row, column)).sum()
    };
    let counted = |row: &crate::command::Row| row["counted"] == "true" && row["resolvable"] == "true";
    let sessions = table(&out, "sessions");
    let rows = sessions.iter().filter(|row| row["counted"] == "true").count();
    assert_eq!(rows as f64, sum("weeks", "sessions", |_| true));
    for column in ["run_s", "walk_s", "run_m", "walk_m"] {
        let (of_sessions, of_weeks) = (sum("sessions", column, counted), sum("weeks", column, |_| true));
        assert!(
            (of_sessions - of_weeks).abs() < 0.1 * sessions.len() as f64,
            "{column}: {of_sessions} {of_weeks}"
        );
    }
    // What was missed has its row too.
    let planned = table(&out, "planned");
    let due = |row: &&crate::command::Row| row["due"] == "true";
    let athletes = table(&out, "athletes");
    let sum_of = |column: &str| {
        athletes.iter().filter(|row| !row[column].is_empty()).map(|row| number(row, column)).sum::<f64>()
    };
    assert_eq!(planned.iter().filter(due).count() as f64, sum_of("sessions_due"));
    let missed = planned.iter().filter(|row| row["outcome"] == "missed").count();
    assert_eq!(missed as f64, sum_of("sessions_missed"));
    assert!(missed > 0 && planned.iter().all(|row| row["outcome"] != "missed" || row["file"].is_empty()));
}

#[test]
fn of_two_recordings_of_the_same_time_one_counts() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("squad");
    fs::create_dir_all(folder.join("mira")).unwrap();
    let minute = |east_deg: f64, seconds: usize, extensions: &str| {
        let point = |second: usize| {
            let (lat, time) =
                (52.0 + second as f64 * 2.4e-5, format!("{:02}:{:02}", second / 60, second % 60));
            let time = format!("<time>2024-03-04T18:{time}Z</time>");
            format!("<trkpt lat=\"{lat:.6}\" lon=\"{east_deg}\">{time}{extensions}</trkpt>\n")
        };
        let points: String = (0..seconds).map(point).collect();
        format!("<gpx version=\"1.1\"><trk><trkseg>\n{points}</trkseg></trk></gpx>\n")
    };
    let out = scratch.path().join("out");
    // Whether the phone and the watch count.
    let counted = |phone: String, watch: String| {
        fs::write(folder.join("mira/phone.gpx"), phone).unwrap();
        fs::write(folder.join("mira/watch.gpx"), watch).unwrap();
        audit(&folder, &out, &[]);
        let sessions = table(&out, "sessions");
        let other = |row: &crate::command::Row| row["overlaps_file"].clone();
        assert_eq!(sessions.iter().map(other).collect::<Vec<_>>(), ["mira/watch.gpx", "mira/phone.gpx"]);
        [0, 1].map(|at| sessions[at]["counted"] == "true")
    };
    assert_eq!(counted(minute(4.00005, 280, ""), minute(4.0, 300, "")), [false, true], "the longer one");
    let steps = "<extensions><cadence>80</cadence></extensions>";
    let with_steps = |seconds: usize| minute(4.0, seconds, steps);
    assert_eq!(counted(minute(4.00005, 300, ""), with_steps(280)), [false, true], "it knows more");
    assert_eq!(counted(minute(4.00005, 300, ""), with_steps(200)), [true, false], "a third is missing");
    assert_eq!(table(&out, "weeks")[0]["sessions"], "1");
    let notes = table(&out, "notes");
    assert!(notes.iter().any(|row| row["kind"] == "overlap" && row["session"] == "1"), "{notes:?}");
}

#[test]
fn completions_and_manual_are_made_from_the_arguments() {
    let bash = boutwise(["completions", "bash"]);
    assert!(bash.status == 0 && bash.stdout.contains("--fail-on"));
    let manual = boutwise(["manual"]);
    assert!(
        manual.status == 0 && manual.stdout.contains(".TH boutwise") && manual.stdout.contains("no\\-report")
    );
    assert!(boutwise(["--version"]).stdout.starts_with("boutwise "));
}

#[test]
fn columns_are_listed_for_machines() {
    let list = parsed(&boutwise(["columns", "--format", "json"]).stdout);
    let status = list.as_array().unwrap().iter().find(|entry| entry["column"] == "status").unwrap();
    assert_eq!(status["allowed"][0], "read");
    let package = parsed(&boutwise(["columns", "--format", "frictionless"]).stdout);
    assert!(package["resources"].as_array().unwrap().iter().any(|table| table["path"] == "planned.csv"));
    let scratch = tempfile::tempdir().unwrap();
    let out = scratch.path().join("out");
    audit(&two_athletes(scratch.path()), &out, &[]);
    assert_eq!(parsed(&fs::read_to_string(out.join("codebook.json")).unwrap()), list);
}

/// A pause of the plan asks for nothing, is said, and counts in no total; without a start it is said what day was assumed.
#[test]
fn a_plan_is_printed_with_its_pauses_and_with_what_its_days_assume() {
    let scratch = tempfile::tempdir().unwrap();
    let plan = scratch.path().join("plan.toml");
    let block =
        "[[block]]\nsessions = 3\ndays = ['Tue', 'Fri']\nsession = '9:00 run'\nbetween = '30:00 walk'\n";
    fs::write(&plan, format!("{block}[[pause]]\nfrom = 2026-03-05\nto = 2026-03-09\n")).unwrap();
    let run = |more: &[&str]| {
        let path = plan.to_str().unwrap();
        let ran = boutwise(["plan", path].iter().chain(more).map(std::ffi::OsStr::new));
        assert_eq!(ran.status, 0, "{}", ran.stderr);
        ran.stdout
    };
    let dated = run(&["--start", "2026-03-03"]);
    let days: Vec<String> = (dated.lines().filter(|line| line.contains("2026-03-")))
        .map(|line| line.split_whitespace().collect::<Vec<_>>().join(" "))
        .collect();
    assert_eq!(
        days,
        [
            "Tue 2026-03-03 A 1 9:00 9:00 run",
            "Wed 2026-03-04 30:00 30:00 walk",
            "Thu 2026-03-05 pause to Mon 2026-03-09",
            "Tue 2026-03-10 A 2 9:00 9:00 run",
            "Wed 2026-03-11 30:00 30:00 walk",
            "Thu 2026-03-12 30:00 30:00 walk",
            "Fri 2026-03-13 A 3 9:00 9:00 run",
        ]
    );
    assert!(dated.contains("3 sessions: 27:00 of running, 1:30:00 of walking."), "{dated}");
    let json = run(&["--start", "2026-03-03", "--json"]);
    assert!(!json.contains("-0.0"), "{json}");
    let said = parsed(&json);
    assert_eq!(said["pauses"][0]["to"], "2026-03-09");
    assert!(said["assumed_first_weekday"].is_null());

    let told = "Days are counted from the first session, taken to fall on a Tuesday; --start YYYY-MM-DD prints dates and \
                heeds the pauses.";
    assert!(run(&[]).contains(told), "{}", run(&[]));
    assert_eq!(parsed(&run(&["--json"]))["assumed_first_weekday"], "Tuesday");
}

/// The page and the codebook of a result say the numbers that its audit went by, and no other.
#[test]
fn page_and_codebook_say_the_numbers_of_the_settings_in_force() {
    let scratch = tempfile::tempdir().unwrap();
    let (demo, out) = (scratch.path().join("demo"), scratch.path().join("out"));
    assert_eq!(boutwise(["demo".as_ref(), demo.as_os_str()]).status, 0);
    let settings = scratch.path().join("settings.toml");
    fs::write(
        &settings,
        "[segmentation]\ngap_s = 31\nwalk_min_s = 23\nstand_min_s = 17\n\
         [adherence]\ndose_weight = 0.5\nbreaks_weight = 0.3\nfull_weight = 0.2\nedges_s = 7\nfree_rest_s = 21\n\
         [measures.drift]\nslice_s = 41\nskip_s = 13\n\
         [measures.heart_rate_fall]\nend_s = 4\nafter_s = 50\nwindow_s = 6\n\
         [measures.speed_per_beat]\nmin_run_s = 1300\nskip_s = 700\n\
         [rules]\ntrend_weeks = 5\ntrend_min_sessions = 6\nrise_14_days_pct = 33\nspike_window_days = 29\n\
         habit_short_days = 11\nhabit_long_days = 37\ninterrupted_sessions = 4\n\
         talkable_pct_of_max_hr = 77\npredicted_max_hr_error_bpm = 12\n",
    )
    .unwrap();
    audit(&demo.join("recordings"), &out, &["--settings", settings.to_str().unwrap()]);

    let page = fs::read_to_string(out.join("report.html")).unwrap().replace("<em>", "").replace("</em>", "");
    for said in [
        "gaps of more than 31 s",
        "at walking of 23 s or more, and at standing of 17 s or more",
        "Adherence is 0.5 of the dose, 0.3 of the breaks kept and 0.2 of the reps in full",
        "about 3.5 s at each boundary",
        "each rest inside it lasts beyond 21 s",
        "the most of the 29 days before it",
        "of the last 11 and",
        "of the last 37 days",
        "Theil-Sen line over the last 5 weeks, at least 6 sessions",
        "Its fall in the walks",
    ] {
        assert!(page.contains(said), "{said}");
    }
    let codebook = parsed(&fs::read_to_string(out.join("codebook.json")).unwrap());
    for (table, column, said) in [
        ("sessions", "adherence_pct", "0.5 dose, 0.3 breaks and 0.2 full reps"),
        ("sessions", "gap_s", "gaps of more than 31 s"),
        ("sessions", "pace_drift_pct", "41-s slices of running, the first 13 s"),
        ("sessions", "hr_fall_60s_bpm", "last 4 s of the run against 6 s around second 50"),
        ("sessions", "speed_per_beat_loss_pct", "at least 1300 s, its first 700 s left out"),
        ("sessions", "run_hr_of_max_pct", "about 12 beats"),
        ("sessions", "above_talkable_pct", "77 % of the largest"),
        ("intervals", "done_s", "a rest of up to 21 s"),
        ("athletes", "longest_run_trend_s_per_week", "the last 5 weeks, at least 6 sessions"),
        ("athletes", "hr_fall_60s_trend_bpm_per_week", "to second 50 of the walk"),
        ("athletes", "sessions_interrupted", "4 or more in a row"),
        ("athletes", "run_rise_14d_pct", "above 33 %"),
        ("athletes", "days_out_14d", "the last 11 days"),
        ("athletes", "days_out_28d", "the last 37 days"),
        ("weeks", "session_run_m_max_before_30d", "the 29 days before"),
        ("weeks", "spike_pct", "the 29 days before"),
    ] {
        let is_it = |entry: &&serde_json::Value| entry["table"] == table && entry["column"] == column;
        let entry = codebook.as_array().unwrap().iter().find(is_it).unwrap();
        assert!(entry["source"].as_str().unwrap().contains(said), "{entry}");
    }
}

/// What a page is made by stands in the manifest, also where no number of the settings says it.
#[test]
fn the_manifest_says_the_distance_that_paces_are_given_for() {
    let scratch = tempfile::tempdir().unwrap();
    let (folder, out) = (two_athletes(scratch.path()), scratch.path().join("out"));
    for (options, pace) in [(&[][..], "kilometre"), (&["--pace", "mile"], "mile")] {
        audit(&folder, &out, options);
        let manifest = parsed(&fs::read_to_string(out.join("manifest.json")).unwrap());
        assert_eq!(manifest["pace"], pace);
    }
}

#[test]
fn quiet_prints_nothing_and_still_writes() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("harbour");
    fs::create_dir(&folder).unwrap();
    fs::copy(testdata("inputs/A1-one-track.gpx"), folder.join("run.gpx")).unwrap();
    let ran = boutwise(["audit".as_ref(), folder.as_os_str(), "--quiet".as_ref()]);
    assert_eq!((ran.status, ran.stdout.as_str(), ran.stderr.as_str()), (0, "", ""));
    assert!(scratch.path().join("harbour-audit").join("sessions.csv").exists());
}

#[test]
fn the_summary_fits_eighty_columns_and_has_no_colours_in_a_pipe() {
    let scratch = tempfile::tempdir().unwrap();
    let demo = scratch.path().join("demo");
    assert_eq!(boutwise(["demo".as_ref(), demo.as_os_str()]).status, 0);
    let squad = demo.join("squad.csv");
    let ran =
        audit(&demo.join("recordings"), &scratch.path().join("out"), &["--squad", squad.to_str().unwrap()]);
    let table: Vec<&str> = ran.stdout.lines().skip(3).take_while(|line| !line.is_empty()).collect();
    assert!(table.len() > 8);
    assert!(table.iter().all(|line| line.chars().count() <= 80));
    assert!(!ran.stdout.contains('\u{1b}'));
}

#[cfg(unix)]
#[test]
fn verify_opens_nothing_but_files() {
    let scratch = tempfile::tempdir().unwrap();
    let (folder, out) = (two_athletes(scratch.path()), scratch.path().join("out"));
    audit(&folder, &out, &[]);
    fs::remove_file(out.join("weeks.csv")).unwrap();
    fs::remove_file(out.join("bouts.csv")).unwrap();
    std::os::unix::fs::symlink("/dev/zero", out.join("weeks.csv")).unwrap();
    assert!(std::process::Command::new("mkfifo").arg(out.join("bouts.csv")).status().unwrap().success());
    let ran = boutwise(["verify".as_ref(), out.as_os_str()]);
    let said = "result: bouts.csv cannot be read\nresult: weeks.csv cannot be read\n";
    assert_eq!((ran.status, ran.stdout.as_str()), (1, said), "{}", ran.stderr);
    for link in [true, false] {
        fs::remove_file(out.join("manifest.json")).unwrap();
        match link {
            true => std::os::unix::fs::symlink("/dev/zero", out.join("manifest.json")).unwrap(),
            false => {
                let made = std::process::Command::new("mkfifo").arg(out.join("manifest.json")).status();
                assert!(made.unwrap().success());
            }
        }
        let ran = boutwise(["verify".as_ref(), out.as_os_str()]);
        assert!(ran.status == 2 && ran.stderr.contains("is no manifest"), "{}", ran.stderr);
    }
}

#[test]
fn an_input_whose_packing_was_damaged_since_differs_though_the_same_bytes_unpack() {
    let scratch = tempfile::tempdir().unwrap();
    let (folder, out) = (two_athletes(scratch.path()), scratch.path().join("out"));
    let packed = fs::read(testdata("inputs/J1-members.gpx.gz")).unwrap();
    let path = folder.join("mira/run.gpx.gz");
    fs::write(&path, &packed).unwrap();
    assert_eq!(audit(&folder, &out, &[]).status, 0);
    let verify = || boutwise(["verify".as_ref(), out.as_os_str(), folder.as_os_str()]);
    assert_eq!(verify().status, 0);
    let mut checksum = packed.clone();
    let at = packed.len() - 6;
    checksum[at] ^= 0xff;
    for damaged in [checksum, packed[..packed.len() - 4].to_vec(), [&packed[..], b"junk"].concat()] {
        fs::write(&path, damaged).unwrap();
        let ran = verify();
        assert_eq!((ran.status, ran.stdout.as_str()), (1, "recordings: mira/run.gpx.gz has other bytes\n"));
        // A result that was made of the damaged file is what that gives.
        let of_damaged = scratch.path().join("of damaged");
        audit(&folder, &of_damaged, &[]);
        assert_eq!(boutwise(["verify".as_ref(), of_damaged.as_os_str(), folder.as_os_str()]).status, 0);
    }
}

#[test]
fn bouts_of_files_of_one_name_are_told_apart_and_messages_name_the_path_that_was_given() {
    let scratch = tempfile::tempdir().unwrap();
    let paths = ["x/A/r.gpx", "y/A/r.gpx", "y/B/r.gpx"].map(|name| scratch.path().join(name));
    for path in &paths {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::copy(testdata("inputs/A1-one-track.gpx"), path).unwrap();
    }
    let bouts = |paths: &[&PathBuf]| {
        let arguments = ["bouts".as_ref(), "--csv".as_ref()].into_iter();
        boutwise(arguments.chain(paths.iter().map(|path| path.as_os_str())))
    };
    let keys = |ran: &crate::command::Ran| -> BTreeSet<(String, String)> {
        let rows = crate::command::rows(ran.stdout.as_bytes()).into_iter();
        rows.map(|row| (row["athlete"].clone(), row["file"].clone())).collect()
    };
    let named = |names: &[(&str, &str)]| -> BTreeSet<(String, String)> {
        names.iter().map(|(athlete, file)| ((*athlete).to_owned(), (*file).to_owned())).collect()
    };
    let [first, second, other] = &paths;
    let all = bouts(&[first, second, other]);
    assert_eq!(keys(&all), named(&[("A", "x/A/r.gpx"), ("A", "y/A/r.gpx"), ("B", "r.gpx")]));
    // What does not collide, or is one file named twice, is called as ever.
    assert_eq!(keys(&bouts(&[first, other])), named(&[("A", "r.gpx"), ("B", "r.gpx")]));
    assert_eq!(keys(&bouts(&[first, first])), named(&[("A", "r.gpx")]));
    fs::write(second, "").unwrap();
    let ran = bouts(&[first, second]);
    assert!(ran.stderr.contains(&format!("{}: the file is empty", second.display())), "{}", ran.stderr);
    let folder = second.parent().unwrap().to_owned();
    let ran = bouts(&[&folder]);
    assert!(ran.stderr.contains(&format!("{}: the file is empty", second.display())), "{}", ran.stderr);
}

/// The manifest holds a digest of itself, and says which entry is not what it was.
#[test]
fn a_manifest_that_was_changed_is_told() {
    let scratch = tempfile::tempdir().unwrap();
    let (folder, out) = (two_athletes(scratch.path()), scratch.path().join("out"));
    audit(&folder, &out, &["--pace", "mile"]);
    let verify = || boutwise(["verify".as_ref(), out.as_os_str(), folder.as_os_str()]);
    assert_eq!((verify().status, verify().stdout.as_str()), (0, "Nothing differs.\n"));
    let path = out.join("manifest.json");
    let written = parsed(&fs::read_to_string(&path).unwrap());
    let said = |change: &dyn Fn(&mut serde_json::Value)| {
        let mut manifest = written.clone();
        change(&mut manifest);
        // Written anew with other blanks it is the same.
        fs::write(&path, manifest.to_string()).unwrap();
        let ran = verify();
        assert_eq!(ran.status, i32::from(ran.stdout != "Nothing differs.\n"), "{}", ran.stderr);
        ran.stdout
    };
    assert_eq!(said(&|_| {}), "Nothing differs.\n");
    let altered = |entry: &str| format!("manifest: {entry} is not what the result was made with\n");
    let rule = |manifest: &mut serde_json::Value| {
        manifest["settings"]["rules"]["complete_advance_pct"] = 50.into();
    };
    assert_eq!(said(&rule), altered("settings.rules.complete_advance_pct"));
    assert_eq!(said(&|manifest| manifest["version"] = "9.9".into()), altered("version"));
    assert_eq!(said(&|manifest| manifest["time_zone"] = "Asia/Tokyo".into()), altered("time_zone"));
    let without = |manifest: &mut serde_json::Value| {
        manifest.as_object_mut().unwrap().remove("settings");
    };
    assert_eq!(said(&without), altered("settings"));
    let form = "manifest: schema is unknown to this version of the program\n";
    assert_eq!(said(&|manifest| manifest["schema"] = 2.into()), format!("{form}{}", altered("schema")));
    let disagrees =
        "manifest: made_from is not the digest of the other entries: it was changed, or one of them was\n";
    assert_eq!(said(&|manifest| manifest["as_of"] = "2021-05-26".into()), disagrees);
    assert_eq!(said(&|manifest| manifest["made_from"] = "0".repeat(32).into()), disagrees);
    assert_eq!(said(&|manifest| manifest["pace"] = "furlong".into()), disagrees);
}
