//! `evenfall` plans sprinkler retrofits in batch: parcel and turf polygons go in; head layouts,
//! uniformity, and the year's water come out, for a whole neighbourhood.
//!
//! The floors, from the ground up (a file imports only from floors below its own):
//! `units`, `issue`, [`shape`], `crs`; `assumptions`, [`site`], `catalogue`; the stages;
//! `plan`; `read` and `write`; `batch`; `cli`.

pub mod crs;
pub mod issue;
pub mod read;
pub mod shape;
pub mod site;
pub mod units;
