//! Wind in the watering hours: drops in flight, what must hold for any wind, and whole runs.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[allow(dead_code, reason = "each test file uses its own share of the lawns")]
mod lawns;
mod shared;

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use evenfall::catalogue::{Catalogue, Family, Head, Pattern};
use evenfall::place::{self, Effort, Favour, Site};
use evenfall::rain::{Drifting, SIDES, Winds, flight_s};
use evenfall::shape::{Outline, Point};
use evenfall::uniformity::{InWind, Surroundings, measure, measure_in_wind};
use serde_json::Value;
use shared::{Ran, evenfall, folder};

// ---------------------------------------------------------------------------------------------
// Drops in flight
// ---------------------------------------------------------------------------------------------

/// Drag coefficient of a drop by its Reynolds number (Fukui, Nakanishi and Okamura 1980, Irrigation
/// Science 2: 23–32; from memory).
fn drag(reynolds: f64) -> f64 {
    if reynolds < 128.0 {
        33.3 / reynolds - 0.0033 * reynolds + 1.2
    } else if reynolds < 1440.0 {
        72.2 / reynolds - 0.000_055_6 * reynolds + 0.48
    } else {
        0.45
    }
}

/// Where a drop that leaves at 15 m/s and 25° eastward from 0.1 m comes down, and after which time:
/// east, north [m], [s]. Air 1.2 kg/m³ and 1.51e-5 m²/s, water 998 kg/m³, the same wind at every height.
fn landing(drop_mm: f64, (east_m_s, north_m_s): (f64, f64)) -> [f64; 3] {
    const STEP_S: f64 = 5e-4;
    let drop_m = drop_mm / 1e3;
    let rates = |s: [f64; 6]| {
        let (x, y, z) = (s[3] - east_m_s, s[4] - north_m_s, s[5]);
        let speed = (x * x + y * y + z * z).sqrt();
        let k = 0.75 * (1.2 / 998.0) * drag(speed * drop_m / 1.51e-5) / drop_m * speed;
        [s[3], s[4], s[5], -k * x, -k * y, -k * z - 9.81]
    };
    let ahead = |s: [f64; 6], rates: [f64; 6], by_s: f64| {
        let mut next = s;
        next.iter_mut().zip(rates).for_each(|(s, r)| *s += by_s * r);
        next
    };
    let angle = 25.0_f64.to_radians();
    let mut s = [0.0, 0.0, 0.1, 15.0 * angle.cos(), 0.0, 15.0 * angle.sin()];
    let mut time_s = 0.0;
    loop {
        let a = rates(s);
        let b = rates(ahead(s, a, STEP_S / 2.0));
        let c = rates(ahead(s, b, STEP_S / 2.0));
        let d = rates(ahead(s, c, STEP_S));
        let mean: Vec<f64> = (0..6)
            .map(|i| (a[i] + 2.0 * b[i] + 2.0 * c[i] + d[i]) / 6.0)
            .collect();
        let next = ahead(s, mean.try_into().unwrap(), STEP_S);
        if next[2] <= 0.0 {
            let part = s[2] / (s[2] - next[2]);
            let at = |i: usize| s[i] + part * (next[i] - s[i]);
            return [at(0), at(1), time_s + part * STEP_S];
        }
        s = next;
        time_s += STEP_S;
    }
}

/// Landing distances by this law, recomputed for this project to 0.5 %.
#[test]
fn drops_come_down_where_the_drag_law_says() {
    for (drop_mm, wind_m_s, distance_m) in [
        (1.0, 0.0, 3.305),
        (2.0, 0.0, 5.945),
        (3.0, 0.0, 7.605),
        (2.0, 2.0, 7.354),
        (2.0, -2.0, 4.561),
    ] {
        let [found_m, _, _] = landing(drop_mm, (wind_m_s, 0.0));
        assert!(
            (found_m / distance_m - 1.0).abs() < 5e-3,
            "{drop_mm} mm, {wind_m_s} m/s: {found_m}"
        );
    }
}

