//! Arcs to straight pieces.

use geo::Coord;

/// Angle of one straight piece [degrees]; on a circle of 10 m it is off by 6 mm at most.
const STEP_DEG: f64 = 4.0;

/// Adds the arc from the last point of a line through a point to an end. The line is not empty.
pub(super) fn arc(line: &mut Vec<Coord<f64>>, through: Coord<f64>, end: Coord<f64>) {
    let Some(&start) = line.last() else {
        return line.push(end);
    };
    let Some(centre) = centre(start, through, end) else {
        // Three points on a line.
        line.extend([through, end]);
        return;
    };
    let radius = libm::hypot(start.x - centre.x, start.y - centre.y);
    let angle = |at: Coord<f64>| libm::atan2(at.y - centre.y, at.x - centre.x);
    let turn = |from: f64, to: f64| (to - from).rem_euclid(std::f64::consts::TAU);
    let from = angle(start);
    let sweep = if start == end {
        std::f64::consts::TAU
    } else {
        let (whole, part) = (turn(from, angle(end)), turn(from, angle(through)));
        if part <= whole {
            whole
        } else {
            whole - std::f64::consts::TAU
        }
    };
    let pieces = (sweep.abs().to_degrees() / STEP_DEG).ceil().max(2.0);
    for piece in 1..pieces as u32 {
        let at = from + sweep * f64::from(piece) / pieces;
        line.push(Coord {
            x: centre.x + radius * libm::cos(at),
            y: centre.y + radius * libm::sin(at),
        });
    }
    line.push(end);
}

/// The centre of the circle through three points; if the ends are one, they are opposite the
/// middle. `None` if the points are on a line.
fn centre(a: Coord<f64>, b: Coord<f64>, c: Coord<f64>) -> Option<Coord<f64>> {
    if a == c {
        return Some((a + b) / 2.0);
    }
    let (b, c) = (b - a, c - a);
    let doubled = 2.0 * (b.x * c.y - b.y * c.x);
    let (b2, c2) = (b.x * b.x + b.y * b.y, c.x * c.x + c.y * c.y);
    let centre = Coord {
        x: a.x + (c.y * b2 - b.y * c2) / doubled,
        y: a.y + (b.x * c2 - c.x * b2) / doubled,
    };
    (centre.x.is_finite() && centre.y.is_finite()).then_some(centre)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn length(line: &[Coord<f64>]) -> f64 {
        line.windows(2)
            .map(|pair| (pair[1].x - pair[0].x).hypot(pair[1].y - pair[0].y))
            .sum()
    }

    fn at(x: f64, y: f64) -> Coord<f64> {
        Coord { x, y }
    }

    #[test]
    fn arcs_go_the_right_way_round_and_are_as_long_as_they_should() {
        use std::f64::consts::PI;
        for (through, end, wanted) in [
            (at(0.0, 10.0), at(-10.0, 0.0), 10.0 * PI),
            (at(0.0, -10.0), at(-10.0, 0.0), 10.0 * PI),
            (at(-10.0, 0.0), at(0.0, 10.0), 15.0 * PI),
            (at(-10.0, 0.0), at(10.0, 0.0), 20.0 * PI),
            (at(0.0, 0.0), at(-10.0, 0.0), 20.0),
        ] {
            let mut line = vec![at(10.0, 0.0)];
            arc(&mut line, through, end);
            assert!(
                (length(&line) - wanted).abs() < 1e-3 * wanted,
                "{through:?} {end:?}"
            );
            assert_eq!(line.last(), Some(&end));
            let near = line
                .iter()
                .map(|&p| length(&[p, through]))
                .fold(f64::INFINITY, f64::min);
            assert!(near < 0.5, "{through:?} {end:?}");
        }
    }
}
