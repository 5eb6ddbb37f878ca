//! A run that is killed goes on where it stopped, and leaves the bytes of a run that was not; shards
//! put together leave them too.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod shared;

use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use shared::{contents, evenfall, folder, lawn, lawns, names};

/// Plans the lawns of a folder one by one, so that a kill finds some of them planned.
const PLAN: [&str; 12] = [
    "plan",
    "--turf",
    "turf.geojson",
    "-o",
    "out",
    "-q",
    "--effort",
    "rule",
    "--chunk",
    "2",
    "-j",
    "2",
];

fn spawn(home: &Path, arguments: &[&str]) -> Child {
    Command::new(env!("CARGO_BIN_EXE_evenfall"))
        .current_dir(home)
        .args(arguments)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

fn with<'a>(more: &[&'a str]) -> Vec<&'a str> {
    [&PLAN[..], more].concat()
}

/// What a run that nothing happens to leaves, and how long it takes.
fn undisturbed(home: &Path) -> (Vec<(String, Vec<u8>)>, Duration) {
    let began = Instant::now();
    let ran = evenfall(home, &PLAN);
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    let took = began.elapsed();
    let found = contents(&home.join("out"));
    fs::remove_dir_all(home.join("out")).unwrap();
    (found, took)
}

/// Numbers that look random, always the same ones.
fn shuffled(state: &mut u64) -> u64 {
    // Knuth, The Art of Computer Programming 2, section 3.3.4, table 1, line 26: the multiplier of MMIX.
    *state = state
        .wrapping_mul(6_364_136_223_846_793_005)
        .wrapping_add(1_442_695_040_888_963_407);
    *state >> 33
}

#[test]
fn twenty_kills_later_the_bytes_are_the_same() {
    let home = folder();
    lawns(home.path(), 24);
    let (expected, took) = undisturbed(home.path());
    let (mut kills, mut state, mut finished) = (0, 1, 0);
    let mut journals = 0;
    while kills < 20 {
        let resume = kills % 4 != 0;
        if !resume {
            let _ = fs::remove_file(home.path().join("out.journal"));
        }
        let mut child = spawn(home.path(), &with(if resume { &["--resume"] } else { &[] }));
        let wait_us = shuffled(&mut state) % (took.as_micros() as u64).max(1);
        std::thread::sleep(Duration::from_micros(wait_us));
        child.kill().unwrap();
        child.wait().unwrap();
        kills += 1;
        let out = home.path().join("out");
        if out.exists() {
            assert!(contents(&out) == expected, "kill {kills}: half a folder");
            finished += 1;
            if !home.path().join("out.journal").exists() {
                fs::remove_dir_all(&out).unwrap();
            }
        }
        journals += u32::from(home.path().join("out.journal").exists());
    }
    let ran = evenfall(home.path(), &with(&["--resume"]));
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    assert!(contents(&home.path().join("out")) == expected);
    let mut left = names(home.path());
    // A process that was killed while it built the outputs of a journal that was then removed by hand.
    left.retain(|name| !name.ends_with(".tmp"));
    assert_eq!(left, ["out", "turf.geojson"], "{kills} {finished}");
    println!("score: kills in a slice of the tests: {kills} of {kills}");
    assert!(journals >= 5, "only {journals} kills fell into the run");
}

/// Kills a run when its outputs are being built; false where it was through before that was seen.
fn killed_while_building(home: &Path, more: &[&str]) -> bool {
    let mut child = spawn(home, &with(more));
    let own = format!("out.{}-0.tmp", child.id());
    let began = Instant::now();
    while !home.join(&own).exists() && child.try_wait().unwrap().is_none() {
        assert!(began.elapsed() < Duration::from_secs(120), "no outputs");
        std::thread::sleep(Duration::from_micros(200));
    }
    child.kill().unwrap();
    child.wait().unwrap();
    home.join(&own).exists()
}

