//! `schedule.csv`: for every turf area and scenario one base programme that a person can key in,
//! and a line of monthly percentages.

use super::layer::{Cell, Column, Geometry, Kind, Layer, column, count, number, text};
use super::rows::TurfRow;
use crate::plan::{NightUse, StationNight};

/// One row per turf area and scenario with a planned clock.
pub struct Schedules;

impl Layer for Schedules {
    const NAME: &'static str = "schedule";
    const ROW: &'static str = "turf area × scenario with a planned clock";
    const SHAPE: &'static str = "";
    type Row<'a> = TurfRow<'a>;
    const COLUMNS: &'static [Column<Schedules>] = &[
        text("parcel_id", "The parcel it lies on", |r| {
            r.parcel.id.as_str().into()
        }),
        text("turf_id", "The turf area", |r| r.turf.id.as_str().into()),
        text(
            "scenario",
            "`reclock`, `repair`, `swap:<family>`, both also with `+regulated` bodies, or `relayout:<family>`",
            |r| r.plan.scenario.text().into(),
        ),
        column(
            "recommended",
            Kind::Bool,
            "",
            "Whether this scenario is recommended for the area",
            |r| Cell::Bool(r.plan.recommended),
        ),
        text("family", "Nozzle family", |r| r.plan.family.as_str().into()),
        number(
            "rate_mm_h",
            "mm/h",
            1,
            "Precipitation rate: mean over the turf",
            |r| r.year().map(|year| year.hardware.rate.mm_h()).into(),
        ),
        number("days_per_week", "", 1, "Watering days a week", |r| {
            r.schedule().map(|schedule| schedule.days_per_week).into()
        }),
        count(
            "group",
            "Stations of one group water on the same days; that of the area's first station",
            |r| {
                r.night()
                    .and_then(|night| night.stations.first())
                    .map(|station| u64::from(station.group))
                    .into()
            },
        ),
        text(
            "days",
            "Days on which the area's first station waters, e.g. `mon;thu`, or which of the allowed dates; the window that opens on that day, also after midnight. Days are chosen so that every day's window holds its stations",
            |r| {
                let night = r.night();
                night
                    .and_then(|night| night.stations.first())
                    .map(|station| station.days.as_str())
                    .into()
            },
        ),
        text(
            "starts",
            "Start of each cycle of each of its stations, hours and minutes, e.g. `S1 21:00 22:10; S2 21:12 22:22`, if the whole parcel is watered this way and one valve runs at a time at each point of connection; they may pass the end of the window, see `flags`. Where a station starts at other times on other days, the days stand before them: `S1 mon;thu 21:00 sat 21:30`",
            |r| r.night().map(starts).into(),
        ),
        count("cycles", "Cycles of a watering day", |r| {
            r.schedule()
                .map(|schedule| u64::from(schedule.cycles))
                .into()
        }),
        number(
            "cycle_min",
            "min",
            0,
            "Run time of one cycle at 100 %",
            |r| r.schedule().map(|schedule| schedule.cycle_min).into(),
        ),
        number(
            "soak_min",
            "min",
            0,
            "Shortest rest between two cycles",
            |r| r.schedule().map(|schedule| schedule.soak_min).into(),
        ),
        text(
            "month",
            "The peak month, which needs the longest runs: `jan` to `dec`; that of `peak_run_min` and of the minutes in `walk.csv`",
            |r| {
                r.schedule()
                    .map(|schedule| month_name(schedule.peak_month))
                    .into()
            },
        ),
        number(
            "peak_run_min",
            "min",
            1,
            "Run time of a watering day that the peak month needs, as far as the limits let it through; `minutes_after` in `walk.csv`",
            |r| r.schedule().map(|schedule| schedule.peak_min()).into(),
        ),
        number(
            "run_min",
            "min",
            0,
            "Run time of a watering day at 100 %: whole minutes, never less than the peak month needs",
            |r| r.schedule().map(|schedule| schedule.run_min()).into(),
        ),
        count(
            "jan_pct",
            "What to key in for January, in percent of the base programme",
            |r| percent(r, 0),
        ),
        count(
            "feb_pct",
            "What to key in for February, in percent of the base programme",
            |r| percent(r, 1),
        ),
        count(
            "mar_pct",
            "What to key in for March, in percent of the base programme",
            |r| percent(r, 2),
        ),
        count(
            "apr_pct",
            "What to key in for April, in percent of the base programme",
            |r| percent(r, 3),
        ),
        count(
            "may_pct",
            "What to key in for May, in percent of the base programme",
            |r| percent(r, 4),
        ),
        count(
            "jun_pct",
            "What to key in for June, in percent of the base programme",
            |r| percent(r, 5),
        ),
        count(
            "jul_pct",
            "What to key in for July, in percent of the base programme",
            |r| percent(r, 6),
        ),
        count(
            "aug_pct",
            "What to key in for August, in percent of the base programme",
            |r| percent(r, 7),
        ),
        count(
            "sep_pct",
            "What to key in for September, in percent of the base programme",
            |r| percent(r, 8),
        ),
        count(
            "oct_pct",
            "What to key in for October, in percent of the base programme",
            |r| percent(r, 9),
        ),
        count(
            "nov_pct",
            "What to key in for November, in percent of the base programme",
            |r| percent(r, 10),
        ),
        count(
            "dec_pct",
            "What to key in for December, in percent of the base programme",
            |r| percent(r, 11),
        ),
        text("flags", "What to look at, sorted and joined by `;`", |r| {
            r.plan.flags.join(";").into()
        }),
    ];

    fn geometry<'r>(_: &'r TurfRow<'_>) -> Geometry<'r> {
        Geometry::None
    }
}

fn percent(row: &TurfRow<'_>, month: usize) -> Cell {
    row.schedule()
        .map(|schedule| u64::from(schedule.percent[month]))
        .into()
}

/// Months as the columns of percentages name them.
const MONTHS: [&str; 12] = [
    "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec",
];

/// The name of a month, from 0.
pub(super) fn month_name(month: usize) -> &'static str {
    MONTHS.get(month).copied().unwrap_or("")
}

/// The starts of an area's stations.
fn starts(night: &NightUse) -> String {
    let stations = night.stations.iter().map(|station| {
        let number = station.number.map(|number| format!("S{number}"));
        let words: Vec<String> = number
            .into_iter()
            .chain([station_starts(station)])
            .collect();
        words.join(" ")
    });
    stations.collect::<Vec<String>>().join("; ")
}

/// The starts of one station: `20:00 20:54`, with the days before them where these differ:
/// `mon;thu 20:00 sat 20:40`.
pub(super) fn station_starts(station: &StationNight) -> String {
    let parts = station.starts.iter().flat_map(|(days, starts_min)| {
        let days = Some(days.clone()).filter(|days| !days.is_empty());
        let starts = starts_min.iter().map(|&minutes| clock(minutes));
        days.into_iter().chain(starts)
    });
    parts.collect::<Vec<String>>().join(" ")
}

/// Minutes after midnight as `21:05`.
fn clock(minutes: f64) -> String {
    let whole = minutes.round() as u64 % 1_440;
    format!("{:02}:{:02}", whole / 60, whole % 60)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_and_minutes() {
        assert_eq!(clock(0.0), "00:00");
        assert_eq!(clock(1_205.0), "20:05");
        assert_eq!(clock(1_440.0), "00:00");
    }
}
