//! The ground that a head waters, as a polygon.

use crate::catalogue::StripKind;
use crate::crs::Frame;
use crate::place::{Head, Pattern};
use crate::shape::{Point, Ring};
use crate::site::LonLatPolygon;

/// Longest chord of an arc \[degrees\]. The chord stays within 0.03 % of the throw off the arc.
const CHORD_DEG: f64 = 2.5;

/// The ring of the ground that a head waters when nothing stands in its way, counter-clockwise,
/// the first point not repeated: the sector with the head as its apex, the circle, or the strip's
/// rectangle.
#[must_use]
pub fn ring(head: &Head) -> Ring {
    match head.pattern {
        Pattern::Sector {
            radius_m,
            start_deg,
            sweep_deg,
        } => {
            let full = sweep_deg >= 360.0;
            let chords = (sweep_deg / CHORD_DEG).ceil().max(1.0);
            let on_arc = |step: f64| {
                head.at + Point::along_bearing(start_deg + sweep_deg * step / chords) * radius_m
            };
            // Bearings run clockwise; the ring runs the other way, from the end of the arc.
            let first = if full { 1.0 } else { 0.0 };
            let mut ring: Ring = Vec::new();
            let mut step = chords;
            while step >= first {
                ring.push(on_arc(step));
                step -= 1.0;
            }
            if !full {
                ring.push(head.at);
            }
            ring
        }
        Pattern::Strip {
            kind,
            length_m,
            width_m,
            azimuth_deg,
        } => {
            let ahead = Point::along_bearing(azimuth_deg);
            let left = Point::new(-ahead.y, ahead.x);
            let (near_m, far_m, half_m) = match kind {
                StripKind::End => (0.0, length_m, width_m / 2.0),
                StripKind::Side => (0.0, width_m, length_m / 2.0),
                StripKind::Centre => (-width_m / 2.0, width_m / 2.0, length_m / 2.0),
            };
            [
                (near_m, -half_m),
                (far_m, -half_m),
                (far_m, half_m),
                (near_m, half_m),
            ]
            .map(|(along_m, across_m)| head.at + ahead * along_m + left * across_m)
            .to_vec()
        }
    }
}

/// A ring of the frame as a polygon in longitude and latitude.
#[must_use]
pub fn polygon(frame: &Frame, ring: &[Point]) -> LonLatPolygon {
    let exterior = ring
        .iter()
        .map(|&point| frame.to_lonlat(point))
        .collect::<Vec<(f64, f64)>>();
    geo::Polygon::new(exterior.into(), Vec::new())
}

/// The word of a strip's kind.
#[must_use]
pub fn strip_word(kind: StripKind) -> &'static str {
    match kind {
        StripKind::End => "end",
        StripKind::Side => "side",
        StripKind::Centre => "centre",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::place::Role;
    use crate::shape::Outline;
    use crate::units::Flow;

    fn head(pattern: Pattern) -> Head {
        Head {
            at: Point::new(3.0, -2.0),
            role: Role::Edge,
            pattern,
            nozzle: 0,
            flow: Flow::from_lpm(4.0).unwrap(),
        }
    }

    /// Signed area: positive counter-clockwise.
    fn area(ring: &[Point]) -> f64 {
        (0..ring.len())
            .map(|i| ring[i].cross(ring[(i + 1) % ring.len()]))
            .sum::<f64>()
            / 2.0
    }

    #[test]
    fn a_sector_has_its_area_and_lies_where_it_points() {
        let mut tried = 0;
        for (start_deg, sweep_deg) in [
            (0.0, 45.0),
            (90.0, 90.0),
            (350.0, 180.0),
            (10.0, 270.0),
            (0.0, 360.0),
        ] {
            let head = head(Pattern::Sector {
                radius_m: 5.0,
                start_deg,
                sweep_deg,
            });
            let ring = ring(&head);
            let exact = sweep_deg.to_radians() / 2.0 * 25.0;
            // A chord of 2.5° takes off 1 − sin(2.5°)/2.5° in radians = 0.032 %.
            assert!(
                (area(&ring) / exact - 1.0).abs() < 4e-4,
                "{start_deg} {sweep_deg}: {}",
                area(&ring)
            );
            let outline = Outline::new(ring, vec![]).unwrap();
            let middle = Point::along_bearing(start_deg + sweep_deg / 2.0) * 4.0;
            assert!(outline.contains(head.at + middle));
            if sweep_deg < 360.0 {
                let behind = Point::along_bearing(start_deg - 10.0) * 4.0;
                assert!(!outline.contains(head.at + behind));
            }
            tried += 1;
        }
        assert_eq!(tried, 5);
    }

    #[test]
    fn a_strip_is_a_rectangle_on_the_right_side_of_its_head() {
        for (kind, inside, outside) in [
            (StripKind::End, Point::new(8.0, 0.0), Point::new(-0.5, 0.0)),
            (StripKind::Side, Point::new(1.0, 4.0), Point::new(-0.5, 0.0)),
            (
                StripKind::Centre,
                Point::new(-0.5, 4.0),
                Point::new(1.0, 0.0),
            ),
        ] {
            let head = head(Pattern::Strip {
                kind,
                length_m: 9.0,
                width_m: 1.5,
                azimuth_deg: 90.0,
            });
            let ring = ring(&head);
            assert!((area(&ring) - 13.5).abs() < 1e-9);
            let outline = Outline::new(ring, vec![]).unwrap();
            assert!(outline.contains(head.at + inside), "{kind:?}");
            assert!(!outline.contains(head.at + outside), "{kind:?}");
        }
    }
}
