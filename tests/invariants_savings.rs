//! What holds of savings and their draws whatever the lawn.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use evenfall::assumptions::{Assumptions, Key, RANGES, Scope, Uncertain};
use evenfall::budget::{
    Condition, Drift, FoundClock, Hardware, JetKind, Lawn, MultiplierForm, NozzleScatter,
    Regulation, RunoffMethod, ScenarioWater,
};
use evenfall::catalogue::ScatterKind;
use evenfall::climate::YearClimate;
use evenfall::savings::{
    Attribution, ClaimTerms, Counterfactual, DRAWN, DRAWS, DrawnLawn, Side, Uses, Values, Way,
    attribute, draws, percentiles, ranges,
};
use evenfall::site::{Grass, Land, LonLatPolygon, TurfArea};
use evenfall::soil::Texture;
use evenfall::units::Rate;
use proptest::prelude::*;

fn turf() -> TurfArea {
    TurfArea {
        id: "1#1".to_owned(),
        polygon: LonLatPolygon::new(geo::LineString::new(Vec::new()), Vec::new()),
        exposure: None,
        grass: Some(Grass::Cool),
        repair_area_frac: 0.0,
        land: Land::default(),
    }
}

fn set(settings: &[&str]) -> Assumptions {
    settings.iter().fold(Assumptions::defaults(), |run, s| {
        run.with_setting(s).unwrap()
    })
}

fn hardware() -> impl Strategy<Value = Hardware> {
    (
        (5.0..60.0f64, 0.0..0.5f64, 0.0..0.4f64),
        (-0.02..0.05f64, 0.0..0.1f64, any::<[bool; 2]>()),
    )
        .prop_map(
            |((rate, cv_drawn, over_frac), (pressure_cv2, mist_frac, [regulated, renewed]))| {
                Hardware {
                    nozzle: NozzleScatter::of_kind(ScatterKind::Spray),
                    rate: Rate::from_mm_h(rate).unwrap(),
                    cv_drawn,
                    over_frac,
                    drift_frac: 0.05,
                    pressure_cv2,
                    mist_frac,
                    regulation: if regulated {
                        Regulation::Regulated
                    } else {
                        Regulation::Unregulated
                    },
                    condition: if renewed {
                        Condition::Renewed
                    } else {
                        Condition::AsFound
                    },
                }
            },
        )
}

fn textures() -> impl Strategy<Value = Texture> {
    prop::sample::select(Texture::ALL.to_vec())
}

/// Streams, so that the hardware's drift is that of the assumptions.
const STREAMS: Drift = Drift {
    kind: JetKind::Streams,
    regression_frac: None,
};

/// A lawn as found and with new hardware.
struct Case<'a> {
    lawn: Lawn<'a>,
    clock: FoundClock,
    sides: [(Hardware, ScenarioWater); 3],
}

impl<'a> Case<'a> {
    /// As found, with a right schedule, and with new hardware.
    fn of(
        run: &Assumptions,
        climate: &'a YearClimate,
        texture: Texture,
        found: Hardware,
        new: Hardware,
    ) -> Case<'a> {
        let lawn = Lawn::assumed(run, climate, &turf(), texture, 2.0, 100.0);
        let clock = FoundClock::assumed(run);
        let sides = [
            (found, lawn.as_found(&found, &clock)),
            (found, lawn.retimed(&found)),
            (new, lawn.retimed(&new)),
        ];
        Case { lawn, clock, sides }
    }

    /// Claims and potentials of some draws.
    fn drawn(&self, run: &Assumptions, draws: &[Values]) -> Vec<(f64, f64)> {
        let ways: Vec<Way<'_>> = self
            .sides
            .iter()
            .map(|(hardware, water)| Way {
                hardware,
                drift: STREAMS,
                water,
            })
            .collect();
        let lawn = DrawnLawn::new(&self.lawn, &self.clock, Key::PlantFactorCool, run, &ways);
        let terms = ClaimTerms::assumed(run);
        draws
            .iter()
            .map(|values| {
                let net_mm = lawn.net_mm(values);
                let by_both = lawn.uses_m3(values, &net_mm);
                let uses: Vec<f64> = by_both.map(|by_both| values.pick(by_both)).collect();
                let terms = values.claim_terms(&terms);
                (claimed(&uses, &terms), uses[0] - uses[2])
            })
            .collect()
    }

    /// The claim without draws.
    fn claimed_m3_yr(&self, run: &Assumptions) -> f64 {
        let uses = self
            .sides
            .each_ref()
            .map(|(_, water)| water.year().use_m3_yr);
        claimed(&uses, &ClaimTerms::assumed(run))
    }
}

