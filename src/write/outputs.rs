//! All files of a run, filled parcel by parcel in input order.

use std::io::{self, Write};
use std::path::Path;

use super::csv::Csv;
use super::files::{Files, Format};
use super::folder::{Existing, MARK, Staging, failed};
use super::geojson::GeoJson;
use super::layer::Layer;
use super::network::{Laterals, Materials, Stations, lateral_rows, material_rows, station_rows};
use super::program::Sheet;
use super::rows::{failure_rows, head_rows, turf_rows};
use super::run_record::RunRecord;
use super::schedule::Schedules;
use super::summary::Summary;
use super::{Failures, Heads, Parcels, Throws, Turf};
use crate::issue::Issue;
use crate::plan::{ParcelPlan, Scenario};

/// Whose throws are drawn: the layer is the largest of a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Drawn {
    /// Those as found and of the recommended scenario.
    #[default]
    Recommended,
    /// Those of every scenario.
    All,
}

/// The open outputs. Nothing but the summary's figures is held of the parcels written.
pub struct Outputs<'f> {
    parcels: Vec<Box<dyn Format<Parcels>>>,
    turf: Vec<Box<dyn Format<Turf>>>,
    heads: Vec<Box<dyn Format<Heads>>>,
    throws: Vec<Box<dyn Format<Throws>>>,
    schedules: Vec<Box<dyn Format<Schedules>>>,
    stations: Vec<Box<dyn Format<Stations>>>,
    laterals: Vec<Box<dyn Format<Laterals>>>,
    materials: Vec<Box<dyn Format<Materials>>>,
    failures: Vec<Box<dyn Format<Failures>>>,
    summary: Summary,
    sheet: Sheet,
    drawn: Drawn,
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
        drawn: Drawn,
    ) -> Result<Outputs<'f>, Issue> {
        let mut staging = Staging::begin(files, target, existing)?;
        let parcels: Vec<Box<dyn Format<Parcels>>> = vec![
            geojson::<Parcels>(&mut staging)?,
            csv::<Parcels>(&mut staging)?,
        ];
        let turf = vec![geojson::<Turf>(&mut staging)?];
        let heads = vec![geojson::<Heads>(&mut staging)?];
        let throws = vec![geojson::<Throws>(&mut staging)?];
        let schedules = vec![csv::<Schedules>(&mut staging)?];
        let stations = vec![geojson::<Stations>(&mut staging)?];
        let laterals = vec![geojson::<Laterals>(&mut staging)?];
        let materials = vec![csv::<Materials>(&mut staging)?];
        let failures = vec![csv::<Failures>(&mut staging)?];
        Ok(Outputs {
            parcels,
            turf,
            heads,
            throws,
            schedules,
            stations,
            laterals,
            materials,
            failures,
            summary: Summary::default(),
            sheet: Sheet::default(),
            drawn,
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
    pub fn add(&mut self, parcel: &ParcelPlan) -> Result<(), Issue> {
        self.write(parcel).map_err(|error| failed(&error))?;
        self.write_networks(parcel)?;
        self.summary.add(parcel);
        self.sheet.add(parcel);
        Ok(())
    }

    /// Whether no parcel was written yet.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.summary.inputs() == 0
    }

    fn write(&mut self, parcel: &ParcelPlan) -> io::Result<()> {
        to_all(&mut self.parcels, &parcel)?;
        for area in turf_rows(parcel) {
            to_all(&mut self.turf, &area)?;
            if area.schedule().is_some() {
                to_all(&mut self.schedules, &area)?;
            }
            let is_drawn = self.drawn == Drawn::All
                || area.plan.recommended
                || area.plan.scenario == Scenario::AsFound;
            for head in head_rows(&area) {
                to_all(&mut self.heads, &head)?;
                if is_drawn {
                    to_all(&mut self.throws, &head)?;
                }
            }
        }
        for station in station_rows(parcel) {
            to_all(&mut self.stations, &station)?;
        }
        for pipe in lateral_rows(parcel) {
            to_all(&mut self.laterals, &pipe)?;
        }
        for line in material_rows(parcel) {
            to_all(&mut self.materials, &line)?;
        }
        for failure in failure_rows(&parcel.issues, Some(&parcel.id)) {
            to_all(&mut self.failures, &failure)?;
        }
        Ok(())
    }

    /// Writes the solver's input files, one a scenario, named by the parcel's place in the run.
    fn write_networks(&mut self, parcel: &ParcelPlan) -> Result<(), Issue> {
        for network in &parcel.networks {
            let Some(text) = &network.inp else { continue };
            let scenario: String = network
                .scenario
                .text()
                .chars()
                .map(|c| {
                    if c.is_ascii_alphanumeric() || c == '-' || c == '_' {
                        c
                    } else {
                        '-'
                    }
                })
                .collect();
            let mut sink = self
                .staging
                .create(&format!("network-{}-{scenario}.inp", parcel.index + 1))?;
            sink.write_all(text.as_bytes())
                .and_then(|()| sink.finish())
                .map_err(|error| failed(&error))?;
        }
        Ok(())
    }

    /// Writes what belongs to no parcel, the summary and the record of the run, and puts the folder
    /// in its place.
    ///
    /// # Errors
    /// `OU03` when a file cannot be written.
    pub fn finish(mut self, orphans: &[Issue], record: &RunRecord) -> Result<Summary, Issue> {
        self.summary.add_orphans(orphans);
        let write = |outputs: &mut Outputs| -> io::Result<()> {
            for failure in failure_rows(orphans, None) {
                to_all(&mut outputs.failures, &failure)?;
            }
            finish_all(&mut outputs.parcels)?;
            finish_all(&mut outputs.turf)?;
            finish_all(&mut outputs.heads)?;
            finish_all(&mut outputs.throws)?;
            finish_all(&mut outputs.schedules)?;
            finish_all(&mut outputs.stations)?;
            finish_all(&mut outputs.laterals)?;
            finish_all(&mut outputs.materials)?;
            finish_all(&mut outputs.failures)
        };
        write(&mut self).map_err(|error| failed(&error))?;
        for (place, name) in self.sheet.files().iter().enumerate() {
            let mut sink = self.staging.create(name)?;
            self.sheet
                .write(place, &mut sink)
                .and_then(|()| sink.finish())
                .map_err(|error| failed(&error))?;
        }
        self.summary.program = std::mem::take(&mut self.sheet).into_figures();
        for (name, text) in [
            ("summary.json", self.summary.to_text()),
            (MARK, record.to_text()),
        ] {
            let mut sink = self.staging.create(name)?;
            sink.write_all(text.as_bytes())
                .and_then(|()| sink.finish())
                .map_err(|error| failed(&error))?;
        }
        self.staging.finish()?;
        Ok(self.summary)
    }
}

fn geojson<L: Layer>(staging: &mut Staging) -> Result<Box<dyn Format<L>>, Issue> {
    let sink = staging.create(&format!("{}.geojson", L::NAME))?;
    Ok(Box::new(
        GeoJson::<L>::begin(sink).map_err(|error| failed(&error))?,
    ))
}

fn csv<L: Layer>(staging: &mut Staging) -> Result<Box<dyn Format<L>>, Issue> {
    let sink = staging.create(&format!("{}.csv", L::NAME))?;
    Ok(Box::new(
        Csv::<L>::begin(sink).map_err(|error| failed(&error))?,
    ))
}

fn to_all<L: Layer>(writers: &mut [Box<dyn Format<L>>], row: &L::Row<'_>) -> io::Result<()> {
    writers.iter_mut().try_for_each(|writer| writer.row(row))
}

fn finish_all<L: Layer>(writers: &mut Vec<Box<dyn Format<L>>>) -> io::Result<()> {
    writers.drain(..).try_for_each(Format::finish)
}
