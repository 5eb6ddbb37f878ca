//! One turf area with one set of hardware: as found, or with the right schedule.

use super::{
    Cause, Condition, Degradation, DemandInput, Follows, FoundClock, FoundRuns, Limits,
    NozzleScatter, Regulation, RunoffMethod, Schedule, ScheduleInput, YearWater, year,
};
use crate::assumptions::{Assumptions, Key};
use crate::climate::YearClimate;
use crate::site::TurfArea;
use crate::soil::{Ground, Reservoir, Texture};
use crate::units::{Rate, Time};

/// Runoff lengthens the run that causes it; so many rounds at most settle the two as found.
const FOUND_ROUNDS: u32 = 200;
/// Runoff that changes by less is settled: a litre in a thousand million.
const SETTLED_FRAC: f64 = 1e-12;

/// What is in the ground, or would be, as far as water is concerned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hardware {
    /// Mean rate over the turf, before drift.
    pub rate: Rate,
    /// Coefficient of variation of the drawn rain (population).
    pub cv_drawn: f64,
    /// Share of the flow that lands outside the turf.
    pub over_frac: f64,
    /// Share lost to drift and evaporation.
    pub drift_frac: f64,
    /// What unequal pressures add to the squared coefficient of variation of the drawing, where
    /// they were computed from a reading; 0 where they were not. Below 0 where they happen to
    /// even the rain out.
    pub pressure_cv2: f64,
    /// Share lost as mist by too much pressure, where pressures were computed from a reading.
    pub mist_frac: f64,
    /// How uneven its nozzles are beyond the drawing.
    pub nozzle: NozzleScatter,
    /// Whether bodies regulate.
    pub regulation: Regulation,
    /// As found or renewed.
    pub condition: Condition,
}

impl Hardware {
    /// Coefficient of variation of the rain with the pressures that were computed.
    #[must_use]
    pub fn cv_served(&self) -> f64 {
        if self.pressure_cv2 == 0.0 {
            return self.cv_drawn;
        }
        (self.cv_drawn * self.cv_drawn + self.pressure_cv2)
            .max(0.0)
            .sqrt()
    }

    /// Share that never reaches the turf: drift and evaporation, and of the rest the mist.
    #[must_use]
    pub fn lost_frac(&self) -> f64 {
        if self.mist_frac == 0.0 {
            return self.drift_frac;
        }
        1.0 - (1.0 - self.drift_frac) * (1.0 - self.mist_frac)
    }
}

/// A turf area with its sky, soil and rules: what every scenario on it shares.
#[derive(Debug, Clone, PartialEq)]
pub struct Lawn<'a> {
    /// Demand without losses.
    pub demand: DemandInput<'a>,
    /// The ground.
    pub ground: Ground,
    /// What the root zone holds.
    pub reservoir: Reservoir,
    /// What is allowed.
    pub limits: Limits,
    /// From the drawing to the field.
    pub degradation: Degradation,
    /// Causes that the rain fields of *all* scenarios already contain.
    pub computed: Vec<Cause>,
    /// Which runoff enters the reported volumes.
    pub method: RunoffMethod,
    /// Largest runoff that enters volumes; the same on every side of a comparison.
    pub runoff_most_frac: f64,
}

/// The water of a turf area in one scenario, with the runoff of both methods.
#[derive(Debug, Clone, PartialEq)]
pub struct ScenarioWater {
    /// Uniformity to expect in the field.
    pub du_lq_field: f64,
    /// The year, with runoff by the accumulation table.
    pub by_accumulation: YearWater,
    /// The year, with runoff by Green–Ampt.
    pub by_green_ampt: YearWater,
    /// Runoff of each month by the accumulation table, as a fraction of what lands on the turf.
    pub runoff_accumulation: [f64; 12],
    /// The same by Green–Ampt.
    pub runoff_green_ampt: [f64; 12],
    /// Which of the two is reported.
    pub method: RunoffMethod,
    /// The schedule; `None` as found.
    pub schedule: Option<Schedule>,
    /// The runs as found; `None` where a schedule takes their place.
    pub found: Option<FoundRuns>,
}

