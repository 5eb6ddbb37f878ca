//! GeoParquet 1.1: one file a table, geometry as well-known binary with its bounds beside it.
//!
//! Rows stand in input order, in groups of a fixed number of rows, so the bytes do not depend on
//! how the work was cut up. The bounds of every row let readers skip groups.
//!
//! # References
//! - Open Geospatial Consortium, *GeoParquet Specification* 1.1.0, 2024: file metadata, bounding
//!   box covering.
//! - PROJ contributors, *PROJJSON specification* 0.7.

use std::io;
use std::sync::Arc;

use parquet::basic::{Compression, LogicalType, Repetition, Type as Physical};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::{ColumnPath, Type};
use serde_json::{Value, json};

use super::files::{Format, Sink};
use super::layer::{Cell, Facts, Kind};
use super::record::{Place, Row, Table, Which};
use super::wkb::{Areas, Bounds, bounds, wkb};

/// The ending of the files.
pub const ENDING: &str = "parquet";
/// Rows of a group; nine tables hold at most so many each.
const ROWS_OF_A_GROUP: usize = 16_384;
const GEOMETRY: &str = "geometry";
const BOX: &str = "bbox";
const SIDES: [&str; 4] = ["xmin", "ymin", "xmax", "ymax"];

/// The files that are being filled.
pub struct GeoParquet(Vec<One>);

struct One {
    table: Table,
    writer: SerializedFileWriter<Sink>,
    rows: Vec<Row>,
    kinds: Vec<&'static str>,
    bounds: Option<Bounds>,
}

impl GeoParquet {
    /// Begins a file for each of these tables.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn begin(files: Vec<(Table, Sink)>) -> io::Result<GeoParquet> {
        let begun = files.into_iter().map(|(table, sink)| {
            let writer = SerializedFileWriter::new(
                sink,
                Arc::new(schema(&table).map_err(failed)?),
                Arc::new(properties()),
            );
            Ok(One {
                writer: writer.map_err(failed)?,
                table,
                rows: Vec::new(),
                kinds: Vec::new(),
                bounds: None,
            })
        });
        begun.collect::<io::Result<_>>().map(GeoParquet)
    }
}

impl Format for GeoParquet {
    fn row(&mut self, which: Which, row: &Row) -> io::Result<()> {
        let mut files = self.0.iter_mut();
        let Some(one) = files.find(|one| one.table.which == which) else {
            return Ok(());
        };
        one.rows.push(row.clone());
        if one.rows.len() < ROWS_OF_A_GROUP {
            return Ok(());
        }
        one.group().map_err(failed)
    }

    fn finish(self: Box<Self>) -> io::Result<()> {
        self.0.into_iter().try_for_each(One::finish)
    }
}

fn failed(error: ParquetError) -> io::Error {
    io::Error::other(format!("parquet: {error}"))
}

fn properties() -> WriterProperties {
    let quiet = [
        vec![GEOMETRY.to_owned()],
        vec![BOX.to_owned(), SIDES[0].to_owned()],
        vec![BOX.to_owned(), SIDES[1].to_owned()],
        vec![BOX.to_owned(), SIDES[2].to_owned()],
        vec![BOX.to_owned(), SIDES[3].to_owned()],
    ];
    let begun = WriterProperties::builder()
        .set_created_by(concat!("evenfall ", env!("CARGO_PKG_VERSION")).to_owned())
        .set_compression(Compression::SNAPPY)
        .set_statistics_enabled(EnabledStatistics::Chunk)
        // Least and largest well-known binary say nothing about where a geometry lies.
        .set_column_statistics_enabled(ColumnPath::new(quiet[0].clone()), EnabledStatistics::None);
    // Coordinates hardly ever stand twice.
    quiet
        .into_iter()
        .fold(begun, |begun, column| {
            begun.set_column_dictionary_enabled(ColumnPath::new(column), false)
        })
        .build()
}

