//! What carries the water to the nozzles: pipes, bodies, valves, and what they cost.

use serde::Deserialize;

use super::parse::within;
use super::{Catalogue, GENERIC_TOML};
use crate::issue::{Code, Issue};

/// Pipes, bodies, valves and small parts of one catalogue.
#[derive(Debug, Clone, PartialEq)]
pub struct Hardware {
    /// Pipes by rising inside diameter; at least one.
    pub pipes: Vec<PipeSize>,
    /// Valves by rising flow; at least one.
    pub valves: Vec<ValveSize>,
    /// A body without regulation.
    pub plain_body: Part,
    /// A body that regulates.
    pub regulated_body: Part,
    /// A swing pipe from the lateral to a head.
    pub swing_pipe: Part,
    /// An adapter that lets a new nozzle sit on an old body.
    pub adapter: Part,
    /// A check valve for a head on a slope.
    pub check_valve: Part,
    /// A fitting: elbow, tee or coupling, of the pipe's size.
    pub fitting: Part,
    /// One metre of control wire.
    pub wire_m: Part,
    /// One station of a controller.
    pub controller_station: Part,
    /// A cap on a head that is given up.
    pub cap: Part,
    /// A box for the valves of a place.
    pub valve_box: Part,
    /// A pressure reducer behind a point of connection.
    pub pressure_reducer: Part,
    /// How many nozzles come in a box.
    pub nozzles_per_box: u32,
}

/// A pipe that can be bought.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PipeSize {
    /// Nominal size \[mm\].
    pub nominal_mm: f64,
    /// Inside diameter \[mm\].
    pub inside_mm: f64,
    /// Length of a coil \[m\].
    pub coil_m: f64,
    /// Cost of one metre in the program's currency.
    pub unit_cost_cur: f64,
}

/// A valve that can be bought.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ValveSize {
    /// Nominal size \[mm\].
    pub nominal_mm: f64,
    /// Largest flow \[L/min\].
    pub most_lpm: f64,
    /// Cost in the program's currency.
    pub unit_cost_cur: f64,
}

/// Something that is counted.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Part {
    /// How many come in a box.
    pub per_box: u32,
    /// Cost of one in the program's currency.
    pub unit_cost_cur: f64,
}

/// A point of a family's curve: flow and throw at a pressure, relative to the rated ones.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Pressure at the nozzle \[kPa\].
    pub kpa: f64,
    /// Flow over rated flow.
    pub flow_factor: f64,
    /// Throw over rated throw.
    pub throw_factor: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct HardwareText {
    #[serde(rename = "pipe")]
    pipes: Vec<PipeSize>,
    #[serde(rename = "valve")]
    valves: Vec<ValveSize>,
    plain_body: Part,
    regulated_body: Part,
    swing_pipe: Part,
    adapter: Part,
    check_valve: Part,
    fitting: Part,
    wire_m: Part,
    controller_station: Part,
    #[serde(default = "cap")]
    cap: Part,
    #[serde(default = "valve_box")]
    valve_box: Part,
    #[serde(default = "pressure_reducer")]
    pressure_reducer: Part,
    nozzles_per_box: u32,
}

/// A part that catalogues of before it was counted do not name.
const fn part(per_box: u32, unit_cost_cur: f64) -> Part {
    Part {
        per_box,
        unit_cost_cur,
    }
}

// Round numbers of this program, as in the embedded catalogue.
fn cap() -> Part {
    part(50, 1.0)
}

fn valve_box() -> Part {
    part(1, 20.0)
}

fn pressure_reducer() -> Part {
    part(1, 60.0)
}

