//! Reading: layers of polygons and points, whatever they come in, to parcels in longitude and
//! latitude.
//!
//! From the file up: [`source`] names an input and opens its bytes; `json`, `records`, `geojson`
//! and `ogr` make features of them; `rings`, `validity` and `repair` see to their geometry;
//! `layer` hides which of them it was; `parcels`, `turf`, `heads` and `obstacles` index the
//! layers; `land` with `soils`, `zones`, `majority`, `dem` and `slope` says what lies under and
//! over a lawn; `join` and `stream` say in what order the turf comes; and [`neighbourhood`] puts it
//! together, parcel by parcel, in input order. Apart from that, [`planned`] reads one parcel back out
//! of the folder of a finished plan, and [`cans`] the readings of a catch-can test.
//!
//! No layer is held in memory: what stays of a parcel, a lawn, a head or an obstacle while the
//! run goes on is where its file has it.

#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test fails by panicking"))]
#![allow(
    clippy::result_large_err,
    reason = "an issue is made a few times a run, and readings pass one at a time"
)]

pub mod cans;
pub mod excerpt;
pub mod filter;
pub mod neighbourhood;
pub mod planned;
pub mod source;

#[cfg(feature = "arrow")]
mod bundles;
#[cfg(feature = "arrow")]
mod columns;
#[cfg(feature = "system-gis")]
mod curves;
#[cfg(feature = "system-gis")]
mod dem;
mod feature;
mod fields;
mod geojson;
mod heads;
mod ids;
mod join;
mod json;
mod land;
mod layer;
mod majority;
mod meter;
mod obstacles;
#[cfg(feature = "system-gis")]
mod ogr;
mod parcels;
mod plane;
mod records;
mod repair;
mod rings;
pub mod sheet;
#[cfg(feature = "system-gis")]
mod slope;
mod soils;
mod stream;
mod supply;
mod turf;
mod usage;
mod validity;
#[cfg(feature = "arrow")]
mod wkb;
mod zones;

pub use ids::{MatchIds, RepeatedIds};
pub use land::LandSources;
pub use neighbourhood::{Inputs, Neighbourhood, ReadCounts, Reading};
pub use source::Source;
pub use usage::LayerUse;
pub use zones::zone_years;
