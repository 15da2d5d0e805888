//! Every number that decides something about an audit, in one file that people may write: how recordings are read, how
//! running is told from walking, how a session is held against its plan and measured, when two recordings are one, the
//! rules behind proposals, and how recordings are laid on a plan.
//!
//! Each group is declared where it is used; here they are put together and read:
//!
//! ```toml
//! time_zone = "Europe/Berlin"
//!
//! [rules]
//! complete_advance_pct = 85
//!
//! [measures.drift]
//! slice_s = 60
//!
//! [signs]
//! chest = ["a word of your own for it"]
//! ```

use boutwise_bouts::{AdherenceSettings, MeasureSettings, SegmentSettings};
use boutwise_track::{ArchiveSettings, DuplicateSettings, SettingGroup, settings};
use toml::de::{DeTable, DeValue};

use crate::error::{ErrorKind, Flaw};
use crate::keys;
use crate::{Error, SignWords, Zone};

settings! {
    /// The rules behind proposals, cautions and readiness.
    Rules {
        /// Newest sessions of the current block that a proposal looks at.
        window_sessions: u32 = 3, "sessions", 1..20, "common practice, no source";
        /// Good sessions among them that advancing needs; the newest must be one.
        min_good_sessions: u32 = 2, "sessions", 1..20, "each phase at least twice: Trials 2023, doi 10.1186/s13063-023-07502-x";
        /// Dose from which a session is good.
        complete_advance_pct: f64 = 90.0, "%", 0..100, "common practice, no source";
        /// Dose below which two sessions in a row mean easing.
        complete_ease_pct: f64 = 60.0, "%", 0..100, "common practice, no source";
        /// Overdone share above which a session is not good.
        overdone_good_pct: f64 = 15.0, "%", 0..1000, "own choice";
        /// Breaks below which a session is not good.
        breaks_good_pct: f64 = 60.0, "%", 0..100, "own choice";
        /// Largest effort of a good session, unless they could speak in sentences.
        effort_ok: f64 = 4.0, "0-10", 0..10, "Trials 2023 sets 3 to 5; last comfortable speech 4.4 +- 1.8: Foster 2009";
        /// Effort from which a session is held and slower; in the last two sessions, from which the next step is easier.
        effort_hard: f64 = 7.0, "0-10", 0..10, "speech doubtful at 6.3 +- 2.2: Foster 2009; own choice";
        /// Soreness on the next day from which a session is held and slower; after the last two sessions, from which the next step is easier.
        soreness_ease: f64 = 5.0, "0-10", 0..10, "common practice, no source";
        /// Pain above which the next step is easier, with rest.
        pain_ease: f64 = 5.0, "0-10", 0..10, "pain-monitoring model, Silbernagel 2007 (second-hand)";
        /// Days of rest between runs.
        rest_days: u32 = 1, "days", 0..7, "Trials 2023, doi 10.1186/s13063-023-07502-x";
        /// Further days of rest after any pain.
        pain_rest_days: u32 = 1, "days", 0..14, "common practice, no source";
        /// Days for which every pain and answered sign is named in the reasons, good sessions since or not.
        name_notes_days: u32 = 14, "days", 0..365, "own choice";
        /// Further days of rest after a hard or sore session that is repeated slower.
        hard_rest_days: u32 = 1, "days", 0..14, "common practice, no source";
        /// Days without a run above which the block is repeated.
        gap_repeat_days: u32 = 7, "days", 1..60, "common practice, no source";
        /// Days without a run above which it goes back a block.
        gap_back_days: u32 = 14, "days", 1..120, "common practice, no source";
        /// Days looked back for the largest session before a new one.
        spike_window_days: u32 = 30, "days", 1..120, "Frandsen and others 2025, doi 10.1136/bjsports-2024-109380";
        /// Growth of a session above the largest before that counts as a small spike.
        spike_small_pct: f64 = 10.0, "%", 0..1000, "Frandsen and others 2025";
        /// The same for a moderate spike.
        spike_moderate_pct: f64 = 30.0, "%", 0..1000, "Frandsen and others 2025";
        /// The same for a large spike.
        spike_large_pct: f64 = 100.0, "%", 0..1000, "Frandsen and others 2025";
        /// Excess of an athlete's own step over the plan's from which care is proposed; up to it the step is told once for the group.
        own_step_pct: f64 = 5.0, "%", 0..100, "own choice; outdoor distances are off by 3 to 6 %: Gilgen-Ammann and others 2020";
        /// Growth of the run distance over 14 days that brings a caution.
        rise_14_days_pct: f64 = 30.0, "%", 0..1000, "Nielsen and others 2014, not significant";
        /// Pace drift above which a fast start is remarked.
        drift_note_pct: f64 = 10.0, "%", 0..100, "own choice";
        /// Longest look back of the trend of the longest run.
        trend_weeks: u32 = 8, "weeks", 1..104, "own choice";
        /// Fewest sessions for a trend.
        trend_min_sessions: u32 = 4, "sessions", 3..100, "own choice";
        /// Short look back of the habit figures.
        habit_short_days: u32 = 14, "days", 1..365, "own choice";
        /// Long look back of the habit figures.
        habit_long_days: u32 = 28, "days", 1..365, "own choice";
        /// Missed sessions in a row from which the plan counts as interrupted.
        interrupted_sessions: u32 = 3, "sessions", 2..20, "Nilsen and others 2018";
        /// Share of the largest heart rate at the last stage at which speech was comfortable.
        talkable_pct_of_max_hr: f64 = 79.0, "%", 50..100, "79 +- 9 %: Foster and others 2009, J Strength Cond Res 23(9)";
        /// Standard error of a predicted largest heart rate.
        predicted_max_hr_error_bpm: f64 = 11.0, "bpm", 0..40, "10.8: Nes and others 2013";
        /// Readiness from which a try is proposed, as a share of the needed time.
        ready_share: f64 = 0.80, "share", 0..2, "own choice";
        /// Readiness from which it is close.
        close_share: f64 = 0.60, "share", 0..2, "own choice";
        /// Share of a distance from which an unbroken run counts as that far.
        done_share: f64 = 0.99, "share", 0.9..1.1, "own choice; outdoor distances are off by 3 to 6 %: Gilgen-Ammann and others 2020";
        /// Days in which the longest run counts for readiness.
        readiness_days: u32 = 14, "days", 1..120, "own choice";
        /// Reps of the session that also counts as close.
        close_reps: u32 = 3, "reps", 1..20, "own choice";
        /// Length of each of these reps.
        close_rep_s: f64 = 480.0, "s", 60..3600, "own choice";
        /// Exponent of the endurance formula t2 = t1 (d2/d1)^k.
        endurance_exponent: f64 = 1.06, "", 1..2, "Riegel 1981, American Scientist";
        /// Largest ratio of distances for which the endurance formula is used.
        endurance_max_ratio: f64 = 2.5, "", 1..10, "own choice";
        /// Recordings of one athlete at one time from which they are taken for several people's.
        overlap_at_once: u32 = 3, "recordings", 2..100, "own choice: two devices are one person's";
        /// Metres between two recordings of one athlete at equal times, in the median, above which they may be two people's.
        overlap_apart_m: f64 = 50.0, "m", 1..100000, "own choice: errors of two receivers stay far below";
        /// Such pairs from which they are taken for several people's.
        overlap_pairs: u32 = 3, "pairs", 1..1000, "own choice";
        /// The same as a share of the athlete's recordings.
        overlap_share_pct: f64 = 10.0, "% of recordings", 0.1..100, "own choice";
        /// Days for which a note of heat brings its caution.
        heat_note_days: u32 = 7, "days", 1..60, "own choice";
        /// Days without a recording from which an athlete counts as not heard of.
        silent_days: u32 = 8, "days", 1..120, "own choice";
        /// Days that a journal may reach beyond the squad's newest recording, unless the day is named.
        journal_ahead_days: u32 = 14, "days", 0..365, "own choice";
        /// Days without any recording of the squad after which a clock may be wrong.
        clock_hole_days: u32 = 60, "days", 1..3650, "own choice";
        /// Recordings after such a hole from which their clock is believed, also of one device.
        clock_recordings: u32 = 3, "recordings", 1..100, "own choice";
    }
}

