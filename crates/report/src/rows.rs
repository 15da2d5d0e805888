//! The rows of all tables. A column is declared here and nowhere else: name, type, unit (which fixes the
//! decimals), meaning, source.

use boutwise_bouts::{Event, EventKind, Gait, Kind};
use chrono::{DateTime, IsoWeek, NaiveDate, NaiveDateTime, Utc};

use crate::column::row;
use boutwise_bouts::IntervalStatus;
use boutwise_season::Verdict;
use boutwise_track::Status;

row! {
    #[derive(Clone, Debug, PartialEq)]
    FileRow in "files", "One input file; every file of the input has its row.":
    file: String, None, "Path below the input folder, with `/`; a member of an archive is `outer.zip/inner.gpx`", "input folder";
    status: Status, None, "What became of it: `read`, `partial`, `failed`, `ignored` or `duplicate`", "reading";
    format: Option<String>, None, "Format as recognised by the content", "reading";
    sessions: Option<u64>, None, "Sessions found in it", "reading";
    points_kept: Option<u64>, None, "Points that were used", "reading and cleaning";
    points_dropped: Option<u64>, None, "Points that were left out; the notes say why", "reading and cleaning";
    notes: Vec<String>, None, "What was odd, repaired or left out", "reading and cleaning";
}

row! {
    #[derive(Clone, Debug, Default, PartialEq)]
    SessionRow in "sessions", "One recorded session.":
    athlete: String, None, "Athlete", "squad file, else the first folder below the input folder";
    file: String, None, "Path below the input folder, with `/`", "input folder";
    session: u64, None, "Number of the session in its file, from 1", "recording";
    start_local: Option<NaiveDateTime>, None, "Start by the athlete's clock", "recording, in the zone of the squad file, the command or the recording";
    start_utc: Option<DateTime<Utc>>, None, "Start: the first point with a valid time", "recording";
    duration_s: Option<f64>, Seconds, "Last minus first time", "recording";
    distance_m: Option<f64>, Metres, "Sum of the geodesics between kept positions, gaps bridged straight", "positions on the WGS-84 ellipsoid; the device's distance only where there are none";
    points: Option<u64>, None, "Points with a valid time", "recording";
    hr_mean_bpm: Option<f64>, BeatsPerMinute, "Mean heart rate over the points that have one", "recording";
    hr_share_pct: Option<f64>, Percent, "Share of the points that have a valid heart rate", "recording";
    plan_block: Option<String>, None, "Label of the plan block that the session was laid on", "plan file";
    plan_session: Option<u64>, None, "Number of the planned session in its block, from 1", "plan file";
    planned: Option<String>, None, "What was asked, in the notation of the plan", "plan file";
    adherence_pct: Option<f64>, Percent, "How closely the session follows its plan, 0 to 100; does not rise when running is taken out of it", "0.60 dose, 0.25 breaks and 0.15 full reps, with tolerance, over the best alignment (own choice)";
    dose_pct: Option<f64>, Percent, "Run seconds credited against planned run seconds", "sum of min(done, planned) over sum of planned, over the reps";
    breaks_pct: Option<f64>, Percent, "How far the walks between the reps were kept", "alignment of bouts and reps (own choice)";
    overdone_pct: Option<f64>, Percent, "Run seconds beyond the plan, as a share of the plan; no part of adherence", "alignment of bouts and reps (own choice)";
    reps_planned: Option<u64>, None, "Reps asked for", "plan file";
    reps_done: Option<u64>, None, "Reps run in full, longer ones included", "alignment of bouts and reps";
    reps_short: Option<u64>, None, "Reps run in part", "alignment of bouts and reps";
    reps_missed: Option<u64>, None, "Reps not run", "alignment of bouts and reps";
    reps_extra: Option<u64>, None, "Runs that no rep asked for", "alignment of bouts and reps";
    run_planned_s: Option<f64>, Seconds, "Running asked for", "plan file";
    run_s: Option<f64>, Seconds, "Time run", "run bouts";
    run_m: Option<f64>, Metres, "Distance run", "run bouts; filtered speed along the track";
    walk_s: Option<f64>, Seconds, "Time walked", "walk bouts";
    walk_m: Option<f64>, Metres, "Distance walked", "walk bouts; filtered speed along the track";
    stand_s: Option<f64>, Seconds, "Time standing", "stand bouts";
    gap_s: Option<f64>, Seconds, "Time without points", "gaps of more than 20 s";
    longest_run_s: Option<f64>, Seconds, "Longest unbroken run", "the longest run bout";
    longest_run_m: Option<f64>, Metres, "Distance of the longest unbroken run", "the longest run bout";
    longest_run_start_s: Option<f64>, Seconds, "Start of the longest unbroken run, from the session's start", "the longest run bout";
    run_pace_s_per_km: Option<f64>, SecondsPerKilometre, "Pace of the running", "run_s and run_m";
    pace_drift_pct: Option<f64>, Percent, "Change of the running pace over the session's run time; positive = slowing", "Theil-Sen line over 30-s slices of running, the first 10 s of each bout left out (own choice)";
    run_hr_mean_bpm: Option<f64>, BeatsPerMinute, "Mean heart rate over the points of the run bouts", "run bouts";
    hr_fall_60s_bpm: Option<f64>, BeatsPerMinute, "Fall of the heart rate in the first 60 s of a walk break, median; compare within one person and one break length only", "last 5 s of the run against 5 s around the 60th second of the walk (own choice)";
    run_cadence_spm: Option<f64>, StepsPerMinute, "Mean cadence while running", "run bouts";
    resolvable: Option<bool>, None, "Whether running and walking can be told apart in this recording", "segmentation";
    confidence: Option<f64>, Probability, "Probability that every run is right: their number, and each edge within 10 s", "segmentation, calibrated on invented sessions with known truth";
    notes: Vec<String>, None, "What was odd and what could not be told, with the reason", "all steps";
    outcome: Option<String>, None, "What became of the planned session here: `completed`, `modified`, `cut short`, `walked` or `unresolvable`", "terms of exercise trials (Nilsen and others 2018)";
    too_short_to_judge: Option<bool>, None, "Whether reps under 45 s or walks under 18 s were asked for, which a single session cannot show to be cut", "accuracy of edges";
    walk_missing_s: Option<f64>, Seconds, "Walking between the reps that was left out or cut beyond tolerance", "alignment of bouts and reps";
    pace_drift_low_pct: Option<f64>, Percent, "Lower end of Sen's 95 % interval of the pace drift, for slices that differ by chance alone; slow changes of pace make it too narrow. Where it holds 0 there is no clear drift", "Sen 1968, from memory";
    pace_drift_high_pct: Option<f64>, Percent, "Upper end of the same interval", "Sen 1968, from memory";
    hr_decoupling_pct: Option<f64>, Percent, "Loss of speed for the same heart rate over the longest run of at least 20 min; heat does the same", "halves of the run, its first 10 min left out";
    run_hr_of_max_pct: Option<f64>, Percent, "Mean heart rate over the seconds of the run bouts, of the largest heart rate; empty where the sensor cannot be believed, though run_hr_mean_bpm is not", "squad file; else estimated from the year of birth, off by about 11 beats (Nes and others 2013)";
    above_talkable_pct: Option<f64>, Percent, "Share of the run time above the heart rate at which speech is usually still comfortable", "79 % of the largest heart rate (Foster and others 2009)";
    rep_end_hr_slope_bpm: Option<f64>, BeatsPerMinute, "Change of the heart rate at the end of the reps from rep to rep", "Theil-Sen line over the reps";
    recorded_pct: Option<f64>, Percent, "Share of the planned run seconds that lies inside the recording; what lies outside is neither missed nor done", "events";
    reps_not_recorded: Option<u64>, None, "Reps outside the recording, or cut by its edge", "events";
    reps_at_least: Option<u64>, None, "Runs that there surely were, where the session is not resolvable", "lowest hundredth of the ways the session may have been";
    longest_at_least_s: Option<f64>, Seconds, "What the longest unbroken run lasted at least, where the session is not resolvable", "lowest hundredth of the ways the session may have been";
    runs_low: Option<u64>, None, "Lower end of the 90 % interval of the number of runs", "the session played through as often as its doubts say";
    runs_high: Option<u64>, None, "Upper end of the 90 % interval of the number of runs", "the session played through as often as its doubts say";
    run_s_low: Option<f64>, Seconds, "Lower end of the 90 % interval of the time run", "the session played through as often as its doubts say";
    run_s_high: Option<f64>, Seconds, "Upper end of the 90 % interval of the time run", "the session played through as often as its doubts say";
    longest_low_s: Option<f64>, Seconds, "Lower end of the 90 % interval of the longest unbroken run", "the session played through as often as its doubts say";
    longest_high_s: Option<f64>, Seconds, "Upper end of the 90 % interval of the longest unbroken run", "the session played through as often as its doubts say";
}

