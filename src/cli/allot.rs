//! `evenfall allot`: which parcels a fixed budget should fund.

use std::collections::BTreeMap;
use std::path::PathBuf;

use super::allotment::{Answer, Asked, Offer, money};
use super::finished::{AnswerArgs, Beside, Finished};
use super::screen::{Ending, print};
use crate::assumptions::{Key, nearest};
use crate::issue::{Code, Issue};
use crate::program::{Floor, Item, allot_choices, allot_choices_with_floors};
use crate::read::sheet::text;
use clap::Args;

/// Shares of the budget at which the curve is drawn.
const CURVE: [f64; 7] = [0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 4.0];
/// Largest amount of money \[cents\]: whole numbers below it are exact.
const MOST_CENTS: f64 = 9.0e15;

/// Choose the parcels that a fixed rebate budget should fund: the most claimed water for the money.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: evenfall allot out --budget 20000 --floor 'district=Lower Alder:5000'\n\n\
    With -o the answer is written to allotment.csv and allotment.json.\n\n\
    Each parcel offers the steps of its ladder that cost no more than the avoided cost or are \
    recommended, of which at most one choice a unit is taken; what it costs the budget is the \
    ceiling of its rebate. A floor needs its column in \
    parcels.csv, or in ranked.csv: plan with --by COLUMN."
)]
pub(super) struct AllotArgs {
    /// Folder of a finished run.
    #[arg(value_name = "DIR")]
    folder: PathBuf,

    /// What may be spent on rebates, in the program's currency.
    #[arg(long, value_name = "N", allow_hyphen_values = true)]
    budget: f64,

    /// Keep at least AMOUNT for parcels whose COLUMN has this VALUE; may be given more than once.
    #[arg(long, value_name = "COLUMN=VALUE:AMOUNT")]
    floor: Vec<String>,

    /// Share of the invited parcels that take part: sizes a program before anybody has applied
    /// [default: rebate.participation_frac of the run].
    #[arg(long, value_name = "SHARE", allow_hyphen_values = true)]
    participation: Option<f64>,

    #[command(flatten)]
    answer: AnswerArgs,
}

pub(super) fn run(args: &AllotArgs) -> Result<u8, Ending> {
    args.answer.check()?;
    let answer = answer(args)?;
    args.answer.write(&[
        ("allotment.csv", answer.csv()),
        ("allotment.json", answer.json()),
    ])?;
    if !args.answer.quiet {
        print(&answer.text())?;
    }
    Ok(0)
}

fn answer(args: &AllotArgs) -> Result<Answer, Issue> {
    let finished = Finished::open(&args.folder)?;
    let budget_cents = cents(args.budget)
        .ok_or_else(|| Issue::new(Code::PR02, format!("--budget {}", args.budget)))?;
    let assumed = finished.assumptions.number(Key::RebateParticipation);
    let participation_frac = args.participation.unwrap_or(assumed);
    if !(participation_frac > 0.0 && participation_frac <= 1.0) {
        let found =
            format!("--participation {participation_frac}; a share is above 0 and at most 1");
        return Err(Issue::new(Code::RU01, found));
    }
    let asked = args
        .floor
        .iter()
        .map(|text| Asked::parse(text))
        .collect::<Result<Vec<Asked>, Issue>>()?;
    let floors_cents: u64 = asked.iter().map(|floor| floor.least_cents).sum();
    if floors_cents > budget_cents {
        let found = format!(
            "floors of {} and a budget of {}",
            money(floors_cents),
            money(budget_cents)
        );
        return Err(Issue::new(Code::PR05, found));
    }
    let offers = offers(&finished, &asked)?;
    let promise = |cents: u64| (cents as f64 / participation_frac + 1e-6).min(MOST_CENTS) as u64;
    let promised_cents = promise(budget_cents);
    check_reach(&offers, promised_cents)?;
    let floors = floors(&asked, &offers, promise)?;
    let items: Vec<Item> = offers.iter().map(Offer::item).collect();
    let parcels: Vec<usize> = offers.iter().map(|offer| offer.parcel).collect();
    let best = allot_choices_with_floors(&items, &parcels, promised_cents, &floors);
    let curve = CURVE
        .iter()
        .map(|share| (budget_cents as f64 * share).min(MOST_CENTS).round() as u64)
        .map(|cents| (cents, allot_choices(&items, &parcels, promise(cents))))
        .collect();
    Ok(Answer {
        offers,
        asked,
        budget_cents,
        participation_frac,
        promised_cents,
        best,
        curve,
    })
}

/// An amount of money in whole cents, rounded down; `None` where it is no amount.
fn cents(cur: f64) -> Option<u64> {
    let cents = cur * 100.0 + 1e-6;
    (cur >= 0.0 && cents < MOST_CENTS).then(|| cents.floor() as u64)
}

impl Asked {
    fn parse(floor: &str) -> Result<Asked, Issue> {
        let refused = || Issue::new(Code::PR05, format!("--floor {floor}"));
        let (group, amount) = floor.rsplit_once(':').ok_or_else(refused)?;
        let (column, value) = group.split_once('=').ok_or_else(refused)?;
        let least_cents = amount
            .trim()
            .parse()
            .ok()
            .and_then(cents)
            .ok_or_else(refused)?;
        Ok(Asked {
            column: column.trim().to_owned(),
            value: value.trim().to_owned(),
            least_cents,
        })
    }
}

