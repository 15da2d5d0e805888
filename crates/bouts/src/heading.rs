//! Where the track leads around each cell.

use crate::grid::Grid;

/// Direction and speed of travel around each cell, over a window centred on it.
#[derive(Default)]
pub(crate) struct Headings(Vec<Heading>);

/// A direction as a unit vector, and a speed.
pub(crate) struct Heading {
    east: f64,
    north: f64,
    /// Length of the displacement of the window over its known seconds.
    pub(crate) speed_m_per_s: f64,
}

impl Heading {
    /// Metres along and across the heading.
    #[inline]
    pub(crate) fn resolve(&self, east_m: f64, north_m: f64) -> (f64, f64) {
        (east_m * self.east + north_m * self.north, north_m * self.east - east_m * self.north)
    }
}

impl Headings {
    /// Takes the headings of a grid over ± `half_width_s` cells.
    pub(crate) fn fill(&mut self, grid: &Grid, half_width_s: usize) {
        let cells = grid.east_m.len();
        // Columns of one length, so that no cell is asked for its place in each.
        let columns = [&grid.east_m[..cells], &grid.north_m[..cells], &grid.weight[..cells]];
        self.0.clear();
        let mut window = Window::default();
        (0..half_width_s.min(cells)).for_each(|cell| window.take(columns, cell, 1.0));
        self.0.extend((0..cells).map(|cell| {
            if cell + half_width_s < cells {
                window.take(columns, cell + half_width_s, 1.0);
            }
            if cell > half_width_s {
                window.take(columns, cell - half_width_s - 1, -1.0);
            }
            let length_m = (window.east_m * window.east_m + window.north_m * window.north_m).sqrt();
            let scale = if length_m > 0.0 { 1.0 / length_m } else { 0.0 };
            Heading {
                east: window.east_m * scale,
                north: window.north_m * scale,
                speed_m_per_s: if window.known_s > 0.0 { length_m / window.known_s } else { 0.0 },
            }
        }));
    }

    /// What was taken, cell by cell.
    pub(crate) fn all(&self) -> &[Heading] {
        &self.0
    }
}

#[derive(Default)]
struct Window {
    east_m: f64,
    north_m: f64,
    known_s: f64,
}

impl Window {
    #[inline]
    fn take(&mut self, [east_m, north_m, weight]: [&[f64]; 3], cell: usize, sign: f64) {
        self.east_m += sign * east_m[cell];
        self.north_m += sign * north_m[cell];
        self.known_s += if weight[cell] > 0.0 { sign } else { 0.0 };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_zigzag_across_the_way_adds_nothing_along_it() {
        let north_m = (0..40).map(|i| if i % 2 == 0 { 1.0 } else { -1.0 }).collect();
        let grid = Grid { east_m: vec![2.0; 40], north_m, weight: vec![1.0; 40], ..Grid::default() };
        let mut headings = Headings::default();
        headings.fill(&grid, 8);
        let (along_m, cross_m) = headings.all()[20].resolve(grid.east_m[20], grid.north_m[20]);
        assert!((along_m - 2.0).abs() < 0.05 && cross_m.abs() > 0.9, "{along_m} {cross_m}");
    }
}
