//! GeoJSON (RFC 7946): longitude and latitude, right-hand rule, no `crs` member.

use std::io::{self, Write};
use std::marker::PhantomData;

use super::files::{Format, Sink};
use super::{Geometry, Layer, text};
use crate::site::LonLatPolygon;

/// Decimals of a coordinate that this program has chosen: about a millimetre.
const DRAWN_DECIMALS: usize = 8;

/// Writes a layer as a feature collection, one feature a line.
pub struct GeoJson<L: Layer> {
    sink: Sink,
    rows: u64,
    layer: PhantomData<L>,
}

impl<L: Layer> GeoJson<L> {
    /// Begins the collection.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn begin(mut sink: Sink) -> io::Result<GeoJson<L>> {
        sink.write_all(b"{\"type\":\"FeatureCollection\",\"features\":[")?;
        Ok(GeoJson {
            sink,
            rows: 0,
            layer: PhantomData,
        })
    }
}

impl<L: Layer> Format<L> for GeoJson<L> {
    fn row(&mut self, row: &L::Row<'_>) -> io::Result<()> {
        let mut line = String::with_capacity(1024);
        line.push_str(if self.rows == 0 { "\n" } else { ",\n" });
        line.push_str("{\"type\":\"Feature\",\"properties\":{");
        for (at, column) in L::COLUMNS.iter().enumerate() {
            if at > 0 {
                line.push(',');
            }
            line.push_str(&text::json_string(column.facts.name));
            line.push(':');
            line.push_str(&column.json(row));
        }
        line.push_str("},\"geometry\":");
        line.push_str(&geometry(&L::geometry(row)).unwrap_or_else(|| "null".to_owned()));
        line.push('}');
        self.rows += 1;
        self.sink.write_all(line.as_bytes())
    }

    fn finish(mut self: Box<Self>) -> io::Result<()> {
        self.sink.write_all(b"\n]}\n")?;
        self.sink.finish()
    }
}

/// A geometry as text; `None` when there is none or a coordinate is not finite.
fn geometry(geometry: &Geometry) -> Option<String> {
    let drawn = |value: f64| text::rounded(value, DRAWN_DECIMALS);
    match geometry {
        Geometry::None => None,
        Geometry::Point(lon, lat) => {
            let lon = if *lon > 180.0 {
                lon - 360.0
            } else if *lon < -180.0 {
                lon + 360.0
            } else {
                *lon
            };
            Some(format!(
                "{{\"type\":\"Point\",\"coordinates\":[{},{}]}}",
                drawn(lon)?,
                drawn(*lat)?
            ))
        }
        Geometry::Drawn(polygon) => Some(of_polygon(&rings(polygon, drawn)?)),
        Geometry::Given(polygons) => match polygons.as_slice() {
            [] => None,
            [only] => Some(of_polygon(&rings(only, text::shortest)?)),
            several => {
                let parts: Option<Vec<String>> = several
                    .iter()
                    .map(|polygon| rings(polygon, text::shortest))
                    .collect();
                Some(format!(
                    "{{\"type\":\"MultiPolygon\",\"coordinates\":[{}]}}",
                    parts?.join(",")
                ))
            }
        },
    }
}

fn of_polygon(rings: &str) -> String {
    format!("{{\"type\":\"Polygon\",\"coordinates\":{rings}}}")
}

/// The rings of a polygon, the outer one counter-clockwise and holes clockwise.
fn rings(polygon: &LonLatPolygon, number: impl Fn(f64) -> Option<String>) -> Option<String> {
    let mut texts = vec![ring(polygon.exterior(), 1.0, &number)?];
    for hole in polygon.interiors() {
        texts.push(ring(hole, -1.0, &number)?);
    }
    Some(format!("[{}]", texts.join(",")))
}

fn ring(
    line: &geo::LineString<f64>,
    sign: f64,
    number: impl Fn(f64) -> Option<String>,
) -> Option<String> {
    let mut positions = Vec::with_capacity(line.0.len());
    for position in line.coords() {
        positions.push(format!("[{},{}]", number(position.x)?, number(position.y)?));
    }
    if doubled_area(line) * sign < 0.0 {
        positions.reverse();
    }
    Some(format!("[{}]", positions.join(",")))
}

/// Twice the signed area about the ring's first position, so that small rings far from the origin
/// keep their sign.
fn doubled_area(line: &geo::LineString<f64>) -> f64 {
    let Some(origin) = line.coords().next() else {
        return 0.0;
    };
    line.lines()
        .map(|side| {
            (side.start.x - origin.x) * (side.end.y - origin.y)
                - (side.end.x - origin.x) * (side.start.y - origin.y)
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn polygon(outer: &[(f64, f64)], hole: &[(f64, f64)]) -> LonLatPolygon {
        geo::Polygon::new(outer.to_vec().into(), vec![hole.to_vec().into()])
    }

    #[test]
    fn rings_are_closed_and_follow_the_right_hand_rule() {
        let clockwise = [(0.0, 0.0), (0.0, 3.0), (3.0, 3.0), (3.0, 0.0)];
        let counter = [(1.0, 1.0), (2.0, 1.0), (2.0, 2.0)];
        let text = geometry(&Geometry::Given(vec![polygon(&clockwise, &counter)])).unwrap();
        assert_eq!(
            text,
            "{\"type\":\"Polygon\",\"coordinates\":[[[0,0],[3,0],[3,3],[0,3],[0,0]],\
             [[1,1],[2,2],[2,1],[1,1]]]}"
        );
    }

    #[test]
    fn given_coordinates_keep_every_bit_and_drawn_ones_have_eight_decimals() {
        let lon = -77.165_432_198_765_43;
        let corners = [(lon, 39.0), (lon + 1e-3, 39.0), (lon, 39.001)];
        let polygon = geo::Polygon::new(corners.to_vec().into(), vec![]);
        let given = geometry(&Geometry::Given(vec![polygon.clone()])).unwrap();
        assert!(given.contains("-77.16543219876543"), "{given}");
        let drawn = geometry(&Geometry::Drawn(polygon)).unwrap();
        assert!(drawn.contains("[-77.1654322,39]"), "{drawn}");
        assert_eq!(
            geometry(&Geometry::Point(180.000_000_001, 10.0)).unwrap(),
            "{\"type\":\"Point\",\"coordinates\":[-180,10]}"
        );
    }

    #[test]
    fn what_is_not_finite_is_null() {
        assert_eq!(geometry(&Geometry::Point(f64::NAN, 1.0)), None);
        assert_eq!(geometry(&Geometry::Given(vec![])), None);
    }
}
