//! What can be seen from a place where blocks stand around: the ground that water can reach.
//!
//! Water stops at the first face that it meets; the face belongs to the block. Only faces that
//! look towards the place matter: behind every other one stands one of these.

use super::horizon::{Face, Horizon};
use super::outline::{Outline, square_distance_to_segment};
use super::point::Point;

/// A head no deeper than this within a block stands before its face \[m\]: heads along a wall are
/// drawn on it, or a little behind.
const ON_FACE_M: f64 = 0.02;
/// From how far before a face such a head looks \[m\].
const BEFORE_FACE_M: f64 = 0.001;
/// Most steps off faces: two for a corner between walls, more where walls meet at a sharp angle.
const MOST_STEPS: usize = 16;

/// The ground that can be seen from a place up to a reach, where blocks hide some of it: a
/// polygon, star-shaped about the place. `None` when no block comes within reach.
///
/// Where nothing hides it the polygon ends on a regular 16-gon around the circle of the reach, so
/// what lies within the reach is never cut short; between the circle and the 16-gon blocks may be
/// left out.
///
/// A place on a face, or up to 2 cm behind it, is taken for one just before it: the wall hides
/// what is behind it and nothing on the place's own side. The polygon is then drawn as seen from
/// 1 mm before the face and set back by the same step. A block that holds the place more than
/// 2 cm deep hides nothing: either roof edges were drawn for walls, or the head is misplaced.
///
/// # Example
/// ```
/// use evenfall::shape::{Outline, Point, seen_from};
///
/// let house = [(-2.0, 4.0), (2.0, 4.0), (2.0, 6.0), (-2.0, 6.0)];
/// let house = Outline::new(house.map(|(x, y)| Point::new(x, y)).to_vec(), vec![]).unwrap();
/// let blocks = [house];
/// let seen = seen_from(Point::new(0.0, 0.0), 10.0, &blocks).unwrap();
/// assert!(seen.contains(Point::new(0.0, 3.9)));
/// assert!(!seen.contains(Point::new(0.0, 8.0)));
/// assert!(seen_from(Point::new(0.0, 0.0), 3.0, &blocks).is_none());
/// ```
#[must_use]
pub fn seen_from(at: Point, reach_m: f64, blocks: &[Outline]) -> Option<Outline> {
    let near: Vec<&Outline> = blocks
        .iter()
        .filter(|block| {
            let box_m2 = square_distance_to_box(at, block.bounds());
            box_m2 < reach_m * reach_m
                && (box_m2 > 0.0 || Stand::of(at, block).depth_m <= ON_FACE_M)
        })
        .collect();
    if near.is_empty() {
        return None;
    }
    let eye = before_faces(at, &near);
    let mut horizon: Option<Horizon> = None;
    for block in near {
        // A place squeezed between blocks may still be in one of them.
        if eye != at && block.contains(eye) {
            continue;
        }
        for (a, b) in block.edges() {
            // The inside is on the left of an edge: a face is seen from its right, and then its
            // end comes first, going counter-clockwise.
            let (from, to) = (b - eye, a - eye);
            if let Some(face) = Face::seen(from, to)
                && square_distance_to_segment(Point::default(), from, to) < reach_m * reach_m
            {
                horizon
                    .get_or_insert_with(|| Horizon::around(reach_m))
                    .hide_behind(from, to, face);
            }
        }
    }
    let ring = horizon?
        .ring()
        .into_iter()
        .map(|point| at + point)
        .collect();
    Outline::new(ring, vec![])
}

/// How a place stands to a block.
struct Stand {
    /// How deep in the block \[m\]; negative before it.
    depth_m: f64,
    /// The nearest point of its faces.
    nearest: Point,
    /// Away from the block, at right angles to the face that holds the nearest point.
    outward: Point,
}

impl Stand {
    fn of(at: Point, block: &Outline) -> Stand {
        let edge = block.nearest_edge(at);
        Stand {
            depth_m: if edge.is_inside {
                edge.distance_m
            } else {
                -edge.distance_m
            },
            nearest: edge.point,
            outward: edge.outward,
        }
    }
}

/// The place, or one just before the faces on which it stands.
fn before_faces(at: Point, near: &[&Outline]) -> Point {
    let mut eye = at;
    for _ in 0..MOST_STEPS {
        let on_face = near
            .iter()
            .filter(|block| {
                square_distance_to_box(eye, block.bounds()) < BEFORE_FACE_M * BEFORE_FACE_M
            })
            .map(|block| Stand::of(eye, block))
            .find(|stand| stand.depth_m > -0.5 * BEFORE_FACE_M);
        match on_face {
            Some(stand) => eye = stand.nearest + stand.outward * BEFORE_FACE_M,
            None => break,
        }
    }
    eye
}

