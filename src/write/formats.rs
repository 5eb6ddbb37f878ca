//! The formats that can be asked for, by name.

use std::io;
use std::path::Path;

use super::csv::Csv;
use super::files::Format;
#[cfg(feature = "system-gis")]
use super::flatgeobuf::{self, FlatGeobuf};
use super::folder::{MARK, Staging, failed};
use super::geojson::GeoJson;
#[cfg(feature = "system-gis")]
use super::geopackage::{self, GeoPackage};
#[cfg(feature = "geoparquet")]
use super::geoparquet::{self, GeoParquet};
use super::rain::FOLDER as RAIN;
use super::record::{Row, Table, Which};
use super::run_record::RunRecord;
use super::sequence::Sequence;
use super::wanted::Tables;
use crate::issue::{Code, Issue};

/// A format of the layers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Name {
    /// GeoJSON, one file a layer.
    GeoJson,
    /// GeoJSON text sequences, one file a layer.
    GeoJsonSeq,
    /// One GeoPackage.
    GeoPackage,
    /// FlatGeobuf, one file a layer.
    FlatGeobuf,
    /// GeoParquet, one file a table.
    GeoParquet,
    /// CSV, one file a table, geometry as well-known text.
    Csv,
}

impl Name {
    /// All formats, in the order in which they are written.
    pub const ALL: [Name; 6] = [
        Name::GeoJson,
        Name::GeoJsonSeq,
        Name::GeoPackage,
        Name::FlatGeobuf,
        Name::GeoParquet,
        Name::Csv,
    ];

    /// The word that is typed for it.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Name::GeoJson => "geojson",
            Name::GeoJsonSeq => "geojsonseq",
            Name::GeoPackage => "gpkg",
            Name::FlatGeobuf => "flatgeobuf",
            Name::GeoParquet => "geoparquet",
            Name::Csv => "csv",
        }
    }

    /// The formats of these words, each once and in order.
    ///
    /// # Errors
    /// `RU01` for a word that names none, or a format that this build does not write.
    pub fn parse(words: &[String]) -> Result<Vec<Name>, Issue> {
        let mut names = Vec::new();
        for word in words {
            let found = Name::ALL.into_iter().find(|name| name.text() == word);
            let name = found
                .ok_or_else(|| Issue::new(Code::RU01, format!("there is no format `{word}`")))?;
            if !name.is_built_in() {
                let what = format!("this build does not write {word}: it lacks a library");
                return Err(Issue::new(Code::RU01, what));
            }
            names.push(name);
        }
        names.sort_unstable();
        names.dedup();
        Ok(names)
    }

    /// Whether this build writes it.
    #[must_use]
    pub fn is_built_in(self) -> bool {
        match self {
            Name::GeoPackage | Name::FlatGeobuf => cfg!(feature = "system-gis"),
            Name::GeoParquet => cfg!(feature = "geoparquet"),
            Name::GeoJson | Name::GeoJsonSeq | Name::Csv => true,
        }
    }
}

/// Opens the files of every format that the run asks for, and the spreadsheets.
///
/// # Errors
/// `RU01` for a format that there is not, `OU03` when a file cannot be made.
pub fn begin(staging: &mut Staging<'_>, run: &RunRecord) -> Result<Vec<Box<dyn Format>>, Issue> {
    let names = Name::parse(&run.formats)?;
    let mut formats: Vec<Box<dyn Format>> = Vec::new();
    for name in &names {
        match name {
            Name::GeoJson => {
                let begin = |sink, _: &Table| GeoJson::begin(sink);
                formats.push(Box::new(PerTable::begin(
                    staging,
                    layers(run)?,
                    "geojson",
                    begin,
                )?));
            }
            Name::GeoJsonSeq => {
                let begin = |sink, _: &Table| Ok(Sequence::begin(sink));
                let ending = Sequence::ENDING;
                formats.push(Box::new(PerTable::begin(
                    staging,
                    layers(run)?,
                    ending,
                    begin,
                )?));
            }
            Name::GeoPackage => {
                #[cfg(feature = "system-gis")]
                formats.push(geopackage(staging, run)?);
            }
            Name::FlatGeobuf => {
                #[cfg(feature = "system-gis")]
                formats.push(flatgeobuf(staging, run)?);
            }
            Name::GeoParquet => {
                #[cfg(feature = "geoparquet")]
                formats.push(geoparquet(staging, run)?);
            }
            // All tables as CSV, below.
            Name::Csv => {}
        }
    }
    let spreadsheets = if names.contains(&Name::Csv) {
        PerTable::begin(staging, tables(run)?, "csv", Csv::begin_with_geometry)
    } else {
        let mut usual = tables(run)?;
        usual.retain(|table| TABLES.contains(&table.which));
        PerTable::begin(staging, usual, "csv", Csv::begin)
    };
    formats.push(Box::new(spreadsheets?));
    Ok(formats)
}

/// The tables that a run writes.
///
/// # Errors
/// `RU01` for a layer that there is not.
fn tables(run: &RunRecord) -> Result<Vec<Table>, Issue> {
    let is_written = |table: &Table| table.which != Which::Rain || run.rain != "none";
    let tables = Tables::parse(&run.layers)?;
    Ok(tables.iter().filter(is_written).collect())
}

