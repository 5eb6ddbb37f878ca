//! Where a head may stand: on the turf, off walls and kerbs, clear of trunks.

use super::{Around, Site, Standing};
use crate::rain::Grid;
use crate::shape::{Outline, Point};

/// How often a place is moved off one thing after another before it is given up.
const MOST_MOVES: usize = 24;
/// Positions are written to about a millimetre, so places keep this much more than they must
/// \[m\].
const WRITTEN_M: f64 = 0.002;
/// How far inward the search for a place begins \[m\].
const INWARD_M: f64 = 0.01;
/// A head this little outside the turf stands on its edge \[m\].
const ON_EDGE_M: f64 = 0.005;

/// The rules of standing on one turf area.
#[derive(Debug, Clone)]
pub(super) struct Footing<'a> {
    outline: &'a Outline,
    clearings: Vec<Clearing<'a>>,
}

/// Something that heads keep off.
#[derive(Debug, Clone, Copy)]
struct Clearing<'a> {
    thing: &'a Outline,
    /// How far off \[m\].
    off_m: f64,
    /// How far off at least, where the turf leaves no more room \[m\].
    least_m: f64,
}

impl<'a> Footing<'a> {
    /// The rules for a site: what is too far from the turf to matter is left out.
    pub(super) fn of(site: &Site<'a>) -> Footing<'a> {
        let Around {
            walls,
            trunks,
            pavements,
            ..
        } = site.around;
        let Standing {
            pavement_offset_m,
            wall_offset_m,
            trunk_clearance_m,
            pavement_setback_m,
            ..
        } = site.rules;
        let off_pavement_m = pavement_offset_m.max(pavement_setback_m);
        let kinds = [
            (walls, wall_offset_m, 0.0),
            (pavements, off_pavement_m, 0.0),
            (trunks, trunk_clearance_m, trunk_clearance_m),
        ];
        let mut clearings = Vec::new();
        for (things, off_m, least_m) in kinds {
            for thing in things {
                if are_near(thing.bounds(), site.outline.bounds(), off_m) {
                    clearings.push(Clearing {
                        thing,
                        off_m: off_m + WRITTEN_M,
                        least_m,
                    });
                }
            }
        }
        Footing {
            outline: site.outline,
            clearings,
        }
    }

    /// The place nearest to a wish, as pushing off one thing after another finds it. The turf comes
    /// last: between a kerb and a wall that are too near to one another a head stands as far off
    /// both as it can. `None` where it would stand in a building, on pavement or too near to a
    /// trunk.
    pub(super) fn settled(&self, wish: Point) -> Option<Point> {
        let mut at = self.on_turf(wish, ON_EDGE_M);
        if self
            .clearings
            .iter()
            .all(|clearing| clearing.pushed_off(at) == at)
        {
            return Some(at);
        }
        at = self.a_step_inward(at);
        for _ in 0..MOST_MOVES {
            let before = at;
            for clearing in &self.clearings {
                at = clearing.pushed_off(at);
            }
            at = self.on_turf(at, 0.0);
            if at == before {
                break;
            }
        }
        self.is_allowed(at).then_some(at)
    }

    /// Whether no rule forbids a place.
    fn is_allowed(&self, at: Point) -> bool {
        self.clearings.iter().all(|clearing| {
            clearing.is_beyond(at) || clearing.place_of(at).gap_m >= clearing.least_m
        })
    }

    /// The nearest place of the turf, unless a place is no more than so far outside.
    fn on_turf(&self, at: Point, slack_m: f64) -> Point {
        let place = Place::of(at, self.outline);
        if place.gap_m > slack_m {
            place.nearest
        } else {
            at
        }
    }

    /// A place on the edge moved a little inward, square to the sides that meet there: at a corner
    /// of two things the way off either is then clear.
    fn a_step_inward(&self, at: Point) -> Point {
        let inward = self
            .outline
            .edges()
            .filter(|&(a, b)| at.distance_to_segment(a, b) < INWARD_M)
            .map(|(a, b)| Point::new(a.y - b.y, b.x - a.x).unit())
            .fold(Point::default(), |sum, normal| sum + normal);
        at + inward * INWARD_M
    }

    /// The cells of a grid in which an interior head has no place, row by row from the south-west;
    /// empty where nothing forbids any.
    pub(super) fn barred_cells(&self, grid: &Grid) -> Vec<bool> {
        if self.clearings.is_empty() {
            return Vec::new();
        }
        let (cols, rows) = grid.size();
        let mut barred = vec![false; cols * rows];
        for clearing in &self.clearings {
            grid.fill(clearing.thing, |row, start, end| {
                barred[row * cols + start as usize..row * cols + end as usize].fill(true);
            });
            // Whatever place of the cell the head takes, it is far enough off.
            let off_m = clearing.off_m + grid.cell_m() * std::f64::consts::FRAC_1_SQRT_2;
            for (a, b) in clearing.thing.edges() {
                let low = Point::new(a.x.min(b.x) - off_m, a.y.min(b.y) - off_m);
                let high = Point::new(a.x.max(b.x) + off_m, a.y.max(b.y) + off_m);
                let (columns, touched) = grid.cells_between(low, high);
                for row in touched {
                    for col in columns.clone() {
                        let cell = &mut barred[row * cols + col];
                        *cell = *cell || grid.centre(col, row).distance_to_segment(a, b) < off_m;
                    }
                }
            }
        }
        barred
    }
}

impl Clearing<'_> {
    /// Whether a place is too far away to ask.
    fn is_beyond(&self, at: Point) -> bool {
        let (low, high) = self.thing.bounds();
        at.x < low.x - self.off_m
            || at.x > high.x + self.off_m
            || at.y < low.y - self.off_m
            || at.y > high.y + self.off_m
    }

