//! The ties of heads, as a crew reads them: lettered points with their places, and edges by name.

use super::ties::{FixedPoint, Mark, Surroundings, Tie, point_name, ties};
use crate::crs::Frame;
use crate::plan::ParcelPlan;
use crate::shape::{Outline, Point};
use crate::site::{LonLatPolygon, ObstacleKind};

/// What stands on and around a parcel, in its frame.
pub(super) struct Ground {
    frame: Frame,
    obstacles: Vec<(ObstacleKind, Outline)>,
    /// The parcel; empty without a parcel layer.
    within: Vec<Outline>,
}

/// How a head is found.
pub(super) struct Tied {
    /// The fixed points A and B; one where an offset is set out from an edge.
    pub(super) held: [Option<Held>; 2],
    /// The edge of an offset.
    pub(super) edge: Option<AlongEdge>,
}

/// A fixed point that a head is tied to.
pub(super) struct Held {
    name: String,
    mark: Mark,
    /// Longitude and latitude.
    pub(super) position: (f64, f64),
    pub(super) tape_m: Option<f64>,
}

/// A distance along an edge, and square from it.
#[derive(Clone, Copy)]
pub(super) struct AlongEdge {
    mark: Mark,
    bearing_deg: f64,
    pub(super) along_m: f64,
    pub(super) left_m: f64,
}

impl Ground {
    /// The surroundings of a parcel; `None` without a frame.
    pub(super) fn of(parcel: &ParcelPlan) -> Option<Ground> {
        let frame = parcel.frame?;
        let obstacles = parcel.obstacles.iter();
        let drawn = |polygon: &LonLatPolygon| frame.outline(polygon);
        Some(Ground {
            frame,
            obstacles: obstacles
                .filter_map(|own| Some((own.kind, drawn(&own.polygon)?)))
                .collect(),
            within: parcel.outline.iter().filter_map(drawn).collect(),
        })
    }

    /// The ties of the heads of a turf area, in their order; its points are numbered on from
    /// `numbered`. Empty where the turf area cannot be drawn.
    pub(super) fn tied(
        &self,
        turf: &LonLatPolygon,
        heads: &[Point],
        numbered: &mut usize,
    ) -> Vec<Tied> {
        let Some(turf) = self.frame.outline(turf) else {
            return Vec::new();
        };
        let others = self.obstacles.iter();
        let others = others.filter_map(|(kind, outline)| Some((mark(*kind)?, outline)));
        let solid = self.obstacles.iter().filter(|(kind, _)| is_solid(*kind));
        let found = ties(
            heads,
            &Surroundings {
                marked: others.chain([(Mark::Turf, &turf)]).collect(),
                solid: solid.map(|(_, outline)| outline).collect(),
                within: &self.within,
            },
        );
        let first = *numbered;
        *numbered += found.points.len();
        let held = |at: usize, tape_m: Option<f64>| {
            let point = found.points.get(at)?;
            Some(self.held(point, point_name(first + at), tape_m))
        };
        let tied = |tie: &Tie| match *tie {
            Tie::Tapes(tapes) => Tied {
                held: tapes.map(|(at, tape_m)| held(at, Some(tape_m))),
                edge: None,
            },
            Tie::Offset {
                from,
                mark,
                bearing_deg,
                along_m,
                left_m,
            } => Tied {
                held: [held(from, None), None],
                edge: Some(AlongEdge {
                    mark,
                    bearing_deg,
                    along_m,
                    left_m,
                }),
            },
            Tie::Nothing => Tied {
                held: [None, None],
                edge: None,
            },
        };
        found.of.iter().map(tied).collect()
    }

    fn held(&self, point: &FixedPoint, name: String, tape_m: Option<f64>) -> Held {
        Held {
            name,
            mark: point.mark,
            position: self.frame.to_lonlat(point.at),
            tape_m,
        }
    }
}

/// Whether no tape passes it.
fn is_solid(kind: ObstacleKind) -> bool {
    matches!(
        kind,
        ObstacleKind::Building | ObstacleKind::Wall | ObstacleKind::Trunk
    )
}

/// Whose corners a tape can be held to.
fn mark(kind: ObstacleKind) -> Option<Mark> {
    match kind {
        ObstacleKind::Building => Some(Mark::Building),
        ObstacleKind::Wall => Some(Mark::Wall),
        ObstacleKind::Pavement => Some(Mark::Pavement),
        ObstacleKind::Water | ObstacleKind::Bed | ObstacleKind::Canopy | ObstacleKind::Trunk => {
            None
        }
    }
}

impl Tied {
    /// By what: `tapes`, `offset` or `coordinates`.
    pub(super) fn word(&self) -> &'static str {
        match (&self.held, &self.edge) {
            ([Some(_), Some(_)], _) => "tapes",
            (_, Some(_)) => "offset",
            _ => "coordinates",
        }
    }
}

impl Held {
    /// `A building`.
    pub(super) fn text(&self) -> String {
        format!("{} {}", self.name, self.mark.text())
    }
}

impl AlongEdge {
    /// `turf edge north-east`: of what, and which way it runs from the fixed point.
    pub(super) fn text(self) -> String {
        const WAYS: [&str; 8] = [
            "north",
            "north-east",
            "east",
            "south-east",
            "south",
            "south-west",
            "west",
            "north-west",
        ];
        let way = WAYS[(self.bearing_deg / 45.0).round() as usize % 8]; // below 8
        format!("{} edge {way}", self.mark.text())
    }
}