/// The claim from the uses as found, with a right schedule, and with new hardware.
fn claimed(uses: &[f64], terms: &ClaimTerms) -> f64 {
    let uses = Uses {
        found_m3_yr: uses[0],
        reclock_m3_yr: Some(uses[1]),
        repair_m3_yr: None,
        clock_observed: false,
        with_m3_yr: uses[2],
    };
    terms.claimed_m3_yr(uses.gross(Counterfactual::Reclock))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn parts_add_up_and_what_does_not_change_gets_nothing(
        texture in textures(), found in hardware(), new in hardware(), by_clock in any::<bool>(),
    ) {
        let run = set(&[if by_clock { "clock.follows=clock" } else { "clock.follows=need" }]);
        let climate = YearClimate::larkmoor();
        let case = Case::of(&run, &climate, texture, found, new);
        let side = |way: usize| {
            let (hardware, water) = &case.sides[way];
            if way == 0 && by_clock { Side::by_clock(hardware, water) } else { Side::to_need(hardware, water) }
        };
        let parts = attribute(&case.lawn, &side(0), &side(2));
        let saved = case.sides[0].1.year().use_m3_yr - case.sides[2].1.year().use_m3_yr;
        let scale = case.sides[0].1.year().use_m3_yr + case.sides[2].1.year().use_m3_yr;
        prop_assert!((parts.total_m3_yr() - saved).abs() <= 1e-9 * scale);
        if !by_clock {
            prop_assert_eq!(parts.schedule_m3_yr, 0.0);
        }
        prop_assert_eq!(parts.drift_m3_yr, 0.0); // all have the same
        prop_assert_eq!(attribute(&case.lawn, &side(2), &side(2)), Attribution::default());
    }

    #[test]
    fn percentiles_stand_in_order_and_equal_ways_save_nothing_in_any_draw(
        texture in textures(), found in hardware(), new in hardware(), seed in 0..1000u64,
    ) {
        let run = Assumptions::defaults();
        let climate = YearClimate::larkmoor();
        let case = Case::of(&run, &climate, texture, found, new);
        let all = draws(&run, seed, "A");
        let figures = case.drawn(&run, &all);
        for of in [|pair: &(f64, f64)| pair.0, |pair: &(f64, f64)| pair.1] {
            let values: Vec<f64> = figures.iter().map(of).collect();
            prop_assert!(values.iter().all(|value| value.is_finite()));
            let [p10, p50, p90] = percentiles(&values, [0.1, 0.5, 0.9]).unwrap();
            prop_assert!(p10 <= p50 && p50 <= p90);
        }
        // The same hardware with a right schedule on both sides.
        let mut same = Case::of(&run, &climate, texture, found, found);
        same.sides[0] = same.sides[1].clone();
        for (claimed, potential) in same.drawn(&run, &all) {
            prop_assert_eq!((claimed, potential), (0.0, 0.0));
        }
    }

    #[test]
    fn without_width_every_draw_is_the_plan(
        texture in textures(), found in hardware(), new in hardware(),
    ) {
        let run = set(&["savings.range_width=0"]);
        let climate = YearClimate::larkmoor();
        let case = Case::of(&run, &climate, texture, found, new);
        let claimed = case.claimed_m3_yr(&run);
        let figures = case.drawn(&run, &draws(&run, 3, "A"));
        prop_assert_eq!(figures.len(), DRAWS);
        for (own, _) in figures {
            prop_assert_eq!(own, claimed);
        }
    }
}

#[test]
fn the_mean_of_what_is_linear_is_its_central_value() {
    // The claim is linear in realisation, whose triangle has its peak in the middle.
    let run = Assumptions::defaults();
    let climate = YearClimate::larkmoor();
    let spray = hardware_of(40.0, 0.25);
    let case = Case::of(
        &run,
        &climate,
        Texture::Sand,
        spray,
        hardware_of(12.0, 0.10),
    );
    let central = Values::central(&run);
    let place = Uncertain::place(Key::SavingsRealisation).unwrap();
    let only: Vec<Values> = draws(&run, 5, "A")
        .iter()
        .map(|values| central.with(place, values.0[place]))
        .collect();
    let figures = case.drawn(&run, &only);
    let mean = figures.iter().map(|(claimed, _)| claimed).sum::<f64>() / DRAWS as f64;
    let claimed = case.claimed_m3_yr(&run);
    assert!(claimed > 0.1, "{claimed}");
    // All 256 points are shifted together by up to half their distance: 0.4 · 0.5/256 of 0.5.
    assert!((mean / claimed - 1.0).abs() < 2e-3, "{mean} {claimed}");
}

