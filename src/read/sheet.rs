//! Tables that come back: what a run has written, and forms that people have filled in.
//!
//! A sheet is read row by row. Cells are separated by commas, semicolons or tabs, as the titles
//! have them; a cell in quotes may hold separators, line ends and doubled quotes. The apostrophe
//! that keeps a spreadsheet from taking a text for a formula is taken off again.

use std::fs::File;
use std::io::{BufRead, BufReader, Read};
use std::path::Path;

use crate::assumptions::nearest;
use crate::issue::{Code, Issue, Spot};

/// Longest row [bytes]: a quote that is not closed must not take the rest of the file.
pub(super) const MOST_ROW_BYTES: usize = 1 << 20;

/// A sheet that is being read.
pub struct Sheet {
    name: String,
    lines: Box<dyn BufRead>,
    separator: char,
    titles: Vec<String>,
    /// 1-based line where the row that was read last begins.
    line: u64,
    /// Lines read so far.
    read: u64,
}

impl Sheet {
    /// Opens a file and reads its titles, letter case ignored.
    ///
    /// # Errors
    /// `IN01` when it cannot be read, `IN08` without titles.
    pub fn open(path: &Path) -> Result<Sheet, Issue> {
        let name = path.display().to_string();
        let file = File::open(path)
            .map_err(|error| Issue::new(Code::IN01, error.to_string()).in_file(&name))?;
        Sheet::of(&name, Box::new(BufReader::new(file)))
    }

    /// Reads the titles of a text.
    ///
    /// # Errors
    /// As [`Sheet::open`].
    pub fn of(name: &str, lines: Box<dyn BufRead>) -> Result<Sheet, Issue> {
        let mut sheet = Sheet {
            name: name.to_owned(),
            lines,
            separator: ',',
            titles: Vec::new(),
            line: 0,
            read: 0,
        };
        let Some(titles) = sheet.record()? else {
            return Err(Issue::new(Code::IN08, "the table is empty").in_file(name));
        };
        let titles = titles.strip_prefix('\u{feff}').unwrap_or(&titles);
        let found = [';', '\t'].into_iter().find(|&c| titles.contains(c));
        sheet.separator = found.unwrap_or(',');
        let titles = split(titles, sheet.separator);
        sheet.titles = titles.iter().map(|title| title.to_lowercase()).collect();
        Ok(sheet)
    }

    /// The titles, in lower case.
    #[must_use]
    pub fn titles(&self) -> &[String] {
        &self.titles
    }

    /// The place of a column, if it is there.
    #[must_use]
    pub fn column(&self, title: &str) -> Option<usize> {
        let wanted = title.to_lowercase();
        self.titles.iter().position(|title| *title == wanted)
    }

    /// The place of a column.
    ///
    /// # Errors
    /// `IN08` with the nearest title that is there.
    pub fn needed(&self, title: &str) -> Result<usize, Issue> {
        self.column(title).ok_or_else(|| {
            let near = nearest(title, self.titles.iter().map(String::as_str));
            let hint = near.map_or(String::new(), |near| format!("; is it `{near}`?"));
            Issue::new(Code::IN08, format!("{title}{hint}"))
                .in_file(&self.name)
                .at_spot(Spot::Line(1))
        })
    }

    /// The cells of the next row that is not empty; `None` at the end.
    ///
    /// # Errors
    /// `IN01` when reading fails, `IN07` for a quote that is not closed and for a row with more cells
    /// than there are titles, `IN20` for text that is not UTF-8.
    pub fn next_row(&mut self) -> Result<Option<Vec<String>>, Issue> {
        while let Some(text) = self.record()? {
            let cells = split(&text, self.separator);
            let titles = self.titles.len();
            if cells.iter().skip(titles).any(|cell| !cell.is_empty()) {
                let found = format!("{} cells, and there are {titles} titles", cells.len());
                return Err(self.at_row(Code::IN07, &found));
            }
            if cells.iter().any(|cell| !cell.is_empty()) {
                return Ok(Some(cells));
            }
        }
        Ok(None)
    }

    /// The number in a cell of the row read last; `None` where it is empty.
    ///
    /// # Errors
    /// `IN07` for anything else, and for numbers below zero.
    pub fn amount(&self, cells: &[String], column: usize) -> Result<Option<f64>, Issue> {
        match self.number(cells, column)? {
            Some(number) if number < 0.0 => Err(self.bad_cell(cells, column, "is below zero")),
            number => Ok(number),
        }
    }

    /// The number in a cell of the row read last, of either sign; `None` where it is empty.
    ///
    /// # Errors
    /// `IN07` for anything else.
    pub fn number(&self, cells: &[String], column: usize) -> Result<Option<f64>, Issue> {
        let text = text(cells, column);
        if text.is_empty() {
            return Ok(None);
        }
        match text.parse::<f64>() {
            Ok(number) if number.is_finite() => Ok(Some(number)),
            _ => Err(self.bad_cell(cells, column, "is not a number")),
        }
    }

    /// The yes or no in a cell of the row read last; `None` where it is empty.
    ///
    /// # Errors
    /// `IN07` for anything else.
    pub fn yes_or_no(&self, cells: &[String], column: usize) -> Result<Option<bool>, Issue> {
        match text(cells, column).to_lowercase().as_str() {
            "" => Ok(None),
            "yes" | "y" | "true" | "1" => Ok(Some(true)),
            "no" | "n" | "false" | "0" => Ok(Some(false)),
            _ => Err(self.bad_cell(cells, column, "is neither yes nor no")),
        }
    }

