//! Reads a plan file: TOML, key by key, with the place of every flaw.

use std::ops::Range;
use std::path::Path;

use chrono::{NaiveDate, Weekday};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::error::{Flaw, suggestion};
use crate::keys::{self, Value};
use crate::notation::read_distance_m;
use crate::plan::{NO_BLOCK, folded_label};
use crate::{
    Block, MAX_BLOCK_SESSIONS, MAX_BLOCKS, MAX_EVERY_DAYS, MAX_PLAN_SESSIONS, NominalSpeeds, Pause, Plan,
    Prescription, Rhythm,
};

/// Running speeds that a plan may fix, in metres per second (own choice).
const RUN_SPEED_LIMITS_M_PER_S: (f64, f64) = (1.0, 7.0);
/// Walking speeds that a plan may fix, in metres per second (own choice).
const WALK_SPEED_LIMITS_M_PER_S: (f64, f64) = (0.5, 3.0);

const PLAN_KEYS: [&str; 6] = ["title", "goal", "run_speed_m_per_s", "walk_speed_m_per_s", "block", "pause"];
const PAUSE_KEYS: [&str; 2] = ["from", "to"];
const BLOCK_KEYS: [&str; 6] = ["label", "sessions", "every_days", "days", "session", "between"];
const SESSION_EXAMPLE: &str = "\"6:00 walk, 9 x (0:40 run, 1:20 walk), 4:00 walk\"";

/// Reads a plan; a flaw's span counts bytes of `text`.
pub(crate) fn read_plan(text: &str, name: &str) -> Result<Plan, Flaw> {
    let document = keys::read_toml(text)?;
    let table = document.get_ref();
    keys::refuse_unknown(table, "in a plan", &PLAN_KEYS)?;
    let title = match table.get("title") {
        Some(value) => keys::name(value, "title", "\"Spring beginners\"")?.to_owned(),
        None => {
            Path::new(name).file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default()
        }
    };
    let mut speeds = NominalSpeeds::default();
    if let Some(value) = table.get("run_speed_m_per_s") {
        speeds.run_m_per_s = keys::number(value, "run_speed_m_per_s", RUN_SPEED_LIMITS_M_PER_S, "2.5")?;
    }
    if let Some(value) = table.get("walk_speed_m_per_s") {
        speeds.walk_m_per_s = keys::number(value, "walk_speed_m_per_s", WALK_SPEED_LIMITS_M_PER_S, "1.5")?;
    }
    let blocks = match table.get("block") {
        None => {
            return Err(Flaw::new(
                0..text.len().min(1),
                "a plan without a block",
                "at least one [[block]] with its session",
                format!("add a line [[block]] and a line session = {SESSION_EXAMPLE}"),
            ));
        }
        Some(value) => read_blocks(text, value, speeds)?,
    };
    let goal_m = table.get("goal").map(|value| read_goal(text, value)).transpose()?;
    let pauses = table.get("pause").map_or(Ok(Vec::new()), read_pauses)?;
    Ok(Plan { title, goal_m, blocks, speeds, pauses })
}

/// The distance to be run without a break in the end.
fn read_goal(file: &str, value: &Value<'_>) -> Result<f64, Flaw> {
    const EXAMPLE: &str = "\"3 km\"";
    let text = keys::text(value, "goal", EXAMPLE)?;
    let in_file = |flaw: Flaw| Flaw { span: keys::span_in_file(file, value, flaw.span.clone()), ..flaw };
    read_distance_m(text).map_err(in_file)
}

