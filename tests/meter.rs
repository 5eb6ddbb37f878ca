//! Water meters from the table of a user to claims and tiers.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod shared;

use std::collections::BTreeMap;
use std::fmt::Write;
use std::fs;
use std::path::Path;

use serde_json::Value;
use shared::{PLAN_BY_RULE, evenfall, folder, lawns};

/// Bimonthly periods of 2023: start, end, and share of the outdoor use; none in winter.
const PERIODS: [(&str, &str, f64); 6] = [
    ("2023-01-01", "2023-03-01", 0.0),
    ("2023-03-01", "2023-05-01", 0.12),
    ("2023-05-01", "2023-07-01", 0.30),
    ("2023-07-01", "2023-09-01", 0.39),
    ("2023-09-01", "2023-11-01", 0.19),
    ("2023-11-01", "2024-01-01", 0.0),
];

/// Reads of a house with so much indoor use in a period and outdoor use in a year [m³].
fn reads(parcel: &str, indoor_m3: f64, outdoor_m3_yr: f64) -> String {
    PERIODS
        .iter()
        .fold(String::new(), |mut text, (start, end, share)| {
            let m3 = indoor_m3 + outdoor_m3_yr * share;
            writeln!(text, "{parcel},{start},{end},{m3:.2}").unwrap();
            text
        })
}

/// Sprays lose more to drift here, so that new nozzles have something to claim.
fn plan(home: &Path, more: &[&str]) -> shared::Ran {
    evenfall(
        home,
        &[
            &PLAN_BY_RULE[..5],
            &[
                "-v",
                "--effort",
                "rule",
                "--set",
                "water.drift_spray_extra_frac=0.05",
                "--set",
                "prices.externality_cur_m3=90", // so that water is worth new nozzles
            ],
            more,
        ]
        .concat(),
    )
}

/// The rows of `parcels.geojson` by id.
fn parcels(home: &Path) -> BTreeMap<String, Value> {
    let text = fs::read_to_string(home.join("out/parcels.geojson")).unwrap();
    let layer: Value = serde_json::from_str(&text).unwrap();
    let rows = layer["features"].as_array().unwrap().iter();
    rows.map(|row| {
        let row = row["properties"].clone();
        (row["parcel_id"].as_str().unwrap().to_owned(), row)
    })
    .collect()
}

fn json(home: &Path, name: &str) -> Value {
    serde_json::from_str(&fs::read_to_string(home.join(name)).unwrap()).unwrap()
}

