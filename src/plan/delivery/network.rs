//! Stations, mains and laterals of one scenario on one parcel.

use super::super::{Fitting, Planner, Scenario, ScenarioPlan, Site};
use super::source::Plant;
use super::{
    CHECK_VALVES, CONNECTION_ASSUMED, FLOW_RELEARN, HIGH_PRESSURE, LOW_PRESSURE, OVER_FLOW,
    PIPE_CROSSES, PRESSURE_SPREAD, PRESSURE_UNVERIFIED, PUMP_MINIMUM, VALVE_MINIMUM,
};
use crate::assumptions::{Assumptions, Key};
use crate::catalogue::{Family, Hardware};
use crate::hydraulics::inp::{self, Piece};
use crate::hydraulics::laterals::{Tree, tree};
use crate::hydraulics::materials::{Count, Line};
use crate::hydraulics::network::{Served, Solved, Station, Tap, inside_mm};
use crate::hydraulics::nozzle::{Body, Misting, Response, Working};
use crate::hydraulics::pipe::velocity_m_s;
use crate::hydraulics::stations::{Members, Outlet, by_name, grouped, slope_thirds};
use crate::hydraulics::supply::{Chain, Losses, Run, Source};
use crate::hydraulics::trench::Yard;
use crate::shape::{Outline, Point};
use crate::site::{Exposure, Grass, Texture};

/// The turf areas of a parcel with their scenarios.
type Areas<'a> = [(Site<'a>, Vec<ScenarioPlan>)];

/// Where nothing says which way water flows down, a lawn is level.
const LEVEL: (f64, Point) = (0.0, Point::new(0.0, 0.0));
/// Parts of a lawn that are told apart.
const PARTS_MOST: u32 = 1_000;
/// A flow sensor has to be taught a change beyond this share.
const RELEARN_FRAC: f64 = 0.1;
/// A node this much above the lowest head drains through it \[m\].
const DRAINS_ABOVE_M: f64 = 0.2;
/// A valve keeps this far from the head beside it \[m\].
const VALVE_BESIDE_M: f64 = 0.5;
/// A valve this near to its station's lawn is its valve \[m\].
const VALVE_REACH_M: f64 = 15.0;

/// What a pipe is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PipeRole {
    /// From the point of connection to the valves.
    Main,
    /// From a valve to its heads.
    Lateral,
}

/// One straight piece of pipe.
#[derive(Debug, Clone, PartialEq)]
pub struct PipeRow {
    /// What it is for.
    pub role: PipeRole,
    /// The station that it belongs to, from 1; `None` for mains.
    pub station: Option<usize>,
    /// Upstream end.
    pub from: Point,
    /// Downstream end.
    pub to: Point,
    /// Nominal size \[mm\].
    pub nominal_mm: f64,
    /// Inside diameter \[mm\].
    pub inside_mm: f64,
    /// Length \[m\].
    pub length_m: f64,
    /// Flow \[L/min\].
    pub flow_lpm: f64,
    /// Velocity \[m/s\].
    pub velocity_m_s: f64,
    /// Loss, fittings included \[kPa\].
    pub loss_kpa: f64,
    /// Pressure at the downstream end; `None` for mains \[kPa\].
    pub end_kpa: Option<f64>,
}

/// A station before it is changed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Before {
    /// Flow as delivered \[L/min\].
    pub flow_lpm: f64,
    /// Least pressure at a head's inlet \[kPa\].
    pub least_kpa: f64,
    /// Spread of the pressure over the rated one.
    pub spread_frac: f64,
}

