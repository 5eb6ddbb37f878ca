//! A turf area as whoever places heads sees it: its outline, what lies around it, and how far from
//! what heads stand.

use super::rule::inscribed_diameter_m;
use crate::shape::Outline;

/// A turf area to lay out.
#[derive(Debug, Clone, Copy)]
pub struct Site<'a> {
    /// The turf.
    pub outline: &'a Outline,
    /// Diameter of the largest circle inside the turf \[m\]: what every family's throw is cut to.
    /// The search for it is the same for every family.
    pub diameter_m: f64,
    /// What stands and lies around.
    pub around: Around<'a>,
    /// How far from what heads stand.
    pub rules: Standing,
}

/// What stands and lies around a turf area, or on it.
#[derive(Debug, Clone, Copy, Default)]
pub struct Around<'a> {
    /// Buildings, walls and trunks: what stops the throw.
    pub blocks: &'a [Outline],
    /// Of these, buildings and walls.
    pub walls: &'a [Outline],
    /// Of these, trunks.
    pub trunks: &'a [Outline],
    /// Pavements.
    pub pavements: &'a [Outline],
    /// Ponds and pools.
    pub waters: &'a [Outline],
    /// The parcel; beyond it is the neighbour. Empty where nobody knows.
    pub parcel: &'a [Outline],
}

/// How far from what heads stand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing {
    /// From pavement \[m\].
    pub pavement_offset_m: f64,
    /// From buildings and walls \[m\].
    pub wall_offset_m: f64,
    /// From trunks \[m\].
    pub trunk_clearance_m: f64,
    /// Width along pavement that overhead water keeps off \[m\].
    pub pavement_setback_m: f64,
    /// Largest spacing as a share of the throw: 1 is head to head, less where wind blows.
    pub spacing_frac: f64,
}

impl Standing {
    /// No distance from anything, head to head.
    pub const PLAIN: Standing = Standing {
        pavement_offset_m: 0.0,
        wall_offset_m: 0.0,
        trunk_clearance_m: 0.0,
        pavement_setback_m: 0.0,
        spacing_frac: 1.0,
    };
}

impl<'a> Site<'a> {
    /// A lawn with nothing around it.
    #[must_use]
    pub fn open(outline: &'a Outline) -> Site<'a> {
        Site {
            outline,
            diameter_m: inscribed_diameter_m(outline),
            around: Around::default(),
            rules: Standing::PLAIN,
        }
    }
}
