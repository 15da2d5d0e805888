//! The rows of all tables. A column is declared here and nowhere else: name, type, unit (which fixes the
//! decimals), meaning, source.

use std::sync::Arc;

use boutwise_bouts::{EventKind, Gait, Kind};
use chrono::{DateTime, IsoWeek, NaiveDate, NaiveDateTime, Utc};

use crate::carried::CarriedCells;
use crate::column::row;
use boutwise_bouts::IntervalStatus;
use boutwise_season::{Verdict, ZoneSource};
use boutwise_track::Status;

use crate::word::{Part, PlannedOutcome, SessionOutcome};

row! {
    #[derive(Clone, Debug, PartialEq)]
    FileRow in "files", key ["file"], "One input file; every file of the input has its row.":
    file: String, None, "Path below the input folder, with `/`; a member of an archive is `outer.zip/inner.gpx`", "input folder";
    status: Status, None, "What became of it: `read`, `partial`, `failed`, `ignored` or `duplicate`", "reading";
    format: Option<String>, None, "Format as recognised by the content", "reading", empty "no recording was read";
    sessions: u64, None, "Sessions of it that have rows of their own or are nobody's by the owners file; of a copy, those found", "reading";
    points_kept: u64, None, "Points of these sessions", "reading and cleaning";
    points_dropped: Option<u64>, None, "Points that were left out; the notes say why", "reading and cleaning", empty "no recording was read";
    notes: Vec<String>, None, "What was odd, repaired or left out", "reading and cleaning", empty "nothing was odd";
}

