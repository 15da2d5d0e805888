//! What holds for every season, whatever is done and said in it.

use boutwise_bouts::{Amount, Bout, Gait, Interval, Kind};
use boutwise_season::{
    AfterAway, Athlete, AthleteAudit, AthleteInput, Away, Correction, Entry, Outing, Plan, PlanInUse,
    PlanPlace, Role, SessionId, Settings, Verdict, audit_athlete,
};
use chrono::{Days, NaiveDate};
use proptest::prelude::*;

/// Steps of the project's own ladder.
const LADDER: [&str; 3] = [
    "5:00 walk, 9 x (0:40 run, 1:20 walk), 4:00 walk",
    "5:00 walk, 7 x (1:10 run, 1:20 walk), 4:00 walk",
    "5:00 walk, 6 x (1:45 run, 1:20 walk), 4:00 walk",
];
/// Share of the reps that are run in a session that was cut short.
const POOR: f64 = 0.3;

fn plan(rhythm: &str) -> Plan {
    let block = |session: &&str| format!("[[block]]\nsessions = 4\n{rhythm}\nsession = '{session}'\n");
    Plan::parse(&LADDER.iter().map(block).collect::<String>(), "plan.toml").unwrap()
}

fn day(day: u64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 3, 2).unwrap() + Days::new(day)
}

/// The first share of a session, as asked.
fn outing(plan: &Plan, id: SessionId, on: NaiveDate, share: f64) -> Outing {
    let intervals = &plan.session(id).intervals;
    // Whole reps, each with the walk after it.
    let reps = (intervals.len() - 1) / 2;
    let count = if share < 1.0 { 1 + 2 * (share * reps as f64).ceil() as usize } else { intervals.len() };
    let mut bouts: Vec<Bout> = Vec::new();
    for Interval { gait, amount } in &intervals[..count] {
        let Amount::Seconds(seconds) = *amount else { panic!("the ladder is in seconds") };
        let (kind, m_per_s) = if *gait == Gait::Run { (Kind::Run, 2.4) } else { (Kind::Walk, 1.5) };
        let start_s = bouts.last().map_or(0.0, |bout| bout.end_s);
        match bouts.last_mut().filter(|last| last.kind == kind) {
            Some(last) => last.end_s += seconds,
            None => bouts.push(Bout::new(kind, start_s, start_s + seconds)),
        }
        let last = bouts.last_mut().unwrap();
        last.distance_m = Some(last.duration_s() * m_per_s);
    }
    if share < 1.0 {
        // The way home, which shows that it was over.
        bouts.last_mut().unwrap().end_s += 600.0;
    }
    let local = on.and_hms_opt(18, 0, 0).unwrap();
    Outing::new(format!("{on}.gpx"), 1, local.and_utc(), local, true, bouts)
}

/// A season with what is said of it.
#[derive(Default)]
struct Season {
    outings: Vec<Outing>,
    athlete: Athlete,
    journal: Vec<Entry>,
    corrections: Vec<Correction>,
    as_of: NaiveDate,
}

impl Season {
    /// Sessions of the plan in order, so many days from one to the next.
    fn in_order(plan: &Plan, steps: &[u64]) -> Self {
        let mut on = 0;
        let mut outings = Vec::new();
        for (id, step) in plan.sessions().zip(steps) {
            on += if outings.is_empty() { 0 } else { *step };
            outings.push(outing(plan, id, day(on), 1.0));
        }
        Self { outings, as_of: day(on), ..Self::default() }
    }

    fn audit(&self, plan: &Plan) -> AthleteAudit {
        audit_athlete(&AthleteInput {
            outings: &self.outings,
            plans: &[PlanInUse { plan, start: Some(day(0)) }],
            athlete: Some(&self.athlete),
            journal: &self.journal.iter().collect::<Vec<_>>(),
            corrections: &self.corrections.iter().collect::<Vec<_>>(),
            as_of: self.as_of,
            settings: &Settings::default(),
        })
    }
}

