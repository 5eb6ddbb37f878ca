//! What the owner does with the clock after the hardware has changed.

use super::{Attribution, shapley};
use crate::assumptions::{Assumptions, Key};
use crate::budget::{Hardware, Lawn, ScenarioWater};
use crate::units::Rate;

/// Below this share of the need the turf goes short.
const DEFICIT_BELOW_FRAC: f64 = 0.95;

/// The three behaviours. They are never mixed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Behaviour {
    /// The clock is re-timed to need: the potential.
    Retimed,
    /// The clock is left: the depth falls by the ratio of the rates. A slower nozzle then waters
    /// less, which is a deficit and no efficiency.
    Unchanged,
    /// The run time is raised so that as much as before enters the soil: drift, runoff and
    /// overspray are saved, uniformity is not.
    Scaled,
}

impl Behaviour {
    /// The three, in order.
    pub const ALL: [Behaviour; 3] = [Behaviour::Retimed, Behaviour::Unchanged, Behaviour::Scaled];

    /// The word that is printed.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Behaviour::Retimed => "retimed",
            Behaviour::Unchanged => "unchanged",
            Behaviour::Scaled => "scaled",
        }
    }

    /// The behaviour that is assumed.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> Behaviour {
        match assumptions.choice(Key::SavingsBehaviour) {
            "unchanged" => Behaviour::Unchanged,
            "scaled" => Behaviour::Scaled,
            _ => Behaviour::Retimed,
        }
    }
}

/// What a behaviour makes of the use after a change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct After {
    /// The behaviour.
    pub behaviour: Behaviour,
    /// Use with the change over use as found under it; 1 where nothing is used as found.
    pub ratio: f64,
}

impl After {
    /// After a change to a clock that is re-timed to need.
    pub const RETIMED: After = After {
        behaviour: Behaviour::Retimed,
        ratio: 1.0,
    };

    /// The behaviour of an outcome, from the use as found.
    #[must_use]
    pub fn of(outcome: &Outcome, found_m3_yr: f64) -> After {
        After {
            behaviour: outcome.behaviour,
            ratio: if found_m3_yr > 0.0 {
                outcome.use_m3_yr / found_m3_yr
            } else {
                1.0
            },
        }
    }

    /// Use with the change \[m³/yr\], from the use as found and that with a re-timed clock. Where the
    /// clock is left and the turf goes short, what it lacks is no saving: the use is never below
    /// the need.
    #[must_use]
    pub fn use_m3_yr(&self, found_m3_yr: f64, retimed_m3_yr: f64) -> f64 {
        match self.behaviour {
            Behaviour::Retimed => retimed_m3_yr,
            Behaviour::Unchanged => (found_m3_yr * self.ratio).max(retimed_m3_yr),
            Behaviour::Scaled => found_m3_yr * self.ratio,
        }
    }
}

/// The water of a year after the change, under one behaviour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outcome {
    /// The behaviour.
    pub behaviour: Behaviour,
    /// Gross depth \[mm/yr\].
    pub gross_mm_yr: f64,
    /// Use \[m³/yr\].
    pub use_m3_yr: f64,
    /// Use as found less this \[m³/yr\]; for a deficit this is not a saving.
    pub less_m3_yr: f64,
    /// The same by cause; `None` for a re-timed clock, see [`attribute`](super::attribute). With
    /// the clock left as it is, what the rate takes off the depth counts with the schedule.
    pub parts: Option<Attribution>,
    /// Gross depth as a share of the need, month by month at most all of it, over the year.
    pub met_frac: f64,
    /// Whether the turf goes short: less than 95 % of its need.
    pub deficit: bool,
}

/// The outcome of a behaviour on a lawn: from the hardware and water as found to the new hardware
/// and its re-timed water.
#[must_use]
pub fn outcome(
    behaviour: Behaviour,
    lawn: &Lawn<'_>,
    (base_hardware, base): (&Hardware, &ScenarioWater),
    (new_hardware, new): (&Hardware, &ScenarioWater),
) -> Outcome {
    let rate_ratio = rate_ratio(base_hardware, new_hardware);
    let entering = |hardware: &Hardware, runoff: f64| (1.0 - hardware.lost_frac()) * (1.0 - runoff);
    let need = new.year();
    let gross_mm: [f64; 12] = std::array::from_fn(|month| {
        let before_mm = base.year().months[month].gross_mm;
        match behaviour {
            Behaviour::Retimed => need.months[month].gross_mm,
            Behaviour::Unchanged => before_mm * rate_ratio,
            Behaviour::Scaled => {
                before_mm * entering(base_hardware, base.runoff()[month])
                    / entering(new_hardware, new.runoff()[month])
            }
        }
    });
    let after = need.with_gross(&gross_mm, &lawn.demand_with(new_hardware, *new.runoff()));
    let met_mm: f64 = gross_mm
        .iter()
        .zip(&need.months)
        .map(|(mm, m)| mm.min(m.gross_mm))
        .sum();
    let met_frac = if need.gross_mm_yr > 0.0 {
        met_mm / need.gross_mm_yr
    } else {
        1.0
    };
    Outcome {
        behaviour,
        gross_mm_yr: after.gross_mm_yr,
        use_m3_yr: after.use_m3_yr,
        less_m3_yr: base.year().use_m3_yr - after.use_m3_yr,
        parts: split(behaviour, lawn, (base_hardware, base), (new_hardware, new)),
        met_frac,
        deficit: met_frac < DEFICIT_BELOW_FRAC,
    }
}

fn rate_ratio(base: &Hardware, new: &Hardware) -> f64 {
    if base.rate > Rate::ZERO {
        new.rate / base.rate
    } else {
        0.0
    }
}

/// What a behaviour saves by cause, each with its fair share (Shapley). The depth that enters stays
/// where run times are raised, and the clock's minutes stay where it is left alone.
fn split(
    behaviour: Behaviour,
    lawn: &Lawn<'_>,
    (base_hardware, base): (&Hardware, &ScenarioWater),
    (new_hardware, new): (&Hardware, &ScenarioWater),
) -> Option<Attribution> {
    let slower = rate_ratio(base_hardware, new_hardware);
    let parts = shapley(|changed: [bool; 6]| {
        let hardware = |cause: usize| {
            if changed[cause] {
                new_hardware
            } else {
                base_hardware
            }
        };
        let runoff = if changed[2] { new } else { base }.runoff();
        let arriving = (1.0 - hardware(3).drift_frac) * (1.0 - hardware(5).mist_frac);
        let before = 1.0 - base_hardware.lost_frac();
        let months = base.year().months.iter().zip(base.runoff()).zip(runoff);
        let gross_mm: f64 = months
            .map(|((month, found), runoff)| match behaviour {
                Behaviour::Unchanged if changed[0] => month.gross_mm * slower,
                Behaviour::Retimed | Behaviour::Unchanged => month.gross_mm,
                Behaviour::Scaled => {
                    month.gross_mm * before * (1.0 - found) / (arriving * (1.0 - runoff))
                }
            })
            .sum();
        gross_mm / 1_000.0 * lawn.demand.area_m2 / (1.0 - hardware(4).over_frac)
    });
    (behaviour != Behaviour::Retimed).then(|| Attribution::of_parts(parts))
}
