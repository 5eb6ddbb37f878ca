//! Plane geometry in metres: points, outlines with holes, and what a designer reads off them.

mod outline;
mod point;

pub use outline::{Outline, Ring};
pub use point::Point;
