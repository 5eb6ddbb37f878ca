//! The field form: as it goes out, and as it comes back.

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::{Value, json};

use super::inspect::counted;
use super::table::{Table, thousands};
use crate::assumptions::{Assumptions, Key};
use crate::issue::{Code, Issue};
use crate::program::{Counts, Finding, Planned, Realisation, Why, realisation};
use crate::read::sheet::{Sheet, text};
use crate::write::text::{csv_cell, rounded};

/// Titles of the form: what is planned, then what the inspector fills in.
const TITLES: &str = "parcel_id,stratum,why,best_scenario,claimed_m3_yr,stations,nozzles,bodies,\
    catch_test,visited_on,inspector,nozzles_found,bodies_found,stations_whole,far_kpa,clock_reset,\
    catch_du_lq,verified_m3_yr,note";
/// Cells that the inspector fills in.
const EMPTY: &str = ",,,,,,,,,,";

/// A parcel to visit.
#[derive(Debug, Clone)]
pub(super) struct Visit {
    pub(super) parcel_id: String,
    pub(super) scenario: String,
    pub(super) stations: u64,
    pub(super) planned: Planned,
}

/// The sample: each visit with its stratum, why, and whether it has a catch test.
pub(super) struct Form {
    pub(super) rows: Vec<(Visit, usize, Why, bool)>,
    pub(super) strata: Vec<String>,
    /// How many parcels of each stratum the drawn ones stand for.
    pub(super) drawn_from: Vec<usize>,
    /// How many parcels there are in all.
    pub(super) of: usize,
    pub(super) seed: u64,
}

impl Form {
    /// The form as a table.
    pub(super) fn csv(&self) -> String {
        let mut out = format!("{TITLES}\n");
        for (visit, stratum, why, catch) in &self.rows {
            out.push_str(&format!(
                "{},{},{},{},{},{},{},{},{}{EMPTY}\n",
                csv_cell(&visit.parcel_id),
                csv_cell(&self.strata[*stratum]),
                why.text(),
                csv_cell(&visit.scenario),
                rounded(visit.planned.claimed_m3_yr, 3).unwrap_or_default(),
                visit.stations,
                visit.planned.nozzles,
                visit.planned.bodies,
                if *catch { "yes" } else { "no" },
            ));
        }
        out
    }

    /// What is told of the sample.
    pub(super) fn text(&self, strata: &[String]) -> String {
        let certain = |wanted: Why| self.rows.iter().filter(|row| row.2 == wanted).count();
        let tests = self.rows.iter().filter(|row| row.3).count();
        let mut table = Table::new(&["stratum", ">parcels", ">drawn"]);
        for (stratum, name) in strata.iter().enumerate() {
            let own = self.rows.iter().filter(|row| row.1 == stratum);
            table.row(vec![
                name.clone(),
                thousands(self.drawn_from[stratum] as f64),
                thousands(own.filter(|row| row.2 == Why::Drawn).count() as f64),
            ]);
        }
        format!(
            "Visit {} of {} (seed {}): {} with a large claim, {} flagged, {} drawn; catch tests at {}\n{}",
            thousands(self.rows.len() as f64),
            counted(
                self.of,
                "parcel that may be paid",
                "parcels that may be paid"
            ),
            self.seed,
            certain(Why::Large),
            certain(Why::Flagged),
            certain(Why::Drawn),
            tests,
            table.text("  "),
        )
    }
}

/// What came back.
pub(super) struct Found {
    pub(super) realisation: Realisation,
    /// Visits of the sample without findings.
    pub(super) missing: Option<Issue>,
    /// What the run supposed to be realised.
    assumed_frac: f64,
    catch_du_lq: Vec<f64>,
    far_kpa: Vec<f64>,
    /// Visits on which a station was mixed, and on which the clock was not reset.
    mixed: usize,
    unset: usize,
}

/// Where the columns of a form stand.
struct Columns {
    id: usize,
    nozzles: usize,
    bodies: usize,
    whole: usize,
    reset: usize,
    kpa: Option<usize>,
    du: Option<usize>,
    verified: Option<usize>,
}

