//! Names that would do harm where they are not taken as text.

use std::fs;

use crate::command::{audit, table, testdata};

#[test]
fn names_of_folders_and_files_stay_text() {
    let long = "n".repeat(200);
    let names =
        ["<img src=x onerror=alert(1)>", "\"quoted\" & 'single'", "\u{202e}backwards", "=1+1", long.as_str()];
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
    let page = fs::read_to_string(out.join("report.html")).unwrap();
    // In the text of an element; inside attributes nobody reads it.
    for harm in ["<img src=x", "<script>run", ">\u{202e}"] {
        assert!(!page.contains(harm), "{harm}");
    }
    assert!(page.contains("&#60;img src=x") || page.contains("&lt;img src=x"));
}