row! {
    #[derive(Clone, Debug, PartialEq)]
    BoutRow in "bouts", "One bout: a stretch of one kind. The bouts of a session cover it without holes.":
    athlete: String, None, "Athlete", "squad file, else the first folder below the input folder";
    file: String, None, "Path below the input folder, with `/`", "input folder";
    session: u64, None, "Number of the session in its file, from 1", "recording";
    bout: u64, None, "Number of the bout in its session, from 1", "segmentation";
    kind: Kind, None, "`run`, `walk`, `stand` or `gap`", "segmentation";
    start_s: f64, Seconds, "Start, from the session's start", "segmentation";
    end_s: f64, Seconds, "End, from the session's start", "segmentation";
    start_utc: Option<DateTime<Utc>>, None, "Start as a moment", "recording and segmentation";
    duration_s: f64, Seconds, "End minus start", "segmentation";
    distance_m: Option<f64>, Metres, "Distance covered", "filtered speed along the track";
    pace_s_per_km: Option<f64>, SecondsPerKilometre, "Pace", "duration_s and distance_m";
    hr_mean_bpm: Option<f64>, BeatsPerMinute, "Mean heart rate", "recording";
    hr_end_bpm: Option<f64>, BeatsPerMinute, "Mean heart rate of the last 5 s", "recording";
    cadence_spm: Option<f64>, StepsPerMinute, "Mean cadence of both legs", "recording";
    confidence: f64, Probability, "Probability that there was a bout of this kind of about this extent: intersection over union at least 0.5", "segmentation, calibrated on invented sessions with known truth";
}

