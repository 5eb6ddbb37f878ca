//! What public programs would allow, beside the plan: the state landscape ordinance and the
//! federal budget for new homes. Both are kept in their legal US form (inches, square feet,
//! gallons) inside, and take and give SI quantities.

use crate::assumptions::{Assumptions, Key};
use crate::units::{Area, Depth, Rate, Volume};

/// Gallons to a square foot and inch as the ordinance rounds it (exact: 0.623377).
const ORDINANCE_GAL: f64 = 0.62;
/// The same in the federal budget.
const FEDERAL_GAL: f64 = 0.6233;

fn gallons(per_foot_inch: f64, depth: Depth, area: Area) -> Volume {
    let exact_gal_per_foot_inch = 1_728.0 / 231.0 / 12.0;
    depth * area * (per_foot_inch / exact_gal_per_foot_inch)
}

/// A planting with one plant factor and one way of watering.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hydrozone {
    /// Plant factor.
    pub plant_factor: f64,
    /// Irrigation efficiency, above 0 to 1. Contains unevenness: never multiply it with a
    /// run-time multiplier.
    pub efficiency: f64,
    /// Area.
    pub area: Area,
}

/// Maximum applied water allowance of a year under the state landscape ordinance:
/// `MAWA = ETo · 0.62 · (ETAF · LA + (1 − ETAF) · SLA)`, LA the whole landscape *including* the
/// special area SLA. ETo less the rain that may be credited.
///
/// # References
/// - California Code of Regulations, title 23, section 492.4, 2015 text (municipal copies).
#[must_use]
pub fn ordinance_allowance(eto: Depth, adjustment: f64, landscape: Area, special: Area) -> Volume {
    let weighted = landscape * adjustment + special * (1.0 - adjustment);
    gallons(ORDINANCE_GAL, eto, weighted)
}

/// Estimated total water use of a year under the same ordinance:
/// `ETWU = ETo · 0.62 · (Σ PF · HA / IE + SLA)`, the hydrozones *without* the special area. A
/// plan complies when it does not exceed the allowance.
#[must_use]
pub fn ordinance_use(eto: Depth, zones: &[Hydrozone], special: Area) -> Volume {
    let weighted: Area = zones
        .iter()
        .map(|zone| zone.area * (zone.plant_factor / zone.efficiency))
        .sum();
    gallons(ORDINANCE_GAL, eto, weighted + special)
}

/// Landscape water allowance of the peak month in the federal budget for new homes:
/// `LWA = 0.70 · ETo · A · 0.6233`.
///
/// # References
/// - US Environmental Protection Agency, *WaterSense Water Budget Approach*, revised 2009.
#[must_use]
pub fn home_allowance(eto_month: Depth, adjustment: f64, landscape: Area) -> Volume {
    gallons(FEDERAL_GAL, eto_month * adjustment, landscape)
}

/// Landscape water requirement of one zone in the same budget:
/// `LWR = (1/DU) · (ETo · K − R_a) · A · 0.6233`, R_a the rain that counts; nothing when rain
/// covers the demand.
#[must_use]
pub fn home_requirement(
    eto_month: Depth,
    plant_factor: f64,
    counted_rain: Depth,
    du_lq: f64,
    area: Area,
) -> Volume {
    let net = eto_month * plant_factor - counted_rain;
    let net = if net > Depth::ZERO { net } else { Depth::ZERO };
    gallons(FEDERAL_GAL, net * (1.0 / du_lq), area)
}

/// Whether a family is refused on a slope: above 25 % nothing faster than 19 mm/h (0.75 in/h).
///
/// # References
/// - California Code of Regulations, title 23, section 492.7(a)(1)(V), 2015 text.
#[must_use]
pub fn refused_on_slope(assumptions: &Assumptions, slope_pct: f64, rate: Rate) -> bool {
    slope_pct > assumptions.number(Key::OrdinanceSteepSlope)
        && rate.mm_h() > assumptions.number(Key::OrdinanceSteepRate)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steep_and_fast_is_refused() {
        let run = Assumptions::defaults();
        let refused = |slope_pct: f64, mm_h: f64| {
            refused_on_slope(&run, slope_pct, Rate::from_mm_h(mm_h).unwrap())
        };
        assert!(refused(26.0, 40.0) && refused(26.0, 20.0));
        assert!(!refused(26.0, 10.0) && !refused(25.0, 40.0));
    }
}
