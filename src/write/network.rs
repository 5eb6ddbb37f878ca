//! Stations, pipes and materials: `stations.geojson`, `laterals.geojson`, `materials.csv`.

use super::layer::{Cell, Column, Geometry, Kind, Layer, column, count, number, text};
use super::schedule::station_starts;
use crate::budget::Schedule;
use crate::crs::Frame;
use crate::hydraulics::materials::Line;
use crate::plan::{NetworkPlan, ParcelPlan, PipeRole, PipeRow, ScenarioPlan, StationPlan};

/// One row per station and scenario.
pub struct Stations;
/// One row per piece of new pipe.
pub struct Laterals;
/// One row per thing that has to be bought.
pub struct Materials;

/// A row of `stations`.
pub struct StationRow<'a> {
    parcel: &'a ParcelPlan,
    network: &'a NetworkPlan,
    frame: Frame,
    number: usize,
    station: &'a StationPlan,
}

/// A row of `laterals`.
pub struct LateralRow<'a> {
    parcel: &'a ParcelPlan,
    network: &'a NetworkPlan,
    frame: Frame,
    number: usize,
    pipe: &'a PipeRow,
}

/// A row of `materials`.
pub struct MaterialRow<'a> {
    parcel: &'a ParcelPlan,
    network: &'a NetworkPlan,
    line: &'a Line,
}

/// The rows of `stations` that a parcel gives, in order.
pub fn station_rows(parcel: &ParcelPlan) -> impl Iterator<Item = StationRow<'_>> {
    parcel.frame.into_iter().flat_map(move |frame| {
        parcel.networks.iter().flat_map(move |network| {
            let stations = network.stations.iter().enumerate();
            stations.map(move |(at, station)| StationRow {
                parcel,
                network,
                frame,
                number: at + 1,
                station,
            })
        })
    })
}

/// The rows of `laterals` that a parcel gives, in order.
pub fn lateral_rows(parcel: &ParcelPlan) -> impl Iterator<Item = LateralRow<'_>> {
    parcel.frame.into_iter().flat_map(move |frame| {
        parcel.networks.iter().flat_map(move |network| {
            let pipes = network.pipes.iter().enumerate();
            pipes.map(move |(at, pipe)| LateralRow {
                parcel,
                network,
                frame,
                number: at + 1,
                pipe,
            })
        })
    })
}

/// The rows of `materials` that a parcel gives, in order.
pub fn material_rows(parcel: &ParcelPlan) -> impl Iterator<Item = MaterialRow<'_>> {
    parcel.networks.iter().flat_map(move |network| {
        network.materials.iter().map(move |line| MaterialRow {
            parcel,
            network,
            line,
        })
    })
}

/// `<parcel_id>/<scenario>/S<n>`.
pub(super) fn station_id(parcel: &ParcelPlan, network: &NetworkPlan, number: usize) -> String {
    format!("{}/{}/S{number}", parcel.id, network.scenario.text())
}

impl StationRow<'_> {
    /// A result of the solution; `None` where there is none.
    fn solved<T>(&self, read: impl Fn(&StationPlan) -> T) -> Option<T> {
        self.station.is_solved.then(|| read(self.station))
    }

    /// The turf areas that it waters, in order.
    fn areas(&self) -> Vec<usize> {
        let mut areas: Vec<usize> = self.station.heads.iter().map(|&(area, _)| area).collect();
        areas.dedup();
        areas.sort_unstable();
        areas.dedup();
        areas
    }

    /// The scenario of each turf area that it waters.
    fn plans(&self) -> impl Iterator<Item = &ScenarioPlan> {
        self.areas().into_iter().filter_map(|area| {
            let mut plans = self.parcel.turf.get(area)?.scenarios.iter();
            plans.find(|plan| plan.scenario == self.network.scenario)
        })
    }

    /// Cycles, minutes of a cycle and days a week of the lawn that needs most of them.
    fn clock(&self) -> Option<(u32, f64, f64)> {
        let schedule = leading(self.plans())?;
        Some((schedule.cycles, schedule.cycle_min, schedule.days_per_week))
    }
}