settings! {
    /// What athletes do with a plan, and how often: the likeliest laying of recordings on it is taken. All values are own choices.
    CalendarScore {
        /// Sessions that are missed.
        missed_pct: f64 = 8.0, "% of sessions", 0.1..50, "own choice";
        /// The same where order alone counts.
        skipped_undated_pct: f64 = 1.0, "% of sessions", 0.1..50, "own choice";
        /// Sessions done on the day before or after theirs.
        moved_pct: f64 = 12.0, "% of sessions", 0.1..50, "own choice";
        /// Of these, those one day further off, and so on.
        day_further_pct: f64 = 15.0, "% of those one day nearer", 0.1..90, "own choice";
        /// Sessions done on the same day as the one before.
        same_day_pct: f64 = 1.0, "% of sessions", 0.01..50, "own choice";
        /// Sessions done again on the same or the next day, while the plan goes on.
        again_pct: f64 = 3.0, "% of sessions", 0.01..50, "own choice";
        /// Sessions done again later than that, before any other one.
        again_later_pct: f64 = 0.5, "% of sessions", 0.01..50, "own choice";
        /// Sessions done again on the next planned day, while the plan waits.
        waiting_pct: f64 = 1.0, "% of sessions", 0.01..50, "own choice";
        /// Sessions from which on the plan is delayed by some days, after a break or for no known cause.
        delayed_pct: f64 = 0.03, "% of sessions, for each length", 0.0001..50, "own choice";
        /// Athletes who start late.
        late_start_pct: f64 = 1.0, "% of athletes, for each day", 0.001..50, "own choice";
        /// Athletes who start one planned day or more late.
        late_by_planned_pct: f64 = 9.0, "% of athletes", 0.001..50, "own choice";
        /// Athletes who go out in a rhythm of their own from the first session on.
        own_rhythm_pct: f64 = 2.0, "% of athletes", 0.001..50, "own choice";
        /// Sessions from which on an athlete goes out in a rhythm of their own.
        own_rhythm_later_pct: f64 = 0.02, "% of sessions", 0.0001..50, "own choice";
        /// Sessions in whose place that of another block was done.
        other_block_pct: f64 = 0.3, "% of sessions", 0.0001..50, "own choice";
        /// Sessions from which on an athlete goes back a block.
        eased_pct: f64 = 0.02, "% of sessions", 0.0001..50, "own choice";
        /// Sessions that were walked, and the next one run before its day.
        run_after_walk_pct: f64 = 0.5, "% of such runs", 0.0001..100, "own choice";
        /// Longest delay of a plan; later than that is moved each time.
        longest_delay_days: u32 = 60, "days", 0..365, "own choice";
        /// Without a known start: how many of the first recordings may have been the first session.
        start_recordings: u32 = 3, "recordings", 1..10, "own choice";
        /// Runs off the plan.
        extra_run_pct: f64 = 4.0, "% of sessions", 0.1..100, "own choice";
        /// Walks off the plan on the day of a session.
        walk_on_day_pct: f64 = 5.0, "% of sessions", 0.1..100, "own choice";
        /// Sessions done otherwise than asked.
        departing_pct: f64 = 25.0, "% of sessions", 1..90, "own choice";
        /// How many times likelier another laying must be before it changes where earlier recordings were laid.
        rewrite_odds: f64 = 500.0, "times", 1..1000000, "own choice";
    }
}

