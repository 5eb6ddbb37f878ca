//! Slopes of a piece of an elevation model.

use geo::{Contains, Coord};

use crate::site::Terrain;

/// At least so many samples are taken on a lawn, finer than the cells where it has to be.
const LEAST_SAMPLES: usize = 12;
/// The finest step of samples, as a fraction of a cell.
const FINEST_STEP: f64 = 1.0 / 32.0;
/// Less of a lawn than this share with heights is not covered.
const LEAST_COVER_FRAC: f64 = 0.5;
/// Gentler than this \[%\], a slope has no direction.
const LEVEL_PCT: f64 = 0.1;

/// Heights of a window of the raster, row by row from its top; NaN where there is none.
pub(super) struct Heights {
    pub columns: usize,
    pub rows: usize,
    pub heights_m: Vec<f64>,
}

/// How metres east and north turn into columns and rows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Steps {
    /// Columns and rows to a metre east.
    pub east: [f64; 2],
    /// Columns and rows to a metre north.
    pub north: [f64; 2],
}

impl Heights {
    fn at(&self, column: usize, row: usize) -> f64 {
        self.heights_m[row * self.columns + column]
    }

    /// Change of height to the east and to the north \[m/m\] in a cell, from its eight
    /// neighbours; `None` at the edge and beside a hole.
    ///
    /// # References
    /// - Horn, B. K. P., "Hill shading and the reflectance map", Proceedings of the IEEE 69(1),
    ///   1981, p. 14–47. DOI 10.1109/PROC.1981.11918.
    fn gradient(&self, column: usize, row: usize, steps: Steps) -> Option<[f64; 2]> {
        if column == 0 || row == 0 || column + 1 >= self.columns || row + 1 >= self.rows {
            return None;
        }
        let z = |dc: usize, dr: usize| self.at(column + dc - 1, row + dr - 1);
        let side = |a: f64, b: f64, c: f64| a + 2.0 * b + c;
        let by_column = (side(z(2, 0), z(2, 1), z(2, 2)) - side(z(0, 0), z(0, 1), z(0, 2))) / 8.0;
        let by_row = (side(z(0, 2), z(1, 2), z(2, 2)) - side(z(0, 0), z(1, 0), z(2, 0))) / 8.0;
        let along = |[columns, rows]: [f64; 2]| by_column * columns + by_row * rows;
        let gradient = [along(steps.east), along(steps.north)];
        gradient.iter().all(|g| g.is_finite()).then_some(gradient)
    }

    /// The slopes of a lawn drawn in columns and rows of the window; `None` when less than half
    /// of it has heights around.
    pub(super) fn terrain(&self, lawn: &geo::Polygon<f64>, steps: Steps) -> Option<Terrain> {
        let mut step = 1.0;
        let mut samples = samples(lawn, step);
        while samples.len() < LEAST_SAMPLES && step > FINEST_STEP {
            step /= 2.0;
            samples = self::samples(lawn, step);
        }
        let gradients: Vec<[f64; 2]> = samples
            .iter()
            .filter_map(|at| self.gradient(cell(at.x)?, cell(at.y)?, steps))
            .collect();
        let cover = gradients.len() as f64 / (samples.len() as f64).max(1.0);
        if gradients.is_empty() || cover < LEAST_COVER_FRAC {
            return None;
        }
        let mut slopes_pct: Vec<f64> = gradients
            .iter()
            .map(|[east, north]| 100.0 * (east * east + north * north).sqrt())
            .collect();
        slopes_pct.sort_by(f64::total_cmp);
        let share = |share: f64| {
            let position = share * (slopes_pct.len() - 1) as f64;
            let below = position.floor() as usize;
            let above = (below + 1).min(slopes_pct.len() - 1);
            slopes_pct[below] + (slopes_pct[above] - slopes_pct[below]) * (position - below as f64)
        };
        let mean = |part: usize| {
            gradients.iter().map(|gradient| gradient[part]).sum::<f64>() / gradients.len() as f64
        };
        let (east, north) = (mean(0), mean(1));
        let level = 100.0 * (east * east + north * north).sqrt() < LEVEL_PCT;
        let down_deg = libm::atan2(-east, -north).to_degrees();
        Some(Terrain {
            slope_pct: share(0.5),
            slope_p90_pct: share(0.9),
            aspect_deg: (!level).then(|| (down_deg + 360.0) % 360.0),
        })
    }
}

