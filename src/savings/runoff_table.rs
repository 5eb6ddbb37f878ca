//! Runoff by ponding, read off a table.
//!
//! For one soil at one starting saturation the runoff of n equal cycles depends on two numbers
//! only: the depth applied in a cycle, and the conductivity over the rate at which water lands
//! (Green–Ampt with a constant rate has no other scale of time). The table holds the depth that
//! stays. Once water stands, that grows about with the root of the depth applied, so nodes are
//! spaced evenly in the root of the depth and in the logarithm of the ratio, and between them it is
//! linear; it is never more than was applied.

use crate::soil::Ground;
use crate::units::{Rate, Time};

/// Nodes along the ratio of conductivity to rate.
const RATIOS: usize = 11;
/// Nodes along the depth of a cycle, from 0.
const DEPTHS: usize = 21;

/// A table of runoff by ponding.
pub struct RunoffTable {
    landing: Rate,
    /// Logarithm of the least ratio, and nodes for each unit of the logarithm.
    from: f64,
    per_log: f64,
    /// Nodes for each root of a millimetre.
    per_root: f64,
    /// Depth of one cycle that stays, a mean over the cycles \[mm\].
    stays_mm: Box<[[f64; DEPTHS]; RATIOS]>,
}

impl RunoffTable {
    /// The table of a ground for water that lands at a rate in so many cycles. `ratios` are the
    /// least and largest conductivity as multiples of the ground's own (as multiples, too, of the
    /// landing rate at which it is asked, see [`RunoffTable::frac`]), `deepest_mm` the largest
    /// depth of a cycle. `None` where nothing runs off anywhere in the table.
    #[must_use]
    pub fn new(
        ground: &Ground,
        landing: Rate,
        cycles: u32,
        ratios: (f64, f64),
        deepest_mm: f64,
    ) -> Option<RunoffTable> {
        let (least, most) = ratios;
        if cycles == 0 || deepest_mm <= 0.0 || landing <= Rate::ZERO || least <= 0.0 {
            return None;
        }
        let lost_mm = |ratio: f64, depth_mm: f64| {
            let ground = Ground {
                green_ampt: ground.green_ampt.scaled(ratio),
                ..*ground
            };
            let each = Time::of_s(depth_mm / landing.mm_h() * 3_600.0);
            ground.green_ampt_split(landing, each, cycles).runoff.mm() / f64::from(cycles)
        };
        if lost_mm(least, deepest_mm) <= 0.0 {
            return None;
        }
        let (from, to) = (libm::log(least), libm::log(most.max(least)));
        let log_step = (to - from) / (RATIOS - 1) as f64;
        let root_step = deepest_mm.sqrt() / (DEPTHS - 1) as f64;
        let depth_mm = |column: usize| {
            let root = root_step * column as f64;
            root * root
        };
        let mut table = Box::new([std::array::from_fn(depth_mm); RATIOS]);
        for (row, cells) in table.iter_mut().enumerate() {
            let ratio = libm::exp(from + log_step * row as f64);
            // From the deepest down, until nothing runs off: then all stays, as it stands.
            for (column, cell) in cells.iter_mut().enumerate().rev() {
                let lost_mm = lost_mm(ratio, depth_mm(column));
                if lost_mm <= 0.0 {
                    break;
                }
                *cell -= lost_mm;
            }
        }
        Some(RunoffTable {
            landing,
            from,
            per_log: if log_step > 0.0 { 1.0 / log_step } else { 0.0 },
            per_root: 1.0 / root_step,
            stays_mm: table,
        })
    }

    /// The rate at which water lands in the table.
    #[must_use]
    pub fn landing(&self) -> Rate {
        self.landing
    }

    /// Share of a depth of a cycle \[mm\] that runs off. `log_ratio` is the logarithm of the
    /// conductivity's multiple, times the table's landing rate over the rate at which water
    /// lands.
    #[must_use]
    pub fn frac(&self, log_ratio: f64, depth_mm: f64) -> f64 {
        if depth_mm <= 0.0 {
            return 0.0;
        }
        let (row, down) = place((log_ratio - self.from) * self.per_log, RATIOS);
        let (column, along) = place(depth_mm.sqrt() * self.per_root, DEPTHS);
        let in_row = |row: usize| {
            let cells = &self.stays_mm[row];
            cells[column] + (cells[column + 1] - cells[column]) * along
        };
        let stays_mm = in_row(row) + (in_row(row + 1) - in_row(row)) * down;
        (1.0 - stays_mm / depth_mm).clamp(0.0, 1.0)
    }
}

/// The node below a place on an axis of so many nodes, and the share of the way to the next.
fn place(at: f64, nodes: usize) -> (usize, f64) {
    let at = at.clamp(0.0, (nodes - 1) as f64);
    let node = (at as usize).min(nodes - 2);
    (node, at - node as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::assumptions::Assumptions;
    use crate::soil::Texture;

    #[test]
    fn the_table_gives_what_ponding_gives() {
        let run = Assumptions::defaults();
        let (mut compared, mut worst) = (0, 0.0_f64);
        for texture in Texture::ALL {
            let ground = Ground::assumed(&run, texture, 2.0);
            for (rate_mm_h, cycles) in [(42.0, 1), (38.0, 4), (20.0, 2), (10.0, 3)] {
                let landing = Rate::from_mm_h(rate_mm_h).unwrap();
                let Some(table) = RunoffTable::new(&ground, landing, cycles, (0.38, 2.7), 12.0)
                else {
                    continue;
                };
                for ratio in [0.4, 0.55, 0.8, 1.0, 1.37, 2.5] {
                    for depth_mm in [0.3, 1.9, 3.3, 5.1, 8.8, 12.0] {
                        // A faster rate and a looser soil in the same ratio.
                        let faster = 1.05;
                        let soil = Ground {
                            green_ampt: ground.green_ampt.scaled(ratio * faster),
                            ..ground
                        };
                        let each = Time::of_s(depth_mm / (rate_mm_h * faster) * 3_600.0);
                        let split = soil.green_ampt_split(landing * faster, each, cycles);
                        let read = table.frac(libm::log(ratio), depth_mm);
                        worst = worst.max((read - split.runoff_frac()).abs());
                        compared += 1;
                    }
                }
            }
        }
        assert!(compared > 500, "{compared}");
        // Linear between nodes a twentieth of the root of the depth and a quarter of the ratio apart.
        assert!(worst < 0.02, "{worst}");
    }

    #[test]
    fn where_nothing_ponds_there_is_no_table() {
        let ground = Ground::assumed(&Assumptions::defaults(), Texture::Sand, 2.0);
        // Sand takes 15.2 mm/h, half of it where it takes least.
        let slow = Rate::from_mm_h(7.0).unwrap();
        assert!(RunoffTable::new(&ground, slow, 1, (0.5, 2.0), 10.0).is_none());
        let landing = Rate::from_mm_h(40.0).unwrap();
        let clay = Ground::assumed(&Assumptions::defaults(), Texture::Clay, 2.0);
        assert!(RunoffTable::new(&clay, landing, 0, (0.5, 2.0), 10.0).is_none());
        let table = RunoffTable::new(&clay, landing, 1, (0.5, 2.0), 10.0).unwrap();
        assert_eq!(table.frac(0.0, 0.0), 0.0);
    }
}
