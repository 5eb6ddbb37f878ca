//! Tables as a stream of Arrow record batches: one row a parcel, in input order.
//!
//! A row holds the parcel's id and, for each table asked for, the list of the rows that the parcel has in it:
//! the columns of the dictionary, and for tables with a place `geometry` as well-known binary and its
//! bounds as `bbox`, as GeoParquet files have them. Lists cost nothing where they are empty, so one stream
//! carries tables of any number, and nothing is planned twice to have a second one. What belongs to no
//! parcel stands in a last row without an id.
//!
//! # References
//! - Apache Arrow contributors, *Arrow Columnar Format* 1.5, 2024: IPC streaming format.

use std::io::{self, Write};
use std::mem;
use std::sync::Arc;

use arrow_array::{
    ArrayRef, BinaryArray, BooleanArray, Float64Array, Int64Array, ListArray, RecordBatch,
    StringArray, StructArray,
};
use arrow_buffer::{NullBuffer, OffsetBuffer};
use arrow_ipc::writer::StreamWriter;
use arrow_schema::{ArrowError, DataType, Field, Fields, Schema};

use super::layer::{Cell, Facts, Kind};
use super::record::{Record, Row, Table, Which};
use super::wkb::{Areas, Bounds, bounds, wkb};

/// The column with the parcel's id.
const PARCEL: &str = "parcel_id";
const GEOMETRY: &str = "geometry";
const BOX: &str = "bbox";
const SIDES: [&str; 4] = ["xmin", "ymin", "xmax", "ymax"];
/// A batch is written when it has so many parcels, or so many rows of one table.
const MOST_PARCELS: usize = 256;
const MOST_ROWS: usize = 8_192;

/// The open stream.
pub struct ArrowStream<W: Write> {
    writer: StreamWriter<W>,
    schema: Arc<Schema>,
    ids: Vec<Option<String>>,
    tables: Vec<Held>,
}

/// The rows of a table that wait for their batch.
struct Held {
    table: Table,
    rows: Vec<Row>,
    /// How many of them each parcel has.
    counts: Vec<usize>,
}

impl<W: Write> ArrowStream<W> {
    /// Writes what stands in front of the rows.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn begin(sink: W, tables: &[Which]) -> io::Result<ArrowStream<W>> {
        let tables: Vec<Table> = tables.iter().map(|which| which.table()).collect();
        let parcel = Field::new(PARCEL, DataType::Utf8, true);
        let columns = tables.iter().map(|table| {
            let row = DataType::Struct(columns(table));
            Field::new_list(table.name, Field::new_list_field(row, false), false)
        });
        let schema: Vec<Field> = std::iter::once(parcel).chain(columns).collect();
        let schema = Arc::new(Schema::new(schema));
        let writer = StreamWriter::try_new(sink, &schema).map_err(failed)?;
        let held = |table| Held {
            table,
            rows: Vec::new(),
            counts: Vec::new(),
        };
        Ok(ArrowStream {
            writer,
            schema,
            ids: Vec::new(),
            tables: tables.into_iter().map(held).collect(),
        })
    }

    /// Writes a parcel, together with some of its neighbours.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn add(&mut self, record: &Record) -> io::Result<()> {
        self.rows(Some(&record.id), &record.rows)
    }

    /// Writes the rows of a parcel, or those that belong to none.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn rows(&mut self, parcel: Option<&str>, rows: &[(Which, Row)]) -> io::Result<()> {
        self.ids.push(parcel.map(str::to_owned));
        let mut is_full = self.ids.len() >= MOST_PARCELS;
        for held in &mut self.tables {
            let before = held.rows.len();
            let own = rows.iter().filter(|(which, _)| *which == held.table.which);
            held.rows.extend(own.map(|(_, row)| row.clone()));
            held.counts.push(held.rows.len() - before);
            is_full |= held.rows.len() >= MOST_ROWS;
        }
        if is_full { self.batch() } else { Ok(()) }
    }

    /// Writes what waits, and the mark of the end.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn finish(mut self) -> io::Result<()> {
        if !self.ids.is_empty() {
            self.batch()?;
        }
        self.writer.finish().map_err(failed)?;
        self.writer.get_mut().flush()
    }

    fn batch(&mut self) -> io::Result<()> {
        let ids: ArrayRef = Arc::new(StringArray::from(mem::take(&mut self.ids)));
        let mut columns = vec![ids];
        for held in &mut self.tables {
            columns.push(Arc::new(held.list().map_err(failed)?));
        }
        let batch = RecordBatch::try_new(Arc::clone(&self.schema), columns).map_err(failed)?;
        self.writer.write(&batch).map_err(failed)?;
        self.writer.get_mut().flush()
    }
}

