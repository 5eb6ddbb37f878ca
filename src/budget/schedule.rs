//! A schedule that a person can key in: one base programme and a monthly percentage line.

use super::{AllowedDays, DemandInput, YearWater, year};
use crate::assumptions::{Assumptions, Key};
use crate::climate::DAYS;
use crate::soil::{Ground, Reservoir, WaterSplit};
use crate::units::{Rate, Time};

/// Runoff, as a share of the water on the turf, that a planned schedule tries to stay below by
/// taking more cycles.
const GOOD_RUNOFF_FRAC: f64 = 0.01;
/// Guards whole numbers against rounding.
const ROUNDING: f64 = 1e-9;
/// The gross depth depends on runoff, and runoff on the run time; this many rounds settle it to
/// below a tenth of a per mille for runoff below a third.
const ROUNDS: u32 = 8;

/// What the local rule and the controller allow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Days on which watering is allowed.
    pub days: AllowedDays,
    /// Most watering days a week; 3.5 is every other day.
    pub days_per_week: f64,
    /// Minutes of a day in which watering is open.
    pub open_min: f64,
    /// When it opens \[minutes after midnight\].
    pub opens_min: f64,
    /// Most minutes of one station on one day.
    pub minutes_per_day: f64,
    /// Stations at or below this rate are exempt from the most minutes \[mm/h\].
    pub exempt_mm_h: f64,
    /// Starts that one programme can hold.
    pub starts: u32,
    /// Programmes of the controller.
    pub programs: u32,
    /// Stations of the controller.
    pub stations: u32,
    /// Longest run time that can be keyed in \[min\].
    pub run_most_min: f64,
    /// Shortest cycle \[min\].
    pub cycle_least_min: f64,
    /// Shortest rest between cycles \[min\].
    pub soak_least_min: f64,
}

impl Limits {
    /// The limits that are assumed.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> Limits {
        let days = AllowedDays::assumed(assumptions);
        let (from_h, to_h) = (
            assumptions.number(Key::RestrictionClosedFrom),
            assumptions.number(Key::RestrictionClosedTo),
        );
        // Closed hours may run over midnight; equal hours close nothing.
        let closed_h = if to_h >= from_h {
            to_h - from_h
        } else {
            24.0 - from_h + to_h
        };
        Limits {
            days,
            days_per_week: days.per_week(),
            open_min: 60.0 * (24.0 - closed_h),
            opens_min: (60.0 * to_h) % 1_440.0,
            minutes_per_day: assumptions.number(Key::RestrictionMostMinutes),
            exempt_mm_h: assumptions.number(Key::RestrictionLowRateExempt),
            starts: assumptions.number(Key::ControllerStarts).round() as u32,
            programs: assumptions.number(Key::ControllerPrograms).round() as u32,
            stations: assumptions.number(Key::ControllerStations).round() as u32,
            run_most_min: assumptions.number(Key::ControllerMinutesMost),
            cycle_least_min: assumptions.number(Key::ControllerCycleLeast),
            soak_least_min: assumptions.number(Key::ControllerSoakLeast),
        }
    }
}

/// The base programme of one station, and what each month takes of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Schedule {
    /// 0-based month of the largest daily depth, for which the base programme is made.
    pub peak_month: usize,
    /// Watering days a week, the whole year.
    pub days_per_week: f64,
    /// Days between waterings that the root zone bridges in the peak month; 0 when nothing needs to
    /// run.
    pub interval_days: u32,
    /// Run time of a watering day in the peak month before rounding \[min\].
    pub peak_run_min: f64,
    /// Cycles of a watering day; 0 when nothing needs to run.
    pub cycles: u32,
    /// Run time of one cycle, a whole number \[min\].
    pub cycle_min: f64,
    /// Rest between two cycles, a whole number \[min\]; 0 with one cycle.
    pub soak_min: f64,
    /// What to key in for each month, a whole number, at most 100 \[% of the base programme\].
    pub percent: [u32; 12],
    /// Share of the peak need that the limits let through, 0 to 1.
    pub met_frac: f64,
    /// What stands in the way, sorted: `days-short`, `minutes-short`, `runoff-unavoidable`,
    /// `starts-short`.
    pub flags: Vec<&'static str>,
}

impl Schedule {
    fn nothing() -> Schedule {
        Schedule {
            peak_month: 0,
            days_per_week: 0.0,
            interval_days: 0,
            peak_run_min: 0.0,
            cycles: 0,
            cycle_min: 0.0,
            soak_min: 0.0,
            percent: [0; 12],
            met_frac: 1.0,
            flags: Vec::new(),
        }
    }

