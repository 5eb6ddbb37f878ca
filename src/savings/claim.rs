//! From a saving to a claim: against what hardware is credited, and what of that is realised.

use serde::{Deserialize, Serialize};

use crate::assumptions::{Assumptions, Key};

/// Against what new hardware is credited.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Counterfactual {
    /// The turf area as found. What a right schedule takes counts too, where the clock is known.
    AsFound,
    /// The old hardware under the same rule for the clock: hardware is credited with what hardware
    /// does.
    Reclock,
    /// The old hardware repaired, under the same rule for the clock.
    Repair,
}

impl Counterfactual {
    /// The three, in the order in which they are printed.
    pub const ALL: [Counterfactual; 3] = [
        Counterfactual::AsFound,
        Counterfactual::Reclock,
        Counterfactual::Repair,
    ];

    /// The one that is assumed.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> Counterfactual {
        match assumptions.choice(Key::SavingsCounterfactual) {
            "as-found" => Counterfactual::AsFound,
            "repair" => Counterfactual::Repair,
            _ => Counterfactual::Reclock,
        }
    }

    /// The word that is printed.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Counterfactual::AsFound => "as-found",
            Counterfactual::Reclock => "reclock",
            Counterfactual::Repair => "repair",
        }
    }
}

/// What stands between a saving and a claim.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClaimTerms {
    /// Against what hardware is credited.
    pub counterfactual: Counterfactual,
    /// Share of what hardware saves that a program realises, the clock apart.
    pub realisation_frac: f64,
    /// Share of what a right schedule saves that a program realises.
    pub realisation_clock_frac: f64,
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
            counterfactual: Counterfactual::assumed(assumptions),
            realisation_frac: assumptions.number(Key::SavingsRealisation),
            realisation_clock_frac: assumptions.number(Key::SavingsRealisationClock),
            free_ridership_frac: assumptions.number(Key::SavingsFreeRiders),
            spillover_frac: assumptions.number(Key::SavingsSpillover),
            decay_frac_yr: assumptions.number(Key::SavingsDecay),
            life_yr: assumptions.number(Key::SavingsLife),
        }
    }

    /// Share that is owed to the program: `1 − free riders + spillover`.
    #[must_use]
    pub fn net_frac(&self) -> f64 {
        1.0 - self.free_ridership_frac + self.spillover_frac
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

    /// What a gross saving comes to in the first year, net \[m³/yr\]:
    /// `(hardware · realisation + clock · realisation of the clock) · (1 − free riders + spillover)`.
    ///
    /// Realisation of hardware leaves the clock out, because the counterfactual does: nothing is
    /// deducted twice. Losses are netted by the same shares as gains.
    #[must_use]
    pub fn first_year_m3(&self, gross: Gross) -> f64 {
        let realised = gross.hardware_m3_yr * self.realisation_frac
            + gross.clock_m3_yr * self.realisation_clock_frac;
        realised * self.net_frac()
    }

    /// What may be claimed \[m³/yr, mean over the life\]: the net saving of the first year times
    /// persistence.
    #[must_use]
    pub fn claimed_m3_yr(&self, gross: Gross) -> f64 {
        self.first_year_m3(gross) * self.persistence_frac()
    }
}

/// What a change saves before anything is deducted \[m³/yr\].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Gross {
    /// By hardware; below 0 where it uses more.
    pub hardware_m3_yr: f64,
    /// By a right schedule; 0 where the counterfactual has one, or where the clock is not known.
    pub clock_m3_yr: f64,
}

impl Gross {
    /// Both \[m³/yr\].
    #[must_use]
    pub fn m3_yr(&self) -> f64 {
        self.hardware_m3_yr + self.clock_m3_yr
    }
}

/// Uses of one turf area in the ways that are compared, by one runoff method and under one
/// behaviour \[m³/yr\].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Uses {
    /// As found.
    pub found_m3_yr: f64,
    /// As found with a right schedule; `None` where that is refused.
    pub reclock_m3_yr: Option<f64>,
    /// Repaired; `None` where that is refused.
    pub repair_m3_yr: Option<f64>,
    /// Whether what the schedule takes can be observed: the clock steers the watering as found.
    pub clock_observed: bool,
    /// With the change.
    pub with_m3_yr: f64,
}

