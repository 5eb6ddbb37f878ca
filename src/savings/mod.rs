//! What a change saves: as found less the scenario.

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
        let m3_yr = base.use_m3_yr - new.use_m3_yr;
        let frac = (base.use_m3_yr > 0.0).then(|| m3_yr / base.use_m3_yr);
        Saving { m3_yr, frac }
    }
}
