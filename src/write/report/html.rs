//! The page itself.

use maud::{Markup, PreEscaped, html};
use serde_json::Value;

use super::parcel::Listed;
use super::sample::Rank;
use super::{Failure, Offer, charts};
use crate::assumptions::Assumptions;
use crate::write::describe::glossary;
use crate::write::layer::Kind;
use crate::write::page::{ESTIMATE, FOUND, PLANNED, RAMP, figure, page, script_safe};
use crate::write::run_record::RunRecord;

/// Everything the page is made of.
pub(super) struct Gathered<'a> {
    pub summary: &'a Value,
    pub record: &'a RunRecord,
    pub listed: Vec<(Rank, Listed)>,
    /// Whether every parcel is listed.
    pub listed_all: bool,
    /// Parcels whose heads can be looked at, as JSON text.
    pub shown: Vec<(Rank, String)>,
    pub shown_all: bool,
    pub offers: Vec<Offer>,
    pub failures: Vec<Failure>,
    pub failures_seen: u64,
    pub found_du_lq: Option<f64>,
    pub best_du_lq: Option<f64>,
}

const STYLE: &str = include_str!("report.css");
const SCRIPT: &str = include_str!("report.js");
/// The map's code, under the licence beside it.
const MAP_SCRIPT: &str = include_str!("vendor/leaflet.js");
const MAP_STYLE: &str = include_str!("vendor/leaflet.css");
const MAP_LICENCE: &str = include_str!("vendor/LICENSE");

pub(super) fn page_of(gathered: Gathered<'_>) -> String {
    let title = gathered.record.assumptions["title"].as_str().unwrap_or("");
    let body = html! {
        a class="skip" href="#parcels" { "Skip to the parcels" }
        (header(&gathered, title))
        main {
            (map(&gathered))
            (parcels(&gathered))
            (charts_of(&gathered))
            (assumptions(&gathered))
            (failures(&gathered))
            (cautions())
            (words())
        }
        (footer(&gathered))
        script type="application/json" id="data" { (PreEscaped(data(&gathered))) }
    };
    let heading = if title.is_empty() {
        "Sprinkler retrofit plan"
    } else {
        title
    };
    let style = format!("{}\n{STYLE}", map_style());
    let script = format!("{}\n{SCRIPT}", map_script());
    page(heading, &style, &body, Some(&script))
}

/// The map's style without its pictures: they would be files beside the page, and none is shown.
fn map_style() -> String {
    let mut style = String::new();
    for line in MAP_STYLE.lines().filter(|line| !line.contains("url(")) {
        style.push_str(line);
        style.push('\n');
    }
    style
}

/// The map's code without the pointer to its source map, which a debugger would ask for.
fn map_script() -> &'static str {
    MAP_SCRIPT
        .split("//# sourceMappingURL")
        .next()
        .unwrap_or(MAP_SCRIPT)
}

/// A number that the page can set in other units, with its unit.
fn measured(value: Option<f64>, name: &str, unit: &str, decimals: usize) -> Markup {
    html! {
        @match value {
            Some(value) => {
                span data-v=(value) data-q=(name) { (figure(Some(value), decimals)) }
                "\u{a0}" span data-unit=(name) { (unit) }
            }
            None => { "–" }
        }
    }
}

fn number(value: &Value, path: &[&str]) -> Option<f64> {
    let mut value = value;
    for step in path {
        value = value.get(step)?;
    }
    value.as_f64()
}

