//! What a process costs: time of the processor, time on the wall, and memory at its largest.

use std::ffi::OsStr;
use std::process::{Command, Stdio};
use std::time::Instant;

use nix::sys::resource::{UsageWho, getrusage};
use nix::sys::time::TimeValLike;

/// The word with which this program measures another and tells what it cost.
pub(crate) const MEASURE: &str = "--measure";

/// What a process cost.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Usage {
    /// User and system time in seconds.
    pub(crate) processor_s: f64,
    pub(crate) wall_s: f64,
    /// Largest resident memory in megabytes.
    pub(crate) peak_mb: f64,
}

impl Usage {
    /// The least of each figure.
    pub(crate) fn least(self, other: Self) -> Self {
        Self {
            processor_s: self.processor_s.min(other.processor_s),
            wall_s: self.wall_s.min(other.wall_s),
            peak_mb: self.peak_mb.min(other.peak_mb),
        }
    }
}

/// Runs a command in a process of its own and tells what it cost. It goes through a copy of this program, since a system
/// tells what all children of a process took together.
pub(crate) fn usage_of(command: &[&OsStr]) -> Usage {
    let own = std::env::current_exe().expect("the program knows its place");
    let output = Command::new(own)
        .arg(MEASURE)
        .args(command)
        .stderr(Stdio::inherit())
        .output()
        .expect("the program starts");
    let text = String::from_utf8_lossy(&output.stdout);
    let figures: Vec<f64> = text.split_whitespace().filter_map(|figure| figure.parse().ok()).collect();
    match figures[..] {
        [processor_s, wall_s, peak_mb] => Usage { processor_s, wall_s, peak_mb },
        _ => panic!("{command:?} gave no figures: {text}"),
    }
}

/// Runs a command and prints what it cost: the other side of [`usage_of`].
pub(crate) fn measure(command: &[String]) {
    let begin = Instant::now();
    let status = Command::new(&command[0])
        .args(&command[1..])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .expect("the command starts");
    let wall_s = begin.elapsed().as_secs_f64();
    // An audit ends with 1 where an input is odd.
    assert!(matches!(status.code(), Some(0 | 1)), "{command:?}: {status}");
    let usage = getrusage(UsageWho::RUSAGE_CHILDREN).expect("the system counts");
    let processor_s = (usage.user_time() + usage.system_time()).num_microseconds() as f64 * 1e-6;
    println!("{processor_s} {wall_s} {}", usage.max_rss() as f64 / 1024.0);
}
