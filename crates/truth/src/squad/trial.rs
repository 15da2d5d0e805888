//! Invented trials: arms that differ by a known effect, and by who gives up.
//!
//! All follow one plan, three sessions a week, which asks for some short runs and then a longer one. Everybody runs the longer
//! one for as long as he or she is able to that day:
//!
//! ```text
//! able_s = first_run_s + gain_s_per_week × weeks since the first + what the day makes of it
//! ```
//!
//! The arms differ in the mean of `gain_s_per_week`, hence by a known number of seconds in the last week. Who falls short of
//! the plan gives up more often, and in the first arm more often than in the others: those who are still there at the end
//! are not those who began, and whoever looks at recorded sessions alone sees less of the effect than there is.

use std::io;

use chrono::{Days, NaiveDate, NaiveTime};
use chrono_tz::Tz;

use super::beginners_plan::{PlanBlock, PlanSet};
use super::story::start_s;
use super::tables::truth_effect_csv;
use super::{
    Athlete, BeginnersPlan, CoachWords, FileState, Gear, JournalEntry, Outing, Participant, Rhythm, Role,
    SessionKey, Squad,
};
use crate::files::FileFormat;
use crate::{Deviation, Person, PersonSettings, Random};

/// How a trial is drawn; the same trial gives the same bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trial {
    /// Number of participants; they are put into the arms in turn.
    pub athletes: u32,
    /// Weeks of the plan.
    pub weeks: u32,
    /// Number of arms, at most [`Trial::MOST_ARMS`].
    pub arms: u32,
    /// What chance begins from.
    pub seed: u64,
    /// Whether arms differ in more than who gives up.
    pub has_effect: bool,
}

/// Names of the arms.
const ARMS: [&str; 4] = ["A", "B", "C", "D"];

/// The longer run that the plan asks for in the first week, and how much longer it is each week, in seconds. Own choice,
/// beside the means of those who run it.
const ASKED_FIRST_S: u32 = 105;
const ASKED_GAIN_S: u32 = 50;
/// The walks before, between and after, and a short run, in seconds. Own choices.
const FIRST_WALK_S: f64 = 360.0;
const SHORT_RUN_S: f64 = 40.0;
const BREAK_S: f64 = 80.0;
const LAST_WALK_S: f64 = 240.0;
/// How many short runs come before the longer one, week by week and round again: as nobody's longer run tells the week, they
/// do. Own choice.
const SHORT_RUNS: [usize; 3] = [1, 4, 7];

/// The longest run of the first week: mean and standard deviation among people, in seconds. Own choice.
const FIRST_RUN_S: (f64, f64) = (110.0, 15.0);
/// How much longer it is each week in the first arm: mean and standard deviation among people, in seconds. Own choice.
const GAIN_S_PER_WEEK: (f64, f64) = (40.0, 9.0);
/// How much more that is in each arm than in the one before: with eight weeks and twenty people an arm about four standard
/// errors of the difference in the last week. Own choice.
const EFFECT_S_PER_WEEK: f64 = 12.0;
/// Standard deviation of a person's days, in seconds. Own choice.
const DAY_S: f64 = 10.0;
/// Nobody runs for less, in seconds: longer than the short run, so that the longer one is the longest. It binds in fewer
/// than one session in two hundred of the first week, in fewer than one in ten thousand of later ones.
const LEAST_RUN_S: f64 = 60.0;

/// Share of those still there who give up before a week, in the first arm: of those whose last run was as long as asked,
/// and of those who fell short. In arm number n it is an n-th of that. Own choice: with eight weeks about three in ten of
/// the first arm and one in ten of the second.
const GIVES_UP: (f64, f64) = (0.02, 0.12);
/// Who runs less than this share of what is asked has fallen short. Own choice.
const SHORT_SHARE: f64 = 0.8;
/// Share of the sessions that are left out by those who go on, and of those done a day late. Own choices.
const LEFT_OUT_SHARE: f64 = 0.1;
const LATE_SHARE: f64 = 0.08;
/// Share of the sessions whose effort is noted. Own choice.
const NOTED_SHARE: f64 = 0.6;

