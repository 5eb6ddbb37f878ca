//! Existing heads: each goes to the turf area that it stands on, or at most 1 m beside.

use std::collections::BTreeMap;

use rstar::{AABB, RTree, RTreeObject};

use super::feature::{Feature, bounds, column_of, quantity, two_units};
use super::filter::Filter;
use super::layer::{Layer, Role};
use super::parcels::fingerprint;
use super::plane::{distance_m, grown};
use super::source::Source;
use super::turf::{AreaKey, pieces, word};
use super::usage::{Clues, LayerUse, by_code};
use crate::assumptions::nearest;
use crate::issue::{Code, Issue};
use crate::site::{Condition, ExistingHead};

/// Columns that hold quantities.
const QUANTITIES: [&str; 4] = ["radius_m", "pressure_kpa", "flow_lpm", "body_mm"];
/// A head belongs to a lawn whose boundary is this near [m].
const REACH_M: f64 = 1.0;

/// The heads of a layer, and the turf area nearest to each so far.
pub(super) struct HeadField {
    layer: Layer,
    tree: RTree<Spot>,
    heads: Vec<Head>,
    /// Once settled: sorted by area, then number.
    links: Vec<Link>,
    read: u64,
    unused: BTreeMap<Code, u64>,
}

#[derive(Debug, Clone, Copy)]
struct Spot {
    at: [f64; 2],
    head: u32,
}

impl RTreeObject for Spot {
    type Envelope = AABB<[f64; 2]>;
    fn envelope(&self) -> AABB<[f64; 2]> {
        AABB::from_point(self.at)
    }
}

#[derive(Debug, Clone, Copy)]
struct Head {
    number: u64,
    locator: u64,
    /// Half a fingerprint of its `parcel_id`; it only breaks ties.
    parcel: Option<u64>,
    nearest: Option<Claim>,
}

#[derive(Debug, Clone, Copy)]
struct Claim {
    distance_m: f64,
    same_parcel: bool,
    area: AreaKey,
}

#[derive(Debug, Clone, Copy)]
struct Link {
    area: AreaKey,
    number: u64,
    locator: u64,
}

impl HeadField {
    /// Reads the whole layer once; what cannot be used is told.
    pub(super) fn open(source: &Source, issues: &mut Vec<Issue>) -> Result<HeadField, Issue> {
        let mut layer = Layer::open(source, Role::Heads, &Filter::default())?;
        let (mut spots, mut heads, mut read) = (Vec::new(), Vec::new(), 0);
        let first = issues.len();
        while let Some(feature) = layer.next()? {
            read += 1;
            let at = match feature.point() {
                Ok(at) => at,
                Err(issue) => {
                    issues.push(issue.in_file(layer.name()).at_feature(feature.number));
                    continue;
                }
            };
            let Ok(head) = u32::try_from(heads.len()) else {
                let found = "a layer may have 4,294,967,295 heads";
                return Err(Issue::new(Code::IN12, found).in_file(layer.name()));
            };
            spots.push(Spot {
                at: [at.x(), at.y()],
                head,
            });
            heads.push(Head {
                number: feature.number,
                locator: feature.locator,
                parcel: feature.text("parcel_id").map(|id| fingerprint(&id)[0]),
                nearest: None,
            });
        }
        two_units(layer.columns(), &QUANTITIES).map_err(|issue| issue.in_file(layer.name()))?;
        let tree = RTree::bulk_load(spots);
        Ok(HeadField {
            layer,
            tree,
            heads,
            links: Vec::new(),
            read,
            unused: by_code(&issues[first..]),
        })
    }

    /// How many rows the layer has.
    pub(super) fn read(&self) -> u64 {
        self.read
    }

