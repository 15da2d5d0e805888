//! The `boutwise` command: reads the arguments, runs, and turns the outcome into an exit status.

use std::hint::black_box;
use std::io::ErrorKind;
use std::process::ExitCode;

use boutwise::{Arguments, Outcome, brief, end_in_order, error, run, wait_for_the_end};
use clap::Parser;

/// Exit status where at least one input failed or is partial, or no recording was found.
const FINISHED_WITH_FAULTS: u8 = 1;
/// Exit status where the command could not run at all.
const COULD_NOT_RUN: u8 = 2;
/// Bytes of the block by which the C library learns how large blocks are here (own choice: more than a column of a day takes, and
/// below the 32 MB from which it gives each block back at once).
const LARGE_BLOCK: usize = 24 << 20;

fn main() -> ExitCode {
    keep_memory();
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(asked) => return tell(&asked),
    };
    // Without it signals end the program as they always do, and a later run clears what is left.
    _ = end_in_order();
    match run(&arguments) {
        Ok(Outcome::Clean) => ExitCode::SUCCESS,
        Ok(Outcome::Faults) => ExitCode::from(FINISHED_WITH_FAULTS),
        Err(reason) => {
            wait_for_the_end();
            error(&format!("{reason:#}"));
            ExitCode::from(COULD_NOT_RUN)
        }
    }
}

/// Lets freed memory stay with the program from one file to the next.
///
/// The C library of Linux gives memory back to the system once 128 kB lie free at the end of a heap, and each file would have its
/// pages made anew: 13,200 page faults in place of 3,800 on 200 recordings of an hour, and a tenth of the processor time; of two
/// of 24 h 18,300 in place of 10,800 with a block of 4 MB. It keeps twice the largest block that it ever gave back, up to 64 MB
/// (mallopt(3), M_MMAP_THRESHOLD); so one block is taken and given back, which nobody touches. Elsewhere that does nothing.
fn keep_memory() {
    drop(black_box(Vec::<u8>::with_capacity(LARGE_BLOCK)));
}

/// Prints the help or version that was asked for, or what is wrong with the arguments.
fn tell(asked: &clap::Error) -> ExitCode {
    let plain = asked.render().to_string();
    if asked.use_stderr() && brief(&plain) != plain {
        error(plain.strip_prefix("error: ").unwrap_or(&plain).trim_end());
        return ExitCode::from(COULD_NOT_RUN);
    }
    match asked.print() {
        Err(reason) if !asked.use_stderr() && reason.kind() != ErrorKind::BrokenPipe => {
            error(&format!("standard output takes nothing: {reason}"));
            ExitCode::from(COULD_NOT_RUN)
        }
        _ => ExitCode::from(if asked.use_stderr() { COULD_NOT_RUN } else { 0 }),
    }
}
