//! What the audit made of a season, held against its truth.

use std::collections::BTreeSet;
use std::fmt::Write;

use boutwise_bouts::{Gait, Kind};
use boutwise_season::{
    AthleteAudit, AthleteInput, CalendarScore, Correction, Laid, Outing, PlanInUse, PlanPlace, Role,
    Settings, audit_athlete,
};
use boutwise_truth::squad::SessionKey;
use chrono::NaiveDate;

use crate::made::{Made, Part};
use crate::read::FoundOuting;

/// A season as it was made and as its files were read.
pub(crate) struct Season {
    pub(crate) made: Made,
    pub(crate) outings: Vec<FoundOuting>,
}

/// Where a recording lies: plan and session.
pub(crate) type Place = (usize, SessionKey);

/// How a recording was laid.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Told {
    /// On its session, or on none where it has none.
    Right,
    /// Elsewhere, and the facts fit both stories equally; see [`Season::told`].
    Indistinguishable,
    /// Anything else.
    Wrong,
}

/// Counts over one season or many.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Counts {
    pub(crate) seasons: usize,
    pub(crate) recordings: usize,
    pub(crate) right: usize,
    pub(crate) indistinguishable: usize,
    pub(crate) missed: usize,
    pub(crate) named: usize,
    pub(crate) named_truly: usize,
    /// Missed sessions that were not named, though as many sessions of the same block were.
    pub(crate) named_beside: usize,
    /// Missed sessions that were not named for nothing but recordings that fit both stories.
    pub(crate) unnamed_by_facts: usize,
    pub(crate) out_of_order: usize,
    /// Seasons whose sessions due and attended are known, and those of them in which both are exact.
    pub(crate) counted: usize,
    pub(crate) exact: usize,
    /// Recordings whose place was told by hand, and those of them that lie there.
    pub(crate) by_hand: usize,
    pub(crate) by_hand_stands: usize,
}

impl Counts {
    pub(crate) fn add(&mut self, other: &Self) {
        self.seasons += other.seasons;
        self.recordings += other.recordings;
        self.right += other.right;
        self.indistinguishable += other.indistinguishable;
        self.missed += other.missed;
        self.named += other.named;
        self.named_truly += other.named_truly;
        self.named_beside += other.named_beside;
        self.unnamed_by_facts += other.unnamed_by_facts;
        self.out_of_order += other.out_of_order;
        self.counted += other.counted;
        self.exact += other.exact;
        self.by_hand += other.by_hand;
        self.by_hand_stands += other.by_hand_stands;
    }
}

impl Season {
    /// The audit of the first so many recordings on a day.
    pub(crate) fn audit(&self, count: usize, as_of: NaiveDate, score: &CalendarScore) -> AthleteAudit {
        let outings: Vec<Outing> = self.outings[..count].iter().map(|found| found.outing.clone()).collect();
        self.audit_of(&outings, as_of, score)
    }

    pub(crate) fn audit_of(
        &self,
        outings: &[Outing],
        as_of: NaiveDate,
        score: &CalendarScore,
    ) -> AthleteAudit {
        let parts = self.made.parts.iter();
        let plans: Vec<PlanInUse<'_>> =
            parts.map(|part| PlanInUse { plan: &part.plan, start: part.start }).collect();
        let (athlete, journal, corrections) = (self.made.athlete(), self.made.journal(), self.corrections());
        audit_athlete(&AthleteInput {
            outings,
            plans: &plans,
            athlete: Some(&athlete),
            journal: &journal.iter().collect::<Vec<_>>(),
            corrections: &corrections.iter().collect::<Vec<_>>(),
            as_of,
            settings: &Settings { calendar: *score, ..Settings::default() },
        })
    }

    /// What the coach says by hand.
    fn corrections(&self) -> Vec<Correction> {
        let row = |found: &FoundOuting| Correction {
            file: Some(found.outing.file.clone()),
            session: None,
            used: None,
            athlete: None,
            place: Some(found.follows.map_or(PlanPlace::None, |key| PlanPlace::Session {
                block: self.made.parts[found.part].squad.plan.blocks[key.block].label.clone(),
                number: Some(key.number as u32),
            })),
            from_s: None,
            to_s: None,
            line: 1,
        };
        self.outings.iter().filter(|found| found.by_hand).map(row).collect()
    }

