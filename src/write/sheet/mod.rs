//! Pages to print: what cans caught.

pub mod cans;
