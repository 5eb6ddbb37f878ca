//! What comes in is data: no cell starts a formula, no name leads out of the output folder, no name of an
//! input reaches a network, a database or another file.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod shared;

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;
use shared::{evenfall, folder, lawn, lawns};

/// What a spreadsheet takes for the start of a formula.
const STARTS: [char; 6] = ['=', '+', '-', '@', '\t', '\r'];
/// An id that leads out of a folder, if anything follows it.
const OUTWARD: &str = "../../outside/x";

fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sample-parcels/town")
        .join(name)
}

/// Every file below a folder, by its path from there.
fn below(folder: &Path) -> Vec<String> {
    let mut found = Vec::new();
    let mut waiting = vec![folder.to_owned()];
    while let Some(next) = waiting.pop() {
        for entry in fs::read_dir(next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                waiting.push(path);
            } else {
                let path = path.strip_prefix(folder).unwrap();
                found.push(path.to_str().unwrap().to_owned());
            }
        }
    }
    found.sort();
    found
}

/// The cells of a table (RFC 4180), row by row.
fn cells(text: &str) -> Vec<Vec<String>> {
    let (mut rows, mut row, mut cell) = (Vec::new(), Vec::new(), String::new());
    let mut letters = text.chars().peekable();
    let mut quoted = false;
    while let Some(letter) = letters.next() {
        match letter {
            '"' if quoted && letters.peek() == Some(&'"') => {
                letters.next();
                cell.push('"');
            }
            '"' => quoted = !quoted,
            ',' if !quoted => row.push(std::mem::take(&mut cell)),
            '\n' if !quoted => {
                row.push(std::mem::take(&mut cell));
                rows.push(std::mem::take(&mut row));
            }
            other => cell.push(other),
        }
    }
    assert!(row.is_empty() && cell.is_empty() && !quoted, "a torn table");
    rows
}

/// A quarter of the sample town whose ids and districts begin as formulas do.
fn hostile_town(home: &Path) {
    let layer = |name: &str| -> Value {
        serde_json::from_str(&fs::read_to_string(sample(name)).unwrap()).unwrap()
    };
    let quarter: Vec<String> = layer("parcels.geojson")["features"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|feature| feature["properties"]["district"] == "Wrenfield")
        .filter_map(|feature| feature["properties"]["parcel_id"].as_str())
        .map(str::to_owned)
        .collect();
    assert!(quarter.len() > 20, "{}", quarter.len());
    for name in [
        "parcels.geojson",
        "turf.geojson",
        "heads.geojson",
        "supply.geojson",
    ] {
        let mut layer = layer(name);
        let features = layer["features"].as_array_mut().unwrap();
        features.retain_mut(|feature| {
            let properties = feature["properties"].as_object_mut().unwrap();
            let id = properties.get("parcel_id").and_then(Value::as_str);
            let Some(at) = id.and_then(|id| quarter.iter().position(|known| known == id)) else {
                // Heads are linked by place.
                return name == "heads.geojson";
            };
            let start = STARTS[at % STARTS.len()];
            properties["parcel_id"] = format!("{start}{},\"x\"", quarter[at]).into();
            if name == "parcels.geojson" {
                properties["district"] = format!("{start}cmd|' /C calc'!A0").into();
            }
            true
        });
        fs::write(home.join(name), layer.to_string()).unwrap();
    }
}

