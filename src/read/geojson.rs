//! One GeoJSON text to one feature (RFC 7946).

use geo::Coord;
use serde_json::{Map, Value};

use super::feature::{Feature, Shape};
use super::rings;
use crate::crs::Crs;
use crate::issue::{Code, Issue};
use crate::site::{Attribute, Attributes};

/// Largest whole number that a float holds exactly.
const MOST_EXACT: u64 = 1 << 53;

/// Why a text is not a value.
#[derive(Debug)]
pub(super) enum Malformed {
    /// It is not JSON; the place is relative to the start of the text, 1-based.
    Json {
        what: String,
        line: u64,
        column: u64,
    },
    /// It is JSON with a number that no float holds, or with bytes that are not UTF-8.
    Content(Issue),
}

/// Reads a text as a JSON value. Bare `NaN` and `Infinity`, which some programs write, become
/// null, so that they spoil one coordinate and not the file.
pub(super) fn value(text: &[u8]) -> Result<Value, Malformed> {
    let fault = match serde_json::from_slice(text) {
        Ok(value) => return Ok(value),
        Err(fault) => fault,
    };
    if std::str::from_utf8(text).is_err() {
        return Err(Malformed::Content(Issue::new(
            Code::GE11,
            "the text is not UTF-8",
        )));
    }
    if fault.to_string().starts_with("recursion limit") {
        return Err(Malformed::Content(Issue::new(
            Code::GE12,
            "nested deeper than 128",
        )));
    }
    if fault.to_string().starts_with("number out of range") {
        return Err(Malformed::Content(Issue::new(
            Code::GE06,
            "a number is out of range",
        )));
    }
    if let Some(mended) = without_bare_words(text)
        && let Ok(value) = serde_json::from_slice(&mended)
    {
        return Ok(value);
    }
    let what = fault.to_string();
    let what = what.split(" at line ").next().unwrap_or(&what).to_owned();
    Err(Malformed::Json {
        what,
        line: fault.line() as u64,
        column: fault.column() as u64,
    })
}

/// The text with `NaN`, `Infinity` and `-Infinity` outside strings replaced by null; `None` if
/// there are none.
fn without_bare_words(text: &[u8]) -> Option<Vec<u8>> {
    const WORDS: [&[u8]; 4] = [b"-Infinity", b"Infinity", b"NaN", b"nan"];
    let mut mended = Vec::with_capacity(text.len());
    let (mut at, mut in_string, mut found) = (0, false, false);
    while at < text.len() {
        let rest = &text[at..];
        if !in_string && let Some(word) = WORDS.iter().find(|word| rest.starts_with(word)) {
            mended.extend_from_slice(b"null");
            at += word.len();
            found = true;
            continue;
        }
        if in_string && rest[0] == b'\\' && rest.len() > 1 {
            mended.extend_from_slice(&rest[..2]);
            at += 2;
            continue;
        }
        in_string ^= rest[0] == b'"';
        mended.push(rest[0]);
        at += 1;
    }
    found.then_some(mended)
}

/// Whether a text may stand by itself as a feature: a feature, or a bare geometry.
pub(super) fn is_feature_or_geometry(value: &Value) -> bool {
    matches!(
        type_of(value),
        Some(
            "Feature"
                | "Polygon"
                | "MultiPolygon"
                | "GeometryCollection"
                | "Point"
                | "MultiPoint"
                | "LineString"
                | "MultiLineString"
        )
    )
}

/// The `type` member.
pub(super) fn type_of(value: &Value) -> Option<&str> {
    value.get("type").and_then(Value::as_str)
}

