//! What describes the columns, made from the dictionary: the table of the README and JSON Schemas.

use serde_json::{Map, Value, json};

use super::failures::Failures;
use super::heads::{Heads, Throws};
use super::layer::{Facts, Kind, Layer};
use super::network::{Laterals, Materials, Stations};
use super::parcels::Parcels;
use super::program::{ByColumn, Ranked, SupplyCurve};
use super::rain::Rasters;
use super::record::{Table, Which};
use super::schedule::Schedules;
use super::schemas;
use super::turf::Turf;
use super::walk::Walk;

/// The names of all JSON Schemas: of the layers, of the tables, of the other files, of the inputs.
#[must_use]
pub fn schema_names() -> Vec<&'static str> {
    let tables = Which::ALL.map(|which| which.table().name);
    let program = program_tables().map(|table| table.name);
    let described = tables.into_iter().chain(program);
    described.chain(schemas::names()).collect()
}

/// The columns of every output table as Markdown.
#[must_use]
pub fn columns_markdown() -> String {
    let mut out = String::new();
    table::<Parcels>(&mut out, "`parcels.geojson`, `parcels.csv`");
    table::<Turf>(&mut out, "`turf.geojson`");
    table::<Heads>(&mut out, "`heads.geojson`");
    table::<Throws>(&mut out, "`throws.geojson`");
    table::<Schedules>(&mut out, "`schedule.csv`");
    table::<Stations>(&mut out, "`stations.geojson`");
    table::<Laterals>(&mut out, "`laterals.geojson`");
    table::<Materials>(&mut out, "`materials.csv`");
    table::<Walk>(&mut out, "`walk.csv`");
    table::<Ranked>(&mut out, "`ranked.csv`");
    table::<SupplyCurve>(&mut out, "`supply_curve.csv`");
    table::<ByColumn>(&mut out, "`by-COLUMN.csv`");
    table::<Failures>(&mut out, "`failures.csv`");
    table::<Rasters>(&mut out, "`rain.csv`");
    out
}

fn table<L: Layer>(out: &mut String, files: &str) {
    if !out.is_empty() {
        out.push('\n');
    }
    out.push_str(&format!("**{files}**: one row per {}.\n\n", L::ROW));
    out.push_str("| column | type | unit | meaning |\n|---|---|---|---|\n");
    for column in L::COLUMNS {
        let Facts {
            name,
            kind,
            unit,
            meaning,
        } = column.facts;
        let kind = match kind {
            Kind::Text => "text".to_owned(),
            Kind::Integer => "integer".to_owned(),
            Kind::Number(decimals) => format!("number, {decimals} decimals"),
            Kind::Bool => "true or false".to_owned(),
        };
        out.push_str(&format!("| `{name}` | {kind} | {unit} | {meaning} |\n"));
    }
}

/// The JSON Schema of an output or input; `None` when none has this name.
#[must_use]
pub fn schema(name: &str) -> Option<String> {
    let mut tables = Which::ALL.into_iter().map(Which::table);
    let schema = match tables.find(|table| table.name == name) {
        Some(table) if table.shape.is_empty() => {
            table_schema(table.name, table.row, columns_schema(&table.columns))
        }
        Some(table) => layer_schema(&table),
        None => match program_tables()
            .into_iter()
            .find(|table| table.name == name)
        {
            Some(table) => table.schema(),
            None => schemas::schema(name)?,
        },
    };
    Some(format!("{schema:#}\n"))
}

/// Name, unit and meaning of every column, each name once: what a reader may look up.
#[must_use]
pub fn glossary() -> Vec<Facts> {
    let mut found: Vec<Facts> = Vec::new();
    let layers = Which::ALL.into_iter();
    let layers = layers.flat_map(|which| which.table().columns);
    let program = program_tables().into_iter();
    for facts in layers.chain(program.flat_map(|table| table.columns)) {
        if !found.iter().any(|known| known.name == facts.name) {
            found.push(facts);
        }
    }
    found.sort_by_key(|facts| facts.name);
    found
}

/// A table that is written once all parcels are known, as CSV only: `--by` adds columns to it, whose
/// names no dictionary has.
struct ProgramTable {
    name: &'static str,
    row: &'static str,
    columns: Vec<Facts>,
    /// Whether `--by` adds columns, or names one.
    is_open: bool,
}

fn program_tables() -> [ProgramTable; 3] {
    fn of<L: Layer>(is_open: bool) -> ProgramTable {
        ProgramTable {
            name: L::NAME,
            row: L::ROW,
            columns: L::COLUMNS.iter().map(|column| column.facts).collect(),
            is_open,
        }
    }
    [
        of::<Ranked>(true),
        of::<SupplyCurve>(false),
        of::<ByColumn>(true),
    ]
}

impl ProgramTable {
    fn schema(&self) -> Value {
        let mut schema = table_schema(self.name, self.row, columns_schema(&self.columns));
        let items = &mut schema["items"];
        if self.is_open {
            items["additionalProperties"] = json!({"type": ["string", "null"]});
        }
        if self.name == ByColumn::NAME {
            // Its first column has the name that `--by` gives it.
            let facts = self.columns.iter().skip(1).map(|facts| facts.name);
            items["required"] = facts.collect();
        }
        schema
    }
}

/// The schema of a table without geometry, as an array of its rows.
fn table_schema(name: &str, row: &str, properties: Map<String, Value>) -> Value {
    let required: Vec<&String> = properties.keys().collect();
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": name,
        "description": format!("One object per line of the table: {row}."),
        "type": "array",
        "items": {
            "type": "object",
            "required": required,
            "additionalProperties": false,
            "properties": properties,
        },
    })
}

