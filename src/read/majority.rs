//! A layer of areas, and what it says of most of a lawn.

use std::collections::{BTreeMap, BTreeSet};

use geo::{Area, BooleanOps, Coord, LineString, MultiPolygon, Polygon};
use rstar::{AABB, RTree, RTreeObject};

use super::feature::{Feature, bounds};
use super::filter::Filter;
use super::layer::{Layer, Role};
use super::plane::Plane;
use super::source::Source;
use super::turf::pieces;
use super::usage::{Clues, LayerUse};
use crate::issue::{Code, Issue};
use crate::site::LonLatPolygon;

/// Features whose polygons are kept while their neighbours are asked for: survey polygons are
/// large and many lawns lie on one.
const MOST_KEPT: usize = 64;

/// Polygons that each carry a value, or none.
pub(super) struct AreaField<T> {
    layer: Layer,
    tree: RTree<AreaBox>,
    values: Vec<Option<T>>,
    /// Rows that said something of a polygon that was asked for.
    used: BTreeSet<usize>,
    /// Rows without a polygon that can be used.
    unusable: u64,
    kept: BTreeMap<u64, Vec<LonLatPolygon>>,
}

#[derive(Debug, Clone, Copy)]
struct AreaBox {
    low: [f64; 2],
    high: [f64; 2],
    /// 0-based place in the layer.
    row: usize,
    number: u64,
    locator: u64,
}

impl RTreeObject for AreaBox {
    type Envelope = AABB<[f64; 2]>;
    fn envelope(&self) -> AABB<[f64; 2]> {
        AABB::from_corners(self.low, self.high)
    }
}

impl<T: Clone + PartialEq> AreaField<T> {
    /// Reads the whole layer once. What cannot be used is told here and only here.
    pub(super) fn open(
        source: &Source,
        role: Role,
        issues: &mut Vec<Issue>,
        mut value: impl FnMut(&Feature, &mut Vec<Issue>) -> Result<Option<T>, Issue>,
    ) -> Result<AreaField<T>, Issue> {
        let mut layer = Layer::open(source, role, &Filter::default())?;
        let (mut boxes, mut values, mut unusable) = (Vec::new(), Vec::new(), 0);
        while let Some(feature) = layer.next()? {
            let place = |issue: Issue| issue.in_file(source.name()).at_feature(feature.number);
            let before = boxes.len();
            for piece in pieces(&feature) {
                match piece {
                    Ok(repaired) => boxes.extend(repaired.parts.iter().map(|part| {
                        let [west, south, east, north] = bounds(part);
                        AreaBox {
                            low: [west, south],
                            high: [east, north],
                            row: values.len(),
                            number: feature.number,
                            locator: feature.locator,
                        }
                    })),
                    Err(issue) => {
                        let found = format!("{} {}", issue.code, issue.statement());
                        issues.push(place(Issue::new(Code::SO05, found)));
                    }
                }
            }
            unusable += u64::from(boxes.len() == before);
            values.push(value(&feature, issues)?);
        }
        Ok(AreaField {
            layer,
            tree: RTree::bulk_load(boxes),
            values,
            used: BTreeSet::new(),
            unusable,
            kept: BTreeMap::new(),
        })
    }

    /// The value of most of a polygon: the one with the largest share; `None` when more of it has
    /// no value than has that one. The first of equals.
    pub(super) fn of_most(&mut self, lawn: &LonLatPolygon) -> Result<Option<T>, Issue> {
        let around = bounds(lawn);
        let [west, south, east, north] = around;
        let envelope = AABB::from_corners([west, south], [east, north]);
        let near: BTreeMap<u64, (usize, u64)> = self
            .tree
            .locate_in_envelope_intersecting(&envelope)
            .map(|area| (area.number, (area.row, area.locator)))
            .collect();
        let plane = Plane::about(lawn);
        let flat = MultiPolygon(vec![plane.to_metres(lawn)]);
        let mut shares: Vec<(T, f64)> = Vec::new();
        for (number, (row, locator)) in near {
            let Some(value) = self.values[row].clone() else {
                continue;
            };
            let clipped: Vec<Polygon<f64>> = self
                .polygons(number, locator)?
                .iter()
                .filter_map(|polygon| clipped(polygon, around))
                .map(|polygon| plane.to_metres(&polygon))
                .collect();
            let shared_m2 = MultiPolygon(clipped).intersection(&flat).unsigned_area();
            if shared_m2 > 0.0 {
                self.used.insert(row);
            }
            match shares.iter_mut().find(|(known, _)| *known == value) {
                Some((_, sum_m2)) => *sum_m2 += shared_m2,
                None => shares.push((value, shared_m2)),
            }
        }
        let known_m2: f64 = shares.iter().map(|(_, m2)| m2).sum();
        let unknown_m2 = flat.unsigned_area() - known_m2;
        let most = shares
            .into_iter()
            .reduce(|most, next| if next.1 > most.1 { next } else { most });
        Ok(most
            .filter(|(_, m2)| *m2 > 0.0 && *m2 >= unknown_m2)
            .map(|(value, _)| value))
    }

