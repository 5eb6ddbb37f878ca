//! `evenfall sheet`: one parcel of a finished plan on paper.

use std::path::{Path, PathBuf};

use clap::Args;
use clap::builder::PossibleValuesParser;

use super::files::{refuse_existing, write_whole};
use super::pdf::{browser, pages, print_page};
use super::screen::{Ending, print, tell_issue};
use crate::issue::{Code, Issue};
use crate::read::planned::PlanFolder;
use crate::write::measure::Units;
use crate::write::sheet::built::Comparison;
use crate::write::sheet::paper::Papers;
use crate::write::sheet::{Dossier, Offer, crew_sheet, owner_letter};

/// Longest part of a parcel's id in the name of a file.
const MOST_NAME: usize = 40;

/// One printable page for one parcel of a finished plan: the crew's sheet, or the owner's letter.
#[derive(Debug, Args)]
#[command(after_help = "\
The sheet is one page: A4, or A3 to A1 where a parcel has more than A4 holds in letters that can be
read (--paper ansi: letter to ANSI D). The page is HTML; a PDF is printed from it where Chromium or a browser of its kind is installed.
Ids are text: zeros in front count. The crew's list of a parcel stands in walk.csv; filled in, it
comes back with --asbuilt and is compared with the plan.
Example: evenfall sheet out 00018")]
pub(super) struct SheetArgs {
    /// Folder of the plan.
    #[arg(value_name = "DIR")]
    folder: PathBuf,

    /// The parcel.
    #[arg(value_name = "PARCEL_ID", allow_hyphen_values = true)]
    parcel: String,

    /// Write the owner's letter instead of the crew's sheet.
    #[arg(long, conflicts_with = "asbuilt")]
    letter: bool,

    /// The crew's filled-in walk.csv, to compare with the plan.
    #[arg(long, value_name = "FILE")]
    asbuilt: Option<PathBuf>,

    /// File to write (.html or .pdf), or a folder for both [default: both in this folder].
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,

    /// Units of the page.
    #[arg(long, value_name = "UNITS", default_value = "si",
          value_parser = PossibleValuesParser::new(["si", "us"]))]
    units: String,

    /// Paper: A4 and, where a parcel needs it, A3 to A1; or letter, and tabloid to ANSI D.
    #[arg(long, value_name = "KIND", default_value = "iso",
          value_parser = PossibleValuesParser::new(["iso", "ansi"]))]
    paper: String,

    /// Who offers, printed at the head of the letter [default: the title of the program file].
    #[arg(long, value_name = "NAME", requires = "letter")]
    from: Option<String>,

    /// What the rebate is in, e.g. EUR.
    #[arg(long, value_name = "CODE", requires = "letter")]
    currency: Option<String>,

    /// Browser to print the PDF with.
    #[arg(long, value_name = "PATH")]
    browser: Option<PathBuf>,

    /// Replace files that exist.
    #[arg(long)]
    overwrite: bool,

    /// Print nothing but errors.
    #[arg(short, long)]
    quiet: bool,
}

/// The files to write.
struct Files {
    html: Option<PathBuf>,
    pdf: Option<PathBuf>,
    /// Whether a PDF was asked for by name.
    pdf_wanted: bool,
}

