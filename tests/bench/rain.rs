//! How fast rain falls here: the kernel in cells a second, trials of the search board, whole
//! layouts, and the measures of a layout.
//!
//! `cargo bench --bench rain`; names can be filtered, e.g. `cargo bench --bench rain kernel`.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[allow(dead_code, reason = "each test file uses its own share of the lawns")]
#[path = "../lawns/mod.rs"]
mod lawns;

use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use evenfall::catalogue::{Catalogue, Head, Pattern, Profile, Role};
use evenfall::place::{Effort, Favour, Site, layout};
use evenfall::rain::{Board, Candidate, Grid, RainGrid, Weights};
use evenfall::shape::{Outline, Point};
use evenfall::uniformity::{Surroundings, measure};
use evenfall::units::Flow;

fn main() {
    divan::main();
}

fn full_circle(at: Point, radius_m: f64) -> Head {
    Head {
        at,
        role: Role::Interior,
        pattern: Pattern::Sector {
            radius_m,
            start_deg: 0.0,
            sweep_deg: 360.0,
        },
        nozzle: 0,
        flow: Flow::from_lpm(10.0).unwrap(),
    }
}

/// One full circle in the middle of a grid; throughput in cells of its footprint.
fn one_circle(bencher: Bencher, radius_m: f64, cell_m: f64, profile: &Profile) {
    let side_m = 2.0 * radius_m + 2.0;
    let grid = Grid::over(&lawns::rectangle(side_m, side_m), cell_m, 0.0);
    let head = full_circle(
        Point::new(side_m / 2.0 + 0.03, side_m / 2.0 - 0.07),
        radius_m,
    );
    let mut rain = RainGrid::dry(&grid);
    rain.add(&head, profile, None);
    let cells = rain.turf_rates().iter().filter(|&&rate| rate > 0.0).count();
    bencher
        .counter(ItemsCount::new(cells))
        .bench_local(|| rain.add(black_box(&head), profile, None));
}

/// Full circle, triangular, at the cell of large throws (0.4 m): rows of 40 to 50 cells.
#[divan::bench(args = [8.0, 10.0], sample_size = 200)]
fn kernel_at_040_m(bencher: Bencher, radius_m: f64) {
    one_circle(bencher, radius_m, 0.4, &Profile::Triangular);
}

/// The same with rows of 800 cells, in cache of the second level.
#[divan::bench(sample_size = 20)]
fn kernel_on_long_rows(bencher: Bencher) {
    one_circle(bencher, 10.0, 0.05, &Profile::Triangular);
}

/// The other profiles with a closed form at 0.4 m, and a tabulated one.
#[divan::bench(args = ["uniform", "elliptical", "parabolic", "[[0,0.5],[0.5,1],[1,0]]"], sample_size = 100)]
fn kernel_of_profile(bencher: Bencher, name: &str) {
    one_circle(bencher, 10.0, 0.4, &Profile::parse(name).unwrap());
}

/// Trials of a head on the board of a search: 1,800 cells, throw 5 m on a lawn of 250 m².
#[divan::bench(args = [90.0, 180.0, 360.0], sample_size = 200)]
fn trials(bencher: Bencher, sweep_deg: f64) {
    let outline = lawns::rectangle(18.0, 14.0);
    let cell_m = (outline.area_m2() / 1_800.0).sqrt();
    let grid = Grid::over(&outline, cell_m, 0.0);
    let weights = Weights {
        target_mm_h: 10.0,
        low_share: 0.9,
        low_weight: 4.0,
        over_weight: 0.1,
    };
    let profile = Profile::Triangular;
    let mut board = Board::new(&grid, &profile, weights);
    for (x, y) in [(4.0, 3.0), (9.0, 3.5), (14.0, 3.0), (6.5, 8.0), (11.5, 8.0)] {
        let head = Candidate {
            at: Point::new(x, y),
            radius_m: 5.0,
            start_deg: 0.0,
            sweep_deg: 360.0,
            flow_lpm: 4.0,
        };
        board.rain(&head, 1.0);
    }
    let candidate = Candidate {
        at: Point::new(9.1, 7.2),
        radius_m: 5.0,
        start_deg: 137.0,
        sweep_deg,
        flow_lpm: 4.0 * sweep_deg / 360.0,
    };
    bencher
        .counter(ItemsCount::new(1_usize))
        .bench_local(|| board.cost_of(black_box(&candidate)));
}

const LAWNS: [&str; 3] = ["rectangle 12x18", "L", "disc"];

fn lawn(name: &str) -> Outline {
    match name {
        "L" => lawns::l_shape(),
        "disc" => lawns::disc(8.0),
        _ => lawns::rectangle(12.0, 18.0),
    }
}

fn whole_layout(bencher: Bencher, name: &str, effort: Effort) {
    let catalogue = Catalogue::generic();
    let family = catalogue.family("rotary-mid").unwrap();
    let outline = lawn(name);
    bencher.counter(ItemsCount::new(1_usize)).bench_local(|| {
        layout(
            &Site::open(black_box(&outline)),
            family,
            effort,
            Favour::Evenness,
        )
    });
}

#[divan::bench(args = LAWNS)]
fn layout_rule(bencher: Bencher, name: &str) {
    whole_layout(bencher, name, Effort::Rule);
}

#[divan::bench(args = LAWNS)]
fn layout_fast(bencher: Bencher, name: &str) {
    whole_layout(bencher, name, Effort::Fast);
}

#[divan::bench(args = LAWNS, sample_count = 20, sample_size = 1, max_time = 2)]
fn layout_normal(bencher: Bencher, name: &str) {
    whole_layout(bencher, name, Effort::Normal);
}

#[divan::bench(args = LAWNS, sample_count = 3, sample_size = 1, max_time = 4)]
fn layout_thorough(bencher: Bencher, name: &str) {
    whole_layout(bencher, name, Effort::Thorough);
}

/// Every measure of a layout by the rule, robust members included, at its default cell.
#[divan::bench(args = LAWNS)]
fn measures(bencher: Bencher, name: &str) {
    let catalogue = Catalogue::generic();
    let family = catalogue.family("rotary-mid").unwrap();
    let outline = lawn(name);
    let heads = layout(
        &Site::open(&outline),
        family,
        Effort::Rule,
        Favour::Evenness,
    );
    let around = Surroundings::default();
    bencher
        .counter(ItemsCount::new(1_usize))
        .bench_local(|| measure(black_box(&outline), &heads, &family.profile, &around));
}
