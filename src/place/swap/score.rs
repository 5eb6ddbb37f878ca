//! What a set of heads is worth, whether the search made it or somebody found it.

use super::super::{Site, design, scene};
use crate::catalogue::{Family, Head, Pattern};
use crate::rain::{Board, Candidate, Grid, Weights};

/// The cost of heads on a lawn, by the weights of the search: evenness, its lowest parts more, and
/// water beside the turf, where it does harm more. The family gives the profile of the rain.
#[must_use]
pub fn objective(site: &Site, family: &Family, heads: &[Head]) -> f64 {
    let cell_m = design::search_cell_m(site.outline);
    let grid = Grid::over(site.outline, cell_m, 0.0);
    let scene = scene::scene(site, family, cell_m);
    let weights = |target_mm_h| Weights {
        target_mm_h,
        low_share: design::EVEN.low_share,
        low_weight: design::EVEN.low_weight,
        over_weight: design::EVEN.over_weight,
    };
    let mut board = Board::new(&grid, &family.profile, weights(1.0)).within(scene.as_ref());
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
            board.rain(&sector, 1.0);
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
    board.penalty() + design::EVEN.over_weight * beside * beside
}
