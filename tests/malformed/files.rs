//! Whole files and text sequences of lawns with one defect each.

use evenfall::issue::Code;

use super::polygons::{BOTH, NONE, Row, row, sequence};
use super::texts::{among, collection, feature, good, nested, polygon};

/// Rows about the file, its reference system, attributes and records.
pub fn rows() -> Vec<Row> {
    let whole = collection(&[good(0.0, ""), good(4.0, "")]);
    let bad = |geometry: String, code, what| row(what, among(&geometry), code, BOTH);
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
            Code::IN18,
            &["2", "2~2"],
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
            &[good(0.0, ""), nested(200), good(8.0, "")],
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
