//! What a cubic metre costs, and whether a change is worth its money.
//!
//! Money and water come at the end of each year; capital at the start of the first. Over a horizon
//! of H years with interest i and yearly decay d:
//!
//! - the saving of year t is `S_t = S_1 (1 − d)^a`, a the whole years since the nozzles were last
//!   set: new nozzles bring the first year's saving back, a clock that is set once does not;
//! - a part with a life of L years is bought again at the ends of the years L, 2L, … before H, and
//!   nothing else is; at the end of H what is left of it counts in a straight line,
//!   `(1 − age / L)` of its price.
//!
//! # References
//! - Brealey R. A., Myers S. C., *Principles of Corporate Finance*, McGraw-Hill, ch. 2: present
//!   value of annuities (original not consulted).

use std::num::NonZeroU32;

use crate::assumptions::{Assumptions, Key};
use crate::hydraulics::costs::Outlay;

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
    let (mut sum, mut worth) = (0.0, 1.0);
    for _ in 0..years.get() {
        worth /= 1.0 + interest_frac_yr;
        sum += worth;
    }
    sum
}

/// Over what time, at what interest, with what decay and lives money and water are compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Terms {
    /// Years that are compared.
    pub horizon_yr: NonZeroU32,
    /// Interest, as a fraction.
    pub interest_frac_yr: f64,
    /// Yearly loss of the saving, as a fraction.
    pub decay_frac_yr: f64,
    /// Life of nozzles \[yr\].
    pub nozzle_life_yr: NonZeroU32,
    /// Life of bodies \[yr\].
    pub body_life_yr: NonZeroU32,
    /// Life of pipes and valves \[yr\].
    pub pipe_life_yr: NonZeroU32,
}

/// A number of years as a whole number, at least one.
fn whole_years(years: f64) -> NonZeroU32 {
    NonZeroU32::new(years.round().clamp(1.0, 1_000.0) as u32).unwrap_or(NonZeroU32::MIN)
}

/// What one unit at the start, or in the first year, comes to over the horizon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Factors {
    /// Present water of a first-year saving whose nozzles are renewed \[yr\].
    pub water_yr: f64,
    /// Present water of a first-year saving of a clock that is set once \[yr\].
    pub clock_yr: f64,
    /// Present cost of nozzles over their price.
    pub nozzle: f64,
    /// Present cost of bodies over their price.
    pub body: f64,
    /// Present cost of pipes over their price.
    pub pipe: f64,
}

impl Terms {
    /// The terms that are assumed; years are rounded to whole ones.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> Terms {
        let number = |key| assumptions.number(key);
        Terms::of(
            [
                number(Key::RecommendHorizon),
                number(Key::SavingsLife),
                number(Key::LivesBody),
                number(Key::LivesPipe),
            ],
            number(Key::DiscountRate),
            number(Key::SavingsDecay),
        )
    }

    /// Terms from the horizon and the lives of nozzle, body and pipe \[yr\], interest and decay.
    #[must_use]
    pub fn of(
        [horizon, nozzle, body, pipe]: [f64; 4],
        interest_frac_yr: f64,
        decay_frac_yr: f64,
    ) -> Terms {
        Terms {
            horizon_yr: whole_years(horizon),
            interest_frac_yr,
            decay_frac_yr,
            nozzle_life_yr: whole_years(nozzle),
            body_life_yr: whole_years(body),
            pipe_life_yr: whole_years(pipe),
        }
    }

    fn discount(&self, year: u32) -> f64 {
        (0..year).fold(1.0, |worth, _| worth / (1.0 + self.interest_frac_yr))
    }

    /// Share of the first year's saving that is left in a year, from 1.
    fn left_frac(&self, year: u32, renewed: bool) -> f64 {
        let age = match renewed {
            true => (year - 1) % self.nozzle_life_yr.get(),
            false => year - 1,
        };
        (0..age).fold(1.0, |left, _| left * (1.0 - self.decay_frac_yr))
    }

    fn present_yr(&self, renewed: bool) -> f64 {
        (1..=self.horizon_yr.get())
            .map(|year| self.left_frac(year, renewed) * self.discount(year))
            .sum()
    }

    fn present_price(&self, life_yr: NonZeroU32) -> f64 {
        let (horizon, life) = (self.horizon_yr.get(), life_yr.get());
        let (mut sum, mut bought) = (1.0, 0);
        while bought + life < horizon {
            bought += life;
            sum += self.discount(bought);
        }
        let age = f64::from(horizon - bought);
        sum - (1.0 - age / f64::from(life)) * self.discount(horizon)
    }

    /// The factors of these terms.
    #[must_use]
    pub fn factors(&self) -> Factors {
        Factors {
            water_yr: self.present_yr(true),
            clock_yr: self.present_yr(false),
            nozzle: self.present_price(self.nozzle_life_yr),
            body: self.present_price(self.body_life_yr),
            pipe: self.present_price(self.pipe_life_yr),
        }
    }
}

impl Factors {
    /// Present cost of an outlay with its replacements, less what is left of it \[currency\].
    #[must_use]
    pub fn present_cur(&self, outlay: &Outlay) -> f64 {
        outlay.once_cur
            + self.nozzle * outlay.nozzle_cur
            + self.body * outlay.body_cur
            + self.pipe * outlay.pipe_cur
    }
}

