//! What is typed, what is printed, and with which status the program ends.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod shared;

use std::fs;
use std::path::Path;

use shared::{PLAN_BY_RULE, Ran, evenfall, folder, lawn, lawns, names};

fn ended(ran: &Ran, status: i32, code: &str) {
    assert_eq!(ran.status, Some(status), "{}{}", ran.stdout, ran.stderr);
    assert!(
        ran.stderr.contains(code),
        "{code} is not in: {}",
        ran.stderr
    );
}

#[test]
fn a_turf_layer_alone_is_planned() {
    let home = folder();
    lawns(home.path(), 3);
    let ran = evenfall(
        home.path(),
        &["plan", "--turf", "turf.geojson", "-o", "out"],
    );
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    assert_eq!(
        names(&home.path().join("out")),
        [
            "failures.csv",
            "heads.geojson",
            "laterals.geojson",
            "materials.csv",
            "parcels.csv",
            "parcels.geojson",
            "ranked.csv",
            "report.html",
            "run.json",
            "schedule.csv",
            "stations.geojson",
            "summary.json",
            "supply_curve.csv",
            "throws.geojson",
            "turf.geojson",
            "walk.csv"
        ]
    );
    for said in [
        "3 parcels: 3 planned, 0 partial, 0 no-turf, 0 failed",
        "field DU",
        "still-air value of the drawing",
        "Assumed",
        "embedded generic families",
        "planning-grade estimate",
        "Backflow prevention",
        "the clock must be reset",
        "not a measure of anybody's waste",
        "heads.geojson",
    ] {
        assert!(
            ran.stdout.contains(said),
            "{said} is not in:\n{}",
            ran.stdout
        );
    }
    assert_eq!(ran.stderr, "");
}

#[test]
fn a_broken_parcel_fails_alone_and_is_told() {
    let home = folder();
    let features = [
        lawn("a", 0),
        "{\"type\":\"Feature\",\"properties\":{\"parcel_id\":\"b\"},\"geometry\":null}".into(),
    ];
    collection(home.path(), &features);
    let ran = evenfall(
        home.path(),
        &["plan", "--turf", "turf.geojson", "-o", "out"],
    );
    ended(&ran, 1, "GE01");
    assert!(ran.stdout.contains("1 planned"), "{}", ran.stdout);
    let failures = fs::read_to_string(home.path().join("out/failures.csv")).unwrap();
    assert!(
        failures.starts_with("code,severity,file,feature,parcel_id,turf_id,statement,remedy\n")
    );
    assert!(
        failures.contains("\nGE01,failed,turf.geojson,2,"),
        "{failures}"
    );
    let again = evenfall(home.path(), &["check", "--turf", "turf.geojson"]);
    assert_eq!(again.status, Some(1));
    assert!(again.stdout.contains("GE01"), "{}", again.stdout);
}

