//! Layers of every other format, through the system's vector library.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use gdal::vector::OGRFieldType;
use gdal::vector::OGRwkbGeometryType as Type;
use gdal::vector::geometry_type_flatten;
use gdal::vector::{Geometry, LayerAccess, LayerCaps, OwnedFeatureIterator, OwnedLayer};
use gdal::{Dataset, DatasetOptions, GdalOpenFlags};
use geo::Coord;

use super::curves;
use super::feature::{Feature, Shape};
use super::rings;
use super::source::Source;
use crate::crs::{Crs, listen_to_gdal, take_gdal_complaint};
use crate::issue::{Code, Issue};
use crate::site::{Attribute, Attributes};

/// Formats that are one or a few plain files. Those left out reach for networks or databases,
/// point to other files, or are read by this program itself.
const DRIVERS: [&str; 20] = [
    "GPKG",
    "ESRI Shapefile",
    "FlatGeobuf",
    "Parquet",
    "Arrow",
    "MapInfo File",
    "OpenFileGDB",
    "SQLite",
    "GML",
    "KML",
    "LIBKML",
    "DXF",
    "DGN",
    "OGR_GMT",
    "JML",
    "EDIGEO",
    "S57",
    "TopoJSON",
    "CSV",
    "VFK",
];
/// What stands in the head of every file of GML, and how long that head is \[bytes\].
const GML: &[u8] = b"opengis.net/gml";
const GML_HEAD_BYTES: u64 = 16 * 1024;
/// Deepest nesting of a geometry in collections.
const MOST_LEVELS: usize = 32;
/// Largest whole number that a float holds exactly.
const MOST_EXACT: u64 = 1 << 53;

/// A layer of the vector library.
pub(super) struct OgrLayer {
    form: Form,
    reading: OwnedFeatureIterator,
    /// The same layer opened once more, to find single features while the other is being read.
    finding: OwnedLayer,
    /// Feature ids that the condition let through, sorted; `None` without a condition.
    selected: Option<Vec<u64>>,
    /// All features, for formats that cannot find one by its id.
    held: Option<Vec<Feature>>,
    number: u64,
    /// Goes when the layer is closed.
    _alone: Option<Alone>,
}

/// A folder with nothing in it but a link to an input. The reader of GML writes what it has learnt of a
/// file into another beside it, and believes such a file, or a schema, that it finds there.
struct Alone(PathBuf);

impl Alone {
    /// A link to a file of GML; `None` for every other input.
    fn of(path: &Path) -> io::Result<Option<(Alone, PathBuf)>> {
        let mut head = Vec::new();
        File::open(path)?
            .take(GML_HEAD_BYTES)
            .read_to_end(&mut head)?;
        if !head.windows(GML.len()).any(|part| part == GML) {
            return Ok(None);
        }
        static COUNT: AtomicU64 = AtomicU64::new(0);
        let count = COUNT.fetch_add(1, Ordering::Relaxed);
        let name = format!("evenfall-{}-{count}", std::process::id());
        let folder = std::env::temp_dir().join(name);
        std::fs::create_dir(&folder)?;
        let alone = Alone(folder);
        let linked = alone.0.join("input.gml");
        #[cfg(unix)]
        std::os::unix::fs::symlink(path, &linked)?;
        #[cfg(not(unix))]
        std::fs::copy(path, &linked).map(|_| ())?;
        Ok(Some((alone, linked)))
    }
}