#[test]
fn no_cell_of_any_table_starts_a_formula() {
    let home = folder();
    hostile_town(home.path());
    let program = "[rebate]\nper_nozzle_cur = 4\nper_claim_cur_m3 = 2.5\ncost_share_frac = 0\n";
    fs::write(home.path().join("program.toml"), program).unwrap();
    let mut plan = vec![
        "plan",
        "program.toml",
        "-q",
        "-o",
        "out",
        "--effort",
        "rule",
        "--families",
        "rotary-mid",
        "--by",
        "district",
        "-f",
        "csv",
        "--set",
        "prices.avoided_cur_m3=90", // so that there are rebates to allot
    ];
    if cfg!(feature = "system-gis") {
        plan.extend(["--rain", "recommended"]);
    }
    for role in ["parcels", "turf", "heads", "supply"] {
        plan.extend(match role {
            "parcels" => ["--parcels", "parcels.geojson"],
            "turf" => ["--turf", "turf.geojson"],
            "heads" => ["--heads", "heads.geojson"],
            _ => ["--supply", "supply.geojson"],
        });
    }
    let ran = evenfall(home.path(), &plan);
    assert!(matches!(ran.status, Some(0 | 1)), "{}", ran.stderr);
    let run = |arguments: &[&str]| {
        let ran = evenfall(home.path(), arguments);
        assert!(
            matches!(ran.status, Some(0 | 1)),
            "{arguments:?}: {}",
            ran.stderr
        );
        ran.stdout
    };
    run(&["allot", "out", "--budget", "5000", "-o", "allotted"]);
    run(&["inspect", "out", "-o", "inspected"]);
    let form = run(&["inspect", "out"]);
    let rows = cells(&fs::read_to_string(home.path().join("out/parcels.csv")).unwrap());
    let receipts: String = rows[1..]
        .iter()
        .map(|row| format!("\"{}\",1,3,3,90\n", row[0].replace('"', "\"\"")))
        .collect();
    let receipts = format!("parcel_id,receipt_no,nozzles,bodies,paid_cur\n{receipts}");
    fs::write(home.path().join("receipts.txt"), receipts).unwrap();
    run(&[
        "inspect",
        "out",
        "--receipts",
        "receipts.txt",
        "-o",
        "checked",
    ]);
    let mut tables: Vec<(String, String)> = below(home.path())
        .into_iter()
        .filter(|name| name.ends_with(".csv"))
        .map(|name| {
            let text = fs::read_to_string(home.path().join(&name)).unwrap();
            (name, text)
        })
        .collect();
    tables.push(("the form on the screen".to_owned(), form));
    let names: Vec<&str> = tables.iter().map(|(name, _)| name.as_str()).collect();
    for wanted in [
        "out/parcels.csv",
        "out/turf.csv",
        "out/heads.csv",
        "out/throws.csv",
        "out/stations.csv",
        "out/laterals.csv",
        "out/schedule.csv",
        "out/materials.csv",
        "out/walk.csv",
        "out/failures.csv",
        "out/ranked.csv",
        "out/supply_curve.csv",
        "out/by-district.csv",
        "allotted/allotment.csv",
        "inspected/form.csv",
        "checked/receipts.csv",
    ] {
        assert!(names.contains(&wanted), "{wanted} is not in {names:?}");
    }
    let (mut checked, mut guarded) = (0, 0);
    for (name, text) in &tables {
        let mut in_table = 0;
        for cell in cells(text).iter().flatten() {
            if cell.starts_with(STARTS) {
                // Numbers may be negative.
                assert!(cell.parse::<f64>().is_ok(), "{name}: {cell:?}");
            }
            let kept = cell.strip_prefix('\'');
            in_table += usize::from(kept.is_some_and(|kept| kept.starts_with(STARTS)));
            checked += 1;
        }
        guarded += usize::from(in_table > 0);
    }
    assert!(checked > 10_000, "{checked}");
    // All but the failures and the curve carry ids or districts.
    assert!(guarded + 3 >= tables.len(), "{guarded} of {names:?}");
}

