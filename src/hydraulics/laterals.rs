//! Laterals: the tree of pipes from a valve to its heads.
//!
//! A tree grows from the valve: the head that is cheapest to join is joined next, where a metre of
//! trench off the turf counts more than one on it, and some of the way back to the valve counts
//! too, so that laterals run straight rather than snake (the shortest spanning tree of Prim with a
//! share of Dijkstra's shortest paths). Buildings, walls, the root zones of trees and the ground of
//! others are gone round by way of their corners; where a way round is not found near by, corners
//! farther off are tried as well, and what is left takes the shortest passage. Then single heads change to another
//! pipe while that is cheaper. Very many heads, and those that are left where the budget of work is
//! spent, join straight: from the valve outward each the nearest of the last ones that joined.
//!
//! # References
//! - Prim, R. C., "Shortest connection networks and some generalizations", Bell System Technical
//!   Journal 36, 1957, p. 1389–1401.
//! - Takahashi, H. and Matsuyama, A., "An approximate solution for the Steiner problem in graphs",
//!   Mathematica Japonica 24, 1980, p. 573–577 (joining the nearest head by its shortest path).

use super::trench::Yard;
use super::work::Work;
use crate::shape::Point;

/// Passes of improvement.
const PASSES: usize = 4;
/// Things this near to a station can be in its way \[m\].
const NEAR_M: f64 = 4.0;
/// So far off a way round is looked for where none is found near by \[m\].
const FAR_M: f64 = 60.0;
/// Corners considered for a way round.
const MOST_CORNERS: usize = 160;
/// Nodes beyond which fewer corners are considered.
const MANY_HEADS: usize = 250;
const FEW_CORNERS: usize = 40;
/// Heads beyond which they join straight: what a matrix of their costs holds is 18 MB then.
const MOST_HEADS: usize = 1_500;
/// How many of the last ones that joined a head may join straight.
const LAST_JOINED: usize = 64;

/// Pipes from a valve to its heads. A node comes after the one that feeds it.
#[derive(Debug, Clone, PartialEq)]
pub struct Tree {
    /// Where pipes begin, end and bend; the valve first.
    pub nodes: Vec<Point>,
    /// The node that feeds each node; the valve names itself.
    pub feeds: Vec<usize>,
    /// The node of each head.
    pub heads: Vec<usize>,
    /// Pipes that pass a building, a wall or a root zone because no way round was found.
    pub crossings: usize,
}

impl Tree {
    /// Length of the pipe that ends at a node \[m\]; 0 for the valve.
    #[must_use]
    pub fn length_m(&self, node: usize) -> f64 {
        self.nodes[node].distance(self.nodes[self.feeds[node]])
    }

    /// Length of all pipes \[m\].
    #[must_use]
    pub fn trench_m(&self) -> f64 {
        (0..self.nodes.len()).map(|node| self.length_m(node)).sum()
    }

    /// Whether a pipe passes what it might go round: something that stands in its way, or the ground of
    /// others between two places of the parcel's own.
    fn is_avoidable(&self, yard: &Yard) -> bool {
        let is_off = |node: usize| {
            let (a, b) = (self.nodes[self.feeds[node]], self.nodes[node]);
            yard.is_own(a) && yard.is_own(b) && yard.trench(a, b).off_parcel_m > 0.0
        };
        self.crossings > 0 || (1..self.nodes.len()).any(is_off)
    }

    /// How many pipes each node feeds.
    #[must_use]
    pub fn branches(&self) -> Vec<usize> {
        let mut branches = vec![0; self.nodes.len()];
        for node in 1..self.nodes.len() {
            branches[self.feeds[node]] += 1;
        }
        branches
    }
}

/// Grows the tree from a valve to its heads.
#[must_use]
pub fn tree(valve: Point, heads: &[Point], yard: &Yard, path_weight: f64, work: &Work) -> Tree {
    if heads.len() > MOST_HEADS {
        work.coarsen();
        let mut growth = Growth::new(valve, heads, &[], (yard, path_weight, work));
        growth.join_straight();
        return growth.into_tree();
    }
    let most = if heads.len() > MANY_HEADS {
        FEW_CORNERS
    } else {
        MOST_CORNERS
    };
    let grown = |margin_m: f64| {
        let corners = yard.corners_about(valve, heads, most, margin_m);
        let mut growth = Growth::new(valve, heads, &corners, (yard, path_weight, work));
        growth.grow();
        growth.improve();
        let cost_m = growth.total_m();
        (cost_m, growth.into_tree())
    };
    let (near_m, near) = grown(NEAR_M);
    if work.is_spent() || !near.is_avoidable(yard) {
        return near;
    }
    let (far_m, far) = grown(FAR_M);
    if far_m < near_m { far } else { near }
}

