//! The ladder of what could be done on a unit: turf areas that are changed together or not at all.
//!
//! Every admissible measure has a present cost C and present water W, and "leave it" has neither.
//! Walked by cost, measures that save no more than a cheaper one are dominated; those whose step
//! costs more a cubic metre than the next one's are so by extension. What remains is the lower
//! convex hull of cost against water: each step up it costs more a cubic metre than the one before,
//! so at a value of water v the measure of greatest `v W − C` is where the steps pass v.
//!
//! # References
//! - Johannesson M., Weinstein M. C., "On the decision rules of cost-effectiveness analysis",
//!   *J. Health Econ.* 12, 1993, p. 459–467: dominance and extended dominance (original not
//!   consulted).
//! - Sinha P., Zoltners A. A., "The multiple-choice knapsack problem", *Operations Research* 27,
//!   1979, p. 503–515: the hull bounds the choice under a budget (original not consulted).

use serde::{Deserialize, Serialize};

/// What a measure costs and saves, both as present values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rung {
    /// Cost, not below 0 \[currency\].
    pub cost_cur: f64,
    /// Water \[m³\].
    pub water_m3: f64,
}

/// A step from one measure of the hull to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LadderStep {
    /// Index of the measure that it leads to.
    pub to: usize,
    /// What it costs more than the measure before \[currency\].
    pub cost_cur: f64,
    /// What it saves more \[m³\].
    pub water_m3: f64,
}

impl LadderStep {
    /// Cost of a cubic metre of the step, which is the value of water from which it pays
    /// \[currency/m³\].
    #[must_use]
    pub fn cost_cur_m3(&self) -> f64 {
        self.cost_cur / self.water_m3
    }
}

/// The steps up the hull from "leave it". Of equal measures the first by index stays. Measures that
/// save nothing are never on it.
///
/// # Example
/// ```
/// use evenfall::program::{Rung, hull};
/// let rung = |cost_cur, water_m3| Rung { cost_cur, water_m3 };
/// // The second is dominated, the third so by extension: 60 for 20, then 60 for 40.
/// let steps = hull(&[rung(50.0, 50.0), rung(60.0, 40.0), rung(110.0, 70.0), rung(170.0, 110.0)]);
/// let ways: Vec<usize> = steps.iter().map(|step| step.to).collect();
/// assert_eq!(ways, [0, 3]);
/// assert_eq!(steps[1].cost_cur_m3(), 2.0);
/// ```
#[must_use]
pub fn hull(rungs: &[Rung]) -> Vec<LadderStep> {
    let mut order: Vec<usize> = (0..rungs.len())
        .filter(|&i| rungs[i].water_m3 > 0.0 && rungs[i].cost_cur.is_finite())
        .collect();
    order.sort_by(|&a, &b| {
        let (one, two) = (&rungs[a], &rungs[b]);
        one.cost_cur
            .total_cmp(&two.cost_cur)
            .then(two.water_m3.total_cmp(&one.water_m3))
            .then(a.cmp(&b))
    });
    let mut steps: Vec<LadderStep> = Vec::new();
    let mut at = (0.0, 0.0);
    for i in order {
        let rung = &rungs[i];
        if rung.water_m3 <= at.1 {
            continue;
        }
        let from = |(cost_cur, water_m3): (f64, f64)| LadderStep {
            to: i,
            cost_cur: rung.cost_cur - cost_cur,
            water_m3: rung.water_m3 - water_m3,
        };
        let mut step = from(at);
        // A step that is no dearer a cubic metre than the one before takes its place.
        while let Some(last) = steps.last() {
            if step.cost_cur * last.water_m3 > last.cost_cur * step.water_m3 {
                break;
            }
            steps.pop();
            // The foot from its own figures, so that no rounding gathers.
            at = steps.last().map_or((0.0, 0.0), |step| {
                let foot = &rungs[step.to];
                (foot.cost_cur, foot.water_m3)
            });
            step = from(at);
        }
        at = (rung.cost_cur, rung.water_m3);
        steps.push(step);
    }
    steps
}

/// Where a hull stops at a value of water: the last step that costs less than it; `None` where the
/// unit is left as it is. A step that costs just as much is not taken: the cheaper measure stays.
#[must_use]
pub fn stop(steps: &[LadderStep], value_cur_m3: f64) -> Option<usize> {
    let taken = steps
        .iter()
        .take_while(|step| step.cost_cur < value_cur_m3 * step.water_m3);
    taken.last().map(|step| step.to)
}

/// The combinations that a set of units climbs through as water grows dearer: each adds the
/// cheapest step that is left, ties by the unit. For each combination the measure of every unit.
#[must_use]
pub fn climb(units: &[Vec<LadderStep>]) -> Vec<Vec<Option<usize>>> {
    let mut order: Vec<(f64, usize, usize)> = units
        .iter()
        .enumerate()
        .flat_map(|(unit, steps)| {
            let steps = steps.iter().enumerate();
            steps.map(move |(place, step)| (step.cost_cur_m3(), unit, place))
        })
        .collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
    let mut held: Vec<Option<usize>> = vec![None; units.len()];
    order
        .into_iter()
        .map(|(_, unit, place)| {
            held[unit] = Some(units[unit][place].to);
            held.clone()
        })
        .collect()
}

