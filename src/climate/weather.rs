//! Daily weather: read, checked, and summed up to a mean year. Days that are missing are
//! reported; nothing is filled.

use super::date::Date;
use super::days::{DayClimate, Gap, enough, gap_note, gaps, in_order, span_years};
use super::doubts::unused;
use super::penman::{Humidity, Radiation, Station, Weather};
use super::{DAYS, MonthClimate, YearClimate};
use crate::cells::Table;
use crate::issue::{Code, Issue};

/// A daily maximum above this \[°C\] looks like degrees Fahrenheit: the record is below 57.
const MOST_DAY_C: f64 = 58.0;

/// Columns that are read.
const COLUMNS: [&str; 30] = [
    "date",
    "day",
    "tmax_c",
    "t_max_c",
    "tx_c",
    "tmin_c",
    "t_min_c",
    "tn_c",
    "rain_mm",
    "precip_mm",
    "prcp_mm",
    "wind_m_s",
    "u_m_s",
    "wind_speed_m_s",
    "vapr_kpa",
    "vapour_kpa",
    "ea_kpa",
    "tdew_c",
    "dew_c",
    "rhmax_pct",
    "rh_max_pct",
    "rhmin_pct",
    "rh_min_pct",
    "rh_pct",
    "rhmean_pct",
    "srad_mj_m2",
    "rs_mj_m2",
    "solar_mj_m2",
    "sunshine_h",
    "sun_h",
];

/// One day with what was reckoned from it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayRecord {
    /// The day.
    pub date: Date,
    /// The weather, as far as it was measured.
    pub weather: Weather,
    /// Reference evapotranspiration \[mm\]: by FAO Penman–Monteith unless another method was
    /// asked for.
    pub eto_mm: f64,
    /// Rain \[mm\]; `None` when it was not measured.
    pub rain_mm: Option<f64>,
}

/// A calendar month over all years.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MonthSummary {
    /// Days used.
    pub days: u32,
    /// Reference evapotranspiration by the method chosen, mean day × days of the month \[mm\].
    pub eto_mm: f64,
    /// The same by Hargreaves, for comparison \[mm\].
    pub hargreaves_mm: f64,
    /// Rain, mean day × days of the month \[mm\].
    pub rain_mm: f64,
    /// Mean daily maximum \[°C\].
    pub tmax_c: f64,
    /// Mean daily minimum \[°C\].
    pub tmin_c: f64,
    /// Mean wind at 2 m \[m/s\]; `None` when it was never measured.
    pub wind_m_s: Option<f64>,
    /// Mean relative humidity, 100 · vapour pressure / saturation \[%\]; `None` when it was never
    /// measured.
    pub rh_pct: Option<f64>,
}

/// How reference evapotranspiration is reckoned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EtoMethod {
    /// FAO Penman–Monteith, with the rules for what was not measured.
    PenmanMonteith,
    /// Hargreaves, from temperatures alone.
    Hargreaves,
}

/// Daily weather of one or more years.
#[derive(Debug, Clone, PartialEq)]
pub struct WeatherYears {
    /// The station.
    pub station: Station,
    /// Usable days by rising date.
    pub days: Vec<DayRecord>,
    /// Months with missing days, between the first and the last day.
    pub gaps: Vec<Gap>,
    /// Days on which humidity, wind, or radiation was not measured and the rule for missing data
    /// was used, in this order.
    pub rule_days: [u32; 3],
    /// The note of columns that are not read.
    pub(super) unused: Option<Issue>,
}

struct Columns {
    date: usize,
    tmax: usize,
    tmin: usize,
    rain: Option<usize>,
    wind: Option<usize>,
    vapour: Option<usize>,
    dew: Option<usize>,
    high: Option<usize>,
    low: Option<usize>,
    mean: Option<usize>,
    solar: Option<usize>,
    sunshine: Option<usize>,
}

impl Columns {
    fn find(table: &Table) -> Result<Columns, Issue> {
        Ok(Columns {
            date: table.needed(&["date", "day"])?,
            tmax: table.needed(&["tmax_c", "t_max_c", "tx_c"])?,
            tmin: table.needed(&["tmin_c", "t_min_c", "tn_c"])?,
            rain: table.column(&["rain_mm", "precip_mm", "prcp_mm"]),
            wind: table.column(&["wind_m_s", "u_m_s", "wind_speed_m_s"]),
            vapour: table.column(&["vapr_kpa", "vapour_kpa", "ea_kpa"]),
            dew: table.column(&["tdew_c", "dew_c"]),
            high: table.column(&["rhmax_pct", "rh_max_pct"]),
            low: table.column(&["rhmin_pct", "rh_min_pct"]),
            mean: table.column(&["rh_pct", "rhmean_pct"]),
            solar: table.column(&["srad_mj_m2", "rs_mj_m2", "solar_mj_m2"]),
            sunshine: table.column(&["sunshine_h", "sun_h"]),
        })
    }

