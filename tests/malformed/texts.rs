//! Small texts of GeoJSON, good and bad.

use evenfall::issue::Code;

/// A square lawn; its place and size in units of 1e-4 degrees, about 10 m.
pub fn square(x: f64, y: f64, size: f64) -> String {
    let at = |dx: f64, dy: f64| {
        format!(
            "[{:.7},{:.7}]",
            5.0 + (x + dx) * 1e-4,
            43.0 + (y + dy) * 1e-4
        )
    };
    format!(
        "[{},{},{},{},{}]",
        at(0.0, 0.0),
        at(size, 0.0),
        at(size, size),
        at(0.0, size),
        at(0.0, 0.0)
    )
}

pub fn polygon(rings: &[&str]) -> String {
    format!(
        r#"{{"type":"Polygon","coordinates":[{}]}}"#,
        rings.join(",")
    )
}

pub fn feature(properties: &str, geometry: &str) -> String {
    format!(r#"{{"type":"Feature","properties":{{{properties}}},"geometry":{geometry}}}"#)
}

pub fn good(x: f64, properties: &str) -> String {
    feature(properties, &polygon(&[&square(x, 0.0, 2.0)]))
}

pub fn collection(features: &[String]) -> String {
    format!(
        r#"{{"type":"FeatureCollection","features":[{}]}}"#,
        features.join(",\n")
    )
}

/// A collection with this geometry between two good lawns, numbered 1 and 3.
pub fn among(geometry: &str) -> String {
    collection(&[good(0.0, ""), feature("", geometry), good(8.0, "")])
}

pub fn ring(points: &[(f64, f64)]) -> String {
    let at: Vec<String> = points
        .iter()
        .map(|(x, y)| format!("[{:.9},{:.9}]", 5.0 + x * 1e-4, 43.0 + y * 1e-4))
        .collect();
    format!("[{}]", at.join(","))
}

/// Brackets in brackets about a number.
pub fn nested(levels: usize) -> String {
    format!("{}1{}", "[".repeat(levels), "]".repeat(levels))
}

/// A feature at a point; the place in units of 1e-4 degrees.
pub fn point(x: f64, y: f64, properties: &str) -> String {
    let at = format!("[{:.7},{:.7}]", 5.0 + x * 1e-4, 43.0 + y * 1e-4);
    feature(
        properties,
        &format!(r#"{{"type":"Point","coordinates":{at}}}"#),
    )
}

/// Defects that any layer of features can have as a whole: what, how it reads, and its code.
pub fn broken_layers(sound: &str) -> Vec<(&'static str, Vec<u8>, Code)> {
    let crs = |name: &str| {
        let member = format!(r#"{{"type":"name","properties":{{"name":"{name}"}}}}"#);
        sound.replacen('{', &format!(r#"{{"crs":{member},"#), 1)
    };
    let unknown = if cfg!(feature = "system-gis") {
        Code::CR02
    } else {
        Code::CR04
    };
    [
        ("an empty file", String::new(), Code::IN03),
        ("not JSON", "heads, walls".to_owned(), Code::IN03),
        ("cut off", sound[..sound.len() - 20].to_owned(), Code::IN03),
        (
            "JSON of something else",
            r#"{"a":1}"#.to_owned(),
            Code::IN02,
        ),
        ("an unknown system", crs("EPSG:999999"), unknown),
    ]
    .map(|(what, text, code)| (what, text.into_bytes(), code))
    .to_vec()
}

/// The columns of a feature of which everything is known, but for one that is given another value.
pub fn known_but(known: &[(&str, &str)], column: &str, value: &str) -> String {
    let cells: Vec<String> = known
        .iter()
        .map(|(name, sound)| {
            let value = if *name == column { value } else { sound };
            format!("\"{name}\":{value}")
        })
        .collect();
    cells.join(",")
}
