//! The monthly climate table: `month, eto_mm, rain_mm` and optionally `wind_m_s, rh_pct, t_c,
//! tmax_c, tmin_c`, `zone`, and the shares of a wind rose, `wind_n_frac` to `wind_nw_frac`.

use super::doubts::{GRASS, grass_column, of_months, unused};
use super::rose;
use super::{MonthClimate, YearClimate};
use crate::cells::Table;
use crate::issue::{Code, Issue};
use crate::rain::SIDES;

const MONTH_NAMES: [&str; 12] = [
    "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec",
];

/// Columns that are read, or that `evenfall climate` writes for people, beside those of grass reference
/// evapotranspiration and of the wind rose.
const COLUMNS: [&str; 13] = [
    "month",
    "rain_mm",
    "precip_mm",
    "wind_m_s",
    "rh_pct",
    "t_c",
    "tmean_c",
    "tmax_c",
    "tmin_c",
    "zone",
    "days",
    "hargreaves_mm",
    "effective_rain_mm",
];

/// Largest plausible monthly reference evapotranspiration \[mm\] and rain \[mm\].
pub(super) const MOST_ETO_MM: f64 = 450.0;
const MOST_RAIN_MM: f64 = 3_000.0;
/// A whole year below this reference evapotranspiration \[mm\] looks like inches: the tundra has
/// more, and 60 in a year is a desert.
const LEAST_ETO_MM_YR: f64 = 120.0;
/// A monthly mean above this temperature \[°C\] looks like degrees Fahrenheit: the hottest
/// inhabited places stay below 42 °C.
const MOST_MEAN_C: f64 = 45.0;
/// The same for the monthly mean of daily maxima \[°C\].
const MOST_MAXIMUM_C: f64 = 52.0;
/// Most that the shares of a wind rose may add up to: eight that were rounded to whole percents.
const MOST_SHARES_FRAC: f64 = 1.04;

impl YearClimate {
    /// Reads a monthly table: one year for all, or one for every value of the column `zone`, in
    /// the order of their first rows. Months are 1 to 12 or English names.
    ///
    /// # Errors
    /// `IN07` for a cell that is not a number, `IN08` for a missing column, `CL10` for reference evapotranspiration of
    /// a tall crop, `CL01` when a zone has not each month once, `CL02` for impossible values, `CL03` for values that look like
    /// inches or degrees Fahrenheit.
    pub fn parse_table(text: &str, file: &str) -> Result<Vec<YearClimate>, Issue> {
        YearClimate::parse_noted(text, file).map(|(years, _)| years)
    }

    /// The same, with what is doubtful about it: `CL11` to `CL13` for figures that look like other units, `CL15`
    /// for columns that are not read.
    ///
    /// # Errors
    /// As [`YearClimate::parse_table`].
    pub fn parse_noted(text: &str, file: &str) -> Result<(Vec<YearClimate>, Vec<Issue>), Issue> {
        let table = Table::parse(text, file)?;
        let columns = Columns::find(&table)?;
        let mut zones: Vec<(String, [Option<MonthClimate>; 12])> = Vec::new();
        for (line, cells) in &table.rows {
            let (month, climate) = columns.read(&table, *line, cells)?;
            let name = columns.zone.map_or("", |column| table.text(cells, column));
            let zone = match zones.iter().position(|(known, _)| known == name) {
                Some(at) => at,
                None => {
                    zones.push((name.to_owned(), [None; 12]));
                    zones.len() - 1
                }
            };
            if zones[zone].1[month].replace(climate).is_some() {
                let twice = format!("month {} stands twice{}", month + 1, of_zone(name));
                return Err(table.issue(Code::CL01, *line, &twice));
            }
        }
        if zones.is_empty() {
            return Err(Issue::new(Code::CL01, "there is no row").in_file(file));
        }
        let years = zones
            .into_iter()
            .map(|(name, months)| whole_year(name, months, file))
            .collect::<Result<Vec<YearClimate>, Issue>>()?;
        let doubts = years.iter().flat_map(of_months);
        let mut notes: Vec<Issue> = doubts.map(|note| note.in_file(file)).collect();
        let known: Vec<&str> = COLUMNS
            .iter()
            .chain(&GRASS)
            .chain(&rose::COLUMNS)
            .copied()
            .collect();
        notes.extend(unused(&table, &known));
        Ok((years, notes))
    }
}

