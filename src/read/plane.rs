//! A small metric plane about one feature, for reading only: areas, overlaps and distances that
//! decide whether a drawing is sound. Plans are made in a better frame.

use geo::{Area, BooleanOps, Coord, Distance, Euclidean, MapCoords, MultiPolygon};

use super::feature::bounds;
use crate::site::LonLatPolygon;

/// Half the long axis of WGS 84 [m] and its flattening (NIMA TR8350.2, 3rd edition, 2000,
/// table 3.1).
const SEMI_MAJOR_M: f64 = 6_378_137.0;
const FLATTENING: f64 = 1.0 / 298.257_223_563;
/// The shortest degree of latitude [m], at the equator, rounded down.
const LEAST_DEGREE_M: f64 = 110_500.0;

/// The equirectangular plane that touches WGS 84 at a point. Within 1 km of the point, areas are
/// right to 0.05 % up to 60° of latitude.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Plane {
    origin: Coord<f64>,
    /// Metres per degree to the east and to the north.
    scale: Coord<f64>,
}

impl Plane {
    /// The plane about a point in longitude and latitude.
    pub(super) fn at(lon_deg: f64, lat_deg: f64) -> Plane {
        let eccentricity2 = FLATTENING * (2.0 - FLATTENING);
        let sine = libm::sin(lat_deg.to_radians());
        let cosine = libm::cos(lat_deg.to_radians());
        let root = (1.0 - eccentricity2 * sine * sine).sqrt();
        let across_m = SEMI_MAJOR_M / root;
        let along_m = SEMI_MAJOR_M * (1.0 - eccentricity2) / (root * root * root);
        let degree = 1.0_f64.to_radians();
        Plane {
            origin: Coord {
                x: lon_deg,
                y: lat_deg,
            },
            // At a pole a degree of longitude has no length; a plane needs one.
            scale: Coord {
                x: across_m * cosine.max(1e-6) * degree,
                y: along_m * degree,
            },
        }
    }

    /// The plane about the middle of a polygon's box.
    pub(super) fn about(polygon: &LonLatPolygon) -> Plane {
        let [west, south, east, north] = bounds(polygon);
        Plane::at((west + east) / 2.0, (south + north) / 2.0)
    }

    /// A polygon in metres.
    pub(super) fn to_metres(self, polygon: &LonLatPolygon) -> geo::Polygon<f64> {
        polygon.map_coords(|at| self.point_to_metres(at))
    }

    /// A position in metres.
    pub(super) fn point_to_metres(self, at: Coord<f64>) -> Coord<f64> {
        Coord {
            x: (at.x - self.origin.x) * self.scale.x,
            y: (at.y - self.origin.y) * self.scale.y,
        }
    }

    /// A position in degrees.
    pub(super) fn point_to_degrees(self, at: Coord<f64>) -> Coord<f64> {
        Coord {
            x: at.x / self.scale.x + self.origin.x,
            y: at.y / self.scale.y + self.origin.y,
        }
    }
}

/// How far a degree reaches at least: the steps in longitude and latitude [degrees] that are no
/// shorter than a length [m] anywhere in the box.
pub(super) fn steps_deg(length_m: f64, [_, south, _, north]: [f64; 4]) -> [f64; 2] {
    let steepest = south.abs().max(north.abs()).min(89.0);
    let lat_deg = length_m / LEAST_DEGREE_M;
    [lat_deg / libm::cos(steepest.to_radians()), lat_deg]
}

/// A box grown by a length [m] on all sides.
pub(super) fn grown(outer: [f64; 4], length_m: f64) -> [f64; 4] {
    let [lon_deg, lat_deg] = steps_deg(length_m, outer);
    [
        outer[0] - lon_deg,
        outer[1] - lat_deg,
        outer[2] + lon_deg,
        outer[3] + lat_deg,
    ]
}

/// The area that two sets of polygons share [m²].
pub(super) fn shared_m2(a: &[LonLatPolygon], b: &[LonLatPolygon]) -> f64 {
    let Some(first) = a.first() else { return 0.0 };
    let plane = Plane::about(first);
    let flat = |polygons: &[LonLatPolygon]| {
        MultiPolygon(
            polygons
                .iter()
                .map(|polygon| plane.to_metres(polygon))
                .collect(),
        )
    };
    flat(a).intersection(&flat(b)).unsigned_area()
}

/// The area of a set of polygons [m²].
pub(super) fn area_m2(polygons: &[LonLatPolygon]) -> f64 {
    polygons
        .iter()
        .map(|polygon| Plane::about(polygon).to_metres(polygon).unsigned_area())
        .sum()
}

/// How far a point lies from a polygon [m]; 0 inside.
pub(super) fn distance_m(at: geo::Point<f64>, polygon: &LonLatPolygon) -> f64 {
    let plane = Plane::at(at.x(), at.y());
    Euclidean.distance(&geo::Point::new(0.0, 0.0), &plane.to_metres(polygon))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(lon_deg: f64, lat_deg: f64, side_deg: f64) -> LonLatPolygon {
        geo::Rect::new(
            Coord {
                x: lon_deg,
                y: lat_deg,
            },
            Coord {
                x: lon_deg + side_deg,
                y: lat_deg + side_deg,
            },
        )
        .to_polygon()
    }

    #[test]
    fn degrees_have_their_published_length() {
        // Osborne, The Mercator Projections, 2013, table of arc lengths on WGS 84:
        // 1° of latitude and of longitude at 0°, 45° and 60°.
        for (lat_deg, north_m, east_m) in [
            (0.0, 110_574.0, 111_320.0),
            (45.0, 111_132.0, 78_847.0),
            (60.0, 111_412.0, 55_800.0),
        ] {
            let plane = Plane::at(7.0, lat_deg);
            let at = plane.point_to_metres(Coord {
                x: 8.0,
                y: lat_deg + 1.0,
            });
            assert!((at.y - north_m).abs() < 1.0, "{}", at.y);
            assert!((at.x - east_m).abs() < 1.0, "{}", at.x);
            let back = plane.point_to_degrees(at);
            assert!((back.x - 8.0).abs() < 1e-12 && (back.y - lat_deg - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn overlap_and_distance() {
        let (a, b) = (square(5.0, 43.0, 1e-4), square(5.000_05, 43.0, 1e-4));
        let whole_m2 = area_m2(std::slice::from_ref(&a));
        let shared_m2 = shared_m2(std::slice::from_ref(&a), std::slice::from_ref(&b));
        assert!((shared_m2 / whole_m2 - 0.5).abs() < 1e-6);
        assert_eq!(distance_m(geo::Point::new(5.000_05, 43.000_05), &a), 0.0);
        let off_m = distance_m(geo::Point::new(5.000_05, 43.000_2), &a);
        assert!((off_m - 11.11).abs() < 0.01, "{off_m}");
    }

    #[test]
    fn a_grown_box_holds_everything_within_reach() {
        let near = grown([5.0, 59.0, 5.1, 60.0], 15.0);
        let plane = Plane::at(5.1, 60.0);
        let corner = plane.point_to_metres(Coord {
            x: near[2],
            y: near[3],
        });
        assert!(corner.x >= 15.0 && corner.y >= 15.0);
    }
}
