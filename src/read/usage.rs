//! How many rows of each layer were used, and what the likely cause is where few were.
//!
//! A layer that covers more than the parcels is no mistake: rows of obstacles, soils and climate zones
//! that lie near nothing that is planned are counted apart and never against the layer, unless all of
//! them do. Rows that name a parcel, or are points on one, are expected to find it.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::feature::joined;
use crate::issue::{Code, Issue};

/// What became of the rows of one layer: `rows = used + left_out + elsewhere + Σ unused`.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct LayerUse {
    /// `turf`, `heads`, `obstacles`, `supply`, `soils`, `climate_zones` or `meter`.
    pub role: String,
    /// Rows of the layer.
    pub rows: u64,
    /// Rows that went into a plan.
    pub used: u64,
    /// Rows of parcels that filters leave out or that failed.
    pub left_out: u64,
    /// Rows of obstacles, soils or climate zones near nothing that is planned.
    pub elsewhere: u64,
    /// Rows that could not be used, by the code that says why.
    pub unused: BTreeMap<Code, u64>,
}

/// What is known of a layer of which little was used.
#[derive(Debug, Clone, Default)]
pub(super) struct Clues {
    /// The input's name.
    pub file: String,
    /// West, south, east, north \[degrees\].
    pub extent: Option<[f64; 4]>,
    pub columns: Vec<String>,
    /// Columns that hold ids of parcels in rows whose own id no parcel has, and in how many.
    pub id_columns: BTreeMap<String, u64>,
}

/// Columns by which a layer of a role is known: its flag, and what no other role has.
const SIGNS: [(&str, &[&str]); 5] = [
    (
        "heads",
        &[
            "nozzle_family",
            "arc_deg",
            "azimuth_deg",
            "radius_m",
            "condition",
            "body_mm",
        ],
    ),
    ("supply", &["static_kpa", "near_kpa", "far_kpa", "size_mm"]),
    ("obstacles", &["height_m"]),
    ("soils", &["texture", "intake_mm_h", "mukey", "texcl"]),
    ("turf", &["turf_id", "exposure", "grass"]),
];

impl LayerUse {
    /// Nothing but rows.
    pub(super) fn of(role: &str, rows: u64) -> LayerUse {
        LayerUse {
            role: role.to_owned(),
            rows,
            ..LayerUse::default()
        }
    }

    /// Rows that were expected to be used.
    fn expected(&self) -> u64 {
        self.rows.saturating_sub(self.left_out + self.elsewhere)
    }

    /// Adds rows that could not be used.
    pub(super) fn add_unused(&mut self, code: Code, rows: u64) {
        if rows > 0 {
            *self.unused.entry(code).or_default() += rows;
        }
    }

    /// Why rows were not used, in words: `JO05 3, GE02 1`.
    #[must_use]
    pub fn reasons(&self) -> String {
        let mut parts: Vec<String> = self
            .unused
            .iter()
            .map(|(code, rows)| format!("{rows} {code}"))
            .collect();
        if self.elsewhere > 0 {
            parts.push(format!("{} near nothing planned", self.elsewhere));
        }
        if self.left_out > 0 {
            parts.push(format!("{} of parcels not planned", self.left_out));
        }
        parts.join(", ")
    }

    /// `JO08` where no row was used, `JO07` where less than half of those expected were.
    pub(super) fn issue(&self, clues: &Clues, parcels: Option<[f64; 4]>) -> Option<Issue> {
        let expected = self.expected();
        let nothing = self.used == 0 && self.rows > 0 && self.left_out == 0;
        let code = if nothing {
            Code::JO08
        } else if self.used * 2 < expected {
            Code::JO07
        } else {
            return None;
        };
        let mut found = format!("{}: {} of {} rows", self.role, self.used, self.rows);
        let reasons = self.reasons();
        if !reasons.is_empty() {
            found = format!("{found} ({reasons})");
        }
        if let Some(cause) = clues.cause(&self.role, parcels) {
            found = format!("{found}; {cause}");
        }
        Some(Issue::new(code, found).in_file(&clues.file))
    }
}

impl Clues {
    /// The likeliest cause, most telling first.
    fn cause(&self, role: &str, parcels: Option<[f64; 4]>) -> Option<String> {
        self.another_role(role)
            .or_else(|| self.another_place(parcels))
            .or_else(|| self.another_column())
    }

    fn another_role(&self, role: &str) -> Option<String> {
        let signs = |signs: &[&str]| -> Vec<String> {
            let has = |sign: &&&str| {
                self.columns
                    .iter()
                    .any(|name| name.eq_ignore_ascii_case(sign))
            };
            signs
                .iter()
                .filter(has)
                .map(|sign| (*sign).to_owned())
                .collect()
        };
        let own = SIGNS.iter().find(|(known, _)| *known == role);
        if own.is_some_and(|(_, columns)| !signs(columns).is_empty()) {
            return None;
        }
        let others = SIGNS.iter().filter(|(known, _)| *known != role);
        let (other, seen) = others
            .map(|(other, columns)| (other, signs(columns)))
            .max_by_key(|(_, seen)| seen.len())
            .filter(|(_, seen)| !seen.is_empty())?;
        let seen = seen.join(", ");
        Some(format!(
            "its columns ({seen}) are those of {other}: is it meant for --{other}?"
        ))
    }

