//! What an auditor expects of heads that are in the ground: what they were meant to do, what is
//! left of it, what a repair brings and what other nozzles on the same positions do.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a test fails by panicking"
)]

#[allow(dead_code, reason = "each test file uses its own share of the lawns")]
mod lawns;
mod shared;

use std::collections::BTreeSet;
use std::fs;
use std::sync::LazyLock;

use evenfall::assumptions::Assumptions;
use evenfall::catalogue::{Catalogue, Family, Head, Pattern, Role};
use evenfall::crs::Frame;
use evenfall::place::swap::{
    Changed, Found, Installed, Order, Wear, Where, installed, objective, repaired, swapped,
};
use evenfall::place::{Effort, Site, rule_layout, rule_throw_m};
use evenfall::shape::{Outline, Point};
use evenfall::site::{Condition, ExistingHead};
use evenfall::uniformity::{Surroundings, measure};
use serde_json::{Value, json};
use shared::{evenfall, folder};

static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(Catalogue::generic);

const ORDER: Order = Order {
    effort: Effort::Fast,
    capped_below_frac: 0.5,
    reach_over_width_frac: 1.5,
};

/// Distance from the boundary within which a head stands on it [m]: the default.
const ON_BOUNDARY_M: f64 = 1.0;

fn families() -> Vec<&'static Family> {
    CATALOGUE.families.iter().collect()
}

fn family(name: &str) -> &'static Family {
    CATALOGUE.family(name).unwrap()
}

/// A head of which only the position is known.
fn bare() -> ExistingHead {
    ExistingHead {
        position: geo::Point::new(0.0, 0.0),
        family: None,
        radius_m: None,
        arc_deg: None,
        azimuth_deg: None,
        pressure_kpa: None,
        flow_lpm: None,
        station: None,
        regulated: None,
        body_mm: None,
        condition: None,
    }
}

/// The heads of a layout as a careful survey records them.
fn surveyed(heads: &[Head], family: &str) -> Vec<(Point, ExistingHead)> {
    heads
        .iter()
        .map(|head| {
            let Pattern::Sector {
                radius_m,
                start_deg,
                sweep_deg,
            } = head.pattern
            else {
                panic!("a layout of sectors");
            };
            let record = ExistingHead {
                family: Some(family.to_owned()),
                radius_m: Some(radius_m),
                arc_deg: Some(sweep_deg),
                azimuth_deg: Some(start_deg),
                condition: Some(Condition::Ok),
                ..bare()
            };
            (head.at, record)
        })
        .collect()
}

fn read(outline: &Outline, heads: &[(Point, ExistingHead)]) -> Vec<Installed> {
    let found: Vec<Found> = heads
        .iter()
        .map(|(at, head)| Found { at: *at, head })
        .collect();
    // The first family of the catalogue is spray.
    installed(&Site::open(outline), &found, &families(), 0, ON_BOUNDARY_M)
}

fn read_bare(outline: &Outline, places: &[(f64, f64)]) -> Vec<Installed> {
    let heads: Vec<(Point, ExistingHead)> = places
        .iter()
        .map(|&(x, y)| (Point::new(x, y), bare()))
        .collect();
    read(outline, &heads)
}

fn at_work(installed: &[Installed]) -> Vec<Head> {
    let wear = Wear::assumed(&Assumptions::defaults());
    installed
        .iter()
        .map(|one| wear.at_work(one, &CATALOGUE.families[one.family]))
        .collect()
}

fn du_lq(outline: &Outline, heads: &[Head], family: &Family) -> f64 {
    measure(outline, heads, &family.profile, &Surroundings::default())
        .unwrap()
        .du_lq
}

/// A cheap repeatable sequence in −1..1.
fn sequence(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed;
    move || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        2.0 * ((state >> 11) as f64 / (1_u64 << 53) as f64) - 1.0
    }
}

fn all_lawns() -> Vec<(&'static str, Outline)> {
    vec![
        ("square", lawns::rectangle(10.0, 10.0)),
        ("rectangle", lawns::rectangle(9.0, 13.0)),
        ("L", lawns::l_shape()),
        ("triangle", lawns::triangle()),
        ("trapezoid", lawns::trapezoid()),
        ("disc", lawns::disc(6.0)),
        ("kidney", lawns::kidney()),
        ("ring", lawns::annulus(11.0, 4.0)),
    ]
}

/// A layout by the plain rule.
fn by_rule(outline: &Outline, family: &Family) -> Vec<Head> {
    let site = Site::open(outline);
    rule_layout(&site, family, rule_throw_m(&site, family))
}

