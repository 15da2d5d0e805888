//! What people make of a plan.

use boutwise_bouts::{Amount, Gait, Interval, Kind};

use crate::stretch::{Stretch, joined};
use crate::{Person, Random};

/// How a session departs from its plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Deviation {
    /// Done as asked.
    AsPlanned,
    /// Went home before the last rep.
    StoppedEarly,
    /// Walked through one rep.
    SkippedRun,
    /// Ran through one walk, so that two reps became one.
    MergedTwo,
    /// Every rep shorter than asked, the rest of it walked.
    ShortReps,
    /// Every walk longer than asked.
    LongWalks,
    /// One to three reps more than asked.
    ExtraReps,
    /// No running at all.
    WalkedItAll,
    /// No walking between the first and the last rep (or, of a single rep, before it).
    RanItAll,
    /// A walk in the middle of the longest rep.
    WalkedInARun,
    /// The last rep lasts so many seconds, as long as the person is able to; where that is less than asked, the rest of it
    /// is walked.
    AsLongAsAble {
        /// How long, in seconds.
        run_s: u32,
    },
}

impl Deviation {
    /// Those that departs-from-plan sessions of the tiers are drawn from, each as likely as the others.
    pub const TIER_DEVIATIONS: [Self; 8] = [
        Self::StoppedEarly,
        Self::SkippedRun,
        Self::MergedTwo,
        Self::ShortReps,
        Self::LongWalks,
        Self::ExtraReps,
        Self::WalkedItAll,
        Self::RanItAll,
    ];

    /// The word used in truth tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::AsPlanned => "as planned",
            Self::StoppedEarly => "stopped early",
            Self::SkippedRun => "skipped a run",
            Self::MergedTwo => "merged two runs",
            Self::ShortReps => "short runs",
            Self::LongWalks => "long walks",
            Self::ExtraReps => "extra runs",
            Self::WalkedItAll => "walked it all",
            Self::RanItAll => "ran it all",
            Self::WalkedInARun => "walked in a run",
            Self::AsLongAsAble { .. } => "as long as able",
        }
    }

    /// The stretches that this person did instead of the plan.
    pub(crate) fn perform(self, plan: &[Interval], person: &Person, random: &mut Random) -> Vec<Stretch> {
        let mut stretches = joined(plan.iter().map(|interval| as_asked(interval, person)));
        let runs: Vec<usize> = (0..stretches.len()).filter(|&i| stretches[i].kind == Kind::Run).collect();
        let (Some(&first), Some(&last)) = (runs.first(), runs.last()) else { return stretches };
        match self {
            Self::AsPlanned => {}
            Self::StoppedEarly => stop_early(&mut stretches, &runs, random),
            Self::SkippedRun => stretches[*random.pick(&runs)].kind = Kind::Walk,
            Self::MergedTwo if first < last => {
                let before = runs[random.whole(0, runs.len() - 2)];
                stretches[before + 1].kind = Kind::Run;
            }
            Self::ShortReps => shorten_runs(&mut stretches, random),
            Self::LongWalks if first < last => {
                let factor = random.between(LONG_WALK_FACTOR);
                let walks = stretches[first..last].iter_mut().filter(|s| s.kind == Kind::Walk);
                walks.for_each(|walk| walk.duration_s *= factor);
            }
            Self::ExtraReps => {
                let rep = stretches[last];
                let walk_s = if first < last { stretches[last - 1].duration_s } else { EXTRA_WALK_S };
                let extra = [Stretch { kind: Kind::Walk, duration_s: walk_s }, rep];
                for _ in 0..random.whole(1, if rep.duration_s > LONG_REP_S { 1 } else { 3 }) {
                    stretches.splice(last + 1..last + 1, extra);
                }
            }
            Self::WalkedItAll => stretches.iter_mut().for_each(|s| s.kind = Kind::Walk),
            Self::RanItAll => {
                let from = if first < last { first } else { 0 };
                stretches[from..=last].iter_mut().for_each(|s| s.kind = Kind::Run);
            }
            Self::AsLongAsAble { run_s } => {
                let rest_s = stretches[last].duration_s - f64::from(run_s);
                stretches[last].duration_s = f64::from(run_s);
                if rest_s > 0.0 {
                    stretches.insert(last + 1, Stretch { kind: Kind::Walk, duration_s: rest_s });
                }
            }
            Self::WalkedInARun | Self::MergedTwo | Self::LongWalks => {
                walk_in_a_run(&mut stretches, &runs, random)
            }
        }
        joined(stretches)
    }
}

