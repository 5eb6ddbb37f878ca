//! The inner loops: rain of one head on one run of cells.
//!
//! Every loop works cell by cell on plain f32 arithmetic without fused operations, so the widest
//! vectors of the machine give the same bits as the narrowest. Sums run in eight fixed lanes that
//! are folded in one order, whatever the width of the registers.

use super::vectors::Vectors;
use multiversion::multiversion;
use std::ops::Range;
use std::sync::atomic::{Ordering, compiler_fence};

/// Number of lanes of every sum, and of the cells that are worked on together. Fields and grids have
/// as many cells more behind their last, so that a run may be read beyond its end.
pub(super) const LANES: usize = 8;

/// What all runs of one head have in common.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stream {
    /// Side of a cell \[m\].
    pub(super) cell_m: f32,
    /// 1 / throw \[1/m\].
    pub(super) inverse_radius: f32,
    /// 60 q / (θ R²): the mean rate over the wetted sector, halved by ∫ g s ds = 1 \[mm/h\].
    pub(super) scale_mm_h: f32,
}

/// A run of cells as seen from a head, and its place in the field.
#[derive(Debug, Clone, Copy)]
pub(super) struct Run {
    /// First cell of the run.
    pub(super) start: u32,
    /// Cell behind the last.
    pub(super) end: u32,
    /// First cell's centre east of the head \[m\].
    pub(super) dx0_m: f32,
    /// Square of the row's distance north or south of the head \[m²\].
    pub(super) dy2_m2: f32,
}

impl Run {
    /// The cells of the run.
    #[inline(always)]
    pub(super) fn cells(&self) -> Range<usize> {
        self.start as usize..self.end as usize
    }
}

/// Profiles with a closed form, by number, so that each gets a loop without branches.
pub(super) const UNIFORM: u8 = 0;
pub(super) const TRIANGULAR: u8 = 1;
pub(super) const ELLIPTICAL: u8 = 2;
pub(super) const PARABOLIC: u8 = 3;

#[inline(always)]
fn rate<const PROFILE: u8>(stream: &Stream, run: &Run, i: f32) -> f32 {
    let dx = run.dx0_m + i * stream.cell_m;
    let r2 = dx * dx + run.dy2_m2;
    match PROFILE {
        UNIFORM => stream.scale_mm_h * 2.0,
        TRIANGULAR => {
            (stream.scale_mm_h * 6.0) * (1.0 - r2.sqrt() * stream.inverse_radius).max(0.0)
        }
        ELLIPTICAL => {
            let s2 = r2 * (stream.inverse_radius * stream.inverse_radius);
            (stream.scale_mm_h * 3.0) * (1.0 - s2).max(0.0).sqrt()
        }
        _ => {
            let s2 = r2 * (stream.inverse_radius * stream.inverse_radius);
            (stream.scale_mm_h * 4.0) * (1.0 - s2).max(0.0)
        }
    }
}

/// As many cells as are worked on together.
pub(super) type Lanes = [f32; LANES];

/// The numbers of the lanes. A static, so that all lanes take the same steps: with a constant the first
/// would be spared its addition, and the compiler would not see eight alike.
static NUMBERS: Lanes = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0];

/// Lanes within a run and beyond it: from place `LANES - n` on, the first n are within.
static WITHIN: [f32; 2 * LANES] = [
    1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
];

/// The chunks of a run: where each begins, the number of its first cell in the run, and which of
/// its cells belong to the run (1) or do not (0).
#[inline(always)]
fn chunks(run: &Run) -> impl Iterator<Item = (usize, f32, &'static Lanes)> {
    let count = (run.end - run.start) as usize;
    (0..count).step_by(LANES).map(move |done| {
        let beyond = LANES - (count - done).min(LANES);
        (
            run.start as usize + done,
            done as f32,
            lanes(&WITHIN, beyond),
        )
    })
}

/// Ends the work on a chunk. It costs no instruction, but without it the compiler works on eight chunks
/// crosswise, which takes three to five times as long. (A function of chunks that is handed a closure does not
/// do: the closure is compiled by itself, for narrow vectors.)
#[inline(always)]
fn chunk_done() {
    compiler_fence(Ordering::SeqCst);
}

