//! Obstacles: each parcel gets those that its heads may reach.

use std::collections::BTreeMap;

use rstar::{AABB, RTree, RTreeObject};

use super::feature::{Feature, bounds, column_of};
use super::filter::Filter;
use super::layer::{Layer, Role};
use super::plane::grown;
use super::source::Source;
use super::turf::{pieces, word};
use crate::issue::{Code, Issue};
use crate::site::{LonLatPolygon, Obstacle, ObstacleKind};

/// Obstacles this near to a parcel or its turf are handed over with it [m]: farther than any
/// nozzle of the trade's small heads throws.
const REACH_M: f64 = 15.0;
/// Taller than this is a mistake [m].
const MOST_HEIGHT_M: f64 = 1_000.0;

/// The obstacles of a layer.
pub(super) struct ObstacleField {
    layer: Layer,
    tree: RTree<ObstacleBox>,
    read: u64,
    unusable: u64,
}

#[derive(Debug, Clone, Copy)]
struct ObstacleBox {
    low: [f64; 2],
    high: [f64; 2],
    number: u64,
    locator: u64,
}

impl RTreeObject for ObstacleBox {
    type Envelope = AABB<[f64; 2]>;
    fn envelope(&self) -> AABB<[f64; 2]> {
        AABB::from_corners(self.low, self.high)
    }
}

impl ObstacleField {
    /// Reads the whole layer once; what cannot be used is told, here and only here.
    pub(super) fn open(source: &Source, issues: &mut Vec<Issue>) -> Result<ObstacleField, Issue> {
        let mut layer = Layer::open(source, Role::Obstacles, &Filter::default())?;
        let (mut boxes, mut read, mut unusable) = (Vec::new(), 0, 0);
        while let Some(feature) = layer.next()? {
            read += 1;
            let (obstacles, found) = obstacles(&feature, layer.name());
            issues.extend(found);
            unusable += u64::from(obstacles.is_empty());
            boxes.extend(obstacles.iter().map(|obstacle| {
                let [west, south, east, north] = bounds(&obstacle.polygon);
                ObstacleBox {
                    low: [west, south],
                    high: [east, north],
                    number: feature.number,
                    locator: feature.locator,
                }
            }));
        }
        Ok(ObstacleField {
            layer,
            tree: RTree::bulk_load(boxes),
            read,
            unusable,
        })
    }

    /// How many rows the layer has, and how many of them cannot be used.
    pub(super) fn counts(&self) -> (u64, u64) {
        (self.read, self.unusable)
    }

    /// The obstacles near any of the polygons, by their boxes, in input order.
    pub(super) fn near<'a>(
        &mut self,
        polygons: impl Iterator<Item = &'a LonLatPolygon>,
    ) -> Result<Vec<Obstacle>, Issue> {
        let mut found = BTreeMap::new();
        for polygon in polygons {
            let [west, south, east, north] = grown(bounds(polygon), REACH_M);
            let around = AABB::from_corners([west, south], [east, north]);
            let near = self.tree.locate_in_envelope_intersecting(&around);
            found.extend(near.map(|near| (near.number, near.locator)));
        }
        let mut near = Vec::new();
        for (number, locator) in found {
            let feature = self.layer.fetch(locator, number)?;
            near.extend(obstacles(&feature, self.layer.name()).0);
        }
        Ok(near)
    }
}

fn obstacles(feature: &Feature, file: &str) -> (Vec<Obstacle>, Vec<Issue>) {
    let mut issues = feature.notes.clone();
    let place = |issue: Issue| issue.in_file(file).at_feature(feature.number);
    let kind = word(feature, "kind", kind, &mut issues, place).unwrap_or(ObstacleKind::Building);
    let height_m = height_m(feature, &mut issues, place);
    let mut found = Vec::new();
    for piece in pieces(feature) {
        match piece {
            Ok(repaired) => {
                issues.extend(repaired.notes.into_iter().map(place));
                let obstacle = |polygon| Obstacle {
                    kind,
                    polygon,
                    height_m,
                };
                found.extend(repaired.parts.into_iter().map(obstacle));
            }
            Err(issue) => issues.push(place(issue)),
        }
    }
    (found, issues)
}

fn height_m(
    feature: &Feature,
    issues: &mut Vec<Issue>,
    place: impl Fn(Issue) -> Issue,
) -> Option<f64> {
    let attribute = column_of(&feature.attributes, "height_m")?;
    if attribute.text().trim().is_empty() {
        return None;
    }
    let height_m = attribute
        .number()
        .filter(|height_m| (0.0..=MOST_HEIGHT_M).contains(height_m));
    if height_m.is_none() {
        let found = format!("height_m `{}`", attribute.text());
        issues.push(place(Issue::new(Code::IN11, found)));
    }
    height_m
}

fn kind(word: &str) -> Option<ObstacleKind> {
    match word {
        "building" => Some(ObstacleKind::Building),
        "wall" => Some(ObstacleKind::Wall),
        "pavement" => Some(ObstacleKind::Pavement),
        "water" => Some(ObstacleKind::Water),
        "bed" => Some(ObstacleKind::Bed),
        "canopy" => Some(ObstacleKind::Canopy),
        "trunk" => Some(ObstacleKind::Trunk),
        _ => None,
    }
}