fn is_session(file: &str, plan: &Plan, id: SessionId) -> Correction {
    Correction {
        file: Some(file.to_owned()),
        session: None,
        used: None,
        athlete: None,
        place: Some(PlanPlace::Session {
            block: plan.blocks[id.block].label.clone(),
            number: Some(id.number),
        }),
        from_s: None,
        to_s: None,
        line: 2,
    }
}

/// File, role and outcome of each recording, in order of time.
fn told(season: &Season, audit: &AthleteAudit) -> Vec<String> {
    let of = |audited: &boutwise_season::OutingAudit| {
        format!("{} {:?} {:?}", season.outings[audited.outing].file, audited.role, audited.outcome)
    };
    audit.outings.iter().map(of).collect()
}

/// Planned sessions with their days, and what became of them.
fn sessions(audit: &AthleteAudit) -> Vec<String> {
    let of = |(_, planned): &(usize, boutwise_season::PlannedSession)| {
        format!("{:?} {:?} {} {:?}", planned.session, planned.day, planned.due, planned.outcome)
    };
    audit.planned.iter().map(of).collect()
}

fn steps() -> impl Strategy<Value = Vec<u64>> {
    proptest::collection::vec(1u64..5, 2..12)
}

fn rhythms() -> impl Strategy<Value = &'static str> {
    prop_oneof![Just("every_days = 2"), Just("days = ['Mon', 'Wed', 'Sat']")]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]

    #[test]
    fn a_word_by_hand_for_what_was_laid_already_changes_nothing(
        rhythm in rhythms(),
        steps in steps(),
        done in proptest::collection::vec(0..3, 12),
        away in proptest::option::of((0u64..24, 0u64..12)),
        pick in any::<proptest::sample::Index>(),
    ) {
        let plan = plan(rhythm);
        let mut season = Season::in_order(&plan, &steps);
        for (id, (held, done)) in plan.sessions().zip(season.outings.iter_mut().zip(done)) {
            match done {
                0 => *held = outing(&plan, id, held.day(), POOR),
                // Walked: nothing but its day makes a session of it.
                1 => held.bouts.iter_mut().for_each(|bout| bout.kind = Kind::Walk),
                _ => {}
            }
        }
        season.athlete.away.extend(away.map(|(from, days)| Away {
            from: day(from),
            to: day(from + days),
            reason: None,
            then: Some(AfterAway::Rejoin),
        }));
        let before = season.audit(&plan);
        let laid: Vec<(usize, SessionId)> = (before.outings.iter())
            .filter_map(|audited| match audited.role {
                Role::Session(laid) => Some((audited.outing, laid.session)),
                _ => None,
            })
            .collect();
        prop_assume!(!laid.is_empty());
        let (at, session) = laid[pick.index(laid.len())];
        season.corrections.push(is_session(&season.outings[at].file, &plan, session));
        let after = season.audit(&plan);
        prop_assert_eq!(told(&season, &before), told(&season, &after));
        prop_assert_eq!(sessions(&before), sessions(&after));
        prop_assert_eq!(before.attendance, after.attendance);
        prop_assert_eq!(before.proposal, after.proposal);
        prop_assert_eq!(before.next, after.next);
    }

    #[test]
    fn a_decision_that_says_what_was_done_anyway_changes_nothing(
        rhythm in rhythms(),
        count in 2usize..12,
        on in any::<proptest::sample::Index>(),
        holds in any::<bool>(),
    ) {
        let plan = plan(rhythm);
        let days: Vec<NaiveDate> = plan.dates(day(0)).into_iter().flatten().take(count).collect();
        let outings = plan.sessions().zip(&days).map(|(id, on)| outing(&plan, id, *on, 1.0)).collect();
        let mut season = Season { outings, as_of: days[count - 1], ..Season::default() };
        let before = season.audit(&plan);
        // On the day of any session but the last, so that a session of later answers it.
        let decided = if holds { Verdict::Hold } else { Verdict::Advance };
        let said = days[on.index(count - 1)];
        season.journal.push(Entry { coach_decision: Some(decided), ..Entry::new("a", said) });
        let after = season.audit(&plan);
        prop_assert_eq!(told(&season, &before), told(&season, &after));
        prop_assert_eq!(sessions(&before), sessions(&after));
        prop_assert_eq!(before.attendance, after.attendance);
        prop_assert_eq!(before.proposal, after.proposal);
        prop_assert_eq!(before.next, after.next);
    }

    #[test]
    fn who_follows_the_computed_ease_in_full_is_never_eased_for_it(
        rhythm in rhythms(),
        good in 4usize..9,
    ) {
        let plan = plan(rhythm);
        let ids: Vec<SessionId> = plan.sessions().collect();
        let days: Vec<NaiveDate> = plan.dates(day(0)).into_iter().flatten().collect();
        let share = |at: usize| if at < good { 1.0 } else { POOR };
        let outings: Vec<Outing> =
            (0..good + 2).map(|at| outing(&plan, ids[at], days[at], share(at))).collect();
        let mut season = Season { outings, as_of: days[good + 1], ..Season::default() };
        let audit = season.audit(&plan);
        // Two sessions of one block that were cut short call for going back a block.
        prop_assume!(ids[good].block == ids[good + 1].block);
        prop_assert_eq!(audit.proposal.verdict, Some(Verdict::Ease));
        let mut next = audit.next;
        for followed in 0..8 {
            let Some(session) = next.take() else {
                // Only where the plan is done.
                prop_assert!(followed > 1);
                break;
            };
            let on = session.day.unwrap();
            season.outings.push(outing(&plan, session.session, on, 1.0));
            season.as_of = on;
            let audit = season.audit(&plan);
            prop_assert!(
                audit.proposal.verdict != Some(Verdict::Ease),
                "eased again after {:?} on {on}: {:?}",
                session.session,
                told(&season, &audit)
            );
            next = audit.next;
        }
    }

    #[test]
    fn more_sessions_in_order_never_lower_attended(rhythm in rhythms(), steps in steps()) {
        let plan = plan(rhythm);
        let season = Season::in_order(&plan, &steps);
        let mut before = 0;
        for count in 1..=season.outings.len() {
            let part = Season { outings: season.outings[..count].to_vec(), as_of: season.as_of, ..Season::default() };
            let attended = part.audit(&plan).attendance.attended;
            prop_assert!(attended >= before, "{attended} after {before} with {count} sessions");
            before = attended;
        }
    }

    #[test]
    fn sessions_in_order_at_a_step_of_her_own_are_laid_one_after_the_other(
        rhythm in rhythms(),
        step in prop_oneof![Just(1u64), Just(3)],
        count in 5usize..=12,
    ) {
        let plan = plan(rhythm);
        let season = Season::in_order(&plan, &vec![step; count]);
        let audit = season.audit(&plan);
        let laid: Vec<SessionId> = (audit.outings.iter())
            .filter_map(|audited| match audited.role {
                Role::Session(laid) => Some(laid.session),
                _ => None,
            })
            .collect();
        prop_assert_eq!(laid, plan.sessions().take(count).collect::<Vec<_>>());
        prop_assert_eq!(audit.attendance.attended, count);
    }

    #[test]
    fn an_away_row_never_lowers_attendance(
        rhythm in rhythms(),
        steps in steps(),
        from in 0u64..24,
        days in 0u64..12,
        then in prop_oneof![Just(None), Just(Some(AfterAway::GoOn)), Just(Some(AfterAway::Rejoin))],
    ) {
        let plan = plan(rhythm);
        let mut season = Season::in_order(&plan, &steps);
        let before = season.audit(&plan).attendance;
        season.athlete.away.push(Away { from: day(from), to: day(from + days), reason: None, then });
        let after = season.audit(&plan).attendance;
        prop_assert!(after.attended >= before.attended, "{before:?} {after:?}");
        prop_assert!(after.missed <= before.missed, "{before:?} {after:?}");
    }

    #[test]
    fn any_order_of_recordings_and_rows_gives_the_same(
        rhythm in rhythms(),
        steps in steps(),
        turn in 1usize..11,
    ) {
        let plan = plan(rhythm);
        let mut season = Season::in_order(&plan, &steps);
        let files: Vec<String> = season.outings.iter().map(|outing| outing.file.clone()).collect();
        let ids: Vec<SessionId> = plan.sessions().collect();
        season.corrections.extend([0, 1].map(|at| is_session(&files[at], &plan, ids[at + 1])));
        let mut of_file = is_session(&files[1], &plan, ids[2]);
        of_file.place = Some(PlanPlace::None);
        of_file.session = Some(1);
        season.corrections.push(of_file);
        for (on, decided) in [(2, Verdict::Hold), (2, Verdict::Advance), (6, Verdict::Ease)] {
            season.journal.push(Entry { coach_decision: Some(decided), ..Entry::new("a", day(on)) });
        }
        for (from, to) in [(8, 9), (3, 4)] {
            season.athlete.away.push(Away { from: day(from), to: day(to), reason: None, then: None });
        }
        let before = season.audit(&plan);
        let labels = told(&season, &before);
        let turned = turn % season.outings.len();
        season.outings.rotate_left(turned);
        season.corrections.sort_by_key(|row| row.session.is_none());
        season.journal.reverse();
        season.athlete.away.reverse();
        let after = season.audit(&plan);
        prop_assert_eq!(labels, told(&season, &after));
        prop_assert_eq!(before.attendance, after.attendance);
        prop_assert_eq!(before.proposal, after.proposal);
        prop_assert_eq!(before.next, after.next);
    }
}

