//! Where valves stand: gathered in boxes at the edge of the turf, near the way to the point of connection,
//! and clear of the heads.
//!
//! A station's own place is the head that lies nearest to its point of connection. Stations are taken in
//! the order of that distance; each takes a valve that is in the ground and free within reach, else a
//! place in a box that stands near its own place with nothing solid between, else a box of its own at the
//! free spot along the edge of its turf that is nearest to its place and to the connection.

use super::draft::{Draft, Job};
use crate::assumptions::Key;
use crate::shape::Point;

/// A valve in the ground this near to its station's turf is its valve \[m\].
const VALVE_REACH_M: f64 = 15.0;
/// Valves in a box stand this far apart \[m\].
const APART_M: f64 = 0.3;
/// Boxes are looked for along the edges this far from a station's own place \[m\].
const SEARCH_M: f64 = 15.0;
/// Spots are tried this far apart along an edge \[m\].
const STEP_M: f64 = 0.5;
/// A box stands this far from the edge, on the turf or beside it \[m\].
const INSET_M: f64 = 0.3;
/// Standing beside the turf counts like this much more distance \[m\].
const BESIDE_M: f64 = 2.0;
/// A metre towards the connection counts this share of a metre towards the heads.
const CONNECTION_SHARE: f64 = 0.5;
/// Distances from a station's own place at which spots inside the turf are tried \[m\].
const INNER_M: [f64; 4] = [1.0, 1.5, 2.0, 3.0];
/// Bearings in which they are tried.
const INNER_BEARINGS: u32 = 12;
/// Places along the row of a box; more than valves in any box.
const MAX_ROW: usize = 25;
/// Spots tried for one box at most.
const MAX_SPOTS: usize = 400;

/// A box with its valves.
struct ValveBox {
    at: Point,
    /// The way in which its valves stand in a row.
    along: Point,
    source: usize,
    members: Vec<usize>,
}

/// A spot for a box: how good it is, where, and along which edge.
#[derive(Clone, Copy)]
struct Spot {
    score_m: f64,
    at: Point,
    along: Point,
}

impl Job<'_, '_> {
    /// Gives every station the place of its valve and the number of its box, from 1.
    pub(super) fn place_valves(&self, drafts: &mut [Draft]) {
        let builder = self.builder;
        let number = |key| builder.assumptions.number(key);
        let clear_m = number(Key::ValveClear);
        let (join_m, most) = (number(Key::ValveJoin), number(Key::ValveBox) as usize);
        let mut boxes: Vec<ValveBox> = Vec::new();
        let mut is_taken = vec![false; builder.plant.valves.len()];
        let own: Vec<Point> = drafts.iter().map(|draft| self.own_place(draft)).collect();
        let out_m = |at: usize| own[at].distance(builder.places[drafts[at].source]);
        let mut order: Vec<usize> = (0..drafts.len()).collect();
        order.sort_by(|&a, &b| out_m(a).total_cmp(&out_m(b)).then(a.cmp(&b)));
        for station in order {
            let (place, source) = (own[station], drafts[station].source);
            if let Some(valve) = self.free_valve(place, &is_taken) {
                is_taken[valve] = true;
                boxes.push(ValveBox {
                    at: builder.plant.valves[valve],
                    along: Point::new(1.0, 0.0),
                    source,
                    members: vec![station],
                });
                continue;
            }
            let joined = boxes
                .iter()
                .enumerate()
                .filter(|(_, one)| one.source == source && one.members.len() < most.max(1))
                .map(|(at, one)| (one.at.distance(place), at))
                .filter(|&(far_m, at)| {
                    far_m <= join_m && builder.yard.is_clear(boxes[at].at, place)
                })
                .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            if let Some((_, at)) = joined {
                boxes[at].members.push(station);
                continue;
            }
            let spot = self.spot(&drafts[station], place);
            boxes.push(ValveBox {
                at: spot.at,
                along: spot.along,
                source,
                members: vec![station],
            });
        }
        for (number, one) in boxes.iter().enumerate() {
            let row = self.row(one, clear_m);
            for (&station, at) in one.members.iter().zip(row) {
                drafts[station].valve_box = number + 1;
                drafts[station].valve = at;
            }
        }
    }

    /// Places for the valves of a box: its own, then along its row, past those that a head is too near to.
    fn row(&self, one: &ValveBox, clear_m: f64) -> Vec<Point> {
        let place = |at: usize| one.at + one.along * in_row_m(at);
        let is_clear =
            |at: Point| (0..self.heads.len()).all(|head| self.at(head).distance(at) >= clear_m);
        let clear = (1..MAX_ROW).map(place).filter(|&at| is_clear(at));
        let first = std::iter::once(one.at).chain(clear);
        let mut row: Vec<Point> = first.take(one.members.len()).collect();
        // Where heads stand that close together, valves stand where there is room for them.
        for at in 1..MAX_ROW {
            if row.len() < one.members.len() && !row.contains(&place(at)) {
                row.push(place(at));
            }
        }
        row
    }

