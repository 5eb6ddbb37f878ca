//! What a water meter says of outdoor use, and what that leaves of a claim.
//!
//! Winter minimum: the lowest use a day among periods in which turf needs next to nothing is taken
//! to be what a household uses indoors all year; what is above it in any period is outdoor use. A
//! house that waters in winter too, or that is empty then, is misread by this, which is why a
//! metered use has a range.
//!
//! Weather: `outdoor use of the year = Σ outdoor of the periods · need of the mean year / Σ need of
//! the periods`. Where the climate is given by days and they cover a period, its need is that of
//! the days that really were, and the figure is normalised for weather. Where only months of a mean
//! year are known, nobody can say whether the metered year was dry: periods then weigh by the
//! season alone, which fills gaps and no more.
//!
//! # References
//! - Winter-minimum (base use) method: common practice of water suppliers, no source.

use crate::assumptions::{Assumptions, Key};
use crate::site::MeterRead;

/// What the meter of a parcel says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Metered {
    /// Outdoor use of a year of mean weather \[m³/yr\].
    pub outdoor_m3_yr: f64,
    /// What is taken to be used indoors \[m³/day\].
    pub indoor_m3_day: f64,
}

/// Why a meter cannot be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unusable {
    /// No period in which turf needs next to nothing.
    NoWinter,
    /// The periods hold too little of the season.
    TooLittle,
}

impl Unusable {
    /// What to tell.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Unusable::NoWinter => {
                "no period lies in the season without need; the meter is not used"
            }
            Unusable::TooLittle => {
                "the periods hold too little of the season; the meter is not used"
            }
        }
    }
}

/// A period with what turf needs in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PeriodNeed {
    /// The period.
    pub read: MeterRead,
    /// What the turf of the parcel needs in it \[m³\].
    pub need_m3: f64,
    /// The same by the months of the mean year \[m³\].
    pub normal_m3: f64,
}

/// Outdoor use by the winter minimum. `need_m3_yr` is the need of the mean year, `peak_m3_day` that
/// of a day of its peak month.
///
/// # Errors
/// Why the periods cannot say.
pub fn metered(
    periods: &[PeriodNeed],
    (need_m3_yr, peak_m3_day): (f64, f64),
    assumptions: &Assumptions,
) -> Result<Metered, Unusable> {
    let winter_m3_day = assumptions.number(Key::MeterWinter) * peak_m3_day;
    let indoor_m3_day = periods
        .iter()
        .filter(|period| period.normal_m3 <= winter_m3_day * f64::from(period.read.days))
        .map(|period| period.read.m3 / f64::from(period.read.days))
        .fold(f64::INFINITY, f64::min);
    if !indoor_m3_day.is_finite() {
        return Err(Unusable::NoWinter);
    }
    let covered_m3: f64 = periods.iter().map(|period| period.normal_m3).sum();
    let need_m3: f64 = periods.iter().map(|period| period.need_m3).sum();
    let least_m3 = assumptions.number(Key::MeterSeasonLeast) * need_m3_yr;
    if need_m3 <= 0.0 || covered_m3 < least_m3 {
        return Err(Unusable::TooLittle);
    }
    let outdoor_m3: f64 = periods
        .iter()
        .map(|period| (period.read.m3 - indoor_m3_day * f64::from(period.read.days)).max(0.0))
        .sum();
    Ok(Metered {
        outdoor_m3_yr: outdoor_m3 * need_m3_yr / need_m3,
        indoor_m3_day,
    })
}

/// Water of a parcel's turf against which a meter is held \[m³/yr\].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Against {
    /// Outdoor use by the meter.
    pub outdoor_m3_yr: f64,
    /// Allowance: net need over a reference efficiency.
    pub allowance_m3_yr: f64,
    /// Modelled use as found.
    pub asfound_m3_yr: f64,
}

impl Against {
    /// Share of the modelled use that the meter bears out, at most 1.
    #[must_use]
    pub fn used_frac(&self) -> f64 {
        if self.outdoor_m3_yr < self.asfound_m3_yr {
            self.outdoor_m3_yr / self.asfound_m3_yr
        } else {
            1.0
        }
    }
}

/// How a meter bounds a claim.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeterRules {
    /// Efficiency of the allowance.
    pub efficiency_frac: f64,
    /// Ratio of use to allowance below which a parcel under-waters.
    pub under_below: f64,
    /// Largest claim as a share of metered outdoor use.
    pub most_frac: f64,
    /// Largest share by which a meter raises the use as found.
    pub raise_most_frac: f64,
}

