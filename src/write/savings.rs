//! What a run saves: by cause, by what it takes, how surely, and what moves it most.

use serde_json::{Map, Value, json};

use super::summary::number;
use crate::assumptions::{Key, RANGES, Scope};
use crate::plan::{ParcelSavings, Percentiles, Takes};
use crate::savings::{Attribution, Claims, Counterfactual, DRAWN, DRAWS, EVIDENCE};

/// What moves a claim: the drawn assumptions, the form of the run-time multiplier, the method of
/// runoff.
const SWINGS: usize = DRAWN + 2;

/// The savings of a run, summed parcel by parcel in input order.
#[derive(Debug, Clone)]
pub struct SavingsTotals {
    /// The potential by cause.
    pub parts: Attribution,
    /// The potential by what it takes.
    pub takes: Takes,
    /// Use as found \[m³/yr\].
    pub asfound_m3_yr: f64,
    /// Parcels with figures.
    pub parcels: u64,
    /// What new hardware would take off with the clock left alone, and with run times raised.
    pub otherwise: [Attribution; 2],
    /// Parcels whose potential is a larger share of the use as found than
    /// `savings.review_above_frac`.
    pub above_evidence: u64,
    /// Parcels whose claim a meter bounds.
    pub metered: u64,
    /// Of those, parcels that under-water.
    pub under_watered: u64,
    /// Parcels without a meter in the tiers high, middle and low.
    pub tiers: [u64; 3],
    /// The claim against each counterfactual with every assumption central \[m³/yr\].
    pub claims: Claims,
    /// The counterfactual of the claim, by its place in [`Counterfactual::ALL`].
    pub counterfactual: usize,
    claims_m3_yr: [[f64; DRAWS]; 3],
    owners_m3_yr: [f64; DRAWS],
    potentials_m3_yr: [f64; DRAWS],
    swings_m3_yr: [[f64; 2]; SWINGS],
}

/// What an assumption does to the total claim.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Swing {
    /// Its place in the table of ranges.
    pub place: usize,
    /// Total claim at its low and at its high value, all others central \[m³/yr\].
    pub claimed_m3_yr: [f64; 2],
}

impl Swing {
    /// How far apart they are \[m³/yr\].
    #[must_use]
    pub fn width_m3_yr(&self) -> f64 {
        (self.claimed_m3_yr[1] - self.claimed_m3_yr[0]).abs()
    }

    /// The assumption's name.
    #[must_use]
    pub fn name(&self) -> &'static str {
        match RANGES.get(self.place) {
            Some(row) => row.key.text(),
            None if self.place == DRAWN => Key::BudgetMultiplierForm.text(),
            None => Key::SoilRunoffMethod.text(),
        }
    }

    /// Whether parcels share it, in words.
    #[must_use]
    pub fn shared(&self) -> &'static str {
        RANGES
            .get(self.place)
            .map_or(Scope::Common, |row| row.scope)
            .text()
    }
}

impl Default for SavingsTotals {
    fn default() -> SavingsTotals {
        SavingsTotals {
            parts: Attribution::default(),
            takes: Takes::default(),
            otherwise: [Attribution::default(); 2],
            asfound_m3_yr: 0.0,
            parcels: 0,
            above_evidence: 0,
            metered: 0,
            under_watered: 0,
            tiers: [0; 3],
            claims: Claims::default(),
            counterfactual: Counterfactual::Reclock as usize,
            claims_m3_yr: [[0.0; DRAWS]; 3],
            owners_m3_yr: [0.0; DRAWS],
            potentials_m3_yr: [0.0; DRAWS],
            swings_m3_yr: [[0.0; 2]; SWINGS],
        }
    }
}

