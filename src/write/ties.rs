//! Where a crew finds a head again: tapes from two fixed points that can be seen and held, else a
//! distance along an edge and a square offset from it.
//!
//! A fixed point is a real corner of the turf area, of a building, a wall or a pavement. The tape to
//! it is no longer than [`TAPE_M`], passes through no building, wall or trunk, and the two tapes cross
//! under 30° to 150°, so that an error of a tape moves the head by no more than twice as much
//! (1 / sin 30°).

use crate::shape::{Outline, Point, Ring, simplified};

/// Longest tape \[m\]. Choice of this program: a common length of tape, which sags little.
pub const TAPE_M: f64 = 30.0;
/// Shortest tape \[m\]: below that the direction of the tape is not seen. Choice of this program.
const SHORTEST_M: f64 = 0.5;
/// cos 30°: corners turn by at least that angle, and tapes cross under no less.
const COS_30: f64 = 0.866_025_403_784_438_6;
/// A corner turns as much between points these far along its two arms \[m\]: rounded edges and notches
/// do not. Choice of this program.
const ARMS_M: [f64; 2] = [0.5, 1.5];
/// Vertices nearer to the line through their neighbours are not seen in the field \[m\]. Choice of this
/// program.
const STRAIGHT_M: f64 = 0.1;
/// A straight edge from which offsets are set out is at least this long \[m\]. Choice of this program.
const EDGE_M: f64 = 2.0;
/// A tape may graze what it passes by this much \[m\]: drawings of walls and turf meet no better.
const GRAZE_M: f64 = 0.05;
/// Corners of two outlines within this distance are one \[m\].
const SAME_CORNER_M: f64 = 0.3;

/// What a corner belongs to; what is harder comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mark {
    /// A building.
    Building,
    /// A wall.
    Wall,
    /// The turf area's own edge.
    Turf,
    /// Paving.
    Pavement,
}

impl Mark {
    /// The word for it.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Mark::Building => "building",
            Mark::Wall => "wall",
            Mark::Turf => "turf",
            Mark::Pavement => "pavement",
        }
    }
}

/// A corner that a tape can be held to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FixedPoint {
    /// Where it is.
    pub at: Point,
    /// Of what.
    pub mark: Mark,
}

/// A straight edge that begins at a corner.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Edge {
    /// The corner, by its place among the points.
    from: usize,
    start: Point,
    end: Point,
    mark: Mark,
}

/// How one head is found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Tie {
    /// By tapes from two points, given by their places in [`Ties::points`] \[m\].
    Tapes([(usize, f64); 2]),
    /// By an edge.
    Offset {
        /// The corner where the edge begins, by its place in [`Ties::points`].
        from: usize,
        /// What the edge belongs to.
        mark: Mark,
        /// Which way the edge runs from there \[degrees clockwise from north\].
        bearing_deg: f64,
        /// Distance along the edge \[m\].
        along_m: f64,
        /// Square distance from it \[m\], positive to the left of the way from the corner.
        left_m: f64,
    },
    /// By nothing: no corner is in sight.
    Nothing,
}

/// The ties of some heads.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Ties {
    /// The points that are used, the one that serves most heads first.
    pub points: Vec<FixedPoint>,
    /// The tie of each head, in their order.
    pub of: Vec<Tie>,
}

/// What stands around a turf area.
pub struct Surroundings<'a> {
    /// Outlines whose corners can be held, the turf area among them.
    pub marked: Vec<(Mark, &'a Outline)>,
    /// Outlines that a tape cannot pass.
    pub solid: Vec<&'a Outline>,
    /// Where the crew may walk; empty where nobody knows.
    pub within: &'a [Outline],
}

/// Finds the ties of heads. Points that serve many heads are preferred, so that few are used.
#[must_use]
pub fn ties(heads: &[Point], around: &Surroundings<'_>) -> Ties {
    let (points, edges) = fixed(heads, around);
    let solid: Vec<Solid> = around
        .solid
        .iter()
        .map(|outline| Solid::of(outline))
        .collect();
    let is_clear = |a: Point, b: Point| !solid.iter().any(|solid| solid.stops(a, b));
    let in_sight: Vec<Vec<usize>> = heads
        .iter()
        .map(|&head| {
            let near = points.iter().enumerate().filter(|(_, point)| {
                let tape_m = point.at.distance(head);
                (SHORTEST_M..=TAPE_M).contains(&tape_m) && is_clear(head, point.at)
            });
            near.map(|(at, _)| at).collect()
        })
        .collect();
    let mut serves = vec![0_usize; points.len()];
    for &at in in_sight.iter().flatten() {
        serves[at] += 1;
    }
    let mut ranked: Vec<usize> = (0..points.len()).collect();
    ranked.sort_by_key(|&at| (std::cmp::Reverse(serves[at]), points[at].mark, at));
    let mut rank = vec![0; points.len()];
    for (place, &at) in ranked.iter().enumerate() {
        rank[at] = place;
    }
    let found: Vec<Tie> = heads
        .iter()
        .zip(in_sight)
        .map(|(&head, mut seen)| {
            seen.sort_by_key(|&at| rank[at]);
            crossing(head, &points, &seen).unwrap_or_else(|| offset(head, &edges, is_clear))
        })
        .collect();
    numbered(found, &points, &rank)
}

