//! How many heads: those worth least are taken out, others are added where they help most.

use super::Role;
use super::draft::Free;
use super::refine::{LEAST_GAIN, Search};
use crate::rain::Candidate;
use crate::shape::Point;

/// Heads keep this share of a throw from one another.
const APART_FRAC: f64 = 0.5;
/// Interior heads keep this share of a throw from the boundary.
const INSET_FRAC: f64 = 0.2;
/// Places for another head are tried this share of a throw apart.
const NET_FRAC: f64 = 0.35;

impl Search<'_> {
    /// Whether an interior head may stand at a place.
    pub(super) fn is_free(&self, i: usize, at: Point, radius_m: f64) -> bool {
        let farthest_m = APART_FRAC * self.lawn.throws.longest_m();
        self.near.about(at, farthest_m).all(|j| {
            let other = &self.heads[j].sector;
            j == i || other.at.distance(at) >= APART_FRAC * other.radius_m.max(radius_m)
        }) && self.is_inside(at, INSET_FRAC * radius_m)
            && self.lawn.is_open(at)
    }

    /// Takes out interior heads that are worth less than nothing, and the least useful ones
    /// while there are too many.
    pub(super) fn thin_out(&mut self) {
        loop {
            let mut worths: Vec<(f64, usize)> = Vec::new();
            for i in 0..self.heads.len() {
                if self.heads[i].role == Role::Interior {
                    let sector = self.heads[i].sector;
                    self.board.rain(&sector, -1.0);
                    worths.push((-self.board.cost_of(&sector), i));
                    self.board.rain(&sector, 1.0);
                }
            }
            worths.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            // Of a large excess a quarter goes at once.
            let excess = self.heads.len().saturating_sub(self.lawn.most);
            let at_once = excess.div_ceil(4).max(self.heads.len().div_ceil(200));
            let mut leaving: Vec<usize> = worths
                .into_iter()
                .take(at_once)
                .filter(|&(worth, _)| excess > 0 || worth < 0.0)
                .map(|(_, i)| i)
                .collect();
            if leaving.is_empty() {
                return;
            }
            leaving.sort_unstable();
            self.take_all(&leaving);
        }
    }

    /// Takes out the heads of these numbers, which rise.
    pub(super) fn take_all(&mut self, leaving: &[usize]) {
        let mut gone = Vec::with_capacity(leaving.len());
        for &i in leaving.iter().rev() {
            let head = self.heads.remove(i);
            self.board.rain(&head.sector, -1.0);
            self.quiet.remove(i);
            gone.push(head.sector);
        }
        self.near.clear();
        for (i, head) in self.heads.iter().enumerate() {
            self.near.put(i, head.sector.at);
        }
        self.count_reached();
        gone.iter().for_each(|sector| self.wake(sector));
    }

    /// Looks again at all heads within reach of a sector that changed.
    pub(super) fn wake(&mut self, sector: &Candidate) {
        let farthest_m = sector.radius_m + self.lawn.throws.longest_m();
        for j in self.near.about(sector.at, farthest_m) {
            let other = &self.heads[j].sector;
            self.quiet[j] &= other.at.distance(sector.at) > other.radius_m + sector.radius_m;
        }
    }

    /// Adds interior heads where they help most, while the layout has room for them. Places are
    /// tried on a coarse net over the turf; what a head is worth there changes only near a head
    /// that was added.
    pub(super) fn top_up(&mut self) {
        if self.heads.len() >= self.lawn.most {
            return;
        }
        let (low, high) = self.lawn.outline.bounds();
        let throw_m = self.lawn.throw_m;
        let net_m = NET_FRAC * throw_m;
        let cols = ((high.x - low.x) / net_m).floor() as usize + 1;
        let rows = ((high.y - low.y) / net_m).floor() as usize + 1;
        let mut places: Vec<(f64, Free)> = (0..cols * rows)
            .map(|k| low + Point::new((k % cols) as f64 + 0.5, (k / cols) as f64 + 0.5) * net_m)
            .filter(|&at| self.is_free(usize::MAX, at, throw_m))
            .map(|at| (f64::NAN, self.lawn.throws.inside(at, throw_m)))
            .collect();
        let mut changed: Option<Candidate> = None;
        while self.heads.len() < self.lawn.most {
            let mut best: Option<(f64, Free)> = None;
            for (cost, free) in &mut places {
                let at = free.sector.at;
                let reach_m = free.sector.radius_m;
                if changed.is_none_or(|c| c.at.distance(at) < c.radius_m + reach_m) {
                    if self.trials == 0 {
                        break;
                    }
                    *cost = if self.is_free(usize::MAX, at, reach_m) {
                        self.trials -= 1;
                        self.board.cost_of(&free.sector)
                    } else {
                        f64::INFINITY
                    };
                }
                if *cost < best.as_ref().map_or(-LEAST_GAIN, |b| b.0) {
                    best = Some((*cost, *free));
                }
            }
            let Some((_, free)) = best else { return };
            self.add(free);
            self.aim();
            changed = Some(free.sector);
        }
    }

    /// Adds a head.
    pub(super) fn add(&mut self, free: Free) {
        self.near.put(self.heads.len(), free.sector.at);
        self.heads.push(free);
        self.quiet.push(false);
        self.board.rain(&free.sector, 1.0);
        self.count_reached();
        self.wake(&free.sector);
    }

    /// Whether a place and eight places about it lie on turf, by the search's cells.
    fn is_inside(&self, at: Point, inset_m: f64) -> bool {
        let grid = self.board.grid();
        (-1..=1).all(|i| {
            (-1..=1).all(|j| {
                // Diagonal places at the same distance as straight ones.
                let reach_m = if i != 0 && j != 0 {
                    std::f64::consts::FRAC_1_SQRT_2 * inset_m
                } else {
                    inset_m
                };
                grid.turf_at(at + Point::new(f64::from(i), f64::from(j)) * reach_m)
            })
        })
    }
}