row! {
    #[derive(Clone, Debug, Default, PartialEq)]
    SessionRow in "sessions", carries CarriedCells, key ["file", "session"], refers ["file"] to "files", refers ["athlete"] to "athletes", "One recorded session.":
    athlete: String, None, "Athlete", "squad file, else the first folder below the input folder";
    file: String, None, "Path below the input folder, with `/`", "input folder";
    session: u64, None, "Number of the session in its file, from 1", "recording";
    start_local: Option<NaiveDateTime>, None, "Start by the athlete's clock", "recording, in the zone of the squad file, the command or the recording", empty "no point has a valid time";
    start_utc: Option<DateTime<Utc>>, None, "Start: the first point with a valid time", "recording", empty "no point has a valid time";
    duration_s: Option<f64>, Seconds, "Last minus first time", "recording", empty "no point has a valid time";
    distance_m: Option<f64>, Metres, "Sum of the geodesics between kept positions, gaps bridged straight", "positions on the WGS-84 ellipsoid; the device's distance only where there are none", empty "neither positions nor the device tell it";
    points: Option<u64>, None, "Points with a valid time", "recording";
    hr_mean_bpm: Option<f64>, BeatsPerMinute, "Mean heart rate over the points that have one", "recording", empty "no point has a valid heart rate";
    hr_share_pct: Option<f64>, Percent, "Share of the points that have a valid heart rate", "recording", empty "no point has a valid time";
    plan_block: Option<String>, None, "Label of the plan block that the session was laid on", "plan file", empty "laid on no planned session";
    plan_session: Option<u64>, None, "Number of the planned session in its block, from 1", "plan file", empty "laid on no planned session";
    planned: Option<String>, None, "What was asked, in the notation of the plan", "plan file", empty "laid on no planned session";
    adherence_pct: Option<f64>, Percent, "How closely the session follows its plan, 0 to 100; does not rise when running is taken out of it", "{adherence.dose_weight} dose, {adherence.breaks_weight} breaks and {adherence.full_weight} full reps, with tolerance, over the best alignment (own choice)", empty "laid on no planned session, or running and walking cannot be told apart";
    dose_pct: Option<f64>, Percent, "Run seconds credited against planned run seconds", "sum of min(done, planned) over sum of planned (run_planned_s), over the reps, as far as they lie inside the recording", empty "laid on no planned session with a run in it, or running and walking cannot be told apart";
    breaks_pct: Option<f64>, Percent, "How far the walks between the reps were kept", "alignment of bouts and reps (own choice)", empty "laid on no planned session with a run in it, or running and walking cannot be told apart";
    overdone_pct: Option<f64>, Percent, "Run seconds beyond the plan, as a share of its run seconds; of a session that asks for walking alone all run seconds, as a share of the walking; no part of adherence", "alignment of bouts and reps (own choice)", empty "laid on no planned session, or running and walking cannot be told apart";
    reps_planned: Option<u64>, None, "Reps asked for", "plan file", empty "laid on no planned session with a run in it, or running and walking cannot be told apart";
    reps_done: Option<u64>, None, "Reps run in full, longer ones included", "alignment of bouts and reps", empty "laid on no planned session with a run in it, or running and walking cannot be told apart";
    reps_short: Option<u64>, None, "Reps run in part", "alignment of bouts and reps", empty "laid on no planned session with a run in it, or running and walking cannot be told apart";
    reps_missed: Option<u64>, None, "Reps not run", "alignment of bouts and reps", empty "laid on no planned session with a run in it, or running and walking cannot be told apart";
    reps_extra: Option<u64>, None, "Runs that no rep asked for", "alignment of bouts and reps", empty "laid on no planned session with a run in it, or running and walking cannot be told apart";
    run_planned_s: Option<f64>, Seconds, "Running asked for within what was recorded; of the whole session: run_planned_s in planned.csv", "plan file and events of the session", empty "laid on no planned session with a run in it, or running and walking cannot be told apart";
    run_s: Option<f64>, Seconds, "Time run", "run bouts";
    run_m: Option<f64>, Metres, "Distance run", "run bouts; filtered speed along the track";
    walk_s: Option<f64>, Seconds, "Time walked", "walk bouts";
    walk_m: Option<f64>, Metres, "Distance walked", "walk bouts; filtered speed along the track";
    stand_s: Option<f64>, Seconds, "Time standing", "stand bouts";
    gap_s: Option<f64>, Seconds, "Time without points", "gaps of more than {segmentation.gap_s} s, and as long without positions where nobody came on";
    longest_run_s: Option<f64>, Seconds, "Longest unbroken run", "the longest run bout", empty "nothing was run, or running and walking cannot be told apart";
    longest_run_m: Option<f64>, Metres, "Distance of the longest unbroken run", "the longest run bout", empty "nothing was run, or running and walking cannot be told apart";
    longest_run_start_s: Option<f64>, Seconds, "Start of the longest unbroken run, from the session's start", "the longest run bout", empty "nothing was run, or running and walking cannot be told apart";
    run_pace_s_per_km: Option<f64>, SecondsPerKilometre, "Pace of the running", "run_s and run_m", empty "too little running that can be told";
    pace_drift_pct: Option<f64>, Percent, "Change of the running pace over the session's run time; positive = slowing", "Theil-Sen line over {measures.drift.slice_s}-s slices of running, the first {measures.drift.skip_s} s of each bout left out (own choice)", empty "too little running that can be told";
    run_hr_mean_bpm: Option<f64>, BeatsPerMinute, "Mean heart rate over the points of the run bouts", "run bouts", empty "too few valid heart rates, or too little running or walking that can be told";
    hr_fall_60s_bpm: Option<f64>, BeatsPerMinute, "Fall of the heart rate from the end of a run into the walk break after it, 60 s on unless the settings say otherwise, median; compare within one person and one break length only", "last {measures.heart_rate_fall.end_s} s of the run against {measures.heart_rate_fall.window_s} s around second {measures.heart_rate_fall.after_s} of the walk (own choice)", empty "too few valid heart rates, a sensor that cannot be believed, or too little running or walking that can be told";
    run_cadence_spm: Option<f64>, StepsPerMinute, "Mean cadence while running", "run bouts", empty "no valid cadence while running";
    resolvable: Option<bool>, None, "Whether running and walking can be told apart in this recording", "segmentation";
    confidence: Option<f64>, Probability, "Probability that every run is right: their number, and each edge within 10 s", "segmentation, calibrated on invented sessions with known truth";
    notes: Vec<String>, None, "What was odd and what could not be told, with the reason", "all steps", empty "nothing was odd";
    outcome: Option<SessionOutcome>, None, "What became of the planned session here: `completed`, `modified` (run otherwise than planned), `cut short`, `walked` or `attended` (nobody can tell)", "terms of exercise trials (Nilsen and others 2018)", empty "laid on no planned session";
    too_short_to_judge: Option<bool>, None, "Whether reps under 45 s or walks under 18 s were asked for, which a single session cannot show to be cut", "accuracy of edges", empty "laid on no planned session, or running and walking cannot be told apart";
    walk_missing_s: Option<f64>, Seconds, "Walking between the reps that was left out or cut beyond tolerance", "alignment of bouts and reps", empty "laid on no planned session with a run in it, or running and walking cannot be told apart";
    pace_drift_low_pct: Option<f64>, Percent, "Lower end of Sen's 95 % interval of the pace drift, for slices that differ by chance alone; slow changes of pace make it too narrow. Where it holds 0 there is no clear drift", "Sen 1968, from memory", empty "too little running that can be told";
    pace_drift_high_pct: Option<f64>, Percent, "Upper end of the same interval", "Sen 1968, from memory", empty "too little running that can be told";
    speed_per_beat_loss_pct: Option<f64>, Percent, "Loss of speed for the same heart rate over the longest run, where it is long enough; heat does the same", "halves of a run of at least {measures.speed_per_beat.min_run_s} s, its first {measures.speed_per_beat.skip_s} s left out", empty "too few valid heart rates, a sensor that cannot be believed, or too little running or walking that can be told";
    run_hr_of_max_pct: Option<f64>, Percent, "Mean heart rate over the seconds of the run bouts, of the largest heart rate; empty where the sensor cannot be believed, though run_hr_mean_bpm is not", "squad file; else estimated from the year of birth, off by about {rules.predicted_max_hr_error_bpm} beats (Nes and others 2013)", empty "too few valid heart rates, a sensor that cannot be believed, a medicine that lowers the pulse, or too little running or walking that can be told";
    above_talkable_pct: Option<f64>, Percent, "Share of the run time above the heart rate at which speech is usually still comfortable", "{rules.talkable_pct_of_max_hr} % of the largest heart rate (Foster and others 2009)", empty "too few valid heart rates, a sensor that cannot be believed, a medicine that lowers the pulse, or too little running or walking that can be told";
    rep_end_hr_slope_bpm: Option<f64>, BeatsPerMinute, "Change of the heart rate at the end of the reps from rep to rep", "Theil-Sen line over the reps", empty "too few valid heart rates, a sensor that cannot be believed, a medicine that lowers the pulse, or too little running or walking that can be told";
    plan: Option<String>, None, "Title of the plan that the session was laid on", "plan file", empty "laid on no planned session";
    time_zone: Option<String>, None, "Time zone of start_local, as Area/City or offset", "squad file, command, settings, recording, position or other recordings; time_zone_source says which", empty "no point has a valid time";
    time_zone_source: Option<ZoneSource>, None, "What told the time zone: `squad`, `setting`, `recording`, `position`, `own` (most other recordings of the athlete), `others` (most of the squad, where no other of the athlete tells one) or `assumed`", "reading", empty "no point has a valid time";
    utc_offset_s: Option<f64>, Seconds, "How far start_local is ahead of UTC", "time zone", empty "no point has a valid time";
    counted: Option<bool>, None, "Whether this row stands in weeks.csv; of recordings that overlap only one does", "season";
    overlaps_file: Vec<String>, None, "Files with a recording of the same athlete that shares time with this one", "comparison of recordings", empty "none shares time with it";
    recorded_pct: Option<f64>, Percent, "Share of the planned run time that lies inside the recording", "events of the session", empty "laid on no planned session with runs, or not resolvable";
    reps_not_recorded: Option<u64>, None, "Planned reps that lie outside the recording: neither done nor missed", "events of the session", empty "laid on no planned session with runs, or not resolvable";
    reps_at_least: Option<u64>, None, "Runs that there surely were, where the session is not resolvable", "lowest hundredth of the ways the session may have been";
    longest_at_least_s: Option<f64>, Seconds, "What the longest unbroken run lasted at least, where the session is not resolvable", "lowest hundredth of the ways the session may have been";
    runs_low: Option<u64>, None, "Lower end of the 90 % interval of the number of runs", "the session played through as often as its doubts say";
    runs_high: Option<u64>, None, "Upper end of the 90 % interval of the number of runs", "the session played through as often as its doubts say";
    run_s_low: Option<f64>, Seconds, "Lower end of the 90 % interval of the time run", "the session played through as often as its doubts say";
    run_s_high: Option<f64>, Seconds, "Upper end of the 90 % interval of the time run", "the session played through as often as its doubts say";
    longest_low_s: Option<f64>, Seconds, "Lower end of the 90 % interval of the longest unbroken run", "the session played through as often as its doubts say";
    longest_high_s: Option<f64>, Seconds, "Upper end of the 90 % interval of the longest unbroken run", "the session played through as often as its doubts say";
    by_hand: Vec<String>, None, "What the coach said of it by hand: `use`, `athlete`, `plan` (which session it is, or none), `part` (from when to when it counts)", "corrections file", empty "nothing";
}

