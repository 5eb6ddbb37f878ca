//! What reaches the terminal: data on stdout, everything else on stderr.

use std::io::{self, IsTerminal, Write};
use std::process::ExitCode;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::told::{Look, told};
use crate::issue::{Code, Issue};

/// How a command ends before its end.
#[derive(Debug)]
pub(super) enum Ending {
    /// Something is wrong.
    Issue(Issue),
    /// Nobody reads what is printed any more.
    NoReader,
}

impl From<Issue> for Ending {
    fn from(issue: Issue) -> Ending {
        Ending::Issue(issue)
    }
}

/// The exit status of a command; an issue is told on stderr.
pub(super) fn status(ended: Result<u8, Ending>) -> ExitCode {
    match ended {
        Ok(status) => ExitCode::from(status),
        Err(Ending::NoReader) => ExitCode::SUCCESS,
        Err(Ending::Issue(issue)) => {
            tell(&ended_by(&issue));
            ExitCode::from(issue.code.exit_status())
        }
    }
}

/// What ends a command, with the program's name where others write to the same stream.
fn ended_by(issue: &Issue) -> String {
    match Look::of_stderr() {
        Look::Plain => format!("evenfall: {}", told(issue, Look::Plain)),
        look => told(issue, look),
    }
}

/// Tells an issue on stderr that does not end the command.
pub(super) fn tell_issue(issue: &Issue) {
    tell(&told(issue, Look::of_stderr()));
}

/// Prints data on stdout.
pub(super) fn print(text: &str) -> Result<(), Ending> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Ok(()) => Ok(()),
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Err(Ending::NoReader),
        Err(error) => Err(Issue::new(Code::OU03, format!("stdout: {error}")).into()),
    }
}

/// Tells a line on stderr.
pub(super) fn tell(line: &str) {
    // Where stderr is closed there is nobody to tell.
    let _ = writeln!(io::stderr().lock(), "{line}");
}

/// A bar on stderr that counts parcels, up to as many as are expected; hidden unless stderr is a
/// terminal.
pub(super) fn progress(quiet: bool, expected: Option<u64>) -> ProgressBar {
    if quiet || !io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::with_draw_target(expected, ProgressDrawTarget::stderr_with_hz(5));
    let template = match expected {
        Some(_) => "{wide_bar} {pos} of {len} parcels, {eta} left",
        None => "{spinner} {pos} parcels, {per_sec}, {elapsed}",
    };
    if let Ok(style) = ProgressStyle::with_template(template) {
        bar.set_style(style);
    }
    bar.enable_steady_tick(Duration::from_millis(200));
    bar
}
