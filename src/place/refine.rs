//! Local search: heads are lifted one by one, tried a little elsewhere, and set down where the
//! rain is best.
//!
//! The cost of a layout is
//!
//! `mean over turf cells of [(x − 1)² + a · max(0, b − x)²] + c · B² + p · A`
//!
//! with x the cell's rate over the mean rate, B the water beside the turf over the water needed on
//! it at the mean rate, and A the heads that are missing to every head being within the throw of two
//! others, over the number of heads. The squared departure is the squared coefficient of
//! variation; the second term weighs what the low quarter is made of; the third is overspray, the
//! dearer the more there is of it. Every trial costs one pass over the head's own footprint, and
//! the number of trials is bounded. The order of heads and trials is fixed and ties keep the
//! earlier, so the same lawn gets the same layout everywhere.

use super::Role;
use super::draft::{Free, Throws};
use super::near::Near;
use super::ring::{Boundary, Spot};
use super::stand::Footing;
use crate::catalogue::Profile;
use crate::rain::{Board, Candidate, Grid, Scene, Weights};
use crate::shape::{Outline, Point};

/// Arc edges may leave the direction of the boundary by this much \[degrees\].
const ARC_PLAY_DEG: f64 = 20.0;
/// Most rounds over all heads with one step.
const ROUNDS: usize = 6;
/// A change must gain this much to be made.
pub(super) const LEAST_GAIN: f64 = 1e-6;

/// Weights of the cost.
#[derive(Debug, Clone, Copy)]
pub(super) struct Taste {
    pub(super) low_share: f64,
    pub(super) low_weight: f64,
    pub(super) over_weight: f64,
    /// Price of a head that is not within the throw of two others, over the number of heads.
    pub(super) alone_price: f64,
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
    pub(super) lawn: &'a Lawn<'a>,
    pub(super) board: Board<'a>,
    pub(super) heads: Vec<Free>,
    /// Where the heads stand, by number.
    pub(super) near: Near,
    /// For each head, by how many others it is reached.
    pub(super) reached_by: Vec<i32>,
    /// Heads for which nothing near has changed since they were last looked at in vain.
    pub(super) quiet: Vec<bool>,
    /// Trials left.
    pub(super) trials: usize,
}

