//! The plan drawing: lawns, heads with their arcs, stations and pipes, north up, with a scale bar.

use maud::{Markup, html};

use super::dossier::{Area, Dossier};
use crate::read::planned::PlannedRow;
use crate::shape::{Outline, Point};
use crate::units::FOOT_M;
use crate::write::measure::Units;
use crate::write::page::{FOUND, INK, PLANNED, QUIET, at};

/// Units of the drawing in a millimetre of paper.
const UNITS_MM: f64 = 4.0;
const MARGIN: f64 = 34.0;
/// Letters of a head's number: 7.2 pt.
const LABEL: f64 = 10.2;
/// Width of a digit beside its height, in a wide face.
const DIGIT: f64 = 0.62;
/// A number farther from its mark than this is tied to it by a line.
const TIED: f64 = 14.0;
/// Half of the square around a head or a valve that no number covers.
const MARK: f64 = 4.5;
/// The least height of a drawing with its caption \[mm\].
pub(super) const LEAST_MM: f64 = 55.0;
/// Its caption \[mm\]: two lines of A4.
const CAPTION_MM: f64 = 8.5;

/// Ground to paper.
struct Sheet {
    west: f64,
    north: f64,
    scale: f64,
    width: f64,
    height: f64,
    inset: f64,
}

impl Sheet {
    /// Fits a box of points onto paper of a width and a largest height.
    fn around(points: impl Iterator<Item = Point>, width: f64, most_height: f64) -> Option<Sheet> {
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
        let scale = ((width - 2.0 * MARGIN) / wide).min((most_height - 2.0 * MARGIN) / tall);
        let least = (LEAST_MM - CAPTION_MM) * UNITS_MM;
        Some(Sheet {
            west: low.x,
            north: high.y,
            scale,
            width,
            height: (tall * scale + 2.0 * MARGIN).max(least),
            inset: (width - wide * scale) / 2.0,
        })
    }

    fn place(&self, point: Point) -> (f64, f64) {
        (
            self.inset + (point.x - self.west) * self.scale,
            MARGIN + (self.north - point.y) * self.scale,
        )
    }

    fn x(&self, point: Point) -> String {
        at(self.place(point).0)
    }