/// Everything that a settings file may change. `Default` is the documented method.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Settings {
    /// Time zone of the recordings, where the squad file names none.
    pub time_zone: Option<Zone>,
    /// How much a file may unpack to.
    pub reading: ArchiveSettings,
    /// How running is told from walking.
    pub segmentation: SegmentSettings,
    /// How a session is held against its plan.
    pub adherence: AdherenceSettings,
    /// How a session is measured.
    pub measures: MeasureSettings,
    /// When two recordings of an athlete are one session.
    pub duplicates: DuplicateSettings,
    /// The rules.
    pub rules: Rules,
    /// The points of the calendar.
    pub calendar: CalendarScore,
    /// Everyday words for warning signs.
    pub signs: SignWords,
}

/// The names of the sections, and the groups that they hold; `$also` is `mut` or nothing.
macro_rules! sections {
    ($settings:ident, $($also:tt)?) => {
        [
            ("reading", &$($also)? $settings.reading),
            ("segmentation", &$($also)? $settings.segmentation),
            ("adherence", &$($also)? $settings.adherence),
            ("measures.drift", &$($also)? $settings.measures.drift),
            ("measures.heart_rate_fall", &$($also)? $settings.measures.heart_rate_fall),
            ("measures.speed_per_beat", &$($also)? $settings.measures.speed_per_beat),
            ("duplicates", &$($also)? $settings.duplicates),
            ("rules", &$($also)? $settings.rules),
            ("calendar", &$($also)? $settings.calendar),
        ]
    };
}

