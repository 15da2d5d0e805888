//! The audit of one athlete, from recordings to proposal.

use boutwise_bouts::{Bounds, Bout, Kind};
use boutwise_season::{
    Athlete, AthleteAudit, AthleteInput, Caution, Entry, HoldCause, Outcome, Outing, Plan, PlanInUse, Role,
    Settings, Verdict, WarningSign, audit_athlete,
};
use chrono::{DateTime, NaiveDate};
use proptest::prelude::*;

const RUN_M_PER_S: f64 = 2.4;
const WALK_M_PER_S: f64 = 1.5;

fn day(day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 3, 1).unwrap() + chrono::Days::new(u64::from(day) - 1)
}

/// A recording at six in the evening: warm-up walk, runs with rests between, walk home.
fn outing(on: u32, runs_s: &[f64], rest_s: f64) -> Outing {
    let mut bouts: Vec<Bout> = Vec::new();
    let mut add = |kind, duration_s: f64, speed: f64| {
        let start_s = bouts.last().map_or(0.0, |bout| bout.end_s);
        let mut bout = Bout::new(kind, start_s, start_s + duration_s);
        bout.distance_m = Some(duration_s * speed);
        bouts.push(bout);
    };
    add(Kind::Walk, 300.0, WALK_M_PER_S);
    for (at, run_s) in runs_s.iter().enumerate() {
        if at > 0 {
            add(Kind::Walk, rest_s, WALK_M_PER_S);
        }
        add(Kind::Run, *run_s, RUN_M_PER_S);
    }
    add(Kind::Walk, if runs_s.is_empty() { 1200.0 } else { 300.0 }, WALK_M_PER_S);
    let local = day(on).and_hms_opt(18, 0, 0).unwrap();
    let utc = DateTime::from_naive_utc_and_offset(local, chrono::Utc);
    Outing::new(format!("{on:02}-{}.gpx", runs_s.len()), 1, utc, local, true, bouts)
}

/// The same three hours later.
fn later(made: Outing) -> Outing {
    let late = chrono::TimeDelta::hours(3);
    Outing { start_utc: made.start_utc + late, start_local: made.start_local + late, ..made }
}

fn plan() -> Plan {
    let text = "
        [[block]]
        sessions = 3
        every_days = 2
        session = '5:00 walk, 8 x (1:05 run, 1:25 walk), 5:00 walk'
        between = '35:00 walk'
        [[block]]
        sessions = 3
        every_days = 2
        session = '5:00 walk, 6 x (2:10 run, 1:25 walk), 5:00 walk'
        [[block]]
        sessions = 2
        every_days = 2
        session = '27:00 run'";
    Plan::parse(text, "plan.toml").unwrap()
}

fn first(on: u32) -> Outing {
    outing(on, &[65.0; 8], 85.0)
}

fn second(on: u32) -> Outing {
    outing(on, &[130.0; 6], 85.0)
}

struct Case {
    plans: Vec<(Plan, Option<NaiveDate>)>,
    outings: Vec<Outing>,
    journal: Vec<Entry>,
    athlete: Option<Athlete>,
}

impl Case {
    fn new(outings: Vec<Outing>) -> Self {
        Self { plans: vec![(plan(), Some(day(1)))], outings, journal: Vec::new(), athlete: None }
    }

    fn audit(&self, as_of: u32) -> AthleteAudit {
        let plans: Vec<PlanInUse<'_>> =
            self.plans.iter().map(|(plan, start)| PlanInUse { plan, start: *start }).collect();
        let journal: Vec<&Entry> = self.journal.iter().collect();
        audit_athlete(&AthleteInput {
            outings: &self.outings,
            plans: &plans,
            athlete: self.athlete.as_ref(),
            journal: &journal,
            corrections: &[],
            as_of: day(as_of),
            settings: &Settings::default(),
        })
    }
}

/// Block and number of each recording, `-` off the plan.
fn places(audit: &AthleteAudit) -> String {
    let place = |role: &Role| match role {
        Role::Session(laid) => {
            let again = if laid.again { "+" } else { "" };
            format!("{}{}{again}", ["A", "B", "C"][laid.session.block], laid.session.number)
        }
        Role::Other(id) => ["A", "B", "C"][id.block].to_owned(),
        Role::Walk => "walk".to_owned(),
        Role::Extra => "extra".to_owned(),
        Role::Later => "later".to_owned(),
        Role::Overlapped => "overlapped".to_owned(),
    };
    audit.outings.iter().map(|outing| place(&outing.role)).collect::<Vec<_>>().join(" ")
}

fn next(audit: &AthleteAudit) -> String {
    audit.next.as_ref().map_or("none".to_owned(), |next| format!("{}{}", next.label, next.session.number))
}

#[test]
fn a_faithful_block_leads_to_the_next_with_its_figures() {
    let mut case = Case::new(vec![first(1), first(3), first(5)]);
    case.journal =
        [3, 5].map(|on| Entry { effort_0_10: Some(3.0), ..Entry::new("a", day(on)) }).into_iter().collect();
    let audit = case.audit(5);
    assert_eq!((places(&audit).as_str(), next(&audit).as_str()), ("A1 A2 A3", "B1"));
    assert_eq!(audit.proposal.verdict, Some(Verdict::Advance));
    // B asks for 13 min of running after 8:40: a step that the plan itself makes, and told once for the group.
    assert!(!audit.proposal.caution && !audit.cautions.contains(&Caution::LargeStep));
    assert_eq!(
        boutwise_season::plan_steps(boutwise_season::plan_step(
            "Ada",
            &audit,
            &[PlanInUse { plan: &case.plans[0].0, start: None }]
        )),
        [
            "plan: B is a large step that the plan itself makes; the longest run it asks for is 2:10, the longest shown by Ada (1:05)"
        ]
    );
    assert!(
        audit.proposal.reasons.contains(&"next: B, 1 on Saturday 2026-03-07".to_owned()),
        "{:?}",
        audit.proposal.reasons
    );
    assert!(
        audit
            .proposal
            .reasons
            .contains(&"ran 8, 8 and 8 of 8 reps in full in the last 3 sessions".to_owned())
    );
    assert_eq!((audit.attendance.due, audit.attendance.attended, audit.attendance.completed), (3, 3, 3));
    assert_eq!(audit.attendance.dose_pct, Some(100.0));
}

#[test]
fn advancing_within_a_block_goes_on_with_it_and_skips_nothing() {
    let audit = Case::new(vec![first(1), first(3)]).audit(3);
    assert_eq!((audit.proposal.verdict, next(&audit).as_str()), (Some(Verdict::Advance), "A3"));
    // The second session was skipped: it comes before the next block.
    let audit = Case::new(vec![first(1), first(5)]).audit(5);
    assert_eq!((places(&audit).as_str(), next(&audit).as_str()), ("A1 A3", "A2"));
}

#[test]
fn moved_repeated_skipped_and_extra_recordings_are_told_apart() {
    let walk = |on| outing(on, &[], 0.0);
    let cases = [
        (vec![first(1), first(4), first(5)], "A1 A2 A3"),
        (vec![first(1), first(3), first(5), first(7), second(9)], "A1 A2 A3 A3+ B1"),
        (vec![first(1), walk(2), first(3), walk(4), first(5)], "A1 walk A2 walk A3"),
        (vec![first(1), first(3), outing(4, &[1300.0], 0.0), first(5)], "A1 A2 extra A3"),
        (vec![first(1), first(3), first(5), second(9)], "A1 A2 A3 B2"),
        // A break of two weeks: on with the plan where it was left.
        (vec![first(1), first(3), first(17), second(19), second(21)], "A1 A2 A3 B1 B2"),
        // Started a week late.
        (vec![first(8), first(10), first(12), second(14)], "A1 A2 A3 B1"),
        // Walked on the very day.
        (vec![first(1), walk(3), first(5)], "A1 A2 A3"),
        // Two sessions on one day, after one was missed.
        (vec![first(1), first(5), later(outing(5, &[65.0; 8], 86.0)), second(7)], "A1 A2 A3 B1"),
        // At one time only one of the two can be a session.
        (vec![first(1), first(5), outing(5, &[65.0; 8], 86.0), second(7)], "A1 A3 extra B1"),
        // Five of eight reps.
        (vec![first(1), outing(3, &[65.0; 5], 85.0), first(5)], "A1 A2 A3"),
    ];
    for (outings, expected) in cases {
        assert_eq!(places(&Case::new(outings).audit(30)), expected);
    }
}

