//! An invented squad in memory: rows, traces and extras as an audit would give them. The figures are made up to
//! look likely; they check how a report shows figures, never how figures are found.

use boutwise_bouts::{
    AdherenceSettings, Amount, Bout, Event, Gait, Interval, IntervalStatus, Kind, Observed, read_events,
};
use boutwise_report::{
    AthleteExtras, AthleteRow, BoutRow, EventRow, FileRow, Habit, IntervalRow, JournalDay, NextSession, Part,
    PlannedSession, Report, SessionRemarks, SessionRow, Tables, Target, Trace, WeekRow,
};
use boutwise_season::{Caution, Remark, Rules, Verdict};
use boutwise_track::Status;
use chrono::{DateTime, Datelike, Days, NaiveDate, NaiveTime, TimeDelta, Utc};

/// Blocks of the invented plan: label, sessions, reps, seconds of a rep, seconds of a walk between.
const BLOCKS: [(&str, u64, usize, f64, f64); 7] = [
    ("A", 4, 7, 70.0, 80.0),
    ("B", 4, 6, 105.0, 80.0),
    ("C", 4, 5, 155.0, 75.0),
    ("D", 4, 4, 230.0, 70.0),
    ("E", 3, 3, 340.0, 65.0),
    ("F", 3, 2, 510.0, 60.0),
    ("G", 200, 1, 1260.0, 0.0),
];

/// Walking before the first and after the last rep, in seconds.
const EASY_WALK_S: f64 = 300.0;

/// The athletes of the small squad; each has a story of their own.
pub(crate) const NAMES: [&str; 9] = ["Bram", "Elka", "Ines", "Noor", "Rui", "Sanna", "Tomas", "Wim", "Yara"];

/// Names that a page must survive.
pub(crate) fn hostile_names() -> Vec<String> {
    vec![
        "<script>alert('name')</script>".into(),
        "\"quoted\" & 'single' <b>bold</b>".into(),
        "\u{202e}txet desrever \u{202d}and \u{2067}isolated".into(),
        "x".repeat(300),
        "{{ braces }} {% raw %} ${template}".into(),
        "tab\tand\u{0}nul\u{9f}and\u{ffff}".into(),
        "=HYPERLINK(\"http://example.invalid\")".into(),
        "../../up".into(),
        "名前 محمد".into(),
    ]
}

/// A squad with its tables, traces and extras.
#[derive(Default)]
pub(crate) struct Squad {
    pub(crate) tables: Tables,
    pub(crate) traces: Vec<Trace>,
    pub(crate) extras: Vec<AthleteExtras>,
    pub(crate) notes: Vec<String>,
    pub(crate) as_of: Option<NaiveDate>,
    /// Of the athlete who is being made.
    pub(crate) remarks: Vec<SessionRemarks>,
}

impl Squad {
    /// A squad of the named athletes with so many sessions each.
    pub(crate) fn new(names: &[String], sessions: u64) -> Self {
        let mut squad =
            Self { notes: vec!["Local time: Europe/Lisbon, from the squad file.".into()], ..Self::default() };
        let days = training_days(sessions);
        squad.as_of = days.last().copied();
        for (place, name) in names.iter().enumerate() {
            squad.add_athlete(place, name, &days);
        }
        squad.tables.files.push(file(
            "Elka/broken.gpx",
            Status::Failed,
            "nothing could be read: the file is empty",
        ));
        squad.tables.files.push(file(
            "Noor/2026-03-03 copy.tcx",
            Status::Duplicate,
            "same session as Noor/s1.gpx",
        ));
        squad.tables.files.push(file("notes.txt", Status::Ignored, "not a recording"));
        squad.tables.files.push(file("Wim/s2-cut.gpx", Status::Partial, "the file ends before it is closed"));
        squad.tables.sort();
        squad
    }

    pub(crate) fn small() -> Self {
        Self::new(&NAMES.map(String::from), 22)
    }

    pub(crate) fn report<'a>(&'a self, title: &'a str) -> Report<'a> {
        Report {
            title,
            as_of: self.as_of,
            tables: &self.tables,
            traces: &self.traces,
            athletes: &self.extras,
            notes: &self.notes,
        }
    }

