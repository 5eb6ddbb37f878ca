//! What comes out: the column dictionary, and one writer per format.
//!
//! A column stands here once, with its name, kind, unit, meaning and the way its value is read off
//! a plan. Formats, the README's table and the JSON Schemas follow from it.

pub mod csv;
pub mod describe;
pub mod files;
pub mod folder;
pub mod geojson;
pub mod outputs;
pub mod run_record;
pub mod summary;
pub mod text;
pub mod throw;

use crate::crs::Frame;
use crate::issue::{Issue, Severity};
use crate::place::{Head, Pattern};
use crate::plan::{ParcelPlan, ScenarioPlan, TurfPlan};
use crate::site::LonLatPolygon;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Text; ids are always text.
    Text,
    /// A whole number.
    Integer,
    /// A number, rounded to so many decimals.
    Number(usize),
    /// Yes or no.
    Bool,
}

/// What is known about a column apart from its values.
#[derive(Debug, Clone, Copy)]
pub struct Facts {
    /// The title of the column.
    pub name: &'static str,
    /// What it holds.
    pub kind: Kind,
    /// Its unit; empty where there is none.
    pub unit: &'static str,
    /// What it means, as one sentence without a stop.
    pub meaning: &'static str,
}

/// One value.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Not known, or without meaning here.
    Null,
    /// Text.
    Text(String),
    /// A whole number.
    Integer(u64),
    /// A number that is not rounded yet.
    Number(f64),
    /// Yes or no.
    Bool(bool),
}

/// A column: its facts, and how its value is read off a row of the layer.
pub struct Column<L: Layer + ?Sized> {
    /// Name, kind, unit, meaning.
    pub facts: Facts,
    /// Reads the value.
    pub read: for<'a> fn(&L::Row<'a>) -> Cell,
}

/// Where a row lies.
#[derive(Debug, Clone, PartialEq)]
pub enum Geometry {
    /// Nowhere.
    None,
    /// A point of longitude and latitude, written with 8 decimals.
    Point(f64, f64),
    /// A polygon that this program has drawn, written with 8 decimals.
    Drawn(LonLatPolygon),
    /// Polygons of the input, written so that they read back bit by bit.
    Given(Vec<LonLatPolygon>),
}

/// A table of the output.
pub trait Layer: 'static {
    /// Name of its file, without the ending.
    const NAME: &'static str;
    /// What one row is.
    const ROW: &'static str;
    /// The kind of geometry, as RFC 7946 names it; empty for a table without.
    const SHAPE: &'static str;
    /// What a row is read from.
    type Row<'a>;
    /// The columns in their order.
    const COLUMNS: &'static [Column<Self>];

    /// Where the row lies.
    fn geometry(row: &Self::Row<'_>) -> Geometry;
}

/// One row per input parcel, planned or failed.
pub struct Parcels;
/// One row per turf area and scenario.
pub struct Turf;
/// One row per head and scenario.
pub struct Heads;
/// The ground that each head waters.
pub struct Throws;
/// One row per thing that failed.
pub struct Failures;

/// A row of `turf`.
pub struct TurfRow<'a> {
    parcel: &'a ParcelPlan,
    turf: &'a TurfPlan,
    plan: &'a ScenarioPlan,
    frame: Frame,
}

/// A row of `heads` and `throws`.
pub struct HeadRow<'a> {
    area: &'a TurfRow<'a>,
    /// 1-based number in its turf area and scenario.
    number: usize,
    head: &'a Head,
    nozzle: &'a str,
}

/// A row of `failures`.
pub struct FailureRow<'a> {
    issue: &'a Issue,
    /// The parcel in whose plan the issue stands.
    parcel: Option<&'a str>,
}

/// The rows of `turf` that a parcel gives, in order. A parcel without a frame gives none.
pub fn turf_rows(parcel: &ParcelPlan) -> impl Iterator<Item = TurfRow<'_>> {
    parcel.frame.into_iter().flat_map(move |frame| {
        parcel.turf.iter().flat_map(move |turf| {
            turf.scenarios.iter().map(move |plan| TurfRow {
                parcel,
                turf,
                plan,
                frame,
            })
        })
    })
}

