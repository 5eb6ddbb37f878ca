//! A fence around work that may panic: what the panic said comes back as a value.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;

thread_local! {
    /// Whether a panic of this thread is caught and becomes an issue.
    static FENCED: Cell<bool> = const { Cell::new(false) };
}

/// The value, or what the panic said. Panics in here are not told on stderr.
///
/// # Errors
/// The message of the panic; it may be empty.
pub fn fenced<T>(work: impl FnOnce() -> T) -> Result<T, String> {
    quiet();
    let before = FENCED.replace(true);
    let ended = panic::catch_unwind(AssertUnwindSafe(work));
    FENCED.set(before);
    ended.map_err(|cause| {
        cause
            .downcast_ref::<&str>()
            .map(|text| (*text).to_owned())
            .or_else(|| cause.downcast_ref::<String>().cloned())
            .unwrap_or_default()
    })
}

/// Keeps panics that are caught here off stderr; all others are reported as before.
fn quiet() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let before = panic::take_hook();
        panic::set_hook(Box::new(move |panic| {
            if !FENCED.get() {
                before(panic);
            }
        }));
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[allow(clippy::panic, reason = "the fence is for this")]
    fn what_a_panic_said_comes_back() {
        assert_eq!(fenced(|| 7), Ok(7));
        assert_eq!(fenced(|| -> u8 { panic!("no {}", 7) }), Err("no 7".into()));
        let inside = fenced(|| fenced(|| -> u8 { panic!("inner") }).is_err());
        assert_eq!(inside, Ok(true));
    }
}