/// Number of sections.
const SECTIONS: usize = 9;

/// Shares that must add up to 1.
const WEIGHTS: [&str; 3] = ["dose_weight", "breaks_weight", "full_weight"];
/// How far the sum may be off, for decimals that binary fractions do not hold.
const WEIGHTS_SLACK: f64 = 1e-6;

/// Keys that must rise from each to the next, with the section that holds them.
const RISING: [(&str, &[&str]); 5] = [
    ("rules", &["min_good_sessions", "window_sessions"]),
    ("rules", &["spike_small_pct", "spike_moderate_pct", "spike_large_pct"]),
    ("rules", &["close_share", "ready_share"]),
    ("rules", &["gap_repeat_days", "gap_back_days"]),
    ("segmentation", &["walk_level_m_per_s", "run_level_m_per_s"]),
];

impl Settings {
    /// Reads a settings file. `name` is its name or path, for messages.
    ///
    /// # Errors
    ///
    /// The first thing that cannot be read, with line, caret and how to mend it. An unknown key is an error.
    ///
    /// ```
    /// use boutwise_season::Settings;
    /// let settings = Settings::parse("[rules]\nwindow_sessions = 4\n", "settings.toml").unwrap();
    /// assert_eq!(settings.rules.window_sessions, 4);
    /// let error = Settings::parse("[rules]\nwindow_session = 4\n", "settings.toml").unwrap_err();
    /// assert_eq!((error.line(), error.mend()), (2, "write window_sessions"));
    /// ```
    pub fn parse(text: &str, name: &str) -> Result<Self, Error> {
        let body = text.strip_prefix('\u{feff}').unwrap_or(text);
        read_settings(body).map_err(|flaw| Error::new(ErrorKind::Settings, name, body, flaw))
    }

