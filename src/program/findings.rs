//! What a visit verifies of a claim.

/// What was counted and seen on a visit, beside what was planned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Counts {
    /// Nozzles planned.
    pub nozzles_planned: u64,
    /// Nozzles found.
    pub nozzles: u64,
    /// Pressure-regulating bodies planned.
    pub bodies_planned: u64,
    /// Pressure-regulating bodies found.
    pub bodies: u64,
    /// Whether every station was converted whole: families mixed on a station save nothing.
    pub stations_whole: bool,
    /// Whether the clock was set anew.
    pub clock_reset: bool,
}

impl Counts {
    /// The share of a claim that stands: the smaller of nozzles and bodies found over planned, at
    /// most 1; nothing where a station was left mixed; `clock_not_reset_frac` of it where the
    /// clock was not set anew.
    ///
    /// # Example
    /// ```
    /// let found = evenfall::program::Counts {
    ///     nozzles_planned: 10, nozzles: 9, bodies_planned: 0, bodies: 0,
    ///     stations_whole: true, clock_reset: true,
    /// };
    /// assert_eq!(found.verified_frac(0.0), 0.9);
    /// ```
    #[must_use]
    pub fn verified_frac(&self, clock_not_reset_frac: f64) -> f64 {
        if !self.stations_whole {
            return 0.0;
        }
        let share = |found: u64, planned: u64| {
            if planned == 0 {
                1.0
            } else {
                (found as f64 / planned as f64).min(1.0)
            }
        };
        let set =
            share(self.nozzles, self.nozzles_planned).min(share(self.bodies, self.bodies_planned));
        if self.clock_reset {
            set
        } else {
            set * clock_not_reset_frac
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_missing_is_not_verified() {
        let whole = Counts {
            nozzles_planned: 10,
            nozzles: 12,
            bodies_planned: 4,
            bodies: 4,
            stations_whole: true,
            clock_reset: true,
        };
        assert_eq!(whole.verified_frac(0.0), 1.0);
        assert_eq!(Counts { bodies: 1, ..whole }.verified_frac(0.0), 0.25);
        let mixed = Counts {
            stations_whole: false,
            ..whole
        };
        assert_eq!(mixed.verified_frac(1.0), 0.0);
        let unset = Counts {
            clock_reset: false,
            nozzles: 5,
            ..whole
        };
        assert_eq!(unset.verified_frac(0.5), 0.25);
    }
}
