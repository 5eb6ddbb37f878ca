//! `walk.csv`: what a crew does, station by station and head by head, for the recommended scenarios.
//!
//! Its last columns are empty: filled in and saved as `asbuilt.csv` they come back through
//! `evenfall sheet DIR PARCEL_ID --asbuilt asbuilt.csv`.

use super::layer::{Cell, Column, Geometry, Kind, Layer, column, count, number, text};
use super::network::leading;
use super::rows::TurfRow;
use super::schedule::month_name;
use super::tied::{AlongEdge, Ground, Held, Tied};
use super::water;
use crate::budget::Schedule;
use crate::place::{Head, Pattern};
use crate::plan::{Fitting, ParcelPlan, Scenario, ScenarioPlan};
use crate::shape::Point;

/// Existing positions are taken over as they are: two heads within this distance are one \[m\].
const SAME_PLACE_M: f64 = 0.01;

/// One row per thing that a crew does.
pub struct Walk;

/// What a crew does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Step {
    /// Sets the clock and leaves the hardware.
    Reclock,
    /// Straightens, cleans and aims a head, and fits the right nozzle of its family.
    Repair,
    /// Changes the nozzle of a head in the ground.
    Swap,
    /// Sets a new head.
    New,
    /// Takes a head out of use.
    Cap,
}

impl Step {
    fn text(self) -> &'static str {
        match self {
            Step::Reclock => "reset clock",
            Step::Repair => "repair",
            Step::Swap => "swap nozzle",
            Step::New => "new head",
            Step::Cap => "cap",
        }
    }
}

/// A row of `walk`.
pub struct WalkRow<'a> {
    area: &'a TurfRow<'a>,
    step: Step,
    /// The station, as `stations` numbers it; 0 without.
    station: usize,
    /// The head of the plan, by its place in the list.
    fit: Option<usize>,
    /// The plan as found, and the head in the ground.
    pull: Option<(&'a ScenarioPlan, usize)>,
    /// Run time of a watering day before and after \[min\].
    minutes: (Option<f64>, Option<f64>),
    /// The month of those minutes, from 0.
    month: Option<usize>,
    /// How it is found.
    tied: Option<Tied>,
    /// Where the run time before comes from.
    before_from: Option<&'static str>,
}

/// The rows of `walk` that the recommended scenarios of a parcel give: areas in order, stations in
/// order, heads in order, and last what is capped.
#[must_use]
pub fn walk_rows<'a>(parcel: &'a ParcelPlan, areas: &'a [TurfRow<'a>]) -> Vec<WalkRow<'a>> {
    let mut rows = Vec::new();
    for area in areas.iter().filter(|area| area.plan.recommended) {
        let mut found = area.turf.scenarios.iter();
        let found = found.find(|plan| plan.scenario == Scenario::AsFound);
        // Heads that were assumed are nothing that a crew could pull.
        let in_ground = found.filter(|plan| !plan.flags.contains(&"as-found-assumed"));
        let minutes_before = found
            .and_then(|plan| plan.year.as_ref())
            .map(water::peak_run_min);
        let before_from = found
            .and_then(|plan| plan.year.as_ref())
            .and_then(water::runs_from);
        let row = |step, station, fit, pull| WalkRow {
            area,
            step,
            station,
            fit,
            pull,
            minutes: (minutes_before, None),
            month: None,
            before_from,
            tied: None,
        };
        let step = match area.plan.scenario {
            Scenario::AsFound => continue,
            Scenario::Reclock => {
                rows.push(row(Step::Reclock, 0, None, None));
                continue;
            }
            Scenario::Repair(_) => Step::Repair,
            Scenario::Swap(..) => Step::Swap,
            Scenario::Relayout(_) => Step::New,
        };
        let mut heads: Vec<WalkRow> = Vec::new();
        let mut kept: Vec<usize> = Vec::new();
        for (at, head) in area.plan.heads.iter().enumerate() {
            let served = area
                .plan
                .delivered
                .as_ref()
                .and_then(|got| got.heads.get(at));
            let station = served.map_or(0, |served| served.station);
            let pull = in_ground.and_then(|plan| Some((plan, head_at(&plan.heads, head.at)?)));
            kept.extend(pull.map(|(_, at)| at));
            let own_step = if pull.is_some() || step == Step::Repair {
                step
            } else {
                Step::New
            };
            heads.push(row(own_step, station, Some(at), pull));
        }
        heads.sort_by_key(|row| row.station); // stable: heads stay in their order
        rows.extend(heads);
        for (plan, at) in in_ground.iter().flat_map(|plan| {
            let all = 0..plan.heads.len();
            all.map(move |at| (*plan, at))
        }) {
            if !kept.contains(&at) {
                rows.push(row(Step::Cap, 0, None, Some((plan, at))));
            }
        }
    }
    for row in &mut rows {
        let schedule = schedule(parcel, row);
        row.minutes.1 = schedule.map(Schedule::peak_min);
        row.month = schedule.map(|schedule| schedule.peak_month);
    }
    tie(parcel, &mut rows);
    rows
}

