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
