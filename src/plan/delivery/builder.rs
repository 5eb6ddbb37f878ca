//! What is the same for every scenario of a parcel: its ground for trenches, its slopes, which lawns
//! may share a station, and where its water comes from.

use super::super::bodies::may_regulate;
use super::super::ground::Ground;
use super::super::{Planner, Scenario, ScenarioPlan, Site};
use super::draft::Job;
use super::outcome::{Built, HeadServed, NetworkPlan};
use super::source::Plant;
use crate::assumptions::{Assumptions, Key};
use crate::catalogue::{Family, Hardware};
use crate::crs::Frame;
use crate::hydraulics::nozzle::{Body, Response, Working};
use crate::hydraulics::pipe::flow_at_velocity_lpm;
use crate::hydraulics::supply::{Chain, Losses, Run};
use crate::hydraulics::trench::{Factors, Yard};
use crate::shape::{Outline, Point};
use crate::site::{Exposure, Grass, Relief, Texture};

/// The turf areas of a parcel with their scenarios.
pub(super) type Areas<'a> = [(Site<'a>, Vec<ScenarioPlan>)];

/// Where nothing says which way water flows down, a lawn is level.
const LEVEL: (f64, Point) = (0.0, Point::new(0.0, 0.0));

/// What lawns must have in common to share a station, but for their place.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Kind {
    exposure: Option<Exposure>,
    grass: Option<Grass>,
    texture: Option<Texture>,
    steep: bool,
}

/// What is the same for every scenario of a parcel.
pub(super) struct Builder<'a> {
    pub(super) planner: &'a Planner,
    pub(super) assumptions: &'a Assumptions,
    pub(super) plant: &'a Plant,
    pub(super) losses: Losses,
    pub(super) yard: Yard,
    /// The lawns that may share a station have the same number.
    pub(super) groups: Vec<u32>,
    /// Height of each lawn's plane: metres of fall a metre, and the way down.
    pub(super) planes: Vec<(f64, Point)>,
    /// The heights of the ground; `None` without an elevation model.
    relief: Option<(&'a Relief, Frame)>,
    /// Where each source is taken to be.
    pub(super) places: Vec<Point>,
}

impl<'a> Builder<'a> {
    pub(super) fn new(
        planner: &'a Planner,
        assumptions: &'a Assumptions,
        plant: &'a Plant,
        relief: Option<(&'a Relief, Frame)>,
        areas: &Areas<'_>,
    ) -> Builder<'a> {
        let number = |key| assumptions.number(key);
        let turf: Vec<_> = areas.iter().map(|(site, _)| site.outline.clone()).collect();
        let ground = areas.first().map(|(site, _)| site.ground);
        let outlines = |of: fn(&Ground) -> Vec<Outline>| ground.map(of).unwrap_or_default();
        let root_zone_m = number(Key::PipeRootZone);
        let trunks = outlines(|ground| ground.trunks().to_vec());
        let zones = trunks
            .iter()
            .filter_map(|trunk| Yard::root_zone(trunk, root_zone_m));
        let factors = Factors {
            off_turf: number(Key::PipeOffTurf),
            off_parcel: number(Key::PipeOffParcel),
            roots: number(Key::PipeRoots),
            obstructed: number(Key::PipeObstructed),
        };
        let buildings = outlines(|ground| ground.buildings().cloned().collect());
        let walls = outlines(|ground| ground.garden_walls().cloned().collect());
        let yard = Yard::new(turf, buildings, factors)
            .with_walls(walls.into_iter())
            .with_root_zones(zones)
            .with_parcel(outlines(|ground| ground.parcel().to_vec()));
        let planes = areas
            .iter()
            .map(|(site, _)| {
                let terrain = site.turf.land.terrain;
                terrain
                    .and_then(|terrain| {
                        let down = Point::along_bearing(terrain.aspect_deg?);
                        Some((terrain.slope_pct / 100.0, down))
                    })
                    .unwrap_or(LEVEL)
            })
            .collect();
        let places = plant
            .sources
            .iter()
            .map(|source| source.at.unwrap_or_else(|| likely_place(areas, &yard)))
            .collect();
        Builder {
            planner,
            assumptions,
            plant,
            losses: Losses::assumed(assumptions),
            groups: joined(areas, assumptions, yard.turf()),
            yard,
            planes,
            relief,
            places,
        }
    }

