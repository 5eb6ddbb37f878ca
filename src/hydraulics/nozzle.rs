//! What a head does at a pressure: flow, throw, regulation, mist.
//!
//! # References
//! - Keller, J. and Bliesner, R. D., *Sprinkle and Trickle Irrigation*, Van Nostrand Reinhold,
//!   1990, ch. 5 and 6 (flow through an orifice, throw and pressure; from memory).
//! - US EPA, *WaterSense Specification for Spray Sprinkler Bodies*, version 1.0, 2017 (regulation).

use crate::assumptions::{Assumptions, Key};
use crate::catalogue::{CurvePoint, Family};

/// How far a pressure lies from those at which a nozzle works properly.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Working {
    /// No pressure at all: nothing comes out.
    Dry,
    /// Below the lowest working pressure.
    Below,
    /// Within the range.
    Within,
    /// Above the highest working pressure: the stream breaks into mist.
    Above,
}

/// Flow and throw of a family's nozzles against pressure, relative to the rated ones.
///
/// By exponents: `q/q_r = (P/P_r)^x`; `R/R_r = (P/P_r)^e` up to the rated pressure and 1 above it,
/// where a longer jet is lost to mist. By a table: linear between its points; outside of it the
/// same laws from its ends. Holds within the working range; beyond it the laws go on, and
/// [`Response::working`] says so.
#[derive(Debug, Clone, Copy)]
pub struct Response<'f> {
    rated_kpa: f64,
    working_kpa: (f64, f64),
    flow_exponent: f64,
    throw_exponent: f64,
    curve: &'f [CurvePoint],
}

impl<'f> Response<'f> {
    /// The response of a family.
    #[must_use]
    pub fn of(family: &'f Family) -> Response<'f> {
        Response {
            rated_kpa: family.rated.kpa(),
            working_kpa: (family.working.0.kpa(), family.working.1.kpa()),
            flow_exponent: family.flow_exponent,
            throw_exponent: family.throw_exponent,
            curve: &family.curve,
        }
    }

    /// The pressure at which flows and throws are rated \[kPa\].
    #[must_use]
    pub fn rated_kpa(&self) -> f64 {
        self.rated_kpa
    }

    /// The lowest working pressure \[kPa\].
    #[must_use]
    pub fn least_kpa(&self) -> f64 {
        self.working_kpa.0
    }

    /// Exponent x of the flow where no table of pressures was given; `None` with a table.
    #[must_use]
    pub fn pure_exponent(&self) -> Option<f64> {
        self.curve.is_empty().then_some(self.flow_exponent)
    }

    /// Flow at a pressure as a multiple of the rated flow; 0 without pressure.
    #[must_use]
    pub fn flow_factor(&self, nozzle_kpa: f64) -> f64 {
        self.factor(nozzle_kpa, |point| point.flow_factor, self.flow_exponent)
    }

    /// Throw at a pressure as a multiple of the rated throw; 0 without pressure.
    #[must_use]
    pub fn throw_factor(&self, nozzle_kpa: f64) -> f64 {
        if self.curve.is_empty() && nozzle_kpa >= self.rated_kpa {
            return 1.0;
        }
        let last = self.curve.last().map_or(f64::INFINITY, |last| last.kpa);
        self.factor(
            nozzle_kpa.min(last),
            |point| point.throw_factor,
            self.throw_exponent,
        )
    }

    fn factor(&self, kpa: f64, read: impl Fn(&CurvePoint) -> f64, exponent: f64) -> f64 {
        if kpa <= 0.0 {
            return 0.0;
        }
        let scaled = |from_kpa: f64, factor: f64| factor * libm::pow(kpa / from_kpa, exponent);
        let (Some(first), Some(last)) = (self.curve.first(), self.curve.last()) else {
            return scaled(self.rated_kpa, 1.0);
        };
        if kpa <= first.kpa {
            return scaled(first.kpa, read(first));
        }
        if kpa >= last.kpa {
            return scaled(last.kpa, read(last));
        }
        let after = self.curve.partition_point(|point| point.kpa < kpa);
        let (low, high) = (&self.curve[after - 1], &self.curve[after]); // first < kpa < last
        let share = (kpa - low.kpa) / (high.kpa - low.kpa);
        read(low) + share * (read(high) - read(low))
    }

    /// The pressure at which the flow is a multiple of the rated one, and its slope \[kPa, kPa to a
    /// rated flow\]: the inverse of [`Response::flow_factor`]; 0 without flow. Where a table has the
    /// same flow at two pressures it is the lower one.
    #[must_use]
    pub fn kpa_for(&self, flow_factor: f64) -> (f64, f64) {
        if flow_factor <= 0.0 {
            return (0.0, 0.0);
        }
        let scaled = |from_kpa: f64, factor: f64| {
            let kpa = from_kpa * libm::pow(flow_factor / factor, 1.0 / self.flow_exponent);
            (kpa, kpa / flow_factor / self.flow_exponent)
        };
        let (Some(first), Some(last)) = (self.curve.first(), self.curve.last()) else {
            return scaled(self.rated_kpa, 1.0);
        };
        if flow_factor <= first.flow_factor {
            return scaled(first.kpa, first.flow_factor);
        }
        if flow_factor > last.flow_factor {
            return scaled(last.kpa, last.flow_factor);
        }
        let after = self
            .curve
            .partition_point(|point| point.flow_factor < flow_factor);
        let (low, high) = (&self.curve[after - 1], &self.curve[after]); // first < factor <= last
        let slope = (high.kpa - low.kpa) / (high.flow_factor - low.flow_factor);
        (low.kpa + slope * (flow_factor - low.flow_factor), slope)
    }

    /// Where a pressure lies in the working range.
    #[must_use]
    pub fn working(&self, nozzle_kpa: f64) -> Working {
        if nozzle_kpa <= 0.0 {
            Working::Dry
        } else if nozzle_kpa < self.working_kpa.0 {
            Working::Below
        } else if nozzle_kpa <= self.working_kpa.1 {
            Working::Within
        } else {
            Working::Above
        }
    }
}

/// The body that carries a nozzle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Body {
    /// Passes the pressure on.
    Plain,
    /// Holds the pressure at the nozzle down to a set one, at the cost of a loss.
    Regulated {
        /// Highest pressure that reaches the nozzle \[kPa\].
        set_kpa: f64,
        /// Loss inside the body \[kPa\].
        loss_kpa: f64,
    },
}

