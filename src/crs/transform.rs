//! Coordinates of any registered system to WGS 84 longitude and latitude.
//!
//! The transform is the one inside the system's GDAL, so the process holds one PROJ. Creating a
//! transform costs milliseconds and it must stay in its thread: each thread keeps the transforms
//! that it has made, by the definition of the system.

#![cfg_attr(test, allow(clippy::unwrap_used, reason = "a test fails by panicking"))]
#![allow(
    clippy::result_large_err,
    reason = "an issue is made once a layer, or once a feature that fails"
)]

use crate::issue::{Code, Issue};

#[cfg(feature = "system-gis")]
pub(crate) use registered::listen_to_gdal;
#[cfg(feature = "system-gis")]
pub(crate) use registered::take_gdal_complaint;

/// Names by which a GeoJSON `crs` member says longitude and latitude on WGS 84.
const LON_LAT_NAMES: [&str; 6] = [
    "urn:ogc:def:crs:ogc:1.3:crs84",
    "urn:ogc:def:crs:ogc::crs84",
    "ogc:crs84",
    "crs84",
    "urn:ogc:def:crs:epsg::4326",
    "epsg:4326",
];

/// The coordinate reference system of a layer.
#[derive(Debug, Clone, PartialEq)]
pub enum Crs {
    /// Longitude and latitude on WGS 84, in degrees, in this order.
    LonLat,
    /// Any other system that the system's PROJ knows.
    #[cfg(feature = "system-gis")]
    Registered(registered::Registered),
}

impl Crs {
    /// Finds a system by its name, for instance `EPSG:2154` or `urn:ogc:def:crs:EPSG::2154`.
    ///
    /// # Errors
    /// `CR02` if the name is not known; `CR04` in a build without GDAL for anything but
    /// longitude and latitude.
    pub fn from_name(name: &str) -> Result<Crs, Issue> {
        if LON_LAT_NAMES.contains(&name.trim().to_ascii_lowercase().as_str()) {
            return Ok(Crs::LonLat);
        }
        Crs::registered(name.trim())
    }

    #[cfg(feature = "system-gis")]
    fn registered(name: &str) -> Result<Crs, Issue> {
        // `SetFromUserInput` would also follow addresses and read files.
        let looks_like_a_name = name.len() < 100
            && name
                .chars()
                .all(|c| c.is_ascii_alphanumeric() || matches!(c, ':' | '.' | '_' | '-'));
        if !looks_like_a_name {
            return Err(Issue::new(
                Code::CR02,
                format!("`{name}` is not the name of a system"),
            ));
        }
        listen_to_gdal();
        let reference = gdal::spatial_ref::SpatialRef::from_definition(name)
            .map_err(|_| Issue::new(Code::CR02, format!("`{name}` is not in the register")))?;
        registered::recognise(reference)
    }

    #[cfg(not(feature = "system-gis"))]
    fn registered(name: &str) -> Result<Crs, Issue> {
        Err(Issue::new(Code::CR04, format!("the layer is in `{name}`")))
    }

    /// Takes the system that GDAL found in a layer.
    ///
    /// # Errors
    /// `CR01` if it says that the system is undefined, `CR02` if it cannot be transformed.
    #[cfg(feature = "system-gis")]
    pub fn from_reference(reference: gdal::spatial_ref::SpatialRef) -> Result<Crs, Issue> {
        listen_to_gdal();
        registered::recognise(reference)
    }

    /// The name of the system.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Crs::LonLat => "WGS 84 longitude and latitude",
            #[cfg(feature = "system-gis")]
            Crs::Registered(registered) => registered.name(),
        }
    }

    /// Transforms coordinates to longitude and latitude \[degrees\] in place. Those that are in
    /// longitude and latitude already come back bit for bit.
    ///
    /// # Errors
    /// `CR03` if a coordinate lies outside the range of the system; the slices are then in an
    /// undefined state.
    pub fn to_lon_lat(&self, x: &mut [f64], y: &mut [f64]) -> Result<(), Issue> {
        #[cfg(feature = "system-gis")]
        if let Crs::Registered(registered) = self {
            registered.to_lon_lat(x, y)?;
        }
        for (lon_deg, lat_deg) in x.iter().zip(y.iter()) {
            if !(lon_deg.abs() <= 180.0 && lat_deg.abs() <= 90.0) {
                return Err(Issue::new(
                    Code::CR03,
                    format!(
                        "({lon_deg}, {lat_deg}) is not a longitude within ±180 and a latitude \
                         within ±90"
                    ),
                ));
            }
        }
        Ok(())
    }
}

