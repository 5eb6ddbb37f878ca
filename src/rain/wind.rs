//! Wind: the water of a head comes down as in still air, but to leeward.
//!
//! While a drop flies for t seconds, the wind W takes it along by a share f of W t. The whole pattern of
//! a head is moved by that: the flight time is that of the water which lands at the end of the throw R,
//! `t = 1.25 √(2 R tan α / g)` \[s\] with α the angle at which the stream leaves, held between 0.5 and
//! 1.0 s. Without drag a throw of R at α takes `√(2 R tan α / g)`; drops of 1 to 3 mm that leave at
//! 15 m/s and 25° take 1.2 to 1.4 times as long.
//!
//! It leaves out that patterns grow narrower across the wind, and that fine drops go farther than large
//! ones; so it tells how one layout stands in wind beside another, not what a storm does.
//!
//! # References
//! - Fukui, Y., Nakanishi, K. and Okamura, S., "Computer evaluation of sprinkler irrigation
//!   uniformity", Irrigation Science 2, 1980, p. 23–32 (the motion of drops and its drag; from memory,
//!   integrated anew in `tests/wind.rs`).
//! - That a pattern is moved by 0.6 to 0.8 of W t, with t from 0.5 to 1.0 s, is common practice.

use crate::catalogue::{Head, Pattern, StripKind};
use crate::shape::Point;

/// Standard gravity \[m/s²\].
const GRAVITY_M_S2: f64 = 9.806_65;
/// How much longer drops fly than without drag.
const DRAG_FACTOR: f64 = 1.25;
/// Shortest and longest flight \[s\].
const FLIGHT_S: (f64, f64) = (0.5, 1.0);
/// The sides that a wind rose tells apart.
pub const SIDES: usize = 8;

/// One wind of the watering hours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wind {
    /// Its speed at 2 m \[m/s\].
    pub speed_m_s: f64,
    /// Where it comes from \[degrees clockwise from north\].
    pub from_deg: f64,
    /// Its share of the watering hours.
    pub share_frac: f64,
}

/// The winds of the watering hours; what their shares leave of 1 is calm.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Winds(Vec<Wind>);

impl Winds {
    /// The same wind from each of the eight sides alike: where it comes from is not known.
    #[must_use]
    pub fn from_all_sides(speed_m_s: f64) -> Winds {
        Winds::of_shares(speed_m_s, &[1.0 / SIDES as f64; SIDES])
    }

    /// Winds by their shares of the watering hours: from north, north-east, and so on clockwise. The
    /// speed is the mean of all watering hours, the calm ones included.
    ///
    /// # Example
    /// ```
    /// use evenfall::rain::Winds;
    /// let winds = Winds::of_shares(1.5, &[0.5, 0.0, 0.0, 0.0, 0.25, 0.0, 0.0, 0.0]);
    /// assert_eq!(winds.all()[0].speed_m_s, 2.0);
    /// assert_eq!(winds.calm_frac(), 0.25);
    /// ```
    #[must_use]
    pub fn of_shares(mean_m_s: f64, shares_frac: &[f64; SIDES]) -> Winds {
        let blowing_frac: f64 = shares_frac.iter().sum();
        let winds = shares_frac.iter().enumerate();
        Winds(
            winds
                .filter(|(_, share)| **share > 0.0 && mean_m_s > 0.0)
                .map(|(side, &share_frac)| Wind {
                    speed_m_s: mean_m_s / blowing_frac,
                    from_deg: side as f64 * 360.0 / SIDES as f64,
                    share_frac,
                })
                .collect(),
        )
    }

    /// Each of them.
    #[must_use]
    pub fn all(&self) -> &[Wind] {
        &self.0
    }

    /// Share of the watering hours without wind.
    #[must_use]
    pub fn calm_frac(&self) -> f64 {
        let blowing: f64 = self.0.iter().map(|wind| wind.share_frac).sum();
        (1.0 - blowing).max(0.0)
    }
}

