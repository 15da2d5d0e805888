//! What a whole audit costs, beside loops that only pull the points out of the same files:
//!
//!     cargo bench -p boutwise --bench audit                    the bars, in one table
//!     cargo bench -p boutwise --bench audit -- --counts        instructions a point, into docs/performance.md
//!     cargo bench -p boutwise --bench audit -- --check         whether no stage costs over 3 % more than is pinned
//!     cargo bench -p boutwise --bench audit -- --keep FOLDER   writes the files and leaves them there
//!
//! All are processes of their own that take turns on the same files in the file cache; of five rounds the least counts.
//! `--mb N` sets the size of the large folders in megabytes (60 where nothing is said).

mod corpus;
mod counts;
mod peers;
mod usage;

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};

use boutwise_track::Points;
use corpus::{SORTS, Sort};
use usage::{MEASURE, Usage, measure, usage_of};

/// The word with which this program is a peer.
pub(crate) const PEER: &str = "--peer";
/// A peer's name and what it does.
pub(crate) type Peer = (&'static str, fn(&str) -> Points);
/// The peers.
pub(crate) const PEERS: [Peer; 2] =
    [("quick-xml-0.41", peers::quick_xml_0_41), ("quick-xml-0.42", peers::quick_xml_0_42)];
/// Rounds of which the least counts.
const ROUNDS: usize = 5;
/// Megabytes of a large folder.
const LARGE_MB: f64 = 60.0;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match words[..] {
        [MEASURE, ..] => return measure(&arguments[1..]),
        [PEER, name, folder] => return be_peer(name, Path::new(folder)),
        _ => {}
    }
    let program = PathBuf::from(env!("CARGO_BIN_EXE_boutwise"));
    let own = std::env::current_exe().expect("the program knows its place");
    let folder = tempfile::tempdir().expect("a folder for files");
    let after = |word: &str| words.iter().position(|other| *other == word).and_then(|at| words.get(at + 1));
    if let Some(kept) = after("--keep") {
        for sort in SORTS {
            sort.write(&Path::new(kept).join(sort.name), 2, 2).expect("the folder takes files");
        }
    } else if words.contains(&"--counts") || words.contains(&"--check") {
        if !counts::has_valgrind() {
            println!("SKIPPED: valgrind is not installed, so instructions are not counted");
        } else if words.contains(&"--counts") {
            counts::write(&program, &own, folder.path());
        } else if !counts::check(&program, folder.path()) {
            std::process::exit(1);
        }
    } else {
        let large_mb = after("--mb").and_then(|mb| mb.parse().ok()).unwrap_or(LARGE_MB);
        Bars { program, own, folder: folder.path().to_owned(), large_mb }.print();
    }
}

/// Pulls the points out of every file of a folder.
fn be_peer(name: &str, folder: &Path) {
    let (_, extract) = PEERS.iter().find(|(peer, _)| *peer == name).expect("one of the peers");
    let points: usize = files(folder)
        .iter()
        .map(|file| {
            let bytes = fs::read(file).expect("the file can be read");
            extract(std::str::from_utf8(&bytes).expect("UTF-8")).len()
        })
        .sum();
    println!("{points}");
}

/// All files below a folder.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("the folder can be listed") {
        let path = entry.expect("the folder can be listed").path();
        if path.is_dir() { found.extend(files(&path)) } else { found.push(path) }
    }
    found.sort();
    found
}

/// The bars, and where they are measured.
struct Bars {
    program: PathBuf,
    own: PathBuf,
    folder: PathBuf,
    large_mb: f64,
}