/// The rows of `heads` and `throws` that a row of `turf` gives, in order.
pub fn head_rows<'a>(area: &'a TurfRow<'a>) -> impl Iterator<Item = HeadRow<'a>> {
    area.plan
        .heads
        .iter()
        .enumerate()
        .map(move |(at, head)| HeadRow {
            area,
            number: at + 1,
            head,
            nozzle: area.plan.nozzle_names.get(at).map_or("", String::as_str),
        })
}

/// The rows of `failures` that a list of issues gives, in order: notes are left out.
pub fn failure_rows<'a>(
    issues: &'a [Issue],
    parcel: Option<&'a str>,
) -> impl Iterator<Item = FailureRow<'a>> {
    issues
        .iter()
        .filter(|issue| issue.severity() >= Severity::Partial)
        .map(move |issue| FailureRow { issue, parcel })
}

const fn column<L: Layer>(
    name: &'static str,
    kind: Kind,
    unit: &'static str,
    meaning: &'static str,
    read: for<'a> fn(&L::Row<'a>) -> Cell,
) -> Column<L> {
    Column {
        facts: Facts {
            name,
            kind,
            unit,
            meaning,
        },
        read,
    }
}

const fn text<L: Layer>(
    name: &'static str,
    meaning: &'static str,
    read: for<'a> fn(&L::Row<'a>) -> Cell,
) -> Column<L> {
    column(name, Kind::Text, "", meaning, read)
}

const fn count<L: Layer>(
    name: &'static str,
    meaning: &'static str,
    read: for<'a> fn(&L::Row<'a>) -> Cell,
) -> Column<L> {
    column(name, Kind::Integer, "", meaning, read)
}

const fn number<L: Layer>(
    name: &'static str,
    unit: &'static str,
    decimals: usize,
    meaning: &'static str,
    read: for<'a> fn(&L::Row<'a>) -> Cell,
) -> Column<L> {
    column(name, Kind::Number(decimals), unit, meaning, read)
}

impl Layer for Parcels {
    const NAME: &'static str = "parcels";
    const ROW: &'static str = "input parcel, planned or failed";
    const SHAPE: &'static str = "MultiPolygon";
    type Row<'a> = &'a ParcelPlan;
    const COLUMNS: &'static [Column<Parcels>] = &[
        text("parcel_id", "The parcel's id, as text", |p| {
            p.id.as_str().into()
        }),
        text(
            "status",
            "planned, partial, no-turf or failed; the four add up to the inputs",
            |p| p.status.text().into(),
        ),
        text("issue_code", "Code of the parcel's gravest issue", |p| {
            gravest(&p.issues).map(|issue| issue.code.text()).into()
        }),
        text(
            "issue",
            "What that issue is, and what to do about it",
            |p| {
                gravest(&p.issues)
                    .map(|i| format!("{}. To mend it: {}", i.statement(), i.code.remedy()))
                    .into()
            },
        ),
        number(
            "parcel_m2",
            "m²",
            3,
            "Area of the parcel; empty without a parcel layer",
            |p| p.parcel_m2.into(),
        ),
        number("turf_m2", "m²", 3, "Area of its turf", |p| {
            p.turf.iter().map(|turf| turf.area_m2).sum::<f64>().into()
        }),
        count("turf_areas", "How many turf areas it has", |p| {
            p.turf.len().into()
        }),
        text(
            "best_scenario",
            "The recommended scenario, or `mixed` where turf areas differ",
            |p| {
                p.water
                    .as_ref()
                    .map(|water| water.best_scenario.as_str())
                    .into()
            },
        ),
        number(
            "asfound_m3_yr",
            "m³/yr",
            3,
            "Water used in a year as found",
            |p| p.water.as_ref().map(|water| water.asfound_m3_yr).into(),
        ),
        number(
            "best_m3_yr",
            "m³/yr",
            3,
            "Water used in a year with the recommended scenarios",
            |p| p.water.as_ref().map(|water| water.best_m3_yr).into(),
        ),
        number(
            "potential_m3_yr",
            "m³/yr",
            3,
            "As found less recommended: what could be saved if the clock is re-timed to need",
            |p| p.water.as_ref().map(|water| water.potential_m3_yr).into(),
        ),
        count("heads", "Heads of the recommended scenarios", |p| {
            p.water.as_ref().map(|water| water.heads).into()
        }),
        text("flags", "What to look at, sorted and joined by `;`", |p| {
            p.flags.join(";").into()
        }),
    ];

    fn geometry(parcel: &&ParcelPlan) -> Geometry {
        if parcel.outline.is_empty() {
            Geometry::None
        } else {
            Geometry::Given(parcel.outline.clone())
        }
    }
}

