//! FlatGeobuf: one file a layer, with a spatial index.
//!
//! The format's writer keeps no row without a geometry; such rows (a parcel whose outline is
//! broken, or all parcels without a parcel layer) are in `parcels.csv`. Rows are in the order of
//! the index. The library keeps the rows of a layer on the disk and about 50 bytes of each in memory
//! until the index is built. The files hold no dates. Yes and no are written as 1 and 0.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use gdal::DriverManager;
use gdal::errors::GdalError;
use gdal::vector::{Defn, Feature, FieldDefn, LayerOptions, OGRFieldType, OwnedLayer};

use super::files::Format;
use super::gis;
use super::layer::Kind;
use super::record::{Place, Row, Table, Which};
use crate::crs::listen_to_gdal;

/// The ending of the files.
pub const ENDING: &str = "fgb";

/// The files that are being filled.
pub struct FlatGeobuf(Vec<One>);

struct One {
    table: Table,
    path: PathBuf,
    layer: OwnedLayer,
    /// Rows that were put in.
    rows: u64,
}

impl FlatGeobuf {
    /// Makes a file for each of these tables.
    ///
    /// # Errors
    /// Whatever the library reports.
    pub fn begin(files: Vec<(Table, PathBuf)>) -> io::Result<FlatGeobuf> {
        listen_to_gdal();
        let begun = files.into_iter().map(|(table, path)| {
            let layer =
                made(&path, &table).map_err(|error| gis::failed(&file_name(&table), &error))?;
            Ok(One {
                table,
                path,
                layer,
                rows: 0,
            })
        });
        begun.collect::<io::Result<_>>().map(FlatGeobuf)
    }
}

impl Format for FlatGeobuf {
    fn row(&mut self, which: Which, row: &Row) -> io::Result<()> {
        let mut files = self.0.iter_mut();
        let Some(one) = files.find(|one| one.table.which == which) else {
            return Ok(());
        };
        if row.place == Place::Nowhere {
            return Ok(());
        }
        one.row(row)
            .map_err(|error| gis::failed(&file_name(&one.table), &error))
    }

    fn finish(self: Box<Self>) -> io::Result<()> {
        self.0.into_iter().try_for_each(One::finish)
    }
}

impl One {
    fn row(&mut self, row: &Row) -> Result<(), GdalError> {
        let form = Defn::from_layer(&self.layer);
        let mut feature = Feature::new(&form)?;
        gis::fill(&mut feature, &self.table, row)?;
        feature.create(&self.layer)?;
        self.rows += 1;
        Ok(())
    }

    fn finish(self) -> io::Result<()> {
        let name = file_name(&self.table);
        gis::close(self.layer.into_dataset(), &name)?;
        let broken = |why: String| io::Error::other(format!("{name}: {why}"));
        let mut file = File::open(&self.path)?;
        let found = file.metadata()?.len();
        let whole = whole_bytes(&mut file, self.rows).map_err(|error| broken(error.to_string()))?;
        if found != whole {
            return Err(broken(format!("{found} of {whole} bytes were written")));
        }
        Ok(())
    }
}

/// How long a file of so many features is, by what stands at the end of its index \[bytes\]. The
/// library does not tell when its last writes fail.
///
/// Eight bytes that name the format; a header, and its length in front; the index, with sixteen
/// entries in a node and forty bytes an entry, its leaves last and in the order of the features; each
/// feature with its length in front. The last leaf ends in where the last feature begins.
///
/// # References
/// - FlatGeobuf, *Specification*, version 3 (flatgeobuf.org, from memory; the test walks through whole
///   files).
fn whole_bytes(file: &mut (impl Read + Seek), features: u64) -> io::Result<u64> {
    const ENTRIES: u64 = 16;
    const ENTRY_BYTES: u64 = 40;
    let mut short = [0; 4];
    let mut long = [0; 8];
    file.seek(SeekFrom::Start(8))?;
    file.read_exact(&mut short)?;
    let header_end = 12 + u64::from(u32::from_le_bytes(short));
    if features == 0 {
        return Ok(header_end);
    }
    let (mut level, mut entries) = (features, features);
    loop {
        level = level.div_ceil(ENTRIES);
        entries += level;
        if level == 1 {
            break;
        }
    }
    let index_end = header_end + entries * ENTRY_BYTES;
    file.seek(SeekFrom::Start(index_end - 8))?;
    file.read_exact(&mut long)?;
    let last = index_end.saturating_add(u64::from_le_bytes(long));
    file.seek(SeekFrom::Start(last))?;
    file.read_exact(&mut short)?;
    Ok(last + 4 + u64::from(u32::from_le_bytes(short)))
}

