//! Tables as text: rows of cells separated by commas, semicolons or tabs.

pub(crate) mod number;

use std::cell::OnceCell;

use self::number::{Comma, DayOrder, NoNumber};
use crate::issue::{Code, Issue, Spot};
use crate::units::{factor_to_column, metric_column, us_columns};

/// The text of bytes: UTF-8, with or without a byte-order mark, or UTF-16 with one.
///
/// # Errors
/// `IN20` for anything else, with the line and what the byte would be in Latin-1.
pub(crate) fn decode(bytes: Vec<u8>, file: &str) -> Result<String, Issue> {
    let wide = |from_bytes: fn([u8; 2]) -> u16| {
        let pairs = bytes[2..].chunks_exact(2);
        let whole = pairs.remainder().is_empty();
        let units = pairs.map(|pair| from_bytes([pair[0], pair[1]]));
        let text: Result<String, _> = char::decode_utf16(units).collect();
        match text {
            Ok(text) if whole => Ok(text),
            _ => Err(
                Issue::new(Code::IN20, "it begins as UTF-16 and goes on otherwise").in_file(file),
            ),
        }
    };
    match bytes.get(..2) {
        Some([0xff, 0xfe]) => return wide(u16::from_le_bytes),
        Some([0xfe, 0xff]) => return wide(u16::from_be_bytes),
        _ => {}
    }
    String::from_utf8(bytes).map_err(|fault| {
        let at = fault.utf8_error().valid_up_to();
        let bytes = fault.as_bytes();
        let line = 1 + bytes[..at].iter().filter(|&&byte| byte == b'\n').count() as u64;
        let byte = bytes.get(at).copied().unwrap_or_default();
        let found = format!(
            "line {line}: byte {} is 0x{byte:02x}, `{}` in Latin-1",
            at + 1,
            char::from(byte).escape_default()
        );
        Issue::new(Code::IN20, found)
            .in_file(file)
            .at_spot(Spot::Line(line))
    })
}

/// A table with named columns.
pub(crate) struct Table {
    file: String,
    separator: char,
    header: Vec<String>,
    /// What is known of each column, once it was asked for.
    columns: Vec<Column>,
    /// 1-based line in the file, and the cells.
    pub rows: Vec<(u64, Vec<String>)>,
}

/// What is known of a column, each once it was asked for.
#[derive(Debug, Clone, Default)]
struct Column {
    /// What its commas mean.
    comma: OnceCell<Option<Comma>>,
    /// In what order its days stand.
    order: OnceCell<Option<DayOrder>>,
    /// The metric column that it stands for, what its values are multiplied with, and another column
    /// of the same quantity.
    unit: OnceCell<(String, f64, Option<usize>)>,
}