#[test]
fn sessions_are_due_on_the_plans_own_days_however_late_the_athlete_is() {
    let audit = Case::new(vec![first(1), first(3), first(17), second(19), second(21)]).audit(22);
    assert_eq!((audit.attendance.due, audit.attendance.attended, audit.attendance.interrupted), (8, 5, 3));
    let audit = Case::new(vec![first(1), first(4)]).audit(5);
    assert_eq!((audit.attendance.due, audit.attendance.missed), (3, 1));
}

#[test]
fn what_was_not_done_is_missed_and_three_in_a_row_interrupt() {
    let audit = Case::new(vec![first(1), second(7)]).audit(13);
    let outcomes: Vec<Outcome> = audit.planned.iter().map(|(_, session)| session.outcome).collect();
    use Outcome::{Ahead, Completed, Interrupted, Missed};
    assert_eq!(
        outcomes,
        [Completed, Missed, Missed, Completed, Interrupted, Interrupted, Interrupted, Ahead]
    );
    assert_eq!((audit.attendance.due, audit.attendance.missed, audit.attendance.interrupted), (7, 5, 3));
    // The first of March 2026 is a Sunday: one session in that week, then days 3, 5, 7 and 9, 11, 13.
    let by_week: Vec<usize> = audit.attendance_by_week.iter().map(|(_, sums)| sums.due).collect();
    let by_block: Vec<usize> = audit.attendance_by_block.iter().map(|(_, _, sums)| sums.due).collect();
    assert_eq!((by_week, by_block), (vec![1, 3, 3], vec![3, 3, 1]));
}

#[test]
fn a_walked_session_is_attended_and_named() {
    let audit = Case::new(vec![first(1), outing(3, &[], 0.0)]).audit(3);
    assert_eq!(audit.outings[1].outcome, Some(Outcome::Walked));
    assert_eq!((audit.attendance.attended, audit.attendance.dose_pct), (2, Some(50.0)));
    assert_eq!(audit.proposal.verdict, Some(Verdict::Hold));
    assert!(audit.proposal.reasons.contains(&"walked in place of run on 2026-03-03".to_owned()));
}

#[test]
fn a_session_walked_but_for_a_few_running_steps_is_named_too() {
    let audit = Case::new(vec![first(1), outing(3, &[12.0], 0.0)]).audit(3);
    assert_eq!(audit.outings[1].outcome, Some(Outcome::Walked));
    assert!(audit.proposal.reasons.contains(&"walked in place of run on 2026-03-03".to_owned()));
}

#[test]
fn a_second_recording_that_was_cut_off_does_not_displace_a_session_done_in_full() {
    // 64 of 65 s each, and on the next day the first six reps in full before the recording breaks off in the seventh.
    let mut cut = outing(6, &[65.0, 65.0, 65.0, 65.0, 65.0, 65.0, 30.0], 85.0);
    cut.bouts.pop();
    cut.breaks_off = true;
    let audit = Case::new(vec![first(1), first(3), outing(5, &[64.0; 8], 86.0), cut, second(7)]).audit(7);
    assert_eq!(places(&audit), "A1 A2 A3 A3+ B1");
    let outcomes: Vec<Option<Outcome>> = audit.outings.iter().map(|outing| outing.outcome).collect();
    assert_eq!(outcomes[2..4], [Some(Outcome::Completed), Some(Outcome::Unresolvable)]);
    assert_eq!(audit.planned[2].1.outcome, Outcome::Completed);
}

#[test]
fn of_several_attempts_the_completed_one_is_told_then_the_one_with_most_of_the_running() {
    // All of the running in one go, and on the next day as asked: both did 100 %.
    let straight = outing(5, &[8.0 * 65.0 + 7.0 * 85.0], 0.0);
    let audit = Case::new(vec![first(1), first(3), straight, first(6)]).audit(6);
    assert_eq!(places(&audit), "A1 A2 A3 A3+");
    assert_eq!(audit.outings[2].outcome, Some(Outcome::Modified));
    assert_eq!((audit.planned[2].1.outcome, audit.planned[2].1.shown), (Outcome::Completed, Some(3)));
    // Two pieces of an outing, each done in full as far as it was recorded.
    let audit = Case::new(vec![cut_in_rep(1, 2), later(cut_in_rep(1, 5))]).audit(1);
    assert_eq!(places(&audit), "A1 A1+");
    assert_eq!((audit.planned[0].1.done_run_s, audit.planned[0].1.shown), (Some(295.0), Some(1)));
}

#[test]
fn who_was_seen_to_run_walks_where_nothing_can_be_told_and_no_run_shows() {
    let untold_walk = |on| Outing { resolvable: false, ..outing(on, &[], 0.0) };
    // On a day between, before the session of the day after: a walk once runs were seen, else the session that nothing tells.
    assert_eq!(
        places(&Case::new(vec![first(1), first(3), untold_walk(4), first(5)]).audit(5)),
        "A1 A2 extra A3"
    );
    let before_any = places(&Case::new(vec![untold_walk(2), first(3), first(5)]).audit(5));
    assert_eq!(before_any, "A1 A2 A3");
}

#[test]
fn what_cannot_be_told_counts_for_attendance_only() {
    let unresolvable = |on| Outing { resolvable: false, ..first(on) };
    let audit = Case::new(vec![unresolvable(1), unresolvable(3)]).audit(3);
    assert_eq!((places(&audit).as_str(), audit.attendance.attended), ("A1 A2", 2));
    assert_eq!((audit.attendance.dose_pct, audit.progress.longest.as_ref()), (None, None));
    assert_eq!((audit.proposal.verdict, audit.weeks[0].run_s), (None, None));
    assert!(audit.proposal.reasons[0].contains("can't be told apart"));
}

/// A recording whose runs and walks can't be told apart, with what is certain of it all the same.
fn untold(made: Outing, runs_at_least: usize, run_s: f64, longest_at_least_s: f64) -> Outing {
    let bounds = Bounds {
        runs_at_least,
        longest_at_least_s,
        run_at_least_s: run_s,
        runs: (runs_at_least, runs_at_least + 2),
        // The ends of a 90 % interval are less than sure.
        run_s: (1.5 * run_s, 2.0 * run_s),
        longest_s: (longest_at_least_s, 2.0 * longest_at_least_s),
    };
    Outing { resolvable: false, bounds: Some(bounds), ..made }
}

