//! A field on which heads can be lifted, tried elsewhere and set down, at the cost of their own
//! footprint: the inner loop of refinement.

use super::footprint::Footprint;
use super::grid::Grid;
use super::kernel::{self, Penalty, Run, Trial};
use super::scene::Scene;
use super::seen::SeenRows;
use super::{Jet, profile_number};
use crate::catalogue::Profile;
use crate::shape::{Point, seen_from};

/// How many places the board remembers of what is seen from them: a few hundred heads and their
/// trials.
const SIGHTS: usize = 512;

/// What is seen from a place, by the rows of the board's cells and of its scene's.
#[derive(Debug, Clone)]
struct Sight {
    on_board: SeenRows,
    in_scene: SeenRows,
}

/// A sector that is being tried.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// Where the head would stand.
    pub at: Point,
    /// Throw \[m\].
    pub radius_m: f64,
    /// Start of the arc \[degrees clockwise from north\].
    pub start_deg: f64,
    /// Sweep \[degrees\].
    pub sweep_deg: f64,
    /// Flow \[L/min\].
    pub flow_lpm: f64,
}

/// What counts against a field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weights {
    /// Rate that every cell should get \[mm/h\].
    pub target_mm_h: f64,
    /// Share of the target below which a cell counts as under-watered.
    pub low_share: f64,
    /// Weight of the squared shortfall below `low_share`.
    pub low_weight: f64,
    /// Weight of water that lands beside the turf, relative to the water the turf needs.
    pub over_weight: f64,
}

impl Weights {
    /// Nothing counts but the departure from 1 mm/h.
    pub const NONE: Weights = Weights {
        target_mm_h: 1.0,
        low_share: 0.0,
        low_weight: 0.0,
        over_weight: 0.0,
    };
}

/// Rain of a growing and shrinking set of sectors, and what it costs.
///
/// The cost is a mean over the turf's cells of `(x/T − 1)² + low_weight · max(0, low − x/T)²`
/// plus `over_weight` × (water beside the turf / water needed at rate T), and in a [`Scene`] plus
/// (water where it does harm × its harm / water needed).
#[derive(Debug, Clone)]
pub struct Board<'g> {
    grid: &'g Grid,
    profile: &'g Profile,
    field: Vec<f32>,
    penalty: Penalty,
    weights: Weights,
    /// Work space of a trial: the runs of cells of one head that it sees and that it does not.
    runs: Vec<Run>,
    scene: Option<&'g Scene>,
    hidden: Vec<Run>,
    /// Places lately asked for, each with what is seen from it.
    sights: Vec<Option<(Point, Option<Sight>)>>,
    /// Water of all heads where it does harm, each litre times its harm \[L/h\].
    harm_l_h: f64,
}

