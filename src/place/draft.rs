//! A layout while it is being worked on: heads as free sectors, with what they may still do.

use super::ring::{Boundary, Spot};
use super::stand::Footing;
use super::{Head, Role, Setter};
use crate::catalogue::{Family, FlowFollows};
use crate::rain::Candidate;
use crate::shape::Point;

/// Largest gap on the boundary, in throws, for an even layout.
pub(super) const GAP_FRAC: f64 = 1.05;
/// Largest shortening of a nozzle whose flow does not follow its throw, so that rates stay within
/// 1.10 of one another: 1/√1.10.
const MATCHED_FRAC: f64 = 0.9535;
/// Most nozzle types of one layout.
const MOST_TYPES: usize = 4;

/// A head that may still change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Free {
    pub(super) sector: Candidate,
    pub(super) role: Role,
    /// Where it stands on the boundary; `None` inside.
    pub(super) spot: Option<Spot>,
    /// Shortest throw that its place allows \[m\].
    pub(super) least_m: f64,
    /// Start and sweep that the boundary gives it \[degrees\].
    pub(super) natural: (f64, f64),
}

/// The throws that a layout may use: one after another, each with its flow.
#[derive(Debug, Clone)]
pub(super) struct Throws<'f> {
    pub(super) setter: Setter<'f>,
    shortest_m: f64,
    longest_m: f64,
    /// Whether all heads have the same nozzle, so that a shorter throw changes all rates alike.
    is_one_nozzle: bool,
}

impl<'f> Throws<'f> {
    /// The throws around a design throw: up to the family's longest, down over at most four
    /// nozzles.
    pub(super) fn around(family: &'f Family, throw_m: f64, longest_m: f64) -> Throws<'f> {
        let top = family.nozzle_for(longest_m.max(throw_m));
        let bottom = (top + 1).saturating_sub(MOST_TYPES);
        let nozzle = &family.nozzles[bottom];
        let shortest_m = match family.flow_follows {
            FlowFollows::Throw => nozzle.shortest.m(),
            FlowFollows::Rated => nozzle.longest.m() * MATCHED_FRAC,
        };
        // A throw that a smaller nozzle reaches would be given to that.
        let smaller_m = bottom
            .checked_sub(1)
            .map_or(0.0, |smaller| family.nozzles[smaller].longest.m() + 0.01);
        let shortest_m = shortest_m.max(smaller_m);
        Throws {
            setter: Setter { family },
            shortest_m,
            longest_m: longest_m.max(throw_m).max(shortest_m),
            is_one_nozzle: false,
        }
    }

    /// The throws up to a design throw and down from it as far as rates stay matched, of one nozzle
    /// where the flow does not follow the throw.
    pub(super) fn alike(family: &'f Family, throw_m: f64) -> Throws<'f> {
        let around = Throws::around(family, throw_m, throw_m);
        match family.flow_follows {
            FlowFollows::Throw => around,
            // All heads have the nozzle of the design throw, shortened about alike.
            FlowFollows::Rated => {
                let nozzle = family.nozzle_for(throw_m);
                // A throw that a smaller nozzle reaches would be given to that.
                let smaller_m = if nozzle == 0 {
                    family.nozzles[0].shortest.m()
                } else {
                    family.nozzles[nozzle - 1].longest.m() + 0.01
                };
                Throws {
                    shortest_m: (throw_m * MATCHED_FRAC).max(smaller_m).min(throw_m),
                    is_one_nozzle: true,
                    ..around
                }
            }
        }
    }

    pub(super) fn shortest_m(&self) -> f64 {
        self.shortest_m
    }

    pub(super) fn longest_m(&self) -> f64 {
        self.longest_m
    }

    /// The throw nearest to the one wished for that can be set, in whole centimetres.
    pub(super) fn allowed(&self, wish_m: f64) -> f64 {
        let wish_m = wish_m.clamp(self.shortest_m, self.longest_m);
        let family = self.setter.family;
        let least_m = match family.flow_follows {
            FlowFollows::Throw => self.shortest_m,
            FlowFollows::Rated if self.is_one_nozzle => self.shortest_m,
            FlowFollows::Rated => {
                let nozzle = &family.nozzles[family.nozzle_for(wish_m)];
                nozzle.longest.m() * MATCHED_FRAC
            }
        };
        // A limit that is no whole centimetre is not passed by rounding.
        let least_cm = (least_m * 100.0 - 1e-6).ceil();
        (wish_m * 100.0).round().max(least_cm) / 100.0
    }

    /// A sector of this family.
    pub(super) fn sector(
        &self,
        at: Point,
        radius_m: f64,
        start_deg: f64,
        sweep_deg: f64,
    ) -> Candidate {
        let family = self.setter.family;
        let nozzle = family.nozzle_for(radius_m);
        let flow_lpm = family.flow(nozzle, radius_m, sweep_deg).lpm();
        let start_deg = if sweep_deg >= 360.0 { 0.0 } else { start_deg };
        Candidate {
            at,
            radius_m,
            start_deg,
            sweep_deg,
            flow_lpm,
        }
    }

    /// A head at a spot, its arc as the boundary opens there. What its neighbours ask of its throw
    /// is not known yet. `None` where no head may stand.
    pub(super) fn at_spot(
        &self,
        spot: Spot,
        boundary: &Boundary,
        footing: &Footing,
        throw_m: f64,
    ) -> Option<Free> {
        let at = footing.settled(boundary.path.at(spot.way_m))?;
        let reach_m = if spot.run.is_none() {
            0.3 * throw_m
        } else {
            0.45 * throw_m
        };
        let reach_m = reach_m.min(boundary.path.total_m() / 8.0);
        let (inside_deg, onward_deg) = boundary.path.opening(spot.way_m, reach_m);
        let sweep_deg = self.setter.nearest_sweep_deg(inside_deg);
        let start_deg = (onward_deg - inside_deg / 2.0 - sweep_deg / 2.0)
            .round()
            .rem_euclid(360.0);
        Some(Free {
            sector: self.sector(at, self.allowed(throw_m), start_deg, sweep_deg),
            role: if spot.run.is_none() {
                Role::Corner
            } else {
                Role::Edge
            },
            spot: Some(spot),
            least_m: self.shortest_m,
            natural: (start_deg, sweep_deg),
        })
    }

    /// A full circle inside.
    pub(super) fn inside(&self, at: Point, throw_m: f64) -> Free {
        Free {
            sector: self.sector(at, self.allowed(throw_m), 0.0, 360.0),
            role: Role::Interior,
            spot: None,
            least_m: self.shortest_m,
            natural: (0.0, 360.0),
        }
    }

    /// The head as it is set.
    pub(super) fn set(&self, free: &Free) -> Head {
        let sector = &free.sector;
        self.setter.head(
            sector.at,
            free.role,
            sector.radius_m,
            sector.start_deg,
            sector.sweep_deg,
        )
    }
}
