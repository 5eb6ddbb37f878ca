//! The list of heads: those of one station that get the same nozzle under one title, several beside
//! each other, each with its settings and a box to tick.

use maud::{Markup, html};

use super::dossier::Dossier;
use super::paper::{HEADING_MM, LINE_MM, lines};
use super::{Block, shortened};
use crate::read::planned::PlannedRow;
use crate::write::measure::Units;
use crate::write::page::figure;

/// Columns of one head, and what they are wide \[mm\]: four heads stand beside each other on A4.
const COLUMNS: [(&str, f64); 7] = [
    ("Head", 8.4),
    ("Left", 6.4),
    ("Arc", 6.4),
    ("Throw", 8.6),
    ("Tape", 7.8),
    ("Tape", 7.8),
    ("✓", 3.0),
];
/// Width of a head that is only looked for: two tapes and a box \[mm\].
const TAPES_MM: f64 = 24.0;
const CAPTION: &str = "Angles are clockwise from north: set the fixed left edge first, then the arc, then \
    the throw. Tapes: from the points of the drawing, e.g. A 4.2 and C 7.0; D>12.0 l0.4 is 12.0 along \
    the edge from D, then 0.4 square to its left (r: right); edges are named in walk.csv. Lengths are in ";

/// Heads of one station that are dealt with alike, in the order of the walk.
struct Group<'a> {
    title: String,
    /// Whether they are capped: then there is nothing to set.
    caps: bool,
    rows: Vec<&'a PlannedRow>,
}