impl<'a> Search<'a> {
    /// A bare lawn.
    pub(super) fn on(lawn: &'a Lawn<'a>) -> Search<'a> {
        Search {
            lawn,
            board: Board::new(&lawn.grid, lawn.profile, Weights::NONE).within(lawn.scene.as_ref()),
            heads: Vec::new(),
            near: Near::over(lawn.outline.bounds(), lawn.throws.longest_m()),
            reached_by: Vec::new(),
            quiet: Vec::new(),
            trials: usize::MAX,
        }
    }

    /// Takes other heads in place of all, their throws long enough for the gaps between them.
    pub(super) fn restart(&mut self, heads: Vec<Free>) {
        self.heads = heads;
        self.hold_gaps();
        self.set_down();
    }

    /// Takes other heads in place of all, just as they are.
    pub(super) fn restore(&mut self, heads: Vec<Free>) {
        self.heads = heads;
        self.set_down();
    }

    fn set_down(&mut self) {
        self.board.dry();
        self.near.clear();
        for (i, head) in self.heads.iter().enumerate() {
            self.board.rain(&head.sector, 1.0);
            self.near.put(i, head.sector.at);
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

    /// Takes the mean rate as the rate that every cell should get, and the price of water beside
    /// the turf as it stands: the slope of its square.
    pub(super) fn aim(&mut self) {
        let mean_mm_h = self.board.mean_mm_h();
        if mean_mm_h > 0.0 {
            let taste = &self.lawn.taste;
            self.board.aim(Weights {
                target_mm_h: mean_mm_h,
                low_share: taste.low_share,
                low_weight: taste.low_weight,
                over_weight: 2.0 * taste.over_weight * self.beside_frac(mean_mm_h),
            });
        }
    }

    /// Water that lands beside the turf over the water needed on it at the mean rate.
    fn beside_frac(&self, mean_mm_h: f64) -> f64 {
        let needed_l_h = mean_mm_h * self.turf_m2();
        let flow_l_h: f64 = self
            .heads
            .iter()
            .map(|head| 60.0 * head.sector.flow_lpm)
            .sum();
        (flow_l_h - needed_l_h).max(0.0) / needed_l_h
    }

    /// The cost of the layout as it stands.
    pub(super) fn cost(&self) -> f64 {
        let (penalty, mean_mm_h) = self.board.standing();
        if mean_mm_h <= 0.0 {
            return f64::INFINITY;
        }
        let beside = self.beside_frac(mean_mm_h);
        let alone: i32 = self.reached_by.iter().map(|&by| (2 - by).max(0)).sum();
        let taste = &self.lawn.taste;
        penalty
            + taste.over_weight * beside * beside
            + taste.alone_price * f64::from(alone) / self.heads.len().max(1) as f64
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
            let head = self.lift(i);
            let mut best = (self.cost_at(i, &head.sector) - LEAST_GAIN, head);
            for option in self.options(i, step) {
                if self.trials == 0 {
                    break;
                }
                let cost = self.cost_at(i, &option.sector);
                if cost < best.0 {
                    best = (cost, option);
                }
            }
            self.quiet[i] = true;
            if best.1 != head {
                moved = true;
                self.wake(&head.sector);
            }
            self.put(i, best.1);
        }
        moved
    }

    /// Lifts head `i`; it keeps its number and must be put down again.
    pub(super) fn lift(&mut self, i: usize) -> Free {
        let head = self.heads[i];
        self.board.rain(&head.sector, -1.0);
        self.reach_of(i, &head.sector, -1);
        head
    }

    /// Puts lifted head `i` down as given.
    pub(super) fn put(&mut self, i: usize, head: Free) {
        if head.sector.at != self.heads[i].sector.at {
            self.near.lift(i, self.heads[i].sector.at);
            self.near.put(i, head.sector.at);
            self.reached_by[i] = self
                .near
                .about(head.sector.at, self.lawn.throws.longest_m())
                .filter(|&j| j != i && reaches(&self.heads[j].sector, head.sector.at))
                .count() as i32;
        }
        self.heads[i] = head;
        self.board.rain(&head.sector, 1.0);
        self.reach_of(i, &head.sector, 1);
    }

    /// What it costs that lifted head `i` stands as given: its rain, and heads out of reach.
    pub(super) fn cost_at(&mut self, i: usize, sector: &Candidate) -> f64 {
        self.trials = self.trials.saturating_sub(1);
        self.board.cost_of(sector) + self.alone_cost(i, sector)
    }

    pub(super) fn count_reached(&mut self) {
        self.reached_by = vec![0; self.heads.len()];
        for i in 0..self.heads.len() {
            let sector = self.heads[i].sector;
            self.reach_of(i, &sector, 1);
        }
    }

    /// Counts head `i`, standing as given, in or out among those that reach the others.
    fn reach_of(&mut self, i: usize, sector: &Candidate, sign: i32) {
        for j in self.near.about(sector.at, sector.radius_m) {
            if j != i && reaches(sector, self.heads[j].sector.at) {
                self.reached_by[j] += sign;
            }
        }
    }

    /// What it costs that heads are not within the throw of two others, if head `i` (now lifted)
    /// stood as given; what does not depend on that is left out.
    fn alone_cost(&self, i: usize, sector: &Candidate) -> f64 {
        if self.lawn.taste.alone_price == 0.0 {
            return 0.0;
        }
        let mut alone = 0;
        let mut hits = 0;
        for j in self.near.about(sector.at, self.lawn.throws.longest_m()) {
            if j == i {
                continue;
            }
            let other = &self.heads[j].sector;
            hits += i32::from(reaches(other, sector.at));
            alone -= i32::from(self.reached_by[j] < 2 && reaches(sector, other.at));
        }
        alone += (2 - hits).max(0);
        self.lawn.taste.alone_price * f64::from(alone) / self.heads.len() as f64
    }

    /// What a head could do instead.
    pub(super) fn options(&self, i: usize, step: f64) -> Vec<Free> {
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

    pub(super) fn slid(&self, head: &Free, spot: Spot) -> Option<Free> {
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

    pub(super) fn with(
        &self,
        head: &Free,
        at: Point,
        radius_m: f64,
        start_deg: f64,
        sweep_deg: f64,
    ) -> Free {
        Free {
            sector: self.lawn.throws.sector(at, radius_m, start_deg, sweep_deg),
            ..*head
        }
    }
}

/// Whether a head standing as given reaches a place.
fn reaches(sector: &Candidate, place: Point) -> bool {
    sector.at.distance(place) <= sector.radius_m
}

/// Whether both edges of an arc stay near the directions of the boundary.
pub(super) fn within_play(head: &Free, start_deg: f64, sweep_deg: f64) -> bool {
    let off = |a: f64, b: f64| {
        let d = (a - b).rem_euclid(360.0);
        d.min(360.0 - d)
    };
    let (start0, sweep0) = head.natural;
    off(start_deg, start0) <= ARC_PLAY_DEG
        && off(start_deg + sweep_deg, start0 + sweep0) <= ARC_PLAY_DEG
}