    /// Run time of a watering day in the peak month \[min\]: the need, as far as the limits let it
    /// through.
    #[must_use]
    pub fn peak_min(&self) -> f64 {
        self.peak_run_min * self.met_frac
    }

    /// Run time of a watering day as keyed in \[min\].
    #[must_use]
    pub fn run_min(&self) -> f64 {
        f64::from(self.cycles) * self.cycle_min
    }
}

/// What a schedule is made for.
#[derive(Debug, Clone, PartialEq)]
pub struct ScheduleInput<'a> {
    /// Demand and losses; its runoff is found here and not read.
    pub demand: DemandInput<'a>,
    /// Mean rate over the turf, before drift.
    pub rate: Rate,
    /// The ground.
    pub ground: Ground,
    /// What the root zone holds.
    pub reservoir: Reservoir,
    /// What is allowed.
    pub limits: Limits,
    /// Largest runoff that lengthens the runs.
    pub runoff_most_frac: f64,
}

/// Which runoff the gross depth is reckoned with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RunoffMethod {
    /// The accumulation table.
    Accumulation,
    /// Green–Ampt.
    GreenAmpt,
}

impl RunoffMethod {
    /// The method that is assumed.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> RunoffMethod {
        match assumptions.choice(Key::SoilRunoffMethod) {
            "green-ampt" => RunoffMethod::GreenAmpt,
            _ => RunoffMethod::Accumulation,
        }
    }
}

