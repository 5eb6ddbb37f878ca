//! Existing heads: each goes to the turf area that it names, else to the one that it stands on or
//! stands at most 1 m beside.
//!
//! A head names a turf area by `turf_id` (the layer's own, or the one that the program gives, such as
//! `A#2`) and a parcel by `parcel_id`: of the turf of that parcel it takes the nearest. What it names
//! wins over where it stands. Beyond [`REACH_M`] the two disagree, which is reported; a head that
//! names what does not exist, or that is too far from everything, is left out, reported and counted.

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
use crate::site::{Condition, ExistingHead, LonLatPolygon};

/// Columns that hold quantities.
const QUANTITIES: [&str; 4] = ["radius_m", "pressure_kpa", "flow_lpm", "body_mm"];
/// A head belongs to a turf area whose boundary is this near [m]: the error of a survey by hand.
/// Choice of this program.
const REACH_M: f64 = 1.0;
/// A head that names its parcel alone, and stands on nobody's turf, belongs to the parcel's turf up
/// to this distance [m], the error of a handheld receiver; farther off it waters something else.
/// Choice of this program.
const PARCEL_REACH_M: f64 = 5.0;
/// Farther than this from what it names [m], id or place is a blunder, and the head is left out.
/// Choice of this program.
const NAMED_REACH_M: f64 = 50.0;

/// The heads of a layer, and the turf area nearest to each so far.
pub(super) struct HeadField {
    layer: Layer,
    tree: RTree<Spot>,
    heads: Vec<Head>,
    /// Heads by the parcel and by the turf area that they name; sorted.
    by_parcel: Vec<(u64, u32)>,
    by_turf: Vec<(u64, u32)>,
    /// Pieces of turf seen so far of each parcel, as far as heads name turf areas.
    numbered: BTreeMap<u64, u32>,
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
    at: [f64; 2],
    /// Half a fingerprint of its `parcel_id`.
    parcel: Option<u64>,
    /// Whether it has a `turf_id`.
    names_turf: bool,
    /// The area on which it stands, or nearly.
    nearest: Option<Claim>,
    /// The area that it names.
    named: Option<(Named, Claim)>,
}

/// By what a head names a turf area; the later wins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Named {
    Parcel,
    Turf,
}

#[derive(Debug, Clone, Copy)]
struct Claim {
    distance_m: f64,
    area: AreaKey,
}

/// What is to be reported of a head that has its place, and how far off it stands \[m\].
type Doubt = (Code, f64);

impl Head {
    /// Where it belongs, and whether that is to be reported; else why it is left out.
    fn place(&self) -> Result<(AreaKey, Option<Doubt>), (Code, Option<f64>)> {
        match (self.named, self.nearest) {
            (Some((named, claim)), nearest) => {
                let reach_m = match (named, nearest) {
                    (Named::Parcel, None) => PARCEL_REACH_M,
                    _ => NAMED_REACH_M,
                };
                let distance_m = claim.distance_m;
                if distance_m > reach_m {
                    Err((Code::JO05, Some(distance_m)))
                } else if distance_m > REACH_M {
                    Ok((claim.area, Some((Code::HE07, distance_m))))
                } else if self.names_turf && named == Named::Parcel {
                    Ok((claim.area, Some((Code::HE08, distance_m))))
                } else {
                    Ok((claim.area, None))
                }
            }
            (None, _) if self.names_turf || self.parcel.is_some() => Err((Code::HE06, None)),
            (None, Some(claim)) => Ok((claim.area, None)),
            (None, None) => Err((Code::JO05, None)),
        }
    }
}

/// What stands for the id of a turf area: its own, or the parcel's with a number.
fn numbered_key(parcel: u64, tail: &str) -> u64 {
    parcel ^ fingerprint(tail)[1]
}

