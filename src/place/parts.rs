//! How wide is the turf here? Splits a turf area into compact parts, strips and slivers.
//!
//! Where turf narrows, its boundary turns outward: a neck, an arm and a side yard all begin at a
//! reflex corner. The local width there is the distance from the corner to the boundary across.
//! The turf is cut along every such line that is no longer than asked; pieces that are narrow all
//! along become strips or slivers, and whatever else was cut off is put back. So the parts are
//! bounded by the turf's own boundary and by straight lines, their areas add up to the turf's, and
//! neither a shift nor a turn of the turf changes them.
//!
//! A piece of area A and perimeter P has, as a rectangle, the sides `P/4 ± √(P²/16 − A)`: its
//! length and its width. A taper is half as wide as its mouth and is left where it is.

use crate::shape::{Outline, Point, cut, inscribed_circle, simplified, square_distance_to_segment};

/// Digitiser's noise \[m\].
const NOISE_M: f64 = 0.15;
/// Smallest turn of a reflex corner \[degrees\].
const REFLEX_DEG: f64 = 12.0;
/// The boundary within this many widths along the ring is the corner's own side, not the other.
const OWN_SIDE_WIDTHS: f64 = 2.2;
/// A line's end moves to another reflex corner this near, as a share of the line.
const SNAP_FRAC: f64 = 0.35;
/// Lines from one corner differ by this much \[degrees\].
const APART_DEG: f64 = 40.0;
/// Most lines that are tried; a boundary that asks for more is not split.
const MOST_LINES: usize = 40;
/// Shortest arm that a designer treats apart \[m\], and in widths (common practice, no source).
const SHORTEST_ARM_M: f64 = 2.0;
const SHORTEST_ARM_WIDTHS: f64 = 1.2;
/// A strip is at least this share as wide as its mouth: a taper has half.
const TAPER_FRAC: f64 = 0.68;
/// The largest circle in a strip is at most this many of its widths across.
const SWELL: f64 = 1.5;
/// A part is an arm of its turf only when it is this much narrower than the turf's largest circle.
const ARM_FRAC: f64 = 0.65;
/// Turf narrower than this gets no overhead water \[m\] (common practice, no source: 4 ft).
pub const NARROWEST_M: f64 = 1.2;
/// Precision of inscribed circles \[m\].
const CIRCLE_M: f64 = 0.05;

/// What a part is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PartShape {
    /// Wide enough for heads all round.
    Compact,
    /// Long and narrow.
    Strip,
    /// Too narrow for overhead water: drip or none.
    Sliver,
}

/// A part of a turf area.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Its ground.
    pub outline: Outline,
    /// What it is.
    pub shape: PartShape,
    /// Its width as a rectangle of the same area and perimeter \[m\]; of a compact part the
    /// diameter of its largest circle.
    pub width_m: f64,
}

/// Splits a turf area, its largest circle `diameter_m` across, into parts; arms are strips up to
/// a local width of `widest_m`. A turf area without arms is one part.
#[must_use]
pub fn parts(outline: &Outline, diameter_m: f64, widest_m: f64) -> Vec<Part> {
    let width_m = as_rectangle(outline.area_m2(), outline.perimeter_m()).1;
    let whole = |shape, width_m| {
        vec![Part {
            outline: outline.clone(),
            shape,
            width_m,
        }]
    };
    if diameter_m < NARROWEST_M {
        return whole(PartShape::Sliver, width_m);
    }
    let strip_limit_m = widest_m.min(ARM_FRAC * diameter_m);
    let split = if strip_limit_m > NARROWEST_M {
        arms(outline, strip_limit_m)
    } else {
        None
    };
    let pieces = split.unwrap_or_else(|| vec![(outline.clone(), false)]);
    let mut parts = Vec::new();
    for (piece, is_arm) in pieces {
        let thinner = arms(&piece, NARROWEST_M);
        for (piece, is_thin) in thinner.unwrap_or_else(|| vec![(piece, false)]) {
            let (_, width_m) = as_rectangle(piece.area_m2(), piece.perimeter_m());
            let shape = if is_thin || (is_arm && width_m < NARROWEST_M) {
                PartShape::Sliver
            } else if is_arm || diameter_m <= widest_m {
                PartShape::Strip
            } else {
                PartShape::Compact
            };
            parts.push(Part {
                width_m: if shape == PartShape::Compact {
                    diameter_m
                } else {
                    width_m
                },
                outline: piece,
                shape,
            });
        }
    }
    parts
}

