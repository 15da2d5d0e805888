//! Recordings that cannot all be one person's.

use boutwise_season::{Rules, SharedTime};
use boutwise_track::Fingerprint;

/// Seconds that two recordings must share (own choice, as for copies: a button pressed twice).
const SHARED_S: f64 = 5.0;

/// Pairs of recordings of which what counts shares time, in order. `of` are the recordings with what tells who may be compared.
pub(crate) fn shared_times(of: &[&Fingerprint]) -> Vec<SharedTime> {
    let mut order: Vec<usize> = (0..of.len()).collect();
    let (start_ns, end_ns) = (|at: usize| of[at].counts_ns().0, |at: usize| of[at].counts_ns().1);
    order.sort_by_key(|at| start_ns(*at));
    let mut running: Vec<usize> = Vec::new();
    let mut shared = Vec::new();
    for at in order {
        running.retain(|other| end_ns(*other) > start_ns(at));
        for other in &running {
            let until_ns = end_ns(*other).min(end_ns(at));
            if until_ns.saturating_sub(start_ns(at)) as f64 * 1e-9 > SHARED_S {
                let (a, b) = ((*other).min(at), (*other).max(at));
                shared.push(SharedTime { a, b, apart_m: of[a].apart_m(of[b]) });
            }
        }
        running.push(at);
    }
    shared.sort_by_key(|pair| (pair.a, pair.b));
    shared
}

/// Why recordings of one athlete are taken for several people's, in words; `None` where they may be one person's.
pub(crate) fn of_several(of: &[&Fingerprint], rules: &Rules) -> Option<String> {
    let at_once = most_at_once(of);
    if at_once >= rules.overlap_at_once as usize {
        return Some(format!("{at_once} of {} recordings lie at one time", of.len()));
    }
    let shared = shared_times(of);
    let apart =
        shared.iter().filter(|pair| pair.apart_m.is_some_and(|apart_m| apart_m > rules.overlap_apart_m));
    let apart = apart.count();
    let is_often = apart >= rules.overlap_pairs as usize
        || 100.0 * apart as f64 >= rules.overlap_share_pct * of.len() as f64;
    (apart > 0 && is_often).then(|| {
        format!(
            "{apart} times two of {} recordings lie at one time and more than {:.0} m apart",
            of.len(),
            rules.overlap_apart_m
        )
    })
}

/// The most recordings that all share a moment and what follows it. Found without looking at pairs, of which there are many
/// where all lie at one time.
fn most_at_once(of: &[&Fingerprint]) -> usize {
    let shares = |from_ns: i64, to_ns: i64| to_ns.saturating_sub(from_ns) as f64 * 1e-9 > SHARED_S;
    let lasting =
        of.iter().map(|one| one.counts_ns()).filter(|(start_ns, end_ns)| shares(*start_ns, *end_ns));
    let (mut starts_ns, mut ends_ns): (Vec<i64>, Vec<i64>) = lasting.unzip();
    starts_ns.sort_unstable();
    ends_ns.sort_unstable();
    // The moment with the most is the beginning of one of them: those that have begun by then, without those that end too
    // soon after it.
    let at_start = |&start_ns: &i64| {
        let begun = starts_ns.partition_point(|&other_ns| other_ns <= start_ns);
        begun - ends_ns.partition_point(|&other_ns| !shares(start_ns, other_ns))
    };
    starts_ns.iter().map(at_start).max().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use boutwise_track::{Point, Position, Recording};

    use super::*;

    /// Ten minutes of a way northwards that all share, so many metres to the east of it.
    fn recording(start_s: i64, east_m: f64) -> Fingerprint {
        let points = (0..600).map(|second| Point {
            time_ns: Some((start_s + second) * 1_000_000_000),
            position: Some(Position {
                latitude_deg: (start_s + second) as f64 * 2e-5,
                longitude_deg: east_m / 111_319.5,
            }),
            ..Point::default()
        });
        Fingerprint::of(&Recording { points: points.collect(), ..Recording::default() })
    }

    fn found(recordings: &[(i64, f64)]) -> Option<String> {
        let recordings: Vec<Fingerprint> = recordings.iter().map(|(s, m)| recording(*s, *m)).collect();
        of_several(&recordings.iter().collect::<Vec<_>>(), &Rules::default())
    }

    #[test]
    fn three_at_one_time_are_several_people_and_two_devices_are_one() {
        assert_eq!(found(&[(0, 0.0), (100, 5.0), (200, 9.0)]).unwrap(), "3 of 3 recordings lie at one time");
        assert_eq!(found(&[(0, 0.0), (100, 5.0), (10_000, 0.0), (10_010, 8.0)]), None);
        // Each shares time with the next, but never three at once.
        let chain = [0, 550, 1100, 1650].map(|start_s| recording(start_s, 0.0));
        let chain: Vec<&Fingerprint> = chain.iter().collect();
        assert_eq!(most_at_once(&chain), 2);
        // A button pressed again after a few seconds too late.
        assert_eq!(found(&[(0, 0.0), (596, 400.0)]), None);
    }

    #[test]
    fn two_far_apart_are_several_people_where_it_is_no_single_slip() {
        let far = |pairs: i64, alone: i64| {
            let mut recordings = Vec::new();
            for at in 0..pairs {
                recordings.extend([(at * 10_000, 0.0), (at * 10_000 + 30, 60.0)]);
            }
            recordings.extend((0..alone).map(|at| (1_000_000 + at * 10_000, 0.0)));
            found(&recordings)
        };
        assert!(far(3, 60).unwrap().starts_with("3 times two of 66 recordings"));
        assert_eq!((far(2, 40), far(1, 9)), (None, None));
        assert!(far(1, 8).is_some());
    }
}
