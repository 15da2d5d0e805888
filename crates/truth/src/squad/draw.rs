//! Squads by chance: as many athletes and irregularities as a test asks for.

use chrono::{Days, NaiveDate, NaiveTime};
use chrono_tz::Tz;

use super::story::start_s;
use super::{Athlete, BeginnersPlan, CoachWords, FileState, Gear, Outing, Rhythm, Role, SessionKey, Squad};
use crate::{Deviation, Person, PersonSettings, Random, plans};

/// How a squad is drawn: [`SquadSettings::default`] leaves no week without something odd, [`SquadSettings::usual`] is what
/// trials of beginners saw.
#[derive(Clone, Debug)]
pub struct SquadSettings {
    /// Number of athletes.
    pub athletes: usize,
    /// Weeks of the plan that fell due; three sessions a week.
    pub weeks: usize,
    /// Day of the first session; a Tuesday where the plan names days of the week.
    pub start: NaiveDate,
    /// The plan of all.
    pub plan: BeginnersPlan,
    /// Where they live.
    pub time_zone: Tz,
    /// What they record with; each athlete has one.
    pub gear: Vec<Gear>,
    /// Range of usual running speeds in m/s.
    pub run_speed_m_per_s: (f64, f64),
    /// Range of usual walking speeds in m/s.
    pub walk_speed_m_per_s: (f64, f64),
    /// Share of the sessions that are never done.
    pub missed_share: f64,
    /// Share of the sessions that are done a day early or late.
    pub moved_share: f64,
    /// Share of the sessions that are done once more on the day after.
    pub repeated_share: f64,
    /// Share of the sessions that are done once more on the next planned day, while the plan waits.
    pub waiting_share: f64,
    /// Share of the sessions that are done on the same day as the one before.
    pub same_day_share: f64,
    /// Share of the sessions after which a run off the plan follows the next day.
    pub extra_run_share: f64,
    /// Share of the sessions after which a walk follows the next day.
    pub between_walk_share: f64,
    /// Share of the athletes who are away for two weeks; half of them go on where they were, half where the plan is.
    pub break_share: f64,
    /// Share of the athletes who start up to ten days late, with the first session.
    pub late_start_share: f64,
    /// Share of the athletes who start one or two planned days late, with the first session.
    pub late_by_planned_share: f64,
    /// Share of the athletes who go out in a rhythm of their own: three times a week or every day where the plan goes every
    /// other day, twice a week where it goes three times.
    pub own_rhythm_share: f64,
    /// Share of the sessions in whose place that of the next block is done.
    pub other_block_share: f64,
    /// Share of the sessions on whose day a walk is recorded, and which are done a day later.
    pub walk_on_day_share: f64,
    /// Share of the athletes who stop two sessions of a block early, do two of the block before again, and go on.
    pub eased_share: f64,
    /// Share of these whose coach writes `ease` into the journal.
    pub eased_told_share: f64,
    /// Share of the athletes whose coach writes `hold` after the last session of a block: they do it once or twice more, and
    /// go on.
    pub hold_followed_share: f64,
    /// Share of the breaks that the squad file tells, with what follows them.
    pub away_told_share: f64,
    /// Share of the outings whose place on the plan, or that they have none, is told by hand.
    pub by_hand_share: f64,
    /// Share of the sessions that depart from what is asked.
    pub deviating_share: f64,
    /// How they depart, each entry as likely as the others.
    pub deviations: Vec<Deviation>,
}

/// How sessions of a usual squad depart from what is asked; each entry stands for 1 % of the sessions.
///
/// Nilsen and others 2018, Med Sci Sports Exerc 50(6), table 2: of 25 × 72 sessions 135 (7.5 %) had a lower dose, 59 (3.3 %)
/// were ended early. How a dose was lowered, and how often more is done than asked, are own choices.
const USUAL_DEVIATIONS: [Deviation; 14] = [
    Deviation::ShortReps,
    Deviation::ShortReps,
    Deviation::ShortReps,
    Deviation::SkippedRun,
    Deviation::SkippedRun,
    Deviation::LongWalks,
    Deviation::LongWalks,
    Deviation::WalkedItAll,
    Deviation::StoppedEarly,
    Deviation::StoppedEarly,
    Deviation::StoppedEarly,
    Deviation::MergedTwo,
    Deviation::ExtraReps,
    Deviation::RanItAll,
];