#[test]
fn each_kind_of_trouble_has_its_status() {
    let home = folder();
    lawns(home.path(), 1);
    let here = home.path();
    fs::write(
        here.join("truncated.geojson"),
        "{\"type\":\"FeatureCollection\",\"features\":[",
    )
    .unwrap();
    fs::write(here.join("prose.geojson"), "green grass").unwrap();
    fs::write(
        here.join("empty.geojson"),
        "{\"type\":\"FeatureCollection\",\"features\":[]}",
    )
    .unwrap();
    fs::write(here.join("bad.toml"), "[clock]\nminutes = 3\n").unwrap();
    fs::write(here.join("broken.toml"), "[clock\n").unwrap();
    fs::write(here.join("nothing.json"), "{}").unwrap();
    fs::create_dir(here.join("taken")).unwrap();
    let turf = "turf.geojson";
    let mut tried = 0;
    for (arguments, status, code) in [
        (vec!["plan", "-o", "out"], 2, "RU01"),
        (vec!["plan", "--turf", turf], 2, "RU01"),
        (
            vec!["plan", "--turf", turf, "-o", "out", "--effort", "lazy"],
            2,
            "RU01",
        ),
        (
            vec!["plan", "--turf", turf, "-o", "out", "-j", "0"],
            2,
            "RU01",
        ),
        (vec!["fly"], 2, "RU01"),
        (
            vec!["plan", "--turf", "none.geojson", "-o", "out"],
            3,
            "IN01",
        ),
        (
            vec!["plan", "none.toml", "--turf", turf, "-o", "out"],
            3,
            "IN01",
        ),
        (
            vec!["plan", "--turf", "truncated.geojson", "-o", "out"],
            4,
            "IN03",
        ),
        (
            vec!["plan", "--turf", turf, "-o", "out", "--bbox", "1,2,3"],
            4,
            "IN10",
        ),
        (vec!["plan", "--turf", turf, "-o", "taken"], 6, "OU01"),
        (
            vec!["plan", "--turf", turf, "-o", "turf.geojson/out"],
            6,
            "OU02",
        ),
        (
            vec!["plan", "bad.toml", "--turf", turf, "-o", "out"],
            8,
            "AS01",
        ),
        (
            vec!["plan", "broken.toml", "--turf", turf, "-o", "out"],
            8,
            "AS03",
        ),
        (
            vec![
                "plan",
                "--turf",
                turf,
                "-o",
                "out",
                "--set",
                "clock.minutes_min=999",
            ],
            8,
            "AS02",
        ),
        (
            vec![
                "plan",
                "--turf",
                turf,
                "-o",
                "out",
                "--families",
                "spray,jet",
            ],
            8,
            "CA04",
        ),
        (
            vec![
                "plan",
                "--turf",
                turf,
                "-o",
                "out",
                "--from",
                "nothing.json",
            ],
            8,
            "AS03",
        ),
        (vec!["nozzles", "broken.toml"], 8, "CA01"),
        (
            vec!["plan", "--turf", "empty.geojson", "-o", "out"],
            9,
            "IN05",
        ),
        (
            vec!["plan", "--turf", turf, "-o", "out", "--bbox", "0,0,1,1"],
            9,
            "IN05",
        ),
        (vec!["check", "--turf", "empty.geojson"], 9, "IN05"),
        (vec!["check", "--turf", "truncated.geojson"], 4, "IN03"),
        (
            vec!["plan", "--turf", "empty.geojson", "--dry-run"],
            9,
            "IN05",
        ),
    ] {
        let ran = evenfall(here, &arguments);
        assert_eq!(ran.status, Some(status), "{arguments:?}: {}", ran.stderr);
        assert!(ran.stderr.contains(code), "{arguments:?}: {}", ran.stderr);
        assert!(
            ran.stderr.contains("To mend it"),
            "{arguments:?}: {}",
            ran.stderr
        );
        assert!(!here.join("out").exists(), "{arguments:?} left an output");
        tried += 1;
    }
    assert_eq!(tried, 22);
    let prose = evenfall(here, &["plan", "--turf", "prose.geojson", "-o", "out"]);
    assert_eq!(prose.status, Some(4), "{}", prose.stderr);
    let left: Vec<String> = names(here)
        .into_iter()
        .filter(|name| name.ends_with(".tmp"))
        .collect();
    assert!(left.is_empty(), "{left:?}");
}

#[test]
fn an_output_is_replaced_only_when_asked() {
    let home = folder();
    lawns(home.path(), 1);
    let plan = PLAN_BY_RULE;
    assert_eq!(evenfall(home.path(), &plan).status, Some(0));
    let before = fs::read(home.path().join("out/turf.geojson")).unwrap();
    ended(&evenfall(home.path(), &plan), 6, "OU01");
    lawns(home.path(), 2);
    let again = evenfall(home.path(), &[&plan[..], &["--overwrite"]].concat());
    assert_eq!(again.status, Some(0), "{}", again.stderr);
    assert_eq!(
        (again.stdout.as_str(), again.stderr.as_str()),
        ("", ""),
        "-q prints nothing"
    );
    assert_ne!(
        fs::read(home.path().join("out/turf.geojson")).unwrap(),
        before
    );
}

#[test]
fn an_input_is_never_written_over() {
    let home = folder();
    lawns(home.path(), 2);
    fs::create_dir(home.path().join("out")).unwrap();
    let own = home.path().join("out/turf.geojson");
    fs::rename(home.path().join("turf.geojson"), &own).unwrap();
    let before = fs::read(&own).unwrap();
    let plan = |turf| {
        [
            "plan",
            "--turf",
            turf,
            "-o",
            "out",
            "--overwrite",
            "--effort",
            "rule",
        ]
    };
    ended(&evenfall(home.path(), &plan("out/turf.geojson")), 6, "OU08");
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("out/turf.geojson", home.path().join("lawns.geojson")).unwrap();
        ended(&evenfall(home.path(), &plan("lawns.geojson")), 6, "OU08");
        std::os::unix::fs::symlink("out", home.path().join("same")).unwrap();
        ended(
            &evenfall(home.path(), &plan("same/turf.geojson")),
            6,
            "OU08",
        );
    }
    assert_eq!(fs::read(&own).unwrap(), before);
    assert_eq!(names(&home.path().join("out")), ["turf.geojson"]);
}