/// A process that goes on with a journal that has ended adds its number to it too: without that nobody
/// would know whose folder it leaves when it is killed.
#[test]
fn what_two_killed_builders_left_is_cleared_up() {
    let home = folder();
    lawns(home.path(), 150);
    let mut killed = 0;
    for more in [&[][..], &["--resume"], &["--resume"]] {
        killed += u32::from(killed_while_building(home.path(), more));
    }
    assert!(killed >= 2, "only {killed} were killed while they built");
    let ran = evenfall(home.path(), &with(&["--resume"]));
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    assert_eq!(names(home.path()), ["out", "turf.geojson"]);
}

#[test]
fn a_run_that_goes_on_names_what_is_not_the_same() {
    let home = folder();
    lawns(home.path(), 40);
    let mut child = spawn(home.path(), &PLAN);
    let journal = home.path().join("out.journal");
    // The header alone is about 20 kB; the first records are there when it is longer.
    let is_under_way = || fs::metadata(&journal).is_ok_and(|found| found.len() > 80_000);
    let began = Instant::now();
    while !is_under_way() && began.elapsed() < Duration::from_secs(60) {
        std::thread::sleep(Duration::from_millis(2));
    }
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(journal.exists());
    let mut told = 0;
    for (more, named) in [
        (&["--resume", "--seed", "2"][..], "seed"),
        (&["--resume", "--set", "plant.grass=warm"], "plant.grass"),
        (&["--resume", "--bbox", "-78,38,-76,40"], "bbox"),
        (&["--resume", "--throws", "all"], "throws"),
        (&["--resume", "--inp"], "--inp"),
        (&["--resume", "--shard", "1/2"], "shard"),
    ] {
        let ran = evenfall(home.path(), &with(more));
        assert_eq!(ran.status, Some(6), "{}", ran.stderr);
        assert!(ran.stderr.contains("OU06"), "{}", ran.stderr);
        assert!(ran.stderr.contains(named), "{named}: {}", ran.stderr);
        told += 1;
    }
    assert_eq!(told, 6);
    let ran = evenfall(home.path(), &PLAN);
    assert_eq!(ran.status, Some(6), "{}", ran.stderr);
    assert!(ran.stderr.contains("OU05") && ran.stderr.contains("--resume"));
    let text = fs::read_to_string(home.path().join("turf.geojson")).unwrap();
    fs::write(
        home.path().join("turf.geojson"),
        text.replace("-77.00", "-77.01"),
    )
    .unwrap();
    let ran = evenfall(home.path(), &with(&["--resume"]));
    assert!(ran.stderr.contains("the input turf"), "{}", ran.stderr);
    fs::write(home.path().join("turf.geojson"), text).unwrap();
    let ran = evenfall(home.path(), &with(&["--resume"]));
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
}