    fn another_place(&self, parcels: Option<[f64; 4]>) -> Option<String> {
        let (own, parcels) = (self.extent?, parcels?);
        if meet(own, parcels) {
            return None;
        }
        let swapped = [own[1], own[0], own[3], own[2]];
        if meet(swapped, parcels) {
            return Some("longitude and latitude look swapped".to_owned());
        }
        let text = |[west, south, east, north]: [f64; 4]| {
            format!("{west:.4},{south:.4},{east:.4},{north:.4}")
        };
        Some(format!(
            "it covers {} and the parcels {} [degrees]: another place, or a wrong reference system",
            text(own),
            text(parcels)
        ))
    }

    fn another_column(&self) -> Option<String> {
        let (column, rows) = self
            .id_columns
            .iter()
            .max_by_key(|(column, rows)| (**rows, std::cmp::Reverse(*column)))?;
        Some(format!(
            "its column `{column}` holds ids of parcels in {rows} rows: name that column parcel_id"
        ))
    }
}

fn meet(a: [f64; 4], b: [f64; 4]) -> bool {
    a[0] <= b[2] && b[0] <= a[2] && a[1] <= b[3] && b[1] <= a[3]
}

/// The box around two boxes, either of which may be missing.
pub(super) fn around(a: Option<[f64; 4]>, b: Option<[f64; 4]>) -> Option<[f64; 4]> {
    match (a, b) {
        (Some(a), Some(b)) => Some(joined(a, b)),
        (one, other) => one.or(other),
    }
}

/// Rows by the code of their first issue; notes leave a row usable.
pub(super) fn by_code(issues: &[Issue]) -> BTreeMap<Code, u64> {
    let mut seen = BTreeSet::new();
    let mut codes = BTreeMap::new();
    for issue in issues {
        if let Some(row) = issue.place.feature
            && seen.insert(row)
        {
            *codes.entry(issue.code).or_default() += 1;
        }
    }
    codes
}

#[cfg(test)]
mod tests {
    use super::*;

    fn used(role: &str, rows: u64, used: u64) -> LayerUse {
        LayerUse {
            used,
            ..LayerUse::of(role, rows)
        }
    }

    fn code(layer: &LayerUse) -> Option<Code> {
        layer.issue(&Clues::default(), None).map(|issue| issue.code)
    }

    #[test]
    fn half_is_enough_and_none_is_an_error() {
        assert_eq!(code(&used("heads", 4, 2)), None);
        assert_eq!(code(&used("heads", 5, 2)), Some(Code::JO07));
        assert_eq!(code(&used("heads", 5, 0)), Some(Code::JO08));
        assert_eq!(
            code(&used("heads", 0, 0)),
            None,
            "an empty layer loses nothing"
        );
        // What filters leave out or lies elsewhere does not count, unless nothing is left.
        let part = LayerUse {
            left_out: 8,
            ..used("heads", 10, 1)
        };
        assert_eq!(code(&part), None);
        let none_asked = LayerUse {
            left_out: 10,
            ..used("heads", 10, 0)
        };
        assert_eq!(code(&none_asked), None);
        let county = LayerUse {
            elsewhere: 999,
            ..used("soils", 1000, 1)
        };
        assert_eq!(code(&county), None);
        let other_county = LayerUse {
            elsewhere: 1000,
            ..used("soils", 1000, 0)
        };
        assert_eq!(code(&other_county), Some(Code::JO08));
    }

    #[test]
    fn the_likely_cause_is_named() {
        let parcels = Some([5.0, 43.0, 5.1, 43.1]);
        let says = |clues: &Clues| {
            let issue = used("supply", 3, 0).issue(clues, parcels).unwrap();
            issue.found
        };
        let mut clues = Clues {
            extent: Some([43.0, 5.0, 43.1, 5.1]),
            ..Clues::default()
        };
        assert!(says(&clues).ends_with("; longitude and latitude look swapped"));
        clues.extent = Some([15.0, 43.0, 15.1, 43.1]);
        assert!(says(&clues).contains("another place"), "{}", says(&clues));
        clues.columns = vec!["Radius_m".into(), "arc_deg".into(), "kind".into()];
        assert!(
            says(&clues).contains("meant for --heads?"),
            "{}",
            says(&clues)
        );
        clues.columns.push("static_kpa".into());
        assert!(
            !says(&clues).contains("--heads"),
            "it has a column of its own role"
        );
        clues.extent = parcels;
        clues.id_columns = [("APN".to_owned(), 3), ("lot".to_owned(), 1)].into();
        assert!(says(&clues).contains("`APN` holds ids of parcels in 3 rows"));
    }

    #[test]
    fn a_row_counts_once_by_its_first_issue() {
        let at = |code, row| Issue::new(code, "").at_feature(row);
        let issues = [
            at(Code::GE03, 1),
            at(Code::GE05, 1),
            at(Code::GE03, 2),
            Issue::new(Code::HY06, ""),
        ];
        assert_eq!(by_code(&issues), [(Code::GE03, 2)].into());
    }
}
