//! Climate tables, weather and climate zones with one defect each.

use evenfall::assumptions::Assumptions;
use evenfall::climate::{Climates, Station, WeatherYears};
use evenfall::issue::Code;
use evenfall::read::zone_years;

use super::outcome::{ALL, Case, Given, check, source};
use super::texts::{broken_layers, collection, feature, polygon, square};

/// A monthly climate table with one cell changed; row 0 is the header.
fn climate_with(row: usize, column: usize, value: &str) -> String {
    let mut rows: Vec<Vec<String>> = vec![
        ["month", "eto_mm", "rain_mm", "tmax_c", "tmin_c", "rh_pct"]
            .map(str::to_owned)
            .to_vec(),
    ];
    rows.extend((1..=12).map(|month| {
        [month, 90, 30, 25, 10, 60]
            .map(|cell: u32| cell.to_string())
            .to_vec()
    }));
    value.clone_into(&mut rows[row][column]);
    let lines: Vec<String> = rows.iter().map(|row| row.join(",")).collect();
    lines.join("\n")
}

/// A year of weather with one cell changed.
fn weather_with(day: usize, column: usize, value: &str) -> String {
    let mut text = "date,tmax_c,tmin_c,rain_mm,rhmax_pct,rhmin_pct\n".to_owned();
    let days = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let dates = (1..).zip(days).flat_map(|(month, days)| {
        (1..=days).map(move |day: u32| format!("2025-{month:02}-{day:02}"))
    });
    for (row, date) in dates.enumerate() {
        let mut cells = [date.as_str(), "24", "9", "1", "90", "40"];
        if row == day {
            cells[column] = value;
        }
        text += &(cells.join(",") + "\n");
    }
    text
}

#[test]
fn defects_of_climates() {
    let sound = climate_with(0, 0, "month");
    let lines: Vec<&str> = sound.lines().collect();
    let gone = [&lines[..7], &lines[8..]].concat().join("\n");
    let rows = [
        ("nothing", String::new(), Code::IN08),
        ("titles alone", lines[0].to_owned(), Code::CL01),
        (
            "no column of months",
            climate_with(0, 0, "season"),
            Code::IN08,
        ),
        ("no column of rain", climate_with(0, 2, "snow"), Code::IN08),
        ("a month is missing", gone, Code::CL01),
        ("a month stands twice", climate_with(7, 0, "6"), Code::CL01),
        ("a thirteenth month", climate_with(7, 0, "13"), Code::IN07),
        (
            "a month that is a word",
            climate_with(7, 0, "seven"),
            Code::IN07,
        ),
        ("an empty cell", climate_with(7, 1, ""), Code::CL01),
        (
            "a word for a number",
            climate_with(7, 1, "much"),
            Code::IN07,
        ),
        ("an endless number", climate_with(7, 1, "1e999"), Code::IN07),
        (
            "negative evapotranspiration",
            climate_with(7, 1, "-9"),
            Code::CL02,
        ),
        ("negative rain", climate_with(7, 2, "-3"), Code::CL02),
        (
            "the maximum below the minimum",
            climate_with(7, 3, "9"),
            Code::CL02,
        ),
        ("humidity over 100", climate_with(7, 5, "101"), Code::CL02),
        ("degrees Fahrenheit", climate_with(7, 3, "88"), Code::CL03),
        ("inches", sound.replace(",90,30,", ",3.5,1.2,"), Code::CL03),
    ];
    assert!(Climates::parse(&sound, "c").is_ok());
    for (what, text, code) in &rows {
        let issue = Climates::parse(text, "climate.csv").unwrap_err();
        assert_eq!(issue.code, *code, "{what}: {issue}");
        assert!(issue.place.file.is_some(), "{what}: {issue}");
    }
    println!("score: malformed climates: {0} of {0}", rows.len());
}