impl SquadSettings {
    /// A squad as trials describe them, where they do; set down before anything was measured on it.
    ///
    /// Nilsen and others 2018, Med Sci Sports Exerc 50(6), table 2, supervised training of beginners three times a week:
    /// attendance 79 %; of the 21 % missed 12 belong to those who gave up and 4 to interruptions of three sessions and
    /// more, which leaves 5 % missed one by one. 6 of 25 (24 %) interrupted for a holiday. 14 % depart from what is
    /// asked: lower doses, ended early, and as many overdone as ended early. No figure is known for the rest:
    /// one session in ten on another day, one in a hundred done again at once and one while the plan waits, one in two
    /// hundred on the day of another, an extra run after one in fifty, a late start of one athlete in ten (and of one in
    /// twenty by planned days), walks between as in the other squad; an own rhythm of one athlete in ten, one session in a
    /// hundred of another block, one in a hundred a day late after a walk on its day, one athlete in twenty back a block, half
    /// of them by the coach's word; one in twenty held after a block by it; half of the breaks told, and the place of one
    /// outing in a hundred told by hand. Own choices.
    pub fn usual() -> Self {
        Self {
            missed_share: 0.05,
            moved_share: 0.10,
            repeated_share: 0.01,
            waiting_share: 0.01,
            same_day_share: 0.005,
            extra_run_share: 0.02,
            between_walk_share: 0.15,
            break_share: 0.24,
            late_start_share: 0.1,
            late_by_planned_share: 0.05,
            own_rhythm_share: 0.1,
            other_block_share: 0.01,
            walk_on_day_share: 0.01,
            eased_share: 0.05,
            eased_told_share: 0.5,
            hold_followed_share: 0.05,
            away_told_share: 0.5,
            by_hand_share: 0.01,
            deviating_share: 0.01 * USUAL_DEVIATIONS.len() as f64,
            deviations: USUAL_DEVIATIONS.to_vec(),
            ..Self::default()
        }
    }
}

impl Default for SquadSettings {
    /// Much at once: a third of the sessions departs from what is asked. Own choices.
    fn default() -> Self {
        Self {
            athletes: 12,
            weeks: 8,
            start: NaiveDate::from_ymd_opt(2026, 3, 3).unwrap_or_default(),
            plan: BeginnersPlan::harbour(),
            time_zone: Tz::Europe__Copenhagen,
            gear: vec![
                Gear::watch(crate::files::FileFormat::Gpx, true),
                Gear::watch(crate::files::FileFormat::Tcx, false),
                Gear::heart_watch(),
                Gear::phone(),
            ],
            run_speed_m_per_s: (2.2, 2.9),
            walk_speed_m_per_s: (1.3, 1.5),
            missed_share: 0.08,
            moved_share: 0.12,
            repeated_share: 0.03,
            waiting_share: 0.01,
            same_day_share: 0.01,
            extra_run_share: 0.04,
            between_walk_share: 0.15,
            break_share: 0.1,
            late_start_share: 0.1,
            late_by_planned_share: 0.1,
            own_rhythm_share: 0.15,
            other_block_share: 0.02,
            walk_on_day_share: 0.02,
            eased_share: 0.1,
            eased_told_share: 0.5,
            hold_followed_share: 0.1,
            away_told_share: 0.5,
            by_hand_share: 0.01,
            deviating_share: 0.35,
            deviations: Deviation::TIER_DEVIATIONS.to_vec(),
        }
    }
}

/// Length of a break in days.
const BREAK_DAYS: u64 = 14;
/// The second outing of a day begins so much later.
const SAME_DAY_S: i64 = 4 * 3600;

impl Squad {
    /// A squad by chance; the same seed and settings give the same squad.
    pub fn draw(seed: u64, settings: &SquadSettings) -> Self {
        let plan = settings.plan.clone();
        let sessions_due = (3 * settings.weeks).min(plan.sessions().len());
        let mut random = Random::new(seed);
        let athletes = (1..=settings.athletes)
            .map(|number| {
                athlete(format!("runner-{number:03}"), &plan, sessions_due, settings, &mut random.fork())
            })
            .collect();
        Self { plan, start: settings.start, sessions_due, time_zone: settings.time_zone, athletes }
    }
}

