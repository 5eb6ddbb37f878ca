//! Obstacles: each parcel gets those that its heads may reach.

use std::collections::{BTreeMap, BTreeSet};

use rstar::{AABB, RTree, RTreeObject};

use super::feature::{Feature, bounds, quantity, two_units};
use super::filter::Filter;
use super::layer::{Layer, Role};
use super::plane::grown;
use super::source::Source;
use super::turf::{pieces, word};
use super::usage::{Clues, LayerUse};
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
    unusable: BTreeMap<Code, u64>,
    /// Numbers of those that were handed over.
    used: BTreeSet<u64>,
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
        let (mut boxes, mut read, mut unusable) = (Vec::new(), 0, BTreeMap::new());
        while let Some(feature) = layer.next()? {
            read += 1;
            let (obstacles, found) = obstacles(&feature, layer.name());
            if obstacles.is_empty() {
                let grave = found.iter().find(|issue| issue.is_grave());
                let code = grave.map_or(Code::GE01, |issue| issue.code);
                *unusable.entry(code).or_default() += 1;
            }
            issues.extend(found);
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
        two_units(layer.columns(), &["height_m"]).map_err(|issue| issue.in_file(layer.name()))?;
        Ok(ObstacleField {
            layer,
            tree: RTree::bulk_load(boxes),
            read,
            unusable,
            used: BTreeSet::new(),
        })
    }

    /// How many rows the layer has, and how many of them cannot be used.
    pub(super) fn counts(&self) -> (u64, u64) {
        (self.read, self.unusable.values().sum())
    }

    /// How its rows were used so far.
    pub(super) fn usage(&self) -> (LayerUse, Clues) {
        let mut usage = LayerUse::of(Role::Obstacles.name(), self.read);
        usage.used = self.used.len() as u64;
        usage.unused = self.unusable.clone();
        let (_, unusable) = self.counts();
        usage.elsewhere = self.read.saturating_sub(usage.used + unusable);
        (usage, self.layer.clues())
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
        self.used.extend(found.keys());
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
    let read = quantity(&feature.attributes, "height_m")?;
    let shown = |value: f64| ("height_m".to_owned(), value.to_string());
    let within = read.and_then(|value| match (0.0..=MOST_HEIGHT_M).contains(&value) {
        true => Ok(value),
        false => Err(shown(value)),
    });
    if let Err((name, text)) = &within {
        let found = format!("{name} `{text}`");
        issues.push(place(Issue::new(Code::IN11, found)));
    }
    within.ok()
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
