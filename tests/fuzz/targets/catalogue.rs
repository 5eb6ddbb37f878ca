//! Catalogues of nozzle families.

#![no_main]

use evenfall::catalogue::Catalogue;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    if let Ok(catalogue) = Catalogue::parse(text, "catalogue.toml") {
        for family in &catalogue.families {
            assert!(family.longest_m() >= family.shortest_m());
            assert!(family.profile.rate_at(0.5).is_finite());
        }
    }
});
