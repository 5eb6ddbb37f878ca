//! GeoPackage: every table in one file, with spatial indexes, styles, the meaning of every column
//! and the assumptions.
//!
//! The tables are declared in the file's own language, so that booleans are booleans and each
//! column has its description; the system's vector library fills and indexes them.
//!
//! # References
//! - Open Geospatial Consortium, *GeoPackage Encoding Standard* 1.2.1 (OGC 12-128r15), 2018:
//!   contents 1.1.3, geometry columns 2.1.5, extensions 2.3.2, annexes F.3 (R-tree), F.8
//!   (metadata), F.9 (schema).
//! - QGIS reads styles from a table `layer_styles` (QGIS documentation, *Save and Load Layer
//!   Properties*).

use std::io;
use std::path::Path;

use gdal::errors::GdalError;
use gdal::vector::sql::Dialect;
use gdal::vector::{Defn, Feature};
use gdal::{Dataset, DatasetOptions, DriverManager, GdalOpenFlags};
use serde_json::Value;

use super::date::stamp;
use super::files::Format;
use super::gis;
use super::layer::{Facts, Kind};
use super::record::{Row, Table, Which};
use super::run_record::RunRecord;
use super::style::style;
use crate::assumptions::TABLE;
use crate::crs::listen_to_gdal;

/// The name of the file.
pub const NAME: &str = "evenfall.gpkg";
/// Rows that are put into the file together.
const ROWS_TOGETHER: usize = 4096;
/// The column of geometries.
const GEOMETRY: &str = "geom";

/// A GeoPackage that is being filled.
pub struct GeoPackage {
    tables: Vec<Table>,
    dataset: Option<Dataset>,
    waiting: Vec<(Which, Row)>,
}

impl GeoPackage {
    /// Makes the file and declares its tables.
    ///
    /// # Errors
    /// Whatever the library reports.
    pub fn begin(path: &Path, tables: Vec<Table>, run: &RunRecord) -> io::Result<GeoPackage> {
        let dataset = declared(path, &tables, run).map_err(|error| gis::failed(NAME, &error))?;
        Ok(GeoPackage {
            tables,
            dataset: Some(dataset),
            waiting: Vec::new(),
        })
    }

    fn write(&mut self) -> Result<(), GdalError> {
        let Some(dataset) = &mut self.dataset else {
            return Ok(());
        };
        let together = dataset.start_transaction()?;
        for table in &self.tables {
            let mut rows = self
                .waiting
                .iter()
                .filter(|(which, _)| *which == table.which)
                .peekable();
            if rows.peek().is_none() {
                continue;
            }
            let layer = together.layer_by_name(table.name)?;
            let form = Defn::from_layer(&layer);
            for (_, row) in rows {
                let mut feature = Feature::new(&form)?;
                gis::fill(&mut feature, table, row)?;
                feature.create(&layer)?;
            }
        }
        together.commit()?;
        self.waiting.clear();
        Ok(())
    }

    /// Fills in the last rows and the indexes, and gives the dataset back to be closed.
    fn end(&mut self) -> Result<Option<Dataset>, GdalError> {
        self.write()?;
        let Some(dataset) = self.dataset.take() else {
            return Ok(None);
        };
        for table in self.tables.iter().filter(|table| !table.shape.is_empty()) {
            let name = table.name;
            run_sql(
                &dataset,
                &format!("SELECT CreateSpatialIndex('{name}', '{GEOMETRY}')"),
            )?;
        }
        Ok(Some(dataset))
    }
}

impl Format for GeoPackage {
    fn row(&mut self, which: Which, row: &Row) -> io::Result<()> {
        self.waiting.push((which, row.clone()));
        if self.waiting.len() < ROWS_TOGETHER {
            return Ok(());
        }
        self.write().map_err(|error| gis::failed(NAME, &error))
    }

    fn finish(mut self: Box<Self>) -> io::Result<()> {
        let ended = self.end().map_err(|error| gis::failed(NAME, &error))?;
        ended.map_or(Ok(()), |dataset| gis::close(dataset, NAME))
    }
}

fn run_sql(dataset: &Dataset, statement: &str) -> Result<(), GdalError> {
    dataset
        .execute_sql(statement, None, Dialect::DEFAULT)
        .map(drop)
}

/// The text in the quotes of the file's language.
fn quoted(text: &str) -> String {
    format!("'{}'", text.replace('\0', "\u{fffd}").replace('\'', "''"))
}

