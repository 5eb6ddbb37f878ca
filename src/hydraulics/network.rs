//! One station with its pipes, solved: the pressure at every head, with the flows that these
//! pressures give.
//!
//! Newton's method: losses and outflows are replaced by lines through their present values, the
//! linear tree is solved from its leaves to the valve and back, and so on until flows and
//! pressures agree. A step is shortened while the error does not fall.
//!
//! # References
//! - Todini, E. and Pilati, S., "A gradient algorithm for the analysis of pipe networks", in
//!   *Computer Applications in Water Supply*, Research Studies Press, 1988, p. 1–20 (the method of
//!   lines; from memory).

use super::KPA_PER_M;
use super::laterals::Tree;
use super::nozzle::{Body, Response};
use super::pipe::{FLOW_POWER, friction_m, velocity_m_s};
use super::supply::Chain;
use crate::catalogue::Hardware;

/// Most steps of the solution.
const MOST_STEPS: usize = 200;
/// The largest change of a flow in the last step, as a share of the station's flow.
const AGREE_FRAC: f64 = 1e-10;
/// Least slope of a loss, so that pipes without flow or without loss can be solved \[kPa a L/min\].
const LEAST_SLOPE: f64 = 1e-9;
/// Outflows get their slope from pressures this far off at least \[kPa\].
const LEAST_REACH_KPA: f64 = 0.01;

/// A head on its pipe.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tap {
    /// Its node in the tree.
    pub node: usize,
    /// Flow at the rated pressure \[L/min\].
    pub rated_lpm: f64,
    /// Its body.
    pub body: Body,
}

/// Heads, pipes and what they obey.
#[derive(Debug, Clone, Copy)]
pub struct Station<'a> {
    /// The pipes.
    pub tree: &'a Tree,
    /// The heads.
    pub taps: &'a [Tap],
    /// How nozzles answer to pressure.
    pub response: Response<'a>,
    /// Height of every node above the valve \[m\]; empty on level ground.
    pub heights_m: &'a [f64],
    /// Hazen–Williams C of the pipes.
    pub roughness_c: f64,
    /// Length added for fittings, as a share.
    pub fittings_frac: f64,
}

/// What a head gets.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Served {
    /// Pressure where it joins its pipe \[kPa\].
    pub inlet_kpa: f64,
    /// Pressure at its nozzle \[kPa\].
    pub nozzle_kpa: f64,
    /// Flow \[L/min\].
    pub flow_lpm: f64,
    /// Throw as a multiple of the rated one.
    pub throw_factor: f64,
}

/// A station solved.
#[derive(Debug, Clone, PartialEq)]
pub struct Solved {
    /// What each head gets, in the order of the taps.
    pub heads: Vec<Served>,
    /// Pressure at every node \[kPa\].
    pub node_kpa: Vec<f64>,
    /// Flow of the pipe that ends at each node; at the valve, the station's \[L/min\].
    pub pipe_lpm: Vec<f64>,
    /// Loss in the pipe that ends at each node \[kPa\].
    pub loss_kpa: Vec<f64>,
    /// Whether flows and pressures agree.
    pub agrees: bool,
    /// Steps that it took.
    pub steps: usize,
}

impl Solved {
    /// Flow of the station \[L/min\].
    #[must_use]
    pub fn flow_lpm(&self) -> f64 {
        self.pipe_lpm[0]
    }

    /// Least and largest pressure at the heads' inlets \[kPa\]; zeros without heads.
    #[must_use]
    pub fn inlet_range_kpa(&self) -> (f64, f64) {
        if self.heads.is_empty() {
            return (0.0, 0.0);
        }
        self.heads
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), head| {
                (low.min(head.inlet_kpa), high.max(head.inlet_kpa))
            })
    }

    /// Spread of the pressure at the heads' inlets over a design pressure.
    #[must_use]
    pub fn spread_frac(&self, design_kpa: f64) -> f64 {
        let (low, high) = self.inlet_range_kpa();
        (high - low) / design_kpa
    }
}

