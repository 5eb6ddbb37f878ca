//! `report.html`: the page that people open first.
//!
//! One file that asks nothing of a network. It is gathered record by record: figures of the whole
//! run, and of the parcels with the largest claims what a table, a map and their rain need. Of a
//! small run that is every parcel; of a large one a part, and the page says so.

mod charts;
mod html;
mod parcel;
mod sample;

use serde_json::Value;

use super::record::{Record, Row, Table, Which};
use super::run_record::RunRecord;
use html::Gathered;
use parcel::{Listed, Shown};
use sample::{First, Rank};

/// Parcels in the table and on the map, and the bytes that they may take.
const MOST_LISTED: usize = 2_000;
const MOST_LISTED_BYTES: usize = 4_000_000;
/// Parcels whose heads can be looked at, and the bytes that they may take.
const MOST_SHOWN: usize = 600;
const MOST_SHOWN_BYTES: usize = 8_000_000;
/// Failures that are listed; `failures.csv` has all.
const MOST_FAILURES: usize = 300;

/// The cells of a row by their columns' names.
#[derive(Clone, Copy)]
struct Fields<'a> {
    table: &'a Table,
    row: &'a Row,
}

impl<'a> Fields<'a> {
    fn cell(self, column: &str) -> Option<&'a super::layer::Cell> {
        self.row.cells.get(self.table.position(column)?)
    }

    fn text(self, column: &str) -> &'a str {
        match self.cell(column) {
            Some(super::layer::Cell::Text(text)) => text,
            _ => "",
        }
    }

    fn number(self, column: &str) -> Option<f64> {
        match self.cell(column)? {
            super::layer::Cell::Number(value) => Some(*value),
            super::layer::Cell::Integer(value) => Some(*value as f64),
            _ => None,
        }
    }

    fn flag(self, column: &str) -> Option<bool> {
        match self.cell(column)? {
            super::layer::Cell::Bool(yes) => Some(*yes),
            _ => None,
        }
    }

    fn is(self, column: &str) -> bool {
        self.flag(column) == Some(true)
    }
}

/// A step on the supply curve.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Offer {
    saved_m3_yr: f32,
    cost_cur_m3: f32,
    rebate_cur: f32,
}

/// A mean weighted by area.
#[derive(Debug, Clone, Copy, Default)]
struct Weighted {
    sum: f64,
    weight: f64,
}

impl Weighted {
    fn add(&mut self, value: Option<f64>, weight: Option<f64>) {
        if let Some((value, weight)) = value.zip(weight) {
            self.sum += value * weight;
            self.weight += weight;
        }
    }

    fn mean(self) -> Option<f64> {
        (self.weight > 0.0).then(|| self.sum / self.weight)
    }
}

/// One thing that failed.
#[derive(Debug, Clone)]
struct Failure {
    code: String,
    parcel: String,
    statement: String,
    remedy: String,
}

/// The report as it is gathered.
pub struct Report {
    parcels: Table,
    turf: Table,
    heads: Table,
    stations: Table,
    failures: Table,
    listed: First<Listed>,
    shown: First<String>,
    offers: Vec<Offer>,
    failed: Vec<Failure>,
    failures_seen: u64,
    found_du_lq: Weighted,
    best_du_lq: Weighted,
}

impl Default for Report {
    fn default() -> Report {
        Report {
            parcels: Which::Parcels.table(),
            turf: Which::Turf.table(),
            heads: Which::Heads.table(),
            stations: Which::Stations.table(),
            failures: Which::Failures.table(),
            listed: First::new(MOST_LISTED, MOST_LISTED_BYTES),
            shown: First::new(MOST_SHOWN, MOST_SHOWN_BYTES),
            offers: Vec::new(),
            failed: Vec::new(),
            failures_seen: 0,
            found_du_lq: Weighted::default(),
            best_du_lq: Weighted::default(),
        }
    }
}

