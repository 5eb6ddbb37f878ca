//! Formats that the system's library reads, with one defect each.

use std::fs;

use evenfall::issue::Code;
use evenfall::read::{Inputs, Source};

use super::outcome::run;

#[cfg(feature = "system-gis")]
#[test]
fn defects_of_other_formats() {
    use gdal::DriverManager;
    use gdal::spatial_ref::SpatialRef;
    use gdal::vector::{Geometry, LayerAccess, LayerOptions, OGRwkbGeometryType};

    let folder = tempfile::tempdir().unwrap();
    let square = "POLYGON((865600 6277000,865610 6277000,865610 6277010,865600 6277000))";
    let write = |name: &str, driver: &str, epsg: Option<u32>, layers: &[&str], shapes: &[&str]| {
        let path = folder.path().join(name);
        let driver = DriverManager::get_driver_by_name(driver).unwrap();
        let mut dataset = driver.create_vector_only(&path).unwrap();
        let reference = epsg.map(|epsg| SpatialRef::from_epsg(epsg).unwrap());
        for layer in layers {
            let options = LayerOptions {
                name: layer,
                srs: reference.as_ref(),
                ty: OGRwkbGeometryType::wkbUnknown,
                options: None,
            };
            let mut layer = dataset.create_layer(options).unwrap();
            for shape in shapes {
                layer
                    .create_feature(Geometry::from_wkt(shape).unwrap())
                    .unwrap();
            }
        }
        dataset.close().unwrap();
        path.to_str().unwrap().to_owned()
    };
    let code = |name: &str| run(&Inputs::of_turf(Source::parse(name).unwrap()));

    let no_crs = write("no_crs.gpkg", "GPKG", None, &["turf"], &[square]);
    assert_eq!(code(&no_crs).fatal, Some(Code::CR01));
    let no_prj = write("no_prj.shp", "ESRI Shapefile", None, &["no_prj"], &[square]);
    assert_eq!(code(&no_prj).fatal, Some(Code::CR01));
    let two = write("two.gpkg", "GPKG", Some(2154), &["east", "west"], &[square]);
    assert_eq!(code(&two).fatal, Some(Code::IN04));
    assert_eq!(code(&format!("{two}:north")).fatal, Some(Code::IN04));
    assert_eq!(code(&format!("{two}:west")).read, ["1"]);
    let role = write(
        "role.gpkg",
        "GPKG",
        Some(2154),
        &["parcels", "turf"],
        &[square],
    );
    assert_eq!(code(&role).read, ["1"]);
    let empty = write("empty.gpkg", "GPKG", Some(2154), &["turf"], &[]);
    assert_eq!(code(&empty).fatal, Some(Code::IN05));
    let geocentric = write("geocentric.gpkg", "GPKG", Some(4978), &["turf"], &[square]);
    assert!(code(&geocentric).has(Code::CR03) || code(&geocentric).fatal == Some(Code::CR02));

    let mixed = write(
        "mixed.gpkg",
        "GPKG",
        Some(2154),
        &["turf"],
        &[
            square,
            "POLYGON((5 43,5.1 43,5.1 43.1,5 43))",
            "LINESTRING(865600 6277000,865610 6277000)",
            "POLYGON EMPTY",
            "POLYGON((865600 6277000,865610 6277010,865610 6277000,865600 6277010,865600 6277000))",
            "CURVEPOLYGON(CIRCULARSTRING(865600 6277000,865610 6277010,865620 6277000,865610 6276990,865600 6277000))",
            "MULTISURFACE(CURVEPOLYGON(COMPOUNDCURVE(CIRCULARSTRING(865600 6277000,865610 6277010,865620 6277000),(865620 6277000,865600 6277000))))",
            "POLYGON ZM((865600 6277000 1 2,865610 6277000 1 2,865610 6277010 1 2,865600 6277000 1 2))",
        ],
    );
    let outcome = code(&mixed);
    assert_eq!(outcome.read, ["1", "6", "7", "8"], "{outcome:?}");
    assert_eq!(
        outcome.failed,
        [Code::CR03, Code::GE02, Code::GE01, Code::GE05]
    );

    let filtered = Inputs {
        where_clause: Some("nothing = 'x'".into()),
        ..Inputs::of_turf(Source::parse(&mixed).unwrap())
    };
    assert_eq!(run(&filtered).fatal, Some(Code::IN10));
    let by_number = Inputs {
        where_clause: Some("fid IN (1, 8)".into()),
        ..filtered
    };
    assert_eq!(run(&by_number).read, ["1", "8"]);

    let whole = fs::read(&role).unwrap();
    let broken = folder.path().join("broken.gpkg");
    fs::write(&broken, &whole[..5_000]).unwrap();
    let outcome = code(broken.to_str().unwrap());
    assert!(
        matches!(outcome.fatal, Some(Code::IN02 | Code::IN03 | Code::IN04)),
        "{outcome:?}"
    );
    let text = folder.path().join("lawns.txt");
    fs::write(&text, "these are no lawns").unwrap();
    assert_eq!(code(text.to_str().unwrap()).fatal, Some(Code::IN02));
    let vrt = folder.path().join("lawns.xml");
    fs::write(
        &vrt,
        "<OGRVRTDataSource><OGRVRTLayer name=\"turf\"/></OGRVRTDataSource>",
    )
    .unwrap();
    assert_eq!(code(vrt.to_str().unwrap()).fatal, Some(Code::IN02));
}

#[cfg(not(feature = "system-gis"))]
#[test]
fn other_formats_need_the_other_build() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("lawns.gpkg");
    fs::write(&path, b"SQLite format 3\0").unwrap();
    let outcome = run(&Inputs::of_turf(
        Source::parse(path.to_str().unwrap()).unwrap(),
    ));
    assert_eq!(outcome.fatal, Some(Code::IN02));
}
