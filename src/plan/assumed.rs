//! Where nobody knows what is in the ground: a layout by the plain rule stands for it, of sprays or,
//! on wide turf, of rotors; and what a crew would do on it.
//!
//! A repair and a swap are planned on that layout, so that every turf area has an estimate with its
//! number of nozzles. Heads that were made up are not searched for better settings: each gets the
//! other family's nozzle for the arc and the throw that it has. So what sets the measures apart is
//! the nozzles and the bodies, not what was assumed. What is wrong with the heads is not known
//! either: a repair changes no body and earns what renewed wear earns, which by default is nothing.

use super::bodies::{BodyWork, Fitting, Works, may_regulate};
use super::{AS_FOUND_ASSUMED, Bodies, FOUND_FAMILY, Planner, Scenario, ScenarioPlan, Site, water};
use crate::assumptions::Key;
use crate::catalogue::{Catalogue, Family};
use crate::place::{self, Effort, Favour, Layout, swap};

/// The family of what is assumed in wide turf.
const WIDE_FAMILY: &str = "rotor";

/// As found, reclocked, repaired, and swapped to each family that is planned with, on the layout
/// that is assumed.
pub(super) fn scenarios(planner: &Planner, site: &Site, lawn: &place::Site) -> Vec<ScenarioPlan> {
    let wide_m = site.assumptions.number(Key::HeadsWideTurf);
    let Some(own) = found_family(&planner.catalogue, lawn.diameter_m, wide_m) else {
        return Vec::new();
    };
    let layout = place::layout_in_parts(lawn, own, Effort::Rule, Favour::Evenness);
    let mut found = planner.scenario(site, lawn, Scenario::AsFound, own, layout);
    found.flags.push(AS_FOUND_ASSUMED);
    found.flags.sort_unstable();
    let mut plans = vec![found.clone(), water::reclocked(&found)];
    if found.heads.is_empty() {
        return plans;
    }
    let mut add = |plan: ScenarioPlan, family: &Family, scenario: &dyn Fn(Bodies) -> Scenario| {
        let change_all = own.own_body_cur.is_some() != family.own_body_cur.is_some();
        let with = |bodies: Bodies| {
            let body = match bodies {
                Bodies::Kept if change_all => BodyWork::Change,
                Bodies::Kept => BodyWork::Keep,
                Bodies::Regulated => BodyWork::Regulate,
            };
            let fittings = vec![fitting(family, body); plan.heads.len()];
            ScenarioPlan {
                scenario: scenario(bodies),
                works: Some(Works::of(&fittings, &vec![false; fittings.len()], 0)),
                fittings,
                ..plan.clone()
            }
        };
        plans.push(with(Bodies::Kept));
        if may_regulate(site.assumptions, family) {
            plans.push(with(Bodies::Regulated));
        }
    };
    add(found.clone(), own, &Scenario::Repair);
    for family in &planner.catalogue.families {
        let is_other = family.name != own.name && family.own_body_cur.is_none();
        if !is_other || !planner.families.contains(&family.name) {
            continue;
        }
        let Some(heads) = swap::refitted(&found.heads, family) else {
            continue;
        };
        let layout = Layout {
            groups: found.groups.clone(),
            narrowest_m: lawn.diameter_m,
            ..Layout::of(heads)
        };
        let named = |bodies| Scenario::Swap(family.name.clone(), bodies);
        let mut plan = planner.scenario(site, lawn, named(Bodies::Kept), family, layout);
        plan.flags.push(AS_FOUND_ASSUMED);
        plan.flags.sort_unstable();
        add(plan, family, &named);
    }
    plans
}

/// What stands for the heads in the ground of turf whose largest circle is `diameter_m` across:
/// rotors where it is wider than `wide_m`, else sprays; the catalogue's first family where it has
/// neither.
fn found_family(catalogue: &Catalogue, diameter_m: f64, wide_m: f64) -> Option<&Family> {
    let wide = (diameter_m > wide_m).then(|| catalogue.family(WIDE_FAMILY));
    wide.flatten()
        .or_else(|| catalogue.family(FOUND_FAMILY))
        .or(catalogue.families.first())
}

fn fitting(family: &Family, body: BodyWork) -> Fitting {
    Fitting {
        family: family.name.clone(),
        pressure_kpa: family.rated.kpa(),
        station: None,
        regulated: body == BodyWork::Regulate,
        added: false,
        body,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wide_turf_is_taken_to_have_rotors() {
        let catalogue = Catalogue::generic();
        let name = |diameter_m: f64| found_family(&catalogue, diameter_m, 12.0).map(|f| &*f.name);
        assert_eq!((name(12.0), name(12.1)), (Some("spray"), Some("rotor")));
        let mut poor = catalogue.clone();
        poor.families.retain(|family| family.name != WIDE_FAMILY);
        assert_eq!(
            found_family(&poor, 40.0, 12.0).map(|f| &*f.name),
            Some("spray")
        );
        poor.families.retain(|family| family.name != FOUND_FAMILY);
        assert_eq!(
            found_family(&poor, 5.0, 12.0).map(|f| &*f.name),
            Some("rotary-mid")
        );
    }
}
