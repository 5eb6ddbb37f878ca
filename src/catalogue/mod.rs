//! Nozzle families: what can be bought, and what it does at which setting.

mod hardware;
mod head;
mod parse;
mod profile;
mod scatter;

pub use hardware::{CurvePoint, Hardware, Part, PipeSize, ValveSize};
pub use head::{Head, Pattern, Role};
pub use profile::{BadProfile, Profile};
pub use scatter::{OwnScatter, Scatter, ScatterKind};

use crate::units::{Flow, Length, Pressure, Rate};

/// The embedded catalogue, in the same TOML that a user writes.
pub const GENERIC_TOML: &str = include_str!("generic.toml");

/// The families of one catalogue, in its order.
#[derive(Debug, Clone, PartialEq)]
pub struct Catalogue {
    /// The catalogue's title.
    pub title: String,
    /// Its families.
    pub families: Vec<Family>,
    /// Pipes, bodies, valves and small parts.
    pub hardware: Hardware,
}

/// Nozzles that may share a station: same stream, same rate, same rated pressure.
#[derive(Debug, Clone, PartialEq)]
pub struct Family {
    /// Name, e.g. `rotary-slow`.
    pub name: String,
    /// What leaves the nozzle, in words.
    pub stream: String,
    /// The pressure at which throws and flows hold.
    pub rated: Pressure,
    /// Lowest and highest pressure of proper work.
    pub working: (Pressure, Pressure),
    /// Exponent x of q ∝ P^x (0.5 for a fixed orifice).
    pub flow_exponent: f64,
    /// Exponent e of R ∝ P^e below the rated pressure.
    pub throw_exponent: f64,
    /// Flow and throw at several pressures, by rising pressure; empty where the exponents hold.
    pub curve: Vec<CurvePoint>,
    /// The radial profile of every nozzle of the family.
    pub profile: Profile,
    /// Angle above the horizontal at which the stream leaves \[degrees\].
    pub trajectory_deg: f64,
    /// Typical drop diameter \[mm\].
    pub drop_mm: f64,
    /// How uneven its water is in the field, over the drawing.
    pub scatter: Scatter,
    /// Arcs that can be set.
    pub sweeps: Sweeps,
    /// What happens to the flow when the throw is shortened.
    pub flow_follows: FlowFollows,
    /// Cost of one nozzle in the program's currency.
    pub unit_cost_cur: f64,
    /// What a body costs that the family brings itself, where its nozzles do not go on the common
    /// spray body; `None` where they do.
    pub own_body_cur: Option<f64>,
    /// Nozzles by rising throw.
    pub nozzles: Vec<Nozzle>,
    /// Strip patterns.
    pub strips: Vec<Strip>,
}

/// Arcs that a family offers: every `step_deg` from `from_deg` to `to_deg`, and perhaps a full
/// circle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sweeps {
    /// Smallest arc \[degrees\].
    pub from_deg: u16,
    /// Largest part circle \[degrees\].
    pub to_deg: u16,
    /// Step \[degrees\].
    pub step_deg: u16,
    /// Whether there is a full circle.
    pub full_circle: bool,
}

/// What the flow does when the throw is set shorter than rated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FlowFollows {
    /// Flow stays as rated; the rate rises as (R_rated/R)².
    Rated,
    /// Flow falls with R², so the rate stays as rated.
    Throw,
}

/// One nozzle: a range of throws and the flow that goes with it.
#[derive(Debug, Clone, PartialEq)]
pub struct Nozzle {
    /// Name, e.g. `slow-80`.
    pub name: String,
    /// Shortest throw that it can be set to.
    pub shortest: Length,
    /// Rated throw, which is also its longest.
    pub longest: Length,
    /// Flow of a full circle at the rated throw and pressure.
    pub full_circle: Flow,
}

/// Where the head of a strip pattern stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StripKind {
    /// On the middle of a short side.
    End,
    /// On the middle of a long side.
    Side,
    /// At the centre.
    Centre,
}

