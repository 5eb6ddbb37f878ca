//! Makes polygons valid, in a local metric plane, and says by how much that changed them.
//!
//! A valid polygon keeps every coordinate; only the direction of its rings may change.

use geo::algorithm::bool_ops::FillRule;
use geo::orient::Direction;
use geo::{Area, BooleanOps, Coord, Euclidean, Length, LineString, MultiPolygon, Orient, Polygon};

use super::feature::bounds;
use super::plane::Plane;
use super::validity::{Verdict, judge, meetings_exceed};
use crate::issue::{Code, Issue};
use crate::site::LonLatPolygon;

/// Most vertices and holes of one polygon.
const MOST_VERTICES: usize = 200_000;
const MOST_HOLES: usize = 5_000;
/// Most places in which sides of a polygon that is repaired may meet. The overlay splits the sides at
/// each; at this number it takes well under a second, at 500,000 it took 20.
const MAX_MEETINGS: usize = 20_000;
/// Less area than this is nothing to water [m²].
const LEAST_AREA_M2: f64 = 0.01;
/// A polygon with 4 · area / perimeter below this vanishes when shrunk by 2 cm [m].
const LEAST_WIDTH_M: f64 = 0.04;
/// A repair may change the area by this fraction.
const MOST_CHANGE_FRAC: f64 = 0.01;
/// Polygons up to this number are compared pair by pair, to see whether their boxes are apart.
const MAX_PAIRED: usize = 500;
/// A corner of the overlay this close to a corner as drawn is that corner [m], and the same as a
/// fraction of the extent, which is what the overlay's grid resolves.
const SAME_CORNER_M: f64 = 1e-6;
const SAME_CORNER_FRAC: f64 = 4e-9;

/// A polygon after repair.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Repaired {
    /// Valid polygons, outer rings counter-clockwise; more than one if the drawing fell apart.
    pub parts: Vec<LonLatPolygon>,
    /// (area after − area as drawn) / area as drawn; 0 if nothing was repaired.
    pub area_frac: f64,
    /// `GE04` if something was.
    pub notes: Vec<Issue>,
}

/// Repairs a polygon of finite coordinates and closed rings. The area as drawn is
/// |shell| − Σ |holes|, by signed ring areas.
///
/// # Errors
/// `GE05` if the area would change by more than 1 %, `GE07` for slivers, `GE08` for polygons
/// beyond the limits.
pub(super) fn repair(polygon: &LonLatPolygon) -> Result<Repaired, Issue> {
    check_limits(polygon)?;
    let plane = Plane::about(polygon);
    let drawn = plane.to_metres(polygon);
    let drawn_m2 = drawn_area_m2(&drawn);
    let verdict = judge(polygon);
    if verdict == Verdict::Valid {
        return as_drawn(polygon, &drawn);
    }
    if meetings_exceed(polygon, MAX_MEETINGS) {
        let found = format!("more than {MAX_MEETINGS} places");
        return Err(Issue::new(Code::GE14, found));
    }
    let overlaid = overlay(&drawn);
    if verdict == Verdict::Touching && overlaid.0.len() == 1 {
        let change_m2 = (overlaid.unsigned_area() - drawn_m2).abs();
        if change_m2 <= 1e-6 + 1e-8 * drawn_m2 {
            return as_drawn(polygon, &drawn);
        }
    }
    let after_m2 = overlaid.unsigned_area();
    if after_m2 < LEAST_AREA_M2 {
        return Err(sliver(after_m2, 0.0));
    }
    let area_frac = if drawn_m2 > 0.0 {
        (after_m2 - drawn_m2) / drawn_m2
    } else {
        f64::INFINITY
    };
    let found = format!("{drawn_m2:.2} m2 as drawn, {after_m2:.2} m2 after");
    if area_frac.abs() > MOST_CHANGE_FRAC {
        return Err(Issue::new(Code::GE05, found));
    }
    let mut parts: Vec<Polygon<f64>> = overlaid
        .0
        .into_iter()
        .filter(|part| check_width(part).is_ok())
        .collect();
    if parts.is_empty() {
        return Err(sliver(after_m2, 0.0));
    }
    // The overlay's order is its own; the order of the result is the order on the ground.
    parts.sort_by(|a, b| {
        lowest(a)
            .0
            .total_cmp(&lowest(b).0)
            .then(lowest(a).1.total_cmp(&lowest(b).1))
    });
    let corners = Corners::new(polygon, plane);
    let parts: Vec<LonLatPolygon> = parts.iter().map(|part| corners.to_degrees(part)).collect();
    // Rounding to degrees can bring back the touch that was mended.
    if parts.iter().any(|part| judge(part) == Verdict::Invalid) {
        return Err(Issue::new(
            Code::GE05,
            format!("{found}, and it still crosses itself"),
        ));
    }
    Ok(Repaired {
        parts,
        area_frac,
        notes: vec![Issue::new(Code::GE04, found)],
    })
}

