//! From the sessions of a batch to the audit of every athlete.

use std::borrow::Cow;
use std::collections::{BTreeMap, HashSet};

use boutwise_bouts::{AdherenceSettings, Event, PaceDrift};
use boutwise_season::{
    AthleteAudit, AthleteDay, AthleteInput, ClockInDoubt, Correction, Entry, LocalTime, LongestRun, Outing,
    OutingAudit, PlanInUse, RecordingDay, SquadDay, Verdict, Zone, ZoneHints, ZoneSource, audit_athlete,
    local_time, plan_steps,
};
use boutwise_track::{Clock, Fingerprint, Status};
use chrono::{DateTime, NaiveDate, Utc};
use rayon::prelude::*;

use crate::batch::{Batch, Recorded};
use crate::by_hand;
use crate::overlap::of_several;
use crate::rows::moment;
use crate::said::Said;
use crate::{Configuration, SeasonFiles};

/// A session with its place in time.
pub(crate) struct Placed<'a> {
    pub(crate) recorded: &'a Recorded,
    /// Its start; `None` for a recording without points.
    pub(crate) start: Option<(DateTime<Utc>, LocalTime)>,
    /// What the coach says of it.
    pub(crate) by_hand: Option<Correction>,
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
    /// Why the recordings are taken for several people's, with how to mend it: then nothing is judged by them.
    pub(crate) of_several: Option<String>,
}

/// All athletes, and the day from which they were judged.
pub(crate) struct Judgement<'a> {
    pub(crate) athletes: Vec<Judged<'a>>,
    pub(crate) day: SquadDay,
    /// What must be said before anything else.
    pub(crate) warnings: Vec<String>,
    /// What a reader should know about the audit as a whole.
    pub(crate) notes: Vec<String>,
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
        if let Some(athlete) = &file.athlete {
            by_athlete.entry(athlete.clone()).or_default();
        }
    }
    let placed: Vec<Placed<'a>> =
        batch.sessions.par_iter().map(|recorded| place(recorded, files, configuration, None)).collect();
    let usual = usual_zone(&placed);
    let mut placed: Vec<Placed<'a>> = placed
        .into_iter()
        .map(|placed| match placed.start {
            Some((_, local)) if local.source == ZoneSource::Assumed => {
                place(placed.recorded, files, configuration, usual.as_ref())
            }
            _ => placed,
        })
        .collect();
    let rules = &configuration.settings.rules;
    let (dated, days): (Vec<usize>, Vec<RecordingDay<'_>>) = placed
        .iter()
        .enumerate()
        .filter_map(|(index, placed)| Some((index, placed.recording_day()?)))
        .unzip();
    let day = SquadDay::find(&days, configuration.as_of, rules);
    day.check(&files.journal, rules)?;
    let mut warnings = day.left_out(&files.journal.entries);
    for doubt in &day.clocks_in_doubt {
        let placed = &mut placed[dated[doubt.recording]];
        warnings.push(format!("{}: {}", placed.recorded.name.file, doubt.text()));
        placed.clock_in_doubt = Some(*doubt);
    }
    for placed in placed {
        by_athlete.entry(placed.recorded.name.athlete.clone()).or_default().push(placed);
    }
    let mut notes = files.squad.as_ref().map_or_else(Vec::new, |squad| squad.notes.clone());
    if let Some(squad) = &files.squad {
        let recorded: Vec<&str> = (by_athlete.iter())
            .filter(|(_, sessions)| !sessions.is_empty())
            .map(|(name, _)| name.as_str())
            .collect();
        notes.extend(squad.compare(recorded));
    }
    notes.extend(files.journal.notes.iter().cloned());
    notes.extend(files.corrections.notes.iter().cloned());
    notes.extend(owner_notes(batch, files));
    let athletes: Vec<Judged<'a>> = by_athlete
        .into_par_iter()
        .map(|(name, sessions)| judge_athlete(name, sessions, files, configuration, &day))
        .collect();
    notes.extend(by_hand::notes(batch, &athletes, files));
    notes.extend(start_notes(&athletes));
    notes.extend(plan_steps(
        athletes.iter().map(|judged| (judged.name.as_str(), &judged.audit, judged.plans.as_slice())),
    ));
    let overlaps = athletes
        .iter()
        .filter_map(|judged| Some(format!("overlap: {}: {}", judged.name, judged.of_several.as_deref()?)));
    warnings.extend(overlaps);
    Ok(Judgement { athletes, day, warnings, notes })
}