row! {
    #[derive(Clone, Debug, PartialEq)]
    IntervalRow in "intervals", "One planned interval of a session laid on its plan, or an extra run.":
    athlete: String, None, "Athlete", "squad file, else the first folder below the input folder";
    file: String, None, "Path below the input folder, with `/`", "input folder";
    session: u64, None, "Number of the session in its file, from 1", "recording";
    interval: u64, None, "Number of the interval in its session, from 1", "plan file";
    kind: Gait, None, "`run` or `walk`", "plan file";
    planned_s: Option<f64>, Seconds, "Time asked for; empty for a distance or an extra run", "plan file";
    planned_m: Option<f64>, Metres, "Distance asked for; empty for a time or an extra run", "plan file";
    done_s: Option<f64>, Seconds, "Time done", "alignment of bouts and reps";
    done_m: Option<f64>, Metres, "Distance done", "alignment of bouts and reps";
    status: IntervalStatus, None, "`done`, `short`, `long`, `missed`, `not_recorded` (outside the recording) or `extra`", "alignment of bouts and reps";
    credit_pct: Option<f64>, Percent, "Share of the interval that counts for adherence", "alignment of bouts and reps (own choice)";
    start_s: Option<f64>, Seconds, "Where it was begun, from the session's start", "alignment of bouts and reps";
}

row! {
    #[derive(Clone, Debug, PartialEq)]
    EventRow in "events", "One thing that happened in a session.":
    athlete: String, None, "Athlete", "squad file, else the first folder below the input folder";
    file: String, None, "Path below the input folder, with `/`", "input folder";
    session: u64, None, "Number of the session in its file, from 1", "recording";
    event: EventKind, None, "What happened: `stopped_after`, `rep_walked`, `rep_left_out`, `reps_joined`, `walk_short`, `walk_long`, `rep_short`, `rep_long`, `rep_extra`, `ran_through`, `walked_through`, `recording_late`, `recording_cut`, `vehicle`, `stood`, `paused` or `cannot_say`", "bouts and plan, apart from the score";
    part: Option<String>, None, "The part of the plan: `rep` or `walk`", "likeliest way to lay runs on reps (own choice)";
    number: Option<u64>, None, "Number of the rep or walk, from 1; how many for `rep_left_out`", "likeliest way to lay runs on reps (own choice)";
    at_s: f64, Seconds, "Start, from the session's start", "bouts";
    to_s: f64, Seconds, "End, from the session's start", "bouts";
    planned_s: Option<f64>, Seconds, "Time asked for; empty for a distance", "plan file";
    done_s: Option<f64>, Seconds, "Time done", "bouts";
    confidence: f64, Probability, "Probability that it happened within 10 s of where it stands", "segmentation";
    text: String, None, "What happened, in a sentence", "the row";
}

