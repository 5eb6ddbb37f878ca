//! Reference evapotranspiration of grass by the FAO Penman–Monteith equation, and by Hargreaves.
//!
//! # References
//! - Allen, R. G., Pereira, L. S., Raes, D. and Smith, M., *Crop evapotranspiration*, FAO
//!   Irrigation and Drainage Paper 56, Rome 1998: eq. 6 (daily and monthly), 7 to 19 (air),
//!   35 to 40 (radiation), 43 and 44 (soil heat), 47 (wind), 50 (missing radiation), 52
//!   (Hargreaves).

use super::sun::{Sun, clear_sky_mj, cloudiness_ratio, net_longwave_mj};
use crate::assumptions::{Assumptions, Key};

/// The place of a weather station, and what its instruments do not say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Station {
    /// Latitude \[degrees, south negative\].
    pub latitude_deg: f64,
    /// Elevation above sea level \[m\].
    pub elevation_m: f64,
    /// Height of the wind instrument above ground \[m\].
    pub wind_height_m: f64,
    /// Wind at 2 m where none was measured \[m/s\].
    pub missing_wind_m_s: f64,
    /// Coefficient of radiation from the range of temperature: 0.16 inland, 0.19 at the coast.
    pub radiation_coefficient: f64,
}

impl Station {
    /// A station with the assumed answers for what was not measured.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions, latitude_deg: f64, elevation_m: f64) -> Station {
        Station {
            latitude_deg,
            elevation_m,
            wind_height_m: assumptions.number(Key::ClimateWindHeight),
            missing_wind_m_s: assumptions.number(Key::ClimateMissingWind),
            radiation_coefficient: assumptions.number(Key::ClimateRadiationK),
        }
    }

    /// Mean air pressure \[kPa\] (eq. 7).
    #[must_use]
    pub fn pressure_kpa(&self) -> f64 {
        101.3 * libm::pow((293.0 - 0.0065 * self.elevation_m) / 293.0, 5.26)
    }

    /// Psychrometric constant \[kPa/°C\] (eq. 8).
    #[must_use]
    pub fn psychrometric_kpa_c(&self) -> f64 {
        0.000_665 * self.pressure_kpa()
    }

    /// Wind at 2 m from the wind at the instrument (eq. 47); the assumed one where none was
    /// measured.
    #[must_use]
    pub fn wind_2m_m_s(&self, measured_m_s: Option<f64>) -> f64 {
        match measured_m_s {
            None => self.missing_wind_m_s,
            Some(wind_m_s) if self.wind_height_m == 2.0 => wind_m_s, // the factor is 1.0002 there
            Some(wind_m_s) => wind_m_s * 4.87 / libm::log(67.8 * self.wind_height_m - 5.42),
        }
    }
}

/// What is known of the air's humidity, the best first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Humidity {
    /// Actual vapour pressure \[kPa\].
    Vapour(f64),
    /// Dew point \[°C\] (eq. 14).
    DewPoint(f64),
    /// Highest and lowest relative humidity of the day \[%\] (eq. 17).
    Extremes(f64, f64),
    /// Highest relative humidity only \[%\] (eq. 18).
    Highest(f64),
    /// Mean relative humidity \[%\] (eq. 19).
    Mean(f64),
    /// Nothing: the dew point is taken as the lowest temperature (eq. 48).
    Unknown,
}

/// What is known of the sun's radiation, the best first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Radiation {
    /// Solar radiation \[MJ m⁻² d⁻¹\].
    Solar(f64),
    /// Hours of sunshine (eq. 35).
    Sunshine(f64),
    /// Nothing: it follows from the range of temperature (eq. 50).
    Unknown,
}

/// The weather of a day, or the mean day of a month.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weather {
    /// Day of the year, 1 to 366; for a month its middle.
    pub day_of_year: u16,
    /// Highest temperature \[°C\].
    pub tmax_c: f64,
    /// Lowest temperature \[°C\], not above the highest.
    pub tmin_c: f64,
    /// Humidity.
    pub humidity: Humidity,
    /// Wind at the instrument \[m/s\].
    pub wind_m_s: Option<f64>,
    /// Radiation.
    pub radiation: Radiation,
}

/// Reference evapotranspiration with the values on the way to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evapotranspiration {
    /// Slope of the saturation vapour pressure \[kPa/°C\].
    pub slope_kpa_c: f64,
    /// Psychrometric constant \[kPa/°C\].
    pub psychrometric_kpa_c: f64,
    /// Saturation vapour pressure \[kPa\].
    pub saturation_kpa: f64,
    /// Actual vapour pressure \[kPa\].
    pub vapour_kpa: f64,
    /// Extraterrestrial radiation \[MJ m⁻² d⁻¹\].
    pub extraterrestrial_mj: f64,
    /// Solar radiation \[MJ m⁻² d⁻¹\].
    pub solar_mj: f64,
    /// Net radiation \[MJ m⁻² d⁻¹\].
    pub net_mj: f64,
    /// Reference evapotranspiration of grass \[mm/d\], at least 0.
    pub eto_mm_d: f64,
}

/// Saturation vapour pressure at a temperature \[kPa\] (eq. 11).
#[must_use]
pub fn saturation_kpa(t_c: f64) -> f64 {
    0.6108 * libm::exp(17.27 * t_c / (t_c + 237.3))
}