/// The schedule that a head runs by: that of its station, which waters as long as the neediest of its
/// turf areas asks for; without a station that of its turf area.
fn schedule<'a>(parcel: &'a ParcelPlan, row: &WalkRow<'a>) -> Option<&'a Schedule> {
    let scenario = &row.area.plan.scenario;
    let mut networks = parcel.networks.iter();
    let network = networks.find(|network| network.scenario == *scenario);
    let station = network.and_then(|network| network.stations.get(row.station.checked_sub(1)?));
    let shared = station.and_then(|station| {
        let fed = parcel.turf.iter().enumerate().filter(|(area, _)| {
            let mut heads = station.heads.iter();
            heads.any(|(own, _)| own == area)
        });
        leading(fed.filter_map(|(_, turf)| {
            let mut plans = turf.scenarios.iter();
            plans.find(|plan| plan.recommended && plan.scenario == *scenario)
        }))
    });
    shared.or_else(|| row.area.plan.year.as_ref()?.water.schedule.as_ref())
}

fn head_at(heads: &[Head], at: Point) -> Option<usize> {
    heads
        .iter()
        .position(|head| (head.at - at).norm() <= SAME_PLACE_M)
}

/// Finds the ties of the heads of each turf area; points are numbered through the parcel.
fn tie(parcel: &ParcelPlan, rows: &mut [WalkRow<'_>]) {
    let is_placed = |row: &WalkRow| row.at().is_some();
    let Some(ground) = Ground::of(parcel).filter(|_| rows.iter().any(is_placed)) else {
        return;
    };
    let mut numbered = 0;
    for rows in rows.chunk_by_mut(|a, b| std::ptr::eq(a.area, b.area)) {
        let heads: Vec<Point> = rows.iter().filter_map(WalkRow::at).collect();
        let Some(first) = rows.first() else { continue };
        let found = ground.tied(&first.area.turf.polygon, &heads, &mut numbered);
        let placed = rows.iter_mut().filter(|row| row.at().is_some());
        for (row, tied) in placed.zip(found) {
            row.tied = Some(tied);
        }
    }
}

impl WalkRow<'_> {
    fn head(&self) -> Option<&Head> {
        self.area.plan.heads.get(self.fit?)
    }

    /// Where the crew stands.
    fn at(&self) -> Option<Point> {
        let pulled = || self.pull.and_then(|(plan, at)| plan.heads.get(at));
        self.head().or_else(pulled).map(|head| head.at)
    }

    fn held(&self, which: usize) -> Option<&Held> {
        self.tied.as_ref()?.held.get(which)?.as_ref()
    }

    fn edge(&self) -> Option<&AlongEdge> {
        self.tied.as_ref()?.edge.as_ref()
    }

    /// The valve in the ground that feeds the head, as the layer of existing heads names it.
    fn valve(&self) -> Option<&str> {
        let pulled = self.pull.and_then(|(plan, at)| plan.fittings.get(at));
        let planned = self.fit.and_then(|at| self.area.plan.fittings.get(at));
        let name =
            |fitting: &'_ Option<&'_ Fitting>| fitting.is_some_and(|one| one.station.is_some());
        let fitting = [pulled, planned].into_iter().find(name).flatten();
        fitting?.station.as_deref()
    }
}

fn nozzle_of(plan: &ScenarioPlan, at: usize) -> Option<&str> {
    let name = plan.nozzle_names.get(at)?;
    Some(name.as_str()).filter(|name| !name.is_empty())
}