impl SavingsTotals {
    /// Adds one parcel.
    pub fn add(&mut self, savings: &ParcelSavings) {
        self.parcels += 1;
        self.asfound_m3_yr += savings.asfound_m3_yr;
        self.above_evidence += u64::from(savings.above_evidence);
        for (sum, own) in self.otherwise.iter_mut().zip(&savings.otherwise) {
            sum.add(own);
        }
        if let Some(meter) = &savings.meter {
            self.metered += 1;
            self.under_watered += u64::from(meter.under_watered);
        }
        if let Some(tier) = savings.tier {
            self.tiers[tier as usize] += 1;
        }
        self.parts.add(&savings.parts);
        self.takes.add(&savings.takes);
        self.claims.add(&savings.claims);
        self.counterfactual = savings.counterfactual;
        // A list of zeros is left out of a parcel's record.
        let add = |sums: &mut [f64; DRAWS], own: &[f64]| {
            for (sum, own) in sums.iter_mut().zip(own) {
                *sum += own;
            }
        };
        for (sums, own) in self.claims_m3_yr.iter_mut().zip(&savings.claims_m3_yr) {
            add(sums, own);
        }
        add(&mut self.owners_m3_yr, &savings.owners_m3_yr);
        add(&mut self.potentials_m3_yr, &savings.potentials_m3_yr);
        for (sum, own) in self.swings_m3_yr.iter_mut().zip(&savings.swings_m3_yr) {
            sum[0] += own[0];
            sum[1] += own[1];
        }
    }

    /// The total claim over the draws, each draw summed over the parcels first; `None` without
    /// parcels.
    #[must_use]
    pub fn claimed(&self) -> Option<Percentiles> {
        self.claimed_against(self.counterfactual)
    }

    /// The total claim against a counterfactual over the draws, by its place in
    /// [`Counterfactual::ALL`].
    #[must_use]
    pub fn claimed_against(&self, place: usize) -> Option<Percentiles> {
        (self.parcels > 0).then(|| Percentiles::of(&self.claims_m3_yr[place]))?
    }

    /// What owners would save over the draws, before anything is deducted.
    #[must_use]
    pub fn owners(&self) -> Option<Percentiles> {
        (self.parcels > 0).then(|| Percentiles::of(&self.owners_m3_yr))?
    }

    /// What of the potential rests on run times that nobody read, so that no schedule can be
    /// credited with it \[m³/yr\].
    #[must_use]
    pub fn not_observable_m3_yr(&self) -> f64 {
        let takes = &self.takes;
        let named = takes.reclock_m3_yr.unwrap_or(0.0) + takes.repair_m3_yr + takes.nozzle_m3_yr;
        let open = self.parts.total_m3_yr() - named;
        // What rounding leaves is nothing.
        if open.abs() > 1e-9 * self.asfound_m3_yr {
            open
        } else {
            0.0
        }
    }

    /// Why the central claim lies outside the span from P10 to P90, one sentence without the full
    /// stop; `None` where it lies inside. Named are the assumptions whose low and high values
    /// together pull the claim most to the side on which the draws lie.
    #[must_use]
    pub fn why_outside(&self) -> Option<String> {
        let draws = self.claimed()?;
        let central = self.claims.0[self.counterfactual];
        let (side, sign) = if central < draws.p10_m3_yr {
            ("above", 1.0)
        } else if central > draws.p90_m3_yr {
            ("below", -1.0)
        } else {
            return None;
        };
        let pull = |swing: &Swing| {
            let [low, high] = swing.claimed_m3_yr;
            sign * ((low + high) / 2.0 - central)
        };
        let mut swings = self.tornado();
        swings.retain(|swing| pull(swing) > 0.0);
        swings.sort_by(|a, b| pull(b).total_cmp(&pull(a)));
        let names: Vec<&str> = swings.iter().take(3).map(Swing::name).collect();
        let why = if names.is_empty() {
            "no assumption alone does it: together they bend the result".to_owned()
        } else {
            format!("most by {}", names.join(", "))
        };
        Some(format!(
            "nine of ten draws lie {side} the claim with every assumption central: ranges lie to one \
             side of their central value or bend the result, {why}"
        ))
    }

    /// The total potential over the draws.
    #[must_use]
    pub fn potential(&self) -> Option<Percentiles> {
        (self.parcels > 0).then(|| Percentiles::of(&self.potentials_m3_yr))?
    }

    /// What each drawn assumption does to the total claim, the largest swing first; the order of
    /// the table among equals.
    #[must_use]
    pub fn tornado(&self) -> Vec<Swing> {
        let swing = |(place, claimed_m3_yr)| Swing {
            place,
            claimed_m3_yr,
        };
        let mut swings: Vec<Swing> = self
            .swings_m3_yr
            .into_iter()
            .enumerate()
            .map(swing)
            .collect();
        swings.sort_by(|a, b| b.width_m3_yr().total_cmp(&a.width_m3_yr()));
        swings
    }

