//! What the soil can take: texture, intake, ponding and runoff, and the water that it holds.

mod accumulation;
mod curve_number;
mod infiltration;
mod reservoir;
mod runoff;
mod texture;

pub use accumulation::{Accumulation, Cycles};
pub use curve_number::curve_number_runoff;
pub use infiltration::WettingFront;
pub use reservoir::Reservoir;
pub use runoff::{Ground, Recovery, WaterSplit, surface_storage};
pub use texture::{ClayLoamVariant, GreenAmpt, LoamVariant, Reading, Texture};
