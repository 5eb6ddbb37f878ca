//! `evenfall inspect`: which parcels to look at in the field, and what the findings say.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use clap::Args;

use super::findings::{Form, Visit, read_findings};
use super::finished::{AnswerArgs, Beside, Finished};
use super::receipts::{read_receipts, receipts_csv, receipts_text};
use super::screen::{Ending, print, tell, tell_issue};
use super::table::thousands;
use crate::assumptions::{Assumptions, Key};
use crate::issue::{Code, Issue};
use crate::program::{Checked, Planned, RebateRule, Site, Words, check_receipts, sample};
use crate::read::sheet::{Sheet, text};

/// Flags of a parcel that ask for a visit.
const VISIT_FLAGS: [&str; 1] = ["saving-above-evidence"];

/// Draw a seeded sample of parcels to verify in the field, or read the findings back.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: evenfall inspect out > form.csv; fill in the form; evenfall inspect out --findings form.csv\n\n\
    With -o the answer is written to form.csv, or realisation.json, and receipts.csv.\n\n\
    Every parcel with a claim of inspection.large_m3_yr or more is visited, every flagged one, and \
    of the others a share of each stratum. Findings are read against the same sample: give the \
    same options again."
)]
pub(super) struct InspectArgs {
    /// Folder of a finished run.
    #[arg(value_name = "DIR")]
    folder: PathBuf,

    /// The form filled in: says how much of what was claimed was verified.
    #[arg(long, value_name = "CSV")]
    findings: Option<PathBuf>,

    /// Receipts to check against the plan: parcel_id, receipt_no, and any of date, nozzles, bodies,
    /// paid_cur, address. Parcels whose receipts ask for a look are visited.
    #[arg(long, value_name = "CSV")]
    receipts: Option<PathBuf>,

    /// Only the parcels of this table, by its column parcel_id; allotment.csv for instance.
    #[arg(long, value_name = "CSV")]
    among: Option<PathBuf>,

    /// Column by which parcels are put into strata, of parcels.csv or ranked.csv.
    #[arg(long, value_name = "COLUMN", default_value = "best_scenario")]
    strata: String,

    /// Share of each stratum that is visited [default: inspection.share_frac of the run].
    #[arg(long, value_name = "SHARE")]
    share: Option<f64>,

    /// Claim from which a parcel is always visited, in m³ a year [default:
    /// inspection.large_m3_yr of the run].
    #[arg(long, value_name = "M3")]
    large: Option<f64>,

    /// Seed of the sample [default: that of the run].
    #[arg(long, value_name = "N")]
    seed: Option<u64>,

    #[command(flatten)]
    answer: AnswerArgs,
}

/// A parcel that the program may pay.
struct Parcel {
    visit: Visit,
    stratum: usize,
    flagged: bool,
}

pub(super) fn run(args: &InspectArgs) -> Result<u8, Ending> {
    args.answer.check()?;
    let finished = Finished::open(&args.folder)?;
    let assumptions = assumed(args, &finished)?;
    let mut plan = Plan::read(args, &finished)?;
    let checked = match &args.receipts {
        Some(path) => {
            let receipts = read_receipts(path)?;
            let rule = RebateRule::assumed(&assumptions);
            let over_frac = assumptions.number(Key::InspectOverPlan);
            Some(check_receipts(
                &receipts,
                |id| plan.planned.get(id),
                &rule,
                over_frac,
            ))
        }
        None => None,
    };
    plan.flag(checked.as_deref().unwrap_or_default());
    let form = plan.form(&assumptions, args.seed.unwrap_or(finished.seed))?;
    let mut files: Vec<(&str, String)> = Vec::new();
    let mut told = String::new();
    if let Some(checked) = &checked {
        files.push(("receipts.csv", receipts_csv(checked)));
        told.push_str(&receipts_text(checked));
    }
    let mut status = 0;
    if let Some(path) = &args.findings {
        let found = read_findings(path, &form, &assumptions)?;
        if let Some(issue) = &found.missing {
            tell_issue(issue);
            status = issue.code.exit_status();
        }
        files.push(("realisation.json", found.json()));
        told.push_str(&found.text());
    } else {
        let text = form.csv();
        if args.answer.output.is_none() {
            print(&text)?;
        }
        files.push(("form.csv", text));
        told.push_str(&form.text(&plan.strata));
    }
    args.answer.write(&files)?;
    if args.answer.quiet {
        return Ok(status);
    }
    if args.answer.output.is_none() && args.findings.is_none() {
        // The form has stdout for itself.
        tell(told.trim_end());
    } else {
        print(&told)?;
    }
    Ok(status)
}

/// The assumptions of the run with what was typed on top, checked by their bounds.
fn assumed(args: &InspectArgs, finished: &Finished) -> Result<Assumptions, Issue> {
    let mut assumptions = finished.assumptions.clone();
    for (key, value) in [
        (Key::InspectShare, args.share),
        (Key::InspectLarge, args.large),
    ] {
        if let Some(value) = value {
            assumptions = assumptions.with_setting(&format!("{}={value}", key.text()))?;
        }
    }
    Ok(assumptions)
}

/// What the plan says of every parcel.
struct Plan {
    parcels: Vec<Parcel>,
    planned: BTreeMap<String, Planned>,
    /// Names of the strata.
    strata: Vec<String>,
}

