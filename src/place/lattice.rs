//! Regular grids of heads inside a turf area.

use crate::shape::{Outline, Point};

/// Rows of the triangular grid, as a share of the pitch: sin 60°.
pub(super) const ROW_FRAC: f64 = 0.866_025_403_784_438_6;
/// Most points that a lattice may have.
const MOST_POINTS: f64 = 1_000_000.0;

/// How the points of a lattice stand to one another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weave {
    /// Rows 0.866 of the pitch apart, every other row shifted by half a pitch.
    Triangular,
    /// Rows a pitch apart.
    Square,
}

/// A lattice: where a point of it lies, which way its rows run, and how far apart points are.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lattice {
    pub(super) origin: Point,
    /// Unit vector along the rows.
    pub(super) along: Point,
    pub(super) pitch_m: f64,
    pub(super) weave: Weave,
}

impl Lattice {
    /// The points inside an outline, row by row. A lattice of more than a million points gives
    /// none.
    pub(super) fn points(&self, outline: &Outline) -> Vec<Point> {
        let across = Point::new(-self.along.y, self.along.x);
        let (mut low, mut high) = (
            Point::new(f64::INFINITY, f64::INFINITY),
            Point::new(f64::NEG_INFINITY, f64::NEG_INFINITY),
        );
        for &p in outline.outer() {
            let (u, v) = (
                (p - self.origin).dot(self.along),
                (p - self.origin).dot(across),
            );
            low = Point::new(low.x.min(u), low.y.min(v));
            high = Point::new(high.x.max(u), high.y.max(v));
        }
        let (row_m, shift_m) = match self.weave {
            Weave::Triangular => (ROW_FRAC * self.pitch_m, self.pitch_m / 2.0),
            Weave::Square => (self.pitch_m, 0.0),
        };
        let rows = (low.y / row_m).floor() as i64..=(high.y / row_m).ceil() as i64;
        let cols =
            (low.x / self.pitch_m).floor() as i64 - 1..=(high.x / self.pitch_m).ceil() as i64;
        if (rows.end() - rows.start()) as f64 * (cols.end() - cols.start()) as f64 > MOST_POINTS {
            return Vec::new();
        }
        let mut points = Vec::new();
        for row in rows {
            for col in cols.clone() {
                let u =
                    col as f64 * self.pitch_m + if row.rem_euclid(2) == 1 { shift_m } else { 0.0 };
                let point = self.origin + self.along * u + across * (row as f64 * row_m);
                if outline.contains(point) {
                    points.push(point);
                }
            }
        }
        points
    }
}
