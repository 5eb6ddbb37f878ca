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

/// A trapezoid.
pub fn trapezoid() -> Outline {
    lawn(&[(0.0, 0.0), (19.0, 0.0), (15.0, 11.0), (3.0, 11.0)])
}

/// A triangle with no angle below 45°.
pub fn triangle() -> Outline {
    lawn(&[(0.0, 0.0), (20.0, 0.0), (8.0, 14.0)])
}

/// A lawn like a kidney: one long curve with a dent, drawn with forty-eight points.
pub fn kidney() -> Outline {
    let points = (0..48).map(|i| {
        let angle = std::f64::consts::TAU * f64::from(i) / 48.0;
        let dent = libm::exp(-2.5 * (1.0 + libm::cos(angle - 0.5 * std::f64::consts::PI - 3.0)));
        let radius_m = 8.5 - 3.5 * dent;
        Point::new(
            1.3 * radius_m * libm::cos(angle),
            radius_m * libm::sin(angle),
        )
    });
    Outline::new(points.collect(), vec![]).unwrap()
}

/// A ring of lawn between two circles.
pub fn annulus(outer_m: f64, inner_m: f64) -> Outline {
    let circle = |radius_m| regular(40, radius_m, Point::default());
    Outline::new(circle(outer_m), vec![circle(inner_m)]).unwrap()
}

/// A rectangle around a house.
pub fn around_a_house() -> Outline {
    let house = ring(&[(7.0, 6.0), (15.0, 6.0), (15.0, 12.0), (7.0, 12.0)]);
    Outline::new(
        ring(&[(0.0, 0.0), (22.0, 0.0), (22.0, 18.0), (0.0, 18.0)]),
        vec![house],
    )
    .unwrap()
}
