//! Everything that the folder of a plan holds about one parcel.

use crate::crs::Frame;
use crate::issue::Issue;
use crate::read::planned::{PlanFolder, PlannedRow};
use crate::shape::{Outline, Point};
use serde_json::Value;

use super::shortened;

/// Two heads within this distance are one \[m\]: coordinates are written to a millimetre.
const SAME_PLACE_M: f64 = 0.02;

/// What a folder holds about a parcel.
pub struct Dossier {
    /// Its id.
    pub id: String,
    /// Its row of `parcels`.
    pub parcel: PlannedRow,
    /// Its turf areas.
    pub areas: Vec<Area>,
    /// Stations of recommended scenarios.
    pub stations: Vec<PlannedRow>,
    /// Pipes that feed those stations.
    pub laterals: Vec<PlannedRow>,
    /// Its rows of `materials`.
    pub materials: Vec<PlannedRow>,
    /// Its rows of `walk`.
    pub walk: Vec<PlannedRow>,
    /// Assumption on new bodies: `regulated` or not.
    pub bodies: String,
    frame: Frame,
}

/// A turf area as found and as recommended.
pub struct Area {
    /// Its id.
    pub id: String,
    /// Its row of `turf` as found.
    pub found: Option<PlannedRow>,
    /// Its row of `turf` as recommended.
    pub best: Option<PlannedRow>,
    /// Its schedule as recommended.
    pub schedule: Option<PlannedRow>,
    /// Heads of the recommended scenario.
    pub heads: Vec<PlannedRow>,
    /// Heads in the ground that are capped or taken out \[m\].
    pub capped: Vec<Point>,
    /// Ground that they water.
    pub throws: Vec<PlannedRow>,
    /// The lawn \[m\].
    pub outlines: Vec<Outline>,
    /// Points that tapes are held to, and their names.
    pub fixed: Vec<(String, Point)>,
}

impl Dossier {
    /// Reads a parcel.
    ///
    /// # Errors
    /// `PA02` when the plan has no such parcel, `PA03` for what cannot be read.
    pub fn read(folder: &PlanFolder, id: &str) -> Result<Dossier, Issue> {
        let parcel = folder.parcel(id)?;
        let turf = folder.layer("turf", id)?;
        let first = turf.iter().find_map(|row| {
            let (lon, lat) = (row.number("lon0")?, row.number("lat0")?);
            Some(Frame::about(lon, lat))
        });
        // Without turf there is nothing to draw in a frame.
        let frame = first.unwrap_or_else(|| Frame::about(0.0, 0.0));
        let recommended = |rows: Vec<PlannedRow>| -> Vec<PlannedRow> {
            rows.into_iter()
                .filter(|row| row.is("recommended"))
                .collect()
        };
        let all_heads = folder.layer("heads", id)?;
        let in_ground: Vec<PlannedRow> = all_heads
            .iter()
            .filter(|row| row.text("scenario") == "as-found")
            .cloned()
            .collect();
        let heads = recommended(all_heads);
        let throws = recommended(folder.layer("throws", id)?);
        let schedules = recommended(folder.table("schedule", id)?);
        let stations = recommended(folder.layer("stations", id)?);
        let mut laterals = folder.layer("laterals", id)?;
        laterals.retain(|pipe| {
            let fed = pipe.text("station_id");
            stations
                .iter()
                .any(|station| station.text("station_id") == fed)
        });
        let mut areas: Vec<Area> = Vec::new();
        for row in turf {
            let turf_id = row.text("turf_id").to_owned();
            let at = areas.iter().position(|area| area.id == turf_id);
            let area = match at {
                Some(at) => &mut areas[at], // just found
                None => {
                    areas.push(Area::empty(turf_id));
                    let last = areas.len() - 1;
                    &mut areas[last]
                }
            };
            if row.text("scenario") == "as-found" {
                area.found = Some(row.clone());
            }
            if row.is("recommended") {
                area.outlines = outlines(&frame, &row.geometry);
                area.best = Some(row);
            }
        }
        for area in &mut areas {
            let own = |rows: &[PlannedRow]| -> Vec<PlannedRow> {
                let own = rows.iter().filter(|row| row.text("turf_id") == area.id);
                own.cloned().collect()
            };
            area.heads = own(&heads);
            area.throws = own(&throws);
            area.schedule = own(&schedules).pop();
            if area.outlines.is_empty() {
                let found = area.found.as_ref();
                area.outlines = found.map_or_else(Vec::new, |row| outlines(&frame, &row.geometry));
            }
        }
        let walk = folder.table("walk", id)?;
        for area in &mut areas {
            let is_own = |row: &&PlannedRow| row.text("turf_id") == area.id;
            if walk
                .iter()
                .filter(is_own)
                .any(|row| row.text("do") == "cap")
            {
                area.capped = left_over(&frame, in_ground.iter().filter(is_own), &area.heads);
            }
            area.fixed = fixed_points(&frame, walk.iter().filter(is_own));
        }
        let bodies = folder.assumption("hardware.new_bodies");
        Ok(Dossier {
            id: id.to_owned(),
            parcel,
            areas,
            stations,
            laterals,
            materials: folder.table("materials", id)?,
            walk,
            bodies: bodies.and_then(Value::as_str).unwrap_or("").to_owned(),
            frame,
        })
    }

