//! What the tests of the program share: small layers, and a way to run it.

#![allow(clippy::unwrap_used, reason = "a test may panic")]
#![allow(dead_code, reason = "each test file uses a part")]

use std::fmt::Write;
use std::fs;
use std::path::Path;
use std::process::Command;

use evenfall::assumptions::Assumptions;
use evenfall::catalogue::Catalogue;
use evenfall::climate::Climates;
use evenfall::place::{Effort, Favour};
use evenfall::plan::Planner;

/// What a run of the program left.
pub struct Ran {
    pub status: Option<i32>,
    pub stdout: String,
    pub stderr: String,
}

/// A folder that vanishes with the test.
pub fn folder() -> tempfile::TempDir {
    tempfile::tempdir().unwrap()
}

/// Plans the lawns of a folder by the plain rule, quietly.
pub const PLAN_BY_RULE: [&str; 8] = [
    "plan",
    "--turf",
    "turf.geojson",
    "-o",
    "out",
    "-q",
    "--effort",
    "rule",
];

/// Runs the program in a folder.
pub fn evenfall(home: &Path, arguments: &[&str]) -> Ran {
    let output = Command::new(env!("CARGO_BIN_EXE_evenfall"))
        .current_dir(home)
        .args(arguments)
        .output()
        .unwrap();
    Ran {
        status: output.status.code(),
        stdout: String::from_utf8(output.stdout).unwrap(),
        stderr: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Plans with one family by the plain rule; everything else is assumed.
pub fn planner_by_rule() -> Planner {
    Planner {
        catalogue: Catalogue::generic(),
        families: vec!["rotary-mid".to_owned()],
        effort: Effort::Rule,
        favour: Favour::Evenness,
        assumptions: Assumptions::defaults(),
        climates: Climates::assumed(),
        inp: false,
        seed: 1,
    }
}

/// A lawn of about 17 m by 11 m with a corner cut off, as a GeoJSON feature; lawns stand apart by
/// their number.
pub fn lawn(parcel: &str, number: u32) -> String {
    let (west, south) = (
        -77.0 + f64::from(number % 100) * 4e-4,
        39.0 + f64::from(number / 100) * 3e-4,
    );
    let shrink = f64::from(number % 7) * 4e-6;
    let ring: Vec<String> = [
        (0.0, 0.0),
        (2e-4 - shrink, 0.0),
        (2e-4 - shrink, 1e-4),
        (1e-4, 1e-4),
        (0.0, 6e-5 + shrink),
        (0.0, 0.0),
    ]
    .iter()
    .map(|(east, north)| format!("[{:.7},{:.7}]", west + east, south + north))
    .collect();
    let id = serde_json::Value::from(parcel);
    format!(
        "{{\"type\":\"Feature\",\"properties\":{{\"parcel_id\":{id}}},\
         \"geometry\":{{\"type\":\"Polygon\",\"coordinates\":[[{}]]}}}}",
        ring.join(",")
    )
}

/// Writes `turf.geojson` with so many lawns, each a parcel of its own.
pub fn lawns(home: &Path, count: u32) {
    let mut text = String::from("{\"type\":\"FeatureCollection\",\"features\":[");
    for number in 0..count {
        let comma = if number > 0 { ",\n" } else { "\n" };
        write!(text, "{comma}{}", lawn(&format!("{number:05}"), number)).unwrap();
    }
    text.push_str("\n]}\n");
    fs::write(home.join("turf.geojson"), text).unwrap();
}

/// The names in a folder, sorted.
pub fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

/// Every file of a folder with its bytes, sorted by name; what lies in inner folders is left out.
pub fn contents(folder: &Path) -> Vec<(String, Vec<u8>)> {
    names(folder)
        .into_iter()
        .filter(|name| folder.join(name).is_file())
        .map(|name| {
            let bytes = fs::read(folder.join(&name)).unwrap();
            (name, bytes)
        })
        .collect()
}