fn check_limits(polygon: &LonLatPolygon) -> Result<(), Issue> {
    let holes = polygon.interiors().len();
    let vertices = polygon.exterior().0.len()
        + polygon
            .interiors()
            .iter()
            .map(|hole| hole.0.len())
            .sum::<usize>();
    if vertices > MOST_VERTICES || holes > MOST_HOLES {
        let found = format!(
            "{vertices} vertices and {holes} holes, {MOST_VERTICES} and {MOST_HOLES} are allowed"
        );
        return Err(Issue::new(Code::GE08, found));
    }
    Ok(())
}

fn as_drawn(polygon: &LonLatPolygon, drawn: &Polygon<f64>) -> Result<Repaired, Issue> {
    check_width(drawn)?;
    let parts = vec![polygon.orient(Direction::Default)];
    Ok(Repaired {
        parts,
        area_frac: 0.0,
        notes: Vec::new(),
    })
}

fn check_width(polygon: &Polygon<f64>) -> Result<(), Issue> {
    let area_m2 = polygon.unsigned_area();
    let rings = std::iter::once(polygon.exterior()).chain(polygon.interiors());
    let perimeter_m: f64 = rings.map(|ring| Euclidean.length(ring)).sum();
    let width_m = if perimeter_m > 0.0 {
        4.0 * area_m2 / perimeter_m
    } else {
        0.0
    };
    if area_m2 < LEAST_AREA_M2 || width_m < LEAST_WIDTH_M {
        return Err(sliver(area_m2, width_m));
    }
    Ok(())
}

fn sliver(area_m2: f64, width_m: f64) -> Issue {
    let found = format!(
        "{area_m2:.4} m2, {width_m:.3} m wide; {LEAST_AREA_M2} m2 and {LEAST_WIDTH_M} m are the least"
    );
    Issue::new(Code::GE07, found)
}

fn drawn_area_m2(polygon: &Polygon<f64>) -> f64 {
    let ring_m2 = |ring: &LineString<f64>| Polygon::new(ring.clone(), vec![]).unsigned_area();
    let holes_m2: f64 = polygon.interiors().iter().map(ring_m2).sum();
    ring_m2(polygon.exterior()) - holes_m2
}

/// Everything that the shell winds around, less everything that a hole winds around.
fn overlay(polygon: &Polygon<f64>) -> MultiPolygon<f64> {
    let wound = |rings: Vec<&LineString<f64>>| {
        let alone =
            |ring: &LineString<f64>| Polygon::new(ring.clone(), vec![]).orient(Direction::Default);
        let rings = MultiPolygon(rings.into_iter().map(alone).collect());
        rings.union_with_fill_rule(&MultiPolygon(vec![]), FillRule::NonZero)
    };
    let shell = wound(vec![polygon.exterior()]);
    if polygon.interiors().is_empty() {
        return shell;
    }
    shell.difference(&wound(polygon.interiors().iter().collect()))
}

