//! Record batches in and out: the rows of an ordinary run, and a code for every defect of the stream.

#![cfg(feature = "arrow")]
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod shared;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{Read, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;

use arrow_array::cast::AsArray;
use arrow_array::types::{Float64Type, Int64Type};
use arrow_array::{
    Array, ArrayRef, BinaryArray, BooleanArray, Float64Array, Int64Array, RecordBatch, StringArray,
    StructArray,
};
use arrow_buffer::NullBuffer;
use arrow_ipc::reader::StreamReader;
use arrow_ipc::writer::StreamWriter;
use arrow_schema::{DataType, Field, Fields, Schema};
use serde_json::{Value, json};
use shared::{evenfall, folder, lawn, lawns};

/// One feature of a layer, for the plan of a parcel.
#[derive(Clone)]
struct Row {
    layer: &'static str,
    plan_for: Option<String>,
    number: i64,
    home: bool,
    feature: Value,
}

/// A position or a polygon of GeoJSON as well-known binary.
fn wkb(geometry: &Value) -> Option<Vec<u8>> {
    let coordinates = geometry.get("coordinates")?;
    let mut out = vec![1];
    let number = |value: &Value, out: &mut Vec<u8>| {
        out.extend(value.as_f64().unwrap().to_le_bytes());
    };
    let count = |count: usize, out: &mut Vec<u8>| {
        out.extend(u32::try_from(count).unwrap().to_le_bytes());
    };
    match geometry["type"].as_str().unwrap() {
        "Point" => {
            count(1, &mut out);
            coordinates.as_array().unwrap()[..2]
                .iter()
                .for_each(|value| number(value, &mut out));
        }
        "Polygon" => {
            count(3, &mut out);
            let rings = coordinates.as_array().unwrap();
            count(rings.len(), &mut out);
            for ring in rings {
                let ring = ring.as_array().unwrap();
                count(ring.len(), &mut out);
                for at in ring {
                    at.as_array().unwrap()[..2]
                        .iter()
                        .for_each(|value| number(value, &mut out));
                }
            }
        }
        "MultiPolygon" => {
            count(6, &mut out);
            let parts = coordinates.as_array().unwrap();
            count(parts.len(), &mut out);
            for part in parts {
                out.extend(wkb(&json!({"type": "Polygon", "coordinates": part})).unwrap());
            }
        }
        other => panic!("{other}"),
    }
    Some(out)
}

/// A column of these values, by the type of the first that is one.
fn column(values: &[Value]) -> ArrayRef {
    let first = values.iter().find(|value| !value.is_null());
    match first {
        Some(Value::Number(_)) => {
            Arc::new(values.iter().map(Value::as_f64).collect::<Float64Array>())
        }
        Some(Value::Bool(_)) => {
            Arc::new(values.iter().map(Value::as_bool).collect::<BooleanArray>())
        }
        _ => Arc::new(values.iter().map(Value::as_str).collect::<StringArray>()),
    }
}

/// Rows as a batch with a structure for each layer.
fn nested(rows: &[Row]) -> RecordBatch {
    let subjects: StringArray = rows.iter().map(|row| row.plan_for.as_deref()).collect();
    let mut fields = vec![Field::new("plan_for", DataType::Utf8, true)];
    let mut columns: Vec<ArrayRef> = vec![Arc::new(subjects)];
    for layer in ["parcels", "turf", "heads", "obstacles", "supply"] {
        let own = |row: &Row| row.layer == layer;
        if !rows.iter().any(own) {
            continue;
        }
        let names: BTreeSet<&String> = rows
            .iter()
            .filter(|row| own(row))
            .flat_map(|row| row.feature["properties"].as_object().unwrap().keys())
            .collect();
        let drawn: Vec<Option<Vec<u8>>> = rows
            .iter()
            .map(|row| own(row).then(|| wkb(&row.feature["geometry"])).flatten())
            .collect();
        let drawn: BinaryArray = drawn.iter().map(Option::as_deref).collect();
        let numbers: Int64Array = rows.iter().map(|row| Some(row.number)).collect();
        let homes: BooleanArray = rows.iter().map(|row| Some(row.home)).collect();
        let mut parts: Vec<(String, ArrayRef)> = vec![
            ("geometry".to_owned(), Arc::new(drawn)),
            ("feature_number".to_owned(), Arc::new(numbers)),
            ("home".to_owned(), Arc::new(homes)),
        ];
        for name in names {
            let value = |row: &Row| match own(row) {
                true => row.feature["properties"][name].clone(),
                false => Value::Null,
            };
            let values: Vec<Value> = rows.iter().map(value).collect();
            parts.push((name.clone(), column(&values)));
        }
        let inside: Fields = parts
            .iter()
            .map(|(name, values)| Field::new(name, values.data_type().clone(), true))
            .collect();
        let present: NullBuffer = rows.iter().map(own).collect();
        let arrays = parts.into_iter().map(|(_, values)| values).collect();
        let column = StructArray::new(inside.clone(), arrays, Some(present));
        fields.push(Field::new(layer, DataType::Struct(inside), true));
        columns.push(Arc::new(column));
    }
    RecordBatch::try_new(Arc::new(Schema::new(fields)), columns).unwrap()
}

/// Batches as a stream.
fn stream(batches: &[RecordBatch]) -> Vec<u8> {
    let mut out = Vec::new();
    let mut writer = StreamWriter::try_new(&mut out, &batches[0].schema()).unwrap();
    batches
        .iter()
        .for_each(|batch| writer.write(batch).unwrap());
    writer.finish().unwrap();
    drop(writer);
    out
}

/// What `plan --arrow` made of a stream: status, batches as bytes, messages.
fn plan(home: &Path, bytes: &[u8], arguments: &[&str]) -> (Option<i32>, Vec<u8>, String) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_evenfall"))
        .current_dir(home)
        .args(["plan", "--effort", "rule", "-q", "--arrow"])
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let (mut stdin, bytes) = (child.stdin.take().unwrap(), bytes.to_vec());
    // A stream that is refused is not read to its end.
    let feeding = std::thread::spawn(move || drop(stdin.write_all(&bytes)));
    let ended = child.wait_with_output().unwrap();
    feeding.join().unwrap();
    let messages = String::from_utf8(ended.stderr).unwrap();
    (ended.status.code(), ended.stdout, messages)
}