/// A spray layout by the plain rule, every head a little off and nothing but positions recorded.
fn off_the_rule(outline: &Outline, seed: u64) -> Vec<(Point, ExistingHead)> {
    let mut next = sequence(seed);
    by_rule(outline, family("spray"))
        .iter()
        .map(|head| (head.at + Point::new(next(), next()) * 0.3, bare()))
        .collect()
}

#[test]
fn four_bare_corner_heads_throw_inward_across_the_square() {
    let side_m = 4.0;
    let outline = lawns::rectangle(side_m, side_m);
    // Two of them beside the corner, as a hand-held receiver puts them.
    let places = [(0.0, 0.0), (4.2, -0.1), (4.0, 4.0), (0.1, 3.9)];
    let heads = read_bare(&outline, &places);
    // Clockwise from north: the south-west corner opens from north to east.
    for (head, start_deg) in heads.iter().zip([0.0, 270.0, 180.0, 90.0]) {
        assert_eq!((head.start_deg, head.sweep_deg), (start_deg, 90.0));
        assert!(head.missing.throw && head.missing.arc && head.missing.aim);
    }
    let exact = read_bare(&outline, &[(0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0)]);
    for head in &exact {
        assert_eq!(head.radius_m, side_m);
        // 4 m is the longest throw of the nozzle of 10.6667 L/min a full circle: a quarter of it.
        assert!((head.flow_lpm - 10.666_666_7 / 4.0).abs() < 1e-6);
    }
}

#[test]
fn edges_get_half_circles_and_the_middle_full_ones() {
    let outline = lawns::rectangle(8.0, 8.0);
    let places: Vec<(f64, f64)> = (0..9)
        .map(|k| (4.0 * f64::from(k % 3), 4.0 * f64::from(k / 3)))
        .collect();
    let heads = read_bare(&outline, &places);
    let arcs: Vec<f64> = heads.iter().map(|head| head.sweep_deg).collect();
    assert_eq!(
        arcs,
        [90.0, 180.0, 90.0, 180.0, 360.0, 180.0, 90.0, 180.0, 90.0]
    );
    // South, west, east and north edge: the half circle starts along the edge.
    let starts = [1, 3, 5, 7].map(|i| heads[i].start_deg);
    assert_eq!(starts, [270.0, 0.0, 180.0, 90.0]);
    assert!(heads.iter().all(|head| head.radius_m == 4.0));
    // Half a metre beside the turf is still its edge.
    let outside = read_bare(&outline, &[(4.0, -0.5), (0.0, 0.0), (8.0, 0.0)]);
    assert_eq!((outside[0].start_deg, outside[0].sweep_deg), (270.0, 180.0));
}

#[test]
fn what_a_survey_gives_wins() {
    let outline = lawns::rectangle(4.0, 4.0);
    let given = ExistingHead {
        family: Some("Rotary-Mid".to_owned()),
        radius_m: Some(3.456),
        arc_deg: Some(123.4),
        azimuth_deg: Some(359.9),
        flow_lpm: Some(1.25),
        pressure_kpa: Some(300.0),
        ..bare()
    };
    let heads = read(&outline, &[(Point::new(0.0, 0.0), given)]);
    let head = &heads[0];
    assert_eq!(CATALOGUE.families[head.family].name, "rotary-mid");
    assert_eq!(
        (head.radius_m, head.start_deg, head.sweep_deg),
        (3.46, 0.0, 123.0)
    );
    assert_eq!((head.flow_lpm, head.pressure_kpa), (1.25, 300.0));
    assert!(!head.missing.any());
    // Flow follows the root of the pressure where bodies do not regulate it: exponent 0.5.
    let pressed = |regulated| {
        let head = ExistingHead {
            pressure_kpa: Some(4.0 * 210.0),
            radius_m: Some(4.0),
            regulated,
            ..bare()
        };
        read(&outline, &[(Point::new(0.0, 0.0), head)])[0].flow_lpm
    };
    let rated = 10.666_666_7 / 4.0;
    assert!((pressed(None) - 2.0 * rated).abs() < 1e-6);
    assert!((pressed(Some(true)) - rated).abs() < 1e-6);
}