/// A pattern is moved as the drop is that lands at the end of its throw, on a mean over tail, head and
/// side winds: within a quarter, as one number stands for drops that side winds move less.
#[test]
fn patterns_move_as_their_drops_do() {
    let mut compared = 0;
    for drop_mm in [1.0, 1.5, 2.0, 2.5, 3.0] {
        let [throw_m, _, flight] = landing(drop_mm, (0.0, 0.0));
        assert!(
            (flight_s(throw_m, 25.0) / flight - 1.0).abs() < 0.11,
            "{drop_mm} mm"
        );
        for wind_m_s in [1.0, 2.0, 3.0] {
            let tail = landing(drop_mm, (wind_m_s, 0.0))[0] - throw_m;
            let head = throw_m - landing(drop_mm, (-wind_m_s, 0.0))[0];
            let side = landing(drop_mm, (0.0, wind_m_s))[1];
            let moved_m = (tail + head + 2.0 * side) / 4.0;
            let ours_m = DRIFTING.displacement_frac * wind_m_s * flight_s(throw_m, 25.0);
            assert!(
                (ours_m / moved_m - 1.0).abs() < 0.25,
                "{drop_mm} mm, {wind_m_s} m/s: {ours_m} for {moved_m}"
            );
            compared += 1;
        }
    }
    assert_eq!(compared, 15);
}

// ---------------------------------------------------------------------------------------------
// What must hold for any wind
// ---------------------------------------------------------------------------------------------

const DRIFTING: Drifting = Drifting {
    trajectory_deg: 25.0,
    displacement_frac: 0.7,
};

fn layout(outline: &Outline, family: &Family) -> Vec<Head> {
    place::layout(&Site::open(outline), family, Effort::Fast, Favour::Evenness)
}

fn in_wind(outline: &Outline, heads: &[Head], family: &Family, winds: &Winds) -> InWind {
    let around = Surroundings::default();
    let profile = &family.profile;
    measure_in_wind(outline, heads, profile, &around, winds, DRIFTING).unwrap()
}

/// A quarter turn to the right: what lay north lies east.
fn turned(point: Point) -> Point {
    Point::new(point.y, -point.x)
}

fn turned_head(head: &Head) -> Head {
    let mut pattern = head.pattern;
    match &mut pattern {
        Pattern::Sector {
            start_deg,
            sweep_deg,
            ..
        } => {
            if *sweep_deg < 360.0 {
                *start_deg = (*start_deg + 90.0) % 360.0;
            }
        }
        Pattern::Strip { azimuth_deg, .. } => *azimuth_deg = (*azimuth_deg + 90.0) % 360.0,
    }
    Head {
        at: turned(head.at),
        pattern,
        ..head.clone()
    }
}

#[test]
fn still_air_is_what_it_was() {
    let catalogue = Catalogue::generic();
    for outline in [lawns::l_shape(), lawns::trapezoid(), lawns::kidney()] {
        // Rotors throw 8 m and more: these lawns are not theirs.
        for family in catalogue
            .families
            .iter()
            .filter(|family| family.shortest_m() < 5.0)
        {
            let heads = layout(&outline, family);
            let around = Surroundings::default();
            let still = measure(&outline, &heads, &family.profile, &around).unwrap();
            for winds in [
                Winds::default(),
                Winds::from_all_sides(0.0),
                Winds::of_shares(3.0, &[0.0; SIDES]),
            ] {
                let found = in_wind(&outline, &heads, family, &winds);
                // Another grid, laid without the ground around: cells agree but for their margin.
                assert!((found.du_lq - still.du_lq).abs() < 2e-3, "{}", family.name);
                assert!((found.rate_mm_h / still.rate_mm_h - 1.0).abs() < 2e-3);
                assert!((found.cv - still.cv).abs() < 2e-3);
                assert!((found.over_frac - still.over_frac).abs() < 2e-3);
            }
        }
    }
}

