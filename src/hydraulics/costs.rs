//! What parts and work cost.

use super::materials::Line;
use crate::assumptions::{Assumptions, Key};

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

    /// Parts and work of a bill of materials \[currency\]. Work: minutes of each nozzle, cap, body,
    /// metre of pipe and valve, times the hour's cost.
    #[must_use]
    pub fn of(&self, lines: &[Line]) -> f64 {
        let parts_cur: f64 = lines.iter().map(Line::cost_cur).sum();
        let work_min: f64 = lines
            .iter()
            .map(|line| {
                let each_min = match line.item {
                    "nozzle" | "cap" => self.nozzle_min,
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