#[test]
fn what_is_certain_of_an_untold_session_spares_too_little_and_makes_nothing_good() {
    let poor = |on| outing(on, &[65.0; 4], 85.0);
    let verdict = |outings: Vec<Outing>, on: u32| {
        let audit = Case::new(outings).audit(on);
        (audit.proposal.verdict, audit.proposal.reasons.join("; "))
    };
    // Twice below 60 %: back a block. A session between them of which 7 of 8 runs are sure breaks the row.
    assert_eq!(verdict(vec![poor(1), poor(5)], 5).0, Some(Verdict::Ease));
    let between = |runs, run_s| vec![poor(1), untold(first(3), runs, run_s, 40.0), poor(5)];
    assert_eq!(verdict(between(7, 420.0), 5).0, Some(Verdict::Hold));
    assert_eq!(verdict(between(4, 420.0), 5).0, Some(Verdict::Ease), "half of the runs are sure");
    assert_eq!(verdict(between(7, 200.0), 5).0, Some(Verdict::Ease), "little running is sure");
    // Two good ones, a poor one, and one of which all is sure: the poor one holds nobody back.
    let after = |runs, run_s| {
        vec![first(1), first(3), outing(5, &[65.0; 6], 85.0), untold(first(7), runs, run_s, 40.0)]
    };
    let plan = "[[block]]\nsessions = 6\nevery_days = 2\nsession = '5:00 walk, 8 x (1:05 run, 1:25 walk)'";
    let long = |outings: Vec<Outing>| {
        let mut case = Case::new(outings);
        case.plans = vec![(Plan::parse(plan, "p").unwrap(), Some(day(1)))];
        let audit = case.audit(7);
        (audit.proposal.verdict, audit.proposal.reasons.join("; "))
    };
    let (found, reasons) = long(after(8, 500.0));
    assert_eq!(found, Some(Verdict::Advance), "{reasons}");
    assert!(reasons.contains("one that can't be told surely did at least 96 %"), "{reasons}");
    assert_eq!(long(after(7, 500.0)).0, Some(Verdict::Hold), "7 of 8 are less than 90 %");
    assert_eq!(
        long(vec![first(1), untold(first(3), 8, 500.0, 40.0)]).0,
        Some(Verdict::Hold),
        "it is not good"
    );
}

#[test]
fn an_untold_run_that_was_surely_as_far_reaches_the_goal() {
    // 40 min at 2.4 m/s between walks of 5 min: wherever half an hour of running lay, it was 30 min x 2.4 m/s less what
    // the walk on one side is slower.
    let long = |least_s| {
        let mut case = Case::new(vec![untold(outing(1, &[2400.0], 0.0), 1, least_s, least_s)]);
        case.athlete = Some(Athlete { goal_m: Some(4000.0), ..Athlete::default() });
        case.audit(1).goal
    };
    let reached = long(1800.0).reached.unwrap();
    assert_eq!((reached.distance_m, reached.is_at_least), (Some(1500.0 * 2.4 + 300.0 * 1.5), true));
    assert_eq!(
        long(1800.0).reached_text().unwrap(),
        "reached: 4 km without a break on 2026-03-01: at least 4.0 km in 30:00"
    );
    assert!(long(1700.0).reached.is_none());
}

#[test]
fn the_day_of_what_is_next_lies_in_no_pause_and_no_absence() {
    let plan = |rhythm: &str| {
        let text = format!(
            "[[block]]\nsessions = 3\n{rhythm}\nsession = '5:00 walk, 8 x (1:05 run, 1:25 walk)'\n\
             [[pause]]\nfrom = 2026-03-09\nto = 2026-03-15"
        );
        Plan::parse(&text, "p").unwrap()
    };
    // Two poor sessions: the last is to be repeated, on a day that the plan does not name for it.
    let poor = |on| outing(on, &[65.0; 6], 85.0);
    let mut case = Case::new(vec![poor(3), poor(5), poor(7)]);
    let on = |case: &Case| case.audit(8).next.unwrap().day;
    for (rhythm, expected) in [("every_days = 2", 16), ("days = ['Tue', 'Thu']", 17)] {
        case.plans = vec![(plan(rhythm), Some(day(3)))];
        case.athlete = None;
        assert_eq!(on(&case), Some(day(expected)), "{rhythm}");
        let away = boutwise_season::Away { from: day(16), to: day(18), reason: None, then: None };
        case.athlete = Some(Athlete { away: vec![away], ..Athlete::default() });
        assert!(on(&case) > Some(day(18)), "{rhythm}");
    }
}

#[test]
fn a_warning_sign_stops_until_the_coach_has_decided() {
    let mut case = Case::new(vec![first(1), first(3)]);
    case.journal.push(Entry { warning_signs: vec![WarningSign::Dizzy], ..Entry::new("a", day(3)) });
    let audit = case.audit(4);
    assert_eq!((audit.proposal.verdict, next(&audit).as_str()), (Some(Verdict::Stop), "none"));
    assert_eq!((audit.cautions[0], audit.attention()), (Caution::WarningSign, 0));
    case.journal.push(Entry { coach_decision: Some(Verdict::Hold), ..Entry::new("a", day(4)) });
    let audit = case.audit(4);
    assert_eq!(audit.proposal.verdict, Some(Verdict::Advance));
    // The coach's word counts; the computed one stays visible.
    assert_eq!(audit.proposal.reasons[0], "coach decided hold on 2026-03-04");
    assert_eq!(audit.coach_decision, Some((day(4), Verdict::Hold)));
}

#[test]
fn pain_in_the_journal_brings_rest_and_its_caution() {
    let mut case = Case::new(vec![first(1), first(3)]);
    case.journal.push(Entry { pain_0_10: Some(2.0), ..Entry::new("a", day(4)) });
    let audit = case.audit(4);
    assert_eq!((audit.proposal.verdict, audit.proposal.rest_days), (Some(Verdict::Hold), 1));
    assert!(audit.cautions.contains(&Caution::MildPain));
    case.journal.push(Entry { pain_next_morning: Some(true), ..Entry::new("a", day(4)) });
    let audit = case.audit(4);
    assert_eq!((audit.proposal.verdict, next(&audit).as_str()), (Some(Verdict::Ease), "A3"));
    assert!(audit.cautions.contains(&Caution::StrongPain) && !audit.cautions.contains(&Caution::MildPain));
}

#[test]
fn a_sign_outranks_an_older_word_of_the_coach_and_a_good_session_does_not_clear_it() {
    let mut case = Case::new(vec![first(1), first(3), first(5)]);
    case.journal.push(Entry { coach_decision: Some(Verdict::Advance), ..Entry::new("a", day(5)) });
    case.journal.push(Entry { warning_signs: vec![WarningSign::Chest], ..Entry::new("a", day(2)) });
    // Noted before the coach's day: answered by it, and named.
    let audit = case.audit(6);
    assert_eq!(
        (audit.shown_verdict(), audit.coach_decision),
        (Some(Verdict::Advance), Some((day(5), Verdict::Advance)))
    );
    assert!(
        audit
            .proposal
            .reasons
            .iter()
            .any(|reason| reason.contains("chest (answered by the coach) on 2026-03-02"))
    );
    // On its day or later: not answered.
    case.journal[1].date = day(5);
    let audit = case.audit(6);
    assert_eq!((audit.shown_verdict(), audit.coach_decision), (Some(Verdict::Stop), None));
    case.journal[1].date = day(2);
    case.journal.remove(0);
    assert_eq!(case.audit(6).shown_verdict(), Some(Verdict::Stop), "good sessions since do not clear it");
}

#[test]
fn what_is_noted_after_the_day_judged_from_is_said_first() {
    let mut case = Case::new(vec![first(1), first(3)]);
    case.journal.push(Entry { warning_signs: vec![WarningSign::Chest], ..Entry::new("a", day(8)) });
    let audit = case.audit(3);
    assert_eq!(audit.proposal.verdict, Some(Verdict::Advance));
    assert_eq!(audit.proposal.reasons[0], "left out, since it lies after 2026-03-03: chest on 2026-03-08");
}

#[test]
fn pain_without_any_session_still_counts() {
    let mut case = Case::new(vec![]);
    case.journal.push(Entry { pain_0_10: Some(6.0), ..Entry::new("a", day(2)) });
    assert_eq!(case.audit(3).proposal.verdict, Some(Verdict::Ease));
    case.plans.clear();
    assert_eq!(case.audit(3).proposal.verdict, Some(Verdict::Ease));
}

