//! Frames: the local plane of a parcel, and the way from whatever a layer is drawn in to longitude
//! and latitude.

mod frame;
mod transform;

pub use frame::Frame;
pub use transform::Crs;
#[cfg(feature = "system-gis")]
pub(crate) use transform::{listen_to_gdal, take_gdal_complaint};
