//! Worked examples of program economics and the invariants of allotment and sampling.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use evenfall::program::{
    COORDINATES, DRAWS, Floor, Investment, Item, Offer, Outlay, Range, Rung, Sample, Spread, Terms,
    allot, allot_with_floors, annuity_value, capital_recovery_factor, hull, percentile, stop,
    supply_curve,
};
use proptest::prelude::*;
use std::num::NonZeroU32;

fn years(n: u32) -> NonZeroU32 {
    NonZeroU32::new(n).unwrap()
}

fn near(found: f64, expected: f64, within: f64) {
    assert!(
        (found - expected).abs() <= within,
        "{found} is not {expected} ± {within}"
    );
}

/// Recomputed from `i (1 + i)^n / ((1 + i)^n − 1)`; printed to six decimals.
#[test]
fn capital_recovery_factors() {
    for (interest, n, expected) in [
        (0.03, 10, 0.117_231),
        (0.05, 5, 0.230_975),
        (0.04, 8, 0.148_528),
        (0.06, 15, 0.102_963),
        (0.0, 4, 0.25),
    ] {
        near(capital_recovery_factor(interest, years(n)), expected, 5e-7);
        let product =
            capital_recovery_factor(interest, years(n)) * annuity_value(interest, years(n));
        near(product, 1.0, 1e-12);
    }
}

/// Nozzles that last just as long as is looked ahead.
fn lasting(cur: f64, first_year_m3: f64, life_yr: f64, interest: f64, decay: f64) -> Investment {
    Investment {
        outlay: Outlay {
            nozzle_cur: cur,
            ..Outlay::default()
        },
        first_year_m3,
        renewed: true,
        terms: Terms::of([life_yr; 4], interest, decay),
    }
}

/// Three turf areas from saving to net present value to rebate, by hand. Ten years at 4 %, savings
/// decay by 5 % a year, nozzles last 7 years, bodies 12, pipes 30.
///
/// Discounts: 1.04⁻⁷ = 0.759918, 1.04⁻¹⁰ = 0.675564. Present price of nozzles 1 + 0.759918 − (1 − 3/7)
/// 0.675564 = 1.373881, of bodies 1 − (1 − 10/12) 0.675564 = 0.887406, of pipes 1 − (1 − 10/30)
/// 0.675564 = 0.549624. Water of one m³ in the first year: seven years of 0.95^(t−1) 1.04^−t, then
/// three from the new nozzles: 5.214678 + 0.759918 · 2.642186 = 7.222523.
#[test]
fn three_turf_areas_from_saving_to_rebate() {
    let terms = Terms::of([10.0, 7.0, 12.0, 30.0], 0.04, 0.05);
    let factors = terms.factors();
    near(factors.nozzle, 1.373_881, 5e-6);
    near(factors.body, 0.887_406, 5e-6);
    near(factors.pipe, 0.549_624, 5e-6);
    let of = |n: i32| -> f64 {
        (1..=n)
            .map(|t| 0.95_f64.powi(t - 1) / 1.04_f64.powi(t))
            .sum()
    };
    near(factors.water_yr, of(7) + 0.759_918 * of(3), 1e-5);
    let (value, admin) = (6.0, 40.0);
    // What each costs by how long it lasts, what it saves net in the first year [m³/yr], and what
    // comes out: 12 nozzles for 156; the same with 12 bodies for 366 more; a new layout.
    let areas = [
        // 1.373881 · 156 = 214.33; 7.2225 · 8 · 6 = 346.68: 132.36 more than it costs.
        ([156.0, 0.0, 0.0], 8.0),
        // 214.33 + 0.887406 · 366 = 539.12; 7.2225 · 11 · 6 = 476.69: 62.43 less.
        ([156.0, 366.0, 0.0], 11.0),
        // 1.373881 · 150 + 0.887406 · 420 + 0.549624 · 1,100 = 1,183.38; 7.2225 · 14 · 6 = 606.69.
        ([150.0, 420.0, 1100.0], 14.0),
    ];
    let wanted_npv = [132.36, -62.43, -576.69];
    for (([nozzle_cur, body_cur, pipe_cur], first_year_m3), wanted) in
        areas.into_iter().zip(wanted_npv)
    {
        let change = Investment {
            outlay: Outlay {
                once_cur: 0.0,
                nozzle_cur,
                body_cur,
                pipe_cur,
            },
            first_year_m3,
            renewed: true,
            terms,
        };
        near(change.npv_cur(value), wanted, 0.02);
        let levelised = change.levelised_cost_cur_m3().unwrap();
        near(change.npv_cur(levelised), 0.0, 1e-9);
        // The supplier's ceiling: what the water is worth less administration.
        near(
            value * change.present_m3() - admin,
            value * factors.water_yr * first_year_m3 - 40.0,
            1e-9,
        );
    }
    // As three measures of one unit: nozzles at 3.71 a cubic metre; bodies for 324.79 and three
    // cubic metres a year more, 14.99; the new layout 644.26 for three more, 29.73.
    let rungs: Vec<Rung> = areas
        .iter()
        .map(|([nozzle, body, pipe], first_year_m3)| Rung {
            cost_cur: factors.nozzle * nozzle + factors.body * body + factors.pipe * pipe,
            water_m3: factors.water_yr * first_year_m3,
        })
        .collect();
    let steps = hull(&rungs);
    let costs: Vec<f64> = steps.iter().map(|step| step.cost_cur_m3()).collect();
    for (found, wanted) in costs.iter().zip([3.7093, 14.9897, 29.7340]) {
        near(*found, wanted, 1e-4);
    }
    let stops = [3.0, 6.0, 15.0, 30.0].map(|value| stop(&steps, value));
    assert_eq!(stops, [None, Some(0), Some(1), Some(2)]);
    // The rebate on the first: half of 156 by the rule, at most 346.68 − 40, at most its cost.
    let worth = value * rungs[0].water_m3 - admin;
    near(78.0_f64.min(worth).min(156.0), 78.0, 0.0);
    near(worth, 306.68, 0.01);
}