#[test]
fn after_a_break_in_which_a_block_went_by_one_good_session_does_not_advance() {
    // Away from day 6 to day 20: all of B fell due on days 7, 9 and 11.
    let audit = Case::new(vec![first(1), first(3), first(21)]).audit(21);
    assert_eq!((places(&audit).as_str(), audit.proposal.verdict), ("A1 A2 A3", Some(Verdict::Hold)));
    assert!(
        audit.proposal.reasons[0].starts_with("1 good session since a break of 18 days"),
        "{:?}",
        audit.proposal.reasons
    );
    // A break of a week in which nothing of B went by.
    let audit = Case::new(vec![first(1), first(3), first(10)]).audit(10);
    assert_eq!(audit.proposal.verdict, Some(Verdict::Advance));
}

#[test]
fn what_is_done_though_the_coach_stopped_is_due_on_the_day_on_which_it_is_done() {
    let mut case = Case::new(vec![first(1), first(3), first(6)]);
    case.journal = vec![Entry { coach_decision: Some(Verdict::Stop), ..Entry::new("a", day(3)) }];
    let audit = case.audit(9);
    let due = audit.planned.iter().map(|(_, session)| session).filter(|session| session.due);
    assert_eq!(due.map(|session| session.day).collect::<Vec<_>>(), [1, 3, 6].map(|on| Some(day(on))));
    let in_weeks: usize = audit.attendance_by_week.iter().map(|(_, week)| week.attended).sum();
    assert_eq!((audit.attendance.attended, in_weeks), (3, 3));
}

#[test]
fn who_is_eased_begins_the_block_again() {
    // Half of two sessions of B, then one of A again: what was done of A before is no step.
    let poor = |on| outing(on, &[130.0; 3], 85.0);
    let back = || vec![first(1), first(3), first(5), poor(7), poor(9), first(11)];
    let audit = Case::new(back()).audit(11);
    assert_eq!(
        (places(&audit).as_str(), audit.proposal.verdict),
        ("A1 A2 A3 B1 B2 A1+", Some(Verdict::Hold))
    );
    assert_eq!(
        (next(&audit).as_str(), audit.proposal.reasons[0].as_str()),
        ("A2", "one session since this block was begun again, 2 good ones are needed")
    );
    let later = Case::new([back(), vec![first(13), first(15)]].concat()).audit(15);
    assert_eq!((places(&later).as_str(), next(&later).as_str()), ("A1 A2 A3 B1 B2 A1+ A2+ A3+", "B1"));
    assert!(!later.proposal.reasons.iter().any(|reason| reason.contains("begun again")));
}

#[test]
fn a_recording_of_next_to_nothing_is_no_attempt() {
    // The session takes 30 minutes, of which so many seconds were recorded, and nothing can be told of them.
    let with = |seconds: f64| {
        let bouts = vec![Bout::new(Kind::Walk, 0.0, seconds)];
        let third = Outing { bouts, resolvable: false, ..first(5) };
        Case::new(vec![first(1), first(3), third]).audit(5)
    };
    let audit = with(60.0);
    assert_eq!((places(&audit).as_str(), audit.attendance.attended), ("A1 A2 A3", 3));
    assert_eq!((audit.proposal.verdict, next(&audit).as_str()), (Some(Verdict::Advance), "A3"));
    let audit = with(900.0);
    assert_eq!((audit.proposal.verdict, next(&audit).as_str()), (Some(Verdict::Advance), "B1"));
    // What counts for nothing is said.
    let reasons = audit.proposal.reasons.join("; ");
    assert!(reasons.contains("the last 2 sessions that can be told were good"), "{reasons}");
    let left_out = "neither good nor poor: 1 session (running and walking can't be told apart) of this block";
    assert!(reasons.contains(left_out), "{reasons}");
    let told = Case::new(vec![first(1), first(3)]).audit(3).proposal.reasons.join("; ");
    assert!(told.contains("the last 2 sessions were good") && !told.contains("neither"), "{told}");
}

#[test]
fn a_goal_that_was_reached_is_said_first_and_kept_at_the_plans_end() {
    let text = "goal = '3 km'\n[[block]]\nevery_days = 2\nsession = '21:00 run'\n[[block]]\nevery_days = 2\nsession = '27:00 run'";
    let plan = Plan::parse(text, "p").unwrap();
    // At 2.4 m/s 25 min are 3.6 km.
    let mut case = Case::new(vec![outing(1, &[1260.0], 0.0), outing(3, &[1500.0], 0.0)]);
    case.plans = vec![(plan, Some(day(1)))];
    let audit = case.audit(3);
    assert_eq!((audit.goal.goal_m, audit.goal.reached.as_ref().map(|run| run.day)), (3000.0, Some(day(1))));
    assert_eq!(audit.proposal.verdict, Some(Verdict::Advance));
    assert_eq!(audit.proposal.reasons[0], "reached: 3 km without a break on 2026-03-01: 3.0 km in 21:00");
    assert!(audit.proposal.reasons[1].contains("keep it"), "{:?}", audit.proposal.reasons);
    // The squad's goal outranks the plan's; 3 km on the way are told and change nothing.
    case.athlete = Some(Athlete { goal_m: Some(5000.0), ..Athlete::default() });
    let audit = case.audit(3);
    assert_eq!((audit.goal.reached.is_none(), audit.proposal.verdict), (true, Some(Verdict::Hold)));
    assert!(audit.proposal.reasons[0].starts_with("on the way: 3 km"));
    // Beside pain it is not said.
    case.athlete = None;
    case.journal.push(Entry { pain_0_10: Some(2.0), ..Entry::new("a", day(3)) });
    let audit = case.audit(3);
    assert_eq!(audit.proposal.verdict, Some(Verdict::Hold));
    assert!(
        !audit.proposal.reasons.iter().any(|reason| reason.contains("reached")),
        "{:?}",
        audit.proposal.reasons
    );
    // Beside the coach's stop neither, whatever is computed.
    case.journal = vec![Entry { coach_decision: Some(Verdict::Stop), ..Entry::new("a", day(4)) }];
    let audit = case.audit(4);
    assert_eq!(audit.proposal.verdict, Some(Verdict::Advance));
    assert_eq!(audit.proposal.reasons[0], "coach decided stop on 2026-03-04");
    assert!(
        !audit.proposal.reasons.iter().any(|reason| reason.contains("reached") || reason.contains("keep it")),
        "{:?}",
        audit.proposal.reasons
    );
}

#[test]
fn a_word_for_a_group_that_lifts_no_stop_is_told() {
    let decided = |on, word| Entry { coach_decision: Some(word), ..Entry::new("a", day(on)) };
    let of_group = |on, word| Entry { of_group: true, ..decided(on, word) };
    let faint = Entry { warning_signs: vec![WarningSign::Faint], ..Entry::new("a", day(3)) };
    let reasons = |journal: Vec<Entry>| {
        let mut case = Case::new(vec![first(1), first(3)]);
        case.journal = journal;
        case.audit(6).proposal.reasons
    };
    let told = "advance for the whole group on 2026-03-05 does not lift it: that takes a row of their own";
    for stop in [decided(4, Verdict::Stop), faint] {
        let reasons = reasons(vec![stop, of_group(4, Verdict::Hold), of_group(5, Verdict::Advance)]);
        assert_eq!(reasons[1], told, "{reasons:?}");
    }
    // A stop of the group is lifted by it, and nothing was stopped here.
    for first in [of_group(4, Verdict::Stop), decided(4, Verdict::Hold)] {
        let reasons = reasons(vec![first, of_group(5, Verdict::Advance)]);
        assert!(reasons.iter().all(|reason| !reason.contains("whole group")), "{reasons:?}");
    }
}