impl Drop for Alone {
    fn drop(&mut self) {
        // What cannot be removed is a link in the folder for temporary files.
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// What all features of a layer have in common.
struct Form {
    name: String,
    crs: Crs,
    columns: Vec<(String, Column)>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Column {
    Whole,
    Real,
    Text,
}

impl OgrLayer {
    /// Opens a layer: the one named, the only one, or the one named as its role.
    ///
    /// # Errors
    /// `IN02` if no driver reads the file, `IN04` if the layer is not there or not clear, `CR01`
    /// and `CR02` for its reference system, `IN10` for a condition that its driver refuses.
    pub(super) fn open(
        source: &Source,
        role: &str,
        clause: Option<&str>,
    ) -> Result<OgrLayer, Issue> {
        listen_to_gdal();
        let _ = take_gdal_complaint();
        let (path, alone) = place(source)?;
        let dataset = dataset(source, &path)?;
        let index = choose(source, role, &dataset)?;
        let finding = layer(source, dataset, index)?;
        let mut reference = finding.spatial_ref();
        // In some formats each feature carries the system, and the layer has it from the first.
        if reference.is_none() {
            reference = finding.feature(0).and_then(|feature| {
                feature
                    .geometry()
                    .filter(|found| found.has_gdal_ptr())?
                    .spatial_ref()
            });
            let _ = take_gdal_complaint();
        }
        let crs = match reference {
            Some(reference) => Crs::from_reference(reference),
            None => {
                let extent = finding.get_extent().ok();
                let _ = take_gdal_complaint();
                let corner = extent.map(|extent| Coord {
                    x: extent.MaxX,
                    y: extent.MaxY,
                });
                let looks = corner.and_then(rings::likely_system);
                let looks =
                    looks.map_or(String::new(), |system| format!("; it looks like {system}"));
                let found = format!("layer {}{looks}", finding.name());
                Err(Issue::new(Code::CR01, found))
            }
        };
        let crs = crs.map_err(|issue| issue.in_file(source.name()))?;
        let columns = finding.defn().fields().map(|field| {
            let column = match field.field_type() {
                OGRFieldType::OFTInteger | OGRFieldType::OFTInteger64 => Column::Whole,
                OGRFieldType::OFTReal => Column::Real,
                _ => Column::Text,
            };
            (field.name(), column)
        });
        let columns = columns.collect();
        let selected = match clause {
            Some(clause) => Some(passing(source, &path, index, clause)?),
            None => None,
        };
        let held = if finding.has_capability(LayerCaps::OLCRandomRead) {
            None
        } else {
            Some(Vec::new())
        };
        let reading = layer(source, self::dataset(source, &path)?, index)?.owned_features();
        let name = source.name().to_owned();
        let form = Form { name, crs, columns };
        Ok(OgrLayer {
            form,
            reading,
            finding,
            selected,
            held,
            number: 0,
            _alone: alone,
        })
    }

    /// The next feature; what is wrong with one feature is in the feature.
    pub(super) fn next(&mut self) -> Result<Option<Feature>, Issue> {
        let _ = take_gdal_complaint();
        let mut reading = &mut self.reading;
        let Some(found) = Iterator::next(&mut reading) else {
            // The library ends a layer in the same way whether it is whole or broken.
            return match take_gdal_complaint() {
                None => Ok(None),
                Some(complaint) => {
                    let found = format!("after feature {}: {complaint}", self.number);
                    Err(Issue::new(Code::IN03, found).in_file(&self.form.name))
                }
            };
        };
        self.number += 1;
        let complaint = take_gdal_complaint();
        let fid = found.fid();
        let locator = if self.held.is_some() {
            self.number - 1
        } else {
            fid.unwrap_or(u64::MAX)
        };
        let mut feature = self.form.feature(&found, self.number, locator, complaint);
        if let Some(selected) = &self.selected {
            feature.selected = fid.is_some_and(|fid| selected.binary_search(&fid).is_ok());
        }
        drop(found);
        if let Some(held) = &mut self.held {
            held.push(feature.clone());
        }
        Ok(Some(feature))
    }

    /// Reads a feature that was read before.
    pub(super) fn fetch(&mut self, locator: u64, number: u64) -> Result<Feature, Issue> {
        if let Some(held) = &self.held {
            let found = usize::try_from(locator).ok().and_then(|at| held.get(at));
            return found.cloned().ok_or_else(|| self.gone(number));
        }
        let found = self
            .finding
            .feature(locator)
            .ok_or_else(|| self.gone(number))?;
        let complaint = take_gdal_complaint();
        Ok(self.form.feature(&found, number, locator, complaint))
    }

    fn gone(&self, number: u64) -> Issue {
        let found = "the feature cannot be read again";
        Issue::new(Code::IN03, found)
            .in_file(&self.form.name)
            .at_feature(number)
    }
}

impl Form {
    fn feature(
        &self,
        found: &gdal::vector::Feature<'_>,
        number: u64,
        locator: u64,
        complaint: Option<String>,
    ) -> Feature {
        let mut notes = Vec::new();
        // A feature without one has a geometry that points to nothing and has no name.
        let is_there =
            |found: &&Geometry| found.has_gdal_ptr() && !found.geometry_name().is_empty();
        let shape = match found.geometry().filter(is_there) {
            Some(geometry) => shape(geometry, &self.crs, &mut notes),
            None => {
                let _ = take_gdal_complaint();
                let found = complaint.unwrap_or_else(|| "`geometry` is null".to_owned());
                Err(Issue::new(Code::GE01, found))
            }
        };
        let mut feature = Feature {
            number,
            locator,
            id: None,
            attributes: self.attributes(found),
            shape,
            notes,
            selected: true,
        };
        feature.name_place(&self.name);
        feature
    }

    fn attributes(&self, found: &gdal::vector::Feature<'_>) -> Attributes {
        let mut attributes = Vec::new();
        for (index, (name, column)) in self.columns.iter().enumerate() {
            // The text tells a column that was never set from one that is zero.
            let Some(text) = found.field_as_string(index).ok().flatten() else {
                continue;
            };
            if text.is_empty() {
                continue;
            }
            let attribute = match column {
                Column::Text => Some(Attribute::Text(text)),
                Column::Whole => match text.parse::<i64>() {
                    Ok(whole) if whole.unsigned_abs() <= MOST_EXACT => {
                        Some(Attribute::Number(whole as f64)) // exact up to MOST_EXACT
                    }
                    _ => Some(Attribute::Text(text)),
                },
                Column::Real => found
                    .field_as_double(index)
                    .ok()
                    .flatten()
                    .filter(|value| value.is_finite())
                    .map(Attribute::Number),
            };
            attributes.extend(attribute.map(|attribute| (name.clone(), attribute)));
        }
        let _ = take_gdal_complaint();
        Attributes(attributes)
    }
}

/// Where the library is to find an input.
fn place(source: &Source) -> Result<(PathBuf, Option<Alone>), Issue> {
    let Some(path) = source.path().filter(|_| !source.passes_once()) else {
        let found = "only GeoJSON can come through a pipe";
        return Err(Issue::new(Code::IN02, found).in_file(source.name()));
    };
    // The full path begins with a slash and cannot be taken for a connection string.
    let path = path
        .canonicalize()
        .map_err(|fault| source.unreadable(&fault))?;
    match Alone::of(&path).map_err(|fault| source.unreadable(&fault))? {
        None => Ok((path, None)),
        Some((alone, linked)) => {
            // Otherwise `007` becomes a number where all ids of a file are made of digits.
            let _ = gdal::config::set_config_option("GML_FIELDTYPES", "ALWAYS_STRING");
            Ok((linked, Some(alone)))
        }
    }
}

fn dataset(source: &Source, path: &Path) -> Result<Dataset, Issue> {
    let refused = |found: String| Issue::new(Code::IN02, found).in_file(source.name());
    let options = DatasetOptions {
        open_flags: GdalOpenFlags::GDAL_OF_READONLY | GdalOpenFlags::GDAL_OF_VECTOR,
        allowed_drivers: Some(&DRIVERS),
        ..DatasetOptions::default()
    };
    Dataset::open_ex(path, options).map_err(|_| {
        refused(take_gdal_complaint().unwrap_or_else(|| "no driver reads the file".to_owned()))
    })
}

fn layer(source: &Source, dataset: Dataset, index: usize) -> Result<OwnedLayer, Issue> {
    dataset
        .into_layer(index)
        .map_err(|fault| Issue::new(Code::IN02, fault.to_string()).in_file(source.name()))
}

/// The index of the layer that is meant.
fn choose(source: &Source, role: &str, dataset: &Dataset) -> Result<usize, Issue> {
    let names: Vec<String> = dataset.layers().map(|layer| layer.name()).collect();
    let place = |name: &str| names.iter().position(|found| found == name);
    let listed = || format!("its layers are {}", names.join(", "));
    let found = match source.layer() {
        Some(name) => place(name).ok_or_else(|| format!("`{name}` is not there; {}", listed())),
        None if names.len() == 1 => Ok(0),
        None if names.is_empty() => Err("the file has no layer".to_owned()),
        None => place(role).ok_or_else(|| format!("no layer is called {role}; {}", listed())),
    };
    found.map_err(|found| Issue::new(Code::IN04, found).in_file(source.name()))
}

/// The ids of the features that meet a condition in the SQL of the source.
fn passing(source: &Source, path: &Path, index: usize, clause: &str) -> Result<Vec<u64>, Issue> {
    let mut layer = layer(source, dataset(source, path)?, index)?;
    let refused = |complaint: Option<String>| {
        let why = complaint.unwrap_or_else(|| "the format refuses it".to_owned());
        Issue::new(Code::IN10, format!("`{clause}`: {why}")).in_file(source.name())
    };
    let _ = take_gdal_complaint();
    if layer.set_attribute_filter(clause).is_err() {
        return Err(refused(take_gdal_complaint()));
    }
    let mut passing: Vec<u64> = layer
        .features()
        .filter_map(|feature| feature.fid())
        .collect();
    // Some drivers hand the condition on and only complain when they read.
    if let Some(complaint) = take_gdal_complaint() {
        return Err(refused(Some(complaint)));
    }
    passing.sort_unstable();
    Ok(passing)
}

fn shape(geometry: &Geometry, crs: &Crs, notes: &mut Vec<Issue>) -> Result<Shape, Issue> {
    if flat_type(geometry) == Type::wkbPoint && !geometry.is_empty() {
        let (x, y, _) = geometry.get_point(0);
        return Ok(Shape::Point(rings::point(Coord { x, y }, crs)?));
    }
    let mut areas = Vec::new();
    collect(geometry, crs, &mut areas, notes, 0)?;
    if areas.is_empty() {
        return Err(Issue::new(Code::GE01, "the geometry is empty"));
    }
    Ok(Shape::Areas(areas))
}

fn collect(
    geometry: &Geometry,
    crs: &Crs,
    areas: &mut Vec<Result<geo::Polygon<f64>, Issue>>,
    notes: &mut Vec<Issue>,
    depth: usize,
) -> Result<(), Issue> {
    if depth > MOST_LEVELS {
        return Err(Issue::new(
            Code::GE12,
            format!("nested deeper than {MOST_LEVELS}"),
        ));
    }
    match flat_type(geometry) {
        Type::wkbPolygon | Type::wkbCurvePolygon => {
            if !geometry.is_empty() {
                areas.push(
                    rings::polygon(rings_of(geometry), crs).map(|(polygon, mended)| {
                        notes.extend(mended);
                        polygon
                    }),
                );
            }
            Ok(())
        }
        Type::wkbMultiPolygon | Type::wkbMultiSurface | Type::wkbGeometryCollection => {
            for index in 0..geometry.geometry_count() {
                collect(&geometry.get_geometry(index), crs, areas, notes, depth + 1)?;
            }
            Ok(())
        }
        _ => Err(Issue::new(
            Code::GE02,
            format!("a {}", geometry.geometry_name()),
        )),
    }
}

fn flat_type(geometry: &Geometry) -> Type::Type {
    geometry_type_flatten(geometry.geometry_type())
}

fn rings_of(polygon: &Geometry) -> Vec<Vec<Coord<f64>>> {
    (0..polygon.geometry_count())
        .map(|index| {
            let ring = polygon.get_geometry(index);
            let mut line = Vec::new();
            if flat_type(&ring) == Type::wkbCompoundCurve {
                for part in 0..ring.geometry_count() {
                    draw(&ring.get_geometry(part), &mut line);
                }
            } else {
                draw(&ring, &mut line);
            }
            line
        })
        .collect()
}

/// Adds a line or a string of arcs to a line that ends where it begins.
fn draw(curve: &Geometry, line: &mut Vec<Coord<f64>>) {
    let mut points = Vec::new();
    curve.get_points(&mut points);
    let mut points = points.into_iter().map(|(x, y, _)| Coord { x, y });
    if line.is_empty() {
        line.extend(points.next());
    } else {
        points.next();
    }
    if flat_type(curve) != Type::wkbCircularString {
        line.extend(points);
        return;
    }
    while let (Some(through), Some(end)) = (points.next(), points.next()) {
        curves::arc(line, through, end);
    }
}