    /// Every group of numbers with the name of its section.
    ///
    /// ```
    /// let settings = boutwise_season::Settings::default();
    /// let numbers: usize = settings.sections().iter().map(|(_, group)| group.all().len()).sum();
    /// assert!(numbers > 80);
    /// ```
    pub fn sections(&self) -> [(&'static str, &dyn SettingGroup); SECTIONS] {
        sections!(self,)
    }

    /// The number of a setting by the name of its section and its own.
    ///
    /// ```
    /// let settings = boutwise_season::Settings::default();
    /// assert_eq!(settings.get("measures.drift.slice_s"), Some(30.0));
    /// assert_eq!(settings.get("rules.slice_s"), None);
    /// ```
    pub fn get(&self, name: &str) -> Option<f64> {
        let (section, key) = name.rsplit_once('.')?;
        let (_, group) = self.sections().into_iter().find(|(name, _)| *name == section)?;
        group.get(key)
    }

    fn sections_mut(&mut self) -> [(&'static str, &mut dyn SettingGroup); SECTIONS] {
        sections!(self, mut)
    }
}

fn read_settings(text: &str) -> Result<Settings, Flaw> {
    let document = keys::read_toml(text)?;
    let mut settings = Settings::default();
    if let Some(value) = document.get_ref().get("time_zone") {
        let zone = keys::text(value, "time_zone", "\"Europe/Berlin\"")?;
        settings.time_zone = Some(Zone::find(zone).map_err(|flaw| Flaw { span: value.span(), ..flaw })?);
    }
    let mut sections = settings.sections_mut();
    read_table(document.get_ref(), "", &mut sections)?;
    if let Some(value) = document.get_ref().get("signs") {
        settings.signs.add(group_of(value, "signs")?)?;
    }
    Ok(settings)
}

/// Reads a table of the file: a section's numbers, tables that hold further sections, or both.
fn read_table(
    table: &DeTable<'_>,
    path: &str,
    sections: &mut [(&'static str, &mut dyn SettingGroup)],
) -> Result<(), Flaw> {
    let inside = |name: &'static str| match path {
        "" => Some(name),
        _ => name.strip_prefix(path)?.strip_prefix('.'),
    };
    let mut known: Vec<&str> = if path.is_empty() { vec!["time_zone", "signs"] } else { Vec::new() };
    let mut below: Vec<&str> = Vec::new();
    for (name, group) in sections.iter() {
        if *name == path {
            known.extend(group.all().iter().map(|setting| setting.name));
        } else if let Some(rest) = inside(name) {
            let first = rest.split_once('.').map_or(rest, |(first, _)| first);
            if !below.contains(&first) {
                below.push(first);
            }
        }
    }
    known.extend(&below);
    let place = if path.is_empty() { "in the settings".to_owned() } else { format!("in [{path}]") };
    keys::refuse_unknown(table, &place, &known)?;
    if let Some((name, group)) = sections.iter_mut().find(|(name, _)| *name == path) {
        for setting in group.all() {
            if let Some(value) = table.get(setting.name) {
                group.set(setting.name, keys::setting(value, setting)?);
            }
        }
        refuse_contradictions(table, name, &**group)?;
    }
    for name in below {
        if let Some(value) = table.get(name) {
            let path = if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
            read_table(group_of(value, &path)?, &path, sections)?;
        }
    }
    Ok(())
}

fn group_of<'t, 'i>(value: &'t keys::Value<'i>, path: &str) -> Result<&'t DeTable<'i>, Flaw> {
    match value.get_ref() {
        DeValue::Table(group) => Ok(group),
        _ => Err(Flaw::new(
            value.span(),
            format!("{path} is no table"),
            format!("a line [{path}] with its keys below"),
            format!("write [{path}]"),
        )),
    }
}

/// Numbers that are right one by one and contradict each other.
fn refuse_contradictions(table: &DeTable<'_>, section: &str, group: &dyn SettingGroup) -> Result<(), Flaw> {
    let value = |name: &str| group.get(name).unwrap_or_default();
    let written = |names: &[&str]| names.iter().find_map(|name| table.get(*name).map(|value| value.span()));
    if section == "adherence"
        && let Some(span) = written(&WEIGHTS)
    {
        let sum: f64 = WEIGHTS.iter().map(|name| value(name)).sum();
        if (sum - 1.0).abs() > WEIGHTS_SLACK {
            // Sums of shares such as 0.7 are not exact; more digits than anybody writes say nothing.
            let sum = (sum * 1e6).round() / 1e6;
            let problem = format!("{} add up to {sum}", WEIGHTS.join(", "));
            return Err(Flaw::new(span, problem, "shares that add up to 1", "write all three"));
        }
    }
    for (_, names) in RISING.iter().filter(|(of, _)| *of == section) {
        for [low, high] in names.array_windows() {
            let (low_value, high_value) = (value(low), value(high));
            if let (true, Some(span)) = (low_value > high_value, written(&[*low, *high])) {
                let found = format!("{low} = {low_value} is above {high} = {high_value}");
                let expected = format!("{low} no larger than {high}");
                return Err(Flaw::new(span, found, expected, "write both"));
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use boutwise_track::Setting;

    use super::*;

    #[test]
    fn every_setting_can_be_written_and_is_within_its_own_limits() {
        for (section, group) in Settings::default().sections() {
            for setting in group.all() {
                assert!((setting.lowest..=setting.highest).contains(&setting.value), "{}", setting.name);
                assert_eq!(group.get(setting.name), Some(setting.value), "{}", setting.name);
                assert!(!setting.basis.is_empty() && !setting.meaning.trim().is_empty(), "{}", setting.name);
                let text = format!("[{section}]\n{} = {}\n", setting.name, setting.value);
                assert_eq!(Settings::parse(&text, "s.toml").unwrap(), Settings::default(), "{text}");
                for beyond in [setting.highest + 1.0, setting.lowest - 1.0] {
                    let text = format!("[{section}]\n{} = {beyond}\n", setting.name);
                    assert_eq!(Settings::parse(&text, "s.toml").unwrap_err().line(), 2, "{text}");
                }
            }
        }
    }

    #[test]
    fn more_good_sessions_than_are_looked_at_are_refused() {
        let error = Settings::parse("[rules]\nmin_good_sessions = 4\n", "s.toml").unwrap_err();
        assert!(error.problem().contains("min_good_sessions = 4 is above window_sessions = 3"), "{error}");
        assert!(Settings::parse("[rules]\nmin_good_sessions = 4\nwindow_sessions = 5\n", "s.toml").is_ok());
    }

    #[test]
    fn a_written_number_arrives_in_its_group() {
        let text = "[reading]\nmax_members = 7\n[measures.drift]\nslice_s = 45\n[duplicates]\ntime_s = 2.5\n";
        let read = Settings::parse(text, "s.toml").unwrap();
        assert_eq!((read.reading.max_members, read.measures.drift.slice_s), (7, 45));
        assert_eq!(read.duplicates.time_s, 2.5);
        assert_eq!(read.segmentation, SegmentSettings::default());
    }

    #[test]
    fn the_tables_of_the_manual_show_every_setting_as_it_is() {
        let manual = include_str!("../../../docs/files.md");
        for (section, group) in Settings::default().sections() {
            let rows = group.all().iter().map(|setting| {
                let Setting { name, value, unit, lowest, highest, meaning, basis, .. } = setting;
                let meaning = meaning.trim();
                format!("| `{name}` | {value} | {lowest} to {highest} | {unit} | {meaning} | {basis} |\n")
            });
            let table = format!(
                "### `[{section}]`\n\n| key | value | range | unit | what it decides | basis |\n|---|---:|---|---|---|---|\n{}",
                rows.collect::<String>()
            );
            let last = manual.split_once(&table).map(|(_, after)| !after.starts_with('|'));
            assert_eq!(last, Some(true), "docs/files.md should hold\n\n{table}");
        }
    }

    #[test]
    fn flaws_name_their_line_and_how_to_mend_them() {
        let cases = [
            ("[rule]\n", 1, "unknown key \"rule\"", "write rules"),
            ("[rules]\n\neffort_okay = 4", 3, "unknown key \"effort_okay\"", "write effort_ok"),
            ("[rules]\nwindow_sessions = 2.5", 2, "window_sessions is a number", "window_sessions = 3"),
            ("[rules]\neffort_ok = 'four'", 2, "effort_ok is a text", "effort_ok = 4"),
            ("[rules]\neffort_ok = nan", 2, "effort_ok = nan", "effort_ok = 4"),
            ("time_zone = 'Berlin'", 1, "no time zone", "write Europe/Berlin"),
            ("rules = 3", 1, "rules is no table", "write [rules]"),
            ("measures = 3", 1, "measures is no table", "write [measures]"),
            ("[measures]\nskip_s = 3", 2, "unknown key \"skip_s\" in [measures]", "take the line out"),
            ("[measures.drift]\nslice = 3", 2, "unknown key \"slice\"", "write slice_s"),
            ("[adherence]\ndose_weight = 0.7", 2, "add up to 1.1", "write all three"),
            ("[rules]\n\nspike_small_pct = 40", 3, "is above spike_moderate_pct = 30", "write both"),
            ("[segmentation]\nstand_min_s = 0", 2, "stand_min_s = 0", "write stand_min_s = 6"),
        ];
        for (text, line, problem, mend) in cases {
            let error = Settings::parse(text, "s.toml").unwrap_err();
            assert_eq!(error.line(), line, "{error}");
            assert!(error.problem().contains(problem) && error.mend().contains(mend), "{error}");
        }
    }
}
