//! The plan drawing: lawns, heads with their arcs, stations and pipes, north up, with a scale bar.

use maud::{Markup, html};

use super::dossier::{Area, Dossier};
use crate::read::planned::PlannedRow;
use crate::shape::{Outline, Point};
use crate::units::FOOT_M;
use crate::write::measure::Units;
use crate::write::page::{FOUND, INK, PLANNED, QUIET, at};

/// The drawing's width, and its largest height; 4 units are a millimetre on A4.
const WIDTH: f64 = 720.0;
const MOST_HEIGHT: f64 = 430.0;
const LEAST_HEIGHT: f64 = 170.0;
const MARGIN: f64 = 34.0;
/// Heads nearer than this on paper get no number of their own.
const LABEL_SPACE: f64 = 17.0;
/// One parcel with many areas is drawn area by area too when its heads would be nearer than this.
const CROWDED: f64 = 26.0;

/// Ground to paper.
struct Sheet {
    west: f64,
    north: f64,
    scale: f64,
    height: f64,
    inset: f64,
}

impl Sheet {
    /// Fits a box of points onto the paper.
    fn around(points: impl Iterator<Item = Point>) -> Option<Sheet> {
        let mut bounds: Option<(Point, Point)> = None;
        for point in points {
            let (low, high) = bounds.unwrap_or((point, point));
            bounds = Some((
                Point::new(low.x.min(point.x), low.y.min(point.y)),
                Point::new(high.x.max(point.x), high.y.max(point.y)),
            ));
        }
        let (low, high) = bounds?;
        let (wide, tall) = ((high.x - low.x).max(1.0), (high.y - low.y).max(1.0));
        let scale = ((WIDTH - 2.0 * MARGIN) / wide).min((MOST_HEIGHT - 2.0 * MARGIN) / tall);
        Some(Sheet {
            west: low.x,
            north: high.y,
            scale,
            height: (tall * scale + 2.0 * MARGIN).max(LEAST_HEIGHT),
            inset: (WIDTH - wide * scale) / 2.0,
        })
    }

    fn x(&self, point: Point) -> String {
        at(self.inset + (point.x - self.west) * self.scale)
    }

    fn y(&self, point: Point) -> String {
        at(MARGIN + (self.north - point.y) * self.scale)
    }

    fn path(&self, outlines: &[Outline]) -> String {
        let mut path = String::new();
        for ring in outlines.iter().flat_map(Outline::rings) {
            for (place, &point) in ring.iter().enumerate() {
                path.push_str(if place == 0 { "M" } else { "L" });
                path.push_str(&format!("{} {}", self.x(point), self.y(point)));
            }
            path.push('Z');
        }
        path
    }
}

/// The parcel as one drawing.
pub(super) fn overview(dossier: &Dossier, units: Units) -> Markup {
    let all: Vec<&Area> = dossier.areas.iter().collect();
    match sheet_of(dossier, &all) {
        Some(sheet) => figure(dossier, &all, &sheet, units, "Plan"),
        None => html! { p { "There is nothing to draw." } },
    }
}

/// Where the drawing of the parcel is crowded, a drawing of each turf area.
pub(super) fn details(dossier: &Dossier, units: Units) -> Markup {
    let all: Vec<&Area> = dossier.areas.iter().collect();
    let crowded = all.len() > 1
        && sheet_of(dossier, &all)
            .is_some_and(|sheet| nearest_heads_m(dossier, &all) * sheet.scale < CROWDED);
    html! {
        @if crowded {
            @for (number, area) in all.iter().enumerate().filter(|(_, area)| !area.heads.is_empty()) {
                @if let Some(sheet) = sheet_of(dossier, &[*area]) {
                    (figure(dossier, &[*area], &sheet, units, &format!("Area {}", number + 1)))
                }
            }
        }
    }
}

fn sheet_of(dossier: &Dossier, areas: &[&Area]) -> Option<Sheet> {
    let lawns = areas.iter().flat_map(|area| &area.outlines);
    let corners = lawns.flat_map(Outline::outer).copied();
    let throws = areas.iter().flat_map(|area| &area.throws);
    let reach = throws.flat_map(|row| dossier.outlines_of(row));
    let reach: Vec<Point> = reach.flat_map(|outline| outline.outer().clone()).collect();
    Sheet::around(corners.chain(reach))
}

