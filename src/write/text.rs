//! Numbers and cells as text, the same in every format.

use std::fmt::Write;

/// Largest whole number below which every whole number is an `f64`.
const EXACT: f64 = 9_007_199_254_740_992.0;
/// Powers of ten for the decimals of the dictionary.
const POWERS: [f64; 9] = [1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8];

/// Adds a number rounded once to a count of decimals, without trailing zeros and never `-0`, and
/// says whether it could: NaN and infinities add nothing.
///
/// Value · 10^decimals is rounded to a whole number, ties to even, and its digits are set: a few
/// operations that are the same on every machine. Numbers too large for that are set exactly.
pub fn push_rounded(out: &mut String, value: f64, decimals: usize) -> bool {
    if !value.is_finite() {
        return false;
    }
    let scaled = POWERS
        .get(decimals)
        .map(|power| (value * power).round_ties_even());
    let Some(scaled) = scaled.filter(|scaled| scaled.abs() < EXACT) else {
        let text = format!("{value:.decimals$}");
        let short = if text.contains('.') {
            text.trim_end_matches('0').trim_end_matches('.')
        } else {
            &text
        };
        out.push_str(short);
        return true;
    };
    let mut left = scaled.abs() as u64; // a whole number below 2^53
    let mut buffer = [0_u8; 24]; // 16 digits, a point, a sign, and room
    let mut at = buffer.len();
    let mut put = |byte: u8| {
        at -= 1;
        buffer[at] = byte;
    };
    let mut behind_point = decimals;
    let mut keep_zeros = false;
    while behind_point > 0 {
        let digit = (left % 10) as u8;
        left /= 10;
        behind_point -= 1;
        keep_zeros |= digit != 0;
        if keep_zeros {
            put(b'0' + digit);
        }
    }
    if keep_zeros {
        put(b'.');
    }
    loop {
        put(b'0' + (left % 10) as u8);
        left /= 10;
        if left == 0 {
            break;
        }
    }
    if scaled < 0.0 {
        put(b'-');
    }
    out.extend(buffer[at..].iter().map(|&byte| char::from(byte)));
    true
}

/// The number that reads back from what [`push_rounded`] adds; `None` for NaN and infinities.
#[must_use]
pub fn rounded_number(value: f64, decimals: usize) -> Option<f64> {
    let scaled = POWERS
        .get(decimals)
        .map(|power| ((value * power).round_ties_even(), power));
    match scaled.filter(|(scaled, _)| scaled.abs() < EXACT) {
        // Both are exact, so the quotient is the number nearest to the decimal text; adding zero
        // turns -0 into 0.
        Some((scaled, power)) => Some(scaled / power + 0.0),
        None => rounded(value, decimals)?.parse().ok(),
    }
}

/// A number as [`push_rounded`] adds it; `None` for NaN and infinities.
#[must_use]
pub fn rounded(value: f64, decimals: usize) -> Option<String> {
    let mut text = String::new();
    push_rounded(&mut text, value, decimals).then_some(text)
}

/// Adds a number in the fewest digits that read back as the same number, never `-0`, and says
/// whether it could: NaN and infinities add nothing.
pub fn push_shortest(out: &mut String, value: f64) -> bool {
    if value.is_finite() {
        // Adding zero turns -0 into 0 and leaves every other number as it is.
        let written = write!(out, "{}", value + 0.0);
        debug_assert!(written.is_ok(), "a String takes every text");
    }
    value.is_finite()
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
    fn a_rounded_number_is_the_one_that_its_text_reads_as() {
        let mut value = 1e-9;
        let mut seen = 0;
        while value < 1e18 {
            for decimals in 0..9 {
                for sign in [1.0, -1.0] {
                    let text = rounded(sign * value, decimals).unwrap();
                    let number = rounded_number(sign * value, decimals).unwrap();
                    assert_eq!(number.to_bits(), text.parse::<f64>().unwrap().to_bits());
                    assert_eq!(rounded(number, decimals).unwrap(), text);
                    seen += 1;
                }
            }
            value *= 1.37;
        }
        assert!(seen > 3_000);
        assert_eq!(rounded_number(f64::NAN, 2), None);
    }

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
    fn quick_rounding_is_exact_rounding() {
        // Both ways may differ by one last digit where value · 10^decimals is a tie only after its
        // own rounding; none of these is.
        let mut value = 0.123_456_789;
        let mut compared = 0;
        for _ in 0..10_000 {
            value = (value * 997.0_f64 + 0.618_033_988) % 400.0 - 200.0;
            for decimals in 0..=8 {
                let exact: f64 = format!("{value:.decimals$}").parse().unwrap();
                let quick: f64 = rounded(value, decimals).unwrap().parse().unwrap();
                assert_eq!(quick, exact, "{value} {decimals}");
                compared += 1;
            }
        }
        assert_eq!(compared, 90_000);
    }

    #[test]
    fn the_shortest_text_reads_back_bit_by_bit() {
        let shortest = |value: f64| {
            let mut text = String::new();
            push_shortest(&mut text, value).then_some(text)
        };
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