    fn y(&self, point: Point) -> String {
        at(self.place(point).1)
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
pub(super) struct Drawing {
    markup: Markup,
    unnamed: usize,
}

impl Drawing {
    /// Draws it in a width and a largest height, its caption included \[mm\].
    pub(super) fn of(dossier: &Dossier, width_mm: f64, height_mm: f64, units: Units) -> Drawing {
        let height = (height_mm - CAPTION_MM) * UNITS_MM;
        let Some(sheet) = sheet_of(dossier, width_mm * UNITS_MM, height) else {
            return Drawing {
                markup: html! { p { "There is nothing to draw." } },
                unnamed: 0,
            };
        };
        let (labels, unnamed) = labels(dossier, &sheet);
        Drawing {
            markup: figure(dossier, &sheet, units, &labels, unnamed),
            unnamed,
        }
    }

    /// The drawing with its caption.
    pub(super) fn markup(&self) -> &Markup {
        &self.markup
    }

    /// Heads for whose number there is no room.
    pub(super) fn unnamed(&self) -> usize {
        self.unnamed
    }
}

fn sheet_of(dossier: &Dossier, width: f64, most_height: f64) -> Option<Sheet> {
    let lawns = dossier.areas.iter().flat_map(|area| &area.outlines);
    let corners = lawns.flat_map(Outline::outer).copied();
    let throws = dossier.areas.iter().flat_map(|area| &area.throws);
    let reach = throws.flat_map(|row| dossier.outlines_of(row));
    let reach: Vec<Point> = reach.flat_map(|outline| outline.outer().clone()).collect();
    Sheet::around(corners.chain(reach), width, most_height)
}

fn head_places<'a>(
    dossier: &'a Dossier,
    area: &'a Area,
) -> impl Iterator<Item = (&'a PlannedRow, Point)> {
    let heads = area.heads.iter();
    heads.filter_map(|row| Some((row, dossier.point(&row.geometry["coordinates"])?)))
}

/// A box on the paper: left, top, right, bottom.
type Rect = [f64; 4];

fn overlap(one: &Rect, other: &Rect) -> bool {
    one[0] < other[2] && other[0] < one[2] && one[1] < other[3] && other[1] < one[3]
}

/// A number beside its mark: where its letters begin.
struct Label {
    x: f64,
    y: f64,
    text: String,
    size: f64,
    /// From where to where a line ties it to a mark that is not beside it.
    tie: Option<[(f64, f64); 2]>,
}

impl Label {
    fn in_box(own: Rect, text: &str, size: f64, mark: (f64, f64)) -> Label {
        let near = (mark.0.clamp(own[0], own[2]), mark.1.clamp(own[1], own[3]));
        let away = (near.0 - mark.0).hypot(near.1 - mark.1);
        Label {
            x: own[0],
            y: own[3] - 0.22 * size,
            text: text.to_owned(),
            size,
            tie: (away > TIED).then_some([mark, near]),
        }
    }
}

/// Names of stations, and numbers of heads, beside their marks where they cover no other mark and no
/// other name; how many heads have no such place.
fn labels(dossier: &Dossier, sheet: &Sheet) -> (Vec<Label>, usize) {
    let around = |(x, y): (f64, f64), reach: f64| [x - reach, y - reach, x + reach, y + reach];
    let heads: Vec<(String, (f64, f64))> = dossier
        .areas
        .iter()
        .flat_map(|area| head_places(dossier, area))
        .filter(|(row, _)| dossier.is_walked(row.text("head_id")))
        .map(|(row, place)| {
            let number = row.text("head_id").rsplit('/').next().unwrap_or("");
            (number.to_owned(), sheet.place(place))
        })
        .collect();
    let valves: Vec<(String, (f64, f64))> = dossier
        .worked_stations()
        .filter_map(|row| {
            let place = dossier.point(&row.geometry["coordinates"])?;
            Some((dossier.station_name(row), sheet.place(place)))
        })
        .collect();
    let tapes = dossier
        .areas
        .iter()
        .flat_map(|area| tape_letters(sheet, area));
    let mut taken: Vec<Rect> = heads
        .iter()
        .chain(&valves)
        .map(|(_, place)| around(*place, MARK))
        .chain(tapes.map(|letter| around(sheet.place(letter.2), 9.0)))
        .collect();
    let mut labels = Vec::new();
    let mut unnamed = 0;
    for (number, area) in (1..).zip(&dossier.areas) {
        if let (true, Some(corner)) = (dossier.areas.len() > 1, northernmost(area)) {
            let (text, size) = (format!("Area {number}"), 1.3 * LABEL);
            if let Some(own) = free_place(&text, sheet.place(corner), size, sheet, &taken) {
                labels.push(Label {
                    tie: None,
                    ..Label::in_box(own, &text, size, sheet.place(corner))
                });
                taken.push(own);
            }
        }
    }
    // Heads first: a station can be told by its pipes, and has more room around the lawn.
    let all = heads.iter().map(|head| (head, true));
    for ((text, place), is_head) in all.chain(valves.iter().map(|valve| (valve, false))) {
        let size = if is_head { LABEL } else { LABEL + 0.6 };
        match free_place(text, *place, size, sheet, &taken) {
            Some(own) => {
                labels.push(Label::in_box(own, text, size, *place));
                taken.push(own);
            }
            None if is_head => unnamed += 1,
            // A station that is not named on the paper cannot be found: it covers what is below.
            None => labels.push(Label {
                x: place.0 + 7.0,
                y: place.1 + 12.0,
                text: text.clone(),
                size,
                tie: None,
            }),
        }
    }
    (labels, unnamed)
}

/// The northernmost corner of a turf area.
fn northernmost(area: &Area) -> Option<Point> {
    let corners = area.outlines.iter().flat_map(Outline::outer).copied();
    corners.max_by(|a, b| a.y.total_cmp(&b.y))
}

/// A box for a text near a mark: right of it, left, above, below, at the corners, then farther away.
fn free_place(
    text: &str,
    (x, y): (f64, f64),
    size: f64,
    sheet: &Sheet,
    taken: &[Rect],
) -> Option<Rect> {
    let (wide, tall) = (text.chars().count() as f64 * DIGIT * size, size);
    for away in [6.0, 9.0, 13.0, 19.0, 26.0, 34.0] {
        let right = x + away;
        let left = x - away - wide;
        let (above, below) = (y - away - tall, y + away);
        let (middle_x, middle_y) = (x - wide / 2.0, y - tall / 2.0);
        for (left, top) in [
            (right, y - tall),
            (left, y - tall),
            (right, y),
            (left, y),
            (right, middle_y),
            (left, middle_y),
            (middle_x, above),
            (middle_x, below),
            (right, above),
            (left, above),
            (right, below),
            (left, below),
        ] {
            let own = [left, top, left + wide, top + tall];
            let is_inside =
                left >= 0.0 && top >= 0.0 && own[2] <= sheet.width && own[3] <= sheet.height;
            if is_inside && !taken.iter().any(|other| overlap(&own, other)) {
                return Some(own);
            }
        }
    }
    None
}

fn figure(
    dossier: &Dossier,
    sheet: &Sheet,
    units: Units,
    labels: &[Label],
    unnamed: usize,
) -> Markup {
    let areas = &dossier.areas;
    let millimetres = |units: f64| format!("{}mm", at(units / UNITS_MM));
    html! {
        figure {
            svg xmlns="http://www.w3.org/2000/svg" viewBox=(format!("0 0 {} {}", at(sheet.width), at(sheet.height)))
                width=(millimetres(sheet.width)) height=(millimetres(sheet.height))
                role="img" aria-label="Plan: lawns, heads with their arcs, stations and pipes"
                font-family="'Liberation Sans', Arial, system-ui, sans-serif" {
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
                @for pipe in &dossier.laterals { (pipe_line(dossier, sheet, pipe)) }
                @for area in areas {
                    @for (row, place) in head_places(dossier, area) {
                        (head(sheet, row, place))
                    }
                    @for &place in &area.capped {
                        (crossed(sheet, place))
                    }
                    @for (name, place, letter) in tape_letters(sheet, area) {
                        (tape_mark(sheet, place, letter, &name))
                    }
                }
                @for row in &dossier.stations {
                    @if let Some(place) = dossier.point(&row.geometry["coordinates"]) {
                        (valve(sheet, place))
                    }
                }
                @for label in labels { (letters(label)) }
                (north(sheet.width - 26.0, 26.0))
                (scale_bar(sheet, units))
            }
            figcaption class="quiet" {
                "Plan. North is up. Dots are heads, the wedge on each its arc; fans are the ground they water; "
                "squares are valves with their station; thin dark lines are new pipes; A and B are where the tape starts."
                @if areas.iter().any(|area| !area.capped.is_empty()) { " Crosses are heads that are capped or taken out." }
                @if areas.len() > 1 { " Head 2.7 of the list is number 7 on area 2." }
                @if let (Some(least), Some(most)) = throw_range(areas) {
                    " Throws " (units.length(Some(least))) " to " (units.length(Some(most))) "."
                }
                @if unnamed > 0 {
                    " " (unnamed) " heads stand too close for a number: find them by their tapes."
                }
            }
        }
    }
}

/// The tape's ends of a turf area with work: letter, point, and where the letter stands.
fn tape_letters(sheet: &Sheet, area: &Area) -> Vec<(String, Point, Point)> {
    const AWAY: f64 = 20.0;
    let middle = middle(&area.outlines);
    let letter = |(name, place): &(String, Point)| {
        let (name, place) = (name.clone(), *place);
        let out = place - middle;
        let length = out.norm();
        let out = if length > 0.0 {
            out * (1.0 / length)
        } else {
            Point::new(0.0, 1.0)
        };
        (name, place, place + out * (AWAY / sheet.scale))
    };
    area.fixed.iter().map(letter).collect()
}

/// Where the lawns lie, roughly.
fn middle(outlines: &[Outline]) -> Point {
    let Some((low, high)) = outlines.first().map(Outline::bounds) else {
        return Point::new(0.0, 0.0);
    };
    (low + high) * 0.5
}

/// A letter beside the lawn, tied to its point by a short line.
fn tape_mark(sheet: &Sheet, place: Point, letter: Point, name: &str) -> Markup {
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
    at(sheet.place(place).1 + down)
}

fn throw_range(areas: &[Area]) -> (Option<f64>, Option<f64>) {
    let heads = areas.iter().flat_map(|area| &area.heads);
    let throws: Vec<f64> = heads.filter_map(|row| row.number("radius_m")).collect();
    (
        throws.iter().copied().reduce(f64::min),
        throws.iter().copied().reduce(f64::max),
    )
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
    at(sheet.place(place).0 + right)
}

fn letters(label: &Label) -> Markup {
    html! {
        @if let Some([(x1, y1), (x2, y2)]) = label.tie {
            line x1=(at(x1)) y1=(at(y1)) x2=(at(x2)) y2=(at(y2)) stroke=(QUIET) stroke-width="0.8" {}
        }
        text x=(at(label.x)) y=(at(label.y)) font-size=(at(label.size)) fill=(INK)
            stroke="#ffffff" stroke-width="2.4" paint-order="stroke" { (label.text) }
    }
}

fn valve(sheet: &Sheet, place: Point) -> Markup {
    html! {
        rect x=(at_x(sheet, place, -5.0)) y=(at_y(sheet, place, -5.0)) width="10" height="10"
            fill="#ffffff" stroke=(INK) stroke-width="1.6" {}
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
    let wanted = sheet.width / 5.0 / sheet.scale / unit_m;
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