/// Makes the file with its tables and what describes them, and opens it to be filled.
fn declared(path: &Path, tables: &[Table], run: &RunRecord) -> Result<Dataset, GdalError> {
    listen_to_gdal();
    // The file is synced once, when it is whole.
    gdal::config::set_config_option("OGR_SQLITE_SYNCHRONOUS", "OFF")?;
    let stamp = stamp();
    gdal::config::set_config_option("OGR_CURRENT_DATE", &stamp)?;
    let mut dataset = DriverManager::get_driver_by_name("GPKG")?.create_vector_only(path)?;
    let together = dataset.start_transaction()?;
    for statement in statements(tables, run, &stamp) {
        run_sql(&together, &statement)?;
    }
    together.commit()?;
    dataset.close()?;
    let options = DatasetOptions {
        open_flags: GdalOpenFlags::GDAL_OF_VECTOR | GdalOpenFlags::GDAL_OF_UPDATE,
        allowed_drivers: Some(&["GPKG"]),
        ..DatasetOptions::default()
    };
    Dataset::open_ex(path, options)
}

fn statements(tables: &[Table], run: &RunRecord, stamp: &str) -> Vec<String> {
    let mut all: Vec<String> = EXTENSIONS.iter().map(|text| (*text).to_owned()).collect();
    for table in tables {
        declare(&mut all, table, stamp);
    }
    assumptions(&mut all, run, stamp);
    metadata(&mut all, run, stamp);
    styles(&mut all, tables, stamp);
    all
}

/// The tables of the extensions that are used, and their registration.
const EXTENSIONS: [&str; 9] = [
    "CREATE TABLE IF NOT EXISTS gpkg_extensions (table_name TEXT, column_name TEXT, \
     extension_name TEXT NOT NULL, definition TEXT NOT NULL, scope TEXT NOT NULL, \
     CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name))",
    "CREATE TABLE IF NOT EXISTS gpkg_data_columns (table_name TEXT NOT NULL, \
     column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT, mime_type TEXT, \
     constraint_name TEXT, CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name))",
    "CREATE TABLE IF NOT EXISTS gpkg_data_column_constraints (constraint_name TEXT NOT NULL, \
     constraint_type TEXT NOT NULL, value TEXT, min NUMERIC, min_is_inclusive BOOLEAN, \
     max NUMERIC, max_is_inclusive BOOLEAN, description TEXT, \
     CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value))",
    "CREATE TABLE IF NOT EXISTS gpkg_metadata (id INTEGER CONSTRAINT m_pk PRIMARY KEY ASC NOT NULL, \
     md_scope TEXT NOT NULL DEFAULT 'dataset', md_standard_uri TEXT NOT NULL, \
     mime_type TEXT NOT NULL DEFAULT 'text/xml', metadata TEXT NOT NULL DEFAULT '')",
    "CREATE TABLE IF NOT EXISTS gpkg_metadata_reference (reference_scope TEXT NOT NULL, \
     table_name TEXT, column_name TEXT, row_id_value INTEGER, \
     timestamp DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')), \
     md_file_id INTEGER NOT NULL, md_parent_id INTEGER, \
     CONSTRAINT crmr_mfi_fk FOREIGN KEY (md_file_id) REFERENCES gpkg_metadata(id), \
     CONSTRAINT crmr_mpi_fk FOREIGN KEY (md_parent_id) REFERENCES gpkg_metadata(id))",
    "INSERT INTO gpkg_extensions VALUES ('gpkg_data_columns', NULL, 'gpkg_schema', \
     'http://www.geopackage.org/spec121/#extension_schema', 'read-write')",
    "INSERT INTO gpkg_extensions VALUES ('gpkg_data_column_constraints', NULL, 'gpkg_schema', \
     'http://www.geopackage.org/spec121/#extension_schema', 'read-write')",
    "INSERT INTO gpkg_extensions VALUES ('gpkg_metadata', NULL, 'gpkg_metadata', \
     'http://www.geopackage.org/spec121/#extension_metadata', 'read-write')",
    "INSERT INTO gpkg_extensions VALUES ('gpkg_metadata_reference', NULL, 'gpkg_metadata', \
     'http://www.geopackage.org/spec121/#extension_metadata', 'read-write')",
];

