//! All files of a run, filled record by record in input order.

use std::io::{self, Write};
use std::path::Path;

use super::csv::Csv;
use super::files::{Files, Format};
use super::folder::{Existing, MARK, Staging, failed};
use super::geojson::GeoJson;
use super::program::Sheet;
use super::record::{Record, Row, Table, Which, failures};
use super::report::Report;
use super::run_record::RunRecord;
use super::summary::Summary;
use crate::issue::Issue;

/// Whose throws are drawn: the layer is the largest of a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Drawn {
    /// Those as found and of the recommended scenario.
    #[default]
    Recommended,
    /// Those of every scenario.
    All,
}

/// The tables that are written as CSV, whatever else is.
const TABLES: [Which; 5] = [
    Which::Parcels,
    Which::Schedule,
    Which::Materials,
    Which::Walk,
    Which::Failures,
];

/// The open outputs. Nothing but the summary's figures is held of the parcels written.
pub struct Outputs<'f> {
    formats: Vec<Box<dyn Format>>,
    summary: Summary,
    report: Report,
    sheet: Sheet,
    // Last, so that the files are closed before the folder is removed.
    staging: Staging<'f>,
}

impl<'f> Outputs<'f> {
    /// Opens every file in a temporary folder beside the target.
    ///
    /// # Errors
    /// `OU01`, `OU02` or `OU03`.
    pub fn begin(
        files: &'f dyn Files,
        target: &Path,
        existing: Existing,
    ) -> Result<Outputs<'f>, Issue> {
        let mut staging = Staging::begin(files, target, existing)?;
        let formats: Vec<Box<dyn Format>> = vec![
            Box::new(Collections::begin(&mut staging)?),
            Box::new(Spreadsheets::begin(&mut staging)?),
        ];
        Ok(Outputs {
            formats,
            summary: Summary::default(),
            report: Report::default(),
            sheet: Sheet::default(),
            staging,
        })
    }

    /// Gathers totals by columns as well.
    #[must_use]
    pub fn with_sheet(mut self, sheet: Sheet) -> Outputs<'f> {
        self.sheet = sheet;
        self
    }

    /// Writes one parcel.
    ///
    /// # Errors
    /// `OU03` when a file cannot be written.
    pub fn add(&mut self, record: &Record) -> Result<(), Issue> {
        for (which, row) in &record.rows {
            self.row(*which, row)?;
        }
        for (name, text) in &record.files {
            self.file(name, text)?;
        }
        self.summary.add(&record.figures);
        self.report.add(record);
        self.sheet.add(&record.id, &record.program);
        Ok(())
    }

    /// Whether no parcel was written yet.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.summary.inputs() == 0
    }

    fn row(&mut self, which: Which, row: &Row) -> Result<(), Issue> {
        for format in &mut self.formats {
            format.row(which, row).map_err(|error| failed(&error))?;
        }
        Ok(())
    }

    fn file(&mut self, name: &str, text: &str) -> Result<(), Issue> {
        let mut sink = self.staging.create(name)?;
        sink.write_all(text.as_bytes())
            .and_then(|()| sink.finish())
            .map_err(|error| failed(&error))
    }

    /// Writes what belongs to no parcel, the summary and the record of the run, and puts the folder
    /// in its place.
    ///
    /// # Errors
    /// `OU03` when a file cannot be written.
    pub fn finish(mut self, orphans: &[Issue], record: &RunRecord) -> Result<Summary, Issue> {
        self.summary.add_orphans(orphans);
        for (which, row) in failures(orphans, None) {
            self.row(which, &row)?;
            self.report.add_failure(&row);
        }
        for format in std::mem::take(&mut self.formats) {
            format.finish().map_err(|error| failed(&error))?;
        }
        for (place, name) in self.sheet.files().iter().enumerate() {
            let mut sink = self.staging.create(name)?;
            self.sheet
                .write(place, &mut sink)
                .and_then(|()| sink.finish())
                .map_err(|error| failed(&error))?;
        }
        self.summary.program = std::mem::take(&mut self.sheet).into_totals();
        let summary = self.summary.to_text();
        self.file("summary.json", &summary)?;
        let report = std::mem::take(&mut self.report);
        self.file("report.html", &report.page(&self.summary.to_json(), record))?;
        self.file(MARK, &record.to_text())?;
        self.staging.finish()?;
        Ok(self.summary)
    }
}

/// Every table with a geometry as a GeoJSON feature collection.
struct Collections(Vec<(Table, GeoJson)>);

impl Collections {
    fn begin(staging: &mut Staging) -> Result<Collections, Issue> {
        let tables = Which::ALL.into_iter().map(Which::table);
        let begun = tables.filter(|table| !table.shape.is_empty()).map(|table| {
            let sink = staging.create(&format!("{}.geojson", table.name))?;
            let begun = GeoJson::begin(sink).map_err(|error| failed(&error))?;
            Ok((table, begun))
        });
        begun.collect::<Result<_, _>>().map(Collections)
    }
}

impl Format for Collections {
    fn row(&mut self, which: Which, row: &Row) -> io::Result<()> {
        let mut files = self.0.iter_mut();
        match files.find(|(table, _)| table.which == which) {
            Some((table, file)) => file.row(table, row),
            None => Ok(()),
        }
    }

    fn finish(self: Box<Self>) -> io::Result<()> {
        self.0.into_iter().try_for_each(|(_, file)| file.finish())
    }
}

/// The tables that people open in a spreadsheet.
struct Spreadsheets(Vec<(Table, Csv)>);

impl Spreadsheets {
    fn begin(staging: &mut Staging) -> Result<Spreadsheets, Issue> {
        let begun = TABLES.into_iter().map(Which::table).map(|table| {
            let sink = staging.create(&format!("{}.csv", table.name))?;
            let begun = Csv::begin(sink, &table).map_err(|error| failed(&error))?;
            Ok((table, begun))
        });
        begun.collect::<Result<_, _>>().map(Spreadsheets)
    }
}

impl Format for Spreadsheets {
    fn row(&mut self, which: Which, row: &Row) -> io::Result<()> {
        let mut files = self.0.iter_mut();
        match files.find(|(table, _)| table.which == which) {
            Some((table, file)) => file.row(table, row),
            None => Ok(()),
        }
    }

    fn finish(self: Box<Self>) -> io::Result<()> {
        self.0.into_iter().try_for_each(|(_, file)| file.finish())
    }
}
