use super::*;
use crate::budget::{PlantFactors, RunTimeMultiplier};
use crate::climate::{EffectiveRain, YearClimate};
use crate::soil::Texture;

fn run(settings: &[&str]) -> Assumptions {
    settings.iter().fold(Assumptions::defaults(), |run, s| {
        run.with_setting(s).unwrap()
    })
}

fn input<'a>(
    run: &Assumptions,
    climate: &'a YearClimate,
    texture: Texture,
    rate_mm_h: f64,
) -> ScheduleInput<'a> {
    ScheduleInput {
        demand: DemandInput {
            climate,
            plants: PlantFactors([0.8; 12]),
            effective_rain: EffectiveRain::Fixed { frac: 0.5 },
            storage_mm: 12.75,
            eto_scale: 1.0,
            rain_scale: 1.0,
            daily_net_mm: None,
            du_lq_field: 0.5,
            multiplier: RunTimeMultiplier::assumed(run),
            drift_frac: 0.05,
            runoff_frac: [0.0; 12],
            over_frac: 0.0,
            area_m2: 100.0,
        },
        rate: Rate::from_mm_h(rate_mm_h).unwrap(),
        ground: Ground::assumed(run, texture, 2.0),
        reservoir: Reservoir::assumed(run, texture),
        limits: Limits::assumed(run),
        runoff_most_frac: 0.3,
    }
}

fn plan(settings: &[&str], texture: Texture, rate_mm_h: f64) -> Schedule {
    let (run, climate) = (run(settings), YearClimate::larkmoor());
    input(&run, &climate, texture, rate_mm_h)
        .plan(RunoffMethod::Accumulation)
        .0
}

#[test]
fn whole_minutes_deliver_the_need_by_the_percentage_line() {
    let mut checked = 0;
    for texture in Texture::ALL {
        for rate_mm_h in [10.0, 20.0, 42.0] {
            let (run, climate) = (run(&[]), YearClimate::larkmoor());
            let input = input(&run, &climate, texture, rate_mm_h);
            let (schedule, _, accumulation) = input.plan(RunoffMethod::Accumulation);
            let water = year(&DemandInput {
                runoff_frac: accumulation,
                ..input.demand.clone()
            });
            assert_eq!(schedule.cycle_min.fract(), 0.0);
            assert_eq!(schedule.peak_month, 6);
            for (month, days) in DAYS.into_iter().enumerate() {
                let minutes = schedule.run_min() * f64::from(schedule.percent[month]) / 100.0;
                let sent_mm = minutes / 60.0 * rate_mm_h * schedule.days_per_week / 7.0 * days;
                // Half a per cent of the base programme is lost or won by rounding.
                let step_mm = schedule.run_min() / 60.0 * rate_mm_h * schedule.days_per_week / 7.0
                    * days
                    / 200.0;
                let need_mm = water.months[month].gross_mm;
                assert!(
                    (sent_mm - need_mm).abs() <= step_mm + 1e-9,
                    "{texture:?} {rate_mm_h} {month}"
                );
                checked += 1;
            }
        }
    }
    assert_eq!(checked, 12 * 3 * 12);
}

#[test]
fn cycles_stay_within_the_accumulation_table() {
    let schedule = plan(&[], Texture::Clay, 42.0);
    // Clay, up to 3 %: 5.08 mm / (42 · 0.95 − 2.54) mm/h = 8.16 min.
    assert!(
        schedule.cycles >= 2 && schedule.cycle_min <= 8.0,
        "{schedule:?}"
    );
    // What stands after a cycle enters in the soak.
    let standing_mm = (42.0 * 0.95 - 2.54) * schedule.cycle_min / 60.0;
    assert!(schedule.soak_min >= standing_mm / 2.54 * 60.0 - 1e-9);
    let sand = plan(&[], Texture::Sand, 10.0);
    assert_eq!((sand.cycles, sand.soak_min), (1, 0.0));
}

#[test]
fn the_rule_of_days_and_minutes_binds() {
    let free = plan(&[], Texture::Loam, 20.0);
    assert_eq!((free.days_per_week, free.met_frac), (4.0, 1.0));
    assert!(free.flags.is_empty());
    let twice = plan(
        &["restrictions.allowed_weekdays=tue,sat"],
        Texture::Loam,
        20.0,
    );
    assert_eq!(twice.days_per_week, 2.0);
    assert_eq!(twice.flags, ["days-short"]);
    assert!((twice.peak_run_min / free.peak_run_min - 2.0).abs() < 1e-9);
    let odd = plan(&["restrictions.day_rule=odd-even"], Texture::Loam, 20.0);
    assert_eq!((odd.days_per_week, odd.flags), (3.5, vec!["days-short"]));
    // Ten minutes a day: more days first, then a deficit, said so, and never keyed in.
    let short = plan(
        &["restrictions.most_minutes_per_day=10"],
        Texture::Loam,
        20.0,
    );
    assert_eq!(
        (short.days_per_week, short.flags.as_slice()),
        (7.0, ["minutes-short"].as_slice())
    );
    assert!(
        short.met_frac < 0.6 && short.run_min() <= 10.0 && short.percent.iter().all(|&p| p <= 100)
    );
    let exempt = plan(
        &[
            "restrictions.most_minutes_per_day=10",
            "restrictions.low_rate_exempt_mm_h=25",
        ],
        Texture::Loam,
        20.0,
    );
    assert_eq!(exempt.met_frac, 1.0);
}

#[test]
fn the_controller_binds() {
    let few = plan(&["controller.starts_most=1"], Texture::Clay, 42.0);
    assert_eq!(few.cycles, 1);
    assert!(few.flags.contains(&"starts-short") && few.days_per_week == 7.0);
    let brief = plan(
        &["controller.minutes_most=10", "controller.starts_most=2"],
        Texture::Loam,
        10.0,
    );
    assert!(brief.cycle_min <= 10.0 && brief.met_frac < 1.0, "{brief:?}");
}

#[test]
fn no_need_no_run() {
    let (run, mut climate) = (run(&[]), YearClimate::larkmoor());
    for month in &mut climate.months {
        month.eto_mm = 0.0;
    }
    let (schedule, _, _) =
        input(&run, &climate, Texture::Loam, 20.0).plan(RunoffMethod::Accumulation);
    assert_eq!(
        (schedule.cycles, schedule.run_min(), schedule.percent),
        (0, 0.0, [0; 12])
    );
    let dry = YearClimate::larkmoor();
    let still = input(&run, &dry, Texture::Loam, 0.0)
        .plan(RunoffMethod::Accumulation)
        .0;
    assert_eq!(still.cycles, 0);
}

#[test]
fn open_hours_may_run_over_midnight() {
    let open = |from: f64, to: f64| {
        let from = format!("restrictions.closed_from_h={from}");
        let to = format!("restrictions.closed_to_h={to}");
        Limits::assumed(&run(&[&from, &to])).open_min
    };
    assert_eq!(open(10.0, 20.0), 840.0);
    assert_eq!(open(22.0, 6.0), 960.0);
    assert_eq!(open(9.0, 9.0), 1_440.0);
}
