//! Made sessions and what is told of them.

use super::*;
use crate::Amount;

/// Speeds of made bouts in metres per second.
const WALK_M_PER_S: f64 = 1.4;
const RUN_M_PER_S: f64 = 2.4;

/// A part of a plan or of a session, as the table writes it.
#[derive(Clone, Debug)]
struct Piece {
    amount: Amount,
    word: String,
}

/// Reads `5:00 walk, 9 x (0:40 run, 1:20 walk)`.
fn pieces(text: &str) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let mut rest = text.trim();
    while !rest.is_empty() {
        let end = match rest.split_once('(') {
            Some((before, _)) if !before.contains(',') => rest.find(')').unwrap() + 1,
            _ => rest.find(',').unwrap_or(rest.len()),
        };
        let (item, after) = rest.split_at(end);
        rest = after.trim_start_matches([',', ' ']);
        match item.split_once(" x (") {
            Some((count, inner)) => {
                let group = self::pieces(inner.trim_end_matches(')'));
                (0..count.trim().parse::<usize>().unwrap()).for_each(|_| pieces.extend(group.clone()));
            }
            None => {
                let (amount, word) = item.trim().rsplit_once(' ').unwrap();
                let amount = match amount.strip_suffix(" m") {
                    Some(metres) => Amount::Metres(metres.parse().unwrap()),
                    None if amount == "breaks" => Amount::Seconds(0.0),
                    None => {
                        let (minutes, seconds) = amount.split_once(':').unwrap();
                        Amount::Seconds(
                            60.0 * minutes.parse::<f64>().unwrap() + seconds.parse::<f64>().unwrap(),
                        )
                    }
                };
                pieces.push(Piece { amount, word: word.to_owned() });
            }
        }
    }
    pieces
}

fn plan(text: &str) -> Vec<Interval> {
    pieces(text)
        .iter()
        .map(|piece| Interval {
            gait: if piece.word == "run" { Gait::Run } else { Gait::Walk },
            amount: piece.amount,
        })
        .collect()
}

/// A made recording.
#[derive(Clone, Debug, Default)]
struct Made {
    bouts: Vec<Bout>,
    vehicles: Vec<Range<f64>>,
    unseen: Vec<Range<f64>>,
    breaks_off: bool,
    is_part: bool,
}

impl Made {
    fn new(text: &str) -> Self {
        let mut made = Self::default();
        for Piece { amount, word } in pieces(text) {
            let kind = match word.as_str() {
                "run" => Kind::Run,
                "walk" => Kind::Walk,
                "stand" => Kind::Stand,
                "pause" | "drive" | "hole" => Kind::Gap,
                "off" => {
                    made.breaks_off = true;
                    continue;
                }
                other => panic!("{other}"),
            };
            let seconds = match amount {
                Amount::Seconds(seconds) => seconds,
                Amount::Metres(metres) => metres / RUN_M_PER_S,
            };
            made.add(kind, seconds);
            let last = made.bouts.last().map(|bout| bout.start_s..bout.end_s);
            match word.as_str() {
                "drive" => made.vehicles.extend(last),
                "hole" => made.unseen.extend(last),
                _ => {}
            }
        }
        made
    }

    /// Adds seconds of a kind; what is like the bout before it joins that.
    fn add(&mut self, kind: Kind, seconds: f64) {
        let start_s = self.bouts.last().map_or(0.0, |bout| bout.end_s);
        let metres = match kind {
            Kind::Run => Some(RUN_M_PER_S * seconds),
            Kind::Walk => Some(WALK_M_PER_S * seconds),
            Kind::Stand | Kind::Gap => None,
        };
        match self.bouts.last_mut() {
            Some(last) if last.kind == kind && kind != Kind::Gap => {
                last.end_s += seconds;
                last.distance_m = last.distance_m.zip(metres).map(|(before, more)| before + more);
            }
            _ => {
                let bout = Bout::new(kind, start_s, start_s + seconds);
                self.bouts.push(Bout { distance_m: metres, ..bout });
            }
        }
    }

    /// What a recording holds that begins and ends at these seconds.
    fn between(&self, from_s: f64, to_s: f64) -> Self {
        let mut made = Self::default();
        for bout in &self.bouts {
            let seconds = bout.end_s.min(to_s) - bout.start_s.max(from_s);
            if seconds > 0.0 {
                made.add(bout.kind, seconds);
            }
        }
        made
    }

