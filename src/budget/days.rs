//! Which days a station may water on: a rule names weekdays or every other date, the soil says how
//! far apart the waterings of a station may lie.

use crate::assumptions::{Assumptions, Key};

/// Names of the weekdays, as the program file has them.
const WEEKDAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];
/// Dates after which every pattern of a rule by dates begins anew: a station takes every one, every
/// second or every third of the dates allowed.
const DATES: u32 = 6;
/// Every other date is that many watering days a week.
const DATES_PER_WEEK: f64 = 3.5;
/// Guards whole numbers against rounding.
const ROUNDING: f64 = 1e-9;

/// The days on which watering is allowed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AllowedDays {
    /// Some weekdays, Monday first.
    Weekdays([bool; 7]),
    /// Every other date.
    EveryOther,
}

/// The days on which a station waters, a bit a day: weekdays from Monday, or the place among the
/// dates allowed, by the rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct DaySet(u8);

impl DaySet {
    /// One day, where all stations share it.
    pub(super) const ONE: DaySet = DaySet(1);
    /// The days one by one.
    pub(super) const EACH: [DaySet; 7] = [
        DaySet(1),
        DaySet(2),
        DaySet(4),
        DaySet(8),
        DaySet(16),
        DaySet(32),
        DaySet(64),
    ];

    /// The days of both.
    #[must_use]
    pub fn with(self, other: DaySet) -> DaySet {
        DaySet(self.0 | other.0)
    }

    /// Whether two stations ever water on one day.
    #[must_use]
    pub fn meets(self, other: DaySet) -> bool {
        self.0 & other.0 != 0
    }

    /// Places of its days.
    pub fn iter(self) -> impl Iterator<Item = usize> {
        (0..8).filter(move |day| self.0 >> day & 1 == 1)
    }
}

impl AllowedDays {
    /// The days that are assumed.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> AllowedDays {
        if assumptions.choice(Key::RestrictionDayRule) == "odd-even" {
            return AllowedDays::EveryOther;
        }
        let allowed = assumptions.set(Key::RestrictionDays);
        AllowedDays::Weekdays(WEEKDAYS.map(|day| allowed.contains(&day)))
    }

    /// Watering days a week, at most.
    #[must_use]
    pub fn per_week(self) -> f64 {
        match self {
            AllowedDays::Weekdays(days) => days.iter().filter(|day| **day).count() as f64,
            AllowedDays::EveryOther => DATES_PER_WEEK,
        }
    }

    /// The sets of days on which a station may water that needs `days_per_week` of them, the most
    /// even first, then in the order of the week.
    ///
    /// By weekdays a set has as many days as the station needs, and may run the soil no lower than
    /// the larger of two depths, in days of demand: what the root zone lends without harm
    /// (`interval_days`), and what the most even spread of as many days over a whole week takes.
    /// Where the rule allows no such set, the most even of those that it allows are taken. By dates a
    /// station waters on every k-th date allowed, `k = floor(3.5 / days_per_week)`, at most 3.
    #[must_use]
    pub fn sets(self, days_per_week: f64, interval_days: u32) -> Vec<DaySet> {
        if days_per_week <= 0.0 {
            return Vec::new();
        }
        match self {
            AllowedDays::EveryOther => {
                let every = (DATES_PER_WEEK / days_per_week + ROUNDING).floor();
                let every = every.clamp(1.0, 3.0) as u32;
                let of = |first: u32| (first..DATES).step_by(every as usize);
                let bits = |first: u32| of(first).fold(0, |bits, date| bits | 1 << date);
                (0..every).map(|first| DaySet(bits(first))).collect()
            }
            AllowedDays::Weekdays(days) => {
                let allowed = (0..7).fold(0_u8, |bits, day| bits | u8::from(days[day]) << day);
                let wanted = (days_per_week - ROUNDING).ceil() as u32;
                let wanted = wanted.clamp(1, allowed.count_ones().max(1));
                let of = |within: u8| -> Vec<(f64, Vec<usize>, DaySet)> {
                    let sets = (1..=within).filter(|bits| bits & !within == 0);
                    let sets = sets.filter(|bits| bits.count_ones() == wanted);
                    let set = |bits| {
                        let set = DaySet(bits);
                        (lowest_days(set), set.iter().collect::<Vec<usize>>(), set)
                    };
                    let mut sets: Vec<_> = sets.map(set).collect();
                    sets.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.1.cmp(&b.1)));
                    sets
                };
                let lowest = |sets: &[(f64, Vec<usize>, DaySet)]| {
                    sets.first().map_or(0.0, |(lowest, ..)| *lowest)
                };
                let own = of(allowed);
                let even = match allowed {
                    0x7f => lowest(&own),
                    _ => lowest(&of(0x7f)),
                };
                let lends = f64::from(interval_days).max(even);
                let most = lends.max(lowest(&own)) + ROUNDING;
                let holds = own.into_iter().filter(|(lowest, ..)| *lowest <= most);
                holds.map(|(.., set)| set).collect()
            }
        }
    }

    /// The days in words: `mon;thu`, `every allowed date`, `allowed date 2 of 3`.
    #[must_use]
    pub fn text(self, set: DaySet) -> String {
        match self {
            AllowedDays::Weekdays(_) => {
                let names = WEEKDAYS.iter().enumerate();
                let names = names.filter(|(day, _)| set.0 >> day & 1 == 1);
                names.map(|(_, name)| *name).collect::<Vec<_>>().join(";")
            }
            AllowedDays::EveryOther => match (set.iter().next(), set.0.count_ones()) {
                (None, _) => String::new(),
                (Some(_), DATES) => "every allowed date".to_owned(),
                (Some(first), count) => format!("allowed date {} of {}", first + 1, DATES / count),
            },
        }
    }
}