/// Parcels that share an id, turf that lies outside, a meter of nobody: planned, reported, status 1.
#[test]
fn input_warnings_give_status_one_and_are_counted() {
    let home = folder();
    let features = [lawn("a", 0), lawn("a", 1), lawn("b", 2)];
    collection(home.path(), &features);
    fs::rename(
        home.path().join("turf.geojson"),
        home.path().join("lots.geojson"),
    )
    .unwrap();
    collection(home.path(), &features);
    fs::write(
        home.path().join("meter.csv"),
        "parcel_id,month,m3\nx,2023-07,1\n",
    )
    .unwrap();
    let layers = [
        "--turf",
        "turf.geojson",
        "--parcels",
        "lots.geojson",
        "--meter",
        "meter.csv",
    ];
    let checked = evenfall(home.path(), &[&["check"], &layers[..]].concat());
    assert_eq!(checked.status, Some(1), "{}", checked.stderr);
    for said in [
        "turf: all 3 rows used",
        "meter: 0 of 1 rows used: 1 ME04",
        "IN15 ",
        "JO08 ",
        "feature 2, parcel a~2",
    ] {
        assert!(
            checked.stdout.contains(said),
            "{said} is not in: {}",
            checked.stdout
        );
    }
    let plan = [
        &["plan", "-o", "out"],
        &layers[..],
        &["--effort", "rule", "-j", "100000"],
    ]
    .concat();
    let ran = evenfall(home.path(), &plan);
    assert_eq!(ran.status, Some(1), "{}", ran.stderr);
    assert!(
        ran.stdout.contains("3 parcels: 3 planned"),
        "{}",
        ran.stdout
    );
    assert!(
        ran.stdout.contains("turf: all 3 rows used"),
        "{}",
        ran.stdout
    );
    assert!(
        ran.stderr.contains("IN15 ") && ran.stderr.contains("JO08 "),
        "{}",
        ran.stderr
    );
    let failures = fs::read_to_string(home.path().join("out/failures.csv")).unwrap();
    assert!(
        failures.contains("IN15,warning,lots.geojson,2,a~2,"),
        "{failures}"
    );
    let summary = fs::read_to_string(home.path().join("out/summary.json")).unwrap();
    let summary: serde_json::Value = serde_json::from_str(&summary).unwrap();
    let turf = &summary["layers"][0];
    assert_eq!(
        (turf["layer"].as_str(), turf["used"].as_u64()),
        (Some("turf"), Some(3))
    );
    assert_eq!(summary["layers"][1]["unused"]["ME04"].as_u64(), Some(1));
    // Joined, the two are one parcel; refused, nothing is planned.
    let joined = [&plan[..], &["--overwrite", "--repeated-ids", "join"]].concat();
    let ran = evenfall(home.path(), &joined);
    assert!(
        ran.stdout.contains("2 parcels: 2 planned"),
        "{}{}",
        ran.stdout,
        ran.stderr
    );
    let record = fs::read_to_string(home.path().join("out/run.json")).unwrap();
    assert!(record.contains("\"repeated_ids\": \"join\""), "{record}");
    let refused = [&plan[..], &["--overwrite", "--repeated-ids", "refuse"]].concat();
    ended(&evenfall(home.path(), &refused), 4, "IN09");
}

/// Text that is no UTF-8 has one code in every table.
#[test]
fn other_encodings_are_read_or_named() {
    let home = folder();
    lawns(home.path(), 2);
    let ending = |text: Vec<u8>| {
        fs::write(home.path().join("climate.csv"), text).unwrap();
        evenfall(
            home.path(),
            &[
                "check",
                "-q",
                "--turf",
                "turf.geojson",
                "--climate",
                "climate.csv",
            ],
        )
    };
    let months = (1..=12).map(|month| format!("{month};{};0,5\n", 40 + month));
    let text = format!("month;eto_mm;rain_in;né\n{}", months.collect::<String>());
    let wide: Vec<u8> = format!("\u{feff}{text}")
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    assert_eq!(ending(wide).status, Some(0));
    assert_eq!(ending(text.clone().into_bytes()).status, Some(0));
    let latin: Vec<u8> = text
        .chars()
        .map(|c| u8::try_from(u32::from(c)).unwrap())
        .collect();
    ended(&ending(latin), 4, "IN20");
    ended(
        &ending(text.replace(";0,5", ";1,234").into_bytes()),
        4,
        "IN22",
    );
    ended(
        &ending(text.replace("né", "rain_mm").into_bytes()),
        4,
        "IN21",
    );
}

