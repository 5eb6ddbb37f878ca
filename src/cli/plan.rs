//! `evenfall plan`: layers in, layouts and water figures out.

use std::num::NonZeroUsize;
use std::path::PathBuf;
use std::thread;

use clap::Args;
use clap::builder::PossibleValuesParser;
use indicatif::ProgressBar;

#[cfg(feature = "arrow")]
use super::arrow::Streamed;
use super::check;
use super::design::{Design, DesignArgs, word};
use super::inputs::{InputArgs, Layers};
use super::screen::{Ending, print, progress, tell, tell_issue};
use super::signals::stop_on_signals;
use super::story::{Run, shard_story, story};
use super::told::{MOST_FAILURES_TOLD, safe};
use crate::batch::Order;
use crate::batch::journal::Journal;
use crate::batch::pass::{Hearing, Opened, Pass};
use crate::batch::shard::Shard;
use crate::issue::Issue;
use crate::site::Parcel;
use crate::write::files::Disk;
use crate::write::folder::{Existing, allowed};
use crate::write::formats::Name;
use crate::write::program::Sheet;
use crate::write::rain::Rain;
use crate::write::record::{Record, Which};
use crate::write::run_record::RunRecord;
use crate::write::wanted::{Drawn, Tables, Wanted};

/// Most planning threads: more than a machine can start would end the run.
const MAX_JOBS: NonZeroUsize = match NonZeroUsize::new(512) {
    Some(jobs) => jobs,
    None => NonZeroUsize::MIN,
};
const DRAWN: [(&str, Drawn); 2] = [("recommended", Drawn::Recommended), ("all", Drawn::All)];

/// Plan every parcel: layouts, uniformity and water, as layers that any GIS viewer opens.
#[derive(Debug, Args)]
#[command(after_help = "Example: evenfall plan --turf lawn.geojson -o out")]
pub(super) struct PlanArgs {
    #[command(flatten)]
    inputs: InputArgs,

    #[command(flatten)]
    design: DesignArgs,

    /// Folder for the outputs.
    #[arg(short, long, value_name = "DIR", required_unless_present_any = ["dry_run", "arrow"])]
    output: Option<PathBuf>,

    /// Formats of the layers; may be given more than once [default: geojson].
    #[arg(short, long, value_name = "FORMAT", value_delimiter = ',',
        value_parser = PossibleValuesParser::new(Name::ALL.map(Name::text)))]
    format: Vec<String>,

    /// Replace the outputs of an earlier run in the folder; other files in it are left alone.
    #[arg(long)]
    overwrite: bool,

    /// Planning threads, 512 at most [default: all cores]. The outputs do not depend on it.
    #[arg(short, long, value_name = "N")]
    jobs: Option<NonZeroUsize>,

    /// Parcels held in memory together. The outputs do not depend on it.
    #[arg(long, value_name = "N", default_value = "256")]
    chunk: NonZeroUsize,

    /// Go on with a run that was interrupted or killed: what its journal (DIR.journal) holds is not
    /// planned again. The outputs are the same as without the interruption.
    #[arg(long)]
    resume: bool,

    /// Plan the I-th of N parts, for many machines; `evenfall merge` puts them together.
    #[arg(long, value_name = "I/N", conflicts_with = "dry_run")]
    shard: Option<Shard>,

    /// Read parcels, turf, heads, obstacles and supply as a stream of Arrow record batches on stdin,
    /// and write these tables as one on stdout, a row a parcel: for engines that share work out to
    /// many machines.
    #[arg(long, value_name = "TABLES", value_delimiter = ',', value_parser = streamed_tables(),
        conflicts_with_all = ["parcels", "turf", "heads", "obstacles", "supply", "filter", "bbox",
            "match_ids", "output", "format", "layers", "overwrite", "resume", "shard", "dry_run", "rain", "by", "inp"])]
    arrow: Vec<String>,

    /// Read and check everything, say what would be planned, write nothing.
    #[arg(long)]
    dry_run: bool,

    /// Layers to write beside parcels and failures, separated by commas [default: all]. A city that
    /// is ranked needs `turf`; heads, throws and laterals are most of what is written.
    #[arg(long, value_name = "LAYER", value_delimiter = ',',
        value_parser = PossibleValuesParser::new(Tables::words()))]
    layers: Vec<String>,

    /// Whose throws to draw in throws.geojson, the largest layer: as found and as recommended, or
    /// all scenarios [default: recommended].
    #[arg(long, value_parser = PossibleValuesParser::new(DRAWN.map(|(word, _)| word)))]
    throws: Option<String>,

    /// Whose rain to write as rasters, rain/*.tif with a list in rain.csv: nobody's, as found and
    /// as recommended, or all scenarios [default: none].
    #[arg(long, value_parser = PossibleValuesParser::new(Rain::WORDS.map(|(word, _)| word)))]
    rain: Option<String>,

    /// Totals by the values of these columns, of the parcel layer or of parcels.csv, separated by
    /// commas: by-COLUMN.csv and summary.json.
    #[arg(long, value_name = "COLUMN", value_delimiter = ',')]
    by: Vec<String>,

    /// Print nothing but errors that end the run.
    #[arg(short, long)]
    quiet: bool,

    /// Also tell what was mended or assumed, feature by feature.
    #[arg(short, long, conflicts_with = "quiet")]
    verbose: bool,
}

