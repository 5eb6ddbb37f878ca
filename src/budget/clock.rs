//! The clock as it was found.

use super::{DemandInput, YearWater, year};
use crate::assumptions::{Assumptions, Key};
use crate::climate::DAYS;
use crate::soil::{Ground, WaterSplit};
use crate::units::{Rate, Time};

/// What is taken to steer the watering today.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Follows {
    /// The owner waters to need; the clock's run time decides runoff only. No saving is claimed
    /// for the schedule.
    Need,
    /// The clock runs as set, all season.
    Clock,
}

/// The clock as it was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundClock {
    /// What steers the watering.
    pub follows: Follows,
    /// Run time of one start \[min\].
    pub minutes: f64,
    /// Starts a watering day.
    pub starts: f64,
    /// Watering days a week.
    pub days_per_week: f64,
    /// First and last month of the season, 1 to 12; a season may run over the new year.
    pub season: (u8, u8),
}

impl FoundClock {
    /// The clock that is assumed.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> FoundClock {
        let month = |key: Key| assumptions.number(key).round().clamp(1.0, 12.0) as u8;
        FoundClock {
            follows: match assumptions.choice(Key::ClockFollows) {
                "clock" => Follows::Clock,
                _ => Follows::Need,
            },
            minutes: assumptions.number(Key::ClockMinutes),
            starts: assumptions.number(Key::ClockStarts).round(),
            days_per_week: assumptions.number(Key::ClockDays),
            season: (month(Key::ClockFirstMonth), month(Key::ClockLastMonth)),
        }
    }

    /// Whether the clock runs in a month (0-based).
    #[must_use]
    pub fn runs_in(&self, month: usize) -> bool {
        let month = month as u8 + 1;
        let (first, last) = self.season;
        if first <= last {
            (first..=last).contains(&month)
        } else {
            month >= first || month <= last
        }
    }

    /// Depth that the clock sends to the turf in each month \[mm\], at the mean rate over the
    /// turf.
    #[must_use]
    pub fn gross_mm(&self, rate: Rate) -> [f64; 12] {
        let per_day_mm = rate.mm_h() * self.minutes / 60.0 * self.starts;
        std::array::from_fn(|month| {
            if self.runs_in(month) {
                per_day_mm * self.days_per_week / 7.0 * DAYS[month]
            } else {
                0.0
            }
        })
    }

    /// Where the water of one watering day goes: Green–Ampt first, the accumulation table second.
    /// `rate` is the rate at which water reaches the ground. Starts are taken to lie hours apart.
    #[must_use]
    pub fn splits(&self, ground: &Ground, rate: Rate) -> (WaterSplit, WaterSplit) {
        let each = Time::of_s(self.minutes * 60.0);
        let starts = self.starts as u32;
        (
            ground.green_ampt_split(rate, each, starts),
            ground.accumulation_split(rate, each, starts),
        )
    }

    /// The water of a year as found. `input.runoff_frac` is the runoff of this clock.
    #[must_use]
    pub fn year(&self, input: &DemandInput<'_>, rate: Rate) -> YearWater {
        let needed = year(input);
        match self.follows {
            Follows::Need => needed,
            Follows::Clock => needed.with_gross(&self.gross_mm(rate), input),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clock(settings: &[&str]) -> FoundClock {
        FoundClock::assumed(&settings.iter().fold(Assumptions::defaults(), |run, s| {
            run.with_setting(s).unwrap()
        }))
    }

    #[test]
    fn seasons_may_run_over_the_new_year() {
        let summer = clock(&[]);
        assert_eq!((0..12).filter(|&month| summer.runs_in(month)).count(), 7);
        let south = clock(&["clock.first_month=10", "clock.last_month=3"]);
        assert!(south.runs_in(11) && south.runs_in(0) && !south.runs_in(6));
        assert_eq!((0..12).filter(|&month| south.runs_in(month)).count(), 6);
    }

    #[test]
    fn a_clock_sends_what_it_is_set_to() {
        // 40 mm/h, 10 min, three days a week: 20 mm a week.
        let gross_mm = clock(&[]).gross_mm(Rate::from_mm_h(40.0).unwrap());
        assert_eq!(gross_mm[0], 0.0);
        assert!((gross_mm[6] - 20.0 / 7.0 * 31.0).abs() < 1e-9);
    }
}