impl Uses {
    /// What the change saves against a counterfactual. Nothing is credited beyond a measure that is
    /// itself refused: a repair that is refused gives way to a right schedule, and that to the turf
    /// area as found.
    #[must_use]
    pub fn gross(&self, against: Counterfactual) -> Gross {
        let reclock = self.reclock_m3_yr.unwrap_or(self.found_m3_yr);
        let (base, clock_m3_yr) = match against {
            Counterfactual::AsFound if self.clock_observed => (reclock, self.found_m3_yr - reclock),
            Counterfactual::AsFound | Counterfactual::Reclock => (reclock, 0.0),
            Counterfactual::Repair => (self.repair_m3_yr.unwrap_or(reclock), 0.0),
        };
        Gross {
            hardware_m3_yr: base - self.with_m3_yr,
            clock_m3_yr,
        }
    }

    /// What may be claimed against each counterfactual.
    #[must_use]
    pub fn claims(&self, terms: &ClaimTerms) -> Claims {
        let of = |against| terms.claimed_m3_yr(self.gross(against));
        Claims(Counterfactual::ALL.map(of))
    }
}

/// Claims against each counterfactual, in the order of [`Counterfactual::ALL`] \[m³/yr\].
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Claims(pub [f64; 3]);

impl Claims {
    /// The claim against one.
    #[must_use]
    pub fn against(&self, counterfactual: Counterfactual) -> f64 {
        self.0[counterfactual as usize]
    }

    /// Adds those of another turf area.
    pub fn add(&mut self, other: &Claims) {
        for (sum, own) in self.0.iter_mut().zip(&other.0) {
            *sum += own;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TERMS: ClaimTerms = ClaimTerms {
        counterfactual: Counterfactual::Reclock,
        realisation_frac: 0.8,
        realisation_clock_frac: 0.5,
        free_ridership_frac: 0.2,
        spillover_frac: 0.0,
        decay_frac_yr: 0.5,
        life_yr: 2.0,
    };

    const USES: Uses = Uses {
        found_m3_yr: 100.0,
        reclock_m3_yr: Some(90.0),
        repair_m3_yr: Some(84.0),
        clock_observed: true,
        with_m3_yr: 80.0,
    };

    #[test]
    fn three_counterfactuals_side_by_side() {
        // As found: 10 m³ of hardware and 10 of the clock; reclock: 10; repair: 4.
        let gross = Counterfactual::ALL.map(|against| USES.gross(against));
        assert_eq!(
            (gross[0].hardware_m3_yr, gross[0].clock_m3_yr),
            (10.0, 10.0)
        );
        assert_eq!((gross[1].m3_yr(), gross[2].m3_yr()), (10.0, 4.0));
        let claims = USES.claims(&TERMS);
        let net = 0.8 * 0.75; // free riders; half is lost in the second of two years
        for (against, m3) in [
            (Counterfactual::AsFound, (10.0 * 0.8 + 10.0 * 0.5) * net),
            (Counterfactual::Reclock, 10.0 * 0.8 * net),
            (Counterfactual::Repair, 4.0 * 0.8 * net),
        ] {
            assert!((claims.against(against) - m3).abs() < 1e-12, "{against:?}");
        }
    }

    #[test]
    fn a_clock_that_nobody_knows_is_no_claim() {
        let uses = Uses {
            clock_observed: false,
            ..USES
        };
        let claims = uses.claims(&TERMS);
        assert_eq!(claims.0[0], claims.0[1]);
    }

    #[test]
    fn nothing_is_claimed_beyond_what_is_refused() {
        let uses = Uses {
            repair_m3_yr: None,
            ..USES
        };
        assert_eq!(uses.gross(Counterfactual::Repair).m3_yr(), 10.0);
        let uses = Uses {
            reclock_m3_yr: None,
            ..uses
        };
        for against in Counterfactual::ALL {
            assert_eq!(uses.gross(against).m3_yr(), 20.0);
        }
    }

    #[test]
    fn losses_are_netted_as_gains_are() {
        let loss = Gross {
            hardware_m3_yr: -2.0,
            clock_m3_yr: 0.0,
        };
        let gain = Gross {
            hardware_m3_yr: 2.0,
            clock_m3_yr: 0.0,
        };
        assert_eq!(TERMS.claimed_m3_yr(loss), -TERMS.claimed_m3_yr(gain));
        assert_eq!(TERMS.persistence_frac(), 0.75);
        let steady = ClaimTerms {
            decay_frac_yr: 0.0,
            ..TERMS
        };
        assert_eq!(steady.persistence_frac(), 1.0);
    }
}