    fn add_athlete(&mut self, place: usize, name: &str, days: &[NaiveDate]) {
        let story = place % NAMES.len();
        let has_plan = story != 7;
        let has_heart_rate = story.is_multiple_of(2);
        let has_cadence = story % 3 != 1;
        let (mut plan, mut rows) = (Vec::new(), Vec::new());
        let sessions = plan_sessions().zip(days).enumerate();
        let last = days.len().saturating_sub(1);
        for (number, ((block, session_in_block, reps, rep_s, walk_s), &day)) in sessions {
            let seed = (place * 1000 + number) as u64;
            let planned = planned_text(reps, rep_s, walk_s);
            let is_missed = match story {
                5 => number + 4 > last,
                _ => number != last && noise(seed) > 0.88,
            };
            let file = format!("{name}/s{}.gpx", number + 1);
            plan.push(PlannedSession {
                block: block.into(),
                session: session_in_block,
                date: (story != 6).then_some(day),
                planned: planned.clone(),
                longest_run_planned_s: Some(rep_s),
                due: true,
                excused: false,
                said: false,
                recordings: (!is_missed && has_plan).then(|| (file.clone(), 1)).into_iter().collect(),
            });
            if is_missed {
                continue;
            }
            let deed = Deed {
                is_last: number == last,
                story,
                seed,
                reps,
                rep_s,
                walk_s,
                has_heart_rate,
                has_cadence,
                speed_m_per_s: 2.05 + 0.02 * number as f64 + 0.1 * noise(place as u64),
            };
            let start = day.and_time(NaiveTime::from_hms_opt(17, 40, 0).expect("a valid time"))
                + TimeDelta::seconds((noise(seed + 7) * 5400.0) as i64);
            let mut row = self.add_session(name, &file, start.and_utc(), &deed, has_plan);
            if has_plan {
                row.plan_block = Some(block.into());
                row.plan_session = Some(session_in_block);
                row.planned = Some(planned);
            }
            rows.push(row);
        }
        let next = plan_sessions().nth(days.len());
        if let (Some((block, session, reps, rep_s, walk_s)), true) = (next, has_plan) {
            plan.push(PlannedSession {
                block: block.into(),
                session,
                date: days.last().and_then(|day| day.checked_add_days(Days::new(2))).filter(|_| story != 6),
                planned: planned_text(reps, rep_s, walk_s),
                longest_run_planned_s: Some(rep_s),
                due: false,
                excused: false,
                said: false,
                recordings: Vec::new(),
            });
        }
        self.add_weeks(name, &rows);
        self.add_row_and_extras(story, name, &rows, if has_plan { plan } else { Vec::new() });
        self.tables.sessions.extend(rows);
    }

