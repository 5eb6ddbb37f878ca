//! Points of the water supply: each goes to the parcel that it names, else to the one on which it
//! lies.

use std::collections::{BTreeMap, BTreeSet};

use rstar::{AABB, RTree, RTreeObject};

use super::feature::{Feature, bounds, quantity, two_units};
use super::filter::Filter;
use super::ids::LooseMatches;
use super::layer::{Layer, Role};
use super::parcels::Roll;
use super::plane::{distance_m, grown};
use super::source::Source;
use super::turf::word;
use super::usage::{Clues, LayerUse, by_code};
use crate::issue::{Code, Issue};
use crate::site::{LonLatPolygon, SupplyKind, SupplyPoint};

/// A point without a parcel belongs to one whose outline, or turf where there is no outline, is
/// this near [m].
const REACH_M: f64 = 10.0;

/// Columns that hold quantities.
const QUANTITIES: [&str; 5] = ["flow_lpm", "static_kpa", "near_kpa", "far_kpa", "size_mm"];

/// The points of a layer.
pub(super) struct SupplyField {
    layer: Layer,
    /// By the id as it stands in the layer.
    named: BTreeMap<String, Vec<Spot>>,
    unnamed: RTree<Spot>,
    /// Numbers of the points that no parcel has claimed yet.
    waiting: BTreeSet<u64>,
    read: u64,
    unusable: BTreeMap<Code, u64>,
}

#[derive(Debug, Clone, Copy)]
struct Spot {
    at: [f64; 2],
    number: u64,
    locator: u64,
}

impl RTreeObject for Spot {
    type Envelope = AABB<[f64; 2]>;
    fn envelope(&self) -> AABB<[f64; 2]> {
        AABB::from_point(self.at)
    }
}

impl SupplyField {
    /// Reads the whole layer once; what cannot be used is told.
    pub(super) fn open(source: &Source, issues: &mut Vec<Issue>) -> Result<SupplyField, Issue> {
        let mut layer = Layer::open(source, Role::Supply, &Filter::default())?;
        let mut named: BTreeMap<String, Vec<Spot>> = BTreeMap::new();
        let (mut spots, mut waiting, mut read) = (Vec::new(), BTreeSet::new(), 0);
        let first = issues.len();
        while let Some(feature) = layer.next()? {
            let (number, locator) = (feature.number, feature.locator);
            read += 1;
            let told = |issue: Issue| issue.in_file(layer.name()).at_feature(number);
            match feature.point() {
                Err(issue) => issues.push(told(issue)),
                Ok(at) => {
                    if kind_of(&feature).is_none() {
                        let found = feature.text("kind").unwrap_or_default();
                        issues.push(told(Issue::new(Code::HY05, format!("kind `{found}`"))));
                        continue;
                    }
                    waiting.insert(number);
                    let spot = Spot {
                        at: [at.x(), at.y()],
                        number,
                        locator,
                    };
                    match feature.text("parcel_id") {
                        Some(parcel) => named.entry(parcel).or_default().push(spot),
                        None => spots.push(spot),
                    }
                }
            }
        }
        two_units(layer.columns(), &QUANTITIES).map_err(|issue| issue.in_file(layer.name()))?;
        Ok(SupplyField {
            layer,
            named,
            unnamed: RTree::bulk_load(spots),
            waiting,
            read,
            unusable: by_code(&issues[first..]),
        })
    }

    /// How its rows were used so far; without filters, rows that nobody claimed belong to no parcel.
    pub(super) fn usage(&self, is_whole: bool) -> (LayerUse, Clues) {
        let mut usage = LayerUse::of(Role::Supply.name(), self.read);
        usage.unused = self.unusable.clone();
        let unusable: u64 = self.unusable.values().sum();
        let waiting = self.waiting.len() as u64;
        usage.used = self.read.saturating_sub(unusable + waiting);
        if is_whole {
            usage.add_unused(Code::HY06, waiting);
        } else {
            usage.left_out = waiting;
        }
        (usage, self.layer.clues())
    }

    /// Matches the ids of the layer with those of the parcels: points of an id that several parcels
    /// have go by place, ids that differ in writing alone become the parcel's (`JO06`).
    ///
    /// # Errors
    /// As the parcel layer, which is read again where that is needed.
    pub(super) fn match_ids(&mut self, roll: &mut Roll) -> Result<Option<Issue>, Issue> {
        let mut loose = LooseMatches::default();
        let ids: Vec<String> = self.named.keys().cloned().collect();
        for id in ids {
            match roll.all_of(&id).len() {
                1 => {}
                0 => {
                    let [parcel] = roll.find_loosely(&id)[..] else {
                        continue;
                    };
                    let spots = self.named.remove(&id).unwrap_or_default();
                    let first = spots.first().map_or(0, |spot| spot.number);
                    loose.add(first, spots.len() as u64, &id, parcel);
                    self.named
                        .entry(roll.id(parcel)?)
                        .or_default()
                        .extend(spots);
                }
                _ => {
                    for spot in self.named.remove(&id).unwrap_or_default() {
                        self.unnamed.insert(spot);
                    }
                }
            }
        }
        loose.issue(roll, self.layer.name())
    }

