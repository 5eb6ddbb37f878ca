//! What is done on a parcel: the ladder of every unit, the combinations that the parcel climbs
//! through as water grows dearer, and where it stops at the value that water has.

use super::super::delivery::NetworkPlan;
use super::super::outcome::{LadderFigures, Scenario, TurfPlan};
use super::measures::{Measure, Unit};
use crate::assumptions::{Assumptions, Key};
use crate::catalogue::Hardware;
use crate::hydraulics::costs::{BillBasis, Costs, Outlay};
use crate::savings::{
    ClaimTerms, Factors, Gross, LadderStep, Perspective, Rung, Terms, climb, hull, stop,
};

/// Whose value decides, and what it is.
#[derive(Debug, Clone, Copy)]
pub(super) struct Judge {
    pub(super) perspective: Perspective,
    /// What a saved cubic metre is worth \[currency/m³\].
    pub(super) value_cur_m3: f64,
    pub(super) avoided_cur_m3: f64,
    pub(super) terms: Terms,
    pub(super) costs: Costs,
    pub(super) claim: ClaimTerms,
    /// What a parcel with new hardware costs the program beside its rebate \[currency\].
    pub(super) admin_cur: f64,
    /// Share of the modelled use that a meter bears out: what is used less is saved less.
    pub(super) used_frac: f64,
}

impl Judge {
    /// The side that is assumed.
    pub(super) fn assumed(assumptions: &Assumptions) -> Judge {
        let number = |key| assumptions.number(key);
        let perspective = Perspective::of_text(assumptions.choice(Key::RecommendPerspective));
        let lost_cur_m3 = match assumptions.choice(Key::RecommendLostRevenue) {
            "counted" => number(Key::PriceWater),
            _ => 0.0,
        };
        Judge {
            perspective,
            value_cur_m3: match perspective {
                Perspective::Customer => number(Key::PriceWater),
                Perspective::Supplier => number(Key::PriceAvoided) - lost_cur_m3,
                Perspective::Society => number(Key::PriceAvoided) + number(Key::PriceExternality),
            },
            avoided_cur_m3: number(Key::PriceAvoided),
            terms: Terms::assumed(assumptions),
            costs: Costs::assumed(assumptions),
            claim: ClaimTerms::assumed(assumptions),
            admin_cur: match perspective {
                Perspective::Customer => 0.0,
                Perspective::Supplier | Perspective::Society => number(Key::CostAdmin),
            },
            used_frac: 1.0,
        }
    }

    /// What the side counts of a saving in the first year: all of it for the customer, what is net
    /// of realisation and free riders for the others \[m³/yr\].
    pub(super) fn counted_m3(&self, claim: &ClaimTerms, gross: &[Gross]) -> f64 {
        let counted = gross.iter().map(|gross| match self.perspective {
            Perspective::Customer => gross.m3_yr(),
            Perspective::Supplier | Perspective::Society => claim.first_year_m3(*gross),
        });
        self.used_frac * counted.sum::<f64>()
    }

    fn first_year_m3(&self, measure: &Measure) -> f64 {
        self.counted_m3(&self.claim, &measure.gross)
    }

    /// Visit and administration of a parcel on which something changes \[currency\].
    pub(super) fn fixed_cur(&self, new_hardware: bool) -> f64 {
        self.costs.visit_cur + if new_hardware { self.admin_cur } else { 0.0 }
    }
}

/// A measure with its present values.
pub(super) fn rung(
    measure: &Measure,
    first_year_m3: f64,
    costs: &Costs,
    factors: &Factors,
) -> Rung {
    let water_yr = match measure.is_clock() {
        true => factors.clock_yr,
        false => factors.water_yr,
    };
    Rung {
        cost_cur: measure.bill.as_ref().map_or(f64::INFINITY, |bill| {
            factors.present_cur(&costs.outlay(bill))
        }),
        water_m3: first_year_m3 * water_yr,
    }
}