    fn add_session(
        &mut self,
        name: &str,
        file: &str,
        start: DateTime<Utc>,
        deed: &Deed,
        has_plan: bool,
    ) -> SessionRow {
        let done = deed.bouts();
        let resolvable = !(deed.story == 3 && deed.is_last);
        let duration_s = done.last().map_or(0.0, |bout| bout.2);
        for (number, &(kind, start_s, end_s)) in (1..).zip(&done) {
            let speed = speed_of(kind, deed.speed_m_per_s);
            let distance_m = (kind != Kind::Gap).then_some(speed * (end_s - start_s));
            self.tables.bouts.push(BoutRow {
                athlete: name.into(),
                file: file.into(),
                session: 1,
                bout: number,
                kind,
                start_s,
                end_s,
                start_utc: Some(start + TimeDelta::milliseconds((start_s * 1000.0) as i64)),
                duration_s: end_s - start_s,
                distance_m,
                pace_s_per_km: (speed > 0.2).then(|| 1000.0 / speed),
                hr_mean_bpm: deed.has_heart_rate.then(|| heart_rate(kind, (start_s + end_s) / 2.0)),
                hr_end_bpm: deed.has_heart_rate.then(|| heart_rate(kind, end_s)),
                cadence_spm: (deed.has_cadence && kind != Kind::Gap).then(|| cadence(kind)),
                confidence: if resolvable { 0.97 } else { 0.41 },
            });
        }
        let intervals = if has_plan && resolvable { deed.intervals(name, file, &done) } else { Vec::new() };
        let events = deed.events(&done, has_plan, resolvable);
        self.remarks.push(SessionRemarks {
            file: file.into(),
            session: 1,
            remarks: Remark::of(&events, None, None, &Rules::default()),
            asides: Remark::asides(&events),
            interval_paces_s_per_km: (intervals.iter())
                .map(|row| {
                    (row.kind == Gait::Run && row.done_s.is_some()).then_some(1000.0 / deed.speed_m_per_s)
                })
                .collect(),
            left_out: None,
        });
        self.tables.events.extend(events.into_iter().map(|event| event_row(name, file, event)));
        let total = |kind| done.iter().filter(|bout| bout.0 == kind).map(|bout| bout.2 - bout.1).sum::<f64>();
        let longest =
            done.iter().filter(|bout| bout.0 == Kind::Run).max_by(|a, b| (a.2 - a.1).total_cmp(&(b.2 - b.1)));
        let count = |status| {
            intervals.iter().filter(|row| row.kind == Gait::Run && row.status == status).count() as u64
        };
        let asked_s = deed.reps as f64 * deed.rep_s;
        let dose = intervals
            .iter()
            .filter(|row| row.kind == Gait::Run)
            .map(|row| row.done_s.unwrap_or(0.0).min(row.planned_s.unwrap_or(0.0)))
            .sum::<f64>()
            / asked_s;
        let walks: Vec<_> = intervals.iter().filter(|row| row.kind == Gait::Walk).collect();
        let between = &walks[1.min(walks.len())..walks.len().saturating_sub(1).max(1.min(walks.len()))];
        let breaks =
            between.iter().filter_map(|row| row.credit_pct).sum::<f64>() / between.len().max(1) as f64;
        let laid = !intervals.is_empty();
        self.tables.files.push(FileRow {
            file: file.into(),
            status: Status::Read,
            format: Some("gpx".into()),
            sessions: 1,
            points_kept: duration_s as u64,
            points_dropped: Some(0),
            notes: Vec::new(),
        });
        self.traces.push(trace(file, deed, &done, duration_s));
        let run_s = total(Kind::Run);
        let told = |value: f64| resolvable.then_some(value);
        let reps_done = count(IntervalStatus::Done) + count(IntervalStatus::Long);
        let row = SessionRow {
            athlete: name.into(),
            file: file.into(),
            session: 1,
            start_local: Some(start.naive_utc() + TimeDelta::hours(1)),
            start_utc: Some(start),
            duration_s: Some(duration_s),
            distance_m: Some(run_s * deed.speed_m_per_s + total(Kind::Walk) * 1.45),
            points: Some(duration_s as u64),
            hr_mean_bpm: deed.has_heart_rate.then_some(138.4),
            hr_share_pct: Some(if deed.has_heart_rate { 99.2 } else { 0.0 }),
            adherence_pct: laid
                .then(|| 60.0 * dose + 0.25 * breaks + 15.0 * reps_done as f64 / deed.reps as f64),
            dose_pct: laid.then_some(100.0 * dose),
            breaks_pct: laid.then_some(breaks),
            overdone_pct: laid.then(|| (100.0 * (run_s - asked_s - 10.0) / asked_s).max(0.0)),
            reps_planned: laid.then_some(deed.reps as u64),
            reps_done: laid.then_some(reps_done),
            reps_short: laid.then(|| count(IntervalStatus::Short)),
            reps_missed: laid.then(|| count(IntervalStatus::Missed)),
            reps_extra: laid.then(|| count(IntervalStatus::Extra)),
            run_planned_s: laid.then_some(asked_s),
            run_s: told(run_s),
            run_m: told(run_s * deed.speed_m_per_s),
            walk_s: told(total(Kind::Walk)),
            walk_m: told(total(Kind::Walk) * 1.45),
            stand_s: Some(total(Kind::Stand)),
            gap_s: Some(total(Kind::Gap)),
            longest_run_s: longest.filter(|_| resolvable).map(|bout| bout.2 - bout.1),
            longest_run_m: longest.filter(|_| resolvable).map(|bout| (bout.2 - bout.1) * deed.speed_m_per_s),
            longest_run_start_s: longest.filter(|_| resolvable).map(|bout| bout.1),
            run_pace_s_per_km: told(1000.0 / deed.speed_m_per_s),
            pace_drift_pct: told(
                6.0 * noise(deed.seed + 3) - 1.5 + if deed.story == 2 && deed.is_last { 9.0 } else { 0.0 },
            ),
            run_hr_mean_bpm: deed.has_heart_rate.then_some(152.3),
            hr_fall_60s_bpm: (deed.has_heart_rate && deed.walk_s > 60.0).then_some(21.5),
            run_cadence_spm: deed.has_cadence.then_some(158.0),
            resolvable: Some(resolvable),
            confidence: Some(if resolvable { 0.961 } else { 0.41 }),
            notes: if resolvable {
                Vec::new()
            } else {
                vec![
                    "running and walking look the same here: slow jog, no cadence, positions 15 s apart"
                        .into(),
                ]
            },
            ..SessionRow::default()
        };
        self.tables.intervals.extend(intervals);
        row
    }

