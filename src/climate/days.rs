//! A table of days whose reference evapotranspiration is already known: `date, eto_mm, rain_mm`,
//! as a weather network publishes it or `evenfall climate --daily` writes it.

use super::date::Date;
use super::doubts::{GRASS, grass_column, unused};
use super::table::{MOST_ETO_MM, looks_like_inches, of_year};
use super::{DAYS, MonthClimate, YearClimate};
use crate::cells::Table;
use crate::issue::{Code, Issue};

/// Largest plausible daily reference evapotranspiration \[mm\]: hot, dry and windy deserts reach
/// about 17 (choice of this program).
const MOST_DAY_ETO_MM: f64 = 25.0;
/// Largest daily rain on record is 1,825 mm (La Réunion, 1966; from memory), rounded up.
const MOST_DAY_RAIN_MM: f64 = 2_000.0;
/// A calendar month needs this share of its days, over all years, to be used.
const LEAST_DAYS_FRAC: f64 = 0.6;

/// One day of sky.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayClimate {
    /// The day.
    pub date: Date,
    /// Reference evapotranspiration \[mm\].
    pub eto_mm: f64,
    /// Rain \[mm\]; `None` when it was not measured.
    pub rain_mm: Option<f64>,
}

/// Columns that are read beside that of grass reference evapotranspiration.
const COLUMNS: [&str; 5] = ["date", "day", "rain_mm", "precip_mm", "prcp_mm"];

/// Whether a climate table has days, and not months.
///
/// # Errors
/// `IN08` without a header.
pub fn is_daily(text: &str, file: &str) -> Result<bool, Issue> {
    let table = Table::parse(text, file)?;
    Ok(table.column(&["month"]).is_none() && table.column(&["date", "day"]).is_some())
}

/// Reads a table of days. Rows may stand in any order; a row without evapotranspiration is a
/// missing day. The second value says which days are missing, and which columns are not read.
///
/// # Errors
/// `IN07` for a cell that cannot be read, `IN08` for a missing column, `CL10` for reference
/// evapotranspiration of a tall crop, `CL02` for impossible values and days that stand twice, `CL05` when there is no usable day.
pub fn parse_days(text: &str, file: &str) -> Result<(Vec<DayClimate>, Vec<Issue>), Issue> {
    let table = Table::parse(text, file)?;
    let date_column = table.needed(&["date", "day"])?;
    let eto = grass_column(&table).map_err(|issue| {
        if issue.code != Code::IN08 {
            return issue;
        }
        let found = format!(
            "{}; make the column with `evenfall climate {file} --daily FILE`",
            issue.found
        );
        Issue { found, ..issue }
    })?;
    let rain = table.needed(&["rain_mm", "precip_mm", "prcp_mm"])?;
    let mut days = Vec::new();
    for (line, cells) in &table.rows {
        let text = table.day(*line, cells, date_column)?;
        let date = Date::parse(&text).ok_or_else(|| {
            let found = format!("date = `{text}`; write 2026-07-31");
            table.cell_issue(Code::IN07, *line, date_column, &found)
        })?;
        let within = |name: &str, column: usize, most: f64| {
            let value = table.number(*line, cells, column)?;
            match value.filter(|value| !(0.0..=most).contains(value)) {
                Some(value) => {
                    let found = format!("{name} = {value}; possible are 0 to {most}");
                    Err(table.cell_issue(Code::CL02, *line, column, &found))
                }
                None => Ok(value),
            }
        };
        let eto_mm = within("eto_mm", eto, MOST_DAY_ETO_MM)?;
        let rain_mm = within("rain_mm", rain, MOST_DAY_RAIN_MM)?;
        if let Some(eto_mm) = eto_mm {
            let day = DayClimate {
                date,
                eto_mm,
                rain_mm,
            };
            days.push((*line, day));
        }
    }
    let days = in_order(days, |day| day.date, &table, file)?;
    let gaps = gaps(days.iter().map(|day| (day.date, day.rain_mm.is_some())));
    let note = gap_note(&gaps).map(|issue| issue.in_file(file));
    let known: Vec<&str> = COLUMNS.iter().chain(&GRASS).copied().collect();
    let notes = note.into_iter().chain(unused(&table, &known));
    Ok((days, notes.collect()))
}

