//! What comes out: the column dictionary, and one writer per format.
//!
//! A column stands once, in the file of its layer (`parcels`, `turf`, `heads`, …), with its name, kind, unit, meaning
//! and the way its value is read off a plan. Formats, the README's table and the JSON Schemas follow from it.

#[cfg(feature = "arrow")]
pub mod arrow;
pub mod csv;
pub mod date;
pub mod decision;
pub mod describe;
pub mod failures;
pub mod files;
#[cfg(feature = "system-gis")]
mod flatgeobuf;
pub mod folder;
pub mod formats;
pub mod geojson;
#[cfg(feature = "system-gis")]
mod geopackage;
#[cfg(feature = "geoparquet")]
mod geoparquet;
#[cfg(feature = "system-gis")]
mod geotiff;
#[cfg(feature = "system-gis")]
mod gis;
pub mod heads;
pub mod layer;
pub mod measure;
pub mod network;
pub mod outputs;
pub mod page;
pub mod parcels;
pub mod program;
pub mod rain;
pub mod record;
pub mod report;
pub mod rows;
pub mod run_record;
pub mod savings;
pub mod schedule;
pub mod schemas;
pub mod sequence;
pub mod sheet;
pub mod style;
pub mod summary;
pub mod text;
pub mod throw;
mod tied;
pub mod ties;
pub mod turf;
pub mod walk;
pub mod wanted;
mod water;
pub mod wkb;
pub mod wkt;