/// What could be done on a parcel, step by step, and where it stops.
#[derive(Debug, Clone, PartialEq)]
pub struct ParcelLadder {
    /// Whose value of water decided.
    pub perspective: Perspective,
    /// That value \[currency/m³\].
    pub value_cur_m3: f64,
    /// What the supplier is spared for a cubic metre \[currency/m³\].
    pub avoided_cur_m3: f64,
    /// The combinations of measures that are worth their cost at some value of water, from the
    /// cheapest cubic metre on.
    pub options: Vec<ParcelOption>,
    /// How many of the options are climbed: the last of them is what is recommended, and nothing is
    /// where it is 0.
    pub climbed: usize,
    /// Share of the draws in which the same combination is chosen.
    pub recommended_in_frac: f64,
    /// What the choice costs in the mean of the draws against the best of each \[currency\].
    pub regret_cur: f64,
}

impl ParcelLadder {
    /// What is recommended; `None` where all is left as it is.
    #[must_use]
    pub fn chosen(&self) -> Option<&ParcelOption> {
        self.options.get(self.climbed.checked_sub(1)?)
    }

    /// The step after what is recommended.
    #[must_use]
    pub fn next(&self) -> Option<&ParcelOption> {
        self.options.get(self.climbed)
    }

    /// Net present value of what is recommended for the side that decided \[currency\].
    #[must_use]
    pub fn npv_cur(&self) -> f64 {
        self.chosen().map_or(0.0, |option| {
            self.value_cur_m3 * option.water_m3 - option.cost_cur
        })
    }
}

/// A combination of measures on a parcel, at most one on each unit.
#[derive(Debug, Clone, PartialEq)]
pub struct ParcelOption {
    /// By turf area, the place of its scenario; `None` where it is left as found.
    pub rows: Vec<Option<usize>>,
    /// The scenario of all turf areas that change, or `mixed`.
    pub scenario: String,
    /// What it costs at the start: the complete bill, and the visit.
    pub outlay: Outlay,
    /// Whether hardware changes.
    pub new_hardware: bool,
    /// Present cost over the horizon, with replacements, visit and administration, less what is
    /// left at its end \[currency\].
    pub cost_cur: f64,
    /// Present net water over the horizon \[m³\].
    pub water_m3: f64,
    /// What the side that decides counts as saved in the first year \[m³/yr\].
    pub first_year_m3: f64,
    /// Present water by what may be claimed, whichever side decides \[m³\].
    pub net_m3: f64,
    /// Present water by all that is saved \[m³\].
    pub gross_m3: f64,
    /// All that is saved in the first year \[m³/yr\].
    pub gross_first_year_m3: f64,
    /// The step from the option before it.
    pub step: StepFigures,
}

/// What a step up a ladder costs and saves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StepFigures {
    /// Cost at the start: the difference of two complete bills \[currency\].
    pub cost_cur: f64,
    /// What the side that decides counts as saved in the first year \[m³/yr\].
    pub saved_m3_yr: f64,
    /// Present cost of a present cubic metre \[currency/m³\].
    pub cost_cur_m3: f64,
}

