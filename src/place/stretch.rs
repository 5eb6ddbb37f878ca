//! Whether heads stand farther apart than their throws are made for.

use super::Head;
use crate::catalogue::Pattern;
use crate::rain::Grid;
use crate::shape::{Outline, Point};

/// Largest gap between neighbours on the boundary, in throws.
const BOUNDARY_FRAC: f64 = 1.05;
/// Largest gap inside, in throws.
const INNER_FRAC: f64 = 1.15;
/// A head nearer to the boundary than this share of its throw stands on it.
const ON_BOUNDARY_FRAC: f64 = 0.15;
/// Places nearer to the boundary than this are left out \[m\]: the two sides of a sliver too narrow
/// for overhead water (common practice, no source).
const MARGIN_M: f64 = 0.6;
/// Places looked at, about this many to a lawn.
const PLACES: f64 = 2_000.0;

/// Whether a layout is stretched: a boundary gap passes 1.05 throws or an inner gap 1.15.
///
/// - A boundary gap is the distance between one head on the boundary and the next along it, in
///   throws of the shorter of the two; where no place on the stretch between them lies half a
///   throw from the nearest head, as around a neck or a sliver, it is none.
/// - The inner gap at a place is √2 times its distance to the nearest head in throws of that head:
///   the spacing of the square grid whose middles are as far from their heads. Head-to-head squares
///   have 1, head-to-head triangles 0.82. Places within 0.6 m of the boundary are left out.
///
/// Strips and heads without a sector are left out of both.
#[must_use]
pub fn is_stretched(outline: &Outline, heads: &[Head]) -> bool {
    let sectors: Vec<(Point, f64)> = heads
        .iter()
        .filter_map(|head| match head.pattern {
            Pattern::Sector { radius_m, .. } => Some((head.at, radius_m)),
            Pattern::Strip { .. } => None,
        })
        .collect();
    if sectors.is_empty() || sectors.len() < heads.len() {
        return false;
    }
    has_wide_boundary(outline, &sectors) || has_wide_inside(outline, &sectors)
}

/// The distance to the nearest head, in throws of that head.
fn nearest_frac(sectors: &[(Point, f64)], place: Point) -> f64 {
    sectors
        .iter()
        .map(|&(at, radius_m)| at.distance(place) / radius_m)
        .fold(f64::INFINITY, f64::min)
}

fn has_wide_boundary(outline: &Outline, sectors: &[(Point, f64)]) -> bool {
    let mut ways: Vec<(usize, f64, usize)> = sectors
        .iter()
        .enumerate()
        .filter_map(|(i, &(at, radius_m))| {
            let (off_m, ring, way_m) = way_on(outline, at);
            (off_m <= ON_BOUNDARY_FRAC * radius_m).then_some((ring, way_m, i))
        })
        .collect();
    ways.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).then(a.2.cmp(&b.2)));
    ways.chunk_by(|a, b| a.0 == b.0).any(|around| {
        (0..around.len()).any(|k| {
            let (ring, from_m, i) = around[k];
            let (_, to_m, j) = around[(k + 1) % around.len()];
            let gap_m = sectors[i].0.distance(sectors[j].0);
            let least_m = sectors[i].1.min(sectors[j].1);
            gap_m > BOUNDARY_FRAC * least_m
                && is_bare_between(outline, ring, (from_m, to_m), sectors)
        })
    })
}

/// Whether a place on a stretch of a ring lies more than half a throw from the nearest head.
fn is_bare_between(
    outline: &Outline,
    ring: usize,
    (from_m, to_m): (f64, f64),
    sectors: &[(Point, f64)],
) -> bool {
    let mut way_m = 0.0;
    let ring = &outline.rings()[ring];
    (0..ring.len()).any(|k| {
        let (a, b) = (ring[k], ring[(k + 1) % ring.len()]);
        let length_m = a.distance(b);
        let steps = (length_m / 0.1).ceil().clamp(1.0, 4_000.0) as usize;
        let is_bare = (0..steps).any(|step| {
            let along_m = length_m * (step as f64 + 0.5) / steps as f64;
            let here_m = way_m + along_m;
            let is_between = if from_m < to_m {
                from_m < here_m && here_m < to_m
            } else {
                here_m > from_m || here_m < to_m
            };
            is_between && nearest_frac(sectors, a + (b - a).unit() * along_m) > 0.5
        });
        way_m += length_m;
        is_bare
    })
}

