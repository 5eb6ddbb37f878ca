//! What makes a table of climate or weather doubtful: a column of another reference crop is refused, units and
//! figures that are hardly what they say are reported, and so are columns that nobody reads.

use super::{WeatherYears, YearClimate, clear_sky_mj};
use crate::cells::Table;
use crate::climate::Sun;
use crate::issue::{Code, Issue};

/// Names of columns that hold grass (short-crop) reference evapotranspiration.
pub(super) const GRASS: [&str; 5] = [
    "eto_mm",
    "et0_mm",
    "eto_short_mm",
    "eto_grass_mm",
    "etos_mm",
];
/// Words in the names of columns whose reference crop is tall (alfalfa), or is not said.
const TALL: [&str; 7] = [
    "etr",
    "et_ref",
    "etref",
    "et_tall",
    "eto_tall",
    "et_alfalfa",
    "ets_tall",
];
/// A mean wind above this \[m/s\] looks like kilometres or miles an hour: few inhabited places pass it at 2 m
/// (choice of this program).
const MAX_WIND_M_S: f64 = 7.0;
/// A year's rain below this \[mm\] looks like inches: it is that of the driest deserts (choice of this program).
const MIN_RAIN_MM_YR: f64 = 60.0;
/// Humidity that never passes this \[%\] looks like a fraction of 1.
const MAX_FRACTION: f64 = 1.5;
/// Radiation may pass that of a clear sky by this share: the error of a good instrument and of the formula
/// (choice of this program).
const CLEAR_SKY_FRAC: f64 = 1.1;
/// So many days may pass it before it is reported, as a share.
const CLOUDED_FRAC: f64 = 0.02;
/// Evapotranspiration of a year by Penman–Monteith over that by Hargreaves: outside of these something is
/// wrong with wind, humidity or radiation (choice of this program; the two differ by less than a third where
/// both were measured well).
const METHODS_FRAC: (f64, f64) = (0.65, 1.5);

/// The column of grass reference evapotranspiration of a table.
///
/// # Errors
/// `CL10` where the only column is of a tall crop or does not say of which, `IN08` where there is none.
pub(super) fn grass_column(table: &Table) -> Result<usize, Issue> {
    if let Some(column) = table.column(&GRASS) {
        return Ok(column);
    }
    let is_other = |name: &&String| TALL.iter().any(|word| name.starts_with(word));
    match table.names().iter().find(is_other) {
        Some(name) => Err(table.file_issue(Code::CL10, &format!("the column `{name}`"))),
        None => table.needed(&["eto_mm", "et0_mm"]),
    }
}

/// The note of columns that are not read; `None` where there is none.
pub(super) fn unused(table: &Table, read: &[&str]) -> Option<Issue> {
    let left: Vec<&str> = table
        .names()
        .iter()
        .map(String::as_str)
        .filter(|name| !name.is_empty() && !read.contains(name))
        .collect();
    (!left.is_empty()).then(|| table.file_issue(Code::CL15, &left.join(", ")))
}

/// What is doubtful about the months of a year.
pub(super) fn of_months(year: &YearClimate) -> Vec<Issue> {
    let mut found = Vec::new();
    let zone = if year.name.is_empty() {
        String::new()
    } else {
        format!(" in zone `{}`", year.name)
    };
    let humidity = year.months.iter().filter_map(|month| month.rh_pct);
    found.extend(humid(humidity, &zone));
    let winds = year.months.iter().filter_map(|month| month.wind_m_s);
    found.extend(windy(winds, &zone));
    let rain_mm_yr = year.rain_mm_yr();
    if rain_mm_yr > 0.0 && rain_mm_yr < MIN_RAIN_MM_YR {
        let text = format!("{rain_mm_yr:.1} mm in the year{zone}");
        found.push(Issue::new(Code::CL13, text));
    }
    found
}

fn humid(values: impl Iterator<Item = f64>, zone: &str) -> Option<Issue> {
    let max = values.fold(f64::NEG_INFINITY, f64::max);
    (max > 0.0 && max <= MAX_FRACTION).then(|| {
        let text = format!("relative humidity of at most {max} %{zone}");
        Issue::new(Code::CL11, text)
    })
}

fn windy(values: impl Iterator<Item = f64>, zone: &str) -> Option<Issue> {
    let (count, sum) = values.fold((0_u32, 0.0), |(count, sum), value| (count + 1, sum + value));
    let mean = if count > 0 {
        sum / f64::from(count)
    } else {
        0.0
    };
    (mean > MAX_WIND_M_S)
        .then(|| Issue::new(Code::CL12, format!("{mean:.1} m/s in the mean{zone}")))
}

