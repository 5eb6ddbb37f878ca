//! Which scenario is recommended for a turf area, and why. No winner is fixed anywhere: the
//! verdict follows from the values.

/// What is known of a scenario when it is judged.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Its name, e.g. `relayout:rotary-slow`.
    pub scenario: String,
    /// Why its throws do not fit the shape, if they do not.
    pub misfit: Option<String>,
    /// Whether the slope refuses its rate.
    pub too_fast_for_slope: bool,
    /// Minutes that the night must hold, and has.
    pub night_min: (f64, f64),
    /// Whether the rule and the controller let the turf have its need.
    pub need_met: bool,
    /// Whether a program would pay for it.
    pub eligible: bool,
    /// Claimed saving \[m³/yr\].
    pub claimed_m3_yr: f64,
    /// Claimed saving below which nothing is changed for it \[m³/yr\].
    pub least_m3_yr: f64,
    /// Cost of a claimed cubic metre over the life; `None` where costs are not known.
    pub cost_cur_m3: Option<f64>,
    /// Heads.
    pub heads: u64,
    /// Mean rate over the turf \[mm/h\].
    pub rate_mm_h: f64,
    /// Basic intake of the soil \[mm/h\].
    pub intake_mm_h: f64,
    /// Slope \[%\].
    pub slope_pct: f64,
    /// Cycles of a watering day.
    pub cycles: u32,
    /// Runoff of the year as found and in this scenario, as fractions, by the reported method.
    pub runoff_frac: (f64, f64),
}

/// The verdict on a turf area.
#[derive(Debug, Clone, PartialEq)]
pub struct Recommendation {
    /// Index of the recommended candidate; `None` when nothing is worth doing.
    pub best: Option<usize>,
    /// One sentence without the full stop.
    pub reason: String,
}

impl Candidate {
    /// Why it is out of the running, if it is.
    fn objection(&self) -> Option<String> {
        let (needed_min, open_min) = self.night_min;
        if let Some(reason) = &self.misfit {
            Some(format!("it does not fit, {reason}"))
        } else if self.too_fast_for_slope {
            let (rate, slope) = (self.rate_mm_h, self.slope_pct);
            Some(format!(
                "{rate:.0} mm/h is refused on a slope of {slope:.0} %"
            ))
        } else if needed_min > open_min {
            Some(format!(
                "the night needs {needed_min:.0} min and has {open_min:.0}"
            ))
        } else if !self.need_met {
            Some("the rule or the controller does not let the turf have its need".to_owned())
        } else if !self.eligible {
            Some("it is not eligible".to_owned())
        } else if self.claimed_m3_yr <= 0.0 {
            Some("it saves nothing that could be claimed".to_owned())
        } else if self.claimed_m3_yr < self.least_m3_yr {
            let (claimed, least) = (self.claimed_m3_yr, self.least_m3_yr);
            Some(format!(
                "the claim of {claimed:.1} m³/yr is below the {least:.1} that are worth a change"
            ))
        } else {
            None
        }
    }

    fn merit(&self) -> String {
        let (rate, intake, slope) = (self.rate_mm_h, self.intake_mm_h, self.slope_pct);
        let mut words =
            format!("{rate:.0} mm/h on a soil that takes {intake:.1} at {slope:.0} %: ");
        words += &match self.cycles {
            0 | 1 => "one cycle".to_owned(),
            cycles => format!("{cycles} cycles"),
        };
        let (before, after) = self.runoff_frac;
        if before - after > 0.005 {
            words += &format!(", runoff {:.0} to {:.0} %", 100.0 * before, 100.0 * after);
        } else {
            words += ", no less runoff";
        }
        let (needed_min, open_min) = self.night_min;
        words += &format!("; {needed_min:.0} of {open_min:.0} min of the night");
        if let Some(cost) = self.cost_cur_m3 {
            words += &format!("; {cost:.2} a claimed cubic metre, the least that fits");
        } else {
            words += &format!(
                "; {:.1} m³/yr claimed, the most that fits",
                self.claimed_m3_yr
            );
        }
        words
    }
}

