//! What parts and work cost.

use super::materials::Line;
use crate::assumptions::{Assumptions, Key};

/// Money by how long what it pays for lasts.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Outlay {
    /// Paid once and gone, such as the way to a parcel \[currency\].
    pub once_cur: f64,
    /// Nozzles, adapters and the work on them \[currency\].
    pub nozzle_cur: f64,
    /// Bodies, what joins them to their laterals, and the work on them \[currency\].
    pub body_cur: f64,
    /// Pipes, valves, wire and the rest, and the work on them \[currency\].
    pub pipe_cur: f64,
}

impl Outlay {
    /// All of it \[currency\].
    #[must_use]
    pub fn total_cur(&self) -> f64 {
        self.once_cur + self.nozzle_cur + self.body_cur + self.pipe_cur
    }
}

/// What a bill of materials asks for, before prices of work: so that bills can be priced again
/// with other prices and minutes.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct BillBasis {
    /// Unit costs × quantities of what lasts as long as nozzles, bodies and pipes \[currency\].
    pub parts_cur: [f64; 3],
    /// Nozzles to set.
    pub nozzles: f64,
    /// Bodies to cap, each as much work as a nozzle, and done once.
    pub caps: f64,
    /// Bodies to set.
    pub bodies: f64,
    /// Trench \[m\].
    pub trench_m: f64,
    /// Valves to set.
    pub valves: f64,
}

impl BillBasis {
    /// Reads a bill of materials.
    #[must_use]
    pub fn of(lines: &[Line]) -> BillBasis {
        let mut basis = BillBasis::default();
        for line in lines {
            let lasts_like = match line.item {
                "nozzle" => {
                    basis.nozzles += line.quantity;
                    0
                }
                "adapter" => 0,
                "cap" => {
                    basis.caps += line.quantity;
                    2
                }
                "body" | "regulated body" => {
                    basis.bodies += line.quantity;
                    1
                }
                "swing pipe" | "check valve" => 1,
                "pipe" => {
                    basis.trench_m += line.quantity;
                    2
                }
                "valve" => {
                    basis.valves += line.quantity;
                    2
                }
                _ => 2,
            };
            basis.parts_cur[lasts_like] += line.cost_cur();
        }
        basis
    }

    /// With another bill added so many times; below 0 it is taken off.
    #[must_use]
    pub fn with(&self, other: &BillBasis, times: f64) -> BillBasis {
        BillBasis {
            parts_cur: std::array::from_fn(|k| self.parts_cur[k] + times * other.parts_cur[k]),
            nozzles: self.nozzles + times * other.nozzles,
            caps: self.caps + times * other.caps,
            bodies: self.bodies + times * other.bodies,
            trench_m: self.trench_m + times * other.trench_m,
            valves: self.valves + times * other.valves,
        }
    }
}

/// What work costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Costs {
    /// Factor on unit costs of parts.
    pub parts_scale: f64,
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
            parts_scale: number(Key::CostPartsScale),
            labour_cur_h: number(Key::CostLabour),
            nozzle_min: number(Key::CostNozzle),
            body_min: number(Key::CostBody),
            trench_min_m: number(Key::CostTrench),
            valve_min: number(Key::CostValve),
            visit_cur: number(Key::CostVisit),
        }
    }

    /// Parts and work of a bill \[currency\], by how long they last: unit costs × quantities ×
    /// factor, and minutes of each nozzle, cap, body, metre of pipe and valve × the hour's cost / 60.
    #[must_use]
    pub fn outlay(&self, basis: &BillBasis) -> Outlay {
        let work_cur = |minutes: f64| minutes / 60.0 * self.labour_cur_h;
        let [nozzle, body, pipe] = basis.parts_cur.map(|cur| self.parts_scale * cur);
        Outlay {
            once_cur: 0.0,
            nozzle_cur: nozzle + work_cur(self.nozzle_min * basis.nozzles),
            body_cur: body + work_cur(self.body_min * basis.bodies),
            pipe_cur: pipe
                + work_cur(
                    self.nozzle_min * basis.caps
                        + self.trench_min_m * basis.trench_m
                        + self.valve_min * basis.valves,
                ),
        }
    }

    /// Parts and work of a bill of materials \[currency\], however long they last.
    #[must_use]
    pub fn of(&self, lines: &[Line]) -> f64 {
        self.outlay(&BillBasis::of(lines)).total_cur()
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
            parts_scale: 1.0,
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
        let by_life = costs.outlay(&BillBasis::of(&lines));
        assert_eq!(by_life.nozzle_cur, 70.0 + 60.0);
        assert_eq!(by_life.body_cur, 36.0 + 80.0);
        assert!((by_life.pipe_cur - (30.0 + 25.0 + 4.8 + 90.0 + 60.0)).abs() < 1e-9);
        let dear = Costs {
            parts_scale: 2.0,
            labour_cur_h: 0.0,
            ..costs
        };
        assert!((dear.of(&lines) - 2.0 * 165.8).abs() < 1e-9);
    }
}
