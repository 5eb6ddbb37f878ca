//! Rain as a GeoTIFF: cloud-optimised where the system's library can, tiled otherwise.
//!
//! # References
//! - Open Geospatial Consortium, *OGC GeoTIFF Standard* 1.1 (OGC 19-008r4), 2019; *OGC Cloud
//!   Optimized GeoTIFF Standard* 1.0 (OGC 21-026), 2023.

use gdal::DriverManager;
use gdal::errors::GdalError;
use gdal::raster::{Buffer, RasterCreationOptions};
use gdal::spatial_ref::SpatialRef;
use gdal::{Metadata, vsi};

use super::gis;
use super::rain::{Field, NO_DATA};
use crate::crs::listen_to_gdal;
use crate::issue::{Code, Issue};

/// Side of a tile \[cells\]: a lawn fits into a few.
const TILE: usize = 128;

/// The bytes of the file. Its reference system is the parcel's frame: Lambert azimuthal equal-area
/// about the frame's origin on WGS 84, in metres.
///
/// # Errors
/// `OU03` with what the library says.
pub(super) fn bytes(field: &Field, name: &str) -> Result<Vec<u8>, Issue> {
    listen_to_gdal();
    written(field, name)
        .map_err(|error| Issue::new(Code::OU03, gis::failed(name, &error).to_string()))
}

fn written(field: &Field, name: &str) -> Result<Vec<u8>, GdalError> {
    let (cols, rows) = field.size;
    let memory = DriverManager::get_driver_by_name("MEM")?;
    let mut drawn = memory.create_with_band_type::<f32, _>("", cols, rows, 1)?;
    let (lon0, lat0) = field.origin_deg;
    let system = SpatialRef::from_proj4(&format!(
        "+proj=laea +lat_0={lat0} +lon_0={lon0} +x_0=0 +y_0=0 +datum=WGS84 +units=m +no_defs"
    ))?;
    drawn.set_spatial_ref(&system)?;
    let (west, north) = field.corner_m;
    drawn.set_geo_transform(&[west, field.cell_m, 0.0, north, 0.0, -field.cell_m])?;
    {
        let mut band = drawn.rasterband(1)?;
        band.set_no_data_value(Some(f64::from(NO_DATA)))?;
        band.set_description("precipitation rate [mm/h]")?;
        let mut rates = Buffer::new((cols, rows), field.rates_mm_h.clone());
        band.write((0, 0), (cols, rows), &mut rates)?;
    }
    let mut options = RasterCreationOptions::new();
    options.set_name_value("COMPRESS", "DEFLATE")?;
    let driver = match DriverManager::get_driver_by_name("COG") {
        Ok(driver) => {
            options.set_name_value("OVERVIEWS", "NONE")?;
            options.set_name_value("BLOCKSIZE", &TILE.to_string())?;
            driver
        }
        Err(_) => {
            options.set_name_value("TILED", "YES")?;
            options.set_name_value("BLOCKXSIZE", &TILE.to_string())?;
            options.set_name_value("BLOCKYSIZE", &TILE.to_string())?;
            DriverManager::get_driver_by_name("GTiff")?
        }
    };
    // The name is that of the raster in the run, so no two threads write the same.
    let path = format!("/vsimem/evenfall/{name}");
    drawn.create_copy(&driver, &path, &options)?.close()?;
    vsi::get_vsi_mem_file_bytes_owned(&path)
}
