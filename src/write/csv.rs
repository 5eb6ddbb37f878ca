//! CSV (RFC 4180) that opens in a spreadsheet: one line of titles, no formula can start from it.

use std::io::{self, Write};

use super::files::Sink;
use super::record::{Row, Table};

/// Writes a table without its geometry.
pub struct Csv {
    sink: Sink,
    /// The row being made; kept for its room.
    line: String,
}

impl Csv {
    /// Begins the table with its titles.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn begin(mut sink: Sink, table: &Table) -> io::Result<Csv> {
        let titles: Vec<&str> = table.columns.iter().map(|facts| facts.name).collect();
        sink.write_all(format!("{}\n", titles.join(",")).as_bytes())?;
        Ok(Csv {
            sink,
            line: String::new(),
        })
    }

    /// Writes one row.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn row(&mut self, table: &Table, row: &Row) -> io::Result<()> {
        self.line.clear();
        for (at, (facts, cell)) in table.columns.iter().zip(&row.cells).enumerate() {
            if at > 0 {
                self.line.push(',');
            }
            facts.push_csv(cell, &mut self.line);
        }
        self.line.push('\n');
        self.sink.write_all(self.line.as_bytes())
    }

    /// Ends the table and makes sure that it is on the disk.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn finish(self) -> io::Result<()> {
        self.sink.finish()
    }
}
