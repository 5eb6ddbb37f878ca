//! Stations as large as their pressure allows: heads are grouped by the flow at which the farthest of
//! them still works, solved, and parted again where one does not.

use super::draft::{Draft, Job};
use super::network::Finished;
use crate::assumptions::Key;
use crate::hydraulics::KPA_PER_M;
use crate::hydraulics::laterals::{Tree, tree};
use crate::hydraulics::nozzle::Response;
use crate::hydraulics::stations::{Members, Outlet};
use crate::hydraulics::supply::{Chain, Reading};
use crate::hydraulics::work::Work;
use crate::shape::Point;

/// Maximum number of rounds in which stations are parted; each halves their flow.
const MAX_ROUNDS: usize = 3;
/// A part has this share of the flow at most: room for heads that do not divide evenly. A choice of this
/// program.
const PART_FRAC: f64 = 0.55;
/// The first grouping goes down to this share of the flow that the supply may give; a choice of this
/// program.
const MIN_FLOW_FRAC: f64 = 0.25;
/// Halvings of the flow that the pressure allows: to a millionth of it.
const HALVINGS: usize = 20;

/// The main from one point of connection to its valves.
pub(super) struct Way {
    pub(super) tree: Tree,
    /// The stations that it feeds, in the order of the tree's heads.
    pub(super) stations: Vec<usize>,
    /// Its pipe, by index of the catalogue.
    pub(super) size: usize,
    /// The largest flow of its stations \[L/min\].
    pub(super) widest_lpm: f64,
}

/// The mains of a scenario.
pub(super) struct Ways {
    pub(super) mains: Vec<Way>,
    /// Length of the main to each station's valve \[m\].
    pub(super) main_m: Vec<f64>,
}

impl Job<'_, '_> {
    /// Stations with their pipes, so that every head of those that this program makes works, as far as
    /// smaller stations can bring that about.
    pub(super) fn designed(&self, work: &Work) -> (Vec<Draft>, Ways, Vec<Finished>) {
        let mut drafts = self.drafts(work);
        let mut trees: Vec<Option<Tree>> = vec![None; drafts.len()];
        let mut round = 0;
        loop {
            let ways = self.ways(&drafts, work);
            let finished: Vec<Finished> = drafts
                .iter()
                .zip(trees)
                .enumerate()
                .map(|(at, (draft, tree))| {
                    let tree = tree.unwrap_or_else(|| self.laterals(draft, work));
                    self.finish(
                        draft,
                        tree,
                        (self.chain(at, &drafts, &ways), ways.main_m[at]),
                    )
                })
                .collect();
            round += 1;
            let parts: Vec<Option<Vec<Members>>> = drafts
                .iter()
                .zip(&finished)
                .map(|(draft, done)| {
                    let is_open = round <= MAX_ROUNDS && !work.is_spent();
                    is_open.then(|| self.parts(draft, done, work)).flatten()
                })
                .collect();
            if parts.iter().all(Option::is_none) {
                return (drafts, ways, finished);
            }
            (drafts, trees) = drafts
                .into_iter()
                .zip(finished)
                .zip(parts)
                .flat_map(|((draft, done), parts)| match parts {
                    None => vec![(draft, Some(done.tree))],
                    Some(parts) => parts
                        .into_iter()
                        .map(|members| {
                            let part = Draft {
                                name: None,
                                members,
                                ..draft.clone()
                            };
                            (part, None)
                        })
                        .collect(),
                })
                .unzip();
            // More stations fill other boxes; where a valve has moved, its pipes are laid anew.
            let before: Vec<Point> = drafts.iter().map(|draft| draft.valve).collect();
            self.place_valves(&mut drafts);
            for ((draft, before), tree) in drafts.iter().zip(before).zip(&mut trees) {
                if draft.valve != before {
                    *tree = None;
                }
            }
        }
    }

    /// The parts of a station one of whose heads does not work; `None` where they all do, where its
    /// valve is in the ground, or where a head would not even work alone.
    fn parts(&self, draft: &Draft, done: &Finished, work: &Work) -> Option<Vec<Members>> {
        if draft.is_kept || draft.members.len() < 2 || !done.solved.agrees {
            return None;
        }
        let response = Response::of(self.family);
        let least_kpa = response.least_kpa();
        let taps = done.taps.iter().zip(&done.solved.heads);
        let mut low = taps
            .filter(|(_, head)| head.nozzle_kpa < least_kpa)
            .map(|(tap, _)| tap)
            .peekable();
        low.peek()?;
        // Valves do not close at less.
        let least_lpm = self.builder.assumptions.number(Key::ValveLeast);
        if PART_FRAC * done.plan.rated_lpm < least_lpm {
            return None;
        }
        let can_work = low.all(|tap| {
            let alone_lpm = tap.rated_lpm * response.flow_factor(least_kpa);
            let kpa = done.chain.valve_kpa(alone_lpm) - KPA_PER_M * done.heights_m[tap.node];
            kpa >= tap.body.inlet_for_kpa(least_kpa)
        });
        if !can_work {
            return None;
        }
        let outlets: Vec<Outlet> = draft
            .members
            .iter()
            .map(|&head| Outlet {
                at: self.at(head),
                flow_lpm: self.rated_lpm(head),
                class: 0,
            })
            .collect();
        let limit_lpm = PART_FRAC * done.plan.rated_lpm;
        let parts = self.parted(&draft.members, &outlets, limit_lpm, work);
        let parts = parts.into_iter().map(|part| {
            let members = part.into_iter().map(|i| draft.members[i]); // outlets are the members
            members.collect()
        });
        Some(parts.collect()).filter(|parts: &Vec<Members>| parts.len() > 1)
    }

