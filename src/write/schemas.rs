//! JSON Schemas of what is read and of the files that belong to no layer.
//!
//! The schema of a layer tells which columns mean something to this program; a layer may have any
//! others, and those named as an assumption set it for their parcel.

use serde_json::{Map, Value, json};

use crate::assumptions::{ByParcel, Kind, TABLE};

/// What a column of an input holds.
enum Holds {
    Text,
    /// One of these words.
    Word(&'static [&'static str]),
    /// A number from the first to the second.
    Number(f64, f64),
}

use Holds::{Number, Text, Word};

/// A column that is read: name, what it holds, meaning.
type ReadColumn = (&'static str, Holds, &'static str);

/// An input layer: name of its schema, what a feature is, its kinds of geometry, its columns.
type InputLayer = (
    &'static str,
    &'static str,
    &'static [&'static str],
    &'static [ReadColumn],
);

const POLYGONS: &[&str] = &["Polygon", "MultiPolygon"];
const POINTS: &[&str] = &["Point"];

const LAYERS: [InputLayer; 6] = [
    (
        "input-parcels",
        "a parcel; `--id-field` may name another column for the id",
        POLYGONS,
        &[
            ("parcel_id", Text, "The parcel's id; else the column `id`"),
            ("id", Text, "The parcel's id, where there is no `parcel_id`"),
        ],
    ),
    (
        "input-turf",
        "a turf area",
        POLYGONS,
        &[
            (
                "parcel_id",
                Text,
                "The parcel it lies on; else the one with the largest overlap",
            ),
            ("turf_id", Text, "Its id; else `<parcel_id>#<n>`"),
            (
                "exposure",
                Word(&["sun", "part", "shade"]),
                "How much sun it gets",
            ),
            (
                "grass",
                Word(&["cool", "warm"]),
                "Cool-season or warm-season grass",
            ),
            ("climate_zone", Text, "Its zone of the climate table"),
        ],
    ),
    (
        "input-heads",
        "an existing head; what is missing is inferred",
        POINTS,
        &[
            (
                "parcel_id",
                Text,
                "The parcel it belongs to; breaks ties between lawns",
            ),
            ("nozzle_family", Text, "A family of the catalogue"),
            (
                "radius_m",
                Number(0.1, 60.0),
                "Throw of the sound nozzle [m]",
            ),
            (
                "arc_deg",
                Number(1.0, 360.0),
                "Arc as seen on the ground [°]",
            ),
            (
                "azimuth_deg",
                Number(-360.0, 360.0),
                "Start of the arc, clockwise from north [°]",
            ),
            (
                "pressure_kpa",
                Number(1.0, 3_000.0),
                "Pressure at the head [kPa]",
            ),
            (
                "flow_lpm",
                Number(0.001, 1_000.0),
                "Flow of the sound nozzle [L/min]",
            ),
            ("station", Text, "The station that feeds it"),
            (
                "regulated",
                Word(&["yes", "no", "true", "false", "1", "0"]),
                "Whether its body regulates pressure",
            ),
            (
                "body_mm",
                Number(1.0, 1_000.0),
                "Height to which it pops up [mm]",
            ),
            (
                "condition",
                Word(&[
                    "ok", "sunk", "tilted", "blocked", "leaking", "broken", "misaimed",
                ]),
                "What is wrong with it",
            ),
        ],
    ),
    (
        "input-obstacles",
        "an obstacle",
        POLYGONS,
        &[
            (
                "kind",
                Word(&[
                    "building", "wall", "pavement", "water", "bed", "canopy", "trunk",
                ]),
                "What it is; a building where nothing is said",
            ),
            ("height_m", Number(0.0, 1_000.0), "Its height [m]"),
        ],
    ),
    (
        "input-supply",
        "a point of the water supply",
        POINTS,
        &[
            (
                "kind",
                Word(&[
                    "meter",
                    "point-of-connection",
                    "valve",
                    "controller",
                    "pump",
                ]),
                "What it is",
            ),
            (
                "parcel_id",
                Text,
                "The parcel it serves; else the one it lies on",
            ),
            ("flow_lpm", Number(0.0, 1e6), "Flow that it gives [L/min]"),
            (
                "static_kpa",
                Number(0.0, 3_000.0),
                "Pressure while nothing runs [kPa]",
            ),
            (
                "near_kpa",
                Number(0.0, 3_000.0),
                "Pressure measured at the near head [kPa]",
            ),
            (
                "far_kpa",
                Number(0.0, 3_000.0),
                "Pressure measured at the far head [kPa]",
            ),
            ("size_mm", Number(5.0, 1_000.0), "Nominal size [mm]"),
        ],
    ),
    (
        "input-soils",
        "an area of one soil; other names for the columns are known too",
        POLYGONS,
        &[
            (
                "texture",
                Text,
                "USDA texture class, as a word or its usual letters",
            ),
            (
                "intake_mm_h",
                Number(0.0, 1_000.0),
                "Basic intake rate [mm/h]",
            ),
        ],
    ),
];

