//! The largest circle that fits into an outline.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use super::outline::Outline;
use super::point::Point;

/// Most boxes that the search looks at; far more than any real lawn needs.
const MOST_BOXES: usize = 100_000;

/// Finds the centre and radius \[m\] of the largest circle inside an outline, holes respected, to a
/// precision of `precision_m`.
///
/// Boxes are split in four, the most promising first; a box is dropped when even its farthest
/// corner cannot beat the best centre found by more than the precision.
#[must_use]
pub fn inscribed_circle(outline: &Outline, precision_m: f64) -> (Point, f64) {
    let (low, high) = outline.bounds();
    let side = (high.x - low.x).min(high.y - low.y).max(precision_m);
    let mut best = (low, f64::NEG_INFINITY);
    let mut queue = BinaryHeap::new();
    let mut looked_at = 0;
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
        if square.most_m <= best.1 + precision_m || looked_at > MOST_BOXES {
            break;
        }
        let half_m = square.half_m / 2.0;
        for (dx, dy) in [(-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0), (1.0, 1.0)] {
            let centre = square.centre + Point::new(dx * half_m, dy * half_m);
            let part = look(centre, half_m, &mut best);
            if part.most_m > best.1 + precision_m {
                queue.push(part);
            }
        }
    }
    best
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
