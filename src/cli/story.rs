//! What a person reads at the end of a run.

use std::path::Path;

use super::design::Design;
use super::inputs::Layers;
use super::table::{Table, thousands};
use crate::assumptions::{Key, Origin};
use crate::plan::Status;
use crate::write::summary::{Distribution, Summary};

const CAUTIONS: &str = "\
Mind
  This is a planning-grade estimate, not a stamped design. Backflow prevention, cross-connection
  rules, permits, utility location, local codes and licensed practice come first.
  Measure the static pressure before anything is bought; above 5.5 bar it must be reduced.
  After a swap the clock must be reset: nozzles with a lower rate run longer.
  Figures of a parcel are estimates from its drawing, not a measure of anybody's waste.
";

/// A finished run.
pub(super) struct Run<'a> {
    pub(super) summary: &'a Summary,
    pub(super) layers: &'a Layers,
    pub(super) design: &'a Design,
    pub(super) output: &'a Path,
}

/// The summary of a run as text.
pub(super) fn story(run: &Run<'_>) -> String {
    let Run {
        summary,
        layers,
        design,
        output,
    } = run;
    let mut out = counts(summary);
    out.push_str(&layouts(summary));
    out.push_str(&water(summary));
    out.push_str(&assumed_lines(layers, design));
    let folder = output.display();
    out.push_str(&format!(
        "\nWritten to {folder}\n  \
         report.html                                                    open this first: map, table, charts\n  \
         parcels.geojson  turf.geojson  heads.geojson  throws.geojson   layers for any GIS viewer\n  \
         stations.geojson  laterals.geojson                              valves and pipes\n  \
         parcels.csv  schedule.csv  materials.csv  walk.csv  failures.csv  tables for a spreadsheet\n  \
         summary.json  run.json                                         figures; all that decided them\n  \
         Every scenario is in turf, heads and throws; show one with the columns `scenario` or `recommended`.\n\n"
    ));
    out.push_str(CAUTIONS);
    out
}

fn counts(summary: &Summary) -> String {
    let counts: Vec<String> = Status::ALL
        .into_iter()
        .map(|status| format!("{} {}", summary.with_status(status), status.text()))
        .collect();
    let mut out = format!("{} parcels: {}", summary.inputs(), counts.join(", "));
    if summary.orphans > 0 {
        out.push_str(&format!("; of no parcel: {}", summary.orphans));
    }
    out.push_str(&format!(
        "\n{} turf areas, {} m²\n",
        thousands(summary.turf_areas as f64),
        thousands(summary.turf_m2)
    ));
    out
}

fn layouts(summary: &Summary) -> String {
    let mut table = Table::new(&[
        "scenario",
        ">areas",
        ">best for",
        ">heads",
        ">field DU",
        ">drawing DU*",
        ">rate mm/h",
        ">overspray",
        ">runoff",
        ">mm/yr",
        ">use m³/yr",
    ]);
    for ((scenario, family), group) in &summary.groups {
        let scenario = scenario.text();
        let named = scenario.ends_with(family.as_str());
        table.row(vec![
            if named {
                scenario
            } else {
                format!("{scenario} ({family})")
            },
            thousands(group.areas as f64),
            thousands(group.recommended as f64),
            thousands(group.heads as f64),
            median(&group.du_lq_field, 1.0, 2),
            median(&group.du_lq, 1.0, 2),
            median(&group.rate_mm_h, 1.0, 1),
            match median(&group.over_frac, 100.0, 1).as_str() {
                "-" => "-".to_owned(),
                percent => format!("{percent} %"),
            },
            match (
                median(&group.runoff_table_frac, 100.0, 0).as_str(),
                median(&group.runoff_ponding_frac, 100.0, 0).as_str(),
            ) {
                ("-", _) => "-".to_owned(),
                (table, ponding) => format!("{table} | {ponding} %"),
            },
            median(&group.gross_mm_yr, 1.0, 0),
            if group.du_lq_field.count() > 0 {
                thousands(group.use_m3_yr)
            } else {
                "-".to_owned()
            },
        ]);
    }
    format!(
        "\nLayouts: medians over the turf areas; heads and use are sums\n{}\
         Field DU is the low-quarter uniformity that the lawn can be expected to measure.\n\
         Runoff is a share of the water on the turf: by the accumulation table | by ponding.\n  \
         * Drawing DU is a still-air value of the drawing: good for comparing layouts, not to be expected\n  \
         on the lawn.\n",
        table.text("  ")
    )
}