    /// How its rows were used, when so many were handed over.
    pub(super) fn usage(&self, joined: u64) -> (LayerUse, Clues) {
        let mut usage = LayerUse::of(Role::Heads.name(), self.read);
        usage.used = joined;
        usage.unused = self.unused.clone();
        let unused: u64 = self.unused.values().sum();
        usage.left_out = self.read.saturating_sub(joined + unused);
        (usage, self.layer.clues())
    }

    /// Lets a lawn claim the heads that are nearer to it than to any before. At equal distance
    /// the lawn of the head's own `parcel_id` wins, else the first.
    pub(super) fn claim(&mut self, lawn: &Feature, parcel: Option<&str>) {
        let parcel = parcel.map(|id| fingerprint(id)[0]);
        let usable = pieces(lawn)
            .into_iter()
            .flatten()
            .flat_map(|repaired| repaired.parts);
        for (ordinal, polygon) in usable.enumerate() {
            let [west, south, east, north] = grown(bounds(&polygon), REACH_M);
            let around = AABB::from_corners([west, south], [east, north]);
            for spot in self.tree.locate_in_envelope(&around) {
                let distance_m = distance_m(geo::Point::from(spot.at), &polygon);
                if distance_m > REACH_M {
                    continue;
                }
                let head = &mut self.heads[spot.head as usize]; // spots are made with heads
                let same_parcel = parcel.is_some() && head.parcel == parcel;
                let nearer = head.nearest.is_none_or(|held| {
                    distance_m < held.distance_m
                        || (distance_m == held.distance_m && same_parcel && !held.same_parcel)
                });
                if nearer {
                    let area = (lawn.number, ordinal as u32); // a feature has few areas
                    head.nearest = Some(Claim {
                        distance_m,
                        same_parcel,
                        area,
                    });
                }
            }
        }
    }

    /// Ends the claims; heads that nobody claimed are told.
    pub(super) fn settle(&mut self, issues: &mut Vec<Issue>) -> u64 {
        let mut orphaned = 0;
        let first = issues.len();
        for head in std::mem::take(&mut self.heads) {
            let Head {
                number, locator, ..
            } = head;
            match head.nearest {
                Some(claim) => self.links.push(Link {
                    area: claim.area,
                    number,
                    locator,
                }),
                None => {
                    orphaned += 1;
                    let found = format!("no turf within {REACH_M} m");
                    let issue = Issue::new(Code::JO05, found);
                    issues.push(issue.in_file(self.layer.name()).at_feature(number));
                }
            }
        }
        self.tree = RTree::new();
        for (code, rows) in by_code(&issues[first..]) {
            *self.unused.entry(code).or_default() += rows;
        }
        self.links
            .sort_unstable_by_key(|link| (link.area, link.number));
        orphaned
    }

    /// The heads of some turf areas, in input order, each with the place of its area in the list.
    pub(super) fn on(
        &mut self,
        areas: &[AreaKey],
        parcel: &str,
        issues: &mut Vec<Issue>,
    ) -> Result<Vec<(usize, ExistingHead)>, Issue> {
        let mut found = Vec::new();
        for (index, area) in areas.iter().enumerate() {
            let from = self.links.partition_point(|link| link.area < *area);
            found.extend(
                self.links[from..]
                    .iter()
                    .take_while(|link| link.area == *area)
                    .map(|link| (link.number, link.locator, index)),
            );
        }
        found.sort_unstable();
        let mut heads = Vec::with_capacity(found.len());
        for (number, locator, index) in found {
            let feature = self.layer.fetch(locator, number)?;
            let place = |issue: Issue| {
                issue
                    .in_file(self.layer.name())
                    .at_feature(number)
                    .of_parcel(parcel)
            };
            heads.push((index, head(&feature, feature.point()?, issues, place)));
        }
        Ok(heads)
    }
}

