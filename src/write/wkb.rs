//! Geometry as well-known binary, little-endian, and its bounds.
//!
//! # References
//! - Open Geospatial Consortium, *OpenGIS Implementation Standard for Geographic information –
//!   Simple feature access – Part 1* (OGC 06-103r4), 2011, clause 8.

use super::record::{Place, Position, Rings};

const POINT: u32 = 1;
const LINE: u32 = 2;
const POLYGON: u32 = 3;
const MULTI_POLYGON: u32 = 6;

/// How an area made of one polygon is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Areas {
    /// As a polygon, or as a multipolygon where there are more.
    AsTheyAre,
    /// Always as a multipolygon, for layers that hold one kind only.
    AlwaysMulti,
}

/// The bounds of a geometry: west, south, east, north \[degrees\].
pub type Bounds = [f64; 4];

/// The geometry as well-known binary; `None` when there is none.
#[must_use]
pub fn wkb(place: &Place, areas: Areas) -> Option<Vec<u8>> {
    let mut out = Vec::new();
    match place {
        Place::Nowhere => return None,
        Place::Point(at) => {
            begin(&mut out, POINT);
            push_position(&mut out, at);
        }
        Place::Line(points) => {
            begin(&mut out, LINE);
            push_positions(&mut out, points);
        }
        Place::Areas(polygons) => match (polygons.as_slice(), areas) {
            ([only], Areas::AsTheyAre) => push_polygon(&mut out, only),
            (polygons, _) => {
                begin(&mut out, MULTI_POLYGON);
                push_count(&mut out, polygons.len());
                for polygon in polygons {
                    push_polygon(&mut out, polygon);
                }
            }
        },
    }
    Some(out)
}

/// The bounds; `None` when there is no geometry.
#[must_use]
pub fn bounds(place: &Place) -> Option<Bounds> {
    let mut found: Option<Bounds> = None;
    let mut add = |&(lon, lat): &Position| {
        let [west, south, east, north] = found.unwrap_or([lon, lat, lon, lat]);
        found = Some([west.min(lon), south.min(lat), east.max(lon), north.max(lat)]);
    };
    match place {
        Place::Nowhere => {}
        Place::Point(at) => add(at),
        Place::Line(points) => points.iter().for_each(add),
        Place::Areas(polygons) => polygons.iter().flatten().flatten().for_each(add),
    }
    found
}

fn begin(out: &mut Vec<u8>, kind: u32) {
    const LITTLE_ENDIAN: u8 = 1;
    out.push(LITTLE_ENDIAN);
    out.extend(kind.to_le_bytes());
}

fn push_count(out: &mut Vec<u8>, count: usize) {
    // More would not fit into memory.
    out.extend(u32::try_from(count).unwrap_or(u32::MAX).to_le_bytes());
}

fn push_position(out: &mut Vec<u8>, &(lon, lat): &Position) {
    out.extend(lon.to_le_bytes());
    out.extend(lat.to_le_bytes());
}

fn push_positions(out: &mut Vec<u8>, points: &[Position]) {
    push_count(out, points.len());
    for at in points {
        push_position(out, at);
    }
}

fn push_polygon(out: &mut Vec<u8>, rings: &Rings) {
    begin(out, POLYGON);
    push_count(out, rings.len());
    for ring in rings {
        push_positions(out, ring);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hex(bytes: &[u8]) -> String {
        bytes.iter().map(|byte| format!("{byte:02X}")).collect()
    }

    /// The bytes of `POINT(2 4)` are those of clause 8.2 put together by hand: order, kind, and
    /// the two doubles.
    #[test]
    fn a_point_is_order_kind_and_two_doubles() {
        let point = wkb(&Place::Point((2.0, 4.0)), Areas::AsTheyAre).unwrap();
        assert_eq!(hex(&point), "010100000000000000000000400000000000001040");
    }

    #[test]
    fn areas_are_polygons_or_multipolygons_as_asked() {
        let ring = vec![(0.0, 0.0), (1.0, 0.0), (0.0, 2.0), (0.0, 0.0)];
        let one = Place::Areas(vec![vec![ring.clone()]]);
        let two = Place::Areas(vec![vec![ring.clone()], vec![ring]]);
        let kind = |place: &Place, areas| wkb(place, areas).unwrap()[1];
        assert_eq!(u32::from(kind(&one, Areas::AsTheyAre)), POLYGON);
        assert_eq!(u32::from(kind(&one, Areas::AlwaysMulti)), MULTI_POLYGON);
        assert_eq!(u32::from(kind(&two, Areas::AsTheyAre)), MULTI_POLYGON);
        // Order, kind, rings; order, kind, points and 4 · 2 doubles in each.
        let polygon = 1 + 4 + 4 + 4 + 64;
        assert_eq!(wkb(&one, Areas::AsTheyAre).unwrap().len(), polygon);
        assert_eq!(wkb(&two, Areas::AsTheyAre).unwrap().len(), 9 + 2 * polygon);
        assert_eq!(bounds(&two), Some([0.0, 0.0, 1.0, 2.0]));
        assert_eq!(wkb(&Place::Nowhere, Areas::AsTheyAre), None);
        assert_eq!(bounds(&Place::Nowhere), None);
    }
}
