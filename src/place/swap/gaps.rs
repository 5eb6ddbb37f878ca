//! Where existing heads stand too far apart for a family, and the fewest heads that close that.
//!
//! Head to head means that each head reaches the next. Two neighbours on the boundary farther
//! apart than 1.05 of the throw leave a gap; inside, a place farther than 0.75 of the throw from
//! every head does (the centre of a square of heads at head-to-head spacing lies at 0.71).

use super::super::Site;
use super::super::draft::GAP_FRAC;
use super::super::ring::{self, Boundary, Spot};
use super::infer::{around_ring, fixed_spot};
use crate::catalogue::Role;
use crate::shape::{Outline, Point};

/// Farthest that turf may lie from every head, as a share of the throw.
const INNER_FRAC: f64 = 0.75;
/// A corner nearer than this share of the throw to the end of a gap needs no head of its own.
const CORNER_CLEAR_FRAC: f64 = 0.3;
/// A head added inside goes to the boundary if that is nearer than this share of the throw.
const TO_BOUNDARY_FRAC: f64 = 0.35;
/// A ring inside the turf that is shorter than this share of the throw has no heads of its own.
const RING_FRAC: f64 = 2.0;
/// Places are looked at this share of the throw apart, and no nearer than so \[m\].
const NET: (f64, f64) = (0.125, 0.5);
/// Turf is looked at this far from its boundary at least \[m\]: slivers get no head.
const INSET_M: f64 = 0.6;
/// Most heads added to one lawn.
const MOST_ADDED: usize = 200;

/// Where a gap is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Where {
    /// Between two neighbours on the boundary.
    Boundary,
    /// Inside the turf.
    Inside,
}

/// A place where heads stand too far apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    /// Where it is.
    pub on: Where,
    /// Its middle.
    pub at: Point,
    /// Along the boundary from head to head; inside, from its middle to the nearest head \[m\].
    pub length_m: f64,
}

/// A place for another head.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Addition {
    pub(super) at: Point,
    pub(super) role: Role,
    /// Its place on the boundary; `None` inside.
    pub(super) spot: Option<Spot>,
}

/// Existing heads on a lawn, and how far a family reaches there.
pub(super) struct Standing<'a> {
    pub(super) site: &'a Site<'a>,
    pub(super) boundaries: &'a [Boundary],
    pub(super) places: Vec<Point>,
    pub(super) spots: Vec<Option<Spot>>,
    pub(super) reach_m: f64,
}

