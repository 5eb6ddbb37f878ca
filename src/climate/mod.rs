//! The sky over the turf: what evaporates and what rains, month by month.

mod climates;
mod date;
mod days;
mod doubts;
mod effective_rain;
mod hourly;
mod penman;
mod rose;
mod sun;
mod table;
mod weather;

pub use climates::{Climates, Zone, ZoneOf};
pub use date::Date;
pub use days::{DayClimate, Gap, is_daily, mean_year, parse_days};
pub use effective_rain::{EffectiveRain, MonthRain, short_form_mm, tr21_mm};
pub use hourly::HourWeather;
pub use penman::{
    Evapotranspiration, Humidity, Radiation, Station, Weather, saturation_kpa, slope_kpa_c,
    soil_heat_from_previous_mj, soil_heat_mj,
};
pub use sun::{Sun, clear_sky_mj, cloudiness_ratio, net_longwave_mj};
pub use weather::{DayRecord, EtoMethod, MonthSummary, WeatherYears};

use crate::rain::SIDES;

/// Days of each month, January first; February with its mean over four years.
pub const DAYS: [f64; 12] = [
    31.0, 28.25, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0,
];

/// The text of the embedded climate, in the table that a user writes.
const LARKMOOR_CSV: &str = include_str!("larkmoor.csv");

/// One month of a mean year.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MonthClimate {
    /// Reference evapotranspiration \[mm/month\].
    pub eto_mm: f64,
    /// Rain \[mm/month\].
    pub rain_mm: f64,
    /// Mean wind at 2 m \[m/s\], when known.
    pub wind_m_s: Option<f64>,
    /// Shares of the watering hours in which the wind comes from north, north-east, and so on
    /// clockwise, when known; the rest is calm.
    pub wind_frac: Option<[f64; SIDES]>,
    /// Mean relative humidity \[%\], when known.
    pub rh_pct: Option<f64>,
    /// Mean air temperature \[°C\], when known.
    pub t_c: Option<f64>,
}

/// A mean year.
#[derive(Debug, Clone, PartialEq)]
pub struct YearClimate {
    /// The zone or place that it stands for.
    pub name: String,
    /// January to December.
    pub months: [MonthClimate; 12],
}

impl YearClimate {
    /// The climate of Larkmoor, a town that does not exist: winter rain, dry summer, about
    /// 1,350 mm of reference evapotranspiration and 380 mm of rain a year. It stands in where
    /// the user gives no climate, and the output says so.
    ///
    /// # Panics
    /// Never: a test reads the embedded table.
    #[must_use]
    #[expect(
        clippy::expect_used,
        reason = "the embedded text is constant and read by a test"
    )]
    pub fn larkmoor() -> YearClimate {
        let years = YearClimate::parse_table(LARKMOOR_CSV, "embedded climate");
        let mut year = years
            .ok()
            .and_then(|mut years| years.pop())
            .expect("it is a valid table");
        "Larkmoor (invented)".clone_into(&mut year.name);
        year
    }

    /// Reference evapotranspiration of the year \[mm\].
    #[must_use]
    pub fn eto_mm_yr(&self) -> f64 {
        self.months.iter().map(|month| month.eto_mm).sum()
    }

    /// Rain of the year \[mm\].
    #[must_use]
    pub fn rain_mm_yr(&self) -> f64 {
        self.months.iter().map(|month| month.rain_mm).sum()
    }

    /// The 0-based month of the largest reference evapotranspiration; the first of equals.
    #[must_use]
    pub fn peak_month(&self) -> usize {
        (1..12).fold(0, |peak, month| {
            if self.months[month].eto_mm > self.months[peak].eto_mm {
                month
            } else {
                peak
            }
        })
    }
}
