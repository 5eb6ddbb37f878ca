//! What must hold for any heads on any lawn: water is conserved, and rates and uniformity do not
//! depend on where north is, in which order heads come, or in which units one counts.
//!
//! Few cases each, from a fixed seed: the same cases on every machine.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[allow(dead_code, reason = "each test file uses its own share of the lawns")]
mod lawns;

use evenfall::catalogue::{Catalogue, Head, Pattern, Profile, Role, StripKind};
use evenfall::place::{Effort, Favour, Site, layout};
use evenfall::rain::{Grid, RainGrid};
use evenfall::shape::{Outline, Point, Ring};
use evenfall::uniformity::{Evenness, Surroundings, Uniformity, cell_m, evenness, measure};
use evenfall::units::Flow;
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

/// Runs a property on the same few cases everywhere.
fn check<S: Strategy>(cases: u32, strategy: S, property: impl Fn(S::Value))
where
    S::Value: std::fmt::Debug,
{
    let config = Config {
        cases,
        failure_persistence: None,
        ..Config::default()
    };
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[7; 32]);
    let ran = std::cell::Cell::new(0);
    TestRunner::new_with_rng(config, rng)
        .run(&strategy, |value| {
            property(value);
            ran.set(ran.get() + 1);
            Ok(())
        })
        .unwrap();
    assert_eq!(ran.get(), cases);
}

// ---------------------------------------------------------------------------------------------
// Heads and lawns drawn at random
// ---------------------------------------------------------------------------------------------

fn sector(at: Point, radius_m: f64, start_deg: f64, sweep_deg: f64, flow_lpm: f64) -> Head {
    Head {
        at,
        role: Role::Interior,
        pattern: Pattern::Sector {
            radius_m,
            start_deg,
            sweep_deg,
        },
        nozzle: 0,
        flow: Flow::from_lpm(flow_lpm).unwrap(),
    }
}

prop_compose! {
    fn any_head()(
        x in -5.0..5.0_f64,
        y in -5.0..5.0_f64,
        radius_m in 2.0..6.0_f64,
        start_deg in 0..360_u16,
        step in 9..=55_u16,
        flow_lpm in 1.0..8.0_f64,
    ) -> Head {
        // 45° to 270° in steps of 5°, beyond that a full circle.
        let sweep_deg = if step > 54 { 360.0 } else { f64::from(step) * 5.0 };
        sector(Point::new(x, y), radius_m, f64::from(start_deg), sweep_deg, flow_lpm)
    }
}

fn heads(count: std::ops::Range<usize>) -> impl Strategy<Value = Vec<Head>> {
    prop::collection::vec(any_head(), count)
}

fn any_profile() -> impl Strategy<Value = Profile> {
    prop_oneof![
        Just(Profile::Triangular),
        Just(Profile::Elliptical),
        Just(Profile::Parabolic),
        Just(Profile::Uniform),
        Just(Profile::parse("[[0,0.4],[0.5,1],[0.8,1],[1,0]]").unwrap()),
    ]
}

/// A lawn with four unequal sides around the origin.
fn any_lawn() -> impl Strategy<Value = Outline> {
    [3.0..7.0_f64, 3.0..7.0_f64, 3.0..7.0_f64, 3.0..7.0_f64].prop_map(|[a, b, c, d]| {
        lawns::lawn(&[(-a, -b), (c, -b * 0.7), (c * 0.8, d), (-a * 0.6, d)])
    })
}

fn rates(grid: &Grid, heads: &[Head], profile: &Profile) -> Vec<f32> {
    RainGrid::of(grid, heads, profile, &[]).turf_rates()
}

/// Largest difference of two fields over the mean of the first.
fn worst(a: &[f32], b: &[f32]) -> f64 {
    assert_eq!(a.len(), b.len());
    assert!(!a.is_empty());
    let mean = a.iter().map(|&x| f64::from(x)).sum::<f64>() / a.len() as f64;
    assert!(mean > 0.0, "a dry field proves nothing");
    let off = a.iter().zip(b).map(|(x, y)| f64::from((x - y).abs()));
    off.fold(0.0, f64::max) / mean
}

