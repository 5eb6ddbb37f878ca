//! What comes out: the column dictionary, and one writer per format.
//!
//! A column stands here once, with its name, kind, unit, meaning and the way its value is read off
//! a plan. Formats, the README's table and the JSON Schemas follow from it.

pub mod csv;
pub mod date;
pub mod describe;
pub mod files;
#[cfg(feature = "system-gis")]
mod flatgeobuf;
pub mod folder;
pub mod formats;
pub mod geojson;
#[cfg(feature = "system-gis")]
mod geopackage;
#[cfg(feature = "geoparquet")]
mod geoparquet;
#[cfg(feature = "system-gis")]
mod geotiff;
#[cfg(feature = "system-gis")]
mod gis;
pub mod layer;
pub mod measure;
pub mod network;
pub mod outputs;
pub mod page;
pub mod program;
pub mod rain;
pub mod record;
pub mod report;
pub mod rows;
pub mod run_record;
pub mod savings;
pub mod schedule;
pub mod schemas;
pub mod sequence;
pub mod sheet;
pub mod style;
pub mod summary;
pub mod text;
pub mod throw;
pub mod walk;
mod water;
pub mod wkb;
pub mod wkt;

use crate::place::Pattern;
use crate::plan::{MeterUse, ParcelPlan, Scenario, Tier};
use crate::rain::wetted_outline;
use layer::{Cell, Column, Geometry, Kind, Layer, column, count, number, text};
use rows::{FailureRow, HeadRow, TurfRow, file_name, gravest, severity_word};

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
        text(
            "baseline_source",
            "`metered` where a water meter bounds the claim, otherwise `modelled`; the figures of use are modelled on both sides either way",
            |p| {
                let source = |meter: bool| if meter { "metered" } else { "modelled" };
                p.savings.as_ref().map(|s| source(s.meter.is_some())).into()
            },
        ),
        number(
            "metered_m3_yr",
            "m³/yr",
            3,
            "Outdoor use of a year by the meter: what lies above the winter minimum, for a mean year; empty without a usable meter",
            |p| {
                p.savings
                    .as_ref()
                    .and_then(|s| s.meter.as_ref())
                    .map(|meter| meter.outdoor_m3_yr)
                    .into()
            },
        ),
        number(
            "use_ratio",
            "",
            3,
            "Metered outdoor use over the allowance, which is the turf's net need over `meter.allowance_efficiency_frac`",
            |p| {
                p.savings
                    .as_ref()
                    .and_then(|s| s.meter.as_ref())
                    .and_then(MeterUse::ratio)
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
        number(
            "claimed_m3_yr",
            "m³/yr",
            3,
            "What of it may be claimed for new hardware",
            |p| p.water.as_ref().map(|water| water.claimed_m3_yr).into(),
        ),
        number(
            "cost_cur",
            "cur",
            2,
            "Parts and work of what is recommended; empty where parts cannot be counted",
            |p| {
                p.account
                    .as_ref()
                    .and_then(|account| account.cost_cur)
                    .into()
            },
        ),
        number(
            "rebate_cur",
            "cur",
            2,
            "The most that the program would pay; it pays on receipts and counts, never on this",
            |p| p.account.as_ref().map(|account| account.rebate_cur).into(),
        ),
        number(
            "cost_cur_m3",
            "cur/m³",
            4,
            "Levelised cost of a claimed cubic metre",
            |p| {
                p.account
                    .as_ref()
                    .and_then(|account| account.cost_cur_m3)
                    .into()
            },
        ),
        number(
            "payback_yr",
            "yr",
            2,
            "Years until the customer has the cost less the rebate back; empty where that is beyond the life",
            |p| {
                p.account
                    .as_ref()
                    .and_then(|account| account.payback_yr)
                    .into()
            },
        ),
        number(
            "npv_customer_cur",
            "cur",
            2,
            "Net present value for the customer, rebate included",
            |p| {
                let account = p.account.as_ref();
                account.and_then(|account| account.npv_customer_cur).into()
            },
        ),
        number(
            "npv_supplier_cur",
            "cur",
            2,
            "Net present value for the supplier; empty where nothing is paid",
            |p| {
                let account = p.account.as_ref();
                account.and_then(|account| account.npv_supplier_cur).into()
            },
        ),
        number(
            "claimed_p10_m3_yr",
            "m³/yr",
            3,
            "The claim that nine of ten draws of what is uncertain exceed; a total's percentile is not the sum of these",
            |p| p.savings.as_ref().map(|s| s.claimed.p10_m3_yr).into(),
        ),
        number(
            "claimed_p50_m3_yr",
            "m³/yr",
            3,
            "The claim in the middle of the draws",
            |p| p.savings.as_ref().map(|s| s.claimed.p50_m3_yr).into(),
        ),
        number(
            "claimed_p90_m3_yr",
            "m³/yr",
            3,
            "The claim that one draw in ten exceeds",
            |p| p.savings.as_ref().map(|s| s.claimed.p90_m3_yr).into(),
        ),
        number(
            "claimed_pct",
            "%",
            2,
            "The claim as a share of the use as found",
            |p| {
                p.water
                    .as_ref()
                    .filter(|water| water.asfound_m3_yr > 0.0)
                    .map(|water| 100.0 * water.claimed_m3_yr / water.asfound_m3_yr)
                    .into()
            },
        ),
        text(
            "tier",
            "Of a parcel without a meter: high, middle or low, by whether nine of ten draws reach or miss `savings.tier_m3_yr`; modelled figures do not bear exact ranks",
            |p| {
                p.savings
                    .as_ref()
                    .and_then(|s| s.tier)
                    .map(Tier::text)
                    .into()
            },
        ),
        number(
            "potential_p10_m3_yr",
            "m³/yr",
            3,
            "The potential that nine of ten draws exceed",
            |p| p.savings.as_ref().map(|s| s.potential.p10_m3_yr).into(),
        ),
        number(
            "potential_p90_m3_yr",
            "m³/yr",
            3,
            "The potential that one draw in ten exceeds",
            |p| p.savings.as_ref().map(|s| s.potential.p90_m3_yr).into(),
        ),
        number(
            "saved_schedule_m3_yr",
            "m³/yr",
            3,
            "Part of the potential that comes from the schedule; the six parts add up to it",
            |p| p.savings.as_ref().map(|s| s.parts.schedule_m3_yr).into(),
        ),
        number(
            "saved_uniformity_m3_yr",
            "m³/yr",
            3,
            "Part that comes from a more even drawing",
            |p| p.savings.as_ref().map(|s| s.parts.uniformity_m3_yr).into(),
        ),
        number(
            "saved_runoff_m3_yr",
            "m³/yr",
            3,
            "Part that comes from less runoff",
            |p| p.savings.as_ref().map(|s| s.parts.runoff_m3_yr).into(),
        ),
        number(
            "saved_drift_m3_yr",
            "m³/yr",
            3,
            "Part that comes from less drift and evaporation",
            |p| p.savings.as_ref().map(|s| s.parts.drift_m3_yr).into(),
        ),
        number(
            "saved_overspray_m3_yr",
            "m³/yr",
            3,
            "Part that comes from less water outside the turf",
            |p| p.savings.as_ref().map(|s| s.parts.overspray_m3_yr).into(),
        ),
        number(
            "saved_pressure_m3_yr",
            "m³/yr",
            3,
            "Part that comes from regulated pressure: a more even lawn and less mist, never a cut of flow",
            |p| p.savings.as_ref().map(|s| s.parts.pressure_m3_yr).into(),
        ),
        number(
            "reclock_takes_m3_yr",
            "m³/yr",
            3,
            "Part of the potential that a right schedule alone would take",
            |p| p.savings.as_ref().map(|s| s.takes.reclock_m3_yr).into(),
        ),
        number(
            "repair_takes_m3_yr",
            "m³/yr",
            3,
            "Part that repairs would take beyond that",
            |p| p.savings.as_ref().map(|s| s.takes.repair_m3_yr).into(),
        ),
        number(
            "nozzle_takes_m3_yr",
            "m³/yr",
            3,
            "What new nozzles and places add beyond both; with the two before it adds up to the potential",
            |p| p.savings.as_ref().map(|s| s.takes.nozzle_m3_yr).into(),
        ),
        count("heads", "Heads of the recommended scenarios", |p| {
            p.water.as_ref().map(|water| water.heads).into()
        }),
        count("stations", "Stations of the recommended scenarios", |p| {
            p.account.as_ref().map(|account| account.stations).into()
        }),
        count("nozzles", "Nozzles that are set", |p| {
            p.account.as_ref().map(|account| account.nozzles).into()
        }),
        count("bodies", "Pressure-regulating bodies that are set", |p| {
            p.account.as_ref().map(|account| account.bodies).into()
        }),
        number(
            "night_min",
            "min",
            0,
            "Minutes from first start to last stop of the longest night, with the recommended scenarios",
            |p| p.water.as_ref().map(|water| water.night_min).into(),
        ),
        number(
            "window_min",
            "min",
            0,
            "Minutes of a day in which watering is open",
            |p| p.water.as_ref().map(|water| water.window_min).into(),
        ),
        number(
            "mawa_m3_yr",
            "m³/yr",
            3,
            "Maximum applied water allowance of the state landscape ordinance, of the turf alone",
            |p| {
                p.water
                    .as_ref()
                    .map(|water| water.allowance.mawa_m3_yr)
                    .into()
            },
        ),
        number(
            "etwu_m3_yr",
            "m³/yr",
            3,
            "Estimated total water use of the same ordinance",
            |p| {
                p.water
                    .as_ref()
                    .map(|water| water.allowance.etwu_m3_yr)
                    .into()
            },
        ),
        number(
            "lwa_m3_month",
            "m³",
            3,
            "Landscape water allowance of the federal new-home budget in the peak month, of the turf alone",
            |p| {
                p.water
                    .as_ref()
                    .map(|water| water.allowance.lwa_m3_month)
                    .into()
            },
        ),
        number(
            "lwr_m3_month",
            "m³",
            3,
            "Landscape water requirement of the same budget",
            |p| {
                p.water
                    .as_ref()
                    .map(|water| water.allowance.lwr_m3_month)
                    .into()
            },
        ),
        column(
            "eligible",
            Kind::Bool,
            "",
            "Whether the program may pay",
            |p| {
                let account = p.account.as_ref();
                account.map_or(Cell::Null, |account| Cell::Bool(account.eligible()))
            },
        ),
        text(
            "ineligible_reason",
            "Why it may not, in the order of the rules, joined by `;`",
            |p| {
                let reasons = p.account.as_ref().map(|account| account.reasons.join(";"));
                reasons.filter(|reasons| !reasons.is_empty()).into()
            },
        ),
        text("flags", "What to look at, sorted and joined by `;`", |p| {
            p.flags.join(";").into()
        }),
    ];

    fn geometry<'r>(parcel: &'r &ParcelPlan) -> Geometry<'r> {
        if parcel.outline.is_empty() {
            Geometry::None
        } else {
            Geometry::Given(&parcel.outline)
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
        text(
            "scenario",
            "`as-found`, `reclock`, `repair`, `swap:<family>` or `relayout:<family>`",
            |r| r.plan.scenario.text().into(),
        ),
        text("family", "Nozzle family", |r| r.plan.family.as_str().into()),
        text(
            "fit",
            "fits, fits-with-strips, too-narrow or too-wide",
            |r| r.plan.fit.text().into(),
        ),
        text("fit_reason", "Why, and which other family fits", |r| {
            r.plan.fit_reason.as_str().into()
        }),
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
        number(
            "drip_m2",
            "m²",
            3,
            "Of the area, slivers left without overhead water: the geometry and the measures leave them out, the volumes give them the same depth",
            |r| r.plan.drip_m2.into(),
        ),
        number(
            "slope_pct",
            "%",
            2,
            "Slope of the turf: the median, or the assumed one",
            |r| r.turf.ground.slope_pct.into(),
        ),
        number(
            "slope_p90_pct",
            "%",
            2,
            "Slope that a tenth of the turf passes; empty without an elevation model",
            |r| r.turf.ground.slope_p90_pct.into(),
        ),
        number(
            "aspect_deg",
            "°",
            0,
            "Direction down the slope, clockwise from north; empty where it is level or not known",
            |r| r.turf.ground.aspect_deg.into(),
        ),
        text(
            "soil_texture",
            "USDA texture class of the soil, or the assumed one",
            |r| r.turf.ground.texture.text().into(),
        ),
        number(
            "intake_mm_h",
            "mm/h",
            2,
            "Basic intake rate of the soil",
            |r| r.turf.ground.intake_mm_h.into(),
        ),
        number(
            "eto_mm_yr",
            "mm/yr",
            1,
            "Reference evapotranspiration of the year",
            |r| r.turf.ground.sky.eto_mm_yr.into(),
        ),
        text(
            "climate_zone",
            "Climate zone or place; empty where the table names none",
            |r| {
                Some(r.turf.ground.sky.zone.as_str())
                    .filter(|zone| !zone.is_empty())
                    .into()
            },
        ),
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
            |r| r.plan.year.as_ref().map(|year| year.du_lq_field).into(),
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
            "cycle_min",
            "min",
            0,
            "Run time of one cycle in the peak month; as found, of one start",
            |r| r.year().map(water::cycle_min).into(),
        ),
        count(
            "cycles",
            "Cycles of a watering day; as found, starts",
            |r| r.year().map(water::cycles).into(),
        ),
        number(
            "soak_min",
            "min",
            0,
            "Rest between two cycles; empty as found",
            |r| r.schedule().map(|schedule| schedule.soak_min).into(),
        ),
        number(
            "peak_run_min",
            "min",
            1,
            "Run time that a watering day of the peak month needs; as found, that it has",
            |r| r.year().map(water::peak_run_min).into(),
        ),
        number("days_per_week", "", 1, "Watering days a week", |r| {
            r.year().map(water::days_per_week).into()
        }),
        number(
            "met_frac",
            "",
            3,
            "Share of the peak need that rules and controller let through; empty as found",
            |r| r.schedule().map(|schedule| schedule.met_frac).into(),
        ),
        number(
            "night_min",
            "min",
            0,
            "Minutes from first start to last stop of the parcel's longest night, all of it watered this way",
            |r| r.night().map(|night| night.needed_min).into(),
        ),
        number(
            "window_min",
            "min",
            0,
            "Minutes of a day in which watering is open",
            |r| r.night().map(|night| night.open_min).into(),
        ),
        number(
            "runoff_table_frac",
            "",
            4,
            "Share of the year's water on the turf that runs off, by the accumulation table",
            |r| {
                r.year()
                    .map(|year| year.water.runoff_accumulation_frac())
                    .into()
            },
        ),
        number(
            "runoff_ponding_frac",
            "",
            4,
            "The same by ponding (Green-Ampt, Mein-Larson)",
            |r| {
                r.year()
                    .map(|year| year.water.runoff_green_ampt_frac())
                    .into()
            },
        ),
        number(
            "drift_frac",
            "",
            4,
            "Share of the water that drifts away or evaporates",
            |r| r.year().map(|year| year.hardware.drift_frac).into(),
        ),
        number(
            "mist_frac",
            "",
            4,
            "Share of the flow that too much pressure turns to mist; 0 where no pressure was read",
            |r| r.year().map(|year| year.hardware.mist_frac).into(),
        ),
        number(
            "net_mm_yr",
            "mm/yr",
            2,
            "Depth that the root zone needs in a year beyond the rain",
            |r| r.year().map(|year| year.water.year().net_mm_yr).into(),
        ),
        number(
            "gross_mm_yr",
            "mm/yr",
            2,
            "Depth to apply in a year, measured on the turf, the clock re-timed to need",
            |r| r.year().map(|year| year.gross_mm_yr).into(),
        ),
        number(
            "use_m3_yr",
            "m³/yr",
            3,
            "Water used in a year, overspray included, the clock re-timed to need",
            |r| r.year().map(|year| year.use_m3_yr).into(),
        ),
        number(
            "use_unchanged_m3_yr",
            "m³/yr",
            3,
            "The same with the clock left as it is; where the turf goes short this is no saving",
            |r| r.behaviours().map(|after| after.unchanged.use_m3_yr).into(),
        ),
        number(
            "met_unchanged_frac",
            "",
            3,
            "Share of the year's need that an unchanged clock meets",
            |r| r.behaviours().map(|after| after.unchanged.met_frac).into(),
        ),
        number(
            "use_scaled_m3_yr",
            "m³/yr",
            3,
            "The same with run times raised by the ratio of the rates",
            |r| r.behaviours().map(|after| after.scaled.use_m3_yr).into(),
        ),
        number(
            "cost_cur",
            "cur",
            2,
            "Parts and work of the change, its share by heads of the bill of the parcel's network in this scenario, without the way there",
            |r| r.plan.cost_cur.into(),
        ),
        number(
            "cost_cur_m3",
            "cur/m³",
            2,
            "Levelised cost of a claimed cubic metre over the life, a share of the way there included",
            |r| r.plan.cost_cur_m3.into(),
        ),
        number(
            "saved_m3_yr",
            "m³/yr",
            3,
            "As found less this, the clock re-timed: the smaller by the two runoff methods",
            |r| r.year().and_then(|year| year.saved_m3_yr).into(),
        ),
        number(
            "saved_schedule_m3_yr",
            "m³/yr",
            3,
            "Part of the saving by `soil.runoff_method` that comes from the schedule; the six parts add up to it",
            |r| r.parts().map(|parts| parts.schedule_m3_yr).into(),
        ),
        number(
            "saved_uniformity_m3_yr",
            "m³/yr",
            3,
            "Part that comes from a more even drawing",
            |r| r.parts().map(|parts| parts.uniformity_m3_yr).into(),
        ),
        number(
            "saved_runoff_m3_yr",
            "m³/yr",
            3,
            "Part that comes from less runoff",
            |r| r.parts().map(|parts| parts.runoff_m3_yr).into(),
        ),
        number(
            "saved_drift_m3_yr",
            "m³/yr",
            3,
            "Part that comes from less drift and evaporation",
            |r| r.parts().map(|parts| parts.drift_m3_yr).into(),
        ),
        number(
            "saved_overspray_m3_yr",
            "m³/yr",
            3,
            "Part that comes from less water outside the turf",
            |r| r.parts().map(|parts| parts.overspray_m3_yr).into(),
        ),
        number(
            "saved_pressure_m3_yr",
            "m³/yr",
            3,
            "Part that comes from regulated pressure: a more even lawn and less mist, never a cut of flow",
            |r| r.parts().map(|parts| parts.pressure_m3_yr).into(),
        ),
        number(
            "claimed_m3_yr",
            "m³/yr",
            3,
            "What may be claimed for the hardware: beyond a right schedule and repairs, by the smaller runoff method, net of realisation, free riders and persistence",
            |r| r.year().and_then(|year| year.claimed_m3_yr).into(),
        ),
        text(
            "reason",
            "Why this scenario is recommended; empty elsewhere",
            |r| r.plan.recommended.then_some(r.turf.reason.as_str()).into(),
        ),
        count(
            "heads_added",
            "Heads added to those in the ground; empty where nothing is kept",
            |r| r.plan.works.map(|works| works.added).into(),
        ),
        count("heads_capped", "Heads in the ground that are capped", |r| {
            r.plan.works.map(|works| works.capped).into()
        }),
        count(
            "bodies_changed",
            "Bodies in the ground that are changed: not known to be regulated, or too low",
            |r| r.plan.works.map(|works| works.bodies).into(),
        ),
        number(
            "du_lq_delivered",
            "",
            4,
            "`du_lq` with the flows and throws that the supply's pressures give",
            |r| r.plan.delivered.as_ref().map(|got| got.du_lq).into(),
        ),
        number("cu_pct_delivered", "%", 2, "`cu_pct` as delivered", |r| {
            r.plan.delivered.as_ref().map(|got| got.cu_pct).into()
        }),
        number(
            "rate_mm_h_delivered",
            "mm/h",
            3,
            "`rate_mm_h` as delivered, mist taken off",
            |r| r.plan.delivered.as_ref().map(|got| got.rate_mm_h).into(),
        ),
        number(
            "flow_lpm_delivered",
            "L/min",
            4,
            "`flow_lpm` as delivered",
            |r| r.plan.delivered.as_ref().map(|got| got.flow_lpm).into(),
        ),
        number(
            "du_lq_wind",
            "",
            4,
            "`du_lq` in the wind of the watering hours, a mean over where it comes from; empty with `--wind none`",
            |r| r.plan.in_wind.map(|wind| wind.du_lq).into(),
        ),
        number("cu_pct_wind", "%", 2, "`cu_pct` in wind", |r| {
            r.plan.in_wind.map(|wind| wind.cu_pct).into()
        }),
        number("rate_mm_h_wind", "mm/h", 3, "`rate_mm_h` in wind", |r| {
            r.plan.in_wind.map(|wind| wind.rate_mm_h).into()
        }),
        number("over_frac_wind", "", 4, "`over_frac` in wind", |r| {
            r.plan.in_wind.map(|wind| wind.over_frac).into()
        }),
        number(
            "pressure_least_kpa",
            "kPa",
            1,
            "Least pressure at a nozzle as delivered",
            |r| r.plan.delivered.as_ref().map(|got| got.least_kpa).into(),
        ),
        number(
            "pressure_most_kpa",
            "kPa",
            1,
            "Largest pressure at a nozzle as delivered",
            |r| r.plan.delivered.as_ref().map(|got| got.most_kpa).into(),
        ),
        text("flags", "What to look at, sorted and joined by `;`", |r| {
            r.plan.flags.join(";").into()
        }),
    ];

    fn geometry<'r>(row: &'r TurfRow<'_>) -> Geometry<'r> {
        let watered = row.plan.watered.as_ref().unwrap_or(&row.turf.polygon);
        Geometry::Given(std::slice::from_ref(watered))
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
        text(
            "scenario",
            "`as-found`, `reclock`, `repair`, `swap:<family>` or `relayout:<family>`",
            |r| r.area.plan.scenario.text().into(),
        ),
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
        text("family", "Nozzle family", |r| r.family().into()),
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
            "Pressure at the head: the rated one, as found the measured one where there is one",
            |r| r.pressure_kpa().into(),
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
        text(
            "station",
            "The station that feeds it, as in `stations`",
            |r| {
                r.served()
                    .map(|served| {
                        let scenario = match &r.area.plan.scenario {
                            Scenario::Reclock => Scenario::AsFound,
                            own => own.clone(),
                        };
                        let parcel = &r.area.parcel.id;
                        format!("{parcel}/{}/S{}", scenario.text(), served.station)
                    })
                    .into()
            },
        ),
        number(
            "pressure_kpa_delivered",
            "kPa",
            1,
            "Pressure at its nozzle as the supply gives it",
            |r| r.served().map(|served| served.nozzle_kpa).into(),
        ),
        number(
            "flow_lpm_delivered",
            "L/min",
            4,
            "Flow at that pressure",
            |r| r.served().map(|served| served.flow_lpm).into(),
        ),
        number(
            "radius_m_delivered",
            "m",
            3,
            "Throw at that pressure; empty for a strip",
            |r| match r.head.pattern {
                Pattern::Sector { radius_m, .. } => {
                    let served = r.served();
                    served.map(|served| radius_m * served.throw_factor).into()
                }
                Pattern::Strip { .. } => Cell::Null,
            },
        ),
        text(
            "station_found",
            "Its station as the layer of existing heads names it; an added head takes that of its nearest neighbour",
            |r| r.station_found().into(),
        ),
        text(
            "part",
            "Part of the area that it waters; heads of different parts do not share a station",
            |r| {
                let group = r.area.plan.groups.get(r.number - 1);
                group.map(ToString::to_string).into()
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

    fn geometry<'r>(row: &'r HeadRow<'_>) -> Geometry<'r> {
        let (lon, lat) = row.area.frame.to_lonlat(row.head.at);
        Geometry::Point(lon, lat)
    }
}

impl Layer for Throws {
    const NAME: &'static str = "throws";
    const ROW: &'static str = "head × scenario: the ground it waters, cut by buildings, walls and trunks; as found and as recommended, with `--throws all` every scenario";
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
        text(
            "scenario",
            "`as-found`, `reclock`, `repair`, `swap:<family>` or `relayout:<family>`",
            |r| r.area.plan.scenario.text().into(),
        ),
        column(
            "recommended",
            Kind::Bool,
            "",
            "Whether its scenario is recommended for the area",
            |r| Cell::Bool(r.area.plan.recommended),
        ),
        text("family", "Nozzle family", |r| r.family().into()),
    ];

    fn geometry<'r>(row: &'r HeadRow<'_>) -> Geometry<'r> {
        wetted_outline(row.head, row.seen).map_or(Geometry::None, |wetted| {
            Geometry::Drawn(throw::polygon(&row.area.frame, wetted.outer()))
        })
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

    fn geometry<'r>(_: &'r FailureRow<'_>) -> Geometry<'r> {
        Geometry::None
    }
}
