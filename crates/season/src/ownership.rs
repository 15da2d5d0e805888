//! Whose is each recording: what names, devices, times and places say together.
//!
//! For every recording each athlete of the squad, and somebody else, is a possible owner. Every kind of evidence adds to
//! the logarithm of the odds:
//!
//! - **names** in the path, the author and the title;
//! - **author and device** inside the file, by how often the recordings that are sure already have them;
//! - **place and time** of the start, likewise;
//! - **what cannot be**: two recordings of one athlete at one time in two places.
//!
//! What is sure by that teaches the next round, until nothing new is sure. A device that no sure recording has is looked
//! at as a whole: all its recordings together may fit one athlete where none of them does by itself. Nothing is fitted:
//! the weights are own choices, and a test over drawn squads holds what they achieve.

use std::collections::{BTreeMap, HashMap};

use crate::name_tokens::{Held, NameParts, strange_words, words};

/// What a recording shows of its owner. Texts serve the comparison only and are never written anywhere.
#[derive(Clone, Debug, Default)]
pub struct TrackClues {
    /// Path below the audited folder.
    pub file: String,
    /// Number of the session in its file, from 1.
    pub session: usize,
    /// Title inside the file.
    pub title: Option<String>,
    /// Author inside the file.
    pub author: Option<String>,
    /// Device or program inside the file.
    pub device: Option<String>,
    /// Minutes after midnight of the start, by the local clock.
    pub start_minute: Option<f64>,
    /// Day of the week of the start, from 0 for Monday.
    pub weekday: Option<u32>,
    /// Latitude and longitude of the start in degrees.
    pub place_deg: Option<(f64, f64)>,
    /// For each athlete the log odds that the recording is a session of their plan; empty where no plan tells them apart.
    pub plan_log_odds: Vec<f64>,
    /// The athlete to whom the squad file gives the path.
    pub claimed: Option<usize>,
}

/// Two recordings that share time.
#[derive(Clone, Copy, Debug)]
pub struct SharedTime {
    /// Index of one.
    pub a: usize,
    /// Index of the other.
    pub b: usize,
    /// Median of the metres between positions at equal times, where both have them.
    pub apart_m: Option<f64>,
}

/// A kind of evidence, as `why` names it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Clue {
    /// The squad file's folder.
    SquadFolder,
    /// A name in the path.
    NameInPath,
    /// A name as the author inside the file.
    NameOfAuthor,
    /// A name in the title inside the file.
    NameInTitle,
    /// The author is that of recordings that are sure.
    Author,
    /// The device is that of recordings that are sure.
    Device,
    /// The usual place.
    Place,
    /// The usual time.
    Time,
    /// The plan.
    Plan,
    /// The others were recorded elsewhere at that time.
    OthersElsewhere,
}

impl Clue {
    /// The words.
    pub fn words(self) -> &'static str {
        match self {
            Self::SquadFolder => "the folder of the squad file",
            Self::NameInPath => "name in the path",
            Self::NameOfAuthor => "name of the author in the file",
            Self::NameInTitle => "name in the title",
            Self::Author => "author as in sure recordings",
            Self::Device => "device as in sure recordings",
            Self::Place => "usual place",
            Self::Time => "usual time",
            Self::Plan => "plan",
            Self::OthersElsewhere => "others were recorded at that time",
        }
    }
}

/// Whose a recording is likely to be.
#[derive(Clone, Debug, Default, PartialEq)]
#[non_exhaustive]
pub struct Ownership {
    /// Index of the athlete; `None` for nobody of the squad, or nobody likelier than others.
    pub athlete: Option<usize>,
    /// Whether it is sure enough to be left to itself.
    pub sure: bool,
    /// Probability of that athlete, by the weights.
    pub probability: f64,
    /// What speaks for it, the strongest first.
    pub clues: Vec<Clue>,
    /// Why it is not sure, in words that quote nothing.
    pub doubt: Option<&'static str>,
    /// Those whom it fits alike where nobody is likelier than others, by index.
    pub alike: Vec<usize>,
}

/// Weights of a name in log odds (own choice).
fn name_weight(held: Held) -> f64 {
    match held {
        Held::Nothing => 0.0,
        Held::Initials => 2.5,
        Held::Near => 3.5,
        Held::Part => 5.0,
        Held::PartAndInitial => 7.0,
        Held::Whole => 9.0,
    }
}

