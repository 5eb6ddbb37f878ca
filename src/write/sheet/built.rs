//! What was built against what was planned: the filled-in list of the crew beside the plan.

use std::fs::File;
use std::path::Path;

use maud::html;

use super::Block;
use super::dossier::Dossier;
use super::paper::{HEADING_MM, LINE_MM, Paper, lines};
use crate::issue::{Code, Issue};
use crate::read::planned::{PlannedRow, read_table};
use crate::write::measure::Units;
use crate::write::page::figure;

/// Differences up to these are what hands and tapes do: an arc is set in steps of 5°, a throw is
/// read to a foot; common practice, no source.
const ARC_SLACK_DEG: f64 = 5.0;
const THROW_SLACK_FRAC: f64 = 0.10;
/// A throw reduced by more than this no longer waters as drawn.
const MOST_REDUCED_FRAC: f64 = 0.25;
const MINUTES_SLACK_FRAC: f64 = 0.10;

/// The comparison of a parcel.
#[derive(Debug, Default)]
pub struct Comparison {
    /// Heads of the plan that were reported.
    pub reported: usize,
    /// Heads of the plan.
    pub planned: usize,
    /// Where they differ: turf area, head, what.
    pub differences: Vec<Difference>,
    /// Pressures that the crew read \[kPa\]: head and reading.
    pub pressures: Vec<(String, f64)>,
    /// Notes of the crew.
    pub notes: Vec<(String, String)>,
    /// Whether run times were reported for every turf area that has new ones.
    pub is_clock_reported: bool,
}

/// One difference.
#[derive(Debug, PartialEq)]
pub struct Difference {
    /// The turf area.
    pub turf_id: String,
    /// The head's id; empty for a difference of the clock.
    pub head_id: String,
    /// What was planned and what was built, by the words of a person.
    pub what: What,
}

/// What differs.
#[derive(Debug, PartialEq)]
pub enum What {
    /// The head was not reported.
    Missing,
    /// Another nozzle: planned, built.
    Nozzle(String, String),
    /// Another arc \[°\]: planned, built.
    Arc(f64, f64),
    /// Another throw \[m\]: planned, built.
    Throw(f64, f64),
    /// Another run time \[min\]: planned, built.
    Minutes(f64, f64),
}

impl Comparison {
    /// Reads the filled-in list and compares it with the plan.
    ///
    /// # Errors
    /// `IN01` when there is no such list; `PA04` when it cannot be read, has no rows of this parcel, or
    /// names heads that the plan does not have; `IN07` for cells that are no numbers or below zero.
    pub fn read(path: &Path, dossier: &Dossier) -> Result<Comparison, Issue> {
        if let Err(fault) = File::open(path) {
            let file = path.display().to_string();
            return Err(Issue::new(Code::IN01, fault.to_string()).in_file(file));
        }
        let rows = read_table(path, Code::PA04, |row| {
            row.text("parcel_id") == dossier.id
                && (!row.text("head_id").is_empty() || row.text("do") == "reset clock")
        })?;
        let file = path.display().to_string();
        let wrong = |found: String| Issue::new(Code::PA04, found).in_file(file.clone());
        if rows.is_empty() {
            return Err(wrong("it has no rows of this parcel".to_owned()));
        }
        if !rows.iter().any(|row| row.has("as_built_nozzle")) {
            return Err(wrong("it has no column as_built_nozzle".to_owned()));
        }
        let planned: Vec<&PlannedRow> = dossier
            .walk
            .iter()
            .filter(|row| !row.text("head_id").is_empty())
            .collect();
        let mut comparison = Comparison {
            planned: planned.len(),
            is_clock_reported: true,
            ..Comparison::default()
        };
        for row in &rows {
            let id = row.text("head_id");
            if !id.is_empty() && !planned.iter().any(|own| own.text("head_id") == id) {
                let mut issue = wrong(format!("the plan has no head `{id}`"));
                issue.place.spot = row.spot("head_id");
                return Err(issue);
            }
            for column in ["arc_deg", "throw_m", "minutes", "kpa"] {
                let column = format!("as_built_{column}");
                let text = row.text(&column).trim();
                let is_amount = row.number(&column).is_some_and(|number| number >= 0.0);
                if !text.is_empty() && !is_amount {
                    let found = format!("head `{id}`: {column} = `{text}`");
                    let mut issue = Issue::new(Code::IN07, found).in_file(file);
                    issue.place.spot = row.spot(&column);
                    return Err(issue);
                }
            }
        }
        for plan in planned {
            let own = rows
                .iter()
                .find(|row| row.text("head_id") == plan.text("head_id"));
            comparison.compare_head(plan, own);
        }
        comparison.compare_clock(dossier, &rows);
        Ok(comparison)
    }