/// Distance from the boundary, the ring, and the way along it to the nearest point.
fn way_on(outline: &Outline, place: Point) -> (f64, usize, f64) {
    let mut nearest = (f64::INFINITY, 0, 0.0);
    for (ring, points) in outline.rings().iter().enumerate() {
        let mut way_m = 0.0;
        for (k, &a) in points.iter().enumerate() {
            let along = points[(k + 1) % points.len()] - a;
            let t_m = (place - a).dot(along.unit()).clamp(0.0, along.norm());
            let off_m = place.distance(a + along.unit() * t_m);
            if off_m < nearest.0 {
                nearest = (off_m, ring, way_m + t_m);
            }
            way_m += along.norm();
        }
    }
    nearest
}

fn has_wide_inside(outline: &Outline, sectors: &[(Point, f64)]) -> bool {
    let cell_m = (outline.area_m2() / PLACES).sqrt().max(0.1);
    let grid = Grid::over(outline, cell_m, 0.0);
    let (cols, rows) = grid.size();
    (0..rows).any(|row| {
        (0..cols).any(|col| {
            let place = grid.centre(col, row);
            grid.is_turf(col, row)
                && nearest_frac(sectors, place) * std::f64::consts::SQRT_2 > INNER_FRAC
                && outline.boundary_distance_m(place) >= MARGIN_M
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Role;
    use crate::units::Flow;

    /// Full circles on a square of 10 m in a net of some columns and rows.
    fn net(count: usize, throw_m: f64) -> bool {
        let side_m = 10.0;
        let corners = [(0.0, 0.0), (side_m, 0.0), (side_m, side_m), (0.0, side_m)];
        let square = corners.map(|(x, y)| Point::new(x, y)).to_vec();
        let outline = Outline::new(square, vec![]).unwrap();
        let gap_m = side_m / (count - 1) as f64;
        let heads: Vec<Head> = (0..count * count)
            .map(|k| Head {
                at: Point::new((k % count) as f64, (k / count) as f64) * gap_m,
                role: Role::Edge,
                pattern: Pattern::Sector {
                    radius_m: throw_m,
                    start_deg: 0.0,
                    sweep_deg: 360.0,
                },
                nozzle: 0,
                flow: Flow::from_lpm(1.0).unwrap(),
            })
            .collect();
        is_stretched(&outline, &heads)
    }

    #[test]
    fn squares_are_stretched_when_their_side_passes_the_throw() {
        // Gaps of 5 m: on the boundary 1.05 throws are 5 m at 4.762 m.
        assert!(!net(3, 5.0));
        assert!(!net(3, 4.77));
        assert!(net(3, 4.75));
        assert!(!net(2, 9.6));
        assert!(net(2, 9.5));
    }

    #[test]
    fn a_bare_middle_is_an_inner_gap() {
        let corners = [(0.0, 0.0), (12.0, 0.0), (12.0, 12.0), (0.0, 12.0)];
        let square = corners.map(|(x, y)| Point::new(x, y)).to_vec();
        let outline = Outline::new(square, vec![]).unwrap();
        let at = |throw_m: f64, places: &[(f64, f64)]| {
            let heads: Vec<Head> = places
                .iter()
                .map(|&(x, y)| Head {
                    at: Point::new(x, y),
                    role: Role::Edge,
                    pattern: Pattern::Sector {
                        radius_m: throw_m,
                        start_deg: 0.0,
                        sweep_deg: 180.0,
                    },
                    nozzle: 0,
                    flow: Flow::from_lpm(1.0).unwrap(),
                })
                .collect();
            is_stretched(&outline, &heads)
        };
        let ring = [
            (0.0, 0.0),
            (4.0, 0.0),
            (8.0, 0.0),
            (12.0, 0.0),
            (12.0, 4.0),
            (12.0, 8.0),
            (12.0, 12.0),
            (8.0, 12.0),
            (4.0, 12.0),
            (0.0, 12.0),
            (0.0, 8.0),
            (0.0, 4.0),
        ];
        // The middle is √40 = 6.32 m from the nearest head: 1.15 throws at 7.78 m.
        assert!(at(7.5, &ring));
        assert!(!at(8.1, &ring));
        assert!(at(4.0, &ring));
    }
}
