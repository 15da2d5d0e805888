//! Seasons by chance: one athlete, one plan or two, eight to twelve weeks.

use boutwise_season::Plan;
use boutwise_truth::Random;
use boutwise_truth::files::FileFormat;
use boutwise_truth::squad::{BeginnersPlan, Gear, Rhythm, Squad, SquadSettings};
use chrono::{DateTime, Days, NaiveDate};

/// Share of the athletes who switch to another plan half-way. Own choice.
const SWITCH_SHARE: f64 = 0.1;
/// Share of the athletes whose start the squad file tells. Own choice.
const KNOWN_START_SHARE: f64 = 0.7;

/// The part of a season that follows one plan.
pub(crate) struct Part {
    /// What was done, and what of it was planned.
    pub(crate) squad: Squad,
    /// The plan as the tool reads it.
    pub(crate) plan: Plan,
    /// The start as the squad file tells it.
    pub(crate) start: Option<NaiveDate>,
}

/// One athlete's season.
pub(crate) struct Made {
    pub(crate) seed: u64,
    pub(crate) parts: Vec<Part>,
    /// The last day on which a session fell due.
    pub(crate) as_of: NaiveDate,
}

impl Made {
    pub(crate) fn draw(seed: u64, squad: &SquadSettings) -> Self {
        let mut random = Random::new(seed);
        let rhythm = *random.pick(&[
            Rhythm::EveryDays(2),
            Rhythm::EveryDays(2),
            Rhythm::TuesdayThursdaySunday,
            Rhythm::TuesdayThursdaySunday,
            Rhythm::Undated,
        ]);
        let weeks = random.whole(8, 12);
        let monday = squad.start;
        let parts: Vec<(usize, u64)> = if random.chance(SWITCH_SHARE) {
            vec![(weeks / 2, 0), (weeks - weeks / 2, weeks as u64 / 2)]
        } else {
            vec![(weeks, 0)]
        };
        let known_start = random.chance(KNOWN_START_SHARE);
        let mut parts: Vec<Part> = parts
            .into_iter()
            .map(|(weeks, after_weeks)| {
                let start = monday + Days::new(7 * after_weeks);
                let settings = SquadSettings {
                    athletes: 1,
                    weeks,
                    start,
                    plan: BeginnersPlan::draw(rhythm, &mut random),
                    gear: gear(),
                    ..squad.clone()
                };
                let squad = Squad::draw(random.whole(0, u32::MAX as usize) as u64, &settings);
                let plan = Plan::parse(&squad.plan.toml(), "plan.toml");
                let plan = plan.unwrap_or_else(|error| panic!("a drawn plan is a plan: {error}"));
                // Who switches, switches on a day that is known; without a told start a plan begins with its first
                // session, so the start is told of those who left that out or moved it.
                let first = squad.athletes[0].outings.first();
                let first_day = first.and_then(|outing| DateTime::from_timestamp(outing.start_s, 0));
                let begins = first_day.is_some_and(|day| day.date_naive() == start);
                let told = after_weeks > 0 || known_start || !begins;
                let told = told && (after_weeks > 0 || rhythm != Rhythm::Undated);
                Part { squad, plan, start: told.then_some(start) }
            })
            .collect();
        let person = parts[0].squad.athletes[0].person.clone();
        for part in &mut parts {
            part.squad.athletes[0].person = person.clone();
        }
        let as_of = parts.iter().map(Part::last_due).max().unwrap_or(monday);
        Self { seed, parts, as_of }
    }
}

impl Part {
    fn last_due(&self) -> NaiveDate {
        self.squad.plan.date(self.squad.start, self.squad.sessions_due - 1)
    }

    pub(crate) fn is_dated(&self) -> bool {
        self.squad.plan.rhythm != Rhythm::Undated
    }
}

/// GPX and TCX, with cadence and without, a point a second and fewer.
fn gear() -> Vec<Gear> {
    let mut without_cadence = Gear::watch(FileFormat::Tcx, false);
    without_cadence.settings.sensors.cadence = false;
    vec![
        Gear::watch(FileFormat::Gpx, true),
        Gear::watch(FileFormat::Tcx, false),
        Gear::saving_watch(FileFormat::Tcx, true),
        without_cadence,
        Gear::heart_watch(),
        Gear::phone(),
    ]
}
