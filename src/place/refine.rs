//! Local search: heads are lifted one by one, tried a little elsewhere, and set down where the
//! rain is best.
//!
//! The cost of a layout is
//!
//! `mean over turf cells of [(x − 1)² + a · max(0, b − x)²] + c · (water beside the turf / water needed) + p · heads`
//!
//! with x the cell's rate over the mean rate. The squared departure is the squared coefficient of
//! variation; the second term weighs what the low quarter is made of; the third is overspray; the
//! fourth is the price of a head. Every trial costs one pass over the head's own footprint, and
//! the number of trials is bounded. The order of heads and trials is fixed and ties keep the
//! earlier, so the same lawn gets the same layout everywhere.

use super::Role;
use super::draft::{Free, Throws};
use crate::rain::{Board, Candidate, Weights};
use crate::shape::{Outline, Point};

/// Heads keep this share of a throw from one another.
const APART_FRAC: f64 = 0.5;
/// Interior heads keep this share of a throw from the boundary.
const INSET_FRAC: f64 = 0.2;
/// Arc edges may leave the direction of the boundary by this much \[degrees\].
const ARC_PLAY_DEG: f64 = 20.0;
/// A change must gain this much to be made.
const LEAST_GAIN: f64 = 1e-6;

/// Weights of the cost.
#[derive(Debug, Clone, Copy)]
pub(super) struct Taste {
    pub(super) low_share: f64,
    pub(super) low_weight: f64,
    pub(super) over_weight: f64,
    /// Price of a head that is not within the throw of two others, over the number of heads.
    pub(super) alone_price: f64,
    /// Price of a head, as a share of the cost 1 of a bare lawn, divided by the number of heads.
    pub(super) head_price: f64,
}

/// A layout under refinement.
pub(super) struct Search<'a> {
    outline: &'a Outline,
    throws: &'a Throws<'a>,
    board: Board<'a>,
    pub(super) heads: Vec<Free>,
    /// For each head, by how many others it is reached.
    reached_by: Vec<i32>,
    /// Heads for which nothing near has changed since they were last looked at in vain.
    quiet: Vec<bool>,
    taste: Taste,
    /// Trials left.
    pub(super) trials: usize,
}

