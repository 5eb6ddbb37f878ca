//! Assumptions in `run.json`: every resolved value with its origin, and back.

use std::sync::Arc;

use serde_json::{Map, Value as Json, json};

use super::{Assumptions, Key, Origin, RANGES, Range, TABLE, Typed, Uncertain, Value};
use crate::issue::{Code, Issue};

impl Assumptions {
    /// The title and, by key in the order of the table, `{"value", "unit", "origin"}`,
    /// and for what is drawn `"range"`.
    #[must_use]
    pub fn to_json(&self) -> Json {
        let mut values = Map::new();
        for entry in TABLE {
            let value = match &self.0.values[entry.key as usize] {
                Value::Number(number) => json!(number),
                Value::Choice(word) => json!(word),
                Value::Set(words) => json!(words),
            };
            let origin = self.origin(entry.key).text();
            let mut stored = json!({ "value": value, "unit": entry.unit, "origin": origin });
            if let Some(place) = Uncertain::place(entry.key) {
                let Range {
                    low,
                    central,
                    high,
                    spread,
                } = self.range(&RANGES[place]);
                let shape = spread.text();
                stored["range"] =
                    json!({ "low": low, "central": central, "high": high, "shape": shape });
            }
            values.insert(entry.text.to_owned(), stored);
        }
        json!({ "title": self.title(), "values": values })
    }

    /// Reads what [`Assumptions::to_json`] wrote. A key that is not stored (an older run) takes
    /// its default.
    ///
    /// # Errors
    /// `AS01` for an unknown key, `AS02` for a value that is not allowed, `AS03` for another
    /// shape.
    pub fn from_json(stored: &Json) -> Result<Assumptions, Issue> {
        let shape = |what: &str| Issue::new(Code::AS03, format!("stored assumptions: {what}"));
        let mut settings = (*Assumptions::defaults().0).clone();
        settings.title = match stored.get("title") {
            None => String::new(),
            Some(title) => title
                .as_str()
                .ok_or_else(|| shape("title is not text"))?
                .to_owned(),
        };
        let values = stored
            .get("values")
            .and_then(Json::as_object)
            .ok_or_else(|| shape("there is no object `values`"))?;
        for (text, row) in values {
            let key = Key::parse(text)?;
            let typed = row
                .get("value")
                .and_then(typed)
                .ok_or_else(|| shape(&format!("{text} has no usable value")))?;
            let origin = row
                .get("origin")
                .and_then(Json::as_str)
                .and_then(|word| Origin::ALL.into_iter().find(|origin| origin.text() == word))
                .ok_or_else(|| shape(&format!("{text} has no known origin")))?;
            settings
                .put(key, &typed, origin)
                .map_err(|wrong| Issue::new(Code::AS02, wrong))?;
        }
        Ok(Assumptions(Arc::new(settings)))
    }
}

fn typed(value: &Json) -> Option<Typed> {
    match value {
        Json::Number(number) => number.as_f64().map(Typed::Number),
        Json::String(word) => Some(Typed::Word(word.clone())),
        Json::Array(words) => words
            .iter()
            .map(|word| word.as_str().map(str::to_owned))
            .collect::<Option<Vec<String>>>()
            .map(Typed::Words),
        Json::Null | Json::Bool(_) | Json::Object(_) => None,
    }
}