impl Table {
    /// Splits a text into header and rows. Empty lines and lines that start with `#` are left
    /// out; quoted cells may hold separators; a byte-order mark is ignored.
    ///
    /// # Errors
    /// `IN08` without a header, `IN07` for a row with more cells than the header.
    pub fn parse(text: &str, file: &str) -> Result<Table, Issue> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut lines = (1u64..).zip(text.lines()).filter(|(_, line)| {
            let line = line.trim();
            !line.is_empty() && !line.starts_with('#')
        });
        let Some((_, header)) = lines.next() else {
            return Err(Issue::new(Code::IN08, "the table is empty").in_file(file));
        };
        let separator = [';', '\t']
            .into_iter()
            .find(|&c| header.contains(c))
            .unwrap_or(',');
        let header: Vec<String> = split(header, separator)
            .iter()
            .map(|name| name.to_lowercase())
            .collect();
        let rows = lines
            .map(|(line, text)| (line, split(text, separator)))
            .collect();
        let table = Table {
            file: file.to_owned(),
            separator,
            columns: vec![Column::default(); header.len()],
            header,
            rows,
        };
        match table
            .rows
            .iter()
            .find_map(|(line, cells)| table.surplus(*line, cells))
        {
            Some(issue) => Err(issue),
            None => Ok(table),
        }
    }

    /// The issue of a row with more cells than the header: a decimal comma in a table separated by
    /// commas makes two cells of one number.
    fn surplus(&self, line: u64, cells: &[String]) -> Option<Issue> {
        let first = self.header.len();
        let more = cells.get(first..)?;
        more.iter().any(|cell| !cell.is_empty()).then(|| {
            let found = format!("{} cells, and the header has {first}", cells.len());
            self.cell_issue(Code::IN07, line, first, &found)
        })
    }

    /// The column of the first of these names that the table has, or of a name in US units that stands
    /// for one of them (`rain_in` for `rain_mm`); see [`Table::number`].
    pub fn column(&self, names: &[&str]) -> Option<usize> {
        let place = |name: &str| self.header.iter().position(|column| column == name);
        names.iter().find_map(|name| place(name)).or_else(|| {
            let us = names.iter().flat_map(|name| us_columns(name));
            us.into_iter().find_map(|name| place(&name))
        })
    }

    /// The names of the columns, in lower case.
    pub fn names(&self) -> &[String] {
        &self.header
    }

    /// The column of the first of these names, or an issue.
    ///
    /// # Errors
    /// `IN08` naming the columns that there are.
    pub fn needed(&self, names: &[&str]) -> Result<usize, Issue> {
        self.column(names).ok_or_else(|| {
            let found = format!(
                "{}; the table has {}",
                names.join(" or "),
                self.header.join(", ")
            );
            Issue::new(Code::IN08, found).in_file(&self.file)
        })
    }

    /// The cell as it stands, without spaces around it; empty when the row is short.
    pub fn text<'a>(&self, cells: &'a [String], column: usize) -> &'a str {
        cells.get(column).map_or("", |cell| cell.as_str())
    }

    /// The cell as a number in the metric unit of its column: US units by the column's name or behind
    /// the number are converted. `None` when it is empty or a word or number for nothing (`NA`, `NULL`,
    /// `-999`). Between thousands there may be spaces, apostrophes, or commas or points that cannot be
    /// taken for decimals; a comma is a decimal mark only in tables separated by semicolons or tabs.
    ///
    /// # Errors
    /// `IN22` where the cell can be read in two ways and no other of its column settles it; `IN21` where
    /// the table has the quantity in two units; `IN07` for anything else that is not a finite number.
    pub fn number(&self, line: u64, cells: &[String], column: usize) -> Result<Option<f64>, Issue> {
        let text = self.text(cells, column);
        let name = &self.header[column]; // a column index comes from the header
        let bad = |code: Code, why: &str| {
            Err(self.cell_issue(code, line, column, &format!("{name} = `{text}`{why}")))
        };
        let (metric, factor, twin) = self.columns[column].unit.get_or_init(|| {
            let us = metric_column(name);
            let (metric, factor) = us.unwrap_or_else(|| (name.clone(), 1.0));
            let same = us_columns(&metric);
            let is_twin = |other: &String| *other == metric || same.contains(other);
            let mut others = (0..self.header.len()).filter(|&other| other != column);
            let twin = others.find(|&other| is_twin(&self.header[other]));
            (metric, factor, twin)
        });
        if let Some(other) = *twin {
            let found = format!("`{name}` and `{}`", self.header[other]);
            return Err(Issue::new(Code::IN21, found).in_file(&self.file));
        }
        match number::read(text, self.comma(column)) {
            Ok(None) => Ok(None),
            Ok(Some(written)) if written.unit.is_empty() => Ok(Some(written.value * factor)),
            Ok(Some(written)) => match factor_to_column(written.unit, metric) {
                Some(factor) => Ok(Some(written.value * factor)),
                None => bad(Code::IN07, "; its unit is not one of the column's"),
            },
            Err(NoNumber::Ambiguous) => bad(Code::IN22, ""),
            Err(NoNumber::Other) => bad(Code::IN07, ""),
        }
    }

    /// What the commas of a column mean; `None` where its cells do not say, or contradict each other.
    fn comma(&self, column: usize) -> Option<Comma> {
        *self.columns[column].comma.get_or_init(|| {
            let cells = self.rows.iter().map(|(_, cells)| self.text(cells, column));
            let found = agreed(cells.filter_map(number::evidence));
            // Where commas part the cells they are no decimal marks.
            found.filter(|comma| self.separator != ',' || *comma == Comma::Thousands)
        })
    }

    /// The cell of a day as `2026-07-31` where it stands in local order (`31.7.2026`, `7/31/2026`) and the
    /// column says in which; otherwise the cell as it stands.
    ///
    /// # Errors
    /// `IN23` where day and month cannot be told apart.
    pub fn day(&self, line: u64, cells: &[String], column: usize) -> Result<String, Issue> {
        let text = self.text(cells, column);
        let order = self.columns[column].order.get_or_init(|| {
            let cells = self.rows.iter().map(|(_, cells)| self.text(cells, column));
            agreed(cells.filter_map(number::day_order))
        });
        match number::iso_day(text, *order) {
            Ok(day) => Ok(day.unwrap_or_else(|| text.to_owned())),
            Err(_) => {
                let found = format!("{} = `{text}`", self.header[column]);
                Err(self.cell_issue(Code::IN23, line, column, &found))
            }
        }
    }

    /// An issue of the whole table.
    pub fn file_issue(&self, code: Code, found: &str) -> Issue {
        Issue::new(code, found).in_file(&self.file)
    }

    /// An issue at a line of this table.
    pub fn issue(&self, code: Code, line: u64, found: &str) -> Issue {
        Issue::new(code, format!("line {line}: {found}"))
            .in_file(&self.file)
            .at_spot(Spot::Line(line))
    }

    /// An issue at a cell of this table.
    pub fn cell_issue(&self, code: Code, line: u64, column: usize, found: &str) -> Issue {
        self.issue(code, line, found).at_spot(Spot::Cell {
            line,
            cell: column,
            separator: self.separator,
        })
    }
}

