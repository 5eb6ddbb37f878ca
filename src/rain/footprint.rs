//! The cells that a head can reach, row by row.

use std::ops::Range;
use std::sync::LazyLock;

use super::grid::Grid;
use super::kernel::Run;
use super::sector::{self, Bounds, Rows, Sector, TOGETHER};
use super::seen::SeenRows;
use crate::catalogue::{Head, Pattern, StripKind};
use crate::shape::{Outline, Point};

/// What a head waters, ready for row-by-row work: no trigonometry is left in it.
#[derive(Debug, Clone)]
pub(super) struct Footprint<'s> {
    at: Point,
    shape: Shape,
    /// What the head can see, where walls or trunks stand in its way.
    seen: Option<&'s Outline>,
}

#[derive(Debug, Clone)]
enum Shape {
    /// A sector by its radius and the directions of its two edges.
    Sector { radius_m: f64, arc: Arc },
    /// A convex quadrilateral.
    Rectangle { corners: [Point; 4] },
}

/// What the two straight edges of a sector admit, by slopes in metres: between them at most a half
/// circle, which is wet, or, of a larger sector, dry.
#[derive(Debug, Clone, Copy)]
struct Arc {
    edges: Bounds,
    is_wide: bool,
}

impl<'s> Footprint<'s> {
    /// Prepares a head's pattern, optionally cut to what it can see.
    pub(super) fn of(head: &Head, seen: Option<&'s Outline>) -> Footprint<'s> {
        let shape = match head.pattern {
            Pattern::Sector {
                radius_m,
                start_deg,
                sweep_deg,
            } => Shape::Sector {
                radius_m,
                arc: Arc::new(start_deg, sweep_deg),
            },
            Pattern::Strip {
                kind,
                length_m,
                width_m,
                azimuth_deg,
            } => Shape::Rectangle {
                corners: strip_corners(head.at, kind, length_m, width_m, azimuth_deg),
            },
        };
        Footprint {
            at: head.at,
            shape,
            seen,
        }
    }

    /// A sector from its parts.
    pub(super) fn sector(
        at: Point,
        radius_m: f64,
        start_deg: f64,
        sweep_deg: f64,
        seen: Option<&'s Outline>,
    ) -> Footprint<'s> {
        Footprint {
            at,
            shape: Shape::Sector {
                radius_m,
                arc: Arc::new(start_deg, sweep_deg),
            },
            seen,
        }
    }

