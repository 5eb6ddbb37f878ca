//! What reaches the terminal: data on stdout, everything else on stderr.

use std::io::{self, IsTerminal, Write};
use std::process::ExitCode;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

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
            tell(&format!("evenfall: {issue}"));
            ExitCode::from(issue.code.exit_status())
        }
    }
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

/// A bar on stderr that counts parcels; hidden unless stderr is a terminal.
pub(super) fn progress(quiet: bool) -> ProgressBar {
    if quiet || !io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr_with_hz(5));
    if let Ok(style) = ProgressStyle::with_template("{spinner} {pos} parcels, {per_sec}, {elapsed}")
    {
        bar.set_style(style);
    }
    bar.enable_steady_tick(Duration::from_millis(200));
    bar
}
