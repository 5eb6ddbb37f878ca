//! Can the night hold it? One valve at a time.

use std::collections::BTreeSet;

use super::Limits;

/// The watering day of one station.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StationDay {
    /// Cycles.
    pub cycles: u32,
    /// Run time of one cycle \[min\].
    pub cycle_min: f64,
    /// Rest between two \[min\].
    pub soak_min: f64,
    /// Watering days a week.
    pub days_per_week: f64,
}

/// What the watering of a parcel asks of the night.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WindowNeed {
    /// Minutes from the first start to the last stop of the longest night.
    pub needed_min: f64,
    /// Minutes that are open.
    pub open_min: f64,
    /// Groups of stations that water on different days.
    pub groups: u32,
    /// Whether every night holds its group.
    pub fits: bool,
}

/// The night of all stations of a parcel.
#[derive(Debug, Clone, PartialEq)]
pub struct NightPlan {
    /// Whether it fits.
    pub need: WindowNeed,
    /// For each station its group, from 1, and the start of each cycle \[min after the window
    /// opens\].
    pub stations: Vec<(u32, Vec<f64>)>,
}

/// Starts of the cycles of each station \[min after the first\], and the last stop, when one
/// valve runs at a time and others run while one soaks: the station that has been ready longest
/// goes next, the first of equals.
fn one_valve(stations: &[StationDay]) -> (Vec<Vec<f64>>, f64) {
    let mut starts: Vec<Vec<f64>> = vec![Vec::new(); stations.len()];
    let mut now_min = 0.0;
    // Times are not negative, so that their bits are in their order.
    let mut waiting: BTreeSet<(u64, usize)> = (0..stations.len())
        .filter(|&index| stations[index].cycles > 0)
        .map(|index| (0.0_f64.to_bits(), index))
        .collect();
    while let Some((ready, index)) = waiting.pop_first() {
        let station = &stations[index];
        let start_min = f64::max(now_min, f64::from_bits(ready));
        starts[index].push(start_min);
        now_min = start_min + station.cycle_min;
        if starts[index].len() < station.cycles as usize {
            waiting.insert(((now_min + station.soak_min).to_bits(), index));
        }
    }
    (starts, now_min)
}

/// Minutes from the first start to the last stop when one valve runs at a time.
#[must_use]
pub fn night_min(stations: &[StationDay]) -> f64 {
    one_valve(stations).1
}

/// Whether the open hours hold the stations, and when each starts. When one night cannot,
/// stations are dealt to groups that water on different days, as many as the rule's days allow,
/// the longest first to the group with the least run time.
#[must_use]
pub fn night_plan(stations: &[StationDay], limits: &Limits) -> NightPlan {
    let days = stations
        .iter()
        .map(|station| station.days_per_week)
        .fold(0.0, f64::max);
    let most_groups = if days > 0.0 {
        (limits.days_per_week / days).floor().max(1.0)
    } else {
        1.0
    };
    let mut plan = in_groups(stations, limits, 1);
    for groups in 2..=(most_groups as u32) {
        if plan.need.fits {
            break;
        }
        plan = in_groups(stations, limits, groups);
    }
    plan
}

/// Whether the open hours hold the stations; see [`night_plan`].
#[must_use]
pub fn window_need(stations: &[StationDay], limits: &Limits) -> WindowNeed {
    night_plan(stations, limits).need
}

/// What the controller cannot hold, sorted: `programs-short` when stations need more different
/// day and cycle patterns than it has programmes, `stations-short` when it has too few stations.
#[must_use]
pub fn controller_flags(stations: &[StationDay], limits: &Limits) -> Vec<&'static str> {
    let mut patterns: Vec<(u32, u64)> = Vec::new();
    for station in stations.iter().filter(|station| station.cycles > 0) {
        let pattern = (station.cycles, station.days_per_week.to_bits());
        if !patterns.contains(&pattern) {
            patterns.push(pattern);
        }
    }
    let mut flags = Vec::new();
    if patterns.len() > limits.programs as usize {
        flags.push("programs-short");
    }
    if stations.len() > limits.stations as usize {
        flags.push("stations-short");
    }
    flags
}

