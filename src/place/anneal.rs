//! Annealing: heads move as if by chance, at first also to their loss, ever less so; the best
//! layout met on the way is kept.
//!
//! A change of cost d is accepted with the probability `exp(−d / T)`. The temperature T falls
//! geometrically from a share of the layout's cost per head, so that lawns of every size are
//! heated alike, and the moves become finer with it.
//!
//! # References
//! - Kirkpatrick S., Gelatt C. D., Vecchi M. P., Optimization by Simulated Annealing, *Science*
//!   220(4598), 1983, 671–680. DOI 10.1126/science.220.4598.671.

use super::Role;
use super::chance::Chance;
use super::draft::Free;
use super::refine::{Search, within_play};
use super::ring::Spot;
use crate::shape::Point;

/// Stages of one temperature each.
const STAGES: usize = 40;
/// Temperature at the beginning and at the end, as shares of the layout's cost per head.
const HEAT: (f64, f64) = (0.25, 0.004);
/// Size of moves at the beginning and at the end, in throws.
const STEP: (f64, f64) = (0.25, 0.02);
/// Moves tried each time a head is lifted.
const AT_ONCE: usize = 4;
/// Share of the moves of interior heads that go anywhere on the lawn.
const JUMP_FRAC: f64 = 0.03;
/// Steps of the refinement behind the annealing, in throws.
const FINISH: [f64; 3] = [0.04, 0.02, 0.01];

impl Search<'_> {
    /// Anneals with so many moves, then refines. The layout is never worse for it.
    pub(super) fn anneal(&mut self, moves: usize, chance: &mut Chance) {
        if self.heads.is_empty() {
            return;
        }
        let before = (self.cost(), self.heads.clone());
        let mut best = before.clone();
        let per_head = before.0 / self.heads.len() as f64;
        for stage in 0..STAGES {
            let part = stage as f64 / (STAGES - 1) as f64;
            let between = |(from, to): (f64, f64)| from * libm::pow(to / from, part);
            for _ in 0..moves / STAGES / AT_ONCE {
                self.jostle(between(STEP), per_head * between(HEAT), chance);
            }
            self.aim();
            let cost = self.cost();
            if cost < best.0 {
                best = (cost, self.heads.clone());
            }
        }
        self.restore(best.1);
        self.run(&FINISH);
        if self.cost() > before.0 {
            self.restore(before.1);
        }
    }

    /// Lifts a head, tries a few moves of it and puts it down.
    fn jostle(&mut self, step: f64, temperature: f64, chance: &mut Chance) {
        let i = chance.below(self.heads.len());
        let mut head = self.lift(i);
        let mut cost = self.cost_at(i, &head.sector);
        for _ in 0..AT_ONCE {
            let Some(other) = self.moved(i, &head, step, chance) else {
                continue;
            };
            let other_cost = self.cost_at(i, &other.sector);
            let loss = other_cost - cost;
            if loss <= 0.0 || chance.share() < libm::exp(-loss / temperature) {
                (head, cost) = (other, other_cost);
            }
        }
        self.put(i, head);
    }

    /// A head with one thing about it changed; `None` where that cannot be.
    fn moved(&self, i: usize, head: &Free, step: f64, chance: &mut Chance) -> Option<Free> {
        let sector = head.sector;
        let kinds = if head.role == Role::Interior { 2 } else { 3 };
        match (chance.below(kinds), head.role) {
            (0, _) => {
                let wish_m = sector.radius_m * (1.0 + 0.6 * step * chance.either_way());
                let radius_m = self.lawn.throws.allowed(wish_m);
                (radius_m >= head.least_m - 1e-9 && radius_m != sector.radius_m).then(|| {
                    self.with(
                        head,
                        sector.at,
                        radius_m,
                        sector.start_deg,
                        sector.sweep_deg,
                    )
                })
            }
            (1, Role::Interior) => {
                let at = if chance.share() < JUMP_FRAC {
                    let (low, high) = self.lawn.outline.bounds();
                    let (x, y) = (chance.share(), chance.share());
                    low + Point::new(x * (high.x - low.x), y * (high.y - low.y))
                } else {
                    let (dx, dy) = (chance.either_way(), chance.either_way());
                    sector.at + Point::new(dx, dy) * (step * sector.radius_m)
                };
                self.is_free(i, at, sector.radius_m).then(|| {
                    self.with(
                        head,
                        at,
                        sector.radius_m,
                        sector.start_deg,
                        sector.sweep_deg,
                    )
                })
            }
            (1, _) => {
                let spot = head.spot.filter(|spot| spot.play_m > 0.0)?;
                let way_m = spot.even_m + spot.play_m * chance.either_way();
                self.slid(head, Spot { way_m, ..spot })
            }
            _ => {
                if sector.sweep_deg >= 360.0 {
                    return None;
                }
                let fives = |chance: &mut Chance| 5.0 * (chance.below(5) as f64 - 2.0);
                let sweep_deg = sector.sweep_deg + fives(chance);
                let start_deg = (sector.start_deg + fives(chance)).rem_euclid(360.0);
                let setter = &self.lawn.throws.setter;
                (setter.nearest_sweep_deg(sweep_deg) == sweep_deg
                    && within_play(head, start_deg, sweep_deg))
                .then(|| self.with(head, sector.at, sector.radius_m, start_deg, sweep_deg))
            }
        }
    }
}
