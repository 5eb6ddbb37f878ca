//! The columns of one layer in a stream of Arrow record batches: where geometry, number and attributes
//! stand, and what a row of them is as a feature.
//!
//! # References
//! - Apache Arrow contributors, *Arrow Columnar Format* 1.5, 2024.
//! - GeoArrow contributors, *GeoArrow extension types* 0.2, 2025: reference system of well-known binary.

use arrow_array::cast::AsArray;
use arrow_array::types::{
    Float16Type, Float32Type, Float64Type, Int8Type, Int16Type, Int32Type, Int64Type, UInt8Type,
    UInt16Type, UInt32Type, UInt64Type,
};
use arrow_array::{Array, ArrowPrimitiveType, StructArray};
use arrow_schema::{DataType, Field, Fields};
use serde_json::Value;

use super::feature::Feature;
use super::wkb;
use crate::crs::Crs;
use crate::issue::{Code, Issue};
use crate::site::{Attribute, Attributes};

/// The column with what was drawn.
pub(super) const GEOMETRY: &str = "geometry";
/// The number of the feature in the layer that it comes from.
pub(super) const NUMBER: &str = "feature_number";
/// Whether issues of the row itself are told here.
pub(super) const HOME: &str = "home";
/// Largest whole number that a float holds exactly.
const MOST_EXACT: i64 = 1 << 53;

/// Where the columns of a layer stand.
pub(super) struct Columns {
    geometry: usize,
    crs: Crs,
    number: Option<usize>,
    home: Option<usize>,
    attributes: Vec<(usize, String)>,
    /// Columns of which nothing can be read.
    pub unusable: Vec<Issue>,
}

impl Columns {
    /// Finds the columns of the layer of this name; those in `beside` are no attributes.
    ///
    /// # Errors
    /// `IN08` without a column `geometry`, `IN14` when it or another one has the wrong type, `CR02` and
    /// `CR04` for its reference system.
    pub(super) fn of(fields: &Fields, layer: &str, beside: &[&str]) -> Result<Columns, Issue> {
        let place = |name: &str| fields.iter().position(|field| field.name() == name);
        let Some(geometry) = place(GEOMETRY) else {
            let found = format!("the {layer} have no column `{GEOMETRY}`");
            return Err(Issue::new(Code::IN08, found).in_file(layer));
        };
        let typed = |name: &str, fits: fn(&DataType) -> bool, wanted: &str| match place(name) {
            Some(at) if !fits(fields[at].data_type()) => {
                let found = format!("`{name}` is {}; {wanted} is needed", fields[at].data_type());
                Err(Issue::new(Code::IN14, found).in_file(layer))
            }
            found => Ok(found),
        };
        typed(GEOMETRY, is_binary, "binary")?;
        let number = typed(NUMBER, DataType::is_integer, "a whole number")?;
        let home = typed(HOME, |kind| *kind == DataType::Boolean, "true or false")?;
        let (mut attributes, mut unusable) = (Vec::new(), Vec::new());
        for (at, field) in fields.iter().enumerate() {
            let name = field.name();
            if [GEOMETRY, NUMBER, HOME].contains(&name.as_str()) || beside.contains(&name.as_str())
            {
                continue;
            }
            if holds_attributes(field.data_type()) {
                attributes.push((at, name.clone()));
            } else {
                let found = format!("column `{name}` is {}", field.data_type());
                unusable.push(Issue::new(Code::IN11, found).in_file(layer));
            }
        }
        Ok(Columns {
            geometry,
            crs: crs(&fields[geometry]).map_err(|issue| issue.in_file(layer))?,
            number,
            home,
            attributes,
            unusable,
        })
    }

    /// The names of the attributes.
    pub(super) fn names(&self) -> impl Iterator<Item = &str> {
        self.attributes.iter().map(|(_, name)| name.as_str())
    }

    /// A row as a feature, under its own number or else the one that is given; what is wrong with it is in
    /// the feature.
    ///
    /// # Errors
    /// `IN14` for a number that is none.
    pub(super) fn feature(
        &self,
        rows: &StructArray,
        at: usize,
        counted: u64,
    ) -> Result<Feature, Issue> {
        let number = match self.number {
            None => counted,
            Some(column) => {
                let found = value(rows.column(column).as_ref(), at);
                let number = found.as_ref().and_then(Attribute::number);
                match number.filter(|number| *number >= 1.0) {
                    Some(number) => number as u64, // whole by its type
                    None => {
                        let found = format!("row {counted} has no `{NUMBER}` of 1 or more");
                        return Err(Issue::new(Code::IN14, found));
                    }
                }
            }
        };
        let mut notes = Vec::new();
        let geometry = binary(rows.column(self.geometry).as_ref(), at);
        let shape = match geometry {
            Some(bytes) => wkb::shape(bytes, &self.crs, &mut notes),
            None => Err(Issue::new(Code::GE01, "`geometry` is null")),
        };
        let attribute = |(column, name): &(usize, String)| {
            let value = value(rows.column(*column).as_ref(), at)?;
            Some((name.clone(), value))
        };
        Ok(Feature {
            number,
            locator: 0,
            id: None,
            attributes: Attributes(self.attributes.iter().filter_map(attribute).collect()),
            shape,
            notes,
            selected: true,
        })
    }

