//! The story of one parcel: from its polygons to the water of a year.

mod account;
mod assumed;
mod bodies;
mod delivery;
#[doc(hidden)]
pub mod doors;
mod fit;
mod found;
mod ground;
mod kept;
mod outcome;
mod water;

pub use account::{OptionOffer, ParcelAccount};
pub use bodies::{BodyWork, Fitting, Works};
pub use delivery::{
    Before, Delivered, HeadServed, NetworkPlan, PipeRole, PipeRow, PressureHold, StationPlan,
    run_time_factors, station_min,
};
pub use outcome::{
    AllowanceUse, Behaviours, Bodies, Fit, GroundUse, LadderFigures, NightUse, ParcelPlan,
    ParcelWater, Scenario, ScenarioPlan, SkyUse, StationNight, Status, TurfPlan, YearUse,
};
pub use water::{
    MeterUse, ParcelLadder, ParcelOption, ParcelSavings, Percentiles, StepFigures, Takes, Tier,
};

use crate::assumptions::{Assumptions, Key};
use crate::catalogue::{Catalogue, Family, Head, Pattern};
use crate::climate::Climates;
use crate::crs::Frame;
use crate::issue::{Code, Issue, Severity};
use crate::place::{self, Around, Effort, Favour, Layout};
use crate::rain::{Drifting, Winds, all_seen};
use crate::shape::Outline;
use crate::site::{Parcel, TurfArea};
use crate::uniformity::{InWind, Surroundings, measure, measure_in_wind};
use found::{FOUND_FAMILY, InGround, OnTurf};
use ground::Ground;

/// Positions are kept to this fraction of a degree.
const PER_DEGREE: f64 = 1e8;
/// What is in the ground today is not known and was assumed.
const AS_FOUND_ASSUMED: &str = "as-found-assumed";
/// The catalogue does not say how uneven the family is in the field.
const SCATTER_ASSUMED: &str = "nozzle-cv-assumed";
/// Heads stand farther apart than their throws are made for, because few of them were favoured.
const STRETCHED: &str = "stretched";
/// More heads than the plain rule's, because brown patches asked for them.
const OVER_RULE: &str = "heads-over-rule";

/// Most heads of one family on one turf area: those of 17 ha with throws of 4.5 m. Beyond that a plan by
/// the plain rule takes several seconds, a better one minutes, and its files cannot be handled.
const MOST_HEADS: f64 = 10_000.0;
/// Most heads in the ground of one turf area; the gaps between them are looked for pair by pair.
const MOST_IN_GROUND: usize = 5_000;
/// Most of them on all turf areas of a parcel: those of 35 ha with throws of 4.5 m.
const MOST_HEADS_OF_PARCEL: f64 = 20_000.0;

/// What is the same for every parcel of a run.
#[derive(Debug, Clone)]
pub struct Planner {
    /// The nozzle families.
    pub catalogue: Catalogue,
    /// Names of the families to plan with.
    pub families: Vec<String>,
    /// How hard to search.
    pub effort: Effort,
    /// What to prefer where measures compete.
    pub favour: Favour,
    /// What is assumed where nothing was measured.
    pub assumptions: Assumptions,
    /// The climate of the place, or of its zones.
    pub climates: Climates,
    /// Whether to write input files of the network solver.
    pub inp: bool,
    /// Seed of the draws of what is uncertain.
    pub seed: u64,
}

/// One scenario to lay out on one turf area.
struct Site<'a> {
    turf: &'a TurfArea,
    outline: &'a Outline,
    ground: &'a Ground,
    assumptions: &'a Assumptions,
    /// The existing heads; `None` where none were given.
    found: Option<OnTurf<'a>>,
}