/// The cells of a chunk.
#[inline(always)]
fn lanes(cells: &[f32], first: usize) -> &Lanes {
    &cells[first..].as_chunks().0[0]
}

/// Adds a chunk to sums, lane by lane.
#[inline(always)]
fn add_to(sums: &mut Lanes, chunk: &Lanes) {
    for (sum, value) in sums.iter_mut().zip(chunk) {
        *sum += value;
    }
}

/// Rates on the cells of a chunk \[mm/h\].
#[inline(always)]
fn rates<const PROFILE: u8>(stream: &Stream, run: &Run, base: f32) -> Lanes {
    let mut rates = [0.0; LANES];
    for (rate_mm_h, number) in rates.iter_mut().zip(&NUMBERS) {
        *rate_mm_h = rate::<PROFILE>(stream, run, base + number);
    }
    rates
}

#[inline(always)]
fn add_runs<const PROFILE: u8>(field: &mut [f32], stream: &Stream, runs: &[Run], sign: f32) {
    for run in runs {
        for (first, base, within) in chunks(run) {
            let rain = rates::<PROFILE>(stream, run, base);
            let cells: &mut Lanes = &mut field[first..].as_chunks_mut().0[0];
            for lane in 0..LANES {
                cells[lane] += within[lane] * (sign * rain[lane]);
            }
            chunk_done();
        }
    }
}

#[inline(always)]
fn add_profile(field: &mut [f32], stream: &Stream, runs: &[Run], sign: f32, profile: u8) {
    match profile {
        UNIFORM => add_runs::<UNIFORM>(field, stream, runs, sign),
        TRIANGULAR => add_runs::<TRIANGULAR>(field, stream, runs, sign),
        ELLIPTICAL => add_runs::<ELLIPTICAL>(field, stream, runs, sign),
        _ => add_runs::<PARABOLIC>(field, stream, runs, sign),
    }
}

/// Adds (`sign` 1) or takes off (`sign` −1) a head's rain on its runs of cells. The width of the
/// vectors is chosen once a head, not once a row.
pub(super) fn add(field: &mut [f32], stream: &Stream, runs: &[Run], sign: f32, profile: u8) {
    match Vectors::forced() {
        Vectors::Widest => add_widest(field, stream, runs, sign, profile),
        Vectors::Baseline => add_profile(field, stream, runs, sign, profile),
    }
}

#[multiversion(targets("x86_64+avx2"))]
fn add_widest(field: &mut [f32], stream: &Stream, runs: &[Run], sign: f32, profile: u8) {
    add_profile(field, stream, runs, sign, profile);
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
    pub(super) penalties: Lanes,
    /// Rate landed on turf in each lane \[mm/h · cells\].
    pub(super) landed: Lanes,
}

impl Trial {
    /// Folds the lanes in their one order.
    pub(super) fn sums(&self) -> (f64, f64) {
        let fold = |lanes: &Lanes| lanes.iter().fold(0.0, |sum, &lane| sum + f64::from(lane));
        (fold(&self.penalties), fold(&self.landed))
    }
}

#[inline(always)]
fn attempt_runs<const PROFILE: u8>(
    (field, turf): (&[f32], &[f32]),
    stream: &Stream,
    runs: &[Run],
    penalty: &Penalty,
    sums: &mut Trial,
) {
    let Trial {
        mut penalties,
        mut landed,
    } = *sums;
    for run in runs {
        for (first, base, within) in chunks(run) {
            let rain = rates::<PROFILE>(stream, run, base);
            let (cells, weights) = (lanes(field, first), lanes(turf, first));
            let (mut changes, mut falls) = ([0.0; LANES], [0.0; LANES]);
            for lane in 0..LANES {
                let weight = within[lane] * weights[lane];
                let change = penalty.of(cells[lane] + rain[lane]) - penalty.of(cells[lane]);
                changes[lane] = weight * change;
                falls[lane] = weight * rain[lane];
            }
            add_to(&mut penalties, &changes);
            add_to(&mut landed, &falls);
            chunk_done();
        }
    }
    *sums = Trial { penalties, landed };
}