    /// Sessions due and attended; `None` without days, and where the plan was switched, since its end is then no day of its own.
    fn attendance(&self) -> Option<(usize, usize)> {
        let [part] = &self.made.parts[..] else { return None };
        let words = &part.squad.athletes[0].words;
        let done: BTreeSet<SessionKey> = self.outings.iter().filter_map(|found| found.follows).collect();
        let due = part.squad.sessions_due - words.not_due.len() + words.due_again;
        part.is_dated().then_some((due, done.len() + words.due_again))
    }

    /// The day from which a whole season is judged: its last due day, or that of a later recording.
    pub(crate) fn as_of(&self) -> NaiveDate {
        self.outings.last().map_or(self.made.as_of, |last| last.outing.day().max(self.made.as_of))
    }

    pub(crate) fn whole_audit(&self, score: &CalendarScore) -> AthleteAudit {
        self.audit(self.outings.len(), self.as_of(), score)
    }

    /// The same of a search that is told the true bouts and how often athletes of the squad do what.
    pub(crate) fn told_audit(&self) -> AthleteAudit {
        let outings: Vec<Outing> = self.outings.iter().map(|found| found.true_outing.clone()).collect();
        self.audit_of(&outings, self.as_of(), &self.made.rates)
    }

    /// The planned sessions that fell due and were not attended; without days, those before the last attended one.
    pub(crate) fn missed(&self) -> BTreeSet<Place> {
        let mut missed = BTreeSet::new();
        for (index, part) in self.made.parts.iter().enumerate() {
            let of_part = self.outings.iter().filter(|found| found.part == index);
            let last = of_part.filter_map(|found| found.follows).max();
            let counts = |key: &&SessionKey| part.is_dated() || last.is_some_and(|last| **key < last);
            missed.extend(part.squad.athletes[0].missed.iter().filter(counts).map(|key| (index, *key)));
        }
        missed
    }

    pub(crate) fn counts(&self, audit: &AthleteAudit) -> Counts {
        let mut counts = Counts { seasons: 1, ..Counts::default() };
        let places = places(audit);
        let all_told = self.told_all(&places);
        for told in &all_told {
            counts.recordings += 1;
            match told {
                Told::Right => counts.right += 1,
                Told::Indistinguishable => counts.indistinguishable += 1,
                Told::Wrong => {}
            }
        }
        for (told, _) in all_told.iter().zip(&self.outings).filter(|(_, found)| found.by_hand) {
            counts.by_hand += 1;
            counts.by_hand_stands += usize::from(*told == Told::Right);
        }
        if let Some(truth) = self.attendance() {
            counts.counted = 1;
            counts.exact = usize::from(truth == (audit.attendance.due, audit.attendance.attended));
        }
        // Where the coach's word stands against the order, it does.
        let by_hand = self.outings.iter().map(|found| found.by_hand);
        let laid: Vec<(Place, bool)> =
            places.iter().zip(by_hand).filter_map(|(at, by)| Some(((*at)?, by))).collect();
        // Back to the first session of the block before is going back a block.
        let goes_back = |from: &Place, to: &Place| {
            to.0 == from.0 && to.1 == SessionKey { block: from.1.block.wrapping_sub(1), number: 1 }
        };
        let is_against_the_order = |from: (Place, bool), to: (Place, bool)| {
            !from.1 && !to.1 && to.0 < from.0 && !goes_back(&from.0, &to.0)
        };
        counts.out_of_order = laid.windows(2).filter(|pair| is_against_the_order(pair[0], pair[1])).count();
        let (missed, named) = (self.missed(), named(audit));
        counts.missed = missed.len();
        counts.named = named.len();
        counts.named_truly = missed.intersection(&named).count();
        let mut others: Vec<Place> = named.difference(&missed).copied().collect();
        for (part, key) in missed.difference(&named) {
            let same_work = |(other_part, other): &Place| other_part == part && other.block == key.block;
            if let Some(at) = others.iter().position(same_work) {
                others.swap_remove(at);
                counts.named_beside += 1;
                continue;
            }
            let here = Some((*part, *key));
            let mut on_it = (0..places.len()).filter(|&at| places[at] == here);
            if on_it.clone().next().is_some() && on_it.all(|at| all_told[at] == Told::Indistinguishable) {
                counts.unnamed_by_facts += 1;
            }
        }
        counts
    }

