//! Searches for a layout: many starts, looked at ever more closely as they become fewer.
//!
//! Every effort begins with what the one below it found. What each found is finished by itself and stands in
//! one pool (`laid`), so more effort is never worse by the [`objective`](super::objective).

use super::budget::Budget;
use super::chance::Chance;
use super::draft::{Free, GAP_FRAC, Throws};
use super::refine::{Lawn, Search, Taste};
use super::ring::{self, Frontage, Spot};
use super::scene;
use super::stand::Footing;
use super::start::starts;
use super::{CROWDED_FRAC, Effort, Favour, Head, Pattern, Role, Site};
use crate::catalogue::Family;
use crate::rain::Grid;
use crate::shape::{Outline, Point};

/// Smallest and largest cell of the search's own grid \[m\].
const SEARCH_CELL_M: (f64, f64) = (0.2, 0.8);
/// Throws of a layout may be longer than the design throw by this factor.
const LONGER_FRAC: f64 = 1.6;

/// Weights of the cost, found by trial on the lawns of four public data sets: more weight on
/// overspray costs evenness, less of it waters the street.
pub(super) const EVEN: Taste = Taste {
    low_share: 0.9,
    low_weight: 4.5,
    over_weight: 0.7,
    alone_price: 0.05,
};
/// The same where heads are to be few: they stand too far apart to reach two others.
const FEW: Taste = Taste {
    low_share: 0.9,
    low_weight: 4.0,
    over_weight: 0.3,
    alone_price: 0.0,
};
/// Variations for each of the usual ones where heads are to be few: there is more to gain.
const FEW_VARIATIONS: usize = 3;

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

/// What is to be laid out.
#[derive(Debug, Clone, Copy)]
pub(super) struct Order<'a> {
    pub(super) site: &'a Site<'a>,
    pub(super) family: &'a Family,
    /// The throw of the rule \[m\].
    pub(super) throw_m: f64,
    /// The layout by the rule.
    pub(super) rule: &'a [Head],
    pub(super) favour: Favour,
    pub(super) restraint: Restraint,
}

/// The side of the search's own cells where there are about so many \[m\].
fn cell_m(outline: &Outline, cells: f64) -> f64 {
    (outline.area_m2() / cells)
        .sqrt()
        .clamp(SEARCH_CELL_M.0, SEARCH_CELL_M.1)
}

/// The side of the cells of the usual search \[m\].
pub(super) fn search_cell_m(outline: &Outline) -> f64 {
    cell_m(outline, Budget::of(Effort::Normal).cells)
}

