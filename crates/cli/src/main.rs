//! The `boutwise` command: reads the arguments, runs, and turns the outcome into an exit status.

use std::io::ErrorKind;
use std::process::ExitCode;

use boutwise::{Arguments, Outcome, brief, end_in_order, error, keep_memory, run, wait_for_the_end};
use clap::Parser;

/// Exit status where at least one input failed or is partial, or no recording was found.
const FINISHED_WITH_FAULTS: u8 = 1;
/// Exit status where the command could not run at all.
const COULD_NOT_RUN: u8 = 2;

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
