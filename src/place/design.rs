//! Searches for a layout: several starts, the best of them refined.

use super::draft::{Free, GAP_FRAC, Throws};
use super::lattice::{Lattice, Weave};
use super::refine::{Search, Taste};
use super::ring::{self, Boundary};
use super::{Effort, Favour, Head};
use crate::catalogue::{Family, Pattern, Role};
use crate::rain::{Board, Grid, Weights};
use crate::shape::{Outline, Point};

/// Cells of the search's own grid, about this many to a lawn.

const SEARCH_CELL_M: (f64, f64) = (0.2, 0.8);
/// Interior heads of a start keep this share of the pitch from boundary heads.
const CLEAR_FRAC: f64 = 0.55;

/// How much is tried at an effort.
struct Budget {
    starts: usize,
    finalists: usize,
    /// Trials of one start, for each head.
    start_trials: usize,
    /// Trials of a finalist, for each head.
    final_trials: usize,
}

fn budget(effort: Effort) -> Budget {
    match effort {
        Effort::Rule | Effort::Fast => Budget { starts: 1, finalists: 1, start_trials: 0, final_trials: 60 },
        Effort::Normal => Budget { starts: 8, finalists: 2, start_trials: 20, final_trials: 150 },
        Effort::Thorough => Budget { starts: 40, finalists: 8, start_trials: 100, final_trials: 1_500 },
    }
}

/// Designs a layout with no more heads than the plain rule needs.
pub(super) fn designed(
    outline: &Outline,
    family: &Family,
    throw_m: f64,
    rule: &[Head],
    effort: Effort,
    _favour: Favour,
) -> Vec<Head> {
    let budget = budget(effort);
    let ev = |n: &str, d: f64| std::env::var(n).ok().and_then(|v| v.parse().ok()).unwrap_or(d);
    let taste = Taste { low_share: ev("LS", 0.9), low_weight: ev("LW", 4.0), over_weight: ev("OW", 0.13), alone_price: ev("AP", 0.1), head_price: 0.0 };
    let cell_m = (outline.area_m2() / ev("SC", 1800.0)).sqrt().clamp(SEARCH_CELL_M.0, SEARCH_CELL_M.1);
    let grid = Grid::over(outline, cell_m, 0.0);
    let most = rule.len();
    let longest_m = family.longest_m();
    let throws = Throws::around(family, throw_m, longest_m);
    let profile = &family.profile;
    let weights = Weights {
        target_mm_h: 1.0,
        low_share: taste.low_share,
        low_weight: taste.low_weight,
        over_weight: taste.over_weight,
    };
    let mut ranked: Vec<(f64, Vec<Free>)> = Vec::new();
    let mut starts = starts(outline, &throws, throw_m, budget.starts, most);
    starts.push(rule_start(rule, &throws));
    for start in starts {
        let trials = budget.start_trials * start.len();
        let mut search = Search::new(outline, &throws, Board::new(&grid, profile, weights), start, taste, trials);
        search.trials = trials.max(1);
        search.sweep(0.15);
        search.trials += search.heads.len() * 20;
        search.thin_out(most);
        if search.heads.len() <= most {
            search.sweep(0.1);
            ranked.push((search.cost(), search.into_heads()));
        }
    }
    ranked.sort_by(|a, b| a.0.total_cmp(&b.0));
    ranked.truncate(budget.finalists);
    let mut best: Option<(f64, Vec<Free>)> = None;
    for (_, heads) in ranked {
        let trials = budget.final_trials * heads.len();
        let mut search = Search::new(outline, &throws, Board::new(&grid, profile, weights), heads, taste, trials);
        search.top_up(most, 0.35 * throw_m, throw_m);
        search.run(&[0.15, 0.08, 0.04, 0.02]);
        search.thin_out(most);
        let cost = search.cost();
        if best.as_ref().is_none_or(|(least, _)| cost < *least) {
            best = Some((cost, search.into_heads()));
        }
    }
    match best {
        Some((_, heads)) => heads.iter().map(|free| throws.set(free)).collect(),
        None => rule.to_vec(),
    }
}