/// Keeps the points that are used, in the order of their ranks.
fn numbered(mut of: Vec<Tie>, points: &[FixedPoint], rank: &[usize]) -> Ties {
    let mut used: Vec<usize> = Vec::new();
    for tie in &of {
        match tie {
            Tie::Tapes(tapes) => used.extend(tapes.map(|(at, _)| at)),
            Tie::Offset { from, .. } => used.push(*from),
            Tie::Nothing => {}
        }
    }
    used.sort_by_key(|&at| rank[at]);
    used.dedup();
    let place = |at: usize| used.iter().position(|&own| own == at).unwrap_or(0); // all are in it
    for tie in &mut of {
        match tie {
            Tie::Tapes(tapes) => {
                for (at, _) in tapes.iter_mut() {
                    *at = place(*at);
                }
                tapes.sort_by_key(|&(at, _)| at);
            }
            Tie::Offset { from, .. } => *from = place(*from),
            Tie::Nothing => {}
        }
    }
    Ties {
        points: used.iter().map(|&at| points[at]).collect(),
        of,
    }
}

/// The first two of the points in sight whose tapes cross well.
fn crossing(head: Point, points: &[FixedPoint], seen: &[usize]) -> Option<Tie> {
    let way = |at: usize| (points[at].at - head).unit();
    for (place, &b) in seen.iter().enumerate() {
        for &a in &seen[..place] {
            if way(a).dot(way(b)).abs() <= COS_30 {
                let tape = |at: usize| (at, points[at].at.distance(head));
                return Some(Tie::Tapes([tape(a), tape(b)]));
            }
        }
    }
    None
}

/// The edge with the shortest clear offset, the first of equals.
fn offset(head: Point, edges: &[Edge], is_clear: impl Fn(Point, Point) -> bool) -> Tie {
    let mut best: Option<(f64, Tie)> = None;
    for edge in edges {
        let way = (edge.end - edge.start).unit();
        let along_m = (head - edge.start).dot(way);
        let left_m = way.cross(head - edge.start);
        let length_m = edge.start.distance(edge.end);
        let reaches = (-GRAZE_M..=length_m.min(TAPE_M) + GRAZE_M).contains(&along_m);
        let nearer = best.is_none_or(|(held_m, _)| left_m.abs() < held_m);
        let along_m = along_m.max(0.0);
        let foot = edge.start + way * along_m;
        if reaches && nearer && left_m.abs() <= TAPE_M && is_clear(head, foot) {
            let tie = Tie::Offset {
                from: edge.from,
                mark: edge.mark,
                bearing_deg: way.bearing_deg(),
                along_m,
                left_m,
            };
            best = Some((left_m.abs(), tie));
        }
    }
    best.map_or(Tie::Nothing, |(_, tie)| tie)
}

/// The corners within a tape of any head, the hardest first, and the edges that begin at them.
fn fixed(heads: &[Point], around: &Surroundings<'_>) -> (Vec<FixedPoint>, Vec<Edge>) {
    let mut marked: Vec<&(Mark, &Outline)> = around.marked.iter().collect();
    marked.sort_by_key(|(mark, _)| *mark); // stable: outlines stay in their order
    let may_stand = |at: Point| {
        let mut within = around.within.iter();
        around.within.is_empty() || within.any(|own| own.signed_distance_m(at) >= -1.0)
    };
    let is_near = |at: Point| heads.iter().any(|head| head.distance(at) <= TAPE_M);
    let (mut points, mut edges) = (Vec::<FixedPoint>::new(), Vec::new());
    for (mark, outline) in marked {
        for ring in outline.rings() {
            let straight = simplified(ring, STRAIGHT_M);
            for at in corners(ring, &straight) {
                let corner = straight[at];
                if !is_near(corner) || !may_stand(corner) {
                    continue;
                }
                let same = points
                    .iter()
                    .position(|own| own.at.distance(corner) <= SAME_CORNER_M);
                let from = same.unwrap_or(points.len());
                if same.is_none() {
                    points.push(FixedPoint {
                        at: corner,
                        mark: *mark,
                    });
                }
                for step in [1, straight.len() - 1] {
                    let end = straight[(at + step) % straight.len()];
                    if corner.distance(end) >= EDGE_M && same.is_none() {
                        edges.push(Edge {
                            from,
                            start: corner,
                            end,
                            mark: *mark,
                        });
                    }
                }
            }
        }
    }
    (points, edges)
}

