//! What a whole audit costs, beside loops that only pull the points out of the same files:
//!
//!     cargo bench -p boutwise --bench audit                    the bars, in one table
//!     cargo bench -p boutwise --bench audit -- --counts        instructions a point, into docs/performance.md
//!     cargo bench -p boutwise --bench audit -- --check         whether no stage costs over 3 % more than is pinned
//!     cargo bench -p boutwise --bench audit -- --keep FOLDER   writes the files and leaves them there
//!
//! All are processes of their own that take turns on the same files in the file cache; of five rounds the least counts.
//! `--mb N` sets the size of the large folders in megabytes (200 where nothing is said). Bars of segmentation have two more peers
//! where `BOUTWISE_PEERS_PYTHON` names a Python that has ruptures and hmmlearn. Of memory a single round is enough.

mod corpus;
mod counts;
mod peers;
mod segmentation;
mod usage;

use std::ffi::OsStr;
use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::thread::sleep;
use std::time::Duration;

use boutwise_track::Points;
use boutwise_truth::Tier;
use corpus::{CLEAR, SORTS, Sort};
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
const LARGE_MB: f64 = 200.0;
/// What a point has besides its place and time.
const SENSORS: &str = "<ele>212.4</ele><extensions><gpxtpx:TrackPointExtension><gpxtpx:hr>141</gpxtpx:hr><gpxtpx:cad>82</gpxtpx:cad></gpxtpx:TrackPointExtension></extensions>";

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match words[..] {
        [MEASURE, ..] => return measure(&arguments[1..]),
        [PEER, name, folder] => return be_peer(name, Path::new(folder)),
        _ => {}
    }
    // Segmentation is measured in this process: with memory as the program has it.
    boutwise::keep_memory();
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
    /// An audit of a folder against a plan.
    Planned(PathBuf, PathBuf),
    /// An audit of a folder with a cache.
    Cached(PathBuf, PathBuf),
    /// The same, after one file of one athlete was changed.
    Changed(PathBuf, PathBuf),
    /// A peer over a folder.
    Peer(&'static str, PathBuf),
    /// `gzip -dc` over the files of a folder.
    Gunzip(PathBuf),
}

/// What a figure is held against.
#[derive(Clone, Copy)]
enum Limit {
    AtMost(f64),
    AtLeast(f64),
}

use Limit::{AtLeast, AtMost};

/// A row of the table.
fn row(bar: &str, measured: &str, figure: f64, limit: Limit) {
    // As it is printed, so that nobody sees a figure that meets its bar and is said not to.
    let shown = (100.0 * figure).round() / 100.0;
    let (limit, is_met) = match limit {
        AtMost(most) => (format!("≤ {most}"), shown <= most),
        AtLeast(least) => (format!("≥ {least}"), shown >= least),
    };
    let is_met = if is_met { "yes" } else { "**no**" };
    println!("| {bar} | {measured} | {shown:.2} | {limit} | {is_met} |");
}

