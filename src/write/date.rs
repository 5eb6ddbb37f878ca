//! The date that stands in files which must have one: never the clock's.

/// The variable that sets the date \[seconds since 1970-01-01 UTC\].
///
/// # References
/// - Reproducible Builds project, *SOURCE_DATE_EPOCH specification*, version 1.1, 2017.
const VARIABLE: &str = "SOURCE_DATE_EPOCH";
const SECONDS_PER_DAY: u64 = 86_400;

/// The date of `SOURCE_DATE_EPOCH`, else the beginning of 1970, as `1970-01-01T00:00:00.000Z`.
#[must_use]
pub fn stamp() -> String {
    let given = std::env::var(VARIABLE).ok();
    let seconds = given.and_then(|text| text.trim().parse::<u64>().ok());
    at(seconds.unwrap_or(0))
}

fn at(seconds: u64) -> String {
    let (mut days, second) = (seconds / SECONDS_PER_DAY, seconds % SECONDS_PER_DAY);
    let mut year = 1970;
    let is_leap = |year: u64| {
        year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400))
    };
    // A year beyond four digits is no date of a file.
    while year < 9_999 && days >= 365 + u64::from(is_leap(year)) {
        days -= 365 + u64::from(is_leap(year));
        year += 1;
    }
    let february = 28 + u64::from(is_leap(year));
    let lengths = [31, february, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let mut month = 1;
    for length in lengths {
        if days < length {
            break;
        }
        days -= length;
        month += 1;
    }
    let (hour, minute) = (second / 3_600, second % 3_600 / 60);
    format!(
        "{year:04}-{month:02}-{:02}T{hour:02}:{minute:02}:{:02}.000Z",
        days + 1,
        second % 60
    )
}

#[cfg(test)]
mod tests {
    use super::at;

    /// 951 782 400 and 1 000 000 000 are well-known dates (POSIX.1-2017, XBD 4.16, gives the
    /// formula that they follow).
    #[test]
    fn seconds_become_dates() {
        assert_eq!(at(0), "1970-01-01T00:00:00.000Z");
        assert_eq!(at(951_782_400), "2000-02-29T00:00:00.000Z");
        assert_eq!(at(1_000_000_000), "2001-09-09T01:46:40.000Z");
        assert_eq!(at(1_735_689_599), "2024-12-31T23:59:59.000Z");
    }
}
