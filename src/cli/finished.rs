//! A folder that `plan` has finished, as later commands read it.

use std::io::Write;
use std::path::{Path, PathBuf};

use super::design::text_of;
use crate::assumptions::Assumptions;
use crate::issue::{Code, Issue};
use crate::read::sheet::Sheet;
use crate::write::files::Disk;
use crate::write::folder::{Existing, MARK, Staging, failed};
use crate::write::run_record::RunRecord;

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

/// Writes files into a folder of their own, all or none.
///
/// # Errors
/// `OU01` and `OU02` for the folder, also when it holds a finished run; `OU03` when writing fails.
pub(super) fn write_folder(
    target: &Path,
    existing: Existing,
    files: &[(&str, String)],
) -> Result<(), Issue> {
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