#[test]
fn no_attribute_and_no_name_leads_out_of_the_folder() {
    let home = folder();
    let inner = home.path().join("a/b/c");
    fs::create_dir_all(&inner).unwrap();
    let mut feature: Value = serde_json::from_str(&lawn(OUTWARD, 0)).unwrap();
    feature["properties"]["turf_id"] = OUTWARD.into();
    feature["properties"][OUTWARD] = OUTWARD.into();
    let layer = serde_json::json!({"type": "FeatureCollection", "features": [feature]});
    fs::write(inner.join("turf.geojson"), layer.to_string()).unwrap();
    let mut parcel = layer.clone();
    parcel["features"][0]["properties"]["parcel_id"] = OUTWARD.into();
    fs::write(inner.join("parcels.geojson"), parcel.to_string()).unwrap();
    let catalogue = fs::read_to_string(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("src/catalogue/generic.toml"),
    )
    .unwrap()
    .replace("\"rotary-mid\"", &format!("\"{OUTWARD}\""));
    fs::write(inner.join("families.toml"), catalogue).unwrap();
    let mut plan = vec![
        "plan",
        "--parcels",
        "parcels.geojson",
        "--turf",
        "turf.geojson",
        "--catalogue",
        "families.toml",
        "--by",
        OUTWARD,
        "--inp",
        "-q",
        "--effort",
        "rule",
        "-o",
        "out",
    ];
    if cfg!(feature = "system-gis") {
        plan.extend(["--rain", "all"]);
    }
    let ran = evenfall(&inner, &plan);
    assert!(
        inner.join("out/run.json").is_file() || ran.stderr.contains("CA0"),
        "{:?} {}",
        ran.status,
        ran.stderr
    );
    if !inner.join("out/run.json").is_file() {
        // A family of that name is refused; without it the rest is planned.
        plan.drain(5..7);
        assert_eq!(evenfall(&inner, &plan).status, Some(0));
    }
    let sheet = ["sheet", "out", OUTWARD, "-q"];
    let ran = evenfall(&inner, &sheet);
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    let found = below(home.path());
    assert!(found.len() > 12, "{found:?}");
    for name in &found {
        assert!(
            name.starts_with("a/b/c/") && !name.contains("outside/"),
            "{name}"
        );
    }
    // One folder deep at most, and that is the one of rasters.
    for name in found
        .iter()
        .filter_map(|name| name.strip_prefix("a/b/c/out/"))
    {
        assert!(!name.contains('/') || name.starts_with("rain/"), "{name}");
    }
}

#[test]
fn names_of_networks_databases_and_other_files_are_refused() {
    let home = folder();
    lawns(home.path(), 1);
    let here = home.path().to_str().unwrap();
    fs::copy(sample("turf.geojson"), home.path().join("a.zip")).unwrap();
    fs::write(home.path().join("a.gpkg"), "SQLite format 3\0").unwrap();
    let names = [
        "http://localhost:9/turf.geojson".to_owned(),
        "https://localhost:9/turf.gpkg".to_owned(),
        "/vsicurl/http://localhost:9/turf.gpkg".to_owned(),
        "/vsis3/bucket/turf.gpkg".to_owned(),
        format!("/vsizip/{here}/a.zip/turf.shp"),
        format!("/vsizip/{{{here}/a.zip}}/turf.shp"),
        format!("/vsigzip/{here}/turf.geojson"),
        "/vsistdin/".to_owned(),
        "/vsimem/turf.geojson".to_owned(),
        "/vsisubfile/0_10,turf.geojson".to_owned(),
        "GPKG:a.gpkg:turf".to_owned(),
        "gpkg:a.gpkg:turf".to_owned(),
        "SQLITE:a.gpkg".to_owned(),
        "PG:dbname=lawns host=localhost".to_owned(),
        "MySQL:lawns".to_owned(),
        "WFS:http://localhost:9/wfs".to_owned(),
        "OAPIF:http://localhost:9".to_owned(),
        "GeoJSON:turf.geojson".to_owned(),
        "GTIFF_DIR:1:a.tif".to_owned(),
        "<OGRVRTDataSource/>".to_owned(),
        "<VRTDataset/>".to_owned(),
        "{\"type\":\"FeatureCollection\",\"features\":[]}".to_owned(),
    ];
    let roles = [
        "--turf",
        "--parcels",
        "--heads",
        "--obstacles",
        "--supply",
        "--soils",
        "--soil-table",
        "--climate-zones",
        "--dem",
        "--climate",
        "--meter",
        "--catalogue",
    ];
    let mut tried = 0;
    // Every name as a vector and as a raster; a few in the other roles, and where a run would begin.
    const FEW: [&str; 3] = ["http://", "/vsizip/", "GPKG:"];
    for name in &names {
        for role in roles {
            let is_one_of_few = FEW.iter().any(|start| name.starts_with(start));
            if !matches!(role, "--turf" | "--dem") && !is_one_of_few {
                continue;
            }
            for command in ["plan", "check"] {
                if command == "plan" && !is_one_of_few {
                    continue;
                }
                let mut arguments = vec![command, role, name];
                if role != "--turf" {
                    arguments.extend(["--turf", "turf.geojson"]);
                }
                if role == "--soil-table" {
                    arguments.extend(["--soils", "turf.geojson"]);
                }
                if command == "plan" {
                    arguments.extend(["-o", "out"]);
                }
                let ran = evenfall(home.path(), &arguments);
                let code = ["IN01", "IN02"]
                    .iter()
                    .any(|code| ran.stderr.contains(code));
                assert!(
                    code && matches!(ran.status, Some(3 | 4)),
                    "{arguments:?}: {:?} {}",
                    ran.status,
                    ran.stderr
                );
                tried += 1;
            }
        }
    }
    assert!(tried > 2 * names.len() + 2 * 9 * 2, "{tried}");
    assert!(!home.path().join("out").exists());
}