/// 240 for 20 m³/yr that decay by 5 % a year, at 4 % over 8 years, water worth 1.80 (recomputed).
#[test]
fn levelised_cost_and_present_value() {
    let investment = lasting(240.0, 20.0, 8.0, 0.04, 0.05);
    let cost = investment.levelised_cost_cur_m3().unwrap();
    near(cost, 2.0961, 5e-5);
    near(investment.npv_cur(1.8), -33.902, 5e-4);
    near(investment.npv_cur(cost), 0.0, 1e-9);
    let steady = lasting(240.0, 20.0, 8.0, 0.04, 0.0);
    near(steady.levelised_cost_cur_m3().unwrap(), 1.7823, 5e-5);
    near(
        steady.levelised_cost_cur_m3().unwrap(),
        240.0 * capital_recovery_factor(0.04, years(8)) / 20.0,
        1e-12,
    );
    let realised = Investment {
        first_year_m3: 16.0,
        ..investment
    };
    near(realised.levelised_cost_cur_m3().unwrap(), 2.6201, 5e-5);
}

/// 0.004 acre-feet a year from a nozzle of 4.00 at 5 % over 5 years (recomputed): 230.97 per
/// acre-foot of 1 233.48 m³.
#[test]
fn the_cost_of_an_acre_foot() {
    let nozzle = lasting(4.0, 0.004 * 1233.48, 5.0, 0.05, 0.0);
    let cost = nozzle.levelised_cost_cur_m3().unwrap();
    near(cost, 0.187_25, 5e-6);
    near(cost * 1233.48, 230.97, 0.01);
}

/// Recomputed example of six items: 126 within 600 (bound 126), 101 within 500 (bound 106).
#[test]
fn six_items_under_two_budgets() {
    let items: Vec<Item> = [
        (200, 40.0),
        (150, 36.0),
        (300, 54.0),
        (100, 15.0),
        (250, 50.0),
        (180, 27.0),
    ]
    .map(|(cost_cents, saving_m3_yr)| Item {
        cost_cents,
        saving_m3_yr,
    })
    .to_vec();
    let ample = allot(&items, 600);
    assert_eq!(
        (ample.chosen.as_slice(), ample.cost_cents),
        (&[0, 1, 4][..], 600)
    );
    near(ample.saving_m3_yr, 126.0, 1e-9);
    near(ample.bound_m3_yr, 126.0, 1e-9);
    let tight = allot(&items, 500);
    assert_eq!(tight.chosen, [1, 3, 4]);
    near(tight.saving_m3_yr, 101.0, 1e-9);
    near(tight.bound_m3_yr, 106.0, 1e-9);
    assert!(allot(&items, 0).chosen.is_empty());
}