fn of_zone(name: &str) -> String {
    if name.is_empty() {
        String::new()
    } else {
        format!(" in zone `{name}`")
    }
}

fn whole_year(
    name: String,
    months: [Option<MonthClimate>; 12],
    file: &str,
) -> Result<YearClimate, Issue> {
    let missing: Vec<String> = (0..12)
        .filter(|&month| months[month].is_none())
        .map(|month| format!("{}", month + 1))
        .collect();
    let missing_months = || {
        let found = format!("missing months{}: {}", of_zone(&name), missing.join(", "));
        Issue::new(Code::CL01, found).in_file(file)
    };
    let year = of_year(name.clone(), months).ok_or_else(missing_months)?;
    match looks_like_inches(&year) {
        Some(issue) => Err(issue.in_file(file)),
        None => Ok(year),
    }
}

/// A year of twelve months; `None` when one is missing.
pub(super) fn of_year(name: String, months: [Option<MonthClimate>; 12]) -> Option<YearClimate> {
    let known: Vec<MonthClimate> = months.into_iter().flatten().collect();
    let months = known.try_into().ok()?;
    Some(YearClimate { name, months })
}

/// The issue of a year with so little evapotranspiration that it must be inches.
pub(super) fn looks_like_inches(year: &YearClimate) -> Option<Issue> {
    let eto_mm_yr = year.eto_mm_yr();
    (eto_mm_yr > 0.0 && eto_mm_yr < LEAST_ETO_MM_YR).then(|| {
        let found = format!(
            "eto_mm adds up to {eto_mm_yr:.1} in the year{}: these look like inches",
            of_zone(&year.name)
        );
        Issue::new(Code::CL03, found)
    })
}

struct Columns {
    month: usize,
    eto: usize,
    rain: usize,
    wind: Option<usize>,
    sides: [Option<usize>; SIDES],
    humidity: Option<usize>,
    mean: Option<usize>,
    warmest: Option<usize>,
    coldest: Option<usize>,
    zone: Option<usize>,
}

impl Columns {
    fn find(table: &Table) -> Result<Columns, Issue> {
        Ok(Columns {
            month: table.needed(&["month"])?,
            eto: grass_column(table)?,
            rain: table.needed(&["rain_mm", "precip_mm"])?,
            wind: table.column(&["wind_m_s"]),
            sides: rose::COLUMNS.map(|name| table.column(&[name])),
            humidity: table.column(&["rh_pct"]),
            mean: table.column(&["t_c", "tmean_c"]),
            warmest: table.column(&["tmax_c"]),
            coldest: table.column(&["tmin_c"]),
            zone: table.column(&["zone"]),
        })
    }

