//! Times cut to the hour in everything that is said.
//!
//! The season is judged from the times as they are; what is written of an athlete is cut afterwards. The start of a bout is that
//! of its session, cut, and the seconds until it, cut again: cut from the exact time it would tell, by the bout at which the
//! hour changes, the minute in which the session began.

use std::collections::HashMap;

use boutwise_report::{AthleteExtras, Tables};
use chrono::{DateTime, DurationRound, NaiveDateTime, NaiveTime, TimeDelta, Timelike, Utc};

use crate::rows::seconds;

/// What is said of it where a reader looks first.
pub(crate) const NOTE: &str = "Times of day are cut to the hour.";

/// Cuts the times of one athlete.
pub(crate) fn cut(tables: &mut Tables, extras: &mut AthleteExtras) {
    let mut starts: HashMap<(&str, u64), DateTime<Utc>> = HashMap::new();
    for row in &mut tables.sessions {
        row.start_local = row.start_local.map(local_hour);
        row.start_utc = row.start_utc.map(hour);
        starts.extend(row.start_utc.map(|start| ((row.file.as_str(), row.session), start)));
    }
    for row in &mut tables.bouts {
        let start = starts.get(&(&*row.file, row.session));
        row.start_utc = start.map(|start| hour(*start + seconds(row.start_s)));
    }
    for row in &mut tables.athletes {
        row.usual_start = row.usual_start.as_ref().map(|time| format!("{}:00", &time[..time.len().min(2)]));
    }
    if let Some(habit) = &mut extras.habit {
        habit.usual_time = habit.usual_time.and_then(|time| NaiveTime::from_hms_opt(time.hour(), 0, 0));
    }
    drop(starts);
    tables.sort();
}

fn hour(time: DateTime<Utc>) -> DateTime<Utc> {
    time.duration_trunc(TimeDelta::hours(1)).unwrap_or(time)
}

fn local_hour(time: NaiveDateTime) -> NaiveDateTime {
    time.duration_trunc(TimeDelta::hours(1)).unwrap_or(time)
}