    /// The pressure behind the valve nearest to the best source, without flow \[kPa\].
    pub(super) fn best_kpa(&self) -> f64 {
        let run = self.main_run(0.0, 0);
        self.plant
            .sources
            .iter()
            .map(|source| Chain::to_valve(source, &self.losses, run, 0.0, 0.0).valve_kpa(0.0))
            .fold(f64::NEG_INFINITY, f64::max)
    }

    /// How a head works at its pressure.
    pub(super) fn working(&self, family: &Family, head: &HeadServed) -> Working {
        Response::of(family).working(head.nozzle_kpa)
    }

    pub(super) fn hardware(&self) -> &'a Hardware {
        &self.planner.catalogue.hardware
    }

    /// Most that a station on a source may draw: its safe flow, and no more than the largest valve
    /// and the widest pipe pass \[L/min\].
    pub(super) fn most_lpm(&self, source: usize) -> f64 {
        let hardware = self.hardware();
        let most_m_s = self.assumptions.number(Key::PipeVelocity);
        let widest = hardware.pipes[hardware.pipes.len() - 1].inside_mm; // there is at least one
        let largest = hardware.valves[hardware.valves.len() - 1].most_lpm; // likewise
        self.plant.sources[source]
            .safe_lpm
            .min(flow_at_velocity_lpm(most_m_s, widest))
            .min(largest)
    }

    /// The pipe of the mains: the narrowest that carries a flow below the largest velocity and
    /// loses no more than it may on the way to the farthest valve; the widest where none does.
    pub(super) fn main_size(&self, flow_lpm: f64, farthest_m: f64) -> usize {
        let pipes = &self.hardware().pipes;
        let by_velocity = self
            .hardware()
            .pipe_for(flow_lpm, self.assumptions.number(Key::PipeVelocity));
        let most_kpa = self.assumptions.number(Key::PipeMainLoss);
        (by_velocity..pipes.len())
            .find(|&size| self.main_run(farthest_m, size).loss_kpa(flow_lpm) <= most_kpa)
            .unwrap_or(pipes.len() - 1) // a catalogue has at least one pipe
    }

    /// A piece of main of a size.
    pub(super) fn main_run(&self, length_m: f64, size: usize) -> Run {
        Run {
            length_m: length_m * (1.0 + self.losses.fittings_frac),
            inside_mm: self.hardware().pipes[size].inside_mm,
            roughness_c: self.losses.pipe_c,
        }
    }

    /// The height of the ground \[m\]: of the elevation model, or else of the plane of a lawn. Only
    /// differences mean something, and without a model only those on one lawn.
    pub(super) fn height_m(&self, area: usize, at: Point) -> f64 {
        if let Some((relief, frame)) = &self.relief {
            let (lon, lat) = frame.to_lonlat(at);
            return relief.height_m(lon, lat);
        }
        let (fall, down) = self.planes[area];
        -fall * at.dot(down)
    }

    /// Whether heights are known on a lawn.
    pub(super) fn is_sloped(&self, area: usize) -> bool {
        self.relief.is_some() || self.planes[area].0 > 0.0
    }

    /// How much higher one place lies than another \[m\]; `None` where nothing says.
    pub(super) fn rise_m(&self, from: Point, to: Point) -> Option<f64> {
        let (relief, frame) = self.relief.as_ref()?;
        let height = |at: Point| {
            let (lon, lat) = frame.to_lonlat(at);
            relief.height_m(lon, lat)
        };
        Some(height(to) - height(from))
    }

    /// Builds a scenario: `None` where no area has heads in it, or they have no family.
    /// `found` are the stations as found.
    pub(super) fn build(
        &self,
        scenario: &Scenario,
        areas: &Areas<'_>,
        found: Option<&NetworkPlan>,
    ) -> Option<Built> {
        let plans: Vec<Option<&ScenarioPlan>> = areas
            .iter()
            .map(|(_, plans)| {
                let own = plans.iter().find(|plan| plan.scenario == *scenario);
                own.filter(|plan| !plan.heads.is_empty())
            })
            .collect();
        let name = plans.iter().flatten().next()?.family.clone();
        let family = self.planner.catalogue.family(&name)?;
        let is_new = matches!(scenario, Scenario::Relayout(_));
        let is_changed = !matches!(scenario, Scenario::AsFound | Scenario::Reclock);
        let regulated = is_new && may_regulate(self.assumptions, family);
        let holding = Body::Regulated {
            set_kpa: family.rated.kpa(),
            loss_kpa: self.assumptions.number(Key::PressureBodyLoss),
        };
        let body = if regulated { holding } else { Body::Plain };
        let heads: Vec<(usize, usize)> = plans
            .iter()
            .enumerate()
            .flat_map(|(area, plan)| {
                let count = plan.map_or(0, |plan| plan.heads.len());
                (0..count).map(move |head| (area, head))
            })
            .collect();
        let in_ground = areas
            .iter()
            .map(|(site, _)| site.found.as_ref().map_or(0, |on| on.found.len()))
            .collect();
        let job = Job {
            builder: self,
            in_ground,
            kept: found
                .filter(|_| is_changed && !is_new)
                .map_or_else(Vec::new, |found| places_of(found, areas)),
            plans,
            family,
            body,
            holding,
            is_new,
            is_changed,
            heads,
        };
        let mut built = job.done(scenario);
        if let (true, Some(found)) = (is_changed, found) {
            built.compare(found);
        }
        Some(built)
    }
}

