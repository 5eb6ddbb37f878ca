//! The crew's page: what to do on one parcel, in the order in which it is done, on one sheet.

use maud::html;

use super::built::{Comparison, compared};
use super::dossier::Dossier;
use super::drawing::{Drawing, LEAST_MM};
use super::heads::heads;
use super::paper::{HEADING_MM, LINE_MM, Paper, Papers, lines};
use super::tables::{areas, clock, materials, stations};
use super::{Block, STYLE, shortened};
use crate::write::measure::Units;
use crate::write::page::{ESTIMATE, figure, page};

/// A sheet and the paper it was laid out for.
pub struct CrewSheet {
    /// The page as HTML.
    pub html: String,
    /// Its paper.
    pub paper: Paper,
    /// Place of the paper among those of its kind.
    pub size: usize,
    /// Heads for whose number the drawing has no room.
    pub unnamed: usize,
}

/// The drawing takes no more of the page than this.
const MOST_DRAWN_FRAC: f64 = 0.5;
/// The head of the page: id, what is done, figures, the word about the clock \[mm\].
const TOP_MM: f64 = 33.0;
/// White that browsers add between blocks and that nobody reckons \[mm\].
const SLACK_MM: f64 = 6.0;

/// The crew's sheet of a parcel, with what was built where that is known: on the smallest paper from
/// `least` on that holds it with a number beside every head, else on the largest.
#[must_use]
pub fn crew_sheet(
    dossier: &Dossier,
    units: Units,
    built: Option<&Comparison>,
    papers: Papers,
    least: usize,
) -> CrewSheet {
    let all = papers.all();
    let last = all.len() - 1;
    let mut size = least.min(last);
    loop {
        let paper = all[size]; // never beyond the last
        let blocks = Blocks::of(dossier, units, built, &paper);
        let free_mm = paper.inner_height_mm() - TOP_MM - SLACK_MM - blocks.height_mm(&paper);
        let height_mm = free_mm.min(MOST_DRAWN_FRAC * paper.inner_height_mm());
        let drawing = Drawing::of(
            dossier,
            paper.inner_width_mm(),
            height_mm.max(LEAST_MM),
            units,
        );
        let fits = height_mm >= LEAST_MM && drawing.unnamed() == 0;
        if fits || size == last {
            return CrewSheet {
                html: blocks.page(dossier, units, &paper, &drawing),
                unnamed: drawing.unnamed(),
                paper,
                size,
            };
        }
        size += 1;
    }
}

/// Everything but the head of the page and the drawing.
struct Blocks {
    /// Over the whole width.
    built: Block,
    /// Side by side where the paper is wide.
    flow: Vec<Block>,
}

impl Blocks {
    fn of(dossier: &Dossier, units: Units, built: Option<&Comparison>, paper: &Paper) -> Blocks {
        let column_mm = paper.column_mm();
        let mut flow = vec![
            heads(dossier, units, column_mm),
            areas(dossier, units, column_mm),
            clock(dossier, column_mm),
            stations(dossier, units, column_mm),
            materials(dossier, column_mm),
        ];
        if dossier.has_works() {
            flow.push(steps(dossier, units, column_mm));
        }
        flow.push(cautions(dossier, units, column_mm));
        Blocks {
            built: built.map_or_else(Block::none, |built| compared(built, dossier, units, paper)),
            flow,
        }
    }

    fn height_mm(&self, paper: &Paper) -> f64 {
        let flow: f64 = self.flow.iter().map(|block| block.height_mm).sum();
        // Columns are not balanced to the line.
        let slack = if paper.columns > 1 { 20.0 } else { 0.0 };
        self.built.height_mm + flow / paper.columns as f64 + slack
    }

