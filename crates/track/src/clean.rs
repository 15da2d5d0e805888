//! From sessions as written to recordings that can be judged.
//!
//! In this order: points without time go, clocks are put right and points sorted, tracks become sessions, points at
//! the same time become one, positions that cannot be true are forgotten, sensor values lose their fill values, and
//! the unit of cadence is decided once for the whole file. Only these count as markers for "no value": heart rate 0
//! and 255, cadence 255 and 0 while moving, elevation −32768 and 99999, position 0/0 before the first fix.
//! Slow, noisy or coarse data are data and stay as they are.

mod cadence;
mod chain;
mod order;
mod place;
mod speed;
mod totals;
mod vehicle;

use crate::distance::{over_positions_m, over_totals_m};
use crate::note::{Lines, NoteKind, Notes};
use crate::points::count;
use crate::raw::RawSession;
use crate::timestamp::NS_PER_S;
use crate::{Clock, Format, Recording, Sport};

/// Tracks of one file closer than this belong to one session (own choice: a long rest, no second outing).
const SESSION_SPLIT_S: i64 = 1800;

/// Tracks of one file that overlap in time by more than this are recordings of their own (own choice).
const MAX_TRACK_OVERLAP_S: i64 = 10;

/// 2001-01-01T00:00:00Z. GPX itself is younger (2002), so an earlier date is that of a clock that was never set.
const CLOCK_SET_AFTER_S: i64 = 978_307_200;

/// Heart rates that mean no contact (common practice, no source).
const HEART_RATE_FILLS_BPM: [f64; 2] = [0.0, 255.0];

/// The cadence that means no value (common practice, no source).
const CADENCE_FILL: f64 = 255.0;

/// Elevations that mean no value: the least 16-bit number and all nines (common practice, no source).
const ELEVATION_FILLS_M: [f64; 2] = [-32_768.0, 99_999.0];

/// Share by which the device's distance and the positions may differ before it is noted.
const MAX_DISTANCE_DIFFERENCE: f64 = 0.03;

/// Median time between points from which a recording is too coarse for short bouts: 30 s (own choice).
const COARSE_NS: i64 = 30 * NS_PER_S;

/// A step longer than this with much way in it is a lost signal: 60 s (own choice).
const LOST_SIGNAL_NS: i64 = 60 * NS_PER_S;

/// Speed over a long step from which the person moved on, in m/s; below they stood (the limit of standing).
const STANDING_M_PER_S: f64 = 0.55;

/// A session on its way to a recording.
#[derive(Debug)]
struct Session {
    raw: RawSession,
    notes: Notes,
    points_found: usize,
}

/// Cleans the sessions of one file; `notes` gets what is noted about them.
pub(crate) fn clean(
    raw: Vec<RawSession>,
    format: Format,
    file_notes: &mut Notes,
    lines: &mut Lines<'_>,
) -> Vec<Recording> {
    let mut sessions: Vec<Session> = raw.into_iter().flat_map(timed).collect();
    sessions.sort_by_key(|session| session.raw.points.time_ns()[0]);
    if format == Format::Gpx {
        sessions = join_tracks(sessions);
    }
    for session in &mut sessions {
        clean_session(session);
    }
    let speeds: Vec<Vec<f64>> = sessions
        .iter()
        .map(|session| match cadence::has_any(session) || vehicle::may_be_driven(&session.raw.points) {
            true => speed::speeds_m_per_s(&session.raw.points),
            false => Vec::new(),
        })
        .collect();
    cadence::settle(&mut sessions, &speeds);
    let recordings = sessions.into_iter().zip(&speeds).enumerate();
    recordings
        .map(|(index, (session, speeds))| finish(session, speeds, index + 1, file_notes, lines))
        .collect()
}