/// The cells of a row that have a value, by column.
type Cells = BTreeMap<String, String>;

/// The rows of every table, as text a cell, and the ids of the parcels in their order.
fn rows(bytes: &[u8]) -> (Vec<Option<String>>, BTreeMap<String, Vec<Cells>>) {
    let (mut ids, mut tables) = (Vec::new(), BTreeMap::new());
    for batch in StreamReader::try_new(bytes, None).unwrap() {
        let batch = batch.unwrap();
        let parcels = batch.column(0).as_string::<i32>();
        ids.extend(parcels.iter().map(|id| id.map(str::to_owned)));
        for (field, lists) in batch.schema().fields().iter().zip(batch.columns()).skip(1) {
            let table: &mut Vec<_> = tables.entry(field.name().clone()).or_default();
            for list in lists.as_list::<i32>().iter().flatten() {
                let rows = list.as_struct();
                for at in 0..rows.len() {
                    let columns = rows.column_names().into_iter().zip(rows.columns());
                    table.push(
                        columns
                            .filter_map(|(name, values)| Some((name.to_owned(), text(values, at)?)))
                            .collect(),
                    );
                }
            }
        }
    }
    (ids, tables)
}

/// A cell as text; nothing when it is null or no value of the dictionary.
fn text(values: &ArrayRef, at: usize) -> Option<String> {
    if values.is_null(at) {
        return None;
    }
    match values.data_type() {
        DataType::Utf8 => Some(values.as_string::<i32>().value(at).to_owned()),
        DataType::Boolean => Some(values.as_boolean().value(at).to_string()),
        DataType::Int64 => Some(values.as_primitive::<Int64Type>().value(at).to_string()),
        DataType::Float64 => Some(values.as_primitive::<Float64Type>().value(at).to_string()),
        _ => None,
    }
}

/// The rows of a CSV table; cells without a value are left out.
fn of_csv(path: &Path) -> Vec<Cells> {
    let text = fs::read_to_string(path).unwrap();
    let mut records = csv_records(text.trim_start_matches('\u{feff}')).into_iter();
    let titles = records.next().unwrap();
    records
        .map(|record| {
            let cells = titles.iter().cloned().zip(record);
            cells.filter(|(_, cell)| !cell.is_empty()).collect()
        })
        .collect()
}

