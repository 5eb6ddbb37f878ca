//! What a designer expects of narrow turf: where it is split, what waters it, what is left dry.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[allow(dead_code, reason = "each test file uses its own share of the lawns")]
mod lawns;

use evenfall::catalogue::{Catalogue, Family, Head, Pattern, Role};
use evenfall::place::{
    Effort, Favour, Layout, Part, PartShape, Site, layout_in_parts, parts, rule_layout,
    rule_throw_m,
};
use evenfall::shape::{Outline, Point};
use evenfall::uniformity::{Surroundings, Uniformity, measure};
use lawns::lawn;

/// Twice the shortest throw of the middle family: up to here its arms are strips.
const WIDEST_M: f64 = 4.0;

/// 15 m by 1.8 m.
fn straight() -> Outline {
    lawns::rectangle(15.0, 1.8)
}

/// Two metres wide, once round a corner.
fn bent() -> Outline {
    lawn(&[
        (0.0, 0.0),
        (12.0, 0.0),
        (12.0, 10.0),
        (10.0, 10.0),
        (10.0, 2.0),
        (0.0, 2.0),
    ])
}

/// Two squares of 9 m, 6 m apart, joined by a neck of 2 m.
fn dumbbell() -> Outline {
    lawn(&[
        (0.0, 0.0),
        (9.0, 0.0),
        (9.0, 3.5),
        (15.0, 3.5),
        (15.0, 0.0),
        (24.0, 0.0),
        (24.0, 9.0),
        (15.0, 9.0),
        (15.0, 5.5),
        (9.0, 5.5),
        (9.0, 9.0),
        (0.0, 9.0),
    ])
}

/// A lawn of 10 m by 8 m with an arm of 9 m by 1.5 m along the house.
fn armed() -> Outline {
    lawn(&[
        (0.0, 0.0),
        (19.0, 0.0),
        (19.0, 1.5),
        (10.0, 1.5),
        (10.0, 8.0),
        (0.0, 8.0),
    ])
}

/// A lawn with a tail of 5 m by 0.8 m.
fn with_sliver() -> Outline {
    lawn(&[
        (0.0, 0.0),
        (10.0, 0.0),
        (10.0, 7.2),
        (15.0, 7.2),
        (15.0, 8.0),
        (0.0, 8.0),
    ])
}

fn split(outline: &Outline) -> Vec<Part> {
    parts(outline, Site::open(outline).diameter_m, WIDEST_M)
}

fn areas(parts: &[Part], shape: PartShape) -> Vec<f64> {
    let mut areas: Vec<f64> = parts
        .iter()
        .filter(|part| part.shape == shape)
        .map(|part| part.outline.area_m2())
        .collect();
    areas.sort_by(f64::total_cmp);
    areas
}

fn near(found: &[f64], expected: &[f64]) -> bool {
    // Cuts run from corner to corner, so that only rounding is lost.
    found.len() == expected.len()
        && found
            .iter()
            .zip(expected)
            .all(|(a, b)| (a - b).abs() < 1e-6)
}

#[test]
fn arms_and_necks_are_strips_and_the_rest_is_compact() {
    let found = split(&dumbbell());
    assert!(near(&areas(&found, PartShape::Strip), &[12.0]), "{found:?}");
    assert!(
        near(&areas(&found, PartShape::Compact), &[81.0, 81.0]),
        "{found:?}"
    );
    let found = split(&armed());
    assert!(near(&areas(&found, PartShape::Strip), &[13.5]), "{found:?}");
    assert!(
        near(&areas(&found, PartShape::Compact), &[80.0]),
        "{found:?}"
    );
    let arm = found
        .iter()
        .find(|part| part.shape == PartShape::Strip)
        .unwrap();
    assert!((arm.width_m - 1.5).abs() < 1e-6, "{}", arm.width_m);
    let found = split(&with_sliver());
    assert!(near(&areas(&found, PartShape::Sliver), &[4.0]), "{found:?}");
    assert!(
        near(&areas(&found, PartShape::Compact), &[80.0]),
        "{found:?}"
    );
}