/// Whose view decides, and what a saved cubic metre is worth in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Perspective {
    /// Who pays the water bill: price of water, gross saving, no administration.
    Customer,
    /// Who delivers the water: avoided cost, net saving, administration.
    Supplier,
    /// All together: avoided cost and externality, net saving, administration; a rebate is a
    /// transfer.
    Society,
}

impl Perspective {
    /// The word in assumptions and outputs.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Perspective::Customer => "customer",
            Perspective::Supplier => "supplier",
            Perspective::Society => "society",
        }
    }

    /// That of a word; society for any other.
    #[must_use]
    pub fn of_text(text: &str) -> Perspective {
        match text {
            "customer" => Perspective::Customer,
            "supplier" => Perspective::Supplier,
            _ => Perspective::Society,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::savings::Words;

    fn random(words: &mut Words) -> Vec<Rung> {
        let count = words.below(7);
        // Whole numbers, so that ties and equal slopes are met and sums are exact.
        (0..count)
            .map(|_| Rung {
                cost_cur: words.below(9) as f64,
                water_m3: words.below(9) as f64 - 2.0,
            })
            .collect()
    }

    /// Greatest net present value, then the cheaper, then the first.
    fn by_trial(rungs: &[Rung], value: f64) -> Option<usize> {
        let (mut best, mut found) = ((0.0, 0.0), None);
        for (i, rung) in rungs.iter().enumerate() {
            let npv = value * rung.water_m3 - rung.cost_cur;
            if npv > best.0 || (npv == best.0 && rung.cost_cur < best.1) {
                (best, found) = ((npv, rung.cost_cur), Some(i));
            }
        }
        found
    }

    #[test]
    fn the_hull_stops_where_trial_of_all_does() {
        let mut words = Words::of(1, "ladder");
        let (mut changed, mut left) = (0, 0);
        for _ in 0..4_000 {
            let rungs = random(&mut words);
            let steps = hull(&rungs);
            for pair in steps.windows(2) {
                assert!(pair[0].cost_cur_m3() < pair[1].cost_cur_m3());
            }
            for quarter in 0..24 {
                let value = f64::from(quarter) / 4.0;
                let (found, wanted) = (stop(&steps, value), by_trial(&rungs, value));
                let worth = |at: Option<usize>| {
                    at.map_or((0.0, 0.0), |i| {
                        let Rung { cost_cur, water_m3 } = rungs[i];
                        (value * water_m3 - cost_cur, cost_cur)
                    })
                };
                assert_eq!(worth(found), worth(wanted), "{rungs:?} at {value}");
                match found {
                    Some(_) => changed += 1,
                    None => left += 1,
                }
            }
        }
        assert!(changed > 10_000 && left > 10_000, "{changed} {left}");
    }

    #[test]
    fn several_units_climb_as_trial_of_all_combinations_does() {
        let mut words = Words::of(2, "units");
        let (fixed, mut counted) = (3.0, 0);
        for _ in 0..600 {
            let units: Vec<Vec<Rung>> = (0..3).map(|_| random(&mut words)).collect();
            let hulls: Vec<Vec<LadderStep>> = units.iter().map(|rungs| hull(rungs)).collect();
            let combinations = climb(&hulls);
            let sum = |held: &[Option<usize>], value: f64| -> f64 {
                let rungs = held
                    .iter()
                    .zip(&units)
                    .filter_map(|(at, unit)| Some(unit[(*at)?]));
                rungs
                    .map(|rung| value * rung.water_m3 - rung.cost_cur)
                    .sum()
            };
            for quarter in 1..16 {
                let value = f64::from(quarter) / 4.0;
                let climbed = combinations
                    .iter()
                    .map(|held| sum(held, value) - fixed)
                    .fold(0.0, f64::max);
                let choices = |unit: &[Rung]| (0..=unit.len()).collect::<Vec<usize>>();
                let mut best = 0.0_f64;
                for a in choices(&units[0]) {
                    for b in choices(&units[1]) {
                        for c in choices(&units[2]) {
                            let held = [a, b, c].map(|at| at.checked_sub(1));
                            if held.iter().any(Option::is_some) {
                                best = best.max(sum(&held, value) - fixed);
                            }
                        }
                    }
                }
                assert!((climbed - best).abs() < 1e-9, "{units:?} at {value}");
                counted += usize::from(best > 0.0);
            }
        }
        assert!(counted > 1_000, "{counted}");
    }

    #[test]
    fn a_tie_goes_to_the_cheaper() {
        let rungs = [
            Rung {
                cost_cur: 20.0,
                water_m3: 10.0,
            },
            Rung {
                cost_cur: 10.0,
                water_m3: 5.0,
            },
        ];
        // Both cost 2 a cubic metre: the step through the cheaper is dropped, and at 2 none pays.
        assert_eq!(stop(&hull(&rungs), 2.0), None);
        assert_eq!(stop(&hull(&rungs), 2.1), Some(0));
    }
}
