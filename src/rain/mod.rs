//! Rain: the sum of what every head throws, cell by cell.
//!
//! The rate at distance r from a head of flow q, throw R and arc θ is
//! `60 · q / (θ R²) · g(r/R)` \[mm/h\] with q in L/min, θ in radians, R in metres and
//! ∫₀¹ g(s) s ds = 1; a strip waters its rectangle at `60 · q / (l · w)`. Heads do not disturb one
//! another and the ground is flat (superposition). Still air, but for [`Drifting`].

mod footprint;
mod grid;
mod kernel;
mod patch;
mod scene;
mod sector;
mod seen;
mod trial;
#[doc(hidden)]
pub mod vectors;
mod wetted;
mod wind;

pub use footprint::strip_corners;
pub use grid::Grid;
pub use patch::{Patch, patches};
pub use scene::Scene;
pub use seen::{all_seen, seen_by};
pub use trial::{Board, Candidate, Weights};
pub use wetted::wetted_outline;
pub use wind::{Drifting, SIDES, Wind, Winds, flight_s};

use crate::catalogue::{Head, Pattern, Profile, StripKind};
use crate::shape::{Outline, Point};
use footprint::Footprint;
use kernel::{Run, Stream};

/// The share of its throw within which a head reaches the turf for good: s ≤ 0.95.
pub const REACHED_SHARE: f64 = 0.95;

/// A change to all heads at once, to see how much a layout depends on being set just so.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Variation {
    /// Factor on throws at constant flow.
    pub throw_factor: f64,
    /// Turn of all arc starts \[degrees clockwise\].
    pub turn_deg: f64,
    /// Shift of all patterns as a share of each head's throw: east, north.
    pub shift_frac: (f64, f64),
}

impl Variation {
    /// As drawn.
    pub const NONE: Variation = Variation {
        throw_factor: 1.0,
        turn_deg: 0.0,
        shift_frac: (0.0, 0.0),
    };

    /// The nine members of `du_lq_robust`: nominal; throws ×0.90 and ×1.05; arcs −5° and +5°;
    /// patterns shifted by 0.1 R to north, east, south and west.
    pub const ROBUST: [Variation; 9] = [
        Variation::NONE,
        Variation {
            throw_factor: 0.90,
            ..Variation::NONE
        },
        Variation {
            throw_factor: 1.05,
            ..Variation::NONE
        },
        Variation {
            turn_deg: -5.0,
            ..Variation::NONE
        },
        Variation {
            turn_deg: 5.0,
            ..Variation::NONE
        },
        Variation {
            shift_frac: (0.0, 0.1),
            ..Variation::NONE
        },
        Variation {
            shift_frac: (0.1, 0.0),
            ..Variation::NONE
        },
        Variation {
            shift_frac: (0.0, -0.1),
            ..Variation::NONE
        },
        Variation {
            shift_frac: (-0.1, 0.0),
            ..Variation::NONE
        },
    ];

    /// A head after the change. A strip's sides change by the factor, its shift is a share of its
    /// longer reach from the head.
    #[must_use]
    pub fn of(&self, head: &Head) -> Head {
        let mut varied = head.clone();
        let span_m = match &mut varied.pattern {
            Pattern::Sector {
                radius_m,
                start_deg,
                sweep_deg,
            } => {
                let rated_m = *radius_m;
                *radius_m *= self.throw_factor;
                if *sweep_deg < 360.0 {
                    *start_deg += self.turn_deg;
                }
                rated_m
            }
            Pattern::Strip {
                kind,
                length_m,
                width_m,
                azimuth_deg,
            } => {
                let rated_m = match kind {
                    StripKind::End => *length_m,
                    StripKind::Side | StripKind::Centre => *length_m / 2.0,
                };
                *length_m *= self.throw_factor;
                *width_m *= self.throw_factor;
                *azimuth_deg += self.turn_deg;
                rated_m
            }
        };
        varied.at = varied.at + Point::new(self.shift_frac.0, self.shift_frac.1) * span_m;
        varied
    }
}

/// The rate of every cell of a grid.
#[derive(Debug, Clone)]
pub struct RainGrid<'g> {
    grid: &'g Grid,
    field: Vec<f32>,
    /// Work space: the runs of cells of one head.
    runs: Vec<Run>,
}