row! {
    #[derive(Clone, Debug, PartialEq)]
    BoutRow in "bouts", key ["file", "session", "bout"], refers ["file", "session"] to "sessions", "One bout: a stretch of one kind. The bouts of a session cover it without holes.":
    athlete: Arc<str>, None, "Athlete", "squad file, else the first folder below the input folder";
    file: Arc<str>, None, "Path below the input folder, with `/`", "input folder";
    session: u64, None, "Number of the session in its file, from 1", "recording";
    bout: u64, None, "Number of the bout in its session, from 1", "segmentation";
    kind: Kind, None, "`run`, `walk`, `stand` or `gap`", "segmentation";
    start_s: f64, Seconds, "Start, from the session's start", "segmentation";
    end_s: f64, Seconds, "End, from the session's start", "segmentation";
    #[serde(with = "as_moment")]
    start_utc: Option<DateTime<Utc>>, None, "Start as a moment", "recording and segmentation";
    duration_s: f64, Seconds, "End minus start", "segmentation";
    distance_m: Option<f64>, Metres, "Distance covered", "filtered speed along the track", empty "no movement was measured";
    pace_s_per_km: Option<f64>, SecondsPerKilometre, "Pace of a run or walk", "duration_s and distance_m", empty "it is no run or walk, or no movement was measured";
    hr_mean_bpm: Option<f64>, BeatsPerMinute, "Mean heart rate", "recording", empty "no point of the bout has a valid heart rate";
    hr_end_bpm: Option<f64>, BeatsPerMinute, "Mean heart rate of the last 5 s", "recording", empty "no point of its last 5 s has a valid heart rate";
    cadence_spm: Option<f64>, StepsPerMinute, "Mean cadence of both legs", "recording", empty "no point of the bout has a valid cadence";
    confidence: f64, Probability, "Probability that there was a bout of this kind of about this extent: intersection over union at least 0.5", "segmentation, calibrated on invented sessions with known truth";
}