fn schema(table: &Table) -> Result<Type, ParquetError> {
    let mut columns = Vec::new();
    for facts in &table.columns {
        let (physical, logical) = match facts.kind {
            Kind::Text => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
            Kind::Integer => (Physical::INT64, None),
            Kind::Number(_) => (Physical::DOUBLE, None),
            Kind::Bool => (Physical::BOOLEAN, None),
        };
        let column = Type::primitive_type_builder(facts.name, physical)
            .with_repetition(Repetition::OPTIONAL)
            .with_logical_type(logical)
            .build()?;
        columns.push(Arc::new(column));
    }
    if !table.shape.is_empty() {
        let geometry = Type::primitive_type_builder(GEOMETRY, Physical::BYTE_ARRAY)
            .with_repetition(Repetition::OPTIONAL)
            .build()?;
        let sides = SIDES.map(|side| {
            Type::primitive_type_builder(side, Physical::DOUBLE)
                .with_repetition(Repetition::REQUIRED)
                .build()
                .map(Arc::new)
        });
        let covering = Type::group_type_builder(BOX)
            .with_repetition(Repetition::OPTIONAL)
            .with_fields(sides.into_iter().collect::<Result<_, _>>()?)
            .build()?;
        columns.push(Arc::new(geometry));
        columns.push(Arc::new(covering));
    }
    Type::group_type_builder(table.name)
        .with_fields(columns)
        .build()
}

impl One {
    /// Writes the rows held as a group.
    fn group(&mut self) -> Result<(), ParquetError> {
        let rows = std::mem::take(&mut self.rows);
        let mut group = self.writer.next_row_group()?;
        for (at, facts) in self.table.columns.iter().enumerate() {
            cells(
                &mut group,
                facts,
                rows.iter().filter_map(|row| row.cells.get(at)),
            )?;
        }
        if !self.table.shape.is_empty() {
            let geometry = rows.iter().map(|row| wkb(&row.place, Areas::AsTheyAre));
            column::<ByteArrayType, _>(&mut group, geometry, ByteArray::from)?;
            let boxes: Vec<Option<Bounds>> = rows.iter().map(|row| bounds(&row.place)).collect();
            for side in 0..SIDES.len() {
                let values = boxes.iter().map(|one| one.map(|bounds| bounds[side]));
                column::<DoubleType, _>(&mut group, values, |value| value)?;
            }
        }
        group.close()?;
        for row in &rows {
            self.note(&row.place, bounds(&row.place));
        }
        Ok(())
    }

    /// Remembers what the file's metadata says of a geometry.
    fn note(&mut self, place: &Place, bounds: Option<Bounds>) {
        let kind = match place {
            Place::Nowhere => return,
            Place::Point(_) => "Point",
            Place::Line(_) => "LineString",
            Place::Areas(areas) if areas.len() == 1 => "Polygon",
            Place::Areas(_) => "MultiPolygon",
        };
        if !self.kinds.contains(&kind) {
            self.kinds.push(kind);
            self.kinds.sort_unstable();
        }
        let Some([west, south, east, north]) = bounds else {
            return;
        };
        let [w, s, e, n] = self.bounds.unwrap_or([west, south, east, north]);
        self.bounds = Some([w.min(west), s.min(south), e.max(east), n.max(north)]);
    }

    fn finish(mut self) -> io::Result<()> {
        if !self.rows.is_empty() {
            self.group().map_err(failed)?;
        }
        let mut put = |key: &str, value: &Value| {
            let pair = KeyValue::new(key.to_owned(), value.to_string());
            self.writer.append_key_value_metadata(pair);
        };
        if !self.table.shape.is_empty() {
            put("geo", &geo(&self.kinds, self.bounds));
        }
        put("evenfall:columns", &described(&self.table.columns));
        self.writer.into_inner().map_err(failed)?.finish()
    }
}

