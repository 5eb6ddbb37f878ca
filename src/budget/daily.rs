//! A daily balance of the root zone, for where daily weather is given.

use crate::climate::{DAYS, DayClimate, DayRecord};
use crate::soil::Reservoir;

use super::PlantFactors;

/// One day of sky over the turf.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DaySky {
    /// 0-based month.
    pub month: usize,
    /// Reference evapotranspiration \[mm\].
    pub eto_mm: f64,
    /// Rain \[mm\].
    pub rain_mm: f64,
}

impl DaySky {
    /// A day of a climate; `None` when its rain was not measured.
    #[must_use]
    pub fn of_climate(day: &DayClimate) -> Option<DaySky> {
        Some(DaySky {
            month: usize::from(day.date.month) - 1,
            eto_mm: day.eto_mm,
            rain_mm: day.rain_mm?,
        })
    }

    /// A day of weather; `None` when its rain was not measured.
    #[must_use]
    pub fn of(day: &DayRecord) -> Option<DaySky> {
        Some(DaySky {
            month: usize::from(day.date.month) - 1,
            eto_mm: day.eto_mm,
            rain_mm: day.rain_mm?,
        })
    }
}

/// What became of the water of all days.
#[derive(Debug, Clone, PartialEq)]
pub struct DailyBalance {
    /// Days reckoned.
    pub days: usize,
    /// Plant demand \[mm\].
    pub etc_mm: f64,
    /// Rain \[mm\].
    pub rain_mm: f64,
    /// Rain that drained below the roots \[mm\].
    pub drained_mm: f64,
    /// Irrigation that entered the root zone \[mm\].
    pub irrigation_mm: f64,
    /// Waterings.
    pub waterings: usize,
    /// Depletion at the end, from 0 at the start \[mm\].
    pub depletion_mm: f64,
    /// Irrigation of a mean year by month \[mm\]: mean day × days of the month.
    pub net_mm: [f64; 12],
}

/// The daily balance of the root zone, from a full one: depletion grows by plant demand and
/// shrinks by rain; what rain brings beyond a full root zone drains. The evening that depletion
/// reaches the usable storage, irrigation refills the root zone.
///
/// `rain + irrigation = demand + drained − depletion at the end`, exactly but for rounding.
///
/// # References
/// - Allen, R. G., Pereira, L. S., Raes, D. and Smith, M., *Crop evapotranspiration*, FAO
///   Irrigation and Drainage Paper 56, Rome 1998, eq. 85 (without stress: irrigation comes
///   first).
#[must_use]
pub fn daily_balance(
    days: &[DaySky],
    plants: &PlantFactors,
    reservoir: &Reservoir,
) -> DailyBalance {
    let usable_mm = reservoir.usable_mm();
    let mut sums = DailyBalance {
        days: days.len(),
        etc_mm: 0.0,
        rain_mm: 0.0,
        drained_mm: 0.0,
        irrigation_mm: 0.0,
        waterings: 0,
        depletion_mm: 0.0,
        net_mm: [0.0; 12],
    };
    let mut month_days = [0u32; 12];
    for day in days {
        let etc_mm = day.eto_mm * plants.0[day.month];
        sums.etc_mm += etc_mm;
        sums.rain_mm += day.rain_mm;
        sums.depletion_mm += etc_mm - day.rain_mm;
        if sums.depletion_mm < 0.0 {
            sums.drained_mm -= sums.depletion_mm;
            sums.depletion_mm = 0.0;
        }
        if sums.depletion_mm >= usable_mm && sums.depletion_mm > 0.0 {
            sums.irrigation_mm += sums.depletion_mm;
            sums.net_mm[day.month] += sums.depletion_mm;
            sums.depletion_mm = 0.0;
            sums.waterings += 1;
        }
        month_days[day.month] += 1;
    }
    for month in 0..12 {
        let count = f64::from(month_days[month].max(1));
        sums.net_mm[month] *= DAYS[month] / count;
    }
    sums
}

#[cfg(test)]
mod tests {
    use super::*;

    const STORE: Reservoir = Reservoir {
        available_mm: 25.5,
        depletion_frac: 0.5,
        root_depth_mm: 150.0,
    };

    #[test]
    fn dry_and_steady_agrees_with_the_months() {
        // Without rain every millimetre of demand is irrigated; what is left at the end is less
        // than one watering.
        let days: Vec<DaySky> = (0..365)
            .map(|day| DaySky {
                month: day * 12 / 365,
                eto_mm: 5.0,
                rain_mm: 0.0,
            })
            .collect();
        let found = daily_balance(&days, &PlantFactors([0.8; 12]), &STORE);
        let monthly_mm = 365.0 * 5.0 * 0.8;
        assert!((found.irrigation_mm + found.depletion_mm - monthly_mm).abs() < 1e-9);
        assert!(found.depletion_mm < STORE.usable_mm());
        assert_eq!(found.waterings, 91); // every fourth day
    }

    #[test]
    fn water_is_neither_made_nor_lost() {
        let days: Vec<DaySky> = (0..730)
            .map(|day| DaySky {
                month: day % 365 * 12 / 365,
                eto_mm: 3.0 + 2.0 * f64::from(day as u32 % 7) / 7.0,
                rain_mm: if day % 11 == 0 { 19.0 } else { 0.0 },
            })
            .collect();
        let found = daily_balance(&days, &PlantFactors([0.8; 12]), &STORE);
        let left = found.rain_mm + found.irrigation_mm;
        let right = found.etc_mm + found.drained_mm - found.depletion_mm;
        assert!((left - right).abs() < 1e-9);
        assert!(found.drained_mm > 0.0 && found.waterings > 0);
    }

    #[test]
    fn no_days_no_water() {
        let found = daily_balance(&[], &PlantFactors([0.8; 12]), &STORE);
        assert_eq!((found.irrigation_mm, found.net_mm), (0.0, [0.0; 12]));
    }
}
