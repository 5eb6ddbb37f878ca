//! What the recommended scenarios of a parcel save: by cause, by what it takes, and how surely.

use serde::{Deserialize, Serialize};

use super::super::outcome::{Scenario, TurfPlan, YearUse};
use super::area::{Watered, Ways, Without};
use super::meter::MeterUse;
use super::{CLAIM_CAPPED, UNDER_WATERED};
use crate::assumptions::{Assumptions, Key};
use crate::savings::{
    After, Against, Attribution, ClaimTerms, Claims, Counterfactual, DrawnLawn, Forms, MeterRules,
    Metered, Uses, Values, Way, percentiles, ranges,
};

/// What the recommended scenarios of a parcel save.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ParcelSavings {
    /// Use as found \[m³/yr\].
    pub asfound_m3_yr: f64,
    /// What the meter says; `None` where the figures rest on the model alone.
    pub meter: Option<MeterUse>,
    /// Where it stands among parcels without a meter; `None` with one.
    pub tier: Option<Tier>,
    /// The potential by cause.
    pub parts: Attribution,
    /// What new hardware would take off with the clock left as it is, and with run times raised by
    /// the ratio of the rates, by cause; the turf may go short with the first.
    pub otherwise: [Attribution; 2],
    /// Whether what the owner would save is a larger share of the use as found than
    /// `savings.review_above_frac`.
    pub above_evidence: bool,
    /// The potential by what it takes.
    pub takes: Takes,
    /// What may be claimed against each counterfactual, with every assumption central \[m³/yr\].
    pub claims: Claims,
    /// The counterfactual of the claim, by its place in [`Counterfactual::ALL`].
    pub counterfactual: usize,
    /// What may be claimed, over the draws.
    pub claimed: Percentiles,
    /// What may be claimed against each counterfactual, over the draws.
    pub claimed_against: [Percentiles; 3],
    /// What the owner would save with every assumption central \[m³/yr\], see `owner`.
    pub owner_m3_yr: f64,
    /// What the owner would save, over the draws, before anything is deducted: against the turf area
    /// as found where its clock is known, else against the same rule for the clock with the old
    /// hardware.
    pub owner: Percentiles,
    /// The potential, over the draws.
    pub potential: Percentiles,
    /// The claim of each draw against each counterfactual \[m³/yr\]; empty where it is 0 in all of
    /// them. Draws of what all parcels share agree from parcel to parcel, so totals are summed draw
    /// by draw.
    pub claims_m3_yr: [Vec<f64>; 3],
    /// What the owner would save in each draw \[m³/yr\]; empty where that is 0 in all of them.
    pub owners_m3_yr: Vec<f64>,
    /// The potential of each draw \[m³/yr\]; empty where it is 0 in all of them.
    pub potentials_m3_yr: Vec<f64>,
    /// The claim with each drawn assumption at its low and at its high value and all others
    /// central \[m³/yr\], in the order of [`RANGES`](crate::assumptions::RANGES); then with the other
    /// two forms of the run-time multiplier; then with either method of runoff.
    pub swings_m3_yr: Vec<[f64; 2]>,
}

/// Where a parcel without a meter stands: modelled figures do not bear exact ranks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Tier {
    /// Nine of ten draws reach the claim of `savings.tier_m3_yr`.
    High,
    /// The draws cannot tell.
    Middle,
    /// Nine of ten draws stay below it.
    Low,
}

impl Tier {
    fn of(claimed: &Percentiles, from_m3_yr: f64) -> Tier {
        if claimed.p10_m3_yr >= from_m3_yr {
            Tier::High
        } else if claimed.p90_m3_yr < from_m3_yr {
            Tier::Low
        } else {
            Tier::Middle
        }
    }

    /// The word in the `tier` column.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Tier::High => "high",
            Tier::Middle => "middle",
            Tier::Low => "low",
        }
    }
}

