//! Buildings, walls and trunks stop the throw: the dry shadow behind them has the outline that
//! can be worked out by hand, and the water that they stop is accounted for.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use evenfall::catalogue::{Head, Pattern, Profile, Role, StripKind};
use evenfall::rain::{
    Board, Candidate, Grid, RainGrid, Weights, seen_by, stopped_l_h, wetted_outline,
};
use evenfall::shape::{Outline, Point, seen_from};
use evenfall::uniformity::{Surroundings, measure};
use evenfall::units::Flow;
use proptest::prelude::*;

fn polygon(points: &[(f64, f64)]) -> Outline {
    let ring = points.iter().map(|&(x, y)| Point::new(x, y)).collect();
    Outline::new(ring, vec![]).unwrap()
}

fn rectangle(x: (f64, f64), y: (f64, f64)) -> Outline {
    polygon(&[(x.0, y.0), (x.1, y.0), (x.1, y.1), (x.0, y.1)])
}

fn head(at: (f64, f64), pattern: Pattern) -> Head {
    Head {
        at: Point::new(at.0, at.1),
        role: Role::Interior,
        pattern,
        nozzle: 0,
        flow: Flow::from_lpm(4.0).unwrap(),
    }
}

fn sector(at: (f64, f64), radius_m: f64, start_deg: f64, sweep_deg: f64) -> Head {
    head(
        at,
        Pattern::Sector {
            radius_m,
            start_deg,
            sweep_deg,
        },
    )
}

fn circle(at: (f64, f64), radius_m: f64) -> Head {
    sector(at, radius_m, 0.0, 360.0)
}

fn square_grid(half_m: f64, cell_m: f64) -> Grid {
    Grid::over(
        &rectangle((-half_m, half_m), (-half_m, half_m)),
        cell_m,
        0.0,
    )
}

/// Every cell's centre, its rate as the heads are seen, and its rate with nothing in the way.
fn rates(
    grid: &Grid,
    heads: &[Head],
    profile: &Profile,
    blocks: &[Outline],
) -> Vec<(Point, f64, f64)> {
    let seen: Vec<_> = heads.iter().map(|head| seen_by(head, blocks)).collect();
    let cut = RainGrid::of(grid, heads, profile, &seen);
    let open = RainGrid::of(grid, heads, profile, &[]);
    let (cols, rows) = grid.size();
    (0..rows)
        .flat_map(|row| (0..cols).map(move |col| (col, row)))
        .map(|(col, row)| {
            (
                grid.centre(col, row),
                cut.rate_mm_h(col, row),
                open.rate_mm_h(col, row),
            )
        })
        .collect()
}

/// Whether a segment meets an edge of a block: the definition of line of sight, slow.
fn is_hidden(from: Point, to: Point, blocks: &[Outline]) -> bool {
    let side = |a: Point, b: Point, p: Point| (b - a).cross(p - a);
    blocks.iter().flat_map(Outline::edges).any(|(a, b)| {
        (side(from, to, a) > 0.0) != (side(from, to, b) > 0.0)
            && (side(a, b, from) > 0.0) != (side(a, b, to) > 0.0)
    })
}

// A head at the origin, throw 10 m; the house shows it its west face and its south face.
const HOUSE_WEST_M: f64 = 3.0;
const HOUSE_EAST_M: f64 = 6.0;
const HOUSE_SOUTH_M: f64 = 1.0;
const HOUSE_NORTH_M: f64 = 4.0;

fn house() -> Outline {
    rectangle((HOUSE_WEST_M, HOUSE_EAST_M), (HOUSE_SOUTH_M, HOUSE_NORTH_M))
}

/// How far the head throws in a direction, worked out from the two faces.
fn throw_past_house_m(toward: Point) -> f64 {
    let west = toward * (HOUSE_WEST_M / toward.x);
    let south = toward * (HOUSE_SOUTH_M / toward.y);
    if toward.x > 0.0 && (HOUSE_SOUTH_M..=HOUSE_NORTH_M).contains(&west.y) {
        west.norm()
    } else if toward.y > 0.0 && (HOUSE_WEST_M..=HOUSE_EAST_M).contains(&south.x) {
        south.norm()
    } else {
        10.0
    }
}

