//! Properties that soil, climate, demand and savings must have for every input.

#![allow(clippy::unwrap_used, reason = "tests")]

use evenfall::assumptions::Assumptions;
use evenfall::budget::{
    Condition, DemandInput, FoundClock, Hardware, Hydrozone, Lawn, NozzleScatter, Regulation,
    RunTimeMultiplier, ordinance_allowance, ordinance_use, year,
};
use evenfall::catalogue::ScatterKind;
use evenfall::climate::{EffectiveRain, MonthClimate, Sun, YearClimate};
use evenfall::savings::{Saving, Side, attribute, shapley};
use evenfall::site::TurfArea;
use evenfall::soil::{Ground, Reading, Texture, curve_number_runoff};
use evenfall::units::{Area, Depth, Rate, Time};
use proptest::prelude::*;

fn mm(depth: f64) -> Depth {
    Depth::from_mm(depth).unwrap()
}

fn mm_h(rate: f64) -> Rate {
    Rate::from_mm_h(rate).unwrap()
}

fn min(time: f64) -> Time {
    Time::from_min(time).unwrap()
}

fn textures() -> impl Strategy<Value = Texture> {
    (0..Texture::ALL.len()).prop_map(|index| Texture::ALL[index])
}

fn lawn_polygon() -> TurfArea {
    TurfArea {
        id: "1#1".to_owned(),
        polygon: geo::Polygon::new(geo::LineString::new(vec![]), vec![]),
        exposure: None,
        grass: None,
        repair_area_frac: 0.0,
        land: evenfall::site::Land::default(),
    }
}

fn ground(texture: Texture, slope_pct: f64, settings: &[&str]) -> Ground {
    let run = settings.iter().fold(Assumptions::defaults(), |run, s| {
        run.with_setting(s).unwrap()
    });
    Ground::assumed(&run, texture, slope_pct)
}

fn climates() -> impl Strategy<Value = YearClimate> {
    prop::collection::vec((0.0..250.0f64, 0.0..300.0f64), 12).prop_map(|rows| {
        let months: Vec<MonthClimate> = rows
            .into_iter()
            .map(|(eto_mm, rain_mm)| MonthClimate {
                eto_mm,
                rain_mm,
                wind_m_s: None,
                wind_frac: None,
                rh_pct: None,
                t_c: None,
            })
            .collect();
        YearClimate {
            name: String::new(),
            months: months.try_into().unwrap(),
        }
    })
}

fn hardware() -> impl Strategy<Value = Hardware> {
    (
        5.0..60.0f64,
        0.0..0.6f64,
        0.0..0.5f64,
        0.0..0.3f64,
        any::<[bool; 2]>(),
    )
        .prop_map(
            |(rate, cv_drawn, over_frac, drift_frac, [regulated, renewed])| Hardware {
                nozzle: NozzleScatter::of_kind(ScatterKind::Spray),
                rate: mm_h(rate),
                cv_drawn,
                over_frac,
                drift_frac,
                pressure_cv2: 0.0,
                mist_frac: 0.0,
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
            },
        )
}

fn close(a: f64, b: f64, relative: f64) -> bool {
    (a - b).abs() <= relative * a.abs().max(b.abs()).max(1e-12)
}

