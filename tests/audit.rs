//! `evenfall audit`: readings in, measures and run times out.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod shared;

use std::fs;

use shared::{evenfall, folder, lawns};

/// Merriam and Keller 1978, pp. 41–43, in hundredths of an inch an hour: DU 82 % (lowest four),
/// 80.60 % with the lowest three, 81.86 % with a part of a can.
const FIFTEEN: [u32; 15] = [23, 31, 24, 24, 28, 31, 27, 22, 26, 31, 31, 25, 20, 22, 32];

#[test]
fn the_convention_is_told_and_can_be_chosen() {
    let home = folder();
    let rows: Vec<String> = FIFTEEN.iter().map(u32::to_string).collect();
    fs::write(
        home.path().join("cans.csv"),
        format!("mm\n{}\n", rows.join("\n")),
    )
    .unwrap();
    for (convention, du_lq, lowest) in [
        ("nearest", "0.822", "4 of 15"),
        ("up", "0.822", "4 of 15"),
        ("down", "0.806", "3 of 15"),
        ("fractional", "0.819", "3.75 of 15"),
    ] {
        let ran = evenfall(
            home.path(),
            &["audit", "cans.csv", "--convention", convention],
        );
        assert_eq!(ran.status, Some(0), "{}", ran.stderr);
        for said in [
            du_lq,
            lowest,
            convention,
            "not divisible by four",
            "Fewer than 24",
        ] {
            assert!(ran.stdout.contains(said), "{said}: {}", ran.stdout);
        }
    }
}

#[test]
fn places_give_a_coefficient_and_a_drawing() {
    let home = folder();
    let mut text = "x_m;y_m;depth_mm\n".to_owned();
    for at in 0..36 {
        text += &format!("{};{};{}\n", at % 6, at / 6, 8 + at % 5);
    }
    fs::write(home.path().join("cans.csv"), text).unwrap();
    let command = ["audit", "cans.csv", "--minutes", "12", "-o", "cans.svg"];
    let ran = evenfall(home.path(), &command);
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    for said in ["scheduling coefficient", "square", "mm/h", "Run time"] {
        assert!(ran.stdout.contains(said), "{said}: {}", ran.stdout);
    }
    let svg = fs::read_to_string(home.path().join("cans.svg")).unwrap();
    assert_eq!(svg.matches("<circle").count(), 36);
    // A second time the file is there.
    let ran = evenfall(home.path(), &command);
    assert_eq!(ran.status, Some(6), "{}", ran.stderr);
}

#[test]
fn a_plan_stands_beside_the_measures() {
    let home = folder();
    lawns(home.path(), 2);
    let plan = [
        "plan",
        "--turf",
        "turf.geojson",
        "-o",
        "out",
        "--effort",
        "rule",
    ];
    assert_eq!(evenfall(home.path(), &plan).status, Some(0));
    fs::write(home.path().join("cans.csv"), "mm\n5\n6\n7\n8\n").unwrap();
    let of = |parcel: &str| {
        evenfall(
            home.path(),
            &["audit", "cans.csv", "--plan", "out", "--parcel", parcel],
        )
    };
    let ran = of("00001");
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    for said in [
        "measured",
        "as-found",
        "recommended",
        "Still-air value of the drawing",
    ] {
        assert!(ran.stdout.contains(said), "{said}: {}", ran.stdout);
    }
    let ran = of("77");
    assert_eq!(ran.status, Some(3), "{}", ran.stderr);
    assert!(ran.stderr.contains("PA02"), "{}", ran.stderr);
}

#[test]
fn a_table_that_is_not_there_and_a_drawing_of_no_kind_are_refused() {
    let home = folder();
    let ran = evenfall(home.path(), &["audit", "none.csv"]);
    assert_eq!(ran.status, Some(3), "{}", ran.stderr);
    fs::write(home.path().join("cans.csv"), "mm\n5\n6\n7\n8\n").unwrap();
    let ran = evenfall(home.path(), &["audit", "cans.csv", "-o", "cans.png"]);
    assert_eq!(ran.status, Some(2), "{}", ran.stderr);
}