impl Planner {
    /// Plans one parcel: its frame, its ground, and for every turf area every scenario.
    #[must_use]
    pub fn plan(&self, parcel: &Parcel) -> ParcelPlan {
        let mut plan = ParcelPlan::begun(parcel);
        doors::pass("frame");
        if !parcel.turf.is_empty() {
            let ready = self
                .assumptions
                .for_parcel(&parcel.attributes, &parcel.id)
                .and_then(|assumptions| Ok((Ground::of(parcel)?, assumptions)));
            match ready {
                Ok((ground, assumptions)) => {
                    self.plan_on(parcel, &ground, &assumptions, &mut plan);
                }
                Err(issue) => plan.issues.push(issue.of_parcel(&parcel.id)),
            }
        }
        plan.status = status_of(&plan);
        plan
    }

    fn plan_on(
        &self,
        parcel: &Parcel,
        ground: &Ground,
        assumptions: &Assumptions,
        plan: &mut ParcelPlan,
    ) {
        plan.frame = Some(ground.frame);
        plan.parcel_m2 = ground.parcel_m2();
        let in_ground = InGround::of(parcel, &ground.frame, &self.catalogue, &mut plan.issues);
        let (mut areas, mut numbers, mut heads) = (Vec::new(), Vec::new(), 0.0);
        for (number, (turf, outline)) in parcel.turf.iter().zip(&ground.turf).enumerate() {
            let Some(outline) = outline else {
                let issue = Issue::new(Code::GE07, "no area in the local frame");
                plan.issues
                    .push(issue.of_parcel(&parcel.id).of_turf(&turf.id));
                continue;
            };
            let site = Site {
                turf,
                outline,
                ground,
                assumptions,
                found: in_ground.on(number),
            };
            let placed = |issue: Issue| issue.of_parcel(&parcel.id).of_turf(&turf.id);
            doors::pass("place");
            let in_ground = site.found.as_ref().map_or(0, |own| own.found.len());
            match self.heads_within_budget(outline, in_ground, heads) {
                Ok(own) => heads += own,
                Err(issue) => {
                    plan.issues.push(placed(issue));
                    continue;
                }
            }
            let (scenarios, told) = self.lay_out(&site);
            plan.issues.extend(told.into_iter().map(placed));
            if scenarios.iter().all(|scenario| scenario.heads.is_empty()) {
                let issue = Issue::new(Code::PL01, self.why_no_heads(&site));
                plan.issues
                    .push(issue.of_parcel(&parcel.id).of_turf(&turf.id));
            }
            areas.push((site, scenarios));
            numbers.push(number);
        }
        doors::pass("delivery");
        let delivery = delivery::deliver(self, parcel, &mut areas, assumptions);
        let told = delivery.issues.into_iter();
        plan.issues
            .extend(told.map(|issue| issue.of_parcel(&parcel.id)));
        plan.networks = delivery.networks;
        let mut ways = Vec::new();
        doors::pass("budget");
        for (site, scenarios) in areas {
            let (turf, way) = self.settled(&site, scenarios);
            plan.turf.push(turf);
            ways.push(way);
        }
        let mut scenarios = plan.turf.iter().flat_map(|turf| &turf.scenarios);
        if scenarios.any(|scenario| scenario.flags.contains(&AS_FOUND_ASSUMED)) {
            plan.flags.push(AS_FOUND_ASSUMED);
        }
        doors::pass("water");
        water::close(
            assumptions,
            plan,
            &in_ground.joined(&numbers),
            &ways,
            (self.seed, &parcel.meter),
            &self.catalogue.hardware,
        );
    }