    /// What is told of it beside a plan where it is this likely that every run is right.
    fn told_in_doubt(&self, planned: &str, confidence: f64) -> Vec<String> {
        let observed = Observed::of(&self.bouts, confidence);
        shorts(&read_events(&plan(planned), &observed, &AdherenceSettings::default()))
    }

    fn read(&self, plan: &[Interval]) -> Reading {
        let observed = Observed {
            bouts: &self.bouts,
            vehicles: &self.vehicles,
            unseen: &self.unseen,
            doubt: None,
            confidence: 1.0,
            breaks_off: self.breaks_off,
            is_part: self.is_part,
        };
        read_events(plan, &observed, &AdherenceSettings::default())
    }
}

/// An event as the table writes it.
fn short(event: &Event) -> String {
    let mut words = vec![event.kind.word().to_owned()];
    match event.part {
        Some(Gait::Run) => words.push("rep".to_owned()),
        Some(Gait::Walk) => words.push("walk".to_owned()),
        None => {}
    }
    words.extend(event.number.map(|number| number.to_string()));
    words.join(" ")
}

fn shorts(reading: &Reading) -> Vec<String> {
    reading.events.iter().map(short).collect()
}

#[test]
fn a_rep_in_pieces_is_as_long_as_it_is_credited_and_at_least_its_longest_piece() {
    for (done, done_s, text) in [
        (
            "10:00 run, 5:00 walk, 10:00 run",
            910.0,
            "Rep 1 was run in pieces, 20:00 with 5:00 of rest between: counts as 15:10 of 20:00.",
        ),
        (
            "6:00 run, 12:00 walk, 4:00 run",
            360.0,
            "Rep 1 was run in pieces, 10:00 with 12:00 of rest between: counts as 6:00 of 20:00.",
        ),
    ] {
        let told = Made::new(&format!("5:00 walk, {done}, 5:00 walk"))
            .read(&plan("5:00 walk, 20:00 run, 5:00 walk"));
        let [event] = &told.events[..] else { panic!("{told:?}") };
        assert_eq!(
            (event.kind, event.done_s, event.text.as_str()),
            (EventKind::RepShort, Some(done_s), text)
        );
        assert!(told.rep_lacking);
    }
}

#[test]
fn made_sessions_are_told_as_a_coach_would() {
    let table = include_str!("../../../../testdata/events.txt");
    let mut planned = Vec::new();
    let (mut sessions, mut wrong) = (0, Vec::new());
    for line in table.lines().filter(|line| !line.is_empty() && !line.starts_with('#')) {
        if let Some(text) = line.strip_prefix("plan: ") {
            planned = plan(text);
            continue;
        }
        let [title, done, expected] = line.splitn(3, '|').collect::<Vec<_>>()[..] else { panic!("{line}") };
        let mut expected: Vec<&str> =
            expected.split(';').map(str::trim).filter(|event| !event.is_empty()).collect();
        let told = shorts(&Made::new(done).read(&planned));
        let mut told: Vec<&str> = told.iter().map(String::as_str).collect();
        expected.sort_unstable();
        told.sort_unstable();
        sessions += 1;
        if told != expected {
            wrong.push(format!("{title}: expected {expected:?}, told {told:?}"));
        }
    }
    assert!(wrong.is_empty(), "{} of {sessions}:\n{}", wrong.len(), wrong.join("\n"));
    assert!(sessions >= 80, "{sessions}");
}

/// Plans of the sweeps.
const SWEPT: [&str; 4] = [
    "6:00 walk, 9 x (0:40 run, 1:20 walk), 4:00 walk",
    "6:00 walk, 7 x (1:10 run, 1:20 walk), 4:00 walk",
    "5:00 walk, 8:00 run, 2:00 walk, 8:00 run, 5:00 walk",
    "6:00 walk, 1:00 run, 1:20 walk, 2:00 run, 1:20 walk, 3:00 run, 4:00 walk",
];

/// A session that follows its plan but for what `change` does to the seconds of each piece.
fn changed(text: &str, change: impl Fn(usize, bool, f64) -> f64) -> Made {
    let mut made = Made::default();
    for (index, piece) in pieces(text).iter().enumerate() {
        let Amount::Seconds(seconds) = piece.amount else { panic!("{piece:?}") };
        let is_run = piece.word == "run";
        made.add(if is_run { Kind::Run } else { Kind::Walk }, change(index, is_run, seconds));
    }
    made
}

