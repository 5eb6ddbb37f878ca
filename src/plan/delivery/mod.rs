//! What the supply delivers: stations, pipes, the pressure at every head, and the rain again with
//! the flows and throws that these pressures give.
//!
//! Stations are planned for the whole parcel, scenario by scenario, as if all of it were watered
//! that way: lawns of one class that lie near one another share them. What is in the ground and
//! its pipes are not known; they are taken to be as this program would have laid them.

mod builder;
mod design;
mod draft;
mod hold;
mod network;
mod outcome;
mod rain;
mod shared;
mod source;
mod valves;

pub use hold::PressureHold;
pub use outcome::{Before, HeadServed, NetworkPlan, PipeRole, PipeRow, StationPlan};
pub use rain::Delivered;
pub use shared::{run_time_factors, station_min};

use super::{Planner, Scenario, ScenarioPlan, Site};
use crate::assumptions::Assumptions;
use crate::hydraulics::nozzle::Working;
use crate::issue::{Code, Issue};
use crate::site::Parcel;
use builder::Builder;

/// Nobody read a pressure.
pub(super) const PRESSURE_UNVERIFIED: &str = "pressure-unverified";
/// The size of meter and service line follows from the flow that was given.
const SIZE_INFERRED: &str = "supply-size-inferred";
/// The static pressure is above that which plumbing may have without a pressure reducer.
const STATIC_HIGH: &str = "static-high";
/// No layer says where the point of connection is.
const CONNECTION_ASSUMED: &str = "connection-assumed";
/// A head gets less than its lowest working pressure.
const LOW_PRESSURE: &str = "low-pressure";
/// A head gets no pressure.
const DRY: &str = "dry-heads";
/// Flows and pressures of a station that agree were not found.
const UNSOLVED: &str = "pressure-unsolved";
/// A head gets more than its highest working pressure.
const HIGH_PRESSURE: &str = "high-pressure";
/// A station draws more than the safe flow.
const OVER_FLOW: &str = "station-over-flow";
/// A station draws less than its valve needs to close.
const VALVE_MINIMUM: &str = "valve-below-minimum";
/// A station draws less than its pump may deliver.
const PUMP_MINIMUM: &str = "pump-below-minimum";
/// Heads of a station lie so far apart in height that it drains through the lowest.
const CHECK_VALVES: &str = "check-valves";
/// A pipe crosses a building, a wall or a root zone.
const PIPE_CROSSES: &str = "pipe-crosses";
/// A pipe lies under a building.
const PIPE_UNDER_BUILDING: &str = "pipe-under-building";
/// A pipe lies outside the parcel and its turf.
const PIPE_OFF_PARCEL: &str = "pipe-off-parcel";
/// A station has more kinds of nozzles than a crew should keep apart at one valve.
const NOZZLE_TYPES: &str = "nozzle-types-5+";
/// A building or wall stands between heads of a station.
const STATION_PARTED: &str = "station-parted";
/// Where flows are watched, they have to be learned anew.
const FLOW_RELEARN: &str = "flow-sensor-relearn";
/// The spread of pressure inside a station is beyond its bound.
const PRESSURE_SPREAD: &str = "pressure-spread";

/// What was found out about delivery on a parcel.
pub(super) struct Delivery {
    pub(super) networks: Vec<NetworkPlan>,
    pub(super) issues: Vec<Issue>,
    /// Whether somebody read a pressure, so that what is computed replaces what is assumed.
    pub(super) is_read: bool,
}