impl Body {
    /// The pressure at the nozzle: `max(0, min(P_in − ΔP, P_set))`; without regulation
    /// `max(0, P_in)` \[kPa\].
    #[must_use]
    pub fn nozzle_kpa(self, inlet_kpa: f64) -> f64 {
        match self {
            Body::Plain => inlet_kpa.max(0.0),
            Body::Regulated { set_kpa, loss_kpa } => (inlet_kpa - loss_kpa).min(set_kpa).max(0.0),
        }
    }

    /// The pressure at the inlet that gives a pressure at the nozzle \[kPa\].
    #[must_use]
    pub fn inlet_for_kpa(self, nozzle_kpa: f64) -> f64 {
        match self {
            Body::Plain => nozzle_kpa,
            Body::Regulated { loss_kpa, .. } => nozzle_kpa + loss_kpa,
        }
    }

    /// Whether the body holds the pressure down at this inlet pressure, so that the flow does not
    /// depend on it.
    #[must_use]
    pub fn is_holding(self, inlet_kpa: f64) -> bool {
        match self {
            Body::Plain => false,
            Body::Regulated { set_kpa, loss_kpa } => inlet_kpa >= set_kpa + loss_kpa,
        }
    }
}

/// Share of the flow that regulation cuts: `1 − (P_set/P)^x`; 0 where the pressure is not above
/// the setting. It saves water only as long as run times stay as they are.
#[must_use]
pub fn flow_cut_frac(kpa: f64, set_kpa: f64, flow_exponent: f64) -> f64 {
    if kpa <= set_kpa {
        0.0
    } else {
        1.0 - libm::pow(set_kpa / kpa, flow_exponent)
    }
}

/// What too much pressure loses to mist.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Misting {
    /// Mist begins at this multiple of the rated pressure.
    pub from_factor: f64,
    /// Share of the flow lost for every 100 kPa above that.
    pub frac_per_100kpa: f64,
    /// Largest share.
    pub most_frac: f64,
}