/// The files of an earlier run in a folder that this run may not write again: layers in another
/// format, rasters and networks of other parcels. Nothing where no finished run is.
#[must_use]
pub fn earlier(target: &Path) -> Vec<String> {
    if !target.join(MARK).is_file() {
        return Vec::new();
    }
    let in_folder = |folder: &str| {
        let entries = std::fs::read_dir(target.join(folder)).into_iter().flatten();
        let names = entries.flatten().map(|entry| entry.file_name());
        names.filter_map(|name| name.into_string().ok())
    };
    let layers = in_folder("").filter(|name| is_table(name) || is_network(name));
    let rain = in_folder(RAIN).filter(|name| is_raster(name));
    let mut found: Vec<String> = layers
        .chain(rain.map(|name| format!("{RAIN}/{name}")))
        .collect();
    found.sort_unstable();
    found
}

/// Whether a file is a table in one of the formats.
fn is_table(file: &str) -> bool {
    const ENDINGS: [&str; 5] = ["geojson", "geojsons", "fgb", "parquet", "csv"];
    file == "evenfall.gpkg"
        || file.split_once('.').is_some_and(|(name, ending)| {
            ENDINGS.contains(&ending) && Which::ALL.iter().any(|which| which.table().name == name)
        })
}

/// Whether a file is named as a network: `network-<n>-<scenario>.inp`.
fn is_network(file: &str) -> bool {
    let inside = file
        .strip_prefix("network-")
        .and_then(|rest| rest.strip_suffix(".inp"));
    inside.is_some_and(|inside| numbered(inside).is_some())
}

/// Whether a file is named as a raster of rain: `<n>-<n>-<scenario>.tif`.
fn is_raster(file: &str) -> bool {
    let inside = file.strip_suffix(".tif").and_then(numbered);
    inside.and_then(numbered).is_some()
}

/// What stands behind a number and a hyphen.
fn numbered(text: &str) -> Option<&str> {
    let (number, rest) = text.split_once('-')?;
    let is_number = !number.is_empty() && number.bytes().all(|byte| byte.is_ascii_digit());
    is_number.then_some(rest)
}

/// Those with a geometry.
fn layers(run: &RunRecord) -> Result<Vec<Table>, Issue> {
    let mut layers = tables(run)?;
    layers.retain(|table| !table.shape.is_empty());
    Ok(layers)
}

#[cfg(feature = "system-gis")]
fn geopackage(staging: &mut Staging<'_>, run: &RunRecord) -> Result<Box<dyn Format>, Issue> {
    let path = staging.path_for(geopackage::NAME);
    let begun = GeoPackage::begin(&path, tables(run)?, run).map_err(|error| failed(&error))?;
    Ok(Box::new(begun))
}

#[cfg(feature = "system-gis")]
fn flatgeobuf(staging: &mut Staging<'_>, run: &RunRecord) -> Result<Box<dyn Format>, Issue> {
    let file = |table: Table| {
        let path = staging.path_for(&format!("{}.{}", table.name, flatgeobuf::ENDING));
        (table, path)
    };
    let files = layers(run)?.into_iter().map(file).collect();
    let begun = FlatGeobuf::begin(files).map_err(|error| failed(&error))?;
    Ok(Box::new(begun))
}

#[cfg(feature = "geoparquet")]
fn geoparquet(staging: &mut Staging<'_>, run: &RunRecord) -> Result<Box<dyn Format>, Issue> {
    let mut files = Vec::new();
    for table in tables(run)? {
        let sink = staging.create(&format!("{}.{}", table.name, geoparquet::ENDING))?;
        files.push((table, sink));
    }
    let begun = GeoParquet::begin(files).map_err(|error| failed(&error))?;
    Ok(Box::new(begun))
}

/// A file that holds the rows of one table.
trait TableFile {
    fn row(&mut self, table: &Table, row: &Row) -> io::Result<()>;
    fn finish(self) -> io::Result<()>;
}

macro_rules! table_files {
    ($($file:ty),*) => {$(
        impl TableFile for $file {
            fn row(&mut self, table: &Table, row: &Row) -> io::Result<()> {
                <$file>::row(self, table, row)
            }

            fn finish(self) -> io::Result<()> {
                <$file>::finish(self)
            }
        }
    )*};
}
table_files!(GeoJson, Sequence, Csv);

/// A format with a file for each of its tables.
struct PerTable<F>(Vec<(Table, F)>);

impl<F: TableFile> PerTable<F> {
    fn begin(
        staging: &mut Staging<'_>,
        tables: impl IntoIterator<Item = Table>,
        ending: &str,
        begin: impl Fn(super::files::Sink, &Table) -> io::Result<F>,
    ) -> Result<PerTable<F>, Issue> {
        let begun = tables.into_iter().map(|table| {
            let sink = staging.create(&format!("{}.{ending}", table.name))?;
            let begun = begin(sink, &table).map_err(|error| failed(&error))?;
            Ok((table, begun))
        });
        begun.collect::<Result<_, _>>().map(PerTable)
    }
}

impl<F: TableFile> Format for PerTable<F> {
    fn row(&mut self, which: Which, row: &Row) -> io::Result<()> {
        let mut files = self.0.iter_mut();
        match files.find(|(table, _)| table.which == which) {
            Some((table, file)) => file.row(table, row),
            None => Ok(()),
        }
    }

    fn finish(self: Box<Self>) -> io::Result<()> {
        self.0.into_iter().try_for_each(|(_, file)| file.finish())
    }
}

/// The tables that are written as CSV, whatever else is.
const TABLES: [Which; 6] = [
    Which::Parcels,
    Which::Schedule,
    Which::Materials,
    Which::Walk,
    Which::Failures,
    Which::Rain,
];