    /// How each recording was laid. Two stories are indistinguishable as wholes: only where the one found needs no more
    /// missed, repeated and moved sessions than the true one are single recordings excused.
    pub(crate) fn told_all(&self, places: &[Option<Place>]) -> Vec<Told> {
        let truth: Vec<Option<Place>> =
            self.outings.iter().map(|found| found.follows.map(|key| (found.part, key))).collect();
        let is_simple = self.needed(places) <= self.needed(&truth);
        let told = places.iter().enumerate().map(|(at, place)| match self.told(at, *place) {
            Told::Indistinguishable if !is_simple => Told::Wrong,
            told => told,
        });
        told.collect()
    }

    /// Missed, repeated and moved sessions that a story needs: planned days that passed without their session, sessions
    /// done again, and sessions later or earlier against their day than the one before.
    fn needed(&self, places: &[Option<Place>]) -> usize {
        let laid: Vec<(Place, NaiveDate)> = (places.iter().zip(&self.outings))
            .filter_map(|(place, found)| Some(((*place)?, found.outing.day())))
            .collect();
        let mut seen = BTreeSet::new();
        let repeated = laid.iter().filter(|(place, _)| !seen.insert(*place)).count();
        let mut moved = 0;
        let mut missed = 0;
        for (index, part) in self.made.parts.iter().enumerate() {
            let of_part = || laid.iter().filter(|((part, _), _)| *part == index);
            let newest = of_part().map(|((_, key), _)| *key).max();
            let sessions = part.squad.plan.sessions();
            let due = sessions[..part.squad.sessions_due].iter();
            let has_passed =
                |key: &&SessionKey| part.is_dated() || newest.is_some_and(|newest| **key < newest);
            missed += due.filter(has_passed).filter(|key| !seen.contains(&(index, **key))).count();
            if part.is_dated() {
                let mut before = 0;
                for ((_, key), day) in of_part() {
                    let off = days_off(part, *key, *day);
                    moved += usize::from(off != before);
                    before = off;
                }
            }
        }
        missed + repeated + moved
    }

    /// How a recording was laid. The facts fit both stories equally where
    ///
    /// - both sessions ask for the same work, and the recording is no farther from the day of the one found than from
    ///   the true one's, or there are no days;
    /// - a session that was only walked, or run in one go where several reps were asked, was not on its day or has
    ///   another recording, and was taken for a walk or run off the plan;
    /// - a walk or run off the plan was on the very day of a session that has no other recording on that day, and was
    ///   taken for it.
    pub(crate) fn told(&self, at: usize, place: Option<Place>) -> Told {
        let found = &self.outings[at];
        let truth = found.follows.map(|key| (found.part, key));
        let off = |(part, key): Place| days_off(&self.made.parts[part], key, found.outing.day());
        let fits_both = match (truth, place) {
            _ if truth == place => return Told::Right,
            (Some(truth), Some(place)) if (truth.0, truth.1.block) == (place.0, place.1.block) => {
                !self.made.parts[truth.0].is_dated() || off(place).abs() <= off(truth).abs()
            }
            (Some(truth), None) => {
                let reps = self.made.parts[truth.0].plan.blocks[truth.1.block]
                    .session(truth.1.number as u32)
                    .intervals
                    .iter();
                let reps = reps.filter(|interval| interval.gait == Gait::Run).count();
                let runs = found.outing.bouts.iter().filter(|bout| bout.kind == Kind::Run).count();
                let others = self.outings.iter().filter(|other| other.is(truth)).count() > 1;
                (runs == 0 || (runs == 1 && reps > 1)) && (others || !self.is_on_day(at))
            }
            (None, Some(place)) => {
                let dated = self.made.parts[place.0].is_dated();
                let same_day = |other: &&FoundOuting| other.outing.day() == found.outing.day();
                let another = self.outings.iter().filter(same_day).any(|other| other.is(place));
                dated && !another && self.delays(at).contains(&off(place))
            }
            _ => false,
        };
        if fits_both { Told::Indistinguishable } else { Told::Wrong }
    }

