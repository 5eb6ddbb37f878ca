//! The small tables of the crew's sheet: turf areas, clock, stations, materials.

use maud::{Markup, html};

use super::dossier::{Area, Dossier};
use super::paper::{HEADING_MM, LINE_MM, lines};
use super::{Block, shortened};
use crate::read::planned::PlannedRow;
use crate::write::measure::Units;
use crate::write::page::{about, figure};

/// Room for what is to be looked at at a station, and for when it begins, at least \[mm\]; the other
/// columns of their table take the third.
const LOOK_AT_MM: f64 = 24.0;
const STARTS_MM: f64 = 22.0;
const OTHERS_MM: f64 = 145.0;

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

const EVENNESS: &str = "Field evenness is the low-quarter uniformity (DU_lq) that the lawn can be expected to \
    measure; the drawing value holds for still air and only compares layouts.";

/// The turf areas, as found and as recommended.
pub(super) fn areas(dossier: &Dossier, units: Units, width_mm: f64) -> Block {
    if dossier.areas.is_empty() {
        return Block::none();
    }
    let best = |area: &Area, column: &str| area.best.as_ref().and_then(|row| row.number(column));
    let found = |area: &Area, column: &str| area.found.as_ref().and_then(|row| row.number(column));
    let markup = html! {
        table {
            caption { (EVENNESS) }
            thead { tr {
                th class="w" { "Area" } th class="w" { "Recommended" } th { "Size" }
                th { "Field evenness, found → planned" } th { "Rate" }
                th { "Drawing value (still air)" }
            } }
            tbody {
                @for (at, area) in dossier.areas.iter().enumerate() {
                    tr {
                        td class="w" { (at + 1) " · " bdi { (shortened(&area.id)) } }
                        td class="w" { (area.best.as_ref().map_or("–", |row| row.text("scenario"))) }
                        td { (units.area(best(area, "area_m2").or(found(area, "area_m2")))) }
                        td {
                            (figure(found(area, "du_lq_field"), 2)) " → "
                            strong { (figure(best(area, "du_lq_field"), 2)) }
                        }
                        td { (units.rate(best(area, "rate_mm_h"))) }
                        td { (figure(best(area, "du_lq"), 2)) }
                    }
                }
            }
        }
    };
    let rows = dossier.areas.len() as f64;
    Block {
        height_mm: 1.0 + LINE_MM * (lines(EVENNESS, width_mm) + 1.0 + rows),
        markup,
    }
}

const CLOCK: &str = "Days a week, cycles and minutes of a cycle to key in; below the months, the clock's seasonal setting in \
    percent of them. A day: run time of a watering day in the month that needs most, which is named. A question mark: \
    nobody knows the clock, the minutes before are assumed; read it first.";

/// What is keyed into the clock. Where only the clock changes there is no table of stations, and the
/// starts stand here.
pub(super) fn clock(dossier: &Dossier, width_mm: f64) -> Block {
    let planned: Vec<(usize, &Area, &PlannedRow)> = dossier
        .areas
        .iter()
        .enumerate()
        .filter_map(|(at, area)| Some((at, area, area.schedule.as_ref()?)))
        .collect();
    if planned.is_empty() {
        return Block::none();
    }
    let has_stations = |area: &Area| {
        let mut stations = dossier.worked_stations();
        stations.any(|row| row.text("turf_ids").split(';').any(|id| id == area.id))
    };
    let alone = planned.iter().filter(|(_, area, _)| !has_stations(area));
    let alone: Vec<(usize, String)> = alone
        .filter(|(_, _, row)| !row.text("starts").is_empty())
        .map(|(at, _, row)| (*at, format!("{}: {}", days(row), row.text("starts"))))
        .collect();
    let markup = html! {
        section {
            h2 { "Clock" }
            table {
                caption { (CLOCK) }
                thead { tr {
                    th class="w" { "Area" } th { "Days" } th { "Cycles" } th { "Soak" } th { "A day, before → after" }
                    @for (name, _) in MONTHS { th { (name) } }
                } }
                tbody {
                    @for (at, area, row) in &planned {
                        tr {
                            td class="w" { (at + 1) }
                            td { (about(row.number("days_per_week"))) }
                            td { (figure(row.number("cycles"), 0)) " × " strong { (figure(row.number("cycle_min"), 0)) "\u{a0}min" } }
                            td { (soak(Some(row))) }
                            td {
                                (figure(area.found.as_ref().and_then(|row| row.number("peak_run_min")), 0))
                                @if area.found.as_ref().is_some_and(|row| row.text("runs_from") == "assumed") { "?" }
                                " → " strong { (figure(row.number("peak_run_min"), 0)) "\u{a0}min" }
                                " (" (row.text("month")) ")"
                            }
                            @for (_, column) in MONTHS { td { (figure(row.number(column), 0)) } }
                        }
                    }
                }
            }
            @for (at, starts) in &alone {
                p class="small" { "Starts of area " (at + 1) ": " (starts) "." }
            }
        }
    };
    let starts = alone
        .iter()
        .map(|(_, starts)| lines(starts, width_mm) + 0.5);
    let starts: f64 = starts.sum();
    Block {
        height_mm: HEADING_MM
            + LINE_MM * (1.0 + lines(CLOCK, width_mm) + starts + planned.len() as f64),
        markup,
    }
}