    fn add_weeks(&mut self, name: &str, rows: &[SessionRow]) {
        let mut most_before_m: Option<f64> = None;
        for week in rows.chunk_by(|a, b| week_of(a) == week_of(b)) {
            let sum = |value: fn(&SessionRow) -> Option<f64>| Some(week.iter().filter_map(value).sum());
            let most = |value: fn(&SessionRow) -> Option<f64>| week.iter().filter_map(value).reduce(f64::max);
            let Some(iso) = week_of(&week[0]) else { continue };
            self.tables.weeks.push(WeekRow {
                sessions: week.len() as u64,
                run_s: sum(|row| row.run_s),
                run_m: sum(|row| row.run_m),
                walk_s: sum(|row| row.walk_s),
                walk_m: sum(|row| row.walk_m),
                longest_run_s: most(|row| row.longest_run_s),
                session_run_m_max: most(|row| row.run_m),
                session_run_m_max_before_30d: most_before_m,
                spike_pct: most(|row| row.run_m)
                    .zip(most_before_m)
                    .map(|(m, before)| 100.0 * (m / before - 1.0)),
                ..WeekRow::new(name, iso)
            });
            most_before_m = most(|row| row.run_m).or(most_before_m);
        }
    }

    fn add_row_and_extras(
        &mut self,
        story: usize,
        name: &str,
        rows: &[SessionRow],
        plan: Vec<PlannedSession>,
    ) {
        let best = rows.iter().max_by(|a, b| a.longest_run_s.partial_cmp(&b.longest_run_s).expect("no NaN"));
        let due = plan.iter().filter(|planned| planned.due).count() as u64;
        let as_of = self.as_of.expect("set before the athletes");
        let (proposal, reasons): (_, &[&str]) = match story {
            0 => (Some(Verdict::Advance), &["2 of the last 3 sessions good (dose 100 %, 97 %), no pain"]),
            1 => (Some(Verdict::Hold), &["dose 60 % in the last session, 90 % needed"]),
            2 => (Some(Verdict::Hold), &["walks skipped in the last session: breaks 0 %, 60 % needed"]),
            3 => (None, &["the last session could not be told"]),
            4 => (Some(Verdict::Ease), &["rest one more day: pain 6 of 10, still there next morning"]),
            5 => (Some(Verdict::Hold), &["no run for 9 days"]),
            6 => (
                Some(Verdict::Advance),
                &["effort not recorded: could they speak in sentences?", "dose 100 % twice"],
            ),
            7 => (None, &["no plan"]),
            _ => (Some(Verdict::Stop), &["warning sign noted on the last day: dizzy"]),
        };
        let has_plan = !plan.is_empty();
        self.tables.athletes.push(AthleteRow {
            athlete: name.into(),
            sessions_due: has_plan.then_some(due),
            sessions_attempted: has_plan.then_some(rows.len() as u64),
            attendance_pct: has_plan.then(|| 100.0 * rows.len() as f64 / due as f64),
            dose_pct: has_plan.then(|| rows.iter().filter_map(|row| row.dose_pct).sum::<f64>() / due as f64),
            longest_run_s: best.and_then(|row| row.longest_run_s),
            longest_run_m: best.and_then(|row| row.longest_run_m),
            longest_run_date: best.and_then(|row| Some(row.start_local?.date())),
            longest_run_trend_s_per_week: Some(20.0 + 9.0 * story as f64),
            proposal,
            reasons: reasons.iter().map(|&reason| reason.into()).collect(),
            next_block: has_plan.then(|| "G".into()),
            next_session: has_plan.then_some(1),
            ..AthleteRow::default()
        });
        let effort = |row: &SessionRow| {
            if story == 6 { None } else { row.pace_drift_pct.map(|pct| (3.0 + pct / 3.0).round()) }
        };
        let mut journal: Vec<_> = rows
            .iter()
            .filter_map(|row| {
                let date = row.start_local?.date();
                Some(JournalDay {
                    date,
                    effort_0_10: effort(row),
                    talkable: Some(true),
                    ..JournalDay::default()
                })
            })
            .collect();
        if let Some(last) = journal.last_mut() {
            match story {
                2 => last.coach_decision = Some("hold, and walk the walks".into()),
                4 => (last.pain_0_10, last.pain_next_morning) = (Some(6.0), Some(true)),
                8 => last.warning_sign = Some("dizzy".into()),
                _ => last.note = Some("felt <fine> & \"easy\"".into()),
            }
        }
        self.extras.push(AthleteExtras {
            coach_decision: journal
                .iter()
                .rev()
                .find_map(|day| Some((day.date, day.coach_decision.clone()?))),
            group: has_plan.then(|| if story.is_multiple_of(2) { "Early" } else { "Late" }.into()),
            athlete: name.into(),
            plan_title: has_plan.then(|| "Harbour beginners, spring".into()),
            journal,
            journal_left_out: 0,
            cautions: match story {
                4 => vec![Caution::StrongPain],
                8 => vec![Caution::WarningSign],
                0 => vec![Caution::PredictedHeartRate],
                _ => Vec::new(),
            },
            facts: vec!["Out on 6 of the last 14 days.".to_owned()],
            notes: if has_plan { Vec::new() } else { vec!["no plan: adherence and dose are empty".into()] },
            habit: Some(Habit { usual_time: NaiveTime::from_hms_opt(19, 25, 0), spread_min: 27.4 }),
            target: has_plan.then(|| Target {
                distance_m: 5000.0,
                needed_s: Some(2306.0),
                readiness: Some("not yet: the longest run of the last 14 days is 52 % of that time".into()),
            }),
            next: plan.last().filter(|planned| !planned.due).map(|planned| NextSession {
                block: planned.block.clone(),
                session: planned.session,
                date: planned.date,
                planned: planned.planned.clone(),
                between: Some("35:00 walk".into()),
                is_again: false,
                is_shortened: false,
            }),
            no_run_before: (story == 4).then(|| as_of + Days::new(3)),
            is_stopped: story == 8,
            attention: match story {
                8 => 0,
                4 => 1,
                0 | 6 => 6,
                3 | 7 => 5,
                _ => 4,
            },
            is_silent: story == 5,
            remarks: std::mem::take(&mut self.remarks),
            as_of: None,
            calendar: plan,
            ..AthleteExtras::default()
        });
    }
}

