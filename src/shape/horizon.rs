//! The nearest faces around a place: what is left of its sight.

use super::outline::Ring;
use super::point::Point;

/// A face whose line passes nearer than this is seen edge-on and hides nothing \[m\].
const EDGE_ON_M: f64 = 1e-6;
/// Distances that differ by less than this share are equal: faces that touch.
const EQUAL_SHARE: f64 = 1e-9;
/// A gap narrower than this is closed \[radians\]: 2 µm at 20 m.
const NARROWEST_GAP: f64 = 1e-7;

/// The nearest faces around a place, one beside the other, by direction: what is left of a star
/// of sight when faces are put into it. All points are seen from the place.
#[derive(Debug, Clone)]
pub(crate) struct Horizon {
    /// By rising turn, no two over one another.
    pieces: Vec<Piece>,
    /// Work space of `hide_behind`.
    changed: Vec<Piece>,
}

/// The line of a face: the points p with `normal · p = 1`, lengths in metres. The nearness of the
/// face, 1 / distance, is then linear in the direction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Face {
    normal: Point,
}

/// A direction and its place in the order of directions.
#[derive(Debug, Clone, Copy)]
struct Ray {
    toward: Point,
    /// Rises from 0 in the east counter-clockwise to 4.
    turn: f64,
}

/// The part of a face between two directions.
#[derive(Debug, Clone, Copy)]
struct Piece {
    from: Ray,
    to: Ray,
    face: Face,
}

impl Horizon {
    /// A horizon of faces that follow one another counter-clockwise about the place; they may
    /// leave directions open. Faces seen edge-on are left out.
    pub(crate) fn of(faces: impl Iterator<Item = (Point, Point)>) -> Horizon {
        let mut pieces = Vec::with_capacity(64);
        for (from, to) in faces {
            if let Some(face) = Face::seen(from, to) {
                pieces.extend(face.pieces(from, to).into_iter().flatten());
            }
        }
        pieces.sort_by(|a, b| a.from.turn.total_cmp(&b.from.turn));
        Horizon {
            pieces,
            changed: Vec::new(),
        }
    }

    /// A regular 16-gon around the circle of a radius.
    pub(super) fn around(reach_m: f64) -> Horizon {
        const COS: f64 = 0.923_879_532_511_286_7; // of 22.5°
        const SIN: f64 = 0.382_683_432_365_089_8;
        const SQRT: f64 = std::f64::consts::FRAC_1_SQRT_2;
        const QUARTER: [(f64, f64); 4] = [(1.0, 0.0), (COS, SIN), (SQRT, SQRT), (SIN, COS)];
        // 1 / cos 11.25°, a hair outwards.
        let corner_m = reach_m * (1.019_591_158_208_318_5 * (1.0 + 1e-9));
        let corner = |k: usize| {
            let (x, y) = QUARTER[k % 4];
            let (x, y) = match (k / 4) % 4 {
                0 => (x, y),
                1 => (-y, x),
                2 => (-x, -y),
                _ => (y, -x),
            };
            Point::new(x, y) * corner_m
        };
        Horizon::of((0..16).map(|k| (corner(k), corner(k + 1))))
    }

    /// Takes away what a face from `from` counter-clockwise to `to` hides; one that is seen from
    /// behind or edge-on hides nothing.
    pub(crate) fn cut(&mut self, from: Point, to: Point) {
        if let Some(face) = Face::seen(from, to) {
            self.hide_behind(from, to, face);
        }
    }

    pub(super) fn hide_behind(&mut self, from: Point, to: Point, face: Face) {
        for over in face.pieces(from, to).into_iter().flatten() {
            let first = self
                .pieces
                .partition_point(|piece| piece.to.turn <= over.from.turn);
            let mut last = first;
            let mut any = false;
            self.changed.clear();
            while last < self.pieces.len() && self.pieces[last].from.turn < over.to.turn {
                any |= self.pieces[last].hidden_by(&over, &mut self.changed);
                last += 1;
            }
            if any {
                self.pieces.splice(first..last, self.changed.drain(..));
            }
        }
    }

    /// The corners of the star, counter-clockwise. Where directions are open, the place itself is
    /// the last corner, and the first lies on the first direction after them.
    pub(crate) fn ring(&self) -> Ring {
        let count = self.pieces.len();
        let follows = |i: usize| {
            let before = self.pieces[(i + count - 1) % count].to.turn;
            let turn = self.pieces[i].from.turn;
            before == turn || (turn == 0.0 && before == 4.0)
        };
        let open = (0..count).find(|&i| !follows(i));
        let mut ring = Ring::with_capacity(2 * count + 1);
        let mut add = |point: Point| {
            if ring.last().is_none_or(|&last| is_apart(last, point)) {
                ring.push(point);
            }
        };
        for k in 0..count {
            let piece = &self.pieces[(open.unwrap_or(0) + k) % count];
            if !piece.is_narrow() {
                add(piece.from.on(&piece.face));
                add(piece.to.on(&piece.face));
            }
        }
        while ring.len() > 1 && open.is_none() && !is_apart(ring[0], ring[ring.len() - 1]) {
            ring.pop();
        }
        if open.is_some() {
            ring.push(Point::default());
        }
        ring
    }
}