/// Range of the factor on walks that are longer than asked. Own choice.
const LONG_WALK_FACTOR: (f64, f64) = (1.3, 2.0);
/// Range of the share of a rep that is run where reps are short. Own choice.
const SHORT_REP_SHARE: (f64, f64) = (0.5, 0.85);
/// No rep is cut below this. Own choice, above the shortest run that counts as a bout.
const SHORTEST_REP_S: f64 = 20.0;
/// The walk before an extra rep where the plan has none. Own choice.
const EXTRA_WALK_S: f64 = 90.0;
/// Reps longer than this are repeated at most once. Own choice.
const LONG_REP_S: f64 = 400.0;

fn as_asked(interval: &Interval, person: &Person) -> Stretch {
    let (kind, speed_m_per_s) = match interval.gait {
        Gait::Run => (Kind::Run, person.run_speed_m_per_s),
        Gait::Walk => (Kind::Walk, person.walk_speed_m_per_s),
    };
    let duration_s = match interval.amount {
        Amount::Seconds(duration_s) => duration_s,
        Amount::Metres(distance_m) => distance_m / speed_m_per_s,
    };
    Stretch { kind, duration_s }
}

fn stop_early(stretches: &mut Vec<Stretch>, runs: &[usize], random: &mut Random) {
    let walk_home = stretches.last().copied().filter(|s| s.kind == Kind::Walk && random.chance(0.7));
    let last_kept = runs[random.whole(0, runs.len().saturating_sub(2))];
    stretches.truncate(last_kept + 1);
    if runs.len() == 1 || random.chance(0.5) {
        let kept = &mut stretches[last_kept];
        kept.duration_s =
            (kept.duration_s * random.between((0.3, 0.8))).max(SHORTEST_REP_S.min(kept.duration_s));
    }
    stretches.extend(walk_home);
}

fn shorten_runs(stretches: &mut Vec<Stretch>, random: &mut Random) {
    let mut result = Vec::with_capacity(2 * stretches.len());
    for stretch in stretches.drain(..) {
        let mut kept = stretch;
        if stretch.kind == Kind::Run {
            let shortened_s = stretch.duration_s * random.between(SHORT_REP_SHARE);
            kept.duration_s = shortened_s.max(SHORTEST_REP_S.min(stretch.duration_s));
        }
        result.push(kept);
        result.push(Stretch { kind: Kind::Walk, duration_s: stretch.duration_s - kept.duration_s });
    }
    *stretches = result;
}

fn walk_in_a_run(stretches: &mut Vec<Stretch>, runs: &[usize], random: &mut Random) {
    let longest =
        runs.iter().copied().max_by(|&a, &b| stretches[a].duration_s.total_cmp(&stretches[b].duration_s));
    let Some(longest) = longest else { return };
    let run_s = stretches[longest].duration_s;
    let before_s = run_s * random.between((0.3, 0.5));
    let walk_s = (run_s * random.between((0.1, 0.25))).clamp(SHORTEST_REP_S, 120.0);
    let pieces = [(Kind::Run, before_s), (Kind::Walk, walk_s), (Kind::Run, run_s - before_s - walk_s)];
    stretches.splice(longest..=longest, pieces.map(|(kind, duration_s)| Stretch { kind, duration_s }));
}