#[test]
fn turning_the_world_and_the_wind_changes_nothing() {
    let catalogue = Catalogue::generic();
    let shares = [0.3, 0.1, 0.0, 0.05, 0.2, 0.0, 0.15, 0.0];
    let mut right = shares;
    right.rotate_right(2);
    let mut moved = 0;
    for outline in [lawns::l_shape(), lawns::trapezoid(), lawns::triangle()] {
        let ring: Vec<Point> = outline.outer().iter().map(|&at| turned(at)).collect();
        let outline_turned = Outline::new(ring, vec![]).unwrap();
        // Rotors throw 8 m and more: these lawns are not theirs.
        for family in catalogue
            .families
            .iter()
            .filter(|family| family.shortest_m() < 5.0)
        {
            let heads = layout(&outline, family);
            let heads_turned: Vec<Head> = heads.iter().map(turned_head).collect();
            let winds = Winds::of_shares(2.5, &shares);
            let one = in_wind(&outline, &heads, family, &winds);
            let winds_turned = Winds::of_shares(2.5, &right);
            let other = in_wind(&outline_turned, &heads_turned, family, &winds_turned);
            // Cells begin at the south-west corner, so the turned grid lies up to a cell apart.
            assert!((one.du_lq - other.du_lq).abs() < 8e-3, "{}", family.name);
            assert!((one.rate_mm_h / other.rate_mm_h - 1.0).abs() < 8e-3);
            assert!((one.over_frac - other.over_frac).abs() < 8e-3);
            let not_turned = in_wind(&outline_turned, &heads_turned, family, &winds);
            moved += usize::from((one.du_lq - not_turned.du_lq).abs() > 8e-3);
        }
    }
    assert!(moved >= 2, "the wind's side never mattered: {moved}");
}

#[test]
fn more_wind_takes_more_water_off_the_lawn_and_sides_add_up() {
    let catalogue = Catalogue::generic();
    let outline = lawns::rectangle(20.0, 14.0);
    for family in &catalogue.families {
        let heads = layout(&outline, family);
        let at = |speed: f64| in_wind(&outline, &heads, family, &Winds::from_all_sides(speed));
        let found: Vec<InWind> = [0.0, 1.0, 2.0, 4.0, 6.0].map(at).into();
        for (less, more) in found.iter().zip(&found[1..]) {
            assert!(more.over_frac > less.over_frac, "{}", family.name);
            assert!(more.rate_mm_h < less.rate_mm_h, "{}", family.name);
        }
        assert!(found[4].du_lq < found[0].du_lq - 0.05, "{}", family.name);
        // A rose is the mean of its sides, the calm one included.
        let one_side = |side: usize| {
            let mut shares = [0.0; SIDES];
            shares[side] = 1.0;
            in_wind(&outline, &heads, family, &Winds::of_shares(2.0, &shares))
        };
        let still = at(0.0);
        let mut shares = [0.0; SIDES];
        (shares[1], shares[6]) = (0.5, 0.25);
        // Three quarters of the hours blow at 2 m/s: 1.5 m/s over all of them.
        let rose = in_wind(&outline, &heads, family, &Winds::of_shares(1.5, &shares));
        let mean = |of: fn(&InWind) -> f64| {
            0.5 * of(&one_side(1)) + 0.25 * of(&one_side(6)) + 0.25 * of(&still)
        };
        assert!((rose.du_lq - mean(|w| w.du_lq)).abs() < 1e-12);
        assert!((rose.rate_mm_h - mean(|w| w.rate_mm_h)).abs() < 1e-9);
        assert!((rose.cv * rose.cv - mean(|w| w.cv * w.cv)).abs() < 1e-12);
    }
}

// ---------------------------------------------------------------------------------------------
// Whole runs
// ---------------------------------------------------------------------------------------------

const COLUMNS: [&str; 4] = [
    "du_lq_wind",
    "cu_pct_wind",
    "rate_mm_h_wind",
    "over_frac_wind",
];

fn plan(home: &Path, more: &[&str]) -> Ran {
    let base = [
        "plan",
        "--turf",
        "turf.geojson",
        "-o",
        "out",
        "--overwrite",
        "-q",
        "--effort",
        "rule",
    ];
    evenfall(home, &[&base[..], more].concat())
}

/// The rows of turf by scenario.
fn rows(home: &Path) -> Vec<Value> {
    let text = fs::read_to_string(home.join("out/turf.geojson")).unwrap();
    let layer: Value = serde_json::from_str(&text).unwrap();
    let features = layer["features"].as_array().unwrap();
    assert!(!features.is_empty());
    features.iter().map(|f| f["properties"].clone()).collect()
}