row! {
    #[derive(Clone, Debug, PartialEq)]
    IntervalRow in "intervals", key ["file", "session", "interval"], refers ["file", "session"] to "sessions", "One planned interval of a session laid on its plan, or an extra run.":
    athlete: Arc<str>, None, "Athlete", "squad file, else the first folder below the input folder";
    file: Arc<str>, None, "Path below the input folder, with `/`", "input folder";
    session: u64, None, "Number of the session in its file, from 1", "recording";
    interval: u64, None, "Number of the interval in its session, from 1", "plan file";
    kind: Gait, None, "`run` or `walk`", "plan file";
    planned_s: Option<f64>, Seconds, "Time asked for; empty for a distance or an extra run", "plan file";
    planned_m: Option<f64>, Metres, "Distance asked for; empty for a time or an extra run", "plan file";
    done_s: Option<f64>, Seconds, "Time done; of a rep the run time in it, less what each rest inside it lasts beyond the length that costs nothing", "alignment of bouts and reps; a rest of up to {adherence.free_rest_s} s inside a rep costs nothing", empty "nothing of it was recorded, or it is a walk beside a missed rep, of which nobody can tell how much was walked";
    done_m: Option<f64>, Metres, "Distance done", "alignment of bouts and reps", empty "the same as of done_s, or its metres are not known";
    status: IntervalStatus, None, "`done`, `short`, `long`, `missed`, `not_recorded` (outside the recording; of a walk before the first rep or after the last also: nothing of it shows) or `extra`", "alignment of bouts and reps";
    credit_pct: Option<f64>, Percent, "Share of the interval that counts for adherence", "alignment of bouts and reps (own choice)", empty "never demanded";
    start_s: Option<f64>, Seconds, "Where it was begun, from the session's start", "alignment of bouts and reps", empty "it did not take place";
}

