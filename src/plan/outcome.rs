//! What is known of a parcel when its plan is done.

use serde::{Deserialize, Serialize};

use super::account::ParcelAccount;
use super::delivery::{Delivered, NetworkPlan};
use super::water::{ParcelLadder, ParcelSavings, StepFigures};
use super::{AS_FOUND_ASSUMED, Fitting, Works};
use crate::budget::{Drift, FoundClock, Hardware, ScenarioWater};
use crate::catalogue::Head;
use crate::crs::Frame;
use crate::issue::Issue;
use crate::savings::{After, Attribution, Claims, Outcome};
use crate::shape::Outline;
use crate::site::{Attributes, LonLatPolygon, Obstacle, Parcel, Texture};
use crate::uniformity::{InWind, Uniformity};

/// What became of an input parcel. Every input gets exactly one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
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

/// What becomes of the bodies in the ground where positions stay.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Bodies {
    /// Each stays unless it must be changed: broken, leaking, too low, made for another family, or
    /// with a pressure beyond the window of the family.
    Kept,
    /// Each that does not regulate is changed for one that does.
    Regulated,
}

/// One way a turf area could be watered.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Scenario {
    /// What is in the ground today.
    AsFound,
    /// The same hardware with a right schedule.
    Reclock,
    /// The existing heads straightened, cleaned, aimed, with the right nozzle of their family.
    Repair(Bodies),
    /// The existing positions with nozzles of the named family.
    Swap(String, Bodies),
    /// New positions with the named family.
    Relayout(String),
}

impl Scenario {
    /// The text of the `scenario` column, e.g. `relayout:rotary-slow` or
    /// `swap:rotary-mid+regulated`.
    #[must_use]
    pub fn text(&self) -> String {
        let with = |bodies: &Bodies| match bodies {
            Bodies::Kept => "",
            Bodies::Regulated => "+regulated",
        };
        match self {
            Scenario::AsFound => "as-found".to_owned(),
            Scenario::Reclock => "reclock".to_owned(),
            Scenario::Repair(bodies) => format!("repair{}", with(bodies)),
            Scenario::Swap(family, bodies) => format!("swap:{family}{}", with(bodies)),
            Scenario::Relayout(family) => format!("relayout:{family}"),
        }
    }

    /// Whether hardware changes, and not the clock alone.
    #[must_use]
    pub fn changes_hardware(&self) -> bool {
        !matches!(self, Scenario::AsFound | Scenario::Reclock)
    }

    /// Whether it keeps the family and the positions and mends what is there.
    #[must_use]
    pub fn is_repair(&self) -> bool {
        matches!(self, Scenario::Repair(_))
    }

    /// What becomes of the bodies in the ground; `None` where there is no change, or all is new.
    #[must_use]
    pub fn bodies(&self) -> Option<Bodies> {
        match self {
            Scenario::Repair(bodies) | Scenario::Swap(_, bodies) => Some(*bodies),
            Scenario::AsFound | Scenario::Reclock | Scenario::Relayout(_) => None,
        }
    }

