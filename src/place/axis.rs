//! The middle line of a narrow part, and the straight pieces that it is made of.
//!
//! The boundary is folded in two: of all pairs of ends, the pair whose two sides, each run through
//! from end to end, lie closest to one another. The middle line lies half-way, and is moved to the
//! middle of the width square to it.

use crate::shape::{Outline, Point, Ring, simplified};

/// Places on the boundary at which it may be folded.
const FOLDS: usize = 72;
/// Pairs of points that are compared between two sides.
const PAIRS: usize = 20;
/// Places along the middle line.
const STATIONS: usize = 48;
/// A straight piece leaves the middle line by at most this share of the width.
const STRAIGHT_FRAC: f64 = 0.16;
/// Digitiser's noise \[m\].
const NOISE_M: f64 = 0.15;
/// A piece runs along an edge whose direction differs by less than this \[degrees\].
const ALIKE_DEG: f64 = 7.0;
/// The share of places on a piece at which the turf is no wider than the piece.
const WIDTH_QUANTILE: f64 = 0.8;

/// A straight piece of a strip: from one end of its middle line to the other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Piece {
    pub(super) from: Point,
    pub(super) to: Point,
    /// Local width \[m\].
    pub(super) width_m: f64,
}

impl Piece {
    pub(super) fn length_m(&self) -> f64 {
        self.from.distance(self.to)
    }

    pub(super) fn along(&self) -> Point {
        (self.to - self.from).unit()
    }
}

/// The straight pieces of a narrow part, one behind the other. At a bend the first of two pieces
/// runs through to the far side and the second begins beside it where the bend is sharp; where it
/// is slight both meet in the middle. Empty for a part with holes or without length.
pub(super) fn pieces(outline: &Outline) -> Vec<Piece> {
    if !outline.holes().is_empty() {
        return Vec::new();
    }
    let Some(middle) = middle_line(outline) else {
        return Vec::new();
    };
    let typical_m = {
        let mut widths: Vec<f64> = middle
            .windows(2)
            .map(|pair| {
                width_at(
                    outline,
                    (pair[0] + pair[1]) * 0.5,
                    (pair[1] - pair[0]).unit(),
                )
                .1
            })
            .collect();
        widths.sort_by(f64::total_cmp);
        widths[widths.len() / 2]
    };
    let corners = straightened(&middle, (STRAIGHT_FRAC * typical_m).max(0.12));
    let edges = plain_edges(outline);
    let mut pieces: Vec<Piece> = corners
        .windows(2)
        .map(|pair| {
            let (from, to) = aligned(&edges, pair[0], pair[1]);
            fitted(outline, from, to)
        })
        .collect();
    pieces.retain(|piece| piece.length_m() > 0.3);
    meet(&mut pieces);
    // The ends reach the boundary.
    if let Some(first) = pieces.first_mut() {
        first.from = end_of(outline, first.from, first.along() * -1.0, first.width_m);
    }
    if let Some(last) = pieces.last_mut() {
        last.to = end_of(outline, last.to, last.along(), last.width_m);
    }
    for k in 1..pieces.len() {
        let (before, behind) = (pieces[k - 1], pieces[k]);
        let (u, v) = (before.along(), behind.along());
        let turn = libm::atan2(u.cross(v), u.dot(v)).abs();
        if turn > 50_f64.to_radians() {
            // Through to the far side; the next begins beside it.
            pieces[k - 1].to = before.to + u * (behind.width_m / 2.0);
            pieces[k].from = behind.from + v * (before.width_m / 2.0);
        } else {
            let half = libm::tan(turn / 2.0) / 4.0;
            pieces[k - 1].to = before.to + u * (behind.width_m * half);
            pieces[k].from = behind.from - v * (before.width_m * half);
        }
    }
    pieces.retain(|piece| piece.length_m() > 0.3);
    pieces
}

