//! What the program pays for a parcel, at most.
//!
//! A rebate is paid on receipts and counted devices. What stands in a plan is a ceiling: a parcel
//! that hands in more devices than planned is looked at, not paid more.

use crate::assumptions::{Assumptions, Key};

/// What a parcel's plan asks money for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bill {
    /// Nozzles to be changed or set.
    pub nozzles: u64,
    /// Regulated bodies to be set.
    pub regulated_bodies: u64,
    /// Turf that changes \[m²\].
    pub turf_m2: f64,
    /// Cost of parts and work \[currency\].
    pub cost_cur: f64,
    /// Water that may be claimed \[m³/yr\].
    pub claimed_m3_yr: f64,
}

/// The rule by which a program pays. Every part that is 0 pays nothing; the parts add up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RebateRule {
    /// For each nozzle \[currency\].
    pub per_nozzle_cur: f64,
    /// For each regulated body \[currency\].
    pub per_body_cur: f64,
    /// For each square metre of turf \[currency/m²\].
    pub per_turf_cur_m2: f64,
    /// Share of the cost.
    pub cost_share_frac: f64,
    /// For each claimed cubic metre of a year \[currency per m³/yr\].
    pub per_claim_cur_m3: f64,
    /// No parcel gets more \[currency\].
    pub most_cur: f64,
    /// No parcel gets more than this share of its cost.
    pub most_of_cost_frac: f64,
    /// A rebate below this is not paid \[currency\].
    pub least_cur: f64,
}

impl RebateRule {
    /// The rule that is assumed, or set in the program file.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> RebateRule {
        let number = |key| assumptions.number(key);
        RebateRule {
            per_nozzle_cur: number(Key::RebateNozzle),
            per_body_cur: number(Key::RebateBody),
            per_turf_cur_m2: number(Key::RebateTurf),
            cost_share_frac: number(Key::RebateCostShare),
            per_claim_cur_m3: number(Key::RebateClaim),
            most_cur: number(Key::RebateMost),
            most_of_cost_frac: number(Key::RebateMostOfCost),
            least_cur: number(Key::RebateLeast),
        }
    }

    /// The ceiling of a parcel's rebate \[currency\], in whole cents: the sum of the parts, no
    /// more than the cap and the share of the cost, and 0 where less than the least remains or
    /// nothing may be claimed.
    #[must_use]
    pub fn ceiling_cur(&self, bill: &Bill) -> f64 {
        if bill.claimed_m3_yr <= 0.0 {
            return 0.0;
        }
        let parts_cur = self.per_nozzle_cur * bill.nozzles as f64
            + self.per_body_cur * bill.regulated_bodies as f64
            + self.per_turf_cur_m2 * bill.turf_m2
            + self.cost_share_frac * bill.cost_cur
            + self.per_claim_cur_m3 * bill.claimed_m3_yr;
        let held_cur = parts_cur
            .min(self.most_cur)
            .min(self.most_of_cost_frac * bill.cost_cur);
        self.payable_cur(held_cur)
    }

    /// An amount as it is paid: in whole cents, rounded down, and nothing where less than the least
    /// remains.
    #[must_use]
    pub fn payable_cur(&self, amount_cur: f64) -> f64 {
        let cents_cur = (amount_cur.max(0.0) * 100.0 + 1e-6).floor() / 100.0;
        if cents_cur >= self.least_cur {
            cents_cur
        } else {
            0.0
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RULE: RebateRule = RebateRule {
        per_nozzle_cur: 4.0,
        per_body_cur: 6.0,
        per_turf_cur_m2: 0.0,
        cost_share_frac: 0.0,
        per_claim_cur_m3: 0.0,
        most_cur: 300.0,
        most_of_cost_frac: 0.5,
        least_cur: 25.0,
    };

    fn bill(nozzles: u64, cost_cur: f64) -> Bill {
        Bill {
            nozzles,
            regulated_bodies: nozzles / 2,
            turf_m2: 100.0,
            cost_cur,
            claimed_m3_yr: 8.0,
        }
    }

    #[test]
    fn parts_add_up_under_the_caps() {
        assert_eq!(RULE.ceiling_cur(&bill(10, 1000.0)), 70.0);
        assert_eq!(RULE.ceiling_cur(&bill(100, 1000.0)), 300.0);
        assert_eq!(RULE.ceiling_cur(&bill(10, 100.0)), 50.0);
        assert_eq!(RULE.ceiling_cur(&bill(2, 1000.0)), 0.0);
        let loss = Bill {
            claimed_m3_yr: -1.0,
            ..bill(10, 1000.0)
        };
        assert_eq!(RULE.ceiling_cur(&loss), 0.0);
        let mixed = RebateRule {
            per_turf_cur_m2: 0.5,
            cost_share_frac: 0.1,
            per_claim_cur_m3: 1.0,
            ..RULE
        };
        assert_eq!(
            mixed.ceiling_cur(&bill(10, 1000.0)),
            70.0 + 50.0 + 100.0 + 8.0
        );
    }
}