/// The layers that a program file names.
const PROGRAM_INPUTS: [&str; 12] = [
    "parcels",
    "turf",
    "heads",
    "obstacles",
    "supply",
    "soils",
    "soil_table",
    "dem",
    "climate",
    "climate_zones",
    "meter",
    "catalogue",
];

const PROGRAM: &str = "program";
const CATALOGUE: &str = "catalogue";
const CLIMATE: &str = "input-climate";
const RUN: &str = "run";
const SUMMARY: &str = "summary";
const DRAFT: &str = "https://json-schema.org/draft/2020-12/schema";

/// The names of these schemas.
#[must_use]
pub fn names() -> Vec<&'static str> {
    let layers = LAYERS.iter().map(|(name, ..)| *name);
    layers
        .chain([CLIMATE, PROGRAM, CATALOGUE, RUN, SUMMARY])
        .collect()
}

/// One of these schemas; `None` when none has this name.
#[must_use]
pub fn schema(name: &str) -> Option<Value> {
    let layer = LAYERS.iter().find(|(layer, ..)| *layer == name);
    match (layer, name) {
        (Some(layer), _) => Some(input_layer(layer)),
        (None, CLIMATE) => Some(climate()),
        (None, PROGRAM) => Some(program()),
        (None, CATALOGUE) => Some(catalogue()),
        (None, RUN) => Some(run()),
        (None, SUMMARY) => Some(summary()),
        (None, _) => None,
    }
}

fn input_layer((name, feature, shapes, columns): &InputLayer) -> Value {
    let mut properties = Map::new();
    for (column, holds, meaning) in *columns {
        let mut about = match holds {
            // Ids may be typed as numbers; they are kept as their text.
            Text => json!({"type": ["string", "number", "null"]}),
            Word(words) => json!({
                "type": ["string", "number", "boolean", "null"],
                "examples": words,
            }),
            Number(low, high) => json!({
                "type": ["number", "string", "null"],
                "minimum": low,
                "maximum": high,
            }),
        };
        about["description"] = json!(meaning);
        properties.insert((*column).to_owned(), about);
    }
    json!({
        "$schema": DRAFT,
        "title": name,
        "description": format!("One feature per row: {feature}. As GeoJSON in longitude and latitude; any other format is read by its own rules, with the same columns."),
        "type": "object",
        "required": ["type", "features"],
        "properties": {
            "type": {"const": "FeatureCollection"},
            "features": {"type": "array", "items": {
                "type": "object",
                "required": ["type", "geometry"],
                "properties": {
                    "type": {"const": "Feature"},
                    "properties": {"type": ["object", "null"], "properties": properties},
                    "geometry": {"anyOf": [{"type": "null"}, {
                        "type": "object",
                        "required": ["type", "coordinates"],
                        "properties": {"type": {"enum": shapes}},
                    }]},
                },
            }},
        },
    })
}