fn event_row(name: &str, file: &str, event: Event) -> EventRow {
    EventRow {
        athlete: name.into(),
        file: file.into(),
        session: 1,
        event: event.kind,
        part: event.part.map(Part::from),
        number: event.number.map(|number| number as u64),
        at_s: event.at_s,
        to_s: event.to_s,
        planned_s: event.planned_s,
        done_s: event.done_s,
        confidence: event.confidence,
        text: event.text,
    }
}

/// How a session went.
struct Deed {
    is_last: bool,
    story: usize,
    seed: u64,
    reps: usize,
    rep_s: f64,
    walk_s: f64,
    has_heart_rate: bool,
    has_cadence: bool,
    speed_m_per_s: f64,
}

impl Deed {
    /// Kind, start and end of each bout.
    fn bouts(&self) -> Vec<(Kind, f64, f64)> {
        let mut bouts: Vec<(Kind, f64, f64)> = Vec::new();
        let mut time_s = 0.0;
        let mut push = |kind, length_s: f64| {
            let length_s = (length_s * 10.0).round() / 10.0;
            if length_s > 0.0 {
                match bouts.last_mut().filter(|bout| bout.0 == kind) {
                    Some(bout) => bout.2 += length_s,
                    None => bouts.push((kind, time_s, time_s + length_s)),
                }
                time_s += length_s;
            }
        };
        push(Kind::Walk, EASY_WALK_S + 10.0 * noise(self.seed));
        let done = self.reps_done();
        for rep in 0..done {
            let wobble_s = 4.0 * noise(self.seed * 31 + rep as u64) - 2.0;
            let is_cut = !self.is_last && rep + 1 == done && noise(self.seed + 5) > 0.8;
            push(Kind::Run, if is_cut { self.rep_s * 0.7 } else { self.rep_s + wobble_s });
            if rep + 1 < done && !(self.is_last && self.story == 2) {
                let is_stop = rep == 1 && noise(self.seed + 6) > 0.6;
                push(Kind::Walk, self.walk_s - wobble_s - if is_stop { 25.0 } else { 0.0 });
                push(Kind::Stand, if is_stop { 25.0 } else { 0.0 });
            }
        }
        push(Kind::Walk, 120.0);
        push(Kind::Gap, if noise(self.seed + 8) > 0.8 { 45.0 } else { 0.0 });
        push(Kind::Walk, 170.0);
        bouts
    }

