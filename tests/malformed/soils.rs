//! Layers of soils and their tables with one defect each.

use evenfall::issue::Code;

use super::outcome::{ALL, Case, Given, check, source};
use super::texts::{broken_layers, collection, feature, polygon, ring, square};

/// A large square about all lawns.
fn around() -> String {
    polygon(&[&square(-50.0, -50.0, 200.0)])
}

fn with(soils: impl AsRef<[u8]>, table: Option<&str>) -> Given {
    let mut given = Given::lawns();
    given.land.soils = Some(source("soils.geojson", soils));
    given.land.soil_table = table.map(|text| source("soils.csv", text));
    given
}

fn of(properties: &str, table: Option<&str>) -> Given {
    with(collection(&[feature(properties, &around())]), table)
}

#[test]
fn defects_of_soils() {
    let loam = feature(r#""texture":"loam""#, &around());
    let sound = collection(std::slice::from_ref(&loam));
    let mut cases: Vec<Case> = broken_layers(&sound)
        .into_iter()
        .map(|(what, text, code)| Case {
            what,
            given: with(text, None),
            code,
            planned: &[],
        })
        .collect();
    let fatal = |what, given, code| Case {
        what,
        given,
        code,
        planned: &[],
    };
    let note = |what, given, code| Case {
        what,
        given,
        code,
        planned: ALL,
    };
    let shapes = [
        ("a null geometry", "null".to_owned()),
        (
            "a line",
            r#"{"type":"LineString","coordinates":[[5,43],[6,43]]}"#.to_owned(),
        ),
        (
            "a bow-tie",
            polygon(&[&ring(&[
                (3.0, 0.0),
                (5.0, 2.0),
                (5.0, 0.0),
                (3.0, 1.0),
                (3.0, 0.0),
            ])]),
        ),
        (
            "an endless coordinate",
            polygon(&["[[5,43],[5.1,1e999],[5.1,43.1],[5,43]]"]),
        ),
    ];
    cases.extend(shapes.map(|(what, geometry)| {
        let layer = collection(&[feature(r#""texture":"clay""#, &geometry), loam.clone()]);
        note(what, with(layer, None), Code::SO05)
    }));
    let key = r#""MUKEY":"7""#;
    cases.extend([
        note(
            "a class that is none",
            of(r#""texture":"lome""#, None),
            Code::SO01,
        ),
        note(
            "no class for any lawn",
            of(r#""texture":"lome""#, None),
            Code::SO02,
        ),
        note(
            "a negative intake rate",
            of(r#""texture":"loam","intake_mm_h":-4"#, None),
            Code::SO04,
        ),
        note(
            "an intake rate of metres",
            of(r#""texture":"loam","intake_mm_h":4000"#, None),
            Code::SO04,
        ),
        note(
            "soils elsewhere",
            with(
                collection(&[feature(
                    r#""texture":"loam""#,
                    &polygon(&[&square(90.0, 0.0, 5.0)]),
                )]),
                None,
            ),
            Code::SO02,
        ),
        fatal("keys without a table", of(key, None), Code::SO03),
        fatal(
            "a table of another key",
            of(key, Some("musym,texture\n7,loam\n")),
            Code::IN08,
        ),
        fatal(
            "a table without keys",
            of(key, Some("texture\nloam\n")),
            Code::IN08,
        ),
        fatal(
            "a table of keys alone",
            of(key, Some("mukey,name\n7,loam\n")),
            Code::IN08,
        ),
        fatal("an empty table", of(key, Some("")), Code::IN08),
        fatal(
            "a rate in the table that is a word",
            of(key, Some("mukey,intake_mm_h\n7,fast\n")),
            Code::IN07,
        ),
        note(
            "a class in the table that is none",
            of(key, Some("mukey,texture\n7,lome\n")),
            Code::SO01,
        ),
        note(
            "a table without the unit",
            of(key, Some("mukey,texture\n8,loam\n")),
            Code::SO02,
        ),
    ]);
    check("soils", &with(sound, None), &cases);
    // The table is sound where its key is that of the layer; without its layer it is refused.
    let mut given = Given::lawns();
    given.land.soil_table = Some(source("soils.csv", "mukey,texture\n7,loam\n"));
    let alone = fatal("a table without its layer", given, Code::RU01);
    check(
        "soil tables",
        &of(key, Some("mukey,texture\n7,loam\n")),
        &[alone],
    );
}
