//! From the sessions of a batch to the audit of every athlete.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use boutwise_bouts::{AdherenceSettings, Event, PaceDrift, Session};
use boutwise_report::{CarriedCells, Trace};
use boutwise_season::{
    AthleteAudit, AthleteDay, AthleteInput, ClockInDoubt, Correction, Entry, HeartRate, LocalTime,
    LongestRun, Outing, OutingAudit, Owner, PlanInUse, RecordingDay, Rules, SquadDay, Verdict, Zone,
    ZoneHints, ZoneSource, audit_athlete, folded_name, local_time,
};
use boutwise_track::{Clock, Status};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use crate::batch::{Batch, FileRead, Recorded};
use crate::by_hand;
use crate::measuring::Measured;
use crate::rows::SessionName;
use crate::said::Said;
use crate::{Configuration, Error, Pseudonyms, SeasonFiles};

/// A session with its place in time.
pub(crate) struct Placed {
    pub(crate) name: SessionName,
    pub(crate) session: Session,
    /// Heart rate while running.
    pub(crate) heart_rate: Option<HeartRate>,
    pub(crate) trace: Trace,
    /// Its start; `None` for a recording without points.
    pub(crate) start: Option<(DateTime<Utc>, LocalTime)>,
    /// What the coach says of it.
    pub(crate) by_hand: Option<Correction>,
    /// Where its date may be wrong though its clock was set.
    pub(crate) clock_in_doubt: Option<ClockInDoubt>,
    /// Files with a recording of the athlete that shares time with it.
    pub(crate) overlaps_file: Vec<String>,
    /// Whether one of them counts in its place.
    pub(crate) is_overlapped: bool,
    /// The file of the earlier recording that it may be a copy of.
    may_be_copy_of: Option<String>,
    rank: u32,
    clock: Clock,
    breaks_off: bool,
}

/// One athlete with everything that was found.
pub(crate) struct Judged<'a> {
    pub(crate) name: String,
    pub(crate) carried: CarriedCells,
    pub(crate) plans: Vec<PlanInUse<'a>>,
    pub(crate) journal: Vec<&'a Entry>,
    /// Every session that counts.
    pub(crate) sessions: Vec<Placed>,
    /// Those whose date can be believed, by index into `sessions`; the audit counts by them.
    pub(crate) dated: Vec<usize>,
    pub(crate) outings: Vec<Outing>,
    /// Whether the recordings cannot all be one person's, so that nobody is judged by them.
    pub(crate) is_of_several: bool,
    /// The day from which the athlete was judged.
    pub(crate) day: AthleteDay,
    pub(crate) audit: AthleteAudit,
}

/// One athlete before being judged.
pub(crate) struct Member {
    pub(crate) name: String,
    /// The sessions that count, by index.
    pub(crate) sessions: Vec<usize>,
    /// The day from which the athlete is judged.
    pub(crate) day: AthleteDay,
}

/// What must be known of all before one can be judged.
pub(crate) struct Squad {
    /// The athletes, in the order of names.
    pub(crate) athletes: Vec<Member>,
    /// The day from which they are judged.
    pub(crate) day: SquadDay,
    /// The newest day of all, that of clocks too that were not set.
    pub(crate) newest_day: Option<NaiveDate>,
    /// Recordings whose date may be wrong though their clock was set, by index of session.
    doubts: HashMap<usize, ClockInDoubt>,
    /// What must be said before anything else.
    pub(crate) warnings: Vec<String>,
    /// What a reader should know about the audit as a whole.
    pub(crate) notes: Vec<String>,
}

