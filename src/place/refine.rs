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
use super::ring::{Boundary, Spot};
use super::stand::Footing;
use crate::catalogue::Profile;
use crate::rain::{Board, Candidate, Grid, Scene, Weights};
use crate::shape::{Outline, Point};

/// Heads keep this share of a throw from one another.
const APART_FRAC: f64 = 0.5;
/// Interior heads keep this share of a throw from the boundary.
const INSET_FRAC: f64 = 0.2;
/// Arc edges may leave the direction of the boundary by this much \[degrees\].
const ARC_PLAY_DEG: f64 = 20.0;
/// Places for another head are tried this share of a throw apart.
const NET_FRAC: f64 = 0.35;
/// Most rounds over all heads with one step.
const ROUNDS: usize = 6;
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

impl Taste {
    fn weights(&self, target_mm_h: f64) -> Weights {
        Weights {
            target_mm_h,
            low_share: self.low_share,
            low_weight: self.low_weight,
            over_weight: self.over_weight,
        }
    }
}

/// What a layout is made for: the lawn, how its boundary runs, what can be set there, and what
/// is asked of it.
pub(super) struct Lawn<'a> {
    pub(super) outline: &'a Outline,
    pub(super) boundaries: Vec<Boundary>,
    pub(super) throws: Throws<'a>,
    /// The design throw \[m\].
    pub(super) throw_m: f64,
    /// The search's own cells.
    pub(super) grid: Grid,
    /// Where heads may stand on the boundary, and the cells in which none may inside; empty where
    /// all are free.
    pub(super) footing: Footing<'a>,
    pub(super) barred: Vec<bool>,
    /// What stands and lies around; `None` where nothing does.
    pub(super) scene: Option<Scene>,
    pub(super) profile: &'a Profile,
    pub(super) taste: Taste,
    /// Most heads.
    pub(super) most: usize,
    /// Largest gap on the boundary, in throws.
    pub(super) gap_frac: f64,
    /// Pitch of the inner grids, in throws.
    pub(super) spacing_frac: f64,
}

impl Lawn<'_> {
    /// Whether nothing forbids an interior head at a place.
    pub(super) fn is_open(&self, at: Point) -> bool {
        let cell = self.grid.cell_at(at);
        cell.and_then(|cell| self.barred.get(cell))
            .is_none_or(|&barred| !barred)
    }
}

/// A layout under refinement.
pub(super) struct Search<'a> {
    lawn: &'a Lawn<'a>,
    board: Board<'a>,
    pub(super) heads: Vec<Free>,
    /// For each head, by how many others it is reached.
    reached_by: Vec<i32>,
    /// Heads for which nothing near has changed since they were last looked at in vain.
    quiet: Vec<bool>,
    /// Trials left.
    pub(super) trials: usize,
}

