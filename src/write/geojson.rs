//! GeoJSON (RFC 7946): longitude and latitude, right-hand rule, no `crs` member.

use std::io::{self, Write};
use std::marker::PhantomData;

use super::files::{Format, Sink};
use super::layer::{Geometry, Layer};
use super::text;
use crate::site::LonLatPolygon;

/// Decimals of a coordinate that this program has chosen: about a millimetre.
const DRAWN_DECIMALS: usize = 8;

/// Writes a layer as a feature collection, one feature a line.
pub struct GeoJson<L: Layer> {
    sink: Sink,
    rows: u64,
    /// The row being made; kept for its room.
    line: String,
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
            line: String::new(),
            layer: PhantomData,
        })
    }
}

impl<L: Layer> Format<L> for GeoJson<L> {
    fn row(&mut self, row: &L::Row<'_>) -> io::Result<()> {
        let line = &mut self.line;
        line.clear();
        line.push_str(if self.rows == 0 { "\n" } else { ",\n" });
        line.push_str("{\"type\":\"Feature\",\"properties\":{");
        for (at, column) in L::COLUMNS.iter().enumerate() {
            line.push_str(if at > 0 { ",\"" } else { "\"" });
            line.push_str(column.facts.name);
            line.push_str("\":");
            column.push_json(row, line);
        }
        line.push_str("},\"geometry\":");
        push_geometry(line, &L::geometry(row));
        line.push('}');
        self.rows += 1;
        self.sink.write_all(self.line.as_bytes())
    }

    fn finish(mut self: Box<Self>) -> io::Result<()> {
        self.sink.write_all(b"\n]}\n")?;
        self.sink.finish()
    }
}

/// How a coordinate is set.
type Setter = fn(&mut String, f64) -> bool;

fn drawn(out: &mut String, value: f64) -> bool {
    text::push_rounded(out, value, DRAWN_DECIMALS)
}

/// Adds a geometry; `null` when there is none or a coordinate is not finite.
fn push_geometry(out: &mut String, geometry: &Geometry<'_>) {
    let start = out.len();
    let whole = match geometry {
        Geometry::None => false,
        Geometry::Point(lon, lat) => {
            out.push_str("{\"type\":\"Point\",\"coordinates\":");
            push_position(out, within_half_turn(*lon), *lat, drawn)
        }
        Geometry::Line(points) => {
            out.push_str("{\"type\":\"LineString\",\"coordinates\":");
            push_list(out, points.iter(), |out, (lon, lat)| {
                push_position(out, within_half_turn(*lon), *lat, drawn)
            })
        }
        Geometry::Drawn(polygon) => {
            out.push_str("{\"type\":\"Polygon\",\"coordinates\":");
            push_rings(out, polygon, drawn)
        }
        Geometry::Given([]) => false,
        Geometry::Given([only]) => {
            out.push_str("{\"type\":\"Polygon\",\"coordinates\":");
            push_rings(out, only, text::push_shortest)
        }
        Geometry::Given(several) => {
            out.push_str("{\"type\":\"MultiPolygon\",\"coordinates\":");
            push_list(out, several.iter(), |out, polygon| {
                push_rings(out, polygon, text::push_shortest)
            })
        }
    };
    if whole {
        out.push('}');
    } else {
        out.truncate(start);
        out.push_str("null");
    }
}

fn within_half_turn(lon: f64) -> f64 {
    if lon > 180.0 {
        lon - 360.0
    } else if lon < -180.0 {
        lon + 360.0
    } else {
        lon
    }
}

/// Adds the rings of a polygon, the outer one counter-clockwise and holes clockwise.
fn push_rings(out: &mut String, polygon: &LonLatPolygon, set: Setter) -> bool {
    let rings = std::iter::once((polygon.exterior(), 1.0))
        .chain(polygon.interiors().iter().map(|hole| (hole, -1.0)));
    push_list(out, rings, |out, (ring, sign)| {
        let position = |out: &mut String, at: &geo::Coord<f64>| push_position(out, at.x, at.y, set);
        if doubled_area(ring) * sign < 0.0 {
            push_list(out, ring.0.iter().rev(), position)
        } else {
            push_list(out, ring.0.iter(), position)
        }
    })
}

fn push_position(out: &mut String, lon: f64, lat: f64, set: Setter) -> bool {
    push_list(out, [lon, lat].into_iter(), set)
}

/// Adds a JSON array; false as soon as an item cannot be set.
fn push_list<T>(
    out: &mut String,
    items: impl Iterator<Item = T>,
    mut push: impl FnMut(&mut String, T) -> bool,
) -> bool {
    out.push('[');
    for (at, item) in items.enumerate() {
        if at > 0 {
            out.push(',');
        }
        if !push(out, item) {
            return false;
        }
    }
    out.push(']');
    true
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

    fn geometry(geometry: &Geometry<'_>) -> String {
        let mut text = String::new();
        push_geometry(&mut text, geometry);
        text
    }

    fn polygon(outer: &[(f64, f64)], hole: &[(f64, f64)]) -> LonLatPolygon {
        geo::Polygon::new(outer.to_vec().into(), vec![hole.to_vec().into()])
    }

    #[test]
    fn rings_are_closed_and_follow_the_right_hand_rule() {
        let clockwise = [(0.0, 0.0), (0.0, 3.0), (3.0, 3.0), (3.0, 0.0)];
        let counter = [(1.0, 1.0), (2.0, 1.0), (2.0, 2.0)];
        let text = geometry(&Geometry::Given(&[polygon(&clockwise, &counter)]));
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
        let given = geometry(&Geometry::Given(std::slice::from_ref(&polygon)));
        assert!(given.contains("-77.16543219876543"), "{given}");
        let drawn = geometry(&Geometry::Drawn(polygon));
        assert!(drawn.contains("[-77.1654322,39]"), "{drawn}");
        assert_eq!(
            geometry(&Geometry::Point(180.000_000_001, 10.0)),
            "{\"type\":\"Point\",\"coordinates\":[-180,10]}"
        );
    }

    #[test]
    fn what_is_not_finite_is_null() {
        assert_eq!(geometry(&Geometry::Point(f64::NAN, 1.0)), "null");
        assert_eq!(geometry(&Geometry::Given(&[])), "null");
    }
}
