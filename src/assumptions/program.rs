//! The program file: TOML with the sections and keys of the table.

use std::ops::Range;
use std::sync::Arc;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::{Assumptions, Key, Origin, Typed};
use crate::issue::{Code, Issue, Spot};

/// The section that names the layers of a run; nothing in it is assumed.
const INPUTS: &str = "inputs";
/// The rules of who may be paid; they are conditions, not numbers.
const ELIGIBILITY: &str = "eligibility";

impl Assumptions {
    /// Adds what a program file says. `title` at the top is free text, `[inputs]` is left to who
    /// reads the layers, `[[eligibility]]` to the program; everything else is `[section]` and `key = value` of the table.
    ///
    /// # Errors
    /// `AS03` for text that is not TOML, with its line; `AS01` for an unknown section or key,
    /// with the nearest known one; `AS02` for a value that is not allowed.
    pub fn with_program(&self, text: &str, file: &str) -> Result<Assumptions, Issue> {
        let at = |bytes: Range<usize>, code, wrong: &str| {
            let spot = Spot::of_bytes(text, bytes);
            Issue::new(code, format!("line {}: {wrong}", spot.line()))
                .in_file(file)
                .at_spot(spot)
        };
        let table = DeTable::parse(text)
            .map_err(|error| at(error.span().unwrap_or(0..0), Code::AS03, error.message()))?;
        let mut settings = (*self.0).clone();
        for (section, value) in table.get_ref() {
            let name = section.get_ref();
            if name == "title" {
                let Some(title) = value.get_ref().as_str() else {
                    return Err(at(value.span(), Code::AS02, "title wants text"));
                };
                title.clone_into(&mut settings.title);
                continue;
            }
            if name == INPUTS || name == ELIGIBILITY {
                continue;
            }
            let Some(keys) = value.get_ref().as_table() else {
                let found = format!("`{name}` stands outside of a [section]");
                return Err(at(section.span(), Code::AS01, &found));
            };
            for (key, value) in keys {
                let known = Key::parse(&format!("{name}.{}", key.get_ref()))
                    .map_err(|issue| at(key.span(), issue.code, &issue.found))?;
                let typed = typed(value).ok_or_else(|| {
                    let wanted = "wants a number, text or a list of texts";
                    at(
                        value.span(),
                        Code::AS02,
                        &format!("{} {wanted}", known.text()),
                    )
                })?;
                settings
                    .put(known, &typed, Origin::Program)
                    .map_err(|wrong| at(value.span(), Code::AS02, &wrong))?;
            }
        }
        Ok(Assumptions(Arc::new(settings)))
    }
}

fn typed(value: &Spanned<DeValue<'_>>) -> Option<Typed> {
    match value.get_ref() {
        DeValue::String(text) => Some(Typed::Word(text.to_string())),
        DeValue::Integer(whole) => {
            let number = i64::from_str_radix(whole.as_str(), whole.radix()).ok()?;
            Some(Typed::Number(number as f64))
        }
        DeValue::Float(float) => float.as_str().parse().ok().map(Typed::Number),
        DeValue::Boolean(yes) => Some(Typed::Word(yes.to_string())),
        DeValue::Array(items) => items
            .iter()
            .map(|item| item.get_ref().as_str().map(str::to_owned))
            .collect::<Option<Vec<String>>>()
            .map(Typed::Words),
        DeValue::Datetime(_) | DeValue::Table(_) => None,
    }
}