#[test]
fn a_dry_run_and_a_check_write_nothing() {
    let home = folder();
    lawns(home.path(), 2);
    let before = names(home.path());
    for arguments in [
        vec!["check", "--turf", "turf.geojson"],
        vec!["plan", "--turf", "turf.geojson", "--dry-run"],
        vec!["plan", "--turf", "turf.geojson", "-o", "out", "--dry-run"],
    ] {
        let ran = evenfall(home.path(), &arguments);
        assert_eq!(ran.status, Some(0), "{}", ran.stderr);
        assert!(ran.stdout.contains("Nothing is written"), "{}", ran.stdout);
        assert!(
            ran.stdout.contains("turf areas                2"),
            "{}",
            ran.stdout
        );
    }
    assert_eq!(names(home.path()), before);
}

#[test]
fn the_program_file_names_inputs_beside_itself() {
    let home = folder();
    let inner = home.path().join("quarter");
    fs::create_dir(&inner).unwrap();
    lawns(&inner, 1);
    fs::write(
        inner.join("program.toml"),
        "title = \"invented\"\n[inputs]\nturf = \"turf.geojson\"\n[clock]\nminutes_min = 12\n",
    )
    .unwrap();
    let ran = evenfall(
        home.path(),
        &[
            "plan",
            "quarter/program.toml",
            "-o",
            "out",
            "--effort",
            "rule",
        ],
    );
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    let record = fs::read_to_string(home.path().join("out/run.json")).unwrap();
    let record: serde_json::Value = serde_json::from_str(&record).unwrap();
    let minutes = &record["assumptions"]["values"]["clock.minutes_min"];
    assert_eq!(
        (minutes["value"].as_f64(), minutes["origin"].as_str()),
        (Some(12.0), Some("program"))
    );
    fs::write(
        inner.join("program.toml"),
        "[inputs]\nlawn = \"turf.geojson\"\n",
    )
    .unwrap();
    ended(
        &evenfall(home.path(), &["check", "quarter/program.toml"]),
        8,
        "AS03",
    );
}