/// Recommends the candidate with the lowest cost of a claimed cubic metre among those that fit,
/// that the slope, the night, the rule and the program let pass, and that save; where costs are
/// not known, the one that saves most. Candidates with a known cost go before those without.
/// Ties: fewer heads, then name.
#[must_use]
pub fn recommend(candidates: &[Candidate]) -> Recommendation {
    let best = candidates
        .iter()
        .enumerate()
        .filter(|(_, candidate)| candidate.objection().is_none())
        .min_by(|(_, a), (_, b)| {
            let cost = |candidate: &Candidate| candidate.cost_cur_m3.unwrap_or(f64::INFINITY);
            let by_cost = cost(a).total_cmp(&cost(b));
            let by_saving = match (a.cost_cur_m3, b.cost_cur_m3) {
                (None, None) => b.claimed_m3_yr.total_cmp(&a.claimed_m3_yr),
                _ => std::cmp::Ordering::Equal,
            };
            by_cost
                .then(by_saving)
                .then(a.heads.cmp(&b.heads))
                .then_with(|| a.scenario.cmp(&b.scenario))
        });
    match best {
        Some((index, candidate)) => Recommendation {
            best: Some(index),
            reason: candidate.merit(),
        },
        None => {
            let objections: Vec<String> = candidates
                .iter()
                .filter_map(|candidate| {
                    Some(format!(
                        "{}: {}",
                        candidate.scenario,
                        candidate.objection()?
                    ))
                })
                .collect();
            let reason = if objections.is_empty() {
                "there is no scenario to judge".to_owned()
            } else {
                objections.join("; ")
            };
            Recommendation { best: None, reason }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn candidate(scenario: &str, claimed_m3_yr: f64, cost_cur_m3: Option<f64>) -> Candidate {
        Candidate {
            scenario: scenario.to_owned(),
            misfit: None,
            too_fast_for_slope: false,
            night_min: (120.0, 840.0),
            need_met: true,
            eligible: true,
            claimed_m3_yr,
            least_m3_yr: 0.1,
            cost_cur_m3,
            heads: 12,
            rate_mm_h: 10.4,
            intake_mm_h: 5.08,
            slope_pct: 2.0,
            cycles: 2,
            runoff_frac: (0.12, 0.0),
        }
    }

    #[test]
    fn the_cheapest_cubic_metre_wins_then_heads_then_name() {
        let mut all = [
            candidate("b", 9.0, Some(2.0)),
            candidate("a", 5.0, Some(1.0)),
            candidate("c", 5.0, Some(1.0)),
        ];
        assert_eq!(recommend(&all).best, Some(1));
        all[2].heads = 11;
        assert_eq!(recommend(&all).best, Some(2));
        all[2].misfit = Some("too wide".to_owned());
        all[1].eligible = false;
        assert_eq!(recommend(&all).best, Some(0));
        assert_eq!(
            recommend(&all).reason,
            "10 mm/h on a soil that takes 5.1 at 2 %: 2 cycles, runoff 12 to 0 %; 120 of 840 min \
             of the night; 2.00 a claimed cubic metre, the least that fits"
        );
    }

    #[test]
    fn without_costs_the_most_saving_wins_whatever_the_order() {
        let mut all = vec![
            candidate("a", 3.0, None),
            candidate("b", 9.0, None),
            candidate("c", 5.0, None),
        ];
        assert_eq!(all[recommend(&all).best.unwrap()].scenario, "b");
        all.reverse();
        assert_eq!(all[recommend(&all).best.unwrap()].scenario, "b");
    }

    #[test]
    fn nothing_worth_doing_is_an_answer_with_reasons() {
        let mut all = vec![
            candidate("a", 0.0, Some(1.0)),
            candidate("b", 5.0, Some(1.0)),
            candidate("c", 5.0, Some(1.0)),
            candidate("d", 5.0, Some(1.0)),
        ];
        all[1].too_fast_for_slope = true;
        all[1].rate_mm_h = 40.0;
        all[1].slope_pct = 30.0;
        all[2].night_min = (900.0, 840.0);
        all[3].need_met = false;
        all.push(candidate("e", 0.05, None));
        let verdict = recommend(&all);
        assert_eq!(verdict.best, None);
        assert_eq!(
            verdict.reason,
            "a: it saves nothing that could be claimed; b: 40 mm/h is refused on a slope of 30 %; \
             c: the night needs 900 min and has 840; d: the rule or the controller does not let \
             the turf have its need; e: the claim of 0.1 m³/yr is below the 0.1 that are worth a \
             change"
        );
        assert_eq!(recommend(&[]).best, None);
    }
}
