//! Who may be paid: conditions on a parcel's columns, each with the reason that is told where it
//! is not met.

use crate::clause::Clause;
use crate::issue::{Code, Issue};
use crate::site::Attribute;

/// A condition that a parcel must meet.
#[derive(Debug, Clone, PartialEq)]
pub struct Requirement {
    clause: Clause,
    reason: String,
}

/// All conditions of a program, in the order in which they are told.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Eligibility {
    requirements: Vec<Requirement>,
}

impl Eligibility {
    /// Reads conditions, each with its reason; `columns` are the names that they may use.
    ///
    /// # Errors
    /// `AS03` for a condition that is not understood or names a column that is not there, with
    /// the nearest name that is.
    pub fn parse<'a>(
        rules: impl Iterator<Item = (&'a str, &'a str)>,
        columns: &[&str],
    ) -> Result<Eligibility, Issue> {
        let mut requirements = Vec::new();
        for (text, reason) in rules {
            let clause = Clause::parse(text)
                .map_err(|issue| Issue::new(Code::AS03, format!("eligibility: {}", issue.found)))?;
            if let Some(unknown) = clause.columns().find(|column| {
                !columns
                    .iter()
                    .any(|known| known.eq_ignore_ascii_case(column))
            }) {
                let near = crate::assumptions::nearest(unknown, columns.iter().copied());
                let hint = near.map_or(String::new(), |near| format!("; did you mean `{near}`?"));
                let found = format!("eligibility: there is no column `{unknown}`{hint}");
                return Err(Issue::new(Code::AS03, found));
            }
            requirements.push(Requirement {
                clause,
                reason: reason.to_owned(),
            });
        }
        Ok(Eligibility { requirements })
    }

    /// Reasons why a parcel may not be paid, in the order of the rules; none where it may.
    pub fn objections<'s, 'a>(
        &'s self,
        column: impl Fn(&str) -> Option<&'a Attribute> + 's,
    ) -> impl Iterator<Item = &'s str>
    where
        'a: 's,
    {
        self.requirements
            .iter()
            .filter(move |requirement| !requirement.clause.holds(&column))
            .map(|requirement| requirement.reason.as_str())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::Attributes;

    #[test]
    fn reasons_are_told_in_order() {
        let rules = [
            ("year_built < 2010", "new build"),
            ("converted = false", "already converted"),
            ("inspected = true", "not inspected before the work"),
        ];
        let columns = ["year_built", "converted", "inspected"];
        let eligibility = Eligibility::parse(rules.into_iter(), &columns).unwrap();
        let row = Attributes(vec![
            ("year_built".into(), Attribute::Number(2015.0)),
            ("converted".into(), Attribute::Bool(false)),
        ]);
        let told: Vec<&str> = eligibility.objections(|column| row.get(column)).collect();
        assert_eq!(told, ["new build", "not inspected before the work"]);
    }

    #[test]
    fn unknown_columns_are_refused_with_a_hint() {
        let refused = Eligibility::parse([("year_bilt < 2010", "")].into_iter(), &["year_built"]);
        let issue = refused.unwrap_err();
        assert_eq!(issue.code, Code::AS03);
        assert!(issue.to_string().contains("year_built"), "{issue}");
        assert!(Eligibility::parse([("year <", "")].into_iter(), &["year"]).is_err());
    }
}
