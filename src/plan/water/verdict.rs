//! Whether a way of watering may be chosen for a turf area at all, whatever it costs.

use super::super::outcome::{Scenario, ScenarioPlan, TurfPlan, YearUse};
use super::area::suits;

/// A need is met from this share on: rounding of run times may take the rest.
const MET_FRAC: f64 = 0.999;
/// A station draws more than the safe flow.
const OVER_FLOW: &str = "station-over-flow";

/// Why a scenario of a turf area is out of the running, if it is; one sentence without the full
/// stop.
pub(super) fn objection(turf: &TurfPlan, plan: &ScenarioPlan, year: &YearUse) -> Option<String> {
    let hardware = plan.scenario.changes_hardware();
    let night = year.night.as_ref();
    let (needed_min, open_min) =
        night.map_or((0.0, 0.0), |night| (night.needed_min, night.open_min));
    let schedule = year.water.schedule.as_ref();
    if hardware && !suits(plan.fit) {
        Some(format!("it does not fit, {}", plan.fit_reason))
    } else if hardware && year.too_fast_for_slope {
        let (rate, slope) = (year.hardware.rate.mm_h(), turf.ground.slope_pct);
        Some(format!(
            "{rate:.0} mm/h is refused on a slope of {slope:.0} %"
        ))
    } else if hardware && !plan.holds_pressure().is_admissible() {
        Some(plan.holds_pressure().text().to_owned())
    } else if is_relieved(turf, plan) {
        Some("it leaves a station that draws more than its supply can safely give".to_owned())
    } else if needed_min > open_min {
        Some(format!(
            "the watering window needs {needed_min:.0} min and has {open_min:.0}"
        ))
    } else if schedule.is_some_and(|schedule| schedule.met_frac < MET_FRAC) {
        Some("the rule or the controller does not let the turf have its need".to_owned())
    } else {
        None
    }
}

/// Whether a repair would keep an overloaded station that a change of nozzles relieves.
fn is_relieved(turf: &TurfPlan, plan: &ScenarioPlan) -> bool {
    let over = |plan: &ScenarioPlan| plan.flags.contains(&OVER_FLOW);
    let mut others = turf.scenarios.iter();
    plan.scenario.is_repair()
        && over(plan)
        && others.any(|other| matches!(other.scenario, Scenario::Swap(..)) && !over(other))
}
