//! A catch-can audit: what cans on a lawn caught while a station ran, and how even that is.
//!
//! The readings are depths or rates d_1…d_n of equal areas with mean m. Measures are those of
//! [`crate::uniformity`]; with a few cans the low quarter depends on how n/4 is rounded, so the
//! convention is part of the result.
//!
//! # References
//! - Christiansen J. E., *Irrigation by Sprinkling*, California Agricultural Experiment Station
//!   Bulletin 670, 1942.
//! - Merriam J. L., Keller J., *Farm Irrigation System Evaluation*, Utah State University, 1978,
//!   pp. 41–43.

use crate::issue::{Code, Issue};

/// Fewest cans from which a low quarter can be taken.
pub const LEAST_CANS: usize = 4;
/// Cans in a station below which an audit is a rough one: common practice, no source.
pub const USUAL_CANS: usize = 24;
/// Share of the sampled area in one window of the scheduling coefficient, unless a side is given.
const WINDOW_SHARE: f64 = 0.05;
/// Narrowest window without a given side, in spacings of the cans: one can alone is no window.
const LEAST_WINDOW_SPACINGS: f64 = 2.0;
/// A window counts if it holds at least this share of the cans that its area stands for.
const WINDOW_LEAST_SHARE: f64 = 0.5;

/// How many cans make a quarter of n when n is not divisible by four.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Convention {
    /// n/4 rounded, halves up.
    #[default]
    Nearest,
    /// n/4 rounded up.
    Up,
    /// n/4 rounded down, at least one.
    Down,
    /// ⌊n/4⌋ whole cans and the rest of the next, divided by n/4: the low quarter of a grid.
    Fractional,
}

impl Convention {
    /// Every convention with the word that names it.
    pub const ALL: [(&'static str, Convention); 4] = [
        ("nearest", Convention::Nearest),
        ("up", Convention::Up),
        ("down", Convention::Down),
        ("fractional", Convention::Fractional),
    ];

    /// The word that names it.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Convention::Nearest => "nearest",
            Convention::Up => "up",
            Convention::Down => "down",
            Convention::Fractional => "fractional",
        }
    }

    /// How many of n cans make the share 1/`parts`.
    ///
    /// # Example
    /// ```
    /// use evenfall::audit::Convention;
    /// assert_eq!(Convention::Up.cans(17, 4), 5.0);
    /// assert_eq!(Convention::Nearest.cans(17, 4), 4.0);
    /// assert_eq!(Convention::Fractional.cans(17, 4), 4.25);
    /// ```
    #[must_use]
    pub fn cans(self, n: usize, parts: usize) -> f64 {
        let whole = match self {
            Convention::Nearest => (2 * n + parts) / (2 * parts),
            Convention::Up => n.div_ceil(parts),
            Convention::Down => n / parts,
            Convention::Fractional => return n as f64 / parts as f64,
        };
        whole.max(1) as f64
    }
}

/// One can.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Can {
    /// What it caught: a depth \[mm\] or a rate \[mm/h\], the same for all cans of an audit.
    pub caught: f64,
    /// Where it stood \[m\], if that was noted.
    pub place_m: Option<(f64, f64)>,
}

/// The driest window of an audit with places.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Driest {
    /// Scheduling coefficient: mean of all cans over the mean of the window; `None` when its cans
    /// are dry.
    pub sc: Option<f64>,
    /// Side of the square window \[m\].
    pub side_m: f64,
    /// Its south-west corner \[m\].
    pub corner_m: (f64, f64),
    /// Cans in it.
    pub cans: usize,
}

/// The measures of an audit.
#[derive(Debug, Clone, PartialEq)]
pub struct Audit {
    /// How many cans there are.
    pub cans: usize,
    /// Their mean, in the unit of the readings.
    pub mean: f64,
    /// Christiansen uniformity \[%\]; may be negative.
    pub cu_pct: f64,
    /// Low-quarter distribution uniformity.
    pub du_lq: f64,
    /// Low-half distribution uniformity.
    pub du_lh: f64,
    /// Coefficient of variation (population).
    pub cv: f64,
    /// Smallest and largest reading.
    pub range: (f64, f64),
    /// Cans in the low quarter, by the convention.
    pub low_quarter_cans: f64,
    /// The driest window; `None` when a place is missing or no window holds enough cans.
    pub driest: Option<Driest>,
}

