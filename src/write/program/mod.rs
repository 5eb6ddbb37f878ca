//! The neighbourhood as a program sees it: the ranked list, the supply curve, totals by columns.
//!
//! A rank needs all parcels, so a small figure of each one with a claim is kept to the end: about
//! eighty bytes and its id.

use std::collections::BTreeMap;
use std::io;

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};

use crate::issue::Issue;
use crate::plan::ParcelPlan;
use crate::program::{Offer, known, supply_curve};
use crate::write::files::Sink;
use crate::write::layer::{Cell, Kind, Layer};
use crate::write::parcels::Parcels;
use crate::write::summary::number as rounded;

mod curve;
mod tables;

pub use curve::{Purchasable, StepShare};
use tables::ByRow;
pub use tables::{ByColumn, Ranked, SupplyCurve};

/// What a row and those before it add up to.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    claimed_m3_yr: f64,
    cost_cur: f64,
    rebate_cur: f64,
}

/// What parcels come to.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Totals {
    /// Parcels.
    pub parcels: u64,
    /// Of those, with a claim above zero.
    pub claiming: u64,
    /// Of those, that may be paid.
    pub eligible: u64,
    /// Turf \[m²\].
    pub turf_m2: f64,
    /// Water used as found \[m³/yr\].
    pub asfound_m3_yr: f64,
    /// As found less recommended \[m³/yr\].
    pub potential_m3_yr: f64,
    /// What may be claimed \[m³/yr\].
    pub claimed_m3_yr: f64,
    /// The same of parcels that may be paid \[m³/yr\].
    pub eligible_m3_yr: f64,
    /// Cost of what is recommended \[currency\].
    pub cost_cur: f64,
    /// Ceilings of the rebates \[currency\].
    pub rebate_cur: f64,
    /// What the rule alone would pay \[currency\].
    pub rebate_rule_cur: f64,
    /// Of the claims, those that rest on an assumed layout of what is in the ground \[m³/yr\].
    pub on_survey_m3_yr: f64,
    /// The rebates that stand only on a survey \[currency\].
    pub on_survey_rebate_cur: f64,
    /// Net present value for society where something changes \[currency\].
    pub npv_society_cur: f64,
    /// Net present value for the customers where it is known \[currency\].
    pub npv_customer_cur: f64,
    /// Net present value for the supplier where something is paid \[currency\].
    pub npv_supplier_cur: f64,
}

/// What a run comes to for the program.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ProgramTotals {
    /// Of all parcels.
    pub all: Totals,
    /// How many parcels each reason keeps from being paid, of those that have a claim.
    pub reasons: BTreeMap<String, u64>,
    /// By column, in the order asked for, the totals of each of its values.
    pub by: Vec<(String, BTreeMap<String, Totals>)>,
    /// What can be bought at or below the avoided cost.
    pub purchasable: Purchasable,
}

/// What one parcel adds.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Share {
    totals: Totals,
    /// Why it may not be paid, where it has a claim.
    reasons: Vec<String>,
    /// What puts it on the ranked list; `None` without a claim or a cost.
    offer: Option<OfferShare>,
    /// The steps that it offers, the cheapest cubic metre first.
    steps: Vec<StepShare>,
    /// Its values of the columns by which totals are made.
    by: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct OfferShare {
    scenario: String,
    cost_cur_m3: f64,
    /// Tenth and ninetieth percentile of its claim \[m³/yr\].
    range_m3_yr: Option<[f64; 2]>,
    /// Its tier; empty for a parcel with a meter.
    tier: String,
}

/// A parcel with a claim.
#[derive(Debug, Clone, Copy)]
struct Kept {
    claimed_m3_yr: f64,
    cost_cur_m3: f64,
    cost_cur: f64,
    rebate_cur: f64,
    /// NaN where it is not known.
    range_m3_yr: [f64; 2],
    /// Its place among the ids.
    id: usize,
    scenario: u32,
    tier: u32,
    eligible: bool,
}

/// A step of a parcel's ladder.
#[derive(Debug, Clone, Copy)]
struct KeptStep {
    /// Its place among the ids.
    id: usize,
    /// Its number on the ladder of its parcel, from 1.
    rung: u32,
    scenario: u32,
    cost_cur_m3: f64,
    cost_cur: f64,
    saved_m3_yr: f64,
    claimed_m3_yr: f64,
    rebate_cur: f64,
    /// What is paid at most beyond the step before.
    more_rebate_cur: f64,
    within_avoided: bool,
    recommended: bool,
    on_survey: bool,
}

