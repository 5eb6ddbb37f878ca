//! One turf area: its ground, its sky, and the water of a year in every scenario on it.

use super::super::found::OnTurf;
use super::super::kept::SWAP_GAP;
use super::super::outcome::{
    Behaviours, Bodies, Fit, GroundUse, Scenario, ScenarioPlan, SkyUse, YearUse,
};
use super::super::{Delivered, Planner, STRETCHED, Site};
use super::{
    ABOVE_EVIDENCE, CLIMATE_ASSUMED, CLOCK_ASSUMED, DEFICIT, DRIFT_PROXY, NOT_OBSERVABLE,
    RUNOFF_CAPPED, SLOPE_ASSUMED, SOIL_ASSUMED, STEEP, TOO_FAST, ZONE_ASSUMED,
};
use crate::assumptions::{Assumptions, Key, Origin};
use crate::budget::{
    Cause, Condition, DaySky, Drift, DriftMethod, Follows, FoundClock, Hardware, Jet, JetKind,
    Lawn, NozzleScatter, PlantFactors, Regulation, ScenarioWater, Spacing, daily_balance,
    orifice_mm, refused_on_slope,
};
use crate::catalogue::Family;
use crate::climate::{DayClimate, Zone, ZoneOf};
use crate::savings::{
    After, Behaviour, ClaimTerms, Counterfactual, Outcome, Saving, Side, Uses, attribute, outcome,
};
use crate::site::{Soil, Terrain, Texture};
use crate::units::{Flow, Rate};

/// Water that lands outside may not take all of it.
const MOST_OVER_FRAC: f64 = 0.95;
/// A need is met from this share on: rounding of run times may take the rest.
const MET_FRAC: f64 = 0.999;

/// The as-found hardware again, for a right schedule: the scenario `reclock`.
pub(in crate::plan) fn reclocked(found: &ScenarioPlan) -> ScenarioPlan {
    ScenarioPlan {
        scenario: Scenario::Reclock,
        ..found.clone()
    }
}

/// A turf area with what is known of it.
struct Area<'a> {
    assumptions: &'a Assumptions,
    lawn: Lawn<'a>,
    clock: FoundClock,
    terms: ClaimTerms,
    /// Slope that decides whether a rate is refused \[%\].
    steepest_pct: f64,
    flags: Vec<&'static str>,
    /// Whether the bodies in the ground regulate.
    found_bodies: Regulation,
    /// Whether the pressures of all scenarios rest on a reading.
    pressures_read: bool,
    /// Whether the rain of all scenarios was computed in wind.
    wind_computed: bool,
}

/// Hardware with its water, what decides its drift, and what the owner does with the clock.
#[derive(Clone)]
pub(super) struct Watered {
    /// What waters.
    pub(super) hardware: Hardware,
    /// Its water of a year.
    pub(super) water: ScenarioWater,
    /// What decides its drift.
    pub(super) drift: Drift,
    /// What the behaviour that is assumed makes of its use.
    pub(super) after: After,
}

impl Watered {
    fn use_m3_yr(&self) -> f64 {
        self.water.year().use_m3_yr
    }
}

/// What can be had without new nozzles.
pub(super) struct Without {
    /// As found.
    pub(super) found: Watered,
    /// With a right schedule; `None` where that is refused, or where the owner leaves the clock
    /// alone.
    pub(super) reclock: Option<Watered>,
    /// Repaired; `None` where that is refused or nothing is there to repair.
    pub(super) repair: Option<Watered>,
    /// Whether what a schedule takes can be observed.
    pub(super) clock_observed: bool,
}

impl Without {
    /// The uses that a change to `with` is compared with \[m³/yr\], as planned.
    pub(super) fn uses(&self, with: &ScenarioWater, after: After) -> Uses {
        let found = self.found.use_m3_yr();
        let of = |watered: &Watered| watered.after.use_m3_yr(found, watered.use_m3_yr());
        Uses {
            found_m3_yr: found,
            reclock_m3_yr: self.reclock.as_ref().map(of),
            repair_m3_yr: self.repair.as_ref().map(of),
            clock_observed: self.clock_observed,
            with_m3_yr: after.use_m3_yr(found, with.year().use_m3_yr),
        }
    }
}