    fn place_of(&self, at: Point) -> Place {
        Place::of(at, self.thing)
    }

    /// A place moved straight away from the thing until it is far enough.
    fn pushed_off(&self, at: Point) -> Point {
        if self.is_beyond(at) {
            return at;
        }
        let place = self.place_of(at);
        // A move by less than a micrometre is none.
        if place.gap_m < self.off_m - 1e-6 {
            place.nearest + place.outward * self.off_m
        } else {
            at
        }
    }
}

/// How a place lies to an outline.
struct Place {
    /// The way out to it \[m\]; negative inside.
    gap_m: f64,
    nearest: Point,
    /// Unit vector away from the outline.
    outward: Point,
}

impl Place {
    fn of(at: Point, outline: &Outline) -> Place {
        let edge = outline.nearest_edge(at);
        let (nearest, distance_m, inside) = (edge.point, edge.distance_m, edge.is_inside);
        let outward = if distance_m < 1e-6 {
            edge.outward
        } else if inside {
            (nearest - at).unit()
        } else {
            (at - nearest).unit()
        };
        Place {
            gap_m: if inside { -distance_m } else { distance_m },
            nearest,
            outward,
        }
    }
}

/// Whether two boxes come nearer to one another than a distance.
fn are_near(one: (Point, Point), other: (Point, Point), within_m: f64) -> bool {
    one.0.x - within_m <= other.1.x
        && other.0.x - within_m <= one.1.x
        && one.0.y - within_m <= other.1.y
        && other.0.y - within_m <= one.1.y
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::place::Weave;

    fn rectangle(x: (f64, f64), y: (f64, f64)) -> Outline {
        let ring = [(x.0, y.0), (x.1, y.0), (x.1, y.1), (x.0, y.1)];
        Outline::new(ring.map(|(x, y)| Point::new(x, y)).to_vec(), vec![]).unwrap()
    }

    const RULES: Standing = Standing {
        pavement_offset_m: 0.075,
        wall_offset_m: 0.2,
        trunk_clearance_m: 2.0,
        pavement_setback_m: 0.0,
        spacing_frac: 1.0,
        weave: Weave::Triangular,
    };

    fn near(at: Option<Point>, x: f64, y: f64) -> bool {
        at.is_some_and(|at| at.distance(Point::new(x, y)) < 2.0 * WRITTEN_M)
    }

    #[test]
    fn heads_stand_inside_the_kerb_and_off_the_wall() {
        let lawn = rectangle((0.0, 10.0), (0.0, 8.0));
        let path = [rectangle((-2.0, 0.0), (-1.0, 9.0))];
        let house = [rectangle((-3.0, 13.0), (-6.0, 0.0))];
        let site = Site {
            outline: &lawn,
            diameter_m: 8.0,
            around: Around {
                blocks: &house,
                walls: &house,
                pavements: &path,
                ..Around::default()
            },
            rules: RULES,
        };
        let footing = Footing::of(&site);
        let settled = |x, y| footing.settled(Point::new(x, y));
        assert!(near(settled(0.0, 5.0), 0.075, 5.0));
        assert!(near(settled(5.0, 0.0), 5.0, 0.2));
        assert!(near(settled(0.0, 0.0), 0.075, 0.2));
        // The side without a neighbour, and what stands far enough off.
        assert_eq!(settled(10.0, 5.0), Some(Point::new(10.0, 5.0)));
        assert_eq!(settled(4.0, 4.0), Some(Point::new(4.0, 4.0)));
        // A head outside comes back onto the edge.
        assert!(near(settled(10.3, 4.0), 10.0, 4.0));
    }

    #[test]
    fn a_trunk_is_two_metres_away_or_there_is_no_head() {
        let lawn = rectangle((0.0, 10.0), (0.0, 3.0));
        let trunk = [rectangle((4.8, 5.2), (1.3, 1.7))];
        let site = Site {
            outline: &lawn,
            diameter_m: 3.0,
            around: Around {
                blocks: &trunk,
                trunks: &trunk,
                ..Around::default()
            },
            rules: RULES,
        };
        let footing = Footing::of(&site);
        for x in [3.0, 4.0, 6.0] {
            let at = footing.settled(Point::new(x, 0.0)).unwrap();
            assert!(trunk[0].boundary_distance_m(at) >= 2.0, "{at:?}");
            assert!(lawn.signed_distance_m(at) >= -1e-9, "{at:?}");
        }
        let narrow = rectangle((4.0, 6.0), (0.0, 3.0));
        let footing = Footing::of(&Site {
            outline: &narrow,
            ..site
        });
        assert_eq!(footing.settled(Point::new(4.0, 1.0)), None);
    }

    #[test]
    fn a_strip_too_narrow_for_both_distances_keeps_off_both() {
        let strip = rectangle((0.0, 10.0), (0.0, 0.15));
        let house = [rectangle((0.0, 10.0), (0.15, 5.0))];
        let path = [rectangle((0.0, 10.0), (-2.0, 0.0))];
        let footing = Footing::of(&Site {
            outline: &strip,
            diameter_m: 0.15,
            around: Around {
                blocks: &house,
                walls: &house,
                pavements: &path,
                ..Around::default()
            },
            rules: RULES,
        });
        let at = footing.settled(Point::new(5.0, 0.0)).unwrap();
        assert!((0.0..=0.15).contains(&at.y), "{at:?}");
    }

    #[test]
    fn no_interior_head_in_a_cell_that_is_too_near() {
        let lawn = rectangle((0.0, 12.0), (0.0, 12.0));
        let trunk = [rectangle((5.9, 6.1), (5.9, 6.1))];
        let footing = Footing::of(&Site {
            outline: &lawn,
            diameter_m: 12.0,
            around: Around {
                blocks: &trunk,
                trunks: &trunk,
                ..Around::default()
            },
            rules: RULES,
        });
        let grid = Grid::over(&lawn, 0.4, 0.0);
        let barred = footing.barred_cells(&grid);
        let (cols, rows) = grid.size();
        let mut open = 0;
        for (i, &is_barred) in barred.iter().enumerate() {
            let gap_m = trunk[0].boundary_distance_m(grid.centre(i % cols, i / cols));
            assert!(is_barred || gap_m > 2.0);
            assert!(!is_barred || gap_m < 2.3);
            open += usize::from(!is_barred);
        }
        assert_eq!(barred.len(), cols * rows);
        assert!(open > 600);
    }
}
