//! What one parcel leaves in the outputs, read off its plan: owned rows that every format writes
//! alike, and the figures that the summary adds up.
//!
//! A record is all that is kept of a parcel once it is planned. It can be stored and read back,
//! and outputs built from records are the same bytes whether or not they were stored in between.

use serde::{Deserialize, Serialize};

use super::failures::Failures;
use super::heads::{Heads, Throws};
use super::layer::{Cell, Facts, Geometry, Layer};
use super::network::{Laterals, Materials, Stations, lateral_rows, material_rows, station_rows};
use super::parcels::Parcels;
use super::program::Share;
use super::rain::{Rain, Rasters, raster};
use super::rows::{TurfRow, failure_rows, head_rows, turf_rows};
use super::schedule::Schedules;
use super::summary::Figures;
use super::text::rounded_number;
use super::turf::Turf;
use super::walk::{Walk, walk_rows};
use super::wanted::{Drawn, Wanted};
use crate::issue::Issue;
use crate::plan::{ParcelPlan, Scenario};
use crate::site::LonLatPolygon;

/// Decimals of a coordinate that this program has chosen: about a millimetre.
const DRAWN_DECIMALS: usize = 8;

/// A position of longitude and latitude.
pub type Position = (f64, f64);
/// The rings of a polygon, closed: the outer one counter-clockwise, then its holes clockwise.
pub type Rings = Vec<Vec<Position>>;

/// Where a row lies, as every format holds it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Place {
    /// Nowhere.
    Nowhere,
    /// At a position.
    Point(Position),
    /// Along a line.
    Line(Vec<Position>),
    /// In one or more polygons.
    Areas(Vec<Rings>),
}

/// One row of a table, read off.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// A value for every column, rounded to the column's decimals.
    pub cells: Vec<Cell>,
    /// Where it lies.
    pub place: Place,
}

/// The tables of the output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Which {
    /// One row per input parcel.
    Parcels,
    /// One row per turf area and scenario.
    Turf,
    /// One row per head and scenario.
    Heads,
    /// The ground that heads water.
    Throws,
    /// One row per station and scenario.
    Stations,
    /// One row per pipe.
    Laterals,
    /// The schedules.
    Schedule,
    /// The parts list.
    Materials,
    /// What the crew does.
    Walk,
    /// What failed.
    Failures,
    /// The rasters of rain.
    Rain,
}

/// A table of the output: its name, its kind of geometry and its columns.
#[derive(Debug, Clone)]
pub struct Table {
    /// Which one it is.
    pub which: Which,
    /// Its name, that of its file without the ending.
    pub name: &'static str,
    /// What one row is.
    pub row: &'static str,
    /// The kind of geometry, as RFC 7946 names it; empty for a table without.
    pub shape: &'static str,
    /// Its columns in their order.
    pub columns: Vec<Facts>,
}

/// What one parcel leaves in the outputs.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Record {
    /// Its place in the input, from 0.
    pub index: u64,
    /// Its id.
    pub id: String,
    /// Its rows, in the order in which they are written.
    pub rows: Vec<(Which, Row)>,
    /// Files of its own: name and bytes.
    pub files: Vec<(String, Vec<u8>)>,
    /// What the summary adds up.
    pub figures: Figures,
    /// What the program adds up.
    pub program: Share,
    /// Its issues, as they are told.
    pub told: Vec<Issue>,
}

impl Which {
    /// All tables in their order.
    pub const ALL: [Which; 11] = [
        Which::Parcels,
        Which::Turf,
        Which::Heads,
        Which::Throws,
        Which::Stations,
        Which::Laterals,
        Which::Schedule,
        Which::Materials,
        Which::Walk,
        Which::Failures,
        Which::Rain,
    ];

    /// The table.
    #[must_use]
    pub fn table(self) -> Table {
        match self {
            Which::Parcels => Table::of::<Parcels>(self),
            Which::Turf => Table::of::<Turf>(self),
            Which::Heads => Table::of::<Heads>(self),
            Which::Throws => Table::of::<Throws>(self),
            Which::Stations => Table::of::<Stations>(self),
            Which::Laterals => Table::of::<Laterals>(self),
            Which::Schedule => Table::of::<Schedules>(self),
            Which::Materials => Table::of::<Materials>(self),
            Which::Walk => Table::of::<Walk>(self),
            Which::Failures => Table::of::<Failures>(self),
            Which::Rain => Table::of::<Rasters>(self),
        }
    }
}

