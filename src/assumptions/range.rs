//! How far an assumption may be off: low, central and high value, and the shape between them.
//!
//! Only assumptions that bear on savings and that are not a matter of choice have a range. The
//! central value is the one that holds; where it is not the default, low and high keep their
//! distance from it (their ratio, for [`Spread::Ratio`]) within the bounds of the table. A value
//! that a parcel's attribute gives is a measurement and has no range.

use super::{Assumptions, Key, Kind, Origin};

/// How a number varies between its low and its high value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Spread {
    /// Every value is as likely as any other; the central value is not used.
    Uniform,
    /// A triangle with its peak at the central value.
    Triangular,
    /// The logarithm is a triangle with its peak at that of the central value; for numbers above 0.
    Ratio,
}

impl Spread {
    /// The word that is printed.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Spread::Uniform => "uniform",
            Spread::Triangular => "triangular",
            Spread::Ratio => "triangular in the logarithm",
        }
    }
}

/// A number that is not known exactly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// Lowest value.
    pub low: f64,
    /// Central value.
    pub central: f64,
    /// Highest value.
    pub high: f64,
    /// How it varies between them.
    pub spread: Spread,
}

impl Range {
    /// A number that is known.
    #[must_use]
    pub fn exact(value: f64) -> Range {
        Range {
            low: value,
            central: value,
            high: value,
            spread: Spread::Triangular,
        }
    }

    /// The value that a fraction `u` of all draws stays below. A range without width gives its
    /// central value.
    #[must_use]
    pub fn quantile(&self, u: f64) -> f64 {
        let Range {
            low, central, high, ..
        } = *self;
        if high - low <= 0.0 {
            return central;
        }
        match self.spread {
            Spread::Uniform => low + u * (high - low),
            Spread::Triangular => triangular(low, central, high, u),
            Spread::Ratio => {
                let [low, central, high] = [low, central, high].map(libm::log);
                libm::exp(triangular(low, central, high, u))
            }
        }
    }
}

fn triangular(low: f64, central: f64, high: f64, u: f64) -> f64 {
    let width = high - low;
    let peak = ((central - low) / width).clamp(0.0, 1.0);
    if u < peak {
        low + (u * peak).sqrt() * width
    } else {
        high - ((1.0 - u) * (1.0 - peak)).sqrt() * width
    }
}

/// Whether parcels share what an assumption turns out to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scope {
    /// One draw holds for all parcels: it is wrong everywhere alike.
    Common,
    /// Every parcel has draws of its own.
    Own,
}

impl Scope {
    /// The words that are printed.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Scope::Common => "common to all parcels",
            Scope::Own => "each parcel its own",
        }
    }
}

/// One row of the table of ranges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Uncertain {
    /// Which assumption.
    pub key: Key,
    /// Low and high value beside the default.
    pub low_high: (f64, f64),
    /// The shape between them.
    pub spread: Spread,
    /// Whether parcels share it.
    pub scope: Scope,
    /// Where the range comes from.
    pub source: &'static str,
}

macro_rules! ranges {
    ($($key:ident $low:literal..$high:literal $spread:ident $scope:ident $source:literal;)*) => {
        /// The assumptions with a range, in the order of their coordinates in a draw.
        pub const RANGES: &[Uncertain] = &[
            $(Uncertain {
                key: Key::$key,
                low_high: ($low, $high),
                spread: Spread::$spread,
                scope: Scope::$scope,
                source: $source,
            },)*
        ];
    };
}

