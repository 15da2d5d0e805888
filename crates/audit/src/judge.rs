//! From the sessions of a batch to the audit of every athlete.

use std::collections::BTreeMap;

use boutwise_season::{
    AthleteAudit, AthleteInput, Entry, LocalTime, LongestRun, Outing, PlanInUse, ZoneHints, audit_athlete,
    local_time,
};
use boutwise_track::{Clock, Status};
use chrono::{DateTime, NaiveDate, Utc};
use rayon::prelude::*;

use crate::batch::{Batch, Recorded};
use crate::rows::moment;
use crate::{Configuration, SeasonFiles};

/// A session with its place in time.
pub(crate) struct Placed<'a> {
    pub(crate) recorded: &'a Recorded,
    /// Its start; `None` for a recording without points.
    pub(crate) start: Option<(DateTime<Utc>, LocalTime)>,
}

/// One athlete with everything that was found.
pub(crate) struct Judged<'a> {
    pub(crate) name: String,
    pub(crate) plans: Vec<PlanInUse<'a>>,
    pub(crate) journal: Vec<&'a Entry>,
    /// Every session that counts.
    pub(crate) sessions: Vec<Placed<'a>>,
    /// Those whose date can be believed, by index into `sessions`; the audit counts by them.
    pub(crate) dated: Vec<usize>,
    pub(crate) outings: Vec<Outing>,
    pub(crate) audit: AthleteAudit,
}

/// All athletes, and the day from which they were judged.
pub(crate) struct Judgement<'a> {
    pub(crate) athletes: Vec<Judged<'a>>,
    pub(crate) as_of: Option<NaiveDate>,
    /// What a reader should know about the audit as a whole.
    pub(crate) notes: Vec<String>,
}

/// Judges every athlete of a batch. Without `as_of`, today is the day of the newest recording with a date that can
/// be believed, so that a result never depends on when it was made.
pub(crate) fn judge<'a>(
    batch: &'a Batch,
    files: &'a SeasonFiles,
    configuration: &Configuration,
) -> Judgement<'a> {
    let mut by_athlete: BTreeMap<String, Vec<Placed<'a>>> = BTreeMap::new();
    for athlete in files.squad.iter().flat_map(|squad| &squad.athletes) {
        by_athlete.entry(athlete.name.clone()).or_default();
    }
    for file in batch.files.iter().filter(|file| file.status != Status::Ignored) {
        by_athlete.entry(file.athlete.clone()).or_default();
    }
    let placed: Vec<Placed<'a>> =
        batch.sessions.par_iter().map(|recorded| place(recorded, files, configuration)).collect();
    let newest = placed.iter().filter(|placed| placed.dated()).filter_map(Placed::day).max();
    for placed in placed {
        by_athlete.entry(placed.recorded.name.athlete.clone()).or_default().push(placed);
    }
    let as_of = configuration.as_of.or(newest);
    let names: Vec<&str> = by_athlete.keys().map(String::as_str).collect();
    let mut notes = files.squad.as_ref().map_or_else(Vec::new, |squad| squad.notes.clone());
    if let Some(squad) = &files.squad {
        let recorded: Vec<&str> = (by_athlete.iter())
            .filter(|(_, sessions)| !sessions.is_empty())
            .map(|(name, _)| name.as_str())
            .collect();
        notes.extend(squad.compare(recorded));
    }
    notes.extend(files.journal.notes.iter().cloned());
    notes.extend(files.journal.strangers(names));
    let athletes = by_athlete
        .into_par_iter()
        .map(|(name, sessions)| {
            judge_athlete(name, sessions, files, configuration, as_of.unwrap_or_default())
        })
        .collect();
    Judgement { athletes, as_of, notes }
}

fn place<'a>(recorded: &'a Recorded, files: &SeasonFiles, configuration: &Configuration) -> Placed<'a> {
    let start = recorded.session.start_ns.map(|start_ns| {
        let instant = moment(start_ns);
        let hints = ZoneHints {
            squad: files.athlete(&recorded.name.athlete).and_then(|athlete| athlete.time_zone.as_ref()),
            setting: configuration.zone(),
            file_offset_s: recorded.utc_offset_s,
            position_deg: recorded.first_position_deg,
        };
        (instant, local_time(instant, &hints))
    });
    Placed { recorded, start }
}

impl Placed<'_> {
    /// The local day.
    pub(crate) fn day(&self) -> Option<NaiveDate> {
        self.start.map(|(_, local)| local.day())
    }

    /// What sessions are sorted by: time, then file.
    fn order(&self) -> (Option<DateTime<Utc>>, &str, u64) {
        let name = &self.recorded.name;
        (self.start.map(|(utc, _)| utc), &name.file, name.session)
    }

    /// Whether its date can be believed.
    fn dated(&self) -> bool {
        self.start.is_some() && self.recorded.clock == Clock::Plausible
    }

    fn outing(&self) -> Option<Outing> {
        let (start_utc, local) = self.start.filter(|_| self.dated())?;
        let session = &self.recorded.session;
        Some(Outing {
            file: self.recorded.name.file.clone(),
            session: self.recorded.name.session as usize,
            start_utc,
            start_local: local.time,
            resolvable: session.resolvable,
            doubt: session.doubt.clone(),
            confidence: session.confidence,
            vehicles: session.vehicles.clone(),
            breaks_off: self.recorded.breaks_off,
            bouts: session.bouts.clone(),
            pace_drift_pct: session.pace_drift.map(|drift| drift.drift_pct),
            heart_rate_fall_60s_bpm: session.heart_rate_fall_60s_bpm,
            heart_rate: self.recorded.heart_rate.clone(),
        })
    }
}

fn judge_athlete<'a>(
    name: String,
    mut sessions: Vec<Placed<'a>>,
    files: &'a SeasonFiles,
    configuration: &Configuration,
    as_of: NaiveDate,
) -> Judged<'a> {
    sessions.sort_by(|a, b| a.order().cmp(&b.order()));
    let (dated, outings): (Vec<usize>, Vec<Outing>) =
        sessions.iter().enumerate().filter_map(|(index, placed)| Some((index, placed.outing()?))).unzip();
    let plans = files.plans_of(&name);
    let journal: Vec<&Entry> = files.journal.of(&name).collect();
    let audit = audit_athlete(&AthleteInput {
        outings: &outings,
        plans: &plans,
        athlete: files.athlete(&name),
        journal: &journal,
        as_of,
        settings: &configuration.season,
    });
    Judged { name, plans, journal, sessions, dated, outings, audit }
}

impl Judged<'_> {
    /// The longest unbroken run of each session up to a day, the longest first.
    pub(crate) fn longest_runs(&self, until: Option<NaiveDate>) -> Vec<LongestRun> {
        let counted = self.outings.iter().filter(|outing| until.is_none_or(|until| outing.day() <= until));
        let mut runs: Vec<LongestRun> = counted.filter_map(LongestRun::of).collect();
        runs.sort_by(|a, b| {
            b.duration_s
                .total_cmp(&a.duration_s)
                .then_with(|| (a.day, &a.file, a.session).cmp(&(b.day, &b.file, b.session)))
        });
        runs
    }
}