row! {
    #[derive(Clone, Debug, Default, PartialEq)]
    AthleteRow in "athletes", "One athlete.":
    athlete: String, None, "Athlete", "squad file, else the first folder below the input folder";
    sessions_due: Option<u64>, None, "Planned sessions due up to the as-of day", "plan file and squad file";
    sessions_attempted: Option<u64>, None, "Due sessions that a recording was laid on, walked ones too", "calendar";
    attendance_pct: Option<f64>, Percent, "Attempted of due", "calendar";
    dose_pct: Option<f64>, Percent, "Run seconds credited against planned run seconds of all sessions due", "sum of min(done, planned) over sum of planned";
    longest_run_s: Option<f64>, Seconds, "Longest unbroken run", "sessions";
    longest_run_m: Option<f64>, Metres, "Distance of the longest unbroken run", "sessions";
    longest_run_date: Option<NaiveDate>, None, "Day of the longest unbroken run, by the athlete's clock", "sessions";
    longest_run_trend_s_per_week: Option<f64>, SecondsPerWeek, "Change of the longest unbroken run per session", "Theil-Sen line over the last 8 weeks, at least 4 sessions (Sen 1968, from memory)";
    proposal: Option<Verdict>, None, "`advance`, `hold`, `ease` or `stop`; empty = no call, the reasons say why. The coach decides", "rules and their settings, docs/files.md (own choice)";
    reasons: Vec<String>, None, "The rule that fired and the figures compared; rest, caution and questions first", "rules and their settings, docs/files.md (own choice)";
    next_block: Option<String>, None, "Label of the plan block that comes next", "plan file and proposal";
    next_session: Option<u64>, None, "Number of the session in that block that comes next, from 1", "plan file and proposal";
    no_run_before: Option<NaiveDate>, None, "First day on which a run is proposed again, where extra rest is called for", "rules and their settings, docs/files.md (own choice)";
    sessions_completed: Option<u64>, None, "Due sessions done in full", "terms of exercise trials (Nilsen and others 2018)";
    sessions_modified: Option<u64>, None, "Due sessions attended and done below plan, those cut short and walked included", "terms of exercise trials (Nilsen and others 2018)";
    sessions_cut_short: Option<u64>, None, "Due sessions whose last reps are absent", "terms of exercise trials (Nilsen and others 2018)";
    sessions_missed: Option<u64>, None, "Due sessions without a recording", "terms of exercise trials (Nilsen and others 2018)";
    sessions_interrupted: Option<u64>, None, "Of the missed ones: three or more in a row", "terms of exercise trials (Nilsen and others 2018)";
    completion_mean_pct: Option<f64>, Percent, "Mean dose of the attended sessions; another question than the dose of all", "sessions";
    longest_run_trend_low_s_per_week: Option<f64>, SecondsPerWeek, "Lower end of the 95 % interval of the trend", "Sen 1968, from memory";
    longest_run_trend_high_s_per_week: Option<f64>, SecondsPerWeek, "Upper end of the 95 % interval of the trend", "Sen 1968, from memory";
    run_rise_14d_pct: Option<f64>, Percent, "Growth of the distance run in the last 14 days against the 14 before; a caution above 30 %, not shown for certain", "sessions (Nielsen and others 2014)";
    hr_fall_60s_trend_bpm_per_week: Option<f64>, BeatsPerMinutePerWeek, "Change of the fall of the heart rate in the first 60 s of the walks", "Theil-Sen line over the last 8 weeks, at least 4 sessions (Sen 1968, from memory)";
    run_per_beat_trend_m_per_week: Option<f64>, MetresPerBeatPerWeek, "Change of the metres run for each heartbeat: pace at like heart rate", "Theil-Sen line over the last 8 weeks, at least 4 sessions (Sen 1968, from memory)";
    days_out_14d: Option<u64>, None, "Days with a run or a walk, of the last 14", "sessions";
    days_out_28d: Option<u64>, None, "Days with a run or a walk, of the last 28", "sessions";
    days_between_max: Option<u64>, None, "Most days from one outing to the next", "sessions";
    usual_start: Option<String>, None, "Usual time of day of the starts; empty where they lie all round the clock", "circular mean (Mardia; Fisher; from memory)";
    usual_start_spread_s: Option<f64>, Seconds, "Spread of the starts over the day", "circular standard deviation (Mardia; Fisher; from memory)";
    ready_3km: Option<String>, None, "How near 3 km without a break are: `not now`, `not yet`, `close`, `ready to try` or `done`", "longest run against the time needed (own choice; Riegel 1981)";
    ready_5km: Option<String>, None, "The same for 5 km", "longest run against the time needed (own choice; Riegel 1981)";
    cautions: Vec<String>, None, "Cautions whose reason is given; their words stand in the report", "journal, squad file and sessions";
    computed_proposal: Option<Verdict>, None, "The proposal of the rules, where the coach wrote another word too", "rules of the manual (own choice)";
    coach_decision: Option<Verdict>, None, "The coach's word that `proposal` shows; empty where none stands", "journal";
    goal_m: Option<f64>, Metres, "Distance to be run without a break", "squad file, else the plan's goal, else 5000";
    goal_reached_date: Option<NaiveDate>, None, "Day of the first unbroken run as far as the goal, by the athlete's clock", "sessions";
}

