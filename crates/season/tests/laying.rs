//! Generated seasons with known truth: every irregularity of real life, and where each recording belongs.

use boutwise_bouts::{Amount, Gait};
use boutwise_season::{CalendarScore, Laying, Likeness, Plan, SessionId, form_pct, lay};
use chrono::{Days, NaiveDate};
use rand::RngExt;
use rand::SeedableRng;
use rand_pcg::Pcg64;

/// What one recording of a generated season is.
#[derive(Clone, Debug)]
pub struct Outing {
    pub day: NaiveDate,
    /// The session it belongs to; `None` off the plan.
    pub truth: Option<SessionId>,
    /// Run bouts and the rests between them, in seconds.
    pub runs_s: Vec<f64>,
    pub rest_s: f64,
    pub resolvable: bool,
}

pub struct Season {
    pub plan: Plan,
    pub start: Option<NaiveDate>,
    pub outings: Vec<Outing>,
    pub missed: Vec<SessionId>,
}

const LADDER: [(u32, u32, u32); 9] = [
    (8, 60, 90),
    (8, 90, 90),
    (6, 120, 90),
    (5, 180, 90),
    (4, 270, 90),
    (3, 480, 60),
    (2, 720, 60),
    (1, 1500, 0),
    (1, 1800, 0),
];

fn plan(random: &mut Pcg64) -> Plan {
    let first = random.random_range(0..3);
    let rhythm = match random.random_range(0..10) {
        0..5 => "every_days = 2",
        5..8 => "days = ['Mon', 'Wed', 'Sat']",
        _ => "",
    };
    let mut text = String::new();
    for (reps, run_s, walk_s) in &LADDER[first..first + 6] {
        let sessions = random.random_range(3..=6);
        let session = match reps {
            1 => format!("5:00 walk, {run_s} s run, 5:00 walk"),
            _ => format!("5:00 walk, {reps} x ({run_s} s run, {walk_s} s walk), 5:00 walk"),
        };
        text += &format!(
            "[[block]]\nsessions = {sessions}\n{rhythm}\nsession = '{session}'\nbetween = '25:00 walk'\n"
        );
    }
    Plan::parse(&text, "generated.toml").unwrap()
}

fn reps_s(plan: &Plan, block: usize) -> (Vec<f64>, f64) {
    let intervals = &plan.blocks[block].session.intervals;
    let seconds = |amount: Amount| match amount {
        Amount::Seconds(seconds) => seconds,
        Amount::Metres(metres) => metres,
    };
    let runs = intervals.iter().filter(|i| i.gait == Gait::Run).map(|i| seconds(i.amount)).collect();
    (runs, seconds(intervals[2].amount))
}

/// What an athlete makes of a session: mostly what was asked.
fn done(plan: &Plan, block: usize, random: &mut Pcg64) -> (Vec<f64>, f64) {
    let (mut runs, mut rest_s) = reps_s(plan, block);
    match random.random_range(0..28) {
        0 => runs.truncate((runs.len() * 5 / 8).max(1)),
        1 => runs.truncate((runs.len() * 3 / 8).max(1)),
        2 => runs.iter_mut().for_each(|run| *run *= 0.8),
        3 => rest_s *= 1.8,
        4 if runs.len() > 1 => runs.push(runs[0]),
        5 if runs.len() > 2 => {
            let joined = runs[0] + rest_s + runs[1];
            runs.splice(0..2, [joined]);
        }
        6 if runs.len() == 1 => runs = vec![runs[0] * 0.5, runs[0] * 0.4],
        7 => runs.clear(),
        _ => {}
    }
    runs.iter_mut().for_each(|run| *run += random.random_range(-3.0..3.0));
    (runs, rest_s)
}

