//! The points of connection of a parcel, from the layer of the supply and what is assumed.

use crate::assumptions::{Assumptions, Key};
use crate::catalogue::Hardware;
use crate::crs::Frame;
use crate::hydraulics::supply::{FlowLimit, Reading, Source, safe_flow_lpm};
use crate::issue::{Code, Issue};
use crate::shape::Point;
use crate::site::{SupplyKind, SupplyPoint};

/// Nominal sizes that an assumed service line may have \[mm\].
const SIZES_MM: [f64; 8] = [20.0, 25.0, 32.0, 40.0, 50.0, 65.0, 80.0, 100.0];

/// What feeds a parcel.
pub(super) struct Plant {
    /// Points of connection; at least one.
    pub(super) sources: Vec<Source>,
    /// Valves that are there.
    pub(super) valves: Vec<Point>,
    /// Controllers that are there.
    pub(super) controllers: Vec<Point>,
}

/// Reads the plant off the points of a parcel. Points of connection count; where there is none,
/// meters stand for them, then pumps, then a place nobody knows. What a point of connection does
/// not say, the nearest meter says for it.
///
/// # Errors
/// `HY02` when a given flow is zero or less.
pub(super) fn plant(
    points: &[SupplyPoint],
    frame: &Frame,
    (turf_m2, hardware): (f64, &Hardware),
    assumptions: &Assumptions,
    issues: &mut Vec<Issue>,
) -> Result<Plant, Issue> {
    let at = |point: &SupplyPoint| frame.to_plane(point.position.x(), point.position.y());
    let of = |kind: SupplyKind| -> Vec<&SupplyPoint> {
        points.iter().filter(|point| point.kind == kind).collect()
    };
    let (meters, pumps) = (of(SupplyKind::Meter), of(SupplyKind::Pump));
    let mut heads = of(SupplyKind::Connection);
    if heads.is_empty() {
        heads.clone_from(&meters);
    }
    if heads.is_empty() {
        heads.clone_from(&pumps);
    }
    let nearest = |list: &[&'_ SupplyPoint], from: Point| -> Option<SupplyPoint> {
        list.iter()
            .min_by(|a, b| at(a).distance(from).total_cmp(&at(b).distance(from)))
            .map(|point| **point)
    };
    let mut sources = Vec::new();
    for head in heads {
        let place = at(head);
        let meter = nearest(&meters, place);
        let pump = nearest(&pumps, place);
        let given = |read: fn(&SupplyPoint) -> Option<f64>| {
            read(head).or_else(|| meter.as_ref().and_then(read))
        };
        let size_mm = given(|point| point.size_mm);
        let flow_lpm = given(|point| point.flow_lpm);
        if size_mm.is_none() && flow_lpm.is_none() {
            let (lon, lat) = (head.position.x(), head.position.y());
            issues.push(Issue::new(Code::HY04, format!("at {lon:.7}, {lat:.7}")));
        }
        let pumped = pump.and_then(|pump| pump.near_kpa.or(pump.static_kpa));
        let known = Known {
            at: Some(place),
            size_mm,
            flow_lpm: [flow_lpm, pump.and_then(|pump| pump.flow_lpm)]
                .into_iter()
                .flatten()
                .reduce(f64::min),
            pumped_kpa: pumped,
            near_kpa: given(|point| point.near_kpa),
            far_kpa: given(|point| point.far_kpa),
            static_kpa: given(|point| point.static_kpa),
            pump_lpm: pump.map_or(0.0, |pump| pump.flow_lpm.unwrap_or(0.0)),
        };
        sources.push(known.source(turf_m2, hardware, assumptions)?);
    }
    if sources.is_empty() {
        sources.push(Known::default().source(turf_m2, hardware, assumptions)?);
    }
    Ok(Plant {
        sources,
        valves: of(SupplyKind::Valve).into_iter().map(at).collect(),
        controllers: of(SupplyKind::Controller).into_iter().map(at).collect(),
    })
}

/// What the layer says of one point of connection.
#[derive(Default)]
struct Known {
    at: Option<Point>,
    size_mm: Option<f64>,
    flow_lpm: Option<f64>,
    pumped_kpa: Option<f64>,
    near_kpa: Option<f64>,
    far_kpa: Option<f64>,
    static_kpa: Option<f64>,
    pump_lpm: f64,
}