fn number(row: &Value, column: &str) -> f64 {
    let found = row[column].as_f64();
    found.unwrap_or_else(|| panic!("{column}: {}", row[column]))
}

/// A climate of months with these cells behind each.
fn climate(home: &Path, titles: &str, cells: &str) {
    let mut text = format!("month,eto_mm,rain_mm{titles}\n");
    for month in 1..=12 {
        writeln!(text, "{month},{},20{cells}", 60 + 10 * (month % 7)).unwrap();
    }
    fs::write(home.join("climate.csv"), text).unwrap();
}

#[test]
fn wind_is_computed_where_it_is_asked_for() {
    let home = folder();
    shared::lawns(home.path(), 3);
    assert_eq!(plan(home.path(), &[]).status, Some(0));
    let none = rows(home.path());
    for row in &none {
        assert!(COLUMNS.iter().all(|column| row[*column].is_null()));
    }
    let windy = ["--wind", "mean", "--set", "water.wind_m_s=2.5"];
    let ran = plan(home.path(), &windy);
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    let mean = rows(home.path());
    assert_eq!(mean.len(), none.len());
    for (windy, still) in mean.iter().zip(&none) {
        assert_eq!(windy["du_lq"], still["du_lq"]);
        assert!(number(windy, "du_lq_wind") < number(windy, "du_lq"));
        assert!(number(windy, "over_frac_wind") > number(windy, "over_frac"));
        assert!(number(windy, "rate_mm_h_wind") < number(windy, "rate_mm_h"));
        // The wind that was computed stands in for the one that is assumed.
        assert_ne!(windy["du_lq_field"], still["du_lq_field"]);
    }
    // Without any wind, and without an assumed one, the field is that of still air.
    let calm = ["--wind", "mean", "--set", "water.wind_m_s=0"];
    assert_eq!(plan(home.path(), &calm).status, Some(0));
    let calm = rows(home.path());
    let assumed_none = ["--set", "degradation.wind_cv=0"];
    assert_eq!(plan(home.path(), &assumed_none).status, Some(0));
    for (calm, none) in calm.iter().zip(rows(home.path())) {
        assert!((number(calm, "du_lq_wind") - number(calm, "du_lq")).abs() < 2e-3);
        let (one, other) = (number(calm, "du_lq_field"), number(&none, "du_lq_field"));
        assert!((one - other).abs() < 2e-3, "{one} {other}");
    }
}

#[test]
fn a_rose_needs_the_sides_of_the_climate() {
    let home = folder();
    shared::lawns(home.path(), 2);
    climate(home.path(), "", "");
    let rose = ["--wind", "rose", "--climate", "climate.csv"];
    let refused = plan(home.path(), &rose);
    assert_eq!(refused.status, Some(4), "{}", refused.stderr);
    assert!(refused.stderr.contains("CL09"), "{}", refused.stderr);
    assert_eq!(plan(home.path(), &["--wind", "rose"]).status, Some(4));
    let titles = ",wind_n_frac,wind_ne_frac,wind_e_frac,wind_se_frac,wind_s_frac,wind_sw_frac,\
                  wind_w_frac,wind_nw_frac";
    climate(home.path(), titles, ",0.9,0.9,0,0,0,0,0,0");
    let refused = plan(home.path(), &rose);
    assert_eq!(refused.status, Some(4), "{}", refused.stderr);
    assert!(refused.stderr.contains("CL02"), "{}", refused.stderr);
    // All sides alike is what `mean` takes.
    climate(home.path(), titles, &",0.125".repeat(8));
    let ran = plan(home.path(), &rose);
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    let all_sides = rows(home.path());
    let mean = ["--wind", "mean", "--climate", "climate.csv"];
    assert_eq!(plan(home.path(), &mean).status, Some(0));
    assert_eq!(all_sides, rows(home.path()));
    climate(home.path(), titles, ",0.8,0,0,0,0,0,0,0");
    assert_eq!(plan(home.path(), &rose).status, Some(0));
    let north = rows(home.path());
    assert!(
        north
            .iter()
            .zip(&all_sides)
            .any(|(one, other)| one["du_lq_wind"] != other["du_lq_wind"])
    );
}