/// The schedule that a station keeps: of the turf areas that it waters, that of the one with the most
/// minutes, the first of equals.
pub(super) fn leading<'a>(plans: impl Iterator<Item = &'a ScenarioPlan>) -> Option<&'a Schedule> {
    let schedules = plans.filter_map(|plan| plan.year.as_ref()?.water.schedule.as_ref());
    schedules.reduce(|lead, next| match next.run_min() > lead.run_min() {
        true => next,
        false => lead,
    })
}

impl Layer for Stations {
    const NAME: &'static str = "stations";
    const ROW: &'static str = "station × scenario, at its valve";
    const SHAPE: &'static str = "Point";
    type Row<'a> = StationRow<'a>;
    const COLUMNS: &'static [Column<Stations>] = &[
        text("station_id", "`<parcel_id>/<scenario>/S<n>`", |r| {
            station_id(r.parcel, r.network, r.number).into()
        }),
        text("parcel_id", "The parcel it stands on", |r| {
            r.parcel.id.as_str().into()
        }),
        text(
            "scenario",
            "The scenario, as if the whole parcel were watered that way",
            |r| r.network.scenario.text().into(),
        ),
        column(
            "recommended",
            Kind::Bool,
            "",
            "Whether the scenario is recommended for every turf area that it waters",
            |r| Cell::Bool(r.plans().all(|plan| plan.recommended)),
        ),
        text("family", "Nozzle family", |r| {
            r.network.family.as_str().into()
        }),
        text(
            "name",
            "Its name, where it is in the ground and somebody named it",
            |r| r.station.name.as_deref().into(),
        ),
        text(
            "turf_ids",
            "The turf areas that it waters, joined by `;`",
            |r| {
                let turf = |area: usize| r.parcel.turf.get(area).map(|turf| turf.id.as_str());
                let ids: Vec<&str> = r.areas().into_iter().filter_map(turf).collect();
                ids.join(";").into()
            },
        ),
        count("heads", "Number of heads", |r| r.station.heads.len().into()),
        number(
            "flow_lpm",
            "L/min",
            2,
            "Flow of its heads at the rated pressure",
            |r| r.station.rated_lpm.into(),
        ),
        number(
            "delivered_lpm",
            "L/min",
            2,
            "Flow at the pressures that the supply gives",
            |r| r.solved(|one| one.flow_lpm).into(),
        ),
        number(
            "before_lpm",
            "L/min",
            2,
            "The same for the station as found; empty for new stations, and as found",
            |r| r.station.before.map(|before| before.flow_lpm).into(),
        ),
        number(
            "safe_lpm",
            "L/min",
            2,
            "Most that a station may draw",
            |r| r.station.safe_lpm.into(),
        ),
        number(
            "valve_kpa",
            "kPa",
            1,
            "Pressure behind the valve while it runs",
            |r| r.solved(|one| one.valve_kpa).into(),
        ),
        number(
            "least_kpa",
            "kPa",
            1,
            "Least pressure at a head's inlet",
            |r| r.solved(|one| one.inlet_kpa.0).into(),
        ),
        number(
            "least_before_kpa",
            "kPa",
            1,
            "The same for the station as found",
            |r| r.station.before.map(|before| before.least_kpa).into(),
        ),
        number(
            "most_kpa",
            "kPa",
            1,
            "Largest pressure at a head's inlet",
            |r| r.solved(|one| one.inlet_kpa.1).into(),
        ),
        number(
            "spread_pct",
            "%",
            1,
            "Their difference over the rated pressure",
            |r| r.solved(|one| 100.0 * one.spread_frac).into(),
        ),
        number(
            "spread_before_pct",
            "%",
            1,
            "The same for the station as found",
            |r| {
                r.station
                    .before
                    .map(|before| 100.0 * before.spread_frac)
                    .into()
            },
        ),
        number(
            "set_kpa",
            "kPa",
            1,
            "What its bodies hold at the nozzle; empty without regulation",
            |r| r.station.set_kpa.into(),
        ),
        count(
            "heads_below",
            "Heads below the lowest working pressure of the family",
            |r| r.solved(|one| one.below).into(),
        ),
        number(
            "velocity_m_s",
            "m/s",
            2,
            "Largest velocity in its laterals",
            |r| r.solved(|one| one.fastest_m_s).into(),
        ),
        number(
            "lateral_m",
            "m",
            2,
            "Length of its laterals; where they are in the ground already, as this program would lay them",
            |r| r.station.lateral_m.into(),
        ),
        number("main_m", "m", 2, "Length of the main to its valve", |r| {
            r.station.main_m.into()
        }),
        number(
            "valve_rise_m",
            "m",
            2,
            "How much higher its valve lies than the point of connection; empty without an elevation model",
            |r| r.station.rise_m.into(),
        ),
        number(
            "lowest_rise_m",
            "m",
            2,
            "The same of its lowest head",
            |r| r.station.head_rise_m.map(|(low, _)| low).into(),
        ),
        number(
            "highest_rise_m",
            "m",
            2,
            "The same of its highest head",
            |r| r.station.head_rise_m.map(|(_, high)| high).into(),
        ),
        number(
            "wire_m",
            "m",
            2,
            "Wire from its controller, or the point of connection where that is nearer, to its valve: the straight distance times `pipe.main_route_factor`",
            |r| r.station.wire_m.into(),
        ),
        count(
            "valve_box",
            "The box in which its valve stands, from 1 in each scenario of a parcel; where valves are in the ground already, as this program would set them",
            |r| r.station.valve_box.into(),
        ),
        count("nozzle_types", "Different nozzles on it", |r| {
            r.station.nozzle_types.into()
        }),
        number(
            "building_m",
            "m",
            2,
            "Length of its laterals under buildings, where there was no way round",
            |r| r.station.building_m.into(),
        ),
        number(
            "off_parcel_m",
            "m",
            2,
            "Length of its laterals outside the parcel and its turf; 0 without a parcel layer",
            |r| r.station.off_parcel_m.into(),
        ),
        number(
            "fall_m",
            "m",
            2,
            "Fall from its highest to its lowest head; empty where the slope is not known",
            |r| r.station.fall_m.into(),
        ),
        number(
            "drain_l",
            "L",
            1,
            "Water that runs out of its lowest head after every stop, unless check valves hold it",
            |r| r.station.drain_l.into(),
        ),
        number(
            "drain_week_l",
            "L",
            1,
            "The same over the cycles of a week of the planned clock; empty as found",
            |r| {
                r.clock()
                    .map(|(cycles, _, days)| r.station.drain_l * f64::from(cycles) * days)
                    .into()
            },
        ),
        number(
            "run_min",
            "min",
            1,
            "Run time of a watering day in the peak month, of the turf area that needs most; empty as found",
            |r| leading(r.plans()).map(Schedule::peak_min).into(),
        ),
        count("cycles", "Cycles of a watering day; empty as found", |r| {
            r.clock().map(|(cycles, ..)| u64::from(cycles)).into()
        }),
        count(
            "group",
            "Stations of one group water on the same days; empty as found",
            |r| {
                let night = r.station.night.as_ref();
                night.map(|night| u64::from(night.group)).into()
            },
        ),
        text(
            "days",
            "Days on which it waters, e.g. `mon;thu`, or which of the allowed dates; empty as found",
            |r| {
                r.station
                    .night
                    .as_ref()
                    .map(|night| night.days.as_str())
                    .into()
            },
        ),
        text(
            "starts",
            "Start of each cycle, hours and minutes, if the whole parcel is watered this way, with the days before them where these differ; empty as found",
            |r| {
                let night = r.station.night.as_ref();
                night.map(station_starts).into()
            },
        ),
        text("flags", "What to look at, sorted and joined by `;`", |r| {
            r.station.flags.join(";").into()
        }),
    ];

    fn geometry<'r>(row: &'r StationRow<'_>) -> Geometry<'r> {
        let (lon, lat) = row.frame.to_lonlat(row.station.valve);
        Geometry::Point(lon, lat)
    }
}

