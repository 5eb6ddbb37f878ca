//! What every page for people shares: its frame, colours and numbers.
//!
//! A page is one file that asks for nothing from a network: a content policy says so to the browser
//! too. All text goes through `maud`, which escapes it.

use maud::{DOCTYPE, Markup, PreEscaped, html};
use serde_json::Value;

/// Five steps from little to much. Lightness falls steadily, so that the order shows in grey print
/// and without red or green.
pub const RAMP: [&str; 5] = ["#f4ecc8", "#b9d3ae", "#6fb0a3", "#3a7d97", "#253d74"];
/// What is found in the ground.
pub const FOUND: &str = "#b5533c";
/// What is planned.
pub const PLANNED: &str = "#1f6f8b";
/// Lines and letters.
pub const INK: &str = "#22282b";
/// Letters and lines of less weight.
pub const QUIET: &str = "#5a6468";

/// The caution that stands on every page.
pub const ESTIMATE: &str = "Planning-grade estimate, not a stamped design. Backflow prevention, \
    cross-connection rules, permits, utility location, local codes and licensed practice come first.";

/// The step of the ramp for a share from 0 to 1.
#[must_use]
pub fn ramp(share: f64) -> &'static str {
    // A cast of a negative or missing share saturates at the first step.
    RAMP[((share * RAMP.len() as f64) as usize).min(RAMP.len() - 1)]
}

/// A number with so many decimals and thin spaces between thousands, or a dash.
#[must_use]
pub fn figure(value: Option<f64>, decimals: usize) -> String {
    let Some(value) = value.filter(|value| value.is_finite()) else {
        return "–".to_owned();
    };
    let text = format!("{:.decimals$}", value.abs());
    let (whole, rest) = text.split_at(text.find('.').unwrap_or(text.len()));
    let mut out = String::new();
    if value < 0.0 && text.bytes().any(|digit| (b'1'..=b'9').contains(&digit)) {
        out.push('−');
    }
    for (at, digit) in whole.chars().enumerate() {
        if at > 0 && (whole.len() - at).is_multiple_of(3) {
            out.push('\u{202f}');
        }
        out.push(digit);
    }
    out + rest
}

/// A number with one decimal, or none where it is whole.
#[must_use]
pub fn about(value: Option<f64>) -> String {
    let is_whole = value.is_some_and(|value| (value - value.round()).abs() < 0.05);
    figure(value, usize::from(!is_whole))
}

/// A coordinate of a drawing.
#[must_use]
pub fn at(value: f64) -> String {
    super::text::rounded(value, 2).unwrap_or_else(|| "0".to_owned())
}

/// JSON that may stand inside a script element: nothing in it ends the element or begins another.
#[must_use]
pub fn json_for_script(value: &Value) -> String {
    script_safe(&value.to_string())
}

/// JSON text made safe for a script element.
#[must_use]
pub fn script_safe(json: &str) -> String {
    json.replace('<', "\\u003c")
        .replace('>', "\\u003e")
        .replace('&', "\\u0026")
        .replace('\u{2028}', "\\u2028")
        .replace('\u{2029}', "\\u2029")
}

/// A whole page. Style and script are this program's own text, never data.
#[must_use]
pub fn page(title: &str, style: &str, body: &Markup, script: Option<&str>) -> String {
    let policy = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; \
        img-src data:; base-uri 'none'; form-action 'none'";
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy" content=(policy);
                title { (title) }
                style { (PreEscaped(style)) }
            }
            body {
                (body)
                @if let Some(script) = script { script { (PreEscaped(script)) } }
            }
        }
    }
    .into_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_grouped_and_never_minus_zero() {
        assert_eq!(figure(Some(1_234_567.891), 1), "1\u{202f}234\u{202f}567.9");
        assert_eq!(figure(Some(-0.04), 1), "0.0");
        assert_eq!(figure(Some(-999.5), 1), "−999.5");
        assert_eq!(figure(None, 1), "–");
        assert_eq!(
            (about(Some(4.0)), about(Some(3.5))),
            ("4".to_owned(), "3.5".to_owned())
        );
        assert_eq!(figure(Some(f64::NAN), 0), "–");
    }

    #[test]
    fn data_cannot_end_a_script() {
        let hostile = serde_json::json!({"id": "</script><script>alert(1)</script><!--"});
        let text = json_for_script(&hostile);
        assert!(!text.contains('<') && !text.contains('>'));
        let back: Value = serde_json::from_str(&text).unwrap();
        assert_eq!(back, hostile);
    }

    #[test]
    fn titles_are_escaped() {
        let text = page("<b>\"&", "", &html! { p { "<i>" } }, None);
        assert!(text.contains("<title>&lt;b&gt;&quot;&amp;</title>"));
        assert!(text.contains("<p>&lt;i&gt;</p>"));
    }

    #[test]
    fn the_ramp_has_an_end_on_both_sides() {
        assert_eq!(ramp(-1.0), RAMP[0]);
        assert_eq!(ramp(0.5), RAMP[2]);
        assert_eq!(ramp(1.0), RAMP[4]);
        assert_eq!(ramp(f64::NAN), RAMP[0]);
    }
}