    /// The section `savings` of `summary.json`.
    pub(super) fn to_json(&self) -> Value {
        let m3 = |value: f64| number(value, 3);
        let of_potential = |part: f64| {
            let potential = self.parts.total_m3_yr();
            if potential > 0.0 {
                number(part / potential, 4)
            } else {
                Value::Null
            }
        };
        let evidence: Map<String, Value> = EVIDENCE
            .iter()
            .map(|row| {
                let value = json!({
                    "frac": row.frac,
                    "m3_yr": m3(row.frac * self.asfound_m3_yr),
                    "source": row.source,
                });
                (row.name.to_owned(), value)
            })
            .collect();
        let tornado: Vec<Value> = self
            .tornado()
            .iter()
            .map(|swing| {
                json!({
                    "assumption": swing.name(),
                    "shared": swing.shared(),
                    "claimed_at_low_m3_yr": m3(swing.claimed_m3_yr[0]),
                    "claimed_at_high_m3_yr": m3(swing.claimed_m3_yr[1]),
                    "swing_m3_yr": m3(swing.width_m3_yr()),
                })
            })
            .collect();
        let takes = &self.takes;
        let claims: Map<String, Value> = Counterfactual::ALL
            .iter()
            .map(|&one| {
                let value = json!({
                    "claimed_m3_yr": m3(self.claims.against(one)),
                    "over_draws": percentiles(self.claimed_against(one as usize)),
                    "is_claim": one as usize == self.counterfactual,
                });
                (one.text().replace('-', "_"), value)
            })
            .collect();
        json!({
            "parcels": self.parcels,
            "potential_over_draws": percentiles(self.potential()),
            "claimed_over_draws": percentiles(self.claimed()),
            "owners_over_draws": percentiles(self.owners()),
            "counterfactual": Counterfactual::ALL[self.counterfactual].text(),
            "claims": claims,
            "central_outside": self.why_outside(),
            "by_cause": by_cause(&self.parts),
            "by_cause_otherwise": {
                "clock_unchanged": by_cause(&self.otherwise[0]),
                "run_times_scaled": by_cause(&self.otherwise[1]),
            },
            "by_means": {
                "reclock_m3_yr": takes.reclock_m3_yr.map_or(Value::Null, m3),
                "repair_m3_yr": m3(takes.repair_m3_yr),
                "nozzle_m3_yr": m3(takes.nozzle_m3_yr),
                "not_observable_m3_yr": m3(self.not_observable_m3_yr()),
                "reclock_frac": takes.reclock_m3_yr.map_or(Value::Null, of_potential),
                "reclock": if takes.reclock_m3_yr.is_some() { "observed" } else { "not observable" },
                "repair_frac": of_potential(takes.repair_m3_yr),
                "nozzle_frac": of_potential(takes.nozzle_m3_yr),
            },
            "evidence": evidence,
            "parcels_above_evidence": self.above_evidence,
            "metered": {
                "parcels": self.metered,
                "under_watered": self.under_watered,
            },
            "modelled": {
                "high": self.tiers[0],
                "middle": self.tiers[1],
                "low": self.tiers[2],
            },
            "tornado": tornado,
        })
    }
}

/// A saving by cause, and their sum.
fn by_cause(parts: &Attribution) -> Value {
    let m3 = |value: f64| number(value, 3);
    json!({
        "schedule_m3_yr": m3(parts.schedule_m3_yr),
        "uniformity_m3_yr": m3(parts.uniformity_m3_yr),
        "runoff_m3_yr": m3(parts.runoff_m3_yr),
        "drift_m3_yr": m3(parts.drift_m3_yr),
        "overspray_m3_yr": m3(parts.overspray_m3_yr),
        "pressure_m3_yr": m3(parts.pressure_m3_yr),
        "all_m3_yr": m3(parts.total_m3_yr()),
    })
}

fn percentiles(of: Option<Percentiles>) -> Value {
    of.map_or(Value::Null, |of| {
        json!({
            "p10_m3_yr": number(of.p10_m3_yr, 3),
            "p50_m3_yr": number(of.p50_m3_yr, 3),
            "p90_m3_yr": number(of.p90_m3_yr, 3),
        })
    })
}
