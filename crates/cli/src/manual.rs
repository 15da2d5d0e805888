//! `boutwise completions` and `boutwise manual`: made from the arguments, so that they never differ from them.

use anyhow::Result;
use clap::CommandFactory;

use crate::args::Completions;
use crate::{Arguments, Outcome, terminal};

pub(crate) fn completions(options: &Completions) -> Result<Outcome> {
    let mut command = Arguments::command();
    let name = command.get_name().to_owned();
    let mut text = Vec::new();
    clap_complete::generate(options.shell, &mut command, name, &mut text);
    terminal::print(&String::from_utf8(text)?)?;
    Ok(Outcome::Clean)
}

/// One page: the command itself, then each of its commands.
pub(crate) fn page() -> Result<Outcome> {
    let mut command = Arguments::command();
    command.build();
    let mut text = Vec::new();
    clap_mangen::Man::new(command.clone()).render(&mut text)?;
    for below in command.get_subcommands().filter(|below| below.get_name() != "help") {
        let man = clap_mangen::Man::new(below.clone());
        man.render_name_section(&mut text)?;
        man.render_synopsis_section(&mut text)?;
        man.render_description_section(&mut text)?;
        man.render_options_section(&mut text)?;
    }
    terminal::print(&String::from_utf8(text)?)?;
    Ok(Outcome::Clean)
}
