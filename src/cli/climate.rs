//! `evenfall climate`: daily weather to a mean year of reference evapotranspiration and rain.

use std::path::PathBuf;

use clap::Args;
use clap::builder::PossibleValuesParser;

use super::design::assumed;
use super::files::{refuse_existing, write_whole};
use super::screen::{Ending, print, tell, tell_issue};
use super::table::{Table, thousands};
use crate::assumptions::{Assumptions, Key};
use crate::budget::PlantFactors;
use crate::climate::{EffectiveRain, EtoMethod, MonthSummary, Station, WeatherYears};
use crate::issue::{Code, Issue};
use crate::read::source::text_of;
use crate::soil::{Reservoir, Texture};

const MONTHS: [&str; 12] = [
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
];

/// Daily weather to a monthly table of reference evapotranspiration and rain, as `plan --climate`
/// reads it.
#[derive(Debug, Args)]
#[command(after_help = "\
Columns of WEATHER.csv (separated by comma, semicolon or tab; others are named and not read):
  date                                   2026-07-31
  tmax_c, tmin_c                         needed
  rain_mm                                needed for the monthly table
  one of vapr_kpa; tdew_c; rhmax_pct and rhmin_pct; rh_pct
  wind_m_s                               at the height climate.wind_height_m (2 m by default)
  srad_mj_m2 or sunshine_h
What is missing on a day follows the rules of FAO Paper 56, chapter 3; days without temperatures
are told and left out, never filled.
Example: evenfall climate weather.csv --latitude 33.07 --elevation 361 \\
           --set climate.wind_height_m=3 -o climate.csv")]
pub(super) struct ClimateArgs {
    /// Daily weather.
    #[arg(value_name = "WEATHER.csv")]
    weather: PathBuf,

    /// Latitude of the station in degrees, south negative.
    #[arg(long, value_name = "DEGREES", allow_hyphen_values = true)]
    latitude: f64,

    /// Height of the station above the sea in metres.
    #[arg(long, value_name = "M", allow_hyphen_values = true)]
    elevation: f64,

    /// File for the monthly table; without it, it goes to stdout.
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,

    /// Also write the days with their reference evapotranspiration, for `plan --climate FILE
    /// --balance daily`.
    #[arg(long, value_name = "FILE")]
    daily: Option<PathBuf>,

    /// auto takes penman-monteith unless nothing but temperatures was measured.
    #[arg(long, value_name = "METHOD", default_value = "auto",
          value_parser = PossibleValuesParser::new(["auto", "penman-monteith", "hargreaves"]))]
    method: String,

    /// Replace files that exist.
    #[arg(long)]
    overwrite: bool,

    /// Program file whose assumptions are used.
    #[arg(long, value_name = "PROGRAM.toml")]
    program: Option<PathBuf>,

    /// Set one assumption; see `evenfall assumptions`.
    #[arg(long, value_name = "SECTION.KEY=VALUE")]
    set: Vec<String>,

    /// Print nothing but the table and errors.
    #[arg(short, long)]
    quiet: bool,
}

pub(super) fn run(args: &ClimateArgs) -> Result<u8, Ending> {
    let assumptions = assumed(args.program.as_deref(), &args.set)?;
    let station = station(args, &assumptions)?;
    for file in [&args.output, &args.daily].into_iter().flatten() {
        refuse_existing(file, args.overwrite)?;
    }
    let name = args.weather.display().to_string();
    let years = WeatherYears::parse(&text_of(&args.weather)?, &name, station)?;
    let method = match args.method.as_str() {
        "hargreaves" => EtoMethod::Hargreaves,
        "auto" if years.has_temperatures_only() => EtoMethod::Hargreaves,
        _ => EtoMethod::PenmanMonteith,
    };
    let years = years.reckoned_by(method);
    let months = years.months().map_err(|issue| issue.in_file(&name))?;
    let rain = EffectiveRains::of(&assumptions, &months);
    if !args.quiet {
        tell(&summary(&years, method, &months, &rain));
        for note in years.gap_note().into_iter().chain(years.doubts()) {
            tell_issue(&note.in_file(&name));
        }
    }
    if let Some(file) = &args.daily {
        write_whole(file, daily_csv(&years).as_bytes())?;
    }
    let table = monthly_csv(&months, &rain);
    match &args.output {
        Some(file) => write_whole(file, table.as_bytes())?,
        None => print(&table)?,
    }
    Ok(0)
}

fn station(args: &ClimateArgs, assumptions: &Assumptions) -> Result<Station, Issue> {
    let within = |name: &str, value: f64, low: f64, high: f64| {
        if (low..=high).contains(&value) {
            return Ok(value);
        }
        let found = format!("--{name} {value}; possible are {low} to {high}");
        Err(Issue::new(Code::RU01, found))
    };
    Ok(Station::assumed(
        assumptions,
        within("latitude", args.latitude, -90.0, 90.0)?,
        within("elevation", args.elevation, -430.0, 6_000.0)?,
    ))
}