/// One station.
#[derive(Debug, Clone, PartialEq)]
pub struct StationPlan {
    /// Where its valve stands.
    pub valve: Point,
    /// Its name, where it is in the ground and somebody named it.
    pub name: Option<String>,
    /// The same station as found; `None` for new ones, and as found.
    pub before: Option<Before>,
    /// Its heads: turf area among those planned, and head of its layout, both from 0.
    pub heads: Vec<(usize, usize)>,
    /// Flow at the rated pressure \[L/min\].
    pub rated_lpm: f64,
    /// Flow as delivered \[L/min\].
    pub flow_lpm: f64,
    /// Most that it may draw \[L/min\].
    pub safe_lpm: f64,
    /// Pressure behind the valve while it runs \[kPa\].
    pub valve_kpa: f64,
    /// Least and largest pressure at the heads' inlets \[kPa\].
    pub inlet_kpa: (f64, f64),
    /// Their difference over the rated pressure.
    pub spread_frac: f64,
    /// What regulated bodies hold; `None` without \[kPa\].
    pub set_kpa: Option<f64>,
    /// Heads below their lowest working pressure.
    pub below: usize,
    /// Largest velocity in its laterals \[m/s\].
    pub fastest_m_s: f64,
    /// Fall from its highest to its lowest head; `None` where the slope is not known \[m\].
    pub fall_m: Option<f64>,
    /// Water that runs out of its lowest head after every stop without check valves \[L\].
    pub drain_l: f64,
    /// Length of its laterals \[m\].
    pub lateral_m: f64,
    /// Length of the main to its valve \[m\].
    pub main_m: f64,
    /// Flags, sorted.
    pub flags: Vec<&'static str>,
}

/// Stations and pipes of one scenario.
#[derive(Debug, Clone, PartialEq)]
pub struct NetworkPlan {
    /// The scenario.
    pub scenario: Scenario,
    /// The nozzle family.
    pub family: String,
    /// Its stations.
    pub stations: Vec<StationPlan>,
    /// Its pipes where they are new; empty where they are in the ground already.
    pub pipes: Vec<PipeRow>,
    /// What has to be bought; empty as found.
    pub materials: Vec<Line>,
    /// The input file of the network solver, where it was asked for.
    pub inp: Option<String>,
}

/// What one head gets.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeadServed {
    /// Its station, from 1.
    pub station: usize,
    /// Pressure where it joins its lateral \[kPa\].
    pub inlet_kpa: f64,
    /// Pressure at its nozzle \[kPa\].
    pub nozzle_kpa: f64,
    /// Flow \[L/min\].
    pub flow_lpm: f64,
    /// Throw as a multiple of the rated one.
    pub throw_factor: f64,
    /// Share of the flow that is lost as mist.
    pub mist_frac: f64,
}

/// What the heads of one turf area get.
pub(super) struct AreaServed {
    pub(super) area: usize,
    pub(super) heads: Vec<HeadServed>,
    pub(super) flags: Vec<&'static str>,
}

/// A scenario built.
pub(super) struct Built {
    pub(super) plan: NetworkPlan,
    pub(super) served: Vec<AreaServed>,
}

/// What lawns must have in common to share a station, but for their place.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Kind {
    exposure: Option<Exposure>,
    grass: Option<Grass>,
    texture: Option<Texture>,
    steep: bool,
}

/// What is the same for every scenario of a parcel.
pub(super) struct Builder<'a> {
    planner: &'a Planner,
    assumptions: &'a Assumptions,
    plant: &'a Plant,
    losses: Losses,
    yard: Yard,
    /// The lawns that may share a station have the same number.
    groups: Vec<u32>,
    /// Height of each lawn's plane: metres of fall a metre, and the way down.
    planes: Vec<(f64, Point)>,
    /// Where each source is taken to be.
    places: Vec<Point>,
}