    /// A place in the parcel's frame.
    pub(super) fn point(&self, position: &Value) -> Option<Point> {
        point(&self.frame, position)
    }

    /// The parcel's outline \[m\]; empty without a parcel layer.
    pub(super) fn outline(&self) -> Vec<Outline> {
        outlines(&self.frame, &self.parcel.geometry)
    }

    /// A polygon of one of its rows \[m\].
    pub(super) fn outlines_of(&self, row: &PlannedRow) -> Vec<Outline> {
        outlines(&self.frame, &row.geometry)
    }

    /// A turf area by its id.
    #[must_use]
    pub fn area(&self, turf_id: &str) -> Option<&Area> {
        self.areas.iter().find(|area| area.id == turf_id)
    }

    /// The short name of a head: its number, with that of its turf area where there are several.
    pub(super) fn head_label(&self, turf_id: &str, head_id: &str) -> String {
        if head_id.is_empty() {
            return "×".to_owned();
        }
        let number = head_id.rsplit('/').next().unwrap_or("");
        let area = self.areas.iter().position(|area| area.id == turf_id);
        match area {
            Some(at) if self.areas.len() > 1 => format!("{}.{number}", at + 1),
            _ => number.to_owned(),
        }
    }

    /// Whether a clock is set anew anywhere on it.
    #[must_use]
    pub fn has_clock(&self) -> bool {
        self.areas.iter().any(|area| area.schedule.is_some())
    }

    /// Whether something is done to a head.
    pub(super) fn is_walked(&self, head_id: &str) -> bool {
        self.walk.iter().any(|row| row.text("head_id") == head_id)
    }

    /// Whether something is done on a turf area: to its hardware or to its clock.
    pub(super) fn is_worked(&self, area: &Area) -> bool {
        area.schedule.is_some() || self.walk.iter().any(|row| row.text("turf_id") == area.id)
    }

    /// The stations that feed a turf area on which something is done.
    pub(super) fn worked_stations(&self) -> impl Iterator<Item = &PlannedRow> {
        let worked: Vec<&str> = self
            .areas
            .iter()
            .filter(|area| self.is_worked(area))
            .map(|area| area.id.as_str())
            .collect();
        let feeds = move |row: &&PlannedRow| {
            let mut ids = row.text("turf_ids").split(';');
            ids.any(|id| worked.contains(&id))
        };
        self.stations.iter().filter(feeds)
    }

    /// The scenarios of the stations that are worked on, where there is more than one: each numbers its own
    /// stations from 1, so that the number alone would name two valves.
    pub(super) fn mixed_scenarios(&self) -> Vec<&str> {
        let mut scenarios: Vec<&str> = Vec::new();
        for row in self.worked_stations() {
            let scenario = row.text("scenario");
            if !scenarios.contains(&scenario) {
                scenarios.push(scenario);
            }
        }
        if scenarios.len() < 2 {
            scenarios.clear();
        }
        scenarios
    }

