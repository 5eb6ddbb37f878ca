//! The neighbourhood as a whole: what a program pays, for which parcels, how much water that
//! saves and how sure it is.

mod allot;
mod economics;
mod eligibility;
mod inspection;
mod rebate;
mod supply;

pub use allot::{Allotment, Item, allot, allot_with_floors};
pub use economics::{Investment, annuity_value, capital_recovery_factor};
pub use eligibility::{Eligibility, Requirement};
pub use inspection::{Finding, Realisation, Site, Why, realisation, sample};
pub use rebate::{Bill, RebateRule};
pub use supply::{Offer, Step, supply_curve};

pub use crate::assumptions::{Range, Spread};
pub use crate::savings::{COORDINATES, DRAWS, Sample, Words, percentile};
