//! Mains and laterals of one scenario, laid, sized, solved and counted.

use std::collections::BTreeSet;

use super::super::bodies::may_regulate;
use super::super::{BodyWork, Scenario};
use super::draft::{Draft, Job};
use super::outcome::{AreaServed, Built, HeadServed, NetworkPlan, PipeRole, PipeRow, StationPlan};
use super::{
    CHECK_VALVES, CONNECTION_ASSUMED, DRY, HIGH_PRESSURE, LOW_PRESSURE, NOZZLE_TYPES, OVER_FLOW,
    PIPE_CROSSES, PIPE_OFF_PARCEL, PIPE_UNDER_BUILDING, PRESSURE_SPREAD, PRESSURE_UNVERIFIED,
    PUMP_MINIMUM, PressureHold, SIZE_INFERRED, STATIC_HIGH, STATION_PARTED, UNSOLVED,
    VALVE_MINIMUM,
};
use crate::assumptions::Key;
use crate::hydraulics::KPA_PER_M;
use crate::hydraulics::apart::{MAX_NOZZLE_TYPES, Rules, is_parted};
use crate::hydraulics::inp::{self, Piece};
use crate::hydraulics::laterals::{Tree, tree};
use crate::hydraulics::materials::{Count, Counts, OFF_PARCEL, UNDER_BUILDING};
use crate::hydraulics::network::{Served, Solved, Station, Tap, inside_mm};
use crate::hydraulics::nozzle::{Body, Misting, Response, Working};
use crate::hydraulics::pipe::velocity_m_s;
use crate::hydraulics::supply::Chain;
use crate::hydraulics::trench::Trench;
use crate::hydraulics::work::Work;
use crate::shape::Point;

/// Pipes below this length are none: the valve stands on the connection, or two heads on one place \[m\].
const SHORTEST_M: f64 = 0.005;
/// Metres under buildings or off the parcel count from here on, which is what the output shows \[m\].
const MEASURED_M: f64 = 0.005;
/// A node this much above the lowest head drains through it \[m\].
const DRAINS_ABOVE_M: f64 = 0.2;
/// Laterals are widened to this share of the spread that they may have, where heads need it: a choice
/// of this program.
const LEAST_SPREAD: f64 = 0.25;

