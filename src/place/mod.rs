//! Layouts: where the heads go, how far they throw and which way.

mod anneal;
mod axis;
mod budget;
mod chance;
mod design;
mod draft;
mod finish;
mod laid;
mod lattice;
mod near;
mod parts;
mod refine;
mod ring;
mod rule;
mod scene;
mod site;
mod stand;
mod start;
mod stock;
mod stretch;
mod strips;
pub mod swap;
mod vary;

pub use crate::catalogue::{Head, Pattern, Role};
pub use laid::{Layout, layout_in_parts};
pub use lattice::Weave;
pub use parts::{NARROWEST_M, Part, PartShape, parts};
pub use rule::{inscribed_diameter_m, rule_layout, rule_throw_m};
pub use site::{Around, Site, Standing, spacing_in_wind_frac};
pub use stretch::is_stretched;

use crate::catalogue::Family;
use crate::shape::Point;

/// Two heads on the boundary keep this share of the throw from one another.
const CROWDED_FRAC: f64 = 0.45;

/// How hard to search for a good layout.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Effort {
    /// The plain rule, as drawn by hand.
    Rule,
    /// One start, few moves.
    Fast,
    /// Several starts, a bounded search.
    #[default]
    Normal,
    /// Many starts, a long search.
    Thorough,
}

/// What to prefer where evenness and the number of heads compete.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Favour {
    /// Evenness, with no more heads than the plain rule.
    #[default]
    Evenness,
    /// Between the two.
    Balance,
    /// Few heads.
    Heads,
}

/// Lays out one turf area with one family.
#[must_use]
pub fn layout(site: &Site, family: &Family, effort: Effort, favour: Favour) -> Vec<Head> {
    layout_in_parts(site, family, effort, favour).heads
}

/// What a layout costs as it stands: less is better. It is what the layouts that were found are chosen by, on the
/// cells that their measures are taken on.
///
/// `mean over turf cells of [(x − 1)² + 4.5 · max(0, 0.9 − x)²] + 0.7 · B² + 0.05 · B + 0.05 · A + 0.015 · N`
///
/// with x the cell's rate over the mean rate, B the water beside the turf over the water needed on
/// it at the mean rate, A the heads that are missing to every head being within the throw of
/// two others, over the number of heads, and N the heads over those that the plain rule needs. The search
/// itself weighs water on pavement, buildings, open water and the neighbour's land beside that
/// (`place/scene.rs`), and where heads are to be few a = 4, c = 0.3, p = 0. More effort never gives a layout of a
/// larger objective.
#[must_use]
pub fn objective(site: &Site, family: &Family, heads: &[Head]) -> f64 {
    let rule = rule_layout(site, family, rule_throw_m(site, family));
    laid::priced(site, heads, &family.profile, rule.len())
}

/// Makes heads of one family as they can really be set: throws in whole centimetres, sweeps in
/// steps of 5°, starts in whole degrees, the nozzle and flow that go with them.
#[derive(Debug, Clone, Copy)]
pub struct Setter<'f> {
    /// The family.
    pub family: &'f Family,
}

impl Setter<'_> {
    /// The offered sweep nearest to an angle \[degrees\]; beyond the largest part circle the full
    /// circle, where the family has one.
    #[must_use]
    pub fn nearest_sweep_deg(&self, angle_deg: f64) -> f64 {
        let sweeps = self.family.sweeps;
        let step = f64::from(sweeps.step_deg);
        let rounded = (angle_deg / step).round() * step;
        if rounded > f64::from(sweeps.to_deg) {
            let between = (f64::from(sweeps.to_deg) + 360.0) / 2.0;
            if sweeps.full_circle && rounded >= between {
                360.0
            } else {
                f64::from(sweeps.to_deg)
            }
        } else {
            rounded.max(f64::from(sweeps.from_deg))
        }
    }

    /// Makes a head. The start is rounded to a whole degree, the throw to a whole centimetre.
    #[must_use]
    pub fn head(
        &self,
        at: Point,
        role: Role,
        throw_m: f64,
        start_deg: f64,
        sweep_deg: f64,
    ) -> Head {
        let radius_m = (throw_m * 100.0).round() / 100.0;
        let start_deg = if sweep_deg >= 360.0 {
            0.0
        } else {
            start_deg.round().rem_euclid(360.0)
        };
        let nozzle = self.family.nozzle_for(radius_m);
        Head {
            at,
            role,
            pattern: Pattern::Sector {
                radius_m,
                start_deg,
                sweep_deg,
            },
            nozzle,
            flow: self.family.flow(nozzle, radius_m, sweep_deg),
        }
    }
}
