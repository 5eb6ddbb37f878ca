//! Another family's nozzles on heads that stay as they are set.

use super::super::draft::GAP_FRAC;
use super::super::{Role, Setter};
use crate::catalogue::{Family, Head, Pattern};

/// The same heads with nozzles of a family: each keeps its place, its arc as nearly as the family
/// offers it, and its throw as nearly as the family has it. No search is made.
///
/// `None` where a throw is longer than the family's longest by more than 5 %, so that its heads
/// would no longer reach one another, or a head waters a strip.
#[must_use]
pub fn refitted(heads: &[Head], family: &Family) -> Option<Vec<Head>> {
    let setter = Setter { family };
    let (shortest_m, longest_m) = (family.shortest_m(), family.longest_m());
    heads
        .iter()
        .map(|head| {
            let Pattern::Sector {
                radius_m,
                start_deg,
                sweep_deg,
            } = head.pattern
            else {
                return None;
            };
            if radius_m > GAP_FRAC * longest_m {
                return None;
            }
            let arc_deg = setter.nearest_sweep_deg(sweep_deg);
            let start_deg = start_deg + (sweep_deg - arc_deg) / 2.0;
            let throw_m = radius_m.clamp(shortest_m, longest_m);
            Some(setter.head(head.at, Role::Kept, throw_m, start_deg, arc_deg))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Catalogue;
    use crate::shape::Point;
    use crate::units::Flow;

    fn head(radius_m: f64, start_deg: f64, sweep_deg: f64) -> Head {
        Head {
            at: Point::new(1.0, 2.0),
            role: Role::Edge,
            pattern: Pattern::Sector {
                radius_m,
                start_deg,
                sweep_deg,
            },
            nozzle: 0,
            flow: Flow::ZERO,
        }
    }

    #[test]
    fn arc_and_throw_stay_and_the_flow_is_the_family_s() {
        let catalogue = Catalogue::generic();
        let mid = catalogue.family("rotary-mid").unwrap();
        let heads = refitted(&[head(4.0, 10.0, 90.0), head(1.5, 0.0, 360.0)], mid).unwrap();
        let (one, two) = (&heads[0], &heads[1]);
        let Pattern::Sector {
            radius_m,
            start_deg,
            sweep_deg,
        } = one.pattern
        else {
            panic!("a sector")
        };
        assert_eq!((radius_m, start_deg, sweep_deg), (4.0, 10.0, 90.0));
        assert_eq!((one.at, one.role), (Point::new(1.0, 2.0), Role::Kept));
        // 20 mm/h on a square of 4 m: 5.333 L/min for the full circle.
        assert!((one.flow.lpm() - 16.0 / 3.0 / 4.0).abs() < 1e-6);
        // 1.5 m is below the family's shortest throw.
        assert!(matches!(two.pattern, Pattern::Sector { radius_m, .. } if radius_m == 2.0));
    }

    #[test]
    fn a_throw_beyond_the_family_is_refused() {
        let catalogue = Catalogue::generic();
        let slow = catalogue.family("rotary-slow").unwrap();
        assert!(refitted(&[head(10.4, 0.0, 90.0)], slow).is_some());
        assert!(refitted(&[head(10.6, 0.0, 90.0)], slow).is_none());
    }
}