impl Report {
    /// Adds a parcel.
    pub fn add(&mut self, record: &Record) {
        let (mut found, mut best) = (Weighted::default(), Weighted::default());
        for (which, row) in &record.rows {
            match which {
                Which::Turf => {
                    let fields = self.turf_fields(row);
                    let (value, area) = (fields.number("du_lq_field"), fields.number("area_m2"));
                    if fields.text("scenario") == "as-found" {
                        found.add(value, area);
                    }
                    if fields.is("recommended") {
                        best.add(value, area);
                    }
                }
                Which::Failures => self.add_failure(row),
                _ => {}
            }
        }
        for (all, own) in [(&mut self.found_du_lq, found), (&mut self.best_du_lq, best)] {
            all.sum += own.sum;
            all.weight += own.weight;
        }
        let Some((_, row)) = record
            .rows
            .iter()
            .find(|(which, _)| *which == Which::Parcels)
        else {
            return;
        };
        let fields = Fields {
            table: &self.parcels,
            row,
        };
        let claimed_m3_yr = fields.number("claimed_m3_yr").unwrap_or(0.0);
        let mut before_cur = 0.0;
        for step in record.program.steps() {
            self.offers.push(Offer {
                saved_m3_yr: step.saved_m3_yr as f32,
                cost_cur_m3: step.cost_cur_m3 as f32,
                rebate_cur: (step.rebate_cur - before_cur) as f32,
            });
            before_cur = step.rebate_cur;
        }
        let rank = Rank {
            claimed_m3_yr,
            index: record.index,
        };
        if self.listed.wants(rank) {
            let turf = self.rows_of(record, Which::Turf);
            let listed = Listed::of(fields, &turf, found.mean(), best.mean());
            let bytes = listed.bytes();
            self.listed.add(rank, bytes, listed);
        } else {
            self.listed.leave_out();
        }
        if !self.shown.wants(rank) {
            self.shown.leave_out();
        } else if fields.number("heads").is_some() {
            let shown = Shown {
                turf: self.rows_of(record, Which::Turf),
                heads: self.rows_of(record, Which::Heads),
                stations: self.rows_of(record, Which::Stations),
            };
            let text = shown.to_json().to_string();
            self.shown.add(rank, text.len(), text);
        }
    }

    /// Adds what failed and belongs to no parcel.
    pub fn add_failure(&mut self, row: &Row) {
        self.failures_seen += 1;
        if self.failed.len() < MOST_FAILURES {
            let fields = Fields {
                table: &self.failures,
                row,
            };
            self.failed.push(Failure {
                code: fields.text("code").to_owned(),
                parcel: parcel::short(fields.text("parcel_id")),
                statement: parcel::short(fields.text("statement")),
                remedy: fields.text("remedy").to_owned(),
            });
        }
    }

    /// The page.
    #[must_use]
    pub fn page(self, summary: &Value, record: &RunRecord) -> String {
        html::page_of(Gathered {
            summary,
            record,
            listed_all: self.listed.is_whole(),
            shown_all: self.shown.is_whole(),
            listed: self.listed.into_items().collect(),
            shown: self.shown.into_items().collect(),
            offers: self.offers,
            failures: self.failed,
            failures_seen: self.failures_seen,
            found_du_lq: self.found_du_lq.mean(),
            best_du_lq: self.best_du_lq.mean(),
        })
    }

    fn turf_fields<'a>(&'a self, row: &'a Row) -> Fields<'a> {
        Fields {
            table: &self.turf,
            row,
        }
    }

