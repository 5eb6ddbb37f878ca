//! The doors between the stages of a plan, where a test can let something happen to one parcel. Nothing
//! that is read or typed gets here.

use std::cell::Cell;

/// What happens to the parcel that a thread plans.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trouble {
    /// Nothing.
    Never,
    /// A panic in front of a stage.
    PanicAt(&'static str),
    /// Every turf area is beyond the budget.
    OverBudget,
}

/// The stages with a door in front, in their order.
pub const STAGES: [&str; 6] = ["frame", "place", "rain", "delivery", "budget", "water"];

thread_local! {
    static TROUBLE: Cell<Trouble> = const { Cell::new(Trouble::Never) };
}

/// Sets what happens to parcels that this thread plans from now on.
pub fn expect(trouble: Trouble) {
    TROUBLE.set(trouble);
}

/// Goes through the door of a stage.
pub(super) fn pass(stage: &str) {
    let trouble = TROUBLE.get();
    assert!(
        trouble != Trouble::PanicAt(stage_named(stage)),
        "trouble in front of {stage}"
    );
}

pub(super) fn is_over_budget() -> bool {
    TROUBLE.get() == Trouble::OverBudget
}

fn stage_named(stage: &str) -> &'static str {
    STAGES
        .iter()
        .copied()
        .find(|named| *named == stage)
        .unwrap_or("")
}
