//! Units, which are changed as a whole or not at all, and what could be done on each.

use super::super::delivery::NetworkPlan;
use super::super::outcome::{Scenario, ScenarioPlan, TurfPlan, YearUse};
use super::verdict::objection;
use crate::budget::Follows;
use crate::catalogue::Hardware;
use crate::hydraulics::costs::BillBasis;
use crate::savings::{Behaviour, Gross};

/// Turf areas that share stations, and their measures.
pub(super) struct Unit {
    /// Its turf areas, ascending.
    pub(super) members: Vec<usize>,
    /// What could be done, in the order of the scenarios.
    pub(super) measures: Vec<Measure>,
}

/// One scenario on all turf areas of a unit.
pub(super) struct Measure {
    pub(super) scenario: Scenario,
    /// By member, the place of the scenario among those of its turf area.
    pub(super) rows: Vec<usize>,
    /// What it asks for; `None` where parts cannot be counted.
    pub(super) bill: Option<BillBasis>,
    /// By member, what it saves in the first year before anything is deducted: by a right schedule
    /// where the clock as found is known, and by hardware beyond, under the same rule for the clock.
    pub(super) gross: Vec<Gross>,
    /// Why it may not be chosen; `None` where it may.
    pub(super) objection: Option<String>,
}

impl Measure {
    /// Whether hardware stays.
    pub(super) fn is_clock(&self) -> bool {
        self.scenario == Scenario::Reclock
    }

    /// Whether it may be chosen, and what it asks for where it may.
    pub(super) fn admissible(&self) -> Option<&BillBasis> {
        self.bill.as_ref().filter(|_| self.objection.is_none())
    }
}

/// What the savings of a turf area are counted against.
pub(super) struct Bases<'p> {
    pub(super) found: &'p YearUse,
    /// The hardware as found under the rule for the clock that all measures have.
    pub(super) same_clock: &'p YearUse,
}