/// The wedge between the corners (6, 1) and (3, 4), less the triangles before the two faces.
fn house_shadow_m2() -> f64 {
    let wedge_m2 = 50.0 * (libm::atan2(4.0, 3.0) - libm::atan2(1.0, 6.0));
    let before_south_m2 = 0.5 * (6.0 * 1.0 - 3.0 * 1.0);
    let before_west_m2 = 0.5 * (3.0 * 4.0 - 3.0 * 1.0);
    wedge_m2 - before_south_m2 - before_west_m2
}

/// What chords of 2.5° leave of a circle.
const CHORDS_FRAC: f64 = 0.000_32;

#[test]
fn the_shadow_of_a_house_has_the_outline_worked_out_by_hand() {
    let head = circle((0.0, 0.0), 10.0);
    let seen = seen_by(&head, &[house()]).unwrap();
    let wet = wetted_outline(&head, Some(&seen)).unwrap();
    let open = wetted_outline(&head, None).unwrap();
    let circle_m2 = 100.0 * std::f64::consts::PI;
    assert!((open.area_m2() / circle_m2 - 1.0).abs() < CHORDS_FRAC);
    let shadow_m2 = open.area_m2() - wet.area_m2();
    assert!(
        (shadow_m2 / house_shadow_m2() - 1.0).abs() < 2.0 * CHORDS_FRAC,
        "{shadow_m2}"
    );
    // Half degrees, so that none of the corners is hit.
    let mut shaded = 0;
    for step in 0..720 {
        let toward = Point::along_bearing(f64::from(step) / 2.0 + 0.1);
        let throw_m = throw_past_house_m(toward);
        assert!(wet.contains(toward * (0.9995 * throw_m)), "{toward:?}");
        assert!(!wet.contains(toward * (1.0005 * throw_m)), "{toward:?}");
        shaded += usize::from(throw_m < 10.0);
    }
    assert!((86..=88).contains(&shaded), "{shaded}"); // 43.67°
}

#[test]
fn cells_in_the_shadow_stay_dry_and_the_others_do_not_change() {
    let grid = square_grid(11.0, 0.17);
    for profile in [Profile::Triangular, Profile::Elliptical, Profile::Uniform] {
        let (mut dry, mut wet) = (0_u32, 0_u32);
        for (at, cut, open) in rates(&grid, &[circle((0.0, 0.0), 10.0)], &profile, &[house()]) {
            let off_m = at.norm() - throw_past_house_m(at.unit());
            if off_m.abs() < 1e-9 {
                continue;
            }
            if off_m > 0.0 {
                assert_eq!(cut, 0.0, "{at:?}");
                dry += u32::from(open > 0.0);
            } else {
                // A run that starts elsewhere rounds its f32 distances otherwise.
                assert!((cut - open).abs() <= 1e-5 * open, "{at:?}: {cut} {open}");
                wet += u32::from(open > 0.0);
            }
        }
        let dry_m2 = f64::from(dry) * grid.cell_m() * grid.cell_m();
        // Cells are counted by their centres: some on each edge of the shadow are off.
        assert!((dry_m2 / house_shadow_m2() - 1.0).abs() < 0.02, "{dry_m2}");
        assert!(wet > 9 * dry / 2);
    }
}