impl Misting {
    /// What is assumed.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> Misting {
        Misting {
            from_factor: assumptions.number(Key::MistFrom),
            frac_per_100kpa: assumptions.number(Key::MistPer100Kpa),
            most_frac: assumptions.number(Key::MistMost),
        }
    }

    /// Share of the flow that drifts away as mist.
    #[must_use]
    pub fn lost_frac(&self, nozzle_kpa: f64, rated_kpa: f64) -> f64 {
        let above_kpa = (nozzle_kpa - self.from_factor * rated_kpa).max(0.0);
        (self.frac_per_100kpa * above_kpa / 100.0).min(self.most_frac)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Catalogue;

    fn close(found: f64, expected: f64, tolerance: f64) {
        assert!(
            (found - expected).abs() <= tolerance,
            "{found}, not {expected}"
        );
    }

    #[test]
    fn flow_follows_the_pressure_and_throw_stops_growing_at_the_rated_one() {
        let catalogue = Catalogue::generic();
        let spray = Response::of(catalogue.family("spray").unwrap());
        // Ratios of square roots to four digits: 1.4, 3.5 and 5.5 bar over 2.1 bar.
        for (kpa, factor) in [
            (140.0, 0.8165),
            (210.0, 1.0),
            (350.0, 1.2910),
            (550.0, 1.6183),
        ] {
            close(spray.flow_factor(kpa), factor, 5e-5);
        }
        close(spray.throw_factor(105.0), libm::pow(0.5, 0.4), 1e-12);
        for kpa in [210.0, 300.0, 600.0] {
            close(spray.throw_factor(kpa), 1.0, 0.0);
        }
        for kpa in [0.0, -20.0] {
            assert_eq!(
                (spray.flow_factor(kpa), spray.throw_factor(kpa)),
                (0.0, 0.0)
            );
            assert_eq!(spray.working(kpa), Working::Dry);
        }
        let words = [139.9, 140.0, 310.0, 310.1].map(|kpa| spray.working(kpa));
        use Working::{Above, Below, Within};
        assert_eq!(words, [Below, Within, Within, Above]);
    }

    #[test]
    fn a_table_of_pressures_is_met_and_continued() {
        let mut family = Catalogue::generic().families[0].clone();
        let point = |kpa, flow_factor, throw_factor| CurvePoint {
            kpa,
            flow_factor,
            throw_factor,
        };
        family.curve = vec![
            point(150.0, 0.84, 0.9),
            point(210.0, 1.0, 1.0),
            point(300.0, 1.2, 1.04),
        ];
        let response = Response::of(&family);
        close(response.flow_factor(180.0), 0.92, 1e-12);
        close(response.throw_factor(255.0), 1.02, 1e-12);
        close(response.flow_factor(75.0), 0.84 * 0.5_f64.sqrt(), 1e-12);
        close(response.flow_factor(600.0), 1.2 * 2.0_f64.sqrt(), 1e-12);
        close(response.throw_factor(600.0), 1.04, 1e-12);
        assert_eq!(response.pure_exponent(), None);
        // And back, with the slope of the inverse.
        for kpa in [40.0, 150.0, 180.0, 255.0, 300.0, 600.0] {
            let factor = response.flow_factor(kpa);
            close(response.kpa_for(factor).0, kpa, 1e-9);
            let reach = 1e-6;
            let near = |factor| response.kpa_for(factor).0;
            let slope = (near(factor) - near(factor - reach)) / reach;
            close(near(factor - reach) + slope * reach, kpa, 1e-9);
            close(response.kpa_for(factor - reach).1 / slope, 1.0, 1e-4);
        }
        assert_eq!(response.kpa_for(0.0), (0.0, 0.0));
    }

    #[test]
    fn a_regulated_body_holds_and_then_follows() {
        let body = Body::Regulated {
            set_kpa: 210.0,
            loss_kpa: 20.0,
        };
        for (inlet, nozzle) in [(500.0, 210.0), (230.0, 210.0), (200.0, 180.0), (10.0, 0.0)] {
            close(body.nozzle_kpa(inlet), nozzle, 1e-12);
            assert_eq!(body.is_holding(inlet), inlet >= 230.0);
        }
        close(Body::Plain.nozzle_kpa(-5.0), 0.0, 0.0);
        close(body.inlet_for_kpa(210.0), 230.0, 0.0);
    }

    #[test]
    fn mist_begins_late_and_ends_early() {
        let misting = Misting::assumed(&Assumptions::defaults());
        // 1 % of the flow for each 25 kPa above 1.25 times the setting, at most 10 %.
        close(misting.lost_frac(262.5, 210.0), 0.0, 1e-12);
        close(misting.lost_frac(312.5, 210.0), 0.02, 1e-12);
        close(misting.lost_frac(900.0, 210.0), 0.10, 1e-12);
    }
}