#[test]
fn a_surveyed_layout_rains_as_it_was_drawn() {
    let mut compared = 0;
    for (name, outline) in all_lawns() {
        for family in &CATALOGUE.families {
            let drawn = by_rule(&outline, family);
            let found = at_work(&read(&outline, &surveyed(&drawn, &family.name)));
            let measured = |heads: &[Head]| {
                measure(&outline, heads, &family.profile, &Surroundings::default()).unwrap()
            };
            assert_eq!(
                measured(&found),
                measured(&drawn),
                "{name}, {}",
                family.name
            );
            compared += 1;
        }
    }
    assert!(compared >= 20);
}

#[test]
fn each_condition_does_what_the_table_says() {
    let outline = lawns::rectangle(8.0, 8.0);
    let rule = by_rule(&outline, family("spray"));
    let sound = surveyed(&rule, "spray");
    let with = |condition| {
        let mut heads = sound.clone();
        heads[1].1.condition = Some(condition);
        at_work(&read(&outline, &heads))
    };
    // The head in the middle of an edge.
    let of = |heads: &[Head]| match heads[1].pattern {
        Pattern::Sector {
            radius_m,
            start_deg,
            ..
        } => (radius_m, start_deg, heads[1].flow.lpm()),
        Pattern::Strip { .. } => panic!("no strip"),
    };
    let (radius_m, start_deg, flow_lpm) = of(&with(Condition::Ok));
    let even = du_lq(&outline, &with(Condition::Ok), family("spray"));
    // Shares of throw and flow: the defaults of the section `heads`.
    for (condition, throw_frac, flow_frac) in [
        (Condition::Sunk, 0.75, 1.0),
        (Condition::Tilted, 0.9, 1.0),
        (Condition::Blocked, 0.7, 0.5),
        (Condition::Leaking, 0.9, 0.8),
        (Condition::Broken, 0.3, 0.5),
        (Condition::Misaimed, 1.0, 1.0),
    ] {
        let heads = with(condition);
        let (worn_m, worn_deg, worn_lpm) = of(&heads);
        // Throws are whole centimetres.
        assert!((worn_m - throw_frac * radius_m).abs() <= 0.005 + 1e-9);
        assert!((worn_lpm - flow_frac * flow_lpm).abs() < 1e-9);
        // Where a survey gives the azimuth, it is the one seen on the ground.
        assert_eq!(worn_deg, start_deg);
        if matches!(condition, Condition::Blocked | Condition::Broken) {
            assert!(du_lq(&outline, &heads, family("spray")) < even);
        }
    }
    let mut heads = sound;
    heads[1].1.azimuth_deg = None;
    heads[1].1.condition = Some(Condition::Misaimed);
    let (_, turned_deg, _) = of(&at_work(&read(&outline, &heads)));
    assert_eq!((turned_deg - start_deg).rem_euclid(360.0), 30.0);
}

fn repair(outline: &Outline, heads: &[Installed]) -> Changed {
    let site = Site::open(outline);
    repaired(&site, heads, family("spray"), &families(), &ORDER)
}

#[test]
fn repair_restores_what_a_condition_took() {
    let outline = lawns::rectangle(9.0, 13.0);
    let rule = by_rule(&outline, family("spray"));
    let sound = du_lq(&outline, &rule, family("spray"));
    let mut heads = surveyed(&rule, "spray");
    for (i, condition) in [
        Condition::Blocked,
        Condition::Broken,
        Condition::Misaimed,
        Condition::Sunk,
    ]
    .into_iter()
    .enumerate()
    {
        heads[2 * i].1.condition = Some(condition);
    }
    heads[4].1.azimuth_deg = heads[4].1.azimuth_deg.map(|deg| (deg + 45.0) % 360.0);
    let read = read(&outline, &heads);
    let worn = du_lq(&outline, &at_work(&read), family("spray"));
    let mended = repair(&outline, &read);
    assert!(worn < sound - 0.03, "{worn} {sound}");
    // The mended lawn may trade a little evenness for less overspray.
    let restored = du_lq(&outline, &mended.heads, family("spray"));
    assert!(restored > sound - 0.02, "{restored} {sound}");
    let moved = mended
        .heads
        .iter()
        .zip(&heads)
        .any(|(head, (at, _))| head.at != *at);
    assert!(!moved && mended.heads.len() == heads.len() && mended.capped.is_empty());
}

