//! From a potential to a claim.

use crate::assumptions::{Assumptions, Key};
use crate::budget::{ScenarioWater, YearWater};

/// What stands between a potential and a claim.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClaimTerms {
    /// Share of the potential that a program realises.
    pub realisation_frac: f64,
    /// Share of participants who would have changed anyway.
    pub free_ridership_frac: f64,
    /// Savings of others who followed.
    pub spillover_frac: f64,
    /// Yearly loss of savings.
    pub decay_frac_yr: f64,
    /// Life \[yr\].
    pub life_yr: f64,
}

impl ClaimTerms {
    /// The terms that are assumed.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> ClaimTerms {
        ClaimTerms {
            realisation_frac: assumptions.number(Key::SavingsRealisation),
            free_ridership_frac: assumptions.number(Key::SavingsFreeRiders),
            spillover_frac: assumptions.number(Key::SavingsSpillover),
            decay_frac_yr: assumptions.number(Key::SavingsDecay),
            life_yr: assumptions.number(Key::SavingsLife),
        }
    }

    /// Share of a saving that a program may count as its own: realisation × (1 − free riders +
    /// spillover).
    #[must_use]
    pub fn net_frac(&self) -> f64 {
        self.realisation_frac * (1.0 - self.free_ridership_frac + self.spillover_frac)
    }

    /// Mean share of the first year's saving over the life: the mean of `(1 − d)^(t−1)` for the
    /// whole years t of the life.
    #[must_use]
    pub fn persistence_frac(&self) -> f64 {
        let years = self.life_yr.round().max(1.0) as u32;
        let (mut sum, mut left) = (0.0, 1.0);
        for _ in 0..years {
            sum += left;
            left *= 1.0 - self.decay_frac_yr;
        }
        sum / f64::from(years)
    }
}

/// What hardware saves beyond the best that can be done without it \[m³/yr\]: the least use among
/// `without` (as found, `reclock`, `repair`) less its own, by each runoff method, and the smaller
/// of the two. So neither a schedule gain nor the choice of a method is credited to a nozzle.
#[must_use]
pub fn beyond_m3_yr(without: &[&ScenarioWater], with: &ScenarioWater) -> f64 {
    let by = |year: fn(&ScenarioWater) -> &YearWater| {
        let least_m3 = without
            .iter()
            .map(|water| year(water).use_m3_yr)
            .fold(f64::INFINITY, f64::min);
        least_m3 - year(with).use_m3_yr
    };
    by(|water| &water.by_accumulation).min(by(|water| &water.by_green_ampt))
}

/// What may be claimed \[m³/yr, mean over the life\]: the saving of [`beyond_m3_yr`], times
/// realisation, times one less free-ridership plus spillover, times persistence. A loss stays a
/// loss, in full: it is not made smaller by these shares.
#[must_use]
pub fn claimed_m3_yr(beyond_m3_yr: f64, terms: &ClaimTerms) -> f64 {
    if beyond_m3_yr <= 0.0 {
        return beyond_m3_yr;
    }
    let net_frac = 1.0 - terms.free_ridership_frac + terms.spillover_frac;
    beyond_m3_yr * terms.realisation_frac * net_frac * terms.persistence_frac()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_multiply_and_losses_stay() {
        let terms = ClaimTerms {
            realisation_frac: 0.5,
            free_ridership_frac: 0.2,
            spillover_frac: 0.0,
            decay_frac_yr: 0.5,
            life_yr: 2.0,
        };
        assert_eq!(terms.persistence_frac(), 0.75);
        assert!((claimed_m3_yr(20.0, &terms) - 20.0 * 0.5 * 0.8 * 0.75).abs() < 1e-12);
        assert_eq!(claimed_m3_yr(-2.0, &terms), -2.0);
        let steady = ClaimTerms {
            decay_frac_yr: 0.0,
            ..terms
        };
        assert_eq!(steady.persistence_frac(), 1.0);
    }
}