#[test]
fn defects_of_weather() {
    let station = Station::assumed(&Assumptions::defaults(), 40.0, 100.0);
    let code_of = |text: &str| match WeatherYears::parse(text, "weather.csv", station) {
        Err(issue) => Some(issue.code),
        Ok(years) => years.gap_note().map(|note| note.code),
    };
    let sound = weather_with(0, 0, "2025-01-01");
    let rows = [
        ("nothing", String::new(), Code::IN08),
        (
            "no column of days",
            sound.replace("date", "when"),
            Code::IN08,
        ),
        ("no minimum", sound.replace("tmin_c", "low"), Code::IN08),
        (
            "a day that is none",
            weather_with(40, 0, "2025-02-30"),
            Code::IN07,
        ),
        (
            "a day in an order that nothing settles",
            weather_with(40, 0, "10/02/2025"),
            Code::IN23,
        ),
        (
            "a word for a number",
            weather_with(40, 1, "warm"),
            Code::IN07,
        ),
        ("a day twice", weather_with(40, 0, "2025-01-01"), Code::CL02),
        ("negative rain", weather_with(40, 3, "-1"), Code::CL02),
        (
            "the maximum below the minimum",
            weather_with(40, 1, "8"),
            Code::CL02,
        ),
        (
            "humidity over 100",
            weather_with(40, 4, "100.4"),
            Code::CL02,
        ),
        ("degrees Fahrenheit", weather_with(40, 1, "84"), Code::CL03),
        ("a gap", weather_with(40, 1, ""), Code::CL04),
    ];
    for (what, text, code) in &rows {
        assert_eq!(code_of(text), Some(*code), "{what}");
    }
    assert_eq!(code_of(&sound), None);
    let quarter: Vec<&str> = sound.lines().take(91).collect();
    let short = WeatherYears::parse(&quarter.join("\n"), "w", station).unwrap();
    assert_eq!(short.months().unwrap_err().code, Code::CL05, "90 days");
    println!("score: malformed weather: {0} of {0}", rows.len() + 1);
}

/// Columns of a zone with its months; one of them may have another value.
fn months(column: &str, value: &str) -> String {
    let mut cells = vec!["\"zone\":\"coast\"".to_owned()];
    for month in 1..=12 {
        for (what, sound) in [("eto", "90"), ("rain", "30")] {
            let name = format!("{what}_{month}");
            let value = if name == column { value } else { sound };
            cells.push(format!("\"{name}\":{value}"));
        }
    }
    cells.join(",")
}

#[test]
fn defects_of_climate_zones() {
    let around = polygon(&[&square(-50.0, -50.0, 200.0)]);
    let zone = |properties: &str| feature(properties, &around);
    let with = |zones: &[u8]| {
        let mut given = Given::lawns();
        given.land.climate_zones = Some(source("zones.geojson", zones));
        given
    };
    let coast = zone(r#""zone":"coast""#);
    let sound = collection(std::slice::from_ref(&coast));
    let mut cases: Vec<Case> = broken_layers(&sound)
        .into_iter()
        .map(|(what, text, code)| Case {
            what,
            given: with(&text),
            code,
            planned: &[],
        })
        .collect();
    let shapes = [
        ("a null geometry", "null"),
        ("a point", r#"{"type":"Point","coordinates":[5,43]}"#),
        (
            "a line",
            r#"{"type":"LineString","coordinates":[[5,43],[6,43]]}"#,
        ),
    ];
    cases.extend(shapes.map(|(what, geometry)| Case {
        what,
        given: with(collection(&[feature("", geometry), coast.clone()]).as_bytes()),
        code: Code::SO05,
        planned: ALL,
    }));
    check("climate zones", &with(sound.as_bytes()), &cases);

    // The months that a zone carries are read as a table.
    let years = |features: &[String]| zone_years(&source("zones.geojson", collection(features)));
    assert!(years(&[zone(&months("", ""))]).unwrap().is_some());
    let rows = [
        (
            "a month is missing",
            vec![zone(&months("eto_7", "null"))],
            Code::CL01,
        ),
        (
            "negative rain",
            vec![zone(&months("rain_7", "-3"))],
            Code::CL02,
        ),
        (
            "a word for a number",
            vec![zone(&months("eto_7", "\"much\""))],
            Code::IN07,
        ),
        (
            "a zone twice with different months",
            vec![zone(&months("", "")), zone(&months("eto_7", "91"))],
            Code::CL08,
        ),
    ];
    for (what, features, code) in &rows {
        let issue = years(features).unwrap_err();
        assert_eq!(issue.code, *code, "{what}: {issue}");
    }
    println!(
        "score: malformed months of climate zones: {0} of {0}",
        rows.len()
    );
}