fn climate() -> Value {
    let number = |meaning: &str, low: f64, high: f64| json!({"type": "number", "description": meaning, "minimum": low, "maximum": high});
    let share = |side: &str| {
        let meaning =
            format!("Share of the watering hours with wind from {side}; the rest is calm");
        number(&meaning, 0.0, 1.0)
    };
    json!({
        "$schema": DRAFT,
        "title": CLIMATE,
        "description": "One object per line of the table of months: twelve for each zone.",
        "type": "array",
        "items": {
            "type": "object",
            "required": ["month", "eto_mm", "rain_mm"],
            "properties": {
                "month": {"type": "integer", "minimum": 1, "maximum": 12},
                "eto_mm": number("Reference evapotranspiration of the month [mm]", 0.0, 500.0),
                "rain_mm": number("Rain of the month [mm]", 0.0, 2_000.0),
                "wind_m_s": number("Wind at 2 m [m/s]", 0.0, 40.0),
                "wind_n_frac": share("north"),
                "wind_ne_frac": share("north-east"),
                "wind_e_frac": share("east"),
                "wind_se_frac": share("south-east"),
                "wind_s_frac": share("south"),
                "wind_sw_frac": share("south-west"),
                "wind_w_frac": share("west"),
                "wind_nw_frac": share("north-west"),
                "rh_pct": number("Relative humidity [%]", 0.0, 100.0),
                "t_c": number("Mean temperature [°C]", -90.0, 60.0),
                "tmax_c": number("Mean of the daily maxima [°C]", -90.0, 60.0),
                "tmin_c": number("Mean of the daily minima [°C]", -90.0, 60.0),
                "zone": {"type": "string", "description": "The zone, where there are several"},
            },
        },
    })
}

/// The program file, from the table of assumptions.
fn program() -> Value {
    let inputs = PROGRAM_INPUTS.map(|input| {
        let about = json!({"type": "string", "description": "A file, relative to this one"});
        (input.to_owned(), about)
    });
    let mut sections = Map::new();
    sections.insert("title".to_owned(), json!({"type": "string"}));
    sections.insert(
        "inputs".to_owned(),
        json!({
            "type": "object",
            "additionalProperties": false,
            "properties": Map::from_iter(inputs),
        }),
    );
    let rule = json!({
        "name": {"type": "string", "description": "A rule of a standing rule's name takes its place"},
        "rule": {"type": "string", "description": "Condition on columns of the parcels"},
        "reason": {"type": "string", "description": "What is told where it is not met"},
        "apply": {"type": "boolean", "description": "false switches a standing rule off"},
    });
    let rules = json!({"type": "array", "items": closed(&["name"], rule)});
    sections.insert("eligibility".to_owned(), rules);
    for entry in TABLE {
        let Some((section, key)) = entry.text.split_once('.') else {
            continue;
        };
        let mut about = match entry.kind {
            Kind::Number { default, low, high } => json!({
                "type": "number", "minimum": low, "maximum": high, "default": default,
            }),
            Kind::Choice(words) => json!({"enum": words, "default": words[0]}),
            Kind::Set(words) => json!({
                "type": "array", "items": {"enum": words}, "default": words,
            }),
        };
        let unit = match entry.unit {
            "" | "-" => String::new(),
            unit => format!(" [{unit}]"),
        };
        let by_parcel = match entry.by_parcel {
            ByParcel::Yes => "; a parcel may override it",
            ByParcel::No => "",
        };
        about["description"] = json!(format!("{}{unit}{by_parcel}", entry.meaning));
        let section = sections.entry(section).or_insert_with(
            || json!({"type": "object", "additionalProperties": false, "properties": {}}),
        );
        section["properties"][key] = about;
    }
    json!({
        "$schema": DRAFT,
        "title": PROGRAM,
        "description": "The program file (TOML): layers in `inputs`, assumptions in the other sections.",
        "type": "object",
        "additionalProperties": false,
        "properties": sections,
    })
}

fn within(low: f64, high: f64) -> Value {
    json!({"type": "number", "minimum": low, "maximum": high})
}

fn numbers(count: u64) -> Value {
    json!({"type": "array", "items": {"type": "number"}, "minItems": count, "maxItems": count})
}

/// An object that has no other members.
fn closed(required: &[&str], properties: Value) -> Value {
    json!({
        "type": "object",
        "additionalProperties": false,
        "required": required,
        "properties": properties,
    })
}

fn catalogue() -> Value {
    let family = json!({"type": "array", "minItems": 1, "items": family()});
    json!({
        "$schema": DRAFT,
        "title": CATALOGUE,
        "description": "A catalogue (TOML): nozzle families, and perhaps hardware.",
        "type": "object",
        "required": ["family"],
        "additionalProperties": false,
        "properties": {
            "title": {"type": "string"},
            "hardware": {
                "type": "object",
                "description": "Meters, valves and pipes; the embedded ones where it is missing",
            },
            "family": family,
        },
    })
}

