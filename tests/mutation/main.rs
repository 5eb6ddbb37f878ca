//! Inputs with something changed in them by chance: their bytes, the tree of their JSON, their coordinates.
//! Whatever comes in, there is a reading or a code, and never a panic.
//!
//! `EVENFALL_MUTATIONS` sets how many inputs are tried and `EVENFALL_SEED` from where the chances start;
//! `scripts/soak` tries a million, and with `EVENFALL_SLOWEST_S` fails where one takes longer.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "../shared/mod.rs"]
mod shared;
mod slow;
mod stopwatch;

use std::env;
use std::panic::{self, AssertUnwindSafe};

use evenfall::catalogue::{Catalogue, GENERIC_TOML};
use evenfall::climate::Climates;
use evenfall::plan::Planner;
use evenfall::read::{Inputs, Neighbourhood, Reading, Source};
use evenfall::write::record::Record;
use evenfall::write::wanted::Wanted;
use serde_json::{Value, json};
use shared::planner_by_rule;
use stopwatch::Stopwatch;

/// Tried in every run of the tests.
const TRIED: u64 = 20_000;
/// One of so many is also planned.
const PLANNED_EVERY: u64 = 40;

/// Numbers that look random, always the same ones for a seed.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        // Steele, Lea and Flood 2014, Fast splittable pseudorandom number generators, OOPSLA, figure 17.
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    fn below(&mut self, count: usize) -> usize {
        (self.next() % count.max(1) as u64) as usize
    }

    fn one_of<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        &list[self.below(list.len())]
    }
}

/// A square with its corner at a place, in units of about 1 m.
fn ring(x: f64, y: f64, size: f64) -> Value {
    let at = |dx: f64, dy: f64| json!([5.0 + (x + dx) * 1e-5, 43.0 + (y + dy) * 1e-5]);
    json!([
        at(0.0, 0.0),
        at(size, 0.0),
        at(size, size),
        at(0.0, size),
        at(0.0, 0.0)
    ])
}

fn feature(properties: Value, geometry: Value) -> Value {
    json!({"type": "Feature", "properties": properties, "geometry": geometry})
}

fn polygon(rings: &[Value]) -> Value {
    json!({"type": "Polygon", "coordinates": rings})
}

fn point(x: f64, y: f64) -> Value {
    json!({"type": "Point", "coordinates": [5.0 + x * 1e-5, 43.0 + y * 1e-5]})
}

/// Small layers of every role that is GeoJSON.
fn layers() -> Vec<(&'static str, Vec<Value>)> {
    let hole = {
        let mut hole = ring(2.0, 2.0, 2.0);
        hole.as_array_mut().unwrap().reverse();
        hole
    };
    let parcel = json!({"parcel_id": "a", "plant.grass": "cool"});
    vec![
        (
            "turf",
            vec![
                feature(
                    json!({"parcel_id": "a", "exposure": "sun", "grass": "warm"}),
                    polygon(&[ring(0.0, 0.0, 7.0), hole]),
                ),
                feature(
                    json!({"parcel_id": "b"}),
                    json!({"type": "MultiPolygon", "coordinates": [[ring(20.0, 0.0, 5.0)], [ring(30.0, 0.0, 4.0)]]}),
                ),
                feature(json!({}), polygon(&[ring(50.0, 0.0, 6.0)])),
            ],
        ),
        (
            "parcels",
            vec![
                feature(parcel, polygon(&[ring(-2.0, -2.0, 14.0)])),
                feature(
                    json!({"parcel_id": "b"}),
                    polygon(&[ring(18.0, -2.0, 40.0)]),
                ),
            ],
        ),
        (
            "heads",
            vec![
                feature(
                    json!({"nozzle_family": "spray", "radius_m": 4.0, "arc_deg": 90, "azimuth_deg": 0,
                           "station": "1", "condition": "ok"}),
                    point(0.0, 0.0),
                ),
                feature(json!({"radius_m": 3.5}), point(7.0, 7.0)),
                feature(
                    json!({"pressure_kpa": 200, "flow_lpm": 4.5}),
                    point(0.0, 7.0),
                ),
            ],
        ),
        (
            "obstacles",
            vec![
                feature(
                    json!({"kind": "building", "height_m": 4}),
                    polygon(&[ring(8.0, 0.0, 3.0)]),
                ),
                feature(json!({"kind": "trunk"}), polygon(&[ring(1.0, 6.0, 0.4)])),
            ],
        ),
        (
            "supply",
            vec![feature(
                json!({"kind": "meter", "size_mm": 20, "static_kpa": 400, "flow_lpm": 40, "parcel_id": "a"}),
                point(-1.0, -1.0),
            )],
        ),
    ]
}

