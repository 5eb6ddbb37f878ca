//! Ctrl-C and the system's wish to end: the first asks the run to stop and tidy up, the second ends
//! it at once.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::flag;

use crate::batch::Stop;
use crate::issue::{Code, Issue};

/// A wish to stop that these signals set.
pub(super) fn stop_on_signals() -> Result<Stop, Issue> {
    let stop = Stop::default();
    let again = Arc::new(AtomicBool::new(false));
    let register = |signal, status, wish| {
        // In this order the first signal finds `again` unset.
        flag::register_conditional_shutdown(signal, status, Arc::clone(&again))?;
        flag::register(signal, Arc::clone(&again))?;
        flag::register_usize(signal, stop.flag(), wish)
    };
    register(SIGINT, 130, Stop::ASKED)
        .and_then(|_| register(SIGTERM, 143, Stop::TOLD))
        .map_err(|error| Issue::new(Code::RU02, format!("signals: {error}")))?;
    Ok(stop)
}