/// The heads of a key.
fn of_key(index: &[(u64, u32)], key: u64) -> impl Iterator<Item = usize> + '_ {
    let from = index.partition_point(|entry| entry.0 < key);
    let own = index[from..].iter().take_while(move |entry| entry.0 == key);
    own.map(|&(_, head)| head as usize)
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
        let (mut by_parcel, mut by_turf) = (Vec::new(), Vec::new());
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
            let parcel = feature.text("parcel_id").map(|id| fingerprint(&id)[0]);
            by_parcel.extend(parcel.map(|key| (key, head)));
            let turf = feature.text("turf_id");
            if let Some(id) = &turf {
                by_turf.push((fingerprint(id)[0], head));
                if let Some((parcel, tail)) = id.rsplit_once('#') {
                    by_turf.push((numbered_key(fingerprint(parcel)[0], tail), head));
                }
            }
            let at = [at.x(), at.y()];
            spots.push(Spot { at, head });
            heads.push(Head {
                number: feature.number,
                locator: feature.locator,
                at,
                parcel,
                names_turf: turf.is_some(),
                nearest: None,
                named: None,
            });
        }
        two_units(layer.columns(), &QUANTITIES).map_err(|issue| issue.in_file(layer.name()))?;
        by_parcel.sort_unstable();
        by_turf.sort_unstable();
        let tree = RTree::bulk_load(spots);
        Ok(HeadField {
            layer,
            tree,
            heads,
            by_parcel,
            by_turf,
            numbered: BTreeMap::new(),
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

    /// Lets a feature of the turf layer claim heads: those that name it, and those that are nearer to
    /// it than to any before, the first of equals. `parcel` is half a fingerprint of its parcel's id;
    /// a feature that is not `counted` has no number in its parcel.
    pub(super) fn claim(&mut self, lawn: &Feature, parcel: Option<u64>, counted: bool) {
        let own = lawn.text("turf_id");
        let pieces = pieces(lawn);
        let first = self.number(pieces.len() as u32, parcel.filter(|_| counted)); // few pieces
        let alone = pieces.len() == 1;
        let mut ordinal = 0;
        for (k, piece) in pieces.into_iter().enumerate() {
            let Ok(repaired) = piece else { continue };
            let whole = repaired.parts.len() == 1;
            for (j, polygon) in repaired.parts.iter().enumerate() {
                let part = if whole {
                    String::new()
                } else {
                    format!(".{}", j + 1)
                };
                let mut keys = Vec::new();
                if let Some(own) = &own {
                    let id = if alone {
                        format!("{own}{part}")
                    } else {
                        format!("{own}.{}{part}", k + 1)
                    };
                    keys.push(fingerprint(&id)[0]);
                    keys.extend((id != *own).then(|| fingerprint(own)[0]));
                }
                if let (Some(parcel), Some(first)) = (parcel, first) {
                    let tail = format!("{}{part}", first as usize + k + 1);
                    keys.push(numbered_key(parcel, &tail));
                }
                let area = (lawn.number, ordinal);
                self.claim_named(polygon, area, parcel, &keys);
                self.claim_near(polygon, area);
                ordinal += 1;
            }
        }
    }

    /// Numbers the pieces of a feature in its parcel; gives how many came before. Nobody asks while
    /// no head names a turf area.
    fn number(&mut self, pieces: u32, parcel: Option<u64>) -> Option<u32> {
        let parcel = parcel.filter(|_| !self.by_turf.is_empty())?;
        let count = self.numbered.entry(parcel).or_default();
        let first = *count;
        *count += pieces;
        Some(first)
    }

    fn claim_named(
        &mut self,
        polygon: &LonLatPolygon,
        area: AreaKey,
        parcel: Option<u64>,
        keys: &[u64],
    ) {
        let by_turf = keys.iter().flat_map(|&key| {
            let named = of_key(&self.by_turf, key);
            named.map(|head| (Named::Turf, head))
        });
        let by_parcel = parcel.into_iter().flat_map(|key| {
            let named = of_key(&self.by_parcel, key);
            named.map(|head| (Named::Parcel, head))
        });
        for (named, head) in by_turf.chain(by_parcel) {
            let head = &mut self.heads[head]; // the indexes are made with heads
            // Turf of another parcel may have the same turf_id.
            if head.parcel.is_some() && head.parcel != parcel {
                continue;
            }
            let distance_m = distance_m(geo::Point::from(head.at), polygon);
            let better = head.named.is_none_or(|(held, claim)| {
                named > held || (named == held && distance_m < claim.distance_m)
            });
            if better {
                head.named = Some((named, Claim { distance_m, area }));
            }
        }
    }

    fn claim_near(&mut self, polygon: &LonLatPolygon, area: AreaKey) {
        let [west, south, east, north] = grown(bounds(polygon), REACH_M);
        let around = AABB::from_corners([west, south], [east, north]);
        for spot in self.tree.locate_in_envelope(&around) {
            let distance_m = distance_m(geo::Point::from(spot.at), polygon);
            let head = &mut self.heads[spot.head as usize]; // spots are made with heads
            let nearer = |held: Claim| distance_m < held.distance_m;
            if distance_m <= REACH_M && head.nearest.is_none_or(nearer) {
                head.nearest = Some(Claim { distance_m, area });
            }
        }
    }

    /// Ends the claims; heads that belong to nothing, or whose id and place disagree, are reported.
    /// Gives how many are left out, and how many are kept by their id away from their place.
    pub(super) fn settle(&mut self, issues: &mut Vec<Issue>) -> Result<(u64, u64), Issue> {
        let (mut left_out, mut displaced) = (0, 0);
        for head in std::mem::take(&mut self.heads) {
            let (code, found) = match head.place() {
                Ok((area, doubt)) => {
                    let Head {
                        number, locator, ..
                    } = head;
                    self.links.push(Link {
                        area,
                        number,
                        locator,
                    });
                    let Some((code, distance_m)) = doubt else {
                        continue;
                    };
                    displaced += u64::from(code == Code::HE07);
                    let names = self.names(&head)?;
                    (code, format!("{names}, {distance_m:.1} m away"))
                }
                Err((code, distance_m)) => {
                    left_out += 1;
                    *self.unused.entry(code).or_default() += 1;
                    let names = match distance_m.is_some() || code == Code::HE06 {
                        true => self.names(&head)?,
                        false => format!("no turf within {REACH_M} m"),
                    };
                    let away = distance_m.map(|distance_m| format!(", {distance_m:.1} m away"));
                    (code, format!("{names}{}", away.unwrap_or_default()))
                }
            };
            let issue = Issue::new(code, found).in_file(self.layer.name());
            issues.push(issue.at_feature(head.number));
        }
        self.tree = RTree::new();
        (self.by_parcel, self.by_turf) = (Vec::new(), Vec::new());
        self.numbered = BTreeMap::new();
        self.links
            .sort_unstable_by_key(|link| (link.area, link.number));
        Ok((left_out, displaced))
    }

    /// What a head names, for people.
    fn names(&mut self, head: &Head) -> Result<String, Issue> {
        let feature = self.layer.fetch(head.locator, head.number)?;
        let named = ["parcel_id", "turf_id"].into_iter().filter_map(|column| {
            let id = feature.text(column)?;
            Some(format!("{column} `{id}`"))
        });
        Ok(named.collect::<Vec<String>>().join(", "))
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
