//! The narrow vectors and AVX2 give the same bits: rain, trials and layouts lawn by lawn, and the files
//! of a whole run. Where the processor has no AVX2 there is nothing to compare, and the tests say so.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod lawns;
mod shared;

use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use evenfall::catalogue::{Catalogue, Family, Head, Pattern, Profile};
use evenfall::place::{self, Effort, Favour, Site};
use evenfall::rain::vectors::Vectors;
use evenfall::rain::{Board, Candidate, Grid, RainGrid, Weights};
use evenfall::shape::Outline;
use shared::{contents, folder};

/// The vectors are the process' own: tests take turns.
static TURN: Mutex<()> = Mutex::new(());

/// The turn of a test; `None`, with a message, where there is nothing to compare.
fn turn() -> Option<MutexGuard<'static, ()>> {
    if !Vectors::differ() {
        eprintln!("skipped: AVX2 is not beside the baseline here");
        return None;
    }
    Some(TURN.lock().unwrap_or_else(PoisonError::into_inner))
}

/// What comes out on the widest vectors and on the narrow ones.
fn on_both<T>(make: impl Fn() -> T) -> (T, T) {
    Vectors::Widest.force();
    let wide = make();
    Vectors::Baseline.force();
    let narrow = make();
    Vectors::Widest.force();
    (wide, narrow)
}

fn outlines() -> Vec<Outline> {
    vec![
        lawns::rectangle(17.0, 9.0),
        lawns::l_shape(),
        lawns::trapezoid(),
        lawns::triangle(),
        lawns::kidney(),
        lawns::disc(9.0),
        lawns::annulus(13.0, 5.0),
        lawns::around_a_house(),
    ]
}

/// The closed profiles, and a tabulated one, which has no vectors of its own.
fn profiles() -> [Profile; 5] {
    [
        Profile::Triangular,
        Profile::Elliptical,
        Profile::Uniform,
        Profile::Parabolic,
        Profile::parse("[[0,0.2],[0.5,1],[1,0.1]]").unwrap(),
    ]
}

fn heads_of(outline: &Outline, family: &Family, effort: Effort) -> Vec<Head> {
    let site = Site::open(outline);
    place::layout(&site, family, effort, Favour::Evenness)
}

fn bits(rates: &[f32]) -> Vec<u32> {
    rates.iter().map(|rate| rate.to_bits()).collect()
}

/// What a layout rains, cell by cell, and the water on turf and beside it.
fn rain(outline: &Outline, heads: &[Head], profile: &Profile) -> (Vec<u32>, [u64; 2]) {
    let grid = Grid::over(outline, 0.23, 6.0);
    let rain = RainGrid::of(&grid, heads, profile, &[]);
    let (turf, beside) = rain.landed_l_h();
    (bits(&rain.turf_rates()), [turf.to_bits(), beside.to_bits()])
}

/// What each head of a layout costs on a board on which the others stand, and what the board says
/// when it is set down.
fn trials(outline: &Outline, heads: &[Head], profile: &Profile) -> Vec<u64> {
    let grid = Grid::over(outline, 0.4, 0.0);
    let weights = Weights {
        target_mm_h: 12.0,
        low_share: 0.8,
        low_weight: 2.0,
        over_weight: 0.5,
    };
    let mut board = Board::new(&grid, profile, weights);
    let mut said = Vec::new();
    for head in heads {
        let Pattern::Sector {
            radius_m,
            start_deg,
            sweep_deg,
        } = head.pattern
        else {
            continue;
        };
        let candidate = Candidate {
            at: head.at,
            radius_m,
            start_deg,
            sweep_deg,
            flow_lpm: head.flow.lpm(),
        };
        said.push(board.cost_of(&candidate).to_bits());
        board.rain(&candidate, 1.0);
        let (penalty, mean) = board.standing();
        said.extend([penalty.to_bits(), mean.to_bits()]);
        said.extend(board.field().iter().map(|rate| u64::from(rate.to_bits())));
    }
    said
}

#[test]
fn rain_and_trials_of_whole_layouts_are_the_same_bits() {
    let Some(_turn) = turn() else { return };
    let catalogue = Catalogue::generic();
    let (mut tried, mut passed) = (0, 0);
    for (number, outline) in outlines().iter().enumerate() {
        for family in &catalogue.families {
            let (wide, narrow) = on_both(|| heads_of(outline, family, Effort::Fast));
            assert!(wide.len() > 2, "{} heads on lawn {number}", wide.len());
            tried += 1;
            passed += usize::from(wide == narrow);
            for profile in profiles() {
                let rained = on_both(|| rain(outline, &wide, &profile));
                assert!(rained.0.0.iter().any(|&rate| rate != 0));
                let tried_out = on_both(|| trials(outline, &wide, &profile));
                assert!(tried_out.0.len() > wide.len());
                tried += 2;
                passed += usize::from(rained.0 == rained.1);
                passed += usize::from(tried_out.0 == tried_out.1);
            }
        }
    }
    println!("score: vector paths equal, layouts, rain and trials: {passed} of {tried}");
    assert_eq!(passed, tried);
    assert_eq!(tried, 8 * 4 * 11);
}

/// Plans in this process and gives back every file.
fn planned(home: &Path, out: &str, more: &[&str]) -> Vec<(String, Vec<u8>)> {
    let out = home.join(out);
    let into = out.to_str().unwrap();
    let plan = [
        "evenfall", "plan", "-q", "-j", "2", "--rain", "all", "-o", into,
    ];
    let words = plan.iter().chain(more);
    evenfall::cli::run(words.map(Into::into));
    let mut files = contents(&out);
    if out.join("rain").is_dir() {
        files.extend(contents(&out.join("rain")));
    }
    files
}

#[test]
fn a_whole_run_leaves_the_same_bytes() {
    let Some(_turn) = turn() else { return };
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("sample-parcels");
    let layer = |name: &str| root.join(name).to_str().unwrap().to_owned();
    let campus = [
        layer("campus/program.toml"),
        "--turf".to_owned(),
        layer("campus/turf.geojson"),
        "--heads".to_owned(),
        layer("campus/heads.geojson"),
        "--obstacles".to_owned(),
        layer("campus/obstacles.geojson"),
        "--effort".to_owned(),
        "fast".to_owned(),
    ];
    let campus: Vec<&str> = campus.iter().map(String::as_str).collect();
    let home = folder();
    Vectors::Widest.force();
    let wide = planned(home.path(), "wide", &campus);
    Vectors::Baseline.force();
    let narrow = planned(home.path(), "narrow", &campus);
    Vectors::Widest.force();
    assert!(wide.len() > 10, "{} files", wide.len());
    assert_eq!(wide.len(), narrow.len());
    let differing: Vec<&String> = wide
        .iter()
        .zip(&narrow)
        .filter(|(one, other)| one != other)
        .map(|(one, _)| &one.0)
        .collect();
    let same = wide.len() - differing.len();
    println!(
        "score: vector paths equal, files of a run: {same} of {}",
        wide.len()
    );
    assert!(differing.is_empty(), "{differing:?}");
}
