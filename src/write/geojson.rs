//! GeoJSON (RFC 7946): longitude and latitude, right-hand rule, no `crs` member.

use std::io::{self, Write};

use super::files::Sink;
use super::record::{Place, Position, Rings, Row, Table};
use super::text;

/// Writes a table as a feature collection, one feature a line.
pub struct GeoJson {
    sink: Sink,
    rows: u64,
    /// The row being made; kept for its room.
    line: String,
}

impl GeoJson {
    /// Begins the collection.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn begin(mut sink: Sink) -> io::Result<GeoJson> {
        sink.write_all(b"{\"type\":\"FeatureCollection\",\"features\":[")?;
        Ok(GeoJson {
            sink,
            rows: 0,
            line: String::new(),
        })
    }

    /// Writes one row.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn row(&mut self, table: &Table, row: &Row) -> io::Result<()> {
        self.line.clear();
        self.line
            .push_str(if self.rows == 0 { "\n" } else { ",\n" });
        push_feature(&mut self.line, table, row);
        self.rows += 1;
        self.sink.write_all(self.line.as_bytes())
    }

    /// Ends the collection and makes sure that it is on the disk.
    ///
    /// # Errors
    /// Whatever the sink reports.
    pub fn finish(mut self) -> io::Result<()> {
        self.sink.write_all(b"\n]}\n")?;
        self.sink.finish()
    }
}

/// Adds a row as a feature.
pub fn push_feature(out: &mut String, table: &Table, row: &Row) {
    out.push_str("{\"type\":\"Feature\",\"properties\":{");
    for (at, (facts, cell)) in table.columns.iter().zip(&row.cells).enumerate() {
        out.push_str(if at > 0 { ",\"" } else { "\"" });
        out.push_str(facts.name);
        out.push_str("\":");
        facts.push_json(cell, out);
    }
    out.push_str("},\"geometry\":");
    push_place(out, &row.place);
    out.push('}');
}

/// Adds a geometry; `null` when there is none.
pub fn push_place(out: &mut String, place: &Place) {
    match place {
        Place::Nowhere => {
            out.push_str("null");
            return;
        }
        Place::Point(at) => {
            out.push_str("{\"type\":\"Point\",\"coordinates\":");
            push_position(out, at);
        }
        Place::Line(points) => {
            out.push_str("{\"type\":\"LineString\",\"coordinates\":");
            push_list(out, points, push_position);
        }
        Place::Areas(areas) => {
            if let [only] = areas.as_slice() {
                out.push_str("{\"type\":\"Polygon\",\"coordinates\":");
                push_rings(out, only);
            } else {
                out.push_str("{\"type\":\"MultiPolygon\",\"coordinates\":");
                push_list(out, areas, push_rings);
            }
        }
    }
    out.push('}');
}

fn push_rings(out: &mut String, rings: &Rings) {
    push_list(out, rings, |out, ring| push_list(out, ring, push_position));
}

fn push_position(out: &mut String, &(lon, lat): &Position) {
    out.push('[');
    text::push_shortest(out, lon);
    out.push(',');
    text::push_shortest(out, lat);
    out.push(']');
}

fn push_list<T>(out: &mut String, items: &[T], push: impl Fn(&mut String, &T)) {
    out.push('[');
    for (at, item) in items.iter().enumerate() {
        if at > 0 {
            out.push(',');
        }
        push(out, item);
    }
    out.push(']');
}

#[cfg(test)]
mod tests {
    use super::super::layer::Geometry;
    use super::*;
    use crate::site::LonLatPolygon;

    fn geometry(geometry: &Geometry<'_>) -> String {
        let mut text = String::new();
        push_place(&mut text, &Place::of(geometry));
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