    fn page(&self, dossier: &Dossier, units: Units, paper: &Paper, drawing: &Drawing) -> String {
        let m3 = |column: &str| dossier.parcel.number(column);
        let (areas, stations) = (dossier.areas.len(), dossier.stations.len());
        let body = html! {
            header {
                h1 { "Parcel " bdi { (shortened(&dossier.id)) } }
                p class="quiet" { (work_line(dossier)) }
            }
            div class="facts" {
                div { b { (areas) } (if areas == 1 { "turf area, " } else { "turf areas, " }) (units.area(m3("turf_m2"))) }
                div { b { (figure(m3("heads"), 0)) } "heads as recommended" }
                div { b { (stations) } (if stations == 1 { "station" } else { "stations" }) }
                div { b { (units.volume(m3("best_m3_yr"))) } "a year, of " (units.volume(m3("asfound_m3_yr"))) " as found" }
            }
            @if dossier.has_clock() {
                p class="mind" {
                    strong { "The clock must be reset. " }
                    "New nozzles without new run times leave the lawn dry or the soil soaked: key in the table “Clock” before leaving."
                }
            }
            (drawing.markup())
            (self.built.markup)
            div class="flow" { @for block in &self.flow { (block.markup) } }
        };
        let title = format!("Sheet of parcel {}", shortened(&dossier.id));
        page(&title, &format!("{STYLE}{}", paper.style()), &body, None)
    }
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

/// Width of a column of a list, at least \[mm\].
const LIST_MM: f64 = 88.0;

/// A list in columns: its items, those that matter most marked.
fn list(title: &str, items: &[(bool, String)], are_steps: bool, width_mm: f64) -> Block {
    let columns = (width_mm / LIST_MM).floor().max(1.0);
    // Numbers and the gap take a tenth.
    let lines: f64 = items
        .iter()
        .map(|(_, text)| lines(text, 0.9 * width_mm / columns) + 0.1)
        .sum();
    let style = format!("columns:{columns};column-gap:6mm");
    let entries = html! {
        @for (matters, text) in items {
            li { @if *matters { strong { (text) } } @else { (text) } }
        }
    };
    let markup = html! {
        section {
            h2 { (title) }
            @if are_steps { ol style=(style) { (entries) } } @else { ul style=(style) { (entries) } }
        }
    };
    Block {
        // Items are not cut: one column may be two lines longer.
        height_mm: HEADING_MM + LINE_MM * (lines / columns + 2.0),
        markup,
    }
}

fn steps(dossier: &Dossier, units: Units, width_mm: f64) -> Block {
    let new = dossier.walk.iter().any(|row| row.text("do") == "new head");
    let regulated = if dossier.bodies == "regulated" {
        "; bodies regulate, so it should not be lower than planned"
    } else {
        ""
    };
    let plain = |text: &str| (false, text.to_owned());
    let mut items = vec![plain(
        "Have buried services located and marked before anything is dug; shut the water off.",
    )];
    if new {
        items.push(plain(
            "Peg every new head by its tapes from the lettered points; move a peg rather than dig at a root or a pipe.",
        ));
    }
    items.extend([
        plain("Convert a station whole: two families on one valve never water evenly."),
        plain("Flush each lateral through the open bodies until it runs clear, far end last."),
        plain("Put a clean screen under every nozzle: slow nozzles clog first."),
        plain("Set every body plumb and to grade, its top level with the soil."),
        plain("Set the fixed left edge of each arc first, then turn the arc to its angle."),
        plain("Set the throw last; reduce it by no more than 25 %. A head that needs more wants another nozzle."),
        (
            false,
            format!(
                "Read the pressure at the far head of each station while it runs{regulated} (below {} coverage fails).",
                units.pressure(Some(172.0))
            ),
        ),
        plain("Run every station and look: no dry corner, nothing on walls, windows, road or path."),
        (
            true,
            "Reset the clock to the table “Clock”: minutes, cycles, soak, days, monthly percentages.".to_owned(),
        ),
        plain("Fill in the as_built columns of walk.csv and hand it back as asbuilt.csv."),
        plain("Come back after two weeks, and again after three months: aim, screens, dry spots, clock."),
    ]);
    list("Steps in the field", &items, true, width_mm)
}

fn cautions(dossier: &Dossier, units: Units, width_mm: f64) -> Block {
    let flags = dossier.parcel.text("flags");
    let has = |flag: &str| flags.split(';').any(|own| own == flag);
    let mut items = vec![(true, ESTIMATE.to_owned())];
    for (flag, text) in [
        (
            "pressure-unverified",
            "The pressure here is assumed: measure it at the tap before anything is bought.",
        ),
        (
            "as-found-assumed",
            "What is in the ground is assumed, not surveyed: look before you order.",
        ),
    ] {
        if has(flag) {
            items.push((true, text.to_owned()));
        }
    }
    let most = units.pressure(Some(550.0));
    items.push((
        false,
        format!("A static pressure above {most} must be reduced before the system."),
    ));
    items.extend(
        [
            "A drinking-water connection needs an approved backflow preventer; the local code governs.",
            "No water onto electrical equipment, pool pumps, windows, roads or paths.",
            "Reclaimed water: marked pipe and signs, no drinking-water fittings, no overspray, at night.",
            "On slopes: check valves in the low heads; stop where soil begins to wash.",
            "Slow nozzles need longer runs: check that all stations fit into the hours in which watering is allowed.",
            "Water in the lines freezes: drain or blow out before winter. Dig by hand near roots.",
            "Figures of this parcel are estimates from its drawing, not a measure of anybody's waste.",
        ]
        .map(|text| (false, text.to_owned())),
    );
    let mut block = list("Mind", &items, false, width_mm);
    if !flags.is_empty() {
        let flags = format!("Flags of the plan: {}.", flags.replace(';', ", "));
        block.height_mm += LINE_MM * (lines(&flags, width_mm) + 0.5);
        block.markup = html! { (block.markup) p class="quiet" { (flags) } };
    }
    block
}
