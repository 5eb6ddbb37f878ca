//! What a row of a parcel says.

use super::layer::{Cell, Column, Geometry, Kind, Layer, column, count, number, text};
use super::rows::gravest;
use crate::plan::{MeterUse, ParcelAccount, ParcelPlan, Tier};
use crate::program::{Control, Wiring};
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
            "Parts, work and visit of what is recommended, at the start: one complete bill; empty where parts cannot be counted",
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
            "The most that the program would pay: the rule's rebate, held to `rebate_worth_cur` and to the cost (`rebate.held_to`); it pays on receipts and counts, never on this",
            |p| p.account.as_ref().map(|account| account.rebate_cur).into(),
        ),
        number(
            "rebate_rule_cur",
            "cur",
            2,
            "What the rule alone would pay",
            |p| {
                p.account
                    .as_ref()
                    .map(|account| account.rebate_rule_cur)
                    .into()
            },
        ),
        number(
            "rebate_worth_cur",
            "cur",
            2,
            "The ceiling of a rebate: present value of the claimed water at the avoided cost, less administration; below 0 where the water is not worth its papers, empty without a claim",
            |p| {
                p.account
                    .as_ref()
                    .and_then(|account| account.rebate_worth_cur)
                    .into()
            },
        ),
        number(
            "rebate_worth_nozzle_cur",
            "cur",
            2,
            "The same for each nozzle that is set",
            |p| {
                let account = p.account.as_ref();
                account
                    .and_then(ParcelAccount::rebate_worth_nozzle_cur)
                    .into()
            },
        ),
        text(
            "rebate_basis",
            "`on survey` where what is in the ground of a turf area that changes was assumed, so that the rebate stands only once a survey has found it so; else `as recorded`; empty where hardware stays",
            |p| {
                let account = p.account.as_ref().filter(|account| account.nozzles > 0);
                let basis = |survey: bool| if survey { "on survey" } else { "as recorded" };
                account.map(|account| basis(account.on_survey)).into()
            },
        ),
        number(
            "cost_cur_m3",
            "cur/m³",
            4,
            "Present cost of a claimed cubic metre over `recommend.horizon_yr`, visit included",
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
            "Years until the customer has the cost less the rebate back; empty where that is beyond `recommend.horizon_yr`",
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
            "npv_society_cur",
            "cur",
            2,
            "Net present value for society: net water at avoided cost and externality, less the full cost and administration; empty where nothing changes",
            |p| {
                let account = p.account.as_ref();
                account.and_then(|account| account.npv_society_cur).into()
            },
        ),
        number(
            "step_cost_cur",
            "cur",
            2,
            "What the last step that is taken on the parcel costs at the start beyond the one before it: the difference of two complete bills; empty where nothing is taken",
            |p| {
                p.ladder
                    .as_ref()
                    .and_then(|own| own.chosen())
                    .map(|own| own.step.cost_cur)
                    .into()
            },
        ),
        number(
            "step_saved_m3_yr",
            "m³/yr",
            3,
            "What that step saves in the first year, as `recommend.perspective` counts it",
            |p| {
                p.ladder
                    .as_ref()
                    .and_then(|own| own.chosen())
                    .map(|own| own.step.saved_m3_yr)
                    .into()
            },
        ),
        number(
            "step_cost_cur_m3",
            "cur/m³",
            4,
            "Present cost of a present cubic metre of that step, visit and administration in the first",
            |p| {
                p.ladder
                    .as_ref()
                    .and_then(|own| own.chosen())
                    .map(|own| own.step.cost_cur_m3)
                    .into()
            },
        ),
        number(
            "breakeven_cur_m3",
            "cur/m³",
            4,
            "Value of water from which anything on the parcel is worth its cost; empty where nothing could save water",
            |p| {
                p.ladder
                    .as_ref()
                    .and_then(|own| own.options.first())
                    .map(|own| own.step.cost_cur_m3)
                    .into()
            },
        ),
        text(
            "next_scenario",
            "The step after what is recommended: its scenario, or `mixed`",
            |p| {
                p.ladder
                    .as_ref()
                    .and_then(|own| own.next())
                    .map(|own| own.scenario.as_str())
                    .into()
            },
        ),
        number(
            "next_cur_m3",
            "cur/m³",
            4,
            "Value of water from which that step pays",
            |p| {
                p.ladder
                    .as_ref()
                    .and_then(|own| own.next())
                    .map(|own| own.step.cost_cur_m3)
                    .into()
            },
        ),
        number(
            "recommended_in_frac",
            "",
            3,
            "Share of the draws in which the same is chosen on every turf area",
            |p| p.ladder.as_ref().map(|own| own.recommended_in_frac).into(),
        ),
        number(
            "regret_cur",
            "cur",
            2,
            "Mean over the draws of what the best choice would be worth more than the recommended",
            |p| p.ladder.as_ref().map(|own| own.regret_cur).into(),
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
        number(
            "stations_saved",
            "",
            0,
            "Stations that a recommended new layout gives up, less those that it sets; a swap or repair keeps every valve in the ground and saves none; negative where there are more",
            |p| {
                Control::of(p)
                    .map(|control| control.stations_saved())
                    .into()
            },
        ),
        number(
            "wire_saved_m",
            "m",
            1,
            "The same for the wire to the valves",
            |p| Control::of(p).map(|control| control.wire_saved_m()).into(),
        ),
        count(
            "controller_stations",
            "The size of controller that the stations in use need: 4, 6, 8, 12, 16, 24, 36, 48 stations, then steps of 12",
            |p| {
                Control::of(p)
                    .map(|control| control.after.controller_size())
                    .into()
            },
        ),
        text(
            "stations_by_scenario",
            "Stations, wire and size of controller if the whole parcel were watered one way: `scenario stations/wire in m/controller`, joined by `;`",
            |p| {
                let networks = p.networks.iter().map(|network| {
                    let wiring = Wiring::of(network);
                    format!(
                        "{} {}/{:.0}/{}",
                        network.scenario.text(),
                        wiring.stations,
                        wiring.wire_m,
                        wiring.controller_size()
                    )
                });
                networks.collect::<Vec<String>>().join(";").into()
            },
        ),
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
