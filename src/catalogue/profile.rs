//! Radial profiles: how the rate falls from the head to the end of the throw.

use std::fmt;

/// How the rate of one head varies with s = r/R, scaled so that ∫₀¹ g(s) s ds = 1.
///
/// The rate at distance r is `60 · q / (θ R²) · g(r/R)` [mm/h] with q in L/min, θ in radians and
/// R in metres; it is zero for s ≥ 1.
///
/// # References
/// - Christiansen J. E., *Irrigation by Sprinkling*, California Agricultural Experiment Station
///   Bulletin 670, 1942: the classes of pattern that these shapes stand for.
#[derive(Debug, Clone, PartialEq)]
pub enum Profile {
    /// g = 2.
    Uniform,
    /// g = 6 (1 − s).
    Triangular,
    /// g = 3 √(1 − s²).
    Elliptical,
    /// g = 4 (1 − s²).
    Parabolic,
    /// Straight lines between points, constant before the first, zero after the last.
    Tabulated(Table),
}

/// A tabulated profile, already scaled.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// The points as the catalogue gave them, unscaled: s and relative rate.
    given: Vec<(f64, f64)>,
    /// The scaled points.
    scaled: Vec<(f64, f64)>,
}

/// Why a profile was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BadProfile {
    /// The name is not one of the four.
    #[error(
        "`{0}` is not a profile; use triangular, elliptical, uniform, parabolic or [[s, rate], …]"
    )]
    UnknownName(String),
    /// The table is empty, out of order, negative or zero everywhere.
    #[error("the table must rise in s from 0 to 1 and hold rates of 0 or more, not all 0")]
    BadTable,
}

impl Profile {
    /// Reads a profile by name or as the JSON text of a list of `[s, relative rate]`.
    ///
    /// # Errors
    /// [`BadProfile`] for an unknown name or an impossible table.
    pub fn parse(text: &str) -> Result<Profile, BadProfile> {
        match text {
            "uniform" => Ok(Profile::Uniform),
            "triangular" => Ok(Profile::Triangular),
            "elliptical" => Ok(Profile::Elliptical),
            "parabolic" => Ok(Profile::Parabolic),
            table if table.trim_start().starts_with('[') => {
                let points: Vec<(f64, f64)> =
                    serde_json::from_str(table).map_err(|_| BadProfile::BadTable)?;
                Profile::tabulated(points)
            }
            other => Err(BadProfile::UnknownName(other.to_owned())),
        }
    }

    /// Makes a piecewise linear profile from points (s, relative rate).
    ///
    /// # Errors
    /// [`BadProfile::BadTable`] when s does not rise within 0..=1, a rate is negative, or the
    /// profile carries no water.
    pub fn tabulated(given: Vec<(f64, f64)>) -> Result<Profile, BadProfile> {
        let rising = given.windows(2).all(|pair| pair[0].0 < pair[1].0);
        let within = given
            .iter()
            .all(|&(s, rate)| (0.0..=1.0).contains(&s) && rate >= 0.0 && rate.is_finite());
        if given.is_empty() || !rising || !within {
            return Err(BadProfile::BadTable);
        }
        let mut points = given.clone();
        if points[0].0 > 0.0 {
            points.insert(0, (0.0, points[0].1));
        }
        // Exact integral of a straight segment times s (SCIENCE: tabulated profiles).
        let integral: f64 = points
            .windows(2)
            .map(|pair| {
                let ((s1, f1), (s2, f2)) = (pair[0], pair[1]);
                (s2 - s1) / 6.0 * (f1 * (2.0 * s1 + s2) + f2 * (s1 + 2.0 * s2))
            })
            .sum();
        if integral <= 0.0 {
            return Err(BadProfile::BadTable);
        }
        let scaled = points.iter().map(|&(s, f)| (s, f / integral)).collect();
        Ok(Profile::Tabulated(Table { given, scaled }))
    }