impl Squad {
    /// Finds what must be known of all. A recording whose time zone nothing tells gets that of the athlete's others, or else of
    /// the squad's.
    ///
    /// # Errors
    /// Where the journal holds a day too far after the newest recording.
    pub(crate) fn of(
        batch: &mut Batch<'_>,
        files: &SeasonFiles,
        configuration: &Configuration,
    ) -> Result<Self, boutwise_season::Error> {
        share_usual_zones(batch, files, configuration);
        let batch = &*batch;
        // Of a part nobody knows who else is there.
        let whole_squad = files.squad.as_ref().filter(|_| !batch.is_part());
        let mut by_athlete: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        for athlete in whole_squad.iter().flat_map(|squad| &squad.athletes) {
            by_athlete.entry(&athlete.name).or_default();
        }
        for file in batch.files.iter().filter(|file| file.status != Status::Ignored) {
            if let Some(athlete) = batch.file_athlete(file) {
                by_athlete.entry(athlete).or_default();
            }
        }
        for (index, recorded) in batch.counting() {
            by_athlete.entry(batch.athlete(recorded)).or_default().push(index);
        }
        let rules = &configuration.settings.rules;
        let (dated, days): (Vec<usize>, Vec<RecordingDay<'_>>) = (batch.counting())
            .filter_map(|(index, recorded)| Some((index, recording_day(batch, recorded, files)?)))
            .unzip();
        let day = SquadDay::find(&days, configuration.as_of, rules);
        day.check(&files.journal, rules)?;
        let doubts = day.clocks_in_doubt.iter().map(|doubt| (dated[doubt.recording], *doubt)).collect();
        let mut notes = files.squad.as_ref().map_or_else(Vec::new, |squad| squad.notes.clone());
        if let Some(squad) = whole_squad {
            let recorded = by_athlete.iter().filter(|(_, sessions)| !sessions.is_empty());
            notes.extend(squad.compare(recorded.map(|(name, _)| *name)));
            notes.extend(batch.contested.iter().map(|(names, count)| contested_text(names, *count)));
            notes.extend(batch.elsewhere.iter().map(|(name, count)| elsewhere_text(name, *count)));
        }
        notes.extend(files.journal.notes.iter().cloned());
        notes.extend(files.corrections.notes.iter().cloned());
        if !batch.is_part() {
            notes.extend(by_hand::of_all(batch, by_athlete.keys().copied(), files));
            notes.extend(owner_notes(batch, files));
        }
        if files.squad.is_none() {
            // Whom corrections alone name is told with the nearest name.
            let is_told = |name: &str| {
                let mut rows = batch.newcomers.iter().map(|&row| &files.corrections.rows[row]);
                rows.any(|row| row.athlete.as_deref() == Some(name))
            };
            notes.extend(alike_names(by_athlete.keys().copied().filter(|name| !is_told(name))));
        }
        notes.extend(slip_notes(batch));
        let day_of = |(_, recorded): (usize, &Recorded)| recorded.start.map(|(_, local)| local.day());
        let newest_day = batch.counting().filter_map(day_of).max();
        let athletes = by_athlete.into_iter().map(|(name, sessions)| Member {
            name: name.to_owned(),
            sessions,
            day: day.of(files.journal.of(name, files.athlete(name))),
        });
        let mut squad =
            Self { athletes: athletes.collect(), day, newest_day, doubts, warnings: Vec::new(), notes };
        squad.warnings = squad.left_out(files, &files.journal.entries);
        squad.warnings.extend(squad.day.of_groups_since(&files.journal.entries));
        squad.warnings.extend(owners_at_odds(batch, files));
        squad.warnings.extend(squad.said_of_clocks(batch));
        Ok(squad)
    }

    /// What the day that was named leaves out of the journal, with the names of the squad file, else of the folders.
    fn left_out<'a>(
        &'a self,
        files: &'a SeasonFiles,
        entries: impl IntoIterator<Item = &'a Entry>,
    ) -> Vec<String> {
        let of_folder = |name: &str| {
            let folded = folded_name(name);
            self.athletes.iter().map(|member| member.name.as_str()).find(|known| folded_name(known) == folded)
        };
        let known = |name: &'a str| {
            let of_squad = files.athlete(name).map(|athlete| athlete.name.as_str());
            of_squad.or_else(|| of_folder(name)).unwrap_or(name)
        };
        self.day.left_out(entries, known)
    }

    /// A sentence for each recording whose clock may be wrong, by day.
    fn said_of_clocks(&self, batch: &Batch<'_>) -> Vec<String> {
        let mut doubts: Vec<(&usize, &ClockInDoubt)> = self.doubts.iter().collect();
        doubts.sort_by_key(|(session, doubt)| (doubt.day, **session));
        let said = doubts.into_iter().map(|(session, doubt)| {
            format!("{}: {}", batch.file_name(batch.sessions[*session].file as usize), doubt.text())
        });
        said.collect()
    }

    /// Says anew what has a day in it, once all days were moved; those of the squad as a whole are no days of anybody any
    /// more. `by` tells by how much a session was moved.
    pub(crate) fn say_of_days(
        &mut self,
        batch: &Batch<'_>,
        files: &SeasonFiles,
        by: impl Fn(usize) -> Option<TimeDelta>,
        codes: &Pseudonyms,
    ) {
        for (session, doubt) in &mut self.doubts {
            doubt.day += by(*session).unwrap_or_default();
        }
        self.warnings = owners_at_odds(batch, files);
        // From here on the day that was named is another for each.
        let named = self.day.day.take();
        for member in &self.athletes {
            self.day.day = named.map(|day| day + codes.moved_by(&member.name));
            let left_out = self.left_out(files, files.journal.of(&member.name, None));
            self.warnings.extend(left_out);
        }
        self.warnings.extend(self.said_of_clocks(batch));
        (self.day.day, self.newest_day) = (None, None);
    }

    /// The title of the plan that all follow; `None` where there is none, or several.
    pub(crate) fn plan_title<'a>(&self, batch: &Batch<'_>, files: &'a SeasonFiles) -> Option<&'a str> {
        let judged = self.athletes.iter().filter(|member| batch.of_several(&member.name).is_none());
        let plans = judged.flat_map(|member| files.plans_of(&member.name));
        let titles: BTreeSet<&str> = plans.map(|used| used.plan.title.as_str()).collect();
        titles.first().copied().filter(|_| titles.len() == 1)
    }

    /// What was said of a session by its time.
    pub(crate) fn said_of_time(&self, index: usize, recorded: &Recorded) -> impl Iterator<Item = Said> {
        let session = u64::from(recorded.session);
        let of_time = recorded.start.and_then(|(_, local)| local.note());
        let of_time = of_time.map(|text| Said::of_session(session, "time zone", text));
        let doubt = self.doubts.get(&index);
        let doubt = doubt.map(|doubt| Said::of_session(session, "clock in doubt", doubt.text()));
        of_time.into_iter().chain(doubt)
    }

    /// Judges an athlete by the sessions that count.
    pub(crate) fn judge<'a>(
        &self,
        athlete: &Member,
        batch: &Batch<'_>,
        files: &'a SeasonFiles,
        configuration: &Configuration,
    ) -> Result<Judged<'a>, Error> {
        let Member { name, sessions, day } = athlete;
        let placed = |&index: &usize| self.place(index, name, batch, files);
        let sessions: Vec<Placed> = sessions.iter().map(placed).collect::<Result<_, Error>>()?;
        let of_several = batch.of_several(name).map(several_text);
        Ok(judge_athlete(name, sessions, of_several, files, configuration, *day))
    }

    fn place(
        &self,
        index: usize,
        athlete: &str,
        batch: &Batch<'_>,
        files: &SeasonFiles,
    ) -> Result<Placed, Error> {
        let recorded = &batch.sessions[index];
        let Measured { session, heart_rate, trace } = batch.measured(recorded)?;
        let file = batch.file_name(recorded.file as usize);
        Ok(Placed {
            name: SessionName {
                athlete: athlete.into(),
                file: file.into(),
                session: u64::from(recorded.session),
            },
            session,
            heart_rate,
            trace,
            start: recorded.start,
            by_hand: files.corrections.of_file(file, recorded.session as usize),
            clock_in_doubt: self.doubts.get(&index).copied(),
            overlaps_file: batch.overlaps(recorded),
            is_overlapped: recorded.is_overlapped,
            may_be_copy_of: batch.may_be_copy_of(recorded),
            rank: recorded.rank,
            clock: recorded.clock,
            breaks_off: recorded.breaks_off,
        })
    }
}