#[inline(always)]
fn attempt_profile(
    cells: (&[f32], &[f32]),
    stream: &Stream,
    runs: &[Run],
    penalty: &Penalty,
    profile: u8,
    sums: &mut Trial,
) {
    match profile {
        UNIFORM => attempt_runs::<UNIFORM>(cells, stream, runs, penalty, sums),
        TRIANGULAR => attempt_runs::<TRIANGULAR>(cells, stream, runs, penalty, sums),
        ELLIPTICAL => attempt_runs::<ELLIPTICAL>(cells, stream, runs, penalty, sums),
        _ => attempt_runs::<PARABOLIC>(cells, stream, runs, penalty, sums),
    }
}

/// What a head would change on its runs of cells, without raining. `cells` are the rates of the field
/// and the weights of turf.
pub(super) fn attempt(
    cells: (&[f32], &[f32]),
    stream: &Stream,
    runs: &[Run],
    penalty: &Penalty,
    profile: u8,
) -> Trial {
    let mut sums = Trial::default();
    match Vectors::forced() {
        Vectors::Widest => attempt_widest(cells, stream, runs, penalty, profile, &mut sums),
        Vectors::Baseline => attempt_profile(cells, stream, runs, penalty, profile, &mut sums),
    }
    sums
}

/// The sums are handed in, because the compiler finds the lanes by what is stored side by side.
#[multiversion(targets("x86_64+avx2"))]
fn attempt_widest(
    cells: (&[f32], &[f32]),
    stream: &Stream,
    runs: &[Run],
    penalty: &Penalty,
    profile: u8,
    sums: &mut Trial,
) {
    attempt_profile(cells, stream, runs, penalty, profile, sums);
}

#[inline(always)]
fn landed_runs<const PROFILE: u8>(
    weights: &[f32],
    stream: &Stream,
    runs: &[Run],
    sums: &mut Lanes,
) {
    let mut landed = *sums;
    for run in runs {
        for (first, base, within) in chunks(run) {
            let rain = rates::<PROFILE>(stream, run, base);
            let weights = lanes(weights, first);
            let mut falls = [0.0; LANES];
            for lane in 0..LANES {
                falls[lane] = (within[lane] * weights[lane]) * rain[lane];
            }
            add_to(&mut landed, &falls);
            chunk_done();
        }
    }
    *sums = landed;
}

/// Sum of a head's rates on its runs of cells, each cell's times its weight \[mm/h · cells\].
pub(super) fn landed(weights: &[f32], stream: &Stream, runs: &[Run], profile: u8) -> f64 {
    let mut sums = [0.0; LANES];
    match Vectors::forced() {
        Vectors::Widest => landed_widest(weights, stream, runs, profile, &mut sums),
        Vectors::Baseline => landed_profile(weights, stream, runs, profile, &mut sums),
    }
    sums.iter().fold(0.0, |sum, &lane| sum + f64::from(lane))
}

#[multiversion(targets("x86_64+avx2"))]
fn landed_widest(weights: &[f32], stream: &Stream, runs: &[Run], profile: u8, sums: &mut Lanes) {
    landed_profile(weights, stream, runs, profile, sums);
}

#[inline(always)]
fn landed_profile(weights: &[f32], stream: &Stream, runs: &[Run], profile: u8, sums: &mut Lanes) {
    match profile {
        UNIFORM => landed_runs::<UNIFORM>(weights, stream, runs, sums),
        TRIANGULAR => landed_runs::<TRIANGULAR>(weights, stream, runs, sums),
        ELLIPTICAL => landed_runs::<ELLIPTICAL>(weights, stream, runs, sums),
        _ => landed_runs::<PARABOLIC>(weights, stream, runs, sums),
    }
}

/// Sums over all turf cells of a field.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Totals {
    /// Sum of the penalty.
    pub(super) penalty: f64,
    /// Sum of the rates \[mm/h · cells\].
    pub(super) landed: f64,
}

/// Sums of penalty and rate over all turf cells of a field, in eight lanes.
pub(super) fn totals(field: &[f32], turf: &[f32], penalty: &Penalty) -> Totals {
    match Vectors::forced() {
        Vectors::Widest => totals_widest(field, turf, penalty),
        Vectors::Baseline => totals_of(field, turf, penalty),
    }
}

#[multiversion(targets("x86_64+avx2"))]
fn totals_widest(field: &[f32], turf: &[f32], penalty: &Penalty) -> Totals {
    totals_of(field, turf, penalty)
}

