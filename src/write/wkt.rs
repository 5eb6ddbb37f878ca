//! Geometry as well-known text, for tables that have no geometry of their own.
//!
//! # References
//! - Open Geospatial Consortium, *OpenGIS Implementation Standard for Geographic information –
//!   Simple feature access – Part 1* (OGC 06-103r4), 2011, clause 7.

use super::record::{Place, Position, Rings};
use super::text::push_shortest;

/// Adds a geometry; nothing when there is none.
pub fn push_wkt(out: &mut String, place: &Place) {
    match place {
        Place::Nowhere => {}
        Place::Point(at) => {
            out.push_str("POINT (");
            push_position(out, at);
            out.push(')');
        }
        Place::Line(points) => {
            out.push_str("LINESTRING ");
            push_list(out, points, push_position);
        }
        Place::Areas(areas) => {
            if let [only] = areas.as_slice() {
                out.push_str("POLYGON ");
                push_rings(out, only);
            } else {
                out.push_str("MULTIPOLYGON ");
                push_list(out, areas, push_rings);
            }
        }
    }
}

fn push_rings(out: &mut String, rings: &Rings) {
    push_list(out, rings, |out, ring| push_list(out, ring, push_position));
}

fn push_position(out: &mut String, &(lon, lat): &Position) {
    push_shortest(out, lon);
    out.push(' ');
    push_shortest(out, lat);
}

fn push_list<T>(out: &mut String, items: &[T], push: impl Fn(&mut String, &T)) {
    out.push('(');
    for (at, item) in items.iter().enumerate() {
        if at > 0 {
            out.push_str(", ");
        }
        push(out, item);
    }
    out.push(')');
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_kind_has_its_text() {
        let text = |place: &Place| {
            let mut out = String::new();
            push_wkt(&mut out, place);
            out
        };
        let ring = vec![(0.0, 0.0), (1.5, 0.0), (0.0, 2.0), (0.0, 0.0)];
        let one = vec![ring];
        assert_eq!(text(&Place::Point((-77.25, 39.0))), "POINT (-77.25 39)");
        assert_eq!(
            text(&Place::Line(vec![(0.0, 1.0), (2.0, 3.0)])),
            "LINESTRING (0 1, 2 3)"
        );
        assert_eq!(
            text(&Place::Areas(vec![one.clone()])),
            "POLYGON ((0 0, 1.5 0, 0 2, 0 0))"
        );
        assert_eq!(
            text(&Place::Areas(vec![one.clone(), one])),
            "MULTIPOLYGON (((0 0, 1.5 0, 0 2, 0 0)), ((0 0, 1.5 0, 0 2, 0 0)))"
        );
        assert_eq!(text(&Place::Nowhere), "");
    }
}
