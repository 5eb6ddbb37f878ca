//! The water of whole runs: soils, slopes, climates and clocks from the files of a user to the
//! columns of the outputs.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod shared;

use std::fs;
use std::path::Path;

use serde_json::Value;
use shared::{Ran, evenfall, folder, lawns};

/// Plans the lawns of a folder by the plain rule with more arguments.
fn plan(home: &Path, more: &[&str]) -> Ran {
    let base = [
        "plan",
        "--turf",
        "turf.geojson",
        "-o",
        "out",
        "--overwrite",
        "-v",
        "--effort",
        "rule",
    ];
    evenfall(home, &[&base[..], more].concat())
}

/// The properties of every row of a layer.
fn rows(home: &Path, layer: &str) -> Vec<Value> {
    let text = fs::read_to_string(home.join("out").join(layer)).unwrap();
    let layer: Value = serde_json::from_str(&text).unwrap();
    let features = layer["features"].as_array().unwrap();
    assert!(!features.is_empty());
    features
        .iter()
        .map(|feature| feature["properties"].clone())
        .collect()
}

fn flags(row: &Value) -> Vec<&str> {
    row["flags"].as_str().unwrap().split(';').collect()
}

fn number(row: &Value, column: &str) -> f64 {
    row[column]
        .as_f64()
        .unwrap_or_else(|| panic!("{column}: {}", row[column]))
}

fn scenario<'r>(rows: &'r [Value], name: &str) -> &'r Value {
    rows.iter()
        .find(|row| row["scenario"] == name)
        .unwrap_or_else(|| panic!("no {name}"))
}

/// A square of degrees about the lawns, with a property.
fn square(name: &str, value: &str, west: f64, east: f64) -> String {
    format!(
        r#"{{"type":"Feature","properties":{{"{name}":"{value}"}},"geometry":{{"type":"Polygon",
        "coordinates":[[[{west},38.9],[{east},38.9],[{east},39.1],[{west},39.1],[{west},38.9]]]}}}}"#
    )
}

fn collection(home: &Path, file: &str, features: &[String]) {
    let text = format!(
        r#"{{"type":"FeatureCollection","features":[{}]}}"#,
        features.join(",")
    );
    fs::write(home.join(file), text).unwrap();
}

#[test]
fn soils_come_by_class_or_by_key_and_what_is_not_known_is_said() {
    let home = folder();
    lawns(home.path(), 2);
    collection(
        home.path(),
        "soils.geojson",
        &[
            square("Texture", "Clay Loam", -77.1, -76.9997),
            square("Texture", "lome", -76.9997, -76.9),
        ],
    );
    let ran = plan(home.path(), &["--soils", "soils.geojson"]);
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    assert!(ran.stderr.contains("SO01") && ran.stderr.contains("did you mean `loam`?"));
    assert!(ran.stderr.contains("SO02"));
    let found = rows(home.path(), "turf.geojson");
    let (known, unknown) = (&found[0], found.last().unwrap());
    assert_eq!(known["soil_texture"], "clay loam");
    assert!((number(known, "intake_mm_h") - 5.08).abs() < 1e-9);
    assert!(!flags(known).contains(&"soil-assumed"));
    assert_eq!(unknown["soil_texture"], "loam");
    assert!(flags(unknown).contains(&"soil-assumed"));

    collection(
        home.path(),
        "units.geojson",
        &[square("MUKEY", "00123", -77.1, -76.9)],
    );
    let alone = plan(home.path(), &["--soils", "units.geojson"]);
    assert_eq!(alone.status, Some(4), "{}", alone.stderr);
    assert!(alone.stderr.contains("SO03"));
    fs::write(
        home.path().join("units.csv"),
        "mukey,texture,intake_mm_h\n00123,SiCL,7.5\n",
    )
    .unwrap();
    let joined = ["--soils", "units.geojson", "--soil-table", "units.csv"];
    let ran = plan(home.path(), &joined);
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    let found = rows(home.path(), "turf.geojson");
    assert_eq!(found[0]["soil_texture"], "silty clay loam");
    assert!((number(&found[0], "intake_mm_h") - 7.5).abs() < 1e-9);
    let lonely = plan(home.path(), &["--soil-table", "units.csv"]);
    assert_eq!(lonely.status, Some(2), "{}", lonely.stderr);
}

