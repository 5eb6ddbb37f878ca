//! Receipts: the table that comes in, and what is told of it.

use std::path::Path;

use super::inspect::counted;
use super::table::{Table, thousands};
use crate::issue::{Code, Issue};
use crate::program::{Checked, Receipt};
use crate::read::sheet::{Sheet, text};
use crate::write::text::{csv_cell, rounded};

/// Parcels told one by one; all of them are in `receipts.csv`.
const MOST_TOLD: usize = 20;

/// Reads a table of receipts.
///
/// # Errors
/// `IN01`, `IN07` for a bad cell, `IN08` for a missing column.
pub(super) fn read_receipts(path: &Path) -> Result<Vec<Receipt>, Issue> {
    let mut sheet = Sheet::open(path)?;
    let id = sheet.needed("parcel_id")?;
    let number = sheet.needed("receipt_no")?;
    let [nozzles, bodies, paid, address] =
        ["nozzles", "bodies", "paid_cur", "address"].map(|title| sheet.column(title));
    let mut receipts = Vec::new();
    while let Some(cells) = sheet.next_row()? {
        let amount = |column: Option<usize>| -> Result<f64, Issue> {
            match column {
                Some(column) => Ok(sheet.amount(&cells, column)?.unwrap_or(0.0)),
                None => Ok(0.0),
            }
        };
        let count = |column: Option<usize>| -> Result<u64, Issue> {
            match (amount(column)?, column) {
                (number, Some(column)) if number.fract() != 0.0 || number > 1e9 => {
                    Err(sheet.bad_cell(&cells, column, "is not a whole number"))
                }
                (number, _) => Ok(number as u64),
            }
        };
        for column in [id, number] {
            if text(&cells, column).is_empty() {
                return Err(sheet.bad_cell(&cells, column, "is empty"));
            }
        }
        receipts.push(Receipt {
            parcel_id: text(&cells, id).to_owned(),
            receipt_no: text(&cells, number).to_owned(),
            address: address.map_or("", |column| text(&cells, column)).to_owned(),
            nozzles: count(nozzles)?,
            bodies: count(bodies)?,
            paid_cur: amount(paid)?,
        });
    }
    if receipts.is_empty() {
        let found = "there is no receipt";
        return Err(Issue::new(Code::IN05, found).in_file(path.display().to_string()));
    }
    Ok(receipts)
}

fn doubts(own: &Checked) -> String {
    let words: Vec<&str> = own.doubts.iter().map(|doubt| doubt.text()).collect();
    words.join(";")
}

/// `receipts.csv`: one row a parcel.
pub(super) fn receipts_csv(checked: &[Checked]) -> String {
    let mut out = "parcel_id,receipts,nozzles,nozzles_planned,bodies,bodies_planned,paid_cur,\
        ceiling_cur,payable_cur,look\n"
        .to_owned();
    for own in checked {
        let planned = |of: fn(&crate::program::Planned) -> String| {
            own.planned.as_ref().map_or(String::new(), of)
        };
        let cur = |value: f64| rounded(value, 2).unwrap_or_default();
        out.push_str(&format!(
            "{},{},{},{},{},{},{},{},{},{}\n",
            csv_cell(&own.parcel_id),
            own.receipts,
            own.nozzles,
            planned(|planned| planned.nozzles.to_string()),
            own.bodies,
            planned(|planned| planned.bodies.to_string()),
            cur(own.paid_cur),
            planned(|planned| rounded(planned.ceiling_cur, 2).unwrap_or_default()),
            cur(own.payable_cur),
            doubts(own),
        ));
    }
    out
}

/// What is told of receipts.
pub(super) fn receipts_text(checked: &[Checked]) -> String {
    let paid_cur: f64 = checked.iter().map(|own| own.paid_cur).sum();
    let payable_cur: f64 = checked.iter().map(|own| own.payable_cur).sum();
    let doubtful: Vec<&Checked> = checked
        .iter()
        .filter(|own| !own.doubts.is_empty())
        .collect();
    let mut out = format!(
        "Receipts of {}: {} on them, {} payable at most; {} ask for a look\n",
        counted(checked.len(), "parcel", "parcels"),
        thousands(paid_cur),
        thousands(payable_cur),
        doubtful.len(),
    );
    let mut table = Table::new(&[
        "parcel", ">nozzles", ">planned", ">bodies", ">planned", "look",
    ]);
    for own in doubtful.iter().take(MOST_TOLD) {
        let planned = |count: Option<u64>| count.map_or("-".to_owned(), |count| count.to_string());
        table.row(vec![
            own.parcel_id.clone(),
            own.nozzles.to_string(),
            planned(own.planned.map(|planned| planned.nozzles)),
            own.bodies.to_string(),
            planned(own.planned.map(|planned| planned.bodies)),
            doubts(own),
        ]);
    }
    if !doubtful.is_empty() {
        out.push_str(&table.text("  "));
    }
    if doubtful.len() > MOST_TOLD {
        out.push_str(&format!("  and {} more\n", doubtful.len() - MOST_TOLD));
    }
    out.push('\n');
    out
}