/// Fields are f32: sums of a few heads agree to this share of the mean however they are made.
const ROUNDING: f64 = 1e-5;

fn square(half_m: f64) -> Outline {
    lawns::lawn(&[
        (-half_m, -half_m),
        (half_m, -half_m),
        (half_m, half_m),
        (-half_m, half_m),
    ])
}

// ---------------------------------------------------------------------------------------------
// Rain
// ---------------------------------------------------------------------------------------------

#[test]
fn water_out_is_water_on_turf_and_beside_it() {
    let sum = std::cell::Cell::new((0.0_f64, 0.0_f64, 0));
    check(
        48,
        (heads(4..14), any_profile(), any_lawn()),
        |(heads, profile, lawn)| {
            let flow_l_h: f64 = heads.iter().map(|head| 60.0 * head.flow.lpm()).sum();
            let off = |cell_m: f64| {
                // Heads stand up to 5 m from the origin and throw up to 6 m.
                let grid = Grid::over(&lawn, cell_m, 12.0);
                let (turf, beside) = RainGrid::of(&grid, &heads, &profile, &[]).landed_l_h();
                assert!(turf >= 0.0 && beside >= 0.0);
                ((turf + beside) / flow_l_h - 1.0).abs()
            };
            let (coarse, fine) = (off(cell_m(&heads)), off(cell_m(&heads) / 2.0));
            // The stated reach at the default cell is 0.5 %; heads of 45° with a step at their edge
            // are the hardest case.
            assert!(coarse <= 5e-3, "{coarse} lost with {profile}");
            let (a, b, n) = sum.get();
            sum.set((a + coarse, b + fine, n + 1));
        },
    );
    let (coarse, fine, n) = sum.get();
    assert_eq!(n, 48);
    // Halving the cell at least halves the error, over many cases.
    assert!(
        fine < 0.5 * coarse,
        "mean error {coarse} / {n}, of half cells {fine} / {n}"
    );
}

#[test]
fn every_profile_arc_and_throw_integrates_to_its_flow() {
    check(32, (any_head(), any_profile()), |(head, profile)| {
        let Pattern::Sector {
            radius_m,
            sweep_deg,
            ..
        } = head.pattern
        else {
            unreachable!()
        };
        let around = moved(&square(radius_m), |p| p + head.at);
        let grid = Grid::over(&around, radius_m / 500.0, 0.0);
        let (turf, beside) =
            RainGrid::of(&grid, std::slice::from_ref(&head), &profile, &[]).landed_l_h();
        let share = (turf + beside) / (60.0 * head.flow.lpm());
        // Where an edge of the arc runs along rows, columns or diagonals of cells, all of it may
        // err by half a cell to one side: two edges, R/500 wide together, R long, over the
        // sector's θR²/2, and up to 1.5 times the mean rate along them. The rim averages out.
        let edges = if sweep_deg < 360.0 {
            0.006 / sweep_deg.to_radians()
        } else {
            0.0
        };
        assert!((share - 1.0).abs() < 2e-4 + edges, "{share} of {head:?}");
    });
}