pub fn season(seed: u64) -> Season {
    let random = &mut Pcg64::seed_from_u64(seed);
    let plan = plan(random);
    let sessions: Vec<SessionId> = plan.sessions().collect();
    let dated = plan.dates(NaiveDate::default())[0].is_some();
    let start = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
    let planned = plan.dates(start);
    let mut outings: Vec<Outing> = Vec::new();
    let mut missed = Vec::new();
    let known_start = random.random_bool(0.7);
    let mut shift = if known_start && random.random_bool(0.1) { random.random_range(5..12) } else { 0 };
    let weeks = random.random_range(8..=12);
    let break_at = random.random_bool(0.2).then(|| random.random_range(3..sessions.len() - 10));
    let resumes = random.random_bool(0.5) || !dated;
    let mut pause_until = None;
    let walks_between = random.random_bool(0.5);
    let mut day = start;
    let mut skipped_before = false;
    for (index, id) in sessions.iter().enumerate() {
        let due = match planned[index] {
            Some(date) => date + Days::new(shift),
            None => day,
        };
        if (due - start).num_days() > weeks * 7 {
            break;
        }
        if break_at == Some(index) {
            let pause = random.random_range(12..=16);
            if resumes {
                shift += pause;
                day = day + Days::new(pause);
            } else {
                pause_until = Some(due + Days::new(pause));
            }
        }
        let due = match planned[index] {
            Some(date) => date + Days::new(shift),
            None => day,
        };
        // Nobody's plan starts with a session that was skipped, and in undated plans nothing tells a skip.
        let skips = (dated && index > 0 && !skipped_before && random.random_bool(0.08))
            || pause_until.is_some_and(|until| due < until);
        if skips {
            missed.push(*id);
            skipped_before = true;
            continue;
        }
        skipped_before = false;
        let on = match random.random_range(0..20) {
            0 | 1 => due + Days::new(1),
            2 if index > 0 && random.random_bool(0.6) => due - Days::new(1),
            _ => due,
        };
        let (mut runs_s, mut rest_s) = done(&plan, id.block, random);
        if runs_s.is_empty() && !dated {
            (runs_s, rest_s) = reps_s(&plan, id.block);
        }
        if runs_s.is_empty() && (on != due || !dated) {
            missed.push(*id);
        } else {
            let resolvable = !random.random_bool(0.03);
            outings.push(Outing { day: on, truth: Some(*id), runs_s, rest_s, resolvable });
        }
        day = on + Days::new(2);
        // At the end of a block, once more as asked: the plan waits.
        let last = plan.blocks[id.block].sessions == id.number;
        if last && random.random_bool(0.1) {
            let (runs_s, rest_s) = reps_s(&plan, id.block);
            outings.push(Outing {
                day: due + Days::new(2),
                truth: Some(*id),
                runs_s,
                rest_s,
                resolvable: true,
            });
            shift += 2;
            day = day + Days::new(2);
        }
        if random.random_bool(0.05) {
            let runs_s = vec![random.random_range(300.0..1500.0)];
            outings.push(Outing {
                day: due + Days::new(1),
                truth: None,
                runs_s,
                rest_s: 0.0,
                resolvable: true,
            });
        }
        if walks_between && random.random_bool(0.6) {
            let walk = Outing {
                day: due + Days::new(1),
                truth: None,
                runs_s: vec![],
                rest_s: 0.0,
                resolvable: true,
            };
            outings.push(walk);
        }
    }
    outings.sort_by_key(|outing| outing.day);
    let last = outings.iter().rev().find_map(|outing| outing.truth);
    missed.retain(|id| last.is_some_and(|last| *id < last));
    Season { plan, start: known_start.then_some(start), outings, missed }
}

/// Adherence of a made session, bouts laid on reps one by one, or one bout on all reps in order.
pub fn likeness(plan: &Plan, outing: &Outing, block: usize) -> Likeness {
    if !outing.resolvable {
        return Likeness::Unresolvable;
    }
    if outing.runs_s.is_empty() {
        return Likeness::Walked;
    }
    let (reps, walk_s) = reps_s(plan, block);
    let planned_s: f64 = reps.iter().sum();
    let done_s: f64 = outing.runs_s.iter().sum();
    let mut laid = outing.runs_s.clone();
    if laid.len() == 1 {
        let mut left = laid[0];
        laid = reps
            .iter()
            .map(|rep| {
                let part = left.min(*rep);
                left -= part;
                part
            })
            .collect();
    }
    laid.resize(reps.len().max(laid.len()), 0.0);
    let credit: Vec<f64> =
        reps.iter().zip(&laid).map(|(p, s)| (s / (p - 6f64.min(0.12 * p))).min(1.0)).collect();
    let dose = reps.iter().zip(&credit).map(|(p, d)| p * d).sum::<f64>() / planned_s;
    let full = credit.iter().filter(|d| **d >= 1.0).count() as f64 / reps.len() as f64;
    let breaks = if reps.len() == 1 {
        dose
    } else if outing.runs_s.len() == 1 {
        0.0
    } else {
        let tolerance = 6f64.min(walk_s / 3.0);
        let g = (outing.rest_s / (walk_s - tolerance)).min((walk_s + tolerance) / outing.rest_s).min(1.0);
        credit.windows(2).map(|pair| g * pair[0].min(pair[1])).sum::<f64>() / (reps.len() - 1) as f64
    };
    let extra = outing.runs_s.len().saturating_sub(reps.len()) as u32;
    let adherence_pct = 100.0 * (0.6 * dose + 0.25 * breaks + 0.15 * full);
    Likeness::Fit {
        adherence_pct,
        form_pct: form_pct(&credit, extra, 100.0 * breaks, adherence_pct),
        overdone_pct: (100.0 * (done_s - planned_s) / planned_s).max(0.0),
    }
}