impl Offer {
    fn item(&self) -> Item {
        Item {
            cost_cents: self.rebate_cents,
            saving_m3_yr: self.claimed_m3_yr,
        }
    }
}

/// What the parcels that may be paid offer, in the order of the run: every step of their ladders that
/// claims and is paid.
fn offers(finished: &Finished, asked: &[Asked]) -> Result<Vec<Offer>, Issue> {
    let mut parcels = finished.table("parcels.csv")?;
    let named: Vec<&str> = asked.iter().map(|floor| floor.column.as_str()).collect();
    let mut beside = Beside::open(finished, &parcels, &named)?;
    let mut steps = steps(finished)?;
    let id = parcels.needed("parcel_id")?;
    let (mut offers, mut number) = (Vec::new(), 0);
    while let Some(cells) = parcels.next_row()? {
        let id = text(&cells, id);
        let values = beside.values(&cells, id);
        let Some(own) = steps.remove(id) else {
            continue;
        };
        for step in own {
            offers.push(Offer {
                id: id.to_owned(),
                parcel: number,
                rung: step.rung,
                scenario: step.scenario,
                claimed_m3_yr: step.claimed_m3_yr,
                rebate_cents: step.rebate_cents,
                values: values.clone(),
            });
        }
        number += 1;
    }
    Ok(offers)
}

/// A step that a parcel offers.
struct Offered {
    rung: u64,
    scenario: String,
    claimed_m3_yr: f64,
    rebate_cents: u64,
}

/// The steps of `supply_curve.csv` up to its cut, or recommended, that claim and are paid: by parcel,
/// each list by its rungs.
fn steps(finished: &Finished) -> Result<BTreeMap<String, Vec<Offered>>, Issue> {
    let mut curve = finished.table("supply_curve.csv")?;
    let (within, recommended) = (
        curve.needed("within_avoided")?,
        curve.needed("recommended")?,
    );
    let columns = [
        "parcel_id",
        "rung",
        "scenario",
        "claimed_m3_yr",
        "rebate_cur",
    ]
    .map(|title| curve.needed(title));
    let [id, rung, scenario, claimed, rebate] = columns;
    let (id, rung, scenario, claimed, rebate) = (id?, rung?, scenario?, claimed?, rebate?);
    let mut steps: BTreeMap<String, Vec<Offered>> = BTreeMap::new();
    while let Some(cells) = curve.next_row()? {
        let claimed_m3_yr = curve.number(&cells, claimed)?.unwrap_or(0.0);
        let rebate_cur = curve.amount(&cells, rebate)?.unwrap_or(0.0);
        // No budget for a step that costs more than its water spares, unless it is recommended.
        let yes = |column: usize| Ok::<bool, Issue>(curve.yes_or_no(&cells, column)? == Some(true));
        if !yes(within)? && !yes(recommended)? {
            continue;
        }
        // A step that nothing is paid for needs none.
        if claimed_m3_yr <= 0.0 || rebate_cur <= 0.0 {
            continue;
        }
        let own = steps.entry(text(&cells, id).to_owned()).or_default();
        own.push(Offered {
            rung: curve.number(&cells, rung)?.unwrap_or(0.0) as u64,
            scenario: text(&cells, scenario).to_owned(),
            claimed_m3_yr,
            rebate_cents: (rebate_cur * 100.0).min(MOST_CENTS).round() as u64,
        });
    }
    Ok(steps)
}

/// Makes sure that the money reaches at least one parcel.
fn check_reach(offers: &[Offer], promised_cents: u64) -> Result<(), Issue> {
    let Some(cheapest) = offers.iter().map(|offer| offer.rebate_cents).min() else {
        let found = "no parcel has a claim, may be paid, and has a rebate above zero";
        return Err(Issue::new(Code::PR04, found));
    };
    if cheapest > promised_cents {
        let (least, given) = (money(cheapest), money(promised_cents));
        let found = format!(
            "the cheapest of {} takes {least}, there is {given}",
            offers.len()
        );
        return Err(Issue::new(Code::PR03, found));
    }
    Ok(())
}

fn floors(
    asked: &[Asked],
    offers: &[Offer],
    promise: impl Fn(u64) -> u64,
) -> Result<Vec<Floor>, Issue> {
    let mut floors = Vec::new();
    for (at, floor) in asked.iter().enumerate() {
        let members: Vec<usize> = (0..offers.len())
            .filter(|&i| offers[i].values[at] == floor.value)
            .collect();
        if members.is_empty() {
            let values = offers.iter().map(|offer| offer.values[at].as_str());
            let near = nearest(&floor.value, values);
            let hint = near.map_or(String::new(), |near| format!("; did you mean `{near}`?"));
            let found = format!(
                "no parcel that may be paid has {} = `{}`{hint}",
                floor.column, floor.value
            );
            return Err(Issue::new(Code::PR05, found));
        }
        floors.push(Floor {
            members,
            least_cents: promise(floor.least_cents),
        });
    }
    Ok(floors)
}