#[test]
fn scaling_lengths_by_k_and_flows_by_its_square_changes_no_rate() {
    let strategy = (heads(3..9), any_profile(), any_lawn(), 0.3..4.0_f64);
    check(32, strategy, |(heads, profile, lawn, k)| {
        let scaled: Vec<Head> = heads
            .iter()
            .map(|head| {
                let Pattern::Sector {
                    radius_m,
                    start_deg,
                    sweep_deg,
                } = head.pattern
                else {
                    unreachable!()
                };
                let flow_lpm = head.flow.lpm() * k * k;
                sector(head.at * k, radius_m * k, start_deg, sweep_deg, flow_lpm)
            })
            .collect();
        let larger = moved(&lawn, |p| p * k);
        let a = rates(&Grid::over(&lawn, 0.2, 0.0), &heads, &profile);
        let b = rates(&Grid::over(&larger, 0.2 * k, 0.0), &scaled, &profile);
        // Near the rim an elliptical rate is steep: there a rounding of f32 in r²/R² weighs as
        // √(2 · 6e-8) of the rate at the head, of one head among several.
        let rim = if profile == Profile::Elliptical {
            100.0
        } else {
            1.0
        };
        let found = worst(&a, &b);
        assert!(found < rim * ROUNDING, "{found} with {profile}, k {k}");
        let (a, b) = (evenness(&a).unwrap(), evenness(&b).unwrap());
        assert!((a.du_lq - b.du_lq).abs() < 1e-5 && (a.cu_pct - b.cu_pct).abs() < 1e-3);
    });
}

#[test]
fn doubling_the_flows_doubles_the_rates() {
    check(
        32,
        (heads(1..9), any_profile(), any_lawn()),
        |(mut heads, profile, lawn)| {
            heads.push(sector(Point::default(), 3.0, 0.0, 360.0, 2.0));
            let doubled: Vec<Head> = heads
                .iter()
                .map(|head| Head {
                    flow: head.flow * 2.0,
                    ..head.clone()
                })
                .collect();
            let around = Surroundings::default();
            let grid = Grid::over(&lawn, 0.2, 0.0);
            let (a, b) = (
                rates(&grid, &heads, &profile),
                rates(&grid, &doubled, &profile),
            );
            // A factor of two is exact in binary.
            assert!(a.iter().zip(&b).all(|(x, y)| 2.0 * x == *y));
            let (a, b) = (
                measure(&lawn, &heads, &profile, &around).unwrap(),
                measure(&lawn, &doubled, &profile, &around).unwrap(),
            );
            let ratios = |u: &Uniformity| {
                [
                    u.du_lq,
                    u.du_lq_robust,
                    u.cu_pct,
                    u.cv,
                    u.dry_frac,
                    u.weak_frac,
                    u.twice_frac,
                    u.over_frac,
                ]
            };
            assert_eq!(ratios(&a), ratios(&b));
            assert_eq!(a.sc, b.sc);
        },
    );
}

#[test]
fn the_field_of_two_sets_is_the_sum_of_their_fields() {
    let strategy = (heads(1..7), heads(1..7), any_profile());
    check(32, strategy, |(some, others, profile)| {
        let grid = Grid::over(&square(8.0), 0.25, 0.0);
        let both: Vec<Head> = some.iter().chain(&others).cloned().collect();
        let sum: Vec<f32> = rates(&grid, &some, &profile)
            .iter()
            .zip(rates(&grid, &others, &profile))
            .map(|(a, b)| a + b)
            .collect();
        assert!(worst(&sum, &rates(&grid, &both, &profile)) < ROUNDING);
    });
}

#[test]
fn the_order_of_heads_changes_nothing() {
    let strategy = (heads(2..12), any_profile(), 1..11_usize);
    check(32, strategy, |(heads, profile, turn)| {
        let grid = Grid::over(&square(8.0), 0.25, 0.0);
        let mut other = heads.clone();
        other.rotate_left(turn % heads.len());
        other.reverse();
        let (a, b) = (
            rates(&grid, &heads, &profile),
            rates(&grid, &other, &profile),
        );
        assert!(worst(&a, &b) < ROUNDING);
    });
}

