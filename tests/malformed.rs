//! A table: one file with one defect, and the code that it gets. Each row also says which of the
//! other parcels of the file are still read.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::result_large_err,
    reason = "a test fails by panicking"
)]

use std::fs;
use std::path::Path;

use evenfall::issue::{Code, Severity};
use evenfall::read::filter::parse_bbox;
use evenfall::read::{Inputs, Neighbourhood, Reading, Source};

/// What became of a run.
#[derive(Debug, Default)]
struct Outcome {
    fatal: Option<Code>,
    read: Vec<String>,
    failed: Vec<Code>,
    notes: Vec<Code>,
    orphans: Vec<Code>,
}

impl Outcome {
    fn has(&self, code: Code) -> bool {
        match code.severity() {
            Severity::Fatal => self.fatal == Some(code),
            Severity::Failed | Severity::Partial => {
                self.fatal.is_none()
                    && [&self.failed, &self.notes, &self.orphans]
                        .into_iter()
                        .any(|all| all.contains(&code))
            }
            Severity::Note => {
                self.fatal.is_none() && (self.notes.contains(&code) || self.orphans.contains(&code))
            }
        }
    }
}

fn run(inputs: &Inputs) -> Outcome {
    let mut outcome = Outcome::default();
    let mut neighbourhood = match Neighbourhood::open(inputs) {
        Ok(neighbourhood) => neighbourhood,
        Err(issue) => {
            assert_eq!(issue.severity(), Severity::Fatal, "{issue}");
            outcome.fatal = Some(issue.code);
            return outcome;
        }
    };
    for (place, reading) in neighbourhood.by_ref().enumerate() {
        match reading {
            Err(issue) => {
                assert_eq!(issue.severity(), Severity::Fatal, "{issue}");
                outcome.fatal = Some(issue.code);
            }
            Ok(Reading::Parcel(parcel)) => {
                assert_eq!(parcel.index, place as u64);
                outcome
                    .notes
                    .extend(parcel.issues.iter().map(|issue| issue.code));
                outcome.read.push(parcel.id);
            }
            Ok(Reading::Failed { index, issue, .. }) => {
                assert_eq!(index, place as u64);
                assert!(
                    issue.place.file.is_some() && issue.place.feature.is_some(),
                    "{issue}"
                );
                outcome.failed.push(issue.code);
            }
        }
    }
    outcome.orphans = neighbourhood
        .orphans()
        .iter()
        .map(|issue| issue.code)
        .collect();
    let counts = neighbourhood.counts();
    if outcome.fatal.is_none() {
        assert_eq!(
            counts.turf,
            counts.turf_joined + counts.turf_orphaned + counts.turf_left_out
        );
        assert_eq!(
            counts.parcels,
            (outcome.read.len() + outcome.failed.len()) as u64
        );
    }
    outcome
}

/// A square lawn; its place and size in units of 1e-4 degrees, about 10 m.
fn square(x: f64, y: f64, size: f64) -> String {
    let at = |dx: f64, dy: f64| {
        format!(
            "[{:.7},{:.7}]",
            5.0 + (x + dx) * 1e-4,
            43.0 + (y + dy) * 1e-4
        )
    };
    format!(
        "[{},{},{},{},{}]",
        at(0.0, 0.0),
        at(size, 0.0),
        at(size, size),
        at(0.0, size),
        at(0.0, 0.0)
    )
}

fn polygon(rings: &[&str]) -> String {
    format!(
        r#"{{"type":"Polygon","coordinates":[{}]}}"#,
        rings.join(",")
    )
}

fn feature(properties: &str, geometry: &str) -> String {
    format!(r#"{{"type":"Feature","properties":{{{properties}}},"geometry":{geometry}}}"#)
}

fn good(x: f64, properties: &str) -> String {
    feature(properties, &polygon(&[&square(x, 0.0, 2.0)]))
}

fn collection(features: &[String]) -> String {
    format!(
        r#"{{"type":"FeatureCollection","features":[{}]}}"#,
        features.join(",\n")
    )
}

/// A collection with this geometry between two good lawns, numbered 1 and 3.
fn among(geometry: &str) -> String {
    collection(&[good(0.0, ""), feature("", geometry), good(8.0, "")])
}

fn ring(points: &[(f64, f64)]) -> String {
    let at: Vec<String> = points
        .iter()
        .map(|(x, y)| format!("[{:.9},{:.9}]", 5.0 + x * 1e-4, 43.0 + y * 1e-4))
        .collect();
    format!("[{}]", at.join(","))
}

struct Row {
    what: &'static str,
    file: &'static str,
    content: Vec<u8>,
    code: Code,
    read: &'static [&'static str],
}

fn row(
    what: &'static str,
    content: impl Into<Vec<u8>>,
    code: Code,
    read: &'static [&'static str],
) -> Row {
    Row {
        what,
        file: "lawns.geojson",
        content: content.into(),
        code,
        read,
    }
}

fn sequence(
    what: &'static str,
    records: &[String],
    code: Code,
    read: &'static [&'static str],
) -> Row {
    let content = records.join("\n").into_bytes();
    Row {
        what,
        file: "lawns.geojsonl",
        content,
        code,
        read,
    }
}

const BOTH: &[&str] = &["1", "3"];
const NONE: &[&str] = &[];

