//! Month by month from the sky to the meter.

use super::{PlantFactors, RunTimeMultiplier};
use crate::assumptions::{Assumptions, Key};
use crate::climate::{EffectiveRain, YearClimate};
use crate::site::TurfArea;
use crate::soil::{Reservoir, Texture};

/// What the water of a year depends on.
#[derive(Debug, Clone, PartialEq)]
pub struct DemandInput<'a> {
    /// The sky.
    pub climate: &'a YearClimate,
    /// The plants.
    pub plants: PlantFactors,
    /// How rain counts.
    pub effective_rain: EffectiveRain,
    /// Usable storage of the root zone \[mm\].
    pub storage_mm: f64,
    /// Factor on reference evapotranspiration.
    pub eto_scale: f64,
    /// Factor on effective rain.
    pub rain_scale: f64,
    /// Net depth of each month from a daily balance \[mm\]; `None` reckons it by months.
    pub daily_net_mm: Option<[f64; 12]>,
    /// Uniformity to expect in the field.
    pub du_lq_field: f64,
    /// How uniformity lengthens the run.
    pub multiplier: RunTimeMultiplier,
    /// Share lost to drift and evaporation, 0 to below 1.
    pub drift_frac: f64,
    /// Share of the water on the turf that runs off, month by month, 0 to below 1.
    pub runoff_frac: [f64; 12],
    /// Share of the flow that lands outside the turf, 0 to below 1.
    pub over_frac: f64,
    /// Area of the turf \[m²\].
    pub area_m2: f64,
}

impl<'a> DemandInput<'a> {
    /// What is assumed of a turf area before its layout is known: an even lawn without runoff or
    /// overspray. Set `du_lq_field`, `over_frac` and `runoff_frac` from the layout.
    #[must_use]
    pub fn assumed(
        assumptions: &Assumptions,
        climate: &'a YearClimate,
        turf: &TurfArea,
        texture: Texture,
        area_m2: f64,
    ) -> DemandInput<'a> {
        DemandInput {
            climate,
            plants: PlantFactors::assumed(assumptions, turf.grass, turf.exposure),
            effective_rain: EffectiveRain::assumed(assumptions),
            storage_mm: Reservoir::assumed(assumptions, texture).usable_mm(),
            eto_scale: assumptions.number(Key::ClimateEtoScale),
            rain_scale: assumptions.number(Key::ClimateRainScale),
            daily_net_mm: None,
            du_lq_field: 1.0,
            multiplier: RunTimeMultiplier::assumed(assumptions),
            drift_frac: assumptions.number(Key::WaterDriftFrac),
            runoff_frac: [0.0; 12],
            over_frac: 0.0,
            area_m2,
        }
    }
}

/// The water of one month.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct MonthWater {
    /// Plant demand \[mm\].
    pub etc_mm: f64,
    /// Rain that the turf can use \[mm\].
    pub effective_rain_mm: f64,
    /// Depth that irrigation must bring into the root zone \[mm\].
    pub net_mm: f64,
    /// Depth to send to the turf \[mm\]: net depth with uniformity, drift and runoff.
    pub gross_mm: f64,
    /// Water used, overspray included \[m³\].
    pub use_m3: f64,
}

/// The water of a year.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct YearWater {
    /// January to December.
    pub months: [MonthWater; 12],
    /// Net depth \[mm/yr\].
    pub net_mm_yr: f64,
    /// Gross depth \[mm/yr\].
    pub gross_mm_yr: f64,
    /// Use \[m³/yr\].
    pub use_m3_yr: f64,
}

/// The water of a year with the clock re-timed to need.
///
/// Month by month, with overspray and pressure:
///
/// ```text
/// net [mm] = max(0, ETo K − P_e)
/// G [mm]   = net · RTM(DU) / [(1 − w)(1 − m)(1 − r)]
/// V [m³]   = G A / [1000 (1 − o)]
/// DU       = 1 − 1.2711 √(CV_drawn² + ΔCV²_pressure + CV_wind² + CV_install² + s CV_wear²)
/// ```
///
/// with reference evapotranspiration ETo \[mm\], plant factor K, effective rain P_e \[mm\], the
/// share w lost to drift and evaporation and m to mist (`drift_frac` holds both), the share r of
/// the water on the turf that runs off, the share o of the flow that lands outside the turf, the
/// area A \[m²\], and the share s of the wear variance that hardware carries. Pressure enters by
/// its spread (in DU) and by mist alone: a nozzle that passes less runs longer. Months do not lend each other water; nothing is negative. The run-time multiplier
/// is applied once, here.
///
/// # References
/// - Irrigation Association, *Landscape Irrigation Scheduling and Water Management*, 2005 (from
///   memory).
#[must_use]
pub fn year(input: &DemandInput<'_>) -> YearWater {
    let multiplier = input.multiplier.of(input.du_lq_field);
    let mut months = [MonthWater::default(); 12];
    for (index, month) in months.iter_mut().enumerate() {
        let sky = &input.climate.months[index];
        let rain = input
            .effective_rain
            .of_rain(sky.rain_mm, input.storage_mm)
            .scaled(input.rain_scale);
        month.etc_mm = sky.eto_mm * input.eto_scale * input.plants.0[index];
        month.effective_rain_mm = rain.effective_mm(month.etc_mm);
        month.net_mm = match &input.daily_net_mm {
            Some(net_mm) => net_mm[index].max(0.0),
            None => (month.etc_mm - month.effective_rain_mm).max(0.0),
        };
        let arriving_frac = (1.0 - input.drift_frac) * (1.0 - input.runoff_frac[index]);
        month.gross_mm = month.net_mm * multiplier / arriving_frac;
        month.use_m3 = month.gross_mm / 1_000.0 * input.area_m2 / (1.0 - input.over_frac);
    }
    YearWater::of_months(months)
}

