//! Bodies: which of those in the ground stay under another nozzle, and which must go.
//!
//! A nozzle is changed by hand, a body with a spade. So a body is changed only where it must be:
//! it is broken or leaks, it is lower than the grass asks for and cannot be raised far enough, it
//! was made for another kind of nozzle, or its pressure is above the window of the family. A
//! pressure below the window is cured by no body. Regulated bodies for all heads are a measure of
//! their own ([`Bodies::Regulated`]).

use super::{Bodies, ScenarioPlan};
use crate::assumptions::{Assumptions, Key};
use crate::catalogue::Family;
use crate::site::{Condition, ExistingHead};

/// What happens to the body of one head.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BodyWork {
    /// It stays.
    Keep,
    /// A plain body takes its place, or is new.
    Change,
    /// A regulating body takes its place, or is new.
    Regulate,
}

impl BodyWork {
    /// `keep`, `change` or `regulate`.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            BodyWork::Keep => "keep",
            BodyWork::Change => "change",
            BodyWork::Regulate => "regulate",
        }
    }
}

/// What is known of one head beyond its layout.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitting {
    /// Name of its nozzle family.
    pub family: String,
    /// Pressure at the head \[kPa\].
    pub pressure_kpa: f64,
    /// The station that feeds it, where somebody named it.
    pub station: Option<String>,
    /// Whether its body regulates; as found, whether it is known to.
    pub regulated: bool,
    /// Whether it is added where there was none.
    pub added: bool,
    /// What happens to its body.
    pub body: BodyWork,
}

/// What a crew changes on existing heads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Works {
    /// Heads that are added.
    pub added: usize,
    /// Heads that are capped.
    pub capped: usize,
    /// Bodies in the ground that are changed.
    pub bodies: usize,
    /// New bodies that regulate, those of added heads included.
    pub regulated: usize,
}

impl Works {
    /// What a crew changes, from what happens to each head; `is_added` says which are new.
    pub(super) fn of(fittings: &[Fitting], is_added: &[bool], capped: usize) -> Works {
        let mut works = Works {
            capped,
            ..Works::default()
        };
        for (fitting, &added) in fittings.iter().zip(is_added) {
            works.added += usize::from(added);
            works.bodies += usize::from(!added && fitting.body != BodyWork::Keep);
            works.regulated += usize::from(fitting.body == BodyWork::Regulate);
        }
        works
    }
}

impl ScenarioPlan {
    /// Puts regulating bodies under some heads that would have kept theirs, or got plain ones.
    pub(super) fn regulate(&mut self, heads: &[usize]) {
        for &head in heads {
            let Some(fitting) = self.fittings.get_mut(head) else {
                continue;
            };
            let before = fitting.body;
            fitting.body = BodyWork::Regulate;
            fitting.regulated = true;
            if let Some(works) = &mut self.works {
                works.bodies += usize::from(before == BodyWork::Keep);
                works.regulated += usize::from(before != BodyWork::Regulate);
            }
        }
    }
}

/// Whether regulated bodies of a family may be set at all.
pub(super) fn may_regulate(assumptions: &Assumptions, family: &Family) -> bool {
    assumptions.choice(Key::HardwareNewBodies) != "unregulated" && family.own_body_cur.is_none()
}

/// What is asked of the bodies of one scenario.
pub(super) struct BodyRule<'a> {
    /// What becomes of those in the ground.
    pub(super) bodies: Bodies,
    /// The family that is set.
    pub(super) family: &'a Family,
    /// Least pop-up height \[mm\].
    pub(super) pop_up_mm: f64,
}

impl BodyRule<'_> {
    /// The body of an added head.
    pub(super) fn of_added(&self) -> BodyWork {
        match self.bodies {
            Bodies::Kept => BodyWork::Change,
            Bodies::Regulated => BodyWork::Regulate,
        }
    }

    /// The body of a head in the ground, which had a nozzle of the family `own`. What nobody
    /// looked at is taken to be sound.
    pub(super) fn of(&self, head: &ExistingHead, own: &Family) -> BodyWork {
        let is_regulated = head.regulated == Some(true);
        let spoilt = matches!(head.condition, Some(Condition::Broken | Condition::Leaking));
        let is_low = head.body_mm.is_some_and(|mm| mm < self.pop_up_mm);
        let other_kind = own.own_body_cur.is_some() != self.family.own_body_cur.is_some();
        let too_high = !is_regulated
            && self.family.own_body_cur.is_none()
            && head
                .pressure_kpa
                .is_some_and(|kpa| kpa > self.family.working.1.kpa());
        let regulates = match self.bodies {
            Bodies::Regulated => true,
            // What regulated before does so after.
            Bodies::Kept => is_regulated || too_high,
        };
        let is_changed = spoilt || is_low || other_kind || (regulates && !is_regulated);
        match (is_changed, regulates) {
            (false, _) => BodyWork::Keep,
            (true, true) => BodyWork::Regulate,
            (true, false) => BodyWork::Change,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Catalogue;

    fn head() -> ExistingHead {
        ExistingHead {
            position: geo::Point::new(0.0, 0.0),
            family: None,
            radius_m: None,
            arc_deg: None,
            azimuth_deg: None,
            pressure_kpa: None,
            flow_lpm: None,
            station: None,
            regulated: None,
            body_mm: None,
            condition: None,
        }
    }

    #[test]
    fn a_body_is_changed_only_where_it_must_be() {
        let catalogue = Catalogue::generic();
        let (spray, mid) = (&catalogue.families[0], &catalogue.families[1]);
        let rule = |bodies| BodyRule {
            bodies,
            family: mid,
            pop_up_mm: 100.0,
        };
        let kept = |head: &ExistingHead| rule(Bodies::Kept).of(head, spray);
        let regulated = |head: &ExistingHead| rule(Bodies::Regulated).of(head, spray);
        assert_eq!(kept(&head()), BodyWork::Keep);
        assert_eq!(regulated(&head()), BodyWork::Regulate);
        for condition in [Condition::Broken, Condition::Leaking] {
            let spoilt = ExistingHead {
                condition: Some(condition),
                ..head()
            };
            assert_eq!(kept(&spoilt), BodyWork::Change);
        }
        // A sunk head of unknown height is raised; one whose body is too low is changed.
        let sunk = ExistingHead {
            condition: Some(Condition::Sunk),
            ..head()
        };
        assert_eq!(kept(&sunk), BodyWork::Keep);
        let low = ExistingHead {
            body_mm: Some(50.0),
            ..head()
        };
        assert_eq!(kept(&low), BodyWork::Change);
        // The window of rotary-mid ends at 380 kPa.
        let at = |kpa: f64| ExistingHead {
            pressure_kpa: Some(kpa),
            ..head()
        };
        assert_eq!(kept(&at(380.0)), BodyWork::Keep);
        assert_eq!(kept(&at(381.0)), BodyWork::Regulate);
        assert_eq!(kept(&at(150.0)), BodyWork::Keep);
        // What regulates stays, and is replaced by its like.
        let good = ExistingHead {
            regulated: Some(true),
            ..at(500.0)
        };
        assert_eq!(kept(&good), BodyWork::Keep);
        assert_eq!(regulated(&good), BodyWork::Keep);
        let leaking = ExistingHead {
            condition: Some(Condition::Leaking),
            ..good
        };
        assert_eq!(kept(&leaking), BodyWork::Regulate);
    }
}
