//! Features of a layer of lawns with one defect each in their geometry or structure.

use evenfall::issue::Code;

use super::polygons::{BOTH, Row, row};
use super::texts::{among, collection, good, nested, polygon, ring, square};

/// Rows about the geometry and the structure of one feature among good ones.
pub fn rows() -> Vec<Row> {
    let outer = square(3.0, 0.0, 3.0);
    let bad = |geometry: String, code, what| row(what, among(&geometry), code, BOTH);
    vec![
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
        bad(nested(200), Code::GE12, "nested too deep"),
        bad(
            format!(r#"{{"type":"Polygon","coordinates":{}}}"#, nested(126)),
            Code::GE12,
            "nested just too deep",
        ),
        bad(
            nested(200_000),
            Code::GE12,
            "nested so deep that recursion would not end",
        ),
        row(
            "a feature that is too long",
            among(&format!("\"{}\"", "x".repeat(33 << 20))),
            Code::GE12,
            BOTH,
        ),
    ]
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