#[test]
fn where_there_is_no_block_to_go_back_to_the_reasons_say_to_shorten() {
    let shorter = "shorter or fewer runs, longer walks";
    // The coach's ease in the first block.
    let ease = Entry { coach_decision: Some(Verdict::Ease), ..Entry::new("a", day(4)) };
    let mut case = Case::new(vec![first(1), first(3)]);
    case.journal = vec![ease.clone()];
    let audit = case.audit(4);
    assert_eq!(next(&audit), "A3");
    assert_eq!(audit.proposal.reasons[0], format!("coach decided ease on 2026-03-04: {shorter}"));
    // In a later block the block before is easier as it is.
    let mut case = Case::new(vec![first(1), first(3), first(5), second(7)]);
    case.journal = vec![Entry { date: day(8), ..ease.clone() }];
    let audit = case.audit(8);
    assert_eq!(audit.next.as_ref().map(|next| next.session.block), Some(0));
    assert_eq!(audit.proposal.reasons[0], "coach decided ease on 2026-03-08");
    // A plan that nobody has begun has nothing to do again, after pain neither.
    case.plans
        .push((Plan::parse("[[block]]\nsession = '2 x (12:00 run, 1:00 walk)'", "p").unwrap(), Some(day(9))));
    case.journal = vec![Entry { pain_0_10: Some(2.0), ..Entry::new("a", day(7)) }];
    let audit = case.audit(10);
    assert_eq!(
        (audit.next.as_ref().map(|next| next.plan), audit.proposal.verdict),
        (Some(1), Some(Verdict::Hold))
    );
    assert_eq!(
        audit.proposal.reasons[1],
        format!("pain 2 of 10 since the last good session: {shorter}, and stop if it comes back")
    );
}

#[test]
fn easing_goes_back_a_block() {
    let short = |on| outing(on, &[130.0; 3], 85.0);
    let audit = Case::new(vec![first(1), first(3), first(5), short(7), short(9)]).audit(9);
    assert_eq!((places(&audit).as_str(), audit.proposal.verdict), ("A1 A2 A3 B1 B2", Some(Verdict::Ease)));
    assert_eq!(next(&audit), "A1");
    assert_eq!(audit.outings[3].outcome, Some(Outcome::CutShort));
}

#[test]
fn recordings_after_the_day_that_counts_as_today_are_left_out() {
    let case = Case::new(vec![first(1), first(3), second(40)]);
    let early = case.audit(3);
    assert_eq!(
        (places(&early).as_str(), early.weeks.len(), early.habit.days_out_long),
        ("A1 A2 later", 2, 2)
    );
    assert_eq!(early.planned, Case::new(vec![first(1), first(3)]).audit(3).planned);
}

#[test]
fn a_switched_plan_takes_over_on_its_start() {
    let mut case = Case::new(vec![first(1), first(3), second(11), second(13)]);
    let later =
        Plan::parse("[[block]]\nsessions = 4\nevery_days = 2\nsession = '6 x (2:10 run, 1:25 walk)'", "p")
            .unwrap();
    case.plans.push((later, Some(day(11))));
    let audit = case.audit(14);
    assert_eq!(
        audit.outings.iter().map(|outing| outing.plan).collect::<Vec<_>>(),
        [Some(0), Some(0), Some(1), Some(1)]
    );
    // Days 1 to 9 of the first plan, 11 and 13 of the second.
    assert_eq!((audit.attendance.due, audit.attendance.attended), (7, 4));
    assert_eq!((audit.next.as_ref().map(|next| next.plan), next(&audit).as_str()), (Some(1), "A3"));
}

#[test]
fn order_alone_counts_in_an_undated_plan() {
    let text = "[[block]]\nsessions = 2\nsession = '8 x (1:05 run, 1:25 walk)'\n[[block]]\nsession = '6 x (2:10 run, 1:25 walk)'";
    let mut case = Case::new(vec![first(1), first(9), second(20)]);
    case.plans = vec![(Plan::parse(text, "p").unwrap(), None)];
    let audit = case.audit(30);
    assert_eq!((places(&audit).as_str(), audit.attendance.due), ("A1 A2 B1", 3));
    assert!(audit.planned.iter().all(|(_, session)| session.day.is_none()));
}

#[test]
fn the_first_laid_recording_starts_a_plan_without_a_start() {
    let mut case = Case::new(vec![outing(1, &[1900.0], 0.0), first(8), first(10)]);
    case.plans[0].1 = None;
    let audit = case.audit(10);
    assert_eq!((places(&audit).as_str(), audit.planned[0].1.day), ("extra A1 A2", Some(day(8))));
}

#[test]
fn without_a_plan_everything_else_is_still_there() {
    let mut case = Case::new(vec![outing(1, &[600.0], 0.0), outing(5, &[900.0], 0.0)]);
    case.plans.clear();
    let audit = case.audit(6);
    assert_eq!(audit.progress.longest.as_ref().map(|run| (run.duration_s, run.day)), Some((900.0, day(5))));
    assert_eq!((audit.proposal.verdict, audit.proposal.reasons[0].as_str()), (None, "no plan: no proposal"));
    assert_eq!(audit.weeks.iter().map(|week| week.label()).collect::<Vec<_>>(), ["2026-W09", "2026-W10"]);
    let spike = audit.weeks[1].spike_pct.unwrap();
    assert!((spike - 50.0).abs() < 1e-9 && audit.weeks[1].session_run_m_max_before_30d == Some(1440.0));
}

#[test]
fn without_a_plan_a_run_answers_the_coachs_word_and_a_walk_does_not() {
    let word = |verdict, outings: Vec<Outing>| {
        let mut case = Case::new([vec![outing(1, &[600.0], 0.0)], outings].concat());
        case.plans.clear();
        case.journal = vec![Entry { coach_decision: Some(verdict), ..Entry::new("a", day(2)) }];
        case.audit(6).coach_decision.map(|(_, word)| word)
    };
    let (run, walk) = (outing(5, &[600.0], 0.0), outing(5, &[], 0.0));
    let untold = Outing { resolvable: false, ..run.clone() };
    for verdict in [Verdict::Advance, Verdict::Hold, Verdict::Ease] {
        assert_eq!(word(verdict, vec![run.clone()]), None);
        assert_eq!(word(verdict, vec![untold.clone()]), None);
        assert_eq!(word(verdict, vec![walk.clone()]), Some(verdict));
        assert_eq!(word(verdict, Vec::new()), Some(verdict));
    }
    assert_eq!(word(Verdict::Stop, vec![run]), Some(Verdict::Stop), "until the next word");
}

#[test]
fn long_runs_lead_to_readiness_and_pain_away_from_it() {
    let mut case = Case::new(vec![outing(1, &[1620.0], 0.0), outing(3, &[1620.0], 0.0)]);
    case.plans = vec![(
        Plan::parse("[[block]]\nsessions = 4\nevery_days = 2\nsession = '27:00 run'", "p").unwrap(),
        None,
    )];
    let readiness =
        |case: &Case| case.audit(3).readiness.iter().map(|r| r.nearness.words()).collect::<Vec<_>>();
    // 25 min at 2.4 m/s are 3.6 km; 5 km would take 34:43 at that pace and 35:26 by the formula.
    assert_eq!(readiness(&case), ["done", "close"]);
    case.journal.push(Entry { pain_0_10: Some(1.0), ..Entry::new("a", day(3)) });
    assert_eq!(readiness(&case), ["not now", "not now"]);
    case.outings.truncate(1);
    assert_eq!(readiness(&case), ["done"]);
}

