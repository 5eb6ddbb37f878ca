//! A ring with the digitiser's noise taken out.

use super::outline::{Ring, square_distance_to_segment};
use super::point::Point;

/// Drops vertices that lie within a tolerance of the line through their neighbours; the first
/// vertex stays. A ring that would fall below three points comes back unchanged.
///
/// # References
/// - Douglas D. H., Peucker T. K., Algorithms for the reduction of the number of points required
///   to represent a digitized line or its caricature, *Cartographica* 10(2), 1973, 112–122.
///   DOI 10.3138/FM57-6770-U75U-7727.
#[must_use]
pub fn simplified(ring: &[Point], tolerance_m: f64) -> Ring {
    let n = ring.len();
    let mut keep = vec![false; n + 1];
    keep[0] = true;
    keep[n] = true;
    let at = |i: usize| ring[i % n];
    // Stretches still to look at; every one is split at a vertex, so at most n of them exist.
    let mut stretches = vec![(0, n)];
    while let Some((from, to)) = stretches.pop() {
        let mut farthest = (tolerance_m * tolerance_m, None);
        for i in from + 1..to {
            let d2 = square_distance_to_segment(at(i), at(from), at(to));
            if d2 > farthest.0 {
                farthest = (d2, Some(i));
            }
        }
        if let Some(i) = farthest.1 {
            keep[i] = true;
            stretches.push((from, i));
            stretches.push((i, to));
        }
    }
    let kept: Ring = (0..n).filter(|&i| keep[i]).map(|i| ring[i]).collect();
    if kept.len() < 3 { ring.to_vec() } else { kept }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_goes_and_corners_stay() {
        let ring: Ring = [
            (0.0, 0.0),
            (5.0, 0.05),
            (10.0, 0.0),
            (10.03, 4.0),
            (10.0, 8.0),
            (0.0, 8.0),
            (-0.04, 3.0),
        ]
        .iter()
        .map(|&(x, y)| Point::new(x, y))
        .collect();
        let plain = simplified(&ring, 0.15);
        assert_eq!(
            plain,
            [(0.0, 0.0), (10.0, 0.0), (10.0, 8.0), (0.0, 8.0)].map(|(x, y)| Point::new(x, y))
        );
        assert_eq!(simplified(&ring, 0.01).len(), 7);
    }

    #[test]
    fn a_small_ring_is_left_alone() {
        let ring = vec![
            Point::new(0.0, 0.0),
            Point::new(0.1, 0.0),
            Point::new(0.1, 0.1),
        ];
        assert_eq!(simplified(&ring, 1.0), ring);
    }
}