#[test]
fn a_right_schedule_is_reckoned_for_every_area_and_can_be_keyed_in() {
    let home = folder();
    lawns(home.path(), 3);
    let clay = ["--set", "soil.texture=clay loam"];
    let ran = plan(home.path(), &clay);
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    let found = rows(home.path(), "turf.geojson");
    let scenarios = found
        .iter()
        .filter(|row| row["turf_id"] == found[0]["turf_id"]);
    let scenarios = scenarios.count();
    assert_eq!(found.len(), 3 * scenarios);
    for area in found.chunks(scenarios) {
        let (as_found, reclock) = (scenario(area, "as-found"), scenario(area, "reclock"));
        for same in [
            "heads",
            "rate_mm_h",
            "du_lq",
            "du_lq_field",
            "flow_lpm",
            "over_frac",
        ] {
            assert_eq!(as_found[same], reclock[same], "{same}");
        }
        // As found one start brings the need; nobody keyed cycles in.
        assert!(as_found["soak_min"].is_null() && number(as_found, "cycle_min") > 10.0);
        assert!(number(reclock, "cycles") > 1.0 && number(reclock, "soak_min") > 0.0);
        assert_eq!(
            area.iter().filter(|row| row["recommended"] == true).count(),
            1
        );
        for row in area {
            assert_eq!(row["reason"].is_null(), row["recommended"] == false);
            // The six parts of a saving add up to it, to the rounding of seven columns.
            let parts: Option<f64> = [
                "schedule",
                "uniformity",
                "runoff",
                "drift",
                "overspray",
                "pressure",
            ]
            .iter()
            .map(|part| row[format!("saved_{part}_m3_yr")].as_f64())
            .sum();
            let saved = number(as_found, "use_m3_yr") - number(row, "use_m3_yr");
            if let Some(parts) = parts {
                assert!((parts - saved).abs() < 4e-3, "{parts} {saved}");
            }
            if let Some(claimed) = row["claimed_m3_yr"].as_f64() {
                assert!(claimed <= number(row, "saved_m3_yr").max(0.0) + 1e-9);
            }
        }
    }
    let slow = scenario(&found, "relayout:rotary-slow");
    assert!(flags(slow).contains(&"deficit-if-unchanged"));
    assert!(number(slow, "met_unchanged_frac") < 0.5);
    assert!(number(slow, "peak_run_min") > 2.0 * number(&found[1], "peak_run_min"));

    let table = fs::read_to_string(home.path().join("out/schedule.csv")).unwrap();
    let mut lines = table.lines();
    let titles: Vec<&str> = lines.next().unwrap().split(',').collect();
    let at = |name: &str| titles.iter().position(|title| *title == name).unwrap();
    let mut keyed = 0;
    for line in lines {
        let cells: Vec<&str> = line.split(',').collect();
        let value = |name: &str| cells[at(name)].parse::<f64>().unwrap();
        assert_eq!(value("run_min"), value("cycles") * value("cycle_min"));
        for station in cells[at("starts")].split("; ") {
            let mut words = station.split(' ');
            assert!(
                words.next().is_some_and(|name| name.starts_with('S')),
                "{station}"
            );
            assert_eq!(words.count() as f64, value("cycles"));
        }
        let percents = &cells[at("jan_pct")..=at("dec_pct")];
        assert_eq!(percents.len(), 12);
        assert!(percents.iter().all(|p| p.parse::<u32>().unwrap() <= 100));
        keyed += 1;
    }
    assert_eq!(keyed, 3 * (scenarios - 1));
}