/// Why nobody is judged by recordings that cannot all be one person's, and how to mend it.
pub(crate) fn several_text(why: &str) -> String {
    format!(
        "{why}, so they are of several people and nobody is judged by them; to mend: give each person a folder of \
         their own, or name the folders in the squad file, or let boutwise assign FOLDER propose whose each file is"
    )
}

/// What is said of files that the folders of several athletes name equally exactly.
fn contested_text([first, next]: &[String; 2], count: usize) -> String {
    format!(
        "{first} and {next}: their folders in the squad file name {} equally well, counted for {first}, whose row comes \
         first: name them more exactly",
        files_text(count)
    )
}

/// What is said of files that only the name of their folder gives to somebody who has folders in the squad file.
fn elsewhere_text(name: &str, count: usize) -> String {
    let (lie, they_count) = if count == 1 { ("lies", "it counts") } else { ("lie", "they count") };
    format!(
        "{name}: {} {lie} in a folder that bears the name, but in none that the squad file has as a folder of {name}; \
         {they_count} for {name}: add the folder there, or rename it",
        files_text(count)
    )
}

fn files_text(count: usize) -> String {
    if count == 1 { "1 file".to_owned() } else { format!("{count} files") }
}

/// The day of a recording whose clock was set.
fn recording_day<'a>(
    batch: &'a Batch<'_>,
    recorded: &Recorded,
    files: &SeasonFiles,
) -> Option<RecordingDay<'a>> {
    let (_, local) = recorded.start.filter(|_| recorded.clock == Clock::Plausible && !recorded.is_unused)?;
    let file = batch.file_name(recorded.file as usize);
    let by_hand = files.corrections.of_file(file, recorded.session as usize);
    Some(RecordingDay {
        athlete: batch.athlete(recorded),
        day: local.day(),
        device_key: recorded.device_key,
        is_confirmed: by_hand.as_ref().is_some_and(Correction::confirms_day),
    })
}

