//! Generated seasons in which the coach said something, told to the tool: what is due and attended is exact in all of them,
//! on every day.
//!
//! Sessions are done as asked on their days, one in twenty is left out. One word falls somewhere in each season. What is due
//! follows here from the words of the contract alone, day by day, not from the crate's calendar.

use std::collections::BTreeSet;

use boutwise_bouts::{Amount, Bout, Gait, Kind};
use boutwise_season::{
    AfterAway, Athlete, AthleteInput, Away, Correction, Entry, Outing, Plan, PlanInUse, PlanPlace, Role,
    SessionId, Settings, Verdict, audit_athlete,
};
use chrono::{Datelike, Days, NaiveDate, Weekday};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// Steps of the project's own ladder.
const LADDER: [&str; 4] = [
    "5:00 walk, 9 x (0:40 run, 1:20 walk), 4:00 walk",
    "5:00 walk, 7 x (1:10 run, 1:20 walk), 4:00 walk",
    "5:00 walk, 6 x (1:45 run, 1:20 walk), 4:00 walk",
    "5:00 walk, 5 x (2:35 run, 1:15 walk), 4:00 walk",
];

/// What the coach says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Said {
    Hold,
    Ease,
    Advance,
    Stop,
    AwayGoesOn,
    AwayRejoins,
}

const ALL: [Said; 6] =
    [Said::Hold, Said::Ease, Said::Advance, Said::Stop, Said::AwayGoesOn, Said::AwayRejoins];

#[derive(Clone, Copy, Debug)]
enum Rhythm {
    Every(u64),
    Weekdays([Weekday; 3]),
}

impl Rhythm {
    fn key(self) -> String {
        match self {
            Self::Every(days) => format!("every_days = {days}"),
            Self::Weekdays(days) => format!("days = {:?}", days.map(|day| day.to_string())),
        }
    }

    fn next(self, after: NaiveDate) -> NaiveDate {
        match self {
            Self::Every(days) => after + Days::new(days),
            Self::Weekdays(days) => {
                after.iter_days().skip(1).find(|day| days.contains(&day.weekday())).unwrap()
            }
        }
    }

    /// The first planned day after an absence.
    fn first_after(self, away: NaiveDate) -> NaiveDate {
        match self {
            Self::Every(_) => away + Days::new(1),
            Self::Weekdays(_) => self.next(away),
        }
    }
}

struct Season {
    plan: Plan,
    start: NaiveDate,
    done: Vec<(NaiveDate, SessionId)>,
    /// For each session that fell due its day, and whether it was attended, then.
    due: Vec<(NaiveDate, bool)>,
    athlete: Athlete,
    journal: Vec<Entry>,
    what: String,
}

