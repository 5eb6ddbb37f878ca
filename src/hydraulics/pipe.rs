//! What a pipe takes of the pressure.
//!
//! # References
//! - Williams, G. S. and Hazen, A., *Hydraulic Tables*, Wiley, 1905; SI form `10.667` with
//!   exponents 1.852 and 4.871 as in Rossman, L. A. et al., *EPANET 2.2 User Manual*, US EPA,
//!   2020, table 3.1 (in SI units; from memory).
//! - Christiansen, J. E., *Irrigation by Sprinkling*, California Agricultural Experiment Station
//!   Bulletin 670, 1942 (many equal outlets; formula from memory).
//! - Jensen, M. C. and Fratini, A. M., "Adjusted F factors for sprinkler lateral design",
//!   Agricultural Engineering 38(4), 1957 (first outlet at half spacing; from memory).

use super::GRAVITY_M_S2;

/// Exponent of the flow in the Hazen–Williams formula.
pub const FLOW_POWER: f64 = 1.852;
/// Exponent of the inside diameter.
pub const DIAMETER_POWER: f64 = 4.871;
/// Coefficient for metres and cubic metres a second.
pub const COEFFICIENT_SI: f64 = 10.667;
/// Litres a minute in a cubic metre a second.
const LPM_PER_M3_S: f64 = 60_000.0;
const MM_PER_M: f64 = 1_000.0;

/// Friction loss by Hazen–Williams \[m of water\]:
/// `h = 10.667 · L · Q^1.852 / (C^1.852 · D^4.871)`, Q in m³/s, D and L in m.
///
/// Holds for turbulent flow in pipes wider than about 15 mm and velocities below 3 m/s. The sign
/// follows the flow; no flow loses nothing.
#[must_use]
pub fn friction_m(length_m: f64, flow_lpm: f64, inside_mm: f64, roughness_c: f64) -> f64 {
    let flow_m3_s = flow_lpm.abs() / LPM_PER_M3_S;
    let loss_m = COEFFICIENT_SI * length_m * libm::pow(flow_m3_s / roughness_c, FLOW_POWER)
        / libm::pow(inside_mm / MM_PER_M, DIAMETER_POWER);
    if flow_lpm < 0.0 { -loss_m } else { loss_m }
}

/// Mean velocity \[m/s\].
#[must_use]
pub fn velocity_m_s(flow_lpm: f64, inside_mm: f64) -> f64 {
    let radius_m = inside_mm / MM_PER_M / 2.0;
    flow_lpm / LPM_PER_M3_S / (std::f64::consts::PI * radius_m * radius_m)
}

/// Flow at a velocity \[L/min\].
#[must_use]
pub fn flow_at_velocity_lpm(velocity_m_s: f64, inside_mm: f64) -> f64 {
    velocity_m_s / self::velocity_m_s(1.0, inside_mm)
}

/// Loss in a fitting \[m of water\]: `h = K · v² / (2 g)`.
#[must_use]
pub fn minor_m(coefficient_k: f64, velocity_m_s: f64) -> f64 {
    coefficient_k * velocity_m_s * velocity_m_s / (2.0 * GRAVITY_M_S2)
}

/// Christiansen's factor: loss of a pipe with `outlets` equal outlets, the first one spacing from
/// the inlet, over the loss of the same pipe with the whole flow to its end:
/// `F = 1/(m+1) + 1/(2N) + √(m−1)/(6N²)`, m = 1.852. One outlet has F = 1; none has no pipe,
/// `None`.
#[must_use]
pub fn outlet_factor(outlets: u32) -> Option<f64> {
    let n = f64::from(outlets);
    match outlets {
        0 => None,
        1 => Some(1.0),
        _ => Some(1.0 / (FLOW_POWER + 1.0) + 0.5 / n + (FLOW_POWER - 1.0).sqrt() / (6.0 * n * n)),
    }
}

/// The same with the first outlet at half a spacing, to be applied to the length (N − ½) · s:
/// `F' = 2N/(2N−1) · [1/(m+1) + √(m−1)/(6N²)]`.
#[must_use]
pub fn outlet_factor_half(outlets: u32) -> Option<f64> {
    let n = f64::from(outlets);
    match outlets {
        0 => None,
        1 => Some(1.0),
        _ => Some(
            2.0 * n / (2.0 * n - 1.0)
                * (1.0 / (FLOW_POWER + 1.0) + (FLOW_POWER - 1.0).sqrt() / (6.0 * n * n)),
        ),
    }
}

/// The exact factor for equal outlets: `Σ (k/N)^m / N`.
#[must_use]
pub fn outlet_factor_exact(outlets: u32) -> Option<f64> {
    let n = f64::from(outlets);
    (outlets > 0).then(|| {
        (1..=outlets)
            .map(|k| libm::pow(f64::from(k) / n, FLOW_POWER))
            .sum::<f64>()
            / n
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_flow_loses_nothing_and_the_sign_follows_the_flow() {
        assert_eq!(friction_m(10.0, 0.0, 25.0, 150.0), 0.0);
        let forth = friction_m(10.0, 20.0, 25.0, 150.0);
        assert!(forth > 0.0);
        assert_eq!(friction_m(10.0, -20.0, 25.0, 150.0), -forth);
    }

    #[test]
    fn velocity_and_flow_are_inverse() {
        let flow_lpm = flow_at_velocity_lpm(1.5, 27.2);
        assert!((velocity_m_s(flow_lpm, 27.2) - 1.5).abs() < 1e-12);
    }
}
