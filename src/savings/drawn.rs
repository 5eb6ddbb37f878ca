//! The water of a year again, with assumptions as a draw has them.
//!
//! Layout, rain and schedule stay as they are planned: cycles and watering days are keyed in once,
//! and nobody knows the draw. Run times follow the need of the draw month by month, as a clock that
//! follows the need does, as found too. Besides numbers two forms are drawn, alike for all parcels:
//! that of the run-time multiplier and the method of runoff. What a draw changes enters as a difference to the planned water: use
//! in the draw = use as planned + (model with the draw's values − model with the central ones).
//! So draws without width give the planned water exactly, and equal ways differ by exactly 0.
//!
//! Two short cuts make it cheap. Runoff by the accumulation table lengthens the run that causes it;
//! with the run time T₀ before runoff and n cycles, `r = (a − b)/(1 − b)`, `a = 1 − IR/PR`,
//! `b = n ASA/(PR T₀)`, where a > b, else 0: the limit of the plan's rounds, exact. Runoff by
//! ponding of a re-timed clock is read from a table made once for each way; read-off is within
//! 2 % of the water of a month (a test says so). With a daily balance, each month's need is scaled
//! by the ratio that the monthly balance of the year gives.

use super::draws::{COORDINATES, DRAWS, Sample};
use super::runoff_table::RunoffTable;
use super::{ClaimTerms, Terms};
use crate::assumptions::{Assumptions, Key, RANGES, Range, Scope};
use crate::budget::{
    Degradation, Drift, Follows, FoundClock, Hardware, Lawn, MultiplierForm, RunTimeMultiplier,
    RunoffMethod, ScenarioWater,
};
use crate::climate::{DAYS, MonthRain};
use crate::hydraulics::costs::Costs;

/// How many assumptions are drawn.
pub const DRAWN: usize = RANGES.len();
/// Coordinates of the two forms: the last ones, so that no new assumption moves them.
const FORM_AT: usize = COORDINATES - 1;
const METHOD_AT: usize = COORDINATES - 2;
const _: () = assert!(DRAWN <= METHOD_AT, "a coordinate for every one");

/// Share of the draws in which the run-time multiplier has the form that is assumed; each of the
/// other two has half of the rest. Choice of this program: schedulers are taught the blend, one
/// federal budget takes the reciprocal of the low quarter, and nobody has measured which owners
/// follow.
const FORM_KEPT_FRAC: f64 = 0.6;
/// Share of the draws in which runoff is computed by the method that is assumed. Choice of this
/// program: neither method was tested on turf.
const METHOD_KEPT_FRAC: f64 = 0.5;

/// Rounds in which ponding and run time settle where runs follow the runoff by ponding, at most.
const ROUNDS: u32 = 60;
/// Runoff that changes by less is settled.
const SETTLED_FRAC: f64 = 1e-9;

const fn at(key: Key) -> usize {
    let mut place = 0;
    while place < DRAWN {
        if RANGES[place].key as usize == key as usize {
            return place;
        }
        place += 1;
    }
    panic!("it has no range")
}

const ETO: usize = at(Key::ClimateEtoScale);
const RAIN: usize = at(Key::ClimateRainScale);
const COOL: usize = at(Key::PlantFactorCool);
const WARM: usize = at(Key::PlantFactorWarm);
const DRIFT: usize = at(Key::WaterDriftFrac);
const SPRAY_DRIFT: usize = at(Key::WaterDriftSprayExtra);
const RUNOFF_MOST: usize = at(Key::WaterRunoffMost);
const NOZZLE_SPRAY: usize = at(Key::DegradationNozzleSpray);
const NOZZLE_ROTARY: usize = at(Key::DegradationNozzleRotary);
const NOZZLE_ROTOR: usize = at(Key::DegradationNozzleRotor);
const INSTALL: usize = at(Key::DegradationInstall);
const WEAR: usize = at(Key::DegradationWear);
const WEAR_AFTER: usize = at(Key::DegradationWearAfter);
const PRESSURE: usize = at(Key::DegradationPressure);
const REGULATED: usize = at(Key::DegradationRegulated);
const WIND: usize = at(Key::DegradationWind);
const REALISATION: usize = at(Key::SavingsRealisation);
const REALISATION_CLOCK: usize = at(Key::SavingsRealisationClock);
const FREE_RIDERS: usize = at(Key::SavingsFreeRiders);
const DECAY: usize = at(Key::SavingsDecay);
const LIFE: usize = at(Key::SavingsLife);
const MINUTES: usize = at(Key::ClockMinutes);
const CLOCK_DAYS: usize = at(Key::ClockDays);
const OUTDOOR: usize = at(Key::MeterOutdoorScale);
const INTAKE: usize = at(Key::SoilIntakeMultiplier);
const LABOUR: usize = at(Key::CostLabour);
const NOZZLE_MIN: usize = at(Key::CostNozzle);
const BODY_MIN: usize = at(Key::CostBody);
const TRENCH_MIN: usize = at(Key::CostTrench);
const VALVE_MIN: usize = at(Key::CostValve);
const PARTS: usize = at(Key::CostPartsScale);
const BODY_LIFE: usize = at(Key::LivesBody);
const PIPE_LIFE: usize = at(Key::LivesPipe);

