//! The CSV files of a squad: what a coach keeps, and the truth beside it.

use std::io;

use boutwise_bouts::{AdherenceSettings, Bout, Gait, Interval, Kind, Observed, read_events};
use chrono::NaiveDate;

use super::{Athlete, FileState, JournalEntry, RecordedOuting, Squad};

fn table(header: &[&str], rows: impl IntoIterator<Item = Vec<String>>) -> io::Result<Vec<u8>> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(header)?;
    for row in rows {
        writer.write_record(row)?;
    }
    writer.into_inner().map_err(|error| io::Error::other(error.to_string()))
}

fn yes_no(value: bool) -> String {
    if value { "yes".to_owned() } else { "no".to_owned() }
}

fn cell<T: ToString>(value: Option<T>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

/// `squad.csv`, with `plan.toml` beside it.
pub(super) fn squad_csv(squad: &Squad) -> io::Result<Vec<u8>> {
    let mut header = vec![
        "athlete",
        "folder",
        "plan",
        "start",
        "joined",
        "away",
        "birth_year",
        "resting_hr_bpm",
        "max_hr_bpm",
        "time_zone",
        "screened",
        "pulse_medicine",
    ];
    if squad.is_trial() {
        header.push("arm");
    }
    let row = |athlete: &Athlete| {
        let mut cells = vec![
            athlete.name.clone(),
            athlete.name.clone(),
            "plan.toml".to_owned(),
            athlete.words.start.unwrap_or(squad.start).to_string(),
            cell(athlete.words.start),
            away(athlete),
            cell(athlete.birth_year),
            athlete
                .birth_year
                .map(|_| format!("{:.0}", athlete.person.rest_heart_rate_bpm))
                .unwrap_or_default(),
            String::new(),
            squad.time_zone.name().to_owned(),
            yes_no(athlete.screened),
            "no".to_owned(),
        ];
        cells.extend(athlete.participant.as_ref().map(|participant| participant.arm.to_owned()));
        cells
    };
    table(&header, squad.athletes.iter().map(row))
}

/// Absences as the squad file writes them.
fn away(athlete: &Athlete) -> String {
    let away = athlete.words.away.iter();
    let written = |(from, to, waits): &(NaiveDate, NaiveDate, bool)| {
        format!("{from}..{to} injured, {}", if *waits { "go on" } else { "rejoin" })
    };
    away.map(written).collect::<Vec<_>>().join(" | ")
}

/// `journal.csv`.
pub(super) fn journal_csv(squad: &Squad) -> io::Result<Vec<u8>> {
    let header = [
        "athlete",
        "date",
        "effort_0_10",
        "talkable",
        "soreness_0_10",
        "pain_0_10",
        "pain_next_morning",
        "pain_worse_running",
        "warning_sign",
        "hot",
        "coach_decision",
        "note",
    ];
    let row = |athlete: &Athlete, entry: &JournalEntry| {
        vec![
            athlete.name.clone(),
            entry.date.to_string(),
            cell(entry.effort_0_10),
            cell(entry.talkable.map(yes_no)),
            cell(entry.soreness_0_10),
            cell(entry.pain_0_10),
            cell(entry.pain_next_morning.map(yes_no)),
            cell(entry.pain_worse_running.map(yes_no)),
            cell(entry.warning_sign),
            cell(entry.hot.map(yes_no)),
            String::new(),
            entry.note.to_owned(),
        ]
    };
    let athletes = squad.athletes.iter();
    table(&header, athletes.flat_map(|athlete| athlete.journal.iter().map(move |entry| row(athlete, entry))))
}

/// `truth/sessions.csv`: a row for each outing.
pub(super) fn truth_sessions_csv(squad: &Squad, recorded: &[RecordedOuting]) -> io::Result<Vec<u8>> {
    let header = [
        "athlete",
        "file",
        "file_state",
        "start_utc",
        "role",
        "plan_block",
        "plan_session",
        "deviation",
        "runs",
        "run_s",
        "walk_s",
        "stand_s",
        "gap_s",
        "longest_run_s",
    ];
    let row = |held: &RecordedOuting| {
        let athlete = &squad.athletes[held.athlete];
        let outing = &athlete.outings[held.outing];
        let state = match outing.state {
            FileState::Whole => String::new(),
            FileState::CutAfterPercent(percent) => format!("cut off after {percent} % of its bytes"),
            FileState::TwoFormats => format!("also {}", held.files[1].path),
        };
        let start = chrono::DateTime::from_timestamp(outing.start_s, 0).unwrap_or_default();
        let mut cells = vec![
            athlete.name.clone(),
            held.files[0].path.clone(),
            state,
            start.format("%Y-%m-%dT%H:%M:%SZ").to_string(),
            outing.role.word().to_owned(),
            cell(outing.follows.map(|key| squad.plan.blocks[key.block].label.clone())),
            cell(outing.follows.map(|key| key.number)),
            outing.deviation.word().to_owned(),
            held.runs().to_string(),
        ];
        let totals = [Kind::Run, Kind::Walk, Kind::Stand, Kind::Gap].map(|kind| held.total_s(kind));
        cells.extend(totals.iter().chain([&held.longest_run_s()]).map(|seconds| format!("{seconds:.1}")));
        cells
    };
    table(&header, recorded.iter().map(row))
}

/// `truth/bouts.csv`: a row for each true bout.
pub(super) fn truth_bouts_csv(squad: &Squad, recorded: &[RecordedOuting]) -> io::Result<Vec<u8>> {
    let header = ["athlete", "file", "bout", "kind", "start_s", "end_s"];
    let rows = recorded.iter().flat_map(|held| {
        held.truth.iter().enumerate().map(|(index, bout)| {
            vec![
                squad.athletes[held.athlete].name.clone(),
                held.files[0].path.clone(),
                (index + 1).to_string(),
                bout.kind.word().to_owned(),
                format!("{:.1}", bout.start_s),
                format!("{:.1}", bout.end_s),
            ]
        })
    });
    table(&header, rows)
}

/// `truth/events.csv`: a row for each thing that happened in a session of the plan, read off the true bouts.
pub(super) fn truth_events_csv(squad: &Squad, recorded: &[RecordedOuting]) -> io::Result<Vec<u8>> {
    let header =
        ["athlete", "file", "event", "part", "number", "at_s", "to_s", "planned_s", "done_s", "text"];
    let seconds = |value: Option<f64>| value.map_or_else(String::new, |seconds| format!("{seconds:.1}"));
    let rows = recorded.iter().flat_map(|held| {
        let athlete = &squad.athletes[held.athlete];
        let outing = &athlete.outings[held.outing];
        let bouts: Vec<Bout> =
            held.truth.iter().map(|bout| Bout::new(bout.kind, bout.start_s, bout.end_s)).collect();
        let driven_s = outing.driven_s(&held.truth);
        let observed = Observed {
            bouts: &bouts,
            vehicles: driven_s.as_slice(),
            unseen: &[],
            doubt: None,
            confidence: 1.0,
            breaks_off: matches!(outing.state, FileState::CutAfterPercent(_)),
            is_part: false,
        };
        let plan: &[Interval] = if outing.follows.is_some() { &outing.plan } else { &[] };
        let events = read_events(plan, &observed, &AdherenceSettings::default()).events;
        events.into_iter().map(|event| {
            vec![
                athlete.name.clone(),
                held.files[0].path.clone(),
                event.kind.word().to_owned(),
                event.part.map_or("", |part| if part == Gait::Run { "rep" } else { "walk" }).to_owned(),
                cell(event.number),
                format!("{:.1}", event.at_s),
                format!("{:.1}", event.to_s),
                seconds(event.planned_s),
                seconds(event.done_s),
                event.text,
            ]
        })
    });
    table(&header, rows)
}

/// `truth/missed.csv`: a row for each planned session that was never attempted.
pub(super) fn truth_missed_csv(squad: &Squad) -> io::Result<Vec<u8>> {
    let sessions = squad.plan.sessions();
    let rows = squad.athletes.iter().flat_map(|athlete| {
        athlete.missed.iter().map(|key| {
            let index = sessions.iter().position(|session| session == key).unwrap_or(0);
            vec![
                athlete.name.clone(),
                squad.plan.blocks[key.block].label.clone(),
                key.number.to_string(),
                squad.plan.date(squad.start, index).to_string(),
            ]
        })
    });
    table(&["athlete", "plan_block", "plan_session", "planned_date"], rows)
}

/// `truth/athletes.csv`: a row for each athlete.
pub(super) fn truth_athletes_csv(squad: &Squad, recorded: &[RecordedOuting]) -> io::Result<Vec<u8>> {
    let header = [
        "athlete",
        "sessions_due",
        "sessions_attempted",
        "sessions_missed",
        "longest_run_s",
        "proposal",
        "a_coach_should_see",
    ];
    let due = |athlete: &Athlete| squad.sessions_due - athlete.words.not_due.len();
    let rows = squad.athletes.iter().enumerate().map(|(index, athlete)| {
        let longest_s =
            recorded.iter().filter(|held| held.athlete == index).map(RecordedOuting::longest_run_s);
        vec![
            athlete.name.clone(),
            due(athlete).to_string(),
            (due(athlete) - athlete.missed.len()).to_string(),
            athlete.missed.len().to_string(),
            format!("{:.1}", longest_s.fold(0.0, f64::max)),
            cell(athlete.proposal),
            athlete.story.to_owned(),
        ]
    });
    table(&header, rows)
}

/// `truth/participants.csv`: a row for each participant of a trial.
pub(super) fn truth_participants_csv(squad: &Squad) -> io::Result<Vec<u8>> {
    let header = ["athlete", "arm", "first_run_s", "gain_s_per_week", "gave_up_week"];
    let rows = squad.athletes.iter().filter_map(|athlete| {
        let participant = athlete.participant.as_ref()?;
        Some(vec![
            athlete.name.clone(),
            participant.arm.to_owned(),
            format!("{:.1}", participant.first_run_s),
            format!("{:.1}", participant.gain_s_per_week),
            cell(participant.gave_up_week),
        ])
    });
    table(&header, rows)
}

/// `truth/effect.csv`: what the arms of a trial make of a measure, each against the first; `arms` are their names and
/// effects in seconds.
pub(super) fn truth_effect_csv<'a>(
    against: &str,
    arms: impl IntoIterator<Item = (&'a str, f64)>,
) -> io::Result<Vec<u8>> {
    let header = ["measure", "unit", "effect", "arm", "against", "meaning"];
    let row = |(arm, effect_s): (&str, f64)| {
        vec![
            EFFECT_MEASURE.to_owned(),
            "s".to_owned(),
            format!("{effect_s:.1}"),
            arm.to_owned(),
            against.to_owned(),
            EFFECT_MEANING.to_owned(),
        ]
    };
    table(&header, arms.into_iter().map(row))
}

/// What an effect is the effect on, and what that is.
const EFFECT_MEASURE: &str = "longest_run_last_week";
const EFFECT_MEANING: &str = "expected longest unbroken run of a session of the last planned week: this arm minus the one it \
    is held against, of all who began, had nobody given up; known from how the trial is drawn, not from this draw";