/// Length and width of the rectangle with an area and a perimeter \[m\]; a shape rounder than any
/// rectangle counts as a square.
fn as_rectangle(area_m2: f64, perimeter_m: f64) -> (f64, f64) {
    let quarter_m = perimeter_m / 4.0;
    let root_m = (quarter_m * quarter_m - area_m2).max(0.0).sqrt();
    let length_m = quarter_m + root_m;
    (length_m, area_m2 / length_m)
}

/// Cuts off all arms narrower than a limit; tells for each piece whether it is one. `None` where
/// there is none.
fn arms(outline: &Outline, limit_m: f64) -> Option<Vec<(Outline, bool)>> {
    let lines = narrow_lines(outline, limit_m);
    if lines.is_empty() || lines.len() > MOST_LINES {
        return None;
    }
    // A line that divides nothing by itself is left out.
    let chords: Vec<(Point, Point)> = lines.iter().map(|line| (line.from, line.to)).collect();
    let pieces = cut(outline, &chords).or_else(|| {
        let dividing: Vec<(Point, Point)> = chords
            .iter()
            .copied()
            .filter(|&chord| cut(outline, &[chord]).is_some())
            .collect();
        cut(outline, &dividing)
    })?;
    let borders = borders(&pieces, &chords);
    let group = narrow_groups(&pieces, &borders, limit_m);
    let kept: Vec<(Point, Point)> = borders
        .iter()
        .filter(|border| group[border.pieces.0] != group[border.pieces.1])
        .map(|border| border.chord)
        .collect();
    if kept.is_empty() {
        return None;
    }
    // A piece of the second cut is an arm when a piece of the first that is one lies in it.
    let arm_points: Vec<Point> = pieces
        .iter()
        .zip(&group)
        .filter(|&(_, &group)| group > 0)
        .map(|(piece, _)| inner_point(piece))
        .collect();
    let is_arm = |piece: &Outline| arm_points.iter().any(|&point| piece.contains(point));
    let parted = cut(outline, &kept)?;
    Some(
        parted
            .into_iter()
            .map(|piece| {
                let is_arm = is_arm(&piece);
                (piece, is_arm)
            })
            .collect(),
    )
}

fn inner_point(outline: &Outline) -> Point {
    inscribed_circle(outline, CIRCLE_M).0
}

/// A line across the turf at a reflex corner.
#[derive(Debug, Clone, Copy)]
struct Line {
    from: Point,
    to: Point,
    length_m: f64,
}

/// All lines across the turf that are no longer than a limit, none crossing another, the shortest
/// first.
fn narrow_lines(outline: &Outline, limit_m: f64) -> Vec<Line> {
    let walks: Vec<Walk> = outline.rings().iter().map(|ring| Walk::of(ring)).collect();
    let reflex: Vec<(usize, f64, Point)> = walks
        .iter()
        .enumerate()
        .flat_map(|(r, walk)| walk.reflex.iter().map(move |&(way_m, at)| (r, way_m, at)))
        .collect();
    let mut lines: Vec<Line> = Vec::new();
    for &(r, way_m, from) in &reflex {
        let mut found = across(&walks, r, way_m, from, limit_m);
        for (line, ring, end_m) in &mut found {
            let near = reflex
                .iter()
                .filter(|&&(other, _, at)| other == *ring && at != from)
                .map(|&(_, other_m, at)| (walks[*ring].apart_m(other_m, *end_m), at))
                .filter(|&(off_m, _)| off_m <= SNAP_FRAC * line.length_m)
                .min_by(|x, y| x.0.total_cmp(&y.0));
            if let Some((_, at)) = near {
                line.to = at;
                line.length_m = at.distance(from);
            }
        }
        lines.extend(
            found
                .into_iter()
                .map(|(line, _, _)| line)
                .filter(|line| line.length_m <= limit_m * 1.05 && is_inside(outline, line)),
        );
    }
    lines.sort_by(|a, b| a.length_m.total_cmp(&b.length_m));
    let mut kept: Vec<Line> = Vec::new();
    for line in lines {
        let is_new = kept.iter().all(|other| {
            let same = (line.from == other.to && line.to == other.from)
                || (line.from == other.from && line.to == other.to);
            !same && !cross(line.from, line.to, other.from, other.to)
        });
        if is_new {
            kept.push(line);
        }
    }
    kept
}