    /// The same pattern with the throw cut to a share of it; strips stay as they are.
    pub(super) fn shortened(&self, share: f64) -> Footprint<'s> {
        let mut shorter = self.clone();
        if let Shape::Sector { radius_m, .. } = &mut shorter.shape {
            *radius_m *= share;
        }
        shorter
    }

    /// The rows of the grid that the footprint touches.
    fn rows(&self, grid: &Grid) -> Range<usize> {
        match &self.shape {
            Shape::Sector { radius_m, .. } => {
                grid.rows_between(self.at.y - radius_m, self.at.y + radius_m)
            }
            Shape::Rectangle { corners } => {
                let low = corners.iter().map(|c| c.y).fold(f64::INFINITY, f64::min);
                let high = corners
                    .iter()
                    .map(|c| c.y)
                    .fold(f64::NEG_INFINITY, f64::max);
                grid.rows_between(low, high)
            }
        }
    }

    /// Calls `visit(row, start, end)` for every run of cells, row by row and from west to east.
    #[inline]
    pub(super) fn visit(&self, grid: &Grid, mut visit: impl FnMut(usize, i32, i32)) {
        let rows = self.rows(grid);
        match self.seen {
            None => self.runs(grid, rows, visit),
            Some(outline) => {
                let seen = SeenRows::of(grid, rows.clone(), outline);
                self.runs(grid, rows, |row, start, end| {
                    seen.within(grid, row, (start, end), |start, end| visit(row, start, end));
                });
            }
        }
    }

    /// The runs of cells of some rows, whatever the head sees.
    #[inline]
    fn runs(&self, grid: &Grid, rows: Range<usize>, mut add: impl FnMut(usize, i32, i32)) {
        match &self.shape {
            Shape::Sector { radius_m, arc } => self.sector_runs(grid, rows, *radius_m, arc, add),
            Shape::Rectangle { corners } => {
                for row in rows {
                    let y = grid.first.y + row as f64 * grid.cell_m;
                    rectangle_run(grid, y, corners, |start, end| add(row, start, end));
                }
            }
        }
    }

    /// Lists the runs of cells with their places in a field over the grid.
    pub(super) fn runs_into(&self, grid: &Grid, runs: &mut Vec<Run>) {
        runs.clear();
        self.visit(grid, |row, start, end| {
            runs.push(self.run(grid, row, start, end))
        });
    }

    /// The same, of every row only what lies between its first and last turf cell.
    pub(super) fn turf_runs_into(&self, grid: &Grid, runs: &mut Vec<Run>) {
        let seen = self
            .seen
            .map(|seen| SeenRows::of(grid, self.rows(grid), seen));
        self.turf_runs_seen_into(grid, seen.as_ref(), runs);
    }

    /// The same, cut to what is seen by rows that are known already.
    pub(super) fn turf_runs_seen_into(
        &self,
        grid: &Grid,
        seen: Option<&SeenRows>,
        runs: &mut Vec<Run>,
    ) {
        runs.clear();
        self.visit_split(grid, seen, |row, start, end, is_seen| {
            let (from, to) = grid.extent[row];
            let (start, end) = (start.max(from), end.min(to));
            if is_seen && start < end {
                runs.push(self.run(grid, row, start, end));
            }
        });
    }

    /// The same with all cells of every row.
    pub(super) fn seen_runs_into(&self, grid: &Grid, seen: Option<&SeenRows>, runs: &mut Vec<Run>) {
        runs.clear();
        self.visit_split(grid, seen, |row, start, end, is_seen| {
            if is_seen {
                runs.push(self.run(grid, row, start, end));
            }
        });
    }

    /// Lists what is seen of some runs of cells in `runs`, and all that is not in `hidden`. The
    /// runs are those of row `row` from `starts[row]` to `starts[row + 1]`, from west to east.
    pub(super) fn split_into(
        &self,
        grid: &Grid,
        seen: Option<&SeenRows>,
        (starts, wanted): (&[u32], &[(i32, i32)]),
        runs: &mut Vec<Run>,
        hidden: &mut Vec<Run>,
    ) {
        runs.clear();
        hidden.clear();
        self.visit_split(grid, seen, |row, start, end, is_seen| {
            if !is_seen {
                hidden.push(self.run(grid, row, start, end));
                return;
            }
            for &(from, to) in &wanted[starts[row] as usize..starts[row + 1] as usize] {
                let (from, to) = (start.max(from), end.min(to));
                if from < to {
                    runs.push(self.run(grid, row, from, to));
                }
            }
        });
    }

    /// Calls `visit(row, start, end, is_seen)` for every run of cells of the whole pattern, split
    /// where what is seen begins and ends.
    #[inline]
    fn visit_split(
        &self,
        grid: &Grid,
        seen: Option<&SeenRows>,
        mut visit: impl FnMut(usize, i32, i32, bool),
    ) {
        let rows = self.rows(grid);
        match seen {
            None => self.runs(grid, rows, |row, start, end| visit(row, start, end, true)),
            Some(seen) => self.runs(grid, rows, |row, start, end| {
                seen.split(grid, row, (start, end), |start, end, is_seen| {
                    visit(row, start, end, is_seen);
                });
            }),
        }
    }

    /// A grid holds a few million cells at most, so their numbers fit u32.
    #[inline]
    fn run(&self, grid: &Grid, row: usize, start: i32, end: i32) -> Run {
        let dy = grid.first.y + row as f64 * grid.cell_m - self.at.y;
        let from = (row * grid.cols) as u32;
        Run {
            start: from + start as u32,
            end: from + end as u32,
            dx0_m: (grid.first.x + f64::from(start) * grid.cell_m - self.at.x) as f32,
            dy2_m2: (dy * dy) as f32,
        }
    }

    #[inline]
    fn sector_runs(
        &self,
        grid: &Grid,
        touched: Range<usize>,
        radius_m: f64,
        arc: &Arc,
        mut add: impl FnMut(usize, i32, i32),
    ) {
        let in_cells =
            |bounds: [(f64, f64); 2]| bounds.map(|(slope, offset)| (slope * grid.per_m, offset));
        let sector = Sector {
            at: (self.at.x - grid.first.x) * grid.per_m,
            throw2_m2: radius_m * radius_m,
            per_m: grid.per_m,
            edges: Bounds {
                left: in_cells(arc.edges.left),
                right: in_cells(arc.edges.right),
                shut: arc.edges.shut,
            },
            is_wide: arc.is_wide,
            cols: grid.cols as f64,
        };
        let mut runs = Rows::default();
        for first in touched.clone().step_by(TOGETHER) {
            let ys_m = std::array::from_fn(|k| {
                grid.first.y + (first + k) as f64 * grid.cell_m - self.at.y
            });
            sector::rows(&sector, &ys_m, &mut runs);
            for k in 0..TOGETHER.min(touched.end - first) {
                if runs.start[k] < runs.gap_start[k] {
                    add(first + k, runs.start[k], runs.gap_start[k]);
                }
                if runs.gap_end[k] < runs.end[k] {
                    add(first + k, runs.gap_end[k], runs.end[k]);
                }
            }
        }
    }
}

