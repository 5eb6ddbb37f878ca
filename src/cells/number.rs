//! Numbers and days as people write them: with thousands separators, decimal commas, units behind them,
//! words for nothing. What can be read in one way only is read; what can be read in two is refused.
//!
//! # References
//! - BIPM, *The International System of Units*, 9th edition, 2019, section 5.4.4: comma or point as the
//!   decimal marker, spaces between groups of three digits.
//! - ISO 8601-1:2019: dates as year, month, day.

/// Words in place of a number that is not known.
const MISSING: [&str; 13] = [
    "", "-", "--", ".", "na", "n/a", "#n/a", "nan", "null", "<null>", "(null)", "none", "nil",
];
/// Numbers in place of one that is not known, as data loggers and rasters write them.
const MISSING_NUMBERS: [f64; 4] = [-999.0, -9_999.0, -99_999.0, -999_999.0];

/// What a comma between digits means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Comma {
    /// It stands before the decimals.
    Decimal,
    /// It stands between groups of three digits.
    Thousands,
}

/// Why a text is no number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum NoNumber {
    /// It can be read in two ways.
    Ambiguous,
    /// It is something else.
    Other,
}

/// A number, and the unit written behind it, empty without one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Written<'a> {
    pub value: f64,
    pub unit: &'a str,
}

fn is_gap(letter: char) -> bool {
    matches!(
        letter,
        ' ' | '\u{a0}' | '\u{2007}' | '\u{2009}' | '\u{202f}' | '\'' | '’'
    )
}

/// Reads a number; `None` where nothing stands or a word or number for nothing. `comma` is what a comma
/// means where the text alone does not say; `None` where nothing says it.
///
/// # Errors
/// [`NoNumber`]: a comma with three digits behind it is ambiguous, unless `comma` says what it is.
pub(crate) fn read(text: &str, comma: Option<Comma>) -> Result<Option<Written<'_>>, NoNumber> {
    let text = text.trim_matches(|letter: char| letter.is_whitespace() || letter == '\u{a0}');
    if MISSING.iter().any(|word| text.eq_ignore_ascii_case(word)) {
        return Ok(None);
    }
    let plain = |value: f64| Written { value, unit: "" };
    let found = match text.parse::<f64>() {
        Ok(value) if value.is_finite() && comma != Some(Comma::Decimal) => plain(value),
        Ok(value) if value.is_finite() && !is_grouped(text, '.') => plain(value),
        Ok(value) if value.is_finite() => return Err(NoNumber::Ambiguous),
        Ok(_) => return Err(NoNumber::Other),
        Err(_) => {
            let end = text
                .char_indices()
                .find(|&(_, c)| !(c.is_ascii_digit() || is_gap(c) || "+-.,".contains(c)))
                .map_or(text.len(), |(at, _)| at);
            let (digits, unit) = text.split_at(end);
            let unit = unit.trim();
            // Digits behind it: a date, a list, an exponent with a unit.
            let is_unit = |c: char| !c.is_ascii_digit() || "23".contains(c);
            if !unit.chars().all(is_unit) {
                return Err(NoNumber::Other);
            }
            let value = numeral(digits.trim_matches(|c: char| c.is_whitespace()), comma)?;
            Written { value, unit }
        }
    };
    Ok((!MISSING_NUMBERS.contains(&found.value)).then_some(found))
}

/// What the commas of a column mean by this cell; `None` where it does not say.
pub(crate) fn evidence(text: &str) -> Option<Comma> {
    let digits: String = text
        .chars()
        .take_while(|&c| c.is_ascii_digit() || is_gap(c) || "+-.,".contains(c))
        .collect();
    let digits = digits.trim().trim_start_matches(['+', '-']);
    let (commas, points) = (digits.matches(',').count(), digits.matches('.').count());
    match (commas, points) {
        (1, 0) => {
            let grouped = is_grouped(digits, ',') && !digits.starts_with('0');
            (!grouped && is_decimal(digits, ',')).then_some(Comma::Decimal)
        }
        (0, 1) => (!is_grouped(digits, '.') && is_decimal(digits, '.')).then_some(Comma::Thousands),
        (_, 0) if commas > 1 => is_grouped(digits, ',').then_some(Comma::Thousands),
        (0, _) if points > 1 => is_grouped(digits, '.').then_some(Comma::Decimal),
        (_, 1) if digits.rfind('.') > digits.rfind(',') => Some(Comma::Thousands),
        (1, _) if digits.rfind(',') > digits.rfind('.') => Some(Comma::Decimal),
        _ => None,
    }
}

/// Digits on both sides of one mark, or before it.
fn is_decimal(text: &str, mark: char) -> bool {
    let all_digits = |part: &str| part.chars().all(|c| c.is_ascii_digit());
    text.split_once(mark)
        .is_some_and(|(whole, part)| !part.is_empty() && all_digits(whole) && all_digits(part))
}