/// Participants that are made at a time.
const AT_A_TIME: u32 = 16;
/// Spreads the numbers of participants over all seeds: 2⁶⁴ divided by the golden ratio (Knuth, The Art of Computer
/// Programming 3, section 6.4; from memory).
const SPREAD: u64 = 0x9E37_79B9_7F4A_7C15;

impl Trial {
    /// Arms at most.
    pub const MOST_ARMS: u32 = ARMS.len() as u32;

    /// The participants, some at a time: together they are the squad of the trial, in order.
    pub fn parts(&self) -> impl Iterator<Item = Squad> {
        let plan = self.plan();
        (1..=self.athletes).step_by(AT_A_TIME as usize).map(move |first| {
            let last = self.athletes.min(first + AT_A_TIME - 1);
            Squad {
                plan: plan.clone(),
                start: start(),
                sessions_due: plan.sessions().len(),
                time_zone: TIME_ZONE,
                athletes: (first..=last).map(|number| self.athlete(number, &plan)).collect(),
            }
        })
    }

    /// `truth/effect.csv`; `None` for a single arm, which there is nothing to hold against.
    ///
    /// # Errors
    /// Where it cannot be written to memory, which never happens.
    pub fn effect_csv(&self) -> io::Result<Option<Vec<u8>>> {
        let others = (1..self.arms as usize).map(|arm| (ARMS[arm], self.effect_s(arm)));
        (self.arms > 1).then(|| truth_effect_csv(ARMS[0], others)).transpose()
    }

    /// How much longer an arm's longest runs are in the last week than those of the first arm, on average, in seconds.
    fn effect_s(&self, arm: usize) -> f64 {
        let weeks = f64::from(self.weeks.saturating_sub(1));
        weeks * (self.mean_gain_s_per_week(arm) - self.mean_gain_s_per_week(0))
    }

    fn mean_gain_s_per_week(&self, arm: usize) -> f64 {
        GAIN_S_PER_WEEK.0 + if self.has_effect { EFFECT_S_PER_WEEK * arm as f64 } else { 0.0 }
    }

    fn plan(&self) -> BeginnersPlan {
        let blocks = (0..self.weeks).map(|week| PlanBlock {
            label: format!("Week {}", week + 1),
            sessions: 3,
            sets: vec![
                PlanSet {
                    repeats: SHORT_RUNS[week as usize % SHORT_RUNS.len()],
                    run_s: SHORT_RUN_S,
                    walk_s: BREAK_S,
                },
                PlanSet { repeats: 1, run_s: asked_s(week), walk_s: 0.0 },
            ],
            first_walk_s: FIRST_WALK_S,
            last_walk_s: LAST_WALK_S,
            between_walk_s: None,
        });
        BeginnersPlan {
            title: "Harbour trial".to_owned(),
            blocks: blocks.collect(),
            rhythm: Rhythm::TuesdayThursdaySunday,
        }
    }

