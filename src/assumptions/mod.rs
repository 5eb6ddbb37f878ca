//! What is assumed: every number that the user did not measure, where it comes from, and who
//! set it.
//!
//! Four layers, the more specific wins: the default of the [`TABLE`], the program file, a
//! `--set section.key=value`, an attribute of the parcel (a column named like the key with an
//! underscore for the dot). Every value keeps its [`Origin`].

mod program;
mod range;
mod store;
mod suggest;
mod table;

use std::sync::{Arc, LazyLock};

pub use range::{RANGES, Range, Scope, Spread, Uncertain};
pub use suggest::{edit_distance, nearest};
pub use table::{ByParcel, Entry, Key, Kind, TABLE};

use crate::issue::{Code, Issue, Spot};
use crate::site::{Attribute, Attributes};

/// The parcel attribute of every key, made once: a run asks for them a million times.
static COLUMNS: LazyLock<Vec<String>> =
    LazyLock::new(|| TABLE.iter().map(|entry| entry.key.column()).collect());

/// Who set a value. Later ones win.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Origin {
    /// The table of this program.
    Default,
    /// The program file.
    Program,
    /// The command line.
    Flag,
    /// An attribute of the parcel.
    Parcel,
}

impl Origin {
    /// The four, in order.
    pub const ALL: [Origin; 4] = [
        Origin::Default,
        Origin::Program,
        Origin::Flag,
        Origin::Parcel,
    ];

    /// The word that is printed.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Origin::Default => "default",
            Origin::Program => "program",
            Origin::Flag => "flag",
            Origin::Parcel => "parcel",
        }
    }
}

/// A value that passed its bounds.
#[derive(Debug, Clone, PartialEq)]
enum Value {
    Number(f64),
    Choice(&'static str),
    Set(Vec<&'static str>),
}

impl Value {
    fn text(&self) -> String {
        match self {
            Value::Number(number) => format!("{number}"),
            Value::Choice(word) => (*word).to_owned(),
            Value::Set(words) => words.join(","),
        }
    }
}

/// A value as it was typed, before anybody looked whether it is allowed.
#[derive(Debug, Clone, PartialEq)]
enum Typed {
    Number(f64),
    Word(String),
    Words(Vec<String>),
}

impl Key {
    /// Its row of the table.
    #[must_use]
    pub fn entry(self) -> &'static Entry {
        &TABLE[self as usize] // the macro makes both in the same order
    }

    /// `section.name`.
    #[must_use]
    pub fn text(self) -> &'static str {
        self.entry().text
    }

    /// The name of the parcel attribute that overrides it: an underscore for the dot.
    #[must_use]
    pub fn column(self) -> String {
        self.text().replace('.', "_")
    }

    /// The key of this text.
    ///
    /// # Errors
    /// `AS01` for an unknown name, with the nearest known one.
    pub fn parse(text: &str) -> Result<Key, Issue> {
        if let Some(entry) = TABLE.iter().find(|entry| entry.text == text) {
            return Ok(entry.key);
        }
        let found = match nearest(text, TABLE.iter().map(|entry| entry.text)) {
            Some(known) => format!("`{text}`; did you mean `{known}`?"),
            None => format!("`{text}`"),
        };
        Err(Issue::new(Code::AS01, found))
    }
}

impl Entry {
    fn default_value(&self) -> Value {
        match self.kind {
            Kind::Number { default, .. } => Value::Number(default),
            Kind::Choice(words) => Value::Choice(words[0]),
            Kind::Set(words) => Value::Set(words.to_vec()),
        }
    }

    /// Takes a typed value if it is of the right kind and within bounds; otherwise says what is
    /// wrong with it.
    fn accept(&self, typed: &Typed) -> Result<Value, String> {
        match self.kind {
            Kind::Number { low, high, .. } => self.accept_number(typed, low, high),
            Kind::Choice(words) => match typed {
                Typed::Word(word) => one_of(self.text, word, words).map(Value::Choice),
                Typed::Number(_) | Typed::Words(_) => {
                    Err(format!("{} wants one of {}", self.text, words.join(", ")))
                }
            },
            Kind::Set(words) => {
                let typed = match typed {
                    Typed::Words(list) => list.clone(),
                    Typed::Word(word) => {
                        word.split(',').map(|part| part.trim().to_owned()).collect()
                    }
                    Typed::Number(number) => vec![format!("{number}")],
                };
                let mut chosen = Vec::new();
                for word in &typed {
                    chosen.push(one_of(self.text, word, words)?);
                }
                if chosen.is_empty() {
                    return Err(format!(
                        "{} is empty; allowed are {}",
                        self.text,
                        words.join(", ")
                    ));
                }
                // In the order of the table, so that the order of typing changes nothing.
                Ok(Value::Set(
                    words
                        .iter()
                        .copied()
                        .filter(|word| chosen.contains(word))
                        .collect(),
                ))
            }
        }
    }

