//! The same bytes by every route.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod shared;

use std::fs;

use shared::{contents, evenfall, folder, lawns};

/// One lawn of the layer has no geometry, so that failures are compared too.
fn some_lawns(home: &std::path::Path) {
    lawns(home, 23);
    let path = home.join("turf.geojson");
    let text = fs::read_to_string(&path).unwrap();
    let broken =
        "{\"type\":\"Feature\",\"properties\":{\"parcel_id\":\"=x\"},\"geometry\":null},\n";
    let (head, tail) = text.split_at(text.find("{\"type\":\"Feature\",").unwrap());
    fs::write(path, format!("{head}{broken}{tail}")).unwrap();
}

#[test]
fn threads_and_chunks_leave_no_trace() {
    let home = folder();
    some_lawns(home.path());
    let mut first = None;
    let mut runs = 0;
    for jobs in ["1", "2", "3"] {
        for chunk in ["1", "7", "1000"] {
            let out = format!("out-{jobs}-{chunk}");
            let arguments = [
                "plan",
                "--turf",
                "turf.geojson",
                "-o",
                &out,
                "-j",
                jobs,
                "--chunk",
                chunk,
                "--effort",
                "fast",
                "-q",
            ];
            let ran = evenfall(home.path(), &arguments);
            assert_eq!(ran.status, Some(1), "{}", ran.stderr);
            let found = contents(&home.path().join(&out));
            match &first {
                None => first = Some(found),
                Some(first) => {
                    for (one, other) in first.iter().zip(&found) {
                        assert!(
                            one == other,
                            "{} differs for -j {jobs} --chunk {chunk}",
                            one.0
                        );
                    }
                    assert_eq!(first.len(), found.len());
                }
            }
            runs += 1;
        }
    }
    assert_eq!(runs, 9);
}

#[test]
fn a_run_from_its_record_is_the_same_run() {
    let home = folder();
    some_lawns(home.path());
    fs::write(
        home.path().join("program.toml"),
        "title = \"T\"\n[clock]\nminutes_min = 12.5\n",
    )
    .unwrap();
    let turf = ["--turf", "turf.geojson"];
    let first = [
        &[
            "plan",
            "program.toml",
            "-o",
            "one",
            "--effort",
            "fast",
            "--favour",
            "heads",
        ][..],
        &[
            "--families",
            "rotary-slow",
            "--seed",
            "9",
            "--set",
            "plant.grass=warm",
        ],
        &[
            "--bbox",
            "-77.001,38.9,-76.995,39.1",
            "--where",
            "parcel_id <> '00003'",
        ],
        &turf,
    ]
    .concat();
    let ran = evenfall(home.path(), &first);
    assert_eq!(ran.status, Some(1), "{}", ran.stderr);
    let second = [&["plan", "--from", "one/run.json", "-o", "two"][..], &turf].concat();
    let ran = evenfall(home.path(), &second);
    assert_eq!(ran.status, Some(1), "{}", ran.stderr);
    let (one, two) = (
        contents(&home.path().join("one")),
        contents(&home.path().join("two")),
    );
    assert_eq!(one.len(), two.len());
    for (one, two) in one.iter().zip(&two) {
        assert!(one == two, "{} differs", one.0);
    }
}

#[test]
fn the_record_has_no_paths_and_no_threads() {
    let home = folder();
    lawns(home.path(), 1);
    let ran = evenfall(
        home.path(),
        &[
            "plan",
            "--turf",
            "turf.geojson",
            "-o",
            "out",
            "-j",
            "2",
            "--chunk",
            "17",
            "--effort",
            "rule",
        ],
    );
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    let record = fs::read_to_string(home.path().join("out/run.json")).unwrap();
    let here = home.path().to_string_lossy().into_owned();
    for trace in [here.as_str(), "turf.geojson", "\"jobs\"", "\"chunk\"", "17"] {
        let found = record
            .lines()
            .filter(|line| !line.contains("sha256"))
            .any(|line| line.contains(trace));
        assert!(!found, "{trace} is in the record");
    }
}