#[test]
fn without_a_plan_the_recordings_alone_lead_to_readiness() {
    let readiness = |runs: &[(u32, f64)], journal: Vec<Entry>| {
        let mut case = Case::new(runs.iter().map(|(on, run_s)| outing(*on, &[*run_s], 0.0)).collect());
        (case.plans, case.journal) = (Vec::new(), journal);
        case.audit(20).readiness.iter().map(|r| r.nearness.words()).collect::<Vec<_>>().join(", ")
    };
    // At 2.4 m/s 3 km take 20:50 and 5 km 34:43; the formula asks for a little more after shorter runs.
    assert_eq!(readiness(&[(18, 1800.0), (20, 1900.0)], vec![]), "done, ready to try");
    assert_eq!(readiness(&[(18, 900.0), (20, 1080.0)], vec![]), "ready to try, not yet");
    // Twice the distance, once and long ago, is done all the same; one run says nothing about the rest.
    assert_eq!(readiness(&[(1, 4200.0)], vec![]), "done, done");
    // 2064 s are 4954 m, which anybody writes as 5 km; 2060 s are 4944 m.
    assert_eq!(readiness(&[(1, 2064.0)], vec![]), "done, done");
    assert_eq!(readiness(&[(1, 2060.0)], vec![]), "done");
    assert_eq!(readiness(&[(1, 1300.0), (20, 600.0)], vec![]), "done, not yet");
    assert_eq!(readiness(&[(20, 1900.0)], vec![]), "done");
    // The session before was long ago, was short, or the last one was hard.
    assert_eq!(readiness(&[(2, 1800.0), (20, 1900.0)], vec![]), "done, close");
    assert_eq!(readiness(&[(18, 300.0), (20, 1900.0)], vec![]), "done, close");
    let noted = |entry: Entry| vec![entry];
    let hard = Entry { effort_0_10: Some(6.0), ..Entry::new("a", day(20)) };
    assert_eq!(readiness(&[(18, 1800.0), (20, 1900.0)], noted(hard)), "done, close");
    let pain = Entry { pain_0_10: Some(2.0), ..Entry::new("a", day(20)) };
    assert_eq!(readiness(&[(18, 1800.0), (20, 1900.0)], noted(pain)), "not now, not now");
    let sign = Entry { warning_signs: vec![WarningSign::Dizzy], ..Entry::new("a", day(19)) };
    assert_eq!(readiness(&[(18, 1800.0), (20, 1900.0)], noted(sign)), "not now, not now");
}

#[test]
fn pain_calls_for_rest_without_a_plan_too() {
    let mut case = Case::new(vec![outing(1, &[600.0], 0.0), outing(3, &[900.0], 0.0)]);
    case.plans.clear();
    case.journal.push(Entry { pain_0_10: Some(2.0), ..Entry::new("a", day(4)) });
    let audit = case.audit(5);
    assert_eq!((audit.proposal.verdict, audit.no_run_before), (Some(Verdict::Hold), Some(day(6))));
    assert!(audit.cautions.contains(&Caution::MildPain));
    case.journal.push(Entry { pain_next_morning: Some(true), ..Entry::new("a", day(4)) });
    let audit = case.audit(5);
    assert_eq!(audit.proposal.verdict, Some(Verdict::Ease));
    assert_eq!(
        audit.proposal.reasons,
        [
            "rest: one extra rest day before the next run",
            "pain was still there next morning: shorter or fewer runs, longer walks",
            "noted: pain 2 of 10 on 2026-03-04 and pain, still there next morning on 2026-03-04"
        ]
    );
    assert!(audit.cautions.contains(&Caution::StrongPain));
}

#[test]
fn the_growing_longest_run_has_its_trend() {
    let outings = (0..6).map(|week| outing(1 + 7 * week, &[300.0 + 60.0 * f64::from(week)], 0.0)).collect();
    let audit = Case::new(outings).audit(36);
    assert!((audit.progress.trend_s_per_week.unwrap() - 60.0).abs() < 1e-9);
    assert_eq!((audit.progress.trend_sessions, audit.habit.longest_stretch_days), (6, Some(7)));
}