/// The median distance from a head to its nearest neighbour \[m\].
fn nearest_heads_m(dossier: &Dossier, areas: &[&Area]) -> f64 {
    let mut nearest: Vec<f64> = Vec::new();
    for area in areas {
        let places: Vec<Point> = head_places(dossier, area).map(|(_, place)| place).collect();
        for (at, place) in places.iter().enumerate() {
            let others = places.iter().enumerate().filter(|&(other, _)| other != at);
            let least = others
                .map(|(_, other)| place.distance(*other))
                .fold(f64::INFINITY, f64::min);
            if least.is_finite() {
                nearest.push(least);
            }
        }
    }
    nearest.sort_by(f64::total_cmp);
    nearest
        .get(nearest.len() / 2)
        .copied()
        .unwrap_or(f64::INFINITY)
}

fn head_places<'a>(
    dossier: &'a Dossier,
    area: &'a Area,
) -> impl Iterator<Item = (&'a PlannedRow, Point)> {
    let heads = area.heads.iter();
    heads.filter_map(|row| Some((row, dossier.point(&row.geometry["coordinates"])?)))
}

/// Names of heads where there is room for them.
fn labels(dossier: &Dossier, areas: &[&Area], sheet: &Sheet) -> Vec<(Point, String)> {
    let mut labels: Vec<(Point, String)> = Vec::new();
    for area in areas {
        for (row, place) in head_places(dossier, area) {
            let free =
                |other: &(Point, String)| other.0.distance(place) * sheet.scale > LABEL_SPACE;
            if labels.iter().all(free) {
                let label = dossier.head_label(row.text("turf_id"), row.text("head_id"));
                labels.push((place, label));
            }
        }
    }
    labels
}

fn figure(dossier: &Dossier, areas: &[&Area], sheet: &Sheet, units: Units, title: &str) -> Markup {
    let stations = stations_of(dossier, areas);
    let labels = labels(dossier, areas, sheet);
    html! {
        figure {
            svg xmlns="http://www.w3.org/2000/svg" viewBox=(format!("0 0 {WIDTH} {}", at(sheet.height)))
                role="img" aria-label=(format!("{title}: lawns, heads with their arcs, stations and pipes"))
                font-family="system-ui, sans-serif" {
                @for outline in dossier.outline() {
                    path d=(sheet.path(&[outline])) fill="none" stroke=(QUIET) stroke-width="1"
                        stroke-dasharray="9 3 2 3" {}
                }
                @for area in areas {
                    path d=(sheet.path(&area.outlines)) fill="#edf2e4" fill-rule="evenodd"
                        stroke="#5d7248" stroke-width="1.6" {}
                }
                @for row in areas.iter().flat_map(|area| &area.throws) {
                    path d=(sheet.path(&dossier.outlines_of(row))) fill=(PLANNED) fill-opacity="0.05"
                        stroke=(PLANNED) stroke-opacity="0.55" stroke-width="0.8" {}
                }
                @for pipe in &dossier.laterals {
                    @if stations.iter().any(|row| row.text("station_id") == pipe.text("station_id")) {
                        (pipe_line(dossier, sheet, pipe))
                    }
                }
                @for area in areas {
                    @for (row, place) in head_places(dossier, area) {
                        (head(sheet, row, place))
                    }
                    @for &place in &area.capped {
                        (crossed(sheet, place))
                    }
                    @if let (Some(fixed), false) = (area.fixed, area.heads.is_empty()) {
                        @for (name, place) in ["A", "B"].into_iter().zip(fixed) {
                            (tape_mark(sheet, place, middle(&area.outlines), name))
                        }
                    }
                }
                @for (place, label) in &labels { (letters(sheet, *place, 7.0, -6.0, "9.5", label)) }
                @for row in &stations {
                    @if let Some(place) = dossier.point(&row.geometry["coordinates"]) {
                        (valve(sheet, row, place))
                    }
                }
                (north(WIDTH - 26.0, 26.0))
                (scale_bar(sheet, units))
            }
            figcaption class="quiet" {
                (title) ". North is up. Dots are heads, the wedge on each its arc; fans are the ground they water; "
                "squares are valves with their station; thin dark lines are new pipes; A and B are where the tape starts."
                @if areas.iter().any(|area| !area.capped.is_empty()) { " Crosses are heads that are capped or taken out." }
                @if let (Some(least), Some(most)) = throw_range(areas) {
                    " Throws " (units.length(Some(least))) " to " (units.length(Some(most))) "."
                }
            }
        }
    }
}

