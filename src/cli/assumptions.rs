//! `evenfall assumptions`: every number that nobody measured, with unit, bounds and source.

use std::path::PathBuf;

use clap::Args;

use super::design::assumed;
use super::screen::{Ending, print};

/// Print every assumption: value, unit, bounds, who set it, and where its default comes from.
#[derive(Debug, Args)]
pub(super) struct AssumptionsArgs {
    /// Program file whose values are shown in place of the defaults.
    #[arg(value_name = "PROGRAM.toml")]
    program: Option<PathBuf>,

    /// Set one value, as in `plan`.
    #[arg(long, value_name = "SECTION.KEY=VALUE")]
    set: Vec<String>,
}

pub(super) fn run(args: &AssumptionsArgs) -> Result<u8, Ending> {
    let assumptions = assumed(args.program.as_deref(), &args.set)?;
    let mut out = String::new();
    for row in assumptions.rows() {
        let unit = if row.unit == "-" { "" } else { row.unit };
        out.push_str(format!("{} = {} {unit}", row.key, row.value).trim_end());
        out.push_str(&format!(
            "\n    {}\n    allowed {}; set by {}; default {}; by parcel: {}\n    source: {}\n",
            row.meaning, row.allowed, row.origin, row.default, row.by_parcel, row.source,
        ));
        if !row.range.is_empty() {
            out.push_str(&format!("    drawn from {}\n", row.range));
        }
    }
    print(&out)?;
    Ok(0)
}