/// The squared distance from a point to a box \[m²\]; 0 inside.
fn square_distance_to_box(point: Point, (low, high): (Point, Point)) -> f64 {
    let x = (low.x - point.x).max(point.x - high.x).max(0.0);
    let y = (low.y - point.y).max(point.y - high.y).max(0.0);
    x * x + y * y
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block(points: &[(f64, f64)]) -> Outline {
        let ring = points.iter().map(|&(x, y)| Point::new(x, y)).collect();
        Outline::new(ring, vec![]).unwrap()
    }

    fn rectangle(x: (f64, f64), y: (f64, f64)) -> Outline {
        block(&[(x.0, y.0), (x.1, y.0), (x.1, y.1), (x.0, y.1)])
    }

    fn seen(at: (f64, f64), reach_m: f64, blocks: &[Outline]) -> Outline {
        seen_from(Point::new(at.0, at.1), reach_m, blocks).unwrap()
    }

    /// The area of the 16-gon around the unit circle.
    fn full_m2() -> f64 {
        16.0 * libm::tan(std::f64::consts::PI / 16.0)
    }

    #[test]
    fn nothing_near_hides_nothing() {
        let blocks = [rectangle((5.0, 6.0), (5.0, 6.0))];
        assert!(seen_from(Point::default(), 7.07, &blocks).is_none());
        assert!(seen_from(Point::default(), 7.08, &blocks).is_some());
        assert!(seen_from(Point::default(), 7.08, &[]).is_none());
    }

    #[test]
    fn a_face_across_the_east_and_one_across_the_west() {
        for sign in [1.0, -1.0] {
            let outline = seen(
                (0.0, 0.0),
                10.0,
                &[rectangle((2.0 * sign, 3.0 * sign), (-1.0, 1.0))],
            );
            // The triangle to the face stays, the wedge behind it goes.
            let wedge = wedge_m2(10.0, (2.0, -1.0), (2.0, 1.0));
            assert!((outline.area_m2() - (100.0 * full_m2() - wedge + 2.0)).abs() < 1e-5);
            assert!(outline.contains(Point::new(1.99 * sign, 0.5)));
            assert!(!outline.contains(Point::new(2.01 * sign, 0.5)));
            assert!(outline.contains(Point::new(-9.0 * sign, 0.0)));
        }
    }

    /// Area of the 16-gon between two directions of the same of its sides, symmetrical to east.
    fn wedge_m2(reach_m: f64, from: (f64, f64), to: (f64, f64)) -> f64 {
        // The 16-gon has a corner in the east; both directions lie beyond the first side, so sum
        // the triangles.
        let corner = reach_m / libm::cos(std::f64::consts::PI / 16.0);
        let at = |k: f64| {
            let angle = k * std::f64::consts::PI / 8.0;
            Point::new(libm::cos(angle), libm::sin(angle)) * corner
        };
        let on_side = |(x, y): (f64, f64), k: f64| {
            let (a, b) = (at(k), at(k + 1.0));
            let toward = Point::new(x, y);
            toward * (a.cross(b) / toward.cross(b - a))
        };
        let ring = [
            Point::default(),
            on_side(from, -2.0),
            at(-1.0),
            at(0.0),
            at(1.0),
            on_side(to, 1.0),
        ];
        (0..ring.len())
            .map(|i| ring[i].cross(ring[(i + 1) % ring.len()]))
            .sum::<f64>()
            / 2.0
    }

    #[test]
    fn on_a_wall_the_own_side_stays_open() {
        let wall = [rectangle((-20.0, 20.0), (0.0, 0.3))];
        for y in [
            -0.2, -0.02, -0.001, -1e-5, -1e-9, 0.0, 1e-9, 1e-4, 0.01, 0.0199,
        ] {
            let outline = seen((0.0, y), 6.0, &wall);
            let half_m2 = 18.0 * full_m2();
            let before_m2 = -2.0 * y.min(0.0) * 6.0; // the strip up to the wall
            let area_m2 = outline.area_m2();
            assert!(
                (area_m2 - half_m2 - before_m2).abs() < 0.05,
                "{y}: {area_m2} {half_m2}"
            );
            assert!(outline.contains(Point::new(0.0, y)), "{y}");
            assert!(outline.contains(Point::new(5.9, y - 0.01)), "{y}");
            assert!(outline.contains(Point::new(-5.9, y - 0.01)), "{y}");
            assert!(!outline.contains(Point::new(0.0, y.max(0.0) + 0.01)), "{y}");
        }
    }

    #[test]
    fn deep_in_a_block_it_hides_nothing_but_others_do() {
        let house = rectangle((-3.0, 3.0), (-3.0, 3.0));
        let shed = rectangle((4.0, 5.0), (-1.0, 1.0));
        assert!(seen_from(Point::default(), 8.0, std::slice::from_ref(&house)).is_none());
        assert_eq!(
            seen_from(Point::default(), 8.0, &[house, shed.clone()]),
            seen_from(Point::default(), 8.0, &[shed])
        );
    }

    #[test]
    fn in_a_corner_between_walls() {
        // An L: the corner of the yard at the origin, open to the south-east.
        let house = block(&[
            (0.0, 0.0),
            (0.0, -9.0),
            (-2.0, -9.0),
            (-2.0, 2.0),
            (9.0, 2.0),
            (9.0, 0.0),
        ]);
        for at in [
            (0.0, 0.0),
            (0.01, -0.01),
            (-0.01, 0.01),
            (0.0, -0.01),
            (-0.005, -0.01),
            (0.2, -0.2),
        ] {
            let outline = seen(at, 5.0, std::slice::from_ref(&house));
            let quarter_m2 = 25.0 * full_m2() / 4.0;
            let beside_m2 = if at.0 > 0.1 { 2.0 * 0.2 * 5.0 } else { 0.0 };
            assert!(
                (outline.area_m2() - quarter_m2 - beside_m2).abs() < 0.15,
                "{at:?} {}",
                outline.area_m2()
            );
            assert!(outline.contains(Point::new(at.0, at.1)));
            assert!(outline.contains(Point::new(3.0, -3.0)));
            assert!(!outline.contains(Point::new(3.0, 0.05)));
            assert!(!outline.contains(Point::new(-0.05, -3.0)));
        }
        // At the outer corner three quarters stay open.
        let outline = seen((-2.0, 2.0), 2.0, &[house]);
        assert!((outline.area_m2() - 3.0 * full_m2()).abs() < 0.02);
    }

    #[test]
    fn a_yard_is_seen_up_to_its_walls() {
        let yard =
            [(-3.0, -2.0), (3.0, -2.0), (3.0, 2.0), (-3.0, 2.0)].map(|(x, y)| Point::new(x, y));
        let house = rectangle((-6.0, 6.0), (-6.0, 6.0));
        let house = Outline::new(house.outer().clone(), vec![yard.to_vec()]).unwrap();
        let outline = seen((1.0, 0.5), 12.0, &[house]);
        assert!((outline.area_m2() - 24.0).abs() < 1e-9);
        assert_eq!(outline.rings().len(), 1);
    }

    #[test]
    fn touching_and_overlapping_blocks_hide_what_their_union_hides() {
        let row = [
            rectangle((-3.0, 0.0), (4.0, 6.0)),
            rectangle((0.0, 3.0), (4.0, 7.0)),
        ];
        let one = [block(&[
            (-3.0, 4.0),
            (3.0, 4.0),
            (3.0, 7.0),
            (0.0, 7.0),
            (0.0, 6.0),
            (-3.0, 6.0),
        ])];
        let over = [
            rectangle((-3.0, 1.0), (4.0, 6.0)),
            rectangle((0.0, 3.0), (4.0, 7.0)),
        ];
        for at in [
            (0.0, 0.0),
            (0.0, 3.99),
            (2.0, 4.0),
            (0.0, 4.0),
            (6.0, 4.0),
            (-8.0, 5.0),
        ] {
            let union = seen(at, 9.0, &one).area_m2();
            for blocks in [&row, &over] {
                let apart = seen(at, 9.0, blocks).area_m2();
                assert!((union - apart).abs() < 1e-4, "{at:?}: {union} {apart}");
            }
        }
        // Crossing walls: the nearer of both in every direction.
        let cross = [
            rectangle((-4.0, 4.0), (2.9, 3.1)),
            rectangle((0.9, 1.1), (0.5, 8.0)),
        ];
        let outline = seen((0.0, 0.0), 10.0, &cross);
        assert!(outline.contains(Point::new(0.8, 2.8)) && !outline.contains(Point::new(1.5, 2.8)));
        assert!(outline.contains(Point::new(3.9, 1.5)));
    }

    #[test]
    fn a_trunk_of_many_sides() {
        let sides = |n: usize| {
            let corner = |k: usize| {
                let angle = k as f64 * std::f64::consts::TAU / n as f64;
                Point::new(5.0, 1.0) + Point::new(libm::cos(angle), libm::sin(angle)) * 0.25
            };
            Outline::new((0..n).map(corner).collect(), vec![]).unwrap()
        };
        let whole = 100.0 * full_m2();
        let few = whole - seen((0.0, 0.0), 10.0, &[sides(32)]).area_m2();
        let many = whole - seen((0.0, 0.0), 10.0, &[sides(4000)]).area_m2();
        // About ½ (R² − d²) · 2 atan(r / d) with d = √26.
        let exact = (104.0 - 26.0) * libm::atan(0.25 / libm::sqrt(26.0));
        assert!(
            (few / many - 1.0).abs() < 0.01 && (many / exact - 1.0).abs() < 0.1,
            "{few} {many} {exact}"
        );
    }
}