/// The union of polygons that may lie on one another, such as the units of a condominium: every place
/// counts once. Polygons whose boxes are apart stay as they are. The order is by the lowest corner.
pub(super) fn united(polygons: &[LonLatPolygon]) -> Vec<LonLatPolygon> {
    let Some(first) = polygons.first() else {
        return Vec::new();
    };
    let boxes: Vec<[f64; 4]> = polygons.iter().map(bounds).collect();
    let meet =
        |a: &[f64; 4], b: &[f64; 4]| a[0] <= b[2] && b[0] <= a[2] && a[1] <= b[3] && b[1] <= a[3];
    let apart = boxes.len() <= MAX_PAIRED
        && boxes
            .iter()
            .enumerate()
            .all(|(at, one)| boxes[..at].iter().all(|other| !meet(one, other)));
    if apart {
        return polygons.to_vec();
    }
    let plane = Plane::about(first);
    let flat: Vec<Polygon<f64>> = polygons
        .iter()
        .map(|polygon| plane.to_metres(polygon).orient(Direction::Default))
        .collect();
    let nothing = MultiPolygon(Vec::new());
    let mut whole = MultiPolygon(flat)
        .union_with_fill_rule(&nothing, FillRule::NonZero)
        .0;
    whole.sort_by(|a, b| {
        lowest(a)
            .0
            .total_cmp(&lowest(b).0)
            .then(lowest(a).1.total_cmp(&lowest(b).1))
    });
    let others = polygons.iter().skip(1).flat_map(|polygon| {
        std::iter::once(polygon.exterior().clone()).chain(polygon.interiors().iter().cloned())
    });
    let rings = first.interiors().iter().cloned().chain(others).collect();
    let corners = Corners::new(&Polygon::new(first.exterior().clone(), rings), plane);
    whole.iter().map(|part| corners.to_degrees(part)).collect()
}

fn lowest(polygon: &Polygon<f64>) -> (f64, f64) {
    polygon
        .exterior()
        .coords()
        .map(|at| (at.y, at.x))
        .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)))
        .unwrap_or_default()
}

/// The corners as drawn, by which the overlay's corners become degrees again without a change.
struct Corners {
    plane: Plane,
    /// Sorted by metres east.
    drawn: Vec<(Coord<f64>, Coord<f64>)>,
    near_m: f64,
}

impl Corners {
    fn new(polygon: &LonLatPolygon, plane: Plane) -> Corners {
        let rings = std::iter::once(polygon.exterior()).chain(polygon.interiors());
        let mut drawn: Vec<_> = rings
            .flat_map(LineString::coords)
            .map(|&at| (plane.point_to_metres(at), at))
            .collect();
        drawn.sort_by(|a, b| a.0.x.total_cmp(&b.0.x).then(a.0.y.total_cmp(&b.0.y)));
        let extent_m = drawn.iter().fold(0.0_f64, |most, (at, _)| {
            most.max(at.x.abs()).max(at.y.abs())
        });
        Corners {
            plane,
            drawn,
            near_m: SAME_CORNER_M.max(extent_m * SAME_CORNER_FRAC),
        }
    }

    fn to_degrees(&self, polygon: &Polygon<f64>) -> LonLatPolygon {
        use geo::MapCoords;
        polygon.map_coords(|at| {
            self.drawn_near(at)
                .unwrap_or(self.plane.point_to_degrees(at))
        })
    }