#[inline(always)]
fn totals_of(field: &[f32], turf: &[f32], penalty: &Penalty) -> Totals {
    let mut off = [0.0_f64; LANES];
    let mut landed = [0.0_f64; LANES];
    let (wholes, rest) = field.as_chunks::<LANES>();
    let (whole_weights, rest_weights) = turf.as_chunks::<LANES>();
    for (cells, weights) in wholes.iter().zip(whole_weights) {
        for lane in 0..LANES {
            off[lane] += f64::from(weights[lane] * penalty.of(cells[lane]));
            landed[lane] += f64::from(weights[lane] * cells[lane]);
        }
    }
    for (lane, (&cell, &weight)) in rest.iter().zip(rest_weights).enumerate() {
        off[lane] += f64::from(weight * penalty.of(cell));
        landed[lane] += f64::from(weight * cell);
    }
    Totals {
        penalty: off.iter().sum(),
        landed: landed.iter().sum(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows of every length up to 70 cells and a few long ones, seen from one head.
    fn rows() -> (Stream, Vec<Run>, usize) {
        let stream = Stream {
            cell_m: 0.37,
            inverse_radius: 1.0 / 11.3,
            scale_mm_h: 3.7,
        };
        let mut runs = Vec::new();
        let mut start = 0;
        for length in (0..70).chain([333, 1_024, 2_047]) {
            let dy = 0.31 * (length % 29) as f32;
            runs.push(Run {
                start,
                end: start + length,
                dx0_m: -0.185 * length as f32 + 0.071,
                dy2_m2: dy * dy,
            });
            start += length;
        }
        (stream, runs, start as usize + LANES)
    }

    fn bits(values: &[f32]) -> Vec<u32> {
        values.iter().map(|value| value.to_bits()).collect()
    }

    /// A run of the widest functions beside one of those without a target, on rows that no layout has.
    #[test]
    fn wide_and_narrow_vectors_give_the_same_bits() {
        if !Vectors::differ() {
            eprintln!("skipped: AVX2 is not beside the baseline here");
            return;
        }
        let (stream, runs, cells) = rows();
        let start: Vec<f32> = (0..cells)
            .map(|i| 2.0 + (i * 37 % 101) as f32 / 17.0)
            .collect();
        let turf: Vec<f32> = (0..cells)
            .map(|i| f32::from(u8::from(i % 7 != 3)))
            .collect();
        let penalty = Penalty {
            inverse_target: 1.0 / 9.1,
            low: 0.9,
            low_weight: 4.0,
        };
        let mut compared = 0;
        for profile in [UNIFORM, TRIANGULAR, ELLIPTICAL, PARABOLIC] {
            for sign in [1.0, -1.0] {
                let (mut wide, mut narrow) = (start.clone(), start.clone());
                add_widest(&mut wide, &stream, &runs, sign, profile);
                add_profile(&mut narrow, &stream, &runs, sign, profile);
                assert_eq!(bits(&wide), bits(&narrow), "profile {profile}");
                compared += wide.iter().zip(&start).filter(|(a, b)| a != b).count();
            }
            let cells = (&start[..], &turf[..]);
            let (mut wide, mut narrow) = (Trial::default(), Trial::default());
            attempt_widest(cells, &stream, &runs, &penalty, profile, &mut wide);
            attempt_profile(cells, &stream, &runs, &penalty, profile, &mut narrow);
            assert_eq!(bits(&wide.penalties), bits(&narrow.penalties));
            assert_eq!(bits(&wide.landed), bits(&narrow.landed));
            assert!(wide.landed.iter().all(|&landed| landed > 0.0));
            let (mut wide, mut narrow) = ([0.0; LANES], [0.0; LANES]);
            landed_widest(&turf, &stream, &runs, profile, &mut wide);
            landed_profile(&turf, &stream, &runs, profile, &mut narrow);
            assert_eq!(bits(&wide), bits(&narrow));
        }
        let wide = totals_widest(&start, &turf, &penalty);
        let narrow = totals_of(&start, &turf, &penalty);
        assert_eq!(wide.penalty.to_bits(), narrow.penalty.to_bits());
        assert_eq!(wide.landed.to_bits(), narrow.landed.to_bits());
        assert!(compared > 8 * 2_000);
    }
}