    /// A participant, whoever else there is; numbers begin at 1.
    fn athlete(&self, number: u32, plan: &BeginnersPlan) -> Athlete {
        let random = &mut Random::new(self.seed ^ u64::from(number).wrapping_mul(SPREAD));
        let speeds = PersonSettings {
            run_speed_m_per_s: (2.2, 2.9),
            walk_speed_m_per_s: (1.3, 1.5),
            ..Default::default()
        };
        let person = Person::draw(&speeds, random);
        let gear = random.pick(&gear()).clone();
        let arm = (number - 1) as usize % self.arms.clamp(1, Self::MOST_ARMS) as usize;
        let mut participant = Participant {
            arm: ARMS[arm],
            first_run_s: FIRST_RUN_S.0 + random.normal(FIRST_RUN_S.1),
            gain_s_per_week: self.mean_gain_s_per_week(arm) + random.normal(GAIN_S_PER_WEEK.1),
            gave_up_week: None,
        };
        let hour = *random.pick(&[6, 7, 12, 17, 18, 20]);
        let usual = NaiveTime::from_hms_opt(hour, 30, 0).unwrap_or_default();
        let (mut outings, mut missed, mut journal) = (Vec::new(), Vec::new(), Vec::new());
        let mut fell_short = false;
        for (index, key) in plan.sessions().into_iter().enumerate() {
            let SessionKey { block, number } = key;
            let gives_up = if fell_short { GIVES_UP.1 } else { GIVES_UP.0 } / (arm + 1) as f64;
            if number == 1 && block > 0 && participant.gave_up_week.is_none() && random.chance(gives_up) {
                participant.gave_up_week = Some(block as u32 + 1);
            }
            if participant.gave_up_week.is_some() || random.chance(LEFT_OUT_SHARE) {
                missed.push(key);
                continue;
            }
            let run_s = participant.able_s(block as u32, random);
            fell_short = run_s < SHORT_SHARE * asked_s(block as u32);
            // Not after the last of a week, whose next day belongs to the next week.
            let is_late = number < plan.blocks[block].sessions && random.chance(LATE_SHARE);
            let date = plan.date(start(), index) + Days::new(u64::from(is_late));
            let seed = random.whole(0, u32::MAX as usize) as u64;
            outings.push(Outing {
                start_s: start_s(date, usual, TIME_ZONE, seed),
                role: Role::Planned,
                follows: Some(key),
                plan: plan.blocks[block].intervals(),
                deviation: Deviation::AsLongAsAble { run_s: run_s as u32 },
                seed,
                gear: gear.clone(),
                state: FileState::Whole,
                driven_home: false,
            });
            if random.chance(NOTED_SHARE) {
                let effort_0_10 = Some(random.whole(3, 5) as u8);
                journal.push(JournalEntry { date, effort_0_10, talkable: Some(true), ..Default::default() });
            }
        }
        Athlete {
            name: format!("runner-{number:05}"),
            person,
            birth_year: random.chance(0.6).then(|| 1950 + random.whole(0, 55) as i32),
            screened: random.chance(0.7),
            outings,
            missed,
            words: CoachWords::default(),
            journal,
            proposal: None,
            story: "",
            participant: Some(participant),
        }
    }
}

impl Participant {
    /// How long a run is on a day of a week (from 0), in whole seconds.
    fn able_s(&self, week: u32, random: &mut Random) -> f64 {
        let usual_s = self.first_run_s + self.gain_s_per_week * f64::from(week);
        (usual_s + random.normal(DAY_S)).max(LEAST_RUN_S).round()
    }
}

/// The longer run that the plan asks for in a week (from 0), in seconds.
fn asked_s(week: u32) -> f64 {
    f64::from(ASKED_FIRST_S + ASKED_GAIN_S * week)
}

/// Day of the first session, a Tuesday.
fn start() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 3, 3).unwrap_or_default()
}

const TIME_ZONE: Tz = Tz::Europe__Copenhagen;