/// The days of a row in words; every day of the week is not listed.
fn days(row: &PlannedRow) -> String {
    let days = row.text("days").replace(';', " ");
    if days.split(' ').count() == 7 {
        "daily".to_owned()
    } else {
        days
    }
}

/// What each valve feeds.
pub(super) fn stations(dossier: &Dossier, units: Units, width_mm: f64) -> Block {
    let worked: Vec<&PlannedRow> = dossier.worked_stations().collect();
    if worked.is_empty() {
        return Block::none();
    }
    let look_at = |row: &PlannedRow| row.text("flags").replace(';', ", ");
    let letters = letters(dossier);
    let markup = html! {
        section {
            h2 { "Stations" }
            table {
                thead { tr {
                    th class="w" { "Station" } th class="w" { "Areas" } th class="w" { "Family" } th { "Heads" }
                    th { "Flow" } th { "Allowed" } th { "Pressure" }
                    th { "A day" } th { "Cycles" } th { "Soak" } th class="w" { "Starts" } th class="w" { "Look at" }
                } }
                tbody {
                    @for row in &worked {
                        (station(dossier, row, units, &look_at(row)))
                    }
                }
            }
            @if let Some(letters) = &letters { p class="quiet" { (letters) } }
        }
    };
    let free_mm = width_mm - OTHERS_MM;
    let (look_at_mm, starts_mm) = (LOOK_AT_MM.max(0.5 * free_mm), STARTS_MM.max(0.4 * free_mm));
    let tallest = |row: &&PlannedRow| {
        let starts = starts(schedule_of(dossier, row), row);
        lines(&look_at(row), look_at_mm).max(lines(&starts, starts_mm))
    };
    let rows: f64 = worked.iter().map(tallest).sum();
    let below = letters.map_or(0.0, |letters| lines(&letters, width_mm));
    Block {
        height_mm: HEADING_MM + LINE_MM * (1.0 + rows + below),
        markup,
    }
}

/// What the letters behind stations stand for, where areas of the parcel are changed in different ways.
fn letters(dossier: &Dossier) -> Option<String> {
    let mixed = dossier.mixed_scenarios();
    let letters = mixed.iter().zip('a'..='z');
    let letters: Vec<_> = letters
        .map(|(scenario, letter)| format!("{letter} {scenario}"))
        .collect();
    let listed = letters.join(", ");
    (!letters.is_empty()).then(|| {
        format!("Numbers are those of each scenario, in the layers and in walk.csv: {listed}.")
    })
}

fn station(dossier: &Dossier, row: &PlannedRow, units: Units, look_at: &str) -> Markup {
    let areas: Vec<usize> = areas_of(dossier, row);
    let mut schedules = areas
        .iter()
        .filter_map(|&at| dossier.areas[at].schedule.as_ref());
    let schedule = schedules.next();
    let numbers: Vec<String> = areas.iter().map(|at| (at + 1).to_string()).collect();
    html! {
        tr {
            td class="w" { (dossier.station_name(row)) }
            td class="w" { (numbers.join(", ")) }
            td class="w" { (shortened(row.text("family"))) }
            td { (figure(row.number("heads"), 0)) }
            td { (units.flow(row.number("delivered_lpm").or(row.number("flow_lpm")))) }
            td { (units.flow(row.number("safe_lpm"))) }
            td { (units.pressure(row.number("least_kpa"))) }
            td { (figure(row.number("run_min"), 0)) "\u{a0}min" }
            td {
                @if let Some(schedule) = schedule {
                    (figure(schedule.number("cycles"), 0)) " × "
                    (figure(schedule.number("cycle_min"), 0)) "\u{a0}min"
                } @else { "–" }
            }
            td { (soak(schedule)) }
            td class="w starts" { (starts(schedule, row)) }
            td class="w wraps" { (look_at) }
        }
    }
}