#[test]
fn a_wall_behind_the_head_changes_nothing() {
    let wall = [rectangle((-30.0, 30.0), (0.15, 0.4))];
    // Half a circle to the south, and what is less.
    for (start_deg, sweep_deg) in [(90.0, 180.0), (100.0, 90.0), (135.0, 45.0)] {
        let head = sector((0.0, 0.0), 8.0, start_deg, sweep_deg);
        for (at, cut, open) in rates(
            &square_grid(9.0, 0.2),
            std::slice::from_ref(&head),
            &Profile::Triangular,
            &wall,
        ) {
            assert_eq!(cut, open, "{at:?}");
        }
        let seen = seen_by(&head, &wall);
        assert!(seen.is_some());
        let (wet, open) = (
            wetted_outline(&head, seen.as_ref()),
            wetted_outline(&head, None),
        );
        assert!((wet.unwrap().area_m2() - open.unwrap().area_m2()).abs() < 1e-9);
    }
}

#[test]
fn a_head_just_off_a_wall_throws_along_it() {
    let wall = [rectangle((-30.0, 30.0), (0.0, 0.3))];
    for off_m in [0.2, 0.001, 0.0, -0.01] {
        let heads = [circle((0.03, -off_m), 6.0)];
        let mut wet_beside_wall = 0;
        for (at, cut, open) in rates(&square_grid(7.0, 0.16), &heads, &Profile::Triangular, &wall) {
            let wall_m = if off_m < 0.0 { -off_m } else { 0.0 };
            if at.y < 0.0 {
                assert_eq!(cut, open, "{off_m} {at:?}");
                wet_beside_wall += usize::from(at.y > -0.1 && cut > 0.0);
            } else if at.y > wall_m + 1e-9 {
                assert_eq!(cut, 0.0, "{off_m} {at:?}");
            }
        }
        assert!(wet_beside_wall >= 72, "{off_m}: {wet_beside_wall}"); // 12 m of cells
    }
}

#[test]
fn two_trunks_cast_two_shadows() {
    let trunks = [
        rectangle((3.8, 4.2), (-0.2, 0.2)),
        rectangle((-0.2, 0.2), (-5.2, -4.8)),
    ];
    let head = circle((0.0, 0.0), 9.0);
    let wedge_m2 = |near_m: f64| 81.0 * libm::atan(0.2 / near_m) - near_m * 0.2;
    let hidden_m2 = wedge_m2(3.8) + wedge_m2(4.8);
    let seen = seen_by(&head, &trunks).unwrap();
    let wet = wetted_outline(&head, Some(&seen)).unwrap();
    let open = wetted_outline(&head, None).unwrap();
    assert!((open.area_m2() - wet.area_m2() - hidden_m2).abs() < 1e-3 * hidden_m2);
    for (x, y, is_wet) in [
        (8.0, 0.0, false),
        (8.0, 0.5, true),
        (3.7, 0.0, true),
        (0.0, -8.0, false),
        (0.45, -8.0, true),
        (-8.0, 0.0, true),
        (0.0, 8.0, true),
    ] {
        assert_eq!(wet.contains(Point::new(x, y)), is_wet, "{x} {y}");
    }
}

#[test]
fn a_fence_of_many_trunks_cuts_a_row_into_many_runs() {
    let trunks: Vec<Outline> = (0..60)
        .map(|k| {
            let x = -9.0 + 0.3 * f64::from(k);
            polygon(&[(x, 2.0), (x + 0.05, 1.95), (x + 0.1, 2.0), (x + 0.05, 2.05)])
        })
        .collect();
    let grid = square_grid(10.0, 0.08);
    let heads = [circle((0.013, 0.021), 9.7)];
    let (mut most_runs, mut hidden) = (0, 0);
    let (mut row_y, mut runs, mut was_wet) = (f64::NAN, 0, false);
    for (at, cut, open) in rates(&grid, &heads, &Profile::Uniform, &trunks) {
        if open == 0.0
            || trunks
                .iter()
                .any(|t| t.contains(at) || t.boundary_distance_m(at) < 1e-6)
        {
            continue;
        }
        let expected = if is_hidden(heads[0].at, at, &trunks) {
            0.0
        } else {
            open
        };
        assert_eq!(cut, expected, "{at:?}");
        hidden += usize::from(cut == 0.0);
        if at.y != row_y {
            (row_y, runs, was_wet) = (at.y, 0, false);
        }
        runs += usize::from(cut > 0.0 && !was_wet);
        was_wet = cut > 0.0;
        most_runs = most_runs.max(runs);
    }
    assert!(most_runs > 30 && hidden > 1_000, "{most_runs} {hidden}");
}