    /// The rated flow of a station at which the supply leaves the lowest working pressure and the
    /// spread that laterals may have, at the farthest head, and a quarter of the safe flow at least
    /// \[L/min\]; infinite where it never does, since no smaller station helps then. Heads at their lowest
    /// pressure draw less than their rated flow.
    pub(super) fn holding_lpm(&self, source: usize, heads: &[usize]) -> f64 {
        let builder = self.builder;
        let number = |key| builder.assumptions.number(key);
        let response = Response::of(self.family);
        let place = builder.places[source];
        let distance = |&head: &usize| place.distance(self.at(head));
        let farthest_m = heads.iter().map(distance).fold(0.0, f64::max);
        let most_lpm = builder.most_lpm(source);
        let length_m = farthest_m * number(Key::PipeRoute);
        let main = builder.main_run(length_m, builder.main_size(most_lpm, length_m));
        let from = &builder.plant.sources[source];
        let chain = Chain::to_valve(from, &builder.losses, main, 1.0, 0.0);
        let spread_kpa = number(Key::PipeSpread) * response.rated_kpa();
        let needed_kpa = heads
            .iter()
            .map(|&head| self.body_of(head).inlet_for_kpa(response.least_kpa()))
            .fold(0.0, f64::max)
            + spread_kpa;
        if chain.valve_kpa(0.0) <= needed_kpa {
            return f64::INFINITY;
        }
        let drawn = response.flow_factor(response.least_kpa());
        let (mut low, mut high) = (0.0, most_lpm);
        if chain.valve_kpa(high * drawn) >= needed_kpa {
            return high;
        }
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            if chain.valve_kpa(middle * drawn) >= needed_kpa {
                low = middle;
            } else {
                high = middle;
            }
        }
        low.max(MIN_FLOW_FRAC * most_lpm)
    }

    /// Lays the mains to the valves of some stations.
    fn ways(&self, drafts: &[Draft], work: &Work) -> Ways {
        let builder = self.builder;
        let weight = builder.assumptions.number(Key::PipePathWeight);
        let mut main_m = vec![0.0; drafts.len()];
        let mut mains = Vec::new();
        for (source, place) in builder.places.iter().enumerate() {
            let stations: Vec<usize> = (0..drafts.len())
                .filter(|&at| drafts[at].source == source)
                .collect();
            let widest_lpm = stations
                .iter()
                .map(|&at| {
                    let heads = drafts[at].members.iter();
                    heads.map(|&head| self.rated_lpm(head)).sum()
                })
                .fold(0.0, f64::max);
            let valves: Vec<Point> = stations.iter().map(|&at| drafts[at].valve).collect();
            let tree = tree(*place, &valves, &builder.yard, weight, work);
            let mut way_m = vec![0.0; tree.nodes.len()];
            for node in 1..way_m.len() {
                way_m[node] = way_m[tree.feeds[node]] + tree.length_m(node);
            }
            for (&at, &node) in stations.iter().zip(&tree.heads) {
                main_m[at] = way_m[node];
            }
            let farthest_m = stations.iter().map(|&at| main_m[at]).fold(0.0, f64::max);
            mains.push(Way {
                tree,
                stations,
                size: builder.main_size(widest_lpm, farthest_m),
                widest_lpm,
            });
        }
        Ways { mains, main_m }
    }

    /// The way of the water to the valve of a station, with its rise: from the point of connection, or
    /// from where a working pressure was read, which is the height of the nearest and the farthest valve
    /// and in proportion between them.
    fn chain(&self, at: usize, drafts: &[Draft], ways: &Ways) -> Chain {
        let builder = self.builder;
        let draft = &drafts[at];
        let length_m = ways.main_m[at];
        let by_length = |a: &usize, b: &usize| ways.main_m[*a].total_cmp(&ways.main_m[*b]);
        let farthest = (0..drafts.len()).max_by(by_length).unwrap_or(at);
        let farthest_m = ways.main_m[farthest];
        let share = if farthest_m > 0.0 {
            length_m / farthest_m
        } else {
            0.0
        };
        let source = &builder.plant.sources[draft.source];
        let main = builder.main_run(length_m, ways.mains[draft.source].size);
        let rise = |from: Point| builder.rise_m(from, draft.valve).unwrap_or(0.0);
        let rise_m = match source.reading {
            Reading::Static { .. } | Reading::Pump { .. } => rise(builder.places[draft.source]),
            Reading::Working { far_kpa, .. } => {
                let nearest = (0..drafts.len()).min_by(by_length).unwrap_or(at);
                let near_m = rise(drafts[nearest].valve);
                match far_kpa {
                    Some(_) => near_m + share * (rise(drafts[farthest].valve) - near_m),
                    None => near_m,
                }
            }
        };
        Chain::to_valve(source, &builder.losses, main, share, rise_m)
    }
}
