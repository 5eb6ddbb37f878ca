//! What the columns of a turf area say of its clock: planned, or as it was found.

use super::rows::TurfRow;
use crate::budget::Schedule;
use crate::plan::{Behaviours, NightUse, YearUse};
use crate::savings::Attribution;

impl TurfRow<'_> {
    /// The water of the year; `None` without heads.
    pub(super) fn year(&self) -> Option<&YearUse> {
        self.plan.year.as_ref()
    }

    /// The schedule; `None` as found.
    pub(super) fn schedule(&self) -> Option<&Schedule> {
        self.year()?.water.schedule.as_ref()
    }

    /// Its part of the night; `None` as found.
    pub(super) fn night(&self) -> Option<&NightUse> {
        self.year()?.night.as_ref()
    }

    /// Other behaviours than a re-timed clock; `None` where hardware stays.
    pub(super) fn behaviours(&self) -> Option<&Behaviours> {
        self.year()?.behaviours.as_ref()
    }

    /// The saving by cause; `None` as found.
    pub(super) fn parts(&self) -> Option<&Attribution> {
        self.year()?.parts.as_ref()
    }
}

/// Run time of one cycle, or of one start of the peak month as found \[min\].
pub(super) fn cycle_min(year: &YearUse) -> f64 {
    let found_min = year.water.found.map_or(0.0, |runs| runs.peak_start_min());
    planned(year, |schedule| schedule.cycle_min, found_min)
}

/// Cycles of a watering day, or starts as found.
pub(super) fn cycles(year: &YearUse) -> u64 {
    let found = year.water.found.map_or(0, |runs| runs.starts as u64);
    planned(year, |schedule| u64::from(schedule.cycles), found)
}

/// Run time of a watering day of the peak month: what it needs, or what it has as found \[min\].
pub(super) fn peak_run_min(year: &YearUse) -> f64 {
    let found_min = year.water.found.map_or(0.0, |runs| runs.peak_run_min());
    planned(year, |schedule| schedule.peak_run_min, found_min)
}

/// Watering days a week.
pub(super) fn days_per_week(year: &YearUse) -> f64 {
    let found = year.water.found.map_or(0.0, |runs| runs.days_per_week);
    planned(year, |schedule| schedule.days_per_week, found)
}

/// Where the run times as found come from; `None` for a schedule.
pub(super) fn runs_from(year: &YearUse) -> Option<&'static str> {
    year.water
        .found
        .map(|runs| if runs.known { "given" } else { "assumed" })
}

fn planned<T>(year: &YearUse, of: fn(&Schedule) -> T, as_found: T) -> T {
    year.water.schedule.as_ref().map_or(as_found, of)
}
