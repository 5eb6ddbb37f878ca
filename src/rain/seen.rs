//! What heads see where walls, buildings or trunks stand around, and the cells of it.

use std::ops::Range;

use super::grid::Grid;
use crate::catalogue::Head;
use crate::shape::{Outline, seen_from};

/// How far a head has to see, as a share of its throw: patterns shifted by a tenth of it stay
/// within.
const SEEN_FRAC: f64 = 1.1;

/// What a head sees as far as any [`Variation`](super::Variation) of it can throw; `None` where
/// nothing stands in its way.
///
/// The head and what stands around it stay in their places while its pattern varies: a throw that
/// drifts towards a wall ends at the wall, and one that drifts away does not uncover what the wall
/// hides. A head shifted along with its pattern would instead find itself within the wall that it
/// stands by.
#[must_use]
pub fn seen_by(head: &Head, blocks: &[Outline]) -> Option<Outline> {
    seen_from(head.at, SEEN_FRAC * head.reach_m(), blocks)
}

/// The same for every head of a list; empty where nothing stands around.
#[must_use]
pub fn all_seen(heads: &[Head], blocks: &[Outline]) -> Vec<Option<Outline>> {
    if blocks.is_empty() {
        return Vec::new();
    }
    heads.iter().map(|head| seen_by(head, blocks)).collect()
}

/// The runs of cells of a grid that lie in an outline, for some of its rows.
#[derive(Debug, Clone)]
pub(super) struct SeenRows {
    rows: Range<usize>,
    /// Where the crossings of each row end; those of the first start at 0.
    ends: Vec<usize>,
    /// Abscissae at which the outline crosses the rows, row by row and from west to east.
    crossings: Vec<f64>,
}

impl SeenRows {
    /// All rows of a grid that an outline touches.
    pub(super) fn whole(grid: &Grid, outline: &Outline) -> SeenRows {
        let (low, high) = outline.bounds();
        SeenRows::of(grid, grid.rows_about(low.y, high.y), outline)
    }

    pub(super) fn of(grid: &Grid, rows: Range<usize>, outline: &Outline) -> SeenRows {
        let mut found: Vec<(usize, f64)> = Vec::with_capacity(4 * rows.len());
        let mut starts = vec![0; rows.len() + 1];
        for (a, b) in outline.edges() {
            let east_per_north = (b.x - a.x) / (b.y - a.y);
            let touched = grid.rows_about(a.y.min(b.y), a.y.max(b.y));
            for row in touched.start.max(rows.start)..touched.end.min(rows.end) {
                let y = grid.first.y + row as f64 * grid.cell_m;
                if (a.y > y) != (b.y > y) {
                    found.push((row - rows.start, a.x + (y - a.y) * east_per_north));
                    starts[row - rows.start + 1] += 1;
                }
            }
        }
        for i in 1..starts.len() {
            starts[i] += starts[i - 1];
        }
        // While a row is being filled its start moves up to its end.
        let mut crossings = vec![0.0; found.len()];
        for (row, x) in found {
            crossings[starts[row]] = x;
            starts[row] += 1;
        }
        starts.pop();
        let mut seen = SeenRows {
            rows,
            ends: starts,
            crossings,
        };
        for i in 0..seen.ends.len() {
            let range = seen.range(i);
            seen.crossings[range].sort_unstable_by(f64::total_cmp);
        }
        seen
    }

    fn range(&self, i: usize) -> Range<usize> {
        let start = if i == 0 { 0 } else { self.ends[i - 1] };
        start..self.ends[i]
    }

    /// The parts of a run of cells of a row that lie in the outline, each cell once.
    #[inline]
    pub(super) fn within(
        &self,
        grid: &Grid,
        row: usize,
        run: (i32, i32),
        mut visit: impl FnMut(i32, i32),
    ) {
        self.split(grid, row, run, |start, end, is_seen| {
            if is_seen {
                visit(start, end);
            }
        });
    }

    /// All parts of a run of cells of a row from west to east, and whether each lies in the outline.
    #[inline]
    pub(super) fn split(
        &self,
        grid: &Grid,
        row: usize,
        run: (i32, i32),
        mut visit: impl FnMut(i32, i32, bool),
    ) {
        let mut free = run.0;
        if self.rows.contains(&row) {
            for pair in self.crossings[self.range(row - self.rows.start)].chunks_exact(2) {
                let (start, end) = grid.columns_between(pair[0], pair[1]);
                let (start, end) = (start.max(free), end.min(run.1));
                if start < end {
                    if free < start {
                        visit(free, start, false);
                    }
                    visit(start, end, true);
                    free = end;
                }
            }
        }
        if free < run.1 {
            visit(free, run.1, false);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shape::Point;

    #[test]
    fn runs_hold_exactly_the_cells_inside() {
        let points = |list: &[(f64, f64)]| list.iter().map(|&(x, y)| Point::new(x, y)).collect();
        // Corners on rows of cell centres, a side along one, and a hole.
        let outline = Outline::new(
            points(&[
                (0.1, 0.3),
                (4.9, 0.3),
                (3.1, 2.5),
                (6.3, 4.7),
                (2.2, 3.9),
                (0.4, 5.5),
            ]),
            vec![points(&[(1.0, 1.0), (1.3, 1.7), (1.9, 1.1)])],
        )
        .unwrap();
        let square = points(&[(0.0, 0.0), (6.0, 0.0), (6.0, 6.0), (0.0, 6.0)]);
        let grid = Grid::over(&Outline::new(square, vec![]).unwrap(), 0.2, 0.0);
        let (cols, rows) = grid.size();
        let seen = SeenRows::of(&grid, 1..rows - 1, &outline);
        let mut inside = 0;
        for row in 1..rows - 1 {
            let mut times = vec![0; cols];
            seen.within(&grid, row, (3, cols as i32), |start, end| {
                times[start as usize..end as usize]
                    .iter_mut()
                    .for_each(|n| *n += 1);
            });
            let mut told = 3;
            seen.split(&grid, row, (3, cols as i32), |start, end, is_seen| {
                assert_eq!(start, told);
                assert!(
                    (start..end).all(|col| (times[col as usize] == 1) == is_seen),
                    "{row}"
                );
                told = end;
            });
            assert_eq!(told, cols as i32);
            for (col, &times) in times.iter().enumerate() {
                let centre = grid.centre(col, row);
                if outline.boundary_distance_m(centre) > 1e-9 {
                    assert_eq!(
                        times,
                        i32::from(col >= 3 && outline.contains(centre)),
                        "{col} {row}"
                    );
                    inside += times;
                }
                assert!(times <= 1);
            }
        }
        assert!(inside > 200);
    }
}
