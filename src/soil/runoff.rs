//! What runs off a watering, by either method.

use super::{Accumulation, GreenAmpt, Reading, Texture};
use crate::assumptions::{Assumptions, Key};
use crate::units::{Depth, Rate, Time};

/// What a soak between two cycles does for the Green–Ampt method.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Recovery {
    /// The water spreads evenly through the root zone; the next cycle starts afresh at the
    /// higher saturation.
    #[default]
    Redistribute,
    /// Nothing: the next cycle goes on where the last stopped. The cautious bound.
    Carry,
}

/// What the ground does with water: both methods of the same soil.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ground {
    /// The texture class.
    pub texture: Texture,
    /// Slope \[%\].
    pub slope_pct: f64,
    /// Green–Ampt parameters, intake multiplier included.
    pub green_ampt: GreenAmpt,
    /// The accumulation table, intake multiplier included.
    pub accumulation: Accumulation,
    /// Effective saturation when a watering starts.
    pub saturation_start_frac: f64,
    /// What a soak does.
    pub recovery: Recovery,
    /// Depth of the roots, through which water spreads in a soak.
    pub root_depth: Depth,
    /// Depth that may stand on the surface, for the Green–Ampt method only.
    pub surface_storage: Depth,
}

/// Where the water of one watering went. The parts add up: applied = infiltrated + stored +
/// runoff.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct WaterSplit {
    /// Everything that was applied.
    pub applied: Depth,
    /// What entered while water was applied.
    pub infiltrated: Depth,
    /// What stood on the surface when the water stopped; it enters afterwards.
    pub stored: Depth,
    /// What ran off.
    pub runoff: Depth,
}

impl WaterSplit {
    /// Share of the applied depth that ran off; 0 when nothing was applied.
    #[must_use]
    pub fn runoff_frac(&self) -> f64 {
        if self.applied > Depth::ZERO {
            self.runoff / self.applied
        } else {
            0.0
        }
    }
}

/// Surface storage by slope \[%\]: 12.7 mm up to 1 %, 7.6 up to 3 %, 2.5 up to 5 %, none above.
///
/// # References
/// - Dillon, R. C., Hiler, E. A. and Vittetoe, G., "Center-pivot sprinkler design based on intake
///   characteristics", Transactions of the ASAE 15(5), 1972 (from memory).
#[must_use]
pub fn surface_storage(slope_pct: f64) -> Depth {
    let depth_mm = match slope_pct {
        slope if slope <= 1.0 => 12.7,
        slope if slope <= 3.0 => 7.6,
        slope if slope <= 5.0 => 2.5,
        _ => 0.0,
    };
    Depth::of_depth_m(depth_mm / 1_000.0)
}

