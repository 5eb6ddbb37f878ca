//! How evenly and how fast the water falls.
//!
//! Every cell of the turf counts the same. With rates d_i, i = 1…n, and their mean m:
//!
//! - Christiansen uniformity `CU = 100 (1 − Σ|d_i − m| / (n m))` \[%\];
//! - low-quarter distribution uniformity `DU_lq = mean of the lowest n/4 / m`, fractional: the
//!   cell on the boundary of the quarter counts in part;
//! - scheduling coefficient `SC = m / m_w` with m_w the lowest mean over a disc of 5 % of the
//!   area, at least half of it turf.
//!
//! # References
//! - Christiansen J. E., *Irrigation by Sprinkling*, California Agricultural Experiment Station
//!   Bulletin 670, 1942.
//! - Merriam J. L., Keller J., *Farm Irrigation System Evaluation*, Utah State University, 1978.

use crate::catalogue::{Head, Pattern, Profile};
use crate::rain::{
    Drifting, Grid, RainGrid, Variation, Winds, all_seen, reach_counts, stopped_l_h,
};
use crate::shape::Outline;

/// Bounds of the cell's side \[m\] and its share of the smallest throw.
const CELL_M: (f64, f64) = (0.1, 0.4);
const CELLS_PER_THROW: f64 = 20.0;
/// Share of the area in one window of the scheduling coefficient.
const WINDOW_SHARE: f64 = 0.05;
/// Discs of the scheduling coefficient lie at least this many to their radius.
const ROWS_PER_RADIUS: f64 = 24.0;
/// How far beyond its throw a head still counts as within reach of its neighbour \[m\]: throws
/// are whole centimetres.
const TOUCH_M: f64 = 0.01;

/// The measures of one layout on one turf area (still air, rated pressure).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Uniformity {
    /// Cells whose centre lies in the turf.
    pub cells: usize,
    /// Side of a cell \[m\].
    pub cell_m: f64,
    /// Mean rate over the turf \[mm/h\].
    pub rate_mm_h: f64,
    /// 60 Σq / area \[mm/h\].
    pub rate_gross_mm_h: f64,
    /// Fractional low-quarter distribution uniformity.
    pub du_lq: f64,
    /// Mean of nine members: nominal, throws ×0.90 and ×1.05, arcs −5° and +5°, patterns
    /// shifted by 0.1 R to the four sides.
    pub du_lq_robust: f64,
    /// Christiansen uniformity \[%\].
    pub cu_pct: f64,
    /// Coefficient of variation (population).
    pub cv: f64,
    /// Scheduling coefficient over a disc of 5 % of the area; `None` when a disc stays dry.
    pub sc: Option<f64>,
    /// Share of the turf reached by no head (s ≤ 0.95).
    pub dry_frac: f64,
    /// Share of the turf below half the mean rate.
    pub weak_frac: f64,
    /// Width of the widest patch below half the mean rate: the diameter of the largest circle inside it
    /// \[m\]; 0 where there is none that is wider than half a cell.
    pub patch_m: f64,
    /// Share of the turf reached by two heads or more.
    pub twice_frac: f64,
    /// Share of heads within the throw of at least two others.
    pub h2h_frac: f64,
    /// Share of the volume that lands outside the turf: what the mean rate over its area leaves.
    pub over_frac: f64,
    /// Share of the volume on pavement; `None` without an obstacle layer.
    pub paved_over_frac: Option<f64>,
    /// Share of the volume on the neighbour's land; `None` without a parcel layer.
    pub neighb_over_frac: Option<f64>,
    /// Share of the volume on buildings and walls, the water that they stop included; `None`
    /// without an obstacle layer.
    pub build_over_frac: Option<f64>,
}

/// What lies around a turf area, where layers say so.
#[derive(Debug, Clone, Copy, Default)]
pub struct Surroundings<'a> {
    /// Pavements; `None` without an obstacle layer.
    pub pavements: Option<&'a [Outline]>,
    /// Buildings, walls and trunks, which stop the throw; `None` without an obstacle layer.
    pub blocks: Option<&'a [Outline]>,
    /// The parcel's outline; `None` without a parcel layer.
    pub parcel: Option<&'a [Outline]>,
}

/// The cell's side for a set of heads: smallest throw / 20, from 0.1 to 0.4 m.
#[must_use]
pub fn cell_m(heads: &[Head]) -> f64 {
    let smallest = heads
        .iter()
        .map(|head| match head.pattern {
            Pattern::Sector { radius_m, .. } => radius_m,
            Pattern::Strip { width_m, .. } => width_m,
        })
        .fold(f64::INFINITY, f64::min);
    (smallest / CELLS_PER_THROW).clamp(CELL_M.0, CELL_M.1)
}

