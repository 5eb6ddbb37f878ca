//! `evenfall audit`: catch-can readings to uniformity and run time.

use std::path::{Path, PathBuf};

use clap::Args;
use clap::builder::PossibleValuesParser;

use super::design::assumed;
use super::files::{refuse_existing, write_whole};
use super::screen::{Ending, print, tell};
use super::table::Table;
use crate::assumptions::{Assumptions, Key};
use crate::audit::{Audit, Convention, USUAL_CANS};
use crate::budget::RunTimeMultiplier;
use crate::issue::{Code, Issue};
use crate::read::Source;
use crate::read::cans::{CanReadings, Test, read_cans};
use crate::read::planned::PlanFolder;
use crate::write::sheet::cans::CanDrawing;

/// Depth for which run times are told \[mm\].
const EXAMPLE_MM: f64 = 10.0;

/// Catch-can readings to uniformity, with the run-time consequences.
#[derive(Debug, Args)]
#[command(after_help = "\
Columns of CANS.csv, a row per can (separated by comma, semicolon or tab; others are ignored):
  depth_mm, or volume_ml with --diameter-mm
  x_m, y_m        where the can stood, optional: gives the scheduling coefficient
  run_min         minutes that the station ran, optional: --minutes says it for all cans
An empty reading (a can that was knocked over) is left out and counted. Test in wind below 2.2 m/s,
at the hour and pressure of every day, with cans of one size.
Example: evenfall audit cans.csv --diameter-mm 105 --minutes 15 -o cans.html")]
pub(super) struct AuditArgs {
    /// The readings; - reads stdin.
    #[arg(value_name = "CANS.csv")]
    cans: String,

    /// Inside diameter of the cans' mouth in millimetres, for readings in millilitres.
    #[arg(long, value_name = "MM")]
    diameter_mm: Option<f64>,

    /// Minutes that the station ran while the cans stood on it.
    #[arg(long, value_name = "MIN")]
    minutes: Option<f64>,

    /// How many cans make the low quarter where their number is not divisible by four: n/4 to the
    /// nearest, up, down, or with a part of a can.
    #[arg(long, value_name = "WORD", default_value = "nearest",
          value_parser = PossibleValuesParser::new(Convention::ALL.map(|(word, _)| word)))]
    convention: String,

    /// Side of the square windows of the scheduling coefficient in metres; without it 5 % of the
    /// sampled area.
    #[arg(long, value_name = "M")]
    window_m: Option<f64>,

    /// Folder of a plan to compare with.
    #[arg(long, value_name = "DIR", requires = "parcel")]
    plan: Option<PathBuf>,

    /// Parcel of that plan.
    #[arg(long, value_name = "ID", requires = "plan")]
    parcel: Option<String>,

    /// Turf area of that parcel, with every scenario; without it all areas, as found and as
    /// recommended.
    #[arg(long, value_name = "ID", requires = "plan")]
    turf: Option<String>,

    /// Draw the readings: FILE.svg or FILE.html.
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,

    /// Replace the file if it exists.
    #[arg(long)]
    overwrite: bool,

    /// Program file whose assumptions are used.
    #[arg(long, value_name = "PROGRAM.toml")]
    program: Option<PathBuf>,

    /// Set one assumption; see `evenfall assumptions`.
    #[arg(long, value_name = "SECTION.KEY=VALUE")]
    set: Vec<String>,
}

pub(super) fn run(args: &AuditArgs) -> Result<u8, Ending> {
    for (name, value) in [
        ("diameter-mm", args.diameter_mm),
        ("minutes", args.minutes),
        ("window-m", args.window_m),
    ] {
        if let Some(value) = value.filter(|value| !value.is_finite() || *value <= 0.0) {
            let found = format!("--{name} {value}; give a number above 0");
            return Err(Issue::new(Code::RU01, found).into());
        }
    }
    let drawing = args.output.as_deref().map(drawing_kind).transpose()?;
    if let Some(file) = &args.output {
        refuse_existing(file, args.overwrite)?;
    }
    let assumptions = assumed(args.program.as_deref(), &args.set)?;
    let convention = Convention::ALL
        .into_iter()
        .find(|(word, _)| *word == args.convention)
        .map_or(Convention::default(), |(_, convention)| convention);
    let test = Test {
        run_min: args.minutes,
        diameter_mm: args.diameter_mm,
    };
    let readings = read_cans(&Source::parse(&args.cans)?, test)?;
    let audit = Audit::of(&readings.cans, convention, args.window_m)
        .map_err(|issue| issue.in_file(args.cans.as_str()))?;
    let mut text = measures(&readings, &audit, convention);
    text.push_str(&run_times(&readings, &audit, &assumptions));
    if let (Some(folder), Some(parcel)) = (&args.plan, &args.parcel) {
        text.push_str(&against_plan(args, folder, parcel, &readings, &audit)?);
    }
    if let (Some(file), Some(kind)) = (&args.output, drawing) {
        let drawing = CanDrawing {
            cans: &readings.cans,
            audit: &audit,
            unit: unit(&readings),
            convention: convention.text(),
        };
        let drawn = match kind {
            Drawing::Svg => drawing.to_svg(),
            Drawing::Html => drawing.to_html(),
        };
        write_whole(file, drawn.as_bytes())?;
        tell(&format!("The readings are drawn in {}", file.display()));
    }
    print(&text)?;
    Ok(0)
}

#[derive(Debug, Clone, Copy)]
enum Drawing {
    Svg,
    Html,
}