/// Gives recordings whose time zone nothing tells that of most of the athlete's others, or else of the squad's.
fn share_usual_zones(batch: &mut Batch<'_>, files: &SeasonFiles, configuration: &Configuration) {
    let of_source = |recorded: &Recorded, is_untold: bool| {
        recorded.start.filter(|(_, local)| (local.source == ZoneSource::Assumed) == is_untold)
    };
    let untold: Vec<usize> = (batch.counting())
        .filter(|(_, recorded)| of_source(recorded, true).is_some())
        .map(|(index, _)| index)
        .collect();
    if untold.is_empty() {
        return;
    }
    let mut own: BTreeMap<&str, Vec<Zone>> =
        untold.iter().map(|&index| (batch.athlete(&batch.sessions[index]), Vec::new())).collect();
    let mut all: Vec<Zone> = Vec::new();
    for (_, recorded) in batch.counting() {
        let Some(zone) = of_source(recorded, false).and_then(|(_, local)| local.zone) else { continue };
        if let Some(own) = own.get_mut(batch.athlete(recorded)) {
            own.push(zone);
        }
        all.push(zone);
    }
    let is_named = |zone: &Zone| matches!(zone, Zone::Named(_));
    let named = |zones: &[Zone]| usual_zone(zones.iter().copied().filter(is_named));
    // Offsets change with the summer, and tell an athlete's own zone all the same.
    let own: BTreeMap<&str, Option<Zone>> = own
        .into_iter()
        .map(|(athlete, zones)| (athlete, named(&zones).or_else(|| usual_zone(zones.into_iter()))))
        .collect();
    let others = named(&all);
    let local = |index: usize| {
        let recorded = &batch.sessions[index];
        let athlete = batch.athlete(recorded);
        let hints = ZoneHints {
            squad: files.athlete(athlete).and_then(|athlete| athlete.time_zone.as_ref()),
            setting: configuration.zone(),
            own: own.get(athlete).and_then(Option::as_ref),
            others: others.as_ref(),
            ..ZoneHints::default()
        };
        Some((index, local_time(recorded.start?.0, &hints)))
    };
    let told: Vec<(usize, LocalTime)> = untold.into_iter().filter_map(local).collect();
    for (index, found) in told {
        if let Some((_, local)) = &mut batch.sessions[index].start {
            *local = found;
        }
    }
}

/// A sentence for names that are one but for case, spaces and how their letters are put together.
fn alike_names<'a>(names: impl Iterator<Item = &'a str>) -> Vec<String> {
    let mut alike: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    names.for_each(|name| alike.entry(folded_name(name)).or_default().push(name));
    let said = alike.values().filter(|names| names.len() > 1).map(|names| {
        format!(
            "{}: names that differ only in how they are written, each judged as a person; if it is one, name the folders in \
             one row of a squad file",
            names.join(", ")
        )
    });
    said.collect()
}

