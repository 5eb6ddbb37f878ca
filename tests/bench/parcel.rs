//! What a whole parcel costs with all its scenarios, and what reading and writing do.
//!
//! `cargo bench --bench parcel`. The parcels are those of the sample town that lie in a small box.

#![allow(clippy::unwrap_used, reason = "a bench may panic")]

use std::path::Path;

use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use evenfall::assumptions::Assumptions;
use evenfall::catalogue::Catalogue;
use evenfall::climate::Climates;
use evenfall::place::{Effort, Favour};
use evenfall::plan::Planner;
use evenfall::read::{Inputs, Neighbourhood, Reading, Source};
use evenfall::site::Parcel;
use evenfall::write::geojson::push_feature;
use evenfall::write::record::Record;
use evenfall::write::wanted::Wanted;

fn main() {
    divan::main();
}

/// Lawns of the sample campus, each a parcel of its own.
fn turf() -> Vec<u8> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parcels/campus/turf.geojson");
    std::fs::read(path).unwrap()
}

fn parcels() -> Vec<Parcel> {
    let inputs = Inputs::of_turf(Source::from_bytes("turf.geojson", turf()));
    let readings = Neighbourhood::open(&inputs).unwrap();
    let parcels = readings.filter_map(|reading| match reading.unwrap() {
        Reading::Parcel(parcel) => Some(*parcel),
        Reading::Failed { .. } => None,
    });
    let parcels: Vec<Parcel> = parcels.take(40).collect();
    assert!(!parcels.is_empty());
    parcels
}

fn planner(effort: Effort) -> Planner {
    let catalogue = Catalogue::generic();
    Planner {
        families: catalogue.families.iter().map(|f| f.name.clone()).collect(),
        catalogue,
        effort,
        favour: Favour::Evenness,
        assumptions: Assumptions::defaults(),
        climates: Climates::assumed(),
        inp: false,
        seed: 1,
    }
}

fn whole(bencher: Bencher, effort: Effort) {
    let (planner, parcels) = (planner(effort), parcels());
    let mut next = parcels.iter().cycle();
    bencher
        .counter(ItemsCount::new(1_usize))
        .bench_local(|| planner.plan(black_box(next.next().unwrap())));
}

/// All scenarios of a parcel with stations, pipes, water and savings, by effort.
#[divan::bench(sample_count = 40, sample_size = 1)]
fn parcel_rule(bencher: Bencher) {
    whole(bencher, Effort::Rule);
}

#[divan::bench(sample_count = 40, sample_size = 1)]
fn parcel_fast(bencher: Bencher) {
    whole(bencher, Effort::Fast);
}

#[divan::bench(sample_count = 40, sample_size = 1)]
fn parcel_normal(bencher: Bencher) {
    whole(bencher, Effort::Normal);
}

/// Reading the sample campus' turf; throughput in features.
#[divan::bench]
fn read_turf(bencher: Bencher) {
    let bytes = turf();
    let count = parcels().len();
    bencher.counter(ItemsCount::new(count)).bench_local(|| {
        let inputs = Inputs::of_turf(Source::from_bytes("turf.geojson", bytes.clone()));
        Neighbourhood::open(&inputs).unwrap().count()
    });
}

/// Reading a record off a plan, and setting its rows as GeoJSON text.
#[divan::bench]
fn write_parcel(bencher: Bencher) {
    let plan = planner(Effort::Rule).plan(&parcels()[0]);
    bencher.counter(ItemsCount::new(1_usize)).bench_local(|| {
        let record = Record::of(black_box(&plan), &Wanted::default());
        let mut text = String::new();
        for (which, row) in &record.rows {
            push_feature(&mut text, &which.table(), row);
        }
        text.len()
    });
}