/// A command that takes part.
#[derive(Clone)]
enum Contender {
    /// An audit of a folder with so many threads.
    Audit(PathBuf, usize),
    /// A peer over a folder.
    Peer(&'static str, PathBuf),
    /// `gzip -dc` over the files of a folder.
    Gunzip(PathBuf),
}

impl Bars {
    fn print(&self) {
        println!("| bar | measured | ratio |\n|---|---|---:|");
        self.against_peers("1. 60 min, cadence, half GPX half TCX", &["gpx-60min", "tcx-60min"]);
        self.against_peers("2. the same without cadence", &["gpx-60min-speed", "tcx-60min-speed"]);
        self.against_peers("2. the same in 20 min", &["gpx-20min", "tcx-20min"]);
        self.one_recording();
        self.a_point("5. a point of 6 h against 20 min, noisy", "gpx-6h-hard", 360, "gpx-20min-hard", 20);
        self.a_point("5. a point of 24 h against 20 min, clear", "gpx-24h", 1440, "gpx-20min", 20);
        self.a_file("8. a file of one minute, 2000 against 100, twenty athletes", 20, 86_400, 2000, 100);
        self.a_file("9. a file of the same minute in a flat folder, 600 against 150", 1, 0, 600, 150);
        self.threads();
        self.packed();
    }

    fn run(&self, contender: &Contender) -> Usage {
        let out = self.folder.join("result");
        match contender {
            Contender::Audit(folder, threads) => usage_of(&[
                self.program.as_os_str(),
                "audit".as_ref(),
                folder.as_os_str(),
                "--out".as_ref(),
                out.as_os_str(),
                "--quiet".as_ref(),
                "--threads".as_ref(),
                OsStr::new(&threads.to_string()),
            ]),
            Contender::Peer(name, folder) => {
                usage_of(&[self.own.as_os_str(), PEER.as_ref(), OsStr::new(name), folder.as_os_str()])
            }
            Contender::Gunzip(folder) => {
                let files = files(folder);
                let words = [OsStr::new("gzip"), OsStr::new("-dc")];
                usage_of(
                    &words.into_iter().chain(files.iter().map(|file| file.as_os_str())).collect::<Vec<_>>(),
                )
            }
        }
    }

    /// The least of several rounds in which all take turns.
    fn in_turns(&self, contenders: &[Contender]) -> Vec<Usage> {
        let mut least: Vec<Option<Usage>> = vec![None; contenders.len()];
        for _ in 0..ROUNDS {
            for (contender, least) in contenders.iter().zip(&mut least) {
                let usage = self.run(contender);
                *least = Some(least.map_or(usage, |least| least.least(usage)));
            }
        }
        least.into_iter().flatten().collect()
    }

    /// A folder with about so many megabytes, in equal parts of some sorts.
    fn large(&self, sorts: &[&str]) -> PathBuf {
        let folder = self.folder.join(sorts.join("+"));
        for name in sorts.iter().filter(|_| !folder.is_dir()).collect::<Vec<_>>() {
            let sort = Sort::named(name).expect("one of the sorts");
            let bytes = sort.session(0).expect("a session can be written").len();
            let sessions = (self.large_mb * 1e6 / sorts.len() as f64 / bytes as f64).ceil() as usize;
            sort.write(&folder, sessions, sessions.min(10)).expect("the folder takes files");
        }
        folder
    }

    fn against_peers(&self, bar: &str, sorts: &[&str]) {
        let folder = self.large(sorts);
        let peers = PEERS.map(|(name, _)| Contender::Peer(name, folder.clone()));
        let audit = Contender::Audit(folder.clone(), 1);
        let usages = self.in_turns(&[audit, peers[0].clone(), peers[1].clone()]);
        let [audit, old, new] = [usages[0], usages[1], usages[2]].map(|usage| usage.processor_s);
        println!(
            "| {bar}: audit / extraction by quick-xml | {audit:.3} s; 0.41 {old:.3} s, 0.42 {new:.3} s; {:.0} MB at most | {:.2} |",
            usages[0].peak_mb,
            audit / old.min(new)
        );
    }