/// Moves every boundary a little: people start when they hear or see the signal. No stretch loses more than a fifth.
pub(crate) fn with_reaction(stretches: &mut [Stretch], spread_s: f64, random: &mut Random) {
    for right in 1..stretches.len() {
        let (left_s, right_s) = (stretches[right - 1].duration_s, stretches[right].duration_s);
        let limit_s = (2.0 * spread_s).min(0.1 * left_s).min(0.1 * right_s);
        let shift_s = random.normal(spread_s).clamp(-limit_s, limit_s);
        stretches[right - 1].duration_s += shift_s;
        stretches[right].duration_s -= shift_s;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{PersonSettings, plans};

    fn performed(deviation: Deviation, plan: &[Interval], seed: u64) -> Vec<Stretch> {
        let mut random = Random::new(seed);
        let person = Person::draw(&PersonSettings::default(), &mut random);
        deviation.perform(plan, &person, &mut random)
    }

    fn runs_s(stretches: &[Stretch]) -> Vec<f64> {
        stretches.iter().filter(|s| s.kind == Kind::Run).map(|s| s.duration_s).collect()
    }

    #[test]
    fn each_deviation_does_what_its_name_says() {
        let plan = plans::session(300.0, &[70.0; 7], 80.0, 300.0);
        for seed in 0..20 {
            assert_eq!(runs_s(&performed(Deviation::AsPlanned, &plan, seed)), [70.0; 7]);
            assert!(runs_s(&performed(Deviation::StoppedEarly, &plan, seed)).len() < 7);
            assert_eq!(runs_s(&performed(Deviation::SkippedRun, &plan, seed)), [70.0; 6]);
            let merged = runs_s(&performed(Deviation::MergedTwo, &plan, seed));
            assert!(merged.len() == 6 && merged.contains(&220.0));
            let short = runs_s(&performed(Deviation::ShortReps, &plan, seed));
            assert!(short.len() == 7 && short.iter().all(|&s| (20.0..=59.5).contains(&s)));
            assert!(runs_s(&performed(Deviation::ExtraReps, &plan, seed)).len() > 7);
            assert!(runs_s(&performed(Deviation::WalkedItAll, &plan, seed)).is_empty());
            assert_eq!(runs_s(&performed(Deviation::RanItAll, &plan, seed)), [7.0 * 70.0 + 6.0 * 80.0]);
            for run_s in [30, 95] {
                let able = performed(Deviation::AsLongAsAble { run_s }, &plan, seed);
                let runs_s = runs_s(&able);
                assert_eq!((&runs_s[..6], runs_s[6]), (&[70.0; 6][..], f64::from(run_s)));
                // What is left of the rep is walked, and the walk home follows.
                let [.., run, home] = &able[..] else { panic!("{able:?}") };
                assert_eq!(run.duration_s + home.duration_s, f64::from(run_s).max(70.0) + 300.0);
            }
        }
    }

    #[test]
    fn a_single_rep_can_be_deviated_from_in_every_way() {
        let plan = plans::session(300.0, &[1200.0], 0.0, 0.0);
        let asked = performed(Deviation::AsPlanned, &plan, 1);
        for deviation in Deviation::TIER_DEVIATIONS {
            for seed in 0..20 {
                assert_ne!(performed(deviation, &plan, seed), asked, "{deviation:?}");
            }
        }
    }

    #[test]
    fn reaction_moves_boundaries_and_keeps_the_total() {
        let plan = plans::session(300.0, &[70.0; 7], 80.0, 300.0);
        let mut stretches = performed(Deviation::AsPlanned, &plan, 1);
        let total_s: f64 = stretches.iter().map(|s| s.duration_s).sum();
        with_reaction(&mut stretches, 2.0, &mut Random::new(3));
        let moved_s: f64 = stretches.iter().map(|s| s.duration_s).sum();
        assert!((total_s - moved_s).abs() < 1e-9);
        assert!(stretches.iter().all(|s| s.duration_s > 0.0));
        assert!(stretches.iter().any(|s| s.duration_s.fract() != 0.0));
    }
}
