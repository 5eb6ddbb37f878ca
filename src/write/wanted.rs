//! What of a plan is written: which tables, whose throws, whose rain.

use super::rain::Rain;
use super::record::{Table, Which};
use crate::issue::{Code, Issue};

/// Whose throws are drawn: the layer is the largest of a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Drawn {
    /// Those as found and of the recommended scenario.
    #[default]
    Recommended,
    /// Those of every scenario.
    All,
}

/// What of a plan is read off and written.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Wanted {
    /// Whose throws.
    pub throws: Drawn,
    /// Whose rain.
    pub rain: Rain,
    /// Which tables.
    pub tables: Tables,
}

/// The tables that are written. Those of parcels and failures always are, so that the counts of a run add
/// up in its files; the list of rasters is where there are any.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tables(Vec<Which>);

impl Default for Tables {
    fn default() -> Tables {
        Tables(Which::ALL.to_vec())
    }
}

impl Tables {
    /// Tables that are written whatever is asked for.
    const ALWAYS: [Which; 3] = [Which::Parcels, Which::Failures, Which::Rain];

    /// The words that name tables to choose from.
    #[must_use]
    pub fn words() -> Vec<&'static str> {
        Which::ALL.map(|which| which.table().name).to_vec()
    }

    /// The tables of these words; all of them where there is none.
    ///
    /// # Errors
    /// `RU01` for a word that names none.
    pub fn parse(words: &[String]) -> Result<Tables, Issue> {
        if words.is_empty() {
            return Ok(Tables::default());
        }
        let mut tables = Tables::ALWAYS.to_vec();
        for word in words {
            let found = Which::ALL
                .into_iter()
                .find(|which| which.table().name == word);
            tables
                .push(found.ok_or_else(|| {
                    Issue::new(Code::RU01, format!("there is no layer `{word}`"))
                })?);
        }
        Ok(Tables(tables))
    }

    /// Whether a table is written.
    #[must_use]
    pub fn holds(&self, which: Which) -> bool {
        self.0.contains(&which)
    }

    /// The tables in their order.
    pub fn iter(&self) -> impl Iterator<Item = Table> {
        let written = Which::ALL.into_iter().filter(|&which| self.holds(which));
        written.map(Which::table)
    }

    /// Words for them in their order, to be parsed again; none for all.
    #[must_use]
    pub fn to_words(&self) -> Vec<String> {
        if Which::ALL.into_iter().all(|which| self.holds(which)) {
            return Vec::new();
        }
        self.iter().map(|table| table.name.to_owned()).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parcels_and_failures_are_always_written() {
        let tables = Tables::parse(&["turf".to_owned()]).unwrap();
        let names: Vec<_> = tables.iter().map(|table| table.name).collect();
        assert_eq!(names, ["parcels", "turf", "failures", "rain"]);
        assert_eq!(
            Tables::parse(&tables.to_words()).unwrap().to_words(),
            tables.to_words()
        );
    }

    #[test]
    fn no_word_means_all_and_an_unknown_one_is_an_error() {
        assert_eq!(Tables::parse(&[]).unwrap(), Tables::default());
        assert!(Tables::default().to_words().is_empty());
        let issue = Tables::parse(&["lawns".to_owned()]).unwrap_err();
        assert_eq!(issue.code, Code::RU01);
    }
}