/// Decides: prices every measure, climbs, stops, marks one scenario of every turf area as
/// recommended, and writes the reasons.
pub(super) fn decide(
    judge: &Judge,
    turf: &mut [TurfPlan],
    networks: &[NetworkPlan],
    units: &[Unit],
    hardware: &Hardware,
) -> ParcelLadder {
    let factors = judge.terms.factors();
    let rungs: Vec<Vec<Rung>> = units
        .iter()
        .map(|unit| {
            let measures = unit.measures.iter();
            measures
                .map(|measure| {
                    rung(
                        measure,
                        judge.first_year_m3(measure),
                        &judge.costs,
                        &factors,
                    )
                })
                .collect()
        })
        .collect();
    let hulls: Vec<Vec<LadderStep>> = units
        .iter()
        .zip(&rungs)
        .map(|(unit, rungs)| {
            let open = rungs.iter().zip(&unit.measures).map(|(rung, measure)| {
                match measure.admissible() {
                    Some(_) => *rung,
                    None => Rung {
                        water_m3: 0.0,
                        ..*rung
                    },
                }
            });
            hull(&open.collect::<Vec<Rung>>())
        })
        .collect();
    let shared = shared(networks, units, hardware);
    let options: Vec<ParcelOption> = climb(&hulls)
        .iter()
        .map(|held| option(judge, &factors, turf.len(), (units, held), &shared))
        .collect();
    let of_parcel: Vec<Rung> = options
        .iter()
        .map(|option| Rung {
            cost_cur: option.cost_cur,
            water_m3: option.water_m3,
        })
        .collect();
    let steps = hull(&of_parcel);
    let climbed = steps
        .iter()
        .take_while(|step| step.cost_cur < judge.value_cur_m3 * step.water_m3)
        .count();
    debug_assert_eq!(
        climbed.checked_sub(1).map(|at| steps[at].to),
        stop(&steps, judge.value_cur_m3)
    );
    let mut ladder = ParcelLadder {
        perspective: judge.perspective,
        value_cur_m3: judge.value_cur_m3,
        avoided_cur_m3: judge.avoided_cur_m3,
        options: Vec::with_capacity(steps.len()),
        climbed,
        recommended_in_frac: 1.0,
        regret_cur: 0.0,
    };
    for step in &steps {
        let mut own = options[step.to].clone();
        let before = ladder.options.last();
        own.step = StepFigures {
            cost_cur: own.outlay.total_cur()
                - before.map_or(0.0, |before| before.outlay.total_cur()),
            saved_m3_yr: own.first_year_m3 - before.map_or(0.0, |before| before.first_year_m3),
            cost_cur_m3: step.cost_cur_m3(),
        };
        ladder.options.push(own);
    }
    for (number, (unit, (rungs, steps))) in (1..).zip(units.iter().zip(rungs.iter().zip(&hulls))) {
        write_figures(judge, turf, (number, unit), (rungs, steps));
        write_choice(judge, turf, unit, (&ladder, steps));
    }
    ladder
}

/// What several units need together where they are changed alike: a main that feeds them.
struct Shared {
    scenario: Scenario,
    units: Vec<usize>,
    bill: BillBasis,
}

fn shared(networks: &[NetworkPlan], units: &[Unit], hardware: &Hardware) -> Vec<Shared> {
    let unit_of = |area: usize| units.iter().position(|unit| unit.members.contains(&area));
    let mut all = Vec::new();
    for network in networks {
        for (areas, count) in network.counts.pieces() {
            let mut own: Vec<usize> = areas.iter().filter_map(|&area| unit_of(area)).collect();
            own.sort_unstable();
            own.dedup();
            if own.len() > 1 {
                all.push(Shared {
                    scenario: network.scenario.clone(),
                    units: own,
                    bill: BillBasis::of(&count.lines(hardware)),
                });
            }
        }
    }
    all
}

