//! Rings as drawn: finite, long enough, closed, and in longitude and latitude.

use geo::{Coord, LineString};

use crate::crs::Crs;
use crate::issue::{Code, Issue};
use crate::site::LonLatPolygon;

/// A polygon, and what was mended to make it one.
pub(super) type Drawn = Result<(LonLatPolygon, Vec<Issue>), Issue>;

/// Makes a polygon of rings as they stand in the layer, the outer one first.
///
/// # Errors
/// `GE06` for a coordinate that is not a number, `GE03` for a ring that is too short, `CR03`
/// for coordinates out of range.
pub(super) fn polygon(rings: Vec<Vec<Coord<f64>>>, crs: &Crs) -> Drawn {
    let mut notes = Vec::new();
    let mut closed = Vec::with_capacity(rings.len());
    for (index, ring) in rings.into_iter().enumerate() {
        closed.push(one_ring(ring, index, crs, &mut notes)?);
    }
    let mut closed = closed.into_iter();
    let Some(outer) = closed.next() else {
        return Err(Issue::new(Code::GE01, "the polygon has no ring"));
    };
    Ok((LonLatPolygon::new(outer, closed.collect()), notes))
}

fn one_ring(
    mut ring: Vec<Coord<f64>>,
    index: usize,
    crs: &Crs,
    notes: &mut Vec<Issue>,
) -> Result<LineString<f64>, Issue> {
    if let Some(at) = ring
        .iter()
        .position(|at| !(at.x.is_finite() && at.y.is_finite()))
    {
        let found = format!("({}, {})", ring[at].x, ring[at].y);
        return Err(Issue::new(Code::GE06, found).at_vertex(index, at));
    }
    let different = different_points(&ring);
    if different < 3 {
        let found = format!("{different} different points");
        return Err(Issue {
            code: Code::GE03,
            ..ring_issue(index, found)
        });
    }
    if ring.first() != ring.last() {
        notes.push(Issue {
            code: Code::GE10,
            ..ring_issue(index, String::new())
        });
        ring.push(ring[0]);
    }
    if *crs == Crs::LonLat {
        // The range is checked where the vertex can be named.
        if let Some(at) = ring
            .iter()
            .position(|at| at.x.abs() > 180.0 || at.y.abs() > 90.0)
        {
            let found = format!("({}, {})", ring[at].x, ring[at].y);
            return Err(Issue::new(Code::CR03, found).at_vertex(index, at));
        }
        return Ok(LineString(ring));
    }
    let (mut x, mut y): (Vec<f64>, Vec<f64>) = ring.iter().map(|at| (at.x, at.y)).unzip();
    crs.to_lon_lat(&mut x, &mut y)?;
    Ok(x.into_iter().zip(y).map(|(x, y)| Coord { x, y }).collect())
}

fn ring_issue(index: usize, found: String) -> Issue {
    let mut issue = Issue::new(Code::GE03, found);
    issue.place.ring = Some(index);
    issue
}

/// How many different points a ring has; counting stops at three.
fn different_points(ring: &[Coord<f64>]) -> usize {
    let Some(&first) = ring.first() else { return 0 };
    let Some(&second) = ring.iter().find(|&&at| at != first) else {
        return 1;
    };
    if ring.iter().any(|&at| at != first && at != second) {
        3
    } else {
        2
    }
}

/// A point of the layer in longitude and latitude.
///
/// # Errors
/// `GE06` and `CR03` as for rings.
pub(super) fn point(at: Coord<f64>, crs: &Crs) -> Result<geo::Point<f64>, Issue> {
    if !(at.x.is_finite() && at.y.is_finite()) {
        return Err(Issue::new(Code::GE06, format!("({}, {})", at.x, at.y)));
    }
    let (mut x, mut y) = ([at.x], [at.y]);
    crs.to_lon_lat(&mut x, &mut y)?;
    Ok(geo::Point::new(x[0], y[0]))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(points: &[(f64, f64)]) -> Vec<Coord<f64>> {
        points.iter().map(|&(x, y)| Coord { x, y }).collect()
    }

    #[test]
    fn an_open_ring_is_closed_and_noted() {
        let square = ring(&[(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]);
        let (polygon, notes) = polygon(vec![square], &Crs::LonLat).unwrap();
        assert_eq!(polygon.exterior().0.len(), 5);
        assert_eq!(notes.len(), 1);
        assert_eq!(notes[0].code, Code::GE10);
    }

    #[test]
    fn bad_rings_are_told_with_ring_and_vertex() {
        let good = ring(&[(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 0.0)]);
        let code = |hole: &[(f64, f64)]| {
            let issue = polygon(vec![good.clone(), ring(hole)], &Crs::LonLat).unwrap_err();
            assert_eq!(issue.place.ring, Some(1));
            issue.code
        };
        assert_eq!(code(&[(0.1, 0.1), (0.2, f64::NAN), (0.2, 0.2)]), Code::GE06);
        assert_eq!(
            code(&[(0.1, 0.1), (0.2, 0.1), (0.1, 0.1), (0.2, 0.1)]),
            Code::GE03
        );
        assert_eq!(code(&[]), Code::GE03);
        assert_eq!(code(&[(0.1, 0.1), (200.0, 0.1), (0.2, 0.2)]), Code::CR03);
    }
}
