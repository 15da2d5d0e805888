//! What a coach should know about a segmentation, in words.

use boutwise_track::Sport;

use crate::Bounds;
use crate::grid::Grid;

/// What the notes are made of.
pub(crate) struct Findings<'a> {
    pub(crate) grid: &'a Grid,
    pub(crate) sport: Sport,
    pub(crate) resolvable: bool,
    pub(crate) by_cadence: bool,
    /// Whether anything at all tells running from walking.
    pub(crate) informed: bool,
    /// Whether all of it was one even pace at which some walk and others jog.
    pub(crate) even_pace: bool,
    /// Slow noise of positions over the squared difference of the levels, in seconds.
    pub(crate) resolution_s: f64,
    /// What is known all the same.
    pub(crate) bounds: Option<Bounds>,
}

/// Resolution time in seconds from which speeds lie close together for the noise (own choice, between the 0.1 s of easy
/// sessions and the 0.7 s of medium ones in docs/accuracy.md); below it, something else made the session doubtful.
const CLOSE_S: f64 = 0.5;

/// The notes, most important first.
pub(crate) fn notes(findings: &Findings) -> Vec<String> {
    let Findings { grid, sport, resolvable, by_cadence, informed, even_pace, resolution_s, bounds } =
        findings;
    let mut notes = Vec::new();
    if *sport == Sport::Cycling {
        notes.push("The file says that this was cycling: nothing here is counted as running.".to_owned());
    } else if !informed {
        notes.push(
            "Nothing tells running from walking here: no positions that move, no distance, no speed and no cadence, or they lie \
             too far apart in time."
                .to_owned(),
        );
    } else if !resolvable && *even_pace {
        notes.push(
            "Running and walking cannot be told apart here: all of it was one even pace at which some people walk and \
             others jog. A cadence sensor would settle it."
                .to_owned(),
        );
    } else if !resolvable && *by_cadence {
        notes.push(
            "Running and walking cannot be told apart reliably here: cadence and movement are too uneven."
                .to_owned(),
        );
    } else if !resolvable && *resolution_s < CLOSE_S {
        notes.push(
            "Running and walking cannot be told apart reliably here: by speed alone a short walk, a slow stretch at a crossing or \
             on a hill, and a stop look alike in it. A cadence sensor would settle it."
                .to_owned(),
        );
    } else if !resolvable {
        notes.push(
            "Running and walking cannot be told apart reliably here: their speeds lie too close together for \
             a recording this rough. A cadence sensor would settle it."
                .to_owned(),
        );
    }
    if *informed && !resolvable && *sport != Sport::Cycling {
        notes.extend(bounds.map(|bounds| bounds.words()));
    }
    if grid.jumps > 0 {
        let times = if grid.jumps == 1 { "second" } else { "seconds" };
        notes.push(format!("The recording jumped: {} {times} of movement left out.", grid.jumps));
    }
    notes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_told_is_said_first() {
        let grid = Grid { jumps: 1, ..Grid::default() };
        let findings = Findings {
            grid: &grid,
            sport: Sport::OnFoot,
            resolvable: false,
            by_cadence: false,
            informed: true,
            even_pace: false,
            resolution_s: 0.6,
            bounds: Some(Bounds {
                runs_at_least: 6,
                longest_at_least_s: 61.0,
                run_at_least_s: 110.0,
                runs: (6, 8),
                run_s: (500.0, 640.0),
                longest_s: (70.0, 100.0),
            }),
        };
        let notes = notes(&findings);
        assert!(
            notes[0].contains("cannot be told apart") && notes[0].contains("cadence sensor"),
            "{notes:?}"
        );
        assert_eq!(
            notes[1],
            "Known all the same: at least 6 runs, most likely 6 to 8; run time between 8:20 and 10:40; the longest run \
             between 1:10 and 1:40."
        );
        assert_eq!(notes[2], "The recording jumped: 1 second of movement left out.");
        assert!(notes[0].contains("too close together"), "{notes:?}");
        // Where speeds lie far apart, that is not said.
        let apart = super::notes(&Findings { resolution_s: 0.4, ..findings });
        assert!(
            apart[0].contains("a short walk, a slow stretch") && apart[0].contains("cadence sensor"),
            "{apart:?}"
        );
    }
}