/// What is drawn and is no number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Forms {
    /// Form of the run-time multiplier.
    pub multiplier: MultiplierForm,
    /// Which runoff enters volumes.
    pub runoff: RunoffMethod,
}

impl Forms {
    /// The forms that are assumed.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> Forms {
        Forms {
            multiplier: RunTimeMultiplier::assumed(assumptions).form(),
            runoff: RunoffMethod::assumed(assumptions),
        }
    }

    /// The forms of a draw, from two fractions in (0, 1).
    fn drawn(self, by_form: f64, by_method: f64) -> Forms {
        let [one, other] = self.other_multipliers();
        Forms {
            multiplier: if by_form < FORM_KEPT_FRAC {
                self.multiplier
            } else if by_form < (1.0 + FORM_KEPT_FRAC) / 2.0 {
                one
            } else {
                other
            },
            runoff: if by_method < METHOD_KEPT_FRAC {
                self.runoff
            } else {
                self.other_runoff()
            },
        }
    }

    /// The other two forms of the multiplier, the one that waters less first.
    #[must_use]
    pub fn other_multipliers(self) -> [MultiplierForm; 2] {
        match self.multiplier {
            MultiplierForm::Blend => [MultiplierForm::LowHalf, MultiplierForm::LowQuarter],
            MultiplierForm::LowHalf => [MultiplierForm::Blend, MultiplierForm::LowQuarter],
            MultiplierForm::LowQuarter => [MultiplierForm::Blend, MultiplierForm::LowHalf],
        }
    }

    /// The other method of runoff.
    #[must_use]
    pub fn other_runoff(self) -> RunoffMethod {
        match self.runoff {
            RunoffMethod::Accumulation => RunoffMethod::GreenAmpt,
            RunoffMethod::GreenAmpt => RunoffMethod::Accumulation,
        }
    }
}

/// The values of one draw: numbers in the order of [`RANGES`], and forms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Values(pub [f64; DRAWN], pub Forms);

impl Values {
    /// Every value central, every form as assumed.
    #[must_use]
    pub fn central(assumptions: &Assumptions) -> Values {
        let ranges = ranges(assumptions);
        Values(
            ranges.map(|range| range.central),
            Forms::assumed(assumptions),
        )
    }

    /// The value of an assumption in this draw; `None` for one that has no range.
    #[must_use]
    pub fn number(&self, key: Key) -> Option<f64> {
        let place = RANGES.iter().position(|row| row.key == key)?;
        Some(self.0[place])
    }

    /// The use by the method of this draw, from those by the accumulation table and by ponding.
    #[must_use]
    pub fn pick(&self, by_both: [f64; 2]) -> f64 {
        match self.1.runoff {
            RunoffMethod::Accumulation => by_both[0],
            RunoffMethod::GreenAmpt => by_both[1],
        }
    }

    /// The same with other forms.
    #[must_use]
    pub fn with_forms(self, forms: Forms) -> Values {
        Values(self.0, forms)
    }

    /// The same with one value changed.
    #[must_use]
    pub fn with(mut self, place: usize, value: f64) -> Values {
        self.0[place] = value;
        self
    }

