//! Reads one parcel back out of the folder of a finished plan.
//!
//! Layers are read a feature at a time, as this program wrote them: one on each line. A folder of a
//! million parcels takes time to read through, not memory.

use std::fs::File;
use std::io::{self, BufRead, BufReader};
use std::path::{Path, PathBuf};

use serde_json::{Map, Value};

use super::sheet::MOST_ROW_BYTES;
use crate::issue::{Code, Issue, Spot};

/// The record that every finished plan has.
const RECORD: &str = "run.json";

/// The folder of a finished plan.
#[derive(Debug, Clone)]
pub struct PlanFolder {
    path: PathBuf,
    record: Value,
}

/// A row of one of its layers or tables.
#[derive(Debug, Clone, Default)]
pub struct PlannedRow {
    cells: Map<String, Value>,
    /// Its geometry as GeoJSON; null for tables.
    pub geometry: Value,
    /// Line of a table where it begins, 1-based, and what stands between its cells.
    begins: Option<(u64, char)>,
}

impl PlannedRow {
    /// Makes a row of cells and a geometry.
    #[must_use]
    pub fn new(cells: Map<String, Value>, geometry: Value) -> PlannedRow {
        PlannedRow {
            cells,
            geometry,
            begins: None,
        }
    }

    /// Where a cell stands in the text of its table; `None` for a layer.
    #[must_use]
    pub fn spot(&self, column: &str) -> Option<Spot> {
        let (line, separator) = self.begins?;
        let cell = self.cells.keys().position(|own| own == column)?;
        Some(Spot::Cell {
            line,
            cell,
            separator,
        })
    }

    /// The text of a cell; empty when there is none.
    #[must_use]
    pub fn text(&self, column: &str) -> &str {
        self.cells.get(column).and_then(Value::as_str).unwrap_or("")
    }

    /// The number in a cell; `None` when it is empty, or the column is not there.
    #[must_use]
    pub fn number(&self, column: &str) -> Option<f64> {
        match self.cells.get(column)? {
            Value::String(text) => text.parse().ok().filter(|number: &f64| number.is_finite()),
            value => value.as_f64(),
        }
    }

    /// Whether a cell says yes.
    #[must_use]
    pub fn is(&self, column: &str) -> bool {
        match self.cells.get(column) {
            Some(Value::Bool(yes)) => *yes,
            Some(Value::String(text)) => text == "true",
            _ => false,
        }
    }

    /// Whether the table has the column.
    #[must_use]
    pub fn has(&self, column: &str) -> bool {
        self.cells.contains_key(column)
    }
}

impl PlanFolder {
    /// Opens the folder.
    ///
    /// # Errors
    /// `PA01` when there is no `run.json` of this program in it.
    pub fn open(path: &Path) -> Result<PlanFolder, Issue> {
        let not_a_plan = |found: String| {
            Issue::new(Code::PA01, found).in_file(path.join(RECORD).display().to_string())
        };
        let text = std::fs::read_to_string(path.join(RECORD))
            .map_err(|error| not_a_plan(error.to_string()))?;
        let record: Value =
            serde_json::from_str(&text).map_err(|error| not_a_plan(error.to_string()))?;
        if record.get("assumptions").is_none() {
            return Err(not_a_plan("it has no assumptions".to_owned()));
        }
        Ok(PlanFolder {
            path: path.to_owned(),
            record,
        })
    }

    /// The value of an assumption of the run.
    #[must_use]
    pub fn assumption(&self, key: &str) -> Option<&Value> {
        let values = self.record.get("assumptions")?.get("values")?;
        values.get(key)?.get("value")
    }

    /// The title that the program file gave; empty without one.
    #[must_use]
    pub fn title(&self) -> &str {
        let assumptions = self.record.get("assumptions");
        let title = assumptions.and_then(|assumptions| assumptions.get("title"));
        title.and_then(Value::as_str).unwrap_or("")
    }