/// Events that would reproach somebody who did as planned.
fn is_reproach(event: &Event) -> bool {
    use EventKind::*;
    matches!(
        event.kind,
        StoppedAfter
            | RepWalked
            | RepLeftOut
            | RepsJoined
            | WalkShort
            | RepShort
            | RanThrough
            | WalkedThrough
    )
}

fn reproaches(made: &Made, planned: &[Interval]) -> Vec<String> {
    made.read(planned).events.iter().filter(|event| is_reproach(event)).map(short).collect()
}

#[test]
fn reps_and_walks_a_few_seconds_off_are_no_reproach() {
    let nothing: [String; 0] = [];
    for text in SWEPT {
        let planned = plan(text);
        let count = pieces(text).len();
        for off in -6..=8 {
            let off_s = f64::from(off);
            for one in 0..count {
                let made =
                    changed(text, |index, _, seconds| if index == one { seconds + off_s } else { seconds });
                assert_eq!(reproaches(&made, &planned), nothing, "{text}: part {one} {off} s");
            }
            let all_reps = changed(text, |_, is_run, seconds| if is_run { seconds + off_s } else { seconds });
            assert_eq!(reproaches(&all_reps, &planned), nothing, "{text}: reps {off} s");
            let shifted =
                changed(text, |_, is_run, seconds| if is_run { seconds + off_s } else { seconds - off_s });
            assert_eq!(reproaches(&shifted, &planned), nothing, "{text}: edges {off} s");
        }
    }
}

#[test]
fn one_long_rep_and_home_is_one_long_rep_and_home() {
    let text = SWEPT[2];
    for over in 0..=120 {
        let made = Made::new(&format!("5:00 walk, {}:{:02} run, 6:00 walk", 8 + over / 60, over % 60));
        let told = shorts(&made.read(&plan(text)));
        let long = if over > 72 { vec!["rep_long rep 1"] } else { vec![] };
        assert_eq!(told, [&long[..], &["stopped_after rep 1"]].concat(), "{over} s over");
    }
}

#[test]
fn an_edge_of_the_recording_is_never_told_as_stopping() {
    for text in SWEPT {
        let planned = plan(text);
        let whole = Made::new(text);
        let end_s = whole.bouts.last().unwrap().end_s;
        let runs: Vec<&Bout> = whole.bouts.iter().filter(|bout| bout.kind == Kind::Run).collect();
        let (first_s, last_s) = (runs[0].start_s, runs[runs.len() - 1].end_s);
        let mut at_s = 0.0;
        while at_s < end_s - 10.0 {
            for (made, is_late) in
                [(whole.between(at_s, end_s), true), (whole.between(0.0, at_s + 10.0), false)]
            {
                let edge_s = if is_late { at_s } else { at_s + 10.0 };
                let name = format!("{text}: {} at {edge_s}", if is_late { "begun" } else { "ended" });
                let reading = made.read(&planned);
                let told = shorts(&reading);
                let bad: Vec<&Event> = reading.events.iter().filter(|event| is_reproach(event)).collect();
                assert!(bad.is_empty(), "{name}: {told:?}");
                let kind = if is_late { EventKind::RecordingLate } else { EventKind::RecordingCut };
                let inside = runs.iter().position(|run| {
                    let tolerance_s = 6.0_f64.min(0.12 * run.duration_s());
                    edge_s > run.start_s + if is_late { tolerance_s } else { 0.0 }
                        && edge_s < run.end_s - if is_late { 0.0 } else { tolerance_s }
                });
                match inside {
                    Some(rep) => assert_eq!(told, [format!("{} rep {}", kind.word(), rep + 1)], "{name}"),
                    None if edge_s <= first_s && is_late || edge_s >= last_s && !is_late => {
                        assert!(told.is_empty(), "{name}: {told:?}")
                    }
                    None => {
                        let [event] = &reading.events[..] else { panic!("{name}: {told:?}") };
                        assert!(event.kind == kind || event.kind == EventKind::CannotSay, "{name}: {told:?}");
                    }
                }
            }
            at_s += 10.0;
        }
    }
}