    fn reps_done(&self) -> usize {
        if self.is_last && self.story == 1 { self.reps.div_ceil(2).max(1) } else { self.reps }
    }

    /// What happened, as the reading of events tells it.
    fn events(&self, done: &[(Kind, f64, f64)], has_plan: bool, resolvable: bool) -> Vec<Event> {
        let ask = |gait, seconds| Interval { gait, amount: Amount::Seconds(seconds) };
        let mut plan = vec![ask(Gait::Walk, EASY_WALK_S)];
        for _ in 0..self.reps {
            plan.extend([ask(Gait::Run, self.rep_s), ask(Gait::Walk, self.walk_s)]);
        }
        plan.push(ask(Gait::Walk, EASY_WALK_S));
        let bouts: Vec<Bout> =
            done.iter().map(|&(kind, start_s, end_s)| Bout::new(kind, start_s, end_s)).collect();
        let observed = Observed {
            doubt: (!resolvable).then_some("Running and walking cannot be told apart here."),
            ..Observed::of(&bouts, if resolvable { 0.97 } else { 0.41 })
        };
        let plan = if has_plan { plan } else { Vec::new() };
        read_events(&plan, &observed, &AdherenceSettings::default()).events
    }

    fn intervals(&self, name: &str, file: &str, bouts: &[(Kind, f64, f64)]) -> Vec<IntervalRow> {
        let runs: Vec<_> = bouts.iter().filter(|bout| bout.0 == Kind::Run).collect();
        let mut rows = Vec::new();
        let mut push = |kind, planned_s: f64, done: Option<(f64, f64)>| {
            let done_s = done.map(|(start_s, end_s)| end_s - start_s);
            let share = done_s.unwrap_or(0.0) / planned_s;
            rows.push(IntervalRow {
                athlete: name.into(),
                file: file.into(),
                session: 1,
                interval: rows.len() as u64 + 1,
                kind,
                planned_s: Some(planned_s),
                planned_m: None,
                done_s,
                done_m: done_s.map(|s| s * if kind == Gait::Run { self.speed_m_per_s } else { 1.45 }),
                status: match share {
                    share if share <= 0.0 => IntervalStatus::Missed,
                    share if share < 0.9 => IntervalStatus::Short,
                    share if share > 1.1 => IntervalStatus::Long,
                    _ => IntervalStatus::Done,
                },
                credit_pct: Some((100.0 * share / 0.9).min(100.0)),
                start_s: done.map(|(start_s, _)| start_s),
            });
        };
        push(Gait::Walk, EASY_WALK_S, runs.first().map(|run| (0.0, run.1)));
        for rep in 0..self.reps {
            // A run straight through fills the reps one after the other.
            let run = match runs.as_slice() {
                [straight] if self.reps > 1 && self.reps_done() == self.reps => {
                    let start_s = straight.1 + rep as f64 * self.rep_s;
                    (start_s < straight.2).then(|| (start_s, (start_s + self.rep_s).min(straight.2)))
                }
                runs => runs.get(rep).map(|run| (run.1, run.2)),
            };
            let next = runs.get(rep + 1).map(|run| run.1);
            push(Gait::Run, self.rep_s, run);
            if rep + 1 < self.reps {
                push(Gait::Walk, self.walk_s, run.zip(next).map(|((_, end_s), next_s)| (end_s, next_s)));
            }
        }
        push(Gait::Walk, EASY_WALK_S, runs.last().zip(bouts.last()).map(|(run, last)| (run.2, last.2)));
        rows
    }
}

