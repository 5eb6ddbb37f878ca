//! The cells on which rain is counted.

use std::ops::Range;

use super::kernel::LANES;
use crate::shape::{Outline, Point};

/// Largest number of cells of one grid; beyond it the cell grows.
const MOST_CELLS: f64 = 4_000_000.0;

/// Square cells over a turf area and a margin around it, and which of them are turf.
///
/// A cell counts as turf if its centre lies in the turf; cells have equal weights.
#[derive(Debug, Clone)]
pub struct Grid {
    /// Centre of the south-west cell \[m\].
    pub(super) first: Point,
    /// Side of a cell \[m\].
    pub(super) cell_m: f64,
    /// Cells in a metre.
    pub(super) per_m: f64,
    /// Cells from west to east.
    pub(super) cols: usize,
    /// Cells from south to north.
    pub(super) rows: usize,
    /// 1 where the cell is turf, else 0; row by row from the south-west, and some 0 behind.
    pub(super) turf: Vec<f32>,
    /// For each row the columns from the first turf cell to behind the last.
    pub(super) extent: Vec<(i32, i32)>,
    /// The runs of turf cells, as places in a field over the grid, in its order.
    pub(super) spans: Vec<(u32, u32)>,
    /// Number of turf cells.
    pub(super) turf_cells: usize,
}

impl Grid {
    /// Lays cells over an outline and a margin.
    ///
    /// The south-west corner of the first cell is the south-west corner of the outline's box, less
    /// the margin in whole cells, so that the turf cells do not depend on the margin. The cell
    /// grows beyond `cell_m` only where the grid would pass four million cells.
    #[must_use]
    pub fn over(outline: &Outline, cell_m: f64, margin_m: f64) -> Grid {
        let (low, high) = outline.bounds();
        let mut cell_m = cell_m;
        let cells = ((high.x - low.x + 2.0 * margin_m) / cell_m + 2.0)
            * ((high.y - low.y + 2.0 * margin_m) / cell_m + 2.0);
        if cells > MOST_CELLS {
            cell_m *= (cells / MOST_CELLS).sqrt();
        }
        let margin_cells = (margin_m / cell_m).ceil();
        let first = Point::new(
            low.x - margin_cells * cell_m + cell_m / 2.0,
            low.y - margin_cells * cell_m + cell_m / 2.0,
        );
        let count =
            |span_m: f64| (span_m / cell_m).ceil().max(1.0) as usize + 2 * margin_cells as usize;
        let (cols, rows) = (count(high.x - low.x), count(high.y - low.y));
        let mut grid = Grid {
            first,
            cell_m,
            per_m: 1.0 / cell_m,
            cols,
            rows,
            turf: vec![0.0; cols * rows + LANES],
            extent: vec![(0, 0); rows],
            spans: Vec::new(),
            turf_cells: 0,
        };
        grid.mark_turf(outline);
        grid
    }

    /// The centre of a cell.
    #[must_use]
    pub fn centre(&self, col: usize, row: usize) -> Point {
        Point::new(
            self.first.x + col as f64 * self.cell_m,
            self.first.y + row as f64 * self.cell_m,
        )
    }

    /// Side of a cell \[m\].
    #[must_use]
    pub fn cell_m(&self) -> f64 {
        self.cell_m
    }

    /// Number of turf cells.
    #[must_use]
    pub fn turf_cells(&self) -> usize {
        self.turf_cells
    }

    /// Cells from west to east and from south to north.
    #[must_use]
    pub fn size(&self) -> (usize, usize) {
        (self.cols, self.rows)
    }

    /// The box of cells that holds all turf: first column and row, columns and rows.
    #[must_use]
    pub fn turf_box(&self) -> (usize, usize, usize, usize) {
        let wet = |&(_, &(from, to)): &(usize, &(i32, i32))| from < to;
        let rows = || self.extent.iter().enumerate().filter(wet);
        let (Some((first_row, _)), Some((last_row, _))) = (rows().next(), rows().next_back())
        else {
            return (0, 0, 0, 0);
        };
        let from = rows().map(|(_, extent)| extent.0).min().unwrap_or(0);
        let to = rows().map(|(_, extent)| extent.1).max().unwrap_or(0);
        (
            from as usize,
            first_row,
            (to - from) as usize,
            last_row + 1 - first_row,
        )
    }

    /// Whether a cell is turf.
    #[must_use]
    pub fn is_turf(&self, col: usize, row: usize) -> bool {
        self.turf[row * self.cols + col] > 0.0
    }

    /// Whether a point lies in a turf cell.
    #[must_use]
    pub fn turf_at(&self, point: Point) -> bool {
        self.cell_at(point)
            .is_some_and(|cell| self.turf[cell] > 0.0)
    }

    /// The columns of a row whose centres lie between two abscissae, clipped to the grid:
    /// first column and the one behind the last.
    #[inline]
    pub(super) fn columns_between(&self, low_x: f64, high_x: f64) -> (i32, i32) {
        let last = self.cols as f64;
        let start = ceil_within((low_x - self.first.x) * self.per_m, last);
        let end = floor_within((high_x - self.first.x) * self.per_m + 1.0, last);
        (start, end)
    }

    /// The columns and rows of the cells whose centres lie in a box, clipped to the grid.
    #[must_use]
    pub fn cells_between(&self, low: Point, high: Point) -> (Range<usize>, Range<usize>) {
        let (start, end) = self.columns_between(low.x, high.x);
        (
            start as usize..(end.max(start)) as usize,
            self.rows_between(low.y, high.y),
        )
    }

