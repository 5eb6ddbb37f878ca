//! The run in figures: counts that add up, totals of water, and how even each family comes out.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};

use super::decision::{DecisionFigures, DecisionTotals};
use super::program::ProgramTotals;
use super::rows::severity_word;
use super::savings::SavingsTotals;
use super::text;
use crate::issue::{Code, Issue, Severity};
use crate::plan::{
    NetworkPlan, ParcelPlan, ParcelSavings, PipeRow, Scenario, ScenarioPlan, Status, TurfPlan,
};
use crate::program::{Control, Wiring};
use crate::read::LayerUse;

/// New layouts are compared with those of this family, which is what most systems have.
const COMPARED_FAMILY: &str = "spray";

/// The figures of a run, gathered parcel by parcel in input order.
#[derive(Debug, Clone, Default)]
pub struct Summary {
    statuses: BTreeMap<Status, u64>,
    /// How many turf areas there are in parcels that did not fail.
    pub turf_areas: u64,
    /// Their area \[m²\].
    pub turf_m2: f64,
    /// Water used as found \[m³/yr\].
    pub asfound_m3_yr: f64,
    /// Water used in the recommended scenarios \[m³/yr\].
    pub best_m3_yr: f64,
    /// As found less recommended \[m³/yr\].
    pub potential_m3_yr: f64,
    /// Turf areas whose heads are assumed; their use as found and their potential \[m³/yr\].
    pub assumed: (u64, f64, f64),
    /// What of it may be claimed for new hardware \[m³/yr\].
    pub claimed_m3_yr: f64,
    /// Water used month by month, as found and in the recommended scenarios \[m³\].
    pub months_m3: [[f64; 12]; 2],
    /// By cause, by what it takes, how surely, and what moves it most.
    pub savings: SavingsTotals,
    /// What is decided, and how firm that is.
    pub decision: DecisionTotals,
    /// Heads of the recommended scenarios.
    pub heads: u64,
    /// How many turf areas carry each flag in the recommended scenario.
    pub flags: BTreeMap<String, u64>,
    /// What each scenario and family comes to.
    pub groups: BTreeMap<(Scenario, String), Group>,
    /// How often each issue occurred, those that belong to no parcel included.
    pub issues: BTreeMap<Code, u64>,
    /// What failed and belongs to no parcel: records that could not be read, turf without a parcel.
    pub orphans: u64,
    /// What became of the rows of each layer.
    pub layers: Vec<LayerUse>,
    /// What the run comes to for the program.
    pub program: ProgramTotals,
    /// Stations and wire as found and as recommended.
    pub control: [WiringFigures; 2],
}

/// What one scenario of one family comes to.
#[derive(Debug, Clone, Default)]
pub struct Group {
    /// Turf areas with a layout.
    pub areas: u64,
    /// Turf areas for which it is recommended.
    pub recommended: u64,
    /// Heads.
    pub heads: u64,
    /// Stations, if every parcel were watered that way.
    pub stations: u64,
    /// Their wire and controllers.
    pub wiring: WiringFigures,
    /// Those of this family, and of new layouts of fixed sprays on the same parcels.
    pub beside: [WiringFigures; 2],
    /// New pipe; under buildings; off the parcel \[m\].
    pub pipes_m: [f64; 3],
    /// Area with a layout \[m²\].
    pub area_m2: f64,
    /// Water used in a year \[m³/yr\].
    pub use_m3_yr: f64,
    /// Depth applied in a year \[mm/yr\].
    pub gross_mm_yr: Distribution<1>,
    /// Runoff of the year by the accumulation table.
    pub runoff_table_frac: Distribution<4>,
    /// Runoff of the year by ponding.
    pub runoff_ponding_frac: Distribution<4>,
    /// Expected field uniformity.
    pub du_lq_field: Distribution<4>,
    /// Uniformity of the drawing in still air.
    pub du_lq: Distribution<4>,
    /// Precipitation rate \[mm/h\].
    pub rate_mm_h: Distribution<3>,
    /// Share of the water that lands outside.
    pub over_frac: Distribution<4>,
}