/// Writes a column of the dictionary.
fn cells<'r>(
    group: &mut SerializedRowGroupWriter<'_, Sink>,
    facts: &Facts,
    cells: impl Iterator<Item = &'r Cell>,
) -> Result<(), ParquetError> {
    match facts.kind {
        Kind::Text => {
            let values = cells.map(|cell| match cell {
                Cell::Text(text) => Some(text.as_bytes().to_vec()),
                _ => None,
            });
            column::<ByteArrayType, _>(group, values, ByteArray::from)
        }
        Kind::Integer => {
            let values = cells.map(|cell| match cell {
                Cell::Integer(value) => i64::try_from(*value).ok(),
                _ => None,
            });
            column::<Int64Type, _>(group, values, |value| value)
        }
        Kind::Number(_) => {
            let values = cells.map(|cell| match cell {
                Cell::Number(value) => Some(*value),
                _ => None,
            });
            column::<DoubleType, _>(group, values, |value| value)
        }
        Kind::Bool => {
            let values = cells.map(|cell| match cell {
                Cell::Bool(value) => Some(*value),
                _ => None,
            });
            column::<BoolType, _>(group, values, |value| value)
        }
    }
}

/// Writes the next column: its values, and which rows have one.
fn column<D: DataType, V>(
    group: &mut SerializedRowGroupWriter<'_, Sink>,
    values: impl Iterator<Item = Option<V>>,
    held: impl Fn(V) -> D::T,
) -> Result<(), ParquetError> {
    let mut present = Vec::new();
    let mut levels = Vec::new();
    for value in values {
        levels.push(i16::from(value.is_some()));
        present.extend(value.map(&held));
    }
    let missing = || ParquetError::General("a column more than the schema has".to_owned());
    let mut writer = group.next_column()?.ok_or_else(missing)?;
    writer
        .typed::<D>()
        .write_batch(&present, Some(&levels), None)?;
    writer.close()
}

/// The `geo` metadata of a file.
fn geo(kinds: &[&str], bounds: Option<Bounds>) -> Value {
    let side = |name: &str| json!([BOX, name]);
    let mut column = json!({
        "encoding": "WKB",
        "geometry_types": kinds,
        "crs": crs84(),
        "orientation": "counterclockwise",
        "edges": "planar",
        "covering": {"bbox": {
            SIDES[0]: side(SIDES[0]),
            SIDES[1]: side(SIDES[1]),
            SIDES[2]: side(SIDES[2]),
            SIDES[3]: side(SIDES[3]),
        }},
    });
    if let Some(bounds) = bounds {
        column["bbox"] = json!(bounds);
    }
    json!({"version": "1.1.0", "primary_column": GEOMETRY, "columns": {GEOMETRY: column}})
}

/// Longitude and latitude on WGS 84, in this order (OGC:CRS84).
fn crs84() -> Value {
    let axis = |name: &str, short: &str, direction: &str| json!({"name": name, "abbreviation": short, "direction": direction, "unit": "degree"});
    json!({
        "$schema": "https://proj.org/schemas/v0.7/projjson.schema.json",
        "type": "GeographicCRS",
        "name": "WGS 84 (CRS84)",
        "datum": {
            "type": "GeodeticReferenceFrame",
            "name": "World Geodetic System 1984",
            "ellipsoid": {
                "name": "WGS 84",
                "semi_major_axis": 6_378_137,
                "inverse_flattening": 298.257_223_563,
            },
        },
        "coordinate_system": {
            "subtype": "ellipsoidal",
            "axis": [
                axis("Geodetic longitude", "Lon", "east"),
                axis("Geodetic latitude", "Lat", "north"),
            ],
        },
        "id": {"authority": "OGC", "code": "CRS84"},
    })
}

/// Unit and meaning of every column.
fn described(columns: &[Facts]) -> Value {
    let described = columns.iter().map(|facts| {
        let about = json!({"unit": facts.unit, "meaning": facts.meaning});
        (facts.name.to_owned(), about)
    });
    Value::Object(described.collect())
}
