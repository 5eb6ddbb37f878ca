//! One station with its pipes, solved: the pressure at every head, with the flows that these
//! pressures give.
//!
//! The flows q of the heads are those that make the content of the network least:
//!
//! `C(q) = Σ_pipes ∫ h(Q) dQ + Σ_heads ∫ φ(q) dq − P₀ · Σ q`
//!
//! with the loss h of a pipe that carries Q, the pressure φ that a head needs at its inlet for a flow
//! q, and the pressure P₀ before everything. Losses and needs rise with the flow, so C is strictly
//! convex and has one least point, where every head needs what it gets: the physical solution. It is
//! found by Newton's method on the tree, from the leaves to the valve and back; a step goes no farther
//! than where C stops falling. The start is the least point on the way from no flow to the rated flows,
//! so that no head begins with a pressure that it cannot have. A head without pressure has no flow.
//!
//! # References
//! - Todini, E. and Pilati, S., "A gradient algorithm for the analysis of pipe networks", in
//!   *Computer Applications in Water Supply*, Research Studies Press, 1988, p. 1–20 (the method of
//!   lines; from memory).
//! - Collins, M., Cooper, L., Helgason, R., Kennington, J. and LeBlanc, L., "Solving the pipe network
//!   analysis problem using optimization techniques", Management Science 24(7), 1978, p. 747–760
//!   (the content of a network and its one least point; original not consulted).

use super::KPA_PER_M;
use super::laterals::Tree;
use super::nozzle::{Body, Response};
use super::pipe::{FLOW_POWER, friction_m, velocity_m_s};
use super::supply::Chain;
use crate::catalogue::Hardware;

/// Maximum number of steps of the solution; fewer than twenty are usual.
const MAX_STEPS: usize = 200;
/// Maximum number of looks along one step.
const MAX_LOOKS: usize = 60;
/// A step has agreed when no flow changes by more than this share of the station's rated flow.
const AGREE_FRAC: f64 = 1e-10;
/// A solution counts when the flows that its pressures give are those that it has, within this share of
/// the station's rated flow: a tenth of what a column can show.
const SAME_FRAC: f64 = 1e-6;
/// Minimum slope of a loss, so that pipes without flow or without loss can be solved \[kPa a L/min\].
const MIN_SLOPE: f64 = 1e-9;
/// Minimum slope of a head's need over that of its rated flow.
const MIN_NEED_SLOPE: f64 = 1e-6;
/// Slope of a head's need over that of its rated flow where the flow can hardly change: below zero, and
/// beyond what a regulated body passes.
const STIFF_SLOPE: f64 = 1e9;
/// So near to its flow, as a share of the rated one, a head is taken by its tangent.
const NEAR_FRAC: f64 = 1e-7;
/// The slope along a step has to fall to this share.
const STEP_SLOPE_FRAC: f64 = 0.5;

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
    /// node. [`Solved::agrees`] says whether that is a solution.
    #[must_use]
    pub fn solve(&self, inside_mm: &[f64], chain: &Chain) -> Solved {
        let mut state = State::still(self, inside_mm, chain);
        let rated: Vec<f64> = self.taps.iter().map(|tap| tap.rated_lpm).collect();
        state.advance(&rated);
        let (mut settled, mut steps) = (false, 0);
        while steps < MAX_STEPS && !settled {
            steps += 1;
            let step_lpm = state.step();
            let largest = step_lpm
                .iter()
                .fold(0.0_f64, |most, lpm| most.max(lpm.abs()));
            settled = largest <= AGREE_FRAC * state.scale_lpm;
            state.advance(&step_lpm);
        }
        let flows_lpm: Vec<f64> = self
            .taps
            .iter()
            .map(|tap| self.answer(tap, &state.node_kpa).flow_lpm)
            .collect();
        let pipe_lpm = self.gathered(&flows_lpm);
        let valve_kpa = chain.valve_kpa(pipe_lpm[0]);
        let (node_kpa, loss_kpa) = self.pressures(&pipe_lpm, inside_mm, valve_kpa);
        let heads: Vec<Served> = self
            .taps
            .iter()
            .map(|tap| self.answer(tap, &node_kpa))
            .collect();
        // What is given out rests on the flows that are checked here, and on nothing before them.
        let same_lpm = SAME_FRAC * state.scale_lpm;
        let agrees = heads.iter().zip(&flows_lpm).all(|(head, lpm)| {
            head.inlet_kpa.is_finite() && (head.flow_lpm - lpm).abs() <= same_lpm
        });
        Solved {
            heads,
            node_kpa,
            pipe_lpm,
            loss_kpa,
            agrees,
            steps,
        }
    }

    /// Chooses pipes: for each the narrowest that keeps the velocity at rated flows, then wider
    /// ones on the way to the head that loses most, where most is lost for a metre, until the spread by
    /// friction is within its bound. No pipe is wider than the one that feeds it. Gives the size of the pipe
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
        // No pipe makes a height less.
        let level = Station {
            heights_m: &[],
            ..*self
        };
        let most_kpa = spread_most_frac * design_kpa;
        // Each step widens one pipe, so there are not more steps than pipes and sizes.
        for _ in 0..sizes.len() * widest {
            let inside_mm = inside_mm(&sizes, hardware);
            let (node_kpa, loss_kpa) = level.pressures(&rated_lpm, &inside_mm, 0.0);
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

/// Flows of the heads and what follows from them, on their way to agreement.
struct State<'a> {
    station: &'a Station<'a>,
    chain: &'a Chain,
    /// Pressure behind the valve without flow \[kPa\].
    start_kpa: f64,
    /// Loss in the pipe that ends at each node at 1 L/min \[kPa\]; unused at the valve.
    at_one_kpa: Vec<f64>,
    flows_lpm: Vec<f64>,
    pipe_lpm: Vec<f64>,
    node_kpa: Vec<f64>,
    scale_lpm: f64,
}