fn option(
    judge: &Judge,
    factors: &Factors,
    areas: usize,
    (units, held): (&[Unit], &[Option<usize>]),
    shared: &[Shared],
) -> ParcelOption {
    let mut own = ParcelOption {
        rows: vec![None; areas],
        scenario: String::new(),
        outlay: Outlay::default(),
        new_hardware: false,
        cost_cur: 0.0,
        water_m3: 0.0,
        first_year_m3: 0.0,
        net_m3: 0.0,
        gross_m3: 0.0,
        gross_first_year_m3: 0.0,
        step: StepFigures {
            cost_cur: 0.0,
            saved_m3_yr: 0.0,
            cost_cur_m3: 0.0,
        },
    };
    let of_unit = |unit: usize| held[unit].map(|at| &units[unit].measures[at]);
    let mut bill = BillBasis::default();
    for (number, unit) in units.iter().enumerate() {
        let Some(measure) = of_unit(number) else {
            continue;
        };
        for (&area, &row) in unit.members.iter().zip(&measure.rows) {
            own.rows[area] = Some(row);
        }
        let name = measure.scenario.text();
        if own.scenario.is_empty() {
            own.scenario = name;
        } else if own.scenario != name {
            "mixed".clone_into(&mut own.scenario);
        }
        own.new_hardware |= !measure.is_clock();
        bill = bill.with(measure.bill.as_ref().unwrap_or(&BillBasis::default()), 1.0);
        let first_year_m3 = judge.first_year_m3(measure);
        own.first_year_m3 += first_year_m3;
        let present_m3 =
            |first_year_m3: f64| rung(measure, first_year_m3, &judge.costs, factors).water_m3;
        own.water_m3 += present_m3(first_year_m3);
        let as_side = |perspective: Perspective| {
            let side = Judge {
                perspective,
                ..*judge
            };
            side.first_year_m3(measure)
        };
        own.net_m3 += present_m3(as_side(Perspective::Society));
        let gross_m3 = as_side(Perspective::Customer);
        own.gross_first_year_m3 += gross_m3;
        own.gross_m3 += present_m3(gross_m3);
    }
    // What units share stands in the bill of each of them, and is bought once.
    for piece in shared {
        let alike = piece.units.iter().filter(|&&unit| {
            of_unit(unit).is_some_and(|measure| measure.scenario == piece.scenario)
        });
        let again = alike.count().saturating_sub(1);
        bill = bill.with(&piece.bill, -(again as f64));
    }
    own.outlay = Outlay {
        once_cur: judge.costs.visit_cur,
        ..judge.costs.outlay(&bill)
    };
    let admin_cur = if own.new_hardware {
        judge.admin_cur
    } else {
        0.0
    };
    own.cost_cur = factors.present_cur(&own.outlay) + admin_cur;
    own
}

/// Writes what every measure of a unit costs and saves. Money of a unit is shared out to its turf
/// areas by heads; steps are those of the whole unit.
fn write_figures(
    judge: &Judge,
    turf: &mut [TurfPlan],
    (number, unit): (usize, &Unit),
    (rungs, steps): (&[Rung], &[LadderStep]),
) {
    for &area in &unit.members {
        turf[area].unit = number;
    }
    for (at, measure) in unit.measures.iter().enumerate() {
        let rung = &rungs[at];
        let outlay = measure.bill.as_ref().map(|bill| judge.costs.outlay(bill));
        let step = steps.iter().position(|step| step.to == at).map(|place| {
            let before = place.checked_sub(1).map(|before| steps[before].to);
            let start_cur = |at: usize| {
                let bill = unit.measures[at].bill.as_ref();
                bill.map_or(0.0, |bill| judge.costs.outlay(bill).total_cur())
            };
            let saved = |at: usize| judge.first_year_m3(&unit.measures[at]);
            StepFigures {
                cost_cur: start_cur(at) - before.map_or(0.0, start_cur),
                saved_m3_yr: saved(at) - before.map_or(0.0, saved),
                cost_cur_m3: steps[place].cost_cur_m3(),
            }
        });
        let with_fixed = (rung.cost_cur + judge.fixed_cur(!measure.is_clock())) / rung.water_m3;
        let heads = |area: usize, row: usize| turf[area].scenarios[row].heads.len();
        let of_unit = unit.members.iter().zip(&measure.rows);
        let all: usize = of_unit.clone().map(|(&area, &row)| heads(area, row)).sum();
        let shares: Vec<f64> = of_unit
            .clone()
            .map(|(&area, &row)| heads(area, row) as f64 / all.max(1) as f64)
            .collect();
        for ((&area, &row), share) in of_unit.zip(shares) {
            let plan = &mut turf[area].scenarios[row];
            if !measure.is_clock() {
                plan.cost_cur = outlay.map(|outlay| share * outlay.total_cur());
            }
            let saves = rung.water_m3 > 0.0 && rung.cost_cur.is_finite();
            plan.cost_cur_m3 = saves.then(|| rung.cost_cur / rung.water_m3);
            plan.ladder = Some(LadderFigures {
                breakeven_cur_m3: step.map(|step| step.cost_cur_m3.max(with_fixed)),
                step,
                recommended_in_frac: 0.0,
                regret_cur: 0.0,
            });
        }
    }
}