fn head(
    feature: &Feature,
    position: geo::Point<f64>,
    issues: &mut Vec<Issue>,
    place: impl Fn(Issue) -> Issue,
) -> ExistingHead {
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
    let radius_m = number("radius_m", 0.1, 60.0);
    let arc_deg = number("arc_deg", 1.0, 360.0);
    let azimuth_deg = number("azimuth_deg", -360.0, 360.0);
    let pressure_kpa = number("pressure_kpa", 1.0, 3_000.0);
    let flow_lpm = number("flow_lpm", 0.001, 1_000.0);
    let body_mm = number("body_mm", 1.0, 1_000.0);
    ExistingHead {
        position,
        family: feature
            .text("nozzle_family")
            .map(|name| name.trim().to_owned()),
        radius_m,
        arc_deg,
        azimuth_deg: azimuth_deg.map(|degrees| degrees.rem_euclid(360.0)),
        pressure_kpa,
        flow_lpm,
        station: feature.text("station").map(|name| name.trim().to_owned()),
        regulated: word(feature, "regulated", yes_or_no, issues, &place),
        body_mm,
        condition: condition(feature, issues, &place),
    }
}

fn yes_or_no(word: &str) -> Option<bool> {
    match word {
        "true" | "yes" | "y" | "t" | "1" => Some(true),
        "false" | "no" | "n" | "f" | "0" => Some(false),
        _ => None,
    }
}

/// The words of the `condition` column.
const CONDITIONS: [(&str, Condition); 7] = [
    ("ok", Condition::Ok),
    ("sunk", Condition::Sunk),
    ("tilted", Condition::Tilted),
    ("blocked", Condition::Blocked),
    ("leaking", Condition::Leaking),
    ("broken", Condition::Broken),
    ("misaimed", Condition::Misaimed),
];

fn condition(
    feature: &Feature,
    issues: &mut Vec<Issue>,
    place: impl Fn(Issue) -> Issue,
) -> Option<Condition> {
    let text = column_of(&feature.attributes, "condition")?.text();
    let text = text.trim();
    if text.is_empty() {
        return None;
    }
    let known = CONDITIONS
        .iter()
        .find(|(word, _)| word.eq_ignore_ascii_case(text));
    if known.is_none() {
        let words = CONDITIONS.map(|(word, _)| word);
        let found = match nearest(text, words) {
            Some(word) => format!("condition `{text}`; did you mean `{word}`?"),
            None => format!("condition `{text}`, one of {} is allowed", words.join(", ")),
        };
        issues.push(place(Issue::new(Code::IN11, found)));
    }
    known.map(|&(_, condition)| condition)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::{Attribute, Attributes};

    #[test]
    fn columns_of_a_head() {
        let mut feature = Feature::bad(1, 0, Issue::new(Code::GE01, ""));
        feature.attributes = Attributes(vec![
            ("nozzle_fam".into(), Attribute::Text("spray".into())),
            ("radius_m".into(), Attribute::Text("4.5".into())),
            ("arc_deg".into(), Attribute::Number(400.0)),
            ("azimuth_de".into(), Attribute::Number(-90.0)),
            ("flow_lpm".into(), Attribute::Text("fast".into())),
            ("station".into(), Attribute::Number(3.0)),
            ("regulated".into(), Attribute::Number(1.0)),
            ("condition".into(), Attribute::Text("Tilted".into())),
        ]);
        let mut issues = Vec::new();
        let head = head(&feature, geo::Point::new(5.0, 43.0), &mut issues, |issue| {
            issue
        });
        assert_eq!(head.family.as_deref(), Some("spray"));
        assert_eq!((head.radius_m, head.arc_deg), (Some(4.5), None));
        assert_eq!((head.azimuth_deg, head.flow_lpm), (Some(270.0), None));
        assert_eq!(head.station.as_deref(), Some("3"));
        assert_eq!(
            (head.regulated, head.condition),
            (Some(true), Some(Condition::Tilted))
        );
        assert_eq!((head.pressure_kpa, head.body_mm), (None, None));
        assert_eq!(issues.len(), 2);
        assert!(issues.iter().all(|issue| issue.code == Code::IN11));
    }
}