/// The figures of a run, gathered parcel by parcel in input order.
#[derive(Debug, Clone, Default)]
pub struct Sheet {
    totals: ProgramTotals,
    kept: Vec<Kept>,
    steps: Vec<KeptStep>,
    ids: String,
    /// Where each id ends in their text.
    id_ends: Vec<usize>,
    /// For each kept parcel the words of its `by` columns.
    groups: Vec<u32>,
    words: Vec<String>,
    word_numbers: BTreeMap<String, u32>,
}

impl Sheet {
    /// An empty sheet with totals by these columns: of the parcel layer, or of `parcels.csv`.
    /// `attributes` are the columns of the parcel layer; `None` where they are not known.
    ///
    /// # Errors
    /// `PR01` for a column that is not there, with the nearest name that is.
    pub fn by(columns: &[String], attributes: Option<&[&str]>) -> Result<Sheet, Issue> {
        if let Some(attributes) = attributes {
            let own = Parcels::COLUMNS.iter().map(|column| column.facts.name);
            let names = attributes.iter().copied().chain(own);
            for column in columns {
                known("column", column, names.clone())?;
            }
        }
        let by = columns
            .iter()
            .map(|column| (column.clone(), BTreeMap::new()));
        Ok(Sheet {
            totals: ProgramTotals {
                by: by.collect(),
                ..ProgramTotals::default()
            },
            ..Sheet::default()
        })
    }

    /// Adds one parcel.
    pub fn add(&mut self, id: &str, share: &Share) {
        self.totals.all.add(&share.totals);
        for ((_, groups), value) in self.totals.by.iter_mut().zip(&share.by) {
            groups.entry(value.clone()).or_default().add(&share.totals);
        }
        for reason in &share.reasons {
            *self.totals.reasons.entry(reason.clone()).or_default() += 1;
        }
        self.totals.purchasable.add(&Purchasable::of(&share.steps));
        if share.steps.is_empty() && share.offer.is_none() {
            return;
        }
        self.ids.push_str(id);
        self.id_ends.push(self.ids.len());
        let id = self.id_ends.len() - 1;
        let mut before_cur = 0.0;
        for (rung, step) in (1..).zip(&share.steps) {
            let scenario = self.word(&step.scenario);
            self.steps.push(KeptStep {
                id,
                rung,
                scenario,
                cost_cur_m3: step.cost_cur_m3,
                cost_cur: step.cost_cur,
                saved_m3_yr: step.saved_m3_yr,
                claimed_m3_yr: step.claimed_m3_yr,
                rebate_cur: step.rebate_cur,
                more_rebate_cur: step.rebate_cur - before_cur,
                within_avoided: step.within_avoided,
                recommended: step.recommended,
                on_survey: step.on_survey,
            });
            before_cur = step.rebate_cur;
        }
        let Some(offer) = &share.offer else { return };
        let scenario = self.word(&offer.scenario);
        let tier = self.word(&offer.tier);
        self.kept.push(Kept {
            claimed_m3_yr: share.totals.claimed_m3_yr,
            cost_cur_m3: offer.cost_cur_m3,
            cost_cur: share.totals.cost_cur,
            rebate_cur: share.totals.rebate_cur,
            range_m3_yr: offer.range_m3_yr.unwrap_or([f64::NAN; 2]),
            id,
            scenario,
            tier,
            eligible: share.totals.eligible > 0,
        });
        for value in &share.by {
            let number = self.word(value);
            self.groups.push(number);
        }
    }

    /// The number of a word; words are few.
    fn word(&mut self, word: &str) -> u32 {
        if let Some(&number) = self.word_numbers.get(word) {
            return number;
        }
        let number = self.words.len() as u32; // fewer than parcels, and those have 32 bits
        self.words.push(word.to_owned());
        self.word_numbers.insert(word.to_owned(), number);
        number
    }

    fn id(&self, at: usize) -> &str {
        let start = at.checked_sub(1).map_or(0, |before| self.id_ends[before]);
        &self.ids[start..self.id_ends[at]]
    }

