//! Every format is written with the same rows, and other readers find them again.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod shared;

use std::fs;
use std::path::Path;

use shared::{contents, evenfall, folder, lawns, names};

const TEXT_FORMATS: &str = "geojson,geojsonseq,csv";

fn plan(home: &Path, output: &str, more: &[&str]) -> Vec<(String, Vec<u8>)> {
    let arguments = [
        &[
            "plan",
            "--turf",
            "turf.geojson",
            "-q",
            "--effort",
            "rule",
            "-o",
            output,
        ][..],
        more,
    ]
    .concat();
    let ran = evenfall(home, &arguments);
    assert!(matches!(ran.status, Some(0 | 1)), "{}", ran.stderr);
    contents(&home.join(output))
}

fn features(text: &str) -> Vec<serde_json::Value> {
    let whole: serde_json::Value = serde_json::from_str(text).unwrap();
    whole["features"].as_array().unwrap().clone()
}

#[test]
fn text_formats_hold_the_same_rows() {
    let home = folder();
    lawns(home.path(), 4);
    plan(home.path(), "out", &["-f", TEXT_FORMATS]);
    let read = |name: &str| fs::read_to_string(home.path().join("out").join(name)).unwrap();
    for layer in ["parcels", "turf", "heads", "throws", "stations", "laterals"] {
        let collection = features(&read(&format!("{layer}.geojson")));
        assert!(collection.len() >= 4, "{layer}");
        // Each record of a sequence begins with a record separator and ends with a line feed
        // (RFC 8142, 2.2).
        let sequence = read(&format!("{layer}.geojsons"));
        let records: Vec<serde_json::Value> = sequence
            .split('\u{1e}')
            .skip(1)
            .map(|record| serde_json::from_str(record.strip_suffix('\n').unwrap()).unwrap())
            .collect();
        assert_eq!(records, collection, "{layer}");
        let table = read(&format!("{layer}.csv"));
        assert_eq!(table.lines().count(), collection.len() + 1, "{layer}");
        assert!(table.lines().next().unwrap().ends_with(",wkt"), "{layer}");
    }
    assert!(read("heads.csv").contains("\"POINT (-77"));
    assert!(read("turf.csv").contains("\"POLYGON ((-77"));
    assert!(!read("failures.csv").contains("wkt"));
}

#[test]
fn a_format_that_is_not_asked_for_is_not_written() {
    let home = folder();
    lawns(home.path(), 1);
    plan(home.path(), "out", &["-f", "geojsonseq"]);
    let written = names(&home.path().join("out"));
    assert!(written.contains(&"turf.geojsons".to_owned()));
    assert!(written.contains(&"parcels.csv".to_owned()));
    assert!(
        !written.iter().any(|name| name.ends_with(".geojson")),
        "{written:?}"
    );
    // The record of a run remembers its formats.
    let record = home.path().join("out/run.json");
    let again = plan(home.path(), "again", &["--from", record.to_str().unwrap()]);
    assert_eq!(again, contents(&home.path().join("out")));
}

#[test]
fn an_unknown_format_is_an_error_of_the_command_line() {
    let home = folder();
    lawns(home.path(), 1);
    let ran = evenfall(
        home.path(),
        &[
            "plan",
            "--turf",
            "turf.geojson",
            "-o",
            "out",
            "-f",
            "geojson,paper",
        ],
    );
    assert_eq!(ran.status, Some(2), "{}", ran.stderr);
    assert!(ran.stderr.contains("paper"), "{}", ran.stderr);
    assert!(!home.path().join("out").exists());
}

#[cfg(all(feature = "system-gis", feature = "geoparquet"))]
mod binary {
    use std::collections::BTreeMap;

    use gdal::vector::{Defn, LayerAccess, sql::Dialect};
    use gdal::{Dataset, DatasetOptions, GdalOpenFlags};

    use super::*;

    const ALL_FORMATS: &str = "geojson,gpkg,flatgeobuf,geoparquet";
    const LAYERS: [&str; 6] = ["parcels", "turf", "heads", "throws", "stations", "laterals"];

    fn open(path: &Path) -> Dataset {
        let options = DatasetOptions {
            open_flags: GdalOpenFlags::GDAL_OF_VECTOR | GdalOpenFlags::GDAL_OF_READONLY,
            ..DatasetOptions::default()
        };
        Dataset::open_ex(path, options).unwrap()
    }

    /// What a query of the GeoPackage gives, each row as its columns in order.
    fn query(dataset: &Dataset, statement: &str) -> Vec<Vec<Option<String>>> {
        let mut rows = Vec::new();
        let mut result = dataset
            .execute_sql(statement, None, Dialect::DEFAULT)
            .unwrap()
            .unwrap();
        for row in result.features() {
            let fields = 0..row.field_count();
            rows.push(fields.map(|at| row.field_as_string(at).unwrap()).collect());
        }
        rows
    }

