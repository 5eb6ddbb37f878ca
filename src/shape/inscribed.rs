//! The largest circle that fits into an outline.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use super::outline::Outline;
use super::point::Point;

/// Most boxes that the search looks at; far more than any real lawn needs.
const MOST_BOXES: usize = 100_000;
/// Most edges that it looks at, all boxes together; beyond them the best circle so far is taken. A comb of
/// 200 teeth of one width, all equally deep, took seconds.
const MOST_EDGES: usize = 100_000_000;
/// Edges that a box takes at most, in those of the outline: four parts, each looked at three times.
const LOOKS_OF_BOX: usize = 12;
/// After so many boxes the search is on a ridge, as in the middle of a rectangle, where all places
/// are equally deep.
const RIDGE_BOXES: usize = 400;

/// Finds the centre and radius \[m\] of the largest circle inside an outline, holes respected, to a
/// precision of `precision_m`.
///
/// Boxes are split in four, the most promising first; a box is dropped when even its farthest
/// corner cannot beat the best centre found by more than the precision. Where an outline has so many edges
/// that the search would take seconds, it ends with the best circle found by then.
#[must_use]
pub fn inscribed_circle(outline: &Outline, precision_m: f64) -> (Point, f64) {
    let (low, high) = outline.bounds();
    let side = (high.x - low.x).min(high.y - low.y).max(precision_m);
    let mut best = (low, f64::NEG_INFINITY);
    let mut queue = BinaryHeap::new();
    let mut looked_at = 0;
    let most_boxes = (MOST_EDGES / (LOOKS_OF_BOX * outline.edges().count().max(1))).min(MOST_BOXES);
    let look = |centre: Point, half_m: f64, best: &mut (Point, f64)| {
        let distance_m = outline.signed_distance_m(centre);
        if distance_m > best.1 {
            *best = (centre, distance_m);
        }
        Square {
            centre,
            half_m,
            most_m: distance_m + half_m * std::f64::consts::SQRT_2,
        }
    };
    let steps = |span: f64| (span / side).ceil().clamp(1.0, 256.0) as usize;
    let (nx, ny) = (steps(high.x - low.x), steps(high.y - low.y));
    let half_m = ((high.x - low.x) / nx as f64).max((high.y - low.y) / ny as f64) / 2.0;
    for i in 0..nx {
        for j in 0..ny {
            let centre = Point::new(
                low.x + (i as f64 + 0.5) * (high.x - low.x) / nx as f64,
                low.y + (j as f64 + 0.5) * (high.y - low.y) / ny as f64,
            );
            queue.push(look(centre, half_m, &mut best));
        }
    }
    while let Some(square) = queue.pop() {
        looked_at += 1;
        if square.most_m <= best.1 + precision_m || looked_at > most_boxes {
            break;
        }
        let half_m = square.half_m / 2.0;
        for (dx, dy) in [(-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0), (1.0, 1.0)] {
            let centre = square.centre + Point::new(dx * half_m, dy * half_m);
            let mut part = look(centre, half_m, &mut best);
            if looked_at > RIDGE_BOXES {
                let reach_m = half_m * std::f64::consts::SQRT_2;
                part.most_m = part.most_m.min(most_between(outline, centre, reach_m));
            }
            if part.most_m > best.1 + precision_m {
                queue.push(part);
            }
        }
    }
    best
}