fn hardware_of(rate_mm_h: f64, cv_drawn: f64) -> Hardware {
    Hardware {
        nozzle: NozzleScatter::of_kind(ScatterKind::Spray),
        rate: Rate::from_mm_h(rate_mm_h).unwrap(),
        cv_drawn,
        over_frac: 0.08,
        drift_frac: 0.05,
        pressure_cv2: 0.0,
        mist_frac: 0.0,
        regulation: Regulation::Unregulated,
        condition: Condition::AsFound,
    }
}

#[test]
fn parcels_share_what_is_common_and_nothing_else() {
    let run = Assumptions::defaults();
    let ranges = ranges(&run);
    let [a, again, b] = ["A", "A", "B"].map(|id| draws(&run, 9, id));
    assert_eq!(a, again);
    assert_ne!(a, draws(&run, 10, "A"));
    // Forms are shared, and drawn in their shares.
    assert!(a.iter().zip(&b).all(|(a, b)| a.1 == b.1));
    let count = |form| {
        a.iter()
            .filter(|values| values.1.multiplier == form)
            .count()
    };
    for (form, frac) in [
        (MultiplierForm::Blend, 0.6),
        (MultiplierForm::LowHalf, 0.2),
        (MultiplierForm::LowQuarter, 0.2),
    ] {
        let off = count(form) as f64 - frac * DRAWS as f64;
        assert!(off.abs() <= 1.0, "{form:?} {off}"); // 256 evenly spaced points
    }
    let table = a
        .iter()
        .filter(|values| values.1.runoff == RunoffMethod::Accumulation);
    assert!(table.count().abs_diff(DRAWS / 2) <= 1);
    let (mut common, mut own) = (0, 0);
    for place in 0..DRAWN {
        let same = a.iter().zip(&b).filter(|(a, b)| a.0[place] == b.0[place]);
        let same = same.count();
        match RANGES[place].scope {
            Scope::Common => {
                assert_eq!(same, DRAWS);
                common += 1;
            }
            Scope::Own => {
                assert!(same < DRAWS / 16, "{same}");
                own += 1;
            }
        }
        // Every draw stays inside the range, and a quarter of them in each quarter.
        let range = ranges[place];
        let quarter = |from: f64| {
            let (low, high) = (range.quantile(from), range.quantile(from + 0.25));
            a.iter()
                .filter(|v| (low..high).contains(&v.0[place]))
                .count()
        };
        for from in [0.0, 0.25, 0.5, 0.75] {
            assert!((DRAWS / 4 - 1..=DRAWS / 4 + 1).contains(&quarter(from)));
        }
    }
    assert!(common >= 10 && own >= 2);
}

#[test]
fn the_spread_of_a_total_is_not_the_sum_of_spreads() {
    let run = Assumptions::defaults();
    let climate = YearClimate::larkmoor();
    let spray = hardware_of(40.0, 0.25);
    let case = Case::of(
        &run,
        &climate,
        Texture::Clay,
        spray,
        hardware_of(12.0, 0.10),
    );
    let spread = |values: &[f64]| {
        let [p10, p90] = percentiles(values, [0.1, 0.9]).unwrap();
        p90 - p10
    };
    let mut total = vec![0.0; DRAWS];
    let mut parts = 0.0;
    for id in 0..40 {
        let figures = case.drawn(&run, &draws(&run, 2, &format!("P{id}")));
        let potentials: Vec<f64> = figures.iter().map(|(_, potential)| *potential).collect();
        parts += spread(&potentials);
        for (sum, own) in total.iter_mut().zip(&potentials) {
            *sum += own;
        }
    }
    // What is a parcel's own evens out over parcels, what is common does not.
    // The form of the run-time multiplier is common and moves most.
    let whole = spread(&total);
    assert!(whole < 0.99 * parts, "{whole} {parts}");
    assert!(whole > 0.1 * parts, "{whole} {parts}");
}
