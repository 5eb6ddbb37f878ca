//! A polygon with holes in the local frame.

use super::point::Point;

/// A closed ring of at least three points; the last point is not repeated.
pub type Ring = Vec<Point>;

/// A polygon in metres: the outer ring counter-clockwise, holes clockwise, so that the inside is
/// always on the left of every edge.
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    rings: Vec<Ring>,
    bounds: (Point, Point),
}

/// How a place lies to the boundary of an outline.
pub(crate) struct NearestEdge {
    /// Distance to the boundary, on either side \[m\].
    pub(crate) distance_m: f64,
    pub(crate) is_inside: bool,
    /// The nearest point of the boundary.
    pub(crate) point: Point,
    /// Out of the outline, at right angles to the edge that holds that point.
    pub(crate) outward: Point,
}

impl Outline {
    /// Makes an outline from an outer ring and holes, in any orientation. Repeated points are
    /// dropped; holes with fewer than three points or no area vanish.
    ///
    /// Returns `None` if the outer ring has no area.
    #[must_use]
    pub fn new(outer: Ring, holes: Vec<Ring>) -> Option<Outline> {
        let outer = oriented(outer, 1.0)?;
        let bounds = box_around(&outer);
        let mut rings = vec![outer];
        rings.extend(holes.into_iter().filter_map(|hole| oriented(hole, -1.0)));
        Some(Outline { rings, bounds })
    }

    /// All rings, the outer one first.
    #[must_use]
    pub fn rings(&self) -> &[Ring] {
        &self.rings
    }

    /// The outer ring.
    #[must_use]
    pub fn outer(&self) -> &Ring {
        &self.rings[0] // an outline is never made without its outer ring
    }

    /// The holes.
    #[must_use]
    pub fn holes(&self) -> &[Ring] {
        &self.rings[1..]
    }

    /// Every edge, start and end point, ring by ring, with the inside on the left.
    pub fn edges(&self) -> impl Iterator<Item = (Point, Point)> + '_ {
        self.rings.iter().flat_map(|ring| {
            let ends = ring[1..].iter().chain(ring.first());
            ring.iter().zip(ends).map(|(&a, &b)| (a, b))
        })
    }

    /// The area \[m²\], holes taken off.
    #[must_use]
    pub fn area_m2(&self) -> f64 {
        self.rings.iter().map(|ring| ring_area_m2(ring)).sum()
    }

    /// The length of all rings \[m\].
    #[must_use]
    pub fn perimeter_m(&self) -> f64 {
        self.edges().map(|(a, b)| a.distance(b)).sum()
    }

    /// The width that a turf area of this area and perimeter has as a long strip:
    /// 4 · area / perimeter \[m\]. A square of side a has width a.
    #[must_use]
    pub fn width_m(&self) -> f64 {
        4.0 * self.area_m2() / self.perimeter_m()
    }

    /// The smallest box that holds the outline: south-west and north-east corner.
    #[must_use]
    pub fn bounds(&self) -> (Point, Point) {
        self.bounds
    }

    /// Whether a point lies inside (even-odd rule; points on the boundary may fall on either
    /// side).
    #[must_use]
    pub fn contains(&self, point: Point) -> bool {
        let mut inside = false;
        for (a, b) in self.edges() {
            if (a.y > point.y) != (b.y > point.y) {
                let x = a.x + (point.y - a.y) / (b.y - a.y) * (b.x - a.x);
                if point.x < x {
                    inside = !inside;
                }
            }
        }
        inside
    }

    /// How a place lies to the boundary: the nearest point of all edges, the first of equals, and
    /// the edge that holds it.
    pub(crate) fn nearest_edge(&self, place: Point) -> NearestEdge {
        let (mut least2, mut point, mut along) = (f64::INFINITY, place, Point::default());
        let mut is_inside = false;
        for (a, b) in self.edges() {
            let edge = b - a;
            let share = ((place - a).dot(edge) / edge.dot(edge)).clamp(0.0, 1.0);
            let on_edge = a + edge * share;
            let off = place - on_edge;
            if off.dot(off) < least2 {
                (least2, point, along) = (off.dot(off), on_edge, edge);
            }
            if (a.y > place.y) != (b.y > place.y) {
                let x = a.x + (place.y - a.y) / (b.y - a.y) * (b.x - a.x);
                is_inside ^= place.x < x;
            }
        }
        NearestEdge {
            distance_m: least2.sqrt(),
            is_inside,
            point,
            // The inside is on the left of an edge.
            outward: Point::new(along.y, -along.x).unit(),
        }
    }

    /// The distance to the boundary \[m\], positive inside and negative outside.
    #[must_use]
    pub fn signed_distance_m(&self, point: Point) -> f64 {
        let distance = self.boundary_distance_m(point);
        if self.contains(point) {
            distance
        } else {
            -distance
        }
    }

    /// The distance to the nearest point of any ring \[m\].
    #[must_use]
    pub fn boundary_distance_m(&self, point: Point) -> f64 {
        let mut nearest = f64::INFINITY;
        for ring in &self.rings {
            let mut a = ring[ring.len() - 1]; // a ring has three points or more
            for &b in ring {
                nearest = nearest.min(square_distance_to_segment(point, a, b));
                a = b;
            }
        }
        nearest.sqrt()
    }
}

