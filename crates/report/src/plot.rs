//! Geometry of the charts: numbers to places in a drawing, places to path data.
//!
//! Every drawing is [`WIDTH`] units wide, whatever its width on the screen, and is stretched to fit; strokes
//! keep their width. Labels are text of the page and not of the drawing, so they stay readable when a narrow
//! screen squeezes it.

use std::fmt::Write;

use crate::digits::push_whole_bytes;

/// Width of every drawing in units: a hundredth of a per cent each, finer than a pixel of any screen.
pub(crate) const WIDTH: f64 = 10_000.0;

/// A linear scale from values to units of a drawing.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Scale {
    from: f64,
    to: f64,
    length: f64,
    upwards: bool,
}

impl Scale {
    /// Left to right over the width of the drawing.
    pub(crate) fn across(from: f64, to: f64) -> Self {
        Self { from, to: if to > from { to } else { from + 1.0 }, length: WIDTH, upwards: false }
    }

    /// Bottom to top over `height` units.
    pub(crate) fn up(from: f64, to: f64, height: f64) -> Self {
        Self { from, to: if to > from { to } else { from + 1.0 }, length: height, upwards: true }
    }

    /// The place of a value; values outside the scale are put on its nearer end.
    pub(crate) fn place(self, value: f64) -> f64 {
        let share = ((value - self.from) / (self.to - self.from)).clamp(0.0, 1.0);
        self.length * if self.upwards { 1.0 - share } else { share }
    }

    /// The place in per cent of the drawing, for the labels of the page.
    pub(crate) fn percent(self, value: f64) -> f64 {
        (self.place(value) / self.length * 1e4).round() / 100.0
    }
}

/// Path data of a line through the points; a missing point breaks it. Every stretch begins with a line of no
/// length, which round caps make a dot, so that a value between two missing ones shows.
pub(crate) fn line(points: impl IntoIterator<Item = Option<(f64, f64)>>) -> String {
    let points = points.into_iter();
    // Most steps are up to three digits to the right and as many up or down.
    let mut path = Vec::with_capacity(8 * points.size_hint().0);
    let mut last: Option<(i64, i64)> = None;
    for point in points {
        let Some((x, y)) = point else {
            last = None;
            continue;
        };
        let (x, y) = (nearest(x), nearest(y));
        match last {
            None => {
                path.push(b'M');
                push_whole_bytes(x, &mut path);
                path.push(b' ');
                push_whole_bytes(y, &mut path);
                path.extend(b"l0 0");
            }
            Some((x_before, y_before)) => {
                let (right, down) = (x - x_before, y - y_before);
                path.push(b' ');
                push_whole_bytes(right, &mut path);
                if down >= 0 {
                    path.push(b' ');
                }
                push_whole_bytes(down, &mut path);
            }
        }
        last = Some((x, y));
    }
    // Nothing but letters, digits, blanks and signs.
    String::from_utf8(path).unwrap_or_default()
}

/// The nearest whole number, halves away from nothing, as `round` has it; places in a drawing are far from what a whole number
/// cannot hold.
pub(crate) fn nearest(place: f64) -> i64 {
    let whole = place as i64;
    let rest = place - whole as f64;
    whole + i64::from(rest >= 0.5) - i64::from(rest <= -0.5)
}

/// Path data of one dot a point, drawn by a stroke with round caps.
pub(crate) fn dots(points: impl IntoIterator<Item = (f64, f64)>) -> String {
    points.into_iter().fold(String::new(), |mut path, (x, y)| {
        // Writing into a String cannot fail.
        _ = write!(path, "M{x:.0} {y:.0}h0");
        path
    })
}

/// Path data of one upright bar a point, from `base` to its value.
pub(crate) fn bars(points: impl IntoIterator<Item = (f64, f64)>, base: f64) -> String {
    points.into_iter().fold(String::new(), |mut path, (x, y)| {
        // Writing into a String cannot fail.
        _ = write!(path, "M{x:.0} {base:.0}V{y:.0}");
        path
    })
}

/// A label at a place of a drawing's edge.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Tick {
    /// Distance from the left or from the top, in per cent.
    pub(crate) at: f64,
    pub(crate) label: String,
}

impl Tick {
    /// Whether the label stands so near the right edge that it must end there.
    pub(crate) fn is_at_end(&self) -> bool {
        self.at > 94.0
    }
}

/// The smallest of `steps` that divides `span` into at most `parts`; the largest where none does.
pub(crate) fn step(span: f64, parts: f64, steps: &[f64]) -> f64 {
    steps.iter().copied().find(|step| span / step <= parts).or(steps.last().copied()).unwrap_or(span)
}

/// The multiples of `step` from `from` to `to`.
pub(crate) fn multiples(from: f64, to: f64, step: f64) -> impl Iterator<Item = f64> {
    let first = (from / step - 1e-9).ceil() as i64;
    (first..).map(move |n| n as f64 * step).take_while(move |value| *value <= to + step * 1e-9)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_in_proportion_and_stay_inside() {
        let across = Scale::across(0.0, 2400.0);
        assert_eq!(across.place(600.0), 2500.0);
        assert_eq!(across.place(-5.0), 0.0);
        assert_eq!(across.percent(2400.0), 100.0);
        assert_eq!(Scale::up(0.0, 10.0, 50.0).place(10.0), 0.0);
        assert_eq!(Scale::across(5.0, 5.0).place(5.0), 0.0);
    }

    #[test]
    fn a_line_breaks_where_nothing_was_measured() {
        assert_eq!(line([Some((0.0, 5.0)), Some((10.0, 3.0)), Some((20.0, 9.0))]), "M0 5l0 0 10-2 10 6");
        assert_eq!(line([None, Some((3.0, 4.0)), None, Some((9.0, 4.0))]), "M3 4l0 0M9 4l0 0");
        assert_eq!(line([]), "");
    }

    #[test]
    fn the_nearest_whole_number_is_that_of_the_standard_library() {
        for value in [0.0, 0.3, 0.5, 0.499_999_999_999_999_94, 1.5, 2.5, 9_999.5, 10_000.0, 1234.56] {
            assert_eq!(nearest(value), value.round() as i64, "{value}");
            assert_eq!(nearest(-value), (-value).round() as i64, "-{value}");
        }
    }

    #[test]
    fn ticks_are_round_numbers() {
        assert_eq!(step(2400.0, 8.0, &[60.0, 300.0, 600.0]), 300.0);
        assert_eq!(multiples(95.0, 172.0, 20.0).collect::<Vec<_>>(), [100.0, 120.0, 140.0, 160.0]);
        assert_eq!(multiples(-300.0, 300.0, 300.0).collect::<Vec<_>>(), [-300.0, 0.0, 300.0]);
    }
}