/// What one parcel adds to the summary.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Figures {
    status: Status,
    /// Areas of its turf areas \[m²\].
    turf_m2: Vec<f64>,
    water: Option<WaterFigures>,
    savings: Option<ParcelSavings>,
    decision: Option<DecisionFigures>,
    scenarios: Vec<ScenarioFigures>,
    /// Stations and pipes of each scenario and family.
    networks: Vec<NetworkFigures>,
    /// Stations and wire as found and as recommended.
    control: Option<[WiringFigures; 2]>,
    issues: Vec<Code>,
}

/// Stations and the wire to them.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct WiringFigures {
    /// How many stations.
    pub stations: u64,
    /// Wire \[m\].
    pub wire_m: f64,
    /// Stations of the controllers that they need.
    pub controller: u64,
}

/// The pipes and stations of one scenario of a parcel.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct NetworkFigures {
    scenario: Scenario,
    family: String,
    wiring: WiringFigures,
    /// The same for a new layout of the family with which new layouts are compared, where there is one.
    beside: Option<WiringFigures>,
    pipe_m: f64,
    building_m: f64,
    off_parcel_m: f64,
}

/// A parcel's yearly water.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct WaterFigures {
    asfound_m3_yr: f64,
    best_m3_yr: f64,
    potential_m3_yr: f64,
    claimed_m3_yr: f64,
    assumed: (u64, f64, f64),
    /// As found, and in the recommended scenarios.
    months_m3: [[f64; 12]; 2],
    heads: u64,
}

/// What one scenario of one turf area adds to its group.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct ScenarioFigures {
    scenario: Scenario,
    family: String,
    recommended: bool,
    heads: u64,
    area_m2: f64,
    drawing: Option<[f64; 3]>,
    year: Option<[f64; 5]>,
    /// Its flags where it is recommended.
    flags: Vec<String>,
}

/// How often each value occurs, one value per turf area, to so many decimals: memory grows with
/// the values that differ, not with the turf areas.
#[derive(Debug, Clone, Default)]
pub struct Distribution<const DECIMALS: usize> {
    counts: BTreeMap<i64, u64>,
}

impl<const DECIMALS: usize> Distribution<DECIMALS> {
    pub(super) fn add(&mut self, value: f64) {
        let scaled = (value * power(DECIMALS)).round_ties_even();
        // Beyond that a whole number is not exact, and no measure of a lawn comes near.
        if scaled.abs() < 9e15 {
            *self.counts.entry(scaled as i64).or_default() += 1;
        }
    }

    /// How many values there are.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.counts.values().sum()
    }

    /// The values below which the given shares lie, between neighbours in proportion: the value at
    /// position share · (n − 1) of the sorted list. `None` without values.
    ///
    /// # References
    /// - Hyndman R. J. and Fan Y., Sample quantiles in statistical packages, *The American
    ///   Statistician* 50(4), 1996, pp. 361–365, definition 7. DOI 10.1080/00031305.1996.10473566.
    #[must_use]
    pub fn quantiles<const N: usize>(&self, shares: [f64; N]) -> Option<[f64; N]> {
        let last = self.count().checked_sub(1)?;
        Some(shares.map(|share| {
            let position = share * last as f64;
            let below = (position.floor() as u64).min(last);
            let (low, high) = (self.nth(below), self.nth((below + 1).min(last)));
            low + (high - low) * (position - below as f64)
        }))
    }

    /// The n-th of the sorted values, from 0.
    fn nth(&self, n: u64) -> f64 {
        let mut passed = 0;
        let mut counts = self.counts.iter();
        let found = counts.find(|(_, count)| {
            passed += **count;
            passed > n
        });
        found.map_or(f64::NAN, |(value, _)| *value as f64 / power(DECIMALS))
    }

    /// The value in the middle.
    #[must_use]
    pub fn median(&self) -> Option<f64> {
        self.quantiles([0.5]).map(|[median]| median)
    }

    pub(super) fn to_json(&self) -> Value {
        let [min, p10, median, p90, max] = self
            .quantiles([0.0, 0.1, 0.5, 0.9, 1.0])
            .map_or([const { Value::Null }; 5], |values| {
                values.map(|value| number(value, DECIMALS))
            });
        json!({"n": self.count(), "min": min, "p10": p10, "median": median, "p90": p90, "max": max})
    }
}

