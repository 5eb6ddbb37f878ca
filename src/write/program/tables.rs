//! The tables of the program: their columns, and how they are written when all parcels are known.

use std::collections::BTreeMap;
use std::io::{self, Write};

use super::{Kept, Sheet, Sums, Totals};
use crate::write::csv::{close, push_cells, push_texts};
use crate::write::files::Sink;
use crate::write::layer::{Cell, Column, Geometry, Kind, Layer, column, count, number, text};

/// One row per parcel with a claim, the cheapest claimed cubic metre first.
pub struct Ranked;
/// One row per parcel that may be paid, in the same order, added up.
pub struct SupplyCurve;
/// One row per value of a column.
pub struct ByColumn;

/// A row of `ranked` and `supply_curve`.
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
    let mut sums = Sums::default();
    let order = sheet.order().into_iter();
    let eligible = order.filter(|&at| sheet.kept[at].eligible);
    for (rank, at) in (1..).zip(eligible) {
        sums.add(&sheet.kept[at]);
        let row = RankedRow {
            sheet,
            at,
            rank,
            sums,
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
        text("parcel_id", "The parcel", |r| r.sheet.id(r.at).into()),
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
    const ROW: &'static str = "parcel that may be paid, the cheapest claimed cubic metre first";
    const SHAPE: &'static str = "";
    type Row<'a> = RankedRow<'a>;
    const COLUMNS: &'static [Column<SupplyCurve>] = &[
        count("step", "Place on the curve", |r| r.rank.into()),
        text("parcel_id", "The parcel", |r| r.sheet.id(r.at).into()),
        number(
            "cost_cur_m3",
            "cur/m³",
            4,
            "Levelised cost of a claimed cubic metre",
            |r| r.kept().cost_cur_m3.into(),
        ),
        number("claimed_m3_yr", "m³/yr", 3, "What may be claimed", |r| {
            r.kept().claimed_m3_yr.into()
        }),
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
        number(
            "sum_rebate_cur",
            "cur",
            2,
            "Rebates up to and with it",
            |r| r.sums.rebate_cur.into(),
        ),
    ];

    fn geometry<'r>(_: &'r RankedRow<'_>) -> Geometry<'r> {
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
