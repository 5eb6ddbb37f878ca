//! A disk that fills up while files are written, those of the vector library too: a code, the output
//! that was there, and nothing beside it. `EVENFALL_MATRIX=whole` tries many more sizes.

#![allow(clippy::unwrap_used, reason = "a test may panic")]
#![cfg(unix)]

mod shared;

use std::env;
use std::fs;
use std::path::Path;
use std::process::Command;

use evenfall::write::formats::Name;
use shared::{Ran, contents, evenfall, folder, lawns, names};

/// What a limit on the length of a file counts in [bytes].
const BLOCK_BYTES: u64 = 512;
/// The ending of the largest file of a format.
const ENDINGS: [(Name, &str); 6] = [
    (Name::GeoJson, "geojson"),
    (Name::GeoJsonSeq, "geojsons"),
    (Name::GeoPackage, "gpkg"),
    (Name::FlatGeobuf, "fgb"),
    (Name::GeoParquet, "parquet"),
    (Name::Csv, "csv"),
];

/// Runs the program where no file may grow beyond so many blocks: every write beyond them fails.
fn starved(home: &Path, blocks: u64, arguments: &[&str]) -> Ran {
    let shell = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\"");
    let output = Command::new("sh")
        .current_dir(home)
        .args(["-c", &shell, env!("CARGO_BIN_EXE_evenfall")])
        .args(arguments)
        .output()
        .unwrap();
    Ran {
        status: output.status.code(),
        stdout: String::from_utf8(output.stdout).unwrap(),
        stderr: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Sizes at which a disk is full: over the whole length of a file and just before its end.
fn sizes(length: u64, count: u64) -> Vec<u64> {
    let last = (length - 1) / BLOCK_BYTES; // the last whole block that is too small
    let mut sizes: Vec<u64> = (0..count).map(|at| last * at / count).collect();
    sizes.extend([last.saturating_sub(1), last]);
    sizes.dedup();
    sizes
}

#[test]
fn every_format_tells_of_a_full_disk() {
    let whole = env::var("EVENFALL_MATRIX").is_ok_and(|word| word == "whole");
    let count = if whole { 60 } else { 6 };
    let home = folder();
    lawns(home.path(), 6);
    let mut all = (0, 0);
    for (format, ending) in ENDINGS.into_iter().filter(|(name, _)| name.is_built_in()) {
        // The records of a shard are all there, so that only outputs are written.
        let plan = [
            "plan",
            "--turf",
            "turf.geojson",
            "-o",
            "shard",
            "--shard",
            "1/1",
            "-q",
            "--effort",
            "rule",
            "-f",
            format.text(),
        ];
        assert_eq!(evenfall(home.path(), &plan).status, Some(0));
        let merge = ["merge", "shard", "-o", "out", "-q", "--overwrite"];
        assert_eq!(evenfall(home.path(), &merge).status, Some(0));
        let out = home.path().join("out");
        let expected = contents(&out);
        let of_format = expected.iter().filter(|(name, _)| name.ends_with(ending));
        let length = of_format.map(|(_, bytes)| bytes.len()).max().unwrap() as u64;
        fs::remove_dir_all(&out).unwrap();
        let (mut tried, mut passed) = (0, 0);
        for blocks in sizes(length, count) {
            fs::create_dir(&out).unwrap();
            fs::write(out.join("run.json"), "earlier").unwrap();
            let ran = starved(home.path(), blocks, &merge);
            let intact = contents(&out) == [("run.json".to_owned(), b"earlier".to_vec())];
            let left = names(home.path());
            tried += 1;
            if ran.status == Some(7)
                && ran.stderr.contains("OU03")
                && intact
                && left == ["out", "shard", "turf.geojson"]
            {
                passed += 1;
            } else {
                println!(
                    "{} full at {blocks} blocks of {length} bytes: {:?}, {}, {left:?}",
                    format.text(),
                    ran.status,
                    ran.stderr
                );
            }
            fs::remove_dir_all(&out).unwrap();
        }
        assert_eq!(evenfall(home.path(), &merge).status, Some(0));
        assert!(contents(&out) == expected, "{}: other bytes", format.text());
        fs::remove_dir_all(&out).unwrap();
        fs::remove_dir_all(home.path().join("shard")).unwrap();
        all.0 += tried;
        all.1 += passed;
    }
    println!(
        "score: disk full in each format, existing output intact: {} of {}",
        all.1, all.0
    );
    assert_eq!(all.1, all.0);
    assert!(all.0 > 12, "{}", all.0);
}
