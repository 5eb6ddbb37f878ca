//! How much water enters the soil, and when it starts to stand on it: Green–Ampt under a constant
//! rate.
//!
//! Capacity `f = K (1 + ψΔθ/F)` falls as the infiltrated depth F grows. While the application
//! rate i stays below it, everything enters. Water ponds when `F = F_p = K ψΔθ/(i − K)`; from
//! then on `F − F_p − ψΔθ ln((ψΔθ + F)/(ψΔθ + F_p)) = K (t − t_p)`.
//!
//! # References
//! - Mein, R. G. and Larson, C. L., "Modeling infiltration during a steady rain", Water Resources
//!   Research 9(2), 1973, p. 384–394, DOI 10.1029/WR009i002p00384.
//! - Chow, V. T., Maidment, D. R. and Mays, L. W., *Applied Hydrology*, McGraw-Hill 1988,
//!   sections 4.3, 4.4 and 5.4.

use super::GreenAmpt;
use crate::units::{Depth, Rate, Time};

/// Newton's method from above converges in a handful of steps; this is the budget.
const MOST_STEPS: u32 = 100;
const MM_M: f64 = 1_000.0;
const S_H: f64 = 3_600.0;

/// A soil with its water content at the start: what the Green–Ampt equation needs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WettingFront {
    conductivity_mm_h: f64,
    /// ψΔθ \[mm\].
    deficit_mm: f64,
}

impl GreenAmpt {
    /// The soil at an effective saturation (taken into 0 to 1).
    #[must_use]
    pub fn at_saturation(self, saturation_frac: f64) -> WettingFront {
        WettingFront {
            conductivity_mm_h: self.conductivity.mm_h(),
            deficit_mm: self.suction_deficit(saturation_frac).mm(),
        }
    }
}

impl WettingFront {
    /// Infiltration capacity after a depth has entered; `None` while it is unlimited (nothing
    /// has entered a soil that draws).
    #[must_use]
    pub fn capacity(&self, infiltrated: Depth) -> Option<Rate> {
        let pull = if self.deficit_mm > 0.0 {
            self.deficit_mm / infiltrated.mm()
        } else {
            0.0
        };
        let rate_mm_h = self.conductivity_mm_h * (1.0 + pull);
        rate_mm_h
            .is_finite()
            .then(|| Rate::of_m_s(rate_mm_h / (MM_M * S_H)))
    }

    /// The depth that has entered when water starts to stand \[mm\]: `K ψΔθ/(i − K)`. `None` for
    /// rates that the soil takes for ever.
    fn ponding_mm(&self, rate_mm_h: f64) -> Option<f64> {
        let excess_mm_h = rate_mm_h - self.conductivity_mm_h;
        (excess_mm_h > 0.0).then(|| self.conductivity_mm_h * self.deficit_mm / excess_mm_h)
    }

    /// Time from the start until water stands, `t_p = K ψΔθ/(i (i − K))`; `None` for i ≤ K.
    /// It falls as rate and saturation rise, and is 0 in a saturated soil.
    #[must_use]
    pub fn ponding_time(&self, rate: Rate) -> Option<Time> {
        let hours = self.ponding_mm(rate.mm_h())? / rate.mm_h();
        hours.is_finite().then(|| Time::of_s(hours * S_H))
    }

    /// The depth that has entered after `time` at a constant rate, when `already` had entered at
    /// its start; never more than both together. What does not enter stands or runs off; it does
    /// not come back here.
    #[must_use]
    pub fn infiltrated(&self, already: Depth, rate: Rate, time: Time) -> Depth {
        let everything = already + rate * time;
        let (start_mm, rate_mm_h) = (already.mm(), rate.mm_h());
        match self.ponding_mm(rate_mm_h) {
            Some(ponding_mm) if everything.mm() > ponding_mm => {
                let from_mm = start_mm.max(ponding_mm); // water may stand from the first moment
                let standing_h = (time.h() - (from_mm - start_mm) / rate_mm_h).max(0.0);
                let entered_mm = self.flooded_mm(from_mm, standing_h).min(everything.mm());
                Depth::of_depth_m(entered_mm / MM_M)
            }
            _ => everything,
        }
    }

    /// The depth that has entered after `time` under standing water, from a start of nothing:
    /// `F − ψΔθ ln(1 + F/ψΔθ) = K t`.
    #[must_use]
    pub fn infiltrated_flooded(&self, time: Time) -> Depth {
        Depth::of_depth_m(self.flooded_mm(0.0, time.h()) / MM_M)
    }

