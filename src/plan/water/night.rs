//! The watering window: at each point of connection one valve runs at a time, and all of the
//! parcel's stations share the days that are allowed.
//!
//! Where stations could not be planned, a turf area counts as one.

use super::super::delivery::NetworkPlan;
use super::super::outcome::{NightUse, Scenario, StationNight, TurfPlan};
use super::WINDOW_SHORT;
use crate::budget::{DaySet, Limits, Schedule, StationDay, StationTurn, WindowNeed, night_plan};

/// A station on its way into the night.
pub(super) struct Run {
    /// The turf areas that it waters; the first sets its clock.
    areas: Vec<usize>,
    /// Its point of connection.
    source: usize,
    /// Its network and its place there; `None` where stations are not planned.
    station: Option<(usize, usize)>,
    pub(super) day: StationDay,
}

/// A night of several points of connection.
pub(super) struct Night {
    pub(super) need: WindowNeed,
    /// For each run its days and starts.
    runs: Vec<StationTurn>,
}

impl Night {
    /// The days of each run.
    pub(super) fn days(&self) -> Vec<DaySet> {
        self.runs.iter().map(|turn| turn.days).collect()
    }
}

/// The watering day of a schedule.
fn station_day(schedule: &Schedule) -> StationDay {
    StationDay {
        cycles: schedule.cycles,
        cycle_min: schedule.cycle_min,
        soak_min: schedule.soak_min,
        days_per_week: schedule.days_per_week,
        interval_days: schedule.interval_days,
    }
}

fn schedule_of<'p>(turf: &'p TurfPlan, wanted: &Scenario) -> Option<&'p Schedule> {
    let plan = turf
        .scenarios
        .iter()
        .find(|plan| plan.scenario == *wanted)?;
    plan.year.as_ref()?.water.schedule.as_ref()
}

/// The stations that water the given turf areas, each in a scenario of its own. A station that
/// waters several keeps the clock of the one that needs most minutes.
pub(super) fn runs<'w>(
    turf: &[TurfPlan],
    networks: &[NetworkPlan],
    wanted: impl Fn(usize) -> Option<&'w Scenario>,
) -> Vec<Run> {
    let mut runs = Vec::new();
    let mut placed = vec![false; turf.len()];
    let scheduled = |area: usize| -> Option<(&Scenario, &Schedule)> {
        let scenario = wanted(area)?;
        Some((scenario, schedule_of(&turf[area], scenario)?))
    };
    for (number, network) in networks.iter().enumerate() {
        for (place, station) in network.stations.iter().enumerate() {
            let mut areas: Vec<usize> = station.heads.iter().map(|&(area, _)| area).collect();
            areas.sort_unstable();
            areas.dedup();
            areas.retain(|&area| {
                scheduled(area).is_some_and(|(scenario, _)| hardware(scenario) == &network.scenario)
            });
            let minutes = |&area: &usize| scheduled(area).map_or(0.0, |(_, one)| run_min(one));
            // Stable, so that the first of equals leads.
            areas.sort_by(|a, b| minutes(b).total_cmp(&minutes(a)));
            let Some((_, schedule)) = areas.first().and_then(|&area| scheduled(area)) else {
                continue;
            };
            for &area in &areas {
                placed[area] = true;
            }
            runs.push(Run {
                source: station.source,
                station: Some((number, place)),
                day: station_day(schedule),
                areas,
            });
        }
    }
    for area in (0..turf.len()).filter(|&area| !placed[area]) {
        if let Some((_, schedule)) = scheduled(area) {
            runs.push(Run {
                areas: vec![area],
                source: 0,
                station: None,
                day: station_day(schedule),
            });
        }
    }
    runs
}

/// The scenario whose hardware a scenario uses.
fn hardware(scenario: &Scenario) -> &Scenario {
    match scenario {
        Scenario::Reclock => &Scenario::AsFound,
        other => other,
    }
}

fn run_min(schedule: &Schedule) -> f64 {
    f64::from(schedule.cycles) * schedule.cycle_min
}

