//! Layers of the water supply with one defect each.

use evenfall::issue::Code;

use super::outcome::{ALL, Case, Given, check, source};
use super::texts::{broken_layers, collection, feature, known_but, point, polygon, square};

/// Without the parcel whose supply cannot water anything.
const OTHERS: &[&str] = &["1", "3"];

/// A meter of which everything is known; a column may be given another value.
fn meter(column: &str, value: &str) -> String {
    let known = [
        ("kind", "\"meter\""),
        ("size_mm", "20"),
        ("static_kpa", "420"),
        ("flow_lpm", "40"),
    ];
    known_but(&known, column, value)
}

fn with(supply: impl AsRef<[u8]>) -> Given {
    let mut given = Given::lawns();
    given.inputs.supply = Some(source("supply.geojson", supply));
    given
}

/// A meter at each lawn; that of the second has these columns.
fn second(properties: &str) -> Given {
    let sound = meter("", "");
    let points = [(0.0, sound.as_str()), (4.0, properties), (8.0, &sound)];
    with(collection(
        &points.map(|(x, columns)| point(x, -0.1, columns)),
    ))
}

#[test]
fn defects_of_supplies() {
    let sound = collection(&[point(4.0, -0.1, &meter("", ""))]);
    let mut cases: Vec<Case> = broken_layers(&sound)
        .into_iter()
        .map(|(what, text, code)| Case {
            what,
            given: with(text),
            code,
            planned: &[],
        })
        .collect();
    let at = |position: &str| format!(r#"{{"type":"Point","coordinates":{position}}}"#);
    let shapes = [
        ("a null geometry", "null".to_owned(), Code::GE01),
        ("an area", polygon(&[&square(4.0, 0.0, 0.1)]), Code::GE02),
        ("an endless coordinate", at("[5.0004,1e999]"), Code::GE06),
        ("a text for a position", at("\"here\""), Code::GE11),
        ("metres", at("[865600,6277000]"), Code::CR03),
        ("far from every parcel", at("[5.01,43.0]"), Code::HY06),
    ];
    cases.extend(shapes.map(|(what, geometry, code)| Case {
        what,
        given: with(collection(&[
            point(4.0, -0.1, &meter("", "")),
            feature(&meter("", ""), &geometry),
        ])),
        code,
        planned: ALL,
    }));
    let cells = [
        ("no kind", "kind", "null", Code::HY05, ALL),
        ("an unknown kind", "kind", "\"hydrant\"", Code::HY05, ALL),
        (
            "a size that is a word",
            "size_mm",
            "\"big\"",
            Code::IN11,
            ALL,
        ),
        ("a size in metres", "size_mm", "0.02", Code::IN11, ALL),
        (
            "a pressure that is a word",
            "static_kpa",
            "\"high\"",
            Code::IN11,
            ALL,
        ),
        (
            "a pressure in pascals",
            "static_kpa",
            "420000",
            Code::IN11,
            ALL,
        ),
        (
            "a flow that is a word",
            "flow_lpm",
            "\"fast\"",
            Code::IN11,
            ALL,
        ),
        ("no flow", "flow_lpm", "0", Code::HY02, OTHERS),
        ("a negative flow", "flow_lpm", "-20", Code::HY02, OTHERS),
        (
            "no pressure to speak of",
            "static_kpa",
            "20",
            Code::HY01,
            OTHERS,
        ),
        (
            "a flow below that of a head",
            "flow_lpm",
            "1",
            Code::HY03,
            ALL,
        ),
    ];
    cases.extend(cells.map(|(what, column, value, code, planned)| Case {
        what,
        given: second(&meter(column, value)),
        code,
        planned,
    }));
    cases.push(Case {
        what: "neither size nor flow",
        given: second(r#""kind":"meter","static_kpa":420"#),
        code: Code::HY04,
        planned: ALL,
    });
    cases.push(Case {
        what: "a parcel that is not there",
        given: second(&format!("{},\"parcel_id\":\"7\"", meter("", ""))),
        code: Code::HY06,
        planned: ALL,
    });
    check("supplies", &second(&meter("", "")), &cases);
}
