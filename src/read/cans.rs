//! Catch-can readings: a table with a row per can.

use super::source::Source;
use crate::audit::Can;
use crate::cells::Table;
use crate::issue::{Code, Issue};

/// Names of the columns.
const VOLUME: [&str; 4] = ["volume_ml", "catch_ml", "caught_ml", "ml"];
const DEPTH: [&str; 4] = ["depth_mm", "catch_mm", "caught_mm", "mm"];
const X: [&str; 2] = ["x_m", "x"];
const Y: [&str; 2] = ["y_m", "y"];
const MINUTES: [&str; 3] = ["run_min", "minutes", "min"];

/// What is known of a test beyond its table.
#[derive(Debug, Clone, Copy, Default)]
pub struct Test {
    /// Minutes that the station ran, for cans whose row does not say.
    pub run_min: Option<f64>,
    /// Inside diameter of the cans' mouth \[mm\].
    pub diameter_mm: Option<f64>,
}

/// The readings of a test.
#[derive(Debug, Clone, PartialEq)]
pub struct CanReadings {
    /// The cans, in the order of the table. What they caught is a rate \[mm/h\] where run times are
    /// known, and a depth \[mm\] where they are not.
    pub cans: Vec<Can>,
    /// Whether they are rates.
    pub are_rates: bool,
    /// Largest run time \[min\].
    pub run_min: Option<f64>,
    /// Rows without a reading, left out.
    pub empty: usize,
    /// Rows without a place.
    pub unplaced: usize,
}

/// Reads the table.
///
/// Depth from a volume: `d = V / (π D² / 4)` with V in mm³ and the mouth's inside diameter D \[mm\].
///
/// # Errors
/// `IN01` and `IN07` for what cannot be read; `AU01` for negative readings; `AU04` when there is
/// neither a depth nor a volume with a diameter; `IN07` for run times that are not positive, or
/// given for a part of the cans.
pub fn read_cans(source: &Source, test: Test) -> Result<CanReadings, Issue> {
    let table = Table::parse(&source.text()?, source.name())?;
    let in_file = |issue: Issue| issue.in_file(source.name());
    let (column, mm_per_unit) = reading_column(&table, test.diameter_mm).map_err(in_file)?;
    let (x, y, minutes) = (table.column(&X), table.column(&Y), table.column(&MINUTES));
    let mut readings = CanReadings {
        cans: Vec::new(),
        are_rates: false,
        run_min: None,
        empty: 0,
        unplaced: 0,
    };
    let mut timed = 0;
    for (line, cells) in &table.rows {
        let cell = |column: Option<usize>| match column {
            Some(column) => table.number(*line, cells, column),
            None => Ok(None),
        };
        let Some(value) = table.number(*line, cells, column)? else {
            readings.empty += 1;
            continue;
        };
        if value < 0.0 {
            let name = &table.names()[column]; // the column was found in the header
            let found = format!("{name} = {value}");
            return Err(table.cell_issue(Code::AU01, *line, column, &found));
        }
        let place_m = cell(x)?.zip(cell(y)?);
        readings.unplaced += usize::from(place_m.is_none());
        let mut caught = value * mm_per_unit;
        if let Some(run_min) = cell(minutes)?.or(test.run_min) {
            if run_min <= 0.0 {
                let found = format!("the run time is {run_min} min");
                return Err(table.issue(Code::IN07, *line, &found));
            }
            caught *= 60.0 / run_min;
            readings.run_min = Some(readings.run_min.unwrap_or(0.0).max(run_min));
            timed += 1;
        }
        readings.cans.push(Can { caught, place_m });
    }
    if timed > 0 && timed < readings.cans.len() {
        let untimed = readings.cans.len() - timed;
        let found = format!("{untimed} cans have no run time, the others have one");
        return Err(in_file(Issue::new(Code::IN07, found)));
    }
    readings.are_rates = timed > 0;
    Ok(readings)
}

/// The column of the readings, and what one unit of it is in millimetres of depth.
fn reading_column(table: &Table, diameter_mm: Option<f64>) -> Result<(usize, f64), Issue> {
    if let Some(column) = table.column(&DEPTH) {
        return Ok((column, 1.0));
    }
    let Some(column) = table.column(&VOLUME) else {
        let found = format!("the table has the columns {}", table.names().join(", "));
        return Err(Issue::new(Code::AU04, found));
    };
    match diameter_mm {
        Some(mm) if mm > 0.0 => {
            let mouth_mm2 = std::f64::consts::PI * mm * mm / 4.0;
            Ok((column, 1_000.0 / mouth_mm2))
        }
        Some(mm) => Err(Issue::new(Code::AU04, format!("the diameter is {mm} mm"))),
        None => Err(Issue::new(
            Code::AU04,
            "readings are volumes and the diameter of the cans is not given",
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, test: Test) -> Result<CanReadings, Issue> {
        read_cans(&Source::from_bytes("cans.csv", text.as_bytes()), test)
    }

    #[test]
    fn volumes_become_depths_and_rates() {
        // A mouth of 100 mm is 7854 mm²: 78.54 mL are 10 mm, in 15 minutes 40 mm/h.
        let test = Test {
            run_min: Some(15.0),
            diameter_mm: Some(100.0),
        };
        let got = read("x_m,y_m,volume_ml\n0,0,78.54\n1,0,0\n2,0,\n,1,5\n", test).unwrap();
        assert!((got.cans[0].caught - 40.0).abs() < 1e-3);
        assert_eq!(got.cans[0].place_m, Some((0.0, 0.0)));
        assert_eq!((got.cans.len(), got.empty, got.unplaced), (3, 1, 1));
        assert!(got.are_rates);
        let depths = read("can;depth_mm\na;4.5\n", Test::default()).unwrap();
        assert_eq!(depths.cans[0].caught, 4.5);
        assert!(!depths.are_rates);
    }

    #[test]
    fn a_row_may_have_its_own_run_time() {
        let got = read("mm,minutes\n5,10\n5,20\n", Test::default()).unwrap();
        assert_eq!(got.cans[0].caught, 30.0);
        assert_eq!(got.cans[1].caught, 15.0);
        assert_eq!(got.run_min, Some(20.0));
    }

    #[test]
    fn bad_tables_get_their_codes() {
        let untold = Test::default();
        let code = |text: &str| read(text, untold).unwrap_err().code;
        for (text, wanted) in [
            ("", Code::IN08),
            ("mm\n5 or so\n", Code::IN07),
            ("mm\n-1\n", Code::AU01),
            ("ml\n20\n", Code::AU04),
            ("catch\n20\n", Code::AU04),
            ("mm,min\n5,0\n", Code::IN07),
            ("mm,min\n5,10\n5,\n", Code::IN07),
            ("mm,x,y\n5,one,2\n", Code::IN07),
        ] {
            assert_eq!(code(text), wanted, "{text}");
        }
        let flat = Test {
            diameter_mm: Some(0.0),
            ..untold
        };
        assert_eq!(read("ml\n20\n", flat).unwrap_err().code, Code::AU04);
    }
}
