//! Climate zones: polygons that name a zone of the climate table, or carry its months themselves.

use super::feature::{Feature, column_of};
use super::filter::Filter;
use super::layer::{Layer, Role};
use super::majority::AreaField;
use super::source::Source;
use crate::climate::YearClimate;
use crate::issue::{Code, Issue};

/// Names of the column that names the zone.
const ZONE: [&str; 4] = ["zone", "climate_zone", "zone_id", "name"];

/// The name of a zone: its column, or the number of its feature.
fn name_of(feature: &Feature) -> String {
    ZONE.iter()
        .find_map(|column| feature.text(column))
        .unwrap_or_else(|| feature.number.to_string())
}

/// Opens the layer to find the zone of a lawn.
///
/// # Errors
/// As the layer.
pub(super) fn open(source: &Source, issues: &mut Vec<Issue>) -> Result<AreaField<String>, Issue> {
    AreaField::open(source, Role::Zones, issues, |feature, _| {
        Ok(Some(name_of(feature)))
    })
}

/// The mean years that a layer of zones carries in columns `eto_1` to `eto_12` and `rain_1` to
/// `rain_12` \[mm\] (also `eto_mm_1`, `eto_01`); `None` when no feature has such a column.
///
/// # Errors
/// As the layer; `CL01` to `CL03` for months that are missing or impossible, `CL08` when two
/// features of one name differ.
pub fn zone_years(source: &Source) -> Result<Option<Vec<YearClimate>>, Issue> {
    let mut layer = Layer::open(source, Role::Zones, &Filter::default())?;
    let mut text = "zone,month,eto_mm,rain_mm\n".to_owned();
    let mut seen: Vec<(String, String)> = Vec::new();
    let mut any = false;
    while let Some(feature) = layer.next()? {
        let name = name_of(&feature);
        let mut rows = String::new();
        for month in 1..=12 {
            let cell = |what: &str| {
                [
                    format!("{what}_{month}"),
                    format!("{what}_{month:02}"),
                    format!("{what}_mm_{month}"),
                    format!("{what}_mm_{month:02}"),
                ]
                .iter()
                .find_map(|column| column_of(&feature.attributes, column))
                .map(|value| value.text())
            };
            let (eto, rain) = (cell("eto"), cell("rain"));
            any |= eto.is_some() || rain.is_some();
            let quoted = name.replace('"', "'");
            rows += &format!(
                "\"{quoted}\",{month},{},{}\n",
                eto.unwrap_or_default(),
                rain.unwrap_or_default()
            );
        }
        match seen.iter().find(|(known, _)| *known == name) {
            Some((_, known)) if *known != rows => {
                let found = format!("zone `{name}` stands twice with different months");
                return Err(Issue::new(Code::CL08, found)
                    .in_file(source.name())
                    .at_feature(feature.number));
            }
            Some(_) => {}
            None => {
                text += &rows;
                seen.push((name, rows));
            }
        }
    }
    if !any {
        return Ok(None);
    }
    YearClimate::parse_table(&text, source.name()).map(Some)
}
