//! GeoJSON text sequences (RFC 8142): one feature after the other, each behind a record separator.

use std::io::{self, Write};

use super::files::Sink;
use super::geojson::push_feature;
use super::record::{Row, Table};

/// Writes a table as a text sequence.
pub struct Sequence {
    sink: Sink,
    /// The row being made; kept for its room.
    line: String,
}

impl Sequence {
    /// The ending of its files.
    pub const ENDING: &'static str = "geojsons";

    /// Begins the sequence.
    #[must_use]
    pub fn begin(sink: Sink) -> Sequence {
        Sequence {
            sink,
            line: String::new(),
        }
    }

    /// Writes one row.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn row(&mut self, table: &Table, row: &Row) -> io::Result<()> {
        self.line.clear();
        self.line.push('\u{1e}');
        push_feature(&mut self.line, table, row);
        self.line.push('\n');
        self.sink.write_all(self.line.as_bytes())
    }

    /// Ends the sequence and makes sure that it is on the disk.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn finish(self) -> io::Result<()> {
        self.sink.finish()
    }
}
