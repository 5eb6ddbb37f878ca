//! The rain of one turf area with the flows and throws that its pressures give.

use super::super::ScenarioPlan;
use super::PressureHold;
use super::outcome::HeadServed;
use crate::catalogue::{Family, Head, Pattern};
use crate::rain::{Grid, RainGrid, seen_by};
use crate::shape::Outline;
use crate::uniformity::{Surroundings, cell_m, evenness};
use crate::units::Flow;

/// Flows and throws that differ by less are as drawn.
const SAME_FRAC: f64 = 1e-6;

/// What a turf area gets in one scenario.
#[derive(Debug, Clone, PartialEq)]
pub struct Delivered {
    /// Whether its stations hold their pressure.
    pub hold: PressureHold,
    /// Low-quarter uniformity; `None` where a head is without its working pressure: what falls there
    /// has no uniformity that could be claimed.
    pub du_lq: Option<f64>,
    /// Christiansen uniformity \[%\]; `None` likewise.
    pub cu_pct: Option<f64>,
    /// Coefficient of variation; `None` likewise.
    pub cv: Option<f64>,
    /// Mean rate over the turf, mist taken off \[mm/h\].
    pub rate_mm_h: f64,
    /// Flow of all heads \[L/min\].
    pub flow_lpm: f64,
    /// Least pressure at a nozzle \[kPa\].
    pub least_kpa: f64,
    /// Largest pressure at a nozzle \[kPa\].
    pub most_kpa: f64,
    /// Whether the pressures rest on a reading.
    pub is_read: bool,
    /// What each head gets, in the order of the heads.
    pub heads: Vec<HeadServed>,
}

/// Rains again. Where every head gets what it is rated for, the drawing stands.
pub(super) fn delivered(
    outline: &Outline,
    plan: &ScenarioPlan,
    family: &Family,
    around: &Surroundings,
    (heads, hold): (Vec<HeadServed>, PressureHold),
) -> Delivered {
    let range = heads
        .iter()
        .fold((f64::INFINITY, 0.0_f64), |(low, high), head| {
            (low.min(head.nozzle_kpa), high.max(head.nozzle_kpa))
        });
    let mut delivered = Delivered {
        hold,
        du_lq: None,
        cu_pct: None,
        cv: None,
        rate_mm_h: 0.0,
        flow_lpm: heads.iter().map(|head| head.flow_lpm).sum(),
        least_kpa: range.0,
        most_kpa: range.1,
        is_read: false,
        heads,
    };
    let as_drawn = plan
        .heads
        .iter()
        .zip(&delivered.heads)
        .all(|(head, served)| {
            let flow_lpm = served.flow_lpm * (1.0 - served.mist_frac);
            (flow_lpm / head.flow.lpm() - 1.0).abs() < SAME_FRAC
                && (served.throw_factor - 1.0).abs() < SAME_FRAC
        });
    if let (true, Some(drawn)) = (as_drawn, &plan.uniformity) {
        if hold.has_uniformity() {
            delivered.du_lq = Some(drawn.du_lq);
            delivered.cu_pct = Some(drawn.cu_pct);
            delivered.cv = Some(drawn.cv);
        }
        delivered.rate_mm_h = drawn.rate_mm_h;
        return delivered;
    }
    let heads: Vec<Head> = plan
        .heads
        .iter()
        .zip(&delivered.heads)
        .filter(|(_, served)| served.flow_lpm > 0.0 && served.throw_factor > 0.0)
        .map(|(head, served)| at_work(head, served))
        .collect();
    if heads.is_empty() {
        return delivered;
    }
    let grid = Grid::over(outline, cell_m(&plan.heads), 0.0);
    let seen: Vec<Option<Outline>> = match around.blocks {
        Some(blocks) if !blocks.is_empty() => {
            heads.iter().map(|head| seen_by(head, blocks)).collect()
        }
        _ => Vec::new(),
    };
    let rain = RainGrid::of(&grid, &heads, &family.profile, &seen);
    if let Some(even) = evenness(&rain.turf_rates()) {
        if hold.has_uniformity() {
            delivered.du_lq = Some(even.du_lq);
            delivered.cu_pct = Some(even.cu_pct);
            delivered.cv = Some(even.cv);
        }
        delivered.rate_mm_h = even.mean;
    }
    delivered
}

/// A head with the throw and the flow that its pressure gives.
fn at_work(head: &Head, served: &HeadServed) -> Head {
    let mut head = head.clone();
    match &mut head.pattern {
        Pattern::Sector { radius_m, .. } => *radius_m *= served.throw_factor,
        Pattern::Strip {
            length_m, width_m, ..
        } => {
            *length_m *= served.throw_factor;
            *width_m *= served.throw_factor;
        }
    }
    head.flow = Flow::of_m3_s(served.flow_lpm * (1.0 - served.mist_frac) / 60_000.0);
    head
}