/// From careful to bold: stop, ease, hold, no call, advance.
fn boldness(verdict: Option<Verdict>) -> u8 {
    match verdict {
        Some(Verdict::Stop) => 0,
        Some(Verdict::Ease) => 1,
        Some(Verdict::Hold) => 2,
        None => 3,
        Some(Verdict::Advance) => 4,
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn a_sign_or_pain_on_any_day_never_makes_a_proposal_bolder_and_is_named(
        gaps in proptest::collection::vec((1u32..5, 0usize..9), 1..9),
        efforts in proptest::collection::vec(proptest::option::of(0u32..9), 9),
        older in proptest::option::of((1u32..30, 0u32..7)),
        word in proptest::option::of((1u32..30, prop::sample::select(Verdict::ALL.to_vec()))),
        with_plan in prop::bool::weighted(0.9),
        back in 0u32..14, after in 0u32..3, is_sign in any::<bool>(), pain in 1u32..=10, next in any::<bool>(),
    ) {
        let mut on = 0;
        let outings: Vec<Outing> = gaps
            .iter()
            .map(|(gap, kind)| {
                on += gap;
                match kind {
                    0 => second(on),
                    1 => outing(on, &[65.0; 5], 85.0),
                    2 => outing(on, &[], 0.0),
                    _ => first(on),
                }
            })
            .collect();
        let mut case = Case::new(outings);
        if !with_plan {
            case.plans.clear();
        }
        for (outing, effort) in case.outings.iter().zip(&efforts) {
            let effort_0_10 = effort.map(f64::from);
            case.journal.push(Entry { effort_0_10, ..Entry::new("a", outing.day()) });
        }
        let as_of = on + after;
        case.journal.extend(older.map(|(on, pain)| Entry {
            pain_0_10: Some(f64::from(pain)), ..Entry::new("a", day(on))
        }));
        case.journal.extend(word.map(|(on, word)| Entry { coach_decision: Some(word), ..Entry::new("a", day(on)) }));
        let without = case.audit(as_of);
        let noted = day(as_of.max(back + 1) - back);
        case.journal.push(if is_sign {
            Entry { warning_signs: vec![WarningSign::Dizzy], ..Entry::new("a", noted) }
        } else {
            Entry { pain_0_10: Some(f64::from(pain)), pain_next_morning: Some(next), ..Entry::new("a", noted) }
        });
        let with = case.audit(as_of);
        prop_assert!(
            boldness(with.shown_verdict()) <= boldness(without.shown_verdict()),
            "{:?} {:?}", without.proposal, with.proposal
        );
        let said = if is_sign { "dizzy".to_owned() } else { format!("pain {pain} of 10") };
        let is_named = |reason: &String| reason.contains(&said) && reason.contains(&noted.to_string());
        prop_assert!(with.proposal.reasons.iter().any(is_named), "{noted} {said}: {:?}", with.proposal.reasons);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn the_order_of_the_files_does_not_matter(
        kinds in proptest::collection::vec((1u32..30, 0u8..5), 1..14).prop_shuffle(), seed in any::<u64>(),
    ) {
        let made: Vec<Outing> = kinds
            .iter()
            .enumerate()
            .map(|(at, (on, kind))| {
                let mut made = match kind {
                    0 | 1 => first(*on),
                    2 => second(*on),
                    3 => outing(*on, &[700.0], 0.0),
                    _ => outing(*on, &[], 0.0),
                };
                made.file = format!("{at}.gpx");
                made.rank = at;
                made
            })
            .collect();
        let mut shuffled = made.clone();
        let mut state = seed;
        for at in (1..shuffled.len()).rev() {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            shuffled.swap(at, (state >> 33) as usize % (at + 1));
        }
        let (one, two) = (Case::new(made), Case::new(shuffled));
        let (mut a, mut b) = (one.audit(30), two.audit(30));
        let names = |case: &Case, audit: &AthleteAudit| -> Vec<String> {
            audit.outings.iter().map(|outing| case.outings[outing.outing].file.clone()).collect()
        };
        prop_assert_eq!(names(&one, &a), names(&two, &b));
        for audit in [&mut a, &mut b] {
            audit.outings.iter_mut().for_each(|outing| outing.outing = 0);
        }
        prop_assert_eq!(a, b);
    }
}

#[test]
fn the_plans_own_step_is_told_of_those_only_whose_word_is_to_step() {
    let steps = |decided: Option<Verdict>| {
        let mut case = Case::new(vec![first(1), first(3), first(5)]);
        case.journal = vec![Entry { coach_decision: decided, ..Entry::new("a", day(6)) }];
        let audit = case.audit(6);
        let plans = [PlanInUse { plan: &case.plans[0].0, start: None }];
        boutwise_season::plan_step("Ada", &audit, &plans).is_some()
    };
    assert!(steps(None) && steps(Some(Verdict::Advance)));
    assert!(![Verdict::Hold, Verdict::Ease, Verdict::Stop].into_iter().any(|word| steps(Some(word))));
}

#[test]
fn whoever_never_came_begins_on_the_plans_next_day() {
    let audit = Case::new(Vec::new()).audit(5);
    let next = audit.next.unwrap();
    assert_eq!((next.session.block, next.session.number, next.day), (0, 1, Some(day(7))));
    assert_eq!(audit.proposal.reasons[0], "no recording at all that counts: no proposal");
    // Nor does anybody else have a next day that was missed already.
    let missed = Case::new(vec![first(1)]).audit(5).next.unwrap();
    assert_eq!((missed.session.number, missed.day), (2, Some(day(6))));
}

/// The session of the first block, of which the recording breaks off in a rep.
fn cut_in_rep(on: u32, reps: usize) -> Outing {
    let mut cut = outing(on, &vec![65.0; reps], 85.0);
    cut.bouts.pop();
    let last = cut.bouts.last_mut().unwrap();
    last.end_s -= 30.0;
    Outing { breaks_off: true, ..cut }
}

#[test]
fn what_lies_outside_a_recording_is_neither_done_nor_missed_and_the_reason_says_so() {
    let audit = Case::new(vec![cut_in_rep(1, 5)]).audit(1);
    let (_, session) = &audit.planned[0];
    assert_eq!((session.planned_run_s, session.outcome), (520.0, Outcome::Unresolvable));
    assert_eq!((session.counted_run_s, session.done_run_s), (Some(295.0), Some(295.0)));
    assert_eq!(audit.attendance.dose_pct, Some(100.0));
    assert_eq!(
        audit.proposal.reasons[0],
        "too little of this block's sessions lies in the recordings: no proposal"
    );
    // One of which nearly all was recorded is judged, by what was.
    let audit = Case::new(vec![cut_in_rep(1, 8)]).audit(1);
    let (_, session) = &audit.planned[0];
    assert_eq!((session.outcome, session.done_run_s), (Outcome::Completed, Some(490.0)));
    assert_eq!((session.counted_run_s, audit.attendance.dose_pct), (Some(490.0), Some(100.0)));
}

#[test]
fn a_word_for_a_whole_group_after_the_day_stands_and_moves_no_calendar() {
    let mut case = Case::new(vec![first(1), first(3), first(5)]);
    let before = case.audit(5);
    let said =
        |of_group| Entry { coach_decision: Some(Verdict::Stop), of_group, ..Entry::new("Tuesdays", day(6)) };
    case.journal = vec![said(true)];
    let audit = case.audit(5);
    assert_eq!((audit.coach_decision, audit.next), (Some((day(6), Verdict::Stop)), None));
    assert_eq!((&audit.planned, &audit.attendance), (&before.planned, &before.attendance));
    // What comes next lies behind the word.
    let hold =
        Entry { coach_decision: Some(Verdict::Hold), of_group: true, ..Entry::new("Tuesdays", day(8)) };
    case.journal = vec![hold];
    assert_eq!(case.audit(5).next.and_then(|next| next.day), Some(day(9)));
    // What a person's own row says of a day that has not come is left out.
    case.journal = vec![said(false)];
    assert_eq!(case.audit(5), before);
}

#[test]
fn of_two_recordings_of_one_time_the_one_that_knows_more_lies_on_the_session() {
    let watch = |mut made: Outing| {
        made.bouts.iter_mut().for_each(|bout| bout.cadence_spm = Some(150.0));
        Outing { file: "watch.gpx".into(), rank: 1, ..made }
    };
    // The phone shows all reps, the watch that the last ones were not run.
    let audit = Case::new(vec![first(1), watch(outing(1, &[65.0; 7], 85.0))]).audit(1);
    assert_eq!(places(&audit), "extra A1");
    // A watch that ran a few minutes only knows too little of the outing.
    let audit = Case::new(vec![first(1), watch(outing(1, &[65.0; 2], 85.0))]).audit(1);
    assert_eq!(places(&audit), "A1 extra");
}

/// A recording of a walking session: walk, run, walk.
fn walk_run_walk(on: u32, walk_s: f64, run_s: f64) -> Outing {
    let mut made = outing(on, &[], 0.0);
    let parts = [(Kind::Walk, walk_s), (Kind::Run, run_s), (Kind::Walk, walk_s)];
    let mut at_s = 0.0;
    let mut bout = |(kind, duration_s): (Kind, f64)| {
        at_s += duration_s;
        Bout::new(kind, at_s - duration_s, at_s)
    };
    made.bouts = parts.into_iter().filter(|(_, seconds)| *seconds > 0.0).map(&mut bout).collect();
    made
}

#[test]
fn who_runs_through_a_walking_session_overdid_it_and_does_not_advance() {
    let text = "[[block]]\nsessions = 3\nevery_days = 2\nsession = '30:00 walk'\n\
                [[block]]\nevery_days = 2\nsession = '8 x (1:05 run, 1:25 walk)'";
    let audit = |walk_s: f64, run_s: f64| {
        let mut case = Case::new([1, 3, 5].map(|on| walk_run_walk(on, walk_s, run_s)).to_vec());
        case.plans = vec![(Plan::parse(text, "plan.toml").unwrap(), Some(day(1)))];
        let audit = case.audit(5);
        let outcomes: Vec<Outcome> = audit.planned[..3].iter().map(|(_, planned)| planned.outcome).collect();
        (outcomes, audit.proposal)
    };
    let (outcomes, walked) = audit(900.0, 0.0);
    assert_eq!((outcomes, walked.verdict), (vec![Outcome::Completed; 3], Some(Verdict::Advance)));
    for (walk_s, run_s, more) in [(900.0, 900.0, "50 %"), (60.0, 1700.0, "94 %")] {
        let (outcomes, ran) = audit(walk_s, run_s);
        assert_eq!((outcomes, ran.verdict), (vec![Outcome::Modified; 3], Some(Verdict::Hold)));
        assert_eq!(ran.hold_cause, Some(HoldCause::Overdone));
        let said = format!(
            "the newest session asks for walking, and they ran for {more} of its time: as written is enough"
        );
        assert!(ran.reasons.contains(&said), "{:?}", ran.reasons);
    }
}

#[test]
fn what_is_run_beside_a_session_on_its_day_is_overdone_in_one_recording_and_in_two() {
    let more = outing(9, &[900.0], 0.0);
    let verdict = |beside: Vec<Outing>| {
        let outings = vec![first(1), first(3), first(5), second(7), second(9)];
        Case::new([outings, beside].concat()).audit(9)
    };
    let alone = verdict(Vec::new());
    assert_eq!((places(&alone).as_str(), alone.proposal.verdict), ("A1 A2 A3 B1 B2", Some(Verdict::Advance)));
    let beside = verdict(vec![later(more.clone())]);
    assert_eq!(places(&beside), "A1 A2 A3 B1 B2 extra");
    assert_eq!(
        (beside.proposal.verdict, beside.proposal.hold_cause),
        (Some(Verdict::Hold), Some(HoldCause::Overdone))
    );
    let said = "the newest session and other recordings of its day ran 115 % more than planned: as written is enough";
    assert!(beside.proposal.reasons.iter().any(|reason| reason == said), "{:?}", beside.proposal.reasons);
    assert_eq!(beside.outings[4].run_beside_s, 900.0);
    // A few steps of running are nothing, and what may be the session once more is not more of it.
    for nothing in [
        later(outing(9, &[100.0], 0.0)),
        later(outing(9, &[], 0.0)),
        Outing { may_be_copy_of: Some("09-6.gpx".into()), ..later(more.clone()) },
    ] {
        assert_eq!(verdict(vec![nothing]).proposal.verdict, Some(Verdict::Advance));
    }
}

#[test]
fn only_who_attempted_every_session_of_a_plan_is_said_to_have_done_so() {
    let end = |outings: Vec<Outing>, as_of| {
        let audit = Case::new(outings).audit(as_of);
        let reasons = audit.proposal.reasons;
        reasons.into_iter().find(|reason| reason.contains("of the plan was") || reason.contains("its end"))
    };
    let long = |on| outing(on, &[1620.0], 0.0);
    let all: Vec<Outing> =
        [first(1), first(3), first(5), second(7), second(9), second(11), long(13), long(15)].to_vec();
    assert_eq!(end(all.clone(), 15).as_deref(), Some("every session of the plan was attempted"));
    assert_eq!(
        end([&all[..3], &all[6..]].concat(), 15).as_deref(),
        Some("the plan is at its end: 5 of its 8 sessions were attempted")
    );
}

#[test]
fn a_session_already_run_that_went_far_beyond_those_before_brings_a_caution() {
    let audit = |far: Option<Outing>, as_of| {
        let mut case = Case::new(vec![first(1), first(3), first(5)]);
        case.outings.extend(far);
        case.audit(as_of)
    };
    let is_told = |audit: &AthleteAudit| {
        let said = audit
            .proposal
            .reasons
            .iter()
            .any(|reason| reason.starts_with("care: 3.6 km of running on 2026-03-06"));
        assert_eq!(said, audit.cautions.contains(&Caution::RanFar), "{:?}", audit.proposal.reasons);
        said
    };
    let far = || Some(outing(6, &[1500.0], 0.0));
    assert!(is_told(&audit(far(), 6)));
    assert!(is_told(&audit(far(), 12)));
    assert!(!is_told(&audit(far(), 13)), "a week later");
    assert!(!is_told(&audit(None, 6)));
    // A step that the plan asks for, done as asked, is the plan's own.
    assert!(!is_told(&audit(Some(second(7)), 7)));
}

#[test]
fn who_left_is_proposed_nothing_but_a_stop() {
    let audit = |left: u32, entry: Option<Entry>| {
        let mut case = Case::new(vec![outing(1, &[65.0; 3], 85.0), outing(3, &[65.0; 3], 85.0)]);
        case.athlete = Some(Athlete { left: Some(day(left)), ..Athlete::default() });
        case.journal.extend(entry);
        case.audit(5)
    };
    assert_eq!(audit(5, None).proposal.verdict, Some(Verdict::Ease));
    let gone = audit(4, None);
    assert_eq!((gone.proposal.verdict, gone.next), (None, None));
    assert_eq!(gone.proposal.reasons, ["left on 2026-03-04: no proposal"]);
    let sign = Entry { warning_signs: vec![WarningSign::Chest], ..Entry::new("a", day(4)) };
    assert_eq!(audit(4, Some(sign)).proposal.verdict, Some(Verdict::Stop));
    let word = |on| Entry { coach_decision: Some(Verdict::Advance), ..Entry::new("a", day(on)) };
    assert_eq!(audit(4, Some(word(4))).shown_verdict(), None);
    assert_eq!(audit(4, Some(word(5))).shown_verdict(), Some(Verdict::Advance));
}

/// The same with the pulse at one level while running, and so much lower after a minute of walk.
fn with_pulse(made: Outing, fall_bpm: f64) -> Outing {
    let seconds: Vec<f64> = (0..1800).map(f64::from).collect();
    let rates: Vec<f64> = seconds.iter().map(|second| 150.0 + (second % 20.0)).collect();
    let heart_rate = boutwise_season::HeartRate::measure(&seconds, &rates, &[f64::NAN; 1800], &made.bouts);
    Outing { heart_rate, heart_rate_fall_60s_bpm: Some(fall_bpm), ..made }
}

#[test]
fn beside_a_medicine_that_lowers_the_pulse_no_figure_is_made_of_it() {
    let audit = |pulse_medicine| {
        let outings = [1, 3, 5].map(|on| with_pulse(first(on), 20.0)).to_vec();
        let outings = [outings, vec![with_pulse(Outing { file: "again".into(), ..first(6) }, 23.0)]].concat();
        let mut case = Case::new(outings);
        case.athlete = Some(Athlete { birth_year: Some(1980), pulse_medicine, ..Athlete::default() });
        case.audit(7)
    };
    let without = audit(None);
    assert!(without.outings[0].effort.above_talkable_pct.is_some());
    assert!(without.metres_per_beat_trend_per_week.is_some());
    assert!(without.cautions.contains(&Caution::PredictedHeartRate));
    let beside = audit(Some(true));
    assert!(beside.outings.iter().all(|audit| audit.effort == boutwise_season::Effort::default()));
    assert_eq!(
        (beside.metres_per_beat_trend_per_week, beside.heart_rate_fall_trend_bpm_per_week),
        (None, None)
    );
    assert!(beside.cautions.contains(&Caution::PulseMedicine));
}

#[test]
fn the_fall_of_the_heart_rate_is_compared_over_sessions_that_ask_for_the_same() {
    let trend =
        |outings: Vec<Outing>, as_of| Case::new(outings).audit(as_of).heart_rate_fall_trend_bpm_per_week;
    let of_one_block: Vec<Outing> =
        [(1, 20.0), (3, 21.0), (5, 22.0), (6, 23.0)].map(|(on, fall)| with_pulse(first(on), fall)).to_vec();
    let slope = trend(of_one_block.clone(), 6).unwrap();
    assert!((2.0..5.0).contains(&slope), "{slope}");
    // Longer reps let it fall further: those before are no measure of it.
    let mut further = of_one_block;
    further.extend([7, 9, 11].map(|on| with_pulse(second(on), 30.0)));
    assert_eq!(trend(further, 11), None);
}

#[test]
fn days_of_rest_are_told_where_runs_follow_each_other_without_them() {
    let told = |days: &[u32], as_of| {
        let audit = Case::new(days.iter().map(|&on| first(on)).collect()).audit(as_of);
        audit.proposal.reasons.into_iter().find(|reason| reason.starts_with("ran on"))
    };
    assert_eq!(
        told(&[1, 3, 4, 5], 5).as_deref(),
        Some("ran on 3 days from 2026-03-03 to 2026-03-05, without 1 day of rest between them")
    );
    assert_eq!(told(&[1, 3, 5], 5), None);
    assert_eq!(told(&[1, 4, 5], 5), None, "one run that was moved");
    // Once more on one day is one day.
    assert_eq!(told(&[1, 4, 5, 5], 5), None);
}

#[test]
fn the_plans_own_day_stands_and_says_that_it_leaves_no_rest() {
    let next = |days: &[u32], as_of| {
        let audit = Case::new(days.iter().map(|&on| first(on)).collect()).audit(as_of);
        let says = |reason: &String| reason.contains("without 1 day of rest after the run of");
        (audit.next.and_then(|next| next.day), audit.proposal.reasons.iter().any(says))
    };
    assert_eq!(next(&[1, 3], 3), (Some(day(5)), false));
    assert_eq!(next(&[1, 4], 4), (Some(day(5)), true));
}