/// Pairs of recordings on two clocks that are told one by one (own choice).
const SLIPS_MOST: usize = 3;

/// A sentence for each recording that may be a copy of another on a clock of another time zone: both count.
fn slip_notes(batch: &Batch<'_>) -> Vec<String> {
    let slips = batch.slips();
    let said = slips.iter().take(SLIPS_MOST).map(|(later, earlier)| {
        format!(
            "{later} may be a copy of {earlier} on a clock of another time zone, and both count: if it is, write it into the \
             corrections with `use` = no"
        )
    });
    let more = slips.len().saturating_sub(SLIPS_MOST);
    let more =
        (more > 0).then(|| format!("{more} more such copies: the table of notes has them as zone slip"));
    said.chain(more).collect()
}

/// A sentence for each file for whose recordings the owners file names too many people.
fn owners_at_odds(batch: &Batch<'_>, files: &SeasonFiles) -> Vec<String> {
    let Some(owners) = &files.owners else { return Vec::new() };
    let count = |(file, read): (usize, &FileRead)| (batch.file_name(file).trim(), read.recordings);
    let recordings: HashMap<&str, usize> = batch.files.iter().enumerate().map(count).collect();
    owners.at_odds(|file| recordings.get(file).copied())
}

/// What is odd about the owners file: files that are not there, how many are not sure, and how many count for nobody.
fn owner_notes(batch: &Batch<'_>, files: &SeasonFiles) -> Vec<String> {
    let Some(owners) = &files.owners else { return Vec::new() };
    let mut notes = owners.notes.clone();
    let there: HashSet<&str> = (0..batch.files.len()).map(|file| batch.file_name(file).trim()).collect();
    let absent: Vec<&str> =
        owners.files.iter().map(|(file, _)| file.as_str()).filter(|file| !there.contains(file)).collect();
    if let Some(first) = absent.first() {
        let more = match absent.len() {
            1 => String::new(),
            count => format!(" and {} more", count - 1),
        };
        notes.push(format!("in the owners file, but not among the recordings: {first}{more}"));
    }
    let (mut unsure, mut nobodys, mut nobodys_unsure) = (0, 0, 0);
    for (file, read) in batch.files.iter().enumerate() {
        let file = batch.file_name(file);
        let is_by_hand =
            |session| files.corrections.of_file(file, session).is_some_and(|said| said.athlete.is_some());
        let sessions = (1..=read.recordings).filter(|session| !is_by_hand(*session));
        let owned: Vec<_> = sessions.filter_map(|session| owners.of(file, session)).collect();
        let (somebodys, of_nobody): (Vec<_>, Vec<_>) =
            owned.into_iter().partition(|owner| owner.athlete.is_some());
        let is_unsure = |of: &[&Owner]| usize::from(of.iter().any(|owner| owner.sure == Some(false)));
        unsure += is_unsure(&somebodys);
        nobodys += usize::from(!of_nobody.is_empty());
        nobodys_unsure += is_unsure(&of_nobody);
    }
    if unsure > 0 {
        let (count, them) = if unsure == 1 { ("counts", "it") } else { ("count", "them") };
        notes.push(format!(
            "{} whose owner is not sure {count} for whom the owners file names: look at {them}",
            files_text(unsure)
        ));
    }
    if nobodys > 0 {
        let hold = if nobodys == 1 { "holds" } else { "hold" };
        let look = match nobodys_unsure {
            0 => String::new(),
            count => format!("; not sure of {}: look there", files_text(count)),
        };
        notes.push(format!(
            "{} {hold} recordings that are nobody's by the owners file and count for nobody{look}",
            files_text(nobodys)
        ));
    }
    notes
}

/// What is odd about the plans that are followed: starts on a day that a plan does not name, with all who have it, and
/// blocks from which nobody advances.
#[derive(Default)]
pub(crate) struct PlanNotes {
    starts: BTreeMap<String, Vec<String>>,
    never_advances: BTreeSet<String>,
    /// Starts that may be a slip of the pen: who has them, and the first day on which one of these followed the plan.
    in_doubt: BTreeMap<NaiveDate, (Vec<String>, NaiveDate)>,
}