    /// About how many heads a turf area takes: its area over that of one head in a triangular lattice of
    /// the longest throws, or those that are in the ground, where they are more.
    ///
    /// # Errors
    /// `PL02` when they are more than are planned on one turf area, `PL04` when those of the turf areas
    /// before it (`planned`) leave no room for them.
    fn heads_within_budget(
        &self,
        outline: &Outline,
        in_ground: usize,
        planned: f64,
    ) -> Result<f64, Issue> {
        let wanted = |family: &&Family| self.families.contains(&family.name);
        let families = self.catalogue.families.iter().filter(wanted);
        let shortest_m = families
            .map(Family::longest_m)
            .fold(f64::INFINITY, f64::min);
        let per_head_m2 = 0.75_f64.sqrt() * shortest_m * shortest_m;
        let new = outline.area_m2() / per_head_m2;
        let heads = new.max(in_ground as f64);
        if new > MOST_HEADS || in_ground > MOST_IN_GROUND || doors::is_over_budget() {
            let found = if in_ground <= MOST_IN_GROUND {
                format!(
                    "about {new:.0} heads with throws of {shortest_m} m, and {MOST_HEADS:.0} are the most"
                )
            } else {
                format!("{in_ground} heads in the ground, and {MOST_IN_GROUND} are the most")
            };
            return Err(Issue::new(Code::PL02, found));
        }
        if planned + heads > MOST_HEADS_OF_PARCEL {
            let found = format!(
                "about {heads:.0} heads beside {planned:.0}, and {MOST_HEADS_OF_PARCEL:.0} are the most"
            );
            return Err(Issue::new(Code::PL04, found));
        }
        Ok(heads)
    }

    /// What leaves a turf area without heads.
    fn why_no_heads(&self, site: &Site) -> String {
        let lawn = site.ground.lawn(site.outline, site.assumptions);
        let open = place::Site {
            around: Around::default(),
            ..lawn
        };
        let has_room = self.catalogue.families.first().is_some_and(|family| {
            !place::layout(&open, family, Effort::Rule, Favour::Evenness).is_empty()
        });
        let width_m = site.outline.width_m();
        if has_room {
            format!("width {width_m:.2} m, no place far enough from trunks, walls and pavement")
        } else {
            format!("width {width_m:.2} m")
        }
    }

    /// Every scenario of one turf area as drawn, and what there is to tell of it.
    fn lay_out(&self, site: &Site) -> (Vec<ScenarioPlan>, Vec<Issue>) {
        let outline = site.outline;
        let lawn = site.ground.lawn(outline, site.assumptions);
        let (mut scenarios, issues) = match &site.found {
            Some(on) => kept::scenarios(self, site, &lawn, on),
            None => (assumed::scenarios(self, site, &lawn), Vec::new()),
        };
        for family in self
            .catalogue
            .families
            .iter()
            .filter(|f| self.families.contains(&f.name))
        {
            // Where every throw is longer than the turf is wide a search has nothing to find.
            let is_long = family.strips.is_empty() && lawn.diameter_m < family.shortest_m();
            let effort = if is_long { Effort::Rule } else { self.effort };
            let layout = place::layout_in_parts(&lawn, family, effort, self.favour);
            let scenario = Scenario::Relayout(family.name.clone());
            scenarios.push(self.scenario(site, &lawn, scenario, family, layout));
        }
        fit::point_to_others(&mut scenarios);
        (scenarios, issues)
    }