impl Station<'_> {
    /// Length of the pipe that ends at a node, fittings included \[m\].
    fn length_m(&self, node: usize) -> f64 {
        self.tree.length_m(node) * (1.0 + self.fittings_frac)
    }

    fn height_m(&self, node: usize) -> f64 {
        self.heights_m.get(node).copied().unwrap_or(0.0)
    }

    /// Flows in the pipes from flows at the heads.
    fn gathered(&self, flows_lpm: &[f64]) -> Vec<f64> {
        let mut pipe_lpm = vec![0.0; self.tree.nodes.len()];
        for (tap, flow) in self.taps.iter().zip(flows_lpm) {
            pipe_lpm[tap.node] += flow;
        }
        for node in (1..pipe_lpm.len()).rev() {
            pipe_lpm[self.tree.feeds[node]] += pipe_lpm[node];
        }
        pipe_lpm
    }

    /// Flows in the pipes when every head draws its rated flow.
    #[must_use]
    pub fn rated_lpm(&self) -> Vec<f64> {
        let rated: Vec<f64> = self.taps.iter().map(|tap| tap.rated_lpm).collect();
        self.gathered(&rated)
    }

    /// Pressures from flows.
    fn pressures(
        &self,
        pipe_lpm: &[f64],
        inside_mm: &[f64],
        valve_kpa: f64,
    ) -> (Vec<f64>, Vec<f64>) {
        let mut node_kpa = vec![valve_kpa; pipe_lpm.len()];
        let mut loss_kpa = vec![0.0; pipe_lpm.len()];
        for node in 1..pipe_lpm.len() {
            let up = self.tree.feeds[node];
            loss_kpa[node] = KPA_PER_M
                * friction_m(
                    self.length_m(node),
                    pipe_lpm[node],
                    inside_mm[node],
                    self.roughness_c,
                );
            let rise_m = self.height_m(node) - self.height_m(up);
            node_kpa[node] = node_kpa[up] - loss_kpa[node] - KPA_PER_M * rise_m;
        }
        (node_kpa, loss_kpa)
    }

    fn answer(&self, tap: &Tap, node_kpa: &[f64]) -> Served {
        let inlet_kpa = node_kpa[tap.node];
        let nozzle_kpa = tap.body.nozzle_kpa(inlet_kpa);
        Served {
            inlet_kpa,
            nozzle_kpa,
            flow_lpm: tap.rated_lpm * self.response.flow_factor(nozzle_kpa),
            throw_factor: self.response.throw_factor(nozzle_kpa),
        }
    }

    /// Solves the station. `inside_mm` holds the inside diameter of the pipe that ends at each
    /// node.
    #[must_use]
    pub fn solve(&self, inside_mm: &[f64], chain: &Chain) -> Solved {
        let mut state = State::rated(self, inside_mm, chain);
        let (mut share, mut error_before) = (1.0_f64, f64::INFINITY);
        let (mut agrees, mut steps) = (false, 0);
        while steps < MOST_STEPS && !agrees {
            steps += 1;
            let error = state.step(share);
            agrees = error <= AGREE_FRAC;
            share = if error > 0.9 * error_before {
                (0.6 * share).max(0.05)
            } else {
                (1.3 * share).min(1.0)
            };
            error_before = error;
        }
        let heads: Vec<Served> = self
            .taps
            .iter()
            .map(|tap| self.answer(tap, &state.node_kpa))
            .collect();
        let flows_lpm: Vec<f64> = heads.iter().map(|head| head.flow_lpm).collect();
        let pipe_lpm = self.gathered(&flows_lpm);
        let (_, loss_kpa) = self.pressures(&pipe_lpm, inside_mm, 0.0);
        Solved {
            heads,
            node_kpa: state.node_kpa,
            pipe_lpm,
            loss_kpa,
            agrees,
            steps,
        }
    }

    /// Chooses pipes: for each the narrowest that keeps the velocity at rated flows, then wider
    /// ones on the way to the weakest head, where most is lost for a metre, until the spread is
    /// within its bound. No pipe is wider than the one that feeds it. Gives the size of the pipe
    /// that ends at each node, as an index of the catalogue's pipes.
    #[must_use]
    pub fn sized(
        &self,
        hardware: &Hardware,
        velocity_most_m_s: f64,
        spread_most_frac: f64,
        design_kpa: f64,
    ) -> Vec<usize> {
        let rated_lpm = self.rated_lpm();
        let mut sizes: Vec<usize> = rated_lpm
            .iter()
            .map(|&lpm| hardware.pipe_for(lpm, velocity_most_m_s))
            .collect();
        let widest = hardware.pipes.len() - 1;
        let most_kpa = spread_most_frac * design_kpa;
        // Each step widens one pipe, so there are not more steps than pipes and sizes.
        for _ in 0..sizes.len() * widest {
            let inside_mm = inside_mm(&sizes, hardware);
            let (node_kpa, loss_kpa) = self.pressures(&rated_lpm, &inside_mm, 0.0);
            let (mut low, mut high) = (None, f64::NEG_INFINITY);
            for tap in self.taps {
                let kpa = node_kpa[tap.node];
                high = high.max(kpa);
                if low.is_none_or(|(least, _)| kpa < least) {
                    low = Some((kpa, tap.node));
                }
            }
            let Some((low_kpa, mut node)) = low.filter(|(kpa, _)| high - kpa > most_kpa) else {
                break;
            };
            debug_assert!(low_kpa <= high);
            let mut steepest: Option<(f64, usize)> = None;
            while node != 0 {
                let slope = loss_kpa[node] / self.length_m(node).max(0.1);
                if sizes[node] < widest && steepest.is_none_or(|(most, _)| slope > most) {
                    steepest = Some((slope, node));
                }
                node = self.tree.feeds[node];
            }
            let Some((_, wider)) = steepest else { break };
            sizes[wider] += 1;
            let (size, mut up) = (sizes[wider], self.tree.feeds[wider]);
            while up != 0 && sizes[up] < size {
                sizes[up] = size;
                up = self.tree.feeds[up];
            }
        }
        sizes
    }

    /// The largest velocity in its pipes \[m/s\].
    #[must_use]
    pub fn fastest_m_s(&self, solved: &Solved, inside_mm: &[f64]) -> f64 {
        (1..solved.pipe_lpm.len())
            .map(|node| velocity_m_s(solved.pipe_lpm[node], inside_mm[node]))
            .fold(0.0, f64::max)
    }
}