#[test]
fn arcs_that_tile_a_circle_rain_like_the_circle() {
    let cuts = (0..360_u16, 45..136_u16, 45..136_u16);
    check(
        32,
        (any_head(), any_profile(), cuts),
        |(head, profile, (start, first, second))| {
            let Pattern::Sector { radius_m, .. } = head.pattern else {
                unreachable!()
            };
            // Cell centres lie on none of the shared rays.
            let at = Point::new(0.013, -0.029);
            let flow_lpm = head.flow.lpm();
            let circle = [sector(at, radius_m, 0.0, 360.0, flow_lpm)];
            let sweeps = [first, second, 360 - first - second].map(f64::from);
            let mut start_deg = f64::from(start);
            let tiles = sweeps.map(|sweep_deg| {
                let tile = sector(
                    at,
                    radius_m,
                    start_deg,
                    sweep_deg,
                    flow_lpm * sweep_deg / 360.0,
                );
                start_deg += sweep_deg;
                tile
            });
            let grid = Grid::over(&square(7.0), 0.1, 0.0);
            let (whole, tiled) = (
                rates(&grid, &circle, &profile),
                rates(&grid, &tiles, &profile),
            );
            let on_a_ray = whole
                .iter()
                .zip(&tiled)
                .filter(|(a, b)| (*a - *b).abs() > 1e-3 * **a + 1e-4);
            assert_eq!(on_a_ray.count(), 0, "start {start}, {sweeps:?}");
        },
    );
}

// ---------------------------------------------------------------------------------------------
// Moving, turning and mirroring
// ---------------------------------------------------------------------------------------------

fn moved(outline: &Outline, to: impl Fn(Point) -> Point) -> Outline {
    let ring = |ring: &Ring| ring.iter().map(|&p| to(p)).collect::<Ring>();
    Outline::new(
        ring(outline.outer()),
        outline.holes().iter().map(ring).collect(),
    )
    .unwrap()
}

/// A turn about the origin [degrees clockwise], then a shift; mirrored east to west before that.
#[derive(Debug, Clone, Copy)]
struct Motion {
    mirror: bool,
    turn_deg: f64,
    shift: Point,
}

impl Motion {
    fn point(&self, p: Point) -> Point {
        let p = if self.mirror {
            Point::new(-p.x, p.y)
        } else {
            p
        };
        // Exact for quarter turns.
        let (sin, cos) = match self.turn_deg {
            90.0 => (1.0, 0.0),
            180.0 => (0.0, -1.0),
            270.0 => (-1.0, 0.0),
            deg => (libm::sin(deg.to_radians()), libm::cos(deg.to_radians())),
        };
        Point::new(p.x * cos + p.y * sin, p.y * cos - p.x * sin) + self.shift
    }

    fn head(&self, head: &Head) -> Head {
        let Pattern::Sector {
            radius_m,
            start_deg,
            sweep_deg,
        } = head.pattern
        else {
            panic!("a sector was wanted, not {head:?}")
        };
        let start_deg = match (sweep_deg >= 360.0, self.mirror) {
            (true, _) => 0.0,
            (false, true) => -(start_deg + sweep_deg) + self.turn_deg,
            (false, false) => start_deg + self.turn_deg,
        };
        let at = self.point(head.at);
        sector(
            at,
            radius_m,
            start_deg.rem_euclid(360.0),
            sweep_deg,
            head.flow.lpm(),
        )
    }
}