    /// A turf area with its water, and what that rests on.
    fn settled<'a>(
        &'a self,
        site: &Site<'a>,
        mut scenarios: Vec<ScenarioPlan>,
    ) -> (TurfPlan, water::Ways<'a>) {
        let outline = site.outline;
        let (ground, ways) = water::settle(self, site, &mut scenarios);
        let turf = TurfPlan {
            id: site.turf.id.clone(),
            polygon: site.turf.polygon.clone(),
            area_m2: outline.area_m2(),
            width_m: outline.width_m(),
            ground,
            unit: 0,
            left_in_frac: 1.0,
            left_regret_cur: 0.0,
            reason: String::new(),
            scenarios,
        };
        (turf, ways)
    }

    fn scenario(
        &self,
        site: &Site,
        lawn: &place::Site,
        scenario: Scenario,
        family: &Family,
        mut layout: Layout,
    ) -> ScenarioPlan {
        for head in &mut layout.heads {
            settle(head, &site.ground.frame);
        }
        doors::pass("rain");
        let around = site.ground.surroundings();
        let watered = layout.watered.as_ref().unwrap_or(site.outline);
        let uniformity = measure(watered, &layout.heads, &family.profile, &around);
        let in_wind = self.in_wind(site, family, (watered, &layout.heads), &around);
        let is_stretched = self.favour != Favour::Evenness
            && matches!(scenario, Scenario::Relayout(_))
            && place::is_stretched(watered, &layout.heads);
        let mut verdict = fit::verdict(
            lawn.diameter_m,
            family,
            &layout,
            uniformity.as_ref(),
            site.assumptions,
        );
        let is_over_rule = layout.is_over_rule && matches!(scenario, Scenario::Relayout(_));
        let more = [
            (is_stretched, STRETCHED),
            (is_over_rule, OVER_RULE),
            (family.scatter.is_assumed, SCATTER_ASSUMED),
        ];
        let more = more.into_iter().filter(|(holds, _)| *holds);
        verdict.flags.extend(more.map(|(_, flag)| flag));
        verdict.flags.sort_unstable();
        let names = layout
            .heads
            .iter()
            .map(|head| nozzle_name(head, family))
            .collect();
        let watered = layout
            .watered
            .map(|outline| site.ground.frame.polygon(&outline));
        let blocks = around.blocks.unwrap_or_default();
        ScenarioPlan {
            seen: all_seen(&layout.heads, blocks),
            scenario,
            family: family.name.clone(),
            profile: family.profile.to_string(),
            rated_kpa: family.rated.kpa(),
            fit: verdict.fit,
            fit_reason: verdict.reason,
            watered,
            drip_m2: layout.drip_m2,
            groups: layout.groups,
            recommended: false,
            nozzle_names: names,
            heads: layout.heads,
            in_wind,
            uniformity,
            delivered: None,
            year: None,
            cost_cur: None,
            cost_cur_m3: None,
            ladder: None,
            flags: verdict.flags,
            fittings: Vec::new(),
            works: None,
        }
    }

    /// How the rain of a layout falls in the wind that is asked for.
    fn in_wind(
        &self,
        site: &Site,
        family: &Family,
        (outline, heads): (&Outline, &[Head]),
        around: &Surroundings,
    ) -> Option<InWind> {
        let mean_m_s = site.assumptions.number(Key::WaterWind);
        let winds = match site.assumptions.choice(Key::PlaceWind) {
            "mean" => Winds::from_all_sides(mean_m_s),
            "rose" => {
                let zone = site.turf.land.climate_zone.as_deref();
                self.climates.of(zone).zone().year.winds(mean_m_s)?
            }
            _ => return None,
        };
        let drifting = Drifting {
            trajectory_deg: family.trajectory_deg,
            displacement_frac: site.assumptions.number(Key::WaterWindDisplacement),
        };
        measure_in_wind(outline, heads, &family.profile, around, &winds, drifting)
    }
}

/// Moves a head to the nearest position that the output can hold, so that what is rained is what
/// is written.
fn settle(head: &mut Head, frame: &Frame) {
    let (lon, lat) = frame.to_lonlat(head.at);
    let held = |degrees: f64| (degrees * PER_DEGREE).round() / PER_DEGREE;
    head.at = frame.to_plane(held(lon), held(lat));
}

fn nozzle_name(head: &Head, family: &Family) -> String {
    match head.pattern {
        Pattern::Sector { .. } => family.nozzles[head.nozzle].name.clone(),
        Pattern::Strip { .. } => family.strips[head.nozzle].name.clone(),
    }
}

fn status_of(plan: &ParcelPlan) -> Status {
    let broken = plan
        .issues
        .iter()
        .any(|issue| issue.severity() >= Severity::Partial);
    let planned = plan
        .turf
        .iter()
        .any(|turf| turf.scenarios.iter().any(|s| !s.heads.is_empty()));
    match (planned, broken) {
        (true, false) => Status::Planned,
        (true, true) => Status::Partial,
        (false, true) => Status::Failed,
        (false, false) => Status::NoTurf,
    }
}
