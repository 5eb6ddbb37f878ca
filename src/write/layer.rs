//! What a table of the output is made of: columns with facts and readers, rows, geometry.

use serde::{Deserialize, Serialize};

use super::text::{csv_cell, json_string, push_rounded, rounded_number};
use crate::site::LonLatPolygon;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Text; ids are always text.
    Text,
    /// A whole number.
    Integer,
    /// A number, rounded to so many decimals.
    Number(usize),
    /// Yes or no.
    Bool,
}

/// What is known about a column apart from its values.
#[derive(Debug, Clone, Copy)]
pub struct Facts {
    /// The title of the column.
    pub name: &'static str,
    /// What it holds.
    pub kind: Kind,
    /// Its unit; empty where there is none.
    pub unit: &'static str,
    /// What it means, as one sentence without a stop.
    pub meaning: &'static str,
}

/// One value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Cell {
    /// Not known, or without meaning here.
    Null,
    /// Text.
    Text(String),
    /// A whole number.
    Integer(u64),
    /// A number.
    Number(f64),
    /// Yes or no.
    Bool(bool),
}

/// A column: its facts, and how its value is read off a row of the layer.
pub struct Column<L: Layer + ?Sized> {
    /// Name, kind, unit, meaning.
    pub facts: Facts,
    /// Reads the value.
    pub read: for<'a> fn(&L::Row<'a>) -> Cell,
}

/// Where a row lies.
#[derive(Debug, Clone, PartialEq)]
pub enum Geometry<'a> {
    /// Nowhere.
    None,
    /// A point of longitude and latitude, written with 8 decimals.
    Point(f64, f64),
    /// Points of longitude and latitude joined by straight lines, written with 8 decimals.
    Line(Vec<(f64, f64)>),
    /// A polygon that this program has drawn, written with 8 decimals.
    Drawn(LonLatPolygon),
    /// Polygons of the input, written so that they read back bit by bit.
    Given(&'a [LonLatPolygon]),
}

/// A table of the output.
pub trait Layer: 'static {
    /// Name of its file, without the ending.
    const NAME: &'static str;
    /// What one row is.
    const ROW: &'static str;
    /// The kind of geometry, as RFC 7946 names it; empty for a table without.
    const SHAPE: &'static str;
    /// What a row is read from.
    type Row<'a>;
    /// The columns in their order.
    const COLUMNS: &'static [Column<Self>];

    /// Where the row lies.
    fn geometry<'r>(row: &'r Self::Row<'_>) -> Geometry<'r>;
}

/// A column of any kind.
pub(super) const fn column<L: Layer>(
    name: &'static str,
    kind: Kind,
    unit: &'static str,
    meaning: &'static str,
    read: for<'a> fn(&L::Row<'a>) -> Cell,
) -> Column<L> {
    Column {
        facts: Facts {
            name,
            kind,
            unit,
            meaning,
        },
        read,
    }
}

/// A column of text.
pub(super) const fn text<L: Layer>(
    name: &'static str,
    meaning: &'static str,
    read: for<'a> fn(&L::Row<'a>) -> Cell,
) -> Column<L> {
    column(name, Kind::Text, "", meaning, read)
}

/// A column of whole numbers.
pub(super) const fn count<L: Layer>(
    name: &'static str,
    meaning: &'static str,
    read: for<'a> fn(&L::Row<'a>) -> Cell,
) -> Column<L> {
    column(name, Kind::Integer, "", meaning, read)
}

/// A column of numbers with a unit and so many decimals.
pub(super) const fn number<L: Layer>(
    name: &'static str,
    unit: &'static str,
    decimals: usize,
    meaning: &'static str,
    read: for<'a> fn(&L::Row<'a>) -> Cell,
) -> Column<L> {
    column(name, Kind::Number(decimals), unit, meaning, read)
}

impl Facts {
    /// The value as every format holds it: numbers rounded to the column's decimals, and null for
    /// what is not finite.
    #[must_use]
    pub fn settled(&self, cell: Cell) -> Cell {
        let Cell::Number(value) = cell else {
            return cell;
        };
        rounded_number(value, self.kind.decimals()).map_or(Cell::Null, Cell::Number)
    }

    /// Adds a value as JSON text.
    pub fn push_json(&self, cell: &Cell, out: &mut String) {
        match cell {
            Cell::Text(value) => out.push_str(&json_string(value)),
            other => {
                if !other.push_plain(self.kind, out) {
                    out.push_str("null");
                }
            }
        }
    }

    /// Adds a value as a cell of a CSV file; nothing when there is none.
    pub fn push_csv(&self, cell: &Cell, out: &mut String) {
        match cell {
            Cell::Text(value) => out.push_str(&csv_cell(value)),
            other => {
                other.push_plain(self.kind, out);
            }
        }
    }
}

impl Kind {
    fn decimals(self) -> usize {
        match self {
            Kind::Number(decimals) => decimals,
            Kind::Text | Kind::Integer | Kind::Bool => 0,
        }
    }
}

impl Cell {
    /// Adds a number or a yes or no as text, and says whether there was one.
    fn push_plain(&self, kind: Kind, out: &mut String) -> bool {
        match self {
            Cell::Null | Cell::Text(_) => return false,
            Cell::Integer(value) => out.push_str(&value.to_string()),
            Cell::Bool(value) => out.push_str(if *value { "true" } else { "false" }),
            Cell::Number(value) => return push_rounded(out, *value, kind.decimals()),
        }
        true
    }
}

impl From<&str> for Cell {
    fn from(value: &str) -> Cell {
        Cell::Text(value.to_owned())
    }
}
impl From<String> for Cell {
    fn from(value: String) -> Cell {
        Cell::Text(value)
    }
}
impl From<f64> for Cell {
    fn from(value: f64) -> Cell {
        Cell::Number(value)
    }
}
impl From<u64> for Cell {
    fn from(value: u64) -> Cell {
        Cell::Integer(value)
    }
}
impl From<usize> for Cell {
    fn from(value: usize) -> Cell {
        Cell::Integer(value as u64)
    }
}
impl<T: Into<Cell>> From<Option<T>> for Cell {
    fn from(value: Option<T>) -> Cell {
        value.map_or(Cell::Null, Into::into)
    }
}
