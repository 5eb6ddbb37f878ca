//! A parcel's plan in money.

use super::bill::{bill, stations};
use super::eligibility::{Eligibility, Rule};
use super::rebate::{Bill, RebateRule};
use crate::assumptions::{Assumptions, Key};
use crate::hydraulics::costs::Outlay;
use crate::issue::Issue;
use crate::plan::{
    Bodies, OptionOffer, ParcelAccount, ParcelLadder, ParcelOption, ParcelPlan, ParcelSavings,
    Scenario, ScenarioPlan,
};
use crate::savings::{ClaimTerms, Counterfactual, Investment, Terms};
use crate::site::Attribute;

/// Columns of the output that rules may use beside those of the parcel layer.
pub const RULE_COLUMNS: [&str; 20] = [
    "status",
    "parcel_m2",
    "turf_m2",
    "turf_areas",
    "best_scenario",
    "baseline_source",
    "use_ratio",
    "tier",
    "asfound_m3_yr",
    "best_m3_yr",
    "potential_m3_yr",
    "claimed_m3_yr",
    "claimed_p10_m3_yr",
    "heads",
    "stations",
    "nozzles",
    "bodies",
    "cost_cur",
    "cost_cur_m3",
    "pressure_read",
];
/// The flag of a parcel whose pressure nobody read.
const PRESSURE_UNVERIFIED: &str = "pressure-unverified";

/// What a program pays, to whom, and what water is worth to either side.
#[derive(Debug, Clone, PartialEq)]
pub struct Program {
    eligibility: Eligibility,
    rebate: RebateRule,
    held_to_worth: bool,
    claim: ClaimTerms,
    terms: Terms,
    regulated: bool,
    admin_cur: f64,
    water_cur_m3: f64,
    avoided_cur_m3: f64,
    externality_cur_m3: f64,
    claim_most_frac: f64,
}

/// A choice of scenarios on a parcel, as money sees it.
struct Choice {
    scenario: String,
    bill: Bill,
    outlay: Outlay,
    /// What it costs beyond what its claim is counted against \[currency\].
    incremental_cur: f64,
    stations: u64,
    on_survey: bool,
    /// Use with it \[m³/yr\].
    use_m3_yr: f64,
    heads: u64,
    /// Tenth percentile of the claim; `None` for what is not recommended \[m³/yr\].
    claimed_p10_m3_yr: Option<f64>,
}

impl Program {
    /// The program that assumptions and rules describe. `attributes` are the columns of the
    /// parcel layer; `None` where they cannot be known beforehand.
    ///
    /// # Errors
    /// `AS03` and `PR01` as [`Eligibility::of`].
    pub fn of(
        assumptions: &Assumptions,
        rules: &[Rule],
        attributes: Option<&[&str]>,
    ) -> Result<Program, Issue> {
        let columns: Option<Vec<&str>> =
            attributes.map(|columns| columns.iter().copied().chain(RULE_COLUMNS).collect());
        let number = |key| assumptions.number(key);
        Ok(Program {
            eligibility: Eligibility::of(rules, assumptions, columns.as_deref())?,
            rebate: RebateRule::assumed(assumptions),
            held_to_worth: assumptions.choice(Key::RebateHeldTo) == "worth",
            claim: ClaimTerms::assumed(assumptions),
            terms: Terms::assumed(assumptions),
            regulated: assumptions.choice(Key::HardwareNewBodies) == "regulated",
            admin_cur: number(Key::CostAdmin),
            water_cur_m3: number(Key::PriceWater),
            avoided_cur_m3: number(Key::PriceAvoided),
            externality_cur_m3: number(Key::PriceExternality),
            claim_most_frac: number(Key::MeterClaimMost),
        })
    }

