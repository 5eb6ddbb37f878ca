//! The wind rose of a climate: where the wind of the watering hours comes from.

use super::{MonthClimate, YearClimate};
use crate::rain::{SIDES, Winds};

/// The columns of the shares, from north clockwise.
pub(super) const COLUMNS: [&str; SIDES] = [
    "wind_n_frac",
    "wind_ne_frac",
    "wind_e_frac",
    "wind_se_frac",
    "wind_s_frac",
    "wind_sw_frac",
    "wind_w_frac",
    "wind_nw_frac",
];

impl YearClimate {
    /// The winds of the watering hours of a year with this mean speed \[m/s\]; `None` where no month
    /// says where its wind comes from.
    ///
    /// Months count by their reference evapotranspiration, as lawns are watered most in the months that
    /// have most of it; those without shares are left out.
    #[must_use]
    pub fn winds(&self, mean_m_s: f64) -> Option<Winds> {
        let known = |month: &MonthClimate| month.wind_frac.map(|shares| (month.eto_mm, shares));
        let known: Vec<(f64, [f64; SIDES])> = self.months.iter().filter_map(known).collect();
        let weight: f64 = known.iter().map(|(eto_mm, _)| eto_mm).sum();
        if weight <= 0.0 {
            return None;
        }
        let mut year = [0.0; SIDES];
        for (eto_mm, shares) in &known {
            for (sum, share) in year.iter_mut().zip(shares) {
                *sum += share * eto_mm / weight;
            }
        }
        Some(Winds::of_shares(mean_m_s, &year))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn months_count_by_what_they_evaporate() {
        let mut year = YearClimate::larkmoor();
        assert_eq!(year.winds(2.0), None);
        for (at, month) in year.months.iter_mut().enumerate() {
            let mut shares = [0.0; SIDES];
            shares[if at < 6 { 0 } else { 2 }] = 0.5;
            month.eto_mm = if at < 6 { 20.0 } else { 60.0 };
            month.wind_frac = Some(shares);
        }
        let winds = year.winds(2.0).unwrap();
        let found: Vec<(f64, f64, f64)> = winds
            .all()
            .iter()
            .map(|wind| (wind.from_deg, wind.share_frac, wind.speed_m_s))
            .collect();
        assert_eq!(found.len(), 2);
        for (found, expected) in found.iter().zip([(0.0, 0.125, 4.0), (90.0, 0.375, 4.0)]) {
            assert_eq!(found.0, expected.0);
            // Twelve sums of rounded thirds.
            assert!((found.1 - expected.1).abs() < 1e-12);
            assert!((found.2 - expected.2).abs() < 1e-11);
        }
    }
}