impl Summary {
    /// Adds one parcel.
    pub fn add(&mut self, parcel: &Figures) {
        *self.statuses.entry(parcel.status).or_default() += 1;
        self.turf_areas += parcel.turf_m2.len() as u64;
        for area_m2 in &parcel.turf_m2 {
            self.turf_m2 += area_m2;
        }
        for figures in &parcel.scenarios {
            let key = (figures.scenario.clone(), figures.family.clone());
            self.groups.entry(key).or_default().add(figures);
            for flag in &figures.flags {
                *self.flags.entry(flag.clone()).or_default() += 1;
            }
        }
        for network in &parcel.networks {
            let key = (network.scenario.clone(), network.family.clone());
            self.groups.entry(key).or_default().add_network(network);
        }
        if let Some(control) = &parcel.control {
            for (sum, own) in self.control.iter_mut().zip(control) {
                sum.add(*own);
            }
        }
        if let Some(water) = &parcel.water {
            self.asfound_m3_yr += water.asfound_m3_yr;
            self.best_m3_yr += water.best_m3_yr;
            self.potential_m3_yr += water.potential_m3_yr;
            self.claimed_m3_yr += water.claimed_m3_yr;
            self.assumed.0 += water.assumed.0;
            self.assumed.1 += water.assumed.1;
            self.assumed.2 += water.assumed.2;
            self.heads += water.heads;
            for (sums, own) in self.months_m3.iter_mut().zip(&water.months_m3) {
                for (sum, month) in sums.iter_mut().zip(own) {
                    *sum += month;
                }
            }
        }
        if let Some(savings) = &parcel.savings {
            self.savings.add(savings);
        }
        if let Some(decision) = &parcel.decision {
            self.decision.add(decision);
        }
        self.count_issues(parcel.issues.iter().copied());
    }

    /// Adds the issues that belong to no parcel.
    pub fn add_orphans(&mut self, orphans: &[Issue]) {
        let failed = orphans
            .iter()
            .filter(|issue| issue.severity() >= Severity::Partial);
        self.orphans += failed.count() as u64;
        self.count_issues(orphans.iter().map(|issue| issue.code));
    }

    fn count_issues(&mut self, codes: impl Iterator<Item = Code>) {
        for code in codes {
            *self.issues.entry(code).or_default() += 1;
        }
    }

    /// How many parcels ended with this status.
    #[must_use]
    pub fn with_status(&self, status: Status) -> u64 {
        self.statuses.get(&status).copied().unwrap_or(0)
    }

    /// How many parcels went in.
    #[must_use]
    pub fn inputs(&self) -> u64 {
        self.statuses.values().sum()
    }

    /// Whether something failed: a parcel, a piece of one, or a record that belongs to none.
    #[must_use]
    pub fn has_failures(&self) -> bool {
        self.issues.keys().any(|code| code.exit_status() != 0)
            || self.with_status(Status::Failed) + self.with_status(Status::Partial) > 0
    }

    /// Stations and wire in use, as found and as recommended: valves in the ground stay there when nozzles are
    /// swapped, so only new layouts save any.
    fn control_json(&self) -> Value {
        let [found, after] = self.control;
        WiringFigures::saved(found, after)
    }

    /// The text of `summary.json`.
    #[must_use]
    pub fn to_text(&self) -> String {
        format!("{:#}\n", self.to_json())
    }