    /// What stands between a potential and a claim, in this draw.
    #[must_use]
    pub fn claim_terms(&self, central: &ClaimTerms) -> ClaimTerms {
        ClaimTerms {
            realisation_frac: self.0[REALISATION],
            realisation_clock_frac: self.0[REALISATION_CLOCK],
            free_ridership_frac: self.0[FREE_RIDERS],
            decay_frac_yr: self.0[DECAY],
            life_yr: self.0[LIFE],
            ..*central
        }
    }

    /// What parts and work cost, in this draw.
    #[must_use]
    pub fn costs(&self, central: &Costs) -> Costs {
        Costs {
            parts_scale: self.0[PARTS],
            labour_cur_h: self.0[LABOUR],
            nozzle_min: self.0[NOZZLE_MIN],
            body_min: self.0[BODY_MIN],
            trench_min_m: self.0[TRENCH_MIN],
            valve_min: self.0[VALVE_MIN],
            ..*central
        }
    }

    /// Lives and decay of this draw, rounded to whole years.
    #[must_use]
    pub fn terms(&self, central: &Terms) -> Terms {
        Terms::of(
            [
                f64::from(central.horizon_yr.get()),
                self.0[LIFE],
                self.0[BODY_LIFE],
                self.0[PIPE_LIFE],
            ],
            central.interest_frac_yr,
            self.0[DECAY],
        )
    }

    /// Factor on metered outdoor use.
    #[must_use]
    pub fn outdoor_scale(&self) -> f64 {
        self.0[OUTDOOR]
    }

    fn degradation(&self) -> Degradation {
        Degradation {
            pressure_cv: self.0[PRESSURE],
            pressure_regulated_cv: self.0[REGULATED],
            wind_cv: self.0[WIND],
            nozzle_spray_cv: self.0[NOZZLE_SPRAY],
            nozzle_rotary_cv: self.0[NOZZLE_ROTARY],
            nozzle_rotor_cv: self.0[NOZZLE_ROTOR],
            install_cv: self.0[INSTALL],
            wear_cv: self.0[WEAR],
            wear_after_frac: self.0[WEAR_AFTER],
        }
    }
}

/// The draws of a parcel: what parcels share is drawn alike for every parcel of a run, what is a
/// parcel's own anew. Where ranges have no width (`savings.range_width` 0), forms stay too.
#[must_use]
pub fn draws(assumptions: &Assumptions, seed: u64, parcel_id: &str) -> Vec<Values> {
    let ranges = ranges(assumptions);
    let forms = Forms::assumed(assumptions);
    let with_forms = assumptions.number(Key::SavingsRangeWidth) > 0.0;
    let (common, own) = (Sample::common(seed), Sample::of_parcel(seed, parcel_id));
    let value = |draw: usize, place: usize| {
        let sample = match RANGES[place].scope {
            Scope::Common => &common,
            Scope::Own => &own,
        };
        ranges[place].quantile(sample.frac(draw, place))
    };
    let forms_of = |draw: usize| {
        if with_forms {
            forms.drawn(common.frac(draw, FORM_AT), common.frac(draw, METHOD_AT))
        } else {
            forms
        }
    };
    (0..DRAWS)
        .map(|draw| {
            Values(
                std::array::from_fn(|place| value(draw, place)),
                forms_of(draw),
            )
        })
        .collect()
}

/// The ranges of all drawn assumptions.
#[must_use]
pub fn ranges(assumptions: &Assumptions) -> [Range; DRAWN] {
    std::array::from_fn(|place| assumptions.range(&RANGES[place]))
}

/// One way of watering a turf area.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Way<'w> {
    /// The hardware.
    pub hardware: &'w Hardware,
    /// What decides its drift.
    pub drift: Drift,
    /// Its water as planned.
    pub water: &'w ScenarioWater,
}

/// A turf area with the ways of watering it that are compared, ready for draws.
pub struct DrawnLawn<'a> {
    lawn: &'a Lawn<'a>,
    clock: &'a FoundClock,
    central: Values,
    /// Place of the plant factor in the values.
    plant: usize,
    rain: [MonthRain; 12],
    /// Need of the year by the monthly balance, all central \[mm\].
    monthly_mm: f64,
    ways: Vec<DrawnWay<'a>>,
}

