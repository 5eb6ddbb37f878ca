//! The runs of cells of a sector, several rows at a time.
//!
//! On the row at height y above the head a sector of throw R admits the abscissae between ∓√(R² − y²)
//! that its two edges admit as well; an edge is a line through the head, so its bound is linear in
//! y. All rows go through the same steps, without a branch.

use super::vectors::Vectors;
use multiversion::multiversion;

/// Rows worked on together.
pub(super) const TOGETHER: usize = 16;
/// Beyond every grid \[cells\].
const FAR: f64 = 1e9;

/// A sector as its rows see it, all in cells from the first cell of a row.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sector {
    /// Where the head stands.
    pub(super) at: f64,
    /// Square of the throw \[m²\].
    pub(super) throw2_m2: f64,
    /// Cells in a metre.
    pub(super) per_m: f64,
    /// Bounds of what the edges admit.
    pub(super) edges: Bounds,
    /// Whether the edges bound what is dry: the sector is more than a half circle.
    pub(super) is_wide: bool,
    /// The cells of a row.
    pub(super) cols: f64,
}

/// What two edges admit on a row: from the largest of `slope · y + offset` on the left to the least
/// of those on the right.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bounds {
    /// Slope and offset of the bounds on the left.
    pub(super) left: [(f64, f64); 2],
    /// Slope and offset of the bounds on the right.
    pub(super) right: [(f64, f64); 2],
    /// Sides of the head, above (1) or below (−1), on which nothing is admitted.
    pub(super) shut: [f64; 2],
}

impl Bounds {
    /// Everything is admitted.
    pub(super) const NONE: Bounds = Bounds {
        left: [(0.0, -FAR); 2],
        right: [(0.0, FAR); 2],
        shut: [0.0; 2],
    };
}

/// The runs of some rows: the first from `start` to before `gap_start`, the second from `gap_end` to
/// before `end`. Either may be empty.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Rows {
    pub(super) start: [i32; TOGETHER],
    pub(super) gap_start: [i32; TOGETHER],
    pub(super) gap_end: [i32; TOGETHER],
    pub(super) end: [i32; TOGETHER],
}

/// 1.5 · 2^52: a number below 2^31 that is added to it is rounded to whole, and is found in its last 32 bits. That
/// is exact, and unlike a conversion with `as` vectors of every width have it.
const WHOLE: f64 = 6_755_399_441_055_744.0;

#[inline(always)]
fn nearest(x: f64) -> f64 {
    (x + WHOLE) - WHOLE
}

#[inline(always)]
fn to_i32(whole: f64) -> i32 {
    (whole + WHOLE).to_bits() as i32
}

/// The next whole number, of what lies in a row.
#[inline(always)]
fn ceil(x: f64) -> i32 {
    let whole = nearest(x);
    to_i32(if whole < x { whole + 1.0 } else { whole })
}

/// The last whole number, of what lies in a row.
#[inline(always)]
fn floor(x: f64) -> i32 {
    let whole = nearest(x);
    to_i32(if whole > x { whole - 1.0 } else { whole })
}

/// Fills in the runs of rows at heights `ys_m` above the head \[m\].
pub(super) fn rows(sector: &Sector, ys_m: &[f64; TOGETHER], rows: &mut Rows) {
    match Vectors::forced() {
        Vectors::Widest => rows_widest(sector, ys_m, rows),
        Vectors::Baseline => rows_of(sector, ys_m, rows),
    }
}

#[multiversion(targets("x86_64+avx2"))]
fn rows_widest(sector: &Sector, ys_m: &[f64; TOGETHER], rows: &mut Rows) {
    rows_of(sector, ys_m, rows);
}

#[inline(always)]
fn rows_of(sector: &Sector, ys_m: &[f64; TOGETHER], rows: &mut Rows) {
    let Bounds { left, right, shut } = sector.edges;
    for (k, &y) in ys_m.iter().enumerate() {
        let half = (sector.throw2_m2 - y * y).max(0.0).sqrt() * sector.per_m;
        let from = (left[0].0 * y + left[0].1).max(left[1].0 * y + left[1].1);
        let to = (right[0].0 * y + right[0].1).min(right[1].0 * y + right[1].1);
        let is_shut = (shut[0] * y > 0.0) | (shut[1] * y > 0.0);
        // A row that the circle does not reach has the empty run from 1 to 0.
        let is_out = sector.throw2_m2 <= y * y;
        let clamp = |x: f64| x.max(0.0).min(sector.cols);
        let (chord_from, chord_to) = (sector.at - half, sector.at + half);
        let (edge_from, edge_to) = (sector.at + from, sector.at + to);
        if sector.is_wide {
            let start = ceil(clamp(chord_from));
            let end = floor(clamp(chord_to + 1.0));
            let end = if is_out { 0 } else { end };
            let has_gap = (from < to) & !is_shut;
            let gap_start = if has_gap {
                floor(clamp(edge_from + 1.0))
            } else {
                end
            };
            let gap_end = if has_gap { ceil(clamp(edge_to)) } else { end };
            rows.start[k] = start;
            rows.gap_start[k] = gap_start.min(end);
            rows.gap_end[k] = gap_end.max(start);
            rows.end[k] = end;
        } else {
            let start = ceil(clamp(chord_from.max(edge_from)));
            let end = floor(clamp(chord_to.min(edge_to) + 1.0));
            let is_dry = is_out | is_shut | (from >= to);
            rows.start[k] = start;
            rows.gap_start[k] = if is_dry { 0 } else { end };
            rows.gap_end[k] = 0;
            rows.end[k] = 0;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_numbers_are_those_of_the_library() {
        let mut tried = 0;
        for cells in 0..5_000 {
            let whole = f64::from(cells);
            for x in [
                whole,
                whole.next_up(),
                whole.next_down().max(0.0),
                whole + 0.25,
                whole + 0.5,
                whole + 0.75,
            ] {
                assert_eq!(ceil(x), x.ceil() as i32, "{x}");
                assert_eq!(floor(x), x.floor() as i32, "{x}");
                tried += 1;
            }
        }
        assert_eq!(tried, 30_000);
    }
}