impl Known {
    fn source(
        self,
        turf_m2: f64,
        hardware: &Hardware,
        assumptions: &Assumptions,
    ) -> Result<Source, Issue> {
        let static_kpa = self
            .static_kpa
            .unwrap_or_else(|| assumptions.number(Key::SupplyStatic));
        let reading = match (self.pumped_kpa, self.near_kpa, self.far_kpa) {
            (Some(kpa), ..) => Reading::Pump { kpa },
            (None, Some(near_kpa), far_kpa) => Reading::Working { near_kpa, far_kpa },
            // A reading at the far end alone stands for the whole parcel: the cautious one.
            (None, None, Some(kpa)) => Reading::Working {
                near_kpa: kpa,
                far_kpa: Some(kpa),
            },
            (None, None, None) => Reading::Static { kpa: static_kpa },
        };
        let decided = Some(assumptions.number(Key::SupplyFlow)).filter(|&lpm| lpm > 0.0);
        let flow_lpm = self.flow_lpm.or(decided);
        let decided_mm = Some(assumptions.number(Key::SupplyMeterSize)).filter(|&mm| mm > 0.0);
        let known_mm = self.size_mm.or(decided_mm);
        let size_mm = known_mm.unwrap_or_else(|| {
            let needed_lpm = flow_lpm.unwrap_or_else(|| night_lpm(turf_m2, assumptions));
            size_for_mm(needed_lpm, static_kpa, hardware, assumptions)
        });
        let bore_mm = hardware.bore_mm(size_mm);
        let (safe_lpm, limit) = match flow_lpm {
            Some(lpm) => (lpm, FlowLimit::Given),
            None => safe_flow_lpm((size_mm, bore_mm), static_kpa, assumptions),
        };
        if safe_lpm <= 0.0 {
            return Err(Issue::new(Code::HY02, format!("{safe_lpm} L/min")));
        }
        // What is read before a pump; a static pressure that nobody read counts where all rests on it.
        let highest_kpa = match reading {
            Reading::Static { kpa } => kpa,
            Reading::Working { near_kpa, .. } => near_kpa.max(self.static_kpa.unwrap_or(0.0)),
            Reading::Pump { .. } => self.static_kpa.unwrap_or(0.0),
        };
        let is_read = matches!(reading, Reading::Pump { .. } | Reading::Working { .. })
            || self.static_kpa.is_some();
        Ok(Source {
            at: self.at,
            reading,
            is_read,
            safe_lpm,
            limit,
            size_mm,
            bore_mm,
            is_size_inferred: known_mm.is_none() && flow_lpm.is_some(),
            needs_reducer: highest_kpa > assumptions.number(Key::SupplyReducer),
            pump_least_lpm: self.pump_lpm * assumptions.number(Key::SupplyPumpLeast),
        })
    }
}

/// What an assumed supply has to bring: a depth on all turf in one night \[L/min\].
fn night_lpm(turf_m2: f64, assumptions: &Assumptions) -> f64 {
    let litres = turf_m2 * assumptions.number(Key::SupplyNightDepth);
    litres / (60.0 * assumptions.number(Key::SupplyNightHours))
}

