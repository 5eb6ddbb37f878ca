//! The plain rule of thumb: one throw for the whole turf area, heads at corners and along edges,
//! a triangular grid inside. It is what a careful person draws by hand, and the measure that
//! every other layout is held against.
//!
//! - Throw R: the largest of the family that is no longer than the diameter of the largest circle
//!   inside the turf.
//! - The outline is first simplified to 0.15 m. A vertex that turns by 25° or more is a corner.
//! - Corners get a head; between corners, along the outline, `n = ceil(L/R)` equal gaps.
//! - A boundary head nearer than 0.4 R to one already kept is left out, corners first.
//! - Inside: a triangular lattice of pitch R (rows 0.866 R apart) along the longest edge of the
//!   outline, from that edge's first end; points at least 0.5 R from every boundary head stay.
//! - Arcs: the interior angle at the head, to the nearest 5°, about its bisector.
//!
//! Heads that would stand off the turf, by the simplification, come onto its edge; where walls,
//! pavement or trunks are known, heads stand off them.

use super::lattice::Lattice;
use super::stand::Footing;
use super::{Setter, Site};
use crate::catalogue::{Family, Head, Role};
use crate::shape::{Outline, Point, Ring, inscribed_circle, simplified};

/// Tolerance of the simplification \[m\].
const TOLERANCE_M: f64 = 0.15;
/// Smallest turn of a corner \[degrees\].
const CORNER_DEG: f64 = 25.0;
/// Boundary heads closer than this share of the throw are one.
const THIN_FRAC: f64 = 0.4;
/// Interior heads keep this share of the throw from boundary heads.
const CLEAR_FRAC: f64 = 0.5;

/// Precision of the inscribed circle's radius \[m\].
const CIRCLE_M: f64 = 0.005;

/// The diameter of the largest circle inside a turf area \[m\]: what every family's throw is cut to.
#[must_use]
pub fn inscribed_diameter_m(outline: &Outline) -> f64 {
    2.0 * inscribed_circle(outline, CIRCLE_M).1
}

/// The throw of the rule \[m\], whole centimetres, from the turf's inscribed diameter.
#[must_use]
pub fn rule_throw_m(site: &Site, family: &Family) -> f64 {
    let held_m = site
        .diameter_m
        .clamp(family.shortest_m(), family.longest_m());
    (held_m * 100.0).floor() / 100.0
}

/// Lays the turf area out by the rule.
#[must_use]
pub fn rule_layout(site: &Site, family: &Family, throw_m: f64) -> Vec<Head> {
    let outline = site.outline;
    let setter = Setter { family };
    let spacing_m = site.rules.spacing_frac * throw_m;
    let rings: Vec<Ring> = outline
        .rings()
        .iter()
        .map(|ring| simplified(ring, TOLERANCE_M))
        .collect();
    let mut posts: Vec<Post> = rings
        .iter()
        .flat_map(|ring| ring_posts(ring, spacing_m))
        .collect();
    posts = thinned(posts, THIN_FRAC * throw_m);
    let footing = Footing::of(site);
    let mut heads: Vec<Head> = posts
        .iter()
        .filter_map(|post| {
            let at = footing.settled(post.at)?;
            let sweep_deg = setter.nearest_sweep_deg(post.inside_deg);
            // The inside lies left of the way; its bisector is half the angle left of the way on.
            let bisector_deg = post.onward_deg - post.inside_deg / 2.0;
            let start_deg = bisector_deg - sweep_deg / 2.0;
            Some(setter.head(at, post.role, throw_m, start_deg, sweep_deg))
        })
        .collect();
    let Some(&longest) = longest_edges(outline.outer()).first() else {
        return heads;
    };
    let (origin, along) = (longest.0, (longest.1 - longest.0).unit());
    let lattice = Lattice {
        origin,
        along,
        pitch_m: spacing_m,
        weave: site.rules.weave,
    };
    for at in lattice.points(outline) {
        if posts
            .iter()
            .all(|post| post.at.distance(at) >= CLEAR_FRAC * throw_m)
        {
            let settled = footing.settled(at);
            heads.extend(settled.map(|at| setter.head(at, Role::Interior, throw_m, 0.0, 360.0)));
        }
    }
    heads
}