fn read_pauses(value: &Value<'_>) -> Result<Vec<Pause>, Flaw> {
    let tables = match value.get_ref() {
        DeValue::Table(_) => {
            return Err(Flaw::new(
                value.span(),
                "a pause between single brackets",
                "[[pause]]",
                "write [[pause]] with two brackets on each side",
            ));
        }
        _ => keys::list(value, "pause", "a table headed [[pause]]")?,
    };
    let mut pauses = Vec::new();
    for value in tables {
        let DeValue::Table(table) = value.get_ref() else {
            return Err(Flaw::new(
                value.span(),
                "a pause that is no table",
                "[[pause]]",
                "head it [[pause]]",
            ));
        };
        keys::refuse_unknown(table, "in a pause", &PAUSE_KEYS)?;
        let day = |key: &str| match table.get(key) {
            Some(value) => read_day(value, key),
            None => Err(Flaw::new(
                value.span(),
                format!("a pause without {key}"),
                "the first and the last day on which the plan waits",
                format!("add a line {key} = 2026-10-12 with the day that is meant"),
            )),
        };
        let (from, to) = (day("from")?, day("to")?);
        if to < from {
            return Err(Flaw::new(
                table.get("to").map_or(value.span(), Spanned::span),
                format!("a pause that ends on {to}, before it begins on {from}"),
                "a last day that is not before the first one",
                "put the earlier day in from and the later one in to",
            ));
        }
        pauses.push(Pause { from, to });
    }
    pauses.sort_by_key(|pause| (pause.from, pause.to));
    Ok(pauses)
}

fn read_day(value: &Value<'_>, key: &str) -> Result<NaiveDate, Flaw> {
    let written = match value.get_ref() {
        DeValue::Datetime(day) if day.time.is_none() => day.to_string(),
        DeValue::String(day) => day.trim().to_owned(),
        _ => String::new(),
    };
    NaiveDate::parse_from_str(&written, "%Y-%m-%d").map_err(|_| {
        Flaw::new(
            value.span(),
            format!("{key} is no day"),
            "a day, year first, as in 2026-10-12",
            format!("write {key} = 2026-10-12 with the day that is meant"),
        )
    })
}

fn read_blocks(file: &str, value: &Value<'_>, speeds: NominalSpeeds) -> Result<Vec<Block>, Flaw> {
    if value.get_ref().is_table() {
        return Err(Flaw::new(
            value.span(),
            "a block between single brackets",
            "[[block]]",
            "write [[block]] with two brackets on each side",
        ));
    }
    let tables = keys::list(value, "block", "a table headed [[block]]")?;
    if tables.is_empty() || tables.len() > MAX_BLOCKS {
        return Err(Flaw::new(
            value.span(),
            format!("{} blocks", tables.len()),
            format!("1 to {MAX_BLOCKS} blocks"),
            "join blocks that ask the same, or part the plan in two files",
        ));
    }
    let mut blocks: Vec<Block> = Vec::new();
    let mut label_spans: Vec<Range<usize>> = Vec::new();
    for (index, value) in tables.into_iter().enumerate() {
        let DeValue::Table(table) = value.get_ref() else {
            return Err(Flaw::new(
                value.span(),
                "a block that is no table",
                "[[block]]",
                "head it [[block]]",
            ));
        };
        let block = read_block(file, table, value.span(), index, speeds)?;
        let label_span = table.get("label").map_or(value.span(), Spanned::span);
        let label = folded_label(&block.label);
        if label == NO_BLOCK {
            return Err(Flaw::new(
                label_span,
                format!("a block with the label \"{}\"", block.label),
                format!("another label: {NO_BLOCK} in a file of corrections is no block"),
                "give the block another label",
            ));
        }
        if let Some(twin) = blocks.iter().position(|earlier| folded_label(&earlier.label) == label) {
            return Err(Flaw::new(
                label_span,
                format!("the label \"{}\" for a second time", block.label),
                format!("a label of its own, capitals apart: block {} has this one", twin + 1),
                "give each block its own label",
            ));
        }
        label_spans.push(label_span);
        blocks.push(block);
        let sessions: u32 = blocks.iter().map(|block| block.sessions).sum();
        if sessions > MAX_PLAN_SESSIONS {
            return Err(Flaw::new(
                table.get("sessions").map_or(value.span(), Spanned::span),
                format!("{sessions} sessions up to this block"),
                format!("at most {MAX_PLAN_SESSIONS} in a plan"),
                "part the plan in two files, and give the second its start in the squad file",
            ));
        }
    }
    Ok(blocks)
}

