//! What the recommended change of a parcel asks money for.
//!
//! Parts are those of the bill of materials, which is drawn up for a whole parcel in one scenario.
//! Where turf areas of a parcel get different scenarios, each takes its share of that scenario's
//! bill by its heads.

use super::rebate::Bill;
use crate::assumptions::{Assumptions, Key};
use crate::hydraulics::materials::Line;
use crate::plan::{ParcelPlan, Scenario, ScenarioPlan, TurfPlan};

/// What work costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Costs {
    /// An hour of a crew \[currency/h\].
    pub labour_cur_h: f64,
    /// Work on one nozzle \[min\].
    pub nozzle_min: f64,
    /// Work on one body \[min\].
    pub body_min: f64,
    /// Work on a metre of trench \[min/m\].
    pub trench_min_m: f64,
    /// Work on one valve \[min\].
    pub valve_min: f64,
    /// The way to a parcel, and its clock \[currency\].
    pub visit_cur: f64,
}

impl Costs {
    /// The costs that are assumed.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> Costs {
        let number = |key| assumptions.number(key);
        Costs {
            labour_cur_h: number(Key::CostLabour),
            nozzle_min: number(Key::CostNozzle),
            body_min: number(Key::CostBody),
            trench_min_m: number(Key::CostTrench),
            valve_min: number(Key::CostValve),
            visit_cur: number(Key::CostVisit),
        }
    }

    /// Parts and work of a bill of materials \[currency\]. Work: minutes of each nozzle, body,
    /// metre of pipe and valve, times the hour's cost.
    #[must_use]
    pub fn of(&self, lines: &[Line]) -> f64 {
        let parts_cur: f64 = lines.iter().map(Line::cost_cur).sum();
        let work_min: f64 = lines
            .iter()
            .map(|line| {
                let each_min = match line.item {
                    "nozzle" => self.nozzle_min,
                    "body" | "regulated body" => self.body_min,
                    "pipe" => self.trench_min_m,
                    "valve" => self.valve_min,
                    _ => 0.0,
                };
                each_min * line.quantity
            })
            .sum();
        parts_cur + work_min / 60.0 * self.labour_cur_h
    }
}

/// The bill of a parcel's recommended scenarios; its cost is `None` where the parts of one of them
/// cannot be counted.
#[must_use]
pub fn bill(plan: &ParcelPlan, costs: &Costs, regulated: bool) -> (Bill, Option<f64>) {
    let mut bill = Bill {
        nozzles: 0,
        regulated_bodies: 0,
        turf_m2: 0.0,
        cost_cur: 0.0,
        claimed_m3_yr: plan.water.as_ref().map_or(0.0, |water| water.claimed_m3_yr),
    };
    let mut scenarios: Vec<&Scenario> = Vec::new();
    let (mut visited, mut known) = (false, true);
    for (turf, best) in recommended(plan) {
        visited |= best.scenario != Scenario::AsFound;
        if matches!(best.scenario, Scenario::AsFound | Scenario::Reclock) {
            continue;
        }
        let bodies = match best.works {
            Some(works) => works.bodies + works.added,
            None => best.heads.len(),
        };
        bill.nozzles += best.heads.len() as u64;
        bill.regulated_bodies += if regulated { bodies as u64 } else { 0 };
        bill.turf_m2 += turf.area_m2;
        if !scenarios.contains(&&best.scenario) {
            scenarios.push(&best.scenario);
        }
    }
    for scenario in scenarios {
        let own: usize = recommended(plan)
            .filter(|(_, best)| best.scenario == *scenario)
            .map(|(_, best)| best.heads.len())
            .sum();
        let mut networks = plan.networks.iter();
        let network = networks.find(|network| network.scenario == *scenario);
        let Some(network) = network else {
            known = false;
            continue;
        };
        let counted: f64 = network
            .materials
            .iter()
            .filter(|line| line.item == "nozzle")
            .map(|line| line.quantity)
            .sum();
        if counted > 0.0 {
            let share = (own as f64 / counted).min(1.0);
            bill.cost_cur += share * costs.of(&network.materials);
        }
    }
    if visited {
        bill.cost_cur += costs.visit_cur;
    }
    let cost_cur = known.then_some(bill.cost_cur);
    (bill, cost_cur)
}

/// Stations that feed a turf area in its recommended scenario. A clock set anew keeps the stations
/// as found.
#[must_use]
pub fn stations(plan: &ParcelPlan) -> u64 {
    let mut count = 0;
    for network in &plan.networks {
        let is_best = |area: usize| {
            plan.turf.get(area).is_some_and(|turf| {
                let mut scenarios = turf.scenarios.iter();
                scenarios.any(|best| {
                    let own = match best.scenario {
                        Scenario::Reclock => &Scenario::AsFound,
                        ref other => other,
                    };
                    best.recommended && *own == network.scenario
                })
            })
        };
        count += network
            .stations
            .iter()
            .filter(|station| station.heads.iter().any(|&(area, _)| is_best(area)))
            .count() as u64;
    }
    count
}

/// The turf areas with their recommended scenario.
fn recommended(plan: &ParcelPlan) -> impl Iterator<Item = (&TurfPlan, &ScenarioPlan)> {
    plan.turf.iter().filter_map(|turf| {
        let mut scenarios = turf.scenarios.iter();
        scenarios
            .find(|scenario| scenario.recommended)
            .map(|scenario| (turf, scenario))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_and_minutes_add_up() {
        let line = |item: &'static str, quantity: f64, unit_cost_cur: f64| Line {
            item,
            detail: String::new(),
            unit: "each",
            quantity,
            per_box: 1,
            boxes: 1,
            unit_cost_cur,
        };
        let costs = Costs {
            labour_cur_h: 60.0,
            nozzle_min: 6.0,
            body_min: 20.0,
            trench_min_m: 3.0,
            valve_min: 60.0,
            visit_cur: 50.0,
        };
        let lines = [
            line("nozzle", 10.0, 7.0),
            line("regulated body", 4.0, 9.0),
            line("pipe", 30.0, 1.0),
            line("valve", 1.0, 25.0),
            line("wire", 12.0, 0.4),
        ];
        // Parts 70 + 36 + 30 + 25 + 4.8; minutes 60 + 80 + 90 + 60 at one a minute.
        assert!((costs.of(&lines) - (165.8 + 290.0)).abs() < 1e-9);
        assert_eq!(costs.of(&[]), 0.0);
    }
}
