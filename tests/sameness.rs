//! The same bytes whatever route the input takes, however the work is cut up, and in whatever order the
//! parcels come. `EVENFALL_MATRIX=whole` runs every cell; `scripts/sameness` does.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod shared;

use std::collections::BTreeMap;
use std::env;
use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use serde_json::Value;
use shared::{contents, evenfall, folder, lawn};

/// So many lawns; the third has no geometry, and every fifth parcel has two.
fn features(count: u32) -> Vec<String> {
    let mut features: Vec<String> = Vec::new();
    for number in 0..count {
        features.push(lawn(&format!("{:05}", number - number % 5 / 4), number));
    }
    features.insert(
        2,
        "{\"type\":\"Feature\",\"properties\":{\"parcel_id\":\"=x\"},\"geometry\":null}".to_owned(),
    );
    features
}

/// Every file; `run.json` without the hashes of its inputs, `failures.csv` without the name of the
/// input.
fn outcome(out: &Path, input: &str) -> Vec<(String, Vec<u8>)> {
    let mut found = contents(out);
    for (name, bytes) in &mut found {
        if name == "failures.csv" {
            let text = String::from_utf8(bytes.clone()).unwrap();
            // A cell that begins with a minus is kept from being read as a formula.
            let input = input.replace('-', "'-");
            *bytes = text.replace(&format!(",{input},"), ",,").into_bytes();
        }
        if name == "run.json" {
            let mut record: Value = serde_json::from_slice(bytes).unwrap();
            for input in record["inputs"].as_array_mut().unwrap() {
                let members = input.as_object_mut().unwrap();
                members.remove("sha256");
            }
            *bytes = record.to_string().into_bytes();
        }
    }
    found
}

fn plan(home: &Path, turf: &str, out: &str, more: &[&str]) -> Option<i32> {
    let plan = ["plan", "--turf", turf, "-o", out, "-q", "--effort", "rule"];
    let arguments = [&plan[..], more].concat();
    if turf != "-" {
        return evenfall(home, &arguments).status;
    }
    let mut child = Command::new(env!("CARGO_BIN_EXE_evenfall"))
        .current_dir(home)
        .args(&arguments)
        .stdin(Stdio::piped())
        .spawn()
        .unwrap();
    let text = fs::read(home.join("turf.geojsonl")).unwrap();
    child.stdin.take().unwrap().write_all(&text).unwrap();
    child.wait().unwrap().code()
}

/// The same features in a GeoPackage, every coordinate the same double; `None` without the tool.
fn geopackage(home: &Path) -> Option<&'static str> {
    if cfg!(not(feature = "system-gis")) {
        return None;
    }
    let made = Command::new("ogr2ogr")
        .current_dir(home)
        .args([
            "turf.gpkg",
            "turf.geojson",
            "-nln",
            "turf",
            "-nlt",
            "POLYGON",
        ])
        .output();
    made.is_ok_and(|made| made.status.success())
        .then_some("turf.gpkg")
}

#[test]
fn one_outcome_for_all_routes_threads_and_chunks() {
    let whole = env::var("EVENFALL_MATRIX").is_ok_and(|word| word == "whole");
    let home = folder();
    let features = features(if whole { 40 } else { 9 });
    let collection = format!(
        "{{\"type\":\"FeatureCollection\",\"features\":[\n{}\n]}}\n",
        features.join(",\n")
    );
    fs::write(home.path().join("turf.geojson"), collection).unwrap();
    fs::write(home.path().join("turf.geojsonl"), features.join("\n")).unwrap();
    let mut routes = vec!["turf.geojson", "-"];
    if whole {
        routes.push("turf.geojsonl");
    }
    match geopackage(home.path()) {
        Some(file) => routes.push(file),
        None => println!("no ogr2ogr, or no GDAL: the GeoPackage is left out"),
    }
    let threads: &[&str] = if whole {
        &["1", "2", "3", "8"]
    } else {
        &["1", "3"]
    };
    let chunks: &[&str] = if whole {
        &["1", "7", "1000"]
    } else {
        &["1", "1000"]
    };
    let (mut tried, mut passed) = (0, 0);
    let mut first: Option<Vec<(String, Vec<u8>)>> = None;
    for route in &routes {
        for jobs in threads {
            for chunk in chunks {
                let status = plan(home.path(), route, "out", &["-j", jobs, "--chunk", chunk]);
                assert_eq!(status, Some(1), "{route} -j {jobs} --chunk {chunk}");
                let found = outcome(&home.path().join("out"), route);
                fs::remove_dir_all(home.path().join("out")).unwrap();
                tried += 1;
                let expected = first.get_or_insert_with(|| found.clone());
                let differing: Vec<&String> = expected
                    .iter()
                    .zip(&found)
                    .filter(|(one, other)| one != other)
                    .map(|(one, _)| &one.0)
                    .collect();
                if differing.is_empty() && expected.len() == found.len() {
                    passed += 1;
                } else {
                    println!("{route} -j {jobs} --chunk {chunk}: {differing:?}");
                }
            }
        }
    }
    println!("score: same bytes by routes, threads and chunks: {passed} of {tried}");
    assert_eq!(passed, tried);
    assert!(tried >= 8, "{tried}");
}

/// The rows of every table, by parcel.
fn by_parcel(out: &Path) -> BTreeMap<(String, String), Vec<String>> {
    let mut rows: BTreeMap<(String, String), Vec<String>> = BTreeMap::new();
    for (name, bytes) in contents(out) {
        let text = String::from_utf8(bytes).unwrap();
        if name.ends_with(".geojson") {
            let collection: Value = serde_json::from_str(&text).unwrap();
            for feature in collection["features"].as_array().unwrap() {
                let id = feature["properties"]["parcel_id"]
                    .as_str()
                    .unwrap()
                    .to_owned();
                rows.entry((name.clone(), id))
                    .or_default()
                    .push(feature.to_string());
            }
        }
    }
    rows
}

#[test]
fn in_another_order_every_parcel_is_planned_alike() {
    let home = folder();
    let features: Vec<String> = (0..12).map(|n| lawn(&format!("{n:05}"), n)).collect();
    let mut shuffled = features.clone();
    shuffled.reverse();
    shuffled.swap(2, 9);
    shuffled.rotate_left(5);
    for (name, features) in [("straight", &features), ("shuffled", &shuffled)] {
        fs::write(
            home.path().join(format!("{name}.geojsonl")),
            features.join("\n"),
        )
        .unwrap();
        let turf = format!("{name}.geojsonl");
        assert_eq!(plan(home.path(), &turf, name, &[]), Some(0));
    }
    let straight = by_parcel(&home.path().join("straight"));
    let shuffled = by_parcel(&home.path().join("shuffled"));
    assert!(straight.len() > 12 * 4, "{}", straight.len());
    let same = straight
        .iter()
        .filter(|(key, rows)| shuffled.get(key) == Some(rows))
        .count();
    println!(
        "score: same records per parcel in another order: {same} of {}",
        straight.len()
    );
    assert_eq!(straight, shuffled);
}
