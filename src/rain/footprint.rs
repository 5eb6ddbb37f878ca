//! The cells that a head can reach, row by row.

use super::grid::Grid;
use super::kernel::Run;
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

#[derive(Debug, Clone, Copy)]
enum Arc {
    Full,
    /// At most a half circle: what both edges admit.
    Narrow([Edge; 2]),
    /// More than a half circle: all but the dry sector, given by its edges.
    Wide([Edge; 2]),
}

/// One straight edge of a sector, as the half-plane that it admits: on the row at height dy above
/// the head, the points east or west of `slope · dy`.
#[derive(Debug, Clone, Copy)]
enum Edge {
    East {
        slope: f64,
    },
    West {
        slope: f64,
    },
    /// An edge along the row admits whole rows: those on one side.
    Rows {
        sign: f64,
    },
}

impl Edge {
    /// The half-plane clockwise of a direction (`sign` 1) or counter-clockwise of it (−1).
    fn beside(direction: Point, sign: f64) -> Edge {
        let (x, y) = (direction.x * sign, direction.y * sign);
        // Clockwise of the direction: x·dy − y·px ≤ 0.
        if y.abs() < 1e-12 {
            Edge::Rows { sign: x }
        } else if y > 0.0 {
            Edge::East { slope: x / y }
        } else {
            Edge::West { slope: x / y }
        }
    }
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

    /// Whether something stands in the way.
    pub(super) fn is_cut(&self) -> bool {
        self.seen.is_some()
    }

    /// The same pattern with nothing in its way.
    pub(super) fn uncut(&self) -> Footprint<'static> {
        Footprint {
            at: self.at,
            shape: self.shape.clone(),
            seen: None,
        }
    }

    /// The rows of the grid that the footprint touches.
    fn rows(&self, grid: &Grid) -> std::ops::Range<usize> {
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
            None => {
                for row in rows {
                    self.runs(grid, row, |start, end| visit(row, start, end));
                }
            }
            Some(outline) => {
                let seen = SeenRows::of(grid, rows.clone(), outline);
                for row in rows {
                    self.runs(grid, row, |start, end| {
                        seen.within(grid, row, (start, end), |start, end| visit(row, start, end));
                    });
                }
            }
        }
    }

    /// The runs of cells of one row, whatever the head sees.
    #[inline]
    fn runs(&self, grid: &Grid, row: usize, add: impl FnMut(i32, i32)) {
        let y = grid.first.y + row as f64 * grid.cell_m;
        match &self.shape {
            Shape::Sector { radius_m, arc } => self.sector_runs(grid, y, *radius_m, arc, add),
            Shape::Rectangle { corners } => rectangle_run(grid, y, corners, add),
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
        self.runs_within_into(grid, &grid.extent, runs);
    }

    /// The same, of every row only some columns: the first, and the one behind the last.
    pub(super) fn runs_within_into(&self, grid: &Grid, extent: &[(i32, i32)], runs: &mut Vec<Run>) {
        runs.clear();
        self.visit(grid, |row, start, end| {
            let (from, to) = extent[row];
            let (start, end) = (start.max(from), end.min(to));
            if start < end {
                runs.push(self.run(grid, row, start, end));
            }
        });
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
        y: f64,
        radius_m: f64,
        arc: &Arc,
        mut add: impl FnMut(i32, i32),
    ) {
        let dy = y - self.at.y;
        let chord2 = radius_m * radius_m - dy * dy;
        if chord2 <= 0.0 {
            return;
        }
        let half = chord2.sqrt();
        let mut between = |from: f64, to: f64| {
            if from < to {
                let (start, end) = grid.columns_between(self.at.x + from, self.at.x + to);
                if start < end {
                    add(start, end);
                }
            }
        };
        match arc {
            Arc::Full => between(-half, half),
            Arc::Narrow(edges) => {
                let (from, to) = admitted(edges, dy);
                between(from.max(-half), to.min(half));
            }
            Arc::Wide(dry) => {
                let (dry_from, dry_to) = admitted(dry, dy);
                if dry_from < dry_to {
                    between(-half, dry_from.min(half));
                    between(dry_to.max(-half), half);
                } else {
                    between(-half, half);
                }
            }
        }
    }
}

impl Arc {
    fn new(start_deg: f64, sweep_deg: f64) -> Arc {
        if sweep_deg >= 360.0 {
            return Arc::Full;
        }
        let start = Point::along_bearing(start_deg);
        let end = Point::along_bearing(start_deg + sweep_deg);
        if sweep_deg <= 180.0 {
            Arc::Narrow([Edge::beside(start, 1.0), Edge::beside(end, -1.0)])
        } else {
            // The dry sector runs clockwise from `end` to `start`.
            Arc::Wide([Edge::beside(end, 1.0), Edge::beside(start, -1.0)])
        }
    }
}

/// The abscissae, seen from the head, that both edges admit on the row at height `dy`.
#[inline]
fn admitted(edges: &[Edge; 2], dy: f64) -> (f64, f64) {
    let (mut from, mut to) = (f64::NEG_INFINITY, f64::INFINITY);
    for edge in edges {
        match *edge {
            Edge::East { slope } => from = from.max(slope * dy),
            Edge::West { slope } => to = to.min(slope * dy),
            Edge::Rows { sign } => {
                if sign * dy > 0.0 {
                    return (0.0, 0.0);
                }
            }
        }
    }
    (from, to)
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
