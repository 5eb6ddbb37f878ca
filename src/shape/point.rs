//! A point, or a vector, of the local frame.

use std::ops::{Add, Mul, Sub};

use super::outline::square_distance_to_segment;

/// A point of the local frame \[m\]: x to the east, y to the north.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Point {
    /// Metres east of the frame's origin.
    pub x: f64,
    /// Metres north of the frame's origin.
    pub y: f64,
}

impl Point {
    /// Makes a point from metres east and north.
    #[must_use]
    pub const fn new(x: f64, y: f64) -> Point {
        Point { x, y }
    }

    /// The distance to another point \[m\].
    #[must_use]
    pub fn distance(self, other: Point) -> f64 {
        (self - other).norm()
    }

    /// The distance to the nearest point of a segment \[m\].
    #[must_use]
    pub fn distance_to_segment(self, a: Point, b: Point) -> f64 {
        square_distance_to_segment(self, a, b).sqrt()
    }

    /// The length of the vector \[m\]. Square root is exact in IEEE 754, so this is the same on
    /// every machine, which `hypot` is not.
    #[must_use]
    pub fn norm(self) -> f64 {
        (self.x * self.x + self.y * self.y).sqrt()
    }

    /// The scalar product \[m²\].
    #[must_use]
    pub fn dot(self, other: Point) -> f64 {
        self.x * other.x + self.y * other.y
    }

    /// The cross product \[m²\], positive when `other` lies counter-clockwise of `self`.
    #[must_use]
    pub fn cross(self, other: Point) -> f64 {
        self.x * other.y - self.y * other.x
    }

    /// The vector scaled to length 1, or zero if it has no length.
    #[must_use]
    pub fn unit(self) -> Point {
        let norm = self.norm();
        if norm > 0.0 {
            self * (1.0 / norm)
        } else {
            Point::default()
        }
    }

    /// The compass bearing of the vector: degrees clockwise from north, 0 ≤ b < 360.
    #[must_use]
    pub fn bearing_deg(self) -> f64 {
        let bearing = libm::atan2(self.x, self.y).to_degrees();
        if bearing < 0.0 {
            bearing + 360.0
        } else {
            bearing
        }
    }

    /// The unit vector that points along a compass bearing [degrees clockwise from north].
    #[must_use]
    pub fn along_bearing(bearing_deg: f64) -> Point {
        let radians = bearing_deg.to_radians();
        Point::new(libm::sin(radians), libm::cos(radians))
    }
}

impl Add for Point {
    type Output = Point;
    fn add(self, other: Point) -> Point {
        Point::new(self.x + other.x, self.y + other.y)
    }
}
impl Sub for Point {
    type Output = Point;
    fn sub(self, other: Point) -> Point {
        Point::new(self.x - other.x, self.y - other.y)
    }
}
impl Mul<f64> for Point {
    type Output = Point;
    fn mul(self, factor: f64) -> Point {
        Point::new(self.x * factor, self.y * factor)
    }
}
