//! Cycle and soak by the table of allowable surface accumulation.
//!
//! A station may run until the depth that stands on the surface, (PR − IR)·t, reaches the
//! accumulation that its slope allows; then it soaks. The table already contains what the surface
//! stores, so surface storage is never added to it.
//!
//! # References
//! - Smart Water Application Technologies, *Climatologically based controllers: test protocol*
//!   (irrigation industry; values by one full transcription, intake and the flattest column
//!   confirmed by a second).

use super::Texture;
use crate::units::{Depth, Rate, Time};

/// Guards whole numbers against rounding.
const ROUNDING: f64 = 1e-9;
/// More cycles than this are not a schedule.
const MOST_CYCLES: f64 = 100_000.0;

/// Basic intake and allowable accumulation of a texture on a slope.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Accumulation {
    /// Basic intake rate IR.
    pub intake: Rate,
    /// Depth that may stand on the surface, ASA.
    pub allowable: Depth,
}

/// Equal cycles with soaks between them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cycles {
    /// How many; 0 when there is nothing to run.
    pub count: u32,
    /// Run time of each.
    pub each: Time,
    /// Rest between two; none after the last.
    pub soak: Time,
}

impl Cycles {
    /// Run times and soaks together.
    #[must_use]
    pub fn span(&self) -> Time {
        let count = f64::from(self.count);
        self.each * count + self.soak * (count - 1.0).max(0.0)
    }
}

impl Texture {
    /// Basic intake and allowable accumulation on a slope \[%\]. Classes: up to 3, 6, 12 %, and
    /// above. Textures that the table lacks take the nearest that it has (common practice, no
    /// source): silt and silt loam that of loam, sandy and silty clay loam that of clay loam,
    /// sandy clay that of silty clay. `intake_multiplier` scales the intake.
    #[must_use]
    pub fn accumulation(self, slope_pct: f64, intake_multiplier: f64) -> Accumulation {
        let (intake_in_h, allowable_in) = match self {
            Texture::Clay => (0.10, [0.20, 0.15, 0.10, 0.10]),
            Texture::SiltyClay | Texture::SandyClay => (0.15, [0.23, 0.19, 0.16, 0.13]),
            Texture::ClayLoam | Texture::SandyClayLoam | Texture::SiltyClayLoam => {
                (0.20, [0.26, 0.22, 0.18, 0.15])
            }
            Texture::Loam | Texture::SiltLoam | Texture::Silt => (0.35, [0.30, 0.25, 0.21, 0.17]),
            Texture::SandyLoam => (0.40, [0.33, 0.29, 0.24, 0.20]),
            Texture::LoamySand => (0.50, [0.36, 0.30, 0.26, 0.22]),
            Texture::Sand => (0.60, [0.40, 0.35, 0.30, 0.25]),
        };
        let class = [3.0, 6.0, 12.0]
            .iter()
            .filter(|&&bound| slope_pct > bound)
            .count();
        Accumulation {
            intake: Rate::of_m_s(intake_in_h * 0.0254 / 3_600.0) * intake_multiplier,
            allowable: Depth::of_depth_m(allowable_in[class] * 0.0254),
        }
    }

    /// The class whose basic intake is nearest to a measured one \[mm/h\], by ratio; the coarser
    /// of equals.
    #[must_use]
    pub fn nearest_to_intake(intake_mm_h: f64) -> Texture {
        const STEPS: [Texture; 7] = [
            Texture::Sand,
            Texture::LoamySand,
            Texture::SandyLoam,
            Texture::Loam,
            Texture::ClayLoam,
            Texture::SiltyClay,
            Texture::Clay,
        ];
        let distance = |class: Texture| {
            let table_mm_h = class.accumulation(0.0, 1.0).intake.mm_h();
            (libm::log(intake_mm_h.max(1e-6)) - libm::log(table_mm_h)).abs()
        };
        STEPS.into_iter().fold(Texture::Sand, |best, class| {
            if distance(class) < distance(best) - ROUNDING {
                class
            } else {
                best
            }
        })
    }
}