impl YearWater {
    /// Adds up twelve months.
    #[must_use]
    pub fn of_months(months: [MonthWater; 12]) -> YearWater {
        YearWater {
            months,
            net_mm_yr: months.iter().map(|month| month.net_mm).sum(),
            gross_mm_yr: months.iter().map(|month| month.gross_mm).sum(),
            use_m3_yr: months.iter().map(|month| month.use_m3).sum(),
        }
    }

    /// The same demand, met or not by other gross depths of the months \[mm\].
    #[must_use]
    pub fn with_gross(&self, gross_mm: &[f64; 12], input: &DemandInput<'_>) -> YearWater {
        let months: [MonthWater; 12] = std::array::from_fn(|month| MonthWater {
            gross_mm: gross_mm[month],
            use_m3: gross_mm[month] / 1_000.0 * input.area_m2 / (1.0 - input.over_frac),
            ..self.months[month]
        });
        YearWater::of_months(months)
    }

    /// The 0-based month of the largest gross depth; the first of equals.
    #[must_use]
    pub fn peak_month(&self) -> usize {
        (1..12).fold(0, |peak, month| {
            if self.months[month].gross_mm > self.months[peak].gross_mm {
                month
            } else {
                peak
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::assumptions::Assumptions;

    fn input(climate: &YearClimate) -> DemandInput<'_> {
        let run = Assumptions::defaults();
        DemandInput {
            climate,
            plants: PlantFactors([0.8; 12]),
            effective_rain: EffectiveRain::Fixed { frac: 0.5 },
            storage_mm: 12.75,
            eto_scale: 1.0,
            rain_scale: 1.0,
            daily_net_mm: None,
            du_lq_field: 0.5,
            multiplier: RunTimeMultiplier::assumed(&run),
            drift_frac: 0.0,
            runoff_frac: [0.0; 12],
            over_frac: 0.0,
            area_m2: 100.0,
        }
    }

    #[test]
    fn one_month_by_hand() {
        // ETo 180, factor 0.8, half of 20 mm rain: net 134 mm; gross 191.43 at DU 0.50 and
        // 163.41 mm at 0.70 (worked example, recomputed).
        let mut climate = YearClimate::larkmoor();
        climate.months[6].eto_mm = 180.0;
        climate.months[6].rain_mm = 20.0;
        let july = year(&input(&climate)).months[6];
        assert!((july.net_mm - 134.0).abs() < 1e-9);
        assert!((july.gross_mm - 191.43).abs() < 0.005);
        assert!((july.use_m3 - 19.143).abs() < 0.0005);
        let july = year(&DemandInput {
            du_lq_field: 0.7,
            ..input(&climate)
        })
        .months[6];
        assert!((july.gross_mm - 163.41).abs() < 0.005);
    }

    #[test]
    fn the_embedded_town_needs_about_nine_hundred_millimetres() {
        let climate = YearClimate::larkmoor();
        let water = year(&input(&climate));
        assert!(
            (850.0..950.0).contains(&water.net_mm_yr),
            "{}",
            water.net_mm_yr
        );
        assert_eq!(water.peak_month(), 6);
        assert_eq!(water.months[0].net_mm, 40.0 - 29.0);
    }

    #[test]
    fn overspray_is_paid_for() {
        let climate = YearClimate::larkmoor();
        let whole = year(&input(&climate));
        let spilt = year(&DemandInput {
            over_frac: 0.2,
            ..input(&climate)
        });
        assert_eq!(whole.gross_mm_yr, spilt.gross_mm_yr);
        assert!((spilt.use_m3_yr / whole.use_m3_yr - 1.25).abs() < 1e-12);
    }
}
