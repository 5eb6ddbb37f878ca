//! What wear leaves of a head.

use super::infer::Installed;
use crate::assumptions::{Assumptions, Key};
use crate::catalogue::{Family, Head, Pattern, Role};
use crate::site::Condition;
use crate::units::Flow;

/// What each condition does to a head: factors on throw and flow, and how far a misaimed head is
/// turned. The leak of a leaking head is not water on turf and enters no volume.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wear {
    /// Throw of a sunk head, as a share of a sound one.
    pub sunk_throw_frac: f64,
    /// Throw of a tilted head.
    pub tilted_throw_frac: f64,
    /// Throw and flow of a blocked head.
    pub blocked_frac: (f64, f64),
    /// Throw and flow of a leaking head.
    pub leaking_frac: (f64, f64),
    /// Throw and flow of a broken head.
    pub broken_frac: (f64, f64),
    /// Turn of a misaimed head whose azimuth nobody gave \[degrees clockwise\].
    pub misaimed_deg: f64,
}

impl Wear {
    /// The factors that are assumed.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> Wear {
        let number = |key| assumptions.number(key);
        Wear {
            sunk_throw_frac: number(Key::HeadsSunkThrow),
            tilted_throw_frac: number(Key::HeadsTiltedThrow),
            blocked_frac: (
                number(Key::HeadsBlockedThrow),
                number(Key::HeadsBlockedFlow),
            ),
            leaking_frac: (
                number(Key::HeadsLeakingThrow),
                number(Key::HeadsLeakingFlow),
            ),
            broken_frac: (number(Key::HeadsBrokenThrow), number(Key::HeadsBrokenFlow)),
            misaimed_deg: number(Key::HeadsMisaimed),
        }
    }

    /// A head as it works today. A condition that nobody looked at counts as sound; throw and flow
    /// that were given are those of the nozzle, arc and azimuth those seen on the ground.
    #[must_use]
    pub fn at_work(&self, installed: &Installed, family: &Family) -> Head {
        let (throw_frac, flow_frac) = match installed.condition.unwrap_or_default() {
            Condition::Ok | Condition::Misaimed => (1.0, 1.0),
            Condition::Sunk => (self.sunk_throw_frac, 1.0),
            Condition::Tilted => (self.tilted_throw_frac, 1.0),
            Condition::Blocked => self.blocked_frac,
            Condition::Leaking => self.leaking_frac,
            Condition::Broken => self.broken_frac,
        };
        let is_off = installed.condition == Some(Condition::Misaimed) && installed.missing.aim;
        let turn_deg = if is_off { self.misaimed_deg } else { 0.0 };
        let mut head = installed.sound(family);
        if let Pattern::Sector {
            radius_m,
            start_deg,
            ..
        } = &mut head.pattern
        {
            *radius_m = (*radius_m * throw_frac * 100.0).round().max(1.0) / 100.0;
            *start_deg = (*start_deg + turn_deg).round().rem_euclid(360.0);
        }
        head.flow = head.flow * flow_frac;
        head
    }
}

impl Installed {
    /// The head as it would work if it were sound, at its own pressure.
    #[must_use]
    pub fn sound(&self, family: &Family) -> Head {
        Head {
            at: self.at,
            role: Role::Kept,
            pattern: Pattern::Sector {
                radius_m: self.radius_m,
                start_deg: self.start_deg,
                sweep_deg: self.sweep_deg,
            },
            nozzle: family.nozzle_for(self.radius_m),
            flow: Flow::from_lpm(self.flow_lpm).unwrap_or(Flow::ZERO), // bounded by the reader
        }
    }
}
