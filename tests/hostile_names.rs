//! Names that would do harm where they are not taken as text.

use std::fs;
#[cfg(unix)]
use std::path::{Path, PathBuf};

use crate::command::{audit, table, testdata};

#[test]
fn names_of_folders_and_files_stay_text() {
    let long = "n".repeat(200);
    let names = [
        "<img src=x onerror=alert(1)>",
        "\"quoted\" & 'single'",
        "\u{202e}backwards",
        "=1+1",
        "'=1+1",
        long.as_str(),
    ];
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("squad");
    for name in names {
        fs::create_dir_all(folder.join(name)).unwrap();
        fs::copy(testdata("inputs/A1-one-track.gpx"), folder.join(name).join("<script>run.gpx")).unwrap();
    }
    let out = scratch.path().join("out");
    let ran = audit(&folder, &out, &[]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let athletes: Vec<String> =
        table(&out, "athletes").into_iter().map(|row| row["athlete"].clone()).collect();
    assert_eq!(athletes.len(), names.len());
    assert!(athletes.contains(&names[0].to_owned()) && athletes.contains(&long));
    // A spreadsheet would take it for a formula.
    assert!(athletes.contains(&"'=1+1".to_owned()));
    // And whoever bears the mark stays somebody else.
    assert!(athletes.contains(&"''=1+1".to_owned()));
    let page = fs::read_to_string(out.join("report.html")).unwrap();
    // In the text of an element; inside attributes nobody reads it.
    for harm in ["<img src=x", "<script>run", ">\u{202e}"] {
        assert!(!page.contains(harm), "{harm}");
    }
    assert!(page.contains("&#60;img src=x") || page.contains("&lt;img src=x"));
}

/// What acts on a terminal or turns the direction of reading, where it stands in an output.
fn harm_in(text: &str) -> Option<char> {
    let turns = |letter: char| matches!(letter, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    text.chars().find(|letter| (letter.is_control() && *letter != '\n') || turns(*letter))
}

#[cfg(unix)]
#[test]
fn names_that_act_on_a_terminal_or_are_no_utf8_are_shown_escaped_and_stay_apart() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("squad");
    let names: [&[u8]; 6] = [
        b"Z\xe9",
        b"Z\xe8",
        "Z\u{fffd}".as_bytes(),
        b"red\x1b[31m",
        "\u{202e}sdrawkcab".as_bytes(),
        "bell\u{7}\u{9b}2J".as_bytes(),
    ];
    for (at, name) in names.into_iter().enumerate() {
        let own = folder.join(OsStr::from_bytes(name));
        fs::create_dir_all(&own).unwrap();
        fs::copy(testdata("inputs/A1-one-track.gpx"), own.join(format!("{at}.gpx"))).unwrap();
        fs::write(own.join(OsStr::from_bytes(b"broken\x1b]0;x\x07.gpx")), "<gpx><trk>").unwrap();
    }
    let out = scratch.path().join("out");
    let journal = scratch.path().join("journal.csv");
    fs::write(&journal, "athlete,date,warning_sign\nZ\\xe9,2024-03-04,odd \u{1b}[2J\u{202e}words\n").unwrap();
    let ran = audit(&folder, &out, &["--journal", journal.to_str().unwrap(), "--as-of", "2030-01-01"]);
    assert_eq!(ran.status, 1, "{}", ran.stderr);
    for text in [&ran.stdout, &ran.stderr] {
        assert_eq!(harm_in(text), None, "{text:?}");
    }
    assert!(ran.stdout.contains("\\u001b"), "{}", ran.stdout);
    let athletes: std::collections::BTreeSet<String> =
        table(&out, "athletes").into_iter().map(|row| row["athlete"].clone()).collect();
    assert_eq!(athletes.len(), names.len(), "{athletes:?}");
    assert!(athletes.contains("Z\\xe9") && athletes.contains("red\\u001b[31m"), "{athletes:?}");
    for entry in fs::read_dir(&out).unwrap().map(|entry| entry.unwrap().path()) {
        if entry.extension().is_some_and(|ending| ending == "csv" || ending == "json") {
            let text = fs::read_to_string(&entry).unwrap();
            assert_eq!(harm_in(&text), None, "{}", entry.display());
        }
    }
    let ran =
        ["audit".as_ref(), folder.as_os_str(), "--json".as_ref(), "--journal".as_ref(), journal.as_os_str()];
    let as_of = ["--as-of".as_ref(), "2030-01-01".as_ref()];
    let json = crate::command::boutwise(ran.into_iter().chain(as_of));
    assert_eq!(harm_in(&json.stdout), None);
    assert!(serde_json::from_str::<serde_json::Value>(&json.stdout).is_ok(), "{}", json.stdout);
}

/// A squad with a recording more than its result has, the place of the result, and its manifest.
#[cfg(unix)]
fn audited_and_changed(scratch: &Path) -> (PathBuf, PathBuf, Vec<u8>) {
    let (folder, out) = (scratch.join("squad"), scratch.join("out"));
    fs::create_dir_all(folder.join("Ada")).unwrap();
    fs::copy(testdata("inputs/A1-one-track.gpx"), folder.join("Ada/a.gpx")).unwrap();
    assert_eq!(audit(&folder, &out, &[]).status, 0);
    let earlier = fs::read(out.join("manifest.json")).unwrap();
    fs::copy(testdata("inputs/A2-segments.gpx"), folder.join("Ada/b.gpx")).unwrap();
    (folder, out, earlier)
}

#[cfg(target_os = "linux")]
#[test]
fn an_output_that_takes_nothing_ends_the_run_in_one_line_and_the_earlier_result_stands() {
    use std::process::{Command, Stdio};
    let scratch = tempfile::tempdir().unwrap();
    let (folder, out, earlier) = audited_and_changed(scratch.path());
    let full = || Stdio::from(fs::OpenOptions::new().write(true).open("/dev/full").unwrap());
    let run = |stdout, stderr| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_boutwise"));
        command.args(["audit".as_ref(), folder.as_os_str(), "--out".as_ref(), out.as_os_str()]);
        command.stdout(stdout).stderr(stderr).output().unwrap()
    };
    let ran = run(full(), Stdio::piped());
    let stderr = String::from_utf8(ran.stderr).unwrap();
    assert_eq!((ran.status.code(), stderr.lines().count()), (Some(2), 1), "{stderr}");
    assert!(stderr.starts_with("error: ") && stderr.contains("standard output"), "{stderr}");
    assert_eq!(fs::read(out.join("manifest.json")).unwrap(), earlier);
    // Where nothing can be said either, the status still tells.
    assert_eq!(run(full(), full()).status.code(), Some(2));
    // A standard error that takes nothing keeps no result away.
    assert_eq!(run(Stdio::piped(), full()).status.code(), Some(0));
    assert_ne!(fs::read(out.join("manifest.json")).unwrap(), earlier);
    let left: Vec<_> =
        fs::read_dir(scratch.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(left.len(), 2, "{left:?}");
    // Nor does help end well that nobody gets.
    let help = Command::new(env!("CARGO_BIN_EXE_boutwise")).arg("--help").stdout(full()).output().unwrap();
    assert_eq!(help.status.code(), Some(2));
}

#[test]
#[cfg(unix)]
fn a_limit_on_the_size_of_files_is_an_error_and_the_earlier_result_stands() {
    use std::process::Command;
    let scratch = tempfile::tempdir().unwrap();
    let (folder, out, earlier) = audited_and_changed(scratch.path());
    // In blocks of 512 or 1024 bytes; the pages are larger.
    let limited = "ulimit -f 8; exec \"$0\" audit \"$1\" --out \"$2\"";
    let mut command = Command::new("sh");
    command.args(["-c", limited, env!("CARGO_BIN_EXE_boutwise")]).args([&folder, &out]);
    let ran = command.output().unwrap();
    let stderr = String::from_utf8(ran.stderr).unwrap();
    assert_eq!((ran.status.code(), stderr.lines().count()), (Some(2), 1), "{stderr}");
    assert!(stderr.starts_with("error: ") && stderr.contains("File too large"), "{stderr}");
    assert_eq!(fs::read(out.join("manifest.json")).unwrap(), earlier);
    assert_eq!(fs::read_dir(scratch.path()).unwrap().count(), 2);
}