/// Percentiles over the draws \[m³/yr\].
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Percentiles {
    /// A tenth of the draws lies below.
    pub p10_m3_yr: f64,
    /// The middle.
    pub p50_m3_yr: f64,
    /// A tenth lies above.
    pub p90_m3_yr: f64,
}

impl Percentiles {
    /// The percentiles of some draws; `None` without any.
    #[must_use]
    pub fn of(draws_m3_yr: &[f64]) -> Option<Percentiles> {
        let [p10, p50, p90] = percentiles(draws_m3_yr, [0.1, 0.5, 0.9])?;
        Some(Percentiles {
            p10_m3_yr: p10,
            p50_m3_yr: p50,
            p90_m3_yr: p90,
        })
    }
}

/// A potential by what it takes, from the cheapest on \[m³/yr\]. Where the clock as found is known the
/// three add up to it but for rounding; where it is not, what a right schedule would take is left
/// open. What a clock or a repair would take is never credited to a nozzle.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Takes {
    /// What a right schedule takes with the hardware as found; `None` where that cannot be
    /// observed.
    pub reclock_m3_yr: Option<f64>,
    /// What repairs take beyond that.
    pub repair_m3_yr: f64,
    /// What new nozzles and new places add beyond both; below 0 where they use more.
    pub nozzle_m3_yr: f64,
}

impl Takes {
    /// The potential of a scenario from the uses \[m³/yr\] as found, with a right schedule, and
    /// repaired (where a repair is possible), and whether the schedule's part can be observed.
    fn of(
        scenario: &Scenario,
        (found, reclock, repair): (f64, f64, Option<f64>),
        best: f64,
        clock_observed: bool,
    ) -> Takes {
        let observed = |m3: f64| clock_observed.then_some(m3);
        let clock = found.min(reclock);
        match scenario {
            Scenario::AsFound => Takes {
                reclock_m3_yr: observed(0.0),
                ..Takes::default()
            },
            Scenario::Reclock => Takes {
                reclock_m3_yr: observed(found - best),
                ..Takes::default()
            },
            Scenario::Repair(_) => Takes {
                reclock_m3_yr: observed(found - clock),
                repair_m3_yr: clock - best,
                nozzle_m3_yr: 0.0,
            },
            _ => {
                let repaired = repair.map_or(clock, |repair| clock.min(repair));
                Takes {
                    reclock_m3_yr: observed(found - clock),
                    repair_m3_yr: clock - repaired,
                    nozzle_m3_yr: repaired - best,
                }
            }
        }
    }

    /// Adds those of another turf area.
    pub fn add(&mut self, other: &Takes) {
        self.add_reclock(other.reclock_m3_yr);
        self.repair_m3_yr += other.repair_m3_yr;
        self.nozzle_m3_yr += other.nozzle_m3_yr;
    }

    fn add_reclock(&mut self, m3_yr: Option<f64>) {
        if let Some(own) = m3_yr {
            self.reclock_m3_yr = Some(self.reclock_m3_yr.unwrap_or(0.0) + own);
        }
    }
}

