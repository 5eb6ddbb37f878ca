//! Plane geometry in metres: points, outlines with holes, and what a designer reads off them.

mod cut;
mod horizon;
mod inscribed;
mod outline;
mod point;
mod sight;
mod simplify;

pub use cut::cut;
pub(crate) use horizon::Horizon;
pub use inscribed::inscribed_circle;
pub(crate) use outline::square_distance_to_segment;
pub use outline::{Outline, Ring};
pub use point::Point;
pub use sight::seen_from;
pub use simplify::simplified;
