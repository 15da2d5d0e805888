//! From the sessions of a batch to the audit of every athlete.

use std::collections::BTreeMap;

use boutwise_season::{
    AthleteAudit, AthleteDay, AthleteInput, ClockInDoubt, Entry, LocalTime, LongestRun, Outing, PlanInUse,
    RecordingDay, SquadDay, ZoneHints, audit_athlete, local_time,
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
    /// Where its date may be wrong though its clock was set.
    pub(crate) clock_in_doubt: Option<ClockInDoubt>,
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
    /// The day from which the athlete was judged.
    pub(crate) day: AthleteDay,
    pub(crate) audit: AthleteAudit,
}

/// All athletes, and the day from which they were judged.
pub(crate) struct Judgement<'a> {
    pub(crate) athletes: Vec<Judged<'a>>,
    pub(crate) day: SquadDay,
    /// What a reader should know about the audit as a whole.
    pub(crate) notes: Vec<String>,
    /// How many of the notes must be heard before anything else; they stand first.
    pub(crate) said_first: usize,
}

/// Judges every athlete of a batch, as of the day that is named or that [`SquadDay`] finds.
///
/// # Errors
/// Where the journal holds a day too far after the newest recording.
pub(crate) fn judge<'a>(
    batch: &'a Batch,
    files: &'a SeasonFiles,
    configuration: &Configuration,
) -> Result<Judgement<'a>, boutwise_season::Error> {
    let mut by_athlete: BTreeMap<String, Vec<Placed<'a>>> = BTreeMap::new();
    for athlete in files.squad.iter().flat_map(|squad| &squad.athletes) {
        by_athlete.entry(athlete.name.clone()).or_default();
    }
    for file in batch.files.iter().filter(|file| file.status != Status::Ignored) {
        by_athlete.entry(file.athlete.clone()).or_default();
    }
    let mut placed: Vec<Placed<'a>> =
        batch.sessions.par_iter().map(|recorded| place(recorded, files, configuration)).collect();
    let rules = &configuration.season.rules;
    let (dated, days): (Vec<usize>, Vec<RecordingDay<'_>>) = placed
        .iter()
        .enumerate()
        .filter_map(|(index, placed)| Some((index, placed.recording_day()?)))
        .unzip();
    let day = SquadDay::find(&days, configuration.as_of, rules);
    day.check(&files.journal, rules)?;
    let mut notes = day.left_out(&files.journal.entries);
    for doubt in &day.clocks_in_doubt {
        let placed = &mut placed[dated[doubt.recording]];
        notes.push(format!("{}: {}", placed.recorded.name.file, doubt.text()));
        placed.clock_in_doubt = Some(*doubt);
    }
    let said_first = notes.len();
    for placed in placed {
        by_athlete.entry(placed.recorded.name.athlete.clone()).or_default().push(placed);
    }
    let names: Vec<&str> = by_athlete.keys().map(String::as_str).collect();
    if let Some(squad) = &files.squad {
        notes.extend(squad.notes.iter().cloned());
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
        .map(|(name, sessions)| judge_athlete(name, sessions, files, configuration, &day))
        .collect();
    Ok(Judgement { athletes, day, notes, said_first })
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
    Placed { recorded, start, clock_in_doubt: None }
}

impl Placed<'_> {
    /// Its day, where its clock was set.
    fn recording_day(&self) -> Option<RecordingDay<'_>> {
        let (_, local) = self.start.filter(|_| self.recorded.clock == Clock::Plausible)?;
        Some(RecordingDay {
            athlete: &self.recorded.name.athlete,
            day: local.day(),
            device_key: self.recorded.device_key,
            is_confirmed: false,
        })
    }

    /// What sessions are sorted by: time, then file.
    fn order(&self) -> (Option<DateTime<Utc>>, &str, u64) {
        let name = &self.recorded.name;
        (self.start.map(|(utc, _)| utc), &name.file, name.session)
    }

    /// Whether its date can be believed.
    fn dated(&self) -> bool {
        let is_left_out = self.clock_in_doubt.is_some_and(|doubt| doubt.is_left_out);
        self.start.is_some() && self.recorded.clock == Clock::Plausible && !is_left_out
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
    squad_day: &SquadDay,
) -> Judged<'a> {
    sessions.sort_by(|a, b| a.order().cmp(&b.order()));
    let (dated, outings): (Vec<usize>, Vec<Outing>) =
        sessions.iter().enumerate().filter_map(|(index, placed)| Some((index, placed.outing()?))).unzip();
    let plans = files.plans_of(&name);
    let journal: Vec<&Entry> = files.journal.of(&name).collect();
    let day = squad_day.of(journal.iter().copied());
    let audit = audit_athlete(&AthleteInput {
        outings: &outings,
        plans: &plans,
        athlete: files.athlete(&name),
        journal: &journal,
        // Without a day there is nothing to judge: no recording, no note.
        as_of: day.day.unwrap_or_default(),
        settings: &configuration.season,
    });
    Judged { name, plans, journal, sessions, dated, outings, day, audit }
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
