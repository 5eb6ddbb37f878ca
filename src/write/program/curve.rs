//! What water can be bought: the steps of all parcels' ladders, the cheapest cubic metre first.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use crate::plan::ParcelPlan;
use crate::savings::{Rung, hull};
use crate::write::summary::number as rounded;

/// A step that a parcel offers: from one option of its ladder that may be paid to the next.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StepShare {
    /// The scenario of the turf areas that change with it, or `mixed`.
    pub scenario: String,
    /// Present cost of a present cubic metre of the step \[currency/m³\].
    pub cost_cur_m3: f64,
    /// What it costs at the start beyond the step before \[currency\].
    pub cost_cur: f64,
    /// What it saves in the first year beyond it \[m³/yr\].
    pub saved_m3_yr: f64,
    /// What may be claimed with all steps up to it \[m³/yr\].
    pub claimed_m3_yr: f64,
    /// What is paid at most with all steps up to it \[currency\].
    pub rebate_cur: f64,
    /// Whether it costs no more than what the supplier is spared.
    pub within_avoided: bool,
    /// Whether it is taken in what is recommended.
    pub recommended: bool,
    /// Whether the rebate stands only once a survey has found what was assumed.
    pub on_survey: bool,
}

impl StepShare {
    /// The steps of a parcel, over its options that may be paid.
    #[must_use]
    pub fn of(parcel: &ParcelPlan) -> Vec<StepShare> {
        let (Some(ladder), Some(account)) = (&parcel.ladder, &parcel.account) else {
            return Vec::new();
        };
        let options: Vec<_> = ladder
            .options
            .iter()
            .zip(&account.offers)
            .enumerate()
            .filter(|(_, (_, offer))| offer.eligible)
            .collect();
        let rungs: Vec<Rung> = options
            .iter()
            .map(|(_, (option, _))| Rung {
                cost_cur: option.cost_cur,
                water_m3: option.water_m3,
            })
            .collect();
        let (mut before_cur, mut before_m3_yr) = (0.0, 0.0);
        let step = |step: crate::savings::LadderStep| {
            let (place, (option, offer)) = &options[step.to];
            let start_cur = option.outlay.total_cur();
            let own = StepShare {
                scenario: option.scenario.clone(),
                cost_cur_m3: step.cost_cur_m3(),
                cost_cur: start_cur - before_cur,
                saved_m3_yr: option.first_year_m3 - before_m3_yr,
                claimed_m3_yr: offer.claimed_m3_yr,
                rebate_cur: offer.rebate_cur,
                within_avoided: step.cost_cur <= ladder.avoided_cur_m3 * step.water_m3,
                recommended: *place < ladder.climbed,
                on_survey: offer.on_survey,
            };
            (before_cur, before_m3_yr) = (start_cur, option.first_year_m3);
            own
        };
        hull(&rungs).into_iter().map(step).collect()
    }
}

/// What the program can buy at or below what the supplier is spared.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Purchasable {
    /// Parcels with such a step.
    pub parcels: u64,
    /// What the steps save in the first year \[m³/yr\].
    pub saved_m3_yr: f64,
    /// What may be claimed of it \[m³/yr\].
    pub claimed_m3_yr: f64,
    /// What they cost at the start \[currency\].
    pub cost_cur: f64,
    /// What is paid for them at most \[currency\].
    pub rebate_cur: f64,
    /// The smallest avoided cost at which any water is bought \[currency/m³\]; `None` where none is
    /// on offer.
    pub least_avoided_cur_m3: Option<f64>,
}

impl Purchasable {
    /// What a parcel's steps come to.
    #[must_use]
    pub fn of(steps: &[StepShare]) -> Purchasable {
        let mut own = Purchasable {
            least_avoided_cur_m3: steps.first().map(|step| step.cost_cur_m3),
            ..Purchasable::default()
        };
        for step in steps.iter().take_while(|step| step.within_avoided) {
            own.parcels = 1;
            own.saved_m3_yr += step.saved_m3_yr;
            own.cost_cur += step.cost_cur;
            own.claimed_m3_yr = step.claimed_m3_yr;
            own.rebate_cur = step.rebate_cur;
        }
        own
    }

    /// Adds that of another parcel.
    pub fn add(&mut self, other: &Purchasable) {
        self.parcels += other.parcels;
        self.saved_m3_yr += other.saved_m3_yr;
        self.claimed_m3_yr += other.claimed_m3_yr;
        self.cost_cur += other.cost_cur;
        self.rebate_cur += other.rebate_cur;
        let least = [self.least_avoided_cur_m3, other.least_avoided_cur_m3];
        self.least_avoided_cur_m3 = least.into_iter().flatten().reduce(f64::min);
    }

    /// As a member of `summary.json`.
    #[must_use]
    pub fn to_json(&self) -> Value {
        let least = self.least_avoided_cur_m3;
        json!({
            "parcels": self.parcels,
            "saved_m3_yr": rounded(self.saved_m3_yr, 3),
            "claimed_m3_yr": rounded(self.claimed_m3_yr, 3),
            "cost_cur": rounded(self.cost_cur, 2),
            "rebate_cur": rounded(self.rebate_cur, 2),
            "least_avoided_cur_m3": least.map_or(Value::Null, |least| rounded(least, 4)),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(cost_cur_m3: f64, saved_m3_yr: f64, within_avoided: bool) -> StepShare {
        StepShare {
            scenario: "repair".to_owned(),
            cost_cur_m3,
            cost_cur: 10.0 * saved_m3_yr,
            saved_m3_yr,
            claimed_m3_yr: 5.0 * cost_cur_m3,
            rebate_cur: 7.0 * cost_cur_m3,
            within_avoided,
            recommended: false,
            on_survey: false,
        }
    }

    #[test]
    fn water_is_bought_up_to_the_avoided_cost() {
        let one = Purchasable::of(&[
            step(1.0, 4.0, true),
            step(2.0, 3.0, true),
            step(3.0, 9.0, false),
        ]);
        assert_eq!((one.parcels, one.saved_m3_yr, one.cost_cur), (1, 7.0, 70.0));
        assert_eq!((one.claimed_m3_yr, one.rebate_cur), (10.0, 14.0));
        let none = Purchasable::of(&[step(0.5, 4.0, false)]);
        assert_eq!((none.parcels, none.saved_m3_yr), (0, 0.0));
        let mut sum = Purchasable::default();
        for own in [one, none, Purchasable::of(&[])] {
            sum.add(&own);
        }
        assert_eq!((sum.parcels, sum.least_avoided_cur_m3), (1, Some(0.5)));
    }
}