/// What is odd about the owners file: files that are not there, and how many rows are not sure.
fn owner_notes(batch: &Batch, files: &SeasonFiles) -> Vec<String> {
    let Some(owners) = &files.owners else { return Vec::new() };
    let mut notes = owners.notes.clone();
    let there: HashSet<&str> = batch.files.iter().map(|file| file.file.as_str()).collect();
    let absent: Vec<&str> =
        owners.files.iter().map(|(file, _)| file.as_str()).filter(|file| !there.contains(file)).collect();
    if let Some(first) = absent.first() {
        let more = match absent.len() {
            1 => String::new(),
            count => format!(" and {} more", count - 1),
        };
        notes.push(format!("in the owners file, but not among the recordings: {first}{more}"));
    }
    let unsure =
        owners.files.iter().filter(|(_, rows)| rows.iter().any(|row| row.sure == Some(false))).count();
    if unsure > 0 {
        notes.push(format!(
            "{unsure} files whose owner is not sure count for whom the owners file names: look at them"
        ));
    }
    notes
}

/// A sentence for each start that falls on a day that its plan does not name, once for all who have it.
fn start_notes(athletes: &[Judged<'_>]) -> Vec<String> {
    let mut starts: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    for judged in athletes {
        for used in &judged.plans {
            if let Some(note) = used.start.and_then(|start| used.plan.start_note(start)) {
                starts.entry(note).or_default().push(&judged.name);
            }
        }
    }
    starts.into_iter().map(|(note, names)| format!("{}: {note}", names.join(", "))).collect()
}

/// The zone that most recordings have by the squad file, the settings or their place; the first by name of equals.
fn usual_zone(placed: &[Placed<'_>]) -> Option<Zone> {
    let mut zones: BTreeMap<String, (usize, Zone)> = BTreeMap::new();
    for (_, local) in placed.iter().filter_map(|placed| placed.start.as_ref()) {
        if let Some(zone) = local.zone.filter(|zone| matches!(zone, Zone::Named(_))) {
            zones.entry(zone.to_string()).or_insert((0, zone)).0 += 1;
        }
    }
    let most = zones.values().map(|(count, _)| *count).max()?;
    zones.into_values().find(|(count, _)| *count == most).map(|(_, zone)| zone)
}

fn place<'a>(
    recorded: &'a Recorded,
    files: &'a SeasonFiles,
    configuration: &Configuration,
    others: Option<&Zone>,
) -> Placed<'a> {
    let start = recorded.session.start_ns.map(|start_ns| {
        let instant = moment(start_ns);
        let hints = ZoneHints {
            squad: files.athlete(&recorded.name.athlete).and_then(|athlete| athlete.time_zone.as_ref()),
            setting: configuration.zone(),
            file_offset_s: recorded.utc_offset_s,
            position_deg: recorded.first_position_deg,
            others,
        };
        (instant, local_time(instant, &hints))
    });
    let by_hand = files.corrections.of_file(&recorded.name.file, recorded.name.session as usize);
    Placed { recorded, start, by_hand, clock_in_doubt: None }
}

