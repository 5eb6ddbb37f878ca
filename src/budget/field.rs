//! From the drawing to the field: what uniformity a turf area can be expected to measure.
//!
//! A still-air drawing at one pressure is more even than any turf. Independent causes add as
//! variances,
//!
//! `CV² = CV_drawn² + CV_nozzle² + CV_install² + CV_wear² + CV_wind² + CV_pressure²`,
//!
//! and the low quarter of a normal distribution gives `DU_lq = 1 − 1.2711 CV`, not below 0.
//! The nozzle term is of the family; installation and wear are common to all; wind is only what
//! blows beyond the light wind of the tests, which the nozzle term contains.
//!
//! Both sides of every comparison carry installation, wear and wind alike. A cause that the rain
//! field already contains (pressure at each head, wind) leaves the terms on both sides. Wear is
//! treated alike whether the condition of the heads was surveyed or not: visible faults lower the
//! rain of the heads that have them, new hardware wears too, and by default it carries all of the
//! wear variance, so that being new earns nothing.
//!
//! # Where the terms come from
//!
//! Catch-can tests of fixed sprays and of gear-driven rotors (Baum, Dukes and Miller), `CV = (1 −
//! DU) / 1.2711`:
//!
//! | where | heads | DU_lq | CV |
//! |---|---|---|---|
//! | ideal conditions: level, new, right pressure | fixed sprays | 0.49 | 0.401 |
//! | the same, an earlier paper | quarter circles of fixed arc; of adjustable arc | 0.52; 0.44 | 0.378; 0.441 |
//! | the same | gear-driven rotors | 0.55 | 0.354 |
//! | homes in central Florida | fixed sprays | 0.41 | 0.464 |
//! | the same homes | gear-driven rotors | 0.49 | 0.401 |
//!
//! *Nozzle.* Our own drawing of such a test, four quarter circles that throw from the corners of a
//! square to its other corners, has CV 0.046 (test `the_drawing_of_an_ideal_test` in
//! `tests/backcast.rs`). So √(0.401² − 0.046²) = 0.398 belongs to spray nozzles (by arcs 0.375 and
//! 0.439) and √(0.354² − 0.046²) = 0.351 to rotors. What arcs existing nozzles have, fixed or
//! adjustable, no layer says: one value holds for both and the range spans them. For multi-stream
//! rotary nozzles no published before-and-after field test was found; 0.30 is inferred, with a range
//! from 0.20 to 0.40 that holds the spray's own value, so that "no gain" stays possible.
//!
//! *Installation and wear.* Homes add to the ideal in quadrature √(0.464² − 0.401²) = 0.234 (sprays)
//! and √(0.401² − 0.354²) = 0.189 (rotors), their pressure differences included: a pooled variance of
//! 0.045; less 0.10² for pressure, 0.035 is left, CV 0.187, which 0.14 and 0.124 share.
//!
//! *Worked example.* A spray layout drawn at CV 0.15, with a nozzle scatter of 0.371 (had the test
//! been drawn at 0.15 too), installation and wear 0.187, pressure 0.10 and wind 0.05 comes to CV
//! 0.456, DU 0.42. Rotary nozzles on the same bodies, drawn at 0.12, come to 0.390 and 0.505; on
//! regulated ones (0.03) to 0.378 and 0.52.
//!
//! # References
//! - Baum, M. C., Dukes, M. D. and Miller, G. L., "Analysis of residential irrigation
//!   distribution uniformity", Journal of Irrigation and Drainage Engineering 131(4), 2005,
//!   p. 336–341 (abstract read); the earlier paper is ASAE 032024, 2003 (abstract read).
//! - Warrick, A. W., Journal of Irrigation and Drainage Engineering 109(4), 1983, p. 489–495 (from
//!   memory; 1.2711 recomputed from the normal law).

use crate::assumptions::{Assumptions, Key};
use crate::catalogue::{Family, Head, ScatterKind};

