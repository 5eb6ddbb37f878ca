//! `evenfall schema`: what describes the outputs.

use clap::Args;
use clap::builder::PossibleValuesParser;

use super::screen::{Ending, print};
use crate::issue::{Code, Issue};
use crate::write::describe::{columns_markdown, schema, schema_names};

/// The name under which all columns are printed as Markdown.
const COLUMNS: &str = "columns";

/// Print the JSON Schema of an output or input, or every output column as Markdown.
#[derive(Debug, Args)]
pub(super) struct SchemaArgs {
    /// The output or input; `columns` prints the columns of every table as Markdown.
    #[arg(value_parser = PossibleValuesParser::new(schema_names().into_iter().chain([COLUMNS])))]
    name: String,
}

pub(super) fn run(args: &SchemaArgs) -> Result<u8, Ending> {
    let text = if args.name == COLUMNS {
        Some(columns_markdown())
    } else {
        schema(&args.name)
    };
    print(&text.ok_or_else(|| Issue::new(Code::RU01, format!("no schema `{}`", args.name)))?)?;
    Ok(0)
}