    /// Whether it has new positions.
    #[must_use]
    pub fn is_relayout(&self) -> bool {
        matches!(self, Scenario::Relayout(_))
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
#[derive(Debug, Clone, PartialEq)]
pub struct YearUse {
    /// Expected field value of the low-quarter distribution uniformity.
    pub du_lq_field: f64,
    /// Depth to apply in a year, measured on the turf \[mm\]: by the runoff method chosen.
    pub gross_mm_yr: f64,
    /// Water used in a year, overspray included \[m³\].
    pub use_m3_yr: f64,
    /// What waters.
    pub hardware: Hardware,
    /// Spray or streams, and what decides its drift.
    pub drift: Drift,
    /// Whether the slope refuses its rate.
    pub too_fast_for_slope: bool,
    /// The clock as found.
    pub clock: FoundClock,
    /// The year by both runoff methods, and the schedule.
    pub water: ScenarioWater,
    /// What the behaviour that is assumed makes of the use.
    pub after: After,
    /// As found less this, the clock re-timed \[m³/yr\]; `None` as found, and for a right schedule
    /// where the clock as found is not known.
    pub saved_m3_yr: Option<f64>,
    /// What is credited to this scenario against `savings.counterfactual` and under
    /// `savings.behaviour`, before anything is deducted \[m³/yr\]; `None` as found.
    pub credited_m3_yr: Option<f64>,
    /// What may be claimed for the hardware, a mean over its life \[m³/yr\]; `None` where hardware
    /// stays.
    pub claimed_m3_yr: Option<f64>,
    /// The claim against each counterfactual; `None` where hardware stays.
    pub claims: Option<Claims>,
    /// Other behaviours than a re-timed clock; `None` where hardware stays.
    pub behaviours: Option<Behaviours>,
    /// The saving by cause; `None` as found.
    pub parts: Option<Attribution>,
    /// Its part of the night; `None` as found.
    pub night: Option<NightUse>,
}

/// What becomes of new hardware when the clock is not re-timed to need.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Behaviours {
    /// The clock is left as it is.
    pub unchanged: Outcome,
    /// The run time is raised by the ratio of the rates.
    pub scaled: Outcome,
}

/// The night of one station.
#[derive(Debug, Clone, PartialEq)]
pub struct StationNight {
    /// Its number in its network, from 1; `None` where a turf area counts as one station.
    pub number: Option<usize>,
    /// Its group, from 1: stations of one group water on the same days; 0 where it does not run.
    pub group: u32,
    /// Its days in words, e.g. `mon;thu`; empty where it does not run.
    pub days: String,
    /// Start of each cycle \[minutes after midnight\], and on which days, in words; one entry without
    /// words where they are the same on all of its days.
    pub starts: Vec<(String, Vec<f64>)>,
}

/// The night of a parcel, from the side of one of its turf areas.
#[derive(Debug, Clone, PartialEq)]
pub struct NightUse {
    /// Minutes from the first start to the last stop of the parcel's longest night.
    pub needed_min: f64,
    /// Minutes that are open.
    pub open_min: f64,
    /// Groups of stations that water on different days.
    pub groups: u32,
    /// The stations that water the area.
    pub stations: Vec<StationNight>,
}

/// What the sky of a turf area was taken to be.
#[derive(Debug, Clone, PartialEq)]
pub struct SkyUse {
    /// The climate zone or place; empty where the table names none.
    pub zone: String,
    /// Reference evapotranspiration of the year \[mm\].
    pub eto_mm_yr: f64,
    /// Rain of the year \[mm\].
    pub rain_mm_yr: f64,
    /// Reference evapotranspiration of the month in which it is largest \[mm\].
    pub peak_eto_mm: f64,
    /// Rain of that month \[mm\].
    pub peak_rain_mm: f64,
    /// Plant demand over reference evapotranspiration of the year.
    pub plant_factor: f64,
    /// Plant factor of the peak month.
    pub peak_plant_factor: f64,
}

/// What the ground of a turf area was taken to be.
#[derive(Debug, Clone, PartialEq)]
pub struct GroundUse {
    /// Texture class.
    pub texture: Texture,
    /// Basic intake rate \[mm/h\].
    pub intake_mm_h: f64,
    /// Median slope \[%\].
    pub slope_pct: f64,
    /// Slope that a tenth of the area passes \[%\]; `None` without an elevation model.
    pub slope_p90_pct: Option<f64>,
    /// Direction down the slope \[degrees clockwise from north\].
    pub aspect_deg: Option<f64>,
    /// Its sky.
    pub sky: SkyUse,
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
    /// Why, one sentence without the full stop.
    pub fit_reason: String,
    /// What the heads are meant to water, where that is not the whole turf area: the measures hold
    /// for it.
    pub watered: Option<LonLatPolygon>,
    /// Area left without overhead water \[m²\].
    pub drip_m2: f64,
    /// For each head the number of the group that runs together, from 1.
    pub groups: Vec<u16>,
    /// Whether this is the one recommended for the turf area.
    pub recommended: bool,
    /// The heads, in order of their ids.
    pub heads: Vec<Head>,
    /// What each head sees past buildings, walls and trunks, `None` where it sees everything; empty
    /// where nothing stands around.
    pub seen: Vec<Option<Outline>>,
    /// Name of the nozzle or strip of each head.
    pub nozzle_names: Vec<String>,
    /// How the rain falls; `None` when there is no head.
    pub uniformity: Option<Uniformity>,
    /// How it falls in the wind of the watering hours; `None` where that is not asked for, or there is
    /// no head.
    pub in_wind: Option<InWind>,
    /// What its supply delivers; `None` when there is no head, or nothing can be delivered.
    pub delivered: Option<Delivered>,
    /// The water of a year; `None` when there is no head.
    pub year: Option<YearUse>,
    /// Parts and work at the start: the complete bill of its unit, shared out by heads where the
    /// unit has several turf areas, without the way there \[currency\]; `None` where nothing is
    /// changed or parts cannot be counted.
    pub cost_cur: Option<f64>,
    /// Present cost of a net cubic metre of its unit over the horizon, without the way there
    /// \[currency/m³\]; `None` where nothing is saved or the cost is not known.
    pub cost_cur_m3: Option<f64>,
    /// Its place on the ladder of its unit; `None` as found, and where nothing was decided.
    pub ladder: Option<LadderFigures>,
    /// Flags, sorted.
    pub flags: Vec<&'static str>,
    /// What is known of each head that is in the ground or takes its place; empty for a layout
    /// that does not rest on existing heads.
    pub fittings: Vec<Fitting>,
    /// What a crew changes on existing heads; `None` where there are none, and as found.
    pub works: Option<Works>,
}

/// What the ladder of a unit says of a scenario; the same on all turf areas of the unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LadderFigures {
    /// The step that leads to it; `None` where another measure dominates it, it may not be chosen,
    /// or it saves nothing.
    pub step: Option<StepFigures>,
    /// Value of water from which it is worth its cost on a parcel where nothing else changes, visit
    /// and administration included \[currency/m³\]; `None` where it has no step.
    pub breakeven_cur_m3: Option<f64>,
    /// Share of the draws in which it is chosen.
    pub recommended_in_frac: f64,
    /// What choosing it for the unit costs in the mean of the draws against the best choice of each
    /// draw \[currency\]; 0 but for the recommended.
    pub regret_cur: f64,
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
    /// Its ground and sky.
    pub ground: GroundUse,
    /// The unit that it is changed with, from 1 in each parcel; 0 where nothing was decided.
    pub unit: usize,
    /// Share of the draws in which it is left as found.
    pub left_in_frac: f64,
    /// What leaving its unit costs in the mean of the draws against the best choice of each
    /// \[currency\]; 0 where it is changed.
    pub left_regret_cur: f64,
    /// Why the recommended scenario is recommended, one sentence without the full stop.
    pub reason: String,
    /// The scenarios, in a fixed order: as found, the same with a right schedule, repair, swaps,
    /// new layouts; families in the catalogue's order.
    pub scenarios: Vec<ScenarioPlan>,
}