/// Up to three digits, then groups of exactly three behind each mark; at least one group.
fn is_grouped(text: &str, mark: char) -> bool {
    let mut groups = text.trim_start_matches(['+', '-']).split(mark);
    let first = groups.next().unwrap_or_default();
    let rest: Vec<&str> = groups.collect();
    let digits = |group: &&str| group.chars().all(|c| c.is_ascii_digit());
    (1..=3).contains(&first.len())
        && digits(&first)
        && !rest.is_empty()
        && rest.iter().all(|group| group.len() == 3 && digits(group))
}

fn numeral(text: &str, comma: Option<Comma>) -> Result<f64, NoNumber> {
    let sign = text.starts_with('-');
    let digits = text.strip_prefix(['-', '+']).unwrap_or(text);
    let (commas, points) = (digits.matches(',').count(), digits.matches('.').count());
    let decimal = match (commas, points) {
        (0, 0) => None,
        (0, 1) => Some('.'),
        (1, 0) => match comma {
            _ if !is_grouped(digits, ',') || digits.starts_with('0') => match comma {
                Some(Comma::Decimal) => Some(','),
                _ => return Err(NoNumber::Ambiguous),
            },
            Some(Comma::Decimal) => Some(','),
            Some(Comma::Thousands) => None,
            None => return Err(NoNumber::Ambiguous),
        },
        (_, 0) | (0, _) => None,
        (_, 1) if digits.rfind('.') > digits.rfind(',') => Some('.'),
        (1, _) if digits.rfind(',') > digits.rfind('.') => match comma {
            Some(Comma::Decimal) => Some(','),
            _ => return Err(NoNumber::Ambiguous),
        },
        _ => return Err(NoNumber::Other),
    };
    let (whole, part) = match decimal.and_then(|mark| digits.rsplit_once(mark)) {
        Some((whole, part)) => (whole, part),
        None => (digits, ""),
    };
    let marks: Vec<char> = whole.chars().filter(|c| !c.is_ascii_digit()).collect();
    let mut joined: String = match marks.first() {
        None => whole.to_owned(),
        Some(&mark) if marks.iter().all(|&c| c == mark) && is_grouped(whole, mark) => {
            whole.chars().filter(char::is_ascii_digit).collect()
        }
        Some(_) => return Err(NoNumber::Other),
    };
    if joined.is_empty() && part.is_empty() || !part.chars().all(|c| c.is_ascii_digit()) {
        return Err(NoNumber::Other);
    }
    if !part.is_empty() {
        joined = format!("{joined}.{part}");
    }
    let value: f64 = joined.parse().map_err(|_| NoNumber::Other)?;
    match value.is_finite() {
        true => Ok(if sign { -value } else { value }),
        false => Err(NoNumber::Other),
    }
}

/// In what order the parts of a day stand in a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum DayOrder {
    /// 31/07/2026.
    DayFirst,
    /// 07/31/2026.
    MonthFirst,
}

/// The parts of a day that ends in its year: `31.7.2026`, `7/31/2026 12:00`; and its mark.
fn day_parts(text: &str) -> Option<(u32, u32, u32, char)> {
    let text = text.trim().split(['T', ' ']).next()?;
    let mark = text.chars().find(|c| !c.is_ascii_digit())?;
    let mut parts = text.split(mark);
    let mut part = |digits: std::ops::RangeInclusive<usize>| {
        let part = parts.next()?;
        let fits = digits.contains(&part.len()) && part.bytes().all(|byte| byte.is_ascii_digit());
        fits.then(|| part.parse::<u32>().ok())?
    };
    let found = (part(1..=2)?, part(1..=2)?, part(4..=4)?, mark);
    (parts.next().is_none() && "./-".contains(mark)).then_some(found)
}

/// What the order of a column is by this cell. Points stand after the day.
pub(crate) fn day_order(text: &str) -> Option<DayOrder> {
    match day_parts(text)? {
        (_, _, _, '.') => Some(DayOrder::DayFirst),
        (first, ..) if first > 12 => Some(DayOrder::DayFirst),
        (_, second, ..) if second > 12 => Some(DayOrder::MonthFirst),
        _ => None,
    }
}