/// Reads a form that was filled in.
///
/// # Errors
/// `IN01`, `IN07` for a bad cell, `IN08` for a missing column, `IN09` for a parcel that stands
/// twice, `PR06` for one that is not in the sample, `PR08` without any finding.
pub(super) fn read_findings(
    path: &Path,
    form: &Form,
    assumptions: &Assumptions,
) -> Result<Found, Issue> {
    let mut sheet = Sheet::open(path)?;
    let columns = Columns {
        id: sheet.needed("parcel_id")?,
        nozzles: sheet.needed("nozzles_found")?,
        bodies: sheet.needed("bodies_found")?,
        whole: sheet.needed("stations_whole")?,
        reset: sheet.needed("clock_reset")?,
        kpa: sheet.column("far_kpa"),
        du: sheet.column("catch_du_lq"),
        verified: sheet.column("verified_m3_yr"),
    };
    let rows: BTreeMap<&str, usize> = form
        .rows
        .iter()
        .enumerate()
        .map(|(row, (visit, ..))| (visit.parcel_id.as_str(), row))
        .collect();
    let unset_frac = assumptions.number(Key::InspectUnset);
    let mut seen = vec![false; form.rows.len()];
    let mut visited = vec![false; form.rows.len()];
    let mut findings = Vec::new();
    let (mut catch_du_lq, mut far_kpa, mut mixed, mut unset) = (Vec::new(), Vec::new(), 0, 0);
    while let Some(cells) = sheet.next_row()? {
        let id = text(&cells, columns.id);
        let Some(&row) = rows.get(id) else {
            let found = format!("`{id}` is not in the sample of {} visits", rows.len());
            return Err(sheet.at_row(Code::PR06, &found));
        };
        if std::mem::replace(&mut seen[row], true) {
            return Err(sheet.at_row(Code::IN09, &format!("`{id}`")));
        }
        let (visit, stratum, why, _) = &form.rows[row];
        if let Some(column) = columns.kpa {
            far_kpa.extend(sheet.amount(&cells, column)?);
        }
        if let Some(column) = columns.du {
            let du = sheet.amount(&cells, column)?;
            if du.is_some_and(|du| du > 1.0) {
                return Err(sheet.bad_cell(&cells, column, "is above 1"));
            }
            catch_du_lq.extend(du);
        }
        let Some((counts, measured)) = counts(&sheet, &cells, &columns, visit)? else {
            continue;
        };
        visited[row] = true;
        if let Some(counts) = counts {
            mixed += usize::from(!counts.stations_whole);
            unset += usize::from(!counts.clock_reset);
        }
        let claimed_m3_yr = visit.planned.claimed_m3_yr;
        let counted_m3_yr = counts.map(|counts| claimed_m3_yr * counts.verified_frac(unset_frac));
        findings.push(Finding {
            // Those that are visited for certain stand for nobody but themselves.
            stratum: if *why == Why::Drawn {
                *stratum
            } else {
                form.strata.len()
            },
            claimed_m3_yr,
            verified_m3_yr: measured.or(counted_m3_yr).unwrap_or(0.0),
        });
    }
    let mut population = form.drawn_from.clone();
    population.push(form.rows.iter().filter(|row| row.2 != Why::Drawn).count());
    let missing = missing(form, &visited, path);
    let Some(realisation) = realisation(&findings, &population) else {
        return Err(Issue::new(Code::PR08, "").in_file(path.display().to_string()));
    };
    Ok(Found {
        realisation,
        missing,
        assumed_frac: assumptions.number(Key::SavingsRealisation),
        catch_du_lq,
        far_kpa,
        mixed,
        unset,
    })
}

/// What a row says: what was counted, and what was measured \[m³/yr\].
type Looked = (Option<Counts>, Option<f64>);

/// What a row says; `None` for a parcel that nobody visited.
fn counts(
    sheet: &Sheet,
    cells: &[String],
    columns: &Columns,
    visit: &Visit,
) -> Result<Option<Looked>, Issue> {
    let whole_number = |column: usize| -> Result<Option<u64>, Issue> {
        match sheet.amount(cells, column)? {
            Some(number) if number.fract() != 0.0 || number > 1e9 => {
                Err(sheet.bad_cell(cells, column, "is not a whole number"))
            }
            number => Ok(number.map(|number| number as u64)),
        }
    };
    let measured = match columns.verified {
        Some(column) => sheet.number(cells, column)?,
        None => None,
    };
    let nozzles = whole_number(columns.nozzles)?;
    let bodies = whole_number(columns.bodies)?;
    let whole = sheet.yes_or_no(cells, columns.whole)?;
    let reset = sheet.yes_or_no(cells, columns.reset)?;
    let Some(nozzles) = nozzles else {
        if bodies.is_some() || whole.is_some() || reset.is_some() {
            return Err(sheet.bad_cell(cells, columns.nozzles, "is empty on a visited parcel"));
        }
        return Ok(measured.map(|measured| (None, Some(measured))));
    };
    let needed = |answer: Option<bool>, column| {
        answer.ok_or_else(|| sheet.bad_cell(cells, column, "is empty on a visited parcel"))
    };
    let bodies_planned = visit.planned.bodies;
    let bodies = match bodies {
        Some(bodies) => bodies,
        None if bodies_planned == 0 => 0,
        None => {
            return Err(sheet.bad_cell(cells, columns.bodies, "is empty where bodies are planned"));
        }
    };
    let counts = Counts {
        nozzles_planned: visit.planned.nozzles,
        nozzles,
        bodies_planned,
        bodies,
        stations_whole: needed(whole, columns.whole)?,
        clock_reset: needed(reset, columns.reset)?,
    };
    Ok(Some((Some(counts), measured)))
}

