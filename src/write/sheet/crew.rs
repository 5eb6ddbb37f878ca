//! The crew's page: what to do on one parcel, in the order in which it is done.

use maud::{Markup, html};

use super::STYLE;
use super::built::{Comparison, compared};
use super::dossier::{Area, Dossier};
use super::drawing::{details, overview, station_name};
use crate::read::planned::PlannedRow;
use crate::write::measure::Units;
use crate::write::page::{ESTIMATE, about, figure, page};

const MONTHS: [(&str, &str); 12] = [
    ("Jan", "jan_pct"),
    ("Feb", "feb_pct"),
    ("Mar", "mar_pct"),
    ("Apr", "apr_pct"),
    ("May", "may_pct"),
    ("Jun", "jun_pct"),
    ("Jul", "jul_pct"),
    ("Aug", "aug_pct"),
    ("Sep", "sep_pct"),
    ("Oct", "oct_pct"),
    ("Nov", "nov_pct"),
    ("Dec", "dec_pct"),
];

/// The crew's sheet of a parcel, with what was built where that is known.
#[must_use]
pub fn crew_sheet(dossier: &Dossier, units: Units, built: Option<&Comparison>) -> String {
    let title = format!("Sheet of parcel {}", dossier.id);
    let works = dossier.has_works();
    let body = html! {
        header {
            h1 { "Parcel " bdi { (dossier.id) } }
            p class="quiet" { (work_line(dossier)) }
        }
        (facts(dossier, units))
        p class="mind" {
            strong { "The clock must be reset. " }
            "New nozzles without new run times leave the lawn dry or the soil soaked: key in the table “Clock” before leaving."
        }
        (overview(dossier, units))
        @if let Some(built) = built { (compared(built, dossier, units)) }
        (clock(dossier, units))
        (stations(dossier, units))
        @if works { (steps(dossier, units)) }
        (cautions(dossier, units))
        (details(dossier, units))
        (heads(dossier, units))
        (materials(dossier))
    };
    page(&title, STYLE, &body, None)
}

fn work_line(dossier: &Dossier) -> String {
    let scenario = dossier.parcel.text("best_scenario");
    let count = |what: &str| {
        let steps = dossier.walk.iter();
        steps.filter(|row| row.text("do") == what).count()
    };
    let mut parts: Vec<String> = Vec::new();
    for (what, one, many) in [
        ("swap nozzle", "nozzle swapped", "nozzles swapped"),
        ("repair", "head repaired", "heads repaired"),
        ("new head", "new head", "new heads"),
        (
            "cap",
            "head capped or taken out",
            "heads capped or taken out",
        ),
    ] {
        match count(what) {
            0 => {}
            1 => parts.push(format!("1 {one}")),
            n => parts.push(format!("{n} {many}")),
        }
    }
    if parts.is_empty() {
        parts.push(match scenario {
            "" => "nothing is planned here".to_owned(),
            "as-found" => "nothing changes".to_owned(),
            _ => "the hardware stays; only the clock is set anew".to_owned(),
        });
    }
    match scenario {
        "" => parts.join(", "),
        "mixed" => format!(
            "Areas differ, see the table of areas. {}.",
            parts.join(", ")
        ),
        scenario => format!("{scenario}: {}.", parts.join(", ")),
    }
}

fn facts(dossier: &Dossier, units: Units) -> Markup {
    let m3 = |column: &str| dossier.parcel.number(column);
    html! {
        div class="facts" {
            div { b { (dossier.areas.len()) } (if dossier.areas.len() == 1 { "turf area, " } else { "turf areas, " }) (units.area(m3("turf_m2"))) }
            div { b { (figure(m3("heads"), 0)) } "heads as recommended" }
            div { b { (dossier.stations.len()) } (if dossier.stations.len() == 1 { "station" } else { "stations" }) }
            div { b { (units.volume(m3("best_m3_yr"))) } "a year, of " (units.volume(m3("asfound_m3_yr"))) " as found" }
        }
        @if !dossier.areas.is_empty() {
            table {
                caption {
                    "Areas. Field evenness is the low-quarter uniformity (DU_lq) that the lawn can be expected to "
                    "measure; the drawing value holds for still air and only compares layouts."
                }
                thead { tr {
                    th class="w" { "Area" } th class="w" { "Recommended" } th { "Size" }
                    th { "Field evenness, found → planned" } th { "Rate" }
                    th { "Drawing value (still air)" }
                } }
                tbody {
                    @for (at, area) in dossier.areas.iter().enumerate() {
                        tr {
                            td class="w" { (at + 1) " · " bdi { (area.id) } }
                            td class="w" { (of(area, |row| row.text("scenario").to_owned())) }
                            td { (units.area(area.best.as_ref().or(area.found.as_ref()).and_then(|row| row.number("area_m2")))) }
                            td {
                                (figure(area.found.as_ref().and_then(|row| row.number("du_lq_field")), 2))
                                " → "
                                strong { (figure(area.best.as_ref().and_then(|row| row.number("du_lq_field")), 2)) }
                            }
                            td { (units.rate(area.best.as_ref().and_then(|row| row.number("rate_mm_h")))) }
                            td { (figure(area.best.as_ref().and_then(|row| row.number("du_lq")), 2)) }
                        }
                    }
                }
            }
        }
    }
}

