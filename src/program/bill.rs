//! What the recommended change of a parcel asks money for.
//!
//! Parts and work are those of each turf area's recommended scenario; the way there is paid once.

use super::rebate::Bill;
use crate::hydraulics::costs::Costs;
use crate::plan::{ParcelPlan, Scenario, ScenarioPlan, TurfPlan};

/// The bill of a parcel's recommended scenarios; its cost is `None` where the parts of one of them
/// cannot be counted.
#[must_use]
pub fn bill(plan: &ParcelPlan, costs: &Costs, regulated: bool) -> (Bill, Option<f64>) {
    let mut bill = Bill {
        nozzles: 0,
        regulated_bodies: 0,
        turf_m2: 0.0,
        cost_cur: 0.0,
        claimed_m3_yr: plan.water.as_ref().map_or(0.0, |water| water.claimed_m3_yr),
    };
    let (mut visited, mut known) = (false, true);
    for (turf, best) in recommended(plan) {
        visited |= best.scenario != Scenario::AsFound;
        if matches!(best.scenario, Scenario::AsFound | Scenario::Reclock) {
            continue;
        }
        let regulating = match best.works {
            Some(works) => works.regulated,
            None if regulated => best.heads.len(),
            None => 0,
        };
        bill.nozzles += best.heads.len() as u64;
        bill.regulated_bodies += regulating as u64;
        bill.turf_m2 += turf.area_m2;
        match best.cost_cur {
            Some(cost_cur) => bill.cost_cur += cost_cur,
            None => known = false,
        }
    }
    if visited {
        bill.cost_cur += costs.visit_cur;
    }
    let cost_cur = known.then_some(bill.cost_cur);
    (bill, cost_cur)
}

/// Stations that feed a turf area in its recommended scenario. A clock set anew keeps the stations
/// as found.
#[must_use]
pub fn stations(plan: &ParcelPlan) -> u64 {
    let mut count = 0;
    for network in &plan.networks {
        let is_best = |area: usize| {
            plan.turf.get(area).is_some_and(|turf| {
                let mut scenarios = turf.scenarios.iter();
                scenarios.any(|best| {
                    let own = match best.scenario {
                        Scenario::Reclock => &Scenario::AsFound,
                        ref other => other,
                    };
                    best.recommended && *own == network.scenario
                })
            })
        };
        count += network
            .stations
            .iter()
            .filter(|station| station.heads.iter().any(|&(area, _)| is_best(area)))
            .count() as u64;
    }
    count
}

/// The turf areas with their recommended scenario.
fn recommended(plan: &ParcelPlan) -> impl Iterator<Item = (&TurfPlan, &ScenarioPlan)> {
    plan.turf.iter().filter_map(|turf| {
        let mut scenarios = turf.scenarios.iter();
        scenarios
            .find(|scenario| scenario.recommended)
            .map(|scenario| (turf, scenario))
    })
}
