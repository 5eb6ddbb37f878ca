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
            let found = out_of_range(ring[at]);
            return Err(Issue::new(Code::CR03, found).at_vertex(index, at));
        }
        return Ok(LineString(ring));
    }
    let (mut x, mut y): (Vec<f64>, Vec<f64>) = ring.iter().map(|at| (at.x, at.y)).unzip();
    crs.to_lon_lat(&mut x, &mut y)?;
    Ok(x.into_iter().zip(y).map(|(x, y)| Coord { x, y }).collect())
}

/// A coordinate that is no longitude and latitude, and what it looks like.
fn out_of_range(at: Coord<f64>) -> String {
    match likely_system(at) {
        Some(system) => format!("({}, {}), which looks like {system}", at.x, at.y),
        None => format!("({}, {})", at.x, at.y),
    }
}

/// The systems that coordinates like this one are likely to be of; `None` where none is.
///
/// Ranges: UTM has eastings of 100–900 km and northings below 10,000 km; Web Mercator reaches 20,038 km
/// both ways; US State Plane zones in feet have eastings up to some 10 million and northings up to 5
/// million.
///
/// # References
/// - Snyder, J. P., *Map projections: a working manual*, USGS Professional Paper 1395, 1987, p. 57 and
///   appendix C (original not consulted; ranges rounded outwards).
pub(super) fn likely_system(at: Coord<f64>) -> Option<&'static str> {
    let (x, y) = (at.x, at.y);
    let swapped = x.abs() <= 90.0 && y.abs() <= 180.0;
    if x.abs() <= 180.0 && y.abs() <= 90.0 {
        Some("longitude and latitude, EPSG:4326")
    } else if swapped {
        Some("latitude before longitude")
    } else if !(x.abs() <= 20_048_967.0 && y.abs() <= 20_048_967.0) {
        None
    } else if (100_000.0..=900_000.0).contains(&x) && (0.0..=10_000_000.0).contains(&y) {
        Some(
            "metres of a UTM zone, EPSG:326NN or 327NN, or feet of a state's plane, EPSG:2222 to 2289",
        )
    } else if x > 900_000.0 && x < 10_000_000.0 && (0.0..5_000_000.0).contains(&y) {
        Some("feet of a state's plane, EPSG:2222 to 2289, or Web Mercator, EPSG:3857")
    } else if x.abs() > 1_000.0 || y.abs() > 1_000.0 {
        Some("Web Mercator, EPSG:3857, or metres or feet of a national grid")
    } else {
        None
    }
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
    if *crs == Crs::LonLat && (at.x.abs() > 180.0 || at.y.abs() > 90.0) {
        return Err(Issue::new(Code::CR03, out_of_range(at)));
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
    fn coordinates_of_another_system_are_named() {
        let looks = |x: f64, y: f64| likely_system(Coord { x, y }).unwrap_or_default();
        assert!(looks(6_010_000.0, 2_110_000.0).contains("feet of a state's plane"));
        assert!(looks(661_000.0, 4_826_000.0).contains("UTM"));
        assert!(looks(-13_600_000.0, 4_550_000.0).contains("EPSG:3857"));
        assert!(looks(43.5, -122.3).contains("latitude before longitude"));
        assert!(looks(5.0, 43.0).contains("EPSG:4326"));
        assert_eq!(looks(200.0, 300.0), "");
        let square = ring(&[(6.01e6, 2.11e6), (6.02e6, 2.11e6), (6.02e6, 2.12e6)]);
        let issue = polygon(vec![square], &Crs::LonLat).unwrap_err();
        assert_eq!(issue.code, Code::CR03);
        assert!(issue.found.contains("looks like feet"), "{}", issue.found);
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
