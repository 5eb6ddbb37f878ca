//! A controller's view of a parcel: stations, wire and the size of the clock, before and after.
//!
//! What is said here is what is in use, not what could be dug out: a swap or repair keeps every valve and
//! wire that is in the ground, so it saves neither. A new layout gives up the stations that water only what
//! it replaces, and sets its own.

use crate::plan::{NetworkPlan, ParcelPlan, Scenario, StationPlan};

/// Numbers of stations that controllers are sold with; beyond the last, in steps of [`MODULE`]. Round numbers
/// of the trade, choice of this program.
const SIZES: [u64; 8] = [4, 6, 8, 12, 16, 24, 36, 48];
/// Stations by which a large controller grows.
const MODULE: u64 = 12;

/// Stations and the wire to them.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Wiring {
    /// How many stations.
    pub stations: u64,
    /// Wire from controllers to their valves \[m\]: straight distances × `pipe.main_route_factor`.
    pub wire_m: f64,
}

impl Wiring {
    /// The stations of a whole network.
    #[must_use]
    pub fn of(network: &NetworkPlan) -> Wiring {
        Wiring::over(network.stations.iter())
    }

    fn over<'a>(stations: impl Iterator<Item = &'a StationPlan>) -> Wiring {
        stations.fold(Wiring::default(), |sum, station| Wiring {
            stations: sum.stations + 1,
            wire_m: sum.wire_m + station.wire_m,
        })
    }

    fn plus(self, other: Wiring) -> Wiring {
        Wiring {
            stations: self.stations + other.stations,
            wire_m: self.wire_m + other.wire_m,
        }
    }

    /// The smallest controller that has so many stations; 0 without stations.
    #[must_use]
    pub fn controller_size(&self) -> u64 {
        let last = SIZES[SIZES.len() - 1];
        match self.stations {
            0 => 0,
            own if own > last => last + (own - last).div_ceil(MODULE) * MODULE,
            own => SIZES.into_iter().find(|&size| size >= own).unwrap_or(last),
        }
    }
}

/// What is in use of a parcel's stations before and after the recommended change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Control {
    /// As found, or as assumed to be found.
    pub found: Wiring,
    /// As recommended.
    pub after: Wiring,
}

impl Control {
    /// Reads off a plan; `None` where nothing is watered as found.
    #[must_use]
    pub fn of(plan: &ParcelPlan) -> Option<Control> {
        let found = plan
            .networks
            .iter()
            .find(|network| network.scenario == Scenario::AsFound)?;
        let best = |area: usize| {
            let mut scenarios = plan.turf.get(area)?.scenarios.iter();
            scenarios
                .find(|one| one.recommended)
                .map(|one| &one.scenario)
        };
        let stays = |area: usize| best(area).is_none_or(|scenario| !scenario.is_relayout());
        let kept = found.stations.iter();
        let kept = kept.filter(|station| station.heads.iter().any(|&(area, _)| stays(area)));
        let mut after = Wiring::over(kept);
        for network in plan
            .networks
            .iter()
            .filter(|one| one.scenario.is_relayout())
        {
            let is_best = |area: usize| best(area) == Some(&network.scenario);
            let new = network.stations.iter();
            let new = new.filter(|station| station.heads.iter().any(|&(area, _)| is_best(area)));
            after = after.plus(Wiring::over(new));
        }
        Some(Control {
            found: Wiring::of(found),
            after,
        })
    }

    /// Stations that are given up less those that are set anew; negative where there are more.
    #[must_use]
    pub fn stations_saved(&self) -> f64 {
        self.found.stations as f64 - self.after.stations as f64
    }

    /// The same for wire \[m\].
    #[must_use]
    pub fn wire_saved_m(&self) -> f64 {
        self.found.wire_m - self.after.wire_m
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_controller_has_at_least_the_stations_that_it_runs() {
        let size = |stations| {
            let wiring = Wiring {
                stations,
                wire_m: 0.0,
            };
            wiring.controller_size()
        };
        for (stations, wanted) in [
            (0, 0),
            (1, 4),
            (4, 4),
            (5, 6),
            (13, 16),
            (48, 48),
            (49, 60),
            (61, 72),
        ] {
            assert_eq!(size(stations), wanted, "{stations}");
        }
    }
}
