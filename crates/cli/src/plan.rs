//! `boutwise plan`: checks a plan file and prints it day by day.

use std::fmt::Write;

use anyhow::Result;
use boutwise_audit::read_plan;
use boutwise_report::duration_text;
use boutwise_season::{DayKind, Plan, PlanDay, Rules};
use chrono::NaiveDate;
use comfy_table::CellAlignment;
use serde_json::json;

use crate::Outcome;
use crate::args::{Common, Plan as Options};
use crate::terminal;

pub(crate) fn run(options: &Options, common: &Common) -> Result<Outcome> {
    let plan = read_plan(&options.plan)?;
    let days = plan.days(options.start);
    let text = if common.json {
        as_json(&plan, &days, options.start)?
    } else {
        as_text(&plan, &days, options.start)
    };
    terminal::print(&text)?;
    for warning in plan.never_advances(&Rules::default()) {
        terminal::message(common, &warning);
    }
    if let Some(note) = options.start.and_then(|start| plan.start_note(start)) {
        terminal::message(common, &note);
    }
    Ok(Outcome::Clean)
}

fn as_text(plan: &Plan, days: &[PlanDay<'_>], start: Option<NaiveDate>) -> String {
    let date_text = |date: NaiveDate| date.format("%a %Y-%m-%d").to_string();
    let last = days.iter().filter_map(|day| day.date).max();
    // Those that no day of the plan has to do with are left out.
    let mut pauses = (plan.pauses.iter())
        .filter(|pause| start.is_some_and(|start| start <= pause.to))
        .filter(|pause| last.is_some_and(|last| pause.from <= last))
        .peekable();
    let mut table = terminal::table(&["day", "block", "session", "run", "walk", "asked"]);
    for column in [0, 2, 3, 4] {
        if let Some(column) = table.column_mut(column) {
            column.set_cell_alignment(CellAlignment::Right);
        }
    }
    for day in days {
        while let Some(pause) = pauses.next_if(|pause| day.date.is_some_and(|date| pause.from <= date)) {
            let waits = format!("pause to {}", date_text(pause.to));
            table.add_row([
                date_text(pause.from),
                String::new(),
                String::new(),
                String::new(),
                String::new(),
                waits,
            ]);
        }
        let when = match (day.date, day.day) {
            (Some(date), _) => date_text(date),
            (None, Some(number)) => number.to_string(),
            (None, None) => String::new(),
        };
        let (block, session) = match day.kind {
            DayKind::Session(id) => (day.label, id.number.to_string()),
            DayKind::Between { .. } => ("", String::new()),
        };
        let minutes = |seconds: f64| if seconds > 0.0 { duration_text(seconds) } else { String::new() };
        let (run, walk) = (minutes(day.asked.run_s), minutes(day.asked.walk_s));
        table.add_row([when, block.to_owned(), session, run, walk, day.asked.text.clone()]);
    }
    let mut text = format!("{}\n\n{}\n\n", plan.title, terminal::trimmed(&table));
    let _ = writeln!(text, "{}", totals(plan, days));
    if start.is_none() && days.iter().any(|day| day.day.is_some()) {
        let weekday = plan.assumed_weekday();
        let assumed = weekday.map_or(String::new(), |day| format!(", taken to fall on a {day}"));
        let pauses = if plan.pauses.is_empty() { "" } else { " and heeds the pauses" };
        let _ = writeln!(
            text,
            "Days are counted from the first session{assumed}; --start YYYY-MM-DD prints dates{pauses}."
        );
    }
    if days.iter().all(|day| day.day.is_none()) {
        text.push_str("This plan names no days: the order of the sessions counts.\n");
    }
    text
}

fn totals(plan: &Plan, days: &[PlanDay<'_>]) -> String {
    let sessions = plan.sessions().count();
    let sum = |pick: fn(&PlanDay<'_>) -> f64| duration_text(days.iter().map(pick).sum());
    format!(
        "{} block{}, {} session{}: {} of running, {} of walking.",
        plan.blocks.len(),
        if plan.blocks.len() == 1 { "" } else { "s" },
        sessions,
        if sessions == 1 { "" } else { "s" },
        sum(|day| day.asked.run_s),
        sum(|day| day.asked.walk_s),
    )
}

fn as_json(plan: &Plan, days: &[PlanDay<'_>], start: Option<NaiveDate>) -> Result<String> {
    let rows: Vec<_> = days
        .iter()
        .map(|day| {
            json!({
                "day": day.day,
                "date": day.date.map(|date| date.to_string()),
                "kind": match day.kind { DayKind::Session(_) => "session", DayKind::Between { .. } => "between" },
                "block": day.label,
                "session": match day.kind { DayKind::Session(id) => Some(id.number), DayKind::Between { .. } => None },
                "asked": day.asked.text,
                "run_s": day.asked.run_s,
                "walk_s": day.asked.walk_s,
            })
        })
        .collect();
    let warnings = plan.never_advances(&Rules::default());
    let pauses: Vec<_> = (plan.pauses.iter())
        .map(|pause| json!({ "from": pause.from.to_string(), "to": pause.to.to_string() }))
        .collect();
    let value = json!({
        "title": plan.title,
        "days": rows,
        "pauses": pauses,
        "assumed_first_weekday": plan.assumed_weekday().filter(|_| start.is_none()),
        "warnings": warnings,
    });
    Ok(serde_json::to_string_pretty(&value)? + "\n")
}
