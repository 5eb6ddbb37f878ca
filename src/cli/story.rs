//! What a person reads at the end of a run.

use std::path::Path;

use super::decision_story::decision;
use super::design::Design;
use super::inputs::Layers;
use super::program_story::program_lines;
use super::table::{Table, thousands};
use crate::assumptions::{Key, Origin};
use crate::batch::shard::Shard;
use crate::plan::{Percentiles, Status};
use crate::read::LayerUse;
use crate::savings::{Counterfactual, EVIDENCE};
use crate::write::savings::SavingsTotals;
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
    let mut out = figures(summary);
    out.push_str(&assumed_lines(layers, design));
    out.push_str(&written(output));
    out.push_str(CAUTIONS);
    out
}

/// The summary of merged shards as text.
pub(super) fn merged_story(summary: &Summary, output: &Path) -> String {
    [&figures(summary), &written(output), CAUTIONS].concat()
}

/// What a shard leaves, as text.
pub(super) fn shard_story(summary: &Summary, shard: Shard, output: &Path) -> String {
    let folder = output.display();
    format!(
        "{}\nShard {shard} is written to {folder}; when all are, put them together:\n  \
         evenfall merge DIR... -o OUT\n",
        counts(summary)
    )
}

fn figures(summary: &Summary) -> String {
    let program = program_lines(&summary.program);
    [
        counts(summary),
        decision(summary),
        layouts(summary),
        water(summary),
        program,
    ]
    .concat()
}

/// Groups of files in a finished folder: what they are for, the names before the ending, and whether the ending is
/// that of a spreadsheet.
const FILES: [(&str, &[&str], bool); 7] = [
    ("open this first: map, table, charts", &["report"], false),
    (
        "layers for any GIS viewer",
        &["evenfall", "parcels", "turf", "heads", "throws"],
        false,
    ),
    ("valves and pipes", &["stations", "laterals"], false),
    (
        "tables without geometry",
        &["schedule", "materials", "walk", "failures", "rain"],
        false,
    ),
    (
        "tables for a spreadsheet",
        &[
            "parcels",
            "turf",
            "heads",
            "throws",
            "stations",
            "laterals",
            "schedule",
            "materials",
            "walk",
            "failures",
            "rain",
        ],
        true,
    ),
    (
        "the cheapest claimed water first",
        &["ranked", "supply_curve"],
        true,
    ),
    ("figures; all that decided them", &["summary", "run"], false),
];

/// Where what was written lies, and what each of it is for: what is there, whatever formats and layers were
/// asked for.
fn written(output: &Path) -> String {
    let entries = std::fs::read_dir(output).into_iter().flatten().flatten();
    let there: Vec<String> = entries
        .filter_map(|entry| entry.file_name().into_string().ok())
        .collect();
    let mut out = format!("\nWritten to {}\n", output.display());
    for (what, stems, is_spreadsheet) in FILES {
        let of = |stem: &&str| {
            let mut own: Vec<&str> = there
                .iter()
                .filter(|file| {
                    file.split_once('.').is_some_and(|(name, ending)| {
                        name == *stem && (ending == "csv") == is_spreadsheet
                    })
                })
                .map(String::as_str)
                .collect();
            own.sort_unstable();
            own
        };
        let names: Vec<&str> = stems.iter().flat_map(of).collect();
        if !names.is_empty() {
            out.push_str(&format!("  {:<64} {what}\n", names.join("  ")));
        }
    }
    if there
        .iter()
        .any(|file| file.starts_with("turf.") || file == "evenfall.gpkg")
    {
        out.push_str(
            "  The layers hold every scenario; show one with the columns `scenario` or `recommended`.\n",
        );
    }
    out.push('\n');
    out
}

/// How many parcels there were, and what became of them.
pub(super) fn counts(summary: &Summary) -> String {
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
    out.push_str(&layers_used(&summary.layers));
    out
}