/// A place on the boundary.
struct Post {
    at: Point,
    role: Role,
    /// Bearing of the way on along the ring, the inside on its left \[degrees\].
    onward_deg: f64,
    /// Interior angle \[degrees\].
    inside_deg: f64,
}

fn ring_posts(ring: &[Point], spacing_m: f64) -> Vec<Post> {
    let n = ring.len();
    let bearing = |i: usize| (ring[(i + 1) % n] - ring[i % n]).bearing_deg();
    // The turn to the left at vertex i.
    let turn_deg = |i: usize| {
        let turn = (bearing(i + n - 1) - bearing(i)).rem_euclid(360.0);
        if turn >= 180.0 { turn - 360.0 } else { turn }
    };
    let corners: Vec<usize> = (0..n)
        .filter(|&i| turn_deg(i).abs() >= CORNER_DEG)
        .collect();
    let mut reached = vec![0.0];
    for i in 0..n {
        reached.push(reached[i] + ring[i].distance(ring[(i + 1) % n]));
    }
    let total_m = reached[n];
    let post = |along_m: f64, role: Role| {
        let along_m = along_m.rem_euclid(total_m);
        let i = (reached.partition_point(|&s| s <= along_m).saturating_sub(1)).min(n - 1);
        let (a, b) = (ring[i], ring[(i + 1) % n]);
        let at = a + (b - a).unit() * (along_m - reached[i]);
        let (onward_deg, inside_deg) = if along_m - reached[i] < 1e-6 {
            (bearing(i), 180.0 - turn_deg(i))
        } else if reached[i + 1] - along_m < 1e-6 {
            (bearing(i + 1), 180.0 - turn_deg((i + 1) % n))
        } else {
            (bearing(i), 180.0)
        };
        Post {
            at,
            role,
            onward_deg,
            inside_deg,
        }
    };
    let mut posts = Vec::new();
    if corners.is_empty() {
        let count = ((total_m / spacing_m - 1e-9).ceil() as usize).max(3);
        posts.extend((0..count).map(|k| post(total_m * k as f64 / count as f64, Role::Edge)));
    }
    for (k, &from) in corners.iter().enumerate() {
        let to = corners[(k + 1) % corners.len()];
        let start_m = reached[from];
        let end_m = if to > from {
            reached[to]
        } else {
            reached[to] + total_m
        };
        let gaps = ((end_m - start_m) / spacing_m - 1e-9).ceil().max(1.0) as usize;
        posts.push(post(start_m, Role::Corner));
        for q in 1..gaps {
            posts.push(post(
                start_m + (end_m - start_m) * q as f64 / gaps as f64,
                Role::Edge,
            ));
        }
    }
    posts
}

/// Keeps posts that are far enough from those kept before, corners first.
fn thinned(posts: Vec<Post>, least_m: f64) -> Vec<Post> {
    let mut kept: Vec<usize> = Vec::new();
    for corner in [true, false] {
        for (i, post) in posts.iter().enumerate() {
            if (post.role == Role::Corner) == corner
                && kept
                    .iter()
                    .all(|&j| posts[j].at.distance(post.at) >= least_m)
            {
                kept.push(i);
            }
        }
    }
    kept.sort_unstable();
    let mut keep = kept.into_iter().peekable();
    posts
        .into_iter()
        .enumerate()
        .filter(|(i, _)| keep.next_if_eq(i).is_some())
        .map(|(_, post)| post)
        .collect()
}

/// The edges of a ring without the digitiser's noise, the longest first.
pub(super) fn longest_edges(ring: &[Point]) -> Vec<(Point, Point)> {
    let plain = simplified(ring, TOLERANCE_M);
    let mut edges: Vec<(Point, Point)> = (0..plain.len())
        .map(|i| (plain[i], plain[(i + 1) % plain.len()]))
        .collect();
    edges.sort_by(|x, y| y.0.distance(y.1).total_cmp(&x.0.distance(x.1)));
    edges
}