fn of(area: &Area, read: impl Fn(&PlannedRow) -> String) -> String {
    area.best.as_ref().map_or_else(|| "–".to_owned(), read)
}

fn clock(dossier: &Dossier, units: Units) -> Markup {
    let planned: Vec<(usize, &Area, &PlannedRow)> = dossier
        .areas
        .iter()
        .enumerate()
        .filter_map(|(at, area)| Some((at, area, area.schedule.as_ref()?)))
        .collect();
    html! {
        @if !planned.is_empty() {
            section {
                h2 { "Clock" }
                table {
                    thead { tr {
                        th class="w" { "Area" } th { "Rate" } th { "Days a week" } th { "Cycles" }
                        th { "Minutes a cycle" } th { "Soak between" } th { "Minutes a day, before → after" }
                        th class="w" { "Starts" }
                    } }
                    tbody {
                        @for (at, area, row) in &planned {
                            tr {
                                td class="w" { (at + 1) }
                                td { (units.rate(row.number("rate_mm_h"))) }
                                td { (about(row.number("days_per_week"))) }
                                td { (figure(row.number("cycles"), 0)) }
                                td { strong { (figure(row.number("cycle_min"), 0)) } }
                                td { (soak(Some(row))) }
                                td {
                                    (figure(area.found.as_ref().and_then(|row| row.number("peak_run_min")), 0))
                                    " → " strong { (figure(row.number("run_min"), 0)) }
                                }
                                td class="w" { (row.text("starts")) }
                            }
                        }
                    }
                }
                table {
                    caption { "Seasonal setting of the clock in percent of the minutes above" }
                    thead { tr {
                        th class="w" { "Area" }
                        @for (name, _) in MONTHS { th { (name) } }
                    } }
                    tbody {
                        @for (at, _, row) in &planned {
                            tr {
                                td class="w" { (at + 1) }
                                @for (_, column) in MONTHS { td { (figure(row.number(column), 0)) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn stations(dossier: &Dossier, units: Units) -> Markup {
    html! {
        @if !dossier.stations.is_empty() {
            section {
                h2 { "Stations" }
                table {
                    thead { tr {
                        th class="w" { "Station" } th class="w" { "Areas" } th class="w" { "Family" } th { "Heads" }
                        th { "Flow" } th { "Most allowed" } th { "Least pressure at a head" }
                        th { "Run a day" } th { "Cycles × minutes" } th { "Soak" } th class="w" { "Look at" }
                    } }
                    tbody {
                        @for row in &dossier.stations {
                            @let areas: Vec<usize> = areas_of(dossier, row);
                            @let schedule = areas.iter().find_map(|&at| dossier.areas[at].schedule.as_ref());
                            tr {
                                td class="w one" { (station_name(row)) }
                                td class="w" { (areas.iter().map(|at| (at + 1).to_string()).collect::<Vec<_>>().join(", ")) }
                                td class="w one" { (row.text("family")) }
                                td { (figure(row.number("heads"), 0)) }
                                td { (units.flow(row.number("delivered_lpm").or(row.number("flow_lpm")))) }
                                td { (units.flow(row.number("safe_lpm"))) }
                                td { (units.pressure(row.number("least_kpa"))) }
                                td class="one" { (figure(row.number("run_min"), 0)) " min" }
                                td {
                                    @if let Some(schedule) = schedule {
                                        (figure(schedule.number("cycles"), 0)) " × " (figure(schedule.number("cycle_min"), 0))
                                    } @else { "–" }
                                }
                                td class="one" { (soak(schedule)) }
                                td class="w small" { (row.text("flags").replace(';', ", ")) }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The rest between two cycles; none where there is one.
pub(super) fn soak(schedule: Option<&PlannedRow>) -> String {
    let minutes = schedule
        .filter(|row| row.number("cycles").is_some_and(|cycles| cycles > 1.0))
        .and_then(|row| row.number("soak_min"));
    minutes.map_or_else(
        || "–".to_owned(),
        |minutes| format!("{}\u{a0}min", figure(Some(minutes), 0)),
    )
}

fn areas_of(dossier: &Dossier, station: &PlannedRow) -> Vec<usize> {
    let ids: Vec<&str> = station.text("turf_ids").split(';').collect();
    let all = dossier.areas.iter().enumerate();
    all.filter(|(_, area)| ids.contains(&area.id.as_str()))
        .map(|(at, _)| at)
        .collect()
}

fn heads(dossier: &Dossier, units: Units) -> Markup {
    let rows: Vec<&PlannedRow> = dossier
        .walk
        .iter()
        .filter(|row| row.text("do") != "reset clock")
        .collect();
    html! {
        @if !rows.is_empty() {
            section {
                h2 { "Heads" }
                table {
                    caption {
                        "Station by station. Angles are clockwise from north: set the fixed left edge first, then the "
                        "arc, then the throw. A and B: tape from the two points of the drawing."
                    }
                    thead { tr {
                        th class="w" { "Head" } th { "Station" } th class="w" { "Do" } th class="w" { "Pull" }
                        th class="w" { "Fit" } th { "Left edge" } th { "Arc" } th { "Throw" } th { "A" } th { "B" }
                        th class="w" { "Done" }
                    } }
                    tbody {
                        @for row in rows {
                            @let head = head_row(dossier, row);
                            tr {
                                td class="w one" { (dossier.head_label(row.text("turf_id"), row.text("head_id"))) }
                                td { @if let Some(number) = row.number("station") { "S" (figure(Some(number), 0)) } }
                                td class="w one" { (row.text("do")) }
                                td class="w one" { (row.text("pull")) }
                                td class="w one" { (row.text("fit")) }
                                td { @if let Some(edge) = row.number("left_edge_deg") { (figure(Some(edge), 0)) "°" } }
                                td {
                                    @match row.number("arc_deg") {
                                        Some(arc) => { (figure(Some(arc), 0)) "°" }
                                        None => { @if !row.text("fit").is_empty() { "strip" } }
                                    }
                                }
                                td {
                                    @match row.number("throw_m") {
                                        Some(throw) => { (units.length(Some(throw))) }
                                        None => { @if let Some(head) = head { (strip(head, units)) } }
                                    }
                                }
                                td { (units.length(row.number("tie_a_m"))) }
                                td { (units.length(row.number("tie_b_m"))) }
                                td class="write" {}
                            }
                        }
                    }
                }
            }
        }
    }
}

fn head_row<'a>(dossier: &'a Dossier, row: &PlannedRow) -> Option<&'a PlannedRow> {
    let area = dossier.area(row.text("turf_id"))?;
    let mut heads = area.heads.iter();
    heads.find(|head| head.text("head_id") == row.text("head_id"))
}

/// Width by length of a strip's rectangle.
fn strip(head: &PlannedRow, units: Units) -> String {
    match (head.number("strip_w_m"), head.number("strip_l_m")) {
        (Some(width), Some(length)) => format!(
            "{} × {}",
            units.length(Some(width)),
            units.length(Some(length))
        ),
        _ => String::new(),
    }
}

/// Nozzles are counted off the list of heads; everything else stands in the plan's materials, which
/// hold for a parcel that is changed in one way.
fn materials(dossier: &Dossier) -> Markup {
    let mut nozzles: Vec<(String, usize)> = Vec::new();
    for row in &dossier.walk {
        let fit = row.text("fit");
        if fit.is_empty() {
            continue;
        }
        match nozzles.iter_mut().find(|(name, _)| name == fit) {
            Some((_, count)) => *count += 1,
            None => nozzles.push((fit.to_owned(), 1)),
        }
    }
    nozzles.sort();
    let best = dossier.parcel.text("best_scenario");
    let others: Vec<&PlannedRow> = dossier
        .materials
        .iter()
        .filter(|row| row.text("scenario") == best && row.text("item") != "nozzle")
        .collect();
    html! {
        @if !nozzles.is_empty() {
            section {
                h2 { "Materials" }
                table {
                    thead { tr { th class="w" { "Item" } th class="w" { "Which" } th { "Quantity" } th { "Boxes or coils" } } }
                    tbody {
                        @for (name, count) in &nozzles {
                            tr { td class="w" { "nozzle" } td class="w" { (name) } td { (count) } td {} }
                        }
                        @for row in &others {
                            tr {
                                td class="w" { (row.text("item")) }
                                td class="w" { (row.text("detail")) }
                                td { (figure(row.number("quantity"), if row.text("unit") == "m" { 1 } else { 0 })) " " (row.text("unit")) }
                                td { (figure(row.number("boxes"), 0)) }
                            }
                        }
                    }
                }
                @if others.is_empty() && best == "mixed" {
                    p class="quiet" {
                        "Areas of this parcel are changed in different ways: bodies, pipe and fittings stand in materials.csv, "
                        "scenario by scenario."
                    }
                }
            }
        }
    }
}

fn steps(dossier: &Dossier, units: Units) -> Markup {
    let new = dossier.walk.iter().any(|row| row.text("do") == "new head");
    html! {
        section {
            h2 { "Steps in the field" }
            ol class="two" {
                li { "Have buried services located and marked before anything is dug; shut the water off." }
                @if new { li { "Peg every new head by its tapes from A and B; move a peg rather than dig at a root or a pipe." } }
                li { "Convert a station whole: two families on one valve never water evenly." }
                li { "Flush each lateral through the open bodies until it runs clear, far end last." }
                li { "Put a clean screen under every nozzle: slow nozzles clog first." }
                li { "Set every body plumb and to grade, its top level with the soil." }
                li { "Set the fixed left edge of each arc first, then turn the arc to its angle." }
                li { "Set the throw last; reduce it by no more than 25 %. A head that needs more wants another nozzle." }
                li {
                    "Read the pressure at the far head of each station while it runs"
                    @if dossier.bodies == "regulated" { "; bodies regulate, so it should not be lower than planned" }
                    " (below " (units.pressure(Some(172.0))) " coverage fails)."
                }
                li { "Run every station and look: no dry corner, nothing on walls, windows, road or path." }
                li { strong { "Reset the clock" } " to the table “Clock”: minutes, cycles, soak, days, monthly percentages." }
                li { "Fill in the as_built columns of walk.csv and hand it back as asbuilt.csv." }
                li { "Come back after two weeks, and again after three months: aim, screens, dry spots, clock." }
            }
        }
    }
}

fn cautions(dossier: &Dossier, units: Units) -> Markup {
    let flags = dossier.parcel.text("flags");
    let has = |flag: &str| flags.split(';').any(|own| own == flag);
    html! {
        section {
            h2 { "Mind" }
            ul class="two" {
                li { strong { (ESTIMATE) } }
                @if has("pressure-unverified") {
                    li { strong { "The pressure here is assumed: measure it at the tap before anything is bought." } }
                }
                @if has("as-found-assumed") {
                    li { strong { "What is in the ground is assumed, not surveyed: look before you order." } }
                }
                li { "A static pressure above " (units.pressure(Some(550.0))) " must be reduced before the system." }
                li { "A drinking-water connection needs an approved backflow preventer; the local code governs." }
                li { "No water onto electrical equipment, pool pumps, windows, roads or paths." }
                li { "Reclaimed water: marked pipe and signs, no drinking-water fittings, no overspray, at night." }
                li { "On slopes: check valves in the low heads; stop where soil begins to wash." }
                li { "Slow nozzles need longer runs: check that all stations fit into the hours in which watering is allowed." }
                li { "Water in the lines freezes: drain or blow out before winter. Dig by hand near roots." }
                li { "Figures of this parcel are estimates from its drawing, not a measure of anybody's waste." }
            }
            @if !flags.is_empty() {
                p class="quiet" { "Flags of the plan: " (flags.replace(';', ", ")) "." }
            }
        }
    }
}