fn cell(at: f64) -> Option<usize> {
    (at >= 0.0).then_some(at.floor() as usize)
}

/// The middles of the squares of a step that lie on a lawn, row by row.
fn samples(lawn: &geo::Polygon<f64>, step: f64) -> Vec<Coord<f64>> {
    let mut low = Coord {
        x: f64::INFINITY,
        y: f64::INFINITY,
    };
    let mut high = Coord {
        x: f64::NEG_INFINITY,
        y: f64::NEG_INFINITY,
    };
    for at in lawn.exterior().coords() {
        (low.x, low.y) = (low.x.min(at.x), low.y.min(at.y));
        (high.x, high.y) = (high.x.max(at.x), high.y.max(at.y));
    }
    let range =
        |low: f64, high: f64| ((low / step).floor() as i64)..=((high / step).floor() as i64);
    let mut found = Vec::new();
    for row in range(low.y, high.y) {
        for column in range(low.x, high.x) {
            let at = Coord {
                x: (column as f64 + 0.5) * step,
                y: (row as f64 + 0.5) * step,
            };
            if lawn.contains(&at) {
                found.push(at);
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Cells of 2 m, the first row in the north.
    const STEPS: Steps = Steps {
        east: [0.5, 0.0],
        north: [0.0, -0.5],
    };

    fn window(height_m: impl Fn(f64, f64) -> f64) -> Heights {
        let heights_m = (0..400)
            .map(|i| height_m(f64::from(i % 20) * 2.0, -f64::from(i / 20) * 2.0))
            .collect();
        Heights {
            columns: 20,
            rows: 20,
            heights_m,
        }
    }

    fn lawn(low: f64, high: f64) -> geo::Polygon<f64> {
        geo::Rect::new(Coord { x: low, y: low }, Coord { x: high, y: high }).to_polygon()
    }

    #[test]
    fn a_plane_has_its_slope_everywhere() {
        // 3 % up to the east, 4 % up to the north: 5 %, down to the south-west.
        let plane = window(|east_m, north_m| 0.03 * east_m + 0.04 * north_m);
        for polygon in [lawn(2.0, 17.0), lawn(9.2, 9.6)] {
            let found = plane.terrain(&polygon, STEPS).unwrap();
            assert!((found.slope_pct - 5.0).abs() < 1e-9);
            assert!((found.slope_p90_pct - 5.0).abs() < 1e-9);
            let expected_deg = 180.0 + libm::atan2(3.0, 4.0).to_degrees();
            assert!((found.aspect_deg.unwrap() - expected_deg).abs() < 1e-9);
        }
        let level = window(|_, _| 7.0).terrain(&lawn(2.0, 17.0), STEPS).unwrap();
        assert_eq!((level.slope_pct, level.aspect_deg), (0.0, None));
    }

    #[test]
    fn a_bank_hides_in_the_median() {
        let bank = window(|east_m, _| {
            if east_m > 30.0 {
                0.3 * (east_m - 30.0)
            } else {
                0.0
            }
        });
        let found = bank.terrain(&lawn(1.0, 19.0), STEPS).unwrap();
        assert_eq!(found.slope_pct, 0.0);
        assert!(found.slope_p90_pct > 25.0, "{found:?}");
    }

    #[test]
    fn half_a_lawn_without_heights_is_not_covered() {
        let holes = window(|east_m, _| if east_m > 14.0 { f64::NAN } else { 0.0 });
        assert_eq!(holes.terrain(&lawn(2.0, 17.0), STEPS), None);
        assert!(holes.terrain(&lawn(2.0, 7.0), STEPS).is_some());
        assert_eq!(holes.terrain(&lawn(30.0, 35.0), STEPS), None);
    }
}
