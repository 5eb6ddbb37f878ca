//! What happens to one parcel touches no other: panics in front of every stage, and lawns beyond the
//! budget. `EVENFALL_ISOLATED` sets how many parcels there are; `scripts/scoreboard` takes 10,000.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod shared;

use std::env;
use std::num::NonZeroUsize;

use evenfall::batch::{self, Order, Stop};
use evenfall::issue::{Code, Issue};
use evenfall::plan::doors::{STAGES, Trouble, expect};
use evenfall::plan::{Planner, Status};
use evenfall::read::Reading;
use evenfall::site::{Attributes, Land, Parcel, TurfArea};
use evenfall::write::record::Record;
use evenfall::write::wanted::Wanted;
use shared::planner_by_rule;

/// One of so many parcels is in trouble.
const IN_TROUBLE: u64 = 100;

/// A parcel with a lawn of 4 m by 4 to 5 m.
fn parcel(index: u64) -> Parcel {
    let id = format!("{index:05}");
    let (west, south) = (5.0 + index as f64 * 1e-4, 43.0);
    let (east, north) = (west + 5e-5, south + (4.0 + (index % 7) as f64 / 7.0) * 9e-6);
    let ring = vec![
        (west, south),
        (east, south),
        (east, north),
        (west, north),
        (west, south),
    ];
    Parcel {
        index,
        turf: vec![TurfArea {
            id: format!("{id}#1"),
            polygon: geo::Polygon::new(ring.into(), vec![]),
            exposure: None,
            grass: None,
            repair_area_frac: 0.0,
            land: Land::default(),
        }],
        id,
        outline: vec![],
        attributes: Attributes::default(),
        obstacles: vec![],
        heads: vec![],
        supply: vec![],
        relief: None,
        meter: vec![],
        issues: vec![],
    }
}

/// Records of so many parcels, with this trouble for one in a hundred.
fn records(count: u64, trouble: Trouble, planner: &Planner) -> Vec<Record> {
    let mut records = Vec::new();
    batch::run(
        (0..count).map(|index| Ok(Reading::Parcel(Box::new(parcel(index))))),
        |parcel| {
            let is_in_trouble = parcel.index % IN_TROUBLE == 37;
            expect(if is_in_trouble {
                trouble
            } else {
                Trouble::Never
            });
            planner.plan(parcel)
        },
        |plan| Record::of(&plan, &Wanted::default()),
        Order {
            jobs: NonZeroUsize::new(2).unwrap(),
            chunk: NonZeroUsize::new(64).unwrap(),
        },
        &Stop::default(),
        |record| {
            records.push(record);
            Ok::<(), Issue>(())
        },
    )
    .unwrap();
    records
}

#[test]
fn trouble_in_one_parcel_leaves_the_others_byte_by_byte() {
    let count = env::var("EVENFALL_ISOLATED")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(1_000);
    let planner = planner_by_rule();
    let bytes = |record: &Record| serde_json::to_string(record).unwrap();
    let expected: Vec<String> = records(count, Trouble::Never, &planner)
        .iter()
        .map(bytes)
        .collect();
    assert_eq!(expected.len() as u64, count);
    let (mut tried, mut passed) = (0, 0);
    let troubles = STAGES
        .map(Trouble::PanicAt)
        .into_iter()
        .chain([Trouble::OverBudget]);
    for trouble in troubles {
        let found = records(count, trouble, &planner);
        assert_eq!(found.len() as u64, count);
        let code = if trouble == Trouble::OverBudget {
            Code::PL02
        } else {
            Code::PL03
        };
        for (record, expected) in found.iter().zip(&expected) {
            tried += 1;
            if record.index % IN_TROUBLE == 37 {
                let told = record
                    .told
                    .iter()
                    .any(|issue| issue.is_grave() && issue.code == code);
                assert!(told, "{trouble:?}: {:?}", record.told);
                assert!(
                    bytes(record).contains(&format!("{:?}", Status::Failed)),
                    "{trouble:?}"
                );
                passed += 1;
            } else if bytes(record) == *expected {
                passed += 1;
            }
        }
    }
    println!("score: parcels apart from troubles of others: {passed} of {tried}");
    assert_eq!(passed, tried);
    assert_eq!(tried, count * 7);
}
