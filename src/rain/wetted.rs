//! The ground that a head waters, as a polygon.

use super::footprint::strip_corners;
use crate::catalogue::{Head, Pattern};
use crate::shape::{Horizon, Outline, Point, Ring};

/// Longest chord of an arc \[degrees\]. The chord stays within 0.03 % of the throw off the arc.
const CHORD_DEG: f64 = 2.5;

/// The ground that a head waters: its sector, with corners on the circle at most 2.5° apart and
/// the head as its apex, or its strip, less what it cannot see. `None` when nothing is left.
///
/// `seen` is star-shaped about the head, as [`seen_by`](super::seen_by) gives it. What it hides of
/// a full circle of throw R at distance d and width w is a wedge of about w (R² − d²) / 2 d.
#[must_use]
pub fn wetted_outline(head: &Head, seen: Option<&Outline>) -> Option<Outline> {
    let pattern = Outline::new(pattern_ring(head), vec![])?;
    let Some(seen) = seen else {
        return Some(pattern);
    };
    let from_head = |(a, b): (Point, Point)| (a - head.at, b - head.at);
    let mut horizon = Horizon::of(pattern.edges().map(from_head));
    for (a, b) in seen.edges().map(from_head) {
        horizon.cut(a, b);
    }
    Outline::new(
        horizon
            .ring()
            .into_iter()
            .map(|point| head.at + point)
            .collect(),
        vec![],
    )
}

/// The ring of a pattern where nothing stands in its way.
fn pattern_ring(head: &Head) -> Ring {
    match head.pattern {
        Pattern::Sector {
            radius_m,
            start_deg,
            sweep_deg,
        } => {
            let full = sweep_deg >= 360.0;
            let chords = (sweep_deg.min(360.0) / CHORD_DEG).ceil().max(1.0) as usize;
            // Bearings run clockwise; the ring runs the other way, from the end of the arc.
            let last = usize::from(full);
            let mut ring: Ring = (last..=chords)
                .rev()
                .map(|step| {
                    let turned_deg = sweep_deg * step as f64 / chords as f64;
                    head.at + Point::along_bearing(start_deg + turned_deg) * radius_m
                })
                .collect();
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
        } => strip_corners(head.at, kind, length_m, width_m, azimuth_deg).to_vec(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{Role, StripKind};
    use crate::units::Flow;

    const HEAD_AT: Point = Point::new(3.0, -2.0);

    fn wetted(pattern: Pattern, seen: Option<&Outline>) -> Outline {
        let (at, flow) = (HEAD_AT, Flow::from_lpm(4.0).unwrap());
        let head = Head {
            at,
            role: Role::Edge,
            pattern,
            nozzle: 0,
            flow,
        };
        wetted_outline(&head, seen).unwrap()
    }

    #[test]
    fn a_pattern_has_its_area_and_what_hides_nothing_leaves_it() {
        // All that is seen is a square far beyond the throw.
        let far = [(-60.0, -50.0), (60.0, -50.0), (60.0, 50.0), (-60.0, 50.0)];
        let far = Outline::new(far.map(|(x, y)| Point::new(x, y)).to_vec(), vec![]).unwrap();
        let mut tried = 0;
        for sweep_deg in [45.0, 90.0, 175.0, 180.0, 210.0, 270.0, 355.0, 360.0] {
            for start_deg in [0.0, 45.0, 90.0, 137.0, 270.0, 350.0] {
                let pattern = Pattern::Sector {
                    radius_m: 5.0,
                    start_deg,
                    sweep_deg,
                };
                let open = wetted(pattern, None);
                let exact_m2 = sweep_deg.to_radians() / 2.0 * 25.0;
                // A chord of 2.5° takes off 1 − sin(2.5°) / 2.5° in radians = 0.032 %.
                assert!(
                    (open.area_m2() / exact_m2 - 1.0).abs() < 4e-4,
                    "{start_deg} {sweep_deg}"
                );
                let cut = wetted(pattern, Some(&far));
                assert!(
                    (cut.area_m2() - open.area_m2()).abs() < 1e-9,
                    "{start_deg} {sweep_deg}"
                );
                assert!(cut.outer().len().abs_diff(open.outer().len()) <= 1);
                tried += 1;
            }
        }
        for kind in [StripKind::End, StripKind::Side, StripKind::Centre] {
            for azimuth_deg in [0.0, 30.0, 90.0, 180.0, 270.0] {
                let pattern = Pattern::Strip {
                    kind,
                    length_m: 9.0,
                    width_m: 1.5,
                    azimuth_deg,
                };
                for seen in [None, Some(&far)] {
                    assert!(
                        (wetted(pattern, seen).area_m2() - 13.5).abs() < 1e-9,
                        "{kind:?}"
                    );
                }
                tried += 1;
            }
        }
        assert_eq!(tried, 63);
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
            let outline = wetted(
                Pattern::Sector {
                    radius_m: 5.0,
                    start_deg,
                    sweep_deg,
                },
                None,
            );
            let exact = sweep_deg.to_radians() / 2.0 * 25.0;
            // A chord of 2.5° takes off 1 − sin(2.5°)/2.5° in radians = 0.032 %.
            assert!(
                (outline.area_m2() / exact - 1.0).abs() < 4e-4,
                "{start_deg} {sweep_deg}: {}",
                outline.area_m2()
            );
            let middle = Point::along_bearing(start_deg + sweep_deg / 2.0) * 4.0;
            assert!(outline.contains(HEAD_AT + middle));
            if sweep_deg < 360.0 {
                let behind = Point::along_bearing(start_deg - 10.0) * 4.0;
                assert!(!outline.contains(HEAD_AT + behind));
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
            let outline = wetted(
                Pattern::Strip {
                    kind,
                    length_m: 9.0,
                    width_m: 1.5,
                    azimuth_deg: 90.0,
                },
                None,
            );
            assert!((outline.area_m2() - 13.5).abs() < 1e-9);
            assert!(outline.contains(HEAD_AT + inside), "{kind:?}");
            assert!(!outline.contains(HEAD_AT + outside), "{kind:?}");
        }
    }
}
