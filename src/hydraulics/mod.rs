//! Pressure, stations and pipes: what the water supply can really deliver.
//!
//! [`nozzle`] says what a head does at a pressure, [`pipe`] what a pipe takes of it, `supply`
//! what there is to begin with. [`stations`] groups heads into the sets that one valve feeds,
//! [`apart`] keeps them whole round buildings, [`laterals`] draws the pipes from the valve to its heads, `network` solves them with the flows
//! that the pressures give, and `materials` counts what has to be bought. [`work`] bounds what all of
//! this may take.

pub mod apart;
pub mod costs;
pub mod inp;
pub mod laterals;
pub mod materials;
pub mod network;
pub mod nozzle;
pub mod pipe;
pub mod stations;
pub mod supply;
pub mod trench;
pub mod work;

/// Density of water at 20 °C \[kg/m³\].
pub const DENSITY_KG_M3: f64 = 998.0;
/// Standard gravity \[m/s²\].
pub const GRAVITY_M_S2: f64 = 9.80665;
/// Pressure under one metre of water \[kPa/m\]: ρ·g = 9.787.
pub const KPA_PER_M: f64 = DENSITY_KG_M3 * GRAVITY_M_S2 / 1_000.0;