impl Table {
    fn of<L: Layer>(which: Which) -> Table {
        Table {
            which,
            name: L::NAME,
            row: L::ROW,
            shape: L::SHAPE,
            columns: L::COLUMNS.iter().map(|column| column.facts).collect(),
        }
    }

    /// Where a column stands.
    #[must_use]
    pub fn position(&self, column: &str) -> Option<usize> {
        self.columns.iter().position(|facts| facts.name == column)
    }
}

impl Row {
    /// Reads a row off.
    #[must_use]
    pub fn of<L: Layer>(row: &L::Row<'_>) -> Row {
        let read = |column: &super::layer::Column<L>| column.facts.settled((column.read)(row));
        Row {
            cells: L::COLUMNS.iter().map(read).collect(),
            place: Place::of(&L::geometry(row)),
        }
    }
}

impl Place {
    /// A geometry as every format holds it: what the program drew rounded to its decimals, rings
    /// turned by the right-hand rule. Nowhere when a coordinate is not finite.
    #[must_use]
    pub fn of(geometry: &Geometry<'_>) -> Place {
        let drawn = |value: f64| rounded_number(value, DRAWN_DECIMALS);
        let given = |value: f64| value.is_finite().then_some(value + 0.0);
        let place = match geometry {
            Geometry::None | Geometry::Given([]) => None,
            Geometry::Point(lon, lat) => {
                position(within_half_turn(*lon), *lat, drawn).map(Place::Point)
            }
            Geometry::Line(points) => {
                let points = points.iter().map(|&(lon, lat)| position(lon, lat, drawn));
                points.collect::<Option<_>>().map(Place::Line)
            }
            Geometry::Drawn(polygon) => {
                rings(polygon, drawn).map(|rings| Place::Areas(vec![rings]))
            }
            Geometry::Given(polygons) => {
                let areas = polygons.iter().map(|polygon| rings(polygon, given));
                areas.collect::<Option<_>>().map(Place::Areas)
            }
        };
        place.unwrap_or(Place::Nowhere)
    }
}

impl Record {
    /// Reads off what a parcel leaves in the outputs.
    #[must_use]
    pub fn of(parcel: &ParcelPlan, wanted: &Wanted) -> Record {
        let holds = |which| wanted.tables.holds(which);
        let mut rows = vec![(Which::Parcels, Row::of::<Parcels>(&parcel))];
        let areas: Vec<TurfRow> = turf_rows(parcel).collect();
        for area in &areas {
            if holds(Which::Turf) {
                rows.push((Which::Turf, Row::of::<Turf>(area)));
            }
            if holds(Which::Schedule) && area.schedule().is_some() {
                rows.push((Which::Schedule, Row::of::<Schedules>(area)));
            }
            let has_throws = holds(Which::Throws)
                && (wanted.throws == Drawn::All
                    || area.plan.recommended
                    || area.plan.scenario == Scenario::AsFound);
            for head in head_rows(area) {
                if holds(Which::Heads) {
                    rows.push((Which::Heads, Row::of::<Heads>(&head)));
                }
                if has_throws {
                    rows.push((Which::Throws, Row::of::<Throws>(&head)));
                }
            }
        }
        if holds(Which::Stations) {
            let stations = station_rows(parcel);
            rows.extend(stations.map(|row| (Which::Stations, Row::of::<Stations>(&row))));
        }
        if holds(Which::Laterals) {
            let pipes = lateral_rows(parcel);
            rows.extend(pipes.map(|row| (Which::Laterals, Row::of::<Laterals>(&row))));
        }
        if holds(Which::Materials) {
            let parts = material_rows(parcel);
            rows.extend(parts.map(|row| (Which::Materials, Row::of::<Materials>(&row))));
        }
        if holds(Which::Walk) {
            let walk = walk_rows(parcel, &areas);
            rows.extend(walk.iter().map(|row| (Which::Walk, Row::of::<Walk>(row))));
        }
        rows.extend(failures(&parcel.issues, Some(&parcel.id)));
        let mut told = parcel.issues.clone();
        let mut files = network_files(parcel);
        if let Err(issue) = add_rain(parcel, wanted.rain, &mut rows, &mut files) {
            let issue = [issue.of_parcel(&parcel.id)];
            rows.extend(failures(&issue, Some(&parcel.id)));
            told.extend(issue);
        }
        Record {
            index: parcel.index,
            id: parcel.id.clone(),
            rows,
            files,
            figures: Figures::of(parcel),
            program: Share::of(parcel),
            told,
        }
    }

