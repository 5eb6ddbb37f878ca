//! Coordinate reference systems: from whatever a layer is drawn in to longitude and latitude.

mod transform;

pub use transform::Crs;
#[cfg(feature = "system-gis")]
pub(crate) use transform::{listen_to_gdal, take_gdal_complaint};