fn drawing_kind(file: &Path) -> Result<Drawing, Issue> {
    match file.extension().and_then(|ending| ending.to_str()) {
        Some("svg") => Ok(Drawing::Svg),
        Some("html" | "htm") => Ok(Drawing::Html),
        _ => Err(Issue::new(
            Code::RU01,
            format!("--output {}; drawings are .svg or .html", file.display()),
        )),
    }
}

fn unit(readings: &CanReadings) -> &'static str {
    if readings.are_rates { "mm/h" } else { "mm" }
}

fn measures(readings: &CanReadings, audit: &Audit, convention: Convention) -> String {
    let unit = unit(readings);
    let mut out = format!("{} cans", audit.cans);
    if readings.empty > 0 {
        out.push_str(&format!(", {} empty rows left out", readings.empty));
    }
    if let Some(run_min) = readings.run_min {
        out.push_str(&format!(", {run_min} min"));
    }
    let lowest = audit.low_quarter_cans;
    out.push_str(&format!(
        "\n  low-quarter uniformity DU_lq  {:>7.3}    lowest {lowest} of {} cans, convention `{}`\n  \
         low-half uniformity DU_lh     {:>7.3}\n  \
         Christiansen uniformity CU    {:>7.2} %\n  \
         coefficient of variation      {:>7.3}\n",
        audit.du_lq,
        audit.cans,
        convention.text(),
        audit.du_lh,
        audit.cu_pct,
        audit.cv,
    ));
    match &audit.driest {
        Some(driest) => {
            let window = format!(
                "driest {:.1} m square, {} cans, south-west corner at ({:.1}, {:.1})",
                driest.side_m, driest.cans, driest.corner_m.0, driest.corner_m.1
            );
            match driest.sc {
                Some(sc) => {
                    out.push_str(&format!(
                        "  scheduling coefficient SC     {sc:>7.2}    {window}\n"
                    ));
                }
                None => out.push_str(&format!(
                    "  scheduling coefficient SC          -    dry: {window}\n"
                )),
            }
        }
        None if readings.unplaced > 0 => out
            .push_str("  scheduling coefficient SC          -    needs x_m and y_m of every can\n"),
        None => {
            out.push_str("  scheduling coefficient SC          -    no window holds enough cans\n")
        }
    }
    let (least, most) = audit.range;
    out.push_str(&format!(
        "  caught                        {:>7.2} {unit} in the mean, {least:.2} to {most:.2}\n",
        audit.mean,
    ));
    if audit.cans < USUAL_CANS {
        out.push_str(&format!(
            "Fewer than {USUAL_CANS} cans: the rate is known better than the uniformity.\n"
        ));
    }
    if !audit.cans.is_multiple_of(4) {
        out.push_str("The number of cans is not divisible by four: the low quarter depends on the convention.\n");
    }
    out
}

fn run_times(readings: &CanReadings, audit: &Audit, assumptions: &Assumptions) -> String {
    let multiplier = RunTimeMultiplier::assumed(assumptions).of(audit.du_lq);
    let form = assumptions.choice(Key::BudgetMultiplierForm);
    let mut out = format!(
        "\nRun time\n  multiplier for this evenness  {multiplier:>7.2}    form `{form}`; 1 if every can had caught the same\n"
    );
    if readings.are_rates {
        let even_min = 60.0 * EXAMPLE_MM / audit.mean;
        let run_min = even_min * multiplier;
        out.push_str(&format!(
            "  for {EXAMPLE_MM} mm that the grass needs  {run_min:>7.0} min  where even rain would take {even_min:.0} min\n"
        ));
    } else {
        out.push_str("  --minutes gives rate and run times\n");
    }
    out
}

/// The measures beside what the plan expects.
fn against_plan(
    args: &AuditArgs,
    folder: &Path,
    parcel: &str,
    readings: &CanReadings,
    audit: &Audit,
) -> Result<String, Issue> {
    let plan = PlanFolder::open(folder)?;
    plan.parcel(parcel)?;
    let mut rows = plan.layer("turf", parcel)?;
    if let Some(turf) = &args.turf {
        rows.retain(|row| row.text("turf_id") == turf);
        if rows.is_empty() {
            let found = format!("parcel `{parcel}` has no turf area `{turf}`");
            return Err(Issue::new(Code::PA02, found).in_file(folder.display().to_string()));
        }
    }
    if args.turf.is_none() {
        rows.retain(|row| row.text("scenario") == "as-found" || row.is("recommended"));
    }
    let mut table = Table::new(&[
        "turf area",
        "scenario",
        ">field DU_lq",
        ">drawing*",
        ">rate mm/h",
        "",
    ]);
    let figure = |value: Option<f64>, decimals: usize| {
        value.map_or_else(|| "-".to_owned(), |value| format!("{value:.decimals$}"))
    };
    table.row(vec![
        args.turf.clone().unwrap_or_default(),
        "measured".to_owned(),
        figure(Some(audit.du_lq), 2),
        String::new(),
        figure(readings.are_rates.then_some(audit.mean), 1),
    ]);
    for row in &rows {
        table.row(vec![
            row.text("turf_id").to_owned(),
            row.text("scenario").to_owned(),
            figure(row.number("du_lq_field"), 2),
            figure(row.number("du_lq"), 2),
            figure(row.number("rate_mm_h"), 1),
            if row.is("recommended") {
                "recommended".to_owned()
            } else {
                String::new()
            },
        ]);
    }
    Ok(format!(
        "\nAgainst the plan of parcel {parcel}\n{}  \
         * Still-air value of the drawing, for comparing layouts; cans are compared with the field value.\n",
        table.text("  ")
    ))
}
