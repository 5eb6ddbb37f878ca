//! Which scenario is recommended for a turf area, and the sentence that says why.

use super::super::outcome::{Scenario, ScenarioPlan, TurfPlan, YearUse};
use super::area::suits;
use crate::assumptions::{Assumptions, Key};
use crate::savings::{Candidate, recommend as judge};

/// A need is met from this share on: rounding of run times may take the rest.
const MET_FRAC: f64 = 0.999;

/// Marks one scenario of a turf area and writes the reason. New hardware is recommended where it
/// fits and saves beyond what a clock and repairs would; else a right schedule, where that saves;
/// else nothing is changed.
pub(super) fn recommend(assumptions: &Assumptions, turf: &mut TurfPlan) {
    let found = turf
        .scenarios
        .iter()
        .find(|plan| plan.scenario == Scenario::AsFound)
        .and_then(|plan| plan.year.as_ref());
    let Some(found) = found else {
        // Nothing to compare with: nothing is recommended.
        turf.reason = "there is no layout of what is in the ground".to_owned();
        return;
    };
    let least_m3_yr = assumptions.number(Key::SavingsWorth) * found.use_m3_yr;
    let (mut rows, mut candidates) = (Vec::new(), Vec::new());
    for (row, plan) in turf.scenarios.iter().enumerate() {
        let changed = !matches!(plan.scenario, Scenario::AsFound | Scenario::Reclock);
        if let (true, Some(year)) = (changed, &plan.year) {
            rows.push(row);
            candidates.push(Candidate {
                least_m3_yr,
                ..candidate(turf, plan, year, found)
            });
        }
    }
    let verdict = judge(&candidates);
    let (row, reason) = match verdict.best {
        Some(best) => (Some(rows[best]), verdict.reason),
        None => without_hardware(turf, least_m3_yr, &verdict.reason),
    };
    turf.reason = reason;
    let as_found = |plan: &ScenarioPlan| plan.scenario == Scenario::AsFound;
    let row = row.or_else(|| turf.scenarios.iter().position(as_found));
    if let Some(row) = row {
        turf.scenarios[row].recommended = true;
    }
}

fn candidate(turf: &TurfPlan, plan: &ScenarioPlan, year: &YearUse, found: &YearUse) -> Candidate {
    let schedule = year.water.schedule.as_ref();
    let runoff = |year: &YearUse| year.water.runoff_reported_frac();
    Candidate {
        scenario: plan.scenario.text(),
        misfit: (!suits(plan.fit)).then(|| plan.fit_reason.clone()),
        too_fast_for_slope: year.too_fast_for_slope,
        night_min: year
            .night
            .as_ref()
            .map_or((0.0, 0.0), |night| (night.needed_min, night.open_min)),
        need_met: schedule.is_none_or(|schedule| schedule.met_frac >= MET_FRAC),
        eligible: plan.holds_pressure().is_admissible(),
        claimed_m3_yr: year.claimed_m3_yr.unwrap_or(0.0),
        least_m3_yr: 0.0,
        cost_cur_m3: plan.cost_cur_m3,
        heads: plan.heads.len() as u64,
        rate_mm_h: year.hardware.rate.mm_h(),
        intake_mm_h: turf.ground.intake_mm_h,
        slope_pct: turf.ground.slope_pct,
        cycles: schedule.map_or(0, |schedule| schedule.cycles),
        runoff_frac: (runoff(found), runoff(year)),
    }
}

/// What is recommended where no new hardware is: the row of `reclock`, or none.
fn without_hardware(
    turf: &TurfPlan,
    least_m3_yr: f64,
    objections: &str,
) -> (Option<usize>, String) {
    let clock = turf.scenarios.iter().enumerate().find_map(|(row, plan)| {
        let year = plan.year.as_ref()?;
        let saved_m3 = year.saved_m3_yr?;
        let worth = saved_m3 > 0.0 && saved_m3 >= least_m3_yr;
        let holds = year
            .night
            .as_ref()
            .is_none_or(|night| night.needed_min <= night.open_min);
        (plan.scenario == Scenario::Reclock && worth && holds).then_some((row, saved_m3))
    });
    match clock {
        Some((row, saved_m3)) => {
            let reason = format!(
                "a right schedule alone saves {saved_m3:.1} m³/yr and new nozzles are not \
                 recommended: {objections}"
            );
            (Some(row), reason)
        }
        None => (None, format!("nothing to change: {objections}")),
    }
}

/// Gives turf areas that share stations one verdict, so that no station is left with two families:
/// of the changes recommended for any of them the one that all can have and that claims most
/// together; where there is none, hardware stays.
pub(super) fn hold_together(turf: &mut [TurfPlan], members: &[usize]) {
    let best_of = |turf: &TurfPlan| {
        let mut scenarios = turf.scenarios.iter();
        scenarios
            .find(|plan| plan.recommended)
            .map(|plan| plan.scenario.clone())
    };
    let mut wanted: Vec<Scenario> = members.iter().filter_map(|&i| best_of(&turf[i])).collect();
    wanted.sort();
    wanted.dedup();
    let keeps = |scenario: &Scenario| matches!(scenario, Scenario::AsFound | Scenario::Reclock);
    if wanted.len() < 2 || wanted.iter().all(keeps) {
        return;
    }
    let claimed_m3_yr = |scenario: &Scenario| -> Option<f64> {
        members.iter().try_fold(0.0, |sum, &i| {
            let mut scenarios = turf[i].scenarios.iter();
            let plan = scenarios.find(|plan| {
                let holds = plan.holds_pressure().is_admissible();
                plan.scenario == *scenario && suits(plan.fit) && holds
            })?;
            let year = plan.year.as_ref().filter(|year| !year.too_fast_for_slope)?;
            Some(sum + year.claimed_m3_yr.unwrap_or(0.0))
        })
    };
    let chosen = wanted
        .iter()
        .filter(|scenario| !keeps(scenario))
        .filter_map(|scenario| Some((claimed_m3_yr(scenario)?, scenario)))
        .filter(|(claimed, _)| *claimed > 0.0)
        .reduce(|best, next| if next.0 > best.0 { next } else { best })
        .map(|(_, scenario)| scenario.clone());
    let ids: Vec<String> = members.iter().map(|&i| turf[i].id.clone()).collect();
    let shared = format!("{} share a station", ids.join(", "));
    for &i in members {
        let before = best_of(&turf[i]);
        let after = match (&chosen, &before) {
            (Some(scenario), _) => scenario.clone(),
            (None, Some(scenario)) if keeps(scenario) => continue,
            (None, _) => Scenario::AsFound,
        };
        if before.as_ref() == Some(&after) {
            continue;
        }
        for plan in &mut turf[i].scenarios {
            plan.recommended = plan.scenario == after;
        }
        turf[i].reason = format!("{shared}, which is converted whole or not at all");
    }
}