impl PlanNotes {
    /// Takes an athlete, in the order of names.
    pub(crate) fn add(&mut self, name: &str, plans: &[PlanInUse<'_>], rules: &Rules) {
        for used in plans {
            if let Some(note) = used.start.and_then(|start| used.plan.start_note(start)) {
                self.starts.entry(note).or_default().push(name.to_owned());
            }
            let never = used.plan.never_advances(rules).into_iter();
            self.never_advances.extend(never.map(|note| format!("{}: {note}", used.plan.title)));
        }
    }

    /// Takes the starts of an athlete's plans that may be a slip of the pen, each with the first day on which the plan was followed.
    pub(crate) fn add_doubts(&mut self, name: &str, starts: &[(NaiveDate, NaiveDate)]) {
        for (start, first) in starts {
            let (names, earliest) = self.in_doubt.entry(*start).or_insert_with(|| (Vec::new(), *first));
            names.push(name.to_owned());
            *earliest = (*first).min(*earliest);
        }
    }

    /// What must be said before anything else: a start in a wrong month or year moves every day of the plan.
    pub(crate) fn warnings(&self) -> impl Iterator<Item = String> {
        self.in_doubt.iter().map(|(start, (names, first))| {
            format!(
                "{}: the plan starts on {start} by the squad file, {} days after it was followed for the first time, on \
                 {first}: if that start is wrong, so is every day of the plan; correct it",
                names.join(", "),
                (*start - *first).num_days()
            )
        })
    }

    pub(crate) fn sentences(self) -> impl Iterator<Item = String> {
        let starts = self.starts.into_iter().map(|(note, names)| format!("{}: {note}", names.join(", ")));
        starts.chain(self.never_advances)
    }
}

/// The zone that most recordings have; the first by name of equals.
fn usual_zone(told: impl Iterator<Item = Zone>) -> Option<Zone> {
    let mut zones: BTreeMap<String, (usize, Zone)> = BTreeMap::new();
    for zone in told {
        zones.entry(zone.to_string()).or_insert((0, zone)).0 += 1;
    }
    let most = zones.values().map(|(count, _)| *count).max()?;
    zones.into_values().find(|(count, _)| *count == most).map(|(_, zone)| zone)
}

impl Placed {
    /// The local day.
    pub(crate) fn day(&self) -> Option<NaiveDate> {
        self.start.map(|(_, local)| local.day())
    }

    /// What sessions are sorted by: time, then path.
    fn order(&self) -> (Option<DateTime<Utc>>, u32) {
        (self.start.map(|(utc, _)| utc), self.rank)
    }

    /// Whether its date can be believed.
    pub(crate) fn dated(&self) -> bool {
        let is_left_out = self.clock_in_doubt.is_some_and(|doubt| doubt.is_left_out);
        self.start.is_some() && self.clock == Clock::Plausible && !is_left_out
    }

    /// Whether it counts, as far as the coach says.
    pub(crate) fn is_used(&self) -> bool {
        !self.by_hand.as_ref().is_some_and(Correction::is_unused)
    }

    /// Where its date can't be believed and the coach says which session it is: that this was done, on whatever day.
    pub(crate) fn done_some_day(&self) -> Option<Correction> {
        let said = self.by_hand.as_ref().filter(|said| said.is_on_plan() == Some(true))?;
        let counts = !self.dated() && self.is_used() && !self.is_overlapped;
        counts.then(|| Correction { file: None, ..said.clone() })
    }

