//! Rows as features of the system's vector library.

use std::io;

use gdal::Dataset;
use gdal::errors::GdalError;
use gdal::spatial_ref::{AxisMappingStrategy, SpatialRef};
use gdal::vector::{Feature, Geometry, OGRwkbGeometryType as Type};

use super::layer::Cell;
use super::record::{Row, Table};
use super::wkb::{Areas, wkb};
use crate::crs::take_gdal_complaint;

/// The library's error with what it said last.
pub(super) fn failed(file: &str, error: &GdalError) -> io::Error {
    let said = take_gdal_complaint().unwrap_or_else(|| error.to_string());
    io::Error::other(format!("{file}: {said}"))
}

/// Closes a dataset. The library reports what went wrong in that only as a complaint, at the latest
/// when it empties its buffers onto a full disk.
pub(super) fn close(dataset: Dataset, file: &str) -> io::Result<()> {
    let _ = take_gdal_complaint();
    dataset.close().map_err(|error| failed(file, &error))?;
    match take_gdal_complaint() {
        None => Ok(()),
        Some(said) => Err(io::Error::other(format!("{file}: {said}"))),
    }
}

/// Longitude and latitude on WGS 84, in this order.
pub(super) fn lon_lat() -> Result<SpatialRef, GdalError> {
    let mut reference = SpatialRef::from_epsg(4326)?;
    reference.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
    Ok(reference)
}

/// The kind of geometry of a layer.
pub(super) fn kind(table: &Table) -> Type::Type {
    match table.shape {
        "Point" => Type::wkbPoint,
        "LineString" => Type::wkbLineString,
        "Polygon" => Type::wkbPolygon,
        "MultiPolygon" => Type::wkbMultiPolygon,
        _ => Type::wkbNone,
    }
}

/// Puts a row into a feature whose fields are the table's columns in their order.
pub(super) fn fill(feature: &mut Feature<'_>, table: &Table, row: &Row) -> Result<(), GdalError> {
    for (at, cell) in row.cells.iter().enumerate() {
        match cell {
            Cell::Null => feature.set_field_null(at)?,
            // A text ends at a null character in the library.
            Cell::Text(text) => feature.set_field_string(at, &text.replace('\0', "\u{fffd}"))?,
            Cell::Integer(value) => {
                feature.set_field_integer64(at, i64::try_from(*value).unwrap_or(i64::MAX))?;
            }
            Cell::Number(value) => feature.set_field_double(at, *value)?,
            Cell::Bool(value) => feature.set_field_integer(at, i32::from(*value))?,
        }
    }
    let areas = if table.shape == "MultiPolygon" {
        Areas::AlwaysMulti
    } else {
        Areas::AsTheyAre
    };
    match wkb(&row.place, areas) {
        Some(bytes) => feature.set_geometry(Geometry::from_wkb(&bytes)?),
        None => Ok(()),
    }
}