#[test]
fn motions_that_keep_the_grid_keep_the_field() {
    let motion = (any::<bool>(), 0..4_u8, -3..4_i8, -3..4_i8);
    let strategy = (heads(3..9), any_profile(), motion);
    check(
        48,
        strategy,
        |(heads, profile, (mirror, quarters, east, north))| {
            let cell = 0.25;
            let motion = Motion {
                mirror,
                turn_deg: 90.0 * f64::from(quarters),
                shift: Point::new(f64::from(east) * cell, f64::from(north) * cell),
            };
            let lawn = square(7.0);
            let turned: Vec<Head> = heads.iter().map(|head| motion.head(head)).collect();
            let grid = Grid::over(&lawn, cell, 0.0);
            let other = Grid::over(&moved(&lawn, |p| motion.point(p)), cell, 0.0);
            let field = RainGrid::of(&grid, &heads, &profile, &[]);
            let turned = RainGrid::of(&other, &turned, &profile, &[]);
            let (cols, rows) = grid.size();
            assert_eq!(other.size(), (cols, rows));
            let mean = evenness(&field.turf_rates()).unwrap().mean;
            let mut off = 0;
            for row in 0..rows {
                for col in 0..cols {
                    let to = motion.point(grid.centre(col, row)) - other.centre(0, 0);
                    let (i, j) = (
                        (to.x / cell).round() as usize,
                        (to.y / cell).round() as usize,
                    );
                    let d = (field.rate_mm_h(col, row) - turned.rate_mm_h(i, j)).abs();
                    // Elliptical rims are steep (see scaling above).
                    let rim = if profile == Profile::Elliptical {
                        100.0
                    } else {
                        1.0
                    };
                    off += usize::from(d > rim * ROUNDING * mean);
                }
            }
            // A cell centre on an arc's edge may fall to either side.
            assert!(off <= 2, "{off} cells with {profile}, {motion:?}");
        },
    );
}

#[test]
fn motions_change_measures_by_no_more_than_the_grid() {
    let motion = (any::<bool>(), 0.0..360.0_f64, -1.0..1.0_f64, -1.0..1.0_f64);
    // Not the robust value: its members shift patterns to the four sides of the compass, so it
    // knows where north is.
    let names = ["du_lq", "cu_pct / 100", "rate", "twice", "over"];
    let catalogue = Catalogue::generic();
    let family = catalogue.family("rotary-mid").unwrap();
    let lawn = lawns::l_shape();
    let heads = layout(&Site::open(&lawn), family, Effort::Rule, Favour::Evenness);
    let around = Surroundings::default();
    let values = |u: &Uniformity| {
        let relative_rate = u.rate_mm_h / u.rate_gross_mm_h;
        [
            u.du_lq,
            u.cu_pct / 100.0,
            relative_rate,
            u.twice_frac,
            u.over_frac,
        ]
    };
    let before = values(&measure(&lawn, &heads, &family.profile, &around).unwrap());
    check(24, motion, |(mirror, turn_deg, east, north)| {
        let motion = Motion {
            mirror,
            turn_deg,
            shift: Point::new(east, north),
        };
        let turned: Vec<Head> = heads.iter().map(|head| motion.head(head)).collect();
        let lawn = moved(&lawn, |p| motion.point(p));
        let after = values(&measure(&lawn, &turned, &family.profile, &around).unwrap());
        for ((name, a), b) in names.iter().zip(before).zip(after) {
            // About 4,000 cells; 0.0014 was the largest difference seen.
            assert!(
                (a - b).abs() < 0.003,
                "{name}: {a} became {b} by {motion:?}"
            );
        }
    });
}

/// Moves after which a layout is known to be less even by more than that, with the reason.
const KNOWN: [(&str, f64); 0] = [];

