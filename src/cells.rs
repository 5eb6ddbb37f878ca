//! Tables as text: rows of cells separated by commas, semicolons or tabs.

use crate::issue::{Code, Issue, Spot};

/// A table with named columns.
pub(crate) struct Table {
    file: String,
    separator: char,
    header: Vec<String>,
    /// 1-based line in the file, and the cells.
    pub rows: Vec<(u64, Vec<String>)>,
}

impl Table {
    /// Splits a text into header and rows. Empty lines and lines that start with `#` are left
    /// out; quoted cells may hold separators; a byte-order mark is ignored.
    ///
    /// # Errors
    /// `IN08` without a header.
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
        let header = split(header, separator)
            .iter()
            .map(|name| name.to_lowercase())
            .collect();
        let rows = lines
            .map(|(line, text)| (line, split(text, separator)))
            .collect();
        Ok(Table {
            file: file.to_owned(),
            separator,
            header,
            rows,
        })
    }

    /// The column of the first of these names that the table has.
    pub fn column(&self, names: &[&str]) -> Option<usize> {
        names
            .iter()
            .find_map(|name| self.header.iter().position(|column| column == name))
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

    /// The cell as a number; `None` when it is empty, `NA`, `NaN` or a dash.
    ///
    /// # Errors
    /// `IN07` for anything else that is not a finite number.
    pub fn number(&self, line: u64, cells: &[String], column: usize) -> Result<Option<f64>, Issue> {
        let text = self.text(cells, column);
        if ["", "-", "na", "nan", "null", "none"].contains(&text.to_lowercase().as_str()) {
            return Ok(None);
        }
        match text.parse::<f64>() {
            Ok(number) if number.is_finite() => Ok(Some(number)),
            _ => {
                let name = &self.header[column]; // a column index comes from the header
                let found = format!("{name} = `{text}`");
                Err(self.cell_issue(Code::IN07, line, column, &found))
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
        let bad = Table::parse("t\n2,5 C\n", "w").unwrap();
        let issue = bad.number(2, &["2.5 C".to_owned()], 0).unwrap_err();
        assert_eq!(
            (issue.code, issue.found.as_str()),
            (Code::IN07, "line 2: t = `2.5 C`")
        );
    }
}
