//! Whether a polygon is valid as drawn, by exact predicates on its coordinates.
//!
//! # References
//! - OGC 06-103r4, *Simple feature access, part 1*, 2011, section 6.1.11: what a polygon is.
//! - J. R. Shewchuk, *Adaptive precision floating-point arithmetic and fast robust geometric
//!   predicates*, Discrete & Computational Geometry 18, 1997, doi:10.1007/PL00009321.

use geo::{Coord, GeoNum, Kernel, LineString, Orientation};
use rstar::{AABB, RTree, RTreeObject};

use crate::site::LonLatPolygon;

/// What can be said of a polygon without overlaying it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Verdict {
    /// Every rule is kept.
    Valid,
    /// Two rings touch in points; only an overlay tells whether the inside stays in one piece.
    Touching,
    /// A ring crosses or touches itself or another, or a hole lies outside.
    Invalid,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Meeting {
    Apart,
    Touch,
    Cross,
    Overlap,
}

#[derive(Debug, Clone, Copy)]
struct Side {
    a: Coord<f64>,
    b: Coord<f64>,
    ring: u32,
    place: u32,
    sides: u32,
}

impl RTreeObject for Side {
    type Envelope = AABB<[f64; 2]>;
    fn envelope(&self) -> AABB<[f64; 2]> {
        AABB::from_corners([self.a.x, self.a.y], [self.b.x, self.b.y])
    }
}

/// Judges a polygon of finite coordinates and closed rings.
pub(super) fn judge(polygon: &LonLatPolygon) -> Verdict {
    let mut sides = Vec::new();
    let rings = std::iter::once(polygon.exterior()).chain(polygon.interiors());
    for (ring, line) in rings.enumerate() {
        let points = without_repeats(line);
        if points.len() < 3 {
            return Verdict::Invalid;
        }
        let count = points.len();
        sides.extend((0..count).map(|place| Side {
            a: points[place],
            b: points[(place + 1) % count],
            ring: ring as u32,
            place: place as u32,
            sides: count as u32,
        }));
    }
    let verdict = meetings(sides);
    if verdict == Verdict::Valid && !holes_are_inside(polygon) {
        return Verdict::Invalid;
    }
    verdict
}

/// Whether sides of a polygon that do not follow one another meet in more than so many places.
pub(super) fn meetings_exceed(polygon: &LonLatPolygon, limit: usize) -> bool {
    let rings = std::iter::once(polygon.exterior()).chain(polygon.interiors());
    let tree = RTree::bulk_load(
        rings
            .enumerate()
            .flat_map(|(ring, line)| sides(ring, line))
            .collect(),
    );
    let mut count = 0;
    for one in &tree {
        for other in tree.locate_in_envelope_intersecting(&one.envelope()) {
            if (one.ring, one.place) >= (other.ring, other.place) {
                continue;
            }
            count += usize::from(meeting(one, other) != Meeting::Apart);
            if count > limit + tree.size() {
                return true;
            }
        }
    }
    false
}

/// The sides of a ring; none where it has fewer than three points.
fn sides(ring: usize, line: &LineString<f64>) -> Vec<Side> {
    let points = without_repeats(line);
    let count = if points.len() < 3 { 0 } else { points.len() };
    let side = |place: usize| Side {
        a: points[place],
        b: points[(place + 1) % count],
        ring: ring as u32,
        place: place as u32,
        sides: count as u32,
    };
    (0..count).map(side).collect()
}

/// The points of a closed ring, without the last and without repeats.
fn without_repeats(ring: &LineString<f64>) -> Vec<Coord<f64>> {
    let mut points = ring.0.clone();
    points.dedup();
    if points.len() > 1 && points.first() == points.last() {
        points.pop();
    }
    points
}

