//! A parcel's plan in money.

use std::num::NonZeroU32;

use super::bill::{bill, stations};
use super::eligibility::{Eligibility, Rule};
use super::rebate::RebateRule;
use crate::assumptions::{Assumptions, Key};
use crate::hydraulics::costs::Costs;
use crate::issue::Issue;
use crate::plan::{ParcelAccount, ParcelPlan, ParcelSavings};
use crate::savings::ClaimTerms;
use crate::savings::Investment;
use crate::site::Attribute;

/// Columns of the output that rules may use beside those of the parcel layer.
pub const RULE_COLUMNS: [&str; 20] = [
    "status",
    "parcel_m2",
    "turf_m2",
    "turf_areas",
    "best_scenario",
    "baseline_source",
    "use_ratio",
    "tier",
    "asfound_m3_yr",
    "best_m3_yr",
    "potential_m3_yr",
    "claimed_m3_yr",
    "claimed_p10_m3_yr",
    "heads",
    "stations",
    "nozzles",
    "bodies",
    "cost_cur",
    "cost_cur_m3",
    "pressure_read",
];
/// The flag of a parcel whose pressure nobody read.
const PRESSURE_UNVERIFIED: &str = "pressure-unverified";

/// What a program pays, to whom, and what water is worth to either side.
#[derive(Debug, Clone, PartialEq)]
pub struct Program {
    eligibility: Eligibility,
    rebate: RebateRule,
    costs: Costs,
    terms: ClaimTerms,
    regulated: bool,
    admin_cur: f64,
    water_cur_m3: f64,
    avoided_cur_m3: f64,
    interest_frac_yr: f64,
}

impl Program {
    /// The program that assumptions and rules describe. `attributes` are the columns of the
    /// parcel layer; `None` where they cannot be known beforehand.
    ///
    /// # Errors
    /// `AS03` and `PR01` as [`Eligibility::of`].
    pub fn of(
        assumptions: &Assumptions,
        rules: &[Rule],
        attributes: Option<&[&str]>,
    ) -> Result<Program, Issue> {
        let columns: Option<Vec<&str>> =
            attributes.map(|columns| columns.iter().copied().chain(RULE_COLUMNS).collect());
        let number = |key| assumptions.number(key);
        Ok(Program {
            eligibility: Eligibility::of(rules, assumptions, columns.as_deref())?,
            rebate: RebateRule::assumed(assumptions),
            costs: Costs::assumed(assumptions),
            terms: ClaimTerms::assumed(assumptions),
            regulated: assumptions.choice(Key::HardwareNewBodies) == "regulated",
            admin_cur: number(Key::CostAdmin),
            water_cur_m3: number(Key::PriceWater),
            avoided_cur_m3: number(Key::PriceAvoided),
            interest_frac_yr: number(Key::DiscountRate),
        })
    }

    /// Settles a parcel: its bill, whether it may be paid, how much at most, and what that is
    /// worth. A parcel without water figures has no account.
    ///
    /// The claim is a mean over the life, so the first year claims `claim / persistence`, and later
    /// years decay. The customer keeps also what is claimed by nobody: the claim before
    /// free-riders and followers.
    pub fn settle(&self, plan: &mut ParcelPlan) {
        let Some(water) = &plan.water else { return };
        let (bill, cost_cur) = bill(plan, &self.costs, self.regulated);
        let claimed_m3_yr = water.claimed_m3_yr;
        let stations = stations(plan);
        let life_yr = NonZeroU32::new(self.terms.life_yr.round() as u32);
        let change =
            cost_cur
                .filter(|_| bill.nozzles > 0)
                .zip(life_yr)
                .map(|(capital_cur, life_yr)| Investment {
                    capital_cur,
                    first_year_m3: claimed_m3_yr / self.terms.persistence_frac(),
                    decay_frac_yr: self.terms.decay_frac_yr,
                    interest_frac_yr: self.interest_frac_yr,
                    life_yr,
                });
        let mut account = ParcelAccount {
            stations,
            nozzles: bill.nozzles,
            bodies: bill.regulated_bodies,
            cost_cur,
            rebate_cur: 0.0,
            cost_cur_m3: change.and_then(|change| change.levelised_cost_cur_m3()),
            payback_yr: None,
            npv_customer_cur: None,
            npv_supplier_cur: None,
            reasons: Vec::new(),
        };
        account.reasons = self.objections(plan, &account);
        if account.eligible() {
            account.rebate_cur = self.rebate.ceiling_cur(&bill);
        }
        if let Some(change) = change {
            let kept_frac = 1.0 - self.terms.free_ridership_frac + self.terms.spillover_frac;
            let own = Investment {
                capital_cur: change.capital_cur - account.rebate_cur,
                first_year_m3: if kept_frac > 0.0 {
                    change.first_year_m3 / kept_frac
                } else {
                    0.0
                },
                ..change
            };
            account.payback_yr = own.payback_yr(self.water_cur_m3);
            account.npv_customer_cur = Some(own.npv_cur(self.water_cur_m3));
            if account.rebate_cur > 0.0 {
                let paid = Investment {
                    capital_cur: account.rebate_cur + self.admin_cur,
                    ..change
                };
                account.npv_supplier_cur = Some(paid.npv_cur(self.avoided_cur_m3));
            }
        }
        plan.account = Some(account);
    }

    /// Why a parcel may not be paid.
    fn objections(&self, plan: &ParcelPlan, account: &ParcelAccount) -> Vec<String> {
        let columns = columns(plan, account);
        let find = |name: &str| {
            plan.attributes.get(name).or_else(|| {
                columns
                    .iter()
                    .find(|(column, _)| column.eq_ignore_ascii_case(name))
                    .and_then(|(_, value)| value.as_ref())
            })
        };
        self.eligibility
            .objections(find)
            .map(str::to_owned)
            .collect()
    }
}

/// The values of [`RULE_COLUMNS`].
fn columns(plan: &ParcelPlan, account: &ParcelAccount) -> [(&'static str, Option<Attribute>); 20] {
    let number = |value: f64| Some(Attribute::Number(value));
    let count = |value: u64| number(value as f64);
    let text = |value: &str| Some(Attribute::Text(value.to_owned()));
    let water = plan.water.as_ref();
    let savings = plan.savings.as_ref();
    let source = |savings: &ParcelSavings| match savings.meter {
        Some(_) => "metered",
        None => "modelled",
    };
    let values = [
        text(plan.status.text()),
        plan.parcel_m2.and_then(number),
        number(plan.turf.iter().map(|turf| turf.area_m2).sum()),
        count(plan.turf.len() as u64),
        water.and_then(|water| text(&water.best_scenario)),
        savings.and_then(|savings| text(source(savings))),
        savings
            .and_then(|savings| savings.meter.as_ref()?.ratio())
            .and_then(number),
        savings.and_then(|savings| text(savings.tier?.text())),
        water.and_then(|water| number(water.asfound_m3_yr)),
        water.and_then(|water| number(water.best_m3_yr)),
        water.and_then(|water| number(water.potential_m3_yr)),
        water.and_then(|water| number(water.claimed_m3_yr)),
        savings.and_then(|savings| number(savings.claimed.p10_m3_yr)),
        water.and_then(|water| count(water.heads)),
        count(account.stations),
        count(account.nozzles),
        count(account.bodies),
        account.cost_cur.and_then(number),
        account.cost_cur_m3.and_then(number),
        Some(Attribute::Bool(!plan.flags.contains(&PRESSURE_UNVERIFIED))),
    ];
    let mut values = values.into_iter();
    RULE_COLUMNS.map(|name| (name, values.next().flatten()))
}