fn text_of(features: &[Value], sequence: bool) -> Vec<u8> {
    if sequence {
        let lines: Vec<String> = features.iter().map(Value::to_string).collect();
        return lines.join("\n").into_bytes();
    }
    json!({"type": "FeatureCollection", "features": features})
        .to_string()
        .into_bytes()
}

/// Changes bytes: turned, removed, doubled, put in, cut off.
fn change_bytes(bytes: &mut Vec<u8>, chance: &mut Chance) {
    const BITS: [&[u8]; 10] = [
        b"\0",
        b"\"",
        b"{",
        b"]",
        b",",
        b"-",
        b"1e999",
        b"\xff\xfe",
        b"\\ud800",
        b"\x1e",
    ];
    for _ in 0..=chance.below(3) {
        let at = chance.below(bytes.len());
        let to = (at + 1 + chance.below(12)).min(bytes.len());
        match chance.below(5) {
            0 if !bytes.is_empty() => bytes[at] ^= 1 << chance.below(8),
            1 => drop(bytes.drain(at.min(to)..to)),
            2 => {
                let again = bytes[at.min(to)..to].to_vec();
                bytes.splice(at..at, again);
            }
            3 => drop(bytes.splice(at..at, chance.one_of(&BITS).iter().copied())),
            _ => bytes.truncate(bytes.len().saturating_sub(chance.below(40))),
        }
    }
}

/// Visits a value inside a tree, picked by its place in the walk.
fn pick<'v>(value: &'v mut Value, left: &mut usize, only_numbers: bool) -> Option<&'v mut Value> {
    if !only_numbers || value.is_number() {
        if *left == 0 {
            return Some(value);
        }
        *left -= 1;
    }
    match value {
        Value::Array(items) => items
            .iter_mut()
            .find_map(|item| pick(item, left, only_numbers)),
        Value::Object(members) => members
            .iter_mut()
            .find_map(|(_, item)| pick(item, left, only_numbers)),
        _ => None,
    }
}

fn size(value: &Value, only_numbers: bool) -> usize {
    let own = usize::from(!only_numbers || value.is_number());
    own + match value {
        Value::Array(items) => items.iter().map(|item| size(item, only_numbers)).sum(),
        Value::Object(members) => members.values().map(|item| size(item, only_numbers)).sum(),
        _ => 0,
    }
}

/// Puts something else in the place of a node of the tree.
fn change_tree(features: &mut [Value], chance: &mut Chance) {
    for _ in 0..=chance.below(2) {
        let at = chance.below(features.len());
        let mut left = chance.below(size(&features[at], false));
        let Some(node) = pick(&mut features[at], &mut left, false) else {
            continue;
        };
        *node = match chance.below(12) {
            0 => Value::Null,
            1 => json!([]),
            2 => json!({}),
            3 => json!(""),
            4 => json!("Polygon"),
            5 => json!(-1),
            6 => json!(true),
            7 => json!([node.clone()]),
            8 => json!([node.clone(), node.clone()]),
            9 => json!({"type": "GeometryCollection", "geometries": [node.clone()]}),
            10 => (0..chance.below(200)).fold(node.clone(), |inner, _| json!([inner])),
            _ => match &*node {
                Value::Array(items) if !items.is_empty() => {
                    let mut items = items.clone();
                    items.remove(chance.below(items.len()));
                    Value::Array(items)
                }
                other => json!([other.clone(), null]),
            },
        };
    }
}

/// Moves single numbers: far, near, on one another, out of every range.
fn change_numbers(features: &mut [Value], chance: &mut Chance) {
    const FAR: [f64; 14] = [
        0.0,
        -0.0,
        1e-300,
        1e-9,
        180.0,
        -180.0,
        180.000_000_1,
        90.0,
        -91.0,
        1e6,
        1e17,
        1e300,
        -1e308,
        5e-324,
    ];
    for _ in 0..=chance.below(4) {
        let at = chance.below(features.len());
        let count = size(&features[at], true);
        let (mut from, mut to) = (chance.below(count), chance.below(count));
        let other = pick(&mut features[at], &mut from, true).and_then(|node| node.as_f64());
        let Some(node) = pick(&mut features[at], &mut to, true) else {
            continue;
        };
        let value = node.as_f64().unwrap_or(0.0);
        let moved = match chance.below(5) {
            0 => *chance.one_of(&FAR),
            1 => value + (chance.below(2_001) as f64 - 1_000.0) * 1e-7,
            2 => value + (chance.below(2_001) as f64 - 1_000.0) * 1e-5,
            3 => other.unwrap_or(value),
            _ => value.next_up(),
        };
        *node = json!(moved);
    }
}

/// What was tried.
#[derive(Debug, Default)]
struct Score {
    tried: u64,
    refused: u64,
    parcels: u64,
    failed: u64,
    planned: u64,
}