/// Effective rain of the twelve months by every method \[mm\].
struct EffectiveRains {
    chosen_name: &'static str,
    chosen_mm: [f64; 12],
    all_mm_yr: [(&'static str, f64); 3],
}

impl EffectiveRains {
    /// Plant demand and root zone are the assumed ones.
    fn of(assumptions: &Assumptions, months: &[MonthSummary; 12]) -> EffectiveRains {
        let plants = PlantFactors::assumed(assumptions, None, None);
        let storage_mm = Reservoir::assumed(assumptions, Texture::assumed(assumptions)).usable_mm();
        let of = |method: EffectiveRain| -> [f64; 12] {
            std::array::from_fn(|month| {
                let sky = &months[month];
                method.of_month_mm(sky.rain_mm, sky.eto_mm * plants.0[month], storage_mm)
            })
        };
        let fixed = EffectiveRain::Fixed {
            frac: assumptions.number(Key::ClimateRainFrac),
        };
        let sum = |method| of(method).iter().sum();
        EffectiveRains {
            chosen_name: assumptions.choice(Key::ClimateRainMethod),
            chosen_mm: of(EffectiveRain::assumed(assumptions)),
            all_mm_yr: [
                ("tr21", sum(EffectiveRain::Tr21)),
                ("fixed", sum(fixed)),
                ("short", sum(EffectiveRain::Short)),
            ],
        }
    }
}

fn summary(
    years: &WeatherYears,
    method: EtoMethod,
    months: &[MonthSummary; 12],
    rain: &EffectiveRains,
) -> String {
    let mut table = Table::new(&[
        "month",
        ">days",
        ">ETo mm",
        ">by Hargreaves",
        ">rain mm",
        ">effective",
        ">wind m/s",
        ">RH %",
        ">T max",
        ">T min",
    ]);
    let optional = |value: Option<f64>, decimals: usize| {
        value.map_or_else(|| "-".to_owned(), |value| format!("{value:.decimals$}"))
    };
    for (at, month) in months.iter().enumerate() {
        table.row(vec![
            MONTHS[at].to_owned(),
            month.days.to_string(),
            format!("{:.1}", month.eto_mm),
            format!("{:.1}", month.hargreaves_mm),
            format!("{:.1}", month.rain_mm),
            format!("{:.1}", rain.chosen_mm[at]),
            optional(month.wind_m_s, 1),
            optional(month.rh_pct, 0),
            format!("{:.1}", month.tmax_c),
            format!("{:.1}", month.tmin_c),
        ]);
    }
    let sum = |of: fn(&MonthSummary) -> f64| months.iter().map(of).sum::<f64>();
    table.row(vec![
        "year".to_owned(),
        years.days.len().to_string(),
        format!("{:.0}", sum(|m| m.eto_mm)),
        format!("{:.0}", sum(|m| m.hargreaves_mm)),
        format!("{:.0}", sum(|m| m.rain_mm)),
        format!("{:.0}", rain.chosen_mm.iter().sum::<f64>()),
    ]);
    let station = &years.station;
    let [humidity, wind, radiation] = years.rule_days.map(|days| thousands(f64::from(days)));
    let by_method: Vec<String> = rain
        .all_mm_yr
        .iter()
        .map(|(name, mm)| format!("{name} {mm:.0}"))
        .collect();
    format!(
        "Station: latitude {} degrees, {} m above the sea, wind measured at {} m\n\
         Reference evapotranspiration by {}\n{}\
         Days on which a rule stood for a measurement: humidity {humidity}, wind {wind}, radiation {radiation}\n\
         Effective rain by {} with the assumed turf and soil; by every method in mm/yr: {}",
        station.latitude_deg,
        station.elevation_m,
        station.wind_height_m,
        match method {
            EtoMethod::PenmanMonteith => "FAO Penman-Monteith (FAO Paper 56, eq. 6)",
            EtoMethod::Hargreaves => "Hargreaves (FAO Paper 56, eq. 52), from temperatures alone",
        },
        table.text("  "),
        rain.chosen_name,
        by_method.join(", "),
    )
}

fn monthly_csv(months: &[MonthSummary; 12], rain: &EffectiveRains) -> String {
    let mut text = "month,days,eto_mm,hargreaves_mm,rain_mm,effective_rain_mm,wind_m_s,rh_pct,t_c,\
                    tmax_c,tmin_c\n"
        .to_owned();
    let optional =
        |value: Option<f64>| value.map_or_else(String::new, |value| format!("{value:.2}"));
    for (at, month) in months.iter().enumerate() {
        text += &format!(
            "{},{},{:.2},{:.2},{:.2},{:.2},{},{},{:.2},{:.2},{:.2}\n",
            at + 1,
            month.days,
            month.eto_mm,
            month.hargreaves_mm,
            month.rain_mm,
            rain.chosen_mm[at],
            optional(month.wind_m_s),
            optional(month.rh_pct),
            (month.tmax_c + month.tmin_c) / 2.0,
            month.tmax_c,
            month.tmin_c,
        );
    }
    text
}

fn daily_csv(years: &WeatherYears) -> String {
    let mut text = "date,eto_mm,rain_mm\n".to_owned();
    for day in &years.days {
        let date = day.date;
        let rain = day
            .rain_mm
            .map_or_else(String::new, |mm| format!("{mm:.2}"));
        text += &format!(
            "{:04}-{:02}-{:02},{:.3},{rain}\n",
            date.year, date.month, date.day, day.eto_mm
        );
    }
    text
}