row! {
    #[derive(Clone, Debug, PartialEq)]
    WeekRow in "weeks", "One athlete and one ISO week with a recording or a session due.":
    athlete: String, None, "Athlete", "squad file, else the first folder below the input folder";
    week: IsoWeek, None, "Week as ISO 8601 writes it, Monday to Sunday, by the athlete's clock", "sessions";
    sessions: u64, None, "Recorded sessions", "sessions";
    run_s: Option<f64>, Seconds, "Time run", "sessions";
    run_m: Option<f64>, Metres, "Distance run", "sessions";
    walk_s: Option<f64>, Seconds, "Time walked", "sessions";
    walk_m: Option<f64>, Metres, "Distance walked", "sessions";
    longest_run_s: Option<f64>, Seconds, "Longest unbroken run", "sessions";
    session_run_m_max: Option<f64>, Metres, "Run distance of the session with the most running", "sessions";
    session_run_m_max_before_30d: Option<f64>, Metres, "The same over the 30 days before that session", "sessions";
    spike_pct: Option<f64>, Percent, "Rise of the one over the other; a caution, no forecast", "session against 30 days (Frandsen and others 2025, adult runners)";
    run_change_pct: Option<f64>, Percent, "Change of the time run against the week before", "sessions";
    sessions_due: Option<u64>, None, "Planned sessions whose day fell into the week; empty without any", "plan file and squad file";
    sessions_attempted: Option<u64>, None, "Of these, those that a recording was laid on, in whichever week", "calendar";
    dose_pct: Option<f64>, Percent, "Run seconds credited against planned run seconds of these", "sum of min(done, planned) over sum of planned";
}

impl EventRow {
    /// The event as it was told.
    pub fn event(&self) -> Event {
        let part = match self.part.as_deref() {
            Some("rep") => Some(Gait::Run),
            Some("walk") => Some(Gait::Walk),
            _ => None,
        };
        Event {
            kind: self.event,
            part,
            number: self.number.map(|number| number as usize),
            at_s: self.at_s,
            to_s: self.to_s,
            planned_s: self.planned_s,
            done_s: self.done_s,
            confidence: self.confidence,
            text: self.text.clone(),
        }
    }
}

impl WeekRow {
    /// A week without recordings.
    pub fn new(athlete: &str, week: IsoWeek) -> Self {
        Self {
            athlete: athlete.to_owned(),
            week,
            sessions: 0,
            run_s: None,
            run_m: None,
            walk_s: None,
            walk_m: None,
            longest_run_s: None,
            session_run_m_max: None,
            session_run_m_max_before_30d: None,
            spike_pct: None,
            run_change_pct: None,
            sessions_due: None,
            sessions_attempted: None,
            dose_pct: None,
        }
    }
}