#[test]
fn repair_is_never_worse_than_what_was_found() {
    let conditions = [
        Condition::Ok,
        Condition::Sunk,
        Condition::Tilted,
        Condition::Blocked,
        Condition::Leaking,
        Condition::Broken,
        Condition::Misaimed,
    ];
    let mut compared = 0;
    for (name, outline) in all_lawns() {
        for seed in 0..6 {
            let mut heads = off_the_rule(&outline, seed);
            let mut next = sequence(seed + 100);
            for (_, head) in &mut heads {
                let draw = next();
                if draw > 0.2 {
                    head.condition = Some(conditions[(draw * 8.0) as usize % 7]);
                }
                if draw < -0.5 {
                    head.radius_m = Some(2.0 + 4.0 * draw.abs());
                }
            }
            let read = read(&outline, &heads);
            let site = Site::open(&outline);
            let before = objective(&site, family("spray"), &at_work(&read));
            let after = objective(&site, family("spray"), &repair(&outline, &read).heads);
            assert!(after <= before, "{name}, seed {seed}: {after} {before}");
            compared += 1;
        }
    }
    assert_eq!(compared, 48);
}

#[test]
fn a_head_to_head_square_keeps_its_positions() {
    let outline = lawns::rectangle(8.0, 8.0);
    let places: Vec<(f64, f64)> = (0..9)
        .map(|k| (4.0 * f64::from(k % 3), 4.0 * f64::from(k / 3)))
        .collect();
    let read = read_bare(&outline, &places);
    for name in ["rotary-mid", "rotary-slow"] {
        let changed = swapped(&Site::open(&outline), &read, family(name), &ORDER);
        assert_eq!(changed.from, (0..9).map(Some).collect::<Vec<_>>(), "{name}");
        assert!(changed.gaps.is_empty() && changed.capped.is_empty());
        for (head, &(x, y)) in changed.heads.iter().zip(&places) {
            assert_eq!((head.at.x, head.at.y, head.role), (x, y, Role::Kept));
        }
        let found = measure(
            &outline,
            &changed.heads,
            &family(name).profile,
            &Surroundings::default(),
        )
        .unwrap();
        assert_eq!(found.h2h_frac, 1.0, "{name}");
        // A square of heads at head-to-head spacing, triangular profile: 0.8 and better.
        assert!(found.du_lq > 0.8, "{name}: {}", found.du_lq);
    }
}

#[test]
fn a_gap_too_wide_for_the_family_is_named_and_closed() {
    let side_m = 14.0;
    let outline = lawns::rectangle(side_m, side_m);
    let read = read_bare(
        &outline,
        &[(0.0, 0.0), (side_m, 0.0), (side_m, side_m), (0.0, side_m)],
    );
    let mid = family("rotary-mid");
    let changed = swapped(&Site::open(&outline), &read, mid, &ORDER);
    let edges = changed
        .gaps
        .iter()
        .filter(|gap| gap.on == Where::Boundary)
        .collect::<Vec<_>>();
    assert_eq!(edges.len(), 4);
    // Neighbouring corners are a side apart.
    assert!(edges.iter().all(|gap| (gap.length_m - side_m).abs() < 1e-9));
    let added: Vec<&Head> = changed
        .heads
        .iter()
        .zip(&changed.from)
        .filter(|(_, from)| from.is_none())
        .map(|(head, _)| head)
        .collect();
    // 14 m in gaps of at most 1.05 times 5 m: three gaps, two heads on each side.
    let on_edges = added.iter().filter(|head| head.role == Role::Edge).count();
    assert_eq!(on_edges, 8);
    assert!(added.iter().any(|head| head.role == Role::Interior));
    assert!(added.iter().all(|head| head.role != Role::Kept));
    for k in 0..=28 {
        for place in [
            Point::new(0.5 * f64::from(k), 0.0),
            Point::new(0.5 * f64::from(k), 7.0),
        ] {
            let nearest = changed
                .heads
                .iter()
                .map(|head| head.at.distance(place))
                .fold(f64::INFINITY, f64::min);
            // 0.75 of the throw, and half a step of the net that is looked at.
            assert!(nearest <= 0.75 * 5.0 + 0.45, "{place:?}: {nearest}");
        }
    }
    // The slow family reaches 10 m: fewer heads do.
    let slow = swapped(&Site::open(&outline), &read, family("rotary-slow"), &ORDER);
    assert!(slow.heads.len() < changed.heads.len());
}

#[test]
fn a_missing_corner_is_where_the_head_goes() {
    let outline = lawns::rectangle(8.0, 8.0);
    let places: Vec<(f64, f64)> = (1..9)
        .map(|k| (4.0 * f64::from(k % 3), 4.0 * f64::from(k / 3)))
        .collect();
    let read = read_bare(&outline, &places);
    let changed = swapped(&Site::open(&outline), &read, family("rotary-mid"), &ORDER);
    assert_eq!((changed.gaps.len(), changed.heads.len()), (1, 9));
    let added = changed.heads.last().unwrap();
    assert_eq!((added.at, added.role), (Point::new(0.0, 0.0), Role::Corner));
}