    /// How its rows were used so far. Rows without a value count as unused by the code given.
    pub(super) fn usage(&self, role: Role, no_value: Code) -> (LayerUse, Clues) {
        let mut usage = LayerUse::of(role.name(), self.values.len() as u64);
        usage.used = self.used.len() as u64;
        let without = self.values.iter().filter(|value| value.is_none()).count() as u64;
        usage.add_unused(Code::SO05, self.unusable);
        usage.add_unused(no_value, without.saturating_sub(self.unusable));
        let counted: u64 = usage.unused.values().sum();
        usage.elsewhere = usage.rows.saturating_sub(usage.used + counted);
        (usage, self.layer.clues())
    }

    fn polygons(&mut self, number: u64, locator: u64) -> Result<&[LonLatPolygon], Issue> {
        if !self.kept.contains_key(&number) {
            if self.kept.len() >= MOST_KEPT {
                self.kept.clear();
            }
            let feature = self.layer.fetch(locator, number)?;
            let parts = pieces(&feature)
                .into_iter()
                .flatten()
                .flat_map(|repaired| repaired.parts)
                .collect();
            self.kept.insert(number, parts);
        }
        Ok(self.kept.get(&number).map_or(&[], Vec::as_slice))
    }
}

/// The part of a polygon in a box; rings that leave the box run along its edge, which encloses
/// nothing. `None` when nothing is left.
///
/// # References
/// - Sutherland, I. E. and Hodgman, G. W., "Reentrant polygon clipping", Communications of the
///   ACM 17(1), 1974, p. 32–42. DOI 10.1145/360767.360802.
fn clipped(polygon: &LonLatPolygon, [west, south, east, north]: [f64; 4]) -> Option<LonLatPolygon> {
    type Axis = fn(Coord<f64>) -> f64;
    let (x, y): (Axis, Axis) = (|at| at.x, |at| at.y);
    let sides = [
        (x, west, 1.0),
        (x, east, -1.0),
        (y, south, 1.0),
        (y, north, -1.0),
    ];
    let ring = |line: &LineString<f64>| -> Option<LineString<f64>> {
        let mut points: Vec<Coord<f64>> = line.0.clone();
        points.pop();
        for (axis, bound, sign) in sides {
            let inside = |at: Coord<f64>| sign * (axis(at) - bound) >= 0.0;
            let mut kept = Vec::with_capacity(points.len() + 4);
            for (i, &to) in points.iter().enumerate() {
                let from = points[(i + points.len() - 1) % points.len()];
                if inside(from) != inside(to) {
                    let t = (bound - axis(from)) / (axis(to) - axis(from));
                    kept.push(from + (to - from) * t);
                }
                if inside(to) {
                    kept.push(to);
                }
            }
            points = kept;
        }
        (points.len() >= 3).then(|| {
            points.push(points[0]);
            LineString(points)
        })
    };
    let outer = ring(polygon.exterior())?;
    let holes = polygon.interiors().iter().filter_map(ring).collect();
    Some(Polygon::new(outer, holes))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(x: f64, y: f64, size: f64) -> LonLatPolygon {
        geo::Rect::new(
            Coord { x, y },
            Coord {
                x: x + size,
                y: y + size,
            },
        )
        .to_polygon()
    }

    fn field() -> AreaField<String> {
        let feature = |kind: &str, x: f64| {
            let ring: Vec<String> = square(x, 0.0, 0.001)
                .exterior()
                .coords()
                .map(|c| format!("[{},{}]", c.x, c.y))
                .collect();
            format!(
                r#"{{"type":"Feature","properties":{{"kind":{kind}}},"geometry":{{"type":"Polygon","coordinates":[[{}]]}}}}"#,
                ring.join(",")
            )
        };
        let text = format!(
            r#"{{"type":"FeatureCollection","features":[{},{},{}]}}"#,
            feature("\"a\"", 0.0),
            feature("\"b\"", 0.001),
            feature("null", 0.002)
        );
        let source = Source::from_bytes("areas", text.into_bytes());
        let mut issues = Vec::new();
        let field = AreaField::open(&source, Role::Soils, &mut issues, |feature, _| {
            Ok(feature.text("kind"))
        });
        assert!(issues.is_empty());
        field.unwrap()
    }

    #[test]
    fn most_of_the_area_decides() {
        let mut field = field();
        let mut most = |x: f64| field.of_most(&square(x, 0.0002, 0.0005)).unwrap();
        assert_eq!(most(0.0001).as_deref(), Some("a"));
        assert_eq!(most(0.0007).as_deref(), Some("a"));
        assert_eq!(most(0.0008).as_deref(), Some("b"));
        // More without a value than with one.
        assert_eq!(most(0.00185), None);
        assert_eq!(most(0.0016).as_deref(), Some("b"));
        assert_eq!(most(0.5), None);
        assert_eq!(most(-0.0003), None);
    }

    #[test]
    fn a_hole_stays_a_hole_when_it_is_cut() {
        let outer = square(0.0, 0.0, 1.0);
        let hole = square(0.25, 0.25, 0.5);
        let frame = Polygon::new(outer.exterior().clone(), vec![hole.exterior().clone()]);
        let cut = clipped(&frame, [0.0, 0.0, 0.5, 1.0]).unwrap();
        assert!((cut.unsigned_area() - (0.5 - 0.125)).abs() < 1e-12);
        assert!(clipped(&frame, [2.0, 2.0, 3.0, 3.0]).is_none());
    }
}