impl Layer for Turf {
    const NAME: &'static str = "turf";
    const ROW: &'static str = "turf area × scenario";
    const SHAPE: &'static str = "Polygon";
    type Row<'a> = TurfRow<'a>;
    const COLUMNS: &'static [Column<Turf>] = &[
        text("parcel_id", "The parcel it lies on", |r| {
            r.parcel.id.as_str().into()
        }),
        text(
            "turf_id",
            "`<parcel_id>#<n>` in input order, or the turf layer's own id",
            |r| r.turf.id.as_str().into(),
        ),
        text("scenario", "`as-found`, or `relayout:<family>`", |r| {
            r.plan.scenario.text().into()
        }),
        text("family", "Nozzle family", |r| r.plan.family.as_str().into()),
        text(
            "fit",
            "fits, fits-with-strips, too-narrow or too-wide",
            |r| r.plan.fit.text().into(),
        ),
        column(
            "recommended",
            Kind::Bool,
            "",
            "Whether this scenario is recommended for the area",
            |r| Cell::Bool(r.plan.recommended),
        ),
        number(
            "lon0",
            "°",
            7,
            "Longitude of the origin of the local frame",
            |r| r.frame.lon0_deg().into(),
        ),
        number(
            "lat0",
            "°",
            7,
            "Latitude of the origin of the local frame",
            |r| r.frame.lat0_deg().into(),
        ),
        number("area_m2", "m²", 3, "Area of the turf in that frame", |r| {
            r.turf.area_m2.into()
        }),
        number("width_m", "m", 3, "4 · area / perimeter", |r| {
            r.turf.width_m.into()
        }),
        count("heads", "Number of heads", |r| r.plan.heads.len().into()),
        number(
            "flow_lpm",
            "L/min",
            4,
            "Flow of all heads at the rated pressure",
            |r| {
                r.plan
                    .heads
                    .iter()
                    .map(|head| head.flow.lpm())
                    .sum::<f64>()
                    .into()
            },
        ),
        number(
            "rate_mm_h",
            "mm/h",
            3,
            "Precipitation rate: mean over the turf (net)",
            |r| r.plan.uniformity.map(|u| u.rate_mm_h).into(),
        ),
        number(
            "rate_gross_mm_h",
            "mm/h",
            3,
            "60 · flow / area: as if all water fell on the turf",
            |r| r.plan.uniformity.map(|u| u.rate_gross_mm_h).into(),
        ),
        number(
            "du_lq_field",
            "",
            4,
            "Low-quarter uniformity to expect in the field: the headline",
            |r| r.plan.year.map(|year| year.du_lq_field).into(),
        ),
        number(
            "du_lq",
            "",
            4,
            "Low-quarter uniformity of the drawing in still air, for comparing layouts only",
            |r| r.plan.uniformity.map(|u| u.du_lq).into(),
        ),
        number(
            "du_lq_robust",
            "",
            4,
            "Mean `du_lq` of nine members with throws, arcs and places off",
            |r| r.plan.uniformity.map(|u| u.du_lq_robust).into(),
        ),
        number(
            "cu_pct",
            "%",
            2,
            "Christiansen uniformity of the drawing in still air",
            |r| r.plan.uniformity.map(|u| u.cu_pct).into(),
        ),
        number(
            "sc",
            "",
            3,
            "Scheduling coefficient over a disc of 5 % of the area; empty when one is dry",
            |r| r.plan.uniformity.and_then(|u| u.sc).into(),
        ),
        number(
            "dry_frac",
            "",
            4,
            "Share of the turf that no head reaches (to 95 % of its throw)",
            |r| r.plan.uniformity.map(|u| u.dry_frac).into(),
        ),
        number(
            "weak_frac",
            "",
            4,
            "Share of the turf below half the mean rate",
            |r| r.plan.uniformity.map(|u| u.weak_frac).into(),
        ),
        number(
            "twice_frac",
            "",
            4,
            "Share of the turf that two heads or more reach",
            |r| r.plan.uniformity.map(|u| u.twice_frac).into(),
        ),
        number(
            "h2h_frac",
            "",
            4,
            "Share of heads that lie within the throw of at least two others",
            |r| r.plan.uniformity.map(|u| u.h2h_frac).into(),
        ),
        number(
            "over_frac",
            "",
            4,
            "Share of the water that lands outside the turf",
            |r| r.plan.uniformity.map(|u| u.over_frac).into(),
        ),
        number(
            "paved_over_frac",
            "",
            4,
            "Share on pavement; empty without an obstacle layer",
            |r| r.plan.uniformity.and_then(|u| u.paved_over_frac).into(),
        ),
        number(
            "neighb_over_frac",
            "",
            4,
            "Share on the neighbour's land; empty without a parcel layer",
            |r| r.plan.uniformity.and_then(|u| u.neighb_over_frac).into(),
        ),
        number(
            "build_over_frac",
            "",
            4,
            "Share on buildings and walls; empty without an obstacle layer",
            |r| r.plan.uniformity.and_then(|u| u.build_over_frac).into(),
        ),
        number(
            "gross_mm_yr",
            "mm/yr",
            2,
            "Depth to apply in a year, measured on the turf",
            |r| r.plan.year.map(|year| year.gross_mm_yr).into(),
        ),
        number(
            "use_m3_yr",
            "m³/yr",
            3,
            "Water used in a year, overspray included",
            |r| r.plan.year.map(|year| year.use_m3_yr).into(),
        ),
        text("flags", "What to look at, sorted and joined by `;`", |r| {
            r.plan.flags.join(";").into()
        }),
    ];

    fn geometry(row: &TurfRow<'_>) -> Geometry {
        Geometry::Given(vec![row.turf.polygon.clone()])
    }
}

