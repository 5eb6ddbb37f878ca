//! FlatGeobuf: one file a layer, with a spatial index.
//!
//! The format's writer keeps no row without a geometry; such rows (a parcel whose outline is
//! broken, or all parcels without a parcel layer) are in `parcels.csv`. Rows are in the order of
//! the index. The library keeps the rows of a layer on the disk and about 50 bytes of each in memory
//! until the index is built. The files hold no dates. Yes and no are written as 1 and 0.

use std::fs;
use std::io;
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
            Ok(One { table, path, layer })
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
    fn row(&self, row: &Row) -> Result<(), GdalError> {
        let form = Defn::from_layer(&self.layer);
        let mut feature = Feature::new(&form)?;
        gis::fill(&mut feature, &self.table, row)?;
        feature.create(&self.layer)
    }

    fn finish(self) -> io::Result<()> {
        let closed = self.layer.into_dataset().close();
        closed.map_err(|error| gis::failed(&file_name(&self.table), &error))?;
        fs::File::open(&self.path)?.sync_all()
    }
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