impl<'g> RainGrid<'g> {
    /// A dry field.
    #[must_use]
    pub fn dry(grid: &'g Grid) -> RainGrid<'g> {
        RainGrid {
            grid,
            field: vec![0.0; grid.turf.len()],
            runs: Vec::new(),
        }
    }

    /// The rain of all heads of one profile. `seen` gives what each head can see where something
    /// stands in its way; heads beyond its end see everything.
    #[must_use]
    pub fn of(
        grid: &'g Grid,
        heads: &[Head],
        profile: &Profile,
        seen: &[Option<Outline>],
    ) -> RainGrid<'g> {
        let mut rain = RainGrid::dry(grid);
        for (i, head) in heads.iter().enumerate() {
            rain.add(head, profile, nth(seen, i));
        }
        rain
    }

    /// Wets the turf anew with varied heads, keeping the field's memory; what lies beside the turf
    /// is not told. What they see is not varied: see
    /// [`seen_by`].
    pub fn reset(
        &mut self,
        heads: &[Head],
        profile: &Profile,
        seen: &[Option<Outline>],
        variation: Variation,
    ) {
        self.field.fill(0.0);
        for (i, head) in heads.iter().enumerate() {
            let varied = variation.of(head);
            Footprint::of(&varied, nth(seen, i)).turf_runs_into(self.grid, &mut self.runs);
            Jet::of(&varied, profile).add(&mut self.field, self.grid, &self.runs, 1.0);
        }
    }

    /// Adds one head, cut to what it can see.
    pub fn add(&mut self, head: &Head, profile: &Profile, seen: Option<&Outline>) {
        self.throw(head, profile, seen, 1.0);
    }

    fn throw(&mut self, head: &Head, profile: &Profile, seen: Option<&Outline>, sign: f32) {
        let footprint = Footprint::of(head, seen);
        let jet = Jet::of(head, profile);
        footprint.runs_into(self.grid, &mut self.runs);
        jet.add(&mut self.field, self.grid, &self.runs, sign);
    }

    /// The cells.
    #[must_use]
    pub fn grid(&self) -> &Grid {
        self.grid
    }

    /// The rate of a cell \[mm/h\].
    #[must_use]
    pub fn rate_mm_h(&self, col: usize, row: usize) -> f64 {
        f64::from(self.field[row * self.grid.cols + col])
    }

    /// The rates of all turf cells, row by row from the south-west \[mm/h\].
    #[must_use]
    pub fn turf_rates(&self) -> Vec<f32> {
        let mut rates = Vec::with_capacity(self.grid.turf_cells);
        self.turf_rates_into(&mut rates);
        rates
    }

    /// The same, into a list that is emptied first.
    pub fn turf_rates_into(&self, rates: &mut Vec<f32>) {
        rates.clear();
        for &(from, to) in &self.grid.spans {
            rates.extend_from_slice(&self.field[from as usize..to as usize]);
        }
    }

    /// The patches of turf below a rate \[mm/h\], the widest first.
    #[must_use]
    pub fn patches(&self, below_mm_h: f64) -> Vec<Patch> {
        patches(self.grid, &self.field, below_mm_h as f32)
    }

    /// Water on turf and beside it \[mm/h · m²\] = \[L/h\].
    #[must_use]
    pub fn landed_l_h(&self) -> (f64, f64) {
        let all = lane_sum(&self.field);
        let turf: f64 = self
            .grid
            .spans
            .iter()
            .map(|&(from, to)| lane_sum(&self.field[from as usize..to as usize]))
            .sum();
        let cell_m2 = self.grid.cell_m * self.grid.cell_m;
        (turf * cell_m2, (all - turf).max(0.0) * cell_m2)
    }

    /// Water on the cells outside the turf whose centres lie in an outline \[L/h\].
    #[must_use]
    pub fn beside_within_l_h(&self, outline: &Outline) -> f64 {
        let mut sum = 0.0;
        self.grid.fill(outline, |row, start, end| {
            for col in start as usize..end as usize {
                let i = row * self.grid.cols + col;
                if self.grid.turf[i] == 0.0 {
                    sum += f64::from(self.field[i]);
                }
            }
        });
        sum * self.grid.cell_m * self.grid.cell_m
    }
}

/// Water that walls, buildings and trunks stop \[L/h\]: what the heads would throw onto the cells
/// if nothing stood in their way, less what they do throw.
#[must_use]
pub fn stopped_l_h(
    grid: &Grid,
    heads: &[Head],
    profile: &Profile,
    seen: &[Option<Outline>],
) -> f64 {
    if seen.iter().all(Option::is_none) {
        return 0.0;
    }
    let mut hidden = RainGrid::dry(grid);
    for (head, seen) in heads.iter().zip(seen) {
        if seen.is_some() {
            hidden.throw(head, profile, None, 1.0);
            hidden.throw(head, profile, seen.as_ref(), -1.0);
        }
    }
    let (turf, beside) = hidden.landed_l_h();
    turf + beside
}