impl ScenarioWater {
    /// The year that is reported.
    #[must_use]
    pub fn year(&self) -> &YearWater {
        match self.method {
            RunoffMethod::Accumulation => &self.by_accumulation,
            RunoffMethod::GreenAmpt => &self.by_green_ampt,
        }
    }

    /// The runoff of the months that is reported.
    #[must_use]
    pub fn runoff(&self) -> &[f64; 12] {
        match self.method {
            RunoffMethod::Accumulation => &self.runoff_accumulation,
            RunoffMethod::GreenAmpt => &self.runoff_green_ampt,
        }
    }

    /// Runoff of the year by the method that is reported, as a fraction of what lands on the turf.
    #[must_use]
    pub fn runoff_reported_frac(&self) -> f64 {
        mean_runoff(self.year(), self.runoff())
    }

    /// Runoff of the year by the accumulation table, as a fraction of what lands on the turf.
    #[must_use]
    pub fn runoff_accumulation_frac(&self) -> f64 {
        mean_runoff(&self.by_accumulation, &self.runoff_accumulation)
    }

    /// The same by Green–Ampt.
    #[must_use]
    pub fn runoff_green_ampt_frac(&self) -> f64 {
        mean_runoff(&self.by_green_ampt, &self.runoff_green_ampt)
    }
}

/// Drift takes the same share of every month, so gross depths weigh the months.
fn mean_runoff(year: &YearWater, runoff: &[f64; 12]) -> f64 {
    if year.gross_mm_yr <= 0.0 {
        return 0.0;
    }
    let lost: f64 = year
        .months
        .iter()
        .zip(runoff)
        .map(|(month, r)| month.gross_mm * r)
        .sum();
    lost / year.gross_mm_yr
}