/// Share of a name's weight that a title has: titles also name company (own choice).
const TITLE_SHARE: f64 = 0.5;
/// Log odds for somebody else of a name that nobody of the squad has (own choice).
const STRANGE_NAME: f64 = 3.0;
/// Odds of somebody else, against an athlete (own choice).
const STRANGER_ODDS: f64 = 0.5;
/// Probability from which a recording is sure (own choice).
const SURE: f64 = 0.92;
/// Share of the likeliest athlete's probability from which another fits alike (own choice).
const ALIKE: f64 = 0.1;
/// Probability from which a recording is proposed at all (own choice).
const PROPOSED: f64 = 0.5;
/// Log odds against an athlete who was recorded elsewhere at that time (own choice: all but ruled out).
const ELSEWHERE: f64 = -14.0;
/// Metres within which two devices of one person lie in the median (own choice: errors of two receivers).
const ONE_PERSON_M: f64 = 20.0;
/// How many recordings' worth of doubt a device, author, place or time new to an athlete has (own choice).
const NEW_THINGS: f64 = 0.3;
/// Metres within which two starts are one place (own choice: a home and its street).
const PLACE_M: f64 = 250.0;
/// Minutes within which two starts are at one time of day (own choice).
const TIME_MINUTES: f64 = 45.0;
/// Share of the weight of place, time and plan, which hang together (own choice).
const HABIT_SHARE: f64 = 0.8;
/// Log odds from which a kind of evidence is named (own choice: three to one).
const NAMED: f64 = 1.1;
/// Rounds of learning at most; each makes at least one more recording sure (own choice).
const ROUNDS: usize = 60;
/// Recordings of an unknown device that are looked at as a whole at the least (own choice).
const DEVICE_MIN: usize = 2;

/// What the recordings that are sure say of each athlete.
#[derive(Default)]
struct Known {
    /// For each athlete the sure recordings.
    of: Vec<Vec<usize>>,
}

/// Finds the likely owner of each recording. `athletes` are the names of each: the first and the others.
///
/// ```
/// use boutwise_season::{SharedTime, TrackClues, assign};
/// let track = |file: &str, device: &str| TrackClues {
///     file: file.into(), device: Some(device.into()), ..TrackClues::default()
/// };
/// let tracks = [track("anna-1.gpx", "x"), track("anna-2.gpx", "x"), track("ben.gpx", "y"), track("17.gpx", "x")];
/// let owners = assign(&[vec!["Anna".into()], vec!["Ben".into()]], &tracks, &[]);
/// assert_eq!((owners[3].athlete, owners[2].athlete), (Some(0), Some(1)));
/// ```
pub fn assign(athletes: &[Vec<String>], tracks: &[TrackClues], shared: &[SharedTime]) -> Vec<Ownership> {
    let names: Vec<Vec<NameParts>> =
        athletes.iter().map(|names| names.iter().map(|name| NameParts::new(name)).collect()).collect();
    let mut sharing: Vec<Vec<(usize, Option<f64>)>> = vec![Vec::new(); tracks.len()];
    for pair in shared {
        sharing[pair.a].push((pair.b, pair.apart_m));
        sharing[pair.b].push((pair.a, pair.apart_m));
    }
    let fixed: Vec<Fixed> = tracks.iter().map(|track| Fixed::of(track, &names)).collect();
    let mut squad = Assigning { athletes: athletes.len(), tracks, sharing, fixed, owners: Vec::new() };
    squad.run();
    squad.owners
}

/// What a recording says by itself, for each athlete, and for somebody else at the end.
struct Fixed {
    by_clue: Vec<(Clue, Vec<f64>)>,
}