    #[test]
    fn the_same_rows_and_areas_are_found_in_every_format() {
        let home = folder();
        lawns(home.path(), 4);
        // The lawns are their own parcels, so that every layer has places.
        let parcels = ["--parcels", "turf.geojson", "--id-field", "parcel_id"];
        plan(
            home.path(),
            "out",
            &[&["-f", ALL_FORMATS], &parcels[..]].concat(),
        );
        let out = home.path().join("out");
        let package = open(&out.join("evenfall.gpkg"));
        for name in LAYERS {
            let text = fs::read_to_string(out.join(format!("{name}.geojson"))).unwrap();
            let collection = features(&text);
            let flat = open(&out.join(format!("{name}.fgb")));
            let have_places = collection
                .iter()
                .filter(|feature| !feature["geometry"].is_null());
            let mut in_package = package.layer_by_name(name).unwrap();
            let mut in_flat = flat.layer(0).unwrap();
            assert_eq!(
                in_package.feature_count() as usize,
                collection.len(),
                "{name}"
            );
            assert_eq!(
                in_flat.feature_count() as usize,
                have_places.count(),
                "{name}"
            );
            let titles: Vec<String> = Defn::from_layer(&in_package)
                .fields()
                .map(|field| field.name())
                .collect();
            let keys: Vec<&String> = collection[0]["properties"]
                .as_object()
                .unwrap()
                .keys()
                .collect();
            assert!(titles.iter().eq(keys), "{name}");
            // Ids are text in every format: a leading zero is there. Flat files are in the order of
            // their index.
            let id = titles
                .iter()
                .position(|title| title == "parcel_id")
                .unwrap();
            let ids = |layer: &mut gdal::vector::Layer<'_>| {
                let mut found = BTreeMap::new();
                for feature in layer.features() {
                    let id = feature.field_as_string(id).unwrap().unwrap();
                    let area = feature.geometry().filter(|one| one.has_gdal_ptr());
                    // GDAL grumbles when it is asked for the area of a point or a line.
                    let area = area.filter(|one| one.geometry_name().ends_with("POLYGON"));
                    let area = area.map_or(0.0, |geometry| geometry.area());
                    let entry: &mut (usize, f64) = found.entry(id).or_default();
                    entry.0 += 1;
                    entry.1 += area;
                }
                found
            };
            let (package_ids, flat_ids) = (ids(&mut in_package), ids(&mut in_flat));
            assert!(package_ids.contains_key("00003"), "{name}");
            assert_eq!(package_ids.len(), flat_ids.len());
            for (id, (count, area)) in &package_ids {
                let (flat_count, flat_area) = flat_ids[id];
                assert_eq!(*count, flat_count);
                // The same coordinates, summed in another order.
                assert!((area - flat_area).abs() <= 1e-9 * area.abs(), "{name} {id}");
            }
        }
    }

    #[test]
    fn the_geopackage_has_indexes_styles_descriptions_and_assumptions() {
        let home = folder();
        lawns(home.path(), 2);
        plan(home.path(), "out", &["-f", "gpkg"]);
        let package = open(&home.path().join("out/evenfall.gpkg"));
        let indexes = query(
            &package,
            "SELECT table_name FROM gpkg_extensions WHERE extension_name = 'gpkg_rtree_index' \
             ORDER BY table_name",
        );
        assert_eq!(indexes.len(), LAYERS.len());
        let missing = query(
            &package,
            "SELECT table_name, description FROM gpkg_data_columns WHERE description = ''",
        );
        assert_eq!(missing, Vec::<Vec<Option<String>>>::new());
        let described = query(
            &package,
            "SELECT title, description FROM gpkg_data_columns \
             WHERE table_name = 'turf' AND column_name = 'rate_mm_h'",
        );
        assert_eq!(described[0][0].as_deref(), Some("rate_mm_h [mm/h]"));
        let styled = query(
            &package,
            "SELECT f_table_name, length(styleQML), length(styleSLD) FROM layer_styles \
             WHERE useAsDefault = 1",
        );
        assert_eq!(styled.len(), LAYERS.len());
        let assumed = query(
            &package,
            "SELECT value, origin FROM assumptions WHERE key = 'clock.minutes_min'",
        );
        assert_eq!(
            assumed,
            [[Some("10.0".to_owned()), Some("default".to_owned())]]
        );
        let record = query(&package, "SELECT metadata FROM gpkg_metadata WHERE id = 1");
        let run = fs::read_to_string(home.path().join("out/run.json")).unwrap();
        assert_eq!(record[0][0].as_deref(), Some(run.as_str()));
        let dates = query(&package, "SELECT DISTINCT last_change FROM gpkg_contents");
        assert_eq!(dates, [[Some("1970/01/01 00:00:00+00".to_owned())]]);
        let yes = query(&package, "SELECT count(*) FROM turf WHERE recommended");
        assert_eq!(yes[0][0].as_deref(), Some("2"));
    }

    #[test]
    fn every_format_has_the_same_bytes_for_any_threads_and_chunk() {
        let home = folder();
        lawns(home.path(), 6);
        let formats = ["-f", ALL_FORMATS];
        let once = plan(home.path(), "one", &[&formats[..], &["-j", "1"]].concat());
        let more = [&formats[..], &["-j", "2", "--chunk", "2"]].concat();
        let again = plan(home.path(), "two", &more);
        assert!(once.len() > 25);
        for ((name, bytes), (other, other_bytes)) in once.iter().zip(&again) {
            assert_eq!(name, other);
            assert!(bytes == other_bytes, "{name} differs");
        }
    }

    #[test]
    fn hostile_ids_and_rows_without_a_place_get_through() {
        let home = folder();
        let id = "0'; DROP TABLE turf; --\u{0}\u{202e}<b>";
        let text = format!(
            "{{\"type\":\"FeatureCollection\",\"features\":[{},{}]}}",
            shared::lawn(id, 0),
            shared::lawn("007", 1)
        );
        fs::write(home.path().join("turf.geojson"), text).unwrap();
        plan(home.path(), "out", &["-f", ALL_FORMATS]);
        let package = open(&home.path().join("out/evenfall.gpkg"));
        let ids = query(&package, "SELECT parcel_id FROM parcels ORDER BY fid");
        // The library ends a text at a null character; it is replaced.
        let kept = id.replace('\u{0}', "\u{fffd}");
        assert_eq!(ids, [[Some(kept)], [Some("007".to_owned())]]);
        // Without a parcel layer no parcel has an outline; FlatGeobuf keeps no row without one.
        let flat = open(&home.path().join("out/parcels.fgb"));
        assert_eq!(flat.layer(0).unwrap().features().count(), 0);
        let table = fs::read_to_string(home.path().join("out/parcels.csv")).unwrap();
        assert_eq!(table.lines().count(), 3);
    }

    #[test]
    fn rain_is_written_as_rasters_whose_mean_is_the_rate_of_the_turf() {
        let home = folder();
        lawns(home.path(), 2);
        let files = plan(home.path(), "out", &["--rain", "all"]);
        let out = home.path().join("out");
        let list = fs::read_to_string(out.join("rain.csv")).unwrap();
        let turf = features(&fs::read_to_string(out.join("turf.geojson")).unwrap());
        let mut compared = 0;
        for line in list.lines().skip(1) {
            let cells: Vec<&str> = line.split(',').collect();
            let area = turf.iter().find(|area| {
                let property = |name: &str| area["properties"][name].as_str();
                property("turf_id") == Some(cells[2]) && property("scenario") == Some(cells[3])
            });
            let properties = &area.unwrap()["properties"];
            let raster = Dataset::open(out.join(cells[0])).unwrap();
            let band = raster.rasterband(1).unwrap();
            let no_data = band.no_data_value().unwrap() as f32;
            let rates = band.read_band_as::<f32>().unwrap();
            let wet: Vec<f64> = rates
                .data()
                .iter()
                .filter(|&&rate| rate != no_data)
                .map(|&rate| f64::from(rate))
                .collect();
            let mean = wet.iter().sum::<f64>() / wet.len() as f64;
            let rate = properties["rate_mm_h"].as_f64().unwrap();
            // The column has three decimals; cells are single precision.
            assert!((mean - rate).abs() < 1e-3, "{line}: {mean} {rate}");
            let [west, cell_m, _, north, _, down] = raster.geo_transform().unwrap();
            assert_eq!(cell_m, -down);
            // The frame's origin is the middle of the parcel's turf, so it lies in the raster.
            let (cols, rows) = raster.raster_size();
            assert!(west < 0.0 && west + cols as f64 * cell_m > 0.0);
            assert!(north > 0.0 && north - rows as f64 * cell_m < 0.0);
            let system = raster.spatial_ref().unwrap().to_proj4().unwrap();
            assert!(system.contains("+proj=laea"), "{system}");
            let area_m2 = wet.len() as f64 * cell_m * cell_m;
            // Cells are counted by their centres: along 56 m of edge about half a cell is in doubt.
            let turf_m2 = properties["area_m2"].as_f64().unwrap();
            assert!(
                (area_m2 / turf_m2 - 1.0).abs() < 0.02,
                "{line}: {area_m2} {turf_m2}"
            );
            compared += 1;
        }
        assert_eq!(
            compared,
            turf.iter()
                .filter(|area| area["properties"]["heads"] != 0)
                .count()
        );
        let again = plan(home.path(), "again", &["--rain", "all", "-j", "1"]);
        assert!(files == again);
        let inside = |run: &str| contents(&home.path().join(run).join("rain"));
        assert!(inside("out") == inside("again"));
        // Without rain there is no list of it.
        plan(home.path(), "out", &["--overwrite"]);
        assert_eq!(names(&out.join("rain")), Vec::<String>::new());
        assert!(!out.join("rain.csv").exists());
    }
}
