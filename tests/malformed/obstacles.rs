//! Layers of obstacles with one defect each.

use evenfall::issue::Code;

use super::outcome::{ALL, Case, Given, check, source};
use super::texts::{broken_layers, collection, feature, nested, polygon, ring, square};

const BUILDING: &str = r#""kind":"building","height_m":4"#;

/// A building beside the second lawn.
fn building() -> String {
    feature(BUILDING, &polygon(&[&square(4.8, 0.0, 0.5)]))
}

fn with(obstacles: impl AsRef<[u8]>) -> Given {
    let mut given = Given::lawns();
    given.inputs.obstacles = Some(source("obstacles.geojson", obstacles));
    given
}

#[test]
fn defects_of_obstacles() {
    let sound = collection(&[building()]);
    let mut cases: Vec<Case> = broken_layers(&sound)
        .into_iter()
        .map(|(what, text, code)| Case {
            what,
            given: with(text),
            code,
            planned: &[],
        })
        .collect();
    let square_of = |points: &[(f64, f64)]| polygon(&[&ring(points)]);
    let shapes = [
        ("a null geometry", "null".to_owned(), Code::GE01),
        (
            "a polygon without rings",
            r#"{"type":"Polygon","coordinates":[]}"#.to_owned(),
            Code::GE01,
        ),
        (
            "a line",
            r#"{"type":"LineString","coordinates":[[5,43],[6,43]]}"#.to_owned(),
            Code::GE02,
        ),
        (
            "a point",
            r#"{"type":"Point","coordinates":[5,43]}"#.to_owned(),
            Code::GE02,
        ),
        (
            "two points",
            square_of(&[(5.0, 0.0), (6.0, 0.0), (5.0, 0.0)]),
            Code::GE03,
        ),
        (
            "a spike",
            square_of(&[
                (5.0, 0.0),
                (5.5, 0.0),
                (5.5, 0.5),
                (5.2, 0.5),
                (5.2, 0.9),
                (5.2, 0.5),
                (5.0, 0.5),
                (5.0, 0.0),
            ]),
            Code::GE04,
        ),
        (
            "a bow-tie",
            square_of(&[(5.0, 0.0), (5.5, 0.5), (5.5, 0.0), (5.0, 0.5), (5.0, 0.0)]),
            Code::GE05,
        ),
        (
            "a null coordinate",
            polygon(&["[[5.0005,43],[5.0006,null],[5.0006,43.0001],[5.0005,43]]"]),
            Code::GE06,
        ),
        (
            "a sliver",
            square_of(&[(5.0, 0.0), (5.5, 0.0), (5.5, 0.0001), (5.0, 0.0)]),
            Code::GE07,
        ),
        (
            "a ring that is not closed",
            square_of(&[(5.0, 0.0), (5.5, 0.0), (5.5, 0.5), (5.0, 0.5)]),
            Code::GE10,
        ),
        ("a text for a geometry", "\"a wall\"".to_owned(), Code::GE11),
        ("nested too deep", nested(200), Code::GE12),
        (
            "metres",
            polygon(&["[[865600,6277000],[865610,6277000],[865610,6277010],[865600,6277000]]"]),
            Code::CR03,
        ),
    ];
    cases.extend(shapes.map(|(what, geometry, code)| Case {
        what,
        given: with(collection(&[building(), feature(BUILDING, &geometry)])),
        code,
        planned: ALL,
    }));
    let cells = [
        ("an unknown kind", r#""kind":"castle""#),
        ("a kind that is a number", r#""kind":7"#),
        (
            "a height that is a word",
            r#""kind":"wall","height_m":"tall""#,
        ),
        ("a negative height", r#""kind":"wall","height_m":-2"#),
        (
            "a height in millimetres",
            r#""kind":"wall","height_m":2400"#,
        ),
    ];
    cases.extend(cells.map(|(what, properties)| Case {
        what,
        given: with(collection(&[
            building(),
            feature(properties, &polygon(&[&square(-0.9, 0.0, 0.5)])),
        ])),
        code: Code::IN11,
        planned: ALL,
    }));
    check("obstacles", &with(sound), &cases);
}