    /// The head of a station that lies nearest to its point of connection.
    fn own_place(&self, draft: &Draft) -> Point {
        let from = self.builder.places[draft.source];
        let places = draft.members.iter().map(|&head| self.at(head));
        places
            .min_by(|a, b| a.distance(from).total_cmp(&b.distance(from)))
            .unwrap_or(from)
    }

    /// The nearest valve in the ground that no other station has taken.
    fn free_valve(&self, place: Point, is_taken: &[bool]) -> Option<usize> {
        let valves = self.builder.plant.valves.iter().enumerate();
        valves
            .filter(|&(at, valve)| !is_taken[at] && valve.distance(place) <= VALVE_REACH_M)
            .min_by(|a, b| a.1.distance(place).total_cmp(&b.1.distance(place)))
            .map(|(at, _)| at)
    }

    /// The spot for a new box: along the edges of the station's turf, clear of every head, free of buildings
    /// and roots, with nothing solid between it and the station; where no spot is that clear, the clearest.
    fn spot(&self, draft: &Draft, place: Point) -> Spot {
        let builder = self.builder;
        let clear_m = builder.assumptions.number(Key::ValveClear);
        let from = builder.places[draft.source];
        let near: Vec<Point> = (0..self.heads.len())
            .map(|head| self.at(head))
            .filter(|at| at.distance(place) <= SEARCH_M + clear_m + STEP_M)
            .collect();
        let clearance_m = |at: Point| {
            let away = near.iter().map(|head| head.distance(at));
            away.fold(f64::INFINITY, f64::min)
        };
        let mut spots = self.spots(draft, place, from);
        spots.sort_by(|a, b| a.score_m.total_cmp(&b.score_m));
        spots.truncate(MAX_SPOTS);
        let is_good = |spot: &Spot| {
            // The first valves of its row.
            let row = [0, 1, 2].map(|at| spot.at + spot.along * in_row_m(at));
            row.iter()
                .all(|&at| builder.yard.is_free(at) && clearance_m(at) >= clear_m)
                && builder.yard.is_clear(spot.at, place)
        };
        if let Some(spot) = spots.iter().find(|spot| is_good(spot)) {
            return *spot;
        }
        let fallback = Spot {
            score_m: 0.0,
            at: place,
            along: Point::new(1.0, 0.0),
        };
        spots.into_iter().fold(fallback, |best, spot| {
            let is_clearer = clearance_m(spot.at) > clearance_m(best.at);
            if is_clearer && builder.yard.is_free(spot.at) {
                spot
            } else {
                best
            }
        })
    }

    /// Spots along the edges of the station's turf areas near its place, on both sides of the edge.
    fn spots(&self, draft: &Draft, place: Point, from: Point) -> Vec<Spot> {
        let mut areas: Vec<usize> = draft
            .members
            .iter()
            .map(|&head| self.heads[head].0)
            .collect();
        areas.sort_unstable();
        areas.dedup();
        let mut spots = Vec::new();
        for area in areas {
            let turf = &self.builder.yard.turf()[area];
            for (a, b) in turf.edges() {
                let length_m = a.distance(b);
                let along = (b - a).unit();
                let left = Point::new(-along.y, along.x);
                let steps = (length_m / STEP_M).ceil().max(1.0) as usize;
                for step in 0..steps {
                    let on_edge = a + (b - a) * ((step as f64 + 0.5) / steps as f64);
                    if on_edge.distance(place) > SEARCH_M {
                        continue;
                    }
                    for side in [INSET_M, -INSET_M] {
                        let at = on_edge + left * side;
                        let beside_m = if turf.contains(at) { 0.0 } else { BESIDE_M };
                        spots.push(Spot {
                            score_m: at.distance(place)
                                + CONNECTION_SHARE * at.distance(from)
                                + beside_m,
                            at,
                            along,
                        });
                    }
                }
            }
        }
        // Inside wide turf no edge is near: a box stands on the turf itself, between heads.
        let about = INNER_M.iter().flat_map(|&out_m| {
            (0..INNER_BEARINGS).map(move |k| {
                let bearing_deg = 360.0 * f64::from(k) / f64::from(INNER_BEARINGS);
                place + Point::along_bearing(bearing_deg) * out_m
            })
        });
        spots.extend(about.map(|at| Spot {
            score_m: SEARCH_M + at.distance(place) + CONNECTION_SHARE * at.distance(from),
            at,
            along: (at - place).unit(),
        }));
        spots
    }
}

/// Places in a row about its middle: 0, 1, −1, 2, −2 … times the distance \[m\].
fn in_row_m(at: usize) -> f64 {
    let steps = at.div_ceil(2) as f64;
    if at % 2 == 1 {
        steps * APART_M
    } else {
        -steps * APART_M
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn valves_of_a_box_stand_in_a_row_apart_from_one_another() {
        let mut row: Vec<f64> = (0..6).map(in_row_m).collect();
        row.sort_by(f64::total_cmp);
        assert!(
            row.windows(2)
                .all(|pair| (pair[1] - pair[0] - APART_M).abs() < 1e-12)
        );
        assert_eq!(in_row_m(0), 0.0);
    }
}
