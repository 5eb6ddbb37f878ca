//! Searches for a layout: several starts, the best of them refined and varied.

use super::draft::{Free, GAP_FRAC, Throws};
use super::lattice::{Lattice, Weave};
use super::refine::{Lawn, Search, Taste};
use super::ring::{self, Frontage, Spot};
use super::rule::longest_edges;
use super::scene;
use super::stand::Footing;
use super::{CROWDED_FRAC, Effort, Favour, Head, Pattern, Role, Site};
use crate::catalogue::Family;
use crate::rain::Grid;
use crate::shape::{Outline, Point};

/// Cells of the search's own grid, about this many to a lawn.
const SEARCH_CELLS: f64 = 1_800.0;
const SEARCH_CELL_M: (f64, f64) = (0.2, 0.8);
/// Interior heads of a start keep this share of the pitch from boundary heads.
const CLEAR_FRAC: f64 = 0.55;
/// Interior heads of a start keep this share of the pitch from the boundary.
const INSET_FRAC: f64 = 0.3;

/// Weights of the cost, found by trial on the lawns of four public data sets: more weight on
/// overspray costs evenness, less of it waters the street.
pub(super) const TASTE: Taste = Taste {
    low_share: 0.9,
    low_weight: 4.0,
    over_weight: 0.13,
    alone_price: 0.05,
    head_price: 0.0,
};

/// How much a search is held back from throwing water beside the turf.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Restraint {
    /// As evenness asks.
    None,
    /// No throw longer than the rule's, and overspray weighs four times as much.
    Some,
    /// The same, and it weighs sixteen times as much.
    Much,
    /// One nozzle for all heads at about the rule's throw, so that a nozzle whose flow stays may
    /// be shortened below what other nozzles match; overspray weighs eight times as much.
    Alike,
}

impl Restraint {
    fn over_factor(self) -> f64 {
        match self {
            Restraint::None => 1.0,
            Restraint::Some => 4.0,
            Restraint::Much => 16.0,
            Restraint::Alike => 8.0,
        }
    }
}

/// How much is tried at an effort.
struct Budget {
    starts: usize,
    finalists: usize,
    /// Trials of a finalist, for each head.
    trials: usize,
    /// Variations of a finalist.
    variations: usize,
}

/// A lawn with more heads than this is searched less for each of them.
const LARGE_HEADS: usize = 100;
/// A lawn with more heads than this gets one start and no variations.
const HUGE_HEADS: usize = 300;
/// Most trials of one finalist.
const MOST_TRIALS: usize = 60_000;

impl Budget {
    /// The budget for a lawn of about so many heads, so that its cost stays in bounds.
    fn for_heads(mut self, heads: usize) -> Budget {
        if heads > LARGE_HEADS {
            self.starts = self.starts.min(2);
            self.finalists = 1;
            self.variations = self.variations.min(8);
        }
        if heads > HUGE_HEADS {
            self.starts = 1;
            self.variations = 0;
        }
        self.trials = self.trials.min(MOST_TRIALS / heads.max(1));
        self
    }
}

fn budget(effort: Effort) -> Budget {
    match effort {
        Effort::Rule | Effort::Fast => Budget {
            starts: 1,
            finalists: 1,
            trials: 60,
            variations: 0,
        },
        Effort::Normal => Budget {
            starts: 4,
            finalists: 1,
            trials: 400,
            variations: 14,
        },
        Effort::Thorough => Budget {
            starts: 24,
            finalists: 4,
            trials: 10_000,
            variations: 400,
        },
    }
}

/// The side of the search's own cells \[m\].
pub(super) fn search_cell_m(outline: &Outline) -> f64 {
    (outline.area_m2() / SEARCH_CELLS)
        .sqrt()
        .clamp(SEARCH_CELL_M.0, SEARCH_CELL_M.1)
}