row! {
    #[derive(Clone, Debug, PartialEq)]
    EventRow in "events", key [], refers ["file", "session"] to "sessions", "One thing that happened in a session, told from bouts and plan, apart from the score.":
    athlete: Arc<str>, None, "Athlete", "squad file, else the first folder below the input folder";
    file: Arc<str>, None, "Path below the input folder, with `/`", "input folder";
    session: u64, None, "Number of the session in its file, from 1", "recording";
    event: EventKind, None, "What happened", "likeliest way to lay runs on reps (own choice)";
    part: Option<Part>, None, "The part of the plan that it happened in: `rep` or `walk`", "likeliest way to lay runs on reps (own choice)", empty "it belongs to no rep or walk";
    number: Option<u64>, None, "Number of the rep or walk, from 1; walk j lies between reps j and j + 1; how many for `rep_left_out`", "likeliest way to lay runs on reps (own choice)", empty "it belongs to no rep or walk, or nobody can tell to which";
    at_s: f64, Seconds, "Start, from the session's start", "bouts";
    to_s: f64, Seconds, "End, from the session's start", "bouts";
    planned_s: Option<f64>, Seconds, "Time asked for", "plan file", empty "a distance was asked for, or nothing";
    done_s: Option<f64>, Seconds, "Time done", "bouts", empty "nothing is measured by it";
    confidence: f64, Probability, "Probability that it happened within 10 s of where it stands", "segmentation, calibrated on invented sessions with known truth";
    text: String, None, "What happened, in a sentence", "the row";
}

