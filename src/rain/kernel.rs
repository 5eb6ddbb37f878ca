//! The inner loops: rain of one head on one run of cells.
//!
//! Every loop works cell by cell on plain f32 arithmetic without fused operations, so the widest
//! vectors of the machine give the same bits as the narrowest. Sums run in eight fixed lanes that
//! are folded in one order, whatever the width of the registers.

use multiversion::multiversion;

/// Number of lanes of every sum.
pub(super) const LANES: usize = 8;

/// A run of cells as seen from a head.
#[derive(Debug, Clone, Copy)]
pub(super) struct Run {
    /// First cell's centre east of the head \[m\].
    pub(super) dx0_m: f32,
    /// Side of a cell \[m\].
    pub(super) cell_m: f32,
    /// Square of the row's distance north or south of the head \[m²\].
    pub(super) dy2_m2: f32,
    /// 1 / throw \[1/m\].
    pub(super) inverse_radius: f32,
    /// 60 q / (θ R²): the mean rate over the wetted sector, halved by ∫ g s ds = 1 \[mm/h\].
    pub(super) scale_mm_h: f32,
}

/// Profiles with a closed form, by number, so that each gets a loop without branches.
pub(super) const UNIFORM: u8 = 0;
pub(super) const TRIANGULAR: u8 = 1;
pub(super) const ELLIPTICAL: u8 = 2;
pub(super) const PARABOLIC: u8 = 3;

#[inline(always)]
fn rate<const PROFILE: u8>(run: &Run, i: f32) -> f32 {
    let dx = run.dx0_m + i * run.cell_m;
    let r2 = dx * dx + run.dy2_m2;
    match PROFILE {
        UNIFORM => run.scale_mm_h * 2.0,
        TRIANGULAR => (run.scale_mm_h * 6.0) * (1.0 - r2.sqrt() * run.inverse_radius).max(0.0),
        ELLIPTICAL => {
            let s2 = r2 * (run.inverse_radius * run.inverse_radius);
            (run.scale_mm_h * 3.0) * (1.0 - s2).max(0.0).sqrt()
        }
        _ => {
            let s2 = r2 * (run.inverse_radius * run.inverse_radius);
            (run.scale_mm_h * 4.0) * (1.0 - s2).max(0.0)
        }
    }
}

#[inline(always)]
fn add_loop<const PROFILE: u8>(field: &mut [f32], run: &Run, sign: f32) {
    for (i, cell) in field.iter_mut().enumerate() {
        *cell += sign * rate::<PROFILE>(run, i as i32 as f32);
    }
}

/// Adds (`sign` 1) or takes off (`sign` −1) a head's rain on a run of cells.
#[multiversion(targets("x86_64+avx2"))]
pub(super) fn add(field: &mut [f32], run: &Run, sign: f32, profile: u8) {
    match profile {
        UNIFORM => add_loop::<UNIFORM>(field, run, sign),
        TRIANGULAR => add_loop::<TRIANGULAR>(field, run, sign),
        ELLIPTICAL => add_loop::<ELLIPTICAL>(field, run, sign),
        _ => add_loop::<PARABOLIC>(field, run, sign),
    }
}

/// What a trial is judged by: a penalty of each cell's rate x relative to the target T,
/// `(x/T − 1)² + low_weight · max(0, low − x/T)²`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Penalty {
    /// 1 / target rate \[h/mm\].
    pub(super) inverse_target: f32,
    /// Relative rate below which a cell counts as under-watered.
    pub(super) low: f32,
    /// Weight of under-watering.
    pub(super) low_weight: f32,
}

impl Penalty {
    #[inline(always)]
    pub(super) fn of(&self, rate_mm_h: f32) -> f32 {
        let x = rate_mm_h * self.inverse_target;
        let off = x - 1.0;
        let short = (self.low - x).max(0.0);
        off * off + self.low_weight * (short * short)
    }
}

/// Sums over turf cells: change of penalty and rate landed, in fixed lanes.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Trial {
    /// Change of the penalty in each lane.
    pub(super) penalty: [f32; LANES],
    /// Rate landed on turf in each lane \[mm/h · cells\].
    pub(super) landed: [f32; LANES],
}

impl Trial {
    /// Folds the lanes in their one order.
    pub(super) fn sums(&self) -> (f64, f64) {
        let fold =
            |lanes: &[f32; LANES]| lanes.iter().fold(0.0, |sum, &lane| sum + f64::from(lane));
        (fold(&self.penalty), fold(&self.landed))
    }
}

#[inline(always)]
fn trial_loop<const PROFILE: u8>(
    field: &[f32],
    turf: &[f32],
    run: &Run,
    penalty: &Penalty,
    trial: &mut Trial,
) {
    let mut sums = *trial;
    let mut chunks = field
        .chunks_exact(LANES)
        .zip(turf.chunks_exact(LANES))
        .enumerate();
    for (chunk, (cells, weights)) in &mut chunks {
        let base = (chunk * LANES) as i32;
        for lane in 0..LANES {
            let rain = rate::<PROFILE>(run, (base + lane as i32) as f32);
            let before = cells[lane];
            let change = penalty.of(before + rain) - penalty.of(before);
            sums.penalty[lane] += weights[lane] * change;
            sums.landed[lane] += weights[lane] * rain;
        }
    }
    let done = field.len() / LANES * LANES;
    for (lane, i) in (done..field.len()).enumerate() {
        let rain = rate::<PROFILE>(run, i as i32 as f32);
        let before = field[i];
        let change = penalty.of(before + rain) - penalty.of(before);
        sums.penalty[lane] += turf[i] * change;
        sums.landed[lane] += turf[i] * rain;
    }
    *trial = sums;
}

/// Adds to `trial` what a head would change on its runs of cells, without raining. `spans` gives
/// each run's place in the field.
#[multiversion(targets("x86_64+avx2"))]
pub(super) fn attempt(
    field: &[f32],
    turf: &[f32],
    runs: &[(Run, usize, usize)],
    penalty: &Penalty,
    profile: u8,
    trial: &mut Trial,
) {
    for (run, start, end) in runs {
        let (cells, weights) = (&field[*start..*end], &turf[*start..*end]);
        match profile {
            UNIFORM => trial_loop::<UNIFORM>(cells, weights, run, penalty, trial),
            TRIANGULAR => trial_loop::<TRIANGULAR>(cells, weights, run, penalty, trial),
            ELLIPTICAL => trial_loop::<ELLIPTICAL>(cells, weights, run, penalty, trial),
            _ => trial_loop::<PARABOLIC>(cells, weights, run, penalty, trial),
        }
    }
}

/// Sum of the penalty over all turf cells of a field.
pub(super) fn total_penalty(field: &[f32], turf: &[f32], penalty: &Penalty) -> f64 {
    field
        .iter()
        .zip(turf)
        .filter(|&(_, &weight)| weight > 0.0)
        .map(|(&rate_mm_h, _)| f64::from(penalty.of(rate_mm_h)))
        .sum()
}