impl<'a> Builder<'a> {
    pub(super) fn new(
        planner: &'a Planner,
        assumptions: &'a Assumptions,
        plant: &'a Plant,
        areas: &Areas<'_>,
    ) -> Builder<'a> {
        let number = |key| assumptions.number(key);
        let turf: Vec<_> = areas.iter().map(|(site, _)| site.outline.clone()).collect();
        let (walls, trunks) = areas.first().map_or((&[][..], &[][..]), |(site, _)| {
            (site.ground.walls(), site.ground.trunks())
        });
        let root_zone_m = number(Key::PipeRootZone);
        let zones = trunks
            .iter()
            .filter_map(|trunk| Yard::root_zone(trunk, root_zone_m));
        let yard = Yard::new(turf, walls.to_vec(), number(Key::PipeOffTurf)).with_root_zones(zones);
        let planes = areas
            .iter()
            .map(|(site, _)| {
                let terrain = site.turf.land.terrain;
                terrain
                    .and_then(|terrain| {
                        let down = Point::along_bearing(terrain.aspect_deg?);
                        Some((terrain.slope_pct / 100.0, down))
                    })
                    .unwrap_or(LEVEL)
            })
            .collect();
        let places = plant
            .sources
            .iter()
            .map(|source| source.at.unwrap_or_else(|| likely_place(areas, &yard)))
            .collect();
        Builder {
            planner,
            assumptions,
            plant,
            losses: Losses::assumed(assumptions),
            groups: joined(areas, assumptions, yard.turf()),
            yard,
            planes,
            places,
        }
    }

    /// The pressure behind the valve nearest to the best source, without flow \[kPa\].
    pub(super) fn best_kpa(&self) -> f64 {
        let run = self.main_run(0.0, 0);
        self.plant
            .sources
            .iter()
            .map(|source| Chain::to_valve(source, &self.losses, run, 0.0, 0.0).valve_kpa(0.0))
            .fold(f64::NEG_INFINITY, f64::max)
    }

    /// How a head works at its pressure.
    pub(super) fn working(&self, family: &Family, head: &HeadServed) -> Working {
        Response::of(family).working(head.nozzle_kpa)
    }

    fn hardware(&self) -> &'a Hardware {
        &self.planner.catalogue.hardware
    }

    /// The pipe of the mains: the narrowest that carries a flow below the largest velocity and
    /// loses no more than it may on the way to the farthest valve; the widest where none does.
    fn main_size(&self, flow_lpm: f64, farthest_m: f64) -> usize {
        let pipes = &self.hardware().pipes;
        let by_velocity = self
            .hardware()
            .pipe_for(flow_lpm, self.assumptions.number(Key::PipeVelocity));
        let most_kpa = self.assumptions.number(Key::PipeMainLoss);
        (by_velocity..pipes.len())
            .find(|&size| self.main_run(farthest_m, size).loss_kpa(flow_lpm) <= most_kpa)
            .unwrap_or(pipes.len() - 1) // a catalogue has at least one pipe
    }

    /// A piece of main of a size.
    fn main_run(&self, length_m: f64, size: usize) -> Run {
        Run {
            length_m: length_m * (1.0 + self.losses.fittings_frac),
            inside_mm: self.hardware().pipes[size].inside_mm,
            roughness_c: self.losses.pipe_c,
        }
    }

    fn height_m(&self, area: usize, at: Point) -> f64 {
        let (fall, down) = self.planes[area];
        -fall * at.dot(down)
    }

    /// Builds a scenario: `None` where no area has heads in it, or they have no family.
    /// `found` are the stations as found.
    pub(super) fn build(
        &self,
        scenario: &Scenario,
        areas: &Areas<'_>,
        found: Option<&NetworkPlan>,
    ) -> Option<Built> {
        let plans: Vec<Option<&ScenarioPlan>> = areas
            .iter()
            .map(|(_, plans)| {
                let own = plans.iter().find(|plan| plan.scenario == *scenario);
                own.filter(|plan| !plan.heads.is_empty())
            })
            .collect();
        let name = plans.iter().flatten().next()?.family.clone();
        let family = self.planner.catalogue.family(&name)?;
        let is_new = matches!(scenario, Scenario::Relayout(_));
        let is_changed = !matches!(scenario, Scenario::AsFound | Scenario::Reclock);
        let regulated =
            is_changed && self.assumptions.choice(Key::HardwareNewBodies) != "unregulated";
        let holding = Body::Regulated {
            set_kpa: family.rated.kpa(),
            loss_kpa: self.assumptions.number(Key::PressureBodyLoss),
        };
        let body = if regulated { holding } else { Body::Plain };
        let heads: Vec<(usize, usize)> = plans
            .iter()
            .enumerate()
            .flat_map(|(area, plan)| {
                let count = plan.map_or(0, |plan| plan.heads.len());
                (0..count).map(move |head| (area, head))
            })
            .collect();
        let job = Job {
            builder: self,
            plans,
            family,
            body,
            holding,
            is_new,
            is_changed,
            heads,
        };
        let mut built = job.done(scenario);
        if let (true, Some(found)) = (is_changed, found) {
            built.compare(found);
        }
        Some(built)
    }
}

/// One scenario on its way.
struct Job<'b, 'a> {
    builder: &'b Builder<'a>,
    plans: Vec<Option<&'b ScenarioPlan>>,
    family: &'b Family,
    body: Body,
    /// A body that regulates.
    holding: Body,
    is_new: bool,
    is_changed: bool,
    /// All heads: area and number.
    heads: Vec<(usize, usize)>,
}

