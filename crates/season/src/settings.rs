//! Every number that decides something about a season: name, value, unit, limits and where it comes from.
//!
//! A settings file may change each of them:
//!
//! ```toml
//! time_zone = "Europe/Berlin"
//!
//! [rules]
//! complete_advance_pct = 85
//!
//! [calendar]
//! missed_pct = 20
//!
//! [signs]
//! chest = ["a word of your own for it"]
//! ```

use toml::de::{DeTable, DeValue};

use crate::error::{ErrorKind, Flaw};
use crate::keys;
use crate::{Error, SignWords, Zone};

/// One number of the settings, for documents and messages.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    /// Key in the settings file.
    pub name: &'static str,
    /// Value unless changed.
    pub value: f64,
    /// Unit.
    pub unit: &'static str,
    /// Smallest value that is taken.
    pub lowest: f64,
    /// Largest value that is taken.
    pub highest: f64,
    /// What it decides.
    pub meaning: &'static str,
    /// Where the value comes from.
    pub basis: &'static str,
}

/// A kind of number that a setting may be.
trait Number: Copy {
    fn read(value: &keys::Value<'_>, setting: &Setting) -> Result<Self, Flaw>;
}

impl Number for f64 {
    fn read(value: &keys::Value<'_>, setting: &Setting) -> Result<Self, Flaw> {
        keys::number(value, setting.name, (setting.lowest, setting.highest), &setting.value.to_string())
    }
}

impl Number for u32 {
    fn read(value: &keys::Value<'_>, setting: &Setting) -> Result<Self, Flaw> {
        let limits = (setting.lowest as u32, setting.highest as u32);
        keys::whole(value, setting.name, limits, &setting.value.to_string())
    }
}

macro_rules! settings {
    ($(#[$about:meta])* $group:ident {
        $($(#[doc = $meaning:literal])+ $field:ident: $kind:ty = $value:literal, $unit:literal, $lowest:literal..$highest:literal, $basis:literal;)+
    }) => {
        $(#[$about])*
        #[derive(Clone, Copy, Debug, PartialEq)]
        pub struct $group {
            $($(#[doc = $meaning])+ #[doc = concat!("\n\nUnit: ", $unit, ". Basis: ", $basis, ".")] pub $field: $kind,)+
        }

        impl Default for $group {
            fn default() -> Self {
                Self { $($field: $value as $kind,)+ }
            }
        }

        impl $group {
            /// Every number of the group, in order.
            pub const ALL: &'static [Setting] = &[$(Setting {
                name: stringify!($field),
                value: $value as f64,
                unit: $unit,
                lowest: $lowest as f64,
                highest: $highest as f64,
                meaning: concat!($($meaning),+),
                basis: $basis,
            },)+];

            fn read(table: &DeTable<'_>, place: &str) -> Result<Self, Flaw> {
                let names: Vec<&str> = Self::ALL.iter().map(|setting| setting.name).collect();
                keys::refuse_unknown(table, place, &names)?;
                let mut group = Self::default();
                let mut all = Self::ALL.iter();
                $(if let (Some(setting), Some(value)) = (all.next(), table.get(stringify!($field))) {
                    group.$field = <$kind as Number>::read(value, setting)?;
                })+
                Ok(group)
            }
        }
    };
}

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

/// What a settings file may change.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Settings {
    /// Time zone of the recordings, where the squad file names none.
    pub time_zone: Option<Zone>,
    /// The rules.
    pub rules: Rules,
    /// The points of the calendar.
    pub calendar: CalendarScore,
    /// Everyday words for warning signs.
    pub signs: SignWords,
}

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
}

fn read_settings(text: &str) -> Result<Settings, Flaw> {
    let document = keys::read_toml(text)?;
    let table = document.get_ref();
    keys::refuse_unknown(table, "in the settings", &["time_zone", "rules", "calendar", "signs"])?;
    let mut settings = Settings::default();
    if let Some(value) = table.get("time_zone") {
        let zone = keys::text(value, "time_zone", "\"Europe/Berlin\"")?;
        settings.time_zone = Some(Zone::find(zone).map_err(|flaw| Flaw { span: value.span(), ..flaw })?);
    }
    if let Some(group) = group(table, "rules")? {
        settings.rules = Rules::read(group, "in [rules]")?;
    }
    if let Some(group) = group(table, "calendar")? {
        settings.calendar = CalendarScore::read(group, "in [calendar]")?;
    }
    if let Some(group) = group(table, "signs")? {
        settings.signs.add(group)?;
    }
    Ok(settings)
}

fn group<'t, 'i>(table: &'t DeTable<'i>, name: &str) -> Result<Option<&'t DeTable<'i>>, Flaw> {
    let Some(value) = table.get(name) else { return Ok(None) };
    match value.get_ref() {
        DeValue::Table(group) => Ok(Some(group)),
        _ => Err(Flaw::new(
            value.span(),
            format!("{name} is no table"),
            format!("a line [{name}] with its keys below"),
            format!("write [{name}]"),
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_setting_can_be_written_and_is_within_its_own_limits() {
        for (group, all) in [("rules", Rules::ALL), ("calendar", CalendarScore::ALL)] {
            for setting in all {
                assert!((setting.lowest..=setting.highest).contains(&setting.value), "{}", setting.name);
                assert!(!setting.basis.is_empty() && !setting.meaning.trim().is_empty(), "{}", setting.name);
                let text = format!("[{group}]\n{} = {}\n", setting.name, setting.value);
                assert_eq!(Settings::parse(&text, "s.toml").unwrap(), Settings::default(), "{text}");
                let text = format!("[{group}]\n{} = {}\n", setting.name, setting.highest + 1.0);
                assert!(Settings::parse(&text, "s.toml").is_err(), "{text}");
            }
        }
    }

    #[test]
    fn the_tables_of_the_manual_show_every_setting_as_it_is() {
        let manual = include_str!("../../../docs/files.md");
        for (group, all) in [("rules", Rules::ALL), ("calendar", CalendarScore::ALL)] {
            let rows = all.iter().map(|setting| {
                let Setting { name, value, unit, meaning, basis, .. } = setting;
                format!("| `{name}` | {value} | {unit} | {} | {basis} |\n", meaning.trim())
            });
            let table = format!(
                "### `[{group}]`\n\n| key | value | unit | what it decides | basis |\n|---|---:|---|---|---|\n{}",
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
        ];
        for (text, line, problem, mend) in cases {
            let error = Settings::parse(text, "s.toml").unwrap_err();
            assert_eq!(error.line(), line, "{error}");
            assert!(error.problem().contains(problem) && error.mend().contains(mend), "{error}");
        }
    }
}
