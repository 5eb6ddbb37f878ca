//! The scenarios that rest on existing heads: as they work today, repaired, and with other nozzles.

use super::bodies::{BodyRule, BodyWork, Fitting, Works, may_regulate};
use super::found::{OnTurf, default_family, most_common};
use super::{Bodies, Planner, Scenario, ScenarioPlan, Site, water};
use crate::assumptions::Key;
use crate::catalogue::{Family, Head};
use crate::crs::Frame;
use crate::issue::{Code, Issue};
use crate::place;
use crate::place::swap::{self, Changed, Gap, Installed, Missing, Order, Wear, Where};
use crate::shape::Point;

/// Gaps that a notice names one by one.
const MOST_GAPS_TOLD: usize = 3;

/// Values of existing heads were inferred.
const HEADS_INFERRED: &str = "heads-inferred";
/// One station feeds heads of different families.
const MIXED_STATION: &str = "mixed-station";
/// Positions do not give head-to-head coverage.
pub(super) const SWAP_GAP: &str = "swap-gap";
/// A head that is too near to another is capped.
const HEAD_CAPPED: &str = "head-capped";

/// As found, repaired, and swapped to each family that is planned with, the last two with bodies
/// kept and with regulated ones; and what there is to tell.
pub(super) fn scenarios(
    planner: &Planner,
    site: &Site,
    lawn: &place::Site,
    on: &OnTurf,
) -> (Vec<ScenarioPlan>, Vec<Issue>) {
    let families: Vec<&Family> = planner.catalogue.families.iter().collect();
    let assumptions = site.assumptions;
    let job = Job {
        planner,
        site,
        lawn,
        on,
        installed: swap::installed(
            lawn,
            on.found,
            &families,
            default_family(&planner.catalogue),
            assumptions.number(Key::HeadsOnBoundary),
        ),
    };
    let order = Order {
        effort: planner.effort,
        capped_below_frac: assumptions.number(Key::HeadsCappedBelow),
        reach_over_width_frac: assumptions.number(Key::HeadsReachOverWidth),
    };
    let (as_found, mut issues) = job.as_found(&Wear::assumed(assumptions));
    let reclocked = water::reclocked(&as_found);
    let mut plans = vec![as_found, reclocked];
    let own = families[on.family];
    let changed = swap::repaired(lawn, &job.installed, own, &families, &order);
    let mut add = |scenario: fn(String, Bodies) -> Scenario, family: &Family, changed: Changed| {
        let kept = scenario(family.name.clone(), Bodies::Kept);
        let (plan, told) = job.changed(kept, family, changed.clone());
        issues.extend(told);
        if may_regulate(assumptions, family) {
            let regulated = scenario(family.name.clone(), Bodies::Regulated);
            plans.extend(job.regulated(&plan, regulated, family, &changed));
        }
        plans.push(plan);
    };
    add(|_, bodies| Scenario::Repair(bodies), own, changed);
    for family in &families {
        if planner.families.contains(&family.name) && job.takes(family) {
            let changed = swap::swapped(lawn, &job.installed, family, &order);
            add(Scenario::Swap, family, changed);
        }
    }
    plans.sort_by_key(|plan| order_of(&plan.scenario, &families));
    (plans, issues)
}

struct Job<'a> {
    planner: &'a Planner,
    site: &'a Site<'a>,
    lawn: &'a place::Site<'a>,
    on: &'a OnTurf<'a>,
    installed: Vec<Installed>,
}