#[test]
fn a_head_that_is_one_too_many_is_capped() {
    let outline = lawns::rectangle(8.0, 8.0);
    let mut places: Vec<(f64, f64)> = (0..9)
        .map(|k| (4.0 * f64::from(k % 3), 4.0 * f64::from(k / 3)))
        .collect();
    places.push((4.9, 4.3));
    let read = read_bare(&outline, &places);
    let mid = family("rotary-mid");
    let changed = swapped(&Site::open(&outline), &read, mid, &ORDER);
    // One of the two heads in the middle goes.
    assert_eq!(changed.capped.len(), 1);
    assert!([4, 9].contains(&changed.capped[0]));
    let kept: BTreeSet<usize> = changed.from.iter().flatten().copied().collect();
    assert!(!kept.contains(&changed.capped[0]) && kept.len() == 9);
    let keeping = Order {
        capped_below_frac: 0.0,
        ..ORDER
    };
    let all = swapped(&Site::open(&outline), &read, mid, &keeping);
    assert_eq!((all.heads.len(), all.capped.len()), (10, 0));
}

#[test]
fn no_swap_is_dry_or_beyond_its_family() {
    let mut heads = 0;
    for (name, outline) in all_lawns() {
        for seed in 0..3 {
            let read = read(&outline, &off_the_rule(&outline, seed));
            for family in &CATALOGUE.families[1..] {
                let changed = swapped(&Site::open(&outline), &read, family, &ORDER);
                let mut nozzles = BTreeSet::new();
                for head in &changed.heads {
                    let Pattern::Sector {
                        radius_m,
                        sweep_deg,
                        ..
                    } = head.pattern
                    else {
                        panic!("no strip");
                    };
                    let nozzle = &family.nozzles[head.nozzle];
                    assert!(
                        radius_m <= nozzle.longest.m() + 1e-9
                            && radius_m >= nozzle.shortest.m() - 1e-9,
                        "{name}: {radius_m}"
                    );
                    assert!(sweep_deg % 5.0 == 0.0 && sweep_deg >= 45.0);
                    nozzles.insert(head.nozzle);
                    heads += 1;
                }
                assert!(nozzles.len() <= 4, "{name}");
                let profile = &family.profile;
                let found =
                    measure(&outline, &changed.heads, profile, &Surroundings::default()).unwrap();
                assert!(found.dry_frac < 0.01, "{name}: {}", found.dry_frac);
            }
        }
    }
    assert!(heads > 500);
}

// ------------------------------------------------------------------ the whole program

/// Lawns and heads in metres about a place, as layers.
struct Layers {
    frame: Frame,
    lawns: Vec<Value>,
    heads: Vec<Value>,
}

impl Layers {
    fn new() -> Layers {
        Layers {
            frame: Frame::about(-77.0, 39.0),
            lawns: Vec::new(),
            heads: Vec::new(),
        }
    }

    fn degrees(&self, x: f64, y: f64) -> Value {
        let (lon, lat) = self.frame.to_lonlat(Point::new(x, y));
        json!([lon, lat])
    }

