//! One run time for every valve: turf areas that share it get the minutes of the one that needs most.

use super::outcome::{NetworkPlan, StationPlan};

/// Minutes that a station runs: those of the turf area on it that needs most; `None` where none of its
/// areas says what it needs. `needed_min` holds the minutes of each turf area, `None` where it is not
/// watered in this scenario.
#[must_use]
pub fn station_min(station: &StationPlan, needed_min: &[Option<f64>]) -> Option<f64> {
    let areas = station.heads.iter().map(|&(area, _)| area);
    areas
        .filter_map(|area| needed_min.get(area).copied().flatten())
        .reduce(f64::max)
}

/// What each turf area gets over what it needs, because its valves have one run time:
/// `Σ f · (t_station / t_need) / Σ f` over its stations, f the flow of its heads on them \[L/min\], in
/// proportion to their number. 1 where it is alone on its stations, where it needs most on each of them,
/// or needs nothing.
#[must_use]
pub fn run_time_factors(network: &NetworkPlan, needed_min: &[Option<f64>]) -> Vec<f64> {
    let mut flows_lpm = vec![0.0; needed_min.len()];
    let mut given = vec![0.0; needed_min.len()];
    for station in &network.stations {
        let Some(minutes) = station_min(station, needed_min) else {
            continue;
        };
        let per_head_lpm = station.rated_lpm / station.heads.len().max(1) as f64;
        for &(area, _) in &station.heads {
            let need = needed_min.get(area).copied().flatten();
            if let Some(need_min) = need.filter(|&minutes| minutes > 0.0) {
                flows_lpm[area] += per_head_lpm;
                given[area] += per_head_lpm * (minutes / need_min);
            }
        }
    }
    let factor = |(&lpm, &given): (&f64, &f64)| if lpm > 0.0 { given / lpm } else { 1.0 };
    flows_lpm.iter().zip(&given).map(factor).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hydraulics::materials::Counts;
    use crate::plan::Scenario;
    use crate::shape::Point;

    fn station(heads: &[(usize, usize)], rated_lpm: f64) -> StationPlan {
        StationPlan {
            source: 0,
            valve: Point::default(),
            valve_box: 1,
            name: None,
            before: None,
            heads: heads.to_vec(),
            rated_lpm,
            is_solved: true,
            flow_lpm: rated_lpm,
            safe_lpm: 100.0,
            valve_kpa: 300.0,
            inlet_kpa: (250.0, 280.0),
            spread_frac: 0.1,
            set_kpa: None,
            below: 0,
            fastest_m_s: 1.0,
            rise_m: None,
            head_rise_m: None,
            fall_m: None,
            drain_l: 0.0,
            lateral_m: 0.0,
            main_m: 0.0,
            wire_m: 0.0,
            nozzle_types: 1,
            building_m: 0.0,
            off_parcel_m: 0.0,
            night: None,
            flags: Vec::new(),
        }
    }

    #[test]
    fn areas_on_one_valve_get_the_minutes_of_the_thirstiest() {
        let network = NetworkPlan {
            scenario: Scenario::AsFound,
            family: "spray".to_owned(),
            // Area 0 has three heads with area 1 on a valve of 40 L/min, and two alone on one of 20.
            stations: vec![
                station(&[(0, 0), (0, 1), (0, 2), (1, 0)], 40.0),
                station(&[(0, 3), (0, 4)], 20.0),
                station(&[(2, 0)], 5.0),
            ],
            pipes: Vec::new(),
            materials: Vec::new(),
            counts: Counts::default(),
            inp: None,
        };
        let factors = run_time_factors(&network, &[Some(20.0), Some(30.0), None]);
        // 30 L/min get 1.5 times what they need, 20 L/min what they need.
        assert!((factors[0] - (30.0 * 1.5 + 20.0) / 50.0).abs() < 1e-12);
        assert_eq!(factors[1..], [1.0, 1.0]);
        let dry = run_time_factors(&network, &[Some(20.0), Some(0.0), Some(10.0)]);
        assert_eq!(dry, [1.0, 1.0, 1.0]);
    }
}