struct DrawnWay<'a> {
    way: Way<'a>,
    /// Use as planned less the model's, by the accumulation table and by ponding \[m³/yr\].
    beside_m3: [f64; 2],
    /// Run time of a watering day for a gross depth of the month \[h/mm\]; 0 where nothing is
    /// scheduled.
    h_per_mm: [f64; 12],
    /// Cycles or starts of a watering day.
    cycles: u32,
    /// Whether its watering days are those of the clock as found, which are drawn.
    on_found_days: bool,
    /// Runoff by ponding where run times follow the need; `None` where nothing can pond.
    ponding: Option<RunoffTable>,
}

impl<'a> DrawnLawn<'a> {
    /// Makes a turf area ready. `plant` is the assumption that its plant factors are proportional
    /// to; ways without a schedule run the clock as found.
    #[must_use]
    pub fn new(
        lawn: &'a Lawn<'a>,
        clock: &'a FoundClock,
        plant: Key,
        assumptions: &Assumptions,
        ways: &[Way<'a>],
    ) -> DrawnLawn<'a> {
        let demand = &lawn.demand;
        let ranges = &ranges(assumptions);
        let mut drawn = DrawnLawn {
            lawn,
            clock,
            central: Values::central(assumptions),
            plant: if plant == Key::PlantFactorWarm {
                WARM
            } else {
                COOL
            },
            rain: std::array::from_fn(|month| {
                let rain_mm = demand.climate.months[month].rain_mm;
                demand.effective_rain.of_rain(rain_mm, demand.storage_mm)
            }),
            monthly_mm: 0.0,
            ways: Vec::with_capacity(ways.len()),
        };
        drawn.monthly_mm = drawn.monthly_net_mm(&drawn.central).iter().sum();
        let net_mm = drawn.net_mm(&drawn.central);
        let driest = drawn.driest(ranges, assumptions);
        let most_net_mm = drawn.net_mm(&driest);
        for &way in ways {
            let mut own = DrawnWay {
                way,
                beside_m3: [0.0; 2],
                h_per_mm: h_per_mm(&way),
                cycles: match (&way.water.schedule, &way.water.found) {
                    (Some(schedule), _) => schedule.cycles.max(1),
                    (None, Some(runs)) => (runs.starts as u32).max(1),
                    (None, None) => 1,
                },
                on_found_days: way.water.schedule.is_none(),
                ponding: None,
            };
            own.ponding = drawn.ponding(&own, ranges, &driest, &most_net_mm);
            let model = drawn.model_m3(&own, &drawn.central, &net_mm);
            let planned = [
                way.water.by_accumulation.use_m3_yr,
                way.water.by_green_ampt.use_m3_yr,
            ];
            own.beside_m3 = std::array::from_fn(|method| planned[method] - model[method]);
            drawn.ways.push(own);
        }
        drawn
    }

