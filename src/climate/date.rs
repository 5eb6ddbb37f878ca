//! Days of the Gregorian calendar.

/// A day of the Gregorian calendar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Date {
    /// Year, 1 to 9999.
    pub year: u16,
    /// Month, 1 to 12.
    pub month: u8,
    /// Day of the month.
    pub day: u8,
}

impl Date {
    /// Reads `2026-07-31`, with `/` for `-` too; a time of day behind it is ignored.
    #[must_use]
    pub fn parse(text: &str) -> Option<Date> {
        let text = text.split(['T', ' ']).next()?;
        let mut parts = text.split(['-', '/']);
        let year = parts
            .next()?
            .parse()
            .ok()
            .filter(|year| (1..=9_999).contains(year))?;
        let month = parts.next()?.parse().ok()?;
        let day = parts.next()?.parse().ok()?;
        let date = Date { year, month, day };
        let valid = (1..=12).contains(&month) && (1..=days_in(year, month)).contains(&day);
        (valid && parts.next().is_none()).then_some(date)
    }

    /// Day of the year, 1 to 366.
    #[must_use]
    pub fn day_of_year(self) -> u16 {
        (1..self.month)
            .map(|month| u16::from(days_in(self.year, month)))
            .sum::<u16>()
            + u16::from(self.day)
    }

    /// Days since 1 January 1970.
    #[must_use]
    pub fn day_number(self) -> i32 {
        // Years from March on, so that the leap day is the last of its year.
        let march = i32::from(self.month) - 3;
        let (year, month) = if march < 0 {
            (i32::from(self.year) - 1, march + 12)
        } else {
            (i32::from(self.year), march)
        };
        let days_of_years =
            365 * year + year.div_euclid(4) - year.div_euclid(100) + year.div_euclid(400);
        // From March on, months of 31, 30, 31, 30, 31 days add up to 153.
        days_of_years + (153 * month + 2) / 5 + i32::from(self.day) - 719_469
    }

    /// The day of a number of days since 1 January 1970, from year 1 to 9999.
    #[must_use]
    pub fn of_day_number(number: i32) -> Date {
        // Days since 1 March of year 0, in spans of 400, 100, 4 and 1 years.
        let days = number + 719_468;
        let era = days.div_euclid(146_097);
        let day_of_era = days.rem_euclid(146_097);
        let leaps = day_of_era / 1_460 - day_of_era / 36_524 + day_of_era / 146_096;
        let year_of_era = (day_of_era - leaps) / 365;
        let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
        let march = (5 * day_of_year + 2) / 153;
        let day = day_of_year - (153 * march + 2) / 5 + 1;
        let (year, month) = if march < 10 {
            (era * 400 + year_of_era, march + 3)
        } else {
            (era * 400 + year_of_era + 1, march - 9)
        };
        Date {
            year: year.clamp(1, 9_999) as u16,
            month: month as u8,
            day: day as u8,
        }
    }

    /// The day after.
    #[must_use]
    pub fn next(self) -> Date {
        if self.day < days_in(self.year, self.month) {
            Date {
                day: self.day + 1,
                ..self
            }
        } else if self.month < 12 {
            Date {
                month: self.month + 1,
                day: 1,
                ..self
            }
        } else {
            Date {
                year: self.year + 1,
                month: 1,
                day: 1,
            }
        }
    }
}

fn days_in(year: u16, month: u8) -> u8 {
    match month {
        2 if year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400)) => {
            29
        }
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_of_the_calendar() {
        assert_eq!(Date::parse("2024-02-29").unwrap().day_of_year(), 60);
        assert_eq!(Date::parse("2023/12/31").unwrap().day_of_year(), 365);
        assert_eq!(Date::parse("2024-12-31T00:00").unwrap().day_of_year(), 366);
        for bad in [
            "2023-02-29",
            "1900-02-29",
            "2023-13-01",
            "2023-1",
            "2023-1-1-1",
            "0-1-1",
            "x",
            "",
        ] {
            assert_eq!(Date::parse(bad), None, "{bad}");
        }
    }

    #[test]
    fn days_are_numbered_from_1970() {
        let number = |text: &str| Date::parse(text).unwrap().day_number();
        assert_eq!(number("1970-01-01"), 0);
        assert_eq!(number("2000-03-01"), 11_017); // Unix time 951 868 800
        assert_eq!(number("1969-12-31"), -1);
        let mut date = Date::parse("1895-12-30").unwrap();
        for _ in 0..80_000 {
            let next = date.next();
            assert_eq!(next.day_number(), date.day_number() + 1, "{date:?}");
            assert_eq!(Date::of_day_number(next.day_number()), next);
            date = next;
        }
    }

    #[test]
    fn four_centuries_of_days() {
        let mut date = Date {
            year: 1801,
            month: 1,
            day: 1,
        };
        let mut days = 0;
        while date.year < 2201 {
            date = date.next();
            days += 1;
        }
        assert_eq!(days, 146_097);
        assert_eq!(
            date,
            Date {
                year: 2201,
                month: 1,
                day: 1
            }
        );
    }
}