/// Low-quarter deficit of a normal distribution per unit of CV: four times the normal density at
/// the lower quartile.
const LOW_QUARTER_PER_CV: f64 = 1.2711;

/// Whether the bodies regulate pressure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Regulation {
    /// They do not, or it is not known.
    #[default]
    Unregulated,
    /// They do.
    Regulated,
}

/// How old the hardware is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Condition {
    /// As it stands in the ground today.
    #[default]
    AsFound,
    /// Repaired or new; counted as a mean over its life.
    Renewed,
}

/// A cause that the rain field may already contain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// The pressure at each head was computed.
    Pressure,
    /// Wind was computed.
    Wind,
}

/// The scatter of the nozzles of a layout.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NozzleScatter {
    /// Whose tests it rests on.
    pub kind: ScatterKind,
    /// What the layout has of the scatter of that kind: 1, unless the catalogue states a value of
    /// the family's own, or heads stand farther apart than their throws are made for. It stays the
    /// same in every draw.
    pub ratio: f64,
}

/// Whether heads stand where their throws are made for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Spacing {
    /// Head to head, or closer.
    HeadToHead,
    /// Farther apart.
    Stretched,
}

impl NozzleScatter {
    /// That of a kind as its tests found it.
    #[must_use]
    pub fn of_kind(kind: ScatterKind) -> NozzleScatter {
        NozzleScatter { kind, ratio: 1.0 }
    }

    /// That of a layout of a family.
    #[must_use]
    pub fn of(
        assumptions: &Assumptions,
        family: &Family,
        heads: &[Head],
        spacing: Spacing,
    ) -> NozzleScatter {
        let kind = family.scatter.kind;
        let tested_cv = Degradation::assumed(assumptions).nozzle_cv(kind);
        let own = family.scatter.own_cv(heads).filter(|_| tested_cv > 0.0);
        let stretch = match spacing {
            Spacing::HeadToHead => 1.0,
            Spacing::Stretched => assumptions.number(Key::DegradationStretched),
        };
        NozzleScatter {
            kind,
            ratio: stretch * own.map_or(1.0, |own_cv| own_cv / tested_cv),
        }
    }
}

/// The terms of degradation, as coefficients of variation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Degradation {
    /// Pressure differences without regulation.
    pub pressure_cv: f64,
    /// Pressure differences with regulation.
    pub pressure_regulated_cv: f64,
    /// Wind in the watering hours beyond that of the tests.
    pub wind_cv: f64,
    /// Scatter of fixed sprays.
    pub nozzle_spray_cv: f64,
    /// Scatter of multi-stream rotary nozzles.
    pub nozzle_rotary_cv: f64,
    /// Scatter of gear-driven rotors.
    pub nozzle_rotor_cv: f64,
    /// What every installation adds, of whatever family.
    pub install_cv: f64,
    /// Wear as found.
    pub wear_cv: f64,
    /// Share of the wear variance that renewed hardware carries over its life.
    pub wear_after_frac: f64,
}