/// Makes a feature of a value that is a feature or a bare geometry.
pub(super) fn feature(value: &Value, number: u64, locator: u64, crs: &Crs) -> Feature {
    let mut notes = Vec::new();
    if type_of(value) != Some("Feature") {
        let shape = shape(value, crs, &mut notes);
        return Feature {
            shape,
            notes,
            ..Feature::bad(number, locator, unread())
        };
    }
    let id = match value.get("id") {
        None | Some(Value::Null) => None,
        Some(Value::String(text)) => Some(text.clone()),
        Some(Value::Number(number)) => Some(number_as_attribute(number).text()),
        Some(_) => {
            notes.push(Issue::new(
                Code::IN11,
                "the id of the feature is no text and no number",
            ));
            None
        }
    };
    let (attributes, broken) = match value.get("properties") {
        None | Some(Value::Null) => (Attributes::default(), None),
        Some(Value::Object(properties)) => (attributes(properties), None),
        Some(_) => {
            let broken = Issue::new(Code::GE11, "`properties` is not an object");
            (Attributes::default(), Some(broken))
        }
    };
    let shape = match (broken, value.get("geometry")) {
        (Some(broken), _) => Err(broken),
        (None, None | Some(Value::Null)) => Err(Issue::new(Code::GE01, "`geometry` is null")),
        (None, Some(geometry)) => shape(geometry, crs, &mut notes),
    };
    Feature {
        number,
        locator,
        id,
        attributes,
        shape,
        notes,
        selected: true,
    }
}

fn unread() -> Issue {
    Issue::new(Code::GE01, "")
}

fn attributes(properties: &Map<String, Value>) -> Attributes {
    let attribute = |value: &Value| match value {
        Value::Null => None,
        Value::Bool(yes) => Some(Attribute::Bool(*yes)),
        Value::Number(number) => Some(number_as_attribute(number)),
        Value::String(text) => Some(Attribute::Text(text.clone())),
        Value::Array(_) | Value::Object(_) => Some(Attribute::Text(value.to_string())),
    };
    Attributes(
        properties
            .iter()
            .filter_map(|(name, value)| Some((name.clone(), attribute(value)?)))
            .collect(),
    )
}

/// A number, or its digits as text where a float would change them.
fn number_as_attribute(number: &serde_json::Number) -> Attribute {
    let exact = match (number.as_u64(), number.as_i64()) {
        (Some(whole), _) => whole <= MOST_EXACT,
        (None, Some(whole)) => whole.unsigned_abs() <= MOST_EXACT,
        (None, None) => true,
    };
    match number.as_f64() {
        Some(value) if exact => Attribute::Number(value),
        _ => Attribute::Text(number.to_string()),
    }
}

fn shape(geometry: &Value, crs: &Crs, notes: &mut Vec<Issue>) -> Result<Shape, Issue> {
    if !geometry.is_object() {
        return Err(Issue::new(Code::GE11, "`geometry` is not an object"));
    }
    if type_of(geometry) == Some("Point") {
        let at = position(member(geometry, "coordinates")?)?;
        return Ok(Shape::Point(rings::point(at, crs)?));
    }
    let mut areas = Vec::new();
    // The JSON library refuses texts nested deeper than 128, so this ends.
    collect(geometry, crs, &mut areas, notes)?;
    if areas.is_empty() {
        return Err(Issue::new(Code::GE01, "the geometry is empty"));
    }
    Ok(Shape::Areas(areas))
}

fn collect(
    geometry: &Value,
    crs: &Crs,
    areas: &mut Vec<Result<geo::Polygon<f64>, Issue>>,
    notes: &mut Vec<Issue>,
) -> Result<(), Issue> {
    let mut add = |drawn: rings::Drawn| {
        areas.push(drawn.map(|(polygon, mended)| {
            notes.extend(mended);
            polygon
        }));
    };
    match type_of(geometry) {
        Some("Polygon") => {
            let coordinates = array(member(geometry, "coordinates")?)?;
            if !coordinates.is_empty() {
                add(polygon(coordinates, crs)?);
            }
        }
        Some("MultiPolygon") => {
            for part in array(member(geometry, "coordinates")?)? {
                let coordinates = array(part)?;
                if !coordinates.is_empty() {
                    add(polygon(coordinates, crs)?);
                }
            }
        }
        Some("GeometryCollection") => {
            for part in array(member(geometry, "geometries")?)? {
                collect(part, crs, areas, notes)?;
            }
        }
        Some(other @ ("Point" | "MultiPoint" | "LineString" | "MultiLineString")) => {
            return Err(Issue::new(Code::GE02, format!("a {other}")));
        }
        Some(other) => {
            return Err(Issue::new(
                Code::GE11,
                format!("`{}` is not a type", shortened(other)),
            ));
        }
        None => return Err(Issue::new(Code::GE11, "a geometry without a type")),
    }
    Ok(())
}