fn header(gathered: &Gathered<'_>, title: &str) -> Markup {
    let summary = gathered.summary;
    let of = |name: &str| number(summary, &["water", name]);
    let range = ["p10_m3_yr", "p90_m3_yr"]
        .map(|share| number(summary, &["savings", "claimed_over_draws", share]));
    let middle = number(summary, &["savings", "claimed_over_draws", "p50_m3_yr"]);
    let claimed = middle.or_else(|| of("claimed_m3_yr"));
    let against = summary["savings"]["counterfactual"].as_str();
    let against = against.unwrap_or("reclock");
    let beside: Vec<(&str, f64)> = ["as-found", "reclock", "repair"]
        .into_iter()
        .filter(|one| *one != against)
        .filter_map(|one| {
            let place = one.replace('-', "_");
            let steps = ["savings", "claims", &place, "over_draws", "p50_m3_yr"];
            Some((one, number(summary, &steps)?))
        })
        .collect();
    let why = summary["savings"]["central_outside"].as_str();
    let parcels = |status: &str| number(summary, &["parcels", status]);
    let share = of("potential_m3_yr")
        .zip(of("asfound_m3_yr"))
        .filter(|(_, found)| *found > 0.0)
        .map(|(potential, found)| 100.0 * potential / found);
    html! {
        header {
            div class="top" {
                h1 { @if title.is_empty() { "Sprinkler retrofit plan" } @else { bdi { (title) } } }
                div class="units" role="group" aria-label="Units" hidden {
                    button type="button" data-set="si" aria-pressed="true" { "SI units" }
                    button type="button" data-set="us" aria-pressed="false" { "US units" }
                }
            }
            nav aria-label="Parts of this page" {
                @for (id, name) in [
                    ("map-part", "Map"), ("parcels", "Parcels"), ("charts", "Charts"),
                    ("assumptions", "Assumptions"), ("failures", "Failures"), ("mind", "Cautions"), ("words", "Words"),
                ] { a href=(format!("#{id}")) { (name) } }
            }
            p class="estimate" { (ESTIMATE) " Parcel figures are estimates, not a measure of anybody's waste." }
            (decision(summary))
            div class="tiles" {
                div class="tile first" {
                    b { (figure(gathered.found_du_lq, 2)) " → " (figure(gathered.best_du_lq, 2)) }
                    span { "field evenness (DU_lq) that the lawns can be expected to measure, as found → as recommended, mean by area" }
                }
                div class="tile" {
                    b { (measured(claimed, "volume", "m³", 0)) }
                    span {
                        "a year may be claimed for new hardware, in the middle of the draws, against "
                        (against)
                        @if let [Some(low), Some(high)] = range {
                            "; P10 to P90: " (measured(Some(low), "volume", "m³", 0)) " to " (measured(Some(high), "volume", "m³", 0))
                        }
                        @for (one, m3_yr) in beside {
                            "; against " (one) ": " (measured(Some(m3_yr), "volume", "m³", 0))
                        }
                        @if let Some(why) = why { ". With every assumption central it would be "
                            (measured(of("claimed_m3_yr"), "volume", "m³", 0)) ": " (why)
                        }
                    }
                }
                div class="tile" {
                    b { (measured(of("potential_m3_yr"), "volume", "m³", 0)) }
                    span {
                        "a year could be saved if clocks are re-timed to need"
                        @if let Some(share) = share { " (" (figure(Some(share), 0)) "\u{a0}%)" }
                    }
                }
                div class="tile" {
                    b { (measured(of("asfound_m3_yr"), "volume", "m³", 0)) }
                    span {
                        "used a year as found; " (measured(of("best_m3_yr"), "volume", "m³", 0)) " with what is recommended"
                    }
                }
                div class="tile" {
                    b { (figure(parcels("inputs"), 0)) " parcels" }
                    span {
                        (figure(parcels("planned"), 0)) " planned, " (figure(parcels("partial"), 0)) " partial, "
                        (figure(parcels("no_turf"), 0)) " without turf, " (figure(parcels("failed"), 0)) " failed; "
                        (figure(number(summary, &["turf", "areas"]), 0)) " turf areas, "
                        (measured(number(summary, &["turf", "area_m2"]), "area", "m²", 0))
                    }
                }
            }
            (evidence(summary))
        }
    }
}