/// A ring with ways along it and its reflex corners.
struct Walk<'a> {
    ring: &'a [Point],
    reached_m: Vec<f64>,
    reflex: Vec<(f64, Point)>,
}

impl Walk<'_> {
    fn of(ring: &[Point]) -> Walk<'_> {
        let n = ring.len();
        let mut reached_m = vec![0.0];
        for i in 0..n {
            reached_m.push(reached_m[i] + ring[i].distance(ring[(i + 1) % n]));
        }
        let plain = simplified(ring, NOISE_M);
        let m = plain.len();
        let mut reflex = Vec::new();
        let mut from = 0;
        for k in 0..m {
            let (before, here, behind) = (plain[(k + m - 1) % m], plain[k], plain[(k + 1) % m]);
            let (into, out) = (here - before, behind - here);
            let turn = libm::atan2(into.cross(out), into.dot(out)).to_degrees();
            // The plain ring's points are points of the ring, in order.
            let Some(i) = (from..n).find(|&i| ring[i] == here) else {
                continue;
            };
            from = i + 1;
            if turn <= -REFLEX_DEG {
                reflex.push((reached_m[i], here));
            }
        }
        Walk {
            ring,
            reached_m,
            reflex,
        }
    }

    fn apart_m(&self, a_m: f64, b_m: f64) -> f64 {
        let d = (a_m - b_m).abs();
        d.min(self.reached_m[self.ring.len()] - d)
    }
}

/// The nearest places across from a corner, in directions that differ: the line, and the ring and
/// way of its end.
fn across(
    walks: &[Walk],
    r: usize,
    way_m: f64,
    from: Point,
    limit_m: f64,
) -> Vec<(Line, usize, f64)> {
    let mut found: Vec<(Line, usize, f64)> = Vec::new();
    for (ring, walk) in walks.iter().enumerate() {
        let n = walk.ring.len();
        for i in 0..n {
            let (a, b) = (walk.ring[i], walk.ring[(i + 1) % n]);
            if square_distance_to_segment(from, a, b) > limit_m * limit_m {
                continue;
            }
            let along = (b - a).unit();
            let t_m = (from - a).dot(along).clamp(0.0, a.distance(b));
            let to = a + along * t_m;
            let length_m = from.distance(to);
            let end_m = walk.reached_m[i] + t_m;
            let is_own_side =
                ring == r && walk.apart_m(end_m, way_m) < (OWN_SIDE_WIDTHS * length_m).max(0.3);
            if !is_own_side && length_m > 0.05 {
                found.push((Line { from, to, length_m }, ring, end_m));
            }
        }
    }
    found.sort_by(|x, y| {
        x.0.length_m
            .total_cmp(&y.0.length_m)
            .then(x.2.total_cmp(&y.2))
    });
    let mut kept: Vec<(Line, usize, f64)> = Vec::new();
    for candidate in found {
        let way = candidate.0.to - from;
        let is_apart = kept.iter().all(|other| {
            let old = other.0.to - from;
            libm::atan2(old.cross(way), old.dot(way)).to_degrees().abs() > APART_DEG
        });
        if is_apart && kept.len() < 3 {
            kept.push(candidate);
        }
    }
    kept
}

/// Whether a line runs inside the turf from end to end.
fn is_inside(outline: &Outline, line: &Line) -> bool {
    let at = |t: f64| line.from + (line.to - line.from) * t;
    [0.05, 0.5, 0.95].iter().all(|&t| outline.contains(at(t)))
        && outline
            .edges()
            .all(|(a, b)| !cross(at(0.001), at(0.999), a, b))
}

/// Whether two segments cross; touching at an end is no crossing.
fn cross(a: Point, b: Point, c: Point, d: Point) -> bool {
    let side = |p: Point, q: Point, r: Point| (q - p).cross(r - p);
    let (c1, d1) = (side(a, b, c), side(a, b, d));
    let (a1, b1) = (side(c, d, a), side(c, d, b));
    let apart = |x: f64, y: f64| (x > 1e-9 && y < -1e-9) || (x < -1e-9 && y > 1e-9);
    apart(c1, d1) && apart(a1, b1)
}

