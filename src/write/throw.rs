//! What the layers say of a throw: its ground as a polygon on the globe, its words.

use crate::catalogue::StripKind;
use crate::crs::Frame;
use crate::shape::Point;
use crate::site::LonLatPolygon;

/// A ring of the frame as a polygon in longitude and latitude.
#[must_use]
pub fn polygon(frame: &Frame, ring: &[Point]) -> LonLatPolygon {
    let exterior = ring
        .iter()
        .map(|&point| frame.to_lonlat(point))
        .collect::<Vec<(f64, f64)>>();
    geo::Polygon::new(exterior.into(), Vec::new())
}

/// The word of a strip's kind.
#[must_use]
pub fn strip_word(kind: StripKind) -> &'static str {
    match kind {
        StripKind::End => "end",
        StripKind::Side => "side",
        StripKind::Centre => "centre",
    }
}
