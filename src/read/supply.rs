//! Points of the water supply: each goes to the parcel that it names, else to the one on which it
//! lies.

use std::collections::{BTreeMap, BTreeSet};

use rstar::{AABB, RTree, RTreeObject};

use super::feature::{Feature, bounds, column_of};
use super::filter::Filter;
use super::layer::{Layer, Role};
use super::parcels::{Fingerprint, fingerprint};
use super::plane::{distance_m, grown};
use super::source::Source;
use super::turf::word;
use crate::issue::{Code, Issue};
use crate::site::{LonLatPolygon, SupplyKind, SupplyPoint};

/// A point without a parcel belongs to one whose outline, or turf where there is no outline, is
/// this near [m].
const REACH_M: f64 = 10.0;

/// The points of a layer.
pub(super) struct SupplyField {
    layer: Layer,
    named: BTreeMap<Fingerprint, Vec<(u64, u64)>>,
    unnamed: RTree<Spot>,
    /// Numbers of the points that no parcel has claimed yet.
    waiting: BTreeSet<u64>,
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
        let mut named: BTreeMap<Fingerprint, Vec<(u64, u64)>> = BTreeMap::new();
        let (mut spots, mut waiting) = (Vec::new(), BTreeSet::new());
        while let Some(feature) = layer.next()? {
            let (number, locator) = (feature.number, feature.locator);
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
                    if let Some(parcel) = feature.text("parcel_id") {
                        let rows = named.entry(fingerprint(&parcel)).or_default();
                        rows.push((number, locator));
                    } else {
                        spots.push(Spot {
                            at: [at.x(), at.y()],
                            number,
                            locator,
                        });
                    }
                }
            }
        }
        Ok(SupplyField {
            layer,
            named,
            unnamed: RTree::bulk_load(spots),
            waiting,
        })
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
        let mut rows = self
            .named
            .get(&fingerprint(parcel))
            .cloned()
            .unwrap_or_default();
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
        let attribute = column_of(&feature.attributes, column)?;
        let text = attribute.text();
        if text.trim().is_empty() {
            return None;
        }
        let value = attribute.number();
        let within = value.filter(|value| (least..=most).contains(value));
        if within.is_none() {
            let found = format!("{column} `{}`, {least} to {most} is allowed", text.trim());
            issues.push(place(Issue::new(Code::IN11, found)));
        }
        within
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