/// Drops points without time and puts the others in order; several sessions where days lie between.
fn timed(raw: RawSession) -> Vec<Session> {
    let mut notes = Notes::default();
    let points_found = raw.points.len();
    let times_ns = raw.points.time_ns();
    let raw = if let Some(first) = times_ns.iter().position(|&time_ns| time_ns == crate::NO_TIME) {
        let timed: Vec<usize> =
            (0..points_found).filter(|&index| times_ns[index] != crate::NO_TIME).collect();
        let at = Some(raw.point_bytes[first]);
        notes.add_many(NoteKind::NoTime, (points_found - timed.len()) as u64, at, String::new);
        raw.select(&timed)
    } else {
        raw
    };
    let mut notes = Some(notes);
    let ordered = order::in_order(raw, &mut notes);
    let lost = points_found - ordered.iter().map(|(raw, _)| raw.points.len()).sum::<usize>();
    ordered
        .into_iter()
        .enumerate()
        .map(|(index, (raw, notes))| {
            let points_found = raw.points.len() + if index == 0 { lost } else { 0 };
            Session { raw, notes, points_found }
        })
        .collect()
}

/// Joins the tracks of a GPX file, sorted by their start, that follow each other closely.
fn join_tracks(tracks: Vec<Session>) -> Vec<Session> {
    let mut joined: Vec<Joined> = Vec::new();
    for track in tracks {
        let times_ns = track.raw.points.time_ns();
        let (start_ns, end_ns) = (times_ns[0], times_ns[times_ns.len() - 1]);
        if let Some(last) = joined.last_mut() {
            let pause_ns = start_ns.saturating_sub(last.end_ns);
            if (-MAX_TRACK_OVERLAP_S * NS_PER_S..=SESSION_SPLIT_S * NS_PER_S).contains(&pause_ns) {
                last.session.raw.append(track.raw);
                last.session.notes.absorb(&track.notes);
                last.session.points_found += track.points_found;
                last.overlaps |= pause_ns < 0;
                last.end_ns = last.end_ns.max(end_ns);
                continue;
            }
        }
        joined.push(Joined { session: track, end_ns, overlaps: false });
    }
    let sorted = joined.into_iter().map(|mut joined| {
        if joined.overlaps {
            order::sort(&mut joined.session);
        }
        joined.session
    });
    sorted.collect()
}

/// Tracks that follow each other closely.
struct Joined {
    session: Session,
    end_ns: i64,
    /// Whether a track begins before the end of those before it.
    overlaps: bool,
}

fn clean_session(session: &mut Session) {
    order::merge_same_times(session);
    place::forget_null_positions(session);
    place::forget_rounded_positions(session);
    if !place::is_steady(&session.raw.points) {
        place::part_merged_devices(session);
        place::forget_spikes(session);
        place::forget_wild_positions(session);
    }
    totals::restart(session);
    forget_fills(session);
}

/// Takes the declared fill values for missing.
fn forget_fills(session: &mut Session) {
    let RawSession { points, point_bytes, .. } = &mut session.raw;
    let columns: [(&mut Vec<f64>, [f64; 2], NoteKind); 3] = [
        (&mut points.heart_rate_bpm, HEART_RATE_FILLS_BPM, NoteKind::HeartRateFill),
        (&mut points.cadence_spm, [CADENCE_FILL; 2], NoteKind::CadenceFill),
        (&mut points.elevation_m, ELEVATION_FILLS_M, NoteKind::ElevationFill),
    ];
    for (column, [fill, other], kind) in columns {
        let is_fill = |value: f64| (value == fill) | (value == other);
        // Mostly there is none, which is seen several values at a time.
        if count(column, is_fill) == 0 {
            continue;
        }
        let mut found = (0, None);
        for (index, value) in column.iter_mut().enumerate().filter(|(_, value)| is_fill(**value)) {
            *value = f64::NAN;
            found = (found.0 + 1, found.1.or(Some(point_bytes[index])));
        }
        session.notes.add_many(kind, found.0, found.1, String::new);
    }
    for value in session.raw.bicycle_cadence_rpm.iter_mut().filter(|value| **value == CADENCE_FILL) {
        *value = f64::NAN;
    }
}