/// The mean year of a list of days: mean day × days of the month, so a missing day neither counts
/// as dry nor as still.
///
/// # Errors
/// `CL05` when a calendar month has fewer than 60 % of its days, or none on which rain was
/// measured; `CL03` when the year looks like inches.
pub fn mean_year(days: &[DayClimate], name: &str) -> Result<YearClimate, Issue> {
    let years = span_years(
        days.first().map(|day| day.date),
        days.last().map(|day| day.date),
    );
    let mut months = [None; 12];
    for (month, slot) in (1u8..).zip(&mut months) {
        let of_month = || days.iter().filter(|day| day.date.month == month);
        let length_d = DAYS[usize::from(month) - 1];
        enough(month, of_month().count(), length_d * years)?;
        let mean = |values: &mut dyn Iterator<Item = f64>| {
            let (count, sum) = values.fold((0u32, 0.0), |(n, sum), value| (n + 1, sum + value));
            (count > 0).then(|| length_d * sum / f64::from(count))
        };
        let (Some(eto_mm), Some(rain_mm)) = (
            mean(&mut of_month().map(|day| day.eto_mm)),
            mean(&mut of_month().filter_map(|day| day.rain_mm)),
        ) else {
            return Err(Issue::new(
                Code::CL05,
                format!("month {month} has no rain measured"),
            ));
        };
        *slot = Some(MonthClimate {
            eto_mm: eto_mm.min(MOST_ETO_MM),
            rain_mm,
            wind_m_s: None,
            wind_frac: None,
            rh_pct: None,
            t_c: None,
        });
    }
    let year = of_year(name.to_owned(), months)
        .ok_or_else(|| Issue::new(Code::CL05, "there are not twelve months"))?;
    match looks_like_inches(&year) {
        Some(issue) => Err(issue),
        None => Ok(year),
    }
}

/// Whether a month has enough days.
///
/// # Errors
/// `CL05` below 60 % of the days wanted.
pub(super) fn enough(month: u8, days: usize, wanted: f64) -> Result<(), Issue> {
    if (days as f64) < LEAST_DAYS_FRAC * wanted.max(1.0) {
        let found = format!("month {month} has {days} days, {wanted:.0} are wanted");
        return Err(Issue::new(Code::CL05, found));
    }
    Ok(())
}

/// Years between two days, both counted; at least one.
pub(super) fn span_years(first: Option<Date>, last: Option<Date>) -> f64 {
    let span = match (first, last) {
        (Some(first), Some(last)) => {
            f64::from(last.year) - f64::from(first.year)
                + (f64::from(last.day_of_year()) - f64::from(first.day_of_year()) + 1.0) / 365.25
        }
        _ => 0.0,
    };
    span.max(1.0)
}

/// Days that are missing from a month.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gap {
    /// Year.
    pub year: u16,
    /// Month, 1 to 12.
    pub month: u8,
    /// Days without a usable row.
    pub days: u16,
    /// Days without rain measured, missing days included.
    pub rain_days: u16,
}

/// Days with the lines that they stand on, in order of their dates.
///
/// # Errors
/// `CL02` for a day that stands twice, `CL05` where there is none.
pub(super) fn in_order<D>(
    mut days: Vec<(u64, D)>,
    date_of: impl Fn(&D) -> Date,
    table: &Table,
    file: &str,
) -> Result<Vec<D>, Issue> {
    days.sort_by_key(|(line, day)| (date_of(day), *line));
    if let Some(pair) = days
        .windows(2)
        .find(|pair| date_of(&pair[0].1) == date_of(&pair[1].1))
    {
        let found = format!("the day of line {} stands a second time", pair[0].0);
        return Err(table.issue(Code::CL02, pair[1].0, &found));
    }
    if days.is_empty() {
        return Err(Issue::new(Code::CL05, "there is no usable day").in_file(file));
    }
    Ok(days.into_iter().map(|(_, day)| day).collect())
}

