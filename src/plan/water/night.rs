//! The water window: every turf area of a parcel is one station, one valve runs at a time.

use super::super::outcome::{NightUse, Scenario, TurfPlan};
use super::WINDOW_SHORT;
use crate::budget::{Limits, NightPlan, Schedule, StationDay, night_plan};

/// The watering day of a schedule.
pub(super) fn station_day(schedule: &Schedule) -> StationDay {
    StationDay {
        cycles: schedule.cycles,
        cycle_min: schedule.cycle_min,
        soak_min: schedule.soak_min,
        days_per_week: schedule.days_per_week,
    }
}

fn schedule_of<'p>(turf: &'p TurfPlan, wanted: &Scenario) -> Option<&'p Schedule> {
    let plan = turf
        .scenarios
        .iter()
        .find(|plan| plan.scenario == *wanted)?;
    plan.year.as_ref()?.water.schedule.as_ref()
}

/// Adds to every scenario of every turf area what the night would have to hold if the whole
/// parcel were watered that way. Areas that do not have the scenario keep their hardware and take
/// a right schedule.
pub(super) fn share(limits: &Limits, areas: &mut [TurfPlan]) {
    let mut scenarios: Vec<Scenario> = Vec::new();
    for plan in areas.iter().flat_map(|turf| &turf.scenarios) {
        let scheduled = plan
            .year
            .as_ref()
            .is_some_and(|year| year.water.schedule.is_some());
        if scheduled && !scenarios.contains(&plan.scenario) {
            scenarios.push(plan.scenario.clone());
        }
    }
    for scenario in scenarios {
        // Which of the stations a turf area is.
        let mut stations = Vec::new();
        let mut places = vec![None; areas.len()];
        for (place, turf) in places.iter_mut().zip(areas.iter()) {
            let own = schedule_of(turf, &scenario);
            if let Some(schedule) = own.or_else(|| schedule_of(turf, &Scenario::Reclock)) {
                *place = own.map(|_| stations.len());
                stations.push(station_day(schedule));
            }
        }
        let night = night_plan(&stations, limits);
        for (turf, place) in areas.iter_mut().zip(places) {
            let plan = turf
                .scenarios
                .iter_mut()
                .find(|plan| plan.scenario == scenario);
            let (Some(plan), Some(place)) = (plan, place) else {
                continue;
            };
            if !night.need.fits {
                plan.flags.push(WINDOW_SHORT);
                plan.flags.sort_unstable();
            }
            if let Some(year) = &mut plan.year {
                year.night = Some(night_use(limits, &night, place));
            }
        }
    }
}

fn night_use(limits: &Limits, night: &NightPlan, station: usize) -> NightUse {
    let (group, starts_min) = &night.stations[station];
    NightUse {
        needed_min: night.need.needed_min,
        open_min: night.need.open_min,
        groups: night.need.groups,
        group: *group,
        starts_min: starts_min
            .iter()
            .map(|start_min| (limits.opens_min + start_min) % 1_440.0)
            .collect(),
    }
}