/// The outer result is about structure, which spoils the feature; the inner one about one
/// polygon.
fn polygon(coordinates: &[Value], crs: &Crs) -> Result<rings::Drawn, Issue> {
    let mut drawn = Vec::with_capacity(coordinates.len());
    for (index, ring) in coordinates.iter().enumerate() {
        let mut points = Vec::new();
        for (vertex, at) in array(ring)?.iter().enumerate() {
            match position(at) {
                Ok(at) => points.push(at),
                Err(issue) if issue.code == Code::GE06 => {
                    return Ok(Err(issue.at_vertex(index, vertex)));
                }
                Err(issue) => return Err(issue.at_vertex(index, vertex)),
            }
        }
        drawn.push(points);
    }
    Ok(rings::polygon(drawn, crs))
}

fn position(at: &Value) -> Result<Coord<f64>, Issue> {
    let Some([x, y, ..]) = at.as_array().map(Vec::as_slice) else {
        let found = format!("{} is not a position", shortened(&at.to_string()));
        return Err(Issue::new(Code::GE11, found));
    };
    Ok(Coord {
        x: coordinate(x)?,
        y: coordinate(y)?,
    })
}

fn coordinate(value: &Value) -> Result<f64, Issue> {
    match value {
        Value::Number(number) => Ok(number.as_f64().unwrap_or(f64::NAN)),
        Value::Null => Err(Issue::new(Code::GE06, "null")),
        other => {
            let found = format!("{} is not a number", shortened(&other.to_string()));
            Err(Issue::new(Code::GE11, found))
        }
    }
}

fn member<'a>(value: &'a Value, name: &str) -> Result<&'a Value, Issue> {
    value
        .get(name)
        .ok_or_else(|| Issue::new(Code::GE11, format!("`{name}` is missing")))
}

fn array(value: &Value) -> Result<&[Value], Issue> {
    value.as_array().map(Vec::as_slice).ok_or_else(|| {
        let found = format!("{} where an array belongs", shortened(&value.to_string()));
        Issue::new(Code::GE11, found)
    })
}

fn shortened(text: &str) -> String {
    if text.chars().count() <= 40 {
        return text.to_owned();
    }
    text.chars().take(37).chain("...".chars()).collect()
}

