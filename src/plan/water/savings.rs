//! What the recommended scenarios of a parcel save: by cause, by what it takes, and how surely.

use serde::{Deserialize, Serialize};

use super::super::outcome::{Scenario, ScenarioPlan, TurfPlan, YearUse};
use super::area::Ways;
use super::meter::MeterUse;
use super::{CLAIM_CAPPED, UNDER_WATERED};
use crate::assumptions::{Assumptions, Key, Range};
use crate::budget::RunoffMethod;
use crate::savings::{
    Against, Attribution, ClaimTerms, DRAWN, DrawnLawn, MeterRules, Metered, Values, Way,
    claimed_in_draw_m3_yr, percentiles, ranges,
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
    /// Whether the potential is a larger share of the use as found than `savings.review_above_frac`.
    pub above_evidence: bool,
    /// The potential by what it takes.
    pub takes: Takes,
    /// What may be claimed, over the draws.
    pub claimed: Percentiles,
    /// The potential, over the draws.
    pub potential: Percentiles,
    /// The claim of each draw \[m³/yr\]. Draws of what all parcels share agree from parcel to
    /// parcel, so totals are summed draw by draw.
    pub claims_m3_yr: Vec<f64>,
    /// The potential of each draw \[m³/yr\].
    pub potentials_m3_yr: Vec<f64>,
    /// The claim with each drawn assumption at its low and at its high value and all others
    /// central \[m³/yr\], in the order of [`RANGES`](crate::assumptions::RANGES).
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

/// A potential by what it takes, from the cheapest on \[m³/yr\]; the three add up to it but for
/// rounding. What a clock or a repair would take is never credited to a nozzle.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Takes {
    /// What a right schedule takes with the hardware as found.
    pub reclock_m3_yr: f64,
    /// What repairs take beyond that.
    pub repair_m3_yr: f64,
    /// What new nozzles and new places add beyond both; below 0 where they use more.
    pub nozzle_m3_yr: f64,
}

impl Takes {
    /// The potential of a scenario from the uses \[m³/yr\] as found, with a right schedule, and
    /// repaired.
    fn of(scenario: &Scenario, [found, reclock, repair]: [f64; 3], best: f64) -> Takes {
        let potential = found - best;
        match scenario {
            Scenario::AsFound => Takes::default(),
            Scenario::Reclock => Takes {
                reclock_m3_yr: potential,
                ..Takes::default()
            },
            Scenario::Repair(_) => {
                let by_clock = found - found.min(reclock);
                Takes {
                    reclock_m3_yr: by_clock,
                    repair_m3_yr: potential - by_clock,
                    nozzle_m3_yr: 0.0,
                }
            }
            Scenario::Swap(..) | Scenario::Relayout(_) => {
                let clock = found.min(reclock);
                let mended = clock.min(repair);
                Takes {
                    reclock_m3_yr: found - clock,
                    repair_m3_yr: clock - mended,
                    nozzle_m3_yr: mended - best,
                }
            }
        }
    }

