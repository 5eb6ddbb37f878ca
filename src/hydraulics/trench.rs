//! Where trenches may run, and what they cost.

use crate::shape::{Outline, Point, simplified};

/// A pipe may graze a building this deep, since outlines of lawns and buildings never meet quite
/// \[m\].
const GRAZE_M: f64 = 0.05;
/// Ways round keep this far from corners \[m\].
const CLEAR_M: f64 = 0.4;
/// Corners of buildings are looked at with this much noise taken out \[m\].
const NOISE_M: f64 = 0.3;
/// Things this near to a station can be in its way \[m\].
const NEAR_M: f64 = 4.0;
/// Sides of a root zone.
const ZONE_SIDES: usize = 12;

/// The ground of one parcel, as someone with a trencher sees it.
#[derive(Debug, Clone)]
pub struct Yard {
    turf: Vec<Outline>,
    blocks: Vec<Outline>,
    /// How many of the blocks are solid; the others are root zones.
    solid: usize,
    off_turf_factor: f64,
}

impl Yard {
    /// A yard with lawns, things that no trench may cross, and what a metre off the lawns counts.
    #[must_use]
    pub fn new(turf: Vec<Outline>, blocks: Vec<Outline>, off_turf_factor: f64) -> Yard {
        Yard {
            turf,
            solid: blocks.len(),
            blocks,
            off_turf_factor,
        }
    }

    /// How many looks it takes to say what a straight trench costs: one for each lawn and block, and one
    /// for each edge of those whose boxes meet that of the trench.
    #[must_use]
    pub fn looks(&self, a: Point, b: Point) -> usize {
        let near = |outline: &&Outline| meets_box(outline, a, b);
        let edges =
            |outline: &Outline| outline.rings().iter().map(|ring| ring.len()).sum::<usize>();
        let all = || self.turf.iter().chain(&self.blocks);
        all().count() + all().filter(near).map(edges).sum::<usize>()
    }

    /// The same with root zones, which only the pipe of a head or valve inside of them may enter.
    #[must_use]
    pub fn with_root_zones(mut self, zones: impl Iterator<Item = Outline>) -> Yard {
        self.blocks.extend(zones);
        self
    }

    /// The zone around a trunk that trenches leave alone: a disc about its middle.
    #[must_use]
    pub fn root_zone(trunk: &Outline, distance_m: f64) -> Option<Outline> {
        let (low, high) = trunk.bounds();
        let middle = (low + high) * 0.5;
        let radius_m = distance_m + (high - low).norm() / 4.0;
        let corner = |k: usize| {
            let bearing = 360.0 * k as f64 / ZONE_SIDES as f64;
            middle + Point::along_bearing(bearing) * radius_m
        };
        Outline::new((0..ZONE_SIDES).map(corner).collect(), vec![])
    }

    /// What a straight trench costs, in metres on turf; `None` where something stands in its way.
    #[must_use]
    pub fn cost_m(&self, a: Point, b: Point) -> Option<f64> {
        let (solid, zones) = self.blocks.split_at(self.solid);
        let is_in = |zone: &Outline, at: Point| is_inside_box(at, zone) && zone.contains(at);
        let in_the_way = |zone: &Outline| crosses(zone, a, b) && !is_in(zone, a) && !is_in(zone, b);
        if solid.iter().any(|block| crosses(block, a, b)) || zones.iter().any(in_the_way) {
            return None;
        }
        let length_m = a.distance(b);
        let on_turf: f64 = self
            .turf
            .iter()
            .filter(|turf| meets_box(turf, a, b))
            .map(|turf| {
                stretches(turf, a, b)
                    .map(|(from, to)| to - from)
                    .sum::<f64>()
            })
            .sum();
        let off_frac = 1.0 - on_turf.min(1.0);
        Some(length_m * (1.0 + (self.off_turf_factor - 1.0) * off_frac))
    }

    /// The lawns.
    #[must_use]
    pub fn turf(&self) -> &[Outline] {
        &self.turf
    }

    /// Places beside the corners of what may be in the way between a valve and its heads, at most
    /// so many, those nearest to the heads' middle first.
    #[must_use]
    pub fn corners_about(&self, valve: Point, heads: &[Point], most: usize) -> Vec<Point> {
        let (mut low, mut high) = (valve, valve);
        for at in heads {
            low = Point::new(low.x.min(at.x), low.y.min(at.y));
            high = Point::new(high.x.max(at.x), high.y.max(at.y));
        }
        let margin = Point::new(NEAR_M, NEAR_M);
        let (low, high) = (low - margin, high + margin);
        let middle = (low + high) * 0.5;
        let is_near = |block: &&Outline| {
            let (south_west, north_east) = block.bounds();
            south_west.x < high.x
                && north_east.x > low.x
                && south_west.y < high.y
                && north_east.y > low.y
        };
        let mut corners: Vec<Point> = self
            .blocks
            .iter()
            .filter(is_near)
            .flat_map(outer_corners)
            .filter(|&at| {
                let clear = |block: &Outline| !is_inside_box(at, block) || !block.contains(at);
                self.blocks.iter().all(clear)
            })
            .collect();
        corners.sort_by(|a, b| {
            let (a_m, b_m) = (a.distance(middle), b.distance(middle));
            a_m.total_cmp(&b_m)
                .then(a.x.total_cmp(&b.x))
                .then(a.y.total_cmp(&b.y))
        });
        corners.truncate(most);
        corners
    }
}