fn plan_sessions() -> impl Iterator<Item = (&'static str, u64, usize, f64, f64)> {
    BLOCKS.iter().flat_map(|&(label, sessions, reps, rep_s, walk_s)| {
        (1..=sessions).map(move |session| (label, session, reps, rep_s, walk_s))
    })
}

/// Tuesdays, Thursdays and Saturdays from 3 March 2026 on.
fn training_days(count: u64) -> Vec<NaiveDate> {
    let first = NaiveDate::from_ymd_opt(2026, 3, 3).expect("a valid day");
    first
        .iter_days()
        .filter(|day| [2, 4, 6].contains(&day.weekday().number_from_monday()))
        .take(count as usize)
        .collect()
}

fn planned_text(reps: usize, rep_s: f64, walk_s: f64) -> String {
    let clock = |s: f64| format!("{}:{:02}", s as u64 / 60, s as u64 % 60);
    match reps {
        1 => format!("5:00 walk, {} run, 5:00 walk", clock(rep_s)),
        _ => format!("5:00 walk, {reps} x ({} run, {} walk), 5:00 walk", clock(rep_s), clock(walk_s)),
    }
}

fn trace(file: &str, deed: &Deed, bouts: &[(Kind, f64, f64)], duration_s: f64) -> Trace {
    let mut trace = Trace::new(file, 1, duration_s);
    let times_s: Vec<f64> = (0..=duration_s as u64).map(|s| s as f64).collect();
    let kind_at = |time_s: f64| bouts.iter().find(|bout| time_s < bout.2).map_or(Kind::Walk, |bout| bout.0);
    let series = |value: &dyn Fn(Kind, f64) -> f64| -> Vec<f64> {
        times_s
            .iter()
            .map(|&s| if kind_at(s) == Kind::Gap { f64::NAN } else { value(kind_at(s), s) })
            .collect()
    };
    let wobble = |s: f64| noise(deed.seed * 7919 + s as u64) - 0.5;
    let speed = series(&|kind, s| (speed_of(kind, deed.speed_m_per_s) + 0.3 * wobble(s)).max(0.0));
    trace.speed_m_per_s = trace.thin(&times_s, &speed);
    if deed.has_heart_rate {
        let rate = series(&|kind, s| heart_rate(kind, s) + 3.0 * wobble(s));
        trace.heart_rate_bpm = trace.thin(&times_s, &rate);
    }
    if deed.has_cadence {
        let rate = series(&|kind, s| cadence(kind) + 6.0 * wobble(s));
        trace.cadence_spm = trace.thin(&times_s, &rate);
    }
    trace
}

fn speed_of(kind: Kind, running_m_per_s: f64) -> f64 {
    match kind {
        Kind::Run => running_m_per_s,
        Kind::Walk => 1.45,
        Kind::Stand | Kind::Gap => 0.0,
    }
}

fn heart_rate(kind: Kind, time_s: f64) -> f64 {
    let rise = 12.0 * (time_s / 1800.0).min(1.2);
    rise + match kind {
        Kind::Run => 145.0,
        Kind::Walk => 120.0,
        Kind::Stand | Kind::Gap => 108.0,
    }
}

fn cadence(kind: Kind) -> f64 {
    match kind {
        Kind::Run => 158.0,
        Kind::Walk => 112.0,
        Kind::Stand | Kind::Gap => 0.0,
    }
}

fn week_of(row: &SessionRow) -> Option<chrono::IsoWeek> {
    row.start_local.map(|time| time.date().iso_week())
}

fn file(name: &str, status: Status, note: &str) -> FileRow {
    FileRow {
        file: name.into(),
        status,
        format: None,
        sessions: 0,
        points_kept: 0,
        points_dropped: None,
        notes: vec![note.into()],
    }
}

/// A number from 0 to 1 that looks random and is the same at every run (SplitMix64, Steele and others 2014).
fn noise(seed: u64) -> f64 {
    let mut z = seed.wrapping_add(1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
}