impl Bars {
    fn print(&self) {
        println!("| bar | measured | figure | bar at | met |\n|---|---|---:|---:|---|");
        let cadence = "60 min with cadence";
        self.against_peers(&format!("1. {cadence}, half GPX half TCX"), &["gpx-60min", "tcx-60min"], 0.5);
        self.against_peers(&format!("1. {cadence}, GPX"), &["gpx-60min"], 0.6);
        self.against_peers(&format!("1. {cadence}, TCX"), &["tcx-60min"], 0.6);
        self.against_peers("2. the same without cadence", &["gpx-60min-speed", "tcx-60min-speed"], 0.5);
        self.against_peers("2. the same in 20 min", &["gpx-20min", "tcx-20min"], 0.6);
        if let Some(count) = counts::pinned(counts::MANY.name) {
            let measured = format!("{count:.0}, as pinned in benches/audit/counts.csv");
            row(
                "3. thousands of instructions a point, 100 MB of GPX of 60 min",
                &measured,
                count / 1000.0,
                AtMost(3.0),
            );
        }
        self.one_recording();
        let named = |name| Sort::named(name).expect("one of the sorts");
        let six_hours = Sort { name: "gpx-6h", minutes: 360, ..CLEAR };
        self.a_point("5. a point of 6 h against 20 min, clear", six_hours, named("gpx-20min"), 1.1);
        self.a_point("5. a point of 24 h against 20 min, clear", named("gpx-24h"), named("gpx-20min"), 1.1);
        let (long, short) = (named("gpx-6h-hard"), named("gpx-20min-hard"));
        self.a_point("5. a point of 6 h against 20 min, hard to tell apart", long, short, 1.25);
        let medium = Sort { tier: Tier::Medium, cadence: false, ..CLEAR };
        self.segmentation("60 min, clear", CLEAR, 20, 4.0);
        self.segmentation("60 min, noisy", medium, 20, 2.0);
        self.segmentation("6 h, hard to tell apart", long, 5, 2.0);
        self.plan("60 recordings of 60 min asked of an athlete", named("gpx-60min"), 60, 1);
        self.plan("60 recordings of 20 min asked of each of 3 athletes", named("gpx-20min"), 60, 3);
        let few =
            self.plan("15 recordings of 20 min asked of each of 13 athletes", named("gpx-20min"), 15, 13);
        let many = self.plan("200 recordings of 20 min asked of an athlete", named("gpx-20min"), 200, 1);
        row("7. what a plan costs at 200 recordings / at 15", "the two above", many / few, AtMost(1.05));
        let day_s = 86_400;
        self.a_file("8. a file of one minute, 2000 against 100, an athlete", 1, day_s, [2000, 100], 1.1);
        let many = self.a_file(
            "8. a file of one minute, 10,000 against 100, a hundred athletes",
            100,
            day_s,
            [10_000, 100],
            1.1,
        );
        self.a_file("9. a file of the same minute in a flat folder, 600 against 150", 1, 0, [600, 150], 1.25);
        self.memory("10,000 files of a minute", &self.minutes(100, day_s, 10_000), Some(many));
        self.memory("large files of 60 min", &self.large(&["gpx-60min", "tcx-60min"]), None);
        self.memory(
            "one file of 500 MB, a point a second",
            &self.one("one-large", 2_220_000, 1, SENSORS),
            None,
        );
        self.memory("one file of 100 MB, bare points", &self.one("one-bare", 1_350_000, 1, ""), None);
        self.memory("100 points 20 h apart", &self.one("one-sparse", 100, 72_000, ""), None);
        self.threads();
        self.packed();
        self.again();
    }

