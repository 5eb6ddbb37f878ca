//! The clock as it was found.

use crate::assumptions::{Assumptions, Key, Origin};
use crate::climate::DAYS;
use crate::units::Rate;

/// What is taken to steer the watering today.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Follows {
    /// The owner waters to need: run times are those that bring it. What another schedule would
    /// save cannot be observed, and no saving is claimed for one.
    Need,
    /// The clock runs as set, all season.
    Clock,
}

/// The clock as it was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundClock {
    /// What steers the watering.
    pub follows: Follows,
    /// Whether somebody knows its run times.
    pub known: bool,
    /// Run time of one start where the clock steers \[min\].
    pub minutes: f64,
    /// Starts a watering day.
    pub starts: f64,
    /// Watering days a week.
    pub days_per_week: f64,
    /// First and last month of the season, 1 to 12; a season may run over the new year.
    pub season: (u8, u8),
}

/// The runs of a turf area as found: one state with its depths, `depth = rate × minutes × events`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundRuns {
    /// Run time of one start, month by month \[min\]; 0 where nothing runs.
    pub start_min: [f64; 12],
    /// Starts a watering day, at least 1.
    pub starts: f64,
    /// Watering days a week.
    pub days_per_week: f64,
    /// Whether somebody knows them; else they are assumed.
    pub known: bool,
}

impl FoundRuns {
    /// Longest run time of one start \[min\].
    #[must_use]
    pub fn peak_start_min(&self) -> f64 {
        self.start_min.iter().copied().fold(0.0, f64::max)
    }

    /// Longest run time of a watering day \[min\].
    #[must_use]
    pub fn peak_run_min(&self) -> f64 {
        self.peak_start_min() * self.starts
    }

    /// Depth that a month brings at a mean rate over the turf \[mm\]:
    /// `rate × minutes × starts × days`.
    #[must_use]
    pub fn gross_mm(&self, rate: Rate) -> [f64; 12] {
        std::array::from_fn(|month| {
            let day_mm = rate.mm_h() * self.start_min[month] / 60.0 * self.starts;
            day_mm * self.days_per_week / 7.0 * DAYS[month]
        })
    }
}

impl FoundClock {
    /// The clock that is assumed. Its run times count as known where the clock steers and somebody
    /// gave its minutes.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> FoundClock {
        let month = |key: Key| assumptions.number(key).round().clamp(1.0, 12.0) as u8;
        let follows = match assumptions.choice(Key::ClockFollows) {
            "clock" => Follows::Clock,
            _ => Follows::Need,
        };
        FoundClock {
            follows,
            known: follows == Follows::Clock
                && assumptions.origin(Key::ClockMinutes) != Origin::Default,
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

    /// The runs as the clock is set.
    #[must_use]
    pub fn as_set(&self) -> FoundRuns {
        FoundRuns {
            start_min: std::array::from_fn(|month| {
                if self.runs_in(month) {
                    self.minutes
                } else {
                    0.0
                }
            }),
            starts: self.starts.max(1.0),
            days_per_week: self.days_per_week,
            known: self.known,
        }
    }

    /// The runs that bring gross depths \[mm\] at a mean rate over the turf, on the days and with
    /// the starts of the clock: `minutes = depth / rate / events`. A clock that must bring the
    /// need runs on one day a week at least. No rate, no runs.
    #[must_use]
    pub fn runs_for(&self, gross_mm: &[f64; 12], rate: Rate) -> FoundRuns {
        let starts = self.starts.max(1.0);
        let days_per_week = self.days_to_need();
        FoundRuns {
            start_min: std::array::from_fn(|month| {
                if rate > Rate::ZERO {
                    let day_mm = gross_mm[month] / DAYS[month] * 7.0 / days_per_week;
                    60.0 * day_mm / rate.mm_h() / starts
                } else {
                    0.0
                }
            }),
            starts,
            days_per_week,
            known: self.known,
        }
    }

    /// Watering days a week of a clock that must bring the need.
    #[must_use]
    pub fn days_to_need(&self) -> f64 {
        self.days_per_week.max(1.0)
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
        let gross_mm = clock(&[]).as_set().gross_mm(Rate::from_mm_h(40.0).unwrap());
        assert_eq!(gross_mm[0], 0.0);
        assert!((gross_mm[6] - 20.0 / 7.0 * 31.0).abs() < 1e-9);
    }

    #[test]
    fn minutes_to_need_bring_the_depth() {
        // 186 mm in July at 40 mm/h: 6 mm a day, 14 mm on each of three days, 21 min.
        let rate = Rate::from_mm_h(40.0).unwrap();
        let gross_mm = [186.0; 12];
        let runs = clock(&[]).runs_for(&gross_mm, rate);
        assert!((runs.start_min[6] - 21.0).abs() < 1e-9);
        assert!((runs.gross_mm(rate)[6] - 186.0).abs() < 1e-9);
        let two = clock(&["clock.starts_per_day=2"]).runs_for(&gross_mm, rate);
        assert!((two.start_min[6] - 10.5).abs() < 1e-9);
        // The same depth in the shortest month takes longest: 28.25 days for 31.
        assert!((two.peak_run_min() - 21.0 * 31.0 / 28.25).abs() < 1e-9);
        let none = clock(&["clock.days_per_week=0"]).runs_for(&gross_mm, rate);
        assert_eq!(none.days_per_week, 1.0);
        assert_eq!(
            clock(&[]).runs_for(&gross_mm, Rate::ZERO).peak_run_min(),
            0.0
        );
        // Known is what somebody gave of a clock that steers.
        assert!(!clock(&["clock.minutes_min=12"]).known);
        assert!(!clock(&["clock.follows=clock"]).known);
        assert!(clock(&["clock.follows=clock", "clock.minutes_min=12"]).known);
    }
}
