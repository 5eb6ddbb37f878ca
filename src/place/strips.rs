//! Rows of strip patterns in a narrow part.
//!
//! Every straight piece of the part is laid with rectangles end to end: one row over the whole
//! width, by heads along either edge or on the middle line, or two rows from opposed edges. A row
//! is made of long strips and of end strips at its ends, all shortened by the same share so that
//! they cover the piece without gaps; where the offered lengths do not add up they lap equally.

use super::axis::{self, Piece};
use super::{Head, Pattern, Role};
use crate::catalogue::{Family, FlowFollows, StripKind};
use crate::shape::{Outline, Point};

/// Where the heads of a row stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Lane {
    Left,
    Right,
    Middle,
    /// Two rows, from both edges.
    Opposed,
}

/// Largest ratio of rates on a station (common practice, no source).
const MATCHED_RATIO: f64 = 1.10;
/// Price of uncovered, doubly covered and oversprayed length and of a strip, as shares of the row.
const GAP_PRICE: f64 = 6.0;
const LAP_PRICE: f64 = 1.2;
const SPILL_PRICE: f64 = 1.0;
const STRIP_PRICE: f64 = 0.015;
/// Strips are laid this much wider or narrower than the turf \[m\]: its edge is never quite straight.
const PLAYS_M: [f64; 3] = [0.0, 0.04, -0.04];
/// Most long strips of one row.
const MOST_IN_ROW: usize = 60;
/// A head is moved inward by at most this share of its width to stand on the turf.
const PULL_FRAC: f64 = 0.3;

/// All ways to lay a narrow part with strips, each a list of heads; empty where the family has no
/// strips or the part no straight pieces.
pub(super) fn rows(outline: &Outline, family: &Family) -> Vec<Vec<Head>> {
    let pieces = axis::pieces(outline);
    if pieces.is_empty() {
        return Vec::new();
    }
    PLAYS_M
        .into_iter()
        .flat_map(|play_m| {
            [Lane::Left, Lane::Right, Lane::Middle, Lane::Opposed].map(|lane| (play_m, lane))
        })
        .filter_map(|(play_m, lane)| {
            let mut placed: Vec<Placed> = Vec::new();
            for piece in &pieces {
                let width_m = piece.width_m + play_m;
                placed.extend(row(&Piece { width_m, ..*piece }, lane, family)?);
            }
            hold_rates(&mut placed, family);
            Some(
                placed
                    .iter()
                    .map(|strip| strip.head(outline, family))
                    .collect(),
            )
        })
        .collect()
}

/// A strip of a row before it is a head.
#[derive(Debug, Clone, Copy)]
struct Placed {
    /// Index in the family's strips.
    strip: usize,
    /// Middle of the rectangle.
    centre: Point,
    /// Along the row, away from an end strip's head.
    along: Point,
    /// From the head into the rectangle across its width.
    inward: Point,
    length_m: f64,
    width_m: f64,
}

/// The strips of one piece; `None` where the family has no strips for the lane.
fn row(piece: &Piece, lane: Lane, family: &Family) -> Option<Vec<Placed>> {
    let long_kind = if lane == Lane::Middle {
        StripKind::Centre
    } else {
        StripKind::Side
    };
    let of_kind = |kind| family.strips.iter().position(|strip| strip.kind == kind);
    let long = of_kind(long_kind);
    let short = of_kind(StripKind::End);
    let along = piece.along();
    let left = Point::new(-along.y, along.x);
    let rows: &[f64] = match lane {
        Lane::Left => &[1.0],
        Lane::Right => &[-1.0],
        Lane::Middle => &[0.0],
        Lane::Opposed => &[1.0, -1.0],
    };
    let share_m = piece.width_m / rows.len() as f64;
    let items = composed(piece.length_m(), family, long, short)?;
    let mut placed = Vec::new();
    for &edge in rows {
        let total_m: f64 = items.iter().map(|item| item.length_m).sum();
        let lap_m = if items.len() > 1 {
            (total_m - piece.length_m()) / (items.len() - 1) as f64
        } else {
            0.0
        };
        let mut start_m = if items.len() > 1 {
            0.0
        } else {
            (piece.length_m() - total_m) / 2.0
        };
        for item in &items {
            let range = family.strips[item.strip].width;
            let width_m = share_m.clamp(range.0.m(), range.1.m());
            // The row keeps to its edge; a row in the middle to the middle.
            let off_m = edge * (piece.width_m - width_m) / 2.0;
            placed.push(Placed {
                strip: item.strip,
                centre: piece.from + along * (start_m + item.length_m / 2.0) + left * off_m,
                along: along * item.way,
                inward: if edge == 0.0 { left } else { left * -edge },
                length_m: item.length_m,
                width_m,
            });
            start_m += item.length_m - lap_m;
        }
    }
    Some(placed)
}

/// A strip in a row: its length, and the way an end strip points along the row.
#[derive(Debug, Clone, Copy)]
struct Item {
    strip: usize,
    length_m: f64,
    way: f64,
}