impl Job<'_, '_> {
    /// Lays and solves everything, and counts it.
    pub(super) fn done(self, scenario: &Scenario) -> Built {
        let builder = self.builder;
        let work = Work::default();
        let (drafts, ways, finished) = self.designed(&work);
        let mut counts = Counts::default();
        let mut pipes = Vec::new();
        if self.is_new {
            for way in &ways.mains {
                let areas: Vec<Vec<usize>> = way
                    .stations
                    .iter()
                    .map(|&at| self.areas_of(&drafts[at].members))
                    .collect();
                let carried = (way.size, way.widest_lpm);
                self.add_mains(&way.tree, (carried, &areas), &mut pipes, &mut counts);
            }
        }
        let mut served = self.empty_served();
        for (at, done) in finished.iter().enumerate() {
            if self.is_new {
                self.add_laterals(at + 1, done, &mut pipes, &mut counts);
                let count = counts.of(&areas_of(&done.plan));
                count.valve(done.plan.rated_lpm, done.plan.wire_m, builder.hardware());
            }
            self.serve(at + 1, done, &mut served);
        }
        self.count_heads(&finished, &mut counts);
        self.count_site(&finished, &mut counts);
        self.add_swings(&finished, &mut pipes, &mut counts);
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
                    hold: PressureHold::Holds,
                    flags: Vec::new(),
                    regulated: Vec::new(),
                })
            })
            .collect()
    }

    /// The laterals of a station.
    pub(super) fn laterals(&self, draft: &Draft, work: &Work) -> Tree {
        let builder = self.builder;
        let places: Vec<Point> = draft.members.iter().map(|&head| self.at(head)).collect();
        let weight = builder.assumptions.number(Key::PipePathWeight);
        tree(draft.valve, &places, &builder.yard, weight, work)
    }

    /// Sizes and solves the pipes of a station.
    pub(super) fn finish(
        &self,
        draft: &Draft,
        tree: Tree,
        (chain, main_m): (Chain, f64),
    ) -> Finished {
        let builder = self.builder;
        let source = &builder.plant.sources[draft.source];
        let number = |key| builder.assumptions.number(key);
        let mut taps: Vec<Tap> = draft
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
        let is_sloped = builder.is_sloped(area);
        let zero_m = builder.height_m(area, draft.valve);
        let heights_m: Vec<f64> = tree
            .nodes
            .iter()
            .map(|&at| builder.height_m(area, at) - zero_m)
            .collect();
        let regulated = self.too_high(&tree, &taps, &heights_m, &chain);
        for &at in &regulated {
            taps[at].body = self.holding;
        }
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
        let least_kpa = Response::of(self.family).least_kpa();
        let is_low = |solved: &Solved| solved.heads.iter().any(|head| head.nozzle_kpa < least_kpa);
        let mut spread = most_frac;
        let (sizes, bores_mm, solved) = loop {
            let sizes = station.sized(builder.hardware(), most_m_s, spread, rated_kpa);
            let bores_mm = inside_mm(&sizes, builder.hardware());
            let solved = station.solve(&bores_mm, &chain);
            // Wider laterals are dug for those that need them.
            let is_done = !self.is_new || !is_low(&solved) || spread <= LEAST_SPREAD * most_frac;
            if is_done {
                break (sizes, bores_mm, solved);
            }
            spread *= 0.5;
        };
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
        let mut hold = PressureHold::Holds;
        for head in &solved.heads {
            hold = hold.max(PressureHold::of(response.working(head.nozzle_kpa)));
            match response.working(head.nozzle_kpa) {
                Working::Dry | Working::Below => below += 1,
                Working::Above => above += 1,
                Working::Within => {}
            }
        }
        let (mut building_m, mut off_parcel_m) = (0.0, 0.0);
        for node in 1..tree.nodes.len() {
            let trench = builder
                .yard
                .trench(tree.nodes[tree.feeds[node]], tree.nodes[node]);
            building_m += trench.building_m;
            off_parcel_m += trench.off_parcel_m;
        }
        let nozzle_types = self.nozzle_types(&draft.members);
        let safe_lpm = builder.most_lpm(draft.source);
        let rated_lpm: f64 = taps.iter().map(|tap| tap.rated_lpm).sum();
        let spread_frac = solved.spread_frac(rated_kpa);
        let flow_lpm = solved.flow_lpm();
        // How unnamed heads in the ground share valves is not known.
        let is_over = flow_lpm > safe_lpm * 1.001 && (self.is_changed || draft.name.is_some());
        if is_over {
            hold = hold.max(PressureHold::Overloaded);
        }
        if !solved.agrees {
            hold = PressureHold::Unsolved;
        }
        let flags = [
            (!source.is_read, PRESSURE_UNVERIFIED),
            (source.at.is_none(), CONNECTION_ASSUMED),
            (source.is_size_inferred, SIZE_INFERRED),
            (source.needs_reducer, STATIC_HIGH),
            (below > 0, LOW_PRESSURE),
            (hold == PressureHold::Dry, DRY),
            (!solved.agrees, UNSOLVED),
            (above > 0, HIGH_PRESSURE),
            (is_over, OVER_FLOW),
            (flow_lpm < number(Key::ValveLeast), VALVE_MINIMUM),
            (flow_lpm < source.pump_least_lpm, PUMP_MINIMUM),
            (falls, CHECK_VALVES),
            // Nobody knows where pipes lie that are in the ground.
            (self.is_new && tree.crossings > 0, PIPE_CROSSES),
            (self.is_new && building_m > MEASURED_M, PIPE_UNDER_BUILDING),
            (self.is_new && off_parcel_m > MEASURED_M, PIPE_OFF_PARCEL),
            (
                self.is_new && self.is_parted(&draft.members),
                STATION_PARTED,
            ),
            (self.is_new && nozzle_types > MAX_NOZZLE_TYPES, NOZZLE_TYPES),
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
            valve_box: draft.valve_box,
            name: draft.name.clone(),
            before: None,
            heads: draft.members.iter().map(|&head| self.heads[head]).collect(),
            rated_lpm,
            is_solved: solved.agrees,
            flow_lpm,
            safe_lpm,
            valve_kpa: solved.node_kpa[0],
            inlet_kpa: solved.inlet_range_kpa(),
            spread_frac,
            set_kpa: set_kpa(&taps),
            below,
            fastest_m_s: station.fastest_m_s(&solved, &bores_mm),
            rise_m: builder.rise_m(builder.places[draft.source], draft.valve),
            head_rise_m: builder
                .rise_m(builder.places[draft.source], draft.valve)
                .map(|rise_m| (rise_m + lowest_m, rise_m + lowest_m + fall_m)),
            fall_m: is_sloped.then_some(fall_m),
            drain_l,
            lateral_m: tree.trench_m(),
            main_m,
            wire_m: self.wire_m(draft),
            nozzle_types,
            building_m,
            off_parcel_m,
            night: None,
            flags,
        };
        let regulated = regulated.into_iter().map(|at| plan.heads[at]).collect();
        Finished {
            plan,
            hold,
            regulated,
            tree,
            taps,
            heights_m,
            sizes,
            bores_mm,
            chain,
            solved,
        }
    }

    /// Wire from the nearest controller, or from the point of connection where that is nearer, to a valve
    /// \[m\]: the straight distance × `pipe.main_route_factor`.
    fn wire_m(&self, draft: &Draft) -> f64 {
        let builder = self.builder;
        let controllers = builder.plant.controllers.iter();
        let straight_m = controllers
            .map(|controller| controller.distance(draft.valve))
            .fold(f64::INFINITY, f64::min)
            .min(builder.places[draft.source].distance(draft.valve));
        straight_m * builder.assumptions.number(Key::PipeRoute)
    }

    /// How many different nozzles some heads have.
    fn nozzle_types(&self, members: &[usize]) -> usize {
        let mut names: Vec<&str> = members.iter().map(|&head| self.nozzle_name(head)).collect();
        names.sort_unstable();
        names.dedup();
        names.len()
    }

    /// Whether a building or wall stands between heads of a station, so that they do not hang together by
    /// sight.
    fn is_parted(&self, members: &[usize]) -> bool {
        let places: Vec<Point> = members.iter().map(|&head| self.at(head)).collect();
        let clear = |a: Point, b: Point| self.builder.yard.is_clear(a, b);
        let rules = Rules {
            is_clear: Some(&clear),
            ..Rules::default()
        };
        is_parted(&places, rules)
    }

    /// The heads of a change that keeps bodies at whose nozzles the pressure would be above the
    /// family's window: their bodies must regulate. Where bodies bring their own there are none
    /// that do.
    fn too_high(&self, tree: &Tree, taps: &[Tap], heights_m: &[f64], chain: &Chain) -> Vec<usize> {
        let builder = self.builder;
        let (number, family) = (|key| builder.assumptions.number(key), self.family);
        let lowest_m = heights_m.iter().copied().fold(0.0, f64::min);
        let most_kpa = chain.valve_kpa(0.0) - lowest_m * KPA_PER_M;
        let keeps = self.is_changed && !self.is_new && may_regulate(builder.assumptions, family);
        if !keeps || most_kpa <= family.working.1.kpa() {
            return Vec::new();
        }
        let response = Response::of(family);
        let station = Station {
            tree,
            taps,
            response,
            heights_m,
            roughness_c: builder.losses.pipe_c,
            fittings_frac: builder.losses.fittings_frac,
        };
        let sizes = station.sized(
            builder.hardware(),
            number(Key::PipeVelocity),
            number(Key::PipeSpread),
            family.rated.kpa(),
        );
        let solved = station.solve(&inside_mm(&sizes, builder.hardware()), chain);
        let is_above = |at: &usize| {
            let head = &solved.heads[*at];
            taps[*at].body == Body::Plain && response.working(head.nozzle_kpa) == Working::Above
        };
        (0..taps.len()).filter(is_above).collect()
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
        for (node, own) in fed.iter().enumerate().skip(1) {
            let length_m = mains.length_m(node);
            if length_m < SHORTEST_M {
                continue;
            }
            let (from, to) = (mains.nodes[mains.feeds[node]], mains.nodes[node]);
            let trench = builder.yard.trench(from, to);
            counts.of(own).pipe(length_m, size);
            self.count_boring(trench, counts.of(own));
            pipes.push(PipeRow {
                role: PipeRole::Main,
                station: None,
                from,
                to,
                nominal_mm: hardware.pipes[size].nominal_mm,
                inside_mm: hardware.pipes[size].inside_mm,
                length_m,
                flow_lpm,
                velocity_m_s: velocity_m_s(flow_lpm, hardware.pipes[size].inside_mm),
                loss_kpa: builder.main_run(length_m, size).loss_kpa(flow_lpm),
                end_kpa: None,
                building_m: trench.building_m,
                off_parcel_m: trench.off_parcel_m,
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
        let areas = areas_of(&done.plan);
        for node in 1..done.tree.nodes.len() {
            let flow_lpm = done.solved.pipe_lpm[node];
            let (from, to) = (
                done.tree.nodes[done.tree.feeds[node]],
                done.tree.nodes[node],
            );
            let length_m = done.tree.length_m(node);
            if length_m < SHORTEST_M {
                continue;
            }
            let trench = self.builder.yard.trench(from, to);
            let count = counts.of(&areas);
            count.pipe(length_m, done.sizes[node]);
            self.count_boring(trench, count);
            pipes.push(PipeRow {
                role: PipeRole::Lateral,
                station: Some(station),
                from,
                to,
                nominal_mm: hardware.pipes[done.sizes[node]].nominal_mm,
                inside_mm: done.bores_mm[node],
                length_m,
                flow_lpm,
                velocity_m_s: velocity_m_s(flow_lpm, done.bores_mm[node]),
                loss_kpa: done.solved.loss_kpa[node],
                end_kpa: Some(done.solved.node_kpa[node]),
                building_m: trench.building_m,
                off_parcel_m: trench.off_parcel_m,
            });
        }
    }

    /// What a pipe costs more where it lies under a building or off the parcel.
    fn count_boring(&self, trench: Trench, count: &mut Count) {
        let number = |key| self.builder.assumptions.number(key);
        if trench.building_m > MEASURED_M {
            count.boring(UNDER_BUILDING, trench.building_m, number(Key::CostBoring));
        }
        if trench.off_parcel_m > MEASURED_M {
            count.boring(OFF_PARCEL, trench.off_parcel_m, number(Key::CostSleeve));
        }
    }

    /// Added heads of a swap or repair: a swing from the nearest head of their station that is in the ground,
    /// round no corner; with nothing solid between where there is such a head.
    fn add_swings(&self, finished: &[Finished], pipes: &mut Vec<PipeRow>, counts: &mut Counts) {
        let builder = self.builder;
        let narrowest = &builder.hardware().pipes[0]; // a catalogue has at least one pipe
        for (at, done) in finished.iter().enumerate() {
            let is_added = |own: &(usize, usize)| {
                let fitting = self.plans[own.0].and_then(|plan| plan.fittings.get(own.1));
                fitting.is_some_and(|fitting| fitting.added)
            };
            let place = |own: &(usize, usize)| {
                self.plans[own.0].map_or_else(Point::default, |plan| plan.heads[own.1].at)
            };
            let (added, there): (Vec<usize>, Vec<usize>) =
                (0..done.plan.heads.len()).partition(|&k| is_added(&done.plan.heads[k]));
            if self.is_new || there.is_empty() {
                continue;
            }
            for k in added {
                let (own, to) = (done.plan.heads[k], place(&done.plan.heads[k]));
                let way = |k: &usize| {
                    let trench = builder.yard.trench(place(&done.plan.heads[*k]), to);
                    trench.cost_m
                };
                let nearest = there
                    .iter()
                    .min_by(|a, b| way(a).total_cmp(&way(b)).then(a.cmp(b)));
                let Some(from) = nearest.map(|&k| place(&done.plan.heads[k])) else {
                    continue;
                };
                let length_m = from.distance(to);
                if length_m < SHORTEST_M {
                    continue;
                }
                let got = done.solved.heads[k];
                let trench = builder.yard.trench(from, to);
                let count = counts.of(&[own.0]);
                count.pipe(length_m, 0);
                self.count_boring(trench, count);
                pipes.push(PipeRow {
                    role: PipeRole::Swing,
                    station: Some(at + 1),
                    from,
                    to,
                    nominal_mm: narrowest.nominal_mm,
                    inside_mm: narrowest.inside_mm,
                    length_m,
                    flow_lpm: got.flow_lpm,
                    velocity_m_s: velocity_m_s(got.flow_lpm, narrowest.inside_mm),
                    loss_kpa: builder.main_run(length_m, 0).loss_kpa(got.flow_lpm),
                    end_kpa: Some(got.inlet_kpa),
                    building_m: trench.building_m,
                    off_parcel_m: trench.off_parcel_m,
                });
            }
        }
    }

    /// What stands once for several stations: valve boxes, a pressure reducer where the pressure asks for
    /// one, the backflow device of every point of connection that feeds new pipes; and caps for heads that
    /// are given up.
    fn count_site(&self, finished: &[Finished], counts: &mut Counts) {
        let builder = self.builder;
        let areas = |holds: &dyn Fn(&StationPlan) -> bool| {
            let stations = finished
                .iter()
                .map(|done| &done.plan)
                .filter(|plan| holds(plan));
            ascending(stations.flat_map(areas_of).collect())
        };
        if self.is_new {
            let boxes = finished.iter().map(|done| done.plan.valve_box).max();
            for number in 1..=boxes.unwrap_or(0) {
                let of_box = areas(&|plan| plan.valve_box == number);
                counts.of(&of_box).valve_box();
            }
        }
        for (number, source) in builder.plant.sources.iter().enumerate() {
            let fed = areas(&|plan| plan.source == number);
            if fed.is_empty() {
                continue;
            }
            if self.is_changed && source.needs_reducer {
                counts.of(&fed).reducer();
            }
            if self.is_new {
                counts.of(&fed).backflow();
            }
        }
        for (area, plan) in self.plans.iter().enumerate() {
            let Some(plan) = plan else { continue };
            let given_up = match plan.works {
                Some(works) => works.capped,
                None if self.is_new => self.in_ground[area],
                None => 0,
            };
            for _ in 0..given_up {
                counts.of(&[area]).cap();
            }
        }
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
        let regulated = finished
            .iter()
            .flat_map(|done| done.regulated.iter().copied());
        let held: BTreeSet<(usize, usize)> = regulated.collect();
        let changed = self.plans.iter().enumerate().filter(|_| self.is_changed);
        for (area, plan) in changed.filter_map(|(area, plan)| Some((area, (*plan)?))) {
            let count = counts.of(&[area]);
            for (head, fitting) in plan.fittings.iter().enumerate() {
                let must = held.contains(&(area, head));
                match if must {
                    BodyWork::Regulate
                } else {
                    fitting.body
                } {
                    // Old bodies that stay take another family's nozzle with an adapter.
                    BodyWork::Keep if matches!(plan.scenario, Scenario::Swap(..)) => {
                        count.adapter();
                    }
                    BodyWork::Keep => {}
                    BodyWork::Change => self.count_body(false, count),
                    BodyWork::Regulate => self.count_body(true, count),
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
            own.hold = own.hold.max(done.hold);
            own.flags.extend(&done.plan.flags);
            if done.regulated.contains(&(area, head)) {
                own.regulated.push(head);
            }
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
pub(super) struct Finished {
    pub(super) plan: StationPlan,
    pub(super) hold: PressureHold,
    /// Heads whose bodies regulate because their pressure would be beyond the family's window.
    pub(super) regulated: Vec<(usize, usize)>,
    pub(super) tree: Tree,
    pub(super) taps: Vec<Tap>,
    pub(super) heights_m: Vec<f64>,
    sizes: Vec<usize>,
    bores_mm: Vec<f64>,
    pub(super) chain: Chain,
    pub(super) solved: Solved,
}
