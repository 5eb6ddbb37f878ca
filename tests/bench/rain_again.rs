//! Rains the sectors of a finished run again and measures them, for a comparison with a plain script
//! that does the same: `scripts/bench` runs both.
//!
//! Usage: `rain_again DIR SCENARIO CELL_M REPEATS`. Prints one JSON line a turf area: its id, the
//! seconds of one pass (the least of the repeats), mean rate, DU_lq and CU.
//!
//! One pass lays the cells of a given side over the turf, finds those inside, adds the heads' rain, and
//! measures the turf's cells.

#![allow(clippy::unwrap_used, reason = "a bench may panic")]

use std::collections::BTreeMap;
use std::time::Instant;

use evenfall::catalogue::{Head, Pattern, Profile, Role};
use evenfall::crs::Frame;
use evenfall::rain::{Grid, RainGrid};
use evenfall::shape::{Outline, Point};
use evenfall::uniformity::evenness;
use evenfall::units::Flow;
use serde_json::Value;

struct Area {
    outline: Outline,
    heads: Vec<Head>,
    profile: Profile,
}

fn features(path: &str) -> Vec<Value> {
    let text = std::fs::read_to_string(path).unwrap();
    let mut whole: Value = serde_json::from_str(&text).unwrap();
    match whole["features"].take() {
        Value::Array(features) => features,
        _ => panic!("{path} is no feature collection"),
    }
}

fn number(row: &Value, name: &str) -> f64 {
    row["properties"][name].as_f64().unwrap()
}

fn areas(folder: &str, scenario: &str) -> BTreeMap<String, Area> {
    let of_scenario = |row: &Value| row["properties"]["scenario"] == scenario;
    let id = |row: &Value| row["properties"]["turf_id"].as_str().unwrap().to_owned();
    let mut areas = BTreeMap::new();
    for row in features(&format!("{folder}/turf.geojson"))
        .iter()
        .filter(|row| of_scenario(row))
    {
        let frame = Frame::about(number(row, "lon0"), number(row, "lat0"));
        let mut rings = row["geometry"]["coordinates"]
            .as_array()
            .unwrap()
            .iter()
            .map(|ring| {
                let points = ring.as_array().unwrap().iter();
                let place =
                    |at: &Value| frame.to_plane(at[0].as_f64().unwrap(), at[1].as_f64().unwrap());
                let mut points: Vec<Point> = points.map(place).collect();
                points.pop();
                points
            });
        let outer = rings.next().unwrap();
        let area = Area {
            outline: Outline::new(outer, rings.collect()).unwrap(),
            heads: Vec::new(),
            profile: Profile::Triangular,
        };
        areas.insert(id(row), area);
    }
    for row in features(&format!("{folder}/heads.geojson"))
        .iter()
        .filter(|row| of_scenario(row))
    {
        let Some(area) = areas.get_mut(&id(row)) else {
            continue;
        };
        if row["properties"]["arc_deg"].is_null() {
            continue;
        }
        area.profile = Profile::parse(row["properties"]["profile"].as_str().unwrap()).unwrap();
        area.heads.push(Head {
            at: Point::new(number(row, "x_m"), number(row, "y_m")),
            role: Role::Interior,
            pattern: Pattern::Sector {
                radius_m: number(row, "radius_m"),
                start_deg: number(row, "azimuth_deg"),
                sweep_deg: number(row, "arc_deg"),
            },
            nozzle: 0,
            flow: Flow::from_lpm(number(row, "flow_lpm")).unwrap(),
        });
    }
    areas
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [folder, scenario, cell_m, repeats] = words.as_slice() else {
        panic!("usage: rain_again DIR SCENARIO CELL_M REPEATS");
    };
    let (cell_m, repeats): (f64, u32) = (cell_m.parse().unwrap(), repeats.parse().unwrap());
    for (id, area) in areas(folder, scenario) {
        let (mut least_s, mut found) = (f64::INFINITY, None);
        for _ in 0..repeats {
            let began = Instant::now();
            let grid = Grid::over(&area.outline, cell_m, 0.0);
            let rain = RainGrid::of(&grid, &area.heads, &area.profile, &[]);
            found = evenness(&rain.turf_rates());
            least_s = least_s.min(began.elapsed().as_secs_f64());
        }
        if let Some(found) = found {
            let (rate, du_lq, cu_pct) = (found.mean, found.du_lq, found.cu_pct);
            println!(
                "{}",
                serde_json::json!({"turf_id": id, "s": least_s, "rate_mm_h": rate, "du_lq": du_lq, "cu_pct": cu_pct})
            );
        }
    }
}
