//! What the run decides: how much is changed, what that costs and returns, how firm it is, and from
//! what value of water more would be worth its cost.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};

use super::summary::{Distribution, number};
use crate::plan::{ParcelPlan, Scenario};
use crate::savings::Perspective;

/// What one parcel adds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DecisionFigures {
    perspective: Perspective,
    value_cur_m3: f64,
    avoided_cur_m3: f64,
    /// Cost at the start, present cost, first year's water and net present value of what is
    /// recommended; `None` where all is left as found.
    chosen: Option<[f64; 4]>,
    recommended_in_frac: f64,
    regret_cur: f64,
    /// Value of water from which anything, and from which the next step pays.
    breakeven_cur_m3: Option<f64>,
    next_cur_m3: Option<f64>,
    /// By scenario of the turf areas that change.
    scenarios: Vec<(Scenario, Part)>,
    /// Turf areas whose heads are recorded, and those where they are assumed.
    by_record: [Part; 2],
}

/// Turf areas of one kind.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Part {
    /// Turf areas.
    pub areas: u64,
    /// Of those, that change.
    pub changed: u64,
    /// Parts and work, without the way there \[currency\].
    pub cost_cur: f64,
    /// As found less recommended, of those that change \[m³/yr\].
    pub potential_m3_yr: f64,
    /// What may be claimed, before it is held against a meter \[m³/yr\].
    pub claimed_m3_yr: f64,
}

impl Part {
    fn add(&mut self, other: &Part) {
        self.areas += other.areas;
        self.changed += other.changed;
        self.cost_cur += other.cost_cur;
        self.potential_m3_yr += other.potential_m3_yr;
        self.claimed_m3_yr += other.claimed_m3_yr;
    }

    fn to_json(self) -> Value {
        json!({
            "areas": self.areas,
            "changed": self.changed,
            "cost_cur": number(self.cost_cur, 2),
            "potential_m3_yr": number(self.potential_m3_yr, 3),
            "claimed_m3_yr": number(self.claimed_m3_yr, 3),
        })
    }
}

impl DecisionFigures {
    /// Reads off what a parcel adds; `None` where nothing was decided.
    #[must_use]
    pub fn of(parcel: &ParcelPlan) -> Option<DecisionFigures> {
        let ladder = parcel.ladder.as_ref()?;
        let chosen = ladder.chosen();
        let mut own = DecisionFigures {
            perspective: ladder.perspective,
            value_cur_m3: ladder.value_cur_m3,
            avoided_cur_m3: ladder.avoided_cur_m3,
            chosen: chosen.map(|option| {
                [
                    option.outlay.total_cur(),
                    option.cost_cur,
                    option.first_year_m3,
                    ladder.npv_cur(),
                ]
            }),
            recommended_in_frac: ladder.recommended_in_frac,
            regret_cur: ladder.regret_cur,
            breakeven_cur_m3: ladder.options.first().map(|own| own.step.cost_cur_m3),
            next_cur_m3: ladder.next().map(|own| own.step.cost_cur_m3),
            scenarios: Vec::new(),
            by_record: [Part::default(); 2],
        };
        for turf in parcel.turf.iter().filter(|turf| turf.unit > 0) {
            let mut part = Part {
                areas: 1,
                ..Part::default()
            };
            let mut plans = turf.scenarios.iter();
            let changed = plans.find(|plan| plan.recommended && plan.scenario != Scenario::AsFound);
            if let Some(plan) = changed {
                part.changed = 1;
                part.cost_cur = plan.cost_cur.unwrap_or(0.0);
                if let Some(year) = &plan.year {
                    part.potential_m3_yr = year.saved_m3_yr.unwrap_or(0.0);
                    part.claimed_m3_yr = year.claimed_m3_yr.unwrap_or(0.0);
                }
                let known = own.scenarios.iter_mut();
                match known.into_iter().find(|(name, _)| *name == plan.scenario) {
                    Some((_, sum)) => sum.add(&part),
                    None => own.scenarios.push((plan.scenario.clone(), part)),
                }
            }
            own.by_record[usize::from(turf.is_as_found_assumed())].add(&part);
        }
        Some(own)
    }
}