impl Audit {
    /// Measures the cans.
    ///
    /// `window_side_m` is the side of the square windows of the scheduling coefficient; without it
    /// a window holds 5 % of the sampled area and is at least two spacings wide.
    ///
    /// # Errors
    /// `AU01` for a reading that is negative or not finite, `AU02` for fewer than four cans,
    /// `AU03` when all cans are dry.
    ///
    /// # Example
    /// ```
    /// use evenfall::audit::{Audit, Can, Convention};
    /// let cans = [8.0, 9.0, 10.0, 13.0].map(|caught| Can { caught, place_m: None });
    /// let audit = Audit::of(&cans, Convention::Nearest, None).unwrap();
    /// assert_eq!(audit.mean, 10.0);
    /// assert_eq!(audit.du_lq, 0.8);
    /// ```
    pub fn of(
        cans: &[Can],
        convention: Convention,
        window_side_m: Option<f64>,
    ) -> Result<Audit, Issue> {
        for (at, can) in cans.iter().enumerate() {
            if !can.caught.is_finite() || can.caught < 0.0 {
                let found = format!("can {} caught {}", at + 1, can.caught);
                return Err(Issue::new(Code::AU01, found));
            }
        }
        if cans.len() < LEAST_CANS {
            return Err(Issue::new(Code::AU02, format!("there are {}", cans.len())));
        }
        let mut sorted: Vec<f64> = cans.iter().map(|can| can.caught).collect();
        sorted.sort_by(f64::total_cmp);
        let n = sorted.len() as f64;
        let mean = sorted.iter().sum::<f64>() / n;
        if mean <= 0.0 {
            return Err(Issue::new(
                Code::AU03,
                format!("all {} of them", cans.len()),
            ));
        }
        let off: f64 = sorted.iter().map(|d| (d - mean).abs()).sum();
        let square: f64 = sorted.iter().map(|d| (d - mean) * (d - mean)).sum();
        let quarter = convention.cans(sorted.len(), 4);
        Ok(Audit {
            cans: cans.len(),
            mean,
            cu_pct: 100.0 * (1.0 - off / (n * mean)),
            du_lq: lowest_mean(&sorted, quarter) / mean,
            du_lh: lowest_mean(&sorted, convention.cans(sorted.len(), 2)) / mean,
            cv: (square / n).sqrt() / mean,
            range: (sorted[0], sorted[sorted.len() - 1]), // at least four cans
            low_quarter_cans: quarter,
            driest: driest_window(cans, mean, window_side_m),
        })
    }
}

/// Mean of the lowest `count` of a sorted sample, the last one in part.
fn lowest_mean(sorted: &[f64], count: f64) -> f64 {
    let mut left = count;
    let mut sum = 0.0;
    for value in sorted {
        let part = left.min(1.0);
        if part <= 0.0 {
            break;
        }
        sum += part * value;
        left -= part;
    }
    sum / count
}

/// The driest square window that lies inside the sampled area: the box of the cans, half a spacing
/// wider on every side. A can stands in a corner of each window that is tried.
fn driest_window(cans: &[Can], mean: f64, side_m: Option<f64>) -> Option<Driest> {
    let places: Vec<(f64, f64)> = cans.iter().map_while(|can| can.place_m).collect();
    if places.len() < cans.len() {
        return None;
    }
    let spacing_m = spacing_m(&places)?;
    let half = spacing_m / 2.0;
    let most = |of: fn(&(f64, f64)) -> f64| places.iter().map(of).fold(f64::MIN, f64::max) + half;
    let least = |of: fn(&(f64, f64)) -> f64| places.iter().map(of).fold(f64::MAX, f64::min) - half;
    let (west, east) = (least(|p| p.0), most(|p| p.0));
    let (south, north) = (least(|p| p.1), most(|p| p.1));
    let area_m2 = (east - west) * (north - south);
    let side_m = side_m.unwrap_or_else(|| {
        (WINDOW_SHARE * area_m2)
            .sqrt()
            .max(LEAST_WINDOW_SPACINGS * spacing_m)
    });
    let enough = WINDOW_LEAST_SHARE * side_m * side_m * places.len() as f64 / area_m2;
    // Places are written to the centimetre or so; corners may not miss a can by rounding.
    let slack = 1e-6 * spacing_m;
    let mut driest: Option<(f64, Driest)> = None;
    for &(x, y) in &places {
        for (left, bottom) in [
            (x - half, y - half),
            (x + half - side_m, y - half),
            (x - half, y + half - side_m),
            (x + half - side_m, y + half - side_m),
        ] {
            let (right, top) = (left + side_m, bottom + side_m);
            if left < west - slack
                || right > east + slack
                || bottom < south - slack
                || top > north + slack
            {
                continue;
            }
            let (mut count, mut sum) = (0, 0.0);
            for (can, &(px, py)) in cans.iter().zip(&places) {
                if px > left - slack
                    && px < right - slack
                    && py > bottom - slack
                    && py < top - slack
                {
                    count += 1;
                    sum += can.caught;
                }
            }
            if count == 0 || f64::from(count) < enough {
                continue;
            }
            let window_mean = sum / f64::from(count);
            if driest.is_none_or(|(lowest, _)| window_mean < lowest) {
                let found = Driest {
                    sc: (window_mean > 0.0).then(|| mean / window_mean),
                    side_m,
                    corner_m: (left, bottom),
                    cans: count as usize,
                };
                driest = Some((window_mean, found));
            }
        }
    }
    driest.map(|(_, driest)| driest)
}

