//! What a cubic metre costs, and whether a change is worth its money.
//!
//! Money comes at the end of each year; capital at the start of the first. With interest i,
//! yearly decay d and a life of n years the saving of year t is `S_t = S_1 (1 − d)^(t−1)`.
//!
//! # References
//! - Brealey R. A., Myers S. C., *Principles of Corporate Finance*, McGraw-Hill, ch. 2: present
//!   value of annuities (from memory).

use std::num::NonZeroU32;

/// Capital recovery factor `i (1 + i)^n / ((1 + i)^n − 1)` \[1/yr\]; `1/n` without interest.
///
/// # Example
/// ```
/// use evenfall::program::capital_recovery_factor;
/// let years = std::num::NonZeroU32::new(10).unwrap();
/// assert!((capital_recovery_factor(0.03, years) - 0.117231).abs() < 5e-7);
/// ```
#[must_use]
pub fn capital_recovery_factor(interest_frac_yr: f64, years: NonZeroU32) -> f64 {
    1.0 / annuity_value(interest_frac_yr, years)
}

/// Present value of one unit a year for n years `(1 − (1 + i)^−n) / i` \[yr\]; `n` without
/// interest.
#[must_use]
pub fn annuity_value(interest_frac_yr: f64, years: NonZeroU32) -> f64 {
    discounted(interest_frac_yr, 0.0, years)
}

/// `Σ (1 − d)^(t−1) / (1 + i)^t` over the years t = 1…n.
fn discounted(interest_frac_yr: f64, decay_frac_yr: f64, years: NonZeroU32) -> f64 {
    let (mut sum, mut left, mut worth) = (0.0, 1.0, 1.0);
    for _ in 0..years.get() {
        worth /= 1.0 + interest_frac_yr;
        sum += left * worth;
        left *= 1.0 - decay_frac_yr;
    }
    sum
}

/// A change that costs money once and saves water for some years.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Investment {
    /// What it costs at the start \[currency\].
    pub capital_cur: f64,
    /// Water saved in the first year \[m³/yr\].
    pub first_year_m3: f64,
    /// Yearly loss of the saving, as a fraction.
    pub decay_frac_yr: f64,
    /// Interest, as a fraction.
    pub interest_frac_yr: f64,
    /// Life \[yr\].
    pub life_yr: NonZeroU32,
}

impl Investment {
    /// Water saved over the life, discounted \[m³\].
    #[must_use]
    pub fn present_m3(&self) -> f64 {
        self.first_year_m3 * discounted(self.interest_frac_yr, self.decay_frac_yr, self.life_yr)
    }

    /// Levelised cost `C / Σ S_t (1 + i)^−t` \[currency/m³\]; `None` where nothing is saved.
    #[must_use]
    pub fn levelised_cost_cur_m3(&self) -> Option<f64> {
        let present_m3 = self.present_m3();
        (present_m3 > 0.0).then(|| self.capital_cur / present_m3)
    }

    /// Net present value at a worth of water `Σ S_t v (1 + i)^−t − C` \[currency\].
    #[must_use]
    pub fn npv_cur(&self, worth_cur_m3: f64) -> f64 {
        self.present_m3() * worth_cur_m3 - self.capital_cur
    }

    /// Years until the saved water has paid the capital, without interest; within a year it
    /// counts in proportion. `None` where it never does within the life.
    #[must_use]
    pub fn payback_yr(&self, worth_cur_m3: f64) -> Option<f64> {
        if self.capital_cur <= 0.0 {
            return Some(0.0);
        }
        let mut owed_cur = self.capital_cur;
        let mut yearly_cur = self.first_year_m3 * worth_cur_m3;
        for year in 0..self.life_yr.get() {
            if yearly_cur > 0.0 && owed_cur <= yearly_cur {
                return Some(f64::from(year) + owed_cur / yearly_cur);
            }
            owed_cur -= yearly_cur;
            yearly_cur *= 1.0 - self.decay_frac_yr;
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn payback_counts_parts_of_a_year() {
        let investment = Investment {
            capital_cur: 25.0,
            first_year_m3: 10.0,
            decay_frac_yr: 0.0,
            interest_frac_yr: 0.04,
            life_yr: NonZeroU32::new(8).unwrap(),
        };
        assert_eq!(investment.payback_yr(1.0), Some(2.5));
        assert_eq!(investment.payback_yr(0.1), None);
        let gift = Investment {
            capital_cur: 0.0,
            ..investment
        };
        assert_eq!(gift.payback_yr(1.0), Some(0.0));
        let useless = Investment {
            first_year_m3: -1.0,
            ..investment
        };
        assert_eq!(useless.levelised_cost_cur_m3(), None);
        assert_eq!(useless.payback_yr(1.0), None);
    }
}