#[test]
fn claims_are_held_against_meters_and_bad_meters_are_told() {
    let home = folder();
    let home = home.path();
    lawns(home, 7);
    assert_eq!(plan(home, &[]).status, Some(0));
    let modelled = parcels(home);
    let claim =
        |rows: &BTreeMap<String, Value>, id: &str| rows[id]["claimed_m3_yr"].as_f64().unwrap();
    let found_m3 = modelled["00000"]["asfound_m3_yr"].as_f64().unwrap();
    assert!(
        modelled
            .values()
            .all(|row| row["baseline_source"] == "modelled"
                && row["tier"].is_string()
                && row["use_ratio"].is_null())
    );
    assert!(claim(&modelled, "00000") > 0.0);

    let mut table = "parcel_id,start,end,m3\n".to_owned();
    table += &reads("00000", 20.0, 1.5 * found_m3); // more than the model: nothing is taken off
    table += &reads("00001", 20.0, 0.3 * found_m3); // under-waters
    table += &reads("00002", 20.0, found_m3).replace("00002,2023-07", "00002,2023-06"); // overlaps
    table += "00003,2023-01-01,2023-03-01,-4\n";
    table += "00004,2023-01-01,2023-03-01,20\n"; // no summer
    table += "00005,2023-07-01,2023-09-01,80\n"; // no winter
    table += "70000,2023-01-01,2023-03-01,20\n"; // nobody's
    fs::write(home.join("meter.csv"), &table).unwrap();
    let ran = plan(home, &["--overwrite", "--meter", "meter.csv"]);
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    let rows = parcels(home);
    for (id, code) in [
        ("00002", "ME01"),
        ("00003", "ME03"),
        ("00004", "ME02"),
        ("00005", "ME02"),
    ] {
        let told = |line: &str| line.contains(code) && line.contains(&format!("parcel {id}"));
        assert!(ran.stderr.lines().any(told), "{id} {code}: {}", ran.stderr);
        assert_eq!(rows[id]["baseline_source"], "modelled");
        assert_eq!(rows[id]["claimed_m3_yr"], modelled[id]["claimed_m3_yr"]);
        assert_eq!(rows[id]["status"], "planned");
    }
    assert!(ran.stderr.contains("ME04") && ran.stderr.contains("`70000`"));
    assert_eq!(
        rows["00006"], modelled["00006"],
        "no reads, nothing changes"
    );

    // Six periods hold the whole year: what lies above the winter is the outdoor use.
    let heavy = &rows["00000"];
    assert_eq!(heavy["baseline_source"], "metered");
    assert!(heavy["tier"].is_null());
    // Equal indoor use in periods of 59 to 62 days is a rate of its own in each.
    let outdoor_m3 = heavy["metered_m3_yr"].as_f64().unwrap();
    assert!(
        (outdoor_m3 / (1.5 * found_m3) - 1.0).abs() < 0.03,
        "{outdoor_m3}"
    );
    assert_eq!(claim(&rows, "00000"), claim(&modelled, "00000"));
    // A meter above the model raises the use as found by half of it at most, and what it adds is
    // the schedule's: the hardware claims no more.
    let number = |row: &Value, name: &str| row[name].as_f64().unwrap();
    let raised_m3 = number(heavy, "asfound_m3_yr") - found_m3;
    let above_m3 = (outdoor_m3 - found_m3).min(0.5 * found_m3);
    assert!(
        (raised_m3 - above_m3).abs() < 2e-3,
        "{raised_m3} {above_m3}"
    );
    let more = |name: &str| number(heavy, name) - number(&modelled["00000"], name);
    assert!((more("saved_schedule_m3_yr") - raised_m3).abs() < 2e-3);
    assert!((more("potential_m3_yr") - raised_m3).abs() < 2e-3);
    assert!(more("saved_uniformity_m3_yr").abs() < 2e-3);
    let dry = &rows["00001"];
    assert!(dry["use_ratio"].as_f64().unwrap() < 0.9);
    assert_eq!(claim(&rows, "00001"), 0.0);
    assert!(dry["flags"].as_str().unwrap().contains("under-watered"));
    assert_eq!(dry["claimed_p90_m3_yr"], 0.0);

    let summary = json(home, "out/summary.json");
    assert_eq!(summary["savings"]["metered"]["parcels"], 2);
    assert_eq!(summary["savings"]["metered"]["under_watered"], 1);
    let tiers = &summary["savings"]["modelled"];
    let count = |tier: &str| tiers[tier].as_u64().unwrap();
    assert_eq!(count("high") + count("middle") + count("low"), 5);
    let record = json(home, "out/run.json");
    let inputs = record["inputs"].as_array().unwrap();
    let meter = inputs
        .iter()
        .find(|input| input["role"] == "meter")
        .unwrap();
    assert_eq!(meter["sha256"].as_str().unwrap().len(), 64);
}

/// Days of 2022 and 2023: the mean of the embedded climate's months, less a fifth in the first
/// year and more by a fifth in the second; no rain.
fn two_years() -> String {
    let months_mm = [38, 52, 88, 120, 157, 188, 206, 183, 134, 92, 52, 36];
    let days = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let mut text = "date,eto_mm,rain_mm\n".to_owned();
    for (year, factor) in [(2022, 0.8), (2023, 1.2)] {
        for (month, (mm, count)) in (1..).zip(months_mm.into_iter().zip(days)) {
            for day in 1..=count {
                let eto_mm = factor * f64::from(mm) / f64::from(count);
                writeln!(text, "{year}-{month:02}-{day:02},{eto_mm:.4},0").unwrap();
            }
        }
    }
    text
}

