//! Quantities as people read them: in SI units, or in those of the United States.

use super::page::figure;
use crate::units::{FOOT_M, GALLON_M3, INCH_M, PSI_PA};

const MM_M: f64 = 1_000.0;
const LITRES_M3: f64 = 1_000.0;
const PA_KPA: f64 = 1_000.0;
const GALLONS_KGAL: f64 = 1_000.0;

/// The units of a page.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Units {
    /// Metres, litres, kilopascals.
    #[default]
    Si,
    /// Feet, US gallons, pounds on the square inch.
    Us,
}

impl Units {
    /// A number of one unit, turned into the other where that is asked for.
    fn set(self, value: Option<f64>, si: (&str, usize), us: (&str, usize, f64)) -> String {
        let (unit, decimals, value) = match self {
            Units::Si => (si.0, si.1, value),
            Units::Us => (us.0, us.1, value.map(|value| value / us.2)),
        };
        match value {
            Some(value) => format!("{}\u{a0}{unit}", figure(Some(value), decimals)),
            None => "–".to_owned(),
        }
    }

    /// A length given in metres.
    #[must_use]
    pub fn length(self, m: Option<f64>) -> String {
        self.set(m, ("m", 2), ("ft", 1, FOOT_M))
    }

    /// A number of metres in the unit of lengths.
    #[must_use]
    pub fn in_length(self, m: f64) -> f64 {
        match self {
            Units::Si => m,
            Units::Us => m / FOOT_M,
        }
    }

    /// The unit of lengths, spelt out.
    #[must_use]
    pub fn length_unit(self) -> &'static str {
        match self {
            Units::Si => "metres",
            Units::Us => "feet",
        }
    }

    /// Decimals to which a throw can be set: 0.05 m, 0.1 ft.
    #[must_use]
    pub fn length_decimals(self) -> usize {
        match self {
            Units::Si => 2,
            Units::Us => 1,
        }
    }

    /// An area given in square metres.
    #[must_use]
    pub fn area(self, m2: Option<f64>) -> String {
        self.set(m2, ("m²", 0), ("ft²", 0, FOOT_M * FOOT_M))
    }

    /// A flow given in litres a minute.
    #[must_use]
    pub fn flow(self, lpm: Option<f64>) -> String {
        self.set(lpm, ("L/min", 1), ("gpm", 1, GALLON_M3 * LITRES_M3))
    }

    /// A pressure given in kilopascals.
    #[must_use]
    pub fn pressure(self, kpa: Option<f64>) -> String {
        self.set(kpa, ("kPa", 0), ("psi", 0, PSI_PA / PA_KPA))
    }

    /// A rate given in millimetres an hour.
    #[must_use]
    pub fn rate(self, mm_h: Option<f64>) -> String {
        self.set(mm_h, ("mm/h", 1), ("in/h", 2, INCH_M * MM_M))
    }

    /// A volume given in cubic metres; the other unit is a thousand gallons.
    #[must_use]
    pub fn volume(self, m3: Option<f64>) -> String {
        self.set(m3, ("m³", 0), ("kgal", 1, GALLON_M3 * GALLONS_KGAL))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_factors() {
        // NIST Special Publication 811 (2008), appendix B: 1 ft = 0.3048 m, 1 gal (US) = 3.785412 L,
        // 1 psi = 6.894757 kPa, 1 in = 25.4 mm.
        let us = Units::Us;
        assert_eq!(us.length(Some(30.48)), "100.0\u{a0}ft");
        assert_eq!(us.area(Some(9.290_304)), "100\u{a0}ft²");
        assert_eq!(us.flow(Some(37.854_12)), "10.0\u{a0}gpm");
        assert_eq!(us.pressure(Some(206.842_71)), "30\u{a0}psi");
        assert_eq!(us.rate(Some(40.0)), "1.57\u{a0}in/h");
        // 1 m³ is 264.172 gal.
        assert_eq!(us.volume(Some(100.0)), "26.4\u{a0}kgal");
        assert_eq!(Units::Si.rate(Some(40.0)), "40.0\u{a0}mm/h");
        assert_eq!(Units::Si.length(None), "–");
    }
}