fn read_block(
    file: &str,
    table: &DeTable<'_>,
    span: Range<usize>,
    index: usize,
    speeds: NominalSpeeds,
) -> Result<Block, Flaw> {
    keys::refuse_unknown(table, "in a block", &BLOCK_KEYS)?;
    let label = match table.get("label") {
        None => default_label(index),
        Some(value) => match keys::name(value, "label", "\"A\"")? {
            "" => {
                return Err(Flaw::new(value.span(), "an empty label", "a short name", "write label = \"A\""));
            }
            label => label.to_owned(),
        },
    };
    let rhythm = match (table.get("every_days"), table.get("days")) {
        (Some(_), Some(days)) => {
            return Err(Flaw::new(
                days.span(),
                "both every_days and days",
                "one of the two, or neither",
                "take one of the lines out",
            ));
        }
        (Some(value), None) => Rhythm::EveryDays(keys::whole(value, "every_days", (1, MAX_EVERY_DAYS), "2")?),
        (None, Some(value)) => Rhythm::Weekdays(read_weekdays(value)?),
        (None, None) => Rhythm::Undated,
    };
    let Some(session) = table.get("session") else {
        return Err(Flaw::new(
            span,
            "a block without its session",
            "session = and the intervals",
            format!("add session = {SESSION_EXAMPLE}"),
        ));
    };
    let asked = read_asked(file, session, speeds)?;
    let sessions = match table.get("sessions") {
        // At most as many as a list may hold.
        None => asked.len() as u32,
        Some(value) => keys::whole(value, "sessions", (1, MAX_BLOCK_SESSIONS), "6")?,
    };
    let between = match table.get("between") {
        None => None,
        Some(value) => Some(read_prescription(file, value, "between", "\"35:00 walk\"", speeds)?),
    };
    Ok(Block { label, sessions, rhythm, asked, between })
}

/// One session, or a list of several.
fn read_asked(file: &str, value: &Value<'_>, speeds: NominalSpeeds) -> Result<Vec<Prescription>, Flaw> {
    let read = |value: &Value<'_>| read_prescription(file, value, "session", SESSION_EXAMPLE, speeds);
    let DeValue::Array(list) = value.get_ref() else { return Ok(vec![read(value)?]) };
    if list.is_empty() || list.len() > MAX_BLOCK_SESSIONS as usize {
        return Err(Flaw::new(
            value.span(),
            format!("a list of {} sessions", list.len()),
            format!("1 to {MAX_BLOCK_SESSIONS} sessions"),
            format!("write session = [{SESSION_EXAMPLE}] with each session between quotes"),
        ));
    }
    list.iter().map(read).collect()
}

fn read_prescription(
    file: &str,
    value: &Value<'_>,
    key: &str,
    example: &str,
    speeds: NominalSpeeds,
) -> Result<Prescription, Flaw> {
    let text = keys::text(value, key, example)?;
    Prescription::read(text, speeds)
        .map_err(|flaw| Flaw { span: keys::span_in_file(file, value, flaw.span.clone()), ..flaw })
}

fn read_weekdays(value: &Value<'_>) -> Result<Vec<Weekday>, Flaw> {
    const EXAMPLE: &str = "[\"Tue\", \"Thu\", \"Sun\"]";
    const NAMES: [&str; 7] = ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"];
    let mut days = Vec::new();
    for named in keys::list(value, "days", EXAMPLE)? {
        let name = keys::text(named, "days", EXAMPLE)?.trim();
        let Ok(day) = name.parse::<Weekday>() else {
            // The names have more than three letters, each of one byte.
            let short = NAMES.map(|name| &name[..3]);
            let mend = match suggestion(name, NAMES).or_else(|| suggestion(name, short)) {
                Some(meant) => format!("write \"{}{}\"", meant[..1].to_uppercase(), &meant[1..3]),
                None => format!("write days = {EXAMPLE}"),
            };
            return Err(Flaw::new(
                named.span(),
                format!("\"{name}\" is no day of the week"),
                "Mon, Tue, Wed, Thu, Fri, Sat or Sun",
                mend,
            ));
        };
        if days.contains(&day) {
            return Err(Flaw::new(
                named.span(),
                format!("\"{name}\" for a second time"),
                "each day once",
                "take it out; two sessions on one day cannot be planned",
            ));
        }
        days.push(day);
    }
    if days.is_empty() {
        return Err(Flaw::new(
            value.span(),
            "no day named",
            "at least one day of the week",
            "name the days, or take the line out",
        ));
    }
    days.sort_by_key(Weekday::num_days_from_monday);
    Ok(days)
}

