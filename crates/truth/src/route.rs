//! A believable way to go: straights, bends and corners, laps around a park, there and back.

use crate::Random;
use crate::pace::STEP_S;

/// A piece of the way: so many metres with so much turning, in radians, spread evenly over them.
#[derive(Clone, Copy, Debug)]
struct Piece {
    length_m: f64,
    turn_rad: f64,
}

/// Longer than any session here, in metres.
const ROUTE_M: f64 = 12_000.0;
/// A corner of a street is taken on a curve of this length, in metres. Own choice.
const CORNER_M: f64 = 5.0;

fn pieces(random: &mut Random) -> Vec<Piece> {
    match random.whole(0, 3) {
        0 => laps(random),
        1 => streets(random, ROUTE_M),
        2 => path(random, ROUTE_M),
        _ => there_and_back(random),
    }
}

/// A rounded rectangle, again and again.
fn laps(random: &mut Random) -> Vec<Piece> {
    let (long_m, short_m) = (random.between((80.0, 350.0)), random.between((10.0, 180.0)));
    let bend_m = random.between((15.0, 45.0)) * std::f64::consts::FRAC_PI_2;
    let direction = if random.chance(0.5) { 1.0 } else { -1.0 };
    let bend = Piece { length_m: bend_m, turn_rad: direction * std::f64::consts::FRAC_PI_2 };
    let side = |length_m| Piece { length_m, turn_rad: 0.0 };
    let lap = [side(long_m), bend, side(short_m), bend, side(long_m), bend, side(short_m), bend];
    let lap_m: f64 = lap.iter().map(|piece| piece.length_m).sum();
    lap.repeat((ROUTE_M / lap_m).ceil() as usize)
}

/// Straights of 60–350 m and corners of 50–110 degrees.
fn streets(random: &mut Random, length_m: f64) -> Vec<Piece> {
    fill(length_m, || {
        let sign = if random.chance(0.5) { 1.0 } else { -1.0 };
        let corner_rad = sign * random.between((50.0, 110.0)).to_radians();
        [
            Piece { length_m: random.between((60.0, 350.0)), turn_rad: random.normal(0.1) },
            Piece { length_m: CORNER_M, turn_rad: corner_rad },
        ]
    })
}

/// Bends of all sizes, as along a shore.
fn path(random: &mut Random, length_m: f64) -> Vec<Piece> {
    fill(length_m, || {
        let bend = Piece { length_m: random.between((20.0, 120.0)), turn_rad: random.normal(0.6) };
        [bend, Piece { length_m: random.between((10.0, 200.0)), turn_rad: 0.0 }]
    })
}

fn there_and_back(random: &mut Random) -> Vec<Piece> {
    let turn_m = random.between((700.0, 1800.0));
    let there = if random.chance(0.5) { streets(random, turn_m) } else { path(random, turn_m) };
    let u_turn = Piece { length_m: 3.0, turn_rad: std::f64::consts::PI };
    let back = there.iter().rev().map(|piece| Piece { turn_rad: -piece.turn_rad, ..*piece });
    let both: Vec<Piece> = there.iter().copied().chain([u_turn]).chain(back).chain([u_turn]).collect();
    both.repeat((ROUTE_M / turn_m).ceil() as usize)
}

fn fill(length_m: f64, mut two: impl FnMut() -> [Piece; 2]) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let mut sum_m = 0.0;
    while sum_m < length_m {
        for piece in two() {
            sum_m += piece.length_m;
            pieces.push(piece);
        }
    }
    pieces
}

/// East and north in metres from the start, on the grid, for someone who goes at these speeds.
pub(crate) fn positions_m(speed_m_per_s: &[f64], random: &mut Random) -> Vec<[f64; 2]> {
    let pieces = pieces(random);
    let mut heading_rad = random.between((0.0, std::f64::consts::TAU));
    let (mut piece, mut left_m) = (0, pieces[0].length_m);
    let mut here = [0.0, 0.0];
    let mut way = Vec::with_capacity(speed_m_per_s.len());
    for speed in speed_m_per_s {
        way.push(here);
        let mut step_m = speed * STEP_S;
        while step_m > 0.0 {
            let now = pieces[piece];
            let part_m = step_m.min(left_m);
            let turn_rad = now.turn_rad * part_m / now.length_m;
            let middle_rad = heading_rad + 0.5 * turn_rad;
            here = [here[0] + part_m * middle_rad.sin(), here[1] + part_m * middle_rad.cos()];
            heading_rad += turn_rad;
            step_m -= part_m;
            left_m -= part_m;
            if left_m <= 0.0 {
                piece = (piece + 1) % pieces.len();
                left_m = pieces[piece].length_m;
            }
        }
    }
    way
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_along_the_way_are_as_long_as_the_speed_says() {
        for seed in 0..40 {
            let way = positions_m(&vec![2.4; 4000], &mut Random::new(seed));
            let length_m: f64 = way.windows(2).map(|w| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1])).sum();
            let travelled_m = 3999.0 * 1.2;
            assert!(length_m <= travelled_m + 1e-6 && length_m > 0.98 * travelled_m, "{seed}: {length_m}");
        }
    }

    #[test]
    fn a_standing_person_stays() {
        let way = positions_m(&[0.0; 100], &mut Random::new(1));
        assert!(way.iter().all(|p| *p == [0.0, 0.0]));
    }
}