impl Face {
    /// The face from one point counter-clockwise to another; `None` from behind or edge-on.
    pub(super) fn seen(from: Point, to: Point) -> Option<Face> {
        let along = to - from;
        let cross = from.cross(to);
        (cross > EDGE_ON_M * along.norm()).then(|| Face {
            normal: Point::new(along.y, -along.x) * (1.0 / cross),
        })
    }

    /// The face as one piece, or as two if it passes the east.
    fn pieces(self, from: Point, to: Point) -> [Option<Piece>; 2] {
        let (from, to) = (Ray::new(from), Ray::new(to));
        let piece = |from, to| {
            Some(Piece {
                from,
                to,
                face: self,
            })
        };
        if from.turn < to.turn {
            [piece(from, to), None]
        } else if to.turn == 0.0 {
            [piece(from, Ray::EAST_AGAIN), None]
        } else {
            [piece(from, Ray::EAST_AGAIN), piece(Ray::EAST, to)]
        }
    }
}

impl Ray {
    const EAST: Ray = Ray {
        toward: Point::new(1.0, 0.0),
        turn: 0.0,
    };
    const EAST_AGAIN: Ray = Ray {
        toward: Point::new(1.0, 0.0),
        turn: 4.0,
    };

    fn new(toward: Point) -> Ray {
        let (x, y) = (toward.x, toward.y);
        let turn = match (x >= 0.0, y >= 0.0) {
            (true, true) => y / (x + y),
            (false, true) => 1.0 - x / (y - x),
            (false, false) => 2.0 + y / (x + y),
            (true, false) => 3.0 + x / (x - y),
        };
        Ray { toward, turn }
    }

    fn on(&self, face: &Face) -> Point {
        self.toward * (1.0 / face.normal.dot(self.toward))
    }
}

impl Piece {
    /// Puts into `out` what is seen of this piece and of one laid over it; says whether anything
    /// changed.
    fn hidden_by(&self, over: &Piece, out: &mut Vec<Piece>) -> bool {
        let from = if over.from.turn > self.from.turn {
            over.from
        } else {
            self.from
        };
        let to = if over.to.turn < self.to.turn {
            over.to
        } else {
            self.to
        };
        let (here, there) = (self.face.normal, over.face.normal);
        // 1 where the one laid over is nearer, −1 where it is farther, 0 where the two touch.
        let lead = |ray: &Ray| {
            let (here, there) = (here.dot(ray.toward), there.dot(ray.toward));
            let (off, touch) = (there - here, EQUAL_SHARE * there);
            i32::from(off > touch) - i32::from(off < -touch)
        };
        let (first, second) = (lead(&from), lead(&to));
        if first <= 0 && second <= 0 {
            out.push(*self);
            return false;
        }
        let mut add = |from: Ray, to: Ray, face: Face| {
            if from.turn < to.turn {
                out.push(Piece { from, to, face });
            }
        };
        add(self.from, from, self.face);
        if first >= 0 && second >= 0 {
            add(from, to, over.face);
        } else {
            // The lines cross where both are equally near. Rounding may put that on an end.
            let equal = Point::new(there.y - here.y, here.x - there.x);
            let equal = if from.toward.cross(equal) < 0.0 {
                equal * -1.0
            } else {
                equal
            };
            let ray = Ray::new(equal);
            let middle = if equal.cross(to.toward) <= 0.0 || ray.turn >= to.turn {
                to
            } else if ray.turn > from.turn {
                ray
            } else {
                from
            };
            let (before, after) = if first > 0 {
                (over.face, self.face)
            } else {
                (self.face, over.face)
            };
            add(from, middle, before);
            add(middle, to, after);
        }
        add(to, self.to, self.face);
        true
    }

    /// Whether it is too narrow to be drawn.
    fn is_narrow(&self) -> bool {
        let (from, to) = (self.from.toward, self.to.toward);
        let cross = from.cross(to);
        cross * cross < NARROWEST_GAP * NARROWEST_GAP * from.dot(from) * to.dot(to)
            && from.dot(to) > 0.0
    }
}

/// Whether two corners are more than 0.1 µm apart.
fn is_apart(a: Point, b: Point) -> bool {
    let off = b - a;
    off.dot(off) > 1e-14
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shape::Outline;

    #[test]
    fn directions_are_in_order() {
        let mut before = -1.0;
        for step in 0..1440 {
            let angle = f64::from(step) * std::f64::consts::TAU / 1440.0;
            let ray = Ray::new(Point::new(libm::cos(angle), libm::sin(angle)) * 3.0);
            assert!(ray.turn > before && ray.turn < 4.0, "{step}: {}", ray.turn);
            before = ray.turn;
        }
    }

    #[test]
    fn the_open_horizon_holds_the_circle() {
        let ring = Horizon::around(7.0).ring();
        assert_eq!(ring.len(), 16);
        let outline = Outline::new(ring, vec![]).unwrap();
        let full_m2 = 49.0 * 16.0 * libm::tan(std::f64::consts::PI / 16.0);
        assert!((outline.area_m2() / full_m2 - 1.0).abs() < 1e-8);
        let nearest = outline.boundary_distance_m(Point::default());
        assert!((7.0..7.0 + 1e-7).contains(&nearest), "{nearest}");
    }
}
