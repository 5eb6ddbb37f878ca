//! Reading: layers of polygons and points, whatever they come in, to parcels in longitude and
//! latitude.
//!
//! From the file up: [`source`] names an input and opens its bytes; `json`, `records`, `geojson`
//! and `ogr` make features of them; `rings` and `repair` see to their geometry; `layer` hides
//! which of them it was; `parcels`, `turf`, `heads` and `obstacles` index the layers; and
//! [`neighbourhood`] joins them, parcel by parcel, in input order.

pub mod filter;
pub mod source;

mod feature;
mod geojson;
mod json;
mod layer;
#[cfg(feature = "system-gis")]
mod ogr;
mod plane;
mod records;
mod repair;
mod rings;
mod validity;

pub use source::Source;
