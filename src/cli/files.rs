//! Single files that a command writes beside a plan.

use std::path::Path;

use crate::issue::{Code, Issue};

/// Refuses a file that is there already, unless it may be replaced.
pub(super) fn refuse_existing(file: &Path, overwrite: bool) -> Result<(), Issue> {
    if file.exists() && !overwrite {
        let found = "the file is there already";
        return Err(Issue::new(Code::OU01, found).in_file(file.display().to_string()));
    }
    Ok(())
}

/// Writes a file beside its place first, so that it is whole or not there.
pub(super) fn write_whole(file: &Path, bytes: &[u8]) -> Result<(), Issue> {
    let failed = |code: Code| {
        move |error: std::io::Error| {
            Issue::new(code, error.to_string()).in_file(file.display().to_string())
        }
    };
    let mut name = file.file_name().unwrap_or_default().to_owned();
    name.push(format!(".{}.tmp", std::process::id()));
    let beside = file.with_file_name(name);
    std::fs::write(&beside, bytes).map_err(failed(Code::OU02))?;
    std::fs::rename(&beside, file).map_err(|error| {
        let _ = std::fs::remove_file(&beside);
        failed(Code::OU03)(error)
    })
}