    /// What stands in `summary.json`.
    #[must_use]
    pub fn to_json(&self) -> Value {
        let mut parcels = Map::new();
        parcels.insert("inputs".into(), json!(self.inputs()));
        for status in Status::ALL {
            parcels.insert(
                status.text().replace('-', "_"),
                json!(self.with_status(status)),
            );
        }
        let scenarios: Vec<Value> = self
            .groups
            .iter()
            .map(|((scenario, family), group)| {
                json!({
                    "scenario": scenario.text(),
                    "family": family,
                    "areas": group.areas,
                    "recommended": group.recommended,
                    "heads": group.heads,
                    "stations": group.stations,
                    "wire_m": number(group.wiring.wire_m, 1),
                    "controller_stations": group.wiring.controller,
                    "against_spray_layouts": group.against_json(),
                    "pipe_m": number(group.pipes_m[0], 1),
                    "pipe_under_building_m": number(group.pipes_m[1], 2),
                    "pipe_off_parcel_m": number(group.pipes_m[2], 2),
                    "area_m2": number(group.area_m2, 3),
                    "use_m3_yr": number(group.use_m3_yr, 3),
                    "gross_mm_yr": group.gross_mm_yr.to_json(),
                    "runoff_table_frac": group.runoff_table_frac.to_json(),
                    "runoff_ponding_frac": group.runoff_ponding_frac.to_json(),
                    "du_lq_field": group.du_lq_field.to_json(),
                    "du_lq": group.du_lq.to_json(),
                    "rate_mm_h": group.rate_mm_h.to_json(),
                    "over_frac": group.over_frac.to_json(),
                })
            })
            .collect();
        let issues: Vec<Value> = self
            .issues
            .iter()
            .map(|(code, count)| {
                json!({
                    "code": code.text(),
                    "severity": severity_word(code.severity()),
                    "count": count,
                    "statement": code.sentence(),
                })
            })
            .collect();
        let layers: Vec<Value> = self
            .layers
            .iter()
            .map(|layer| {
                let unused = layer.unused.iter();
                let unused: Map<String, Value> = unused
                    .map(|(code, rows)| (code.text().to_owned(), json!(rows)))
                    .collect();
                json!({
                    "layer": layer.role,
                    "rows": layer.rows,
                    "used": layer.used,
                    "left_out": layer.left_out,
                    "elsewhere": layer.elsewhere,
                    "unused": unused,
                })
            })
            .collect();
        let months = |which: usize| -> Vec<Value> {
            let months = self.months_m3[which].iter();
            months.map(|month| number(*month, 3)).collect()
        };
        json!({
            "parcels": parcels,
            "outside_parcels": self.orphans,
            "layers": layers,
            "turf": {"areas": self.turf_areas, "area_m2": number(self.turf_m2, 3)},
            "water": {
                "asfound_m3_yr": number(self.asfound_m3_yr, 3),
                "best_m3_yr": number(self.best_m3_yr, 3),
                "potential_m3_yr": number(self.potential_m3_yr, 3),
                "claimed_m3_yr": number(self.claimed_m3_yr, 3),
                "on_assumed_heads": {
                    "turf_areas": self.assumed.0,
                    "asfound_m3_yr": number(self.assumed.1, 3),
                    "potential_m3_yr": number(self.assumed.2, 3),
                },
                "asfound_months_m3": months(0),
                "best_months_m3": months(1),
            },
            "decision": self.decision.to_json(),
            "savings": self.savings.to_json(),
            "heads": self.heads,
            "control": self.control_json(),
            "program": self.program.to_json(),
            "scenarios": scenarios,
            "flags": self.flags,
            "issues": issues,
        })
    }
}

impl WiringFigures {
    fn of(wiring: Wiring) -> WiringFigures {
        WiringFigures {
            stations: wiring.stations,
            wire_m: wiring.wire_m,
            controller: wiring.controller_size(),
        }
    }