    /// Solves `x − S ln(1 + x/(S + F₀)) = K t` for the depth x that enters on top of F₀, with
    /// S = ψΔθ \[mm\]. The left side is convex and rises from 0, so Newton's method from a point
    /// above the root comes down to it without passing.
    fn flooded_mm(&self, from_mm: f64, time_h: f64) -> f64 {
        let through_mm = (self.conductivity_mm_h * time_h).max(0.0);
        let deficit_mm = self.deficit_mm;
        if through_mm == 0.0 || deficit_mm <= 0.0 {
            return from_mm + through_mm;
        }
        let base_mm = deficit_mm + from_mm;
        let residual = |x_mm: f64| x_mm - deficit_mm * libm::log1p(x_mm / base_mm) - through_mm;
        let mut x_mm = through_mm + (2.0 * base_mm * through_mm).sqrt();
        for _ in 0..MOST_STEPS {
            if residual(x_mm) >= 0.0 {
                break; // the start lies above the root
            }
            x_mm *= 2.0;
        }
        for _ in 0..MOST_STEPS {
            let slope = 1.0 - deficit_mm / (base_mm + x_mm);
            let next_mm = x_mm - residual(x_mm) / slope;
            if next_mm >= x_mm || next_mm <= 0.0 {
                break; // rounding has been reached
            }
            x_mm = next_mm;
        }
        from_mm + x_mm
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::soil::{Reading, Texture};

    fn mm(depth: f64) -> Depth {
        Depth::from_mm(depth).unwrap()
    }

    #[test]
    fn a_saturated_soil_ponds_at_once_and_passes_k() {
        let front = Texture::Loam
            .green_ampt(Reading::default())
            .at_saturation(1.0);
        let rate = Rate::from_mm_h(10.0).unwrap();
        assert_eq!(front.ponding_time(rate).unwrap().s(), 0.0);
        let hour = Time::from_h(1.0).unwrap();
        assert!((front.infiltrated(Depth::ZERO, rate, hour).mm() - 3.4).abs() < 1e-9);
        assert!((front.capacity(Depth::ZERO).unwrap().mm_h() - 3.4).abs() < 1e-9);
    }

    #[test]
    fn a_rate_below_k_never_ponds() {
        let front = Texture::Sand
            .green_ampt(Reading::default())
            .at_saturation(0.5);
        for rate in [
            Rate::ZERO,
            Rate::from_mm_h(40.0).unwrap(),
            Rate::from_mm_h(117.8).unwrap(),
        ] {
            assert_eq!(front.ponding_time(rate), None);
            let year = Time::from_h(8_766.0).unwrap();
            assert_eq!(
                front.infiltrated(mm(3.0), rate, year),
                mm(3.0) + rate * year
            );
        }
        assert_eq!(front.capacity(Depth::ZERO), None);
    }

    #[test]
    fn no_time_and_tiny_times_change_nothing() {
        let front = Texture::Clay
            .green_ampt(Reading::default())
            .at_saturation(0.2);
        let rate = Rate::from_mm_h(60.0).unwrap();
        assert_eq!(
            front.infiltrated(Depth::ZERO, rate, Time::ZERO),
            Depth::ZERO
        );
        assert_eq!(front.infiltrated_flooded(Time::ZERO), Depth::ZERO);
        let tiny = Time::from_s(1e-9).unwrap();
        let entered = front.infiltrated(mm(50.0), rate, tiny);
        assert!(entered >= mm(50.0) && entered <= mm(50.0) + rate * tiny);
    }

    #[test]
    fn the_root_solves_the_equation() {
        let mut solved = 0;
        for class in Texture::ALL {
            for saturation_frac in [0.0, 0.3, 0.9, 0.999] {
                let front = class
                    .green_ampt(Reading::default())
                    .at_saturation(saturation_frac);
                for hours in [1e-6, 0.01, 1.0, 24.0, 10_000.0] {
                    let deficit_mm = front.deficit_mm;
                    let depth_mm = front.flooded_mm(0.0, hours);
                    let left = depth_mm - deficit_mm * libm::log1p(depth_mm / deficit_mm);
                    let right = front.conductivity_mm_h * hours;
                    // Both terms on the left are near depth_mm, so their difference is known to
                    // about 1e-15 of it.
                    assert!(
                        (left - right).abs() <= 1e-12 * depth_mm,
                        "{class:?} {hours}"
                    );
                    solved += 1;
                }
            }
        }
        assert!(solved > 200);
    }
}