fn file_name(table: &Table) -> String {
    format!("{}.{ENDING}", table.name)
}

/// Makes a file with the layer of a table.
fn made(path: &Path, table: &Table) -> Result<OwnedLayer, GdalError> {
    let mut dataset = DriverManager::get_driver_by_name("FlatGeobuf")?.create_vector_only(path)?;
    let system = gis::lon_lat()?;
    let layer = dataset.create_layer(LayerOptions {
        name: table.name,
        srs: Some(&system),
        ty: gis::kind(table),
        options: Some(&["SPATIAL_INDEX=YES"]),
    })?;
    for facts in &table.columns {
        let kind = match facts.kind {
            Kind::Text => OGRFieldType::OFTString,
            Kind::Integer => OGRFieldType::OFTInteger64,
            Kind::Number(_) => OGRFieldType::OFTReal,
            Kind::Bool => OGRFieldType::OFTInteger,
        };
        FieldDefn::new(facts.name, kind)?.add_to_layer(&layer)?;
    }
    dataset.into_layer(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A file of so many points, made by the library alone.
    fn points(path: &Path, count: u32) {
        listen_to_gdal();
        let driver = DriverManager::get_driver_by_name("FlatGeobuf").unwrap();
        let mut dataset = driver.create_vector_only(path).unwrap();
        let layer = dataset
            .create_layer(LayerOptions {
                name: "points",
                srs: Some(&gis::lon_lat().unwrap()),
                ty: gdal::vector::OGRwkbGeometryType::wkbPoint,
                options: Some(&["SPATIAL_INDEX=YES"]),
            })
            .unwrap();
        let field = FieldDefn::new("name", OGRFieldType::OFTString).unwrap();
        field.add_to_layer(&layer).unwrap();
        for number in 0..count {
            let form = Defn::from_layer(&layer);
            let mut feature = Feature::new(&form).unwrap();
            let name = "x".repeat(number as usize * 7 % 50);
            feature.set_field_string(0, &name).unwrap();
            let (x, y) = (f64::from(number * 37 % 101), f64::from(number * 53 % 89));
            let point = gdal::vector::Geometry::from_wkt(&format!("POINT({x} {y})")).unwrap();
            feature.set_geometry(point).unwrap();
            feature.create(&layer).unwrap();
        }
        dataset.close().unwrap();
    }

    #[test]
    fn the_length_of_a_file_is_told_by_its_index() {
        let home = tempfile::tempdir().unwrap();
        for count in [0, 1, 2, 15, 16, 17, 255, 256, 257, 300] {
            let path = home.path().join(format!("{count}.fgb"));
            points(&path, count);
            let bytes = std::fs::read(&path).unwrap();
            let found = whole_bytes(&mut io::Cursor::new(&bytes), u64::from(count)).unwrap();
            assert_eq!(found, bytes.len() as u64, "{count} features");
            if count > 0 {
                let cut = &bytes[..bytes.len() - 5];
                let told = whole_bytes(&mut io::Cursor::new(cut), u64::from(count));
                assert!(told.is_err() || told.unwrap() > cut.len() as u64);
            }
        }
    }
}