    /// The tables of the program by name, each with what writes it.
    pub(super) fn files(&self) -> Vec<String> {
        let mut names = vec!["ranked.csv".to_owned(), "supply_curve.csv".to_owned()];
        for (column, _) in &self.totals.by {
            let plain = by_name(column);
            // Two columns may differ only in what a file name cannot hold.
            let again = names.iter().filter(|name| **name == plain).count();
            let place = names.len();
            names.push(match again {
                0 => plain,
                _ => plain.replace(".csv", &format!("-{place}.csv")),
            });
        }
        names
    }

    /// Writes the file of a place in [`Sheet::files`].
    pub(super) fn write(&self, place: usize, sink: &mut Sink) -> io::Result<()> {
        match place {
            0 => tables::write_ranked(self, sink),
            1 => tables::write_curve(self, sink),
            _ => match self.totals.by.get(place - 2) {
                Some((column, groups)) => tables::write_by(column, groups, sink),
                None => Ok(()),
            },
        }
    }

    /// What is known of the whole.
    pub(super) fn into_totals(self) -> ProgramTotals {
        self.totals
    }

    /// Steps by the cost of their cubic metre; ties in input order, so that the steps of a parcel
    /// stay in theirs.
    fn curve(&self) -> Vec<usize> {
        let mut order: Vec<usize> = (0..self.steps.len()).collect();
        order.sort_by(|&a, &b| {
            let (one, two) = (&self.steps[a], &self.steps[b]);
            one.cost_cur_m3.total_cmp(&two.cost_cur_m3).then(a.cmp(&b))
        });
        order
    }

    /// Kept parcels by the cost of a claimed cubic metre; ties in input order.
    fn order(&self) -> Vec<usize> {
        let offers: Vec<Offer> = self
            .kept
            .iter()
            .map(|kept| Offer {
                saving_m3_yr: kept.claimed_m3_yr,
                cost_cur_m3: Some(kept.cost_cur_m3),
                rebate_cur: kept.rebate_cur,
            })
            .collect();
        supply_curve(&offers)
            .iter()
            .map(|step| step.offer)
            .collect()
    }
}

impl Sums {
    fn add(&mut self, kept: &Kept) {
        self.claimed_m3_yr += kept.claimed_m3_yr;
        self.cost_cur += kept.cost_cur;
        self.rebate_cur += kept.rebate_cur;
    }
}

impl Share {
    /// Reads off what a parcel adds.
    #[must_use]
    pub fn of(parcel: &ParcelPlan) -> Share {
        let mut share = Share {
            totals: Totals::of(parcel),
            steps: StepShare::of(parcel),
            ..Share::default()
        };
        let (Some(account), Some(water)) = (&parcel.account, &parcel.water) else {
            return share;
        };
        if water.claimed_m3_yr > 0.0 {
            share.reasons.clone_from(&account.reasons);
            let savings = parcel.savings.as_ref();
            share.offer = account.cost_cur_m3.map(|cost_cur_m3| OfferShare {
                scenario: water.best_scenario.clone(),
                cost_cur_m3,
                range_m3_yr: savings.map(|savings| {
                    let claimed = &savings.claimed;
                    [claimed.p10_m3_yr, claimed.p90_m3_yr]
                }),
                tier: savings
                    .and_then(|savings| savings.tier)
                    .map_or(String::new(), |tier| tier.text().to_owned()),
            });
        }
        share
    }

    /// The steps that it offers, the cheapest cubic metre first.
    #[must_use]
    pub fn steps(&self) -> &[StepShare] {
        &self.steps
    }

    /// Adds the parcel's values of columns: of the parcel layer, else of `parcels.csv`.
    pub fn group(&mut self, parcel: &ParcelPlan, by: &[String]) {
        self.by = by.iter().map(|column| value_of(parcel, column)).collect();
    }
}

