//! The face: what is typed, what is printed, and with which status the program ends.

mod allot;
mod allotment;
#[cfg(feature = "arrow")]
mod arrow;
mod assumptions;
mod audit;
mod check;
mod climate;
mod decision_story;
mod design;
mod files;
mod findings;
mod finished;
mod inputs;
mod inspect;
mod manual;
mod merge;
mod nozzles;
mod pdf;
mod plan;
mod program_file;
mod program_story;
mod receipts;
mod schema;
mod screen;
mod sheet;
mod signals;
mod story;
mod table;
mod told;

use std::ffi::OsString;
use std::process::ExitCode;

use clap::{CommandFactory, Parser, Subcommand};

use crate::issue::{Code, Issue};

/// Plans sprinkler retrofits in batch: parcel and turf polygons in, head layouts, uniformity and
/// water figures out.
#[derive(Debug, Parser)]
#[command(name = "evenfall", version, about, arg_required_else_help = true)]
#[command(
    after_help = "Exit status: 0 nothing failed; 1 finished, something failed or is partial; \
    2 command line; 3 input unreadable; 4 input malformed; 5 coordinate reference system; \
    6 output exists or cannot be made; 7 write error; 8 assumptions, program or catalogue; \
    9 nothing to plan; 10 internal; 130, 143 interrupted."
)]
struct CommandLine {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Plan(plan::PlanArgs),
    Check(check::CheckArgs),
    Audit(audit::AuditArgs),
    Allot(allot::AllotArgs),
    Inspect(inspect::InspectArgs),
    Merge(merge::MergeArgs),
    Climate(climate::ClimateArgs),
    Nozzles(nozzles::NozzlesArgs),
    Assumptions(assumptions::AssumptionsArgs),
    Schema(schema::SchemaArgs),
    Sheet(sheet::SheetArgs),
    Completions(manual::CompletionsArgs),
    Man(manual::ManArgs),
}

/// Runs the program on its arguments, its own name first.
pub fn run(arguments: impl Iterator<Item = OsString>) -> ExitCode {
    let ended = match CommandLine::try_parse_from(arguments) {
        Ok(line) => match line.command {
            Command::Plan(args) => plan::run(&args),
            Command::Check(args) => check::run(&args),
            Command::Audit(args) => audit::run(&args),
            Command::Allot(args) => allot::run(&args),
            Command::Inspect(args) => inspect::run(&args),
            Command::Merge(args) => merge::run(&args),
            Command::Climate(args) => climate::run(&args),
            Command::Nozzles(args) => nozzles::run(&args),
            Command::Assumptions(args) => assumptions::run(&args),
            Command::Schema(args) => schema::run(&args),
            Command::Sheet(args) => sheet::run(&args),
            Command::Completions(args) => manual::completions(&args, CommandLine::command()),
            Command::Man(args) => manual::page(&args, CommandLine::command()),
        },
        Err(error) if error.use_stderr() => Err(misunderstood(&error).into()),
        Err(help) => screen::print(&format!("{}\n", help.to_string().trim_end())).map(|()| 0),
    };
    screen::status(ended)
}

/// What is wrong with the command line, on one line and without the usage.
fn misunderstood(error: &clap::Error) -> Issue {
    let text = error.to_string();
    let text = text.strip_prefix("error: ").unwrap_or(&text);
    let what = text.split("\n\nUsage").next().unwrap_or(text);
    let what = what.split("\n\nFor more").next().unwrap_or(what);
    Issue::new(
        Code::RU01,
        what.split_whitespace().collect::<Vec<&str>>().join(" "),
    )
}