#[test]
fn a_narrow_lawn_is_one_strip() {
    for outline in [straight(), bent()] {
        let found = split(&outline);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].shape, PartShape::Strip);
    }
    let thin = split(&lawns::rectangle(12.0, 0.8));
    assert_eq!(thin.len(), 1);
    assert_eq!(thin[0].shape, PartShape::Sliver);
    assert!((thin[0].width_m - 0.8).abs() < 1e-9);
}

#[test]
fn side_yards_of_a_house_are_strips() {
    // 2 m to the west and south of the house, wide to the north and east.
    let house = lawns::ring(&[(2.0, 2.0), (12.0, 2.0), (12.0, 10.0), (2.0, 10.0)]);
    let outer = lawns::ring(&[(0.0, 0.0), (22.0, 0.0), (22.0, 20.0), (0.0, 20.0)]);
    let outline = Outline::new(outer, vec![house]).unwrap();
    let found = split(&outline);
    let narrow_m2: f64 = areas(&found, PartShape::Strip).iter().sum();
    // Ten by two, eight by two, and the corner of two by two.
    assert!((narrow_m2 - 40.0).abs() < 1e-6, "{found:?}");
}

#[test]
fn compact_lawns_are_not_split() {
    let mut tried = 0;
    for outline in [
        lawns::rectangle(10.0, 10.0),
        lawns::rectangle(7.0, 22.0),
        lawns::l_shape(),
        lawns::disc(5.0),
        lawns::disc(8.0),
        lawns::annulus(11.0, 4.0),
        lawns::triangle(),
        lawns::trapezoid(),
        lawns::kidney(),
        lawns::around_a_house(),
    ] {
        for widest_m in [3.0, 4.0, 5.0] {
            let found = parts(&outline, Site::open(&outline).diameter_m, widest_m);
            assert_eq!(found.len(), 1);
            assert_eq!(found[0].shape, PartShape::Compact);
            assert_eq!(found[0].outline, outline);
            tried += 1;
        }
    }
    assert_eq!(tried, 30);
}

#[test]
fn a_tapering_corner_is_no_strip() {
    // A corner of 20° is narrower than 4 m over 11 m.
    let wedge = lawn(&[(0.0, 0.0), (30.0, 0.0), (0.0, 10.92)]);
    assert_eq!(split(&wedge).len(), 1);
    // The same behind a reflex corner.
    let beaked = lawn(&[
        (0.0, 0.0),
        (10.0, 0.0),
        (22.0, 8.0),
        (10.0, 4.0),
        (10.0, 14.0),
        (0.0, 14.0),
    ]);
    assert_eq!(split(&beaked).len(), 1);
}

/// A lawn shifted and turned about the origin.
fn moved(outline: &Outline, turn_deg: f64, shift: Point) -> Outline {
    let (sin, cos) = (
        libm::sin(turn_deg.to_radians()),
        libm::cos(turn_deg.to_radians()),
    );
    let ring = |ring: &Vec<Point>| {
        ring.iter()
            .map(|p| Point::new(p.x * cos - p.y * sin, p.x * sin + p.y * cos) + shift)
            .collect()
    };
    Outline::new(
        ring(outline.outer()),
        outline.holes().iter().map(ring).collect(),
    )
    .unwrap()
}

#[test]
fn a_split_does_not_depend_on_where_the_lawn_lies() {
    let mut tried = 0;
    for outline in [dumbbell(), armed(), with_sliver(), bent()] {
        let home = split(&outline);
        for (turn_deg, shift) in [
            (0.0, Point::new(311.7, -45.2)),
            (37.0, Point::default()),
            (90.0, Point::new(-12.3, 4.5)),
            (201.5, Point::new(80.0, 80.0)),
        ] {
            let away = split(&moved(&outline, turn_deg, shift));
            for shape in [PartShape::Compact, PartShape::Strip, PartShape::Sliver] {
                assert!(
                    near(&areas(&away, shape), &areas(&home, shape)),
                    "{turn_deg}: {away:?}"
                );
            }
            tried += 1;
        }
    }
    assert_eq!(tried, 16);
}