pub(super) fn run(args: &SheetArgs) -> Result<u8, Ending> {
    let files = files(args)?;
    for file in [&files.html, &files.pdf].into_iter().flatten() {
        refuse_existing(file, args.overwrite)?;
    }
    let units = if args.units == "us" {
        Units::Us
    } else {
        Units::Si
    };
    let papers = if args.paper == "ansi" {
        Papers::Ansi
    } else {
        Papers::Iso
    };
    let folder = PlanFolder::open(&args.folder)?;
    let dossier = Dossier::read(&folder, &args.parcel)?;
    let mut said = String::new();
    let (html, pdf) = if args.letter {
        let offer = Offer {
            from: args
                .from
                .clone()
                .or_else(|| Some(folder.title().to_owned()))
                .filter(|name| !name.is_empty()),
            currency: args.currency.clone(),
        };
        let html = owner_letter(&dossier, units, &offer, papers);
        let pdf = files.pdf.is_some().then(|| printed(args, &html));
        (html, pdf)
    } else {
        let built = args
            .asbuilt
            .as_deref()
            .map(|file| Comparison::read(file, &dossier))
            .transpose()?;
        if let Some(built) = &built {
            said.push_str(&built.to_text(&dossier));
        }
        let mut sheet = crew_sheet(&dossier, units, built.as_ref(), papers, 0);
        let mut pdf = files.pdf.is_some().then(|| printed(args, &sheet.html));
        // What a browser lays out in more than a page gets the next paper.
        while let Some(Ok(bytes)) = &pdf
            && pages(bytes) > 1
            && sheet.size + 1 < papers.all().len()
        {
            sheet = crew_sheet(&dossier, units, built.as_ref(), papers, sheet.size + 1);
            pdf = Some(printed(args, &sheet.html));
        }
        said.push_str(&format!("one page of {}\n", sheet.paper.name));
        if sheet.unnamed > 0 {
            let heads = sheet.unnamed;
            said.push_str(&format!(
                "{heads} heads stand too close for a number on it\n"
            ));
        }
        (sheet.html, pdf)
    };
    if let Some(file) = &files.html {
        write_whole(file, html.as_bytes())?;
        said.push_str(&format!("{}\n", file.display()));
    }
    if let (Some(file), Some(pdf)) = (&files.pdf, pdf) {
        match pdf.and_then(|bytes| write_whole(file, &bytes)) {
            Ok(()) => said.push_str(&format!("{}\n", file.display())),
            // A PDF asked for by name that cannot be made is a file that cannot be written.
            Err(issue) if files.pdf_wanted => {
                let found = format!("{}; {}", issue.statement(), issue.code.remedy());
                return Err(Issue::new(Code::OU02, found)
                    .in_file(file.display().to_string())
                    .into());
            }
            Err(issue) => tell_issue(&issue),
        }
    }
    if !args.quiet {
        print(&said)?;
    }
    Ok(0)
}

/// A page as PDF.
fn printed(args: &SheetArgs, html: &str) -> Result<Vec<u8>, Issue> {
    let found = browser(args.browser.as_deref())
        .ok_or_else(|| Issue::new(Code::PA05, "no browser was found that prints"));
    print_page(&found?, html)
}

fn files(args: &SheetArgs) -> Result<Files, Issue> {
    let kind = if args.letter { "letter" } else { "sheet" };
    let both = |folder: &Path| {
        let name = format!("{kind}-{}", file_name(&args.parcel));
        Files {
            html: Some(folder.join(format!("{name}.html"))),
            pdf: Some(folder.join(format!("{name}.pdf"))),
            pdf_wanted: false,
        }
    };
    let Some(output) = &args.output else {
        return Ok(both(Path::new("")));
    };
    match output.extension().and_then(|ending| ending.to_str()) {
        Some("html" | "htm") => Ok(Files {
            html: Some(output.clone()),
            pdf: None,
            pdf_wanted: false,
        }),
        Some("pdf") => Ok(Files {
            html: None,
            pdf: Some(output.clone()),
            pdf_wanted: true,
        }),
        _ if output.is_dir() => Ok(both(output)),
        _ => {
            let found = format!(
                "--output {}; give a file that ends in .html or .pdf, or a folder that exists",
                output.display()
            );
            Err(Issue::new(Code::RU01, found))
        }
    }
}

/// A parcel's id as a part of a file's name: letters, digits, `-`, `_` and `.` stay.
fn file_name(id: &str) -> String {
    let plain = |c: char| {
        if c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.') {
            c
        } else {
            '-'
        }
    };
    id.chars().take(MOST_NAME).map(plain).collect()
}

#[cfg(test)]
mod tests {
    use super::file_name;

    #[test]
    fn an_id_cannot_leave_the_folder() {
        assert_eq!(file_name("00018"), "00018");
        assert_eq!(file_name("../../etc/passwd"), "..-..-etc-passwd");
        assert_eq!(file_name("<b>\u{202e}x"), "-b--x");
        assert_eq!(file_name(&"a".repeat(10_000)).len(), 40);
    }
}