/// A season with one word in it.
fn season(seed: u64, said: Said) -> Season {
    let random = &mut Pcg64::seed_from_u64(seed);
    let rhythm = match random.random_range(0..3) {
        0 => Rhythm::Every(2),
        1 => Rhythm::Every(3),
        _ => Rhythm::Weekdays([Weekday::Tue, Weekday::Thu, Weekday::Sun]),
    };
    let block = |session: &&str, sessions: u32| {
        format!("[[block]]\nsessions = {sessions}\n{}\nsession = '{session}'\n", rhythm.key())
    };
    let text: String = LADDER.iter().map(|session| block(session, random.random_range(3..=5))).collect();
    let plan = Plan::parse(&text, "plan.toml").unwrap();
    let ids: Vec<SessionId> = plan.sessions().collect();
    let start = NaiveDate::from_ymd_opt(2026, 3, 3).unwrap();
    // The session after which the word is said; for going back a block and for skipping it lies inside the second one.
    let first_of_second = plan.blocks[0].sessions as usize;
    let at = match said {
        Said::Ease => first_of_second + 1,
        Said::Advance => first_of_second + random.random_range(0..plan.blocks[1].sessions as usize - 1),
        Said::Hold => random.random_range(1..plan.blocks[..2].iter().map(|b| b.sessions as usize).sum()),
        _ => random.random_range(2..ids.len() - 5),
    };
    let mut season = Season {
        start,
        done: Vec::new(),
        due: Vec::new(),
        athlete: Athlete::default(),
        journal: Vec::new(),
        what: format!("{said:?} after {:?}, {rhythm:?}, seed {seed}", ids[at]),
        plan,
    };
    let mut on = start;
    let (mut session, mut is_after_word) = (0, false);
    while session < ids.len() {
        let near = session.abs_diff(at) <= 2;
        // What comes after a word is done, else another word would be needed to say what was meant.
        let is_left_out =
            session > 0 && !near && !is_after_word && session + 1 < ids.len() && random.random_bool(0.05);
        season.due.push((on, !is_left_out));
        if !is_left_out {
            season.done.push((on, ids[session]));
        }
        let word_on = on + Days::new(1);
        let said_now = (session == at).then_some(said);
        is_after_word = said_now.is_some();
        session += 1;
        let decided = |verdict| Entry { coach_decision: Some(verdict), ..Entry::new("a", word_on) };
        match said_now {
            None => on = rhythm.next(on),
            Some(Said::Hold) => {
                season.journal.push(decided(Verdict::Hold));
                // Within a block nothing tells a session done once more on hold from the next one: there she rests.
                let ends_block = ids[at].number == season.plan.blocks[ids[at].block].sessions;
                for _ in 0..random.random_range(0..3) {
                    on = rhythm.next(on);
                    if ends_block && random.random_bool(0.7) {
                        season.done.push((on, ids[at]));
                    }
                }
                on = rhythm.next(on);
            }
            Some(Said::Ease) => {
                season.journal.push(decided(Verdict::Ease));
                let again = random.random_range(1..=first_of_second);
                for &id in &ids[..again] {
                    on = rhythm.next(on);
                    season.due.push((on, true));
                    season.done.push((on, id));
                }
                on = rhythm.next(on);
            }
            Some(Said::Advance) => {
                season.journal.push(decided(Verdict::Advance));
                session = first_of_second + season.plan.blocks[1].sessions as usize;
                on = rhythm.next(on);
            }
            Some(Said::Stop) => {
                season.journal.push(decided(Verdict::Stop));
                let until = word_on + Days::new(random.random_range(3..16));
                season
                    .journal
                    .push(Entry { coach_decision: Some(Verdict::Advance), ..Entry::new("a", until) });
                on = rhythm.next(until);
            }
            Some(Said::AwayGoesOn | Said::AwayRejoins) => {
                let to = word_on + Days::new(random.random_range(4..14));
                let goes_on = said == Said::AwayGoesOn;
                let then = Some(if goes_on { AfterAway::GoOn } else { AfterAway::Rejoin });
                season.athlete.away.push(Away { from: word_on, to, reason: None, then });
                on = rhythm.next(on);
                if goes_on {
                    on = if on <= to { rhythm.first_after(to) } else { on };
                } else {
                    // Its days pass; one session at least is left to come back to.
                    while on <= to && session + 1 < ids.len() {
                        on = rhythm.next(on);
                        session += 1;
                    }
                    if on <= to {
                        break;
                    }
                }
            }
        }
    }
    season
}

fn outing(plan: &Plan, id: SessionId, on: NaiveDate) -> Outing {
    let mut bouts: Vec<Bout> = Vec::new();
    for interval in &plan.session(id).intervals {
        let Amount::Seconds(seconds) = interval.amount else { panic!("the ladder is in seconds") };
        let kind = if interval.gait == Gait::Run { Kind::Run } else { Kind::Walk };
        let start_s = bouts.last().map_or(0.0, |bout| bout.end_s);
        match bouts.last_mut().filter(|last| last.kind == kind) {
            Some(last) => last.end_s += seconds,
            None => bouts.push(Bout::new(kind, start_s, start_s + seconds)),
        }
    }
    let local = on.and_hms_opt(18, 0, 0).unwrap();
    Outing::new(format!("{on}.gpx"), 1, local.and_utc(), local, true, bouts)
}

#[test]
fn with_the_coachs_word_what_is_due_and_attended_is_exact_on_every_day() {
    let mut wrong = Vec::new();
    let mut all = 0;
    for said in ALL {
        for seed in 0..80 {
            let season = season(10 * seed, said);
            let outings: Vec<Outing> =
                season.done.iter().map(|(on, id)| outing(&season.plan, *id, *on)).collect();
            let last = season.done.last().unwrap().0;
            // Day by day in one season of four, the others on their last day.
            let first = if seed % 4 == 0 { season.start } else { last };
            for as_of in first.iter_days().take_while(|day| *day <= last) {
                let audit = audit_athlete(&AthleteInput {
                    outings: &outings,
                    plans: &[PlanInUse { plan: &season.plan, start: Some(season.start) }],
                    athlete: Some(&season.athlete),
                    journal: &season.journal.iter().collect::<Vec<_>>(),
                    corrections: &[],
                    as_of,
                    settings: &Settings::default(),
                });
                all += 1;
                let found = (audit.attendance.due, audit.attendance.attended);
                let due = season.due.iter().filter(|(on, _)| *on <= as_of);
                let truth = (due.clone().count(), due.filter(|(_, is_attended)| *is_attended).count());
                if found != truth {
                    wrong.push(format!(
                        "{} on {as_of}: due and attended {found:?}, truly {truth:?}",
                        season.what
                    ));
                }
            }
        }
    }
    println!("{} of {all} days exact", all - wrong.len());
    assert!(wrong.is_empty(), "{} of {all} not exact\n{}", wrong.len(), wrong.join("\n"));
}