fn box_around(ring: &[Point]) -> (Point, Point) {
    let mut low = Point::new(f64::INFINITY, f64::INFINITY);
    let mut high = Point::new(f64::NEG_INFINITY, f64::NEG_INFINITY);
    for point in ring {
        low = Point::new(low.x.min(point.x), low.y.min(point.y));
        high = Point::new(high.x.max(point.x), high.y.max(point.y));
    }
    (low, high)
}

/// The signed area of a ring [m²], positive counter-clockwise.
pub(super) fn ring_area_m2(ring: &[Point]) -> f64 {
    let Some(&origin) = ring.first() else {
        return 0.0;
    };
    let mut doubled = 0.0;
    for i in 1..ring.len().saturating_sub(1) {
        doubled += (ring[i] - origin).cross(ring[i + 1] - origin);
    }
    doubled / 2.0
}

fn oriented(mut ring: Ring, sign: f64) -> Option<Ring> {
    ring.dedup();
    while ring.len() > 1 && ring.first() == ring.last() {
        ring.pop();
    }
    let area_m2 = ring_area_m2(&ring);
    if ring.len() < 3 || area_m2 == 0.0 {
        return None;
    }
    if area_m2 * sign < 0.0 {
        ring[1..].reverse(); // the first point stays the first
    }
    Some(ring)
}

/// The squared distance from a point to a segment [m²].
#[must_use]
pub(crate) fn square_distance_to_segment(point: Point, a: Point, b: Point) -> f64 {
    let along = b - a;
    let length2 = along.dot(along);
    let t = if length2 > 0.0 {
        ((point - a).dot(along) / length2).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let off = point - (a + along * t);
    off.dot(off)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(points: &[(f64, f64)]) -> Ring {
        points.iter().map(|&(x, y)| Point::new(x, y)).collect()
    }

    #[test]
    fn area_perimeter_and_width_of_a_square_with_a_hole() {
        let square = Outline::new(
            ring(&[(0.0, 0.0), (0.0, 10.0), (10.0, 10.0), (10.0, 0.0)]),
            vec![ring(&[(4.0, 4.0), (6.0, 4.0), (6.0, 6.0), (4.0, 6.0)])],
        )
        .unwrap();
        assert_eq!(square.area_m2(), 96.0);
        assert_eq!(square.perimeter_m(), 48.0);
        assert_eq!(square.width_m(), 8.0);
        assert!(square.contains(Point::new(1.0, 1.0)));
        assert!(!square.contains(Point::new(5.0, 5.0)));
        assert_eq!(square.signed_distance_m(Point::new(5.0, 5.0)), -1.0);
        assert_eq!(square.signed_distance_m(Point::new(2.0, 5.0)), 2.0);
    }

    #[test]
    fn the_inside_is_on_the_left_of_every_edge() {
        let outline = Outline::new(
            ring(&[(0.0, 0.0), (0.0, 10.0), (10.0, 10.0), (10.0, 0.0)]),
            vec![ring(&[(4.0, 4.0), (6.0, 4.0), (6.0, 6.0), (4.0, 6.0)])],
        )
        .unwrap();
        let mut edges = 0;
        for (a, b) in outline.edges() {
            let middle = (a + b) * 0.5;
            let left = Point::new(-(b - a).y, (b - a).x).unit() * 0.01;
            assert!(outline.contains(middle + left));
            assert!(!outline.contains(middle - left));
            edges += 1;
        }
        assert_eq!(edges, 8);
    }

    #[test]
    fn rings_without_area_are_refused() {
        assert!(Outline::new(ring(&[(0.0, 0.0), (1.0, 1.0)]), vec![]).is_none());
        assert!(Outline::new(ring(&[(0.0, 0.0), (1.0, 1.0), (2.0, 2.0)]), vec![]).is_none());
    }
}