#[test]
fn the_water_that_blocks_stop_is_accounted_for() {
    let lawn = rectangle((0.0, 18.0), (0.0, 9.0));
    let blocks = [
        rectangle((0.0, 8.0), (9.0, 15.0)),
        rectangle((18.0, 18.2), (0.0, 9.0)),
        rectangle((8.9, 9.2), (4.4, 4.7)),
    ];
    let heads = [
        sector((0.0, 0.0), 6.0, 0.0, 90.0),
        sector((9.0, 0.0), 6.0, 265.0, 190.0),
        sector((17.9, 0.1), 6.0, 260.0, 110.0),
        sector((4.5, 8.9), 6.0, 75.0, 210.0),
        circle((11.0, 5.0), 5.0),
        circle((16.0, 6.0), 5.0),
    ];
    let around = Surroundings {
        blocks: Some(&blocks),
        ..Surroundings::default()
    };
    let mut tried = 0;
    for profile in [Profile::Triangular, Profile::Uniform] {
        let with = measure(&lawn, &heads, &profile, &around).unwrap();
        let without = measure(&lawn, &heads, &profile, &Surroundings::default()).unwrap();
        let flow_l_h: f64 = heads.iter().map(|head| 60.0 * head.flow.lpm()).sum();
        let turf_frac = with.rate_mm_h * with.cells as f64 * with.cell_m * with.cell_m / flow_l_h;
        let stopped_frac = with.build_over_frac.unwrap();
        let beside_frac = with.over_frac - stopped_frac;
        // The stated bound of the mass balance at the default cell.
        assert!((turf_frac + beside_frac + stopped_frac - 1.0).abs() < 0.005);
        assert!(
            stopped_frac > 0.05 && beside_frac > 0.02,
            "{stopped_frac} {beside_frac}"
        );
        assert!(with.rate_mm_h < without.rate_mm_h);
        // The blocks only hide: what is stopped was on turf or beside it.
        assert!((with.over_frac - stopped_frac) < without.over_frac);
        assert_eq!(without.build_over_frac, None);
        if profile == Profile::Uniform {
            // Where the rate is even the stopped share is the share of the area.
            let area =
                |head: &Head, seen: Option<&Outline>| wetted_outline(head, seen).unwrap().area_m2();
            let hidden: f64 = heads
                .iter()
                .map(|head| 1.0 - area(head, seen_by(head, &blocks).as_ref()) / area(head, None))
                .sum();
            let stopped = hidden / heads.len() as f64;
            assert!(
                (stopped - stopped_frac).abs() < 0.002,
                "{stopped} {stopped_frac}"
            );
        }
        tried += 1;
    }
    assert_eq!(tried, 2);
}

#[test]
fn a_house_along_the_lawn_leaves_its_uniformity_alone() {
    // Heads stand on the lawn's edge, 10 cm from the house; some arcs reach over it.
    let lawn = rectangle((0.0, 12.0), (0.0, 8.0));
    let house = [rectangle((-2.0, 14.0), (8.1, 16.0))];
    let heads: Vec<Head> = [0.0, 4.0, 8.0, 12.0]
        .iter()
        .flat_map(|&x| {
            let north = sector((x, 8.0), 4.2, 80.0, 200.0);
            [
                sector((x, 0.0), 4.2, 270.0, 180.0),
                circle((x, 4.0), 4.0),
                north,
            ]
        })
        .collect();
    let around = Surroundings {
        blocks: Some(&house),
        ..Surroundings::default()
    };
    let with = measure(&lawn, &heads, &Profile::Triangular, &around).unwrap();
    let without = measure(
        &lawn,
        &heads,
        &Profile::Triangular,
        &Surroundings::default(),
    )
    .unwrap();
    assert_eq!(
        (with.du_lq, with.du_lq_robust, with.cu_pct, with.twice_frac),
        (
            without.du_lq,
            without.du_lq_robust,
            without.cu_pct,
            without.twice_frac
        )
    );
    assert!((with.over_frac - without.over_frac).abs() < 1e-6);
    assert!(with.build_over_frac.unwrap() > 0.005);
}

