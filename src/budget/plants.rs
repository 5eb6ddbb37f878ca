//! What turf evaporates as a share of the reference.

use crate::assumptions::{Assumptions, Key};
use crate::site::{Exposure, Grass};

/// Monthly crop coefficients of turf in California, January to December; only their shape is
/// used. Meyer, J. L. and Gibeault, V. A., "Turfgrass performance under reduced irrigation",
/// California Agriculture, 1986 (from memory).
const COOL_CURVE: [f64; 12] = [
    0.61, 0.64, 0.75, 1.04, 0.95, 0.88, 0.94, 0.86, 0.74, 0.75, 0.69, 0.60,
];
/// The same of warm-season turf.
const WARM_CURVE: [f64; 12] = [
    0.55, 0.54, 0.76, 0.72, 0.79, 0.68, 0.71, 0.71, 0.62, 0.54, 0.58, 0.55,
];

/// Plant factors, January to December: plant demand = factor × reference evapotranspiration.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlantFactors(pub [f64; 12]);

impl PlantFactors {
    /// The factors that are assumed for a turf area. What the turf layer does not say falls to
    /// the assumption.
    #[must_use]
    pub fn assumed(
        assumptions: &Assumptions,
        grass: Option<Grass>,
        exposure: Option<Exposure>,
    ) -> PlantFactors {
        let grass = grass_of(assumptions, grass);
        let exposure = exposure.unwrap_or(match assumptions.choice(Key::PlantExposure) {
            "part" => Exposure::Part,
            "shade" => Exposure::Shade,
            _ => Exposure::Sun,
        });
        let (mean, curve) = match grass {
            Grass::Cool => (assumptions.number(Key::PlantFactorCool), COOL_CURVE),
            Grass::Warm => (assumptions.number(Key::PlantFactorWarm), WARM_CURVE),
        };
        let sun = match exposure {
            Exposure::Sun => 1.0,
            Exposure::Part => assumptions.number(Key::PlantPartFrac),
            Exposure::Shade => assumptions.number(Key::PlantShadeFrac),
        };
        let shape = match assumptions.choice(Key::PlantFactorForm) {
            "monthly" => {
                let curve_mean = curve.iter().sum::<f64>() / 12.0;
                curve.map(|factor| factor / curve_mean)
            }
            _ => [1.0; 12],
        };
        PlantFactors(shape.map(|share| share * mean * sun))
    }

    /// The assumption that the factors are proportional to.
    #[must_use]
    pub fn key(assumptions: &Assumptions, grass: Option<Grass>) -> Key {
        match grass_of(assumptions, grass) {
            Grass::Cool => Key::PlantFactorCool,
            Grass::Warm => Key::PlantFactorWarm,
        }
    }
}

fn grass_of(assumptions: &Assumptions, grass: Option<Grass>) -> Grass {
    grass.unwrap_or(match assumptions.choice(Key::PlantGrass) {
        "warm" => Grass::Warm,
        _ => Grass::Cool,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mean(factors: PlantFactors) -> f64 {
        factors.0.iter().sum::<f64>() / 12.0
    }

    #[test]
    fn grass_and_exposure_of_the_layer_win_over_the_assumption() {
        let run = Assumptions::defaults();
        let of = |grass, exposure| PlantFactors::assumed(&run, grass, exposure).0[6];
        assert_eq!(of(None, None), 0.8);
        assert_eq!(of(Some(Grass::Warm), None), 0.6);
        assert!((of(Some(Grass::Cool), Some(Exposure::Part)) - 0.672).abs() < 1e-12);
        assert!((of(Some(Grass::Cool), Some(Exposure::Shade)) - 0.536).abs() < 1e-12);
        let warm = run.with_setting("plant.grass=warm").unwrap();
        assert_eq!(PlantFactors::assumed(&warm, None, None).0[0], 0.6);
        assert_eq!(
            PlantFactors::assumed(&warm, Some(Grass::Cool), None).0[0],
            0.8
        );
    }

    #[test]
    fn the_monthly_curve_keeps_the_mean() {
        let run = Assumptions::defaults()
            .with_setting("plant.factor_form=monthly")
            .unwrap();
        for grass in [Grass::Cool, Grass::Warm] {
            let factors = PlantFactors::assumed(&run, Some(grass), None);
            let annual = PlantFactors::assumed(&Assumptions::defaults(), Some(grass), None);
            assert!((mean(factors) - mean(annual)).abs() < 1e-12);
            assert!(factors.0[3] > factors.0[11]);
        }
        // The means that Meyer and Gibeault's curves are quoted with.
        assert!((COOL_CURVE.iter().sum::<f64>() / 12.0 - 0.79).abs() < 0.005);
        assert!((WARM_CURVE.iter().sum::<f64>() / 12.0 - 0.65).abs() < 0.005);
    }
}