impl Degradation {
    /// The terms that are assumed.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> Degradation {
        Degradation {
            pressure_cv: assumptions.number(Key::DegradationPressure),
            pressure_regulated_cv: assumptions.number(Key::DegradationRegulated),
            wind_cv: assumptions.number(Key::DegradationWind),
            nozzle_spray_cv: assumptions.number(Key::DegradationNozzleSpray),
            nozzle_rotary_cv: assumptions.number(Key::DegradationNozzleRotary),
            nozzle_rotor_cv: assumptions.number(Key::DegradationNozzleRotor),
            install_cv: assumptions.number(Key::DegradationInstall),
            wear_cv: assumptions.number(Key::DegradationWear),
            wear_after_frac: assumptions.number(Key::DegradationWearAfter),
        }
    }

    /// The scatter of a kind of nozzle.
    #[must_use]
    pub fn nozzle_cv(&self, kind: ScatterKind) -> f64 {
        match kind {
            ScatterKind::Spray => self.nozzle_spray_cv,
            ScatterKind::Rotary => self.nozzle_rotary_cv,
            ScatterKind::Rotor => self.nozzle_rotor_cv,
        }
    }

    /// The coefficient of variation to expect in the field from that of the drawing
    /// (population standard deviation over mean). `computed` are the causes that the drawing
    /// already contains; give the same ones on both sides of a comparison.
    #[must_use]
    pub fn cv_field(
        &self,
        cv_drawn: f64,
        nozzle: NozzleScatter,
        regulation: Regulation,
        condition: Condition,
        computed: &[Cause],
    ) -> f64 {
        let unless = |cause: Cause, variance: f64| {
            if computed.contains(&cause) {
                0.0
            } else {
                variance
            }
        };
        let pressure_cv = match regulation {
            Regulation::Unregulated => self.pressure_cv,
            Regulation::Regulated => self.pressure_regulated_cv,
        };
        let wear_share = match condition {
            Condition::AsFound => 1.0,
            Condition::Renewed => self.wear_after_frac,
        };
        let nozzle_cv = nozzle.ratio * self.nozzle_cv(nozzle.kind);
        let variance = cv_drawn * cv_drawn
            + nozzle_cv * nozzle_cv
            + unless(Cause::Pressure, pressure_cv * pressure_cv)
            + unless(Cause::Wind, self.wind_cv * self.wind_cv)
            + self.install_cv * self.install_cv
            + wear_share * self.wear_cv * self.wear_cv;
        variance.sqrt()
    }

    /// The low-quarter distribution uniformity to expect in the field, 0 to 1.
    ///
    /// # Example
    /// ```
    /// use evenfall::assumptions::Assumptions;
    /// use evenfall::budget::{Condition, Degradation, NozzleScatter, Regulation};
    /// use evenfall::catalogue::ScatterKind;
    /// let terms = Degradation::assumed(&Assumptions::defaults());
    /// let spray = NozzleScatter::of_kind(ScatterKind::Spray);
    /// let du = terms.du_lq_field(0.1, spray, Regulation::Unregulated, Condition::AsFound, &[]);
    /// assert!((0.38..=0.44).contains(&du));
    /// ```
    #[must_use]
    pub fn du_lq_field(
        &self,
        cv_drawn: f64,
        nozzle: NozzleScatter,
        regulation: Regulation,
        condition: Condition,
        computed: &[Cause],
    ) -> f64 {
        let cv_field = self.cv_field(cv_drawn, nozzle, regulation, condition, computed);
        (1.0 - LOW_QUARTER_PER_CV * cv_field).clamp(0.0, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SPRAY: NozzleScatter = NozzleScatter {
        kind: ScatterKind::Spray,
        ratio: 1.0,
    };

    fn du(cv_drawn: f64, regulation: Regulation, condition: Condition, computed: &[Cause]) -> f64 {
        Degradation::assumed(&Assumptions::defaults())
            .du_lq_field(cv_drawn, SPRAY, regulation, condition, computed)
    }

    #[test]
    fn the_worked_example_of_the_terms() {
        let terms = Degradation {
            nozzle_spray_cv: 0.371,
            ..Degradation::assumed(&Assumptions::defaults())
        };
        let rotary = NozzleScatter::of_kind(ScatterKind::Rotary);
        for (cv_drawn, nozzle, regulation, cv_field, du_lq) in [
            (0.15, SPRAY, Regulation::Unregulated, 0.456, 0.42),
            (0.12, rotary, Regulation::Unregulated, 0.390, 0.505),
            (0.12, rotary, Regulation::Regulated, 0.378, 0.52),
        ] {
            // The literals carry three and two digits.
            let cv = terms.cv_field(cv_drawn, nozzle, regulation, Condition::AsFound, &[]);
            assert!((cv - cv_field).abs() < 0.0006, "{cv}");
            let du = terms.du_lq_field(cv_drawn, nozzle, regulation, Condition::AsFound, &[]);
            assert!((du - du_lq).abs() < 0.0055, "{du}");
        }
    }

    #[test]
    fn installation_and_wear_share_what_homes_add_to_ideal_conditions() {
        let terms = Degradation::assumed(&Assumptions::defaults());
        let cv = |du: f64| (1.0 - du) / LOW_QUARTER_PER_CV;
        let excess = |home: f64, ideal: f64| cv(home) * cv(home) - cv(ideal) * cv(ideal);
        let pooled = (excess(0.41, 0.49) + excess(0.49, 0.55)) / 2.0;
        let left = (pooled - terms.pressure_cv * terms.pressure_cv).sqrt();
        let both = (terms.install_cv * terms.install_cv + terms.wear_cv * terms.wear_cv).sqrt();
        // Means of DU are given to two digits: 0.01 of DU moves the CV left over by 0.01.
        assert!((left - both).abs() < 0.01, "{left} {both}");
        assert!((both - 0.187).abs() < 0.0005, "{both}");
    }

    #[test]
    fn the_same_drawing_is_the_same_turf_on_both_sides() {
        for cv in [0.0, 0.1, 0.3] {
            let found = du(cv, Regulation::Unregulated, Condition::AsFound, &[]);
            let renewed = du(cv, Regulation::Unregulated, Condition::Renewed, &[]);
            assert_eq!(found, renewed);
        }
    }

    #[test]
    fn every_cause_lowers_uniformity_and_leaves_when_computed() {
        let all = du(0.15, Regulation::Unregulated, Condition::AsFound, &[]);
        for cause in [Cause::Pressure, Cause::Wind] {
            assert!(du(0.15, Regulation::Unregulated, Condition::AsFound, &[cause]) > all);
        }
        assert!(du(0.15, Regulation::Regulated, Condition::AsFound, &[]) > all);
        assert_eq!(
            du(2.0, Regulation::Unregulated, Condition::AsFound, &[]),
            0.0
        );
        let terms = Degradation {
            wear_after_frac: 0.5,
            ..Degradation::assumed(&Assumptions::defaults())
        };
        let of = |nozzle| {
            terms.du_lq_field(
                0.15,
                nozzle,
                Regulation::Unregulated,
                Condition::Renewed,
                &[],
            )
        };
        assert!(of(SPRAY) > all);
        for kind in [ScatterKind::Rotary, ScatterKind::Rotor] {
            assert!(of(NozzleScatter::of_kind(kind)) > of(SPRAY));
        }
    }

    #[test]
    fn a_catalogue_s_own_value_holds_and_a_stretched_layout_pays() {
        let run = Assumptions::defaults();
        let text = crate::catalogue::GENERIC_TOML.replacen(
            "nozzle_cv = \"spray\"",
            "nozzle_cv = 0.199",
            1,
        );
        let catalogue = crate::catalogue::Catalogue::parse(&text, "x.toml").unwrap();
        let family = &catalogue.families[0];
        let head = Head {
            at: crate::shape::Point::new(0.0, 0.0),
            role: crate::catalogue::Role::Kept,
            pattern: crate::catalogue::Pattern::Sector {
                radius_m: 3.0,
                start_deg: 0.0,
                sweep_deg: 90.0,
            },
            nozzle: 0,
            flow: crate::units::Flow::ZERO,
        };
        let heads = [head];
        let of = |spacing| NozzleScatter::of(&run, family, &heads, spacing);
        let own = of(Spacing::HeadToHead);
        assert!((own.ratio - 0.5).abs() < 1e-12, "{}", own.ratio);
        assert!(of(Spacing::Stretched).ratio > own.ratio);
        let none = NozzleScatter::of(&run, family, &[], Spacing::HeadToHead);
        assert_eq!(none, SPRAY);
    }
}
