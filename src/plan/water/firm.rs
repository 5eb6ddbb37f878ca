//! How firm a choice is: the ladder again in every draw.
//!
//! In each draw uses, shares that count, prices of work and parts, lives and decay are as the draw has
//! them, and the parcel is decided again: the best of nothing, of clocks alone, and of all measures,
//! each with its visit and administration. Units have their own complete bills here; what several
//! would share counts for each.

use super::super::outcome::TurfPlan;
use super::area::Ways;
use super::decide::{Judge, ParcelLadder, rung};
use super::measures::{Bases, Unit};
use crate::assumptions::Assumptions;
use crate::savings::{Behaviour, DrawnLawn, Gross, Rung, Values, Way};

/// Every so many draws one is decided again. The draws have no order of their own, so some of them
/// are a sample of all: with 64 a share of a half is known to within 0.06 (its standard error).
const EVERY: usize = 4;

/// A measure in one draw.
#[derive(Debug, Clone, Copy)]
struct Open {
    at: usize,
    npv_cur: f64,
    is_clock: bool,
}

/// What is best on a parcel in one draw.
struct Best {
    npv_cur: f64,
    /// By unit, the measure; `None` where it is left.
    held: Vec<Option<usize>>,
}

/// Adds to every scenario the share of draws in which it is chosen, and to what is recommended the
/// mean regret.
pub(super) fn firmness(
    judge: &Judge,
    assumptions: &Assumptions,
    (turf, ways): (&mut [TurfPlan], &[Ways<'_>]),
    (units, ladder): (&[Unit], &mut ParcelLadder),
    draws: &[Values],
) {
    let chosen: Vec<Option<usize>> = units
        .iter()
        .map(|unit| {
            let rows = &ladder.chosen()?.rows;
            let first = unit.members.first()?;
            let row = rows[*first]?;
            let mut measures = unit.measures.iter();
            measures.position(|measure| measure.rows.first() == Some(&row))
        })
        .collect();
    let some: Vec<&Values> = draws.iter().step_by(EVERY).collect();
    if some.is_empty()
        || units
            .iter()
            .all(|unit| unit.measures.iter().all(|m| m.admissible().is_none()))
    {
        return;
    }
    let gross = gross(assumptions, turf, ways, units, &some);
    let mut counts: Vec<Vec<u32>> = units
        .iter()
        .map(|u| vec![0; u.measures.len() + 1])
        .collect();
    let (mut same, mut regret_cur) = (0_u32, 0.0);
    let mut regrets_cur = vec![0.0; units.len()];
    for (draw, values) in some.iter().enumerate() {
        let own = Judge {
            terms: values.terms(&judge.terms),
            costs: values.costs(&judge.costs),
            claim: values.claim_terms(&judge.claim),
            ..*judge
        };
        let factors = own.terms.factors();
        let open: Vec<Vec<Open>> = units
            .iter()
            .enumerate()
            .map(|(number, unit)| {
                let measures = unit.measures.iter().enumerate();
                measures
                    .filter(|(_, measure)| measure.admissible().is_some())
                    .map(|(at, measure)| {
                        let first_m3 = own.counted_m3(&own.claim, &gross[number][at][draw]);
                        let Rung { cost_cur, water_m3 } =
                            rung(measure, first_m3, &own.costs, &factors);
                        Open {
                            at,
                            npv_cur: own.value_cur_m3 * water_m3 - cost_cur,
                            is_clock: measure.is_clock(),
                        }
                    })
                    .collect()
            })
            .collect();
        let fixed_cur = [own.fixed_cur(false), own.fixed_cur(true)];
        let best = best(&open, fixed_cur, None);
        let held_npv_cur = worth(&open, fixed_cur, &chosen);
        regret_cur += best.npv_cur - held_npv_cur;
        same += u32::from(best.held == chosen);
        for (unit, held) in best.held.iter().enumerate() {
            counts[unit][held.map_or(0, |at| at + 1)] += 1;
            if *held != chosen[unit] {
                let bound = self::best(&open, fixed_cur, Some((unit, chosen[unit])));
                regrets_cur[unit] += (best.npv_cur - bound.npv_cur).max(0.0);
            }
        }
    }
    let all = some.len() as f64;
    ladder.recommended_in_frac = f64::from(same) / all;
    ladder.regret_cur = regret_cur / all;
    for (number, unit) in units.iter().enumerate() {
        for (place, &area) in unit.members.iter().enumerate() {
            let area = &mut turf[area];
            area.left_in_frac = f64::from(counts[number][0]) / all;
            if chosen[number].is_none() {
                area.left_regret_cur = regrets_cur[number] / all;
            }
            for (at, measure) in unit.measures.iter().enumerate() {
                if let Some(own) = &mut area.scenarios[measure.rows[place]].ladder {
                    own.recommended_in_frac = f64::from(counts[number][at + 1]) / all;
                    if chosen[number] == Some(at) {
                        own.regret_cur = regrets_cur[number] / all;
                    }
                }
            }
        }
    }
}

/// By unit, measure, draw and member, what is saved.
type Drawn = Vec<Vec<Vec<Vec<Gross>>>>;

fn gross(
    assumptions: &Assumptions,
    turf: &[TurfPlan],
    ways: &[Ways<'_>],
    units: &[Unit],
    draws: &[&Values],
) -> Drawn {
    let mut drawn: Drawn = units
        .iter()
        .map(|unit| vec![vec![Vec::new(); draws.len()]; unit.measures.len()])
        .collect();
    // Turf areas of one need share it.
    let mut needs: Vec<(DrawnLawn<'_>, Vec<[f64; 12]>)> = Vec::new();
    for (number, unit) in units.iter().enumerate() {
        for (place, &area) in unit.members.iter().enumerate() {
            let (plans, ways) = (&turf[area].scenarios, &ways[area]);
            let Some(bases) = Bases::of(&turf[area]) else {
                continue;
            };
            let open: Vec<usize> = (0..unit.measures.len())
                .filter(|&at| unit.measures[at].admissible().is_some())
                .collect();
            let changed = open.iter().filter_map(|&at| {
                let year = plans[unit.measures[at].rows[place]].year.as_ref()?;
                Some((at, year))
            });
            let changed: Vec<(usize, _)> = changed.collect();
            if changed.is_empty() {
                continue;
            }
            let years = [bases.found, bases.same_clock].into_iter();
            let all: Vec<Way<'_>> = years
                .chain(changed.iter().map(|(_, year)| *year))
                .map(|year| Way {
                    hardware: &year.hardware,
                    drift: year.drift,
                    water: &year.water,
                })
                .collect();
            let lawn = DrawnLawn::new(&ways.lawn, &ways.clock, ways.plant, assumptions, &all);
            let known = needs.iter().position(|(other, _)| other.needs_like(&lawn));
            let nets = match known {
                Some(known) => needs[known].1.clone(),
                None => draws.iter().map(|values| lawn.net_mm(values)).collect(),
            };
            for (draw, values) in draws.iter().enumerate() {
                let by_both = lawn.uses_m3(values, &nets[draw]);
                let uses: Vec<f64> = by_both.map(|own| values.pick(own)).collect();
                let less = |a: usize, b: usize| uses[a] - uses[b];
                let clock_m3_yr = match bases.clock_is_known() {
                    true => less(0, 1),
                    false => 0.0,
                };
                for (way, &(at, year)) in changed.iter().enumerate() {
                    let with_m3_yr = year.after.use_m3_yr(uses[0], uses[way + 2]);
                    let hardware_m3_yr = match (unit.measures[at].is_clock(), year.after.behaviour)
                    {
                        (true, _) => 0.0,
                        (false, Behaviour::Retimed) => uses[1] - with_m3_yr,
                        (false, Behaviour::Unchanged | Behaviour::Scaled) => uses[0] - with_m3_yr,
                    };
                    drawn[number][at][draw].push(Gross {
                        clock_m3_yr,
                        hardware_m3_yr,
                    });
                }
            }
            if known.is_none() {
                needs.push((lawn, nets));
            }
        }
    }
    drawn
}

/// The best choice for a parcel, with one unit held where it is given. Ties: nothing before clocks,
/// clocks before hardware, then the first.
fn best(units: &[Vec<Open>], fixed_cur: [f64; 2], bound: Option<(usize, Option<usize>)>) -> Best {
    let pick = |allowed: fn(&Open) -> bool| -> Vec<Option<usize>> {
        let of_unit = |(number, open): (usize, &Vec<Open>)| {
            if let Some((unit, held)) = bound
                && unit == number
            {
                return held;
            }
            let mut found: Option<&Open> = None;
            for one in open.iter().filter(|one| allowed(one)) {
                if one.npv_cur > found.map_or(0.0, |best| best.npv_cur) {
                    found = Some(one);
                }
            }
            found.map(|one| one.at)
        };
        units.iter().enumerate().map(of_unit).collect()
    };
    let nothing = match bound {
        None => vec![None; units.len()],
        Some((unit, held)) => {
            let mut all = vec![None; units.len()];
            all[unit] = held;
            all
        }
    };
    let choices = [nothing, pick(|one| one.is_clock), pick(|_| true)];
    let mut best: Option<Best> = None;
    for held in choices {
        let npv_cur = worth(units, fixed_cur, &held);
        if best.as_ref().is_none_or(|best| npv_cur > best.npv_cur) {
            best = Some(Best { npv_cur, held });
        }
    }
    best.unwrap_or(Best {
        npv_cur: 0.0,
        held: vec![None; units.len()],
    })
}

/// Net present value of a choice, visit and administration included.
fn worth(
    units: &[Vec<Open>],
    [visit_cur, with_admin_cur]: [f64; 2],
    held: &[Option<usize>],
) -> f64 {
    let (mut npv_cur, mut changed, mut hardware) = (0.0, false, false);
    for (open, at) in units.iter().zip(held) {
        let one = at.and_then(|at| open.iter().find(|one| one.at == at));
        if let Some(one) = one {
            npv_cur += one.npv_cur;
            changed = true;
            hardware |= !one.is_clock;
        }
    }
    match (changed, hardware) {
        (false, _) => 0.0,
        (true, false) => npv_cur - visit_cur,
        (true, true) => npv_cur - with_admin_cur,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn open(at: usize, npv_cur: f64, is_clock: bool) -> Open {
        Open {
            at,
            npv_cur,
            is_clock,
        }
    }

    #[test]
    fn a_parcel_is_worth_its_visit_or_is_left() {
        let units = [
            vec![open(0, 30.0, true), open(1, 60.0, false)],
            vec![open(1, 15.0, false)],
        ];
        // All hardware: 75 less 100. Clocks alone: 30 less 40. Nothing: 0.
        let none = best(&units, [40.0, 100.0], None);
        assert_eq!((none.npv_cur, none.held), (0.0, vec![None, None]));
        let clocks = best(&units, [10.0, 70.0], None);
        assert_eq!((clocks.npv_cur, clocks.held), (20.0, vec![Some(0), None]));
        let all = best(&units, [10.0, 20.0], None);
        assert_eq!((all.npv_cur, all.held), (55.0, vec![Some(1), Some(1)]));
        // With the first unit held at nothing the second does not carry the visit.
        let bound = best(&units, [10.0, 20.0], Some((0, None)));
        assert_eq!((bound.npv_cur, bound.held), (0.0, vec![None, None]));
        let bound = best(&units, [10.0, 20.0], Some((1, None)));
        assert_eq!((bound.npv_cur, bound.held), (40.0, vec![Some(1), None]));
    }
}