impl Standing<'_> {
    /// Every gap, and the heads that close them.
    pub(super) fn close(mut self) -> (Vec<Gap>, Vec<Addition>) {
        let (mut gaps, mut added) = (Vec::new(), Vec::new());
        for ring in 0..self.boundaries.len() {
            let around = around_ring(&self.spots, ring);
            let total_m = self.boundaries[ring].path.total_m();
            for (k, &(from_m, _)) in around.iter().enumerate() {
                let to_m = match around.get(k + 1) {
                    Some(&(way_m, _)) => way_m,
                    None => around[0].0 + total_m,
                };
                if self.is_open(ring, from_m, to_m) {
                    let before = added.len();
                    self.fill(ring, from_m, to_m, &mut added);
                    if added.len() > before {
                        gaps.push(Gap {
                            on: Where::Boundary,
                            at: self.boundaries[ring].path.at((from_m + to_m) / 2.0),
                            length_m: to_m - from_m,
                        });
                    }
                }
            }
        }
        self.fill_inside(&mut gaps, &mut added);
        (gaps, added)
    }

    /// Whether a stretch between two heads on a ring is a gap: too long, and no other head near
    /// its middle.
    fn is_open(&self, ring: usize, from_m: f64, to_m: f64) -> bool {
        let most_m = GAP_FRAC * self.reach_m;
        if to_m - from_m <= most_m {
            return false;
        }
        let path = &self.boundaries[ring].path;
        let steps = ((to_m - from_m) / NET.1).ceil() as usize;
        (1..steps).any(|k| {
            let at = path.at(from_m + (to_m - from_m) * k as f64 / steps as f64);
            self.nearest_m(at) > most_m / 2.0
        })
    }

    fn nearest_m(&self, at: Point) -> f64 {
        self.places
            .iter()
            .map(|place| place.distance(at))
            .fold(f64::INFINITY, f64::min)
    }

    /// Heads for a stretch: at its corners first, the one nearest to its middle, then at equal
    /// gaps along what is left.
    fn fill(&mut self, ring: usize, from_m: f64, to_m: f64, added: &mut Vec<Addition>) {
        // Stretches still to look at; each corner splits one, so their number is bounded.
        let mut left = vec![(from_m, to_m)];
        while let Some((from_m, to_m)) = left.pop() {
            if added.len() >= MOST_ADDED || !self.is_open(ring, from_m, to_m) {
                continue;
            }
            let boundary = &self.boundaries[ring];
            let (total_m, clear_m) = (boundary.path.total_m(), CORNER_CLEAR_FRAC * self.reach_m);
            let middle_m = (from_m + to_m) / 2.0;
            let corner_m = boundary
                .corners_m
                .iter()
                .map(|&corner_m| from_m + (corner_m - from_m).rem_euclid(total_m))
                .filter(|way_m| (from_m + clear_m..=to_m - clear_m).contains(way_m))
                .min_by(|a, b| (a - middle_m).abs().total_cmp(&(b - middle_m).abs()));
            if let Some(way_m) = corner_m {
                self.put(fixed_spot(ring, way_m, true), Role::Corner, added);
                left.push((way_m, to_m));
                left.push((from_m, way_m));
            } else {
                let parts = ((to_m - from_m) / (GAP_FRAC * self.reach_m) - 1e-9).ceil() as usize;
                for k in 1..parts {
                    let way_m = from_m + (to_m - from_m) * k as f64 / parts as f64;
                    self.put(fixed_spot(ring, way_m, false), Role::Edge, added);
                }
            }
        }
    }

    /// Adds a head on the boundary, unless only a sliver of turf lies behind it.
    fn put(&mut self, spot: Spot, role: Role, added: &mut Vec<Addition>) {
        let path = &self.boundaries[spot.ring].path;
        if ring::is_on_sliver(self.site.outline, path, spot.way_m) {
            return;
        }
        let at = path.at(spot.way_m);
        self.places.push(at);
        self.spots.push(Some(spot));
        added.push(Addition {
            at,
            role,
            spot: Some(spot),
        });
    }

    /// Adds heads where turf is farthest from every head, while any is too far.
    fn fill_inside(&mut self, gaps: &mut Vec<Gap>, added: &mut Vec<Addition>) {
        let net_m = (NET.0 * self.reach_m).max(NET.1);
        let mut turf: Vec<(Point, f64)> = net(self.site.outline, net_m)
            .filter(|&at| self.site.outline.signed_distance_m(at) >= INSET_M)
            .filter(|&at| self.is_clear_of_trunks(at))
            .map(|at| (at, self.nearest_m(at)))
            .collect();
        while added.len() < MOST_ADDED {
            let farthest = turf
                .iter()
                .copied()
                .reduce(|best, next| if next.1 > best.1 { next } else { best })
                .filter(|&(_, d)| d > INNER_FRAC * self.reach_m && d.is_finite());
            let Some((middle, length_m)) = farthest else {
                return;
            };
            gaps.push(Gap {
                on: Where::Inside,
                at: middle,
                length_m,
            });
            let spot = self.boundary_spot(middle);
            let at = spot.map_or(middle, |spot| {
                self.boundaries[spot.ring].path.at(spot.way_m)
            });
            let role = if spot.is_some() {
                Role::Edge
            } else {
                Role::Interior
            };
            self.places.push(at);
            self.spots.push(spot);
            added.push(Addition { at, role, spot });
            for (place, nearest_m) in &mut turf {
                *nearest_m = nearest_m.min(place.distance(at));
            }
            // What the new head leaves where it was put for is left as it is.
            turf.retain(|&(place, _)| place != middle);
        }
    }

    fn is_clear_of_trunks(&self, at: Point) -> bool {
        let clearance_m = self.site.rules.trunk_clearance_m;
        let mut trunks = self.site.around.trunks.iter();
        trunks.all(|trunk| trunk.signed_distance_m(at) <= -clearance_m)
    }

    /// The spot on the boundary next to a place, if it is near and has turf behind it. Rings
    /// around a tree have no heads.
    fn boundary_spot(&self, place: Point) -> Option<Spot> {
        let (d, spot) = self
            .boundaries
            .iter()
            .enumerate()
            .filter(|(ring, boundary)| {
                *ring == 0 || boundary.path.total_m() >= RING_FRAC * self.reach_m
            })
            .map(|(ring, boundary)| {
                let way_m = boundary.path.nearest_way_m(place);
                let d = boundary.path.at(way_m).distance(place);
                (d, fixed_spot(ring, way_m, false))
            })
            .min_by(|a, b| a.0.total_cmp(&b.0))?;
        let path = &self.boundaries[spot.ring].path;
        let near = d < TO_BOUNDARY_FRAC * self.reach_m;
        (near && !ring::is_on_sliver(self.site.outline, path, spot.way_m)).then_some(spot)
    }
}

/// A square net of places over the box of an outline.
fn net(outline: &Outline, net_m: f64) -> impl Iterator<Item = Point> + use<> {
    let (low, high) = outline.bounds();
    let cols = ((high.x - low.x) / net_m).ceil() as usize;
    let rows = ((high.y - low.y) / net_m).ceil() as usize;
    (0..rows).flat_map(move |row| {
        (0..cols).map(move |col| low + Point::new(col as f64 + 0.5, row as f64 + 0.5) * net_m)
    })
}
