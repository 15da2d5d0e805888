//! The interval notation: what a coach writes for one session, read by recursive descent.
//!
//! ```text
//! list   = item { "," item }
//! item   = amount ( "run" | "walk" )
//!        | count "x" "(" list ")"
//!        | "until" distance "(" list ")"
//! amount = m:ss | h:mm:ss | number ( "s" | "min" | "h" | "m" | "km" )
//! ```
//!
//! Letters may be small or capital, `×` and `*` stand for `x`, and spaces are free.

use std::ops::Range;

use boutwise_bouts::{Amount, Gait, Interval};

use crate::Error;
use crate::error::{ErrorKind, Flaw, suggestion};

/// Most repeats of one group (own choice: more is a slip of the finger).
pub const MAX_REPEATS: u32 = 200;
/// Most intervals in one session (own choice).
pub const MAX_INTERVALS: usize = 1000;
/// Most letters in which a session is written (own choice: room for as many intervals).
pub const MAX_SESSION_LETTERS: usize = 20_000;
/// Longest session in seconds (own choice: a day).
pub const MAX_SESSION_S: f64 = 86_400.0;
/// Longest run of a session in seconds (own choice: 500:00 is 5:00 or 50:00 with a slip of the finger).
pub const MAX_RUN_S: f64 = 6.0 * 3600.0;
/// Shortest distance of an interval in metres (own choice: `5 m walk` means five minutes).
pub const MIN_INTERVAL_M: f64 = 20.0;
/// Shortest duration of an interval in seconds (own choice: nothing shorter can be told apart).
pub const MIN_INTERVAL_S: f64 = 5.0;
/// A last interval cut shorter than this by `until` is left out, in seconds (the shortest run that is told apart).
pub const MIN_CUT_INTERVAL_S: f64 = 15.0;
/// Deepest nesting of groups (own choice).
const MAX_DEPTH: usize = 8;

/// Fixed speeds that turn planned metres into seconds and `until` into repeats.
///
/// They belong to the plan and never to the athlete, so that a pace can't move what was asked.
///
/// ```
/// use boutwise_season::NominalSpeeds;
/// assert_eq!(NominalSpeeds::default(), NominalSpeeds { run_m_per_s: 2.5, walk_m_per_s: 1.5 });
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NominalSpeeds {
    /// Running speed in metres per second; 2.5 (own choice: 6:40 min/km).
    pub run_m_per_s: f64,
    /// Walking speed in metres per second; 1.5 (common practice, no source).
    pub walk_m_per_s: f64,
}

impl Default for NominalSpeeds {
    fn default() -> Self {
        Self { run_m_per_s: 2.5, walk_m_per_s: 1.5 }
    }
}

impl NominalSpeeds {
    fn of(self, gait: Gait) -> f64 {
        match gait {
            Gait::Run => self.run_m_per_s,
            Gait::Walk => self.walk_m_per_s,
        }
    }

    /// Planned seconds of an interval: its own, or its metres at the fixed speed.
    pub fn duration_s(self, interval: &Interval) -> f64 {
        match interval.amount {
            Amount::Seconds(seconds) => seconds,
            Amount::Metres(metres) => metres / self.of(interval.gait),
        }
    }

    /// Planned metres of an interval: its own, or its seconds at the fixed speed.
    pub fn distance_m(self, interval: &Interval) -> f64 {
        match interval.amount {
            Amount::Seconds(seconds) => seconds * self.of(interval.gait),
            Amount::Metres(metres) => metres,
        }
    }
}

/// Reads the intervals of one session, at the default fixed speeds.
///
/// # Errors
///
/// An [`Error`] that shows the place, what was expected there and how to mend it.
///
/// ```
/// use boutwise_season::parse_intervals;
/// let intervals = parse_intervals("6:00 walk, 9 x (0:40 run, 1:20 walk), 4:00 walk").unwrap();
/// assert_eq!(intervals.len(), 20);
/// ```
pub fn parse_intervals(text: &str) -> Result<Vec<Interval>, Error> {
    read_intervals(text, NominalSpeeds::default())
        .map_err(|flaw| Error::new(ErrorKind::Intervals, "", text, flaw))
}