/// Files that are plain, and point elsewhere from inside.
#[test]
#[cfg(feature = "system-gis")]
fn files_that_point_to_others_are_refused_or_read_alone() {
    let home = folder();
    lawns(home.path(), 1);
    let secret = home.path().join("secret.txt");
    fs::write(&secret, "a secret of somebody").unwrap();
    let here = home.path().to_str().unwrap();
    let vector = format!(
        "<OGRVRTDataSource><OGRVRTLayer name=\"turf\"><SrcDataSource>{here}/turf.geojson\
         </SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"
    );
    let raster = format!(
        "<VRTDataset rasterXSize=\"2\" rasterYSize=\"2\"><VRTRasterBand dataType=\"Byte\" band=\"1\">\
         <SimpleSource><SourceFilename>{here}/dem.tif</SourceFilename></SimpleSource>\
         </VRTRasterBand></VRTDataset>"
    );
    for (name, text, role, code) in [
        ("a.vrt", &vector, "--turf", "IN02"),
        ("a.gpkg", &vector, "--turf", "IN02"),
        ("a.shp", &vector, "--soils", "IN02"),
        ("b.vrt", &raster, "--dem", "IN02"),
        ("b.tif", &raster, "--dem", "EL03"),
    ] {
        fs::write(home.path().join(name), text).unwrap();
        let mut arguments = vec!["check", role, name];
        if role != "--turf" {
            arguments.extend(["--turf", "turf.geojson"]);
        }
        let ran = evenfall(home.path(), &arguments);
        assert!(
            ran.stderr.contains(code) && ran.status == Some(4),
            "{name}: {:?} {}",
            ran.status,
            ran.stderr
        );
    }
    // An entity from outside in XML.
    let gml = format!(
        "<?xml version=\"1.0\"?><!DOCTYPE x [<!ENTITY s SYSTEM \"file://{here}/secret.txt\">]>\
         <ogr:FeatureCollection xmlns:ogr=\"http://ogr.maptools.org/\" \
         xmlns:gml=\"http://www.opengis.net/gml\"><gml:featureMember><ogr:turf fid=\"t.0\">\
         <ogr:geometryProperty><gml:Polygon srsName=\"EPSG:4326\"><gml:outerBoundaryIs>\
         <gml:LinearRing><gml:coordinates>-77,39 -76.9998,39 -76.9998,39.0001 -77,39.0001 -77,39\
         </gml:coordinates></gml:LinearRing></gml:outerBoundaryIs></gml:Polygon>\
         </ogr:geometryProperty><ogr:parcel_id>&s;</ogr:parcel_id></ogr:turf>\
         </gml:featureMember></ogr:FeatureCollection>"
    );
    fs::write(home.path().join("a.gml"), gml).unwrap();
    let plan = [
        "plan", "--turf", "a.gml", "-q", "--effort", "rule", "-o", "out",
    ];
    let ran = evenfall(home.path(), &plan);
    assert!(ran.status.is_some(), "{}", ran.stderr);
    assert!(!ran.stderr.contains("a secret of somebody"));
    for name in below(home.path()) {
        if name != "secret.txt" {
            let bytes = fs::read(home.path().join(&name)).unwrap();
            assert!(
                !String::from_utf8_lossy(&bytes).contains("a secret of somebody"),
                "{name}"
            );
        }
    }
}