    fn read(
        &self,
        table: &Table,
        line: u64,
        cells: &[String],
    ) -> Result<(usize, MonthClimate), Issue> {
        let number = |column: Option<usize>| match column {
            Some(column) => table.number(line, cells, column),
            None => Ok(None),
        };
        let within = |name: &str, column: Option<usize>, low: f64, high: f64| {
            let (Some(value), Some(column)) = (number(column)?, column) else {
                return Ok(None);
            };
            if !(low..=high).contains(&value) {
                let found = format!("{name} = {value}; possible are {low} to {high}");
                return Err(table.cell_issue(Code::CL02, line, column, &found));
            }
            Ok(Some(value))
        };
        let month = month_of(table.text(cells, self.month)).ok_or_else(|| {
            let found = format!("month = `{}`; write 1 to 12", table.text(cells, self.month));
            table.cell_issue(Code::IN07, line, self.month, &found)
        })?;
        let needed = |name: &str, column: usize, value: Option<f64>| {
            let empty = || format!("{name} is empty");
            value.ok_or_else(|| table.cell_issue(Code::CL01, line, column, &empty()))
        };
        let eto_mm = within("eto_mm", Some(self.eto), 0.0, MOST_ETO_MM)?;
        let rain_mm = within("rain_mm", Some(self.rain), 0.0, MOST_RAIN_MM)?;
        let warmest_c = temperature(table, line, "tmax_c", number(self.warmest)?, MOST_MAXIMUM_C)?;
        let coldest_c = temperature(table, line, "tmin_c", number(self.coldest)?, MOST_MEAN_C)?;
        let between_c = match (warmest_c, coldest_c) {
            (Some(warmest), Some(coldest)) if warmest < coldest => {
                let found = format!("tmax_c = {warmest} is below tmin_c = {coldest}");
                return Err(table.issue(Code::CL02, line, &found));
            }
            (Some(warmest), Some(coldest)) => Some((warmest + coldest) / 2.0),
            _ => None,
        };
        let mean_c = temperature(table, line, "t_c", number(self.mean)?, MOST_MEAN_C)?;
        let mut sides = [None; SIDES];
        for (side, (name, column)) in rose::COLUMNS.iter().zip(self.sides).enumerate() {
            sides[side] = within(name, column, 0.0, 1.0)?;
        }
        let shares = sides.map(Option::unwrap_or_default);
        let sum: f64 = shares.iter().sum();
        if sum > MOST_SHARES_FRAC {
            let found = format!(
                "wind_n_frac to wind_nw_frac add up to {sum:.3}; at most 1 is possible, the rest is calm"
            );
            return Err(table.issue(Code::CL02, line, &found));
        }
        let shares = shares.map(|share| share / sum.max(1.0));
        let climate = MonthClimate {
            eto_mm: needed("eto_mm", self.eto, eto_mm)?,
            rain_mm: needed("rain_mm", self.rain, rain_mm)?,
            wind_m_s: within("wind_m_s", self.wind, 0.0, 40.0)?,
            wind_frac: sides.iter().any(Option::is_some).then_some(shares),
            rh_pct: within("rh_pct", self.humidity, 0.0, 100.0)?,
            t_c: mean_c.or(between_c),
        };
        Ok((month, climate))
    }
}

/// A monthly mean of temperature that can be degrees Celsius.
fn temperature(
    table: &Table,
    line: u64,
    name: &str,
    value: Option<f64>,
    most_c: f64,
) -> Result<Option<f64>, Issue> {
    match value {
        Some(value) if !(-90.0..=150.0).contains(&value) => {
            let found = format!("{name} = {value}; possible are -90 to {most_c}");
            Err(table.issue(Code::CL02, line, &found))
        }
        Some(value) if value > most_c => {
            let found = format!("{name} = {value}: this looks like degrees Fahrenheit");
            Err(table.issue(Code::CL03, line, &found))
        }
        other => Ok(other),
    }
}

