//! Layers of lawns: one file with one defect, its code, and which of its other lawns are read.

use std::fs;

use evenfall::issue::Code;
use evenfall::read::{Inputs, Neighbourhood, Source};

use super::outcome::run;
use super::texts::{collection, good};
use super::{files, geometry};

pub struct Row {
    pub what: &'static str,
    pub file: &'static str,
    pub content: Vec<u8>,
    pub code: Code,
    pub read: &'static [&'static str],
}

pub fn row(
    what: &'static str,
    content: impl Into<Vec<u8>>,
    code: Code,
    read: &'static [&'static str],
) -> Row {
    Row {
        what,
        file: "lawns.geojson",
        content: content.into(),
        code,
        read,
    }
}

pub fn sequence(
    what: &'static str,
    records: &[String],
    code: Code,
    read: &'static [&'static str],
) -> Row {
    let content = records.join("\n").into_bytes();
    Row {
        what,
        file: "lawns.geojsonl",
        content,
        code,
        read,
    }
}

pub const BOTH: &[&str] = &["1", "3"];
pub const NONE: &[&str] = &[];

#[test]
fn every_defect_gets_its_code_and_spares_the_others() {
    let folder = tempfile::tempdir().unwrap();
    let table: Vec<Row> = files::rows().into_iter().chain(geometry::rows()).collect();
    assert!(table.len() >= 80, "{} rows", table.len());
    for row in &table {
        let path = folder.path().join(row.file);
        fs::write(&path, &row.content).unwrap();
        let outcome = run(&Inputs::of_turf(
            Source::parse(path.to_str().unwrap()).unwrap(),
        ));
        assert!(
            outcome.has(row.code),
            "{}: {} wanted, {outcome:?}",
            row.what,
            row.code
        );
        assert_eq!(outcome.read, row.read, "{}: {outcome:?}", row.what);
    }
    println!("score: malformed polygons: {0} of {0}", table.len());
}

#[test]
fn foreign_members_of_any_depth_and_kind_are_passed_over() {
    let deep = format!("{}{}", "[".repeat(100_000), "]".repeat(100_000));
    let text = collection(&[good(0.0, "")]);
    let before = text.replacen(
        '{',
        &format!(r#"{{"x":{deep},"y":"\"]}}","bbox":[1,2],"#),
        1,
    );
    let behind = format!(r#"{},"x":{deep},"name":null}}"#, &text[..text.len() - 1]);
    for text in [before, behind] {
        let outcome = run(&Inputs::of_turf(Source::from_bytes(
            "turf",
            text.into_bytes(),
        )));
        assert_eq!(
            (outcome.fatal, outcome.read.len()),
            (None, 1),
            "{outcome:?}"
        );
    }
}

#[test]
fn a_fault_is_told_with_line_and_column() {
    let text = collection(&[good(0.0, ""), "{\"type\":}".into()]);
    let source = Source::from_bytes("lawns.geojson", text.into_bytes());
    let issue = Neighbourhood::open(&Inputs::of_turf(source)).err().unwrap();
    assert_eq!(issue.code, Code::IN03);
    assert!(issue.found.ends_with("line 2, column 9"), "{issue}");
}