/// A station before its pipes are solved.
struct Draft {
    source: usize,
    name: Option<String>,
    members: Members,
    valve: Point,
}

impl Job<'_, '_> {
    fn at(&self, head: usize) -> Point {
        let (area, number) = self.heads[head];
        self.plans[area].map_or_else(Point::default, |plan| plan.heads[number].at)
    }

    /// Flow at the family's rated pressure; heads in the ground have theirs at their own.
    fn rated_lpm(&self, head: usize) -> f64 {
        let (area, number) = self.heads[head];
        let lpm = self.plans[area].map_or(0.0, |plan| plan.heads[number].flow.lpm());
        let factor = self
            .own_kpa(head)
            .map_or(1.0, |kpa| Response::of(self.family).flow_factor(kpa));
        if factor > 0.0 { lpm / factor } else { lpm }
    }

    fn fitting(&self, head: usize) -> Option<&Fitting> {
        let (area, number) = self.heads[head];
        self.plans[area]?.fittings.get(number)
    }

    /// The pressure at which a head in the ground has its flow and throw \[kPa\].
    fn own_kpa(&self, head: usize) -> Option<f64> {
        self.fitting(head).map(|fitting| fitting.pressure_kpa)
    }

    /// The body of a head: as the scenario has them; as found, regulated where somebody said so.
    fn body_of(&self, head: usize) -> Body {
        let is_kept = !self.is_changed && self.fitting(head).is_some_and(|own| own.regulated);
        if is_kept { self.holding } else { self.body }
    }

    /// The station of a head that is in the ground, where somebody named it.
    fn named(&self, head: usize) -> Option<&str> {
        self.fitting(head)?.station.as_deref()
    }

    /// What a head may share a station with: heads of the same part of lawns of one kind, on the
    /// same third of a slope.
    fn class(&self, head: usize, third: u32) -> u32 {
        let (area, number) = self.heads[head];
        let parts = self.plans[area].map_or(&[][..], |plan| plan.groups.as_slice());
        // Whole lawns are part 1; parts of a divided one are its own.
        let part = parts.get(number).copied().unwrap_or(1);
        let lawn = if parts.iter().all(|&part| part == 1) {
            self.builder.groups[area]
        } else {
            area as u32 // a parcel has few lawns
        };
        (lawn * PARTS_MOST + u32::from(part).min(PARTS_MOST - 1)) * 3 + third
    }