    fn accept_number(&self, typed: &Typed, low: f64, high: f64) -> Result<Value, String> {
        let number = match typed {
            Typed::Number(number) => Some(*number),
            Typed::Word(word) => word.trim().parse::<f64>().ok(),
            Typed::Words(_) => None,
        };
        let allowed = format!("allowed are {low} to {high} {}", self.unit);
        let allowed = allowed.trim_end_matches(" -");
        match number {
            Some(number) if (low..=high).contains(&number) => Ok(Value::Number(number)),
            Some(number) => Err(format!("{} = {number}; {allowed}", self.text)),
            None => Err(format!("{} wants a number; {allowed}", self.text)),
        }
    }
}

fn one_of(key: &str, typed: &str, words: &'static [&'static str]) -> Result<&'static str, String> {
    let wanted = typed.trim();
    if let Some(word) = words.iter().find(|word| word.eq_ignore_ascii_case(wanted)) {
        return Ok(word);
    }
    let hint = nearest(wanted, words.iter().copied())
        .map_or_else(String::new, |word| format!("did you mean `{word}`? "));
    Err(format!(
        "{key} = `{wanted}`; {hint}allowed are {}",
        words.join(", ")
    ))
}

#[derive(Debug, Clone, PartialEq)]
struct Settings {
    title: String,
    values: Vec<Value>,
    origins: Vec<Origin>,
}

/// The assumptions that hold for a run or for one parcel. Cheap to clone.
///
/// # Example
/// ```
/// use evenfall::assumptions::{Assumptions, Key, Origin};
/// let run = Assumptions::defaults().with_setting("clock.minutes_min=12")?;
/// assert_eq!(run.number(Key::ClockMinutes), 12.0);
/// assert_eq!(run.origin(Key::ClockMinutes), Origin::Flag);
/// # Ok::<(), evenfall::issue::Issue>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Assumptions(Arc<Settings>);

impl Default for Assumptions {
    fn default() -> Assumptions {
        Assumptions::defaults()
    }
}

/// One assumption as it holds, for printing: all columns are text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// `section.name`.
    pub key: &'static str,
    /// The value that holds.
    pub value: String,
    /// Its unit.
    pub unit: &'static str,
    /// The value of the table.
    pub default: String,
    /// What is allowed: `low..high`, or the words.
    pub allowed: String,
    /// From where to where draws go, in what shape, and whether parcels share them; empty where
    /// the value is not drawn.
    pub range: String,
    /// Who set it.
    pub origin: &'static str,
    /// `yes` when a parcel's attribute may override it, otherwise `no`.
    pub by_parcel: &'static str,
    /// What it is.
    pub meaning: &'static str,
    /// Where the default comes from.
    pub source: &'static str,
}

impl Assumptions {
    /// The values of the table.
    #[must_use]
    pub fn defaults() -> Assumptions {
        Assumptions(Arc::new(Settings {
            title: String::new(),
            values: TABLE.iter().map(Entry::default_value).collect(),
            origins: vec![Origin::Default; TABLE.len()],
        }))
    }

    /// Adds one `section.key=value` of the command line.
    ///
    /// # Errors
    /// `AS01` for an unknown key, `AS02` for a value that is not allowed, `AS03` without `=`.
    pub fn with_setting(&self, setting: &str) -> Result<Assumptions, Issue> {
        let Some((key, value)) = setting.split_once('=') else {
            return Err(Issue::new(
                Code::AS03,
                format!("--set {setting}: write --set section.key=value"),
            ));
        };
        let typed = |from: usize, to: usize| Spot::Typed {
            text: setting.to_owned(),
            from,
            to,
        };
        let end = key.len();
        let key = Key::parse(key.trim()).map_err(|issue| issue.at_spot(typed(0, end)))?;
        let mut settings = (*self.0).clone();
        settings
            .put(key, &Typed::Word(value.trim().to_owned()), Origin::Flag)
            .map_err(|wrong| {
                Issue::new(Code::AS02, wrong).at_spot(typed(end + 1, setting.len()))
            })?;
        Ok(Assumptions(Arc::new(settings)))
    }

