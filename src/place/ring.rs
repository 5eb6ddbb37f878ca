//! Reads a boundary as a designer does: where it really turns, and the smooth runs between.
//!
//! A digitised boundary turns a little at every vertex. What makes a corner is that the turn
//! happens at one place: seen over a short way on both sides it is sharp, and over a longer way
//! it is not much larger. A curve turns more the farther one looks, so it is one smooth edge.

use crate::shape::{Outline, Point, Ring, simplified};

/// Digitiser's noise \[m\].
const NOISE_M: f64 = 0.08;
/// Smallest turn of a corner \[degrees\].
const CORNER_DEG: f64 = 32.0;
/// A corner shows at least this share of its wide turn over the short way; a curve shows 0.4.
const SHARP_FRAC: f64 = 0.52;
/// Turns to the same side closer than this many short ways are one corner, rounded off.
const MERGE_WAYS: f64 = 2.2;
/// The long way, in short ways.
const WIDE_WAYS: f64 = 2.5;

/// One ring with the way along it measured.
#[derive(Debug, Clone)]
pub(super) struct Path {
    ring: Ring,
    /// Way from the first point to each point, and round \[m\].
    reached_m: Vec<f64>,
}

impl Path {
    fn of(ring: &Ring) -> Path {
        let mut reached_m = vec![0.0];
        for (i, &point) in ring.iter().enumerate() {
            reached_m.push(reached_m[i] + point.distance(ring[(i + 1) % ring.len()]));
        }
        Path {
            ring: ring.clone(),
            reached_m,
        }
    }

    /// Length of the ring \[m\].
    pub(super) fn total_m(&self) -> f64 {
        self.reached_m[self.ring.len()]
    }

    /// The point after some way along the ring; ways wrap round.
    pub(super) fn at(&self, way_m: f64) -> Point {
        let way_m = way_m.rem_euclid(self.total_m());
        let i = self
            .reached_m
            .partition_point(|&s| s <= way_m)
            .saturating_sub(1)
            .min(self.ring.len() - 1);
        let (a, b) = (self.ring[i], self.ring[(i + 1) % self.ring.len()]);
        a + (b - a).unit() * (way_m - self.reached_m[i])
    }

    /// The turn to the left at a place, between the chords to the points `reach_m` before and
    /// behind it \[degrees\].
    fn turn_deg(&self, way_m: f64, reach_m: f64) -> f64 {
        let here = self.at(way_m);
        let before = here - self.at(way_m - reach_m);
        let behind = self.at(way_m + reach_m) - here;
        libm::atan2(before.cross(behind), before.dot(behind)).to_degrees()
    }

    /// The way to the point of the ring nearest to a place \[m\].
    pub(super) fn nearest_way_m(&self, place: Point) -> f64 {
        let mut nearest = (f64::INFINITY, 0.0);
        for (i, &a) in self.ring.iter().enumerate() {
            let along = self.ring[(i + 1) % self.ring.len()] - a;
            let length = along.norm();
            let t_m = (place - a).dot(along.unit()).clamp(0.0, length);
            let d = place.distance(a + along.unit() * t_m);
            if d < nearest.0 {
                nearest = (d, self.reached_m[i] + t_m);
            }
        }
        nearest.1
    }

    /// The interior angle at a place and the bearing of the way on, both from chords of
    /// `reach_m` \[degrees\].
    pub(super) fn opening(&self, way_m: f64, reach_m: f64) -> (f64, f64) {
        let onward = self.at(way_m + reach_m) - self.at(way_m);
        (180.0 - self.turn_deg(way_m, reach_m), onward.bearing_deg())
    }
}

/// A ring read: its corners, as ways along it, in order.
#[derive(Debug, Clone)]
pub(super) struct Boundary {
    pub(super) path: Path,
    pub(super) corners_m: Vec<f64>,
}

/// Reads all rings of an outline; `throw_m` says what is near and far for the heads to come.
pub(super) fn read_boundaries(outline: &Outline, throw_m: f64) -> Vec<Boundary> {
    outline
        .rings()
        .iter()
        .map(|ring| read_boundary(ring, throw_m))
        .collect()
}