/// The 0-based month of `1` to `12` or of an English name.
fn month_of(text: &str) -> Option<usize> {
    if let Ok(number) = text.parse::<usize>() {
        return (1..=12).contains(&number).then(|| number - 1);
    }
    let start: String = text.chars().take(3).collect::<String>().to_lowercase();
    MONTH_NAMES.iter().position(|&name| name == start)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(change: impl Fn(usize, &mut [String; 6])) -> String {
        let mut text = "month,eto_mm,rain_mm,tmax_c,tmin_c,rh_pct\n".to_owned();
        for month in 1..=12 {
            let mut cells = [month, 90, 30, 25, 10, 60].map(|cell: usize| cell.to_string());
            change(month, &mut cells);
            if !cells[0].is_empty() {
                text += &(cells.join(",") + "\n");
            }
        }
        text
    }

    fn refusal(change: impl Fn(usize, &mut [String; 6])) -> (Code, String) {
        let issue = YearClimate::parse_table(&table(change), "climate.csv").unwrap_err();
        assert_eq!(issue.place.file.as_deref(), Some("climate.csv"));
        (issue.code, issue.found)
    }

    #[test]
    fn the_embedded_town_is_a_valid_table_and_says_that_it_is_invented() {
        let town = YearClimate::larkmoor();
        assert!(town.name.contains("invented"));
        assert_eq!((town.eto_mm_yr(), town.rain_mm_yr()), (1_350.0, 380.0));
        assert_eq!(town.peak_month(), 6);
    }

    #[test]
    fn twelve_good_rows_make_a_year() {
        let years = YearClimate::parse_table(&table(|_, _| ()), "c").unwrap();
        assert_eq!(years.len(), 1);
        assert_eq!(years[0].months[11].t_c, Some(17.5));
        let text = table(|_, _| ()).replace("\n6,", "\nJune,");
        assert_eq!(YearClimate::parse_table(&text, "c").unwrap()[0], years[0]);
    }

    #[test]
    fn zones_are_years_of_their_own() {
        let mut text = "zone,month,eto_mm,rain_mm\n".to_owned();
        for month in 1..=12 {
            text += &format!("hill,{month},80,50\ncoast,{month},70,40\n");
        }
        let years = YearClimate::parse_table(&text, "c").unwrap();
        let names: Vec<&str> = years.iter().map(|year| year.name.as_str()).collect();
        assert_eq!(names, ["hill", "coast"]);
        text = text.replace("coast,7,70,40\n", "");
        let issue = YearClimate::parse_table(&text, "c").unwrap_err();
        assert_eq!(
            (issue.code, issue.found.as_str()),
            (Code::CL01, "missing months in zone `coast`: 7")
        );
    }

    #[test]
    fn one_defect_one_code() {
        let set = |at: usize, month: usize, value: &'static str| {
            move |row: usize, cells: &mut [String; 6]| {
                if row == month {
                    value.clone_into(&mut cells[at]);
                }
            }
        };
        assert_eq!(
            refusal(set(0, 3, "")),
            (Code::CL01, "missing months: 3".to_owned())
        );
        assert_eq!(refusal(set(0, 3, "4")).0, Code::CL01);
        assert_eq!(refusal(set(0, 3, "13")).0, Code::IN07);
        assert_eq!(refusal(set(1, 3, "")).0, Code::CL01);
        assert_eq!(refusal(set(1, 3, "x")).0, Code::IN07);
        assert_eq!(
            refusal(set(2, 5, "-1")),
            (
                Code::CL02,
                "line 6: rain_mm = -1; possible are 0 to 3000".to_owned()
            )
        );
        assert_eq!(refusal(set(4, 7, "26")).0, Code::CL02);
        assert_eq!(refusal(set(5, 7, "100.5")).0, Code::CL02);
        assert_eq!(refusal(set(3, 7, "77")).0, Code::CL03);
        let with_shares = |north: &str, west: &str| {
            let text = table(|_, _| ());
            let mut lines = text.lines().map(|line| match line.starts_with("month") {
                true => format!("{line},wind_n_frac,wind_w_frac\n"),
                false => format!("{line},{north},{west}\n"),
            });
            YearClimate::parse_table(&lines.by_ref().collect::<String>(), "c")
        };
        assert_eq!(with_shares("0.6", "0.5").unwrap_err().code, Code::CL02);
        assert_eq!(with_shares("-0.1", "0.5").unwrap_err().code, Code::CL02);
        assert_eq!(with_shares("west", "0.5").unwrap_err().code, Code::IN07);
        let years = with_shares("0.25", "").unwrap();
        let shares = years[0].months[3].wind_frac.unwrap();
        assert_eq!((shares[0], shares[6]), (0.25, 0.0));
        assert_eq!(with_shares("", "").unwrap()[0].months[3].wind_frac, None);
        assert_eq!(
            refusal(|_, cells| "6.2".clone_into(&mut cells[1])).0,
            Code::CL03
        );
        assert_eq!(
            YearClimate::parse_table("month,eto_mm\n", "c")
                .unwrap_err()
                .code,
            Code::IN08
        );
        assert_eq!(
            YearClimate::parse_table("month,eto_mm,rain_mm\n", "c")
                .unwrap_err()
                .code,
            Code::CL01
        );
    }
}
