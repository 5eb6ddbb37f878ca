//! What is told of an allotment: on the screen, as a table, as JSON.

use serde_json::{Value, json};

use super::inspect::counted;
use super::table::{Table, thousands};
use crate::program::Allotment;
use crate::write::text::{csv_cell, rounded};

/// An option of a parcel that may be funded.
pub(super) struct Offer {
    pub(super) id: String,
    /// The number of its parcel among those with an offer.
    pub(super) parcel: usize,
    /// Up to which step of its ladder.
    pub(super) rung: u64,
    pub(super) scenario: String,
    pub(super) claimed_m3_yr: f64,
    pub(super) rebate_cents: u64,
    /// Its values of the columns that floors name.
    pub(super) values: Vec<String>,
}

/// A floor as it was asked for.
pub(super) struct Asked {
    pub(super) column: String,
    pub(super) value: String,
    pub(super) least_cents: u64,
}

/// Everything that was found out.
pub(super) struct Answer {
    pub(super) offers: Vec<Offer>,
    pub(super) asked: Vec<Asked>,
    pub(super) budget_cents: u64,
    pub(super) participation_frac: f64,
    /// What may be promised, since not all that are invited take part \[cents\].
    pub(super) promised_cents: u64,
    pub(super) best: Allotment,
    pub(super) curve: Vec<(u64, Allotment)>,
}

impl Answer {
    /// What is expected to be spent of promises \[cents\].
    fn spent_cents(&self, promised_cents: u64) -> u64 {
        (promised_cents as f64 * self.participation_frac).round() as u64
    }

    /// What goes to the parcels of a floor \[cents\].
    fn given_cents(&self, floor: usize) -> u64 {
        let wanted = &self.asked[floor].value;
        let chosen = self.best.chosen.iter().map(|&i| &self.offers[i]);
        let own = chosen.filter(|offer| offer.values[floor] == *wanted);
        self.spent_cents(own.map(|offer| offer.rebate_cents).sum())
    }

    fn gap(allotment: &Allotment) -> String {
        if allotment.is_optimal {
            "best".to_owned()
        } else {
            format!("{:.3} %", 100.0 * allotment.gap_frac())
        }
    }

    /// What is printed.
    pub(super) fn text(&self) -> String {
        let share = self.participation_frac;
        let best = &self.best;
        let spent_cents = self.spent_cents(best.cost_cents);
        // The last option of each parcel has all its steps.
        let last = |(at, offer): &(usize, &Offer)| {
            let next = self.offers.get(at + 1);
            next.is_none_or(|next| next.parcel != offer.parcel)
        };
        let whole: Vec<&Offer> = self
            .offers
            .iter()
            .enumerate()
            .filter(last)
            .map(|(_, offer)| offer)
            .collect();
        let all_cents: u64 = whole.iter().map(|offer| offer.rebate_cents).sum();
        let all_m3_yr: f64 = whole.iter().map(|offer| offer.claimed_m3_yr).sum();
        let mut out = format!(
            "{} may be paid, with {}; all steps of their ladders take {} for {} m³/yr claimed\n",
            counted(whole.len(), "parcel", "parcels"),
            counted(self.offers.len(), "option", "options"),
            money(all_cents),
            thousands(all_m3_yr),
        );
        if share < 1.0 {
            out.push_str(&format!(
                "assumed: {:.1} % of those invited take part, so {} may be promised; figures below are what to expect\n",
                100.0 * share,
                money(self.promised_cents)
            ));
        }
        let verb = if share < 1.0 { "invite" } else { "fund" };
        out.push_str(&format!(
            "\nBudget {}: {verb} {}, {} spent, {:.1} m³/yr claimed\n  \
             no choice claims more than {:.1} m³/yr; this one is {}\n",
            money(self.budget_cents),
            counted(best.chosen.len(), "parcel", "parcels"),
            money(spent_cents),
            share * best.saving_m3_yr,
            share * best.bound_m3_yr,
            match best.is_optimal {
                true => "proved to be the best".to_owned(),
                false => format!("within {} of that", Answer::gap(best)),
            },
        ));
        if !self.asked.is_empty() {
            let mut table = Table::new(&["floor", ">asked", ">given", "kept"]);
            for (at, floor) in self.asked.iter().enumerate() {
                let given_cents = self.given_cents(at);
                let kept = if given_cents >= floor.least_cents {
                    "yes"
                } else {
                    "no: they can use no more"
                };
                table.row(vec![
                    format!("{} = {}", floor.column, floor.value),
                    money(floor.least_cents),
                    money(given_cents),
                    kept.to_owned(),
                ]);
            }
            out.push_str(&format!("\nFloors\n{}", table.text("  ")));
        }
        let mut table = Table::new(&[
            ">budget",
            ">parcels",
            ">spent",
            ">m³/yr",
            ">bound m³/yr",
            ">gap",
            ">cur per m³/yr",
        ]);
        for (cents, one) in &self.curve {
            let per_m3_yr = self.spent_cents(one.cost_cents) as f64
                / 100.0
                / (share * one.saving_m3_yr).max(f64::MIN_POSITIVE);
            table.row(vec![
                money(*cents),
                thousands(one.chosen.len() as f64),
                money(self.spent_cents(one.cost_cents)),
                format!("{:.1}", share * one.saving_m3_yr),
                format!("{:.1}", share * one.bound_m3_yr),
                Answer::gap(one),
                if one.chosen.is_empty() {
                    "-".to_owned()
                } else {
                    format!("{per_m3_yr:.2}")
                },
            ]);
        }
        out.push_str(&format!(
            "\nWater against budget, without floors\n{}\n\
             Rebates are paid on receipts and counts; the figures are ceilings and claims of the plan.\n",
            table.text("  ")
        ));
        out
    }