impl Placed<'_> {
    /// What was said of the session alone, of its time too.
    pub(crate) fn said(&self) -> impl Iterator<Item = Said> {
        let session = self.recorded.name.session;
        let of_time = self.start.and_then(|(_, local)| local.note());
        let of_time = of_time.map(|text| Said::of_session(session, "time zone", text));
        let doubt =
            self.clock_in_doubt.map(|doubt| Said::of_session(session, "clock in doubt", doubt.text()));
        self.recorded.said.iter().cloned().chain(of_time).chain(doubt)
    }

    /// The local day.
    pub(crate) fn day(&self) -> Option<NaiveDate> {
        self.start.map(|(_, local)| local.day())
    }

    /// Its day, where its clock was set.
    fn recording_day(&self) -> Option<RecordingDay<'_>> {
        let (_, local) = self.start.filter(|_| self.recorded.clock == Clock::Plausible && self.is_used())?;
        Some(RecordingDay {
            athlete: &self.recorded.name.athlete,
            day: local.day(),
            device_key: self.recorded.device_key,
            is_confirmed: self.by_hand.as_ref().is_some_and(Correction::confirms_day),
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

    /// Whether it counts, as far as the coach says.
    pub(crate) fn is_used(&self) -> bool {
        !self.by_hand.as_ref().is_some_and(Correction::is_unused)
    }

    fn outing(&self) -> Option<Outing> {
        let (start_utc, local) = self.start.filter(|_| self.dated() && self.is_used())?;
        let session = &self.recorded.session;
        Some(Outing {
            file: self.recorded.name.file.clone(),
            session: self.recorded.name.session as usize,
            start_utc,
            start_local: local.time,
            resolvable: session.resolvable,
            doubt: session.doubt.clone(),
            confidence: session.confidence,
            bounds: session.bounds,
            vehicles: session.vehicles.clone(),
            breaks_off: self.recorded.breaks_off,
            bouts: session.bouts.clone(),
            // A drift that may as well be none is no evidence.
            pace_drift_pct: session.pace_drift.filter(PaceDrift::is_clear).map(|drift| drift.drift_pct),
            heart_rate_fall_60s_bpm: session.heart_rate_fall_60s_bpm,
            heart_rate: self.recorded.heart_rate.clone(),
            is_overlapped: self.recorded.is_overlapped,
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
    let fingerprints: Vec<&Fingerprint> = sessions
        .iter()
        .filter(|placed| placed.is_used())
        .map(|placed| &placed.recorded.fingerprint)
        .collect();
    let of_several = of_several(&fingerprints, &configuration.settings.rules).map(|why| {
        format!(
            "{why}, so they are of several people and nobody is judged by them; to mend: give each person a folder of \
             their own, or name the folders in the squad file, or let boutwise assign FOLDER propose whose each file is"
        )
    });
    let (dated, outings): (Vec<usize>, Vec<Outing>) = if of_several.is_some() {
        (Vec::new(), Vec::new())
    } else {
        sessions.iter().enumerate().filter_map(|(index, placed)| Some((index, placed.outing()?))).unzip()
    };
    let plans = if of_several.is_some() { Vec::new() } else { files.plans_of(&name) };
    let journal: Vec<&Entry> = files.journal.of(&name, files.athlete(&name));
    let names: Vec<&str> =
        files.athlete(&name).map_or_else(|| vec![name.as_str()], |row| row.names().collect());
    let own_files = sessions.iter().map(|placed| placed.recorded.name.file.as_str());
    let corrections = files.corrections.of(&names, own_files);
    let day = squad_day.of(journal.iter().copied());
    let mut audit = audit_athlete(&AthleteInput {
        outings: &outings,
        plans: &plans,
        athlete: files.athlete(&name),
        journal: &journal,
        corrections: &corrections,
        // Without a day there is nothing to judge: no recording, no note.
        as_of: day.day.unwrap_or_default(),
        settings: &configuration.settings,
    });
    if let Some(why) = &of_several {
        // A sign in the journal is the person's own, whosever the recordings are.
        if audit.proposal.verdict != Some(Verdict::Stop) {
            audit.proposal.verdict = None;
            audit.coach_decision = None;
            audit.no_run_before = None;
            audit.proposal.reasons.retain(|reason| !reason.starts_with("no plan"));
        }
        audit.proposal.reasons.insert(0, format!("overlap: {why}"));
    }
    Judged { name, plans, journal, sessions, dated, outings, day, audit, of_several }
}

impl Judged<'_> {
    /// What the season knows of a session, by its place; `None` where its date can't be believed.
    pub(crate) fn audited(&self, session: usize) -> Option<&OutingAudit> {
        let outing = self.dated.iter().position(|&dated| dated == session)?;
        self.audit.outings.iter().find(|audited| audited.outing == outing)
    }

    /// What happened in a session, by its place; one whose date can't be believed lies on no plan.
    pub(crate) fn events(&self, session: usize) -> Cow<'_, [Event]> {
        if let Some(audited) = self.audited(session) {
            return Cow::Borrowed(&audited.events);
        }
        let recorded = self.sessions[session].recorded;
        Cow::Owned(recorded.session.read(&[], recorded.breaks_off, &AdherenceSettings::default()).events)
    }

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