fn meetings(sides: Vec<Side>) -> Verdict {
    let tree = RTree::bulk_load(sides);
    let mut verdict = Verdict::Valid;
    for one in &tree {
        for other in tree.locate_in_envelope_intersecting(&one.envelope()) {
            // Every pair once, and none with itself.
            if (one.ring, one.place) >= (other.ring, other.place) {
                continue;
            }
            let meeting = meeting(one, other);
            if one.ring == other.ring {
                let next = other.place == one.place + 1
                    || (one.place == 0 && other.place == one.sides - 1);
                let allowed = if next { Meeting::Touch } else { Meeting::Apart };
                if meeting != allowed {
                    return Verdict::Invalid;
                }
            } else {
                match meeting {
                    Meeting::Apart => {}
                    Meeting::Touch => verdict = Verdict::Touching,
                    Meeting::Cross | Meeting::Overlap => return Verdict::Invalid,
                }
            }
        }
    }
    verdict
}

fn meeting(one: &Side, other: &Side) -> Meeting {
    use Orientation::Collinear;
    let side = |a, b, c| <f64 as GeoNum>::Ker::orient2d(a, b, c);
    let (a, b) = (side(one.a, one.b, other.a), side(one.a, one.b, other.b));
    let (c, d) = (side(other.a, other.b, one.a), side(other.a, other.b, one.b));
    if [a, b, c, d].iter().all(|&side| side == Collinear) {
        return along(one, other);
    }
    let apart = |a, b| a == b && a != Collinear;
    if apart(a, b) || apart(c, d) {
        Meeting::Apart
    } else if [a, b, c, d].contains(&Collinear) {
        Meeting::Touch
    } else {
        Meeting::Cross
    }
}

/// How two sides on one line meet.
fn along(one: &Side, other: &Side) -> Meeting {
    let upright = (one.b.x - one.a.x).abs() < (one.b.y - one.a.y).abs();
    let span = |side: &Side| {
        let (a, b) = if upright {
            (side.a.y, side.b.y)
        } else {
            (side.a.x, side.b.x)
        };
        (a.min(b), a.max(b))
    };
    let (one, other) = (span(one), span(other));
    let (from, to) = (one.0.max(other.0), one.1.min(other.1));
    if from < to {
        Meeting::Overlap
    } else if from == to {
        Meeting::Touch
    } else {
        Meeting::Apart
    }
}

/// Whether rings that do not meet lie as they should: each hole in the shell, none in another.
fn holes_are_inside(polygon: &LonLatPolygon) -> bool {
    let holes = polygon.interiors();
    if holes
        .iter()
        .any(|hole| !encloses(polygon.exterior(), hole.0[0]))
    {
        return false;
    }
    let boxes: Vec<HoleBox> = holes
        .iter()
        .enumerate()
        .map(|(index, hole)| HoleBox::new(index, hole))
        .collect();
    let tree = RTree::bulk_load(boxes);
    holes.iter().enumerate().all(|(index, hole)| {
        let at = hole.0[0];
        tree.locate_in_envelope_intersecting(&AABB::from_point([at.x, at.y]))
            .all(|other| other.index == index || !encloses(&holes[other.index], at))
    })
}

#[derive(Debug)]
struct HoleBox {
    index: usize,
    envelope: AABB<[f64; 2]>,
}

impl HoleBox {
    fn new(index: usize, hole: &LineString<f64>) -> HoleBox {
        let corners: Vec<[f64; 2]> = hole.0.iter().map(|at| [at.x, at.y]).collect();
        HoleBox {
            index,
            envelope: AABB::from_points(&corners),
        }
    }
}

impl RTreeObject for HoleBox {
    type Envelope = AABB<[f64; 2]>;
    fn envelope(&self) -> AABB<[f64; 2]> {
        self.envelope
    }
}