    /// Whether issues of a row are told where it stands.
    pub(super) fn is_home(&self, rows: &StructArray, at: usize) -> bool {
        self.home.is_none_or(|column| {
            let home = rows.column(column).as_boolean();
            home.is_null(at) || home.value(at)
        })
    }
}

fn is_binary(kind: &DataType) -> bool {
    matches!(
        kind,
        DataType::Binary | DataType::LargeBinary | DataType::BinaryView
    )
}

/// Whether a column holds text, numbers, or yes and no.
pub(super) fn holds_attributes(kind: &DataType) -> bool {
    match kind {
        DataType::Null
        | DataType::Boolean
        | DataType::Utf8
        | DataType::LargeUtf8
        | DataType::Utf8View => true,
        DataType::Dictionary(_, values) => holds_attributes(values),
        kind => kind.is_integer() || kind.is_floating(),
    }
}

/// The bytes of a cell.
fn binary(column: &dyn Array, at: usize) -> Option<&[u8]> {
    if column.is_null(at) {
        return None;
    }
    match column.data_type() {
        DataType::Binary => Some(column.as_binary::<i32>().value(at)),
        DataType::LargeBinary => Some(column.as_binary::<i64>().value(at)),
        DataType::BinaryView => Some(column.as_binary_view().value(at)),
        _ => None,
    }
}

/// A cell as an attribute; `None` when it is null, not finite, or of a type that holds none.
pub(super) fn value(column: &dyn Array, at: usize) -> Option<Attribute> {
    if column.is_null(at) {
        return None;
    }
    let text = |text: &str| Some(Attribute::Text(text.to_owned()));
    match column.data_type() {
        DataType::Boolean => Some(Attribute::Bool(column.as_boolean().value(at))),
        DataType::Utf8 => text(column.as_string::<i32>().value(at)),
        DataType::LargeUtf8 => text(column.as_string::<i64>().value(at)),
        DataType::Utf8View => text(column.as_string_view().value(at)),
        DataType::Int8 => whole::<Int8Type>(column, at),
        DataType::Int16 => whole::<Int16Type>(column, at),
        DataType::Int32 => whole::<Int32Type>(column, at),
        DataType::Int64 => whole::<Int64Type>(column, at),
        DataType::UInt8 => whole::<UInt8Type>(column, at),
        DataType::UInt16 => whole::<UInt16Type>(column, at),
        DataType::UInt32 => whole::<UInt32Type>(column, at),
        DataType::UInt64 => whole::<UInt64Type>(column, at),
        DataType::Float16 => real(column.as_primitive::<Float16Type>().value(at).to_f64()),
        DataType::Float32 => real(column.as_primitive::<Float32Type>().value(at).into()),
        DataType::Float64 => real(column.as_primitive::<Float64Type>().value(at)),
        DataType::Dictionary(..) => {
            let dictionary = column.as_any_dictionary();
            let key = value(dictionary.keys(), at)?.number()?;
            let held = dictionary.values();
            let key = key as usize; // a key that is not null stands in the dictionary
            (key < held.len()).then(|| value(held.as_ref(), key))?
        }
        _ => None,
    }
}

/// A whole number, or its digits as text where a float would change them.
fn whole<T: ArrowPrimitiveType>(column: &dyn Array, at: usize) -> Option<Attribute>
where
    T::Native: Into<i128>,
{
    let whole: i128 = column.as_primitive::<T>().value(at).into();
    Some(
        if whole.unsigned_abs() <= MOST_EXACT.unsigned_abs().into() {
            Attribute::Number(whole as f64) // exact up to MOST_EXACT
        } else {
            Attribute::Text(whole.to_string())
        },
    )
}

fn real(value: f64) -> Option<Attribute> {
    value.is_finite().then_some(Attribute::Number(value))
}

/// The reference system that a column of geometries names; longitude and latitude when it names none.
///
/// # Errors
/// `CR02` and `CR04` for a system that is not known here.
fn crs(geometry: &Field) -> Result<Crs, Issue> {
    let Some(text) = geometry.metadata().get("ARROW:extension:metadata") else {
        return Ok(Crs::LonLat);
    };
    let unclear = || {
        Issue::new(
            Code::CR02,
            "the metadata of the geometry does not name a system",
        )
    };
    let metadata: Value = match text.trim() {
        "" => return Ok(Crs::LonLat),
        text => serde_json::from_str(text).map_err(|_| unclear())?,
    };
    match metadata.get("crs") {
        None | Some(Value::Null) => Ok(Crs::LonLat),
        Some(Value::String(name)) => Crs::from_name(name),
        Some(described) => {
            let id = described.get("id").ok_or_else(unclear)?;
            let authority = id.get("authority").and_then(Value::as_str);
            let code = match id.get("code") {
                Some(Value::String(code)) => Some(code.clone()),
                Some(Value::Number(code)) => Some(code.to_string()),
                _ => None,
            };
            let (authority, code) = authority.zip(code).ok_or_else(unclear)?;
            Crs::from_name(&format!("{authority}:{code}"))
        }
    }
}