    /// The same record with the parcel's values of the columns by which totals are made.
    #[must_use]
    pub fn grouped(mut self, parcel: &ParcelPlan, by: &[String]) -> Record {
        self.program.group(parcel, by);
        self
    }
}

/// The rows of `failures` that a list of issues gives.
pub fn failures<'a>(
    issues: &'a [Issue],
    parcel: Option<&'a str>,
) -> impl Iterator<Item = (Which, Row)> + use<'a> {
    failure_rows(issues, parcel).map(|row| (Which::Failures, Row::of::<Failures>(&row)))
}

/// The rasters of a parcel's rain, and the rows that list them.
fn add_rain(
    parcel: &ParcelPlan,
    rain: Rain,
    rows: &mut Vec<(Which, Row)>,
    files: &mut Vec<(String, Vec<u8>)>,
) -> Result<(), Issue> {
    let (mut turf, mut number) = (None, 0);
    for area in turf_rows(parcel) {
        if turf != Some(&area.turf.id) {
            turf = Some(&area.turf.id);
            number += 1;
        }
        if !rain.wants(&area) {
            continue;
        }
        let Some((row, field)) = raster(&area, number) else {
            continue;
        };
        let bytes = geotiff(&field, &row.file)?;
        rows.push((Which::Rain, Row::of::<Rasters>(&row)));
        files.push((row.file, bytes));
    }
    Ok(())
}

#[cfg(feature = "system-gis")]
fn geotiff(field: &super::rain::Field, name: &str) -> Result<Vec<u8>, Issue> {
    super::geotiff::bytes(field, name)
}

#[cfg(not(feature = "system-gis"))]
fn geotiff(_: &super::rain::Field, name: &str) -> Result<Vec<u8>, Issue> {
    let what = format!("{name}: this build writes no rasters: it lacks a library");
    Err(Issue::new(crate::issue::Code::OU03, what))
}

/// The solver's input files, one a scenario, named by the parcel's place in the run.
fn network_files(parcel: &ParcelPlan) -> Vec<(String, Vec<u8>)> {
    let mut files = Vec::new();
    for network in &parcel.networks {
        let Some(text) = &network.inp else { continue };
        let scenario = plain(&network.scenario.text());
        let name = format!("network-{}-{scenario}.inp", parcel.index + 1);
        files.push((name, text.clone().into_bytes()));
    }
    files
}

/// A text as part of a file name: letters and digits of ASCII, the rest as hyphens.
pub(super) fn plain(text: &str) -> String {
    let plain = |c: char| {
        if c.is_ascii_alphanumeric() || c == '-' || c == '_' {
            c
        } else {
            '-'
        }
    };
    text.chars().map(plain).collect()
}

fn position(lon: f64, lat: f64, set: impl Fn(f64) -> Option<f64>) -> Option<Position> {
    Some((set(lon)?, set(lat)?))
}

fn rings(polygon: &LonLatPolygon, set: impl Fn(f64) -> Option<f64>) -> Option<Rings> {
    let outer = std::iter::once((polygon.exterior(), 1.0));
    let holes = polygon.interiors().iter().map(|hole| (hole, -1.0));
    let ring = |(ring, sign): (&geo::LineString<f64>, f64)| -> Option<Vec<Position>> {
        let points = ring.0.iter().map(|at| position(at.x, at.y, &set));
        let mut points = points.collect::<Option<Vec<_>>>()?;
        if doubled_area(ring) * sign < 0.0 {
            points.reverse();
        }
        Some(points)
    };
    outer.chain(holes).map(ring).collect()
}

fn within_half_turn(lon: f64) -> f64 {
    if lon > 180.0 {
        lon - 360.0
    } else if lon < -180.0 {
        lon + 360.0
    } else {
        lon
    }
}

/// Twice the signed area about the ring's first position, so that small rings far from the origin
/// keep their sign.
fn doubled_area(line: &geo::LineString<f64>) -> f64 {
    let Some(origin) = line.coords().next() else {
        return 0.0;
    };
    line.lines()
        .map(|side| {
            (side.start.x - origin.x) * (side.end.y - origin.y)
                - (side.end.x - origin.x) * (side.start.y - origin.y)
        })
        .sum()
}