/// Where the lawns lie, roughly.
fn middle(outlines: &[Outline]) -> Point {
    let Some((low, high)) = outlines.first().map(Outline::bounds) else {
        return Point::new(0.0, 0.0);
    };
    (low + high) * 0.5
}

/// A letter beside the lawn, tied to its point by a short line.
fn tape_mark(sheet: &Sheet, place: Point, middle: Point, name: &str) -> Markup {
    const AWAY: f64 = 20.0;
    let out = place - middle;
    let length = out.norm();
    let out = if length > 0.0 {
        out * (1.0 / length)
    } else {
        Point::new(0.0, 1.0)
    };
    let letter = place + out * (AWAY / sheet.scale);
    html! {
        line x1=(sheet.x(place)) y1=(sheet.y(place)) x2=(sheet.x(letter)) y2=(sheet.y(letter))
            stroke=(INK) stroke-width="1.2" {}
        circle cx=(sheet.x(letter)) cy=(sheet.y(letter)) r="8.5" fill="#ffffff" stroke=(INK)
            stroke-width="1.4" {}
        text x=(sheet.x(letter)) y=(at_y(sheet, letter, 4.0)) font-size="11" font-weight="700"
            text-anchor="middle" fill=(INK) { (name) }
    }
}

/// A head that is capped.
fn crossed(sheet: &Sheet, place: Point) -> Markup {
    const ARM: f64 = 4.0;
    html! {
        @for sign in [-1.0, 1.0] {
            line x1=(at_x(sheet, place, -ARM)) y1=(at_y(sheet, place, -ARM * sign))
                x2=(at_x(sheet, place, ARM)) y2=(at_y(sheet, place, ARM * sign))
                stroke=(FOUND) stroke-width="1.8" {}
        }
    }
}

fn at_y(sheet: &Sheet, place: Point, down: f64) -> String {
    at(MARGIN + (sheet.north - place.y) * sheet.scale + down)
}

fn throw_range(areas: &[&Area]) -> (Option<f64>, Option<f64>) {
    let heads = areas.iter().flat_map(|area| &area.heads);
    let throws: Vec<f64> = heads.filter_map(|row| row.number("radius_m")).collect();
    (
        throws.iter().copied().reduce(f64::min),
        throws.iter().copied().reduce(f64::max),
    )
}

/// The stations that feed one of the areas.
fn stations_of<'a>(dossier: &'a Dossier, areas: &[&Area]) -> Vec<&'a PlannedRow> {
    let feeds = |row: &&PlannedRow| {
        let mut ids = row.text("turf_ids").split(';');
        ids.any(|id| areas.iter().any(|area| area.id == id))
    };
    dossier.stations.iter().filter(feeds).collect()
}

fn pipe_line(dossier: &Dossier, sheet: &Sheet, pipe: &PlannedRow) -> Markup {
    let ends = &pipe.geometry["coordinates"];
    let (from, to) = (dossier.point(&ends[0]), dossier.point(&ends[1]));
    html! {
        @if let (Some(from), Some(to)) = (from, to) {
            line x1=(sheet.x(from)) y1=(sheet.y(from)) x2=(sheet.x(to)) y2=(sheet.y(to))
                stroke=(INK) stroke-width="1.1" {}
        }
    }
}

