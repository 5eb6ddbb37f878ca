//! What the soil can take: texture, intake, ponding and runoff, and the water that it holds.

mod reservoir;
mod texture;

pub use reservoir::Reservoir;
pub use texture::{ClayLoamVariant, GreenAmpt, LoamVariant, Reading, Texture};