    /// Adds those of another turf area.
    pub fn add(&mut self, other: &Takes) {
        self.reclock_m3_yr += other.reclock_m3_yr;
        self.repair_m3_yr += other.repair_m3_yr;
        self.nozzle_m3_yr += other.nozzle_m3_yr;
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
        asfound_m3_yr += own.ways.without[0].1.year().use_m3_yr;
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
    let ranges = ranges(assumptions);
    let central = Values::central(&ranges);
    // The draws, then the central values, then every assumption at its low and at its high value.
    let edges = ranges
        .iter()
        .enumerate()
        .flat_map(|(place, range)| [range.low, range.high].map(|value| central.with(place, value)));
    let draw_count = draws.len();
    let draws = draws.iter().copied().chain([central]).chain(edges);
    let draws: Vec<Values> = draws.collect();
    let rules = MeterRules::assumed(assumptions);
    let bounds = metered.as_ref().map(|metered| (metered, &rules));
    let sums = sums(assumptions, &counted, &ranges, &draws, bounds);
    let (of_draws, rest) = sums.split_at(draw_count);
    let (middle, edges) = rest.split_first()?;
    let meter = metered.map(|metered| middle.meter_use(&metered, &central, &rules));
    let claims_m3_yr: Vec<f64> = of_draws.iter().map(|sums| sums.claimed_m3).collect();
    let potentials_m3_yr: Vec<f64> = of_draws.iter().map(|sums| sums.potential_m3).collect();
    let claimed = Percentiles::of(&claims_m3_yr)?;
    let tier_m3_yr = assumptions.number(Key::SavingsTier);
    let edges = edges.chunks_exact(2);
    Some(ParcelSavings {
        asfound_m3_yr,
        tier: meter.is_none().then(|| Tier::of(&claimed, tier_m3_yr)),
        meter,
        above_evidence: parts.total_m3_yr() > review_frac * asfound_m3_yr,
        parts,
        otherwise,
        takes,
        claimed,
        potential: Percentiles::of(&potentials_m3_yr)?,
        claims_m3_yr,
        potentials_m3_yr,
        swings_m3_yr: edges
            .map(|pair| [pair[0].claimed_m3, pair[1].claimed_m3])
            .collect(),
    })
}

/// What each draw comes to on a parcel, held against its meter where it has one.
fn sums(
    assumptions: &Assumptions,
    counted: &[Counted<'_>],
    ranges: &[Range; DRAWN],
    draws: &[Values],
    bounds: Option<(&Metered, &MeterRules)>,
) -> Vec<Sums> {
    let terms = ClaimTerms::assumed(assumptions);
    let terms: Vec<ClaimTerms> = draws
        .iter()
        .map(|values| values.claim_terms(&terms))
        .collect();
    let mut all = vec![Sums::default(); draws.len()];
    // Where nothing changes and nothing is compared there is nothing to reckon.
    let changing = counted
        .iter()
        .filter(|own| own.beside() > 0 || bounds.is_some());
    let lawns: Vec<(&Counted<'_>, DrawnLawn<'_>)> =
        changing.map(|own| (own, own.drawn(ranges))).collect();
    // Lawns of one need share its reckoning.
    let mut needs: Vec<(&DrawnLawn<'_>, Vec<[f64; 12]>)> = Vec::new();
    for (own, drawn) in &lawns {
        let known = needs.iter().position(|(other, _)| other.needs_like(drawn));
        let known = known.unwrap_or_else(|| {
            let net_mm = draws.iter().map(|values| drawn.net_mm(values)).collect();
            needs.push((drawn, net_mm));
            needs.len() - 1
        });
        let mut uses = Vec::new();
        let draws = draws.iter().zip(&terms).zip(&needs[known].1);
        for (sums, ((values, terms), net_mm)) in all.iter_mut().zip(draws) {
            uses.clear();
            uses.extend(drawn.uses_m3(values, net_mm));
            sums.net_m3 += net_mm.iter().sum::<f64>() / 1_000.0 * own.ways.lawn.demand.area_m2;
            sums.add(own, &uses, terms);
        }
    }
    if let Some((metered, rules)) = bounds {
        for (sums, values) in all.iter_mut().zip(draws) {
            let against = sums.against(metered, values, rules);
            sums.claimed_m3 = rules.bounded_m3_yr(sums.claimed_m3, &against);
        }
    }
    all
}

/// What a draw comes to on a parcel \[m³/yr\].
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    found_m3: f64,
    net_m3: f64,
    potential_m3: f64,
    claimed_m3: f64,
}

impl Sums {
    fn against(&self, metered: &Metered, values: &Values, rules: &MeterRules) -> Against {
        Against {
            outdoor_m3_yr: metered.outdoor_m3_yr * values.outdoor_scale(),
            allowance_m3_yr: self.net_m3 / rules.efficiency_frac,
            asfound_m3_yr: self.found_m3,
        }
    }

    /// What a meter says, with these sums central and bounded.
    fn meter_use(&self, metered: &Metered, central: &Values, rules: &MeterRules) -> MeterUse {
        let against = self.against(metered, central, rules);
        let under_watered = rules.under_waters(&against);
        let mut flags = Vec::new();
        if under_watered {
            flags.push(UNDER_WATERED);
        } else if self.claimed_m3 > 0.0
            && self.claimed_m3 >= rules.most_frac * against.outdoor_m3_yr
        {
            flags.push(CLAIM_CAPPED);
        }
        MeterUse {
            outdoor_m3_yr: against.outdoor_m3_yr,
            allowance_m3_yr: against.allowance_m3_yr,
            claimed_m3_yr: self.claimed_m3,
            under_watered,
            flags,
        }
    }

    /// Adds a turf area from the uses of its ways, in the order of [`Counted::drawn`].
    fn add(&mut self, own: &Counted<'_>, uses: &[[f64; 2]], terms: &ClaimTerms) {
        let reported = match own.ways.lawn.method {
            RunoffMethod::Accumulation => 0,
            RunoffMethod::GreenAmpt => 1,
        };
        self.found_m3 += uses[0][reported];
        let beside = own.beside();
        if beside > 0 {
            self.potential_m3 += uses[0][reported] - uses[beside][reported];
        }
        if own.best.scenario.changes_hardware() {
            self.claimed_m3 += claimed_in_draw_m3_yr(&uses[..beside], uses[beside], terms);
        }
    }
}

/// A turf area with its recommended scenario and with what can be had without new nozzles.
struct Counted<'p> {
    ways: &'p Ways<'p>,
    best: &'p ScenarioPlan,
    year: &'p YearUse,
    parts: Attribution,
}

impl<'p> Counted<'p> {
    fn of(area: &'p TurfPlan, ways: &'p Ways<'p>) -> Option<Counted<'p>> {
        let best = area.scenarios.iter().find(|plan| plan.recommended)?;
        let year = best.year.as_ref()?;
        (ways.without.len() == 3).then(|| Counted {
            ways,
            best,
            year,
            parts: year.parts.unwrap_or_default(),
        })
    }

    fn takes(&self) -> Takes {
        let uses = [0, 1, 2].map(|way| self.ways.without[way].1.year().use_m3_yr);
        Takes::of(&self.best.scenario, uses, self.year.use_m3_yr)
    }

    /// How many of the ways without new nozzles its recommended scenario is compared with.
    fn beside(&self) -> usize {
        match self.best.scenario {
            Scenario::AsFound => 0,
            Scenario::Reclock => 1,
            Scenario::Repair(_) => 2, // not beyond itself
            Scenario::Swap(..) | Scenario::Relayout(_) => 3,
        }
    }

    /// Ready for draws: so many of the ways as found, with a right schedule and repaired, and as
    /// recommended.
    fn drawn(&self, ranges: &[Range; DRAWN]) -> DrawnLawn<'_> {
        let without = self.ways.without[..self.beside()].iter();
        let mut ways: Vec<Way<'_>> = without
            .map(|(hardware, water, drift)| Way {
                hardware,
                drift: *drift,
                water,
            })
            .collect();
        ways.push(Way {
            hardware: &self.year.hardware,
            drift: self.year.drift,
            water: &self.year.water,
        });
        let Ways {
            lawn, clock, plant, ..
        } = self.ways;
        DrawnLawn::new(lawn, clock, *plant, ranges, &ways)
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::outcome::Bodies;
    use super::*;

    #[test]
    fn what_a_clock_or_a_repair_takes_is_not_the_nozzle_s() {
        let swap = Scenario::Swap("slow".to_owned(), Bodies::Kept);
        let takes = Takes::of(&swap, [100.0, 90.0, 84.0], 80.0);
        assert_eq!(
            takes,
            Takes {
                reclock_m3_yr: 10.0,
                repair_m3_yr: 6.0,
                nozzle_m3_yr: 4.0
            }
        );
        // A repair that uses more than a right schedule takes nothing.
        let takes = Takes::of(&swap, [100.0, 90.0, 95.0], 80.0);
        assert_eq!((takes.repair_m3_yr, takes.nozzle_m3_yr), (0.0, 10.0));
        // Nor does a schedule that would bring what is missing today.
        let takes = Takes::of(&Scenario::Repair(Bodies::Kept), [100.0, 120.0, 95.0], 95.0);
        assert_eq!((takes.reclock_m3_yr, takes.repair_m3_yr), (0.0, 5.0));
        let all = Takes::of(&Scenario::Reclock, [100.0, 90.0, 84.0], 90.0);
        assert_eq!((all.reclock_m3_yr, all.nozzle_m3_yr), (10.0, 0.0));
        assert_eq!(
            Takes::of(&Scenario::AsFound, [100.0, 90.0, 84.0], 100.0),
            Takes::default()
        );
    }
}
