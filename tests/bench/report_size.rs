//! How large the report of a run gets: `cargo run --example report_size -- SHARD COUNT FILE`.
//!
//! Takes the records of a planned shard (`plan --shard 1/1`) again and again under other ids, up to
//! so many parcels, and writes the report of them. Summary and totals are of the parcels as counted.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a bench may panic")]

use std::fs;

use evenfall::batch::merge::Merged;
use evenfall::write::layer::Cell;
use evenfall::write::record::{Record, Which};
use evenfall::write::report::Report;
use evenfall::write::summary::Summary;

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [folder, count, file] = words.as_slice() else {
        panic!("SHARD COUNT FILE");
    };
    let count: u64 = count.parse().expect("COUNT is a number");
    let mut merged = Merged::open(&[folder]).expect("SHARD is a planned shard");
    let mut records: Vec<Record> = merged.by_ref().map(|record| record.unwrap()).collect();
    assert!(!records.is_empty(), "the shard has parcels");
    let id = Which::Parcels.table().position("parcel_id").unwrap();
    let mut report = Report::default();
    let mut summary = Summary::default();
    for index in 0..count {
        let at = (index % records.len() as u64) as usize;
        let record = &mut records[at];
        record.index = index;
        record.id = format!("{index:07}");
        for (which, row) in &mut record.rows {
            if *which == Which::Parcels {
                row.cells[id] = Cell::Text(record.id.clone());
            }
        }
        report.add(record);
        summary.add(&record.figures);
    }
    let page = report.page(&summary.to_json(), &merged.run);
    println!("{count} parcels, {} bytes", page.len());
    fs::write(file, page).unwrap();
}