impl Layer for Heads {
    const NAME: &'static str = "heads";
    const ROW: &'static str = "head × scenario";
    const SHAPE: &'static str = "Point";
    type Row<'a> = HeadRow<'a>;
    const COLUMNS: &'static [Column<Heads>] = &[
        text("head_id", "`<turf_id>/<scenario>/<n>`", |r| r.id().into()),
        text("parcel_id", "The parcel it stands on", |r| {
            r.area.parcel.id.as_str().into()
        }),
        text("turf_id", "The turf area it waters", |r| {
            r.area.turf.id.as_str().into()
        }),
        text("scenario", "`as-found`, or `relayout:<family>`", |r| {
            r.area.plan.scenario.text().into()
        }),
        column(
            "recommended",
            Kind::Bool,
            "",
            "Whether its scenario is recommended for the area",
            |r| Cell::Bool(r.area.plan.recommended),
        ),
        text("role", "corner, edge, interior, strip or kept", |r| {
            r.head.role.text().into()
        }),
        text("family", "Nozzle family", |r| {
            r.area.plan.family.as_str().into()
        }),
        text("nozzle", "Nozzle or strip of the family", |r| {
            r.nozzle.into()
        }),
        text("pattern", "sector or strip", |r| {
            match r.head.pattern {
                Pattern::Sector { .. } => "sector",
                Pattern::Strip { .. } => "strip",
            }
            .into()
        }),
        text(
            "strip_kind",
            "Where the head stands on its rectangle: end, side or centre",
            |r| match r.head.pattern {
                Pattern::Sector { .. } => Cell::Null,
                Pattern::Strip { kind, .. } => throw::strip_word(kind).into(),
            },
        ),
        number(
            "radius_m",
            "m",
            2,
            "Throw; empty for a strip",
            |r| match r.head.pattern {
                Pattern::Sector { radius_m, .. } => radius_m.into(),
                Pattern::Strip { .. } => Cell::Null,
            },
        ),
        number(
            "arc_deg",
            "°",
            1,
            "Arc, clockwise from its start; 360 is a full circle; empty for a strip",
            |r| match r.head.pattern {
                Pattern::Sector { sweep_deg, .. } => sweep_deg.into(),
                Pattern::Strip { .. } => Cell::Null,
            },
        ),
        number(
            "azimuth_deg",
            "°",
            1,
            "Clockwise from north: start of the arc; for a strip, from the head into its rectangle",
            |r| match r.head.pattern {
                Pattern::Sector { start_deg, .. } => start_deg.into(),
                Pattern::Strip { azimuth_deg, .. } => azimuth_deg.into(),
            },
        ),
        number(
            "strip_w_m",
            "m",
            2,
            "Short side of a strip's rectangle",
            |r| match r.head.pattern {
                Pattern::Sector { .. } => Cell::Null,
                Pattern::Strip { width_m, .. } => width_m.into(),
            },
        ),
        number(
            "strip_l_m",
            "m",
            2,
            "Long side of a strip's rectangle",
            |r| match r.head.pattern {
                Pattern::Sector { .. } => Cell::Null,
                Pattern::Strip { length_m, .. } => length_m.into(),
            },
        ),
        number(
            "pressure_kpa",
            "kPa",
            1,
            "Pressure at the head: the rated one",
            |r| r.area.plan.rated_kpa.into(),
        ),
        number("flow_lpm", "L/min", 4, "Flow at that pressure", |r| {
            r.head.flow.lpm().into()
        }),
        text(
            "profile",
            "How the rate falls along the throw: a name, or pairs [s, relative rate]",
            |r| {
                match r.head.pattern {
                    Pattern::Sector { .. } => r.area.plan.profile.as_str(),
                    Pattern::Strip { .. } => "uniform",
                }
                .into()
            },
        ),
        number(
            "x_m",
            "m",
            4,
            "Metres east of the frame's origin (`lon0`, `lat0` of the turf area)",
            |r| r.head.at.x.into(),
        ),
        number("y_m", "m", 4, "Metres north of the frame's origin", |r| {
            r.head.at.y.into()
        }),
    ];

    fn geometry(row: &HeadRow<'_>) -> Geometry {
        let (lon, lat) = row.area.frame.to_lonlat(row.head.at);
        Geometry::Point(lon, lat)
    }
}