    /// Use of each way in a draw, by the accumulation table and by ponding \[m³/yr\], with the net
    /// depths of [`DrawnLawn::net_mm`].
    pub fn uses_m3<'s>(
        &'s self,
        values: &'s Values,
        net_mm: &'s [f64; 12],
    ) -> impl Iterator<Item = [f64; 2]> + 's {
        let is_central = *values == self.central;
        self.ways.iter().map(move |own| {
            if is_central {
                let water = own.way.water;
                return [
                    water.by_accumulation.use_m3_yr,
                    water.by_green_ampt.use_m3_yr,
                ];
            }
            let model = self.model_m3(own, values, net_mm);
            std::array::from_fn(|method| own.beside_m3[method] + model[method])
        })
    }

    /// Whether another turf area needs the same depths in every draw.
    #[must_use]
    pub fn needs_like(&self, other: &DrawnLawn<'_>) -> bool {
        let (one, two) = (&self.lawn.demand, &other.lawn.demand);
        self.plant == other.plant
            && one.plants == two.plants
            && self.rain == other.rain
            && one.daily_net_mm == two.daily_net_mm
            && std::ptr::eq(one.climate, two.climate)
    }

    /// Net depth of the months in a draw \[mm\].
    #[must_use]
    pub fn net_mm(&self, values: &Values) -> [f64; 12] {
        match &self.lawn.demand.daily_net_mm {
            None => self.monthly_net_mm(values),
            Some(daily_mm) => {
                let monthly_mm: f64 = self.monthly_net_mm(values).iter().sum();
                let ratio = if self.monthly_mm > 0.0 {
                    monthly_mm / self.monthly_mm
                } else {
                    1.0
                };
                daily_mm.map(|mm| mm.max(0.0) * ratio)
            }
        }
    }

    fn monthly_net_mm(&self, values: &Values) -> [f64; 12] {
        let demand = &self.lawn.demand;
        let plant = values.0[self.plant] / self.central.0[self.plant] * values.0[ETO];
        std::array::from_fn(|month| {
            let etc_mm = demand.climate.months[month].eto_mm * demand.plants.0[month] * plant;
            let rain = self.rain[month].scaled(values.0[RAIN]);
            (etc_mm - rain.effective_mm(etc_mm)).max(0.0)
        })
    }

    /// The draw in which runs are longest.
    fn driest(&self, ranges: &[Range; DRAWN], assumptions: &Assumptions) -> Values {
        let mut values = Values(ranges.map(|range| range.high), self.central.1);
        values.0[RAIN] = ranges[RAIN].low;
        values.0[CLOCK_DAYS] = ranges[CLOCK_DAYS].low;
        if assumptions.number(Key::SavingsRangeWidth) > 0.0 {
            values.1.multiplier = MultiplierForm::LowQuarter; // never less than the others
        }
        values
    }

    /// Factor on the run time of a watering day where the days of the clock as found differ.
    fn by_days(&self, own: &DrawnWay<'_>, values: &Values) -> f64 {
        if !own.on_found_days {
            return 1.0;
        }
        let days = |values: &Values| {
            let clock = FoundClock {
                days_per_week: values.0[CLOCK_DAYS],
                ..*self.clock
            };
            clock.days_to_need()
        };
        days(&self.central) / days(values)
    }

    /// Whether a way follows the need, so that its run times do.
    fn follows_need(&self, own: &DrawnWay<'_>) -> bool {
        !own.on_found_days || self.clock.follows == Follows::Need
    }

    fn ponding(
        &self,
        own: &DrawnWay<'_>,
        ranges: &[Range; DRAWN],
        driest: &Values,
        most_net_mm: &[f64; 12],
    ) -> Option<RunoffTable> {
        if !self.follows_need(own) {
            return None;
        }
        let hardware = own.way.hardware;
        let lost = |values: &Values| self.lost_frac(&own.way, values);
        let landing = hardware.rate * (1.0 - lost(&self.central));
        // Longest cycle, runoff at its most; the fastest landing and the tightest soil.
        let calmest = Values(ranges.map(|range| range.low), self.central.1);
        let fastest = hardware.rate * (1.0 - lost(&calmest));
        let unlost = self.multiplier(&own.way, driest) / (1.0 - lost(driest));
        let longest_h = (0..12)
            .map(|month| own.h_per_mm[month] * most_net_mm[month] * unlost)
            .fold(0.0, f64::max)
            * self.by_days(own, driest)
            / (1.0 - driest.0[RUNOFF_MOST]);
        let deepest_mm = fastest.mm_h() * longest_h / f64::from(own.cycles);
        let slowest = hardware.rate * (1.0 - lost(driest));
        let intake =
            |place_of: fn(&Range) -> f64| place_of(&ranges[INTAKE]) / self.central.0[INTAKE];
        let ratios = (
            intake(|range| range.low) * (landing / fastest),
            intake(|range| range.high) * (landing / slowest),
        );
        RunoffTable::new(&self.lawn.ground, landing, own.cycles, ratios, deepest_mm)
    }

    fn lost_frac(&self, way: &Way<'_>, values: &Values) -> f64 {
        let drift = way.drift.frac(values.0[DRIFT], values.0[SPRAY_DRIFT]);
        Hardware {
            drift_frac: drift,
            ..*way.hardware
        }
        .lost_frac()
    }

    fn multiplier(&self, way: &Way<'_>, values: &Values) -> f64 {
        let hardware = way.hardware;
        let du = values.degradation().du_lq_field(
            hardware.cv_served(),
            hardware.nozzle,
            hardware.regulation,
            hardware.condition,
            &self.lawn.computed,
        );
        let multiplier = self.lawn.demand.multiplier;
        multiplier.with_form(values.1.multiplier).of(du)
    }

    fn model_m3(&self, own: &DrawnWay<'_>, values: &Values, net_mm: &[f64; 12]) -> [f64; 2] {
        let hardware = own.way.hardware;
        let lost_frac = self.lost_frac(&own.way, values);
        let landing = hardware.rate * (1.0 - lost_frac);
        let to_m3 = self.lawn.demand.area_m2 / 1_000.0 / (1.0 - hardware.over_frac);
        if !self.follows_need(own) {
            let clock = FoundClock {
                minutes: values.0[MINUTES],
                days_per_week: values.0[CLOCK_DAYS],
                ..*self.clock
            };
            let sent_mm: f64 = clock.as_set().gross_mm(hardware.rate).iter().sum();
            return [sent_mm * to_m3; 2];
        }
        let unlost = self.multiplier(&own.way, values) / (1.0 - lost_frac);
        let most = values.0[RUNOFF_MOST];
        let intake = values.0[INTAKE] / self.central.0[INTAKE];
        let ground = &self.lawn.ground;
        let day = WateringDay {
            landing_mm_h: landing.mm_h(),
            cycles: f64::from(own.cycles),
            most,
            intake_mm_h: (ground.accumulation.intake * intake).mm_h(),
            allowable_mm: ground.accumulation.allowable.mm(),
        };
        // The soil of the table against the landing rate of the table.
        let log_ratio = own
            .ponding
            .as_ref()
            .map_or(0.0, |table| libm::log(intake * (table.landing() / landing)));
        let by_days = self.by_days(own, values);
        let mut gross_mm = [0.0; 2];
        for (month, &net_mm) in net_mm.iter().enumerate() {
            if net_mm <= 0.0 {
                continue;
            }
            let before_mm = net_mm * unlost;
            let before_h = own.h_per_mm[month] * before_mm * by_days;
            let ponding = |run_h: f64| match &own.ponding {
                Some(table) => table
                    .frac(log_ratio, day.landing_mm_h * run_h / day.cycles)
                    .min(most),
                None => 0.0,
            };
            let by_both = day.runoff(self.lawn.method, before_h, ponding);
            for (sum, runoff) in gross_mm.iter_mut().zip(by_both) {
                *sum += before_mm / (1.0 - runoff);
            }
        }
        gross_mm.map(|mm| mm * to_m3)
    }
}