/// A line between two pieces.
struct Border {
    chord: (Point, Point),
    pieces: (usize, usize),
}

fn borders(pieces: &[Outline], chords: &[(Point, Point)]) -> Vec<Border> {
    chords
        .iter()
        .filter_map(|&chord| {
            let mut touching = pieces.iter().enumerate().filter(|(_, piece)| {
                piece
                    .edges()
                    .any(|edge| edge == chord || edge == (chord.1, chord.0))
            });
            let (first, _) = touching.next()?;
            let (second, _) = touching.next()?;
            Some(Border {
                chord,
                pieces: (first, second),
            })
        })
        .collect()
}

/// For each piece the number of its arm, from 1; 0 for the rest of the turf.
fn narrow_groups(pieces: &[Outline], borders: &[Border], limit_m: f64) -> Vec<usize> {
    let circles: Vec<f64> = pieces
        .iter()
        .map(|piece| 2.0 * inscribed_circle(piece, CIRCLE_M).1)
        .collect();
    let is_narrow: Vec<bool> = circles.iter().map(|&d| d <= 1.08 * limit_m).collect();
    let mut group = vec![0; pieces.len()];
    let mut next = 0;
    for start in 0..pieces.len() {
        if !is_narrow[start] || group[start] > 0 {
            continue;
        }
        next += 1;
        let mut members = vec![start];
        group[start] = next;
        let mut k = 0;
        while k < members.len() {
            for border in borders {
                let (a, b) = border.pieces;
                for (here, there) in [(a, b), (b, a)] {
                    if here == members[k] && is_narrow[there] && group[there] == 0 {
                        group[there] = next;
                        members.push(there);
                    }
                }
            }
            k += 1;
        }
        if !is_arm(pieces, borders, &group, next, &members, &circles) {
            // Marked so that no other piece takes them up; cleared below.
            for &member in &members {
                group[member] = usize::MAX;
            }
        }
    }
    for number in &mut group {
        if *number == usize::MAX {
            *number = 0;
        }
    }
    group
}

fn is_arm(
    pieces: &[Outline],
    borders: &[Border],
    group: &[usize],
    number: usize,
    members: &[usize],
    circles: &[f64],
) -> bool {
    let mut perimeter_m: f64 = members.iter().map(|&i| pieces[i].perimeter_m()).sum();
    let area_m2: f64 = members.iter().map(|&i| pieces[i].area_m2()).sum();
    let mut mouths_m = 0.0_f64;
    let mut mouths = 0;
    for border in borders {
        let (a, b) = border.pieces;
        let length_m = border.chord.0.distance(border.chord.1);
        match (group[a] == number, group[b] == number) {
            (true, true) => perimeter_m -= 2.0 * length_m,
            (false, false) => {}
            _ => {
                mouths += 1;
                mouths_m = mouths_m.max(length_m);
            }
        }
    }
    let (length_m, width_m) = as_rectangle(area_m2, perimeter_m);
    let widest_m = members.iter().map(|&i| circles[i]).fold(0.0, f64::max);
    mouths > 0
        && length_m >= SHORTEST_ARM_M.max(SHORTEST_ARM_WIDTHS * width_m)
        && width_m >= TAPER_FRAC * mouths_m
        && widest_m <= SWELL * width_m
}

/// The turf without its slivers, if the rest is one piece: cut along the slivers' mouths alone.
pub(super) fn without(outline: &Outline, found: &[Part]) -> Option<Outline> {
    let wet: Vec<&Part> = found
        .iter()
        .filter(|part| part.shape != PartShape::Sliver)
        .collect();
    let mouths: Vec<(Point, Point)> = found
        .iter()
        .filter(|part| part.shape == PartShape::Sliver)
        .flat_map(|part| part.outline.edges())
        .filter(|&(a, b)| {
            wet.iter()
                .any(|other| other.outline.edges().any(|edge| edge == (b, a)))
        })
        .collect();
    let pieces = cut(outline, &mouths)?;
    let wet_point = inner_point(&wet.first()?.outline);
    let rest = pieces.into_iter().find(|piece| piece.contains(wet_point))?;
    let wet_m2: f64 = wet.iter().map(|part| part.outline.area_m2()).sum();
    ((rest.area_m2() - wet_m2).abs() < 1e-6 * outline.area_m2()).then_some(rest)
}