impl Layer for Throws {
    const NAME: &'static str = "throws";
    const ROW: &'static str = "head × scenario: the ground it waters";
    const SHAPE: &'static str = "Polygon";
    type Row<'a> = HeadRow<'a>;
    const COLUMNS: &'static [Column<Throws>] = &[
        text("head_id", "The head, as in `heads`", |r| r.id().into()),
        text("parcel_id", "The parcel it stands on", |r| {
            r.area.parcel.id.as_str().into()
        }),
        text("turf_id", "The turf area it waters", |r| {
            r.area.turf.id.as_str().into()
        }),
        text("scenario", "`as-found`, or `relayout:<family>`", |r| {
            r.area.plan.scenario.text().into()
        }),
        column(
            "recommended",
            Kind::Bool,
            "",
            "Whether its scenario is recommended for the area",
            |r| Cell::Bool(r.area.plan.recommended),
        ),
        text("family", "Nozzle family", |r| {
            r.area.plan.family.as_str().into()
        }),
    ];

    fn geometry(row: &HeadRow<'_>) -> Geometry {
        Geometry::Drawn(throw::polygon(&row.area.frame, &throw::ring(row.head)))
    }
}

impl Layer for Failures {
    const NAME: &'static str = "failures";
    const ROW: &'static str = "thing that could not be planned or read";
    const SHAPE: &'static str = "";
    type Row<'a> = FailureRow<'a>;
    const COLUMNS: &'static [Column<Failures>] = &[
        text(
            "code",
            "The issue's code; it never changes its meaning",
            |r| r.issue.code.text().into(),
        ),
        text(
            "severity",
            "partial: a piece of a parcel; failed: a parcel or a record",
            |r| severity_word(r.issue.severity()).into(),
        ),
        text("file", "File name of the input", |r| {
            r.issue.place.file.as_deref().map(file_name).into()
        }),
        count(
            "feature",
            "1-based number of the feature, record or row",
            |r| r.issue.place.feature.into(),
        ),
        text("parcel_id", "The parcel", |r| {
            r.issue.place.parcel.as_deref().or(r.parcel).into()
        }),
        text("turf_id", "The turf area", |r| {
            r.issue.place.turf.as_deref().into()
        }),
        text("statement", "What was found", |r| {
            r.issue.statement().into()
        }),
        text("remedy", "What to do about it", |r| {
            r.issue.code.remedy().into()
        }),
    ];

    fn geometry(_: &FailureRow<'_>) -> Geometry {
        Geometry::None
    }
}

