//! New nozzles on the heads that are in the ground: positions stay, everything else may change.
//!
//! 1. `infer`: where each head stands says what its arc and throw must have been meant to be;
//!    what a survey gives wins.
//! 2. `condition`: what wear leaves of that.
//! 3. `gaps`: where the positions are too far apart for a family, and where heads must be added.
//! 4. `choose`: nozzle, throw and arc of each head by the rain that results.

mod choose;
mod condition;
mod gaps;
mod infer;
mod refit;
mod score;

pub use choose::{Changed, Order, repaired, swapped};
pub use condition::Wear;
pub use gaps::{Gap, Where};
pub use infer::{Found, Installed, Missing, installed, usual_spacing_m};
pub use refit::refitted;
pub use score::objective;
