//! The local frame of a parcel: Lambert azimuthal equal-area about its middle, on WGS 84.

use crate::shape::{Outline, Point};

/// Semi-major axis of WGS 84 [m] (NGA.STND.0036, 2014, table 3.1).
const SEMI_MAJOR_M: f64 = 6_378_137.0;
/// Flattening of WGS 84 (NGA.STND.0036, 2014, table 3.1).
const FLATTENING: f64 = 1.0 / 298.257_223_563;

/// A plane in metres about a point of longitude and latitude. Areas in it are true; lengths
/// within 10 km are true to 1e-6.
///
/// Forward and inverse follow the ellipsoidal oblique aspect; plain arithmetic, so that making a
/// frame costs less than a microsecond.
///
/// # References
/// - Snyder J. P., *Map Projections: A Working Manual*, US Geological Survey Professional Paper
///   1395, 1987, equations 3-11, 3-12, 3-18, 14-15, 24-17 to 24-27 (pp. 16–17, 98, 187–190).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    /// Longitude of the origin [degrees].
    lon0_deg: f64,
    /// Latitude of the origin [degrees].
    lat0_deg: f64,
    e2: f64,
    e: f64,
    q_pole: f64,
    sin_beta0: f64,
    cos_beta0: f64,
    radius_q_m: f64,
    d: f64,
}

impl Frame {
    /// Makes the frame about a point; latitude must be between −89.9° and 89.9°.
    #[must_use]
    pub fn about(lon0_deg: f64, lat0_deg: f64) -> Frame {
        let e2 = FLATTENING * (2.0 - FLATTENING);
        let e = e2.sqrt();
        let q_pole = authalic_q(1.0, e2, e);
        let (sin_lat0, cos_lat0) = (
            libm::sin(lat0_deg.to_radians()),
            libm::cos(lat0_deg.to_radians()),
        );
        let sin_beta0 = authalic_q(sin_lat0, e2, e) / q_pole;
        let cos_beta0 = (1.0 - sin_beta0 * sin_beta0).sqrt();
        let radius_q_m = SEMI_MAJOR_M * (q_pole / 2.0).sqrt();
        let m0 = cos_lat0 / (1.0 - e2 * sin_lat0 * sin_lat0).sqrt();
        let d = SEMI_MAJOR_M * m0 / (radius_q_m * cos_beta0);
        Frame {
            lon0_deg,
            lat0_deg,
            e2,
            e,
            q_pole,
            sin_beta0,
            cos_beta0,
            radius_q_m,
            d,
        }
    }

    /// Longitude of the origin \[degrees\].
    #[must_use]
    pub fn lon0_deg(&self) -> f64 {
        self.lon0_deg
    }

    /// Latitude of the origin \[degrees\].
    #[must_use]
    pub fn lat0_deg(&self) -> f64 {
        self.lat0_deg
    }

    /// Brings longitude and latitude \[degrees\] into the frame.
    #[must_use]
    pub fn to_plane(&self, lon_deg: f64, lat_deg: f64) -> Point {
        let sin_beta = authalic_q(libm::sin(lat_deg.to_radians()), self.e2, self.e) / self.q_pole;
        let sin_beta = sin_beta.clamp(-1.0, 1.0);
        let cos_beta = (1.0 - sin_beta * sin_beta).sqrt();
        let mut delta_deg = lon_deg - self.lon0_deg;
        if delta_deg > 180.0 {
            delta_deg -= 360.0;
        } else if delta_deg < -180.0 {
            delta_deg += 360.0;
        }
        let delta = delta_deg.to_radians();
        let (sin_delta, cos_delta) = (libm::sin(delta), libm::cos(delta));
        let denominator = 1.0 + self.sin_beta0 * sin_beta + self.cos_beta0 * cos_beta * cos_delta;
        let b = self.radius_q_m * (2.0 / denominator).sqrt();
        Point::new(
            b * self.d * cos_beta * sin_delta,
            b / self.d * (self.cos_beta0 * sin_beta - self.sin_beta0 * cos_beta * cos_delta),
        )
    }

    /// Brings a point of the frame back to longitude and latitude \[degrees\].
    #[must_use]
    pub fn to_lonlat(&self, point: Point) -> (f64, f64) {
        let (x, y) = (point.x / self.d, point.y * self.d);
        let rho = (x * x + y * y).sqrt();
        if rho == 0.0 {
            return (self.lon0_deg, self.lat0_deg);
        }
        let c = 2.0 * libm::asin((rho / (2.0 * self.radius_q_m)).min(1.0));
        let (sin_c, cos_c) = (libm::sin(c), libm::cos(c));
        let q = self.q_pole * (cos_c * self.sin_beta0 + y * sin_c * self.cos_beta0 / rho);
        let delta = libm::atan2(
            x * sin_c,
            rho * self.cos_beta0 * cos_c - y * self.sin_beta0 * sin_c,
        );
        let lat = latitude_of_q(q, self.e2, self.e);
        (self.lon0_deg + delta.to_degrees(), lat.to_degrees())
    }