impl<'a> State<'a> {
    /// Without flow.
    fn still(station: &'a Station<'a>, inside_mm: &'a [f64], chain: &'a Chain) -> State<'a> {
        let c = station.roughness_c;
        let at_one_kpa = (0..station.tree.nodes.len())
            .map(|node| match node {
                0 => 0.0,
                _ => KPA_PER_M * friction_m(station.length_m(node), 1.0, inside_mm[node], c),
            })
            .collect();
        let rated_lpm: f64 = station.taps.iter().map(|tap| tap.rated_lpm).sum();
        let mut state = State {
            station,
            chain,
            start_kpa: chain.valve_kpa(0.0),
            at_one_kpa,
            flows_lpm: vec![0.0; station.taps.len()],
            pipe_lpm: Vec::new(),
            node_kpa: Vec::new(),
            scale_lpm: rated_lpm.max(f64::MIN_POSITIVE),
        };
        (state.pipe_lpm, state.node_kpa) = state.at(&state.flows_lpm);
        state
    }

    /// Loss in the pipe that ends at a node \[kPa\], or before the valve; its sign follows the flow.
    fn loss_kpa(&self, node: usize, lpm: f64) -> f64 {
        let forth = if node == 0 {
            self.start_kpa - self.chain.valve_kpa(lpm.abs())
        } else {
            self.at_one_kpa[node] * libm::pow(lpm.abs(), FLOW_POWER)
        };
        forth.copysign(lpm)
    }

    /// Flows in the pipes and pressures at the nodes from flows of the heads.
    fn at(&self, flows_lpm: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let station = self.station;
        let pipe_lpm = station.gathered(flows_lpm);
        let mut node_kpa = vec![self.start_kpa; pipe_lpm.len()];
        node_kpa[0] -= self.loss_kpa(0, pipe_lpm[0]);
        for node in 1..pipe_lpm.len() {
            let up = station.tree.feeds[node];
            let rise_m = station.height_m(node) - station.height_m(up);
            node_kpa[node] =
                node_kpa[up] - self.loss_kpa(node, pipe_lpm[node]) - KPA_PER_M * rise_m;
        }
        (pipe_lpm, node_kpa)
    }

    /// The pressure that a head needs at its inlet for a flow \[kPa\], with its slope there. Flows below
    /// zero, and beyond what a regulated body passes, need pressures that no station has.
    fn need(&self, tap: &Tap, lpm: f64) -> (f64, f64) {
        let response = &self.station.response;
        let (loss_kpa, most) = limits(tap.body, response);
        let (unit, factor) = (self.unit(tap), lpm / tap.rated_lpm);
        let stiff = STIFF_SLOPE * unit;
        if factor < 0.0 {
            return (loss_kpa + stiff * lpm, stiff);
        }
        if factor > most {
            let kpa = loss_kpa + response.kpa_for(most).0;
            return (kpa + stiff * (lpm - most * tap.rated_lpm), stiff);
        }
        let (kpa, slope) = response.kpa_for(factor);
        let slope = slope / tap.rated_lpm;
        (loss_kpa + kpa, slope.clamp(MIN_NEED_SLOPE * unit, stiff))
    }

    /// The flow that needs a pressure at the inlet: the inverse of [`State::need`].
    fn flow_lpm(&self, tap: &Tap, inlet_kpa: f64) -> f64 {
        let response = &self.station.response;
        let (loss_kpa, most) = limits(tap.body, response);
        let (stiff, kpa) = (STIFF_SLOPE * self.unit(tap), inlet_kpa - loss_kpa);
        let most_kpa = if most.is_finite() {
            response.kpa_for(most).0
        } else {
            f64::INFINITY
        };
        if kpa < 0.0 {
            kpa / stiff
        } else if kpa > most_kpa {
            most * tap.rated_lpm + (kpa - most_kpa) / stiff
        } else {
            tap.rated_lpm * response.flow_factor(kpa)
        }
    }

    /// A slope of a head's need: rated pressure to rated flow.
    fn unit(&self, tap: &Tap) -> f64 {
        self.station.response.rated_kpa() / tap.rated_lpm
    }

    /// A head as a line: what it needs, and the slope to where it would be with the pressure that it
    /// has, which takes it there at once and not beyond.
    fn line(&self, tap: &Tap, lpm: f64) -> (f64, f64) {
        let (need_kpa, slope) = self.need(tap, lpm);
        let kpa = self.node_kpa[tap.node];
        let away_lpm = self.flow_lpm(tap, kpa) - lpm;
        let secant = (kpa - need_kpa) / away_lpm;
        let is_apart =
            away_lpm.abs() > NEAR_FRAC * tap.rated_lpm || slope >= STIFF_SLOPE * self.unit(tap);
        if is_apart && secant.is_finite() && secant > 0.0 {
            (need_kpa, secant)
        } else {
            (need_kpa, slope)
        }
    }

    /// The step of Newton's method for each head \[L/min\].
    fn step(&self) -> Vec<f64> {
        let station = self.station;
        let count = self.pipe_lpm.len();
        // Below each node: what the flow changes by, as a line over the change of its pressure.
        let (mut at_zero, mut slope) = (vec![0.0; count], vec![0.0; count]);
        let needs: Vec<(f64, f64)> = station
            .taps
            .iter()
            .zip(&self.flows_lpm)
            .map(|(tap, &lpm)| self.line(tap, lpm))
            .collect();
        for (tap, (need_kpa, need_slope)) in station.taps.iter().zip(&needs) {
            at_zero[tap.node] += (self.node_kpa[tap.node] - need_kpa) / need_slope;
            slope[tap.node] += 1.0 / need_slope;
        }
        // The pipe to a node: ΔQ = (ΔP_up − ΔP) · ease, with its loss as a line.
        let ease: Vec<f64> = (0..count)
            .map(|node| {
                let lpm = self.pipe_lpm[node].abs();
                let lost_kpa = self.loss_kpa(node, lpm);
                // Pipes by their power of the flow, the meter by the square.
                let meter_kpa = if node == 0 {
                    self.chain.meter_loss_kpa(lpm)
                } else {
                    0.0
                };
                let steep = FLOW_POWER * (lost_kpa - meter_kpa) + 2.0 * meter_kpa;
                let steep = if lpm > 0.0 { steep / lpm } else { 0.0 };
                1.0 / steep.max(MIN_SLOPE)
            })
            .collect();
        for node in (1..count).rev() {
            let joint = ease[node] / (slope[node] + ease[node]);
            let up = station.tree.feeds[node];
            at_zero[up] += joint * at_zero[node];
            slope[up] += joint * slope[node];
        }
        let mut change_kpa = vec![0.0; count];
        for node in 0..count {
            let up_kpa = if node == 0 {
                0.0
            } else {
                change_kpa[station.tree.feeds[node]]
            };
            change_kpa[node] = (ease[node] * up_kpa - at_zero[node]) / (slope[node] + ease[node]);
        }
        let step_lpm = station.taps.iter().zip(&needs);
        step_lpm
            .map(|(tap, (need_kpa, need_slope))| {
                (self.node_kpa[tap.node] + change_kpa[tap.node] - need_kpa) / need_slope
            })
            .collect()
    }

    /// How the content changes along a direction at some flows \[kPa L/min\].
    fn along(&self, flows_lpm: &[f64], node_kpa: &[f64], direction: &[f64]) -> f64 {
        let taps = self.station.taps.iter().zip(flows_lpm).zip(direction);
        taps.map(|((tap, &lpm), step)| step * (self.need(tap, lpm).0 - node_kpa[tap.node]))
            .sum()
    }

    /// Goes along a direction: all of it, or as far as the content falls.
    fn advance(&mut self, direction: &[f64]) {
        let moved = |state: &State, share: f64| {
            let flows_lpm: Vec<f64> = state
                .flows_lpm
                .iter()
                .zip(direction)
                .map(|(lpm, step)| lpm + share * step)
                .collect();
            let (pipe_lpm, node_kpa) = state.at(&flows_lpm);
            let along = state.along(&flows_lpm, &node_kpa, direction);
            (along, flows_lpm, pipe_lpm, node_kpa)
        };
        let start = self.along(&self.flows_lpm, &self.node_kpa, direction);
        if start.is_nan() || start >= 0.0 {
            return;
        }
        let is_far_enough = |along: f64| along <= 0.0 && along >= STEP_SLOPE_FRAC * start;
        let mut found = moved(self, 1.0);
        // A step that falls all the way is Newton's own; one that goes beyond the least point is taken
        // back to where the content still falls, but less.
        let (mut low, mut high) = (0.0, 1.0);
        let mut looks = 0;
        while found.0 > 0.0 || (looks > 0 && !is_far_enough(found.0)) || found.0.is_nan() {
            looks += 1;
            if looks > MAX_LOOKS {
                break;
            }
            let share = 0.5 * (low + high);
            found = moved(self, share);
            if found.0 > 0.0 || found.0.is_nan() {
                high = share;
            } else {
                low = share;
            }
        }
        (_, self.flows_lpm, self.pipe_lpm, self.node_kpa) = found;
    }
}

/// The loss in a body \[kPa\] and the most that it passes, as a multiple of the rated flow.
fn limits(body: Body, response: &Response) -> (f64, f64) {
    match body {
        Body::Plain => (0.0, f64::INFINITY),
        Body::Regulated { set_kpa, loss_kpa } => (loss_kpa, response.flow_factor(set_kpa)),
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
