//! A parcel's stations as an input file of EPANET, the public-domain solver of water networks.
//!
//! One station runs at a time, so each gets the whole way of the water to itself: a reservoir for
//! the pressure less the losses that do not depend on the flow, the service line with the meter as
//! a minor loss, the main, and its laterals. Heads are emitters; heads whose bodies hold the
//! pressure are fixed demands. A regulated body's own loss is given to the height of its emitter. A
//! head without pressure has no emitter, which would draw water in: its junction has no demand, and the
//! solver must find no pressure there.
//!
//! # References
//! - Rossman, L. A. et al., *EPANET 2.2 User Manual*, US EPA, EPA/600/R-20/133, 2020, appendix C.2
//!   (the format).

use std::fmt::Write;

use super::network::{Solved, Station};
use super::nozzle::Body;
use super::pipe::minor_m;
use super::pipe::velocity_m_s;
use super::supply::Chain;
use super::{KPA_PER_M, network::Tap};

/// One station as it goes into the file.
#[derive(Debug, Clone, Copy)]
pub struct Piece<'a> {
    /// Its pipes and heads.
    pub station: Station<'a>,
    /// The way to its valve.
    pub chain: &'a Chain,
    /// Inside diameter of the pipe that ends at each node \[mm\].
    pub inside_mm: &'a [f64],
    /// What was found.
    pub solved: &'a Solved,
}

/// Roughness and length of a pipe without loss.
const SHORT_M: f64 = 0.001;
const WIDE_MM: f64 = 1_000.0;

/// Writes the file. Stations are numbered from 1; a node is `S<station>N<node>`, a head
/// `S<station>H<head>`, both from 0 in the order of the plan; heads are numbered from 1.
#[must_use]
pub fn text(title: &str, pieces: &[Piece]) -> String {
    let mut file = File::default();
    let mut exponent = 0.5;
    for (at, piece) in pieces.iter().enumerate() {
        if let Some(pure) = piece.station.response.pure_exponent() {
            exponent = pure;
        }
        file.piece(at + 1, piece);
    }
    let File {
        junctions,
        reservoirs,
        pipes,
        emitters,
        coordinates,
    } = file;
    format!(
        "[TITLE]\n{}\nOne station runs at a time: each has its own reservoir and main.\n\n\
         [JUNCTIONS]\n;ID\tElev\tDemand\n{junctions}\n\
         [RESERVOIRS]\n;ID\tHead\n{reservoirs}\n\
         [PIPES]\n;ID\tNode1\tNode2\tLength\tDiameter\tRoughness\tMinorLoss\tStatus\n{pipes}\n\
         [EMITTERS]\n;Junction\tCoefficient\n{emitters}\n\
         [OPTIONS]\nUNITS\tLPM\nHEADLOSS\tH-W\nEMITTER EXPONENT\t{exponent}\nTRIALS\t500\n\
         ACCURACY\t0.000001\nUNBALANCED\tCONTINUE 100\nQUALITY\tNONE\n\n\
         [TIMES]\nDURATION\t0\n\n[REPORT]\nSTATUS\tNO\nSUMMARY\tNO\n\n\
         [COORDINATES]\n;Node\tX\tY\n{coordinates}\n[END]\n",
        one_line(title),
    )
}

#[derive(Default)]
struct File {
    junctions: String,
    reservoirs: String,
    pipes: String,
    emitters: String,
    coordinates: String,
}

