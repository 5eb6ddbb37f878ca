//! The table of water meters: which parcel, from when to when, how much.

use std::collections::BTreeMap;

use super::ids::LooseMatches;
use super::parcels::Roll;
use super::usage::{Clues, LayerUse};
use crate::cells::Table;
use crate::climate::Date;
use crate::issue::{Code, Issue};
use crate::site::MeterRead;

/// Largest use of a parcel in one period that is believed \[m³\].
const MOST_M3: f64 = 1e7;

/// The meters of a run.
pub(super) struct MeterField {
    file: String,
    accounts: BTreeMap<String, Account>,
}

#[derive(Default)]
struct Account {
    /// Line of its first row.
    line: u64,
    reads: Vec<(u64, MeterRead)>,
    /// The first row that makes all of it unusable.
    fault: Option<Issue>,
    /// Whether a parcel has it.
    found: bool,
    /// Whether a parcel was handed it.
    used: bool,
    rows: u64,
}

struct Columns {
    id: usize,
    period: Period,
    volume: usize,
}

enum Period {
    /// Start and end, the end being the day of the read and the start of the next period.
    Days(usize, usize),
    /// A calendar month.
    Month(usize),
}

impl MeterField {
    /// Reads the table: `parcel_id` (or `account`), `start` and `end` as days or one `month`
    /// (2023-07), and `m3`. Rows without a volume are missing reads.
    ///
    /// # Errors
    /// `IN07` for a cell that cannot be read, `IN08` for a missing column.
    pub(super) fn parse(text: &str, file: &str) -> Result<MeterField, Issue> {
        let table = Table::parse(text, file)?;
        let columns = Columns {
            id: table.needed(&["parcel_id", "account", "account_id", "id"])?,
            period: match table.column(&["month"]) {
                Some(month) => Period::Month(month),
                None => Period::Days(
                    table.needed(&["start", "start_date", "from"])?,
                    table.needed(&["end", "end_date", "to"])?,
                ),
            },
            volume: table.needed(&["m3", "volume_m3", "use_m3"])?,
        };
        let mut accounts: BTreeMap<String, Account> = BTreeMap::new();
        for (line, cells) in &table.rows {
            let id = table.text(cells, columns.id);
            if id.is_empty() {
                return Err(table.cell_issue(
                    Code::IN07,
                    *line,
                    columns.id,
                    "the parcel's id is empty",
                ));
            }
            let account = accounts.entry(id.to_owned()).or_insert_with(|| Account {
                line: *line,
                ..Account::default()
            });
            account.rows += 1;
            let Some(m3) = table.number(*line, cells, columns.volume)? else {
                continue;
            };
            let (first_day, end_day) = columns.period.read(&table, *line, cells)?;
            let fault = if !(0.0..=MOST_M3).contains(&m3) {
                let found = format!("m3 = {m3}");
                Some(table.cell_issue(Code::ME03, *line, columns.volume, &found))
            } else if end_day <= first_day {
                Some(table.issue(Code::ME01, *line, "it ends on or before the day it starts"))
            } else {
                None
            };
            account.fault = account.fault.take().or(fault);
            let days = end_day.saturating_sub(first_day).max(0) as u32;
            let read = MeterRead {
                first_day,
                days,
                m3,
            };
            account.reads.push((*line, read));
        }
        for account in accounts.values_mut() {
            account
                .reads
                .sort_by_key(|(line, read)| (read.first_day, *line));
            let overlap = account
                .reads
                .windows(2)
                .find(|pair| pair[1].1.first_day < pair[0].1.end_day());
            if let (None, Some(pair)) = (&account.fault, overlap) {
                let found = format!("it overlaps the period of line {}", pair[0].0);
                account.fault = Some(table.issue(Code::ME01, pair[1].0, &found));
            }
        }
        Ok(MeterField {
            file: file.to_owned(),
            accounts,
        })
    }

    /// The periods of a parcel in order; none where its account cannot be used, which is told.
    pub(super) fn of(&mut self, parcel: &str, issues: &mut Vec<Issue>) -> Vec<MeterRead> {
        let Some(account) = self.accounts.get_mut(parcel) else {
            return Vec::new();
        };
        account.found = true;
        account.used = true;
        match &account.fault {
            Some(issue) => {
                issues.push(issue.clone().of_parcel(parcel));
                Vec::new()
            }
            None => account.reads.iter().map(|(_, read)| *read).collect(),
        }
    }

    /// Matches the accounts with the ids of the parcels, and marks those whose parcel exists. Ids that
    /// differ in writing alone become the parcel's (`JO06`); where several parcels have the id, the rows
    /// stay with the first (`ME05`).
    ///
    /// # Errors
    /// As the parcel layer, which is read again where that is needed.
    pub(super) fn match_ids(&mut self, roll: &mut Roll) -> Result<Vec<Issue>, Issue> {
        let (mut issues, mut loose) = (Vec::new(), LooseMatches::default());
        let mut by_id = BTreeMap::new();
        for (id, mut account) in std::mem::take(&mut self.accounts) {
            let same = roll.all_of(&id);
            account.found = !same.is_empty();
            if same.len() > 1 {
                let found = format!(
                    "line {}: `{id}` is the id of {} parcels",
                    account.line,
                    same.len()
                );
                let issue = Issue::new(Code::ME05, found).in_file(&self.file);
                issues.push(issue.of_parcel(id.as_str()));
            }
            by_id.insert(id, account);
        }
        let strangers: Vec<String> = by_id
            .iter()
            .filter(|(_, account)| !account.found)
            .map(|(id, _)| id.clone())
            .collect();
        for id in strangers {
            let [parcel] = roll.find_loosely(&id)[..] else {
                continue;
            };
            let name = roll.id(parcel)?;
            // Two accounts of one parcel cannot be told apart from one account twice.
            if by_id.contains_key(&name) {
                continue;
            }
            if let Some(mut account) = by_id.remove(&id) {
                account.found = true;
                let rows = account.reads.len() as u64;
                loose.add(account.line, rows, &id, parcel);
                by_id.insert(name, account);
            }
        }
        self.accounts = by_id;
        issues.extend(loose.issue(roll, &self.file)?);
        Ok(issues)
    }