    /// Adds what a parcel's attributes say. Attributes that are no key, and empty ones, are left
    /// alone.
    ///
    /// # Errors
    /// `AS04` for a value that is not allowed, `AS05` for a key that holds for the whole run.
    pub fn for_parcel(
        &self,
        attributes: &Attributes,
        parcel_id: &str,
    ) -> Result<Assumptions, Issue> {
        let mut settings: Option<Settings> = None;
        for (entry, column) in TABLE.iter().zip(COLUMNS.iter()) {
            let Some(attribute) = attributes.get(column) else {
                continue;
            };
            let typed = match attribute {
                Attribute::Number(number) => Typed::Number(*number),
                Attribute::Text(text) if text.trim().is_empty() => continue,
                Attribute::Text(text) => Typed::Word(text.clone()),
                Attribute::Bool(yes) => Typed::Word(yes.to_string()),
            };
            if entry.by_parcel == ByParcel::No {
                return Err(Issue::new(Code::AS05, entry.text).of_parcel(parcel_id));
            }
            settings
                .get_or_insert_with(|| (*self.0).clone())
                .put(entry.key, &typed, Origin::Parcel)
                .map_err(|wrong| Issue::new(Code::AS04, wrong).of_parcel(parcel_id))?;
        }
        Ok(settings.map_or_else(|| self.clone(), |settings| Assumptions(Arc::new(settings))))
    }

    /// The title of the program file; empty without one.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.0.title
    }

    /// The number of a key.
    ///
    /// # Panics
    /// When the key is a choice or a set: a slip in the code that asks.
    #[must_use]
    pub fn number(&self, key: Key) -> f64 {
        match &self.0.values[key as usize] {
            Value::Number(number) => *number,
            Value::Choice(_) | Value::Set(_) => panic!("{} is not a number", key.text()),
        }
    }

    /// The chosen word of a key.
    ///
    /// # Panics
    /// When the key is a number or a set: a slip in the code that asks.
    #[must_use]
    pub fn choice(&self, key: Key) -> &'static str {
        match &self.0.values[key as usize] {
            Value::Choice(word) => word,
            Value::Number(_) | Value::Set(_) => panic!("{} is not a choice", key.text()),
        }
    }

    /// The chosen words of a key, in the order of the table.
    ///
    /// # Panics
    /// When the key is a number or a choice: a slip in the code that asks.
    #[must_use]
    pub fn set(&self, key: Key) -> &[&'static str] {
        match &self.0.values[key as usize] {
            Value::Set(words) => words,
            Value::Number(_) | Value::Choice(_) => panic!("{} is not a set", key.text()),
        }
    }

    /// Who set the value.
    #[must_use]
    pub fn origin(&self, key: Key) -> Origin {
        self.0.origins[key as usize]
    }

    fn range_text(&self, key: Key) -> String {
        let Some(row) = Uncertain::place(key).map(|place| &RANGES[place]) else {
            return String::new();
        };
        let Range { low, high, .. } = self.range(row);
        let (shape, scope) = (row.spread.text(), row.scope.text());
        format!("{} to {}, {shape}, {scope}", short(low), short(high))
    }

    /// All assumptions in the order of the table, for printing.
    pub fn rows(&self) -> impl Iterator<Item = Row> + '_ {
        TABLE.iter().map(|entry| Row {
            key: entry.text,
            value: self.0.values[entry.key as usize].text(),
            unit: entry.unit,
            default: entry.default_value().text(),
            allowed: match entry.kind {
                Kind::Number { low, high, .. } => format!("{low}..{high}"),
                Kind::Choice(words) | Kind::Set(words) => words.join(", "),
            },
            range: self.range_text(entry.key),
            origin: self.origin(entry.key).text(),
            by_parcel: if entry.by_parcel == ByParcel::Yes {
                "yes"
            } else {
                "no"
            },
            meaning: entry.meaning,
            source: entry.source,
        })
    }
}

/// A number without the noise of its last digits.
fn short(value: f64) -> String {
    format!("{}", (value * 1e6).round() / 1e6)
}

impl Settings {
    /// Sets a value unless a more specific layer has set it.
    fn put(&mut self, key: Key, typed: &Typed, origin: Origin) -> Result<(), String> {
        let value = key.entry().accept(typed)?;
        if origin >= self.origins[key as usize] {
            self.values[key as usize] = value;
            self.origins[key as usize] = origin;
        }
        Ok(())
    }
}

#[cfg(test)]
#[path = "assumptions_tests.rs"]
mod tests;
