//! What comes out: stations, pipes, and what each head gets.

use super::super::{Scenario, StationNight};
use super::{FLOW_RELEARN, PressureHold};
use crate::hydraulics::materials::{Counts, Line};
use crate::shape::Point;

/// A flow sensor has to be taught a change beyond this share.
const RELEARN_FRAC: f64 = 0.1;

/// What a pipe is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PipeRole {
    /// From the point of connection to the valves.
    Main,
    /// From a valve to its heads.
    Lateral,
    /// From the nearest existing head to one that is added.
    Swing,
}

/// One straight piece of pipe.
#[derive(Debug, Clone, PartialEq)]
pub struct PipeRow {
    /// What it is for.
    pub role: PipeRole,
    /// The station that it belongs to, from 1; `None` for mains.
    pub station: Option<usize>,
    /// Upstream end.
    pub from: Point,
    /// Downstream end.
    pub to: Point,
    /// Nominal size \[mm\].
    pub nominal_mm: f64,
    /// Inside diameter \[mm\].
    pub inside_mm: f64,
    /// Length \[m\].
    pub length_m: f64,
    /// Flow \[L/min\].
    pub flow_lpm: f64,
    /// Velocity \[m/s\].
    pub velocity_m_s: f64,
    /// Loss, fittings included \[kPa\].
    pub loss_kpa: f64,
    /// Pressure at the downstream end; `None` for mains \[kPa\].
    pub end_kpa: Option<f64>,
    /// How much of it lies under buildings \[m\].
    pub building_m: f64,
    /// How much of it lies outside the parcel and its turf \[m\].
    pub off_parcel_m: f64,
}

/// A station before it is changed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Before {
    /// Flow as delivered \[L/min\].
    pub flow_lpm: f64,
    /// Least pressure at a head's inlet \[kPa\].
    pub least_kpa: f64,
    /// Spread of the pressure over the rated one.
    pub spread_frac: f64,
}

/// One station.
#[derive(Debug, Clone, PartialEq)]
pub struct StationPlan {
    /// Which of the points of connection feeds it, from 0.
    pub source: usize,
    /// Where its valve stands.
    pub valve: Point,
    /// The box in which its valve stands, from 1 in its network.
    pub valve_box: usize,
    /// Its name, where it is in the ground and somebody named it.
    pub name: Option<String>,
    /// The same station as found; `None` for new ones, and as found.
    pub before: Option<Before>,
    /// Its heads: turf area among those planned, and head of its layout, both from 0.
    pub heads: Vec<(usize, usize)>,
    /// Flow at the rated pressure \[L/min\].
    pub rated_lpm: f64,
    /// Whether its flows and pressures agree; where they do not, they are no result and are not written.
    pub is_solved: bool,
    /// Flow as delivered \[L/min\].
    pub flow_lpm: f64,
    /// Most that it may draw \[L/min\].
    pub safe_lpm: f64,
    /// Pressure behind the valve while it runs \[kPa\].
    pub valve_kpa: f64,
    /// Least and largest pressure at the heads' inlets \[kPa\].
    pub inlet_kpa: (f64, f64),
    /// Their difference over the rated pressure.
    pub spread_frac: f64,
    /// What regulated bodies hold; `None` without \[kPa\].
    pub set_kpa: Option<f64>,
    /// Heads below their lowest working pressure.
    pub below: usize,
    /// Largest velocity in its laterals \[m/s\].
    pub fastest_m_s: f64,
    /// How much higher its valve lies than the point of connection; `None` where no elevation model
    /// says \[m\].
    pub rise_m: Option<f64>,
    /// The same of its lowest and of its highest head \[m\].
    pub head_rise_m: Option<(f64, f64)>,
    /// Fall from its highest to its lowest head; `None` where the slope is not known \[m\].
    pub fall_m: Option<f64>,
    /// Water that runs out of its lowest head after every stop without check valves \[L\].
    pub drain_l: f64,
    /// Length of its laterals \[m\].
    pub lateral_m: f64,
    /// Length of the main to its valve \[m\].
    pub main_m: f64,
    /// Wire from the nearest controller, or the point of connection without one, to its valve \[m\].
    pub wire_m: f64,
    /// Different nozzles of its heads.
    pub nozzle_types: usize,
    /// How much of its laterals lies under buildings \[m\].
    pub building_m: f64,
    /// How much of its laterals lies outside the parcel and its turf \[m\].
    pub off_parcel_m: f64,
    /// Its place in the night if the whole parcel is watered this way; `None` as found.
    pub night: Option<StationNight>,
    /// Flags, sorted.
    pub flags: Vec<&'static str>,
}

/// Stations and pipes of one scenario.
#[derive(Debug, Clone, PartialEq)]
pub struct NetworkPlan {
    /// The scenario.
    pub scenario: Scenario,
    /// The nozzle family.
    pub family: String,
    /// Its stations.
    pub stations: Vec<StationPlan>,
    /// Its pipes where they are new; empty where they are in the ground already.
    pub pipes: Vec<PipeRow>,
    /// What has to be bought; empty as found.
    pub materials: Vec<Line>,
    /// The same by the turf areas that need it.
    pub counts: Counts,
    /// The input file of the network solver, where it was asked for.
    pub inp: Option<String>,
}

/// What one head gets.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeadServed {
    /// Its station, from 1.
    pub station: usize,
    /// Pressure where it joins its lateral \[kPa\].
    pub inlet_kpa: f64,
    /// Pressure at its nozzle \[kPa\].
    pub nozzle_kpa: f64,
    /// Flow \[L/min\].
    pub flow_lpm: f64,
    /// Throw as a multiple of the rated one.
    pub throw_factor: f64,
    /// Share of the flow that is lost as mist.
    pub mist_frac: f64,
}

/// What the heads of one turf area get.
pub(super) struct AreaServed {
    pub(super) area: usize,
    pub(super) heads: Vec<HeadServed>,
    /// The worst of its stations.
    pub(super) hold: PressureHold,
    pub(super) flags: Vec<&'static str>,
    /// Heads whose bodies regulate because their pressure would be beyond the family's window.
    pub(super) regulated: Vec<usize>,
}

/// A scenario built.
pub(super) struct Built {
    pub(super) plan: NetworkPlan,
    pub(super) served: Vec<AreaServed>,
    /// Whether its stations or pipes were worked out coarsely, because there are so many.
    pub(super) is_coarse: bool,
}

impl Built {
    /// Puts what each kept station did before beside it; where flows are watched, a change of more
    /// than a tenth has to be learned anew.
    pub(super) fn compare(&mut self, found: &NetworkPlan) {
        let mut relearned: Vec<usize> = Vec::new();
        for station in self
            .plan
            .stations
            .iter_mut()
            .filter(|one| one.name.is_some())
        {
            let mut before = found.stations.iter();
            let Some(before) = before.find(|before| before.name == station.name) else {
                continue;
            };
            station.before = Some(Before {
                flow_lpm: before.flow_lpm,
                least_kpa: before.inlet_kpa.0,
                spread_frac: before.spread_frac,
            });
            let change_lpm = (station.flow_lpm - before.flow_lpm).abs();
            if change_lpm > RELEARN_FRAC * before.flow_lpm {
                station.flags.push(FLOW_RELEARN);
                station.flags.sort_unstable();
                relearned.extend(station.heads.iter().map(|&(area, _)| area));
            }
        }
        for own in &mut self.served {
            if relearned.contains(&own.area) {
                own.flags.push(FLOW_RELEARN);
            }
        }
    }
}