impl HeadRow<'_> {
    fn id(&self) -> String {
        format!(
            "{}/{}/{}",
            self.area.turf.id,
            self.area.plan.scenario.text(),
            self.number
        )
    }
}

/// The gravest issue that is more than a note; the first of equals.
fn gravest(issues: &[Issue]) -> Option<&Issue> {
    issues
        .iter()
        .filter(|issue| issue.severity() >= Severity::Partial)
        .min_by_key(|issue| std::cmp::Reverse(issue.severity()))
}

/// The last part of a path, so that a run does not depend on where its inputs lie.
fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}

/// The word in the `severity` column.
#[must_use]
pub fn severity_word(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "note",
        Severity::Partial => "partial",
        Severity::Failed => "failed",
        Severity::Fatal => "fatal",
    }
}

impl<L: Layer> Column<L> {
    /// The value of a row as JSON text, rounded.
    #[must_use]
    pub fn json(&self, row: &L::Row<'_>) -> String {
        match (self.read)(row) {
            Cell::Text(value) => text::json_string(&value),
            other => other
                .plain(self.facts.kind)
                .unwrap_or_else(|| "null".to_owned()),
        }
    }

    /// The value of a row as a cell of a CSV file, rounded; empty when there is none.
    #[must_use]
    pub fn csv(&self, row: &L::Row<'_>) -> String {
        match (self.read)(row) {
            Cell::Text(value) => text::csv_cell(&value),
            other => other.plain(self.facts.kind).unwrap_or_default(),
        }
    }
}

impl Cell {
    /// A number or a yes or no as text.
    fn plain(&self, kind: Kind) -> Option<String> {
        match self {
            Cell::Null | Cell::Text(_) => None,
            Cell::Integer(value) => Some(value.to_string()),
            Cell::Bool(value) => Some(value.to_string()),
            Cell::Number(value) => match kind {
                Kind::Number(decimals) => text::rounded(*value, decimals),
                Kind::Text | Kind::Integer | Kind::Bool => text::rounded(*value, 0),
            },
        }
    }
}

impl From<&str> for Cell {
    fn from(value: &str) -> Cell {
        Cell::Text(value.to_owned())
    }
}
impl From<String> for Cell {
    fn from(value: String) -> Cell {
        Cell::Text(value)
    }
}
impl From<f64> for Cell {
    fn from(value: f64) -> Cell {
        Cell::Number(value)
    }
}
impl From<u64> for Cell {
    fn from(value: u64) -> Cell {
        Cell::Integer(value)
    }
}
impl From<usize> for Cell {
    fn from(value: usize) -> Cell {
        Cell::Integer(value as u64)
    }
}
impl<T: Into<Cell>> From<Option<T>> for Cell {
    fn from(value: Option<T>) -> Cell {
        value.map_or(Cell::Null, Into::into)
    }
}