#[test]
fn a_word_for_what_is_laid_already_moves_nothing_beside_an_absence() {
    let block = |reps: &str| {
        let rhythm = "sessions = 3\ndays = ['Mon', 'Wed', 'Sat']";
        format!("[[block]]\n{rhythm}\nsession = '5:00 walk, {reps}, 4:00 walk'\n")
    };
    let reps = ["6 x (1:00 run, 1:25 walk)", "5 x (2:00 run, 1:25 walk)", "4 x (4:00 run, 2:00 walk)"];
    let plan = Plan::parse(&reps.map(block).concat(), "plan.toml").unwrap();
    let done = |on: u64, hour: u32, reps: usize, run_s: f64, home_s: f64| {
        let (mut bouts, mut at_s) = (Vec::new(), 0.0);
        let mut add = |kind, lasts_s: f64, m_per_s: f64| {
            let bout = Bout::new(kind, at_s, at_s + lasts_s);
            bouts.push(Bout { distance_m: Some(lasts_s * m_per_s), ..bout });
            at_s += lasts_s;
        };
        for rep in 0..reps {
            add(Kind::Walk, if rep == 0 { 300.0 } else { 85.0 }, 1.4);
            add(Kind::Run, run_s, 2.4);
        }
        add(Kind::Walk, home_s, 1.4);
        let local = day(on).and_hms_opt(hour, 0, 0).unwrap();
        Outing::new(format!("{on}-{hour}.gpx"), 1, local.and_utc(), local, true, bouts)
    };
    let mut season = Season {
        outings: vec![
            done(2, 8, 6, 60.0, 240.0),
            done(5, 12, 4, 60.0, 400.0),
            done(7, 18, 3, 120.0, 400.0),
            done(12, 8, 0, 0.0, 1500.0),
            done(12, 9, 0, 0.0, 1100.0),
        ],
        as_of: day(12),
        ..Season::default()
    };
    let then = Some(AfterAway::Rejoin);
    season.athlete.away.push(Away { from: day(7), to: day(9), reason: None, then });
    let before = season.audit(&plan);
    let Role::Session(laid) = before.outings[1].role else { panic!("{:?}", before.outings[1].role) };
    season.corrections.push(is_session("5-12.gpx", &plan, laid.session));
    assert_eq!(told(&season, &before), told(&season, &season.audit(&plan)));
}