#[test]
fn what_lies_outside_is_taken_out_of_the_plan_before_it_is_scored() {
    let planned = plan(SWEPT[0]);
    let settings = AdherenceSettings::default();
    let made = Made::new("6:00 walk, 6 x (0:40 run, 1:20 walk), 0:20 run");
    let reading = made.read(&planned);
    assert_eq!(reading.recorded_pct.map(f64::round), Some(72.0)); // 260 of 360 s.
    let matched = crate::match_recorded(&planned, &made.bouts, reading.inside.as_ref(), &settings).unwrap();
    let running = matched.running.unwrap();
    assert_eq!((matched.adherence_pct, running.dose_pct, running.breaks_pct), (100.0, 100.0, 100.0));
    let reps = running.reps;
    assert_eq!((reps.planned, reps.done, reps.short, reps.missed, reps.not_recorded), (9, 6, 0, 0, 3));
    let statuses: Vec<&str> =
        matched.intervals.iter().filter(|row| row.gait == Gait::Run).map(|row| row.status.word()).collect();
    assert_eq!(statuses[5..], ["done", "not_recorded", "not_recorded", "not_recorded"]);
    assert_eq!(matched.intervals.len(), 1 + 9 + 8 + 2);
    let seventh = matched.intervals.iter().filter(|row| row.gait == Gait::Run).nth(6).unwrap();
    assert_eq!((seventh.planned_s, seventh.done_s), (Some(40.0), Some(20.0)));
}

#[test]
fn what_a_hole_hides_is_taken_out_of_the_plan_wherever_it_lies() {
    let planned = plan("5:00 walk, 4 x (1:40 run, 1:20 walk), 2:00 walk");
    let settings = AdherenceSettings::default();
    let rep = "1:40 run, 1:20 walk";
    let statuses = |recorded: &str| {
        let made = Made::new(recorded);
        let reading = made.read(&planned);
        let matched =
            crate::match_recorded(&planned, &made.bouts, reading.inside.as_ref(), &settings).unwrap();
        let running = matched.running.unwrap();
        assert_eq!((running.dose_pct, running.reps.planned), (100.0, 4), "{recorded}");
        // All that was asked for has its row, and nothing was asked for that is too short to be judged.
        let asked = matched.intervals.iter().filter(|row| row.status != crate::IntervalStatus::Extra);
        assert_eq!((asked.count(), matched.too_short_to_judge), (10, false), "{recorded}");
        let runs = matched.intervals.iter().filter(|row| row.gait == Gait::Run);
        let statuses: Vec<&str> = runs.map(|row| row.status.word()).collect();
        assert_eq!(
            running.reps.not_recorded,
            statuses.iter().filter(|status| **status == "not_recorded").count(),
            "{recorded}"
        );
        (statuses.join(" "), reading.recorded_pct.map(f64::round))
    };
    let cases = [
        (
            format!("5:00 walk, {rep}, 3:00 hole, {rep}, {rep}, 2:00 walk"),
            "done not_recorded done done",
            75.0,
        ),
        (
            format!("5:00 walk, 3:00 hole, {rep}, {rep}, {rep}, 2:00 walk"),
            "not_recorded done done done",
            75.0,
        ),
        (
            format!("5:00 walk, {rep}, {rep}, {rep}, 3:00 hole, 2:00 walk"),
            "done done done not_recorded",
            75.0,
        ),
        (
            format!("5:00 walk, {rep}, 6:00 hole, {rep}, 2:00 walk"),
            "done not_recorded not_recorded done",
            50.0,
        ),
        // Half a minute of the second one shows, and a hole of as long as all of it and its walk.
        (
            format!("5:00 walk, {rep}, 0:30 run, 2:30 hole, {rep}, {rep}, 2:00 walk"),
            "done not_recorded done done",
            83.0,
        ),
    ];
    for (recorded, expected, pct) in cases {
        assert_eq!(statuses(&recorded), (expected.to_owned(), Some(pct)), "{recorded}");
    }
}

