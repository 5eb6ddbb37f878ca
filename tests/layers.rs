//! Imports go down only: from the face to the ground, never the other way.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::fs;
use std::path::{Path, PathBuf};

/// The floors from the ground up; inside a floor a module may import what stands before it.
const FLOORS: [&[&str]; 8] = [
    &["units", "issue", "fence", "cells", "shape", "crs"],
    &["site", "clause", "assumptions", "catalogue"],
    &[
        "rain",
        "uniformity",
        "place",
        "soil",
        "hydraulics",
        "climate",
        "budget",
        "audit",
        "savings",
    ],
    &["plan", "program"],
    &["read"],
    &["write"],
    &["batch"],
    &["cli"],
];

/// Only these may name the C libraries.
const SYSTEM_GIS: [&str; 3] = ["read", "write", "crs"];

fn rank(module: &str) -> Option<(usize, usize)> {
    FLOORS.iter().enumerate().find_map(|(floor, modules)| {
        modules
            .iter()
            .position(|name| *name == module)
            .map(|place| (floor, place))
    })
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
}

/// Every module that a text imports from the crate: `use crate::a::…`, `crate::a::b(…)` and the
/// members of `use crate::{a, b::c}`.
fn imports(text: &str) -> Vec<String> {
    let mut found = Vec::new();
    for (at, _) in text.match_indices("crate::") {
        let rest = &text[at + "crate::".len()..];
        let name = |part: &str| -> String {
            part.trim()
                .chars()
                .take_while(|c| c.is_ascii_alphanumeric() || *c == '_')
                .collect()
        };
        match rest.strip_prefix('{') {
            Some(members) => {
                let mut depth = 0;
                let mut start = 0;
                for (end, c) in members.char_indices() {
                    match c {
                        '{' => depth += 1,
                        '}' if depth > 0 => depth -= 1,
                        ',' | '}' if depth == 0 => {
                            found.push(name(&members[start..end]));
                            start = end + 1;
                            if c == '}' {
                                break;
                            }
                        }
                        _ => {}
                    }
                }
            }
            None => found.push(name(rest)),
        }
    }
    found.retain(|name| !name.is_empty());
    found
}

#[test]
fn the_reader_of_imports_finds_them() {
    assert_eq!(
        imports("use crate::units::Flow;\nlet x = crate::issue::Code::IN01;"),
        ["units", "issue"]
    );
    assert_eq!(imports("use crate::{a::{b, c}, d::E};"), ["a", "d"]);
}

#[test]
fn a_file_imports_only_what_stands_below_it() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&root, &mut files);
    files.sort();
    let (mut checked, mut upward) = (0, Vec::new());
    for file in &files {
        let inside = file.strip_prefix(&root).unwrap();
        let first = inside.iter().next().unwrap().to_string_lossy();
        let module = first.trim_end_matches(".rs");
        if matches!(module, "lib" | "main") {
            continue;
        }
        let own = rank(module).unwrap_or_else(|| panic!("{module} stands on no floor"));
        let text = fs::read_to_string(file).unwrap();
        for import in imports(&text) {
            if import == module {
                continue;
            }
            // Names that are no module are re-exports or macros of the crate's root.
            let below =
                rank(&import).unwrap_or_else(|| panic!("{inside:?} imports unknown {import}"));
            if below > own {
                upward.push(format!("{} imports {import}", inside.display()));
            }
            checked += 1;
        }
        if !SYSTEM_GIS.contains(&module) {
            for line in text
                .lines()
                .filter(|line| !line.trim_start().starts_with("//"))
            {
                assert!(
                    !line.contains("gdal::") && !line.contains("gdal_sys"),
                    "{} names the C library: {line}",
                    inside.display()
                );
            }
        }
    }
    assert!(upward.is_empty(), "upward imports:\n{}", upward.join("\n"));
    assert!(checked > 100, "only {checked} imports were checked");
}
