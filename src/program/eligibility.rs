//! Who may be paid: conditions on a parcel's columns, each with the reason that is told where it
//! is not met.
//!
//! Some rules stand in every program. Each of them holds only where its column has a value: a
//! layer that does not say whether a lawn is new is no reason to refuse it. A rule of the program
//! file is different: it was asked for, so a parcel without a value does not meet it.

use serde::{Deserialize, Serialize};

use crate::assumptions::{Assumptions, Key, nearest};
use crate::clause::Clause;
use crate::issue::{Code, Issue};
use crate::site::Attribute;

/// A rule as it stands in the program file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rule {
    /// Its name; a rule with the name of a standing rule takes its place.
    pub name: String,
    /// The condition that a parcel must meet, on columns of the parcel layer or of the output;
    /// empty for a rule that is switched off.
    #[serde(default)]
    pub rule: String,
    /// What is told where it is not met; the name where nothing is given.
    #[serde(default)]
    pub reason: String,
    /// Whether it applies: `false` switches a standing rule off.
    #[serde(default = "applies")]
    pub apply: bool,
}

fn applies() -> bool {
    true
}

/// A rule of every program.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Standing {
    /// Its name.
    pub name: &'static str,
    /// The column without which it does not apply; empty where it always does.
    pub column: &'static str,
    /// The condition.
    pub rule: String,
    /// What is told where it is not met.
    pub reason: &'static str,
}

/// A condition that holds where a column says no.
fn says_no(column: &str) -> String {
    [
        "false", "'no'", "'No'", "'NO'", "'n'", "'N'", "'False'", "0",
    ]
    .map(|word| format!("{column} = {word}"))
    .join(" OR ")
}

/// A condition that holds where a column says yes.
fn says_yes(column: &str) -> String {
    [
        "true", "'yes'", "'Yes'", "'YES'", "'y'", "'Y'", "'True'", "1",
    ]
    .map(|word| format!("{column} = {word}"))
    .join(" OR ")
}

/// The rules of every program: something may be claimed, its cost is known; no new build, not
/// converted already, one payment in a device's life, no second rebate for the same device, looked
/// at before the work; and, where bodies are paid for, a pressure that was read.
#[must_use]
pub fn standing_rules(assumptions: &Assumptions) -> Vec<Standing> {
    let newest = assumptions.number(Key::RebateNewestBuild);
    let life_yr = assumptions.number(Key::SavingsLife);
    let standing = |name, column, rule: String, reason| Standing {
        name,
        column,
        rule,
        reason,
    };
    let mut rules = vec![
        standing(
            "claim",
            "",
            "claimed_m3_yr > 0".to_owned(),
            "nothing may be claimed",
        ),
        standing(
            "cost",
            "",
            "cost_cur >= 0".to_owned(),
            "its cost is not known",
        ),
        standing(
            "new-build",
            "year_built",
            format!("year_built <= {newest}"),
            "new build",
        ),
        standing(
            "converted",
            "converted",
            says_no("converted"),
            "already converted",
        ),
        standing(
            "paid-before",
            "years_since_paid",
            format!("years_since_paid >= {life_yr}"),
            "paid before within the life of the device",
        ),
        standing(
            "stacking",
            "other_rebate",
            says_no("other_rebate"),
            "another rebate pays for it",
        ),
        standing(
            "pre-inspected",
            "pre_inspected",
            says_yes("pre_inspected"),
            "not inspected before the work",
        ),
    ];
    if assumptions.number(Key::RebateBody) > 0.0 {
        rules.push(standing(
            "pressure-read",
            "",
            "bodies = 0 OR pressure_read = true".to_owned(),
            "no pressure was read, which a rebate on bodies needs",
        ));
    }
    rules
}

/// A condition that a parcel must meet.
#[derive(Debug, Clone, PartialEq)]
struct Requirement {
    clause: Clause,
    /// The column without which it does not apply; empty where it always does.
    column: &'static str,
    reason: String,
}

/// All conditions of a program, in the order in which they are told.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Eligibility {
    requirements: Vec<Requirement>,
}

