//! `evenfall` plans sprinkler retrofits in batch: parcel and turf polygons go in; head layouts,
//! uniformity, and the year's water come out, for a whole neighbourhood.
//!
//! The floors, from the ground up (a file imports only from floors below its own):
//! [`units`], [`issue`], [`shape`], [`crs`]; `assumptions`, [`site`], [`catalogue`]; the stages
//! [`place`] …; `plan`; `read` and `write`; `batch`; `cli`.

pub mod assumptions;
pub mod audit;
pub mod batch;
pub mod budget;
pub mod catalogue;
mod cells;
pub mod clause;
pub mod cli;
pub mod climate;
pub mod crs;
mod fence;
pub mod hydraulics;
pub mod issue;
pub mod place;
pub mod plan;
pub mod program;
pub mod rain;
pub mod read;
pub mod savings;
pub mod shape;
pub mod site;
pub mod soil;
pub mod uniformity;
pub mod units;
pub mod write;