#[cfg(feature = "system-gis")]
impl Crs {
    /// Whether its coordinates are lengths, not degrees.
    pub(crate) fn is_projected(&self) -> bool {
        match self {
            Crs::LonLat => false,
            Crs::Registered(registered) => registered.is_projected(),
        }
    }

    /// Transforms longitude and latitude [degrees] to the coordinates of the system, in place.
    ///
    /// # Errors
    /// `CR03` for what the system cannot hold.
    pub(crate) fn lon_lat_to(&self, x: &mut [f64], y: &mut [f64]) -> Result<(), Issue> {
        match self {
            Crs::LonLat => Ok(()),
            Crs::Registered(registered) => registered.lon_lat_to(x, y),
        }
    }
}

#[cfg(feature = "system-gis")]
mod registered {
    use std::cell::RefCell;
    use std::collections::BTreeMap;
    use std::rc::Rc;
    use std::sync::{Arc, OnceLock};

    use gdal::spatial_ref::{AxisMappingStrategy, CoordTransform, SpatialRef};

    use super::Crs;
    use crate::issue::{Code, Issue};

    /// Most transforms that one thread keeps; a run reads a handful of layers.
    const MOST_KEPT: usize = 32;
    /// A point may lie this far outside the area that the register gives for the system
    /// [degrees]: zones are often used a little past their edge, but not a continent away.
    const AREA_MARGIN_DEG: f64 = 10.0;
    /// How well forth and back must agree, in units of the system.
    const RETURN_PROJECTED: f64 = 1.0;
    const RETURN_GEOGRAPHIC: f64 = 1e-5;

    /// A system of the register, as text, so that it can go from thread to thread.
    #[derive(Debug, Clone, PartialEq)]
    pub struct Registered {
        wkt: Arc<str>,
        name: Arc<str>,
        projected: bool,
        /// West, south, east, north [degrees].
        area: Option<[f64; 4]>,
    }

    struct Pair {
        to_lon_lat: CoordTransform,
        back: CoordTransform,
    }

    thread_local! {
        static KEPT: RefCell<BTreeMap<Arc<str>, Rc<Pair>>> = const { RefCell::new(BTreeMap::new()) };
        static COMPLAINT: RefCell<Option<String>> = const { RefCell::new(None) };
    }

    /// Settings of GDAL under which no file that is read can make it reach for the network: the one
    /// name that may be fetched is none, and schemas of GML are not.
    const OFFLINE: [(&str, &str); 2] = [
        ("CPL_VSIL_CURL_ALLOWED_FILENAME", "nothing"),
        ("GML_DOWNLOAD_SCHEMA", "NO"),
    ];

    /// Keeps GDAL's messages off stderr, remembers the last failure of each thread, and keeps GDAL off
    /// the network.
    pub(crate) fn listen_to_gdal() {
        static LISTENING: OnceLock<()> = OnceLock::new();
        LISTENING.get_or_init(|| {
            for (name, value) in OFFLINE {
                // Names and values are text without a null character, which is all that can fail.
                let _ = gdal::config::set_config_option(name, value);
            }
            gdal::config::set_error_handler(|kind, _, message| {
                use gdal::errors::CplErrType::{Failure, Fatal};
                if matches!(kind, Failure | Fatal) {
                    let message = message.to_owned();
                    COMPLAINT.with(|last| *last.borrow_mut() = Some(message));
                }
            });
        });
    }

    /// The last failure that GDAL reported in this thread, once.
    pub(crate) fn take_gdal_complaint() -> Option<String> {
        COMPLAINT.with(|last| last.borrow_mut().take())
    }