/// A change that costs money, saves water, and is kept up over the horizon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Investment {
    /// What it costs at the start.
    pub outlay: Outlay,
    /// Water saved in the first year \[m³/yr\].
    pub first_year_m3: f64,
    /// Whether nozzles are set, so that their replacement brings the saving back.
    pub renewed: bool,
    /// Horizon, interest, decay and lives.
    pub terms: Terms,
}

impl Investment {
    /// Water saved over the horizon, discounted \[m³\].
    #[must_use]
    pub fn present_m3(&self) -> f64 {
        self.first_year_m3 * self.terms.present_yr(self.renewed)
    }

    /// Cost over the horizon, discounted, less what is left at its end \[currency\].
    #[must_use]
    pub fn present_cur(&self) -> f64 {
        self.terms.factors().present_cur(&self.outlay)
    }

    /// Levelised cost `C / Σ S_t (1 + i)^−t` \[currency/m³\]; `None` where nothing is saved.
    #[must_use]
    pub fn levelised_cost_cur_m3(&self) -> Option<f64> {
        let present_m3 = self.present_m3();
        (present_m3 > 0.0).then(|| self.present_cur() / present_m3)
    }

    /// Net present value at a worth of water `Σ S_t v (1 + i)^−t − C` \[currency\].
    #[must_use]
    pub fn npv_cur(&self, worth_cur_m3: f64) -> f64 {
        self.present_m3() * worth_cur_m3 - self.present_cur()
    }

    /// Years until the saved water has paid the capital and the replacements due by then, without
    /// interest; within a year it counts in proportion. `None` where it never does within the
    /// horizon.
    #[must_use]
    pub fn payback_yr(&self, worth_cur_m3: f64) -> Option<f64> {
        let mut owed_cur = self.outlay.total_cur();
        if owed_cur <= 0.0 {
            return Some(0.0);
        }
        let terms = &self.terms;
        for year in 1..=terms.horizon_yr.get() {
            let yearly_cur =
                self.first_year_m3 * terms.left_frac(year, self.renewed) * worth_cur_m3;
            if yearly_cur > 0.0 && owed_cur <= yearly_cur {
                return Some(f64::from(year - 1) + owed_cur / yearly_cur);
            }
            owed_cur -= yearly_cur;
            if year < terms.horizon_yr.get() {
                for (life_yr, cur) in [
                    (terms.nozzle_life_yr, self.outlay.nozzle_cur),
                    (terms.body_life_yr, self.outlay.body_cur),
                    (terms.pipe_life_yr, self.outlay.pipe_cur),
                ] {
                    if year % life_yr == 0 {
                        owed_cur += cur;
                    }
                }
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn nozzles(cur: f64) -> Outlay {
        Outlay {
            nozzle_cur: cur,
            ..Outlay::default()
        }
    }

    #[test]
    fn payback_counts_parts_of_a_year() {
        let investment = Investment {
            outlay: nozzles(25.0),
            first_year_m3: 10.0,
            renewed: true,
            terms: Terms::of([8.0, 8.0, 8.0, 8.0], 0.04, 0.0),
        };
        assert_eq!(investment.payback_yr(1.0), Some(2.5));
        assert_eq!(investment.payback_yr(0.1), None);
        let gift = Investment {
            outlay: nozzles(0.0),
            ..investment
        };
        assert_eq!(gift.payback_yr(1.0), Some(0.0));
        let useless = Investment {
            first_year_m3: -1.0,
            ..investment
        };
        assert_eq!(useless.levelised_cost_cur_m3(), None);
        assert_eq!(useless.payback_yr(1.0), None);
        // Paid twice before the water has paid once: 25 after two years, 5 more are owed.
        let short = Investment {
            terms: Terms::of([8.0, 2.0, 8.0, 8.0], 0.04, 0.0),
            ..investment
        };
        // Owed 25, 15, 5 + 25 = 30, 20, 10 + 25, 25, 15 + 25, 30, 20: never.
        assert_eq!(short.payback_yr(1.0), None);
    }

    /// Ten years without interest: nozzles of 7 years are bought once more and have 4 of 7 years
    /// left; bodies of 12 have 2 left; pipes of 30 have 20.
    #[test]
    fn parts_are_bought_again_and_what_is_left_counts() {
        let factors = Terms::of([10.0, 7.0, 12.0, 30.0], 0.0, 0.0).factors();
        assert!((factors.nozzle - (2.0 - 4.0 / 7.0)).abs() < 1e-12);
        assert!((factors.body - (1.0 - 2.0 / 12.0)).abs() < 1e-12);
        assert!((factors.pipe - (1.0 - 20.0 / 30.0)).abs() < 1e-12);
        assert!((factors.water_yr - 10.0).abs() < 1e-12);
        // A life as long as the horizon: bought once, nothing left; half as long: twice.
        let even = Terms::of([10.0, 10.0, 5.0, 10.0], 0.0, 0.0).factors();
        assert_eq!((even.nozzle, even.body), (1.0, 2.0));
        let discounted = Terms::of([10.0, 5.0, 5.0, 5.0], 0.05, 0.0).factors();
        assert!((discounted.body - (1.0 + libm::pow(1.05, -5.0))).abs() < 1e-12);
    }

    #[test]
    fn new_nozzles_bring_the_saving_back_and_a_clock_does_not() {
        let factors = Terms::of([3.0, 2.0, 3.0, 3.0], 0.0, 0.5).factors();
        assert!((factors.water_yr - (1.0 + 0.5 + 1.0)).abs() < 1e-12);
        assert!((factors.clock_yr - (1.0 + 0.5 + 0.25)).abs() < 1e-12);
    }
}
