//! Outputs parse, their counts agree, and their geometry follows the rules of its format.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod shared;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use serde_json::Value;
use shared::{evenfall, folder, lawn, lawns};

fn layer(out: &Path, name: &str) -> Vec<Value> {
    let text = fs::read_to_string(out.join(format!("{name}.geojson"))).unwrap();
    let whole: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(whole["type"], "FeatureCollection");
    assert!(whole.get("crs").is_none());
    whole["features"].as_array().unwrap().clone()
}

fn text<'a>(feature: &'a Value, column: &str) -> &'a str {
    feature["properties"][column].as_str().unwrap()
}

fn positions(ring: &Value) -> Vec<(f64, f64)> {
    let position = |p: &Value| (p[0].as_f64().unwrap(), p[1].as_f64().unwrap());
    ring.as_array().unwrap().iter().map(position).collect()
}

fn signed_area(ring: &[(f64, f64)]) -> f64 {
    let (x0, y0) = ring[0];
    ring.windows(2)
        .map(|p| (p[0].0 - x0) * (p[1].1 - y0) - (p[1].0 - x0) * (p[0].1 - y0))
        .sum()
}

fn planned(home: &Path, more: &[&str]) -> std::path::PathBuf {
    let arguments = [
        &[
            "plan",
            "--turf",
            "turf.geojson",
            "-o",
            "out",
            "--effort",
            "fast",
            "-q",
        ][..],
        more,
    ]
    .concat();
    let ran = evenfall(home, &arguments);
    assert!(matches!(ran.status, Some(0 | 1)), "{}", ran.stderr);
    home.join("out")
}

#[test]
fn layers_agree_with_each_other_and_with_the_summary() {
    let home = folder();
    lawns(home.path(), 5);
    let out = planned(home.path(), &[]);
    let (parcels, turf, heads, throws) = (
        layer(&out, "parcels"),
        layer(&out, "turf"),
        layer(&out, "heads"),
        layer(&out, "throws"),
    );
    assert_eq!(parcels.len(), 5);
    assert!(heads.len() > 20);
    // Throws are drawn as found and as recommended unless more is asked for.
    let drawn = turf.iter().filter(|area| {
        text(area, "scenario") == "as-found" || area["properties"]["recommended"] == true
    });
    let drawn: u64 = drawn
        .map(|area| area["properties"]["heads"].as_u64().unwrap())
        .sum();
    assert_eq!(throws.len() as u64, drawn);
    let out = planned(home.path(), &["--throws", "all", "--overwrite"]);
    let throws = layer(&out, "throws");
    assert_eq!(heads.len(), throws.len());
    let mut counted: BTreeMap<(&str, &str), (u64, f64)> = BTreeMap::new();
    for (head, throw) in heads.iter().zip(&throws) {
        assert_eq!(text(head, "head_id"), text(throw, "head_id"));
        let entry = counted
            .entry((text(head, "turf_id"), text(head, "scenario")))
            .or_default();
        entry.0 += 1;
        entry.1 += head["properties"]["flow_lpm"].as_f64().unwrap();
        let id = format!(
            "{}/{}/{}",
            text(head, "turf_id"),
            text(head, "scenario"),
            entry.0
        );
        assert_eq!(text(head, "head_id"), id);
    }
    for area in &turf {
        let (count, flow) = counted
            .get(&(text(area, "turf_id"), text(area, "scenario")))
            .copied()
            .unwrap_or_default();
        assert_eq!(area["properties"]["heads"].as_u64(), Some(count));
        // Each head's flow is rounded to 4 decimals.
        assert!(
            (area["properties"]["flow_lpm"].as_f64().unwrap() - flow).abs()
                < 1e-4 * (count + 1) as f64
        );
    }
    let summary: Value =
        serde_json::from_str(&fs::read_to_string(out.join("summary.json")).unwrap()).unwrap();
    let counts = &summary["parcels"];
    let sum: u64 = ["planned", "partial", "no_turf", "failed"]
        .iter()
        .map(|s| counts[s].as_u64().unwrap())
        .sum();
    assert_eq!(counts["inputs"].as_u64(), Some(sum));
    assert_eq!(sum, parcels.len() as u64);
    let scenarios = summary["scenarios"].as_array().unwrap();
    let areas: usize = turf
        .iter()
        .filter(|area| area["properties"]["heads"] != 0)
        .count();
    assert_eq!(
        scenarios
            .iter()
            .map(|s| s["areas"].as_u64().unwrap())
            .sum::<u64>(),
        areas as u64
    );
    let csv = fs::read_to_string(out.join("parcels.csv")).unwrap();
    assert_eq!(csv.lines().count(), 1 + parcels.len());
    assert!(csv.contains("\n00000,planned,"), "{csv}");
}

#[test]
fn rings_are_closed_and_right_handed_and_turf_keeps_every_bit() {
    let home = folder();
    lawns(home.path(), 2);
    let given = layer(home.path(), "turf");
    let out = planned(home.path(), &[]);
    let mut rings = 0;
    for name in ["turf", "throws"] {
        for feature in layer(&out, name) {
            assert_eq!(feature["geometry"]["type"], "Polygon");
            let outer = positions(&feature["geometry"]["coordinates"][0]);
            assert!(outer.len() >= 4);
            assert_eq!(outer.first(), outer.last());
            assert!(
                signed_area(&outer) > 0.0,
                "{name} {}",
                text(&feature, "turf_id")
            );
            rings += 1;
        }
    }
    assert!(rings > 10);
    let turf = layer(&out, "turf");
    for lawn in &given {
        let ring = |feature: &Value| positions(&feature["geometry"]["coordinates"][0]);
        let same = turf.iter().filter(|area| ring(area) == ring(lawn)).count();
        assert!(same > 1, "the lawn is not written as it was read");
    }
}