#[test]
fn a_trial_sees_what_rain_sees() {
    let lawn = rectangle((0.0, 16.0), (0.0, 10.0));
    let blocks = [
        rectangle((6.0, 8.0), (4.0, 5.0)),
        rectangle((0.0, 16.0), (10.05, 12.0)),
    ];
    let grid = Grid::over(&lawn, 0.3, 0.0);
    let profile = Profile::Triangular;
    let weights = Weights {
        target_mm_h: 10.0,
        low_share: 0.8,
        low_weight: 2.0,
        over_weight: 0.5,
    };
    let mut scene = evenfall::rain::Scene::plain(&lawn, 0.3, 6.0);
    scene.harm_within(&rectangle((-6.0, 0.0), (0.0, 10.0)), 0.7);
    scene.block(&blocks, 1.5);
    let scene = scene.close();
    let mut board = Board::new(&grid, &profile, weights).within(Some(&scene));
    let mut bare = Board::new(&grid, &profile, weights);
    let mut tried = 0;
    for k in 0..12 {
        let at = Point::new(
            1.0 + 1.2 * f64::from(k),
            if k % 3 == 0 { 10.0 } else { 2.5 },
        );
        let candidate = Candidate {
            at,
            radius_m: 6.0,
            start_deg: 40.0,
            sweep_deg: 270.0,
            flow_lpm: 5.0,
        };
        let seen = seen_from(at, 6.0, &blocks);
        tried += usize::from(seen.is_some());
        let harm = board.cost_of(&candidate) - bare.cost_of(&candidate);
        // Seen or not, what a block or the west side gets is not cheap.
        assert!(k > 0 || harm > 0.01, "{harm}");
        bare.rain(&candidate, 1.0);
        let said = board.cost_of(&candidate);
        let (penalty, mean) = (board.penalty(), board.mean_mm_h());
        board.rain(&candidate, 1.0);
        let landed = (board.mean_mm_h() - mean) * grid.turf_cells() as f64 * 0.09;
        let needed = 10.0 * grid.turf_cells() as f64 * 0.09;
        let found = board.penalty() - penalty + 0.5 * (300.0 - landed).max(0.0) / needed;
        assert!(
            (said - found).abs() < 2e-5 * (1.0 + found.abs()),
            "{said} {found}"
        );
    }
    assert!(tried > 6);
}

#[test]
fn strips_end_at_walls_too() {
    let wall = [
        rectangle((3.0, 3.2), (-0.3, 5.0)),
        rectangle((-2.0, -1.8), (-5.0, 5.0)),
    ];
    // Below the end of the east wall water passes where y < −x / 10 and, at 0.75 m, to x = 7.5.
    let passing_m2 = |to_m: f64| 0.75 * (to_m - 3.0) - (to_m * to_m - 9.0) / 20.0;
    let grid = square_grid(11.0, 0.05);
    for (kind, azimuth_deg, wet_m2) in [
        (StripKind::Side, 0.0, 4.8 * 1.5),
        (StripKind::End, 90.0, 3.0 * 1.5 + passing_m2(7.5)),
        (StripKind::End, 270.0, 1.8 * 1.5),
        (StripKind::Centre, 0.0, 4.8 * 1.5 + passing_m2(5.0)),
    ] {
        let strip = Pattern::Strip {
            kind,
            length_m: 10.0,
            width_m: 1.5,
            azimuth_deg,
        };
        let head = head((0.0, 0.0), strip);
        let seen = seen_by(&head, &wall).unwrap();
        let wet = wetted_outline(&head, Some(&seen)).unwrap();
        assert!(
            (wet.area_m2() - wet_m2).abs() < 1e-6,
            "{kind:?}: {} {wet_m2}",
            wet.area_m2()
        );
        // The even rate of a strip makes the stopped share the share of the area.
        let stopped = stopped_l_h(&grid, &[head], &Profile::Uniform, &[Some(seen)]) / 240.0;
        assert!(
            (stopped - (1.0 - wet_m2 / 15.0)).abs() < 0.01,
            "{kind:?}: {stopped}"
        );
    }
}