#[test]
fn at_one_point_of_connection_one_valve_runs_at_a_time_and_every_station_has_its_turn() {
    let home = folder();
    lawns(home.path(), 4);
    let ran = plan(home.path(), &["--set", "supply.flow_lpm=25"]);
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    let turf = rows(home.path(), "turf.geojson");
    let stations = rows(home.path(), "stations.geojson");
    let parcel = &turf[0]["parcel_id"];
    let minutes = |text: &str| {
        let (hours, minutes) = text.split_once(':').unwrap();
        60.0 * hours.parse::<f64>().unwrap() + minutes.parse::<f64>().unwrap()
    };
    let mut looked_at = 0;
    for scenario in [
        "relayout:spray",
        "relayout:rotary-mid",
        "relayout:rotary-slow",
    ] {
        let own: Vec<_> = stations
            .iter()
            .filter(|station| station["scenario"] == scenario && station["parcel_id"] == *parcel)
            .collect();
        let opens_min = 20.0 * 60.0; // the default window, 20:00 to 10:00
        let mut runs: Vec<(u64, f64, f64)> = Vec::new();
        for station in &own {
            let cycles = number(station, "cycles");
            let cycle_min = number(station, "run_min") / cycles;
            let starts: Vec<&str> = station["starts"].as_str().unwrap().split(' ').collect();
            assert_eq!(starts.len() as f64, cycles, "{station:?}");
            for start in starts {
                let start_min = (minutes(start) - opens_min).rem_euclid(1_440.0);
                let group = station["group"].as_u64().unwrap();
                runs.push((group, start_min, start_min + cycle_min));
            }
        }
        runs.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        for pair in runs.windows(2).filter(|pair| pair[0].0 == pair[1].0) {
            // Starts are printed in whole minutes.
            assert!(pair[0].2 <= pair[1].1 + 1.0, "{scenario}: {pair:?}");
        }
        let last_min = runs.iter().map(|run| run.2).fold(0.0, f64::max);
        let row = turf
            .iter()
            .find(|row| row["scenario"] == scenario && row["parcel_id"] == *parcel)
            .unwrap();
        assert!(
            (number(row, "night_min") - last_min).abs() <= 1.0,
            "{scenario}"
        );
        looked_at += own.len();
    }
    assert!(looked_at > 6, "{looked_at}");
}

#[test]
fn a_steep_lawn_refuses_fast_families() {
    let home = folder();
    lawns(home.path(), 1);
    let ran = plan(home.path(), &["--set", "soil.slope_pct=30"]);
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    let found = rows(home.path(), "turf.geojson");
    for (family, refused) in [
        ("spray", true),
        ("rotary-mid", true),
        ("rotary-slow", false),
    ] {
        let row = scenario(&found, &format!("relayout:{family}"));
        assert_eq!(
            flags(row).contains(&"too-fast-for-slope"),
            refused,
            "{family}"
        );
        assert!(flags(row).contains(&"steep-slope"));
        assert!(!(refused && row["recommended"] == true));
    }
    let parcel = &rows(home.path(), "parcels.geojson")[0];
    for (allowed, used) in [
        ("mawa_m3_yr", "etwu_m3_yr"),
        ("lwa_m3_month", "lwr_m3_month"),
    ] {
        assert!(number(parcel, allowed) > 0.0 && number(parcel, used) > 0.0);
    }
}

/// A year of invented weather, or its days with evapotranspiration.
fn weather(columns: &str, row: impl Fn(usize, f64) -> String) -> String {
    let lengths = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let mut text = format!("{columns}\n");
    for (month, days) in (1..).zip(lengths) {
        let season = if (5..=9).contains(&month) { 1.0 } else { 0.3 };
        for day in 1..=days {
            text += &format!("2025-{month:02}-{day:02},{}\n", row(day, season));
        }
    }
    text
}