    /// The cell that holds a point, as a place in a field row by row from the south-west.
    #[must_use]
    pub fn cell_at(&self, point: Point) -> Option<usize> {
        let col = ((point.x - self.first.x) * self.per_m + 0.5).floor();
        let row = ((point.y - self.first.y) * self.per_m + 0.5).floor();
        let is_on = col >= 0.0 && row >= 0.0 && col < self.cols as f64 && row < self.rows as f64;
        is_on.then(|| row as usize * self.cols + col as usize)
    }

    /// South-west and north-east corner of all cells.
    pub(super) fn bounds(&self) -> (Point, Point) {
        let half = Point::new(0.5, 0.5) * self.cell_m;
        (
            self.first - half,
            self.centre(self.cols - 1, self.rows - 1) + half,
        )
    }

    /// The rows whose centres lie between two ordinates, clipped to the grid.
    #[inline]
    pub(super) fn rows_between(&self, low_y: f64, high_y: f64) -> Range<usize> {
        let last = self.rows as f64;
        let start = ceil_within((low_y - self.first.y) * self.per_m, last);
        let end = floor_within((high_y - self.first.y) * self.per_m + 1.0, last);
        start as usize..end as usize
    }

    /// The same and one row more on both sides, for tests that must not miss a row by rounding.
    #[inline]
    pub(super) fn rows_about(&self, low_y: f64, high_y: f64) -> Range<usize> {
        let rows = self.rows_between(low_y, high_y);
        rows.start.saturating_sub(1)..(rows.end + 1).min(self.rows)
    }

    /// The runs of cells of each row whose centres lie inside an outline, by its crossings with
    /// the row: `visit(row, start, end)`.
    pub fn fill(&self, outline: &Outline, mut visit: impl FnMut(usize, i32, i32)) {
        let mut crossings: Vec<(u32, f64)> = Vec::with_capacity(4 * self.rows);
        for (a, b) in outline.edges() {
            let (low, high) = if a.y < b.y { (a.y, b.y) } else { (b.y, a.y) };
            for row in self.rows_about(low, high) {
                let y = self.first.y + row as f64 * self.cell_m;
                if (a.y > y) != (b.y > y) {
                    let x = a.x + (y - a.y) / (b.y - a.y) * (b.x - a.x);
                    crossings.push((row as u32, x));
                }
            }
        }
        crossings.sort_unstable_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        // Every row is crossed an even number of times.
        for pair in crossings.chunks_exact(2) {
            let (start, end) = self.columns_between(pair[0].1, pair[1].1);
            if start < end {
                visit(pair[0].0 as usize, start, end);
            }
        }
    }

    fn mark_turf(&mut self, outline: &Outline) {
        let mut turf = std::mem::take(&mut self.turf);
        let mut extent = std::mem::take(&mut self.extent);
        let mut spans: Vec<(u32, u32)> = Vec::with_capacity(self.rows);
        let cols = self.cols;
        self.fill(outline, |row, start, end| {
            let (first, behind) = (row * cols + start as usize, row * cols + end as usize);
            turf[first..behind].fill(1.0);
            // Where two runs touch in a cell it is counted once.
            let first = spans
                .last()
                .map_or(first, |&(_, last)| first.max(last as usize));
            if first < behind {
                spans.push((first as u32, behind as u32));
            }
            let (from, to) = extent[row];
            extent[row] = if from == to {
                (start, end)
            } else {
                (from.min(start), to.max(end))
            };
        });
        self.turf_cells = spans.iter().map(|&(from, to)| (to - from) as usize).sum();
        self.spans = spans;
        self.turf = turf;
        self.extent = extent;
    }
}

/// The next whole number, kept between 0 and `last`. Plain casts: the baseline instruction set has
/// no rounding instruction, and this is the innermost geometry.
#[inline]
fn ceil_within(x: f64, last: f64) -> i32 {
    let x = x.clamp(0.0, last);
    let whole = x as i32;
    whole + i32::from(f64::from(whole) < x)
}

/// The whole number below, kept between 0 and `last`.
#[inline]
fn floor_within(x: f64, last: f64) -> i32 {
    x.clamp(0.0, last) as i32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_with_their_centre_inside_are_turf() {
        let outline = Outline::new(
            vec![
                Point::new(0.0, 0.0),
                Point::new(7.3, 0.4),
                Point::new(5.0, 6.1),
                Point::new(1.0, 4.0),
            ],
            vec![vec![
                Point::new(2.0, 1.0),
                Point::new(4.0, 1.2),
                Point::new(3.0, 3.0),
            ]],
        )
        .unwrap();
        for margin_m in [0.0, 2.0] {
            let grid = Grid::over(&outline, 0.2, margin_m);
            let mut turf = 0;
            for row in 0..grid.rows {
                for col in 0..grid.cols {
                    assert_eq!(
                        grid.is_turf(col, row),
                        outline.contains(grid.centre(col, row))
                    );
                    turf += usize::from(grid.is_turf(col, row));
                }
            }
            assert_eq!(turf, grid.turf_cells());
            // The rule of cell centres errs by less than half a cell along the boundary.
            let area_m2 = turf as f64 * 0.04;
            assert!((area_m2 - outline.area_m2()).abs() < 0.1 * outline.perimeter_m());
        }
    }

    #[test]
    fn the_margin_does_not_move_the_turf_cells() {
        let outline = Outline::new(
            vec![
                Point::new(0.0, 0.0),
                Point::new(7.3, 0.4),
                Point::new(5.0, 6.1),
            ],
            vec![],
        )
        .unwrap();
        assert_eq!(
            Grid::over(&outline, 0.25, 0.0).turf_cells(),
            Grid::over(&outline, 0.25, 3.1).turf_cells()
        );
    }
}