impl Fixed {
    fn of(track: &TrackClues, names: &[Vec<NameParts>]) -> Self {
        let held = |text: &str| -> Vec<Held> {
            let words = words(text);
            let best = |names: &Vec<NameParts>| names.iter().map(|name| name.held_in(&words)).max();
            names.iter().map(|names| best(names).unwrap_or_default()).collect()
        };
        // A part of a name counts less the more have it: whoever has the most of it is meant.
        let weights = |held: &[Held], share: f64, strange: bool| -> Vec<f64> {
            let most = held.iter().copied().max().unwrap_or_default();
            let mut weights: Vec<f64> = held
                .iter()
                .map(|held| share * if *held == most { name_weight(*held) } else { name_weight(*held) / 2.0 })
                .collect();
            weights.push(if strange && most == Held::Nothing { share * STRANGE_NAME } else { 0.0 });
            weights
        };
        let mut path = vec![0.0; names.len() + 1];
        // Every part of the path speaks, the file's own name first; the same name twice is not twice the proof.
        for (depth, part) in track.file.rsplit('/').enumerate() {
            let stem = part.rsplit_once('.').map_or(part, |(stem, _)| stem);
            let strange = depth == 0 && strange_words(stem).next().is_some();
            for (sum, weight) in path.iter_mut().zip(weights(&held(stem), 1.0, strange)) {
                *sum = f64::max(*sum, weight) + 0.2 * f64::min(*sum, weight);
            }
        }
        let mut by_clue = vec![(Clue::NameInPath, path)];
        if let Some(author) = &track.author {
            let strange = strange_words(author).next().is_some();
            by_clue.push((Clue::NameOfAuthor, weights(&held(author), 1.0, strange)));
        }
        if let Some(title) = &track.title {
            by_clue.push((Clue::NameInTitle, weights(&held(title), TITLE_SHARE, false)));
        }
        if !track.plan_log_odds.is_empty() {
            let mut plan: Vec<f64> = track.plan_log_odds.iter().map(|odds| HABIT_SHARE * odds).collect();
            plan.push(0.0);
            by_clue.push((Clue::Plan, plan));
        }
        if let Some(claimed) = track.claimed {
            // The squad file outranks every guess.
            let claim =
                (0..=names.len()).map(|athlete| if athlete == claimed { 100.0 } else { 0.0 }).collect();
            by_clue.push((Clue::SquadFolder, claim));
        }
        Self { by_clue }
    }
}

struct Assigning<'a> {
    athletes: usize,
    tracks: &'a [TrackClues],
    sharing: Vec<Vec<(usize, Option<f64>)>>,
    fixed: Vec<Fixed>,
    owners: Vec<Ownership>,
}