/// The strips that cover a length best: long ones, and up to two end strips at the ends.
fn composed(
    length_m: f64,
    family: &Family,
    long: Option<usize>,
    short: Option<usize>,
) -> Option<Vec<Item>> {
    let range = |strip: Option<usize>| {
        strip.map_or((0.0, 0.0), |i| {
            (family.strips[i].length.0.m(), family.strips[i].length.1.m())
        })
    };
    let ((long_low, long_high), (short_low, short_high)) = (range(long), range(short));
    let most_long = if long.is_some() {
        ((length_m / long_low).ceil() as usize).min(MOST_IN_ROW)
    } else {
        0
    };
    let most_short = if short.is_some() { 2 } else { 0 };
    let mut best: Option<(f64, usize, usize)> = None;
    for many in 0..=most_long {
        for few in 0..=most_short {
            let count = many + few;
            if count == 0 {
                continue;
            }
            let high_m = many as f64 * long_high + few as f64 * short_high;
            let low_m = many as f64 * long_low + few as f64 * short_low;
            let gap_m = (length_m - high_m).max(0.0);
            let lap_m = (low_m - length_m).max(0.0);
            let lap_price = if count > 1 { LAP_PRICE } else { SPILL_PRICE };
            let price =
                (GAP_PRICE * gap_m + lap_price * lap_m) / length_m + STRIP_PRICE * count as f64;
            if best.is_none_or(|(least, _, _)| price < least - 1e-9) {
                best = Some((price, many, few));
            }
        }
    }
    let (_, many, few) = best?;
    let high_m = many as f64 * long_high + few as f64 * short_high;
    let share = length_m / high_m;
    let set = |low: f64, high: f64| (share * high).clamp(low, high);
    let mut items = Vec::new();
    if let Some(strip) = short.filter(|_| few > 1) {
        items.push(Item {
            strip,
            length_m: set(short_low, short_high),
            way: 1.0,
        });
    }
    if let Some(strip) = long {
        items.extend((0..many).map(|_| Item {
            strip,
            length_m: set(long_low, long_high),
            way: 1.0,
        }));
    }
    if let Some(strip) = short.filter(|_| few > 0) {
        items.push(Item {
            strip,
            length_m: set(short_low, short_high),
            way: -1.0,
        });
    }
    Some(items)
}

/// Where the flow stays as rated, lengthens and widens strips so that rates keep within 1.10 of
/// one another.
fn hold_rates(placed: &mut [Placed], family: &Family) {
    if family.flow_follows == FlowFollows::Throw {
        return;
    }
    let rated = |strip: &Placed| {
        let rated = &family.strips[strip.strip];
        (rated.length.1.m(), rated.width.1.m())
    };
    let filled = |strip: &Placed| {
        let (length_m, width_m) = rated(strip);
        strip.length_m * strip.width_m / (length_m * width_m)
    };
    let fullest = placed.iter().map(filled).fold(0.0, f64::max);
    // A little less than the ratio: sides are rounded to whole centimetres.
    let least = fullest / (MATCHED_RATIO - 0.01);
    for strip in placed {
        let (length_m, width_m) = rated(strip);
        let wanted = least / filled(strip);
        if wanted > 1.0 {
            strip.length_m = (strip.length_m * wanted).min(length_m);
            strip.width_m = (strip.width_m * (least / filled(strip)).max(1.0)).min(width_m);
        }
    }
}

impl Placed {
    /// The head of a strip, its sides in whole centimetres and its direction in whole degrees,
    /// standing on the turf.
    fn head(&self, outline: &Outline, family: &Family) -> Head {
        let kind = family.strips[self.strip].kind;
        let centimetres = |side_m: f64| (side_m * 100.0).round() / 100.0;
        let (length_m, width_m) = (centimetres(self.length_m), centimetres(self.width_m));
        let (ahead, half_m) = match kind {
            StripKind::End => (self.along, length_m / 2.0),
            StripKind::Side => (self.inward, width_m / 2.0),
            StripKind::Centre => (self.inward, 0.0),
        };
        let mut at = self.centre - ahead * half_m;
        for step in 1..=6 {
            if outline.contains(at) {
                break;
            }
            at = self.centre - ahead * (half_m - PULL_FRAC * width_m * f64::from(step) / 6.0);
        }
        Head {
            at,
            role: Role::Strip,
            pattern: Pattern::Strip {
                kind,
                length_m,
                width_m,
                azimuth_deg: ahead.bearing_deg().round().rem_euclid(360.0),
            },
            nozzle: self.strip,
            flow: family.strip_flow(self.strip, length_m, width_m),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Catalogue;

    #[test]
    fn a_straight_strip_is_covered_from_end_to_end() {
        let points = [(0.0, 0.0), (15.0, 0.0), (15.0, 1.8), (0.0, 1.8)];
        let outline = Outline::new(points.map(|(x, y)| Point::new(x, y)).to_vec(), vec![]).unwrap();
        let catalogue = Catalogue::generic();
        let family = catalogue.family("rotary-mid").unwrap();
        let ways = rows(&outline, family);
        assert_eq!(ways.len(), 12);
        for way in &ways[..3] {
            let area_m2: f64 = way
                .iter()
                .map(|head| match head.pattern {
                    Pattern::Strip {
                        length_m, width_m, ..
                    } => length_m * width_m,
                    Pattern::Sector { .. } => 0.0,
                })
                .sum();
            // Sides are whole centimetres: 1 cm in 1.8 m.
            assert!((area_m2 / 27.0 - 1.0).abs() < 0.006, "{area_m2}: {way:?}");
        }
    }
}