/// How deep a place at most lies that is no farther than `reach_m` from a centre: no deeper than
/// it is far from the boundary's nearest point and from the nearest on the other side.
///
/// With m the middle between the two points and h half their distance, the nearer of them is no
/// farther from a place p than `√(|p − m|² + h²)`. Along a ridge this grows with the square of the
/// way, where the bound of a box grows with the way.
fn most_between(outline: &Outline, centre: Point, reach_m: f64) -> f64 {
    let nearest_where = |wanted: &dyn Fn(Point) -> bool| {
        let (mut least2, mut nearest) = (f64::INFINITY, None);
        for (a, b) in outline.edges() {
            let edge = b - a;
            let share = ((centre - a).dot(edge) / edge.dot(edge)).clamp(0.0, 1.0);
            let point = a + edge * share;
            let off = point - centre;
            if off.dot(off) < least2 && wanted(off) {
                (least2, nearest) = (off.dot(off), Some(point));
            }
        }
        nearest
    };
    let Some(near) = nearest_where(&|_| true) else {
        return f64::INFINITY;
    };
    let way = near - centre;
    // Well across, so that the middle of both lies near the centre.
    let Some(far) = nearest_where(&|off| off.dot(way) < -0.5 * off.norm() * way.norm()) else {
        return f64::INFINITY;
    };
    let (middle, half_m) = ((near + far) * 0.5, near.distance(far) / 2.0);
    let way_m = centre.distance(middle) + reach_m;
    (way_m * way_m + half_m * half_m).sqrt()
}

struct Square {
    centre: Point,
    half_m: f64,
    /// No point of the square lies deeper than this.
    most_m: f64,
}

impl PartialEq for Square {
    fn eq(&self, other: &Square) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}
impl Eq for Square {}
impl PartialOrd for Square {
    fn partial_cmp(&self, other: &Square) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Square {
    fn cmp(&self, other: &Square) -> Ordering {
        self.most_m
            .total_cmp(&other.most_m)
            .then_with(|| other.centre.x.total_cmp(&self.centre.x))
            .then_with(|| other.centre.y.total_cmp(&self.centre.y))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn circles_of_known_shapes() {
        let rectangle = Outline::new(
            [(0.0, 0.0), (20.0, 0.0), (20.0, 6.0), (0.0, 6.0)]
                .map(|(x, y)| Point::new(x, y))
                .to_vec(),
            vec![],
        )
        .unwrap();
        assert!((inscribed_circle(&rectangle, 0.01).1 - 3.0).abs() < 0.01);
        // A right triangle with legs 3 and 4: r = (3 + 4 − 5)/2.
        let triangle = Outline::new(
            [(0.0, 0.0), (4.0, 0.0), (0.0, 3.0)]
                .map(|(x, y)| Point::new(x, y))
                .to_vec(),
            vec![],
        )
        .unwrap();
        let (centre, radius_m) = inscribed_circle(&triangle, 0.001);
        assert!((radius_m - 1.0).abs() < 0.001, "{radius_m}");
        assert!(centre.distance(Point::new(1.0, 1.0)) < 0.01);
        // Long rectangles have a ridge on which every place is as deep as the best.
        for (width_m, height_m) in [(18.0, 12.0), (60.0, 7.0), (200.0, 3.0)] {
            let ring = [
                (0.0, 0.0),
                (width_m, 0.0),
                (width_m, height_m),
                (0.0, height_m),
            ];
            let ring = ring.map(|(x, y)| Point::new(x, y)).to_vec();
            let strip = Outline::new(ring, vec![]).unwrap();
            let radius_m = inscribed_circle(&strip, 0.005).1;
            assert!((radius_m - height_m / 2.0).abs() <= 0.005, "{radius_m}");
        }
        // A square ring 10 wide with a hole 6 wide leaves 2 m; the corner circle is larger:
        // it touches two sides and the hole's corner, r + r/√2 · √2 … = r(1 + 1/√2 · √2) → 2√2/(1+√2).
        let ring = Outline::new(
            [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]
                .map(|(x, y)| Point::new(x, y))
                .to_vec(),
            vec![
                [(2.0, 2.0), (8.0, 2.0), (8.0, 8.0), (2.0, 8.0)]
                    .map(|(x, y)| Point::new(x, y))
                    .to_vec(),
            ],
        )
        .unwrap();
        let corner_m = 2.0 * std::f64::consts::SQRT_2 / (1.0 + std::f64::consts::SQRT_2);
        assert!((inscribed_circle(&ring, 0.001).1 - corner_m).abs() < 0.001);
    }
}
