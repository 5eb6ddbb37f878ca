//! The lawns of one parcel: repaired, numbered, and with what their columns say.

use std::collections::BTreeSet;

use super::feature::{Feature, bounds, column_of};
use super::parcels::{Fingerprint, fingerprint};
use super::plane::{area_m2, shared_m2};
use super::repair::{Repaired, repair};
use crate::issue::{Code, Issue};
use crate::site::{Exposure, Grass, Land, LonLatPolygon, TurfArea};

/// Turf may lie outside its parcel by both of these before it is noted.
const OUTSIDE_FRAC: f64 = 0.01;
const OUTSIDE_M2: f64 = 1.0;

/// Two turf areas are one drawing when they share this fraction of the larger.
const SAME_FRAC: f64 = 0.99;
/// A turf area is compared with so many before it in its parcel: the copies that editing leaves stand
/// near one another, and a parcel of many thousands of pieces must stay cheap.
const MAX_COMPARED: usize = 2_000;

/// How a lawn came to its parcel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Joined {
    /// By its `parcel_id`, or it is its own parcel.
    ById,
    /// By its place; the shared area [m²].
    ByOverlap(f32),
}

/// The pieces of a lawn in the order in which they are numbered: one a polygon, or one for a
/// feature that is bad as a whole.
pub(super) fn pieces(feature: &Feature) -> Vec<Result<Repaired, Issue>> {
    match feature.areas() {
        Ok(areas) => areas
            .iter()
            .map(|area| area.as_ref().map_err(Clone::clone).and_then(repair))
            .collect(),
        Err(issue) => vec![Err(issue)],
    }
}

/// The ids that the turf layer gave, as far as the run has come.
#[derive(Debug, Default)]
pub(super) struct TurfIds {
    used: BTreeSet<Fingerprint>,
}

/// Which area of which feature a turf area is: the feature's number, and the 0-based place among
/// the usable areas of the feature.
pub(super) type AreaKey = (u64, u32);

/// The lawns of one parcel.
#[derive(Debug, Default)]
pub(super) struct Lawns {
    pub areas: Vec<TurfArea>,
    /// For each area, what it is in the layer.
    pub keys: Vec<AreaKey>,
    pub issues: Vec<Issue>,
    /// The first failure among the pieces.
    pub failure: Option<Issue>,
    /// For each feature without an area that can be used, why.
    pub unusable: Vec<Code>,
}