/// A scene: blocks, some of them touching or crossing, and a head that may stand on one of them.
#[derive(Debug, Clone)]
struct Scene {
    blocks: Vec<Outline>,
    at: Point,
    reach_m: f64,
}

impl Scene {
    /// The scene turned counter-clockwise about the origin, then moved.
    fn moved(&self, turn_deg: f64, by: Point) -> Scene {
        let along = Point::along_bearing(90.0 - turn_deg);
        let place = |p: Point| {
            Point::new(p.x * along.x - p.y * along.y, p.x * along.y + p.y * along.x) + by
        };
        let ring = |ring: &Vec<Point>| ring.iter().map(|&p| place(p)).collect();
        let block = |block: &Outline| {
            Outline::new(
                ring(block.outer()),
                block.holes().iter().map(ring).collect(),
            )
            .unwrap()
        };
        Scene {
            blocks: self.blocks.iter().map(block).collect(),
            at: place(self.at),
            reach_m: self.reach_m,
        }
    }

    fn wet_m2(&self) -> f64 {
        let head = circle((self.at.x, self.at.y), self.reach_m);
        let seen = seen_from(self.at, self.reach_m, &self.blocks);
        wetted_outline(&head, seen.as_ref()).unwrap().area_m2()
    }

    /// How near the head stands to a face \[m\].
    fn face_m(&self) -> f64 {
        let distances = self
            .blocks
            .iter()
            .map(|block| block.boundary_distance_m(self.at));
        distances.fold(f64::INFINITY, f64::min)
    }
}

/// A star of corners about a place, on whole decimetres so that edges often line up; perhaps with
/// a hole.
fn block() -> impl Strategy<Value = Option<Outline>> {
    let corners = prop::collection::vec(3_i32..40, 3..14);
    (
        (-80_i32..80, -80_i32..80),
        corners,
        prop::bool::weighted(0.2),
        prop::bool::ANY,
    )
        .prop_map(|((x, y), radii, holed, square)| {
            let middle = Point::new(f64::from(x) / 10.0, f64::from(y) / 10.0);
            if square {
                let (w, h) = (f64::from(radii[0]) / 10.0, f64::from(radii[1]) / 10.0);
                return Some(rectangle(
                    (middle.x, middle.x + w),
                    (middle.y, middle.y + h),
                ));
            }
            let corner = |(k, &radius): (usize, &i32)| {
                let bearing_deg = 360.0 * k as f64 / radii.len() as f64;
                Point::along_bearing(bearing_deg) * (f64::from(radius) / 10.0)
            };
            let ring: Vec<Point> = radii
                .iter()
                .enumerate()
                .map(corner)
                .map(|p| p + middle)
                .collect();
            let hole = ring.iter().map(|&p| middle + (p - middle) * 0.6).collect();
            Outline::new(ring, if holed { vec![hole] } else { vec![] })
        })
}

#[derive(Debug, Clone, Copy)]
enum Stand {
    Anywhere,
    ClearOfFaces,
}

