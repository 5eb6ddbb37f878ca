//! What is on the ground: parcels, turf areas, obstacles and existing heads, in longitude and
//! latitude, as the readers hand them over and before any of them gets a local frame.

use crate::issue::Issue;

/// A polygon in WGS 84 longitude and latitude \[degrees\], valid, closed rings, outer ring first.
pub type LonLatPolygon = geo::Polygon<f64>;

/// The value of an attribute.
#[derive(Debug, Clone, PartialEq)]
pub enum Attribute {
    /// Text; ids are always text.
    Text(String),
    /// A number, as the source gave it.
    Number(f64),
    /// Yes or no.
    Bool(bool),
}

impl Attribute {
    /// The value as text: whole numbers without a decimal point.
    #[must_use]
    pub fn text(&self) -> String {
        match self {
            Attribute::Text(text) => text.clone(),
            Attribute::Number(number) => format!("{number}"),
            Attribute::Bool(yes) => format!("{yes}"),
        }
    }

    /// The value as a number; text that is one counts.
    #[must_use]
    pub fn number(&self) -> Option<f64> {
        match self {
            Attribute::Text(text) => text.trim().parse().ok().filter(|x: &f64| x.is_finite()),
            Attribute::Number(number) => Some(*number),
            Attribute::Bool(_) => None,
        }
    }
}

/// The attributes of a feature in the order of the source; null values are left out.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Attributes(pub Vec<(String, Attribute)>);

impl Attributes {
    /// The attribute of this name, letter case ignored when there is no exact match.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<&Attribute> {
        self.0
            .iter()
            .find(|(key, _)| key == name)
            .or_else(|| {
                self.0
                    .iter()
                    .find(|(key, _)| key.eq_ignore_ascii_case(name))
            })
            .map(|(_, value)| value)
    }

    /// The attribute as text.
    #[must_use]
    pub fn text(&self, name: &str) -> Option<String> {
        self.get(name).map(Attribute::text)
    }

    /// The attribute as a number.
    #[must_use]
    pub fn number(&self, name: &str) -> Option<f64> {
        self.get(name).and_then(Attribute::number)
    }
}

/// How much sun a turf area gets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Exposure {
    /// Full sun.
    #[default]
    Sun,
    /// Shade for part of the day.
    Part,
    /// Shade.
    Shade,
}

/// The kind of grass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Grass {
    /// Cool-season grass.
    #[default]
    Cool,
    /// Warm-season grass.
    Warm,
}

/// A USDA texture class.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Texture {
    /// Sand.
    Sand,
    /// Loamy sand.
    LoamySand,
    /// Sandy loam.
    SandyLoam,
    /// Loam.
    Loam,
    /// Silt loam.
    SiltLoam,
    /// Silt.
    Silt,
    /// Sandy clay loam.
    SandyClayLoam,
    /// Clay loam.
    ClayLoam,
    /// Silty clay loam.
    SiltyClayLoam,
    /// Sandy clay.
    SandyClay,
    /// Silty clay.
    SiltyClay,
    /// Clay.
    Clay,
}

/// What a layer says about a soil.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Soil {
    /// Its texture; where only an intake rate is known, the class whose intake is nearest.
    pub texture: Texture,
    /// Its basic intake rate [mm/h], where it was measured.
    pub intake_mm_h: Option<f64>,
}

/// How a turf area slopes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Terrain {
    /// Median slope [%].
    pub slope_pct: f64,
    /// Slope that a tenth of the area passes [%]: banks hide in a mean.
    pub slope_p90_pct: f64,
    /// Direction down the slope [degrees clockwise from north]; `None` on the level.
    pub aspect_deg: Option<f64>,
}

/// Heights of the ground over a parcel: a grid of places in longitude and latitude, row by row from the
/// south, each row from the west.
#[derive(Debug, Clone, PartialEq)]
pub struct Relief {
    /// Longitude of the first column and latitude of the first row \[degrees\].
    pub origin_deg: (f64, f64),
    /// From column to column and from row to row \[degrees\].
    pub step_deg: (f64, f64),
    /// How many there are in a row; at least two.
    pub columns: usize,
    /// Heights above the zero of the elevation model \[m\], two rows at least.
    pub heights_m: Vec<f64>,
}