/// Where the heads of each unnamed station as found stand, by area.
fn places_of(found: &NetworkPlan, areas: &Areas<'_>) -> Vec<Vec<(usize, Point)>> {
    let place = |&(area, number): &(usize, usize)| {
        let (_, plans) = areas.get(area)?;
        let mut plans = plans.iter();
        let plan = plans.find(|plan| plan.scenario == Scenario::AsFound)?;
        Some((area, plan.heads.get(number)?.at))
    };
    let unnamed = found
        .stations
        .iter()
        .filter(|station| station.name.is_none());
    unnamed
        .map(|station| station.heads.iter().filter_map(place).collect())
        .collect()
}

/// Numbers lawns so that those of one kind that lie near one another have the same.
fn joined(areas: &Areas<'_>, assumptions: &Assumptions, turf: &[Outline]) -> Vec<u32> {
    let gap_m = assumptions.number(Key::StationJoin);
    let steep_pct = assumptions.number(Key::StationSlope);
    let kinds: Vec<Kind> = areas
        .iter()
        .map(|(site, _)| Kind {
            exposure: site.turf.exposure,
            grass: site.turf.grass,
            texture: site.turf.land.soil.map(|soil| soil.texture),
            steep: site
                .turf
                .land
                .terrain
                .is_some_and(|terrain| terrain.slope_pct >= steep_pct),
        })
        .collect();
    let mut groups: Vec<u32> = (0..areas.len() as u32).collect();
    for a in 0..areas.len() {
        for b in a + 1..areas.len() {
            let apart = groups[a] != groups[b];
            if apart && kinds[a] == kinds[b] && are_within(&turf[a], &turf[b], gap_m) {
                let (keep, give) = (groups[a].min(groups[b]), groups[a].max(groups[b]));
                for group in &mut groups {
                    if *group == give {
                        *group = keep;
                    }
                }
            }
        }
    }
    groups
}

/// Whether two lawns come within a distance of one another, by their corners.
fn are_within(a: &Outline, b: &Outline, gap_m: f64) -> bool {
    let ((a_low, a_high), (b_low, b_high)) = (a.bounds(), b.bounds());
    let far = a_low.x - b_high.x > gap_m
        || b_low.x - a_high.x > gap_m
        || a_low.y - b_high.y > gap_m
        || b_low.y - a_high.y > gap_m;
    if far {
        return false;
    }
    let near = |one: &Outline, other: &Outline| {
        one.outer()
            .iter()
            .any(|&corner| other.boundary_distance_m(corner) <= gap_m)
    };
    near(a, b) || near(b, a)
}

/// Where the point of connection is taken to be when no layer says: on the edge of the lawn, as
/// near as may be to a building; without one, the southernmost corner of the first lawn.
fn likely_place(areas: &Areas<'_>, yard: &Yard) -> Point {
    let corners = || {
        yard.turf()
            .iter()
            .flat_map(|turf| turf.outer().iter().copied())
    };
    let walls = areas
        .first()
        .map_or(&[][..], |(site, _)| site.ground.walls());
    let by_wall = corners()
        .filter_map(|corner| {
            walls
                .iter()
                .map(|wall| wall.boundary_distance_m(corner))
                .min_by(f64::total_cmp)
                .map(|distance_m| (distance_m, corner))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.y.total_cmp(&b.1.y)));
    match by_wall {
        Some((_, corner)) => corner,
        None => yard
            .turf()
            .first()
            .and_then(|turf| {
                turf.outer()
                    .iter()
                    .copied()
                    .min_by(|a, b| a.y.total_cmp(&b.y).then(a.x.total_cmp(&b.x)))
            })
            .unwrap_or_default(),
    }
}