/// What the water of a turf area rests on.
pub(in crate::plan) struct Ways<'a> {
    /// The turf area.
    pub(super) lawn: Lawn<'a>,
    /// The clock as found.
    pub(super) clock: FoundClock,
    /// The days of its climate; empty where only months are known.
    pub(super) days: &'a [DayClimate],
    /// The assumption that its plant factors are proportional to.
    pub(super) plant: Key,
    /// What can be had without new nozzles; `None` where nothing stands for what is in the ground.
    pub(super) without: Option<Without>,
}

/// Reckons the water of every scenario of a turf area, all of it: what a layout leaves to drip
/// is taken to need the same depth. Adds what follows to its flags, and says
/// what the ground and the sky of the area were taken to be.
pub(in crate::plan) fn settle<'a>(
    planner: &'a Planner,
    site: &Site<'a>,
    scenarios: &mut [ScenarioPlan],
) -> (GroundUse, Ways<'a>) {
    let land = &site.turf.land;
    let zone = planner.climates.of(land.climate_zone.as_deref());
    let mut flags = Vec::new();
    if planner.climates.is_assumed() {
        flags.push(CLIMATE_ASSUMED);
    }
    if matches!(zone, ZoneOf::First(_)) {
        flags.push(ZONE_ASSUMED);
    }
    let measured = |key: Key| site.assumptions.origin(key) == Origin::Parcel;
    if land.soil.is_none() && !measured(Key::SoilTexture) {
        flags.push(SOIL_ASSUMED);
    }
    if land.terrain.is_none() && !measured(Key::SoilSlope) {
        flags.push(SLOPE_ASSUMED);
    }
    let terrain = land.terrain.unwrap_or(Terrain {
        slope_pct: site.assumptions.number(Key::SoilSlope),
        slope_p90_pct: site.assumptions.number(Key::SoilSlope),
        aspect_deg: None,
    });
    if !FoundClock::assumed(site.assumptions).known {
        flags.push(CLOCK_ASSUMED);
    }
    if terrain.slope_p90_pct > site.assumptions.number(Key::OrdinanceSteepSlope) {
        flags.push(STEEP);
    }
    let mut area = Area::of(site, zone.zone(), land.soil, terrain, flags);
    // Pressures that rest on a reading take the place of what is assumed, on both sides.
    let is_read = |plan: &ScenarioPlan| {
        plan.heads.is_empty() || plan.delivered.as_ref().is_some_and(|got| got.is_read)
    };
    if scenarios.iter().all(is_read) {
        area.lawn.computed.push(Cause::Pressure);
        area.pressures_read = true;
    }
    // So does wind that was computed.
    let has_wind = |plan: &ScenarioPlan| plan.heads.is_empty() || plan.in_wind.is_some();
    if site.assumptions.choice(Key::PlaceWind) != "none" && scenarios.iter().all(has_wind) {
        area.lawn.computed.push(Cause::Wind);
        area.wind_computed = true;
    }
    let without = area.reckon(planner, scenarios);
    let ground = GroundUse {
        texture: area.lawn.ground.texture,
        intake_mm_h: area.lawn.ground.accumulation.intake.mm_h(),
        slope_pct: terrain.slope_pct,
        slope_p90_pct: land.terrain.map(|known| known.slope_p90_pct),
        aspect_deg: terrain.aspect_deg,
        sky: sky(zone.zone(), &area.lawn),
    };
    let ways = Ways {
        lawn: area.lawn,
        clock: area.clock,
        days: &zone.zone().days,
        plant: PlantFactors::key(site.assumptions, site.turf.grass),
        without,
    };
    (ground, ways)
}

fn sky(zone: &Zone, lawn: &Lawn<'_>) -> SkyUse {
    let year = &zone.year;
    let peak = &year.months[year.peak_month()];
    let factors = &lawn.demand.plants.0;
    let etc_mm: f64 = year
        .months
        .iter()
        .zip(factors)
        .map(|(month, factor)| month.eto_mm * factor)
        .sum();
    let eto_mm_yr = year.eto_mm_yr();
    SkyUse {
        zone: year.name.clone(),
        eto_mm_yr,
        rain_mm_yr: year.rain_mm_yr(),
        peak_eto_mm: peak.eto_mm,
        peak_rain_mm: peak.rain_mm,
        plant_factor: if eto_mm_yr > 0.0 {
            etc_mm / eto_mm_yr
        } else {
            factors.iter().sum::<f64>() / 12.0
        },
        peak_plant_factor: factors[year.peak_month()],
    }
}

