//! CSV (RFC 4180) that opens in a spreadsheet: one line of titles, no formula can start from it.

use std::io::{self, Write};
use std::marker::PhantomData;

use super::files::{Format, Sink};
use super::layer::Layer;

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
        let mut line = String::new();
        for (at, column) in L::COLUMNS.iter().enumerate() {
            if at > 0 {
                line.push(',');
            }
            column.push_csv(row, &mut line);
        }
        line.push('\n');
        self.sink.write_all(line.as_bytes())
    }

    fn finish(self: Box<Self>) -> io::Result<()> {
        self.sink.finish()
    }
}
