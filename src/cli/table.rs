//! Plain text tables.

/// A table whose columns are as wide as their widest cell.
pub(super) struct Table {
    /// Titles; one that began with `>` marks a column set to the right.
    titles: Vec<(String, Side)>,
    rows: Vec<Vec<String>>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Side {
    Left,
    Right,
}

impl Table {
    /// Begins a table. A title that begins with `>` sets its column to the right.
    pub(super) fn new(titles: &[&str]) -> Table {
        let titles = titles.iter().map(|title| match title.strip_prefix('>') {
            Some(title) => (title.to_owned(), Side::Right),
            None => ((*title).to_owned(), Side::Left),
        });
        Table {
            titles: titles.collect(),
            rows: Vec::new(),
        }
    }

    /// Adds a row; it has a cell for each title.
    pub(super) fn row(&mut self, cells: Vec<String>) {
        self.rows.push(cells);
    }

    /// The table, each line behind an indent.
    pub(super) fn text(&self, indent: &str) -> String {
        let titles: Vec<String> = self.titles.iter().map(|(title, _)| title.clone()).collect();
        let widths: Vec<usize> = (0..titles.len())
            .map(|at| {
                let cells = self.rows.iter().filter_map(|row| row.get(at));
                cells
                    .chain([&titles[at]])
                    .map(|cell| cell.chars().count())
                    .max()
                    .unwrap_or(0)
            })
            .collect();
        let mut out = String::new();
        for row in std::iter::once(&titles).chain(&self.rows) {
            let mut line = indent.to_owned();
            for ((cell, (_, side)), width) in row.iter().zip(&self.titles).zip(&widths) {
                let pad = " ".repeat(width - cell.chars().count());
                match side {
                    Side::Left => line.push_str(&format!("{cell}{pad}  ")),
                    Side::Right => line.push_str(&format!("{pad}{cell}  ")),
                }
            }
            out.push_str(line.trim_end());
            out.push('\n');
        }
        out
    }
}

/// A count with spaces between thousands.
pub(super) fn thousands(value: f64) -> String {
    let digits = format!("{:.0}", value.abs());
    let mut out = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            out.push(' ');
        }
        out.push(digit);
    }
    if value < 0.0 && digits != "0" {
        format!("-{out}")
    } else {
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up() {
        let mut table = Table::new(&["family", ">heads"]);
        table.row(vec!["spray".into(), "7".into()]);
        table.row(vec!["rotary-slow".into(), "1 234".into()]);
        assert_eq!(
            table.text("  "),
            "  family       heads\n  spray            7\n  rotary-slow  1 234\n"
        );
    }

    #[test]
    fn thousands_are_set_apart() {
        for (value, text) in [
            (0.0, "0"),
            (-0.3, "0"),
            (999.4, "999"),
            (1_000.0, "1 000"),
            (-1_234_567.0, "-1 234 567"),
        ] {
            assert_eq!(thousands(value), text);
        }
    }
}