/// The size of meter and service line where nobody says: the smallest whose safe flow is the flow that
/// is needed or more; the largest where none is.
fn size_for_mm(
    needed_lpm: f64,
    static_kpa: f64,
    hardware: &Hardware,
    assumptions: &Assumptions,
) -> f64 {
    let (last, others) = (
        SIZES_MM[SIZES_MM.len() - 1],
        &SIZES_MM[..SIZES_MM.len() - 1],
    );
    let safe_lpm = |size_mm: f64| {
        let bores = (size_mm, hardware.bore_mm(size_mm));
        safe_flow_lpm(bores, static_kpa, assumptions).0
    };
    others
        .iter()
        .copied()
        .find(|&size_mm| safe_lpm(size_mm) >= needed_lpm)
        .unwrap_or(last)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Catalogue;
    use crate::hydraulics::pipe::velocity_m_s;

    fn point(kind: SupplyKind, lon: f64) -> SupplyPoint {
        SupplyPoint {
            kind,
            position: geo::Point::new(lon, 40.0),
            flow_lpm: None,
            static_kpa: None,
            near_kpa: None,
            far_kpa: None,
            size_mm: None,
        }
    }

    fn planted(points: &[SupplyPoint]) -> (Result<Plant, Issue>, Vec<Issue>) {
        let mut issues = Vec::new();
        let frame = Frame::about(5.0, 40.0);
        let hardware = Catalogue::generic().hardware;
        let assumptions = Assumptions::defaults();
        let plant = plant(
            points,
            &frame,
            (200.0, &hardware),
            &assumptions,
            &mut issues,
        );
        (plant, issues)
    }

    #[test]
    fn a_connection_borrows_from_its_meter() {
        let meter = SupplyPoint {
            flow_lpm: Some(45.0),
            static_kpa: Some(383.0),
            size_mm: Some(20.0),
            ..point(SupplyKind::Meter, 5.0)
        };
        let (plant, issues) = planted(&[meter, point(SupplyKind::Connection, 5.0001)]);
        let source = plant.unwrap().sources[0];
        assert!(issues.is_empty() && source.is_read);
        assert_eq!((source.safe_lpm, source.limit), (45.0, FlowLimit::Given));
        assert_eq!(source.reading, Reading::Static { kpa: 383.0 });
        assert!(source.at.unwrap().x > 5.0);
    }

    #[test]
    fn nothing_known_is_assumed_and_not_read() {
        let (plant, issues) = planted(&[]);
        let source = plant.unwrap().sources[0];
        assert!(issues.is_empty() && !source.is_read && source.at.is_none());
        assert_eq!(source.limit, FlowLimit::Service);
    }

    #[test]
    fn an_assumed_service_line_grows_with_the_turf() {
        let assumptions = Assumptions::defaults();
        let hardware = Catalogue::generic().hardware;
        let size_mm = |turf_m2: f64| {
            let needed_lpm = night_lpm(turf_m2, &assumptions);
            size_for_mm(needed_lpm, 415.0, &hardware, &assumptions)
        };
        // 8 mm in 8 hours is 1 L a minute for every 60 m²; 1.8 m/s in 16.8 mm, the bore of 20 mm, is
        // 23.94 L/min, and in 21 mm of 25 mm 37.41 L/min.
        for (turf_m2, expected_mm) in [
            (100.0, 20.0),
            (1_430.0, 20.0),
            (1_440.0, 25.0),
            (2_240.0, 25.0),
            (2_250.0, 32.0),
            (1e7, 100.0),
        ] {
            assert_eq!(size_mm(turf_m2), expected_mm, "{turf_m2}");
        }
        let given = assumptions.with_setting("supply.meter_mm=15").unwrap();
        let source = Known::default().source(1e7, &hardware, &given).unwrap();
        assert_eq!((source.size_mm, source.is_size_inferred), (15.0, false));
        assert!((source.bore_mm - 15.0 * 0.84).abs() < 1e-9);
    }

    #[test]
    fn a_flow_without_a_size_has_the_size_that_carries_it() {
        let flowing = |flow_lpm: f64, static_kpa: f64| {
            let meter = SupplyPoint {
                flow_lpm: Some(flow_lpm),
                static_kpa: Some(static_kpa),
                ..point(SupplyKind::Meter, 5.0)
            };
            planted(&[meter]).0.unwrap().sources[0]
        };
        for (flow_lpm, size_mm) in [(20.0, 20.0), (30.0, 25.0), (60.0, 32.0), (200.0, 65.0)] {
            let source = flowing(flow_lpm, 415.0);
            assert_eq!(source.size_mm, size_mm, "{flow_lpm}");
            assert!(source.is_size_inferred);
            assert_eq!(
                (source.safe_lpm, source.limit),
                (flow_lpm, FlowLimit::Given)
            );
            // At its flow the line keeps its velocity.
            assert!(velocity_m_s(flow_lpm, source.bore_mm) <= 1.8);
        }
        assert!(!flowing(20.0, 550.0).needs_reducer && flowing(20.0, 551.0).needs_reducer);
    }

    #[test]
    fn a_meter_without_size_is_told_and_a_flow_of_nothing_refused() {
        let (plant, issues) = planted(&[point(SupplyKind::Meter, 5.0)]);
        assert!(plant.is_ok());
        assert_eq!(issues[0].code, Code::HY04);
        for flow in [0.0, -4.0] {
            let meter = SupplyPoint {
                flow_lpm: Some(flow),
                ..point(SupplyKind::Meter, 5.0)
            };
            assert_eq!(planted(&[meter]).0.err().map(|i| i.code), Some(Code::HY02));
        }
    }

    #[test]
    fn a_pump_gives_the_pressure_and_the_lesser_flow() {
        let head = SupplyPoint {
            flow_lpm: Some(420.0),
            static_kpa: Some(515.0),
            near_kpa: Some(480.0),
            ..point(SupplyKind::Connection, 5.0)
        };
        let pump = SupplyPoint {
            flow_lpm: Some(300.0),
            near_kpa: Some(620.0),
            ..point(SupplyKind::Pump, 5.0)
        };
        let source = planted(&[head, pump]).0.unwrap().sources[0];
        assert_eq!(source.reading, Reading::Pump { kpa: 620.0 });
        assert_eq!((source.safe_lpm, source.pump_least_lpm), (300.0, 90.0));
    }
}
