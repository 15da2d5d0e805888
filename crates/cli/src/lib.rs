//! The `boutwise` command as a library: typed arguments in, files and terminal out.
//!
//! [`Arguments`] is what a person may write; [`run`] does it. One module a command.
#![warn(missing_docs)]

mod args;
mod assign;
mod audit;
mod bouts;
mod columns;
mod demo;
mod interrupt;
mod longest;
mod manual;
mod memory;
mod plan;
mod summary;
mod terminal;
mod timings;
mod verify;

use boutwise_audit::without_names;

pub use args::{Arguments, Command};
pub use interrupt::{end_in_order, wait_for_the_end};
pub use memory::keep_memory;
pub use terminal::{brief, error};

/// How a command ended that could run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// No input failed or is partial.
    Clean,
    /// At least one input failed or is partial, or no recording was found.
    Faults,
}

impl Outcome {
    fn of(is_clean: bool) -> Self {
        if is_clean { Self::Clean } else { Self::Faults }
    }
}

/// Does what the arguments say.
///
/// # Errors
/// Where the command could not run at all: the input is missing, a plan, squad or settings file cannot be read,
/// the output cannot be written.
pub fn run(arguments: &Arguments) -> anyhow::Result<Outcome> {
    arguments.command.check()?;
    let common = &arguments.common;
    let done = match &arguments.command {
        Command::Assign(options) => assign::run(options, common),
        Command::Audit(options) => audit::run(options, common),
        Command::Longest(options) => longest::run(options, common),
        Command::Bouts(options) => bouts::run(options, common),
        Command::Plan(options) => plan::run(options, common),
        Command::Columns(options) => columns::run(options, common),
        Command::Verify(options) => verify::run(options, common),
        Command::Completions(options) => manual::completions(options),
        Command::Manual => manual::page(),
        Command::Demo(options) => demo::run(options, common),
    };
    let hides_names = arguments.command.hides_names();
    done.map_err(|error| if hides_names { anyhow::Error::msg(without_names(&*error)) } else { error })
}
