//! What each scenario of a turf area costs, and what a claimed cubic metre of it does.

use std::num::NonZeroU32;

use super::super::delivery::NetworkPlan;
use super::super::outcome::{Scenario, TurfPlan};
use crate::assumptions::{Assumptions, Key};
use crate::hydraulics::costs::Costs;
use crate::savings::{ClaimTerms, Investment};

/// Adds costs to every scenario of every turf area.
///
/// Parts and work come from the network that the parcel would have if all of it were watered that
/// way; a turf area bears its share by heads, and so it does of the way to the parcel. The cost of a
/// cubic metre is levelised over the life: capital at the start, claims that decay from year to
/// year, both discounted.
pub(super) fn price(assumptions: &Assumptions, networks: &[NetworkPlan], turf: &mut [TurfPlan]) {
    let costs = Costs::assumed(assumptions);
    let terms = ClaimTerms::assumed(assumptions);
    let interest_frac_yr = assumptions.number(Key::DiscountRate);
    let Some(life_yr) = NonZeroU32::new(terms.life_yr.round() as u32) else {
        return;
    };
    for network in networks {
        if network.materials.is_empty() {
            continue;
        }
        let of_network = |turf: &TurfPlan| -> usize {
            let mut scenarios = turf.scenarios.iter();
            scenarios
                .find(|plan| plan.scenario == network.scenario)
                .map_or(0, |plan| plan.heads.len())
        };
        let heads: usize = turf.iter().map(of_network).sum();
        let bill_cur = costs.of(&network.materials);
        for area in turf.iter_mut() {
            let mut scenarios = area.scenarios.iter_mut();
            let plan = scenarios.find(|plan| plan.scenario == network.scenario);
            let Some(plan) = plan.filter(|plan| !plan.heads.is_empty()) else {
                continue;
            };
            debug_assert!(!matches!(
                plan.scenario,
                Scenario::AsFound | Scenario::Reclock
            ));
            let share = plan.heads.len() as f64 / heads as f64;
            let cost_cur = share * bill_cur;
            let claimed_m3_yr = plan.year.as_ref().and_then(|year| year.claimed_m3_yr);
            let change = Investment {
                capital_cur: cost_cur + share * costs.visit_cur,
                first_year_m3: claimed_m3_yr.unwrap_or(0.0) / terms.persistence_frac(),
                decay_frac_yr: terms.decay_frac_yr,
                interest_frac_yr,
                life_yr,
            };
            plan.cost_cur = Some(cost_cur);
            plan.cost_cur_m3 = change.levelised_cost_cur_m3();
        }
    }
}