/// What the recommended scenarios save; `None` when no turf area has both an as-found and a
/// recommended scenario.
pub(super) fn of(
    assumptions: &Assumptions,
    turf: &[TurfPlan],
    ways: &[Ways<'_>],
    draws: &[Values],
    metered: Option<Metered>,
) -> Option<ParcelSavings> {
    let areas = turf.iter().zip(ways);
    let counted: Vec<Counted<'_>> = areas
        .filter_map(|(area, ways)| Counted::of(area, ways))
        .collect();
    if counted.is_empty() {
        return None;
    }
    let mut asfound_m3_yr = 0.0;
    let (mut parts, mut takes) = (Attribution::default(), Takes::default());
    let mut otherwise = [Attribution::default(); 2];
    for own in &counted {
        asfound_m3_yr += own.without.found.water.year().use_m3_yr;
        parts.add(&own.parts);
        takes.add(&own.takes());
        if let Some(behaviours) = &own.year.behaviours {
            let outcomes = [&behaviours.unchanged, &behaviours.scaled];
            for (sum, outcome) in otherwise.iter_mut().zip(outcomes) {
                sum.add(&outcome.parts.unwrap_or_default());
            }
        }
    }
    let review_frac = assumptions.number(Key::SavingsReview);
    // The draws, then the central values, then what moves one thing at a time.
    let central = Values::central(assumptions);
    let draw_count = draws.len();
    let draws = draws.iter().copied().chain([central]);
    let draws: Vec<Values> = draws.chain(edges(assumptions, central)).collect();
    let rules = MeterRules::assumed(assumptions);
    let bounds = metered.as_ref().map(|metered| (metered, &rules));
    let sums = sums(assumptions, &counted, &draws, bounds);
    let (of_draws, rest) = sums.split_at(draw_count);
    let (middle, edges) = rest.split_first()?;
    let above_evidence = middle.owner_m3 > review_frac * asfound_m3_yr;
    let against = Counterfactual::assumed(assumptions);
    let meter = metered.map(|metered| middle.meter_use(&metered, &central, &rules, against));
    if let Some(meter) = &meter {
        asfound_m3_yr += meter.raised_m3_yr;
        parts.schedule_m3_yr += meter.raised_saved_m3_yr;
        if meter.raised_saved_m3_yr > 0.0 {
            takes.add_reclock(Some(meter.raised_saved_m3_yr));
        }
    }
    let column = |of: &dyn Fn(&Sums) -> f64| -> Vec<f64> { of_draws.iter().map(of).collect() };
    let claims = Counterfactual::ALL.map(|one| column(&|sums| sums.claims.against(one)));
    let claimed_against = [0, 1, 2].map(|at| Percentiles::of(&claims[at]));
    let [Some(a), Some(b), Some(c)] = claimed_against else {
        return None;
    };
    let claimed_against = [a, b, c];
    let claimed = claimed_against[against as usize];
    let potentials = column(&|sums| sums.potential_m3);
    let owners = column(&|sums| sums.owner_m3);
    let tier_m3_yr = assumptions.number(Key::SavingsTier);
    let edges = edges.chunks_exact(2);
    Some(ParcelSavings {
        asfound_m3_yr,
        tier: meter.is_none().then(|| Tier::of(&claimed, tier_m3_yr)),
        meter,
        above_evidence,
        parts,
        otherwise,
        takes,
        claims: middle.claims,
        counterfactual: against as usize,
        claimed,
        claimed_against,
        owner_m3_yr: middle.owner_m3,
        owner: Percentiles::of(&owners)?,
        potential: Percentiles::of(&potentials)?,
        claims_m3_yr: claims.map(unless_zero),
        owners_m3_yr: unless_zero(owners),
        potentials_m3_yr: unless_zero(potentials),
        swings_m3_yr: edges
            .map(|pair| [0, 1].map(|end: usize| pair[end].claims.against(against)))
            .collect(),
    })
}

/// A list that is not all zeros, else none.
fn unless_zero(list: Vec<f64>) -> Vec<f64> {
    if list.iter().all(|value| *value == 0.0) {
        Vec::new()
    } else {
        list
    }
}

/// The central values with one thing moved: every assumption to its low and to its high value, the
/// run-time multiplier to its other two forms, runoff to either method.
fn edges(assumptions: &Assumptions, central: Values) -> Vec<Values> {
    let mut edges: Vec<Values> = ranges(assumptions)
        .iter()
        .enumerate()
        .flat_map(|(place, range)| [range.low, range.high].map(|value| central.with(place, value)))
        .collect();
    let forms = central.1;
    let [one, other] = if assumptions.number(Key::SavingsRangeWidth) > 0.0 {
        forms.other_multipliers()
    } else {
        [forms.multiplier; 2]
    };
    let multipliers = [one, other].map(|multiplier| Forms {
        multiplier,
        ..forms
    });
    edges.extend(multipliers.map(|forms| central.with_forms(forms)));
    let other = if assumptions.number(Key::SavingsRangeWidth) > 0.0 {
        forms.other_runoff()
    } else {
        forms.runoff
    };
    let methods = [forms.runoff, other].map(|runoff| Forms { runoff, ..forms });
    edges.extend(methods.map(|forms| central.with_forms(forms)));
    edges
}

/// What each draw comes to on a parcel, held against its meter where it has one.
fn sums(
    assumptions: &Assumptions,
    counted: &[Counted<'_>],
    draws: &[Values],
    bounds: Option<(&Metered, &MeterRules)>,
) -> Vec<Sums> {
    let terms = ClaimTerms::assumed(assumptions);
    let terms: Vec<ClaimTerms> = draws
        .iter()
        .map(|values| values.claim_terms(&terms))
        .collect();
    let mut all = vec![Sums::default(); draws.len()];
    // Where nothing changes and nothing is compared there is nothing to compute.
    let changing = counted
        .iter()
        .filter(|own| own.best != Scenario::AsFound || bounds.is_some());
    let compared: Vec<(&Counted<'_>, Compared<'_>)> = changing
        .map(|own| (own, own.compared(assumptions)))
        .collect();
    // Turf areas of one need share its computation.
    let mut needs: Vec<(&DrawnLawn<'_>, Vec<[f64; 12]>)> = Vec::new();
    for (own, compared) in &compared {
        let drawn = &compared.drawn;
        let known = needs.iter().position(|(other, _)| other.needs_like(drawn));
        let known = known.unwrap_or_else(|| {
            let net_mm = draws.iter().map(|values| drawn.net_mm(values)).collect();
            needs.push((drawn, net_mm));
            needs.len() - 1
        });
        let draws = draws.iter().zip(&terms).zip(&needs[known].1);
        for (sums, ((values, terms), net_mm)) in all.iter_mut().zip(draws) {
            let uses = compared.uses_m3(values, net_mm);
            sums.net_m3 += net_mm.iter().sum::<f64>() / 1_000.0 * own.ways.lawn.demand.area_m2;
            sums.add(own, compared, &uses, terms);
        }
    }
    if let Some((metered, rules)) = bounds {
        for (sums, values) in all.iter_mut().zip(draws) {
            let against = sums.against(metered, values, rules);
            let bounded = |claim: f64| rules.bounded_m3_yr(claim, &against);
            sums.claims = Claims(sums.claims.0.map(bounded));
            sums.owner_m3 = rules.bounded_m3_yr(sums.owner_m3, &against);
            sums.potential_m3 += sums.raised_saved_m3(&against, rules);
        }
    }
    all
}

/// What a draw comes to on a parcel \[m³/yr\].
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    found_m3: f64,
    /// Of that, the use of turf areas where nothing is recommended.
    left_m3: f64,
    net_m3: f64,
    potential_m3: f64,
    owner_m3: f64,
    claims: Claims,
}

impl Sums {
    fn against(&self, metered: &Metered, values: &Values, rules: &MeterRules) -> Against {
        Against {
            outdoor_m3_yr: metered.outdoor_m3_yr * values.outdoor_scale(),
            allowance_m3_yr: self.net_m3 / rules.efficiency_frac,
            asfound_m3_yr: self.found_m3,
        }
    }

    /// What of a raised use the recommended schedules take.
    fn raised_saved_m3(&self, against: &Against, rules: &MeterRules) -> f64 {
        if self.found_m3 <= 0.0 {
            return 0.0;
        }
        rules.raised_m3_yr(against) * (1.0 - self.left_m3 / self.found_m3)
    }

    /// What a meter says, with these sums central and bounded.
    fn meter_use(
        &self,
        metered: &Metered,
        central: &Values,
        rules: &MeterRules,
        counterfactual: Counterfactual,
    ) -> MeterUse {
        let against = self.against(metered, central, rules);
        let claimed_m3_yr = self.claims.against(counterfactual);
        let under_watered = rules.under_waters(&against);
        let mut flags = Vec::new();
        if under_watered {
            flags.push(UNDER_WATERED);
        } else if claimed_m3_yr > 0.0 && claimed_m3_yr >= rules.most_frac * against.outdoor_m3_yr {
            flags.push(CLAIM_CAPPED);
        }
        MeterUse {
            outdoor_m3_yr: against.outdoor_m3_yr,
            allowance_m3_yr: against.allowance_m3_yr,
            raised_m3_yr: rules.raised_m3_yr(&against),
            raised_saved_m3_yr: self.raised_saved_m3(&against, rules),
            claimed_m3_yr,
            under_watered,
            flags,
        }
    }

    /// Adds a turf area with the uses of its ways.
    fn add(
        &mut self,
        own: &Counted<'_>,
        compared: &Compared<'_>,
        by_way: &[f64],
        terms: &ClaimTerms,
    ) {
        let found_m3 = by_way[0];
        self.found_m3 += found_m3;
        let Some(row) = compared.rows.first() else {
            self.left_m3 += found_m3;
            return;
        };
        self.potential_m3 += found_m3 - by_way[row.way];
        let uses = compared.uses(by_way, row);
        self.owner_m3 += owner_m3_yr(&uses);
        if own.best.changes_hardware() {
            self.claims.add(&uses.claims(terms));
        }
    }
}

/// What an owner would save before anything is deducted \[m³/yr\]: against the turf area as found
/// where its clock is known, else against the old hardware under the same rule for the clock, since
/// nobody knows what a right schedule would take there.
fn owner_m3_yr(uses: &Uses) -> f64 {
    uses.gross(Counterfactual::AsFound).m3_yr()
}

/// A turf area with its recommended scenario and with what can be had without new nozzles.
struct Counted<'p> {
    ways: &'p Ways<'p>,
    without: &'p Without,
    best: Scenario,
    year: &'p YearUse,
    parts: Attribution,
}

impl<'p> Counted<'p> {
    fn of(area: &'p TurfPlan, ways: &'p Ways<'p>) -> Option<Counted<'p>> {
        let best = area.scenarios.iter().find(|plan| plan.recommended)?;
        let year = best.year.as_ref()?;
        Some(Counted {
            ways,
            without: ways.without.as_ref()?,
            best: best.scenario.clone(),
            year,
            parts: year.parts.unwrap_or_default(),
        })
    }

    fn takes(&self) -> Takes {
        let of = |watered: &Watered| watered.water.year().use_m3_yr;
        let found = of(&self.without.found);
        let uses = (
            found,
            self.without.reclock.as_ref().map_or(found, of),
            self.without.repair.as_ref().map(of),
        );
        let observed = self.without.clock_observed;
        Takes::of(&self.best, uses, self.year.use_m3_yr, observed)
    }

    /// Ready for draws, with its recommended scenario where that changes anything.
    fn compared(&self, assumptions: &Assumptions) -> Compared<'p> {
        let best = (self.best != Scenario::AsFound).then_some(self.year);
        Compared::of(assumptions, self.ways, self.without, best.into_iter())
    }
}

/// A turf area ready for draws: as found, what can be had without new nozzles, and scenarios.
struct Compared<'p> {
    drawn: DrawnLawn<'p>,
    without: &'p Without,
    reclock: Option<usize>,
    repair: Option<usize>,
    rows: Vec<Row>,
}