/// The issue of visits without findings, if there are any.
fn missing(form: &Form, visited: &[bool], path: &Path) -> Option<Issue> {
    /// How many are named.
    const NAMED: usize = 5;
    let without: Vec<&str> = form
        .rows
        .iter()
        .zip(visited)
        .filter(|(_, visited)| !**visited)
        .map(|((visit, ..), _)| visit.parcel_id.as_str())
        .collect();
    if without.is_empty() {
        return None;
    }
    let mut found = format!(
        "{} of {}: {}",
        without.len(),
        form.rows.len(),
        without[..without.len().min(NAMED)].join(", ")
    );
    if without.len() > NAMED {
        found.push_str(" and more");
    }
    Some(Issue::new(Code::PR07, found).in_file(path.display().to_string()))
}

impl Found {
    /// The realisation that the findings give: the assumed one times the ratio, with its interval,
    /// held to shares.
    fn realised(&self) -> [f64; 3] {
        let Realisation {
            ratio, low, high, ..
        } = self.realisation;
        [low, ratio, high].map(|ratio| (self.assumed_frac * ratio).clamp(0.0, 1.0))
    }

    /// What is printed.
    pub(super) fn text(&self) -> String {
        let Realisation {
            ratio,
            low,
            high,
            visits,
        } = self.realisation;
        let [least, realised, most] = self.realised();
        let mut out = format!(
            "Verified over claimed: {ratio:.3} (90 % interval {low:.3} to {high:.3}), from {}\n",
            counted(visits, "visit", "visits")
        );
        if self.mixed + self.unset > 0 {
            out.push_str(&format!(
                "  stations left mixed on {}; clock not reset on {}\n",
                self.mixed, self.unset
            ));
        }
        if let Some(mean) = mean(&self.catch_du_lq) {
            let count = self.catch_du_lq.len();
            out.push_str(&format!("  catch tests {count}, mean DU {mean:.2}\n"));
        }
        if let Some(mean) = mean(&self.far_kpa) {
            let least_kpa = self.far_kpa.iter().copied().fold(f64::INFINITY, f64::min);
            let count = self.far_kpa.len();
            out.push_str(&format!(
                "  far pressures {count}, mean {mean:.0} kPa, least {least_kpa:.0} kPa\n"
            ));
        }
        out.push_str(&format!(
            "Plan again with --set savings.realisation_frac={realised:.4}  (it was {}; interval {least:.4} to {most:.4})\n",
            self.assumed_frac
        ));
        out
    }

    /// `realisation.json`.
    pub(super) fn json(&self) -> String {
        let number = |value: f64| -> Value {
            rounded(value, 4)
                .and_then(|text| serde_json::from_str(&text).ok())
                .unwrap_or(Value::Null)
        };
        let [low, central, high] = self.realised().map(number);
        let whole = json!({
            "visits": self.realisation.visits,
            "verified_over_claimed": {
                "low": number(self.realisation.low),
                "central": number(self.realisation.ratio),
                "high": number(self.realisation.high),
                "interval": 0.9,
            },
            "assumed_realisation_frac": number(self.assumed_frac),
            "realisation_frac": {"low": low, "central": central, "high": high},
            "stations_mixed": self.mixed,
            "clock_not_reset": self.unset,
            "catch_tests": self.catch_du_lq.len(),
            "catch_du_lq_mean": mean(&self.catch_du_lq).map(number),
            "far_pressures": self.far_kpa.len(),
            "far_kpa_mean": mean(&self.far_kpa).map(number),
        });
        format!("{whole:#}\n")
    }
}

fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}
