//! One scenario before its pipes: which heads run together, and where their valves stand.

use super::super::{Fitting, ScenarioPlan};
use super::builder::Builder;
use crate::assumptions::Key;
use crate::catalogue::Family;
use crate::hydraulics::nozzle::{Body, Response};
use crate::hydraulics::stations::{Members, Outlet, by_name, grouped, slope_thirds};
use crate::hydraulics::work::Work;
use crate::shape::Point;

/// Parts of a lawn that are told apart.
const PARTS_MOST: u32 = 1_000;
/// A valve keeps this far from the head beside it \[m\].
const VALVE_BESIDE_M: f64 = 0.5;
/// A valve this near to its station's lawn is its valve \[m\].
const VALVE_REACH_M: f64 = 15.0;

/// One scenario on its way.
pub(super) struct Job<'b, 'a> {
    pub(super) builder: &'b Builder<'a>,
    pub(super) plans: Vec<Option<&'b ScenarioPlan>>,
    pub(super) family: &'b Family,
    pub(super) body: Body,
    /// A body that regulates.
    pub(super) holding: Body,
    pub(super) is_new: bool,
    pub(super) is_changed: bool,
    /// All heads: area and number.
    pub(super) heads: Vec<(usize, usize)>,
}

/// A station before its pipes are solved.
pub(super) struct Draft {
    pub(super) source: usize,
    pub(super) name: Option<String>,
    pub(super) members: Members,
    pub(super) valve: Point,
}

impl Job<'_, '_> {
    pub(super) fn at(&self, head: usize) -> Point {
        let (area, number) = self.heads[head];
        self.plans[area].map_or_else(Point::default, |plan| plan.heads[number].at)
    }

    /// Flow at the family's rated pressure; heads in the ground have theirs at their own.
    pub(super) fn rated_lpm(&self, head: usize) -> f64 {
        let (area, number) = self.heads[head];
        let lpm = self.plans[area].map_or(0.0, |plan| plan.heads[number].flow.lpm());
        let factor = self
            .own_kpa(head)
            .map_or(1.0, |kpa| Response::of(self.family).flow_factor(kpa));
        if factor > 0.0 { lpm / factor } else { lpm }
    }

    pub(super) fn fitting(&self, head: usize) -> Option<&Fitting> {
        let (area, number) = self.heads[head];
        self.plans[area]?.fittings.get(number)
    }

    /// The pressure at which a head in the ground has its flow and throw \[kPa\].
    fn own_kpa(&self, head: usize) -> Option<f64> {
        self.fitting(head).map(|fitting| fitting.pressure_kpa)
    }

    /// The body of a head: as its fitting says; those of new layouts as all are set.
    pub(super) fn body_of(&self, head: usize) -> Body {
        match self.fitting(head) {
            Some(own) if own.regulated => self.holding,
            Some(_) => Body::Plain,
            None => self.body,
        }
    }

    /// The station of a head that is in the ground, where somebody named it.
    fn named(&self, head: usize) -> Option<&str> {
        self.fitting(head)?.station.as_deref()
    }

    /// What a head may share a station with: heads of the same part of lawns of one kind, on the
    /// same third of a slope. `is_whole` says of each area whether it is one part.
    fn class(&self, head: usize, third: u32, is_whole: &[bool]) -> u32 {
        let (area, number) = self.heads[head];
        let parts = self.plans[area].map_or(&[][..], |plan| plan.groups.as_slice());
        // Whole lawns are part 1; parts of a divided one are its own.
        let part = parts.get(number).copied().unwrap_or(1);
        let lawn = if is_whole[area] {
            self.builder.groups[area]
        } else {
            area as u32 // a parcel has few lawns
        };
        (lawn * PARTS_MOST + u32::from(part).min(PARTS_MOST - 1)) * 3 + third
    }