/// A strip pattern: a rectangle watered at a uniform rate. Its sides can be set shorter than rated;
/// they change apart from one another.
#[derive(Debug, Clone, PartialEq)]
pub struct Strip {
    /// Name, e.g. `slow-side-strip`.
    pub name: String,
    /// Where the head stands.
    pub kind: StripKind,
    /// Shortest and rated long side of the rectangle.
    pub length: (Length, Length),
    /// Shortest and rated short side of the rectangle.
    pub width: (Length, Length),
    /// Flow at the rated pressure and the rated sides.
    pub flow: Flow,
}

impl Catalogue {
    /// The embedded families.
    ///
    /// # Panics
    /// Never: a test reads the embedded text.
    #[must_use]
    #[expect(
        clippy::expect_used,
        reason = "the embedded text is constant and read by a test"
    )]
    pub fn generic() -> Catalogue {
        Catalogue::parse(GENERIC_TOML, "embedded catalogue")
            .expect("the embedded catalogue is valid")
    }

    /// The family of this name.
    #[must_use]
    pub fn family(&self, name: &str) -> Option<&Family> {
        self.families.iter().find(|family| family.name == name)
    }
}

impl Family {
    /// The shortest throw of the family \[m\].
    #[must_use]
    pub fn shortest_m(&self) -> f64 {
        self.nozzles
            .iter()
            .map(|nozzle| nozzle.shortest.m())
            .fold(f64::INFINITY, f64::min)
    }

    /// The longest throw of the family \[m\].
    #[must_use]
    pub fn longest_m(&self) -> f64 {
        self.nozzles
            .iter()
            .map(|nozzle| nozzle.longest.m())
            .fold(0.0, f64::max)
    }

    /// The nozzle to fit for a throw: the one with the shortest rated throw that still reaches
    /// it, so that the throw is shortened as little as possible. A throw beyond the family gives
    /// its nearest nozzle.
    #[must_use]
    pub fn nozzle_for(&self, throw_m: f64) -> usize {
        self.nozzles
            .iter()
            .position(|nozzle| nozzle.longest.m() >= throw_m - 1e-9)
            .unwrap_or(self.nozzles.len() - 1) // a family has at least one nozzle
    }

    /// The flow of a nozzle set to a throw and an arc.
    ///
    /// `q = q_full · arc/360`, times (R/R_rated)² where the flow follows the throw.
    #[must_use]
    pub fn flow(&self, nozzle: usize, throw_m: f64, sweep_deg: f64) -> Flow {
        let nozzle = &self.nozzles[nozzle]; // indices come from `nozzle_for`
        let shortening = throw_m / nozzle.longest.m();
        let factor = match self.flow_follows {
            FlowFollows::Rated => 1.0,
            FlowFollows::Throw => shortening * shortening,
        };
        nozzle.full_circle * (factor * sweep_deg / 360.0)
    }

    /// The flow of a strip set to a length and a width \[m\]: as rated, or in proportion to the area
    /// where the flow follows the throw.
    #[must_use]
    pub fn strip_flow(&self, strip: usize, length_m: f64, width_m: f64) -> Flow {
        let strip = &self.strips[strip]; // indices come from a search of `strips`
        match self.flow_follows {
            FlowFollows::Rated => strip.flow,
            FlowFollows::Throw => {
                strip.flow * (length_m * width_m / (strip.length.1.m() * strip.width.1.m()))
            }
        }
    }

    /// The family's precipitation rate at square head-to-head spacing and rated throw,
    /// 60 · q₃₆₀ / R² with q in L/min: the mean over its nozzles.
    #[must_use]
    pub fn rated_rate(&self) -> Rate {
        let sum: f64 = self
            .nozzles
            .iter()
            .map(|nozzle| nozzle.square_rate_mm_h())
            .sum();
        Rate::of_m_s(sum / self.nozzles.len() as f64 / 3.6e6)
    }
}

impl Strip {
    /// Rate over the rated rectangle, 60 q / (l w) with q in L/min \[mm/h\].
    #[must_use]
    pub fn rate_mm_h(&self) -> f64 {
        60.0 * self.flow.lpm() / (self.length.1.m() * self.width.1.m())
    }
}

impl Nozzle {
    /// Rate at square head-to-head spacing \[mm/h\].
    #[must_use]
    pub fn square_rate_mm_h(&self) -> f64 {
        60.0 * self.full_circle.lpm() / (self.longest.m() * self.longest.m())
    }
}