impl Ground {
    /// The ground that is assumed for a texture and slope.
    ///
    /// Both methods have one intake rate \[mm/h\]: the long-run rate at which a wet soil takes
    /// water is the basic intake IR of the accumulation method and the conductivity K of the
    /// Green–Ampt method. `soil.intake_from` says which of the two tables gives it for the
    /// texture, `soil.intake_multiplier` scales it. As printed the tables differ up to
    /// eightfold for one texture (clay: IR 2.5, K 0.3 mm/h; sand: 15 and 118), which is their
    /// disagreement and not a property of the soil.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions, texture: Texture, slope_pct: f64) -> Ground {
        let multiplier = assumptions.number(Key::SoilIntakeMultiplier);
        let table = texture.accumulation(slope_pct, 1.0);
        let front = texture.green_ampt(Reading::assumed(assumptions));
        let of_texture = match assumptions.choice(Key::SoilIntakeFrom) {
            "conductivity" => front.conductivity,
            _ => table.intake,
        };
        let intake = of_texture * multiplier;
        Ground {
            texture,
            slope_pct,
            green_ampt: GreenAmpt {
                conductivity: intake,
                ..front
            },
            accumulation: Accumulation { intake, ..table },
            saturation_start_frac: assumptions.number(Key::SoilSaturationStart),
            recovery: match assumptions.choice(Key::SoilRecovery) {
                "carry" => Recovery::Carry,
                _ => Recovery::Redistribute,
            },
            root_depth: Depth::of_depth_m(assumptions.number(Key::SoilRootDepth) / 1_000.0),
            surface_storage: match assumptions.choice(Key::SoilSurfaceStorage) {
                "slope" => surface_storage(slope_pct),
                _ => Depth::ZERO,
            },
        }
    }

    /// The same ground with an intake rate that was measured, for both methods.
    #[must_use]
    pub fn with_intake(self, intake: Rate) -> Ground {
        Ground {
            green_ampt: GreenAmpt {
                conductivity: intake,
                ..self.green_ampt
            },
            accumulation: Accumulation {
                intake,
                ..self.accumulation
            },
            ..self
        }
    }

    /// Green–Ampt: equal cycles at a constant rate, the first at the starting saturation. What
    /// stands at the end of a cycle, up to the surface storage, enters during the soak.
    ///
    /// The rate is the mean over the turf. Runoff is convex in the rate, so an uneven lawn sheds
    /// somewhat more than this.
    #[must_use]
    pub fn green_ampt_split(&self, rate: Rate, each: Time, cycles: u32) -> WaterSplit {
        let mut split = WaterSplit::default();
        for _ in 0..cycles {
            let entered = split.infiltrated + split.stored;
            let (front, already) = match self.recovery {
                Recovery::Carry => (
                    self.green_ampt.at_saturation(self.saturation_start_frac),
                    entered,
                ),
                Recovery::Redistribute => (
                    self.green_ampt
                        .at_saturation(self.saturation_after(entered)),
                    Depth::ZERO,
                ),
            };
            let applied = rate * each;
            let infiltrated = front.infiltrated(already, rate, each) - already;
            let excess = applied - infiltrated;
            let stored = if excess > self.surface_storage {
                self.surface_storage
            } else {
                excess
            };
            split.applied = split.applied + applied;
            split.infiltrated = split.infiltrated + infiltrated;
            split.stored = split.stored + stored;
            split.runoff = split.runoff + (excess - stored);
        }
        split
    }

    /// Effective saturation once a depth has spread through the root zone.
    fn saturation_after(&self, entered: Depth) -> f64 {
        let pores_mm = self.green_ampt.effective_porosity * self.root_depth.mm();
        (self.saturation_start_frac + entered.mm() / pores_mm).min(1.0)
    }

    /// The accumulation table: equal cycles, each with its soak, so each starts on a dry surface.
    #[must_use]
    pub fn accumulation_split(&self, rate: Rate, each: Time, cycles: u32) -> WaterSplit {
        let count = f64::from(cycles);
        let applied = rate * each * count;
        let runoff = self.accumulation.runoff(rate, each) * count;
        let standing_mm = (rate - self.accumulation.intake).mm_h().max(0.0) * each.h();
        let stored_mm = standing_mm.min(self.accumulation.allowable.mm()) * count;
        let stored = Depth::of_depth_m(stored_mm / 1_000.0);
        WaterSplit {
            applied,
            infiltrated: applied - stored - runoff,
            stored,
            runoff,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ground(texture: Texture, settings: &[&str]) -> Ground {
        let run = settings
            .iter()
            .fold(Assumptions::defaults(), |run, setting| {
                run.with_setting(setting).unwrap()
            });
        Ground::assumed(&run, texture, 2.0)
    }

    fn minutes(min: f64) -> Time {
        Time::from_min(min).unwrap()
    }

    #[test]
    fn soaking_helps_only_when_it_is_allowed_to() {
        let rate = Rate::from_mm_h(40.0).unwrap();
        let carry = ground(Texture::ClayLoam, &["soil.cycle_recovery=carry"]);
        let whole = carry.green_ampt_split(rate, minutes(24.0), 1);
        let split = carry.green_ampt_split(rate, minutes(8.0), 3);
        assert!((whole.runoff.mm() - split.runoff.mm()).abs() < 1e-9);
        let spread = ground(Texture::ClayLoam, &[]).green_ampt_split(rate, minutes(8.0), 3);
        assert!(spread.runoff < split.runoff);
        assert!(spread.runoff > Depth::ZERO);
    }

    #[test]
    fn surface_storage_holds_water_back_once_a_cycle() {
        let rate = Rate::from_mm_h(40.0).unwrap();
        let bare = ground(Texture::ClayLoam, &[]).green_ampt_split(rate, minutes(10.0), 1);
        let rough = ground(Texture::ClayLoam, &["soil.surface_storage=slope"]).green_ampt_split(
            rate,
            minutes(10.0),
            1,
        );
        assert!(bare.runoff > Depth::ZERO);
        assert_eq!(rough.runoff, Depth::ZERO);
        assert_eq!(rough.infiltrated, bare.infiltrated);
        for (slope_pct, mm) in [(0.0, 12.7), (1.0, 12.7), (3.0, 7.6), (5.0, 2.5), (5.1, 0.0)] {
            assert!((surface_storage(slope_pct).mm() - mm).abs() < 1e-12);
        }
    }

    #[test]
    fn both_methods_account_for_all_water() {
        let mut wet = 0;
        for texture in Texture::ALL {
            for rate_mm_h in [0.0, 5.0, 20.0, 45.0] {
                for cycles in [0, 1, 4] {
                    let ground = ground(texture, &["soil.surface_storage=slope"]);
                    let rate = Rate::from_mm_h(rate_mm_h).unwrap();
                    for split in [
                        ground.green_ampt_split(rate, minutes(12.0), cycles),
                        ground.accumulation_split(rate, minutes(12.0), cycles),
                    ] {
                        let sum = split.infiltrated + split.stored + split.runoff;
                        assert!((sum.mm() - split.applied.mm()).abs() < 1e-9);
                        assert!((0.0..1.0).contains(&split.runoff_frac()));
                        wet += usize::from(split.runoff > Depth::ZERO);
                    }
                }
            }
        }
        assert!(wet > 10);
    }
}
