//! Well-known binary to shapes: little- or big-endian, in the standard's and in the extended numbering
//! of kinds. Heights and measures are passed over, as in GeoJSON.
//!
//! # References
//! - Open Geospatial Consortium, *OpenGIS Implementation Standard for Geographic information –
//!   Simple feature access – Part 1* (OGC 06-103r4), 2011, clause 8.
//! - PostGIS contributors, *Extended WKB*, `doc/ZMSgeoms.txt`: flags of height, measure and system
//!   in the four highest bits of the kind.

use geo::Coord;

use super::feature::Shape;
use super::rings;
use crate::crs::Crs;
use crate::issue::{Code, Issue};

/// Deepest nesting of a geometry in collections.
const MOST_LEVELS: usize = 32;
/// Extended kinds: a height, a measure, a number of the reference system.
const HAS_HEIGHT: u32 = 0x8000_0000;
const HAS_MEASURE: u32 = 0x4000_0000;
const HAS_SYSTEM: u32 = 0x2000_0000;
/// The number of longitude and latitude on WGS 84 in the EPSG register; 0 says nothing.
const LON_LAT: [u32; 2] = [0, 4326];

/// What was drawn, with what was mended added to the notes.
///
/// # Errors
/// `GE13` for bytes that are not well-known binary, and `GE01`, `GE02`, `GE06`, `GE12`, `CR03` as for
/// other formats; what is wrong with one polygon is in the shape.
pub(super) fn shape(bytes: &[u8], crs: &Crs, notes: &mut Vec<Issue>) -> Result<Shape, Issue> {
    let mut reader = Reader {
        bytes,
        at: 0,
        areas: Vec::new(),
    };
    let point = reader.geometry(crs, notes, 0)?;
    if reader.at < bytes.len() {
        let left = bytes.len() - reader.at;
        return Err(broken(format!("{left} bytes follow the geometry")));
    }
    match (point, reader.areas) {
        (Some(at), _) if at.x.is_nan() && at.y.is_nan() => {
            Err(Issue::new(Code::GE01, "the point is empty"))
        }
        (Some(at), _) => Ok(Shape::Point(rings::point(at, crs)?)),
        (None, areas) if areas.is_empty() => Err(Issue::new(Code::GE01, "the geometry is empty")),
        (None, areas) => Ok(Shape::Areas(areas)),
    }
}

fn broken(found: impl Into<String>) -> Issue {
    Issue::new(Code::GE13, found)
}

struct Reader<'b> {
    bytes: &'b [u8],
    at: usize,
    areas: Vec<Result<geo::Polygon<f64>, Issue>>,
}

/// How the numbers of a geometry are written.
#[derive(Clone, Copy)]
struct Form {
    is_little: bool,
    /// Numbers of a position: 2 to 4.
    ordinates: usize,
}

