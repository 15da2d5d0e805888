//! The `boutwise` command: reads the arguments, runs, and turns the outcome into an exit status.

use std::io::ErrorKind;
use std::process::ExitCode;

use boutwise::{Arguments, Outcome, end_in_order, error, run};
use clap::Parser;

/// Exit status where at least one input failed or is partial, or no recording was found.
const FINISHED_WITH_FAULTS: u8 = 1;
/// Exit status where the command could not run at all.
const COULD_NOT_RUN: u8 = 2;

fn main() -> ExitCode {
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
            error(&format!("{reason:#}"));
            ExitCode::from(COULD_NOT_RUN)
        }
    }
}

/// Prints the help or version that was asked for, or what is wrong with the arguments.
fn tell(asked: &clap::Error) -> ExitCode {
    match asked.print() {
        Err(reason) if !asked.use_stderr() && reason.kind() != ErrorKind::BrokenPipe => {
            error(&format!("standard output takes nothing: {reason}"));
            ExitCode::from(COULD_NOT_RUN)
        }
        _ => ExitCode::from(if asked.use_stderr() { COULD_NOT_RUN } else { 0 }),
    }
}