/// Measures a layout. `None` without heads, without turf cells or without rain on the turf.
///
/// Throws end at the blocks around. In the members of `du_lq_robust` the patterns vary while heads
/// and blocks stay in their places: see `seen_by`.
#[must_use]
pub fn measure(
    outline: &Outline,
    heads: &[Head],
    profile: &Profile,
    around: &Surroundings,
) -> Option<Uniformity> {
    if heads.is_empty() {
        return None;
    }
    let flow_l_h: f64 = heads.iter().map(|head| 60.0 * head.flow.lpm()).sum();
    let reach_m = heads.iter().map(Head::reach_m).fold(0.0, f64::max);
    let cell_m = cell_m(heads);
    let wide = Grid::over(outline, cell_m, reach_m);
    let seen = all_seen(heads, around.blocks.unwrap_or_default());
    let rain = RainGrid::of(&wide, heads, profile, &seen);
    let rates = rain.turf_rates();
    let even = evenness(&rates)?;
    let (_, beside_l_h) = rain.landed_l_h();
    let stopped_l_h = stopped_l_h(&wide, heads, profile, &seen);
    let share_on = |outlines: &[Outline]| {
        outlines
            .iter()
            .map(|outline| rain.beside_within_l_h(outline))
            .sum::<f64>()
            / flow_l_h
    };
    let on_blocks = around
        .blocks
        .map(|blocks| share_on(blocks) + stopped_l_h / flow_l_h);
    let on_parcel = around.parcel.map(share_on);
    let reached = reach_counts(&wide, heads, &seen);
    let share = |hits: usize| hits as f64 / rates.len() as f64;
    let narrow = Grid::over(outline, cell_m, 0.0);
    Some(Uniformity {
        cells: rates.len(),
        cell_m: wide.cell_m(),
        rate_mm_h: even.mean,
        rate_gross_mm_h: flow_l_h / outline.area_m2(),
        du_lq: even.du_lq,
        du_lq_robust: robust_du_lq(&narrow, heads, profile, &seen, even.du_lq),
        cu_pct: even.cu_pct,
        cv: even.cv,
        sc: scheduling_coefficient(&rain, even.mean),
        dry_frac: share(reached.iter().filter(|&&count| count == 0).count()),
        weak_frac: share(
            rates
                .iter()
                .filter(|&&rate| f64::from(rate) < even.mean / 2.0)
                .count(),
        ),
        patch_m: rain
            .patches(even.mean / 2.0)
            .first()
            .map_or(0.0, |patch| patch.width_m),
        twice_frac: share(reached.iter().filter(|&&count| count >= 2).count()),
        h2h_frac: head_to_head_frac(heads),
        // What does not fall on the turf falls elsewhere. Counted by cells beside the turf it would
        // lack up to half a cell along sides that run with the grid.
        over_frac: (1.0 - even.mean * outline.area_m2() / flow_l_h).max(0.0),
        paved_over_frac: around.pavements.map(share_on),
        neighb_over_frac: on_parcel.map(|within| (beside_l_h / flow_l_h - within).max(0.0)),
        build_over_frac: on_blocks,
    })
}

/// The measures of one layout in the wind of the watering hours, each a mean over its winds.
///
/// They are means over nights of one wind each, not the measures of the rain that all nights give
/// together: turf feels the dry side of each night.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InWind {
    /// Mean rate over the turf \[mm/h\].
    pub rate_mm_h: f64,
    /// Fractional low-quarter distribution uniformity.
    pub du_lq: f64,
    /// Christiansen uniformity \[%\].
    pub cu_pct: f64,
    /// Coefficient of variation: the root of the mean of its squares, as variances add.
    pub cv: f64,
    /// Share of the volume that lands outside the turf.
    pub over_frac: f64,
}