#[test]
fn numbers_are_written_to_their_decimals() {
    let home = folder();
    lawns(home.path(), 2);
    let out = planned(home.path(), &[]);
    let text = fs::read_to_string(out.join("heads.geojson")).unwrap();
    assert!(!text.contains("NaN") && !text.contains("inf"));
    assert!(!text.contains(":-0,") && !text.contains("[-0,"));
    let decimals = |number: &Value| {
        number
            .to_string()
            .split_once('.')
            .map_or(0, |(_, digits)| digits.len())
    };
    let heads = layer(&out, "heads");
    for head in &heads {
        for (column, most) in [
            ("x_m", 4),
            ("y_m", 4),
            ("flow_lpm", 4),
            ("radius_m", 2),
            ("arc_deg", 0),
        ] {
            assert!(decimals(&head["properties"][column]) <= most, "{column}");
        }
        for coordinate in head["geometry"]["coordinates"].as_array().unwrap() {
            assert!(decimals(coordinate) <= 8);
        }
    }
    assert!(!heads.is_empty());
}

#[test]
fn every_feature_has_the_columns_of_its_schema() {
    let home = folder();
    lawns(home.path(), 1);
    let out = planned(home.path(), &[]);
    let mut checked = 0;
    for name in ["parcels", "turf", "heads", "throws"] {
        let schema = evenfall(home.path(), &["schema", name]).stdout;
        let schema: Value = serde_json::from_str(&schema).unwrap();
        let columns =
            &schema["properties"]["features"]["items"]["properties"]["properties"]["properties"];
        for feature in layer(&out, name) {
            let properties = feature["properties"].as_object().unwrap();
            assert_eq!(
                properties.keys().collect::<Vec<_>>(),
                columns.as_object().unwrap().keys().collect::<Vec<_>>()
            );
            for (column, value) in properties {
                let kind = columns[column]["type"][0].as_str().unwrap();
                let fits = match value {
                    Value::Null => true,
                    Value::String(_) => kind == "string",
                    Value::Bool(_) => kind == "boolean",
                    Value::Number(number) => {
                        kind == "number" || (kind == "integer" && number.is_u64())
                    }
                    Value::Array(_) | Value::Object(_) => false,
                };
                assert!(fits, "{name} {column}: {value} is no {kind}");
                checked += 1;
            }
        }
    }
    assert!(checked > 100);
}

#[test]
fn a_table_holds_no_formula_and_keeps_ids() {
    let home = folder();
    let features = [lawn("=1+1", 0), lawn("00017", 1), lawn("a,\"b\"", 2)];
    let collection = format!(
        "{{\"type\":\"FeatureCollection\",\"features\":[{}]}}",
        features.join(",")
    );
    fs::write(home.path().join("turf.geojson"), collection).unwrap();
    let out = planned(home.path(), &[]);
    let csv = fs::read_to_string(out.join("parcels.csv")).unwrap();
    let starts: Vec<&str> = csv
        .lines()
        .skip(1)
        .map(|line| line.split(",planned").next().unwrap())
        .collect();
    assert_eq!(starts, ["'=1+1", "00017", "\"a,\"\"b\"\"\""]);
    let ids: Vec<String> = layer(&out, "parcels")
        .iter()
        .map(|parcel| text(parcel, "parcel_id").to_owned())
        .collect();
    assert_eq!(ids, ["=1+1", "00017", "a,\"b\""]);
}

#[test]
fn chosen_layers_hold_the_rows_of_a_whole_run_and_nothing_else_is_written() {
    let home = folder();
    lawns(home.path(), 4);
    let whole = planned(home.path(), &[]);
    let kept = |name: &str| fs::read(whole.join(name)).unwrap();
    let (parcels, turf, table) = (
        kept("parcels.geojson"),
        kept("turf.geojson"),
        kept("parcels.csv"),
    );
    let out = planned(home.path(), &["--layers", "turf", "--overwrite"]);
    let mut names: Vec<_> = fs::read_dir(&out)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.ends_with("json") || name == "walk.csv" || name == "schedule.csv")
        .collect();
    names.sort_unstable();
    assert_eq!(
        names,
        [
            "parcels.geojson",
            "run.json",
            "summary.json",
            "turf.geojson"
        ]
    );
    assert_eq!(fs::read(out.join("parcels.geojson")).unwrap(), parcels);
    assert_eq!(fs::read(out.join("turf.geojson")).unwrap(), turf);
    assert_eq!(fs::read(out.join("parcels.csv")).unwrap(), table);
    // A run from the record writes the same layers.
    let record = home.path().join("record.json");
    fs::copy(out.join("run.json"), &record).unwrap();
    let again = planned(home.path(), &["--from", "record.json", "--overwrite"]);
    assert!(!again.join("heads.geojson").exists());
    assert!(again.join("turf.geojson").exists());
}