#[test]
fn a_hole_in_a_rep_is_told_with_its_rep_and_leaves_open_whether_it_lacked_anything() {
    let planned = plan("5:00 walk, 2 x (5:00 run, 2:00 walk), 3:00 walk");
    let read = |first: &str| Made::new(&format!("5:00 walk, {first}, 5:00 run, 5:00 walk")).read(&planned);
    let broken = read("1:00 run, 0:40 hole, 2:00 run, 2:00 walk");
    assert_eq!(shorts(&broken), ["cannot_say rep 1", "paused rep 1"]);
    assert_eq!(broken.events[1].text, "The recording has a hole of 0:40.");
    assert_eq!(
        read("1:00 run, 0:40 pause, 2:00 run, 2:00 walk").events[1].text,
        "The recording pauses for 0:40."
    );
    // What it lacks may have been run in a hole beside it, be it little, and not beside a walk.
    assert!(read("4:40 run, 2:20 walk").rep_lacking);
    let beside = read("4:40 run, 0:40 hole, 1:40 walk");
    assert!(!beside.rep_lacking, "{:?}", shorts(&beside));
    assert_eq!(shorts(&beside), ["cannot_say rep 1", "paused"]);
}

#[test]
fn a_hole_in_a_rep_makes_it_neither_short_nor_a_run_of_its_own_nor_the_walk_long() {
    let settings = AdherenceSettings::default();
    let one = "5:00 walk, 20:00 run, 4:00 walk";
    let four = "5:00 walk, 4 x (4:00 run, 1:30 walk), 4:00 walk";
    let rest = "2 x (4:00 run, 1:30 walk), 4:00 walk";
    for (planned, recorded, hole_s, rep) in [
        (one, "5:00 walk, 4:00 run, 0:25 hole, 15:35 run, 4:00 walk".to_owned(), 25.0, 1),
        (one, "5:00 walk, 4:00 run, 1:30 hole, 14:30 run, 4:00 walk".to_owned(), 90.0, 1),
        (one, "5:00 walk, 4:00 run, 8:20 hole, 7:40 run, 4:00 walk".to_owned(), 500.0, 1),
        (
            one,
            "5:00 walk, 4:00 run, 1:30 hole, 6:00 run, 5:00 hole, 3:30 run, 4:00 walk".to_owned(),
            390.0,
            1,
        ),
        (
            four,
            format!("5:00 walk, 4:00 run, 1:30 walk, 0:21 run, 0:31 hole, 3:08 run, 1:30 walk, {rest}"),
            31.0,
            2,
        ),
        // Of the last nine seconds after the hole nothing shows.
        (four, format!("5:00 walk, 4:00 run, 1:30 walk, 3:20 run, 0:31 hole, 1:39 walk, {rest}"), 40.0, 2),
    ] {
        let (made, planned) = (Made::new(&recorded), plan(planned));
        let reading = made.read(&planned);
        let told: Vec<String> =
            shorts(&reading).into_iter().filter(|told| !told.starts_with("paused")).collect();
        assert_eq!(told, [format!("cannot_say rep {rep}")], "{recorded}");
        let inside = reading.inside.as_ref();
        let matched = crate::match_recorded(&planned, &made.bouts, inside, &settings).unwrap();
        let running = matched.running.unwrap();
        assert!(matched.adherence_pct > 99.5 && matched.overdone_pct == 0.0, "{recorded}: {matched:?}");
        let reps = running.reps;
        assert_eq!((reps.short, reps.missed, reps.extra, reps.not_recorded), (0, 0, 0, 1), "{recorded}");
        let row = matched.intervals.iter().filter(|row| row.gait == Gait::Run).nth(rep - 1).unwrap();
        assert_eq!(row.done_s.zip(row.planned_s).map(|(done_s, planned_s)| planned_s - done_s), Some(hole_s));
    }
    // A hole that may hide a walk and parts of both reps joins none.
    let two = plan("5:00 walk, 2 x (8:30 run, 1:00 walk), 3:00 walk");
    let around = Made::new("5:00 walk, 4:00 run, 8:20 hole, 5:40 run, 4:00 walk").read(&two);
    assert_eq!(shorts(&around), ["cannot_say rep 1", "paused", "cannot_say rep 2"]);
    // A pause is seen to be one, and what is rested beside a hole is rest.
    let paused = Made::new("5:00 walk, 4:00 run, 1:30 pause, 14:30 run, 4:00 walk").read(&plan(one));
    assert!(paused.inside.is_none() && paused.rep_lacking, "{:?}", shorts(&paused));
    let rested = Made::new("5:00 walk, 10:00 run, 2:00 walk, 0:30 hole, 2:00 walk, 10:00 run, 4:00 walk");
    let holes = Inside { holes: rested.unseen.clone(), ..Inside::of(0..1) };
    let matched = crate::match_recorded(&plan(one), &rested.bouts, Some(&holes), &settings).unwrap();
    assert_eq!(matched.running.unwrap().dose_pct, 100.0 * (1200.0 - 230.0) / 1200.0);
}

