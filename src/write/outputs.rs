//! All files of a run, filled record by record in input order.

use std::io::Write;
use std::path::Path;

use super::files::{Files, Format};
use super::folder::{Existing, MARK, Staging, failed};
use super::formats;
use super::program::Sheet;
use super::record::{Record, Row, Which, failures};
use super::report::Report;
use super::run_record::RunRecord;
use super::summary::Summary;
use crate::issue::Issue;
use crate::read::LayerUse;

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
    /// Opens every file in a temporary folder beside the target: those of the formats that the
    /// record of the run names.
    ///
    /// # Errors
    /// `RU01` for a format that there is not; `OU01`, `OU02` or `OU03`.
    pub fn begin(
        files: &'f dyn Files,
        target: &Path,
        existing: Existing,
        run: &RunRecord,
    ) -> Result<Outputs<'f>, Issue> {
        let mut staging = Staging::begin(files, target, existing)?;
        staging.supersede(formats::earlier(target));
        let formats = formats::begin(&mut staging, run)?;
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
        for (name, bytes) in &record.files {
            self.file(name, bytes)?;
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

    fn file(&mut self, name: &str, bytes: &[u8]) -> Result<(), Issue> {
        let mut sink = self.staging.create(name)?;
        sink.write_all(bytes)
            .and_then(|()| sink.finish())
            .map_err(|error| failed(&error))
    }

    /// Writes what belongs to no parcel, how layers were used, the summary and the record of the run, and puts the folder
    /// in its place.
    ///
    /// # Errors
    /// `OU03` when a file cannot be written.
    pub fn finish(
        mut self,
        orphans: &[Issue],
        usage: &[LayerUse],
        record: &RunRecord,
    ) -> Result<Summary, Issue> {
        self.summary.add_orphans(orphans);
        self.summary.layers = usage.to_vec();
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
        self.file("summary.json", summary.as_bytes())?;
        let report = std::mem::take(&mut self.report);
        let page = report.page(&self.summary.to_json(), record);
        self.file("report.html", page.as_bytes())?;
        self.file(MARK, record.to_text().as_bytes())?;
        self.staging.finish()?;
        Ok(self.summary)
    }
}
