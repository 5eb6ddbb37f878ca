//! A condition on named values, as it is written in a rule or on the command line.
//!
//! A small subset of SQL: comparisons of a column with a value, joined by AND and OR; AND binds
//! tighter. A comparison with a value that is missing is never true.

use std::cmp::Ordering;

use crate::issue::{Code, Issue};
use crate::site::Attribute;

/// Most comparisons in one condition.
const MOST_COMPARISONS: usize = 1_000;

/// A condition on the attributes of a row.
#[derive(Debug, Clone, PartialEq)]
pub struct Clause {
    /// True if all of any of these are.
    any: Vec<Vec<Comparison>>,
}

#[derive(Debug, Clone, PartialEq)]
struct Comparison {
    column: String,
    operator: Operator,
    value: Literal,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Operator {
    Equal,
    NotEqual,
    Less,
    LessOrEqual,
    Greater,
    GreaterOrEqual,
}

#[derive(Debug, Clone, PartialEq)]
enum Literal {
    Text(String),
    Number(f64),
}

#[derive(Debug, Clone, PartialEq)]
enum Token {
    /// A bare word or a word in double quotes.
    Word(String, Quoted),
    Literal(Literal),
    Operator(Operator),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Quoted {
    Yes,
    No,
}

impl Clause {
    /// Reads a condition.
    ///
    /// # Errors
    /// `IN10`, with the place where understanding ends.
    pub fn parse(text: &str) -> Result<Clause, Issue> {
        let refused = |what: &str| {
            let found = format!("{what} in `{text}`; GeoJSON takes COLUMN = 'VALUE', with AND, OR");
            Issue::new(Code::IN10, found)
        };
        let tokens = tokens(text).map_err(|what| refused(&what))?;
        let mut any = vec![Vec::new()];
        let mut rest = tokens.as_slice();
        for _ in 0..MOST_COMPARISONS {
            let [
                Token::Word(column, _),
                Token::Operator(operator),
                value,
                after @ ..,
            ] = rest
            else {
                return Err(refused("a comparison is missing"));
            };
            let value = match value {
                Token::Literal(value) => value.clone(),
                Token::Word(word, Quoted::No) if word.eq_ignore_ascii_case("true") => {
                    Literal::Text("true".to_owned())
                }
                Token::Word(word, Quoted::No) if word.eq_ignore_ascii_case("false") => {
                    Literal::Text("false".to_owned())
                }
                _ => return Err(refused("a value in single quotes or a number is missing")),
            };
            let comparison = Comparison {
                column: column.clone(),
                operator: *operator,
                value,
            };
            if let Some(all) = any.last_mut() {
                all.push(comparison);
            }
            match after {
                [] => return Ok(Clause { any }),
                [Token::Word(word, Quoted::No), next @ ..] if word.eq_ignore_ascii_case("and") => {
                    rest = next;
                }
                [Token::Word(word, Quoted::No), next @ ..] if word.eq_ignore_ascii_case("or") => {
                    any.push(Vec::new());
                    rest = next;
                }
                _ => return Err(refused("AND or OR is missing")),
            }
        }
        Err(refused("more than 1000 comparisons"))
    }

    /// Whether a row meets the condition; `column` finds its values.
    pub fn holds<'a>(&self, column: impl Fn(&str) -> Option<&'a Attribute>) -> bool {
        self.any.iter().any(|all| {
            all.iter()
                .all(|comparison| comparison.holds(column(&comparison.column)))
        })
    }

