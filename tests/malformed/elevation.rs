//! Elevation models with one defect each.

use evenfall::issue::Code;
use evenfall::read::Source;

#[cfg(not(feature = "system-gis"))]
use super::outcome::source;
use super::outcome::{Case, Given, check};

fn with(dem: Source) -> Given {
    let mut given = Given::lawns();
    given.land.dem = Some(dem);
    given
}

#[cfg(not(feature = "system-gis"))]
#[test]
fn defects_of_elevation_models() {
    let case = Case {
        what: "a raster in a build that cannot read it",
        given: with(source("dem.asc", "ncols 1\n")),
        code: Code::EL03,
        planned: &[],
    };
    check("elevation models", &Given::lawns(), &[case]);
}

#[cfg(feature = "system-gis")]
#[test]
fn defects_of_elevation_models() {
    use std::fs;

    use super::outcome::ALL;
    use gdal::spatial_ref::SpatialRef;

    /// Where the lawns lie in UTM zone 31 north \[m\]: 43° north, 5° to 5.0009° east.
    const WEST_M: f64 = 662_900.0;
    const SOUTH_M: f64 = 4_762_600.0;

    let folder = tempfile::tempdir().unwrap();
    // Cells of 10 m, 1 km about the lawns, rising to the east.
    let grid = |header: &str, height: &dyn Fn(u32) -> String| {
        let row: Vec<String> = (0..100).map(height).collect();
        header.to_owned() + &(row.join(" ") + "\n").repeat(100)
    };
    let header = |west_m: f64, cell: &str| {
        format!(
            "ncols 100\nnrows 100\nxllcorner {west_m}\nyllcorner {SOUTH_M}\ncellsize {cell}\nNODATA_value -9999\n"
        )
    };
    let rising = |column: u32| format!("{}", 100.0 + f64::from(column) * 0.2);
    let write = |name: &str, text: &str, epsg: Option<u32>| {
        let path = folder.path().join(format!("{name}.asc"));
        fs::write(&path, text).unwrap();
        if let Some(epsg) = epsg {
            let system = SpatialRef::from_epsg(epsg).unwrap().to_wkt().unwrap();
            fs::write(path.with_extension("prj"), system).unwrap();
        }
        with(Source::parse(path.to_str().unwrap()).unwrap())
    };
    let sound = grid(&header(WEST_M, "10"), &rising);
    let fatal = [
        ("degrees", write("degrees", &sound, Some(4326)), Code::EL02),
        ("no system", write("nowhere", &sound, None), Code::CR01),
        (
            "text for a raster",
            write("text", "these are no heights", Some(32631)),
            Code::EL03,
        ),
        ("an empty file", write("empty", "", Some(32631)), Code::EL03),
        (
            "no width",
            write(
                "narrow",
                &sound.replace("ncols 100", "ncols 0"),
                Some(32631),
            ),
            Code::EL03,
        ),
        (
            "cells without a size",
            write("point", &grid(&header(WEST_M, "0"), &rising), Some(32631)),
            Code::EL03,
        ),
        (
            "heights that are words",
            write(
                "words",
                &grid(&header(WEST_M, "10"), &|_| "high".to_owned()),
                Some(32631),
            ),
            Code::EL03,
        ),
        // Its reader never came back from this one.
        (
            "rows that are missing",
            write("short", &sound[..sound.len() / 3], Some(32631)),
            Code::EL03,
        ),
        (
            "a model in memory",
            with(Source::from_bytes("dem.asc", sound.as_bytes())),
            Code::EL03,
        ),
    ];
    let notes = [
        (
            "a model of elsewhere",
            write(
                "away",
                &grid(&header(WEST_M + 20_000.0, "10"), &rising),
                Some(32631),
            ),
            Code::EL01,
        ),
        (
            "a model of holes",
            write(
                "holes",
                &grid(&header(WEST_M, "10"), &|_| "-9999".to_owned()),
                Some(32631),
            ),
            Code::EL01,
        ),
        (
            "a mark of no height that is not declared",
            write(
                "undeclared",
                &grid(&header(WEST_M, "10"), &|column| match column % 2 {
                    0 => "-32768".to_owned(),
                    _ => "100".to_owned(),
                }),
                Some(32631),
            ),
            Code::EL04,
        ),
        (
            "heights in centimetres",
            write(
                "steep",
                &grid(&header(WEST_M, "10"), &|column| {
                    format!("{}", f64::from(column) * 30.0)
                }),
                Some(32631),
            ),
            Code::EL04,
        ),
    ];
    let cases: Vec<Case> = fatal
        .into_iter()
        .map(|row| (row, &[][..]))
        .chain(notes.into_iter().map(|row| (row, ALL)))
        .map(|((what, given, code), planned)| Case {
            what,
            given,
            code,
            planned,
        })
        .collect();
    check(
        "elevation models",
        &write("sound", &sound, Some(32631)),
        &cases,
    );
}
