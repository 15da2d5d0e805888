//! Seasons by chance: one athlete, one plan or two, eight to twelve weeks.

use boutwise_season::{AfterAway, Athlete, Away, CalendarScore, Entry, Plan, Verdict};
use boutwise_truth::Random;
use boutwise_truth::files::FileFormat;
use boutwise_truth::squad::{BeginnersPlan, CoachWords, Gear, Rhythm, Squad, SquadSettings};
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
    /// How often athletes of the squad do what, as a search counts it.
    pub(crate) rates: CalendarScore,
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
        Self { seed, parts, as_of, rates: rates(squad) }
    }
}

impl Made {
    /// What the squad file says of the athlete.
    pub(crate) fn athlete(&self) -> Athlete {
        let away = self.words().flat_map(|words| &words.away).map(|(from, to, waits)| Away {
            from: *from,
            to: *to,
            reason: None,
            then: Some(if *waits { AfterAway::GoOn } else { AfterAway::Rejoin }),
        });
        Athlete { away: away.collect(), ..Athlete::default() }
    }

    /// What the journal says.
    pub(crate) fn journal(&self) -> Vec<Entry> {
        let decisions = self.words().flat_map(|words| &words.decisions);
        let entry = |(day, word): &(NaiveDate, &str)| {
            let coach_decision = Verdict::ALL.into_iter().find(|verdict| verdict.word() == *word);
            Entry { coach_decision, ..Entry::new("a", *day) }
        };
        decisions.map(entry).collect()
    }

    pub(crate) fn words(&self) -> impl Iterator<Item = &CoachWords> {
        self.parts.iter().map(|part| &part.squad.athletes[0].words)
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

/// How often athletes of a squad do what. Where a share of the athletes does something once, it is that share over the
/// sessions of a season; a length that is drawn among several has a share of each.
fn rates(squad: &SquadSettings) -> CalendarScore {
    let sessions = 3.0 * 10.0;
    let pct = |share: f64| 100.0 * share;
    CalendarScore {
        missed_pct: pct(squad.missed_share),
        moved_pct: pct(squad.moved_share),
        same_day_pct: pct(squad.same_day_share),
        again_pct: pct(squad.repeated_share),
        waiting_pct: pct(squad.waiting_share),
        delayed_pct: pct(squad.break_share) / 2.0 / sessions,
        late_start_pct: pct(squad.late_start_share) / 9.0,
        late_by_planned_pct: pct(squad.late_by_planned_share) / 2.0,
        own_rhythm_pct: pct(squad.own_rhythm_share),
        other_block_pct: pct(squad.other_block_share),
        eased_pct: pct(squad.eased_share) / sessions,
        run_after_walk_pct: 100.0 * squad.walk_on_day_share,
        extra_run_pct: pct(squad.extra_run_share),
        departing_pct: pct(squad.deviating_share),
        ..CalendarScore::default()
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
