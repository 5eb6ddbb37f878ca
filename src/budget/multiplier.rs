//! How much longer an uneven station must run.

use crate::assumptions::{Assumptions, Key};

/// The form of the run-time multiplier, and the largest one that is used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RunTimeMultiplier {
    form: MultiplierForm,
    most: f64,
}

/// How uniformity lengthens the run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MultiplierForm {
    /// `1/(0.4 + 0.6 DU)`.
    Blend,
    /// `1/DU`.
    LowQuarter,
    /// `1/(0.3723 + 0.6277 DU)`.
    LowHalf,
}

impl RunTimeMultiplier {
    /// The form that is assumed.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> RunTimeMultiplier {
        let form = match assumptions.choice(Key::BudgetMultiplierForm) {
            "low-quarter" => MultiplierForm::LowQuarter,
            "low-half" => MultiplierForm::LowHalf,
            _ => MultiplierForm::Blend,
        };
        RunTimeMultiplier {
            form,
            most: assumptions.number(Key::BudgetMultiplierMost),
        }
    }

    /// The form.
    #[must_use]
    pub fn form(self) -> MultiplierForm {
        self.form
    }

    /// The same with another form.
    #[must_use]
    pub fn with_form(self, form: MultiplierForm) -> RunTimeMultiplier {
        RunTimeMultiplier { form, ..self }
    }

    /// The multiplier of a low-quarter distribution uniformity: at least 1, falling as
    /// uniformity rises, 1 at 1, and not above the largest that is allowed.
    ///
    /// `blend`: 1/(0.4 + 0.6 DU); `low-quarter`: 1/DU; `low-half`: 1/(0.3723 + 0.6277 DU), which
    /// is 1/DU_lh on the exact line of a normal distribution.
    ///
    /// Applied once: never together with an irrigation efficiency that already contains
    /// unevenness.
    ///
    /// # References
    /// - Irrigation Association, *Landscape Irrigation Scheduling and Water Management*, 2005
    ///   (blend; from memory).
    /// - US EPA, *WaterSense Water Budget Approach*, 2009 (low-quarter).
    /// - Warrick, A. W., Journal of Irrigation and Drainage Engineering 109(4), 1983 (the normal
    ///   line, recomputed).
    #[must_use]
    pub fn of(self, du_lq: f64) -> f64 {
        let du_lq = du_lq.clamp(0.0, 1.0);
        let divisor = match self.form {
            MultiplierForm::Blend => 0.4 + 0.6 * du_lq,
            MultiplierForm::LowQuarter => du_lq,
            MultiplierForm::LowHalf => 0.3723 + 0.6277 * du_lq,
        };
        (1.0 / divisor).clamp(1.0, self.most) // 1/0 is infinite and taken to the largest
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn form(word: &str) -> RunTimeMultiplier {
        let setting = format!("budget.run_time_multiplier_form={word}");
        RunTimeMultiplier::assumed(&Assumptions::defaults().with_setting(&setting).unwrap())
    }

    #[test]
    fn published_table() {
        // Irrigation Association 2005 (blend) and US EPA (low quarter), to the printed digits.
        let rows = [
            (0.40, 1.5625, 2.500),
            (0.50, 1.4286, 2.000),
            (0.55, 1.3699, 1.818),
            (0.65, 1.2658, 1.538),
            (0.70, 1.2195, 1.429),
            (0.75, 1.1765, 1.333),
            (0.80, 1.1364, 1.250),
        ];
        for (du, blend, low_quarter) in rows {
            assert!((form("blend").of(du) - blend).abs() < 5e-5, "{du}");
            assert!(
                (form("low-quarter").of(du) - low_quarter).abs() < 5e-4,
                "{du}"
            );
        }
        // The exact normal line at 0.50 and 0.70 (recomputed).
        assert!((form("low-half").of(0.50) - 1.4574).abs() < 5e-5);
        assert!((form("low-half").of(0.70) - 1.2320).abs() < 5e-5);
    }

    #[test]
    fn one_at_full_uniformity_and_bounded_at_none() {
        for word in ["blend", "low-quarter", "low-half"] {
            assert!((form(word).of(1.0) - 1.0).abs() < 1e-12, "{word}");
            assert!(form(word).of(0.0) <= 4.0, "{word}");
        }
        assert_eq!(form("low-quarter").of(0.0), 4.0);
    }
}
