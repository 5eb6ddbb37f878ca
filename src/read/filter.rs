//! Which rows of a layer the run is about: `--where` and `--bbox`.
//!
//! A source of the vector library takes the condition in its own SQL; for GeoJSON it is a
//! [`Clause`](crate::clause::Clause).

use crate::issue::{Code, Issue};

/// What a row must meet.
#[derive(Debug, Clone, Default)]
pub(super) struct Filter {
    /// As the user wrote it.
    pub clause: Option<String>,
    /// West, south, east, north [degrees].
    pub bbox: Option<[f64; 4]>,
}

impl Filter {
    /// Whether a box meets the box of the filter.
    pub(super) fn meets(&self, bounds: Option<[f64; 4]>) -> bool {
        match (self.bbox, bounds) {
            (None, _) => true,
            // What cannot be placed is not dropped: its failure is told.
            (Some(_), None) => true,
            (Some(wanted), Some(found)) => {
                found[0] <= wanted[2]
                    && found[2] >= wanted[0]
                    && found[1] <= wanted[3]
                    && found[3] >= wanted[1]
            }
        }
    }
}

/// Reads `W,S,E,N`.
///
/// # Errors
/// `IN10` for anything that is not four numbers in degrees, west before east and south before
/// north.
///
/// # Example
/// ```
/// use evenfall::read::filter::parse_bbox;
/// assert_eq!(parse_bbox("5.05, 43.56, 5.07,43.58").unwrap(), [5.05, 43.56, 5.07, 43.58]);
/// assert!(parse_bbox("5.07,43.56,5.05,43.58").is_err());
/// ```
pub fn parse_bbox(text: &str) -> Result<[f64; 4], Issue> {
    let numbers: Result<Vec<f64>, _> = text.split(',').map(|part| part.trim().parse()).collect();
    match numbers.as_deref() {
        Ok(&[west, south, east, north]) => check_bbox([west, south, east, north]),
        _ => Err(Issue::new(Code::IN10, format!("`{text}` is not W,S,E,N"))),
    }
}

/// Checks a box that was made elsewhere.
pub(super) fn check_bbox(bbox: [f64; 4]) -> Result<[f64; 4], Issue> {
    let [west, south, east, north] = bbox;
    let in_range = west.abs() <= 180.0 && east.abs() <= 180.0 && south.abs() <= 90.0;
    if in_range && north.abs() <= 90.0 && west <= east && south <= north {
        Ok(bbox)
    } else {
        let found = format!("{west},{south},{east},{north} is not a box in degrees");
        Err(Issue::new(Code::IN10, found))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn boxes_are_checked() {
        for text in [
            "",
            "1,2,3",
            "1,2,3,x",
            "3,2,1,4",
            "1,4,3,2",
            "1,2,3,95",
            "nan,1,2,3",
            "1,2,3,4,5",
        ] {
            assert_eq!(
                parse_bbox(text).map_err(|issue| issue.code),
                Err(Code::IN10),
                "{text}"
            );
        }
        let filter = Filter {
            bbox: Some([0.0, 0.0, 2.0, 2.0]),
            ..Filter::default()
        };
        assert!(filter.meets(Some([1.0, 1.0, 3.0, 3.0])));
        assert!(filter.meets(Some([2.0, 2.0, 3.0, 3.0])));
        assert!(!filter.meets(Some([2.1, 0.0, 3.0, 3.0])));
        assert!(filter.meets(None));
    }
}
