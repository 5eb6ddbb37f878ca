//! CSV (RFC 4180) that opens in a spreadsheet: one line of titles, no formula can start from it.

use std::borrow::Borrow;
use std::io::{self, Write};

use super::files::Sink;
use super::layer::{Cell, Facts};
use super::record::{Row, Table};
use super::text::csv_cell;
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
        let titles = columns.chain(has_geometry.then_some(GEOMETRY));
        let mut line = String::new();
        push_texts(&mut line, titles);
        close(&mut line);
        sink.write_all(line.as_bytes())?;
        Ok(Csv {
            sink,
            has_geometry,
            line,
        })
    }

    /// Writes one row.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn row(&mut self, table: &Table, row: &Row) -> io::Result<()> {
        self.line.clear();
        push_cells(&mut self.line, table.columns.iter().zip(&row.cells));
        if self.has_geometry {
            // Well-known text has commas and no quotes.
            self.line.push('"');
            push_wkt(&mut self.line, &row.place);
            self.line.push_str("\",");
        }
        close(&mut self.line);
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

/// Adds cells to a line, each with the comma behind it; [`close`] takes the last one off.
pub(super) fn push_cells<'f>(
    line: &mut String,
    cells: impl Iterator<Item = (&'f Facts, impl Borrow<Cell>)>,
) {
    for (facts, cell) in cells {
        facts.push_csv(cell.borrow(), line);
        line.push(',');
    }
}

/// Adds texts to a line, each with the comma behind it.
pub(super) fn push_texts<'a>(line: &mut String, texts: impl Iterator<Item = &'a str>) {
    for text in texts {
        line.push_str(&csv_cell(text));
        line.push(',');
    }
}

/// Ends a line.
pub(super) fn close(line: &mut String) {
    line.pop();
    line.push('\n');
}