    /// Settles a parcel: the bill of what is recommended, whether it may be paid, how much at most,
    /// and what that is worth to each side; and what would be paid for every other option of its
    /// ladder. A parcel without water figures has no account.
    ///
    /// Measures are chosen before: no rebate bears on them. A claim is a mean over the life, so the
    /// first year claims `claim / persistence`, and later years decay.
    pub fn settle(&self, plan: &mut ParcelPlan) {
        let Some(water) = &plan.water else { return };
        let nothing = vec![None; plan.turf.len()];
        let chosen = plan.ladder.as_ref().and_then(ParcelLadder::chosen);
        let rows = chosen.map_or(&nothing, |option| &option.rows);
        let outlay = chosen.map_or(Outlay::default(), |option| option.outlay);
        let mut choice = self.choice(plan, rows, outlay);
        choice.bill.claimed_m3_yr = water.claimed_m3_yr;
        choice.claimed_p10_m3_yr = plan.savings.as_ref().map(|own| own.claimed.p10_m3_yr);
        let change = (choice.bill.nozzles > 0).then(|| self.claimed(&choice));
        let reasons = self.objections(plan, &choice);
        let (rule_cur, paid_cur) = self.rebates(&choice, reasons.is_empty());
        let society_cur = chosen.map(|option| {
            let value_cur_m3 = self.avoided_cur_m3 + self.externality_cur_m3;
            let admin_cur = if option.new_hardware {
                self.admin_cur
            } else {
                0.0
            };
            let cost_cur = self.terms.factors().present_cur(&option.outlay) + admin_cur;
            value_cur_m3 * option.net_m3 - cost_cur
        });
        let own = change.zip(chosen).map(|(change, option)| {
            let paid = Investment {
                outlay: Outlay {
                    once_cur: change.outlay.once_cur - paid_cur,
                    ..change.outlay
                },
                first_year_m3: option.gross_first_year_m3,
                ..change
            };
            let npv_cur = self.water_cur_m3 * option.gross_m3 - paid.present_cur();
            (paid.payback_yr(self.water_cur_m3), npv_cur)
        });
        let supplier_cur = change
            .filter(|_| paid_cur > 0.0)
            .map(|change| self.avoided_cur_m3 * change.present_m3() - paid_cur - self.admin_cur);
        let account = ParcelAccount {
            stations: choice.stations,
            nozzles: choice.bill.nozzles,
            bodies: choice.bill.regulated_bodies,
            cost_cur: Some(choice.outlay.total_cur()),
            rebate_rule_cur: rule_cur,
            rebate_worth_cur: change
                .filter(|change| change.first_year_m3 > 0.0)
                .map(|change| self.worth_cur(&change)),
            rebate_cur: paid_cur,
            on_survey: choice.on_survey,
            cost_cur_m3: change.and_then(|change| change.levelised_cost_cur_m3()),
            payback_yr: own.and_then(|(payback_yr, _)| payback_yr),
            npv_customer_cur: own.map(|(_, npv_cur)| npv_cur),
            npv_supplier_cur: supplier_cur,
            npv_society_cur: society_cur,
            reasons,
            offers: self.offers(plan),
        };
        plan.account = Some(account);
    }

    /// What would be paid for each option of a parcel's ladder.
    fn offers(&self, plan: &ParcelPlan) -> Vec<OptionOffer> {
        let Some(ladder) = &plan.ladder else {
            return Vec::new();
        };
        let meter = plan.savings.as_ref().and_then(|own| own.meter.as_ref());
        let offer = |option: &ParcelOption| {
            let mut choice = self.choice(plan, &option.rows, option.outlay);
            if let Some(meter) = meter {
                let found_m3_yr = plan.water.as_ref().map_or(0.0, |water| water.asfound_m3_yr);
                let share = match found_m3_yr > meter.outdoor_m3_yr {
                    true => meter.outdoor_m3_yr / found_m3_yr,
                    false => 1.0,
                };
                let most_m3_yr = match meter.under_watered {
                    true => 0.0,
                    false => self.claim_most_frac * meter.outdoor_m3_yr,
                };
                let claimed_m3_yr = &mut choice.bill.claimed_m3_yr;
                *claimed_m3_yr = (share * *claimed_m3_yr).min(most_m3_yr);
            }
            let eligible = self.objections(plan, &choice).is_empty();
            let (rebate_rule_cur, rebate_cur) = self.rebates(&choice, eligible);
            OptionOffer {
                claimed_m3_yr: choice.bill.claimed_m3_yr,
                nozzles: choice.bill.nozzles,
                rebate_rule_cur,
                rebate_cur,
                eligible,
                on_survey: choice.on_survey,
            }
        };
        ladder.options.iter().map(offer).collect()
    }