/// What to do, what it costs, what it returns, against what, and how sure that is.
fn decision(summary: &Value) -> Markup {
    let of = |path: &[&str]| number(&summary["decision"], path);
    let Some(value) = of(&["value_cur_m3"]) else {
        return html! {};
    };
    let side = summary["decision"]["perspective"].as_str().unwrap_or("");
    let changed = of(&["parcels_changed"]).unwrap_or(0.0);
    let ways: Vec<String> = summary["decision"]["scenarios"]
        .as_object()
        .into_iter()
        .flatten()
        .map(|(name, part)| format!("{name} on {}", figure(part["changed"].as_f64(), 0)))
        .collect();
    let (low, high) = (
        number(summary, &["savings", "claimed_over_draws", "p10_m3_yr"]),
        number(summary, &["savings", "claimed_over_draws", "p90_m3_yr"]),
    );
    let buy = |name: &str| number(summary, &["program", "purchasable", name]);
    let assumed = of(&["heads_assumed", "areas"]).unwrap_or(0.0);
    html! {
        p class="decision" {
            b { "What to do" }
            ", where a saved " span data-unit="volume" { "m³" } " is worth "
            (measured(Some(value), "cost", "", 2)) " (" (side) "): "
            @if changed > 0.0 {
                "change " (figure(Some(changed), 0)) " of " (figure(of(&["parcels"]), 0)) " parcels ("
                (ways.join(", ")) " turf areas). It costs " (figure(of(&["cost_cur"]), 0)) " at the start and saves "
                (measured(of(&["saved_m3_yr"]), "volume", "m³", 0)) " in the first year, worth "
                (figure(of(&["npv_cur"]), 0)) " more than it costs over the horizon"
                @if let (Some(_), Some(_)) = (low, high) {
                    "; claimed a year, P10 to P90: " (measured(low, "volume", "m³", 0)) " to " (measured(high, "volume", "m³", 0))
                }
                ". "
            } @else {
                "nothing. On none of " (figure(of(&["parcels"]), 0)) " parcels is a change worth its cost. "
            }
            "Judged against what is in the ground under the same rule for the clock. The same is chosen in "
            (figure(of(&["recommended_in_frac", "median"]).map(|frac| 100.0 * frac), 0))
            "\u{a0}% of the draws on the parcel in the middle; hindsight would be worth "
            (figure(of(&["regret_cur"]), 0)) " more. "
            @if let Some(next) = of(&["next_cur_m3"]) {
                "The next step pays from " (measured(Some(next), "cost", "", 2)) " a " span data-unit="volume" { "m³" } ". "
            }
            @if let Some(least) = buy("least_avoided_cur_m3") {
                "At or below the avoided cost the program can buy " (measured(buy("saved_m3_yr"), "volume", "m³", 0))
                " a year, and any from an avoided cost of " (measured(Some(least), "cost", "", 2)) " on. "
            }
            @if assumed > 0.0 {
                "What is in the ground of " (figure(Some(assumed), 0)) " turf areas is assumed, "
                (figure(of(&["heads_assumed", "changed"]), 0)) " of those that change: their rebates stand on survey."
            }
        }
    }
}

/// What published evaluations found, beside the total.
fn evidence(summary: &Value) -> Markup {
    let rows: Vec<(&String, f64, f64)> = summary["savings"]["evidence"]
        .as_object()
        .into_iter()
        .flatten()
        .filter_map(|(name, row)| Some((name, row["frac"].as_f64()?, row["m3_yr"].as_f64()?)))
        .collect();
    html! {
        @if !rows.is_empty() {
            p class="quiet" {
                "Published evaluations of such programs for comparison: "
                @for (at, (name, frac, volume)) in rows.iter().enumerate() {
                    @if at > 0 { "; " }
                    (name.replace('_', " ")) " " (figure(Some(100.0 * frac), 0)) "\u{a0}% = "
                    (measured(Some(*volume), "volume", "m³", 0)) " a year"
                }
                "."
            }
        }
    }
}

fn count_note(gathered: &Gathered<'_>) -> String {
    let all = number(gathered.summary, &["parcels", "inputs"]);
    if gathered.listed_all {
        return format!("All {} parcels.", figure(all, 0));
    }
    format!(
        "A part of the run: the {} parcels with the largest claims of {}. Totals and charts hold for all; \
         parcels.csv has every parcel.",
        figure(Some(gathered.listed.len() as f64), 0),
        figure(all, 0)
    )
}

fn map(gathered: &Gathered<'_>) -> Markup {
    html! {
        section id="map-part" aria-labelledby="map-title" {
            h2 id="map-title" { "Map" }
            p class="noscript" { "The map needs JavaScript; everything else on this page does not." }
            div class="mapbox" hidden {
                div {
                    div id="map" role="application" aria-label="Map of the parcels. The same parcels can be chosen in the table below." {}
                    div class="legend" aria-hidden="true" {
                        span { "claimed a year, " span data-unit="volume" { "m³" } ":" }
                        span id="classes" {}
                        span { i style="background:#d9dcdc" {} " no claim" }
                        span { i style=(format!("background:{FOUND}")) {} " head as found" }
                        span { i style=(format!("background:{PLANNED}")) {} " head as recommended" }
                        span { i class="valve" {} " valve" }
                    }
                }
                aside id="detail" aria-live="polite" {
                    h3 { "Choose a parcel" }
                    p {
                        "Click it on the map, or its id in the table. Its heads, throws and valves appear, and the rain "
                        "that the heads would bring in still air."
                    }
                }
            }
            p class="quiet" {
                (count_note(gathered)) " "
                @if !gathered.shown_all {
                    "Heads can be looked at on the first " (figure(Some(gathered.shown.len() as f64), 0)) " of them; heads.geojson has all."
                }
                " No background map: the page asks for nothing from a network."
            }
        }
    }
}