impl<'g> Board<'g> {
    /// A dry board.
    #[must_use]
    pub fn new(grid: &'g Grid, profile: &'g Profile, weights: Weights) -> Board<'g> {
        let mut board = Board {
            grid,
            profile,
            field: vec![0.0; grid.turf.len()],
            penalty: Penalty {
                inverse_target: 0.0,
                low: 0.0,
                low_weight: 0.0,
            },
            weights,
            runs: Vec::new(),
            hidden: Vec::new(),
            scene: None,
            sights: Vec::new(),
            harm_l_h: 0.0,
        };
        board.aim(weights);
        board
    }

    /// Changes what counts.
    pub fn aim(&mut self, weights: Weights) {
        self.weights = weights;
        self.penalty = Penalty {
            inverse_target: (1.0 / weights.target_mm_h) as f32,
            low: weights.low_share as f32,
            low_weight: weights.low_weight as f32,
        };
    }

    /// What counts now.
    #[must_use]
    pub fn weights(&self) -> Weights {
        self.weights
    }

    /// Sets a dry board in a scene: throws end at its blocks, and water that does harm counts.
    #[must_use]
    pub fn within(mut self, scene: Option<&'g Scene>) -> Board<'g> {
        self.scene = scene;
        if scene.is_some_and(|scene| !scene.blocks.is_empty()) {
            self.sights = vec![None; SIGHTS];
        }
        self
    }

    /// Sets a head down (`sign` 1) or lifts it (`sign` −1).
    pub fn rain(&mut self, candidate: &Candidate, sign: f32) {
        let slot = self.sight(candidate.at);
        let sight = slot.and_then(|slot| seen_of(&self.sights, slot));
        let (footprint, jet) = prepared(candidate, self.profile);
        let seen = sight.map(|sight| &sight.on_board);
        footprint.seen_runs_into(self.grid, seen, &mut self.runs);
        jet.add(&mut self.field, self.grid, &self.runs, sign);
        if let Some(scene) = self.scene {
            let space = (&mut self.runs, &mut self.hidden);
            let harm_l_h = scene.harm_l_h(&footprint, sight, &jet, space);
            self.harm_l_h += f64::from(sign) * harm_l_h;
        }
    }

    /// The change of cost if a head were set down.
    #[must_use]
    pub fn cost_of(&mut self, candidate: &Candidate) -> f64 {
        let slot = self.sight(candidate.at);
        let sight = slot.and_then(|slot| seen_of(&self.sights, slot));
        let (footprint, jet) = prepared(candidate, self.profile);
        let seen = sight.map(|sight| &sight.on_board);
        footprint.turf_runs_seen_into(self.grid, seen, &mut self.runs);
        let (penalty, landed) = attempt(self.grid, &self.field, &self.penalty, &jet, &self.runs);
        let turf_cells = self.grid.turf_cells.max(1) as f64;
        let cell_m2 = self.grid.cell_m * self.grid.cell_m;
        let mut beside_l_h =
            self.weights.over_weight * (60.0 * candidate.flow_lpm - landed * cell_m2).max(0.0);
        if let Some(scene) = self.scene {
            let space = (&mut self.runs, &mut self.hidden);
            beside_l_h += scene.harm_l_h(&footprint, sight, &jet, space);
        }
        penalty / turf_cells + beside_l_h / self.needed_l_h()
    }

    /// Water that the turf needs at the target rate \[L/h\].
    fn needed_l_h(&self) -> f64 {
        let cell_m2 = self.grid.cell_m * self.grid.cell_m;
        self.weights.target_mm_h * self.grid.turf_cells.max(1) as f64 * cell_m2
    }

    /// Where the board remembers what is seen from a place; `None` where nothing can stand in the
    /// way.
    fn sight(&mut self, at: Point) -> Option<usize> {
        let scene = self.scene.filter(|scene| !scene.blocks.is_empty())?;
        let key = at.x.to_bits().wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ at.y.to_bits();
        let slot = (key.wrapping_mul(0xD6E8_FEB8_6659_FD93) >> 32) as usize % SIGHTS;
        let is_known = self.sights[slot]
            .as_ref()
            .is_some_and(|(place, _)| *place == at);
        if !is_known {
            let seen = seen_from(at, scene.reach_m, &scene.blocks);
            let sight = seen.map(|seen| Sight {
                on_board: SeenRows::whole(self.grid, &seen),
                in_scene: SeenRows::whole(&scene.grid, &seen),
            });
            self.sights[slot] = Some((at, sight));
        }
        Some(slot)
    }

    /// Lifts every head.
    pub fn dry(&mut self) {
        self.field.fill(0.0);
        self.harm_l_h = 0.0;
    }

    /// The penalty of the whole field, a mean over the turf's cells, and of the water that does
    /// harm; plain overspray is not in it.
    #[must_use]
    pub fn penalty(&self) -> f64 {
        self.totals().penalty / self.grid.turf_cells.max(1) as f64
            + self.harm_l_h.max(0.0) / self.needed_l_h()
    }

    /// Mean rate over the turf \[mm/h\].
    #[must_use]
    pub fn mean_mm_h(&self) -> f64 {
        self.totals().landed / self.grid.turf_cells.max(1) as f64
    }

    /// Penalty and mean rate together.
    #[must_use]
    pub fn standing(&self) -> (f64, f64) {
        let (totals, cells) = (self.totals(), self.grid.turf_cells.max(1) as f64);
        let harm = self.harm_l_h.max(0.0) / self.needed_l_h();
        (totals.penalty / cells + harm, totals.landed / cells)
    }

    fn totals(&self) -> kernel::Totals {
        kernel::totals(&self.field, &self.grid.turf, &self.penalty)
    }

    /// The cells.
    #[must_use]
    pub fn grid(&self) -> &'g Grid {
        self.grid
    }

    /// The rates of all cells, turf or not, row by row from the south-west \[mm/h\].
    #[must_use]
    pub fn field(&self) -> &[f32] {
        &self.field[..self.grid.cols * self.grid.rows]
    }
}