/// The vertices of a simplified ring at which it turns by 30°, and at which the ring as drawn does
/// between points along its arms.
fn corners(drawn: &Ring, straight: &Ring) -> Vec<usize> {
    let turns = |behind: Point, corner: Point, ahead: Point| {
        (corner - behind).unit().dot((ahead - corner).unit()) <= COS_30
    };
    let mut from = 0;
    let mut found = Vec::new();
    for (at, &corner) in straight.iter().enumerate() {
        // A simplified ring has the vertices of the drawn one, in their order.
        let Some(skipped) = drawn[from..].iter().position(|&own| own == corner) else {
            return found;
        };
        let own = from + skipped;
        from = own;
        let next = straight[(at + 1) % straight.len()];
        let last = straight[(at + straight.len() - 1) % straight.len()];
        let is_bent = ARMS_M.iter().all(|&arm_m| {
            let behind = along(drawn, own, arm_m, drawn.len() - 1);
            turns(behind, corner, along(drawn, own, arm_m, 1))
        });
        if is_bent && turns(last, corner, next) {
            found.push(at);
        }
    }
    found
}

/// The point of a ring at a distance from a vertex, forward with a step of 1, backward with one less
/// than the ring has vertices.
fn along(ring: &Ring, at: usize, distance_m: f64, step: usize) -> Point {
    let (mut here, mut left_m) = (at, distance_m);
    for _ in 0..ring.len() {
        let next = (here + step) % ring.len();
        let length_m = ring[here].distance(ring[next]);
        if length_m >= left_m {
            return ring[here] + (ring[next] - ring[here]).unit() * left_m;
        }
        (here, left_m) = (next, left_m - length_m);
    }
    ring[here]
}

/// Something that a tape cannot pass.
struct Solid<'a> {
    outline: &'a Outline,
    bounds: (Point, Point),
}

