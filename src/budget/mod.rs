//! The water of a year: what the turf needs, what must be applied for it, what is used.

mod field;
mod multiplier;
mod plants;
mod year;

pub use field::{Cause, Condition, Degradation, Regulation};
pub use multiplier::RunTimeMultiplier;
pub use plants::PlantFactors;
pub use year::{DemandInput, MonthWater, YearWater, year};