impl Job<'_> {
    fn family(&self, index: usize) -> &Family {
        &self.planner.catalogue.families[index] // indices are made from the catalogue
    }

    fn scenario(&self, scenario: Scenario, family: &Family, heads: Vec<Head>) -> ScenarioPlan {
        let layout = place::Layout::of(heads);
        self.planner
            .scenario(self.site, self.lawn, scenario, family, layout)
    }

    /// The heads as they work today. Where families are mixed the one of most heads gives the
    /// profile of the rain.
    fn as_found(&self, wear: &Wear) -> (ScenarioPlan, Vec<Issue>) {
        let most = most_common(self.installed.iter().map(|one| one.family));
        let family = self.family(most);
        let mut heads: Vec<Head> = Vec::with_capacity(self.installed.len());
        let mut names = Vec::with_capacity(self.installed.len());
        for one in &self.installed {
            let own = self.family(one.family);
            let mut head = wear.at_work(one, own);
            names.push(own.nozzles[head.nozzle].name.clone());
            if one.family != most {
                head.nozzle = family.nozzle_for(one.radius_m);
            }
            heads.push(head);
        }
        let mut plan = self.scenario(Scenario::AsFound, family, heads);
        plan.nozzle_names = names;
        plan.fittings = self
            .installed
            .iter()
            .zip(self.on.found)
            .map(|(one, found)| Fitting {
                family: self.family(one.family).name.clone(),
                pressure_kpa: one.pressure_kpa,
                station: found.head.station.clone(),
                regulated: found.head.regulated == Some(true),
                added: false,
                body: BodyWork::Keep,
            })
            .collect();
        let mut issues = Vec::new();
        if let Some(found) = told_missing(&self.installed) {
            plan.flags.push(HEADS_INFERRED);
            issues.push(Issue::new(Code::HE02, found));
        }
        let mixed = self.mixed_stations();
        if !mixed.is_empty() {
            plan.flags.push(MIXED_STATION);
            issues.push(Issue::new(Code::HE03, mixed.join("; ")));
        }
        plan.flags.sort_unstable();
        (plan, issues)
    }

    /// Each station that feeds more than one family, in words. Heads without a station are one.
    fn mixed_stations(&self) -> Vec<String> {
        let mut stations: Vec<(&str, Vec<&str>)> = Vec::new();
        for (one, found) in self.installed.iter().zip(self.on.found) {
            let name = found.head.station.as_deref().unwrap_or("without a name");
            let family = self.family(one.family).name.as_str();
            match stations.iter_mut().find(|(other, _)| *other == name) {
                Some((_, families)) if families.contains(&family) => {}
                Some((_, families)) => families.push(family),
                None => stations.push((name, vec![family])),
            }
        }
        stations
            .into_iter()
            .filter(|(_, families)| families.len() > 1)
            .map(|(name, families)| format!("station {name}: {}", families.join(", ")))
            .collect()
    }

    fn changed(
        &self,
        scenario: Scenario,
        family: &Family,
        changed: Changed,
    ) -> (ScenarioPlan, Vec<Issue>) {
        let Changed {
            heads,
            from,
            gaps,
            capped,
        } = changed;
        let (fittings, works) = self.fittings(Bodies::Kept, family, (&heads, &from), capped.len());
        let name = scenario.text();
        let mut plan = self.scenario(scenario, family, heads);
        plan.fittings = fittings;
        plan.works = Some(works);
        let mut issues = Vec::new();
        if !gaps.is_empty() {
            plan.flags.push(SWAP_GAP);
            let told = told_gaps(&gaps, &self.site.ground.frame);
            let added = works.added;
            let found = format!("{name}: {told}; {added} heads are added");
            issues.push(Issue::new(Code::HE04, found));
        }
        if !capped.is_empty() {
            plan.flags.push(HEAD_CAPPED);
            let places: Vec<String> = capped
                .iter()
                .map(|&i| lonlat_text(self.on.found[i].at, &self.site.ground.frame))
                .collect();
            issues.push(Issue::new(
                Code::HE05,
                format!("{name}: at {}", places.join("; ")),
            ));
        }
        plan.flags.sort_unstable();
        (plan, issues)
    }

    /// What becomes of each head and its body, and the sum of it.
    fn fittings(
        &self,
        bodies: Bodies,
        family: &Family,
        (heads, from): (&[Head], &[Option<usize>]),
        capped: usize,
    ) -> (Vec<Fitting>, Works) {
        let rule = BodyRule {
            bodies,
            family,
            pop_up_mm: self.site.assumptions.number(Key::HeadsPopUp),
        };
        let fittings: Vec<Fitting> = from
            .iter()
            .zip(heads)
            .map(|(&from, head)| {
                let existing = from.map(|i| (self.on.found[i].head, self.installed[i].family));
                let body = existing.map_or_else(
                    || rule.of_added(),
                    |(head, own)| rule.of(head, self.family(own)),
                );
                let stays = existing.is_some_and(|(head, _)| head.regulated == Some(true));
                Fitting {
                    family: family.name.clone(),
                    pressure_kpa: family.rated.kpa(),
                    station: self.station_of(from, head.at),
                    regulated: match body {
                        BodyWork::Keep => stays,
                        BodyWork::Change => false,
                        BodyWork::Regulate => true,
                    },
                    added: from.is_none(),
                    body,
                }
            })
            .collect();
        let is_added: Vec<bool> = from.iter().map(Option::is_none).collect();
        let works = Works::of(&fittings, &is_added, capped);
        (fittings, works)
    }

    /// The same heads on regulated bodies; `None` where that changes nothing.
    fn regulated(
        &self,
        plan: &ScenarioPlan,
        scenario: Scenario,
        family: &Family,
        changed: &Changed,
    ) -> Option<ScenarioPlan> {
        let heads = (&plan.heads[..], &changed.from[..]);
        let (fittings, works) =
            self.fittings(Bodies::Regulated, family, heads, changed.capped.len());
        (fittings != plan.fittings).then(|| ScenarioPlan {
            scenario,
            fittings,
            works: Some(works),
            ..plan.clone()
        })
    }

    /// Whether nozzles of a family can take the place of those in the ground: another family, that
    /// brings no bodies of its own; on positions made for rotors only where its throws reach from
    /// head to head.
    fn takes(&self, family: &Family) -> bool {
        let own = self.family(self.on.family);
        let spacing_m = || swap::usual_spacing_m(&self.places()).unwrap_or(0.0);
        family.name != own.name
            && family.own_body_cur.is_none()
            && (own.own_body_cur.is_none() || spacing_m() <= family.longest_m())
    }

    fn places(&self) -> Vec<Point> {
        self.on.found.iter().map(|one| one.at).collect()
    }

    /// The station of a head: its own, or for an added one that of the nearest existing head.
    fn station_of(&self, from: Option<usize>, at: Point) -> Option<String> {
        let found = match from {
            Some(i) => self.on.found.get(i),
            None => self
                .on
                .found
                .iter()
                .min_by(|a, b| a.at.distance(at).total_cmp(&b.at.distance(at))),
        };
        found.and_then(|one| one.head.station.clone())
    }
}

