//! `run.json`: all that decides the outcome of a run, and nothing else. No paths, times, threads or
//! chunk sizes stand in it.

use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::issue::{Code, Issue};
use crate::program::Rule;

/// The record of a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunRecord {
    /// The program's name.
    pub program: String,
    /// The program's version.
    pub version: String,
    /// The inputs.
    pub inputs: Vec<InputRecord>,
    /// How the parcel layer is read.
    pub reading: ReadingRecord,
    /// How layouts are made.
    pub layout: LayoutRecord,
    /// Whose throws are drawn: `recommended` or `all`.
    #[serde(default = "recommended")]
    pub throws: String,
    /// The layers that are written beside parcels and failures; empty for all.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub layers: Vec<String>,
    /// The formats of the layers, in order.
    #[serde(default = "geojson")]
    pub formats: Vec<String>,
    /// Whose rain is written: `none`, `recommended` or `all`.
    #[serde(default = "none")]
    pub rain: String,
    /// Rules of who may be paid, beside the standing ones.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub eligibility: Vec<Rule>,
    /// Columns by whose values totals are made.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub by: Vec<String>,
    /// Every assumption with its origin, as `assumptions` writes it.
    pub assumptions: Value,
}

fn recommended() -> String {
    "recommended".to_owned()
}

fn none() -> String {
    "none".to_owned()
}

fn geojson() -> Vec<String> {
    vec!["geojson".to_owned()]
}

/// One input by its role.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct InputRecord {
    /// `parcels`, `turf`, `heads`, `obstacles` or `catalogue`.
    pub role: String,
    /// The ending of a file beside the main one that is part of the same layer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part: Option<String>,
    /// SHA-256 of its bytes, in hexadecimal; null for what came through a pipe.
    pub sha256: Option<String>,
}

/// The choices that bear on which features are read.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReadingRecord {
    /// The column that holds the parcel's id.
    pub id_field: Option<String>,
    /// The filter on attributes.
    #[serde(rename = "where")]
    pub where_clause: Option<String>,
    /// West, south, east, north \[degrees\].
    pub bbox: Option<[f64; 4]>,
    /// What happens to parcels that share an id, unless they are numbered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repeated_ids: Option<String>,
    /// How ids of one layer are matched with those of another, unless loosely.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub match_ids: Option<String>,
}

/// The choices that bear on the layouts.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LayoutRecord {
    /// How hard to look for a better layout.
    pub effort: String,
    /// What to favour.
    pub favour: String,
    /// The families planned, in order.
    pub families: Vec<String>,
    /// The seed of everything random.
    pub seed: u64,
}

impl RunRecord {
    /// The text of `run.json`.
    #[must_use]
    pub fn to_text(&self) -> String {
        // A record is made of text, numbers and lists, which always have a JSON form.
        let value = serde_json::to_value(self).unwrap_or(Value::Null);
        format!("{value:#}\n")
    }

    /// Reads a record.
    ///
    /// # Errors
    /// `AS03` when the text is not a record of this program.
    pub fn parse(text: &str, file: &str) -> Result<RunRecord, Issue> {
        serde_json::from_str(text).map_err(|error| {
            Issue::new(Code::AS03, format!("it is not a run.json: {error}")).in_file(file)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_record_reads_back_as_it_was() {
        let record = RunRecord {
            program: "evenfall".into(),
            version: "0.1.0".into(),
            inputs: vec![InputRecord {
                role: "turf".into(),
                part: None,
                sha256: Some("00ff".into()),
            }],
            reading: ReadingRecord {
                id_field: None,
                where_clause: Some("A = 'b'".into()),
                bbox: Some([-1.5, 2.0, 3.0, 4.0]),
                repeated_ids: Some("join".into()),
                match_ids: None,
            },
            layout: LayoutRecord {
                effort: "normal".into(),
                favour: "evenness".into(),
                families: vec!["spray".into()],
                seed: 7,
            },
            throws: "all".into(),
            layers: vec!["parcels".into(), "turf".into()],
            formats: vec!["gpkg".into()],
            rain: "none".into(),
            eligibility: vec![Rule {
                name: "old".into(),
                rule: "year_built < 1990".into(),
                reason: "not old".into(),
                apply: true,
            }],
            by: vec!["district".into()],
            assumptions: serde_json::json!({"z.y": {"value": 0.1}, "a.b": {"value": 3}}),
        };
        let text = record.to_text();
        let back = RunRecord::parse(&text, "run.json").unwrap();
        assert_eq!(back, record);
        assert_eq!(back.to_text(), text);
        assert_eq!(
            RunRecord::parse("{}", "run.json").unwrap_err().code,
            Code::AS03
        );
    }
}