#[test]
fn a_dry_year_is_normalised_where_its_days_are_known() {
    let home = folder();
    let home = home.path();
    lawns(home, 1);
    fs::write(home.join("days.csv"), two_years()).unwrap();
    let mut months = "month,eto_mm,rain_mm\n".to_owned();
    for (month, mm) in (1..).zip([38, 52, 88, 120, 157, 188, 206, 183, 134, 92, 52, 36]) {
        writeln!(months, "{month},{mm},0").unwrap();
    }
    fs::write(home.join("months.csv"), months).unwrap();
    let table = format!("parcel_id,start,end,m3\n{}", reads("00000", 20.0, 300.0));
    fs::write(home.join("meter.csv"), table).unwrap();
    let outdoor_m3 = |climate: &str| {
        let more = ["--overwrite", "--meter", "meter.csv", "--climate", climate];
        let ran = plan(home, &more);
        assert_eq!(ran.status, Some(0), "{}", ran.stderr);
        parcels(home)["00000"]["metered_m3_yr"].as_f64().unwrap()
    };
    let (by_days, by_months) = (outdoor_m3("days.csv"), outdoor_m3("months.csv"));
    // 2023 needed 1.2 times the mean year: so much more was used than in a mean year.
    assert!(
        (by_months / by_days - 1.2).abs() < 0.003,
        "{by_months} {by_days}"
    );
}

#[test]
fn a_cap_bounds_what_a_meter_lets_be_claimed() {
    let home = folder();
    let home = home.path();
    lawns(home, 1);
    let assumed = ["--set", "meter.claim_most_frac=0.001"];
    fs::write(
        home.join("meter.csv"),
        format!("account,start,end,m3\n{}", reads("00000", 20.0, 400.0)),
    )
    .unwrap();
    let ran = plan(home, &[&assumed[..], &["--meter", "meter.csv"]].concat());
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    let row = &parcels(home)["00000"];
    let outdoor_m3 = row["metered_m3_yr"].as_f64().unwrap();
    let claimed_m3 = row["claimed_m3_yr"].as_f64().unwrap();
    // Both are printed to three decimals.
    assert!((claimed_m3 - 0.001 * outdoor_m3).abs() < 1e-3 && claimed_m3 > 0.0);
    assert!(row["flags"].as_str().unwrap().contains("claim-capped"));
}

#[test]
fn a_table_that_cannot_be_read_ends_the_run() {
    let home = folder();
    let home = home.path();
    lawns(home, 1);
    for (text, code) in [
        ("parcel_id,start,end,m3\nA,2023-01-01,soon,3\n", "IN07"),
        (
            "parcel_id,start,end,m3\nA,2023-01-01,2023-02-01,x\n",
            "IN07",
        ),
        ("parcel_id,m3\nA,3\n", "IN08"),
    ] {
        fs::write(home.join("meter.csv"), text).unwrap();
        let arguments = ["check", "--turf", "turf.geojson", "--meter", "meter.csv"];
        let ran = evenfall(home, &arguments);
        assert_eq!(ran.status, Some(4), "{text}: {}", ran.stderr);
        assert!(ran.stderr.contains(code), "{}", ran.stderr);
    }
    let arguments = ["check", "--turf", "turf.geojson", "--meter", "gone.csv"];
    assert_eq!(evenfall(home, &arguments).status, Some(3));
    fs::write(home.join("p.toml"), "[inputs]\nmeter = \"meter.csv\"\n").unwrap();
    let ran = evenfall(home, &["check", "p.toml", "--turf", "turf.geojson"]);
    assert_eq!(
        ran.status,
        Some(4),
        "the program file names it: {}",
        ran.stderr
    );
}
