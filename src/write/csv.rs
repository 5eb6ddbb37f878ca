//! CSV (RFC 4180) that opens in a spreadsheet: one line of titles, no formula can start from it.

use std::io::{self, Write};

use super::files::Sink;
use super::record::{Row, Table};
use super::wkt::push_wkt;

/// The title of the column of geometries.
const GEOMETRY: &str = "wkt";

/// Writes a table, its geometry as well-known text in the last column where that is asked for.
pub struct Csv {
    sink: Sink,
    has_geometry: bool,
    /// The row being made; kept for its room.
    line: String,
}

impl Csv {
    /// Begins the table with its titles, without geometry.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn begin(sink: Sink, table: &Table) -> io::Result<Csv> {
        Csv::titled(sink, table, false)
    }

    /// Begins the table with its titles, with its geometry where it has one.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn begin_with_geometry(sink: Sink, table: &Table) -> io::Result<Csv> {
        Csv::titled(sink, table, !table.shape.is_empty())
    }

    fn titled(mut sink: Sink, table: &Table, has_geometry: bool) -> io::Result<Csv> {
        let columns = table.columns.iter().map(|facts| facts.name);
        let titles: Vec<&str> = columns.chain(has_geometry.then_some(GEOMETRY)).collect();
        sink.write_all(format!("{}\n", titles.join(",")).as_bytes())?;
        Ok(Csv {
            sink,
            has_geometry,
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
        if self.has_geometry {
            // Well-known text has commas and no quotes.
            self.line.push_str(",\"");
            push_wkt(&mut self.line, &row.place);
            self.line.push('"');
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