impl Layer for Laterals {
    const NAME: &'static str = "laterals";
    const ROW: &'static str = "straight piece of new pipe × scenario";
    const SHAPE: &'static str = "LineString";
    type Row<'a> = LateralRow<'a>;
    const COLUMNS: &'static [Column<Laterals>] = &[
        text("pipe_id", "`<parcel_id>/<scenario>/P<n>`", |r| {
            format!(
                "{}/{}/P{}",
                r.parcel.id,
                r.network.scenario.text(),
                r.number
            )
            .into()
        }),
        text("parcel_id", "The parcel it lies on", |r| {
            r.parcel.id.as_str().into()
        }),
        text("scenario", "The scenario", |r| {
            r.network.scenario.text().into()
        }),
        text(
            "station_id",
            "The station that it feeds; empty for a main",
            |r| {
                r.pipe
                    .station
                    .map(|number| station_id(r.parcel, r.network, number))
                    .into()
            },
        ),
        text(
            "role",
            "main; lateral; or swing, from the nearest existing head to one that is added",
            |r| {
                match r.pipe.role {
                    PipeRole::Main => "main",
                    PipeRole::Lateral => "lateral",
                    PipeRole::Swing => "swing",
                }
                .into()
            },
        ),
        number("nominal_mm", "mm", 1, "Nominal size", |r| {
            r.pipe.nominal_mm.into()
        }),
        number("inside_mm", "mm", 1, "Inside diameter", |r| {
            r.pipe.inside_mm.into()
        }),
        number("length_m", "m", 2, "Length", |r| r.pipe.length_m.into()),
        number(
            "flow_lpm",
            "L/min",
            2,
            "Flow as delivered; in a main that of the largest station",
            |r| r.pipe.flow_lpm.into(),
        ),
        number("velocity_m_s", "m/s", 2, "Velocity", |r| {
            r.pipe.velocity_m_s.into()
        }),
        number("loss_kpa", "kPa", 2, "Loss, fittings included", |r| {
            r.pipe.loss_kpa.into()
        }),
        number(
            "end_kpa",
            "kPa",
            1,
            "Pressure at its downstream end; empty for a main",
            |r| r.pipe.end_kpa.into(),
        ),
        number(
            "building_m",
            "m",
            2,
            "How much of it lies under buildings, where there was no way round",
            |r| r.pipe.building_m.into(),
        ),
        number(
            "off_parcel_m",
            "m",
            2,
            "How much of it lies outside the parcel and its turf; 0 without a parcel layer",
            |r| r.pipe.off_parcel_m.into(),
        ),
    ];

    fn geometry<'r>(row: &'r LateralRow<'_>) -> Geometry<'r> {
        let ends = [row.pipe.from, row.pipe.to];
        Geometry::Line(ends.map(|at| row.frame.to_lonlat(at)).to_vec())
    }
}

