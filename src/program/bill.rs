//! What a change of a parcel asks money for.
//!
//! Parts and work are the complete bill of what changes; the way there is paid once.

use super::rebate::Bill;
use crate::plan::{ParcelPlan, Scenario, ScenarioPlan, TurfPlan};

/// The bill of a choice of scenarios: by turf area the place of its scenario, `None` where it is left
/// as found. `cost_cur` is what parts, work and visit come to.
#[must_use]
pub fn bill(plan: &ParcelPlan, rows: &[Option<usize>], cost_cur: f64, regulated: bool) -> Bill {
    let mut bill = Bill {
        nozzles: 0,
        regulated_bodies: 0,
        turf_m2: 0.0,
        cost_cur,
        claimed_m3_yr: 0.0,
    };
    for (turf, best) in changed(plan, rows) {
        if !best.scenario.changes_hardware() {
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
        let year = best.year.as_ref();
        bill.claimed_m3_yr += year.and_then(|year| year.claimed_m3_yr).unwrap_or(0.0);
    }
    bill
}

/// Stations that feed a turf area in its scenario. A clock set anew keeps the stations as found.
#[must_use]
pub fn stations(plan: &ParcelPlan, rows: &[Option<usize>]) -> u64 {
    let own = |area: usize| {
        let scenarios = &plan.turf.get(area)?.scenarios;
        match rows.get(area).copied().flatten() {
            Some(row) => match &scenarios.get(row)?.scenario {
                Scenario::Reclock => Some(&Scenario::AsFound),
                other => Some(other),
            },
            None => scenarios
                .iter()
                .map(|plan| &plan.scenario)
                .find(|scenario| **scenario == Scenario::AsFound),
        }
    };
    let mut count = 0;
    for network in &plan.networks {
        let is_own = |&(area, _): &(usize, usize)| own(area) == Some(&network.scenario);
        let stations = network.stations.iter();
        count += stations
            .filter(|station| station.heads.iter().any(is_own))
            .count() as u64;
    }
    count
}

/// The turf areas that change, with their scenarios.
pub(super) fn changed<'p>(
    plan: &'p ParcelPlan,
    rows: &'p [Option<usize>],
) -> impl Iterator<Item = (&'p TurfPlan, &'p ScenarioPlan)> {
    let areas = plan.turf.iter().zip(rows);
    areas.filter_map(|(turf, row)| Some((turf, turf.scenarios.get((*row)?)?)))
}