    fn add(&mut self, other: WiringFigures) {
        self.stations += other.stations;
        self.wire_m += other.wire_m;
        self.controller += other.controller;
    }

    /// Both, and what the second has less than the first.
    fn saved(before: WiringFigures, after: WiringFigures) -> Value {
        let less = |before: u64, after: u64| before as i64 - after as i64;
        json!({
            "stations_before": before.stations,
            "stations_after": after.stations,
            "stations_saved": less(before.stations, after.stations),
            "wire_before_m": number(before.wire_m, 1),
            "wire_after_m": number(after.wire_m, 1),
            "wire_saved_m": number(before.wire_m - after.wire_m, 1),
            "controller_stations_before": before.controller,
            "controller_stations_after": after.controller,
        })
    }
}

impl NetworkFigures {
    fn of(parcel: &ParcelPlan, network: &NetworkPlan) -> NetworkFigures {
        let beside = Scenario::Relayout(COMPARED_FAMILY.to_owned());
        let beside = parcel
            .networks
            .iter()
            .find(|other| other.scenario == beside);
        let sum = |of: fn(&PipeRow) -> f64| network.pipes.iter().map(of).sum();
        NetworkFigures {
            scenario: network.scenario.clone(),
            family: network.family.clone(),
            wiring: WiringFigures::of(Wiring::of(network)),
            beside: beside
                .filter(|_| network.scenario.is_relayout())
                .map(|other| WiringFigures::of(Wiring::of(other))),
            pipe_m: sum(|pipe| pipe.length_m),
            building_m: sum(|pipe| pipe.building_m),
            off_parcel_m: sum(|pipe| pipe.off_parcel_m),
        }
    }
}

impl Group {
    fn add_network(&mut self, network: &NetworkFigures) {
        self.stations += network.wiring.stations;
        self.wiring.add(network.wiring);
        if let Some(beside) = network.beside {
            self.beside[0].add(beside);
            self.beside[1].add(network.wiring);
        }
        let own = [network.pipe_m, network.building_m, network.off_parcel_m];
        for (sum, own) in self.pipes_m.iter_mut().zip(own) {
            *sum += own;
        }
    }

    /// Stations and wire of new layouts against those with fixed sprays on the same parcels; null for others.
    fn against_json(&self) -> Value {
        let [sprays, own] = self.beside;
        if sprays.stations == 0 {
            return Value::Null;
        }
        WiringFigures::saved(sprays, own)
    }

    fn add(&mut self, figures: &ScenarioFigures) {
        self.recommended += u64::from(figures.recommended);
        self.heads += figures.heads;
        if let Some([du_lq, rate_mm_h, over_frac]) = figures.drawing {
            self.areas += 1;
            self.area_m2 += figures.area_m2;
            self.du_lq.add(du_lq);
            self.rate_mm_h.add(rate_mm_h);
            self.over_frac.add(over_frac);
        }
        if let Some([use_m3_yr, du_lq_field, gross_mm_yr, by_table, by_ponding]) = figures.year {
            self.use_m3_yr += use_m3_yr;
            self.du_lq_field.add(du_lq_field);
            self.gross_mm_yr.add(gross_mm_yr);
            self.runoff_table_frac.add(by_table);
            self.runoff_ponding_frac.add(by_ponding);
        }
    }
}

