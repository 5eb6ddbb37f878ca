//! `evenfall completions` and `evenfall man`: what a shell and a reader want to know of the command
//! line, made from its own description.

use clap::{Args, Command};
use clap_complete::Shell;

use super::screen::{Ending, print};
use crate::issue::{Code, Issue};

/// Print the completions of the command line for a shell.
#[derive(Debug, Args)]
#[command(after_help = "Example: evenfall completions bash > \
    ~/.local/share/bash-completion/completions/evenfall")]
pub(super) struct CompletionsArgs {
    /// The shell.
    shell: Shell,
}

/// Print the manual page of the program, or of one of its commands.
#[derive(Debug, Args)]
#[command(after_help = "Example: evenfall man plan | man -l -")]
pub(super) struct ManArgs {
    /// The command; the program itself where none is named.
    command: Option<String>,
}

pub(super) fn completions(args: &CompletionsArgs, mut line: Command) -> Result<u8, Ending> {
    let mut text = Vec::new();
    let name = line.get_name().to_owned();
    clap_complete::generate(args.shell, &mut line, name, &mut text);
    print(&String::from_utf8_lossy(&text))?;
    Ok(0)
}

pub(super) fn page(args: &ManArgs, mut line: Command) -> Result<u8, Ending> {
    // Commands take over what holds for all of them.
    line.build();
    let described = match &args.command {
        None => line,
        Some(name) => {
            let found = line.find_subcommand(name).cloned();
            found.ok_or_else(|| Issue::new(Code::RU01, format!("there is no command `{name}`")))?
        }
    };
    let mut text = Vec::new();
    let written = clap_mangen::Man::new(described).render(&mut text);
    written.map_err(|error| Issue::new(Code::OU03, format!("manual page: {error}")))?;
    print(&String::from_utf8_lossy(&text))?;
    Ok(0)
}