fn read_boundary(ring: &Ring, throw_m: f64) -> Boundary {
    let path = Path::of(ring);
    let total_m = path.total_m();
    let reach_m = (0.2 * throw_m).clamp(0.8, 1.5).min(total_m / 8.0);
    let plain = simplified(ring, NOISE_M);
    let mut found: Vec<(f64, f64)> = Vec::new();
    let mut next = 0;
    for (i, &point) in ring.iter().enumerate() {
        if next < plain.len() && plain[next] == point {
            next += 1;
            let way_m = path.reached_m[i];
            let turn = path.turn_deg(way_m, reach_m);
            let wide = path.turn_deg(way_m, (WIDE_WAYS * reach_m).min(total_m / 4.0));
            let sharp = turn.abs() >= SHARP_FRAC * wide.abs() || turn.signum() != wide.signum();
            if turn.abs() >= CORNER_DEG && sharp {
                found.push((way_m, turn));
            }
        }
    }
    // Of turns to the same side closer than the short way, the sharpest is the corner.
    let apart = |a: f64, b: f64| {
        let d = (a - b).abs();
        d.min(total_m - d)
    };
    let mut order: Vec<usize> = (0..found.len()).collect();
    order.sort_by(|&a, &b| {
        found[b]
            .1
            .abs()
            .total_cmp(&found[a].1.abs())
            .then(a.cmp(&b))
    });
    let mut kept: Vec<usize> = Vec::new();
    for i in order {
        let crowded = kept.iter().any(|&j| {
            found[i].1.signum() == found[j].1.signum()
                && apart(found[i].0, found[j].0) < MERGE_WAYS * reach_m
        });
        if !crowded {
            kept.push(i);
        }
    }
    kept.sort_unstable();
    Boundary {
        path,
        corners_m: kept.into_iter().map(|i| found[i].0).collect(),
    }
}

/// A place for a head on the boundary.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spot {
    /// Which ring, and the way along it \[m\].
    pub(super) ring: usize,
    pub(super) way_m: f64,
    /// How far the head may slide to either side of where equal gaps put it \[m\].
    pub(super) play_m: f64,
    /// Where equal gaps put it \[m\].
    pub(super) even_m: f64,
    /// The run that it belongs to; `None` at a corner.
    pub(super) run: Option<usize>,
}

/// A smooth stretch of boundary between two corners, or a whole ring without corners.
#[derive(Debug, Clone, Copy)]
pub(super) struct Run {
    pub(super) ring: usize,
    start_m: f64,
    end_m: f64,
    /// Length of its whole ring \[m\].
    ring_m: f64,
    is_closed: bool,
}

/// Share of a gap by which a head may leave its even place (common practice, no source).
const PLAY_FRAC: f64 = 0.05;
/// A head this near to a corner is the corner's \[m\].
const CORNER_M: f64 = 0.5;
/// Fewest heads on a ring without corners.
const FEWEST_ON_RING: usize = 3;

impl Run {
    /// Whether it is a whole ring.
    pub(super) fn is_closed(&self) -> bool {
        self.is_closed
    }

    /// The fewest equal gaps that are no longer than `gap_m`.
    pub(super) fn gaps(&self, gap_m: f64) -> usize {
        let gaps = ((self.end_m - self.start_m) / gap_m - 1e-9).ceil().max(1.0) as usize;
        if self.is_closed {
            gaps.max(FEWEST_ON_RING)
        } else {
            gaps
        }
    }

    /// Equal spots in a number of gaps; on a whole ring they begin at a share of a gap.
    pub(super) fn spots(&self, run: usize, gaps: usize, phase: f64) -> Vec<Spot> {
        let gap_m = (self.end_m - self.start_m) / gaps as f64;
        let (first, phase) = if self.is_closed { (0, phase) } else { (1, 0.0) };
        (first..gaps)
            .map(|k| {
                let way_m = self.start_m + gap_m * (k as f64 + phase);
                Spot {
                    ring: self.ring,
                    way_m,
                    play_m: PLAY_FRAC * gap_m,
                    even_m: way_m,
                    run: Some(run),
                }
            })
            .collect()
    }
}

/// The boundary of a lawn as a designer uses it: corners, and runs between them.
#[derive(Debug, Clone, Default)]
pub(super) struct Frontage {
    pub(super) corners: Vec<Spot>,
    pub(super) runs: Vec<Run>,
}

impl Frontage {
    /// The run of a ring that a way lies on; `None` within half a metre of a corner.
    pub(super) fn run_at(&self, ring: usize, way_m: f64) -> Option<usize> {
        self.runs.iter().position(|run| {
            let from_start_m = (way_m - run.start_m).rem_euclid(run.ring_m);
            run.ring == ring
                && (run.is_closed
                    || (from_start_m > CORNER_M
                        && from_start_m < run.end_m - run.start_m - CORNER_M))
        })
    }
}

/// Splits the rings into corners and runs. Corners closer than `merge_m` share a head, the sharper
/// ones first.
pub(super) fn frontage(boundaries: &[Boundary], merge_m: f64) -> Frontage {
    let mut frontage = Frontage {
        corners: Vec::new(),
        runs: Vec::new(),
    };
    for (ring, boundary) in boundaries.iter().enumerate() {
        let total_m = boundary.path.total_m();
        let corners = merged_corners(boundary, merge_m);
        if corners.is_empty() {
            frontage.runs.push(Run {
                ring,
                start_m: 0.0,
                end_m: total_m,
                ring_m: total_m,
                is_closed: true,
            });
        }
        for (k, &start_m) in corners.iter().enumerate() {
            let end_m = if k + 1 < corners.len() {
                corners[k + 1]
            } else {
                corners[0] + total_m
            };
            frontage.corners.push(Spot {
                ring,
                way_m: start_m,
                play_m: 0.0,
                even_m: start_m,
                run: None,
            });
            frontage.runs.push(Run {
                ring,
                start_m,
                end_m,
                ring_m: total_m,
                is_closed: false,
            });
        }
    }
    frontage
}