impl Relief {
    /// The height of the ground \[m\], bilinear between the four places around; outside of the grid that
    /// of its nearest edge.
    #[must_use]
    pub fn height_m(&self, lon_deg: f64, lat_deg: f64) -> f64 {
        let rows = self.heights_m.len() / self.columns;
        let along = |at_deg: f64, from_deg: f64, step_deg: f64, count: usize| {
            let at = ((at_deg - from_deg) / step_deg).clamp(0.0, (count - 1) as f64);
            let low = (at.floor() as usize).min(count - 2);
            (low, at - low as f64)
        };
        let (column, east) = along(lon_deg, self.origin_deg.0, self.step_deg.0, self.columns);
        let (row, north) = along(lat_deg, self.origin_deg.1, self.step_deg.1, rows);
        let height = |row: usize, column: usize| self.heights_m[row * self.columns + column];
        let across =
            |row: usize| height(row, column) * (1.0 - east) + height(row, column + 1) * east;
        across(row) * (1.0 - north) + across(row + 1) * north
    }
}

/// What the layers of the land say about a turf area.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Land {
    /// The soil under most of it; `None` when no layer says.
    pub soil: Option<Soil>,
    /// Its slope; `None` without an elevation model.
    pub terrain: Option<Terrain>,
    /// The climate zone in which most of it lies; `None` when no layer says.
    pub climate_zone: Option<String>,
}

/// One polygon of lawn.
#[derive(Debug, Clone, PartialEq)]
pub struct TurfArea {
    /// `<parcel_id>#<n>` in input order, or the turf layer's own id.
    pub id: String,
    /// The lawn.
    pub polygon: LonLatPolygon,
    /// Sun, part or shade; `None` when the layer does not say.
    pub exposure: Option<Exposure>,
    /// Cool or warm; `None` when the layer does not say.
    pub grass: Option<Grass>,
    /// Change of area by repair, as a fraction of the area as drawn; 0 when nothing was repaired.
    pub repair_area_frac: f64,
    /// Its soil, slope and climate zone.
    pub land: Land,
}

/// What stands or lies in the way of water.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ObstacleKind {
    /// Stops throw; water on it is counted.
    Building,
    /// Stops throw.
    Wall,
    /// Water on it is counted.
    Pavement,
    /// Pond or pool; water on it is counted with other overspray.
    Water,
    /// Planting bed.
    Bed,
    /// Tree crown; does not stop throw at nozzle height.
    Canopy,
    /// Tree trunk; stops throw, and no head within 2 m.
    Trunk,
}

impl ObstacleKind {
    /// Whether water cannot pass it.
    #[must_use]
    pub fn stops_throw(self) -> bool {
        matches!(
            self,
            ObstacleKind::Building | ObstacleKind::Wall | ObstacleKind::Trunk
        )
    }
}

/// One obstacle polygon.
#[derive(Debug, Clone, PartialEq)]
pub struct Obstacle {
    /// What it is.
    pub kind: ObstacleKind,
    /// Where it is.
    pub polygon: LonLatPolygon,
    /// Its height \[m\], when given.
    pub height_m: Option<f64>,
}

/// The state in which an existing head was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Condition {
    /// Works as it should.
    #[default]
    Ok,
    /// Below grade.
    Sunk,
    /// Not plumb.
    Tilted,
    /// Screen or nozzle blocked, or grass in the stream.
    Blocked,
    /// Loses water at the body.
    Leaking,
    /// Does not work.
    Broken,
    /// Throws where no turf is.
    Misaimed,
}

/// One head that is in the ground today. Values that the layer does not give are `None`.
#[derive(Debug, Clone, PartialEq)]
pub struct ExistingHead {
    /// Longitude and latitude \[degrees\].
    pub position: geo::Point<f64>,
    /// Name of its nozzle family.
    pub family: Option<String>,
    /// Throw \[m\].
    pub radius_m: Option<f64>,
    /// Sweep of the arc \[degrees\].
    pub arc_deg: Option<f64>,
    /// Start of the arc [degrees clockwise from north].
    pub azimuth_deg: Option<f64>,
    /// Pressure at the head \[kPa\].
    pub pressure_kpa: Option<f64>,
    /// Flow [L/min].
    pub flow_lpm: Option<f64>,
    /// The station that feeds it.
    pub station: Option<String>,
    /// Whether its body regulates pressure.
    pub regulated: Option<bool>,
    /// Height of the body \[mm\].
    pub body_mm: Option<f64>,
    /// Its condition; `None` when nobody looked.
    pub condition: Option<Condition>,
}