    fn rows_of<'a>(&'a self, record: &'a Record, which: Which) -> Vec<Fields<'a>> {
        let table = match which {
            Which::Heads => &self.heads,
            Which::Stations => &self.stations,
            _ => &self.turf,
        };
        let rows = record.rows.iter().filter(|(own, _)| *own == which);
        rows.map(|(_, row)| Fields { table, row }).collect()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test fails by panicking")]
mod tests {
    use super::*;
    use maud::html;

    use crate::issue::{Code, Issue};
    use crate::plan::ParcelPlan;
    use crate::write::layer::Cell;
    use crate::write::record::Place;
    use crate::write::summary::Summary;
    use crate::write::wanted::Wanted;

    fn row(which: Which, cells: &[(&str, Cell)], place: Place) -> (Which, Row) {
        let table = which.table();
        let mut own = vec![Cell::Null; table.columns.len()];
        for (name, cell) in cells {
            own[table.position(name).unwrap()] = cell.clone();
        }
        (which, Row { cells: own, place })
    }

    /// A parcel with a claim and so many heads, not planned but written down.
    fn record(index: u64, id: &str, claimed_m3_yr: f64, heads: usize) -> Record {
        let issue = Issue::new(Code::GE01, "");
        let plan = ParcelPlan::failed(index, id.to_owned(), issue, Default::default(), Vec::new());
        let mut record = Record::of(&plan, &Wanted::default());
        let (west, south) = (0.001 * (index % 1_000) as f64, 40.0 + 1e-6 * index as f64);
        let ring = vec![
            (west, south),
            (west + 1e-4, south),
            (west + 1e-4, south + 1e-4),
            (west, south),
        ];
        let text = |text: &str| Cell::Text(text.to_owned());
        record.rows = vec![row(
            Which::Parcels,
            &[
                ("parcel_id", text(id)),
                ("status", text("planned")),
                ("best_scenario", text("relayout:rotary-slow")),
                ("claimed_m3_yr", Cell::Number(claimed_m3_yr)),
                ("heads", Cell::Integer(heads as u64)),
            ],
            Place::Areas(vec![vec![ring.clone()]]),
        )];
        let turf = format!("{id}#1");
        record.rows.push(row(
            Which::Turf,
            &[
                ("turf_id", text(&turf)),
                ("scenario", text("relayout:rotary-slow")),
                ("recommended", Cell::Bool(true)),
                ("area_m2", Cell::Number(80.0)),
                ("du_lq_field", Cell::Number(0.5)),
            ],
            Place::Areas(vec![vec![ring]]),
        ));
        for head in 0..heads {
            record.rows.push(row(
                Which::Heads,
                &[
                    (
                        "head_id",
                        text(&format!("{turf}/relayout:rotary-slow/{head}")),
                    ),
                    ("turf_id", text(&turf)),
                    ("scenario", text("relayout:rotary-slow")),
                    ("recommended", Cell::Bool(true)),
                    ("profile", text("triangular")),
                    ("nozzle", text("slow-50")),
                    ("radius_m", Cell::Number(4.01)),
                    ("arc_deg", Cell::Number(180.0)),
                    ("azimuth_deg", Cell::Number(17.0)),
                    ("flow_lpm", Cell::Number(1.234)),
                    ("x_m", Cell::Number(-1.234_5)),
                    ("y_m", Cell::Number(12.345_6)),
                ],
                Place::Point((west, south)),
            ));
        }
        record
    }

    fn run() -> RunRecord {
        let record = serde_json::json!({
            "program": "evenfall",
            "version": "0",
            "inputs": [],
            "reading": {"id_field": null, "where": null, "bbox": null},
            "layout": {"effort": "rule", "favour": "evenness", "families": [], "seed": 1},
            "assumptions": crate::assumptions::Assumptions::defaults().to_json(),
        });
        RunRecord::parse(&record.to_string(), "run.json").unwrap()
    }

    fn page_of(records: impl Iterator<Item = Record>) -> String {
        let mut report = Report::default();
        let mut summary = Summary::default();
        for record in records {
            report.add(&record);
            summary.add(&record.figures);
        }
        report.page(&summary.to_json(), &run())
    }

    #[test]
    fn a_large_run_stays_small_and_says_so() {
        // More parcels than are listed and more heads than are kept; what is kept does not grow
        // with the run beyond that.
        let page = page_of((0..2_300).map(|at| record(at, &format!("{at:06}"), at as f64, 200)));
        assert!(page.len() < 20_000_000, "{} bytes", page.len());
        assert!(page.contains("A part of the run: the 2\u{202f}000 parcels"));
        assert!(page.contains("Heads can be looked at on the first "));
        // The largest claims are there, the smallest are not.
        assert!(page.contains("002299") && !page.contains(">000000<"));
    }

    #[test]
    fn a_small_run_is_whole() {
        let page = page_of((0..3).map(|at| record(at, &format!("p{at}"), 5.0, 4)));
        assert!(page.contains("All 3 parcels."));
        assert!(!page.contains("Heads can be looked at on the first "));
        for part in [
            "id=\"map\"",
            "id=\"table\"",
            "Field evenness by family",
            "Copyright (c) 2010",
        ] {
            assert_eq!(
                page.contains(part),
                part != "Field evenness by family",
                "{part}"
            );
        }
    }

    #[test]
    fn every_column_is_a_word_and_no_other_is() {
        let page = page_of([record(0, "p", 1.0, 1)].into_iter());
        let start = page.find("id=\"words\"").unwrap();
        let words = &page[start..start + page[start..].find("</section>").unwrap()];
        let glossary = crate::write::describe::glossary();
        assert!(glossary.len() > 100);
        for facts in &glossary {
            let meaning = html! { dd { (facts.meaning) } }.into_string();
            let meaning = meaning.strip_suffix("</dd>").unwrap();
            assert!(
                words.contains(&format!("<code>{}</code>", facts.name)),
                "{}",
                facts.name
            );
            assert!(words.contains(meaning), "{meaning}");
        }
        assert_eq!(words.matches("<dt>").count(), glossary.len());
    }

    #[test]
    fn hostile_text_stays_text() {
        let hostile = [
            "<script>alert(1)</script>",
            "</script><img src=x onerror=alert(2)>",
            "\u{202e}desrever",
            "a\"b'c&d",
        ];
        let page = page_of(
            hostile
                .iter()
                .zip(0..)
                .map(|(id, at)| record(at, id, 1.0, 2)),
        );
        assert!(!page.contains("<script>alert") && !page.contains("<img src=x"));
        assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
        // The page's own script elements and no other: data and program.
        assert_eq!(page.matches("<script").count(), 2);
        assert_eq!(page.matches("</script>").count(), 2);
        let long = page_of([record(0, &"x".repeat(10_000), 1.0, 1)].into_iter());
        assert!(!long.contains(&"x".repeat(500)));
    }

    #[test]
    fn nothing_is_fetched() {
        let page = page_of([record(0, "p", 1.0, 1)].into_iter());
        let text = page.replace("src=\"data:", "");
        for fetching in [
            "src=\"http",
            "src='",
            "@import",
            "sourceMappingURL",
            "fetch(",
            "XMLHttpRequest",
        ] {
            assert!(!text.contains(fetching), "{fetching}");
        }
        let style = page.split("</style>").next().unwrap();
        assert!(style.len() > 1_000 && !style.contains("url("));
        assert!(!page.contains("<link") && page.contains("default-src 'none'"));
    }
}
