//! The tables of the program: their columns, and how they are written when all parcels are known.

use std::collections::BTreeMap;
use std::io::{self, Write};

use super::{Kept, KeptStep, Sheet, Sums, Totals};
use crate::write::csv::{close, push_cells, push_texts};
use crate::write::files::Sink;
use crate::write::layer::{Cell, Column, Geometry, Kind, Layer, column, count, number, text};

/// One row per parcel with a claim, the cheapest claimed cubic metre first.
pub struct Ranked;
/// One row per step that a parcel offers, the cheapest cubic metre first, added up.
pub struct SupplyCurve;
/// One row per value of a column.
pub struct ByColumn;

/// A row of `supply_curve`.
pub struct StepRow<'a> {
    sheet: &'a Sheet,
    at: usize,
    place: u64,
    saved_m3_yr: f64,
    cost_cur: f64,
    rebate_cur: f64,
}

/// A row of `ranked`.
pub struct RankedRow<'a> {
    sheet: &'a Sheet,
    at: usize,
    rank: u64,
    sums: Sums,
}

/// A row of totals by a column.
pub struct ByRow<'a> {
    pub(super) value: &'a str,
    pub(super) totals: &'a Totals,
}

/// Writes the ranked list. What stands in the table already is not added to it by `--by`.
pub(super) fn write_ranked(sheet: &Sheet, sink: &mut Sink) -> io::Result<()> {
    let is_own = |name: &str| Ranked::COLUMNS.iter().any(|own| own.facts.name == name);
    let by = &sheet.totals.by;
    let added: Vec<usize> = (0..by.len()).filter(|&at| !is_own(&by[at].0)).collect();
    let own = Ranked::COLUMNS.iter().map(|column| column.facts.name);
    let more = added.iter().map(|&at| by[at].0.as_str());
    write_titles(sink, own.chain(more))?;
    let mut sums = Sums::default();
    for (rank, at) in (1..).zip(sheet.order()) {
        sums.add(&sheet.kept[at]);
        let row = RankedRow {
            sheet,
            at,
            rank,
            sums,
        };
        let words = &sheet.groups[at * by.len()..(at + 1) * by.len()];
        let more = added
            .iter()
            .map(|&at| sheet.words[words[at] as usize].as_str());
        write_row::<Ranked>(sink, &row, more)?;
    }
    Ok(())
}

/// Writes the supply curve.
pub(super) fn write_curve(sheet: &Sheet, sink: &mut Sink) -> io::Result<()> {
    write_titles(
        sink,
        SupplyCurve::COLUMNS.iter().map(|column| column.facts.name),
    )?;
    let (mut saved_m3_yr, mut cost_cur, mut rebate_cur) = (0.0, 0.0, 0.0);
    for (place, at) in (1..).zip(sheet.curve()) {
        let step = &sheet.steps[at];
        saved_m3_yr += step.saved_m3_yr;
        cost_cur += step.cost_cur;
        rebate_cur += step.more_rebate_cur;
        let row = StepRow {
            sheet,
            at,
            place,
            saved_m3_yr,
            cost_cur,
            rebate_cur,
        };
        write_row::<SupplyCurve>(sink, &row, std::iter::empty())?;
    }
    Ok(())
}

/// Writes the totals by a column, which gives the first its title.
pub(super) fn write_by(
    column: &str,
    groups: &BTreeMap<String, Totals>,
    sink: &mut Sink,
) -> io::Result<()> {
    let own = ByColumn::COLUMNS
        .iter()
        .skip(1)
        .map(|column| column.facts.name);
    write_titles(sink, std::iter::once(column).chain(own))?;
    for (value, totals) in groups {
        write_row::<ByColumn>(sink, &ByRow { value, totals }, std::iter::empty())?;
    }
    Ok(())
}

fn write_titles<'a>(sink: &mut Sink, titles: impl Iterator<Item = &'a str>) -> io::Result<()> {
    let mut line = String::new();
    push_texts(&mut line, titles);
    close(&mut line);
    sink.write_all(line.as_bytes())
}

/// Writes a row, and behind it texts that the dictionary does not have.
fn write_row<'a, L: Layer>(
    sink: &mut Sink,
    row: &L::Row<'_>,
    more: impl Iterator<Item = &'a str>,
) -> io::Result<()> {
    let mut line = String::new();
    let cells = L::COLUMNS.iter();
    push_cells(
        &mut line,
        cells.map(|column| (&column.facts, (column.read)(row))),
    );
    push_texts(&mut line, more);
    close(&mut line);
    sink.write_all(line.as_bytes())
}