impl<'p> Bases<'p> {
    /// Those of a turf area; `None` where it is not known what is in the ground.
    pub(super) fn of(turf: &'p TurfPlan) -> Option<Bases<'p>> {
        let year = |scenario: &Scenario| {
            let mut plans = turf.scenarios.iter();
            plans
                .find(|plan| plan.scenario == *scenario)
                .and_then(|plan| plan.year.as_ref())
        };
        let found = year(&Scenario::AsFound)?;
        Some(Bases {
            found,
            same_clock: year(&Scenario::Reclock).unwrap_or(found),
        })
    }

    /// Whether the clock as found is known, so that setting it anew has a saving.
    pub(super) fn clock_is_known(&self) -> bool {
        self.found.clock.follows == Follows::Clock
    }

    fn gross(&self, plan: &ScenarioPlan, year: &YearUse) -> Gross {
        let clock_m3_yr = self.found.use_m3_yr - self.same_clock.use_m3_yr;
        let found_m3_yr = self.found.use_m3_yr;
        let with_m3_yr = year.after.use_m3_yr(found_m3_yr, year.use_m3_yr);
        let hardware_m3_yr = match year.after.behaviour {
            Behaviour::Retimed => self.same_clock.use_m3_yr - with_m3_yr,
            // Who leaves the clock alone has no other with the old hardware.
            Behaviour::Unchanged | Behaviour::Scaled => found_m3_yr - with_m3_yr,
        };
        Gross {
            clock_m3_yr: if self.clock_is_known() {
                clock_m3_yr
            } else {
                0.0
            },
            hardware_m3_yr: if plan.scenario.changes_hardware() {
                hardware_m3_yr
            } else {
                0.0
            },
        }
    }
}

/// The units of a parcel and what could be done on each. Turf areas are joined by stations as found,
/// named (`joined`) or assumed, and by those of every new layout that both could have.
pub(super) fn units(
    turf: &[TurfPlan],
    networks: &[NetworkPlan],
    joined: &[Vec<usize>],
    hardware: &Hardware,
) -> Vec<Unit> {
    let objections: Vec<Vec<Option<String>>> = turf
        .iter()
        .map(|area| {
            let objection = |plan: &ScenarioPlan| match &plan.year {
                Some(year) => objection(area, plan, year),
                None => Some("it has no heads".to_owned()),
            };
            area.scenarios.iter().map(objection).collect()
        })
        .collect();
    let mut groups = Groups((0..turf.len()).collect());
    for group in joined {
        groups.join(group.iter().copied());
    }
    for network in networks {
        let has = |&area: &usize| {
            network.scenario == Scenario::AsFound
                || row_of(&turf[area], &network.scenario)
                    .is_some_and(|row| objections[area][row].is_none())
        };
        for station in &network.stations {
            groups.join(station.heads.iter().map(|&(area, _)| area).filter(has));
        }
    }
    let unit = |members: Vec<usize>| Unit {
        measures: measures(turf, networks, &members, (hardware, &objections)),
        members,
    };
    groups.into_lists().into_iter().map(unit).collect()
}

/// Refuses every measure that is not refused yet.
pub(super) fn refuse(units: &mut [Unit], reason: &str) {
    for measure in units.iter_mut().flat_map(|unit| &mut unit.measures) {
        measure.objection.get_or_insert_with(|| reason.to_owned());
    }
}

fn row_of(turf: &TurfPlan, scenario: &Scenario) -> Option<usize> {
    let mut plans = turf.scenarios.iter();
    plans.position(|plan| plan.scenario == *scenario)
}

fn measures(
    turf: &[TurfPlan],
    networks: &[NetworkPlan],
    members: &[usize],
    (hardware, objections): (&Hardware, &[Vec<Option<String>>]),
) -> Vec<Measure> {
    let mut scenarios: Vec<&Scenario> = Vec::new();
    for plan in members.iter().flat_map(|&area| &turf[area].scenarios) {
        if plan.scenario != Scenario::AsFound && !scenarios.contains(&&plan.scenario) {
            scenarios.push(&plan.scenario);
        }
    }
    let of = |scenario: &Scenario| -> Option<Measure> {
        let rows: Option<Vec<usize>> = members
            .iter()
            .map(|&area| row_of(&turf[area], scenario))
            .collect();
        let rows = rows?;
        let (mut gross, mut objection) = (Vec::new(), None);
        for (&area, &row) in members.iter().zip(&rows) {
            let plan = &turf[area].scenarios[row];
            let bases = Bases::of(&turf[area])?;
            gross.push(match &plan.year {
                Some(year) => bases.gross(plan, year),
                None => Gross::default(),
            });
            let own = objections[area][row].clone();
            let own = match members.len() {
                1 => own,
                _ => own.map(|text| format!("on {} {text}", turf[area].id)),
            };
            objection = objection.or(own);
        }
        if *scenario == Scenario::Reclock {
            let is_known =
                |&area: &usize| Bases::of(&turf[area]).is_some_and(|b| b.clock_is_known());
            if !members.iter().all(is_known) {
                objection = Some("the clock as found is not known".to_owned());
            }
            return Some(Measure {
                scenario: scenario.clone(),
                rows,
                bill: Some(BillBasis::default()),
                gross,
                objection,
            });
        }
        let network = networks
            .iter()
            .find(|network| network.scenario == *scenario);
        let bill = network
            .filter(|network| !network.counts.is_empty())
            .map(|network| {
                let count = network.counts.total(|area| members.contains(&area));
                BillBasis::of(&count.lines(hardware))
            });
        if bill.is_none() && objection.is_none() {
            objection = Some("its parts cannot be counted".to_owned());
        }
        Some(Measure {
            scenario: scenario.clone(),
            rows,
            bill,
            gross,
            objection,
        })
    };
    scenarios.into_iter().filter_map(of).collect()
}

/// Numbers joined into groups; each names the smallest of its group.
struct Groups(Vec<usize>);

impl Groups {
    fn join(&mut self, numbers: impl Iterator<Item = usize>) {
        let mut first: Option<usize> = None;
        for number in numbers {
            let one = *first.get_or_insert(number);
            let (a, b) = (self.0[one], self.0[number]);
            if a != b {
                let least = a.min(b);
                for group in &mut self.0 {
                    if *group == a || *group == b {
                        *group = least;
                    }
                }
            }
        }
    }

    fn into_lists(self) -> Vec<Vec<usize>> {
        let members = |first: usize| -> Vec<usize> {
            let all = 0..self.0.len();
            all.filter(|&number| self.0[number] == first).collect()
        };
        (0..self.0.len())
            .map(members)
            .filter(|list| !list.is_empty())
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_join_through_one_another() {
        let mut groups = Groups((0..6).collect());
        groups.join([1, 4].into_iter());
        groups.join([2].into_iter());
        groups.join([4, 0].into_iter());
        assert_eq!(
            groups.into_lists(),
            [vec![0, 1, 4], vec![2], vec![3], vec![5]]
        );
    }
}
