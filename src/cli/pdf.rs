//! Prints a page to PDF through a browser on the machine.
//!
//! The HTML page is the one source of a sheet. A PDF library would need the page's layout a second
//! time, with fonts of its own; a browser without a window prints the very page that people see.
//! Where none is found the page is printed by hand, and nothing is lost.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use crate::issue::{Code, Issue};

/// Programs that print without a window, by the names under which systems install them.
const BROWSERS: [&str; 4] = ["chromium", "chromium-browser", "google-chrome", "chrome"];
/// A page takes a second or two; a browser that hangs is given up.
const MOST: Duration = Duration::from_secs(60);
/// Most temporary folders of one process that were there already.
const MOST_ATTEMPTS: u32 = 1_000;
const LOOK_EVERY: Duration = Duration::from_millis(50);
/// What keeps the browser to itself: no network services, no first-run dialogues.
const QUIET: [&str; 9] = [
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-pdf-header-footer",
    "--host-resolver-rules=MAP * ~NOTFOUND",
];

/// The browser to print with: the one named, or the first found on the search path.
pub(super) fn browser(named: Option<&Path>) -> Option<PathBuf> {
    if let Some(path) = named {
        return path.is_file().then(|| path.to_owned());
    }
    let folders = std::env::var_os("PATH")?;
    std::env::split_paths(&folders)
        .flat_map(|folder| BROWSERS.map(|name| folder.join(name)))
        .find(|path| path.is_file())
}

/// Prints a page; its bytes as PDF.
///
/// The browser refuses to run in its sandbox for the system's administrator; it is then asked once
/// more without. The page runs no script and loads nothing.
pub(super) fn print_page(browser: &Path, html: &str) -> Result<Vec<u8>, Issue> {
    let failed = |found: String| Issue::new(Code::PA05, found);
    let folder = own_folder().map_err(|error| failed(error.to_string()))?;
    let printed = print_in(browser, html, &folder);
    // A folder that cannot be removed is left to the system's own tidying.
    let _ = fs::remove_dir_all(&folder);
    printed.map_err(failed)
}

/// Makes a folder among the temporary ones that was not there before and that nobody else reads.
fn own_folder() -> io::Result<PathBuf> {
    let mut maker = fs::DirBuilder::new();
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut maker, 0o700);
    let mut attempt = 0;
    loop {
        let name = format!("evenfall-{}-{attempt}", std::process::id());
        let folder = std::env::temp_dir().join(name);
        match maker.create(&folder) {
            Ok(()) => return Ok(folder),
            Err(error)
                if error.kind() == io::ErrorKind::AlreadyExists && attempt < MOST_ATTEMPTS =>
            {
                attempt += 1;
            }
            Err(error) => return Err(error),
        }
    }
}

/// How many pages a PDF of a browser has: each is an object that says so, uncompressed.
pub(super) fn pages(pdf: &[u8]) -> usize {
    const PAGE: &[u8] = b"/Type /Page";
    pdf.windows(PAGE.len() + 1)
        // The tree of pages is of the type `Pages`.
        .filter(|here| here.starts_with(PAGE) && here[PAGE.len()] != b's')
        .count()
}

fn print_in(browser: &Path, html: &str, folder: &Path) -> Result<Vec<u8>, String> {
    let page = folder.join("page.html");
    let pdf = folder.join("page.pdf");
    fs::write(&page, html).map_err(|error| error.to_string())?;
    let mut last = String::new();
    for sandbox in [None, Some("--no-sandbox")] {
        match run(browser, &page, &pdf, folder, sandbox) {
            Ok(()) if pdf.is_file() => {
                return fs::read(&pdf).map_err(|error| error.to_string());
            }
            Ok(()) => last = "the browser wrote nothing".to_owned(),
            Err(found) => last = found,
        }
    }
    Err(last)
}

fn run(
    browser: &Path,
    page: &Path,
    pdf: &Path,
    folder: &Path,
    sandbox: Option<&str>,
) -> Result<(), String> {
    let mut child = Command::new(browser)
        .args(QUIET)
        .args(sandbox)
        .arg(format!("--user-data-dir={}", folder.join("own").display()))
        .arg(format!("--print-to-pdf={}", pdf.display()))
        .arg(format!("file://{}", page.display()))
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .map_err(|error| error.to_string())?;
    let until = Instant::now() + MOST;
    loop {
        match child.try_wait() {
            Ok(Some(status)) if status.success() => return Ok(()),
            Ok(Some(status)) => return Err(format!("the browser ended with {status}")),
            Ok(None) if Instant::now() < until => thread::sleep(LOOK_EVERY),
            Ok(None) => {
                let _ = child.kill();
                let _ = child.wait();
                return Err(format!("the browser took longer than {} s", MOST.as_secs()));
            }
            Err(error) => return Err(error.to_string()),
        }
    }
}