impl Assigning<'_> {
    fn run(&mut self) {
        self.owners = vec![Ownership::default(); self.tracks.len()];
        for _ in 0..ROUNDS {
            let known = self.known();
            let next = self.round(&known);
            let settled =
                next.iter().zip(&self.owners).all(|(a, b)| (a.athlete, a.sure) == (b.athlete, b.sure));
            self.owners = next;
            if settled {
                break;
            }
        }
        self.keep_apart();
    }

    fn known(&self) -> Known {
        let mut known = Known { of: vec![Vec::new(); self.athletes] };
        for (track, owner) in self.owners.iter().enumerate() {
            if let (Some(athlete), true) = (owner.athlete, owner.sure) {
                known.of[athlete].push(track);
            }
        }
        known
    }

    /// One round: the likely owner of each recording by what is known.
    fn round(&self, known: &Known) -> Vec<Ownership> {
        let by_device = self.whole_devices(known);
        (0..self.tracks.len())
            .map(|track| {
                let mut by_clue = self.evidence(track, known);
                if let Some(weights) =
                    self.tracks[track].device.as_ref().and_then(|device| by_device.get(device))
                {
                    by_clue.push((Clue::Device, weights.clone()));
                }
                owner(self.athletes, &by_clue)
            })
            .collect()
    }

    /// All that speaks about one recording.
    fn evidence(&self, track: usize, known: &Known) -> Vec<(Clue, Vec<f64>)> {
        let mut by_clue = self.fixed[track].by_clue.clone();
        let this = &self.tracks[track];
        let like = |clue: Clue, share: f64, alike: &dyn Fn(&TrackClues) -> Option<bool>| {
            self.by_likeness(track, known, alike)
                .map(|weights| (clue, weights.into_iter().map(|weight| share * weight).collect::<Vec<f64>>()))
        };
        if let Some(author) = &this.author {
            by_clue.extend(like(Clue::Author, 1.0, &|other| Some(other.author.as_ref()? == author)));
        }
        if let Some(device) = &this.device {
            by_clue.extend(like(Clue::Device, 1.0, &|other| Some(other.device.as_ref()? == device)));
        }
        by_clue.extend(self.habits(track, known));
        by_clue.push((Clue::OthersElsewhere, self.elsewhere(track)));
        by_clue
    }

    fn habits(&self, track: usize, known: &Known) -> Vec<(Clue, Vec<f64>)> {
        let this = &self.tracks[track];
        let like = |alike: &dyn Fn(&TrackClues) -> Option<bool>| self.by_likeness(track, known, alike);
        let mut by_clue = Vec::new();
        let mut add = |clue: Clue, share: f64, weights: Option<Vec<f64>>| {
            by_clue.extend(weights.map(|weights| {
                (clue, weights.into_iter().map(|weight| share * weight).collect::<Vec<f64>>())
            }));
        };
        if let Some(place) = this.place_deg {
            add(Clue::Place, HABIT_SHARE, like(&|other| Some(metres(place, other.place_deg?) <= PLACE_M)));
        }
        if let Some(minute) = this.start_minute {
            let alike = |other: &TrackClues| {
                let apart = (minute - other.start_minute?).abs();
                Some(apart.min(1440.0 - apart) <= TIME_MINUTES)
            };
            add(Clue::Time, HABIT_SHARE, like(&alike));
        }
        if let Some(weekday) = this.weekday {
            add(Clue::Time, HABIT_SHARE / 2.0, like(&|other| Some(other.weekday? == weekday)));
        }
        by_clue
    }

    /// Log odds of each athlete, and of somebody else, by how many of their sure recordings are alike, against how many
    /// of all are. `None` where nothing is known.
    fn by_likeness(
        &self,
        track: usize,
        known: &Known,
        alike: &dyn Fn(&TrackClues) -> Option<bool>,
    ) -> Option<Vec<f64>> {
        let count = |of: &mut dyn Iterator<Item = usize>| {
            let (mut all, mut same) = (0.0, 0.0);
            for other in of.filter(|other| *other != track) {
                if let Some(is_alike) = alike(&self.tracks[other]) {
                    all += 1.0;
                    same += f64::from(is_alike);
                }
            }
            (all, same)
        };
        let (all, same) = count(&mut (0..self.tracks.len()));
        let usual = (same + 0.5) / (all + 1.0);
        let weight =
            |all: f64, same: f64| ((same + NEW_THINGS * usual) / (all + NEW_THINGS)).ln() - usual.ln();
        // What is left are recordings of nobody yet: what they hardly have, somebody else hardly has. What they have says
        // nothing for somebody else, since they may still turn out to be an athlete's.
        let (mut left, mut left_same) = (all, same);
        let mut weights: Vec<f64> = (0..self.athletes)
            .map(|athlete| {
                let (all, same) = count(&mut known.of[athlete].iter().copied());
                left -= all;
                left_same -= same;
                weight(all, same)
            })
            .collect();
        weights.push(weight(left, left_same).min(0.0));
        (all > 0.0).then_some(weights)
    }

    /// What cannot be: those who were recorded elsewhere at that time.
    fn elsewhere(&self, track: usize) -> Vec<f64> {
        let mut weights = vec![0.0; self.athletes + 1];
        if self.tracks[track].claimed.is_some() {
            return weights;
        }
        for (other, apart_m) in &self.sharing[track] {
            if let Some(athlete) = self.owners[*other].athlete.filter(|_| self.owners[*other].sure)
                && !self.are_two_devices(track, *other, athlete, *apart_m)
            {
                weights[athlete] = ELSEWHERE;
            }
        }
        weights
    }

    /// Whether two recordings that share time are one athlete's on two devices: side by side, and both named. Without names
    /// they may as well be two people who run together.
    fn are_two_devices(&self, a: usize, b: usize, athlete: usize, apart_m: Option<f64>) -> bool {
        let is_named = |track: usize| {
            self.tracks[track].claimed == Some(athlete)
                || self.fixed[track].by_clue[0].1[athlete] >= name_weight(Held::Part)
        };
        apart_m.is_some_and(|apart_m| apart_m <= ONE_PERSON_M) && is_named(a) && is_named(b)
    }

    /// Devices that no sure recording has, and whose recordings never share time: to whom all of them together fit.
    fn whole_devices(&self, known: &Known) -> HashMap<&String, Vec<f64>> {
        let mut of_device: BTreeMap<&String, Vec<usize>> = BTreeMap::new();
        for (track, clues) in self.tracks.iter().enumerate() {
            if let Some(device) = &clues.device {
                of_device.entry(device).or_default().push(track);
            }
        }
        let is_known = |track: &usize| known.of.iter().any(|own| own.contains(track));
        let mut found = HashMap::new();
        for (device, tracks) in of_device {
            let shares = |track: &usize| self.sharing[*track].iter().any(|(other, _)| tracks.contains(other));
            if tracks.len() < DEVICE_MIN || tracks.iter().any(is_known) || tracks.iter().any(shares) {
                continue;
            }
            let mut sums = vec![0.0; self.athletes + 1];
            for track in &tracks {
                let mut by_clue = self.habits(*track, known);
                by_clue.push((Clue::OthersElsewhere, self.elsewhere(*track)));
                by_clue.push((Clue::NameInPath, self.fixed[*track].by_clue[0].1.clone()));
                for (_, weights) in by_clue {
                    sums.iter_mut().zip(weights).for_each(|(sum, weight)| *sum += weight);
                }
            }
            // What the recording itself says is counted again with it: half is enough.
            found.insert(device, sums.into_iter().map(|sum| 0.5 * sum).collect());
        }
        found
    }

    /// Leaves no athlete with two recordings at one time, beyond two devices side by side: the likelier stays.
    fn keep_apart(&mut self) {
        let mut order: Vec<usize> = (0..self.tracks.len()).collect();
        let rank = |track: &usize| {
            let owner = &self.owners[*track];
            (self.tracks[*track].claimed.is_some(), owner.sure, owner.probability)
        };
        order.sort_by(|a, b| {
            let (a_rank, b_rank) = (rank(a), rank(b));
            b_rank
                .0
                .cmp(&a_rank.0)
                .then(b_rank.1.cmp(&a_rank.1))
                .then(b_rank.2.total_cmp(&a_rank.2))
                .then(a.cmp(b))
        });
        let mut given: Vec<Option<usize>> = vec![None; self.tracks.len()];
        for track in order {
            let Some(athlete) = self.owners[track].athlete else { continue };
            let clash = self.sharing[track].iter().any(|(other, apart_m)| {
                given[*other] == Some(athlete) && !self.are_two_devices(track, *other, athlete, *apart_m)
            });
            if clash && self.tracks[track].claimed.is_none() {
                self.owners[track] = Ownership {
                    doubt: Some("the likeliest athlete was recorded elsewhere at that time"),
                    ..Ownership::default()
                };
            } else {
                given[track] = Some(athlete);
            }
        }
    }
}

