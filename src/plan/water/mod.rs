//! The water of a year in each scenario, whether the night holds it, and which scenario is
//! recommended.
//!
//! [`settle`] looks at one turf area: its ground and sky, and the water of every scenario on it.
//! [`close`] looks at the whole parcel: one valve runs at a time, so stations share the night.

mod area;
mod decide;
mod firm;
mod measures;
mod meter;
mod night;
mod savings;
mod totals;
mod verdict;

pub(super) use area::{Ways, reclocked, settle};
pub use decide::{ParcelLadder, ParcelOption, StepFigures};
pub use meter::MeterUse;
pub use savings::{ParcelSavings, Percentiles, Takes, Tier};

use super::{ParcelPlan, Scenario, TurfPlan};
use crate::assumptions::Assumptions;
use crate::budget::Limits;
use crate::catalogue::Hardware;
use crate::issue::{Code, Issue};
use crate::savings::{Against, MeterRules, Metered, draws};
use crate::site::MeterRead;
use decide::Judge;

/// The climate is the embedded one of an invented town.
const CLIMATE_ASSUMED: &str = "climate-assumed";
/// The zone of the place is not known; the first of the table stands for it.
const ZONE_ASSUMED: &str = "climate-zone-assumed";
/// No layer says what the soil is.
const SOIL_ASSUMED: &str = "soil-assumed";
/// No elevation model says how it slopes.
const SLOPE_ASSUMED: &str = "slope-assumed";
/// A tenth of the turf is so steep that it can erode.
const STEEP: &str = "steep-slope";
/// The slope refuses the rate.
const TOO_FAST: &str = "too-fast-for-slope";
/// Drift differs by a regression of farm sprinklers or by an assumed difference.
const DRIFT_PROXY: &str = "drift-proxy";
/// Nobody knows the run times as found: those before are assumed.
const CLOCK_ASSUMED: &str = "clock-assumed";
/// What a right schedule alone saves cannot be observed: the owner is taken to water to need.
const NOT_OBSERVABLE: &str = "reclock-not-observable";
/// More runs off than `water.runoff_most_frac` lets into volumes.
const RUNOFF_CAPPED: &str = "runoff-capped";
/// With the clock as it is, the turf would go short.
const DEFICIT: &str = "deficit-if-unchanged";
/// The saving is larger than published evidence supports.
const ABOVE_EVIDENCE: &str = "saving-above-evidence";
/// The meter says that the turf gets less than it needs.
const UNDER_WATERED: &str = "under-watered";
/// The claim is bounded by the metered use.
const CLAIM_CAPPED: &str = "claim-capped";
/// The open hours do not hold the stations.
const WINDOW_SHORT: &str = "window-short";

/// Why nothing is changed where the meter says that less is watered than needed.
const UNDER_WATERED_REASON: &str =
    "the meter says that the turf gets less than it needs, so that nothing can be saved";

/// What a parcel's meter is held against.
fn held_against(rules: &MeterRules, turf: &[TurfPlan], metered: &Metered) -> Against {
    let years = turf.iter().filter_map(|area| {
        let mut plans = area.scenarios.iter();
        let found = plans.find(|plan| plan.scenario == Scenario::AsFound)?;
        Some((area, found.year.as_ref()?))
    });
    let (mut found_m3, mut need_m3) = (0.0, 0.0);
    for (area, year) in years {
        found_m3 += year.use_m3_yr;
        need_m3 += year.water.year().net_mm_yr / 1_000.0 * area.area_m2;
    }
    Against {
        outdoor_m3_yr: metered.outdoor_m3_yr,
        allowance_m3_yr: need_m3 / rules.efficiency_frac,
        asfound_m3_yr: found_m3,
    }
}

/// What follows for the parcel once all its turf areas are settled: the night, the verdicts, the
/// totals, and the flags. `joined` are the turf areas that share stations, `ways` what the water of
/// each turf area rests on.
pub(super) fn close(
    assumptions: &Assumptions,
    plan: &mut ParcelPlan,
    joined: &[Vec<usize>],
    ways: &[Ways<'_>],
    (seed, reads): (u64, &[MeterRead]),
    hardware: &Hardware,
) {
    let limits = Limits::assumed(assumptions);
    night::share(&limits, &mut plan.turf, &mut plan.networks);
    let mut judge = Judge::assumed(assumptions);
    let metered = meter::of(assumptions, &plan.turf, ways, reads);
    let metered = metered.unwrap_or_else(|issue| {
        plan.issues.push(issue.of_parcel(plan.id.as_str()));
        None
    });
    let mut units = measures::units(&plan.turf, &plan.networks, joined, hardware);
    if let Some(metered) = &metered {
        let rules = MeterRules::assumed(assumptions);
        let against = held_against(&rules, &plan.turf, metered);
        if rules.under_waters(&against) {
            measures::refuse(&mut units, UNDER_WATERED_REASON);
        }
        judge.used_frac = against.used_frac();
    }
    let mut ladder = decide::decide(&judge, &mut plan.turf, &plan.networks, &units, hardware);
    let draws = draws(assumptions, seed, &plan.id);
    firm::firmness(
        &judge,
        assumptions,
        (&mut plan.turf, ways),
        (&units, &mut ladder),
        &draws,
    );
    plan.ladder = (!plan.turf.is_empty()).then_some(ladder);
    let unzoned = plan.turf.iter().filter(|turf| {
        let mut scenarios = turf.scenarios.iter();
        scenarios.any(|scenario| scenario.flags.contains(&ZONE_ASSUMED))
    });
    let issue = |turf: &TurfPlan| {
        Issue::new(Code::CL06, turf.ground.sky.zone.as_str())
            .of_parcel(plan.id.as_str())
            .of_turf(turf.id.as_str())
    };
    let issues: Vec<Issue> = unzoned.map(issue).collect();
    plan.issues.extend(issues);
    plan.water = totals::of(assumptions, &limits, &plan.turf, &plan.networks);
    plan.savings = savings::of(assumptions, &plan.turf, ways, &draws, metered);
    let meter = plan.savings.as_ref().and_then(|all| all.meter.as_ref());
    if let (Some(water), Some(meter)) = (&mut plan.water, meter) {
        water.claimed_m3_yr = meter.claimed_m3_yr;
        water.asfound_m3_yr += meter.raised_m3_yr;
        water.best_m3_yr += meter.raised_m3_yr - meter.raised_saved_m3_yr;
        water.potential_m3_yr = water.asfound_m3_yr - water.best_m3_yr;
        plan.flags.extend(&meter.flags);
    }
    let recommended = plan
        .turf
        .iter()
        .flat_map(|turf| {
            turf.scenarios
                .iter()
                .filter(|scenario| scenario.recommended)
        })
        .flat_map(|scenario| scenario.flags.iter().copied());
    let mut flags: Vec<&'static str> = recommended.collect();
    if let Some(water) = &plan.water {
        flags.extend(&water.night_flags);
    }
    plan.flags.append(&mut flags);
    plan.flags.sort_unstable();
    plan.flags.dedup();
}