#[test]
fn what_comes_through_a_pipe_goes_on_too_if_it_is_the_same() {
    use std::io::Write;
    let home = folder();
    let lines: Vec<String> = (0..30).map(|n| lawn(&format!("{n:05}"), n)).collect();
    let plan = [
        "plan", "--turf", "-", "-o", "out", "-q", "--effort", "rule", "--chunk", "1", "-j", "1",
    ];
    let run = |more: &[&str], lines: &[String], whole: bool| {
        let mut child = Command::new(env!("CARGO_BIN_EXE_evenfall"))
            .current_dir(home.path())
            .args([&plan[..], more].concat())
            .stdin(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut stdin = child.stdin.take().unwrap();
        let text = lines.join("\n");
        // The reader looks ahead at 64 KiB; nothing here is longer.
        let _ = stdin.write_all(text.as_bytes());
        if !whole {
            let _ = stdin.write_all(b"\n");
            let journal = home.path().join("out.journal");
            let began = Instant::now();
            while fs::metadata(&journal).map_or(0, |found| found.len()) < 60_000
                && began.elapsed() < Duration::from_secs(60)
            {
                std::thread::sleep(Duration::from_millis(2));
            }
            child.kill().unwrap();
        }
        drop(stdin);
        let output = child.wait_with_output().unwrap();
        (
            output.status.code(),
            String::from_utf8(output.stderr).unwrap(),
        )
    };
    assert_eq!(run(&[], &lines, true).0, Some(0));
    let expected = contents(&home.path().join("out"));
    fs::remove_dir_all(home.path().join("out")).unwrap();
    run(&[], &lines, false);
    let (status, told) = run(&["--resume"], &lines[1..], true);
    assert_eq!(status, Some(6), "{told}");
    assert!(told.contains("OU06") && told.contains("00001"), "{told}");
    let (status, told) = run(&["--resume"], &lines, true);
    assert_eq!(status, Some(0), "{told}");
    assert!(contents(&home.path().join("out")) == expected);
}

#[test]
fn shards_put_together_are_the_run() {
    let home = folder();
    lawns(home.path(), 23);
    let path = home.path().join("turf.geojson");
    let text = fs::read_to_string(&path).unwrap();
    let broken =
        "{\"type\":\"Feature\",\"properties\":{\"parcel_id\":\"=x\"},\"geometry\":null},\n";
    let (head, tail) = text.split_at(text.find("{\"type\":\"Feature\",").unwrap());
    fs::write(path, format!("{head}{broken}{tail}")).unwrap();
    let plan = |more: &[&str]| {
        let plan = [
            "plan",
            "--turf",
            "turf.geojson",
            "-q",
            "--effort",
            "rule",
            "-j",
            "1",
        ];
        evenfall(home.path(), &[&plan[..], more].concat())
    };
    assert_eq!(plan(&["-o", "whole"]).status, Some(1));
    for shard in 1..=3 {
        let (shard, out) = (format!("{shard}/3"), format!("part-{shard}"));
        let ran = plan(&["-o", &out, "--shard", &shard]);
        assert!(matches!(ran.status, Some(0 | 1)), "{}", ran.stderr);
        assert_eq!(
            names(&home.path().join(&out)),
            ["records.journal", "run.json"]
        );
    }
    let merge = |parts: &[&str]| {
        let arguments = [&["merge"], parts, &["-o", "merged", "-q"]].concat();
        evenfall(home.path(), &arguments)
    };
    for (parts, status, code, named) in [
        (&["part-1", "part-3"][..], 3, "SH01", "2/3"),
        (&["part-1", "part-2", "part-2"], 4, "SH03", "2/3"),
        (&["part-1", "part-2", "whole"], 3, "OU07", "whole"),
        (&["part-1", "part-2", "nowhere"], 3, "OU07", "nowhere"),
    ] {
        let ran = merge(parts);
        assert_eq!(ran.status, Some(status), "{}", ran.stderr);
        assert!(
            ran.stderr.contains(code) && ran.stderr.contains(named),
            "{}",
            ran.stderr
        );
        assert!(!home.path().join("merged").exists());
    }
    let ran = merge(&["part-3", "part-1", "part-2"]);
    assert_eq!(ran.status, Some(1), "{}", ran.stderr);
    let (whole, merged) = (
        contents(&home.path().join("whole")),
        contents(&home.path().join("merged")),
    );
    assert_eq!(whole.len(), merged.len());
    for (one, other) in whole.iter().zip(&merged) {
        assert!(one == other, "{} differs", one.0);
    }

    fs::remove_dir_all(home.path().join("merged")).unwrap();
    let ran = plan(&["-o", "other", "--shard", "2/3", "--seed", "5"]);
    assert!(matches!(ran.status, Some(0 | 1)), "{}", ran.stderr);
    let ran = merge(&["part-1", "other", "part-3"]);
    assert_eq!(ran.status, Some(4), "{}", ran.stderr);
    assert!(
        ran.stderr.contains("SH02") && ran.stderr.contains("seed"),
        "{}",
        ran.stderr
    );
    let records = home.path().join("part-2/records.journal");
    let bytes = fs::read(&records).unwrap();
    fs::write(&records, &bytes[..bytes.len() - 5]).unwrap();
    let ran = merge(&["part-1", "part-2", "part-3"]);
    assert_eq!(ran.status, Some(3), "{}", ran.stderr);
    assert!(ran.stderr.contains("OU07"), "{}", ran.stderr);
}