/// What participants record with: devices that save points, packed, and nothing that breaks into a run, so that the longest
/// run in a recording is the one that was run.
fn gear() -> [Gear; 4] {
    let gear = [
        Gear::saving_watch(FileFormat::Gpx, true),
        Gear::saving_watch(FileFormat::Tcx, false),
        Gear::heart_watch(),
        Gear::phone(),
    ];
    gear.map(|mut gear| {
        gear.settings.interruptions.in_run_share = 0.0;
        gear.settings.interruptions.tunnel_share = 0.0;
        gear.file.gzip = true;
        gear
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn trial(athletes: u32, weeks: u32, arms: u32) -> Trial {
        Trial { athletes, weeks, arms, seed: 5, has_effect: true }
    }

    fn athletes(trial: &Trial) -> Vec<Athlete> {
        trial.parts().flat_map(|part| part.athletes).collect()
    }

    /// Mean of the longest runs of the last week, had nobody given up.
    fn last_week_s(trial: &Trial, athletes: &[Athlete], arm: &str) -> f64 {
        let mut random = Random::new(1);
        let participants = athletes.iter().filter_map(|athlete| athlete.participant.as_ref());
        let of_arm: Vec<f64> = participants
            .filter(|participant| participant.arm == arm)
            .map(|participant| participant.able_s(trial.weeks - 1, &mut random))
            .collect();
        of_arm.iter().sum::<f64>() / of_arm.len() as f64
    }

    #[test]
    fn the_effect_told_is_that_of_a_large_draw() {
        for (weeks, has_effect) in [(2, true), (8, true), (8, false)] {
            let trial = Trial { has_effect, ..trial(8000, weeks, 3) };
            let athletes = athletes(&trial);
            let told = String::from_utf8(trial.effect_csv().unwrap().unwrap()).unwrap();
            for (row, arm) in told.lines().skip(1).zip(["B", "C"]) {
                let cells: Vec<&str> = row.split(',').collect();
                assert_eq!(
                    (cells[0], cells[1], cells[3], cells[4]),
                    ("longest_run_last_week", "s", arm, "A")
                );
                let effect_s: f64 = cells[2].parse().unwrap();
                assert_eq!(effect_s != 0.0, has_effect);
                let found_s = last_week_s(&trial, &athletes, arm) - last_week_s(&trial, &athletes, "A");
                // Four standard errors of a difference between means of 2,667 people each.
                let spread_s = (FIRST_RUN_S.1.powi(2)
                    + (GAIN_S_PER_WEEK.1 * f64::from(weeks - 1)).powi(2)
                    + DAY_S * DAY_S)
                    .sqrt();
                let limit_s = 4.0 * spread_s * (2.0 / 2667.0_f64).sqrt();
                assert!((found_s - effect_s).abs() < limit_s, "{arm}: {found_s} told as {effect_s}");
            }
        }
    }

    #[test]
    fn who_gives_up_depends_on_the_arm_and_hides_some_of_the_effect() {
        let trial = trial(4000, 8, 2);
        let athletes = athletes(&trial);
        let of_arm = |arm: &'static str| {
            athletes.iter().filter(move |athlete| athlete.participant.as_ref().unwrap().arm == arm)
        };
        let gave_up = |arm| {
            let gone =
                of_arm(arm).filter(|athlete| athlete.participant.as_ref().unwrap().gave_up_week.is_some());
            gone.count() as f64 / of_arm(arm).count() as f64
        };
        assert!((0.24..0.36).contains(&gave_up("A")), "{}", gave_up("A"));
        assert!((0.05..0.15).contains(&gave_up("B")), "{}", gave_up("B"));
        // The mean of what was recorded in the last week.
        let recorded_s = |arm| {
            let runs: Vec<f64> = of_arm(arm)
                .flat_map(|athlete| &athlete.outings)
                .filter(|outing| outing.follows.is_some_and(|key| key.block == 7))
                .map(|outing| match outing.deviation {
                    Deviation::AsLongAsAble { run_s } => f64::from(run_s),
                    _ => f64::NAN,
                })
                .collect();
            runs.iter().sum::<f64>() / runs.len() as f64
        };
        let naive_s = recorded_s("B") - recorded_s("A");
        assert!(naive_s < trial.effect_s(1) - 4.0, "{naive_s}");
    }

    #[test]
    fn nobody_depends_on_who_else_there_is_and_every_session_is_accounted_for() {
        let (few, many) = (athletes(&trial(20, 6, 2)), athletes(&trial(50, 6, 2)));
        assert_eq!((few.len(), many.len()), (20, 50));
        for (few, many) in few.iter().zip(&many) {
            assert_eq!((&few.name, &few.outings), (&many.name, &many.outings));
            assert_eq!(few.outings.len() + few.missed.len(), 18);
            assert!(few.outings.is_sorted_by(|one, next| one.start_s + 3600 < next.start_s));
        }
        let other = athletes(&Trial { seed: 6, ..trial(20, 6, 2) });
        assert!(few.iter().zip(&other).all(|(one, other)| one.person != other.person));
    }

    #[test]
    fn a_single_arm_has_no_effect_and_no_step_is_that_of_a_known_plan() {
        assert_eq!(trial(4, 8, 1).effect_csv().unwrap(), None);
        let asked: Vec<f64> = (0..26).map(asked_s).collect();
        assert!(!asked.contains(&1500.0) && !asked.contains(&1800.0));
    }
}
