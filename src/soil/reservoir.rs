//! The water that the root zone holds and lends between waterings.

use super::Texture;
use crate::assumptions::{Assumptions, Key};

/// The root zone as a store of water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reservoir {
    /// Available water of the whole root zone \[mm\]: capacity × depth.
    pub available_mm: f64,
    /// Share of it that may be used up between waterings.
    pub depletion_frac: f64,
    /// Depth of the roots \[mm\].
    pub root_depth_mm: f64,
}

impl Reservoir {
    /// The reservoir that is assumed for a texture.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions, texture: Texture) -> Reservoir {
        let root_depth_mm = assumptions.number(Key::SoilRootDepth);
        let capacity_mm_m =
            texture.available_water_mm_m() * assumptions.number(Key::SoilAvailableWater);
        let depletion = if texture.is_clay() {
            Key::SoilDepletionClay
        } else {
            Key::SoilDepletion
        };
        Reservoir {
            available_mm: capacity_mm_m * root_depth_mm / 1_000.0,
            depletion_frac: assumptions.number(depletion),
            root_depth_mm,
        }
    }

    /// Usable storage, the net depth of one watering \[mm\]: available water × allowed depletion.
    #[must_use]
    pub fn usable_mm(&self) -> f64 {
        self.available_mm * self.depletion_frac
    }

    /// Whole days from one watering to the next: `max(1, floor(usable / (ETc − P_e)))`, with
    /// plant demand and effective rain a day. `None` when rain covers the demand: no watering.
    #[must_use]
    pub fn interval_days(&self, etc_mm_d: f64, effective_rain_mm_d: f64) -> Option<u32> {
        let use_mm_d = etc_mm_d - effective_rain_mm_d;
        if use_mm_d <= 0.0 {
            return None;
        }
        // Whole intervals are not lost to rounding; a year is long enough for any store.
        let days = (self.usable_mm() / use_mm_d + 1e-9)
            .floor()
            .clamp(1.0, 365.0);
        Some(days as u32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn loam_lends_twelve_millimetres() {
        // Worked example with the values of the Irrigation Association, 2005: loam 170 mm/m,
        // 0.15 m, half: 12.75 mm; demand 4.56 mm/d: 2.796 days, so every second day.
        let loam = Reservoir::assumed(&Assumptions::defaults(), Texture::Loam);
        assert!((loam.usable_mm() - 12.75).abs() < 1e-9);
        assert_eq!(loam.interval_days(5.7 * 0.8, 0.0), Some(2));
        assert_eq!(loam.interval_days(4.25, 0.0), Some(3));
        assert_eq!(loam.interval_days(50.0, 0.0), Some(1));
        assert_eq!(loam.interval_days(2.0, 2.0), None);
        assert_eq!(loam.interval_days(1e-12, 0.0), Some(365));
        let clay = Reservoir::assumed(&Assumptions::defaults(), Texture::Clay);
        assert!((clay.usable_mm() - 10.2).abs() < 1e-9);
    }
}