impl ScheduleInput<'_> {
    /// The rate at which water reaches the ground.
    fn landing(&self) -> Rate {
        self.rate * (1.0 - self.demand.drift_frac)
    }

    fn split(&self, method: RunoffMethod, each_min: f64, cycles: u32) -> WaterSplit {
        let each = Time::of_s(each_min * 60.0);
        match method {
            RunoffMethod::Accumulation => {
                self.ground.accumulation_split(self.landing(), each, cycles)
            }
            RunoffMethod::GreenAmpt => self.ground.green_ampt_split(self.landing(), each, cycles),
        }
    }

    /// The schedule, and the runoff of each month as a fraction, Green–Ampt first, the
    /// accumulation table second. `method` says which runoff lengthens the runs.
    ///
    /// Run time of a watering day: `60 · G / PR`, with the gross depth G of the days since the
    /// last one. Days follow the root zone's store and the rule; cycles follow the accumulation
    /// table, and more are taken, as far as the controller's starts go, while the Green–Ampt
    /// method still sees more than 1 % run off.
    #[must_use]
    pub fn plan(&self, method: RunoffMethod) -> (Schedule, [f64; 12], [f64; 12]) {
        let mut demand = self.demand.clone();
        demand.runoff_frac = [0.0; 12];
        let mut schedule = Schedule::nothing();
        let (mut green_ampt, mut accumulation) = ([0.0; 12], [0.0; 12]);
        for _ in 0..ROUNDS {
            let water = year(&demand);
            schedule = self.base_programme(&water);
            if schedule.cycles == 0 {
                break;
            }
            for month in 0..12 {
                let run_min = self.run_min(&water, month, schedule.days_per_week);
                let each_min = run_min / f64::from(schedule.cycles);
                let frac = |method| self.split(method, each_min, schedule.cycles).runoff_frac();
                green_ampt[month] = frac(RunoffMethod::GreenAmpt);
                accumulation[month] = frac(RunoffMethod::Accumulation);
            }
            let found = match method {
                RunoffMethod::GreenAmpt => green_ampt,
                RunoffMethod::Accumulation => accumulation,
            };
            let found = found.map(|frac: f64| frac.min(self.runoff_most_frac));
            if found == demand.runoff_frac {
                break;
            }
            demand.runoff_frac = found;
        }
        (schedule, green_ampt, accumulation)
    }

    /// Run time of a watering day in a month \[min\].
    fn run_min(&self, water: &YearWater, month: usize, days_per_week: f64) -> f64 {
        let gross_mm_d = water.months[month].gross_mm / DAYS[month];
        60.0 * gross_mm_d * 7.0 / days_per_week / self.rate.mm_h()
    }

    fn base_programme(&self, water: &YearWater) -> Schedule {
        let daily_mm = |month: usize| water.months[month].gross_mm / DAYS[month];
        let peak_month = (1..12).fold(0, |peak, month| {
            if daily_mm(month) > daily_mm(peak) {
                month
            } else {
                peak
            }
        });
        let peak = &water.months[peak_month];
        let interval = self.reservoir.interval_days(
            peak.etc_mm / DAYS[peak_month],
            peak.effective_rain_mm / DAYS[peak_month],
        );
        let (Some(interval), true) = (interval, self.rate > Rate::ZERO && peak.gross_mm > 0.0)
        else {
            return Schedule::nothing();
        };
        let wanted_days = (7.0 / f64::from(interval)).ceil().clamp(1.0, 7.0);
        let allowed_days = self.limits.days_per_week;
        let mut days_per_week = wanted_days.min(allowed_days);
        // More days make shorter runs: take them while a limit is passed and the rule lets them.
        let mut day = self.watering_day(water, peak_month, days_per_week);
        while !day.flags.is_empty() && days_per_week < allowed_days {
            days_per_week = (days_per_week + 1.0).min(allowed_days);
            day = self.watering_day(water, peak_month, days_per_week);
        }
        let mut flags = day.flags;
        if days_per_week < wanted_days {
            flags.push("days-short");
        }
        flags.sort_unstable();
        let keyed_min = f64::from(day.cycles) * day.cycle_min;
        let percent = std::array::from_fn(|month| {
            let run_min = self
                .run_min(water, month, days_per_week)
                .min(day.allowed_min);
            (100.0 * run_min / keyed_min).round().clamp(0.0, 100.0) as u32
        });
        Schedule {
            peak_month,
            days_per_week,
            interval_days: interval,
            peak_run_min: day.run_min,
            cycles: day.cycles,
            cycle_min: day.cycle_min,
            soak_min: day.soak_min,
            percent,
            met_frac: (day.allowed_min / day.run_min).min(1.0),
            flags,
        }
    }

    /// One watering day of the peak month within the limits.
    fn watering_day(&self, water: &YearWater, month: usize, days_per_week: f64) -> WateringDay {
        let limits = &self.limits;
        let run_min = self.run_min(water, month, days_per_week);
        let mut flags = Vec::new();
        let mut allowed_min = run_min;
        if self.rate.mm_h() > limits.exempt_mm_h && run_min > limits.minutes_per_day {
            flags.push("minutes-short");
            allowed_min = limits.minutes_per_day;
        }
        let longest_min = self.longest_cycle_min();
        if longest_min < 1.0 {
            flags.push("runoff-unavoidable");
        }
        let longest_min = longest_min.floor().max(1.0).min(limits.run_most_min);
        let mut cycles = (allowed_min / longest_min - ROUNDING).ceil().max(1.0) as u32;
        if cycles > limits.starts {
            flags.push("starts-short");
            cycles = limits.starts;
        }
        while cycles < limits.starts
            && allowed_min / f64::from(cycles + 1) >= limits.cycle_least_min
            && self
                .split(
                    RunoffMethod::GreenAmpt,
                    allowed_min / f64::from(cycles),
                    cycles,
                )
                .runoff_frac()
                > GOOD_RUNOFF_FRAC
        {
            cycles += 1;
        }
        let cycle_min = (allowed_min / f64::from(cycles) - ROUNDING)
            .ceil()
            .clamp(1.0, limits.run_most_min);
        let soak_min = if cycles > 1 {
            self.soak_min(cycle_min)
        } else {
            0.0
        };
        let allowed_min = allowed_min.min(f64::from(cycles) * cycle_min);
        WateringDay {
            run_min,
            allowed_min,
            cycles,
            cycle_min,
            soak_min,
            flags,
        }
    }

    /// Longest cycle by the accumulation table \[min\].
    fn longest_cycle_min(&self) -> f64 {
        self.ground
            .accumulation
            .longest_run(self.landing())
            .map_or(f64::INFINITY, |longest| longest.min() + ROUNDING)
    }

    /// The rest after which what stands after one cycle has entered: `(PR − IR) · t / IR`, a
    /// whole number and not below the shortest \[min\].
    fn soak_min(&self, cycle_min: f64) -> f64 {
        let intake = self.ground.accumulation.intake;
        let standing = (self.landing() - intake) * Time::of_s(cycle_min * 60.0);
        let soak_min = if intake > Rate::ZERO {
            (standing / intake).min()
        } else {
            0.0
        };
        (soak_min - ROUNDING)
            .ceil()
            .max(self.limits.soak_least_min.ceil())
    }
}

struct WateringDay {
    /// What the need asks for.
    run_min: f64,
    /// What the limits let through.
    allowed_min: f64,
    cycles: u32,
    cycle_min: f64,
    soak_min: f64,
    flags: Vec<&'static str>,
}

#[cfg(test)]
#[path = "schedule_tests.rs"]
mod tests;