/// Even-odd rule; the point is never on the ring.
fn encloses(ring: &LineString<f64>, at: Coord<f64>) -> bool {
    let mut inside = false;
    for pair in ring.0.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        if (a.y > at.y) != (b.y > at.y) {
            let (low, high) = if a.y < b.y { (a, b) } else { (b, a) };
            let side = <f64 as GeoNum>::Ker::orient2d(low, high, at);
            inside ^= side == Orientation::CounterClockwise;
        }
    }
    inside
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::wkt;

    #[test]
    fn valid_polygons() {
        for polygon in [
            wkt!(POLYGON((0. 0., 4. 0., 4. 4., 0. 4., 0. 0.))),
            wkt!(POLYGON((0. 0., 0. 4., 4. 4., 4. 0., 0. 0.))),
            wkt!(POLYGON((0. 0., 4. 0., 4. 0., 4. 4., 0. 4., 0. 0.))),
            wkt!(POLYGON((0. 0., 2. 0., 4. 0., 4. 4., 0. 4., 0. 0.))),
            wkt!(POLYGON((0. 0., 4. 0., 4. 4., 0. 4., 0. 0.), (1. 1., 1. 2., 2. 2., 1. 1.),
                         (3. 3., 3. 2., 2. 3., 3. 3.))),
        ] {
            assert_eq!(judge(&polygon), Verdict::Valid, "{polygon:?}");
        }
    }

    #[test]
    fn rings_that_touch_need_a_closer_look() {
        for polygon in [
            wkt!(POLYGON((0. 0., 4. 0., 4. 4., 0. 4., 0. 0.), (0. 2., 2. 1., 2. 3., 0. 2.))),
            wkt!(POLYGON((0. 0., 4. 0., 4. 4., 0. 4., 0. 0.), (1. 1., 2. 1., 2. 2., 1. 1.),
                         (2. 2., 3. 2., 3. 3., 2. 2.))),
        ] {
            assert_eq!(judge(&polygon), Verdict::Touching, "{polygon:?}");
        }
    }

    #[test]
    fn invalid_polygons() {
        for polygon in [
            // Bow-tie, spike outwards, spike inwards, ring that touches itself.
            wkt!(POLYGON((0. 0., 4. 4., 4. 0., 0. 4., 0. 0.))),
            wkt!(POLYGON((0. 0., 4. 0., 4. 4., 2. 4., 2. 6., 2. 4., 0. 4., 0. 0.))),
            wkt!(POLYGON((0. 0., 4. 0., 4. 4., 2. 4., 2. 2., 2. 4., 0. 4., 0. 0.))),
            wkt!(POLYGON((0. 0., 4. 0., 4. 4., 2. 0., 0. 4., 0. 0.))),
            // No area; hole outside, across, equal to the shell, along an edge, in a hole.
            wkt!(POLYGON((0. 0., 2. 0., 4. 0., 0. 0.))),
            wkt!(POLYGON((0. 0., 4. 0., 4. 4., 0. 4., 0. 0.), (5. 5., 6. 5., 6. 6., 5. 5.))),
            wkt!(POLYGON((0. 0., 4. 0., 4. 4., 0. 4., 0. 0.), (3. 3., 5. 3., 3. 5., 3. 3.))),
            wkt!(POLYGON((0. 0., 4. 0., 4. 4., 0. 0.), (0. 0., 4. 0., 4. 4., 0. 0.))),
            wkt!(POLYGON((0. 0., 4. 0., 4. 4., 0. 4., 0. 0.), (1. 0., 2. 0., 2. 2., 1. 0.))),
            wkt!(POLYGON((0. 0., 9. 0., 9. 9., 0. 9., 0. 0.), (1. 1., 8. 1., 8. 8., 1. 1.),
                         (3. 2., 4. 2., 4. 3., 3. 2.))),
        ] {
            assert_eq!(judge(&polygon), Verdict::Invalid, "{polygon:?}");
        }
    }

    #[test]
    fn a_ring_of_the_largest_size_is_judged_in_time() {
        let count = 200_000;
        let ring: LineString<f64> = (0..=count)
            .map(|i| {
                let angle = f64::from(i % count) / f64::from(count) * std::f64::consts::TAU;
                let reach = if i % 2 == 0 { 1.0 } else { 1.01 };
                Coord {
                    x: reach * angle.cos(),
                    y: reach * angle.sin(),
                }
            })
            .collect();
        assert_eq!(judge(&LonLatPolygon::new(ring, vec![])), Verdict::Valid);
    }
}
