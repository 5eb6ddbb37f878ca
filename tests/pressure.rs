//! Pressures and flows of whole stations against a slow solver that shares nothing with the program's
//! but the laws of pipes and nozzles, and what follows from them for whole runs.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod shared;

use evenfall::assumptions::Assumptions;
use evenfall::catalogue::Catalogue;
use evenfall::hydraulics::KPA_PER_M;
use evenfall::hydraulics::laterals::Tree;
use evenfall::hydraulics::network::{Solved, Station, Tap};
use evenfall::hydraulics::nozzle::{Body, Response};
use evenfall::hydraulics::pipe::friction_m;
use evenfall::hydraulics::supply::{Chain, FlowLimit, Losses, Reading, Run, Source};
use evenfall::shape::Point;

/// Nodes of the row from the valve on.
const ROW: usize = 6;
/// Heads of each branch off the row.
const BRANCH: usize = 2;

/// A row with a branch of two heads at every node of it: node 0 is the valve, then the row, then the
/// branches one after the other.
fn comb(spacing_m: f64) -> Tree {
    let mut nodes: Vec<Point> = (0..=ROW)
        .map(|k| Point::new(spacing_m * k as f64, 0.0))
        .collect();
    let mut feeds: Vec<usize> = (0..=ROW).map(|k: usize| k.saturating_sub(1)).collect();
    for at in 1..=ROW {
        for step in 1..=BRANCH {
            let up = if step == 1 { at } else { nodes.len() - 1 };
            nodes.push(Point::new(spacing_m * at as f64, spacing_m * step as f64));
            feeds.push(up);
        }
    }
    let heads = (1..nodes.len()).collect();
    Tree {
        nodes,
        feeds,
        heads,
        crossings: 0,
    }
}

/// The same station by shooting: a pressure at the end of the row is guessed, the row is followed to
/// the valve with what its branches draw at the pressures on the way, and the guess is halved in on
/// until the valve has the pressure that the supply gives at that flow.
struct Slow<'a> {
    station: Station<'a>,
    inside_mm: &'a [f64],
    flows_lpm: Vec<f64>,
    node_kpa: Vec<f64>,
}

impl Slow<'_> {
    fn draw(&self, node: usize, kpa: f64) -> f64 {
        let of_node = self.station.taps.iter().filter(|tap| tap.node == node);
        of_node
            .map(|tap| tap.rated_lpm * self.station.response.flow_factor(tap.body.nozzle_kpa(kpa)))
            .sum()
    }

    /// Pressure at the upper end of the pipe to a node.
    fn above(&self, node: usize, lpm: f64, kpa: f64) -> f64 {
        let (tree, up) = (self.station.tree, self.station.tree.feeds[node]);
        let height = |at: usize| self.station.heights_m.get(at).copied().unwrap_or(0.0);
        let length_m = tree.length_m(node) * (1.0 + self.station.fittings_frac);
        let lost_m = friction_m(
            length_m,
            lpm,
            self.inside_mm[node],
            self.station.roughness_c,
        );
        kpa + KPA_PER_M * (lost_m + height(node) - height(up))
    }

    /// Follows pipes from a node with a pressure to another; gives flow and pressure there.
    fn follow(&mut self, from: usize, kpa: f64, to: usize, branches: bool) -> (f64, f64) {
        let (mut node, mut kpa, mut lpm) = (from, kpa, 0.0);
        loop {
            self.node_kpa[node] = kpa;
            if node == to {
                return (lpm, kpa);
            }
            lpm += self.draw(node, kpa);
            if branches {
                lpm += self.branch(node, kpa);
            }
            self.flows_lpm[node] = lpm;
            kpa = self.above(node, lpm, kpa);
            node = self.station.tree.feeds[node];
        }
    }

    /// What a branch draws from a node of the row.
    fn branch(&mut self, node: usize, kpa: f64) -> f64 {
        let end = ROW + BRANCH * node;
        let (mut low, mut high) = (kpa - 2_000.0, kpa + 2_000.0);
        for _ in 0..90 {
            let guess = 0.5 * (low + high);
            if self.follow(end, guess, node, false).1 > kpa {
                high = guess;
            } else {
                low = guess;
            }
        }
        let (lpm, _) = self.follow(end, low, node, false);
        self.node_kpa[node] = kpa;
        lpm
    }

    fn solve(&mut self, chain: &Chain) -> f64 {
        let (mut low, mut high) = (-2_000.0, 2_000.0);
        for _ in 0..90 {
            let guess = 0.5 * (low + high);
            let (lpm, kpa) = self.follow(ROW, guess, 0, true);
            if kpa > chain.valve_kpa(lpm) {
                high = guess;
            } else {
                low = guess;
            }
        }
        self.follow(ROW, low, 0, true).0
    }
}

fn chain(static_kpa: f64, size_mm: f64, rise_m: f64) -> Chain {
    let source = Source {
        at: None,
        reading: Reading::Static { kpa: static_kpa },
        is_read: true,
        safe_lpm: 1.0,
        limit: FlowLimit::Given,
        size_mm,
        bore_mm: size_mm,
        is_size_inferred: false,
        needs_reducer: false,
        pump_least_lpm: 0.0,
    };
    let main = Run {
        length_m: 20.0,
        inside_mm: 35.0,
        roughness_c: 150.0,
    };
    Chain::to_valve(
        &source,
        &Losses::assumed(&Assumptions::defaults()),
        main,
        0.0,
        rise_m,
    )
}

