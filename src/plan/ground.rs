//! A parcel's layers in its own frame.

use crate::assumptions::{Assumptions, Key};
use crate::crs::Frame;
use crate::issue::{Code, Issue};
use crate::place::{self, Around, Standing, Weave};
use crate::shape::Outline;
use crate::site::{LonLatPolygon, ObstacleKind, Parcel};
use crate::uniformity::Surroundings;

/// Largest span of a parcel's turf in one frame \[m\]; beyond it lengths are no longer true.
const LARGEST_SPAN_M: f64 = 5_000.0;
/// The frame's origin is kept to this fraction of a degree.
const PER_DEGREE: f64 = 1e7;
/// Farthest latitude of a frame's origin \[degrees\].
const FARTHEST_LAT_DEG: f64 = 89.0;

/// What a parcel looks like in metres.
pub(super) struct Ground {
    pub(super) frame: Frame,
    /// One outline for each turf area; `None` where it has no area.
    pub(super) turf: Vec<Option<Outline>>,
    parcel: Vec<Outline>,
    pavements: Vec<Outline>,
    waters: Vec<Outline>,
    /// What stops the throw: buildings and walls first, then trunks.
    blocks: Vec<Outline>,
    /// How many of the blocks are buildings or walls.
    walls: usize,
    /// Which of those are walls.
    is_wall: Vec<bool>,
    has_obstacle_layer: bool,
}

impl Ground {
    /// Brings a parcel into the frame about the middle of its turf's box.
    ///
    /// # Errors
    /// `GE09` when the turf spans more than 5 km or lies at a pole.
    pub(super) fn of(parcel: &Parcel) -> Result<Ground, Issue> {
        let (low, high) = lonlat_box(parcel);
        let held = |degrees: f64| (degrees * PER_DEGREE).round() / PER_DEGREE;
        let (lon0, lat0) = (held((low.0 + high.0) / 2.0), held((low.1 + high.1) / 2.0));
        if lat0.abs() > FARTHEST_LAT_DEG {
            return Err(Issue::new(Code::GE09, format!("latitude {lat0}")));
        }
        let frame = Frame::about(lon0, lat0);
        let span_m = frame
            .to_plane(low.0, low.1)
            .distance(frame.to_plane(high.0, high.1));
        if span_m > LARGEST_SPAN_M || high.0 - low.0 > 90.0 {
            return Err(Issue::new(Code::GE09, format!("it spans {span_m:.0} m")));
        }
        let outlines = |polygons: &mut dyn Iterator<Item = &LonLatPolygon>| -> Vec<Outline> {
            polygons
                .filter_map(|polygon| frame.outline(polygon))
                .collect()
        };
        let of_kind = |wanted: &dyn Fn(ObstacleKind) -> bool| {
            outlines(
                &mut parcel
                    .obstacles
                    .iter()
                    .filter(|o| wanted(o.kind))
                    .map(|o| &o.polygon),
            )
        };
        let (mut blocks, is_wall): (Vec<Outline>, Vec<bool>) = parcel
            .obstacles
            .iter()
            .filter(|o| o.kind.stops_throw() && o.kind != ObstacleKind::Trunk)
            .filter_map(|o| Some((frame.outline(&o.polygon)?, o.kind == ObstacleKind::Wall)))
            .unzip();
        let walls = blocks.len();
        blocks.extend(of_kind(&|kind| kind == ObstacleKind::Trunk));
        Ok(Ground {
            frame,
            turf: parcel
                .turf
                .iter()
                .map(|turf| frame.outline(&turf.polygon))
                .collect(),
            parcel: outlines(&mut parcel.outline.iter()),
            pavements: of_kind(&|kind| kind == ObstacleKind::Pavement),
            waters: of_kind(&|kind| kind == ObstacleKind::Water),
            blocks,
            walls,
            is_wall,
            has_obstacle_layer: !parcel.obstacles.is_empty(),
        })
    }

    /// Area of the parcel \[m²\]; `None` without a parcel layer.
    pub(super) fn parcel_m2(&self) -> Option<f64> {
        (!self.parcel.is_empty()).then(|| self.parcel.iter().map(Outline::area_m2).sum())
    }

    /// One of the turf areas as whoever places heads sees it.
    pub(super) fn lawn<'a>(
        &'a self,
        outline: &'a Outline,
        assumptions: &Assumptions,
    ) -> place::Site<'a> {
        let (walls, trunks) = self.blocks.split_at(self.walls);
        place::Site {
            outline,
            diameter_m: place::inscribed_diameter_m(outline),
            around: Around {
                blocks: &self.blocks,
                walls,
                trunks,
                pavements: &self.pavements,
                waters: &self.waters,
                parcel: &self.parcel,
            },
            rules: Standing {
                pavement_offset_m: assumptions.number(Key::PlaceOffsetPavement),
                wall_offset_m: assumptions.number(Key::PlaceOffsetWall),
                trunk_clearance_m: assumptions.number(Key::PlaceTrunkClearance),
                pavement_setback_m: assumptions.number(Key::PlaceOverheadSetback),
                spacing_frac: spacing_frac(assumptions),
                weave: Weave::Triangular,
            },
        }
    }

    /// Buildings and walls.
    pub(super) fn walls(&self) -> &[Outline] {
        &self.blocks[..self.walls]
    }

    /// Buildings alone.
    pub(super) fn buildings(&self) -> impl Iterator<Item = &Outline> {
        let blocks = self.walls().iter().zip(&self.is_wall);
        blocks.filter_map(|(block, is_wall)| (!is_wall).then_some(block))
    }

    /// Walls in the garden alone.
    pub(super) fn garden_walls(&self) -> impl Iterator<Item = &Outline> {
        let blocks = self.walls().iter().zip(&self.is_wall);
        blocks.filter_map(|(block, is_wall)| is_wall.then_some(block))
    }

    /// The outlines of the parcel; none without a parcel layer.
    pub(super) fn parcel(&self) -> &[Outline] {
        &self.parcel
    }

    /// Tree trunks.
    pub(super) fn trunks(&self) -> &[Outline] {
        &self.blocks[self.walls..]
    }

    /// What the measures of uniformity need to know of the surroundings.
    pub(super) fn surroundings(&self) -> Surroundings<'_> {
        Surroundings {
            pavements: self.has_obstacle_layer.then_some(self.pavements.as_slice()),
            blocks: self.has_obstacle_layer.then_some(self.blocks.as_slice()),
            parcel: (!self.parcel.is_empty()).then_some(self.parcel.as_slice()),
        }
    }
}

/// Largest spacing as a share of the throw.
fn spacing_frac(assumptions: &Assumptions) -> f64 {
    let by_wind = match assumptions.choice(Key::PlaceWind) {
        "mean" | "rose" => place::spacing_in_wind_frac(assumptions.number(Key::WaterWind)),
        _ => 1.0,
    };
    by_wind * assumptions.number(Key::PlaceWindSpacing)
}

/// South-west and north-east corner of all turf \[degrees\].
fn lonlat_box(parcel: &Parcel) -> ((f64, f64), (f64, f64)) {
    let mut low = (f64::INFINITY, f64::INFINITY);
    let mut high = (f64::NEG_INFINITY, f64::NEG_INFINITY);
    for position in parcel
        .turf
        .iter()
        .flat_map(|turf| turf.polygon.exterior().coords())
    {
        low = (low.0.min(position.x), low.1.min(position.y));
        high = (high.0.max(position.x), high.1.max(position.y));
    }
    (low, high)
}