impl<'a> Area<'a> {
    fn of(
        site: &Site<'a>,
        zone: &'a Zone,
        soil: Option<Soil>,
        terrain: Terrain,
        flags: Vec<&'static str>,
    ) -> Area<'a> {
        let assumptions = site.assumptions;
        let texture = soil.map_or_else(|| Texture::assumed(assumptions), |soil| soil.texture);
        let mut lawn = Lawn::assumed(
            assumptions,
            &zone.year,
            site.turf,
            texture,
            terrain.slope_pct,
            site.outline.area_m2(),
        );
        if let Some(intake_mm_h) = soil.and_then(|soil| soil.intake_mm_h) {
            let intake = Rate::of_m_s(intake_mm_h / 3.6e6);
            lawn.ground = lawn.ground.with_intake(intake);
        }
        if assumptions.choice(Key::BudgetBalance) == "daily" && !zone.days.is_empty() {
            let scaled = |day: DaySky| DaySky {
                eto_mm: day.eto_mm * lawn.demand.eto_scale,
                ..day
            };
            let days = zone.days.iter().filter_map(DaySky::of_climate);
            let days: Vec<DaySky> = days.map(scaled).collect();
            let balance = daily_balance(&days, &lawn.demand.plants, &lawn.reservoir);
            lawn.demand.daily_net_mm = Some(balance.net_mm);
        }
        Area {
            assumptions,
            found_bodies: site
                .found
                .as_ref()
                .map_or(Regulation::Unregulated, OnTurf::regulation),
            pressures_read: false,
            wind_computed: false,
            lawn,
            clock: FoundClock::assumed(assumptions),
            terms: ClaimTerms::assumed(assumptions),
            steepest_pct: terrain.slope_p90_pct,
            flags,
        }
    }

    /// The water of every scenario, then what each saves beside the others; gives back what can be
    /// had without new nozzles.
    fn reckon(&self, planner: &Planner, scenarios: &mut [ScenarioPlan]) -> Option<Without> {
        let mut waters: Vec<Option<Watered>> = scenarios
            .iter()
            .map(|plan| {
                let family = planner.catalogue.family(&plan.family)?;
                let (hardware, drift) = self.hardware(family, plan)?;
                Some(Watered {
                    hardware,
                    water: self.water(&plan.scenario, &hardware),
                    drift,
                    after: After::RETIMED,
                })
            })
            .collect();
        let row = |wanted: &Scenario| scenarios.iter().position(|plan| plan.scenario == *wanted);
        let found = row(&Scenario::AsFound).and_then(|row| waters[row].clone());
        if let Some(found) = &found {
            for (plan, own) in scenarios.iter().zip(&mut waters) {
                if let (true, Some(own)) = (plan.scenario.changes_hardware(), own) {
                    own.after = self.after(found, own);
                }
            }
        }
        let without = found.map(|found| {
            let retimes = Behaviour::assumed(self.assumptions) == Behaviour::Retimed;
            let planned = row(&Scenario::Reclock).and_then(|row| waters[row].clone());
            let reclock = planned.unwrap_or_else(|| Watered {
                water: self.lawn.retimed(&found.hardware),
                ..found.clone()
            });
            let repair = row(&Scenario::Repair(Bodies::Kept)).and_then(|row| {
                let own = waters[row].clone()?;
                let refused = self.refuses(&own);
                (suits(scenarios[row].fit) && !refused).then_some(own)
            });
            Without {
                reclock: Some(reclock).filter(|own| retimes && meets_need(own)),
                repair,
                clock_observed: self.clock.follows == Follows::Clock,
                found,
            }
        });
        for (plan, water) in scenarios.iter_mut().zip(waters) {
            plan.flags.extend(&self.flags);
            plan.year = water.map(|watered| self.year(plan, watered, without.as_ref()));
            plan.flags.sort_unstable();
            plan.flags.dedup();
        }
        without
    }

    /// What the behaviour that is assumed makes of the use of new hardware.
    fn after(&self, found: &Watered, new: &Watered) -> After {
        match Behaviour::assumed(self.assumptions) {
            Behaviour::Retimed => After::RETIMED,
            behaviour => After::of(&self.outcome(behaviour, found, new), found.use_m3_yr()),
        }
    }

    fn outcome(&self, behaviour: Behaviour, found: &Watered, new: &Watered) -> Outcome {
        let base = (&found.hardware, &found.water);
        outcome(behaviour, &self.lawn, base, (&new.hardware, &new.water))
    }

    /// Whether hardware is refused by the slope, or cannot bring the need.
    fn refuses(&self, own: &Watered) -> bool {
        refused_on_slope(self.assumptions, self.steepest_pct, own.hardware.rate) || !meets_need(own)
    }

    fn new_bodies(&self) -> Regulation {
        match self.assumptions.choice(Key::HardwareNewBodies) {
            "unregulated" => Regulation::Unregulated,
            _ => Regulation::Regulated,
        }
    }

    /// Bodies stay what they are as found, with another clock, and where only nozzles change.
    fn hardware(&self, family: &Family, plan: &ScenarioPlan) -> Option<(Hardware, Drift)> {
        let uniformity = plan.uniformity.as_ref()?;
        if uniformity.rate_mm_h <= 0.0 || plan.heads.is_empty() {
            return None;
        }
        let flow_lpm: f64 = plan.heads.iter().map(|head| head.flow.lpm()).sum();
        let mean = Flow::from_lpm(flow_lpm / plan.heads.len() as f64).ok()?;
        let jet = Jet {
            kind: jet_kind(family),
            pressure: family.rated,
            orifice_mm: orifice_mm(mean, family.rated),
        };
        let (regulation, condition) = match plan.scenario {
            Scenario::AsFound | Scenario::Reclock => (self.found_bodies, Condition::AsFound),
            Scenario::Repair(Bodies::Kept) | Scenario::Swap(_, Bodies::Kept) => {
                (self.found_bodies, Condition::Renewed)
            }
            Scenario::Repair(Bodies::Regulated) | Scenario::Swap(_, Bodies::Regulated) => {
                (Regulation::Regulated, Condition::Renewed)
            }
            Scenario::Relayout(_) => (self.new_bodies(), Condition::Renewed),
        };
        let delivered = plan.delivered.as_ref();
        // Spread and mist take the place of what is assumed of them only where a pressure was read.
        let served = delivered.filter(|_| self.pressures_read);
        let drift = Drift::of(self.assumptions, jet);
        let number = |key| self.assumptions.number(key);
        let in_wind = plan.in_wind.as_ref().filter(|_| self.wind_computed);
        let (rate_mm_h, cv_drawn, over_frac) = in_wind.map_or(
            (uniformity.rate_mm_h, uniformity.cv, uniformity.over_frac),
            |wind| (wind.rate_mm_h, wind.cv, wind.over_frac),
        );
        // Rate and flow as delivered, where the pressures were computed.
        let (faster, landing) = delivered
            .and_then(|got| as_delivered(got, uniformity.rate_mm_h, flow_lpm))
            .unwrap_or((1.0, 1.0));
        let hardware = Hardware {
            rate: Rate::of_m_s(rate_mm_h * faster / 3.6e6),
            cv_drawn,
            over_frac: (1.0 - (1.0 - over_frac) * landing).clamp(0.0, MOST_OVER_FRAC),
            drift_frac: drift.frac(
                number(Key::WaterDriftFrac),
                number(Key::WaterDriftSprayExtra),
            ),
            nozzle: NozzleScatter::of(self.assumptions, family, &plan.heads, spacing(plan)),
            regulation,
            condition,
            pressure_cv2: served
                .and_then(|got| got.cv)
                .map_or(0.0, |cv| cv * cv - uniformity.cv * uniformity.cv),
            mist_frac: served.map_or(0.0, mist_frac),
        };
        Some((hardware, drift))
    }

    fn water(&self, scenario: &Scenario, hardware: &Hardware) -> ScenarioWater {
        match scenario {
            Scenario::AsFound => self.lawn.as_found(hardware, &self.clock),
            _ => self.lawn.retimed(hardware),
        }
    }

    fn year(
        &self,
        plan: &mut ScenarioPlan,
        watered: Watered,
        without: Option<&Without>,
    ) -> YearUse {
        if let Some(schedule) = &watered.water.schedule {
            plan.flags.extend(&schedule.flags);
        }
        let hardware = watered.hardware;
        let too_fast = refused_on_slope(self.assumptions, self.steepest_pct, hardware.rate);
        if too_fast {
            plan.flags.push(TOO_FAST);
        }
        if DriftMethod::assumed(self.assumptions) != DriftMethod::Fixed
            || self.assumptions.origin(Key::WaterDriftSprayExtra) != Origin::Default
        {
            plan.flags.push(DRIFT_PROXY);
        }
        if self.lawn.is_runoff_capped(&watered.water) {
            plan.flags.push(RUNOFF_CAPPED);
        }
        let mut year = YearUse {
            du_lq_field: watered.water.du_lq_field,
            gross_mm_yr: watered.water.year().gross_mm_yr,
            use_m3_yr: watered.use_m3_yr(),
            hardware,
            drift: watered.drift,
            too_fast_for_slope: too_fast,
            clock: self.clock,
            after: watered.after,
            saved_m3_yr: None,
            credited_m3_yr: None,
            claimed_m3_yr: None,
            claims: None,
            behaviours: None,
            parts: None,
            night: None,
            water: watered.water.clone(),
        };
        let (Some(without), true) = (without, plan.scenario != Scenario::AsFound) else {
            return year;
        };
        let found = &without.found;
        let is_reclock = plan.scenario == Scenario::Reclock;
        let uses = without.uses(&watered.water, watered.after);
        let credited = uses.gross(self.terms.counterfactual);
        year.credited_m3_yr = Some(credited.m3_yr());
        if is_reclock && !without.clock_observed {
            // Nobody knows what the clock does today: no figure, and not a figure of 0.
            plan.flags.push(NOT_OBSERVABLE);
            return year;
        }
        let base = match self.clock.follows {
            Follows::Need => Side::to_need(&found.hardware, &found.water),
            Follows::Clock => Side::by_clock(&found.hardware, &found.water),
        };
        let new = Side::to_need(&hardware, &year.water);
        year.parts = Some(attribute(&self.lawn, &base, &new));
        let saving = Saving::between(found.water.year(), year.water.year());
        year.saved_m3_yr = Some(saving.m3_yr);
        // Evidence is held against what can be credited to somebody: not against minutes that nobody
        // read.
        let credited_m3_yr = uses.gross(Counterfactual::AsFound).m3_yr();
        if Saving::of(credited_m3_yr, uses.found_m3_yr)
            .wants_review(self.assumptions.number(Key::SavingsReview))
        {
            plan.flags.push(ABOVE_EVIDENCE);
        }
        if plan.scenario.changes_hardware() {
            let claims = uses.claims(&self.terms);
            year.claimed_m3_yr = Some(claims.against(self.terms.counterfactual));
            year.claims = Some(claims);
            let behaviours = Behaviours {
                unchanged: self.outcome(Behaviour::Unchanged, found, &watered),
                scaled: self.outcome(Behaviour::Scaled, found, &watered),
            };
            if behaviours.unchanged.deficit {
                plan.flags.push(DEFICIT);
            }
            year.behaviours = Some(behaviours);
        }
        year
    }
}