    /// The sources, and the heads that each feeds: those nearest to it, lawn by lawn.
    fn drafts(&self) -> Vec<Draft> {
        let builder = self.builder;
        let limit_m = builder.assumptions.number(Key::StationFall);
        let mut feeds = vec![0; self.plans.len()];
        let mut thirds: Vec<u32> = vec![0; self.heads.len()];
        for area in 0..self.plans.len() {
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
            feeds[area] = (0..builder.places.len())
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
                    class: self.class(head, thirds[head]),
                })
                .collect();
            let safe_lpm = builder.plant.sources[source].safe_lpm;
            for members in grouped(&outlets, safe_lpm) {
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

    fn done(self, scenario: &Scenario) -> Built {
        let builder = self.builder;
        let drafts = self.drafts();
        let number = |key| builder.assumptions.number(key);
        let mut count = Count::default();
        let mut pipes = Vec::new();
        let mut main_m = vec![0.0; drafts.len()];
        let mut widest_lpm = vec![0.0_f64; builder.places.len()];
        let mut sizes = vec![0; builder.places.len()];
        for draft in &drafts {
            let lpm: f64 = draft.members.iter().map(|&head| self.rated_lpm(head)).sum();
            widest_lpm[draft.source] = widest_lpm[draft.source].max(lpm);
        }
        for (source, place) in builder.places.iter().enumerate() {
            let own: Vec<usize> = (0..drafts.len())
                .filter(|&at| drafts[at].source == source)
                .collect();
            let valves: Vec<Point> = own.iter().map(|&at| drafts[at].valve).collect();
            let mains = tree(*place, &valves, &builder.yard, number(Key::PipePathWeight));
            let mut way_m = vec![0.0; mains.nodes.len()];
            for node in 1..way_m.len() {
                way_m[node] = way_m[mains.feeds[node]] + mains.length_m(node);
            }
            for (&at, &node) in own.iter().zip(&mains.heads) {
                main_m[at] = way_m[node];
            }
            let farthest_m = own.iter().map(|&at| main_m[at]).fold(0.0, f64::max);
            sizes[source] = builder.main_size(widest_lpm[source], farthest_m);
            if self.is_new {
                let carried = (sizes[source], widest_lpm[source]);
                self.add_mains(&mains, carried, &mut pipes, &mut count);
            }
        }
        let farthest_m = main_m.iter().copied().fold(0.0, f64::max);
        let mut finished: Vec<Finished> = Vec::new();
        for (draft, &length_m) in drafts.iter().zip(&main_m) {
            let source = &builder.plant.sources[draft.source];
            let share = if farthest_m > 0.0 {
                length_m / farthest_m
            } else {
                0.0
            };
            let main = builder.main_run(length_m, sizes[draft.source]);
            let chain = Chain::to_valve(source, &builder.losses, main, share, 0.0);
            finished.push(self.finish(draft, source, chain, length_m));
        }
        let mut served = self.empty_served();
        for (at, done) in finished.iter().enumerate() {
            if self.is_new {
                self.add_laterals(at + 1, done, &mut pipes, &mut count);
                let place = builder.places[drafts[at].source];
                let controller = builder
                    .plant
                    .controllers
                    .iter()
                    .map(|controller| controller.distance(done.plan.valve))
                    .fold(f64::INFINITY, f64::min);
                let distance_m = controller.min(place.distance(done.plan.valve));
                let wire_m = distance_m * number(Key::PipeRoute);
                count.valve(done.plan.rated_lpm, wire_m, builder.hardware());
            }
            self.serve(at + 1, done, &mut served);
        }
        self.count_heads(&finished, &mut count);
        let inp = (self.is_new && builder.planner.inp).then(|| self.inp(scenario, &finished));
        Built {
            plan: NetworkPlan {
                scenario: scenario.clone(),
                family: self.family.name.clone(),
                materials: if self.is_changed {
                    count.lines(builder.hardware())
                } else {
                    Vec::new()
                },
                stations: finished.into_iter().map(|done| done.plan).collect(),
                pipes,
                inp,
            },
            served,
        }
    }

    fn empty_served(&self) -> Vec<AreaServed> {
        let nothing = HeadServed {
            station: 0,
            inlet_kpa: 0.0,
            nozzle_kpa: 0.0,
            flow_lpm: 0.0,
            throw_factor: 0.0,
            mist_frac: 0.0,
        };
        self.plans
            .iter()
            .enumerate()
            .filter_map(|(area, plan)| {
                Some(AreaServed {
                    area,
                    heads: vec![nothing; (*plan)?.heads.len()],
                    flags: Vec::new(),
                })
            })
            .collect()
    }

    /// Lays, sizes and solves the pipes of a station.
    fn finish(&self, draft: &Draft, source: &Source, chain: Chain, main_m: f64) -> Finished {
        let builder = self.builder;
        let number = |key| builder.assumptions.number(key);
        let places: Vec<Point> = draft.members.iter().map(|&head| self.at(head)).collect();
        let tree = tree(
            draft.valve,
            &places,
            &builder.yard,
            number(Key::PipePathWeight),
        );
        let taps: Vec<Tap> = draft
            .members
            .iter()
            .zip(&tree.heads)
            .map(|(&head, &node)| Tap {
                node,
                rated_lpm: self.rated_lpm(head),
                body: self.body_of(head),
            })
            .collect();
        let area = self.main_area(&draft.members);
        let is_sloped = builder.planes[area].0 > 0.0;
        let zero_m = builder.height_m(area, draft.valve);
        let heights_m: Vec<f64> = tree
            .nodes
            .iter()
            .map(|&at| builder.height_m(area, at) - zero_m)
            .collect();
        let station = Station {
            tree: &tree,
            taps: &taps,
            response: Response::of(self.family),
            heights_m: &heights_m,
            roughness_c: builder.losses.pipe_c,
            fittings_frac: builder.losses.fittings_frac,
        };
        let rated_kpa = self.family.rated.kpa();
        let (most_m_s, most_frac) = (number(Key::PipeVelocity), number(Key::PipeSpread));
        let sizes = station.sized(builder.hardware(), most_m_s, most_frac, rated_kpa);
        let bores_mm = inside_mm(&sizes, builder.hardware());
        let solved = station.solve(&bores_mm, &chain);
        let of_heads = taps.iter().map(|tap| heights_m[tap.node]);
        let lowest_m = of_heads.clone().fold(f64::INFINITY, f64::min);
        let fall_m = of_heads.fold(f64::NEG_INFINITY, f64::max) - lowest_m;
        let litres = |node: usize| {
            let radius_dm = bores_mm[node] / 200.0;
            10.0 * tree.length_m(node) * std::f64::consts::PI * radius_dm * radius_dm
        };
        let falls = is_sloped && fall_m > number(Key::StationFall);
        let drain_l = if falls {
            (1..tree.nodes.len())
                .filter(|&node| heights_m[node] > lowest_m + DRAINS_ABOVE_M)
                .map(litres)
                .sum()
        } else {
            0.0
        };
        let response = Response::of(self.family);
        let (mut below, mut above) = (0, 0);
        for head in &solved.heads {
            match response.working(head.nozzle_kpa) {
                Working::Dry | Working::Below => below += 1,
                Working::Above => above += 1,
                Working::Within => {}
            }
        }
        let rated_lpm: f64 = taps.iter().map(|tap| tap.rated_lpm).sum();
        let spread_frac = solved.spread_frac(rated_kpa);
        let flow_lpm = solved.flow_lpm();
        let flags = [
            (!source.is_read, PRESSURE_UNVERIFIED),
            (source.at.is_none(), CONNECTION_ASSUMED),
            (below > 0, LOW_PRESSURE),
            (above > 0, HIGH_PRESSURE),
            (flow_lpm > source.safe_lpm * 1.001, OVER_FLOW),
            (flow_lpm < number(Key::ValveLeast), VALVE_MINIMUM),
            (flow_lpm < source.pump_least_lpm, PUMP_MINIMUM),
            (falls, CHECK_VALVES),
            (tree.crossings > 0, PIPE_CROSSES),
            (
                spread_frac > most_frac && self.body == Body::Plain,
                PRESSURE_SPREAD,
            ),
        ];
        let mut flags: Vec<&'static str> = flags
            .into_iter()
            .filter_map(|(holds, flag)| holds.then_some(flag))
            .collect();
        flags.sort_unstable();
        let plan = StationPlan {
            valve: draft.valve,
            name: draft.name.clone(),
            before: None,
            heads: draft.members.iter().map(|&head| self.heads[head]).collect(),
            rated_lpm,
            flow_lpm,
            safe_lpm: source.safe_lpm,
            valve_kpa: solved.node_kpa[0],
            inlet_kpa: solved.inlet_range_kpa(),
            spread_frac,
            set_kpa: match self.body {
                Body::Plain => None,
                Body::Regulated { set_kpa, .. } => Some(set_kpa),
            },
            below,
            fastest_m_s: station.fastest_m_s(&solved, &bores_mm),
            fall_m: is_sloped.then_some(fall_m),
            drain_l,
            lateral_m: tree.trench_m(),
            main_m,
            flags,
        };
        Finished {
            plan,
            tree,
            taps,
            heights_m,
            sizes,
            bores_mm,
            chain,
            solved,
        }
    }

    /// The lawn of most heads of a station; the first of equals.
    fn main_area(&self, members: &[usize]) -> usize {
        let mut counts = vec![0_usize; self.plans.len()];
        for &head in members {
            counts[self.heads[head].0] += 1;
        }
        (0..counts.len()).fold(0, |best, area| {
            if counts[area] > counts[best] {
                area
            } else {
                best
            }
        })
    }

    fn add_mains(
        &self,
        mains: &Tree,
        (size, flow_lpm): (usize, f64),
        pipes: &mut Vec<PipeRow>,
        count: &mut Count,
    ) {
        let builder = self.builder;
        let hardware = builder.hardware();
        for node in 1..mains.nodes.len() {
            let length_m = mains.length_m(node);
            pipes.push(PipeRow {
                role: PipeRole::Main,
                station: None,
                from: mains.nodes[mains.feeds[node]],
                to: mains.nodes[node],
                nominal_mm: hardware.pipes[size].nominal_mm,
                inside_mm: hardware.pipes[size].inside_mm,
                length_m,
                flow_lpm,
                velocity_m_s: velocity_m_s(flow_lpm, hardware.pipes[size].inside_mm),
                loss_kpa: builder.main_run(length_m, size).loss_kpa(flow_lpm),
                end_kpa: None,
            });
        }
        count.pipes(mains, &vec![size; mains.nodes.len()]);
    }

    fn add_laterals(
        &self,
        station: usize,
        done: &Finished,
        pipes: &mut Vec<PipeRow>,
        count: &mut Count,
    ) {
        let hardware = self.builder.hardware();
        for node in 1..done.tree.nodes.len() {
            let flow_lpm = done.solved.pipe_lpm[node];
            pipes.push(PipeRow {
                role: PipeRole::Lateral,
                station: Some(station),
                from: done.tree.nodes[done.tree.feeds[node]],
                to: done.tree.nodes[node],
                nominal_mm: hardware.pipes[done.sizes[node]].nominal_mm,
                inside_mm: done.bores_mm[node],
                length_m: done.tree.length_m(node),
                flow_lpm,
                velocity_m_s: velocity_m_s(flow_lpm, done.bores_mm[node]),
                loss_kpa: done.solved.loss_kpa[node],
                end_kpa: Some(done.solved.node_kpa[node]),
            });
        }
        count.pipes(&done.tree, &done.sizes);
    }

    /// Nozzles always; bodies and check valves where they are new, adapters where they stay.
    fn count_heads(&self, finished: &[Finished], count: &mut Count) {
        for done in finished {
            let falls = done.plan.flags.contains(&CHECK_VALVES);
            for &(area, head) in &done.plan.heads {
                let Some(plan) = self.plans[area] else {
                    continue;
                };
                count.nozzle(&plan.nozzle_names[head], self.family.unit_cost_cur);
                if self.is_new {
                    count.body(self.body != Body::Plain);
                }
                if falls {
                    count.check_valve();
                }
            }
        }
        for (plan, works) in self
            .plans
            .iter()
            .flatten()
            .filter_map(|plan| Some((*plan, plan.works?)))
        {
            // Old bodies that stay take another family's nozzle with an adapter.
            if matches!(plan.scenario, Scenario::Swap(_)) {
                for _ in works.bodies + works.added..plan.heads.len() {
                    count.adapter();
                }
            }
            for _ in 0..works.bodies + works.added {
                count.body(self.body != Body::Plain);
            }
        }
    }

    fn serve(&self, station: usize, done: &Finished, served: &mut [AreaServed]) {
        let misting = Misting::assumed(self.builder.assumptions);
        let rated_kpa = self.family.rated.kpa();
        for (&(area, head), got) in done.plan.heads.iter().zip(&done.solved.heads) {
            let Served {
                inlet_kpa,
                nozzle_kpa,
                flow_lpm,
                throw_factor,
            } = *got;
            let Some(own) = served.iter_mut().find(|own| own.area == area) else {
                continue;
            };
            own.heads[head] = HeadServed {
                station,
                inlet_kpa,
                nozzle_kpa,
                flow_lpm,
                throw_factor: throw_factor / self.own_throw(area, head),
                mist_frac: misting.lost_frac(nozzle_kpa, rated_kpa),
            };
            own.flags.extend(&done.plan.flags);
        }
    }

    /// The throw of a head in the ground at its own pressure, as a multiple of the rated one.
    fn own_throw(&self, area: usize, number: usize) -> f64 {
        let fitting = self.plans[area].and_then(|plan| plan.fittings.get(number));
        let factor = fitting.map_or(1.0, |own| {
            Response::of(self.family).throw_factor(own.pressure_kpa)
        });
        if factor > 0.0 { factor } else { 1.0 }
    }

    fn inp(&self, scenario: &Scenario, finished: &[Finished]) -> String {
        let pieces: Vec<Piece> = finished
            .iter()
            .map(|done| Piece {
                station: Station {
                    tree: &done.tree,
                    taps: &done.taps,
                    response: Response::of(self.family),
                    heights_m: &done.heights_m,
                    roughness_c: self.builder.losses.pipe_c,
                    fittings_frac: self.builder.losses.fittings_frac,
                },
                chain: &done.chain,
                inside_mm: &done.bores_mm,
                solved: &done.solved,
            })
            .collect();
        inp::text(&scenario.text(), &pieces)
    }
}

impl Built {
    /// Puts what each kept station did before beside it; where flows are watched, a change of more
    /// than a tenth has to be learned anew.
    fn compare(&mut self, found: &NetworkPlan) {
        let mut relearned: Vec<usize> = Vec::new();
        for station in self
            .plan
            .stations
            .iter_mut()
            .filter(|one| one.name.is_some())
        {
            let mut before = found.stations.iter();
            let Some(before) = before.find(|before| before.name == station.name) else {
                continue;
            };
            station.before = Some(Before {
                flow_lpm: before.flow_lpm,
                least_kpa: before.inlet_kpa.0,
                spread_frac: before.spread_frac,
            });
            let change_lpm = (station.flow_lpm - before.flow_lpm).abs();
            if change_lpm > RELEARN_FRAC * before.flow_lpm {
                station.flags.push(FLOW_RELEARN);
                station.flags.sort_unstable();
                relearned.extend(station.heads.iter().map(|&(area, _)| area));
            }
        }
        for own in &mut self.served {
            if relearned.contains(&own.area) {
                own.flags.push(FLOW_RELEARN);
            }
        }
    }
}

/// A station with its pipes.
struct Finished {
    plan: StationPlan,
    tree: Tree,
    taps: Vec<Tap>,
    heights_m: Vec<f64>,
    sizes: Vec<usize>,
    bores_mm: Vec<f64>,
    chain: Chain,
    solved: Solved,
}

/// Numbers lawns so that those of one kind that lie near one another have the same.
fn joined(areas: &Areas<'_>, assumptions: &Assumptions, turf: &[Outline]) -> Vec<u32> {
    let gap_m = assumptions.number(Key::StationJoin);
    let steep_pct = assumptions.number(Key::StationSlope);
    let kinds: Vec<Kind> = areas
        .iter()
        .map(|(site, _)| Kind {
            exposure: site.turf.exposure,
            grass: site.turf.grass,
            texture: site.turf.land.soil.map(|soil| soil.texture),
            steep: site
                .turf
                .land
                .terrain
                .is_some_and(|terrain| terrain.slope_pct >= steep_pct),
        })
        .collect();
    let mut groups: Vec<u32> = (0..areas.len() as u32).collect();
    for a in 0..areas.len() {
        for b in a + 1..areas.len() {
            let apart = groups[a] != groups[b];
            if apart && kinds[a] == kinds[b] && are_within(&turf[a], &turf[b], gap_m) {
                let (keep, give) = (groups[a].min(groups[b]), groups[a].max(groups[b]));
                for group in &mut groups {
                    if *group == give {
                        *group = keep;
                    }
                }
            }
        }
    }
    groups
}

/// Whether two lawns come within a distance of one another, by their corners.
fn are_within(a: &Outline, b: &Outline, gap_m: f64) -> bool {
    let ((a_low, a_high), (b_low, b_high)) = (a.bounds(), b.bounds());
    let far = a_low.x - b_high.x > gap_m
        || b_low.x - a_high.x > gap_m
        || a_low.y - b_high.y > gap_m
        || b_low.y - a_high.y > gap_m;
    if far {
        return false;
    }
    let near = |one: &Outline, other: &Outline| {
        one.outer()
            .iter()
            .any(|&corner| other.boundary_distance_m(corner) <= gap_m)
    };
    near(a, b) || near(b, a)
}

/// Where the point of connection is taken to be when no layer says: on the edge of the lawn, as
/// near as may be to a building; without one, the southernmost corner of the first lawn.
fn likely_place(areas: &Areas<'_>, yard: &Yard) -> Point {
    let corners = || {
        yard.turf()
            .iter()
            .flat_map(|turf| turf.outer().iter().copied())
    };
    let walls = areas
        .first()
        .map_or(&[][..], |(site, _)| site.ground.walls());
    let by_wall = corners()
        .filter_map(|corner| {
            walls
                .iter()
                .map(|wall| wall.boundary_distance_m(corner))
                .min_by(f64::total_cmp)
                .map(|distance_m| (distance_m, corner))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.y.total_cmp(&b.1.y)));
    match by_wall {
        Some((_, corner)) => corner,
        None => yard
            .turf()
            .first()
            .and_then(|turf| {
                turf.outer()
                    .iter()
                    .copied()
                    .min_by(|a, b| a.y.total_cmp(&b.y).then(a.x.total_cmp(&b.x)))
            })
            .unwrap_or_default(),
    }
}