    /// How its rows were used so far.
    pub(super) fn usage(&self) -> (LayerUse, Clues) {
        let mut usage = LayerUse::of("meter", 0);
        for account in self.accounts.values() {
            usage.rows += account.rows;
            match &account.fault {
                Some(issue) if account.used => usage.add_unused(issue.code, account.rows),
                _ if account.used => usage.used += account.rows,
                _ if account.found => usage.left_out += account.rows,
                _ => usage.add_unused(Code::ME04, account.rows),
            }
        }
        let clues = Clues {
            file: self.file.clone(),
            ..Clues::default()
        };
        (usage, clues)
    }

    /// What is told of accounts that belong to no parcel.
    pub(super) fn strangers(&self) -> Option<Issue> {
        let mut strangers = self.accounts.iter().filter(|(_, account)| !account.found);
        let (id, first) = strangers.next()?;
        let more = strangers.count();
        let found = match more {
            0 => format!("line {}: `{id}`", first.line),
            _ => format!("line {}: `{id}`, and {more} more", first.line),
        };
        Some(Issue::new(Code::ME04, found).in_file(&self.file))
    }
}

impl Period {
    /// First day, and the day after the last.
    fn read(&self, table: &Table, line: u64, cells: &[String]) -> Result<(i32, i32), Issue> {
        let date = |column: usize, text: &str, example: &str| {
            Date::parse(text).ok_or_else(|| {
                let name = &table.names()[column]; // a column index comes from the header
                let found = format!("{name} = `{}`; write {example}", table.text(cells, column));
                table.cell_issue(Code::IN07, line, column, &found)
            })
        };
        match *self {
            Period::Days(start, end) => {
                let day = |column| date(column, &table.day(line, cells, column)?, "2023-07-31");
                Ok((day(start)?.day_number(), day(end)?.day_number()))
            }
            Period::Month(column) => {
                let text = format!("{}-01", table.text(cells, column));
                let first = date(column, &text, "2023-07")?;
                let (year, month) = match first.month {
                    12 => (first.year + 1, 1),
                    month => (first.year, month + 1),
                };
                let next = Date {
                    year,
                    month,
                    day: 1,
                };
                Ok((first.day_number(), next.day_number()))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn field(text: &str) -> Result<MeterField, Code> {
        MeterField::parse(text, "m.csv").map_err(|issue| issue.code)
    }

    #[test]
    fn periods_by_days_and_by_months() {
        let by_days = "parcel_id,start,end,m3\n07,2023-03-01,2023-05-01,12.5\n07,2023-01-01,2023-03-01,8\n07,2023-05-01,2023-07-01,\n";
        let mut field_of = field(by_days).unwrap();
        let mut issues = Vec::new();
        let reads = field_of.of("07", &mut issues);
        assert!(issues.is_empty());
        let plain: Vec<(u32, f64)> = reads.iter().map(|read| (read.days, read.m3)).collect();
        assert_eq!(plain, [(59, 8.0), (61, 12.5)]);
        assert!(field_of.of("7", &mut issues).is_empty(), "ids are text");
        let by_months = "account;month;m3\nA;2024-02;3\nA;2023-12;2\n";
        let reads = field(by_months).unwrap().of("A", &mut issues);
        let days: Vec<u32> = reads.iter().map(|read| read.days).collect();
        assert_eq!(days, [31, 29]);
        assert!(issues.is_empty());
    }

    #[test]
    fn what_is_wrong_has_its_code() {
        let head = "parcel_id,start,end,m3\n";
        for (row, code) in [
            ("A,2023-13-01,2023-03-01,8", Code::IN07),
            ("A,2023-01-01,2023-03-01,many", Code::IN07),
            (",2023-01-01,2023-03-01,8", Code::IN07),
        ] {
            assert_eq!(field(&format!("{head}{row}\n")).err(), Some(code), "{row}");
        }
        assert_eq!(field("parcel_id,start,m3\n").err(), Some(Code::IN08));
        assert_eq!(field("").err(), Some(Code::IN08));
        for (rows, code) in [
            ("A,2023-01-01,2023-03-01,-8", Code::ME03),
            ("A,2023-03-01,2023-01-01,8", Code::ME01),
            (
                "A,2023-01-01,2023-03-01,8\nA,2023-02-20,2023-05-01,8",
                Code::ME01,
            ),
        ] {
            let mut issues = Vec::new();
            let mut field = field(&format!("{head}B,2023-01-01,2023-03-01,8\n{rows}\n")).unwrap();
            assert!(field.of("A", &mut issues).is_empty());
            let codes: Vec<Code> = issues.iter().map(|issue| issue.code).collect();
            assert_eq!(codes, [code], "{rows}");
            assert_eq!(field.of("B", &mut issues).len(), 1, "others go on");
            assert_eq!(field.strangers(), None);
        }
    }

    #[test]
    fn accounts_of_no_parcel_are_told_once() {
        let mut field =
            field("id,month,m3\nB,2023-01,1\nX,2023-01,1\nY,2023-01,1\nC,2023-01,1\n").unwrap();
        field.of("B", &mut Vec::new());
        field.of("C", &mut Vec::new());
        let issue = field.strangers().unwrap();
        assert_eq!(issue.code, Code::ME04);
        assert_eq!(issue.found, "line 3: `X`, and 1 more");
    }
}
