//! The sun over a place: how long it is up and how much it brings.
//!
//! # References
//! - Allen, R. G., Pereira, L. S., Raes, D. and Smith, M., *Crop evapotranspiration*, FAO
//!   Irrigation and Drainage Paper 56, Rome 1998, chapter 3, eq. 21 to 39.

use std::f64::consts::PI;

/// Solar constant \[MJ m⁻² min⁻¹\] (FAO 56, eq. 21).
const SOLAR_CONSTANT: f64 = 0.0820;
/// Stefan–Boltzmann constant \[MJ K⁻⁴ m⁻² d⁻¹\] (FAO 56, eq. 39).
const STEFAN_BOLTZMANN_DAY: f64 = 4.903e-9;
/// The same for an hour \[MJ K⁻⁴ m⁻² h⁻¹\] (FAO 56, example 19).
pub(super) const STEFAN_BOLTZMANN_HOUR: f64 = 2.043e-10;
/// Offset of the Kelvin scale as FAO 56 rounds it.
pub(super) const KELVIN: f64 = 273.16;
/// Ratio of solar to clear-sky radiation where the sun does not rise (choice of this program; it
/// only steers the long-wave loss of the polar night).
const POLAR_NIGHT_RATIO: f64 = 0.5;

/// The sun's position on one day of the year at one latitude.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sun {
    latitude_rad: f64,
    declination_rad: f64,
    distance: f64,
    sunset_rad: f64,
}

impl Sun {
    /// The sun on day `day_of_year` (1 to 366) at a latitude \[degrees, south negative\].
    #[must_use]
    pub fn on(latitude_deg: f64, day_of_year: u16) -> Sun {
        let latitude_rad = latitude_deg * PI / 180.0;
        let year_rad = 2.0 * PI * f64::from(day_of_year) / 365.0;
        let declination_rad = 0.409 * libm::sin(year_rad - 1.39);
        let cosine = -libm::tan(latitude_rad) * libm::tan(declination_rad);
        Sun {
            latitude_rad,
            declination_rad,
            distance: 1.0 + 0.033 * libm::cos(year_rad),
            // Outside of −1 to 1 the sun stays up (π) or down (0) all day.
            sunset_rad: libm::acos(cosine.clamp(-1.0, 1.0)),
        }
    }

    /// Extraterrestrial radiation of the day \[MJ m⁻² d⁻¹\], at least 0:
    /// `R_a = (24·60/π) G_sc d_r (ω_s sin φ sin δ + cos φ cos δ sin ω_s)`.
    #[must_use]
    pub fn extraterrestrial_mj(&self) -> f64 {
        let path = self.path(self.sunset_rad, libm::sin(self.sunset_rad));
        (24.0 * 60.0 / PI * SOLAR_CONSTANT * self.distance * path).max(0.0)
    }

    /// Extraterrestrial radiation of one hour \[MJ m⁻² h⁻¹\], with the hour angle of its middle
    /// \[rad\]; the part before sunrise and after sunset counts nothing.
    #[must_use]
    pub fn extraterrestrial_hour_mj(&self, middle_rad: f64) -> f64 {
        let bound = |angle: f64| angle.clamp(-self.sunset_rad, self.sunset_rad);
        let from = bound(middle_rad - PI / 24.0);
        let to = bound(middle_rad + PI / 24.0);
        let path = self.path(to - from, libm::sin(to) - libm::sin(from));
        (12.0 * 60.0 / PI * SOLAR_CONSTANT * self.distance * path).max(0.0)
    }

    /// Hours between sunrise and sunset, `N = 24 ω_s / π`, 0 to 24.
    #[must_use]
    pub fn daylight_h(&self) -> f64 {
        24.0 * self.sunset_rad / PI
    }

    /// Sunset hour angle ω_s \[rad\].
    #[must_use]
    pub fn sunset_rad(&self) -> f64 {
        self.sunset_rad
    }

    fn path(&self, angle: f64, sine: f64) -> f64 {
        let (phi, delta) = (self.latitude_rad, self.declination_rad);
        angle * libm::sin(phi) * libm::sin(delta) + libm::cos(phi) * libm::cos(delta) * sine
    }
}

/// Clear-sky radiation at an elevation \[m\], in the unit of the extraterrestrial radiation
/// (FAO 56, eq. 37).
#[must_use]
pub fn clear_sky_mj(extraterrestrial_mj: f64, elevation_m: f64) -> f64 {
    (0.75 + 2e-5 * elevation_m) * extraterrestrial_mj
}

/// Solar over clear-sky radiation, kept between 0.3 and 1 as the later standard does (ASCE-EWRI
/// 2005, from memory), and 0.5 where the sun does not rise.
#[must_use]
pub fn cloudiness_ratio(solar_mj: f64, clear_sky_mj: f64) -> f64 {
    if clear_sky_mj <= 0.0 {
        POLAR_NIGHT_RATIO
    } else {
        (solar_mj / clear_sky_mj).clamp(0.3, 1.0)
    }
}

/// Net long-wave loss of a day \[MJ m⁻² d⁻¹\] (FAO 56, eq. 39).
#[must_use]
pub fn net_longwave_mj(tmax_c: f64, tmin_c: f64, vapour_kpa: f64, cloudiness_ratio: f64) -> f64 {
    let mean_fourth = (libm::pow(tmax_c + KELVIN, 4.0) + libm::pow(tmin_c + KELVIN, 4.0)) / 2.0;
    STEFAN_BOLTZMANN_DAY * mean_fourth * sky_bracket(vapour_kpa, cloudiness_ratio)
}

/// The two brackets of FAO 56, eq. 39: humidity and cloud.
pub(super) fn sky_bracket(vapour_kpa: f64, cloudiness_ratio: f64) -> f64 {
    (0.34 - 0.14 * vapour_kpa.sqrt()) * (1.35 * cloudiness_ratio - 0.35)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_days() {
        // FAO 56, examples 8 and 9: 20° S on 3 September, 32.2 MJ and 11.7 h.
        let sun = Sun::on(-20.0, 246);
        assert!((sun.extraterrestrial_mj() - 32.2).abs() < 0.05);
        assert!((sun.daylight_h() - 11.7).abs() < 0.05);
    }

    #[test]
    fn poles_and_equator() {
        for day in 1..=366 {
            assert!((Sun::on(0.0, day).daylight_h() - 12.0).abs() < 1e-9);
            for latitude_deg in [-90.0, -80.0, 67.0, 89.9, 90.0] {
                let sun = Sun::on(latitude_deg, day);
                assert!(
                    (0.0..=24.0).contains(&sun.daylight_h()),
                    "{latitude_deg} {day}"
                );
                assert!(sun.extraterrestrial_mj() >= 0.0);
            }
        }
        assert_eq!(Sun::on(80.0, 355).extraterrestrial_mj(), 0.0);
        assert_eq!(Sun::on(80.0, 172).daylight_h(), 24.0);
    }

    #[test]
    fn twenty_four_hours_make_a_day() {
        for (latitude_deg, day) in [
            (16.22, 274),
            (50.8, 187),
            (-45.0, 12),
            (75.0, 172),
            (75.0, 1),
        ] {
            let sun = Sun::on(latitude_deg, day);
            let sum: f64 = (0..24)
                .map(|hour| {
                    sun.extraterrestrial_hour_mj(PI / 12.0 * (f64::from(hour) + 0.5 - 12.0))
                })
                .sum();
            assert!(
                (sum - sun.extraterrestrial_mj()).abs() < 1e-9,
                "{latitude_deg} {day}"
            );
        }
    }
}
