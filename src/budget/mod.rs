//! The water of a year: what the turf needs, what must be applied for it, what is used.

mod allowance;
mod clock;
mod daily;
mod days;
mod drift;
mod field;
mod lawn;
mod multiplier;
mod plants;
mod schedule;
mod window;
mod year;

pub use allowance::{
    Hydrozone, home_allowance, home_requirement, ordinance_allowance, ordinance_use,
    refused_on_slope,
};
pub use clock::{Follows, FoundClock, FoundRuns};
pub use daily::{DailyBalance, DaySky, daily_balance};
pub use days::{AllowedDays, DaySet};
pub use drift::{Air, Drift, DriftMethod, Jet, JetKind, drift_frac, orifice_mm};
pub use field::{Cause, Condition, Degradation, NozzleScatter, Regulation, Spacing};
pub use lawn::{Hardware, Lawn, ScenarioWater};
pub use multiplier::{MultiplierForm, RunTimeMultiplier};
pub use plants::PlantFactors;
pub use schedule::{Limits, RunoffMethod, Schedule, ScheduleInput};
pub use window::{
    NightPlan, StationDay, StationTurn, WindowNeed, controller_flags, night_min, night_plan,
    window_need,
};
pub use year::{DemandInput, MonthWater, YearWater, year};
