//! What is known of a parcel when its plan is done.

use super::{Fitting, Works};
use crate::catalogue::Head;
use crate::crs::Frame;
use crate::issue::Issue;
use crate::site::{Attributes, LonLatPolygon, Parcel};
use crate::uniformity::Uniformity;

/// What became of an input parcel. Every input gets exactly one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Status {
    /// Every turf area has a plan.
    Planned,
    /// Some piece of it could not be planned.
    Partial,
    /// There is no turf on it.
    NoTurf,
    /// Nothing could be planned; the issue says why.
    Failed,
}

impl Status {
    /// The four, in the order in which they are counted.
    pub const ALL: [Status; 4] = [
        Status::Planned,
        Status::Partial,
        Status::NoTurf,
        Status::Failed,
    ];

    /// The word in the `status` column.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Status::Planned => "planned",
            Status::Partial => "partial",
            Status::NoTurf => "no-turf",
            Status::Failed => "failed",
        }
    }
}

/// One way a turf area could be watered.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Scenario {
    /// What is in the ground today.
    AsFound,
    /// The existing heads straightened, cleaned, aimed, with the right nozzle of their family.
    Repair,
    /// The existing positions with nozzles of the named family.
    Swap(String),
    /// New positions with the named family.
    Relayout(String),
}

impl Scenario {
    /// The text of the `scenario` column, e.g. `relayout:rotary-slow`.
    #[must_use]
    pub fn text(&self) -> String {
        match self {
            Scenario::AsFound => "as-found".to_owned(),
            Scenario::Repair => "repair".to_owned(),
            Scenario::Swap(family) => format!("swap:{family}"),
            Scenario::Relayout(family) => format!("relayout:{family}"),
        }
    }
}

/// How well a family suits a turf area.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fit {
    /// Its throws fit the shape.
    Fits,
    /// It fits with strip patterns in the narrow parts.
    FitsWithStrips,
    /// The turf is narrower than the family can water without undue overspray.
    TooNarrow,
    /// So wide that the family needs an unreasonable number of heads.
    TooWide,
}

impl Fit {
    /// The word in the `fit` column.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Fit::Fits => "fits",
            Fit::FitsWithStrips => "fits-with-strips",
            Fit::TooNarrow => "too-narrow",
            Fit::TooWide => "too-wide",
        }
    }
}

/// The water of a year in one scenario.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct YearUse {
    /// Expected field value of the low-quarter distribution uniformity.
    pub du_lq_field: f64,
    /// Depth to apply in a year, measured on the turf \[mm\].
    pub gross_mm_yr: f64,
    /// Water used in a year, overspray included \[m³\].
    pub use_m3_yr: f64,
}

/// A turf area in one scenario.
#[derive(Debug, Clone, PartialEq)]
pub struct ScenarioPlan {
    /// Which way of watering.
    pub scenario: Scenario,
    /// The nozzle family.
    pub family: String,
    /// The radial profile of its heads, as text.
    pub profile: String,
    /// Rated pressure of the family \[kPa\].
    pub rated_kpa: f64,
    /// The verdict on family and shape.
    pub fit: Fit,
    /// Whether this is the one recommended for the turf area.
    pub recommended: bool,
    /// The heads, in order of their ids.
    pub heads: Vec<Head>,
    /// Name of the nozzle or strip of each head.
    pub nozzle_names: Vec<String>,
    /// How the rain falls; `None` when there is no head.
    pub uniformity: Option<Uniformity>,
    /// The water of a year; `None` when there is no head.
    pub year: Option<YearUse>,
    /// Flags, sorted.
    pub flags: Vec<&'static str>,
    /// What is known of each head that is in the ground or takes its place; empty for a layout
    /// that does not rest on existing heads.
    pub fittings: Vec<Fitting>,
    /// What a crew changes on existing heads; `None` where there are none, and as found.
    pub works: Option<Works>,
}