fn csv_records(text: &str) -> Vec<Vec<String>> {
    let (mut records, mut record, mut cell) = (Vec::new(), Vec::new(), String::new());
    let (mut quoted, mut signs) = (false, text.chars().peekable());
    while let Some(sign) = signs.next() {
        match sign {
            '"' if quoted && signs.peek() == Some(&'"') => cell.extend(signs.next()),
            '"' => quoted = !quoted,
            ',' if !quoted => record.push(std::mem::take(&mut cell)),
            '\r' if !quoted => {}
            '\n' if !quoted => {
                record.push(std::mem::take(&mut cell));
                records.push(std::mem::take(&mut record));
            }
            sign => cell.push(sign),
        }
    }
    records
}

/// Compares the tables of a stream with the CSV files of a folder: every row, every cell.
fn compare(streamed: &BTreeMap<String, Vec<Cells>>, folder: &Path) -> usize {
    let mut compared = 0;
    for (table, rows) in streamed {
        let ordinary = of_csv(&folder.join(format!("{table}.csv")));
        assert_eq!(rows.len(), ordinary.len(), "{table}");
        for (at, (row, other)) in rows.iter().zip(&ordinary).enumerate() {
            // The file is another one here, geometry stands as text in CSV, and CSV cannot tell empty
            // text from none.
            let plain = |cells: &Cells| -> Cells {
                let kept = cells.iter().filter(|(name, text)| {
                    !["file", "wkt"].contains(&name.as_str()) && !text.is_empty()
                });
                kept.map(|(name, text)| (name.clone(), text.clone()))
                    .collect()
            };
            assert_eq!(plain(row), plain(other), "{table}, row {at}");
            compared += row.len();
        }
    }
    compared
}

fn features(path: &str) -> Vec<Value> {
    let text = fs::read_to_string(path).unwrap();
    let layer: Value = serde_json::from_str(&text).unwrap();
    layer["features"].as_array().unwrap().clone()
}

fn west_south(feature: &Value) -> Option<(f64, f64)> {
    let mut first = feature["geometry"].get("coordinates")?;
    while first[0].is_array() {
        first = &first[0];
    }
    Some((first[0].as_f64()?, first[1].as_f64()?))
}

/// Two streets of the sample town with heads, obstacles and supply. Each bundle holds all rows of all layers,
/// far more than it needs: the joins decide, and every row is told of once.
#[test]
fn bundles_of_all_layers_give_the_rows_of_an_ordinary_run() {
    let home = folder();
    let town = format!("{}/sample-parcels/town", env!("CARGO_MANIFEST_DIR"));
    let inside = |feature: &Value| match west_south(feature) {
        Some((west, south)) => {
            (-117.0845..-117.0826).contains(&west) && (39.4176..39.4192).contains(&south)
        }
        None => false,
    };
    let mut all = Vec::new();
    for layer in ["parcels", "turf", "heads", "obstacles", "supply"] {
        let mut own: Vec<Value> = features(&format!("{town}/{layer}.geojson"));
        own.retain(inside);
        if layer == "turf" {
            // One names no parcel, one a parcel that is not there, one is nowhere.
            own[1]["properties"]["parcel_id"] = Value::Null;
            own.push(own[0].clone());
            own.last_mut().unwrap()["properties"]["parcel_id"] = json!("nobody");
            own.push(own[0].clone());
            own.last_mut().unwrap()["geometry"] = Value::Null;
        }
        let collection = json!({"type": "FeatureCollection", "features": &own});
        fs::write(
            home.path().join(format!("{layer}.geojson")),
            collection.to_string(),
        )
        .unwrap();
        for (at, feature) in own.into_iter().enumerate() {
            all.push((layer, i64::try_from(at).unwrap() + 1, feature));
        }
    }
    let parcels = all.iter().filter(|(layer, ..)| *layer == "parcels");
    let ids: Vec<String> = parcels
        .map(|(.., feature)| {
            feature["properties"]["parcel_id"]
                .as_str()
                .unwrap()
                .to_owned()
        })
        .collect();
    assert!((4..40).contains(&ids.len()), "{}", ids.len());
    let ordinary = [
        "plan",
        "--effort",
        "rule",
        "-q",
        "--parcels",
        "parcels.geojson",
        "--turf",
        "turf.geojson",
        "--heads",
        "heads.geojson",
        "--obstacles",
        "obstacles.geojson",
        "--supply",
        "supply.geojson",
        "--set",
        "prices.avoided_cur_m3=90", // so that there is something to walk
        "-f",
        "csv",
        "-o",
        "out",
    ];
    let ran = evenfall(home.path(), &ordinary);
    assert_eq!(ran.status, Some(1), "{}", ran.stderr);

    let batches: Vec<RecordBatch> = ids
        .iter()
        .map(|id| {
            let row = |(layer, number, feature): &(&'static str, i64, Value)| Row {
                layer,
                plan_for: Some(id.clone()),
                number: *number,
                home: *id == ids[0],
                feature: feature.clone(),
            };
            nested(&all.iter().map(row).collect::<Vec<Row>>())
        })
        .collect();
    let tables = "parcels,turf,heads,throws,stations,laterals,schedule,materials,walk,failures";
    let (status, bytes, messages) = plan(
        home.path(),
        &stream(&batches),
        &[tables, "--set", "prices.avoided_cur_m3=90"],
    );
    assert_eq!(status, Some(1), "{messages}");
    let (found, streamed) = rows(&bytes);
    let mut wanted: Vec<Option<String>> = ids.into_iter().map(Some).collect();
    wanted.push(None);
    assert_eq!(found, wanted);
    assert_eq!(streamed.len(), 10);
    for table in [
        "parcels", "turf", "heads", "stations", "laterals", "walk", "failures",
    ] {
        assert!(!streamed[table].is_empty(), "{table}");
    }
    let compared = compare(&streamed, &home.path().join("out"));
    assert!(compared > 10_000, "only {compared} cells were compared");
}