impl<'a> Lawn<'a> {
    /// The lawn that is assumed for a turf area.
    #[must_use]
    pub fn assumed(
        assumptions: &Assumptions,
        climate: &'a YearClimate,
        turf: &TurfArea,
        texture: Texture,
        slope_pct: f64,
        area_m2: f64,
    ) -> Lawn<'a> {
        Lawn {
            demand: DemandInput::assumed(assumptions, climate, turf, texture, area_m2),
            ground: Ground::assumed(assumptions, texture, slope_pct),
            reservoir: Reservoir::assumed(assumptions, texture),
            limits: Limits::assumed(assumptions),
            degradation: Degradation::assumed(assumptions),
            computed: Vec::new(),
            method: RunoffMethod::assumed(assumptions),
            runoff_most_frac: assumptions.number(Key::WaterRunoffMost),
        }
    }

    /// Uniformity to expect of the hardware in the field.
    #[must_use]
    pub fn du_lq_field(&self, hardware: &Hardware) -> f64 {
        self.degradation.du_lq_field(
            hardware.cv_served(),
            hardware.nozzle,
            hardware.regulation,
            hardware.condition,
            &self.computed,
        )
    }

    /// Demand with the losses of the hardware and a runoff by months.
    #[must_use]
    pub fn demand_with(&self, hardware: &Hardware, runoff_frac: [f64; 12]) -> DemandInput<'a> {
        DemandInput {
            du_lq_field: self.du_lq_field(hardware),
            drift_frac: hardware.lost_frac(),
            over_frac: hardware.over_frac,
            runoff_frac: runoff_frac.map(|frac| frac.min(self.runoff_most_frac)),
            ..self.demand.clone()
        }
    }

    /// The hardware with the clock as it was found, in one state: depths, minutes and runoff belong
    /// together, `depth = rate × minutes × events`.
    ///
    /// Where the owner waters to need, the minutes are those that bring the need, the runoff that
    /// they cause included; where the clock steers, depth and runoff follow its minutes. Starts are
    /// taken to lie hours apart.
    #[must_use]
    pub fn as_found(&self, hardware: &Hardware, clock: &FoundClock) -> ScenarioWater {
        let to_need = |runoff_frac| year(&self.demand_with(hardware, runoff_frac));
        let (runs, sent) = match clock.follows {
            Follows::Clock => {
                let runs = clock.as_set();
                (runs, Some(runs.gross_mm(hardware.rate)))
            }
            Follows::Need => {
                let runs_of = |water: &YearWater| {
                    let gross_mm = water.months.map(|month| month.gross_mm);
                    clock.runs_for(&gross_mm, hardware.rate)
                };
                let mut runoff = [0.0; 12];
                let mut runs = runs_of(&to_need(runoff));
                for _ in 0..FOUND_ROUNDS {
                    let next = self.runoff_of(self.method, hardware, &runs);
                    let moved = next.iter().zip(&runoff).map(|(a, b)| (a - b).abs());
                    let is_settled = moved.fold(0.0, f64::max) < SETTLED_FRAC;
                    runoff = next;
                    runs = runs_of(&to_need(runoff));
                    if is_settled {
                        break;
                    }
                }
                (runs, None)
            }
        };
        let accumulation = self.runoff_of(RunoffMethod::Accumulation, hardware, &runs);
        let green_ampt = self.runoff_of(RunoffMethod::GreenAmpt, hardware, &runs);
        let of = |runoff| match &sent {
            Some(gross_mm) => {
                to_need(runoff).with_gross(gross_mm, &self.demand_with(hardware, runoff))
            }
            None => to_need(runoff),
        };
        ScenarioWater {
            du_lq_field: self.du_lq_field(hardware),
            by_accumulation: of(accumulation),
            by_green_ampt: of(green_ampt),
            runoff_accumulation: accumulation,
            runoff_green_ampt: green_ampt,
            method: self.method,
            schedule: None,
            found: Some(runs),
        }
    }

    /// Runoff of the months by a method, for the runs of a clock as found.
    fn runoff_of(&self, method: RunoffMethod, hardware: &Hardware, runs: &FoundRuns) -> [f64; 12] {
        let landing = hardware.rate * (1.0 - hardware.lost_frac());
        let starts = runs.starts as u32;
        let of = |min: f64| {
            let each = Time::of_s(min * 60.0);
            match method {
                RunoffMethod::Accumulation => self.ground.accumulation_split(landing, each, starts),
                RunoffMethod::GreenAmpt => self.ground.green_ampt_split(landing, each, starts),
            }
            .runoff_frac()
        };
        runs.start_min.map(of)
    }

    /// Whether the largest runoff that enters volumes binds in some month.
    #[must_use]
    pub fn is_runoff_capped(&self, water: &ScenarioWater) -> bool {
        let mut runoff = water.runoff().iter().zip(&water.year().months);
        runoff.any(|(frac, month)| month.gross_mm > 0.0 && *frac > self.runoff_most_frac)
    }

    /// The hardware with the clock re-timed to need: whole cycles, soaks, and a percentage line.
    /// With the hardware as found this is the scenario `reclock`.
    #[must_use]
    pub fn retimed(&self, hardware: &Hardware) -> ScenarioWater {
        let input = ScheduleInput {
            demand: self.demand_with(hardware, [0.0; 12]),
            rate: hardware.rate,
            ground: self.ground,
            reservoir: self.reservoir,
            limits: self.limits,
            runoff_most_frac: self.runoff_most_frac,
        };
        let (schedule, green_ampt, accumulation) = input.plan(self.method);
        ScenarioWater {
            du_lq_field: input.demand.du_lq_field,
            by_accumulation: year(&self.demand_with(hardware, accumulation)),
            by_green_ampt: year(&self.demand_with(hardware, green_ampt)),
            runoff_accumulation: accumulation,
            runoff_green_ampt: green_ampt,
            method: self.method,
            schedule: Some(schedule),
            found: None,
        }
    }
}
