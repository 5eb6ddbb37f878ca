//! Mains and laterals of one scenario, laid, sized, solved and counted.

use super::super::{BodyWork, Scenario};
use super::draft::{Draft, Job};
use super::outcome::{AreaServed, Built, HeadServed, NetworkPlan, PipeRole, PipeRow, StationPlan};
use super::{
    CHECK_VALVES, CONNECTION_ASSUMED, HIGH_PRESSURE, LOW_PRESSURE, OVER_FLOW, PIPE_CROSSES,
    PRESSURE_SPREAD, PRESSURE_UNVERIFIED, PUMP_MINIMUM, VALVE_MINIMUM,
};
use crate::assumptions::Key;
use crate::hydraulics::inp::{self, Piece};
use crate::hydraulics::laterals::{Tree, tree};
use crate::hydraulics::materials::{Count, Counts};
use crate::hydraulics::network::{Served, Solved, Station, Tap, inside_mm};
use crate::hydraulics::nozzle::{Body, Misting, Response, Working};
use crate::hydraulics::pipe::velocity_m_s;
use crate::hydraulics::supply::{Chain, Source};
use crate::hydraulics::work::Work;
use crate::shape::Point;

/// A node this much above the lowest head drains through it \[m\].
const DRAINS_ABOVE_M: f64 = 0.2;