impl HardwareText {
    /// Checks the section `[hardware]`.
    ///
    /// # Errors
    /// `CA02` for an impossible value.
    pub(super) fn validated(self) -> Result<Hardware, Issue> {
        let bad = |found: String| Issue::new(Code::CA02, format!("hardware: {found}"));
        if self.pipes.is_empty() || self.valves.is_empty() || self.nozzles_per_box == 0 {
            return Err(bad(
                "it wants one pipe, one valve and one nozzle in a box at least".into(),
            ));
        }
        for pipe in &self.pipes {
            within("inside_mm", pipe.inside_mm, 5.0, 1_000.0).map_err(bad)?;
            within("nominal_mm", pipe.nominal_mm, 5.0, 1_000.0).map_err(bad)?;
            within("coil_m", pipe.coil_m, 1.0, 10_000.0).map_err(bad)?;
            within("unit_cost_cur", pipe.unit_cost_cur, 0.0, 1e6).map_err(bad)?;
        }
        for valve in &self.valves {
            within("nominal_mm", valve.nominal_mm, 5.0, 1_000.0).map_err(bad)?;
            within("most_lpm", valve.most_lpm, 1.0, 1e5).map_err(bad)?;
            within("unit_cost_cur", valve.unit_cost_cur, 0.0, 1e6).map_err(bad)?;
        }
        for part in [
            self.plain_body,
            self.regulated_body,
            self.swing_pipe,
            self.adapter,
            self.check_valve,
            self.fitting,
            self.wire_m,
            self.controller_station,
            self.cap,
            self.valve_box,
            self.pressure_reducer,
        ] {
            within("per_box", f64::from(part.per_box), 1.0, 1e5).map_err(bad)?;
            within("unit_cost_cur", part.unit_cost_cur, 0.0, 1e6).map_err(bad)?;
        }
        let HardwareText {
            mut pipes,
            mut valves,
            ..
        } = self;
        pipes.sort_by(|a, b| a.inside_mm.total_cmp(&b.inside_mm));
        valves.sort_by(|a, b| a.most_lpm.total_cmp(&b.most_lpm));
        Ok(Hardware {
            pipes,
            valves,
            plain_body: self.plain_body,
            regulated_body: self.regulated_body,
            swing_pipe: self.swing_pipe,
            adapter: self.adapter,
            check_valve: self.check_valve,
            fitting: self.fitting,
            wire_m: self.wire_m,
            controller_station: self.controller_station,
            cap: self.cap,
            valve_box: self.valve_box,
            pressure_reducer: self.pressure_reducer,
            nozzles_per_box: self.nozzles_per_box,
        })
    }
}

impl Hardware {
    /// The embedded hardware, for catalogues that bring none.
    ///
    /// # Errors
    /// Never: a test reads the embedded text.
    pub(super) fn generic() -> Result<Hardware, Issue> {
        Catalogue::parse(GENERIC_TOML, "embedded catalogue").map(|catalogue| catalogue.hardware)
    }

    /// The index of the narrowest pipe that carries a flow below a velocity; the widest one where
    /// none does.
    #[must_use]
    pub fn pipe_for(&self, flow_lpm: f64, velocity_most_m_s: f64) -> usize {
        let carries = |pipe: &PipeSize| {
            let radius_m = pipe.inside_mm / 2_000.0;
            let most_lpm = velocity_most_m_s * std::f64::consts::PI * radius_m * radius_m * 6e4;
            most_lpm >= flow_lpm
        };
        self.pipes
            .iter()
            .position(carries)
            .unwrap_or(self.pipes.len() - 1) // a catalogue has at least one pipe
    }

    /// The inside diameter of a service line of a nominal size \[mm\]: that of the pipe of this nominal
    /// size; where the catalogue has none, the nominal size times the ratio of the pipe whose nominal
    /// size is nearest (the smaller of two as near).
    #[must_use]
    pub fn bore_mm(&self, nominal_mm: f64) -> f64 {
        let away = |pipe: &&PipeSize| (pipe.nominal_mm - nominal_mm).abs();
        self.pipes
            .iter()
            .min_by(|a, b| away(a).total_cmp(&away(b)))
            .map_or(nominal_mm, |pipe| {
                nominal_mm * pipe.inside_mm / pipe.nominal_mm
            })
    }

    /// The smallest valve that passes a flow; the largest one where none does.
    #[must_use]
    pub fn valve_for(&self, flow_lpm: f64) -> &ValveSize {
        self.valves
            .iter()
            .find(|valve| valve.most_lpm >= flow_lpm)
            .unwrap_or(&self.valves[self.valves.len() - 1]) // a catalogue has at least one valve
    }
}

