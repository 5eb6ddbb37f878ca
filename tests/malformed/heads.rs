//! Layers of existing heads with one defect each.

use evenfall::issue::Code;

use super::outcome::{ALL, Case, Given, check, source};
use super::texts::{broken_layers, collection, feature, known_but, nested, point, polygon, square};

/// A head of which everything is known; a column may be given another value.
fn columns(column: &str, value: &str) -> String {
    let known = [
        ("nozzle_family", "\"spray\""),
        ("radius_m", "4"),
        ("arc_deg", "90"),
        ("azimuth_deg", "0"),
        ("pressure_kpa", "200"),
        ("flow_lpm", "3"),
        ("station", "\"1\""),
        ("regulated", "true"),
        ("body_mm", "100"),
        ("condition", "\"ok\""),
    ];
    known_but(&known, column, value)
}

/// Heads in the corners of the second lawn.
fn corners() -> Vec<String> {
    [(4.0, 0.0), (4.6, 0.0), (4.6, 0.6), (4.0, 0.6)]
        .map(|(x, y)| point(x, y, &columns("", "")))
        .to_vec()
}

fn with(heads: impl AsRef<[u8]>) -> Given {
    let mut given = Given::lawns();
    given.inputs.heads = Some(source("heads.geojson", heads));
    given
}

/// The corners and one more head.
fn and(head: String) -> Given {
    let mut heads = corners();
    heads.push(head);
    with(collection(&heads))
}

#[test]
fn defects_of_heads() {
    let sound = collection(&corners());
    let mut cases: Vec<Case> = broken_layers(&sound)
        .into_iter()
        .map(|(what, text, code)| Case {
            what,
            given: with(text),
            code,
            planned: &[],
        })
        .collect();
    let line = r#"{"type":"LineString","coordinates":[[5,43],[6,43]]}"#;
    let at = |position: &str| format!(r#"{{"type":"Point","coordinates":{position}}}"#);
    let shapes = [
        ("a null geometry", "null".to_owned(), Code::GE01),
        ("no position", at("[]"), Code::GE11),
        ("a line", line.to_owned(), Code::GE02),
        ("an area", polygon(&[&square(4.0, 0.0, 0.1)]), Code::GE02),
        ("a null coordinate", at("[5.0004,null]"), Code::GE06),
        ("an endless coordinate", at("[5.0004,1e999]"), Code::GE06),
        ("a text for a position", at("\"here\""), Code::GE11),
        ("nested too deep", at(&nested(200)), Code::GE12),
        ("metres", at("[865600,6277000]"), Code::CR03),
        ("far from every lawn", at("[5.01,43.0]"), Code::JO05),
    ];
    cases.extend(shapes.map(|(what, geometry, code)| Case {
        what,
        given: and(feature(&columns("", ""), &geometry)),
        code,
        planned: ALL,
    }));
    let cells = [
        ("a throw that is a word", "radius_m", "\"far\""),
        ("a negative throw", "radius_m", "-4"),
        ("a throw of a field", "radius_m", "400"),
        ("no arc", "arc_deg", "0"),
        ("more than a circle", "arc_deg", "361"),
        ("an azimuth that is a word", "azimuth_deg", "\"north\""),
        ("two turns", "azimuth_deg", "720"),
        ("no pressure", "pressure_kpa", "0"),
        ("a pressure in pascals", "pressure_kpa", "200000"),
        ("a negative flow", "flow_lpm", "-1"),
        ("a flow that is a word", "flow_lpm", "\"fast\""),
        ("a body of a metre and more", "body_mm", "1200"),
        ("regulated, perhaps", "regulated", "\"perhaps\""),
        ("an unknown condition", "condition", "\"tired\""),
        ("an unknown family", "nozzle_family", "\"sprinkel\""),
    ];
    cases.extend(cells.map(|(what, column, value)| Case {
        what,
        given: and(point(4.3, 0.3, &columns(column, value))),
        code: Code::IN11,
        planned: ALL,
    }));
    let known = columns("", "");
    let others = [
        ("the same head twice", point(4.0, 0.0, &known), Code::HE01),
        (
            "nothing known but the place",
            point(4.3, 0.3, ""),
            Code::HE02,
        ),
        (
            "two families on one station",
            point(4.3, 0.3, &columns("nozzle_family", "\"rotary-mid\"")),
            Code::HE03,
        ),
    ];
    cases.extend(others.map(|(what, head, code)| Case {
        what,
        given: and(head),
        code,
        planned: ALL,
    }));
    check("heads", &with(sound), &cases);
}