    /// The rows of a layer that belong to a parcel, in order.
    ///
    /// # Errors
    /// `PA03` when the file is missing or is not as this program writes it.
    pub fn layer(&self, name: &str, parcel_id: &str) -> Result<Vec<PlannedRow>, Issue> {
        let path = self.path.join(format!("{name}.geojson"));
        let fault =
            |found: String| Issue::new(Code::PA03, found).in_file(path.display().to_string());
        let mut file = open(&path)?;
        // A quick look spares reading the other parcels' features as JSON.
        let wanted = Value::String(parcel_id.to_owned()).to_string();
        let mut rows = Vec::new();
        let mut line = String::new();
        let mut number = 0_u64;
        loop {
            line.clear();
            number += 1;
            let read = file.read_line(&mut line);
            if read.map_err(|error| fault(error.to_string()))? == 0 {
                return Ok(rows);
            }
            let text = line.trim_end().trim_end_matches(',');
            if !text.starts_with("{\"type\":\"Feature\",") || !text.contains(&wanted) {
                continue;
            }
            let feature: Value = serde_json::from_str(text)
                .map_err(|error| fault(format!("line {number}: {error}")))?;
            if let Value::Object(mut feature) = feature
                && let Some(Value::Object(cells)) = feature.remove("properties")
                && cells.get("parcel_id").and_then(Value::as_str) == Some(parcel_id)
            {
                let geometry = feature.remove("geometry").unwrap_or(Value::Null);
                rows.push(PlannedRow::new(cells, geometry));
            }
        }
    }

    /// The rows of a table that belong to a parcel, in order.
    ///
    /// # Errors
    /// `PA03` when the file is missing or has no column `parcel_id`.
    pub fn table(&self, name: &str, parcel_id: &str) -> Result<Vec<PlannedRow>, Issue> {
        let path = self.path.join(format!("{name}.csv"));
        read_table(&path, Code::PA03, |row| row.text("parcel_id") == parcel_id)
    }

    /// The parcel's own row.
    ///
    /// # Errors
    /// `PA02` when the plan has no such parcel; else as [`PlanFolder::layer`].
    pub fn parcel(&self, parcel_id: &str) -> Result<PlannedRow, Issue> {
        let mut rows = self.layer("parcels", parcel_id)?;
        if rows.is_empty() {
            let found = format!("`{}`", shortened(parcel_id));
            return Err(Issue::new(Code::PA02, found).in_file(self.path.display().to_string()));
        }
        Ok(rows.swap_remove(0))
    }
}

/// The rows of a table (RFC 4180, as this program writes it and a spreadsheet saves it) that are
/// wanted, in order.
///
/// # Errors
/// The code given when the file cannot be read or is empty.
pub fn read_table(
    path: &Path,
    code: Code,
    mut wanted: impl FnMut(&PlannedRow) -> bool,
) -> Result<Vec<PlannedRow>, Issue> {
    let fault = |found: String| Issue::new(code, found).in_file(path.display().to_string());
    let mut file = open(path).map_err(|mut issue| {
        issue.code = code;
        issue
    })?;
    let mut titles: Option<(char, Vec<String>)> = None;
    let mut rows = Vec::new();
    let mut read = 0;
    loop {
        let separator = titles.as_ref().map(|(separator, _)| *separator);
        let record = next_record(&mut file, separator, &mut read);
        let Some((line, separator, cells)) = record.map_err(|error| fault(error.to_string()))?
        else {
            break;
        };
        let Some((_, titles)) = &titles else {
            titles = Some((separator, cells));
            continue;
        };
        let cells = titles.iter().zip(cells).map(|(title, cell)| {
            let value = Value::String(unguarded(cell));
            (title.clone(), value)
        });
        let mut row = PlannedRow::new(cells.collect(), Value::Null);
        row.begins = Some((line, separator));
        if wanted(&row) {
            rows.push(row);
        }
    }
    if titles.is_none() {
        return Err(fault("the table is empty".to_owned()));
    }
    Ok(rows)
}

/// The next record; cells in quotes may hold separators, doubled quotes and line ends. Without a
/// separator it is told from the record itself: semicolon, tab or comma, whichever comes first
/// outside quotes. Counts the lines that are read, and says in which the record begins.
fn next_record(
    file: &mut impl BufRead,
    separator: Option<char>,
    read: &mut u64,
) -> io::Result<Option<(u64, char, Vec<String>)>> {
    let mut text = String::new();
    let mut is_quoted = false;
    let mut line = 0;
    loop {
        let before = text.len();
        if file.read_line(&mut text)? == 0 {
            if before == 0 {
                return Ok(None);
            }
            break;
        }
        *read += 1;
        if before == 0 {
            line = *read;
        }
        let quotes = text[before..].matches('"').count();
        is_quoted ^= !quotes.is_multiple_of(2);
        if text.trim_start().is_empty() {
            text.clear();
        } else if !is_quoted {
            break;
        } else if text.len() > MOST_ROW_BYTES {
            return Err(io::Error::other("a quote is not closed"));
        }
    }
    if is_quoted {
        return Err(io::Error::other("a quote is not closed"));
    }
    let text = text
        .trim_start_matches('\u{feff}')
        .trim_end_matches(['\r', '\n']);
    let separator = separator.unwrap_or_else(|| {
        let mut quoted = false;
        let mut outside = text.chars().filter(|&c| {
            quoted ^= c == '"';
            !quoted
        });
        outside
            .find(|c| [';', '\t', ','].contains(c))
            .unwrap_or(',')
    });
    let mut cells = Vec::new();
    let mut cell = String::new();
    let mut quoted = false;
    let mut letters = text.chars().peekable();
    while let Some(letter) = letters.next() {
        match letter {
            '"' if quoted && letters.peek() == Some(&'"') => {
                letters.next();
                cell.push('"');
            }
            '"' => quoted = !quoted,
            c if c == separator && !quoted => cells.push(std::mem::take(&mut cell)),
            c => cell.push(c),
        }
    }
    cells.push(cell);
    Ok(Some((line, separator, cells)))
}