/// The system that a `crs` member names; GeoJSON had one before RFC 7946.
///
/// # Errors
/// `CR01` for null, which meant that none can be assumed; `CR02` or `CR04` for a system that is
/// not known here.
pub(super) fn crs(member: &Value) -> Result<Crs, Issue> {
    if member.is_null() {
        return Err(Issue::new(Code::CR01, "the `crs` member is null"));
    }
    let properties = member.get("properties");
    let name = properties
        .and_then(|found| found.get("name"))
        .and_then(Value::as_str);
    let code = properties
        .and_then(|found| found.get("code"))
        .and_then(Value::as_u64);
    match (
        type_of(member).map(str::to_ascii_lowercase).as_deref(),
        name,
        code,
    ) {
        (Some("name"), Some(name), _) => Crs::from_name(name),
        (Some("epsg"), _, Some(code)) => Crs::from_name(&format!("EPSG:{code}")),
        _ => Err(Issue::new(
            Code::CR02,
            "the `crs` member does not name a system",
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Feature {
        feature(&value(text.as_bytes()).unwrap(), 1, 0, &Crs::LonLat)
    }

    fn geometry(text: &str) -> Result<usize, Code> {
        let feature = read(&format!(
            r#"{{"type":"Feature","properties":{{}},"geometry":{text}}}"#
        ));
        feature.areas().map(<[_]>::len).map_err(|issue| issue.code)
    }

    const SQUARE: &str = "[[[0,0],[1,0],[1,1],[0,1],[0,0]]]";

    #[test]
    fn polygons_are_found_wherever_they_are_wrapped() {
        let polygon = format!(r#"{{"type":"Polygon","coordinates":{SQUARE}}}"#);
        let collection =
            |parts: &str| format!(r#"{{"type":"GeometryCollection","geometries":[{parts}]}}"#);
        assert_eq!(geometry(&polygon), Ok(1));
        let multi = format!(r#"{{"type":"MultiPolygon","coordinates":[{SQUARE},{SQUARE}]}}"#);
        assert_eq!(geometry(&multi), Ok(2));
        let nested = collection(&format!("{polygon},{}", collection(&multi)));
        assert_eq!(geometry(&nested), Ok(3));
        let mixed = collection(&format!(
            r#"{polygon},{{"type":"Point","coordinates":[1,2]}}"#
        ));
        assert_eq!(geometry(&mixed), Err(Code::GE02));
        assert_eq!(geometry(&collection("")), Err(Code::GE01));
        assert_eq!(geometry(&collection("null")), Err(Code::GE11));
        let high = r#"{"type":"Polygon","coordinates":[[[0,0,9],[1,0,9],[1,1,9,8],[0,0,9]]]}"#;
        assert_eq!(geometry(high), Ok(1));
        assert_eq!(read(&polygon).areas().unwrap().len(), 1);
    }

    #[test]
    fn ids_and_attributes_keep_their_text() {
        let feature = read(
            r#"{"type":"Feature","id":12345678901234567890,"geometry":null,
               "properties":{"a":"007","b":7.0,"c":null,"d":9007199254740993,"e":[1],"f":true}}"#,
        );
        assert_eq!(feature.id.as_deref(), Some("12345678901234567890"));
        let text = |name: &str| feature.attributes.text(name);
        assert_eq!(text("a").as_deref(), Some("007"));
        assert_eq!(text("b").as_deref(), Some("7"));
        assert_eq!(text("c"), None);
        assert_eq!(text("d").as_deref(), Some("9007199254740993"));
        assert_eq!(text("e").as_deref(), Some("[1]"));
        assert_eq!(text("f").as_deref(), Some("true"));
        assert_eq!(feature.areas().unwrap_err().code, Code::GE01);
    }

    #[test]
    fn bare_words_spoil_one_coordinate_only() {
        let text = r#"{"type":"Feature","properties":{"n":NaN,"t":"a \"NaN\" b"},
            "geometry":{"type":"MultiPolygon","coordinates":[
            [[[0,0],[1,-Infinity],[1,1],[0,0]]],[[[0,0],[1,0],[1,1],[0,0]]]]}}"#;
        let feature = read(text);
        assert_eq!(feature.attributes.0.len(), 1);
        assert_eq!(
            feature.attributes.text("t").as_deref(),
            Some(r#"a "NaN" b"#)
        );
        let areas = feature.areas().unwrap();
        let issue = areas[0].as_ref().unwrap_err();
        assert_eq!((issue.code, issue.place.vertex), (Code::GE06, Some(1)));
        assert!(areas[1].is_ok());
    }

    #[test]
    fn texts_that_are_not_json_say_where() {
        match value(b"{\n \"a\":}") {
            Err(Malformed::Json { line, column, .. }) => assert_eq!((line, column), (2, 6)),
            other => panic!("{other:?}"),
        }
        assert!(matches!(
            value(b"{\"a\":1e999}"),
            Err(Malformed::Content(Issue {
                code: Code::GE06,
                ..
            }))
        ));
        assert!(matches!(
            value(b"{\"a\":\"\xff\"}"),
            Err(Malformed::Content(Issue {
                code: Code::GE11,
                ..
            }))
        ));
    }

    #[test]
    fn the_old_crs_member_is_understood() {
        let member = |text: &str| crs(&serde_json::from_str(text).unwrap());
        let lon_lat = r#"{"type":"name","properties":{"name":"urn:ogc:def:crs:OGC:1.3:CRS84"}}"#;
        assert_eq!(member(lon_lat).unwrap(), Crs::LonLat);
        let code = r#"{"type":"EPSG","properties":{"code":4326}}"#;
        assert_eq!(member(code).unwrap(), Crs::LonLat);
        assert_eq!(member("null").unwrap_err().code, Code::CR01);
        let link = r#"{"type":"link","properties":{"href":"http://example.org/crs"}}"#;
        assert_eq!(member(link).unwrap_err().code, Code::CR02);
    }
}