    pub(super) fn recognise(mut reference: SpatialRef) -> Result<Crs, Issue> {
        let name = reference.name().unwrap_or_else(|| "unnamed".to_owned());
        let lowercase = name.to_ascii_lowercase();
        // GeoPackage and others write an undefined system under such a name.
        if lowercase.starts_with("undefined") || lowercase.starts_with("unknown") {
            return Err(Issue::new(
                Code::CR01,
                format!("the layer calls its system `{name}`"),
            ));
        }
        let authority = reference
            .authority()
            .or_else(|_| {
                reference
                    .auto_identify_epsg()
                    .and_then(|()| reference.authority())
            })
            .unwrap_or_default();
        let _ = take_gdal_complaint();
        if reference.is_geographic() && matches!(authority.as_str(), "EPSG:4326" | "OGC:CRS84") {
            return Ok(Crs::LonLat);
        }
        let wkt = reference
            .to_wkt()
            .map_err(|fault| Issue::new(Code::CR02, format!("`{name}`: {fault}")))?;
        let registered = Registered {
            wkt: wkt.into(),
            name: if authority.is_empty() {
                name.into()
            } else {
                format!("{authority} {name}").into()
            },
            projected: !reference.is_geographic(),
            area: reference.area_of_use().map(|area| {
                [
                    area.west_lon_degree,
                    area.south_lat_degree,
                    area.east_lon_degree,
                    area.north_lat_degree,
                ]
            }),
        };
        registered.pair()?;
        Ok(Crs::Registered(registered))
    }

    impl Registered {
        pub(super) fn name(&self) -> &str {
            &self.name
        }

        /// Whether its coordinates are lengths.
        pub(super) fn is_projected(&self) -> bool {
            self.projected
        }

        fn pair(&self) -> Result<Rc<Pair>, Issue> {
            KEPT.with(|kept| {
                let mut kept = kept.borrow_mut();
                if let Some(pair) = kept.get(&self.wkt) {
                    return Ok(Rc::clone(pair));
                }
                let pair = Rc::new(self.make().map_err(|fault| {
                    Issue::new(Code::CR02, format!("`{}`: {fault}", self.name))
                })?);
                if kept.len() >= MOST_KEPT {
                    kept.clear();
                }
                kept.insert(Arc::clone(&self.wkt), Rc::clone(&pair));
                Ok(pair)
            })
        }

        fn make(&self) -> Result<Pair, gdal::errors::GdalError> {
            let mut source = SpatialRef::from_wkt(&self.wkt)?;
            source.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
            let mut target = SpatialRef::from_epsg(4326)?;
            target.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
            Ok(Pair {
                to_lon_lat: CoordTransform::new(&source, &target)?,
                back: CoordTransform::new(&target, &source)?,
            })
        }

        pub(super) fn lon_lat_to(&self, x: &mut [f64], y: &mut [f64]) -> Result<(), Issue> {
            let found = self.pair()?.back.transform_coords(x, y, &mut []);
            let _ = take_gdal_complaint();
            let finite = || x.iter().chain(y.iter()).all(|value| value.is_finite());
            if found.is_ok() && finite() {
                Ok(())
            } else {
                let found = format!("the place lies outside the range of {}", self.name);
                Err(Issue::new(Code::CR03, found))
            }
        }

        pub(super) fn to_lon_lat(&self, x: &mut [f64], y: &mut [f64]) -> Result<(), Issue> {
            let (Some(&x0), Some(&y0)) = (x.first(), y.first()) else {
                return Ok(());
            };
            let outside =
                |what: &str| Issue::new(Code::CR03, format!("({x0}, {y0}) {what} {}", self.name));
            let pair = self.pair()?;
            pair.to_lon_lat
                .transform_coords(x, y, &mut [])
                .map_err(|_| outside("cannot be a coordinate of"))?;
            let _ = take_gdal_complaint();
            if let Some(area) = self.area {
                let (lon_deg, lat_deg) = (x[0], y[0]);
                if off_deg(area, lon_deg, lat_deg) > AREA_MARGIN_DEG {
                    return Err(outside("lies far outside the area of"));
                }
                // Degrees in a layer that claims metres land near the origin of its plane.
                let like_degrees = x0.abs() <= 180.0 && y0.abs() <= 90.0;
                if self.projected && like_degrees && off_deg(area, lon_deg, lat_deg) > 0.0 {
                    return Err(outside("looks like degrees, and lies outside the area of"));
                }
            }
            // Far outside its range a projection may wrap around to a place that looks sound.
            let (mut back_x, mut back_y) = ([x[0]], [y[0]]);
            let allowed = if self.projected {
                RETURN_PROJECTED
            } else {
                RETURN_GEOGRAPHIC
            };
            let returned = pair
                .back
                .transform_coords(&mut back_x, &mut back_y, &mut [])
                .is_ok()
                && (back_x[0] - x0).abs() <= allowed
                && (back_y[0] - y0).abs() <= allowed;
            let _ = take_gdal_complaint();
            if returned {
                Ok(())
            } else {
                Err(outside("lies outside the range of"))
            }
        }
    }

