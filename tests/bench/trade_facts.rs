//! Prints what the trade says of rates and soils beside what the reckoning gives:
//! `cargo run --example trade_facts`. The sayings are common practice, without a source.

use std::error::Error;

use evenfall::assumptions::Assumptions;
use evenfall::budget::{Condition, Hardware, Lawn, NozzleScatter, Regulation, ScenarioWater};
use evenfall::catalogue::ScatterKind;
use evenfall::climate::YearClimate;
use evenfall::issue::Issue;
use evenfall::site::{Land, Texture, TurfArea};
use evenfall::soil::Ground;
use evenfall::units::Rate;

/// Slope of a gentle lawn \[%\].
const GENTLE_PCT: f64 = 2.0;
/// Slope of a steep lawn \[%\].
const STEEP_PCT: f64 = 10.0;
/// Runoff below which a rate is said to suit a soil.
const LITTLE_FRAC: f64 = 0.03;
/// "Within minutes".
const MINUTES: f64 = 10.0;

fn turf() -> TurfArea {
    TurfArea {
        id: "t".into(),
        polygon: geo::Rect::new((0.0, 0.0), (1e-4, 1e-4)).to_polygon(),
        exposure: None,
        grass: None,
        repair_area_frac: 0.0,
        land: Land::default(),
    }
}

fn hardware(mm_h: f64) -> Result<Hardware, Box<dyn Error>> {
    Ok(Hardware {
        nozzle: NozzleScatter::of_kind(ScatterKind::Spray),
        rate: Rate::from_mm_h(mm_h)?,
        cv_drawn: 0.15,
        over_frac: 0.08,
        drift_frac: 0.05,
        regulation: Regulation::Regulated,
        pressure_cv2: 0.0,
        mist_frac: 0.0,
        condition: Condition::Renewed,
    })
}

fn retimed(
    run: &Assumptions,
    class: Texture,
    slope_pct: f64,
    mm_h: f64,
) -> Result<ScenarioWater, Box<dyn Error>> {
    let climate = YearClimate::larkmoor();
    let lawn = Lawn::assumed(run, &climate, &turf(), class, slope_pct, 100.0);
    Ok(lawn.retimed(&hardware(mm_h)?))
}

fn minutes(time: Option<f64>) -> String {
    time.map_or_else(|| "never".to_owned(), |min| format!("{min:.1}"))
}

fn main() -> Result<(), Box<dyn Error>> {
    let printed = Assumptions::defaults();
    let interchanged = printed
        .with_setting("soil.loam_variant=interchanged")
        .map_err(|issue: Issue| issue.to_string())?;

    println!(
        "On loam and finer, sprays at 40 to 50 mm/h run off within minutes: minutes until water"
    );
    println!("runs off at 45 mm/h, slope {GENTLE_PCT} %\n");
    println!(
        "| texture | ponding, printed | ponding, interchanged | accumulation table | agrees |"
    );
    println!("|---|---|---|---|---|");
    for class in Texture::ALL {
        let of = |run: &Assumptions| -> Result<(Option<f64>, Option<f64>), Box<dyn Error>> {
            let ground = Ground::assumed(run, class, GENTLE_PCT);
            let rate = Rate::from_mm_h(45.0)?;
            let front = ground
                .green_ampt
                .at_saturation(ground.saturation_start_frac);
            Ok((
                front.ponding_time(rate).map(|time| time.min()),
                ground.accumulation.longest_run(rate).map(|time| time.min()),
            ))
        };
        let (ponding, table) = of(&printed)?;
        let (other, _) = of(&interchanged)?;
        let soon = |time: Option<f64>| time.is_some_and(|min| min <= MINUTES);
        let verdict = match (soon(ponding) && soon(other), soon(table)) {
            _ if class < Texture::Loam => "coarser than loam: not spoken of",
            (true, true) => "yes, by both",
            (true, false) => "yes by ponding, not by the table",
            (false, true) => "yes by the table, not by ponding",
            (false, false) if soon(ponding) != soon(other) => "hangs on the loam variant",
            (false, false) => "no",
        };
        let (ponding, other, table) = (minutes(ponding), minutes(other), minutes(table));
        println!(
            "| {} | {ponding} | {other} | {table} | {verdict} |",
            class.text()
        );
    }

    println!(
        "\nAbout 10 mm/h suits tight soils and slopes, about 20 mm/h medium soils and gentle slopes:"
    );
    println!(
        "runoff of a year with planned cycles, % by ponding (the table lets nothing run off), and"
    );
    println!("cycles of a peak day\n");
    println!(
        "| texture | slope % | 42 mm/h | 20 mm/h | 10 mm/h | suits (below {:.0} %) |",
        100.0 * LITTLE_FRAC
    );
    println!("|---|---|---|---|---|---|");
    for class in Texture::ALL {
        for slope_pct in [GENTLE_PCT, STEEP_PCT] {
            let (mut cells, mut suits) = (String::new(), Vec::new());
            for mm_h in [42.0, 20.0, 10.0] {
                let water = retimed(&printed, class, slope_pct, mm_h)?;
                let frac = water.runoff_green_ampt_frac();
                let cycles = water
                    .schedule
                    .as_ref()
                    .map_or(0, |schedule| schedule.cycles);
                cells += &format!(" {:.1} ({cycles}) |", 100.0 * frac);
                if frac < LITTLE_FRAC {
                    suits.push(format!("{mm_h:.0}"));
                }
            }
            let suits = if suits.is_empty() {
                "none".to_owned()
            } else {
                suits.join(", ")
            };
            println!("| {} | {slope_pct:.0} |{cells} {suits} |", class.text());
        }
    }

    println!(
        "\nA 20 mm/h nozzle runs up to about twice as long as the spray that it replaces: run time of"
    );
    println!("a peak day at 20 mm/h over that at 42 mm/h, volumes by either runoff method\n");
    println!("| texture | accumulation | green-ampt | agrees |");
    println!("|---|---|---|---|");
    let ponding = printed
        .with_setting("soil.runoff_method=green-ampt")
        .map_err(|issue: Issue| issue.to_string())?;
    for class in Texture::ALL {
        let ratio = |run: &Assumptions| -> Result<f64, Box<dyn Error>> {
            let run_min = |mm_h: f64| -> Result<f64, Box<dyn Error>> {
                let schedule = retimed(run, class, GENTLE_PCT, mm_h)?.schedule;
                // Depth a week, so that another number of days does not count.
                Ok(schedule.map_or(0.0, |s| s.peak_run_min * s.days_per_week))
            };
            Ok(run_min(20.0)? / run_min(42.0)?)
        };
        let (table, soil) = (ratio(&printed)?, ratio(&ponding)?);
        let verdict = if table.max(soil) <= 2.2 { "yes" } else { "no" };
        println!("| {} | {table:.2} | {soil:.2} | {verdict} |", class.text());
    }
    Ok(())
}
