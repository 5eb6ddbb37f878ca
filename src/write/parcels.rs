//! What a row of a parcel says.

use super::layer::{Cell, Column, Geometry, Kind, Layer, column, count, number, text};
use super::rows::gravest;
use crate::plan::{MeterUse, ParcelPlan, Tier};
use crate::savings::Counterfactual;

/// One row per input parcel, planned or failed.
pub struct Parcels;

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
            "asfound_assumed_m3_yr",
            "m³/yr",
            3,
            "What of `asfound_m3_yr` is used on turf areas whose heads are assumed, not surveyed",
            |p| {
                let water = p.water.as_ref();
                water.map(|water| water.asfound_assumed_m3_yr).into()
            },
        ),
        number(
            "potential_assumed_m3_yr",
            "m³/yr",
            3,
            "What of `potential_m3_yr` rests on assumed heads: it stands once a survey has found them so",
            |p| {
                let water = p.water.as_ref();
                water.map(|water| water.potential_assumed_m3_yr).into()
            },
        ),
        number(
            "claimed_m3_yr",
            "m³/yr",
            3,
            "What may be claimed for new hardware against `savings.counterfactual`",
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
        number(
            "claimed_asfound_m3_yr",
            "m³/yr",
            3,
            "The claim against the turf areas as found",
            |p| claim(p, Counterfactual::AsFound),
        ),
        number(
            "claimed_reclock_m3_yr",
            "m³/yr",
            3,
            "The claim against the old hardware under the same rule for the clock",
            |p| claim(p, Counterfactual::Reclock),
        ),
        number(
            "claimed_repair_m3_yr",
            "m³/yr",
            3,
            "The claim against the old hardware repaired, where a repair is not refused",
            |p| claim(p, Counterfactual::Repair),
        ),
        number(
            "owner_m3_yr",
            "m³/yr",
            3,
            "What the owner would save, before anything is deducted: against the turf as found where its clock is known, else against the same rule for the clock with the old hardware",
            |p| p.savings.as_ref().map(|s| s.owner.p50_m3_yr).into(),
        ),
        number(
            "owner_p10_m3_yr",
            "m³/yr",
            3,
            "The owner's saving that nine of ten draws exceed",
            |p| p.savings.as_ref().map(|s| s.owner.p10_m3_yr).into(),
        ),
        number(
            "owner_p90_m3_yr",
            "m³/yr",
            3,
            "The owner's saving that one draw in ten exceeds",
            |p| p.savings.as_ref().map(|s| s.owner.p90_m3_yr).into(),
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
            "Part of the potential that a right schedule alone would take; empty where that cannot be observed: nobody knows the clock as found",
            |p| {
                p.savings
                    .as_ref()
                    .and_then(|s| s.takes.reclock_m3_yr)
                    .into()
            },
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
            "What new nozzles and places add beyond both; with the two before it adds up to the potential where all three are known",
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

/// The claim of a parcel against a counterfactual.
fn claim(parcel: &ParcelPlan, against: Counterfactual) -> Cell {
    let savings = parcel.savings.as_ref();
    savings
        .map(|savings| savings.claims.against(against))
        .into()
}
