//! What an audit cost, for who asks with `--timings`.

use std::fmt::Write;
use std::sync::LazyLock;
use std::time::{Duration, Instant};

use boutwise_audit::{CacheUse, Inputs, Stage, Taken, Timings};
use comfy_table::CellAlignment;

use crate::terminal;

/// Bytes in a megabyte.
const MB: f64 = 1e6;

/// Measures a run from here on.
pub(crate) struct Stopwatch {
    begun: Taken,
    stages: Timings,
}

impl Stopwatch {
    pub(crate) fn begin() -> Self {
        Self { begun: of_process(), stages: Timings::new(of_thread) }
    }

    /// Where the audit adds up what its stages take.
    pub(crate) fn stages(&self) -> Timings {
        self.stages.clone()
    }

    /// What was taken so far, a line a stage, and what that comes to a second; `size_bytes` is how much was written, and
    /// `cache` how far one helped.
    pub(crate) fn text(&self, inputs: &Inputs, size_bytes: u64, cache: Option<&CacheUse>) -> String {
        let all = of_process() - self.begun;
        let stages = Stage::ALL.map(|stage| (stage.text(), self.stages.of(stage)));
        let known = stages.iter().fold(Taken::default(), |sum, (_, taken)| sum + *taken);
        // Begin and end, the files about the season, the list of recordings; of the wall nothing can be told here, since
        // threads work side by side.
        let rest = ("everything else", Taken { wall: Duration::ZERO, ..all - known });
        let mut table = match TELLS_PROCESSOR {
            true => terminal::table(&["", "processor s", "%", "threads' wall s"]),
            false => terminal::table(&["", "threads' wall s"]),
        };
        for (text, taken) in stages.into_iter().chain([rest]) {
            let wall = if taken.wall.is_zero() { String::new() } else { seconds(taken.wall) };
            let share = 100.0 * taken.processor.as_secs_f64() / all.processor.as_secs_f64();
            match TELLS_PROCESSOR {
                true => {
                    table.add_row([text.to_owned(), seconds(taken.processor), format!("{share:.0}"), wall])
                }
                false => table.add_row([text.to_owned(), wall]),
            };
        }
        for column in table.column_iter_mut().skip(1) {
            column.set_cell_alignment(CellAlignment::Right);
        }
        let mut text = terminal::trimmed(&table) + "\n\n";
        let wall_s = all.wall.as_secs_f64();
        let mb = inputs.size_bytes() as f64 / MB;
        let points = self.stages.points() as f64;
        let _ = match TELLS_PROCESSOR {
            true => writeln!(text, "{} s of processor time in {wall_s:.3} s.", seconds(all.processor)),
            false => writeln!(text, "{wall_s:.3} s."),
        };
        let _ = writeln!(
            text,
            "{} of {mb:.1} MB with {points:.0} points: {:.0} files, {:.1} MB and {:.0} points a second.",
            terminal::counted(inputs.len(), "file"),
            inputs.len() as f64 / wall_s,
            mb / wall_s,
            points / wall_s,
        );
        if let Some(CacheUse { known, read, .. }) = cache {
            let _ = writeln!(text, "{known} known from the cache, {read} read.");
        }
        let _ = write!(text, "{:.1} MB written", size_bytes as f64 / MB);
        if let Some(peak) = peak_mb() {
            let _ = write!(text, "; {peak:.0} MB of memory at most");
        }
        text + ".\n"
    }
}

fn seconds(time: Duration) -> String {
    format!("{:.3}", time.as_secs_f64())
}

/// Time on the wall since it was first asked for.
fn wall() -> Duration {
    static BEGIN: LazyLock<Instant> = LazyLock::new(Instant::now);
    BEGIN.elapsed()
}

fn of_thread() -> Taken {
    Taken { processor: system::of_thread(), wall: wall() }
}

fn of_process() -> Taken {
    Taken { processor: system::of_process(), wall: wall() }
}

use system::{TELLS_PROCESSOR, peak_mb};

#[cfg(unix)]
mod system {
    use std::time::Duration;

    use nix::time::{ClockId, clock_gettime};

    /// Whether the system tells processor time.
    pub(super) const TELLS_PROCESSOR: bool = true;

    fn of(clock: ClockId) -> Duration {
        clock_gettime(clock).map_or(Duration::ZERO, Duration::from)
    }

    pub(super) fn of_thread() -> Duration {
        of(ClockId::CLOCK_THREAD_CPUTIME_ID)
    }

    pub(super) fn of_process() -> Duration {
        of(ClockId::CLOCK_PROCESS_CPUTIME_ID)
    }

    /// Largest resident memory in megabytes. Linux tells it in units of 1024 bytes, others in other ones.
    #[cfg(target_os = "linux")]
    pub(super) fn peak_mb() -> Option<f64> {
        use nix::sys::resource::{UsageWho, getrusage};

        getrusage(UsageWho::RUSAGE_SELF).ok().map(|usage| usage.max_rss() as f64 * 1024.0 / super::MB)
    }

    #[cfg(not(target_os = "linux"))]
    pub(super) fn peak_mb() -> Option<f64> {
        None
    }
}

#[cfg(not(unix))]
mod system {
    use std::time::Duration;

    pub(super) const TELLS_PROCESSOR: bool = false;

    pub(super) fn of_thread() -> Duration {
        Duration::ZERO
    }

    pub(super) fn of_process() -> Duration {
        Duration::ZERO
    }

    pub(super) fn peak_mb() -> Option<f64> {
        None
    }
}