/// What a point of the water supply is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SupplyKind {
    /// Measures what the parcel draws.
    Meter,
    /// Where irrigation branches off.
    Connection,
    /// Opens a station.
    Valve,
    /// Opens valves by the clock.
    Controller,
    /// Raises the pressure.
    Pump,
}

/// One point of the water supply. Values that the layer does not give are `None`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SupplyPoint {
    /// What it is.
    pub kind: SupplyKind,
    /// Longitude and latitude \[degrees\].
    pub position: geo::Point<f64>,
    /// Most that may be drawn [L/min].
    pub flow_lpm: Option<f64>,
    /// Pressure without flow \[kPa\].
    pub static_kpa: Option<f64>,
    /// Pressure while a station runs, at the nearest station; at a pump, behind it \[kPa\].
    pub near_kpa: Option<f64>,
    /// The same at the farthest station \[kPa\].
    pub far_kpa: Option<f64>,
    /// Nominal size \[mm\].
    pub size_mm: Option<f64>,
}

/// What a water meter counted in one period.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeterRead {
    /// First day, in days since 1 January 1970.
    pub first_day: i32,
    /// Days of the period.
    pub days: u32,
    /// Volume \[m³\].
    pub m3: f64,
}

impl MeterRead {
    /// The day after the last.
    #[must_use]
    pub fn end_day(&self) -> i32 {
        self.first_day + self.days as i32
    }
}

/// One parcel with everything that the layers say about it.
#[derive(Debug, Clone, PartialEq)]
pub struct Parcel {
    /// 0-based position in the run: input order.
    pub index: u64,
    /// The id, as text.
    pub id: String,
    /// The parcel's outline; empty when no parcel layer was given.
    pub outline: Vec<LonLatPolygon>,
    /// Its attributes in the parcel layer (or of its first turf feature when there is none).
    pub attributes: Attributes,
    /// Its turf areas in input order.
    pub turf: Vec<TurfArea>,
    /// Obstacles on it or within reach of its heads.
    pub obstacles: Vec<Obstacle>,
    /// Existing heads, in input order, each with the index of the turf area that it stands on.
    pub heads: Vec<(usize, ExistingHead)>,
    /// Its water supply, in input order.
    pub supply: Vec<SupplyPoint>,
    /// The heights of its ground; `None` without an elevation model that covers most of it.
    pub relief: Option<Relief>,
    /// What its water meter counted, in order and without overlaps.
    pub meter: Vec<MeterRead>,
    /// What the readers mended, or could not use, of this parcel.
    pub issues: Vec<Issue>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heights_are_bilinear_and_end_at_the_edge() {
        // A plane and a saddle are both met between the places.
        let relief = |height_m: fn(f64, f64) -> f64| Relief {
            origin_deg: (5.0, 40.0),
            step_deg: (0.5, 0.25),
            columns: 4,
            heights_m: (0..12)
                .map(|i| height_m(f64::from(i % 4), f64::from(i / 4)))
                .collect(),
        };
        let plane = relief(|east, north| 100.0 + 3.0 * east - 2.0 * north);
        let saddle = relief(|east, north| east * north);
        for (east, north) in [(0.0, 0.0), (0.3, 0.9), (1.5, 1.5), (2.9, 0.1), (3.0, 2.0)] {
            let (lon, lat) = (5.0 + 0.5 * east, 40.0 + 0.25 * north);
            let found = plane.height_m(lon, lat);
            assert!((found - (100.0 + 3.0 * east - 2.0 * north)).abs() < 1e-9);
            assert!((saddle.height_m(lon, lat) - east * north).abs() < 1e-9);
        }
        assert_eq!(plane.height_m(4.0, 39.0), 100.0);
        assert_eq!(plane.height_m(9.0, 41.0), 100.0 + 9.0 - 4.0);
    }
}
