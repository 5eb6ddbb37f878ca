//! Lawns for tests and benches, all invented.

use evenfall::shape::{Outline, Point, Ring};

/// A ring from pairs of metres.
pub fn ring(points: &[(f64, f64)]) -> Ring {
    points.iter().map(|&(x, y)| Point::new(x, y)).collect()
}

/// An outline without holes.
pub fn lawn(points: &[(f64, f64)]) -> Outline {
    Outline::new(ring(points), vec![]).unwrap()
}

/// A rectangle with its south-west corner at the origin.
pub fn rectangle(width_m: f64, height_m: f64) -> Outline {
    lawn(&[
        (0.0, 0.0),
        (width_m, 0.0),
        (width_m, height_m),
        (0.0, height_m),
    ])
}

/// The corners of a regular polygon about a centre.
pub fn regular(sides: usize, radius_m: f64, centre: Point) -> Ring {
    (0..sides)
        .map(|i| {
            let angle = std::f64::consts::TAU * i as f64 / sides as f64;
            centre + Point::new(libm::cos(angle), libm::sin(angle)) * radius_m
        })
        .collect()
}

/// A disc, drawn with thirty sides.
pub fn disc(radius_m: f64) -> Outline {
    Outline::new(regular(30, radius_m, Point::default()), vec![]).unwrap()
}

/// An L of two wings.
pub fn l_shape() -> Outline {
    lawn(&[
        (0.0, 0.0),
        (16.0, 0.0),
        (16.0, 7.0),
        (7.0, 7.0),
        (7.0, 15.0),
        (0.0, 15.0),
    ])
}
