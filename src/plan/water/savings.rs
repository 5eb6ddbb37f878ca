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
            Scenario::Repair => {
                let by_clock = found - found.min(reclock);
                Takes {
                    reclock_m3_yr: by_clock,
                    repair_m3_yr: potential - by_clock,
                    nozzle_m3_yr: 0.0,
                }
            }
            Scenario::Swap(_) | Scenario::Relayout(_) => {
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
    let counted: Vec<Counted<'_>> = turf
        .iter()
        .zip(ways)
        .filter_map(|(area, ways)| Counted::of(area, ways))
        .collect();
    if counted.is_empty() {
        return None;
    }
    let ranges = ranges(assumptions);
    let terms = ClaimTerms::assumed(assumptions);
    let mut asfound_m3_yr = 0.0;
    let (mut parts, mut takes) = (Attribution::default(), Takes::default());
    let central = Values::central(&ranges);
    // The draws, then the central values, then every assumption at its low and at its high value.
    let edges = ranges
        .iter()
        .enumerate()
        .flat_map(|(place, range)| [range.low, range.high].map(|value| central.with(place, value)));
    let all: Vec<Values> = draws
        .iter()
        .copied()
        .chain([central])
        .chain(edges)
        .collect();
    let mut sums = vec![Sums::default(); all.len()];
    for own in &counted {
        asfound_m3_yr += own.ways.without[0].1.year().use_m3_yr;
        parts.add(&own.parts);
        takes.add(&own.takes());
        let drawn = own.drawn(&ranges);
        let mut uses = Vec::new();
        for (sums, values) in sums.iter_mut().zip(&all) {
            let net_mm = drawn.net_mm(values);
            uses.clear();
            uses.extend(drawn.uses_m3(values, &net_mm));
            sums.net_m3 += net_mm.iter().sum::<f64>() / 1_000.0 * own.ways.lawn.demand.area_m2;
            sums.add(own, &uses, &values.claim_terms(&terms));
        }
    }
    let rules = MeterRules::assumed(assumptions);
    if let Some(metered) = &metered {
        for (sums, values) in sums.iter_mut().zip(&all) {
            let against = sums.against(metered, values, &rules);
            sums.claimed_m3 = rules.bounded_m3_yr(sums.claimed_m3, &against);
        }
    }
    let claims = |sums: &[Sums]| sums.iter().map(|sums| sums.claimed_m3).collect();
    let claims_m3_yr: Vec<f64> = claims(&sums[..draws.len()]);
    let potentials = sums[..draws.len()].iter().map(|sums| sums.potential_m3);
    let potentials_m3_yr: Vec<f64> = potentials.collect();
    let edges: Vec<f64> = claims(&sums[draws.len() + 1..]);
    let middle = &sums[draws.len()];
    let meter = metered.map(|metered| {
        let against = middle.against(&metered, &central, &rules);
        let mut flags = Vec::new();
        if rules.under_waters(&against) {
            flags.push(UNDER_WATERED);
        } else if middle.claimed_m3 > 0.0
            && middle.claimed_m3 >= rules.most_frac * against.outdoor_m3_yr
        {
            flags.push(CLAIM_CAPPED);
        }
        MeterUse {
            outdoor_m3_yr: against.outdoor_m3_yr,
            allowance_m3_yr: against.allowance_m3_yr,
            claimed_m3_yr: middle.claimed_m3,
            under_watered: rules.under_waters(&against),
            flags,
        }
    });
    let claimed = Percentiles::of(&claims_m3_yr)?;
    let tier_m3_yr = assumptions.number(Key::SavingsTier);
    Some(ParcelSavings {
        asfound_m3_yr,
        tier: meter.is_none().then(|| Tier::of(&claimed, tier_m3_yr)),
        meter,
        parts,
        takes,
        claimed,
        potential: Percentiles::of(&potentials_m3_yr)?,
        claims_m3_yr,
        potentials_m3_yr,
        swings_m3_yr: edges
            .chunks_exact(2)
            .map(|pair| [pair[0], pair[1]])
            .collect(),
    })
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

    /// Adds a turf area from the uses of its ways, in the order of [`Counted::drawn`].
    fn add(&mut self, own: &Counted<'_>, uses: &[[f64; 2]], terms: &ClaimTerms) {
        let reported = match own.ways.lawn.method {
            RunoffMethod::Accumulation => 0,
            RunoffMethod::GreenAmpt => 1,
        };
        let (without, best) = (&uses[..uses.len() - 1], uses[uses.len() - 1]);
        self.found_m3 += without[0][reported];
        self.potential_m3 += without[0][reported] - best[reported];
        let beside = match own.best.scenario {
            Scenario::AsFound | Scenario::Reclock => return,
            Scenario::Repair => &without[..2], // not beyond itself
            Scenario::Swap(_) | Scenario::Relayout(_) => without,
        };
        self.claimed_m3 += claimed_in_draw_m3_yr(beside, best, terms);
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

    /// Ready for draws: as found, with a right schedule, repaired, and as recommended.
    fn drawn(&self, ranges: &[Range; DRAWN]) -> DrawnLawn<'_> {
        let without = self.ways.without.iter();
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
    use super::*;

    #[test]
    fn what_a_clock_or_a_repair_takes_is_not_the_nozzle_s() {
        let swap = Scenario::Swap("slow".to_owned());
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
        let takes = Takes::of(&Scenario::Repair, [100.0, 120.0, 95.0], 95.0);
        assert_eq!((takes.reclock_m3_yr, takes.repair_m3_yr), (0.0, 5.0));
        let all = Takes::of(&Scenario::Reclock, [100.0, 90.0, 84.0], 90.0);
        assert_eq!((all.reclock_m3_yr, all.nozzle_m3_yr), (10.0, 0.0));
        assert_eq!(
            Takes::of(&Scenario::AsFound, [100.0, 90.0, 84.0], 100.0),
            Takes::default()
        );
    }
}
