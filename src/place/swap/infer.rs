//! What an existing head was meant to do, read off where it stands.
//!
//! A head near the boundary stands on it: at a corner its arc is the interior angle, along an edge
//! the half circle that the edge leaves; any other head waters a full circle. Its throw reaches its
//! neighbours. Values that a survey gives win over these.

use super::super::ring::{self, Boundary, Spot};
use super::super::{Setter, Site};
use crate::catalogue::Family;
use crate::shape::{Outline, Point};
use crate::site::{Condition, ExistingHead};

/// A head this near to a corner is the corner's, as a share of the usual spacing.
const CORNER_FRAC: f64 = 0.35;
/// A head on the boundary is nearer to it than this share of the usual spacing.
const BOUNDARY_FRAC: f64 = 0.45;
/// A ring inside the turf that is shorter than this share of the usual spacing (a trunk, a post)
/// has no heads of its own.
const RING_FRAC: f64 = 2.0;
/// How far along the boundary a head looks to read its arc, as a share of the spacing: at a corner
/// and along an edge.
const LOOK_FRAC: (f64, f64) = (0.3, 0.45);
/// Share of the way to the next corner that a head on an edge looks, and the least way \[m\].
const TO_CORNER: (f64, f64) = (0.6, 0.3);
/// Bounds of the usual spacing \[m\].
const SPACING_M: (f64, f64) = (1.0, 10.0);
/// Neighbours that an inner head is measured by.
const INNER_NEIGHBOURS: usize = 4;
/// A gap may be this much longer than a throw and still be bridged.
const BRIDGED_FRAC: f64 = 1.05;

/// An existing head in the parcel's frame.
#[derive(Debug, Clone, Copy)]
pub struct Found<'a> {
    /// Where it stands.
    pub at: Point,
    /// What the layer says of it.
    pub head: &'a ExistingHead,
}

/// What the layer does not say of a head.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Missing {
    /// Its family.
    pub family: bool,
    /// Its throw.
    pub throw: bool,
    /// Its arc.
    pub arc: bool,
    /// Where its arc starts.
    pub aim: bool,
}

impl Missing {
    /// Whether anything is missing.
    #[must_use]
    pub fn any(self) -> bool {
        self.family || self.throw || self.arc || self.aim
    }
}

/// An existing head as it was put in: sound, and set as found.
#[derive(Debug, Clone, PartialEq)]
pub struct Installed {
    /// Where it stands.
    pub at: Point,
    /// Index of its family among those given.
    pub family: usize,
    /// Throw \[m\], whole centimetres.
    pub radius_m: f64,
    /// Start of its arc \[degrees\], whole.
    pub start_deg: f64,
    /// Sweep of its arc \[degrees\], whole.
    pub sweep_deg: f64,
    /// Flow at its pressure \[L/min\].
    pub flow_lpm: f64,
    /// Pressure at the head \[kPa\].
    pub pressure_kpa: f64,
    /// Its condition; `None` when nobody looked.
    pub condition: Option<Condition>,
    /// What had to be inferred.
    pub missing: Missing,
    pub(super) stand: Stand,
}

/// Where a head stands, and what that asks of it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Stand {
    /// Its place on the boundary; `None` inside.
    pub(super) spot: Option<Spot>,
    /// The angle that the turf opens to \[degrees\]; 360 inside.
    pub(super) inside_deg: f64,
    /// The bearing of its middle; inside, away from the nearest boundary \[degrees\].
    middle_deg: f64,
    /// Distances to its two neighbours on the boundary; infinite where it has none \[m\].
    beside_m: [f64; 2],
    /// Distances to the nearest heads, rising \[m\].
    near_m: Vec<f64>,
}

impl Stand {
    /// The throw that reaches its neighbours \[m\], those beyond a family's longest left out;
    /// `None` when there is no other head.
    pub(super) fn need_m(&self, longest_m: f64) -> Option<f64> {
        let most_m = BRIDGED_FRAC * longest_m;
        let beside_m = self
            .beside_m
            .into_iter()
            .filter(|&d| d <= most_m)
            .fold(0.0, f64::max);
        if self.spot.is_some() && beside_m > 0.0 {
            return Some(beside_m);
        }
        self.near_m.get(self.near_m.len() / 2).copied()
    }

    /// Start and sweep that the boundary gives it \[degrees\].
    pub(super) fn natural(&self, setter: &Setter) -> (f64, f64) {
        let sweep_deg = setter.nearest_sweep_deg(self.inside_deg);
        (self.start_deg(sweep_deg), sweep_deg)
    }

    /// The start of an arc of this sweep about the middle of the opening, whole degrees.
    fn start_deg(&self, sweep_deg: f64) -> f64 {
        if sweep_deg >= 360.0 {
            0.0
        } else {
            (self.middle_deg - sweep_deg / 2.0)
                .round()
                .rem_euclid(360.0)
        }
    }
}