/// Reads layers with one change, and plans some of them.
fn try_layers(number: u64, chance: &mut Chance, planner: &Planner, score: &mut Score) {
    let mut layers = layers();
    // The turf alone, with one other layer, or with all of them.
    let wanted = chance.below(layers.len() + 1);
    layers.retain({
        let mut at = 0;
        move |_| {
            let keep = at == 0 || at == wanted || wanted == 5;
            at += 1;
            keep
        }
    });
    let changed = chance.below(layers.len());
    let sequence = chance.below(3) == 0;
    let mut texts = Vec::new();
    for (at, (role, features)) in layers.iter_mut().enumerate() {
        let change = if at == changed { chance.below(3) } else { 3 };
        match change {
            1 => change_tree(features, chance),
            2 => change_numbers(features, chance),
            _ => {}
        }
        let mut bytes = text_of(features, sequence);
        if change == 0 {
            change_bytes(&mut bytes, chance);
        }
        let name = format!("{role}.{}", if sequence { "geojsonl" } else { "geojson" });
        texts.push((*role, Source::from_bytes(name, bytes)));
    }
    let of = |role: &str| {
        texts
            .iter()
            .find(|(named, _)| *named == role)
            .map(|(_, s)| s.clone())
    };
    let mut inputs = Inputs::of_turf(of("turf").unwrap());
    inputs.parcels = of("parcels");
    inputs.heads = of("heads");
    inputs.obstacles = of("obstacles");
    inputs.supply = of("supply");
    let mut readings = match Neighbourhood::open(&inputs) {
        Ok(readings) => readings,
        Err(_) => {
            score.refused += 1;
            return;
        }
    };
    for reading in readings.by_ref() {
        match reading {
            Ok(Reading::Parcel(parcel)) => {
                score.parcels += 1;
                if number.is_multiple_of(PLANNED_EVERY) {
                    let plan = planner.plan(&parcel);
                    let record = Record::of(&plan, &Wanted::default());
                    assert_eq!(record.index, parcel.index);
                    score.planned += 1;
                }
            }
            Ok(Reading::Failed { .. }) => score.failed += 1,
            Err(_) => score.refused += 1,
        }
    }
}

/// Reads a table or a catalogue with bytes changed.
fn try_text(chance: &mut Chance, score: &mut Score) {
    let climate: String = (1..=12)
        .map(|month| format!("{month},100,20,2,50,15\n"))
        .collect();
    let climate = format!("month,eto_mm,rain_mm,wind_m_s,rh_pct,t_c\n{climate}");
    let is_climate = chance.below(2) == 0;
    let mut bytes = if is_climate {
        climate.into_bytes()
    } else {
        GENERIC_TOML.as_bytes().to_vec()
    };
    change_bytes(&mut bytes, chance);
    let text = String::from_utf8_lossy(&bytes);
    let refused = if is_climate {
        Climates::parse(&text, "climate.csv").is_err()
    } else {
        Catalogue::parse(&text, "catalogue.toml").is_err()
    };
    score.refused += u64::from(refused);
}

fn number_of(variable: &str) -> Option<u64> {
    env::var(variable).ok()?.parse().ok()
}

#[test]
fn no_change_of_an_input_gets_through_as_a_panic() {
    let seed = number_of("EVENFALL_SEED").unwrap_or(1);
    let count = number_of("EVENFALL_MUTATIONS").unwrap_or(TRIED);
    let slowest_s = number_of("EVENFALL_SLOWEST_S");
    let from = number_of("EVENFALL_FROM").unwrap_or(0);
    let planner = Planner {
        inp: true,
        ..planner_by_rule()
    };
    let (mut score, mut bad, mut slowest) = (Score::default(), Vec::new(), (0.0, 0));
    for number in from..from + count {
        let began = Stopwatch::start();
        let mut chance = Chance(seed.wrapping_mul(0x1_0000_0001).wrapping_add(number));
        let tried = panic::catch_unwind(AssertUnwindSafe(|| {
            if number % 10 == 9 {
                try_text(&mut chance, &mut score);
            } else {
                try_layers(number, &mut chance, &planner, &mut score);
            }
        }));
        score.tried += 1;
        let took_s = began.took_s();
        if took_s > slowest.0 {
            slowest = (took_s, number);
        }
        let is_slow = slowest_s.is_some_and(|most| took_s > most as f64);
        if tried.is_err() || is_slow {
            bad.push(number);
        }
    }
    println!(
        "{score:?}; the slowest took {:.2} s (number {})",
        slowest.0, slowest.1
    );
    println!(
        "score: changed inputs end in readings or codes: {} of {}",
        score.tried - bad.len() as u64,
        score.tried
    );
    assert!(bad.is_empty(), "seed {seed}, numbers {bad:?}");
    // Changes must reach every way out, or nothing was tested.
    assert!(
        score.refused > count / 100 && score.parcels > count / 4,
        "{score:?}"
    );
    assert!(
        score.failed > count / 100 && score.planned > count / 200,
        "{score:?}"
    );
}
