//! A parcel's meter against the need of its turf.

use serde::{Deserialize, Serialize};

use super::super::outcome::TurfPlan;
use super::area::Ways;
use crate::assumptions::Assumptions;
use crate::climate::{DAYS, Date, DayClimate};
use crate::issue::{Code, Issue};
use crate::savings::{Metered, PeriodNeed, metered};
use crate::site::MeterRead;

/// What a meter says of a parcel, and leaves of its claim.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MeterUse {
    /// Outdoor use of a year of mean weather \[m³/yr\].
    pub outdoor_m3_yr: f64,
    /// Net need of the turf over a reference efficiency \[m³/yr\].
    pub allowance_m3_yr: f64,
    /// What may be claimed \[m³/yr\].
    pub claimed_m3_yr: f64,
    /// What the meter adds to the modelled use as found, all of it the schedule's \[m³/yr\].
    pub raised_m3_yr: f64,
    /// What of that the recommended schedules take \[m³/yr\].
    pub raised_saved_m3_yr: f64,
    /// Whether use over allowance lies below the bound.
    pub under_watered: bool,
    /// `under-watered`, `claim-capped`.
    #[serde(skip)]
    pub flags: Vec<&'static str>,
}

impl MeterUse {
    /// Use over allowance; `None` where nothing is needed.
    #[must_use]
    pub fn ratio(&self) -> Option<f64> {
        (self.allowance_m3_yr > 0.0).then(|| self.outdoor_m3_yr / self.allowance_m3_yr)
    }
}

/// Outdoor use of a parcel by its meter; `None` without reads or without need.
///
/// # Errors
/// `ME02` when the periods cannot say.
pub(super) fn of(
    assumptions: &Assumptions,
    turf: &[TurfPlan],
    ways: &[Ways<'_>],
    reads: &[MeterRead],
) -> Result<Option<Metered>, Issue> {
    let needs: Vec<Need<'_>> = turf
        .iter()
        .zip(ways)
        .filter_map(|(area, ways)| Need::of(area, ways))
        .collect();
    let months_m3: [f64; 12] =
        std::array::from_fn(|month| needs.iter().map(|need| need.months_m3[month]).sum());
    let need_m3_yr: f64 = months_m3.iter().sum();
    if reads.is_empty() || need_m3_yr <= 0.0 {
        return Ok(None);
    }
    let peak_m3_day = (0..12)
        .map(|month| months_m3[month] / DAYS[month])
        .fold(0.0, f64::max);
    let periods: Vec<PeriodNeed> = reads
        .iter()
        .map(|read| {
            let normal_m3 = normal_m3(read, &months_m3);
            let by_days = needs.iter().map(|need| need.in_days_m3(read));
            let need_m3 = by_days.sum::<Option<f64>>().unwrap_or(normal_m3);
            PeriodNeed {
                read: *read,
                need_m3,
                normal_m3,
            }
        })
        .collect();
    metered(&periods, (need_m3_yr, peak_m3_day), assumptions)
        .map(Some)
        .map_err(|why| Issue::new(Code::ME02, why.text()))
}

/// Need of a period by the months of the mean year.
fn normal_m3(read: &MeterRead, months_m3: &[f64; 12]) -> f64 {
    let mut sum_m3 = 0.0;
    for day in 0..read.days {
        let month = usize::from(Date::of_day_number(read.first_day + day as i32).month) - 1;
        sum_m3 += months_m3[month] / DAYS[month];
    }
    sum_m3
}

/// What one turf area needs.
struct Need<'a> {
    months_m3: [f64; 12],
    /// Plant demand over reference evapotranspiration, and effective over measured rain, by month.
    factors: [(f64, f64); 12],
    area_m2: f64,
    days: &'a [DayClimate],
}

impl<'a> Need<'a> {
    fn of(area: &TurfPlan, ways: &Ways<'a>) -> Option<Need<'a>> {
        let year = ways.without.as_ref()?.found.water.year();
        let sky = &ways.lawn.demand.climate.months;
        let over = |part: f64, whole: f64| if whole > 0.0 { part / whole } else { 0.0 };
        Some(Need {
            months_m3: year
                .months
                .map(|month| month.net_mm / 1_000.0 * area.area_m2),
            factors: std::array::from_fn(|month| {
                let water = &year.months[month];
                let sky = &sky[month];
                (
                    over(water.etc_mm, sky.eto_mm),
                    over(water.effective_rain_mm, sky.rain_mm),
                )
            }),
            area_m2: area.area_m2,
            days: ways.days,
        })
    }

    /// Need of a period by the days that really were; `None` unless all of them are known. Rain
    /// counts in the share in which it does in the mean month, and nothing is carried from month
    /// to month.
    fn in_days_m3(&self, read: &MeterRead) -> Option<f64> {
        let first = self
            .days
            .partition_point(|day| day.date.day_number() < read.first_day);
        let days = self.days.get(first..first + read.days as usize)?;
        let last = days.last()?;
        if days[0].date.day_number() != read.first_day
            || last.date.day_number() != read.end_day() - 1
        {
            return None;
        }
        let mut months_mm = Vec::new();
        let mut current = None;
        for day in days {
            let (plant, rain) = self.factors[usize::from(day.date.month) - 1];
            let short_mm = day.eto_mm * plant - day.rain_mm? * rain;
            if current == Some(day.date.month) {
                if let Some(sum) = months_mm.last_mut() {
                    *sum += short_mm;
                }
            } else {
                months_mm.push(short_mm);
                current = Some(day.date.month);
            }
        }
        let need_mm: f64 = months_mm.iter().map(|mm| mm.max(0.0)).sum();
        Some(need_mm / 1_000.0 * self.area_m2)
    }
}