/// Gathers the lawns of a parcel, in input order; `outline` is empty without a parcel layer.
pub(super) fn gather(
    features: &[(Feature, Joined)],
    parcel: &str,
    outline: &[LonLatPolygon],
    file: &str,
    ids: &mut TurfIds,
) -> Lawns {
    let mut lawns = Lawns::default();
    let mut numbered = 0;
    for (feature, joined) in features {
        let place = |issue: Issue| {
            issue
                .in_file(file)
                .at_feature(feature.number)
                .of_parcel(parcel)
        };
        lawns
            .issues
            .extend(feature.notes.iter().cloned().map(place));
        if let Joined::ByOverlap(shared_m2) = joined {
            let found = format!("{shared_m2:.1} m2 shared");
            lawns.issues.push(place(Issue::new(Code::JO03, found)));
        }
        let pieces = pieces(feature);
        let own_id = own_id(feature, ids, &mut lawns.issues, place);
        let exposure = word(feature, "exposure", exposure, &mut lawns.issues, place);
        let grass = word(feature, "grass", grass, &mut lawns.issues, place);
        let alone = pieces.len() == 1;
        let why = pieces.iter().find_map(|piece| piece.as_ref().err());
        if let (Some(issue), true) = (why, pieces.iter().all(Result::is_err)) {
            lawns.unusable.push(issue.code);
        }
        let mut ordinal = 0;
        for (k, piece) in pieces.into_iter().enumerate() {
            numbered += 1;
            let id = match &own_id {
                Some(own) if alone => own.clone(),
                Some(own) => format!("{own}.{}", k + 1),
                None => format!("{parcel}#{numbered}"),
            };
            let place = |issue: Issue| place(issue).of_turf(id.as_str());
            let repaired = match piece {
                Ok(repaired) => repaired,
                Err(issue) => {
                    let issue = place(issue);
                    lawns.failure.get_or_insert_with(|| issue.clone());
                    lawns.issues.push(issue);
                    continue;
                }
            };
            lawns.issues.extend(repaired.notes.into_iter().map(place));
            if let Some(issue) = outside(&repaired.parts, outline) {
                lawns.issues.push(place(issue));
            }
            let whole = repaired.parts.len() == 1;
            for (j, polygon) in repaired.parts.into_iter().enumerate() {
                let id = if whole {
                    id.clone()
                } else {
                    format!("{id}.{}", j + 1)
                };
                let repair_area_frac = repaired.area_frac;
                let own_ordinal = ordinal;
                ordinal += 1;
                match overlap(&polygon, &lawns.areas) {
                    Some(Overlap::Same(other)) => {
                        let found = format!("it is turf area {}", lawns.areas[other].id);
                        lawns
                            .issues
                            .push(place(Issue::new(Code::JO10, found)).of_turf(id));
                        continue;
                    }
                    Some(Overlap::Share(other, shared_m2)) => {
                        let found = format!("{shared_m2:.1} m2 with {}", lawns.areas[other].id);
                        let issue = place(Issue::new(Code::JO11, found));
                        lawns.issues.push(issue.of_turf(id.as_str()));
                    }
                    None => {}
                }
                lawns.areas.push(TurfArea {
                    id,
                    polygon,
                    exposure,
                    grass,
                    repair_area_frac,
                    land: Land {
                        climate_zone: feature.text("climate_zone"),
                        ..Land::default()
                    },
                });
                lawns.keys.push((feature.number, own_ordinal));
            }
        }
    }
    lawns
}

/// How a polygon lies on an earlier one: the earlier one's place in the list.
enum Overlap {
    /// They are one drawing.
    Same(usize),
    /// They share so many square metres, the most of all.
    Share(usize, f64),
}

/// Whether a polygon lies on one of these. What two hand drawings of one boundary share is left alone.
fn overlap(polygon: &LonLatPolygon, earlier: &[TurfArea]) -> Option<Overlap> {
    let own = bounds(polygon);
    let meets = |other: [f64; 4]| {
        own[0] < other[2] && other[0] < own[2] && own[1] < other[3] && other[1] < own[3]
    };
    let mut most: Option<(usize, f64)> = None;
    let own_m2 = area_m2(std::slice::from_ref(polygon));
    let compared = earlier.iter().enumerate().rev().take(MAX_COMPARED);
    for (at, other) in compared.filter(|(_, other)| meets(bounds(&other.polygon))) {
        let other = std::slice::from_ref(&other.polygon);
        let other_m2 = area_m2(other);
        let shared_m2 = shared_m2(std::slice::from_ref(polygon), other);
        if shared_m2 >= SAME_FRAC * own_m2.max(other_m2) {
            return Some(Overlap::Same(at));
        }
        let is_share = shared_m2 > OUTSIDE_M2 && shared_m2 > OUTSIDE_FRAC * own_m2.min(other_m2);
        if is_share && most.is_none_or(|(_, most_m2)| shared_m2 > most_m2) {
            most = Some((at, shared_m2));
        }
    }
    most.map(|(at, shared_m2)| Overlap::Share(at, shared_m2))
}

fn own_id(
    feature: &Feature,
    ids: &mut TurfIds,
    issues: &mut Vec<Issue>,
    place: impl Fn(Issue) -> Issue,
) -> Option<String> {
    let own = feature.text("turf_id")?;
    if ids.used.insert(fingerprint(&own)) {
        return Some(own);
    }
    issues.push(place(Issue::new(Code::IN19, format!("turf_id `{own}`"))));
    None
}