fn schedule_of<'a>(dossier: &'a Dossier, station: &PlannedRow) -> Option<&'a PlannedRow> {
    let areas = areas_of(dossier, station);
    let mut schedules = areas
        .iter()
        .filter_map(|&at| dossier.areas[at].schedule.as_ref());
    schedules.next()
}

/// On which days a station waters and when it begins, read off the starts of its schedule:
/// `S1 20:00 20:54; S2 20:09`.
fn starts(schedule: Option<&PlannedRow>, station: &PlannedRow) -> String {
    let number = station.text("station_id").rsplit('/').next().unwrap_or("");
    let all = schedule.map_or("", |schedule| schedule.text("starts"));
    let mut own = all.split("; ").filter_map(|own| own.split_once(' '));
    own.find(|(name, _)| *name == number)
        .map_or_else(String::new, |(_, times)| {
            let days = days(station);
            format!("{days} {times}").trim_start().to_owned()
        })
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

const MIXED: &str = "Areas of this parcel are changed in different ways: bodies, pipe and fittings stand in \
    materials.csv, scenario by scenario.";

/// What is loaded onto the truck, two items a row. Nozzles are counted off the list of heads;
/// everything else stands in the plan's materials, which hold for a parcel that is changed in one way.
pub(super) fn materials(dossier: &Dossier, width_mm: f64) -> Block {
    let mut nozzles: Vec<(&str, usize)> = Vec::new();
    let fitted = dossier.walk.iter().map(|row| row.text("fit"));
    for fit in fitted.filter(|fit| !fit.is_empty()) {
        match nozzles.iter_mut().find(|(name, _)| *name == fit) {
            Some((_, count)) => *count += 1,
            None => nozzles.push((fit, 1)),
        }
    }
    if nozzles.is_empty() {
        return Block::none();
    }
    nozzles.sort_unstable();
    let best = dossier.parcel.text("best_scenario");
    let others = dossier.materials.iter();
    let others: Vec<&PlannedRow> = others
        .filter(|row| row.text("scenario") == best && row.text("item") != "nozzle")
        .collect();
    let nozzles = nozzles.into_iter().map(|(name, count)| {
        let name = shortened(name).into_owned();
        ["nozzle".to_owned(), name, count.to_string(), String::new()]
    });
    let parts = others.iter().map(|row| {
        let decimals = usize::from(row.text("unit") == "m");
        let quantity = format!(
            "{} {}",
            figure(row.number("quantity"), decimals),
            row.text("unit")
        );
        let boxes = row.number("boxes").map(|boxes| figure(Some(boxes), 0));
        let (item, detail) = (row.text("item").to_owned(), row.text("detail").to_owned());
        [item, detail, quantity, boxes.unwrap_or_default()]
    });
    let items: Vec<[String; 4]> = nozzles.chain(parts).collect();
    let is_mixed = others.is_empty() && best == "mixed";
    let markup = html! {
        section {
            h2 { "Materials" }
            table {
                thead { tr { @for _ in 0..2 {
                    th class="w first" { "Item" } th class="w" { "Which" } th { "Quantity" } th { "Boxes or coils" }
                } } }
                tbody {
                    @for pair in items.chunks(2) {
                        tr {
                            @for [item, which, quantity, boxes] in pair {
                                td class="w first" { (item) } td class="w wraps" { (which) }
                                td { (quantity) } td { (boxes) }
                            }
                            @if pair.len() < 2 { td class="first" colspan="4" {} }
                        }
                    }
                }
            }
            @if is_mixed { p class="quiet" { (MIXED) } }
        }
    };
    // A quarter of the width is left for what an item is.
    let tallest = |pair: &[[String; 4]]| {
        let heights = pair
            .iter()
            .map(|[_, which, ..]| lines(which, width_mm / 4.0));
        heights.fold(1.0, f64::max)
    };
    let rows: f64 = items.chunks(2).map(tallest).sum();
    let note = if is_mixed {
        lines(MIXED, width_mm) + 0.5
    } else {
        0.0
    };
    Block {
        height_mm: HEADING_MM + LINE_MM * (1.0 + rows + note),
        markup,
    }
}