/// What all of these say; `None` without any, and where they contradict each other.
fn agreed<T: PartialEq>(mut all: impl Iterator<Item = T>) -> Option<T> {
    let first = all.next()?;
    all.all(|other| other == first).then_some(first)
}

fn split(line: &str, separator: char) -> Vec<String> {
    let mut cells = Vec::new();
    let mut cell = String::new();
    let mut quoted = false;
    for letter in line.chars() {
        match letter {
            '"' => quoted = !quoted,
            c if c == separator && !quoted => {
                cells.push(cell.trim().to_owned());
                cell.clear();
            }
            c => cell.push(c),
        }
    }
    cells.push(cell.trim().to_owned());
    cells
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test fails by panicking")]
mod tests {
    use super::*;

    #[test]
    fn separators_quotes_comments_and_gaps() {
        let table = Table::parse(
            "\u{feff}# weather\n\nDay;\"Rain; mm\";T\n1;NA;2.5\n2\n",
            "w",
        )
        .unwrap();
        assert_eq!(table.header, ["day", "rain; mm", "t"]);
        assert_eq!(table.rows.len(), 2);
        let (line, cells) = &table.rows[0];
        assert_eq!(*line, 4);
        assert_eq!(table.number(*line, cells, 1).unwrap(), None);
        assert_eq!(table.number(*line, cells, 2).unwrap(), Some(2.5));
        let (line, cells) = &table.rows[1];
        assert_eq!(table.number(*line, cells, 2).unwrap(), None);
        assert_eq!(Table::parse("\n", "w").err().unwrap().code, Code::IN08);
        let bad = Table::parse("t\n2.5 C\n", "w").unwrap();
        let issue = bad.number(2, &["2.5 C".to_owned()], 0).unwrap_err();
        assert_eq!(
            (issue.code, issue.found.as_str()),
            (
                Code::IN07,
                "line 2: t = `2.5 C`; its unit is not one of the column's"
            )
        );
    }

    #[test]
    fn texts_are_unicode_or_named() {
        let wide = |text: &str, big: bool| -> Vec<u8> {
            let units = "\u{feff}".encode_utf16().chain(text.encode_utf16());
            let bytes = units.map(|unit| {
                if big {
                    unit.to_be_bytes()
                } else {
                    unit.to_le_bytes()
                }
            });
            bytes.flatten().collect()
        };
        for bytes in [
            "a\né".as_bytes().to_vec(),
            wide("a\né", true),
            wide("a\né", false),
        ] {
            assert_eq!(decode(bytes, "f").unwrap(), "a\né");
        }
        let issue = decode(b"a\nPr\xe9".to_vec(), "f").unwrap_err();
        assert_eq!(issue.code, Code::IN20);
        assert_eq!(issue.found, "line 2: byte 5 is 0xe9, `\\u{e9}` in Latin-1");
        assert_eq!(
            decode(vec![0xff, 0xfe, 0x00], "f").unwrap_err().code,
            Code::IN20
        );
    }

    fn numbers(text: &str) -> Result<Vec<Option<f64>>, Code> {
        let table = Table::parse(text, "w").map_err(|issue| issue.code)?;
        let read = |(line, cells): &(u64, Vec<String>)| table.number(*line, cells, 0);
        let found: Result<Vec<_>, Issue> = table.rows.iter().map(read).collect();
        found.map_err(|issue| issue.code)
    }

    #[test]
    fn rows_longer_than_the_header_are_refused() {
        assert_eq!(numbers("eto_mm\n35,9\n"), Err(Code::IN07));
        assert_eq!(
            numbers("eto_mm\n35\n\n7,,\n"),
            Ok(vec![Some(35.0), Some(7.0)])
        );
    }

    #[test]
    fn a_column_settles_its_commas() {
        // Separated by semicolons: decimals by the cell itself, or by another of the column.
        assert_eq!(
            numbers("a;b\n35,9;\n1,234;\n"),
            Ok(vec![Some(35.9), Some(1.234)])
        );
        assert_eq!(
            numbers("a;b\n1,234;\n2,5;\n"),
            Ok(vec![Some(1.234), Some(2.5)])
        );
        assert_eq!(
            numbers("a\tb\n1,234\t\n12.5\t\n"),
            Ok(vec![Some(1234.0), Some(12.5)])
        );
        assert_eq!(numbers("a;b\n1,234;\n2,345;\n"), Err(Code::IN22));
        assert_eq!(
            numbers("a;b\n1,234;\n2,5;\n3.5;\n"),
            Err(Code::IN22),
            "it contradicts itself"
        );
        // Separated by commas: thousands only.
        assert_eq!(
            numbers("a,b\n\"1,234\",\n12.5,\n"),
            Ok(vec![Some(1234.0), Some(12.5)])
        );
        assert_eq!(numbers("a,b\n\"1,234\",\n"), Err(Code::IN22));
        assert_eq!(numbers("a,b\n\"35,9\",\n"), Err(Code::IN22));
    }

    #[test]
    fn us_units_by_column_and_by_cell() {
        let close = |text: &str, wanted: f64| {
            let found = numbers(text).unwrap()[0].unwrap();
            assert!((found - wanted).abs() < 1e-9 * wanted, "{text}: {found}");
        };
        close("rain_in\n2\n", 50.8);
        close("rain_mm\n2 in\n", 50.8);
        close("rain_in\n10 mm\n", 10.0);
        close("use_ccf\n1\n", 2.831_684_659_2);
        assert_eq!(numbers("rain_mm\n2 psi\n"), Err(Code::IN07));
        assert_eq!(numbers("rain_mm,rain_in\n2,1\n"), Err(Code::IN21));
        assert_eq!(numbers("gal,kgal\n2,1\n"), Err(Code::IN21));
        let table = Table::parse("Rain_in,x\n1,2\n", "w").unwrap();
        assert_eq!(table.column(&["rain_mm"]), Some(0));
        assert_eq!(table.column(&["eto_mm"]), None);
    }

    #[test]
    fn a_column_settles_the_order_of_its_days() {
        let days = |text: &str| {
            let table = Table::parse(text, "w").unwrap();
            let read = |(line, cells): &(u64, Vec<String>)| table.day(*line, cells, 0);
            let found: Result<Vec<String>, Issue> = table.rows.iter().map(read).collect();
            found.map_err(|issue| issue.code)
        };
        let wanted = Ok(vec!["2026-03-04".to_owned(), "2026-03-31".to_owned()]);
        assert_eq!(days("d\n3/4/2026\n3/31/2026\n"), wanted);
        assert_eq!(days("d\n4/3/2026\n31/3/2026\n"), wanted);
        assert_eq!(days("d\n2026-03-04\n2026-03-31\n"), wanted);
        assert_eq!(days("d\n3/4/2026\n"), Err(Code::IN23));
        assert_eq!(days("d\n3/4/2026\n31/3/2026\n3/31/2026\n"), Err(Code::IN23));
    }
}