/// Whether rule and controller let a schedule bring the need.
fn meets_need(own: &Watered) -> bool {
    let schedule = own.water.schedule.as_ref();
    schedule.is_none_or(|schedule| schedule.met_frac >= MET_FRAC)
}

/// Rate over the turf as delivered over that of the drawing, and share of the flow that lands on the
/// turf as delivered over that of the drawing, both before mist is taken off. `None` where nothing
/// arrives.
fn as_delivered(got: &Delivered, drawn_mm_h: f64, drawn_lpm: f64) -> Option<(f64, f64)> {
    if got.rate_mm_h <= 0.0 || got.flow_lpm <= 0.0 {
        return None;
    }
    let faster = got.rate_mm_h / (1.0 - mist_frac(got)) / drawn_mm_h;
    Some((faster, faster * drawn_lpm / got.flow_lpm))
}

/// Whether the heads of a plan stand farther apart than their throws are made for.
fn spacing(plan: &ScenarioPlan) -> Spacing {
    let wide = [STRETCHED, SWAP_GAP];
    if plan.flags.iter().any(|flag| wide.contains(flag)) {
        Spacing::Stretched
    } else {
        Spacing::HeadToHead
    }
}

/// Share of the flow of all heads that is lost as mist.
fn mist_frac(served: &Delivered) -> f64 {
    let lost_lpm: f64 = served
        .heads
        .iter()
        .map(|head| head.flow_lpm * head.mist_frac)
        .sum();
    if served.flow_lpm > 0.0 {
        lost_lpm / served.flow_lpm
    } else {
        0.0
    }
}

/// A sheet that breaks into drops, or streams: the family says so in its words.
fn jet_kind(family: &Family) -> JetKind {
    if family.stream.to_lowercase().contains("spray") {
        JetKind::Spray
    } else {
        JetKind::Streams
    }
}

/// Whether a family's throws suit a shape.
pub(super) fn suits(fit: Fit) -> bool {
    matches!(fit, Fit::Fits | Fit::FitsWithStrips)
}