fn table() -> Vec<Row> {
    let outer = square(3.0, 0.0, 3.0);
    let whole = collection(&[good(0.0, ""), good(4.0, "")]);
    let bad = |geometry: String, code, what| row(what, among(&geometry), code, BOTH);
    let deep = |levels: usize| format!("{}1{}", "[".repeat(levels), "]".repeat(levels));
    let crs = |name: &str| {
        let member = format!(r#"{{"type":"name","properties":{{"name":"{name}"}}}}"#);
        whole.replacen('{', &format!(r#"{{"crs":{member},"#), 1)
    };
    let id = |id: &str| format!(r#""parcel_id":"{id}""#);
    vec![
        // Files.
        row("empty file", "", Code::IN03, NONE),
        row("white space only", " \n ", Code::IN03, NONE),
        row("not JSON at all", "lawns, lawns", Code::IN03, NONE),
        row("UTF-16", b"\xff\xfe{\0".to_vec(), Code::IN02, NONE),
        row("compressed", b"\x1f\x8b\x08\0".to_vec(), Code::IN02, NONE),
        row("an array", "[1,2]", Code::IN02, NONE),
        row("a text", "\"lawn\"", Code::IN02, NONE),
        row(
            "JSON of something else",
            r#"{"name":"lawns"}"#,
            Code::IN02,
            NONE,
        ),
        row(
            "a wrong type",
            r#"{"type":"lawns","features":[]}"#,
            Code::IN02,
            NONE,
        ),
        row(
            "a type in lower case",
            whole.replace("FeatureC", "featurec"),
            Code::IN02,
            NONE,
        ),
        row(
            "no type",
            whole.replace(r#""type":"FeatureCollection","#, ""),
            Code::IN02,
            NONE,
        ),
        row(
            "features is an object",
            r#"{"type":"FeatureCollection","features":{}}"#,
            Code::IN02,
            NONE,
        ),
        row(
            "no features",
            r#"{"type":"FeatureCollection"}"#,
            Code::IN02,
            NONE,
        ),
        row("an empty collection", collection(&[]), Code::IN05, NONE),
        row(
            "truncated in a feature",
            &whole[..whole.len() - 40],
            Code::IN03,
            NONE,
        ),
        row(
            "truncated behind a feature",
            &whole[..whole.len() - 2],
            Code::IN03,
            NONE,
        ),
        row(
            "truncated at the last brace",
            &whole[..whole.len() - 1],
            Code::IN03,
            NONE,
        ),
        row(
            "a comma missing",
            whole.replace(",\n", "\n"),
            Code::IN03,
            NONE,
        ),
        row(
            "a comma too many",
            whole.replace("]}}]}", "]}},]}"),
            Code::IN03,
            NONE,
        ),
        row("single quotes", whole.replace('"', "'"), Code::IN03, NONE),
        row(
            "a bracket of the wrong kind",
            whole.replacen("]]}", "]}}", 1),
            Code::IN03,
            NONE,
        ),
        row(
            "another text behind it",
            format!("{whole} {{}}"),
            Code::IN03,
            NONE,
        ),
        // Reference systems.
        row("an unknown system", crs("EPSG:999999"), unknown_crs(), NONE),
        row(
            "a system by address",
            crs("http://example.org/crs"),
            unknown_crs(),
            NONE,
        ),
        row(
            "null for a system",
            whole.replacen('{', r#"{"crs":null,"#, 1),
            Code::CR01,
            NONE,
        ),
        row(
            "degrees in a metric system",
            crs("EPSG:2154"),
            if cfg!(feature = "system-gis") {
                Code::CR03
            } else {
                Code::CR04
            },
            NONE,
        ),
        row(
            "a system behind the features",
            format!(
                r#"{},"crs":{{"type":"name","properties":{{"name":"EPSG:2154"}}}}}}"#,
                &whole[..whole.len() - 1]
            ),
            late_crs(),
            NONE,
        ),
        bad(
            polygon(&["[[500000,4761000],[500010,4761000],[500010,4761010],[500000,4761000]]"]),
            Code::CR03,
            "metres in GeoJSON",
        ),
        bad(
            polygon(&["[[5,91],[5.1,91],[5.1,91.1],[5,91]]"]),
            Code::CR03,
            "beyond the pole",
        ),
        // Geometry.
        bad("null".into(), Code::GE01, "a null geometry"),
        bad(
            r#"{"type":"Polygon","coordinates":[]}"#.into(),
            Code::GE01,
            "an empty polygon",
        ),
        bad(
            r#"{"type":"GeometryCollection","geometries":[]}"#.into(),
            Code::GE01,
            "an empty collection of geometries",
        ),
        bad(
            format!(r#"{{"type":"LineString","coordinates":{outer}}}"#),
            Code::GE02,
            "a line",
        ),
        bad(
            r#"{"type":"Point","coordinates":[5,43]}"#.into(),
            Code::GE02,
            "a point",
        ),
        bad(
            r#"{"type":"MultiPoint","coordinates":[[5,43]]}"#.into(),
            Code::GE02,
            "points",
        ),
        bad(
            format!(
                r#"{{"type":"GeometryCollection","geometries":[{},{{"type":"Point","coordinates":[5,43]}}]}}"#,
                polygon(&[&outer])
            ),
            Code::GE02,
            "a polygon and a point",
        ),
        bad(
            polygon(&[&ring(&[(3.0, 0.0), (5.0, 0.0), (3.0, 0.0)])]),
            Code::GE03,
            "two points",
        ),
        bad(
            polygon(&[&ring(&[(3.0, 0.0), (3.0, 0.0), (3.0, 0.0), (3.0, 0.0)])]),
            Code::GE03,
            "one point",
        ),
        bad(polygon(&["[]"]), Code::GE03, "a ring without points"),
        bad(
            polygon(&[&outer, &ring(&[(4.0, 1.0), (5.0, 1.0), (4.0, 1.0)])]),
            Code::GE03,
            "a hole of two points",
        ),
        row(
            "a ring that is not closed",
            among(&polygon(&[&ring(&[
                (3.0, 0.0),
                (5.0, 0.0),
                (5.0, 2.0),
                (3.0, 2.0),
            ])])),
            Code::GE10,
            &["1", "2", "3"],
        ),
        row(
            "a spike",
            among(&polygon(&[&ring(&[
                (3.0, 0.0),
                (5.0, 0.0),
                (5.0, 2.0),
                (4.0, 2.0),
                (4.0, 3.0),
                (4.0, 2.0),
                (3.0, 2.0),
                (3.0, 0.0),
            ])])),
            Code::GE04,
            &["1", "2", "3"],
        ),
        row(
            "a small loop",
            among(&polygon(&[&ring(&[
                (3.0, 0.0),
                (5.0, 0.0),
                (5.0, 2.0),
                (3.0, 2.0),
                (3.0, 1.99),
                (3.01, 2.01),
                (3.0, 2.01),
                (3.0, 0.0),
            ])])),
            Code::GE04,
            &["1", "2", "3"],
        ),
        row(
            "a small hole outside",
            among(&polygon(&[&outer, &square(7.0, 0.0, 0.1)])),
            Code::GE04,
            &["1", "2", "3"],
        ),
        row(
            "a ring that touches itself",
            among(&polygon(&[&ring(&[
                (3.0, 0.0),
                (5.0, 0.0),
                (4.0, 1.0),
                (5.0, 2.0),
                (3.0, 2.0),
                (4.0, 1.0),
                (3.0, 0.0),
            ])])),
            Code::GE04,
            &["1", "2", "3"],
        ),
        bad(
            polygon(&[&ring(&[
                (3.0, 0.0),
                (5.0, 2.0),
                (5.0, 0.0),
                (3.0, 2.0),
                (3.0, 0.0),
            ])]),
            Code::GE05,
            "a bow-tie that cancels",
        ),
        bad(
            polygon(&[&ring(&[
                (3.0, 0.0),
                (5.0, 2.0),
                (5.0, 0.0),
                (3.0, 1.0),
                (3.0, 0.0),
            ])]),
            Code::GE05,
            "an uneven bow-tie",
        ),
        bad(
            polygon(&[&outer, &square(9.0, 9.0, 2.0)]),
            Code::GE05,
            "a large hole outside",
        ),
        bad(
            polygon(&[&outer, &square(5.0, 1.0, 2.0)]),
            Code::GE05,
            "a hole across the boundary",
        ),
        bad(
            polygon(&[&outer, &square(3.5, 0.5, 1.5), &square(4.0, 1.0, 1.5)]),
            Code::GE05,
            "two holes that overlap",
        ),
        bad(
            polygon(&["[[5,43],[5.0001,null],[5.0001,43.0001],[5,43]]"]),
            Code::GE06,
            "a null coordinate",
        ),
        bad(
            polygon(&["[[5,43],[5.0001,NaN],[5.0001,43.0001],[5,43]]"]),
            Code::GE06,
            "NaN",
        ),
        bad(
            polygon(&["[[5,43],[5.0001,-Infinity],[5.0001,43.0001],[5,43]]"]),
            Code::GE06,
            "an infinite coordinate",
        ),
        bad(
            polygon(&["[[5,43],[5.0001,1e999],[5.0001,43.0001],[5,43]]"]),
            Code::GE06,
            "a number that no float holds",
        ),
        bad(
            polygon(&[&ring(&[(3.0, 0.0), (4.0, 0.0), (5.0, 0.0), (3.0, 0.0)])]),
            Code::GE07,
            "no area",
        ),
        bad(
            polygon(&[&ring(&[(3.0, 0.0), (9.0, 0.0), (9.0, 0.001), (3.0, 0.0)])]),
            Code::GE07,
            "a sliver",
        ),
        bad(
            polygon(&[&outer, &outer]),
            Code::GE07,
            "a hole that is the whole",
        ),
        bad(polygon(&[&huge_ring()]), Code::GE08, "too many vertices"),
        bad(
            polygon(&many_holes().iter().map(String::as_str).collect::<Vec<_>>()),
            Code::GE08,
            "too many holes",
        ),
        bad("\"a lawn\"".into(), Code::GE11, "a text for a geometry"),
        bad(
            r#"{"coordinates":[[[5,43],[5.1,43],[5.1,43.1],[5,43]]]}"#.into(),
            Code::GE11,
            "a geometry without a type",
        ),
        bad(
            r#"{"type":"Lawn","coordinates":[]}"#.into(),
            Code::GE11,
            "a geometry of an unknown type",
        ),
        bad(
            r#"{"type":"Polygon"}"#.into(),
            Code::GE11,
            "a polygon without coordinates",
        ),
        bad(
            format!(r#"{{"type":"Polygon","coordinates":{outer}}}"#),
            Code::GE11,
            "too few levels",
        ),
        bad(
            format!(r#"{{"type":"Polygon","coordinates":[[{outer}]]}}"#),
            Code::GE11,
            "too many levels",
        ),
        bad(
            polygon(&["[[5,43],[],[5.1,43.1],[5,43]]"]),
            Code::GE11,
            "an empty position",
        ),
        bad(
            polygon(&["[[5,43],[\"5\",43],[5.1,43.1],[5,43]]"]),
            Code::GE11,
            "a text for a number",
        ),
        bad(
            r#"{"type":"GeometryCollection","geometries":[null]}"#.into(),
            Code::GE11,
            "a null in a collection",
        ),
        row(
            "a null feature",
            collection(&[good(0.0, ""), "null".into(), good(4.0, "")]),
            Code::GE11,
            BOTH,
        ),
        row(
            "a bare geometry among features",
            collection(&[good(0.0, ""), polygon(&[&outer]), good(8.0, "")]),
            Code::GE11,
            BOTH,
        ),
        row(
            "properties is an array",
            collection(&[
                good(0.0, ""),
                good(4.0, "").replace("{}", "[]"),
                good(8.0, ""),
            ]),
            Code::GE11,
            BOTH,
        ),
        row("text that is not UTF-8", not_utf8(), Code::GE11, BOTH),
        bad(deep(200), Code::GE12, "nested too deep"),
        bad(
            format!(r#"{{"type":"Polygon","coordinates":{}}}"#, deep(126)),
            Code::GE12,
            "nested just too deep",
        ),
        bad(
            deep(200_000),
            Code::GE12,
            "nested so deep that recursion would not end",
        ),
        row(
            "a feature that is too long",
            among(&format!("\"{}\"", "x".repeat(33 << 20))),
            Code::GE12,
            BOTH,
        ),
        // Attributes.
        row(
            "an unknown exposure",
            collection(&[good(0.0, r#""exposure":"moon""#)]),
            Code::IN11,
            &["1"],
        ),
        row(
            "an id that is an object",
            collection(&[good(0.0, "").replacen('{', r#"{"id":{},"#, 1)]),
            Code::IN11,
            &["1"],
        ),
        row(
            "an id that is a row's number",
            collection(&[good(0.0, &id("2")), good(4.0, "")]),
            Code::IN09,
            NONE,
        ),
        // Sequences.
        sequence("an empty sequence", &[], Code::IN05, NONE),
        sequence(
            "a blank sequence",
            &[String::new(), String::new()],
            Code::IN05,
            NONE,
        ),
        sequence(
            "a truncated record",
            &[good(0.0, ""), good(4.0, "")[..60].into(), good(8.0, "")],
            Code::IN06,
            BOTH,
        ),
        sequence(
            "a truncated first record",
            &[good(0.0, "")[..60].into(), good(4.0, ""), good(8.0, "")],
            Code::IN06,
            &["2", "3"],
        ),
        sequence(
            "a record of something else",
            &[good(0.0, ""), "{\"a\":1}".into(), good(8.0, "")],
            Code::IN06,
            BOTH,
        ),
        sequence(
            "a collection as a record",
            &[good(0.0, ""), collection(&[]), good(8.0, "")],
            Code::IN06,
            BOTH,
        ),
        sequence(
            "a record that is no object",
            &[good(0.0, ""), "7".into(), good(8.0, "")],
            Code::IN06,
            BOTH,
        ),
        sequence(
            "a record that is nested too deep",
            &[good(0.0, ""), deep(200), good(8.0, "")],
            Code::GE12,
            BOTH,
        ),
        sequence(
            "a record with a null geometry",
            &[good(0.0, ""), feature("", "null"), good(8.0, "")],
            Code::GE01,
            BOTH,
        ),
        sequence(
            "a parcel that comes back",
            &[
                good(0.0, &id("A")),
                good(4.0, &id("B")),
                good(8.0, &id("A")),
            ],
            Code::IN06,
            &["A", "B"],
        ),
        sequence(
            "a bad record inside a parcel",
            &[good(0.0, &id("A")), "{".into(), good(8.0, &id("A"))],
            Code::IN06,
            &["A"],
        ),
        Row {
            what: "a bad record between separators",
            file: "lawns.geojsons",
            content: format!(
                "\x1e{}\n\x1e{{\"type\":\n\x1e{}\n",
                good(0.0, ""),
                good(8.0, "")
            )
            .into_bytes(),
            code: Code::IN06,
            read: BOTH,
        },
    ]
}

fn unknown_crs() -> Code {
    if cfg!(feature = "system-gis") {
        Code::CR02
    } else {
        Code::CR04
    }
}

fn late_crs() -> Code {
    if cfg!(feature = "system-gis") {
        Code::CR02
    } else {
        Code::CR04
    }
}

fn huge_ring() -> String {
    let points: Vec<(f64, f64)> = (0..200_010)
        .map(|i| {
            let angle = f64::from(i) / 200_010.0 * std::f64::consts::TAU;
            (4.0 + angle.cos(), 1.0 + angle.sin())
        })
        .collect();
    ring(&points)
}

fn many_holes() -> Vec<String> {
    let holes = (0..5_001).map(|i| {
        square(
            3.0 + f64::from(i % 100) * 0.02,
            f64::from(i / 100) * 0.02 + 0.5,
            0.01,
        )
    });
    std::iter::once(square(2.5, 0.0, 3.0))
        .chain(holes)
        .collect()
}

fn not_utf8() -> Vec<u8> {
    let text = collection(&[good(0.0, ""), good(4.0, r#""street":"?""#), good(8.0, "")]);
    text.bytes()
        .map(|byte| if byte == b'?' { 0xe9 } else { byte })
        .collect()
}

#[test]
fn every_defect_gets_its_code_and_spares_the_others() {
    let folder = tempfile::tempdir().unwrap();
    let table = table();
    assert!(table.len() >= 80, "{} rows", table.len());
    for row in &table {
        let path = folder.path().join(row.file);
        fs::write(&path, &row.content).unwrap();
        let outcome = run(&Inputs::of_turf(
            Source::parse(path.to_str().unwrap()).unwrap(),
        ));
        assert!(
            outcome.has(row.code),
            "{}: {} wanted, {outcome:?}",
            row.what,
            row.code
        );
        assert_eq!(outcome.read, row.read, "{}: {outcome:?}", row.what);
    }
    println!("score: malformed polygons: {0} of {0}", table.len());
}

#[test]
fn foreign_members_of_any_depth_and_kind_are_passed_over() {
    let deep = format!("{}{}", "[".repeat(100_000), "]".repeat(100_000));
    let text = collection(&[good(0.0, "")]);
    let before = text.replacen(
        '{',
        &format!(r#"{{"x":{deep},"y":"\"]}}","bbox":[1,2],"#),
        1,
    );
    let behind = format!(r#"{},"x":{deep},"name":null}}"#, &text[..text.len() - 1]);
    for text in [before, behind] {
        let outcome = run(&Inputs::of_turf(Source::from_bytes(
            "turf",
            text.into_bytes(),
        )));
        assert_eq!(
            (outcome.fatal, outcome.read.len()),
            (None, 1),
            "{outcome:?}"
        );
    }
}

#[test]
fn a_fault_is_told_with_line_and_column() {
    let text = collection(&[good(0.0, ""), "{\"type\":}".into()]);
    let source = Source::from_bytes("lawns.geojson", text.into_bytes());
    let issue = Neighbourhood::open(&Inputs::of_turf(source)).err().unwrap();
    assert_eq!(issue.code, Code::IN03);
    assert!(issue.found.ends_with("line 2, column 9"), "{issue}");
}

/// Inputs of two layers in memory.
fn layers(parcels: &str, turf: &str) -> Inputs {
    Inputs {
        parcels: Some(Source::from_bytes("parcels", parcels.as_bytes().to_vec())),
        ..Inputs::of_turf(Source::from_bytes("turf", turf.as_bytes().to_vec()))
    }
}

#[test]
fn defects_between_layers() {
    let parcel = |id: &str, x: f64| {
        feature(
            &format!(r#""parcel_id":"{id}""#),
            &polygon(&[&square(x, 0.0, 3.0)]),
        )
    };
    let named = |id: &str, x: f64| good(x, &format!(r#""parcel_id":"{id}""#));
    let parcels = collection(&[parcel("A", 0.0), parcel("B", 5.0)]);
    let cases = [
        (
            "an unknown parcel",
            parcels.clone(),
            collection(&[named("A", 0.0), named("C", 5.0)]),
            Code::JO01,
            2,
        ),
        (
            "turf far away",
            parcels.clone(),
            collection(&[named("A", 0.0), good(90.0, "")]),
            Code::JO02,
            2,
        ),
        (
            "turf without an id",
            parcels.clone(),
            collection(&[good(0.0, "")]),
            Code::JO03,
            2,
        ),
        (
            "turf across the boundary",
            parcels.clone(),
            collection(&[named("A", 2.0)]),
            Code::JO04,
            2,
        ),
        (
            "turf without id and geometry",
            parcels.clone(),
            collection(&[named("A", 0.0), feature("", "null")]),
            Code::GE01,
            2,
        ),
        (
            "turf without geometry",
            parcels.clone(),
            collection(&[named("A", 0.0), feature(r#""parcel_id":"B""#, "null")]),
            Code::GE01,
            1,
        ),
        (
            "one bad lawn of two",
            parcels.clone(),
            collection(&[named("A", 0.0), feature(r#""parcel_id":"A""#, "null")]),
            Code::GE01,
            2,
        ),
        (
            "the same id twice",
            collection(&[parcel("A", 0.0), parcel("A", 5.0)]),
            collection(&[named("A", 0.0)]),
            Code::IN09,
            0,
        ),
        (
            "a parcel that is a line",
            collection(&[
                parcel("A", 0.0),
                feature(
                    r#""id":"B""#,
                    r#"{"type":"LineString","coordinates":[[5,43],[6,43]]}"#,
                ),
            ]),
            collection(&[named("A", 0.0)]),
            Code::GE02,
            1,
        ),
        (
            "a parcel that is a bow-tie",
            collection(&[
                parcel("A", 0.0),
                feature(
                    r#""id":"B""#,
                    &polygon(&[&ring(&[
                        (3.0, 0.0),
                        (5.0, 2.0),
                        (5.0, 0.0),
                        (3.0, 2.0),
                        (3.0, 0.0),
                    ])]),
                ),
            ]),
            collection(&[named("A", 0.0)]),
            Code::GE05,
            1,
        ),
        (
            "no parcels",
            collection(&[]),
            collection(&[named("A", 0.0)]),
            Code::IN05,
            0,
        ),
        ("no turf", parcels, collection(&[]), Code::IN05, 0),
    ];
    for (what, parcels, turf, code, read) in cases {
        let outcome = run(&layers(&parcels, &turf));
        assert!(outcome.has(code), "{what}: {code} wanted, {outcome:?}");
        assert_eq!(outcome.read.len(), read, "{what}: {outcome:?}");
    }
}

#[test]
fn defects_of_the_call() {
    let text = collection(&[good(0.0, r#""zone":"east""#), good(4.0, r#""zone":"west""#)]);
    let turf = Inputs::of_turf(Source::from_bytes("turf", text.into_bytes()));
    let cases = [
        (
            "a filter that is no filter",
            Inputs {
                where_clause: Some("zone is east".into()),
                ..turf.clone()
            },
            Some(Code::IN10),
        ),
        (
            "a filter on a column that is not there",
            Inputs {
                where_clause: Some("zona = 'east'".into()),
                ..turf.clone()
            },
            Some(Code::IN10),
        ),
        (
            "a filter that nothing meets",
            Inputs {
                where_clause: Some("zone = 'north'".into()),
                ..turf.clone()
            },
            Some(Code::IN05),
        ),
        (
            "a filter",
            Inputs {
                where_clause: Some("zone = 'west'".into()),
                ..turf.clone()
            },
            None,
        ),
        (
            "a box that is turned around",
            Inputs {
                bbox: Some([6.0, 43.0, 5.0, 44.0]),
                ..turf.clone()
            },
            Some(Code::IN10),
        ),
        (
            "a box elsewhere",
            Inputs {
                bbox: Some([7.0, 43.0, 8.0, 44.0]),
                ..turf.clone()
            },
            Some(Code::IN05),
        ),
        (
            "a box",
            Inputs {
                bbox: Some([5.0003, 43.0, 5.0005, 44.0]),
                ..turf.clone()
            },
            None,
        ),
        (
            "an id column that is not there",
            Inputs {
                parcels: Some(turf.turf.clone()),
                id_field: Some("apn".into()),
                ..turf.clone()
            },
            Some(Code::IN08),
        ),
    ];
    for (what, inputs, code) in cases {
        let outcome = run(&inputs);
        assert_eq!(outcome.fatal, code, "{what}");
        if code.is_none() {
            assert_eq!(outcome.read, ["2"], "{what}");
        }
    }
    assert_eq!(parse_bbox("5,43,6").unwrap_err().code, Code::IN10);
    for name in ["nowhere.geojson", "nowhere.gpkg:turf"] {
        assert_eq!(Source::parse(name).unwrap_err().code, Code::IN01);
    }
    let stdin = Source::parse("-").unwrap();
    let twice = Inputs {
        parcels: Some(stdin.clone()),
        ..Inputs::of_turf(stdin)
    };
    assert_eq!(run(&twice).fatal, Some(Code::RU01));
}

#[test]
fn obstacles_and_heads_that_cannot_be_used_are_told() {
    let point = |x: f64, properties: &str| {
        let at = format!("[{:.7},43.0001]", 5.0 + x * 1e-4);
        feature(
            properties,
            &format!(r#"{{"type":"Point","coordinates":{at}}}"#),
        )
    };
    let line = feature(
        r#""kind":"wall""#,
        r#"{"type":"LineString","coordinates":[[5,43],[6,43]]}"#,
    );
    let obstacles = collection(&[line, good(1.0, r#""kind":"castle""#)]);
    let heads = collection(&[
        point(1.0, ""),
        point(9.0, ""),
        feature("", "null"),
        good(0.0, ""),
        point(0.5, r#""radius_m":"far""#),
    ]);
    let source = |name: &str, text: String| Some(Source::from_bytes(name, text.into_bytes()));
    let turf = source("turf", collection(&[good(0.0, "")])).unwrap();
    let inputs = Inputs {
        heads: source("heads", heads),
        obstacles: source("obstacles", obstacles),
        ..Inputs::of_turf(turf)
    };
    let outcome = run(&inputs);
    assert_eq!(outcome.read, ["1"]);
    let mut orphans = outcome.orphans;
    orphans.sort_unstable();
    assert_eq!(
        orphans,
        [Code::IN11, Code::GE01, Code::GE02, Code::GE02, Code::JO05]
    );
    assert_eq!(outcome.notes, [Code::IN11]);
}

#[cfg(feature = "system-gis")]
#[test]
fn defects_of_other_formats() {
    use gdal::DriverManager;
    use gdal::spatial_ref::SpatialRef;
    use gdal::vector::{Geometry, LayerAccess, LayerOptions, OGRwkbGeometryType};

    let folder = tempfile::tempdir().unwrap();
    let square = "POLYGON((865600 6277000,865610 6277000,865610 6277010,865600 6277000))";
    let write = |name: &str, driver: &str, epsg: Option<u32>, layers: &[&str], shapes: &[&str]| {
        let path = folder.path().join(name);
        let driver = DriverManager::get_driver_by_name(driver).unwrap();
        let mut dataset = driver.create_vector_only(&path).unwrap();
        let reference = epsg.map(|epsg| SpatialRef::from_epsg(epsg).unwrap());
        for layer in layers {
            let options = LayerOptions {
                name: layer,
                srs: reference.as_ref(),
                ty: OGRwkbGeometryType::wkbUnknown,
                options: None,
            };
            let mut layer = dataset.create_layer(options).unwrap();
            for shape in shapes {
                layer
                    .create_feature(Geometry::from_wkt(shape).unwrap())
                    .unwrap();
            }
        }
        dataset.close().unwrap();
        path.to_str().unwrap().to_owned()
    };
    let code = |name: &str| run(&Inputs::of_turf(Source::parse(name).unwrap()));

    let no_crs = write("no_crs.gpkg", "GPKG", None, &["turf"], &[square]);
    assert_eq!(code(&no_crs).fatal, Some(Code::CR01));
    let no_prj = write("no_prj.shp", "ESRI Shapefile", None, &["no_prj"], &[square]);
    assert_eq!(code(&no_prj).fatal, Some(Code::CR01));
    let two = write("two.gpkg", "GPKG", Some(2154), &["east", "west"], &[square]);
    assert_eq!(code(&two).fatal, Some(Code::IN04));
    assert_eq!(code(&format!("{two}:north")).fatal, Some(Code::IN04));
    assert_eq!(code(&format!("{two}:west")).read, ["1"]);
    let role = write(
        "role.gpkg",
        "GPKG",
        Some(2154),
        &["parcels", "turf"],
        &[square],
    );
    assert_eq!(code(&role).read, ["1"]);
    let empty = write("empty.gpkg", "GPKG", Some(2154), &["turf"], &[]);
    assert_eq!(code(&empty).fatal, Some(Code::IN05));
    let geocentric = write("geocentric.gpkg", "GPKG", Some(4978), &["turf"], &[square]);
    assert!(code(&geocentric).has(Code::CR03) || code(&geocentric).fatal == Some(Code::CR02));

    let mixed = write(
        "mixed.gpkg",
        "GPKG",
        Some(2154),
        &["turf"],
        &[
            square,
            "POLYGON((5 43,5.1 43,5.1 43.1,5 43))",
            "LINESTRING(865600 6277000,865610 6277000)",
            "POLYGON EMPTY",
            "POLYGON((865600 6277000,865610 6277010,865610 6277000,865600 6277010,865600 6277000))",
            "CURVEPOLYGON(CIRCULARSTRING(865600 6277000,865610 6277010,865620 6277000,865610 6276990,865600 6277000))",
            "MULTISURFACE(CURVEPOLYGON(COMPOUNDCURVE(CIRCULARSTRING(865600 6277000,865610 6277010,865620 6277000),(865620 6277000,865600 6277000))))",
            "POLYGON ZM((865600 6277000 1 2,865610 6277000 1 2,865610 6277010 1 2,865600 6277000 1 2))",
        ],
    );
    let outcome = code(&mixed);
    assert_eq!(outcome.read, ["1", "6", "7", "8"], "{outcome:?}");
    assert_eq!(
        outcome.failed,
        [Code::CR03, Code::GE02, Code::GE01, Code::GE05]
    );

    let filtered = Inputs {
        where_clause: Some("nothing = 'x'".into()),
        ..Inputs::of_turf(Source::parse(&mixed).unwrap())
    };
    assert_eq!(run(&filtered).fatal, Some(Code::IN10));
    let by_number = Inputs {
        where_clause: Some("fid IN (1, 8)".into()),
        ..filtered
    };
    assert_eq!(run(&by_number).read, ["1", "8"]);

    let whole = fs::read(&role).unwrap();
    let broken = folder.path().join("broken.gpkg");
    fs::write(&broken, &whole[..5_000]).unwrap();
    let outcome = code(broken.to_str().unwrap());
    assert!(
        matches!(outcome.fatal, Some(Code::IN02 | Code::IN03 | Code::IN04)),
        "{outcome:?}"
    );
    let text = folder.path().join("lawns.txt");
    fs::write(&text, "these are no lawns").unwrap();
    assert_eq!(code(text.to_str().unwrap()).fatal, Some(Code::IN02));
    let vrt = folder.path().join("lawns.xml");
    fs::write(
        &vrt,
        "<OGRVRTDataSource><OGRVRTLayer name=\"turf\"/></OGRVRTDataSource>",
    )
    .unwrap();
    assert_eq!(code(vrt.to_str().unwrap()).fatal, Some(Code::IN02));
}

#[cfg(not(feature = "system-gis"))]
#[test]
fn other_formats_need_the_other_build() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("lawns.gpkg");
    fs::write(&path, b"SQLite format 3\0").unwrap();
    let outcome = run(&Inputs::of_turf(
        Source::parse(path.to_str().unwrap()).unwrap(),
    ));
    assert_eq!(outcome.fatal, Some(Code::IN02));
}

/// Every file of the folder of awkward GeoJSON, as turf and as parcels, ends in readings or in a
/// code. Runs where `EVENFALL_DATA` names the folder of public sets.
#[test]
fn awkward_public_files_end_in_readings_or_codes() {
    let Ok(data) = std::env::var("EVENFALL_DATA") else {
        println!("skipped: EVENFALL_DATA is not set");
        return;
    };
    let folder = Path::new(&data).join("invalid_geometry");
    let good = Source::from_bytes("turf", collection(&[good(0.0, "")]).into_bytes());
    let mut files = 0;
    for group in fs::read_dir(folder)
        .unwrap()
        .flatten()
        .filter(|entry| entry.path().is_dir())
    {
        for file in fs::read_dir(group.path()).unwrap().flatten() {
            let source = Source::parse(file.path().to_str().unwrap()).unwrap();
            let outcome = run(&Inputs::of_turf(source.clone()));
            let name = file.file_name().to_string_lossy().into_owned();
            println!("{name}: {outcome:?}");
            let told = outcome.fatal.is_some() || !outcome.failed.is_empty();
            if name.starts_with("invalid_geometry") || name.starts_with("invalid_featurec") {
                assert!(told, "{name}: {outcome:?}");
            }
            assert!(told || !outcome.read.is_empty(), "{name}: {outcome:?}");
            run(&Inputs {
                parcels: Some(source),
                ..Inputs::of_turf(good.clone())
            });
            files += 1;
        }
    }
    assert_eq!(files, 74);
}

/// A monthly climate table with one cell changed; row 0 is the header.
fn climate_with(row: usize, column: usize, value: &str) -> String {
    let mut rows: Vec<Vec<String>> = vec![
        ["month", "eto_mm", "rain_mm", "tmax_c", "tmin_c", "rh_pct"]
            .map(str::to_owned)
            .to_vec(),
    ];
    rows.extend((1..=12).map(|month| {
        [month, 90, 30, 25, 10, 60]
            .map(|cell: u32| cell.to_string())
            .to_vec()
    }));
    value.clone_into(&mut rows[row][column]);
    let lines: Vec<String> = rows.iter().map(|row| row.join(",")).collect();
    lines.join("\n")
}

/// Ninety days of weather with one cell changed.
fn weather_with(day: usize, column: usize, value: &str) -> String {
    let mut text = "date,tmax_c,tmin_c,rain_mm,rhmax_pct,rhmin_pct\n".to_owned();
    for row in 0..90 {
        let mut cells = [
            format!("2025-{:02}-{:02}", row / 28 + 1, row % 28 + 1),
            "24".to_owned(),
            "9".to_owned(),
            "1".to_owned(),
            "90".to_owned(),
            "40".to_owned(),
        ];
        if row == day {
            value.clone_into(&mut cells[column]);
        }
        text += &(cells.join(",") + "\n");
    }
    text
}

#[test]
fn defects_of_climates_and_weather() {
    use evenfall::assumptions::Assumptions;
    use evenfall::climate::{Climates, Station, WeatherYears};

    let gone = |month: usize| {
        let text = climate_with(0, 0, "month");
        let lines: Vec<&str> = text
            .lines()
            .enumerate()
            .filter(|(i, _)| *i != month)
            .map(|(_, l)| l)
            .collect();
        lines.join("\n")
    };
    let inches = climate_with(0, 0, "month").replace(",90,30,", ",3.5,1.2,");
    let tables = [
        ("a month is missing", gone(7), Code::CL01),
        ("a month stands twice", climate_with(7, 0, "6"), Code::CL01),
        ("an empty cell", climate_with(7, 1, ""), Code::CL01),
        ("negative rain", climate_with(7, 2, "-3"), Code::CL02),
        (
            "the maximum below the minimum",
            climate_with(7, 3, "9"),
            Code::CL02,
        ),
        ("humidity over 100", climate_with(7, 5, "101"), Code::CL02),
        ("degrees Fahrenheit", climate_with(7, 3, "88"), Code::CL03),
        ("inches", inches, Code::CL03),
        (
            "a word for a number",
            climate_with(7, 1, "much"),
            Code::IN07,
        ),
        ("no column of rain", climate_with(0, 2, "snow"), Code::IN08),
        ("nothing", String::new(), Code::IN08),
    ];
    for (what, text, code) in &tables {
        let issue = Climates::parse(text, "climate.csv").unwrap_err();
        assert_eq!(issue.code, *code, "{what}: {issue}");
        assert!(issue.place.file.is_some(), "{what}: {issue}");
    }
    assert!(Climates::parse(&climate_with(0, 0, "month"), "c").is_ok());

    let station = Station::assumed(&Assumptions::defaults(), 40.0, 100.0);
    let days = [
        ("negative rain", weather_with(40, 3, "-1"), Code::CL02),
        (
            "the maximum below the minimum",
            weather_with(40, 1, "8"),
            Code::CL02,
        ),
        (
            "humidity over 100",
            weather_with(40, 4, "100.4"),
            Code::CL02,
        ),
        ("degrees Fahrenheit", weather_with(40, 1, "84"), Code::CL03),
        (
            "a day that is none",
            weather_with(40, 0, "2025-02-30"),
            Code::IN07,
        ),
        ("a day twice", weather_with(40, 0, "2025-01-01"), Code::CL02),
        (
            "no minimum",
            weather_with(0, 0, "2025-01-01").replace("tmin_c", "low"),
            Code::IN08,
        ),
    ];
    for (what, text, code) in &days {
        let issue = WeatherYears::parse(text, "weather.csv", station).unwrap_err();
        assert_eq!(issue.code, *code, "{what}: {issue}");
    }
    let short = WeatherYears::parse(&weather_with(0, 1, ""), "w", station).unwrap();
    assert_eq!(short.months().unwrap_err().code, Code::CL05);
    let gaps = WeatherYears::parse(&weather_with(40, 1, ""), "w", station).unwrap();
    assert_eq!(gaps.gap_note().unwrap().code, Code::CL04);
}

#[test]
fn defects_of_soils_and_their_tables() {
    use evenfall::read::LandSources;

    let read = |soils: &str, table: Option<&str>| {
        let source = |name: &str, text: &str| Source::from_bytes(name, text.as_bytes());
        let inputs = Inputs::of_turf(source("turf", &collection(&[good(0.0, "")])));
        let land = LandSources {
            soils: Some(source("soils", soils)),
            soil_table: table.map(|text| source("soils.csv", text)),
            ..LandSources::default()
        };
        let mut neighbourhood = Neighbourhood::open(&inputs)?.over(&land)?;
        let mut codes = Vec::new();
        for reading in neighbourhood.by_ref() {
            if let Reading::Parcel(parcel) = reading? {
                codes.extend(parcel.issues.iter().map(|issue| issue.code));
            }
        }
        codes.extend(neighbourhood.orphans().iter().map(|issue| issue.code));
        Ok::<Vec<Code>, evenfall::issue::Issue>(codes)
    };
    let soils = |properties: &str| collection(&[feature(properties, &around_the_lawns())]);
    let known = read(&soils(r#""texture":"loam""#), None).unwrap();
    assert!(known.is_empty(), "{known:?}");
    let typo = read(&soils(r#""texture":"lome""#), None).unwrap();
    assert_eq!(typo, [Code::SO02, Code::SO01]);
    let rate = read(&soils(r#""intake_mm_h":-4"#), None).unwrap();
    assert_eq!(rate, [Code::SO02, Code::SO04]);
    let fatal = |soils: &str, table: Option<&str>| read(soils, table).unwrap_err().code;
    assert_eq!(fatal(&soils(r#""MUKEY":"7""#), None), Code::SO03);
    let by_key = soils(r#""MUKEY":"7""#);
    assert_eq!(fatal(&by_key, Some("musym,texture\n7,loam\n")), Code::IN08);
    assert_eq!(fatal(&by_key, Some("texture\nloam\n")), Code::IN08);
    assert_eq!(
        fatal(&by_key, Some("mukey,intake_mm_h\n7,fast\n")),
        Code::IN07
    );
    assert_eq!(read(&by_key, Some("mukey,texture\n7,loam\n")).unwrap(), []);
    assert_eq!(
        read(&by_key, Some("mukey,texture\n8,loam\n")).unwrap(),
        [Code::SO02]
    );
    let line = feature("", r#"{"type":"LineString","coordinates":[[5,43],[6,43]]}"#);
    let with_line = collection(&[line, feature(r#""texture":"loam""#, &around_the_lawns())]);
    assert_eq!(read(&with_line, None).unwrap(), [Code::SO05]);
}

/// A large square about the lawns of this file.
fn around_the_lawns() -> String {
    polygon(&[&square(-50.0, -50.0, 200.0)])
}
