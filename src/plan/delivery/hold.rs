//! Whether the supply holds the pressure that a scenario needs.

use super::super::ScenarioPlan;
use crate::hydraulics::nozzle::Working;

/// Whether the stations of a turf area in a scenario get the pressure that their heads need, while they
/// run; the worst of its stations counts. In rising order of trouble.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum PressureHold {
    /// Every head works at its lowest working pressure or above.
    Holds,
    /// So it does, but a station draws more than the safe flow of its supply.
    Overloaded,
    /// A head gets less than its lowest working pressure.
    Low,
    /// A head gets no pressure at all.
    Dry,
    /// Flows and pressures that agree were not found.
    Unsolved,
    /// No stations were planned: there is no head, or the supply has no flow.
    Unplanned,
}

impl PressureHold {
    /// Whether the scenario can be recommended as far as pressure goes. What is in the ground may stay
    /// in any case.
    #[must_use]
    pub fn is_admissible(self) -> bool {
        self <= PressureHold::Overloaded
    }

    /// Whether measures of uniformity hold: no head is without its working pressure.
    #[must_use]
    pub fn has_uniformity(self) -> bool {
        self <= PressureHold::Overloaded
    }

    /// The word for it, as in reasons.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            PressureHold::Holds => "pressure holds",
            PressureHold::Overloaded => "a station draws more than the safe flow",
            PressureHold::Low => "heads get less than their lowest working pressure",
            PressureHold::Dry => "heads get no pressure",
            PressureHold::Unsolved => "its pressures could not be found",
            PressureHold::Unplanned => "no stations could be planned",
        }
    }

    /// What one head makes of it.
    pub(super) fn of(working: Working) -> PressureHold {
        match working {
            Working::Dry => PressureHold::Dry,
            Working::Below => PressureHold::Low,
            Working::Within | Working::Above => PressureHold::Holds,
        }
    }
}

impl ScenarioPlan {
    /// Whether the supply holds the pressure that the scenario needs on this turf area.
    #[must_use]
    pub fn holds_pressure(&self) -> PressureHold {
        self.delivered
            .as_ref()
            .map_or(PressureHold::Unplanned, |got| got.hold)
    }

    /// The mean rate over the turf with the flows and throws that the supply gives, mist taken off
    /// \[mm/h\]; `None` where no pressure was found or nothing comes out.
    #[must_use]
    pub fn delivered_rate_mm_h(&self) -> Option<f64> {
        let got = self.delivered.as_ref()?;
        (got.hold < PressureHold::Unsolved && got.rate_mm_h > 0.0).then_some(got.rate_mm_h)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_worst_counts_and_only_working_pressure_is_admitted() {
        let worst = [
            Working::Within,
            Working::Below,
            Working::Above,
            Working::Dry,
        ]
        .map(PressureHold::of)
        .into_iter()
        .max();
        assert_eq!(worst, Some(PressureHold::Dry));
        for (hold, is_admissible) in [
            (PressureHold::Holds, true),
            (PressureHold::Overloaded, true),
            (PressureHold::Low, false),
            (PressureHold::Dry, false),
            (PressureHold::Unsolved, false),
            (PressureHold::Unplanned, false),
        ] {
            assert_eq!(hold.is_admissible(), is_admissible, "{}", hold.text());
            assert_eq!(hold.has_uniformity(), is_admissible);
        }
    }
}