    /// The letter that stands behind the stations of a scenario; empty where numbers do.
    pub(super) fn letter(&self, scenario: &str) -> String {
        let mixed = self.mixed_scenarios();
        let mut letters = mixed.iter().zip('a'..='z');
        let own = letters.find(|(other, _)| **other == scenario);
        own.map_or_else(String::new, |(_, letter)| letter.to_string())
    }

    /// `S3`, or `S3b` where areas are changed in different ways, with the name in the field where somebody gave
    /// one.
    pub(super) fn station_name(&self, row: &PlannedRow) -> String {
        let number = row.text("station_id").rsplit('/').next().unwrap_or("");
        let letter = self.letter(row.text("scenario"));
        match row.text("name") {
            "" => format!("{number}{letter}"),
            name => format!("{number}{letter} ({})", shortened(name)),
        }
    }

    /// Whether hardware changes anywhere on it.
    #[must_use]
    pub fn has_works(&self) -> bool {
        self.walk.iter().any(|row| row.text("do") != "reset clock")
    }
}

impl Area {
    fn empty(id: String) -> Area {
        Area {
            id,
            found: None,
            best: None,
            schedule: None,
            heads: Vec::new(),
            capped: Vec::new(),
            throws: Vec::new(),
            outlines: Vec::new(),
            fixed: Vec::new(),
        }
    }
}

/// The fixed points that rows of `walk` name, each once, in the order of their names.
fn fixed_points<'a>(
    frame: &Frame,
    rows: impl Iterator<Item = &'a PlannedRow>,
) -> Vec<(String, Point)> {
    let mut points: Vec<(String, Point)> = Vec::new();
    for row in rows {
        for which in ["a", "b"] {
            let place = |axis: &str| row.number(&format!("tie_{which}_{axis}_deg"));
            let name = row.text(&format!("tie_{which}"));
            let name = name.split(' ').next().unwrap_or("");
            if let (Some(lon), Some(lat)) = (place("lon"), place("lat"))
                && !points.iter().any(|(own, _)| own == name)
            {
                points.push((name.to_owned(), frame.to_plane(lon, lat)));
            }
        }
    }
    points.sort_by(|a, b| a.0.len().cmp(&b.0.len()).then_with(|| a.0.cmp(&b.0)));
    points
}

/// Heads of the first list that stand where none of the second stands \[m\].
fn left_over<'a>(
    frame: &Frame,
    found: impl Iterator<Item = &'a PlannedRow>,
    planned: &[PlannedRow],
) -> Vec<Point> {
    let place = |row: &PlannedRow| point(frame, &row.geometry["coordinates"]);
    let planned: Vec<Point> = planned.iter().filter_map(place).collect();
    let mut found: Vec<Point> = found.filter_map(place).collect();
    found.retain(|at| {
        planned
            .iter()
            .all(|other| at.distance(*other) > SAME_PLACE_M)
    });
    found
}

fn point(frame: &Frame, position: &Value) -> Option<Point> {
    let lon = position.get(0)?.as_f64()?;
    let lat = position.get(1)?.as_f64()?;
    Some(frame.to_plane(lon, lat))
}

fn outlines(frame: &Frame, geometry: &Value) -> Vec<Outline> {
    let coordinates = &geometry["coordinates"];
    let polygons: Vec<&Value> = match geometry["type"].as_str() {
        Some("Polygon") => vec![coordinates],
        Some("MultiPolygon") => coordinates.as_array().into_iter().flatten().collect(),
        _ => Vec::new(),
    };
    let outline = |polygon: &Value| {
        let ring = |ring: &Value| -> Option<Vec<Point>> {
            let mut points = ring
                .as_array()?
                .iter()
                .map(|position| point(frame, position))
                .collect::<Option<Vec<Point>>>()?;
            points.pop(); // the last position repeats the first
            Some(points)
        };
        let mut rings = polygon.as_array()?.iter().filter_map(ring);
        Outline::new(rings.next()?, rings.collect())
    };
    polygons.into_iter().filter_map(outline).collect()
}
