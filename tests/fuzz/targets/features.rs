//! Layers of GeoJSON. The first byte says which layer the rest is; the others are small and sound.

#![no_main]

use evenfall::read::{Inputs, LandSources, Neighbourhood, Source};
use libfuzzer_sys::fuzz_target;

const TURF: &str = r#"{"type":"FeatureCollection","features":[{"type":"Feature","properties":
{"parcel_id":"a"},"geometry":{"type":"Polygon","coordinates":[[[5,43],[5.0001,43],[5.0001,43.0001],
[5,43.0001],[5,43]]]}}]}"#;

fuzz_target!(|data: &[u8]| {
    let Some((role, text)) = data.split_first() else {
        return;
    };
    let source = Source::from_bytes("fuzzed.geojson", text.to_vec());
    let mut inputs = Inputs::of_turf(Source::from_bytes("turf.geojson", TURF.as_bytes()));
    let mut land = LandSources::default();
    match role % 7 {
        0 => inputs.turf = source,
        1 => inputs.parcels = Some(source),
        2 => inputs.heads = Some(source),
        3 => inputs.obstacles = Some(source),
        4 => inputs.supply = Some(source),
        5 => land.soils = Some(source),
        _ => land.climate_zones = Some(source),
    }
    let opened = Neighbourhood::open(&inputs).and_then(|layers| layers.over(&land));
    if let Ok(readings) = opened {
        // Every feature ends in a reading or an issue.
        readings.for_each(drop);
    }
});
