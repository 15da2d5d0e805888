//! The device's totals of distance become one running total.

use super::Session;
use super::chain::{Sample, chains, without_excursions};
use super::place::{LEGS_M_PER_S, NOISE_M, VEHICLE_M_PER_S};
use crate::Sport;
use crate::note::NoteKind;
use crate::timestamp::NS_PER_S;

/// A total at a time.
#[derive(Clone, Copy, Debug)]
struct Total {
    index: usize,
    time_s: f64,
    /// Since when it has not changed: a device may renew it every minute only, and write it at each point.
    renewed_s: f64,
    metres: f64,
    /// The speed above which nobody goes on.
    most_m_per_s: f64,
}

impl Total {
    /// The most metres that can have been covered up to a later one.
    fn most_m(&self, next: &Self) -> f64 {
        NOISE_M + self.most_m_per_s * (next.time_s - self.renewed_s)
    }

    /// The metres that a later total shows to be covered since this one, where the count does not lead from one to the other.
    ///
    /// What a new count already shows was covered since its beginning; a mere step back shows nothing, and so does a leap.
    fn covered_m(&self, next: &Self) -> f64 {
        let begins_anew = next.metres <= 0.5 * self.metres && next.metres <= self.most_m(next);
        if begins_anew { next.metres } else { 0.0 }
    }

    /// Whether a later total is farther than anybody comes, or a new count begins with as much.
    fn leaps_to(&self, next: &Self) -> bool {
        let begins_at_m = if next.metres > self.metres { self.metres } else { 0.0 };
        let steps_back = next.metres < self.metres && next.metres > 0.5 * self.metres;
        !steps_back && next.metres - begins_at_m > self.most_m(next)
    }
}

impl Sample for Total {
    fn time_s(&self) -> f64 {
        self.time_s
    }

    fn leads_to(&self, next: &Self) -> bool {
        (0.0..=self.most_m(next)).contains(&(next.metres - self.metres))
    }
}

/// Makes the device's totals one running total: where they drop, as at laps, they begin anew (never the last, never
/// the largest). Values between two that go on from each other are dropouts, and a leap covers nothing.
pub(super) fn restart(session: &mut Session) {
    let totals_m = session.raw.points.distance_m();
    // In most recordings no step is too far at any speed, and none goes back.
    if totals_m.windows(2).all(|pair| (0.0..=NOISE_M).contains(&(pair[1] - pair[0]))) {
        return;
    }
    let totals = totals(session);
    if totals.is_empty() {
        return;
    }
    let kept = without_excursions(&chains(&totals));
    let mut running_m = vec![f64::NAN; totals_m.len()];
    let (mut before_m, mut last, mut leaps): (f64, Option<&Total>, Vec<usize>) = (0.0, None, Vec::new());
    for chain in kept {
        if let Some(last) = last.filter(|last| !last.leads_to(chain.first())) {
            before_m += last.metres + last.covered_m(chain.first()) - chain.first().metres;
            leaps.extend(last.leaps_to(chain.first()).then_some(chain.first().index));
        }
        chain.0.iter().for_each(|total| running_m[total.index] = total.metres + before_m);
        last = Some(chain.last());
    }
    leaps.extend(totals.iter().map(|total| total.index).filter(|index| running_m[*index].is_nan()));
    let at = leaps.iter().min().map(|index| session.raw.point_bytes[*index]);
    session.notes.add_many(NoteKind::DistanceLeap, leaps.len() as u64, at, String::new);
    session.raw.points.distance_m = running_m;
}

fn totals(session: &Session) -> Vec<Total> {
    let points = &session.raw.points;
    let start_ns = points.time_ns().first().copied().unwrap_or(0);
    let most_m_per_s = if session.raw.sport == Sport::Cycling { VEHICLE_M_PER_S } else { LEGS_M_PER_S };
    let mut renewed = (f64::NAN, 0.0);
    let total = |(index, (&metres, &time_ns)): (usize, (&f64, &i64))| {
        let time_s = (time_ns - start_ns) as f64 / NS_PER_S as f64;
        if metres != renewed.0 {
            renewed = (metres, time_s);
        }
        Total { index, time_s, renewed_s: renewed.1, metres, most_m_per_s }
    };
    let written = points.distance_m().iter().zip(points.time_ns()).enumerate();
    written.filter(|(_, (metres, _))| !metres.is_nan()).map(total).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::note::Notes;
    use crate::raw::RawSession;
    use crate::{Point, Points};

    /// The running totals that are left, a point a second, and how many values and steps were left out.
    fn restarted(totals_m: &[f64]) -> (Vec<f64>, u64) {
        let point = |(second, &total_m): (i64, &f64)| Point {
            time_ns: Some(second * NS_PER_S),
            distance_m: Some(total_m).filter(|total_m| !total_m.is_nan()),
            ..Point::default()
        };
        let points: Points = (0..).zip(totals_m).map(point).collect();
        let raw = RawSession { point_bytes: (0..points.len()).collect(), points, ..RawSession::default() };
        let points_found = totals_m.len();
        let mut session = Session { raw, notes: Notes::default(), points_found };
        restart(&mut session);
        let left = session.raw.points.distance_m().iter().copied().filter(|total_m| !total_m.is_nan());
        (left.collect(), session.notes.total())
    }

    #[test]
    fn totals_that_restart_go_on() {
        let (totals_m, noted) = restarted(&[10.0, 20.0, f64::NAN, 0.0, 15.0, 2.0, 9.0]);
        assert_eq!((totals_m.as_slice(), noted), ([10.0, 20.0, 20.0, 35.0, 37.0, 44.0].as_slice(), 0));
    }

    #[test]
    fn a_total_that_steps_back_a_little_is_no_restart() {
        let (totals_m, noted) = restarted(&[1000.0, 1002.0, 1001.0, 1004.0]);
        assert_eq!((totals_m.as_slice(), noted), ([1000.0, 1002.0, 1002.0, 1005.0].as_slice(), 0));
    }

    #[test]
    fn a_total_that_is_renewed_every_minute_leaps_by_what_was_covered_in_it() {
        for every_s in [30, 60, 300] {
            let totals_m: Vec<f64> =
                (0..=1200).map(|second| 2.5 * f64::from(second / every_s * every_s)).collect();
            assert_eq!(restarted(&totals_m), (totals_m, 0), "{every_s}");
        }
    }

    #[test]
    fn one_odd_total_makes_no_distance() {
        for odd_m in [0.0, 600.0, 5000.0, 99_999.0, 900_000.0] {
            for at in [0, 1, 400, 998, 999] {
                let mut totals_m: Vec<f64> =
                    (0..1000).map(|second| 1000.0 + 2.0 * f64::from(second)).collect();
                totals_m[at] = odd_m;
                let (left, noted) = restarted(&totals_m);
                let covered_m = left[left.len() - 1] - left[0];
                let is_between = (1..999).contains(&at);
                assert_eq!(covered_m, if is_between { 1998.0 } else { 1996.0 }, "{odd_m} at {at}");
                assert!(!is_between || (left.len(), noted) == (999, 1), "{odd_m} at {at}");
            }
        }
    }

    #[test]
    fn a_count_that_leaps_for_good_goes_on_without_the_leap() {
        let (left, noted) = restarted(&[10.0, 12.0, 4000.0, 4002.0, 4004.0, 700.0, 702.0]);
        assert_eq!((left.as_slice(), noted), ([10.0, 12.0, 12.0, 14.0, 16.0, 16.0, 18.0].as_slice(), 2));
    }
}
