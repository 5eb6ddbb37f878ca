//! One turf area: its ground, its sky, and the water of a year in every scenario on it.

use super::super::found::OnTurf;
use super::super::kept::SWAP_GAP;
use super::super::outcome::{
    Behaviours, Bodies, Fit, GroundUse, Scenario, ScenarioPlan, SkyUse, YearUse,
};
use super::super::{Delivered, Planner, STRETCHED, Site};
use super::{
    ABOVE_EVIDENCE, CLIMATE_ASSUMED, DEFICIT, DRIFT_PROXY, SLOPE_ASSUMED, SOIL_ASSUMED, STEEP,
    TOO_FAST, ZONE_ASSUMED,
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
    Behaviour, ClaimTerms, Saving, Side, attribute, beyond_m3_yr, claimed_m3_yr, outcome,
};
use crate::site::{Soil, Terrain, Texture};
use crate::units::{Flow, Rate};

/// Water that lands outside may not take all of it.
const MOST_OVER_FRAC: f64 = 0.95;

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

/// Hardware with its water and what decides its drift.
type Watered = (Hardware, ScenarioWater, Drift);

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
    /// What can be had without new nozzles: as found, with a right schedule, and repaired; empty
    /// where it is not known what is in the ground.
    pub(super) without: Vec<Watered>,
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
    fn reckon(&self, planner: &Planner, scenarios: &mut [ScenarioPlan]) -> Vec<Watered> {
        let waters: Vec<Option<Watered>> = scenarios
            .iter()
            .map(|plan| {
                let family = planner.catalogue.family(&plan.family)?;
                let (hardware, drift) = self.hardware(family, plan)?;
                let water = self.water(&plan.scenario, &hardware);
                Some((hardware, water, drift))
            })
            .collect();
        let of = |wanted: fn(&Scenario) -> bool| {
            scenarios
                .iter()
                .zip(&waters)
                .find(|(plan, _)| wanted(&plan.scenario))
                .and_then(|(_, water)| water.clone())
        };
        let found = of(|scenario| *scenario == Scenario::AsFound);
        // What can be had without new nozzles: the clock, and bodies that stand and regulate.
        let mut without: Vec<Watered> = Vec::new();
        if let Some((hardware, water, jet)) = &found {
            let repaired = Hardware {
                regulation: self.new_bodies(),
                condition: Condition::Renewed,
                // Regulated bodies are taken to leave nothing of either: all the credit is theirs.
                pressure_cv2: 0.0,
                mist_frac: 0.0,
                ..*hardware
            };
            without.push((*hardware, water.clone(), *jet));
            without.push((*hardware, self.lawn.retimed(hardware), *jet));
            // Where heads are known, a repair is a scenario of its own.
            let repair = of(|scenario| *scenario == Scenario::Repair(Bodies::Kept));
            without.push(repair.unwrap_or((repaired, self.lawn.retimed(&repaired), *jet)));
        }
        for (plan, water) in scenarios.iter_mut().zip(waters) {
            plan.flags.extend(&self.flags);
            let others = match plan.scenario {
                Scenario::Repair(_) => &without[..without.len().min(2)], // not beyond itself
                _ => &without[..],
            };
            plan.year = water.map(|watered| self.year(plan, watered, found.as_ref(), others));
            plan.flags.sort_unstable();
            plan.flags.dedup();
        }
        without
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
        let served = plan.delivered.as_ref().filter(|_| self.pressures_read);
        let drift = Drift::of(self.assumptions, jet);
        let number = |key| self.assumptions.number(key);
        let in_wind = plan.in_wind.as_ref().filter(|_| self.wind_computed);
        let (rate_mm_h, cv_drawn, over_frac) = in_wind.map_or(
            (uniformity.rate_mm_h, uniformity.cv, uniformity.over_frac),
            |wind| (wind.rate_mm_h, wind.cv, wind.over_frac),
        );
        let hardware = Hardware {
            rate: Rate::of_m_s(rate_mm_h / 3.6e6),
            cv_drawn,
            over_frac: over_frac.clamp(0.0, MOST_OVER_FRAC),
            drift_frac: drift.frac(
                number(Key::WaterDriftFrac),
                number(Key::WaterDriftSprayExtra),
            ),
            nozzle: NozzleScatter::of(self.assumptions, family, &plan.heads, spacing(plan)),
            regulation,
            condition,
            pressure_cv2: served.map_or(0.0, |got| got.cv * got.cv - uniformity.cv * uniformity.cv),
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
        (hardware, water, drift): Watered,
        found: Option<&Watered>,
        without: &[Watered],
    ) -> YearUse {
        if let Some(schedule) = &water.schedule {
            plan.flags.extend(&schedule.flags);
        }
        let too_fast = refused_on_slope(self.assumptions, self.steepest_pct, hardware.rate);
        if too_fast {
            plan.flags.push(TOO_FAST);
        }
        let extra = self.assumptions.number(Key::WaterDriftSprayExtra) > 0.0;
        if extra || DriftMethod::assumed(self.assumptions) != DriftMethod::Fixed {
            plan.flags.push(DRIFT_PROXY);
        }
        let changes_hardware = !matches!(plan.scenario, Scenario::AsFound | Scenario::Reclock);
        let mut year = YearUse {
            du_lq_field: water.du_lq_field,
            gross_mm_yr: water.year().gross_mm_yr,
            use_m3_yr: water.year().use_m3_yr,
            hardware,
            drift,
            too_fast_for_slope: too_fast,
            clock: self.clock,
            saved_m3_yr: None,
            claimed_m3_yr: None,
            behaviours: None,
            parts: None,
            night: None,
            water,
        };
        let (Some((found_hardware, found_water, _)), true) =
            (found, plan.scenario != Scenario::AsFound)
        else {
            return year;
        };
        let base = match self.clock.follows {
            Follows::Need => Side::to_need(found_hardware, found_water),
            Follows::Clock => Side::by_clock(found_hardware, found_water),
        };
        year.parts = Some(attribute(
            &self.lawn,
            &base,
            &Side::to_need(&hardware, &year.water),
        ));
        let saving = Saving::smaller(found_water, &year.water);
        year.saved_m3_yr = Some(saving.m3_yr);
        if saving.wants_review(self.assumptions.number(Key::SavingsReview)) {
            plan.flags.push(ABOVE_EVIDENCE);
        }
        if changes_hardware {
            let without: Vec<&ScenarioWater> = without.iter().map(|(_, water, _)| water).collect();
            let beyond = beyond_m3_yr(&without, &year.water);
            year.claimed_m3_yr = Some(claimed_m3_yr(beyond, &self.terms));
            let after = |behaviour| {
                let found = (found_hardware, found_water);
                outcome(behaviour, &self.lawn, found, (&hardware, &year.water))
            };
            let behaviours = Behaviours {
                unchanged: after(Behaviour::Unchanged),
                scaled: after(Behaviour::Scaled),
            };
            if behaviours.unchanged.deficit {
                plan.flags.push(DEFICIT);
            }
            year.behaviours = Some(behaviours);
        }
        year
    }
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