impl Held {
    /// The rows that wait as a list for each parcel.
    fn list(&mut self) -> Result<ListArray, ArrowError> {
        let rows = mem::take(&mut self.rows);
        let offsets = OffsetBuffer::from_lengths(mem::take(&mut self.counts));
        let fields = columns(&self.table);
        let mut arrays: Vec<ArrayRef> = Vec::with_capacity(fields.len());
        for (at, facts) in self.table.columns.iter().enumerate() {
            arrays.push(cells(facts, rows.iter().map(|row| row.cells.get(at))));
        }
        if !self.table.shape.is_empty() {
            let drawn: Vec<_> = rows
                .iter()
                .map(|row| wkb(&row.place, Areas::AsTheyAre))
                .collect();
            let drawn = drawn.iter().map(|bytes| bytes.as_deref());
            arrays.push(Arc::new(drawn.collect::<BinaryArray>()));
            let boxes: Vec<Option<Bounds>> = rows.iter().map(|row| bounds(&row.place)).collect();
            let side = |side: usize| -> ArrayRef {
                let values = boxes.iter().map(|one| one.map_or(0.0, |one| one[side]));
                Arc::new(values.map(Some).collect::<Float64Array>())
            };
            let present: NullBuffer = boxes.iter().map(Option::is_some).collect();
            let sides = [0, 1, 2, 3].map(side).to_vec();
            let covering = StructArray::try_new(box_fields(), sides, Some(present))?;
            arrays.push(Arc::new(covering));
        }
        let length = rows.len();
        let rows = StructArray::try_new_with_length(fields.clone(), arrays, None, length)?;
        let item = Field::new_list_field(DataType::Struct(fields), false);
        ListArray::try_new(Arc::new(item), offsets, Arc::new(rows), None)
    }
}

/// The columns of a row of a table.
fn columns(table: &Table) -> Fields {
    let mut columns: Vec<Field> = Vec::new();
    for facts in &table.columns {
        let kind = match facts.kind {
            Kind::Text => DataType::Utf8,
            Kind::Integer => DataType::Int64,
            Kind::Number(_) => DataType::Float64,
            Kind::Bool => DataType::Boolean,
        };
        columns.push(Field::new(facts.name, kind, true));
    }
    if !table.shape.is_empty() {
        columns.push(Field::new(GEOMETRY, DataType::Binary, true));
        columns.push(Field::new(BOX, DataType::Struct(box_fields()), true));
    }
    columns.into()
}

fn box_fields() -> Fields {
    SIDES
        .map(|side| Field::new(side, DataType::Float64, false))
        .to_vec()
        .into()
}

/// The values of a column of the dictionary.
fn cells<'r>(facts: &Facts, cells: impl Iterator<Item = Option<&'r Cell>>) -> ArrayRef {
    match facts.kind {
        Kind::Text => Arc::new(
            cells
                .map(|cell| match cell {
                    Some(Cell::Text(text)) => Some(text.as_str()),
                    _ => None,
                })
                .collect::<StringArray>(),
        ),
        Kind::Integer => Arc::new(
            cells
                .map(|cell| match cell {
                    Some(Cell::Integer(value)) => i64::try_from(*value).ok(),
                    _ => None,
                })
                .collect::<Int64Array>(),
        ),
        Kind::Number(_) => Arc::new(
            cells
                .map(|cell| match cell {
                    Some(Cell::Number(value)) => Some(*value),
                    _ => None,
                })
                .collect::<Float64Array>(),
        ),
        Kind::Bool => Arc::new(
            cells
                .map(|cell| match cell {
                    Some(Cell::Bool(value)) => Some(*value),
                    _ => None,
                })
                .collect::<BooleanArray>(),
        ),
    }
}

/// The error of the sink itself, so that a reader that went away is known as one.
fn failed(error: ArrowError) -> io::Error {
    match error {
        ArrowError::IoError(_, error) => error,
        other => io::Error::other(format!("arrow: {other}")),
    }
}