fn athlete(
    name: String,
    plan: &BeginnersPlan,
    due: usize,
    settings: &SquadSettings,
    random: &mut Random,
) -> Athlete {
    let person_settings = PersonSettings {
        run_speed_m_per_s: settings.run_speed_m_per_s,
        walk_speed_m_per_s: settings.walk_speed_m_per_s,
        ..Default::default()
    };
    let person = Person::draw(&person_settings, random);
    let gear = random.pick(&settings.gear).clone();
    let last_due = plan.date(settings.start, due.saturating_sub(1));
    let mut days = Diary::new(plan, settings, gear, last_due, random.fork());
    let late = if random.chance(settings.late_start_share) { random.whole(2, 10) as u64 } else { 0 };
    let away_after = random.chance(settings.break_share).then(|| random.whole(due / 4, due / 2));
    // Where order alone counts nothing falls due, so that nothing is missed: what is done next is the next session.
    let dated = plan.rhythm != Rhythm::Undated;
    let goes_on_where_it_was = random.chance(0.5) || !dated;
    let mut shift = late;
    // Planned days that the athlete is behind since the plan waited, or from the start.
    let late_by_planned = late == 0 && random.chance(settings.late_by_planned_share);
    let mut waited = if late_by_planned { random.whole(1, 2) } else { 0 };
    let own = random.chance(settings.own_rhythm_share).then(|| OwnRhythm::of(plan.rhythm, random)).flatten();
    let on = |index: usize| match own {
        Some(own) => settings.start + Days::new(own.day_offset(index)),
        None => plan.date(settings.start, index),
    };
    let eased_in = random.chance(settings.eased_share).then(|| random.whole(1, 3));
    let is_ease_told = random.chance(settings.eased_told_share) && dated;
    let hold_after =
        random.chance(settings.hold_followed_share).then(|| random.whole(0, 3)).filter(|_| dated);
    let is_away_told = random.chance(settings.away_told_share) && dated;
    let mut words = CoachWords::default();
    // Whether a word let the plan wait, so that what lies after the last day is not due.
    let mut is_waited = false;
    for (index, key) in plan.sessions().into_iter().enumerate().take(due) {
        let planned = on(index);
        if away_after == Some(index) {
            let from = if goes_on_where_it_was { on(index + waited) + Days::new(shift) } else { planned };
            if is_away_told {
                words.away.push((from, from + Days::new(BREAK_DAYS - 1), goes_on_where_it_was));
                is_waited |= goes_on_where_it_was;
            }
            if goes_on_where_it_was {
                shift += BREAK_DAYS;
            }
        }
        let away = away_after.filter(|_| !goes_on_where_it_was).map(|at| plan.date(settings.start, at));
        let on_holiday = away.is_some_and(|from| planned >= from && planned < from + Days::new(BREAK_DAYS));
        let date = on(index + waited) + Days::new(shift);
        // Nobody records after the last day that is due, so late starters leave the last sessions undone.
        let missed = random.chance(settings.missed_share) && dated;
        if (on_holiday && is_away_told) || (date > last_due && is_waited) {
            words.not_due.push(key);
        } else if on_holiday || date > last_due || missed {
            days.missed.push(key);
        } else {
            let is_eased = eased_in == Some(key.block) && key.number <= 2;
            days.planned(key, date, is_eased.then_some(Deviation::StoppedEarly));
            let again = on(index + waited + 1) + Days::new(shift);
            let is_last = key.number == plan.blocks[key.block].sessions;
            if is_eased && key.number == 2 {
                if is_ease_told {
                    words.decisions.push((days.last, "ease"));
                    is_waited = true;
                }
                for number in 1..=2 {
                    waited += 1;
                    let before = SessionKey { block: key.block - 1, number };
                    let is_done = days.again(before, on(index + waited) + Days::new(shift));
                    words.due_again += usize::from(is_done && is_ease_told);
                }
            } else if hold_after == Some(key.block) && is_last && again <= last_due {
                words.decisions.push((days.last, "hold"));
                is_waited = true;
                for _ in 0..random.whole(1, 2) {
                    waited += 1;
                    days.again(key, on(index + waited) + Days::new(shift));
                }
            } else if again <= last_due && random.chance(settings.waiting_share) {
                waited += 1;
                days.again(key, again);
            }
        }
    }
    days.outings.sort_by_key(|outing| outing.start_s);
    words.by_hand = (0..days.outings.len()).filter(|_| random.chance(settings.by_hand_share)).collect();
    Athlete {
        name,
        person,
        birth_year: random.chance(0.6).then(|| 1950 + random.whole(0, 55) as i32),
        screened: random.chance(0.7),
        outings: days.outings,
        missed: days.missed,
        words,
        journal: Vec::new(),
        proposal: None,
        story: "",
        participant: None,
    }
}