fn finish(
    session: Session,
    speeds_m_per_s: &[f64],
    number: usize,
    file_notes: &mut Notes,
    lines: &mut Lines<'_>,
) -> Recording {
    let Session { raw, mut notes, points_found } = session;
    let at = raw.point_bytes.first().copied();
    let points = raw.points;
    let faster_than_legs = if raw.sport == Sport::Cycling {
        Vec::new()
    } else {
        vehicle::faster_than_legs(&points, speeds_m_per_s)
    };
    for range in &faster_than_legs {
        notes.add_many(NoteKind::FasterThanLegs, 1, Some(raw.point_bytes[range.start]), String::new);
    }
    let clock = clock(points.time_ns()[0]);
    if clock == Clock::NotSet {
        notes.add_many(NoteKind::ClockNotSet, 1, at, String::new);
    }
    if raw.sport == Sport::Cycling {
        notes.add_many(NoteKind::Cycling, 1, at, String::new);
    }
    if points.len() == 1 {
        notes.add_many(NoteKind::SinglePoint, 1, at, String::new);
    }
    note_sampling(&points, &raw.point_bytes, &mut notes);
    note_distance(&points, &mut notes);
    file_notes.absorb(&notes);
    Recording {
        session: number,
        sport: raw.sport,
        points_dropped: points_found - points.len(),
        points,
        marks: raw.marks,
        utc_offset_s: raw.utc_offset_s,
        without_zone: false,
        device_key: raw.device_key,
        clock,
        faster_than_legs,
        notes: notes.finish(lines),
    }
}

fn clock(start_ns: i64) -> Clock {
    if start_ns < CLOCK_SET_AFTER_S * NS_PER_S { Clock::NotSet } else { Clock::Plausible }
}

fn note_sampling(points: &crate::Points, point_bytes: &[usize], notes: &mut Notes) {
    let steps_ns = || points.time_ns().windows(2).map(|pair| pair[1].saturating_sub(pair[0]));
    let steps = steps_ns().len();
    let (mut fine, mut short) = (0_usize, 0_usize);
    steps_ns().for_each(|step_ns| {
        fine = fine.wrapping_add(usize::from(step_ns < COARSE_NS));
        short = short.wrapping_add(usize::from(step_ns <= LOST_SIGNAL_NS));
    });
    // Where every position is known and no step long, none is lost.
    if short < steps || count(points.latitude_deg(), f64::is_nan) > 0 {
        note_lost_signal(points, point_bytes, notes);
    }
    let middle = steps / 2;
    if steps == 0 || fine > middle {
        return;
    }
    let mut steps_ns: Vec<i64> = steps_ns().collect();
    let (_, median_ns, _) = steps_ns.select_nth_unstable(middle);
    let median_s = *median_ns as f64 / NS_PER_S as f64;
    notes.add_many(NoteKind::Coarse, 1, None, || format!("median {median_s:.0} s"));
}

fn note_lost_signal(points: &crate::Points, point_bytes: &[usize], notes: &mut Notes) {
    let times_ns = points.time_ns();
    let mut last: Option<usize> = None;
    for index in 0..points.len() {
        let Some(position) = points.position(index) else { continue };
        if let Some(before) = last.replace(index)
            && times_ns[index] - times_ns[before] > LOST_SIGNAL_NS
            && let Some(from) = points.position(before)
        {
            let step_s = (times_ns[index] - times_ns[before]) as f64 / NS_PER_S as f64;
            if crate::step_m(from, position) > STANDING_M_PER_S * step_s {
                notes.add_many(NoteKind::LostSignal, 1, Some(point_bytes[before]), String::new);
            }
        }
    }
}

fn note_distance(points: &crate::Points, notes: &mut Notes) {
    if let Some(total_m) = over_totals_m(points, &[])
        && let Some(way_m) = over_positions_m(points, &[])
        && (total_m - way_m).abs() > MAX_DISTANCE_DIFFERENCE * total_m.max(way_m)
    {
        let kind = if points.positions_lead() || total_m == 0.0 {
            NoteKind::DistanceDiffers
        } else {
            NoteKind::DistanceLeads
        };
        notes.add_many(kind, 1, None, || format!("device {total_m:.0} m, positions {way_m:.0} m"));
    }
}