/// How low the soil gets before a watering, at most \[days of demand\], when every watering of a
/// week brings the same depth and none overfills the root zone: with gaps g₁ … gₙ and waterings of
/// 7/n days, the largest of `x + g` on the cycle whose smallest x after a watering is 0.
fn lowest_days(set: DaySet) -> f64 {
    let days: Vec<usize> = set.iter().collect();
    let each = 7.0 / days.len().max(1) as f64;
    let next = days.iter().cycle().skip(1);
    let gaps = days.iter().zip(next).map(|(&day, &next)| match next > day {
        true => (next - day) as f64,
        false => (7 + next - day) as f64,
    });
    let (mut after, mut least_after, mut most_before) = (0.0_f64, 0.0_f64, 0.0_f64);
    for gap in gaps {
        most_before = most_before.max(after + gap);
        after += gap - each;
        least_after = least_after.min(after);
    }
    most_before - least_after
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(allowed: AllowedDays, days_per_week: f64, interval_days: u32) -> Vec<String> {
        let sets = allowed.sets(days_per_week, interval_days);
        sets.into_iter().map(|set| allowed.text(set)).collect()
    }

    fn weekdays(names: &str) -> AllowedDays {
        AllowedDays::Weekdays(WEEKDAYS.map(|day| names.contains(day)))
    }

    const ALL: AllowedDays = AllowedDays::Weekdays([true; 7]);

    #[test]
    fn four_days_a_week_are_two_groups_of_two() {
        let rule = weekdays("mon tue thu fri");
        // Gaps of three and four days; tue;thu would leave five.
        assert_eq!(texts(rule, 2.0, 4), ["mon;thu", "mon;fri", "tue;fri"]);
        assert_eq!(rule.per_week(), 4.0);
        // One day each: every gap is a week.
        assert_eq!(texts(rule, 1.0, 3), ["mon", "tue", "thu", "fri"]);
        assert_eq!(texts(rule, 4.0, 1), ["mon;tue;thu;fri"]);
        assert_eq!(texts(rule, 0.0, 1), Vec::<String>::new());
    }

    #[test]
    fn the_most_even_days_come_first() {
        assert_eq!(texts(ALL, 3.0, 2)[0], "mon;wed;fri");
        // Seven turns of the pattern of two, two and three days.
        assert_eq!(texts(ALL, 3.0, 2).len(), 7);
        assert_eq!(texts(ALL, 7.0, 1), ["mon;tue;wed;thu;fri;sat;sun"]);
        // A soil that lends for a week may be watered on any two days.
        assert_eq!(texts(ALL, 2.0, 7).len(), 21);
        // A rule that allows two days in a row alone is kept.
        assert_eq!(texts(weekdays("sat sun"), 2.0, 2), ["sat;sun"]);
    }

    #[test]
    fn how_low_the_soil_gets() {
        let low = |names: &str| match weekdays(names) {
            AllowedDays::Weekdays(days) => lowest_days(DaySet(
                (0..7).fold(0, |bits, day| bits | u8::from(days[day]) << day),
            )),
            AllowedDays::EveryOther => f64::NAN,
        };
        assert!((low("mon") - 7.0).abs() < 1e-12);
        assert!((low("mon thu") - 4.0).abs() < 1e-12);
        // Watered by 3.5 days of demand after one day: 2.5 too many, so it starts that much lower.
        assert!((low("mon tue") - 6.0).abs() < 1e-12);
        assert!((low("mon wed fri") - 3.0).abs() < 1e-12);
        assert!((low("mon tue wed thu fri sat sun") - 1.0).abs() < 1e-12);
        // One, three and three days by hand: 3 + 2/3.
        assert!((low("mon tue fri") - (3.0 + 2.0 / 3.0)).abs() < 1e-12);
    }

    #[test]
    fn by_dates_stations_take_turns() {
        let rule = AllowedDays::EveryOther;
        assert_eq!(texts(rule, 3.5, 2), ["every allowed date"]);
        assert_eq!(texts(rule, 3.0, 2), ["every allowed date"]);
        assert_eq!(
            texts(rule, 1.5, 5),
            ["allowed date 1 of 2", "allowed date 2 of 2"]
        );
        assert_eq!(texts(rule, 1.0, 7).len(), 3);
        let sets = rule.sets(1.0, 7);
        assert!(!sets[0].meets(sets[1]) && sets[0].meets(sets[0]));
        // Every second and every third date meet.
        assert!(rule.sets(1.5, 5)[1].meets(sets[0]));
    }
}
