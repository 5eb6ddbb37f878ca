//! Layers that do not fit together, and filters that no layer meets.

use evenfall::issue::Code;
use evenfall::read::filter::parse_bbox;
use evenfall::read::{Inputs, Source};

use super::outcome::run;
use super::texts::{collection, feature, good, polygon, ring, square};

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
            Code::IN15,
            2,
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
