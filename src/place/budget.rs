//! How much is tried at an effort.

use super::Effort;

/// What a search may spend.
#[derive(Debug, Clone, Copy)]
pub(super) struct Budget {
    /// Cells of the search's own grid, about this many to a lawn.
    pub(super) cells: f64,
    /// Starts that get a first look.
    pub(super) starts: usize,
    /// Starts that are swept.
    pub(super) swept: usize,
    /// Starts that are refined.
    pub(super) finalists: usize,
    /// Trials of a finalist, for each head.
    pub(super) trials: usize,
    /// Steps of its refinement, in throws.
    pub(super) steps: &'static [f64],
    /// Variations of a finalist.
    pub(super) variations: usize,
    /// Moves of its annealing, for each head.
    pub(super) moves: usize,
    /// Trials of the finish on the cells of the measures, for each head.
    pub(super) polish: usize,
}

/// A lawn with more heads than this is searched less for each of them.
const LARGE_HEADS: usize = 100;
/// A lawn with more heads than this gets few starts and no variations.
const HUGE_HEADS: usize = 300;
/// Lawns with fewer heads than these get as many variations and trials as if they had them.
const SMALL_VARIATIONS: usize = 25;
const SMALL_TRIALS: usize = 20;
/// Most trials of one finalist, and how many every head gets at least.
const MOST_TRIALS: usize = 60_000;
const LEAST_TRIALS: usize = 40;
/// Most moves of one annealing.
const MOST_MOVES: usize = 400_000;

impl Budget {
    /// The budget of an effort.
    pub(super) fn of(effort: Effort) -> Budget {
        match effort {
            Effort::Rule | Effort::Fast => Budget {
                cells: 700.0,
                starts: 4,
                swept: 1,
                finalists: 1,
                trials: 30,
                steps: &[0.12, 0.05],
                variations: 0,
                moves: 0,
                polish: 14,
            },
            Effort::Normal => Budget {
                cells: 1_800.0,
                starts: 16,
                swept: 4,
                finalists: 1,
                trials: 300,
                steps: &[0.15, 0.08, 0.04, 0.02],
                variations: 14,
                moves: 0,
                polish: 50,
            },
            Effort::Thorough => Budget {
                cells: 1_800.0,
                starts: 48,
                swept: 12,
                finalists: 3,
                trials: 4_000,
                steps: &[0.15, 0.08, 0.04, 0.02],
                variations: 100,
                moves: 3_000,
                polish: 200,
            },
        }
    }

    /// The budget for a lawn of about so many heads, so that its cost stays in bounds.
    pub(super) fn for_heads(mut self, heads: usize) -> Budget {
        if heads > LARGE_HEADS {
            self.starts = self.starts.min(8);
            self.swept = self.swept.min(2);
            self.finalists = 1;
            self.variations = self.variations.min(8);
        }
        if heads > HUGE_HEADS {
            self.starts = self.starts.min(4);
            self.swept = 1;
            self.variations = 0;
        }
        let heads = heads.max(1);
        // On a small lawn a variation costs little.
        self.variations = self
            .variations
            .max(SMALL_VARIATIONS * self.variations / heads);
        self.trials = self.trials.max(SMALL_TRIALS * self.trials / heads);
        self.trials = self.trials.min((MOST_TRIALS / heads).max(LEAST_TRIALS));
        self.moves = self.moves.min(MOST_MOVES / heads);
        self
    }
}