/// The edges of the boundary without the digitiser's noise.
fn plain_edges(outline: &Outline) -> Vec<(Point, Point)> {
    let plain = simplified(outline.outer(), NOISE_M);
    (0..plain.len())
        .map(|i| (plain[i], plain[(i + 1) % plain.len()]))
        .collect()
}

/// Turns a stretch of the middle line about its middle to run along the longest edge of about its
/// direction and at least half its length.
fn aligned(edges: &[(Point, Point)], from: Point, to: Point) -> (Point, Point) {
    let (length_m, along) = (from.distance(to), (to - from).unit());
    let mut longest: Option<(f64, Point)> = None;
    for &(a, b) in edges {
        let edge = (b - a).unit();
        let is_alike = edge.cross(along).abs() < libm::sin(ALIKE_DEG.to_radians());
        let middle = (from + to) * 0.5;
        let is_beside = (middle - (a + b) * 0.5).norm() < length_m + a.distance(b);
        let edge_m = a.distance(b);
        let is_longer = longest.is_none_or(|(most_m, _)| edge_m > most_m + 1e-6);
        if is_alike && is_beside && edge_m >= 0.5 * length_m && is_longer {
            longest = Some((edge_m, edge));
        }
    }
    let Some((_, edge)) = longest else {
        return (from, to);
    };
    let edge = if edge.dot(along) < 0.0 {
        edge * -1.0
    } else {
        edge
    };
    let middle = (from + to) * 0.5;
    (
        middle - edge * (length_m / 2.0),
        middle + edge * (length_m / 2.0),
    )
}

/// Lets the middle lines of pieces that bend meet in a point.
fn meet(pieces: &mut [Piece]) {
    for k in 1..pieces.len() {
        let (before, behind) = (pieces[k - 1], pieces[k]);
        let (u, v) = (before.along(), behind.along());
        let turn = u.cross(v);
        if turn.abs() < 0.15 {
            continue;
        }
        let t_m = (behind.from - before.from).cross(v) / turn;
        let joint = before.from + u * t_m;
        let near_m = 2.0 * before.width_m.max(behind.width_m);
        if joint.distance(before.to) < near_m && joint.distance(behind.from) < near_m {
            pieces[k - 1].to = joint;
            pieces[k].from = joint;
        }
    }
}

/// Moves a stretch of the middle line to the middle of the turf beside it.
fn fitted(outline: &Outline, from: Point, to: Point) -> Piece {
    let along = (to - from).unit();
    let across = Point::new(-along.y, along.x);
    let count = ((to - from).norm() / 0.25).ceil().clamp(3.0, 60.0) as usize;
    let (mut lefts, mut rights) = (Vec::new(), Vec::new());
    for k in 0..count {
        let at = from + (to - from) * ((k as f64 + 0.5) / count as f64);
        lefts.push(reach_m(outline, at, across));
        rights.push(reach_m(outline, at, across * -1.0));
    }
    let quantile = |list: &mut Vec<f64>| {
        list.sort_by(f64::total_cmp);
        list[((list.len() - 1) as f64 * WIDTH_QUANTILE).round() as usize]
    };
    let (left_m, right_m) = (quantile(&mut lefts), quantile(&mut rights));
    let shift = across * ((left_m - right_m) / 2.0);
    Piece {
        from: from + shift,
        to: to + shift,
        width_m: left_m + right_m,
    }
}

/// Where the turf ends beyond an end: what half of the width there reaches.
fn end_of(outline: &Outline, at: Point, ahead: Point, width_m: f64) -> Point {
    let across = Point::new(-ahead.y, ahead.x);
    let mut reaches: Vec<f64> = [-0.35, -0.2, 0.0, 0.2, 0.35]
        .iter()
        .map(|&off| {
            let start = at + across * (off * width_m);
            if outline.contains(start) {
                reach_m(outline, start, ahead)
            } else {
                0.0
            }
        })
        .collect();
    reaches.sort_by(f64::total_cmp);
    at + ahead * reaches[3].min(3.0 * width_m)
}