/// The text without the apostrophe that keeps a spreadsheet from taking it for a formula.
fn unguarded(cell: String) -> String {
    match cell.strip_prefix('\'') {
        Some(rest) if rest.starts_with(['=', '+', '-', '@', '\t', '\r']) => rest.to_owned(),
        _ => cell,
    }
}

fn open(path: &Path) -> Result<BufReader<File>, Issue> {
    File::open(path)
        .map(|file| BufReader::with_capacity(1 << 16, file))
        .map_err(|error| {
            Issue::new(Code::PA03, error.to_string()).in_file(path.display().to_string())
        })
}

/// The beginning of a long text.
fn shortened(text: &str) -> String {
    const MOST: usize = 80;
    if text.chars().count() <= MOST {
        return text.to_owned();
    }
    text.chars().take(MOST).chain(['…']).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> io::Result<Vec<Vec<String>>> {
        let mut file = io::Cursor::new(text);
        let mut separator = None;
        let mut records = Vec::new();
        while let Some((_, found, cells)) = next_record(&mut file, separator, &mut 0)? {
            separator = Some(found);
            records.push(cells);
        }
        Ok(records)
    }

    fn records(text: &str) -> Vec<Vec<String>> {
        read(text).unwrap()
    }

    #[test]
    fn cells_in_quotes() {
        assert_eq!(
            records("a,b\r\n\"x, \"\"y\"\"\nz\",2\n\n3,4"),
            [vec!["a", "b"], vec!["x, \"y\"\nz", "2"], vec!["3", "4"]]
        );
        assert_eq!(
            records("a;b,c\n1;2,5\n"),
            [vec!["a", "b,c"], vec!["1", "2,5"]]
        );
        assert_eq!(records("\u{feff}a\tb\n"), [vec!["a", "b"]]);
        // A quote that never closes would take the rest of the file.
        assert!(read("a\n\"b\nc\n").is_err());
    }

    #[test]
    fn guards_come_off() {
        for (cell, text) in [
            ("'=1", "=1"),
            ("'abc", "'abc"),
            ("00017", "00017"),
            ("'", "'"),
        ] {
            assert_eq!(unguarded(cell.to_owned()), text);
        }
    }

    #[test]
    fn a_folder_without_a_record_is_no_plan() {
        let folder = tempfile::tempdir().unwrap();
        let code = |folder: &Path| PlanFolder::open(folder).unwrap_err().code;
        assert_eq!(code(folder.path()), Code::PA01);
        std::fs::write(folder.path().join(RECORD), "{}").unwrap();
        assert_eq!(code(folder.path()), Code::PA01);
        std::fs::write(folder.path().join(RECORD), "{\"assumptions\":{}}").unwrap();
        let plan = PlanFolder::open(folder.path()).unwrap();
        assert_eq!(plan.layer("turf", "1").unwrap_err().code, Code::PA03);
        let features = "{\"type\":\"FeatureCollection\",\"features\":[\n\
            {\"type\":\"Feature\",\"properties\":{\"parcel_id\":\"1\",\"note\":\"2\"},\"geometry\":null},\n\
            {\"type\":\"Feature\",\"properties\":{\"parcel_id\":\"2\",\"n\":3},\"geometry\":null}\n]}\n";
        std::fs::write(folder.path().join("parcels.geojson"), features).unwrap();
        assert_eq!(plan.parcel("2").unwrap().number("n"), Some(3.0));
        assert_eq!(plan.parcel("3").unwrap_err().code, Code::PA02);
    }
}