/// How long the water that lands at the end of a throw flies \[s\].
#[must_use]
pub fn flight_s(throw_m: f64, trajectory_deg: f64) -> f64 {
    let rise = libm::tan(trajectory_deg.to_radians());
    let free_s = (2.0 * throw_m * rise / GRAVITY_M_S2).sqrt();
    (DRAG_FACTOR * free_s).clamp(FLIGHT_S.0, FLIGHT_S.1)
}

/// How a wind moves what a family's heads throw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drifting {
    /// Angle above the horizontal at which the stream leaves \[degrees\].
    pub trajectory_deg: f64,
    /// Share of wind × flight time by which a pattern is moved.
    pub displacement_frac: f64,
}

impl Drifting {
    /// The head as if it stood where the wind takes its pattern.
    #[must_use]
    pub fn moved(&self, head: &Head, wind: Wind) -> Head {
        let flight_s = flight_s(longest_m(head), self.trajectory_deg);
        let moved_m = self.displacement_frac * wind.speed_m_s * flight_s;
        let to_rad = (wind.from_deg + 180.0).to_radians();
        let leeward = Point::new(libm::sin(to_rad), libm::cos(to_rad));
        Head {
            at: head.at + leeward * moved_m,
            ..head.clone()
        }
    }
}

/// How far a head throws along its pattern \[m\].
fn longest_m(head: &Head) -> f64 {
    match head.pattern {
        Pattern::Sector { radius_m, .. } => radius_m,
        Pattern::Strip {
            kind: StripKind::End,
            length_m,
            ..
        } => length_m,
        Pattern::Strip { length_m, .. } => length_m / 2.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Role;
    use crate::units::Flow;

    fn head(radius_m: f64) -> Head {
        Head {
            at: Point::new(3.0, 4.0),
            role: Role::Interior,
            pattern: Pattern::Sector {
                radius_m,
                start_deg: 0.0,
                sweep_deg: 360.0,
            },
            nozzle: 0,
            flow: Flow::from_lpm(4.0).unwrap(),
        }
    }

    #[test]
    fn flights_are_those_of_practice() {
        assert_eq!(flight_s(0.5, 25.0), 0.5);
        assert_eq!(flight_s(4.0, 0.0), 0.5);
        assert_eq!(flight_s(30.0, 25.0), 1.0);
        // 1.25 √(2 · 4.5 · 0.466308 / 9.80665)
        assert!((flight_s(4.5, 25.0) - 0.817_7).abs() < 1e-4);
    }

    #[test]
    fn water_goes_where_the_wind_goes() {
        let drifting = Drifting {
            trajectory_deg: 25.0,
            displacement_frac: 0.7,
        };
        let distance_m = 0.7 * 2.0 * flight_s(4.5, 25.0);
        for (from_deg, east, north) in [
            (0.0, 0.0, -1.0),
            (90.0, -1.0, 0.0),
            (180.0, 0.0, 1.0),
            (270.0, 1.0, 0.0),
        ] {
            let wind = Wind {
                speed_m_s: 2.0,
                from_deg,
                share_frac: 1.0,
            };
            let by = drifting.moved(&head(4.5), wind).at + Point::new(-3.0, -4.0);
            assert!((by.x - east * distance_m).abs() < 1e-12, "{from_deg}");
            assert!((by.y - north * distance_m).abs() < 1e-12, "{from_deg}");
        }
    }

    #[test]
    fn shares_and_calm_add_up_and_keep_the_mean_speed() {
        let shares = [0.1, 0.0, 0.2, 0.05, 0.0, 0.15, 0.1, 0.0];
        let winds = Winds::of_shares(1.8, &shares);
        assert_eq!(winds.all().len(), 5);
        let mean: f64 = winds.all().iter().map(|w| w.share_frac * w.speed_m_s).sum();
        assert!((mean - 1.8).abs() < 1e-12);
        assert!((winds.calm_frac() - 0.4).abs() < 1e-12);
        assert_eq!(Winds::of_shares(1.8, &[0.0; SIDES]), Winds::default());
        assert_eq!(Winds::from_all_sides(0.0), Winds::default());
        assert_eq!(Winds::from_all_sides(1.0).calm_frac(), 0.0);
    }
}