    /// The columns that it looks at.
    pub fn columns(&self) -> impl Iterator<Item = &str> {
        self.any
            .iter()
            .flatten()
            .map(|comparison| comparison.column.as_str())
    }
}

impl Comparison {
    fn holds(&self, found: Option<&Attribute>) -> bool {
        let Some(found) = found else {
            return false;
        };
        let order = match (&self.value, found) {
            (Literal::Number(wanted), found) => {
                found.number().and_then(|found| found.partial_cmp(wanted))
            }
            // A column of numbers compared with text that is one compares numbers, as SQL does.
            (Literal::Text(wanted), Attribute::Number(found)) => wanted
                .trim()
                .parse()
                .ok()
                .and_then(|wanted: f64| found.partial_cmp(&wanted)),
            (Literal::Text(wanted), found) => Some(found.text().as_str().cmp(wanted)),
        };
        order.is_some_and(|order| match self.operator {
            Operator::Equal => order == Ordering::Equal,
            Operator::NotEqual => order != Ordering::Equal,
            Operator::Less => order == Ordering::Less,
            Operator::LessOrEqual => order != Ordering::Greater,
            Operator::Greater => order == Ordering::Greater,
            Operator::GreaterOrEqual => order != Ordering::Less,
        })
    }
}

fn tokens(text: &str) -> Result<Vec<Token>, String> {
    let mut tokens = Vec::new();
    let mut rest = text.trim_start();
    while let Some(first) = rest.chars().next() {
        let (token, length) = match first {
            '\'' => {
                let (text, length) = quoted(rest, '\'')?;
                (Token::Literal(Literal::Text(text)), length)
            }
            '"' => {
                let (text, length) = quoted(rest, '"')?;
                (Token::Word(text, Quoted::Yes), length)
            }
            '=' | '!' | '<' | '>' => operator(rest)?,
            _ if first.is_alphabetic() || first == '_' => {
                let length = rest
                    .find(|c: char| !(c.is_alphanumeric() || matches!(c, '_' | '.' | '-')))
                    .unwrap_or(rest.len());
                (Token::Word(rest[..length].to_owned(), Quoted::No), length)
            }
            _ => {
                let length = rest
                    .find(|c: char| c.is_whitespace() || matches!(c, '=' | '!' | '<' | '>'))
                    .unwrap_or(rest.len());
                let number: Option<f64> = rest[..length].parse().ok();
                let Some(number) = number.filter(|number| number.is_finite()) else {
                    return Err(format!("`{}` is not understood", &rest[..length.max(1)]));
                };
                (Token::Literal(Literal::Number(number)), length)
            }
        };
        tokens.push(token);
        rest = rest[length..].trim_start();
    }
    Ok(tokens)
}

/// A text in quotes, where a doubled quote stands for one; and how long it is.
fn quoted(text: &str, quote: char) -> Result<(String, usize), String> {
    let mut found = String::new();
    let mut letters = text.char_indices().skip(1).peekable();
    while let Some((at, letter)) = letters.next() {
        if letter != quote {
            found.push(letter);
        } else if letters.peek().is_some_and(|&(_, next)| next == quote) {
            found.push(quote);
            letters.next();
        } else {
            return Ok((found, at + quote.len_utf8()));
        }
    }
    Err(format!("{quote} is not closed"))
}

fn operator(text: &str) -> Result<(Token, usize), String> {
    const OPERATORS: [(&str, Operator); 8] = [
        ("==", Operator::Equal),
        ("!=", Operator::NotEqual),
        ("<>", Operator::NotEqual),
        ("<=", Operator::LessOrEqual),
        (">=", Operator::GreaterOrEqual),
        ("=", Operator::Equal),
        ("<", Operator::Less),
        (">", Operator::Greater),
    ];
    OPERATORS
        .iter()
        .find(|(sign, _)| text.starts_with(sign))
        .map(|&(sign, operator)| (Token::Operator(operator), sign.len()))
        .ok_or_else(|| "`!` is not understood".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::Attributes;

    fn row() -> Attributes {
        Attributes(vec![
            ("zone".into(), Attribute::Text("O'Hara East".into())),
            ("area_m2".into(), Attribute::Number(350.0)),
            ("id".into(), Attribute::Text("007".into())),
            ("mown".into(), Attribute::Bool(true)),
        ])
    }

    #[test]
    fn conditions_hold_as_in_sql() {
        let row = row();
        for (clause, wanted) in [
            ("zone = 'O''Hara East'", true),
            ("ZONE='west'", false),
            ("area_m2 >= 350 AND area_m2 < 351", true),
            ("area_m2 > 350 or id = '007'", true),
            ("id = 'x' AND area_m2 = 350 OR area_m2 <> 1", true),
            ("area_m2 = 1 AND id = '007' OR id = 'x'", false),
            ("id = 7", true),
            ("area_m2 = '350.0'", true),
            ("\"area_m2\" != 4", true),
            ("nothing != 'x'", false),
            ("nothing = 'x'", false),
            ("zone > 'N'", true),
            ("mown = true", true),
            ("area_m2 > -1e3", true),
        ] {
            let condition = Clause::parse(clause).unwrap();
            assert_eq!(
                condition.holds(|column| row.get(column)),
                wanted,
                "{clause}"
            );
        }
    }

    #[test]
    fn what_is_not_understood_is_refused() {
        for clause in [
            "",
            "zone",
            "zone =",
            "zone = east",
            "zone = 'east",
            "= 4",
            "zone = 4 4",
            "a = 1 AND",
            "(a = 1)",
            "a LIKE 'b'",
            "a ! 4",
            "a = nan",
            "1 = 1",
            "a = 1; DROP TABLE b",
            "é",
            "a = ½",
        ] {
            let issue = Clause::parse(clause).map_err(|issue| issue.code);
            assert_eq!(issue, Err(Code::IN10), "{clause}");
        }
    }
}