    /// The relative rate g at s = r/R; 0 for s ≥ 1.
    #[must_use]
    pub fn rate_at(&self, s: f64) -> f64 {
        if s >= 1.0 {
            return 0.0;
        }
        match self {
            Profile::Uniform => 2.0,
            Profile::Triangular => 6.0 * (1.0 - s),
            Profile::Elliptical => 3.0 * (1.0 - s * s).max(0.0).sqrt(),
            Profile::Parabolic => 4.0 * (1.0 - s * s),
            Profile::Tabulated(table) => table.rate_at(s),
        }
    }
}

impl Table {
    fn rate_at(&self, s: f64) -> f64 {
        let after = self.scaled.partition_point(|&(knot, _)| knot <= s);
        match (
            after.checked_sub(1).and_then(|i| self.scaled.get(i)),
            self.scaled.get(after),
        ) {
            (Some(&(s1, f1)), Some(&(s2, f2))) => f1 + (f2 - f1) * (s - s1) / (s2 - s1),
            (None, Some(&(_, first))) => first,
            _ => 0.0,
        }
    }
}

impl fmt::Display for Profile {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Profile::Uniform => f.write_str("uniform"),
            Profile::Triangular => f.write_str("triangular"),
            Profile::Elliptical => f.write_str("elliptical"),
            Profile::Parabolic => f.write_str("parabolic"),
            Profile::Tabulated(table) => {
                let points: Vec<String> = table
                    .given
                    .iter()
                    .map(|(s, rate)| format!("[{s:?},{rate:?}]"))
                    .collect();
                write!(f, "[{}]", points.join(","))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ∫₀¹ g(s) s ds by the midpoint rule.
    fn moment(profile: &Profile) -> f64 {
        let n = 200_000;
        (0..n)
            .map(|i| {
                let s = (f64::from(i) + 0.5) / f64::from(n);
                profile.rate_at(s) * s / f64::from(n)
            })
            .sum()
    }

    #[test]
    fn every_profile_carries_its_flow() {
        let doughnut: Vec<(f64, f64)> = (0..=200)
            .map(|i| f64::from(i) / 200.0)
            .map(|s| (s, s * (1.0 - s)))
            .collect();
        for profile in [
            Profile::Uniform,
            Profile::Triangular,
            Profile::Elliptical,
            Profile::Parabolic,
            Profile::parse("[[0.2,1],[0.6,3],[1,0]]").unwrap(),
            Profile::parse("[[0,2],[0.5,2]]").unwrap(),
            Profile::tabulated(doughnut).unwrap(),
        ] {
            // 200,000 midpoints on a function with bounded slope but a root at 1: 1e-6 is ample.
            assert!(
                (moment(&profile) - 1.0).abs() < 1e-6,
                "{profile}: {}",
                moment(&profile)
            );
        }
    }

    #[test]
    fn the_peak_over_the_mean_follows_the_published_shapes() {
        // Radial integrals of the classical shapes: i0 / i_mean = 1 / (2 ∫ f s ds); with
        // ∫ g s ds = 1 that ratio is g(0) / 2. Uniform 1, triangular 3, elliptical 3/2,
        // parabolic 2 (Christiansen 1942 classes; integrals by hand).
        for (profile, ratio) in [
            (Profile::Uniform, 1.0),
            (Profile::Triangular, 3.0),
            (Profile::Elliptical, 1.5),
            (Profile::Parabolic, 2.0),
        ] {
            assert_eq!(profile.rate_at(0.0) / 2.0, ratio);
            assert_eq!(profile.rate_at(1.0), 0.0);
        }
    }

    #[test]
    fn text_and_profile_are_the_same_thing() {
        for text in [
            "uniform",
            "triangular",
            "elliptical",
            "parabolic",
            "[[0.0,1.0],[0.5,2.0],[1.0,0.0]]",
        ] {
            let profile = Profile::parse(text).unwrap();
            assert_eq!(Profile::parse(&profile.to_string()).unwrap(), profile);
        }
    }

    #[test]
    fn impossible_tables_are_refused() {
        for text in [
            "[]",
            "[[0,0],[1,0]]",
            "[[0.5,1],[0.2,1]]",
            "[[0,-1],[1,1]]",
            "[[0,1],[1.5,0]]",
            "cone",
        ] {
            assert!(Profile::parse(text).is_err(), "{text}");
        }
    }
}