/// Measures a layout in wind. `None` where [`measure`] gives none, or where some wind takes all water
/// off the turf.
///
/// Patterns move while heads and blocks stay in their places, as in the members of `du_lq_robust`.
#[must_use]
pub fn measure_in_wind(
    outline: &Outline,
    heads: &[Head],
    profile: &Profile,
    around: &Surroundings,
    winds: &Winds,
    drifting: Drifting,
) -> Option<InWind> {
    if heads.is_empty() {
        return None;
    }
    let flow_l_h: f64 = heads.iter().map(|head| 60.0 * head.flow.lpm()).sum();
    let seen = all_seen(heads, around.blocks.unwrap_or_default());
    let grid = Grid::over(outline, cell_m(heads), 0.0);
    let mut rain = RainGrid::dry(&grid);
    let mut rates = Vec::with_capacity(grid.turf_cells());
    let mut means = [0.0; 5];
    let mut add = |heads: &[Head], share_frac: f64| -> Option<()> {
        rain.reset(heads, profile, &seen, Variation::NONE);
        rain.turf_rates_into(&mut rates);
        let even = evenness(&rates)?;
        let over_frac = (1.0 - even.mean * outline.area_m2() / flow_l_h).max(0.0);
        let found = [
            even.mean,
            even.du_lq,
            even.cu_pct,
            even.cv * even.cv,
            over_frac,
        ];
        for (mean, found) in means.iter_mut().zip(found) {
            *mean += share_frac * found;
        }
        Some(())
    };
    if winds.calm_frac() > 0.0 {
        add(heads, winds.calm_frac())?;
    }
    for wind in winds.all() {
        let moved: Vec<Head> = heads
            .iter()
            .map(|head| drifting.moved(head, *wind))
            .collect();
        add(&moved, wind.share_frac)?;
    }
    let [rate_mm_h, du_lq, cu_pct, cv2, over_frac] = means;
    Some(InWind {
        rate_mm_h,
        du_lq,
        cu_pct,
        cv: cv2.sqrt(),
        over_frac,
    })
}

/// Mean, DU_lq, CU and CV of a sample of rates or depths.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evenness {
    /// Mean of the sample, in its own unit.
    pub mean: f64,
    /// Fractional low-quarter distribution uniformity.
    pub du_lq: f64,
    /// Fractional low-half distribution uniformity.
    pub du_lh: f64,
    /// Christiansen uniformity \[%\].
    pub cu_pct: f64,
    /// Coefficient of variation (population).
    pub cv: f64,
}

/// The evenness of a sample of equal areas. `None` for an empty or dry sample, and for one that
/// holds a negative or non-finite value.
#[must_use]
pub fn evenness(sample: &[f32]) -> Option<Evenness> {
    if sample.is_empty() || sample.iter().any(|&x| !x.is_finite() || x < -1e-3) {
        return None;
    }
    let n = sample.len() as f64;
    let mean = sum_below(sample, 0.0, 1.0) / n;
    if mean <= 0.0 {
        return None;
    }
    let (mut offs, mut squares) = ([0.0; 4], [0.0; 4]);
    for chunk in sample.chunks(4) {
        for (lane, &x) in chunk.iter().enumerate() {
            let d = f64::from(x) - mean;
            offs[lane] += d.abs();
            squares[lane] += d * d;
        }
    }
    let (off, square) = (offs.iter().sum::<f64>(), squares.iter().sum::<f64>());
    let [quarter, half] = lowest_share_means(sample, [0.25, 0.5]);
    Some(Evenness {
        mean,
        du_lq: quarter / mean,
        du_lh: half / mean,
        cu_pct: 100.0 * (1.0 - off / (n * mean)),
        cv: (square / n).sqrt() / mean,
    })
}

/// Means of the lowest shares of a sample, the element on the boundary counted in part.
///
/// One pass counts the values in classes by size. The classes below the boundary are summed, and
/// only the one on it is put in order.
fn lowest_share_means<const N: usize>(sample: &[f32], shares: [f64; N]) -> [f64; N] {
    const CLASSES: usize = 512;
    /// Neighbours in a field have like rates; counted in tables of their own they do not wait for
    /// one another.
    const TABLES: usize = 4;
    let largest = largest(sample);
    let per_unit = if largest > 0.0 {
        (CLASSES as f32 - 0.5) / largest
    } else {
        0.0
    };
    // Casts of negative rounding dust saturate at class 0.
    let class_of = |x: f32| ((x * per_unit) as usize).min(CLASSES - 1);
    let mut counts = [[0_u32; CLASSES]; TABLES];
    let (wholes, rest) = sample.as_chunks::<TABLES>();
    for chunk in wholes {
        for (table, &x) in counts.iter_mut().zip(chunk) {
            table[class_of(x)] += 1;
        }
    }
    rest.iter().for_each(|&x| counts[0][class_of(x)] += 1);
    let mut boundary: Vec<f32> = Vec::new();
    shares.map(|share| {
        let quota = sample.len() as f64 * share;
        let mut taken = 0.0;
        let mut class = 0;
        while class + 1 < CLASSES {
            let here: u32 = counts.iter().map(|table| table[class]).sum();
            if taken + f64::from(here) >= quota {
                break;
            }
            taken += f64::from(here);
            class += 1;
        }
        let mut sum = sum_below(sample, per_unit, class as f32);
        boundary.clear();
        boundary.extend(sample.iter().filter(|&&x| class_of(x) == class));
        boundary.sort_unstable_by(f32::total_cmp);
        for &x in &boundary {
            let part = (quota - taken).min(1.0);
            sum += part * f64::from(x);
            taken += part;
            if taken >= quota {
                break;
            }
        }
        sum / quota
    })
}