#[test]
fn a_reader_that_leaves_ends_the_program_quietly() {
    use std::process::{Command, Stdio};
    let mut child = Command::new(env!("CARGO_BIN_EXE_evenfall"))
        .args(["assumptions"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(String::from_utf8_lossy(&output.stderr), "");
}

#[cfg(unix)]
#[test]
fn an_interrupted_run_tidies_up() {
    use std::process::{Command, Stdio};
    use std::time::Duration;
    let mut interrupted = 0;
    for (signal, status) in [("INT", 130), ("TERM", 143)] {
        let home = folder();
        lawns(home.path(), 4_000);
        let child = Command::new(env!("CARGO_BIN_EXE_evenfall"))
            .current_dir(home.path())
            .args([
                "plan",
                "--turf",
                "turf.geojson",
                "-o",
                "out",
                "-q",
                "-j",
                "1",
                "--effort",
                "thorough",
            ])
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        // The run is under way when its journal is there.
        for _ in 0..600 {
            if names(home.path()).len() > 1 {
                break;
            }
            std::thread::sleep(Duration::from_millis(100));
        }
        let id = child.id().to_string();
        assert!(
            Command::new("kill")
                .args(["-s", signal, &id])
                .status()
                .unwrap()
                .success()
        );
        let output = child.wait_with_output().unwrap();
        assert_eq!(
            output.status.code(),
            Some(status),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
        // What was planned stays in the journal, and nothing else does.
        let mut left = names(home.path());
        left.retain(|name| name != "out.journal");
        assert_eq!(left, ["turf.geojson"]);
        interrupted += 1;
    }
    assert_eq!(interrupted, 2);
}

#[test]
fn help_schemas_and_lists_are_printed() {
    let home = folder();
    for (arguments, said) in [
        (vec!["--help"], "Exit status"),
        (vec!["plan", "--help"], "--overwrite"),
        (vec!["--version"], env!("CARGO_PKG_VERSION")),
        (vec!["nozzles"], "rotary-slow"),
        (vec!["assumptions"], "source:"),
        (vec!["schema", "turf"], "du_lq_field"),
        (vec!["schema", "columns"], "| `head_id` |"),
        (vec!["schema", "program"], "minutes_min"),
        (vec!["schema", "input-heads"], "azimuth_deg"),
        (vec!["completions", "bash"], "complete -F"),
        (vec!["completions", "zsh"], "#compdef evenfall"),
        (vec!["man"], ".TH evenfall"),
        (vec!["man", "plan"], "\\-\\-overwrite"),
    ] {
        let ran = evenfall(home.path(), &arguments);
        assert_eq!(ran.status, Some(0), "{arguments:?}: {}", ran.stderr);
        assert!(ran.stdout.contains(said), "{arguments:?}: {}", ran.stdout);
    }
}

#[test]
fn the_readme_describes_the_columns_as_they_are() {
    let ran = evenfall(Path::new("."), &["schema", "columns"]);
    let readme =
        fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap();
    let (_, after) = readme.split_once("<!-- columns: begin -->\n").unwrap();
    let (table, _) = after.split_once("<!-- columns: end -->").unwrap();
    assert!(
        table == ran.stdout,
        "README.md is stale: put the output of `evenfall schema columns` between the two marks"
    );
}

fn collection(folder: &Path, features: &[String]) {
    let text = format!(
        "{{\"type\":\"FeatureCollection\",\"features\":[{}]}}",
        features.join(",")
    );
    fs::write(folder.join("turf.geojson"), text).unwrap();
}

#[test]
fn a_message_shows_the_offending_line_of_a_text() {
    let home = folder();
    let here = home.path();
    lawns(here, 1);
    let text = fs::read_to_string(here.join("turf.geojson")).unwrap();
    let first = text.find("[[[").unwrap();
    let broken = format!("{}\"x\"{}", &text[..first + 3], &text[first + 3..]);
    for (file, text) in [
        ("high.toml", "[clock]\nminutes_min = 999\n"),
        ("unknown.toml", "[clock]\nminuts_min = 9\n"),
        ("open.toml", "title = \"a\n"),
        ("rule.toml", "[[eligibility]]\nname = \"a\"\nrle = \"b\"\n"),
        ("families.toml", "[[family]]\nname = 3\n"),
        ("cans.csv", "can,depth_mm\n1,12\n2,-3\n"),
        (
            "climate.csv",
            "month;eto_mm;rain_mm\n1;40;\"1\u{1b}[2J0\"\n",
        ),
        ("broken.geojson", broken.as_str()),
        ("cut.geojson", &text[..text.len() - 10]),
    ] {
        fs::write(here.join(file), text).unwrap();
    }
    let plan = ["plan", "--turf", "turf.geojson", "-o", "out"];
    let with = |more: &[&'static str]| [&plan[..], more].concat();
    let mut tried = 0;
    for (arguments, code, drawing) in [
        (
            with(&["high.toml"]),
            "AS02",
            "   ,-[high.toml:2:15]\n 2 | minutes_min = 999\n   :               ^^^\n",
        ),
        (
            with(&["unknown.toml"]),
            "AS01",
            " 2 | minuts_min = 9\n   : ^^^^^^^^^^\n",
        ),
        (with(&["open.toml"]), "AS03", " 1 | title = \"a"),
        (with(&["rule.toml"]), "AS03", "[rule.toml:1:1]"),
        (
            with(&["--catalogue", "families.toml"]),
            "CA01",
            " 2 | name = 3\n   :        ^\n",
        ),
        (
            with(&["--set", "clock.minutes_min=999"]),
            "AS02",
            " 1 | clock.minutes_min=999\n   :                   ^^^\n",
        ),
        (vec!["audit", "cans.csv"], "AU01", " 3 | 2,-3\n   :   ^^\n"),
        (
            with(&["--climate", "climate.csv"]),
            "IN07",
            " 2 | 1;40;\"1\u{fffd}[2J0\"\n   :      ^^^^^^^^\n",
        ),
        (
            vec!["plan", "--turf", "broken.geojson", "-o", "out2"],
            "IN03",
            "[broken.geojson:2:",
        ),
        (
            vec!["plan", "--turf", "cut.geojson", "-o", "out3"],
            "IN03",
            "[cut.geojson:2:",
        ),
    ] {
        let ran = evenfall(here, &arguments);
        assert!(
            ran.stderr.starts_with(&format!("evenfall: {code} ")),
            "{}",
            ran.stderr
        );
        let (line, below) = ran.stderr.split_once('\n').unwrap();
        assert!(
            line.contains("To mend it: ") && line.ends_with('.'),
            "{line}"
        );
        assert!(below.contains(drawing), "{drawing}\n{below}");
        assert!(!ran.stderr.contains('\u{1b}'), "{:?}", ran.stderr);
        tried += 1;
    }
    assert_eq!(tried, 10);
    // A pipe cannot be read twice, and a shapefile is no text: the line alone.
    let ran = evenfall(here, &["plan", "--turf", "none.geojson", "-o", "out"]);
    assert_eq!(ran.stderr.lines().count(), 1, "{}", ran.stderr);
}