/// The list.
pub(super) fn heads(dossier: &Dossier, units: Units, width_mm: f64) -> Block {
    let groups = groups(dossier);
    if groups.is_empty() {
        return Block::none();
    }
    let entry_mm: f64 = COLUMNS.iter().map(|(_, width_mm)| width_mm).sum();
    let beside = ((width_mm / entry_mm) as usize).max(1);
    let taped = ((width_mm / TAPES_MM) as usize).max(1);
    let caption = format!("{CAPTION}{}.", units.length_unit());
    let rows: usize = groups
        .iter()
        .map(|group| {
            1 + group
                .rows
                .len()
                .div_ceil(if group.caps { taped } else { beside })
        })
        .sum();
    let caption_lines = lines(&caption, width_mm);
    let markup = html! {
        section {
            h2 { "Heads" }
            table class="heads" {
                caption { (caption) }
                colgroup { @for _ in 0..beside { @for (_, width_mm) in COLUMNS {
                    col style=(format!("width:{width_mm}mm"));
                } } }
                thead { tr { @for _ in 0..beside { @for (at, (title, _)) in COLUMNS.iter().enumerate() {
                    th class=[(at == 0).then_some("first")] { (title) }
                } } } }
                tbody {
                    @for group in &groups {
                        tr { th class="w group" colspan=(beside * COLUMNS.len()) { (group.title) } }
                        @if group.caps {
                            tr { td class="w taped" colspan=(beside * COLUMNS.len()) {
                                @for row in &group.rows { span { "☐ " (tapes(row, units)) } " " }
                            } }
                        } @else {
                            @for row in group.rows.chunks(beside) {
                                tr {
                                    @for head in row { (entry(dossier, head, units)) }
                                    @if row.len() < beside {
                                        td class="first" colspan=((beside - row.len()) * COLUMNS.len()) {}
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    };
    Block {
        height_mm: HEADING_MM + LINE_MM * (caption_lines + 1.0 + rows as f64),
        markup,
    }
}

fn groups(dossier: &Dossier) -> Vec<Group<'_>> {
    let mut groups: Vec<Group> = Vec::new();
    let steps = dossier.walk.iter();
    for row in steps.filter(|row| row.text("do") != "reset clock") {
        let title = title(dossier, row);
        // Rows come station by station, so heads that are dealt with alike are few groups apart.
        match groups.iter_mut().find(|group| group.title == title) {
            Some(group) => group.rows.push(row),
            None => groups.push(Group {
                title,
                caps: row.text("do") == "cap",
                rows: vec![row],
            }),
        }
    }
    for group in &mut groups {
        let count = group.rows.len();
        let heads = if count == 1 { "head" } else { "heads" };
        let tapes = if group.caps { ": tapes" } else { "" };
        group.title.push_str(&format!(" ({count} {heads}){tapes}"));
    }
    groups
}

/// `S3 · swap nozzle · pull a · fit b`.
fn title(dossier: &Dossier, row: &PlannedRow) -> String {
    let mut parts = Vec::new();
    if let Some(station) = row.number("station") {
        let letter = dossier.letter(row.text("scenario"));
        parts.push(format!("S{}{letter}", figure(Some(station), 0)));
    }
    parts.push(row.text("do").to_owned());
    for verb in ["pull", "fit"] {
        match row.text(verb) {
            "" => {}
            nozzle => parts.push(format!("{verb} {}", shortened(nozzle))),
        }
    }
    parts.join(" · ")
}

fn entry(dossier: &Dossier, row: &PlannedRow, units: Units) -> Markup {
    let degrees = |column: &str| match row.number(column) {
        Some(angle) => format!("{}°", figure(Some(angle), 0)),
        None => String::new(),
    };
    let throw = row.number("throw_m").map(|m| {
        let throw = Some(units.in_length(m));
        figure(throw, units.length_decimals())
    });
    let is_strip = row.number("arc_deg").is_none() && !row.text("fit").is_empty();
    html! {
        td class="w first" { (dossier.head_label(row.text("turf_id"), row.text("head_id"))) }
        td { (degrees("left_edge_deg")) }
        @if is_strip {
            td colspan="2" { (strip(dossier, row, units)) }
        } @else {
            td { (degrees("arc_deg")) }
            td { (throw.unwrap_or_default()) }
        }
        @if let Some(offset) = offset(row, units) {
            td colspan="2" { (offset) }
        } @else {
            td { (tape(row, "a", units)) }
            td { (tape(row, "b", units)) }
        }
        td {}
    }
}

/// A tape and the point that it is held to, to a tenth of a metre or foot: as a head is found, not as
/// it is drawn.
fn tape(row: &PlannedRow, which: &str, units: Units) -> String {
    let Some(m) = row.number(&format!("tie_{which}_m")) else {
        return String::new();
    };
    let point = point(row, which);
    format!("{point}\u{a0}{}", figure(Some(units.in_length(m)), 1))
}

/// The name of a fixed point.
fn point<'a>(row: &'a PlannedRow, which: &str) -> &'a str {
    let text = row.text(&format!("tie_{which}"));
    text.split(' ').next().unwrap_or("")
}

/// An offset from an edge: `D>12.0 l0.4`.
fn offset(row: &PlannedRow, units: Units) -> Option<String> {
    let (along_m, left_m) = (row.number("tie_along_m")?, row.number("tie_left_m")?);
    let length = |m: f64| figure(Some(units.in_length(m.abs())), 1);
    let side = if left_m < 0.0 { 'r' } else { 'l' };
    let from = point(row, "a");
    Some(format!(
        "{from}>{}\u{a0}{side}{}",
        length(along_m),
        length(left_m)
    ))
}

fn tapes(row: &PlannedRow, units: Units) -> String {
    offset(row, units)
        .unwrap_or_else(|| format!("{} / {}", tape(row, "a", units), tape(row, "b", units)))
}

/// Width by length of a strip's rectangle.
fn strip(dossier: &Dossier, row: &PlannedRow, units: Units) -> String {
    let area = dossier.area(row.text("turf_id"));
    let head = area.and_then(|area| {
        let mut heads = area.heads.iter();
        heads.find(|head| head.text("head_id") == row.text("head_id"))
    });
    let side = |column: &str| Some(units.in_length(head?.number(column)?));
    match (side("strip_w_m"), side("strip_l_m")) {
        (Some(width), Some(length)) => {
            format!("{}×{}", figure(Some(width), 1), figure(Some(length), 1))
        }
        _ => "strip".to_owned(),
    }
}