/// The median distance from a can to its nearest neighbour \[m\]; `None` when cans stand on one
/// another.
fn spacing_m(places: &[(f64, f64)]) -> Option<f64> {
    let mut nearest: Vec<f64> = places
        .iter()
        .enumerate()
        .map(|(at, a)| {
            let others = places.iter().enumerate().filter(|&(other, _)| other != at);
            others
                .map(|(_, b)| ((a.0 - b.0) * (a.0 - b.0) + (a.1 - b.1) * (a.1 - b.1)).sqrt())
                .fold(f64::INFINITY, f64::min)
        })
        .collect();
    nearest.sort_by(f64::total_cmp);
    nearest
        .get(nearest.len() / 2)
        .copied()
        .filter(|spacing| spacing.is_finite() && *spacing > 0.0)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test fails by panicking")]
mod tests {
    use super::*;

    fn cans(caught: &[f64]) -> Vec<Can> {
        let can = |&caught: &f64| Can {
            caught,
            place_m: None,
        };
        caught.iter().map(can).collect()
    }

    /// Sixteen depths: mean 11, CU 84.091 %, DU_lq 0.7500, DU_lh 0.84091, CV 0.19285 (recomputed by
    /// hand from the definitions).
    #[test]
    fn sixteen_cans() {
        let depths = [
            8.0, 9.0, 10.0, 12.0, 14.0, 10.0, 11.0, 13.0, 9.0, 12.0, 15.0, 11.0, 7.0, 10.0, 12.0,
            13.0,
        ];
        for (_, convention) in Convention::ALL {
            // 16 is divisible by four: every convention takes the lowest four.
            let audit = Audit::of(&cans(&depths), convention, None).unwrap();
            assert_eq!(audit.mean, 11.0);
            assert!((audit.cu_pct - 84.091).abs() < 5e-4);
            assert!((audit.du_lq - 0.75).abs() < 1e-12);
            assert!((audit.du_lh - 0.840_91).abs() < 5e-6);
            assert!((audit.cv - 0.192_85).abs() < 5e-6);
            assert!(audit.driest.is_none());
        }
    }

    /// A grid of 6 × 6 cans, 1 m apart: mean 10.41667, CU 86.267 %, DU_lq 0.8000, DU_lh 0.8693,
    /// SC over one can 1.48810, over 2 × 2 cans 1.30208 (recomputed by hand).
    #[test]
    fn a_grid_of_36_cans() {
        let rows = [
            [10.0, 12.0, 11.0, 9.0, 8.0, 10.0],
            [11.0, 14.0, 13.0, 10.0, 7.0, 9.0],
            [9.0, 12.0, 15.0, 12.0, 8.0, 8.0],
            [8.0, 10.0, 12.0, 13.0, 10.0, 9.0],
            [10.0, 11.0, 10.0, 11.0, 12.0, 10.0],
            [12.0, 10.0, 9.0, 9.0, 10.0, 11.0],
        ];
        let mut placed = Vec::new();
        for (y, row) in rows.iter().enumerate() {
            for (x, &caught) in row.iter().enumerate() {
                let place_m = Some((x as f64, y as f64));
                placed.push(Can { caught, place_m });
            }
        }
        let of = |side| Audit::of(&placed, Convention::Nearest, side).unwrap();
        let audit = of(None);
        assert!((audit.mean - 10.416_67).abs() < 5e-6);
        assert!((audit.cu_pct - 86.267).abs() < 5e-4);
        assert!((audit.du_lq - 0.8).abs() < 1e-12);
        assert!((audit.du_lh - 0.8693).abs() < 5e-5);
        // One can in a window: the smallest reading is 7.
        let one = of(Some(1.0)).driest.unwrap();
        assert!((one.sc.unwrap() - 1.488_10).abs() < 5e-6);
        assert_eq!(one.cans, 1);
        let four = of(Some(2.0)).driest.unwrap();
        assert!((four.sc.unwrap() - 1.302_08).abs() < 5e-6);
        assert_eq!(four.cans, 4);
        // Mirrored, the same windows are there.
        for can in &mut placed {
            can.place_m = can.place_m.map(|(x, y)| (-x, y));
        }
        let mirrored = Audit::of(&placed, Convention::Nearest, Some(2.0)).unwrap();
        assert_eq!(mirrored.driest.unwrap().sc, four.sc);
    }

    /// Merriam and Keller 1978, pp. 41–43: 15 catch rates in in/h, printed DU 82 % (lowest four).
    #[test]
    fn fifteen_cans_by_every_convention() {
        let rates = [
            0.23, 0.31, 0.24, 0.24, 0.28, 0.31, 0.27, 0.22, 0.26, 0.31, 0.31, 0.25, 0.20, 0.22,
            0.32,
        ];
        for (convention, percent) in [
            (Convention::Nearest, 82.18),
            (Convention::Up, 82.18),
            (Convention::Down, 80.60),
            (Convention::Fractional, 81.86),
        ] {
            let audit = Audit::of(&cans(&rates), convention, None).unwrap();
            assert!((audit.mean - 0.264_667).abs() < 5e-7);
            assert!(
                (100.0 * audit.du_lq - percent).abs() < 5e-3,
                "{convention:?}"
            );
        }
        // Caught over applied: 4.6 gpm on 30 × 50 ft are 0.29517 in/h, printed ratio 0.8967.
        let audit = Audit::of(&cans(&rates), Convention::Nearest, None).unwrap();
        assert!((audit.mean / (96.25 * 4.6 / 1_500.0) - 0.8967).abs() < 5e-5);
        let low_quarter = audit.du_lq * audit.mean;
        assert!((low_quarter / (96.25 * 4.6 / 1_500.0) - 0.7369).abs() < 5e-5);
    }

    #[test]
    fn what_cannot_be_measured() {
        let code = |caught: &[f64]| {
            let issue = Audit::of(&cans(caught), Convention::Nearest, None).unwrap_err();
            issue.code
        };
        assert_eq!(code(&[1.0, 2.0, -3.0, 4.0]), Code::AU01);
        assert_eq!(code(&[1.0, 2.0, f64::NAN, 4.0]), Code::AU01);
        assert_eq!(code(&[1.0, 2.0, 3.0]), Code::AU02);
        assert_eq!(code(&[0.0; 8]), Code::AU03);
    }

    #[test]
    fn even_cans_are_even_and_a_dry_window_has_no_coefficient() {
        let mut placed: Vec<Can> = (0..16)
            .map(|at| Can {
                caught: 5.0,
                place_m: Some((f64::from(at % 4), f64::from(at / 4))),
            })
            .collect();
        let even = Audit::of(&placed, Convention::Fractional, Some(1.0)).unwrap();
        assert_eq!((even.cu_pct, even.du_lq, even.cv), (100.0, 1.0, 0.0));
        assert_eq!(even.driest.unwrap().sc, Some(1.0));
        placed[5].caught = 0.0;
        let dry = Audit::of(&placed, Convention::Fractional, Some(1.0)).unwrap();
        assert_eq!(dry.driest.unwrap().sc, None);
        // Cans on one spot have no spacing, so there is no window.
        placed
            .iter_mut()
            .for_each(|can| can.place_m = Some((1.0, 1.0)));
        let heap = Audit::of(&placed, Convention::Fractional, None).unwrap();
        assert!(heap.driest.is_none());
    }
}
