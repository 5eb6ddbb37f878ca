//! A parcel's totals over its turf areas, and what public programs would allow it.

use super::super::delivery::NetworkPlan;
use super::super::outcome::{AllowanceUse, ParcelWater, Scenario, TurfPlan};
use super::WINDOW_SHORT;
use super::night::{night, runs};
use crate::assumptions::{Assumptions, Key};
use crate::budget::{
    Hydrozone, JetKind, Limits, StationDay, controller_flags, home_allowance, home_requirement,
    ordinance_allowance, ordinance_use,
};
use crate::units::{Area, Depth, Volume};

/// A parcel's totals over its turf areas; `None` when no turf area has both an as-found and a
/// recommended scenario.
pub(super) fn of(
    assumptions: &Assumptions,
    limits: &Limits,
    turf: &[TurfPlan],
    networks: &[NetworkPlan],
) -> Option<ParcelWater> {
    let mut water = ParcelWater {
        best_scenario: String::new(),
        asfound_m3_yr: 0.0,
        best_m3_yr: 0.0,
        potential_m3_yr: 0.0,
        claimed_m3_yr: 0.0,
        assumed_areas: 0,
        asfound_assumed_m3_yr: 0.0,
        potential_assumed_m3_yr: 0.0,
        heads: 0,
        allowance: allowance(assumptions, turf),
        night_min: 0.0,
        window_min: limits.open_min,
        night_flags: Vec::new(),
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
        let (Some(found_year), Some(best_year)) = (&found.year, &best.year) else {
            continue;
        };
        counted += 1;
        water.asfound_m3_yr += found_year.use_m3_yr;
        water.best_m3_yr += best_year.use_m3_yr;
        water.claimed_m3_yr += best_year.claimed_m3_yr.unwrap_or(0.0);
        if area.is_as_found_assumed() {
            water.assumed_areas += 1;
            water.asfound_assumed_m3_yr += found_year.use_m3_yr;
            water.potential_assumed_m3_yr += found_year.use_m3_yr - best_year.use_m3_yr;
        }
        water.heads += best.heads.len() as u64;
        let name = best.scenario.text();
        if counted == 1 {
            water.best_scenario = name;
        } else if water.best_scenario != name {
            "mixed".clone_into(&mut water.best_scenario);
        }
    }
    water.potential_m3_yr = water.asfound_m3_yr - water.best_m3_yr;
    let best = |area: usize| {
        let mut scenarios = turf[area].scenarios.iter();
        let best = scenarios.find(|plan| plan.recommended)?;
        Some(&best.scenario)
    };
    let runs = runs(turf, networks, best);
    let stations: Vec<StationDay> = runs.iter().map(|run| run.day).collect();
    let night = night(&runs, limits);
    water.night_min = night.need.needed_min;
    water.night_flags = controller_flags(&stations, &night.days(), limits);
    if !night.need.fits {
        water.night_flags.push(WINDOW_SHORT);
    }
    (counted > 0).then_some(water)
}

/// Both public budgets of all turf of a parcel. The landscape is its turf: other plantings are
/// not known.
fn allowance(assumptions: &Assumptions, turf: &[TurfPlan]) -> AllowanceUse {
    let number = |key| assumptions.number(key);
    let mut sums = [Volume::ZERO; 4];
    for area in turf {
        let sky = &area.ground.sky;
        let size = Area::of_m2(area.area_m2);
        let depth = |mm: f64| Depth::of_depth_m(mm.max(0.0) / 1_000.0);
        let credited_mm = number(Key::OrdinanceRainCredit) * sky.rain_mm_yr;
        let year = depth(sky.eto_mm_yr - credited_mm);
        let peak = depth(sky.peak_eto_mm);
        let zone = Hydrozone {
            plant_factor: sky.plant_factor,
            efficiency: number(Key::OrdinanceEfficiency),
            area: size,
        };
        let found = area
            .scenarios
            .iter()
            .find(|plan| plan.recommended)
            .and_then(|plan| plan.year.as_ref());
        let du = match found.map(|year| year.drift.kind) {
            Some(JetKind::Streams) => number(Key::HomeBudgetDuRotary),
            Some(JetKind::Spray) | None => number(Key::HomeBudgetDuSpray),
        };
        let parts = [
            ordinance_allowance(year, number(Key::OrdinanceFactor), size, Area::ZERO),
            ordinance_use(year, &[zone], Area::ZERO),
            home_allowance(peak, number(Key::HomeBudgetFactor), size),
            home_requirement(
                peak,
                sky.peak_plant_factor,
                depth(number(Key::HomeBudgetRain) * sky.peak_rain_mm),
                du,
                size,
            ),
        ];
        for (sum, part) in sums.iter_mut().zip(parts) {
            *sum = *sum + part;
        }
    }
    let [mawa, etwu, lwa, lwr] = sums.map(Volume::m3);
    AllowanceUse {
        mawa_m3_yr: mawa,
        etwu_m3_yr: etwu,
        lwa_m3_month: lwa,
        lwr_m3_month: lwr,
    }
}
