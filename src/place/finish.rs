//! The finish of a layout, on the cells that its measures will be taken on: arcs are turned to the edge, brown
//! patches are cured by one more head each, and a head more is set where it is worth it.
//!
//! The search looks at a lawn in cells of 0.2–0.8 m. A hairline that an arc leaves dry along a straight edge
//! is narrower than these, so it is seen here for the first time.

use super::design::{Order, freed};
use super::draft::Free;
use super::refine::{Search, within_play};
use super::ring::{self, Spot};
use super::{CROWDED_FRAC, Favour, Head};
use crate::rain::{Patch, patches};
use crate::shape::Point;
use crate::uniformity::{cell_m, evenness};

/// Steps of the finish, in throws.
const STEPS: [f64; 2] = [0.05, 0.02];
/// Steps of the refinement round a head that was added, in throws.
const AROUND: [f64; 2] = [0.1, 0.03];
/// A patch is wider than this share of the family's shortest throw.
pub(super) const PATCH_THROWS: f64 = 0.5;
/// Turf below this share of the mean rate is weak.
const WEAK_SHARE: f64 = 0.5;
/// Most patches of one layout that a head is added for.
const MOST_CURES: usize = 40;
/// Places tried along the boundary to either side of a patch, and how far apart, in throws.
const ALONG: i32 = 4;
const ALONG_FRAC: f64 = 0.2;
/// Two patches nearer than this share of the throw are one.
const SAME_FRAC: f64 = 0.3;
/// What a head beyond the plain rule must lift the low-quarter uniformity by.
const WORTH_DU: f64 = 0.01;
/// A lawn of more heads cannot gain so much by one.
const MOST_FOR_ONE: usize = 40;

/// Most heads of a layout that needs `rule` heads by the plain rule: one more, or a twentieth.
pub(super) fn most_heads(rule: usize) -> usize {
    (rule + 1).max((rule as f64 * 1.05 + 1e-9).floor() as usize)
}

impl Order<'_> {
    /// Finishes a layout of sectors, and says how many trials it took; `polish` is how many each head gets.
    pub(super) fn finished(&self, heads: &[Head], polish: usize) -> (Vec<Head>, usize) {
        let mut lawn = self.lawn_of(cell_m(heads));
        let is_even = self.favour == Favour::Evenness;
        if is_even {
            lawn.most = most_heads(self.rule.len());
        }
        let frontage = ring::frontage(&lawn.boundaries, CROWDED_FRAC * self.throw_m);
        let mut free = freed(heads, &lawn, &frontage);
        for head in &mut free {
            let Some(spot) = head.spot else { continue };
            let boundary = &lawn.boundaries[spot.ring];
            let throw_m = head.sector.radius_m;
            let own = lawn.throws.at_spot(spot, boundary, &lawn.footing, throw_m);
            // The middle of its play is what the boundary gives it, so that two searches do not turn it twice as
            // far; where it stands beyond that already, its own arc stays the middle.
            let (start_deg, sweep_deg) = head.natural;
            let by_boundary = Free {
                natural: own.map_or(head.natural, |own| own.natural),
                ..*head
            };
            if within_play(&by_boundary, start_deg, sweep_deg) {
                *head = by_boundary;
            }
        }
        let mut search = Search::on(&lawn);
        search.trials = polish * heads.len().max(1);
        let allowed = search.trials;
        search.restart(free);
        search.run(&STEPS);
        let used = allowed - search.trials;
        search.trials = usize::MAX;
        if is_even {
            search.cure(PATCH_THROWS * self.family.shortest_m());
            search.add_one_more();
        }
        let heads = search.heads.iter().map(|free| lawn.throws.set(free));
        (heads.collect(), used + (usize::MAX - search.trials))
    }
}