impl<'a> Search<'a> {
    pub(super) fn new(lawn: &'a Lawn<'a>, heads: Vec<Free>, trials: usize) -> Search<'a> {
        let board = Board::new(&lawn.grid, lawn.profile, lawn.taste.weights(1.0))
            .within(lawn.scene.as_ref());
        let mut search = Search {
            lawn,
            board,
            heads: Vec::new(),
            reached_by: Vec::new(),
            quiet: Vec::new(),
            trials,
        };
        search.restart(heads);
        search
    }

    /// What the layout is made for.
    pub(super) fn lawn(&self) -> &'a Lawn<'a> {
        self.lawn
    }

    /// Takes other heads in place of all.
    pub(super) fn restart(&mut self, heads: Vec<Free>) {
        for head in &self.heads {
            self.board.rain(&head.sector, -1.0);
        }
        self.heads = heads;
        self.hold_gaps();
        for head in &self.heads {
            self.board.rain(&head.sector, 1.0);
        }
        self.quiet = vec![false; self.heads.len()];
        self.count_reached();
        self.aim();
    }

    /// Lengthens throws on the boundary so that each reaches its neighbours there, and notes the
    /// shortest throw that does. Neighbours farther than any allowed gap are none: a sliver or a
    /// narrow neck lies between.
    fn hold_gaps(&mut self) {
        let Lawn {
            throws,
            gap_frac,
            boundaries,
            ..
        } = self.lawn;
        let gap_frac = *gap_frac;
        let farthest_m = 1.02 * gap_frac * throws.longest_m();
        for (ring, boundary) in boundaries.iter().enumerate() {
            let way = |head: &Free| {
                head.spot
                    .filter(|spot| spot.ring == ring)
                    .map(|spot| spot.way_m)
            };
            let mut around: Vec<(f64, usize)> = self
                .heads
                .iter()
                .enumerate()
                .filter_map(|(i, head)| Some((way(head)?, i)))
                .collect();
            let total_m = boundary.path.total_m();
            for (way_m, _) in &mut around {
                *way_m = way_m.rem_euclid(total_m);
            }
            around.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            for k in 0..around.len() {
                let i = around[k].1;
                let here = self.heads[i].sector.at;
                let gap_m = [
                    around[(k + 1) % around.len()].1,
                    around[(k + around.len() - 1) % around.len()].1,
                ]
                .into_iter()
                .map(|n| self.heads[n].sector.at.distance(here))
                .filter(|&d| d <= farthest_m)
                .fold(0.0, f64::max);
                let head = &mut self.heads[i];
                let sector = head.sector;
                head.least_m = throws.allowed(gap_m / gap_frac);
                let radius_m = sector.radius_m.max(head.least_m);
                head.sector =
                    throws.sector(sector.at, radius_m, sector.start_deg, sector.sweep_deg);
            }
        }
    }

    /// Takes the mean rate as the rate that every cell should get.
    fn aim(&mut self) {
        let mean = self.board.mean_mm_h();
        if mean > 0.0 {
            self.board.aim(self.lawn.taste.weights(mean));
        }
    }

    /// The cost of the layout as it stands.
    pub(super) fn cost(&self) -> f64 {
        let needed_l_h = self.board.mean_mm_h() * self.turf_m2();
        if needed_l_h <= 0.0 {
            return f64::INFINITY;
        }
        let flow_l_h: f64 = self
            .heads
            .iter()
            .map(|head| 60.0 * head.sector.flow_lpm)
            .sum();
        let beside = (flow_l_h - needed_l_h).max(0.0) / needed_l_h;
        let alone: i32 = self.reached_by.iter().map(|&by| (2 - by).max(0)).sum();
        let taste = &self.lawn.taste;
        self.board.penalty()
            + taste.over_weight * beside
            + taste.alone_price * f64::from(alone) / self.heads.len().max(1) as f64
            + taste.head_price * self.heads.len() as f64
    }

    fn turf_m2(&self) -> f64 {
        let grid = self.board.grid();
        grid.turf_cells() as f64 * grid.cell_m() * grid.cell_m()
    }

    /// Refines with ever finer steps until nothing moves or the trials are used up.
    pub(super) fn run(&mut self, steps: &[f64]) {
        for &step in steps {
            self.quiet.fill(false);
            for _ in 0..ROUNDS {
                let moved = self.sweep(step);
                self.aim();
                if !moved || self.trials == 0 {
                    break;
                }
            }
        }
    }

    /// The same for those heads only whose neighbourhood has changed.
    pub(super) fn run_awake(&mut self, steps: &[f64]) {
        let awake = self.quiet.clone();
        for &step in steps {
            for (quiet, was) in self.quiet.iter_mut().zip(&awake) {
                *quiet &= *was;
            }
            for _ in 0..ROUNDS {
                let moved = self.sweep(step);
                self.aim();
                if !moved || self.trials == 0 {
                    break;
                }
            }
        }
    }

    /// Lets all heads rest until something changes near them.
    pub(super) fn quiet_all(&mut self) {
        self.quiet.fill(true);
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
            self.board.rain(&head.sector, -1.0);
            self.reach_of(i, &head.sector, -1);
            let mut best = (
                self.board.cost_of(&head.sector) + self.alone_cost(i, &head.sector) - LEAST_GAIN,
                head,
            );
            self.trials -= 1;
            for option in self.options(i, step) {
                if self.trials == 0 {
                    break;
                }
                self.trials -= 1;
                let cost = self.board.cost_of(&option.sector) + self.alone_cost(i, &option.sector);
                if cost < best.0 {
                    best = (cost, option);
                }
            }
            self.quiet[i] = true;
            if best.1 != head {
                moved = true;
                self.wake(&head.sector);
            }
            self.heads[i] = best.1;
            self.board.rain(&best.1.sector, 1.0);
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
        if self.lawn.taste.alone_price == 0.0 {
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
        self.lawn.taste.alone_price * f64::from(alone) / self.heads.len() as f64
    }

    /// What a head could do instead.
    fn options(&self, i: usize, step: f64) -> Vec<Free> {
        let head = &self.heads[i];
        let sector = head.sector;
        let mut options = Vec::with_capacity(12);
        let radius_step_m = (step * 0.6 * sector.radius_m).max(0.02);
        for sign in [-1.0, 1.0] {
            let radius_m = self
                .lawn
                .throws
                .allowed(sector.radius_m + sign * radius_step_m);
            if radius_m >= head.least_m - 1e-9 && radius_m != sector.radius_m {
                options.push(self.with(
                    head,
                    sector.at,
                    radius_m,
                    sector.start_deg,
                    sector.sweep_deg,
                ));
            }
        }
        if let Some(spot) = head.spot {
            for sign in [-1.0, 1.0] {
                let way_m = spot.way_m + sign * (step * sector.radius_m).min(spot.play_m);
                if spot.play_m > 0.0 && (way_m - spot.even_m).abs() <= spot.play_m {
                    options.extend(self.slid(head, Spot { way_m, ..spot }));
                }
            }
        }
        match head.role {
            Role::Interior => {
                let step_m = step * sector.radius_m;
                for (dx, dy) in [
                    (1.0, 0.0),
                    (0.0, 1.0),
                    (-1.0, 0.0),
                    (0.0, -1.0),
                    (0.7, 0.7),
                    (-0.7, 0.7),
                    (-0.7, -0.7),
                    (0.7, -0.7),
                ] {
                    let at = sector.at + Point::new(dx, dy) * step_m;
                    if self.is_free(i, at, sector.radius_m) {
                        options.push(self.with(head, at, sector.radius_m, 0.0, 360.0));
                    }
                }
            }
            _ if sector.sweep_deg < 360.0 => {
                for (turn_deg, grow_deg) in [
                    (5.0, -5.0),
                    (-5.0, 5.0),
                    (0.0, 5.0),
                    (0.0, -5.0),
                    (5.0, 0.0),
                    (-5.0, 0.0),
                ] {
                    let sweep_deg = sector.sweep_deg + grow_deg;
                    if self.lawn.throws.setter.nearest_sweep_deg(sweep_deg) != sweep_deg {
                        continue;
                    }
                    let start_deg = (sector.start_deg + turn_deg).rem_euclid(360.0);
                    if within_play(head, start_deg, sweep_deg) {
                        options.push(self.with(
                            head,
                            sector.at,
                            sector.radius_m,
                            start_deg,
                            sweep_deg,
                        ));
                    }
                }
            }
            _ => {}
        }
        options
    }

    fn slid(&self, head: &Free, spot: Spot) -> Option<Free> {
        let wish = self.lawn.boundaries[spot.ring].path.at(spot.way_m);
        let at = self.lawn.footing.settled(wish)?;
        let sector = head.sector;
        Some(Free {
            spot: Some(spot),
            ..self.with(
                head,
                at,
                sector.radius_m,
                sector.start_deg,
                sector.sweep_deg,
            )
        })
    }

    fn with(&self, head: &Free, at: Point, radius_m: f64, start_deg: f64, sweep_deg: f64) -> Free {
        Free {
            sector: self.lawn.throws.sector(at, radius_m, start_deg, sweep_deg),
            ..*head
        }
    }

    /// Whether an interior head may stand at a place.
    fn is_free(&self, i: usize, at: Point, radius_m: f64) -> bool {
        self.heads.iter().enumerate().all(|(j, other)| {
            j == i
                || other.sector.at.distance(at) >= APART_FRAC * other.sector.radius_m.max(radius_m)
        }) && self.is_inside(at, INSET_FRAC * radius_m)
            && self.lawn.is_open(at)
    }

    /// Takes out interior heads that are worth less than their price, and the least useful ones
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
            let at_once = excess.div_ceil(4).max(1);
            let mut leaving: Vec<usize> = worths
                .into_iter()
                .take(at_once)
                .filter(|&(worth, _)| excess > 0 || worth < self.lawn.taste.head_price)
                .map(|(_, i)| i)
                .collect();
            if leaving.is_empty() {
                return;
            }
            leaving.sort_unstable();
            for &i in leaving.iter().rev() {
                self.take(i);
            }
        }
    }

    /// Takes one head out.
    pub(super) fn take(&mut self, i: usize) -> Free {
        let head = self.heads.remove(i);
        self.board.rain(&head.sector, -1.0);
        self.quiet.remove(i);
        self.wake(&head.sector);
        self.count_reached();
        head
    }

    /// Looks again at all heads within reach of a sector that changed.
    pub(super) fn wake(&mut self, sector: &Candidate) {
        for (quiet, other) in self.quiet.iter_mut().zip(&self.heads) {
            let d = other.sector.at.distance(sector.at);
            *quiet &= d > other.sector.radius_m + sector.radius_m;
        }
    }

    /// Adds interior heads where they help most, while the layout has room for them. Places are
    /// tried on a coarse net over the turf.
    pub(super) fn top_up(&mut self) {
        let (low, high) = self.lawn.outline.bounds();
        let throw_m = self.lawn.throw_m;
        let net_m = NET_FRAC * throw_m;
        let cols = ((high.x - low.x) / net_m).floor() as usize + 1;
        let rows = ((high.y - low.y) / net_m).floor() as usize + 1;
        while self.heads.len() < self.lawn.most {
            let mut best: Option<(f64, Free)> = None;
            for k in 0..cols * rows {
                let at = low + Point::new((k % cols) as f64 + 0.5, (k / cols) as f64 + 0.5) * net_m;
                let free = self.lawn.throws.inside(at, throw_m);
                if self.trials == 0 || !self.is_free(usize::MAX, at, free.sector.radius_m) {
                    continue;
                }
                self.trials -= 1;
                let cost = self.board.cost_of(&free.sector) + self.lawn.taste.head_price;
                if cost < best.as_ref().map_or(-LEAST_GAIN, |b| b.0) {
                    best = Some((cost, free));
                }
            }
            let Some((_, free)) = best else { return };
            self.board.rain(&free.sector, 1.0);
            self.wake(&free.sector);
            self.heads.push(free);
            self.quiet.push(false);
            self.count_reached();
            self.aim();
        }
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

/// Whether both edges of an arc stay near the directions of the boundary.
fn within_play(head: &Free, start_deg: f64, sweep_deg: f64) -> bool {
    let off = |a: f64, b: f64| {
        let d = (a - b).rem_euclid(360.0);
        d.min(360.0 - d)
    };
    let (start0, sweep0) = head.natural;
    off(start_deg, start0) <= ARC_PLAY_DEG
        && off(start_deg + sweep_deg, start0 + sweep0) <= ARC_PLAY_DEG
}
