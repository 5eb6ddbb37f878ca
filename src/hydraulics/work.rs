//! A budget for the stations and pipes of one scenario of a parcel. It is counted in work and not in
//! time, so that what comes out is the same on every machine.

use std::cell::Cell;

/// Looks that one scenario of a parcel may take: a look is a comparison of two places, a few nanoseconds.
/// Twelve passes of improvement over 5,000 heads in 350 stations take about a quarter of them.
const MOST_LOOKS: u64 = 200_000_000;

/// What is left of a budget. Who has spent it goes on coarsely: with the stations or the pipes that it
/// has, or with those that take one look a head.
#[derive(Debug)]
pub struct Work {
    left: Cell<u64>,
    is_coarse: Cell<bool>,
}

impl Default for Work {
    fn default() -> Work {
        Work::of(MOST_LOOKS)
    }
}

impl Work {
    /// A budget of so many looks.
    #[must_use]
    pub fn of(looks: u64) -> Work {
        Work {
            left: Cell::new(looks),
            is_coarse: Cell::new(false),
        }
    }

    /// Takes looks from the budget.
    pub fn spend(&self, looks: usize) {
        self.left.set(self.left.get().saturating_sub(looks as u64));
    }

    /// Whether nothing is left; who asks goes on coarsely then.
    #[must_use]
    pub fn is_spent(&self) -> bool {
        if self.left.get() == 0 {
            self.is_coarse.set(true);
        }
        self.left.get() == 0
    }

    /// Says that something was worked out coarsely for another reason.
    pub fn coarsen(&self) {
        self.is_coarse.set(true);
    }

    /// Whether anything was worked out coarsely.
    #[must_use]
    pub fn is_coarse(&self) -> bool {
        self.is_coarse.get()
    }

    /// Looks that are left.
    #[must_use]
    pub fn left(&self) -> u64 {
        self.left.get()
    }
}