/// By hand a part counts, and the file goes on beyond it: nothing is said of where the recording ends.
#[test]
fn the_edges_of_a_part_cut_by_hand_are_no_edges_of_the_recording() {
    let planned = plan(SWEPT[0]);
    let whole = Made::new("6:00 walk, 9 x (0:40 run, 1:20 walk), 4:00 walk");
    let edges = |is_part| -> Vec<String> {
        let part = Made { is_part, ..whole.between(610.0, 1100.0) };
        part.read(&planned).events.into_iter().map(|event| event.text).collect()
    };
    let (recording, part) = (edges(false), edges(true));
    assert!(recording.len() >= 2 && recording.iter().all(|text| text.starts_with("The recording ")));
    let said = |text: &String| text.replacen("The recording", "The part that counts by hand", 1);
    assert_eq!(part, recording.iter().map(said).collect::<Vec<_>>());
}

#[test]
fn a_session_that_cannot_be_told_is_a_question_and_nothing_else_is_said_of_its_runs() {
    let made = Made::new("10:00 walk, 1:30 stand, 10:00 run");
    let observed = Observed { doubt: Some("Walked or jogged?"), ..Observed::of(&made.bouts, 0.5) };
    let reading = read_events(&plan(SWEPT[0]), &observed, &AdherenceSettings::default());
    assert_eq!(shorts(&reading), ["cannot_say", "stood"]);
    assert_eq!((reading.inside, reading.recorded_pct), (None, None));
}

#[test]
fn many_runs_on_a_long_plan_are_read_in_time() {
    let planned = plan("40 x (0:40 run, 1:20 walk)");
    let made = Made::new("300 x (0:20 run, 0:15 walk)");
    assert!(!made.read(&planned).events.is_empty());
}

/// What is told of a session that follows the second plan as far as `done` says; `doubted` is a bout and its confidence.
fn told_in_doubt(done: &str, session: f64, doubted: (usize, f64)) -> Vec<String> {
    let mut made = Made::new(done);
    made.bouts[doubted.0].confidence = doubted.1;
    made.told_in_doubt(SWEPT[1], session)
}

#[test]
fn where_a_walk_may_hide_a_run_nobody_is_said_to_have_run_less() {
    let stopped = "6:00 walk, 3 x (1:10 run, 1:20 walk), 6:00 walk";
    assert_eq!(told_in_doubt(stopped, 0.85, (6, 0.95)), ["stopped_after rep 3"]);
    assert_eq!(told_in_doubt(stopped, 0.85, (6, 0.88)), ["cannot_say"]);
    assert_eq!(told_in_doubt(stopped, 0.92, (6, 0.88)), ["stopped_after rep 3"]);
    let walked = "6:00 walk, 2 x (1:10 run, 1:20 walk), 2:30 walk, 4 x (1:10 run, 1:20 walk), 4:00 walk";
    assert_eq!(told_in_doubt(walked, 0.7, (4, 0.9)), ["rep_walked rep 3"]);
    assert_eq!(told_in_doubt(walked, 0.7, (4, 0.8)), ["cannot_say"]);
    assert_eq!(told_in_doubt(walked, 0.7, (10, 0.8)), ["rep_walked rep 3"]);
}

#[test]
fn a_part_is_off_its_plan_only_beyond_what_doubt_explains() {
    let long = "6:00 walk, 1:10 run, 1:36 walk, 6 x (1:10 run, 1:20 walk), 4:00 walk";
    assert_eq!(told_in_doubt(long, 0.7, (2, 1.0)), ["walk_long walk 1"]);
    assert!(told_in_doubt(long, 0.7, (2, 0.6)).is_empty());
    // Where no planned walk lies beside a rep, nothing shows where its boundary is.
    let last = "6:00 walk, 6 x (1:10 run, 1:20 walk), 0:55 run, 6:00 walk";
    let fourth =
        "6:00 walk, 3 x (1:10 run, 1:20 walk), 0:55 run, 1:20 walk, 3 x (1:10 run, 1:20 walk), 4:00 walk";
    assert!(told_in_doubt(last, 0.7, (1, 1.0)).is_empty());
    assert_eq!(told_in_doubt(fourth, 0.7, (1, 1.0)), ["rep_short rep 4"]);
}

