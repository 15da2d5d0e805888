//! Runs `boutwise` and reads what it wrote.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// One row of a table, by column.
pub(crate) type Row = BTreeMap<String, String>;

/// What a run of the command left.
pub(crate) struct Ran {
    /// Exit status.
    pub(crate) status: i32,
    /// Standard output.
    pub(crate) stdout: String,
    /// Standard error.
    pub(crate) stderr: String,
}

/// Runs `boutwise` with arguments: the one of this build, or where many runs are to be fast the one that BOUTWISE names.
pub(crate) fn boutwise<I: AsRef<std::ffi::OsStr>>(arguments: impl IntoIterator<Item = I>) -> Ran {
    let program = std::env::var_os("BOUTWISE").unwrap_or_else(|| env!("CARGO_BIN_EXE_boutwise").into());
    let output: Output = Command::new(program).args(arguments).output().unwrap();
    Ran {
        status: output.status.code().unwrap(),
        stdout: String::from_utf8(output.stdout).unwrap(),
        stderr: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Runs `boutwise audit FOLDER --out OUT` with further arguments.
pub(crate) fn audit(folder: &Path, out: &Path, further: &[&str]) -> Ran {
    let fixed = ["audit".as_ref(), folder.as_os_str(), "--out".as_ref(), out.as_os_str()];
    boutwise(fixed.into_iter().chain(further.iter().map(AsRef::as_ref)))
}

/// The rows of a table in an output folder.
pub(crate) fn table(out: &Path, name: &str) -> Vec<Row> {
    rows(&fs::read(out.join(format!("{name}.csv"))).unwrap())
}

/// The rows of a CSV text.
pub(crate) fn rows(bytes: &[u8]) -> Vec<Row> {
    let mut reader = csv::Reader::from_reader(bytes);
    let header = reader.headers().unwrap().clone();
    let row =
        |record: csv::StringRecord| header.iter().zip(&record).map(|(k, v)| (k.into(), v.into())).collect();
    reader.records().map(|record| row(record.unwrap())).collect()
}

/// Everything that a Parquet file says: its rows, what is written beside them, and its bytes as far as they are text.
pub(crate) fn parquet_text(path: &Path) -> String {
    use parquet::file::reader::{FileReader, SerializedFileReader};
    let reader = SerializedFileReader::new(fs::File::open(path).unwrap()).unwrap();
    let mut text = format!("{:?}\n", reader.metadata().file_metadata().key_value_metadata());
    for row in reader.get_row_iter(None).unwrap() {
        text += &format!("{}\n", row.unwrap());
    }
    text + &String::from_utf8_lossy(&fs::read(path).unwrap())
}

/// A number of a row.
pub(crate) fn number(row: &Row, column: &str) -> f64 {
    row[column].parse().unwrap_or_else(|_| panic!("{column} is \"{}\"", row[column]))
}

/// The part of a text between two others.
pub(crate) fn between<'t>(text: &'t str, from: &str, to: &str) -> &'t str {
    let rest = text.split_once(from).unwrap_or_else(|| panic!("{from} is not there")).1;
    rest.split_once(to).unwrap_or_else(|| panic!("{to} is not there")).0
}

/// A folder or file of the test data.
pub(crate) fn testdata(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../testdata").join(path)
}
