//! Instructions a point, stage by stage, by valgrind's callgrind: they hardly depend on the machine or what else it does.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use crate::corpus::{CLEAR, SORTS, Sort};
use crate::peers;

/// Stages and the functions whose whole cost is theirs.
const STAGES: [(&str, &str); 5] = [
    ("extraction", "boutwise_track::read::read_raw"),
    ("cleaning", "boutwise_track::clean::clean"),
    ("segmentation", "boutwise_bouts::segment::segment"),
    ("measures", "boutwise_bouts::session::measure"),
    ("pages", "boutwise_report::page::ReportWriter::with_text"),
];
/// The whole process.
const ALL: &str = "all";
/// Sessions that are counted, each of another person; of long ones a single one.
const SESSIONS: usize = 2;
/// A hundred megabytes of sessions of an hour, of which what a run costs once is hardly a part.
pub(crate) const MANY: Sort = Sort { name: "gpx-60min-many", ..CLEAR };
const MANY_SESSIONS: usize = 115;
/// Sessions from so many minutes on are long, and the peers, whose points all cost the same, are not asked again.
const LONG_MIN: usize = 180;
/// Counts that rise by more than this share fail the check.
const ALLOWED_RISE: f64 = 0.03;
/// The pinned counts, beside this file.
const PINNED: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../benches/audit/counts.csv");
/// The page with the table, and the lines between which it stands.
const PAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/performance.md");
const BEGIN: &str = "<!-- table counts -->\n";
const END: &str = "<!-- end -->";
/// Sorts that the check counts: enough to see each stage, few enough for every change.
const CHECKED: [&str; 4] = ["gpx-20min", "tcx-20min", "gpx-60min", "gpx-20min-hard"];

/// Instructions a point by sort and stage.
type Counts = BTreeMap<(String, String), f64>;

pub(crate) fn has_valgrind() -> bool {
    let found =
        Command::new("valgrind").arg("--version").stdout(Stdio::null()).stderr(Stdio::null()).status();
    found.is_ok_and(|status| status.success())
}

/// Counts all sorts, rewrites the table in the page, and pins what the check holds later runs against.
pub(crate) fn write(program: &Path, own: &Path, folder: &Path) {
    let mut counts = Counts::new();
    let mut table = String::from("| sessions | points |");
    STAGES.iter().for_each(|(stage, _)| write!(table, " {stage} |").expect("a string takes text"));
    table += " all | quick-xml 0.41 | quick-xml 0.42 |\n|---|";
    table += &"---:|".repeat(STAGES.len() + 4);
    table.push('\n');
    for sort in SORTS.into_iter().chain([MANY]) {
        let (points, found) = count(program, folder, &sort);
        write!(table, "| {} | {points} |", sort.name).expect("a string takes text");
        for stage in STAGES.iter().map(|(stage, _)| *stage).chain([ALL]) {
            write!(table, " {:.0} |", found[stage]).expect("a string takes text");
            counts.insert((sort.name.to_owned(), stage.to_owned()), found[stage]);
        }
        for peer in crate::PEERS {
            match sort.gzip || sessions_of(&sort) != SESSIONS {
                true => table += " |",
                false => {
                    let place = folder.join(sort.name);
                    let arguments = [crate::PEER.as_ref(), peer.0.as_ref(), place.as_os_str()];
                    let instructions = callgrind(own, &arguments, folder).1;
                    write!(table, " {:.0} |", instructions / points as f64).expect("a string takes text");
                }
            }
        }
        table.push('\n');
    }
    let page = fs::read_to_string(PAGE).expect("the page is there");
    let begin = page.find(BEGIN).expect("the page has a table") + BEGIN.len();
    let end = begin + page[begin..].find(END).expect("the table has an end");
    fs::write(PAGE, format!("{}{table}{}", &page[..begin], &page[end..])).expect("the page can be written");
    let lines = counts.iter().filter(|((sort, _), _)| CHECKED.contains(&sort.as_str()) || sort == MANY.name);
    let lines = lines.map(|((sort, stage), count)| format!("{sort},{stage},{count:.0}\n"));
    let text = format!("sort,stage,instructions_per_point\n{}", lines.collect::<String>());
    fs::write(PINNED, text).expect("the counts can be written");
    println!("{table}");
}

