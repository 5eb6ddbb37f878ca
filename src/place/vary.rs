//! Larger changes, each followed by a short refinement and kept only if the layout gains: a head
//! taken out and put elsewhere, a run of the boundary with one gap fewer or more.

use super::draft::Free;
use super::refine::Search;
use super::ring::{self, Frontage};
use super::{CROWDED_FRAC, Role};

/// Steps of the refinement after a change, in throws.
const STEPS: [f64; 2] = [0.1, 0.04];

/// A change to try.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Change {
    /// The interior head of this number (counted among interior heads) goes elsewhere.
    Resettle(usize),
    /// This run gets one gap fewer.
    Widen(usize),
    /// This run gets one gap more.
    Narrow(usize),
}

impl Search<'_> {
    /// Tries changes in turn, at most `count` of them, until a whole round of them gains nothing.
    pub(super) fn vary(&mut self, frontage: &Frontage, count: usize) {
        let mut best = self.cost();
        let mut tried = 0;
        loop {
            let mut gained = false;
            for change in self.changes(frontage) {
                if tried == count || self.trials == 0 {
                    return;
                }
                let before = self.heads.clone();
                if !self.make(change, frontage) {
                    continue;
                }
                tried += 1;
                self.top_up();
                self.run_awake(&STEPS);
                let cost = self.cost();
                if self.heads.len() <= self.lawn.most && cost < best - 1e-6 {
                    best = cost;
                    gained = true;
                } else {
                    self.restore(before);
                    self.quiet_all();
                }
            }
            if !gained {
                return;
            }
        }
    }

    /// The changes of one round, kinds in turn.
    fn changes(&self, frontage: &Frontage) -> Vec<Change> {
        let interior = self
            .heads
            .iter()
            .filter(|head| head.role == Role::Interior)
            .count();
        let mut changes = Vec::new();
        for k in 0..interior.max(frontage.runs.len()) {
            if k < frontage.runs.len() {
                changes.push(Change::Widen(k));
                changes.push(Change::Narrow(k));
            }
            if k < interior {
                changes.push(Change::Resettle(k));
            }
        }
        changes
    }

    /// Makes a change; `false` when it cannot be made.
    fn make(&mut self, change: Change, frontage: &Frontage) -> bool {
        match change {
            Change::Resettle(k) => {
                let interior = (0..self.heads.len())
                    .filter(|&i| self.heads[i].role == Role::Interior)
                    .nth(k);
                if let Some(i) = interior {
                    self.take_all(&[i]);
                }
                interior.is_some()
            }
            Change::Widen(run) => self.respace(frontage, run, -1),
            Change::Narrow(run) => self.respace(frontage, run, 1),
        }
    }

    /// Gives a run some gaps more or fewer, all equal.
    fn respace(&mut self, frontage: &Frontage, run: usize, more: i64) -> bool {
        let is_on_run = |head: &Free| head.spot.is_some_and(|spot| spot.run == Some(run));
        let stretch = &frontage.runs[run];
        let (old, mut heads): (Vec<Free>, Vec<Free>) =
            self.heads.iter().copied().partition(is_on_run);
        let ends = usize::from(!stretch.is_closed());
        let gaps = old.len() as i64 + ends as i64 + more;
        let lawn = self.lawn;
        let widest_m = lawn.gap_frac * lawn.throws.longest_m();
        if gaps < stretch.gaps(widest_m) as i64
            || heads.len() as i64 + gaps - ends as i64 > lawn.most as i64 + 1
        {
            return false;
        }
        let throw_m = if old.is_empty() {
            lawn.throw_m
        } else {
            old.iter().map(|head| head.sector.radius_m).sum::<f64>() / old.len() as f64
        };
        let least_m = CROWDED_FRAC * throw_m;
        let first_new = heads.len();
        for spot in stretch.spots(run, gaps as usize, 0.0) {
            let boundary = &lawn.boundaries[spot.ring];
            let at = boundary.path.at(spot.way_m);
            if ring::is_on_sliver(lawn.outline, &boundary.path, spot.way_m) {
                continue;
            }
            if heads
                .iter()
                .any(|head| head.spot.is_some() && head.sector.at.distance(at) < least_m)
            {
                return false;
            }
            // Interior heads give way.
            heads.retain(|head| head.spot.is_some() || head.sector.at.distance(at) >= least_m);
            heads.extend(lawn.throws.at_spot(spot, boundary, &lawn.footing, throw_m));
        }
        let new: Vec<Free> = heads.iter().copied().filter(is_on_run).collect();
        if heads.len() < first_new && new.is_empty() && old.is_empty() {
            return false;
        }
        self.restart(heads);
        self.quiet_all();
        for head in old.iter().chain(&new) {
            self.wake(&head.sector);
        }
        true
    }
}