/// Lawns alone, the columns of the stream being theirs.
fn flat(count: u32) -> RecordBatch {
    let lawns: Vec<Value> = (0..count)
        .map(|number| serde_json::from_str(&lawn(&format!("{number:05}"), number)).unwrap())
        .collect();
    let ids: StringArray = lawns
        .iter()
        .map(|lawn| lawn["properties"]["parcel_id"].as_str())
        .collect();
    let drawn: Vec<Option<Vec<u8>>> = lawns.iter().map(|lawn| wkb(&lawn["geometry"])).collect();
    let drawn: BinaryArray = drawn.iter().map(Option::as_deref).collect();
    RecordBatch::try_from_iter_with_nullable([
        ("parcel_id", Arc::new(ids) as ArrayRef, true),
        ("geometry", Arc::new(drawn) as ArrayRef, true),
    ])
    .unwrap()
}

#[test]
fn lawns_alone_give_the_rows_of_an_ordinary_run_in_any_cut() {
    let home = folder();
    lawns(home.path(), 23);
    let ran = evenfall(
        home.path(),
        &[
            "plan",
            "--turf",
            "turf.geojson",
            "-o",
            "out",
            "-q",
            "--effort",
            "rule",
            "-f",
            "csv",
        ],
    );
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    let whole = flat(23);
    let cut = [
        whole.slice(0, 1),
        whole.slice(1, 0),
        whole.slice(1, 15),
        whole.slice(16, 7),
    ];
    let tables = "parcels,turf,heads";
    let (status, bytes, messages) = plan(
        home.path(),
        &stream(std::slice::from_ref(&whole)),
        &[tables],
    );
    assert_eq!(status, Some(0), "{messages}");
    assert!(compare(&rows(&bytes).1, &home.path().join("out")) > 1_000);
    for more in [["-j", "1"], ["-j", "3"], ["--chunk", "1"]] {
        let (_, again, _) = plan(home.path(), &stream(&cut), &[&[tables], &more[..]].concat());
        assert!(again == bytes, "{more:?}");
    }
}

/// An engine asks for the schema of the rows with a stream that has none.
#[test]
fn a_stream_without_rows_gives_a_stream_without_rows() {
    let home = folder();
    let (status, bytes, messages) = plan(home.path(), &stream(&[flat(0)]), &["turf"]);
    assert_eq!(status, Some(0), "{messages}");
    assert_eq!(rows(&bytes).0, []);
    let schema = StreamReader::try_new(&bytes[..], None).unwrap().schema();
    assert_eq!(schema.field(1).name(), "turf");
}