    /// The day of a row; `None` when a temperature is missing.
    fn read(
        &self,
        table: &Table,
        line: u64,
        cells: &[String],
    ) -> Result<(Date, Option<Weather>, Option<f64>), Issue> {
        let text = table.day(line, cells, self.date)?;
        let date = Date::parse(&text).ok_or_else(|| {
            let found = format!("date = `{text}`; write 2026-07-31");
            table.cell_issue(Code::IN07, line, self.date, &found)
        })?;
        // The names are for messages; bounds are records of the globe, rounded outwards.
        let value = |column: Option<usize>, name: &str, low: f64, high: f64| {
            let Some(column) = column else {
                return Ok(None);
            };
            match table.number(line, cells, column)? {
                Some(value) if !(low..=high).contains(&value) => {
                    let found = format!("{name} = {value}; possible are {low} to {high}");
                    Err(table.cell_issue(Code::CL02, line, column, &found))
                }
                other => Ok(other),
            }
        };
        let rain_mm = value(self.rain, "rain_mm", 0.0, 2_000.0)?;
        let tmax_c = value(Some(self.tmax), "tmax_c", -90.0, 150.0)?;
        let tmin_c = value(Some(self.tmin), "tmin_c", -90.0, 150.0)?;
        let vapour = value(self.vapour, "vapr_kpa", 0.0, 10.0)?;
        let dew_c = value(self.dew, "tdew_c", -100.0, 60.0)?;
        let high_pct = value(self.high, "rhmax_pct", 0.0, 100.0)?;
        let low_pct = value(self.low, "rhmin_pct", 0.0, 100.0)?;
        let mean_pct = value(self.mean, "rh_pct", 0.0, 100.0)?;
        let wind_m_s = value(self.wind, "wind_m_s", 0.0, 60.0)?;
        let solar_mj = value(self.solar, "srad_mj_m2", 0.0, 45.0)?;
        let sunshine_h = value(self.sunshine, "sunshine_h", 0.0, 24.0)?;
        let (Some(tmax_c), Some(tmin_c)) = (tmax_c, tmin_c) else {
            return Ok((date, None, rain_mm));
        };
        if tmax_c > MOST_DAY_C {
            let found = format!("tmax_c = {tmax_c}: this looks like degrees Fahrenheit");
            return Err(table.cell_issue(Code::CL03, line, self.tmax, &found));
        }
        if tmax_c < tmin_c {
            let found = format!("tmax_c = {tmax_c} is below tmin_c = {tmin_c}");
            return Err(table.issue(Code::CL02, line, &found));
        }
        let humidity = match (vapour, dew_c, high_pct, low_pct, mean_pct) {
            (Some(kpa), ..) => Humidity::Vapour(kpa),
            (_, Some(dew_c), ..) => Humidity::DewPoint(dew_c),
            (_, _, Some(high), Some(low), _) => Humidity::Extremes(high, low),
            (_, _, _, _, Some(mean)) => Humidity::Mean(mean),
            (_, _, Some(high), None, None) => Humidity::Highest(high),
            _ => Humidity::Unknown,
        };
        let radiation = match (solar_mj, sunshine_h) {
            (Some(mj), _) => Radiation::Solar(mj),
            (None, Some(hours)) => Radiation::Sunshine(hours),
            (None, None) => Radiation::Unknown,
        };
        let weather = Weather {
            day_of_year: date.day_of_year(),
            tmax_c,
            tmin_c,
            humidity,
            wind_m_s,
            radiation,
        };
        Ok((date, Some(weather), rain_mm))
    }
}

impl WeatherYears {
    /// Reads daily weather: `date, tmax_c, tmin_c`, and optionally `rain_mm, wind_m_s, vapr_kpa,
    /// tdew_c, rhmax_pct, rhmin_pct, rh_pct, srad_mj_m2, sunshine_h`. Rows may stand in any
    /// order. A row without temperatures is a missing day.
    ///
    /// # Errors
    /// `IN07` for a cell that cannot be read, `IN08` for a missing column, `CL02` for impossible
    /// values and days that stand twice, `CL03` for degrees Fahrenheit, `CL05` when there is no
    /// usable day.
    pub fn parse(text: &str, file: &str, station: Station) -> Result<WeatherYears, Issue> {
        let table = Table::parse(text, file)?;
        let columns = Columns::find(&table)?;
        let mut days = Vec::new();
        let mut rule_days = [0u32; 3];
        for (line, cells) in &table.rows {
            let (date, weather, rain_mm) = columns.read(&table, *line, cells)?;
            let Some(weather) = weather else { continue };
            rule_days[0] += u32::from(weather.humidity == Humidity::Unknown);
            rule_days[1] += u32::from(weather.wind_m_s.is_none());
            rule_days[2] += u32::from(weather.radiation == Radiation::Unknown);
            let eto_mm = weather.penman_monteith(&station, 0.0).eto_mm_d;
            days.push((
                *line,
                DayRecord {
                    date,
                    weather,
                    eto_mm,
                    rain_mm,
                },
            ));
        }
        let days = in_order(days, |day| day.date, &table, file)?;
        let gaps = gaps(days.iter().map(|day| (day.date, day.rain_mm.is_some())));
        Ok(WeatherYears {
            station,
            days,
            gaps,
            rule_days,
            unused: unused(&table, &COLUMNS),
        })
    }