    /// The sources, and the heads that each feeds: those nearest to it, lawn by lawn.
    pub(super) fn drafts(&self, work: &Work) -> Vec<Draft> {
        let builder = self.builder;
        let limit_m = builder.assumptions.number(Key::StationFall);
        let mut feeds = vec![0; self.plans.len()];
        let mut thirds: Vec<u32> = vec![0; self.heads.len()];
        for (area, feed) in feeds.iter_mut().enumerate() {
            let members: Vec<usize> = (0..self.heads.len())
                .filter(|&head| self.heads[head].0 == area)
                .collect();
            let Some(&first) = members.first() else {
                continue;
            };
            let middle = members
                .iter()
                .fold(Point::default(), |sum, &head| sum + self.at(head))
                * (1.0 / members.len() as f64);
            let distance = |source: &usize| builder.places[*source].distance(middle);
            *feed = (0..builder.places.len())
                .min_by(|a, b| distance(a).total_cmp(&distance(b)))
                .unwrap_or(0);
            let slope_pct = 100.0 * builder.planes[area].0;
            if slope_pct >= builder.assumptions.number(Key::StationSlope) {
                let heights: Vec<f64> = members
                    .iter()
                    .map(|&head| builder.height_m(area, self.at(head)))
                    .collect();
                let parts = slope_thirds(&heights, limit_m);
                thirds[first..first + members.len()].copy_from_slice(&parts);
            }
        }
        let is_whole: Vec<bool> = self
            .plans
            .iter()
            .map(|plan| plan.is_none_or(|plan| plan.groups.iter().all(|&part| part == 1)))
            .collect();
        let mut drafts = Vec::new();
        // Stations that are in the ground stay as they are.
        let names: Vec<Option<&str>> = (0..self.heads.len()).map(|head| self.named(head)).collect();
        let (kept, unnamed) = by_name(&names);
        for (name, members) in kept {
            let source = feeds[self.heads[members[0]].0]; // no station is empty
            drafts.push(Draft {
                source,
                valve: self.valve(&members, builder.places[source]),
                name: Some(name),
                members,
            });
        }
        for source in 0..builder.places.len() {
            let own: Vec<usize> = unnamed
                .iter()
                .copied()
                .filter(|&head| feeds[self.heads[head].0] == source)
                .collect();
            let outlets: Vec<Outlet> = own
                .iter()
                .map(|&head| Outlet {
                    at: self.at(head),
                    flow_lpm: self.rated_lpm(head),
                    class: self.class(head, thirds[head], &is_whole),
                })
                .collect();
            let safe_lpm = builder.most_lpm(source);
            for members in grouped(&outlets, safe_lpm, work) {
                let members: Members = members.into_iter().map(|i| own[i]).collect();
                drafts.push(Draft {
                    source,
                    valve: self.valve(&members, builder.places[source]),
                    name: None,
                    members,
                });
            }
        }
        drafts
    }

    /// Where the valve of a station stands: one that is there and near, else on the edge of the
    /// lawn beside the head nearest to the point of connection.
    fn valve(&self, members: &[usize], from: Point) -> Point {
        let builder = self.builder;
        let nearest = members
            .iter()
            .copied()
            .min_by(|&a, &b| {
                self.at(a)
                    .distance(from)
                    .total_cmp(&self.at(b).distance(from))
            })
            .unwrap_or(0);
        let head = self.at(nearest);
        let there = builder
            .plant
            .valves
            .iter()
            .map(|valve| (valve.distance(head), *valve))
            .filter(|(distance_m, _)| *distance_m <= VALVE_REACH_M)
            .min_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((_, valve)) = there {
            return valve;
        }
        let lawn = &builder.yard.turf()[self.heads[nearest].0];
        let mut best: Option<(f64, Point)> = None;
        for (a, b) in lawn.edges() {
            let along = b - a;
            let share = ((head - a).dot(along) / along.dot(along)).clamp(0.0, 1.0);
            let at = a + along * share;
            if best.is_none_or(|(least, _)| at.distance(head) < least) {
                best = Some((at.distance(head), at));
            }
        }
        // Half a metre beside the head, on the edge towards the point of connection; on the edge
        // itself where that is off the lawn.
        let edge = best.map_or(head, |(_, at)| at);
        let beside = edge + (from - edge).unit() * VALVE_BESIDE_M;
        if edge.distance(head) < VALVE_BESIDE_M && lawn.contains(beside) {
            beside
        } else {
            edge
        }
    }
}
