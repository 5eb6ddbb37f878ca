//! Layouts to begin with.

use super::CROWDED_FRAC;
use super::draft::Free;
use super::lattice::{Lattice, Weave};
use super::refine::Lawn;
use super::ring::{self, Frontage};
use super::rule::longest_edges;
use crate::shape::{Outline, Point};

/// Interior heads of a start keep this share of the pitch from boundary heads.
const CLEAR_FRAC: f64 = 0.55;
/// Interior heads of a start keep this share of the pitch from the boundary.
const INSET_FRAC: f64 = 0.3;
/// Corners closer than these shares of the throw are one, tried in turn until the boundary alone
/// does not ask for more heads than are allowed.
const MERGES: [f64; 4] = [0.45, 0.6, 0.75, 0.9];
/// Gaps along the boundary, in throws, while they are within what is allowed.
const GAPS: [f64; 6] = [1.05, 1.2, 1.35, 1.5, 1.75, 2.2];
/// Where the heads of a whole ring begin, as shares of a gap.
const PHASES: [f64; 4] = [0.0, 0.5, 0.25, 0.75];
/// Pitches of the inner grid, in throws.
const PITCHES: [f64; 3] = [1.0, 1.04, 0.95];

/// Layouts to begin with: ways to take the boundary, with pitches, directions and offsets of the
/// inner grid in turn.
pub(super) fn starts(lawn: &Lawn, count: usize) -> Vec<(Vec<Free>, Frontage)> {
    let fronts = fronts(lawn);
    let directions = long_directions(lawn.outline);
    if fronts.is_empty() || directions.is_empty() {
        return Vec::new();
    }
    let most_stretched = (lawn.gap_frac / (GAPS[0] * lawn.spacing_frac)).sqrt();
    (0..count)
        .map(|k| {
            let (boundary, frontage) = &fronts[k % fronts.len()];
            let stretch = if k % 2 == 0 { 1.0 } else { most_stretched };
            let pitch_m = lawn.throw_m * lawn.spacing_frac * PITCHES[k % PITCHES.len()] * stretch;
            let (origin, along) = directions[(k / 2) % directions.len()];
            let across = Point::new(-along.y, along.x);
            // Offsets that leave rows and columns in place, and such that shift them by a half.
            let offset = [
                Point::default(),
                along * 0.5,
                across * 0.5,
                along * 0.25 + across * 0.25,
            ][(k / 3) % 4]
                * pitch_m;
            let weave = if k % 4 == 3 {
                Weave::Square
            } else {
                Weave::Triangular
            };
            let lattice = Lattice {
                origin: origin + offset,
                along,
                pitch_m,
                weave,
            };
            let mut heads = boundary.clone();
            add_inside(lawn, &lattice, &mut heads);
            (heads, frontage.clone())
        })
        .collect()
}

/// Ways to take the boundary: for every allowed gap the first merging of corners that leaves no
/// more heads than are allowed, on rings without corners from several beginnings.
fn fronts(lawn: &Lawn) -> Vec<(Vec<Free>, Frontage)> {
    let mut fronts: Vec<(Vec<Free>, Frontage)> = Vec::new();
    for gap_frac in GAPS
        .into_iter()
        .map(|gap| gap * lawn.spacing_frac)
        .filter(|&gap| gap <= lawn.gap_frac + 1e-9)
    {
        for merge in MERGES {
            let frontage = ring::frontage(&lawn.boundaries, merge * lawn.throw_m);
            let has_ring = frontage.runs.iter().any(ring::Run::is_closed);
            let phases = if has_ring { &PHASES[..] } else { &PHASES[..1] };
            let before = fronts.len();
            for &phase in phases {
                let heads = boundary_heads(lawn, &frontage, gap_frac * lawn.throw_m, phase);
                if heads.len() <= lawn.most {
                    fronts.push((heads, frontage.clone()));
                }
            }
            if fronts.len() > before {
                break;
            }
        }
    }
    fronts
}

/// Heads at all corners and along all runs; slivers and crowded places get none.
fn boundary_heads(lawn: &Lawn, frontage: &Frontage, gap_m: f64, phase: f64) -> Vec<Free> {
    let along_runs = frontage
        .runs
        .iter()
        .enumerate()
        .flat_map(|(run, stretch)| stretch.spots(run, stretch.gaps(gap_m), phase));
    let mut heads: Vec<Free> = Vec::new();
    for spot in frontage.corners.iter().copied().chain(along_runs) {
        let boundary = &lawn.boundaries[spot.ring];
        let at = boundary.path.at(spot.way_m);
        let crowded = heads
            .iter()
            .any(|head| head.sector.at.distance(at) < CROWDED_FRAC * lawn.throw_m);
        if !crowded && !ring::is_on_sliver(lawn.outline, &boundary.path, spot.way_m) {
            heads.extend(
                lawn.throws
                    .at_spot(spot, boundary, &lawn.footing, lawn.throw_m),
            );
        }
    }
    heads
}

/// Adds a lattice's points that keep clear of the boundary and of the heads on it.
fn add_inside(lawn: &Lawn, lattice: &Lattice, heads: &mut Vec<Free>) {
    let on_boundary = heads.len();
    for at in lattice.points(lawn.outline) {
        let is_clear = heads[..on_boundary]
            .iter()
            .all(|head| head.sector.at.distance(at) >= CLEAR_FRAC * lattice.pitch_m);
        let is_clear = is_clear && lawn.is_open(at);
        if is_clear && lawn.outline.boundary_distance_m(at) >= INSET_FRAC * lattice.pitch_m {
            heads.push(lawn.throws.inside(at, lawn.throw_m));
        }
    }
}

/// Directions of the longest edges, with an end of each, at most three that differ.
fn long_directions(outline: &Outline) -> Vec<(Point, Point)> {
    let mut directions: Vec<(Point, Point)> = Vec::new();
    for (a, b) in longest_edges(outline.outer()) {
        let along = (b - a).unit();
        if directions
            .iter()
            .all(|(_, other)| other.cross(along).abs() > 0.17 && other.dot(along).abs() > 0.17)
        {
            directions.push((a, along));
        }
        if directions.len() == 3 {
            break;
        }
    }
    directions
}