pub(super) fn run(args: &PlanArgs) -> Result<u8, Ending> {
    let jobs = args
        .jobs
        .or_else(|| thread::available_parallelism().ok())
        .unwrap_or(NonZeroUsize::MIN)
        .min(MAX_JOBS);
    let order = Order {
        jobs,
        chunk: args.chunk,
    };
    if !args.arrow.is_empty() {
        return streamed(args, order);
    }
    let record = args.design.record()?;
    let existing = if args.overwrite {
        Existing::Overwrite
    } else {
        Existing::Keep
    };
    if let (Some(output), false) = (&args.output, args.resume) {
        if !args.dry_run {
            Journal::refuse(output)?;
        }
        allowed(output, existing)?;
    }
    let layers = args.inputs.resolve(record.as_ref())?;
    let design = args
        .design
        .resolve(layers.program.as_ref(), record.as_ref())?;
    if let (Some(output), false) = (&args.output, args.dry_run) {
        layers.lie_outside(output)?;
    }
    let (Some(output), false) = (&args.output, args.dry_run) else {
        return check::report(&layers, &design, args.quiet, args.verbose);
    };
    let throws = throws(args, record.as_ref());
    let mut by = match &record {
        Some(record) if args.by.is_empty() => record.by.clone(),
        _ => Vec::new(),
    };
    for column in &args.by {
        if !by.contains(column) {
            by.push(column.clone());
        }
    }
    let mut this_run = record_of(&layers, &design, throws)?;
    let rain = args.rain.as_ref();
    if let Some(rain) = rain.or(record.as_ref().map(|record| &record.rain)) {
        this_run.rain.clone_from(rain);
    }
    let tables = match &record {
        Some(record) if args.layers.is_empty() => Tables::parse(&record.layers)?,
        _ => Tables::parse(&args.layers)?,
    };
    this_run.layers = tables.to_words();
    let wanted = Wanted {
        throws: word("throws", &DRAWN, throws)?,
        rain: Rain::parse(&this_run.rain)?,
        tables,
    };
    this_run.formats = formats(&args.format, record.as_ref())?;
    this_run.by.clone_from(&by);
    if let Some(earlier) = &record {
        tell_changed_inputs(earlier, &this_run);
    }
    let pass = Pass {
        files: &Disk,
        target: output,
        existing,
        resume: args.resume,
        record: &this_run,
        settings: &design.settings(),
        shard: args.shard,
        read_off: &|plan| Record::of(&plan, &wanted).grouped(&plan, &by),
        order,
        stop: &stop_on_signals()?,
    };
    let open = || {
        let (climates, gaps) = layers.climates()?;
        if !args.quiet {
            gaps.iter().for_each(tell_issue);
        }
        let planner = design.planner(climates)?;
        let layers = layers.open()?;
        let columns = layers.columns();
        let program = design.program(columns.as_deref())?;
        Sheet::by(&by, columns.as_deref())?;
        let plan = move |parcel: &Parcel| {
            let mut plan = planner.plan(parcel);
            program.settle(&mut plan);
            plan
        };
        Ok(Opened {
            layers,
            plan: Box::new(plan),
        })
    };
    let mut telling = Telling::new(args.quiet, args.verbose, "all are in failures.csv");
    let summary = pass.run(open, &mut telling)?;
    if !args.quiet {
        print(&match args.shard {
            None => story(&Run {
                summary: &summary,
                layers: &layers,
                design: &design,
                output,
            }),
            Some(shard) => shard_story(&summary, shard, output),
        })?;
    }
    Ok(u8::from(summary.has_failures()))
}