/// A rhythm that is not the plan's.
#[derive(Clone, Copy)]
enum OwnRhythm {
    Daily,
    ThreeAWeek,
    TwiceAWeek,
}

impl OwnRhythm {
    /// One that differs from the plan's; none where the plan has no days.
    fn of(rhythm: Rhythm, random: &mut Random) -> Option<Self> {
        match rhythm {
            Rhythm::EveryDays(_) if random.chance(0.2) => Some(Self::Daily),
            Rhythm::EveryDays(_) => Some(Self::ThreeAWeek),
            Rhythm::TuesdayThursdaySunday => Some(Self::TwiceAWeek),
            Rhythm::Undated => None,
        }
    }

    fn day_offset(self, index: usize) -> u64 {
        let index = index as u64;
        match self {
            Self::Daily => index,
            Self::ThreeAWeek => index / 3 * 7 + [0, 2, 4][(index % 3) as usize],
            Self::TwiceAWeek => index / 2 * 7 + [0, 3][(index % 2) as usize],
        }
    }
}

/// One athlete's outings as they come.
struct Diary<'a> {
    plan: &'a BeginnersPlan,
    settings: &'a SquadSettings,
    gear: Gear,
    usual: NaiveTime,
    random: Random,
    last: NaiveDate,
    /// Nothing happens later, so that no further session falls due.
    end: NaiveDate,
    outings: Vec<Outing>,
    missed: Vec<SessionKey>,
}

impl<'a> Diary<'a> {
    fn new(
        plan: &'a BeginnersPlan,
        settings: &'a SquadSettings,
        gear: Gear,
        last_due: NaiveDate,
        mut random: Random,
    ) -> Self {
        let hour = *random.pick(&[6, 7, 12, 17, 18, 20]);
        let usual = NaiveTime::from_hms_opt(hour, 30, 0).unwrap_or_default();
        let last = settings.start - Days::new(1);
        let end = last_due + Days::new(1);
        Self { plan, settings, gear, usual, random, last, end, outings: Vec::new(), missed: Vec::new() }
    }

    /// A planned session and what may follow it before the next one.
    /// `made` is what is made of it, where that is no chance.
    fn planned(&mut self, key: SessionKey, date: NaiveDate, made: Option<Deviation>) {
        let next_block = self.plan.blocks.get(key.block + 1);
        if let Some(next_block) = next_block.filter(|_| self.random.chance(self.settings.other_block_share)) {
            let day = date.max(self.last + Days::new(1));
            self.missed.push(key);
            if day <= self.end {
                let intervals = next_block.intervals();
                self.out(day, Role::OtherBlock, None, intervals, Deviation::AsPlanned, 0);
            }
            return;
        }
        let date =
            if date > self.last && date < self.end && self.random.chance(self.settings.walk_on_day_share) {
                let walk_s = self.random.between((1200.0, 2400.0)).round();
                self.out(date, Role::BetweenWalk, None, vec![plans::walk(walk_s)], Deviation::AsPlanned, 0);
                date + Days::new(1)
            } else {
                date
            };
        let intervals = self.plan.blocks[key.block].intervals();
        let mut deviation = if self.random.chance(self.settings.deviating_share) {
            *self.random.pick(&self.settings.deviations)
        } else {
            Deviation::AsPlanned
        };
        if deviation == Deviation::WalkedItAll && self.plan.rhythm == Rhythm::Undated {
            // Nothing makes a session of a walk without a day.
            deviation = Deviation::AsPlanned;
        }
        deviation = made.unwrap_or(deviation);
        let same_day = !self.outings.is_empty()
            && self.outings.last().is_some_and(|outing| outing.role == Role::Planned)
            && self.random.chance(self.settings.same_day_share);
        let mut day = date;
        if self.random.chance(self.settings.moved_share) {
            day = if self.random.chance(0.5) { date + Days::new(1) } else { date - Days::new(1) };
        }
        day = if same_day { self.last } else { day.max(self.last + Days::new(1)) };
        if day > self.end {
            self.missed.push(key);
            return;
        }
        self.out(
            day,
            Role::Planned,
            Some(key),
            intervals.clone(),
            deviation,
            if same_day { SAME_DAY_S } else { 0 },
        );
        let next = day + Days::new(1);
        if next > self.end {
            return;
        }
        if self.random.chance(self.settings.repeated_share) {
            self.out(next, Role::Repeat, Some(key), intervals, Deviation::AsPlanned, 0);
        } else if self.random.chance(self.settings.extra_run_share) {
            let run_s = self.random.between((420.0, 900.0)).round();
            let off_plan = plans::session(120.0, &[run_s], 0.0, 60.0);
            self.out(next, Role::ExtraRun, None, off_plan, Deviation::AsPlanned, 0);
        } else if self.random.chance(self.settings.between_walk_share) {
            let walk_s = self.random.between((1200.0, 2400.0)).round();
            self.out(next, Role::BetweenWalk, None, vec![plans::walk(walk_s)], Deviation::AsPlanned, 0);
        }
    }