    /// The points of a parcel in input order.
    pub(super) fn of<'a>(
        &mut self,
        parcel: &str,
        outline: &'a [LonLatPolygon],
        turf: impl Iterator<Item = &'a LonLatPolygon>,
        issues: &mut Vec<Issue>,
    ) -> Result<Vec<SupplyPoint>, Issue> {
        let rows = self.claim(parcel, outline, turf);
        let mut points = Vec::with_capacity(rows.len());
        for (number, locator) in rows {
            let feature = self.layer.fetch(locator, number)?;
            let place = |issue: Issue| {
                issue
                    .in_file(self.layer.name())
                    .at_feature(number)
                    .of_parcel(parcel)
            };
            if let Some(kind) = kind_of(&feature) {
                points.push(point(&feature, kind, issues, place)?);
            }
        }
        Ok(points)
    }

    /// Number and place in the file of each point of a parcel, in input order.
    pub(super) fn claim<'a>(
        &mut self,
        parcel: &str,
        outline: &'a [LonLatPolygon],
        turf: impl Iterator<Item = &'a LonLatPolygon>,
    ) -> Vec<(u64, u64)> {
        let named = self.named.get(parcel).into_iter().flatten();
        let mut rows: Vec<(u64, u64)> = named.map(|spot| (spot.number, spot.locator)).collect();
        let mut near = |polygon: &LonLatPolygon| {
            let [west, south, east, north] = grown(bounds(polygon), REACH_M);
            let around = AABB::from_corners([west, south], [east, north]);
            for spot in self.unnamed.locate_in_envelope(&around) {
                if distance_m(geo::Point::from(spot.at), polygon) <= REACH_M {
                    rows.push((spot.number, spot.locator));
                }
            }
        };
        if outline.is_empty() {
            turf.for_each(&mut near);
        } else {
            outline.iter().for_each(&mut near);
        }
        rows.sort_unstable();
        rows.dedup();
        for (number, _) in &rows {
            self.waiting.remove(number);
        }
        rows
    }

    /// What is told of points that no parcel has claimed.
    pub(super) fn strangers(&self) -> Option<Issue> {
        let first = self.waiting.first()?;
        let found = match self.waiting.len() {
            1 => String::new(),
            count => format!("this one, and {} more", count - 1),
        };
        let issue = Issue::new(Code::HY06, found);
        Some(issue.in_file(self.layer.name()).at_feature(*first))
    }
}

fn point(
    feature: &Feature,
    kind: SupplyKind,
    issues: &mut Vec<Issue>,
    place: impl Fn(Issue) -> Issue,
) -> Result<SupplyPoint, Issue> {
    let mut number = |column: &str, least: f64, most: f64| {
        let read = quantity(&feature.attributes, column)?;
        let shown = |value: f64| (column.to_owned(), value.to_string());
        let within = read.and_then(|value| match (least..=most).contains(&value) {
            true => Ok(value),
            false => Err(shown(value)),
        });
        if let Err((name, text)) = &within {
            let found = format!("{name} `{text}`, {column} {least} to {most} is allowed");
            issues.push(place(Issue::new(Code::IN11, found)));
        }
        within.ok()
    };
    // A flow of zero or less is kept: the plan refuses it, since nobody can water from it.
    let flow_lpm = number("flow_lpm", -1e6, 1e6);
    Ok(SupplyPoint {
        kind,
        position: feature.point()?,
        flow_lpm,
        static_kpa: number("static_kpa", -100.0, 3_000.0),
        near_kpa: number("near_kpa", -100.0, 3_000.0),
        far_kpa: number("far_kpa", -100.0, 3_000.0),
        size_mm: number("size_mm", 5.0, 1_000.0),
    })
}

fn kind_of(feature: &Feature) -> Option<SupplyKind> {
    word(feature, "kind", kind, &mut Vec::new(), |issue| issue)
}

fn kind(word: &str) -> Option<SupplyKind> {
    match word {
        "meter" => Some(SupplyKind::Meter),
        "point-of-connection" | "point of connection" | "poc" => Some(SupplyKind::Connection),
        "valve" => Some(SupplyKind::Valve),
        "controller" => Some(SupplyKind::Controller),
        "pump" => Some(SupplyKind::Pump),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::feature::Shape;
    use crate::site::{Attribute, Attributes};

    #[test]
    fn columns_of_a_point() {
        let mut feature = Feature::bad(1, 0, Issue::new(Code::GE01, ""));
        feature.shape = Ok(Shape::Point(geo::Point::new(5.0, 43.0)));
        feature.attributes = Attributes(vec![
            ("kind".into(), Attribute::Text("Point-of-connection".into())),
            ("flow_lpm".into(), Attribute::Number(-3.0)),
            ("static_kpa".into(), Attribute::Text("high".into())),
            ("far_kpa".into(), Attribute::Number(310.0)),
            ("size_mm".into(), Attribute::Number(25.0)),
        ]);
        let mut issues = Vec::new();
        let kind = kind_of(&feature).unwrap();
        let point = point(&feature, kind, &mut issues, |issue| issue).unwrap();
        assert_eq!(point.kind, SupplyKind::Connection);
        assert_eq!((point.flow_lpm, point.static_kpa), (Some(-3.0), None));
        assert_eq!((point.far_kpa, point.size_mm), (Some(310.0), Some(25.0)));
        assert_eq!(issues.len(), 1);
        assert_eq!(issues[0].code, Code::IN11);
        feature.attributes = Attributes(vec![("kind".into(), Attribute::Text("tap".into()))]);
        assert_eq!(kind_of(&feature), None);
    }
}