#[test]
fn weather_becomes_a_climate_that_a_plan_reads() {
    let home = folder();
    lawns(home.path(), 1);
    let text = weather(
        "date,tmax_c,tmin_c,rain_mm,rh_pct,wind_m_s",
        |day, season| {
            let rain = if day % 5 == 0 { 9.0 } else { 0.0 };
            format!(
                "{:.1},{:.1},{rain},60,2.1",
                12.0 + 18.0 * season,
                2.0 + 12.0 * season
            )
        },
    );
    fs::write(home.path().join("weather.csv"), &text).unwrap();
    let make = |more: &[&str]| {
        let place = [
            "climate",
            "weather.csv",
            "--latitude",
            "39",
            "--elevation",
            "120",
        ];
        evenfall(home.path(), &[&place[..], more].concat())
    };
    let files = ["-o", "months.csv", "--daily", "days.csv"];
    let ran = make(&files);
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    assert!(ran.stderr.contains("Penman-Monteith") && ran.stdout.is_empty());
    assert_eq!(
        make(&files).status,
        Some(6),
        "files are not replaced unasked"
    );
    let printed = make(&["--quiet"]);
    let months = fs::read_to_string(home.path().join("months.csv")).unwrap();
    assert_eq!(
        (printed.stdout.as_str(), printed.stderr.as_str()),
        (months.as_str(), "")
    );
    let eto_mm: f64 = months
        .lines()
        .skip(1)
        .map(|line| line.split(',').nth(2).unwrap().parse::<f64>().unwrap())
        .sum();
    let ran = plan(home.path(), &["--climate", "months.csv"]);
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    let monthly = rows(home.path(), "turf.geojson");
    assert!((number(&monthly[0], "eto_mm_yr") - eto_mm).abs() < 0.06);
    assert!(!flags(&monthly[0]).contains(&"climate-assumed"));

    let refused = plan(
        home.path(),
        &["--climate", "months.csv", "--balance", "daily"],
    );
    assert_eq!(refused.status, Some(4), "{}", refused.stderr);
    assert!(refused.stderr.contains("CL07"));
    let ran = plan(
        home.path(),
        &["--climate", "days.csv", "--balance", "daily"],
    );
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    let daily = rows(home.path(), "turf.geojson");
    assert_ne!(daily[0]["net_mm_yr"], monthly[0]["net_mm_yr"]);
    let raw = plan(home.path(), &["--climate", "weather.csv"]);
    assert_eq!(raw.status, Some(4));
    assert!(raw.stderr.contains("IN08") && raw.stderr.contains("evenfall climate"));
}

#[test]
fn in_a_dry_steady_climate_days_and_months_agree() {
    let home = folder();
    lawns(home.path(), 1);
    let text = weather("date,eto_mm,rain_mm", |_, _| "4.0,0.0".to_owned());
    fs::write(home.path().join("days.csv"), text).unwrap();
    let net_mm = |balance: &str| {
        let ran = plan(
            home.path(),
            &["--climate", "days.csv", "--balance", balance],
        );
        assert_eq!(ran.status, Some(0), "{}", ran.stderr);
        number(&rows(home.path(), "turf.geojson")[0], "net_mm_yr")
    };
    // Less than one watering, 12.75 mm, is still owed at the end of the year.
    let (monthly, daily) = (net_mm("monthly"), net_mm("daily"));
    assert!((monthly - 4.0 * 0.8 * 365.25).abs() < 0.01, "{monthly}");
    assert!((monthly - daily).abs() < 12.75 + 0.8, "{monthly} {daily}");
}