/// A row that says of a recording which session it is, or that it is none.
fn by_hand(plan: &Plan, file: &str, id: Option<SessionId>) -> Correction {
    let place = |id: SessionId| PlanPlace::Session {
        block: plan.blocks[id.block].label.clone(),
        number: Some(id.number),
    };
    Correction {
        file: Some(file.to_owned()),
        session: None,
        used: None,
        athlete: None,
        place: Some(id.map_or(PlanPlace::None, place)),
        from_s: None,
        to_s: None,
        line: 2,
    }
}

#[test]
fn a_place_by_hand_costs_no_session_but_that_of_its_recording_and_back_in_the_plan_moves_no_other() {
    for seed in 0..240 {
        let random = &mut Pcg64::seed_from_u64(2_000 + seed);
        let season = season(10 * seed, ALL[seed as usize % ALL.len()]);
        let ids: Vec<SessionId> = season.plan.sessions().collect();
        let outings: Vec<Outing> =
            season.done.iter().map(|(on, id)| outing(&season.plan, *id, *on)).collect();
        let laid = |rows: &[&Correction]| {
            let audit = audit_athlete(&AthleteInput {
                outings: &outings,
                plans: &[PlanInUse { plan: &season.plan, start: Some(season.start) }],
                athlete: Some(&season.athlete),
                journal: &season.journal.iter().collect::<Vec<_>>(),
                corrections: rows,
                as_of: season.done.last().unwrap().0,
                settings: &Settings::default(),
            });
            let places = audit.outings.iter().map(|audited| match audited.role {
                Role::Session(laid) => Some(laid.index),
                _ => None,
            });
            let places: Vec<Option<usize>> = places.collect();
            let attended = places.iter().flatten().collect::<BTreeSet<_>>().len();
            (attended, places)
        };
        let (attended, places) = laid(&[]);
        // The newest recording: nothing after it could tell that another order is meant.
        let (newest, moved) = (outings.len() - 1, random.random_range(0..outings.len()));
        for at in [newest, moved] {
            let session = random.random_range(0..ids.len());
            let row = by_hand(&season.plan, &outings[at].file, Some(ids[session]));
            let (with_word, placed) = laid(&[&row]);
            let what = format!("{}: recording {at} is {:?} by hand", season.what, ids[session]);
            assert_eq!(placed[at], Some(session), "{what}");
            assert!(with_word + 1 >= attended, "{what}: {attended} attended, then {with_word}");
            if at == newest && Some(session) < places[newest - 1] {
                assert_eq!(placed[..at], places[..at], "{what}");
            }
        }
    }
}

#[test]
fn what_is_said_by_hand_stands_whatever_comes_after_it() {
    for seed in 0..40 {
        let random = &mut Pcg64::seed_from_u64(1_000 + seed);
        let season = season(10 * seed, Said::Hold);
        let ids: Vec<SessionId> = season.plan.sessions().collect();
        let mut outings: Vec<Outing> =
            season.done.iter().map(|(on, id)| outing(&season.plan, *id, *on)).collect();
        // Any recording is any session, or none, whatever it looks like.
        let mut said: Vec<(String, Option<SessionId>)> = (0..3)
            .map(|_| {
                let file = outings[random.random_range(0..outings.len())].file.clone();
                (file, random.random_bool(0.8).then(|| ids[random.random_range(0..ids.len())]))
            })
            .collect();
        said.sort();
        said.dedup_by(|a, b| a.0 == b.0);
        let corrections: Vec<Correction> =
            said.iter().map(|(file, id)| by_hand(&season.plan, file, *id)).collect();
        let turned = random.random_range(0..outings.len());
        outings.rotate_left(turned);
        for count in 1..=outings.len() {
            let rows: Vec<&Correction> = corrections.iter().collect();
            let audit = audit_athlete(&AthleteInput {
                outings: &outings[..count],
                plans: &[PlanInUse { plan: &season.plan, start: Some(season.start) }],
                athlete: None,
                journal: &[],
                corrections: &rows,
                as_of: season.done.last().unwrap().0,
                settings: &Settings::default(),
            });
            for audited in &audit.outings {
                let file = &outings[audited.outing].file;
                let Some((_, id)) = said.iter().find(|(of, _)| of == file) else { continue };
                let found = match audited.role {
                    Role::Session(laid) => Some(laid.session),
                    _ => None,
                };
                assert_eq!(found, *id, "seed {seed}, {file} of {count}");
            }
        }
    }
}
