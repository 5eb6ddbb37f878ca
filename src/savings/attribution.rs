//! Which cause saves how much: schedule, uniformity, runoff, drift, overspray, pressure.

use serde::{Deserialize, Serialize};

use super::shapley;
use crate::budget::{Hardware, Lawn, ScenarioWater, year};

/// One side of a comparison.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Side {
    /// The hardware.
    pub hardware: Hardware,
    /// Runoff of each month, as a fraction.
    pub runoff_frac: [f64; 12],
    /// Gross depth of each month where the clock sets it \[mm\]; `None` when the watering follows
    /// the need.
    pub clock_gross_mm: Option<[f64; 12]>,
}

impl Side {
    /// A side that waters to need, with the runoff that is reported.
    #[must_use]
    pub fn to_need(hardware: &Hardware, water: &ScenarioWater) -> Side {
        Side {
            hardware: *hardware,
            runoff_frac: *water.runoff(),
            clock_gross_mm: None,
        }
    }

    /// A side whose depths the clock sets.
    #[must_use]
    pub fn by_clock(hardware: &Hardware, water: &ScenarioWater) -> Side {
        let gross_mm = water.year().months.map(|month| month.gross_mm);
        Side {
            clock_gross_mm: Some(gross_mm),
            ..Side::to_need(hardware, water)
        }
    }
}

/// The parts of a saving \[m³/yr\]. They add up to it but for rounding; a part may be negative.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Attribution {
    /// From a clock that follows the need.
    pub schedule_m3_yr: f64,
    /// From a more even drawing and more even nozzles.
    pub uniformity_m3_yr: f64,
    /// From less runoff.
    pub runoff_m3_yr: f64,
    /// From less drift and evaporation.
    pub drift_m3_yr: f64,
    /// From less water outside the turf.
    pub overspray_m3_yr: f64,
    /// From regulated pressure, as far as it makes the lawn more even and loses less as mist.
    /// Less flow through a nozzle is no saving where the clock follows the need: it runs longer.
    pub pressure_m3_yr: f64,
}

impl Attribution {
    /// From the parts in the order of the fields.
    #[must_use]
    pub fn of_parts(parts: [f64; 6]) -> Attribution {
        let [schedule, uniformity, runoff, drift, overspray, pressure] = parts;
        Attribution {
            schedule_m3_yr: schedule,
            uniformity_m3_yr: uniformity,
            runoff_m3_yr: runoff,
            drift_m3_yr: drift,
            overspray_m3_yr: overspray,
            pressure_m3_yr: pressure,
        }
    }

    /// The parts in the order of the fields.
    #[must_use]
    pub fn parts(&self) -> [f64; 6] {
        [
            self.schedule_m3_yr,
            self.uniformity_m3_yr,
            self.runoff_m3_yr,
            self.drift_m3_yr,
            self.overspray_m3_yr,
            self.pressure_m3_yr,
        ]
    }

    /// Adds the parts of another turf area.
    pub fn add(&mut self, other: &Attribution) {
        self.schedule_m3_yr += other.schedule_m3_yr;
        self.uniformity_m3_yr += other.uniformity_m3_yr;
        self.runoff_m3_yr += other.runoff_m3_yr;
        self.drift_m3_yr += other.drift_m3_yr;
        self.overspray_m3_yr += other.overspray_m3_yr;
        self.pressure_m3_yr += other.pressure_m3_yr;
    }

    /// Their sum \[m³/yr\].
    #[must_use]
    pub fn total_m3_yr(&self) -> f64 {
        self.parts().iter().sum()
    }
}

/// Splits the saving from `base` to `new` by cause, each with its fair share of what the causes
/// do together (Shapley). Condition counts with uniformity.
#[must_use]
pub fn attribute(lawn: &Lawn<'_>, base: &Side, new: &Side) -> Attribution {
    let parts = shapley(|changed: [bool; 6]| {
        let of = |cause: usize| if changed[cause] { new } else { base };
        let hardware = Hardware {
            cv_drawn: of(1).hardware.cv_drawn,
            nozzle: of(1).hardware.nozzle,
            condition: of(1).hardware.condition,
            drift_frac: of(3).hardware.drift_frac,
            over_frac: of(4).hardware.over_frac,
            regulation: of(5).hardware.regulation,
            pressure_cv2: of(5).hardware.pressure_cv2,
            mist_frac: of(5).hardware.mist_frac,
            rate: new.hardware.rate,
        };
        match of(0).clock_gross_mm {
            Some(gross_mm) => {
                let sent_mm: f64 = gross_mm.iter().sum();
                sent_mm / 1_000.0 * lawn.demand.area_m2 / (1.0 - hardware.over_frac)
            }
            None => year(&lawn.demand_with(&hardware, of(2).runoff_frac)).use_m3_yr,
        }
    });
    Attribution::of_parts(parts)
}