proptest! {
    // Soil.

    #[test]
    fn ponding_comes_sooner_the_faster_and_the_wetter(
        texture in textures(), saturation in 0.0..0.99f64, rate in 1.0..200.0f64, more in 1.01..3.0f64,
    ) {
        let soil = texture.green_ampt(Reading::default());
        let time = |saturation: f64, rate: f64| {
            soil.at_saturation(saturation).ponding_time(mm_h(rate)).map_or(f64::INFINITY, |t| t.s())
        };
        prop_assert!(time(saturation, rate * more) <= time(saturation, rate));
        let wetter = saturation + (1.0 - saturation) / 2.0;
        prop_assert!(time(wetter, rate) <= time(saturation, rate));
        let k = soil.conductivity.mm_h();
        prop_assert!(time(saturation, k * (1.0 - 1e-9)) == f64::INFINITY);
        prop_assert!(time(saturation, k * (1.0 + 1e-9)) > time(saturation, k * 1.001));
    }

    #[test]
    fn infiltration_lies_between_its_bounds_and_capacity_falls_to_k(
        texture in textures(), saturation in 0.0..1.0f64, rate in 1.0..200.0f64, minutes in 0.1..600.0f64,
    ) {
        let soil = texture.green_ampt(Reading::default());
        let front = soil.at_saturation(saturation);
        let (rate, time) = (mm_h(rate), min(minutes));
        let entered = front.infiltrated(Depth::ZERO, rate, time);
        let everything = rate * time;
        let least = if soil.conductivity < rate { soil.conductivity * time } else { everything };
        prop_assert!(entered.mm() <= everything.mm() * (1.0 + 1e-12));
        prop_assert!(entered.mm() >= least.mm() * (1.0 - 1e-9));
        // Capacity falls towards K and never below it.
        let later = front.infiltrated(Depth::ZERO, rate, time * 2.0);
        let capacity = |depth: Depth| front.capacity(depth).map_or(f64::INFINITY, |r| r.mm_h());
        prop_assert!(capacity(later) <= capacity(entered) * (1.0 + 1e-12));
        prop_assert!(capacity(later) >= soil.conductivity.mm_h() * (1.0 - 1e-12));
        // At ponding the capacity equals the rate.
        if let Some(ponding) = front.ponding_time(rate).filter(|time| time.s() > 1e-6) {
            let at = front.infiltrated(Depth::ZERO, rate, ponding);
            prop_assert!(close(capacity(at), rate.mm_h(), 1e-9));
        }
    }

    #[test]
    fn a_run_cut_in_two_without_recovery_is_the_same_run(
        texture in textures(), saturation in 0.0..1.0f64, rate in 1.0..100.0f64,
        minutes in 1.0..200.0f64, share in 0.01..0.99f64,
    ) {
        let front = texture.green_ampt(Reading::default()).at_saturation(saturation);
        let (rate, time) = (mm_h(rate), min(minutes));
        let whole = front.infiltrated(Depth::ZERO, rate, time);
        let first = front.infiltrated(Depth::ZERO, rate, time * share);
        let second = front.infiltrated(first, rate, time * (1.0 - share));
        prop_assert!(close(whole.mm(), second.mm(), 1e-9), "{} {}", whole.mm(), second.mm());
    }

    #[test]
    fn water_adds_up_and_runoff_never_rises_with_what_the_soil_takes(
        texture in textures(), slope in 0.0..20.0f64, rate in 0.0..100.0f64,
        minutes in 0.0..120.0f64, cycles in 0u32..6, carry in any::<bool>(),
    ) {
        let recovery = if carry { "soil.cycle_recovery=carry" } else { "soil.cycle_recovery=redistribute" };
        let of = |settings: &[&str]| {
            let settings = [&[recovery], settings].concat();
            ground(texture, slope, &settings).green_ampt_split(mm_h(rate), min(minutes), cycles)
        };
        let base = of(&[]);
        let sum = base.infiltrated + base.stored + base.runoff;
        prop_assert!(close(sum.mm(), base.applied.mm(), 1e-9));
        for part in [base.infiltrated, base.stored, base.runoff] {
            prop_assert!(part.mm() >= -1e-12);
        }
        prop_assert!(close(base.applied.mm(), rate * minutes / 60.0 * f64::from(cycles), 1e-9));
        let slack = 1e-9 * base.applied.mm() + 1e-12;
        for better in [
            &["soil.intake_multiplier=1.7"][..],
            &["soil.saturation_start_frac=0.3"],
            &["soil.surface_storage=slope"],
        ] {
            prop_assert!(of(better).runoff.mm() <= base.runoff.mm() + slack, "{better:?}");
        }
    }

    #[test]
    fn an_equal_depth_runs_off_less_the_slower_it_comes(
        texture in textures(), slope in 0.0..20.0f64, depth in 0.1..40.0f64,
        rate in 2.0..100.0f64, slower in 0.1..1.0f64,
    ) {
        let ground = ground(texture, slope, &[]);
        let time = |rate: f64| min(60.0 * depth / rate);
        let slow = rate * slower;
        let green_ampt = |rate: f64| ground.green_ampt_split(mm_h(rate), time(rate), 1).runoff.mm();
        prop_assert!(green_ampt(slow) <= green_ampt(rate) + 1e-9 * depth);
        let table = |rate: f64| ground.accumulation_split(mm_h(rate), time(rate), 1).runoff.mm();
        prop_assert!(table(slow) <= table(rate) + 1e-9 * depth);
    }

    #[test]
    fn cycles_add_up_to_the_run_and_keep_to_the_longest(
        texture in textures(), slope in 0.0..20.0f64, rate in 0.5..100.0f64, minutes in 0.0..600.0f64,
    ) {
        let table = texture.accumulation(slope, 1.0);
        let run = min(minutes);
        let plan = table.cycles(mm_h(rate), run);
        prop_assert!(close(plan.each.min() * f64::from(plan.count), minutes, 1e-9));
        match table.longest_run(mm_h(rate)) {
            Some(longest) => {
                prop_assert!(plan.each.min() <= longest.min() * (1.0 + 1e-8));
                prop_assert!(run > longest || plan.count <= 1);
                let standing = (mm_h(rate) - table.intake) * plan.each;
                prop_assert!(plan.soak.min() * f64::from(plan.count.saturating_sub(1)) == 0.0
                    || (table.intake * plan.soak).mm() >= standing.mm() - 1e-9);
            }
            None => prop_assert!(plan.count <= 1 && plan.soak == Time::ZERO),
        }
        prop_assert_eq!(plan.count == 0, minutes == 0.0);
    }

    #[test]
    fn curve_number_runoff_is_never_more_than_the_rain(rain in 0.0..300.0f64, number in 1.0..100.0f64) {
        let runoff = curve_number_runoff(mm(rain), number).mm();
        prop_assert!((0.0..=rain).contains(&runoff));
        prop_assert!(close(curve_number_runoff(mm(rain), 100.0).mm(), rain, 1e-9));
    }

    // Climate and budget.

    #[test]
    fn the_sun_is_symmetric_and_bounded(latitude in -90.0..90.0f64, day in 1u16..=366) {
        let sun = Sun::on(latitude, day);
        prop_assert!((0.0..=24.0 + 1e-9).contains(&sun.daylight_h()));
        prop_assert!(sun.extraterrestrial_mj() >= 0.0);
        // Day and night of opposite latitudes make one day.
        prop_assert!(close(sun.daylight_h() + Sun::on(-latitude, day).daylight_h(), 24.0, 1e-9));
        if sun.daylight_h() == 0.0 {
            prop_assert_eq!(sun.extraterrestrial_mj(), 0.0);
        }
    }

    #[test]
    fn effective_rain_is_bounded_and_more_rain_never_raises_the_need(
        rain in 0.0..500.0f64, more in 0.0..200.0f64, etc in 0.0..300.0f64, storage in 0.0..200.0f64,
        method in 0..3usize,
    ) {
        let method =
            [EffectiveRain::Tr21, EffectiveRain::Short, EffectiveRain::Fixed { frac: 0.5 }][method];
        let effective = |rain: f64| method.of_month_mm(rain, etc, storage);
        prop_assert!(effective(rain) >= 0.0 && effective(rain) <= rain.min(etc));
        prop_assert!(etc - effective(rain + more) <= etc - effective(rain) + 1e-9);
    }

    #[test]
    fn the_multiplier_falls_from_its_most_to_one(du in 0.0..1.0f64, more in 0.0..1.0f64, form in 0..3usize) {
        let form = ["blend", "low-quarter", "low-half"][form];
        let run = Assumptions::defaults()
            .with_setting(&format!("budget.run_time_multiplier_form={form}")).unwrap();
        let multiplier = RunTimeMultiplier::assumed(&run);
        let better = du + (1.0 - du) * more;
        prop_assert!(multiplier.of(better) <= multiplier.of(du));
        prop_assert!((1.0..=4.0).contains(&multiplier.of(du)));
        prop_assert!((multiplier.of(1.0) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn run_time_depth_and_volume_are_one_thing(
        climate in climates(), hardware in hardware(), area in 1.0..5_000.0f64,
    ) {
        let run = Assumptions::defaults();
        let lawn = Lawn::assumed(&run, &climate, &lawn_polygon(), Texture::Loam, 2.0, area);
        let input = lawn.demand_with(&hardware, [0.0; 12]);
        let water = year(&input);
        for month in &water.months {
            prop_assert!(month.net_mm >= 0.0 && month.gross_mm >= month.net_mm * (1.0 - 1e-12));
            let multiplier = input.multiplier.of(input.du_lq_field);
            prop_assert!(close(month.gross_mm * (1.0 - hardware.drift_frac), multiplier * month.net_mm, 1e-9));
            // RT from the net rate; the volume from the gross rate, which includes overspray.
            let run_min = 60.0 * month.gross_mm / hardware.rate.mm_h();
            let rate_gross_mm_h = hardware.rate.mm_h() / (1.0 - hardware.over_frac);
            let flow_lpm = rate_gross_mm_h * area / 60.0;
            prop_assert!(close(run_min * flow_lpm / 1_000.0, month.use_m3, 1e-9));
        }
        // Linear in area.
        let twice = year(&DemandInput { area_m2: 2.0 * area, ..input.clone() });
        prop_assert!(close(twice.use_m3_yr, 2.0 * water.use_m3_yr, 1e-9));
    }

    #[test]
    fn no_evaporation_no_water(hardware in hardware(), rain in 0.0..100.0f64) {
        let mut climate = YearClimate::larkmoor();
        for month in &mut climate.months {
            (month.eto_mm, month.rain_mm) = (0.0, rain);
        }
        let run = Assumptions::defaults();
        let lawn = Lawn::assumed(&run, &climate, &lawn_polygon(), Texture::Clay, 2.0, 100.0);
        for water in [lawn.retimed(&hardware), lawn.as_found(&hardware, &FoundClock::assumed(&run))] {
            prop_assert_eq!(water.by_accumulation.use_m3_yr, 0.0);
            prop_assert_eq!(water.by_green_ampt.use_m3_yr, 0.0);
        }
        prop_assert_eq!(lawn.retimed(&hardware).schedule.unwrap().run_min(), 0.0);
        let area = Area::from_m2(100.0).unwrap();
        prop_assert_eq!(ordinance_allowance(Depth::ZERO, 0.55, area, Area::ZERO).m3(), 0.0);
        let zone = Hydrozone { plant_factor: 0.8, efficiency: 0.75, area };
        prop_assert_eq!(ordinance_use(Depth::ZERO, &[zone], Area::ZERO).m3(), 0.0);
    }

    #[test]
    fn allowances_are_linear_and_add_up_over_zones(
        eto in 0.0..2_000.0f64, areas in prop::collection::vec(0.0..2_000.0f64, 1..6),
        factor in 0.1..1.0f64,
    ) {
        let area = |m2: f64| Area::from_m2(m2).unwrap();
        let zone = |m2: f64| Hydrozone { plant_factor: factor, efficiency: 0.75, area: area(m2) };
        let zones: Vec<Hydrozone> = areas.iter().map(|&m2| zone(m2)).collect();
        let total: f64 = areas.iter().sum();
        let whole = ordinance_use(mm(eto), &zones, Area::ZERO).m3();
        let parts: f64 =
            zones.iter().map(|zone| ordinance_use(mm(eto), &[*zone], Area::ZERO).m3()).sum();
        prop_assert!(close(whole, parts, 1e-9));
        let allowed = |eto: f64, m2: f64, special: f64| {
            ordinance_allowance(mm(eto), factor, area(m2), area(special)).m3()
        };
        prop_assert!(close(allowed(2.0 * eto, total, 0.0), 2.0 * allowed(eto, total, 0.0), 1e-9));
        // All special: the whole evapotranspiration, at the ordinance's rounding of 0.62.
        let exact = eto / 1_000.0 * total * 0.62 / (1_728.0 / 231.0 / 12.0);
        prop_assert!(close(allowed(eto, total, total), exact, 1e-9));
    }

    // Savings.

    #[test]
    fn nothing_changed_nothing_saved(
        climate in climates(), hardware in hardware(), texture in textures(), slope in 0.0..20.0f64,
    ) {
        let run = Assumptions::defaults();
        let lawn = Lawn::assumed(&run, &climate, &lawn_polygon(), texture, slope, 321.0);
        let (one, other) = (lawn.retimed(&hardware), lawn.retimed(&hardware));
        prop_assert_eq!(Saving::between(one.year(), other.year()).m3_yr, 0.0);
        let side = Side::to_need(&hardware, &one);
        prop_assert_eq!(attribute(&lawn, &side, &side).parts(), [0.0; 6]);
    }

    #[test]
    fn the_parts_of_a_saving_add_up(
        climate in climates(), base in hardware(), new in hardware(), texture in textures(),
    ) {
        let run = Assumptions::defaults();
        let lawn = Lawn::assumed(&run, &climate, &lawn_polygon(), texture, 4.0, 250.0);
        let found = lawn.as_found(&base, &FoundClock::assumed(&run));
        let after = lawn.retimed(&new);
        let parts = attribute(&lawn, &Side::to_need(&base, &found), &Side::to_need(&new, &after));
        let saving = Saving::between(found.year(), after.year()).m3_yr;
        // Parts of either sign may be much larger than their sum.
        let size: f64 = parts.parts().iter().map(|part| part.abs()).sum::<f64>() + found.year().use_m3_yr;
        prop_assert!((parts.total_m3_yr() - saving).abs() <= 1e-9 * size);
        if base.drift_frac == new.drift_frac {
            prop_assert_eq!(parts.drift_m3_yr, 0.0);
        }
    }

    #[test]
    fn shares_do_not_depend_on_the_order_of_causes(
        base in prop::array::uniform4(0.1..1.0f64), new in prop::array::uniform4(0.1..1.0f64),
        still in 0..4usize,
    ) {
        let mut new = new;
        new[still] = base[still];
        let value = |order: [usize; 4]| {
            shapley(|changed: [bool; 4]| {
                (0..4).map(|i| if changed[i] { new[order[i]] } else { base[order[i]] }).product()
            })
        };
        let (straight, turned) = (value([0, 1, 2, 3]), value([3, 1, 0, 2]));
        prop_assert_eq!(straight[still], 0.0);
        for (place, cause) in [3, 1, 0, 2].into_iter().enumerate() {
            prop_assert!((straight[cause] - turned[place]).abs() < 1e-12);
        }
        let total: f64 = straight.iter().sum();
        let whole: f64 = base.iter().product::<f64>() - new.iter().product::<f64>();
        prop_assert!((total - whole).abs() < 1e-12);
    }

    #[test]
    fn schedules_are_within_their_limits(
        climate in climates(), hardware in hardware(), texture in textures(), slope in 0.0..20.0f64,
        minutes in 1.0..1_440.0f64, starts in 1u32..6,
    ) {
        let run = Assumptions::defaults()
            .with_setting(&format!("restrictions.most_minutes_per_day={minutes}")).unwrap()
            .with_setting(&format!("controller.starts_most={starts}")).unwrap();
        let lawn = Lawn::assumed(&run, &climate, &lawn_polygon(), texture, slope, 100.0);
        let schedule = lawn.retimed(&hardware).schedule.unwrap();
        prop_assert!(schedule.cycles <= starts);
        prop_assert!(schedule.percent.iter().all(|&percent| percent <= 100));
        prop_assert!((0.0..=1.0).contains(&schedule.met_frac));
        prop_assert!(schedule.days_per_week <= 7.0);
        prop_assert_eq!(schedule.cycle_min.fract(), 0.0);
        // Rounding up to whole minutes may add one minute a cycle to the base programme; the
        // percentage line takes it off again.
        prop_assert!(schedule.run_min() <= minutes + f64::from(schedule.cycles));
    }
}

#[test]
fn radiation_of_opposite_hemispheres_differs_by_distance_only() {
    // R_a(−φ, −δ) = R_a(φ, δ) for equal distance. Half a year apart the declination changes its
    // sign to within 0.2 degrees, and the distance factor 1 ± 0.033 is known.
    for day in 1u16..=182 {
        let (north, south) = (Sun::on(40.0, day), Sun::on(-40.0, day + 182));
        let factor =
            |day: u16| 1.0 + 0.033 * libm::cos(2.0 * std::f64::consts::PI * f64::from(day) / 365.0);
        let (north, south) = (
            north.extraterrestrial_mj() / factor(day),
            south.extraterrestrial_mj() / factor(day + 182),
        );
        assert!((north / south - 1.0).abs() < 0.01, "{day}");
    }
}