/// Checks a curve: pressures and flows rise, and at the rated pressure it gives the rated flow and
/// throw within 2 % (published tables are rounded).
///
/// # Errors
/// What is wrong with it.
pub(super) fn curve(points: &[(f64, f64, f64)], rated_kpa: f64) -> Result<Vec<CurvePoint>, String> {
    let curve: Vec<CurvePoint> = points
        .iter()
        .map(|&(kpa, flow_factor, throw_factor)| CurvePoint {
            kpa,
            flow_factor,
            throw_factor,
        })
        .collect();
    for point in &curve {
        within("curve pressure", point.kpa, 10.0, 2_000.0)?;
        within("curve flow", point.flow_factor, 0.01, 10.0)?;
        within("curve throw", point.throw_factor, 0.01, 10.0)?;
    }
    if curve
        .windows(2)
        .any(|pair| pair[1].kpa <= pair[0].kpa || pair[1].flow_factor < pair[0].flow_factor)
    {
        return Err("curve: pressures must rise, and flows must not fall".into());
    }
    let (Some(first), Some(last)) = (curve.first(), curve.last()) else {
        return Ok(curve);
    };
    if !(first.kpa..=last.kpa).contains(&rated_kpa) {
        return Err("curve: it must span rated_kpa".into());
    }
    let after = curve.partition_point(|point| point.kpa < rated_kpa);
    let (low, high) = (&curve[after.saturating_sub(1)], &curve[after]);
    let share = if high.kpa > low.kpa {
        (rated_kpa - low.kpa) / (high.kpa - low.kpa)
    } else {
        1.0
    };
    let at_rated = |low: f64, high: f64| (low + share * (high - low) - 1.0).abs() <= 0.02;
    if at_rated(low.flow_factor, high.flow_factor) && at_rated(low.throw_factor, high.throw_factor)
    {
        Ok(curve)
    } else {
        Err("curve: flow and throw at rated_kpa must be 1".into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_embedded_pipes_are_in_order_and_carry_what_they_should() {
        let hardware = Catalogue::generic().hardware;
        assert!(hardware.pipes.windows(2).all(|pair| {
            pair[0].inside_mm < pair[1].inside_mm && pair[0].unit_cost_cur < pair[1].unit_cost_cur
        }));
        // 1.5 m/s in 21.0 mm is 31.2 L/min.
        assert_eq!(
            hardware.pipes[hardware.pipe_for(31.0, 1.5)].nominal_mm,
            25.0
        );
        assert_eq!(
            hardware.pipes[hardware.pipe_for(31.3, 1.5)].nominal_mm,
            32.0
        );
        assert_eq!(hardware.pipe_for(1e6, 1.5), hardware.pipes.len() - 1);
        assert_eq!(hardware.valve_for(1.0).nominal_mm, 25.0);
    }

    #[test]
    fn a_catalogue_without_hardware_uses_the_embedded_one() {
        let (families, _) = GENERIC_TOML.split_once("[hardware]").unwrap();
        let catalogue = Catalogue::parse(families, "x").unwrap();
        assert_eq!(catalogue.hardware, Catalogue::generic().hardware);
    }

    #[test]
    fn a_bore_is_that_of_the_pipe_or_in_its_proportion() {
        let hardware = Catalogue::generic().hardware;
        for (nominal_mm, bore_mm) in [
            (32.0, 27.2),
            (63.0, 55.4),
            (20.0, 20.0 * 21.0 / 25.0),
            (150.0, 150.0 * 66.0 / 75.0),
        ] {
            assert!((hardware.bore_mm(nominal_mm) - bore_mm).abs() < 1e-9);
        }
    }

    #[test]
    fn impossible_hardware_and_curves_are_refused() {
        for (from, to) in [
            ("inside_mm = 21.0", "inside_mm = -21.0"),
            ("per_box = 25", "per_box = 0"),
            ("nozzles_per_box = 30", "nozzles_per_box = 0"),
            (
                "unit_cost_cur = 7.0",
                "unit_cost_cur = 7.0\ncurve = [[200, 1.0, 1.0], [100, 0.7, 0.9]]",
            ),
            (
                "unit_cost_cur = 7.0",
                "unit_cost_cur = 7.0\ncurve = [[100, 0.6, 0.9], [280, 1.2, 1.0]]",
            ),
        ] {
            let text = GENERIC_TOML.replacen(from, to, 1);
            assert_ne!(text, GENERIC_TOML, "{from}");
            let issue = Catalogue::parse(&text, "x").unwrap_err();
            assert_eq!(issue.code, Code::CA02, "{issue}");
        }
    }
}