impl Accumulation {
    /// Longest run at a rate before the allowable depth stands: `ASA/(PR − IR)`; `None` when the
    /// soil takes the rate for ever.
    #[must_use]
    pub fn longest_run(&self, rate: Rate) -> Option<Time> {
        (rate > self.intake).then(|| self.allowable / (rate - self.intake))
    }

    /// The soak after which a full accumulation has entered: `ASA/IR`.
    #[must_use]
    pub fn full_soak(&self) -> Time {
        self.allowable / self.intake
    }

    /// Equal cycles for a run time: `ceil(RT/t_max)` of them, each within the longest run, with
    /// full soaks between. No run time gives no cycle; a rate that the soil takes gives one.
    #[must_use]
    pub fn cycles(&self, rate: Rate, run_time: Time) -> Cycles {
        if run_time <= Time::ZERO {
            return Cycles {
                count: 0,
                each: Time::ZERO,
                soak: Time::ZERO,
            };
        }
        let count = match self.longest_run(rate) {
            None => 1.0,
            Some(longest) => (run_time / longest - ROUNDING)
                .ceil()
                .clamp(1.0, MOST_CYCLES),
        };
        let soak = if count > 1.0 {
            self.full_soak()
        } else {
            Time::ZERO
        };
        Cycles {
            count: count as u32,
            each: run_time * (1.0 / count),
            soak,
        }
    }

    /// What runs off one run by this table: `max(0, (PR − IR)·t − ASA)`.
    #[must_use]
    pub fn runoff(&self, rate: Rate, run_time: Time) -> Depth {
        let standing_mm = (rate - self.intake).mm_h() * run_time.h();
        Depth::of_depth_m((standing_mm - self.allowable.mm()).max(0.0) / 1_000.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slope_classes_end_at_their_bounds() {
        let allowable = |slope_pct: f64| {
            Texture::Clay
                .accumulation(slope_pct, 1.0)
                .allowable
                .inches()
        };
        for (slope_pct, inches) in [
            (0.0, 0.20),
            (3.0, 0.20),
            (3.1, 0.15),
            (6.0, 0.15),
            (6.1, 0.10),
            (12.0, 0.10),
            (80.0, 0.10),
        ] {
            assert!((allowable(slope_pct) - inches).abs() < 1e-12, "{slope_pct}");
        }
    }

    #[test]
    fn finer_and_steeper_takes_less() {
        let order = [
            Texture::Sand,
            Texture::LoamySand,
            Texture::SandyLoam,
            Texture::Loam,
            Texture::ClayLoam,
            Texture::SiltyClay,
            Texture::Clay,
        ];
        for pair in order.windows(2) {
            for slope_pct in [0.0, 5.0, 10.0, 20.0] {
                let (coarse, fine) = (
                    pair[0].accumulation(slope_pct, 1.0),
                    pair[1].accumulation(slope_pct, 1.0),
                );
                assert!(coarse.intake > fine.intake && coarse.allowable > fine.allowable);
            }
        }
        assert_eq!(
            order.map(|class| Texture::nearest_to_intake(
                class.accumulation(0.0, 1.0).intake.mm_h()
            )),
            order
        );
        assert_eq!(Texture::nearest_to_intake(0.0), Texture::Clay);
        assert_eq!(Texture::nearest_to_intake(500.0), Texture::Sand);
    }

    #[test]
    fn nothing_to_run_and_rates_that_the_soil_takes() {
        let loam = Texture::Loam.accumulation(2.0, 1.0);
        let slow = Rate::from_mm_h(8.0).unwrap();
        let hour = Time::from_h(1.0).unwrap();
        assert_eq!(loam.cycles(slow, Time::ZERO).count, 0);
        assert_eq!(loam.cycles(slow, Time::ZERO).span(), Time::ZERO);
        assert_eq!(
            loam.cycles(slow, hour),
            Cycles {
                count: 1,
                each: hour,
                soak: Time::ZERO
            }
        );
        assert_eq!(loam.longest_run(loam.intake), None);
        assert_eq!(loam.runoff(slow, hour), Depth::ZERO);
    }
}