fn laying(season: &Season, count: usize) -> Laying {
    let days: Vec<NaiveDate> = season.outings[..count].iter().map(|outing| outing.day).collect();
    lay(&season.plan, season.start, &days, &CalendarScore::default(), |recording, block| {
        likeness(&season.plan, &season.outings[recording], block)
    })
}

fn show(season: &Season, laying: &Laying) {
    println!(
        "{:?} {:?}",
        season.start,
        season.plan.blocks.iter().map(|b| (b.sessions, &b.rhythm)).collect::<Vec<_>>()
    );
    println!("missed {:?}", season.missed);
    for (outing, laid) in season.outings.iter().zip(&laying.recordings) {
        let session = laid.map(|laid| laid.session);
        println!(
            "{} {} {:?} {:?} {:?} x{} rest {:.0}",
            if session == outing.truth { " " } else { "!" },
            outing.day,
            outing.truth.map(|id| (id.block, id.number)),
            session.map(|id| (id.block, id.number)),
            laid.map(|laid| (laid.delay_days, laid.again)),
            outing.runs_s.len(),
            outing.runs_s.iter().sum::<f64>()
        );
    }
}

#[test]
fn recordings_are_laid_on_the_right_session() {
    let (mut right, mut all, mut missed, mut named) = (0, 0, 0, 0);
    for seed in 0..400 {
        let season = season(seed);
        let laying = laying(&season, season.outings.len());
        let mut wrong = 0;
        let mut newest = None;
        for (outing, laid) in season.outings.iter().zip(&laying.recordings) {
            all += 1;
            let session = laid.map(|laid| laid.session);
            if session == outing.truth {
                right += 1
            } else {
                wrong += 1
            }
            assert!(session.is_none() || session >= newest, "out of order in season {seed}");
            newest = session.or(newest);
        }
        missed += season.missed.len();
        named += season
            .missed
            .iter()
            .filter(|id| !laying.recordings.iter().flatten().any(|laid| laid.session == **id))
            .count();
        if wrong > 0 && std::env::var_os("SHOW").is_some() {
            println!("season {seed}: {wrong} wrong");
            show(&season, &laying);
        }
    }
    let share = f64::from(right) / f64::from(all);
    let named = named as f64 / missed as f64;
    println!("{right} of {all} right, {share:.4}; missed named {named:.4} of {missed}");
    assert!(share >= 0.98 && named >= 0.99);
}

#[test]
fn a_new_recording_leaves_the_past_as_it_was() {
    let (mut changed, mut all) = (0, 0);
    for seed in 1000..1200 {
        let season = season(seed);
        let mut before = laying(&season, 1);
        for count in 2..=season.outings.len() {
            let after = laying(&season, count);
            let sessions = |laying: &Laying| -> Vec<_> {
                laying.recordings[..count - 1].iter().map(|laid| laid.map(|laid| laid.session)).collect()
            };
            all += 1;
            if sessions(&before) != sessions(&after) {
                changed += 1;
                if std::env::var_os("SHOW").is_some() {
                    let (before, after) = (sessions(&before), sessions(&after));
                    let short = |id: Option<SessionId>| id.map(|id| (id.block, id.number));
                    println!(
                        "season {seed} at {count}, newest {} {:?}",
                        season.outings[count - 1].day,
                        short(season.outings[count - 1].truth)
                    );
                    for at in 0..count - 1 {
                        if before[at] != after[at] {
                            let outing = &season.outings[at];
                            println!(
                                "   {} truth {:?} was {:?} now {:?} runs {} {:.0}",
                                outing.day,
                                short(outing.truth),
                                short(before[at]),
                                short(after[at]),
                                outing.runs_s.len(),
                                outing.runs_s.iter().sum::<f64>()
                            );
                        }
                    }
                }
            }
            before = after;
        }
    }
    let share = f64::from(changed) / f64::from(all);
    println!("{changed} of {all} changed the past, {share:.4}");
    assert!(share < 0.005);
}