#[test]
fn what_one_boundary_explains_is_told_of_neither_side() {
    let one = "6:00 walk, 0:40 run, 1:50 walk, 6 x (1:10 run, 1:20 walk), 4:00 walk";
    assert_eq!(told_in_doubt(one, 0.96, (2, 1.0)), ["rep_short rep 1", "walk_long walk 1"]);
    assert!(told_in_doubt(one, 0.94, (2, 1.0)).is_empty());
    // The walk need not be so long that it would be told.
    let less = "6:00 walk, 0:52 run, 1:31 walk, 6 x (1:10 run, 1:20 walk), 4:00 walk";
    assert!(told_in_doubt(less, 0.8, (2, 1.0)).is_empty());
    assert_eq!(
        told_in_doubt("6:00 walk, 0:35 run, 2:40 walk, 6 x (1:10 run, 1:20 walk), 4:00 walk", 0.7, (2, 1.0)),
        ["walk_long walk 1"],
        "with the boundary where the rep is as planned the walk is still too long"
    );
}

#[test]
fn a_first_walk_that_may_hide_reps_is_told_as_reps_walked_only_in_a_sure_session() {
    let walked = "6:00 walk, 2:30 walk, 6 x (1:10 run, 1:20 walk), 4:00 walk";
    assert_eq!(told_in_doubt(walked, 0.8, (0, 0.97)), ["cannot_say"]);
    assert_eq!(told_in_doubt(walked, 0.86, (0, 0.97)), ["rep_walked rep 1"]);
}

#[test]
fn a_first_walk_in_which_the_end_of_a_rep_may_hide_is_no_sign_of_stopping() {
    let late = "2:00 walk, 2 x (1:10 run, 1:20 walk), 4:00 walk";
    assert_eq!(told_in_doubt(late, 0.94, (0, 0.97)), ["cannot_say"]);
    assert_eq!(told_in_doubt(late, 0.96, (0, 0.97)), ["stopped_after rep 2"]);
    let warm_up = "3:00 walk, 2 x (1:10 run, 1:20 walk), 4:00 walk";
    assert_eq!(told_in_doubt(warm_up, 0.94, (0, 0.97)), ["stopped_after rep 2"]);
}

#[test]
fn a_session_walked_slower_than_anybody_jogs_is_walked_whatever_short_run_shows_in_it() {
    let told = |done: &str, walk_m_per_s: f64, session: f64| {
        let mut made = Made::new(done);
        for walk in made.bouts.iter_mut().filter(|bout| bout.kind == Kind::Walk) {
            walk.distance_m = Some(walk_m_per_s * walk.duration_s());
        }
        let observed = Observed::of(&made.bouts, session);
        shorts(&read_events(&plan(SWEPT[1]), &observed, &AdherenceSettings::default()))
    };
    // As long a walk as the whole session before it, and nearly none after it.
    for done in ["11:38 walk, 0:19 run, 18:14 walk", "23:20 walk, 0:29 run, 1:28 walk"] {
        assert_eq!(told(done, 1.35, 0.65), ["walked_through"], "{done}");
        assert_eq!(told(done, 1.6, 0.9), ["cannot_say"], "{done}");
        assert_eq!(told(done, 1.6, 0.96), ["walked_through"], "{done}");
    }
}

#[test]
fn reps_that_show_as_one_doubtful_run_are_a_question_and_the_rest_is_told() {
    let joined = "6:00 walk, 2 x (1:10 run, 1:20 walk), 3:40 run, 1:20 walk, 1:10 run, 2:00 walk, 2 x (1:10 run, 1:20 walk), 4:00 walk";
    assert_eq!(told_in_doubt(joined, 0.85, (5, 0.95)), ["reps_joined walk 3", "walk_long walk 5"]);
    assert_eq!(told_in_doubt(joined, 0.85, (5, 0.85)), ["cannot_say walk 3", "walk_long walk 5"]);
}

