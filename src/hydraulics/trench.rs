//! Where trenches may run, and what they cost.
//!
//! A trench may go anywhere at a price: a metre on turf counts one, a metre beside it more, a metre through the
//! roots of a tree or off the parcel much more, and a metre under a building or through a wall so much that every
//! way round is shorter unless there is none. So the way of least cost goes round what stands in the
//! way, and where it cannot, it takes the shortest passage.

use crate::shape::{Outline, Point, simplified};

/// A pipe may graze a building this deep, since outlines of turf and buildings never meet quite
/// \[m\].
const GRAZE_M: f64 = 0.05;
/// A pipe is off the parcel only this far beyond its line, which is drawn no better \[m\].
const OFF_GRAZE_M: f64 = 0.1;
/// Ways round keep this far from corners \[m\].
const CLEAR_M: f64 = 0.4;
/// Corners of buildings are looked at with this much noise taken out \[m\].
const NOISE_M: f64 = 0.3;
/// Where along a stretch its depth is looked at: a corner may be cut near either end.
const SAMPLES: [f64; 5] = [0.1, 0.3, 0.5, 0.7, 0.9];
/// Sides of a root zone.
const ZONE_SIDES: usize = 12;

/// What may stand in the way of a trench.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Building,
    Wall,
    /// Only the pipe of a head or valve inside of it may enter.
    RootZone,
}

/// What a metre of trench counts, in metres on turf.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Factors {
    /// On the parcel beside the turf.
    pub off_turf: f64,
    /// Outside the parcel and its turf.
    pub off_parcel: f64,
    /// Through the roots of a tree.
    pub roots: f64,
    /// Under a building or through a wall.
    pub obstructed: f64,
}

/// A straight trench, measured.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Trench {
    /// What it counts, in metres on turf \[m\].
    pub cost_m: f64,
    /// How much of it lies under buildings \[m\].
    pub building_m: f64,
    /// How much of it lies outside the parcel and its turf \[m\]; 0 without a parcel layer.
    pub off_parcel_m: f64,
    /// Whether it passes a building, a wall or a root zone.
    pub is_obstructed: bool,
}

/// The ground of one parcel, as someone with a trencher sees it.
#[derive(Debug, Clone)]
pub struct Yard {
    turf: Vec<Outline>,
    parcel: Vec<Outline>,
    blocks: Vec<(Kind, Outline)>,
    factors: Factors,
}

impl Yard {
    /// A yard with turf areas and buildings, and what a metre of trench counts.
    #[must_use]
    pub fn new(turf: Vec<Outline>, buildings: Vec<Outline>, factors: Factors) -> Yard {
        let building = |outline| (Kind::Building, outline);
        Yard {
            turf,
            parcel: Vec::new(),
            blocks: buildings.into_iter().map(building).collect(),
            factors,
        }
    }

    /// The same inside the outlines of its parcel; without one, nothing is off the parcel.
    #[must_use]
    pub fn with_parcel(mut self, parcel: Vec<Outline>) -> Yard {
        self.parcel = parcel;
        self
    }

    /// The same with walls.
    #[must_use]
    pub fn with_walls(mut self, walls: impl Iterator<Item = Outline>) -> Yard {
        self.blocks.extend(walls.map(|wall| (Kind::Wall, wall)));
        self
    }

    /// The same with root zones, which only the pipe of a head or valve inside of them may enter.
    #[must_use]
    pub fn with_root_zones(mut self, zones: impl Iterator<Item = Outline>) -> Yard {
        self.blocks.extend(zones.map(|zone| (Kind::RootZone, zone)));
        self
    }