row! {
    #[derive(Clone, Debug, Default, PartialEq)]
    AthleteRow in "athletes", carries CarriedCells, key ["athlete"], "One athlete.":
    athlete: String, None, "Athlete", "squad file, else the first folder below the input folder";
    sessions_due: Option<u64>, None, "Planned sessions due up to the as-of day", "plan file and squad file", empty "no plan";
    sessions_attempted: Option<u64>, None, "Due sessions that took place: a recording was laid on them, of a walked one too, or they were done without one by the coach's word", "calendar", empty "no plan";
    attendance_pct: Option<f64>, Percent, "Attempted of due", "calendar", empty "no plan, or nothing due";
    dose_pct: Option<f64>, Percent, "Run seconds credited against planned run seconds of all sessions due", "sum of run_done_s over sum of what was asked, over the due rows of planned.csv: of a missed one run_planned_s, of an attended one what was asked within the recording; those that nobody can tell or that were done by the coach's word are left out", empty "no plan, nothing due with a run in it, or none of the attended ones can be told";
    longest_run_s: Option<f64>, Seconds, "Longest unbroken run", "sessions", empty "no run that can be told";
    longest_run_m: Option<f64>, Metres, "Distance of the longest unbroken run", "sessions", empty "no run that can be told";
    longest_run_date: Option<NaiveDate>, None, "Day of the longest unbroken run, by the athlete's clock", "sessions", empty "no run that can be told";
    longest_run_trend_s_per_week: Option<f64>, SecondsPerWeek, "Change of the longest unbroken run per session", "Theil-Sen line over the last {rules.trend_weeks} weeks, at least {rules.trend_min_sessions} sessions (Sen 1968, from memory)", empty "too few sessions";
    proposal: Option<Verdict>, None, "`advance`, `hold`, `ease` or `stop`; empty = no call, the reasons say why. The coach decides", "rules and their settings, docs/files.md (own choice)", empty "no call: the reasons say why";
    reasons: Vec<String>, None, "The rule that fired and the figures compared; rest, caution and questions first", "rules and their settings, docs/files.md (own choice)";
    next_block: Option<String>, None, "Label of the plan block that comes next", "plan file and proposal", empty "nothing follows, or no plan";
    next_session: Option<u64>, None, "Number of the session in that block that comes next, from 1", "plan file and proposal", empty "nothing follows, or no plan";
    no_run_before: Option<NaiveDate>, None, "First day on which a run is proposed again, where extra rest is called for", "rules and their settings, docs/files.md (own choice)", empty "no extra rest is called for";
    sessions_completed: Option<u64>, None, "Due sessions done in full", "terms of exercise trials (Nilsen and others 2018)", empty "no plan";
    sessions_modified: Option<u64>, None, "Due sessions attended and run otherwise than planned, those cut short and walked included", "terms of exercise trials (Nilsen and others 2018)", empty "no plan";
    sessions_cut_short: Option<u64>, None, "Due sessions whose last reps are absent", "terms of exercise trials (Nilsen and others 2018)", empty "no plan";
    sessions_missed: Option<u64>, None, "Due sessions that no recording was laid on and that were not done without one by the coach's word", "terms of exercise trials (Nilsen and others 2018)", empty "no plan";
    sessions_interrupted: Option<u64>, None, "Of the missed ones: those in a row that is long enough to interrupt the plan", "{rules.interrupted_sessions} or more in a row: terms of exercise trials (Nilsen and others 2018)", empty "no plan";
    completion_mean_pct: Option<f64>, Percent, "Mean dose of the attended sessions that can be told; another question than the dose of all", "sessions", empty "no plan, or none of the attended ones can be told";
    longest_run_trend_low_s_per_week: Option<f64>, SecondsPerWeek, "Lower end of the 95 % interval of the trend", "Sen 1968, from memory", empty "too few sessions";
    longest_run_trend_high_s_per_week: Option<f64>, SecondsPerWeek, "Upper end of the 95 % interval of the trend", "Sen 1968, from memory", empty "too few sessions";
    run_rise_14d_pct: Option<f64>, Percent, "Growth of the distance run in the last 14 days against the 14 before; from a certain growth on a caution, not shown for certain", "sessions; a caution above {rules.rise_14_days_pct} % (Nielsen and others 2014)", empty "less than 28 days, nothing run in the earlier 14, or the metres of a session are not known";
    hr_fall_60s_trend_bpm_per_week: Option<f64>, BeatsPerMinutePerWeek, "Change of the fall of the heart rate in the walks, over sessions that ask for what the newest asks for", "hr_fall_60s_bpm, to second {measures.heart_rate_fall.after_s} of the walk, by a Theil-Sen line over the last {rules.trend_weeks} weeks, at least {rules.trend_min_sessions} sessions (Sen 1968, from memory)", empty "too few such sessions, or a medicine that lowers the pulse";
    run_per_beat_trend_m_per_week: Option<f64>, MetresPerBeatPerWeek, "Change of the metres run for each heartbeat: pace at like heart rate", "Theil-Sen line over the last {rules.trend_weeks} weeks, at least {rules.trend_min_sessions} sessions (Sen 1968, from memory)", empty "too few sessions, or a medicine that lowers the pulse";
    days_out_14d: Option<u64>, None, "Days with a run or a walk, of the last 14 unless the settings say otherwise", "sessions of the last {rules.habit_short_days} days";
    days_out_28d: Option<u64>, None, "Days with a run or a walk, of the last 28 unless the settings say otherwise", "sessions of the last {rules.habit_long_days} days";
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
    WeekRow in "weeks", key ["athlete", "week"], refers ["athlete"] to "athletes", "One athlete and one ISO week with a recording or a session due.":
    athlete: String, None, "Athlete", "squad file, else the first folder below the input folder";
    #[serde(with = "as_monday")]
    week: IsoWeek, None, "Week as ISO 8601 writes it, Monday to Sunday, by the athlete's clock", "sessions";
    sessions: u64, None, "Recorded sessions", "sessions";
    run_s: Option<f64>, Seconds, "Time run", "sessions", empty "no recording, or none that can be told";
    run_m: Option<f64>, Metres, "Distance run", "sessions", empty "no recording, or none that can be told, or the metres of one that can are not known";
    walk_s: Option<f64>, Seconds, "Time walked", "sessions", empty "no recording, or none that can be told";
    walk_m: Option<f64>, Metres, "Distance walked", "sessions", empty "no recording, or none that can be told, or the metres of one that can are not known";
    longest_run_s: Option<f64>, Seconds, "Longest unbroken run", "sessions", empty "no run that can be told";
    session_run_m_max: Option<f64>, Metres, "Run distance of the session with the most running", "sessions", empty "no run that can be told, or the metres of a session that can are not known";
    session_run_m_max_before_30d: Option<f64>, Metres, "The same over the days before that session, 30 unless the settings say otherwise", "sessions of the {rules.spike_window_days} days before", empty "no run that can be told, nothing before it to compare with, or the metres of a session there are not known";
    spike_pct: Option<f64>, Percent, "Rise of the one over the other; a caution, no forecast", "session against the {rules.spike_window_days} days before (Frandsen and others 2025, adult runners)", empty "no run that can be told, nothing before it to compare with, or the metres of a session there are not known";
    run_change_pct: Option<f64>, Percent, "Change of the time run against the week before", "sessions", empty "nothing before it to compare with";
    sessions_due: Option<u64>, None, "Planned sessions whose day fell into the week; empty without any", "plan file and squad file", empty "nothing fell due";
    sessions_attempted: Option<u64>, None, "Of these, those that took place in whichever week: a recording was laid on them, or they were done without one by the coach's word", "calendar", empty "nothing fell due";
    dose_pct: Option<f64>, Percent, "Run seconds credited against planned run seconds of these", "reckoned as in athletes.csv", empty "nothing fell due, nothing due had a run in it, or none of the attended ones can be told";
}

