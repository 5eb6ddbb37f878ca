//! `evenfall merge`: shards of one run into the outputs of one run.

use std::path::PathBuf;

use clap::Args;

use super::screen::{Ending, print, progress};
use super::signals::stop_on_signals;
use super::story::merged_story;
use crate::batch::merge::Merged;
use crate::write::files::Disk;
use crate::write::folder::{Existing, allowed};
use crate::write::outputs::Outputs;
use crate::write::program::Sheet;

/// Put the shards of one run together: the outputs are those of `plan` without --shard.
#[derive(Debug, Args)]
#[command(after_help = "Example: evenfall merge shard-1 shard-2 shard-3 -o out")]
pub(super) struct MergeArgs {
    /// The folders of all shards, in any order.
    #[arg(value_name = "DIR", required = true)]
    shards: Vec<PathBuf>,

    /// Folder for the outputs.
    #[arg(short, long, value_name = "DIR")]
    output: PathBuf,

    /// Replace the outputs of an earlier run in the folder; other files in it are left alone.
    #[arg(long)]
    overwrite: bool,

    /// Print nothing but errors.
    #[arg(short, long)]
    quiet: bool,
}

pub(super) fn run(args: &MergeArgs) -> Result<u8, Ending> {
    let existing = if args.overwrite {
        Existing::Overwrite
    } else {
        Existing::Keep
    };
    allowed(&args.output, existing)?;
    let stop = stop_on_signals()?;
    let mut merged = Merged::open(&args.shards)?;
    let sheet = Sheet::by(&merged.run.by, None)?;
    let mut outputs = Outputs::begin(&Disk, &args.output, existing, &merged.run)?.with_sheet(sheet);
    let bar = progress(args.quiet, None);
    for record in merged.by_ref() {
        outputs.add(&record?)?;
        bar.inc(1);
        if let Some(issue) = stop.wanted() {
            return Err(issue.into());
        }
    }
    bar.finish_and_clear();
    let end = merged.end()?;
    let summary = outputs.finish(&end.orphans, &end.usage, &merged.run)?;
    if !args.quiet {
        print(&merged_story(&summary, &args.output))?;
    }
    Ok(u8::from(summary.has_failures()))
}