/// Reads intervals; a flaw's span counts bytes of `text`.
pub(crate) fn read_intervals(text: &str, speeds: NominalSpeeds) -> Result<Vec<Interval>, Flaw> {
    if text.chars().count() > MAX_SESSION_LETTERS {
        return Err(Flaw::new(
            0..text.len(),
            format!("a session of {} letters", text.chars().count()),
            format!("at most {MAX_SESSION_LETTERS}: it stands beside each recording of it"),
            "take out what is no interval, and write what repeats as 9 x (…)",
        ));
    }
    let mut reader = Reader { text, at: 0, depth: 0, speeds };
    let intervals = reader.list(None)?;
    let total_s: f64 = intervals.iter().map(|interval| speeds.duration_s(interval)).sum();
    if total_s > MAX_SESSION_S {
        return Err(Flaw::new(
            0..text.len(),
            format!("a session of {:.0} hours", total_s / 3600.0),
            "a session of 24 hours at most",
            "check the durations and repeats: m:ss is minutes and seconds",
        ));
    }
    Ok(intervals)
}

/// Reads a distance that stands by itself, such as `3 km`, in metres; a flaw's span counts bytes of `text`.
pub(crate) fn read_distance_m(text: &str) -> Result<f64, Flaw> {
    const EXPECTED: &str = "a distance such as 3 km or 3000 m";
    let mut reader = Reader { text, at: 0, depth: 0, speeds: NominalSpeeds::default() };
    reader.skip_space();
    let number = reader.take(|c| c.is_ascii_digit() || c == '.' || c == ':');
    if number.is_empty() {
        return Err(reader.flaw("no distance", EXPECTED, "write 3 km"));
    }
    reader.skip_space();
    let amount = reader.amount(number)?;
    reader.skip_space();
    match amount {
        Amount::Metres(metres) if reader.peek().is_none() => Ok(metres),
        _ => Err(Flaw::new(0..text.len(), format!("\"{text}\" is no distance"), EXPECTED, "write 3 km")),
    }
}

const AMOUNT: &str = "a duration (1:30, 90 s, 5 min) or a distance (400 m, 3 km)";
const ITEM: &str = "an interval such as 0:40 run, or a group such as 9 x (0:40 run, 1:20 walk)";

struct Reader<'a> {
    text: &'a str,
    /// Byte of the text, moved on by whole characters, so that the text can be cut there and at every place where it was.
    at: usize,
    depth: usize,
    speeds: NominalSpeeds,
}

