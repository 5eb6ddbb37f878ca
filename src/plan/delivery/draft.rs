//! One scenario before its pipes: which heads run together, and where their valves stand.

use super::super::{Fitting, ScenarioPlan};
use super::builder::Builder;
use crate::assumptions::Key;
use crate::catalogue::Family;
use crate::hydraulics::apart::Rules;
use crate::hydraulics::nozzle::{Body, Response};
use crate::hydraulics::stations::{Members, Outlet, by_name, grouped_by, slope_thirds};
use crate::hydraulics::work::Work;
use crate::shape::Point;

/// Parts of a lawn that are told apart.
const PARTS_MOST: u32 = 1_000;

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
    /// Heads that somebody found in the ground of each area.
    pub(super) in_ground: Vec<usize>,
    /// Where the heads of each station as found stand, by area, for what keeps its valves; empty for new
    /// layouts and as found.
    pub(super) kept: Vec<Vec<(usize, Point)>>,
    /// All heads: area and number.
    pub(super) heads: Vec<(usize, usize)>,
}

/// A station before its pipes are solved.
#[derive(Clone)]
pub(super) struct Draft {
    pub(super) source: usize,
    pub(super) name: Option<String>,
    pub(super) members: Members,
    pub(super) valve: Point,
    /// The box in which the valve stands, from 1.
    pub(super) valve_box: usize,
    /// Whether its valve is in the ground, so that it is not parted.
    pub(super) is_kept: bool,
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

    /// Heads by the stations as found that have the nearest head of their area; and those that are left
    /// where there is none.
    fn with_their_valves(&self, heads: Vec<usize>) -> (Vec<Members>, Members) {
        let mut stations: Vec<Members> = vec![Vec::new(); self.kept.len()];
        let mut left = Vec::new();
        for head in heads {
            let (area, at) = (self.heads[head].0, self.at(head));
            let near = |places: &Vec<(usize, Point)>| {
                let own = places.iter().filter(|(other, _)| *other == area);
                own.map(|(_, place)| place.distance(at))
                    .min_by(f64::total_cmp)
            };
            let nearest = (0..self.kept.len())
                .filter_map(|station| Some((near(&self.kept[station])?, station)))
                .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            match nearest {
                Some((_, station)) => stations[station].push(head),
                None => left.push(head),
            }
        }
        stations.retain(|members| !members.is_empty());
        (stations, left)
    }

    /// The kind of nozzle of each of some heads, as a number; empty where heads are in the ground already.
    fn nozzle_kinds(&self, heads: &[usize]) -> Vec<u32> {
        if !self.is_new {
            return Vec::new();
        }
        let mut names: Vec<&str> = Vec::new();
        let own = heads.iter().map(|&head| self.nozzle_name(head));
        own.map(|name| {
            let known = names.iter().position(|other| *other == name);
            known.unwrap_or_else(|| {
                names.push(name);
                names.len() - 1
            }) as u32 // a catalogue has few nozzles
        })
        .collect()
    }

    pub(super) fn nozzle_name(&self, head: usize) -> &str {
        let (area, number) = self.heads[head];
        let names = self.plans[area].map_or(&[][..], |plan| plan.nozzle_names.as_slice());
        names.get(number).map_or("", String::as_str)
    }

    /// The station of a head that is in the ground, where somebody named it.
    fn named(&self, head: usize) -> Option<&str> {
        self.fitting(head)?.station.as_deref()
    }

    /// What a head may share a station with: heads of the same part of lawns of one kind, on the
    /// same third of a slope. `is_whole` says of each area whether it is one part.
    pub(super) fn class(&self, head: usize, third: u32, is_whole: &[bool]) -> u32 {
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
                valve: Point::default(),
                valve_box: 0,
                is_kept: true,
                name: Some(name),
                members,
            });
        }
        // Valves in the ground stay with their heads, whoever grouped them.
        let (kept, unnamed) = self.with_their_valves(unnamed);
        for members in kept {
            drafts.push(Draft {
                source: feeds[self.heads[members[0]].0], // no station is empty
                valve: Point::default(),
                valve_box: 0,
                is_kept: true,
                name: None,
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
            let limit_lpm = builder.most_lpm(source).min(self.holding_lpm(source, &own));
            for members in self.parted(&own, &outlets, limit_lpm, work) {
                let members: Members = members.into_iter().map(|i| own[i]).collect();
                drafts.push(Draft {
                    source,
                    valve: Point::default(),
                    valve_box: 0,
                    is_kept: false,
                    name: None,
                    members,
                });
            }
        }
        self.place_valves(&mut drafts);
        drafts
    }

    /// Groups heads into stations within a flow \[L/min\]: of few nozzle types, and not on two sides of
    /// what no trench may cross.
    pub(super) fn parted(
        &self,
        heads: &[usize],
        outlets: &[Outlet],
        limit_lpm: f64,
        work: &Work,
    ) -> Vec<Members> {
        let builder = self.builder;
        let nozzles = self.nozzle_kinds(heads);
        let clear = |a: Point, b: Point| builder.yard.is_clear(a, b);
        let (low, high) = box_of(outlets);
        let stands = builder.yard.has_solid_in(low, high);
        let rules = Rules {
            nozzles: &nozzles,
            is_clear: stands.then_some(&clear as &dyn Fn(Point, Point) -> bool),
            least_lpm: builder.assumptions.number(Key::ValveLeast),
        };
        grouped_by(outlets, limit_lpm, rules, work)
    }
}

/// South-west and north-east corner of some outlets.
fn box_of(outlets: &[Outlet]) -> (Point, Point) {
    let corner = Point::new(f64::INFINITY, f64::INFINITY);
    let outlets = outlets.iter().map(|outlet| outlet.at);
    outlets.fold((corner, corner * -1.0), |(low, high), at| {
        (
            Point::new(low.x.min(at.x), low.y.min(at.y)),
            Point::new(high.x.max(at.x), high.y.max(at.y)),
        )
    })
}