/// A, B, …, Z, AA, AB, …
fn default_label(index: usize) -> String {
    let letter = char::from(b'A' + (index % 26) as u8);
    match index / 26 {
        0 => letter.to_string(),
        more => format!("{}{letter}", default_label(more - 1)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HARBOUR: &str = r#"
title = "Harbour beginners, spring"

[[block]]
label = "A"
sessions = 6
every_days = 2
session = "6:00 walk, 9 x (0:40 run, 1:20 walk), 4:00 walk"
between = "35:00 walk"

[[block]]
label = "B"
sessions = 3
every_days = 2
session = "21:00 run"
"#;

    #[test]
    fn a_flaw_in_the_notation_is_shown_in_the_line_of_the_file() {
        let error = Plan::parse(&HARBOUR.replace("1:20 walk", "1:20 wlak"), "harbour.toml").unwrap_err();
        assert_eq!(
            error.to_string(),
            "harbour.toml, line 8, column 43: \"wlak\" is neither run nor walk\n  \
             |\n\
             8 | 9 x (0:40 run, 1:20 wlak), 4:00 walk\"\n  \
             |                     ^^^^\n\
             expected: run or walk\n\
             to mend: write walk"
        );
    }

    #[test]
    fn titles_and_labels_that_are_too_long_for_every_row_are_errors() {
        let plan = |title: usize, label: usize| {
            let (title, label) = ("t".repeat(title), "l".repeat(label));
            let text = format!("title = '{title}'\n[[block]]\nlabel = '{label}'\nsession = '5:00 run'");
            Plan::parse(&text, "p.toml").map_err(|error| (error.line(), error.problem().to_owned()))
        };
        assert!(plan(200, 200).is_ok());
        assert_eq!(plan(201, 1).unwrap_err(), (1, "a name of 201 letters".to_owned()));
        assert_eq!(plan(1, 300).unwrap_err(), (3, "a name of 300 letters".to_owned()));
    }

    #[test]
    fn every_flaw_of_a_plan_names_its_line_and_how_to_mend_it() {
        let cases = [
            ("titel = 'x'\n[[block]]\nsession = '5:00 run'", 1, "unknown key \"titel\"", "write title"),
            ("[[block]]\nsesion = '5:00 run'", 2, "unknown key \"sesion\"", "write session"),
            ("[[block]]\nsession = '5:00 run'\nzzz = 1", 3, "unknown key \"zzz\"", "take the line out"),
            ("title = 'x'", 1, "a plan without a block", "[[block]]"),
            ("", 1, "a plan without a block", "[[block]]"),
            (
                "title = \u{201c}x\u{201d}\n[[block]]\nsession = '5:00 run'",
                1,
                "the curly quote \u{201c}",
                "straight",
            ),
            ("[[block]]\nsession = \u{ab}5:00 run\u{bb}", 2, "the curly quote \u{ab}", "straight"),
            ("goal = 5\n[[block]]\nsession = '5:00 run'", 1, "goal is a whole number", "\"3 km\""),
            ("goal = 'far'\n[[block]]\nsession = '5:00 run'", 1, "no distance", "write 3 km"),
            ("goal = '30 min'\n[[block]]\nsession = '5:00 run'", 1, "is no distance", "write 3 km"),
            ("[block]\nsession = '5:00 run'", 1, "single brackets", "two brackets"),
            ("[[block]]\nsessions = 2", 1, "a block without its session", "add session ="),
            ("[[block]]\nsession = '5:00 run'\nsessions = 0", 3, "sessions = 0", "sessions = 6"),
            (
                "[[block]]\nsession = '5:00 run'\nsessions = 200\n[[block]]\nsession = '5:00 run'\nsessions = 200\n\
                 [[block]]\nsession = '5:00 run'",
                7,
                "401 sessions up to this block",
                "part the plan",
            ),
            ("[[block]]\nsession = '5:00 run'\nsessions = '6'", 3, "sessions is a text", "sessions = 6"),
            ("[[block]]\nsession = '5:00 run'\nsessions = -1", 3, "sessions = -1", "sessions = 6"),
            ("[[block]]\nsession = '5:00 run'\nevery_days = 2\ndays = ['Mon']", 4, "both", "take one"),
            ("[[block]]\nsession = '5:00 run'\ndays = ['Mno']", 3, "no day of the week", "\"Mon\""),
            ("[[block]]\nsession = '5:00 run'\ndays = ['Tuseday']", 3, "no day of the week", "\"Tue\""),
            ("[[block]]\nsession = '5:00 run'\ndays = ['Mon', 'monday']", 3, "second time", "take it out"),
            ("[[block]]\nsession = '5:00 run'\ndays = []", 3, "no day named", "name the days"),
            ("[[block]]\nsession = '5:00 run'\ndays = 'Mon'", 3, "days is a text", "[\"Tue\""),
            ("[[block]]\nsession = 25", 2, "session is a whole number", "session = \"6:00 walk"),
            (
                "[[block]]\nlabel = 'A'\nsession = '5:00 run'\n[[block]]\nlabel = 'A'\nsession = '5:00 run'",
                5,
                "for a second time",
                "its own label",
            ),
            ("[[block]]\nlabel = ' '\nsession = '5:00 run'", 2, "an empty label", "label = \"A\""),
            ("[[block]]\nsession = '5:00 run", 2, "", "check quotes"),
            ("run_speed_m_per_s = 25\n[[block]]\nsession = '5:00 run'", 1, "= 25", "2.5"),
            ("[[block]]\nsession = '''\n5:00 walk,\n3:00 jog'''", 4, "\"jog\"", "write run"),
        ];
        for (text, line, problem, mend) in cases {
            let error = Plan::parse(text, "p.toml").unwrap_err();
            assert_eq!(error.line(), line, "{text}\n{error}");
            assert!(error.problem().contains(problem) && error.mend().contains(mend), "{text}\n{error}");
        }
    }

    #[test]
    fn a_goal_is_a_distance() {
        for (written, metres) in [("3 km", 3000.0), ("4500 m", 4500.0), (" 5.5km ", 5500.0)] {
            let plan = Plan::parse(&format!("goal = '{written}'\n{HARBOUR}"), "p.toml").unwrap();
            assert_eq!(plan.goal_m, Some(metres));
        }
        assert_eq!(Plan::parse(HARBOUR, "p.toml").unwrap().goal_m, None);
    }

    #[test]
    fn labels_that_corrections_cannot_tell_apart_are_errors() {
        let plan = |second: &str| {
            let text = format!(
                "[[block]]\nlabel = 'A'\nsession = '5:00 run'\n[[block]]\nlabel = '{second}'\nsession = '5:00 run'"
            );
            Plan::parse(&text, "p.toml").map_err(|error| (error.line(), error.problem().to_owned()))
        };
        for label in ["A", "a", " a "] {
            let problem = format!("the label \"{label}\" for a second time");
            assert_eq!(plan(label).unwrap_err().0, 5, "{problem}");
        }
        assert_eq!(plan("None").unwrap_err(), (5, "a block with the label \"None\"".to_owned()));
        assert!(plan("b").is_ok());
    }

    #[test]
    fn labels_go_on_after_z() {
        assert_eq!([0, 25, 26, 51, 52].map(default_label), ["A", "Z", "AA", "AZ", "BA"]);
    }
}
