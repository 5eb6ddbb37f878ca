//! Fair shares of a difference among causes that act together.

/// The Shapley value of each of N causes: the mean, over all orders in which the causes could
/// change one after the other, of what each change takes off. `value` gives the quantity with
/// the causes marked `true` changed; it is asked once for each of the 2^N sets. The parts add up
/// to `value(none) − value(all)` but for rounding, and a cause that changes nothing gets 0.
///
/// # References
/// - Shapley, L. S., "A value for n-person games", *Contributions to the Theory of Games II*,
///   Princeton 1953, p. 307–317.
///
/// # Example
/// ```
/// let parts = evenfall::savings::shapley(|[a, b]: [bool; 2]| {
///     12.0 * if a { 0.5 } else { 1.0 } * if b { 0.5 } else { 1.0 }
/// });
/// assert_eq!(parts, [4.5, 4.5]);
/// ```
#[must_use]
pub fn shapley<const N: usize>(value: impl Fn([bool; N]) -> f64) -> [f64; N] {
    let sets = 1usize << N;
    let values: Vec<f64> = (0..sets)
        .map(|set| value(std::array::from_fn(|cause| set >> cause & 1 == 1)))
        .collect();
    let mut weights = [0.0; N]; // of a set of k causes before the one that changes
    for (k, weight) in weights.iter_mut().enumerate() {
        *weight = factorial(k) * factorial(N - k - 1) / factorial(N);
    }
    std::array::from_fn(|cause| {
        (0..sets)
            .filter(|set| set >> cause & 1 == 0)
            .map(|set| {
                weights[set.count_ones() as usize] * (values[set] - values[set | 1 << cause])
            })
            .sum()
    })
}

fn factorial(n: usize) -> f64 {
    (1..=n).map(|k| k as f64).product()
}