impl<'a> Search<'a> {
    pub(super) fn new(
        outline: &'a Outline,
        throws: &'a Throws<'a>,
        board: Board<'a>,
        heads: Vec<Free>,
        taste: Taste,
        trials: usize,
    ) -> Search<'a> {
        let (reached_by, quiet) = (vec![0; heads.len()], vec![false; heads.len()]);
        let mut search = Search { outline, throws, board, heads, reached_by, quiet, taste, trials };
        search.count_reached();
        for head in &search.heads {
            search.board.rain(&head.sector, None, 1.0);
        }
        search.aim();
        search
    }

    /// Takes the mean rate as the rate that every cell should get.
    fn aim(&mut self) {
        let mean = self.board.mean_mm_h();
        if mean > 0.0 {
            self.board.aim(Weights {
                target_mm_h: mean,
                low_share: self.taste.low_share,
                low_weight: self.taste.low_weight,
                over_weight: self.taste.over_weight,
            });
        }
    }

    /// The cost of the layout as it stands.
    pub(super) fn cost(&self) -> f64 {
        let needed_l_h = self.board.mean_mm_h() * self.turf_m2();
        if needed_l_h <= 0.0 {
            return f64::INFINITY;
        }
        let flow_l_h: f64 = self.heads.iter().map(|head| 60.0 * head.sector.flow_lpm).sum();
        let beside = (flow_l_h - needed_l_h).max(0.0) / needed_l_h;
        self.board.penalty() + self.taste.over_weight * beside + self.price() * self.heads.len() as f64
    }

    fn turf_m2(&self) -> f64 {
        let grid = self.board.grid();
        grid.turf_cells() as f64 * grid.cell_m() * grid.cell_m()
    }

    /// Price of one head.
    fn price(&self) -> f64 {
        self.taste.head_price
    }

    /// Refines with ever finer steps until nothing moves or the trials are used up.
    pub(super) fn run(&mut self, steps: &[f64]) {
        for &step in steps {
            self.quiet.fill(false);
            for _ in 0..6 {
                let moved = self.sweep(step);
                self.aim();
                if !moved || self.trials == 0 {
                    break;
                }
            }
        }
    }

    /// One round over all heads with one step, a share of the throw. Returns whether any moved.
    pub(super) fn sweep(&mut self, step: f64) -> bool {
        let mut moved = false;
        for i in 0..self.heads.len() {
            if self.trials == 0 {
                break;
            }
            if self.quiet[i] {
                continue;
            }
            let head = self.heads[i];
            self.board.rain(&head.sector, None, -1.0);
            self.reach_of(i, &head.sector, -1);
            let mut best = (self.board.cost_of(&head.sector, None) + self.alone_cost(i, &head.sector) - LEAST_GAIN, head);
            self.trials -= 1;
            for option in self.options(i, step) {
                if self.trials == 0 {
                    break;
                }
                self.trials -= 1;
                let cost = self.board.cost_of(&option.sector, None) + self.alone_cost(i, &option.sector);
                if cost < best.0 {
                    best = (cost, option);
                }
            }
            self.quiet[i] = true;
            if best.1 != head {
                moved = true;
                for (quiet, other) in self.quiet.iter_mut().zip(&self.heads) {
                    let d = other.sector.at.distance(head.sector.at);
                    *quiet &= d > other.sector.radius_m + head.sector.radius_m;
                }
            }
            self.heads[i] = best.1;
            self.board.rain(&best.1.sector, None, 1.0);
            self.reach_of(i, &best.1.sector, 1);
        }
        moved
    }

    fn count_reached(&mut self) {
        self.reached_by = vec![0; self.heads.len()];
        for i in 0..self.heads.len() {
            let sector = self.heads[i].sector;
            self.reach_of(i, &sector, 1);
        }
    }

    /// Counts head `i`, standing as given, in or out among those that reach the others.
    fn reach_of(&mut self, i: usize, sector: &Candidate, sign: i32) {
        for (j, other) in self.heads.iter().enumerate() {
            if j != i && other.sector.at.distance(sector.at) <= sector.radius_m {
                self.reached_by[j] += sign;
            }
        }
    }

    /// What it costs that heads are not within the throw of two others, if head `i` (now lifted)
    /// stood as given.
    fn alone_cost(&self, i: usize, sector: &Candidate) -> f64 {
        if self.taste.alone_price == 0.0 {
            return 0.0;
        }
        let mut alone = 0;
        let mut hits = 0;
        for (j, other) in self.heads.iter().enumerate() {
            if j == i {
                continue;
            }
            let d = other.sector.at.distance(sector.at);
            hits += i32::from(d <= other.sector.radius_m);
            let reached = self.reached_by[j] + i32::from(d <= sector.radius_m);
            alone += (2 - reached).max(0);
        }
        alone += (2 - hits).max(0);
        self.taste.alone_price * f64::from(alone) / self.heads.len() as f64
    }

    /// What a head could do instead.
    fn options(&self, i: usize, step: f64) -> Vec<Free> {
        let head = &self.heads[i];
        let sector = head.sector;
        let mut options = Vec::with_capacity(12);
        let radius_step_m = (step * 0.6 * sector.radius_m).max(0.02);
        for sign in [-1.0, 1.0] {
            let radius_m = self.throws.allowed(sector.radius_m + sign * radius_step_m);
            if radius_m >= head.least_m - 1e-9 && radius_m != sector.radius_m {
                options.push(self.with(head, sector.at, radius_m, sector.start_deg, sector.sweep_deg));
            }
        }
        match head.role {
            Role::Interior => {
                let step_m = step * sector.radius_m;
                for (dx, dy) in
                    [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0), (0.7, 0.7), (-0.7, 0.7), (-0.7, -0.7), (0.7, -0.7)]
                {
                    let at = sector.at + Point::new(dx, dy) * step_m;
                    if self.is_free(i, at, sector.radius_m) {
                        options.push(self.with(head, at, sector.radius_m, 0.0, 360.0));
                    }
                }
            }
            _ if sector.sweep_deg < 360.0 => {
                for (turn_deg, grow_deg) in [(5.0, -5.0), (-5.0, 5.0), (0.0, 5.0), (0.0, -5.0), (5.0, 0.0), (-5.0, 0.0)] {
                    let sweep_deg = sector.sweep_deg + grow_deg;
                    if self.throws.setter.nearest_sweep_deg(sweep_deg) != sweep_deg {
                        continue;
                    }
                    let start_deg = (sector.start_deg + turn_deg).rem_euclid(360.0);
                    if within_play(head, start_deg, sweep_deg) {
                        options.push(self.with(head, sector.at, sector.radius_m, start_deg, sweep_deg));
                    }
                }
            }
            _ => {}
        }
        options
    }

    fn with(&self, head: &Free, at: Point, radius_m: f64, start_deg: f64, sweep_deg: f64) -> Free {
        Free { sector: self.throws.sector(at, radius_m, start_deg, sweep_deg), ..*head }
    }

    /// Whether an interior head may stand at a place.
    fn is_free(&self, i: usize, at: Point, radius_m: f64) -> bool {
        self.heads
            .iter()
            .enumerate()
            .all(|(j, other)| j == i || other.sector.at.distance(at) >= APART_FRAC * other.sector.radius_m.max(radius_m))
            && self.is_inside(at, INSET_FRAC * radius_m)
    }

    /// Whether a place and eight places about it lie on turf, by the search's cells.
    fn is_inside(&self, at: Point, inset_m: f64) -> bool {
        let grid = self.board.grid();
        (-1..=1).all(|i| {
            (-1..=1).all(|j| {
                // Diagonal places at the same distance as straight ones.
                let reach_m = if i != 0 && j != 0 { 0.7071 * inset_m } else { inset_m };
                grid.turf_at(at + Point::new(f64::from(i), f64::from(j)) * reach_m)
            })
        })
    }

    /// Takes out interior heads that are worth less than their price, the least useful first.
    pub(super) fn thin_out(&mut self, most: usize) {
        loop {
            let mut worst: Option<(f64, usize)> = None;
            for i in 0..self.heads.len() {
                if self.heads[i].role != Role::Interior || self.trials == 0 {
                    continue;
                }
                self.trials -= 1;
                let sector = self.heads[i].sector;
                self.board.rain(&sector, None, -1.0);
                let worth = -self.board.cost_of(&sector, None);
                self.board.rain(&sector, None, 1.0);
                if worst.is_none_or(|(least, _)| worth < least) {
                    worst = Some((worth, i));
                }
            }
            match worst {
                Some((worth, i)) if worth < self.price() || self.heads.len() > most => {
                    let head = self.heads.remove(i);
                    self.quiet = vec![false; self.heads.len()];
                    self.board.rain(&head.sector, None, -1.0);
                    self.count_reached();
                }
                _ => return,
            }
        }
    }

    /// Adds interior heads where they help most, while the layout has room for them. Places are
    /// tried on a coarse net over the turf.
    pub(super) fn top_up(&mut self, most: usize, net_m: f64, throw_m: f64) {
        let (low, high) = self.outline.bounds();
        while self.heads.len() < most {
            let mut best: Option<(f64, Free)> = None;
            let cols = ((high.x - low.x) / net_m).floor() as usize;
            let rows = ((high.y - low.y) / net_m).floor() as usize;
            for k in 0..=cols * (rows + 1) + rows {
                let (col, row) = (k % (cols + 1), k / (cols + 1));
                let at = low + Point::new(col as f64 + 0.5, row as f64 + 0.5) * net_m;
                let free = self.throws.inside(at, throw_m);
                if self.trials == 0 || !self.is_free(usize::MAX, at, free.sector.radius_m) {
                    continue;
                }
                self.trials -= 1;
                let cost = self.board.cost_of(&free.sector, None) + self.price();
                if cost < best.as_ref().map_or(-LEAST_GAIN, |b| b.0) {
                    best = Some((cost, free));
                }
            }
            let Some((_, free)) = best else { return };
            self.board.rain(&free.sector, None, 1.0);
            self.heads.push(free);
            self.quiet = vec![false; self.heads.len()];
            self.count_reached();
            self.aim();
        }
    }

    /// The heads' sectors, for comparison of layouts.
    pub(super) fn into_heads(self) -> Vec<Free> {
        self.heads
    }
}

/// Whether both edges of an arc stay near the directions of the boundary.
fn within_play(head: &Free, start_deg: f64, sweep_deg: f64) -> bool {
    let off = |a: f64, b: f64| {
        let d = (a - b).rem_euclid(360.0);
        d.min(360.0 - d)
    };
    let (start0, sweep0) = head.natural;
    off(start_deg, start0) <= ARC_PLAY_DEG && off(start_deg + sweep_deg, start0 + sweep0) <= ARC_PLAY_DEG
}

/// A sector whose throw is cut to what the turf offers, before refinement.
pub(super) fn shortened(free: &Free, throws: &Throws, room_m: f64) -> Free {
    let radius_m = throws.allowed(free.sector.radius_m.min(room_m.max(free.least_m)));
    let sector: Candidate =
        throws.sector(free.sector.at, radius_m, free.sector.start_deg, free.sector.sweep_deg);
    Free { sector, ..*free }
}