impl MeterRules {
    /// The rules that are assumed.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> MeterRules {
        MeterRules {
            efficiency_frac: assumptions.number(Key::MeterEfficiency),
            under_below: assumptions.number(Key::MeterUnder),
            most_frac: assumptions.number(Key::MeterClaimMost),
            raise_most_frac: assumptions.number(Key::MeterRaiseMost),
        }
    }

    /// Whether the turf gets less than it needs: use over allowance is below the bound.
    #[must_use]
    pub fn under_waters(&self, against: &Against) -> bool {
        against.outdoor_m3_yr < self.under_below * against.allowance_m3_yr
    }

    /// What a meter above the model adds to the use as found \[m³/yr\]:
    /// `min(outdoor − modelled, share · modelled)`, 0 where it is not above. Who uses more than
    /// his hardware needs over-waters: the schedule has all of it, the hardware none.
    #[must_use]
    pub fn raised_m3_yr(&self, against: &Against) -> f64 {
        let above_m3 = against.outdoor_m3_yr - against.asfound_m3_yr;
        above_m3.clamp(0.0, self.raise_most_frac * against.asfound_m3_yr.max(0.0))
    }

    /// What a meter leaves of a claim \[m³/yr\]. A parcel that uses less than is modelled saves
    /// less in proportion; a claim is at most a share of the metered use; one that under-waters
    /// claims nothing. Losses stay in full.
    #[must_use]
    pub fn bounded_m3_yr(&self, claimed_m3_yr: f64, against: &Against) -> f64 {
        if claimed_m3_yr <= 0.0 {
            return claimed_m3_yr;
        }
        if self.under_waters(against) {
            return 0.0;
        }
        let share = if against.outdoor_m3_yr < against.asfound_m3_yr {
            against.outdoor_m3_yr / against.asfound_m3_yr
        } else {
            1.0
        };
        (claimed_m3_yr * share).min(self.most_frac * against.outdoor_m3_yr)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn period(days: u32, m3: f64, need_m3: f64, normal_m3: f64) -> PeriodNeed {
        PeriodNeed {
            read: MeterRead {
                first_day: 0,
                days,
                m3,
            },
            need_m3,
            normal_m3,
        }
    }

    #[test]
    fn a_year_by_hand() {
        // Indoors 0.5 m³ a day by the winter period; summer has 92 · 0.5 = 46 of its 146 m³.
        let run = Assumptions::defaults();
        let winter = period(90, 45.0, 1.0, 1.0);
        let summer = period(92, 146.0, 90.0, 90.0);
        let autumn = period(91, 60.5, 20.0, 20.0);
        let year = (120.0, 1.2);
        let all = metered(&[winter, summer, autumn], year, &run).unwrap();
        assert_eq!(all.indoor_m3_day, 0.5);
        // Of 120 m³ of need 111 were metered: 100 + 15 m³ outdoors stand for them.
        assert!((all.outdoor_m3_yr - 115.0 * 120.0 / 111.0).abs() < 1e-9);
        // The same reads in a year that was drier by a quarter mean less in a mean year.
        let drier = [winter, summer, autumn].map(|one| PeriodNeed {
            need_m3: 1.25 * one.need_m3,
            ..one
        });
        let normal = metered(&drier, year, &run).unwrap();
        assert!((normal.outdoor_m3_yr * 1.25 - all.outdoor_m3_yr).abs() < 1e-9);
        assert_eq!(metered(&[summer], year, &run), Err(Unusable::NoWinter));
        assert_eq!(
            metered(&[winter, autumn], year, &run),
            Err(Unusable::TooLittle)
        );
        assert_eq!(metered(&[], year, &run), Err(Unusable::NoWinter));
    }

    #[test]
    fn a_meter_bounds_a_claim() {
        let rules = MeterRules::assumed(&Assumptions::defaults());
        let against = |outdoor_m3_yr| Against {
            outdoor_m3_yr,
            allowance_m3_yr: 100.0,
            asfound_m3_yr: 120.0,
        };
        assert_eq!(rules.bounded_m3_yr(12.0, &against(150.0)), 12.0);
        assert_eq!(rules.bounded_m3_yr(12.0, &against(90.0)), 9.0); // 90 of 120 m³
        assert_eq!(rules.bounded_m3_yr(12.0, &against(89.0)), 0.0); // under-watered
        assert_eq!(rules.bounded_m3_yr(80.0, &against(160.0)), 40.0); // a quarter of the use
        assert_eq!(rules.bounded_m3_yr(-3.0, &against(89.0)), -3.0);
        // A meter above the model raises the use as found, by half of it at most.
        assert_eq!(rules.raised_m3_yr(&against(90.0)), 0.0);
        assert_eq!(rules.raised_m3_yr(&against(150.0)), 30.0);
        assert_eq!(rules.raised_m3_yr(&against(400.0)), 60.0);
    }
}
