//! The table of seasons, played: days and contents in; labels, attendance and proposal out.
//!
//! Day 1 of the table is Monday 2 March 2026. `A` is the session of block A as asked, `A-` its first three reps, `walkA` as
//! long as it but walked, `walk` 35 minutes of walking, `run` 17 minutes of running off the plan; `@2` begins so many minutes
//! later than the first of the day.
//!
//! A second plan follows the first after `from` its start: `A3 B3 from 13 C3`.
//!
//! Words: `8 hold` is the coach's decision of day 8, `group 8 hold` one for her whole group, and `3 excused`, `5 sign`, `5 effort 8`,
//! `5 breathless`, `5 pain 3` and `6 soreness 5` stand in the journal too; `away 5..12 go on`, `joined 9` and `left 4` stand in the
//! squad file; `is 5:A A2` and `done A2` are told by hand. What is next is compared with its day where the row names one:
//! `B3 on 15`.

use boutwise_bouts::{Amount, Bout, Gait, Interval, Kind};
use boutwise_season::{
    AfterAway, Athlete, AthleteAudit, AthleteInput, Away, Correction, Entry, Outcome, Outing, OutingAudit,
    Plan, PlanInUse, PlanPlace, Role, Settings, Verdict, WarningSign, audit_athlete, parse_intervals,
};
use chrono::{Days, NaiveDate, TimeDelta};

/// Steps of the project's own ladder, block by block.
const LADDER: [(&str, &str); 4] = [
    ("A", "5:00 walk, 9 x (0:40 run, 1:20 walk), 4:00 walk"),
    ("B", "5:00 walk, 7 x (1:10 run, 1:20 walk), 4:00 walk"),
    ("C", "5:00 walk, 6 x (1:45 run, 1:20 walk), 4:00 walk"),
    ("D", "5:00 walk, 5 x (2:35 run, 1:15 walk), 4:00 walk"),
];
const RUN_M_PER_S: f64 = 2.4;
const WALK_M_PER_S: f64 = 1.5;

struct Case {
    cells: Vec<String>,
    heads: Vec<String>,
}

impl Case {
    fn cell(&self, head: &str) -> &str {
        let at = self.heads.iter().position(|known| known == head);
        at.and_then(|at| self.cells.get(at)).map_or("", String::as_str)
    }
}

fn cases(text: &str) -> Vec<Case> {
    let mut lines = text.lines().map(|line| line.split(',').map(str::to_owned).collect::<Vec<_>>());
    let heads = lines.next().unwrap();
    lines
        .map(|cells| {
            assert_eq!(cells.len(), heads.len(), "{cells:?}");
            Case { cells, heads: heads.clone() }
        })
        .collect()
}

fn day(number: &str) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 3, 1).unwrap() + Days::new(number.parse().unwrap())
}

fn plan(blocks: &str, days: &str) -> Plan {
    let days = match days.strip_prefix("every ") {
        Some(every) => format!("every_days = {every}\n"),
        None if days.is_empty() => String::new(),
        None => format!("days = {:?}\n", days.split(' ').collect::<Vec<_>>()),
    };
    let text: String = blocks
        .split(' ')
        .map(|block| {
            let (label, sessions) = block.split_at(1);
            let session = LADDER.iter().find(|(known, _)| *known == label).unwrap().1;
            format!(
                "[[block]]\nlabel = '{label}'\nsessions = {sessions}\n{days}session = '{session}'\n\
                 between = '35:00 walk'\n"
            )
        })
        .collect();
    Plan::parse(&text, "plan.toml").unwrap()
}

fn done(what: &str) -> Vec<Interval> {
    let walked = what.strip_prefix("walk");
    let asked = |label: &str| {
        let session = LADDER.iter().find(|(known, _)| *known == label).unwrap().1;
        parse_intervals(session).unwrap()
    };
    match (walked, what.strip_suffix('-')) {
        (Some(""), _) => parse_intervals("35:00 walk").unwrap(),
        (Some(label), _) => {
            asked(label).into_iter().map(|interval| Interval { gait: Gait::Walk, ..interval }).collect()
        }
        (None, Some(label)) => asked(label).into_iter().take(1 + 2 * 3).collect(),
        (None, None) if what == "run" => parse_intervals("5:00 walk, 17:00 run, 5:00 walk").unwrap(),
        (None, None) => asked(what),
    }
}

