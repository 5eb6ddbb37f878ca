//! The part of the rain that the turf can use.

use crate::assumptions::{Assumptions, Key};
use crate::units::INCH_M;

const MM_IN: f64 = INCH_M * 1_000.0;

/// How effective rain is reckoned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum EffectiveRain {
    /// Technical Release 21 of the US Soil Conservation Service; see [`tr21_mm`].
    Tr21,
    /// A fixed share of the rain.
    Fixed {
        /// The share, 0 to 1.
        frac: f64,
    },
    /// The short monthly form; see [`short_form_mm`].
    Short,
}

impl EffectiveRain {
    /// The method that is assumed.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> EffectiveRain {
        match assumptions.choice(Key::ClimateRainMethod) {
            "fixed" => EffectiveRain::Fixed {
                frac: assumptions.number(Key::ClimateRainFrac),
            },
            "short" => EffectiveRain::Short,
            _ => EffectiveRain::Tr21,
        }
    }

    /// Effective rain of a month \[mm\], between 0 and the smaller of rain and plant demand.
    /// `storage_mm` is the usable storage of the root zone.
    #[must_use]
    pub fn of_month_mm(self, rain_mm: f64, etc_mm: f64, storage_mm: f64) -> f64 {
        self.of_rain(rain_mm, storage_mm).effective_mm(etc_mm)
    }

    /// The rain of a month, ready for any demand.
    #[must_use]
    pub fn of_rain(self, rain_mm: f64, storage_mm: f64) -> MonthRain {
        let (effective_mm, grows) = match self {
            EffectiveRain::Tr21 => (tr21_at_no_demand_mm(rain_mm, storage_mm), true),
            EffectiveRain::Fixed { frac } => (frac * rain_mm, false),
            EffectiveRain::Short => (short_form_mm(rain_mm), false),
        };
        MonthRain {
            rain_mm,
            effective_mm,
            grows,
        }
    }
}

/// The rain of a month before the demand is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MonthRain {
    rain_mm: f64,
    /// What of it counts where nothing is asked for, before bounds.
    effective_mm: f64,
    /// Whether it grows with the demand, as in TR-21.
    grows: bool,
}

impl MonthRain {
    /// The same with a factor on what counts.
    #[must_use]
    pub fn scaled(self, factor: f64) -> MonthRain {
        MonthRain {
            effective_mm: self.effective_mm * factor,
            ..self
        }
    }

    /// Effective rain for a demand \[mm\], between 0 and the smaller of rain and demand.
    #[must_use]
    pub fn effective_mm(&self, etc_mm: f64) -> f64 {
        let growth = if self.grows {
            libm::exp10(0.024_26 * etc_mm.max(0.0) / MM_IN)
        } else {
            1.0
        };
        (self.effective_mm * growth).clamp(0.0, self.rain_mm.min(etc_mm).max(0.0))
    }
}

fn tr21_at_no_demand_mm(rain_mm: f64, storage_mm: f64) -> f64 {
    let rain_in = rain_mm.max(0.0) / MM_IN;
    let d_in = (storage_mm / MM_IN).clamp(0.5, 7.0);
    let storage_factor = 0.531_747 + d_in * (0.295_164 + d_in * (-0.057_697 + d_in * 0.003_804));
    storage_factor * (0.709_17 * libm::pow(rain_in, 0.824_16) - 0.115_56) * MM_IN
}

/// Effective rain of a month after Technical Release 21, in inches a month:
///
/// `P_e = SF (0.70917 P^0.82416 − 0.11556) 10^(0.02426 ETc)`,
/// `SF = 0.531747 + 0.295164 D − 0.057697 D² + 0.003804 D³`,
///
/// with the rain P, the plant's demand ETc and the usable storage of the root zone D. Monthly
/// totals only, D between about 0.5 and 7 in (taken at these ends beyond them, because the cubic
/// turns); bounded by 0 and the smaller of P and ETc. Below P ≈ 2.8 mm the bracket is negative
/// and the result 0.
///
/// # References
/// - USDA Natural Resources Conservation Service, *National Engineering Handbook* part 623,
///   chapter 2, eq. 2-84 and 2-85 (by public transcriptions).
#[must_use]
pub fn tr21_mm(rain_mm: f64, etc_mm: f64, storage_mm: f64) -> f64 {
    EffectiveRain::Tr21.of_month_mm(rain_mm, etc_mm, storage_mm)
}

/// Effective rain of a month in the short form \[mm\]: `P (125 − 0.2 P)/125` up to 250 mm,
/// `125 + 0.1 P` above.
///
/// # References
/// - Smith, M., *CROPWAT: a computer program for irrigation planning and management*, FAO
///   Irrigation and Drainage Paper 46, 1992 (from memory).
#[must_use]
pub fn short_form_mm(rain_mm: f64) -> f64 {
    if rain_mm <= 250.0 {
        rain_mm * (125.0 - 0.2 * rain_mm) / 125.0
    } else {
        125.0 + 0.1 * rain_mm
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn example_of_technical_release_21() {
        // Worked by hand from NEH 623 eq. 2-84/85 in inches; four printed decimals.
        for (p_in, et_in, d_in, published_in) in [(4.0, 6.0, 3.0, 2.9486), (2.0, 5.0, 1.5, 1.2926)]
        {
            let found_in = tr21_mm(p_in * 25.4, et_in * 25.4, d_in * 25.4) / 25.4;
            assert!(
                (found_in - published_in).abs() < 1e-4,
                "{found_in} {published_in}"
            );
        }
        assert_eq!(tr21_mm(2.8, 100.0, 50.0), 0.0);
        assert_eq!(tr21_mm(0.0, 100.0, 50.0), 0.0);
    }

    #[test]
    fn short_form_joins_at_250_mm() {
        assert!((short_form_mm(250.0) - 150.0).abs() < 1e-9);
        assert!((short_form_mm(250.000_1) - 150.0).abs() < 1e-3);
        assert!((short_form_mm(100.0) - 84.0).abs() < 1e-9);
    }

    #[test]
    fn every_method_stays_between_nothing_and_rain_or_demand() {
        for method in [
            EffectiveRain::Tr21,
            EffectiveRain::Short,
            EffectiveRain::Fixed { frac: 0.5 },
        ] {
            for rain_mm in [0.0, 1.0, 30.0, 400.0] {
                for etc_mm in [0.0, 20.0, 180.0] {
                    let found_mm = method.of_month_mm(rain_mm, etc_mm, 12.75);
                    assert!(
                        (0.0..=rain_mm.min(etc_mm)).contains(&found_mm),
                        "{method:?}"
                    );
                }
            }
        }
    }
}