/// Largest difference of a head's flow and inlet pressure from those of the slow solver, as shares.
fn apart(station: Station, inside_mm: &[f64], chain: &Chain) -> (Solved, f64, f64) {
    let solved = station.solve(inside_mm, chain);
    let count = inside_mm.len();
    let mut slow = Slow {
        station,
        inside_mm,
        flows_lpm: vec![0.0; count],
        node_kpa: vec![0.0; count],
    };
    let slow_lpm = slow.solve(chain);
    let mut off = (
        (solved.flow_lpm() - slow_lpm).abs() / slow_lpm.max(0.1),
        0.0_f64,
    );
    for (tap, head) in station.taps.iter().zip(&solved.heads) {
        let lpm = tap.rated_lpm
            * station
                .response
                .flow_factor(tap.body.nozzle_kpa(slow.node_kpa[tap.node]));
        off.0 = off
            .0
            .max((head.flow_lpm - lpm).abs() / lpm.max(0.01 * tap.rated_lpm));
        off.1 = off.1.max(
            (head.inlet_kpa - slow.node_kpa[tap.node]).abs()
                / slow.node_kpa[tap.node].abs().max(1.0),
        );
    }
    (solved, off.0, off.1)
}

#[test]
fn every_station_of_a_sweep_of_supplies_is_solved() {
    let catalogue = Catalogue::generic();
    let tree = comb(4.0);
    let count = tree.nodes.len();
    let steep: Vec<f64> = tree
        .nodes
        .iter()
        .map(|at| 0.4 * at.x - 0.9 * at.y)
        .collect();
    let (mut solved_count, mut dry_heads, mut worst) = (0, 0, (0.0_f64, 0.0_f64, 0));
    for static_kpa in (100..=900).step_by(100).map(f64::from) {
        for flow_lpm in [10.0, 30.0, 75.0, 120.0, 200.0, 300.0] {
            for size_mm in [15.0, 20.0, 25.0, 40.0] {
                // Families, bodies, pipes and heights take turns.
                let turn = solved_count % 12;
                let family = &catalogue.families[turn % 3];
                let set_kpa = family.rated.kpa();
                let held = Body::Regulated {
                    set_kpa,
                    loss_kpa: 20.0,
                };
                let taps: Vec<Tap> = tree
                    .heads
                    .iter()
                    .enumerate()
                    .map(|(at, &node)| Tap {
                        node,
                        rated_lpm: flow_lpm / count as f64 * (0.5 + (at % 3) as f64 / 2.0),
                        body: match turn % 4 {
                            0 => Body::Plain,
                            1 => held,
                            _ if at % 2 == 0 => held,
                            _ => Body::Plain,
                        },
                    })
                    .collect();
                let station = Station {
                    tree: &tree,
                    taps: &taps,
                    response: Response::of(family),
                    heights_m: if turn % 2 == 0 { &[] } else { &steep },
                    roughness_c: 150.0,
                    fittings_frac: 0.1,
                };
                let inside_mm = vec![if turn < 6 { 20.8 } else { 27.2 }; count];
                let rise_m = [0.0, 6.0, -3.0][turn % 3];
                let (solved, flow_off, kpa_off) =
                    apart(station, &inside_mm, &chain(static_kpa, size_mm, rise_m));
                let what = format!("{static_kpa} kPa, {flow_lpm} L/min, {size_mm} mm, turn {turn}");
                assert!(solved.agrees, "{what}: {} steps", solved.steps);
                // Ten thousand times less than what EPANET may differ by. Both solvers end within some
                // 1e-9 kPa, which a head near no pressure answers with the root of it.
                assert!(
                    flow_off < 5e-7 && kpa_off < 5e-7,
                    "{what}: {flow_off} {kpa_off}"
                );
                worst = (
                    worst.0.max(flow_off),
                    worst.1.max(kpa_off),
                    worst.2.max(solved.steps),
                );
                dry_heads += solved
                    .heads
                    .iter()
                    .filter(|head| head.flow_lpm == 0.0)
                    .count();
                assert!(
                    solved.heads.iter().all(|head| head.flow_lpm >= 0.0),
                    "{what}"
                );
                solved_count += 1;
            }
        }
    }
    println!("{solved_count} stations, {dry_heads} dry heads, worst {worst:?}");
    assert!(solved_count == 9 * 6 * 4 && dry_heads > 100, "{dry_heads}");
    // A step costs a pass over the tree; those of the sweep are few.
    assert!(worst.2 <= 40, "{} steps", worst.2);
}

#[test]
fn what_cannot_be_solved_says_so() {
    let catalogue = Catalogue::generic();
    let tree = comb(4.0);
    let taps: Vec<Tap> = tree
        .heads
        .iter()
        .map(|&node| Tap {
            node,
            rated_lpm: 5.0,
            body: Body::Plain,
        })
        .collect();
    let station = Station {
        tree: &tree,
        taps: &taps,
        response: Response::of(&catalogue.families[0]),
        heights_m: &[],
        roughness_c: 150.0,
        fittings_frac: 0.1,
    };
    let mut nowhere = chain(400.0, 20.0, 0.0);
    nowhere.start_kpa = f64::NAN;
    assert!(
        !station
            .solve(&vec![27.2; tree.nodes.len()], &nowhere)
            .agrees
    );
}