/// Layouts of the default effort on a lawn that was moved, turned or mirrored before: the search
/// sees other cells and ends in another of many layouts that are nearly as good.
#[test]
fn a_moved_lawn_gets_a_layout_as_good() {
    /// The largest difference seen was 0.010.
    const TOLERANCE: f64 = 0.015;
    let catalogue = Catalogue::generic();
    let family = catalogue.family("rotary-mid").unwrap();
    let around = Surroundings::default();
    let shapes = [
        ("rectangle", lawns::rectangle(12.0, 18.0)),
        ("L", lawns::l_shape()),
        ("disc", lawns::disc(8.0)),
        ("trapezoid", lawns::trapezoid()),
        ("kidney", lawns::kidney()),
    ];
    let evenness_of = |lawn: &Outline| {
        let heads = layout(&Site::open(lawn), family, Effort::Normal, Favour::Evenness);
        measure(lawn, &heads, &family.profile, &around)
            .unwrap()
            .du_lq
    };
    let mut held = 0;
    let mut wrong = Vec::new();
    for (name, lawn) in &shapes {
        let before = evenness_of(lawn);
        for (mirror, turn_deg, east, north) in [
            (false, 0.0, 3.21, -1.17),
            (false, 90.0, 0.0, 0.0),
            (true, 0.0, 0.0, 0.0),
            (false, 37.0, 0.4, 0.9),
            (true, 211.0, -7.3, 2.2),
        ] {
            let motion = Motion {
                mirror,
                turn_deg,
                shift: Point::new(east, north),
            };
            let after = evenness_of(&moved(lawn, |p| motion.point(p)));
            let holds = (after - before).abs() <= TOLERANCE;
            let known = KNOWN.contains(&(name, turn_deg));
            if holds == known {
                wrong.push(format!("{name}: {before} became {after} by {motion:?}"));
            }
            held += usize::from(holds);
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert_eq!(held, 5 * 5 - KNOWN.len());
}

// ---------------------------------------------------------------------------------------------
// Uniformity
// ---------------------------------------------------------------------------------------------

fn sample() -> impl Strategy<Value = Vec<f32>> {
    // Smooth, tied, and one far above the rest.
    prop_oneof![
        prop::collection::vec(0.5..20.0_f32, 1..400),
        prop::collection::vec((0..5_u8).prop_map(|x| f32::from(x) + 0.25), 1..400),
        prop::collection::vec(0.5..20.0_f32, 1..50).prop_map(|mut sample| {
            sample.push(5_000.0);
            sample
        }),
    ]
}

fn all_close(a: &Evenness, b: &Evenness, tolerance: f64) -> bool {
    (a.du_lq - b.du_lq).abs() < tolerance
        && (a.du_lh - b.du_lh).abs() < tolerance
        && (a.cu_pct - b.cu_pct).abs() < 100.0 * tolerance
        && (a.cv - b.cv).abs() < tolerance * (1.0 + a.cv)
}

/// The mean of the lowest share by sorting, the value on the boundary counted in part.
fn lowest_mean(sample: &[f32], share: f64) -> f64 {
    let mut sorted: Vec<f64> = sample.iter().map(|&x| f64::from(x)).collect();
    sorted.sort_by(f64::total_cmp);
    let quota = share * sorted.len() as f64;
    let whole = quota.floor() as usize;
    let part = (quota - whole as f64) * sorted.get(whole).copied().unwrap_or(0.0);
    (sorted[..whole].iter().sum::<f64>() + part) / quota
}

#[test]
fn the_low_quarter_is_what_sorting_finds() {
    check(200, sample(), |sample| {
        let found = evenness(&sample).unwrap();
        let mean = sample.iter().map(|&x| f64::from(x)).sum::<f64>() / sample.len() as f64;
        // f64 sums in another order.
        assert!((found.du_lq - lowest_mean(&sample, 0.25) / mean).abs() < 1e-12);
        assert!((found.du_lh - lowest_mean(&sample, 0.5) / mean).abs() < 1e-12);
    });
}

#[test]
fn measures_stand_in_their_order() {
    check(200, sample(), |sample| {
        let found = evenness(&sample).unwrap();
        let least = f64::from(sample.iter().copied().fold(f32::INFINITY, f32::min));
        let dust = 1e-12;
        assert!(least / found.mean <= found.du_lq + dust);
        assert!(found.du_lq <= found.du_lh + dust && found.du_lh <= 1.0 + dust);
        assert!(found.cu_pct / 100.0 <= found.du_lh + dust);
        assert!(found.cu_pct <= 100.0 && found.cv >= 0.0);
    });
}

#[test]
fn what_leaves_evenness_alone_and_what_raises_it() {
    check(
        200,
        (sample(), 2..5_usize, 0.1..9.0_f32),
        |(sample, times, depth)| {
            let found = evenness(&sample).unwrap();
            let as_f32 = |factor: f32| sample.iter().map(|x| x * factor).collect::<Vec<f32>>();
            // A power of two is exact; any other factor rounds each value to f32.
            assert!(all_close(&found, &evenness(&as_f32(0.25)).unwrap(), 1e-12));
            assert!(all_close(&found, &evenness(&as_f32(depth)).unwrap(), 1e-6));
            let repeated = sample.repeat(times);
            assert!(all_close(&found, &evenness(&repeated).unwrap(), 1e-12));
            let mut backwards = sample.clone();
            backwards.reverse();
            assert!(all_close(&found, &evenness(&backwards).unwrap(), 1e-12));
            let deeper: Vec<f32> = sample.iter().map(|x| x + depth).collect();
            let raised = evenness(&deeper).unwrap();
            // The sum of two f32 rounds by 6e-8 of it.
            assert!(raised.du_lq >= found.du_lq - 1e-6);
            assert!(raised.cu_pct >= found.cu_pct - 1e-4);
        },
    );
}

/// A strip that waters just the lawn rains the same everywhere.
#[test]
fn a_constant_field_is_perfectly_even() {
    let lawn = lawns::lawn(&[(-4.5, 0.0), (4.5, 0.0), (4.5, 1.5), (-4.5, 1.5)]);
    let strip = Head {
        at: Point::new(0.0, 0.0),
        role: Role::Strip,
        pattern: Pattern::Strip {
            kind: StripKind::Side,
            length_m: 9.0,
            width_m: 1.5,
            azimuth_deg: 0.0,
        },
        nozzle: 0,
        flow: Flow::from_lpm(4.5).unwrap(),
    };
    let found = measure(
        &lawn,
        &[strip],
        &Profile::Triangular,
        &Surroundings::default(),
    )
    .unwrap();
    // 60 · 4.5 / 13.5 = 20 mm/h, exact in f32.
    assert_eq!((found.rate_mm_h, found.rate_gross_mm_h), (20.0, 20.0));
    assert_eq!((found.du_lq, found.cu_pct, found.cv), (1.0, 100.0, 0.0));
    // Running sums of f64.
    assert!((found.sc.unwrap() - 1.0).abs() < 1e-12);
    assert_eq!(
        (found.over_frac, found.dry_frac, found.weak_frac),
        (0.0, 0.0, 0.0)
    );
}

/// m / m_w by looking at every disc of 5 % of the area cell by cell.
fn slow_scheduling_coefficient(lawn: &Outline, heads: &[Head], profile: &Profile) -> f64 {
    let reach_m = heads.iter().map(Head::reach_m).fold(0.0, f64::max);
    let grid = Grid::over(lawn, cell_m(heads), reach_m);
    let rain = RainGrid::of(&grid, heads, profile, &[]);
    let (cols, rows) = grid.size();
    let r2 = 0.05 * grid.turf_cells() as f64 / std::f64::consts::PI;
    let reach = r2.sqrt().floor() as i64;
    let mut lowest = f64::INFINITY;
    for row in 0..rows as i64 {
        for col in (0..cols as i64).filter(|&col| grid.is_turf(col as usize, row as usize)) {
            let (mut all, mut turf, mut sum) = (0, 0, 0.0);
            for dy in -reach..=reach {
                for dx in -reach..=reach {
                    if (dx * dx + dy * dy) as f64 > r2 {
                        continue;
                    }
                    all += 1;
                    let (x, y) = (col + dx, row + dy);
                    let inside = x >= 0 && y >= 0 && x < cols as i64 && y < rows as i64;
                    if inside && grid.is_turf(x as usize, y as usize) {
                        turf += 1;
                        sum += rain.rate_mm_h(x as usize, y as usize);
                    }
                }
            }
            if 2 * turf >= all {
                lowest = lowest.min(sum / f64::from(turf));
            }
        }
    }
    evenness(&rain.turf_rates()).unwrap().mean / lowest
}

#[test]
fn measures_of_whole_layouts_add_up() {
    let catalogue = Catalogue::generic();
    // A side that runs along the cells' rows is counted to whole cells: on a rectangle of 9 m with
    // cells of 0.4 m that is 2 %. Lawns lie askew here, as most do.
    let askew = Motion {
        mirror: false,
        turn_deg: 17.0,
        shift: Point::default(),
    };
    let mut layouts = 0;
    for lawn in [
        lawns::rectangle(9.0, 13.0),
        lawns::l_shape(),
        lawns::disc(5.0),
        lawns::trapezoid(),
        lawns::triangle(),
        lawns::kidney(),
        lawns::annulus(11.0, 4.0),
        lawns::around_a_house(),
    ] {
        let lawn = moved(&lawn, |p| askew.point(p));
        for family in &catalogue.families {
            let heads = layout(&Site::open(&lawn), family, Effort::Rule, Favour::Evenness);
            let found = measure(&lawn, &heads, &family.profile, &Surroundings::default()).unwrap();
            // Water out is water on turf and beside it, to 0.5 % at the default cell.
            let on_turf = found.rate_mm_h * found.cells as f64 * found.cell_m * found.cell_m;
            let out = found.rate_gross_mm_h * lawn.area_m2();
            let total = on_turf / out + found.over_frac;
            assert!((total - 1.0).abs() < 5e-3, "{total}");
            // Running sums against plain ones.
            let slow = slow_scheduling_coefficient(&lawn, &heads, &family.profile);
            assert!((found.sc.unwrap() / slow - 1.0).abs() < 1e-9);
            assert!(found.dry_frac + found.twice_frac <= 1.0);
            for share in [
                found.dry_frac,
                found.weak_frac,
                found.twice_frac,
                found.over_frac,
            ] {
                assert!((0.0..=1.0).contains(&share));
            }
            layouts += 1;
        }
    }
    assert_eq!(layouts, 8 * catalogue.families.len());
}

/// Invariant 11: `E_d` lies in 0..1, goes to 1 with a large target and to 0 with a small one, and
/// adequacy never rises with the target.
#[test]
fn efficiency_and_adequacy_follow_the_target() {
    use evenfall::uniformity::{adequacy_frac, distribution_efficiency};
    // Depths of example 1A (arithmetic recomputed), mean 11.
    let depths: Vec<f32> = [8, 9, 10, 12, 14, 10, 11, 13, 9, 12, 15, 11, 7, 10, 12, 13]
        .map(|d: u8| f32::from(d))
        .to_vec();
    let mut last = (0.0, 1.0);
    let mut tried = 0;
    for tenth in 0..=200 {
        let target_mm = f64::from(tenth) / 10.0;
        let efficiency = distribution_efficiency(&depths, target_mm).unwrap();
        let adequacy = adequacy_frac(&depths, target_mm).unwrap();
        assert!((0.0..=1.0).contains(&efficiency) && efficiency >= last.0);
        assert!((0.0..=1.0).contains(&adequacy) && adequacy <= last.1);
        last = (efficiency, adequacy);
        tried += 1;
    }
    assert_eq!(tried, 201);
    assert_eq!(last, (1.0, 0.0));
    assert_eq!(distribution_efficiency(&depths, 0.0), Some(0.0));
    // At the mean: seven cans below it lack 3 + 2 + 1 + 1 + 2 + 4 + 1 = 14 of 176 mm.
    let at_mean = distribution_efficiency(&depths, 11.0).unwrap();
    assert!((at_mean - 162.0 / 176.0).abs() < 1e-12, "{at_mean}");
    assert_eq!(distribution_efficiency(&[], 1.0), None);
    assert_eq!(adequacy_frac(&[], 1.0), None);
}