impl Job<'_, '_> {
    /// Lays and solves everything, and counts it.
    pub(super) fn done(self, scenario: &Scenario) -> Built {
        let builder = self.builder;
        let work = Work::default();
        let drafts = self.drafts(&work);
        let number = |key| builder.assumptions.number(key);
        let mut counts = Counts::default();
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
            let weight = number(Key::PipePathWeight);
            let mains = tree(*place, &valves, &builder.yard, weight, &work);
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
                let areas: Vec<Vec<usize>> = own
                    .iter()
                    .map(|&at| self.areas_of(&drafts[at].members))
                    .collect();
                self.add_mains(&mains, (carried, &areas), &mut pipes, &mut counts);
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
            finished.push(self.finish(draft, source, chain, length_m, &work));
        }
        let mut served = self.empty_served();
        for (at, done) in finished.iter().enumerate() {
            if self.is_new {
                self.add_laterals(at + 1, done, &mut pipes, &mut counts);
                let place = builder.places[drafts[at].source];
                let controller = builder
                    .plant
                    .controllers
                    .iter()
                    .map(|controller| controller.distance(done.plan.valve))
                    .fold(f64::INFINITY, f64::min);
                let distance_m = controller.min(place.distance(done.plan.valve));
                let wire_m = distance_m * number(Key::PipeRoute);
                let count = counts.of(&areas_of(&done.plan));
                count.valve(done.plan.rated_lpm, wire_m, builder.hardware());
            }
            self.serve(at + 1, done, &mut served);
        }
        self.count_heads(&finished, &mut counts);
        if !self.is_changed {
            counts = Counts::default();
        }
        let inp = (self.is_new && builder.planner.inp).then(|| self.inp(scenario, &finished));
        Built {
            plan: NetworkPlan {
                scenario: scenario.clone(),
                family: self.family.name.clone(),
                materials: counts.total(|_| true).lines(builder.hardware()),
                counts,
                stations: finished.into_iter().map(|done| done.plan).collect(),
                pipes,
                inp,
            },
            served,
            is_coarse: work.is_coarse(),
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
    fn finish(
        &self,
        draft: &Draft,
        source: &Source,
        chain: Chain,
        main_m: f64,
        work: &Work,
    ) -> Finished {
        let builder = self.builder;
        let number = |key| builder.assumptions.number(key);
        let places: Vec<Point> = draft.members.iter().map(|&head| self.at(head)).collect();
        let tree = tree(
            draft.valve,
            &places,
            &builder.yard,
            number(Key::PipePathWeight),
            work,
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
        let safe_lpm = builder.most_lpm(draft.source);
        let rated_lpm: f64 = taps.iter().map(|tap| tap.rated_lpm).sum();
        let spread_frac = solved.spread_frac(rated_kpa);
        let flow_lpm = solved.flow_lpm();
        let flags = [
            (!source.is_read, PRESSURE_UNVERIFIED),
            (source.at.is_none(), CONNECTION_ASSUMED),
            (below > 0, LOW_PRESSURE),
            (above > 0, HIGH_PRESSURE),
            // How unnamed heads in the ground share valves is not known.
            (
                flow_lpm > safe_lpm * 1.001 && (self.is_changed || draft.name.is_some()),
                OVER_FLOW,
            ),
            (flow_lpm < number(Key::ValveLeast), VALVE_MINIMUM),
            (flow_lpm < source.pump_least_lpm, PUMP_MINIMUM),
            (falls, CHECK_VALVES),
            (tree.crossings > 0, PIPE_CROSSES),
            (
                spread_frac > most_frac && taps.iter().any(|tap| tap.body == Body::Plain),
                PRESSURE_SPREAD,
            ),
        ];
        let mut flags: Vec<&'static str> = flags
            .into_iter()
            .filter_map(|(holds, flag)| holds.then_some(flag))
            .collect();
        flags.sort_unstable();
        let plan = StationPlan {
            source: draft.source,
            valve: draft.valve,
            name: draft.name.clone(),
            before: None,
            heads: draft.members.iter().map(|&head| self.heads[head]).collect(),
            rated_lpm,
            flow_lpm,
            safe_lpm,
            valve_kpa: solved.node_kpa[0],
            inlet_kpa: solved.inlet_range_kpa(),
            spread_frac,
            set_kpa: set_kpa(&taps),
            below,
            fastest_m_s: station.fastest_m_s(&solved, &bores_mm),
            fall_m: is_sloped.then_some(fall_m),
            drain_l,
            lateral_m: tree.trench_m(),
            main_m,
            night: None,
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
        ((size, flow_lpm), areas): ((usize, f64), &[Vec<usize>]),
        pipes: &mut Vec<PipeRow>,
        counts: &mut Counts,
    ) {
        let builder = self.builder;
        let hardware = builder.hardware();
        // Whom a pipe feeds: a node comes after the one that feeds it.
        let mut fed: Vec<Vec<usize>> = vec![Vec::new(); mains.nodes.len()];
        for (own, &node) in areas.iter().zip(&mains.heads) {
            fed[node].extend(own);
        }
        for node in (1..mains.nodes.len()).rev() {
            fed[node].sort_unstable();
            fed[node].dedup();
            let own = fed[node].clone();
            fed[mains.feeds[node]].extend(own);
        }
        for node in 1..mains.nodes.len() {
            let length_m = mains.length_m(node);
            counts.of(&fed[node]).pipe(length_m, size);
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
    }

    fn add_laterals(
        &self,
        station: usize,
        done: &Finished,
        pipes: &mut Vec<PipeRow>,
        counts: &mut Counts,
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
        let count = counts.of(&areas_of(&done.plan));
        count.pipes(&done.tree, &done.sizes);
    }

    /// Nozzles always; bodies and check valves where they are new, adapters where they stay.
    fn count_heads(&self, finished: &[Finished], counts: &mut Counts) {
        for done in finished {
            let falls = done.plan.flags.contains(&CHECK_VALVES);
            for &(area, head) in &done.plan.heads {
                let Some(plan) = self.plans[area] else {
                    continue;
                };
                let count = counts.of(&[area]);
                count.nozzle(&plan.nozzle_names[head], self.family.unit_cost_cur);
                if self.is_new {
                    self.count_body(self.body != Body::Plain, count);
                }
                if falls {
                    count.check_valve();
                }
            }
        }
        let changed = self.plans.iter().enumerate().filter(|_| self.is_changed);
        for (area, plan) in changed.filter_map(|(area, plan)| Some((area, (*plan)?))) {
            let count = counts.of(&[area]);
            for fitting in &plan.fittings {
                match fitting.body {
                    // Old bodies that stay take another family's nozzle with an adapter.
                    BodyWork::Keep if matches!(plan.scenario, Scenario::Swap(..)) => {
                        count.adapter();
                    }
                    BodyWork::Keep => {}
                    BodyWork::Change | BodyWork::Regulate => {
                        self.count_body(fitting.body == BodyWork::Regulate, count);
                    }
                }
            }
        }
    }

    /// Counts a body: the family's own where it brings one.
    fn count_body(&self, regulated: bool, count: &mut Count) {
        match self.family.own_body_cur {
            Some(cost_cur) => count.own_body(&self.family.name, cost_cur),
            None => count.body(regulated),
        }
    }

    /// The turf areas of some heads, ascending.
    fn areas_of(&self, members: &[usize]) -> Vec<usize> {
        ascending(members.iter().map(|&head| self.heads[head].0).collect())
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

/// What all bodies of a station hold \[kPa\]; `None` where one of them does not regulate.
fn set_kpa(taps: &[Tap]) -> Option<f64> {
    taps.iter().try_fold(0.0_f64, |_, tap| match tap.body {
        Body::Plain => None,
        Body::Regulated { set_kpa, .. } => Some(set_kpa),
    })
}

/// The turf areas of a station, ascending.
fn areas_of(station: &StationPlan) -> Vec<usize> {
    ascending(station.heads.iter().map(|&(area, _)| area).collect())
}

fn ascending(mut areas: Vec<usize>) -> Vec<usize> {
    areas.sort_unstable();
    areas.dedup();
    areas
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