fn outside(parts: &[LonLatPolygon], outline: &[LonLatPolygon]) -> Option<Issue> {
    if outline.is_empty() {
        return None;
    }
    let whole_m2 = area_m2(parts);
    let shared_m2 = shared_m2(parts, outline);
    let outside_m2 = whole_m2 - shared_m2;
    if shared_m2 == 0.0 {
        return Some(Issue::new(Code::JO09, format!("{whole_m2:.1} m2")));
    }
    (outside_m2 > OUTSIDE_M2 && outside_m2 > OUTSIDE_FRAC * whole_m2).then(|| {
        Issue::new(
            Code::JO04,
            format!("{outside_m2:.1} m2 of {whole_m2:.1} m2"),
        )
    })
}

/// Reads a column of words, letter case ignored; a word that is not known is noted.
pub(super) fn word<T>(
    feature: &Feature,
    column: &str,
    known: impl Fn(&str) -> Option<T>,
    issues: &mut Vec<Issue>,
    place: impl Fn(Issue) -> Issue,
) -> Option<T> {
    let text = column_of(&feature.attributes, column)?.text();
    let text = text.trim();
    if text.is_empty() {
        return None;
    }
    let found = known(&text.to_ascii_lowercase());
    if found.is_none() {
        issues.push(place(Issue::new(Code::IN11, format!("{column} `{text}`"))));
    }
    found
}

fn exposure(word: &str) -> Option<Exposure> {
    match word {
        "sun" => Some(Exposure::Sun),
        "part" => Some(Exposure::Part),
        "shade" => Some(Exposure::Shade),
        _ => None,
    }
}