/// A day as `2026-07-31`; `None` where the text is none that ends in its year. A day whose parts are
/// equal needs no order.
///
/// # Errors
/// [`NoNumber::Ambiguous`] where the order is not known.
pub(crate) fn iso_day(text: &str, order: Option<DayOrder>) -> Result<Option<String>, NoNumber> {
    let Some((first, second, year, _)) = day_parts(text) else {
        return Ok(None);
    };
    let (day, month) = match order.or(day_order(text)) {
        Some(DayOrder::DayFirst) => (first, second),
        Some(DayOrder::MonthFirst) => (second, first),
        None if first == second => (first, second),
        None => return Err(NoNumber::Ambiguous),
    };
    Ok(Some(format!("{year:04}-{month:02}-{day:02}")))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test fails by panicking")]
mod tests {
    use super::*;

    const NONE: Option<Comma> = None;
    const DECIMAL: Option<Comma> = Some(Comma::Decimal);
    const THOUSANDS: Option<Comma> = Some(Comma::Thousands);

    fn value(text: &str, comma: Option<Comma>) -> Result<Option<f64>, NoNumber> {
        read(text, comma).map(|found| found.map(|found| found.value))
    }

    #[test]
    fn what_can_be_read_in_one_way_is_read() {
        for (text, comma, wanted) in [
            ("12.5", NONE, 12.5),
            (" -3e2 ", NONE, -300.0),
            ("1 234", NONE, 1_234.0),
            ("1\u{a0}234\u{202f}567.5", NONE, 0.0),
            ("1\u{202f}234\u{202f}567.5", NONE, 1_234_567.5),
            ("1'234", NONE, 1_234.0),
            ("1,234,567", NONE, 1_234_567.0),
            ("1,234.5", NONE, 1_234.5),
            ("-1,234.5", THOUSANDS, -1_234.5),
            ("1.234.567", NONE, 1_234_567.0),
            ("35,9", DECIMAL, 35.9),
            ("0,123", DECIMAL, 0.123),
            ("1.234,5", DECIMAL, 1_234.5),
            ("1 234,5", DECIMAL, 1_234.5),
            ("1,234", DECIMAL, 1.234),
            ("1,234", THOUSANDS, 1_234.0),
            (",5", DECIMAL, 0.5),
            ("12.5", DECIMAL, 12.5),
        ] {
            if wanted == 0.0 {
                assert_eq!(
                    value(text, comma),
                    Err(NoNumber::Other),
                    "two marks: {text}"
                );
            } else {
                assert_eq!(value(text, comma), Ok(Some(wanted)), "{text}");
            }
        }
        for text in [
            "", " ", "-", "N/A", "NULL", "null", "-999", "-9999.0", "NaN",
        ] {
            assert_eq!(value(text, NONE), Ok(None), "{text}");
        }
    }

    #[test]
    fn what_can_be_read_in_two_is_refused() {
        for (text, comma) in [
            ("1,234", NONE),
            ("35,9", NONE),
            ("35,9", THOUSANDS),
            ("1.234,5", NONE),
            ("1.234", DECIMAL),
        ] {
            assert_eq!(
                value(text, comma),
                Err(NoNumber::Ambiguous),
                "{text} {comma:?}"
            );
        }
        for text in [
            "many",
            "12 34",
            "1,23,456",
            "1.2.3",
            "2026-07-31",
            "3-4",
            "inf",
            "1e999",
            "--3",
        ] {
            assert!(matches!(value(text, NONE), Err(NoNumber::Other)), "{text}");
        }
    }

    #[test]
    fn units_stand_behind_the_number() {
        for (text, value, unit) in [
            ("12 ft", 12.0, "ft"),
            ("12ft", 12.0, "ft"),
            ("1,234.5 gal/min", 1_234.5, "gal/min"),
            ("3 m3", 3.0, "m3"),
            ("-4.5°", -4.5, "°"),
        ] {
            assert_eq!(
                read(text, NONE),
                Ok(Some(Written { value, unit })),
                "{text}"
            );
        }
    }

    #[test]
    fn a_column_says_what_its_commas_are() {
        for (text, wanted) in [
            ("35,9", DECIMAL),
            ("0,123", DECIMAL),
            ("1.234,5", DECIMAL),
            ("12.5", THOUSANDS),
            ("1,234,567", THOUSANDS),
            ("1,234.5", THOUSANDS),
            ("1,234", NONE),
            ("1.234", NONE),
            ("7", NONE),
            ("n/a", NONE),
        ] {
            assert_eq!(evidence(text), wanted, "{text}");
        }
    }

    #[test]
    fn days_in_local_order() {
        let iso = |text: &str, order| iso_day(text, order);
        assert_eq!(iso("31.7.2026", None), Ok(Some("2026-07-31".to_owned())));
        assert_eq!(
            iso("07/31/2026 00:00", None),
            Ok(Some("2026-07-31".to_owned()))
        );
        assert_eq!(iso("3/4/2026", None), Err(NoNumber::Ambiguous));
        assert_eq!(iso("4/4/2026", None), Ok(Some("2026-04-04".to_owned())));
        let order = Some(DayOrder::MonthFirst);
        assert_eq!(iso("3/4/2026", order), Ok(Some("2026-03-04".to_owned())));
        assert_eq!(iso("2026-03-04", order), Ok(None));
        assert_eq!(
            iso("3/4/26", order),
            Ok(None),
            "a year of two digits is none"
        );
    }
}