impl Scene {
    /// Water of one head where it does harm, each litre times its harm \[L/h\].
    fn harm_l_h(
        &self,
        footprint: &Footprint,
        sight: Option<&Sight>,
        jet: &Jet,
        (runs, hidden): (&mut Vec<Run>, &mut Vec<Run>),
    ) -> f64 {
        let grid = &self.grid;
        let seen = sight.map(|sight| &sight.in_scene);
        footprint.split_into(grid, seen, (&self.starts, &self.harmful), runs, hidden);
        let mut harm = landed_on(grid, &self.harm, jet, runs);
        if self.stopped_harm > 0.0 && !hidden.is_empty() {
            harm += self.stopped_harm * landed_on(grid, &self.every, jet, hidden);
        }
        harm * grid.cell_m * grid.cell_m
    }
}

/// What is seen from a place that the board remembers; `None` where it sees everything.
fn seen_of(sights: &[Option<(Point, Option<Sight>)>], slot: usize) -> Option<&Sight> {
    sights[slot].as_ref().and_then(|(_, seen)| seen.as_ref())
}

/// Change of the penalty and rate landed on turf, over the runs of a head on a field.
fn attempt(grid: &Grid, field: &[f32], penalty: &Penalty, jet: &Jet, runs: &[Run]) -> (f64, f64) {
    let turf = &grid.turf;
    if let Some(number) = profile_number(jet.profile) {
        return kernel::attempt((field, turf), &jet.stream(grid), runs, penalty, number).sums();
    }
    let mut trial = Trial::default();
    for run in runs {
        let cells = field[run.cells()].iter().zip(&turf[run.cells()]);
        for (i, (&before, &weight)) in cells.enumerate() {
            let rain = jet.tabulated_rate(grid, run, i);
            let change = penalty.of(before + rain) - penalty.of(before);
            trial.penalties[i % kernel::LANES] += weight * change;
            trial.landed[i % kernel::LANES] += weight * rain;
        }
    }
    trial.sums()
}

/// Sum of the rates over the runs of a head, each cell's times its weight \[mm/h · cells\].
fn landed_on(grid: &Grid, weights: &[f32], jet: &Jet, runs: &[Run]) -> f64 {
    if let Some(number) = profile_number(jet.profile) {
        return kernel::landed(weights, &jet.stream(grid), runs, number);
    }
    let mut sum = 0.0;
    for run in runs {
        for (i, &weight) in weights[run.cells()].iter().enumerate() {
            sum += f64::from(weight * jet.tabulated_rate(grid, run, i));
        }
    }
    sum
}

