//! Frames: the local plane of a parcel, and the way to it from any registered system.

mod frame;

pub use frame::Frame;