/// A scenario among the ways of a turf area.
struct Row {
    /// Its place among the ways.
    way: usize,
    after: After,
}

impl<'p> Compared<'p> {
    fn of(
        assumptions: &Assumptions,
        area: &'p Ways<'p>,
        without: &'p Without,
        scenarios: impl Iterator<Item = &'p YearUse>,
    ) -> Compared<'p> {
        let mut ways: Vec<Way<'p>> = Vec::new();
        let mut push = |watered: &'p Watered| {
            ways.push(Way {
                hardware: &watered.hardware,
                drift: watered.drift,
                water: &watered.water,
            });
            ways.len() - 1
        };
        push(&without.found);
        let reclock = without.reclock.as_ref().map(&mut push);
        let repair = without.repair.as_ref().map(&mut push);
        let mut rows = Vec::new();
        for year in scenarios {
            rows.push(Row {
                way: ways.len(),
                after: year.after,
            });
            ways.push(Way {
                hardware: &year.hardware,
                drift: year.drift,
                water: &year.water,
            });
        }
        let Ways {
            lawn, clock, plant, ..
        } = area;
        Compared {
            drawn: DrawnLawn::new(lawn, clock, *plant, assumptions, &ways),
            without,
            reclock,
            repair,
            rows,
        }
    }

    /// Use of each way in a draw, by the method of the draw \[m³/yr\].
    fn uses_m3(&self, values: &Values, net_mm: &[f64; 12]) -> Vec<f64> {
        let by_both = self.drawn.uses_m3(values, net_mm);
        by_both.map(|by_both| values.pick(by_both)).collect()
    }

    /// The uses that a scenario is compared with.
    fn uses(&self, by_way: &[f64], row: &Row) -> Uses {
        let found = by_way[0];
        let after = |way: Option<usize>, watered: &Option<Watered>| {
            let (way, watered) = (way?, watered.as_ref()?);
            Some(watered.after.use_m3_yr(found, by_way[way]))
        };
        Uses {
            found_m3_yr: found,
            reclock_m3_yr: after(self.reclock, &self.without.reclock),
            repair_m3_yr: after(self.repair, &self.without.repair),
            clock_observed: self.without.clock_observed,
            with_m3_yr: row.after.use_m3_yr(found, by_way[row.way]),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::outcome::Bodies;
    use super::*;

    #[test]
    fn what_a_clock_or_a_repair_takes_is_not_the_nozzle_s() {
        let swap = Scenario::Swap("slow".to_owned(), Bodies::Kept);
        let takes = Takes::of(&swap, (100.0, 90.0, Some(84.0)), 80.0, true);
        assert_eq!(
            takes,
            Takes {
                reclock_m3_yr: Some(10.0),
                repair_m3_yr: 6.0,
                nozzle_m3_yr: 4.0
            }
        );
        // Where nobody knows the clock, its part is left open, and is nobody else's.
        let takes = Takes::of(&swap, (100.0, 90.0, Some(84.0)), 80.0, false);
        assert_eq!((takes.reclock_m3_yr, takes.nozzle_m3_yr), (None, 4.0));
        // A repair that uses more than a right schedule takes nothing.
        let takes = Takes::of(&swap, (100.0, 90.0, Some(95.0)), 80.0, true);
        assert_eq!((takes.repair_m3_yr, takes.nozzle_m3_yr), (0.0, 10.0));
        // Nor does a schedule that would bring what is missing today.
        let takes = Takes::of(
            &Scenario::Repair(Bodies::Kept),
            (100.0, 120.0, Some(95.0)),
            95.0,
            true,
        );
        assert_eq!((takes.reclock_m3_yr, takes.repair_m3_yr), (Some(0.0), 5.0));
        let all = Takes::of(&Scenario::Reclock, (100.0, 90.0, Some(84.0)), 90.0, true);
        assert_eq!((all.reclock_m3_yr, all.nozzle_m3_yr), (Some(10.0), 0.0));
        let none = Takes::of(&Scenario::AsFound, (100.0, 90.0, None), 100.0, true);
        assert_eq!((none.reclock_m3_yr, none.nozzle_m3_yr), (Some(0.0), 0.0));
    }
}