impl Reader<'_> {
    /// Reads one geometry: a point by itself is given back, polygons are gathered.
    fn geometry(
        &mut self,
        crs: &Crs,
        notes: &mut Vec<Issue>,
        depth: usize,
    ) -> Result<Option<Coord<f64>>, Issue> {
        if depth > MOST_LEVELS {
            let found = format!("nested deeper than {MOST_LEVELS}");
            return Err(Issue::new(Code::GE12, found));
        }
        let (kind, form) = self.begin()?;
        match kind {
            1 if depth == 0 => self.position(form).map(Some),
            3 => {
                let rings = self.polygon(form)?;
                if !rings.is_empty() {
                    let drawn = rings::polygon(rings, crs);
                    self.areas.push(drawn.map(|(polygon, mended)| {
                        notes.extend(mended);
                        polygon
                    }));
                }
                Ok(None)
            }
            6 | 7 => {
                // Each part has at least its order and its kind.
                for _ in 0..self.count(form, 5)? {
                    self.geometry(crs, notes, depth + 1)?;
                }
                Ok(None)
            }
            1 | 2 | 4 | 5 => {
                let name = ["Point", "LineString", "", "MultiPoint", "MultiLineString"];
                let found = format!("a {}", name[kind as usize - 1]); // kind is 1, 2, 4 or 5
                Err(Issue::new(Code::GE02, found))
            }
            8..=17 => Err(broken(format!(
                "kind {kind}, a curve or a surface; give polygons with straight sides"
            ))),
            _ => Err(broken(format!("{kind} is no kind of geometry"))),
        }
    }

    /// Reads order, kind and, in the extended form, the number of the system.
    fn begin(&mut self) -> Result<(u32, Form), Issue> {
        let is_little = match self.take(1)? {
            [0] => false,
            [1] => true,
            other => return Err(broken(format!("byte order {}", other[0]))),
        };
        let form = Form {
            is_little,
            ordinates: 2,
        };
        let flagged = self.whole(form)?;
        if flagged & HAS_SYSTEM != 0 {
            let system = self.whole(form)?;
            if !LON_LAT.contains(&system) {
                let found = format!("the geometry is in system {system}, not in 4326");
                return Err(broken(found));
            }
        }
        let kind = flagged & !(HAS_HEIGHT | HAS_MEASURE | HAS_SYSTEM);
        // The standard adds 1000 for a height, 2000 for a measure, 3000 for both.
        let more = match kind / 1000 {
            0 => usize::from(flagged & HAS_HEIGHT != 0) + usize::from(flagged & HAS_MEASURE != 0),
            1 | 2 => 1,
            3 => 2,
            _ => return Err(broken(format!("{kind} is no kind of geometry"))),
        };
        let form = Form {
            is_little,
            ordinates: 2 + more,
        };
        Ok((kind % 1000, form))
    }

    fn polygon(&mut self, form: Form) -> Result<Vec<Vec<Coord<f64>>>, Issue> {
        let mut rings = Vec::new();
        for _ in 0..self.count(form, 4)? {
            let points = self.count(form, 8 * form.ordinates)?;
            let ring = (0..points).map(|_| self.position(form));
            rings.push(ring.collect::<Result<_, _>>()?);
        }
        Ok(rings)
    }

    fn position(&mut self, form: Form) -> Result<Coord<f64>, Issue> {
        let (x, y) = (self.number(form)?, self.number(form)?);
        self.take(8 * (form.ordinates - 2))?;
        Ok(Coord { x, y })
    }

    /// A count of things of which each takes so many bytes or more; what is left must hold them.
    fn count(&mut self, form: Form, least_bytes: usize) -> Result<usize, Issue> {
        let count = self.whole(form)? as usize;
        let left = self.bytes.len() - self.at;
        if count > left / least_bytes {
            return Err(broken(format!(
                "{count} parts do not fit into {left} bytes"
            )));
        }
        Ok(count)
    }

    fn whole(&mut self, form: Form) -> Result<u32, Issue> {
        let mut raw = [0; 4];
        raw.copy_from_slice(self.take(4)?);
        Ok(if form.is_little {
            u32::from_le_bytes(raw)
        } else {
            u32::from_be_bytes(raw)
        })
    }

    fn number(&mut self, form: Form) -> Result<f64, Issue> {
        let mut raw = [0; 8];
        raw.copy_from_slice(self.take(8)?);
        Ok(if form.is_little {
            f64::from_le_bytes(raw)
        } else {
            f64::from_be_bytes(raw)
        })
    }

    fn take(&mut self, count: usize) -> Result<&[u8], Issue> {
        let taken = self.bytes.get(self.at..self.at + count);
        self.at += count;
        taken.ok_or_else(|| broken(format!("it ends after {} bytes", self.bytes.len())))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bytes(hex: &str) -> Vec<u8> {
        let hex: Vec<u8> = hex.bytes().filter(|byte| *byte != b' ').collect();
        let byte = |pair: &[u8]| u8::from_str_radix(std::str::from_utf8(pair).unwrap(), 16);
        hex.chunks(2).map(|pair| byte(pair).unwrap()).collect()
    }

    fn read(bytes: &[u8]) -> Result<Shape, Code> {
        shape(bytes, &Crs::LonLat, &mut Vec::new()).map_err(|issue| issue.code)
    }

    /// A triangle in any order, kind and number of ordinates.
    fn triangle(kind: u32, ordinates: usize, is_little: bool) -> Vec<u8> {
        let mut out = vec![u8::from(is_little)];
        let whole = |out: &mut Vec<u8>, value: u32| {
            out.extend(if is_little {
                value.to_le_bytes()
            } else {
                value.to_be_bytes()
            });
        };
        whole(&mut out, kind);
        if kind & HAS_SYSTEM != 0 {
            whole(&mut out, 4326);
        }
        whole(&mut out, 1);
        whole(&mut out, 4);
        for at in [[0.0, 0.0], [2.0, 0.0], [0.0, 1.0], [0.0, 0.0]] {
            for ordinate in 0..ordinates {
                let value: f64 = at.get(ordinate).copied().unwrap_or(77.0);
                out.extend(if is_little {
                    value.to_le_bytes()
                } else {
                    value.to_be_bytes()
                });
            }
        }
        out
    }

    /// The bytes of `POINT(2 4)` put together by hand after clause 8.2.
    #[test]
    fn a_point_is_order_kind_and_two_doubles() {
        for hex in [
            "01 01000000 0000000000000040 0000000000001040",
            "00 00000001 4000000000000000 4010000000000000",
            "01 E9030000 0000000000000040 0000000000001040 0000000000001440",
            "01 010000A0 E6100000 0000000000000040 0000000000001040 0000000000001440",
        ] {
            match read(&bytes(hex)) {
                Ok(Shape::Point(at)) => assert_eq!((at.x(), at.y()), (2.0, 4.0), "{hex}"),
                other => panic!("{hex}: {other:?}"),
            }
        }
        let empty = "01 01000000 000000000000F87F 000000000000F87F";
        assert_eq!(read(&bytes(empty)).unwrap_err(), Code::GE01);
    }

    #[test]
    fn heights_and_measures_are_passed_over() {
        let forms = [
            (3, 2),
            (1003, 3),
            (2003, 3),
            (3003, 4),
            (3 | HAS_HEIGHT, 3),
            (3 | HAS_MEASURE, 3),
            (3 | HAS_HEIGHT | HAS_MEASURE, 4),
            (3 | HAS_HEIGHT | HAS_SYSTEM, 3),
        ];
        for (kind, ordinates) in forms {
            for is_little in [true, false] {
                let read = read(&triangle(kind, ordinates, is_little));
                let Ok(Shape::Areas(areas)) = read else {
                    panic!("{kind}: {read:?}")
                };
                let ring = areas[0].as_ref().unwrap().exterior();
                assert_eq!(ring.0.len(), 4, "{kind}");
                assert_eq!((ring.0[1].x, ring.0[2].y), (2.0, 1.0), "{kind}");
            }
        }
    }

    #[test]
    fn parts_are_found_wherever_they_are_wrapped() {
        let one = triangle(3, 2, true);
        let mut multi = bytes("01 06000000 02000000");
        multi.extend(one.iter().chain(&one));
        let mut nested = bytes("00 00000007 00000002");
        nested.extend(one.iter().chain(&multi));
        for (wrapped, parts) in [(multi, 2), (nested, 3)] {
            match read(&wrapped) {
                Ok(Shape::Areas(areas)) => assert_eq!(areas.len(), parts),
                other => panic!("{other:?}"),
            }
        }
    }

    #[test]
    fn what_is_not_well_known_binary_has_its_code() {
        let mut longer = triangle(3, 2, true);
        longer.push(0);
        let mut deep = bytes("01 07000000 01000000").repeat(40);
        deep.extend(triangle(3, 2, true));
        let mut collected = bytes("01 07000000 01000000");
        collected.extend(bytes("01 01000000 0000000000000040 0000000000001040"));
        let table = [
            (vec![], Code::GE13),
            (b"POLYGON ((0 0, 1 0, 1 1, 0 0))".to_vec(), Code::GE13),
            (bytes("02 03000000"), Code::GE13),
            (bytes("01 63000000"), Code::GE13),
            (bytes("01 0A000000 00000000"), Code::GE13),
            // Four thousand million rings in no bytes.
            (bytes("01 03000000 FFFFFFFF"), Code::GE13),
            (bytes("01 03000020 6A080000 00000000"), Code::GE13),
            (longer, Code::GE13),
            (bytes("01 03000000 00000000"), Code::GE01),
            (bytes("01 07000000 00000000"), Code::GE01),
            (bytes("01 02000000 00000000"), Code::GE02),
            (collected, Code::GE02),
            (deep, Code::GE12),
        ];
        for (bytes, code) in table {
            assert_eq!(read(&bytes).unwrap_err(), code, "{bytes:02x?}");
        }
        let whole = triangle(3, 2, true);
        for length in 0..whole.len() {
            assert_eq!(read(&whole[..length]).unwrap_err(), Code::GE13, "{length}");
        }
    }
}