/// What a run decides.
#[derive(Debug, Clone, Default)]
pub struct DecisionTotals {
    /// Whose value of water decided, and that value; `None` before a parcel was decided
    /// \[currency/m³\].
    pub judged_by: Option<(Perspective, f64)>,
    /// What the supplier is spared for a cubic metre \[currency/m³\].
    pub avoided_cur_m3: f64,
    /// Parcels that were decided.
    pub parcels: u64,
    /// Of those, on which something changes.
    pub changed: u64,
    /// What is recommended costs at the start \[currency\].
    pub cost_cur: f64,
    /// Its present cost with replacements, visits and administration, less what is left
    /// \[currency\].
    pub present_cost_cur: f64,
    /// What it saves in the first year, as the side that decides counts it \[m³/yr\].
    pub saved_m3_yr: f64,
    /// Its net present value for that side \[currency\].
    pub npv_cur: f64,
    /// Mean over the draws of what the best choices would be worth more \[currency\].
    pub regret_cur: f64,
    /// Shares of the draws in which parcels are decided the same.
    pub recommended_in_frac: Distribution<3>,
    /// Values of water from which anything on a parcel pays.
    pub breakeven_cur_m3: Distribution<2>,
    /// The smallest value of water from which more would be done \[currency/m³\].
    pub next_cur_m3: Option<f64>,
    /// By scenario, the turf areas that change.
    pub scenarios: BTreeMap<Scenario, Part>,
    /// Turf areas whose heads are recorded, and those where they are assumed.
    pub by_record: [Part; 2],
}

impl DecisionTotals {
    /// Adds a parcel.
    pub fn add(&mut self, own: &DecisionFigures) {
        self.judged_by = Some((own.perspective, own.value_cur_m3));
        self.avoided_cur_m3 = own.avoided_cur_m3;
        self.parcels += 1;
        if let Some([cost_cur, present_cost_cur, saved_m3_yr, npv_cur]) = own.chosen {
            self.changed += 1;
            self.cost_cur += cost_cur;
            self.present_cost_cur += present_cost_cur;
            self.saved_m3_yr += saved_m3_yr;
            self.npv_cur += npv_cur;
        }
        self.regret_cur += own.regret_cur;
        self.recommended_in_frac.add(own.recommended_in_frac);
        if let Some(breakeven) = own.breakeven_cur_m3 {
            self.breakeven_cur_m3.add(breakeven);
        }
        let next = [self.next_cur_m3, own.next_cur_m3];
        self.next_cur_m3 = next.into_iter().flatten().reduce(f64::min);
        for (scenario, part) in &own.scenarios {
            self.scenarios
                .entry(scenario.clone())
                .or_default()
                .add(part);
        }
        for (sum, part) in self.by_record.iter_mut().zip(&own.by_record) {
            sum.add(part);
        }
    }

    /// The member `decision` of `summary.json`.
    #[must_use]
    pub fn to_json(&self) -> Value {
        let Some((perspective, value_cur_m3)) = self.judged_by else {
            return Value::Null;
        };
        let mut scenarios = Map::new();
        for (scenario, part) in &self.scenarios {
            scenarios.insert(scenario.text(), part.to_json());
        }
        let [recorded, assumed] = self.by_record;
        let next = self.next_cur_m3;
        json!({
            "perspective": perspective.text(),
            "value_cur_m3": number(value_cur_m3, 4),
            "avoided_cur_m3": number(self.avoided_cur_m3, 4),
            "parcels": self.parcels,
            "parcels_changed": self.changed,
            "cost_cur": number(self.cost_cur, 2),
            "present_cost_cur": number(self.present_cost_cur, 2),
            "saved_m3_yr": number(self.saved_m3_yr, 3),
            "npv_cur": number(self.npv_cur, 2),
            "regret_cur": number(self.regret_cur, 2),
            "recommended_in_frac": self.recommended_in_frac.to_json(),
            "breakeven_cur_m3": self.breakeven_cur_m3.to_json(),
            "next_cur_m3": next.map_or(Value::Null, |next| number(next, 4)),
            "scenarios": scenarios,
            "heads_recorded": recorded.to_json(),
            "heads_assumed": assumed.to_json(),
        })
    }
}