fn grass(word: &str) -> Option<Grass> {
    match word {
        "cool" => Some(Grass::Cool),
        "warm" => Some(Grass::Warm),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::super::feature::Shape;
    use super::*;
    use crate::site::{Attribute, Attributes};

    /// A feature of squares, each apart from the others.
    fn lawn(number: u64, columns: &[(&str, &str)], polygons: &[Option<f64>]) -> (Feature, Joined) {
        lawn_at(number, 0.01, columns, polygons)
    }

    /// A feature of squares whose corners are so many degrees apart.
    fn lawn_at(
        number: u64,
        apart_deg: f64,
        columns: &[(&str, &str)],
        polygons: &[Option<f64>],
    ) -> (Feature, Joined) {
        let area = |(k, side_m): (usize, &Option<f64>)| match side_m {
            Some(side_m) => {
                let x = 5.0 + (number as f64 + k as f64 / 10.0) * apart_deg;
                let far = geo::Coord {
                    x: x + side_m / 80_000.0,
                    y: 43.0 + side_m / 111_000.0,
                };
                Ok(geo::Rect::new(geo::Coord { x, y: 43.0 }, far).to_polygon())
            }
            None => Err(Issue::new(Code::GE03, "")),
        };
        let mut feature = Feature::bad(number, 0, Issue::new(Code::GE01, ""));
        feature.shape = Ok(Shape::Areas(
            polygons.iter().enumerate().map(area).collect(),
        ));
        feature.attributes = Attributes(
            columns
                .iter()
                .map(|&(name, text)| (name.into(), Attribute::Text(text.into())))
                .collect(),
        );
        (feature, Joined::ById)
    }

    fn ids(lawns: &Lawns) -> Vec<&str> {
        lawns.areas.iter().map(|area| area.id.as_str()).collect()
    }

    #[test]
    fn numbers_do_not_shift_when_a_broken_piece_is_mended() {
        let broken = [lawn(1, &[], &[Some(5.0), None]), lawn(2, &[], &[Some(6.0)])];
        let lawns = gather(&broken, "A", &[], "f", &mut TurfIds::default());
        assert_eq!(ids(&lawns), ["A#1", "A#3"]);
        assert_eq!(lawns.keys, [(1, 0), (2, 0)]);
        assert_eq!(
            lawns.failure.as_ref().map(|issue| issue.code),
            Some(Code::GE03)
        );
        assert_eq!(lawns.issues[0].place.turf.as_deref(), Some("A#2"));
        let mended = [
            lawn(1, &[], &[Some(5.0), Some(7.0)]),
            lawn(2, &[], &[Some(6.0)]),
        ];
        let lawns = gather(&mended, "A", &[], "f", &mut TurfIds::default());
        assert_eq!(ids(&lawns), ["A#1", "A#2", "A#3"]);
    }

    #[test]
    fn the_layers_own_ids_are_kept_while_they_are_single() {
        let mut used = TurfIds::default();
        let features = [
            lawn(1, &[("turf_id", "007")], &[Some(5.0)]),
            lawn(2, &[("turf_id", "T2")], &[Some(5.0), Some(6.0)]),
            lawn(3, &[("turf_id", "007")], &[Some(5.0)]),
        ];
        let lawns = gather(&features, "A", &[], "f", &mut used);
        assert_eq!(ids(&lawns), ["007", "T2.1", "T2.2", "A#4"]);
        assert_eq!(lawns.issues.len(), 1);
        assert_eq!(lawns.issues[0].code, Code::IN19);
    }

    #[test]
    fn a_drawing_that_stands_twice_counts_once() {
        let features = [
            lawn_at(1, 0.0, &[("turf_id", "T1")], &[Some(20.0)]),
            lawn_at(2, 0.0, &[("turf_id", "T2")], &[Some(20.0)]),
            lawn_at(3, 0.0, &[("turf_id", "T3")], &[Some(10.0), Some(10.0)]),
        ];
        let lawns = gather(&features, "A", &[], "f", &mut TurfIds::default());
        // The third lies on a quarter of the first; its second piece on its first.
        assert_eq!(ids(&lawns), ["T1", "T3.1"]);
        assert_eq!(lawns.keys, [(1, 0), (3, 0)]);
        let said: Vec<(Code, Option<&str>, &str)> = lawns
            .issues
            .iter()
            .map(|issue| {
                (
                    issue.code,
                    issue.place.turf.as_deref(),
                    issue.found.as_str(),
                )
            })
            .collect();
        assert_eq!(said[0], (Code::JO10, Some("T2"), "it is turf area T1"));
        assert_eq!((said[1].0, said[1].1), (Code::JO11, Some("T3.1")));
        assert_eq!(said[2], (Code::JO10, Some("T3.2"), "it is turf area T3.1"));
        assert_eq!(said.len(), 3);
        // Beside its parcel: not a part of it, but all of it.
        let far = geo::Rect::new(
            geo::Coord { x: 6.0, y: 43.0 },
            geo::Coord {
                x: 6.001,
                y: 43.001,
            },
        );
        let lawns = gather(
            &features[..1],
            "A",
            &[far.to_polygon()],
            "f",
            &mut TurfIds::default(),
        );
        assert_eq!(lawns.issues[0].code, Code::JO09);
    }

    #[test]
    fn columns_are_read_in_any_letter_case() {
        let features = [
            lawn(
                1,
                &[("EXPOSURE", "Shade"), ("grass", " WARM ")],
                &[Some(5.0)],
            ),
            lawn(2, &[("exposure", "moon"), ("grass", "")], &[Some(5.0)]),
        ];
        let lawns = gather(&features, "A", &[], "f", &mut TurfIds::default());
        assert_eq!(lawns.areas[0].exposure, Some(Exposure::Shade));
        assert_eq!(lawns.areas[0].grass, Some(Grass::Warm));
        assert_eq!(
            (lawns.areas[1].exposure, lawns.areas[1].grass),
            (None, None)
        );
        assert_eq!(lawns.issues.len(), 1);
        assert_eq!(lawns.issues[0].found, "exposure `moon`");
    }
}
