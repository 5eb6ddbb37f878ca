//! What describes the columns, made from the dictionary: the table of the README and JSON Schemas.

use serde_json::{Map, Value, json};

use super::layer::{Facts, Kind, Layer};
use super::network::{Laterals, Materials, Stations};
use super::rain::Rasters;
use super::schedule::Schedules;
use super::{Failures, Heads, Parcels, Throws, Turf};

/// The layers that have a JSON Schema.
pub const SCHEMAS: [&str; 6] = [
    Parcels::NAME,
    Turf::NAME,
    Heads::NAME,
    Throws::NAME,
    Stations::NAME,
    Laterals::NAME,
];

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

/// The JSON Schema of a layer; `None` when no layer has this name.
#[must_use]
pub fn schema(name: &str) -> Option<String> {
    let schema = match name {
        Parcels::NAME => layer_schema::<Parcels>(&["Polygon", "MultiPolygon"], Presence::Optional),
        Turf::NAME => layer_schema::<Turf>(&[Turf::SHAPE], Presence::Always),
        Heads::NAME => layer_schema::<Heads>(&[Heads::SHAPE], Presence::Always),
        Throws::NAME => layer_schema::<Throws>(&[Throws::SHAPE], Presence::Always),
        Stations::NAME => layer_schema::<Stations>(&[Stations::SHAPE], Presence::Always),
        Laterals::NAME => layer_schema::<Laterals>(&[Laterals::SHAPE], Presence::Always),
        _ => return None,
    };
    Some(format!("{schema:#}\n"))
}

/// Whether every row has a geometry.
#[derive(PartialEq)]
enum Presence {
    Always,
    Optional,
}

fn layer_schema<L: Layer>(shapes: &[&str], presence: Presence) -> Value {
    let mut properties = Map::new();
    for column in L::COLUMNS {
        let Facts {
            name,
            kind,
            unit,
            meaning,
        } = column.facts;
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
    let required: Vec<&String> = properties.keys().collect();
    let geometry = json!({
        "type": "object",
        "required": ["type", "coordinates"],
        "properties": {"type": {"enum": shapes}, "coordinates": {"type": "array"}},
    });
    let geometry = match presence {
        Presence::Always => geometry,
        Presence::Optional => json!({"anyOf": [{"type": "null"}, geometry]}),
    };
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": L::NAME,
        "description": format!("One feature per {}.", L::ROW),
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
            let name = name.trim_end_matches("_delivered");
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
    fn every_column_says_what_it_is() {
        let columns = check::<Parcels>() + check::<Turf>() + check::<Heads>() + check::<Throws>();
        assert!(
            columns
                + check::<Failures>()
                + check::<Stations>()
                + check::<Laterals>()
                + check::<Materials>()
                > 60
        );
    }

    #[test]
    fn each_layer_has_a_schema_of_its_columns() {
        for name in SCHEMAS {
            let schema: Value = serde_json::from_str(&schema(name).unwrap()).unwrap();
            let row = &schema["properties"]["features"]["items"]["properties"]["properties"];
            assert!(row["required"].as_array().unwrap().len() >= 6);
            assert_eq!(row["properties"]["parcel_id"]["type"][0], "string");
        }
        assert!(schema("nothing").is_none());
    }
}