/// The way from a place to the boundary \[m\]; 0 where the turf does not begin.
fn reach_m(outline: &Outline, from: Point, way: Point) -> f64 {
    let mut nearest = f64::INFINITY;
    for (a, b) in outline.edges() {
        let edge = b - a;
        let across = way.cross(edge);
        if across.abs() < 1e-12 {
            continue;
        }
        let t = (a - from).cross(edge) / across;
        let u = (a - from).cross(way) / across;
        if t > 1e-9 && (-1e-9..=1.0 + 1e-9).contains(&u) {
            nearest = nearest.min(t);
        }
    }
    if nearest.is_finite() { nearest } else { 0.0 }
}

/// The offset of the middle of the width from a place, and the width \[m\].
fn width_at(outline: &Outline, at: Point, along: Point) -> (f64, f64) {
    let across = Point::new(-along.y, along.x);
    let (left_m, right_m) = (
        reach_m(outline, at, across),
        reach_m(outline, at, across * -1.0),
    );
    ((left_m - right_m) / 2.0, left_m + right_m)
}

/// The middle line, from near one end to near the other.
fn middle_line(outline: &Outline) -> Option<Vec<Point>> {
    let ring = outline.outer();
    let around = Around::of(ring);
    let places: Vec<Point> = (0..FOLDS)
        .map(|k| around.at(around.total_m * k as f64 / FOLDS as f64))
        .collect();
    let mut best: Option<(f64, usize, usize)> = None;
    for i in 0..FOLDS {
        // Both sides have at least a fifth of the boundary.
        for j in i + FOLDS / 5..FOLDS.min(i + FOLDS - FOLDS / 5 + 1) {
            let (one, other) = ((j - i) as f64, (FOLDS - (j - i)) as f64);
            let mut sum = 0.0;
            for p in 1..PAIRS {
                let t = p as f64 / PAIRS as f64;
                let a = places[(i + (one * t).round() as usize) % FOLDS];
                let b = places[(i + FOLDS - (other * t).round() as usize) % FOLDS];
                let d = a - b;
                sum += d.dot(d);
            }
            if best.is_none_or(|(least, _, _)| sum < least - 1e-9) {
                best = Some((sum, i, j));
            }
        }
    }
    let (_, i, j) = best?;
    let step_m = around.total_m / FOLDS as f64;
    let (start_m, one_m) = (i as f64 * step_m, (j - i) as f64 * step_m);
    let other_m = around.total_m - one_m;
    let mut middle: Vec<Point> = (1..STATIONS)
        .map(|k| {
            let t = k as f64 / STATIONS as f64;
            let a = around.at(start_m + one_m * t);
            let b = around.at(start_m - other_m * t);
            (a + b) * 0.5
        })
        .collect();
    for _ in 0..3 {
        let smooth: Vec<Point> = (0..middle.len())
            .map(|k| {
                let (low, high) = (k.saturating_sub(2), (k + 2).min(middle.len() - 1));
                let along = (middle[high] - middle[low]).unit();
                let (off_m, width_m) = width_at(outline, middle[k], along);
                let is_within = outline.contains(middle[k]) && off_m.abs() < width_m / 2.0;
                let off_m = if is_within { off_m } else { 0.0 };
                middle[k] + Point::new(-along.y, along.x) * off_m
            })
            .collect();
        middle = (0..smooth.len())
            .map(|k| {
                if k == 0 || k + 1 == smooth.len() {
                    smooth[k]
                } else {
                    (smooth[k - 1] + smooth[k] * 2.0 + smooth[k + 1]) * 0.25
                }
            })
            .collect();
    }
    // Near its ends the middle line runs into a corner: the pieces are made from what lies between
    // and reach for the ends afterwards.
    let width_m = typical_width_m(outline);
    let last = middle.len() - 1;
    let is_between =
        |p: &Point| p.distance(middle[0]) > width_m && p.distance(middle[last]) > width_m;
    let mut between: Vec<Point> = middle.iter().copied().filter(is_between).collect();
    if between.len() < 3 {
        between = middle[last / 3..=2 * last / 3].to_vec();
    }
    (between[0].distance(between[between.len() - 1]) > 0.1).then_some(between)
}