impl Reader<'_> {
    fn rest(&self) -> &str {
        &self.text[self.at..]
    }

    fn skip_space(&mut self) {
        let rest = self.rest();
        self.at += rest.len() - rest.trim_start().len();
    }

    fn peek(&self) -> Option<char> {
        self.rest().chars().next()
    }

    /// Takes the longest stretch of characters that pass.
    fn take(&mut self, pass: impl Fn(char) -> bool) -> Range<usize> {
        let start = self.at;
        let rest = self.rest();
        self.at += rest.find(|c| !pass(c)).unwrap_or(rest.len());
        start..self.at
    }

    /// The span of the next word, number or sign, for a message; where the text ends, its last character.
    fn next_thing(&self) -> Range<usize> {
        let rest = self.rest();
        let Some(first) = rest.chars().next() else {
            let last = self.text.trim_end().char_indices().next_back().map_or(0, |(at, _)| at);
            return last..self.text.trim_end().len();
        };
        let same = |c: char| c.is_alphanumeric() == first.is_alphanumeric() && !c.is_whitespace();
        let length = if first.is_alphanumeric() {
            rest.find(|c| !same(c)).unwrap_or(rest.len())
        } else {
            first.len_utf8()
        };
        self.at..self.at + length
    }

    fn flaw(&self, problem: &str, expected: &str, mend: &str) -> Flaw {
        Flaw::new(self.next_thing(), problem, expected, mend)
    }

    /// Reads items up to the end, or up to the parenthesis that closes the one opened at `opened`.
    fn list(&mut self, opened: Option<usize>) -> Result<Vec<Interval>, Flaw> {
        let mut intervals = Vec::new();
        loop {
            self.skip_space();
            match self.peek() {
                None if opened.is_none() && intervals.is_empty() => {
                    return Err(self.flaw("no interval", ITEM, "write what is to be run and walked"));
                }
                Some(')') if opened.is_some() && intervals.is_empty() => {
                    return Err(self.flaw(
                        "an empty group",
                        ITEM,
                        "write the group's intervals between ( and )",
                    ));
                }
                None | Some(')' | ',') => {
                    return Err(self.flaw(
                        "an interval is missing",
                        ITEM,
                        "add the interval, or take out the comma",
                    ));
                }
                Some(_) => self.item(&mut intervals)?,
            }
            if intervals.len() > MAX_INTERVALS {
                return Err(Flaw::new(
                    0..self.text.len(),
                    format!("more than {MAX_INTERVALS} intervals"),
                    format!("a session of {MAX_INTERVALS} intervals at most"),
                    "lower the repeats",
                ));
            }
            self.skip_space();
            match (self.peek(), opened) {
                (Some(','), _) => self.at += 1,
                (Some(')'), Some(_)) => {
                    self.at += 1;
                    return Ok(intervals);
                }
                (Some(')'), None) => {
                    return Err(self.flaw(
                        "a ) without its (",
                        "a comma or the end",
                        "take it out, or open the group with (",
                    ));
                }
                (None, None) => return Ok(intervals),
                (None, Some(open)) => {
                    return Err(Flaw::new(
                        open..open + 1,
                        "a ( that is never closed",
                        "a ) after the group's last interval",
                        "add the )",
                    ));
                }
                (Some(_), _) => {
                    return Err(self.flaw(
                        "no comma between two intervals",
                        "a comma, or the end",
                        "part the intervals by a comma",
                    ));
                }
            }
        }
    }

    fn item(&mut self, intervals: &mut Vec<Interval>) -> Result<(), Flaw> {
        let start = self.at;
        match self.peek() {
            Some(c) if c.is_ascii_digit() => {}
            Some(c) if c.is_alphabetic() => {
                let word = self.take(char::is_alphabetic);
                if self.text[word.clone()].eq_ignore_ascii_case("until") {
                    return self.until(intervals);
                }
                let said = &self.text[word.clone()];
                return Err(match gait(said) {
                    Some(_) => Flaw::new(
                        word.clone(),
                        format!("\"{said}\" without how long"),
                        AMOUNT,
                        format!("put the duration first: 5:00 {said}"),
                    ),
                    None => Flaw::new(
                        word.clone(),
                        format!("\"{said}\" begins no interval"),
                        ITEM,
                        "begin with a duration, a distance, a number of repeats or until",
                    ),
                });
            }
            Some('(') => {
                return Err(self.flaw("a group without its repeats", ITEM, "write how often: 9 x ( … )"));
            }
            _ => return Err(self.flaw("a sign that begins no interval", ITEM, "take it out")),
        }
        let number = self.take(|c| c.is_ascii_digit() || c == '.' || c == ':');
        self.skip_space();
        if self.is_times() {
            return self.repeats(number, intervals);
        }
        let amount = self.amount(number)?;
        let amount_end = self.at;
        self.skip_space();
        let word = self.take(char::is_alphabetic);
        let said = &self.text[word.clone()];
        let Some(gait) = gait(said) else {
            if said.is_empty() {
                return Err(Flaw::new(
                    start..amount_end,
                    "neither run nor walk",
                    "run or walk after it",
                    format!("write {} run or {0} walk", self.text[start..amount_end].trim()),
                ));
            }
            let mend = match suggestion(said, ["run", "walk"]) {
                Some(meant) => format!("write {meant}"),
                None if said.eq_ignore_ascii_case("jog") => "write run: however slow, it is a run".into(),
                None => "write run or walk; a rest is a walk".into(),
            };
            return Err(Flaw::new(
                word.clone(),
                format!("\"{said}\" is neither run nor walk"),
                "run or walk",
                mend,
            ));
        };
        let interval = Interval { gait, amount };
        if gait == Gait::Run && self.speeds.duration_s(&interval) > MAX_RUN_S {
            let said = self.text[start..amount_end].trim();
            return Err(Flaw::new(
                start..amount_end,
                format!("a run of {:.1} hours", self.speeds.duration_s(&interval) / 3600.0),
                format!("a run of {:.0} hours at most; {said} is minutes and seconds", MAX_RUN_S / 3600.0),
                "write 5:00 for five minutes, 50:00 for fifty",
            ));
        }
        intervals.push(interval);
        Ok(())
    }

    fn is_times(&self) -> bool {
        let mut next = self.rest().chars();
        match next.next() {
            Some('×' | '*') => true,
            Some('x' | 'X') => !next.next().is_some_and(char::is_alphabetic),
            _ => false,
        }
    }

    fn repeats(&mut self, number: Range<usize>, intervals: &mut Vec<Interval>) -> Result<(), Flaw> {
        let said = &self.text[number.clone()];
        let count = said.parse::<u32>().ok().filter(|count| (1..=MAX_REPEATS).contains(count));
        let Some(count) = count else {
            return Err(Flaw::new(
                number.clone(),
                format!("\"{said}\" repeats"),
                format!("a whole number from 1 to {MAX_REPEATS}"),
                "write how often the group is to be done",
            ));
        };
        self.take(|c| matches!(c, 'x' | 'X' | '×' | '*'));
        let group = self.group("9 x (0:40 run, 1:20 walk)")?;
        if group.len() * count as usize > MAX_INTERVALS {
            return Err(Flaw::new(
                number,
                format!("more than {MAX_INTERVALS} intervals"),
                format!("a session of {MAX_INTERVALS} intervals at most"),
                "lower the repeats",
            ));
        }
        for _ in 0..count {
            intervals.extend_from_slice(&group);
        }
        Ok(())
    }

    fn group(&mut self, example: &str) -> Result<Vec<Interval>, Flaw> {
        self.skip_space();
        if self.peek() != Some('(') {
            return Err(self.flaw(
                "a group without its (",
                "( and the group's intervals",
                &format!("put what is repeated between ( and ): {example}"),
            ));
        }
        if self.depth == MAX_DEPTH {
            return Err(self.flaw(
                "groups within groups, too deep",
                &format!("{MAX_DEPTH} levels at most"),
                "write it flatter",
            ));
        }
        let open = self.at;
        self.at += 1;
        self.depth += 1;
        let group = self.list(Some(open));
        self.depth -= 1;
        group
    }

    /// Repeats the group until the distance is covered at the plan's fixed speeds; the last interval ends there.
    fn until(&mut self, intervals: &mut Vec<Interval>) -> Result<(), Flaw> {
        self.skip_space();
        let start = self.at;
        let number = self.take(|c| c.is_ascii_digit() || c == '.' || c == ':');
        if number.is_empty() {
            return Err(self.flaw("until without a distance", "a distance", "write until 1.6 km ( … )"));
        }
        self.skip_space();
        let amount = self.amount(number)?;
        let Amount::Metres(goal_m) = amount else {
            return Err(Flaw::new(
                start..self.at,
                "until takes a distance",
                "a distance such as 1600 m or 1.6 km",
                "write the distance, or repeat the group with 5 x ( … )",
            ));
        };
        let end = self.at;
        let group = self.group("until 1.6 km (1:45 run, 1:15 walk)")?;
        let mut covered_m = 0.0;
        let mut repeated = Vec::new();
        for interval in group.iter().cycle() {
            let whole_m = self.speeds.distance_m(interval);
            let left_m = goal_m - covered_m;
            if whole_m < left_m {
                repeated.push(*interval);
                covered_m += whole_m;
            } else {
                let share = left_m / whole_m;
                if share * self.speeds.duration_s(interval) >= MIN_CUT_INTERVAL_S || repeated.is_empty() {
                    let amount = match interval.amount {
                        Amount::Seconds(seconds) => Amount::Seconds(seconds * share),
                        Amount::Metres(metres) => Amount::Metres(metres * share),
                    };
                    repeated.push(Interval { gait: interval.gait, amount });
                }
                break;
            }
            if repeated.len() > MAX_INTERVALS {
                return Err(Flaw::new(
                    start..end,
                    format!("more than {MAX_INTERVALS} intervals"),
                    format!("a session of {MAX_INTERVALS} intervals at most"),
                    "lower the distance",
                ));
            }
        }
        intervals.append(&mut repeated);
        Ok(())
    }

    /// Reads what follows a number and makes seconds or metres of both.
    fn amount(&mut self, number: Range<usize>) -> Result<Amount, Flaw> {
        let said = &self.text[number.clone()];
        if said.contains(':') {
            let Some(seconds) = clock_s(said) else {
                return Err(Flaw::new(
                    number.clone(),
                    format!("\"{said}\" is no duration"),
                    "m:ss or h:mm:ss, with two digits each after a colon and below 60",
                    "write 1:30 for a minute and a half, 1:05:00 for an hour and five minutes",
                ));
            };
            return checked(Amount::Seconds(seconds), number);
        }
        let Some(value) = said.parse::<f64>().ok().filter(|value| value.is_finite()) else {
            return Err(Flaw::new(
                number.clone(),
                format!("\"{said}\" is no number"),
                AMOUNT,
                "write it with one point at most",
            ));
        };
        let rest = self.rest();
        if let Some(decimals) = rest.strip_prefix(',')
            && let Some(after) = decimals.chars().next().filter(char::is_ascii_digit)
        {
            return Err(Flaw::new(
                number.start..self.at + 2,
                "a comma inside a number",
                AMOUNT,
                format!("write a point for the decimals: {said}.{after}"),
            ));
        }
        let word = self.take(char::is_alphabetic);
        let unit = self.text[word.clone()].to_lowercase();
        let amount = match unit.as_str() {
            "s" | "sec" | "secs" | "second" | "seconds" => Amount::Seconds(value),
            "min" | "mins" | "minute" | "minutes" => Amount::Seconds(value * 60.0),
            "h" | "hour" | "hours" => Amount::Seconds(value * 3600.0),
            "m" | "metre" | "metres" | "meter" | "meters" => Amount::Metres(value),
            "km" => Amount::Metres(value * 1000.0),
            "set" | "sets" | "time" | "times" | "round" | "rounds" | "rep" | "reps" | "repeats" | "lots" => {
                return Err(Flaw::new(
                    number.start..word.end,
                    format!("\"{} {}\" is no way to repeat", said, &self.text[word]),
                    "how often, x, and what is repeated between ( and )",
                    format!(
                        "write {said} x ( … ); a set of repeats is {said} x (3 x (1:10 run, 1:20 walk), 3:00 walk)"
                    ),
                ));
            }
            "mi" | "mile" | "miles" => {
                return Err(Flaw::new(
                    number.start..word.end,
                    "a distance in miles",
                    AMOUNT,
                    format!("write it in metres: {:.0} m", value * METRES_PER_MILE),
                ));
            }
            _ if unit.is_empty() || gait(&unit).is_some() => {
                return Err(Flaw::new(
                    number,
                    "a number without its unit",
                    AMOUNT,
                    format!("write {said} s or {said} min, or a duration as m:ss"),
                ));
            }
            _ => {
                let meant = suggestion(&unit, ["min", "sec", "km", "s", "m"]);
                return Err(Flaw::new(
                    word.clone(),
                    format!("\"{}\" is no unit", &self.text[word]),
                    AMOUNT,
                    meant.map_or("use s, min, m or km".to_owned(), |unit| format!("write {said} {unit}")),
                ));
            }
        };
        checked(amount, number.start..self.at)
    }
}