#[test]
fn areas_of_parts_add_up() {
    for outline in [dumbbell(), armed(), with_sliver(), bent(), straight()] {
        let sum: f64 = split(&outline)
            .iter()
            .map(|part| part.outline.area_m2())
            .sum();
        assert!((sum - outline.area_m2()).abs() < 1e-9 * sum);
    }
}

fn laid(outline: &Outline, family: &Family) -> Layout {
    layout_in_parts(
        &Site::open(outline),
        family,
        Effort::default(),
        Favour::default(),
    )
}

fn measured(outline: &Outline, heads: &[Head], family: &Family) -> Uniformity {
    measure(outline, heads, &family.profile, &Surroundings::default()).unwrap()
}

fn ruled(outline: &Outline, family: &Family) -> Vec<Head> {
    let site = Site::open(outline);
    rule_layout(&site, family, rule_throw_m(&site, family))
}

#[test]
fn narrow_lawns_rain_evenly_and_throw_no_more_beside_than_by_the_rule() {
    let mut tried = 0;
    for (name, outline) in [
        ("straight", straight()),
        ("bent", bent()),
        ("dumbbell", dumbbell()),
        ("armed", armed()),
    ] {
        // Rotors have no strips and throw 8 m and more.
        let catalogue = Catalogue::generic();
        for family in catalogue
            .families
            .iter()
            .filter(|family| !family.strips.is_empty())
        {
            let layout = laid(&outline, family);
            let rule = ruled(&outline, family);
            let ours = measured(&outline, &layout.heads, family);
            let theirs = measured(&outline, &rule, family);
            let what = format!("{name}, {}: {ours:?}", family.name);
            assert!(ours.du_lq >= 0.75, "{what}");
            // Overspray is weighed against evenness, so a little more of it may stand for much more even rain.
            let narrow = outline.width_m() < 5.0;
            let more_even = ours.du_lq - theirs.du_lq;
            let worse = ours.over_frac - theirs.over_frac;
            assert!(
                !narrow || worse <= 1e-2 + 0.5 * more_even.max(0.0),
                "{what}"
            );
            assert!(layout.heads.len() <= rule.len() + 1, "{what}");
            tried += 1;
        }
    }
    assert_eq!(tried, 12);
}

#[test]
fn a_strip_of_the_patterns_width_gets_strips_end_to_end() {
    let catalogue = Catalogue::generic();
    let outline = straight();
    for name in ["rotary-mid", "rotary-slow"] {
        let family = catalogue.family(name).unwrap();
        let layout = laid(&outline, family);
        assert!(layout.has_strips(), "{name}");
        // 15 m in strips of at most 9 m and, at an end, 4.5 m: at least two.
        assert!(
            (2..=3).contains(&layout.heads.len()),
            "{name}: {:?}",
            layout.heads
        );
        let even = measured(&outline, &layout.heads, family);
        assert!(
            even.over_frac < 0.02 && even.du_lq > 0.95,
            "{name}: {even:?}"
        );
    }
}