/// The largest value, 0 or more.
fn largest(sample: &[f32]) -> f32 {
    let mut lanes = [0.0_f32; 8];
    let (wholes, rest) = sample.as_chunks::<8>();
    let raise = |most: &mut f32, x: f32| *most = if x > *most { x } else { *most };
    for chunk in wholes {
        lanes
            .iter_mut()
            .zip(chunk)
            .for_each(|(lane, &x)| raise(lane, x));
    }
    let mut most = 0.0;
    lanes.iter().chain(rest).for_each(|&x| raise(&mut most, x));
    most
}

/// The sum of the values of all classes below a bound, in eight lanes folded in one order.
fn sum_below(sample: &[f32], per_unit: f32, bound: f32) -> f64 {
    let mut lanes = [0.0_f64; 8];
    let (wholes, rest) = sample.as_chunks::<8>();
    let counted = |x: f32| f64::from(if x * per_unit < bound { x } else { 0.0 });
    for chunk in wholes {
        lanes
            .iter_mut()
            .zip(chunk)
            .for_each(|(lane, &x)| *lane += counted(x));
    }
    lanes
        .iter_mut()
        .zip(rest)
        .for_each(|(lane, &x)| *lane += counted(x));
    lanes.iter().sum()
}

/// Share of the applied water that a target depth D can use, `Σ min(d, D) / Σ d`, 0 to 1.
///
/// Rises to 1 as D grows and falls to 0 with it. `None` for an empty or dry sample, or a target
/// that is negative or not finite.
///
/// # References
/// - Keller J., Bliesner R. D., *Sprinkle and Trickle Irrigation*, 1990, chapter 6 (the form is
///   from memory).
#[must_use]
pub fn distribution_efficiency(depths_mm: &[f32], target_mm: f64) -> Option<f64> {
    let applied: f64 = depths_mm.iter().map(|&d| f64::from(d)).sum();
    let is_usable = depths_mm.iter().all(|&d| d.is_finite() && d >= 0.0);
    if !is_usable || applied <= 0.0 || !target_mm.is_finite() || target_mm < 0.0 {
        return None;
    }
    let used: f64 = depths_mm.iter().map(|&d| f64::from(d).min(target_mm)).sum();
    Some(used / applied)
}

/// Share of the area that gets a target depth or more, 0 to 1; it never rises with the target.
/// `None` for an empty sample.
#[must_use]
pub fn adequacy_frac(depths_mm: &[f32], target_mm: f64) -> Option<f64> {
    let enough = depths_mm
        .iter()
        .filter(|&&d| f64::from(d) >= target_mm)
        .count();
    (!depths_mm.is_empty()).then(|| enough as f64 / depths_mm.len() as f64)
}

fn robust_du_lq(
    grid: &Grid,
    heads: &[Head],
    profile: &Profile,
    seen: &[Option<Outline>],
    nominal: f64,
) -> f64 {
    let mut rain = RainGrid::dry(grid);
    let mut rates = Vec::with_capacity(grid.turf_cells());
    let mut sum = nominal;
    for variation in &Variation::ROBUST[1..] {
        rain.reset(heads, profile, seen, *variation);
        rain.turf_rates_into(&mut rates);
        let mean = sum_below(&rates, 0.0, 1.0) / rates.len().max(1) as f64;
        if mean > 0.0 {
            let [quarter] = lowest_share_means(&rates, [0.25]);
            sum += quarter / mean;
        }
    }
    sum / Variation::ROBUST.len() as f64
}