fn family() -> Value {
    let required = [
        "name",
        "rated_kpa",
        "working_kpa",
        "profile",
        "sweeps_deg",
        "flow_follows",
        "nozzle",
    ];
    let curve = json!({
        "type": "array",
        "items": numbers(3),
        "description": "Pressure [kPa], flow over rated flow, throw over rated throw",
    });
    let profile = json!({"anyOf": [
        {"enum": ["triangular", "elliptical", "uniform", "parabolic"]},
        {"type": "array", "items": numbers(2)},
    ]});
    let sweeps = json!({
        "from": within(5.0, 355.0),
        "to": within(5.0, 355.0),
        "step": {"type": "integer", "multipleOf": 5},
        "full_circle": {"type": "boolean"},
    });
    let by_arc = json!({
        "fixed": within(0.0, 0.8),
        "adjustable": within(0.0, 0.8),
        "fixed_arcs_deg": {"type": "array", "items": {"type": "integer"}},
    });
    let scatter = json!({"anyOf": [
        {"enum": ["spray", "rotary", "rotor"]},
        within(0.0, 0.8),
        closed(&["fixed", "adjustable"], by_arc),
    ]});
    let nozzle = json!({
        "name": {"type": "string"},
        "throw_m": numbers(2),
        "full_circle_lpm": within(1e-3, 1_000.0),
    });
    let side = json!({"anyOf": [{"type": "number"}, numbers(2)]});
    let strip = json!({
        "name": {"type": "string"},
        "kind": {"enum": ["end", "side", "centre"]},
        "length_m": side,
        "width_m": side,
        "flow_lpm": within(1e-3, 1_000.0),
    });
    let nozzle = closed(&["name", "throw_m", "full_circle_lpm"], nozzle);
    let strip = closed(&["name", "kind", "length_m", "width_m", "flow_lpm"], strip);
    let properties = json!({
        "name": {"type": "string", "pattern": "^[A-Za-z0-9_-]+$"},
        "stream": {"type": "string"},
        "rated_kpa": within(50.0, 1_000.0),
        "working_kpa": numbers(2),
        "flow_exponent": within(0.0, 1.0),
        "throw_exponent": within(0.0, 1.0),
        "curve": curve,
        "profile": profile,
        "trajectory_deg": within(0.0, 60.0),
        "drop_mm": within(0.0, 6.0),
        "sweeps_deg": closed(&["from", "to", "step", "full_circle"], sweeps),
        "flow_follows": {"enum": ["rated", "throw"]},
        "unit_cost_cur": within(0.0, 1e6),
        "own_body_cur": within(0.0, 1e6),
        "nozzle_cv": scatter,
        "nozzle": {"type": "array", "minItems": 1, "items": nozzle},
        "strip": {"type": "array", "items": strip},
    });
    closed(&required, properties)
}

fn run() -> Value {
    let value = json!({
        "type": "object",
        "required": ["value", "unit", "origin"],
        "properties": {
            "unit": {"type": "string"},
            "origin": {"enum": ["default", "program", "flag", "parcel"]},
        },
    });
    json!({
        "$schema": DRAFT,
        "title": RUN,
        "description": "All that decides the outcome of a run; `plan --from run.json` repeats it.",
        "type": "object",
        "required": ["program", "version", "inputs", "reading", "layout", "assumptions"],
        "properties": {
            "program": {"const": "evenfall"},
            "version": {"type": "string"},
            "inputs": {"type": "array", "items": {
                "type": "object",
                "required": ["role", "sha256"],
                "properties": {
                    "role": {"type": "string"},
                    "part": {"type": "string", "description": "Ending of a file that is part of a layer"},
                    "sha256": {"type": ["string", "null"], "pattern": "^[0-9a-f]{64}$"},
                },
            }},
            "reading": {"type": "object", "description": "Which features are read"},
            "layout": {"type": "object", "description": "How layouts are made"},
            "throws": {"enum": ["recommended", "all"]},
            "layers": {"type": "array", "description": "Layers that are written; all where it is absent", "items": {"enum": super::wanted::Tables::words()}},
            "formats": {"type": "array", "items": {"enum": super::formats::Name::ALL.map(super::formats::Name::text)}},
            "rain": {"enum": super::rain::Rain::WORDS.map(|(word, _)| word)},
            "assumptions": {
                "type": "object",
                "required": ["title", "values"],
                "properties": {
                    "title": {"type": "string"},
                    "values": {"type": "object", "additionalProperties": value},
                },
            },
        },
    })
}