    fn compare_head(&mut self, plan: &PlannedRow, built: Option<&PlannedRow>) {
        let id = plan.text("head_id");
        let mut differs = |what| {
            self.differences.push(Difference {
                turf_id: plan.text("turf_id").to_owned(),
                head_id: id.to_owned(),
                what,
            });
        };
        let nozzle = built.map_or("", |row| row.text("as_built_nozzle").trim());
        let arc = built.and_then(|row| row.number("as_built_arc_deg"));
        let throw = built.and_then(|row| row.number("as_built_throw_m"));
        if nozzle.is_empty() && arc.is_none() && throw.is_none() {
            differs(What::Missing);
            return;
        }
        if !nozzle.is_empty() && nozzle != plan.text("fit") {
            differs(What::Nozzle(plan.text("fit").to_owned(), nozzle.to_owned()));
        }
        if let Some((planned, built)) = plan.number("arc_deg").zip(arc)
            && (planned - built).abs() > ARC_SLACK_DEG
        {
            differs(What::Arc(planned, built));
        }
        if let Some((planned, built)) = plan.number("throw_m").zip(throw)
            && (planned - built).abs() > THROW_SLACK_FRAC * planned
        {
            differs(What::Throw(planned, built));
        }
        self.reported += 1;
        if let Some(built) = built {
            if let Some(kpa) = built.number("as_built_kpa") {
                self.pressures.push((id.to_owned(), kpa));
            }
            let note = built.text("as_built_note").trim();
            if !note.is_empty() {
                self.notes.push((id.to_owned(), note.to_owned()));
            }
        }
    }

    fn compare_clock(&mut self, dossier: &Dossier, rows: &[PlannedRow]) {
        for area in &dossier.areas {
            if area.schedule.is_none() {
                continue;
            }
            let mut own = rows.iter().filter(|row| row.text("turf_id") == area.id);
            let built = own.find_map(|row| {
                let minutes = row.number("as_built_minutes")?;
                let is_same = |plan: &&PlannedRow| {
                    let same = |column| plan.text(column) == row.text(column);
                    same("turf_id") && same("head_id")
                };
                let plan = dossier.walk.iter().find(is_same)?;
                Some((plan.number("minutes_after")?, minutes))
            });
            match built {
                None => self.is_clock_reported = false,
                Some((planned, built))
                    if (built - planned).abs() > MINUTES_SLACK_FRAC * planned =>
                {
                    self.differences.push(Difference {
                        turf_id: area.id.clone(),
                        head_id: String::new(),
                        what: What::Minutes(planned, built),
                    });
                }
                Some(_) => {}
            }
        }
    }

    /// The comparison as text for a terminal.
    #[must_use]
    pub fn to_text(&self, dossier: &Dossier) -> String {
        let mut out = format!(
            "{} of {} heads reported, {} differences\n",
            self.reported,
            self.planned,
            self.differences.len()
        );
        for difference in &self.differences {
            out.push_str(&format!("  {}\n", difference.sentence(dossier, Units::Si)));
        }
        if !self.is_clock_reported {
            out.push_str("  The clock was not reported for every turf area: was it reset?\n");
        }
        out
    }
}

impl Difference {
    fn sentence(&self, dossier: &Dossier, units: Units) -> String {
        let head = dossier.head_label(&self.turf_id, &self.head_id);
        match &self.what {
            What::Missing => format!("head {head}: not reported"),
            What::Nozzle(planned, built) => {
                format!("head {head}: nozzle {built} instead of {planned}")
            }
            What::Arc(planned, built) => format!("head {head}: arc {built}° instead of {planned}°"),
            What::Throw(planned, built) => {
                let (planned_text, built_text) =
                    (units.length(Some(*planned)), units.length(Some(*built)));
                let reduced = 1.0 - built / planned;
                let warning = if reduced > MOST_REDUCED_FRAC {
                    "; reduced by more than 25 %: fit a smaller nozzle"
                } else {
                    ""
                };
                format!("head {head}: throw {built_text} instead of {planned_text}{warning}")
            }
            What::Minutes(planned, built) => format!(
                "turf area {}: {} minutes a day keyed in instead of {}",
                self.turf_id,
                figure(Some(*built), 0),
                figure(Some(*planned), 0)
            ),
        }
    }
}

/// The comparison as a part of the sheet, over its whole width.
pub(super) fn compared(
    built: &Comparison,
    dossier: &Dossier,
    units: Units,
    paper: &Paper,
) -> Block {
    let number = |head: &str| head.rsplit('/').next().unwrap_or("").to_owned();
    let differences = built.differences.iter();
    let differences: Vec<String> = differences
        .map(|difference| difference.sentence(dossier, units))
        .collect();
    let pressures = built.pressures.iter();
    let pressures: Vec<String> = pressures
        .map(|(head, kpa)| format!("{} {}", number(head), units.pressure(Some(*kpa))))
        .collect();
    let pressures = format!("Pressures read: {}.", pressures.join(", "));
    let markup = html! {
        section {
            h2 { "As built" }
            p {
                (built.reported) " of " (built.planned) " heads reported, "
                (differences.len()) " differences from the plan."
                @if !built.is_clock_reported {
                    strong { " The clock was not reported for every turf area: was it reset?" }
                }
            }
            @if !differences.is_empty() {
                ul class="two" { @for difference in &differences { li { (difference) } } }
            }
            @if !built.pressures.is_empty() { p { (pressures) } }
            @if !built.notes.is_empty() {
                ul { @for (head, note) in &built.notes { li { (number(head)) ": " bdi { (note) } } } }
            }
        }
    };
    let width_mm = paper.inner_width_mm();
    let listed: f64 = differences
        .iter()
        .map(|text| lines(text, 0.45 * width_mm))
        .sum();
    let noted: f64 = built
        .notes
        .iter()
        .map(|(_, note)| lines(note, 0.9 * width_mm))
        .sum();
    let others = 3.0 + lines(&pressures, width_mm);
    Block {
        height_mm: HEADING_MM + LINE_MM * 1.1 * (listed / 2.0 + noted + others),
        markup,
    }
}