/// m / m_w over discs of 5 % of the area clipped to the turf, at least half of the disc turf.
fn scheduling_coefficient(rain: &RainGrid, mean_mm_h: f64) -> Option<f64> {
    let grid = rain.grid();
    let disc_cells = (WINDOW_SHARE * grid.turf_cells() as f64).max(1.0);
    let radius_cells = (disc_cells / std::f64::consts::PI).sqrt();
    let reach = radius_cells.floor() as i64;
    // Half-width of the disc in each of its rows.
    let half: Vec<i64> = (-reach..=reach)
        .map(|dy| {
            (radius_cells * radius_cells - (dy * dy) as f64)
                .max(0.0)
                .sqrt()
                .floor() as i64
        })
        .collect();
    let full: i64 = half.iter().map(|w| 2 * w + 1).sum();
    // Running sums of rain and of turf cells along each row of the turf's own box, with a margin
    // so that discs may hang over the sides.
    let (first_col, first_row, cols, rows) = grid.turf_box();
    let margin = reach as usize + 1;
    let width = cols + 2 * margin;
    let mut rain_to = vec![0.0_f64; width * rows];
    let mut turf_to = vec![0.0_f32; width * rows];
    for row in 0..rows {
        let (mut rain_sum, mut turf_sum) = (0.0, 0.0);
        for i in 0..width {
            let col = i.wrapping_sub(margin);
            if col < cols && grid.is_turf(first_col + col, first_row + row) {
                rain_sum += rain.rate_mm_h(first_col + col, first_row + row);
                turf_sum += 1.0;
            }
            rain_to[row * width + i] = rain_sum;
            turf_to[row * width + i] = turf_sum;
        }
    }
    let mut lowest = f64::INFINITY;
    let mut sums = vec![0.0_f64; cols];
    let mut cells = vec![0.0_f32; cols];
    // A large disc moves by a fraction of its radius at a time.
    let stride = (radius_cells / ROWS_PER_RADIUS) as usize + 1;
    for row in (0..rows).step_by(stride) {
        sums.fill(0.0);
        cells.fill(0.0);
        for (k, &w) in half.iter().enumerate() {
            let y = row as i64 + k as i64 - reach;
            if y < 0 || y >= rows as i64 {
                continue;
            }
            // Cells col − w to col + w: running sum to the last less that before the first.
            let last = y as usize * width + margin + w as usize;
            let before = y as usize * width + margin - w as usize - 1;
            add_windows(&mut sums, &rain_to[last..], &rain_to[before..]);
            add_windows(&mut cells, &turf_to[last..], &turf_to[before..]);
        }
        for col in 0..cols {
            if 2.0 * cells[col] >= full as f32 && grid.is_turf(first_col + col, first_row + row) {
                lowest = lowest.min(sums[col] / f64::from(cells[col]));
            }
        }
    }
    // A field whose discs are all less than half turf (a thin ring) has no window.
    (lowest.is_finite() && lowest > 1e-6 * mean_mm_h).then(|| mean_mm_h / lowest)
}

/// Adds the differences of two stretches of running sums.
fn add_windows<T: Copy + std::ops::AddAssign + std::ops::Sub<Output = T>>(
    sums: &mut [T],
    to: &[T],
    from: &[T],
) {
    for ((sum, &to), &from) in sums.iter_mut().zip(to).zip(from) {
        *sum += to - from;
    }
}

/// Share of heads that lie within the throw of at least two others. Heads are looked for from west to
/// east within the longest reach, so that a large lawn costs little more for each head.
fn head_to_head_frac(heads: &[Head]) -> f64 {
    let longest_m = heads.iter().map(Head::reach_m).fold(0.0, f64::max) + TOUCH_M;
    let mut order: Vec<usize> = (0..heads.len()).collect();
    order.sort_by(|&a, &b| heads[a].at.x.total_cmp(&heads[b].at.x));
    let mut first = 0;
    let mut hit = 0_usize;
    for &i in &order {
        let head = &heads[i];
        let is_west_of_all = |&j: &usize| heads[j].at.x < head.at.x - longest_m - TOUCH_M;
        first += order[first..]
            .iter()
            .take_while(|j| is_west_of_all(j))
            .count();
        let reached_by = order[first..]
            .iter()
            .take_while(|&&j| heads[j].at.x <= head.at.x + longest_m + TOUCH_M)
            .filter(|&&j| {
                let other = &heads[j];
                j != i && other.at.distance(head.at) <= other.reach_m() + TOUCH_M
            })
            .take(2)
            .count();
        hit += usize::from(reached_by == 2);
    }
    hit as f64 / heads.len() as f64
}