/// Designs a layout with no more heads than the plain rule needs.
pub(super) fn designed(
    site: &Site,
    family: &Family,
    throw_m: f64,
    rule: &[Head],
    effort: Effort,
    favour: Favour,
    restraint: Restraint,
) -> Vec<Head> {
    let outline = site.outline;
    let budget = budget(effort).for_heads(rule.len());
    let cell_m = search_cell_m(outline);
    let (heads_frac, gap_frac) = match favour {
        Favour::Evenness => (1.0, GAP_FRAC),
        Favour::Balance => (0.87, 1.15),
        Favour::Heads => (0.75, 1.3),
    };
    let footing = Footing::of(site);
    let grid = Grid::over(outline, cell_m, 0.0);
    let lawn = Lawn {
        outline,
        boundaries: ring::read_boundaries(outline, throw_m),
        throws: match restraint {
            Restraint::None => Throws::around(family, throw_m, family.longest_m()),
            Restraint::Some | Restraint::Much => Throws::around(family, throw_m, throw_m),
            Restraint::Alike => Throws::alike(family, throw_m),
        },
        throw_m,
        barred: footing.barred_cells(&grid),
        footing,
        scene: scene::scene(site, family, cell_m),
        grid,
        profile: &family.profile,
        taste: Taste {
            over_weight: TASTE.over_weight * restraint.over_factor(),
            ..TASTE
        },
        most: ((rule.len() as f64 * heads_frac + 1e-9).floor() as usize).max(1),
        gap_frac: gap_frac * site.rules.spacing_frac,
        spacing_frac: site.rules.spacing_frac,
    };
    let mut ranked: Vec<(f64, Vec<Free>, Frontage)> = Vec::new();
    let mut plans = starts(&lawn, budget.starts);
    let frontage = ring::frontage(&lawn.boundaries, CROWDED_FRAC * throw_m);
    plans.push((rule_start(rule, &lawn, &frontage), frontage));
    for (start, frontage) in plans {
        let mut search = Search::new(&lawn, start, usize::MAX);
        search.sweep(0.15);
        search.thin_out();
        if search.heads.len() <= lawn.most {
            search.sweep(0.1);
            ranked.push((search.cost(), search.heads, frontage));
        }
    }
    ranked.sort_by(|a, b| a.0.total_cmp(&b.0));
    ranked.truncate(budget.finalists);
    let mut best: Option<(f64, Vec<Free>)> = None;
    for (_, heads, frontage) in ranked {
        let trials = budget.trials * heads.len();
        let mut search = Search::new(&lawn, heads, trials);
        search.top_up();
        search.run(&[0.15, 0.08, 0.04, 0.02]);
        search.vary(&frontage, budget.variations);
        search.thin_out();
        let cost = search.cost();
        if best.as_ref().is_none_or(|(least, _)| cost < *least) {
            best = Some((cost, search.heads));
        }
    }
    match best {
        Some((_, heads)) => heads.iter().map(|free| lawn.throws.set(free)).collect(),
        None => rule.to_vec(),
    }
}

/// The plain rule's own heads, free to change.
fn rule_start(rule: &[Head], lawn: &Lawn, frontage: &Frontage) -> Vec<Free> {
    let throws = &lawn.throws;
    rule.iter()
        .map(|head| {
            let Pattern::Sector {
                radius_m,
                start_deg,
                sweep_deg,
            } = head.pattern
            else {
                return throws.inside(head.at, lawn.throw_m);
            };
            Free {
                sector: throws.sector(head.at, throws.allowed(radius_m), start_deg, sweep_deg),
                role: head.role,
                spot: (head.role != Role::Interior).then(|| nearest_spot(head.at, lawn, frontage)),
                least_m: throws.shortest_m(),
                natural: (start_deg, sweep_deg),
            }
        })
        .collect()
}

/// The spot on the boundary where a head of another layout stands; it does not slide.
fn nearest_spot(at: Point, lawn: &Lawn, frontage: &Frontage) -> Spot {
    let mut nearest: Option<(f64, Spot)> = None;
    for (ring, boundary) in lawn.boundaries.iter().enumerate() {
        let way_m = boundary.path.nearest_way_m(at);
        let d = boundary.path.at(way_m).distance(at);
        if nearest.is_none_or(|(least, _)| d < least) {
            nearest = Some((
                d,
                Spot {
                    ring,
                    way_m,
                    play_m: 0.0,
                    even_m: way_m,
                    run: frontage.run_at(ring, way_m),
                },
            ));
        }
    }
    // An outline has at least one ring.
    nearest.map_or(
        Spot {
            ring: 0,
            way_m: 0.0,
            play_m: 0.0,
            even_m: 0.0,
            run: None,
        },
        |(_, spot)| spot,
    )
}