/// Half of the distances between nearest neighbours are shorter \[m\]; `None` with less than two
/// heads.
#[must_use]
pub fn usual_spacing_m(places: &[Point]) -> Option<f64> {
    let mut nearest: Vec<f64> = (0..places.len())
        .map(|i| nearest_m(places, i, 1).first().copied())
        .collect::<Option<_>>()?;
    nearest.sort_by(f64::total_cmp);
    nearest.get(nearest.len() / 2).copied()
}

/// Distances from one place to the nearest others, rising \[m\].
fn nearest_m(places: &[Point], i: usize, count: usize) -> Vec<f64> {
    let mut distances: Vec<f64> = places
        .iter()
        .enumerate()
        .filter(|&(j, _)| j != i)
        .map(|(_, place)| place.distance(places[i]))
        .collect();
    distances.sort_by(f64::total_cmp);
    distances.truncate(count);
    distances
}

/// How the boundary of a lawn reads for heads at these places: what is near and far depends on how
/// far apart they stand.
pub(super) fn boundaries_for(site: &Site, places: &[Point]) -> (Vec<Boundary>, f64) {
    let spacing_m = usual_spacing_m(places)
        .unwrap_or(site.diameter_m)
        .clamp(SPACING_M.0, SPACING_M.1);
    (ring::read_boundaries(site.outline, spacing_m), spacing_m)
}

/// Reads where each head stands.
fn stands(site: &Site, places: &[Point], on_boundary_m: f64) -> Vec<Stand> {
    let (boundaries, spacing_m) = boundaries_for(site, places);
    let within_m = on_boundary_m.min(BOUNDARY_FRAC * spacing_m);
    let mut spots: Vec<Option<Spot>> = places
        .iter()
        .map(|&place| edge_spot(&boundaries, place, within_m, RING_FRAC * spacing_m))
        .collect();
    take_corners(&boundaries, places, &mut spots, CORNER_FRAC * spacing_m);
    let mut stands: Vec<Stand> = places
        .iter()
        .zip(&spots)
        .enumerate()
        .map(|(i, (&place, &spot))| {
            let (inside_deg, middle_deg) = match spot {
                Some(spot) => opening(&boundaries[spot.ring], spot, spacing_m),
                None => (360.0, inward_deg(site.outline, place)),
            };
            Stand {
                spot,
                inside_deg,
                middle_deg,
                beside_m: [f64::INFINITY; 2],
                near_m: nearest_m(places, i, INNER_NEIGHBOURS),
            }
        })
        .collect();
    for ring in 0..boundaries.len() {
        let around = around_ring(&spots, ring);
        for (k, &(_, i)) in around.iter().enumerate() {
            let n = around.len();
            let neighbours = [around[(k + 1) % n].1, around[(k + n - 1) % n].1];
            for (slot, j) in neighbours.into_iter().enumerate() {
                if j != i {
                    stands[i].beside_m[slot] = places[i].distance(places[j]);
                }
            }
        }
    }
    stands
}

/// The heads on one ring in the order of their ways: way \[m\] and index.
pub(super) fn around_ring(spots: &[Option<Spot>], ring: usize) -> Vec<(f64, usize)> {
    let mut around: Vec<(f64, usize)> = spots
        .iter()
        .enumerate()
        .filter_map(|(i, spot)| spot.filter(|s| s.ring == ring).map(|s| (s.way_m, i)))
        .collect();
    around.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    around
}

/// The place on the boundary of a head near it, as if it were on an edge. Rings shorter than
/// `least_ring_m` (a trunk, a post) have no heads of their own.
fn edge_spot(
    boundaries: &[Boundary],
    place: Point,
    within_m: f64,
    least_ring_m: f64,
) -> Option<Spot> {
    let mut nearest: Option<(f64, Spot)> = None;
    for (ring, boundary) in boundaries.iter().enumerate() {
        if ring > 0 && boundary.path.total_m() < least_ring_m {
            continue;
        }
        let way_m = boundary.path.nearest_way_m(place);
        let d = boundary.path.at(way_m).distance(place);
        if d <= within_m && nearest.is_none_or(|(least, _)| d < least) {
            nearest = Some((d, fixed_spot(ring, way_m, false)));
        }
    }
    nearest.map(|(_, spot)| spot)
}

/// A spot whose head does not slide. Which run an edge belongs to plays no part for it.
pub(super) fn fixed_spot(ring: usize, way_m: f64, is_corner: bool) -> Spot {
    Spot {
        ring,
        way_m,
        play_m: 0.0,
        even_m: way_m,
        run: (!is_corner).then_some(0),
    }
}

/// Gives each corner the head nearest to it, if one is near enough.
fn take_corners(
    boundaries: &[Boundary],
    places: &[Point],
    spots: &mut [Option<Spot>],
    within_m: f64,
) {
    for (ring, boundary) in boundaries.iter().enumerate() {
        for &way_m in &boundary.corners_m {
            let corner = boundary.path.at(way_m);
            let head = spots
                .iter()
                .enumerate()
                .filter(|(_, spot)| spot.is_some_and(|s| s.ring == ring && s.run.is_some()))
                .map(|(i, _)| (places[i].distance(corner), i))
                .filter(|&(d, _)| d <= within_m)
                .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            if let Some((_, i)) = head {
                spots[i] = Some(fixed_spot(ring, way_m, true));
            }
        }
    }
}