impl Arc {
    fn new(start_deg: f64, sweep_deg: f64) -> Arc {
        let mut edges = Bounds::NONE;
        if sweep_deg >= 360.0 {
            return Arc {
                edges,
                is_wide: false,
            };
        }
        let (start, end) = (direction(start_deg), direction(start_deg + sweep_deg));
        let is_wide = sweep_deg > 180.0;
        // The dry sector runs clockwise from the end to the start.
        let (from, to) = if is_wide { (end, start) } else { (start, end) };
        admit(&mut edges, 0, from, 1.0);
        admit(&mut edges, 1, to, -1.0);
        Arc { edges, is_wide }
    }
}

/// Bounds by the half-plane clockwise of a direction (`sign` 1) or counter-clockwise of it (−1).
fn admit(edges: &mut Bounds, k: usize, direction: Point, sign: f64) {
    let (x, y) = (direction.x * sign, direction.y * sign);
    // Clockwise of the direction: x·dy − y·px ≤ 0.
    if y.abs() < 1e-12 {
        // An edge along the row admits whole rows: those on one side.
        edges.shut[k] = x.signum();
    } else if y > 0.0 {
        edges.left[k] = (x / y, 0.0);
    } else {
        edges.right[k] = (x / y, 0.0);
    }
}

/// The unit vector along a bearing; those of whole degrees, which arcs are set to, are kept.
fn direction(bearing_deg: f64) -> Point {
    static WHOLE: LazyLock<Vec<Point>> = LazyLock::new(|| {
        (0..720)
            .map(|degrees| Point::along_bearing(f64::from(degrees % 360)))
            .collect()
    });
    // A negative bearing saturates at 0 and is not equal to it.
    let whole = bearing_deg as usize;
    match WHOLE.get(whole) {
        Some(&kept) if whole as f64 == bearing_deg => kept,
        _ => Point::along_bearing(bearing_deg),
    }
}