/// Where a scenario stands in the list: as found, with a right schedule, repaired, swapped in the
/// catalogue's order; bodies kept before regulated ones.
pub(super) fn order_of(scenario: &Scenario, families: &[&Family]) -> (u8, usize, Option<Bodies>) {
    let place = |name: &str| families.iter().position(|family| family.name == name);
    match scenario {
        Scenario::AsFound => (0, 0, None),
        Scenario::Reclock => (1, 0, None),
        Scenario::Repair(bodies) => (2, 0, Some(*bodies)),
        Scenario::Swap(name, bodies) => (3, place(name).unwrap_or(0), Some(*bodies)),
        Scenario::Relayout(name) => (4, place(name).unwrap_or(0), None),
    }
}

/// How many heads lack what, in words; `None` when nothing had to be inferred.
fn told_missing(installed: &[Installed]) -> Option<String> {
    let count = |lacks: fn(&Missing) -> bool| {
        let lacking = installed.iter().filter(|one| lacks(&one.missing));
        lacking.count()
    };
    let any = count(|missing| missing.any());
    (any > 0).then(|| {
        format!(
            "{any} of {} heads: family {}, throw {}, arc {}, azimuth {}",
            installed.len(),
            count(|m| m.family),
            count(|m| m.throw),
            count(|m| m.arc),
            count(|m| m.aim),
        )
    })
}

fn told_gaps(gaps: &[Gap], frame: &Frame) -> String {
    let mut longest: Vec<&Gap> = gaps.iter().collect();
    longest.sort_by(|a, b| b.length_m.total_cmp(&a.length_m));
    let named: Vec<String> = longest
        .iter()
        .take(MOST_GAPS_TOLD)
        .map(|gap| {
            let how = match gap.on {
                Where::Boundary => "along the boundary",
                Where::Inside => "to the nearest head",
            };
            format!(
                "{:.1} m {how} at {}",
                gap.length_m,
                lonlat_text(gap.at, frame)
            )
        })
        .collect();
    let more = gaps.len().saturating_sub(MOST_GAPS_TOLD);
    let rest = if more > 0 {
        format!("; and {more} more")
    } else {
        String::new()
    };
    format!("{}{rest}", named.join("; "))
}

fn lonlat_text(at: Point, frame: &Frame) -> String {
    let (lon, lat) = frame.to_lonlat(at);
    format!("{lon:.6}, {lat:.6}")
}