impl WeatherYears {
    /// What is doubtful about the weather: `CL11` humidity that looks like fractions, `CL12` wind that looks
    /// like kilometres an hour, `CL13` rain that looks like inches, `CL14` radiation above that of a clear
    /// sky, `CL16` Penman–Monteith and Hargreaves out of line, `CL15` columns that are not read.
    #[must_use]
    pub fn doubts(&self) -> Vec<Issue> {
        use super::penman::{Humidity, Radiation};
        let mut found = Vec::new();
        let humidity = self
            .days
            .iter()
            .filter_map(|day| match day.weather.humidity {
                Humidity::Extremes(high, _) | Humidity::Highest(high) => Some(high),
                Humidity::Mean(mean) => Some(mean),
                _ => None,
            });
        found.extend(humid(humidity, ""));
        let wind = self
            .days
            .iter()
            .filter_map(|day| day.weather.wind_m_s)
            .map(|wind_m_s| self.station.wind_2m_m_s(Some(wind_m_s)));
        found.extend(windy(wind, ""));
        let (mut wet_days, mut rain_mm) = (0_u32, 0.0);
        for rain in self.days.iter().filter_map(|day| day.rain_mm) {
            wet_days += 1;
            rain_mm += rain;
        }
        let rain_mm_yr = 365.25 * rain_mm / f64::from(wet_days.max(1));
        // Less than eleven months say nothing of the rain of a year.
        if wet_days >= 330 && rain_mm_yr > 0.0 && rain_mm_yr < MIN_RAIN_MM_YR {
            found.push(Issue::new(Code::CL13, format!("{rain_mm_yr:.1} mm a year")));
        }
        let (mut days, mut above) = (0_u32, 0_u32);
        for day in &self.days {
            if let Radiation::Solar(solar_mj) = day.weather.radiation {
                let sun = Sun::on(self.station.latitude_deg, day.weather.day_of_year);
                let clear_mj = clear_sky_mj(sun.extraterrestrial_mj(), self.station.elevation_m);
                days += 1;
                above += u32::from(solar_mj > CLEAR_SKY_FRAC * clear_mj);
            }
        }
        if f64::from(above) > CLOUDED_FRAC * f64::from(days) {
            found.push(Issue::new(Code::CL14, format!("on {above} of {days} days")));
        }
        let (mut penman_mm, mut hargreaves_mm) = (0.0, 0.0);
        for day in &self.days {
            penman_mm += day.weather.penman_monteith(&self.station, 0.0).eto_mm_d;
            hargreaves_mm += day.weather.hargreaves_mm_d(&self.station);
        }
        let ratio = penman_mm / hargreaves_mm;
        if !self.has_temperatures_only() && !(METHODS_FRAC.0..=METHODS_FRAC.1).contains(&ratio) {
            let text = format!("Penman-Monteith gives {ratio:.2} times what Hargreaves does");
            found.push(Issue::new(Code::CL16, text));
        }
        found.extend(self.unused.clone());
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::climate::{Climates, Station};

    fn months(header: &str, row: &str) -> Result<Vec<Code>, Code> {
        let mut text = format!("month,{header}\n");
        for month in 1..=12 {
            text += &format!("{month},{row}\n");
        }
        Climates::parse(&text, "c")
            .map(|(_, notes)| notes.into_iter().map(|note| note.code).collect())
            .map_err(|issue| issue.code)
    }

    #[test]
    fn a_tall_crop_is_not_grass() {
        for name in [
            "et_ref_mm",
            "etr_mm",
            "etr_tall_mm",
            "eto_tall_mm",
            "et_alfalfa_mm",
        ] {
            assert_eq!(
                months(&format!("{name},rain_mm"), "100,30"),
                Err(Code::CL10),
                "{name}"
            );
        }
        // Beside a column of grass it is only not read.
        assert_eq!(
            months("eto_mm,etr_mm,rain_mm", "100,130,30"),
            Ok(vec![Code::CL15])
        );
        assert_eq!(months("eto_mm,rain_mm", "100,30"), Ok(vec![]));
        assert_eq!(months("evap_mm,rain_mm", "100,30"), Err(Code::IN08));
        let days = "date,etr_mm,rain_mm\n2020-01-01,3,0\n";
        assert_eq!(Climates::parse(days, "c").unwrap_err().code, Code::CL10);
    }

    #[test]
    fn figures_in_other_units_are_reported() {
        let header = "eto_mm,rain_mm,wind_m_s,rh_pct";
        assert_eq!(months(header, "100,30,2,60"), Ok(vec![]));
        assert_eq!(months(header, "100,30,2,0.6"), Ok(vec![Code::CL11]));
        assert_eq!(months(header, "100,30,9,60"), Ok(vec![Code::CL12]));
        assert_eq!(months(header, "100,1.2,2,60"), Ok(vec![Code::CL13]));
        // A place without any rain is none in inches.
        assert_eq!(months(header, "100,0,2,60"), Ok(vec![]));
    }

    fn weather(row: impl Fn(u32) -> String) -> Vec<Code> {
        let mut text = "date,tmax_c,tmin_c,rain_mm,wind_m_s,rh_pct,srad_mj_m2,note\n".to_owned();
        for day in 0..366_u32 {
            let (month, of_month) = (day / 31 + 1, day % 31 + 1);
            // Days that a month does not have are left out.
            if [31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31][month as usize - 1] >= of_month {
                text += &format!("2020-{month:02}-{of_month:02},{},x\n", row(day));
            }
        }
        let assumptions = crate::assumptions::Assumptions::defaults();
        let station = Station::assumed(&assumptions, 33.0, 300.0);
        let years = WeatherYears::parse(&text, "w", station).unwrap();
        years.doubts().into_iter().map(|note| note.code).collect()
    }

    #[test]
    fn weather_that_cannot_be_is_reported() {
        let unused = Code::CL15;
        let sound = |_| "28,14,1.5,2,55,12".to_owned();
        assert_eq!(weather(sound), [unused]);
        assert_eq!(weather(|_| "28,14,1.5,2,0.55,12".to_owned())[0], Code::CL11);
        let gale = weather(|_| "28,14,1.5,20,55,12".to_owned());
        assert!(
            gale.contains(&Code::CL12) && gale.contains(&Code::CL16),
            "{gale:?}"
        );
        assert_eq!(
            weather(|_| "28,14,0.05,2,55,12".to_owned()),
            [Code::CL13, unused]
        );
        // In winter the sky at 33 degrees gives about 13 MJ at most.
        assert_eq!(
            weather(|_| "28,14,1.5,2,55,24".to_owned()),
            [Code::CL14, unused]
        );
    }
}
