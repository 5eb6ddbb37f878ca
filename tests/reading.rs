//! Layers in, parcels out: joins, ids, formats and reference systems.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::result_large_err,
    reason = "a test fails by panicking"
)]

use std::collections::BTreeMap;

use evenfall::issue::Code;
use evenfall::read::{Inputs, MatchIds, Neighbourhood, Reading, RepeatedIds, Source};
use evenfall::site::{Condition, ObstacleKind, Parcel};
use geo::GeodesicArea;

fn source(name: &str, text: &str) -> Source {
    Source::from_bytes(name, text.as_bytes().to_vec())
}

fn open(inputs: &Inputs) -> Neighbourhood {
    Neighbourhood::open(inputs).unwrap_or_else(|issue| panic!("{issue}"))
}

/// All parcels; none may fail.
fn parcels(inputs: &Inputs) -> Vec<Parcel> {
    open(inputs)
        .map(
            |reading| match reading.unwrap_or_else(|issue| panic!("{issue}")) {
                Reading::Parcel(parcel) => *parcel,
                failed @ Reading::Failed { .. } => panic!("{failed:?}"),
            },
        )
        .collect()
}

/// A rectangle; place and size in units of 1e-4 degrees, about 10 m.
fn rectangle(x: f64, y: f64, width: f64, height: f64) -> String {
    let at = |dx: f64, dy: f64| {
        format!(
            "[{:.7},{:.7}]",
            5.0 + (x + dx) * 1e-4,
            43.0 + (y + dy) * 1e-4
        )
    };
    let start = at(0.0, 0.0);
    format!(
        "[{start},{},{},{},{start}]",
        at(width, 0.0),
        at(width, height),
        at(0.0, height)
    )
}

fn feature(properties: &str, x: f64, y: f64, width: f64, height: f64) -> String {
    let ring = rectangle(x, y, width, height);
    format!(
        r#"{{"type":"Feature","properties":{{{properties}}},"geometry":{{"type":"Polygon","coordinates":[{ring}]}}}}"#
    )
}

fn point(properties: &str, x: f64, y: f64) -> String {
    let (lon, lat) = (5.0 + x * 1e-4, 43.0 + y * 1e-4);
    format!(
        r#"{{"type":"Feature","properties":{{{properties}}},"geometry":{{"type":"Point","coordinates":[{lon:.8},{lat:.8}]}}}}"#
    )
}

fn collection(features: &[String]) -> String {
    format!(
        r#"{{"type":"FeatureCollection","features":[{}]}}"#,
        features.join(",\n")
    )
}

fn turf_ids(parcel: &Parcel) -> Vec<&str> {
    parcel.turf.iter().map(|area| area.id.as_str()).collect()
}

fn codes(parcel: &Parcel) -> Vec<Code> {
    parcel.issues.iter().map(|issue| issue.code).collect()
}

