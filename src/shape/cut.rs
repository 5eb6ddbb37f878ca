//! Cuts an outline along straight lines from boundary to boundary.

use super::outline::{Outline, Ring, ring_area_m2, square_distance_to_segment};
use super::point::Point;

/// A point this near to an edge lies on it \[m\].
const ON_EDGE_M: f64 = 1e-6;

/// Cuts an outline along chords: straight lines inside it whose ends lie on its boundary.
///
/// The pieces have the outline's own points and the chords' ends, so their areas add up to its
/// area. A chord from the outer ring to a hole divides nothing by itself; two of them may.
/// Returns `None` when an end lies on no boundary, or when a chord in the end divides nothing.
#[must_use]
pub fn cut(outline: &Outline, chords: &[(Point, Point)]) -> Option<Vec<Outline>> {
    let mut pieces: Vec<Vec<Ring>> = vec![outline.rings().to_vec()];
    for &(a, b) in chords {
        let i = (0..pieces.len()).find(|&i| {
            let mut rings = pieces[i].clone();
            place(&mut rings, a, b).is_some() && place(&mut rings, b, a).is_some()
        })?;
        let piece = pieces.swap_remove(i);
        pieces.extend(divided(piece, a, b)?);
    }
    let is_whole = pieces.iter().flatten().all(|ring| !has_seam(ring));
    if !is_whole {
        return None;
    }
    pieces
        .into_iter()
        .map(|mut rings| {
            let outer = rings.remove(0);
            Outline::new(outer, rings)
        })
        .collect()
}

/// Finds the ring and vertex at which a chord to `to` leaves `from`; an edge that holds `from` is
/// given a vertex there.
fn place(rings: &mut [Ring], from: Point, to: Point) -> Option<(usize, usize)> {
    for (r, ring) in rings.iter_mut().enumerate() {
        for i in 0..ring.len() {
            if ring[i] == from && leaves_inward(ring, i, to) {
                return Some((r, i));
            }
        }
        if ring.contains(&from) {
            continue;
        }
        for i in 0..ring.len() {
            let (a, b) = (ring[i], ring[(i + 1) % ring.len()]);
            let is_on = square_distance_to_segment(from, a, b) < ON_EDGE_M * ON_EDGE_M;
            // A seam has two edges in the same place: the chord leaves to the left of one.
            if is_on && (b - a).cross(to - from) > 0.0 {
                ring.insert(i + 1, from);
                return Some((r, i + 1));
            }
        }
    }
    None
}

/// Whether the way from a vertex to a point starts inside the ring, which lies on the left.
fn leaves_inward(ring: &[Point], i: usize, to: Point) -> bool {
    let n = ring.len();
    let here = ring[i];
    let (onward, back) = (ring[(i + 1) % n] - here, ring[(i + n - 1) % n] - here);
    let way = to - here;
    let turned = |v: Point| {
        let angle = libm::atan2(onward.cross(v), onward.dot(v));
        if angle <= 0.0 {
            angle + std::f64::consts::TAU
        } else {
            angle
        }
    };
    turned(way) < turned(back)
}

fn divided(mut rings: Vec<Ring>, a: Point, b: Point) -> Option<Vec<Vec<Ring>>> {
    place(&mut rings, a, b)?;
    let (rb, j) = place(&mut rings, b, a)?;
    // The second vertex may have moved the first.
    let (ra, i) = place(&mut rings, a, b)?;
    if ra != rb {
        // Outer ring and hole, or two holes, become one ring.
        let (first, second) = (rings[ra].clone(), rings[rb].clone());
        let mut joined: Ring = first[..=i].to_vec();
        joined.extend_from_slice(&second[j..]);
        joined.extend_from_slice(&second[..=j]);
        joined.extend_from_slice(&first[i..]);
        let (low, high) = (ra.min(rb), ra.max(rb));
        rings.remove(high);
        rings[low] = joined;
        return Some(vec![rings]);
    }
    let ring = rings.remove(ra);
    let (i, j) = (i.min(j), i.max(j));
    let one: Ring = ring[i..=j].to_vec();
    let mut other: Ring = ring[j..].to_vec();
    other.extend_from_slice(&ring[..=i]);
    let (mut outers, mut holes): (Vec<Ring>, Vec<Ring>) = (Vec::new(), Vec::new());
    if ra > 0 {
        outers.push(rings.remove(0));
    }
    for part in [one, other] {
        if ring_area_m2(&part) > 0.0 {
            outers.push(part);
        } else {
            holes.push(part);
        }
    }
    holes.extend(rings);
    let mut pieces: Vec<Vec<Ring>> = outers.into_iter().map(|outer| vec![outer]).collect();
    for hole in holes {
        let home = pieces
            .iter()
            .enumerate()
            .filter(|(_, piece)| {
                Outline::new(piece[0].clone(), vec![]).is_some_and(|outer| holds(&outer, &hole))
            })
            .min_by(|x, y| ring_area_m2(&x.1[0]).total_cmp(&ring_area_m2(&y.1[0])))
            .map(|(k, _)| k)?;
        pieces[home].push(hole);
    }
    Some(pieces)
}

