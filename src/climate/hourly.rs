//! The hourly form of the FAO Penman–Monteith equation.

use std::f64::consts::PI;

use super::penman::{Station, saturation_kpa, slope_kpa_c};
use super::sun::{KELVIN, STEFAN_BOLTZMANN_HOUR, Sun, clear_sky_mj, cloudiness_ratio, sky_bracket};

/// The weather of one hour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HourWeather {
    /// Day of the year, 1 to 366.
    pub day_of_year: u16,
    /// Standard clock time at the middle of the hour \[h\], e.g. 14.5 for 14:00 to 15:00.
    pub middle_h: f64,
    /// Mean temperature \[°C\].
    pub t_c: f64,
    /// Relative humidity \[%\].
    pub rh_pct: f64,
    /// Wind at the instrument \[m/s\].
    pub wind_m_s: Option<f64>,
    /// Solar radiation \[MJ m⁻² h⁻¹\].
    pub solar_mj: f64,
    /// Solar over clear-sky radiation of the late afternoon, for hours without sun.
    pub afternoon_ratio: f64,
}

impl HourWeather {
    /// Hour angle of the sun at the middle of the hour \[rad\] (FAO 56, eq. 31 to 33). Longitudes
    /// are degrees *west* of Greenwich: of the station and of the middle of its time zone.
    fn hour_angle_rad(&self, west_deg: f64, zone_west_deg: f64) -> f64 {
        let season_rad = 2.0 * PI * (f64::from(self.day_of_year) - 81.0) / 364.0;
        let season_h = 0.1645 * libm::sin(2.0 * season_rad)
            - 0.1255 * libm::cos(season_rad)
            - 0.025 * libm::sin(season_rad);
        let solar_h = self.middle_h + 0.066_67 * (zone_west_deg - west_deg) + season_h;
        PI / 12.0 * (solar_h - 12.0)
    }

    /// Reference evapotranspiration of the hour \[mm\], at least 0: eq. 53, with 37 for 900 and
    /// soil heat 0.1 R_n by day and 0.5 R_n by night.
    ///
    /// # References
    /// - Allen et al. 1998, FAO Irrigation and Drainage Paper 56, eq. 53 and example 19 (from
    ///   memory; the example is reproduced).
    #[must_use]
    pub fn penman_monteith_mm(&self, station: &Station, west_deg: f64, zone_west_deg: f64) -> f64 {
        let sun = Sun::on(station.latitude_deg, self.day_of_year);
        let angle_rad = self.hour_angle_rad(west_deg, zone_west_deg);
        let clear_mj = clear_sky_mj(sun.extraterrestrial_hour_mj(angle_rad), station.elevation_m);
        let ratio = if clear_mj > 0.0 {
            cloudiness_ratio(self.solar_mj, clear_mj)
        } else {
            self.afternoon_ratio.clamp(0.3, 1.0)
        };
        let saturation = saturation_kpa(self.t_c);
        let vapour = saturation * self.rh_pct / 100.0;
        let fourth = libm::pow(self.t_c + KELVIN, 4.0);
        let longwave_mj = STEFAN_BOLTZMANN_HOUR * fourth * sky_bracket(vapour, ratio);
        let net_mj = 0.77 * self.solar_mj - longwave_mj;
        let soil_heat_mj = net_mj * if clear_mj > 0.0 { 0.1 } else { 0.5 };
        let wind_m_s = station.wind_2m_m_s(self.wind_m_s);
        let (delta, gamma) = (slope_kpa_c(self.t_c), station.psychrometric_kpa_c());
        let radiation_term = 0.408 * delta * (net_mj - soil_heat_mj);
        let wind_term = gamma * 37.0 / (self.t_c + 273.0) * wind_m_s * (saturation - vapour);
        ((radiation_term + wind_term) / (delta + gamma * (1.0 + 0.34 * wind_m_s))).max(0.0)
    }
}