impl Layer for Walk {
    const NAME: &'static str = "walk";
    const ROW: &'static str = "thing that a crew does for the recommended scenarios";
    const SHAPE: &'static str = "";
    type Row<'a> = WalkRow<'a>;
    const COLUMNS: &'static [Column<Walk>] = &[
        text("parcel_id", "The parcel", |r| {
            r.area.parcel.id.as_str().into()
        }),
        text("turf_id", "The turf area", |r| {
            r.area.turf.id.as_str().into()
        }),
        text("scenario", "The recommended scenario of the area", |r| {
            r.area.plan.scenario.text().into()
        }),
        column(
            "station",
            Kind::Integer,
            "",
            "Number of the station in the plan; empty where none feeds it",
            |r| Some(r.station as u64).filter(|&number| number > 0).into(),
        ),
        text(
            "head_id",
            "The head of the plan; empty for what is capped",
            |r| {
                let Some(at) = r.fit else { return Cell::Null };
                let scenario = r.area.plan.scenario.text();
                format!("{}/{scenario}/{}", r.area.turf.id, at + 1).into()
            },
        ),
        text(
            "do",
            "reset clock, repair, swap nozzle, new head or cap",
            |r| r.step.text().into(),
        ),
        text(
            "pull",
            "Nozzle in the ground that comes out; empty where none is known",
            |r| r.pull.and_then(|(plan, at)| nozzle_of(plan, at)).into(),
        ),
        text("fit", "Nozzle or strip that goes in", |r| {
            r.fit.and_then(|at| nozzle_of(r.area.plan, at)).into()
        }),
        number(
            "left_edge_deg",
            "°",
            0,
            "Set first: the fixed left edge of the arc, clockwise from north; for a strip, from the head into its rectangle",
            |r| match r.head().map(|head| head.pattern) {
                Some(Pattern::Sector { start_deg, .. }) => start_deg.into(),
                Some(Pattern::Strip { azimuth_deg, .. }) => azimuth_deg.into(),
                None => Cell::Null,
            },
        ),
        number(
            "arc_deg",
            "°",
            0,
            "Then the arc, clockwise from that edge; 360 is a full circle; empty for a strip",
            |r| match r.head().map(|head| head.pattern) {
                Some(Pattern::Sector { sweep_deg, .. }) => sweep_deg.into(),
                _ => Cell::Null,
            },
        ),
        number(
            "throw_m",
            "m",
            2,
            "Last the throw; empty for a strip",
            |r| match r.head().map(|head| head.pattern) {
                Some(Pattern::Sector { radius_m, .. }) => radius_m.into(),
                _ => Cell::Null,
            },
        ),
        number(
            "minutes_before",
            "min",
            0,
            "Run time of a watering day in the peak month as found: what brings the depth that is taken to be applied, or what the clock is set to",
            |r| r.minutes.0.into(),
        ),
        text(
            "minutes_before_from",
            "`given` where somebody knows the clock, else `assumed`: read the clock before it is changed",
            |r| r.before_from.into(),
        ),
        number(
            "minutes_after",
            "min",
            1,
            "Run time of a watering day that the peak month needs, of the turf area of the station that needs most: `peak_run_min` in `schedule.csv`; what is keyed in are the cycles there and the percentage of the month",
            |r| r.minutes.1.into(),
        ),
        text(
            "month",
            "The peak month, for which both minutes are: `jan` to `dec`, as in `schedule.csv`",
            |r| r.month.map(month_name).into(),
        ),
        text(
            "valve",
            "Existing valve that feeds the head, as the layer of heads names its station; empty where nobody named one",
            |r| r.valve().into(),
        ),
        text(
            "tie_by",
            "`tapes` from two fixed points; `offset` square from an edge, where no two corners are in sight whose tapes cross under 30° to 150°; `coordinates` of the layer of heads where no corner is in sight at all",
            |r| {
                let Some(tied) = &r.tied else {
                    return Cell::Null;
                };
                tied.word().into()
            },
        ),
        text(
            "tie_a",
            "First fixed point, lettered through the parcel, and whose corner it is, e.g. `A building`; drawn on the parcel's sheet. A tape is at most 30 m long and passes no building, wall or trunk",
            |r| r.held(0).map(Held::text).into(),
        ),
        number(
            "tie_a_m",
            "m",
            2,
            "Tape from it; empty with an offset",
            |r| r.held(0).and_then(|held| held.tape_m).into(),
        ),
        text("tie_b", "Second fixed point; empty with an offset", |r| {
            r.held(1).map(Held::text).into()
        }),
        number("tie_b_m", "m", 2, "Tape from it", |r| {
            r.held(1).and_then(|held| held.tape_m).into()
        }),
        text(
            "tie_edge",
            "With an offset: the straight edge that begins at the first fixed point, and which way it runs from there, e.g. `turf edge north-east`",
            |r| r.edge().map(|edge| edge.text()).into(),
        ),
        number(
            "tie_along_m",
            "m",
            2,
            "With an offset: distance along the edge from the first fixed point",
            |r| r.edge().map(|edge| edge.along_m).into(),
        ),
        number(
            "tie_left_m",
            "m",
            2,
            "With an offset: square distance from the edge to the head, to the left of the way from the fixed point; below zero to the right",
            |r| r.edge().map(|edge| edge.left_m).into(),
        ),
        number(
            "tie_a_lon_deg",
            "°",
            8,
            "Longitude of the first fixed point",
            |r| r.held(0).map(|held| held.position.0).into(),
        ),
        number("tie_a_lat_deg", "°", 8, "Its latitude", |r| {
            r.held(0).map(|held| held.position.1).into()
        }),
        number(
            "tie_b_lon_deg",
            "°",
            8,
            "Longitude of the second fixed point",
            |r| r.held(1).map(|held| held.position.0).into(),
        ),
        number("tie_b_lat_deg", "°", 8, "Its latitude", |r| {
            r.held(1).map(|held| held.position.1).into()
        }),
        text("as_built_nozzle", "For the crew: nozzle fitted", |_| {
            Cell::Null
        }),
        count("as_built_arc_deg", "For the crew: arc set [°]", |_| {
            Cell::Null
        }),
        number(
            "as_built_throw_m",
            "m",
            2,
            "For the crew: throw set",
            |_| Cell::Null,
        ),
        number(
            "as_built_minutes",
            "min",
            0,
            "For the crew: run time keyed in for a watering day of the peak month",
            |_| Cell::Null,
        ),
        number(
            "as_built_kpa",
            "kPa",
            0,
            "For the crew: pressure at the head, where it was read",
            |_| Cell::Null,
        ),
        text("as_built_note", "For the crew: anything else", |_| {
            Cell::Null
        }),
    ];

    fn geometry<'r>(_: &'r WalkRow<'_>) -> Geometry<'r> {
        Geometry::None
    }
}