/// An outing such as `3:A` or `3:A@180`.
fn outing(text: &str) -> Outing {
    let (on, what) = text.split_once(':').unwrap();
    let (what, later_min) = what.split_once('@').unwrap_or((what, "0"));
    let mut bouts: Vec<Bout> = Vec::new();
    for interval in done(what) {
        let Amount::Seconds(seconds) = interval.amount else { panic!("{text}: metres") };
        let (kind, speed) = match interval.gait {
            Gait::Run => (Kind::Run, RUN_M_PER_S),
            Gait::Walk => (Kind::Walk, WALK_M_PER_S),
        };
        let start_s = bouts.last().map_or(0.0, |bout| bout.end_s);
        match bouts.last_mut().filter(|last| last.kind == kind) {
            Some(last) => last.end_s += seconds,
            None => bouts.push(Bout::new(kind, start_s, start_s + seconds)),
        }
        let last = bouts.last_mut().unwrap();
        last.distance_m = Some(last.duration_s() * speed);
    }
    let local = day(on).and_hms_opt(18, 0, 0).unwrap() + TimeDelta::minutes(later_min.parse().unwrap());
    Outing::new(format!("{text}.gpx"), 1, local.and_utc(), local, true, bouts)
}

/// What was said beside the recordings.
#[derive(Default)]
struct Said {
    athlete: Athlete,
    journal: Vec<Entry>,
    corrections: Vec<Correction>,
}

fn place(text: &str) -> Option<PlanPlace> {
    if text == "none" {
        return Some(PlanPlace::None);
    }
    let (block, number) = text.split_at(1);
    Some(PlanPlace::Session { block: block.to_owned(), number: Some(number.parse().unwrap()) })
}

fn said(words: &str) -> Said {
    let mut said = Said::default();
    for word in words.split("; ").filter(|word| !word.is_empty()) {
        let parts: Vec<&str> = word.splitn(3, ' ').collect();
        let correction = |file: Option<&str>, at: &str| Correction {
            file: file.map(|file| format!("{file}.gpx")),
            session: None,
            used: None,
            athlete: file.is_none().then(|| "a".to_owned()),
            place: place(at),
            from_s: None,
            to_s: None,
            line: 2,
        };
        match parts[..] {
            ["away", days, ..] => {
                let (from, to) = days.split_once("..").unwrap();
                let then = parts.get(2).map(|then| match *then {
                    "go on" => AfterAway::GoOn,
                    _ => AfterAway::Rejoin,
                });
                said.athlete.away.push(Away { from: day(from), to: day(to), reason: None, then });
            }
            ["joined", on] => said.athlete.joined = Some(day(on)),
            ["left", on] => said.athlete.left = Some(day(on)),
            ["is", file, at] => said.corrections.push(correction(Some(file), at)),
            ["done", at] => said.corrections.push(correction(None, at)),
            ["group", on, noted] => said.journal.push(Entry { of_group: true, ..entry(on, noted, None) }),
            [on, noted] => said.journal.push(entry(on, noted, None)),
            [on, noted, value] => said.journal.push(entry(on, noted, value.parse().ok())),
            _ => panic!("{word}"),
        }
    }
    said
}

/// A row of the journal.
fn entry(on: &str, noted: &str, value: Option<f64>) -> Entry {
    let mut entry = Entry::new("a", day(on));
    match noted {
        "excused" => entry.excused = Some(true),
        "sign" => entry.warning_signs.push(WarningSign::Faint),
        "breathless" => entry.talkable = Some(false),
        "effort" => entry.effort_0_10 = value,
        "pain" => entry.pain_0_10 = value,
        "soreness" => entry.soreness_0_10 = value,
        decided => {
            let decided = Verdict::ALL.into_iter().find(|verdict| verdict.word() == decided);
            entry.coach_decision = Some(decided.unwrap_or_else(|| panic!("{noted}")));
        }
    }
    entry
}