    /// The issue of a cell of the row read last.
    #[must_use]
    pub fn bad_cell(&self, cells: &[String], column: usize, what: &str) -> Issue {
        let title = self.titles.get(column).map_or("", String::as_str);
        let found = format!("{title} = `{}` {what}", text(cells, column));
        self.at_row(Code::IN07, &found).at_spot(Spot::Cell {
            line: self.line,
            cell: column,
            separator: self.separator,
        })
    }

    /// An issue about the row read last.
    #[must_use]
    pub fn at_row(&self, code: Code, found: &str) -> Issue {
        Issue::new(code, format!("line {}: {found}", self.line))
            .in_file(&self.name)
            .at_spot(Spot::Line(self.line))
    }

    /// The text of the next record: lines up to one outside of quotes.
    fn record(&mut self) -> Result<Option<String>, Issue> {
        let mut record = String::new();
        let mut is_quoted = false;
        self.line = self.read + 1;
        loop {
            let mut bytes = Vec::new();
            // A line without an end is cut off here and refused below.
            let mut lines = (&mut self.lines).take(MOST_ROW_BYTES as u64 + 1);
            let count = lines
                .read_until(b'\n', &mut bytes)
                .map_err(|error| Issue::new(Code::IN01, error.to_string()).in_file(&self.name))?;
            if count == 0 {
                return match record.is_empty() {
                    true => Ok(None),
                    false => Err(self.at_row(Code::IN07, "a quote is not closed")),
                };
            }
            self.read += 1;
            if count > MOST_ROW_BYTES {
                self.line = self.read;
                let found = format!("it is longer than {MOST_ROW_BYTES} bytes");
                return Err(self.at_row(Code::IN12, &found));
            }
            let quotes = bytes.iter().filter(|&&byte| byte == b'"').count();
            is_quoted ^= !quotes.is_multiple_of(2);
            let text = std::str::from_utf8(&bytes).map_err(|_| {
                self.line = self.read;
                self.at_row(Code::IN20, "it holds bytes of another encoding")
            })?;
            record.push_str(text);
            if record.len() > MOST_ROW_BYTES {
                return Err(self.at_row(Code::IN07, "a quote is not closed"));
            }
            if !is_quoted {
                let end = record.trim_end_matches(['\n', '\r']).len();
                record.truncate(end);
                return Ok(Some(record));
            }
        }
    }
}

/// The text of a cell; empty where the row is short.
#[must_use]
pub fn text(cells: &[String], column: usize) -> &str {
    cells.get(column).map_or("", String::as_str)
}

fn split(record: &str, separator: char) -> Vec<String> {
    let mut cells = Vec::new();
    let mut cell = String::new();
    let mut letters = record.chars().peekable();
    let mut quoted = false;
    while let Some(letter) = letters.next() {
        match letter {
            '"' if quoted && letters.peek() == Some(&'"') => {
                cell.push('"');
                letters.next();
            }
            '"' => quoted = !quoted,
            c if c == separator && !quoted => cells.push(plain(&std::mem::take(&mut cell))),
            c => cell.push(c),
        }
    }
    cells.push(plain(&cell));
    cells
}

/// A cell without the spaces around it, and without the apostrophe that guards it.
fn plain(cell: &str) -> String {
    let cell = cell.trim();
    match cell.strip_prefix('\'') {
        Some(rest) if rest.starts_with(['=', '+', '-', '@', '\t', '\r']) => rest.to_owned(),
        _ => cell.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(text: &'static str) -> Result<Sheet, Issue> {
        Sheet::of("form.csv", Box::new(text.as_bytes()))
    }

    #[test]
    fn quotes_line_ends_and_guards_come_back_as_they_were() {
        let mut sheet =
            sheet("\u{feff}Parcel_ID,note,n\r\n00017,\"a, \"\"b\"\"\nc\",2\r\n\r\n'=1,x\r\n")
                .unwrap();
        assert_eq!(sheet.titles(), ["parcel_id", "note", "n"]);
        let row = sheet.next_row().unwrap().unwrap();
        assert_eq!(row, ["00017", "a, \"b\"\nc", "2"]);
        assert_eq!(sheet.amount(&row, 2).unwrap(), Some(2.0));
        let row = sheet.next_row().unwrap().unwrap();
        assert_eq!(row, ["=1", "x"]);
        assert_eq!(sheet.amount(&row, 2).unwrap(), None);
        assert_eq!(sheet.next_row().unwrap(), None);
    }

    #[test]
    fn what_is_wrong_says_where() {
        assert_eq!(sheet("").err().unwrap().code, Code::IN08);
        let issue = sheet("parcl_id;n\n")
            .unwrap()
            .needed("parcel_id")
            .unwrap_err();
        assert!(
            issue.code == Code::IN08 && issue.found.contains("`parcl_id`"),
            "{issue}"
        );
        let mut bad = sheet("n,ok\n-2,maybe\n").unwrap();
        let row = bad.next_row().unwrap().unwrap();
        let issue = bad.amount(&row, 0).unwrap_err();
        assert_eq!(
            (issue.code, issue.found.as_str()),
            (Code::IN07, "line 2: n = `-2` is below zero")
        );
        assert_eq!(bad.number(&row, 0).unwrap(), Some(-2.0));
        assert_eq!(bad.yes_or_no(&row, 1).unwrap_err().code, Code::IN07);
        let mut open = sheet("n\n\"a\nb\n").unwrap();
        assert_eq!(open.next_row().unwrap_err().code, Code::IN07);
    }
}