/// The gaps between the first and the last of rising days, each with whether its rain is known.
pub(super) fn gaps(days: impl Iterator<Item = (Date, bool)> + Clone) -> Vec<Gap> {
    let (Some((first, _)), Some((last, _))) = (days.clone().next(), days.clone().last()) else {
        return Vec::new();
    };
    let mut days = days.peekable();
    let mut gaps: Vec<Gap> = Vec::new();
    let mut date = first;
    // At most 9,999 years of days.
    while date <= last {
        let here = days.next_if(|(day, _)| *day == date);
        let missing = u16::from(here.is_none());
        let dry = u16::from(here.is_none_or(|(_, measured)| !measured));
        if dry > 0 {
            match gaps.last_mut() {
                Some(gap) if (gap.year, gap.month) == (date.year, date.month) => {
                    gap.days += missing;
                    gap.rain_days += dry;
                }
                _ => gaps.push(Gap {
                    year: date.year,
                    month: date.month,
                    days: missing,
                    rain_days: dry,
                }),
            }
        }
        date = date.next();
    }
    gaps
}

/// The note about missing days, if there are any.
pub(super) fn gap_note(gaps: &[Gap]) -> Option<Issue> {
    let months: Vec<String> = gaps
        .iter()
        .map(|gap| {
            format!(
                "{}-{:02}: {} days, {} without rain measured",
                gap.year, gap.month, gap.days, gap.rain_days
            )
        })
        .collect();
    (!months.is_empty()).then(|| Issue::new(Code::CL04, months.join("; ")))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every day of 2023: 4 mm of evapotranspiration and 1 mm of rain.
    fn year(change: impl Fn(Date) -> Option<String>) -> String {
        let mut text = "date,eto_mm,rain_mm\n".to_owned();
        let mut date = Date::parse("2023-01-01").unwrap();
        while date.year == 2023 {
            let plain = format!("{}-{:02}-{:02},4.0,1.0", date.year, date.month, date.day);
            text += &change(date).unwrap_or(plain);
            text.push('\n');
            date = date.next();
        }
        text
    }

    #[test]
    fn days_make_a_mean_year() {
        let text = year(|_| None);
        assert!(is_daily(&text, "d").unwrap());
        assert!(!is_daily("month,eto_mm,rain_mm\n", "d").unwrap());
        let (days, gaps) = parse_days(&text, "d").unwrap();
        assert_eq!((days.len(), gaps), (365, Vec::new()));
        let year = mean_year(&days, "here").unwrap();
        assert!((year.months[6].eto_mm - 124.0).abs() < 1e-9);
        assert!((year.months[1].rain_mm - 28.25).abs() < 1e-9);
    }

    #[test]
    fn a_missing_day_is_told_and_not_filled() {
        let text = year(|date| {
            (date.month == 7 && date.day <= 3).then(|| format!("2023-07-0{},,9", date.day))
        });
        let (days, gaps) = parse_days(&text, "d").unwrap();
        assert_eq!(days.len(), 362);
        let [note] = &gaps[..] else {
            panic!("{gaps:?}")
        };
        assert_eq!(
            (note.code, note.found.as_str()),
            (Code::CL04, "2023-07: 3 days, 3 without rain measured")
        );
        let july = mean_year(&days, "d").unwrap().months[6];
        assert!((july.eto_mm - 124.0).abs() < 1e-9 && (july.rain_mm - 31.0).abs() < 1e-9);
    }

    #[test]
    fn one_defect_one_code() {
        let code = |text: &str| parse_days(text, "d").unwrap_err().code;
        let head = "date,eto_mm,rain_mm\n";
        assert_eq!(code("date,tmax_c,rain_mm\n2023-01-01,4,0\n"), Code::IN08);
        assert_eq!(code(&format!("{head}1 Feb 2023,4,0\n")), Code::IN07);
        assert_eq!(code(&format!("{head}01/02/2023,4,0\n")), Code::IN23);
        assert_eq!(code(&format!("{head}2023-01-01,4,-1\n")), Code::CL02);
        assert_eq!(code(&format!("{head}2023-01-01,40,0\n")), Code::CL02);
        assert_eq!(
            code(&format!("{head}2023-01-01,4,0\n2023-01-01,4,0\n")),
            Code::CL02
        );
        assert_eq!(code(head), Code::CL05);
        let few = format!("{head}2023-01-01,4,0\n");
        let (days, _) = parse_days(&few, "d").unwrap();
        assert_eq!(mean_year(&days, "d").unwrap_err().code, Code::CL05);
        let inches = year(|date| Some(format!("2023-{:02}-{:02},0.16,0.1", date.month, date.day)));
        let (days, _) = parse_days(&inches, "d").unwrap();
        assert_eq!(mean_year(&days, "d").unwrap_err().code, Code::CL03);
    }
}