/// Plans stations and pipes for every scenario of a parcel, and adds to each scenario of each
/// turf area what is delivered there.
pub(super) fn deliver(
    planner: &Planner,
    parcel: &Parcel,
    areas: &mut [(Site<'_>, Vec<ScenarioPlan>)],
    assumptions: &Assumptions,
) -> Delivery {
    let mut delivery = Delivery {
        networks: Vec::new(),
        issues: Vec::new(),
        is_read: false,
    };
    let Some(frame) = areas.first().map(|(site, _)| site.ground.frame) else {
        return delivery;
    };
    let turf_m2 = areas.iter().map(|(site, _)| site.outline.area_m2()).sum();
    let plant = source::plant(
        &parcel.supply,
        &frame,
        (turf_m2, &planner.catalogue.hardware),
        assumptions,
        &mut delivery.issues,
    );
    let plant = match plant {
        Ok(plant) => plant,
        Err(issue) => {
            delivery.issues.push(issue);
            return delivery;
        }
    };
    let relief = parcel.relief.as_ref().map(|relief| (relief, frame));
    delivery.is_read = plant.sources.iter().all(|source| source.is_read);
    let builder = Builder::new(planner, assumptions, &plant, relief, areas);
    let (mut serves, mut over, mut coarse) = (false, None, None);
    let mut unsolved = None;
    for scenario in scenarios_of(areas) {
        let found = delivery
            .networks
            .iter()
            .find(|network| network.scenario == Scenario::AsFound);
        let Some(built) = builder.build(&scenario, areas, found) else {
            continue;
        };
        if built.is_coarse && coarse.is_none() {
            let count = built.plan.stations.iter().map(|one| one.heads.len());
            let heads: usize = count.sum();
            coarse = Some(format!("{heads} heads in {}", scenario.text()));
        }
        for (at, station) in built.plan.stations.iter().enumerate() {
            if !station.is_solved && unsolved.is_none() {
                unsolved = Some(format!("station S{} in {}", at + 1, scenario.text()));
            }
            let alone = station.heads.len() == 1 && station.rated_lpm > station.safe_lpm;
            if alone && over.is_none() {
                let (lpm, safe_lpm) = (station.rated_lpm, station.safe_lpm);
                over = Some(format!(
                    "{lpm:.1} L/min of {safe_lpm:.1} in {}",
                    scenario.text()
                ));
            }
        }
        for served in built.served {
            let (site, plans) = &mut areas[served.area];
            let around = site.ground.surroundings();
            let Some(plan) = plans.iter_mut().find(|plan| plan.scenario == scenario) else {
                continue;
            };
            let Some(family) = planner.catalogue.family(&plan.family) else {
                continue;
            };
            serves |= served.heads.iter().any(|head| {
                !matches!(builder.working(family, head), Working::Dry | Working::Below)
            });
            let drawn = plan.watered.as_ref();
            let own = drawn.and_then(|polygon| frame.outline(polygon));
            let watered = own.as_ref().unwrap_or(site.outline);
            let got = (served.heads, served.hold);
            let mut delivered = rain::delivered(watered, plan, family, &around, got);
            delivered.is_read = delivery.is_read;
            plan.delivered = Some(delivered);
            plan.regulate(&served.regulated);
            plan.flags.extend(served.flags);
            plan.flags.sort_unstable();
            plan.flags.dedup();
        }
        delivery.networks.push(built.plan);
    }
    if !serves && !delivery.networks.is_empty() {
        let kpa = builder.best_kpa();
        let found = format!("{kpa:.0} kPa at the first valve without flow");
        delivery.issues.push(Issue::new(Code::HY01, found));
    }
    if let Some(found) = coarse {
        delivery.issues.push(Issue::new(Code::PL05, found));
    }
    if let Some(found) = unsolved {
        delivery.issues.push(Issue::new(Code::HY07, found));
    }
    if let Some(found) = over {
        delivery.issues.push(Issue::new(Code::HY03, found));
    }
    // What is there keeps its pipes under another clock.
    for (_, plans) in areas {
        let found = plans
            .iter()
            .find(|plan| plan.scenario == Scenario::AsFound)
            .and_then(|plan| plan.delivered.clone());
        for plan in plans
            .iter_mut()
            .filter(|plan| plan.scenario == Scenario::Reclock)
        {
            plan.delivered.clone_from(&found);
        }
    }
    delivery
}

/// The scenarios with pipes of their own, in the order in which they are first met.
fn scenarios_of(areas: &[(Site<'_>, Vec<ScenarioPlan>)]) -> Vec<Scenario> {
    let mut scenarios: Vec<Scenario> = Vec::new();
    for plan in areas.iter().flat_map(|(_, plans)| plans) {
        let own = plan.scenario != Scenario::Reclock && !plan.heads.is_empty();
        if own && !scenarios.contains(&plan.scenario) {
            scenarios.push(plan.scenario.clone());
        }
    }
    scenarios
}