/// How many rows of each layer were used, and why the others were not.
pub(super) fn layers_used(layers: &[LayerUse]) -> String {
    let mut out = String::new();
    for layer in layers {
        let reasons = match layer.reasons() {
            none if none.is_empty() => none,
            some => format!(": {some}"),
        };
        let role = layer.role.replace('_', " ");
        let used = if layer.used == layer.rows {
            format!("all {} rows used", thousands(layer.rows as f64))
        } else {
            let [used, rows] = [layer.used, layer.rows].map(|rows| thousands(rows as f64));
            format!("{used} of {rows} rows used{reasons}")
        };
        out.push_str(&format!("{role}: {used}\n"));
    }
    out
}

fn layouts(summary: &Summary) -> String {
    let mut table = Table::new(&[
        "scenario",
        ">areas",
        ">best for",
        ">heads",
        ">stations",
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
            if group.stations > 0 {
                thousands(group.stations as f64)
            } else {
                "-".to_owned()
            },
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
        "\nLayouts: medians over the turf areas; heads, stations and use are sums\n{}\
         Field DU is the low-quarter uniformity that the lawn can be expected to measure.\n\
         Runoff is a share of the water on the turf: by the accumulation table | by ponding.\n  \
         * Drawing DU is a still-air value of the drawing: good for comparing layouts, not to be expected\n  \
         on the lawn.\n{}",
        table.text("  "),
        control_line(summary)
    )
}

/// Stations and wire in use, before and after; nothing where none are.
fn control_line(summary: &Summary) -> String {
    let [found, after] = summary.control;
    if found.stations == 0 {
        return String::new();
    }
    format!(
        "Stations in use: {} as found, {} as recommended; wire {} and {} m. A swap keeps every valve in the \
         ground.\n",
        thousands(found.stations as f64),
        thousands(after.stations as f64),
        thousands(found.wire_m),
        thousands(after.wire_m)
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
    // The headline is the middle of the draws.
    let middle = summary.savings.claimed().map(|claimed| claimed.p50_m3_yr);
    let headline_m3 = middle.unwrap_or(summary.claimed_m3_yr);
    format!(
        "\nWater of a year\n  as found                   {:>12} m³\n  with what is recommended   {:>12} m³\n  \
         could be saved             {:>12} m³  ({share:.0} %), if the clock is re-timed to need\n  \
         may be claimed             {:>12} m³  for new hardware, {}\n{}",
        thousands(summary.asfound_m3_yr),
        thousands(summary.best_m3_yr),
        thousands(summary.potential_m3_yr),
        thousands(headline_m3),
        against(&summary.savings),
        format_args!("{}{}", savings(&summary.savings), flagged(summary)),
    )
}

/// Against what hardware is credited.
fn against(totals: &SavingsTotals) -> &'static str {
    match Counterfactual::ALL[totals.counterfactual] {
        Counterfactual::AsFound => "against the turf as found",
        Counterfactual::Reclock => "against the old hardware under the same clock",
        Counterfactual::Repair => "against the old hardware repaired, under the same clock",
    }
}

/// The claim against each counterfactual side by side, in the middle of the draws.
fn side_by_side(totals: &SavingsTotals) -> String {
    let figures: Vec<String> = Counterfactual::ALL
        .iter()
        .filter_map(|&one| {
            let middle = totals.claimed_against(one as usize)?.p50_m3_yr;
            let is_claim = one as usize == totals.counterfactual;
            let mark = if is_claim { " (the claim)" } else { "" };
            Some(format!("{} {} m³{mark}", one.text(), thousands(middle)))
        })
        .collect();
    format!("  claimed against            {}\n", figures.join(", "))
}

/// Swings of the tornado that are told.
const SWINGS_TOLD: usize = 6;

/// How sure the savings are, where they come from, and what moves them.
fn savings(totals: &SavingsTotals) -> String {
    let (Some(potential), Some(claimed)) = (totals.potential(), totals.claimed()) else {
        return String::new();
    };
    let range = |of: Percentiles| {
        format!(
            "{} to {} m³ (middle {})",
            thousands(of.p10_m3_yr),
            thousands(of.p90_m3_yr),
            thousands(of.p50_m3_yr)
        )
    };
    let mut out = format!(
        "  in eight of ten draws      could be {},\n{:29}claimed {}\n",
        range(potential),
        "",
        range(claimed)
    );
    out += &side_by_side(totals);
    let [unchanged, scaled] = totals.otherwise.map(|parts| parts.total_m3_yr());
    if unchanged != 0.0 || scaled != 0.0 {
        out += &format!(
            "  with other clocks          minutes unchanged {} m³ less (turf may go short), minutes \
             scaled {} m³ less\n",
            thousands(unchanged),
            thousands(scaled)
        );
    }
    if let Some(why) = totals.why_outside() {
        out += &format!("{:29}({why})\n", "");
    }
    let evidence: Vec<String> = EVIDENCE
        .iter()
        .map(|row| {
            let m3_yr = thousands(row.frac * totals.asfound_m3_yr);
            format!("{} {m3_yr} m³ ({:.0} %)", row.name, 100.0 * row.frac)
        })
        .collect();
    out += &format!("  published evidence         {}\n", evidence.join(", "));
    if totals.above_evidence > 0 {
        out += &format!(
            "  beyond the evidence        {} of {} parcels: look at them before anything is claimed\n",
            thousands(totals.above_evidence as f64),
            thousands(totals.parcels as f64)
        );
    }
    if totals.metered > 0 {
        out += &format!(
            "  held against meters        {} parcels, {} of them under-water and claim nothing\n",
            thousands(totals.metered as f64),
            thousands(totals.under_watered as f64)
        );
    }
    let (parts, takes) = (&totals.parts, &totals.takes);
    let of_all = |named: &[(&str, f64)]| {
        let all = parts.total_m3_yr();
        let share = |m3_yr: f64| if all > 0.0 { 100.0 * m3_yr / all } else { 0.0 };
        let words: Vec<String> = named
            .iter()
            .map(|(name, m3_yr)| {
                format!("{name} {} m³ ({:.0} %)", thousands(*m3_yr), share(*m3_yr))
            })
            .collect();
        let lines: Vec<String> = words.chunks(3).map(|some| some.join(", ")).collect();
        lines.join(&format!(",\n{:29}", ""))
    };
    let mut what_it_takes = Vec::new();
    what_it_takes.extend(takes.reclock_m3_yr.map(|m3_yr| ("a right schedule", m3_yr)));
    what_it_takes.push(("repairs", takes.repair_m3_yr));
    what_it_takes.push(("new nozzles and places", takes.nozzle_m3_yr));
    let open_m3_yr = totals.not_observable_m3_yr();
    if open_m3_yr > 0.0 {
        what_it_takes.push((
            "not observable: cycles where nobody knows the clock",
            open_m3_yr,
        ));
    }
    out += &format!(
        "  what it takes              {}\n  what it comes from         {}\n",
        of_all(&what_it_takes),
        of_all(&[
            ("schedule", parts.schedule_m3_yr),
            ("uniformity", parts.uniformity_m3_yr),
            ("runoff", parts.runoff_m3_yr),
            ("drift", parts.drift_m3_yr),
            ("overspray", parts.overspray_m3_yr),
            ("pressure", parts.pressure_m3_yr),
        ])
    );
    let mut table = Table::new(&[
        "assumption",
        ">claim at low",
        ">claim at high",
        ">swing m³/yr",
    ]);
    let swings = totals.tornado();
    for swing in swings.iter().take(SWINGS_TOLD) {
        table.row(vec![
            swing.name().to_owned(),
            thousands(swing.claimed_m3_yr[0]),
            thousands(swing.claimed_m3_yr[1]),
            thousands(swing.width_m3_yr()),
        ]);
    }
    out + &format!("\nWhat moves the claim most\n{}", table.text("  "))
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
        "as found: the existing heads; on turf areas without any, sprays by the plain rule, or rotors \
         where turf is wider than heads.wide_turf_m; repair and swap rest on them there"
    } else {
        "as found: sprays by the plain rule, or rotors where turf is wider than heads.wide_turf_m, \
         since there is no layer of existing heads; repair and swap rest on them"
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
    if !layers.has("meter") {
        lines.push(
            "use as found: modelled, since there are no meters; parcels stand in tiers, not ranks"
                .to_owned(),
        );
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
        "runoff: volumes use the method `{}`; both are in the outputs, and half of the draws take the \
         other",
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