    /// A session once more, as asked; whether there was time for it.
    fn again(&mut self, key: SessionKey, date: NaiveDate) -> bool {
        let day = date.max(self.last + Days::new(1));
        let is_done = day <= self.end;
        if is_done {
            let intervals = self.plan.blocks[key.block].intervals();
            self.out(day, Role::Repeat, Some(key), intervals, Deviation::AsPlanned, 0);
        }
        is_done
    }

    fn out(
        &mut self,
        date: NaiveDate,
        role: Role,
        follows: Option<SessionKey>,
        plan: Vec<boutwise_bouts::Interval>,
        deviation: Deviation,
        later_s: i64,
    ) {
        let seed = self.random.whole(0, u32::MAX as usize) as u64;
        let start_s = start_s(date, self.usual, self.settings.time_zone, seed) + later_s;
        let gear = self.gear.clone();
        self.outings.push(Outing {
            start_s,
            role,
            follows,
            plan,
            deviation,
            seed,
            gear,
            state: FileState::Whole,
            driven_home: false,
        });
        self.last = date;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drawn_squad_is_in_order_and_accounts_for_every_session() {
        let squad = Squad::draw(4, &SquadSettings { athletes: 200, ..Default::default() });
        for athlete in &squad.athletes {
            let keys: Vec<SessionKey> = athlete
                .outings
                .iter()
                .filter(|outing| outing.role == Role::Planned)
                .filter_map(|outing| outing.follows)
                .collect();
            assert!(keys.is_sorted(), "{}", athlete.name);
            assert!(athlete.outings.windows(2).all(|pair| pair[0].start_s + 3600 < pair[1].start_s));
            let left_out = athlete.missed.iter().chain(&athlete.words.not_due).copied();
            let mut all: Vec<SessionKey> = keys.into_iter().chain(left_out).collect();
            all.sort();
            assert_eq!(all, squad.plan.sessions()[..squad.sessions_due]);
        }
    }

    #[test]
    fn every_irregularity_occurs() {
        for settings in [SquadSettings::default(), SquadSettings::usual()] {
            every_irregularity_occurs_with(SquadSettings { athletes: 200, ..settings });
        }
    }

    fn every_irregularity_occurs_with(settings: SquadSettings) {
        let squad = Squad::draw(4, &settings);
        let outings: Vec<&Outing> = squad.athletes.iter().flat_map(|athlete| &athlete.outings).collect();
        for role in [Role::Planned, Role::Repeat, Role::OtherBlock, Role::ExtraRun, Role::BetweenWalk] {
            assert!(outings.iter().any(|outing| outing.role == role), "{role:?}");
        }
        for deviation in Deviation::TIER_DEVIATIONS {
            assert!(outings.iter().any(|outing| outing.deviation == deviation), "{deviation:?}");
        }
        let gap_days = |athlete: &Athlete| {
            athlete
                .outings
                .windows(2)
                .map(|pair| (pair[1].start_s - pair[0].start_s) / 86_400)
                .max()
                .unwrap_or(0)
        };
        assert!(squad.athletes.iter().any(|athlete| gap_days(athlete) >= 13));
        assert!(squad.athletes.iter().any(|athlete| !athlete.missed.is_empty()));
    }
}