/// Whether no stage costs noticeably more than what is pinned; says which do.
pub(crate) fn check(program: &Path, folder: &Path) -> bool {
    let pinned = fs::read_to_string(PINNED).expect("counts are pinned");
    let mut holds = true;
    for name in CHECKED {
        let sort = Sort::named(name).expect("one of the sorts");
        let (_, found) = count(program, folder, &sort);
        for line in pinned.lines().filter(|line| line.starts_with(&format!("{name},"))) {
            let [_, stage, count] = line.split(',').collect::<Vec<_>>()[..] else {
                panic!("odd line: {line}")
            };
            let pinned: f64 = count.parse().expect("a count");
            let rise = found[stage] / pinned - 1.0;
            println!("{name:16} {stage:13} {pinned:7.0} → {:7.0}  {:+.1} %", found[stage], 100.0 * rise);
            if rise > ALLOWED_RISE {
                println!(
                    "  more than {:.0} % above what is pinned in benches/audit/counts.csv",
                    100.0 * ALLOWED_RISE
                );
                holds = false;
            }
        }
    }
    holds
}

/// What is pinned for all of a sort.
pub(crate) fn pinned(sort: &str) -> Option<f64> {
    let pinned = fs::read_to_string(PINNED).ok()?;
    pinned.lines().find_map(|line| line.strip_prefix(&format!("{sort},{ALL},"))?.parse().ok())
}

/// How many sessions of a sort are counted.
fn sessions_of(sort: &Sort) -> usize {
    match sort.name {
        name if name == MANY.name => MANY_SESSIONS,
        _ if sort.minutes >= LONG_MIN => 1,
        _ => SESSIONS,
    }
}

/// Points of a sort, and instructions a point of each stage and of all.
fn count(program: &Path, folder: &Path, sort: &Sort) -> (usize, BTreeMap<&'static str, f64>) {
    let place = folder.join(sort.name);
    let sessions = sessions_of(sort);
    sort.write(&place, sessions, sessions.min(10)).expect("the folder takes files");
    let out = folder.join("result");
    let arguments = [
        "audit".as_ref(),
        place.as_os_str(),
        "--out".as_ref(),
        out.as_os_str(),
        "--time-zone".as_ref(),
        "Europe/Vienna".as_ref(),
        "--threads".as_ref(),
        "1".as_ref(),
        "--quiet".as_ref(),
    ];
    let (functions, all) = callgrind(program, &arguments, folder);
    let plain = Sort { gzip: false, ..*sort };
    let points = (0..sessions as u64)
        .map(|number| {
            let bytes = plain.session(number).expect("a session can be written");
            peers::quick_xml_0_42(std::str::from_utf8(&bytes).expect("UTF-8")).len()
        })
        .sum();
    let per_point = |instructions: f64| instructions / points as f64;
    let stages = STAGES.iter().map(|(stage, function)| {
        (
            *stage,
            per_point(*functions.get(*function).unwrap_or_else(|| panic!("callgrind knows no {function}"))),
        )
    });
    (points, stages.chain([(ALL, per_point(all))]).collect())
}

/// Instructions of each function with all that it calls, and of all together.
fn callgrind(program: &Path, arguments: &[&std::ffi::OsStr], folder: &Path) -> (BTreeMap<String, f64>, f64) {
    let file = folder.join("callgrind.out");
    let status = Command::new("valgrind")
        .args(["--tool=callgrind", "--quiet"])
        .arg(format!("--callgrind-out-file={}", file.display()))
        .arg(program)
        .args(arguments)
        // Elsewhere paths of sources would be shortened in some places and not in others.
        .current_dir(folder)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .expect("valgrind starts");
    assert!(matches!(status.code(), Some(0 | 1)), "{status}");
    let output = Command::new("callgrind_annotate")
        .args(["--inclusive=yes", "--threshold=100", "--show-percs=no", "--auto=no"])
        .arg(&file)
        .current_dir(folder)
        .output()
        .expect("callgrind_annotate starts");
    let mut functions: BTreeMap<String, f64> = BTreeMap::new();
    let mut all = 0.0;
    for line in String::from_utf8_lossy(&output.stdout).lines() {
        let Some((count, rest)) = line.trim_start().split_once(' ') else { continue };
        let Ok(count) = count.replace(',', "").parse::<f64>() else { continue };
        if rest.trim_start().starts_with("PROGRAM TOTALS") {
            all = count;
        }
        // `path:function [object]`; a function stands once for each file that was inlined into it.
        let function = rest.trim().split(" [").next().unwrap_or("");
        let name = function.split_once(".rs:").map_or(function, |(_, name)| name);
        let slot = functions.entry(name.to_owned()).or_default();
        *slot = slot.max(count);
    }
    (functions, all)
}