/// Whether a ring lies inside an outline: the middles of most of its edges do.
fn holds(outer: &Outline, ring: &[Point]) -> bool {
    let inside = (0..ring.len())
        .filter(|&i| outer.contains((ring[i] + ring[(i + 1) % ring.len()]) * 0.5))
        .count();
    2 * inside > ring.len()
}

/// Whether a ring runs along an edge and back.
fn has_seam(ring: &[Point]) -> bool {
    let n = ring.len();
    (0..n).any(|i| {
        let (a, b) = (ring[i], ring[(i + 1) % n]);
        (0..n).any(|j| a != b && ring[j] == b && ring[(j + 1) % n] == a)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(points: &[(f64, f64)]) -> Ring {
        points.iter().map(|&(x, y)| Point::new(x, y)).collect()
    }

    fn at(x: f64, y: f64) -> Point {
        Point::new(x, y)
    }

    #[test]
    fn a_chord_divides_and_areas_add_up() {
        let square = Outline::new(
            ring(&[(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]),
            vec![ring(&[(6.0, 6.0), (8.0, 6.0), (8.0, 8.0), (6.0, 8.0)])],
        )
        .unwrap();
        let pieces = cut(&square, &[(at(3.0, 0.0), at(4.0, 10.0))]).unwrap();
        let mut areas: Vec<f64> = pieces.iter().map(Outline::area_m2).collect();
        areas.sort_by(f64::total_cmp);
        // Left of the chord a trapezoid of (3 + 4)/2 · 10 m²; right the rest, less the hole of 4 m².
        assert!(
            (areas[0] - 35.0).abs() < 1e-9 && (areas[1] - 61.0).abs() < 1e-9,
            "{areas:?}"
        );
    }

    #[test]
    fn two_chords_to_a_hole_divide_a_frame() {
        let frame = Outline::new(
            ring(&[(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]),
            vec![ring(&[(2.0, 2.0), (8.0, 2.0), (8.0, 8.0), (2.0, 8.0)])],
        )
        .unwrap();
        let chords = [(at(2.0, 2.0), at(2.0, 0.0)), (at(8.0, 2.0), at(8.0, 0.0))];
        let pieces = cut(&frame, &chords).unwrap();
        let mut areas: Vec<f64> = pieces.iter().map(Outline::area_m2).collect();
        areas.sort_by(f64::total_cmp);
        assert!(
            (areas[0] - 12.0).abs() < 1e-9 && (areas[1] - 52.0).abs() < 1e-9,
            "{areas:?}"
        );
        // Both side yards of a corner, from the same corner of the house.
        let corner = [(at(2.0, 2.0), at(2.0, 0.0)), (at(2.0, 2.0), at(0.0, 2.0))];
        let pieces = cut(&frame, &corner).unwrap();
        let mut areas: Vec<f64> = pieces.iter().map(Outline::area_m2).collect();
        areas.sort_by(f64::total_cmp);
        assert!(
            (areas[0] - 4.0).abs() < 1e-9 && (areas[1] - 60.0).abs() < 1e-9,
            "{areas:?}"
        );
    }

    #[test]
    fn a_chord_that_divides_nothing_is_refused() {
        let frame = Outline::new(
            ring(&[(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]),
            vec![ring(&[(2.0, 2.0), (8.0, 2.0), (8.0, 8.0), (2.0, 8.0)])],
        )
        .unwrap();
        assert!(cut(&frame, &[(at(2.0, 2.0), at(2.0, 0.0))]).is_none());
        assert!(cut(&frame, &[(at(5.0, 5.0), at(2.0, 0.0))]).is_none());
    }
}