/// Marks the scenario of every turf area of a unit, and says why.
fn write_choice(
    judge: &Judge,
    turf: &mut [TurfPlan],
    unit: &Unit,
    (ladder, steps): (&ParcelLadder, &[LadderStep]),
) {
    let row = |area: usize| ladder.chosen().and_then(|option| option.rows[area]);
    let taken = unit.members.first().and_then(|&area| {
        let row = row(area)?;
        unit.measures
            .iter()
            .position(|m| m.rows.first() == Some(&row))
    });
    let reason = reason(judge, turf, unit, (taken, steps));
    for &area in &unit.members {
        let own = row(area).or_else(|| {
            let mut plans = turf[area].scenarios.iter();
            plans.position(|plan| plan.scenario == Scenario::AsFound)
        });
        turf[area].reason.clone_from(&reason);
        if let Some(own) = own {
            turf[area].scenarios[own].recommended = true;
        }
    }
}

fn reason(
    judge: &Judge,
    turf: &[TurfPlan],
    unit: &Unit,
    (taken, steps): (Option<usize>, &[LadderStep]),
) -> String {
    let has_found = |&area: &usize| {
        let mut plans = turf[area].scenarios.iter();
        plans.any(|plan| plan.scenario == Scenario::AsFound && plan.year.is_some())
    };
    if !unit.members.iter().all(has_found) {
        // Nothing to compare with: nothing is recommended.
        return "there is no layout of what is in the ground".to_owned();
    }
    let name = |at: usize| unit.measures[at].scenario.text();
    let figures = |at: usize| {
        let (area, row) = (unit.members[0], unit.measures[at].rows[0]);
        turf[area].scenarios[row].ladder.as_ref()
    };
    let (value, side) = (judge.value_cur_m3, judge.perspective.text());
    let worth = format!("the {value:.2} that it is worth ({side})");
    let pays_from = |at: usize| {
        let from = figures(at).and_then(|own| own.breakeven_cur_m3);
        from.map_or(String::new(), |from| {
            format!("{} pays from {from:.2} a cubic metre", name(at))
        })
    };
    let mut words = String::new();
    if unit.members.len() > 1 {
        let ids: Vec<&str> = unit
            .members
            .iter()
            .map(|&area| turf[area].id.as_str())
            .collect();
        words = format!("{} share a station and change together; ", ids.join(", "));
    }
    match taken {
        Some(at) => {
            if let Some(step) = figures(at).and_then(|own| own.step) {
                words += &format!(
                    "{:.0} more for {:.1} m³/yr more, {:.2} a cubic metre against {worth}",
                    step.cost_cur, step.saved_m3_yr, step.cost_cur_m3
                );
            }
            let place = steps.iter().position(|step| step.to == at);
            if let Some(next) = place.and_then(|place| steps.get(place + 1)) {
                words += &format!("; next, {}", pays_from(next.to));
            }
        }
        None => match steps.first() {
            Some(first) => {
                words += &format!(
                    "nothing is worth its cost at {worth}; {}",
                    pays_from(first.to)
                );
            }
            None => {
                let objections: Vec<String> = unit
                    .measures
                    .iter()
                    .map(|measure| {
                        let why = measure.objection.as_deref();
                        format!(
                            "{}: {}",
                            measure.scenario.text(),
                            why.unwrap_or("it saves nothing")
                        )
                    })
                    .collect();
                words += &match objections.is_empty() {
                    true => "nothing to change: there is no other way to judge".to_owned(),
                    false => format!("nothing to change: {}", objections.join("; ")),
                };
            }
        },
    }
    words
}
