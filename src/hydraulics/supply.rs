//! What there is to begin with: safe flow and pressure, down to the far side of a valve.
//!
//! From a static pressure: static less an allowance, less service line, meter, backflow device,
//! main, valve. From working readings in the field: the reading stands for everything before the
//! valve, at the nearest and at the farthest station; between them it is shared out by distance.
//!
//! # References
//! - AWWA C700, *Cold-Water Meters – Displacement Type, Metal Alloy Main Case*: safe maximum flows
//!   of small meters (from memory).

use super::KPA_PER_M;
use super::pipe::{flow_at_velocity_lpm, friction_m};
use crate::assumptions::{Assumptions, Key};
use crate::shape::Point;

/// Safe maximum of displacement meters by nominal size: 20, 30, 50, 100 and 160 gpm for 5/8 to 2
/// inches (AWWA C700, from memory), 320 gpm for 3 inches (from memory) \[mm, L/min\].
const METER_SAFE_LPM: [(f64, f64); 6] = [
    (15.0, 75.7),
    (20.0, 113.6),
    (25.0, 189.3),
    (40.0, 378.5),
    (50.0, 605.7),
    (80.0, 1_211.3),
];

/// The safe maximum of a meter \[L/min\]: that of the next smaller size in the table; below and
/// beyond the table in proportion to the bore's area.
#[must_use]
pub fn meter_safe_lpm(nominal_mm: f64) -> f64 {
    let (smallest, largest) = (METER_SAFE_LPM[0], METER_SAFE_LPM[METER_SAFE_LPM.len() - 1]);
    let by_area = |(mm, lpm): (f64, f64)| lpm * (nominal_mm / mm) * (nominal_mm / mm);
    if nominal_mm < smallest.0 {
        by_area(smallest)
    } else if nominal_mm > largest.0 {
        by_area(largest)
    } else {
        METER_SAFE_LPM
            .iter()
            .rev()
            .find(|(mm, _)| *mm <= nominal_mm)
            .map_or(smallest.1, |(_, lpm)| *lpm)
    }
}

/// Why the safe flow is what it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FlowLimit {
    /// Somebody measured or decided it.
    Given,
    /// A share of the meter's safe maximum.
    Meter,
    /// The loss in the meter as a share of the static pressure.
    MeterLoss,
    /// The velocity in the service line.
    Service,
}

/// What is known of the pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reading {
    /// Static, without flow; assumed or read.
    Static {
        /// At the point of connection \[kPa\].
        kpa: f64,
    },
    /// Behind a pump \[kPa\].
    Pump {
        /// At its outlet while it runs.
        kpa: f64,
    },
    /// While a station runs.
    Working {
        /// At the station nearest to the point of connection \[kPa\].
        near_kpa: f64,
        /// At the farthest; `None` where it was not read.
        far_kpa: Option<f64>,
    },
}

/// One point of connection.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Source {
    /// Where it is; `None` where no layer says.
    pub at: Option<Point>,
    /// What is known of its pressure.
    pub reading: Reading,
    /// Whether somebody read a pressure here.
    pub is_read: bool,
    /// Most that a station may draw \[L/min\].
    pub safe_lpm: f64,
    /// Why no more.
    pub limit: FlowLimit,
    /// Nominal size of meter and service line \[mm\].
    pub size_mm: f64,
    /// Inside diameter of the service line \[mm\].
    pub bore_mm: f64,
    /// Whether the size follows from the flow alone.
    pub is_size_inferred: bool,
    /// Whether its static pressure is above that which plumbing may have, so that a pressure reducer
    /// belongs before everything.
    pub needs_reducer: bool,
    /// Least flow of its pump \[L/min\]; 0 without a pump.
    pub pump_least_lpm: f64,
}

/// Losses before the laterals that do not depend on the place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Losses {
    /// Share taken off a static pressure.
    pub static_allowance_frac: f64,
    /// In the meter at its safe maximum \[kPa\].
    pub meter_at_safe_kpa: f64,
    /// In the backflow device \[kPa\].
    pub backflow_kpa: f64,
    /// In an open valve \[kPa\].
    pub valve_kpa: f64,
    /// Length of the service line \[m\].
    pub service_m: f64,
    /// Hazen–Williams C of the service line.
    pub service_c: f64,
    /// Hazen–Williams C of plastic pipe.
    pub pipe_c: f64,
    /// Length added to mains and laterals for their fittings, as a share.
    pub fittings_frac: f64,
}

