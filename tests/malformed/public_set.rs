//! The folder of awkward public GeoJSON, where `EVENFALL_DATA` names the folder of public sets.

use std::fs;
use std::path::Path;

use evenfall::issue::{Code, Severity};
use evenfall::read::{Inputs, Source};

use super::outcome::run;
use super::texts::{collection, good};

/// Every file of the set, and the code that its turf gets; `None` where there is nothing to tell. Half of
/// the files called valid are points and lines, which are no turf.
const SET: [(&str, Option<Code>); 74] = [
    // invalid_geometries
    ("invalid_geometries/invalid_exterior_not_ccw", None),
    (
        "invalid_geometries/invalid_incorrect_geometry_data_type",
        Some(Code::GE02),
    ),
    ("invalid_geometries/invalid_interior_not_cw", None),
    (
        "invalid_geometries/invalid_less_three_unique_nodes",
        Some(Code::GE03),
    ),
    ("invalid_geometries/invalid_unclosed", Some(Code::GE10)),
    // invalid_structure
    (
        "invalid_structure/invalid_feature_geometry_is_string",
        Some(Code::GE11),
    ),
    (
        "invalid_structure/invalid_feature_id_type",
        Some(Code::GE02),
    ),
    ("invalid_structure/invalid_feature_no_properties", None),
    (
        "invalid_structure/invalid_feature_properties_is_array",
        Some(Code::GE11),
    ),
    (
        "invalid_structure/invalid_feature_properties_is_int",
        Some(Code::GE11),
    ),
    (
        "invalid_structure/invalid_feature_wrong_geometry_key",
        Some(Code::GE01),
    ),
    (
        "invalid_structure/invalid_featurecollection_feature_nullfeature",
        Some(Code::GE11),
    ),
    (
        "invalid_structure/invalid_featurecollection_features_is_object",
        Some(Code::IN02),
    ),
    (
        "invalid_structure/invalid_featurecollection_no_features_member",
        Some(Code::IN02),
    ),
    (
        "invalid_structure/invalid_featurecollection_nulltype",
        Some(Code::IN02),
    ),
    (
        "invalid_structure/invalid_featurecollection_type_lowercase",
        Some(Code::IN02),
    ),
    (
        "invalid_structure/invalid_featurecollection_unknown_type",
        Some(Code::IN02),
    ),
    (
        "invalid_structure/invalid_geometry_bbox_not4or6",
        Some(Code::GE02),
    ),
    (
        "invalid_structure/invalid_geometry_bbox_not_list",
        Some(Code::GE02),
    ),
    (
        "invalid_structure/invalid_geometry_bbox_not_numbers",
        Some(Code::GE02),
    ),
    (
        "invalid_structure/invalid_geometry_coordinates_1d",
        Some(Code::GE11),
    ),
    (
        "invalid_structure/invalid_geometry_coordinates_empty_position",
        Some(Code::GE11),
    ),
    (
        "invalid_structure/invalid_geometry_coordinates_missing",
        Some(Code::GE11),
    ),
    (
        "invalid_structure/invalid_geometry_coordinates_string",
        Some(Code::GE11),
    ),
    (
        "invalid_structure/invalid_geometry_depth_deep_point",
        Some(Code::GE11),
    ),
    (
        "invalid_structure/invalid_geometry_depth_deep_polygon",
        Some(Code::GE11),
    ),
    (
        "invalid_structure/invalid_geometry_depth_shallow_linestring",
        Some(Code::GE02),
    ),
    (
        "invalid_structure/invalid_geometry_depth_shallow_multipolygon",
        Some(Code::GE11),
    ),
    (
        "invalid_structure/invalid_geometry_depth_shallow_polygon",
        Some(Code::GE11),
    ),
    (
        "invalid_structure/invalid_geometry_geometrycollection_null_geometry",
        Some(Code::GE11),
    ),
    (
        "invalid_structure/invalid_geometry_mislabeled_point",
        Some(Code::GE11),
    ),
    (
        "invalid_structure/invalid_geometry_missing_type",
        Some(Code::IN02),
    ),
    (
        "invalid_structure/invalid_geometry_wrong_geometry_type",
        Some(Code::IN02),
    ),
    // problematic_geometries
    ("problematic_geometries/problematic_3d_coordinates", None),
    ("problematic_geometries/problematic_4d_coordinates", None),
    (
        "problematic_geometries/problematic_crosses_antimeridian",
        None,
    ),
    ("problematic_geometries/problematic_duplicate_nodes", None),
    (
        "problematic_geometries/problematic_excessive_coordinate_precision",
        None,
    ),
    (
        "problematic_geometries/problematic_excessive_vertices",
        None,
    ),
    (
        "problematic_geometries/problematic_feature_null_geometry",
        Some(Code::GE01),
    ),
    ("problematic_geometries/problematic_holes", None),
    (
        "problematic_geometries/problematic_inner_and_exterior_ring_intersect",
        Some(Code::GE05),
    ),
    (
        "problematic_geometries/problematic_multitype_geometry_with_just_one_geometry",
        None,
    ),
    (
        "problematic_geometries/problematic_outside_lat_lon_boundaries",
        Some(Code::CR03),
    ),
    (
        "problematic_geometries/problematic_self_intersection_large",
        Some(Code::GE05),
    ),
    (
        "problematic_geometries/problematic_self_intersection_small",
        Some(Code::GE04),
    ),
    (
        "problematic_geometries/problematic_wrong_bbox_coordinate_order",
        None,
    ),
    (
        "problematic_geometries/problematic_zero_length_linestring",
        Some(Code::GE02),
    ),
    // problematic_structure
    ("problematic_structure/problematic_crs_defined", None),
    (
        "problematic_structure/problematic_geometry_not_wrapped",
        None,
    ),
    (
        "problematic_structure/problematic_geometrycollection_single",
        Some(Code::GE02),
    ),
    (
        "problematic_structure/problematic_nested_geometrycollection",
        Some(Code::GE02),
    ),
    // valid
    ("valid/valid_feature", Some(Code::GE02)),
    ("valid/valid_feature_null_geometry", Some(Code::GE01)),
    ("valid/valid_feature_null_properties", None),
    ("valid/valid_feature_with_bbox", Some(Code::GE02)),
    ("valid/valid_feature_with_id", Some(Code::GE02)),
    ("valid/valid_feature_with_string_id", Some(Code::GE02)),
    ("valid/valid_featurecollection", None),
    ("valid/valid_featurecollection_bboxes", None),
    (
        "valid/valid_featurecollection_empty_features",
        Some(Code::IN05),
    ),
    (
        "valid/valid_featurecollection_multiple_feature_types",
        Some(Code::GE02),
    ),
    (
        "valid/valid_featurecollection_with_geometrycollection",
        Some(Code::GE02),
    ),
    ("valid/valid_geometry", Some(Code::GE02)),
    ("valid/valid_geometry_3d_coordinates", Some(Code::GE02)),
    ("valid/valid_geometry_bbox", None),
    ("valid/valid_geometry_geometrycollection", Some(Code::GE02)),
    (
        "valid/valid_geometry_geometrycollection_empty_geometries",
        Some(Code::GE01),
    ),
    ("valid/valid_geometry_linestring", Some(Code::GE02)),
    ("valid/valid_geometry_multilinestring", Some(Code::GE02)),
    ("valid/valid_geometry_multipoint", Some(Code::GE02)),
    ("valid/valid_geometry_multipolygon", None),
    ("valid/valid_geometry_point", Some(Code::GE02)),
    ("valid/valid_geometry_polygon", None),
];

