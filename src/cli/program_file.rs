//! The program file: its inputs, and its text for the assumptions.

use std::ops::Range;
use std::path::{Path, PathBuf};

use serde::Deserialize;

use crate::assumptions::{Assumptions, nearest};
use crate::issue::{Code, Issue, Spot};
use crate::program::Rule;
use crate::read::source::text_of;

/// A program file as it was read.
pub(super) struct ProgramFile {
    path: PathBuf,
    name: String,
    text: String,
    folder: PathBuf,
    inputs: InputsText,
    rules: Vec<Rule>,
}

/// Only what is no assumption: the inputs, and the rules of who may be paid.
#[derive(Deserialize)]
struct WholeText {
    #[serde(default)]
    inputs: InputsText,
    #[serde(default)]
    eligibility: Vec<toml::Spanned<toml::Table>>,
}

/// Keys of a rule of who may be paid.
const RULE_KEYS: [&str; 4] = ["name", "rule", "reason", "apply"];

/// The layers that a program file can name, relative to itself.
#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct InputsText {
    parcels: Option<String>,
    turf: Option<String>,
    heads: Option<String>,
    obstacles: Option<String>,
    supply: Option<String>,
    soils: Option<String>,
    soil_table: Option<String>,
    dem: Option<String>,
    climate: Option<String>,
    climate_zones: Option<String>,
    meter: Option<String>,
    catalogue: Option<String>,
}

impl ProgramFile {
    /// Where it lies.
    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// Reads a program file.
    ///
    /// # Errors
    /// `IN01` when it cannot be read, `AS03` when it is not TOML or names an unknown input.
    pub(super) fn read(path: &Path) -> Result<ProgramFile, Issue> {
        let name = path.display().to_string();
        let text = text_of(path)?;
        let at = |bytes: Range<usize>, found: &str| {
            let spot = Spot::of_bytes(&text, bytes);
            Issue::new(Code::AS03, format!("line {}: {found}", spot.line()))
                .in_file(&name)
                .at_spot(spot)
        };
        let whole: WholeText = toml::from_str(&text)
            .map_err(|error| at(error.span().unwrap_or(0..0), error.message()))?;
        let rules = whole
            .eligibility
            .into_iter()
            .map(|table| {
                let span = table.span();
                rule(table.into_inner()).map_err(|found| at(span, &found))
            })
            .collect::<Result<Vec<Rule>, Issue>>()?;
        let folder = path.parent().unwrap_or(Path::new("")).to_owned();
        Ok(ProgramFile {
            path: path.to_owned(),
            name,
            text,
            folder,
            inputs: whole.inputs,
            rules,
        })
    }

    /// The rules of who may be paid.
    pub(super) fn rules(&self) -> &[Rule] {
        &self.rules
    }

    /// The input of a role, relative to where the program runs.
    pub(super) fn input(&self, role: &str) -> Option<String> {
        let named = match role {
            "parcels" => &self.inputs.parcels,
            "turf" => &self.inputs.turf,
            "heads" => &self.inputs.heads,
            "obstacles" => &self.inputs.obstacles,
            "supply" => &self.inputs.supply,
            "soils" => &self.inputs.soils,
            "soil_table" => &self.inputs.soil_table,
            "dem" => &self.inputs.dem,
            "climate" => &self.inputs.climate,
            "climate_zones" => &self.inputs.climate_zones,
            "meter" => &self.inputs.meter,
            "catalogue" => &self.inputs.catalogue,
            _ => &None,
        };
        named
            .as_ref()
            .map(|named| self.folder.join(named).display().to_string())
    }

    /// The assumptions with those of the file on top.
    ///
    /// # Errors
    /// `AS01`, `AS02` or `AS03` as [`Assumptions::with_program`].
    pub(super) fn on_top_of(&self, assumptions: &Assumptions) -> Result<Assumptions, Issue> {
        assumptions.with_program(&self.text, &self.name)
    }
}

/// A rule of who may be paid; what is wrong with it otherwise.
fn rule(table: toml::Table) -> Result<Rule, String> {
    for key in table.keys() {
        if !RULE_KEYS.contains(&key.as_str()) {
            let hint = nearest(key, RULE_KEYS)
                .map_or(String::new(), |near| format!("; did you mean `{near}`?"));
            return Err(format!("[[eligibility]] has no key `{key}`{hint}"));
        }
    }
    let rule: Rule = table
        .try_into()
        .map_err(|error: toml::de::Error| format!("[[eligibility]]: {}", error.message()))?;
    if rule.apply && rule.rule.trim().is_empty() {
        return Err(format!("[[eligibility]] `{}` has no key `rule`", rule.name));
    }
    Ok(rule)
}