    fn drawn_near(&self, at: Coord<f64>) -> Option<Coord<f64>> {
        let from = self
            .drawn
            .partition_point(|(drawn, _)| drawn.x < at.x - self.near_m);
        self.drawn[from..]
            .iter()
            .take_while(|(drawn, _)| drawn.x <= at.x + self.near_m)
            .find(|(drawn, _)| (drawn.y - at.y).abs() <= self.near_m)
            .map(|&(_, degrees)| degrees)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::MapCoords;

    /// A polygon given in metres about a place in Provence.
    fn on_the_ground(polygon: &Polygon<f64>) -> LonLatPolygon {
        let plane = Plane::at(5.06, 43.57);
        polygon.map_coords(|at| plane.point_to_degrees(at))
    }

    fn repaired(polygon: &Polygon<f64>) -> Result<Repaired, Code> {
        repair(&on_the_ground(polygon)).map_err(|issue| issue.code)
    }

    fn area_m2(repaired: &Repaired) -> f64 {
        super::super::plane::area_m2(&repaired.parts)
    }

    #[test]
    fn a_valid_polygon_keeps_every_coordinate() {
        let polygon = on_the_ground(&geo::wkt!(POLYGON(
            (0. 0., 13. 1., 12. 12., 12. 12., 0. 11., 0. 0.), (3. 3., 4. 3., 4. 4., 3. 3.),
            (4. 4., 5. 4., 5. 5., 4. 4.)
        )));
        let found = repair(&polygon).unwrap();
        assert_eq!(found.area_frac, 0.0);
        assert!(found.notes.is_empty());
        let points = |polygon: &LonLatPolygon| {
            let mut points: Vec<(u64, u64)> = std::iter::once(polygon.exterior())
                .chain(polygon.interiors())
                .flat_map(LineString::coords)
                .map(|at| (at.x.to_bits(), at.y.to_bits()))
                .collect();
            points.sort_unstable();
            points
        };
        assert_eq!(points(&found.parts[0]), points(&polygon));
    }

    #[test]
    fn spikes_and_repeats_go_and_the_area_stays() {
        let found = repaired(&geo::wkt!(POLYGON(
            (0. 0., 10. 0., 10. 0., 10. 10., 5. 10., 5. 16., 5. 10., 0. 10., 0. 0.)
        )))
        .unwrap();
        assert_eq!(found.parts.len(), 1);
        assert_eq!(found.notes[0].code, Code::GE04);
        assert!((area_m2(&found) - 100.0).abs() < 1e-3);
        assert!(found.area_frac.abs() < 1e-6);
    }

    #[test]
    fn a_small_crossing_is_mended_and_a_large_one_fails() {
        // A loop of 0.3 m² at a corner of 100 m².
        let small = repaired(&geo::wkt!(POLYGON(
            (0. 0., 10. 0., 10. 10., 0. 10., 0. 9., 0.5 10.5, 0. 10.5, 0. 0.)
        )));
        let small = small.unwrap();
        assert!(small.area_frac.abs() < 0.01 && small.area_frac != 0.0);
        // Lobes that cancel: the area as drawn is 0.
        let tie = geo::wkt!(POLYGON((0. 0., 10. 10., 10. 0., 0. 10., 0. 0.)));
        assert_eq!(repaired(&tie), Err(Code::GE05));
        let uneven = geo::wkt!(POLYGON((0. 0., 10. 10., 10. 0., 0. 4., 0. 0.)));
        assert_eq!(repaired(&uneven), Err(Code::GE05));
    }

    #[test]
    fn a_ring_that_touches_itself_falls_into_parts() {
        let found = repaired(&geo::wkt!(POLYGON(
            (0. 0., 10. 0., 5. 5., 10. 10., 0. 10., 5. 5., 0. 0.)
        )))
        .unwrap();
        assert_eq!(found.parts.len(), 2);
        assert!((area_m2(&found) - 50.0).abs() < 1e-3);
        // A hole across the whole width cuts the lawn in two.
        let found = repaired(&geo::wkt!(POLYGON(
            (0. 0., 10. 0., 10. 10., 0. 10., 0. 0.), (0. 5., 5. 4., 10. 5., 5. 6., 0. 5.)
        )))
        .unwrap();
        assert_eq!(found.parts.len(), 2);
        assert!((area_m2(&found) - 90.0).abs() < 1e-3);
    }

    #[test]
    fn holes_outside_go_if_they_are_small() {
        let small = repaired(&geo::wkt!(POLYGON(
            (0. 0., 10. 0., 10. 10., 0. 10., 0. 0.), (20. 0., 20.5 0., 20.5 0.5, 20. 0.)
        )))
        .unwrap();
        assert!(small.parts[0].interiors().is_empty());
        assert!((small.area_frac - 0.125 / 99.875).abs() < 1e-5);
        let large = geo::wkt!(POLYGON(
            (0. 0., 10. 0., 10. 10., 0. 10., 0. 0.), (20. 0., 22. 0., 22. 2., 20. 0.)
        ));
        assert_eq!(repaired(&large), Err(Code::GE05));
        let equal = geo::wkt!(POLYGON(
            (0. 0., 10. 0., 10. 10., 0. 0.), (0. 0., 10. 0., 10. 10., 0. 0.)
        ));
        assert_eq!(repaired(&equal), Err(Code::GE07));
    }

    #[test]
    fn a_place_under_two_polygons_counts_once() {
        let square = |x: f64, side: f64| {
            on_the_ground(
                &geo::Rect::new(
                    Coord { x, y: 0.0 },
                    Coord {
                        x: x + side,
                        y: side,
                    },
                )
                .to_polygon(),
            )
        };
        let sum = |parts: &[LonLatPolygon]| super::super::plane::area_m2(parts);
        // Two units of one building, a lot that touches it, one that laps over, one far away.
        let stacked = united(&[square(0.0, 10.0), square(0.0, 10.0)]);
        assert_eq!(stacked.len(), 1);
        assert!((sum(&stacked) - 100.0).abs() < 1e-3);
        let touching = united(&[square(0.0, 10.0), square(10.0, 10.0)]);
        assert_eq!(touching.len(), 1);
        assert!((sum(&touching) - 200.0).abs() < 1e-3);
        let lapping = united(&[square(0.0, 10.0), square(5.0, 10.0), square(100.0, 2.0)]);
        assert_eq!(lapping.len(), 2);
        assert!((sum(&lapping) - 154.0).abs() < 1e-3);
        let apart = [square(0.0, 10.0), square(30.0, 10.0)];
        assert_eq!(united(&apart), apart);
        assert!(united(&[]).is_empty());
    }

    #[test]
    fn slivers_are_refused() {
        for polygon in [
            geo::wkt!(POLYGON((0. 0., 10. 0., 20. 0., 0. 0.))),
            geo::wkt!(POLYGON((0. 0., 100. 0., 100. 0.015, 0. 0.015, 0. 0.))),
            geo::wkt!(POLYGON((0. 0., 0.09 0., 0.09 0.09, 0. 0.09, 0. 0.))),
        ] {
            assert_eq!(repaired(&polygon), Err(Code::GE07), "{polygon:?}");
        }
        let narrow = geo::wkt!(POLYGON((0. 0., 100. 0., 100. 0.03, 0. 0.03, 0. 0.)));
        assert!(repaired(&narrow).is_ok());
    }

    #[test]
    fn a_star_of_many_points_is_refused_at_once() {
        // Every side crosses nearly every other: 2,001 points, two million crossings.
        let count = 2_001_u32;
        let star: LineString<f64> = (0..=count)
            .map(|i| {
                let turn = f64::from(i * (count / 2) % count) / f64::from(count);
                let angle = turn * std::f64::consts::TAU;
                Coord {
                    x: 100.0 * libm::cos(angle),
                    y: 100.0 * libm::sin(angle),
                }
            })
            .collect();
        let began = std::time::Instant::now();
        assert_eq!(repaired(&Polygon::new(star, vec![])), Err(Code::GE14));
        // The budget of a feature is 5 s; this takes milliseconds, with room for a busy machine.
        assert!(began.elapsed().as_secs() < 5);
    }

    #[test]
    fn limits_are_kept() {
        let ring: LineString<f64> = (0..MOST_VERTICES + 1)
            .map(|i| Coord {
                x: i as f64 * 1e-6,
                y: (i % 7) as f64 * 1e-6,
            })
            .collect();
        let issue = repair(&LonLatPolygon::new(ring, vec![])).unwrap_err();
        assert_eq!(issue.code, Code::GE08);
    }

    proptest::proptest! {
        #[test]
        fn any_ring_is_mended_or_refused(
            points in proptest::collection::vec((0_i32..20, 0_i32..20), 3..14),
            hole in proptest::collection::vec((0_i32..20, 0_i32..20), 0..6),
        ) {
            let ring = |points: &[(i32, i32)]| -> LineString<f64> {
                points.iter().map(|&(x, y)| Coord { x: f64::from(x), y: f64::from(y) }).collect()
            };
            let holes = if hole.len() < 3 { vec![] } else { vec![ring(&hole)] };
            let polygon = on_the_ground(&Polygon::new(ring(&points), holes));
            if let Ok(found) = repair(&polygon) {
                proptest::prop_assert!(!found.parts.is_empty());
                proptest::prop_assert!(found.area_frac.abs() <= MOST_CHANGE_FRAC);
                for part in &found.parts {
                    proptest::prop_assert!(judge(part) != Verdict::Invalid, "{:?}", part);
                }
            }
        }
    }
}