    /// A rectangle of the parcel `P`.
    fn lawn(mut self, west: f64, south: f64, width: f64, height: f64) -> Layers {
        let ring: Vec<Value> = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0), (0.0, 0.0)]
            .map(|(u, v)| self.degrees(west + u * width, south + v * height))
            .to_vec();
        self.lawns.push(json!({
            "type": "Feature", "properties": {"parcel_id": "P"},
            "geometry": {"type": "Polygon", "coordinates": [ring]},
        }));
        self
    }

    fn head(mut self, x: f64, y: f64, properties: &Value) -> Layers {
        let at = self.degrees(x, y);
        self.heads.push(json!({
            "type": "Feature", "properties": properties,
            "geometry": {"type": "Point", "coordinates": at},
        }));
        self
    }

    /// Heads at the corners, the middles of the sides and the centre of a square of 8 m.
    fn nine(mut self, west: f64, properties: impl Fn(i32) -> Value) -> Layers {
        for k in 0..9 {
            let (x, y) = (4.0 * f64::from(k % 3), 4.0 * f64::from(k / 3));
            self = self.head(west + x, y, &properties(k));
        }
        self
    }

    fn plan(&self) -> Planned {
        let home = folder();
        let write = |name: &str, features: &[Value]| {
            let whole = json!({"type": "FeatureCollection", "features": features});
            fs::write(home.path().join(name), whole.to_string()).unwrap();
        };
        write("turf.geojson", &self.lawns);
        write("heads.geojson", &self.heads);
        let mut arguments = vec!["plan", "--turf", "turf.geojson", "-o", "out", "-v"];
        if !self.heads.is_empty() {
            arguments.extend(["--heads", "heads.geojson"]);
        }
        arguments.extend(["--effort", "fast"]);
        // So that water is worth new nozzles.
        arguments.extend(["--set", "prices.avoided_cur_m3=90"]);
        let ran = evenfall(home.path(), &arguments);
        assert_eq!(ran.status, Some(0), "{}", ran.stderr);
        let rows = |name: &str| -> Vec<Value> {
            let text = fs::read_to_string(home.path().join("out").join(name)).unwrap();
            let whole: Value = serde_json::from_str(&text).unwrap();
            let features = whole["features"].as_array().unwrap().iter();
            features.map(|one| one["properties"].clone()).collect()
        };
        Planned {
            turf: rows("turf.geojson"),
            heads: rows("heads.geojson"),
            parcels: rows("parcels.geojson"),
            told: ran.stdout + &ran.stderr,
        }
    }
}

struct Planned {
    turf: Vec<Value>,
    heads: Vec<Value>,
    parcels: Vec<Value>,
    told: String,
}

impl Planned {
    fn scenario(&self, name: &str) -> Vec<&Value> {
        self.turf
            .iter()
            .filter(|row| row["scenario"] == name)
            .collect()
    }

    fn heads_of(&self, name: &str) -> Vec<&Value> {
        self.heads
            .iter()
            .filter(|row| row["scenario"] == name)
            .collect()
    }
}

fn flags(row: &Value) -> Vec<&str> {
    row["flags"]
        .as_str()
        .unwrap_or_default()
        .split(';')
        .collect()
}

#[test]
fn without_heads_repair_and_swap_rest_on_an_assumed_layout_and_that_is_said() {
    let planned = Layers::new().lawn(0.0, 0.0, 8.0, 8.0).plan();
    let found = planned.scenario("as-found")[0];
    assert_eq!(found["family"], "spray");
    for name in [
        "as-found",
        "repair",
        "repair+regulated",
        "swap:rotary-mid",
        "swap:rotary-mid+regulated",
        "swap:rotary-slow",
    ] {
        let row = planned.scenario(name)[0];
        assert!(flags(row).contains(&"as-found-assumed"), "{name}");
        // Every head gets a nozzle, and no head more.
        assert_eq!(row["heads"], found["heads"], "{name}");
        let bodies = match name {
            "as-found" => Value::Null,
            _ if name.ends_with("+regulated") => found["heads"].clone(),
            _ => json!(0),
        };
        assert_eq!(row["bodies_changed"], bodies, "{name}");
    }
    assert!(!flags(planned.scenario("relayout:spray")[0]).contains(&"as-found-assumed"));
    let parcel = &planned.parcels[0];
    assert!(flags(parcel).contains(&"as-found-assumed"));
    assert_eq!(parcel["asfound_assumed_m3_yr"], parcel["asfound_m3_yr"]);
    assert!(
        planned.told.contains("repair and swap rest on them"),
        "{}",
        planned.told
    );
}

#[test]
fn wide_turf_is_taken_to_have_rotors_and_gets_rotary_nozzles_only_where_they_reach() {
    // 20 m: a rotor throws 18 m at most, and rotary nozzles 10 m.
    let wide = Layers::new().lawn(0.0, 0.0, 20.0, 20.0).plan();
    assert_eq!(wide.scenario("as-found")[0]["family"], "rotor");
    assert_eq!(wide.scenario("repair").len(), 1);
    // A rotor's body does not regulate.
    assert!(wide.scenario("repair+regulated").is_empty());
    let longest_m = wide
        .heads_of("as-found")
        .iter()
        .map(|head| head["radius_m"].as_f64().unwrap())
        .fold(0.0, f64::max);
    assert!(longest_m > 10.5, "{longest_m}");
    assert!(wide.scenario("swap:rotary-slow").is_empty());
    assert!(wide.scenario("swap:rotor").is_empty());
    assert_eq!(wide.scenario("relayout:rotor").len(), 1);
    // Rotors 9 m apart, as a survey found them: rotary-slow reaches from head to head.
    let mut layers = Layers::new().lawn(0.0, 0.0, 18.0, 18.0);
    for k in 0..9 {
        let (x, y) = (9.0 * f64::from(k % 3), 9.0 * f64::from(k / 3));
        layers = layers.head(x, y, &json!({"nozzle_family": "rotor"}));
    }
    let near = layers.plan();
    assert_eq!(near.scenario("as-found")[0]["family"], "rotor");
    assert!(near.scenario("swap:rotary-mid").is_empty());
    // A rotor's body takes no other nozzle.
    assert_eq!(near.scenario("swap:rotary-slow")[0]["bodies_changed"], 9);
    assert_eq!(near.scenario("repair")[0]["bodies_changed"], 0);
}