impl Search<'_> {
    fn patches(&self) -> Vec<Patch> {
        let below = WEAK_SHARE * self.board.mean_mm_h();
        patches(self.board.grid(), self.board.field(), below as f32)
    }

    fn du_lq(&self) -> f64 {
        let grid = self.board.grid();
        let (cols, rows) = grid.size();
        let turf = (0..cols * rows).filter(|&cell| grid.is_turf(cell % cols, cell / cols));
        let rates: Vec<f32> = turf.map(|cell| self.board.field()[cell]).collect();
        evenness(&rates).map_or(0.0, |even| even.du_lq)
    }

    /// Adds a head for every patch wider than `least_m` that one can cure; what it cures is worth any price. A
    /// head that does not narrow the patch is taken back.
    fn cure(&mut self, least_m: f64) {
        let mut given_up: Vec<Point> = Vec::new();
        for _ in 0..MOST_CURES {
            let near_m = SAME_FRAC * self.lawn.throw_m;
            let patch = self.patches().into_iter().find(|patch| {
                let is_new = |at: &Point| at.distance(patch.centre) > near_m;
                patch.width_m > least_m && given_up.iter().all(is_new)
            });
            let Some(patch) = patch else { return };
            let Some(head) = self.best_cure(&patch) else {
                given_up.push(patch.centre);
                continue;
            };
            let before = self.heads.clone();
            let cost = self.cost();
            self.quiet_all();
            self.add(head);
            self.aim();
            self.run_awake(&AROUND);
            let is_left = self
                .patches()
                .iter()
                .any(|left| left.width_m > least_m && left.centre.distance(patch.centre) <= near_m);
            if is_left && self.cost() >= cost {
                self.restore(before);
                given_up.push(patch.centre);
            }
        }
    }

    /// The head near a patch that lowers the cost most; `None` where none may stand or none lowers it.
    fn best_cure(&mut self, patch: &Patch) -> Option<Free> {
        let lawn = self.lawn;
        let mut throws_m = vec![lawn.throw_m, 0.75 * lawn.throw_m, lawn.throws.shortest_m()];
        for throw_m in &mut throws_m {
            *throw_m = lawn.throws.allowed(*throw_m);
        }
        throws_m.dedup();
        let mut best: Option<(f64, Free)> = None;
        for &throw_m in &throws_m {
            for head in self.places_about(patch.centre, throw_m) {
                self.trials -= 1;
                let cost = self.board.cost_of(&head.sector);
                if cost < best.as_ref().map_or(0.0, |best| best.0) {
                    best = Some((cost, head));
                }
            }
        }
        best.map(|(_, head)| head)
    }

    /// Heads that may stand near a place: inside, and on the boundary.
    fn places_about(&self, centre: Point, throw_m: f64) -> Vec<Free> {
        let lawn = self.lawn;
        let mut heads = Vec::new();
        for share in [0.0, 0.25, 0.5, 0.75] {
            let turns = if share == 0.0 { 1 } else { 8 };
            for k in 0..turns {
                let at = centre + Point::along_bearing(45.0 * f64::from(k)) * (share * throw_m);
                if self.is_free(usize::MAX, at, throw_m) {
                    heads.push(lawn.throws.inside(at, throw_m));
                }
            }
        }
        let frontage = ring::frontage(&lawn.boundaries, CROWDED_FRAC * lawn.throw_m);
        for (ring, boundary) in lawn.boundaries.iter().enumerate() {
            let nearest_m = boundary.path.nearest_way_m(centre);
            if boundary.path.at(nearest_m).distance(centre) > throw_m {
                continue;
            }
            for k in -ALONG..=ALONG {
                let way_m = nearest_m + f64::from(k) * ALONG_FRAC * throw_m;
                let at = boundary.path.at(way_m);
                let is_crowded = self.near.about(at, throw_m).any(|j| {
                    let other = &self.heads[j];
                    let least_m = CROWDED_FRAC * other.sector.radius_m.max(throw_m);
                    other.sector.at.distance(at) < least_m
                });
                if is_crowded || ring::is_on_sliver(lawn.outline, &boundary.path, way_m) {
                    continue;
                }
                let spot = Spot {
                    ring,
                    way_m,
                    play_m: 0.0,
                    even_m: way_m,
                    run: frontage.run_at(ring, way_m),
                };
                heads.extend(lawn.throws.at_spot(spot, boundary, &lawn.footing, throw_m));
            }
        }
        heads
    }

    /// Sets one head more than there are, where that lifts the low-quarter uniformity enough.
    fn add_one_more(&mut self) {
        if self.heads.len() >= self.lawn.most || self.heads.len() > MOST_FOR_ONE {
            return;
        }
        let (before, du_lq) = (self.heads.clone(), self.du_lq());
        self.quiet_all();
        self.top_up();
        self.run_awake(&AROUND);
        let more = self.heads.len() - before.len();
        if more == 0 || self.du_lq() < du_lq + WORTH_DU * more as f64 {
            self.restore(before);
        }
    }
}
