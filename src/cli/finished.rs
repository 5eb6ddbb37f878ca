//! A folder that `plan` has finished, as later commands read it.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;

use crate::assumptions::Assumptions;
use crate::issue::{Code, Issue};
use crate::program::known;
use crate::read::sheet::{Sheet, text};
use crate::read::source::text_of;
use crate::write::files::Disk;
use crate::write::folder::{Existing, MARK, Staging, allowed, failed};
use crate::write::run_record::RunRecord;

/// Where the answer of a command about a finished run goes.
#[derive(Debug, Args)]
pub(super) struct AnswerArgs {
    /// Folder for the answer as CSV and JSON; without it the answer is only printed.
    #[arg(short, long, value_name = "DIR")]
    pub(super) output: Option<PathBuf>,

    /// Replace the files of an earlier answer in the folder; other files in it are left alone.
    #[arg(long)]
    overwrite: bool,

    /// Print nothing but what goes to stdout as data, and errors that end the command.
    #[arg(short, long)]
    pub(super) quiet: bool,
}

impl AnswerArgs {
    /// Refuses a folder that may not be written.
    pub(super) fn check(&self) -> Result<(), Issue> {
        match &self.output {
            Some(output) => allowed(output, self.existing()),
            None => Ok(()),
        }
    }

    /// Writes the files where a folder is named.
    pub(super) fn write(&self, files: &[(&str, String)]) -> Result<(), Issue> {
        match &self.output {
            Some(output) => write_folder(output, self.existing(), files),
            None => Ok(()),
        }
    }

    fn existing(&self) -> Existing {
        match self.overwrite {
            true => Existing::Overwrite,
            false => Existing::Keep,
        }
    }
}

/// A finished run.
pub(super) struct Finished {
    folder: PathBuf,
    /// What was assumed in it.
    pub(super) assumptions: Assumptions,
    /// Its seed.
    pub(super) seed: u64,
}

impl Finished {
    /// Opens a folder.
    ///
    /// # Errors
    /// `OU04` when it holds no finished run, `AS01` to `AS03` when its record cannot be used.
    pub(super) fn open(folder: &Path) -> Result<Finished, Issue> {
        let mark = folder.join(MARK);
        if !mark.is_file() {
            return Err(Issue::new(Code::OU04, "").in_file(folder.display().to_string()));
        }
        let record = RunRecord::parse(&text_of(&mark)?, &mark.display().to_string())?;
        Ok(Finished {
            folder: folder.to_owned(),
            assumptions: Assumptions::from_json(&record.assumptions)?,
            seed: record.layout.seed,
        })
    }

    /// One of its tables.
    pub(super) fn table(&self, name: &str) -> Result<Sheet, Issue> {
        Sheet::open(&self.folder.join(name))
    }
}

/// Where the values of columns stand: in `parcels.csv`, or in `ranked.csv` where the run made
/// totals by them.
pub(super) struct Beside {
    /// By column asked for, that of `parcels.csv`; `None` where it is one of `ranked.csv`.
    own: Vec<Option<usize>>,
    /// By parcel, its values in `ranked.csv`.
    ranked: BTreeMap<String, Vec<String>>,
}

impl Beside {
    /// Finds columns.
    ///
    /// # Errors
    /// `PR01` for one that neither table has, and what opening a table reports.
    pub(super) fn open(
        finished: &Finished,
        parcels: &Sheet,
        asked: &[&str],
    ) -> Result<Beside, Issue> {
        let own: Vec<Option<usize>> = asked.iter().map(|column| parcels.column(column)).collect();
        let mut beside = Beside {
            own,
            ranked: BTreeMap::new(),
        };
        if beside.own.iter().all(Option::is_some) {
            return Ok(beside);
        }
        let mut ranked = finished.table("ranked.csv")?;
        let mut columns = Vec::new();
        for (name, own) in asked.iter().zip(&beside.own) {
            let column = ranked.column(name);
            if own.is_none() && column.is_none() {
                let names = parcels.titles().iter().chain(ranked.titles());
                known("column", name, names.map(String::as_str))?;
            }
            columns.push(column);
        }
        let id = ranked.needed("parcel_id")?;
        while let Some(cells) = ranked.next_row()? {
            let values = columns
                .iter()
                .map(|column| column.map_or("", |at| text(&cells, at)).to_owned());
            beside
                .ranked
                .insert(text(&cells, id).to_owned(), values.collect());
        }
        Ok(beside)
    }

    /// The values of a row of `parcels.csv`; each row is asked for once.
    pub(super) fn values(&mut self, cells: &[String], id: &str) -> Vec<String> {
        let mut ranked = self.ranked.remove(id).unwrap_or_default();
        ranked.resize(self.own.len(), String::new());
        let own = self.own.iter().zip(ranked);
        own.map(|(own, ranked)| own.map_or(ranked, |at| text(cells, at).to_owned()))
            .collect()
    }
}

/// Writes files into a folder of their own, all or none.
///
/// # Errors
/// `OU01` and `OU02` for the folder, also when it holds a finished run; `OU03` when writing fails.
fn write_folder(target: &Path, existing: Existing, files: &[(&str, String)]) -> Result<(), Issue> {
    if target.join(MARK).exists() {
        let found = "it holds the outputs of `plan`; name another folder";
        return Err(Issue::new(Code::OU02, found).in_file(target.display().to_string()));
    }
    let mut staging = Staging::begin(&Disk, target, existing)?;
    for (name, text) in files {
        let mut sink = staging.create(name)?;
        sink.write_all(text.as_bytes())
            .and_then(|()| sink.finish())
            .map_err(|error| failed(&error))?;
    }
    staging.finish()
}