fn h_per_mm(way: &Way<'_>) -> [f64; 12] {
    let days_per_week = match (&way.water.schedule, &way.water.found) {
        (Some(schedule), _) if schedule.cycles > 0 => schedule.days_per_week,
        (None, Some(runs)) => runs.days_per_week.max(1.0),
        _ => return [0.0; 12],
    };
    let per_day = 7.0 / days_per_week / way.hardware.rate.mm_h();
    DAYS.map(|days| per_day / days)
}

/// A watering day of a clock that follows the need.
struct WateringDay {
    landing_mm_h: f64,
    cycles: f64,
    /// Largest runoff that lengthens runs.
    most: f64,
    intake_mm_h: f64,
    allowable_mm: f64,
}

impl WateringDay {
    /// Runoff by the accumulation table and by ponding, from the run time before runoff \[h\].
    fn runoff(
        &self,
        method: RunoffMethod,
        before_h: f64,
        ponding: impl Fn(f64) -> f64,
    ) -> [f64; 2] {
        if before_h <= 0.0 {
            return [0.0; 2];
        }
        match method {
            RunoffMethod::Accumulation => {
                let standing = 1.0 - self.intake_mm_h / self.landing_mm_h;
                let held = self.allowable_mm * self.cycles / (self.landing_mm_h * before_h);
                let runoff = if standing > held {
                    ((standing - held) / (1.0 - held)).min(self.most)
                } else {
                    0.0
                };
                [runoff, ponding(before_h / (1.0 - runoff))]
            }
            RunoffMethod::GreenAmpt => {
                let mut runoff = 0.0;
                for _ in 0..ROUNDS {
                    let next = ponding(before_h / (1.0 - runoff));
                    let is_settled = (next - runoff).abs() < SETTLED_FRAC;
                    runoff = next;
                    if is_settled {
                        break;
                    }
                }
                let run_h = before_h / (1.0 - runoff);
                let standing_mm = (self.landing_mm_h - self.intake_mm_h) * run_h;
                let lost_mm = (standing_mm - self.allowable_mm * self.cycles).max(0.0);
                let by_table = lost_mm / (self.landing_mm_h * run_h);
                [by_table.min(self.most), runoff]
            }
        }
    }
}