/// Each file as turf gets its code, and as parcels too, where it has one; what the manifest says of two
/// other libraries must not contradict it.
#[test]
fn awkward_public_files_get_their_codes() {
    let Ok(data) = std::env::var("EVENFALL_DATA") else {
        println!("skipped: EVENFALL_DATA is not set");
        return;
    };
    let folder = Path::new(&data).join("invalid_geometry");
    let manifest = fs::read_to_string(folder.join("manifest.csv")).unwrap();
    let good = Source::from_bytes("turf", collection(&[good(0.0, "")]).into_bytes());
    let mut passed = 0;
    for line in manifest.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let (file, opens, is_valid) = (cells[0], cells[3], cells[5]);
        let name = file.trim_end_matches(".geojson");
        let wanted = SET.iter().find(|(known, _)| *known == name);
        let code = wanted.unwrap_or_else(|| panic!("{file} is not known")).1;
        let source = Source::parse(folder.join(file).to_str().unwrap()).unwrap();
        let parcels = Inputs {
            parcels: Some(source.clone()),
            ..Inputs::of_turf(good.clone())
        };
        for outcome in [run(&Inputs::of_turf(source)), run(&parcels)] {
            match code {
                Some(code) => assert!(outcome.has(code), "{file}: {code} wanted, {outcome:?}"),
                None => {
                    assert!(!outcome.read.is_empty(), "{file}: {outcome:?}");
                    let told = (outcome.fatal, outcome.failed.len(), outcome.notes.len());
                    assert_eq!(told, (None, 0, 0), "{file}: {outcome:?}");
                }
            }
        }
        // What no library opens is refused or failed, and what is not valid is told.
        let gravest = code.map_or(Severity::Note, Code::severity);
        assert!(opens != "no" || gravest > Severity::Note, "{file}");
        assert!(is_valid != "no" || code.is_some(), "{file}");
        passed += 1;
    }
    println!("score: invalid geometry set: {passed} of {}", SET.len());
    assert_eq!(passed, SET.len());
}
