//! Plane geometry in metres: points, outlines with holes, and what a designer reads off them.

mod inscribed;
mod outline;
mod point;
mod simplify;

pub use inscribed::inscribed_circle;
pub use outline::{Outline, Ring};
pub use point::Point;
pub use simplify::simplified;