impl<'a> Solid<'a> {
    fn of(outline: &'a Outline) -> Solid<'a> {
        Solid {
            outline,
            bounds: outline.bounds(),
        }
    }

    /// Whether the way from a to b passes through it, by more than it may graze.
    fn stops(&self, a: Point, b: Point) -> bool {
        let (low, high) = self.bounds;
        if a.x.max(b.x) < low.x
            || a.x.min(b.x) > high.x
            || a.y.max(b.y) < low.y
            || a.y.min(b.y) > high.y
        {
            return false;
        }
        let way = b - a;
        let mut cuts = vec![0.0, 1.0];
        for (from, to) in self.outline.edges() {
            let edge = to - from;
            let across = way.cross(edge);
            if across == 0.0 {
                continue; // it grazes the edge, or never meets it
            }
            let t = (from - a).cross(edge) / across;
            let u = (from - a).cross(way) / across;
            if (0.0..=1.0).contains(&t) && (0.0..=1.0).contains(&u) {
                cuts.push(t);
            }
        }
        cuts.sort_by(f64::total_cmp);
        let length_m = way.norm();
        cuts.windows(2).any(|pair| {
            let middle = a + way * (0.5 * (pair[0] + pair[1]));
            (pair[1] - pair[0]) * length_m > GRAZE_M
                && self.outline.signed_distance_m(middle) > GRAZE_M
        })
    }
}

/// The name of the n-th point of a parcel, from 0: A to Z, then AA, AB and on.
#[must_use]
pub fn point_name(number: usize) -> String {
    let letter = char::from(b'A' + (number % 26) as u8); // below 26
    match number / 26 {
        0 => letter.to_string(),
        more => format!("{}{letter}", point_name(more - 1)),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test fails by panicking")]
mod tests {
    use super::*;

    fn outline(points: &[(f64, f64)]) -> Outline {
        let points = points.iter().map(|&(x, y)| Point::new(x, y)).collect();
        Outline::new(points, Vec::new()).unwrap()
    }

    fn rectangle(x: f64, y: f64, wide: f64, tall: f64) -> Outline {
        outline(&[(x, y), (x + wide, y), (x + wide, y + tall), (x, y + tall)])
    }

    fn round(radius_m: f64) -> Outline {
        let points: Vec<(f64, f64)> = (0..72)
            .map(|at| {
                let angle = f64::from(at) * std::f64::consts::PI / 36.0;
                (radius_m * libm::cos(angle), radius_m * libm::sin(angle))
            })
            .collect();
        outline(&points)
    }

    fn tie(head: (f64, f64), turf: &Outline, house: Option<&Outline>) -> (Ties, Tie) {
        let mut marked = vec![(Mark::Turf, turf)];
        marked.extend(house.map(|house| (Mark::Building, house)));
        let around = Surroundings {
            marked,
            solid: house.into_iter().collect(),
            within: &[],
        };
        let found = ties(&[Point::new(head.0, head.1)], &around);
        let tie = found.of[0];
        (found, tie)
    }

    #[test]
    fn tapes_cross_well_and_go_to_corners() {
        let turf = rectangle(0.0, 0.0, 20.0, 8.0);
        let (found, tie) = tie((10.0, 4.0), &turf, None);
        let Tie::Tapes([(a, a_m), (b, b_m)]) = tie else {
            panic!("{tie:?}");
        };
        assert_eq!((a, b, found.points.len()), (0, 1, 2));
        let head = Point::new(10.0, 4.0);
        for (at, tape_m) in [(a, a_m), (b, b_m)] {
            assert!((found.points[at].at.distance(head) - tape_m).abs() < 1e-12);
        }
        let way = |at: usize| (found.points[at].at - head).unit();
        assert!(way(a).dot(way(b)).abs() <= COS_30);
    }

    #[test]
    fn no_tape_goes_through_a_house() {
        let turf = rectangle(0.0, 0.0, 40.0, 20.0);
        let house = rectangle(10.0, 5.0, 10.0, 10.0);
        for head in [(5.0, 10.0), (15.0, 2.0), (25.0, 10.0), (15.0, 18.0)] {
            let (found, tie) = tie(head, &turf, Some(&house));
            let Tie::Tapes(tapes) = tie else {
                panic!("{head:?}: {tie:?}");
            };
            let head = Point::new(head.0, head.1);
            for (at, tape_m) in tapes {
                let to = found.points[at].at;
                assert!(tape_m <= TAPE_M);
                for share in 1..100 {
                    let on = head + (to - head) * (f64::from(share) / 100.0);
                    assert!(house.signed_distance_m(on) <= GRAZE_M, "{on:?}");
                }
            }
        }
        let wall = Solid::of(&house);
        let p = Point::new;
        assert!(wall.stops(p(5.0, 10.0), p(25.0, 10.0)));
        assert!(wall.stops(p(15.0, 10.0), p(25.0, 10.0)));
        // Along the wall, to its corner, and past it.
        assert!(!wall.stops(p(5.0, 5.0), p(25.0, 5.0)));
        assert!(!wall.stops(p(5.0, 2.0), p(10.0, 5.0)));
        assert!(!wall.stops(p(5.0, 2.0), p(25.0, 3.0)));
    }

    #[test]
    fn a_round_lawn_has_no_corners() {
        for radius_m in [2.0, 3.0, 10.0, 25.0] {
            let (found, tie) = tie((0.5, 0.5), &round(radius_m), None);
            assert_eq!((found.points.len(), tie), (0, Tie::Nothing), "{radius_m}");
        }
    }

    #[test]
    fn one_corner_in_sight_gives_an_offset_along_its_edge() {
        // A long strip: both corners at its far end are out of reach, and those near the head are
        // almost in line with it.
        let turf = rectangle(0.0, 0.0, 100.0, 1.0);
        let (found, tie) = tie((25.0, 0.4), &turf, None);
        let Tie::Offset {
            from,
            mark,
            bearing_deg,
            along_m,
            left_m,
        } = tie
        else {
            panic!("{tie:?}");
        };
        assert_eq!((found.points[from].at.x, mark), (0.0, Mark::Turf));
        assert!((bearing_deg - 90.0).abs() < 1e-9, "{bearing_deg}");
        assert!((along_m - 25.0).abs() < 1e-12 && (left_m - 0.4).abs() < 1e-12);
        // In the middle nothing is within a tape.
        assert_eq!(super::tests::tie((50.0, 0.4), &turf, None).1, Tie::Nothing);
    }

    #[test]
    fn notches_and_bends_are_no_corners() {
        // A notch of 20 cm in a straight edge, and a bend of 20 degrees.
        let turf = outline(&[
            (0.0, 0.0),
            (10.0, 0.0),
            (10.0, 0.2),
            (10.2, 0.2),
            (10.2, 0.0),
            (20.0, 0.0),
            (30.0, 3.6),
            (30.0, 15.0),
            (0.0, 15.0),
        ]);
        let ring = simplified(turf.outer(), STRAIGHT_M);
        let corners: Vec<(f64, f64)> = corners(turf.outer(), &ring)
            .into_iter()
            .map(|at| (ring[at].x, ring[at].y))
            .collect();
        assert_eq!(
            corners,
            [(0.0, 0.0), (30.0, 3.6), (30.0, 15.0), (0.0, 15.0)]
        );
    }

    #[test]
    fn points_are_named_like_columns_of_a_spreadsheet() {
        let names = [0, 25, 26, 27, 51, 52, 701, 702].map(point_name);
        assert_eq!(names, ["A", "Z", "AA", "AB", "AZ", "BA", "ZZ", "AAA"]);
    }
}