/// The night of some stations.
pub(super) fn night(runs: &[Run], limits: &Limits) -> Night {
    let mut sources: Vec<usize> = runs.iter().map(|run| run.source).collect();
    sources.sort_unstable();
    sources.dedup();
    let mut night = Night {
        need: night_plan(&[], limits).need,
        runs: vec![StationTurn::default(); runs.len()],
    };
    for source in sources {
        let own: Vec<usize> = (0..runs.len())
            .filter(|&run| runs[run].source == source)
            .collect();
        let days: Vec<StationDay> = own.iter().map(|&run| runs[run].day).collect();
        let plan = night_plan(&days, limits);
        let need = &mut night.need;
        need.needed_min = need.needed_min.max(plan.need.needed_min);
        need.groups = need.groups.max(plan.need.groups);
        need.fits &= plan.need.fits;
        for (run, placed) in own.into_iter().zip(plan.stations) {
            night.runs[run] = placed;
        }
    }
    night
}

/// The starts of a station after midnight, by days where these differ.
fn starts_of(turn: &StationTurn, limits: &Limits) -> Vec<(String, Vec<f64>)> {
    let clock = |starts_min: &[f64]| -> Vec<f64> {
        let after_midnight = starts_min.iter();
        after_midnight
            .map(|start_min| (limits.opens_min + start_min) % 1_440.0)
            .collect()
    };
    let starts = turn.starts.iter();
    starts
        .map(|(days, starts_min)| {
            let words = match turn.starts.len() {
                1 => String::new(),
                _ => limits.days.text(*days),
            };
            (words, clock(starts_min))
        })
        .collect()
}

/// Adds to every scenario of every turf area, and to every station, what the night would have to
/// hold if the whole parcel were watered that way. Areas that do not have the scenario keep their
/// hardware and take a right schedule.
pub(super) fn share(limits: &Limits, turf: &mut [TurfPlan], networks: &mut [NetworkPlan]) {
    let mut scenarios: Vec<Scenario> = Vec::new();
    for plan in turf.iter().flat_map(|area| &area.scenarios) {
        let scheduled = plan
            .year
            .as_ref()
            .is_some_and(|year| year.water.schedule.is_some());
        if scheduled && !scenarios.contains(&plan.scenario) {
            scenarios.push(plan.scenario.clone());
        }
    }
    for scenario in scenarios {
        let has: Vec<bool> = turf
            .iter()
            .map(|area| schedule_of(area, &scenario).is_some())
            .collect();
        let wanted = |area: usize| {
            Some(if has[area] {
                &scenario
            } else {
                &Scenario::Reclock
            })
        };
        let runs = runs(turf, networks, wanted);
        let night = night(&runs, limits);
        let mut of_areas: Vec<Vec<StationNight>> = vec![Vec::new(); turf.len()];
        for (run, turn) in runs.iter().zip(&night.runs) {
            let own = StationNight {
                number: run.station.map(|(_, place)| place + 1),
                group: turn.group,
                days: limits.days.text(turn.days),
                starts: starts_of(turn, limits),
            };
            for &area in &run.areas {
                of_areas[area].push(own.clone());
            }
            // A clock set anew is told of by its turf areas: its stations are those as found.
            let station = run.station;
            if let Some((number, place)) = station.filter(|s| networks[s.0].scenario == scenario) {
                networks[number].stations[place].night = Some(own);
            }
        }
        for (area, (stations, has)) in turf.iter_mut().zip(of_areas.into_iter().zip(has)) {
            let mut plans = area.scenarios.iter_mut();
            let Some(plan) = plans.find(|plan| plan.scenario == scenario).filter(|_| has) else {
                continue;
            };
            if !night.need.fits {
                plan.flags.push(WINDOW_SHORT);
                plan.flags.sort_unstable();
            }
            if let Some(year) = &mut plan.year {
                year.night = Some(NightUse {
                    needed_min: night.need.needed_min,
                    open_min: night.need.open_min,
                    groups: night.need.groups,
                    stations,
                });
            }
        }
    }
}