/// The international mile in metres (exact by definition, 1959 agreement).
const METRES_PER_MILE: f64 = 1609.344;

fn gait(word: &str) -> Option<Gait> {
    match word.to_lowercase().as_str() {
        "run" | "running" => Some(Gait::Run),
        "walk" | "walking" => Some(Gait::Walk),
        _ => None,
    }
}

/// Seconds of `m:ss` or `h:mm:ss`.
fn clock_s(said: &str) -> Option<f64> {
    let mut fields = said.split(':');
    let first = fields.next()?;
    let mut seconds = f64::from(first.parse::<u16>().ok()?);
    let mut count = 0;
    for field in fields {
        if field.len() != 2 {
            return None;
        }
        let value = field.parse::<u8>().ok().filter(|value| *value < 60)?;
        seconds = seconds * 60.0 + f64::from(value);
        count += 1;
    }
    (1..=2).contains(&count).then_some(seconds)
}

fn checked(amount: Amount, span: Range<usize>) -> Result<Amount, Flaw> {
    match amount {
        Amount::Seconds(seconds) if seconds < MIN_INTERVAL_S => Err(Flaw::new(
            span,
            "an interval too short to tell",
            format!("{MIN_INTERVAL_S} s or more"),
            "write a longer one, or leave it out",
        )),
        Amount::Metres(metres) if metres < MIN_INTERVAL_M => Err(Flaw::new(
            span,
            "a distance too short to tell",
            format!("{MIN_INTERVAL_M} m or more"),
            format!("m is metres: for minutes write {metres} min"),
        )),
        Amount::Seconds(seconds) if seconds > MAX_SESSION_S => {
            Err(Flaw::new(span, "an interval longer than a day", AMOUNT, "m:ss is minutes and seconds"))
        }
        _ => Ok(amount),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn run(seconds: f64) -> Interval {
        Interval { gait: Gait::Run, amount: Amount::Seconds(seconds) }
    }

    fn walk(seconds: f64) -> Interval {
        Interval { gait: Gait::Walk, amount: Amount::Seconds(seconds) }
    }

    #[test]
    fn a_session_that_is_too_long_to_stand_beside_each_recording_is_an_error() {
        let of_letters = |letters: usize| format!("1:00 run{}, 1:00 walk", " ".repeat(letters - 19));
        assert_eq!(parse_intervals(&of_letters(MAX_SESSION_LETTERS)).map(|all| all.len()).unwrap(), 2);
        let error = parse_intervals(&of_letters(MAX_SESSION_LETTERS + 1)).unwrap_err();
        assert_eq!(error.problem(), "a session of 20001 letters");
    }

    #[test]
    fn every_way_to_write_a_duration_means_the_same() {
        for text in ["1:30 run", "90 s run", "90s run", "1.5 min run", "0:01:30 RUN", "90 seconds  Run "] {
            assert_eq!(parse_intervals(text).unwrap(), [run(90.0)], "{text}");
        }
        assert_eq!(parse_intervals("1:05:00 walk").unwrap(), [walk(3900.0)]);
    }

    #[test]
    fn distances_may_stand_where_durations_stand() {
        let metres = Interval { gait: Gait::Run, amount: Amount::Metres(400.0) };
        assert_eq!(
            parse_intervals("2 × (400 m run, 2 min walk)").unwrap(),
            [metres, walk(120.0), metres, walk(120.0)]
        );
        assert_eq!(parse_intervals("0.4km run").unwrap(), [metres]);
    }

    #[test]
    fn groups_nest() {
        let intervals = parse_intervals("2x(3x(30 s run,30 s walk),2:00 walk)").unwrap();
        assert_eq!(intervals.len(), 14);
        assert_eq!(intervals[6], walk(120.0));
    }

    #[test]
    fn until_ends_where_the_distance_is_reached_at_the_fixed_speeds() {
        // 3 min at 2.5 m/s and 2 min at 1.5 m/s are 630 m; the third group reaches 1609 m after 349 m of its run.
        let intervals = parse_intervals("until 1609 m (3:00 run, 2:00 walk)").unwrap();
        assert_eq!(intervals[..4], [run(180.0), walk(120.0), run(180.0), walk(120.0)]);
        assert_eq!(intervals.len(), 5);
        let Amount::Seconds(last_s) = intervals[4].amount else { panic!("a duration stays one") };
        assert!((last_s - 349.0 / 2.5).abs() < 1e-9);
    }

    #[test]
    fn until_leaves_out_a_last_scrap_that_could_not_be_told_apart() {
        let intervals = parse_intervals("until 660 m (3:00 run, 2:00 walk)").unwrap();
        assert_eq!(intervals, [run(180.0), walk(120.0)]);
    }

    #[test]
    fn every_flaw_is_shown_at_its_place_with_a_way_to_mend_it() {
        let cases: [(&str, usize, &str, &str); 30] = [
            ("2 sets of 3 x (1:00 run)", 1, "\"2 sets\" is no way to repeat", "2 x (3 x ("),
            ("5 times 1:00 run", 1, "\"5 times\" is no way to repeat", "5 x ( … )"),
            ("500:00 run", 1, "a run of 8.3 hours", "5:00 for five minutes"),
            ("", 1, "no interval", "write what"),
            ("5:00 walk,", 10, "an interval is missing", "take out the comma"),
            ("5:00 walk,, 1:10 run", 11, "an interval is missing", "take out the comma"),
            ("90 run", 1, "a number without its unit", "90 s or 90 min"),
            ("90", 1, "a number without its unit", "90 s or 90 min"),
            ("1:75 run", 1, "\"1:75\" is no duration", "1:30"),
            ("1:5 run", 1, "\"1:5\" is no duration", "1:30"),
            ("1:00:00:00 run", 1, "\"1:00:00:00\" is no duration", "1:30"),
            ("0:00 run", 1, "an interval too short to tell", "leave it out"),
            ("5 m walk", 1, "a distance too short to tell", "5 min"),
            ("1,6 km run", 1, "a comma inside a number", "1.6"),
            ("1.6.2 km run", 1, "\"1.6.2\" is no number", "one point"),
            ("1 mile run", 1, "a distance in miles", "1609 m"),
            ("5 mni run", 3, "\"mni\" is no unit", "5 min"),
            ("1:00 jog", 6, "\"jog\" is neither run nor walk", "write run"),
            ("1:00 wlak", 6, "\"wlak\" is neither run nor walk", "write walk"),
            ("1:10, 1:20 walk", 1, "neither run nor walk", "1:10 run or 1:10 walk"),
            ("run 5:00", 1, "\"run\" without how long", "5:00 run"),
            ("9 x 0:40 run", 5, "a group without its (", "9 x (0:40 run, 1:20 walk)"),
            ("9 x (0:40 run", 5, "a ( that is never closed", "add the )"),
            ("1:00 run)", 9, "a ) without its (", "take it out"),
            ("9 x ()", 6, "an empty group", "between ( and )"),
            ("0 x (1:00 run)", 1, "\"0\" repeats", "how often"),
            ("5000 x (1:00 run)", 1, "\"5000\" repeats", "how often"),
            ("(1:00 run)", 1, "a group without its repeats", "9 x ( … )"),
            ("until 5:00 (1:00 run)", 7, "until takes a distance", "write the distance"),
            ("1:10 run 1:20 walk", 10, "no comma between two intervals", "by a comma"),
        ];
        for (text, column, problem, mend) in cases {
            let error = parse_intervals(text).unwrap_err();
            assert_eq!((error.column(), error.problem()), (column, problem), "{text}\n{error}");
            assert!(error.mend().contains(mend), "{text}\n{error}");
        }
    }

    #[test]
    fn absurd_sizes_are_refused_before_they_cost_memory() {
        for text in [
            "200 x (200 x (200 x (200 x (10 s run))))",
            "until 99999999 km (10 s run)",
            "31:00:00 run",
            "100 x (31 min run)",
            "1e9 s run",
            "99999999999999999999999 s run",
        ] {
            assert!(parse_intervals(text).is_err(), "{text}");
        }
        let deep = format!("{}1:00 run{}", "2 x (".repeat(2000), ")".repeat(2000));
        assert!(parse_intervals(&deep).unwrap_err().problem().contains("too deep"));
    }

    proptest! {
        #[test]
        fn no_text_makes_the_reader_panic(text in "[0-9xX:.,() a-zé×]{0,60}") {
            let _ = parse_intervals(&text);
        }

        #[test]
        fn what_is_written_is_what_is_read(
            reps in 1u32..20, run_s in 5u32..3600, walk_s in 5u32..600, before_s in 5u32..900,
        ) {
            let text = format!(
                "{}:{:02} walk, {reps} x ({run_s} s run, {walk_s}s walk)", before_s / 60, before_s % 60,
            );
            prop_assume!(before_s + reps * (run_s + walk_s) <= 86_400);
            let mut expected = vec![walk(f64::from(before_s))];
            for _ in 0..reps {
                expected.extend([run(f64::from(run_s)), walk(f64::from(walk_s))]);
            }
            prop_assert_eq!(parse_intervals(&text).unwrap(), expected);
        }
    }
}
