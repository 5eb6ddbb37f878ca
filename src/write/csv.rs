//! CSV (RFC 4180) that opens in a spreadsheet: one line of titles, no formula can start from it.

use std::io::{self, Write};
use std::marker::PhantomData;

use super::Layer;
use super::files::{Format, Sink};

/// Writes a layer without its geometry.
pub struct Csv<L: Layer> {
    sink: Sink,
    layer: PhantomData<L>,
}

impl<L: Layer> Csv<L> {
    /// Begins the table with its titles.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn begin(mut sink: Sink) -> io::Result<Csv<L>> {
        let titles: Vec<&str> = L::COLUMNS.iter().map(|column| column.facts.name).collect();
        sink.write_all(format!("{}\n", titles.join(",")).as_bytes())?;
        Ok(Csv {
            sink,
            layer: PhantomData,
        })
    }
}

impl<L: Layer> Format<L> for Csv<L> {
    fn row(&mut self, row: &L::Row<'_>) -> io::Result<()> {
        let cells: Vec<String> = L::COLUMNS.iter().map(|column| column.csv(row)).collect();
        self.sink
            .write_all(format!("{}\n", cells.join(",")).as_bytes())
    }

    fn finish(self: Box<Self>) -> io::Result<()> {
        self.sink.finish()
    }
}