#[test]
fn zones_are_found_by_polygon() {
    let home = folder();
    lawns(home.path(), 2);
    let mut table = "zone,month,eto_mm,rain_mm\n".to_owned();
    for month in 1..=12 {
        table += &format!("hill,{month},80,10\ncoast,{month},60,10\n");
    }
    fs::write(home.path().join("climate.csv"), table).unwrap();
    let zones = [
        square("zone", "coast", -77.1, -76.9997),
        square("zone", "moon", -76.9997, -76.9),
    ];
    collection(home.path(), "zones.geojson", &zones);
    let inputs = [
        "--climate",
        "climate.csv",
        "--climate-zones",
        "zones.geojson",
    ];
    let ran = plan(home.path(), &inputs);
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    assert!(ran.stderr.contains("CL06"));
    let found = rows(home.path(), "turf.geojson");
    assert_eq!(
        (number(&found[0], "eto_mm_yr"), &found[0]["climate_zone"]),
        (720.0, &"coast".into())
    );
    let last = found.last().unwrap();
    assert_eq!(
        (number(last, "eto_mm_yr"), &last["climate_zone"]),
        (960.0, &"hill".into())
    );
    assert!(flags(last).contains(&"climate-zone-assumed"));

    let alone = plan(home.path(), &["--climate-zones", "zones.geojson"]);
    assert_eq!(alone.status, Some(4), "{}", alone.stderr);
    assert!(alone.stderr.contains("CL08"));
    let months: Vec<String> = (1..=12)
        .map(|month| format!(r#""eto_{month}":50,"rain_{month:02}":5,"#))
        .collect();
    let with_months = square("zone", "all", -77.1, -76.9)
        .replace(r#""zone""#, &format!(r#"{}"zone""#, months.concat()));
    collection(home.path(), "zones.geojson", &[with_months]);
    let ran = plan(home.path(), &["--climate-zones", "zones.geojson"]);
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    assert_eq!(
        number(&rows(home.path(), "turf.geojson")[0], "eto_mm_yr"),
        600.0
    );
}

#[cfg(feature = "system-gis")]
mod slopes {
    use super::*;

    const UTM: &str = "PROJCS[\"WGS_1984_UTM_Zone_18N\",GEOGCS[\"GCS_WGS_1984\",DATUM[\"D_WGS_1984\",\
        SPHEROID[\"WGS_1984\",6378137.0,298.257223563]],PRIMEM[\"Greenwich\",0.0],\
        UNIT[\"Degree\",0.0174532925199433]],PROJECTION[\"Transverse_Mercator\"],\
        PARAMETER[\"False_Easting\",500000.0],PARAMETER[\"False_Northing\",0.0],\
        PARAMETER[\"Central_Meridian\",-75.0],PARAMETER[\"Scale_Factor\",0.9996],\
        PARAMETER[\"Latitude_Of_Origin\",0.0],UNIT[\"Meter\",1.0]]";
    const DEGREES: &str = "GEOGCS[\"GCS_WGS_1984\",DATUM[\"D_WGS_1984\",\
        SPHEROID[\"WGS_1984\",6378137.0,298.257223563]],PRIMEM[\"Greenwich\",0.0],\
        UNIT[\"Degree\",0.0174532925199433]]";

    /// Writes a text grid of 20 by 20 cells of 5 m about the first lawn (its corner lies at
    /// 326809 m east, 4318679 m north), `rise_pct` up to the east.
    fn grid(home: &Path, name: &str, west_m: f64, rise_pct: f64, system: Option<&str>) {
        let row: Vec<String> = (0..20)
            .map(|column| format!("{:.4}", 100.0 + f64::from(column) * 5.0 * rise_pct / 100.0))
            .collect();
        let mut text = format!(
            "ncols 20\nnrows 20\nxllcorner {west_m}\nyllcorner 4318640\ncellsize 5\nNODATA_value -9999\n"
        );
        for _ in 0..20 {
            text += &(row.join(" ") + "\n");
        }
        fs::write(home.join(format!("{name}.asc")), text).unwrap();
        if let Some(system) = system {
            fs::write(home.join(format!("{name}.prj")), system).unwrap();
        }
    }

    #[test]
    fn the_slope_comes_from_the_elevation_model() {
        let home = folder();
        lawns(home.path(), 1);
        grid(home.path(), "dem", 326_770.0, 10.0, Some(UTM));
        let ran = plan(home.path(), &["--dem", "dem.asc"]);
        assert_eq!(ran.status, Some(0), "{}", ran.stderr);
        let row = &rows(home.path(), "turf.geojson")[0];
        // The scale of the projection at the place is 0.99997; heights have four decimals.
        assert!((number(row, "slope_pct") - 10.0).abs() < 0.02, "{row}");
        assert!((number(row, "slope_p90_pct") - 10.0).abs() < 0.02);
        // Down to the west; grid north lies 1.3 degrees west of north here.
        assert!((number(row, "aspect_deg") - 270.0).abs() < 2.0);
        assert!(!flags(row).contains(&"slope-assumed"));
        let record = fs::read_to_string(home.path().join("out/run.json")).unwrap();
        assert!(record.contains("\"dem\"") && record.contains("\"prj\""));
    }

    #[test]
    fn models_that_cannot_serve_get_their_codes() {
        let home = folder();
        lawns(home.path(), 1);
        grid(home.path(), "away", 340_000.0, 10.0, Some(UTM));
        let ran = plan(home.path(), &["--dem", "away.asc"]);
        assert_eq!(ran.status, Some(0), "{}", ran.stderr);
        assert!(ran.stderr.contains("EL01"));
        let row = &rows(home.path(), "turf.geojson")[0];
        assert_eq!(number(row, "slope_pct"), 2.0);
        assert!(row["slope_p90_pct"].is_null() && flags(row).contains(&"slope-assumed"));
        for (name, system, status, code) in [
            ("degrees", Some(DEGREES), 5, "EL02"),
            ("nowhere", None, 5, "CR01"),
        ] {
            grid(home.path(), name, -77.0, 10.0, system);
            let ran = plan(home.path(), &["--dem", &format!("{name}.asc")]);
            assert_eq!(ran.status, Some(status), "{name}: {}", ran.stderr);
            assert!(
                ran.stderr.contains(code) && ran.stderr.contains("To mend it"),
                "{name}"
            );
        }
        let ran = plan(home.path(), &["--dem", "turf.geojson"]);
        assert_eq!(ran.status, Some(4), "{}", ran.stderr);
        assert!(ran.stderr.contains("EL03"));
    }
}

#[cfg(not(feature = "system-gis"))]
#[test]
fn without_the_library_an_elevation_model_gets_its_code() {
    let home = folder();
    lawns(home.path(), 1);
    fs::write(home.path().join("dem.asc"), "ncols 1\n").unwrap();
    let ran = plan(home.path(), &["--dem", "dem.asc"]);
    assert_eq!(ran.status, Some(4), "{}", ran.stderr);
    assert!(ran.stderr.contains("EL03"));
}

#[test]
fn the_ladder_is_climbed_as_far_as_water_is_worth_it() {
    let home = folder();
    lawns(home.path(), 4);
    let (mut left, mut changed, mut dearer) = (0, 0, 0);
    // Where sprays lose more to the air, the other families have something to save.
    for value in [0.9, 6.0, 30.0, 100.0] {
        let ran = plan(
            home.path(),
            &[
                "--set",
                "water.drift_spray_extra_frac=0.05",
                "--set",
                &format!("prices.avoided_cur_m3={value}"),
            ],
        );
        assert_eq!(ran.status, Some(0), "{}", ran.stderr);
        let found = rows(home.path(), "turf.geojson");
        let mut areas: Vec<&Value> = found.iter().map(|row| &row["turf_id"]).collect();
        areas.dedup();
        for area in areas {
            let own = found.iter().filter(|row| row["turf_id"] == *area);
            let own: Vec<&Value> = own.collect();
            let best: Vec<&&Value> = own
                .iter()
                .filter(|row| row["recommended"] == true)
                .collect();
            assert_eq!(best.len(), 1);
            // Steps of a ladder cost more a cubic metre the more they save in all.
            let mut steps: Vec<&&Value> = own
                .iter()
                .filter(|row| row["step_cost_cur_m3"].as_f64().is_some())
                .collect();
            steps.sort_by(|a, b| {
                number(a, "step_cost_cur_m3").total_cmp(&number(b, "step_cost_cur_m3"))
            });
            assert!(!steps.is_empty(), "{area}");
            match best[0]["scenario"].as_str() {
                // Nothing pays with visit and administration.
                Some("as-found") => {
                    left += 1;
                    for row in &steps {
                        assert!(number(row, "breakeven_cur_m3") >= value, "{row}");
                    }
                }
                _ => {
                    changed += 1;
                    assert!(number(best[0], "breakeven_cur_m3") <= value, "{best:?}");
                    let place = steps
                        .iter()
                        .position(|row| row["scenario"] == best[0]["scenario"]);
                    let place = place.unwrap();
                    assert!(number(steps[place], "step_cost_cur_m3") < value);
                    if let Some(next) = steps.get(place + 1) {
                        assert!(number(next, "step_cost_cur_m3") >= value, "{next}");
                        dearer += 1;
                    }
                    // A step is no share of a bill: it is the bill less the one before.
                    let before = place
                        .checked_sub(1)
                        .map_or(0.0, |at| number(steps[at], "cost_cur"));
                    let step_cur = number(steps[place], "cost_cur") - before;
                    assert!((step_cur - number(steps[place], "step_cost_cur")).abs() < 0.02);
                }
            }
            let shares: f64 = own
                .iter()
                .filter_map(|row| row["recommended_in_frac"].as_f64())
                .sum();
            // Each share is printed to a thousandth.
            assert!((shares - 1.0).abs() < 0.0005 * own.len() as f64, "{shares}");
        }
    }
    assert!(
        left > 3 && changed > 3 && dearer > 0,
        "{left} {changed} {dearer}"
    );
}