    fn one_recording(&self) {
        let (one, nine_hours) = (self.folder.join("one"), self.folder.join("nine-hours"));
        Sort::named("gpx-20min")
            .expect("one of the sorts")
            .write(&one, 1, 1)
            .expect("the folder takes files");
        Sort::named("gpx-60min")
            .expect("one of the sorts")
            .write(&nine_hours, 9, 1)
            .expect("the folder takes files");
        let peers = PEERS.map(|(name, _)| Contender::Peer(name, nine_hours.clone()));
        let usages = self.in_turns(&[Contender::Audit(one, 1), peers[0].clone(), peers[1].clone()]);
        let [audit, old, new] = [usages[0], usages[1], usages[2]].map(|usage| usage.processor_s);
        println!(
            "| 4. audit of one 20 min recording / quick-xml of 9 h of GPX | {audit:.4} s; {:.4} s | {:.2} |",
            old.min(new),
            audit / old.min(new)
        );
    }

    fn a_point(&self, bar: &str, long: &str, long_min: usize, short: &str, short_min: usize) {
        // As many points of both.
        let folders = [(long, long_min), (short, short_min)].map(|(name, minutes)| {
            let folder = self.folder.join(format!("point-{name}"));
            let sessions = 1440_usize.div_ceil(minutes);
            let sort = Sort::named(name).expect("one of the sorts");
            sort.write(&folder, sessions, sessions.min(10)).expect("the folder takes files");
            (folder, sessions * minutes)
        });
        let usages =
            self.in_turns(&folders.each_ref().map(|(folder, _)| Contender::Audit(folder.clone(), 1)));
        let a_point = |at: usize| usages[at].processor_s / (60 * folders[at].1) as f64 * 1e6;
        println!("| {bar} | {:.2} and {:.2} µs | {:.2} |", a_point(0), a_point(1), a_point(0) / a_point(1));
    }

    /// What a file costs among many against few; files of an athlete begin so many seconds apart.
    fn a_file(&self, bar: &str, athletes: usize, apart_s: i64, many: usize, few: usize) {
        let usages = self.in_turns(&[many, few].map(|count| {
            let folder = self.folder.join(format!("minutes-{athletes}-{apart_s}-{count}"));
            corpus::write_minutes(&folder, count, athletes, apart_s).expect("the folder takes files");
            Contender::Audit(folder, 1)
        }));
        let a_file = |at: usize, count: usize| usages[at].processor_s / count as f64 * 1e6;
        let (in_many, in_few) = (a_file(0, many), a_file(1, few));
        println!(
            "| {bar} | {in_many:.0} and {in_few:.0} µs; {:.0} MB at most | {:.2} |",
            usages[0].peak_mb,
            in_many / in_few
        );
    }

    fn threads(&self) {
        let folder = self.large(&["gpx-60min", "tcx-60min"]);
        let usages = self.in_turns(&[1, 2].map(|threads| Contender::Audit(folder.clone(), threads)));
        let [one, two] = [usages[0], usages[1]].map(|usage| usage.wall_s);
        println!("| 11. wall of 1 thread / of 2 | {one:.3} and {two:.3} s | {:.2} |", one / two);
    }

    fn packed(&self) {
        let plain = self.large(&["gpx-60min"]);
        let packed = self.folder.join("packed");
        let sessions = files(&plain).len();
        let sort = Sort::named("gpx-60min-gz").expect("one of the sorts");
        sort.write(&packed, sessions, sessions.min(10)).expect("the folder takes files");
        let usages = self.in_turns(&[
            Contender::Audit(packed.clone(), 1),
            Contender::Audit(plain, 1),
            Contender::Gunzip(packed),
        ]);
        let [packed, plain, gunzip] = [usages[0], usages[1], usages[2]].map(|usage| usage.processor_s);
        println!(
            "| 12. .gz / (plain + gzip -dc) | {packed:.3} s; {plain:.3} + {gunzip:.3} s | {:.2} |",
            packed / (plain + gunzip)
        );
    }
}