fn median<const D: usize>(values: &Distribution<D>, factor: f64, decimals: usize) -> String {
    values.median().map_or_else(
        || "-".to_owned(),
        |median| format!("{:.decimals$}", median * factor),
    )
}

fn water(summary: &Summary) -> String {
    if summary.asfound_m3_yr <= 0.0 {
        return String::new();
    }
    let share = 100.0 * summary.potential_m3_yr / summary.asfound_m3_yr;
    format!(
        "\nWater of a year\n  as found                   {:>12} m³\n  with what is recommended   {:>12} m³\n  \
         could be saved             {:>12} m³  ({share:.0} %), if the clock is re-timed to need\n  \
         may be claimed             {:>12} m³  for new hardware, beyond what clocks and repairs would save\n{}",
        thousands(summary.asfound_m3_yr),
        thousands(summary.best_m3_yr),
        thousands(summary.potential_m3_yr),
        thousands(summary.claimed_m3_yr),
        flagged(summary),
    )
}

/// How many turf areas carry each flag.
fn flagged(summary: &Summary) -> String {
    if summary.flags.is_empty() {
        return String::new();
    }
    let flags: Vec<String> = summary
        .flags
        .iter()
        .map(|(flag, count)| format!("{flag} {count}"))
        .collect();
    format!(
        "\nFlags by turf areas, of what is recommended\n  {}\n",
        flags.join(", ")
    )
}

/// What was assumed because nobody gave it.
pub(super) fn assumed_lines(layers: &Layers, design: &Design) -> String {
    let mut lines = Vec::new();
    if !layers.has("parcels") {
        lines.push(
            "parcels: no layer; turf areas are grouped by their column parcel_id, or stand alone"
                .to_owned(),
        );
    }
    lines.push(if layers.has("heads") {
        "as found: the existing heads; on turf areas without any, a spray layout by the plain rule, \
         and there repair and swap are left out"
    } else {
        "as found: a spray layout by the plain rule, since there is no layer of existing heads; \
         repair and swap are left out"
    }.to_owned());
    if !layers.has("obstacles") {
        lines.push("buildings and pavements: no layer; water on them is not told apart".to_owned());
    }
    match &design.catalogue_file {
        Some(file) => lines.push(format!("nozzles: {file}")),
        None => {
            lines.push("nozzles: the embedded generic families, see `evenfall nozzles`".to_owned())
        }
    }
    if !layers.has("climate") && !layers.has("climate_zones") {
        lines.push("climate: the embedded one of the invented town of Larkmoor".to_owned());
    }
    let assumed = &design.assumptions;
    if !layers.has("soils") {
        let texture = assumed.choice(Key::SoilTexture);
        lines.push(format!(
            "soil: {texture} everywhere, since there is no layer of soils"
        ));
    }
    if !layers.has("dem") {
        let slope_pct = assumed.number(Key::SoilSlope);
        lines.push(format!(
            "slope: {slope_pct} % everywhere, since there is no elevation model"
        ));
    }
    lines.push(format!(
        "runoff: volumes use the method `{}`; both are in the outputs, and what is claimed uses the \
         smaller saving",
        assumed.choice(Key::SoilRunoffMethod)
    ));
    let (loam, clay_loam) = (
        assumed.choice(Key::SoilLoamVariant),
        assumed.choice(Key::SoilClayLoamVariant),
    );
    lines.push(format!(
        "ponding: the table of 1983, loam and silt loam {loam}, clay loam {clay_loam}"
    ));
    let rows: Vec<_> = design.assumptions.rows().collect();
    let defaults = rows
        .iter()
        .filter(|row| row.origin == Origin::Default.text())
        .count();
    let all = rows.len();
    lines.push(format!("{defaults} of {all} numbers are defaults, see `evenfall assumptions`; run.json has them all"));
    format!("\nAssumed\n  {}\n", lines.join("\n  "))
}