impl File {
    fn piece(&mut self, number: usize, piece: &Piece) {
        let Piece {
            station,
            chain,
            inside_mm,
            solved,
        } = piece;
        let nodes = &station.tree.nodes;
        // Heights are above the valve; the reservoir lies as far below it as the chain rises.
        self.reservoir(number, chain, nodes[0]);
        for (node, at) in nodes.iter().enumerate() {
            let height_m = station.heights_m.get(node).copied().unwrap_or(0.0);
            line(
                &mut self.junctions,
                format_args!("S{number}N{node}\t{height_m:.6}\t0"),
            );
            line(
                &mut self.coordinates,
                format_args!("S{number}N{node}\t{:.3}\t{:.3}", at.x, at.y),
            );
        }
        self.way(number, chain, nodes[0]);
        for node in 1..nodes.len() {
            let length_m =
                (station.tree.length_m(node) * (1.0 + station.fittings_frac)).max(SHORT_M);
            line(
                &mut self.pipes,
                format_args!(
                    "S{number}P{node}\tS{number}N{}\tS{number}N{node}\t{length_m:.6}\t{}\t{}\t0\tOpen",
                    station.tree.feeds[node], inside_mm[node], station.roughness_c
                ),
            );
        }
        for (head, (tap, served)) in station.taps.iter().zip(&solved.heads).enumerate() {
            let at = nodes[tap.node];
            let height_m = station.heights_m.get(tap.node).copied().unwrap_or(0.0);
            let id = format!("S{number}H{}", head + 1);
            let holds = tap.body.is_holding(served.inlet_kpa);
            let is_dry = served.nozzle_kpa <= 0.0;
            let (raised_m, demand_lpm) = match (station.response.pure_exponent(), holds) {
                (Some(_), false) => (body_loss_m(tap), 0.0),
                _ => (0.0, served.flow_lpm),
            };
            line(
                &mut self.junctions,
                format_args!("{id}\t{:.6}\t{demand_lpm:.9}", height_m + raised_m),
            );
            line(
                &mut self.coordinates,
                format_args!("{id}\t{:.3}\t{:.3}", at.x, at.y),
            );
            line(
                &mut self.pipes,
                format_args!(
                    "S{number}Q{}\tS{number}N{}\t{id}\t{SHORT_M}\t{WIDE_MM}\t150\t0\tOpen",
                    head + 1,
                    tap.node
                ),
            );
            if let (Some(exponent), false) = (station.response.pure_exponent(), holds || is_dry) {
                let rated_m = station.response.rated_kpa() / KPA_PER_M;
                let coefficient = tap.rated_lpm / libm::pow(rated_m, exponent);
                line(&mut self.emitters, format_args!("{id}\t{coefficient:.12}"));
            }
        }
    }

    fn reservoir(&mut self, number: usize, chain: &Chain, at: crate::shape::Point) {
        let head_m = chain.start_kpa / KPA_PER_M - chain.rise_m;
        line(
            &mut self.reservoirs,
            format_args!("S{number}R\t{head_m:.9}"),
        );
        line(
            &mut self.coordinates,
            format_args!("S{number}R\t{:.3}\t{:.3}", at.x - 2.0, at.y),
        );
    }

    /// Reservoir to valve: the service line with the meter's loss, then the main.
    fn way(&mut self, number: usize, chain: &Chain, valve: crate::shape::Point) {
        line(
            &mut self.coordinates,
            format_args!("S{number}M\t{:.3}\t{:.3}", valve.x - 1.0, valve.y),
        );
        line(&mut self.junctions, format_args!("S{number}M\t0\t0"));
        let (length_m, bore_mm, c) = chain.service.map_or((SHORT_M, WIDE_MM, 150.0), |run| {
            (run.length_m.max(SHORT_M), run.inside_mm, run.roughness_c)
        });
        // meter_kpa at meter_lpm, as K · v²/2g in the bore of the service line.
        let velocity_head_m = minor_m(1.0, velocity_m_s(chain.meter_lpm, bore_mm));
        let minor = chain.meter_kpa / KPA_PER_M / velocity_head_m;
        line(
            &mut self.pipes,
            format_args!(
                "S{number}A\tS{number}R\tS{number}M\t{length_m:.6}\t{bore_mm}\t{c}\t{minor:.9}\tOpen"
            ),
        );
        let (length_m, bore_mm, c) = chain.main.map_or((SHORT_M, WIDE_MM, 150.0), |run| {
            (run.length_m.max(SHORT_M), run.inside_mm, run.roughness_c)
        });
        line(
            &mut self.pipes,
            format_args!(
                "S{number}B\tS{number}M\tS{number}N0\t{length_m:.6}\t{bore_mm}\t{c}\t0\tOpen"
            ),
        );
    }
}

fn body_loss_m(tap: &Tap) -> f64 {
    match tap.body {
        Body::Plain => 0.0,
        Body::Regulated { loss_kpa, .. } => loss_kpa / KPA_PER_M,
    }
}

fn line(out: &mut String, text: std::fmt::Arguments) {
    let written = out.write_fmt(text).and_then(|()| out.write_char('\n'));
    debug_assert!(written.is_ok(), "a String takes every text");
}

/// A title on one line, without what the format gives a meaning.
fn one_line(title: &str) -> String {
    title
        .chars()
        .map(|c| {
            if c.is_control() || c == '[' || c == ';' {
                ' '
            } else {
                c
            }
        })
        .collect()
}