    /// Brings a polygon into the frame. `None` if it has no area there.
    #[must_use]
    pub fn outline(&self, polygon: &geo::Polygon<f64>) -> Option<Outline> {
        let ring = |line: &geo::LineString<f64>| {
            line.coords()
                .map(|c| self.to_plane(c.x, c.y))
                .collect::<Vec<Point>>()
        };
        Outline::new(
            ring(polygon.exterior()),
            polygon.interiors().iter().map(ring).collect(),
        )
    }

    /// Brings an outline out of the frame.
    #[must_use]
    pub fn polygon(&self, outline: &Outline) -> geo::Polygon<f64> {
        let ring = |ring: &[Point]| -> geo::LineString<f64> {
            ring.iter()
                .map(|&point| self.to_lonlat(point))
                .collect::<Vec<(f64, f64)>>()
                .into()
        };
        geo::Polygon::new(
            ring(outline.outer()),
            outline.holes().iter().map(|hole| ring(hole)).collect(),
        )
    }
}

/// q of Snyder 3-12, from the sine of the latitude.
fn authalic_q(sin_lat: f64, e2: f64, e: f64) -> f64 {
    let es = e * sin_lat;
    (1.0 - e2)
        * (sin_lat / (1.0 - es * es) - (1.0 / (2.0 * e)) * libm::log((1.0 - es) / (1.0 + es)))
}

/// Latitude [radians] from q by Snyder 3-16, Newton's method; five steps reach 1e-15.
fn latitude_of_q(q: f64, e2: f64, e: f64) -> f64 {
    let mut lat = libm::asin((q / 2.0).clamp(-1.0, 1.0));
    for _ in 0..6 {
        let (sin_lat, cos_lat) = (libm::sin(lat), libm::cos(lat));
        if cos_lat < 1e-9 {
            break;
        }
        let es2 = 1.0 - e2 * sin_lat * sin_lat;
        let es = e * sin_lat;
        let step = es2 * es2 / (2.0 * cos_lat)
            * (q / (1.0 - e2) - sin_lat / es2 + libm::log((1.0 - es) / (1.0 + es)) / (2.0 * e));
        lat += step;
        // The error left is about the square of the last step.
        if step.abs() < 1e-9 {
            break;
        }
    }
    lat
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back() {
        let mut tried = 0;
        for (lon0, lat0) in [
            (-77.16, 39.1),
            (5.06, 43.57),
            (14.4, 50.1),
            (179.9999, -45.0),
            (0.0, 0.0),
            (30.0, 85.0),
        ] {
            let frame = Frame::about(lon0, lat0);
            for (x, y) in [(0.0, 0.0), (12.5, -7.25), (-1_500.0, 900.0), (0.0, 2_500.0)] {
                let (lon, lat) = frame.to_lonlat(Point::new(x, y));
                let back = frame.to_plane(lon, lat);
                // 1e-9 degrees are a tenth of a millimetre; arithmetic should lose less than 1e-6 m.
                assert!(
                    back.distance(Point::new(x, y)) < 1e-6,
                    "{lon0} {lat0} {x} {y}"
                );
                tried += 1;
            }
        }
        assert_eq!(tried, 24);
    }

    #[test]
    fn the_published_example_of_the_oblique_ellipsoidal_aspect() {
        // Snyder 1987, pp. 333–334, numerical example on Clarke 1866: origin 40° N 100° W, point
        // 30° N 110° W gives x −965,932.1 m, y −1,056,814.9 m. WGS 84 differs from Clarke 1866 by
        // 1.1e-5 in the axis and 5e-5 in the flattening's effect, so 1e-4 of 1e6 m is allowed.
        let point = Frame::about(-100.0, 40.0).to_plane(-110.0, 30.0);
        assert!((point.x + 965_932.1).abs() < 100.0, "{}", point.x);
        assert!((point.y + 1_056_814.9).abs() < 100.0, "{}", point.y);
    }

    #[test]
    fn areas_agree_with_the_ellipsoid() {
        // Area of a 0.01° × 0.01° cell between latitudes: a²Δλ(q2 − q1)/2 (Snyder 1987, 3-12 ff).
        let e2 = FLATTENING * (2.0 - FLATTENING);
        let e = e2.sqrt();
        for lat in [-60.0, -33.0, 0.0, 39.1, 50.1, 70.0] {
            let frame = Frame::about(10.005, lat + 0.005);
            // The parallels are curved: put points along them.
            let mut ring = Vec::new();
            for i in 0..=100 {
                ring.push(frame.to_plane(10.0 + f64::from(i) * 1e-4, lat));
            }
            for i in 0..=100 {
                ring.push(frame.to_plane(10.01 - f64::from(i) * 1e-4, lat + 0.01));
            }
            let area_m2 = Outline::new(ring, vec![]).unwrap().area_m2();
            let q = |lat: f64| authalic_q(libm::sin(lat.to_radians()), e2, e);
            let exact_m2 =
                SEMI_MAJOR_M * SEMI_MAJOR_M * 0.01_f64.to_radians() * (q(lat + 0.01) - q(lat))
                    / 2.0;
            assert!(
                (area_m2 / exact_m2 - 1.0).abs() < 1e-6,
                "{lat}: {area_m2} {exact_m2}"
            );
        }
    }
}