impl ScenarioPlan {
    /// Whether it can be recommended: what is there can always stay, anything else has to fit.
    #[must_use]
    pub fn may_be_recommended(&self) -> bool {
        self.scenario == Scenario::AsFound || self.fit == Fit::Fits
    }
}

/// A turf area and its scenarios.
#[derive(Debug, Clone, PartialEq)]
pub struct TurfPlan {
    /// The turf area's id.
    pub id: String,
    /// The lawn, after repair.
    pub polygon: LonLatPolygon,
    /// Its area in the local frame \[m²\].
    pub area_m2: f64,
    /// 4 · area / perimeter \[m\].
    pub width_m: f64,
    /// The scenarios, in a fixed order: as found, repair, swaps, new layouts; families in the
    /// catalogue's order.
    pub scenarios: Vec<ScenarioPlan>,
}

/// Everything that was found out about one parcel.
#[derive(Debug, Clone, PartialEq)]
pub struct ParcelPlan {
    /// 0-based position of the parcel in the run.
    pub index: u64,
    /// The parcel's id.
    pub id: String,
    /// What became of it.
    pub status: Status,
    /// Its local frame; `None` when it failed before it had one.
    pub frame: Option<Frame>,
    /// Its outline; empty without a parcel layer.
    pub outline: Vec<LonLatPolygon>,
    /// Its attributes.
    pub attributes: Attributes,
    /// Area of the outline \[m²\]; `None` without a parcel layer.
    pub parcel_m2: Option<f64>,
    /// Its turf areas.
    pub turf: Vec<TurfPlan>,
    /// Everything that was mended, assumed or failed.
    pub issues: Vec<Issue>,
    /// Totals over its turf areas; `None` when nothing was planned.
    pub water: Option<ParcelWater>,
    /// Flags, sorted.
    pub flags: Vec<&'static str>,
}

/// A parcel's water of a year.
#[derive(Debug, Clone, PartialEq)]
pub struct ParcelWater {
    /// The recommended scenario, or `mixed` when turf areas differ.
    pub best_scenario: String,
    /// Use as found \[m³/yr\].
    pub asfound_m3_yr: f64,
    /// Use in the recommended scenarios \[m³/yr\].
    pub best_m3_yr: f64,
    /// As found less recommended, the clock re-timed to need \[m³/yr\].
    pub potential_m3_yr: f64,
    /// Heads of the recommended scenarios.
    pub heads: u64,
}

impl ParcelPlan {
    /// The plan of a parcel before anything is known of it but its layers.
    #[must_use]
    pub fn begun(parcel: &Parcel) -> ParcelPlan {
        ParcelPlan {
            index: parcel.index,
            id: parcel.id.clone(),
            status: Status::NoTurf,
            frame: None,
            outline: parcel.outline.clone(),
            attributes: parcel.attributes.clone(),
            parcel_m2: None,
            turf: Vec::new(),
            issues: parcel.issues.clone(),
            water: None,
            flags: Vec::new(),
        }
    }

    /// The outcome of a parcel that failed before it could be planned.
    #[must_use]
    pub fn failed(
        index: u64,
        id: String,
        issue: Issue,
        attributes: Attributes,
        outline: Vec<LonLatPolygon>,
    ) -> ParcelPlan {
        let parcel = Parcel {
            index,
            id,
            outline,
            attributes,
            turf: Vec::new(),
            obstacles: Vec::new(),
            heads: Vec::new(),
            issues: Vec::new(),
        };
        ParcelPlan::broken_off(&parcel, issue)
    }

    /// The outcome of a parcel whose plan broke off.
    #[must_use]
    pub fn broken_off(parcel: &Parcel, issue: Issue) -> ParcelPlan {
        let mut plan = ParcelPlan::begun(parcel);
        plan.issues.push(issue.of_parcel(&parcel.id));
        plan.status = Status::Failed;
        plan
    }
}