/// Heads anywhere, on corners, on edges, and off edges by some distance \[m\]; or, clear of faces,
/// nearly all of them farther than 2 cm from any.
fn scene(stand: Stand) -> impl Strategy<Value = Scene> {
    let place = (
        -90_i32..90,
        -90_i32..90,
        0.0..1.0_f64,
        0_usize..4,
        0_usize..200,
        -1.0..1.0_f64,
    );
    (prop::collection::vec(block(), 0..12), place, 1.0..12.0_f64).prop_map(
        move |(blocks, (x, y, share, how, which, off), reach_m)| {
            let blocks: Vec<Outline> = blocks.into_iter().flatten().collect();
            let edges: Vec<(Point, Point)> = blocks.iter().flat_map(Outline::edges).collect();
            let free = Point::new(
                f64::from(x) / 10.0 + 0.1 * share,
                f64::from(y) / 10.0 + 0.1 * off,
            );
            let (how, off_m) = match stand {
                Stand::Anywhere => (how, 0.03 * off),
                Stand::ClearOfFaces => (how / 2 * 3, (0.03 + 0.5 * off.abs()).copysign(off)),
            };
            let at = match (edges.get(which % edges.len().max(1)), how) {
                (Some(&(a, _)), 1) => a,
                (Some(&(a, b)), 2) => a + (b - a) * share,
                (Some(&(a, b)), 3) => {
                    a + (b - a) * share + Point::new(b.y - a.y, a.x - b.x).unit() * off_m
                }
                _ => free,
            };
            Scene {
                blocks,
                at,
                reach_m,
            }
        },
    )
}

fn settings(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases,
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

proptest! {
    #![proptest_config(settings(600))]

    #[test]
    fn what_is_seen_holds_the_head_and_no_more_than_the_reach(scene in scene(Stand::Anywhere)) {
        if let Some(seen) = seen_from(scene.at, scene.reach_m, &scene.blocks) {
            let most_m2 = 16.0 * libm::tan(std::f64::consts::PI / 16.0) * scene.reach_m * scene.reach_m;
            prop_assert!(seen.area_m2() > 0.0 && seen.area_m2() < most_m2 * (1.0 + 1e-8));
            prop_assert!(seen.contains(scene.at));
            prop_assert_eq!(seen.rings().len(), 1);
            // Star-shaped about the head: no edge runs clockwise.
            for (a, b) in seen.edges() {
                prop_assert!((a - scene.at).cross(b - scene.at) > -1e-6, "{:?} {:?}", a, b);
            }
        }
    }

    #[test]
    fn a_point_is_seen_where_no_face_lies_between(scene in scene(Stand::ClearOfFaces), points in prop::collection::vec((0.0..360.0_f64, 0.0..1.0_f64), 60)) {
        // On faces the head is taken for one before them.
        prop_assume!(scene.face_m() > 0.021);
        let seen = seen_from(scene.at, scene.reach_m, &scene.blocks);
        let hiding: Vec<Outline> = scene.blocks.iter().filter(|block| !block.contains(scene.at)).cloned().collect();
        for (bearing_deg, share) in points {
            let to = scene.at + Point::along_bearing(bearing_deg) * (scene.reach_m * share.sqrt());
            let edge_m = seen.as_ref().map_or(1.0, |seen| seen.boundary_distance_m(to));
            if edge_m > 1e-5 {
                let is_seen = seen.as_ref().is_none_or(|seen| seen.contains(to));
                prop_assert_eq!(is_seen, !is_hidden(scene.at, to, &hiding), "{:?}", to);
            }
        }
    }

    #[test]
    fn a_turned_and_moved_scene_shows_the_same(scene in scene(Stand::ClearOfFaces), chords in 0_i32..144, x in -300.0..300.0_f64, y in -300.0..300.0_f64) {
        // Whole chords, so that the circle's corners fall on one another. A head at 2 cm behind a
        // face, or on an edge of two, may fall to either side by rounding.
        prop_assume!(scene.face_m() > 0.021);
        let moved = scene.moved(2.5 * f64::from(chords), Point::new(x, y));
        let (here, there) = (scene.wet_m2(), moved.wet_m2());
        prop_assert!((here - there).abs() < 1e-5 * scene.reach_m * scene.reach_m, "{} {}", here, there);
    }
}
