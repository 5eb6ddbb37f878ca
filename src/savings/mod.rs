//! What a change saves: as found less the scenario, by cause, by behaviour, and what may be
//! claimed.

mod attribution;
mod behaviour;
mod claim;
mod drawn;
mod draws;
mod economics;
mod evidence;
mod ladder;
mod meter;
mod runoff_table;
mod shapley;

pub use attribution::{Attribution, Side, attribute};
pub use behaviour::{After, Behaviour, Outcome, outcome};
pub use claim::{ClaimTerms, Claims, Counterfactual, Gross, Uses};
pub use drawn::{DRAWN, DrawnLawn, Forms, Values, Way, draws, ranges};
pub use draws::{COORDINATES, DRAWS, Sample, Words, percentile, percentiles};
pub use economics::{Factors, Investment, Terms, annuity_value, capital_recovery_factor};
pub use evidence::EVIDENCE;
pub use ladder::{LadderStep, Perspective, Rung, climb, hull, stop};
pub use meter::{Against, MeterRules, Metered, PeriodNeed, Unusable, metered};
pub use shapley::shapley;

use crate::budget::YearWater;

/// The difference between two ways of watering one turf area. Negative when the new way uses
/// more; nothing is clamped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Saving {
    /// Water saved in a year \[m³/yr\].
    pub m3_yr: f64,
    /// The same as a fraction of the use as found; `None` when nothing is used as found.
    pub frac: Option<f64>,
}

impl Saving {
    /// Base less new. Equal water on both sides saves exactly 0.
    #[must_use]
    pub fn between(base: &YearWater, new: &YearWater) -> Saving {
        Saving::of(base.use_m3_yr - new.use_m3_yr, base.use_m3_yr)
    }

    /// A saving beside the use as found \[m³/yr\].
    #[must_use]
    pub fn of(m3_yr: f64, found_m3_yr: f64) -> Saving {
        let frac = (found_m3_yr > 0.0).then(|| m3_yr / found_m3_yr);
        Saving { m3_yr, frac }
    }

    /// Whether the saving is larger than published evidence supports and wants a look.
    #[must_use]
    pub fn wants_review(&self, above_frac: f64) -> bool {
        self.frac.is_some_and(|frac| frac > above_frac)
    }
}