#[test]
fn strips_can_be_set_and_are_matched() {
    let mut tried = 0;
    for outline in [
        straight(),
        bent(),
        lawns::rectangle(33.0, 1.3),
        lawns::rectangle(7.0, 2.9),
    ] {
        for family in &Catalogue::generic().families {
            let layout = laid(&outline, family);
            let mut rates: Vec<f64> = Vec::new();
            for head in &layout.heads {
                let Pattern::Strip {
                    kind,
                    length_m,
                    width_m,
                    azimuth_deg,
                } = head.pattern
                else {
                    continue;
                };
                let strip = &family.strips[head.nozzle];
                assert_eq!(strip.kind, kind);
                assert_eq!(head.role, Role::Strip);
                // Sides are rounded to whole centimetres.
                for (side_m, (low, high)) in [(length_m, strip.length), (width_m, strip.width)] {
                    assert!(
                        side_m >= low.m() - 0.005 && side_m <= high.m() + 0.005,
                        "{head:?}"
                    );
                }
                assert!((0.0..360.0).contains(&azimuth_deg) && azimuth_deg == azimuth_deg.round());
                // Two centimetres: what a crew can place.
                assert!(outline.signed_distance_m(head.at) > -0.02, "{head:?}");
                let flow_lpm = family.strip_flow(head.nozzle, length_m, width_m).lpm();
                assert!((head.flow.lpm() - flow_lpm).abs() < 1e-9);
                rates.push(60.0 * flow_lpm / (length_m * width_m));
            }
            let high = rates.iter().copied().fold(0.0, f64::max);
            let low = rates.iter().copied().fold(f64::INFINITY, f64::min);
            assert!(rates.is_empty() || high / low <= 1.10, "{rates:?}");
            tried += rates.len();
        }
    }
    assert!(tried > 10, "{tried} strips");
}

#[test]
fn a_station_has_one_kind_of_pattern() {
    for outline in [dumbbell(), armed(), straight(), bent()] {
        for family in &Catalogue::generic().families {
            let layout = laid(&outline, family);
            assert_eq!(layout.groups.len(), layout.heads.len());
            for (head, group) in layout.heads.iter().zip(&layout.groups) {
                assert!(*group >= 1);
                let same = |other: &Head| (head.role == Role::Strip) == (other.role == Role::Strip);
                assert!(
                    layout
                        .heads
                        .iter()
                        .zip(&layout.groups)
                        .all(|(other, g)| g != group || same(other)),
                );
            }
        }
    }
}

#[test]
fn slivers_are_left_to_drip_with_their_area() {
    for family in &Catalogue::generic().families {
        let layout = laid(&with_sliver(), family);
        assert!((layout.drip_m2 - 4.0).abs() < 1e-6, "{}", layout.drip_m2);
        let watered = layout.watered.unwrap();
        assert!((watered.area_m2() - 80.0).abs() < 1e-6);
        let even = measured(&watered, &layout.heads, family);
        assert!(
            even.dry_frac < 0.01 && even.du_lq > 0.75,
            "{}: {even:?}",
            family.name
        );
        let layout = laid(&lawns::rectangle(12.0, 0.8), family);
        assert!(layout.heads.is_empty());
        assert!((layout.drip_m2 - 9.6).abs() < 1e-9);
    }
}

#[test]
fn bad_shapes_get_an_answer() {
    let comb: Vec<(f64, f64)> = (0..60)
        .flat_map(|k| {
            let x = f64::from(k);
            [(x, 0.0), (x + 0.5, 9.0)]
        })
        .chain([(60.0, 20.0), (0.0, 20.0)])
        .collect();
    let star: Vec<(f64, f64)> = (0..40)
        .map(|k| {
            let angle = std::f64::consts::TAU * f64::from(k) / 40.0;
            let r = if k % 2 == 0 { 9.0 } else { 3.0 };
            (r * libm::cos(angle), r * libm::sin(angle))
        })
        .collect();
    for points in [comb, star] {
        let outline = lawn(&points);
        let sum: f64 = split(&outline)
            .iter()
            .map(|part| part.outline.area_m2())
            .sum();
        assert!((sum - outline.area_m2()).abs() < 1e-9 * sum);
        let family = &Catalogue::generic().families[1];
        let site = Site::open(&outline);
        let layout = layout_in_parts(&site, family, Effort::Fast, Favour::default());
        assert_eq!(layout.heads.len(), layout.groups.len());
    }
}