impl RankedRow<'_> {
    fn kept(&self) -> &Kept {
        &self.sheet.kept[self.at]
    }
}

impl StepRow<'_> {
    fn step(&self) -> &KeptStep {
        &self.sheet.steps[self.at]
    }
}

impl Layer for Ranked {
    const NAME: &'static str = "ranked";
    const ROW: &'static str =
        "parcel with a claim, the cheapest claimed cubic metre first; then each column of `--by`";
    const SHAPE: &'static str = "";
    type Row<'a> = RankedRow<'a>;
    const COLUMNS: &'static [Column<Ranked>] = &[
        count(
            "rank",
            "By the cost of a claimed cubic metre; ties in input order",
            |r| r.rank.into(),
        ),
        text("parcel_id", "The parcel", |r| {
            r.sheet.id(r.kept().id).into()
        }),
        text("best_scenario", "What is recommended", |r| {
            r.sheet.words[r.kept().scenario as usize].as_str().into()
        }),
        number("claimed_m3_yr", "m³/yr", 3, "What may be claimed", |r| {
            r.kept().claimed_m3_yr.into()
        }),
        number(
            "claimed_p10_m3_yr",
            "m³/yr",
            3,
            "The claim that nine of ten draws exceed",
            |r| r.kept().range_m3_yr[0].into(),
        ),
        number(
            "claimed_p90_m3_yr",
            "m³/yr",
            3,
            "The claim that one draw in ten exceeds",
            |r| r.kept().range_m3_yr[1].into(),
        ),
        text(
            "tier",
            "Of a parcel without a meter: high, middle or low; modelled figures do not bear exact ranks",
            |r| r.sheet.words[r.kept().tier as usize].as_str().into(),
        ),
        number("cost_cur", "cur", 2, "Parts and work", |r| {
            r.kept().cost_cur.into()
        }),
        number("rebate_cur", "cur", 2, "Ceiling of the rebate", |r| {
            r.kept().rebate_cur.into()
        }),
        number(
            "cost_cur_m3",
            "cur/m³",
            4,
            "Levelised cost of a claimed cubic metre",
            |r| r.kept().cost_cur_m3.into(),
        ),
        column(
            "eligible",
            Kind::Bool,
            "",
            "Whether the program may pay",
            |r| Cell::Bool(r.kept().eligible),
        ),
        number(
            "sum_claimed_m3_yr",
            "m³/yr",
            3,
            "Claims up to and with it",
            |r| r.sums.claimed_m3_yr.into(),
        ),
        number("sum_cost_cur", "cur", 2, "Costs up to and with it", |r| {
            r.sums.cost_cur.into()
        }),
    ];

    fn geometry<'r>(_: &'r RankedRow<'_>) -> Geometry<'r> {
        Geometry::None
    }
}

impl Layer for SupplyCurve {
    const NAME: &'static str = "supply_curve";
    const ROW: &'static str =
        "step of a parcel's ladder that may be paid, the cheapest cubic metre first";
    const SHAPE: &'static str = "";
    type Row<'a> = StepRow<'a>;
    const COLUMNS: &'static [Column<SupplyCurve>] = &[
        count("step", "Place on the curve", |r| r.place.into()),
        text("parcel_id", "The parcel", |r| {
            r.sheet.id(r.step().id).into()
        }),
        count(
            "rung",
            "Its number on the ladder of its parcel: a step is bought only with those before it",
            |r| u64::from(r.step().rung).into(),
        ),
        text(
            "scenario",
            "The scenario of the turf areas that change with it and those before it, or `mixed`",
            |r| r.sheet.words[r.step().scenario as usize].as_str().into(),
        ),
        number(
            "step_cost_cur_m3",
            "cur/m³",
            4,
            "Present cost of a present cubic metre of the step, visit and administration in the first",
            |r| r.step().cost_cur_m3.into(),
        ),
        number(
            "step_cost_cur",
            "cur",
            2,
            "What it costs at the start beyond the step before",
            |r| r.step().cost_cur.into(),
        ),
        number(
            "step_saved_m3_yr",
            "m³/yr",
            3,
            "What it saves in the first year beyond the step before, as `recommend.perspective` counts it",
            |r| r.step().saved_m3_yr.into(),
        ),
        number(
            "claimed_m3_yr",
            "m³/yr",
            3,
            "What may be claimed on the parcel with it and those before it",
            |r| r.step().claimed_m3_yr.into(),
        ),
        number(
            "rebate_cur",
            "cur",
            2,
            "The most that the program would pay for it and those before it",
            |r| r.step().rebate_cur.into(),
        ),
        column(
            "within_avoided",
            Kind::Bool,
            "",
            "Whether its cubic metre costs no more than `prices.avoided_cur_m3`: there the curve is cut",
            |r| Cell::Bool(r.step().within_avoided),
        ),
        column(
            "recommended",
            Kind::Bool,
            "",
            "Whether it is taken in what is recommended",
            |r| Cell::Bool(r.step().recommended),
        ),
        column(
            "on_survey",
            Kind::Bool,
            "",
            "Whether its rebate stands only once a survey has found what was assumed to be in the ground",
            |r| Cell::Bool(r.step().on_survey),
        ),
        number(
            "sum_saved_m3_yr",
            "m³/yr",
            3,
            "Savings of the steps up to and with it",
            |r| r.saved_m3_yr.into(),
        ),
        number("sum_cost_cur", "cur", 2, "Costs up to and with it", |r| {
            r.cost_cur.into()
        }),
        number(
            "sum_rebate_cur",
            "cur",
            2,
            "Rebates up to and with it",
            |r| r.rebate_cur.into(),
        ),
    ];

    fn geometry<'r>(_: &'r StepRow<'_>) -> Geometry<'r> {
        Geometry::None
    }
}

