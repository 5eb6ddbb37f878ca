//! What a row of a turf area in one scenario says.

use super::layer::{Cell, Column, Geometry, Kind, Layer, column, count, number, text};
use super::rows::TurfRow;
use super::water;
use crate::savings::Counterfactual;

/// One row per turf area and scenario.
pub struct Turf;

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
            "`as-found`, `reclock`, `repair`, `swap:<family>`, both also with `+regulated` bodies, or `relayout:<family>`",
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
            "patch_m",
            "m",
            2,
            "Width of the widest patch below half the mean rate: the largest circle inside it; 0 where there is none",
            |r| r.plan.uniformity.map(|u| u.patch_m).into(),
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
        text(
            "runs_from",
            "Where the run times as found come from: `given`, or `assumed`; empty for a schedule",
            |r| r.year().and_then(water::runs_from).into(),
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
            "Parts and work of the change at the start: the complete bill of its unit, shared out by heads where that has several turf areas, without the way there",
            |r| r.plan.cost_cur.into(),
        ),
        number(
            "cost_cur_m3",
            "cur/m³",
            2,
            "Present cost of a cubic metre over `recommend.horizon_yr`, of its unit, without the way there; empty where nothing is saved",
            |r| r.plan.cost_cur_m3.into(),
        ),
        count(
            "unit",
            "The unit that it is changed with, numbered in its parcel: turf areas that share a station change together",
            |r| Some(r.turf.unit as u64).filter(|unit| *unit > 0).into(),
        ),
        number(
            "step_cost_cur",
            "cur",
            2,
            "What it costs at the start beyond the step before it on the ladder of its unit: the difference of two complete bills; the same on all turf areas of the unit, empty where another measure dominates it or it may not be chosen",
            |r| r.step().map(|step| step.cost_cur).into(),
        ),
        number(
            "step_saved_m3_yr",
            "m³/yr",
            3,
            "What it saves in the first year beyond that step, as `recommend.perspective` counts it; of the whole unit",
            |r| r.step().map(|step| step.saved_m3_yr).into(),
        ),
        number(
            "step_cost_cur_m3",
            "cur/m³",
            4,
            "Present cost of a present cubic metre of the step: it is worth taking where water is worth more",
            |r| r.step().map(|step| step.cost_cur_m3).into(),
        ),
        number(
            "breakeven_cur_m3",
            "cur/m³",
            4,
            "Value of water from which it pays on a parcel where nothing else changes, visit and administration included",
            |r| r.ladder().and_then(|own| own.breakeven_cur_m3).into(),
        ),
        number(
            "recommended_in_frac",
            "",
            3,
            "Share of the draws in which it is chosen; the scenarios of a turf area add up to 1",
            |r| r.chosen_in_frac().into(),
        ),
        number(
            "regret_cur",
            "cur",
            2,
            "Mean over the draws of what the best choice for the unit would be worth more than the recommended; empty elsewhere",
            |r| r.regret_cur().into(),
        ),
        number(
            "saved_m3_yr",
            "m³/yr",
            3,
            "As found less this, the clock re-timed; empty for a right schedule alone where nobody knows the clock as found (`reclock-not-observable`)",
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
            "credited_m3_yr",
            "m³/yr",
            3,
            "What is credited to this scenario against `savings.counterfactual` and under `savings.behaviour`, before anything is deducted",
            |r| r.year().and_then(|year| year.credited_m3_yr).into(),
        ),
        number(
            "claimed_m3_yr",
            "m³/yr",
            3,
            "What of that may be claimed for the hardware, net of realisation, free riders and persistence",
            |r| r.year().and_then(|year| year.claimed_m3_yr).into(),
        ),
        number(
            "claimed_asfound_m3_yr",
            "m³/yr",
            3,
            "The claim against the turf area as found",
            |r| claim(r, Counterfactual::AsFound),
        ),
        number(
            "claimed_reclock_m3_yr",
            "m³/yr",
            3,
            "The claim against the old hardware under the same rule for the clock",
            |r| claim(r, Counterfactual::Reclock),
        ),
        number(
            "claimed_repair_m3_yr",
            "m³/yr",
            3,
            "The claim against the old hardware repaired, where a repair is not refused",
            |r| claim(r, Counterfactual::Repair),
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
            "Bodies in the ground that are changed: broken, leaking, too low, made for another kind of nozzle, at a pressure beyond the family's window, or, with `+regulated`, not known to regulate",
            |r| r.plan.works.map(|works| works.bodies).into(),
        ),
        number(
            "du_lq_delivered",
            "",
            4,
            "`du_lq` with the flows and throws that the supply's pressures give; empty where a head is without its working pressure",
            |r| r.plan.delivered.as_ref().and_then(|got| got.du_lq).into(),
        ),
        number("cu_pct_delivered", "%", 2, "`cu_pct` as delivered", |r| {
            r.plan.delivered.as_ref().and_then(|got| got.cu_pct).into()
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

/// The claim of a row against a counterfactual.
fn claim(row: &TurfRow<'_>, against: Counterfactual) -> Cell {
    let claims = row.year().and_then(|year| year.claims);
    claims.map(|claims| claims.against(against)).into()
}