#[test]
fn what_is_wrong_with_one_row_fails_one_parcel() {
    let home = folder();
    let good = flat(3);
    let drawn = good.column(1).as_binary::<i32>();
    let drawn: BinaryArray = [Some(drawn.value(0)), Some(&b"POLYGON"[..]), None]
        .into_iter()
        .collect();
    let batch = RecordBatch::try_new(
        good.schema(),
        vec![Arc::clone(good.column(0)), Arc::new(drawn)],
    );
    let (status, bytes, messages) = plan(
        home.path(),
        &stream(&[batch.unwrap()]),
        &["parcels,failures"],
    );
    assert_eq!(status, Some(1), "{messages}");
    let (ids, tables) = rows(&bytes);
    assert_eq!(ids.len(), 3);
    let cells = |table: &str, column: &str| -> Vec<String> {
        let cell = |row: &Cells| row.get(column).cloned().unwrap_or_default();
        tables[table].iter().map(cell).collect()
    };
    assert_eq!(cells("parcels", "status"), ["planned", "failed", "failed"]);
    assert_eq!(cells("failures", "code"), ["GE13", "GE01"]);
    assert_eq!(cells("failures", "feature"), ["2", "3"]);
    assert_eq!(cells("failures", "file"), ["-:turf", "-:turf"]);
}

#[test]
fn every_defect_of_a_stream_has_its_code() {
    let home = folder();
    let good = flat(3);
    let bytes = stream(std::slice::from_ref(&good));
    let of = |batch: RecordBatch| stream(&[batch]);
    let columns = |columns: Vec<(&str, ArrayRef)>| of(RecordBatch::try_from_iter(columns).unwrap());
    let (ids, drawn) = (good.column(0), good.column(1));
    let text = |values: [Option<&str>; 3]| -> ArrayRef {
        Arc::new(values.into_iter().collect::<StringArray>())
    };
    let row = |layer, plan_for: Option<&str>, id: &str, number| Row {
        layer,
        plan_for: plan_for.map(str::to_owned),
        number,
        home: true,
        feature: serde_json::from_str(&lawn(id, 1)).unwrap(),
    };
    let lawn_of = |plan_for, number| row("turf", plan_for, "A", number);
    let mut crs = Field::new("geometry", DataType::Binary, true);
    crs.set_metadata([(
        "ARROW:extension:metadata".to_owned(),
        "{\"crs\":{}}".to_owned(),
    )]);
    let crs = Schema::new(vec![good.schema().field(0).clone(), crs]);
    let crs = RecordBatch::try_new(Arc::new(crs), good.columns().to_vec()).unwrap();
    let with_two = nested(&[lawn_of(Some("A"), 1), row("heads", Some("A"), "A", 1)]);
    let both: Vec<ArrayRef> = with_two
        .columns()
        .iter()
        .map(|column| match column.as_struct_opt() {
            Some(layer) => {
                let (fields, arrays, _) = layer.clone().into_parts();
                Arc::new(StructArray::new(fields, arrays, None)) as ArrayRef
            }
            None => Arc::clone(column),
        })
        .collect();
    let neither = with_two
        .columns()
        .iter()
        .map(|column| arrow_array::new_null_array(column.data_type(), 2))
        .collect();
    let table: Vec<(&str, Vec<u8>, i32)> = vec![
        ("IN13", Vec::new(), 4),
        ("IN13", b"PK\x03\x04 something else".to_vec(), 4),
        ("IN13", bytes[..bytes.len() - 8].to_vec(), 4),
        ("IN13", bytes[..bytes.len() / 2].to_vec(), 4),
        ("IN13", [&bytes[..], &bytes[..]].concat(), 4),
        ("IN08", columns(vec![("plan_for", Arc::clone(ids))]), 4),
        (
            "IN14",
            columns(vec![("geometry", text([Some("POINT (1 2)"); 3]))]),
            4,
        ),
        (
            "IN14",
            columns(vec![
                ("lawns", Arc::clone(ids)),
                ("plan_for", Arc::clone(ids)),
            ]),
            4,
        ),
        (
            "IN14",
            columns(vec![
                ("turf", Arc::clone(ids)),
                ("plan_for", Arc::clone(ids)),
            ]),
            4,
        ),
        (
            "IN14",
            columns(vec![
                ("geometry", Arc::clone(drawn)),
                ("plan_for", Arc::clone(drawn)),
            ]),
            4,
        ),
        (
            "IN14",
            columns(vec![
                ("geometry", Arc::clone(drawn)),
                ("feature_number", Arc::clone(ids)),
            ]),
            4,
        ),
        (
            "IN14",
            columns(vec![
                ("geometry", Arc::clone(drawn)),
                ("parcel_id", text([Some("A"), Some("B"), Some("A")])),
            ]),
            4,
        ),
        (
            "IN14",
            columns(vec![
                ("geometry", Arc::clone(drawn)),
                ("plan_for", text([Some("1"), None, None])),
            ]),
            4,
        ),
        ("IN08", of(nested(&[row("heads", Some("A"), "A", 1)])), 4),
        (
            "IN14",
            of(nested(&[lawn_of(Some("A"), 7), lawn_of(Some("A"), 7)])),
            4,
        ),
        ("IN14", of(nested(&[lawn_of(Some("A"), 0)])), 4),
        ("IN14", of(nested(&[lawn_of(None, 1)])), 4),
        (
            "IN14",
            of(nested(&[
                row("parcels", Some("A"), "B", 1),
                lawn_of(Some("A"), 1),
            ])),
            4,
        ),
        (
            "IN14",
            of(RecordBatch::try_new(with_two.schema(), both).unwrap()),
            4,
        ),
        (
            "IN14",
            of(RecordBatch::try_new(with_two.schema(), neither).unwrap()),
            4,
        ),
        ("CR02", of(crs), 5),
    ];
    for (at, (code, bytes, status)) in table.iter().enumerate() {
        let (ended, _, messages) = plan(home.path(), bytes, &["parcels"]);
        let first = messages.lines().next().unwrap_or_default();
        assert!(
            first.starts_with(&format!("evenfall: {code} ")),
            "{at}: {first}"
        );
        assert_eq!(ended, Some(*status), "{at}: {first}");
    }
    // Two parcels of one id are both planned, the second under a number, unless that is refused.
    let twice = of(nested(&[
        row("parcels", Some("A"), "A", 1),
        row("parcels", Some("A"), "A", 2),
        lawn_of(Some("A"), 1),
    ]));
    let (ended, bytes, messages) = plan(home.path(), &twice, &["parcels,failures"]);
    assert_eq!(ended, Some(1), "{messages}");
    let failures = &rows(&bytes).1["failures"];
    assert_eq!(failures.len(), 1);
    let cell = |column: &str| failures[0].get(column).cloned().unwrap_or_default();
    assert_eq!(
        [cell("code"), cell("severity"), cell("parcel_id")],
        ["IN15", "warning", "A~2"]
    );
    let (ended, _, messages) = plan(
        home.path(),
        &twice,
        &["parcels", "--repeated-ids", "refuse"],
    );
    assert_eq!(ended, Some(4), "{messages}");
    assert!(messages.contains("IN09 "), "{messages}");
}