    fn outing(&self) -> Option<Outing> {
        let (start_utc, local) = self.start.filter(|_| self.dated() && self.is_used())?;
        let session = &self.session;
        Some(Outing {
            file: self.name.file.to_string(),
            session: self.name.session as usize,
            rank: self.rank as usize,
            start_utc,
            start_local: local.time,
            resolvable: session.resolvable,
            doubt: session.doubt.clone(),
            confidence: session.confidence,
            bounds: session.bounds,
            vehicles: session.vehicles.clone(),
            unseen: session.unseen.clone(),
            breaks_off: self.breaks_off,
            is_part: self.by_hand.as_ref().is_some_and(|said| said.part_s().is_some()),
            bouts: session.bouts.clone(),
            // A drift that may as well be none is no evidence.
            pace_drift_pct: session.pace_drift.filter(PaceDrift::is_clear).map(|drift| drift.drift_pct),
            heart_rate_fall_60s_bpm: session.heart_rate_fall_60s_bpm,
            heart_rate: self.heart_rate.clone(),
            is_overlapped: self.is_overlapped,
            may_be_copy_of: self.may_be_copy_of.clone(),
        })
    }
}

fn judge_athlete<'a>(
    name: &str,
    mut sessions: Vec<Placed>,
    of_several: Option<String>,
    files: &'a SeasonFiles,
    configuration: &Configuration,
    day: AthleteDay,
) -> Judged<'a> {
    sessions.sort_by_key(Placed::order);
    let (dated, outings): (Vec<usize>, Vec<Outing>) = if of_several.is_some() {
        (Vec::new(), Vec::new())
    } else {
        sessions.iter().enumerate().filter_map(|(index, placed)| Some((index, placed.outing()?))).unzip()
    };
    let plans = if of_several.is_some() { Vec::new() } else { files.plans_of(name) };
    let journal: Vec<&Entry> = files.journal.of(name, files.athlete(name));
    let own_files = sessions.iter().map(|placed| &*placed.name.file);
    let undated: Vec<Correction> = sessions.iter().filter_map(Placed::done_some_day).collect();
    let mut corrections = files.corrections.of(&files.names_of(name), own_files);
    corrections.extend(&undated);
    // Of what is later than a day that was named nothing counts, of a group neither.
    let is_known =
        |entry: &&&Entry| configuration.as_of.is_none() || !entry.of_group || Some(entry.date) <= day.day;
    let known: Vec<&Entry> = journal.iter().filter(is_known).copied().collect();
    let mut audit = audit_athlete(&AthleteInput {
        outings: &outings,
        plans: &plans,
        athlete: files.athlete(name),
        journal: &known,
        corrections: &corrections,
        // Without a day there is nothing to judge: no recording, no note.
        as_of: day.day.unwrap_or_default(),
        settings: &configuration.settings,
    });
    if let Some(why) = &of_several {
        // A sign in the journal and the coach's word are the person's own, whosever the recordings are.
        if audit.proposal.verdict != Some(Verdict::Stop) {
            audit.proposal.verdict = None;
            audit.no_run_before = None;
            audit.proposal.reasons.retain(|reason| !reason.starts_with("no plan"));
        }
        audit.proposal.reasons.insert(0, format!("overlap: {why}"));
    }
    let (carried, is_of_several) = (files.carried_of(name), of_several.is_some());
    let name = name.to_owned();
    Judged { name, carried, plans, journal, sessions, dated, outings, is_of_several, day, audit }
}

impl Judged<'_> {
    /// What the season knows of a session, by its place; `None` where its date can't be believed.
    pub(crate) fn audited(&self, session: usize) -> Option<&OutingAudit> {
        // Sessions and outings are both in order of time.
        let outing = self.dated.binary_search(&session).ok()?;
        let place = self.audit.outings.binary_search_by_key(&outing, |audited| audited.outing).ok()?;
        self.audit.outings.get(place)
    }

    /// What happened in a session, by its place; one whose date can't be believed lies on no plan.
    pub(crate) fn events(&self, session: usize) -> Cow<'_, [Event]> {
        if let Some(audited) = self.audited(session) {
            return Cow::Borrowed(&audited.events);
        }
        let placed = &self.sessions[session];
        Cow::Owned(placed.session.read(&[], placed.breaks_off, &AdherenceSettings::default()).events)
    }

    /// The longest unbroken run of each outing up to a day, the longest first; of two recordings of one, that which counts.
    pub(crate) fn longest_runs(&self, until: Option<NaiveDate>) -> Vec<LongestRun> {
        let counted = self.outings.iter().filter(|outing| !outing.is_overlapped);
        let counted = counted.filter(|outing| until.is_none_or(|until| outing.day() <= until));
        let mut runs: Vec<LongestRun> = counted.filter_map(LongestRun::of).collect();
        // Outings are in order of time, and stay so where runs are equal.
        runs.sort_by(|a, b| b.duration_s.total_cmp(&a.duration_s));
        runs
    }
}