    /// How far a point lies outside a box [degrees], 0 inside; a box may cross longitude 180.
    fn off_deg([west, south, east, north]: [f64; 4], lon_deg: f64, lat_deg: f64) -> f64 {
        let off_lat = (south - lat_deg).max(lat_deg - north).max(0.0);
        let inside = if west <= east {
            (west..=east).contains(&lon_deg)
        } else {
            lon_deg >= west || lon_deg <= east
        };
        let around = |from: f64| {
            let apart = (lon_deg - from).abs() % 360.0;
            apart.min(360.0 - apart)
        };
        let off_lon = if inside {
            0.0
        } else {
            around(west).min(around(east))
        };
        off_lat.max(off_lon)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn longitude_and_latitude_pass_untouched() {
        for name in [
            "EPSG:4326",
            "urn:ogc:def:crs:OGC:1.3:CRS84",
            "urn:ogc:def:crs:EPSG::4326",
        ] {
            let crs = Crs::from_name(name).unwrap();
            assert_eq!(crs, Crs::LonLat, "{name}");
            let (mut x, mut y) = ([5.064_649_412_345_678], [43.569_416_012_345_67]);
            crs.to_lon_lat(&mut x, &mut y).unwrap();
            assert_eq!((x[0], y[0]), (5.064_649_412_345_678, 43.569_416_012_345_67));
        }
        let outside = Crs::LonLat
            .to_lon_lat(&mut [-190.6], &mut [52.0])
            .unwrap_err();
        assert_eq!(outside.code, Code::CR03);
    }

    #[cfg(not(feature = "system-gis"))]
    #[test]
    fn a_build_without_gdal_says_what_it_cannot_do() {
        assert_eq!(Crs::from_name("EPSG:2154").unwrap_err().code, Code::CR04);
    }

    #[cfg(feature = "system-gis")]
    #[test]
    fn known_points_land_where_they_should() {
        // EPSG Guidance Note 7-2, IOGP, 2019: Web Mercator example, section 3.2.1.2.
        // The worked example is a longitude of 100°20'00" W and a latitude of 24°22'54.433" N.
        let crs = Crs::from_name("EPSG:3857").unwrap();
        let (mut x, mut y) = ([-11_169_055.58], [2_800_000.00]);
        crs.to_lon_lat(&mut x, &mut y).unwrap();
        assert!((x[0] + (100.0 + 20.0 / 60.0)).abs() < 1e-7, "{}", x[0]);
        assert!(
            (y[0] - (24.0 + 22.0 / 60.0 + 54.433 / 3_600.0)).abs() < 1e-6,
            "{}",
            y[0]
        );
    }

    #[cfg(feature = "system-gis")]
    #[test]
    fn what_is_far_outside_is_refused() {
        for (name, at) in [
            ("EPSG:2154", (5.06, 43.57)),
            ("EPSG:32631", (5.06, 43.57)),
            ("EPSG:3857", (3.0e7, 5.0e6)),
            ("EPSG:3857", (3.0e12, 5.0e12)),
            ("EPSG:4258", (365.0, 43.0)),
        ] {
            let crs = Crs::from_name(name).unwrap();
            let refused = crs
                .to_lon_lat(&mut [at.0], &mut [at.1])
                .map_err(|issue| issue.code);
            assert_eq!(refused, Err(Code::CR03), "{name} {at:?}");
        }
    }

    #[cfg(feature = "system-gis")]
    #[test]
    fn names_that_are_not_registered_are_refused() {
        for name in [
            "EPSG:999999",
            "the usual one",
            "https://example.org/crs",
            "/etc/hostname",
        ] {
            let refused = Crs::from_name(name).map_err(|issue| issue.code);
            assert_eq!(refused, Err(Code::CR02), "{name}");
        }
    }
}
