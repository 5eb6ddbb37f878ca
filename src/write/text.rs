//! Numbers and cells as text, the same in every format.

/// A number rounded once to a count of decimals, without trailing zeros and never `-0`; `None` for
/// NaN and infinities.
///
/// The rounding is that of the exact binary value, ties to even, so it is the same on every machine.
#[must_use]
pub fn rounded(value: f64, decimals: usize) -> Option<String> {
    if !value.is_finite() {
        return None;
    }
    let mut text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    }
    Some(if text == "-0" { "0".to_owned() } else { text })
}

/// A number in the fewest digits that read back as the same number; never `-0`. `None` for NaN and
/// infinities.
#[must_use]
pub fn shortest(value: f64) -> Option<String> {
    // Adding zero turns -0 into 0 and leaves every other number as it is.
    value.is_finite().then(|| format!("{}", value + 0.0))
}

/// The text as a JSON string, quotes included.
#[must_use]
pub fn json_string(text: &str) -> String {
    serde_json::Value::String(text.to_owned()).to_string()
}

/// The text as one cell of a CSV file (RFC 4180).
///
/// Spreadsheets run a cell as a formula when it begins with `=`, `+`, `-`, `@`, tab or carriage
/// return; such a text gets an apostrophe in front. Numbers do not come through here.
///
/// # References
/// - OWASP Foundation, *CSV Injection* (web page, read 2024).
#[must_use]
pub fn csv_cell(text: &str) -> String {
    let guarded = match text.chars().next() {
        Some('=' | '+' | '-' | '@' | '\t' | '\r') => format!("'{text}"),
        _ => text.to_owned(),
    };
    if guarded.contains([',', '"', '\n', '\r'])
        || guarded.starts_with(' ')
        || guarded.ends_with(' ')
    {
        format!("\"{}\"", guarded.replace('"', "\"\""))
    } else {
        guarded
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_rounded_once_and_have_no_minus_zero() {
        for (value, decimals, text) in [
            (1.0, 3, "1"),
            (12.345_678, 3, "12.346"),
            (-0.0, 2, "0"),
            (-0.004, 2, "0"),
            (-0.006, 2, "-0.01"),
            (100.0, 0, "100"),
            (1e-9, 8, "0"),
            (123_456_789.125, 2, "123456789.12"),
        ] {
            assert_eq!(rounded(value, decimals).as_deref(), Some(text));
        }
        assert_eq!(rounded(f64::NAN, 2), None);
        assert_eq!(rounded(f64::INFINITY, 2), None);
    }

    #[test]
    fn the_shortest_text_reads_back_bit_by_bit() {
        for value in [
            0.1 + 0.2,
            -77.165_432_198_765_43,
            1e-7,
            5e-324,
            1.7e300,
            3.0,
        ] {
            let text = shortest(value).unwrap();
            assert_eq!(
                text.parse::<f64>().unwrap().to_bits(),
                value.to_bits(),
                "{text}"
            );
            assert!(
                serde_json::from_str::<serde_json::Value>(&text).is_ok(),
                "{text}"
            );
        }
        assert_eq!(shortest(-0.0).as_deref(), Some("0"));
        assert_eq!(shortest(f64::NEG_INFINITY), None);
    }

    #[test]
    fn a_cell_cannot_become_a_formula() {
        for (text, cell) in [
            ("00017", "00017"),
            ("=1+1", "'=1+1"),
            ("+49", "'+49"),
            ("-5", "'-5"),
            ("@a", "'@a"),
            ("\tx", "'\tx"),
            ("a,b", "\"a,b\""),
            ("say \"x\"", "\"say \"\"x\"\"\""),
            ("=A1,\"b\"", "\"'=A1,\"\"b\"\"\""),
            ("", ""),
        ] {
            assert_eq!(csv_cell(text), cell);
        }
    }
}