#[test]
fn with_heads_every_scenario_is_there() {
    let planned = Layers::new()
        .lawn(0.0, 0.0, 8.0, 8.0)
        .nine(0.0, |k| {
            json!({"station": "A1", "regulated": k % 2 == 0, "body_mm": if k < 4 { 50 } else { 100 }})
        })
        .plan();
    let names: Vec<&str> = planned
        .turf
        .iter()
        .map(|row| row["scenario"].as_str().unwrap())
        .collect();
    assert_eq!(
        names,
        [
            "as-found",
            "reclock",
            "repair",
            "repair+regulated",
            "swap:rotary-mid",
            "swap:rotary-mid+regulated",
            "swap:rotary-slow",
            "swap:rotary-slow+regulated",
            "relayout:spray",
            "relayout:rotary-mid",
            "relayout:rotary-slow",
            "relayout:rotor"
        ]
    );
    let found = planned.scenario("as-found")[0];
    assert!(flags(found).contains(&"heads-inferred"));
    assert!(!flags(&planned.parcels[0]).contains(&"as-found-assumed"));
    for name in [
        "repair",
        "repair+regulated",
        "swap:rotary-mid",
        "swap:rotary-mid+regulated",
        "swap:rotary-slow",
        "swap:rotary-slow+regulated",
    ] {
        let row = planned.scenario(name)[0];
        // Four bodies are too low; of the other five two do not regulate.
        let bodies = if name.ends_with("+regulated") { 6 } else { 4 };
        assert_eq!(row["bodies_changed"], bodies, "{name}");
        assert_eq!(
            (&row["heads_added"], &row["heads_capped"]),
            (&json!(0), &json!(0))
        );
        for head in planned.heads_of(name) {
            assert_eq!(
                (&head["role"], &head["station_found"]),
                (&json!("kept"), &json!("A1"))
            );
        }
    }
    assert!(found["bodies_changed"].is_null());
    assert!(planned.told.contains("HE02"), "{}", planned.told);
}

#[test]
fn areas_of_one_station_are_converted_together() {
    // A square, and a second lawn with heads along its long sides or at its corners.
    let plan = |width: f64, height: f64, rows: i32, station: &str| {
        let mut layers = Layers::new()
            .lawn(0.0, 0.0, 8.0, 8.0)
            .lawn(20.0, 0.0, width, height)
            .nine(0.0, |_| json!({"station": "1"}));
        for row in 0..rows {
            let y = height * f64::from(row) / f64::from(rows - 1);
            for x in [20.0, 20.0 + width] {
                layers = layers.head(x, y, &json!({"station": station}));
            }
        }
        layers.plan()
    };
    let recommended = |planned: &Planned| -> Vec<String> {
        let rows = planned.turf.iter().filter(|row| row["recommended"] == true);
        rows.map(|row| row["scenario"].as_str().unwrap().to_owned())
            .collect()
    };
    let mut apart = 0;
    for (width, height, rows) in [
        (2.0, 12.0, 7),
        (3.0, 9.0, 4),
        (5.0, 5.0, 2),
        (14.0, 14.0, 4),
    ] {
        let alone = recommended(&plan(width, height, rows, "2"));
        assert_eq!(alone.len(), 2);
        apart += usize::from(alone[0] != alone[1]);
        let planned = plan(width, height, rows, "1");
        let joined = recommended(&planned);
        assert_eq!(joined.len(), 2);
        assert_eq!(joined[0], joined[1], "{width} by {height}");
        for name in ["swap:rotary-mid", "swap:rotary-slow"] {
            assert_eq!(planned.scenario(name).len(), 2);
            let mut heads = planned.heads_of(name).into_iter();
            assert!(heads.all(|head| head["family"] == name[5..]));
        }
    }
    // Otherwise the test has shown nothing.
    assert!(apart > 0);
}