    fn choice(&self, plan: &ParcelPlan, rows: &[Option<usize>], outlay: Outlay) -> Choice {
        let mut names: Vec<String> = Vec::new();
        let (mut use_m3_yr, mut heads, mut on_survey) = (0.0, 0, false);
        let mut repairs_cur = 0.0;
        for (turf, row) in plan.turf.iter().zip(rows) {
            let as_found = |plan: &&ScenarioPlan| plan.scenario == Scenario::AsFound;
            let own = match row {
                Some(row) => turf.scenarios.get(*row),
                None => turf.scenarios.iter().find(as_found),
            };
            let Some((own, year)) = own.and_then(|own| Some((own, own.year.as_ref()?))) else {
                continue;
            };
            use_m3_yr += year.use_m3_yr;
            heads += own.heads.len() as u64;
            let name = own.scenario.text();
            if !names.contains(&name) {
                names.push(name);
            }
            if own.scenario.changes_hardware() && !own.scenario.is_repair() {
                let mut plans = turf.scenarios.iter();
                let repair = plans.find(|plan| plan.scenario == Scenario::Repair(Bodies::Kept));
                repairs_cur += repair.and_then(|plan| plan.cost_cur).unwrap_or(0.0);
            }
            on_survey |= own.scenario.changes_hardware() && turf.is_as_found_assumed();
        }
        Choice {
            scenario: match names.as_slice() {
                [one] => one.clone(),
                [] => String::new(),
                _ => "mixed".to_owned(),
            },
            bill: bill(plan, rows, outlay.total_cur(), self.regulated),
            // Incremental cost goes with incremental saving.
            incremental_cur: match self.claim.counterfactual {
                Counterfactual::Repair => (outlay.total_cur() - repairs_cur).max(0.0),
                Counterfactual::AsFound | Counterfactual::Reclock => outlay.total_cur(),
            },
            outlay,
            stations: stations(plan, rows),
            on_survey,
            use_m3_yr,
            heads,
            claimed_p10_m3_yr: None,
        }
    }

    /// A change with what it claims.
    fn claimed(&self, choice: &Choice) -> Investment {
        Investment {
            outlay: choice.outlay,
            first_year_m3: choice.bill.claimed_m3_yr / self.claim.persistence_frac(),
            renewed: true,
            terms: self.terms,
        }
    }

    /// Present value of what is claimed at the avoided cost, less administration.
    fn worth_cur(&self, change: &Investment) -> f64 {
        self.avoided_cur_m3 * change.present_m3() - self.admin_cur
    }

    /// What the rule would pay, and what is paid at most.
    fn rebates(&self, choice: &Choice, eligible: bool) -> (f64, f64) {
        if !eligible {
            return (0.0, 0.0);
        }
        let rule_cur = self.rebate.ceiling_cur(&choice.bill);
        if !self.held_to_worth {
            return (rule_cur, rule_cur);
        }
        let worth_cur = self.worth_cur(&self.claimed(choice));
        let held_cur = rule_cur.min(worth_cur).min(choice.incremental_cur);
        (rule_cur, self.rebate.payable_cur(held_cur))
    }

    /// Why a parcel may not be paid for a choice.
    fn objections(&self, plan: &ParcelPlan, choice: &Choice) -> Vec<String> {
        let columns = self.columns(plan, choice);
        let find = |name: &str| {
            plan.attributes.get(name).or_else(|| {
                columns
                    .iter()
                    .find(|(column, _)| column.eq_ignore_ascii_case(name))
                    .and_then(|(_, value)| value.as_ref())
            })
        };
        self.eligibility
            .objections(find)
            .map(str::to_owned)
            .collect()
    }

    /// The values of [`RULE_COLUMNS`].
    fn columns(
        &self,
        plan: &ParcelPlan,
        choice: &Choice,
    ) -> [(&'static str, Option<Attribute>); 20] {
        let number = |value: f64| Some(Attribute::Number(value));
        let count = |value: u64| number(value as f64);
        let text = |value: &str| Some(Attribute::Text(value.to_owned()));
        let water = plan.water.as_ref();
        let savings = plan.savings.as_ref();
        let source = |savings: &ParcelSavings| match savings.meter {
            Some(_) => "metered",
            None => "modelled",
        };
        let change = (choice.bill.nozzles > 0).then(|| self.claimed(choice));
        let values = [
            text(plan.status.text()),
            plan.parcel_m2.and_then(number),
            number(plan.turf.iter().map(|turf| turf.area_m2).sum()),
            count(plan.turf.len() as u64),
            text(&choice.scenario),
            savings.and_then(|savings| text(source(savings))),
            savings
                .and_then(|savings| savings.meter.as_ref()?.ratio())
                .and_then(number),
            savings.and_then(|savings| text(savings.tier?.text())),
            water.and_then(|water| number(water.asfound_m3_yr)),
            number(choice.use_m3_yr),
            water.and_then(|water| number(water.asfound_m3_yr - choice.use_m3_yr)),
            number(choice.bill.claimed_m3_yr),
            choice.claimed_p10_m3_yr.and_then(number),
            count(choice.heads),
            count(choice.stations),
            count(choice.bill.nozzles),
            count(choice.bill.regulated_bodies),
            number(choice.bill.cost_cur),
            change
                .and_then(|change| change.levelised_cost_cur_m3())
                .and_then(number),
            Some(Attribute::Bool(!plan.flags.contains(&PRESSURE_UNVERIFIED))),
        ];
        let mut values = values.into_iter();
        RULE_COLUMNS.map(|name| (name, values.next().flatten()))
    }
}