/// Slope of the saturation vapour pressure \[kPa/°C\] (eq. 13).
#[must_use]
pub fn slope_kpa_c(t_c: f64) -> f64 {
    4_098.0 * saturation_kpa(t_c) / ((t_c + 237.3) * (t_c + 237.3))
}

/// Soil heat flux of a month \[MJ m⁻² d⁻¹\] from monthly mean temperatures: `0.07 (T_next −
/// T_previous)` (eq. 43).
#[must_use]
pub fn soil_heat_mj(previous_c: f64, next_c: f64) -> f64 {
    0.07 * (next_c - previous_c)
}

/// The same when the next month is not known: `0.14 (T − T_previous)` (eq. 44).
#[must_use]
pub fn soil_heat_from_previous_mj(previous_c: f64, this_c: f64) -> f64 {
    0.14 * (this_c - previous_c)
}

impl Weather {
    fn vapour_kpa(&self, saturation: f64) -> f64 {
        let (warm, cold) = (saturation_kpa(self.tmax_c), saturation_kpa(self.tmin_c));
        let vapour = match self.humidity {
            Humidity::Vapour(kpa) => kpa,
            Humidity::DewPoint(t_c) => saturation_kpa(t_c),
            Humidity::Extremes(high_pct, low_pct) => (cold * high_pct + warm * low_pct) / 200.0,
            Humidity::Highest(high_pct) => cold * high_pct / 100.0,
            Humidity::Mean(pct) => saturation * pct / 100.0,
            Humidity::Unknown => cold,
        };
        vapour.clamp(0.0, saturation)
    }

    /// Solar radiation \[MJ m⁻² d⁻¹\]; none where the sun does not rise.
    fn solar_mj(&self, station: &Station, sun: &Sun) -> f64 {
        let above_mj = sun.extraterrestrial_mj();
        match self.radiation {
            Radiation::Solar(mj) => mj,
            Radiation::Sunshine(_) if sun.daylight_h() <= 0.0 => 0.0,
            Radiation::Sunshine(hours) => {
                (0.25 + 0.50 * (hours / sun.daylight_h()).clamp(0.0, 1.0)) * above_mj
            }
            Radiation::Unknown => {
                let from_range =
                    station.radiation_coefficient * (self.tmax_c - self.tmin_c).max(0.0).sqrt();
                // No more than a clear sky lets through.
                (from_range * above_mj).min(clear_sky_mj(above_mj, station.elevation_m))
            }
        }
    }

    /// Reference evapotranspiration by FAO Penman–Monteith, eq. 6:
    ///
    /// `ETo = [0.408 Δ (R_n − G) + γ 900/(T + 273) u₂ (e_s − e_a)] / [Δ + γ (1 + 0.34 u₂)]`.
    ///
    /// `soil_heat_mj` is G: 0 for a day; for a month see [`soil_heat_mj`]. What was not measured
    /// follows the rules of FAO 56, chapter 3.
    #[must_use]
    pub fn penman_monteith(&self, station: &Station, soil_heat_mj: f64) -> Evapotranspiration {
        let mean_c = (self.tmax_c + self.tmin_c) / 2.0;
        let sun = Sun::on(station.latitude_deg, self.day_of_year);
        let saturation = (saturation_kpa(self.tmax_c) + saturation_kpa(self.tmin_c)) / 2.0;
        let vapour = self.vapour_kpa(saturation);
        let extraterrestrial_mj = sun.extraterrestrial_mj();
        let solar_mj = self.solar_mj(station, &sun);
        let clear_mj = clear_sky_mj(extraterrestrial_mj, station.elevation_m);
        let longwave_mj = net_longwave_mj(
            self.tmax_c,
            self.tmin_c,
            vapour,
            cloudiness_ratio(solar_mj, clear_mj),
        );
        let net_mj = 0.77 * solar_mj - longwave_mj;
        let wind_m_s = station.wind_2m_m_s(self.wind_m_s);
        let (delta, gamma) = (slope_kpa_c(mean_c), station.psychrometric_kpa_c());
        let radiation_term = 0.408 * delta * (net_mj - soil_heat_mj);
        let wind_term = gamma * 900.0 / (mean_c + 273.0) * wind_m_s * (saturation - vapour);
        let eto_mm_d = (radiation_term + wind_term) / (delta + gamma * (1.0 + 0.34 * wind_m_s));
        Evapotranspiration {
            slope_kpa_c: delta,
            psychrometric_kpa_c: gamma,
            saturation_kpa: saturation,
            vapour_kpa: vapour,
            extraterrestrial_mj,
            solar_mj,
            net_mj,
            eto_mm_d: eto_mm_d.max(0.0),
        }
    }

    /// Reference evapotranspiration from temperatures alone by Hargreaves, eq. 52 \[mm/d\]:
    /// `0.0023 (T_mean + 17.8) √(T_max − T_min) · 0.408 R_a`, at least 0.
    #[must_use]
    pub fn hargreaves_mm_d(&self, station: &Station) -> f64 {
        let mean_c = (self.tmax_c + self.tmin_c) / 2.0;
        let above_mm =
            0.408 * Sun::on(station.latitude_deg, self.day_of_year).extraterrestrial_mj();
        let range_c = (self.tmax_c - self.tmin_c).max(0.0);
        (0.0023 * (mean_c + 17.8) * range_c.sqrt() * above_mm).max(0.0)
    }
}