/// The plain rule's own heads, free to change.
fn rule_start(rule: &[Head], throws: &Throws) -> Vec<Free> {
    rule.iter()
        .map(|head| {
            let Pattern::Sector { radius_m, start_deg, sweep_deg } = head.pattern else {
                return throws.inside(head.at, throws.longest_m());
            };
            let mut near: Vec<f64> = rule
                .iter()
                .filter(|other| other.role != Role::Interior && other.at != head.at)
                .map(|other| other.at.distance(head.at))
                .collect();
            near.sort_by(f64::total_cmp);
            let gap_m = near.get(1).copied().unwrap_or(radius_m);
            let least_m = match head.role {
                Role::Interior => throws.shortest_m(),
                _ => throws.allowed(gap_m / GAP_FRAC),
            };
            Free {
                sector: throws.sector(head.at, throws.allowed(radius_m), start_deg, sweep_deg),
                role: head.role,
                least_m: least_m.min(throws.allowed(radius_m)),
                natural: (start_deg, sweep_deg),
            }
        })
        .collect()
}

/// Layouts to begin with: pitches, directions and offsets of the inner grid in turn.
fn starts(outline: &Outline, throws: &Throws, throw_m: f64, count: usize, most: usize) -> Vec<Vec<Free>> {
    let mut starts = Vec::new();
    let boundaries = ring::read_boundaries(outline, throw_m);
    let directions = long_directions(outline);
    let pitches = [1.0, 1.04, 0.95];
    for k in 0..count {
        let pitch_m = throw_m * pitches[k % pitches.len()];
        let along = directions[(k / 2) % directions.len()];
        let weave = if k % 4 == 3 { Weave::Square } else { Weave::Triangular };
        for merge in [0.45, 0.6, 0.75, 0.9] {
            let start = start(outline, &boundaries, throws, throw_m, pitch_m, along, weave, k, merge);
            if start.iter().filter(|head| head.role != Role::Interior).count() <= most {
                starts.push(start);
                break;
            }
        }
    }
    starts
}

#[expect(clippy::too_many_arguments, reason = "to be folded")]
fn start(
    outline: &Outline,
    boundaries: &[Boundary],
    throws: &Throws,
    throw_m: f64,
    pitch_m: f64,
    (origin, along): (Point, Point),
    weave: Weave,
    k: usize,
    merge: f64,
) -> Vec<Free> {
    let gap_m = (throw_m * GAP_FRAC).min(pitch_m * GAP_FRAC);
    let posts = ring::posts(outline, boundaries, gap_m, merge * throw_m);
    let mut heads: Vec<Free> = Vec::new();
    for post in &posts {
        let crowded = heads.iter().any(|h| h.sector.at.distance(post.at) < merge.min(0.5) * throw_m);
        if !crowded {
            heads.push(throws.at_post(post, &boundaries[post.ring], throw_m));
        }
    }
    let offset = match k % 3 {
        0 => Point::new(0.0, 0.0),
        1 => along * (0.5 * pitch_m),
        _ => Point::new(-along.y, along.x) * (0.5 * pitch_m),
    };
    let lattice = Lattice { origin: origin + offset, along, pitch_m, weave };
    let boundary_heads = heads.len();
    for at in lattice.points(outline) {
        if heads[..boundary_heads].iter().all(|h| h.sector.at.distance(at) >= CLEAR_FRAC * pitch_m)
            && outline.boundary_distance_m(at) >= 0.3 * pitch_m
        {
            heads.push(throws.inside(at, throw_m));
        }
    }
    heads
}

/// Directions of the longest edges, with an end of each, at most three that differ.
fn long_directions(outline: &Outline) -> Vec<(Point, Point)> {
    let plain = crate::shape::simplified(outline.outer(), 0.15);
    let mut edges: Vec<(f64, Point, Point)> = (0..plain.len())
        .map(|i| {
            let (a, b) = (plain[i], plain[(i + 1) % plain.len()]);
            (a.distance(b), a, (b - a).unit())
        })
        .collect();
    edges.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut directions: Vec<(Point, Point)> = Vec::new();
    for (_, at, along) in edges {
        if directions.iter().all(|(_, other)| other.cross(along).abs() > 0.17 && other.dot(along).abs() > 0.17) {
            directions.push((at, along));
        }
        if directions.len() == 3 {
            break;
        }
    }
    directions
}
