//! The water of a year in each scenario, and which scenario is recommended.

use super::{ParcelWater, Scenario, ScenarioPlan, TurfPlan, YearUse};
use crate::assumptions::Assumptions;
use crate::budget::{Cause, Condition, Degradation, DemandInput, Regulation, year};
use crate::climate::YearClimate;
use crate::site::TurfArea;
use crate::soil::Texture;
use crate::uniformity::Uniformity;

/// The water of a year with the clock re-timed to need. Every scenario carries the same
/// degradation from the drawing to the field, so that equal layouts use equal water; causes that
/// the rain of the turf area already contains (`computed`) leave it in every scenario.
pub(super) fn year_of(
    assumptions: &Assumptions,
    climate: &YearClimate,
    turf: &TurfArea,
    area_m2: f64,
    uniformity: &Uniformity,
    computed: &[Cause],
) -> YearUse {
    let du_lq_field = Degradation::assumed(assumptions).du_lq_field(
        uniformity.cv,
        Regulation::Unregulated,
        Condition::AsFound,
        computed,
    );
    let texture = Texture::assumed(assumptions);
    let demand = DemandInput {
        du_lq_field,
        over_frac: uniformity.over_frac,
        ..DemandInput::assumed(assumptions, climate, turf, texture, area_m2)
    };
    let water = year(&demand);
    YearUse {
        du_lq_field,
        gross_mm_yr: water.gross_mm_yr,
        use_m3_yr: water.use_m3_yr,
    }
}

/// Marks the scenario of a turf area that uses the least water among those that fit; what is
/// there stays unless another uses less. Ties: fewer heads, then the name.
pub(super) fn recommend(scenarios: &mut [ScenarioPlan]) {
    let best = scenarios
        .iter()
        .enumerate()
        .filter(|(_, plan)| plan.may_be_recommended())
        .filter_map(|(i, plan)| Some((plan.year?.use_m3_yr, plan, i)))
        .min_by(|a, b| {
            a.0.total_cmp(&b.0)
                .then((a.1.scenario != Scenario::AsFound).cmp(&(b.1.scenario != Scenario::AsFound)))
                .then(a.1.heads.len().cmp(&b.1.heads.len()))
                .then_with(|| a.1.scenario.text().cmp(&b.1.scenario.text()))
        })
        .map(|(_, _, i)| i);
    if let Some(i) = best {
        scenarios[i].recommended = true;
    }
}

/// A parcel's totals over its turf areas; `None` when no turf area has both an as-found and a
/// recommended scenario.
pub(super) fn totals(turf: &[TurfPlan]) -> Option<ParcelWater> {
    let mut water = ParcelWater {
        best_scenario: String::new(),
        asfound_m3_yr: 0.0,
        best_m3_yr: 0.0,
        potential_m3_yr: 0.0,
        heads: 0,
    };
    let mut counted = 0;
    for area in turf {
        let as_found = area
            .scenarios
            .iter()
            .find(|plan| plan.scenario == Scenario::AsFound);
        let best = area.scenarios.iter().find(|plan| plan.recommended);
        let (Some(found), Some(best)) = (as_found, best) else {
            continue;
        };
        let (Some(found_year), Some(best_year)) = (found.year, best.year) else {
            continue;
        };
        counted += 1;
        water.asfound_m3_yr += found_year.use_m3_yr;
        water.best_m3_yr += best_year.use_m3_yr;
        water.heads += best.heads.len() as u64;
        let name = best.scenario.text();
        if counted == 1 {
            water.best_scenario = name;
        } else if water.best_scenario != name {
            "mixed".clone_into(&mut water.best_scenario);
        }
    }
    water.potential_m3_yr = water.asfound_m3_yr - water.best_m3_yr;
    (counted > 0).then_some(water)
}