/// The likeliest owner by all evidence.
fn owner(athletes: usize, by_clue: &[(Clue, Vec<f64>)]) -> Ownership {
    let mut sums = vec![0.0; athletes + 1];
    sums[athletes] = STRANGER_ODDS.ln();
    for (_, weights) in by_clue {
        sums.iter_mut().zip(weights).for_each(|(sum, weight)| *sum += weight);
    }
    let largest = sums.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = sums.iter().map(|sum| (sum - largest).exp()).sum();
    let best = (0..=athletes).max_by(|a, b| sums[*a].total_cmp(&sums[*b]).then(b.cmp(a))).unwrap_or(athletes);
    let probability = (sums[best] - largest).exp() / total;
    if best == athletes {
        return Ownership { doubt: Some("nobody of the squad fits"), probability, ..Ownership::default() };
    }
    // What sets this athlete apart from the mean of the others.
    let others = athletes.saturating_sub(1).max(1) as f64;
    let mut clues: Vec<(f64, Clue)> = by_clue
        .iter()
        .map(|(clue, weights)| {
            let rest: f64 =
                (0..athletes).filter(|athlete| *athlete != best).map(|athlete| weights[athlete]).sum();
            (weights[best] - rest / others, *clue)
        })
        .filter(|(weight, _)| *weight >= NAMED)
        .collect();
    clues.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut named: Vec<Clue> = Vec::new();
    for (_, clue) in clues {
        if !named.contains(&clue) {
            named.push(clue);
        }
    }
    let sure = probability >= SURE;
    let is_alike = |athlete: &usize| sums[*athlete] >= largest + ALIKE.ln();
    Ownership {
        alike: if probability >= PROPOSED { Vec::new() } else { (0..athletes).filter(is_alike).collect() },
        athlete: (probability >= PROPOSED).then_some(best),
        sure,
        probability,
        clues: named,
        doubt: (!sure).then_some(if probability >= PROPOSED {
            "others or somebody else may fit"
        } else {
            "several fit alike"
        }),
    }
}

/// Metres between two places, good to a percent over a town.
fn metres(a: (f64, f64), b: (f64, f64)) -> f64 {
    const METRES_PER_DEGREE: f64 = 111_195.0;
    let north = (a.0 - b.0) * METRES_PER_DEGREE;
    let turn = (a.1 - b.1 + 540.0).rem_euclid(360.0) - 180.0;
    let east = turn * METRES_PER_DEGREE * (0.5 * (a.0 + b.0)).to_radians().cos();
    north.hypot(east)
}
