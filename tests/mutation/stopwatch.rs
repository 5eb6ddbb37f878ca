//! How long one input keeps a processor, whatever else the machine does.

use std::fs;
use std::time::Instant;

/// Of wall time only this share counts: an input that waits for something instead of working is told as
/// well, while one that had to wait for a processor is not.
const WALL_SHARE: f64 = 0.1;

/// Measures from its start.
pub struct Stopwatch {
    began: Instant,
    busy_s: Option<f64>,
}

impl Stopwatch {
    /// Begins now, in this thread.
    pub fn start() -> Stopwatch {
        Stopwatch {
            began: Instant::now(),
            busy_s: busy_s(),
        }
    }

    /// Processor time since [s], or a tenth of wall time where that is more; wall time where the system
    /// does not tell the other.
    pub fn took_s(&self) -> f64 {
        let wall_s = self.began.elapsed().as_secs_f64();
        match (self.busy_s, busy_s()) {
            (Some(before_s), Some(now_s)) => (now_s - before_s).max(WALL_SHARE * wall_s),
            _ => wall_s,
        }
    }
}

/// Time that this thread has run on a processor [s], as Linux counts it.
fn busy_s() -> Option<f64> {
    let told = fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    let nanoseconds: f64 = told.split(' ').next()?.parse().ok()?;
    Some(nanoseconds / 1e9)
}