/// The width of the rectangle of the outline's area and perimeter \[m\].
fn typical_width_m(outline: &Outline) -> f64 {
    let (area_m2, quarter_m) = (outline.area_m2(), outline.perimeter_m() / 4.0);
    area_m2 / (quarter_m + (quarter_m * quarter_m - area_m2).max(0.0).sqrt())
}

/// A line with the fewest corners that stays within a tolerance of another.
fn straightened(line: &[Point], tolerance_m: f64) -> Vec<Point> {
    let mut keep = vec![false; line.len()];
    keep[0] = true;
    keep[line.len() - 1] = true;
    let mut stretches = vec![(0, line.len() - 1)];
    while let Some((from, to)) = stretches.pop() {
        let along = (line[to] - line[from]).unit();
        let mut farthest = (tolerance_m, None);
        for (i, &at) in line.iter().enumerate().take(to).skip(from + 1) {
            let off_m = along.cross(at - line[from]).abs();
            if off_m > farthest.0 {
                farthest = (off_m, Some(i));
            }
        }
        if let Some(i) = farthest.1 {
            keep[i] = true;
            stretches.push((from, i));
            stretches.push((i, to));
        }
    }
    line.iter()
        .zip(&keep)
        .filter(|&(_, &keep)| keep)
        .map(|(&point, _)| point)
        .collect()
}

struct Around<'a> {
    ring: &'a Ring,
    reached_m: Vec<f64>,
    total_m: f64,
}

impl Around<'_> {
    fn of(ring: &Ring) -> Around<'_> {
        let mut reached_m = vec![0.0];
        for (i, &point) in ring.iter().enumerate() {
            reached_m.push(reached_m[i] + point.distance(ring[(i + 1) % ring.len()]));
        }
        let total_m = reached_m[ring.len()];
        Around {
            ring,
            reached_m,
            total_m,
        }
    }

    fn at(&self, way_m: f64) -> Point {
        let way_m = way_m.rem_euclid(self.total_m);
        let i = self
            .reached_m
            .partition_point(|&s| s <= way_m)
            .saturating_sub(1)
            .min(self.ring.len() - 1);
        let (a, b) = (self.ring[i], self.ring[(i + 1) % self.ring.len()]);
        a + (b - a).unit() * (way_m - self.reached_m[i])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outline(points: &[(f64, f64)]) -> Outline {
        Outline::new(
            points.iter().map(|&(x, y)| Point::new(x, y)).collect(),
            vec![],
        )
        .unwrap()
    }

    #[test]
    fn a_straight_strip_is_one_piece_from_end_to_end() {
        let strip = outline(&[(0.0, 0.0), (15.0, 0.0), (15.0, 1.8), (0.0, 1.8)]);
        let found = pieces(&strip);
        assert_eq!(found.len(), 1, "{found:?}");
        // The ends and the width of the rectangle, to the step of the middle line.
        assert!((found[0].length_m() - 15.0).abs() < 0.05, "{found:?}");
        assert!((found[0].width_m - 1.8).abs() < 0.02, "{found:?}");
    }

    #[test]
    fn a_bend_gives_two_pieces_that_cover_the_corner() {
        let bent = outline(&[
            (0.0, 0.0),
            (12.0, 0.0),
            (12.0, 10.0),
            (10.0, 10.0),
            (10.0, 2.0),
            (0.0, 2.0),
        ]);
        let found = pieces(&bent);
        assert_eq!(found.len(), 2, "{found:?}");
        let length_m: f64 = found.iter().map(Piece::length_m).sum();
        // 12 m and 8 m, one of them through the corner.
        assert!((length_m - 20.0).abs() < 0.6, "{found:?}");
        for piece in &found {
            assert!((piece.width_m - 2.0).abs() < 0.1, "{found:?}");
        }
    }
}