/// Sites: the valve, the heads, then the corners.
struct Growth<'y> {
    yard: &'y Yard,
    path_weight: f64,
    work: &'y Work,
    sites: Vec<Point>,
    heads: usize,
    /// What feeds each site in the tree.
    feeds: Vec<Option<usize>>,
    /// Length back to the valve of each site in the tree \[m\].
    way_m: Vec<f64>,
    /// Costs of pipes, NaN where not computed yet.
    costs: Vec<f64>,
}

impl<'y> Growth<'y> {
    fn new(
        valve: Point,
        heads: &[Point],
        corners: &[Point],
        (yard, path_weight, work): (&'y Yard, f64, &'y Work),
    ) -> Growth<'y> {
        let sites: Vec<Point> = std::iter::once(valve)
            .chain(heads.iter().copied())
            .chain(corners.iter().copied())
            .collect();
        let count = sites.len();
        let mut feeds = vec![None; count];
        feeds[0] = Some(0);
        Growth {
            yard,
            path_weight,
            work,
            heads: heads.len(),
            feeds,
            way_m: vec![0.0; count],
            costs: if heads.len() > MOST_HEADS {
                Vec::new()
            } else {
                vec![f64::NAN; count * count]
            },
            sites,
        }
    }

    fn cost_m(&mut self, a: usize, b: usize) -> f64 {
        let (low, high) = (a.min(b), a.max(b));
        let at = low * self.sites.len() + high;
        if self.costs[at].is_nan() {
            let (from, to) = (self.sites[low], self.sites[high]);
            self.work.spend(self.yard.looks(from, to));
            self.costs[at] = self.yard.cost_m(from, to);
        }
        self.costs[at]
    }

    /// Joins head after head.
    fn grow(&mut self) {
        if self.sites.len() == self.heads + 1 {
            self.grow_straight();
        }
        while (1..=self.heads).any(|head| self.feeds[head].is_none()) {
            if self.work.is_spent() {
                return self.join_straight();
            }
            if !self.join_by_path() {
                return self.join_straight();
            }
        }
    }

    /// Joins the heads that are left from the valve outward, each to the nearest of the last ones that
    /// joined, whatever stands between them.
    fn join_straight(&mut self) {
        let valve = self.sites[0];
        let (mut joined, mut left): (Vec<usize>, Vec<usize>) =
            (0..=self.heads).partition(|&site| self.feeds[site].is_some());
        left.sort_by(|&a, &b| {
            let out_m = |site: usize| self.sites[site].distance(valve);
            out_m(a).total_cmp(&out_m(b)).then(a.cmp(&b))
        });
        for head in left {
            let last = &joined[joined.len().saturating_sub(LAST_JOINED)..];
            let far_m = |site: usize| self.sites[site].distance(self.sites[head]);
            let nearest = last
                .iter()
                .copied()
                .min_by(|&a, &b| far_m(a).total_cmp(&far_m(b)).then(a.cmp(&b)));
            self.join(head, nearest.unwrap_or(0)); // the valve has joined
            joined.push(head);
        }
    }

    /// Prim's way, for yards where nothing stands: every head joins a head or the valve.
    fn grow_straight(&mut self) {
        let mut best: Vec<(f64, usize)> = vec![(f64::INFINITY, 0); self.heads + 1];
        let mut joined = 0;
        for _ in 0..self.heads {
            self.work.spend(self.heads);
            if self.work.is_spent() {
                return;
            }
            for (head, best) in best.iter_mut().enumerate().skip(1) {
                let most = best.0;
                let back_m = self.path_weight * self.way_m[joined];
                let straight_m = self.sites[joined].distance(self.sites[head]);
                if self.feeds[head].is_none() && straight_m + back_m < most {
                    let key = self.cost_m(joined, head) + back_m;
                    if key < most {
                        *best = (key, joined);
                    }
                }
            }
            let next = (1..=self.heads)
                .filter(|&head| self.feeds[head].is_none())
                .min_by(|&a, &b| best[a].0.total_cmp(&best[b].0).then(a.cmp(&b)));
            let Some(next) = next.filter(|&next| best[next].0.is_finite()) else {
                return;
            };
            self.join(next, best[next].1);
            joined = next;
        }
    }

    fn join(&mut self, site: usize, to: usize) {
        self.feeds[site] = Some(to);
        self.way_m[site] = self.way_m[to] + self.sites[site].distance(self.sites[to]);
    }

    /// Joins the head that has the cheapest path to the tree, by that path; false when none has.
    fn join_by_path(&mut self) -> bool {
        let count = self.sites.len();
        let mut key_m = vec![f64::INFINITY; count];
        let mut from = vec![usize::MAX; count];
        let mut settled = vec![false; count];
        for site in (0..count).filter(|&site| self.feeds[site].is_some()) {
            key_m[site] = self.path_weight * self.way_m[site];
        }
        loop {
            let next = (0..count)
                .filter(|&site| !settled[site] && key_m[site].is_finite())
                .min_by(|&a, &b| key_m[a].total_cmp(&key_m[b]).then(a.cmp(&b)));
            self.work.spend(2 * count);
            let Some(site) = next else { return false };
            settled[site] = true;
            if (1..=self.heads).contains(&site) && self.feeds[site].is_none() {
                let mut path = vec![site];
                let mut at = from[site];
                while self.feeds[at].is_none() {
                    path.push(at);
                    at = from[at];
                }
                for site in path.into_iter().rev() {
                    self.join(site, at);
                    at = site;
                }
                return true;
            }
            for other in 0..count {
                if settled[other] || self.feeds[other].is_some() {
                    continue;
                }
                let straight_m = self.sites[site].distance(self.sites[other]);
                if key_m[site] + straight_m < key_m[other] {
                    let key = key_m[site] + self.cost_m(site, other);
                    if key < key_m[other] {
                        (key_m[other], from[other]) = (key, site);
                    }
                }
            }
        }
    }

    /// What the pipes cost, in metres on turf \[m\].
    fn total_m(&mut self) -> f64 {
        let mut total_m = 0.0;
        for site in 1..self.sites.len() {
            if let Some(up) = self.feeds[site] {
                total_m += self.cost_m(up, site);
            }
        }
        total_m
    }

    /// Lets single sites change to another pipe while that is cheaper.
    fn improve(&mut self) {
        for _ in 0..PASSES {
            let mut changed = false;
            for site in 1..self.sites.len() {
                let Some(fed_by) = self.feeds[site] else {
                    continue;
                };
                self.work.spend(self.sites.len());
                if self.work.is_spent() {
                    return;
                }
                let now = self.cost_m(fed_by, site);
                let way_now_m = self.way_m[site];
                let mut best = (-1e-6, fed_by);
                for other in 0..self.sites.len() {
                    let straight_m = self.sites[other].distance(self.sites[site]);
                    if self.feeds[other].is_none()
                        || straight_m >= now
                        || self.is_downstream(other, site)
                    {
                        continue;
                    }
                    let longer_m = self.way_m[other] + straight_m - way_now_m;
                    let change = self.cost_m(other, site) - now + self.path_weight * longer_m;
                    if change < best.0 {
                        best = (change, other);
                    }
                }
                if best.1 != fed_by {
                    self.join(site, best.1);
                    self.measure_ways();
                    changed = true;
                }
            }
            if !changed {
                break;
            }
        }
    }

    /// Whether a site is fed through another.
    fn is_downstream(&self, site: usize, of: usize) -> bool {
        let mut at = site;
        loop {
            if at == of {
                return true;
            }
            match self.feeds[at] {
                Some(up) if up != at => at = up,
                _ => return false,
            }
        }
    }

    fn order(&self) -> Vec<usize> {
        let mut below: Vec<Vec<usize>> = vec![Vec::new(); self.sites.len()];
        for site in 1..self.sites.len() {
            if let Some(up) = self.feeds[site] {
                below[up].push(site);
            }
        }
        let mut order = vec![0];
        let mut at = 0;
        while at < order.len() {
            order.extend(&below[order[at]]);
            at += 1;
        }
        order
    }

    fn measure_ways(&mut self) {
        for site in self.order().into_iter().skip(1) {
            if let Some(up) = self.feeds[site] {
                self.way_m[site] = self.way_m[up] + self.sites[site].distance(self.sites[up]);
            }
        }
    }

    /// The tree without corners that lead nowhere.
    fn into_tree(mut self) -> Tree {
        loop {
            let mut is_feeding = vec![false; self.sites.len()];
            for site in 1..self.sites.len() {
                if let Some(up) = self.feeds[site] {
                    is_feeding[up] = true;
                }
            }
            let idle: Vec<usize> = (self.heads + 1..self.sites.len())
                .filter(|&site| self.feeds[site].is_some() && !is_feeding[site])
                .collect();
            if idle.is_empty() {
                break;
            }
            for site in idle {
                self.feeds[site] = None;
            }
        }
        let order = self.order();
        let mut place = vec![0; self.sites.len()];
        for (at, &site) in order.iter().enumerate() {
            place[site] = at;
        }
        let nodes: Vec<Point> = order.iter().map(|&site| self.sites[site]).collect();
        let feeds: Vec<usize> = order
            .iter()
            .map(|&site| self.feeds[site].map_or(0, |up| place[up]))
            .collect();
        let crosses = |node: &usize| {
            self.yard
                .trench(nodes[feeds[*node]], nodes[*node])
                .is_obstructed
        };
        Tree {
            crossings: (1..nodes.len()).filter(crosses).count(),
            nodes,
            feeds,
            heads: (1..=self.heads).map(|head| place[head]).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hydraulics::trench::Factors;
    use crate::shape::Outline;

    const FACTORS: Factors = Factors {
        off_turf: 2.0,
        off_parcel: 10.0,
        roots: 4.0,
        obstructed: 100.0,
    };

    fn square(x: (f64, f64), y: (f64, f64)) -> Outline {
        let ring = [(x.0, y.0), (x.1, y.0), (x.1, y.1), (x.0, y.1)];
        Outline::new(ring.map(|(x, y)| Point::new(x, y)).to_vec(), vec![]).unwrap()
    }

    fn yard(blocks: Vec<Outline>) -> Yard {
        Yard::new(vec![square((-50.0, 50.0), (-50.0, 50.0))], blocks, FACTORS)
    }

    #[test]
    fn a_row_of_heads_is_a_straight_pipe() {
        let heads: Vec<Point> = (1..=6)
            .rev()
            .map(|k| Point::new(4.0 * f64::from(k), 0.0))
            .collect();
        let tree = tree(
            Point::default(),
            &heads,
            &yard(vec![]),
            0.15,
            &Work::default(),
        );
        assert_eq!(tree.nodes.len(), 7);
        assert!((tree.trench_m() - 24.0).abs() < 1e-9);
        assert!((1..7).all(|node| tree.feeds[node] == node - 1));
        assert_eq!(tree.heads, [6, 5, 4, 3, 2, 1]);
    }

    #[test]
    fn a_building_is_gone_round() {
        let house = square((2.0, 8.0), (-6.0, 3.0));
        let yard = yard(vec![house.clone()]);
        let heads = [Point::new(10.0, 0.0), Point::new(12.0, 0.0)];
        let tree = tree(Point::default(), &heads, &yard, 0.15, &Work::default());
        assert_eq!(tree.crossings, 0);
        assert!(tree.nodes.len() > 3, "{tree:?}");
        for node in 1..tree.nodes.len() {
            let (a, b) = (tree.nodes[tree.feeds[node]], tree.nodes[node]);
            for k in 0..=50 {
                let at = a + (b - a) * (f64::from(k) / 50.0);
                assert!(!house.contains(at), "{at:?}");
            }
        }
        // Over the north side: less than round the south, and not much more than a taut string.
        let taut_m = (4.0_f64 + 9.0).sqrt() + 6.0 + (4.0_f64 + 9.0).sqrt() + 2.0;
        assert!(
            tree.trench_m() < taut_m * 1.15,
            "{} {taut_m}",
            tree.trench_m()
        );
    }

    #[test]
    fn a_head_walled_in_is_joined_across() {
        let ring = |a: f64| {
            [(-a, -a), (a, -a), (a, a), (-a, a)]
                .map(|(x, y)| Point::new(x, y))
                .to_vec()
        };
        let court = Outline::new(ring(5.0), vec![ring(4.0)]).unwrap();
        let yard = yard(vec![court]);
        let tree = tree(
            Point::new(20.0, 0.0),
            &[Point::default()],
            &yard,
            0.15,
            &Work::default(),
        );
        assert_eq!((tree.crossings, tree.nodes.len()), (1, 2));
    }

    #[test]
    fn a_pipe_stays_on_its_parcel_where_it_can() {
        // An L; the straight line between its ends cuts across the neighbour.
        let bent = [
            (0.0, 0.0),
            (20.0, 0.0),
            (20.0, 4.0),
            (4.0, 4.0),
            (4.0, 20.0),
            (0.0, 20.0),
        ];
        let bent = bent.map(|(x, y)| Point::new(x, y)).to_vec();
        let turf = || Outline::new(bent.clone(), vec![]).unwrap();
        let yard = Yard::new(vec![turf()], vec![], FACTORS).with_parcel(vec![turf()]);
        let heads = [Point::new(18.0, 3.0)];
        let tree = tree(Point::new(3.0, 18.0), &heads, &yard, 0.15, &Work::default());
        assert_eq!(tree.nodes.len(), 3, "{tree:?}");
        let off_m: f64 = (1..3)
            .map(|node| {
                yard.trench(tree.nodes[tree.feeds[node]], tree.nodes[node])
                    .off_parcel_m
            })
            .sum();
        assert_eq!(off_m, 0.0);
    }

    #[test]
    fn a_way_round_is_found_beyond_a_second_building() {
        // Houses shoulder to shoulder: the ends of the row lie far from valve and head.
        let blocks = vec![
            square((4.0, 6.0), (-8.0, 8.0)),
            square((3.0, 7.0), (7.9, 30.0)),
            square((3.0, 7.0), (-60.0, -7.9)),
        ];
        let yard = yard(blocks);
        let heads = [Point::new(10.0, 0.0)];
        let tree = tree(Point::default(), &heads, &yard, 0.15, &Work::default());
        assert_eq!(tree.crossings, 0, "{tree:?}");
        assert!(tree.trench_m() > 60.0);
    }

    #[test]
    fn a_node_comes_after_the_one_that_feeds_it() {
        let heads: Vec<Point> = (0..60)
            .map(|k| Point::new(f64::from(k * 37 % 61), f64::from(k * 17 % 41)))
            .collect();
        let blocks = vec![
            square((10.0, 14.0), (5.0, 30.0)),
            square((30.0, 33.0), (0.0, 25.0)),
        ];
        let tree = tree(
            Point::new(-1.0, -1.0),
            &heads,
            &yard(blocks),
            0.15,
            &Work::default(),
        );
        assert!((1..tree.nodes.len()).all(|node| tree.feeds[node] < node));
        let mut found: Vec<usize> = tree.heads.clone();
        found.sort_unstable();
        found.dedup();
        assert_eq!(found.len(), heads.len());
        for (head, at) in tree.heads.iter().zip(&heads) {
            assert_eq!(tree.nodes[*head], *at);
        }
    }

    #[test]
    fn without_a_budget_every_head_is_still_fed() {
        let heads: Vec<Point> = (0..2_000)
            .map(|k| Point::new(f64::from(k % 50) * 3.0, f64::from(k / 50) * 3.0))
            .collect();
        let blocks = || vec![square((10.0, 14.0), (5.0, 30.0))];
        for (count, looks) in [(2_000, u64::MAX), (200, 0), (200, 300_000)] {
            let work = Work::of(looks);
            let tree = tree(
                Point::default(),
                &heads[..count],
                &yard(blocks()),
                0.15,
                &work,
            );
            assert!(work.is_coarse(), "{count} {looks}");
            assert!((1..tree.nodes.len()).all(|node| tree.feeds[node] < node));
            assert!(
                tree.heads
                    .iter()
                    .zip(&heads)
                    .all(|(&node, at)| tree.nodes[node] == *at)
            );
            // A lattice of 3 m: no more than twice its shortest tree.
            assert!(
                tree.trench_m() < 2.0 * 3.0 * count as f64,
                "{}",
                tree.trench_m()
            );
        }
    }
}