/// Recomputed sample of four offers.
#[test]
fn a_supply_curve_adds_up() {
    let offer = |saving_m3_yr: f64, cost: f64| Offer {
        saving_m3_yr,
        cost_cur_m3: Some(cost),
        rebate_cur: 1.0,
    };
    let offers = [
        offer(52.0, 4.2),
        offer(30.0, 1.1),
        offer(75.0, 3.8),
        offer(12.0, 2.5),
        offer(-3.0, 0.1),
    ];
    let curve = supply_curve(&offers);
    let order: Vec<usize> = curve.iter().map(|step| step.offer).collect();
    let sums: Vec<f64> = curve.iter().map(|step| step.cumulative_m3_yr).collect();
    assert_eq!(order, [1, 3, 2, 0]);
    assert_eq!(sums, [30.0, 42.0, 117.0, 169.0]);
    assert_eq!(curve[3].cumulative_cur, 4.0);
}

#[test]
fn percentiles_lie_between_neighbours() {
    let ten: Vec<f64> = (1..=10).rev().map(f64::from).collect();
    near(percentile(&ten, 0.1).unwrap(), 1.9, 1e-12);
    near(percentile(&ten, 0.5).unwrap(), 5.5, 1e-12);
    near(percentile(&ten, 0.9).unwrap(), 9.1, 1e-12);
    assert_eq!(percentile(&[3.0], 0.9), Some(3.0));
    assert_eq!(percentile(&[], 0.5), None);
}

/// Each coordinate visits every 256th of its range once, so the mean of a linear model is off by
/// half a 256th of the width at most.
#[test]
fn coordinates_are_evenly_spread() {
    for sample in [Sample::common(7), Sample::of_parcel(7, "12")] {
        for coordinate in 0..COORDINATES {
            let mut cells: Vec<usize> = (0..DRAWS)
                .map(|draw| (sample.frac(draw, coordinate) * DRAWS as f64) as usize)
                .collect();
            cells.sort_unstable();
            assert_eq!(cells, (0..DRAWS).collect::<Vec<_>>(), "{coordinate}");
            let mean: f64 = (0..DRAWS)
                .map(|draw| sample.frac(draw, coordinate))
                .sum::<f64>()
                / DRAWS as f64;
            near(mean, 0.5, 0.5 / DRAWS as f64);
        }
    }
}

/// The correlation of two coordinates, and of two parcels' same coordinate, is that of chance at
/// most: 256 independent pairs have a standard error of 1/16.
#[test]
fn coordinates_and_parcels_do_not_follow_one_another() {
    let correlation = |a: &dyn Fn(usize) -> f64, b: &dyn Fn(usize) -> f64| {
        let sum: f64 = (0..DRAWS).map(|k| (a(k) - 0.5) * (b(k) - 0.5)).sum();
        12.0 * sum / DRAWS as f64
    };
    let common = Sample::common(7);
    for i in 0..12 {
        for j in 0..i {
            let r = correlation(&|k| common.frac(k, i), &|k| common.frac(k, j));
            assert!(r.abs() < 3.0 / 16.0, "{i} {j}: {r}");
        }
    }
    let (one, two) = (Sample::of_parcel(7, "1"), Sample::of_parcel(7, "2"));
    for i in 0..12 {
        for j in 0..12 {
            let r = correlation(&|k| one.frac(k, i), &|k| two.frac(k, j));
            assert!(r.abs() < 4.0 / 16.0, "{i} {j}: {r}");
        }
    }
    assert_ne!(Sample::common(7).frac(0, 0), Sample::common(8).frac(0, 0));
}

#[test]
fn ranges_have_their_quantiles() {
    let triangle = Range {
        low: 2.0,
        central: 4.0,
        high: 10.0,
        spread: Spread::Triangular,
    };
    // Area of the triangle below its peak: (4 − 2) / (10 − 2).
    near(triangle.quantile(0.25), 4.0, 1e-12);
    near(triangle.quantile(0.0), 2.0, 1e-12);
    near(triangle.quantile(1.0), 10.0, 1e-12);
    let sample = Sample::common(1);
    let mean: f64 = (0..DRAWS)
        .map(|k| triangle.quantile(sample.frac(k, 3)))
        .sum::<f64>()
        / DRAWS as f64;
    near(mean, (2.0 + 4.0 + 10.0) / 3.0, 8.0 / DRAWS as f64);
    let even = Range {
        spread: Spread::Uniform,
        ..triangle
    };
    near(even.quantile(0.5), 6.0, 1e-12);
    let known = Range {
        low: 4.0,
        high: 4.0,
        ..triangle
    };
    assert!((0..DRAWS).all(|k| known.quantile(sample.frac(k, 0)) == 4.0));
}