impl Losses {
    /// What is assumed.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> Losses {
        let number = |key| assumptions.number(key);
        Losses {
            static_allowance_frac: number(Key::SupplyStaticAllowance),
            meter_at_safe_kpa: number(Key::SupplyMeterLoss),
            backflow_kpa: number(Key::SupplyBackflow),
            valve_kpa: number(Key::ValveLoss),
            service_m: number(Key::SupplyServiceLength),
            service_c: number(Key::SupplyServiceC),
            pipe_c: number(Key::PipeC),
            fittings_frac: number(Key::PipeFittings),
        }
    }
}

/// The safe flow of a meter of a nominal size and a service line of a bore: the least of a share of the
/// meter's safe maximum, the flow at which the meter takes its share of the static pressure, and the
/// flow at the largest velocity in the service line \[L/min\].
#[must_use]
pub fn safe_flow_lpm(
    (size_mm, bore_mm): (f64, f64),
    static_kpa: f64,
    assumptions: &Assumptions,
) -> (f64, FlowLimit) {
    let number = |key| assumptions.number(key);
    let meter_lpm = meter_safe_lpm(size_mm);
    let most_loss_kpa = number(Key::SupplyMeterLossShare) * static_kpa.max(0.0);
    let by_loss = meter_lpm * (most_loss_kpa / number(Key::SupplyMeterLoss)).sqrt();
    let by_service = flow_at_velocity_lpm(number(Key::SupplyServiceVelocity), bore_mm);
    [
        (number(Key::SupplyMeterShare) * meter_lpm, FlowLimit::Meter),
        (by_loss, FlowLimit::MeterLoss),
        (by_service, FlowLimit::Service),
    ]
    .into_iter()
    .min_by(|a, b| a.0.total_cmp(&b.0))
    .unwrap_or((0.0, FlowLimit::Meter)) // the list is not empty
}

/// The way of the water to the far side of one valve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chain {
    /// Pressure that does not depend on the flow, less the losses that do not \[kPa\].
    pub start_kpa: f64,
    /// Meter loss at a flow: `meter_kpa · (q / meter_lpm)²`; 0 where a reading contains it.
    pub meter_kpa: f64,
    /// The flow of that loss \[L/min\].
    pub meter_lpm: f64,
    /// The service line; `None` where a reading contains it.
    pub service: Option<Run>,
    /// The main to the valve; `None` where a reading contains it.
    pub main: Option<Run>,
    /// How much higher the valve lies than the point of connection \[m\].
    pub rise_m: f64,
}

/// A straight piece of pipe.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Run {
    /// Length, fittings included \[m\].
    pub length_m: f64,
    /// Inside diameter \[mm\].
    pub inside_mm: f64,
    /// Hazen–Williams C.
    pub roughness_c: f64,
}

impl Run {
    /// Loss at a flow \[kPa\].
    #[must_use]
    pub fn loss_kpa(&self, flow_lpm: f64) -> f64 {
        KPA_PER_M * friction_m(self.length_m, flow_lpm, self.inside_mm, self.roughness_c)
    }
}

impl Chain {
    /// The chain from a source to a valve. `share` is the valve's distance as a share of the
    /// farthest valve's, 0 to 1.
    #[must_use]
    pub fn to_valve(source: &Source, losses: &Losses, main: Run, share: f64, rise_m: f64) -> Chain {
        let chain = |start_kpa: f64, main: Option<Run>| Chain {
            start_kpa,
            meter_kpa: 0.0,
            meter_lpm: 1.0,
            service: None,
            main,
            rise_m,
        };
        match source.reading {
            Reading::Static { kpa } => {
                let static_kpa = kpa * (1.0 - losses.static_allowance_frac);
                let start_kpa = static_kpa - losses.backflow_kpa - losses.valve_kpa;
                Chain {
                    meter_kpa: losses.meter_at_safe_kpa,
                    meter_lpm: meter_safe_lpm(source.size_mm),
                    service: Some(Run {
                        length_m: losses.service_m,
                        inside_mm: source.bore_mm,
                        roughness_c: losses.service_c,
                    }),
                    ..chain(start_kpa, Some(main))
                }
            }
            Reading::Pump { kpa } => chain(kpa - losses.valve_kpa, Some(main)),
            Reading::Working {
                near_kpa,
                far_kpa: Some(far_kpa),
            } => chain(near_kpa + share * (far_kpa - near_kpa), None),
            Reading::Working {
                near_kpa,
                far_kpa: None,
            } => chain(near_kpa, Some(main)),
        }
    }

    /// What the meter takes at a flow \[kPa\]: a square of the flow.
    #[must_use]
    pub fn meter_loss_kpa(&self, flow_lpm: f64) -> f64 {
        let share = flow_lpm / self.meter_lpm;
        self.meter_kpa * share * share
    }

