//! One head as it is set: a nozzle of a family, put somewhere and turned some way.

use super::StripKind;
use crate::shape::Point;
use crate::units::Flow;

/// What a head is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// At a corner of the turf.
    Corner,
    /// Along an edge.
    Edge,
    /// Inside.
    Interior,
    /// With a strip pattern.
    Strip,
    /// In the ground already.
    Kept,
}

impl Role {
    /// The word in the `role` column.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Role::Corner => "corner",
            Role::Edge => "edge",
            Role::Interior => "interior",
            Role::Strip => "strip",
            Role::Kept => "kept",
        }
    }
}

/// The shape that a head waters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Pattern {
    /// A sector of a disc: from `start_deg` clockwise by `sweep_deg`. Full circle: start 0,
    /// sweep 360.
    Sector {
        /// Throw \[m\], whole centimetres.
        radius_m: f64,
        /// Start of the arc \[degrees clockwise from north\], a whole number.
        start_deg: f64,
        /// Sweep \[degrees\], a multiple of 5.
        sweep_deg: f64,
    },
    /// A rectangle at a uniform rate.
    Strip {
        /// Where the head stands.
        kind: StripKind,
        /// Long side \[m\].
        length_m: f64,
        /// Short side \[m\].
        width_m: f64,
        /// From the head into the rectangle: across its width (side, centre) or along its
        /// length (end) \[degrees clockwise from north\].
        azimuth_deg: f64,
    },
}

/// One head of a layout, as it is set.
#[derive(Debug, Clone, PartialEq)]
pub struct Head {
    /// Where it stands in the parcel's frame.
    pub at: Point,
    /// What it is for.
    pub role: Role,
    /// What it waters.
    pub pattern: Pattern,
    /// Index of the nozzle (sector) or strip of its family.
    pub nozzle: usize,
    /// Flow at the rated pressure.
    pub flow: Flow,
}

impl Head {
    /// How far from the head water can fall \[m\].
    #[must_use]
    pub fn reach_m(&self) -> f64 {
        match self.pattern {
            Pattern::Sector { radius_m, .. } => radius_m,
            Pattern::Strip {
                kind,
                length_m,
                width_m,
                ..
            } => match kind {
                StripKind::End => Point::new(length_m, width_m / 2.0).norm(),
                StripKind::Side => Point::new(length_m / 2.0, width_m).norm(),
                StripKind::Centre => Point::new(length_m / 2.0, width_m / 2.0).norm(),
            },
        }
    }
}
