//! The fence around each parcel: a panic inside it becomes an issue of that parcel.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;

use crate::issue::{Code, Issue};
use crate::plan::ParcelPlan;
use crate::read::Reading;
use crate::site::Parcel;

/// What becomes of one reading; `None` when not even its failure could be read off.
pub(super) fn outcome<T>(
    reading: Reading,
    plan: &impl Fn(&Parcel) -> ParcelPlan,
    read_off: &impl Fn(ParcelPlan) -> T,
) -> Option<T> {
    FENCED.set(true);
    let found = match reading {
        Reading::Failed {
            index,
            id,
            issue,
            attributes,
            outline,
        } => fenced(|| read_off(ParcelPlan::failed(index, id, issue, attributes, outline))).ok(),
        Reading::Parcel(parcel) => fenced(|| read_off(plan(&parcel)))
            .or_else(|why| {
                let issue = Issue::new(Code::PL03, why);
                fenced(|| read_off(ParcelPlan::broken_off(&parcel, issue)))
            })
            .ok(),
    };
    FENCED.set(false);
    found
}

/// The value, or what the panic said.
fn fenced<T>(work: impl FnOnce() -> T) -> Result<T, String> {
    panic::catch_unwind(AssertUnwindSafe(work)).map_err(|cause| {
        cause
            .downcast_ref::<&str>()
            .map(|text| (*text).to_owned())
            .or_else(|| cause.downcast_ref::<String>().cloned())
            .unwrap_or_default()
    })
}

thread_local! {
    /// Whether a panic of this thread is caught and becomes an issue.
    static FENCED: Cell<bool> = const { Cell::new(false) };
}

/// Keeps panics that become issues off stderr; all others are reported as before.
pub(super) fn quiet() {
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
