//! Tables as text. The first byte says which kind the rest is.

#![no_main]

use evenfall::assumptions::Assumptions;
use evenfall::climate::{Climates, EtoMethod, Station, WeatherYears};
use evenfall::read::{Inputs, LandSources, Neighbourhood, Source};
use libfuzzer_sys::fuzz_target;

const TURF: &str = r#"{"type":"FeatureCollection","features":[{"type":"Feature","properties":
{"parcel_id":"a","key":"1"},"geometry":{"type":"Polygon","coordinates":[[[5,43],[5.0001,43],
[5.0001,43.0001],[5,43.0001],[5,43]]]}}]}"#;

fuzz_target!(|data: &[u8]| {
    let Some((kind, text)) = data.split_first() else {
        return;
    };
    let Ok(text) = std::str::from_utf8(text) else {
        return;
    };
    let turf = || Source::from_bytes("turf.geojson", TURF.as_bytes());
    let layers = || Neighbourhood::open(&Inputs::of_turf(turf())).ok();
    match kind % 4 {
        0 => {
            if let Ok((climates, _)) = Climates::parse(text, "climate.csv") {
                for zone in climates.zones() {
                    let winds = zone.year.winds(1.5);
                    assert!(winds.is_none_or(|winds| winds.calm_frac() <= 1.0));
                }
            }
        }
        1 => {
            let station = Station::assumed(&Assumptions::defaults(), 43.0, 100.0);
            if let Ok(years) = WeatherYears::parse(text, "weather.csv", station) {
                for method in [EtoMethod::PenmanMonteith, EtoMethod::Hargreaves] {
                    let years = years.clone().reckoned_by(method);
                    let _ = (years.months(), years.mean_year(""), years.gap_note());
                    let _ = years.day_climates();
                }
            }
        }
        2 => {
            let metered = layers().map(|layers| layers.metered(text, "meter.csv"));
            if let Some(Ok(readings)) = metered {
                readings.for_each(drop);
            }
        }
        _ => {
            let land = LandSources {
                soils: Some(turf()),
                soil_table: Some(Source::from_bytes("soils.csv", text.as_bytes())),
                ..LandSources::default()
            };
            if let Some(Ok(readings)) = layers().map(|layers| layers.over(&land)) {
                readings.for_each(drop);
            }
        }
    }
});
