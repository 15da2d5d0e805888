//! What a person sees on the terminal: results on standard output, progress and messages on standard error.

use std::fmt;
use std::io::{self, IsTerminal, Write};
use std::num::NonZeroUsize;
use std::ops::ControlFlow;

use boutwise_audit::Watch;
use boutwise_track::shown;
use comfy_table::{ContentArrangement, Table, presets};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressState, ProgressStyle};

use rayon::ThreadPoolBuilder;

use crate::args::Common;
use crate::memory::use_large_pages;

/// Columns of a terminal whose width is not known; summaries are laid out for it.
const USUAL_WIDTH: u16 = 80;

/// Characters that lay texts out; every other that acts on a terminal is shown escaped, whosever name it came from.
const LAYOUT: [char; 2] = ['\n', '\t'];

/// Writes `text` to standard output. A reader who closed the pipe has seen enough: that is no error.
pub(crate) fn print(text: &str) -> io::Result<()> {
    let mut output = anstream::stdout().lock();
    match output.write_all(shown(text, &LAYOUT).as_bytes()).and_then(|()| output.flush()) {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        Err(error) => Err(io::Error::new(error.kind(), format!("standard output takes nothing: {error}"))),
        Ok(()) => Ok(()),
    }
}

/// Writes one message to standard error, unless all messages are unwanted.
pub(crate) fn message(common: &Common, text: &str) {
    if !common.quiet {
        _ = writeln!(anstream::stderr(), "{}", shown(text, &LAYOUT));
    }
}

/// Writes to standard error what was asked for beside the result. A standard error that takes nothing changes nothing.
pub(crate) fn note(text: &str) {
    _ = anstream::stderr().write_all(shown(text, &LAYOUT).as_bytes());
}

/// Longest word of a message that ends the program, in characters; of a longer one both ends are shown (own choice: paths are
/// shorter).
const WORD_MOST: usize = 120;
/// Longest such message in bytes, where it is one line and where it shows lines of a file (design of the command).
const MESSAGE_MOST: [usize; 2] = [590, 3990];

/// Writes the one line that says why the program ends. A standard error that takes nothing changes nothing.
pub fn error(text: &str) {
    _ = writeln!(anstream::stderr(), "error: {}", brief(&shown(text, &LAYOUT)));
}

/// A message with what it quotes cut to what a person reads.
pub fn brief(text: &str) -> String {
    let word = |word: &str| {
        let letters: Vec<char> = word.chars().collect();
        if letters.len() <= WORD_MOST {
            return word.to_owned();
        }
        let half = |letters: &[char]| letters.iter().collect::<String>();
        format!("{}…{}", half(&letters[..WORD_MOST / 2]), half(&letters[letters.len() - WORD_MOST / 2..]))
    };
    let line = |line: &str| line.split(' ').map(word).collect::<Vec<_>>().join(" ");
    let mut text = text.split('\n').map(line).collect::<Vec<_>>().join("\n");
    let most = MESSAGE_MOST[usize::from(text.contains('\n'))];
    if text.len() > most {
        text.truncate(text.floor_char_boundary(most));
        text.push('…');
    }
    text
}

/// A table without frame lines, cut to the width of the terminal.
pub(crate) fn table(header: &[&str]) -> Table {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_header(header.iter().copied());
    if !io::stdout().is_terminal() {
        table.set_width(USUAL_WIDTH);
    }
    table
}

/// Does some work and shows on standard error how far it is; nothing where that is no terminal or unwanted.
pub(crate) fn watched<T>(common: &Common, work: impl FnOnce(Watch<'_>) -> T) -> T {
    work_along(common);
    let hidden = common.quiet || !io::stderr().is_terminal();
    let target = if hidden { ProgressDrawTarget::hidden() } else { ProgressDrawTarget::stderr() };
    let style = ProgressStyle::with_template("{pos}/{len} files  {wide_bar}  {rate} a second, {eta} left")
        .unwrap_or_else(|_| ProgressStyle::default_bar())
        .with_key("rate", |state: &ProgressState, out: &mut dyn fmt::Write| {
            let _ = write!(out, "{:.0}", state.per_sec());
        });
    let bar = ProgressBar::with_draw_target(None, target).with_style(style);
    let done = work(&|done, total| {
        bar.set_length(total as u64);
        bar.set_position(done as u64);
        ControlFlow::Continue(())
    });
    bar.finish_and_clear();
    done
}

/// Makes this thread, which would only wait, one of those that do the work of the process. Its memory grows by larger steps than that
/// of others, too: where it works alone, an audit of 200 known files makes 800 calls to the system less.
fn work_along(common: &Common) {
    let threads = common.threads().map_or(0, NonZeroUsize::get);
    // Where that fails, whoever needs threads begins their own. They live as long as the process.
    let workers = ThreadPoolBuilder::new().num_threads(threads).start_handler(|_| use_large_pages());
    std::mem::forget(workers.use_current_thread().build());
}

/// The table as text without blanks at the ends of lines.
pub(crate) fn trimmed(table: &Table) -> String {
    table.to_string().lines().map(str::trim_end).collect::<Vec<_>>().join("\n")
}

/// How wide texts are laid out.
pub(crate) fn width() -> usize {
    if io::stdout().is_terminal() { textwrap::termwidth() } else { usize::from(USUAL_WIDTH) }
}

/// The text in lines that fit the terminal, the further ones indented.
pub(crate) fn wrapped(text: &str) -> String {
    textwrap::fill(text, textwrap::Options::new(width()).subsequent_indent("  "))
}

/// `1 file`, `2 files`.
pub(crate) fn counted(count: usize, one: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {one}s") }
}

/// `+12 s`, `−3 s`.
pub(crate) fn signed_seconds(seconds: f64) -> String {
    let rounded = seconds.round();
    let sign = if rounded < 0.0 { "−" } else { "+" };
    format!("{sign}{:.0} s", rounded.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_message_quotes_is_cut_and_the_rest_stays() {
        let plain = "the folder a/b cannot be read\n1 | x   y\n  |     ^";
        assert_eq!(brief(plain), plain);
        let long = format!("the folder {}/é.gpx cannot be read: File name too long", "ä".repeat(5000));
        assert!(
            brief(&long).ends_with("ä/é.gpx cannot be read: File name too long") && brief(&long).len() < 600
        );
        assert!(brief(&"a ä".repeat(5000)).len() < 600 && brief(&"a ä\n".repeat(5000)).len() < 4000);
    }
}