#[test]
fn turf_joins_by_id_and_else_by_largest_overlap() {
    let lots = collection(&[
        feature(r#""parcel_id":"007","zone":"east""#, 0.0, 0.0, 4.0, 4.0),
        feature(r#""parcel_id":7"#, 4.0, 0.0, 4.0, 4.0),
        feature(r#""parcel_id":"empty""#, 8.0, 0.0, 4.0, 4.0),
    ]);
    let lawns = collection(&[
        // By id, though it lies in the other parcel's place.
        feature(r#""parcel_id":"7","exposure":"Shade""#, 5.0, 0.5, 1.0, 1.0),
        // 3 of 4 parts in the first parcel.
        feature("", 1.0, 1.0, 4.0, 1.0),
        feature(r#""parcel_id":"007","grass":"warm""#, 0.5, 2.5, 1.0, 1.0),
        feature(r#""parcel_id":"nobody""#, 0.0, 0.0, 1.0, 1.0),
        feature("", 90.0, 0.0, 1.0, 1.0),
    ]);
    let inputs = Inputs {
        parcels: Some(source("lots", &lots)),
        ..Inputs::of_turf(source("lawns", &lawns))
    };
    let read = parcels(&inputs);
    assert_eq!(
        read.iter().map(|p| p.id.as_str()).collect::<Vec<_>>(),
        ["007", "7", "empty"]
    );
    assert_eq!(turf_ids(&read[0]), ["007#1", "007#2"]);
    assert_eq!(codes(&read[0]), [Code::JO03, Code::JO04]);
    assert_eq!(read[0].attributes.text("zone").as_deref(), Some("east"));
    assert_eq!(read[0].outline.len(), 1);
    assert_eq!(turf_ids(&read[1]), ["7#1"]);
    assert!(read[1].turf[0].exposure.is_some() && read[0].turf[1].grass.is_some());
    assert!(read[2].turf.is_empty());

    let mut neighbourhood = open(&inputs);
    assert_eq!(neighbourhood.expected(), Some(3));
    assert_eq!(neighbourhood.by_ref().count(), 3);
    let orphans: Vec<_> = neighbourhood
        .orphans()
        .iter()
        .map(|issue| (issue.code, issue.place.feature))
        .collect();
    assert_eq!(orphans, [(Code::JO01, Some(4)), (Code::JO02, Some(5))]);
    let counts = neighbourhood.counts();
    assert_eq!(
        (counts.turf, counts.turf_joined, counts.turf_orphaned),
        (5, 3, 2)
    );
}

#[test]
fn a_filter_is_about_parcels_and_never_moves_turf_to_a_neighbour() {
    let lots = collection(&[
        feature(r#""id":"A","zone":"east""#, 0.0, 0.0, 4.0, 4.0),
        feature(r#""id":"B","zone":"west""#, 4.0, 0.0, 4.0, 4.0),
    ]);
    // Mostly on A, which the filter leaves out.
    let lawns = collection(&[
        feature("", 1.0, 1.0, 4.0, 1.0),
        feature(r#""parcel_id":"A""#, 1.0, 2.0, 1.0, 1.0),
        feature("", 5.0, 2.0, 1.0, 1.0),
    ]);
    for (clause, bbox) in [
        (Some("zone = 'west'".to_owned()), None),
        (None, Some([5.000_45, 42.9, 5.1, 43.1])),
    ] {
        let inputs = Inputs {
            parcels: Some(source("lots", &lots)),
            where_clause: clause,
            bbox,
            ..Inputs::of_turf(source("lawns", &lawns))
        };
        let mut neighbourhood = open(&inputs);
        let read: Vec<_> = neighbourhood.by_ref().map(Result::unwrap).collect();
        assert_eq!(read.len(), 1);
        let Reading::Parcel(parcel) = &read[0] else {
            panic!("{read:?}")
        };
        assert_eq!((parcel.index, parcel.id.as_str()), (0, "B"));
        assert_eq!(turf_ids(parcel), ["B#1"]);
        assert!(neighbourhood.orphans().is_empty());
        let counts = neighbourhood.counts();
        assert_eq!(
            (
                counts.turf_joined,
                counts.turf_left_out,
                counts.parcels_left_out
            ),
            (1, 2, 1)
        );
    }
}

#[test]
fn the_id_comes_from_the_first_column_that_has_one() {
    let with_own_id = |text: String| text.replacen('{', r#"{"id":"own","#, 1);
    let lots = collection(&[
        feature(
            r#""apn":"0001.0","parcel_id":"P","id":"I""#,
            0.0,
            0.0,
            4.0,
            4.0,
        ),
        feature(r#""parcel_id":"P","id":"I""#, 4.0, 0.0, 4.0, 4.0),
        feature(r#""parcel_id":null,"id":50"#, 8.0, 0.0, 4.0, 4.0),
        with_own_id(feature(r#""id":" ""#, 12.0, 0.0, 4.0, 4.0)),
        feature("", 16.0, 0.0, 4.0, 4.0),
    ]);
    let lawns = collection(&[feature("", 1.0, 1.0, 2.0, 1.0)]);
    let mut inputs = Inputs {
        parcels: Some(source("lots", &lots)),
        id_field: Some("apn".into()),
        ..Inputs::of_turf(source("lawns", &lawns))
    };
    let ids = |inputs: &Inputs| {
        parcels(inputs)
            .into_iter()
            .map(|p| p.id)
            .collect::<Vec<_>>()
    };
    assert_eq!(ids(&inputs), ["0001.0", "P", "50", "own", "5"]);
    inputs.id_field = None;
    inputs.repeated_ids = RepeatedIds::Refuse;
    assert_eq!(
        Neighbourhood::open(&inputs).err().map(|issue| issue.code),
        Some(Code::IN09)
    );
    // One row has no id, and the id of two is the same.
    inputs.repeated_ids = RepeatedIds::Number;
    assert_eq!(ids(&inputs), ["P", "P~2", "50", "own", "5"]);
    let mut neighbourhood = open(&inputs);
    assert_eq!(neighbourhood.by_ref().count(), 5);
    assert_eq!(orphan_codes(&neighbourhood), [Code::IN18, Code::IN15]);
}

fn orphan_codes(neighbourhood: &Neighbourhood) -> Vec<Code> {
    let orphans = neighbourhood.orphans().iter();
    orphans.map(|issue| issue.code).collect()
}

/// Two lots of one id, a lot with the id that the second would get, and three turf areas that name it.
fn repeated() -> Inputs {
    let lots = collection(&[
        feature(r#""id":"---","owner":"city""#, 0.0, 0.0, 4.0, 4.0),
        feature(r#""id":"---","owner":"state""#, 10.0, 0.0, 4.0, 4.0),
        feature(r#""id":"---~2","owner":"city""#, 20.0, 0.0, 4.0, 4.0),
    ]);
    let lawns = collection(&[
        feature(r#""parcel_id":"---""#, 1.0, 1.0, 1.0, 1.0),
        feature(r#""parcel_id":"---""#, 11.0, 1.0, 1.0, 1.0),
        feature(r#""parcel_id":"---""#, 50.0, 1.0, 1.0, 1.0),
        feature("", 12.5, 1.0, 1.0, 1.0),
    ]);
    let supply = collection(&[
        point(r#""kind":"meter","parcel_id":"---""#, 11.0, 3.0),
        point(r#""kind":"valve","parcel_id":"---~2""#, 0.0, 0.0),
    ]);
    Inputs {
        parcels: Some(source("lots", &lots)),
        supply: Some(source("supply", &supply)),
        ..Inputs::of_turf(source("lawns", &lawns))
    }
}

#[test]
fn parcels_of_one_id_are_numbered_and_what_names_them_goes_by_place() {
    let inputs = repeated();
    let mut neighbourhood = open(&inputs)
        .metered("parcel_id,month,m3\n---,2023-07,9\n", "meter.csv")
        .unwrap();
    let read: Vec<Parcel> = neighbourhood
        .by_ref()
        .map(|reading| match reading.unwrap() {
            Reading::Parcel(parcel) => *parcel,
            failed @ Reading::Failed { .. } => panic!("{failed:?}"),
        })
        .collect();
    let ids: Vec<&str> = read.iter().map(|parcel| parcel.id.as_str()).collect();
    assert_eq!(ids, ["---", "---~3", "---~2"]);
    // The third names the id and lies on neither: it stays with the first.
    assert_eq!(turf_ids(&read[0]), ["---#1", "---#2"]);
    assert_eq!(turf_ids(&read[1]), ["---~3#1", "---~3#2"]);
    assert!(read[2].turf.is_empty());
    let supply: Vec<usize> = read.iter().map(|parcel| parcel.supply.len()).collect();
    assert_eq!(supply, [0, 1, 1]);
    let meter: Vec<usize> = read.iter().map(|parcel| parcel.meter.len()).collect();
    assert_eq!(meter, [1, 0, 0]);
    assert_eq!(orphan_codes(&neighbourhood), [Code::IN15, Code::ME05]);
    let renamed = &neighbourhood.orphans()[0];
    assert_eq!(renamed.place.parcel.as_deref(), Some("---~3"));
    assert_eq!(renamed.place.feature, Some(2));
    assert!(renamed.is_reported() && !renamed.is_grave());
    // A filter leaves the first out; the second is called as in the whole run, and is not refused.
    let part = Inputs {
        where_clause: Some("owner = 'state'".into()),
        ..inputs
    };
    let read = parcels(&part);
    assert_eq!((read.len(), read[0].id.as_str()), (1, "---~3"));
    assert_eq!(read[0].turf.len(), 2);
    let refused = Inputs {
        repeated_ids: RepeatedIds::Refuse,
        ..part
    };
    assert_eq!(parcels(&refused).len(), 1, "one of them is planned");
}

#[test]
fn parcels_of_one_id_are_joined() {
    let inputs = Inputs {
        repeated_ids: RepeatedIds::Join,
        ..repeated()
    };
    let mut neighbourhood = open(&inputs);
    assert_eq!(neighbourhood.expected(), Some(2));
    assert_eq!(neighbourhood.by_ref().count(), 2);
    assert_eq!(orphan_codes(&neighbourhood), []);
    let read = parcels(&inputs);
    assert_eq!((read[0].id.as_str(), read[0].outline.len()), ("---", 2));
    assert_eq!(read[0].turf.len(), 4);
    assert_eq!(read[0].attributes.text("owner").as_deref(), Some("city"));
    let said: Vec<(Code, &str)> = read[0]
        .issues
        .iter()
        .map(|issue| (issue.code, issue.found.as_str()))
        .take(2)
        .collect();
    assert_eq!(
        said,
        [
            (Code::IN16, "feature 2"),
            (Code::IN17, "of 1 more features: owner in 1")
        ]
    );
    // Three units of a condominium on one another, and a lot beside: the ground counts once.
    let unit = feature(r#""id":"C""#, 0.0, 0.0, 2.0, 2.0);
    let lots = [
        unit.clone(),
        unit.clone(),
        unit,
        feature(r#""id":"C""#, 2.0, 0.0, 2.0, 2.0),
    ];
    let lawn = collection(&[feature("", 0.5, 0.5, 3.0, 1.0)]);
    let inputs = Inputs {
        parcels: Some(source("lots", &collection(&lots))),
        ..Inputs {
            repeated_ids: RepeatedIds::Join,
            ..Inputs::of_turf(source("lawns", &lawn))
        }
    };
    let read = parcels(&inputs);
    assert_eq!(read.len(), 1);
    let whole_m2 = read[0]
        .outline
        .iter()
        .map(|part| part.geodesic_area_unsigned());
    let lot_m2 = parcels(&Inputs::of_turf(source("lawns", &collection(&lots[..1]))))[0].turf[0]
        .polygon
        .geodesic_area_unsigned();
    let ratio = whole_m2.sum::<f64>() / lot_m2;
    assert!(
        (ratio - 2.0).abs() < 1e-6,
        "{ratio}: corners are rounded to a grid of nanometres"
    );
    // Nothing of the turf lies outside.
    assert_eq!(codes(&read[0]), [Code::IN16, Code::JO03]);
}

#[test]
fn ids_written_differently_are_matched_and_reported() {
    let lots = collection(&[
        feature(r#""id":"00A 17""#, 0.0, 0.0, 4.0, 4.0),
        feature(r#""id":"08""#, 10.0, 0.0, 4.0, 4.0),
        feature(r#""id":"8""#, 20.0, 0.0, 4.0, 4.0),
        feature(r#""id":"009""#, 30.0, 0.0, 4.0, 4.0),
    ]);
    let lawns = collection(&[
        feature(r#""parcel_id":"a17""#, 1.0, 1.0, 1.0, 1.0),
        feature(r#""parcel_id":"8""#, 21.0, 1.0, 1.0, 1.0),
        feature(r#""parcel_id":"008""#, 11.0, 1.0, 1.0, 1.0),
        feature(r#""parcel_id":"9""#, 31.0, 1.0, 1.0, 1.0),
    ]);
    let supply = collection(&[point(r#""kind":"meter","parcel_id":" A17 ""#, 90.0, 0.0)]);
    let mut inputs = Inputs {
        parcels: Some(source("lots", &lots)),
        supply: Some(source("supply", &supply)),
        ..Inputs::of_turf(source("lawns", &lawns))
    };
    let meter =
        "parcel_id,month,m3\n9.0,2023-07,9\n9.0,2023-08,9\nA17,2023-07,1\n00A 17,2023-07,1\n";
    let read = |inputs: &Inputs| {
        let mut neighbourhood = open(inputs).metered(meter, "meter.csv").unwrap();
        let counts: Vec<[usize; 3]> = neighbourhood
            .by_ref()
            .map(|reading| match reading.unwrap() {
                Reading::Parcel(found) => [found.turf.len(), found.supply.len(), found.meter.len()],
                failed @ Reading::Failed { .. } => panic!("{failed:?}"),
            })
            .collect();
        let said: Vec<String> = neighbourhood
            .orphans()
            .iter()
            .map(|issue| format!("{} {}", issue.code, issue.found))
            .collect();
        (counts, said)
    };
    let (counts, said) = read(&inputs);
    assert_eq!(counts, [[1, 1, 1], [0, 0, 0], [1, 0, 0], [1, 0, 2]]);
    assert_eq!(
        said,
        [
            "JO06 ` A17 ` is taken for parcel `00A 17`",
            "JO01 parcel_id `008`; 2 parcels have it in another case or with other zeros",
            "JO06 `a17` is taken for parcel `00A 17`, and 1 more row",
            "JO06 `9.0` is taken for parcel `009`, and 1 more row",
            "ME04 line 4: `A17`",
        ]
    );
    inputs.match_ids = MatchIds::Exact;
    let (counts, said) = read(&inputs);
    assert_eq!(counts, [[0, 0, 1], [0, 0, 0], [1, 0, 0], [0, 0, 0]]);
    let lost = |issue: &&String| ["JO01", "ME04", "HY06"].contains(&&issue[..4]);
    assert_eq!(said.iter().filter(lost).count(), 5, "{said:?}");
    assert!(said.iter().all(|issue| !issue.starts_with("JO06")));
}

#[test]
fn rows_of_every_layer_are_counted_and_a_lost_layer_names_its_cause() {
    let lots = collection(&[
        feature(r#""id":"A""#, 0.0, 0.0, 4.0, 4.0),
        feature(r#""id":"B""#, 10.0, 0.0, 4.0, 4.0),
    ]);
    let lawns = collection(&[
        feature(r#""parcel_id":"A""#, 1.0, 1.0, 1.0, 1.0),
        feature(r#""parcel_id":"B""#, 11.0, 1.0, 1.0, 1.0),
        feature(r#""parcel_id":"C""#, 11.0, 1.0, 1.0, 1.0),
    ]);
    let heads = collection(&[
        point("", 1.5, 1.5),
        point("", 11.5, 1.5),
        point("", 50.0, 1.5),
    ]);
    let supply = collection(&[
        point(r#""kind":"meter""#, 1.0, 1.0),
        point(r#""kind":"hydrant""#, 1.0, 1.0),
    ]);
    let obstacles = collection(&[
        feature(r#""kind":"building""#, 1.0, 2.5, 1.0, 1.0),
        feature(r#""kind":"building""#, 90.0, 2.5, 1.0, 1.0),
    ]);
    let good = Inputs {
        parcels: Some(source("lots", &lots)),
        heads: Some(source("heads", &heads)),
        supply: Some(source("supply", &supply)),
        obstacles: Some(source("obstacles", &obstacles)),
        ..Inputs::of_turf(source("lawns", &lawns))
    };
    let end = |inputs: &Inputs| {
        let meter = "parcel_id,month,m3\nA,2023-07,9\nA,2023-08,\nX,2023-07,1\n";
        let mut neighbourhood = open(inputs).metered(meter, "meter.csv").unwrap();
        assert!(neighbourhood.usage().is_empty());
        let parcels = neighbourhood.by_ref().count();
        assert!(parcels > 0);
        let usage: Vec<String> = neighbourhood
            .usage()
            .iter()
            .map(|layer| {
                let unused: u64 = layer.unused.values().sum();
                let sum = layer.used + layer.left_out + layer.elsewhere + unused;
                assert_eq!(sum, layer.rows, "{layer:?}");
                format!(
                    "{} {}/{} {}",
                    layer.role,
                    layer.used,
                    layer.rows,
                    layer.reasons()
                )
            })
            .collect();
        let lost: Vec<String> = neighbourhood
            .orphans()
            .iter()
            .filter(|issue| matches!(issue.code, Code::JO07 | Code::JO08))
            .map(|issue| format!("{} {}", issue.code, issue.found))
            .collect();
        (usage, lost)
    };
    let (usage, lost) = end(&good);
    assert_eq!(
        usage,
        [
            "turf 2/3 1 JO01",
            "heads 2/3 1 JO05",
            "obstacles 1/2 1 near nothing planned",
            "supply 1/2 1 HY05",
            "meter 2/3 1 ME04",
        ]
    );
    assert_eq!(lost.len(), 0, "{lost:?}");
    // What a filter leaves out is not lost.
    let part = Inputs {
        where_clause: Some("id = 'A'".into()),
        ..good.clone()
    };
    let (usage, lost) = end(&part);
    assert_eq!(usage[1], "heads 1/3 1 JO05, 1 of parcels not planned");
    assert_eq!(lost.len(), 0, "{lost:?}");
    // Heads given as supply; heads with their coordinates swapped; turf of another id column.
    let sprays = collection(&[point(r#""radius_m":4,"arc_deg":90"#, 1.5, 1.5)]);
    let role = Inputs {
        supply: Some(source("heads", &sprays)),
        ..good.clone()
    };
    let (_, lost) = end(&role);
    assert_eq!(
        lost,
        [
            "JO08 supply: 0 of 1 rows (1 HY05); its columns (arc_deg, radius_m) are those of heads: is \
          it meant for --heads?"
        ]
    );
    let swapped = r#"{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},"geometry":{"type":"Point","coordinates":[43.0001,5.0001]}}]}"#;
    let (_, lost) = end(&Inputs {
        heads: Some(source("heads", swapped)),
        ..good.clone()
    });
    assert_eq!(
        lost,
        ["JO08 heads: 0 of 1 rows (1 JO05); longitude and latitude look swapped"]
    );
    let lawns = collection(&[
        feature(r#""parcel_id":"t1","lot":"A""#, 1.0, 1.0, 1.0, 1.0),
        feature(r#""parcel_id":"t2","lot":"B""#, 11.0, 1.0, 1.0, 1.0),
    ]);
    let other = Inputs {
        heads: None,
        turf: source("lawns", &lawns),
        ..good
    };
    let (_, lost) = end(&other);
    assert_eq!(
        lost,
        [
            "JO08 turf: 0 of 2 rows (2 JO01); its column `lot` holds ids of parcels in 2 rows: name \
          that column parcel_id"
        ]
    );
}

#[test]
fn a_number_that_stands_in_for_an_id_never_takes_one() {
    // The first row has no id, and the second has its number for one.
    let lawns = [
        feature("", 0.0, 0.0, 2.0, 2.0),
        feature(r#""parcel_id":"1""#, 3.0, 0.0, 2.0, 2.0),
        feature(r#""parcel_id":"4""#, 6.0, 0.0, 2.0, 2.0),
        feature("", 9.0, 0.0, 2.0, 2.0),
    ];
    let ids = |inputs: &Inputs| -> Vec<String> {
        parcels(inputs).into_iter().map(|found| found.id).collect()
    };
    let whole = Inputs::of_turf(source("lawns", &collection(&lawns)));
    assert_eq!(ids(&whole), ["1~2", "1", "4", "4~2"]);
    let mut neighbourhood = open(&whole);
    assert_eq!(neighbourhood.by_ref().count(), 4);
    assert_eq!(orphan_codes(&neighbourhood), [Code::IN18]);
    // A stream knows what came before.
    let streamed = Inputs::of_turf(source("lawns", &lawns[2..].join("\n")));
    assert_eq!(ids(&streamed), ["4", "2"]);
    let mut streamed = open(&Inputs::of_turf(source("lawns", &lawns[1..].join("\n"))));
    let found: Vec<String> = streamed
        .by_ref()
        .map(|reading| match reading.unwrap() {
            Reading::Parcel(parcel) => parcel.id,
            Reading::Failed { id, .. } => id,
        })
        .collect();
    assert_eq!(found, ["1", "4", "3"]);
    assert_eq!(orphan_codes(&streamed), [Code::IN18]);
    // In a parcel layer.
    let lots = Inputs {
        parcels: Some(source(
            "lots",
            &collection(&lawns).replace("parcel_id", "id"),
        )),
        ..whole
    };
    assert_eq!(ids(&lots), ["1~2", "1", "4", "4~2"]);
}

#[test]
fn sequence_and_collection_give_the_same_parcels() {
    let lawns = [
        feature(r#""parcel_id":"A""#, 0.0, 0.0, 2.0, 2.0),
        feature(r#""parcel_id":"A""#, 3.0, 0.0, 2.0, 2.0),
        feature("", 6.0, 0.0, 2.0, 2.0),
        feature(
            r#""parcel_id":"B","turf_id":"north lawn""#,
            9.0,
            0.0,
            2.0,
            2.0,
        ),
    ];
    let whole = parcels(&Inputs::of_turf(source("lawns", &collection(&lawns))));
    assert_eq!(
        whole.iter().map(|p| p.id.as_str()).collect::<Vec<_>>(),
        ["A", "3", "B"]
    );
    assert_eq!(turf_ids(&whole[0]), ["A#1", "A#2"]);
    assert_eq!(turf_ids(&whole[2]), ["north lawn"]);
    let lines = lawns.join("\n");
    let separated: String = lawns.iter().map(|lawn| format!("\x1e{lawn}\n")).collect();
    let pretty: String = lawns
        .iter()
        .map(|lawn| format!("\x1e{}\n", lawn.replace(',', ",\n")))
        .collect();
    let marked = format!("\u{feff}{lines}\r\n\r\n");
    for text in [lines, separated, pretty, marked] {
        let inputs = Inputs::of_turf(source("lawns", &text));
        assert_eq!(open(&inputs).expected(), None);
        assert_eq!(parcels(&inputs), whole);
    }
    // Grouped as a whole, order does not matter; the first row says where the parcel stands.
    let mixed = [lawns[0].clone(), lawns[3].clone(), lawns[1].clone()];
    let read = parcels(&Inputs::of_turf(source("lawns", &collection(&mixed))));
    assert_eq!(
        read.iter().map(|p| p.turf.len()).collect::<Vec<_>>(),
        [2, 1]
    );
    // A sequence of turf joins a parcel layer in any order too.
    let lots = collection(&[
        feature(r#""id":"B""#, 0.0, 0.0, 20.0, 4.0),
        feature(r#""id":"A""#, 0.0, 0.0, 20.0, 4.0),
    ]);
    let inputs = Inputs {
        parcels: Some(source("lots", &lots)),
        ..Inputs::of_turf(source("lawns", &mixed.join("\n")))
    };
    assert_eq!(
        parcels(&inputs)
            .iter()
            .map(|p| p.turf.len())
            .collect::<Vec<_>>(),
        [1, 2]
    );
}

#[test]
fn reading_may_go_on_in_another_thread() {
    let lawns = [
        feature("", 0.0, 0.0, 2.0, 2.0),
        feature("", 3.0, 0.0, 2.0, 2.0),
    ];
    for text in [lawns.join("\n"), collection(&lawns)] {
        let mut neighbourhood = open(&Inputs::of_turf(source("lawns", &text)));
        assert!(neighbourhood.next().is_some());
        let rest = std::thread::spawn(move || neighbourhood.count());
        assert_eq!(rest.join().unwrap(), 1);
    }
}

#[test]
fn a_stream_holds_one_parcel_at_a_time() {
    // A reader that would never end shows that nothing waits for the end.
    let records: String = (0..2_000)
        .map(|i| {
            feature(
                &format!(r#""parcel_id":"P{i}""#),
                f64::from(i) * 3.0,
                0.0,
                2.0,
                2.0,
            ) + "\n"
        })
        .collect();
    let inputs = Inputs::of_turf(source("lawns", &records));
    let mut neighbourhood = open(&inputs);
    assert!(neighbourhood.next().is_some());
    assert!(
        neighbourhood.counts().turf <= 3,
        "{:?}",
        neighbourhood.counts()
    );
    assert_eq!(neighbourhood.by_ref().count(), 1_999);
    assert_eq!(neighbourhood.counts().turf, 2_000);
}

#[test]
fn heads_go_to_the_turf_they_name_else_to_the_nearest() {
    // Two lawns 1 m apart, and one that lies over the second.
    let lawns = collection(&[
        feature(r#""parcel_id":"A""#, 0.0, 0.0, 2.0, 2.0),
        feature(r#""parcel_id":"B""#, 2.1, 0.0, 2.0, 2.0),
        feature(r#""parcel_id":"C""#, 2.1, 0.0, 2.0, 2.0),
    ]);
    let heads = collection(&[
        point(r#""parcel_id":"A""#, 3.0, 1.0),
        point(r#""parcel_id":"C","condition":"tilted""#, 3.5, 1.0),
        point(
            r#""radius_m":4.5,"arc_deg":90,"azimuth_deg":450"#,
            2.02,
            1.0,
        ),
        point("", 2.08, 1.0),
        point("", 1.0, 1.0),
        point("", 1.0, 2.3),
    ]);
    let inputs = Inputs {
        heads: Some(source("heads", &heads)),
        ..Inputs::of_turf(source("lawns", &lawns))
    };
    let mut neighbourhood = open(&inputs);
    let read: Vec<Parcel> = neighbourhood
        .by_ref()
        .map(|reading| match reading {
            Ok(Reading::Parcel(parcel)) => *parcel,
            other => panic!("{other:?}"),
        })
        .collect();
    let heads = |parcel: &Parcel| parcel.heads.len();
    // 450 degrees is out of bounds; the head of A on B, the one near A and the one inside it.
    assert_eq!(read.iter().map(heads).collect::<Vec<_>>(), [3, 1, 1]);
    let (area, first) = &read[0].heads[1];
    assert_eq!(
        (*area, first.radius_m, first.azimuth_deg),
        (0, Some(4.5), None)
    );
    assert_eq!(codes(&read[0]), [Code::IN11]);
    assert_eq!(read[2].heads[0].1.condition, Some(Condition::Tilted));
    let noted: Vec<Code> = neighbourhood.orphans().iter().map(|i| i.code).collect();
    assert_eq!(noted, [Code::HE07, Code::JO05]);
    let counts = neighbourhood.counts();
    assert_eq!(
        (counts.heads, counts.heads_joined, counts.heads_orphaned),
        (6, 5, 1)
    );
    assert_eq!(counts.heads_displaced, 1);
}

#[test]
fn heads_name_turf_by_its_own_id_or_by_the_programs() {
    // Units of 10 m. A has two areas, numbered; the area of B has an id of its own.
    let lawns = collection(&[
        feature(r#""parcel_id":"A""#, 0.0, 0.0, 2.0, 2.0),
        feature(r#""parcel_id":"A""#, 4.0, 0.0, 2.0, 2.0),
        feature(r#""parcel_id":"B","turf_id":"T9""#, 8.0, 0.0, 2.0, 2.0),
    ]);
    let rows = [
        // What is named, where, and what becomes of it: the area, the note.
        (
            r#""turf_id":"A#2""#,
            3.5,
            1.0,
            Some("A#2"),
            Some(Code::HE07),
        ),
        (r#""turf_id":"A#2""#, 4.5, 1.0, Some("A#2"), None),
        (r#""turf_id":"T9""#, 8.5, 1.0, Some("T9"), None),
        (r#""turf_id":"T9""#, 17.0, 1.0, None, Some(Code::JO05)),
        (
            r#""parcel_id":"B","turf_id":"T9""#,
            7.5,
            1.0,
            Some("T9"),
            Some(Code::HE07),
        ),
        (
            r#""parcel_id":"A","turf_id":"T9""#,
            1.0,
            1.0,
            Some("A#1"),
            Some(Code::HE08),
        ),
        (
            r#""parcel_id":"A","turf_id":"A#7""#,
            1.0,
            1.0,
            Some("A#1"),
            Some(Code::HE08),
        ),
        (r#""turf_id":"A#7""#, 1.0, 1.0, None, Some(Code::HE06)),
        (r#""parcel_id":"X""#, 1.0, 1.0, None, Some(Code::HE06)),
        (
            r#""parcel_id":"A""#,
            1.0,
            2.4,
            Some("A#1"),
            Some(Code::HE07),
        ),
        (r#""parcel_id":"A""#, 1.0, 2.7, None, Some(Code::JO05)),
        (r#""parcel_id":"B""#, 5.5, 1.0, Some("T9"), Some(Code::HE07)),
        ("", 5.5, 1.0, Some("A#2"), None),
        ("", 1.0, 2.4, None, Some(Code::JO05)),
    ];
    let heads = rows.iter().enumerate().map(|(at, &(named, x, y, ..))| {
        // The station says which row it was.
        let comma = if named.is_empty() { "" } else { "," };
        point(&format!(r#"{named}{comma}"station":"{at}""#), x, y)
    });
    let inputs = Inputs {
        heads: Some(source("heads", &collection(&heads.collect::<Vec<_>>()))),
        ..Inputs::of_turf(source("lawns", &lawns))
    };
    let mut neighbourhood = open(&inputs);
    let mut found = vec![(None, None); rows.len()];
    for reading in neighbourhood.by_ref() {
        let Ok(Reading::Parcel(parcel)) = reading else {
            panic!("{reading:?}");
        };
        for (area, head) in &parcel.heads {
            let row: usize = head.station.as_ref().unwrap().parse().unwrap();
            found[row].0 = Some(parcel.turf[*area].id.clone());
        }
    }
    for issue in neighbourhood.orphans() {
        found[issue.place.feature.unwrap() as usize - 1].1 = Some(issue.code);
    }
    for (row, (area, code)) in rows.iter().zip(&found) {
        assert_eq!((area.as_deref(), *code), (row.3, row.4), "{row:?}");
    }
    let counts = neighbourhood.counts();
    let left_out = rows.iter().filter(|row| row.3.is_none()).count() as u64;
    assert_eq!(counts.heads, rows.len() as u64);
    assert_eq!(counts.heads_joined + left_out, counts.heads);
    assert_eq!(
        (counts.heads_orphaned, counts.heads_displaced),
        (left_out, 4)
    );
}

#[test]
fn obstacles_go_to_every_parcel_within_reach() {
    let lots = collection(&[
        feature(r#""id":"A""#, 0.0, 0.0, 4.0, 4.0),
        feature(r#""id":"B""#, 4.0, 0.0, 4.0, 4.0),
        feature(r#""id":"C""#, 14.0, 0.0, 4.0, 4.0),
    ]);
    let lawns = collection(&[feature(r#""parcel_id":"A""#, 1.0, 1.0, 2.0, 2.0)]);
    let obstacles = collection(&[
        feature(r#""kind":"Trunk","height_m":12"#, 2.0, 2.0, 0.1, 0.1),
        feature("", 5.0, 1.0, 1.0, 1.0),
    ]);
    let inputs = Inputs {
        parcels: Some(source("lots", &lots)),
        obstacles: Some(source("obstacles", &obstacles)),
        ..Inputs::of_turf(source("lawns", &lawns))
    };
    let read = parcels(&inputs);
    let kinds = |parcel: &Parcel| parcel.obstacles.iter().map(|o| o.kind).collect::<Vec<_>>();
    let both = vec![ObstacleKind::Trunk, ObstacleKind::Building];
    assert_eq!(
        [kinds(&read[0]), kinds(&read[1])],
        [both.clone(), both[1..].to_vec()]
    );
    assert!(kinds(&read[2]).is_empty());
    assert_eq!(read[0].obstacles[0].height_m, Some(12.0));
}

#[test]
fn a_multipolygon_is_as_many_turf_areas() {
    let ring = |x: f64| format!("[{}]", rectangle(x, 0.0, 2.0, 2.0));
    let multi = format!(
        r#"{{"type":"Feature","properties":{{"parcel_id":"A"}},"geometry":{{"type":"MultiPolygon","coordinates":[{},{}]}}}}"#,
        ring(0.0),
        ring(4.0)
    );
    let lawns = collection(&[multi, feature(r#""parcel_id":"A""#, 8.0, 0.0, 2.0, 2.0)]);
    let read = parcels(&Inputs::of_turf(source("lawns", &lawns)));
    assert_eq!(turf_ids(&read[0]), ["A#1", "A#2", "A#3"]);
}

/// What two readings of the same ground must agree on.
fn summary(read: &[Parcel]) -> BTreeMap<String, (f64, Vec<f64>)> {
    let area_m2 = |polygon: &geo::Polygon<f64>| polygon.geodesic_area_unsigned();
    read.iter()
        .map(|parcel| {
            let turf = parcel
                .turf
                .iter()
                .map(|area| area_m2(&area.polygon))
                .collect();
            (
                parcel.id.clone(),
                (parcel.outline.iter().map(area_m2).sum(), turf),
            )
        })
        .collect()
}

fn assert_same_ground(
    what: &str,
    one: &BTreeMap<String, (f64, Vec<f64>)>,
    other: &BTreeMap<String, (f64, Vec<f64>)>,
) {
    assert!(!one.is_empty());
    assert_eq!(
        one.keys().collect::<Vec<_>>(),
        other.keys().collect::<Vec<_>>(),
        "{what}"
    );
    let (mut total_one, mut total_other) = (0.0, 0.0);
    for (id, (parcel_m2, turf_m2)) in one {
        let (other_parcel_m2, other_turf_m2) = &other[id];
        assert_eq!(turf_m2.len(), other_turf_m2.len(), "{what}, {id}");
        let areas = turf_m2
            .iter()
            .zip(other_turf_m2)
            .chain([(parcel_m2, other_parcel_m2)]);
        for (a, b) in areas {
            // Coordinates are rounded to 1e-7 degrees in one and to 1 cm in the other.
            assert!(
                (a - b).abs() <= f64::max(1e-3 * a, 0.3),
                "{what}, {id}: {a} {b}"
            );
            total_one += a;
            total_other += b;
        }
    }
    assert!(
        (total_one - total_other).abs() <= 1e-4 * total_one,
        "{what}"
    );
}

#[cfg(feature = "system-gis")]
mod formats {
    use super::*;
    use std::path::Path;

    use gdal::DriverManager;
    use gdal::spatial_ref::{AxisMappingStrategy, SpatialRef};
    use gdal::vector::{
        Feature as OgrFeature, Geometry, LayerAccess, LayerOptions, OGRFieldType,
        OGRwkbGeometryType,
    };

    /// Writes lawns with an id and a text to a format, in a system.
    fn write(path: &Path, driver: &str, epsg: u32, lawns: &[(&str, &str)]) {
        let system = |epsg| {
            let mut system = SpatialRef::from_epsg(epsg).unwrap();
            system.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
            system
        };
        let target = system(epsg);
        let driver = DriverManager::get_driver_by_name(driver).unwrap();
        let mut dataset = driver.create_vector_only(path).unwrap();
        let layer = dataset
            .create_layer(LayerOptions {
                name: "turf",
                srs: Some(&target),
                ty: OGRwkbGeometryType::wkbPolygon,
                options: None,
            })
            .unwrap();
        layer
            .create_defn_fields(&[
                ("parcel_id", OGRFieldType::OFTString),
                ("count", OGRFieldType::OFTInteger),
                ("area_m2", OGRFieldType::OFTReal),
            ])
            .unwrap();
        for (number, (id, wkt)) in lawns.iter().enumerate() {
            let mut geometry = Geometry::from_wkt(wkt).unwrap();
            geometry.set_spatial_ref(system(4326));
            geometry.transform_to_inplace(&target).unwrap();
            let mut feature = OgrFeature::new(layer.defn()).unwrap();
            feature.set_geometry(geometry).unwrap();
            feature.set_field_string(0, id).unwrap();
            if number > 0 {
                feature.set_field_integer(1, number as i32).unwrap();
                feature.set_field_double(2, 12.5).unwrap();
            }
            feature.create(&layer).unwrap();
        }
        dataset.close().unwrap();
    }

    const LAWNS: [(&str, &str); 3] = [
        (
            "007",
            "POLYGON((5.06 43.57,5.0603 43.57,5.0603 43.5702,5.06 43.5702,5.06 43.57))",
        ),
        (
            "8",
            "POLYGON((5.07 43.57,5.0703 43.57,5.0703 43.5702,5.07 43.5702,5.07 43.57),\
             (5.0701 43.57005,5.0701 43.5701,5.0702 43.5701,5.0701 43.57005))",
        ),
        (
            "007",
            "POLYGON((5.0604 43.57,5.0605 43.57,5.0605 43.5702,5.0604 43.57))",
        ),
    ];

    fn as_geojson() -> String {
        let rings = |wkt: &str| {
            wkt.trim_start_matches("POLYGON")
                .replace(',', "],[")
                .replace(' ', ",")
                .replace("((", "[[[")
                .replace("))", "]]]")
                .replace(")],[(", "]],[[")
        };
        let features: Vec<String> = LAWNS
            .iter()
            .map(|(id, wkt)| {
                format!(
                    r#"{{"type":"Feature","properties":{{"parcel_id":"{id}"}},"geometry":{{"type":"Polygon","coordinates":{}}}}}"#,
                    rings(wkt)
                )
            })
            .collect();
        collection(&features)
    }

    #[test]
    fn every_format_and_system_gives_the_same_ground() {
        let folder = tempfile::tempdir().unwrap();
        let wanted = summary(&parcels(&Inputs::of_turf(source("turf", &as_geojson()))));
        let mut compared = 0;
        for (driver, extension) in [
            ("GPKG", "gpkg"),
            ("ESRI Shapefile", "shp"),
            ("FlatGeobuf", "fgb"),
            ("GML", "gml"),
        ] {
            for epsg in [4326, 2154, 3857, 32631, 4258] {
                let path = folder.path().join(format!("lawns_{epsg}.{extension}"));
                write(&path, driver, epsg, &LAWNS);
                let inputs = Inputs::of_turf(Source::parse(path.to_str().unwrap()).unwrap());
                let read = parcels(&inputs);
                let what = format!("{driver} in EPSG:{epsg}");
                assert_same_ground(&what, &wanted, &summary(&read));
                let first = read.iter().find(|parcel| parcel.id == "007").unwrap();
                assert_eq!(first.turf.len(), 2, "{what}");
                let second = read.iter().find(|parcel| parcel.id == "8").unwrap();
                assert_eq!(
                    second.attributes.text("count").as_deref(),
                    Some("1"),
                    "{what}"
                );
                assert_eq!(second.attributes.number("area_m2"), Some(12.5), "{what}");
                compared += 1;
            }
        }
        assert_eq!(compared, 20);
    }

    /// The reader of GML leaves a file of what it has learnt beside its input, and believes one that is there.
    #[test]
    fn gml_is_read_alone_and_without_a_trace() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lawns.gml");
        write(&path, "GML", 2154, &LAWNS);
        std::fs::remove_file(folder.path().join("lawns.xsd")).unwrap();
        let names = || {
            let entries = std::fs::read_dir(folder.path()).unwrap();
            let mut names: Vec<_> = entries.map(|entry| entry.unwrap().file_name()).collect();
            names.sort();
            names
        };
        let read = |what: &str| {
            let before = names();
            let inputs = Inputs::of_turf(Source::parse(path.to_str().unwrap()).unwrap());
            let ids: Vec<String> = parcels(&inputs).into_iter().map(|found| found.id).collect();
            assert!(ids.contains(&"007".to_owned()), "{what}: {ids:?}");
            assert_eq!(names(), before, "{what}");
        };
        read("without a schema");
        let stale = "<GMLFeatureClassList><GMLFeatureClass><Name>other</Name>\
                     <ElementPath>other</ElementPath></GMLFeatureClass></GMLFeatureClassList>";
        std::fs::write(folder.path().join("lawns.gfs"), stale).unwrap();
        read("with a stale schema");
    }

    #[test]
    fn longitude_and_latitude_pass_bit_for_bit() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lawns.gpkg");
        write(&path, "GPKG", 4326, &LAWNS);
        let inputs = Inputs::of_turf(Source::parse(path.to_str().unwrap()).unwrap());
        let polygons = |read: Vec<Parcel>| -> Vec<geo::Polygon<f64>> {
            read.into_iter()
                .flat_map(|p| p.turf)
                .map(|area| area.polygon)
                .collect()
        };
        let json = polygons(parcels(&Inputs::of_turf(source("turf", &as_geojson()))));
        assert_eq!(polygons(parcels(&inputs)), json);
    }

    #[test]
    fn a_condition_goes_to_the_source() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lawns.gpkg");
        write(&path, "GPKG", 2154, &LAWNS);
        let mut inputs = Inputs::of_turf(Source::parse(path.to_str().unwrap()).unwrap());
        inputs.where_clause = Some("parcel_id LIKE '0%' AND count = 2".into());
        let read = parcels(&inputs);
        assert_eq!((read.len(), read[0].turf.len()), (1, 1));
        assert_eq!(read[0].id, "007");
    }

    #[test]
    fn geojson_in_another_system_is_transformed() {
        let member = r#"{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::3857"}}"#;
        let ring = "[[1602818,6463505],[1602918,6463505],[1602918,6463605],[1602818,6463605],[1602818,6463505]]";
        let text = format!(
            r#"{{"type":"FeatureCollection","crs":{member},"features":[{{"type":"Feature","properties":{{}},"geometry":{{"type":"Polygon","coordinates":[{ring}]}}}}]}}"#
        );
        let read = parcels(&Inputs::of_turf(source("turf", &text)));
        // 100 m of Web Mercator at 50.09 degrees north are about 64.2 m on the ground.
        let area_m2 = read[0].turf[0].polygon.geodesic_area_unsigned();
        assert!((area_m2 - 4_130.0).abs() < 30.0, "{area_m2}");
    }
}

/// The folder of public sets, where there is one.
fn public_sets() -> Option<std::path::PathBuf> {
    let folder = std::env::var_os("EVENFALL_DATA").map(std::path::PathBuf::from);
    if folder.is_none() {
        println!("skipped: EVENFALL_DATA is not set");
    }
    folder
}

#[cfg(feature = "system-gis")]
fn layers(folder: &std::path::Path, lots: &str, lawns: &str) -> Inputs {
    let parse = |name: &str| Source::parse(folder.join(name).to_str().unwrap()).unwrap();
    Inputs {
        parcels: Some(parse(lots)),
        ..Inputs::of_turf(parse(lawns))
    }
}

#[cfg(feature = "system-gis")]
#[test]
fn cornillon_is_the_same_in_three_formats() {
    let Some(folder) = public_sets().map(|sets| sets.join("neighbourhood_cornillon_fr")) else {
        return;
    };
    let json = parcels(&layers(&folder, "parcels.geojson", "turf.geojson"));
    assert_eq!(json.len(), 389);
    assert_eq!(
        json.iter().map(|parcel| parcel.turf.len()).sum::<usize>(),
        101
    );
    assert!(
        json.iter()
            .all(|parcel| parcel.id.starts_with('0') && parcel.id.len() == 12)
    );
    let wanted = summary(&json);
    let package = layers(
        &folder,
        "layers_epsg2154.gpkg:parcels",
        "layers_epsg2154.gpkg:turf",
    );
    assert_same_ground("GeoPackage", &wanted, &summary(&parcels(&package)));
    // The layers are also found by their role.
    let by_role = layers(&folder, "layers_epsg2154.gpkg", "layers_epsg2154.gpkg");
    assert_same_ground("by role", &wanted, &summary(&parcels(&by_role)));
    let shapes = layers(&folder, "shp/parcels_epsg2154.shp", "shp/turf_epsg2154.shp");
    assert_same_ground("Shapefile", &wanted, &summary(&parcels(&shapes)));
}

#[test]
fn cornillon_joins_by_place_as_by_id() {
    let Some(folder) = public_sets().map(|sets| sets.join("neighbourhood_cornillon_fr")) else {
        return;
    };
    let text = |name: &str| std::fs::read_to_string(folder.join(name)).unwrap();
    let lots = text("parcels.geojson");
    let inputs = |lawns: &str| Inputs {
        parcels: Some(source("parcels", &lots)),
        ..Inputs::of_turf(source("turf", lawns))
    };
    let by_id = parcels(&inputs(&text("turf.geojson")));
    let by_place = parcels(&inputs(
        &text("turf.geojson").replace("\"parcel_id\"", "\"other\""),
    ));
    assert_same_ground("by place", &summary(&by_id), &summary(&by_place));
    assert!(by_place.iter().all(|parcel| {
        parcel
            .issues
            .iter()
            .filter(|issue| issue.code == Code::JO03)
            .count()
            == parcel.turf.len()
    }));
    assert!(by_id.iter().all(|parcel| parcel.issues.is_empty()));
    // Nothing in this set needs repair: every coordinate is one of the file's.
    assert!(
        by_id
            .iter()
            .flat_map(|p| &p.turf)
            .all(|area| area.repair_area_frac == 0.0)
    );
}

#[cfg(feature = "system-gis")]
#[test]
fn bubenec_in_web_mercator_has_its_true_area() {
    let Some(folder) = public_sets().map(|sets| sets.join("neighbourhood_bubenec_cz")) else {
        return;
    };
    let mut inputs = layers(
        &folder,
        "plots_buildings_epsg3857.gpkg:parcels",
        "turf.geojson",
    );
    let buildings = folder.join("plots_buildings_epsg3857.gpkg:buildings");
    inputs.obstacles = Some(Source::parse(buildings.to_str().unwrap()).unwrap());
    let read = parcels(&inputs);
    assert_eq!(read.len(), 407);
    assert_eq!(
        read.iter().map(|parcel| parcel.turf.len()).sum::<usize>(),
        128
    );
    let (mut lots_m2, mut turf_m2) = (0.0, 0.0);
    for (lot_m2, areas_m2) in summary(&read).values() {
        lots_m2 += lot_m2;
        turf_m2 += areas_m2.iter().sum::<f64>();
    }
    // Areas as the set's own description gives them, from EPSG:5514.
    assert!((lots_m2 / 278_887.0 - 1.0).abs() < 1e-3, "{lots_m2}");
    assert!((turf_m2 / 10_282.0 - 1.0).abs() < 2e-3, "{turf_m2}");
    let with_buildings = read
        .iter()
        .filter(|parcel| !parcel.obstacles.is_empty())
        .count();
    assert!(with_buildings > 200, "{with_buildings}");
}