#[test]
fn a_station_of_two_families_is_told_and_never_left() {
    let planned = Layers::new()
        .lawn(0.0, 0.0, 8.0, 8.0)
        .nine(0.0, |k| {
            json!({"station": "7", "nozzle_family": if k < 3 { "rotary-mid" } else { "spray" }})
        })
        .plan();
    let found = planned.scenario("as-found")[0];
    assert!(flags(found).contains(&"mixed-station"));
    assert_eq!(found["family"], "spray");
    let families = |name: &str| -> BTreeSet<String> {
        planned
            .heads_of(name)
            .iter()
            .map(|head| head["family"].as_str().unwrap().to_owned())
            .collect()
    };
    assert_eq!(families("as-found").len(), 2);
    for name in ["repair", "swap:rotary-mid", "swap:rotary-slow"] {
        assert_eq!(families(name).len(), 1, "{name}");
        assert!(!flags(planned.scenario(name)[0]).contains(&"mixed-station"));
    }
    assert!(planned.told.contains("HE03"), "{}", planned.told);
}

#[test]
fn a_wide_gap_is_flagged_and_its_place_is_told() {
    let mut layers = Layers::new().lawn(0.0, 0.0, 14.0, 14.0);
    for (x, y) in [(0.0, 0.0), (14.0, 0.0), (14.0, 14.0), (0.0, 14.0)] {
        layers = layers.head(x, y, &json!({"station": "3"}));
    }
    let planned = layers.plan();
    let row = planned.scenario("swap:rotary-mid")[0];
    assert!(flags(row).contains(&"swap-gap"));
    assert!(row["heads_added"].as_u64().unwrap() >= 8);
    let roles: BTreeSet<&str> = planned
        .heads_of("swap:rotary-mid")
        .iter()
        .map(|head| head["role"].as_str().unwrap())
        .collect();
    assert!(roles.contains("kept") && roles.contains("edge"));
    // An added head hangs on the station of its neighbour.
    assert!(
        planned
            .heads_of("swap:rotary-mid")
            .iter()
            .all(|head| head["station_found"] == "3")
    );
    assert!(
        planned.told.contains("HE04") && planned.told.contains("14.0 m along the boundary at -7"),
        "{}",
        planned.told
    );
    // A repair adds nothing.
    assert_eq!(planned.scenario("repair")[0]["heads"], 4);
}

#[test]
fn wear_is_the_same_whether_conditions_are_known_or_not() {
    let run = |condition: Value| {
        let planned = Layers::new()
            .lawn(0.0, 0.0, 8.0, 8.0)
            .nine(0.0, |_| json!({"condition": condition}))
            .plan();
        ["as-found", "repair", "relayout:rotary-slow"].map(|name| {
            let row = planned.scenario(name)[0];
            (
                row["du_lq"].as_f64().unwrap(),
                row["du_lq_field"].as_f64().unwrap(),
            )
        })
    };
    // Sound heads rain as those do that nobody looked at, and new hardware wears too.
    let (unknown, sound) = (run(Value::Null), run(json!("ok")));
    assert_eq!(unknown, sound);
    // What a survey sees is in the rain of what is found, and a repair mends it.
    let sunk = run(json!("sunk"));
    assert!(sunk[0].1 < sound[0].1, "{sunk:?} {sound:?}");
    assert_eq!(sunk[1..], sound[1..]);
}

#[test]
fn heads_that_cannot_be_right_are_told_by_code() {
    let planned = Layers::new()
        .lawn(0.0, 0.0, 8.0, 8.0)
        .nine(0.0, |_| json!({}))
        .head(4.0, 4.05, &json!({}))
        .head(60.0, 60.0, &json!({}))
        .head(2.0, 0.0, &json!({"radius_m": -4.0}))
        .head(0.0, 2.0, &json!({"arc_deg": 400}))
        .head(8.0, 2.0, &json!({"condition": "blokced"}))
        .head(2.0, 8.0, &json!({"nozzle_family": "spry"}))
        .plan();
    // Nine, and four of the six: one stands twice and one on no turf.
    assert_eq!(planned.heads_of("as-found").len(), 13);
    for told in [
        "HE01",
        "JO05",
        "radius_m `-4`",
        "arc_deg `400`",
        "condition `blokced`; did you mean `blocked`?",
        "nozzle_family `spry`; did you mean `spray`?",
    ] {
        assert!(planned.told.contains(told), "{told}: {}", planned.told);
    }
}
