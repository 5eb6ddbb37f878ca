//! The story of one parcel: from its polygons to the water of a year.

mod found;
mod ground;
mod kept;
mod outcome;
mod water;

pub use kept::{Fitting, Works};
pub use outcome::{
    Fit, ParcelPlan, ParcelWater, Scenario, ScenarioPlan, Status, TurfPlan, YearUse,
};

use crate::assumptions::Assumptions;
use crate::catalogue::{Catalogue, Family, Head, Pattern};
use crate::climate::YearClimate;
use crate::crs::Frame;
use crate::issue::{Code, Issue, Severity};
use crate::place::{self, Effort, Favour};
use crate::shape::Outline;
use crate::site::{Parcel, TurfArea};
use crate::uniformity::measure;
use found::{FOUND_FAMILY, InGround, OnTurf};
use ground::Ground;

/// Positions are kept to this fraction of a degree.
const PER_DEGREE: f64 = 1e8;
/// Narrower than this share of its shortest throw, a family has no place (common practice, no
/// source: a screw shortens a throw by a quarter at most).
const NARROWEST_FRAC: f64 = 0.75;

/// What is in the ground today is not known and was assumed.
const AS_FOUND_ASSUMED: &str = "as-found-assumed";
/// The climate is the embedded one of an invented town.
const CLIMATE_ASSUMED: &str = "climate-assumed";

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
    /// The climate of the place.
    pub climate: YearClimate,
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
        let mut numbers = Vec::new();
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
            let (planned, told) = self.plan_turf(&site);
            let placed = |issue: Issue| issue.of_parcel(&parcel.id).of_turf(&turf.id);
            plan.issues.extend(told.into_iter().map(placed));
            if planned
                .scenarios
                .iter()
                .all(|scenario| scenario.heads.is_empty())
            {
                let issue = Issue::new(Code::PL01, format!("width {:.2} m", planned.width_m));
                plan.issues
                    .push(issue.of_parcel(&parcel.id).of_turf(&turf.id));
            }
            plan.turf.push(planned);
            numbers.push(number);
        }
        in_ground.hold_together(&mut plan.turf, &numbers);
        plan.water = water::totals(&plan.turf);
        plan.flags = vec![CLIMATE_ASSUMED];
        let assumed = |plan: &ScenarioPlan| plan.flags.contains(&AS_FOUND_ASSUMED);
        if plan
            .turf
            .iter()
            .flat_map(|turf| &turf.scenarios)
            .any(assumed)
        {
            plan.flags.insert(0, AS_FOUND_ASSUMED);
        }
    }

    /// Every scenario of one turf area, and what there is to tell of it.
    fn plan_turf(&self, site: &Site) -> (TurfPlan, Vec<Issue>) {
        let outline = site.outline;
        let lawn = site.ground.lawn(outline, site.assumptions);
        let (mut scenarios, issues) = match &site.found {
            Some(on) => kept::scenarios(self, site, &lawn, on),
            None => (self.assumed_found(site, &lawn), Vec::new()),
        };
        for family in self
            .catalogue
            .families
            .iter()
            .filter(|f| self.families.contains(&f.name))
        {
            let heads = place::layout(&lawn, family, self.effort, self.favour);
            let scenario = Scenario::Relayout(family.name.clone());
            scenarios.push(self.scenario(site, scenario, family, heads));
        }
        water::recommend(&mut scenarios);
        let planned = TurfPlan {
            id: site.turf.id.clone(),
            polygon: site.turf.polygon.clone(),
            area_m2: outline.area_m2(),
            width_m: outline.width_m(),
            scenarios,
        };
        (planned, issues)
    }

    /// Where nobody knows what is in the ground, a spray layout by the plain rule stands for it.
    fn assumed_found(&self, site: &Site, lawn: &place::Site) -> Vec<ScenarioPlan> {
        let family = self
            .catalogue
            .family(FOUND_FAMILY)
            .or(self.catalogue.families.first());
        family
            .map(|family| {
                let heads = place::layout(lawn, family, Effort::Rule, Favour::Evenness);
                let mut plan = self.scenario(site, Scenario::AsFound, family, heads);
                plan.flags.push(AS_FOUND_ASSUMED);
                plan
            })
            .into_iter()
            .collect()
    }

    fn scenario(
        &self,
        site: &Site,
        scenario: Scenario,
        family: &Family,
        mut heads: Vec<Head>,
    ) -> ScenarioPlan {
        for head in &mut heads {
            settle(head, &site.ground.frame);
        }
        let around = site.ground.surroundings();
        let uniformity = measure(site.outline, &heads, &family.profile, &around);
        let year = uniformity.as_ref().map(|even| {
            water::year_of(
                site.assumptions,
                &self.climate,
                site.turf,
                site.outline.area_m2(),
                even,
                site.found.as_ref().map_or(&[], OnTurf::computed),
            )
        });
        let names = heads.iter().map(|head| nozzle_name(head, family)).collect();
        ScenarioPlan {
            scenario,
            family: family.name.clone(),
            profile: family.profile.to_string(),
            rated_kpa: family.rated.kpa(),
            fit: fit_of(site.outline, family),
            recommended: false,
            nozzle_names: names,
            heads,
            uniformity,
            year,
            flags: Vec::new(),
            fittings: Vec::new(),
            works: None,
        }
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

fn fit_of(outline: &Outline, family: &Family) -> Fit {
    if outline.width_m() < NARROWEST_FRAC * family.shortest_m() {
        Fit::TooNarrow
    } else {
        Fit::Fits
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