    /// How many looks it takes to measure a straight trench: one for each outline, and one for each edge
    /// of those whose boxes meet that of the trench.
    #[must_use]
    pub fn looks(&self, a: Point, b: Point) -> usize {
        let near = |outline: &&Outline| meets_box(outline, a, b);
        let edges =
            |outline: &Outline| outline.rings().iter().map(|ring| ring.len()).sum::<usize>();
        let blocks = || self.blocks.iter().map(|(_, outline)| outline);
        let all = || self.turf.iter().chain(&self.parcel).chain(blocks());
        all().count() + all().filter(near).map(edges).sum::<usize>()
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

    /// Measures a straight trench.
    #[must_use]
    pub fn trench(&self, a: Point, b: Point) -> Trench {
        let length_m = a.distance(b);
        if length_m <= 0.0 {
            return Trench::default();
        }
        let mut solid: Vec<(f64, f64)> = Vec::new();
        let mut roots: Vec<(f64, f64)> = Vec::new();
        let mut built: Vec<(f64, f64)> = Vec::new();
        let mut on_turf: Vec<(f64, f64)> = Vec::new();
        let mut on_parcel: Vec<(f64, f64)> = Vec::new();
        for (kind, outline) in &self.blocks {
            let is_in = |at: Point| is_inside_box(at, outline) && outline.contains(at);
            if !meets_box(outline, a, b) || *kind == Kind::RootZone && (is_in(a) || is_in(b)) {
                continue;
            }
            for (from, to) in deep_stretches(outline, a, b, GRAZE_M) {
                match kind {
                    Kind::RootZone => roots.push((from, to)),
                    Kind::Wall => solid.push((from, to)),
                    Kind::Building => {
                        solid.push((from, to));
                        built.push((from, to));
                    }
                }
            }
        }
        for turf in self.turf.iter().filter(|turf| meets_box(turf, a, b)) {
            on_turf.extend(stretches(turf, a, b));
        }
        for parcel in self.parcel.iter().filter(|one| meets_box(one, a, b)) {
            on_parcel.extend(stretches(parcel, a, b));
        }
        let solid = union(solid);
        let on_turf = union(on_turf);
        let own = union(on_turf.iter().chain(&on_parcel).copied().collect());
        let off = if self.parcel.is_empty() {
            Vec::new()
        } else {
            self.off_parcel(a, b, &own)
        };
        let (solid_frac, turf_frac, off_frac) = (total(&solid), total(&on_turf), total(&off));
        let beside_frac = (1.0 - turf_frac - off_frac).max(0.0);
        let Factors {
            off_turf,
            off_parcel,
            roots: root_factor,
            obstructed,
        } = self.factors;
        let count = turf_frac
            + off_turf * beside_frac
            + off_parcel * off_frac
            + root_factor * total(&union(roots.clone()))
            + obstructed * solid_frac;
        Trench {
            cost_m: length_m * count.max(1.0),
            building_m: length_m * total(&union(built)),
            off_parcel_m: length_m * off_frac,
            is_obstructed: !solid.is_empty() || !roots.is_empty(),
        }
    }

    /// The shares of a line outside of what is the parcel's own, but for stretches that follow its line.
    fn off_parcel(&self, a: Point, b: Point, own: &[(f64, f64)]) -> Vec<(f64, f64)> {
        let mut off = Vec::new();
        let mut from = 0.0;
        for &(begin, end) in own.iter().chain(&[(1.0, 1.0)]) {
            if begin > from {
                let middle = a + (b - a) * ((from + begin) / 2.0);
                let mut lines = self.parcel.iter().chain(&self.turf);
                if lines.all(|line| line.boundary_distance_m(middle) > OFF_GRAZE_M) {
                    off.push((from, begin));
                }
            }
            from = end.max(from);
        }
        off
    }

    /// What a straight trench counts, in metres on turf \[m\].
    #[must_use]
    pub fn cost_m(&self, a: Point, b: Point) -> f64 {
        self.trench(a, b).cost_m
    }

    /// Whether nothing solid stands between two places: no building and no wall.
    #[must_use]
    pub fn is_clear(&self, a: Point, b: Point) -> bool {
        let solid = |kind: &Kind| *kind != Kind::RootZone;
        let mut blocks = self.blocks.iter().filter(|(kind, _)| solid(kind));
        blocks.all(|(_, outline)| deep_stretches(outline, a, b, GRAZE_M).next().is_none())
    }

    /// Whether a place is free for a valve: under the open sky, and on the parcel or its turf.
    #[must_use]
    pub fn is_free(&self, at: Point) -> bool {
        let holds = |outline: &Outline| is_inside_box(at, outline) && outline.contains(at);
        let mut own = self.parcel.iter().chain(&self.turf);
        let is_own = self.parcel.is_empty() || own.any(holds);
        is_own && !self.blocks.iter().any(|(_, outline)| holds(outline))
    }

    /// Whether a place is on the parcel or its turf; everywhere without a parcel layer.
    #[must_use]
    pub fn is_own(&self, at: Point) -> bool {
        let mut own = self.parcel.iter().chain(&self.turf);
        self.parcel.is_empty()
            || own.any(|outline| is_inside_box(at, outline) && outline.contains(at))
    }

    /// Whether anything solid could stand between places of a box.
    #[must_use]
    pub fn has_solid_in(&self, low: Point, high: Point) -> bool {
        self.blocks
            .iter()
            .any(|(kind, block)| *kind != Kind::RootZone && boxes_meet(block, low, high))
    }

    /// The turf areas.
    #[must_use]
    pub fn turf(&self) -> &[Outline] {
        &self.turf
    }

    /// Places beside the corners of what may be in the way between a valve and its heads, and inside the
    /// reflex corners of the parcel: of what comes within a margin of their box, at most so many, those
    /// nearest to its middle first.
    #[must_use]
    pub fn corners_about(
        &self,
        valve: Point,
        heads: &[Point],
        most: usize,
        margin_m: f64,
    ) -> Vec<Point> {
        let (mut low, mut high) = (valve, valve);
        for at in heads {
            low = Point::new(low.x.min(at.x), low.y.min(at.y));
            high = Point::new(high.x.max(at.x), high.y.max(at.y));
        }
        let margin = Point::new(margin_m, margin_m);
        let (low, high) = (low - margin, high + margin);
        let middle = (low + high) * 0.5;
        let outer = self
            .blocks
            .iter()
            .filter(|(_, block)| boxes_meet(block, low, high))
            .flat_map(|(_, block)| corners_of(block, Side::Outside));
        let inner = self
            .parcel
            .iter()
            .filter(|parcel| boxes_meet(parcel, low, high))
            .flat_map(|parcel| corners_of(parcel, Side::Inside));
        let mut corners: Vec<Point> = outer
            .chain(inner)
            .filter(|&at| {
                let clear = |block: &Outline| !is_inside_box(at, block) || !block.contains(at);
                self.blocks.iter().all(|(_, block)| clear(block))
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

fn boxes_meet(outline: &Outline, low: Point, high: Point) -> bool {
    let (south_west, north_east) = outline.bounds();
    south_west.x < high.x && north_east.x > low.x && south_west.y < high.y && north_east.y > low.y
}

/// Stretches of a line, as shares from and to, ascending and without overlap.
fn union(mut stretches: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    stretches.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let mut merged: Vec<(f64, f64)> = Vec::with_capacity(stretches.len());
    for (from, to) in stretches {
        match merged.last_mut() {
            Some(last) if from <= last.1 => last.1 = last.1.max(to),
            _ => merged.push((from, to)),
        }
    }
    merged
}

fn total(stretches: &[(f64, f64)]) -> f64 {
    stretches.iter().map(|(from, to)| to - from).sum()
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

/// On which side of an outline a way passes its corners.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Outside,
    Inside,
}

/// Places a little outside of the convex corners of an outline's rings, or a little inside of the reflex
/// ones.
fn corners_of(outline: &Outline, side: Side) -> Vec<Point> {
    let mut corners = Vec::new();
    for ring in outline.rings() {
        let ring = simplified(ring, NOISE_M);
        let n = ring.len();
        for i in 0..n {
            let (before, at, after) = (ring[(i + n - 1) % n], ring[i], ring[(i + 1) % n]);
            let (come, go) = ((at - before).unit(), (after - at).unit());
            let turn = come.cross(go);
            let wanted = match side {
                Side::Outside => turn > 0.05,
                Side::Inside => turn < -0.05,
            };
            if wanted {
                // Away from the corner's narrow side: outward where it is convex, inward where reflex.
                let away = (come - go).unit();
                // A sharper corner needs a wider berth to clear its faces.
                let half_sin = ((1.0 + come.dot(go)) / 2.0).max(0.25).sqrt();
                corners.push(at + away * (CLEAR_M / half_sin));
            }
        }
    }
    corners
}

/// The shares of a straight line that lie deeper inside an outline than it may graze.
fn deep_stretches(
    outline: &Outline,
    a: Point,
    b: Point,
    graze_m: f64,
) -> impl Iterator<Item = (f64, f64)> {
    let met = meets_box(outline, a, b).then(|| stretches(outline, a, b));
    met.into_iter().flatten().filter(move |(from, to)| {
        SAMPLES.iter().any(|share| {
            let at = a + (b - a) * (from + share * (to - from));
            outline.boundary_distance_m(at) > graze_m
        })
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

    const FACTORS: Factors = Factors {
        off_turf: 2.0,
        off_parcel: 10.0,
        roots: 4.0,
        obstructed: 100.0,
    };

    fn square(x: (f64, f64), y: (f64, f64)) -> Outline {
        let ring = [(x.0, y.0), (x.1, y.0), (x.1, y.1), (x.0, y.1)];
        Outline::new(ring.map(|(x, y)| Point::new(x, y)).to_vec(), vec![]).unwrap()
    }

    #[test]
    fn a_trench_off_the_turf_counts_twice_and_buildings_much_more() {
        let yard = Yard::new(
            vec![
                square((0.0, 10.0), (0.0, 10.0)),
                square((20.0, 30.0), (0.0, 10.0)),
            ],
            vec![square((4.0, 4.2), (5.0, 20.0))],
            FACTORS,
        );
        let trench = |ax: f64, ay: f64, bx: f64, by: f64| {
            yard.trench(Point::new(ax, ay), Point::new(bx, by))
        };
        assert!((trench(1.0, 1.0, 9.0, 1.0).cost_m - 8.0).abs() < 1e-9);
        let over = trench(5.0, 1.0, 25.0, 1.0).cost_m;
        assert!((over - 30.0).abs() < 1e-9, "{over}");
        // 0.2 m of 8 m under the building.
        let under = trench(1.0, 8.0, 9.0, 8.0);
        assert!((under.building_m - 0.2).abs() < 1e-9 && under.is_obstructed);
        assert!((under.cost_m - 28.0).abs() < 1e-9, "{under:?}");
        assert_eq!(under.off_parcel_m, 0.0);
        // Along its face, 4 cm inside by the noise of two drawings.
        assert!(!trench(4.04, 5.0, 4.04, 9.0).is_obstructed);
        assert!(!trench(1.0, 4.9, 9.0, 4.9).is_obstructed);
        assert_eq!(trench(3.0, 3.0, 3.0, 3.0), Trench::default());
    }

    #[test]
    fn a_trench_off_the_parcel_is_measured_but_not_on_own_turf_or_along_the_line() {
        let yard = Yard::new(vec![square((0.0, 10.0), (-4.0, -2.0))], vec![], FACTORS)
            .with_parcel(vec![square((0.0, 10.0), (0.0, 10.0))]);
        let off = |a: (f64, f64), b: (f64, f64)| {
            let trench = yard.trench(Point::new(a.0, a.1), Point::new(b.0, b.1));
            (trench.off_parcel_m, trench.cost_m)
        };
        // From the parcel over the walk of 2 m to a strip of turf beyond: 1 · 2 + 2 · 10 + 1 · 1.
        let (metres, cost) = off((5.0, 1.0), (5.0, -3.0));
        assert!((metres - 2.0).abs() < 1e-9 && (cost - 23.0).abs() < 1e-9);
        assert_eq!(off((0.0, 10.05), (10.0, 10.05)).0, 0.0);
        let (metres, _) = off((5.0, 5.0), (15.0, 5.0));
        assert!((metres - 5.0).abs() < 1e-9, "{metres}");
        assert!(yard.is_own(Point::new(5.0, -3.0)) && !yard.is_own(Point::new(5.0, -1.0)));
    }

    #[test]
    fn corners_stand_outside_of_blocks_and_inside_of_the_parcel() {
        let house = square((0.0, 8.0), (0.0, 6.0));
        let yard = Yard::new(vec![], vec![house.clone()], FACTORS);
        let corners = yard.corners_about(Point::new(-2.0, 3.0), &[Point::new(10.0, 3.0)], 99, 4.0);
        assert_eq!(corners.len(), 4);
        for at in corners {
            assert!(!house.contains(at));
            assert!((house.boundary_distance_m(at) - CLEAR_M * 2.0_f64.sqrt()).abs() < 1e-9);
        }
        let far = yard.corners_about(Point::new(40.0, 3.0), &[Point::new(50.0, 3.0)], 99, 4.0);
        assert!(far.is_empty());
        let bent = [
            (0.0, 0.0),
            (20.0, 0.0),
            (20.0, 10.0),
            (10.0, 10.0),
            (10.0, 20.0),
            (0.0, 20.0),
        ];
        let bent = bent.map(|(x, y)| Point::new(x, y)).to_vec();
        let parcel = Outline::new(bent, vec![]).unwrap();
        let yard = Yard::new(vec![], vec![], FACTORS).with_parcel(vec![parcel.clone()]);
        let corners = yard.corners_about(Point::new(5.0, 18.0), &[Point::new(18.0, 5.0)], 99, 4.0);
        assert_eq!(corners.len(), 1);
        assert!(parcel.contains(corners[0]));
        assert!(corners[0].distance(Point::new(10.0, 10.0)) < 1.0);
    }

    #[test]
    fn a_root_zone_keeps_its_distance() {
        let trunk = square((-0.2, 0.2), (-0.2, 0.2));
        let zone = Yard::root_zone(&trunk, 2.0).unwrap();
        assert!(zone.contains(Point::new(1.9, 0.0)) && !zone.contains(Point::new(2.5, 0.0)));
        let factors = Factors {
            off_turf: 1.0,
            ..FACTORS
        };
        let yard = Yard::new(vec![], vec![], factors).with_root_zones(std::iter::once(zone));
        let trench = |x: f64| yard.trench(Point::new(x, 0.0), Point::new(5.0, 0.0));
        assert!(trench(-5.0).is_obstructed && trench(-5.0).cost_m > 25.0);
        assert!(!trench(1.5).is_obstructed && trench(1.5).cost_m == 3.5);
        assert_eq!(trench(-5.0).building_m, 0.0);
    }
}