    /// `allotment.csv`: the chosen parcels with their options, in the order of the run.
    pub(super) fn csv(&self) -> String {
        let mut out = "parcel_id,scenario,rung,claimed_m3_yr,rebate_cur".to_owned();
        let mut columns: Vec<(usize, &str)> = Vec::new();
        for (at, floor) in self.asked.iter().enumerate() {
            if !columns.iter().any(|(_, column)| *column == floor.column) {
                columns.push((at, &floor.column));
                out.push_str(&format!(",{}", csv_cell(&floor.column)));
            }
        }
        out.push('\n');
        for &i in &self.best.chosen {
            let offer = &self.offers[i];
            out.push_str(&format!(
                "{},{},{},{},{}",
                csv_cell(&offer.id),
                csv_cell(&offer.scenario),
                offer.rung,
                rounded(offer.claimed_m3_yr, 3).unwrap_or_default(),
                rounded(offer.rebate_cents as f64 / 100.0, 2).unwrap_or_default(),
            ));
            for (at, _) in &columns {
                out.push_str(&format!(",{}", csv_cell(&offer.values[*at])));
            }
            out.push('\n');
        }
        out
    }

    /// `allotment.json`.
    pub(super) fn json(&self) -> String {
        let share = self.participation_frac;
        let number = |value: f64, decimals: usize| -> Value {
            rounded(value, decimals)
                .and_then(|text| serde_json::from_str(&text).ok())
                .unwrap_or(Value::Null)
        };
        let cur = |cents: u64| number(cents as f64 / 100.0, 2);
        let of = |budget_cents: u64, one: &Allotment| {
            json!({
                "budget_cur": cur(budget_cents),
                "parcels": one.chosen.len(),
                "spent_cur": cur(self.spent_cents(one.cost_cents)),
                "claimed_m3_yr": number(share * one.saving_m3_yr, 3),
                "bound_m3_yr": number(share * one.bound_m3_yr, 3),
                "gap_frac": number(one.gap_frac(), 6),
                "proved": one.is_optimal,
            })
        };
        let floors: Vec<Value> = self
            .asked
            .iter()
            .enumerate()
            .map(|(at, floor)| {
                json!({
                    "column": floor.column,
                    "value": floor.value,
                    "asked_cur": cur(floor.least_cents),
                    "given_cur": cur(self.given_cents(at)),
                })
            })
            .collect();
        let curve: Vec<Value> = self
            .curve
            .iter()
            .map(|(cents, one)| of(*cents, one))
            .collect();
        let whole = json!({
            "offers": self.offers.len(),
            "participation_frac": number(share, 6),
            "allotment": of(self.budget_cents, &self.best),
            "floors": floors,
            "curve": curve,
        });
        format!("{whole:#}\n")
    }
}

/// An amount of money as text.
pub(super) fn money(cents: u64) -> String {
    let cur = cents / 100;
    match cents % 100 {
        0 => thousands(cur as f64),
        rest => format!("{}.{rest:02}", thousands(cur as f64)),
    }
}
