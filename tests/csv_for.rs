//! Tables for spreadsheets of a country hold the cells of the usual ones.

use std::path::Path;

use serde_json::Value;

use crate::command::{audit, boutwise};
use crate::demo_squad::Demo;

/// The cells of a table, the header line first.
fn cells(out: &Path, table: &str, separator: u8) -> Vec<Vec<String>> {
    let text = std::fs::read_to_string(out.join(format!("{table}.csv"))).unwrap();
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    let mut reader =
        csv::ReaderBuilder::new().delimiter(separator).has_headers(false).from_reader(text.as_bytes());
    reader.records().map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect()
}

fn json(path: &Path) -> Value {
    serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap()
}

#[test]
fn every_cell_comes_back_and_manifest_codebook_and_schema_say_the_form() {
    let demo = Demo::written();
    let (squad, journal) = (demo.path("squad.csv"), demo.path("journal.csv"));
    let with = |name: &str, further: &[&str]| {
        let files =
            ["--squad", squad.to_str().unwrap(), "--journal", journal.to_str().unwrap(), "--no-report"];
        let out = demo.path(name);
        assert_eq!(audit(&demo.path("recordings"), &out, &[&files, further].concat()).status, 1);
        out
    };
    let usual = with("usual", &[]);
    let codebook = json(&usual.join("codebook.json"));
    for (form, separator, decimal_sign) in [("de", b';', ","), ("en-GB", b',', "."), ("excel", b';', ".")] {
        let out = with(form, &["--csv-for", form]);
        let (mut decimals, mut texts) = (0, 0);
        for table in
            ["files", "sessions", "bouts", "intervals", "events", "athletes", "weeks", "planned", "notes"]
        {
            let bytes = std::fs::read(out.join(format!("{table}.csv"))).unwrap();
            assert_eq!(bytes[..3], [0xef, 0xbb, 0xbf], "{table} begins with a byte-order mark");
            let mut found = cells(&out, table, separator);
            let header = found[0].clone();
            for (place, column) in header.iter().enumerate() {
                let mut entries = codebook.as_array().unwrap().iter();
                let entry = entries.find(|entry| entry["table"] == table && entry["column"] == **column);
                let is_decimal = !entry.unwrap()["decimals"].is_null();
                for cell in found.iter_mut().skip(1).map(|row| &mut row[place]) {
                    if is_decimal && !cell.is_empty() {
                        assert_eq!(cell.matches(decimal_sign).count(), 1, "{table} {column}: {cell}");
                        *cell = cell.replace(decimal_sign, ".");
                        decimals += 1;
                    } else {
                        texts += usize::from(cell.contains(char::from(separator)));
                    }
                }
            }
            assert_eq!(found, cells(&usual, table, b','), "{form}: {table}");
        }
        assert!(decimals > 1000 && texts > 100, "{decimals} decimals, {texts} texts with the separator");
        let manifest = json(&out.join("manifest.json"));
        assert_eq!(manifest["csv"]["separator"], char::from(separator).to_string());
        assert_eq!(manifest["csv"]["decimal_sign"], decimal_sign);
        assert_eq!(manifest["csv"]["byte_order_mark"], true);
        let number = |entry: &&Value| entry["type"] == "number";
        let own_codebook = json(&out.join("codebook.json"));
        let mut numbers = own_codebook.as_array().unwrap().iter().filter(number);
        assert!(numbers.all(|entry| entry["decimal_sign"] == decimal_sign));
        let package = boutwise(["columns", "--format", "frictionless", "--csv-for", form]).stdout;
        let package: Value = serde_json::from_str(&package).unwrap();
        for resource in package["resources"].as_array().unwrap() {
            assert_eq!(resource["dialect"]["delimiter"], char::from(separator).to_string());
            for field in resource["schema"]["fields"].as_array().unwrap().iter().filter(number) {
                assert_eq!(field["decimalChar"].as_str().unwrap_or("."), decimal_sign);
            }
        }
        assert_eq!(boutwise(["verify".as_ref(), out.as_os_str()]).status, 0);
    }
}

#[test]
fn an_unknown_language_is_refused_before_anything_is_written() {
    let scratch = tempfile::tempdir().unwrap();
    let out = scratch.path().join("out");
    let ran = audit(scratch.path(), &out, &["--csv-for", "german"]);
    assert_eq!(ran.status, 2);
    assert!(ran.stderr.starts_with("error: ") && ran.stderr.contains("`de`"), "{}", ran.stderr);
    assert!(!out.exists());
}

#[test]
fn a_form_of_csv_without_csv_is_refused_and_the_table_that_was_written_is_named() {
    let place = tempfile::tempdir().unwrap();
    let folder = place.path().join("squad");
    std::fs::create_dir_all(folder.join("Ada")).unwrap();
    for number in 0..12 {
        std::fs::write(folder.join(format!("Ada/{number}.gpx")), "<gpx><trk>").unwrap();
    }
    let out = place.path().join("out");
    let refused = audit(&folder, &out, &["--csv-for", "de", "--format", "parquet"]);
    assert_eq!(refused.status, 2);
    assert!(refused.stderr.starts_with("error: --csv-for"), "{}", refused.stderr);
    assert!(!out.exists());
    for further in [&[][..], &["--json"], &["--format", "text"]] {
        let refused = boutwise(["columns", "--csv-for", "de"].iter().chain(further));
        assert!(
            refused.status == 2 && refused.stderr.starts_with("error: --csv-for"),
            "{further:?}: {}",
            refused.stderr
        );
    }
    assert_eq!(boutwise(["columns", "--csv-for", "de", "--format", "json"]).status, 0);
    for (formats, names, other) in
        [("parquet", "files.parquet", "files.csv"), ("csv,parquet", "files.csv", "files.parquet")]
    {
        let ran = audit(&folder, &out, &["--format", formats]);
        assert!(ran.status == 1 && ran.stdout.contains(names), "{}", ran.stdout);
        assert!(!ran.stdout.contains(other) && out.join(names).exists(), "{}", ran.stdout);
    }
}