    /// The pressure on the far side of the valve at a flow \[kPa\]; it may be negative.
    #[must_use]
    pub fn valve_kpa(&self, flow_lpm: f64) -> f64 {
        let meter_kpa = self.meter_loss_kpa(flow_lpm);
        let runs_kpa: f64 = [self.service, self.main]
            .iter()
            .flatten()
            .map(|run| run.loss_kpa(flow_lpm))
            .sum();
        self.start_kpa - meter_kpa - runs_kpa - KPA_PER_M * self.rise_m
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(length_m: f64) -> Run {
        Run {
            length_m,
            inside_mm: 27.2,
            roughness_c: 150.0,
        }
    }

    #[test]
    fn safe_flow_is_the_least_of_three() {
        let assumptions = Assumptions::defaults();
        // ¾ inch: 75 % of 30 gpm is 85.2 L/min; 1.8 m/s in 20 mm is 33.9 L/min.
        let (lpm, limit) = safe_flow_lpm((20.0, 20.0), 415.0, &assumptions);
        assert!((lpm - 33.93).abs() < 0.01, "{lpm}");
        assert_eq!(limit, FlowLimit::Service);
        let faster = assumptions
            .with_setting("supply.service_velocity_m_s=3.0")
            .unwrap();
        // At 100 kPa the meter may take 10 kPa: a third of the safe maximum.
        let (lpm, limit) = safe_flow_lpm((20.0, 20.0), 100.0, &faster);
        assert!((lpm - 113.6 / 3.0).abs() < 1e-9, "{lpm}");
        assert_eq!(limit, FlowLimit::MeterLoss);
        let faster = faster.with_setting("supply.meter_share_frac=0.4").unwrap();
        let (lpm, limit) = safe_flow_lpm((20.0, 20.0), 900.0, &faster);
        assert!((lpm - 0.4 * 113.6).abs() < 1e-9, "{lpm}");
        assert_eq!(limit, FlowLimit::Meter);
        assert_eq!(safe_flow_lpm((20.0, 20.0), 0.0, &faster).0, 0.0);
    }

    #[test]
    fn meters_between_sizes_count_as_the_smaller() {
        for (mm, lpm) in [
            (20.0, 113.6),
            (32.0, 189.3),
            (65.0, 605.7),
            (10.0, 75.7 / 2.25),
        ] {
            assert!((meter_safe_lpm(mm) - lpm).abs() < 1e-9, "{mm}");
        }
        assert!((meter_safe_lpm(160.0) - 4.0 * 1_211.3).abs() < 1e-9);
    }

    #[test]
    fn the_chain_takes_its_losses_one_by_one() {
        let losses = Losses::assumed(&Assumptions::defaults());
        let source = |reading| Source {
            at: None,
            reading,
            is_read: true,
            safe_lpm: 30.0,
            limit: FlowLimit::Given,
            size_mm: 20.0,
            bore_mm: 20.0,
            is_size_inferred: false,
            needs_reducer: false,
            pump_least_lpm: 0.0,
        };
        let by_static = Chain::to_valve(
            &source(Reading::Static { kpa: 400.0 }),
            &losses,
            run(20.0),
            0.0,
            1.0,
        );
        // 400 less a tenth, 40 backflow, 25 valve, and a metre up.
        assert!((by_static.valve_kpa(0.0) - (360.0 - 65.0 - KPA_PER_M)).abs() < 1e-9);
        let service_kpa = KPA_PER_M * friction_m(15.0, 30.0, 20.0, 140.0);
        let main_kpa = KPA_PER_M * friction_m(20.0, 30.0, 27.2, 150.0);
        let meter_kpa = 90.0 * (30.0_f64 / 113.6).powi(2);
        let expected = by_static.valve_kpa(0.0) - service_kpa - main_kpa - meter_kpa;
        assert!((by_static.valve_kpa(30.0) - expected).abs() < 1e-9);
        let working = Reading::Working {
            near_kpa: 300.0,
            far_kpa: Some(260.0),
        };
        let between = Chain::to_valve(&source(working), &losses, run(20.0), 0.25, 0.0);
        assert!((between.valve_kpa(30.0) - 290.0).abs() < 1e-9);
        let pump = Chain::to_valve(
            &source(Reading::Pump { kpa: 620.0 }),
            &losses,
            run(20.0),
            0.0,
            0.0,
        );
        assert!((pump.valve_kpa(0.0) - 595.0).abs() < 1e-9);
    }
}
