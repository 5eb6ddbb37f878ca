//! Which vectors the inner loops run on. A test can hold a whole run to the narrow ones; nothing that
//! is read or typed gets here.

use std::sync::atomic::{AtomicBool, Ordering};

/// The vectors of the inner loops.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Vectors {
    /// AVX2 where the processor has it, otherwise the baseline.
    Widest,
    /// What every processor has for which the program was built.
    Baseline,
}

static HELD_TO_BASELINE: AtomicBool = AtomicBool::new(false);

impl Vectors {
    /// Runs all loops of the process on these from now on.
    pub fn force(self) {
        HELD_TO_BASELINE.store(self == Vectors::Baseline, Ordering::Relaxed);
    }

    /// What the loops run on.
    #[inline(always)]
    pub(super) fn forced() -> Vectors {
        if HELD_TO_BASELINE.load(Ordering::Relaxed) {
            Vectors::Baseline
        } else {
            Vectors::Widest
        }
    }

    /// Whether the two are different code here: the processor has AVX2, and the program was not
    /// built for it alone.
    #[must_use]
    pub fn differ() -> bool {
        #[cfg(target_arch = "x86_64")]
        return std::is_x86_feature_detected!("avx2") && !cfg!(target_feature = "avx2");
        #[cfg(not(target_arch = "x86_64"))]
        return false;
    }
}