    /// Whether nothing but temperatures was ever measured, so that only [`EtoMethod::Hargreaves`]
    /// rests on measurements alone.
    #[must_use]
    pub fn has_temperatures_only(&self) -> bool {
        self.rule_days
            .iter()
            .all(|&days| days as usize == self.days.len())
    }

    /// The same days with their reference evapotranspiration reckoned by a method. Monthly values
    /// of [`MonthSummary`] follow.
    #[must_use]
    pub fn reckoned_by(mut self, method: EtoMethod) -> WeatherYears {
        for day in &mut self.days {
            day.eto_mm = match method {
                EtoMethod::PenmanMonteith => {
                    day.weather.penman_monteith(&self.station, 0.0).eto_mm_d
                }
                EtoMethod::Hargreaves => day.weather.hargreaves_mm_d(&self.station),
            };
        }
        self
    }

    /// The days as a table of days holds them.
    #[must_use]
    pub fn day_climates(&self) -> Vec<DayClimate> {
        self.days
            .iter()
            .map(|day| DayClimate {
                date: day.date,
                eto_mm: day.eto_mm,
                rain_mm: day.rain_mm,
            })
            .collect()
    }

    /// The twelve months over all years: sums are the mean of the days that there are times the
    /// days of the month, so a missing day neither counts as dry nor as still.
    ///
    /// # Errors
    /// `CL05` when a calendar month has fewer than 60 % of its days in the years of the file, or
    /// no day on which rain was measured.
    pub fn months(&self) -> Result<[MonthSummary; 12], Issue> {
        let date = |day: Option<&DayRecord>| day.map(|day| day.date);
        let years = span_years(date(self.days.first()), date(self.days.last()));
        let mut months = Vec::with_capacity(12);
        for month in 1u8..=12 {
            let days: Vec<&DayRecord> = self
                .days
                .iter()
                .filter(|day| day.date.month == month)
                .collect();
            enough(month, days.len(), DAYS[usize::from(month) - 1] * years)?;
            let summary = summary(&self.station, month, &days).ok_or_else(|| {
                Issue::new(Code::CL05, format!("month {month} has no rain measured"))
            })?;
            months.push(summary);
        }
        let months: Result<[MonthSummary; 12], _> = months.try_into();
        months.map_err(|_| Issue::new(Code::CL05, "there are not twelve months"))
    }

    /// The mean year for the budget.
    ///
    /// # Errors
    /// As [`WeatherYears::months`].
    pub fn mean_year(&self, name: &str) -> Result<YearClimate, Issue> {
        let months = self.months()?.map(|month| MonthClimate {
            eto_mm: month.eto_mm,
            rain_mm: month.rain_mm,
            wind_m_s: month.wind_m_s,
            wind_frac: None,
            rh_pct: month.rh_pct,
            t_c: Some((month.tmax_c + month.tmin_c) / 2.0),
        });
        Ok(YearClimate {
            name: name.to_owned(),
            months,
        })
    }

    /// The note about missing days, if there are any.
    #[must_use]
    pub fn gap_note(&self) -> Option<Issue> {
        gap_note(&self.gaps)
    }
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (count, sum) = values.fold((0u32, 0.0), |(count, sum), value| (count + 1, sum + value));
    (count > 0).then(|| sum / f64::from(count))
}

fn summary(station: &Station, month: u8, days: &[&DayRecord]) -> Option<MonthSummary> {
    let length_d = DAYS[usize::from(month) - 1];
    let of = |value: &dyn Fn(&DayRecord) -> f64| mean(days.iter().map(|day| value(day)));
    let wind = days
        .iter()
        .filter_map(|day| day.weather.wind_m_s.map(|u| station.wind_2m_m_s(Some(u))));
    let humid = days
        .iter()
        .filter(|day| day.weather.humidity != Humidity::Unknown)
        .map(|day| {
            let air = day.weather.penman_monteith(station, 0.0);
            100.0 * air.vapour_kpa / air.saturation_kpa
        });
    Some(MonthSummary {
        days: days.len() as u32,
        eto_mm: length_d * of(&|day| day.eto_mm)?,
        hargreaves_mm: length_d * of(&|day| day.weather.hargreaves_mm_d(station))?,
        rain_mm: length_d * mean(days.iter().filter_map(|day| day.rain_mm))?,
        tmax_c: of(&|day| day.weather.tmax_c)?,
        tmin_c: of(&|day| day.weather.tmin_c)?,
        wind_m_s: mean(wind),
        rh_pct: mean(humid),
    })
}

#[cfg(test)]
#[path = "weather_tests.rs"]
mod tests;