/// The best set by trying all.
fn brute_force(items: &[Item], budget_cents: u64) -> f64 {
    (0u32..1 << items.len())
        .filter_map(|set| {
            let taken = |i: &usize| set >> i & 1 == 1;
            let of: Vec<&Item> = (0..items.len()).filter(taken).map(|i| &items[i]).collect();
            let cost: u64 = of.iter().map(|item| item.cost_cents).sum();
            (cost <= budget_cents).then(|| of.iter().map(|item| item.saving_m3_yr).sum::<f64>())
        })
        .fold(0.0, f64::max)
}

fn items() -> impl Strategy<Value = Vec<Item>> {
    prop::collection::vec((0u64..60, -5i32..80), 0..12).prop_map(|list| {
        list.into_iter()
            .map(|(cost_cents, saving)| Item {
                cost_cents,
                saving_m3_yr: f64::from(saving),
            })
            .collect()
    })
}

proptest! {
    #[test]
    fn small_allotments_are_the_best(items in items(), budget in 0u64..200, more in 0u64..50) {
        let allotment = allot(&items, budget);
        prop_assert!(allotment.is_optimal);
        prop_assert!((allotment.saving_m3_yr - brute_force(&items, budget)).abs() < 1e-6);
        prop_assert!(allotment.saving_m3_yr <= allotment.bound_m3_yr + 1e-6);
        prop_assert!(allotment.cost_cents <= budget);
        prop_assert!(allot(&items, budget + more).saving_m3_yr >= allotment.saving_m3_yr - 1e-6);
        prop_assert!(allotment.chosen.iter().all(|&i| items[i].saving_m3_yr > 0.0));
    }

    #[test]
    fn floors_are_kept_where_items_can_use_them(items in items(), floor in 0u64..80) {
        let budget = 150;
        let members: Vec<usize> = (0..items.len()).step_by(2).collect();
        let floors = [Floor { members: members.clone(), least_cents: floor }];
        let allotment = allot_with_floors(&items, budget, &floors);
        prop_assert!(allotment.cost_cents <= budget);
        prop_assert!(allotment.saving_m3_yr <= allotment.bound_m3_yr + 1e-6);
        let spent: u64 = allotment.chosen.iter().filter(|&&i| i % 2 == 0)
            .map(|&i| items[i].cost_cents).sum();
        let left = budget - allotment.cost_cents;
        // Below its floor only where none of its members that saves would still have fitted.
        let more = members.iter().any(|i| {
            !allotment.chosen.contains(i) && items[*i].saving_m3_yr > 0.0
                && items[*i].cost_cents > 0 && items[*i].cost_cents <= left
        });
        prop_assert!(spent >= floor || !more);
        let free = allot(&items, budget);
        let kept: u64 = free.chosen.iter().filter(|&&i| i % 2 == 0)
            .map(|&i| items[i].cost_cents).sum();
        prop_assert!(kept < floor || allotment == free);
    }

    #[test]
    fn many_allotments_stay_between_greedy_and_the_bound(
        items in prop::collection::vec((1u64..5_000, 1i32..900), 200..400), share in 1u64..100
    ) {
        let items: Vec<Item> = items.into_iter().map(|(cost_cents, saving)| Item {
            cost_cents, saving_m3_yr: f64::from(saving),
        }).collect();
        let all: u64 = items.iter().map(|item| item.cost_cents).sum();
        let budget = all * share / 100;
        let allotment = allot(&items, budget);
        prop_assert!(allotment.cost_cents <= budget);
        prop_assert!(allotment.saving_m3_yr <= allotment.bound_m3_yr + 1e-6);
        let mut order: Vec<&Item> = items.iter().collect();
        order.sort_by(|a, b| (b.saving_m3_yr / b.cost_cents as f64)
            .total_cmp(&(a.saving_m3_yr / a.cost_cents as f64)));
        let (mut left, mut greedy) = (budget, 0.0);
        for item in order {
            if item.cost_cents <= left {
                left -= item.cost_cents;
                greedy += item.saving_m3_yr;
            }
        }
        prop_assert!(allotment.saving_m3_yr >= greedy - 1e-6, "{} {greedy}", allotment.saving_m3_yr);
    }
}
