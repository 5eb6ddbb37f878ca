//! Draws of uncertain numbers: evenly spread over their ranges, the same for the same seed.
//!
//! The points are a rank-1 lattice of 256 points, `u_k = frac(k z / 256 + shift)`, whose
//! generating vector z is found component by component so that the worst-case error of smooth
//! integrands is small. Each coordinate alone visits every 256th of its range exactly once, so
//! means of linear models come out almost exactly.
//!
//! # References
//! - Sloan I. H., Joe S., *Lattice Methods for Multiple Integration*, Oxford 1994, ch. 2 and 5.
//! - Sloan I. H., Reztsov A. V., "Component-by-component construction of good lattice rules",
//!   *Math. Comp.* 71, 2002, p. 263–273.
//! - Steele G. L., Lea D., Flood C. H., "Fast splittable pseudorandom number generators", OOPSLA
//!   2014 (the mixing of seeds).

use std::sync::LazyLock;

use sha2::{Digest, Sha256};

/// Draws of a sample.
pub const DRAWS: usize = 256;
/// Numbers that can be drawn together.
pub const COORDINATES: usize = 64;
/// Weight of the k-th coordinate in the search for the generating vector.
fn coordinate_weight(k: usize) -> f64 {
    1.0 / (1.0 + k as f64)
}

/// The generating vector.
static GENERATOR: LazyLock<[u32; COORDINATES]> = LazyLock::new(|| {
    // Kernel of the worst-case error with square-integrable mixed first derivatives:
    // 2π² B₂(x), with the Bernoulli polynomial B₂(x) = x² − x + 1/6.
    let kernel: Vec<f64> = (0..DRAWS)
        .map(|k| {
            let x = k as f64 / DRAWS as f64;
            2.0 * std::f64::consts::PI * std::f64::consts::PI * (x * x - x + 1.0 / 6.0)
        })
        .collect();
    let mut products = vec![1.0; DRAWS];
    std::array::from_fn(|coordinate| {
        let weight = coordinate_weight(coordinate);
        let mut best = (f64::INFINITY, 1);
        for z in (1..DRAWS as u32).step_by(2) {
            let error: f64 = (0..DRAWS)
                .map(|k| products[k] * (1.0 + weight * kernel[k * z as usize % DRAWS]))
                .sum();
            if error < best.0 - 1e-9 {
                best = (error, z);
            }
        }
        for (k, product) in products.iter_mut().enumerate() {
            *product *= 1.0 + weight * kernel[k * best.1 as usize % DRAWS];
        }
        best.1
    })
});

/// A stream of mixed 64-bit words.
#[derive(Debug, Clone)]
pub struct Words {
    state: u64,
}

impl Words {
    /// The stream that belongs to a run's seed and a name.
    #[must_use]
    pub fn of(seed: u64, name: &str) -> Words {
        let mut hash = Sha256::new();
        hash.update(seed.to_le_bytes());
        hash.update(name.as_bytes());
        let digest = hash.finalize();
        let mut state = [0; 8];
        state.copy_from_slice(&digest[..8]);
        Words {
            state: u64::from_le_bytes(state),
        }
    }

    /// The next word.
    pub fn next_word(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut word = self.state;
        word = (word ^ (word >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        word = (word ^ (word >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        word ^ (word >> 31)
    }

    /// The next fraction in \[0, 1).
    pub fn next_frac(&mut self) -> f64 {
        (self.next_word() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// A whole number below `count`, which is at least 1.
    pub fn below(&mut self, count: usize) -> usize {
        ((u128::from(self.next_word()) * count as u128) >> 64) as usize
    }

    /// Puts a list into an order of its own.
    pub fn shuffle<T>(&mut self, list: &mut [T]) {
        for i in (1..list.len()).rev() {
            list.swap(i, self.below(i + 1));
        }
    }
}

/// Which draws belong to whom: what is common to all parcels is drawn alike everywhere, what is
/// a parcel's own is drawn anew and independently of other parcels.
#[derive(Debug, Clone)]
pub struct Sample {
    shift: [f64; COORDINATES],
    /// Which lattice point stands at each draw.
    points: Vec<u32>,
}

impl Sample {
    /// The sample of what is common to a run.
    #[must_use]
    pub fn common(seed: u64) -> Sample {
        Sample::of(&mut Words::of(seed, ""), (0..DRAWS as u32).collect())
    }

    /// The sample of a parcel's own numbers: the points in an order of its own, so that it has
    /// nothing to do with another parcel's.
    #[must_use]
    pub fn of_parcel(seed: u64, parcel_id: &str) -> Sample {
        let mut words = Words::of(seed, &format!("parcel {parcel_id}"));
        let mut points: Vec<u32> = (0..DRAWS as u32).collect();
        words.shuffle(&mut points);
        Sample::of(&mut words, points)
    }

    fn of(words: &mut Words, points: Vec<u32>) -> Sample {
        Sample {
            shift: std::array::from_fn(|_| words.next_frac()),
            points,
        }
    }

    /// A coordinate (below [`COORDINATES`]) of a draw (below [`DRAWS`]), in (0, 1).
    #[must_use]
    pub fn frac(&self, draw: usize, coordinate: usize) -> f64 {
        let z = GENERATOR[coordinate];
        let k = u64::from(self.points[draw]) * u64::from(z) % DRAWS as u64;
        let at = k as f64 / DRAWS as f64 + self.shift[coordinate];
        (at - at.floor()).clamp(1e-9, 1.0 - 1e-9)
    }
}

/// The value at a fraction of a sample, between neighbours in proportion: rank `(n − 1) p` from
/// 0. `None` for an empty sample.
///
/// # Example
/// ```
/// let values: Vec<f64> = (1..=10).map(f64::from).collect();
/// assert_eq!(evenfall::savings::percentile(&values, 0.1), Some(1.9));
/// ```
#[must_use]
pub fn percentile(values: &[f64], p: f64) -> Option<f64> {
    percentiles(values, [p]).map(|[value]| value)
}

/// The values at several fractions of a sample: see [`percentile`].
#[must_use]
pub fn percentiles<const N: usize>(values: &[f64], fractions: [f64; N]) -> Option<[f64; N]> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let last = sorted.len().checked_sub(1)?;
    Some(fractions.map(|p| {
        let rank = last as f64 * p.clamp(0.0, 1.0);
        let below = rank.floor() as usize;
        let above = (below + 1).min(last);
        sorted[below] + (sorted[above] - sorted[below]) * (rank - below as f64)
    }))
}
