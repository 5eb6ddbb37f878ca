//! What a set of heads is worth, whether the search made it or somebody found it.

use super::super::design;
use crate::catalogue::{Head, Pattern, Profile};
use crate::rain::{Board, Candidate, Grid, Weights};
use crate::shape::Outline;

/// The cost of heads on a lawn, by the weights of the search: evenness, its lowest parts more, and
/// water beside the turf. What stops a throw is not in it.
#[must_use]
pub fn objective(outline: &Outline, profile: &Profile, heads: &[Head]) -> f64 {
    let grid = Grid::over(outline, design::search_cell_m(outline), 0.0);
    let weights = |target_mm_h| Weights {
        target_mm_h,
        low_share: design::TASTE.low_share,
        low_weight: design::TASTE.low_weight,
        over_weight: design::TASTE.over_weight,
    };
    let mut board = Board::new(&grid, profile, weights(1.0));
    let mut flow_l_h = 0.0;
    for head in heads {
        if let Pattern::Sector {
            radius_m,
            start_deg,
            sweep_deg,
        } = head.pattern
        {
            let sector = Candidate {
                at: head.at,
                radius_m,
                start_deg,
                sweep_deg,
                flow_lpm: head.flow.lpm(),
            };
            board.rain(&sector, None, 1.0);
            flow_l_h += 60.0 * head.flow.lpm();
        }
    }
    let mean_mm_h = board.mean_mm_h();
    let needed_l_h = mean_mm_h * grid.turf_cells() as f64 * grid.cell_m() * grid.cell_m();
    if needed_l_h <= 0.0 {
        return f64::INFINITY;
    }
    board.aim(weights(mean_mm_h));
    let beside = (flow_l_h - needed_l_h).max(0.0) / needed_l_h;
    board.penalty() + design::TASTE.over_weight * beside
}