/// Whether the box of an outline meets that of a straight line.
fn meets_box(outline: &Outline, a: Point, b: Point) -> bool {
    let (low, high) = outline.bounds();
    a.x.max(b.x) >= low.x
        && a.x.min(b.x) <= high.x
        && a.y.max(b.y) >= low.y
        && a.y.min(b.y) <= high.y
}

fn is_inside_box(at: Point, outline: &Outline) -> bool {
    let (low, high) = outline.bounds();
    at.x >= low.x && at.x <= high.x && at.y >= low.y && at.y <= high.y
}

/// Places a little outside of the convex corners of a block's rings.
fn outer_corners(block: &Outline) -> Vec<Point> {
    let mut corners = Vec::new();
    for ring in block.rings() {
        let ring = simplified(ring, NOISE_M);
        let n = ring.len();
        for i in 0..n {
            let (before, at, after) = (ring[(i + n - 1) % n], ring[i], ring[(i + 1) % n]);
            let (come, go) = ((at - before).unit(), (after - at).unit());
            if come.cross(go) > 0.05 {
                let outward = (come - go).unit();
                // A sharper corner needs a wider berth to clear its faces.
                let half_sin = ((1.0 + come.dot(go)) / 2.0).max(0.25).sqrt();
                corners.push(at + outward * (CLEAR_M / half_sin));
            }
        }
    }
    corners
}

/// Whether a straight pipe runs through a block deeper than it may graze.
fn crosses(block: &Outline, a: Point, b: Point) -> bool {
    if !meets_box(block, a, b) {
        return false;
    }
    stretches(block, a, b).any(|(from, to)| {
        let middle = a + (b - a) * ((from + to) / 2.0);
        block.boundary_distance_m(middle) > GRAZE_M
    })
}

/// The shares of a straight line that lie inside an outline, from and to.
fn stretches(outline: &Outline, a: Point, b: Point) -> impl Iterator<Item = (f64, f64)> {
    let along = b - a;
    let mut cuts: Vec<f64> = Vec::new();
    for (c, d) in outline.edges() {
        let side = d - c;
        let (before, behind) = (along.cross(c - a), along.cross(d - a));
        // An end on the line belongs to one side only, so that every way in has a way out.
        if (before > 0.0) != (behind > 0.0) {
            let turn = along.cross(side);
            let share = (c - a).cross(side) / turn;
            cuts.push(share);
        }
    }
    cuts.sort_by(f64::total_cmp);
    let pairs: Vec<(f64, f64)> = cuts
        .chunks_exact(2)
        .map(|pair| (pair[0].clamp(0.0, 1.0), pair[1].clamp(0.0, 1.0)))
        .filter(|(from, to)| to > from)
        .collect();
    pairs.into_iter()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(x: (f64, f64), y: (f64, f64)) -> Outline {
        let ring = [(x.0, y.0), (x.1, y.0), (x.1, y.1), (x.0, y.1)];
        Outline::new(ring.map(|(x, y)| Point::new(x, y)).to_vec(), vec![]).unwrap()
    }

    #[test]
    fn a_trench_off_the_turf_counts_twice_and_walls_stop_it() {
        let yard = Yard::new(
            vec![
                square((0.0, 10.0), (0.0, 10.0)),
                square((20.0, 30.0), (0.0, 10.0)),
            ],
            vec![square((4.0, 4.2), (5.0, 20.0))],
            2.0,
        );
        let cost = |ax: f64, ay: f64, bx: f64, by: f64| {
            yard.cost_m(Point::new(ax, ay), Point::new(bx, by))
        };
        assert_eq!(cost(1.0, 1.0, 9.0, 1.0), Some(8.0));
        let over = cost(5.0, 1.0, 25.0, 1.0).unwrap();
        assert!((over - 30.0).abs() < 1e-9, "{over}");
        assert_eq!(cost(1.0, 8.0, 9.0, 8.0), None);
        // Along its face, 4 cm inside by the noise of two drawings.
        assert!(cost(4.04, 5.0, 4.04, 9.0).is_some());
        assert!(cost(1.0, 4.9, 9.0, 4.9).is_some());
    }

    #[test]
    fn corners_stand_outside() {
        let house = square((0.0, 8.0), (0.0, 6.0));
        let yard = Yard::new(vec![], vec![house.clone()], 2.0);
        let corners = yard.corners_about(Point::new(-2.0, 3.0), &[Point::new(10.0, 3.0)], 99);
        assert_eq!(corners.len(), 4);
        for at in corners {
            assert!(!house.contains(at));
            assert!((house.boundary_distance_m(at) - CLEAR_M * 2.0_f64.sqrt()).abs() < 1e-9);
        }
        let far = yard.corners_about(Point::new(40.0, 3.0), &[Point::new(50.0, 3.0)], 99);
        assert!(far.is_empty());
    }

    #[test]
    fn a_root_zone_keeps_its_distance() {
        let trunk = square((-0.2, 0.2), (-0.2, 0.2));
        let zone = Yard::root_zone(&trunk, 2.0).unwrap();
        assert!(zone.contains(Point::new(1.9, 0.0)) && !zone.contains(Point::new(2.5, 0.0)));
        let yard = Yard::new(vec![], vec![], 1.0).with_root_zones(std::iter::once(zone));
        let cost = |x: f64| yard.cost_m(Point::new(x, 0.0), Point::new(5.0, 0.0));
        assert_eq!(cost(-5.0), None);
        assert_eq!(cost(1.5), Some(3.5));
    }
}