fn summary() -> Value {
    let count = json!({"type": "integer", "minimum": 0});
    json!({
        "$schema": DRAFT,
        "title": SUMMARY,
        "description": "Counts that add up, totals, and how even each family comes out.",
        "type": "object",
        "required": ["parcels", "turf", "water", "heads", "scenarios", "flags", "issues"],
        "properties": {
            "parcels": {
                "type": "object",
                "description": "What became of the inputs: planned, partial, no_turf and failed add up to them",
                "required": ["inputs", "planned", "partial", "no_turf", "failed"],
                "additionalProperties": count,
            },
            "outside_parcels": {"type": "integer", "description": "Features that lie on no parcel"},
            "layers": {"type": "array", "items": {
                "type": "object",
                "description": "Rows of an input: used + left_out (of parcels that filters leave out or that failed) + elsewhere (near nothing that is planned) + unused (by the code that says why) add up to rows",
                "required": ["layer", "rows", "used", "left_out", "elsewhere", "unused"],
            }},
            "turf": {"type": "object", "description": "Number and area of the turf areas"},
            "water": {"type": "object", "description": "Totals of the columns of the same names in `parcels` [m³/yr]"},
            "heads": {"type": "integer", "description": "Heads of the recommended scenarios"},
            "scenarios": {"type": "array", "items": {
                "type": "object",
                "required": ["scenario", "family", "areas"],
            }},
            "flags": {"type": "object", "additionalProperties": count},
            "issues": {"type": "array", "items": {
                "type": "object",
                "required": ["code", "severity", "count", "statement"],
            }},
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_name_has_its_schema() {
        for name in names() {
            let schema = schema(name).unwrap();
            assert_eq!(schema["title"], name);
        }
        assert!(schema("nothing").is_none());
    }

    /// The columns of the inputs are known to the reader, letter by letter.
    #[test]
    fn the_readers_know_every_column_of_the_inputs() {
        let join = include_str!("../read/join.rs");
        let read: [(&str, &[&str]); 6] = [
            ("input-parcels", &[include_str!("../read/parcels.rs")]),
            ("input-turf", &[join, include_str!("../read/turf.rs")]),
            ("input-heads", &[include_str!("../read/heads.rs")]),
            ("input-obstacles", &[include_str!("../read/obstacles.rs")]),
            ("input-supply", &[include_str!("../read/supply.rs")]),
            ("input-soils", &[include_str!("../read/soils.rs")]),
        ];
        let mut checked = 0;
        for (name, texts) in read {
            let before_tests = |text: &&str| text.split("#[cfg(test)]").next().unwrap().to_owned();
            let program: String = texts.iter().map(before_tests).collect();
            let (.., columns) = LAYERS.iter().find(|(layer, ..)| *layer == name).unwrap();
            for (column, ..) in *columns {
                assert!(
                    program.contains(&format!("\"{column}\"")),
                    "{name} {column}"
                );
                checked += 1;
            }
        }
        assert!(checked > 25, "{checked}");
    }

    /// And the schemas have every column that the readers ask for.
    #[test]
    fn the_schemas_have_every_column_that_is_read() {
        for (name, text, asked) in [
            ("input-heads", include_str!("../read/heads.rs"), "number(\""),
            (
                "input-supply",
                include_str!("../read/supply.rs"),
                "number(\"",
            ),
            (
                "input-turf",
                include_str!("../read/turf.rs"),
                "feature.text(\"",
            ),
            (
                "input-turf",
                include_str!("../read/turf.rs"),
                "word(feature, \"",
            ),
        ] {
            let program = text.split("#[cfg(test)]").next().unwrap();
            let (.., columns) = LAYERS.iter().find(|(layer, ..)| *layer == name).unwrap();
            let mut found = 0;
            for part in program.split(asked).skip(1) {
                let column = part.split('"').next().unwrap();
                assert!(
                    columns.iter().any(|(known, ..)| *known == column),
                    "{name} {column}"
                );
                found += 1;
            }
            assert!(found > 0, "{name} {asked}");
        }
    }

    #[test]
    fn the_program_file_has_every_assumption_with_its_bounds() {
        let schema = program();
        for entry in TABLE {
            let (section, key) = entry.text.split_once('.').unwrap();
            let about = &schema["properties"][section]["properties"][key];
            assert!(
                about["description"]
                    .as_str()
                    .unwrap()
                    .starts_with(entry.meaning)
            );
        }
    }
}