impl Layer for ByColumn {
    const NAME: &'static str = "by";
    const ROW: &'static str =
        "value of the column named by `--by`, which gives the first its title";
    const SHAPE: &'static str = "";
    type Row<'a> = ByRow<'a>;
    const COLUMNS: &'static [Column<ByColumn>] = &[
        text("value", "The value; empty where parcels have none", |r| {
            r.value.into()
        }),
        count("parcels", "Parcels", |r| r.totals.parcels.into()),
        count("claiming", "Of those, with a claim above zero", |r| {
            r.totals.claiming.into()
        }),
        count("eligible", "Of those, that the program may pay", |r| {
            r.totals.eligible.into()
        }),
        number("turf_m2", "m²", 3, "Turf", |r| r.totals.turf_m2.into()),
        number(
            "asfound_m3_yr",
            "m³/yr",
            3,
            "Water used in a year as found",
            |r| r.totals.asfound_m3_yr.into(),
        ),
        number(
            "potential_m3_yr",
            "m³/yr",
            3,
            "As found less recommended",
            |r| r.totals.potential_m3_yr.into(),
        ),
        number(
            "claimed_m3_yr",
            "m³/yr",
            3,
            "What of it may be claimed",
            |r| r.totals.claimed_m3_yr.into(),
        ),
        number(
            "eligible_m3_yr",
            "m³/yr",
            3,
            "The same of parcels that may be paid",
            |r| r.totals.eligible_m3_yr.into(),
        ),
        number("cost_cur", "cur", 2, "Parts and work", |r| {
            r.totals.cost_cur.into()
        }),
        number("rebate_cur", "cur", 2, "Ceilings of the rebates", |r| {
            r.totals.rebate_cur.into()
        }),
        number(
            "rebate_rule_cur",
            "cur",
            2,
            "What the rule alone would pay",
            |r| r.totals.rebate_rule_cur.into(),
        ),
        number(
            "on_survey_m3_yr",
            "m³/yr",
            3,
            "Of the claims, those that rest on an assumed layout of what is in the ground",
            |r| r.totals.on_survey_m3_yr.into(),
        ),
        number(
            "on_survey_rebate_cur",
            "cur",
            2,
            "Of the rebates, those that stand only on a survey",
            |r| r.totals.on_survey_rebate_cur.into(),
        ),
        number(
            "npv_society_cur",
            "cur",
            2,
            "Net present value for society",
            |r| r.totals.npv_society_cur.into(),
        ),
        number(
            "npv_customer_cur",
            "cur",
            2,
            "Net present value for the customers",
            |r| r.totals.npv_customer_cur.into(),
        ),
        number(
            "npv_supplier_cur",
            "cur",
            2,
            "Net present value for the supplier",
            |r| r.totals.npv_supplier_cur.into(),
        ),
    ];

    fn geometry<'r>(_: &'r ByRow<'_>) -> Geometry<'r> {
        Geometry::None
    }
}