/// A dot with a wedge: the arc in small, so that it shows where throws overlap.
fn head(sheet: &Sheet, row: &PlannedRow, place: Point) -> Markup {
    const WEDGE: f64 = 9.0;
    let wedge = row.number("arc_deg").zip(row.number("azimuth_deg"));
    let wedge = wedge.filter(|(arc, _)| *arc < 360.0).map(|(arc, start)| {
        let end = |bearing: f64| place + Point::along_bearing(bearing) * (WEDGE / sheet.scale);
        let (from, to) = (end(start), end(start + arc));
        let large = i32::from(arc > 180.0);
        format!(
            "M{} {}L{} {}A{WEDGE} {WEDGE} 0 {large} 1 {} {}Z",
            sheet.x(place),
            sheet.y(place),
            sheet.x(from),
            sheet.y(from),
            sheet.x(to),
            sheet.y(to)
        )
    });
    html! {
        @if let Some(wedge) = wedge {
            path d=(wedge) fill=(PLANNED) fill-opacity="0.85" {}
        } @else if row.text("pattern") == "strip" {
            rect x=(at_x(sheet, place, -6.0)) y=(at_y(sheet, place, -4.0)) width="12" height="8"
                fill=(PLANNED) fill-opacity="0.85" {}
        } @else {
            circle cx=(sheet.x(place)) cy=(sheet.y(place)) r="7" fill=(PLANNED) fill-opacity="0.85" {}
        }
        circle cx=(sheet.x(place)) cy=(sheet.y(place)) r="2.4" fill="#ffffff" stroke=(INK)
            stroke-width="1.2" {}
    }
}

fn at_x(sheet: &Sheet, place: Point, right: f64) -> String {
    at(sheet.inset + (place.x - sheet.west) * sheet.scale + right)
}

fn letters(sheet: &Sheet, place: Point, right: f64, down: f64, size: &str, text: &str) -> Markup {
    html! {
        text x=(at_x(sheet, place, right)) y=(at_y(sheet, place, down)) font-size=(size) fill=(INK)
            stroke="#ffffff" stroke-width="2.4" paint-order="stroke" { (text) }
    }
}

fn valve(sheet: &Sheet, row: &PlannedRow, place: Point) -> Markup {
    html! {
        rect x=(at_x(sheet, place, -5.0)) y=(at_y(sheet, place, -5.0)) width="10" height="10"
            fill="#ffffff" stroke=(INK) stroke-width="1.6" {}
        (letters(sheet, place, 7.0, 12.0, "10.5", &station_name(row)))
    }
}

/// `S3`, with the name in the field where somebody gave one.
pub(super) fn station_name(row: &PlannedRow) -> String {
    let number = row.text("station_id").rsplit('/').next().unwrap_or("");
    match row.text("name") {
        "" => number.to_owned(),
        name => format!("{number} ({name})"),
    }
}

fn north(x: f64, y: f64) -> Markup {
    html! {
        path d=(format!("M{x} {}L{} {}L{x} {}L{} {}Z", y - 16.0, x + 8.0, y + 12.0, y + 6.0, x - 8.0, y + 12.0))
            fill=(INK) {}
        text x=(x) y=(y + 25.0) font-size="12" font-weight="700" text-anchor="middle" fill=(INK) { "N" }
    }
}

/// A bar of a round length, about a fifth of the width.
fn scale_bar(sheet: &Sheet, units: Units) -> Markup {
    let unit_m = match units {
        Units::Si => 1.0,
        Units::Us => FOOT_M,
    };
    let wanted = WIDTH / 5.0 / sheet.scale / unit_m;
    let power = 10_f64.powi(wanted.log10().floor() as i32);
    let steps = [5.0, 2.0, 1.0].map(|step| step * power);
    let length = steps
        .into_iter()
        .find(|step| *step <= wanted)
        .unwrap_or(power);
    let paper = length * unit_m * sheet.scale;
    let (x, y) = (12.0, sheet.height - 12.0);
    let name = match units {
        Units::Si => "m",
        Units::Us => "ft",
    };
    html! {
        rect x=(x) y=(at(y - 5.0)) width=(at(paper)) height="5" fill="#ffffff" stroke=(INK) {}
        rect x=(x) y=(at(y - 5.0)) width=(at(paper / 2.0)) height="5" fill=(INK) {}
        text x=(x) y=(at(y - 9.0)) font-size="11" fill=(INK) { "0" }
        text x=(at(x + paper)) y=(at(y - 9.0)) font-size="11" text-anchor="middle" fill=(INK) {
            (at(length)) " " (name)
        }
    }
}