#[test]
fn a_doubtful_outer_walk_that_is_too_long_may_hide_a_rep_that_the_edge_cuts() {
    let late = "1:50 walk, 3 x (1:10 run, 1:20 walk), 5:20 walk";
    assert_eq!(told_in_doubt(late, 0.6, (0, 0.95)), ["cannot_say"]);
    assert_eq!(told_in_doubt(late, 0.6, (0, 0.8)), ["recording_late rep 4"]);
    let shorter = "1:34 walk, 3 x (1:10 run, 1:20 walk), 5:20 walk";
    assert_eq!(told_in_doubt(shorter, 0.6, (0, 0.8)), ["cannot_say"]);
    let cut = "6:00 walk, 3 x (1:10 run, 1:20 walk), 0:17 walk";
    assert_eq!(told_in_doubt(cut, 0.6, (6, 0.95)), ["cannot_say"]);
    assert_eq!(told_in_doubt(cut, 0.6, (6, 0.8)), ["recording_cut rep 4"]);
}

#[test]
fn a_recording_that_ends_where_the_first_rep_may_hide_is_not_walked_through() {
    assert_eq!(told_in_doubt("8:00 walk", 0.6, (0, 0.9)), ["cannot_say"]);
    assert_eq!(told_in_doubt("8:00 walk", 0.97, (0, 0.9)), ["walked_through"]);
    assert_eq!(told_in_doubt("20:00 walk", 0.6, (0, 0.9)), ["walked_through"]);
}

#[test]
fn no_more_of_a_rep_hides_than_it_has() {
    for (walk, told) in [("1:56 walk", "recording_late rep 6"), ("2:03 walk", "cannot_say")] {
        let mut made = Made::new(&format!("{walk}, 3 x (0:40 run, 1:20 walk), 4:00 walk"));
        made.bouts[0].confidence = 0.8;
        assert_eq!(made.told_in_doubt(SWEPT[0], 0.6), [told], "{walk}");
    }
}

#[test]
fn nobody_stopped_where_most_that_was_found_is_doubtful() {
    let stopped = "6:00 walk, 3 x (1:10 run, 1:20 walk), 6:00 walk";
    assert_eq!(told_in_doubt(stopped, 0.6, (1, 0.85)), ["stopped_after rep 3"]);
    assert_eq!(told_in_doubt(stopped, 0.6, (1, 0.75)), ["cannot_say"]);
}

#[test]
fn a_fast_walk_without_any_run_is_walked_through_in_doubt_too() {
    let mut made = Made::new("20:00 walk");
    made.bouts.iter_mut().for_each(|bout| bout.distance_m = Some(1.6 * bout.duration_s()));
    assert_eq!(made.told_in_doubt(SWEPT[1], 0.6), ["walked_through"]);
}

#[test]
fn the_doubt_of_a_short_rep_itself_does_not_count() {
    let fourth =
        "6:00 walk, 3 x (1:10 run, 1:20 walk), 0:55 run, 1:20 walk, 3 x (1:10 run, 1:20 walk), 4:00 walk";
    assert_eq!(told_in_doubt(fourth, 0.7, (7, 0.6)), ["rep_short rep 4"]);
}

#[test]
fn a_short_rep_is_not_explained_by_a_short_walk_beside_it() {
    let both =
        "6:00 walk, 3 x (1:10 run, 1:20 walk), 0:45 run, 0:45 walk, 3 x (1:10 run, 1:20 walk), 4:00 walk";
    assert_eq!(told_in_doubt(both, 0.7, (1, 1.0)), ["rep_short rep 4", "walk_short walk 4"]);
}

#[test]
fn of_a_recording_that_holds_nothing_on_foot_no_rep_is_missed() {
    for made in ["", "10:00 drive", "10:00 pause"] {
        let reading = Made::new(made).read(&plan("5:00 walk, 4 x (1:00 run, 2:00 walk)"));
        assert_eq!(reading.recorded_pct, Some(0.0), "{made}");
        assert!(reading.inside.as_ref().is_some_and(|inside| inside.reps.is_empty()), "{made}: {reading:?}");
        assert_eq!(reading.events.iter().filter(|event| event.kind == EventKind::CannotSay).count(), 1);
    }
}