impl Eligibility {
    /// The standing rules, with those of a program in their place and behind them. `columns` are
    /// the names that rules may use; `None` where they cannot be known beforehand.
    ///
    /// # Errors
    /// `AS03` for a condition that is not understood, or a rule without one; `PR01` for a column
    /// that is not there, or a standing rule that is to be switched off and is none, with the
    /// nearest name that there is.
    pub fn of(
        given: &[Rule],
        assumptions: &Assumptions,
        columns: Option<&[&str]>,
    ) -> Result<Eligibility, Issue> {
        let standing = standing_rules(assumptions);
        let mut requirements = Vec::new();
        for rule in &standing {
            if !given.iter().any(|other| other.name == rule.name) {
                requirements.push(Requirement {
                    clause: clause(rule.name, &rule.rule)?,
                    column: rule.column,
                    reason: rule.reason.to_owned(),
                });
            }
        }
        for rule in given {
            if !rule.apply {
                // Every standing rule may be switched off, also one that needs a body rebate.
                let names = standing
                    .iter()
                    .map(|rule| rule.name)
                    .chain(["pressure-read"]);
                known("standing rule", &rule.name, names)?;
                continue;
            }
            let clause = clause(&rule.name, &rule.rule)?;
            if let Some(columns) = columns {
                for column in clause.columns() {
                    known("column", column, columns.iter().copied())
                        .map_err(|issue| named(issue, &rule.name))?;
                }
            }
            let reason = if rule.reason.is_empty() {
                &rule.name
            } else {
                &rule.reason
            };
            requirements.push(Requirement {
                clause,
                column: "",
                reason: reason.clone(),
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
            .filter(move |requirement| {
                let applies =
                    requirement.column.is_empty() || has_value(column(requirement.column));
                applies && !requirement.clause.holds(&column)
            })
            .map(|requirement| requirement.reason.as_str())
    }
}

fn has_value(found: Option<&Attribute>) -> bool {
    match found {
        None => false,
        Some(Attribute::Text(text)) => !text.trim().is_empty(),
        Some(Attribute::Number(_) | Attribute::Bool(_)) => true,
    }
}

fn clause(name: &str, text: &str) -> Result<Clause, Issue> {
    Clause::parse(text).map_err(|issue| named(Issue::new(Code::AS03, issue.found), name))
}

fn named(issue: Issue, rule: &str) -> Issue {
    let found = format!("eligibility rule `{rule}`: {}", issue.found);
    Issue { found, ..issue }
}

/// Makes sure that a name is one of those known, letter case ignored.
///
/// # Errors
/// `PR01` with the nearest name that is.
pub fn known<'a>(
    what: &str,
    name: &str,
    names: impl Iterator<Item = &'a str> + Clone,
) -> Result<(), Issue> {
    if names.clone().any(|known| known.eq_ignore_ascii_case(name)) {
        return Ok(());
    }
    let hint =
        nearest(name, names).map_or(String::new(), |near| format!("; did you mean `{near}`?"));
    let found = format!("there is no {what} `{name}`{hint}");
    Err(Issue::new(Code::PR01, found))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::Attributes;

    fn rule(name: &str, rule: &str) -> Rule {
        Rule {
            name: name.to_owned(),
            rule: rule.to_owned(),
            reason: String::new(),
            apply: true,
        }
    }

    fn row(more: &[(&str, Attribute)]) -> Attributes {
        let mut row = vec![
            ("claimed_m3_yr".to_owned(), Attribute::Number(3.0)),
            ("cost_cur".to_owned(), Attribute::Number(90.0)),
        ];
        row.extend(
            more.iter()
                .map(|(name, value)| ((*name).to_owned(), value.clone())),
        );
        Attributes(row)
    }

    fn told(eligibility: &Eligibility, row: &Attributes) -> Vec<String> {
        let objections = eligibility.objections(|column| row.get(column));
        objections.map(str::to_owned).collect()
    }

    #[test]
    fn standing_rules_hold_where_their_column_has_a_value() {
        let rules = Eligibility::of(&[], &Assumptions::defaults(), None).unwrap();
        assert!(told(&rules, &row(&[])).is_empty());
        let text = |word: &str| Attribute::Text(word.to_owned());
        assert!(told(&rules, &row(&[("converted", text("no"))])).is_empty());
        assert!(told(&rules, &row(&[("converted", text(" "))])).is_empty());
        let all = row(&[
            ("year_built", Attribute::Number(2021.0)),
            ("converted", Attribute::Bool(true)),
            ("years_since_paid", Attribute::Number(6.0)),
            ("other_rebate", text("city")),
            ("pre_inspected", text("no")),
        ]);
        assert_eq!(
            told(&rules, &all),
            [
                "new build",
                "already converted",
                "paid before within the life of the device",
                "another rebate pays for it",
                "not inspected before the work"
            ]
        );
        let nothing = Attributes(vec![("claimed_m3_yr".into(), Attribute::Number(-1.0))]);
        assert_eq!(
            told(&rules, &nothing),
            ["nothing may be claimed", "its cost is not known"]
        );
    }

    #[test]
    fn a_rebate_on_bodies_wants_a_pressure() {
        let assumed = Assumptions::defaults()
            .with_setting("rebate.per_body_cur=5")
            .unwrap();
        let rules = Eligibility::of(&[], &assumed, None).unwrap();
        let bodies = |count: f64, read: bool| {
            row(&[
                ("bodies", Attribute::Number(count)),
                ("pressure_read", Attribute::Bool(read)),
            ])
        };
        assert_eq!(told(&rules, &bodies(4.0, false)).len(), 1);
        assert!(told(&rules, &bodies(4.0, true)).is_empty());
        assert!(told(&rules, &bodies(0.0, false)).is_empty());
    }

    #[test]
    fn a_given_rule_takes_the_place_of_a_standing_one_or_is_added() {
        let given = [
            rule("new-build", "year_built < 1990"),
            Rule {
                apply: false,
                ..rule("converted", "")
            },
            rule("turf_m2", "turf_m2 >= 30"),
        ];
        let columns = ["year_built", "turf_m2"];
        let rules = Eligibility::of(&given, &Assumptions::defaults(), Some(&columns)).unwrap();
        let lot = row(&[
            ("year_built", Attribute::Number(1995.0)),
            ("converted", Attribute::Bool(true)),
            ("turf_m2", Attribute::Number(29.0)),
        ]);
        assert_eq!(told(&rules, &lot), ["new-build", "turf_m2"]);
        // Who asks for a value refuses a parcel without one.
        assert_eq!(told(&rules, &row(&[])), ["new-build", "turf_m2"]);
    }

    #[test]
    fn what_is_not_known_is_refused_with_a_hint() {
        let assumed = Assumptions::defaults();
        let of = |given: Rule| Eligibility::of(&[given], &assumed, Some(&["year_built"]));
        let issue = of(rule("old", "year_bilt < 2010")).unwrap_err();
        assert_eq!(issue.code, Code::PR01);
        assert!(
            issue.found.contains("`old`") && issue.found.contains("`year_built`"),
            "{issue}"
        );
        assert_eq!(
            of(rule("old", "year_built <")).unwrap_err().code,
            Code::AS03
        );
        let off = Rule {
            apply: false,
            ..rule("new-bild", "")
        };
        let issue = of(off).unwrap_err();
        assert_eq!(issue.code, Code::PR01);
        assert!(issue.found.contains("`new-build`"), "{issue}");
    }
}