/// The run of a row inside a convex quadrilateral.
#[inline]
fn rectangle_run(grid: &Grid, y: f64, corners: &[Point; 4], mut add: impl FnMut(i32, i32)) {
    let (mut from, mut to) = (f64::INFINITY, f64::NEG_INFINITY);
    for i in 0..4 {
        let (a, b) = (corners[i], corners[(i + 1) % 4]);
        if (a.y > y) != (b.y > y) {
            let x = a.x + (y - a.y) / (b.y - a.y) * (b.x - a.x);
            (from, to) = (from.min(x), to.max(x));
        }
    }
    if from < to {
        let (start, end) = grid.columns_between(from, to);
        if start < end {
            add(start, end);
        }
    }
}

/// The corners of a strip's rectangle, around.
#[must_use]
pub fn strip_corners(
    at: Point,
    kind: StripKind,
    length_m: f64,
    width_m: f64,
    azimuth_deg: f64,
) -> [Point; 4] {
    let ahead = Point::along_bearing(azimuth_deg);
    let right = Point::new(ahead.y, -ahead.x);
    let (near, far, half) = match kind {
        StripKind::End => (0.0, length_m, width_m / 2.0),
        StripKind::Side => (0.0, width_m, length_m / 2.0),
        StripKind::Centre => (-width_m / 2.0, width_m / 2.0, length_m / 2.0),
    };
    [
        at + ahead * near - right * half,
        at + ahead * far - right * half,
        at + ahead * far + right * half,
        at + ahead * near + right * half,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whether a point lies in a sector, by its bearing: the definition, slow.
    fn in_sector(p: Point, radius_m: f64, start_deg: f64, sweep_deg: f64) -> bool {
        let turned = (p.bearing_deg() - start_deg).rem_euclid(360.0);
        p.norm() < radius_m && (sweep_deg >= 360.0 || turned <= sweep_deg)
    }

    #[test]
    fn spans_hold_exactly_the_cells_of_the_sector() {
        let outline = Outline::new(
            vec![
                Point::new(-6.0, -6.0),
                Point::new(6.0, -6.0),
                Point::new(6.0, 6.0),
                Point::new(-6.0, 6.0),
            ],
            vec![],
        )
        .unwrap();
        let grid = Grid::over(&outline, 0.23, 0.0);
        let mut inside = 0;
        for start in (0..360).step_by(15) {
            for sweep in [45, 90, 135, 175, 180, 185, 225, 270, 360] {
                let (start_deg, sweep_deg) = (f64::from(start) + 1.0, f64::from(sweep));
                let at = Point::new(0.31, -0.17);
                let footprint = Footprint::sector(at, 4.4, start_deg, sweep_deg, None);
                let mut wet = vec![false; grid.cols * grid.rows];
                footprint.visit(&grid, |row, a, b| {
                    wet[row * grid.cols + a as usize..row * grid.cols + b as usize].fill(true);
                });
                for row in 0..grid.rows {
                    for col in 0..grid.cols {
                        let covered = wet[row * grid.cols + col];
                        let expected =
                            in_sector(grid.centre(col, row) - at, 4.4, start_deg, sweep_deg);
                        assert_eq!(
                            covered, expected,
                            "start {start_deg} sweep {sweep_deg} col {col} row {row}"
                        );
                        inside += usize::from(covered);
                    }
                }
            }
        }
        assert!(inside > 100_000);
    }

    #[test]
    fn a_strip_covers_its_rectangle() {
        for kind in [StripKind::End, StripKind::Side, StripKind::Centre] {
            let corners = strip_corners(Point::new(1.0, 2.0), kind, 9.0, 1.5, 30.0);
            let outline = Outline::new(corners.to_vec(), vec![]).unwrap();
            assert!((outline.area_m2() - 13.5).abs() < 1e-9);
            let nearest = outline.boundary_distance_m(Point::new(1.0, 2.0));
            let expected = if kind == StripKind::Centre { 0.75 } else { 0.0 };
            assert!((nearest - expected).abs() < 1e-9);
        }
    }
}