/// A stream with one byte changed ends in rows or in a code, and never inside the program.
#[test]
fn changed_bytes_end_in_rows_or_codes() {
    let home = folder();
    let bytes = stream(&[flat(2)]);
    let mut refused = 0;
    let step = 29;
    for at in (0..bytes.len()).step_by(step) {
        let mut changed = bytes.clone();
        changed[at] ^= 1 << (at / step % 8);
        let (status, _, messages) = plan(home.path(), &changed, &["parcels"]);
        assert!(
            matches!(status, Some(0 | 1 | 4)),
            "byte {at}: {status:?} {messages}"
        );
        assert!(!messages.contains("panicked"), "byte {at}: {messages}");
        refused += usize::from(status == Some(4));
    }
    assert!(refused > 0);
}

#[test]
fn a_reader_that_goes_away_ends_it_quietly() {
    let home = folder();
    let bytes = stream(&[flat(600)]);
    let mut child = Command::new(env!("CARGO_BIN_EXE_evenfall"))
        .current_dir(home.path())
        .args([
            "plan",
            "--effort",
            "rule",
            "--families",
            "spray",
            "--arrow",
            "parcels,turf,heads",
        ])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let feeding = std::thread::spawn(move || drop(stdin.write_all(&bytes)));
    let mut first = [0; 100];
    child.stdout.take().unwrap().read_exact(&mut first).unwrap();
    let ended = child.wait_with_output().unwrap();
    feeding.join().unwrap();
    assert_eq!(ended.status.code(), Some(0));
    assert_eq!(String::from_utf8(ended.stderr).unwrap(), "");
}

#[test]
fn what_does_not_go_with_it_is_refused() {
    let home = folder();
    lawns(home.path(), 1);
    for more in [
        ["--turf", "turf.geojson"],
        ["--where", "a = 1"],
        ["-o", "out"],
        ["--rain", "all"],
        ["-f", "csv"],
    ] {
        let (status, out, messages) = plan(home.path(), &[], &["turf", more[0], more[1]]);
        assert_eq!((status, out.len()), (Some(2), 0), "{more:?}: {messages}");
        assert!(messages.contains("RU01"), "{messages}");
    }
    let (status, ..) = plan(home.path(), &[], &["lawns"]);
    assert_eq!(status, Some(2));
}
