//! The climates of a run: one for all, or one for every zone; by months, and by days where they
//! are known.

use super::{DayClimate, YearClimate, is_daily, mean_year, parse_days};
use crate::issue::{Code, Issue};

/// The climate of one zone.
#[derive(Debug, Clone, PartialEq)]
pub struct Zone {
    /// The mean year.
    pub year: YearClimate,
    /// The days that it is the mean of; empty where only months are known.
    pub days: Vec<DayClimate>,
}

/// Every zone of a run.
#[derive(Debug, Clone, PartialEq)]
pub struct Climates {
    zones: Vec<Zone>,
    /// Whether nobody gave it.
    assumed: bool,
}

/// The zone of a place, and how it was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ZoneOf<'a> {
    /// The only one, or the one that was named.
    Known(&'a Zone),
    /// The first, because the place names none or an unknown one.
    First(&'a Zone),
}

impl<'a> ZoneOf<'a> {
    /// The zone.
    #[must_use]
    pub fn zone(self) -> &'a Zone {
        match self {
            ZoneOf::Known(zone) | ZoneOf::First(zone) => zone,
        }
    }
}

impl Climates {
    /// The embedded climate of an invented town, for all.
    #[must_use]
    pub fn assumed() -> Climates {
        Climates {
            zones: vec![of_months(YearClimate::larkmoor())],
            assumed: true,
        }
    }

    /// Reads a table of months ([`YearClimate::parse_table`]) or of days ([`parse_days`]). The
    /// second value says which days are missing and what is doubtful.
    ///
    /// # Errors
    /// As the two readers, and [`mean_year`].
    pub fn parse(text: &str, file: &str) -> Result<(Climates, Vec<Issue>), Issue> {
        if is_daily(text, file)? {
            let (days, gaps) = parse_days(text, file)?;
            let year = mean_year(&days, "").map_err(|issue| issue.in_file(file))?;
            let zones = vec![Zone { year, days }];
            return Ok((Climates::given(zones), gaps));
        }
        let (years, notes) = YearClimate::parse_noted(text, file)?;
        Ok((
            Climates::given(years.into_iter().map(of_months).collect()),
            notes,
        ))
    }

    /// The climates of zones that a layer describes.
    ///
    /// # Errors
    /// `CL01` when there is none.
    pub fn of_years(years: Vec<YearClimate>) -> Result<Climates, Issue> {
        if years.is_empty() {
            return Err(Issue::new(Code::CL01, "no zone has a climate"));
        }
        Ok(Climates::given(years.into_iter().map(of_months).collect()))
    }

    fn given(zones: Vec<Zone>) -> Climates {
        Climates {
            zones,
            assumed: false,
        }
    }

    /// Whether nobody gave a climate.
    #[must_use]
    pub fn is_assumed(&self) -> bool {
        self.assumed
    }

    /// Whether every zone says where its wind comes from.
    #[must_use]
    pub fn has_winds(&self) -> bool {
        self.zones.iter().all(|zone| zone.year.winds(1.0).is_some())
    }

    /// Whether days are known for every zone.
    #[must_use]
    pub fn has_days(&self) -> bool {
        self.zones.iter().all(|zone| !zone.days.is_empty())
    }

    /// The zones in the order of the table; at least one.
    #[must_use]
    pub fn zones(&self) -> &[Zone] {
        &self.zones
    }

    /// The zone of a name, letter case ignored. With one zone, it is that one.
    #[must_use]
    pub fn of(&self, name: Option<&str>) -> ZoneOf<'_> {
        // Every constructor puts at least one zone in.
        let first = &self.zones[0];
        if self.zones.len() == 1 {
            return ZoneOf::Known(first);
        }
        let named = name.and_then(|name| {
            self.zones
                .iter()
                .find(|zone| zone.year.name.eq_ignore_ascii_case(name.trim()))
        });
        named.map_or(ZoneOf::First(first), ZoneOf::Known)
    }
}

fn of_months(year: YearClimate) -> Zone {
    Zone {
        year,
        days: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_in_the_zone_that_it_names() {
        let mut text = "zone,month,eto_mm,rain_mm\n".to_owned();
        for month in 1..=12 {
            text += &format!("Hill,{month},80,50\ncoast,{month},70,40\n");
        }
        let (climates, gaps) = Climates::parse(&text, "c").unwrap();
        assert!(gaps.is_empty() && !climates.is_assumed() && !climates.has_days());
        let name = |zone: ZoneOf<'_>| zone.zone().year.name.clone();
        assert!(matches!(climates.of(Some("hill ")), ZoneOf::Known(_)));
        assert_eq!(name(climates.of(Some("COAST"))), "coast");
        assert!(matches!(climates.of(None), ZoneOf::First(_)));
        assert!(matches!(climates.of(Some("moon")), ZoneOf::First(_)));
        assert_eq!(name(climates.of(None)), "Hill");
        let alone = Climates::assumed();
        assert!(alone.is_assumed());
        assert!(matches!(alone.of(Some("moon")), ZoneOf::Known(_)));
        assert_eq!(Climates::of_years(Vec::new()).unwrap_err().code, Code::CL01);
    }
}
