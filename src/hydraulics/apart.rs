//! What keeps heads out of one station: a building between them, and too many kinds of nozzles.
//!
//! Two heads see one another where nothing solid stands between them. A station is whole where its heads
//! hang together by such sights, so that its laterals need not go round a building that nothing of the
//! station stands beside.

use crate::shape::Point;

/// Largest number of different nozzles on a station, where its heads allow it: what a crew keeps apart at
/// one valve (choice of this program).
pub const MAX_NOZZLE_TYPES: usize = 4;
/// Heads of a class beyond which sights are not looked at: their matrix has 20 KB then.
const MAX_HEADS: usize = 400;

/// What the grouping heeds beside place and flow.
#[derive(Default, Clone, Copy)]
pub struct Rules<'a> {
    /// The kind of nozzle of each outlet; empty where kinds do not matter.
    pub nozzles: &'a [u32],
    /// Whether nothing solid stands between two places; `None` where nothing stands about.
    pub is_clear: Option<&'a dyn Fn(Point, Point) -> bool>,
    /// Least flow of a station of its own \[L/min\].
    pub least_lpm: f64,
}

/// Which heads of one class see one another.
pub(super) struct Sights {
    /// The row of each outlet; `usize::MAX` for those of other classes.
    row: Vec<usize>,
    places: Vec<Point>,
    sees: Vec<bool>,
}

impl Sights {
    /// The sights between some of `count` outlets; `None` where all see one another or there are too many.
    pub(super) fn of(count: usize, members: &[(usize, Point)], rules: Rules<'_>) -> Option<Sights> {
        let is_clear = rules.is_clear?;
        let n = members.len();
        if !(2..=MAX_HEADS).contains(&n) {
            return None;
        }
        let mut row = vec![usize::MAX; count];
        let mut sees = vec![true; n * n];
        let mut any = false;
        for (a, &(outlet, at)) in members.iter().enumerate() {
            row[outlet] = a;
            for (b, &(_, other)) in members.iter().enumerate().take(a) {
                let clear = is_clear(at, other);
                any |= !clear;
                (sees[a * n + b], sees[b * n + a]) = (clear, clear);
            }
        }
        any.then(|| Sights {
            row,
            places: members.iter().map(|&(_, at)| at).collect(),
            sees,
        })
    }

    fn sees(&self, a: usize, b: usize) -> bool {
        self.sees[self.row[a] * self.places.len() + self.row[b]]
    }

    /// The parts of a set whose heads hang together by sight, the largest first.
    pub(super) fn pieces(&self, set: &[usize]) -> Vec<Vec<usize>> {
        let mut left: Vec<usize> = set.to_vec();
        let mut pieces: Vec<Vec<usize>> = Vec::new();
        while let Some(first) = left.pop() {
            let mut piece = vec![first];
            let mut at = 0;
            while at < piece.len() {
                let from = piece[at];
                let (seen, unseen): (Vec<usize>, Vec<usize>) =
                    left.iter().partition(|&&other| self.sees(from, other));
                piece.extend(seen);
                left = unseen;
                at += 1;
            }
            piece.sort_unstable();
            pieces.push(piece);
        }
        pieces.sort_by(|a, b| b.len().cmp(&a.len()).then(a[0].cmp(&b[0]))); // no piece is empty
        pieces
    }

    /// A set by its way through the yard from one of its heads: along sights, by Dijkstra.
    pub(super) fn by_way_from(&self, start: usize, set: &[usize]) -> Vec<usize> {
        let at = |head: usize| self.places[self.row[head]];
        let mut way_m: Vec<f64> = vec![f64::INFINITY; set.len()];
        let mut open: Vec<usize> = (0..set.len()).collect();
        let mut order = Vec::with_capacity(set.len());
        for (i, &head) in set.iter().enumerate() {
            if head == start {
                way_m[i] = 0.0;
            }
        }
        while !open.is_empty() {
            let next = (0..open.len()).min_by(|&a, &b| {
                let (a, b) = (open[a], open[b]);
                let straight = |i: usize| at(set[i]).distance(at(start));
                way_m[a]
                    .total_cmp(&way_m[b])
                    .then(straight(a).total_cmp(&straight(b)))
                    .then(set[a].cmp(&set[b]))
            });
            let Some(next) = next else { break };
            let i = open.swap_remove(next);
            order.push(set[i]);
            for &j in &open {
                if self.sees(set[i], set[j]) {
                    let by = way_m[i] + at(set[i]).distance(at(set[j]));
                    way_m[j] = way_m[j].min(by);
                }
            }
        }
        order
    }
}

/// Whether places do not hang together by sight.
#[must_use]
pub fn is_parted(places: &[Point], rules: Rules<'_>) -> bool {
    let members: Vec<(usize, Point)> = places.iter().copied().enumerate().collect();
    let all: Vec<usize> = (0..places.len()).collect();
    let sights = Sights::of(places.len(), &members, rules);
    sights.is_some_and(|sights| sights.pieces(&all).len() > 1)
}

/// How many kinds of nozzles a set has; 0 where kinds do not matter.
pub(super) fn kinds(nozzles: &[u32], set: impl Iterator<Item = usize>) -> usize {
    let mut own: Vec<u32> = set.filter_map(|head| nozzles.get(head).copied()).collect();
    own.sort_unstable();
    own.dedup();
    own.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heads_hang_together_by_sight_round_a_wall() {
        // A wall on x = 5 from y = 0 upward; one may pass below.
        let clear = |a: Point, b: Point| {
            if (a.x < 5.0) == (b.x < 5.0) {
                return true;
            }
            let share = (5.0 - a.x) / (b.x - a.x);
            a.y + share * (b.y - a.y) < 0.0
        };
        let places = [(0.0, 9.0), (10.0, 9.0), (0.0, -2.0), (10.0, -2.0)];
        let members: Vec<(usize, Point)> = places
            .iter()
            .enumerate()
            .map(|(i, &(x, y))| (i, Point::new(x, y)))
            .collect();
        let rules = Rules {
            is_clear: Some(&clear),
            ..Rules::default()
        };
        let sights = Sights::of(4, &members, rules).unwrap();
        assert_eq!(sights.pieces(&[0, 1]), [vec![0], vec![1]]);
        assert_eq!(sights.pieces(&[0, 1, 2, 3]).len(), 1);
        assert_eq!(sights.by_way_from(0, &[0, 1, 2, 3]), [0, 2, 3, 1]);
        let open = |_: Point, _: Point| true;
        let rules = Rules {
            is_clear: Some(&open),
            ..Rules::default()
        };
        assert!(Sights::of(4, &members, rules).is_none());
        assert_eq!(kinds(&[7, 7, 8], [0, 1, 2].into_iter()), 2);
        assert_eq!(kinds(&[], [0, 1].into_iter()), 0);
    }
}