/// The angle that the turf opens to at a spot, and the bearing of its middle \[degrees\].
fn opening(boundary: &Boundary, spot: Spot, spacing_m: f64) -> (f64, f64) {
    let total_m = boundary.path.total_m();
    let reach_m = if spot.run.is_none() {
        LOOK_FRAC.0 * spacing_m
    } else {
        // An edge runs on to the next corner and no farther.
        let to_corner_m = boundary
            .corners_m
            .iter()
            .map(|corner_m| {
                let apart_m = (corner_m - spot.way_m).rem_euclid(total_m);
                apart_m.min(total_m - apart_m)
            })
            .fold(f64::INFINITY, f64::min);
        (LOOK_FRAC.1 * spacing_m).min((TO_CORNER.0 * to_corner_m).max(TO_CORNER.1))
    };
    let (inside_deg, onward_deg) = boundary
        .path
        .opening(spot.way_m, reach_m.min(total_m / 8.0));
    (inside_deg, onward_deg - inside_deg / 2.0)
}

/// The bearing from the nearest point of the boundary to a place on the turf \[degrees\].
fn inward_deg(outline: &Outline, place: Point) -> f64 {
    let mut nearest: Option<(f64, Point)> = None;
    for (a, b) in outline.edges() {
        let along = (b - a).unit();
        let way_m = (place - a).dot(along).clamp(0.0, a.distance(b));
        let foot = a + along * way_m;
        let d = foot.distance(place);
        if nearest.is_none_or(|(least, _)| d < least) {
            nearest = Some((d, foot));
        }
    }
    nearest.map_or(0.0, |(_, foot)| (place - foot).bearing_deg())
}

/// Reads what each head was meant to do. `otherwise` is the family of heads that do not name one
/// of the families; heads within `on_boundary_m` of the boundary stand on it.
#[must_use]
pub fn installed(
    site: &Site,
    found: &[Found],
    families: &[&Family],
    otherwise: usize,
    on_boundary_m: f64,
) -> Vec<Installed> {
    let places: Vec<Point> = found.iter().map(|one| one.at).collect();
    stands(site, &places, on_boundary_m)
        .into_iter()
        .zip(found)
        .map(|(stand, one)| {
            let named = one.head.family.as_ref().and_then(|name| {
                families
                    .iter()
                    .position(|f| f.name.eq_ignore_ascii_case(name))
            });
            let family = named.unwrap_or(otherwise);
            read(site, one, stand, family, families[family], named.is_none())
        })
        .collect()
}

fn read(
    site: &Site,
    one: &Found,
    stand: Stand,
    family: usize,
    kind: &Family,
    family_missing: bool,
) -> Installed {
    let head = one.head;
    let (shortest_m, longest_m) = (kind.shortest_m(), kind.longest_m());
    let throw_m = head.radius_m.unwrap_or_else(|| {
        // A head alone: across the lawn from its edge, half across from its middle.
        let alone_m = site.diameter_m * if stand.spot.is_some() { 1.0 } else { 0.5 };
        let need_m = stand.need_m(longest_m).unwrap_or(alone_m);
        need_m.clamp(shortest_m, longest_m)
    });
    let radius_m = (throw_m * 100.0).round().max(1.0) / 100.0;
    let setter = Setter { family: kind };
    let sweep_deg = match head.arc_deg {
        Some(arc_deg) => arc_deg.round().clamp(1.0, 360.0),
        None => setter.nearest_sweep_deg(stand.inside_deg),
    };
    let start_deg = match head.azimuth_deg {
        Some(azimuth_deg) if sweep_deg < 360.0 => azimuth_deg.round().rem_euclid(360.0),
        _ => stand.start_deg(sweep_deg),
    };
    let rated_kpa = kind.rated.kpa();
    let pressure_kpa = match (head.regulated, head.pressure_kpa) {
        (Some(true), _) | (_, None) => rated_kpa,
        (_, Some(kpa)) => kpa,
    };
    let flow_lpm = head.flow_lpm.unwrap_or_else(|| {
        let rated_lpm = kind
            .flow(kind.nozzle_for(radius_m), radius_m, sweep_deg)
            .lpm();
        rated_lpm * libm::pow(pressure_kpa / rated_kpa, kind.flow_exponent)
    });
    Installed {
        at: one.at,
        family,
        radius_m,
        start_deg,
        sweep_deg,
        flow_lpm,
        pressure_kpa,
        condition: head.condition,
        missing: Missing {
            family: family_missing,
            throw: head.radius_m.is_none(),
            arc: head.arc_deg.is_none(),
            aim: head.azimuth_deg.is_none() && sweep_deg < 360.0,
        },
        stand,
    }
}