/// A column of the table of parcels: name, unit, and what is sorted by.
struct Head {
    name: &'static str,
    quantity: &'static str,
    unit: &'static str,
}

fn parcels(gathered: &Gathered<'_>) -> Markup {
    let listed = &gathered.listed;
    let any = |has: fn(&Listed) -> bool| listed.iter().any(|(_, row)| has(row));
    let costs = any(|row| row.cost_cur_m3.is_some());
    let rebates = any(|row| row.rebate_cur.is_some());
    let eligible = any(|row| row.eligible.is_some());
    let ranges = any(|row| row.range_m3_yr.is_some());
    let head = |name, quantity, unit| Head {
        name,
        quantity,
        unit,
    };
    let mut heads = vec![
        head("Parcel", "", ""),
        head("Status", "", ""),
        head("Recommended", "", ""),
        head("Field evenness found", "", ""),
        head("Field evenness planned", "", ""),
        head("Use as found", "volume", "m³/yr"),
        head("Use planned", "volume", "m³/yr"),
        head("Claimed", "volume", "m³/yr"),
    ];
    if ranges {
        heads.push(head("P10 to P90", "volume", "m³/yr"));
    }
    if costs {
        heads.push(head("Cost", "cost", "per m³"));
    }
    if rebates {
        heads.push(head("Rebate, at most", "", ""));
    }
    if eligible {
        heads.push(head("Eligible", "", ""));
    }
    heads.push(head("Heads", "", ""));
    heads.push(head("Look at", "", ""));
    let words = |name: &str| {
        matches!(
            name,
            "Parcel" | "Status" | "Recommended" | "Look at" | "Eligible"
        )
    };
    html! {
        section id="parcels" aria-labelledby="parcels-title" {
            h2 id="parcels-title" { "Parcels, the largest claims first" }
            p class="quiet" { (count_note(gathered)) }
            div class="tools" hidden {
                label { "Filter " input type="search" id="filter" placeholder="id, scenario, flag" autocomplete="off"; }
                span id="count" role="status" {}
            }
            div class="scroll" tabindex="0" role="region" aria-labelledby="parcels-title" {
                table id="table" {
                    thead { tr {
                        @for head in &heads {
                            th scope="col" class=(if words(head.name) { "w" } else { "" }) {
                                span class="name" { (head.name) }
                                @if !head.unit.is_empty() {
                                    " " span class="unit" data-unit-yr[head.quantity == "volume"] data-unit=(head.quantity) { (head.unit) }
                                }
                            }
                        }
                    } }
                    tbody {
                        @for (at, (_, row)) in listed.iter().enumerate() {
                            tr data-at=(at) {
                                th scope="row" class="w" { bdi class="id" { (row.id) } }
                                td class="w" { (row.status) }
                                td class="w" { (row.scenario) }
                                (cell(row.found_du_lq, "", 2))
                                (cell(row.best_du_lq, "", 2))
                                (cell(row.asfound_m3_yr, "volume", 0))
                                (cell(row.best_m3_yr, "volume", 0))
                                (cell(row.claimed_m3_yr, "volume", 1))
                                @if ranges {
                                    @match row.range_m3_yr {
                                        Some((low, high)) => {
                                            td class="one" data-s=(low) {
                                                span data-v=(low) data-q="volume" data-d="1" { (figure(Some(low), 1)) } " to "
                                                span data-v=(high) data-q="volume" data-d="1" { (figure(Some(high), 1)) }
                                            }
                                        }
                                        None => { td { "–" } }
                                    }
                                }
                                @if costs { (cell(row.cost_cur_m3, "cost", 2)) }
                                @if rebates { (cell(row.rebate_cur, "", 0)) }
                                @if eligible {
                                    td class="w" { (match row.eligible { Some(true) => "yes", Some(false) => "no", None => "–" }) }
                                }
                                (cell(row.heads, "", 0))
                                td class="w flags" { (row.flags.replace(';', ", ")) }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// A cell with a number: `data-s` is what it is sorted by.
fn cell(value: Option<f64>, quantity: &str, decimals: usize) -> Markup {
    html! {
        @match value {
            Some(value) if quantity.is_empty() => { td data-s=(value) { (figure(Some(value), decimals)) } }
            Some(value) => {
                td data-s=(value) data-v=(value) data-q=(quantity) data-d=(decimals) { (figure(Some(value), decimals)) }
            }
            None => { td { "–" } }
        }
    }
}

fn charts_of(gathered: &Gathered<'_>) -> Markup {
    let summary = gathered.summary;
    html! {
        section id="charts" aria-labelledby="charts-title" {
            h2 id="charts-title" { "Charts" }
            div class="charts" {
                (charts::evenness(summary))
                (charts::months(summary))
                (charts::supply(&gathered.offers, number(summary, &["decision", "avoided_cur_m3"])))
                (charts::causes(summary))
                (charts::tornado(summary))
            }
            (scenarios(summary))
        }
    }
}

/// The figures behind the chart of families.
fn scenarios(summary: &Value) -> Markup {
    let groups: Vec<&Value> = summary["scenarios"]
        .as_array()
        .into_iter()
        .flatten()
        .collect();
    html! {
        @if !groups.is_empty() {
            details {
                summary { "Figures of every scenario and family" }
                div class="scroll" tabindex="0" role="region" aria-label="Figures of every scenario and family" {
                    table {
                        thead { tr {
                            th class="w" { "Scenario" } th class="w" { "Family" } th { "Areas" } th { "Best for" } th { "Heads" }
                            th { "Field DU_lq P10" } th { "median" } th { "P90" } th { "Drawing (still air), median" }
                            th { "Rate, median " span data-unit="rate" { "mm/h" } } th { "Overspray, median" }
                            th { "Use " span data-unit="volume" data-unit-yr { "m³/yr" } }
                        } }
                        tbody {
                            @for group in groups {
                                tr {
                                    th scope="row" class="w" { (group["scenario"].as_str().unwrap_or("")) }
                                    td class="w" { (group["family"].as_str().unwrap_or("")) }
                                    (cell(number(group, &["areas"]), "", 0))
                                    (cell(number(group, &["recommended"]), "", 0))
                                    (cell(number(group, &["heads"]), "", 0))
                                    (cell(number(group, &["du_lq_field", "p10"]), "", 2))
                                    (cell(number(group, &["du_lq_field", "median"]), "", 2))
                                    (cell(number(group, &["du_lq_field", "p90"]), "", 2))
                                    (cell(number(group, &["du_lq", "median"]), "", 2))
                                    (cell(number(group, &["rate_mm_h", "median"]), "rate", 1))
                                    td { (figure(number(group, &["over_frac", "median"]).map(|share| 100.0 * share), 1)) "\u{a0}%" }
                                    (cell(number(group, &["use_m3_yr"]), "volume", 0))
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn assumptions(gathered: &Gathered<'_>) -> Markup {
    // The record was made by this program, so it reads back.
    let rows: Vec<_> = Assumptions::from_json(&gathered.record.assumptions)
        .map(|assumptions| assumptions.rows().collect())
        .unwrap_or_default();
    let set = rows.iter().filter(|row| row.origin != "default").count();
    html! {
        section id="assumptions" aria-labelledby="assumptions-title" {
            h2 id="assumptions-title" { "Assumptions" }
            p {
                "Numbers that nobody measured here. " (set) " of " (rows.len())
                " were set by the program file, a flag or the record of an earlier run; the others are defaults. "
                "Attributes of a parcel may override some of them for that parcel."
            }
            details open[rows.len() < 40] {
                summary { "All " (rows.len()) " with value, origin and source" }
                div class="scroll" tabindex="0" role="region" aria-label="Assumptions" {
                    table class="wide" {
                        thead { tr {
                            th class="w" { "Assumption" } th { "Value" } th class="w" { "Unit" } th class="w" { "Origin" }
                            th class="w" { "Meaning" } th class="w" { "Source" }
                        } }
                        tbody {
                            @for row in &rows {
                                tr class=(if row.origin == "default" { "" } else { "set" }) {
                                    th scope="row" class="w" { (row.key) }
                                    td { (row.value) }
                                    td class="w" { (row.unit) }
                                    td class="w" { (row.origin) }
                                    td class="w" { (row.meaning) }
                                    td class="w quiet" { (row.source) }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn failures(gathered: &Gathered<'_>) -> Markup {
    let shown = gathered.failures.len() as u64;
    let flags: Vec<(&String, &Value)> = gathered.summary["flags"]
        .as_object()
        .into_iter()
        .flatten()
        .collect();
    html! {
        section id="failures" aria-labelledby="failures-title" {
            h2 id="failures-title" { "Failures and flags" }
            @if gathered.failures_seen == 0 {
                p { "Nothing failed." }
            } @else {
                p {
                    (gathered.failures_seen) " things could not be planned or read; the other parcels are not touched by them."
                    @if gathered.failures_seen > shown { " The first " (shown) " stand here, all in failures.csv." }
                }
                div class="scroll" tabindex="0" role="region" aria-label="Failures" {
                    table class="wide" {
                        thead { tr {
                            th class="w" { "Code" } th class="w" { "Parcel" } th class="w" { "What was found" } th class="w" { "What to do" }
                        } }
                        tbody {
                            @for failure in &gathered.failures {
                                tr {
                                    th scope="row" class="w" { (failure.code) }
                                    td class="w" { bdi class="id" { (failure.parcel) } }
                                    td class="w" { bdi { (failure.statement) } }
                                    td class="w" { (failure.remedy) }
                                }
                            }
                        }
                    }
                }
            }
            @if !flags.is_empty() {
                p { "Flags of what is recommended, by turf areas:" }
                ul class="flagged" {
                    @for (flag, count) in flags { li { (flag) " " b { (figure(count.as_f64(), 0)) } } }
                }
            }
        }
    }
}

fn cautions() -> Markup {
    html! {
        section id="mind" aria-labelledby="mind-title" {
            h2 id="mind-title" { "Cautions" }
            ul {
                li { (ESTIMATE) }
                li { "Field evenness is what counts for water; the still-air drawing value is an upper bound that only compares layouts." }
                li { "After a swap the clock must be reset: slow nozzles run two to five times as long. Check that all stations fit into the hours in which watering is allowed." }
                li {
                    "Measure the static pressure before anything is bought; above "
                    (measured(Some(550.0), "pressure", "kPa", 0)) " it must be reduced. Low pressure at a head ("
                    (measured(Some(172.0), "pressure", "kPa", 0)) " and less) leaves dry rings."
                }
                li { "No throw onto electrical equipment, roads or paths. Reclaimed water needs marked pipe, signs and no overspray. Steep slopes erode." }
                li { "Do not mix families on a valve; screens keep slow nozzles from clogging; check valves keep low heads from draining." }
                li { "What is claimed counts against what stands beside it (the old hardware under the same rule for the clock, unless the program says otherwise) and is net of what is not realised, of free riders and of what is lost with time. An owner's own saving is the larger gross figure." }
                li { "Parcel figures are estimates from a drawing, not a measure of anybody's waste, and not for naming anybody." }
            }
        }
    }
}

/// The words of all tables, from the dictionary of columns: each once, by the alphabet.
fn words() -> Markup {
    let words = glossary();
    html! {
        section id="words" aria-labelledby="words-title" {
            h2 id="words-title" { "Words" }
            details {
                summary { "The " (words.len()) " columns of the layers and tables" }
                dl {
                    @for facts in &words {
                        dt { code { (facts.name) } @if !facts.unit.is_empty() { " [" (facts.unit) "]" } }
                        dd { (facts.meaning) @if facts.kind == Kind::Bool { "; true or false" } }
                    }
                }
            }
        }
    }
}

fn footer(gathered: &Gathered<'_>) -> Markup {
    html! {
        footer {
            p { (gathered.record.program) " " (gathered.record.version) ". run.json beside this page repeats the run." }
            details {
                summary { "Licence of the map's code (Leaflet 1.9.4)" }
                pre { (MAP_LICENCE) }
            }
        }
    }
}

/// What the script reads: outlines of the listed parcels, and what is shown of some of them.
fn data(gathered: &Gathered<'_>) -> String {
    let mut text = String::from("{\"ramp\":");
    text.push_str(&Value::from(RAMP.to_vec()).to_string());
    text.push_str(",\"parcels\":[");
    for (at, (_, row)) in gathered.listed.iter().enumerate() {
        if at > 0 {
            text.push(',');
        }
        let claimed = Value::from(row.claimed_m3_yr);
        text.push_str(&format!("[{claimed},{}]", row.shape));
    }
    text.push_str("],\"shown\":{");
    let mut shown = gathered.shown.iter();
    let mut next = shown.next();
    let mut first = true;
    for (at, (rank, _)) in gathered.listed.iter().enumerate() {
        // Both lists stand in the order of ranks, and what is shown is also listed.
        while next.is_some_and(|(own, _)| own < rank) {
            next = shown.next();
        }
        if let Some((own, json)) = next
            && own == rank
        {
            if !first {
                text.push(',');
            }
            first = false;
            text.push_str(&format!("\"{at}\":{json}"));
        }
    }
    text.push_str("}}");
    script_safe(&text)
}