/// Plans from stdin to stdout.
#[cfg(feature = "arrow")]
fn streamed(args: &PlanArgs, order: Order) -> Result<u8, Ending> {
    let record = args.design.record()?;
    let streamed = Streamed {
        inputs: &args.inputs,
        design: &args.design,
        tables: &args.arrow,
        drawn: word("throws", &DRAWN, throws(args, record.as_ref()))?,
        order,
        quiet: args.quiet,
        verbose: args.verbose,
    };
    streamed.run()
}

#[cfg(not(feature = "arrow"))]
fn streamed(_: &PlanArgs, _: Order) -> Result<u8, Ending> {
    let found = "this build reads no record batches: it lacks a library";
    Err(Issue::new(crate::issue::Code::RU01, found).into())
}

/// The tables that go out as record batches.
fn streamed_tables() -> PossibleValuesParser {
    let tables = Which::ALL.into_iter().filter(|which| *which != Which::Rain);
    PossibleValuesParser::new(tables.map(|which| which.table().name))
}

/// Whose throws are drawn, as it was typed, or else as in the recorded run.
fn throws<'a>(args: &'a PlanArgs, record: Option<&'a RunRecord>) -> &'a str {
    let recorded = record.map(|record| &record.throws);
    let chosen = args.throws.as_ref().or(recorded);
    chosen.map_or(DRAWN[0].0, String::as_str)
}

/// The formats typed, else those of the recorded run, else GeoJSON; each once and in order.
fn formats(typed: &[String], record: Option<&RunRecord>) -> Result<Vec<String>, Issue> {
    let words = match (typed, record) {
        ([], Some(record)) => record.formats.clone(),
        ([], None) => vec![Name::GeoJson.text().to_owned()],
        (typed, _) => typed.to_vec(),
    };
    let names = Name::parse(&words)?.into_iter();
    Ok(names.map(|name| name.text().to_owned()).collect())
}

fn record_of(layers: &Layers, design: &Design, throws: &str) -> Result<RunRecord, Issue> {
    let mut inputs = layers.hashes()?;
    inputs.push(design.catalogue_record());
    Ok(RunRecord {
        program: env!("CARGO_PKG_NAME").to_owned(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        inputs,
        reading: layers.reading(),
        layout: design.layout().clone(),
        throws: throws.to_owned(),
        layers: Vec::new(),
        formats: Vec::new(),
        rain: Rain::WORDS[0].0.to_owned(),
        eligibility: design.rules.clone(),
        by: Vec::new(),
        assumptions: design.assumptions.to_json(),
    })
}

/// Says which inputs are not the ones of the earlier run, since its figures will then differ.
fn tell_changed_inputs(earlier: &RunRecord, this: &RunRecord) {
    for input in earlier
        .inputs
        .iter()
        .filter(|input| !this.inputs.contains(input))
    {
        tell(&format!(
            "evenfall: the {} is not the one of the recorded run; figures will differ",
            input.role
        ));
    }
    if earlier.version != this.version {
        let (then, now) = (&earlier.version, &this.version);
        tell(&format!(
            "evenfall: the recorded run was made by version {then}, this is {now}"
        ));
    }
}

/// Tells on stderr what happens, failures before notes.
pub(super) struct Telling {
    quiet: bool,
    verbose: bool,
    /// Where those are that are not told.
    rest: &'static str,
    bar: ProgressBar,
    told: u64,
    untold: u64,
}

impl Telling {
    pub(super) fn new(quiet: bool, verbose: bool, rest: &'static str) -> Telling {
        Telling {
            quiet,
            verbose,
            rest,
            bar: ProgressBar::hidden(),
            told: 0,
            untold: 0,
        }
    }
}

impl Hearing for Telling {
    fn begins(&mut self, expected: Option<u64>) {
        self.bar = progress(self.quiet, expected);
    }

    fn passed(&mut self) {
        self.bar.inc(1);
    }

    fn issues(&mut self, issues: &[Issue]) {
        for issue in issues {
            if self.quiet || !(issue.is_reported() || self.verbose) {
                continue;
            }
            if issue.is_reported() && self.told < MOST_FAILURES_TOLD {
                self.bar.suspend(|| tell_issue(issue));
                self.told += 1;
            } else if self.verbose {
                // Without an excerpt: there may be one for every feature.
                self.bar.suspend(|| tell(&safe(&issue.to_string())));
            } else {
                self.untold += 1;
            }
        }
    }

    fn planned(&mut self) {
        self.bar.finish_and_clear();
        if self.untold > 0 {
            tell(&format!("… and {} more; {}", self.untold, self.rest));
        }
    }

    fn says(&mut self, sentence: &str) {
        if !self.quiet {
            self.bar.suspend(|| tell(&format!("evenfall: {sentence}")));
        }
    }
}