/// A moment, in forms for machines alone as its seconds since 1970 and nanoseconds: as text, which it is elsewhere, it would
/// cost more than all else of a bout.
mod as_moment {
    use chrono::{DateTime, Utc};
    use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error};

    type Moment = Option<DateTime<Utc>>;

    pub(super) fn serialize<S: Serializer>(moment: &Moment, serializer: S) -> Result<S::Ok, S::Error> {
        if serializer.is_human_readable() {
            return moment.serialize(serializer);
        }
        moment.map(|moment| (moment.timestamp(), moment.timestamp_subsec_nanos())).serialize(serializer)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Moment, D::Error> {
        if deserializer.is_human_readable() {
            return Moment::deserialize(deserializer);
        }
        let parts = Option::<(i64, u32)>::deserialize(deserializer)?;
        let moment = parts.map(|(seconds, nanoseconds)| DateTime::from_timestamp(seconds, nanoseconds));
        moment.map(|moment| moment.ok_or_else(|| D::Error::custom("no such moment"))).transpose()
    }
}

/// A week put by as its Monday.
mod as_monday {
    use chrono::{IsoWeek, NaiveDate, Weekday};
    use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error};

    use chrono::Datelike;

    pub(super) fn serialize<S: Serializer>(week: &IsoWeek, serializer: S) -> Result<S::Ok, S::Error> {
        NaiveDate::from_isoywd_opt(week.year(), week.week(), Weekday::Mon).serialize(serializer)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<IsoWeek, D::Error> {
        let monday = Option::<NaiveDate>::deserialize(deserializer)?;
        monday.map(|monday| monday.iso_week()).ok_or_else(|| D::Error::custom("no such week"))
    }
}

