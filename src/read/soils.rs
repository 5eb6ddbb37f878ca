//! Soils: polygons that carry a texture class, an intake rate, or the key of a map unit that a
//! table explains.

use std::collections::BTreeMap;

use super::feature::{Feature, quantity};
use super::layer::Role;
use super::majority::AreaField;
use super::source::Source;
use crate::cells::Table;
use crate::issue::{Code, Issue};
use crate::site::{Soil, Texture};

/// Names of a column with the texture class.
const TEXTURE: [&str; 6] = [
    "texture",
    "soil_texture",
    "texture_class",
    "usda_texture",
    "texcl",
    "texture_cl",
];
/// Names of a column with the basic intake rate in millimetres an hour.
const INTAKE: [&str; 4] = [
    "intake_mm_h",
    "intake_rate_mm_h",
    "infiltration_mm_h",
    "basic_intake_mm_h",
];
/// Faster intake than this is a mistake \[mm/h\]: clean gravel.
const MOST_INTAKE_MM_H: f64 = 1_000.0;

/// What a table says of map units.
pub(super) struct SoilTable {
    /// The column of the layer that holds the key, in lower case.
    key: String,
    soils: BTreeMap<String, Option<Soil>>,
}

impl SoilTable {
    /// Reads a table: its key is the first column that is neither texture nor intake.
    ///
    /// # Errors
    /// `IN01` if it cannot be read, `IN07` for a cell that is not a number, `IN08` without a key
    /// or without texture and intake.
    pub(super) fn open(source: &Source, issues: &mut Vec<Issue>) -> Result<SoilTable, Issue> {
        let name = source.name();
        let text = source.text()?;
        let table = Table::parse(&text, name)?;
        let is_value = |column: &&String| {
            TEXTURE.contains(&column.as_str()) || INTAKE.contains(&column.as_str())
        };
        let Some(at) = table.names().iter().position(|column| !is_value(&column)) else {
            let found = "a first column with the key of the map unit, named as in the layer";
            return Err(Issue::new(Code::IN08, found).in_file(name));
        };
        let texture = table.column(&TEXTURE);
        let intake = table.column(&INTAKE);
        if texture.is_none() && intake.is_none() {
            table.needed(&[TEXTURE[0], INTAKE[0]])?;
        }
        let mut soils = BTreeMap::new();
        for (line, cells) in &table.rows {
            let place = |issue: Issue| issue.in_file(name).at_feature(*line);
            let word = texture.map_or("", |column| table.text(cells, column));
            let rate = match intake {
                Some(column) => table.number(*line, cells, column)?,
                None => None,
            };
            let key = plain_key(table.text(cells, at));
            if !key.is_empty() {
                soils.insert(key, soil(word, rate, issues, place));
            }
        }
        Ok(SoilTable {
            key: table.names()[at].clone(),
            soils,
        })
    }
}

/// The soils of a layer.
pub(super) type SoilField = AreaField<Soil>;

/// Opens a layer of soils.
///
/// # Errors
/// As the layer; `SO03` when no feature carries anything that could be used, `IN08` when the key
/// of the table is no column of the layer.
pub(super) fn open(
    source: &Source,
    table: Option<&SoilTable>,
    issues: &mut Vec<Issue>,
) -> Result<SoilField, Issue> {
    let (mut rows, mut with_key, mut with_value) = (0u64, 0u64, 0u64);
    let field = AreaField::open(source, Role::Soils, issues, |feature, issues| {
        rows += 1;
        let place = |issue: Issue| issue.in_file(source.name()).at_feature(feature.number);
        let word = text_of(feature, &TEXTURE).unwrap_or_default();
        let rate = INTAKE
            .iter()
            .find_map(|name| quantity(&feature.attributes, name)?.ok());
        with_value += u64::from(!word.is_empty() || rate.is_some());
        let own = soil(&word, rate, issues, place);
        let key = table.and_then(|table| text_of(feature, &[table.key.as_str()]));
        with_key += u64::from(key.is_some());
        Ok(own.or_else(|| table?.soils.get(&plain_key(&key?)).copied().flatten()))
    })?;
    let name = source.name();
    match table {
        Some(table) if rows > 0 && with_key == 0 => {
            let found = format!("no feature has a column `{}`", table.key);
            Err(Issue::new(Code::IN08, found).in_file(name))
        }
        None if rows > 0 && with_value == 0 => Err(Issue::new(Code::SO03, "").in_file(name)),
        _ => Ok(field),
    }
}

fn text_of(feature: &Feature, names: &[&str]) -> Option<String> {
    names.iter().find_map(|name| feature.text(name))
}

/// A key as text: spaces around it, and the zeros behind the point of a whole number that a
/// spreadsheet adds, do not count.
fn plain_key(key: &str) -> String {
    let key = key.trim();
    let whole = key
        .strip_suffix(".0")
        .filter(|whole| !whole.is_empty() && whole.bytes().all(|digit| digit.is_ascii_digit()));
    whole.unwrap_or(key).to_lowercase()
}

fn soil(
    word: &str,
    rate_mm_h: Option<f64>,
    issues: &mut Vec<Issue>,
    place: impl Fn(Issue) -> Issue,
) -> Option<Soil> {
    let intake_mm_h = rate_mm_h.filter(|rate| {
        let possible = *rate > 0.0 && *rate <= MOST_INTAKE_MM_H;
        if !possible {
            issues.push(place(Issue::new(Code::SO04, format!("{rate} mm/h"))));
        }
        possible
    });
    let texture = match word.trim() {
        "" => None,
        word => match Texture::parse(word) {
            Ok(texture) => Some(texture),
            Err(issue) => {
                issues.push(place(issue));
                None
            }
        },
    };
    let texture = texture.or_else(|| intake_mm_h.map(Texture::nearest_to_intake))?;
    Some(Soil {
        texture,
        intake_mm_h,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(text: &str) -> (Result<SoilTable, Issue>, Vec<Issue>) {
        let mut issues = Vec::new();
        let source = Source::from_bytes("soils.csv", text.as_bytes());
        (SoilTable::open(&source, &mut issues), issues)
    }

    #[test]
    fn a_table_explains_keys() {
        let (found, issues) =
            table("MUKEY,name,Texture,intake_mm_h\n 12.0,a,SiL,\nB7,b,,5.1\nw,water,,\n");
        let found = found.unwrap();
        assert_eq!(found.key, "mukey");
        assert_eq!(found.soils["12"].unwrap().texture, Texture::SiltLoam);
        let measured = found.soils["b7"].unwrap();
        assert_eq!(
            (measured.texture, measured.intake_mm_h),
            (Texture::ClayLoam, Some(5.1))
        );
        assert_eq!(found.soils["w"], None);
        assert!(issues.is_empty());
    }

    #[test]
    fn defects_of_a_table() {
        assert_eq!(table("texture\nloam\n").0.err().unwrap().code, Code::IN08);
        assert_eq!(table("mukey,name\n1,a\n").0.err().unwrap().code, Code::IN08);
        assert_eq!(
            table("mukey,intake_mm_h\n1,fast\n").0.err().unwrap().code,
            Code::IN07
        );
        let (found, issues) = table("mukey,texture,intake_mm_h\n1,lome,\n2,,-3\n");
        assert!(found.unwrap().soils.values().all(Option::is_none));
        let codes: Vec<Code> = issues.iter().map(|issue| issue.code).collect();
        assert_eq!(codes, [Code::SO01, Code::SO04]);
        assert!(issues[0].found.contains("`loam`") && issues[0].place.feature == Some(2));
    }
}