impl<'a> Order<'a> {
    /// The lawn with about so many cells to search on.
    fn lawn(&self, cells: f64) -> Lawn<'a> {
        self.lawn_of(cell_m(self.site.outline, cells))
    }

    /// The lawn with cells of a side \[m\].
    pub(super) fn lawn_of(&self, cell_m: f64) -> Lawn<'a> {
        let &Order {
            site,
            family,
            throw_m,
            ..
        } = self;
        let outline = site.outline;
        let footing = Footing::of(site);
        let grid = Grid::over(outline, cell_m, 0.0);
        let (heads_frac, gap_frac, taste) = match self.favour {
            Favour::Evenness => (1.0, GAP_FRAC, EVEN),
            Favour::Balance => (0.87, 1.5, FEW),
            Favour::Heads => (0.75, 2.2, FEW),
        };
        let longest_m = family.longest_m().min(LONGER_FRAC * throw_m);
        Lawn {
            outline,
            boundaries: ring::read_boundaries(outline, throw_m),
            throws: match self.restraint {
                Restraint::None => Throws::around(family, throw_m, longest_m),
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
                over_weight: taste.over_weight * self.restraint.over_factor(),
                ..taste
            },
            most: ((self.rule.len() as f64 * heads_frac + 1e-9).floor() as usize).max(1),
            gap_frac: gap_frac * site.rules.spacing_frac,
            spacing_frac: site.rules.spacing_frac,
        }
    }

    /// Designs layouts: what each effort finds, from `Fast` up to the one that is asked for, each finished on
    /// the cells of the measures, and the trials that all took up to it. What is found at an effort does not
    /// depend on a higher one that is asked for.
    pub(super) fn designed(&self, effort: Effort) -> Vec<(Vec<Head>, usize)> {
        let mut efforts = vec![Effort::Fast];
        if effort != Effort::Fast {
            efforts.push(Effort::Normal);
        }
        if effort == Effort::Thorough {
            efforts.push(Effort::Thorough);
        }
        let mut known: Option<Vec<Free>> = None;
        let mut trials = 0;
        let mut all = Vec::new();
        for effort in efforts {
            let mut budget = Budget::of(effort).for_heads(self.rule.len());
            if self.favour != Favour::Evenness {
                budget.swept *= 2;
                budget.variations *= FEW_VARIATIONS;
                budget.trials *= 2;
            }
            let lawn = self.lawn(budget.cells);
            let (found, more) = self.searched(&lawn, &budget, known.take());
            trials += more;
            if let Some(heads) = &found {
                let heads: Vec<Head> = heads.iter().map(|free| lawn.throws.set(free)).collect();
                let (heads, more) = self.finished(&heads, budget.polish);
                trials += more;
                all.push((heads, trials));
            }
            known = found;
        }
        all
    }

    /// The best layout that a budget finds, `known` among those it is chosen from; `None` where
    /// every start has too many heads.
    fn searched(
        &self,
        lawn: &Lawn,
        budget: &Budget,
        known: Option<Vec<Free>>,
    ) -> (Option<Vec<Free>>, usize) {
        let mut search = Search::on(lawn);
        let mut plans = starts(lawn, budget.starts);
        let frontage = ring::frontage(&lawn.boundaries, CROWDED_FRAC * self.throw_m);
        plans.push((freed(self.rule, lawn, &frontage), frontage.clone()));
        // A first look at every start, a second one at the best of them.
        let mut ranked: Vec<Draft> = Vec::new();
        for (heads, frontage) in plans {
            search.restart(heads);
            search.thin_out();
            if search.heads.len() <= lawn.most {
                ranked.push(search.draft(frontage));
            }
        }
        best_of(&mut ranked, budget.swept);
        // The only one is refined anyway.
        let swept = if budget.swept > budget.finalists {
            &mut ranked[..]
        } else {
            &mut []
        };
        for draft in swept {
            search.restore(std::mem::take(&mut draft.heads));
            search.sweep(0.15);
            search.top_up();
            search.sweep(0.1);
            *draft = search.draft(std::mem::take(&mut draft.frontage));
        }
        let mut best = None;
        if let Some(heads) = known {
            search.restore(heads);
            let draft = search.draft(frontage);
            best = Some(draft.clone());
            ranked.push(draft);
        }
        best_of(&mut ranked, budget.finalists);
        let mut used = usize::MAX - search.trials;
        for draft in ranked {
            search.trials = budget.trials * draft.heads.len();
            let allowed = search.trials;
            search.restore(draft.heads);
            search.top_up();
            search.run(budget.steps);
            search.vary(&draft.frontage, budget.variations);
            search.thin_out();
            used += allowed - search.trials;
            let moves = budget.moves * search.heads.len();
            if moves > 0 {
                search.trials = usize::MAX;
                // The seed is the lawn's own, so that it does not depend on what else is planned.
                search.anneal(moves, &mut Chance::new(lawn.grid.turf_cells() as u64));
                used += usize::MAX - search.trials;
            }
            // Heads have slid: their throws must still reach one another along the boundary.
            let heads = std::mem::take(&mut search.heads);
            search.restart(heads);
            let draft = search.draft(draft.frontage);
            if best.as_ref().is_none_or(|least| draft.cost < least.cost) {
                best = Some(draft);
            }
        }
        (best.map(|draft| draft.heads), used)
    }
}

/// A layout on its way, with its cost and the boundary as it was used.
#[derive(Debug, Clone)]
struct Draft {
    cost: f64,
    heads: Vec<Free>,
    frontage: Frontage,
}

impl Search<'_> {
    fn draft(&self, frontage: Frontage) -> Draft {
        Draft {
            cost: self.cost(),
            heads: self.heads.clone(),
            frontage,
        }
    }
}

/// Keeps the drafts that cost least, the first among equals first.
fn best_of(drafts: &mut Vec<Draft>, count: usize) {
    drafts.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    drafts.truncate(count);
}

/// Heads of another layout, free to change.
pub(super) fn freed(heads: &[Head], lawn: &Lawn, frontage: &Frontage) -> Vec<Free> {
    let throws = &lawn.throws;
    heads
        .iter()
        .map(|head| {
            let Pattern::Sector {
                radius_m,
                start_deg,
                sweep_deg,
            } = head.pattern
            else {
                return throws.inside(head.at, lawn.throw_m);
            };
            let spot = (head.role != Role::Interior).then(|| nearest_spot(head.at, lawn, frontage));
            // A head on the chord of a curve that was simplified may stand beside the turf.
            let at = match spot {
                Some(spot) if !lawn.outline.contains(head.at) => {
                    lawn.boundaries[spot.ring].path.at(spot.way_m)
                }
                _ => head.at,
            };
            Free {
                sector: throws.sector(at, throws.allowed(radius_m), start_deg, sweep_deg),
                role: head.role,
                spot,
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