/// Layouts to begin with: pitches, directions and offsets of the inner grid in turn. Where the
/// boundary alone asks for more heads than are allowed, more of its corners share one.
fn starts(lawn: &Lawn, count: usize) -> Vec<(Vec<Free>, Frontage)> {
    let directions = long_directions(lawn.outline);
    let pitches = [1.0, 1.04, 0.95];
    let mut starts = Vec::new();
    for k in 0..count {
        let pitch_m = lawn.throw_m * lawn.spacing_frac * pitches[k % pitches.len()];
        let (origin, along) = directions[(k / 2) % directions.len()];
        let across = Point::new(-along.y, along.x);
        let offset = [Point::default(), along * 0.5, across * 0.5][k % 3] * pitch_m;
        let weave = if k % 4 == 3 {
            Weave::Square
        } else {
            Weave::Triangular
        };
        let lattice = Lattice {
            origin: origin + offset,
            along,
            pitch_m,
            weave,
        };
        for merge in [0.45, 0.6, 0.75, 0.9] {
            let frontage = ring::frontage(&lawn.boundaries, merge * lawn.throw_m);
            let mut heads = boundary_heads(lawn, &frontage, k);
            if heads.len() <= lawn.most {
                add_inside(lawn, &lattice, &mut heads);
                starts.push((heads, frontage));
                break;
            }
        }
    }
    starts
}

/// Heads at all corners and along all runs; slivers and crowded places get none.
fn boundary_heads(lawn: &Lawn, frontage: &Frontage, k: usize) -> Vec<Free> {
    let gap_m = lawn.throw_m * lawn.gap_frac;
    let phase = [0.0, 0.5, 0.25, 0.75][k % 4];
    let along_runs = frontage
        .runs
        .iter()
        .enumerate()
        .flat_map(|(run, stretch)| stretch.spots(run, stretch.gaps(gap_m), phase));
    let mut heads: Vec<Free> = Vec::new();
    for spot in frontage.corners.iter().copied().chain(along_runs) {
        let boundary = &lawn.boundaries[spot.ring];
        let at = boundary.path.at(spot.way_m);
        let crowded = heads
            .iter()
            .any(|head| head.sector.at.distance(at) < CROWDED_FRAC * lawn.throw_m);
        if !crowded && !ring::is_on_sliver(lawn.outline, &boundary.path, spot.way_m) {
            heads.extend(
                lawn.throws
                    .at_spot(spot, boundary, &lawn.footing, lawn.throw_m),
            );
        }
    }
    heads
}

/// Adds a lattice's points that keep clear of the boundary and of the heads on it.
fn add_inside(lawn: &Lawn, lattice: &Lattice, heads: &mut Vec<Free>) {
    let on_boundary = heads.len();
    for at in lattice.points(lawn.outline) {
        let is_clear = heads[..on_boundary]
            .iter()
            .all(|head| head.sector.at.distance(at) >= CLEAR_FRAC * lattice.pitch_m);
        let is_clear = is_clear && lawn.is_open(at);
        if is_clear && lawn.outline.boundary_distance_m(at) >= INSET_FRAC * lattice.pitch_m {
            heads.push(lawn.throws.inside(at, lawn.throw_m));
        }
    }
}

/// Directions of the longest edges, with an end of each, at most three that differ.
fn long_directions(outline: &Outline) -> Vec<(Point, Point)> {
    let mut directions: Vec<(Point, Point)> = Vec::new();
    for (a, b) in longest_edges(outline.outer()) {
        let along = (b - a).unit();
        if directions
            .iter()
            .all(|(_, other)| other.cross(along).abs() > 0.17 && other.dot(along).abs() > 0.17)
        {
            directions.push((a, along));
        }
        if directions.len() == 3 {
            break;
        }
    }
    directions
}