/// Flows and pressures on their way to agreement.
struct State<'a> {
    station: &'a Station<'a>,
    inside_mm: &'a [f64],
    chain: &'a Chain,
    pipe_lpm: Vec<f64>,
    node_kpa: Vec<f64>,
    scale_lpm: f64,
}

/// An amount and how it grows with a pressure.
#[derive(Clone, Copy, Default)]
struct Line {
    at_zero: f64,
    slope: f64,
}

impl<'a> State<'a> {
    fn rated(station: &'a Station<'a>, inside_mm: &'a [f64], chain: &'a Chain) -> State<'a> {
        let pipe_lpm = station.rated_lpm();
        let (node_kpa, _) = station.pressures(&pipe_lpm, inside_mm, chain.valve_kpa(pipe_lpm[0]));
        State {
            station,
            inside_mm,
            chain,
            scale_lpm: pipe_lpm[0].max(f64::MIN_POSITIVE),
            pipe_lpm,
            node_kpa,
        }
    }

    /// What is lost between a node and the one that feeds it, with its slope: `loss + slope · ΔQ`.
    fn loss(&self, node: usize) -> (f64, f64) {
        let flow = self.pipe_lpm[node];
        let loss = |lpm: f64| {
            if node == 0 {
                return self.chain.valve_kpa(0.0) - self.chain.valve_kpa(lpm);
            }
            let length_m = self.station.length_m(node);
            let c = self.station.roughness_c;
            KPA_PER_M * friction_m(length_m, lpm, self.inside_mm[node], c)
        };
        let lost = loss(flow);
        // A power of the flow; the main and meter are a sum of two with nearly the same power.
        let slope = FLOW_POWER * lost / flow;
        let slope = if slope.is_finite() { slope } else { 0.0 };
        (lost, slope.max(LEAST_SLOPE))
    }

    /// One step of Newton's method on the linearised tree, from the leaves to the valve and back;
    /// gives the largest change of a flow as a share of the station's flow.
    fn step(&mut self, share: f64) -> f64 {
        let station = self.station;
        let count = self.pipe_lpm.len();
        // What each node draws, as a line over its pressure: heads first, then what it feeds.
        let mut drawn = vec![Line::default(); count];
        for tap in station.taps {
            let kpa = self.node_kpa[tap.node];
            let reach_kpa = (0.01 * kpa.abs()).max(LEAST_REACH_KPA);
            let flow =
                |kpa: f64| tap.rated_lpm * station.response.flow_factor(tap.body.nozzle_kpa(kpa));
            let slope = (flow(kpa + reach_kpa) - flow(kpa - reach_kpa)) / (2.0 * reach_kpa);
            let line = &mut drawn[tap.node];
            line.at_zero += flow(kpa) - slope * kpa;
            line.slope += slope;
        }
        // The pipe to a node carries `at + (P_up − P) / slope`.
        let mut pipes = vec![(0.0, 0.0); count];
        for node in (0..count).rev() {
            let (lost_kpa, slope) = self.loss(node);
            let rise_m = if node == 0 {
                0.0
            } else {
                station.height_m(node) - station.height_m(station.tree.feeds[node])
            };
            let ease = 1.0 / slope;
            let at = self.pipe_lpm[node] - (lost_kpa + KPA_PER_M * rise_m) * ease;
            pipes[node] = (at, ease);
            if node > 0 {
                let Line { at_zero, slope } = drawn[node];
                let joint = slope / (slope + ease);
                let up = &mut drawn[station.tree.feeds[node]];
                up.at_zero += at_zero + joint * (at - at_zero);
                up.slope += joint * ease;
            }
        }
        let mut error_lpm = 0.0_f64;
        let start_kpa = self.chain.valve_kpa(0.0);
        for node in 0..count {
            let up_kpa = if node == 0 {
                start_kpa
            } else {
                self.node_kpa[station.tree.feeds[node]]
            };
            let ((at, ease), Line { at_zero, slope }) = (pipes[node], drawn[node]);
            let kpa = (at + ease * up_kpa - at_zero) / (slope + ease);
            let change_lpm = at_zero + slope * kpa - self.pipe_lpm[node];
            error_lpm = error_lpm.max(change_lpm.abs());
            self.pipe_lpm[node] += share * change_lpm;
            self.node_kpa[node] = kpa;
        }
        error_lpm / self.scale_lpm
    }
}

/// Inside diameters of sizes \[mm\].
#[must_use]
pub fn inside_mm(sizes: &[usize], hardware: &Hardware) -> Vec<f64> {
    sizes
        .iter()
        .map(|&size| hardware.pipes[size].inside_mm) // sizes are indices of the catalogue
        .collect()
}