fn label(plan: &Plan, role: &Role) -> String {
    match role {
        Role::Session(laid) => {
            let again = if laid.again { "+" } else { "" };
            format!("{}{}{again}", plan.blocks[laid.session.block].label, laid.session.number)
        }
        Role::Other(id) => plan.blocks[id.block].label.clone(),
        Role::Walk | Role::Extra | Role::Overlapped => "-".to_owned(),
        Role::Later => panic!("a day that counts"),
    }
}

/// Labels, due, attended, proposal, next, with its day where that is asked for.
fn told(plans: &[PlanInUse<'_>], audit: &AthleteAudit, with_day: bool) -> [String; 5] {
    let label = |outing: &OutingAudit| label(plans[outing.plan.unwrap()].plan, &outing.role);
    let labels: Vec<String> = audit.outings.iter().map(label).collect();
    let next = audit.next.as_ref().map(|next| match next.day.filter(|_| with_day) {
        Some(on) => format!("{}{} on {}", next.label, next.session.number, (on - day("0")).num_days()),
        None => format!("{}{}", next.label, next.session.number),
    });
    [
        labels.join(" "),
        audit.attendance.due.to_string(),
        audit.attendance.attended.to_string(),
        audit.shown_verdict().map_or(String::new(), |verdict| verdict.word().to_owned()),
        next.unwrap_or_default(),
    ]
}

#[test]
fn every_row_of_the_table_of_seasons_comes_out_as_it_says() {
    let mut wrong = String::new();
    for case in cases(include_str!("../../../testdata/seasons.csv")) {
        let of_days = |blocks| plan(blocks, case.cell("days"));
        let (first, second) = match case.cell("plan").split_once(" from ") {
            Some((first, second)) => (first, second.split_once(' ')),
            None => (case.cell("plan"), None),
        };
        let first = of_days(first);
        let second = second.map(|(start, blocks)| (of_days(blocks), day(start)));
        let start = Some(case.cell("start")).filter(|start| !start.is_empty()).map(day);
        let outings: Vec<Outing> =
            case.cell("done").split(' ').filter(|cell| !cell.is_empty()).map(outing).collect();
        let said = said(case.cell("words"));
        let mut plans = vec![PlanInUse { plan: &first, start }];
        plans.extend(second.iter().map(|(plan, start)| PlanInUse { plan, start: Some(*start) }));
        let audit = audit_athlete(&AthleteInput {
            outings: &outings,
            plans: &plans,
            athlete: Some(&said.athlete),
            journal: &said.journal.iter().collect::<Vec<_>>(),
            corrections: &said.corrections.iter().collect::<Vec<_>>(),
            as_of: day(case.cell("as_of")),
            settings: &Settings::default(),
        });
        // The row of a session done more than once tells of one recording: the first of those in full, where any was.
        for (_, planned) in audit.planned.iter().filter(|(_, planned)| !planned.recordings.is_empty()) {
            let outcome = |at: &usize| audit.outings[*at].outcome;
            let in_full = planned.recordings.iter().find(|at| outcome(at) == Some(Outcome::Completed));
            let shown = planned.shown.expect("one of the recordings");
            assert!(planned.recordings.contains(&shown), "{}", case.cell("case"));
            assert_eq!(outcome(&shown), Some(planned.outcome), "{}", case.cell("case"));
            assert!(in_full.is_none_or(|first| *first == shown), "{}", case.cell("case"));
        }
        let expected =
            ["labels", "due", "attended", "proposal", "next"].map(|head| case.cell(head).to_owned());
        let found = told(&plans, &audit, case.cell("next").contains(" on "));
        if found != expected {
            wrong += &format!("{}\n  expected {expected:?}\n  found    {found:?}\n", case.cell("case"));
        }
    }
    assert!(wrong.is_empty(), "\n{wrong}");
}