impl Layer for Materials {
    const NAME: &'static str = "materials";
    const ROW: &'static str =
        "thing that has to be bought × scenario, as if the whole parcel were changed that way";
    const SHAPE: &'static str = "";
    type Row<'a> = MaterialRow<'a>;
    const COLUMNS: &'static [Column<Materials>] = &[
        text("parcel_id", "The parcel", |r| r.parcel.id.as_str().into()),
        text("scenario", "The scenario", |r| {
            r.network.scenario.text().into()
        }),
        text(
            "item",
            "nozzle, body, regulated body, adapter, cap, check valve, swing pipe, pipe, fitting, valve, valve box, pressure reducer, boring, wire, controller station or backflow device",
            |r| r.line.item.into(),
        ),
        text(
            "detail",
            "Which of them: a nozzle's name, a pipe's size, where metres are bored",
            |r| r.line.detail.as_str().into(),
        ),
        text("unit", "each, or m", |r| r.line.unit.into()),
        number("quantity", "", 2, "How many, or how long", |r| {
            r.line.quantity.into()
        }),
        count(
            "per_box",
            "How many come in a box, or metres in a coil",
            |r| u64::from(r.line.per_box).into(),
        ),
        count("boxes", "Boxes or coils to order", |r| r.line.boxes.into()),
        number(
            "unit_cost_cur",
            "",
            2,
            "Cost of one, or of a metre, in the program's currency; empty for what licensed people choose and price",
            |r| r.line.is_priced().then_some(r.line.unit_cost_cur).into(),
        ),
        number(
            "cost_cur",
            "",
            2,
            "Quantity × unit cost; empty without a price",
            |r| r.line.is_priced().then_some(r.line.cost_cur()).into(),
        ),
    ];

    fn geometry<'r>(_: &'r MaterialRow<'_>) -> Geometry<'r> {
        Geometry::None
    }
}