fn declare(all: &mut Vec<String>, table: &Table, stamp: &str) {
    let Table {
        name, row, shape, ..
    } = table;
    let mut columns = vec!["fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL".to_owned()];
    if !shape.is_empty() {
        columns.push(format!("{GEOMETRY} {}", shape.to_ascii_uppercase()));
    }
    for facts in &table.columns {
        let kind = match facts.kind {
            Kind::Text => "TEXT",
            Kind::Integer => "INTEGER",
            Kind::Number(_) => "DOUBLE",
            Kind::Bool => "BOOLEAN",
        };
        columns.push(format!("\"{}\" {kind}", facts.name));
    }
    all.push(format!("CREATE TABLE \"{name}\" ({})", columns.join(", ")));
    let title = quoted(&format!("One row per {row}"));
    register(all, name, &title, stamp, !shape.is_empty());
    if !shape.is_empty() {
        all.push(format!(
            "INSERT INTO gpkg_geometry_columns VALUES ('{name}', '{GEOMETRY}', '{}', 4326, 0, 0)",
            shape.to_ascii_uppercase()
        ));
    }
    for facts in &table.columns {
        all.push(format!(
            "INSERT INTO gpkg_data_columns (table_name, column_name, title, description) \
             VALUES ('{name}', '{}', {}, {})",
            facts.name,
            quoted(&titled(facts)),
            quoted(facts.meaning)
        ));
    }
}

/// A column's name with its unit.
fn titled(facts: &Facts) -> String {
    if facts.unit.is_empty() {
        facts.name.to_owned()
    } else {
        format!("{} [{}]", facts.name, facts.unit)
    }
}

fn register(all: &mut Vec<String>, table: &str, description: &str, stamp: &str, has_places: bool) {
    let (kind, system) = if has_places {
        ("features", "4326")
    } else {
        ("attributes", "NULL")
    };
    all.push(format!(
        "INSERT INTO gpkg_contents \
         (table_name, data_type, identifier, description, last_change, srs_id) \
         VALUES ('{table}', '{kind}', '{table}', {description}, '{stamp}', {system})"
    ));
}

/// The assumptions as a table of their own: what they are, and who set them.
fn assumptions(all: &mut Vec<String>, run: &RunRecord, stamp: &str) {
    all.push(
        "CREATE TABLE assumptions (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, key TEXT, \
         value TEXT, unit TEXT, origin TEXT, meaning TEXT, source TEXT)"
            .to_owned(),
    );
    let description = quoted("One row per number that nobody measured, as the program was told");
    register(all, "assumptions", &description, stamp, false);
    let rows = run.assumptions.get("values").and_then(Value::as_object);
    for (key, row) in rows.into_iter().flatten() {
        let text = |name: &str| match row.get(name) {
            Some(Value::String(text)) => text.clone(),
            Some(other) => other.to_string(),
            None => String::new(),
        };
        let entry = TABLE.iter().find(|entry| entry.text == key);
        let (meaning, source) = entry.map_or(("", ""), |entry| (entry.meaning, entry.source));
        let cells = [
            key.clone(),
            text("value"),
            text("unit"),
            text("origin"),
            meaning.to_owned(),
            source.to_owned(),
        ];
        let cells: Vec<String> = cells.iter().map(|cell| quoted(cell)).collect();
        all.push(format!(
            "INSERT INTO assumptions (key, value, unit, origin, meaning, source) VALUES ({})",
            cells.join(", ")
        ));
    }
}

/// The record of the run, as metadata of the whole file.
fn metadata(all: &mut Vec<String>, run: &RunRecord, stamp: &str) {
    all.push(format!(
        "INSERT INTO gpkg_metadata VALUES (1, 'dataset', \
         'https://json-schema.org/draft/2020-12/schema', 'application/json', {})",
        quoted(&run.to_text())
    ));
    all.push(format!(
        "INSERT INTO gpkg_metadata_reference VALUES \
         ('geopackage', NULL, NULL, NULL, '{stamp}', 1, NULL)"
    ));
}

/// The styles, each the one with which its layer opens.
fn styles(all: &mut Vec<String>, tables: &[Table], stamp: &str) {
    all.push(
        "CREATE TABLE layer_styles (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, \
         f_table_catalog TEXT(256), f_table_schema TEXT(256), f_table_name TEXT(256), \
         f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT, styleSLD TEXT, \
         useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30), \
         update_time DATETIME)"
            .to_owned(),
    );
    register(all, "layer_styles", "'How the layers look'", stamp, false);
    for table in tables {
        let Some(style) = style(table.which) else {
            continue;
        };
        let name = table.name;
        all.push(format!(
            "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, \
             f_geometry_column, styleName, styleQML, styleSLD, useAsDefault, description, owner, \
             ui, update_time) VALUES ('', '', '{name}', '{GEOMETRY}', '{name}', {}, {}, 1, {}, \
             '', '', '{stamp}')",
            quoted(&style.qml()),
            quoted(&style.sld(name)),
            quoted(style.title)
        ));
    }
}
