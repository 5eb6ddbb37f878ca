//! `walk.csv`: what a crew does, station by station and head by head, for the recommended scenarios.
//!
//! Its last columns are empty: filled in and saved as `asbuilt.csv` they come back through
//! `evenfall sheet DIR PARCEL_ID --asbuilt asbuilt.csv`.

use super::layer::{Cell, Column, Geometry, Kind, Layer, column, count, number, text};
use super::rows::TurfRow;
use super::water;
use crate::place::{Head, Pattern};
use crate::plan::{ParcelPlan, Scenario, ScenarioPlan};
use crate::shape::{Outline, Point};
use crate::site::LonLatPolygon;

/// Existing positions are taken over as they are: two heads within this distance are one \[m\].
const SAME_PLACE_M: f64 = 0.01;
/// A straight edge at least this long beside the lawn's greatest extent is taken for the tape.
const LONG_EDGE_SHARE: f64 = 0.25;

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
    /// Where the run time before comes from.
    before_from: Option<&'static str>,
    /// Where the tape starts.
    fixed: Option<[Point; 2]>,
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
        let minutes_after = area.schedule().map(|schedule| schedule.run_min());
        let outline = parcel
            .frame
            .and_then(|frame| frame.outline(drawn_polygon(area)));
        let fixed = outline.as_ref().and_then(fixed_points);
        let row = |step, station, fit, pull| WalkRow {
            area,
            step,
            station,
            fit,
            pull,
            minutes: (minutes_before, minutes_after),
            before_from,
            fixed,
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
    rows
}

/// The lawn as the layer `turf` draws it, so that a sheet made of the layer finds the same points.
fn drawn_polygon<'a>(area: &'a TurfRow<'_>) -> &'a LonLatPolygon {
    area.plan.watered.as_ref().unwrap_or(&area.turf.polygon)
}

fn head_at(heads: &[Head], at: Point) -> Option<usize> {
    heads
        .iter()
        .position(|head| (head.at - at).norm() <= SAME_PLACE_M)
}

/// Two points that a tape can be held to: the ends of the lawn's longest straight edge, or, where
/// every edge is short, its two corners farthest apart. The first is the one farther west, then the
/// one farther south.
#[must_use]
pub fn fixed_points(outline: &Outline) -> Option<[Point; 2]> {
    let ring = outline.outer();
    let distance = |pair: &(Point, Point)| (pair.0 - pair.1).norm();
    let further = |best: Option<(Point, Point)>, pair: (Point, Point)| match best {
        Some(best) if distance(&best) >= distance(&pair) => Some(best),
        _ => Some(pair),
    };
    let edges = ring.iter().zip(ring.iter().cycle().skip(1));
    let edge = edges.map(|(&a, &b)| (a, b)).fold(None, further)?;
    // The widest of the extents by box is enough to tell a curved lawn from a straight one.
    let extent = ring
        .iter()
        .fold(0.0_f64, |most, &at| most.max((at - ring[0]).norm()));
    let pair = if distance(&edge) >= LONG_EDGE_SHARE * extent {
        edge
    } else {
        let start = ring.iter().map(|&at| (ring[0], at)).fold(None, further)?.1;
        ring.iter().map(|&at| (start, at)).fold(None, further)?
    };
    let before = |a: Point, b: Point| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)).is_le();
    Some(if before(pair.0, pair.1) {
        [pair.0, pair.1]
    } else {
        [pair.1, pair.0]
    })
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

    fn tie_m(&self, which: usize) -> Cell {
        match (self.at(), self.fixed) {
            (Some(at), Some(fixed)) => (at - fixed[which]).norm().into(),
            _ => Cell::Null,
        }
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
            0,
            "Run time of a watering day in the peak month to key in",
            |r| r.minutes.1.into(),
        ),
        number(
            "tie_a_m",
            "m",
            2,
            "Tape from fixed point A, the western end of the lawn's longest straight edge; drawn on the parcel's sheet",
            |r| r.tie_m(0),
        ),
        number(
            "tie_b_m",
            "m",
            2,
            "Tape from fixed point B, its other end",
            |r| r.tie_m(1),
        ),
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

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test fails by panicking")]
mod tests {
    use super::*;

    fn ring(points: &[(f64, f64)]) -> Outline {
        let points = points.iter().map(|&(x, y)| Point::new(x, y)).collect();
        Outline::new(points, Vec::new()).unwrap()
    }

    #[test]
    fn the_tape_starts_at_the_longest_edge() {
        let lawn = ring(&[(0.0, 0.0), (20.0, 0.0), (20.0, 8.0), (5.0, 8.0), (0.0, 3.0)]);
        let fixed = fixed_points(&lawn).unwrap();
        assert_eq!((fixed[0].x, fixed[0].y), (0.0, 0.0));
        assert_eq!((fixed[1].x, fixed[1].y), (20.0, 0.0));
    }

    #[test]
    fn a_round_lawn_has_two_corners_far_apart() {
        let round: Vec<(f64, f64)> = (0..36)
            .map(|at| {
                let angle = f64::from(at) * std::f64::consts::PI / 18.0;
                (10.0 * angle.cos(), 10.0 * angle.sin())
            })
            .collect();
        let [a, b] = fixed_points(&ring(&round)).unwrap();
        assert!((a - b).norm() > 19.9);
        assert!(a.x <= b.x);
    }
}