row! {
    #[derive(Clone, Debug, PartialEq)]
    ColumnRow in "columns", "One column of one table.":
    table: String, None, "Table; its file is `TABLE.csv`", "declaration";
    column: String, None, "Name in the header line", "declaration";
    holds: String, None, "Type of the cells: text, count, flag, decimal, day, local time or moment", "declaration";
    unit: Option<String>, None, "Unit of the cells", "declaration";
    decimals: Option<u64>, None, "Digits after the decimal point", "declaration";
    meaning: String, None, "What the value says", "declaration";
    source: String, None, "Where the value comes from", "declaration";
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::column::{Holds, Row, Unit};

    fn header<R: Row>() -> String {
        R::COLUMNS.iter().map(|column| column.name).collect::<Vec<_>>().join(",")
    }

    fn assert_begins(header: &str, fixed: &str) {
        assert!(header.starts_with(fixed), "{header}");
    }

    #[test]
    fn names_and_order_are_those_that_others_read() {
        assert_eq!(header::<FileRow>(), "file,status,format,sessions,points_kept,points_dropped,notes");
        // Further columns may follow the ones that others read.
        assert_begins(
            &header::<SessionRow>(),
            "athlete,file,session,start_local,start_utc,duration_s,distance_m,points,hr_mean_bpm,hr_share_pct,\
             plan_block,plan_session,planned,adherence_pct,dose_pct,breaks_pct,overdone_pct,reps_planned,reps_done,\
             reps_short,reps_missed,reps_extra,run_planned_s,run_s,run_m,walk_s,walk_m,stand_s,gap_s,longest_run_s,\
             longest_run_m,longest_run_start_s,run_pace_s_per_km,pace_drift_pct,run_hr_mean_bpm,hr_fall_60s_bpm,\
             run_cadence_spm,resolvable,confidence,notes",
        );
        assert_eq!(
            header::<BoutRow>(),
            "athlete,file,session,bout,kind,start_s,end_s,start_utc,duration_s,distance_m,pace_s_per_km,hr_mean_bpm,\
             hr_end_bpm,cadence_spm,confidence"
        );
        assert_eq!(
            header::<IntervalRow>(),
            "athlete,file,session,interval,kind,planned_s,planned_m,done_s,done_m,status,credit_pct,start_s"
        );
        assert_eq!(
            header::<EventRow>(),
            "athlete,file,session,event,part,number,at_s,to_s,planned_s,done_s,confidence,text"
        );
        assert_begins(
            &header::<AthleteRow>(),
            "athlete,sessions_due,sessions_attempted,attendance_pct,dose_pct,longest_run_s,longest_run_m,\
             longest_run_date,longest_run_trend_s_per_week,proposal,reasons,next_block,next_session",
        );
        assert_begins(
            &header::<WeekRow>(),
            "athlete,week,sessions,run_s,run_m,walk_s,walk_m,longest_run_s,session_run_m_max,\
             session_run_m_max_before_30d,spike_pct",
        );
    }

    fn check_units<R: Row>() {
        for column in R::COLUMNS {
            let unit = match column.name {
                "session_run_m_max" | "session_run_m_max_before_30d" => Unit::Metres,
                name if name.ends_with("_s_per_km") => Unit::SecondsPerKilometre,
                name if name.ends_with("_bpm_per_week") => Unit::BeatsPerMinutePerWeek,
                "run_per_beat_trend_m_per_week" => Unit::MetresPerBeatPerWeek,
                name if name.ends_with("_s_per_week") => Unit::SecondsPerWeek,
                name if name.ends_with("_s") => Unit::Seconds,
                name if name.ends_with("_m") => Unit::Metres,
                name if name.ends_with("_pct") => Unit::Percent,
                name if name.ends_with("_bpm") => Unit::BeatsPerMinute,
                name if name.ends_with("_spm") => Unit::StepsPerMinute,
                "confidence" => Unit::Probability,
                _ => Unit::None,
            };
            assert_eq!(column.unit, unit, "{} {}", R::TABLE, column.name);
            assert_eq!(column.holds == Holds::Decimal, unit != Unit::None, "{} {}", R::TABLE, column.name);
            assert!(!column.meaning.is_empty() && !column.source.is_empty());
        }
    }

    #[test]
    fn the_unit_in_a_name_is_the_unit_of_the_column() {
        check_units::<FileRow>();
        check_units::<SessionRow>();
        check_units::<BoutRow>();
        check_units::<IntervalRow>();
        check_units::<EventRow>();
        check_units::<AthleteRow>();
        check_units::<WeekRow>();
        check_units::<ColumnRow>();
    }
}