// Each row: key low..high shape scope "source".
ranges! {
    ClimateEtoScale 0.92..1.08 Triangular Common
        "methods and stations differ by 5 to 10 %: FAO Paper 56, from memory";
    ClimateRainScale 0.7..1.3 Triangular Common
        "choice of this program: methods of effective rain differ by about as much; no source";
    PlantFactorCool 0.7..0.9 Triangular Common
        "crop coefficients of cool-season turf between 0.7 and 0.95, from memory";
    PlantFactorWarm 0.5..0.7 Triangular Common
        "crop coefficients of warm-season turf between 0.5 and 0.75, from memory";
    WaterDriftFrac 0.02..0.10 Triangular Common
        "choice of this program: still night to light wind; no source";
    WaterDriftSprayExtra 0.0..0.05 Triangular Common
        "no measurement on turf is known: none to 5 %";
    WaterRunoffMost 0.15..0.45 Triangular Common
        "choice of this program; no source";
    DegradationNozzleSpray 0.375..0.439 Triangular Common
        "quarter circles of fixed arc (DU 0.52) and of adjustable arc (0.44): ASAE paper 032024 (abstract), less the drawing of the test, CV 0.046";
    DegradationNozzleRotary 0.20..0.40 Triangular Common
        "inferred, no field test: from a trade article's DU 0.70 for the whole to no gain over fixed sprays; drawn apart from the others";
    DegradationNozzleRotor 0.26..0.42 Triangular Common
        "DU 0.66 to 0.46 by make: trade article on the tests of Baum, Dukes and Miller, less the drawing, CV 0.046";
    DegradationInstall 0.11..0.155 Triangular Common
        "installation and wear together CV 0.15 to 0.21, about the two pairs of means of Baum, Dukes and Miller 2005";
    DegradationWear 0.10..0.14 Triangular Common
        "its share of the same: together 0.15 to 0.21";
    DegradationWearAfter 0.5..1.0 Triangular Common
        "0.5: wear comes back evenly over the life; 1: at once; choice of this program";
    DegradationPressure 0.05..0.15 Triangular Common
        "common practice, no source: 10 to 30 % of pressure along a station";
    DegradationRegulated 0.02..0.05 Triangular Common
        "common practice, no source: flow held within 3 to 8 %";
    DegradationWind 0.0..0.10 Triangular Common
        "choice of this program: none in still nights, twice the central value at breezy places; no source";
    SavingsRealisation 0.65..0.95 Triangular Common
        "choice of this program; no source";
    SavingsRealisationClock 0.3..0.7 Triangular Common
        "common practice 0.3 to 0.7, no source";
    SavingsFreeRiders 0.1..0.3 Triangular Common
        "common practice 0.1 to 0.3, no source";
    SavingsDecay 0.02..0.08 Triangular Common
        "common practice 2 to 8 % a year, no source";
    SavingsLife 5.0..8.0 Triangular Common
        "common practice 5 to 8 years, no source";
    ClockMinutes 6.0..14.0 Triangular Own
        "common practice, no source; bears only where clock.follows is clock";
    ClockDays 2.0..5.0 Triangular Own
        "common practice, no source";
    MeterOutdoorScale 0.85..1.15 Triangular Own
        "choice of this program: watering in winter and guests in summer; no source";
    SoilIntakeMultiplier 0.4..2.5 Ratio Own
        "choice of this program inside compaction (0.1 to 0.5) and channels of turf roots (1.5 to 3): common practice, no source";
    CostLabour 45.0..90.0 Triangular Common
        "choice of this program: three quarters to one and a half of the round number; no source";
    CostNozzle 4.0..10.0 Triangular Common
        "choice of this program: open ground to overgrown heads; no source";
    CostBody 12.0..35.0 Triangular Common
        "choice of this program: soft ground to roots and stones; no source";
    CostTrench 4.0..12.0 Triangular Common
        "choice of this program: vibratory plough to hand digging; no source";
    CostValve 40.0..100.0 Triangular Common
        "choice of this program; no source";
    CostPartsScale 0.75..1.3 Triangular Common
        "choice of this program: trade against retail prices; no source";
    LivesBody 10.0..15.0 Triangular Common
        "common practice 10 to 15 years, no source";
    LivesPipe 20.0..40.0 Triangular Common
        "choice of this program; no source";
}

impl Uncertain {
    /// Its place in [`RANGES`].
    #[must_use]
    pub fn place(key: Key) -> Option<usize> {
        RANGES.iter().position(|row| row.key == key)
    }

    fn default_and_bounds(&self) -> (f64, f64, f64) {
        match self.key.entry().kind {
            Kind::Number { default, low, high } => (default, low, high),
            // A test reads every row: only numbers have ranges.
            Kind::Choice(_) | Kind::Set(_) => (0.0, 0.0, 0.0),
        }
    }
}