impl Figures {
    /// Reads off what a parcel adds.
    #[must_use]
    pub fn of(parcel: &ParcelPlan) -> Figures {
        let water = parcel.water.as_ref().map(|water| WaterFigures {
            asfound_m3_yr: water.asfound_m3_yr,
            best_m3_yr: water.best_m3_yr,
            potential_m3_yr: water.potential_m3_yr,
            claimed_m3_yr: water.claimed_m3_yr,
            assumed: (
                water.assumed_areas,
                water.asfound_assumed_m3_yr,
                water.potential_assumed_m3_yr,
            ),
            months_m3: [
                months_m3(parcel, |plan| plan.scenario == Scenario::AsFound),
                months_m3(parcel, |plan| plan.recommended),
            ],
            heads: water.heads,
        });
        let scenarios = parcel.turf.iter().flat_map(|turf| {
            let scenarios = turf.scenarios.iter();
            scenarios.map(|plan| ScenarioFigures::of(turf, plan))
        });
        Figures {
            status: parcel.status,
            turf_m2: parcel.turf.iter().map(|turf| turf.area_m2).collect(),
            water,
            savings: parcel.savings.clone(),
            decision: DecisionFigures::of(parcel),
            scenarios: scenarios.collect(),
            networks: parcel
                .networks
                .iter()
                .map(|network| NetworkFigures::of(parcel, network))
                .collect(),
            control: Control::of(parcel)
                .map(|control| [control.found, control.after].map(WiringFigures::of)),
            issues: parcel.issues.iter().map(|issue| issue.code).collect(),
        }
    }
}

/// Water used month by month in the scenarios that are wanted \[m³\].
fn months_m3(parcel: &ParcelPlan, wanted: impl Fn(&ScenarioPlan) -> bool) -> [f64; 12] {
    let mut sums = [0.0; 12];
    let plans = parcel.turf.iter().flat_map(|turf| &turf.scenarios);
    for year in plans
        .filter(|plan| wanted(plan))
        .filter_map(|plan| plan.year.as_ref())
    {
        for (sum, month) in sums.iter_mut().zip(&year.water.year().months) {
            *sum += month.use_m3;
        }
    }
    sums
}

impl ScenarioFigures {
    fn of(turf: &TurfPlan, plan: &ScenarioPlan) -> ScenarioFigures {
        let flags = plan.flags.iter().filter(|_| plan.recommended);
        ScenarioFigures {
            scenario: plan.scenario.clone(),
            family: plan.family.clone(),
            recommended: plan.recommended,
            heads: plan.heads.len() as u64,
            area_m2: turf.area_m2,
            drawing: plan
                .uniformity
                .as_ref()
                .map(|found| [found.du_lq, found.rate_mm_h, found.over_frac]),
            year: plan.year.as_ref().map(|year| {
                [
                    year.use_m3_yr,
                    year.du_lq_field,
                    year.gross_mm_yr,
                    year.water.runoff_accumulation_frac(),
                    year.water.runoff_green_ampt_frac(),
                ]
            }),
            flags: flags.map(|flag| (*flag).to_owned()).collect(),
        }
    }
}

/// Ten to so many.
fn power(decimals: usize) -> f64 {
    (0..decimals).fold(1.0, |power, _| power * 10.0)
}

/// A number rounded to so many decimals; null when it is none.
pub(super) fn number(value: f64, decimals: usize) -> Value {
    text::rounded(value, decimals)
        .and_then(|text| serde_json::from_str(&text).ok())
        .unwrap_or(Value::Null)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn distribution(values: &[f64]) -> Distribution<3> {
        let mut set = Distribution::default();
        values.iter().for_each(|&value| set.add(value));
        set
    }

    #[test]
    fn quantiles_follow_the_published_definition() {
        // Hyndman and Fan 1996, definition 7: p_k = (k − 1)/(n − 1).
        let set = distribution(&[4.0, 1.0, 3.0, 2.0, 5.0]);
        assert_eq!(
            set.quantiles([0.0, 0.1, 0.5, 0.9, 1.0]),
            Some([1.0, 1.4, 3.0, 4.6, 5.0])
        );
        assert_eq!(distribution(&[7.0]).quantiles([0.1, 0.9]), Some([7.0, 7.0]));
        assert_eq!(distribution(&[]).median(), None);
        let twice = distribution(&[1.0, 2.0, 1.0, 2.0]);
        assert_eq!((twice.count(), twice.median()), (4, Some(1.5)));
    }
}