/// The sum of rates in eight lanes, folded in one order.
fn lane_sum(rates: &[f32]) -> f64 {
    let mut lanes = [0.0_f64; 8];
    let (wholes, rest) = rates.as_chunks::<8>();
    for chunk in wholes {
        for (lane, &rate) in lanes.iter_mut().zip(chunk) {
            *lane += f64::from(rate);
        }
    }
    for (lane, &rate) in lanes.iter_mut().zip(rest) {
        *lane += f64::from(rate);
    }
    lanes.iter().sum()
}

/// What a head sees, where a list says so.
fn nth(seen: &[Option<Outline>], i: usize) -> Option<&Outline> {
    seen.get(i).and_then(Option::as_ref)
}

/// For each turf cell, how many heads reach it (s ≤ 0.95).
#[must_use]
pub fn reach_counts(grid: &Grid, heads: &[Head], seen: &[Option<Outline>]) -> Vec<u8> {
    let mut counts = vec![0_u8; grid.cols * grid.rows];
    for (i, head) in heads.iter().enumerate() {
        let footprint = Footprint::of(head, nth(seen, i)).shortened(REACHED_SHARE);
        footprint.visit(grid, |row, start, end| {
            let from = row * grid.cols;
            for count in &mut counts[from + start as usize..from + end as usize] {
                *count = count.saturating_add(1);
            }
        });
    }
    let mut reached = Vec::with_capacity(grid.turf_cells);
    for &(from, to) in &grid.spans {
        reached.extend_from_slice(&counts[from as usize..to as usize]);
    }
    reached
}

/// How one head rains: the constant part of its rate and its profile.
struct Jet<'p> {
    scale_mm_h: f32,
    inverse_radius: f32,
    radius_m: f64,
    profile: &'p Profile,
    uniform_mm_h: Option<f32>,
}

impl<'p> Jet<'p> {
    fn of(head: &Head, profile: &'p Profile) -> Jet<'p> {
        match head.pattern {
            Pattern::Sector {
                radius_m,
                sweep_deg,
                ..
            } => Jet::sector(head.flow.lpm(), radius_m, sweep_deg, profile),
            Pattern::Strip {
                length_m, width_m, ..
            } => Jet {
                scale_mm_h: 0.0,
                inverse_radius: 0.0,
                radius_m: 0.0,
                profile,
                uniform_mm_h: Some((60.0 * head.flow.lpm() / (length_m * width_m)) as f32),
            },
        }
    }

    fn sector(flow_lpm: f64, radius_m: f64, sweep_deg: f64, profile: &'p Profile) -> Jet<'p> {
        let theta = sweep_deg.to_radians();
        Jet {
            scale_mm_h: (60.0 * flow_lpm / (theta * radius_m * radius_m)) as f32,
            inverse_radius: (1.0 / radius_m) as f32,
            radius_m,
            profile,
            uniform_mm_h: None,
        }
    }

    fn stream(&self, grid: &Grid) -> Stream {
        Stream {
            cell_m: grid.cell_m as f32,
            inverse_radius: self.inverse_radius,
            scale_mm_h: self.scale_mm_h,
        }
    }

    /// Adds (`sign` 1) or takes off (`sign` −1) the rain on runs of cells.
    fn add(&self, field: &mut [f32], grid: &Grid, runs: &[Run], sign: f32) {
        if let Some(rate_mm_h) = self.uniform_mm_h {
            for run in runs {
                for cell in &mut field[run.cells()] {
                    *cell += sign * rate_mm_h;
                }
            }
        } else if let Some(number) = profile_number(self.profile) {
            kernel::add(field, &self.stream(grid), runs, sign, number);
        } else {
            for run in runs {
                for (i, cell) in field[run.cells()].iter_mut().enumerate() {
                    *cell += sign * self.tabulated_rate(grid, run, i);
                }
            }
        }
    }

    fn tabulated_rate(&self, grid: &Grid, run: &Run, i: usize) -> f32 {
        let dx = f64::from(run.dx0_m) + i as f64 * grid.cell_m;
        let s = (dx * dx + f64::from(run.dy2_m2)).sqrt() / self.radius_m;
        (f64::from(self.scale_mm_h) * self.profile.rate_at(s)) as f32
    }
}

fn profile_number(profile: &Profile) -> Option<u8> {
    match profile {
        Profile::Uniform => Some(kernel::UNIFORM),
        Profile::Triangular => Some(kernel::TRIANGULAR),
        Profile::Elliptical => Some(kernel::ELLIPTICAL),
        Profile::Parabolic => Some(kernel::PARABOLIC),
        Profile::Tabulated(_) => None,
    }
}