fn prepared<'p>(candidate: &Candidate, profile: &'p Profile) -> (Footprint<'static>, Jet<'p>) {
    let footprint = Footprint::sector(
        candidate.at,
        candidate.radius_m,
        candidate.start_deg,
        candidate.sweep_deg,
        None,
    );
    (
        footprint,
        Jet::sector(
            candidate.flow_lpm,
            candidate.radius_m,
            candidate.sweep_deg,
            profile,
        ),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shape::Outline;

    fn lawn() -> Outline {
        Outline::new(
            vec![
                Point::new(0.0, 0.0),
                Point::new(21.0, 1.0),
                Point::new(19.0, 14.0),
                Point::new(2.0, 12.0),
            ],
            vec![],
        )
        .unwrap()
    }

    fn weights() -> Weights {
        Weights {
            target_mm_h: 12.0,
            low_share: 0.8,
            low_weight: 2.0,
            over_weight: 0.5,
        }
    }

    /// A cheap repeatable sequence in 0..1.
    fn sequence(seed: u64) -> impl FnMut() -> f64 {
        let mut state = seed;
        move || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        }
    }

    fn draw(next: &mut impl FnMut() -> f64) -> Candidate {
        Candidate {
            at: Point::new(next() * 20.0, next() * 13.0),
            radius_m: 3.0 + 4.0 * next(),
            start_deg: (next() * 360.0).floor(),
            sweep_deg: 45.0 + 5.0 * (next() * 45.0).floor(),
            flow_lpm: 2.0 + 4.0 * next(),
        }
    }

    #[test]
    fn ten_thousand_moves_leave_the_field_of_a_fresh_rain() {
        let outline = lawn();
        let grid = Grid::over(&outline, 0.4, 0.0);
        let profile = Profile::Triangular;
        let mut board = Board::new(&grid, &profile, weights());
        let mut next = sequence(7);
        let mut heads: Vec<Candidate> = (0..20).map(|_| draw(&mut next)).collect();
        for head in &heads {
            board.rain(head, 1.0);
        }
        for step in 0..10_000 {
            let i = step % heads.len();
            board.rain(&heads[i], -1.0);
            heads[i] = draw(&mut next);
            board.rain(&heads[i], 1.0);
        }
        let mut fresh = Board::new(&grid, &profile, weights());
        for head in &heads {
            fresh.rain(head, 1.0);
        }
        let mean = fresh.mean_mm_h();
        let worst = board
            .field()
            .iter()
            .zip(fresh.field())
            .map(|(a, b)| f64::from((a - b).abs()))
            .fold(0.0, f64::max);
        // The stated bound of incremental rain: 1e-5 of the mean after 10,000 moves.
        assert!(worst < 1e-5 * mean, "worst {worst}, mean {mean}");
    }

    #[test]
    fn a_trial_says_what_setting_down_does() {
        let outline = lawn();
        let grid = Grid::over(&outline, 0.3, 0.0);
        for profile in [
            Profile::Triangular,
            Profile::Elliptical,
            Profile::Uniform,
            Profile::Parabolic,
            Profile::parse("[[0,0.2],[0.5,1],[1,0.1]]").unwrap(),
        ] {
            let mut next = sequence(11);
            let mut board = Board::new(&grid, &profile, weights());
            for _ in 0..15 {
                board.rain(&draw(&mut next), 1.0);
            }
            for _ in 0..50 {
                let candidate = draw(&mut next);
                let said = board.cost_of(&candidate);
                let (penalty, mean) = (board.penalty(), board.mean_mm_h());
                board.rain(&candidate, 1.0);
                let landed = (board.mean_mm_h() - mean) * grid.turf_cells() as f64 * 0.09;
                let beside = (60.0 * candidate.flow_lpm - landed).max(0.0);
                let needed = 12.0 * grid.turf_cells() as f64 * 0.09;
                let found = board.penalty() - penalty + 0.5 * beside / needed;
                // f32 sums over a few thousand cells.
                assert!(
                    (said - found).abs() < 2e-5 * (1.0 + found.abs()),
                    "{profile}: {said} {found}"
                );
            }
        }
    }
}