impl SessionRow {
    /// The day by the athlete's clock, else by UTC.
    pub(crate) fn day(&self) -> Option<NaiveDate> {
        self.start_local.map(|time| time.date()).or(self.start_utc.map(|time| time.date_naive()))
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
    #[derive(Clone, Debug, Default, PartialEq)]
    PlannedRow in "planned", carries CarriedCells, key ["athlete", "plan", "plan_block", "plan_session", "round"], refers ["athlete"] to "athletes", "One planned session of one athlete, missed ones too.":
    athlete: String, None, "Athlete", "squad file, else the first folder below the input folder";
    plan: String, None, "Title of the plan", "plan file";
    plan_block: String, None, "Label of the plan block", "plan file";
    plan_session: u64, None, "Number of the planned session in its block, from 1", "plan file";
    due_date: Option<NaiveDate>, None, "The plan's own day", "plan file and squad file", empty "the plan names no days";
    due: bool, None, "Whether it is due up to the as-of day", "calendar";
    outcome: Option<PlannedOutcome>, None, "What became of it: `completed`, `modified`, `cut short`, `attended` (walked, or nobody can tell), `missed`, `excused` or `said`", "terms of exercise trials (Nilsen and others 2018)", empty "not due yet";
    run_planned_s: Option<f64>, Seconds, "Running asked for by the whole session, also where less of it was recorded; within the recording: run_planned_s in sessions.csv", "plan file", empty "no running was asked for";
    run_done_s: Option<f64>, Seconds, "Running credited, as in the dose", "sum of min(done, planned) over the reps", empty "not attended, or nobody can tell";
    file: Option<String>, None, "File of the recording laid on it; of several the best attempt, whose outcome this is", "calendar", empty "no recording was laid on it";
    session: Option<u64>, None, "Number of that recording in its file, from 1", "calendar", empty "no recording was laid on it";
    days_late: Option<i64>, None, "Local day of that recording minus due_date, in days", "calendar", empty "no recording was laid on it, or the plan names no days";
    round: u64, None, "How often it fell due by now, this time included: 2 where the coach went back a block or the plan began again", "calendar";
    by_hand: bool, None, "Whether the coach said by hand that it was done, or that a recording is this session", "corrections file";
}

impl PlannedRow {
    /// Whether it was due and nothing was recorded of it.
    pub(crate) fn is_missed(&self) -> bool {
        self.outcome == Some(PlannedOutcome::Missed)
    }
}

row! {
    #[derive(Clone, Debug, Default, PartialEq)]
    NoteRow in "notes", key [], refers ["file"] to "files", "One oddity in one file or session; rows of one kind and quantity differ in their text. Never quotes the file.":
    file: String, None, "Path below the input folder, with `/`", "input folder";
    session: Option<u64>, None, "Number of the session in its file, from 1", "recording", empty "it is about the file as a whole";
    kind: String, None, "What kind of oddity, in a stable word", "reading, cleaning, segmentation and comparison of recordings";
    quantity: Option<String>, None, "The quantity that it is about", "reading and cleaning", empty "about none alone";
    count: u64, None, "How often it was seen", "reading and cleaning";
    line: Option<u64>, None, "Line of its first place, from 1", "reading", empty "it has no place";
    byte: Option<u64>, None, "Byte of its first place, from 0", "reading", empty "it has no place";
    text: String, None, "What was found and what was done about it", "all steps";
}

row! {
    #[derive(Clone, Debug, PartialEq)]
    ColumnRow in "columns", key ["table", "column"], "One column of one table.":
    table: String, None, "Table; its file is `TABLE.csv`", "declaration";
    column: String, None, "Name in the header line", "declaration";
    holds: String, None, "Type of the cells: text, count, flag, decimal, day, local time or moment", "declaration";
    unit: Option<String>, None, "Unit of the cells", "declaration";
    decimals: Option<u64>, None, "Digits after the decimal point", "declaration";
    meaning: String, None, "What the value says", "declaration";
    source: String, None, "Where the value comes from", "declaration";
    nullable: bool, None, "Whether a cell may be empty", "declaration";
    when_empty: Option<String>, None, "When a cell is empty", "declaration", empty "no cell ever is";
    allowed: Vec<String>, None, "The only texts that may stand in it", "declaration", empty "any may";
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
        assert_begins(
            &header::<PlannedRow>(),
            "athlete,plan,plan_block,plan_session,due_date,due,outcome,run_planned_s,run_done_s,file,session,days_late",
        );
        assert_eq!(header::<NoteRow>(), "file,session,kind,quantity,count,line,byte,text");
    }

    fn check_units<R: Row>() {
        for column in R::COLUMNS {
            // The ends of an interval have the unit of what lies between.
            let name = column.name.trim_end_matches("_low").trim_end_matches("_high");
            let unit = match name {
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
        check_units::<PlannedRow>();
        check_units::<NoteRow>();
        check_units::<ColumnRow>();
    }

    #[test]
    fn a_moment_is_the_same_in_binary_forms_and_as_text() {
        #[derive(Debug, PartialEq, serde::Serialize, serde::Deserialize)]
        struct Told(#[serde(with = "as_moment")] Option<DateTime<Utc>>);
        for text in ["\"2026-03-02T06:00:00.250Z\"", "\"1969-12-31T23:59:59.999999999Z\"", "null"] {
            let told: Told = serde_json::from_str(text).unwrap();
            assert_eq!(serde_json::to_string(&told).unwrap(), text);
            let bytes = postcard::to_stdvec(&told).unwrap();
            assert_eq!(postcard::from_bytes::<Told>(&bytes).unwrap(), told);
        }
    }
}