/// Half of the narrowest turf that a head is put on \[m\]: below 1.2 m there is no overhead water
/// (common practice, no source).
const HALF_NARROWEST_M: f64 = 0.58;
/// How deep from a post the turf must have that width \[m\]; a corner of 45° has it at 1.6 m.
const DEPTHS_M: [f64; 4] = [0.62, 0.9, 1.25, 1.6];

/// Whether the turf behind a post is a sliver too narrow for overhead water.
pub(super) fn is_on_sliver(outline: &Outline, path: &Path, way_m: f64) -> bool {
    let (inside_deg, onward_deg) = path.opening(way_m, 0.4_f64.min(path.total_m() / 8.0));
    let inward = Point::along_bearing(onward_deg - inside_deg / 2.0);
    let here = path.at(way_m);
    DEPTHS_M
        .iter()
        .all(|&depth_m| outline.signed_distance_m(here + inward * depth_m) < HALF_NARROWEST_M)
}

fn merged_corners(boundary: &Boundary, merge_m: f64) -> Vec<f64> {
    let path = &boundary.path;
    let turn = |way_m: f64| {
        path.turn_deg(way_m, 0.5_f64.min(path.total_m() / 8.0))
            .abs()
    };
    let mut order: Vec<usize> = (0..boundary.corners_m.len()).collect();
    let turns: Vec<f64> = boundary
        .corners_m
        .iter()
        .map(|&way_m| turn(way_m))
        .collect();
    order.sort_by(|&a, &b| turns[b].total_cmp(&turns[a]).then(a.cmp(&b)));
    let mut kept: Vec<usize> = Vec::new();
    for i in order {
        let here = path.at(boundary.corners_m[i]);
        if kept
            .iter()
            .all(|&j| path.at(boundary.corners_m[j]).distance(here) >= merge_m)
        {
            kept.push(i);
        }
    }
    kept.sort_unstable();
    kept.into_iter().map(|i| boundary.corners_m[i]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn corners(points: Vec<Point>) -> usize {
        let outline = Outline::new(points, vec![]).unwrap();
        read_boundaries(&outline, 4.0)[0].corners_m.len()
    }

    fn regular(n: usize, radius_m: f64) -> Vec<Point> {
        (0..n)
            .map(|i| {
                let angle = std::f64::consts::TAU * i as f64 / n as f64;
                Point::new(radius_m * libm::cos(angle), radius_m * libm::sin(angle))
            })
            .collect()
    }

    #[test]
    fn a_circle_of_thirty_sides_has_no_corner() {
        for radius_m in [3.0, 5.0, 8.0, 15.0] {
            assert_eq!(corners(regular(30, radius_m)), 0, "{radius_m}");
        }
    }

    #[test]
    fn real_corners_are_found() {
        let points = |list: &[(f64, f64)]| {
            list.iter()
                .map(|&(x, y)| Point::new(x, y))
                .collect::<Vec<_>>()
        };
        assert_eq!(
            corners(points(&[(0.0, 0.0), (12.0, 0.0), (12.0, 9.0), (0.0, 9.0)])),
            4
        );
        // An L, its reflex corner rounded with a radius of 1 m as a buffer would leave it.
        let mut bend = points(&[(0.0, 0.0), (14.0, 0.0), (14.0, 5.0)]);
        for k in 0..=8 {
            let angle = (270.0 - 90.0 * f64::from(k) / 8.0).to_radians();
            bend.push(Point::new(7.0 + libm::cos(angle), 6.0 + libm::sin(angle)));
        }
        bend.extend(points(&[(6.0, 12.0), (0.0, 12.0)]));
        assert_eq!(corners(bend), 6);
        assert_eq!(corners(regular(6, 6.0)), 6);
    }

    #[test]
    fn gaps_are_equal_along_a_run_and_never_too_wide() {
        let outline = Outline::new(
            [(0.0, 0.0), (20.0, 0.0), (20.0, 9.0), (0.0, 9.0)]
                .map(|(x, y)| Point::new(x, y))
                .to_vec(),
            vec![],
        )
        .unwrap();
        let frontage = frontage(&read_boundaries(&outline, 4.5), 1.0);
        assert_eq!(frontage.corners.len(), 4);
        // 20 m in gaps of at most 4.5 m: five of 4 m; 9 m: two (SCIENCE example 3A).
        let gaps: Vec<usize> = frontage.runs.iter().map(|run| run.gaps(4.5)).collect();
        assert_eq!(gaps, [5, 2, 5, 2]);
        let spots = frontage.runs[0].spots(0, 5, 0.0);
        assert_eq!(spots.len(), 4);
        assert!((spots[1].way_m - spots[0].way_m - 4.0).abs() < 1e-9);
    }
}
