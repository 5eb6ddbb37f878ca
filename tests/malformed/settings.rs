//! Catalogues and program files with one defect each, and the code that each gets.

use std::fs;

use evenfall::catalogue::{Catalogue, GENERIC_TOML};
use evenfall::issue::Code;

use super::shared::{evenfall, folder, lawns};

#[test]
fn defects_of_catalogues() {
    let with = |from: &str, to: &str| {
        let changed = GENERIC_TOML.replacen(from, to, 1);
        assert!(changed != GENERIC_TOML, "{from} is not there");
        changed
    };
    let line = |key: &str| -> String {
        let starts = |line: &&str| line.trim_start().starts_with(key);
        GENERIC_TOML.lines().find(starts).unwrap().to_owned()
    };
    let throw = line("throw_m");
    let name = line("name");
    let cases = [
        ("empty", String::new(), Code::CA01),
        ("not TOML", "nozzles, nozzles".to_owned(), Code::CA01),
        (
            "cut off",
            GENERIC_TOML[..GENERIC_TOML.len() / 2].to_owned() + "[",
            Code::CA01,
        ),
        (
            "an unknown key",
            with(&name, &format!("{name}\ncolour = \"grey\"")),
            Code::CA01,
        ),
        (
            "a name that is a number",
            with(&name, "name = 5"),
            Code::CA01,
        ),
        (
            "throws as text",
            with(&throw, "throw_m = \"far\""),
            Code::CA01,
        ),
        ("one throw", with(&throw, "throw_m = [3.0]"), Code::CA01),
        (
            "throws the wrong way round",
            with(&throw, "throw_m = [4.0, 2.0]"),
            Code::CA02,
        ),
        (
            "a negative throw",
            with(&throw, "throw_m = [-1.0, 2.0]"),
            Code::CA02,
        ),
        (
            "a throw of a mile",
            with(&throw, "throw_m = [2.0, 1609.0]"),
            Code::CA02,
        ),
        (
            "a throw that is not a number",
            with(&throw, "throw_m = [nan, 2.0]"),
            Code::CA02,
        ),
        (
            "an endless throw",
            with(&throw, "throw_m = [2.0, inf]"),
            Code::CA02,
        ),
    ];
    for (what, text, code) in &cases {
        let issue = Catalogue::parse(text, "catalogue.toml").unwrap_err();
        assert_eq!(issue.code, *code, "{what}: {issue}");
        assert!(issue.place.file.is_some(), "{what}: {issue}");
    }
    println!("score: malformed catalogues: {0} of {0}", cases.len());
}

#[test]
fn defects_of_program_files() {
    let home = folder();
    lawns(home.path(), 1);
    let cases = [
        ("not TOML", "clock, clock", 8, "AS03"),
        (
            "an unknown section",
            "[clocks]\nminutes_min = 5\n",
            8,
            "AS0",
        ),
        ("an unknown key", "[clock]\nminute = 5\n", 8, "AS0"),
        (
            "text for a number",
            "[clock]\nminutes_min = \"ten\"\n",
            8,
            "AS0",
        ),
        ("out of bounds", "[clock]\nminutes_min = 1e9\n", 8, "AS02"),
        ("negative", "[clock]\nminutes_min = -3\n", 8, "AS02"),
        ("not a number", "[clock]\nminutes_min = nan\n", 8, "AS0"),
        (
            "twice the same key",
            "[clock]\nminutes_min = 5\nminutes_min = 6\n",
            8,
            "AS03",
        ),
        ("cut off", "[clock]\nminutes_min =", 8, "AS03"),
        ("a section that is a number", "clock = 5\n", 8, "AS0"),
        ("an unknown choice", "[plant]\ngrass = \"blue\"\n", 8, "AS0"),
        (
            "an unknown input",
            "[inputs]\nlawns = \"turf.geojson\"\n",
            8,
            "AS0",
        ),
        (
            "an input that is not there",
            "[inputs]\nturf = \"nowhere.geojson\"\n",
            3,
            "IN01",
        ),
    ];
    let mut tried = 0;
    for (what, text, status, code) in cases {
        fs::write(home.path().join("program.toml"), text).unwrap();
        let named = if text.contains("turf =") {
            &["check", "program.toml", "-q"][..]
        } else {
            &["check", "program.toml", "--turf", "turf.geojson", "-q"]
        };
        let ran = evenfall(home.path(), named);
        assert_eq!(ran.status, Some(status), "{what}: {}", ran.stderr);
        assert!(ran.stderr.contains(code), "{what}: {}", ran.stderr);
        tried += 1;
    }
    println!("score: malformed program files: {tried} of {tried}");
    assert_eq!(tried, 13);
}
