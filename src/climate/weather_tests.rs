use super::*;
use crate::assumptions::Assumptions;

fn station() -> Station {
    Station::assumed(&Assumptions::defaults(), 40.0, 100.0)
}

/// Two invented years, with a change to every row.
fn text(change: impl Fn(Date, &mut [String; 6])) -> String {
    let mut text = "date,tmax_c,tmin_c,rhmax_pct,rhmin_pct,rain_mm\n".to_owned();
    let mut date = Date {
        year: 2023,
        month: 1,
        day: 1,
    };
    while date.year < 2025 {
        let season = libm::sin(f64::from(date.day_of_year()) / 58.1 - 1.8);
        let mut cells = [
            format!("{}-{:02}-{:02}", date.year, date.month, date.day),
            format!("{:.1}", 20.0 + 12.0 * season),
            format!("{:.1}", 9.0 + 9.0 * season),
            "90".to_owned(),
            "40".to_owned(),
            "1.5".to_owned(),
        ];
        change(date, &mut cells);
        if !cells[0].is_empty() {
            text += &(cells.join(",") + "\n");
        }
        date = date.next();
    }
    text
}

fn refusal(text: &str) -> (Code, String) {
    let issue = WeatherYears::parse(text, "weather.csv", station()).unwrap_err();
    assert_eq!(issue.place.file.as_deref(), Some("weather.csv"));
    (issue.code, issue.found)
}

#[test]
fn whole_years_have_no_gaps_and_make_a_mean_year() {
    let years = WeatherYears::parse(&text(|_, _| ()), "w", station()).unwrap();
    assert_eq!(years.days.len(), 731);
    assert!(years.gaps.is_empty() && years.gap_note().is_none());
    assert_eq!(years.rule_days, [0, 731, 731]);
    let months = years.months().unwrap();
    assert_eq!(months[1].days, 57);
    assert!((months[6].rain_mm - 46.5).abs() < 1e-9);
    assert!(months[6].eto_mm > 3.0 * months[0].eto_mm);
    assert_eq!(months[6].wind_m_s, None);
    assert!((50.0..60.0).contains(&months[6].rh_pct.unwrap()));
    let year = years.mean_year("x").unwrap();
    assert_eq!(year.peak_month(), 6);
}

#[test]
fn rows_in_any_order_give_the_same() {
    let forward = text(|_, _| ());
    let mut lines: Vec<&str> = forward.lines().collect();
    lines[1..].reverse();
    let backward = lines.join("\n");
    let read = |text: &str| WeatherYears::parse(text, "w", station()).unwrap();
    assert_eq!(read(&forward), read(&backward));
}

#[test]
fn gaps_are_reported_and_not_filled() {
    let holes = text(|date, cells| {
        if (date.year, date.month) == (2023, 7) && date.day <= 5 {
            cells[0].clear();
        }
        if (date.year, date.month, date.day) == (2024, 3, 9) {
            cells[1].clear();
        }
        if (date.year, date.month, date.day) == (2024, 3, 10) {
            cells[5].clear();
        }
    });
    let years = WeatherYears::parse(&holes, "w", station()).unwrap();
    assert_eq!(
        years.gaps,
        [
            Gap {
                year: 2023,
                month: 7,
                days: 5,
                rain_days: 5
            },
            Gap {
                year: 2024,
                month: 3,
                days: 1,
                rain_days: 2
            },
        ]
    );
    let note = years.gap_note().unwrap();
    assert_eq!(note.code, Code::CL04);
    assert!(note.found.starts_with("2023-07: 5 days"), "{}", note.found);
    let whole = WeatherYears::parse(&text(|_, _| ()), "w", station()).unwrap();
    // The mean day of July without its first five days of one year is nearly the same.
    let (holed, full) = (years.months().unwrap()[6], whole.months().unwrap()[6]);
    assert_eq!((holed.days, full.days), (57, 62));
    assert!((holed.rain_mm - full.rain_mm).abs() < 1e-9);
    assert!((holed.eto_mm / full.eto_mm - 1.0).abs() < 0.02);
}

#[test]
fn a_year_with_too_few_days_is_refused() {
    let half = text(|date, cells| {
        if date.month == 11 && date.day > 15 {
            cells[0].clear();
        }
    });
    let years = WeatherYears::parse(&half, "w", station()).unwrap();
    let issue = years.months().unwrap_err();
    assert_eq!(
        (issue.code, issue.found.as_str()),
        (Code::CL05, "month 11 has 30 days, 60 are wanted")
    );
    let dry = text(|_, cells| cells[5].clear());
    let years = WeatherYears::parse(&dry, "w", station()).unwrap();
    assert_eq!(years.months().unwrap_err().code, Code::CL05);
}

#[test]
fn one_defect_one_code() {
    let set = |at: usize, value: &'static str| {
        text(move |date, cells| {
            if (date.year, date.month, date.day) == (2023, 1, 2) {
                value.clone_into(&mut cells[at]);
            }
        })
    };
    assert_eq!(refusal(&set(0, "2 Jan")).0, Code::IN07);
    assert_eq!(
        refusal(&set(0, "2023-01-01")),
        (
            Code::CL02,
            "line 3: the day of line 2 stands a second time".to_owned()
        )
    );
    assert_eq!(refusal(&set(1, "hot")).0, Code::IN07);
    assert_eq!(
        refusal(&set(1, "88")),
        (
            Code::CL03,
            "line 3: tmax_c = 88: this looks like degrees Fahrenheit".to_owned()
        )
    );
    assert_eq!(refusal(&set(2, "30")).0, Code::CL02);
    assert_eq!(refusal(&set(3, "101")).0, Code::CL02);
    assert_eq!(refusal(&set(5, "-0.1")).0, Code::CL02);
    assert_eq!(refusal("date,tmax_c\n").0, Code::IN08);
    assert_eq!(refusal("date,tmax_c,tmin_c\n").0, Code::CL05);
}

#[test]
fn temperatures_alone_are_known_for_what_they_are() {
    let bare = text(|_, cells| {
        cells[3].clear();
        cells[4].clear();
    });
    let years = WeatherYears::parse(&bare, "w", station()).unwrap();
    assert!(years.has_temperatures_only());
    assert!(
        !WeatherYears::parse(&text(|_, _| ()), "w", station())
            .unwrap()
            .has_temperatures_only()
    );
    let hargreaves = years.clone().reckoned_by(EtoMethod::Hargreaves);
    let july = hargreaves.months().unwrap()[6];
    assert_eq!(july.eto_mm, july.hargreaves_mm);
    assert_eq!(hargreaves.reckoned_by(EtoMethod::PenmanMonteith), years);
    let days = years.day_climates();
    assert_eq!(
        mean_year(&days).months[6].eto_mm,
        years.months().unwrap()[6].eto_mm
    );
}

fn mean_year(days: &[DayClimate]) -> YearClimate {
    crate::climate::mean_year(days, "x").unwrap()
}