impl Plan {
    fn read(args: &InspectArgs, finished: &Finished) -> Result<Plan, Issue> {
        let among = args.among.as_deref().map(ids_of).transpose()?;
        let mut sheet = finished.table("parcels.csv")?;
        let mut beside = Beside::open(finished, &sheet, &[&args.strata])?;
        let columns = [
            "parcel_id",
            "best_scenario",
            "claimed_m3_yr",
            "rebate_cur",
            "eligible",
            "turf_m2",
            "stations",
            "nozzles",
            "bodies",
            "flags",
        ];
        let mut at = [0; 10];
        for (at, title) in at.iter_mut().zip(columns) {
            *at = sheet.needed(title)?;
        }
        let [
            id,
            scenario,
            claimed,
            rebate,
            eligible,
            turf,
            stations,
            nozzles,
            bodies,
            flags,
        ] = at;
        let mut plan = Plan {
            parcels: Vec::new(),
            planned: BTreeMap::new(),
            strata: Vec::new(),
        };
        while let Some(cells) = sheet.next_row()? {
            let count = |column| -> Result<u64, Issue> {
                Ok(sheet.amount(&cells, column)?.unwrap_or(0.0) as u64)
            };
            let parcel_id = text(&cells, id).to_owned();
            let planned = Planned {
                nozzles: count(nozzles)?,
                bodies: count(bodies)?,
                turf_m2: sheet.amount(&cells, turf)?.unwrap_or(0.0),
                claimed_m3_yr: sheet.number(&cells, claimed)?.unwrap_or(0.0),
                ceiling_cur: sheet.amount(&cells, rebate)?.unwrap_or(0.0),
                eligible: sheet.yes_or_no(&cells, eligible)? == Some(true),
            };
            plan.planned.insert(parcel_id.clone(), planned);
            let values = beside.values(&cells, &parcel_id);
            let is_among = among
                .as_ref()
                .is_none_or(|among| among.contains(&parcel_id));
            if !(planned.eligible && planned.claimed_m3_yr > 0.0 && is_among) {
                continue;
            }
            let name = values.first().map_or("", String::as_str);
            let stratum = match plan.strata.iter().position(|known| known == name) {
                Some(stratum) => stratum,
                None => {
                    plan.strata.push(name.to_owned());
                    plan.strata.len() - 1
                }
            };
            plan.parcels.push(Parcel {
                visit: Visit {
                    parcel_id,
                    scenario: text(&cells, scenario).to_owned(),
                    stations: count(stations)?,
                    planned,
                },
                stratum,
                flagged: text(&cells, flags)
                    .split(';')
                    .any(|flag| VISIT_FLAGS.contains(&flag)),
            });
        }
        if let Some(unknown) = among
            .iter()
            .flatten()
            .find(|id| !plan.planned.contains_key(*id))
        {
            return Err(Issue::new(Code::PR06, format!("--among: `{unknown}`")));
        }
        Ok(plan)
    }

    /// Marks parcels whose receipts ask for a look.
    fn flag(&mut self, checked: &[Checked]) {
        let doubtful = checked.iter().filter(|own| !own.doubts.is_empty());
        let ids: BTreeSet<&str> = doubtful.map(|own| own.parcel_id.as_str()).collect();
        for parcel in &mut self.parcels {
            parcel.flagged |= ids.contains(parcel.visit.parcel_id.as_str());
        }
    }

    /// Draws the sample.
    fn form(&self, assumptions: &Assumptions, seed: u64) -> Result<Form, Issue> {
        if self.parcels.is_empty() {
            let found = "there is nobody to visit: no parcel has a claim and may be paid";
            return Err(Issue::new(Code::PR04, found));
        }
        let sites: Vec<Site> = self
            .parcels
            .iter()
            .map(|parcel| Site {
                stratum: parcel.stratum,
                claimed_m3_yr: parcel.visit.planned.claimed_m3_yr,
                flagged: parcel.flagged,
            })
            .collect();
        let number = |key| assumptions.number(key);
        let large_m3_yr = number(Key::InspectLarge);
        let visits = sample(&sites, number(Key::InspectShare), large_m3_yr, seed);
        let mut order: Vec<usize> = (0..visits.len()).collect();
        Words::of(seed, "catch test").shuffle(&mut order);
        let tests = (number(Key::InspectCatch) * visits.len() as f64 - 1e-9).ceil() as usize;
        order.truncate(tests);
        let drawn_from: Vec<usize> = (0..self.strata.len())
            .map(|stratum| {
                let own = sites.iter().filter(|site| site.stratum == stratum);
                own.filter(|site| !site.flagged && site.claimed_m3_yr < large_m3_yr)
                    .count()
            })
            .collect();
        Ok(Form {
            rows: visits
                .iter()
                .enumerate()
                .map(|(row, &(i, why))| {
                    let parcel = &self.parcels[i];
                    (
                        parcel.visit.clone(),
                        parcel.stratum,
                        why,
                        order.contains(&row),
                    )
                })
                .collect(),
            strata: self.strata.clone(),
            drawn_from,
            of: self.parcels.len(),
            seed,
        })
    }
}

/// The ids of a table.
fn ids_of(path: &std::path::Path) -> Result<BTreeSet<String>, Issue> {
    let mut sheet = Sheet::open(path)?;
    let id = sheet.needed("parcel_id")?;
    let mut ids = BTreeSet::new();
    while let Some(cells) = sheet.next_row()? {
        ids.insert(text(&cells, id).to_owned());
    }
    Ok(ids)
}

/// A count as text with a word that follows it.
pub(super) fn counted(count: usize, one: &str, many: &str) -> String {
    let word = if count == 1 { one } else { many };
    format!("{} {word}", thousands(count as f64))
}