impl TurfPlan {
    /// Whether what is in the ground is assumed, because nobody gave its heads.
    #[must_use]
    pub fn is_as_found_assumed(&self) -> bool {
        self.scenarios
            .iter()
            .filter(|plan| plan.scenario == Scenario::AsFound)
            .any(|plan| plan.flags.contains(&AS_FOUND_ASSUMED))
    }
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
    /// What stands on and around it.
    pub obstacles: Vec<Obstacle>,
    /// Its attributes.
    pub attributes: Attributes,
    /// Area of the outline \[m²\]; `None` without a parcel layer.
    pub parcel_m2: Option<f64>,
    /// Its turf areas.
    pub turf: Vec<TurfPlan>,
    /// Stations and pipes, scenario by scenario.
    pub networks: Vec<NetworkPlan>,
    /// Everything that was mended, assumed or failed.
    pub issues: Vec<Issue>,
    /// Totals over its turf areas; `None` when nothing was planned.
    pub water: Option<ParcelWater>,
    /// What could be done step by step, and where it stops; `None` when nothing was planned.
    pub ladder: Option<ParcelLadder>,
    /// What it costs and what a program would pay; `None` until that is settled.
    pub account: Option<ParcelAccount>,
    /// What the recommended scenarios save, why and how sure; `None` when nothing was planned.
    pub savings: Option<ParcelSavings>,
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
    /// What of it may be claimed for new hardware \[m³/yr\].
    pub claimed_m3_yr: f64,
    /// Turf areas whose heads are assumed, not surveyed.
    pub assumed_areas: u64,
    /// What of the use as found rests on assumed heads \[m³/yr\].
    pub asfound_assumed_m3_yr: f64,
    /// What of the potential does \[m³/yr\].
    pub potential_assumed_m3_yr: f64,
    /// Heads of the recommended scenarios.
    pub heads: u64,
    /// What public programs would allow.
    pub allowance: AllowanceUse,
    /// Minutes that the recommended scenarios need of the longest night.
    pub night_min: f64,
    /// Minutes that are open.
    pub window_min: f64,
    /// What night and controller cannot hold.
    pub night_flags: Vec<&'static str>,
}

/// What public programs would allow a parcel's turf.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AllowanceUse {
    /// Maximum applied water allowance of the state landscape ordinance \[m³/yr\].
    pub mawa_m3_yr: f64,
    /// Estimated total water use of the same \[m³/yr\].
    pub etwu_m3_yr: f64,
    /// Landscape water allowance of the federal new-home budget in the peak month \[m³\].
    pub lwa_m3_month: f64,
    /// Landscape water requirement of the same \[m³\].
    pub lwr_m3_month: f64,
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
            obstacles: parcel.obstacles.clone(),
            attributes: parcel.attributes.clone(),
            parcel_m2: None,
            turf: Vec::new(),
            networks: Vec::new(),
            issues: parcel.issues.clone(),
            water: None,
            ladder: None,
            account: None,
            savings: None,
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
            supply: Vec::new(),
            relief: None,
            meter: Vec::new(),
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
