//! Tables of inputs: one file with one defect, the code that it gets, and what is planned all the same.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::result_large_err,
    reason = "a test fails by panicking"
)]

mod between_layers;
mod climates;
mod elevation;
mod files;
mod formats;
mod forms;
mod geometry;
mod heads;
mod meter;
mod obstacles;
mod outcome;
mod polygons;
mod public_set;
mod settings;
#[path = "../shared/mod.rs"]
mod shared;
mod soils;
mod supply;
mod texts;