fn columns_schema(columns: &[Facts]) -> Map<String, Value> {
    let mut properties = Map::new();
    for facts in columns {
        let Facts {
            name,
            kind,
            unit,
            meaning,
        } = *facts;
        let kind = match kind {
            Kind::Text => "string",
            Kind::Integer => "integer",
            Kind::Number(_) => "number",
            Kind::Bool => "boolean",
        };
        let description = if unit.is_empty() {
            meaning.to_owned()
        } else {
            format!("{meaning} [{unit}]")
        };
        properties.insert(
            name.to_owned(),
            json!({"type": [kind, "null"], "description": description}),
        );
    }
    properties
}

fn layer_schema(table: &Table) -> Value {
    let properties = columns_schema(&table.columns);
    let shapes = match table.shape {
        "MultiPolygon" => vec!["Polygon", "MultiPolygon"],
        shape => vec![shape],
    };
    let required: Vec<&String> = properties.keys().collect();
    let geometry = json!({
        "type": "object",
        "required": ["type", "coordinates"],
        "properties": {"type": {"enum": shapes}, "coordinates": {"type": "array"}},
    });
    // A parcel without an outline, a throw that wets nothing.
    let geometry = json!({"anyOf": [{"type": "null"}, geometry]});
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": table.name,
        "description": format!("One feature per {}.", table.row),
        "type": "object",
        "required": ["type", "features"],
        "properties": {
            "type": {"const": "FeatureCollection"},
            "features": {
                "type": "array",
                "items": {
                    "type": "object",
                    "required": ["type", "properties", "geometry"],
                    "properties": {
                        "type": {"const": "Feature"},
                        "properties": {
                            "type": "object",
                            "required": required,
                            "additionalProperties": false,
                            "properties": properties,
                        },
                        "geometry": geometry,
                    },
                },
            },
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check<L: Layer>() -> usize {
        let mut names: Vec<&str> = L::COLUMNS.iter().map(|column| column.facts.name).collect();
        for column in L::COLUMNS {
            let Facts {
                name,
                kind,
                unit,
                meaning,
            } = column.facts;
            assert!(!meaning.is_empty() && !meaning.ends_with('.'), "{name}");
            assert!(!meaning.contains('|'), "{name}");
            assert!(
                name.chars()
                    .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_'),
                "{name}"
            );
            // A twin carries the name of its column, unit included.
            let name = name
                .trim_end_matches("_delivered")
                .trim_end_matches("_wind");
            // A column with a unit ends in it; origin and width of the frame are the trade's own names.
            for (ending, its_unit) in [
                ("_m2", "m²"),
                ("_mm_h", "mm/h"),
                ("_lpm", "L/min"),
                ("_m3_yr", "m³/yr"),
                ("_pct", "%"),
                ("_kpa", "kPa"),
                ("_deg", "°"),
            ] {
                assert_eq!(
                    name.ends_with(ending),
                    unit == its_unit && !name.ends_with('0'),
                    "{name} {unit}"
                );
            }
            assert!(matches!(kind, Kind::Number(_)) || unit.is_empty(), "{name}");
        }
        let count = names.len();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), count, "a column stands twice in {}", L::NAME);
        count
    }

    #[test]
    fn tables_of_the_program_are_described_like_the_others() {
        let words = glossary();
        for table in program_tables() {
            let text = schema(table.name).unwrap();
            let schema: Value = serde_json::from_str(&text).unwrap();
            let properties = schema["items"]["properties"].as_object().unwrap();
            let names: Vec<&str> = table.columns.iter().map(|facts| facts.name).collect();
            assert!(
                names.len() > 5 && properties.keys().eq(names.iter()),
                "{text}"
            );
            assert!(schema_names().contains(&table.name));
            let is_word = |name: &&str| words.iter().any(|facts| facts.name == *name);
            assert!(names.iter().all(is_word));
            assert_eq!(
                schema["items"]["additionalProperties"].is_object(),
                table.is_open
            );
        }
        let by: Value = serde_json::from_str(&schema("by").unwrap()).unwrap();
        let required = by["items"]["required"].as_array().unwrap();
        assert!(!required.contains(&json!("value")) && required.contains(&json!("parcels")));
    }

    #[test]
    fn every_column_says_what_it_is() {
        let columns = check::<Parcels>() + check::<Turf>() + check::<Heads>() + check::<Throws>();
        assert!(
            columns
                + check::<Failures>()
                + check::<Stations>()
                + check::<Laterals>()
                + check::<Materials>()
                + check::<Ranked>()
                + check::<SupplyCurve>()
                + check::<ByColumn>()
                > 60
        );
    }

    #[test]
    fn the_glossary_has_every_column_once_and_in_order() {
        let glossary = glossary();
        assert!(glossary.windows(2).all(|pair| pair[0].name < pair[1].name));
        for which in Which::ALL {
            for facts in which.table().columns {
                assert!(glossary.iter().any(|known| known.name == facts.name));
            }
        }
    }

    #[test]
    fn each_table_has_a_schema_of_its_columns() {
        for which in Which::ALL {
            let table = which.table();
            let schema: Value = serde_json::from_str(&schema(table.name).unwrap()).unwrap();
            let row = if table.shape.is_empty() {
                &schema["items"]
            } else {
                &schema["properties"]["features"]["items"]["properties"]["properties"]
            };
            assert_eq!(
                row["required"].as_array().unwrap().len(),
                table.columns.len()
            );
            assert_eq!(row["properties"]["parcel_id"]["type"][0], "string");
        }
        let names = schema_names();
        assert!(names.iter().all(|name| schema(name).is_some()));
        let once: std::collections::BTreeSet<&&str> = names.iter().collect();
        assert_eq!(once.len(), names.len());
        assert!(schema("nothing").is_none());
    }
}