    fn run(&self, contender: &Contender) -> Usage {
        let out = self.folder.join("result");
        let audit = |folder: &Path, threads: usize, more: &[&OsStr]| {
            let threads = threads.to_string();
            let words = ["audit".as_ref(), folder.as_os_str(), "--out".as_ref(), out.as_os_str()];
            let words = [self.program.as_os_str()].into_iter().chain(words);
            let ends = [OsStr::new("--quiet"), OsStr::new("--threads"), OsStr::new(&threads)];
            usage_of(&words.chain(ends).chain(more.iter().copied()).collect::<Vec<_>>())
        };
        match contender {
            Contender::Audit(folder, threads) => audit(folder, *threads, &[]),
            Contender::Planned(folder, plan) => audit(folder, 1, &[OsStr::new("--plan"), plan.as_os_str()]),
            Contender::Cached(folder, cache) => audit(folder, 1, &[OsStr::new("--cache"), cache.as_os_str()]),
            Contender::Changed(folder, cache) => {
                let mut file = File::options().append(true).open(&files(folder)[0]).expect("a file");
                file.write_all(b"\n").expect("the file takes a byte");
                self.run(&Contender::Cached(folder.clone(), cache.clone()))
            }
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

    /// A folder with so many sessions of a sort, each athlete's in a folder of their own; written at the first call.
    fn sessions(&self, sort: Sort, sessions: usize, athletes: usize) -> PathBuf {
        let folder = self.folder.join(format!("{}-{sessions}-{athletes}", sort.name));
        if !folder.is_dir() {
            sort.write(&folder, sessions, athletes).expect("the folder takes files");
        }
        folder
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

    /// A folder with so many files of a minute.
    fn minutes(&self, athletes: usize, apart_s: i64, count: usize) -> PathBuf {
        let folder = self.folder.join(format!("minutes-{athletes}-{apart_s}-{count}"));
        if !folder.is_dir() {
            corpus::write_minutes(&folder, count, athletes, apart_s).expect("the folder takes files");
        }
        folder
    }

    /// A folder with one file of so many points, so many seconds apart.
    fn one(&self, name: &str, points: i64, apart_s: i64, more: &str) -> PathBuf {
        let folder = self.folder.join(name);
        corpus::write_one(&folder, points, apart_s, more).expect("the folder takes a file");
        folder
    }

    fn against_peers(&self, bar: &str, sorts: &[&str], most: f64) {
        let folder = self.large(sorts);
        let peers = PEERS.map(|(name, _)| Contender::Peer(name, folder.clone()));
        let audit = Contender::Audit(folder.clone(), 1);
        let usages = self.in_turns(&[audit, peers[0].clone(), peers[1].clone()]);
        let [audit, old, new] = [usages[0], usages[1], usages[2]].map(|usage| usage.processor_s);
        let measured = format!("{audit:.3} s; 0.41 {old:.3} s, 0.42 {new:.3} s");
        let bar = format!("{bar}: audit / extraction by quick-xml");
        row(&bar, &measured, audit / old.min(new), AtMost(most));
    }

    fn one_recording(&self) {
        let [one, nine_hours] = [("gpx-20min", 1), ("gpx-60min", 9)]
            .map(|(name, count)| self.sessions(Sort::named(name).expect("one of the sorts"), count, 1));
        let peers = PEERS.map(|(name, _)| Contender::Peer(name, nine_hours.clone()));
        let usages = self.in_turns(&[Contender::Audit(one, 1), peers[0].clone(), peers[1].clone()]);
        let [audit, old, new] = [usages[0], usages[1], usages[2]].map(|usage| usage.processor_s);
        let measured = format!("{audit:.4} s; {:.4} s", old.min(new));
        let bar = "4. audit of one 20 min recording / quick-xml of 9 h of GPX";
        row(bar, &measured, audit / old.min(new), AtMost(0.5));
    }

    fn a_point(&self, bar: &str, long: Sort, short: Sort, most: f64) {
        // As many points of both.
        let folders = [long, short].map(|sort| {
            let sessions = 1440_usize.div_ceil(sort.minutes);
            (self.sessions(sort, sessions, sessions.min(10)), sessions * sort.minutes)
        });
        let usages =
            self.in_turns(&folders.each_ref().map(|(folder, _)| Contender::Audit(folder.clone(), 1)));
        let a_point = |at: usize| usages[at].processor_s / (60 * folders[at].1) as f64 * 1e6;
        let measured = format!("{:.2} and {:.2} µs", a_point(0), a_point(1));
        row(bar, &measured, a_point(0) / a_point(1), AtMost(most));
    }

    /// Millions of points a second, beside two libraries where a Python with them is named.
    fn segmentation(&self, what: &str, sort: Sort, sessions: u64, least: f64) {
        let speeds = segmentation::measure(&sort, sessions, &self.folder);
        let millions = speeds.points_per_s / 1e6;
        let peers = match speeds.peers_per_s {
            Some([kernel, markov]) => format!("KernelCPD {:.2}, hmmlearn {:.2}", kernel / 1e6, markov / 1e6),
            None => format!("peers where {} names a Python that has them", segmentation::PYTHON),
        };
        let bar = format!("6. segmentation, million points a second a thread: {what}");
        row(&bar, &peers, millions, AtLeast(least));
        for (at, (peer, times)) in [("KernelCPD", 2.0), ("hmmlearn", 13.0)].into_iter().enumerate() {
            if let Some(peers) = speeds.peers_per_s {
                row(
                    &format!("6. {what}: as many times {peer}"),
                    "",
                    speeds.points_per_s / peers[at],
                    AtLeast(times),
                );
            }
        }
    }

    /// What a plan with as many sessions as each athlete has recordings adds; hands back the ratio.
    fn plan(&self, what: &str, sort: Sort, recordings: usize, athletes: usize) -> f64 {
        let folder = self.sessions(sort, recordings * athletes, athletes);
        let plan = self.folder.join("plan.toml");
        let text = sort.plan_text(recordings, corpus::DAYS_APART as usize * athletes);
        fs::write(&plan, text).expect("the folder takes a file");
        let usages = self.in_turns(&[Contender::Planned(folder.clone(), plan), Contender::Audit(folder, 1)]);
        let [with, without] = [usages[0], usages[1]].map(|usage| usage.processor_s);
        let measured = format!("{with:.3} and {without:.3} s");
        row(&format!("7. audit with a plan / without: {what}"), &measured, with / without, AtMost(1.05));
        with / without
    }

    /// What a file costs among many against few; files of an athlete begin so many seconds apart. Hands back what the many took.
    fn a_file(&self, bar: &str, athletes: usize, apart_s: i64, counts: [usize; 2], most: f64) -> Usage {
        let usages =
            self.in_turns(&counts.map(|count| Contender::Audit(self.minutes(athletes, apart_s, count), 1)));
        let a_file = |at: usize| usages[at].processor_s / counts[at] as f64 * 1e6;
        let measured = format!("{:.0} and {:.0} µs", a_file(0), a_file(1));
        row(bar, &measured, a_file(0) / a_file(1), AtMost(most));
        usages[0]
    }

    /// The most memory, of one thread, against what the bar allows; measured once where it is not known yet.
    fn memory(&self, what: &str, folder: &Path, known: Option<Usage>) {
        let usage = known.unwrap_or_else(|| self.run(&Contender::Audit(folder.to_owned(), 1)));
        let sizes = files(folder).into_iter().map(|file| fs::metadata(file).map_or(0, |file| file.len()));
        let largest_mb = sizes.max().unwrap_or(0) as f64 / 1e6;
        let allowed_mb = 100.0 + 4.0 * largest_mb;
        let peak_mb = usage.peak_mb * 1.048_576;
        let measured = format!("{peak_mb:.0} MB of {allowed_mb:.0} MB; {:.2} s", usage.processor_s);
        let bar = format!("10. most memory / (100 MB + 4 × largest file × threads): {what}");
        row(&bar, &measured, peak_mb / allowed_mb, AtMost(1.0));
    }

    /// What it costs to do it again with a cache, of a hundred athletes.
    fn again(&self) {
        let sort = Sort::named("gpx-60min").expect("one of the sorts");
        let bytes = sort.session(0).expect("a session can be written").len();
        let sessions = (self.large_mb * 1e6 / bytes as f64).ceil() as usize;
        let folder = self.sessions(sort, sessions.max(100), 100);
        let [cache, other] = ["cache", "other-cache"].map(|name| self.folder.join(name));
        let same = Contender::Cached(folder.clone(), cache);
        let changed = Contender::Changed(folder.clone(), other.clone());
        for contender in [&same, &Contender::Cached(folder.clone(), other)] {
            self.run(contender);
            // What was changed less than two seconds before it was read is read again the next time.
            sleep(Duration::from_secs(3));
            self.run(contender);
        }
        let plain = Contender::Audit(folder, 1);
        let usages = [&same, &changed].map(|contender| self.in_turns(&[plain.clone(), contender.clone()]));
        let bars = [("nothing changed", 0.1), ("a file of one of 100 athletes changed", 0.12)];
        for ((what, most), usages) in bars.into_iter().zip(usages) {
            let [first, again] = [usages[0], usages[1]].map(|usage| usage.processor_s);
            let measured = format!("{again:.3} and {first:.3} s");
            row(&format!("13. {what} / without a cache"), &measured, again / first, AtMost(most));
        }
    }

    fn threads(&self) {
        let folder = self.large(&["gpx-60min", "tcx-60min"]);
        let usages = self.in_turns(&[1, 2].map(|threads| Contender::Audit(folder.clone(), threads)));
        let [one, two] = [usages[0], usages[1]].map(|usage| usage.wall_s);
        row("11. wall of 1 thread / of 2", &format!("{one:.3} and {two:.3} s"), one / two, AtLeast(1.8));
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
        let measured = format!("{packed:.3} s; {plain:.3} + {gunzip:.3} s");
        row("12. .gz / (plain + gzip -dc)", &measured, packed / (plain + gunzip), AtMost(0.5));
    }
}