impl Totals {
    fn of(parcel: &ParcelPlan) -> Totals {
        let mut totals = Totals {
            parcels: 1,
            turf_m2: parcel.turf.iter().map(|turf| turf.area_m2).sum(),
            ..Totals::default()
        };
        let Some(water) = &parcel.water else {
            return totals;
        };
        totals.asfound_m3_yr = water.asfound_m3_yr;
        totals.potential_m3_yr = water.potential_m3_yr;
        totals.claimed_m3_yr = water.claimed_m3_yr;
        totals.claiming = u64::from(water.claimed_m3_yr > 0.0);
        let Some(account) = &parcel.account else {
            return totals;
        };
        if account.eligible() {
            totals.eligible = 1;
            totals.eligible_m3_yr = water.claimed_m3_yr;
        }
        totals.cost_cur = account.cost_cur.unwrap_or(0.0);
        totals.rebate_cur = account.rebate_cur;
        totals.rebate_rule_cur = account.rebate_rule_cur;
        if account.on_survey {
            totals.on_survey_m3_yr = water.claimed_m3_yr;
            totals.on_survey_rebate_cur = account.rebate_cur;
        }
        totals.npv_society_cur = account.npv_society_cur.unwrap_or(0.0);
        totals.npv_customer_cur = account.npv_customer_cur.unwrap_or(0.0);
        totals.npv_supplier_cur = account.npv_supplier_cur.unwrap_or(0.0);
        totals
    }

    fn add(&mut self, other: &Totals) {
        self.parcels += other.parcels;
        self.claiming += other.claiming;
        self.eligible += other.eligible;
        self.turf_m2 += other.turf_m2;
        self.asfound_m3_yr += other.asfound_m3_yr;
        self.potential_m3_yr += other.potential_m3_yr;
        self.claimed_m3_yr += other.claimed_m3_yr;
        self.eligible_m3_yr += other.eligible_m3_yr;
        self.cost_cur += other.cost_cur;
        self.rebate_cur += other.rebate_cur;
        self.rebate_rule_cur += other.rebate_rule_cur;
        self.on_survey_m3_yr += other.on_survey_m3_yr;
        self.on_survey_rebate_cur += other.on_survey_rebate_cur;
        self.npv_society_cur += other.npv_society_cur;
        self.npv_customer_cur += other.npv_customer_cur;
        self.npv_supplier_cur += other.npv_supplier_cur;
    }

    /// The columns of the table of totals but the first, as a member of `summary.json`.
    fn to_json(self) -> Value {
        let row = ByRow {
            value: "",
            totals: &self,
        };
        let columns = ByColumn::COLUMNS.iter().skip(1);
        let cells = columns.map(|column| {
            let cell = match ((column.read)(&row), column.facts.kind) {
                (Cell::Integer(count), _) => json!(count),
                (Cell::Number(value), Kind::Number(decimals)) => rounded(value, decimals),
                _ => Value::Null,
            };
            (column.facts.name.to_owned(), cell)
        });
        Value::Object(cells.collect())
    }
}

impl ProgramTotals {
    /// The member `program` of `summary.json`.
    #[must_use]
    pub fn to_json(&self) -> Value {
        let mut by = Map::new();
        for (column, groups) in &self.by {
            let rows: Vec<Value> = groups
                .iter()
                .map(|(value, totals)| {
                    let mut row = totals.to_json();
                    if let Some(row) = row.as_object_mut() {
                        row.shift_insert(0, "value".into(), json!(value));
                    }
                    row
                })
                .collect();
            by.insert(column.clone(), Value::Array(rows));
        }
        json!({
            "totals": self.all.to_json(),
            "ineligible": self.reasons,
            "purchasable": self.purchasable.to_json(),
            "by": by,
        })
    }
}

/// The value of a column: of the parcel layer, else of `parcels.csv`; empty where there is none.
fn value_of(parcel: &ParcelPlan, column: &str) -> String {
    if let Some(attribute) = parcel.attributes.get(column) {
        return attribute.text();
    }
    let own = Parcels::COLUMNS
        .iter()
        .find(|own| own.facts.name.eq_ignore_ascii_case(column));
    let Some(own) = own else {
        return String::new();
    };
    match (own.read)(&parcel) {
        Cell::Text(text) => text,
        other => {
            let mut text = String::new();
            own.facts.push_csv(&other, &mut text);
            text
        }
    }
}

/// The name of the table of totals by a column; what a file name cannot hold becomes a dash.
fn by_name(column: &str) -> String {
    let plain: String = column
        .chars()
        .map(|c| {
            if c.is_alphanumeric() || matches!(c, '_' | '.') {
                c
            } else {
                '-'
            }
        })
        .collect();
    format!("by-{plain}.csv")
}
