//! Catch-can readings, and the measures of what was caught.

#![no_main]

use evenfall::read::Source;
use evenfall::read::cans::{Test, read_cans};
use evenfall::uniformity::evenness;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let Some((kind, text)) = data.split_first() else {
        return;
    };
    let test = Test {
        run_min: (kind & 1 == 1).then_some(15.0),
        diameter_mm: (kind & 2 == 2).then_some(105.0),
    };
    let source = Source::from_bytes("cans.csv", text.to_vec());
    if let Ok(readings) = read_cans(&source, test) {
        let caught: Vec<f32> = readings.cans.iter().map(|can| can.caught as f32).collect();
        if let Some(even) = evenness(&caught) {
            assert!(even.du_lq <= 1.0 + 1e-6, "{even:?}");
        }
    }
});
