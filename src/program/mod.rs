//! The neighbourhood as a whole: what a program pays, for which parcels, how much water that
//! saves and how sure it is.

mod allot;
mod bill;
mod choose;
mod control;
mod eligibility;
mod findings;
mod inspection;
mod rebate;
mod receipts;
mod settle;
mod supply;

pub use crate::hydraulics::costs::{BillBasis, Costs, Outlay};
pub use crate::savings::{
    Factors, Investment, LadderStep, Perspective, Rung, Terms, annuity_value,
    capital_recovery_factor, climb, hull, stop,
};
pub use allot::{Allotment, Floor, Item, allot, allot_with_floors};
pub use bill::{bill, stations};
pub use choose::{allot_choices, allot_choices_with_floors};
pub use control::{Control, Wiring};
pub use eligibility::{Eligibility, Rule, Standing, known, standing_rules};
pub use findings::Counts;
pub use inspection::{Finding, Realisation, Site, Why, realisation, sample};
pub use rebate::{Bill, RebateRule};
pub use receipts::{Checked, Doubt, Planned, Receipt, check_receipts};
pub use settle::{Program, RULE_COLUMNS};
pub use supply::{Offer, Step, supply_curve};

pub use crate::assumptions::{Range, Spread};
pub use crate::savings::{COORDINATES, DRAWS, Sample, Words, percentile};