    /// Whether a recording was on the day of its session, or as late as the one before or after it.
    fn is_on_day(&self, at: usize) -> bool {
        let found = &self.outings[at];
        let dated = self.made.parts[found.part].is_dated();
        let off = |key| days_off(&self.made.parts[found.part], key, found.outing.day());
        dated && found.follows.is_some_and(|key| self.delays(at).contains(&off(key)))
    }

    /// Days that the plan may be late around a recording: none, or as many as with the session before and after it.
    fn delays(&self, at: usize) -> Vec<i64> {
        let late = |found: &FoundOuting| {
            found.follows.map(|key| days_off(&self.made.parts[found.part], key, found.outing.day()))
        };
        let before = self.outings[..at].iter().rev().find_map(late);
        let after = self.outings[at + 1..].iter().find_map(late);
        [Some(0), before, after].into_iter().flatten().collect()
    }
}

/// Days after the session's own day; negative before it.
fn days_off(part: &Part, key: SessionKey, day: NaiveDate) -> i64 {
    let index = part.squad.plan.sessions().iter().position(|session| *session == key);
    index.map_or(0, |index| (day - part.squad.plan.date(part.squad.start, index)).num_days())
}

/// Block and number of a laid session.
pub(crate) fn key(laid: &Laid) -> SessionKey {
    SessionKey { block: laid.session.block, number: laid.session.number as usize }
}

/// Where each recording was laid, in order of time.
pub(crate) fn places(audit: &AthleteAudit) -> Vec<Option<Place>> {
    let place = |role: &Role, plan: Option<usize>| match role {
        Role::Session(laid) => Some((plan?, key(laid))),
        _ => None,
    };
    audit.outings.iter().map(|outing| place(&outing.role, outing.plan)).collect()
}

/// The planned sessions that the audit calls missed.
fn named(audit: &AthleteAudit) -> BTreeSet<Place> {
    let missed = audit.planned.iter().filter(|(_, session)| session.due && !session.outcome.is_attended());
    missed
        .map(|(plan, session)| {
            let number = session.session.number as usize;
            (*plan, SessionKey { block: session.session.block, number })
        })
        .collect()
}

/// A season with a recording laid elsewhere, row by row; empty for the others.
pub(crate) fn told(season: &Season, score: &CalendarScore) -> String {
    let audit = season.whole_audit(score);
    let places = places(&audit);
    let mut text = String::new();
    let all_told = season.told_all(&places);
    if all_told.iter().all(|told| *told != Told::Wrong) {
        return text;
    }
    let starts: Vec<_> = season.made.parts.iter().map(|part| part.start).collect();
    let _ = writeln!(
        text,
        "\nseason {} {:?} starts {starts:?}",
        season.made.seed, season.made.parts[0].squad.plan.rhythm
    );
    let name = |(part, key): Place| {
        let label = &season.made.parts[part].squad.plan.blocks[key.block].label;
        format!("{part}{label}{}", key.number)
    };
    for (at, (found, place)) in season.outings.iter().zip(&places).enumerate() {
        let part = &season.made.parts[found.part];
        let off = |key| days_off(part, key, found.outing.day());
        let _ = writeln!(
            text,
            "{} {:13} {:16} true {:5} ({:3}) found {:5} ({:3}) {}{}",
            found.outing.day(),
            found.role.word(),
            found.deviation,
            found.follows.map_or("-".to_owned(), |key| name((found.part, key))),
            found.follows.map_or(0, off),
            place.map_or("-".to_owned(), name),
            place.map_or(0, |(_, key)| off(key)),
            if found.outing.resolvable { "" } else { "unresolvable " },
            match all_told[at] {
                Told::Right => "",
                Told::Indistinguishable => "~",
                Told::Wrong => "<<<",
            },
        );
    }
    text
}
