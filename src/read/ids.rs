//! Ids as cities keep them: used for several parcels, missing, or written differently in each layer.

use super::feature::Feature;
use super::parcels::Roll;
use super::plane::shared_m2;
use crate::issue::{Code, Issue};
use crate::site::LonLatPolygon;

/// What happens to features of the parcel layer that share an id.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum RepeatedIds {
    /// The first keeps the id, the others become `id~2`, `id~3` and so on (`IN15`).
    #[default]
    Number,
    /// They become one parcel: the union of their polygons, with the attributes of the first
    /// (`IN16`; `IN17` where attributes differ).
    Join,
    /// The run ends with `IN09`.
    Refuse,
}

impl RepeatedIds {
    /// The words of the command line.
    pub const WORDS: [(&'static str, RepeatedIds); 3] = [
        ("number", RepeatedIds::Number),
        ("join", RepeatedIds::Join),
        ("refuse", RepeatedIds::Refuse),
    ];
}

/// How ids of one layer are matched with those of another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum MatchIds {
    /// Character by character.
    Exact,
    /// Where no parcel has the very id: also if it differs in case, spaces, leading zeros or a
    /// `.0` at its end alone, and from the id of one parcel only (`JO06`).
    #[default]
    Loose,
}

impl MatchIds {
    /// The words of the command line.
    pub const WORDS: [(&'static str, MatchIds); 2] =
        [("exact", MatchIds::Exact), ("loose", MatchIds::Loose)];
}

/// What is left of an id that is matched loosely: lower case, without spaces, without zeros in
/// front, without the `.0` that a spreadsheet adds to a whole number.
pub(super) fn loose_key(id: &str) -> String {
    let plain: String = id
        .chars()
        .filter(|letter| !letter.is_whitespace())
        .flat_map(char::to_lowercase)
        .collect();
    let whole = plain
        .strip_suffix(".0")
        .filter(|whole| !whole.is_empty() && whole.bytes().all(|byte| byte.is_ascii_digit()));
    let whole = whole.unwrap_or(&plain);
    match whole.trim_start_matches('0') {
        "" if !whole.is_empty() => "0".to_owned(),
        key => key.to_owned(),
    }
}

/// Ids of one layer that were matched loosely: how many rows, and the first of them.
#[derive(Debug, Default)]
pub(super) struct LooseMatches {
    rows: u64,
    first: Option<(u64, String, u32)>,
}

impl LooseMatches {
    /// Counts rows of the layer that name an id, and the parcel that was taken for it.
    pub(super) fn add(&mut self, row: u64, rows: u64, named: &str, parcel: u32) {
        self.rows += rows;
        if self.first.as_ref().is_none_or(|(first, ..)| row < *first) {
            self.first = Some((row, named.to_owned(), parcel));
        }
    }

    /// `JO06` for the layer; `None` where nothing was matched loosely.
    ///
    /// # Errors
    /// As [`Roll::id`].
    pub(super) fn issue(&self, roll: &mut Roll, file: &str) -> Result<Option<Issue>, Issue> {
        let Some((row, named, parcel)) = &self.first else {
            return Ok(None);
        };
        let id = roll.id(*parcel)?;
        let more = match self.rows {
            1 => String::new(),
            2 => ", and 1 more row".to_owned(),
            rows => format!(", and {} more rows", rows - 1),
        };
        let found = format!("`{named}` is taken for parcel `{id}`{more}");
        let issue = Issue::new(Code::JO06, found).in_file(file);
        Ok(Some(issue.at_feature(*row)))
    }
}

/// Rows of one layer without an id, for which their number stands in.
#[derive(Debug, Clone, Default)]
pub(super) struct MissingIds {
    with: u64,
    without: u64,
    first: Option<u64>,
}

impl MissingIds {
    /// Counts a row.
    pub(super) fn add(&mut self, number: u64, has_id: bool) {
        if has_id {
            self.with += 1;
        } else {
            self.without += 1;
            self.first.get_or_insert(number);
        }
    }

    /// `IN18` where rows with and without an id stand in one layer; a layer that has none at all is
    /// numbered as a matter of course.
    pub(super) fn issue(&self, file: &str) -> Option<Issue> {
        let first = self.first.filter(|_| self.with > 0)?;
        let found = format!("{} of {} rows", self.without, self.with + self.without);
        Some(
            Issue::new(Code::IN18, found)
                .in_file(file)
                .at_feature(first),
        )
    }
}

/// The first of `id~2`, `id~3` … that is not in use.
pub(super) fn numbered(id: &str, mut is_used: impl FnMut(&str) -> bool) -> String {
    let mut count = 2_u64;
    loop {
        let candidate = format!("{id}~{count}");
        if !is_used(&candidate) {
            return candidate;
        }
        count += 1;
    }
}

/// The columns in which a feature differs from the first of those that it is joined with; a column
/// that only one of them has differs.
pub(super) fn differing(first: &Feature, other: &Feature) -> Vec<String> {
    let mut names: Vec<&str> = Vec::new();
    for (name, _) in first.attributes.0.iter().chain(&other.attributes.0) {
        if !names.contains(&name.as_str())
            && first.attributes.get(name) != other.attributes.get(name)
        {
            names.push(name);
        }
    }
    names.into_iter().map(str::to_owned).collect()
}

/// Of the candidates the one whose polygons share most with a turf area; of equal ones the first.
/// `None` where it lies on none of them.
pub(super) fn nearest_of(
    candidates: &[u32],
    turf: &[LonLatPolygon],
    mut drawn: impl FnMut(u32) -> Result<Vec<LonLatPolygon>, Issue>,
) -> Result<Option<u32>, Issue> {
    let mut most: Option<(u32, f64)> = None;
    for &entry in candidates {
        let shared_m2 = shared_m2(turf, &drawn(entry)?);
        if shared_m2 > 0.0 && most.is_none_or(|(_, most_m2)| shared_m2 > most_m2) {
            most = Some((entry, shared_m2));
        }
    }
    Ok(most.map(|(entry, _)| entry))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_forget_case_spaces_and_zeros_in_front() {
        for (id, key) in [
            ("00017", "17"),
            (" 17 ", "17"),
            ("17.0", "17"),
            ("17.00", "17.00"),
            ("0", "0"),
            ("000", "0"),
            ("A 12-b", "a12-b"),
            ("---", "---"),
            ("0.0", "0"),
            ("", ""),
        ] {
            assert_eq!(loose_key(id), key, "{id}");
            assert_eq!(loose_key(key), key, "a key is its own key");
        }
    }

    #[test]
    fn numbers_pass_over_ids_that_are_there() {
        let used = ["A~2", "A~3"];
        assert_eq!(numbered("A", |id| used.contains(&id)), "A~4");
        assert_eq!(numbered("B", |id| used.contains(&id)), "B~2");
    }

    #[test]
    fn a_layer_without_any_id_is_not_reported() {
        let mut ids = MissingIds::default();
        ids.add(1, false);
        ids.add(2, false);
        assert_eq!(ids.issue("f"), None);
        ids.add(3, true);
        let issue = ids.issue("f").unwrap();
        assert_eq!(
            (issue.code, issue.found.as_str()),
            (Code::IN18, "2 of 3 rows")
        );
        assert_eq!(issue.place.feature, Some(1));
    }
}