impl Assumptions {
    /// The range of an assumption about the value that holds, narrowed or widened by
    /// `savings.range_width`.
    #[must_use]
    pub fn range(&self, row: &Uncertain) -> Range {
        let central = self.number(row.key);
        let width = self.number(Key::SavingsRangeWidth);
        if self.origin(row.key) == Origin::Parcel || width <= 0.0 {
            return Range::exact(central);
        }
        let (default, least, most) = row.default_and_bounds();
        let (low, high) = row.low_high;
        let about = |edge: f64| match row.spread {
            Spread::Ratio => central * libm::pow(edge / default, width),
            Spread::Uniform | Spread::Triangular => central + width * (edge - default),
        };
        Range {
            low: about(low).clamp(least, central),
            central,
            high: about(high).clamp(central, most),
            spread: row.spread,
        }
    }

    /// The ranges of all rows of [`RANGES`], in their order.
    #[must_use]
    pub fn ranges(&self) -> Vec<Range> {
        RANGES.iter().map(|row| self.range(row)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_range_holds_the_default_and_keeps_the_bounds() {
        let run = Assumptions::defaults();
        assert!(RANGES.len() >= 15);
        for (place, row) in RANGES.iter().enumerate() {
            let text = row.key.text();
            let Kind::Number { default, low, high } = row.key.entry().kind else {
                panic!("{text} is not a number")
            };
            let (from, to) = row.low_high;
            assert!(
                low <= from && from <= default && default <= to && to <= high,
                "{text}"
            );
            assert!(from < to && row.source.len() > 10, "{text}");
            assert!(row.spread != Spread::Ratio || from > 0.0, "{text}");
            assert_eq!(
                Uncertain::place(row.key),
                Some(place),
                "{text} stands twice"
            );
            let range = run.range(row);
            assert_eq!(
                (range.low, range.central, range.high),
                (from, default, to),
                "{text}"
            );
        }
    }

    #[test]
    fn a_range_follows_its_value_and_ends_at_the_bounds() {
        let run = Assumptions::defaults()
            .with_setting("degradation.install_cv=0.2")
            .unwrap()
            .with_setting("savings.realisation_frac=0.9")
            .unwrap();
        let of = |run: &Assumptions, key: Key| run.range(&RANGES[Uncertain::place(key).unwrap()]);
        let install = of(&run, Key::DegradationInstall);
        assert!((install.low - 0.17).abs() < 1e-12 && (install.high - 0.215).abs() < 1e-12);
        let realised = of(&run, Key::SavingsRealisation);
        assert!((realised.low - 0.75).abs() < 1e-12 && realised.high == 1.0);
        let halved = run.with_setting("soil.intake_multiplier=0.5").unwrap();
        let intake = of(&halved, Key::SoilIntakeMultiplier);
        assert!((intake.low - 0.2).abs() < 1e-12 && (intake.high - 1.25).abs() < 1e-12);
        let sure = run.with_setting("savings.range_width=0").unwrap();
        for row in RANGES {
            let central = sure.number(row.key);
            assert_eq!(sure.range(row), Range::exact(central));
            assert_eq!(sure.range(row).quantile(0.3), central);
        }
    }

    #[test]
    fn quantiles_follow_the_shape() {
        let range = |spread| Range {
            low: 1.0,
            central: 2.0,
            high: 4.0,
            spread,
        };
        // A triangle from 1 over 2 to 4: a third of it lies below its peak.
        let triangle = range(Spread::Triangular);
        assert!((triangle.quantile(1.0 / 3.0) - 2.0).abs() < 1e-12);
        assert_eq!((triangle.quantile(0.0), triangle.quantile(1.0)), (1.0, 4.0));
        assert_eq!(range(Spread::Uniform).quantile(0.5), 2.5);
        // In the logarithm 1, 2, 4 is an even-sided triangle.
        assert!((range(Spread::Ratio).quantile(0.5) - 2.0).abs() < 1e-12);
    }
}