fn in_groups(stations: &[StationDay], limits: &Limits, groups: u32) -> NightPlan {
    let run_min = |station: &StationDay| f64::from(station.cycles) * station.cycle_min;
    let mut order: Vec<usize> = (0..stations.len()).collect();
    order.sort_by(|&a, &b| {
        run_min(&stations[b])
            .total_cmp(&run_min(&stations[a]))
            .then(a.cmp(&b))
    });
    let mut nights: Vec<Vec<usize>> = vec![Vec::new(); groups as usize];
    let mut loads_min = vec![0.0; groups as usize];
    for index in order {
        let lightest = (1..nights.len()).fold(0, |best, night| {
            if loads_min[night] < loads_min[best] {
                night
            } else {
                best
            }
        });
        loads_min[lightest] += run_min(&stations[index]);
        nights[lightest].push(index);
    }
    let mut placed = vec![(1, Vec::new()); stations.len()];
    let mut needed_min = 0.0;
    for (group, mut night) in (1..).zip(nights) {
        night.sort_unstable();
        let days: Vec<StationDay> = night.iter().map(|&index| stations[index]).collect();
        let (starts, stop_min) = one_valve(&days);
        needed_min = f64::max(needed_min, stop_min);
        for (index, starts) in night.into_iter().zip(starts) {
            placed[index] = (group, starts);
        }
    }
    NightPlan {
        need: WindowNeed {
            needed_min,
            open_min: limits.open_min,
            groups,
            fits: needed_min <= limits.open_min,
        },
        stations: placed,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::assumptions::Assumptions;

    fn station(cycles: u32, cycle_min: f64, soak_min: f64) -> StationDay {
        StationDay {
            cycles,
            cycle_min,
            soak_min,
            days_per_week: 3.0,
        }
    }

    #[test]
    fn others_run_while_one_soaks() {
        assert_eq!(night_min(&[]), 0.0);
        assert_eq!(night_min(&[station(3, 10.0, 30.0)]), 90.0);
        // Four stations fill each other's soaks: 12 cycles of 10 minutes.
        assert_eq!(night_min(&[station(3, 10.0, 30.0); 4]), 120.0);
        // Two do not: 10 + 10, wait 20, and so on.
        assert_eq!(night_min(&[station(3, 10.0, 30.0); 2]), 100.0);
        assert_eq!(
            night_min(&[station(0, 10.0, 30.0), station(1, 7.0, 0.0)]),
            7.0
        );
    }

    #[test]
    fn a_night_is_never_shorter_than_its_runs_or_its_longest_station() {
        for count in 1..8u32 {
            let stations: Vec<StationDay> = (0..count)
                .map(|i| station(i % 4 + 1, f64::from(5 + i), f64::from(10 * i)))
                .collect();
            let runs: f64 = stations
                .iter()
                .map(|s| f64::from(s.cycles) * s.cycle_min)
                .sum();
            let alone = stations
                .iter()
                .map(|s| f64::from(s.cycles) * s.cycle_min + f64::from(s.cycles - 1) * s.soak_min)
                .fold(0.0, f64::max);
            let night = night_min(&stations);
            assert!(night >= runs - 1e-9 && night >= alone - 1e-9);
        }
    }

    #[test]
    fn stations_move_to_other_days_when_the_night_is_short() {
        let limits = Limits {
            open_min: 250.0,
            ..Limits::assumed(&Assumptions::defaults())
        };
        let many = [station(1, 100.0, 0.0); 4];
        let need = window_need(&many, &limits);
        assert_eq!((need.groups, need.needed_min, need.fits), (2, 200.0, true));
        let daily: Vec<StationDay> = many
            .iter()
            .map(|s| StationDay {
                days_per_week: 7.0,
                ..*s
            })
            .collect();
        let need = window_need(&daily, &limits);
        assert_eq!((need.groups, need.needed_min, need.fits), (1, 400.0, false));
        assert!(window_need(&[], &limits).fits);
    }

    #[test]
    fn every_cycle_has_its_start_and_no_two_valves_run_together() {
        let limits = Limits {
            open_min: 200.0,
            ..Limits::assumed(&Assumptions::defaults())
        };
        let stations: Vec<StationDay> = (1..6)
            .map(|i| station(i % 3 + 1, f64::from(9 + i), 25.0))
            .collect();
        let plan = night_plan(&stations, &limits);
        for group in 1..=plan.need.groups {
            let mut runs: Vec<(f64, f64)> = Vec::new();
            for ((own, starts), station) in plan.stations.iter().zip(&stations) {
                assert_eq!(starts.len(), station.cycles as usize);
                for pair in starts.windows(2) {
                    assert!(pair[1] - pair[0] >= station.cycle_min + station.soak_min);
                }
                if *own == group {
                    runs.extend(
                        starts
                            .iter()
                            .map(|start| (*start, start + station.cycle_min)),
                    );
                }
            }
            runs.sort_by(|a, b| a.0.total_cmp(&b.0));
            assert!(!runs.is_empty() && runs.windows(2).all(|pair| pair[0].1 <= pair[1].0));
            assert!(runs.iter().all(|run| run.1 <= plan.need.needed_min));
        }
    }

    #[test]
    fn a_controller_holds_so_many_stations_and_patterns() {
        let limits = Limits {
            programs: 2,
            stations: 3,
            ..Limits::assumed(&Assumptions::defaults())
        };
        let some = [
            station(1, 10.0, 0.0),
            station(2, 5.0, 20.0),
            station(2, 7.0, 20.0),
        ];
        assert!(controller_flags(&some, &limits).is_empty());
        let more = [&some[..], &[station(3, 4.0, 20.0)]].concat();
        assert_eq!(
            controller_flags(&more, &limits),
            ["programs-short", "stations-short"]
        );
    }
}
