//! Text sequences of features, by lines and by separators, that are read once and come in any order.

#![no_main]

use evenfall::read::{Inputs, Neighbourhood, Source};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let turf = Source::from_bytes("turf.geojsonl", data.to_vec());
    if let Ok(readings) = Neighbourhood::open(&Inputs::of_turf(turf.clone())) {
        readings.for_each(drop);
    }
    let both = Inputs {
        parcels: Some(turf.clone()),
        ..Inputs::of_turf(turf)
    };
    if let Ok(readings) = Neighbourhood::open(&both) {
        readings.for_each(drop);
    }
});
