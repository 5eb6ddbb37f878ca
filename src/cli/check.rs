//! `evenfall check`: reads and checks everything, writes nothing.

use std::collections::BTreeMap;

use clap::Args;

use super::design::{Design, DesignArgs};
use super::inputs::{InputArgs, Layers};
use super::screen::{Ending, print, progress};
use super::story::{assumed_lines, layers_used};
use super::table::thousands;
use super::told::{Look, MOST_FAILURES_TOLD, safe, told};
use crate::crs::Frame;
use crate::issue::{Code, Issue};
use crate::plan::Status;
use crate::read::Reading;
use crate::site::{LonLatPolygon, Parcel};

/// Read and check everything, and say what would be planned; nothing is written.
#[derive(Debug, Args)]
pub(super) struct CheckArgs {
    #[command(flatten)]
    inputs: InputArgs,

    #[command(flatten)]
    design: DesignArgs,

    /// Print nothing but errors that end the run; the exit status tells.
    #[arg(short, long)]
    quiet: bool,

    /// Also list what was mended.
    #[arg(short, long, conflicts_with = "quiet")]
    verbose: bool,
}

pub(super) fn run(args: &CheckArgs) -> Result<u8, Ending> {
    let record = args.design.record()?;
    let layers = args.inputs.resolve(record.as_ref())?;
    let design = args
        .design
        .resolve(layers.program.as_ref(), record.as_ref())?;
    report(&layers, &design, args.quiet, args.verbose)
}

/// What was read.
#[derive(Default)]
struct Found {
    statuses: BTreeMap<Status, u64>,
    turf_areas: u64,
    turf_m2: f64,
    heads: u64,
    issues: Vec<Issue>,
}

/// Reads everything and says what would be planned.
pub(super) fn report(
    layers: &Layers,
    design: &Design,
    quiet: bool,
    verbose: bool,
) -> Result<u8, Ending> {
    let (climates, gaps) = layers.climates()?;
    design.planner(climates)?;
    let mut neighbourhood = layers.open()?;
    design.program(neighbourhood.columns().as_deref())?;
    let mut found = Found::default();
    found.issues.extend(gaps);
    let bar = progress(quiet, neighbourhood.expected());
    for reading in neighbourhood.by_ref() {
        found.add(reading?);
        bar.inc(1);
    }
    bar.finish_and_clear();
    if found.statuses.is_empty() {
        return Err(Issue::new(Code::IN05, "").into());
    }
    let orphans = neighbourhood.orphans();
    let lost = orphans.iter().filter(|issue| issue.is_grave()).count();
    found.issues.extend_from_slice(orphans);
    if !quiet {
        let used = layers_used(neighbourhood.usage());
        print(&found.text(lost, &used, layers, design, verbose))?;
    }
    Ok(u8::from(found.issues.iter().any(Issue::is_reported)))
}

impl Found {
    fn add(&mut self, reading: Reading) {
        let status = match reading {
            Reading::Failed { issue, id, .. } => {
                self.issues.push(issue.of_parcel(id));
                Status::Failed
            }
            Reading::Parcel(parcel) => self.add_parcel(*parcel),
        };
        *self.statuses.entry(status).or_default() += 1;
    }

    fn add_parcel(&mut self, parcel: Parcel) -> Status {
        self.turf_areas += parcel.turf.len() as u64;
        self.heads += parcel.heads.len() as u64;
        self.turf_m2 += parcel
            .turf
            .iter()
            .map(|turf| area_m2(&turf.polygon))
            .sum::<f64>();
        let broken = parcel.issues.iter().any(Issue::is_grave);
        self.issues.extend(parcel.issues);
        match (parcel.turf.is_empty(), broken) {
            (false, false) => Status::Planned,
            (false, true) => Status::Partial,
            (true, false) => Status::NoTurf,
            (true, true) => Status::Failed,
        }
    }

    fn text(
        &self,
        orphans: usize,
        used: &str,
        layers: &Layers,
        design: &Design,
        verbose: bool,
    ) -> String {
        let count = |status| self.statuses.get(&status).copied().unwrap_or(0);
        let mut out = format!(
            "Nothing is written. What would be planned:\n\n\
             parcels            {:>8}\n  whole            {:>8}\n  in part          {:>8}\n  \
             without turf     {:>8}\n  failed           {:>8}\n\
             turf areas         {:>8}   {} m²\nexisting heads     {:>8}\n",
            self.statuses.values().sum::<u64>(),
            count(Status::Planned),
            count(Status::Partial),
            count(Status::NoTurf),
            count(Status::Failed),
            self.turf_areas,
            thousands(self.turf_m2),
            self.heads,
        );
        if orphans > 0 {
            out.push_str(&format!(
                "of no parcel       {orphans:>8}   records or turf areas that failed\n"
            ));
        }
        out.push_str("\nInputs:\n");
        for line in used.lines() {
            out.push_str(&format!("  {line}\n"));
        }
        let mut excerpts = 0;
        let mut line = |issue: &Issue| {
            excerpts += u64::from(issue.is_reported());
            if issue.is_reported() && excerpts <= MOST_FAILURES_TOLD {
                told(issue, Look::Plain).replace('\n', "\n  ")
            } else {
                safe(&issue.to_string())
            }
        };
        let listed = self.issues.iter();
        let listed = listed.filter(|issue| verbose || issue.is_reported());
        let lines: Vec<String> = listed.map(&mut line).collect();
        if !lines.is_empty() {
            out.push_str(&format!("\nWhat was found:\n  {}\n", lines.join("\n  ")));
        }
        out.push_str(&assumed_lines(layers, design));
        out
    }
}

/// The area of a polygon in a frame about its first corner \[m²\].
fn area_m2(polygon: &LonLatPolygon) -> f64 {
    let Some(corner) = polygon.exterior().coords().next() else {
        return 0.0;
    };
    Frame::about(corner.x, corner.y)
        .outline(polygon)
        .map_or(0.0, |outline| outline.area_m2())
}
